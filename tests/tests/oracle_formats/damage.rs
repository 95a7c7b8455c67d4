//! Generated blocks, each with one damage.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use reveille_fixture::Numbers;
use reveille_tests::run;
use serde_json::Value;

use crate::rules::{fields, geometries as listed, rules, up, wide_fields};
use crate::{STYLES, Style, block_facts, data_lines, fact_in};

/// The bytes of a sound block of a legal geometry.
fn sound(len: usize, numbers: &mut Numbers) -> Vec<u8> {
    let geometries: [[i64; 4]; 14] = [
        [40, 1, 8, 512],
        [40, 2, 8, 512],
        [40, 1, 9, 512],
        [40, 2, 9, 512],
        [80, 1, 8, 512],
        [80, 2, 8, 512],
        [80, 1, 9, 512],
        [80, 2, 9, 512],
        [80, 2, 10, 512],
        [80, 2, 15, 512],
        [80, 2, 18, 512],
        [77, 2, 8, 1024],
        [80, 2, 36, 512],
        [35, 1, 9, 512],
    ];
    let [cylinders, sides, track, size] = geometries[numbers.below(geometries.len())];
    let total = cylinders * sides * track;
    let cluster = if total > 3000 { 2 } else { [1, 2][numbers.below(2)] };
    let root = [64, 96, 112, 192, 224][numbers.below(5)];
    let root = if root * 32 % size == 0 { root } else { 192 };
    let is_own = |it: &i64| listed(*it).contains(&[cylinders, sides, track, size]);
    let identifier = (0xF8..=0xFF).find(is_own).unwrap_or(0xF0);
    let mut fat_len = 1;
    loop {
        let system = 1 + 2 * fat_len + root * 32 / size;
        let need = up(up(((total - system) / cluster + 2) * 3, 2), size);
        if fat_len >= need {
            break;
        }
        fat_len = need;
    }
    let mut bytes = Vec::new();
    for (value, width) in [
        (size, 2),
        (cluster, 1),
        (1, 2),
        (2, 1),
        (root, 2),
        (total, 2),
        (identifier, 1),
        (fat_len, 2),
        (track, 2),
        (sides, 2),
        (0, 4),
        (0, 4),
        (0, 1),
        (0, 1),
        (0x29, 1),
        (0x1986_0303, 4),
    ] {
        bytes.extend(&value.to_le_bytes()[..width]);
    }
    bytes.extend(b"SKERRY BOOTFAT12   ");
    bytes.truncate(len);
    bytes
}

/// One damage of a block; gives the bytes and what was done.
fn damaged(mut bytes: Vec<u8>, numbers: &mut Numbers) -> (Vec<u8>, String) {
    let len = bytes.len();
    let word = |bytes: &[u8], at: usize| i64::from(u16::from_le_bytes([bytes[at], bytes[at + 1]]));
    let total = word(&bytes, 8);
    let own = |numbers: &mut Numbers, values: &[i64]| values[numbers.below(values.len())];
    let kinds = match len {
        13 => 13,
        19 => 16,
        25 => 18,
        _ => 22,
    };
    let kind = numbers.below(kinds);
    let mut set = |at: usize, width: usize, value: i64| {
        bytes[at..at + width].copy_from_slice(&value.to_le_bytes()[..width]);
        format!("byte {at} is {value}")
    };
    let what = match kind {
        0 => set(0, 2, own(numbers, &[0, 1, 100, 128, 256, 500, 511, 513, 1024, 2048, 8192, 65535])),
        1 => set(2, 1, own(numbers, &[0, 3, 4, 5, 6, 8, 32, 64, 128, 200, 255])),
        2 => set(3, 2, own(numbers, &[0, 2, 3, 4, 9, 33, 64])),
        3 => set(5, 1, own(numbers, &[0, 1, 3, 4, 7])),
        4 => set(6, 2, own(numbers, &[0, 1, 15, 63, 100, 113, 512, 1000])),
        5 | 6 => {
            set(8, 2, own(numbers, &[0, 7, 50, total - 1, total + 1, total + 18, total * 2, total / 2, 4118, 65535]))
        }
        7 => set(10, 1, numbers.below(256) as i64),
        8 => set(11, 2, own(numbers, &[0, 1, 2, 4, 5, 10, 12, 13, 14, 40, 200, 255])),
        9 => {
            bytes.pop();
            "the last byte is left out".to_owned()
        }
        10 => {
            bytes.push(0);
            "a byte is too many".to_owned()
        }
        11 => {
            for (at, width) in wide_fields(len) {
                bytes[at..at + width].reverse();
            }
            "the words have their high byte first".to_owned()
        }
        12 => {
            bytes.fill([0x00, 0xFF][numbers.below(2)]);
            "nothing is filled in".to_owned()
        }
        13 => set(13, 2, own(numbers, &[0, 1, 7, 8, 10, 17, 36, 37, 40, 63, 64, 255])),
        14 => set(15, 2, own(numbers, &[0, 1, 2, 3, 4, 255])),
        15 => set(17, 2, own(numbers, &[1, 9, 63, 0x4000])),
        16 => set(21, 4, own(numbers, &[total, total + 18, 1, 65535, 65536, 70_000])),
        17 => {
            let to = own(numbers, &[total, 70_000, 0]);
            set(8, 2, 0);
            set(21, 4, to) + ", the 16-bit total 0"
        }
        18 => set(25, 1, own(numbers, &[1, 0x7F, 0x80, 0x81, 0xFF])),
        19 => set(26, 1, own(numbers, &[1, 2, 0x80])),
        20 => set(27, 1, own(numbers, &[0, 0x27, 0x28, 0x2A, 0x92])),
        _ => {
            let text = *[b"FAT16   ", b"FAT32   ", b"FAT     ", b"        ", b"SKERRY1 "]
                .get(numbers.below(5))
                .expect("there are five");
            bytes[43..51].copy_from_slice(text);
            format!("the type is {}", String::from_utf8_lossy(text))
        }
    };
    (bytes, what)
}

