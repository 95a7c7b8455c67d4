//! `reveille rom compare` over the demo: its ROM is made by GNU as and ld, damaged in every way that chips are, and each damage is told.
//!
//! Outside judge: GNU binutils 2.40 for the 68000 make the bytes (`tests/demo/assemble.sh`).

use std::path::Path;
use std::sync::OnceLock;

use proptest::prelude::*;
use reveille_decoders::chips;
use reveille_decoders::transfer::{Image, intel_hex, srecord};
use reveille_tests::skerry::rom;
use reveille_tests::{Output, run, tests_folder};
use serde_json::Value;

/// The demo's sources, by name.
fn sources() -> &'static [(String, String)] {
    static SOURCES: OnceLock<Vec<(String, String)>> = OnceLock::new();
    SOURCES.get_or_init(|| {
        let demo = tests_folder().join("demo/skerry");
        let text = |name: &str| std::fs::read_to_string(demo.join(name)).expect("the demo is text");
        ["boot.s", "monitor.s", "disk.s", "load.s", "skerry.i"].map(|name| (name.to_owned(), text(name))).to_vec()
    })
}

/// The demo's sources and some dumps.
fn folder(dumps: &[(&str, &[u8])]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).expect("a file is written");
    for (name, text) in sources() {
        write(name, text.as_bytes());
    }
    for (name, bytes) in dumps {
        write(name, bytes);
    }
    folder
}

fn compare(folder: &Path, arguments: &[&str]) -> Output {
    run(folder, &[&["rom", "compare", "boot.s"], arguments].concat())
}

fn json(folder: &Path, arguments: &[&str]) -> (i32, Value) {
    let output = compare(folder, &[arguments, &["--format", "json"]].concat());
    assert_eq!(output.err, "");
    (output.code, serde_json::from_str(&output.out).expect("the output is JSON"))
}

/// Code, verdict and causes of a comparison with one dump.
fn told(dump: &[u8], others: &[&str]) -> (i32, String, Vec<String>) {
    let folder = folder(&[("rom.bin", dump)]);
    let (code, found) = json(folder.path(), &[&["rom.bin"], others].concat());
    let causes = found["causes"].as_array().expect("a list").iter();
    let causes = causes.map(|it| it["cause"].as_str().unwrap_or_default().to_owned());
    (code, found["verdict"].as_str().unwrap_or_default().to_owned(), causes.collect())
}

fn pair(image: &[u8]) -> (Vec<u8>, Vec<u8>) {
    let chips = chips::split(image, 2).expect("an even number of bytes");
    (chips[0].clone(), chips[1].clone())
}

#[test]
fn the_demo_s_rom_is_equal_to_its_source_in_every_form() {
    let rom = rom();
    let image = Image::raw(0, rom);
    let width = |width| srecord::Form { width: Some(width), ..srecord::Form::default() };
    let srecord = |form: &srecord::Form| srecord::write(&image, form).expect("it fits").into_bytes();
    let mut chip = rom.to_vec();
    chip.resize(8192, 0xff);
    for (name, bytes, form) in [
        ("rom.bin", rom.to_vec(), "raw"),
        ("chip.bin", chip, "raw"),
        ("rom.s19", srecord(&width(srecord::AddressWidth::Bytes2)), "srecord"),
        ("rom.s28", srecord(&width(srecord::AddressWidth::Bytes3)), "srecord"),
        ("rom.s37", srecord(&width(srecord::AddressWidth::Bytes4)), "srecord"),
        ("rom.hex", intel_hex::write(&image, &intel_hex::Form::default()).expect("it fits").into_bytes(), "ihex"),
    ] {
        let folder = folder(&[(name, &bytes)]);
        let output = compare(folder.path(), &[name]);
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{name}: {}", output.out);
        assert!(output.out.starts_with("Equal: the dump has all 4171 bytes that the source lays down.\n"), "{name}");
        let (_, found) = json(folder.path(), &[name]);
        assert_eq!((&found["equal"], &found["dump"]["files"][0]["form"]), (&Value::Bool(true), &form.into()), "{name}");
        assert_eq!(found["counts"]["equal"], 4171, "{name}");
    }
}

