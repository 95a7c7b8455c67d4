//! The demo's service monitor, executed: `tests/demo/rom.sh` compiles it into the upper half of the ROM, a processor core runs it
//! (`tests/peers/skerry.py`), and it boots disks with one fault each. Its texts are read from its source, whose own invention they are.
//!
//! Header of the boot file: $601A, 28 bytes, absolute (`object-formats.md` of the reference, section 2). FAT volumes: from memory.

use std::path::{Path, PathBuf};

use reveille_tests::machine::{BOOT_PROMPT, Machine, Setup};
use reveille_tests::skerry::rom_with_service;
use reveille_tests::{file, folder, run, tests_folder};

const PROMPT: &str = "\r\n+ ";
const HELLO: &str = "\r\nSKERRY 12  ROM 1.3\r\n\r\nSKERRY 12  service 2.1\r\n";
const SECTOR: usize = 512;
/// Where the tests' boot file goes, as long as they do not say otherwise.
const LOAD: u32 = 0x9_0000;
/// Sends the text that begins behind it, then stops with a trap, which ends at the boot ROM's prompt. D0 as it was found is kept in D7.
/// MOVE.L D0,D7; LEA 28(PC),A0; LEA $F00001,A1; MOVE.B (A0)+,D0; BEQ +14; BTST #2,2(A1); BEQ -8; MOVE.B D0,6(A1); BRA -18; TRAP #0.
/// Encodings: M68000 programmer's reference manual.
const CODE: &[u8] = &[
    0x2e, 0x00, 0x41, 0xfa, 0x00, 0x1c, 0x43, 0xf9, 0x00, 0xf0, 0x00, 0x01, 0x10, 0x18, 0x67, 0x0e, 0x08, 0x29, 0x00,
    0x02, 0x00, 0x02, 0x67, 0xf8, 0x13, 0x40, 0x00, 0x06, 0x60, 0xee, 0x4e, 0x40,
];
/// What comes from it, before the boot ROM's prompt.
const RUN: &str = "\r\nhigh water\r\nE19 trap without an owner";

/// A boot file: its header as a test wants it, and what is behind it.
struct Survey {
    magic: u16,
    text: u32,
    data: u32,
    bss: u32,
    symbols: u32,
    load: u32,
    fixed: u16,
    behind: Vec<u8>,
}

/// One that is right: code, data over some clusters with the text in front, symbols that are not loaded.
fn survey() -> Survey {
    let mut behind = CODE.to_vec();
    behind.extend(b"\r\nhigh water\0\0");
    behind.extend((0..5000_u32).map(|it| (it % 251) as u8));
    let data = (behind.len() - CODE.len()) as u32;
    behind.extend([0xee; 28]);
    Survey { magic: 0x601a, text: CODE.len() as u32, data, bss: 600, symbols: 28, load: LOAD, fixed: 1, behind }
}

impl Survey {
    fn bytes(&self) -> Vec<u8> {
        let mut bytes = self.magic.to_be_bytes().to_vec();
        for long in [self.text, self.data, self.bss, self.symbols, 0, self.load] {
            bytes.extend(long.to_be_bytes());
        }
        bytes.extend(self.fixed.to_be_bytes());
        assert_eq!(bytes.len(), 28);
        bytes.extend(&self.behind);
        bytes
    }

    /// What has to be in RAM from the load address on, without the bss.
    fn loaded(&self) -> &[u8] {
        &self.behind[..(self.text + self.data) as usize]
    }
}

/// A disk of one of the demo's formats with a file on it.
fn disk_of(format: usize, name: &str, bytes: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = folder(&[(name, bytes)]);
    let table = format!("{}:boot_formats[{format}]", tests_folder().join("demo/skerry/disk.s").display());
    let output = run(folder.path(), &["image", "make", "--table", &table, "--add", name, "a.img"]);
    assert_eq!(output.code, 0, "{}", output.err);
    let image = folder.path().join("a.img");
    (folder, image)
}

