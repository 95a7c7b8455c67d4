//! Each request and notification that the server offers, over its real standard input and output.

use std::path::Path;

use reveille_tests::{Client, at, byte, capabilities, edited, position, position_in, uri, within};
use serde_json::{Value, json};

const DISK: &str = "untitled:disk.s";

/// A driver with one sound table, a macro and a local label.
const TEXT: &str = "\
*	disk driver
CYLS	EQU	80		cylinders
STEP	MACRO
	addq.w	#1,\\1
	ENDM
	org	$1000
start	move.w	#CYLS,d0	how many
	STEP	d0
	lea	ship_bpb(pc),a0
.again	subq.w	#1,d0
	bne.s	.again
	rts
*	disk format, as shipped
ship_bpb
	dc.b	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	dc.b	$09,$00,$02,$00,$00,$00
	even
	end
";

fn client() -> Client {
    Client::start(None, &capabilities("utf-16"))
}

fn place(uri: &str, position: &Value) -> Value {
    json!({ "textDocument": { "uri": uri }, "position": position })
}

fn whole(uri: &str) -> Value {
    json!({ "textDocument": { "uri": uri } })
}

/// The client with a text open and its findings there.
fn opened(text: &str) -> (Client, Vec<Value>) {
    let mut client = client();
    client.open(DISK, text);
    let findings = client.findings(DISK, 1).1;
    (client, findings)
}

fn hover(client: &mut Client, uri: &str, position: &Value) -> Value {
    client.result("textDocument/hover", place(uri, position))
}

fn hover_text(client: &mut Client, uri: &str, position: &Value) -> String {
    hover(client, uri, position)["contents"]["value"].as_str().unwrap_or_default().to_owned()
}

fn codes(findings: &[Value]) -> Vec<&str> {
    findings.iter().map(|it| it["code"].as_str().unwrap_or_default()).collect()
}

fn write(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    std::fs::write(&path, text).expect("the folder can be written to");
    uri(&path)
}

// ---- the beginning and the end ------------------------------------------------------------------------------------------------

#[test]
fn the_server_takes_the_best_encoding_that_is_offered_and_utf_16_where_none_is() {
    for (offered, taken) in [
        (json!(["utf-8"]), "utf-8"),
        (json!(["utf-16"]), "utf-16"),
        (json!(["utf-32"]), "utf-32"),
        (json!(["utf-16", "utf-8"]), "utf-8"),
        (json!(["utf-16", "utf-32"]), "utf-32"),
        (json!([]), "utf-16"),
        (Value::Null, "utf-16"),
        (json!(["latin-1"]), "utf-16"),
    ] {
        let client = Client::start(None, &json!({ "general": { "positionEncodings": offered } }));
        assert_eq!(client.capabilities["positionEncoding"], taken, "{offered}");
        assert_eq!(client.stop(), 0);
    }
    let client = Client::start(None, &json!({}));
    assert_eq!(client.capabilities["positionEncoding"], "utf-16");
    assert_eq!(client.stop(), 0);
}

#[test]
fn the_exit_code_is_0_after_shutdown_and_1_without() {
    assert_eq!(client().stop(), 0);
    let mut without = client();
    without.notify("exit", Value::Null);
    assert_eq!(without.exit_code(), 1);
}

#[test]
fn a_closed_standard_input_ends_the_server() {
    let mut abandoned = client();
    abandoned.hang_up();
    assert_eq!(abandoned.exit_code(), 1);
    let mut polite = client();
    polite.result("shutdown", Value::Null);
    polite.hang_up();
    assert_eq!(polite.exit_code(), 0);
    let mut silent = Client::spawn();
    silent.hang_up();
    assert_eq!(silent.exit_code(), 1);
}

#[test]
fn shutdown_is_taken_with_and_without_params() {
    for params in [Some(Value::Null), None] {
        let mut client = client();
        let mut message = json!({ "jsonrpc": "2.0", "id": 900, "method": "shutdown" });
        if let Some(params) = params {
            message["params"] = params;
        }
        client.send(&message);
        let answer = client.answer(900);
        assert!(answer.get("error").is_none() && answer["result"].is_null(), "{answer}");
        client.send(&json!({ "jsonrpc": "2.0", "method": "exit" }));
        assert_eq!(client.exit_code(), 0);
    }
}

