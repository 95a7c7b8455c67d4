//! The machine file in an editor: its findings, and what it changes for the sources beside it.

use reveille_tests::{Client, capabilities};
use serde_json::{Value, json};

use crate::{codes, hover_text, write};

const SOURCE: &str = "pen_table\n\tdc.b\t4,1\n\tdc.b\t9,2\n\teven\n";

const MACHINE: &str = "[[block]]\nname = \"pen-setup\"\nat = [\"pen_table\"]\nrepeat = 2\nfields = [\n\t{ name = \"pressure\", bytes = 1 },\n\t{ name = \"colour\", bytes = 1 },\n]\nrules = [\"pressure + colour <= 10\"]\n";

/// The codes that are published for an address, once they are those that are expected.
fn expect(client: &mut Client, uri: &str, expected: &[&str]) {
    let is_it = |message: &Value| {
        let findings = message["params"]["diagnostics"].as_array();
        message["method"] == "textDocument/publishDiagnostics"
            && message["params"]["uri"] == uri
            && findings.is_some_and(|it| codes(it) == expected)
    };
    client.wait(is_it);
}

#[test]
fn an_edit_of_the_machine_file_changes_what_is_found_in_the_sources_beside_it() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = write(folder.path(), "a.s", SOURCE);
    let machine = write(folder.path(), "reveille.toml", MACHINE);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&source, SOURCE);
    expect(&mut client, &source, &["block-103"]);
    client.open(&machine, MACHINE);
    let line = |line: u32, from: u32, to: u32| json!({ "start": { "line": line, "character": from }, "end": { "line": line, "character": to } });
    let change = |version: i32, range: Value, text: &str| {
        json!({
            "textDocument": { "uri": machine, "version": version },
            "contentChanges": [{ "range": range, "text": text }],
        })
    };
    // `<= 10` becomes `<= 11`: the source is mended by it.
    client.notify("textDocument/didChange", change(2, line(8, 30, 32), "11"));
    expect(&mut client, &source, &[]);
    // A name that is none is told in the file itself.
    client.notify("textDocument/didChange", change(3, line(8, 10, 18), "presure"));
    expect(&mut client, &machine, &["machine-007"]);
    // It is no assembly, and is not laid out as such.
    let whole = json!({ "textDocument": { "uri": machine }, "options": { "tabSize": 8, "insertSpaces": false } });
    assert_eq!(client.result("textDocument/formatting", whole), Value::Null);
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_machine_file_that_changes_on_disk_is_read_again() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = write(folder.path(), "a.s", SOURCE);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&source, SOURCE);
    let _ = client.findings(&source, 1);
    let machine = write(folder.path(), "reveille.toml", MACHINE);
    let told = |kind: i32| json!({ "changes": [{ "uri": machine, "type": kind }] });
    client.notify("workspace/didChangeWatchedFiles", told(1));
    expect(&mut client, &source, &["block-103"]);
    std::fs::remove_file(folder.path().join("reveille.toml")).expect("the file goes");
    client.notify("workspace/didChangeWatchedFiles", told(3));
    expect(&mut client, &source, &[]);
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_hover_over_an_address_says_what_the_memory_map_has_there() {
    const MAP: &str = "[[machine.m.memory]]\nname = \"rom\"\nfrom = 0\nsize = \"64k\"\nkind = \"rom\"\n\n[[machine.m.memory]]\nname = \"port\"\nfrom = \"$F00000\"\nsize = 32\nkind = \"device\"\nreads = \"have side effects\"\n";
    const USES: &str = "PORT\tequ\t$F00001\nCRA\tequ\t4\nSIZE\tequ\t$800\n\torg\t0\n\tmove.b\tPORT+CRA,d0\n\tmove.b\t$F00003,d0\n\tlea\tPORT,a0\n\tmove.l\t#$F00001,d1\n\tmove.b\td0,CRA(a0)\nlast\tbra\tlast\n";
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = write(folder.path(), "a.s", USES);
    write(folder.path(), "reveille.toml", MAP);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&source, USES);
    // The machine file is read by now.
    let _ = client.findings(&source, 1);
    let mut at = |line: u32, character: u32| {
        let text = hover_text(&mut client, &source, &json!({ "line": line, "character": character }));
        let told = text.lines().find(|it| it.contains("in `port`") || it.contains("in `rom`"));
        told.unwrap_or("").to_owned()
    };
    let start = "in `port`, a device: its start + $1; reading it has side effects";
    assert_eq!(at(0, 1), start, "the name where it is defined");
    assert_eq!(at(0, 11), start, "its number");
    assert_eq!(at(2, 1), "", "a size is no address");
    let sum = "$F00005: in `port`, a device: its start + $5; reading it has side effects";
    assert_eq!(at(4, 9), sum, "the sum that the name is a part of");
    assert_eq!(at(4, 14), sum, "the other part of the sum");
    assert_eq!(at(5, 10), "in `port`, a device: its start + $3; reading it has side effects");
    assert_eq!(at(6, 6), start);
    assert_eq!(at(7, 12), "", "a number for a data register is no address");
    assert_eq!(at(8, 13), "", "a displacement is no address");
    assert_eq!(at(9, 1), "in `rom`, ROM: its start + $1C");
}

