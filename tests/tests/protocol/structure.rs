//! What belongs together, what leads where, and who calls whom.

use reveille_tests::{Client, at, byte, capabilities, within};
use serde_json::{Value, json};

use crate::{DISK, TEXT, opened, place, whole, write};

#[test]
fn lines_fold_and_comments_are_told_apart() {
    let text =
        "*\n* a driver\n*\n\tifd\tBIG\n\tnop\n\telse\n\trts\n\tendc\nput\tMACRO\n\tnop\n\tENDM\nmain\tnop\n\trts\n";
    let (mut client, _) = opened(text);
    let found = client.result("textDocument/foldingRange", whole(DISK));
    let expected = json!([
        { "startLine": 0, "endLine": 2, "kind": "comment" },
        { "startLine": 3, "endLine": 4 },
        { "startLine": 5, "endLine": 7 },
        { "startLine": 8, "endLine": 10 },
        { "startLine": 11, "endLine": 12 },
    ]);
    assert_eq!(found, expected);
    assert_eq!(client.stop(), 0);
}

#[test]
fn highlights_tell_reading_from_writing() {
    let text = "\tmove.w\td0,count\t'\u{1F4BE}'\n\tcmp.b\t#'\u{1F4BE}',count\ncount\tds.w\t1\n";
    let (mut client, _) = opened(text);
    let mut ask = |needle: &str| -> Vec<(String, u64)> {
        let found = client.result("textDocument/documentHighlight", place(DISK, &at(text, needle)));
        let found = found.as_array().expect("a list").iter();
        found.map(|it| (within(text, &it["range"]).to_owned(), it["kind"].as_u64().unwrap_or(0))).collect()
    };
    // DocumentHighlightKind of LSP 3.17: Read 2, Write 3.
    let name = "count".to_owned();
    assert_eq!(ask("count\tds"), [(name.clone(), 3), (name.clone(), 2), (name, 3)]);
    assert_eq!(ask("d0,"), [("d0".to_owned(), 2)]);
    assert_eq!(ask("move"), []);
    assert_eq!(client.stop(), 0);
}

#[test]
fn names_of_files_are_links() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let parts = write(folder.path(), "parts.i", "PART\tEQU\t3\n");
    let text = "\tinclude\t\"PARTS.I\"\n\tinclude\tnowhere.i\n";
    let main = write(folder.path(), "main.s", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, text);
    let _ = client.findings(&main, 1);
    let found = client.result("textDocument/documentLink", whole(&main));
    let found = found.as_array().expect("a list");
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(within(text, &found[0]["range"]), "PARTS.I");
    assert_eq!(found[0]["target"], parts.as_str());
    assert!(found[0]["tooltip"].as_str().is_some_and(|it| it.ends_with("parts.i")));
    assert_eq!(client.stop(), 0);
}

#[test]
fn calls_are_followed_both_ways_across_files() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let send_text = "\txdef\tsend\nsend\tmove.b\td0,$F00007\n\trts\n";
    let send = write(folder.path(), "send.s", send_text);
    let text = "\txref\tsend\nmain\tbsr\tinit\n\tjsr\tsend\n\tbeq\tsend\ninit\trts\n";
    let main = write(folder.path(), "main.s", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, text);
    client.settle();
    let prepared = client.result("textDocument/prepareCallHierarchy", place(&main, &at(text, "send\n\tbeq")));
    let item = prepared[0].clone();
    assert_eq!((&item["name"], &item["uri"]), (&json!("send"), &json!(send)));
    assert_eq!(within(send_text, &item["selectionRange"]), "send");
    assert_eq!(within(send_text, &item["range"]), "send\tmove.b\td0,$F00007\n\trts");
    let incoming = client.result("callHierarchy/incomingCalls", json!({ "item": item }));
    assert_eq!(incoming.as_array().map(Vec::len), Some(1));
    let from = &incoming[0]["from"];
    assert_eq!((&from["name"], &from["uri"], &from["detail"]), (&json!("main"), &json!(main), &json!("calls, jumps")));
    let starts = |ranges: &Value| -> Vec<usize> {
        let ranges = ranges.as_array().expect("a list").iter();
        ranges
            .inspect(|it| assert!(["send", "init"].contains(&within(text, it))))
            .map(|it| byte(text, &it["start"]))
            .collect()
    };
    let expected = [text.find("send\n\tbeq"), text.find("send\ninit")].map(|it| it.expect("it is there"));
    assert_eq!(starts(&incoming[0]["fromRanges"]), expected);
    let outgoing = client.result("callHierarchy/outgoingCalls", json!({ "item": from }));
    let named: Vec<(&str, Option<&str>)> = outgoing
        .as_array()
        .expect("a list")
        .iter()
        .map(|it| (it["to"]["name"].as_str().unwrap_or_default(), it["to"]["detail"].as_str()))
        .collect();
    // BEQ is the last instruction: what follows is executed too.
    assert_eq!(named, [("init", Some("calls, falls through")), ("send", Some("calls, jumps"))]);
    assert_eq!(starts(&outgoing[1]["fromRanges"]), expected);
    let none = client.result("textDocument/prepareCallHierarchy", place(&main, &at(text, "xref")));
    assert!(none.is_null(), "{none}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn words_of_lines_that_are_not_read_have_a_modifier() {
    let text = "ON\tEQU\t1\n\tif\tON\n\tnop\n\telse\n\trts\n\tendc\n";
    let (mut client, _) = opened(text);
    let modifiers = &client.capabilities["semanticTokensProvider"]["legend"]["tokenModifiers"];
    let bit = modifiers.as_array().and_then(|it| it.iter().position(|it| it == "inactive")).expect("our modifier");
    let found = client.result("textDocument/semanticTokens/full", whole(DISK));
    let numbers: Vec<u64> = found["data"].as_array().expect("a list").iter().filter_map(Value::as_u64).collect();
    let mut line = 0;
    let mut marked = Vec::new();
    for token in numbers.chunks(5) {
        line += token[0];
        if token[4] >> bit & 1 == 1 {
            marked.push(line);
        }
    }
    assert_eq!(marked, [4], "`rts` alone");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_selection_grows_over_the_routine() {
    let (mut client, _) = opened(TEXT);
    let ask = json!({ "textDocument": { "uri": DISK }, "positions": [at(TEXT, "CYLS,d0")] });
    let found = client.result("textDocument/selectionRange", ask);
    let mut next = &found[0];
    let mut texts = Vec::new();
    while next.is_object() {
        texts.push(within(TEXT, &next["range"]));
        next = &next["parent"];
    }
    let start = TEXT.find("start\t").expect("it is there");
    let end = TEXT.find("*\tdisk format").expect("it is there");
    assert!(texts.contains(&&TEXT[start..end]), "{texts:?}");
    assert_eq!(client.stop(), 0);
}
