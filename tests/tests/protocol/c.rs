//! C beside assembly over the protocol. The program is invented; that its compiler puts an underscore before names is common practice
//! (no source).

use reveille_tests::{Client, at, capabilities, edited};
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::{codes, hover_text, place, whole, write};

const START: &str = "LAMP\tEQU\t$40003\n\txref\t_main\n\txdef\t_send\nstart\tjsr\t_main\n\tbra\tstart\n_send\tmove.b\t5(sp),d0\n\trts\n";
const MAIN: &str = "#include \"port.h\"\n\nmain()\n{\n\tsend(LAMP);\n}\n";
const HEADER: &str = "#define LAMP\t0x40001\n";

struct Opened {
    client: Client,
    start: String,
    main: String,
    header: String,
    findings: Vec<Value>,
    _folder: TempDir,
}

fn opened() -> Opened {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let start = write(folder.path(), "a.s", START);
    let header = write(folder.path(), "port.h", HEADER);
    let main = write(folder.path(), "m.c", MAIN);
    let mut client = Client::start_with(Some(folder.path()), &capabilities("utf-16"), Value::Null);
    client.open(&main, MAIN);
    client.open(&header, HEADER);
    let published = client.settle();
    let findings = published.get(&header).map(|it| it.1.clone()).unwrap_or_default();
    Opened { client, start, main, header, findings, _folder: folder }
}

#[test]
fn names_lead_across_the_border() {
    let mut it = opened();
    let target = |client: &mut Client, uri: &str, text: &str, needle: &str| -> (String, Value) {
        let found = client.result("textDocument/definition", place(uri, &at(text, needle)));
        let found = if found.is_array() { found[0].clone() } else { found };
        let uri = found["uri"].as_str().or(found["targetUri"].as_str()).unwrap_or_default().to_owned();
        let range = if found["range"].is_null() { &found["targetRange"] } else { &found["range"] };
        (uri, range["start"]["line"].clone())
    };
    assert_eq!(target(&mut it.client, &it.main, MAIN, "send(LAMP"), (it.start.clone(), json!(5)));
    assert_eq!(target(&mut it.client, &it.main, MAIN, "LAMP);"), (it.header.clone(), json!(0)));
    assert_eq!(target(&mut it.client, &it.start, START, "_main\n\tbra"), (it.main.clone(), json!(2)));
    let mut asked = place(&it.main, &at(MAIN, "send(LAMP"));
    asked["context"] = json!({ "includeDeclaration": true });
    let found = it.client.result("textDocument/references", asked);
    assert_eq!(found.as_array().map(Vec::len), Some(3), "{found}");
    assert!(hover_text(&mut it.client, &it.main, &at(MAIN, "send(LAMP")).contains("in assembly `_send`"));
    assert!(hover_text(&mut it.client, &it.start, &at(START, "_main\n\tbra")).contains("in C"));
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn calls_and_a_new_name_cross_the_border() {
    let mut it = opened();
    let prepared =
        it.client.result("textDocument/prepareCallHierarchy", place(&it.main, &at(MAIN, "main()")))[0].clone();
    assert_eq!(prepared["name"], "main");
    let incoming = it.client.result("callHierarchy/incomingCalls", json!({ "item": prepared }));
    assert_eq!(incoming[0]["from"]["name"], "start");
    let outgoing = it.client.result("callHierarchy/outgoingCalls", json!({ "item": prepared }));
    assert_eq!(outgoing[0]["to"]["name"], "_send");
    let mut asked = place(&it.main, &at(MAIN, "send(LAMP"));
    asked["newName"] = json!("emit");
    let changes = it.client.result("textDocument/rename", asked)["changes"].clone();
    let text = |uri: &str, text: &str| edited(text, changes[uri].as_array().expect("edits"));
    assert_eq!(text(&it.main, MAIN), MAIN.replace("send", "emit"));
    assert_eq!(text(&it.start, START), START.replace("_send", "_emit"));
    let mut asked = place(&it.main, &at(MAIN, "send(LAMP"));
    asked["newName"] = json!("main");
    assert_eq!(it.client.request("textDocument/rename", asked)["error"]["code"], -32803);
    assert_eq!(it.client.stop(), 0);
}

#[test]
fn findings_and_structure_of_c_are_shown() {
    let mut it = opened();
    assert_eq!(codes(&it.findings), ["c-001"]);
    let range = json!({ "start": at(HEADER, "LAMP"), "end": at(HEADER, "LAMP") });
    let asked = json!({ "textDocument": { "uri": it.header }, "range": range, "context": { "diagnostics": [] } });
    let actions = it.client.result("textDocument/codeAction", asked);
    let edits = actions[0]["edit"]["changes"][&it.header].as_array().expect("edits").clone();
    assert_eq!(edited(HEADER, &edits), "#define LAMP\t0x40003\n");
    let symbols = it.client.result("textDocument/documentSymbol", whole(&it.main));
    assert_eq!(symbols[0]["name"], "main");
    let folds = it.client.result("textDocument/foldingRange", whole(&it.main));
    assert_eq!((&folds[0]["startLine"], &folds[0]["endLine"]), (&json!(2), &json!(5)));
    for (method, empty) in
        [("textDocument/formatting", json!([])), ("textDocument/semanticTokens/full", json!({ "data": [] }))]
    {
        let mut asked = whole(&it.header);
        asked["options"] = json!({ "tabSize": 8, "insertSpaces": false });
        assert_eq!(it.client.result(method, asked), empty, "{method}: a header of C is no assembly");
    }
    // An edit of C is seen from the assembly.
    it.client.change(&it.main, 2, json!({ "start": at(MAIN, "main()"), "end": at(MAIN, "()\n{") }), "begin");
    let found = it.client.result("textDocument/definition", place(&it.start, &at(START, "_main\n\tbra")));
    assert!(!found.to_string().contains("m.c"), "{found}");
    assert_eq!(it.client.stop(), 0);
}