/// The column and the line of the mark `|`, and the text without it.
fn marked(text: &str) -> (Value, String) {
    let byte = text.find('|').expect("a mark");
    let before = &text[..byte];
    let line = before.matches('\n').count();
    let column = byte - before.rfind('\n').map_or(0, |it| it + 1);
    (json!({ "line": line, "character": column }), text.replacen('|', "", 1))
}

/// What is offered at the mark of a machine file: what is shown, and what is written.
fn offered(client: &mut Client, uri: &str, version: i32, text: &str) -> Vec<(String, String)> {
    let (position, text) = marked(text);
    let change = json!({ "textDocument": { "uri": uri, "version": version }, "contentChanges": [{ "text": text }] });
    client.notify("textDocument/didChange", change);
    let found =
        client.result("textDocument/completion", json!({ "textDocument": { "uri": uri }, "position": position }));
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let items = found["items"].as_array().cloned().unwrap_or_default();
    items.iter().map(|it| (text(&it["label"]), text(&it["textEdit"]["newText"]))).collect()
}

fn labels(offered: &[(String, String)]) -> Vec<&str> {
    offered.iter().map(|it| it.0.as_str()).collect()
}

#[test]
fn what_can_be_written_in_a_machine_file_is_offered() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = write(folder.path(), "rom/a.s", "\torg\t$100\nchart_table\tdc.b\t1,2\n\teven\n");
    let machine = write(folder.path(), "reveille.toml", "");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&source, "\torg\t$100\nchart_table\tdc.b\t1,2\n\teven\n");
    let _ = client.findings(&source, 1);
    client.open(&machine, "");
    let ask = &mut |version, text: &str| offered(&mut client, &machine, version, text);
    // Headings, with the names of the machines in the file; what can be there once only is not offered again.
    let found = ask(2, "[firmware]\n\n[machine.skerry]\ntitle = \"x\"\n\n[[|\n");
    let headings = labels(&found);
    assert!(headings.contains(&"[[machine.skerry.memory]]"), "{headings:?}");
    assert!(headings.contains(&"[[block]]") && !headings.contains(&"[[block.fields]]"), "{headings:?}");
    assert!(!headings.contains(&"[firmware]") && !headings.contains(&"[machine.skerry]"), "{headings:?}");
    // Keys that are not there, those that have to be first.
    let found = ask(3, "[[machine.skerry.memory]]\nname = \"rom\"\n|\nkind = \"rom\"\n");
    assert_eq!(found[0], ("from".to_owned(), "from = ".to_owned()));
    assert_eq!(&labels(&found)[..3], ["from", "size", "reads"]);
    // Words, as they are written.
    assert_eq!(labels(&ask(4, "[machine.skerry]\ncpu = |\n")), ["\"68000\"", "\"68008\"", "\"68010\""]);
    assert_eq!(labels(&ask(5, "[[machine.skerry.drive]]\nmedium = |\n")), ["3.5", "5.25", "8"]);
    assert_eq!(labels(&ask(6, "[[block]]\nfields = [ { power_of_two = | } ]\n")), ["true", "false"]);
    assert!(labels(&ask(7, "[[machine.skerry.drive]]\ncontroller = \"|\"\n")).contains(&"\"WD1772\""));
    assert!(labels(&ask(8, "[[machine.skerry.serial]]\nchip = \"|\"\n")).contains(&"\"mc68681\""));
    // What the program has: labels, sources and their folders.
    assert_eq!(labels(&ask(8, "[[block]]\nat = [\"char|\"]\n")), ["\"chart_table\""]);
    assert_eq!(labels(&ask(9, "[firmware]\nroots = |\n")), ["[\"rom/a.s\"]"]);
    assert_eq!(labels(&ask(10, "[firmware]\ninclude = [|]\n")), ["\"rom\""]);
    assert_eq!(ask(11, "[firmware] # |\n"), []);
    // Characters that begin something in the machine file ask nothing of a source.
    let of_source = client.result(
        "textDocument/completion",
        json!({
            "textDocument": { "uri": source },
            "position": { "line": 0, "character": 1 },
            "context": { "triggerKind": 2, "triggerCharacter": "=" },
        }),
    );
    assert_eq!(of_source, Value::Null);
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_machine_file_tells_its_keys_values_and_tables() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let text = "[firmware]\norigin = \"$FC0000\"\n\n# The recorder.\n[machine.skerry]\ntitle = \"Skerry 12\"\nclock = 8_000_000\n\n[[machine.skerry.memory]]\nname = \"rom\"\nfrom = \"$40000\"\nsize = \"256k\"\nkind = \"rom\"\n";
    let machine = write(folder.path(), "reveille.toml", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&machine, text);
    let mut hover = |line: u32, character: u32| {
        let at = json!({ "textDocument": { "uri": machine }, "position": { "line": line, "character": character } });
        client.result("textDocument/hover", at)["contents"]["value"].as_str().unwrap_or_default().to_owned()
    };
    assert!(hover(8, 4).contains("A range of a machine's addresses"), "{}", hover(8, 4));
    let key = hover(12, 1);
    assert!(key.contains("**kind** of `[[machine.NAME.memory]]`") && key.contains("`device`: registers"), "{key}");
    assert!(hover(12, 9).contains("can be read only"), "{}", hover(12, 9));
    assert_eq!(hover(1, 12), "16515072 = $FC0000");
    assert_eq!(hover(11, 9), "262144 = $40000 bytes = 256 KiB\n\nfrom $040000 to $07FFFF");
    assert_eq!(hover(6, 9), "8000000 Hz: one cycle takes 125 ns");
    assert_eq!(hover(3, 3), "");
    let asked = json!({ "textDocument": { "uri": machine } });
    let outline = client.result("textDocument/documentSymbol", asked.clone());
    assert_eq!(outline[0]["name"], "firmware");
    assert_eq!([&outline[1]["name"], &outline[1]["detail"]], ["skerry", "Skerry 12"]);
    let memory = &outline[1]["children"][0];
    assert_eq!([&memory["name"], &memory["detail"]], ["rom", "memory $040000 to $07FFFF"]);
    assert_eq!(outline[1]["range"]["end"], memory["range"]["end"]);
    let folds = client.result("textDocument/foldingRange", asked);
    let lines = |it: &Value| (it["startLine"].as_u64(), it["endLine"].as_u64());
    let folds: Vec<_> = folds.as_array().expect("folds").iter().map(lines).collect();
    assert_eq!(folds, [(Some(0), Some(1)), (Some(4), Some(6)), (Some(8), Some(12))]);
    assert_eq!(client.stop(), 0);
}

