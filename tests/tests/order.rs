//! Messages in their order: edits and questions without waiting, cancelled requests, bursts, edits that make no sense.

use reveille_fixture::{Numbers, firmware_source};
use reveille_tests::{Client, capabilities, uri};
use serde_json::{Value, json};

const DISK: &str = "untitled:disk.s";

fn client() -> Client {
    Client::start(None, &capabilities("utf-16"))
}

fn span(from: (usize, usize), to: (usize, usize)) -> Value {
    json!({ "start": { "line": from.0, "character": from.1 }, "end": { "line": to.0, "character": to.1 } })
}

fn here(line: usize, character: usize) -> Value {
    json!({ "textDocument": { "uri": DISK }, "position": { "line": line, "character": character } })
}

#[test]
fn each_of_60_hovers_sees_the_edit_just_before_it_and_not_the_next() {
    let mut client = client();
    client.open(DISK, &format!("COUNT\tEQU\t1000\n{}", firmware_source(2_000, 7)));
    let mut asked = Vec::new();
    for number in 0..60 {
        client.change(DISK, number + 2, span((0, 10), (0, 14)), &(1000 + number * 17).to_string());
        asked.push((number, client.post("textDocument/hover", here(0, 2))));
    }
    for (number, id) in asked {
        let answer = client.answer(id);
        let text = answer["result"]["contents"]["value"].as_str().unwrap_or_default().to_owned();
        assert!(text.contains(&format!("constant: {} = ", 1000 + number * 17)), "edit {number}: {answer}");
    }
    assert_eq!(client.findings(DISK, 61).1, Vec::<Value>::new());
    assert_eq!(client.stop(), 0);
}