/// A programmer's file starts at 0, or where the chip lies in the machine.
#[test]
fn addresses_of_a_file_are_taken_and_told_if_the_source_lies_elsewhere() {
    let form = srecord::Form::default();
    let file = srecord::write(&Image::raw(0xf8_0000, rom()), &form).expect("it fits");
    let folder = folder(&[("rom.s28", file.as_bytes())]);
    let output = compare(folder.path(), &["rom.s28"]);
    assert_eq!(output.code, 0, "{}", output.out);
    let shown = output.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let expected = "lies at $000000 to $00104D, where the source begins; the addresses in the file begin at $F80000";
    assert!(shown.contains(expected), "{}", output.out);
}

/// M68000 user's manual, data organization in memory: the even chip has the high byte of each word.
#[test]
fn a_pair_is_taken_in_either_order() {
    let (even, odd) = pair(rom());
    let folder = folder(&[("u1.bin", &even), ("u2.bin", &odd)]);
    let named = |even, odd| ["--even", even, "--odd", odd];
    for (arguments, code, order) in [
        (&["u1.bin", "u2.bin"][..], 0, "even-odd"),
        (&["u2.bin", "u1.bin"], 0, "odd-even"),
        (&named("u1.bin", "u2.bin"), 0, "even-odd"),
        (&named("u2.bin", "u1.bin"), 1, "odd-even"),
        (&["u1.bin", "u2.bin", "--swap-bytes"], 1, "even-odd"),
    ] {
        let (found, value) = json(folder.path(), arguments);
        assert_eq!((found, &value["dump"]["order"]), (code, &order.into()), "{arguments:?}");
        assert_eq!(value["counts"]["differ"], 0, "{arguments:?}");
    }
    let output = compare(folder.path(), &["u2.bin", "u1.bin"]);
    assert!(output.out.contains("dump        even u1.bin (raw bytes, 2087), odd u2.bin (raw bytes, 2087)"));
    let output = compare(folder.path(), &named("u2.bin", "u1.bin"));
    assert!(
        output.out.contains("even and odd are the wrong way round; name the files the other way"),
        "{}",
        output.out
    );
    let output = compare(folder.path(), &["u2.bin"]);
    assert!(output.out.contains("this is the odd chip alone; name the even one too"), "{}", output.out);
    assert_eq!(output.code, 1);
}

#[test]
fn each_damage_is_told_by_its_name() {
    let rom = rom();
    let other = |of: &dyn Fn(&mut Vec<u8>)| {
        let mut bytes = rom.to_vec();
        of(&mut bytes);
        bytes
    };
    let odd = |bytes: &mut Vec<u8>, change: &dyn Fn(u8) -> u8| {
        bytes.iter_mut().skip(1).step_by(2).for_each(|it| *it = change(*it));
    };
    let whole = other(&|it| it.resize(8192, 0xff));
    for (dump, others, verdict, cause) in [
        (chips::swap_bytes(rom).expect("even"), &[][..], "equal-in-another-order", "order"),
        (other(&|it| odd(it, &|byte| byte ^ byte >> 1)), &[], "different", "one-chip"),
        (other(&|it| odd(it, &|byte| byte | 8)), &[], "different", "data-lines"),
        ((0..8192).map(|it| whole[it & !0x40]).collect(), &[], "different", "address-lines"),
        (other(&|it| drop(it.splice(0x500..0x500, [0x4e, 0x71, 0xa1, 0x23]))), &[], "different", "inserted-bytes"),
        (other(&|it| drop(it.drain(0x508..0x50e))), &[], "different", "missing-bytes"),
        (other(&|it| it[0x800..].fill(0xff)), &[], "different", "blank"),
        (other(&|it| it.truncate(0x600)), &[], "equal-as-far-as-dumped", "short-dump"),
        ([&whole[..], &whole].concat(), &[], "equal-and-more", "repeats"),
        (other(&|it| it.extend(b"another module")), &[], "equal-and-more", "more-content"),
        (other(&|it| it.iter_mut().for_each(|it| *it = !*it)), &[], "unrelated", "unrelated"),
        // #128 of MOVE.B #128,CHART.
        (other(&|it| it[0x44f] = 0x40), &[], "different", "values"),
        (rom.to_vec(), &["--base", "$10"], "different", "base"),
    ] {
        let (code, found, causes) = told(&dump, others);
        assert_eq!((code, found.as_str()), (1, verdict), "{cause}: {causes:?}");
        assert!(causes.iter().any(|it| it == cause), "{cause}: {causes:?}");
    }
}

