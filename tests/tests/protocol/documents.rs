//! Documents: edits, positions, files of the disk and documents of none.

use reveille_tests::{Client, at, capabilities, position_in, uri, within};
use serde_json::{Value, json};

use crate::{DISK, TEXT, client, codes, hover, hover_text, opened, place, whole, write};

#[test]
fn findings_come_with_the_version_that_they_are_about() {
    let (mut client, findings) = opened("\tdc.b\t300\n");
    assert_eq!(codes(&findings), ["value-007"]);
    assert_eq!(findings[0]["source"], "reveille");
    assert_eq!(findings[0]["severity"], 2);
    assert_eq!(within("\tdc.b\t300\n", &findings[0]["range"]), "300");
    let range = json!({ "start": { "line": 0, "character": 6 }, "end": { "line": 0, "character": 9 } });
    client.change(DISK, 2, range, "30");
    assert_eq!(client.findings(DISK, 2).1, Vec::<Value>::new());
    // A version may skip numbers.
    client.change(DISK, 17, Value::Null, "\tdc.b\t400\n");
    assert_eq!(codes(&client.findings(DISK, 17).1), ["value-007"]);
    client.notify("textDocument/didClose", whole(DISK));
    let closed = client.wait(|it| it["params"]["uri"] == DISK && it["params"]["version"].is_null()).1;
    assert_eq!(closed["params"]["diagnostics"], json!([]), "a closed document that is nowhere has no findings");
    assert_eq!(client.stop(), 0);
}

#[test]
fn changes_of_one_notification_apply_in_their_order() {
    let (mut client, _) = opened("one\ttwo\n");
    let range = |from: u32, to: u32| json!({ "start": { "line": 0, "character": from }, "end": { "line": 0, "character": to } });
    let changes = json!([
        { "range": range(4, 7), "text": "EQU\t1/0" },
        { "range": range(8, 11), "text": "12" },
        { "range": range(10, 10), "text": "\n\tdc.b\t300" },
    ]);
    client.notify(
        "textDocument/didChange",
        json!({ "textDocument": { "uri": DISK, "version": 2 }, "contentChanges": changes }),
    );
    let findings = client.findings(DISK, 2).1;
    assert_eq!(codes(&findings), ["value-007"], "{findings:?}");
    assert_eq!(findings[0]["range"]["start"]["line"], 1);
    assert!(hover_text(&mut client, DISK, &json!({ "line": 0, "character": 1 })).contains("12"));
    assert_eq!(client.stop(), 0);
}

#[test]
fn an_edit_in_each_encoding_lands_where_the_client_means() {
    let text = "* \u{1F4BE}\u{E9}x\n\tdc.b\t'\u{1F4BE}\u{E9}',300\t\u{E9}\n";
    for encoding in ["utf-8", "utf-16", "utf-32"] {
        let mut client = Client::start(None, &capabilities(encoding));
        client.open(DISK, text);
        let findings = client.findings(DISK, 1).1;
        let number = text.find("300").expect("it is there");
        assert_eq!(findings[0]["range"]["start"], position_in(text, number, encoding), "{encoding}");
        assert_eq!(findings[0]["range"]["end"], position_in(text, number + 3, encoding), "{encoding}");
        let range =
            json!({ "start": position_in(text, number, encoding), "end": position_in(text, number + 1, encoding) });
        client.change(DISK, 2, range, "");
        assert_eq!(client.findings(DISK, 2).1, Vec::<Value>::new(), "{encoding}");
        assert_eq!(client.stop(), 0);
    }
}

#[test]
fn text_outside_the_basic_plane_before_a_position_shifts_no_answer() {
    // Every request that takes a position, behind characters of one and two units and of two to four bytes.
    let text = "\
\u{1F4BE}n\tEQU\t5
tab\tdc.b\t'\u{1F4BE}\u{E9}',\u{1F4BE}n,'\u{1F4BE}',\u{1F4BE}n+STEPS\tremark
STEPS\tEQU\t'\u{E9}'
\tmove.b\t#'\u{1F4BE}',STEPS
";
    for encoding in ["utf-8", "utf-16", "utf-32"] {
        let mut client = Client::start(None, &capabilities(encoding));
        client.open(DISK, text);
        let _ = client.findings(DISK, 1);
        let name = text.find("STEPS\tremark").expect("it is there");
        let here = position_in(text, name + 2, encoding);
        let range = json!({ "start": position_in(text, name, encoding), "end": position_in(text, name + 5, encoding) });
        let defined = text.find("STEPS\tEQU").expect("it is there");
        let definition =
            json!({ "start": position_in(text, defined, encoding), "end": position_in(text, defined + 5, encoding) });
        let found = hover(&mut client, DISK, &here);
        assert_eq!(found["range"], range, "{encoding}: {found}");
        let found = client.result("textDocument/definition", place(DISK, &here));
        assert_eq!(found[0]["range"], definition, "{encoding}: {found}");
        let mut params = place(DISK, &here);
        params["context"] = json!({ "includeDeclaration": false });
        let found = client.result("textDocument/references", params);
        assert_eq!(found[0]["range"], range, "{encoding}: {found}");
        assert_eq!(found.as_array().map(Vec::len), Some(2), "{encoding}: {found}");
        let found = client
            .result("textDocument/selectionRange", json!({ "textDocument": { "uri": DISK }, "positions": [here] }));
        assert_eq!(found[0]["range"], range, "{encoding}: {found}");
        let found = client.result("textDocument/completion", place(DISK, &here));
        let item = found["items"].as_array().and_then(|items| items.iter().find(|it| it["label"] == "STEPS"));
        let item = item.unwrap_or_else(|| panic!("{encoding}: {found}"));
        assert_eq!(item["textEdit"]["range"], json!({ "start": range["start"], "end": here }), "{encoding}");
        assert_eq!(client.stop(), 0);
    }
}

