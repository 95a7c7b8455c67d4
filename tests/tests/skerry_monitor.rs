//! The demo's ROM monitor, executed: GNU as makes the ROM, a processor core runs it in a process of its own (`tests/peers/skerry.py`), and what
//! is typed on its serial line is answered by the firmware. What has to come back is worked out here, from the bytes of the ROM and of the disk.
//!
//! Words, texts and error numbers: `tests/demo/skerry`, whose own invention they are. The entry of the boot file: a FAT directory, from memory.

use std::fmt::Write as _;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use reveille_tests::machine::{BOOT_PROMPT as PROMPT, Machine, PATIENCE, Setup};
use reveille_tests::skerry::{Skerry, rom};
use reveille_tests::{file, folder, run, tests_folder};

/// An address where nothing of the monitor lies.
const FREE: usize = 0x9_0000;
const SECTOR: usize = 512;
/// Sectors of a 720 K disk.
const SECTORS: usize = 1440;
/// A program that the ROM takes: its header, two bytes that are no instruction, and their sum.
const PROGRAM: &[u8] = b"SK12\0\0\0\x10\0\0\0\x02\x4a\xfc\0\0\x4a\xfc";

/// The machine without its upper half, at its prompt.
struct Console(Machine);

impl Console {
    /// Switches the machine on with key D held and waits for the prompt.
    fn start(image: Option<&Path>, more: &[&str]) -> Self {
        let (mut console, greeting) = Self::connect(image, "D", more);
        assert_eq!(greeting, "\r\nSKERRY 12  ROM 1.3\r\n");
        assert_eq!(console.answer(""), "");
        console
    }

    fn connect(image: Option<&Path>, keys: &str, more: &[&str]) -> (Self, String) {
        let mut machine = Setup { rom: rom(), keys, image, more }.switch_on();
        let greeting = machine.wait_for(PROMPT);
        (Self(machine), greeting)
    }

    fn answer(&mut self, line: &str) -> String {
        self.0.answer(line, PROMPT)
    }

    /// A line that is answered by nothing.
    fn tell(&mut self, line: &str) {
        assert_eq!(self.answer(line), "", "{line}");
    }
}

/// A folder with the image of a 720 K disk, as the demo's own table lays it out, with the boot file.
fn disk() -> (tempfile::TempDir, PathBuf) {
    let folder = folder(&[("skerry.sys", PROGRAM)]);
    let table = format!("{}:boot_formats[2]", tests_folder().join("demo/skerry/disk.s").display());
    let output = run(folder.path(), &["image", "make", "--table", &table, "--add", "skerry.sys", "a.img"]);
    assert_eq!(output.code, 0, "{}", output.err);
    let image = folder.path().join("a.img");
    assert_eq!(file(folder.path(), "a.img").len(), SECTORS * SECTOR);
    (folder, image)
}

fn with_disk(image: &Path) -> Console {
    Console::start(Some(image), &[])
}

/// Bytes as the monitor lists them: sixteen on a line, behind the address of the first.
fn listed(from: usize, bytes: &[u8]) -> String {
    let mut lines = Vec::new();
    for (at, chunk) in bytes.chunks(16).enumerate() {
        let mut line = format!("{:08X}:", from + 16 * at);
        for byte in chunk {
            let _ = write!(line, " {byte:02X}");
        }
        lines.push(line);
    }
    lines.join("\r\n")
}

#[test]
fn a_list_has_the_bytes_of_the_rom() {
    let mut console = Console::start(None, &[]);
    for (from, count) in [(0, 0x400), (0x400, 1), (0x401, 15), (0x7ff, 16), (0x801, 17), (0xc00, rom().len() - 0xc00)] {
        let line = format!("list {from:x} {count:x}");
        assert_eq!(console.answer(&line), listed(from, &rom()[from..from + count]), "{line}");
    }
    assert_eq!(console.answer("list 0 0"), "");
    assert_eq!(console.answer("  LIST   000004E2  2 "), listed(0x4e2, &rom()[0x4e2..0x4e4]));
}