/// The bytes of a source by the addresses of its listing, with 0 between.
fn assembled(folder: &Path, arguments: &[&str]) -> Vec<u8> {
    let output = run(folder, &[&["listing", "--format", "json"], arguments].concat());
    let mut image = Image::default();
    for line in output.out.lines() {
        let line: Value = serde_json::from_str(line).expect("a line is JSON");
        let (hex, address) = (line["bytes"].as_str().unwrap_or_default(), line["address"].as_u64());
        let byte = |at: usize| u8::from_str_radix(&hex[2 * at..2 * at + 2], 16).expect("all bytes are known");
        let bytes: Vec<u8> = (0..hex.len() / 2).map(byte).collect();
        image.push(address.unwrap_or(0) as u32, &bytes, 0);
    }
    image.flat(None, 0, 1 << 20).expect("there are bytes").bytes
}

#[test]
fn a_rom_of_an_assembler_that_chose_other_lengths_says_which_option_agrees() {
    let text = format!("\torg\t$400\n{}", reveille_fixture::firmware_source(400, 3));
    let folder = folder(&[("a.s", text.as_bytes())]);
    let other = assembled(folder.path(), &["a.s", "--sizing", "references=relative"]);
    std::fs::write(folder.path().join("rom.bin"), other).expect("a file is written");
    let output = run(folder.path(), &["rom", "compare", "a.s", "rom.bin"]);
    assert_eq!(output.code, 1, "{}", output.err);
    let shown = output.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let expected =
        "sure the assembler chose lengths in another way: with --sizing references=relative everything agrees";
    assert!(shown.contains(expected), "{}", output.out);
    let output = run(folder.path(), &["rom", "compare", "a.s", "rom.bin", "--sizing", "references=relative"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""), "{}", output.out);
}

#[test]
fn the_text_of_a_patched_rom() {
    let mut dump = rom().to_vec();
    // Another key, a jump that is left out, another version in the text.
    dump[0x463] ^= 2;
    dump[0x44f] = 0x40;
    dump[0x412..0x416].copy_from_slice(&[0x4e, 0x71, 0x4e, 0x71]);
    dump[0x67b] = b'4';
    dump.resize(8192, 0xff);
    let folder = folder(&[("rom.bin", &dump)]);
    let output = compare(folder.path(), &["rom.bin"]);
    assert_eq!((output.code, output.err.as_str()), (1, ""));
    let long: Vec<&str> = output.out.lines().filter(|it| it.chars().count() > 100).collect();
    assert!(long.is_empty(), "{long:?}");
    insta::assert_snapshot!("patched_rom", output.out);
}

#[test]
fn no_more_places_are_shown_than_asked_for() {
    let mut dump = rom().to_vec();
    for at in (0x420..0xb00).step_by(64) {
        dump[at] ^= 0x55;
    }
    let folder = folder(&[("rom.bin", &dump)]);
    let (_, all) = json(folder.path(), &["rom.bin", "--most", "1000"]);
    let count = all["runs"].as_array().map_or(0, Vec::len);
    let bytes: u64 = all["runs"].as_array().expect("a list").iter().filter_map(|it| it["bytes"].as_u64()).sum();
    assert_eq!((bytes, &all["runs_left_out"]), (28, &0.into()));
    let (_, some) = json(folder.path(), &["rom.bin", "--most", "5"]);
    assert_eq!((some["runs"].as_array().map_or(0, Vec::len), &some["runs_left_out"]), (5, &(count - 5).into()));
    let output = compare(folder.path(), &["rom.bin", "--most", "5"]);
    assert!(output.out.contains(&format!("  and {} more places; --most shows more", count - 5)), "{}", output.out);
}

#[test]
fn a_labelled_checksum_is_verified() {
    let source =
        "\torg\t0\n\tdc.l\t$2000,start\nrom_crc\tdc.w\t0\nstart\tmoveq\t#1,d0\n\tmove.w\td0,$4000\n\tstop\t#$2700\n";
    let text = source.to_owned() + &"\tdc.w\t$1234,$5678\n".repeat(8);
    let folder = folder(&[("a.s", text.as_bytes())]);
    let mut rom = assembled(folder.path(), &["a.s"]);
    let rest = [&rom[..8], &rom[10..]].concat();
    let kind = reveille_decoders::checksum::kind("crc-16-xmodem").expect("a kind");
    let sum = reveille_decoders::checksum::compute(kind, &rest);
    rom[8..10].copy_from_slice(&(sum as u16).to_be_bytes());
    std::fs::write(folder.path().join("a.bin"), rom).expect("a file is written");
    let output = run(folder.path(), &["rom", "compare", "a.s", "a.bin"]);
    assert_eq!(output.code, 1);
    for expected in [
        "Equal but for a checksum:",
        "only the checksum at $000008 to $000009 differs (label `rom_crc`) [a.s:3]",
        &format!("rom_crc at $000008 [a.s:3]: ${sum:04X} in the dump, $0000 in the source"),
        "agrees: CRC-16/XMODEM of the dump without it",
    ] {
        assert!(output.out.contains(expected), "{expected}: {}", output.out);
    }
}

