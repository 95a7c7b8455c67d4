//! A second firmware, built in another way than the demo: MIT syntax, another serial chip, a CP/M disk, commands of one letter in a table of
//! addresses. Nothing in the program was written for it.

use reveille_tests::{run, tests_folder};
use serde_json::Value;

fn facts() -> Vec<Value> {
    let output = run(&tests_folder(), &["sheet", "--format", "json", "demo/weir"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    let sheet: Value = serde_json::from_str(&output.out).expect("the sheet is JSON");
    assert_eq!(sheet["findings"].as_array().map(Vec::len), Some(0), "{}", sheet["findings"]);
    sheet["facts"].as_array().expect("a list").clone()
}

fn one<'a>(facts: &'a [Value], kind: &str) -> &'a Value {
    let mut own = facts.iter().filter(|it| it["kind"] == kind);
    let first = own.next().unwrap_or_else(|| panic!("no {kind}"));
    assert!(own.next().is_none(), "more than one {kind}");
    first
}

#[test]
fn it_starts_where_its_second_long_word_says() {
    let facts = facts();
    let way = one(&facts, "boot-path");
    assert_eq!(
        (&way["value"]["starts"][0]["kind"], &way["value"]["starts"][0]["name"]),
        (&"reset".into(), &"_go".into())
    );
    let choices: Vec<(&str, &str)> = facts
        .iter()
        .filter(|it| it["kind"] == "boot-choice")
        .map(|it| (it["subject"].as_str().unwrap_or(""), it["value"]["leads_to"].as_str().unwrap_or("")))
        .collect();
    assert_eq!(choices, [("bit 0 of the byte at GATES is 1", "prompt"), ("bit 7 of the byte at GATES is 0", "night")]);
}

#[test]
fn its_boot_file_is_found_with_its_place_its_check_and_its_messages() {
    let facts = facts();
    let file = one(&facts, "boot-file");
    assert_eq!((&file["subject"], &file["value"]["load_address"]), (&"NIGHT.SYS".into(), &0x41_0000.into()));
    assert_eq!(file["value"]["checks"][0]["value"], 0x601b);
    assert_eq!(file["value"]["enters"][0]["value"], 0x41_0024);
    let messages: Vec<&str> =
        file["value"]["messages"].as_array().expect("a list").iter().filter_map(Value::as_str).collect();
    let all =
        ["no NIGHT.SYS, gates stay shut", "disk data lost", "NIGHT.SYS is not a program", "NIGHT.SYS does not fit"];
    assert_eq!(messages, all);
}

#[test]
fn its_commands_are_found_with_what_the_table_says_of_each() {
    let facts = facts();
    let commands: Vec<(&str, &str, &str)> = facts
        .iter()
        .filter(|it| it["kind"] == "monitor-command")
        .map(|it| {
            (
                it["subject"].as_str().unwrap_or(""),
                it["value"]["routine"].as_str().unwrap_or(""),
                it["value"]["help"].as_str().unwrap_or(""),
            )
        })
        .collect();
    assert_eq!(
        commands,
        [
            ("G", "do_gate", "G open the gates"),
            ("S", "do_shut", "S shut them"),
            ("N", "night", "N run the night program"),
            ("?", "do_list", "? this list"),
        ]
    );
}

/// CP/M 2.2 Alteration Guide, the disk parameter block of 8-inch single density; Z8530: `serial-chips.md` of the reference.
#[test]
fn its_disk_and_its_line_are_found() {
    let facts = facts();
    let block = one(&facts, "parameter-block");
    assert_eq!(block["value"]["fields"]["dsm"], 242);
    let line = one(&facts, "line-setting");
    assert_eq!(line["subject"], "console");
    assert_eq!(line["value"]["data"], 8);
}

/// A copy of the weir's firmware with some lines changed, in a folder of its own.
fn changed(changes: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let own = tests_folder().join("demo/weir");
    let mut text = std::fs::read_to_string(own.join("weir.s")).expect("the firmware is there");
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    std::fs::write(folder.path().join("weir.s"), text).expect("a file can be written");
    std::fs::copy(own.join("reveille.toml"), folder.path().join("reveille.toml")).expect("a file can be copied");
    folder
}

fn compared(new: &std::path::Path) -> Vec<Value> {
    let path = new.to_str().expect("a path that is text");
    let output = run(&tests_folder(), &["sheet", path, "--compare", "demo/weir", "--format", "json"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    output.out.lines().map(|it| serde_json::from_str(it).expect("a line is an object")).collect()
}

#[test]
fn two_revisions_differ_in_facts_and_not_in_lines() {
    // More lines and other names of local labels: nothing that a restorer has to know.
    let moved = changed(&[("	.text\n", "| moved on by three lines\n\n\n	.text\n"), ("key:	btst", "key:	nop\n	btst")]);
    let found = compared(moved.path());
    let words: Vec<String> = found.iter().map(|it| it["subject"].to_string()).collect();
    assert_eq!(words, [""; 0], "{found:?}");

    let newer = changed(&[("PARK	= 0x410000", "PARK	= 0x420000"), ("\"NIGHT   SYS\"", "\"NIGHT   BIN\"")]);
    let found = compared(newer.path());
    let of = |kind: &str| -> Vec<(&str, bool)> {
        let own = found.iter().filter(|it| it["kind"] == kind && it["key"] == "");
        own.map(|it| (it["subject"].as_str().unwrap_or(""), it["old"].is_null())).collect()
    };
    assert_eq!(of("boot-file"), [("NIGHT.BIN", true), ("NIGHT.SYS", false)]);
    assert!(of("monitor-command").is_empty());
}

#[test]
fn what_is_called_and_not_here_is_asked_for_by_its_name() {
    let lacking = changed(&[("bsrw	lookup", "jsr	decides")]);
    let path = lacking.path().to_str().expect("a path that is text");
    let output = run(&tests_folder(), &["sheet", path, "--format", "json"]);
    let sheet: Value = serde_json::from_str(&output.out).expect("the sheet is JSON");
    let facts = sheet["facts"].as_array().expect("a list");
    let asked = |words: &str| facts.iter().any(|it| it["kind"] == "open-question" && it["subject"] == words);
    assert!(asked("`decides` is called, and its source is not here"), "{}", output.out);
    // The name is no word of ours: nothing is taken for a file that would decide something.
    assert!(!facts.iter().any(|it| it["kind"] == "open-question"
        && it["value"]["decides"].as_str().is_some_and(|it| it.contains("image extract"))));
}