#[test]
fn each_symbol_request_sees_as_many_names_as_the_edits_before_it_made() {
    let mut client = client();
    client.open(DISK, "");
    let mut asked = Vec::new();
    for number in 0..30 {
        client.change(DISK, number + 2, span((0, 0), (0, 0)), &format!("name{number}\tEQU\t{number}\n"));
        asked.push((
            number,
            client.post("textDocument/documentSymbol", json!({ "textDocument": { "uri": DISK } })),
            client.post("workspace/symbol", json!({ "query": "name" })),
        ));
    }
    for (number, outline, search) in asked {
        for id in [outline, search] {
            let answer = client.answer(id);
            assert_eq!(answer["result"].as_array().map(Vec::len), Some(number as usize + 1), "{answer}");
        }
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn answers_belong_to_the_text_of_their_moment_when_a_document_is_closed_and_opened_again() {
    let mut client = client();
    let mut asked = Vec::new();
    for number in 0..20 {
        client.open(DISK, &format!("COUNT\tEQU\t{}\n", 500 + number));
        asked.push((Some(500 + number), client.post("textDocument/hover", here(0, 2))));
        client.notify("textDocument/didClose", json!({ "textDocument": { "uri": DISK } }));
        asked.push((None, client.post("textDocument/hover", here(0, 2))));
    }
    for (number, id) in asked {
        let answer = client.answer(id);
        match number {
            Some(number) => assert!(answer.to_string().contains(&format!("constant: {number} ")), "{answer}"),
            None => assert!(answer["result"].is_null(), "{answer}"),
        }
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn each_of_200_cancelled_requests_is_answered_once_and_the_server_lives() {
    let mut client = client();
    client.open(DISK, &firmware_source(6_000, 3));
    let methods = ["textDocument/semanticTokens/full", "textDocument/documentSymbol", "textDocument/hover"];
    let ids: Vec<i64> = (0..200)
        .map(|at| {
            let mut params = here(200 + at, 3);
            if at % 10 == 0 {
                // The model is new each time, so that requests have to wait for it.
                client.change(DISK, at as i64 + 2, span((0, 0), (0, 0)), "*\n");
            }
            if at % 3 != 2 {
                params = json!({ "textDocument": { "uri": DISK } });
            }
            client.post(methods[at % 3], params)
        })
        .collect();
    for id in &ids {
        client.notify("$/cancelRequest", json!({ "id": id }));
    }
    let mut cancelled = 0;
    for id in &ids {
        let answer = client.answer(*id);
        match answer["error"]["code"].as_i64() {
            // RequestCancelled: LSP 3.17, Base Protocol.
            Some(code) => {
                assert_eq!(code, -32800, "{answer}");
                cancelled += 1;
            }
            None => assert!(answer.get("result").is_some(), "{answer}"),
        }
    }
    assert!(cancelled > 0, "nothing was cancelled");
    // Cancelling what is answered, unknown or no number is nothing.
    for id in [json!(ids[0]), json!(999_999), json!("a name"), Value::Null] {
        client.notify("$/cancelRequest", json!({ "id": id }));
    }
    assert!(client.result("workspace/symbol", json!({ "query": "rout" })).as_array().is_some_and(|it| !it.is_empty()));
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_burst_of_400_edits_ends_with_the_findings_of_a_fresh_open() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let document = uri(&folder.path().join("burst.s"));
    let mut text: Vec<u8> = firmware_source(1_500, 11).into_bytes();
    let mut client = client();
    client.open(&document, std::str::from_utf8(&text).expect("the source is ASCII"));
    let mut numbers = Numbers::new(400);
    let pieces = ["x", "\n", "\tdc.b\t300\n", "'", "", "(", "lost\n", "\tIFD\tX\n", "\tENDC\n", ",,", "1/0", "\tEND\n"];
    for version in 2..=401 {
        let start = numbers.below(text.len() + 1);
        let end = (start + numbers.below(40)).min(text.len());
        let place = |byte: usize| {
            let before = &text[..byte];
            let line = before.iter().filter(|it| **it == b'\n').count();
            (line, byte - before.iter().rposition(|it| *it == b'\n').map_or(0, |at| at + 1))
        };
        let piece = numbers.pick(&pieces);
        client.change(&document, version, span(place(start), place(end)), piece);
        text.splice(start..end, piece.bytes());
    }
    let findings = client.findings(&document, 401).1;
    assert_eq!(client.stop(), 0);
    let text = String::from_utf8(text).expect("the source is ASCII");
    let mut fresh = Client::start(None, &capabilities("utf-16"));
    fresh.open(&document, &text);
    let expected = fresh.findings(&document, 1).1;
    assert!(!expected.is_empty());
    assert_eq!(findings, expected);
    assert_eq!(fresh.stop(), 0);
}

#[test]
fn edits_with_ranges_that_make_no_sense_never_end_the_server() {
    let mut client = client();
    let far = u32::MAX as usize;
    let mut version = 1;
    for range in [
        span((5, 0), (2, 0)),
        span((0, 4), (0, 1)),
        span((far, far), (far, far)),
        span((0, 0), (far, far)),
        span((1, far), (1, 0)),
        span((900, 3), (800, 2)),
    ] {
        version += 1;
        client.open(DISK, "COUNT\tEQU\t1\n\tdc.b\t'\u{1F4BE}'\n\trts\n");
        client.change(DISK, version, range, "x\n");
        // Inside a character of two units.
        client.change(DISK, version, span((1, 7), (1, 7)), "y");
        let answer = client.request("textDocument/hover", here(0, 2));
        assert!(answer.get("error").is_none(), "{answer}");
        // A whole text brings the document back in any case.
        client.change(DISK, version + 100, Value::Null, "COUNT\tEQU\t77\n");
        let answer = client.request("textDocument/hover", here(0, 2));
        assert!(answer.to_string().contains("constant: 77 "), "{answer}");
    }
    for change in [
        json!({}),
        json!({ "textDocument": { "uri": DISK, "version": "two" }, "contentChanges": [] }),
        json!({ "textDocument": { "uri": "no address", "version": 3 }, "contentChanges": [] }),
        json!({ "textDocument": { "uri": DISK, "version": 3 }, "contentChanges": [] }),
        Value::Null,
    ] {
        client.notify("textDocument/didChange", change);
    }
    for method in ["textDocument/didOpen", "textDocument/didClose", "workspace/didChangeWatchedFiles"] {
        client.notify(method, json!({ "textDocument": 5 }));
        client.notify(method, Value::Null);
    }
    let answer = client.request("textDocument/hover", here(0, 2));
    assert!(answer.to_string().contains("constant: 77 "), "{answer}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_change_whose_range_cannot_be_read_is_left_out_and_is_no_whole_text() {
    let mut client = client();
    for range in [
        json!({ "start": -1 }),
        json!({ "start": { "line": 0, "character": -1 }, "end": { "line": 0, "character": 0 } }),
        json!("here"),
        json!({}),
    ] {
        client.open(DISK, "COUNT\tEQU\t77\n");
        let params = json!({
            "textDocument": { "uri": DISK, "version": 2 },
            "contentChanges": [{ "range": range, "text": "COUNT\tEQU\t5\n" }],
        });
        client.notify("textDocument/didChange", params);
        let answer = client.request("textDocument/hover", here(0, 2));
        assert!(answer.to_string().contains("constant: 77 "), "{range}: {answer}");
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn findings_come_however_soon_after_the_start_a_document_is_opened() {
    // Several at a time, so that the server's own threads get their turn late.
    let servers = || {
        for _ in 0..30 {
            let mut client = client();
            client.open(DISK, "\tdc.b\t300\n");
            assert_eq!(client.findings(DISK, 1).1.len(), 1);
            assert_eq!(client.stop(), 0);
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..6 {
            scope.spawn(servers);
        }
    });
}
