//! Program files beside the sources, in images and on the command line.
//!
//! Outside judge: GNU binutils 2.40 for the 68000 make the bytes, and tell sizes and symbols of them.

use std::path::Path;

use reveille_tests::{file, folder, run, tool};
use serde_json::{Value, json};

/// A monitor with its RAM from $80000 on; the boot file of its table.
const SOURCE: &str = "\
LEVEL\tEQU\t$080010
\tORG\t0
\tDC.L\t$088000,begin
begin\tMOVE.W\tD0,LEVEL
\tBRA.S\tbegin
formats\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00
\teven
\tEND
";

const MACHINE: &str = "\
[[machine.gauge.memory]]
name = \"rom\"
from = 0
size = \"64k\"
kind = \"rom\"

[[machine.gauge.memory]]
name = \"ram\"
from = \"$080000\"
size = \"64k\"
kind = \"ram\"
";

/// A program of three sections.
const PROGRAM: &str = "\
\t.text
\t.globl\tstart
start:\tlea\tlevels,%a0
\tmove.w\t(%a0)+,%d0
\tmove.w\t%d0,spill
\trts
\t.data
levels:\t.word\t3,1,4,1,5,9
\t.bss
\t.globl\tspill
spill:\t.space\t64
";

/// The program, linked for an address; gives the paths of the ELF file and of what objcopy makes of its sections.
fn linked(folder: &Path) {
    let path = |name: &str| folder.join(name).to_string_lossy().into_owned();
    std::fs::write(path("tide.gas"), PROGRAM).expect("a file is written");
    assert_eq!(tool("m68k-linux-gnu-as", &["-m68000", "-o", &path("tide.o"), &path("tide.gas")]), "");
    let text = ["-N", "-Ttext=0x81000", "--section-start=.data=0x81100", "-e", "start"];
    assert_eq!(tool("m68k-linux-gnu-ld", &[&text[..], &["-o", &path("tide.elf"), &path("tide.o")]].concat()), "");
    for section in [".text", ".data"] {
        let name = path(&section[1..]);
        assert_eq!(tool("m68k-linux-gnu-objcopy", &["-O", "binary", "-j", section, &path("tide.elf"), &name]), "");
    }
    assert_eq!(tool("m68k-linux-gnu-objcopy", &["-O", "srec", &path("tide.elf"), &path("tide.s19")]), "");
}

/// The symbols that `nm` tells: value, letter and name.
fn symbols(folder: &Path) -> Vec<(u32, String, String)> {
    let all = tool("m68k-linux-gnu-nm", &[&folder.join("tide.elf").to_string_lossy()]);
    let own = all.lines().filter_map(|line| {
        let mut words = line.split_whitespace();
        let value = u32::from_str_radix(words.next()?, 16).ok()?;
        Some((value, words.next()?.to_owned(), words.next()?.to_owned()))
    });
    own.filter(|it| ["start", "levels", "spill"].contains(&it.2.as_str())).collect()
}

/// A $601B program of the linked sections.
fn program(folder: &Path) -> Vec<u8> {
    let (text, data, symbols) = (file(folder, "text"), file(folder, "data"), symbols(folder));
    let address = |name: &str| symbols.iter().find(|it| it.2 == name).map_or(0, |it| it.0);
    let mut bytes = vec![0x60, 0x1b];
    let numbers = [text.len() as u32, data.len() as u32, 64, symbols.len() as u32 * 14, 0, 0x81000];
    for number in numbers {
        bytes.extend(number.to_be_bytes());
    }
    bytes.extend([0, 1]);
    bytes.extend(address("levels").to_be_bytes());
    bytes.extend(address("spill").to_be_bytes());
    bytes.extend(text);
    bytes.extend(data);
    for (value, letter, name) in symbols {
        let mut padded = name.into_bytes();
        padded.resize(8, 0);
        bytes.extend(padded);
        let global = if letter.chars().all(char::is_uppercase) { 0x2000 } else { 0 };
        let section = match letter.to_lowercase().as_str() {
            "t" => 0x0200,
            "d" => 0x0400,
            _ => 0x0100,
        };
        bytes.extend((0x8000_u16 | global | section).to_be_bytes());
        bytes.extend(value.to_be_bytes());
    }
    bytes
}