/// A disk of 720 K with a boot file.
fn disk(survey: &Survey) -> (tempfile::TempDir, PathBuf) {
    disk_of(2, "survey.abs", &survey.bytes())
}

/// The same, with some bytes of the image changed.
fn changed_disk(change: impl FnOnce(&mut [u8])) -> (tempfile::TempDir, PathBuf) {
    let (folder, image) = disk(&survey());
    let mut bytes = file(folder.path(), "a.img");
    change(&mut bytes);
    std::fs::write(&image, bytes).expect("the image can be written");
    (folder, image)
}

fn switched_on(keys: &str, image: Option<&Path>, more: &[&str]) -> Machine {
    Setup { rom: rom_with_service(), keys, image, more }.switch_on()
}

/// The machine at the service monitor's prompt.
fn at_prompt(image: Option<&Path>, more: &[&str]) -> Machine {
    let mut machine = switched_on("C", image, more);
    assert_eq!(machine.wait_for(PROMPT), HELLO);
    machine
}

/// The texts of `errtxt` by their numbers, with the number in front as it is sent.
fn errors() -> Vec<String> {
    let source = std::fs::read_to_string(tests_folder().join("demo/skerry/service.c")).expect("the demo is text");
    let texts = source.lines().filter_map(|it| it.strip_prefix("\t\"S")?.strip_suffix("\","));
    let found: Vec<String> = texts.map(|it| format!("S{it}")).collect();
    for (index, text) in found.iter().enumerate() {
        assert!(text.starts_with(&format!("S{} ", index + 1)), "{text}");
    }
    found
}

fn error(number: usize) -> String {
    errors().swap_remove(number - 1)
}

#[test]
fn key_c_at_reset_brings_up_the_service_monitor() {
    let mut machine = at_prompt(None, &[]);
    assert_eq!(machine.answer("", PROMPT), "");
}

#[test]
fn the_word_rom_brings_it_up_as_well() {
    for keys in ["D", "D,none", "none", "D,C"] {
        let mut machine = switched_on(keys, None, &[]);
        let _ = machine.wait_for(BOOT_PROMPT);
        assert_eq!(machine.answer("rom", PROMPT), "SKERRY 12  service 2.1\r\n", "{keys}");
    }
}

/// The boot ROM looks at its header; the sum is that of the words behind it.
#[test]
fn a_rom_with_a_changed_byte_is_not_run() {
    let mut rom = rom_with_service().to_vec();
    let last = rom.len() - 1;
    rom[last] ^= 1;
    let mut machine = Setup { rom: &rom, keys: "C", image: None, more: &[] }.switch_on();
    assert!(machine.wait_for(BOOT_PROMPT).ends_with("\r\nE9 program has a wrong sum"));
}

#[test]
fn a_key_of_the_panel_chooses_what_it_begins_with() {
    let (_folder, image) = disk(&survey());
    // B boots at once.
    let mut machine = switched_on("C,B", Some(&image), &[]);
    assert_eq!(machine.wait_for(BOOT_PROMPT), format!("{HELLO}{RUN}"));
    let mut machine = switched_on("C,B", None, &[]);
    assert_eq!(machine.wait_for(PROMPT), format!("{HELLO}\r\n{}", error(1)));
    // A tells of the drive.
    let mut machine = switched_on("C,A", Some(&image), &[]);
    assert_eq!(machine.wait_for(PROMPT), format!("{HELLO}\r\nsides 2, sectors 9 on a track, 1440 in all"));
    // With any other it stays at the prompt.
    for keys in ["C", "C,D", "C,none", "C,1"] {
        let mut machine = switched_on(keys, Some(&image), &[]);
        assert_eq!(machine.wait_for(PROMPT), HELLO, "{keys}");
    }
}