#[test]
fn the_rules_give_the_same_codes_for_240_damaged_blocks_as_the_reference_worked_out_again() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut numbers = Numbers::new(1986);
    let mut cases = Vec::new();
    for at in 0..240 {
        let len = [13, 19, 25, 51][at % 4];
        // Every twelfth block stays as it is.
        let (bytes, what) = match sound(len, &mut numbers) {
            bytes if at % 12 == 11 => (bytes, "nothing".to_owned()),
            bytes => damaged(bytes, &mut numbers),
        };
        let style = STYLES[numbers.below(STYLES.len())];
        // DC.W at an odd offset would be aligned; the judge of that is the test of DC.
        let upper = numbers.below(2) == 0;
        let case = |text: &str| if upper { text.to_ascii_uppercase() } else { text.to_owned() };
        let lines = data_lines(&bytes, style, upper, &mut numbers);
        // A table of an unusual length says what it is, as the reference asks: the length alone cannot tell.
        let is_marked = bytes.len() != len || numbers.below(4) == 0;
        let mark = if is_marked { format!("@block fat-block-{len}") } else { "disk format".to_owned() };
        let label = ["bpb", "drive_bpb", "bpb_tab", "our_disk", "fmt_one"][numbers.below(5)];
        let is_word_behind = numbers.below(5) == 0;
        let mut text = String::new();
        if style.is_dotted() {
            let _ = writeln!(text, "\t.data\n{label}:\t\t| {mark}\n{}", lines.join("\n"));
            let _ = writeln!(text, "{}behind:\n\t.word\t1", if is_word_behind { "" } else { "\t.even\n" });
        } else {
            if style == Style::Expressions {
                text.push_str("BASE\tEQU\t8\n");
            }
            if numbers.below(2) == 0 {
                let _ = writeln!(text, "\t{}\t$400", case("org"));
            }
            match numbers.below(3) {
                0 => {
                    let _ = writeln!(text, "* {mark}\n{label}\n{}", lines.join("\n"));
                }
                1 => {
                    let _ = writeln!(text, "{label}:\t; {mark}\n{}", lines.join("\n"));
                }
                _ => {
                    let _ = writeln!(text, "* {mark}\n{label}{}", lines.join("\n"));
                }
            }
            let even = if is_word_behind { String::new() } else { format!("\t{}\n", case("even")) };
            let _ = writeln!(text, "{even}behind\t{}\t1", case("dc.w"));
        }
        let file = format!("case{at:03}.s");
        std::fs::write(folder.path().join(&file), &text).expect("the folder can be written to");
        let expected = rules(&bytes, len, is_word_behind && bytes.len() % 2 == 1);
        cases.push((file, len, bytes, what, expected, text));
    }

    let output = run(folder.path(), &["lint", "--format", "json", "."]);
    let mut told: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for line in output.out.lines() {
        let finding: Value = serde_json::from_str(line).expect("each finding is a line of JSON");
        let path = finding["file"].as_str().expect("a finding has its file");
        let file = path.rsplit('/').next().unwrap_or(path).to_owned();
        told.entry(file).or_default().insert(finding["finding"].as_str().unwrap_or_default().to_owned());
    }
    let facts = block_facts(folder.path());
    let mut wrong = String::new();
    for (file, len, bytes, what, expected, text) in &cases {
        let own = told.remove(file).unwrap_or_default();
        if own != *expected {
            let _ = writeln!(wrong, "--- {file}, {len} bytes, {what}\n{text}reference {expected:?}\nprogram   {own:?}");
        }
        let [fact] = fact_in(&facts, file)[..] else {
            let _ = writeln!(wrong, "--- {file}, {len} bytes, {what}: not one block\n{text}");
            continue;
        };
        let value = &fact["value"];
        if value["layout"] != format!("fat-block-{len}") {
            let _ = writeln!(wrong, "--- {file}, {len} bytes, {what}: read as {}\n{text}", value["layout"]);
        }
        let it = fields(bytes, *len);
        for (name, own) in [
            ("sector_size", it.sector_size),
            ("sectors_per_cluster", it.cluster),
            ("reserved_sectors", it.reserved),
            ("fat_count", it.fats),
            ("root_directory_entries", it.root),
            ("total_sectors", it.total_16),
            ("format_identifier", it.identifier),
            ("sectors_per_fat", it.fat_len),
            ("sectors_per_track", it.track),
            ("sides", it.sides),
            ("hidden_sectors", it.hidden),
            ("total_sectors_32", it.total_32),
            ("physical_drive_number", it.drive),
            ("extended_boot_signature", it.signature),
        ] {
            if value["fields"][name].as_i64() != own {
                let _ =
                    writeln!(wrong, "--- {file}, {what}: {name} is {own:?}, read as {}\n{text}", value["fields"][name]);
            }
        }
    }
    assert!(told.is_empty(), "findings in files that were not written: {told:?}");
    assert!(wrong.is_empty(), "{wrong}");
    let codes: BTreeSet<&String> = cases.iter().flat_map(|it| &it.4).collect();
    assert!(codes.len() >= 35, "the damage is not varied enough: {codes:?}");
}