#[test]
fn ram_takes_bytes_and_nothing_else_does() {
    let mut console = Console::start(None, &[]);
    console.tell(&format!("flood {FREE:x} 20 5a"));
    console.tell(&format!("byte {:x} C3", FREE + 3));
    let mut bytes = vec![0; 48];
    bytes[8..40].fill(0x5a);
    bytes[11] = 0xc3;
    assert_eq!(console.answer(&format!("list {:x} 30", FREE - 8)), listed(FREE - 8, &bytes));
    // The last byte of RAM is below the monitor's own stack, which comes back to it.
    for line in ["byte 7ffff 1", "byte 100000 1", "byte ffffffff 1", "flood fffff 2 0", "flood 80000 80001 0"] {
        assert_eq!(console.answer(line), "E14 outside of RAM", "{line}");
    }
    assert_eq!(console.answer("list 400 10"), listed(0x400, &rom()[0x400..0x410]));
}

#[test]
fn a_wrong_line_says_what_is_wrong_with_it() {
    let mut console = Console::start(None, &[]);
    let words = "E10 no such word, only: disk rom list byte flood take put fetch enter state";
    for line in ["lis", "lists", "l", "0", "?", "disk.", "*"] {
        assert_eq!(console.answer(line), words, "{line}");
    }
    for line in ["list", "list 1", "list 1 2 3", "state 1", "flood 1 2", "byte 90000 1 2 3 4"] {
        assert_eq!(console.answer(line), "E12 too few or too many numbers", "{line}");
    }
    for line in
        ["list 1g 1", "list $10 1", "list 1 123456789", "list -1 1", "byte 90000 100", "flood 90000 1 fff", "enter :"]
    {
        assert_eq!(console.answer(line), "E11 not a hex number, or too large", "{line}");
    }
    assert_eq!(console.answer("enter 90001"), "E13 odd address");
}

#[test]
fn keys_take_back_a_character_or_the_line() {
    let mut console = Console::start(None, &[]);
    let (rubbed, first) = ("\u{8} \u{8}", listed(0, &rom()[..1]));
    console.0.send("list 7\u{8}0 \u{7f} 2\u{8}1\r");
    let text = console.0.until(|it| it.ends_with(PROMPT));
    assert_eq!(text, format!("list 7{rubbed}0 {rubbed} 2{rubbed}1\r\n{first}{PROMPT}"));
    // Nothing is left of the line, and it is not done.
    console.0.send("byte 90000 ff\u{18}");
    assert_eq!(console.0.until(|it| it.ends_with(PROMPT)), format!("byte 90000 ff{PROMPT}"));
    assert_eq!(console.answer("list 90000 1"), listed(FREE, &[0]));
    // More than a line holds is not taken, and so it does not come back.
    let long = "1".repeat(100);
    console.0.send(&format!("{long}\u{18}"));
    assert_eq!(console.0.until(|it| it.ends_with(PROMPT)), format!("{}{PROMPT}", &long[..72]));
    // At the beginning there is nothing to take back; other control characters mean nothing.
    console.0.send("\u{8}\u{7f}\t\n\u{1b}list 0 1\r");
    assert_eq!(console.0.until(|it| it.ends_with(PROMPT)), format!("list 0 1\r\n{first}{PROMPT}"));
}

#[test]
fn the_cancel_key_stops_a_list_at_the_end_of_a_line() {
    let mut console = Console::start(None, &[]);
    console.0.send("list 0 100000\r");
    let _ = console.0.until(|it| it.matches("\r\n").count() > 8);
    console.0.send("\u{18}");
    let rest = console.0.until(|it| it.ends_with(PROMPT));
    let last = rest.strip_suffix(PROMPT).and_then(|it| it.rsplit("\r\n").next()).expect("a line");
    assert_eq!(last.len(), listed(0, &[0; 16]).len(), "{last}");
    console.tell("");
}

#[test]
fn sectors_come_into_ram_as_they_are_in_the_image() {
    let (folder, image) = disk();
    let mut bytes = file(folder.path(), "a.img");
    // Each sector says which one it is; the first has to stay what the ROM looks for.
    for (number, sector) in bytes.chunks_mut(SECTOR).enumerate().skip(1) {
        sector[..4].copy_from_slice(&(number as u32).to_be_bytes());
    }
    std::fs::write(&image, &bytes).expect("the image can be written");
    let mut console = with_disk(&image);
    for sector in [0, 1, 8, 9, 17, 18, 719, 1430, SECTORS - 1] {
        // An odd address will do.
        let to = FREE + 1;
        console.tell(&format!("take {sector:x} {to:x}"));
        let expected = listed(to, &bytes[sector * SECTOR..][..SECTOR]);
        assert_eq!(console.answer(&format!("list {to:x} 200")), expected, "sector {sector}");
    }
    for sector in [SECTORS, 0xffff, 0x1_0000, 0xffff_ffff] {
        assert_eq!(console.answer(&format!("take {sector:x} 90000")), "E2 sector not found", "{sector}");
        assert_eq!(console.answer(&format!("put {sector:x} 90000")), "E2 sector not found", "{sector}");
    }
    for (word, at) in [("take", 0), ("take", 0x7_fe01), ("take", 0xf_fe01), ("put", 0xf_fe01)] {
        assert_eq!(console.answer(&format!("{word} 0 {at:x}")), "E14 outside of RAM", "{word} {at:x}");
    }
    drop(console);
    assert!(file(folder.path(), "a.img") == bytes, "the image has changed");
}