#[test]
fn the_boot_file_is_loaded_to_its_address_and_run_with_its_bss_cleared() {
    let survey = survey();
    let (_folder, image) = disk(&survey);
    for (keys, word) in [("D,D", Some("boot")), ("D,B", None)] {
        let mut machine = switched_on(keys, Some(&image), &[]);
        let _ = machine.wait_for(BOOT_PROMPT);
        // Nothing is 0 where it goes.
        assert_eq!(machine.answer(&format!("flood {:x} 2000 5a", LOAD - 16), BOOT_PROMPT), "");
        machine.send("rom\r");
        if let Some(word) = word {
            let _ = machine.wait_for(PROMPT);
            machine.send(&format!("{word}\r"));
        }
        assert!(machine.wait_for(BOOT_PROMPT).ends_with(RUN), "{keys}");
        let loaded = survey.loaded();
        let length = loaded.len() as u32;
        let ram = machine.bytes(LOAD - 16, 16 + length + survey.bss + 16);
        let (before, ram) = ram.split_at(16);
        let (program, ram) = ram.split_at(length as usize);
        let (bss, after) = ram.split_at(survey.bss as usize);
        assert_eq!((before, after), (&[0x5a; 16][..], &[0x5a; 16][..]));
        assert!(program == loaded, "the bytes in RAM are others");
        assert!(bss.iter().all(|it| *it == 0));
        // The initialised data of the C lie in ROM, where a real machine would not take what is written.
        let (at, rom) = (0x2_0000, &rom_with_service()[0x2_0000..]);
        assert!(machine.bytes(at, rom.len() as u32) == rom, "the ROM was written to");
        // It was entered at its first byte, with the end of good RAM in D0 and the whole stack; the trap's PC is behind the code.
        let state = machine.answer("state", BOOT_PROMPT);
        for register in [format!("PC={:08X}", LOAD + survey.text), "D7=00100000".to_owned(), "A7=00100000".to_owned()] {
            assert!(state.contains(&register), "{register}: {state}");
        }
    }
}

#[test]
fn disks_of_each_format_and_with_a_media_byte_that_the_boot_rom_refuses_are_booted() {
    for (format, told) in
        [(0, "1, sectors 9 on a track, 720"), (1, "1, sectors 8 on a track, 640"), (3, "2, sectors 8 on a track, 1280")]
    {
        let (_folder, image) = disk_of(format, "survey.abs", &survey().bytes());
        let mut machine = at_prompt(Some(&image), &[]);
        assert_eq!(machine.answer("drive", PROMPT), format!("sides {told} in all"));
        assert_eq!(machine.answer("boot", BOOT_PROMPT), RUN.trim_start());
    }
    let (_folder, image) = changed_disk(|it| it[21] = 0xf0);
    let mut machine = switched_on("D", Some(&image), &[]);
    let _ = machine.wait_for(BOOT_PROMPT);
    assert_eq!(machine.answer("fetch", BOOT_PROMPT), "E5 unknown disk format");
    assert_eq!(machine.answer("rom", PROMPT), "SKERRY 12  service 2.1\r\n");
    assert_eq!(machine.answer("boot", BOOT_PROMPT), RUN.trim_start());
}

/// Five goes, as `RETRIES` of the source says. Sector 14 is the first of the data area of a 720 K disk, and so of the file.
#[test]
fn a_sector_that_is_bad_four_times_is_read_and_one_that_is_bad_five_times_is_not() {
    let (_folder, image) = disk(&survey());
    for sector in [0, 1, 7, 14, 20] {
        let mut machine = at_prompt(Some(&image), &["--bad-sector", &format!("{sector}:4")]);
        assert_eq!(machine.answer("boot", BOOT_PROMPT), RUN.trim_start(), "{sector}");
        let mut machine = at_prompt(Some(&image), &["--bad-sector", &format!("{sector}:5")]);
        assert_eq!(machine.answer("boot", PROMPT), error(2), "{sector}");
        // Then it is good again.
        assert_eq!(machine.answer("boot", BOOT_PROMPT), RUN.trim_start(), "{sector}");
    }
}