fn objects(folder: &Path) -> (Vec<Value>, Value) {
    let output = run(folder, &["sheet", "--format", "json", "."]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    let sheet: Value = serde_json::from_str(&output.out).expect("the sheet is one object");
    let facts = sheet["facts"].as_array().expect("facts are a list");
    let own = facts.iter().filter(|it| it["kind"] == "object-file").cloned().collect();
    (own, sheet["findings"].clone())
}

#[test]
fn a_program_of_gnu_sections_is_read_in_the_folder_and_in_an_image() {
    let folder = folder(&[("t.s", SOURCE.as_bytes()), ("reveille.toml", MACHINE.as_bytes())]);
    linked(folder.path());
    std::fs::write(folder.path().join("tide.sys"), program(folder.path())).expect("a file is written");
    let make = ["image", "make", "--table", "t.s:formats", "--date", "1986-03-03", "--add", "tide.sys", "disk.img"];
    let output = run(folder.path(), &make);
    assert_eq!((output.code, output.err.as_str()), (0, ""), "{}", output.out);
    let (found, findings) = objects(folder.path());
    let named: Vec<&str> = found.iter().filter_map(|it| it["subject"].as_str()).collect();
    assert_eq!(named, ["./disk.img:TIDE.SYS", "./tide.s19", "./tide.sys"].map(|it| it.trim_start_matches("./")));
    let inside = &found[0]["value"];
    let alone = &found[2]["value"];
    assert_eq!((&inside["inside"], &alone["inside"]), (&json!("TIDE.SYS"), &Value::Null));
    assert_eq!(inside["fields"], alone["fields"]);
    assert_eq!((&alone["kind"], &alone["absolute"]), (&json!("601b"), &json!(true)));
    // `size` tells the sections' lengths, `nm` the symbols.
    let sizes = tool("m68k-linux-gnu-size", &[&folder.path().join("tide.elf").to_string_lossy()]);
    let sizes: Vec<u64> =
        sizes.lines().last().unwrap_or("").split_whitespace().filter_map(|it| it.parse().ok()).collect();
    for (at, name) in ["text", "data", "bss"].iter().enumerate() {
        let fields = alone["fields"].as_array().expect("a list");
        let field = fields.iter().find(|it| it["name"] == **name).expect("a field");
        assert_eq!(field["value"].as_u64(), Some(sizes[at]), "{name}");
    }
    for (value, _, name) in symbols(folder.path()) {
        let own = alone["symbols"].as_array().expect("a list").iter().find(|it| it["name"] == name.as_str());
        assert_eq!(own.and_then(|it| it["value"].as_u64()), Some(value.into()), "{name}");
    }
    assert_eq!(alone["load"]["from"], 0x81000);
    assert_eq!(alone["entry"], 0x81000);
    // The same program as records: text and data with a hole between them.
    let records = &found[1]["value"];
    let pieces: Vec<_> = records["segments"].as_array().expect("a list").iter().map(|it| it["from"].as_u64()).collect();
    assert_eq!((pieces, records["entry"].as_u64()), (vec![Some(0x81000), Some(0x81100)], Some(0x81000)));
    assert_eq!(
        findings
            .as_array()
            .map(|it| it.iter().filter(|it| it["finding"].as_str().is_some_and(|it| it.starts_with("object"))).count()),
        Some(0)
    );
}

#[test]
fn a_program_over_the_monitor_s_data_is_told_in_the_sheet_and_by_lint() {
    let mut bytes = vec![0x60, 0x1a, 0, 0, 0, 0x40];
    bytes.resize(28, 0);
    bytes[0x17..0x1a].copy_from_slice(&[8, 0, 0]);
    bytes[0x1b] = 1;
    bytes.resize(28 + 0x40, 0x4e);
    let folder = folder(&[("t.s", SOURCE.as_bytes()), ("reveille.toml", MACHINE.as_bytes()), ("pen.sys", &bytes)]);
    let sheet = run(folder.path(), &["sheet", "."]).out;
    let row = "| `pen.sys` | $601A program | $080000-$08003F | - | $080000 | 92 | text 64, data 0, bss 0 | 0 | a program file lies over what the firmware writes |";
    assert!(sheet.contains("## Program files") && sheet.contains(row), "{sheet}");
    let lint = run(folder.path(), &["lint", "."]);
    assert!(lint.out.contains("object-004") && lint.out.contains("`LEVEL` ($080010)"), "{}", lint.out);
    // The file by its own name is a program too, and no text.
    let named = run(folder.path(), &["lint", "--format", "json", "pen.sys", "t.s"]);
    assert!(named.out.contains("object-004"), "{}", named.out);
}
