//! What no source should be: each file is told of or left alone, and nothing ends the program but its work.

use std::path::Path;

use proptest::prelude::*;
use reveille_tests::{Client, Output, capabilities, run, uri};
use serde_json::{Value, json};

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

fn write(folder: &Path, name: &str, bytes: impl AsRef<[u8]>) {
    std::fs::write(folder.join(name), bytes).expect("the folder can be written to");
}

/// Runs a command that may find whatever it finds, but has to end as commands do.
fn survives(folder: &Path, arguments: &[&str]) -> Output {
    let output = run(folder, arguments);
    assert!(matches!(output.code, 0..=2), "{arguments:?}: {}: {}", output.code, output.err);
    assert!(!output.err.contains("panicked"), "{arguments:?}: {}", output.err);
    output
}

/// Runs every command over a file in every form, and the server over its text; gives the codes of its findings.
fn codes_of(name: &str, bytes: impl AsRef<[u8]>) -> Vec<String> {
    let folder = folder();
    write(folder.path(), name, bytes.as_ref());
    let codes = codes_in(folder.path(), name);
    if let Ok(text) = std::str::from_utf8(bytes.as_ref()) {
        serves(text);
    }
    codes
}

fn codes_in(folder: &Path, name: &str) -> Vec<String> {
    for format in ["text", "sarif"] {
        survives(folder, &["lint", "--format", format, name]);
    }
    for format in ["markdown", "json"] {
        survives(folder, &["sheet", "--format", format, "."]);
    }
    let output = survives(folder, &["lint", "--format", "json", name]);
    let code = |line: &str| -> Option<String> {
        serde_json::from_str::<Value>(line).ok()?["finding"].as_str().map(str::to_owned)
    };
    output.out.lines().map(|line| code(line).unwrap_or_else(|| panic!("{name}: no finding: {line}"))).collect()
}

/// Opens a text and asks everything of it, at its beginning, middle and end.
fn serves(text: &str) {
    let mut client = Client::start(None, &capabilities("utf-8"));
    let document = "untitled:bad.s";
    client.open(document, text);
    let _ = client.findings(document, 1);
    let own = json!({ "textDocument": { "uri": document } });
    let lines = text.lines().count();
    for (line, character) in [(0, 0), (0, 9), (lines / 2, 12), (lines, 0), (0, 60_000)] {
        let here = json!({ "line": line, "character": character });
        let mut at = own.clone();
        at["position"] = here.clone();
        at["context"] = json!({ "includeDeclaration": true, "triggerKind": 1 });
        for method in
            ["textDocument/hover", "textDocument/definition", "textDocument/references", "textDocument/completion"]
        {
            client.result(method, at.clone());
        }
        let mut params = own.clone();
        params["positions"] = json!([here]);
        client.result("textDocument/selectionRange", params);
        let mut params = own.clone();
        params["range"] = json!({ "start": here, "end": here });
        params["context"] = json!({ "diagnostics": [] });
        client.result("textDocument/codeAction", params.clone());
        client.result("textDocument/semanticTokens/range", params);
    }
    client.result("textDocument/documentSymbol", own.clone());
    client.result("textDocument/semanticTokens/full", own);
    client.result("workspace/symbol", json!({ "query": "a" }));
    let start = json!({ "line": 0, "character": 0 });
    client.change(document, 2, json!({ "start": start, "end": start }), "\t");
    let _ = client.findings(document, 2);
    assert_eq!(client.stop(), 0);
}

