//! Every field of sound blocks, given other values one at a time: what the reference finds is found, and nothing else.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use reveille_fixture::Numbers;
use reveille_tests::run;
use serde_json::Value;

use crate::block_facts;
use crate::kinds::{CPM_FIELDS, Cpm, WORD_FIELDS, cpm_rules, word_rules};
use crate::rules::rules;

/// Other values for a field of some bits: small ones, neighbours, twice and half, each power of two, all ones, and four at random.
fn others(value: i64, bits: u32, numbers: &mut Numbers) -> BTreeSet<i64> {
    let most = (1_i64 << bits) - 1;
    let near = [0, 1, value - 1, value + 1, value * 2, value / 2, most];
    let random = (0..4).map(|_| numbers.below(usize::try_from(most).unwrap_or(usize::MAX)) as i64);
    let all = near.into_iter().chain((0..bits).map(|it| 1 << it)).chain(random.collect::<Vec<_>>());
    all.filter(|it| (0..=most).contains(it) && *it != value).collect()
}

/// A table of a test.
struct Case {
    /// What was done to it.
    what: String,
    /// Its operation and operands.
    data: String,
    layout: String,
    /// The codes that the reference gives it.
    expected: BTreeSet<String>,
}

fn byte_data(bytes: &[u8]) -> String {
    let bytes: Vec<String> = bytes.iter().map(|it| format!("${it:02X}")).collect();
    format!("dc.b\t{}", bytes.join(","))
}

/// How the tables of a test are told to be blocks.
#[derive(Clone, Copy)]
enum Told<'a> {
    /// By a comment with the layout's name.
    Marked,
    /// By a word that their labels begin with.
    Word(&'a str),
}

/// Writes a source for each layout, and gives what was not as the reference has it.
fn differences(cases: &[Case], told: Told<'_>) -> String {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut sources: BTreeMap<&str, String> = BTreeMap::new();
    // The case of each line of each source.
    let mut lines: BTreeMap<(String, u64), usize> = BTreeMap::new();
    for (at, Case { data, layout, .. }) in cases.iter().enumerate() {
        let text = sources.entry(layout).or_default();
        // A number that begins with 0 names no disk, so that no two tables are held to describe one.
        let _ = match told {
            Told::Marked => write!(text, "*\t@block {layout}\nt0{at}"),
            Told::Word(word) => write!(text, "*\tnext one\n{word}0{at}"),
        };
        let line = text.lines().count() as u64 - 1;
        let _ = writeln!(text, "\t{data}\n\teven");
        lines.insert((format!("{layout}.s"), line), at);
    }
    for (layout, text) in &sources {
        std::fs::write(folder.path().join(format!("{layout}.s")), text).expect("the folder can be written to");
    }
    let case_of = |place: &Value| {
        let path = place["file"].as_str().expect("a place has its file");
        let file = path.rsplit('/').next().unwrap_or(path).to_owned();
        let line = place["range"]["start"]["line"].as_u64().expect("a range has its line");
        *lines.get(&(file, line)).unwrap_or_else(|| panic!("nothing is told of other lines: {place}"))
    };
    let mut found: Vec<BTreeSet<String>> = vec![BTreeSet::new(); cases.len()];
    for line in run(folder.path(), &["lint", "--format", "json", "."]).out.lines() {
        let finding: Value = serde_json::from_str(line).expect("each finding is a line of JSON");
        let code = finding["finding"].as_str().expect("a finding has its code").to_owned();
        found[case_of(&finding)].insert(code);
    }
    let mut layouts: Vec<String> = vec![String::new(); cases.len()];
    for fact in block_facts(folder.path()) {
        layouts[case_of(&fact["evidence"][0])].push_str(fact["value"]["layout"].as_str().unwrap_or_default());
    }
    let mut wrong = String::new();
    for ((case, found), layout) in cases.iter().zip(&found).zip(&layouts) {
        let Case { what, data, expected, .. } = case;
        if *layout != case.layout {
            let _ = writeln!(wrong, "{}, {what}: {data}\n\tread as `{layout}`", case.layout);
        } else if found != expected {
            let _ = writeln!(wrong, "{layout}, {what}: {data}\n\treference {expected:?}\n\tprogram   {found:?}");
        }
    }
    wrong
}

/// The codes that are no hint. The severities are those of the reference's tables.
fn serious(codes: &BTreeSet<String>) -> usize {
    const HINTS: [&str; 17] = [
        "block-008",
        "fat-002",
        "fat-006",
        "fat-023",
        "fat-029",
        "fat-030",
        "boot-008",
        "word-006",
        "word-010",
        "word-012",
        "cpm-009",
        "cpm-014",
        "cpm-016",
        "cpm-018",
        "boot-014",
        "boot-015",
        "cross-002",
    ];
    codes.iter().filter(|it| !HINTS.contains(&it.as_str())).count()
}