/// What `boot` says of a disk, and that it has written nothing to where the tests' file goes.
fn refusal(disk: &(tempfile::TempDir, PathBuf)) -> String {
    let mut machine = at_prompt(Some(&disk.1), &[]);
    let text = machine.answer("boot", PROMPT);
    assert_eq!(machine.answer(&format!("look {LOAD:x} 4"), PROMPT), format!("{LOAD:08X}  00 00 00 00"), "{text}");
    text
}

#[test]
fn each_fault_of_a_disk_has_its_message() {
    assert_eq!(at_prompt(None, &[]).answer("boot", PROMPT), error(1));
    // The parameter block: bytes of a sector, sectors of a cluster and of a FAT, on a track, sides.
    for (at, value) in [(12, 1), (13, 0), (22, 13), (22, 0), (24, 0), (24, 8), (26, 0), (26, 1)] {
        assert_eq!(refusal(&changed_disk(|it| it[at] = value)), error(4), "{at}: {value}");
    }
    assert_eq!(refusal(&disk_of(2, "survey.ab", &survey().bytes())), error(5));
    // Cluster 2 is the first, its entry is byte 3 of the FAT and half of byte 4.
    let chained = |to: u16| {
        changed_disk(move |it| {
            it[SECTOR + 3] = to as u8;
            it[SECTOR + 4] = it[SECTOR + 4] & 0xf0 | (to >> 8) as u8;
        })
    };
    // Two sectors are loaded before it is seen. The last cluster is 714.
    for to in [0, 1, 715, 0xff7, 0xfff] {
        let (_folder, image) = chained(to);
        assert_eq!(at_prompt(Some(&image), &[]).answer("boot", PROMPT), error(6), "{to}");
    }
    // The entry in the directory, at sector 7, without a cluster.
    assert_eq!(
        refusal(&changed_disk(|it| it[7 * SECTOR..][..11 * 32].chunks_mut(32).for_each(|it| it[26] = 0))),
        error(6)
    );
}

#[test]
fn each_fault_of_the_boot_file_has_its_message() {
    let right = survey();
    let length = right.loaded().len() as u32;
    // The end of RAM, less what the stack keeps.
    let top = 0x10_0000 - 0x1000;
    for (survey, number) in [
        (Survey { magic: 0x601b, ..survey() }, 7),
        (Survey { magic: 0, ..survey() }, 7),
        (Survey { fixed: 0, ..survey() }, 8),
        (Survey { text: right.text + 2, ..survey() }, 9),
        (Survey { data: right.data - 2, ..survey() }, 9),
        (Survey { symbols: 0, ..survey() }, 9),
        (Survey { behind: right.behind[1..].to_vec(), ..survey() }, 9),
        (Survey { load: LOAD + 1, ..survey() }, 10),
        (Survey { load: 0x8_3ffe, ..survey() }, 11),
        (Survey { load: 0, ..survey() }, 11),
        (Survey { load: 0x10_0000, ..survey() }, 11),
        (Survey { load: 0xffff_fffe, ..survey() }, 11),
        (Survey { load: top - length - right.bss + 2, ..survey() }, 12),
        (Survey { bss: top - LOAD - length + 1, ..survey() }, 12),
        (Survey { load: 0xf_fffe, ..survey() }, 12),
    ] {
        assert_eq!(refusal(&disk(&survey)), error(number));
    }
    // At the limits it is run.
    for survey in [
        Survey { load: 0x8_4000, ..survey() },
        Survey { load: top - length - right.bss, ..survey() },
        Survey { bss: top - LOAD - length, ..survey() },
        Survey { bss: 0, ..survey() },
    ] {
        let (_folder, image) = disk(&survey);
        assert_eq!(at_prompt(Some(&image), &[]).answer("boot", BOOT_PROMPT), RUN.trim_start(), "{:x}", survey.load);
    }
}

