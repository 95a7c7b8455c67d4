//! Monitor sessions over the protocol. The block is the 720 KiB format of Microsoft Knowledge Base Q75131; all else is invented.

use std::path::PathBuf;

use reveille_tests::{Client, at, capabilities, edited, tests_folder, within};
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::{codes, hover_text, place, whole, write};

const SOURCE: &str = "BUF\tEQU\t$90000\t\twhere a sector goes\nSPT\tEQU\t9\n\tORG\t$400\nstart\tMOVEQ\t#SPT,D0\n\tRTS\n* disk formats\nformats\n\tDC.B\t0,2,2,1,0,2,112,0,$A0,5,$F9,3,0,9,0,2,0,0,0\nformats_end\n\tEVEN\n";

const MACHINE: &str = r#"[machine.m]
[[machine.m.memory]]
name = "rom"
from = 0
size = "64k"
kind = "rom"
[[machine.m.memory]]
name = "ram"
from = "$10000"
size = "1m"
kind = "ram"
[machine.m.monitor]
prompt = '\* $'
[machine.m.monitor.dump]
send = "list {from:x} {bytes:x}"
reply = '^(?<bytes>(?:[0-9A-F]{2} ?)+)'
[machine.m.monitor.write-sector]
send = "put {sector:x} {from:x}"
"#;

const SCRIPT: &str = "machine m\nconsole 9600 8n1\ninclude \"more.session\"\n\nstage \"Formats \u{1F4BE}\"\n  dump formats .. formats_end as table\n  check table.sectors_per_track == SPT\n  if table[0] == 0\n    keep table in \"table.bin\"\n  end\n";

struct Opened {
    client: Client,
    script: String,
    source: String,
    machine: String,
    more: String,
    findings: Vec<Value>,
    _folder: TempDir,
}

fn opened_with(text: &str, options: Value, offer: &Value) -> Opened {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = write(folder.path(), "a.s", SOURCE);
    let machine = write(folder.path(), "reveille.toml", MACHINE);
    let more = write(folder.path(), "more.session", "dump start +: 4 as first\n");
    let script = write(folder.path(), "x.session", text);
    let mut client = Client::start_with(Some(folder.path()), offer, options);
    client.open(&script, text);
    let published = client.settle();
    let findings = published.get(&script).map(|it| it.1.clone()).unwrap_or_default();
    Opened { client, script, source, machine, more, findings, _folder: folder }
}

fn opened(text: &str) -> Opened {
    opened_with(text, Value::Null, &capabilities("utf-16"))
}

/// The lines of a list of places, each with the last part of its file's name.
fn lines(places: &Value) -> Vec<String> {
    let places = places.as_array().expect("a list of places");
    let shown = |it: &Value| {
        let name = it["uri"].as_str().and_then(|it| it.rsplit('/').next()).unwrap_or_default().to_owned();
        format!("{name}:{}", it["range"]["start"]["line"])
    };
    places.iter().map(shown).collect()
}