#[test]
fn what_cannot_be_compared_says_why_and_what_to_do() {
    let folder = folder(&[
        ("rom.bin", rom()),
        ("empty.bin", b""),
        ("damaged.s19", b"S104000001FA\nS104000102F9\nS9030000FC\n"),
        ("far.s19", b"S1040000AA51\nS3060200000055A2\nS9030000FC\n"),
        ("nothing.s", b"* nothing but words\n"),
    ]);
    for (arguments, message) in [
        (&["boot.s", "missing.bin"][..], "`missing.bin` cannot be opened"),
        (&["missing.s", "rom.bin"], "`missing.s` cannot be opened"),
        (&["boot.s", "empty.bin"], "`empty.bin` is empty; read the chip again"),
        (&["boot.s", "."], "`.` is a folder, expected a file"),
        (&["boot.s", "damaged.s19"], "`damaged.s19` has 1 error as S-records; transfer it again"),
        (&["boot.s", "far.s19"], "`far.s19` spans 33554433 bytes, expected at most 16777216"),
        (&["nothing.s", "rom.bin"], "`nothing.s` lays down no byte at an address that is known"),
        (&["boot.s", "rom.bin", "rom.bin"], "`rom.bin` is named for both chips; name the dump of each"),
        (&["boot.s", "--even", "rom.bin"], "--odd <FILE>"),
        (&["boot.s"], "<DUMP>"),
        (&["boot.s", "rom.bin", "--base", "here"], "write $F80000 or 0xF80000"),
        (&["boot.s", "rom.bin", "--sizing", "quick=often"], "`quick` is one of yes, no, not `often`"),
    ] {
        let output = run(folder.path(), &[&["rom", "compare"], arguments].concat());
        assert_eq!((output.code, output.out.as_str()), (2, ""), "{arguments:?}: {}", output.err);
        assert!(output.err.contains(message), "{arguments:?}: {}", output.err);
        assert!(!output.err.contains("nothing was written"), "{}", output.err);
    }
}

#[test]
fn chips_of_different_sizes_are_told() {
    let (even, odd) = pair(rom());
    let folder = folder(&[("u1.bin", &even), ("u2.bin", &odd[..odd.len() - 100])]);
    let output = compare(folder.path(), &["--even", "u1.bin", "--odd", "u2.bin"]);
    assert_eq!(output.code, 1);
    let expected = "the chips have 2087 and 1987 bytes, expected the same size; read the shorter one again";
    assert!(output.out.contains(expected), "{}", output.out);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn a_damaged_byte_is_told_at_its_address(at in 0_usize..4171, change in 1_u8..=255) {
        let mut dump = rom().to_vec();
        dump[at] ^= change;
        let folder = folder(&[("rom.bin", &dump)]);
        let (code, found) = json(folder.path(), &["rom.bin"]);
        // The byte before an even address is not compared.
        if found["counts"]["differ"] == 0 {
            prop_assert!(found["counts"]["equal"] == 4171);
        } else {
            let run = &found["runs"][0];
            prop_assert_eq!((code, &run["from"], &run["bytes"]), (1, &at.into(), &1.into()));
            let line = &run["lines"][0];
            let (address, text) = (line["address"].as_u64().unwrap_or(u64::MAX) as usize, line["source"]["bytes"].as_str());
            prop_assert!(address <= at && text.is_some_and(|it| !it.is_empty()), "{}", line);
            let (file, number) = (line["file"].as_str().unwrap_or_default(), line["line"].as_u64().unwrap_or(0) as usize);
            let source = sources().iter().find(|it| it.0 == file).and_then(|it| it.1.lines().nth(number - 1));
            prop_assert_eq!(source, line["text"].as_str());
        }
    }
}