/// The formats of the ROM's table by the sizes of their images: sectors count on across tracks and sides as the format says.
#[test]
fn a_disk_of_another_format_is_read_by_its_own() {
    for (format, sectors) in [(0, 720), (1, 640), (3, 1280)] {
        let folder = folder(&[]);
        let table = format!("{}:boot_formats[{format}]", tests_folder().join("demo/skerry/disk.s").display());
        let output = run(folder.path(), &["image", "make", "--table", &table, "a.img"]);
        assert_eq!(output.code, 0, "{}", output.err);
        let mut bytes = file(folder.path(), "a.img");
        assert_eq!(bytes.len(), sectors * SECTOR);
        bytes[(sectors - 2) * SECTOR..][..5].copy_from_slice(b"tides");
        std::fs::write(folder.path().join("a.img"), &bytes).expect("the image can be written");
        let mut console = with_disk(&folder.path().join("a.img"));
        console.tell(&format!("take {:x} {FREE:x}", sectors - 2));
        assert_eq!(console.answer(&format!("list {FREE:x} 8")), listed(FREE, b"tides\0\0\0"), "{format}");
        assert_eq!(console.answer(&format!("take {sectors:x} {FREE:x}")), "E2 sector not found", "{format}");
        assert_eq!(console.answer("fetch"), "E6 no SKERRY.SYS on disk");
    }
}

#[test]
fn a_sector_is_put_onto_the_disk_just_there() {
    let (folder, image) = disk();
    let mut expected = file(folder.path(), "a.img");
    let mut console = with_disk(&image);
    for (sector, value) in [(SECTORS - 1, 0xa5), (9, 0x3c), (700, 0xff)] {
        console.tell(&format!("flood {FREE:x} 200 {value:x}"));
        console.tell(&format!("byte {:x} 11", FREE + 511));
        console.tell(&format!("put {sector:x} {FREE:x}"));
        let place = &mut expected[sector * SECTOR..][..SECTOR];
        place.fill(value);
        place[511] = 0x11;
        assert!(file(folder.path(), "a.img") == expected, "sector {sector}");
    }
}

#[test]
fn what_is_wrong_with_the_drive_or_the_disk_is_told() {
    let mut console = Console::start(None, &[]);
    for line in ["take 0 90000", "put 0 90000", "fetch", "disk"] {
        assert_eq!(console.answer(line), "E1 drive not ready", "{line}");
    }
    let (folder, image) = disk();
    let before = file(folder.path(), "a.img");
    let mut console = Console::start(Some(&image), &["--protect"]);
    assert_eq!(console.answer("put 5 90000"), "E15 disk is write-protected");
    console.tell("take 5 90000");
    assert!(file(folder.path(), "a.img") == before);

    // A disk that is none of ours: sectors are read as those of 720 K, and there is nothing to load.
    std::fs::write(&image, vec![0x42; SECTORS * SECTOR]).expect("the image can be written");
    let mut console = with_disk(&image);
    console.tell("take 59f 90000");
    assert_eq!(console.answer("list 90000 10"), listed(FREE, &[0x42; 16]));
    assert_eq!(console.answer("fetch"), "E5 unknown disk format");
}

#[test]
fn the_boot_file_is_fetched_and_run() {
    let (folder, image) = disk();
    let mut console = with_disk(&image);
    // Whole clusters of two sectors.
    assert_eq!(console.answer("fetch"), "SKERRY.SYS from 00084000 to 000843FF");
    let mut expected = PROGRAM.to_vec();
    expected.resize(32, 0);
    assert_eq!(console.answer("list 84000 20"), listed(0x8_4000, &expected));
    for line in ["enter 84010", "disk"] {
        assert_eq!(console.answer(line), "E18 illegal instruction", "{line}");
        let state = console.answer("state");
        assert!(state.contains("PC=00084010"), "{line}: {state}");
    }
    assert_eq!(console.answer("rom"), "E8 not a Skerry program");
    // The sum of the words behind the header.
    let mut bytes = file(folder.path(), "a.img");
    bytes[14 * SECTOR + 13] ^= 1;
    std::fs::write(&image, bytes).expect("the image can be written");
    assert_eq!(console.answer("disk"), "E9 program has a wrong sum");
}