/// Fields of the FAT block: name, offset, width. FAT: General Overview of On-Disk Format 1.03, boot sector and BPB, minus 11.
const FAT_FIELDS: [(&str, usize, usize); 17] = [
    ("sector size", 0, 2),
    ("cluster", 2, 1),
    ("reserved", 3, 2),
    ("FATs", 5, 1),
    ("root", 6, 2),
    ("total", 8, 2),
    ("identifier", 10, 1),
    ("FAT length", 11, 2),
    ("track", 13, 2),
    ("sides", 15, 2),
    ("hidden", 17, 2),
    ("hidden", 17, 4),
    ("wide total", 21, 4),
    ("drive", 25, 1),
    ("reserved byte", 26, 1),
    ("signature", 27, 1),
    ("serial number", 28, 4),
];

/// Blocks of 19 bytes: article Q75131 and 8-inch FM with 4 reserved sectors, as section 3.1 of the reference has them.
const FORMATS: [[i64; 10]; 7] = [
    [512, 2, 1, 2, 112, 1440, 0xF9, 3, 9, 2],
    [512, 1, 1, 2, 224, 2880, 0xF0, 9, 18, 2],
    [512, 2, 1, 2, 112, 720, 0xFD, 2, 9, 2],
    [512, 1, 1, 2, 64, 320, 0xFE, 1, 8, 1],
    [512, 1, 1, 2, 224, 2400, 0xF9, 7, 15, 2],
    [1024, 1, 1, 2, 192, 1232, 0xFE, 2, 8, 2],
    [128, 4, 4, 2, 68, 2002, 0xFD, 6, 26, 1],
];

fn fat_block(values: &[i64; 10], len: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    for ((_, _, width), value) in FAT_FIELDS.iter().zip(values) {
        bytes.extend(&value.to_le_bytes()[..*width]);
    }
    bytes.extend([0; 10]);
    bytes.extend([0x29, 3, 3, 0x86, 0x19]);
    bytes.extend(b"SKERRY BOOTFAT12   ");
    bytes.truncate(len);
    bytes
}

#[test]
fn each_change_of_a_fat_block_s_field_is_found_as_the_reference_says() {
    let mut numbers = Numbers::new(13);
    let mut cases = Vec::new();
    for (values, len) in FORMATS.iter().flat_map(|it| [13, 19, 25, 51].map(|len| (it, len))) {
        let sound = fat_block(values, len);
        let mut case = |what: String, bytes: &[u8]| {
            let layout = format!("fat-block-{len}");
            cases.push(Case { what, data: byte_data(bytes), layout, expected: rules(bytes, len, false) });
        };
        assert_eq!(serious(&rules(&sound, len, false)), 0, "{values:?}");
        case("nothing".to_owned(), &sound);
        for (name, at, width) in FAT_FIELDS {
            // The hidden sectors are a word in the block of 19 bytes, and a long word in longer ones.
            if at + width > len || at == 17 && (width == 2) != (len == 19) {
                continue;
            }
            let own = sound[at..at + width].iter().rev().fold(0, |value, byte| value << 8 | i64::from(*byte));
            for value in others(own, 8 * width as u32, &mut numbers) {
                let mut bytes = sound.clone();
                bytes[at..at + width].copy_from_slice(&value.to_le_bytes()[..width]);
                case(format!("{name} {value} for {own}"), &bytes);
            }
        }
        for text in [b"FAT16   ", b"FAT32   ", b"FAT     ", b"        ", b"SKERRY1 "] {
            let mut bytes = sound.clone();
            if let Some(own) = bytes.get_mut(43..51) {
                own.copy_from_slice(text);
                case(format!("type {}", String::from_utf8_lossy(text)), &bytes);
            }
        }
    }
    assert!(cases.len() > 5000 && cases.iter().filter(|it| serious(&it.expected) > 0).count() > 3000);
    let wrong = differences(&cases, Told::Marked);
    assert!(wrong.is_empty(), "{wrong}");
}

/// The word blocks of section 2.2 of the reference: C-binding page of the get-BPB call (FAT of 5 sectors), the others derived from
/// the blocks that mkfs.fat and mformat write.
const WORD_BLOCKS: [[i64; 9]; 4] = [
    [512, 2, 1024, 7, 3, 4, 14, 713, 0],
    [512, 2, 1024, 7, 5, 6, 18, 711, 0],
    [512, 2, 1024, 7, 5, 6, 18, 351, 0],
    [512, 1, 512, 14, 9, 10, 33, 2847, 0],
];

