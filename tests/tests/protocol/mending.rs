//! Changes that mend findings.

use reveille_tests::{Client, capabilities, edited};
use serde_json::{Value, json};

use crate::{DISK, codes, hover_text, opened};

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