const TIMED: &str = "\torg\t$1000\nstart\tnop\n\tifd\tFAST\n\tmoveq\t#1,d0\n\telse\n\tmoveq\t#2,d0\n\tendc\n\trts\n";

/// The text of the hover at a place.
fn told(client: &mut Client, uri: &str, line: u32, character: u32) -> String {
    let at = json!({ "textDocument": { "uri": uri }, "position": { "line": line, "character": character } });
    client.result("textDocument/hover", at)["contents"]["value"].as_str().unwrap_or_default().to_owned()
}

#[test]
fn the_next_answer_goes_by_what_was_typed_in_the_machine_file() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = write(folder.path(), "a.s", TIMED);
    let machine = write(folder.path(), "reveille.toml", "");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&source, TIMED);
    let _ = client.findings(&source, 1);
    client.open(&machine, "");
    assert!(!told(&mut client, &source, 1, 7).contains(" us"), "{}", told(&mut client, &source, 1, 7));
    let mut version = 1;
    let mut write_whole = |client: &mut Client, text: &str| {
        version += 1;
        let change =
            json!({ "textDocument": { "uri": machine, "version": version }, "contentChanges": [{ "text": text }] });
        client.notify("textDocument/didChange", change);
    };
    // NOP takes 4 clocks: M68000 User's Manual, table 8-10.
    write_whole(&mut client, "[machine.skerry]\nclock = 8_000_000\n");
    assert!(told(&mut client, &source, 1, 7).contains("0.50 us"), "{}", told(&mut client, &source, 1, 7));
    write_whole(&mut client, "[machine.skerry]\nclock = 4_000_000\n");
    assert!(told(&mut client, &source, 1, 7).contains("1.00 us"), "{}", told(&mut client, &source, 1, 7));
    // Names change what is read.
    let highlighted = |client: &mut Client| {
        let range = json!({ "start": { "line": 3, "character": 0 }, "end": { "line": 3, "character": 9 } });
        let asked = json!({ "textDocument": { "uri": source }, "range": range });
        client.result("textDocument/semanticTokens/range", asked)["data"].clone()
    };
    let before = highlighted(&mut client);
    write_whole(&mut client, "[firmware]\ndefines = { FAST = 1 }\n");
    assert_ne!(highlighted(&mut client), before);
    write_whole(&mut client, "[firmware]\ndefines = { SLOW = 1 }\n");
    assert_eq!(highlighted(&mut client), before);
    // The dialect, of open documents too.
    let asked = json!({ "textDocument": { "uri": source } });
    assert_eq!(client.result("reveille/dialect", asked.clone())["name"], "motorola");
    write_whole(&mut client, "[firmware]\ndialect = \"dotted\"\n");
    assert_eq!(client.result("reveille/dialect", asked.clone())["name"], "dotted");
    let at = json!({ "line": 1, "character": 9 });
    let edit = json!({
        "textDocument": { "uri": source, "version": 2 },
        "contentChanges": [{ "range": { "start": at, "end": at }, "text": "\t# more" }],
    });
    client.notify("textDocument/didChange", edit);
    assert_eq!(client.result("reveille/dialect", asked.clone())["name"], "dotted");
    write_whole(&mut client, "");
    assert_eq!(client.result("reveille/dialect", asked)["name"], "motorola");
    // What the client sets holds before the file.
    client.notify("workspace/didChangeConfiguration", json!({ "settings": { "reveille": { "clock": 16_000_000 } } }));
    write_whole(&mut client, "[machine.skerry]\nclock = 4_000_000\n");
    let mut tries = 0;
    while !told(&mut client, &source, 1, 7).contains("0.25 us") {
        tries += 1;
        assert!(tries < 200, "{}", told(&mut client, &source, 1, 7));
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn folders_of_included_files_come_from_the_machine_file_and_what_is_not_there_is_told() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    const TEXT: &str = "\tinclude\t\"ports.def\"\n\tmove.b\tport,d0\n\trts\n";
    let source = write(folder.path(), "rom/a.s", TEXT);
    let _ = write(folder.path(), "shared/ports.def", "port\tequ\t$F00001\n");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&source, TEXT);
    let unread = client.findings(&source, 1);
    assert!(!unread.1.is_empty());
    let machine = write(folder.path(), "reveille.toml", "[firmware]\ninclude = [\"shared\"]\n");
    client.notify("workspace/didChangeWatchedFiles", json!({ "changes": [{ "uri": machine, "type": 1 }] }));
    expect(&mut client, &source, &[]);
    let _ = write(folder.path(), "reveille.toml", "[firmware]\ninclude = [\"sharet\"]\nroots = [\"rom/b.s\"]\n");
    client.notify("workspace/didChangeWatchedFiles", json!({ "changes": [{ "uri": machine, "type": 2 }] }));
    expect(&mut client, &machine, &["machine-008", "machine-008"]);
    assert_eq!(client.stop(), 0);
}