/// With key D, which the other tests hold down, it stays at the prompt. C is for the program in ROM, and there is none.
#[test]
fn the_key_at_reset_chooses_what_is_booted() {
    let (_folder, image) = disk();
    for (key, expected) in
        [("none", "E18 illegal instruction"), ("A", "E18 illegal instruction"), ("C", "E8 not a Skerry program")]
    {
        let (_, greeting) = Console::connect(Some(&image), key, &[]);
        assert_eq!(greeting, format!("\r\nSKERRY 12  ROM 1.3\r\n\r\n{expected}"), "{key}");
    }
}

/// M68000 user's manual, exception processing: an illegal instruction and a trap stack the PC and the SR; the PC of an illegal instruction is its
/// own, that of a trap the next one's.
#[test]
fn registers_are_those_of_the_last_exception() {
    let mut console = Console::start(None, &[]);
    let nothing = console.answer("state");
    assert_eq!(nothing.matches("=00000000").count(), 17, "{nothing}");
    assert!(nothing.ends_with("PC=00000000 SR=0000"), "{nothing}");
    // MOVE.L #$12345678,D3; MOVEA.L #$000A1B2C,A5; MOVEQ #-1,D7; TRAP #5
    let code = [0x26, 0x3c, 0x12, 0x34, 0x56, 0x78, 0x2a, 0x7c, 0, 0xa, 0x1b, 0x2c, 0x7e, 0xff, 0x4e, 0x45];
    for (at, byte) in code.iter().enumerate() {
        console.tell(&format!("byte {:x} {byte:x}", FREE + at));
    }
    assert_eq!(console.answer(&format!("enter {FREE:x}")), "E19 trap without an owner");
    let state = console.answer("state");
    let lines: Vec<&str> = state.split("\r\n").collect();
    assert_eq!(lines.len(), 5, "{state}");
    let pairs = state.split_whitespace().map(|it| it.split_once('=').expect("a name and a value"));
    let names: Vec<&str> = pairs.clone().map(|it| it.0).collect();
    let registers = ["D0", "D1", "D2", "D3", "D4", "D5", "D6", "D7", "A0", "A1", "A2", "A3", "A4", "A5", "A6", "A7"];
    assert_eq!(names, [&registers[..], &["PC", "SR"]].concat());
    let value = |name: &str| pairs.clone().find(|it| it.0 == name).map(|it| it.1).expect("it is listed");
    // D0 is where RAM ends, SR supervisor state, no interrupts, N of the MOVEQ.
    for (name, expected) in [
        ("D0", "00100000"),
        ("D3", "12345678"),
        ("D7", "FFFFFFFF"),
        ("A1", "00090000"),
        ("A5", "000A1B2C"),
        ("PC", "00090010"),
        ("SR", "2708"),
    ] {
        assert_eq!(value(name), expected, "{name}");
    }
    // A routine that returns is no exception: the registers stay.
    console.tell(&format!("byte {FREE:x} 4e"));
    console.tell(&format!("byte {:x} 75", FREE + 1));
    console.tell(&format!("enter {FREE:x}"));
    assert_eq!(console.answer("state"), state);
}

/// Ten bits a character, as EIA-232 lines count them: 9600 bit/s are 960 characters a second.
#[test]
fn a_paced_line_is_not_faster_than_its_rate() {
    let mut console = Console::start(None, &["--baud", "9600"]);
    let begin = Instant::now();
    let text = console.answer("list 0 100");
    assert_eq!(text, listed(0, &rom()[..0x100]));
    let characters = text.len() as u32;
    assert!(begin.elapsed() > Duration::from_secs(1) * characters / 960, "{:?}", begin.elapsed());
}