#[test]
fn what_cannot_be_read_is_named_and_a_folder_s_other_files_are_read() {
    let folder = folder();
    std::fs::create_dir(folder.path().join("x.s")).expect("a folder is made");
    let output = survives(folder.path(), &["lint", "x.s"]);
    assert_eq!(output.code, 2, "a folder named as a source has no source in it");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("nowhere.s", folder.path().join("dangling.s")).expect("a link is made");
        std::os::unix::fs::symlink(".", folder.path().join("loop")).expect("a link is made");
        let output = survives(folder.path(), &["lint", "dangling.s"]);
        assert_eq!(output.code, 2);
        assert!(output.err.contains("dangling.s"), "{}", output.err);
    }
    write(folder.path(), "a.s", "\tinclude\tx.s\n\tinclude\tdangling.s\n\tdc.b\t300\n");
    let output = survives(folder.path(), &["lint", "--format", "json", "."]);
    assert_eq!(output.out.matches("include-001").count(), 2, "{}", output.out);
    assert!(output.out.contains("value-007"));
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    let found = client.settle();
    let own = &found[&uri(&folder.path().join("a.s"))].1;
    assert_eq!(own.iter().filter(|it| it["code"] == "include-001").count(), 2, "{own:?}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn latin_1_is_read_one_to_one_and_told_of() {
    assert_eq!(codes_of("a.s", b"text\tdc.b\t'\xFCber \xB0C',300\t\xE4\n"), ["source-007", "value-007"]);
    let folder = folder();
    // As an included file, and through the server.
    write(folder.path(), "a.s", "\tinclude\tb.i\n\tdc.b\tWID\n");
    write(folder.path(), "b.i", b"WID\tEQU\t300\t\xFC\n");
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    let found: Vec<&Value> = client.settle().values().flat_map(|it| &it.1).collect();
    assert_eq!(found.len(), 2, "{found:?}");
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_binary_file_is_told_of_once_and_not_read() {
    let bytes: Vec<u8> = (0..4096_u32).map(|at| (at.wrapping_mul(at) >> 3) as u8).collect();
    assert_eq!(codes_of("a.s", &bytes), ["source-008"]);
    // Of an ending that others use too it is no source at all.
    assert_eq!(codes_of("a.i", &bytes), Vec::<String>::new());
    let folder = folder();
    write(folder.path(), "main.s", "\tinclude\trom.s\n\trts\n");
    write(folder.path(), "rom.s", &bytes);
    let mut codes = codes_in(folder.path(), "main.s");
    codes.sort();
    assert_eq!(codes, ["source-008"]);
}

#[test]
fn a_file_of_50_megabytes_is_read_to_its_end() {
    let folder = folder();
    let line = "label\tmove.w\t#$1234,d0\ta line like many others in this file\n";
    let mut text = line.replacen("label", "     ", 1).repeat((50 << 20) / line.len());
    text.push_str("\tdc.b\t300\n");
    write(folder.path(), "a.s", &text);
    let output = survives(folder.path(), &["lint", "--format", "json", "a.s"]);
    assert_eq!(output.out.lines().count(), 1, "{}", output.out);
    assert!(output.out.contains("value-007"));
}

#[test]
fn includes_in_a_ring_and_missing_ones_are_told_of() {
    let folder = folder();
    write(folder.path(), "a.s", "\tinclude\ta.s\n");
    assert_eq!(codes_in(folder.path(), "a.s"), ["include-002"]);
    write(folder.path(), "b.s", "\tinclude\tc.i\n");
    write(folder.path(), "c.i", "\tinclude\td.i\n");
    write(folder.path(), "d.i", "\tinclude\tb.s\n\tinclude\tc.i\n");
    let codes = codes_in(folder.path(), "b.s");
    assert_eq!(codes, ["include-002", "include-002"]);
    let missing =
        "\tinclude\tnot there.i\n\tinclude\t\n\tinclude\t\"\"\n\tinclude\t..\n\tinclude\t/\n\tinclude\t\u{1F4BE}\n";
    let codes = codes_of("m.s", missing);
    assert!(codes.len() >= 4 && codes.iter().all(|it| it == "include-001" || it == "layout-003"), "{codes:?}");
}

#[test]
fn a_file_that_is_included_a_thousand_times_is_read_each_time() {
    // Each file takes in the next twice: 2 to the power of 10.
    let folder = folder();
    for at in 0..10 {
        write(folder.path(), &format!("n{at}.s"), format!("\tinclude\tn{}.s\n", at + 1).repeat(2));
    }
    write(folder.path(), "n10.s", "N\tSET\tN+1\n");
    write(folder.path(), "main.s", "N\tSET\t0\n\tinclude\tn0.s\nALL\tEQU\tN\n\tdc.b\tALL-1024+256\n");
    assert_eq!(codes_in(folder.path(), "main.s"), ["value-007"]);
}

#[test]
fn values_that_have_none_are_told_of() {
    for (text, codes) in [
        ("A\tEQU\t1/0\n", &["value-001"][..]),
        ("A\tEQU\t1//0\n\tdc.b\t5/(3-3)\n", &["value-001"]),
        ("A\tEQU\tA\n", &["name-003"]),
        ("A\tEQU\tB\nB\tEQU\tC+1\nC\tEQU\tA\n", &["name-003"]),
        ("\tds.b\t-1\n", &["layout-002"]),
        ("\tds.l\t$7FFFFFFF\n", &["layout-002"]),
        ("\tdcb.b\t$FFFFFFFF,1\n", &["layout-002"]),
        ("\torg\t-1\n\tdc.b\t1\n", &[]),
        ("A\tEQU\t$80000000/-1\n", &[]),
        ("A\tEQU\t1<<99\nB\tEQU\t1<<-1\nC\tEQU\t-1>>200\n", &[]),
        ("A\tEQU\t$FFFFFFFF*$FFFFFFFF*$FFFFFFFF\n", &[]),
    ] {
        let found = codes_of("a.s", text);
        for code in codes {
            assert!(found.iter().any(|it| it == code), "{text}: {found:?}");
        }
    }
}

#[test]
fn a_number_of_ten_thousand_digits_is_too_large() {
    for prefix in ["", "$", "%", "@", "-"] {
        let found = codes_of("a.s", format!("A\tEQU\t{prefix}{}\n\tdc.b\tA\n", "1".repeat(10_000)));
        assert_eq!(found, ["value-002"], "{prefix}");
    }
}

#[test]
fn a_string_that_is_not_closed_ends_with_its_line() {
    for quote in ["'", "\""] {
        let text = format!("\tdc.b\t{quote}a text\n\tdc.b\t300\n\tdc.b\t{quote}");
        let found = codes_of("a.s", text);
        assert_eq!(found, ["source-001", "value-007", "source-001"], "{quote}");
    }
}

#[test]
fn every_line_end_ends_a_line() {
    let lines = ["WID\tEQU\t300", "\tdc.b\tWID\tremark", "*", "\tdc.w\tWID"];
    for end in ["\n", "\r\n", "\r"] {
        for text in [lines.join(end), lines.join(end) + end] {
            assert_eq!(codes_of("a.s", &text), ["value-007"], "{end:?}");
        }
        assert_eq!(codes_of("a.s", end.repeat(10_000)), Vec::<String>::new());
        let folder = folder();
        write(folder.path(), "a.s", lines.join(end));
        let output = survives(folder.path(), &["lint", "--format", "json", "a.s"]);
        let finding: Value = serde_json::from_str(&output.out).expect("one finding");
        assert_eq!(finding["range"]["start"], json!({ "line": 1, "character": 6 }), "{end:?}");
    }
    assert_eq!(codes_of("a.s", "A\tEQU\t1\r\nB\tEQU\t2\rC\tEQU\t3\n\tdc.b\tA,B,C\n"), Vec::<String>::new());
}

#[test]
fn characters_of_old_files_do_no_harm() {
    // Form feeds between pages.
    assert_eq!(codes_of("a.s", "A\tEQU\t3\n\x0c\nB\tEQU\tA\n\tdc.b\tA\x0c\n\x0b\n"), Vec::<String>::new());
    assert_eq!(codes_of("a.s", "\t \t \tdc.b\t \t300 \t \n"), ["value-007"]);
    // The byte order mark of UTF-8 is no part of the first label.
    assert_eq!(codes_of("a.s", "\u{FEFF}A\tEQU\t300\n\tdc.b\tA\n"), ["value-007"]);
    assert_eq!(codes_of("a.s", ""), Vec::<String>::new());
}

#[test]
fn a_line_of_70_000_characters_is_told_of_and_the_next_is_read() {
    for long in [
        format!("\tdc.b\t{}1", "1,".repeat(35_000)),
        format!("\tdc.b\t'{}'", "x".repeat(70_000)),
        format!("{}\tnop", "l".repeat(70_000)),
        format!("* {}", "\u{1F4BE}".repeat(20_000)),
        " ".repeat(70_000),
    ] {
        let found = codes_of("a.s", format!("{long}\n\tdc.b\t300\n"));
        assert_eq!(found, ["source-005", "value-007"], "{}", &long[..20.min(long.len())]);
    }
}

#[test]
fn a_hundred_thousand_brackets_are_told_of() {
    for (open, close) in [("(", ")"), ("[", "]"), ("-", ""), ("~", ""), ("<", ">")] {
        // As long as a line may be, and longer.
        for count in [200, 30_000, 100_000] {
            let found =
                codes_of("a.s", format!("A\tEQU\t{}1{}\n\tdc.b\t300\n", open.repeat(count), close.repeat(count)));
            assert_eq!(found.last().map(String::as_str), Some("value-007"), "{open}{count}: {found:?}");
        }
    }
    let unclosed = codes_of("a.s", format!("A\tEQU\t{}\n", "(".repeat(60_000)));
    assert!(!unclosed.is_empty());
}

#[test]
fn constants_that_need_each_other_5_000_deep_have_their_values() {
    let chain: String = (0..5_000).map(|at| format!("N{at}\tEQU\tN{}+1\n", at + 1)).collect();
    assert_eq!(codes_of("a.s", format!("{chain}N5000\tEQU\t0\n\tdc.w\tN0\n\tdc.b\tN0\n")), ["value-007"]);
}

#[test]
fn constants_that_need_the_next_twice_are_worked_out_once() {
    // 2 to the power of 1,000, if somebody counted.
    let chain: String = (0..1_000).map(|at| format!("N{at}\tEQU\tN{0}-N{0}/2\n", at + 1)).collect();
    assert_eq!(codes_of("a.s", format!("{chain}N1000\tEQU\t300\n\tdc.b\tN1000\n")), ["value-007"]);
}

#[test]
fn a_ring_of_constants_is_told_of_however_long_it_is() {
    for len in [1, 2, 30, 64, 65, 100, 1_000, 5_000] {
        let chain: String = (0..len).map(|at| format!("N{at}\tEQU\tN{}+1\n", (at + 1) % len)).collect();
        assert_eq!(codes_of("a.s", chain), ["name-003"], "{len}");
    }
}

#[test]
fn four_characters_without_a_closing_quote_are_told_of_once() {
    assert_eq!(codes_of("a.s", "\tdc.b\t'text\n"), ["source-001"]);
}

#[test]
fn filler_behind_an_end_mark_is_not_read() {
    // Files of CP/M-like systems end with 1A and are filled up to a whole sector: common practice, no source.
    let zeros = [&b"A\tEQU\t3\n\tdc.b\tA\n\x1a"[..], &[0; 100][..]].concat();
    assert_eq!(codes_of("a.s", zeros), Vec::<String>::new());
    assert_eq!(codes_of("a.s", b"A\tEQU\t3\n\tdc.b\tA\n\x1a\x1a\x1a"), Vec::<String>::new());
}

#[test]
fn conditionals_and_repetitions_that_do_not_end_are_told_of() {
    let open = codes_of("a.s", "\tIFNE\t1\n".repeat(3_000));
    assert!(open.iter().any(|it| it == "layout-005"), "{open:?}");
    let closed = codes_of("a.s", "\tENDC\n".repeat(3_000));
    assert_eq!(closed.len(), 3_000);
    codes_of("a.s", "\tREPT\t1000000000\n\tREPT\t1000000000\n\tdc.l\t1\n\tENDR\n\tENDR\nend\tdc.b\t1\n");
    codes_of("a.s", "m\tMACRO\n\tm\n\tm\n\tENDM\n\tm\n");
    codes_of("a.s", "\tMACRO\n\tENDM\n\tMACRO\t\n\tREPT\n\tIF\n\tELSE\n\tELSE\n\tENDC\n\tENDR\n");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn random_bytes_end_no_command(bytes in prop::collection::vec(any::<u8>(), 0..2_000)) {
        let folder = folder();
        write(folder.path(), "a.s", &bytes);
        survives(folder.path(), &["lint", "a.s"]);
        survives(folder.path(), &["sheet", "."]);
    }

    #[test]
    fn random_characters_of_source_end_no_command_and_no_server(
        text in prop::collection::vec(
            prop_oneof![
                "[ -~]",
                Just("\n".to_owned()),
                Just("\t".to_owned()),
                Just("\r".to_owned()),
                Just("\u{1F4BE}".to_owned()),
                Just("\x0c".to_owned()),
                Just("\tdc.b\t".to_owned()),
                Just("\tmacro\n".to_owned()),
                Just("bpb\tdc.b\t$00,$02,$02,$01".to_owned()),
                Just(" EQU ".to_owned()),
                Just("\\1".to_owned()),
                Just("/*".to_owned()),
            ],
            0..400,
        )
    ) {
        let text = text.concat();
        let folder = folder();
        write(folder.path(), "a.s", &text);
        survives(folder.path(), &["lint", "a.s"]);
        survives(folder.path(), &["sheet", "a.s"]);
        serves(&text);
    }
}
