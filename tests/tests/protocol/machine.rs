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
    // Nothing but findings is told of the file: it is no assembly.
    let hover = client.result(
        "textDocument/hover",
        json!({ "textDocument": { "uri": machine }, "position": { "line": 1, "character": 2 } }),
    );
    assert_eq!(hover, Value::Null);
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
    assert_eq!(at(9, 1), "in `rom`, ROM: its start + $24");
    assert_eq!(client.stop(), 0);
}