#[test]
fn a_hover_tells_of_names_verbs_and_fields() {
    let mut it = opened(SCRIPT);
    assert_eq!(it.findings, [Value::Null; 0]);
    for (needle, part) in [
        ("SPT\n", "constant: 9"),
        ("formats ..", "the range: $000404 to $000416, 19 bytes, in `rom` (ROM)"),
        ("dump formats", "list 404 13"),
        ("sectors_per_track", "by the source: 9"),
        ("table[0]", "bound by `dump` at x.session:6"),
        ("console", "`9600 8n1`"),
    ] {
        let shown = hover_text(&mut it.client, &it.script, &at(SCRIPT, needle));
        assert!(shown.contains(part), "{needle}: {shown}");
    }
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn completion_follows_what_is_typed() {
    let mut it = opened(SCRIPT);
    let end = at(SCRIPT, "  if table");
    it.client.change(&it.script, 2, json!({ "start": end, "end": end }), "  check table.\n  dump formats .. BU\n");
    let labels = |client: &mut Client, line: u32, character: u32, trigger: Value| -> Vec<String> {
        let mut asked = place(&it.script, &json!({ "line": line, "character": character }));
        if !trigger.is_null() {
            asked["context"] = json!({ "triggerKind": 2, "triggerCharacter": trigger });
        }
        let found = client.result("textDocument/completion", asked);
        let items = found["items"].as_array().cloned().unwrap_or_default();
        items.iter().map(|it| it["label"].as_str().unwrap_or_default().to_owned()).collect()
    };
    assert!(labels(&mut it.client, 7, 14, json!(".")).contains(&"sectors_per_track".to_owned()));
    let values = labels(&mut it.client, 8, 20, Value::Null);
    assert!(values.contains(&"BUF".to_owned()) && !values.contains(&"SPT".to_owned()), "{values:?}");
    assert!(labels(&mut it.client, 8, 2, Value::Null).contains(&"dump".to_owned()));
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn definitions_and_uses_lead_from_and_to_scripts() {
    let mut it = opened(SCRIPT);
    for (needle, line) in [
        ("SPT\n", "a.s:1"),
        ("table.sectors", "x.session:5"),
        ("m\nconsole", "reveille.toml:0"),
        ("more.session", "more.session:0"),
        ("dump formats", "reveille.toml:13"),
    ] {
        let found = it.client.result("textDocument/definition", place(&it.script, &at(SCRIPT, needle)));
        assert_eq!(lines(&found), [line], "{needle}");
    }
    let mut asked = place(&it.source, &at(SOURCE, "SPT,D0"));
    asked["context"] = json!({ "includeDeclaration": true });
    assert_eq!(lines(&it.client.result("textDocument/references", asked)), ["a.s:1", "a.s:3", "x.session:6"]);
    let mut asked = place(&it.script, &at(SCRIPT, "table.sectors"));
    asked["context"] = json!({ "includeDeclaration": false });
    let found = it.client.result("textDocument/references", asked.clone());
    assert_eq!(lines(&found), ["x.session:6", "x.session:7", "x.session:8"]);
    let found = it.client.result("textDocument/documentHighlight", asked);
    let kinds: Vec<_> = found.as_array().expect("a list").iter().map(|it| it["kind"].as_u64()).collect();
    // Write and read: LSP 3.17, DocumentHighlightKind.
    assert_eq!(kinds, [Some(3), Some(2), Some(2), Some(2)]);
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn a_rename_changes_source_and_script_and_refuses_what_a_script_has() {
    let mut it = opened(SCRIPT);
    let mut asked = place(&it.source, &at(SOURCE, "SPT,D0"));
    asked["newName"] = json!("ON_TRACK");
    let edit = it.client.result("textDocument/rename", asked.clone());
    let changed = |uri: &str, text: &str| edited(text, edit["changes"][uri].as_array().expect("edits"));
    assert_eq!(changed(&it.script, SCRIPT), SCRIPT.replace("SPT", "ON_TRACK"));
    assert_eq!(changed(&it.source, SOURCE), SOURCE.replace("SPT", "ON_TRACK"));
    asked["newName"] = json!("table");
    let answer = it.client.request("textDocument/rename", asked);
    assert_eq!(answer["error"]["message"], "`table` is already used at x.session:6", "{answer}");
    let place = place(&it.script, &at(SCRIPT, "table.sectors"));
    let found = it.client.result("textDocument/prepareRename", place);
    assert_eq!(within(SCRIPT, &found["range"]), "table");
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn the_structure_of_a_script_is_told() {
    let mut it = opened(SCRIPT);
    let found = it.client.result("textDocument/documentSymbol", whole(&it.script));
    assert_eq!(found[3]["name"], "Formats \u{1F4BE}");
    let steps: Vec<_> = found[3]["children"].as_array().expect("steps").iter().map(|it| it["name"].as_str()).collect();
    assert_eq!(steps[2], Some("if table[0] == 0"));
    assert_eq!(found[3]["range"]["end"], json!({ "line": 9, "character": 5 }));
    let found = it.client.result("textDocument/foldingRange", whole(&it.script));
    let folds: Vec<_> = found.as_array().expect("folds").iter().map(|it| (&it["startLine"], &it["endLine"])).collect();
    assert_eq!(folds, [(&json!(4), &json!(9)), (&json!(7), &json!(9))]);
    let asked = json!({ "textDocument": { "uri": it.script }, "positions": [at(SCRIPT, "SPT\n")] });
    let found = it.client.result("textDocument/selectionRange", asked);
    assert_eq!(within(SCRIPT, &found[0]["range"]), "SPT");
    assert_eq!(within(SCRIPT, &found[0]["parent"]["range"]), "table.sectors_per_track == SPT");
    let found = it.client.result("textDocument/documentLink", whole(&it.script));
    assert_eq!(found.as_array().map(Vec::len), Some(1));
    assert_eq!((within(SCRIPT, &found[0]["range"]), &found[0]["target"]), ("more.session", &json!(it.more)));
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn hints_and_lenses_tell_addresses_and_times() {
    let everything = json!({ "textDocument": {}, "range": { "start": { "line": 0, "character": 0 }, "end": { "line": 99, "character": 0 } } });
    for (wanted, texts) in [(true, &["$000404", "$000417", "$000404 to $000416", "= 9"][..]), (false, &[][..])] {
        let options = json!({ "hints": { "addresses": wanted } });
        let mut it = opened_with(SCRIPT, options, &capabilities("utf-16"));
        let mut asked = everything.clone();
        asked["textDocument"]["uri"] = json!(it.script);
        let found = it.client.result("textDocument/inlayHint", asked);
        let shown: Vec<_> = found.as_array().expect("hints").iter().filter_map(|it| it["label"].as_str()).collect();
        assert_eq!(shown, texts);
        let found = it.client.result("textDocument/codeLens", whole(&it.script));
        let first = &found[0]["command"];
        assert!(
            first["title"].as_str().is_some_and(|it| it.starts_with("rehearse: ") && it.ends_with(" at 9600 bit/s")),
            "{first}"
        );
        assert_eq!((&first["command"], &first["arguments"]), (&json!("reveille.rehearse"), &json!([it.script])));
        assert_eq!(found[1]["range"]["start"]["line"], 4);
        assert_eq!(found[1]["command"]["command"], "");
        assert_eq!(it.client.stop(), 0);
    }
}

#[test]
fn a_script_is_laid_out_whole_in_part_and_as_it_is_typed() {
    let text = SCRIPT.replace("  dump", "dump  ").replace("    keep", "\tkeep ");
    let mut it = opened(&text);
    let options = json!({ "tabSize": 8, "insertSpaces": false });
    let asked = json!({ "textDocument": { "uri": it.script }, "options": options });
    let found = it.client.result("textDocument/formatting", asked.clone());
    assert_eq!(edited(&text, found.as_array().expect("edits")), SCRIPT);
    let mut part = asked.clone();
    part["range"] = json!({ "start": { "line": 8, "character": 0 }, "end": { "line": 9, "character": 0 } });
    let found = it.client.result("textDocument/rangeFormatting", part);
    assert_eq!(edited(&text, found.as_array().expect("edits")), SCRIPT.replace("  dump", "dump  "));
    let mut typed = asked;
    typed["position"] = json!({ "line": 6, "character": 0 });
    typed["ch"] = json!("\n");
    let found = it.client.result("textDocument/onTypeFormatting", typed);
    assert_eq!(edited(&text, found.as_array().expect("edits")), text.replace("dump  ", "  dump"));
    // The machine file is laid out by nobody.
    let asked = json!({ "textDocument": { "uri": it.machine }, "options": options });
    assert_eq!(it.client.result("textDocument/formatting", asked), Value::Null);
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn the_words_of_a_script_are_told() {
    let mut it = opened(SCRIPT);
    let legend = it.client.capabilities["semanticTokensProvider"]["legend"]["tokenTypes"].clone();
    let found = it.client.result("textDocument/semanticTokens/full", whole(&it.script));
    let numbers: Vec<u64> = found["data"].as_array().expect("numbers").iter().filter_map(Value::as_u64).collect();
    let (mut line, mut start) = (0, 0);
    let mut shown = Vec::new();
    for token in numbers.chunks_exact(5) {
        start = if token[0] == 0 { start + token[1] } else { token[1] };
        line += token[0];
        let range = json!({ "start": { "line": line, "character": start }, "end": { "line": line, "character": start + token[2] } });
        let kind = legend[usize::try_from(token[3]).expect("a small number")].as_str().unwrap_or_default().to_owned();
        shown.push((within(SCRIPT, &range).to_owned(), kind));
    }
    for (word, kind) in [
        ("machine", "keyword"),
        ("formats", "function"),
        ("..", "operator"),
        ("table", "variable"),
        ("sectors_per_track", "property"),
        ("SPT", "enumMember"),
        ("\"Formats \u{1F4BE}\"", "string"),
    ] {
        assert!(shown.contains(&(word.to_owned(), kind.to_owned())), "{word}: {shown:?}");
    }
    assert_eq!(it.client.stop(), 0);
}

/// The script after the preferred change for a finding, and the codes that are found then.
fn mended(text: &str, code: &str) -> (String, Vec<String>) {
    let mut it = opened(text);
    let finding =
        it.findings.iter().find(|it| it["code"] == code).unwrap_or_else(|| panic!("{code}: {:?}", it.findings));
    let asked = json!({ "textDocument": { "uri": it.script }, "range": finding["range"], "context": { "diagnostics": [finding] } });
    let actions = it.client.result("textDocument/codeAction", asked);
    let action = actions.as_array().expect("a list").iter().find(|it| it["diagnostics"][0]["code"] == code);
    let action = action.unwrap_or_else(|| panic!("{code}: {actions}"));
    let after = edited(text, action["edit"]["changes"][&it.script].as_array().expect("the change is in the script"));
    assert_eq!(it.client.stop(), 0);
    let again = opened(&after);
    let left = codes(&again.findings).into_iter().map(str::to_owned).collect();
    assert_eq!(again.client.stop(), 0);
    (after, left)
}

#[test]
fn changes_mend_the_findings_of_scripts() {
    const HEAD: &str = "machine m\nconsole 9600 8n1\n";
    for (code, text, after) in [
        ("session-004", "dump formatz .. formats_end\n", "dump formats .. formats_end\n"),
        ("session-001", "dmp formats .. formats_end\n", "dump formats .. formats_end\n"),
    ] {
        assert_eq!(mended(&format!("{HEAD}{text}"), code), (format!("{HEAD}{after}"), Vec::new()), "{code}");
    }
    let (after, left) = mended(&format!("{HEAD}write sector 0 of drive 0 from BUF\n"), "session-020");
    assert!(after.contains("confirm \""), "{after}");
    assert!(!left.contains(&"session-020".to_owned()), "{left:?}");
    // A range over the border of two regions becomes two.
    let (after, left) = mended(&format!("{HEAD}dump $FF00 .. $10100\n"), "session-006");
    assert_eq!(after.matches("dump ").count(), 2, "{after}");
    assert_eq!(left, [""; 0]);
}

#[test]
fn the_demo_s_scripts_have_no_findings_and_tell_their_times() {
    let folder: PathBuf = tests_folder().join("demo/skerry");
    let mut client = Client::start(Some(&folder), &capabilities("utf-16"));
    for name in ["boot-sector", "first-start", "wrong-disk"] {
        let path = folder.join(format!("{name}.session"));
        let text = std::fs::read_to_string(&path).expect("the demo is there");
        let uri = reveille_tests::uri(&path);
        client.open(&uri, &text);
        assert_eq!(client.findings(&uri, 1).1, [Value::Null; 0], "{name}");
        let found = client.result("textDocument/codeLens", whole(&uri));
        assert!(
            found[0]["command"]["title"].as_str().is_some_and(|it| it.ends_with(" at 9600 bit/s")),
            "{name}: {found}"
        );
        let asked = json!({ "textDocument": { "uri": uri }, "options": { "tabSize": 8, "insertSpaces": false } });
        assert_eq!(
            client.result("textDocument/formatting", asked),
            json!([]),
            "{name} is laid out as the language says"
        );
        let shown = hover_text(&mut client, &uri, &at(&text, "source"));
        assert!(shown.contains("the firmware sets it to 9600 8N1"), "{name}: {shown}");
    }
    // Other settings than the firmware's: the change takes these.
    let path = folder.join("boot-sector.session");
    let text = std::fs::read_to_string(&path).expect("the demo is there");
    let (uri, other) = (reveille_tests::uri(&path), text.replace("console from source", "console 1200 8n1"));
    client.change(&uri, 2, Value::Null, &other);
    let findings = client.findings(&uri, 2).1;
    assert!(codes(&findings).contains(&"session-016"), "{findings:?}");
    let asked =
        json!({ "textDocument": { "uri": uri }, "range": findings[0]["range"], "context": { "diagnostics": [] } });
    let actions = client.result("textDocument/codeAction", asked);
    let edits = actions[0]["edit"]["changes"][&uri].as_array().expect("edits");
    assert_eq!(edited(&other, edits), text);
    assert_eq!(client.stop(), 0);
}
