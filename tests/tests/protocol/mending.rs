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

/// The changes of a kind that are offered at a place.
fn offered(client: &mut Client, line: u32, only: &Value) -> Vec<Value> {
    let mut context = json!({ "diagnostics": [] });
    if !only.is_null() {
        context["only"] = only.clone();
    }
    let place = json!({ "line": line, "character": 10 });
    let params =
        json!({ "textDocument": { "uri": DISK }, "range": { "start": place, "end": place }, "context": context });
    client.result("textDocument/codeAction", params).as_array().expect("a list").clone()
}

/// 720 KiB and 1440 KiB: Microsoft Knowledge Base Q75131.
#[test]
fn a_block_is_offered_the_values_of_other_formats_and_its_table_more_entries() {
    let text = "*\tdisk formats\r\nship_bpb\r\n\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$a0,$05,$f9,$03,$00,$09,$00,$02,$00,$00,$00\t720 K\r\n\teven\r\n\trts\r\n";
    let (mut client, findings) = opened(text);
    assert_eq!(findings, Vec::<Value>::new());
    let all = offered(&mut client, 2, &Value::Null);
    let after = |name: &str| {
        let own: Vec<&Value> =
            all.iter().filter(|it| it["title"].as_str().is_some_and(|it| it.starts_with(name))).collect();
        let [action] = own[..] else { panic!("one `{name}` of {all:?}") };
        assert_eq!(action["kind"], "refactor.rewrite");
        assert!(action["isPreferred"].as_bool() != Some(true), "nobody wants a table rewritten by the way: {action}");
        edited(text, action["edit"]["changes"][DISK].as_array().expect("the change is in the document"))
    };
    let large = "$00,$02,$01,$01,$00,$02,$e0,$00,$40,$0b,$f0,$09,$00,$12,$00,$02,$00,$00,$00";
    let small = "$00,$02,$02,$01,$00,$02,$70,$00,$a0,$05,$f9,$03,$00,$09,$00,$02,$00,$00,$00";
    assert_eq!(after("Convert `ship_bpb` to 1.44 MB ("), text.replace(small, large));
    let added = after("Add a block for 1.44 MB (");
    assert_eq!(added, text.replace("720 K\r\n", &format!("720 K\r\n\tdc.b\t{large}\t1.44 MB\r\n")));
    let (fresh, findings) = opened(&added);
    assert_eq!(findings, Vec::<Value>::new());
    assert_eq!((client.stop(), fresh.stop()), (0, 0));
}

#[test]
fn rewrites_are_offered_at_blocks_alone_and_only_where_they_are_asked_for() {
    let text = "*\tdisk formats\nship_bpb\n\tdc.b\t0,2,2,1,0,2,112,0,$A0,5,$E9,3,0,9,0,2,0,0,0\n\teven\nstart\trts\n";
    let (mut client, findings) = opened(text);
    assert_eq!(codes(&findings), ["fat-026"]);
    let kinds = |found: &[Value]| {
        let mut kinds: Vec<String> =
            found.iter().map(|it| it["kind"].as_str().expect("a change has a kind").to_owned()).collect();
        kinds.dedup();
        kinds
    };
    for only in [json!(["refactor"]), json!(["refactor.rewrite"]), json!(["source", "refactor"])] {
        assert_eq!(kinds(&offered(&mut client, 2, &only)), ["refactor.rewrite"], "{only}");
    }
    for only in [json!(["refactor.extract"]), json!(["refactor.rewrite.more"]), json!(["ref"]), json!([])] {
        assert_eq!(offered(&mut client, 2, &only), Vec::<Value>::new(), "{only}");
    }
    assert_eq!(offered(&mut client, 4, &json!(["refactor"])), Vec::<Value>::new(), "code is no block");
    // The finding's own change is asked for where the finding is.
    let at = &findings[0]["range"];
    let ask = |only: Value| json!({ "textDocument": { "uri": DISK }, "range": at, "context": { "diagnostics": [], "only": only } });
    let found = client.result("textDocument/codeAction", ask(json!(["quickfix"])));
    assert_eq!(kinds(found.as_array().expect("a list")), ["quickfix"]);
    let found = client.result("textDocument/codeAction", ask(json!(["quickfix", "refactor"])));
    assert_eq!(kinds(found.as_array().expect("a list")), ["quickfix", "refactor.rewrite"]);
    assert_eq!(client.stop(), 0);
}
