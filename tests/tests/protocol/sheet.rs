//! The bring-up sheet over the protocol: what leads to it, the request of our own for it, and its facts among the workspace's symbols.

use reveille_tests::{Client, capabilities, tests_folder};
use serde_json::{Value, json};

use crate::whole;

#[test]
fn the_label_of_power_on_leads_to_the_sheet_and_its_facts_are_found_by_their_words() {
    let folder = tests_folder().join("demo/skerry");
    let mut client = Client::start_with(Some(&folder), &capabilities("utf-16"), Value::Null);
    let path = folder.join("boot.s");
    let uri = format!("file://{}", path.display());
    client.open(&uri, &std::fs::read_to_string(&path).expect("the demo is there"));
    client.settle();
    let lenses = client.result("textDocument/codeLens", whole(&uri));
    let lens = lenses.as_array().expect("a list").iter().find(|it| it["command"]["command"] == "reveille.sheet");
    let lens = lens.expect("a lens that opens the sheet");
    assert_eq!((&lens["command"]["arguments"], &lens["range"]["start"]["line"]), (&json!([uri]), &json!(26)));

    let asked = |format: &str| json!({ "textDocument": { "uri": uri }, "format": format });
    let page = client.result("reveille/sheet", asked("html"));
    assert!(page["text"].as_str().is_some_and(|it| it.starts_with("<!doctype html>") && it.contains("SURVEY.ABS")));
    let text = client.result("reveille/sheet", asked("markdown"));
    assert!(text["text"].as_str().is_some_and(|it| it.contains("It starts at `start`: vector 1")));
    let unknown = json!({ "textDocument": { "uri": "file:///nowhere/none.s" } });
    assert_eq!(client.result("reveille/sheet", unknown), Value::Null);

    for (query, name, file) in [
        ("boot file", "boot file SKERRY.SYS", "load.s"),
        ("command fetch", "command fetch", "monitor.s"),
        ("message E6", "message E6 no SKERRY.SYS on disk", "boot.s"),
        ("serial line", "serial line console: 9600 8N1", "boot.s"),
        ("power-on", "power-on: start", "boot.s"),
    ] {
        let found = client.result("workspace/symbol", json!({ "query": query }));
        let own = found.as_array().expect("a list").iter().find(|it| it["name"] == name);
        let own = own.unwrap_or_else(|| panic!("{query}: {found}"));
        assert_eq!(own["containerName"], file);
    }
    assert_eq!(client.stop(), 0);
}