fn word_cases() -> Vec<Case> {
    let mut numbers = Numbers::new(18);
    let mut cases = Vec::new();
    for sound in &WORD_BLOCKS {
        let mut case = |what: String, block: &[i64; 9]| {
            let words: Vec<String> = block.iter().map(i64::to_string).collect();
            let (data, layout) = (format!("dc.w\t{}", words.join(",")), "word-block-18".to_owned());
            cases.push(Case { what, data, layout, expected: word_rules(block) });
        };
        assert_eq!(word_rules(sound), BTreeSet::new());
        case("nothing".to_owned(), sound);
        for (at, name) in WORD_FIELDS.into_iter().enumerate() {
            for value in others(sound[at], 16, &mut numbers) {
                let mut block = *sound;
                block[at] = value;
                case(format!("{name} {value} for {}", sound[at]), &block);
            }
        }
    }
    assert!(cases.len() > 700 && cases.iter().filter(|it| serious(&it.expected) > 0).count() > 500);
    cases
}

/// The consistent CP/M blocks of section 2.3 of the reference: CP/M Operating System Manual, page B-2; CP/M-68K source of 1983, its
/// hard disk; cpmtools 2.23, diskdefs. The memory disk of that source is not consistent.
const CPM_BLOCKS: [[i64; 10]; 6] = [
    [26, 3, 7, 0, 242, 63, 0xC0, 0, 16, 2],
    [32, 5, 31, 1, 3288, 1023, 0xFF, 0, 256, 4],
    [40, 3, 7, 0, 184, 63, 0xC0, 0, 16, 3],
    [40, 4, 15, 1, 194, 127, 0xC0, 0, 32, 2],
    [36, 4, 15, 0, 356, 255, 0xF0, 0, 64, 1],
    [120, 5, 31, 1, 299, 255, 0xC0, 0, 64, 0],
];

fn cpm_cases() -> Vec<Case> {
    let mut numbers = Numbers::new(15);
    let mut blocks = Vec::new();
    for fields in CPM_BLOCKS {
        blocks.push(Cpm { fields, fill: Some(0), physical: None });
        // 13 MiB are too much for the system of the block of 15 bytes.
        if fields[4] < 3000 {
            blocks.push(Cpm { fields, fill: None, physical: None });
        }
        // CP/M 3: sectors of 512 bytes where 36 records make a track, of 1024 where 40 do; from memory.
        if let Some(physical) = [(36, (2, 3)), (40, (3, 7))].iter().find(|it| it.0 == fields[0]).map(|it| it.1) {
            blocks.push(Cpm { fields, fill: None, physical: Some(physical) });
        }
    }
    let mut cases = Vec::new();
    for sound in blocks {
        let mut case = |what: String, block: &Cpm| {
            let layout = format!("cpm-block-{}", sound.len());
            cases.push(Case { what, data: byte_data(&block.bytes()), layout, expected: cpm_rules(block, false) });
        };
        assert_eq!(serious(&cpm_rules(&sound, false)), 0, "{sound:?}");
        case("nothing".to_owned(), &sound);
        for (at, (name, .., width)) in CPM_FIELDS.into_iter().enumerate() {
            for value in others(sound.fields[at], 8 * width as u32, &mut numbers) {
                let mut block = sound;
                block.fields[at] = value;
                case(format!("{name} {value} for {}", sound.fields[at]), &block);
            }
        }
        for value in sound.fill.map_or(BTreeSet::new(), |it| others(it, 8, &mut numbers)) {
            case(format!("fill {value}"), &Cpm { fill: Some(value), ..sound });
        }
        if let Some((shift, mask)) = sound.physical {
            for value in others(shift, 8, &mut numbers) {
                case(format!("psh {value} for {shift}"), &Cpm { physical: Some((value, mask)), ..sound });
            }
            for value in others(mask, 8, &mut numbers) {
                case(format!("phm {value} for {mask}"), &Cpm { physical: Some((shift, value)), ..sound });
            }
        }
    }
    assert!(cases.len() > 2000 && cases.iter().filter(|it| serious(&it.expected) > 0).count() > 1500);
    cases
}

#[test]
fn each_change_of_a_word_block_s_field_is_found_as_the_reference_says() {
    let wrong = differences(&word_cases(), Told::Marked);
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn each_change_of_a_cpm_block_s_field_is_found_as_the_reference_says() {
    let wrong = differences(&cpm_cases(), Told::Marked);
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn word_and_cpm_blocks_with_any_one_field_wrong_are_told_by_a_word_in_the_label() {
    let [words, cpm] = [differences(&word_cases(), Told::Word("bpb")), differences(&cpm_cases(), Told::Word("dpb"))];
    assert!(words.is_empty() && cpm.is_empty(), "{words}{cpm}");
}
