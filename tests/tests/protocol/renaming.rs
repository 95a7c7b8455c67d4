//! Names changed from the editor.

use reveille_tests::{Client, at, capabilities, within};
use serde_json::{Value, json};

use crate::{DISK, TEXT, opened, place, write};

/// A text after the edits of one file.
fn changed(text: &str, edits: &Value) -> String {
    reveille_tests::edited(text, edits.as_array().expect("a list of edits"))
}

#[test]
fn a_name_is_changed_in_all_files_and_versions_are_told_to_clients_that_know_them() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let parts_text = "PART\tEQU\t3\nMORE\tEQU\tPART*2\n";
    let parts = write(folder.path(), "parts.i", parts_text);
    let text = "\tinclude\tparts.i\n* \u{1F4BE} PART\n\tdc.b\t'\u{1F4BE}',PART,part\tPART\n";
    let main = write(folder.path(), "main.s", text);
    let mut offer = capabilities("utf-16");
    for versioned in [false, true] {
        offer["workspace"]["workspaceEdit"]["documentChanges"] = json!(versioned);
        let mut client = Client::start(Some(folder.path()), &offer);
        client.open(&main, text);
        let _ = client.findings(&main, 1);
        let mut ask = place(&main, &at(text, "PART,part"));
        ask["newName"] = json!("piece");
        let edit = client.result("textDocument/rename", ask);
        let edits = |uri: &str| match versioned {
            false => edit["changes"][uri].clone(),
            true => {
                let documents = edit["documentChanges"].as_array().expect("a list");
                let own = documents.iter().find(|it| it["textDocument"]["uri"] == uri).expect("the file is edited");
                let version = if uri == main { json!(1) } else { Value::Null };
                assert_eq!(own["textDocument"]["version"], version);
                own["edits"].clone()
            }
        };
        let expected = "\tinclude\tparts.i\n* \u{1F4BE} PART\n\tdc.b\t'\u{1F4BE}',piece,piece\tPART\n";
        assert_eq!(changed(text, &edits(&main)), expected);
        assert_eq!(changed(parts_text, &edits(&parts)), "piece\tEQU\t3\nMORE\tEQU\tpiece*2\n");
        assert_eq!(client.stop(), 0);
    }
}

#[test]
fn what_can_be_renamed_is_told_before_it_is_typed() {
    let mut offer = capabilities("utf-16");
    offer["textDocument"]["rename"] = json!({ "prepareSupport": true });
    let mut client = Client::start(None, &offer);
    assert_eq!(client.capabilities["renameProvider"], json!({ "prepareProvider": true }));
    client.open(DISK, TEXT);
    let _ = client.findings(DISK, 1);
    for (needle, name) in
        [("CYLS,d0", "CYLS"), (".again\n", ".again"), ("STEP\td0", "STEP"), ("ship_bpb(pc)", "ship_bpb")]
    {
        let found = client.result("textDocument/prepareRename", place(DISK, &at(TEXT, needle)));
        assert_eq!(within(TEXT, &found["range"]), name);
        assert_eq!(found["placeholder"], name);
    }
    for (needle, why) in [
        ("move.w", "`move.w` is an instruction"),
        ("MACRO", "`MACRO` is a directive"),
        ("d0\thow", "`d0` is a register"),
        ("how many", "a comment has no name to change"),
    ] {
        let answer = client.request("textDocument/prepareRename", place(DISK, &at(TEXT, needle)));
        // RequestFailed: LSP 3.17.
        assert_eq!(answer["error"]["code"], -32803, "{answer}");
        assert_eq!(answer["error"]["message"], why);
    }
    assert_eq!(client.stop(), 0);
    // A client that asks for nothing beforehand is told of no such request (LSP 3.17, RenameOptions).
    let (client, _) = opened(TEXT);
    assert_eq!(client.capabilities["renameProvider"], true);
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_new_name_that_would_break_something_is_refused_with_a_reason() {
    let (mut client, _) = opened(TEXT);
    for (new, why) in [
        ("start", "`start` is already defined at disk.s:7"),
        ("d7", "`d7` is a register"),
        (".cyls", "`.cyls` is a local label, and `CYLS` is none"),
        ("two words", "`two words` is no name that a label can have"),
    ] {
        let mut ask = place(DISK, &at(TEXT, "CYLS,d0"));
        ask["newName"] = json!(new);
        let answer = client.request("textDocument/rename", ask);
        assert_eq!(answer["error"]["code"], -32803, "{answer}");
        assert_eq!(answer["error"]["message"].as_str().map(|it| it.replace("untitled:", "")), Some(why.to_owned()));
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_file_of_a_code_page_is_not_edited() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("old.i"), b"* gr\xfcn\nPART\tEQU\t3\n").expect("the folder can be written to");
    let text = "\tinclude\told.i\n\tdc.b\tPART\n";
    let main = write(folder.path(), "main.s", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, text);
    let _ = client.findings(&main, 1);
    let mut ask = place(&main, &at(text, "PART"));
    ask["newName"] = json!("PIECE");
    let answer = client.request("textDocument/rename", ask);
    let message = answer["error"]["message"].as_str().unwrap_or_default();
    assert!(message.contains("old.i:2") && message.contains("UTF-8"), "{answer}");
    assert_eq!(client.stop(), 0);
}