#[test]
fn a_request_after_shutdown_is_refused() {
    let mut client = client();
    client.result("shutdown", Value::Null);
    let answer = client.request("textDocument/hover", place(DISK, &json!({ "line": 0, "character": 0 })));
    // InvalidRequest: LSP 3.17, Shutdown Request.
    assert_eq!(answer["error"]["code"], -32600, "{answer}");
    client.notify("exit", Value::Null);
    assert_eq!(client.exit_code(), 0);
}

#[test]
fn an_unknown_request_is_method_not_found_and_an_unknown_notification_is_nothing() {
    let mut client = client();
    client.notify("reveille/unheardOf", json!({ "a": 1 }));
    client.notify("$/unheardOf", json!({}));
    let answer = client.request("reveille/unheardOf", json!({}));
    // JSON-RPC 2.0, 5.1.
    assert_eq!(answer["error"]["code"], -32601, "{answer}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_request_before_initialize_is_refused() {
    let mut client = Client::spawn();
    let answer = client.request("textDocument/hover", place(DISK, &json!({ "line": 0, "character": 0 })));
    // ServerNotInitialized: LSP 3.17, Initialize Request.
    assert_eq!(answer["error"]["code"], -32002, "{answer}");
    let params = json!({ "processId": null, "rootUri": null, "capabilities": {} });
    let answer = client.request("initialize", params);
    assert!(answer["result"]["capabilities"].is_object(), "{answer}");
    client.notify("initialized", json!({}));
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_request_with_params_that_cannot_be_read_fails_alone() {
    let (mut client, _) = opened(TEXT);
    for params in [json!({}), json!([]), json!({ "textDocument": 5 }), json!({ "position": "here" }), Value::Null] {
        let answer = client.request("textDocument/hover", params);
        // InvalidParams: JSON-RPC 2.0, 5.1.
        assert_eq!(answer["error"]["code"], -32602, "{answer}");
    }
    assert!(hover_text(&mut client, DISK, &at(TEXT, "CYLS,d0")).contains("80"));
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_frame_that_is_no_json_does_not_stop_the_next() {
    let (mut client, _) = opened(TEXT);
    for bad in ["{ \"jsonrpc\": \"2.0\", ", "not json", "[]", "{}", "{\"jsonrpc\":\"2.0\",\"id\":{},\"method\":\"x\"}"]
    {
        client.write(format!("Content-Length: {}\r\n\r\n{bad}", bad.len()).as_bytes());
        assert!(hover_text(&mut client, DISK, &at(TEXT, "CYLS,d0")).contains("80"), "after {bad}");
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_frame_may_have_a_content_type_and_come_in_pieces() {
    let (mut client, _) = opened(TEXT);
    let body = json!({ "jsonrpc": "2.0", "id": 700, "method": "textDocument/hover", "params": place(DISK, &at(TEXT, "CYLS,d0")) });
    let body = body.to_string();
    let kind = "application/vscode-jsonrpc; charset=utf-8";
    let frame = format!("Content-Length: {}\r\nContent-Type: {kind}\r\n\r\n{body}", body.len());
    for piece in frame.as_bytes().chunks(7) {
        client.write(piece);
    }
    assert!(client.answer(700)["result"].is_object());
    assert_eq!(client.stop(), 0);
}

#[test]
fn everything_that_is_offered_answers() {
    let (mut client, _) = opened(TEXT);
    let here = at(TEXT, "CYLS,d0");
    let range = json!({ "start": here, "end": here });
    let mut offered: Vec<String> = client.capabilities.as_object().expect("an object").keys().cloned().collect();
    offered.sort();
    let mut asked = vec!["positionEncoding".to_owned(), "textDocumentSync".to_owned()];
    for (capability, method, params) in [
        ("hoverProvider", "textDocument/hover", place(DISK, &here)),
        ("definitionProvider", "textDocument/definition", place(DISK, &here)),
        (
            "referencesProvider",
            "textDocument/references",
            json!({ "textDocument": { "uri": DISK }, "position": here, "context": { "includeDeclaration": true } }),
        ),
        ("documentSymbolProvider", "textDocument/documentSymbol", whole(DISK)),
        ("workspaceSymbolProvider", "workspace/symbol", json!({ "query": "cyl" })),
        (
            "selectionRangeProvider",
            "textDocument/selectionRange",
            json!({ "textDocument": { "uri": DISK }, "positions": [here] }),
        ),
        ("completionProvider", "textDocument/completion", place(DISK, &here)),
        (
            "codeActionProvider",
            "textDocument/codeAction",
            json!({ "textDocument": { "uri": DISK }, "range": range, "context": { "diagnostics": [] } }),
        ),
        ("semanticTokensProvider", "textDocument/semanticTokens/full", whole(DISK)),
        (
            "semanticTokensProvider",
            "textDocument/semanticTokens/range",
            json!({ "textDocument": { "uri": DISK }, "range": range }),
        ),
    ] {
        if offered.iter().any(|it| it == capability) {
            let answer = client.request(method, params);
            assert!(answer.get("error").is_none() && !answer["result"].is_null(), "{method}: {answer}");
            asked.push(capability.to_owned());
        }
    }
    let unasked: Vec<_> = offered.iter().filter(|it| !asked.contains(it)).collect();
    assert!(unasked.is_empty(), "offered, but asked for by no test: {unasked:?}");
    assert_eq!(client.stop(), 0);
}

// ---- documents -----------------------------------------------------------------------------------------------------------------

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
    for ending in ["s", "asm", "i", "inc"] {
        assert!(pattern.contains(&format!(",{ending}")) || pattern.contains(&format!("{{{ending},")), "{pattern}");
    }
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

// ---- what editors ask ------------------------------------------------------------------------------------------------------------

#[test]
fn a_hover_tells_of_names_numbers_registers_and_operations() {
    let (mut client, findings) = opened(TEXT);
    assert_eq!(findings, Vec::<Value>::new());
    for (needle, range, parts) in [
        ("CYLS,d0", "CYLS", &["constant: 80 = $50", "cylinders"][..]),
        ("CYLS\tEQU", "CYLS", &["constant: 80"]),
        ("1000", "$1000", &["4096", "$1000"]),
        ("d0\thow", "d0", &["data register"]),
        ("move.w", "move.w", &["copy", ".b .w .l", "2 operands"]),
        ("EQU", "EQU", &["name"]),
        ("STEP\td0", "STEP", &["macro"]),
        (".again\n", ".again", &["label"]),
    ] {
        let found = hover(&mut client, DISK, &at(TEXT, needle));
        assert_eq!(within(TEXT, &found["range"]), range, "{needle}: {found}");
        assert_eq!(found["contents"]["kind"], "markdown");
        let text = found["contents"]["value"].as_str().unwrap_or_default().to_lowercase();
        for part in parts {
            assert!(text.contains(&part.to_lowercase()), "{needle}: {text}");
        }
    }
    for needle in ["disk driver", "how many"] {
        assert!(hover(&mut client, DISK, &at(TEXT, needle)).is_null(), "a comment has no hover");
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_hover_on_a_parameter_block_marks_the_field_under_the_cursor() {
    let (mut client, _) = opened(TEXT);
    let table = TEXT.find("\tdc.b\t$00").expect("the table is there");
    // Each byte of the block, by its place, and its field's first byte: FAT: General Overview of On-Disk Format 1.03.
    let fields = [0, 0, 2, 3, 3, 5, 6, 6, 8, 8, 10, 11, 11, 13, 13, 15, 15, 17, 17];
    let bytes: Vec<usize> = TEXT[table..].match_indices('$').map(|it| table + it.0).take(fields.len()).collect();
    for (byte, field) in bytes.iter().zip(fields) {
        let found = hover(&mut client, DISK, &position(TEXT, byte + 1));
        let text = found["contents"]["value"].as_str().unwrap_or_default();
        let marked: Vec<&str> = text.lines().filter(|line| line.contains("**>")).collect();
        assert_eq!(marked.len(), 1, "{text}");
        assert!(marked[0].starts_with(&format!("| **{field}** |")), "byte {field}: {text}");
        assert!(text.contains("80 x 2 x 9 x 512") && text.contains("720 KiB"), "{text}");
        assert_eq!(within(TEXT, &found["range"]).len(), 3, "the range is the byte");
    }
    // On the label there is the block, and no field is marked.
    let text = hover_text(&mut client, DISK, &at(TEXT, "ship_bpb\n"));
    assert!(text.contains("80 x 2 x 9 x 512") && !text.contains("**>"), "{text}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_hover_is_plain_where_the_client_knows_no_markdown() {
    let mut offer = capabilities("utf-16");
    offer["textDocument"]["hover"]["contentFormat"] = json!(["plaintext"]);
    let mut client = Client::start(None, &offer);
    client.open(DISK, TEXT);
    let found = hover(&mut client, DISK, &at(TEXT, "$A0,$05"));
    assert_eq!(found["contents"]["kind"], "plaintext");
    let text = found["contents"]["value"].as_str().unwrap_or_default();
    assert!(text.contains("80 x 2 x 9 x 512") && !text.contains("**") && !text.contains("```"), "{text}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_definition_is_found_in_the_file_in_an_included_one_and_for_a_macro() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let parts_text = "PART\tEQU\t3\nTURN\tMACRO\n\trol.w\t#1,\\1\n\tENDM\n";
    let parts = write(folder.path(), "parts.i", parts_text);
    let text = "\tinclude\t\"parts.i\"\nstart\tmove.w\t#PART,d0\n\tTURN\td0\n\tbra.s\tstart\n";
    let main = write(folder.path(), "main.s", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, text);
    let _ = client.findings(&main, 1);
    let mut define = |needle: &str| client.result("textDocument/definition", place(&main, &at(text, needle)));
    let own = define("start\n");
    assert_eq!((own[0]["uri"].as_str(), within(text, &own[0]["range"])), (Some(main.as_str()), "start"));
    let included = define("PART,d0");
    assert_eq!(included[0]["uri"], parts.as_str());
    assert_eq!(within(parts_text, &included[0]["range"]), "PART");
    let called = define("TURN\td0");
    assert_eq!(called[0]["uri"], parts.as_str());
    assert_eq!(within(parts_text, &called[0]["range"]), "TURN");
    let file = define("parts.i");
    assert_eq!(file[0]["uri"], parts.as_str(), "the name of an included file leads to it");
    assert!(define("move.w").is_null(), "an instruction is defined nowhere");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_definition_is_a_link_where_the_client_takes_links() {
    let mut offer = capabilities("utf-16");
    offer["textDocument"]["definition"] = json!({ "linkSupport": true });
    let mut client = Client::start(None, &offer);
    client.open(DISK, TEXT);
    let found = client.result("textDocument/definition", place(DISK, &at(TEXT, "CYLS,d0")));
    assert_eq!(found[0]["targetUri"], DISK, "{found}");
    assert_eq!(within(TEXT, &found[0]["originSelectionRange"]), "CYLS");
    assert_eq!(within(TEXT, &found[0]["targetSelectionRange"]), "CYLS");
    assert_eq!(client.stop(), 0);
}

#[test]
fn references_are_every_use_in_every_file_with_the_definition_if_asked() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let parts_text = "PART\tEQU\t3\nMORE\tEQU\tPART*2\n";
    let parts = write(folder.path(), "parts.i", parts_text);
    let text = "\tinclude\tparts.i\n\tdc.b\tPART,part,'PART'\tPART in a comment\n\tmove.w\t#PART+PART,d0\n";
    let main = write(folder.path(), "main.s", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, text);
    let _ = client.findings(&main, 1);
    let mut ask = |with: bool| {
        let mut params = place(&main, &at(text, "PART,part"));
        params["context"] = json!({ "includeDeclaration": with });
        let found = client.result("textDocument/references", params);
        let found = found.as_array().expect("a list").iter();
        let mut places: Vec<(bool, usize)> = found
            .map(|it| {
                let is_main = it["uri"] == main.as_str();
                assert!(is_main || it["uri"] == parts.as_str());
                let text = if is_main { text } else { parts_text };
                assert!(within(text, &it["range"]).eq_ignore_ascii_case("part"));
                (is_main, byte(text, &it["range"]["start"]))
            })
            .collect();
        places.sort_unstable();
        places
    };
    let place_of = |needle: &str| (true, text.find(needle).expect("it is there"));
    let second = place_of("#PART+PART").1;
    let uses = vec![
        (false, parts_text.find("PART*2").expect("it is there")),
        place_of("PART,part"),
        place_of("part,'"),
        (true, second + 1),
        (true, second + 6),
    ];
    let with_definition: Vec<_> = std::iter::once((false, 0)).chain(uses.iter().copied()).collect();
    assert_eq!(ask(false), uses);
    assert_eq!(ask(true), with_definition);
    assert_eq!(client.stop(), 0);
}

/// Names of a tree of symbols, with their depth; checks that each name is inside its lines and each child inside its parent.
fn tree(symbols: &Value, depth: usize, into: &mut Vec<(usize, String, u64)>) {
    for symbol in symbols.as_array().into_iter().flatten() {
        let line = |range: &str, end: &str| symbol[range][end]["line"].as_u64();
        assert!(line("range", "start") <= line("selectionRange", "start"), "{symbol}");
        assert!(line("selectionRange", "end") <= line("range", "end"), "{symbol}");
        assert_eq!(within(TEXT, &symbol["selectionRange"]), symbol["name"].as_str().unwrap_or_default());
        into.push((
            depth,
            symbol["name"].as_str().unwrap_or_default().to_owned(),
            symbol["kind"].as_u64().unwrap_or(0),
        ));
        tree(&symbol["children"], depth + 1, into);
    }
}

#[test]
fn the_outline_is_a_tree_or_flat_as_the_client_takes_it() {
    // Kinds of LSP 3.17: Constant 14, Operator 25, Function 12, Struct 23.
    let expected = [(0, "CYLS", 14), (0, "STEP", 25), (0, "start", 12), (1, ".again", 12), (0, "ship_bpb", 23)];
    let expected: Vec<_> = expected.iter().map(|it| (it.0, it.1.to_owned(), it.2)).collect();
    let (mut client, _) = opened(TEXT);
    let found = client.result("textDocument/documentSymbol", whole(DISK));
    let mut names = Vec::new();
    tree(&found, 0, &mut names);
    assert_eq!(names, expected);
    let table = found.as_array().and_then(|it| it.last()).expect("a table");
    assert_eq!(table["detail"], "1 x fat-block-19");
    assert_eq!(client.stop(), 0);

    let mut offer = capabilities("utf-16");
    offer["textDocument"]["documentSymbol"]["hierarchicalDocumentSymbolSupport"] = json!(false);
    let mut client = Client::start(None, &offer);
    client.open(DISK, TEXT);
    let found = client.result("textDocument/documentSymbol", whole(DISK));
    let flat: Vec<_> =
        found.as_array().expect("a list").iter().map(|it| it["name"].as_str().unwrap_or_default()).collect();
    assert_eq!(flat, ["CYLS", "STEP", "start", ".again", "ship_bpb"]);
    assert!(found.as_array().expect("a list").iter().all(|it| it["location"]["uri"] == DISK));
    assert_eq!(client.stop(), 0);
}

#[test]
fn names_of_the_whole_workspace_are_found_by_their_letters() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let disk = write(folder.path(), "disk.s", TEXT);
    write(folder.path(), "other.s", "panel\trts\nPanelKey\tEQU\t3\n");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.settle();
    let mut search = |query: &str| {
        let found = client.result("workspace/symbol", json!({ "query": query }));
        found.as_array().expect("a list").clone()
    };
    let names =
        |found: &[Value]| found.iter().map(|it| it["name"].as_str().unwrap_or_default().to_owned()).collect::<Vec<_>>();
    assert_eq!(names(&search("panel")), ["panel", "PanelKey"]);
    assert_eq!(names(&search("pnlk")), ["PanelKey"]);
    let found = search("cyls");
    assert_eq!(found[0]["location"]["uri"], disk.as_str());
    assert_eq!(within(TEXT, &found[0]["location"]["range"]), "CYLS");
    assert_eq!(found[0]["containerName"], "disk.s");
    assert!(names(&search("parameter block")).contains(&"ship_bpb".to_owned()), "a table is found by what it is");
    assert_eq!(search("zzzz"), Vec::<Value>::new());
    assert!(search("").len() >= 6);
    assert_eq!(client.stop(), 0);
}

/// Semantic tokens as text, type and whether the name is defined there.
fn decoded(client: &Client, text: &str, found: &Value) -> Vec<(String, String, bool)> {
    let legend = &client.capabilities["semanticTokensProvider"]["legend"];
    assert_eq!(legend["tokenModifiers"], json!(["definition"]));
    let numbers: Vec<u64> = found["data"].as_array().expect("a list").iter().filter_map(Value::as_u64).collect();
    let (mut line, mut start) = (0, 0);
    let mut last = 0;
    numbers
        .chunks(5)
        .map(|token| {
            start = if token[0] == 0 { start + token[1] } else { token[1] };
            line += token[0];
            let place = |character: u64| byte(text, &json!({ "line": line, "character": character }));
            let range = place(start)..place(start + token[2]);
            assert!(last <= range.start && range.start < range.end, "tokens do not overlap");
            last = range.end;
            let kind = legend["tokenTypes"][token[3] as usize].as_str().expect("the legend has the type");
            (text[range].to_owned(), kind.to_owned(), token[4] == 1)
        })
        .collect()
}

#[test]
fn semantic_tokens_name_what_each_word_is() {
    let text = "*\tremark\nWID\tEQU\t5\twide\nput\tMACRO\n\tmove.b\t\\1,d0\n\tENDM\ntab\tdc.b\t'\u{1F4BE}',WID,tab-nix\n\tput\t#WID\n";
    let (mut client, _) = opened(text);
    let found = client.result("textDocument/semanticTokens/full", whole(DISK));
    let all = decoded(&client, text, &found);
    let expected = [
        ("*\tremark", "comment", false),
        ("WID", "enumMember", true),
        ("EQU", "reveilleDirective", false),
        ("5", "number", false),
        ("wide", "comment", false),
        ("put", "macro", true),
        ("MACRO", "reveilleDirective", false),
        ("move", "keyword", false),
        ("b", "reveilleSize", false),
        ("\\1", "parameter", false),
        ("d0", "reveilleRegister", false),
        ("ENDM", "reveilleDirective", false),
        ("tab", "function", true),
        ("dc", "reveilleDirective", false),
        ("b", "reveilleSize", false),
        ("'\u{1F4BE}'", "string", false),
        ("WID", "enumMember", false),
        ("tab", "function", false),
        ("nix", "variable", false),
        ("put", "macro", false),
        ("WID", "enumMember", false),
    ];
    let expected: Vec<_> = expected.iter().map(|it| (it.0.to_owned(), it.1.to_owned(), it.2)).collect();
    assert_eq!(all, expected);
    // A range gives the tokens of its lines, from the first line of the file on.
    for (first, last) in [(0, 1), (1, 1), (3, 5), (6, 90)] {
        let range = json!({ "start": { "line": first, "character": 0 }, "end": { "line": last, "character": 0 } });
        let params = json!({ "textDocument": { "uri": DISK }, "range": range });
        let part = client.result("textDocument/semanticTokens/range", params);
        let part = decoded(&client, text, &part);
        assert!(!part.is_empty() && all.windows(part.len()).any(|it| it == part), "{first}..{last}: {part:?}");
        let line = text.lines().nth(first).unwrap_or_default();
        assert!(line.contains(&part[0].0), "{line}: {part:?}");
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn completion_offers_what_can_stand_at_the_place() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    write(folder.path(), "parts.i", "PART\tEQU\t3\n");
    std::fs::create_dir(folder.path().join("lib")).expect("a folder is made");
    write(&folder.path().join("lib"), "deep.i", "DEEP\tEQU\t3\n");
    let text = "\
start\tmove.
\tmov
\tmove.w\td
\tmove.w\tST
\tdc.
\tinclude\t
tab\t\t; @block\x20
STEPS\tEQU\t3
put\tMACRO
\tENDM
\t
";
    let main = write(folder.path(), "main.s", text);
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    client.open(&main, text);
    let _ = client.findings(&main, 1);
    let mut complete = |line: u32, character: u32| -> Vec<(String, String)> {
        let here = json!({ "line": line, "character": character });
        let found = client.result("textDocument/completion", place(&main, &here));
        let items = found["items"].as_array().cloned().unwrap_or_default();
        let mut items: Vec<Value> = items;
        items.sort_by_key(|it| it["sortText"].as_str().unwrap_or_default().to_owned());
        items
            .iter()
            .map(|it| {
                let edit = &it["textEdit"];
                assert_eq!(edit["range"]["end"], here, "{it}");
                assert_eq!(edit["newText"], it["label"]);
                (it["label"].as_str().unwrap_or_default().to_owned(), within(text, &edit["range"]).to_owned())
            })
            .collect()
    };
    let labels = |items: &[(String, String)]| items.iter().map(|it| it.0.clone()).collect::<Vec<_>>();
    let has = |items: &[(String, String)], label: &str| items.iter().any(|it| it.0 == label);
    let sizes = complete(0, 11);
    assert_eq!(labels(&sizes), ["b", "w", "l"]);
    let operations = complete(1, 4);
    for label in ["move", "movem", "moveq", "dc", "equ", "put"] {
        assert!(has(&operations, label), "{label}: {operations:?}");
    }
    assert!(operations.iter().all(|it| it.1 == "mov"), "the word that is typed is replaced");
    let operands = complete(2, 9);
    for label in ["d0", "a7", "sp"] {
        assert!(has(&operands, label), "{label}: {operands:?}");
    }
    let names = complete(3, 10);
    assert!(has(&names, "STEPS") && has(&names, "start"), "{names:?}");
    assert!(!has(&names, "put"), "a macro is no operand");
    assert_eq!(labels(&complete(4, 4)), ["b", "w", "l"]);
    let mut files = labels(&complete(5, 9));
    files.sort();
    assert_eq!(files, ["lib/deep.i", "parts.i"]);
    let layouts = labels(&complete(6, 14));
    assert_eq!(layouts, ["fat-block-13", "fat-block-19", "fat-block-25", "fat-block-51"]);
    let fresh = complete(10, 1);
    assert!(has(&fresh, "move") && has(&fresh, "put"), "{fresh:?}");
    assert!(has(&complete(11, 0), "move"), "behind the last line end too");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_selection_grows_from_the_word_to_the_file() {
    let (mut client, _) = opened(TEXT);
    let places = [at(TEXT, "CYLS,d0"), at(TEXT, "ship_bpb(pc)"), at(TEXT, "cylinders")];
    let found =
        client.result("textDocument/selectionRange", json!({ "textDocument": { "uri": DISK }, "positions": places }));
    let found = found.as_array().expect("a list");
    assert_eq!(found.len(), 3);
    for (one, here) in found.iter().zip(&places) {
        let mut next = one;
        let mut before: Option<std::ops::Range<usize>> = None;
        let mut texts = Vec::new();
        while next.is_object() {
            let range = byte(TEXT, &next["range"]["start"])..byte(TEXT, &next["range"]["end"]);
            let here = byte(TEXT, here);
            assert!(range.start <= here && here <= range.end);
            if let Some(inner) = before {
                assert!(range.start <= inner.start && inner.end <= range.end && range != inner, "each is larger");
            }
            texts.push(&TEXT[range.clone()]);
            before = Some(range);
            next = &next["parent"];
        }
        assert!(texts.len() >= 3, "{texts:?}");
        assert_eq!(texts.last(), Some(&TEXT));
    }
    assert_eq!(within(TEXT, &found[0]["range"]), "CYLS");
    assert_eq!(client.stop(), 0);
}

// ---- changes that mend -------------------------------------------------------------------------------------------------------------

/// Asks for the changes at a finding, applies the preferred one, and gives the text and the findings afterwards.
fn mended(text: &str, code: &str) -> (String, Vec<Value>) {
    let (mut client, findings) = opened(text);
    let finding = findings.iter().find(|it| it["code"] == code).unwrap_or_else(|| panic!("{code}: {findings:?}"));
    let params = json!({
        "textDocument": { "uri": DISK },
        "range": finding["range"],
        "context": { "diagnostics": [finding] },
    });
    let actions = client.result("textDocument/codeAction", params);
    let actions = actions.as_array().expect("a list");
    let action = actions.iter().find(|it| it["diagnostics"][0]["code"] == code && it["isPreferred"] == true);
    let action = action.unwrap_or_else(|| panic!("{code}: {actions:?}"));
    assert_eq!(action["kind"], "quickfix");
    assert!(action["title"].as_str().is_some_and(|it| !it.is_empty()));
    let edits = action["edit"]["changes"][DISK].as_array().expect("the change is in the document");
    let text = edited(text, edits);
    // Sent as the editor would: the last edit first, so that none moves another.
    let mut edits = edits.clone();
    edits.sort_by_key(|it| {
        let start = &it["range"]["start"];
        std::cmp::Reverse((start["line"].as_u64(), start["character"].as_u64()))
    });
    let changes: Vec<Value> = edits.iter().map(|it| json!({ "range": it["range"], "text": it["newText"] })).collect();
    client.notify(
        "textDocument/didChange",
        json!({ "textDocument": { "uri": DISK, "version": 2 }, "contentChanges": changes }),
    );
    let findings = client.findings(DISK, 2).1;
    let (mut fresh, fresh_findings) = opened(&text);
    assert_eq!(findings, fresh_findings, "the text after the edits is the text");
    assert!(hover_text(&mut fresh, DISK, &json!({ "line": 0, "character": 0 })).len() < 10_000);
    assert_eq!((client.stop(), fresh.stop()), (0, 0));
    (text, findings)
}

fn table(bytes: &str) -> String {
    format!("*\tdisk format\nship_bpb\n\tdc.b\t{bytes}\n\teven\n")
}

#[test]
fn changes_mend_the_findings_that_they_are_offered_for() {
    // 720 KiB: Microsoft Knowledge Base Q75131.
    let sound = "$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00";
    let with = |from: &str, to: &str| table(&sound.replacen(from, to, 1));
    for (what, code, text, expected) in [
        ("media descriptor that is none", "fat-026", with("$F9", "$E9"), table(sound)),
        ("media descriptor of another disk", "fat-027", with("$F9", "$FB"), table(sound)),
        ("total", "fat-017", with("$A0,$05", "$A2,$05"), table(sound)),
        ("length of the FAT", "fat-022", with("$F9,$03", "$F9,$02"), table(sound)),
        ("hidden sectors", "fat-028", with("$00,$02,$00,$00,$00", "$00,$02,$00,$09,$00"), table(sound)),
        ("author's style", "fat-026", with("$F9", "233"), with("$F9", "249")),
        (
            "words in the wrong order",
            "block-006",
            table("$02,$00,$02,$00,$01,$02,$00,$70,$05,$A0,$F9,$00,$03,$00,$09,$00,$02,$00,$00"),
            table(sound),
        ),
        (
            "missing EVEN",
            "block-003",
            format!("*\tdisk format\nship_bpb\n\tDC.B\t{sound}\ntries\tDC.W\t5\n"),
            format!("*\tdisk format\nship_bpb\n\tDC.B\t{sound}\n\tEVEN\ntries\tDC.W\t5\n"),
        ),
        ("blank after a comma", "source-003", "\tdc.b\t1, 2\n".to_owned(), "\tdc.b\t1,2\n".to_owned()),
    ] {
        let (text, findings) = mended(&text, code);
        assert_eq!(text, expected, "{what}");
        assert_eq!(findings, Vec::<Value>::new(), "{what}");
    }
}

#[test]
fn changes_are_given_with_the_version_where_the_client_takes_it() {
    let mut offer = capabilities("utf-16");
    offer["workspace"] = json!({ "workspaceEdit": { "documentChanges": true } });
    let mut client = Client::start(None, &offer);
    client.open(DISK, "\tdc.b\t1, 2\n");
    let findings = client.findings(DISK, 1).1;
    let ask = |only: Value| {
        let mut context = json!({ "diagnostics": [] });
        if !only.is_null() {
            context["only"] = only;
        }
        json!({ "textDocument": { "uri": DISK }, "range": findings[0]["range"], "context": context })
    };
    let actions = client.result("textDocument/codeAction", ask(Value::Null));
    let change = &actions[0]["edit"]["documentChanges"][0];
    assert_eq!(change["textDocument"], json!({ "uri": DISK, "version": 1 }), "{actions}");
    assert_eq!(client.result("textDocument/codeAction", ask(json!(["quickfix"]))).as_array().map(Vec::len), Some(1));
    for only in [json!(["refactor"]), json!(["source.organizeImports"]), json!(["quick"])] {
        assert_eq!(client.result("textDocument/codeAction", ask(only)), json!([]));
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn related_places_are_told_where_the_client_takes_them() {
    let text = "one\trts\none\trts\n";
    let (client, findings) = opened(text);
    assert_eq!(codes(&findings), ["name-002"]);
    let related = &findings[0]["relatedInformation"][0];
    assert_eq!(related["location"]["uri"], DISK);
    assert_eq!(related["location"]["range"]["start"]["line"], 0);
    assert_eq!(client.stop(), 0);
    let mut client = Client::start(None, &json!({}));
    client.open(DISK, text);
    let findings = client.findings(DISK, 1).1;
    assert!(findings[0].get("relatedInformation").is_none_or(Value::is_null), "{findings:?}");
    assert_eq!(client.stop(), 0);
}
