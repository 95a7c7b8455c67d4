//! The beginning, the end, and messages that are none.

use reveille_tests::{Client, at};
use serde_json::{Value, json};

use crate::{DISK, TEXT, client, hover_text, opened, place, whole};

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
    let layout = json!({ "tabSize": 8, "insertSpaces": false });
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
        ("documentHighlightProvider", "textDocument/documentHighlight", place(DISK, &here)),
        ("documentLinkProvider", "textDocument/documentLink", whole(DISK)),
        ("foldingRangeProvider", "textDocument/foldingRange", whole(DISK)),
        ("callHierarchyProvider", "textDocument/prepareCallHierarchy", place(DISK, &at(TEXT, "start\tmove"))),
        ("renameProvider", "textDocument/prepareRename", place(DISK, &here)),
        (
            "renameProvider",
            "textDocument/rename",
            json!({ "textDocument": { "uri": DISK }, "position": here, "newName": "TRACKS" }),
        ),
        ("documentSymbolProvider", "textDocument/documentSymbol", whole(DISK)),
        ("workspaceSymbolProvider", "workspace/symbol", json!({ "query": "cyl" })),
        (
            "selectionRangeProvider",
            "textDocument/selectionRange",
            json!({ "textDocument": { "uri": DISK }, "positions": [here] }),
        ),
        ("completionProvider", "textDocument/completion", place(DISK, &here)),
        ("signatureHelpProvider", "textDocument/signatureHelp", place(DISK, &here)),
        ("inlayHintProvider", "textDocument/inlayHint", json!({ "textDocument": { "uri": DISK }, "range": range })),
        ("codeLensProvider", "textDocument/codeLens", whole(DISK)),
        (
            "codeActionProvider",
            "textDocument/codeAction",
            json!({ "textDocument": { "uri": DISK }, "range": range, "context": { "diagnostics": [] } }),
        ),
        (
            "documentFormattingProvider",
            "textDocument/formatting",
            json!({ "textDocument": { "uri": DISK }, "options": layout }),
        ),
        (
            "documentRangeFormattingProvider",
            "textDocument/rangeFormatting",
            json!({ "textDocument": { "uri": DISK }, "range": range, "options": layout }),
        ),
        (
            "documentOnTypeFormattingProvider",
            "textDocument/onTypeFormatting",
            json!({ "textDocument": { "uri": DISK }, "position": here, "ch": "\n", "options": layout }),
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