#[test]
fn a_pulled_cable_ends_the_line_and_the_machine_goes_on() {
    let mut console = Console::start(None, &["--unplug-after", "200"]);
    console.tell("byte 90000 77");
    console.0.send("list 0 100\r");
    let text = console.0.until(|_| false);
    assert!(text.starts_with("list 0 100\r\n00000000:") && text.len() < 200, "{text:?}");
    console.0.call_again();
    let _ = console.0.line.set_read_timeout(Some(Duration::from_secs(1)));
    // What it sends meanwhile is lost; then it waits at its prompt.
    let mut rest = [0; 4096];
    while let Ok(count) = console.0.line.read(&mut rest) {
        assert_ne!(count, 0, "the line is closed again");
    }
    console.0.line.set_read_timeout(Some(PATIENCE)).expect("a time");
    assert_eq!(console.answer("list 90000 1"), listed(FREE, &[0x77]));
}

#[test]
fn a_pseudo_terminal_serves_as_well() {
    let machine = Skerry::start(rom(), &[]);
    let path = Path::new(&machine.name);
    let mut line = std::fs::OpenOptions::new().read(true).write(true).open(path).expect("the terminal is there");
    line.write_all(b"list 0 10\r").expect("the terminal takes it");
    let expected = format!("list 0 10\r\n{}{PROMPT}", listed(0, &rom()[..16]));
    let (send, read) = channel();
    std::thread::spawn(move || {
        let mut bytes = [0; 256];
        while let Ok(count) = line.read(&mut bytes) {
            if send.send(bytes[..count].to_vec()).is_err() {
                return;
            }
        }
    });
    let mut text = Vec::new();
    while !text.ends_with(expected.as_bytes()) {
        let more = read.recv_timeout(PATIENCE);
        text.extend(more.unwrap_or_else(|_| panic!("no more behind {}", String::from_utf8_lossy(&text))));
    }
}

/// What a session came to, and what was typed and came back in it, with time and prompt left out.
fn played(folder: &Path, script: &str, arguments: &[&str]) -> (i32, serde_json::Value) {
    let script = tests_folder().join("demo/skerry").join(script);
    let mut all =
        vec!["play", script.to_str().expect("a path"), "--force", "--report", "report.json", "--log-to", "a.log"];
    all.extend(arguments);
    let output = run(folder, &all);
    assert!(output.code < 2, "{}{}", output.out, output.err);
    let report: serde_json::Value = serde_json::from_slice(&file(folder, "report.json")).expect("a report is JSON");
    let _ = std::fs::remove_file(tests_folder().join("demo/skerry/boot.bin"));
    (output.code, report)
}

/// What a rehearsal says has to be what the machine does: the verdict of each step, what is typed for it, and which error it ends with.
#[test]
fn a_rehearsal_of_the_demos_sessions_comes_to_what_the_machine_that_runs_its_rom_comes_to() {
    let (folder, image) = disk();
    let path = image.to_str().expect("a temporary path is text");
    let mut console = with_disk(&image);
    for (script, expected) in [("first-start.session", 0), ("boot-sector.session", 0), ("wrong-disk.session", 0)] {
        let (rehearsed_code, rehearsed) = played(folder.path(), script, &["--image", path]);
        // The machine is on, and stands at its prompt.
        console.0.call_again();
        console.0.line.shutdown(std::net::Shutdown::Both).expect("it can be closed");
        let address = format!("127.0.0.1:{}", console.0.port());
        let (code, real) = played(folder.path(), script, &["--connect", &address]);
        assert_eq!((code, rehearsed_code), (expected, expected), "{script}: {real}");
        for (a, b) in
            rehearsed["stages"].as_array().expect("stages").iter().zip(real["stages"].as_array().expect("stages"))
        {
            assert_eq!(a["title"], b["title"]);
            for (a, b) in a["steps"].as_array().expect("steps").iter().zip(b["steps"].as_array().expect("steps")) {
                for part in ["line", "verdict", "typed", "refusal"] {
                    assert_eq!(a[part], b[part], "{script}: {a} {b}");
                }
            }
        }
    }
    // Without a disk the firmware refuses in the same words as the rehearsal.
    drop(console);
    let console = Console::start(None, &[]);
    console.0.line.shutdown(std::net::Shutdown::Both).expect("it can be closed");
    let address = format!("127.0.0.1:{}", console.0.port());
    let (code, real) = played(folder.path(), "wrong-disk.session", &["--connect", &address]);
    let (rehearsed_code, rehearsed) = played(folder.path(), "wrong-disk.session", &["--no-disk"]);
    assert_eq!((code, rehearsed_code), (1, 1));
    let refusal = |it: &serde_json::Value| it["stages"][1]["steps"][0]["refusal"].clone();
    assert_eq!((refusal(&real), refusal(&rehearsed)), ("E1 drive not ready".into(), "E1 drive not ready".into()));
}