/// An absolute $601A program of two RTS, loaded at an address.
fn program(address: u32) -> Vec<u8> {
    let mut bytes = vec![0x60, 0x1a, 0, 0, 0, 4];
    bytes.resize(0x16, 0);
    bytes.extend(address.to_be_bytes());
    bytes.extend([0, 1, 0x4e, 0x75, 0x4e, 0x75]);
    bytes
}

#[test]
fn a_program_file_in_the_folder_has_findings_that_follow_the_disk() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = write(folder.path(), "a.s", SOURCE);
    let path = folder.path().join("tide.sys");
    let uri = reveille_tests::uri(&path);
    let put = |address: u32| std::fs::write(&path, program(address)).expect("a file is written");
    put(0x2001);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    expect(&mut client, &uri, &["object-005"]);
    client.open(&source, SOURCE);
    let told = |kind: i32| json!({ "changes": [{ "uri": uri, "type": kind }] });
    put(0x100);
    client.notify("workspace/didChangeWatchedFiles", told(2));
    expect(&mut client, &uri, &["object-002"]);
    std::fs::remove_file(&path).expect("the file goes");
    client.notify("workspace/didChangeWatchedFiles", told(3));
    expect(&mut client, &uri, &[]);
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_compare_with_the_number_of_a_program_file_tells_its_header() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let text = "check\tcmpi.w\t#$601A,(a0)\n\tbne.s\tcheck\n\trts\n";
    let source = write(folder.path(), "a.s", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&source, text);
    let shown = hover_text(&mut client, &source, &json!({ "line": 0, "character": 16 }));
    assert!(shown.contains("program files begin with it: $601A program, header of 28 bytes"), "{shown}");
    assert!(shown.contains("| $1A | 2 | `absolute` | 0: relocation words follow; else none |"), "{shown}");
    assert_eq!(client.stop(), 0);
}