#[test]
fn positions_beyond_the_end_of_a_line_or_a_file_are_taken_for_the_end() {
    let (mut client, _) = opened(TEXT);
    let far = u64::from(u32::MAX);
    let lines = TEXT.lines().count() as u64;
    for (line, character) in [(0, far), (6, 500), (lines, 0), (lines + 5, 0), (far, far), (1_000_000, 3)] {
        let here = json!({ "line": line, "character": character });
        let range = json!({ "start": here, "end": here });
        for method in ["textDocument/hover", "textDocument/definition", "textDocument/completion"] {
            let answer = client.request(method, place(DISK, &here));
            assert!(answer.get("error").is_none(), "{method} {here}: {answer}");
        }
        let mut params = place(DISK, &here);
        params["context"] = json!({ "includeDeclaration": true });
        assert!(client.request("textDocument/references", params).get("error").is_none());
        let params = json!({ "textDocument": { "uri": DISK }, "positions": [here, here] });
        let ranges = client.result("textDocument/selectionRange", params);
        assert_eq!(ranges.as_array().map(Vec::len), Some(2), "{here}: {ranges}");
        let params = json!({ "textDocument": { "uri": DISK }, "range": range, "context": { "diagnostics": [] } });
        assert!(client.request("textDocument/codeAction", params).get("error").is_none());
        let params = json!({ "textDocument": { "uri": DISK }, "range": range });
        assert!(client.request("textDocument/semanticTokens/range", params).get("error").is_none());
    }
    // The end of a line is the place behind its last word.
    let mut end = at(TEXT, "move.w\t#CYLS");
    end["character"] = json!(9_999);
    let found = hover(&mut client, DISK, &end);
    assert!(found.is_null(), "a comment has no hover: {found}");
    // An edit past the end puts its text at the end.
    client.change(
        DISK,
        2,
        json!({ "start": { "line": 900, "character": 0 }, "end": { "line": 901, "character": 0 } }),
        "x\n",
    );
    let _ = client.findings(DISK, 2);
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_document_that_is_not_open_has_no_answers_and_no_errors() {
    let mut client = client();
    let nowhere = "untitled:nowhere.s";
    let here = json!({ "line": 3, "character": 3 });
    for method in ["textDocument/hover", "textDocument/definition", "textDocument/completion"] {
        let answer = client.request(method, place(nowhere, &here));
        assert!(answer.get("error").is_none() && answer["result"].is_null(), "{answer}");
    }
    client.change(nowhere, 2, json!({ "start": here, "end": here }), "x");
    client.notify("textDocument/didClose", whole(nowhere));
    let answer = client.request("textDocument/semanticTokens/full", whole(nowhere));
    assert!(answer.get("error").is_none() && answer["result"].is_null(), "{answer}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_file_outside_the_workspace_and_an_unsaved_document_are_served_alike() {
    let inside = tempfile::tempdir().expect("a temporary folder");
    let outside = tempfile::tempdir().expect("a temporary folder");
    write(inside.path(), "a.s", "INSIDE\tEQU\t1\n");
    let mut client = Client::start(Some(inside.path()), &capabilities("utf-16"));
    let far = uri(&outside.path().join("with a blank.s"));
    for uri in [far.as_str(), "untitled:Untitled-1", "vscode-vfs://host/some/where.s"] {
        client.open(uri, TEXT);
        assert_eq!(codes(&client.findings(uri, 1).1), Vec::<&str>::new(), "{uri}");
        let text = hover_text(&mut client, uri, &at(TEXT, "$A0,$05"));
        assert!(text.contains("80 x 2 x 9 x 512"), "{uri}: {text}");
        let found = client.result("textDocument/definition", place(uri, &at(TEXT, "CYLS,d0")));
        assert_eq!(found[0]["uri"], uri, "the address is the client's own");
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_document_that_is_closed_goes_back_to_the_disk_s_text() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let own = write(folder.path(), "a.s", "WIDTH\tEQU\t5\n");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&own, "WIDTH\tEQU\t300\n\tdc.b\tWIDTH\n");
    assert_eq!(codes(&client.findings(&own, 1).1), ["value-007"]);
    client.notify("textDocument/didClose", whole(&own));
    let closed = client.wait(|it| it["params"]["uri"] == own && it["params"]["version"].is_null()).1;
    assert_eq!(closed["params"]["diagnostics"], json!([]));
    client.settle();
    let text = hover_text(&mut client, &own, &json!({ "line": 0, "character": 1 }));
    assert!(text.contains("constant: 5 "), "{text}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn changed_new_and_deleted_files_of_the_disk_are_read_again() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let main = write(folder.path(), "main.s", "\tinclude\tparts.i\n\tdc.b\tPART\n");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, "\tinclude\tparts.i\n\tdc.b\tPART\n");
    assert!(codes(&client.findings(&main, 1).1).contains(&"include-001"));
    let told = |uri: &str, kind: u32| json!({ "changes": [{ "uri": uri, "type": kind }] });
    let own = |client: &mut Client, wanted: &str| {
        let is_it = |it: &Value| {
            let found = it["params"]["diagnostics"].as_array().map(|it| codes(it).contains(&wanted));
            it["params"]["uri"] == main && found.unwrap_or(false)
        };
        client.wait(is_it);
    };
    let parts = write(folder.path(), "parts.i", "PART\tEQU\t300\n");
    client.notify("workspace/didChangeWatchedFiles", told(&parts, 1));
    own(&mut client, "value-007");
    write(folder.path(), "parts.i", "PARTY\tEQU\t3\n");
    client.notify("workspace/didChangeWatchedFiles", told(&parts, 2));
    own(&mut client, "name-001");
    std::fs::remove_file(folder.path().join("parts.i")).expect("the file goes");
    client.notify("workspace/didChangeWatchedFiles", told(&parts, 3));
    own(&mut client, "include-001");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_watched_change_does_not_touch_an_open_document() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let own = write(folder.path(), "a.s", "WIDTH\tEQU\t5\n");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&own, "WIDTH\tEQU\t6\n");
    let _ = client.findings(&own, 1);
    write(folder.path(), "a.s", "WIDTH\tEQU\t7\n");
    client.notify("workspace/didChangeWatchedFiles", json!({ "changes": [{ "uri": own, "type": 2 }] }));
    client.settle();
    assert!(hover_text(&mut client, &own, &json!({ "line": 0, "character": 1 })).contains("constant: 6 "));
    std::fs::remove_file(folder.path().join("a.s")).expect("the file goes");
    client.notify("workspace/didChangeWatchedFiles", json!({ "changes": [{ "uri": own, "type": 3 }] }));
    client.settle();
    assert!(hover_text(&mut client, &own, &json!({ "line": 0, "character": 1 })).contains("constant: 6 "));
    assert_eq!(client.stop(), 0);
}

#[test]
fn files_are_watched_where_the_client_can() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut offer = capabilities("utf-16");
    offer["workspace"] = json!({ "didChangeWatchedFiles": { "dynamicRegistration": true } });
    let mut client = Client::start(Some(folder.path()), &offer);
    let asked = client.wait(|it| it["method"] == "client/registerCapability").1;
    let registration = &asked["params"]["registrations"][0];
    assert_eq!(registration["method"], "workspace/didChangeWatchedFiles", "{asked}");
    let pattern = registration["registerOptions"]["watchers"][0]["globPattern"].as_str().unwrap_or_default();
    // Program files and images of disks may have any name.
    assert_eq!(pattern, "**/*");
    assert_eq!(client.stop(), 0);
}

#[test]
fn two_documents_that_include_each_other_are_a_ring_that_is_told_of_and_end() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let texts = ["\tinclude\tb.s\nA\tEQU\tB\n", "\tinclude\ta.s\nB\tEQU\t4\n"];
    let uris = [write(folder.path(), "a.s", texts[0]), write(folder.path(), "b.s", texts[1])];
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&uris[0], texts[0]);
    client.open(&uris[1], texts[1]);
    let _ = client.findings(&uris[1], 1);
    let published = client.settle().clone();
    let all: Vec<&str> = published.values().flat_map(|it| codes(&it.1)).collect();
    assert_eq!(all, ["include-002"]);
    assert!(hover_text(&mut client, &uris[0], &at(texts[0], "B\n")).contains("constant: 4 "));
    assert_eq!(client.stop(), 0);
}

#[test]
fn an_edit_in_an_included_document_changes_the_findings_of_the_one_that_includes_it() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let main = write(folder.path(), "main.s", "\tinclude\tparts.i\n\tdc.b\tPART\n");
    let parts = write(folder.path(), "parts.i", "PART\tEQU\t3\n");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, "\tinclude\tparts.i\n\tdc.b\tPART\n");
    assert_eq!(client.findings(&main, 1).1, Vec::<Value>::new());
    client.open(&parts, "PART\tEQU\t3\n");
    let _ = client.findings(&parts, 1);
    let here = json!({ "line": 0, "character": 10 });
    client.change(&parts, 2, json!({ "start": here, "end": here }), "00");
    let _ = client.findings(&parts, 2);
    let published = client.settle();
    assert_eq!(codes(&published[&main].1), ["value-007"]);
    assert_eq!(client.stop(), 0);
}
