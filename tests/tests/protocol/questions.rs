//! What editors ask.

use reveille_tests::{Client, at, byte, capabilities, position, within};
use serde_json::{Value, json};

use crate::{DISK, TEXT, hover, hover_text, opened, place, whole, write};

#[test]
fn a_hover_tells_of_names_numbers_registers_and_operations() {
    let (mut client, findings) = opened(TEXT);
    assert_eq!(findings, Vec::<Value>::new());
    for (needle, range, parts) in [
        ("CYLS,d0", "CYLS", &["constant: 80 = $50", "cylinders"][..]),
        ("CYLS\tEQU", "CYLS", &["constant: 80"]),
        ("1000", "$1000", &["4096", "$1000"]),
        ("d0\thow", "d0", &["data register"]),
        ("move.w", "move.w", &["copy", "`303C 0050` at $001000", "**8 cycles**", "Flags: N by the result"]),
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
    let first = hover(&mut client, DISK, &at(TEXT, "disk driver"));
    assert!(first["contents"]["value"].as_str().unwrap_or_default().contains("Motorola syntax"), "{first}");
    assert!(hover(&mut client, DISK, &at(TEXT, "how many")).is_null(), "a comment has no hover");
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
    assert_eq!(legend["tokenModifiers"], json!(["definition", "inactive"]));
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
    assert!(has(&operands, "d0") && has(&operands, "d7"), "{operands:?}");
    let operands = complete(2, 8);
    for label in ["d0", "a7", "sp", "STEPS"] {
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
    let known: Vec<&str> = reveille_decoders::layouts().iter().map(|it| it.name.as_str()).collect();
    assert_eq!(layouts, known);
    assert!(known.contains(&"fat-block-19") && known.contains(&"word-block-18"));
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

#[test]
fn what_an_instruction_takes_and_costs_is_told_beside_and_above_it() {
    // Times: M68000 User's Manual, ninth edition, section 8 (the table's own tests hold every row against it).
    let text = "\torg\t$400\nmain\tbsr.s\tsend\n\tbra.s\tmain\nsend\tmove.b\td0,$F00007\n\trts\n";
    let start = |options: Value| {
        let mut client = Client::start_with(None, &capabilities("utf-16"), options);
        client.open(DISK, text);
        client.findings(DISK, 1);
        client
    };
    let mut client = start(json!({"clock": 8_000_000, "hints": {"addresses": true, "cycles": true}}));
    let found = client.result("textDocument/signatureHelp", place(DISK, &at(text, "$F00007")));
    let labels: Vec<&str> =
        found["signatures"].as_array().unwrap().iter().filter_map(|it| it["label"].as_str()).collect();
    let active = found["activeSignature"].as_u64().unwrap() as usize;
    assert_eq!((labels[active], found["activeParameter"].as_u64()), ("move.bwl <ea>,<ea>", Some(1)), "{found}");
    let whole_range = json!({"start": {"line": 0, "character": 0}, "end": {"line": 9, "character": 0}});
    let ask = json!({"textDocument": {"uri": DISK}, "range": whole_range});
    let hints = client.result("textDocument/inlayHint", ask.clone());
    let shown: Vec<&str> = hints.as_array().unwrap().iter().filter_map(|it| it["label"].as_str()).collect();
    assert_eq!(shown, ["$000400, 18 cycles", "$000402, 10 cycles", "$000404, 16 cycles", "$00040A, 16 cycles"]);
    let lenses = client.result("textDocument/codeLens", whole(DISK));
    let titles: Vec<&str> =
        lenses.as_array().unwrap().iter().filter_map(|it| it["command"]["title"].as_str()).collect();
    assert_eq!(titles, ["8 bytes, 32 cycles, 4.0 us: each of 2 instructions once"]);
    assert!(hover_text(&mut client, DISK, &at(text, "rts")).contains("2.00 us"));
    // Settings may change at any time.
    client.notify("workspace/didChangeConfiguration", json!({"settings": {"reveille": {"cpu": "68008"}}}));
    let mut hints = json!(null);
    for _ in 0..100 {
        hints = client.result("textDocument/inlayHint", ask.clone());
        if hints == json!([]) {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert_eq!(hints, json!([]), "hints are off unless they are wanted");
    // RTS on a bus of 8 bits: 4 words are 8 cycles of the bus (reference of the timing table's tests).
    assert!(hover_text(&mut client, DISK, &at(text, "rts")).contains("**32 cycles** on the 68008"));
    assert_eq!(client.stop(), 0);
}

#[test]
fn names_with_values_from_the_client_read_the_other_branch() {
    let text = "* clock\n\tifd\tFAST\n\tbad\td0\n\telse\n\tnop\n\tendc\n\trts\n";
    let mut client = Client::start(None, &capabilities("utf-16"));
    client.open(DISK, text);
    let codes =
        |found: &[Value]| found.iter().filter_map(|it| it["code"].as_str().map(str::to_owned)).collect::<Vec<_>>();
    let (_, found) = client.findings(DISK, 1);
    assert_eq!(codes(&found), Vec::<String>::new());
    client.notify("workspace/didChangeConfiguration", json!({"settings": {"reveille": {"defines": {"FAST": 1}}}}));
    let told = client.wait(|it| {
        it["method"] == "textDocument/publishDiagnostics"
            && it["params"]["diagnostics"].as_array().is_some_and(|it| !it.is_empty())
    });
    let found = told.1["params"]["diagnostics"].as_array().cloned().unwrap_or_default();
    assert_eq!(codes(&found), ["name-004"]);
    assert_eq!(client.stop(), 0);
}

#[test]
fn the_dialect_of_a_file_can_be_asked_for() {
    let mut client = Client::start(None, &capabilities("utf-16"));
    client.open(DISK, "| clock\n\t.text\nstart:\tmovel\td0,sp@-\n\trts\n");
    let found = client.result("reveille/dialect", whole(DISK));
    assert_eq!((&found["name"], &found["title"]), (&json!("mit"), &json!("MIT syntax")));
    assert!(found["reason"].as_str().is_some_and(|it| it.contains("signs")), "{found}");
    let unknown = client.result("reveille/dialect", whole("file:///nowhere.s"));
    assert_eq!(unknown, json!(null));
    assert_eq!(client.stop(), 0);
}
