//! What the sheet says of the demo, held against what the demo's ROM does: each claim is taken from `sheet --format json` and tried on the
//! emulated machine.

use std::path::{Path, PathBuf};

use reveille_tests::machine::{BOOT_PROMPT, Machine, Setup};
use reveille_tests::skerry::rom_with_service;
use reveille_tests::{folder, run, tests_folder};
use serde_json::Value;

/// The prompt of the service monitor, with the line's end before it.
const SERVICE_PROMPT: &str = "\r\n+ ";

fn sheet() -> Vec<Value> {
    let output = run(&tests_folder(), &["sheet", "--format", "json", "demo/skerry"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    let sheet: Value = serde_json::from_str(&output.out).expect("the sheet is JSON");
    sheet["facts"].as_array().expect("a list").clone()
}

fn of_kind<'a>(facts: &'a [Value], kind: &'a str) -> impl Iterator<Item = &'a Value> {
    facts.iter().filter(move |it| it["kind"] == kind)
}

fn subject(fact: &Value) -> &str {
    fact["subject"].as_str().expect("a text")
}

/// What the machine says until its prompt, with keys held and a disk in the drive.
fn switched_on(keys: &str, image: Option<&Path>) -> (Machine, String) {
    let rom = rom_with_service();
    let mut machine = Setup { rom, keys, image, more: &[] }.switch_on();
    let said = machine.until(|it| it.ends_with(BOOT_PROMPT) || it.ends_with(SERVICE_PROMPT));
    (machine, said)
}

fn disk(name: &str, bytes: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = folder(&[(name, bytes)]);
    let table = format!("{}:boot_formats[2]", tests_folder().join("demo/skerry/disk.s").display());
    let made = run(folder.path(), &["image", "make", "--table", &table, "--add", name, "disk.img"]);
    assert_eq!((made.code, made.err.as_str()), (0, ""), "{}", made.out);
    let image = folder.path().join("disk.img");
    (folder, image)
}

#[test]
fn each_key_of_the_sheet_leads_where_it_says() {
    let facts = sheet();
    let choices: Vec<(Option<i64>, &str)> = of_kind(&facts, "boot-choice")
        .filter(|it| it["evidence"][0]["file"].as_str().is_some_and(|it| it.ends_with("boot.s")))
        .map(|it| (it["value"]["value"].as_i64(), it["value"]["leads_to"].as_str().expect("a label")))
        .collect();
    assert_eq!(choices.len(), 3, "{choices:?}");
    for (key, leads_to) in choices {
        // The panel has no key down where nothing is asked for.
        let keys = key.map_or_else(|| "none".to_owned(), |it| format!("{it:X}"));
        let (_, said) = switched_on(&keys, None);
        match leads_to {
            "console" => assert_eq!(said, "\r\nSKERRY 12  ROM 1.3\r\n\r\n* "),
            "bootrom" => assert!(said.ends_with(SERVICE_PROMPT) && said.contains("service"), "{said}"),
            "bootdsk" => assert!(said.contains("E1 ") && said.ends_with(BOOT_PROMPT), "{said}"),
            other => panic!("`{other}` is no place that the machine was seen to go to"),
        }
    }
}

#[test]
fn the_boot_file_goes_where_the_sheet_says_and_is_checked_as_it_says() {
    let facts = sheet();
    let file = of_kind(&facts, "boot-file").find(|it| subject(it) == "SKERRY.SYS").expect("the boot file");
    let address = file["value"]["load_address"].as_i64().expect("an address");
    assert!(file["value"]["checks"][0]["words"].as_str().is_some_and(|it| it.contains("'SK12'")));
    // A program that jumps on itself: BRA.S *, with the header that the loader asks for (skerry.i).
    let mut bytes = b"SK12".to_vec();
    bytes.extend(16_u32.to_be_bytes());
    bytes.extend(4_u32.to_be_bytes());
    bytes.extend((0x60fe_u16.wrapping_add(0x1234)).to_be_bytes());
    bytes.extend([0, 0, 0x60, 0xfe, 0x12, 0x34]);
    let (_folder, image) = disk("skerry.sys", &bytes);
    // `fetch` loads it and does not run it.
    let (mut machine, _) = switched_on("D", Some(&image));
    let answer = machine.answer("fetch", BOOT_PROMPT);
    assert!(answer.contains(&format!("SKERRY.SYS from {address:08X} to ")), "{answer}");
    let listed = machine.answer(&format!("list {address:x} 14"), BOOT_PROMPT);
    let shown: String = bytes.iter().take(4).map(|it| format!("{it:02X} ")).collect();
    assert!(listed.contains(&shown), "{listed}");
    // Without the letters the machine says one of the texts that the sheet lists for the file.
    bytes[0] = b'X';
    let (_folder, image) = disk("skerry.sys", &bytes);
    let (_, said) = switched_on("none", Some(&image));
    let messages = file["value"]["messages"].as_array().expect("a list");
    let of_header = "E8 not a Skerry program";
    assert!(messages.iter().any(|it| it == of_header) && said.contains(of_header), "{said}");
}

#[test]
fn each_command_of_the_sheet_is_one_of_the_machine_and_takes_as_many_numbers() {
    let facts = sheet();
    let of_table =
        |table: &'static str| of_kind(&facts, "monitor-command").filter(move |it| it["value"]["table"] == table);
    let (mut machine, _) = switched_on("D", None);
    assert_eq!(of_table("cmdtab").count(), 10);
    for command in of_table("cmdtab") {
        let numbers = command["value"]["numbers"][0].as_i64().expect("a number");
        // With one number more than it takes it is known, and nothing is done.
        let line = format!("{}{}", subject(command), " 1".repeat(numbers as usize + 1));
        let answer = machine.answer(&line, BOOT_PROMPT);
        assert!(answer.contains("E12 "), "{line}: {answer}");
    }
    let (mut machine, _) = switched_on("C", None);
    let help = machine.answer("help", SERVICE_PROMPT);
    assert_eq!(of_table("commands").count(), 8);
    for command in of_table("commands") {
        let line = format!("{}\t{}", subject(command), command["value"]["help"].as_str().expect("a text"));
        assert!(help.contains(&line), "{line}: {help}");
        let numbers = command["value"]["numbers"][0].as_i64().expect("a number");
        let line = format!("{}{}", subject(command), " 1".repeat((numbers as usize + 1).min(2)));
        if numbers < 2 {
            let answer = machine.answer(&line, SERVICE_PROMPT);
            assert!(answer.contains("S15 "), "{line}: {answer}");
        }
    }
}

#[test]
fn the_survey_s_header_is_read_where_the_sheet_says() {
    let facts = sheet();
    let file = of_kind(&facts, "boot-file").find(|it| subject(it) == "SURVEY.ABS").expect("the boot file");
    let checks = file["value"]["checks"][0].clone();
    assert_eq!(checks["value"], 0x601a);
    let place = file["value"]["loads"][0]["words"].as_str().expect("words");
    assert!(place.contains("byte 22"), "{place}");
    // $601A, 28 bytes, absolute: `object-formats.md` of the reference, section 2. BRA.S * as the program.
    let address = 0x9_2000_u32;
    let mut bytes = (checks["value"].as_u64().expect("a number") as u16).to_be_bytes().to_vec();
    for long in [2_u32, 0, 0, 0, 0] {
        bytes.extend(long.to_be_bytes());
    }
    assert_eq!(bytes.len(), 22, "the load address stands at byte 22");
    bytes.extend(address.to_be_bytes());
    bytes.extend([0, 1, 0x60, 0xfe]);
    let (_folder, image) = disk("survey.abs", &bytes);
    let (mut machine, _) = switched_on("C", Some(&image));
    // Nothing comes back from a program that does not end; a file with another magic number is refused.
    machine.send("boot\r");
    machine.until(|it| it.ends_with("boot"));
    bytes[1] = 0x1b;
    let (_folder, image) = disk("survey.abs", &bytes);
    let (mut machine, _) = switched_on("C", Some(&image));
    let answer = machine.answer("boot", SERVICE_PROMPT);
    let messages = file["value"]["messages"].as_array().expect("a list");
    let said = messages.iter().filter_map(Value::as_str).find(|it| answer.contains(it));
    assert_eq!(said, Some("S7 SURVEY.ABS is no program"), "{answer}");
    assert!(messages.len() >= 6, "{messages:?}");
}