#[test]
fn commands_do_what_help_says() {
    let (folder, image) = disk(&survey());
    let mut machine = at_prompt(Some(&image), &[]);
    let help = machine.answer("HELP", PROMPT);
    let words: Vec<&str> = help.lines().filter_map(|it| it.split('\t').next()).collect();
    assert_eq!(words, ["boot", "look", "alter", "sector", "drive", "pen", "again", "help"]);
    assert_eq!(machine.answer("alter 90003 c3", PROMPT), "");
    assert_eq!(machine.answer("look 8ffff 0a", PROMPT), "0008FFFF  00 00 00 00 C3 00 00 00\r\n00090007  00 00");
    assert_eq!(machine.answer("look 0 0", PROMPT), "");
    assert_eq!(machine.answer("pen ff", PROMPT), "");
    let listed = machine.answer("sector 7", PROMPT);
    let bytes: Vec<u8> = listed
        .lines()
        .flat_map(|it| it.split_once("  ").expect("an address").1.split(' '))
        .map(|it| u8::from_str_radix(it, 16).expect("a byte"))
        .collect();
    assert_eq!(bytes, file(folder.path(), "a.img")[7 * SECTOR..][..64]);
    assert_eq!(machine.answer("again", PROMPT), HELLO.trim_start());
}

#[test]
fn wrong_lines_are_answered_and_the_prompt_comes_back() {
    let (_folder, image) = disk(&survey());
    let mut machine = at_prompt(Some(&image), &[]);
    for (line, number) in [
        ("sector 5a0", 3),
        ("sector ffffffff", 3),
        ("loo", 13),
        ("looks", 13),
        ("*", 13),
        ("0", 13),
        ("look 1g 1", 14),
        ("look 123456789 1", 14),
        ("look : 1", 14),
        ("alter 90000 100", 14),
        ("pen 100", 14),
        ("look", 15),
        ("look 1", 15),
        ("look 1 2 3", 15),
        ("boot 1", 15),
        ("alter 7ffff 0", 16),
        ("alter 100000 0", 16),
    ] {
        assert_eq!(machine.answer(line, PROMPT), error(number), "{line}");
    }
    assert_eq!(machine.answer("  ", PROMPT), "");
    // A key takes back a character; what does not fit into a line does not come back.
    machine.send("lp\u{8}ook 0 1\r");
    assert_eq!(machine.wait_for(PROMPT), "lp\u{8} \u{8}ook 0 1\r\n00000000  00");
    let long = "9".repeat(90);
    machine.send(&format!("{long}\r"));
    assert_eq!(machine.wait_for(PROMPT), format!("{}\r\n{}", &long[..72], error(13)));
}

/// The numbers that the tests above provoke are those of the source, all of them.
#[test]
fn the_source_has_sixteen_messages_that_differ() {
    let errors = errors();
    let mut texts: Vec<&str> = errors.iter().filter_map(|it| Some(it.split_once(' ')?.1)).collect();
    texts.sort_unstable();
    texts.dedup();
    assert_eq!((errors.len(), texts.len()), (16, 16));
}

/// Names of both sides that are the same mean the same: the header of the C and the constants of the assembly.
#[test]
fn constants_that_both_languages_have_are_equal() {
    let demo = tests_folder().join("demo/skerry");
    let text = |name: &str| std::fs::read_to_string(demo.join(name)).expect("the demo is text");
    let number = |it: &str| {
        let (digits, radix) = it.strip_prefix("0x").or(it.strip_prefix('$')).map_or((it, 10), |it| (it, 16));
        i64::from_str_radix(digits.trim_end_matches('L'), radix).ok()
    };
    let (header, include) = (text("service.h"), text("skerry.i"));
    let mut twins = 0;
    for line in header.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let ["#define", name, value, ..] = words[..] else { continue };
        let twin = include.lines().map(|it| it.split_whitespace().collect::<Vec<_>>());
        let Some(twin) = twin.into_iter().find(|it| it.first() == Some(&name) && it.get(1) == Some(&"EQU")) else {
            continue;
        };
        // What is written as a sum is left to the machine that runs.
        let (Some(ours), Some(theirs)) = (number(value), number(twin[2])) else { continue };
        assert_eq!(ours, theirs, "{name}");
        twins += 1;
    }
    assert!(twins >= 30, "{twins}");
}
