//! However a text came to be, its findings are the same: through edits, opened fresh, and on the command line.

use std::collections::BTreeMap;
use std::path::Path;

use proptest::prelude::*;
use reveille_fixture::firmware_source;
use reveille_tests::{Client, capabilities, run, uri};
use serde_json::{Value, json};

/// Pieces of real and of broken source.
const PIECES: &[&str] = &[
    "",
    "\n",
    "x",
    "\t",
    "'",
    "\"",
    "(",
    ",",
    "$",
    "*",
    ";",
    " 2",
    "\u{1F4BE}\u{E9}",
    "\r\n",
    "\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00\n",
    "\tdc.b\t$09,$00,$02,$00,$00,$00\n",
    "more_bpb\n\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$A2,$05,$F9,$02,$00,$09,$00,$02,$00,$00,$00\n\tdc.w\t1\n",
    "\tdc.b\t300\n",
    "\tdc.w\tSPT,unheard\n",
    "label\n",
    ".local\tnop\n",
    "SPT\tEQU\t9\n",
    "SPT\tEQU\t10\n",
    "HEADS\tEQU\t2\n",
    "CYLS\tEQU\t82\n",
    "N\tSET\tN+1\n",
    "A\tEQU\tB\n",
    "B\tEQU\tA\n",
    "\tIFNE\tSPT-9\n",
    "\tELSEC\n",
    "\tENDC\n",
    "turn\tMACRO\n",
    "\tENDM\n",
    "\tturn\td0\n",
    "\tREPT\t3\n",
    "\tENDR\n",
    "\tinclude\tparts.i\n",
    "\tinclude\tmain.s\n",
    "\tinclude\tmissing.i\n",
    "\torg\t$401\n",
    "\tds.w\t3\n",
    "\teven\n",
    "\tEND\n",
    "\tSECTION\tdata\n",
    "* disk format  @block fat-block-25\n",
    "* @block nonsense\n",
    "\t.byte\t1, 0x20\n\t.word\t3\n\t.even\n",
    "/* open\n",
    "*/\n",
    "#define N 4\n",
];

const PARTS: &str =
    "SECSIZE\tEQU\t512\nspare_bpb\n\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00\n\teven\nPART\tEQU\t3\n";

fn main_text() -> String {
    let tables = "\
\tinclude\tparts.i
CYLS\tEQU\t80
HEADS\tEQU\t2
SPT\tEQU\t9
*\tdisk formats
boot_formats
\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$D0,$02,$F8,$02,$00,$09,$00,$01,$00,$00,$00
\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00
\tdc.b\t$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00
\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$00,$05,$FB,$02,$00,$08,$00,$02,$00,$00,$00
\teven
ship_bpb\tdc.w\t$0002,$0201,$0002,$7000,$A005,$F903,$0009,$0002,$0000
\tdc.b\t0
\teven
";
    format!(
        "{}{tables}{}",
        firmware_source(120, 5),
        firmware_source(120, 6).replace("CONST", "OTHER").replace("rout", "other").replace("tab", "tbl")
    )
}

#[derive(Clone, Debug)]
struct Change {
    /// Which document: the main file mostly.
    in_parts: bool,
    /// Where it starts and how much it takes out, as parts of what there is.
    at: prop::sample::Index,
    len: usize,
    piece: prop::sample::Index,
    /// Whether it starts where a line starts.
    at_line: bool,
}

fn change() -> impl Strategy<Value = Change> {
    (
        prop::bool::weighted(0.2),
        any::<prop::sample::Index>(),
        prop_oneof![Just(0_usize), 1_usize..60, 60_usize..2_000],
        any::<prop::sample::Index>(),
        prop::bool::weighted(0.7),
    )
        .prop_map(|(in_parts, at, len, piece, at_line)| Change { in_parts, at, len, piece, at_line })
}

/// The position of a byte; a line ends with LF, CR LF or CR: LSP 3.17, Text Documents.
fn position(text: &str, byte: usize) -> Value {
    let (mut line, mut start) = (0, 0);
    let bytes = text.as_bytes();
    for at in 0..byte {
        let is_end = match bytes[at] {
            b'\n' => true,
            b'\r' => bytes.get(at + 1) != Some(&b'\n'),
            _ => false,
        };
        if is_end {
            line += 1;
            start = at + 1;
        }
    }
    json!({ "line": line, "character": text[start..byte].encode_utf16().count() })
}

/// A byte where a position can be: no half of a character, and not between CR and LF.
fn boundary(text: &str, mut byte: usize) -> usize {
    let is_inside = |at: usize| {
        !text.is_char_boundary(at) || (at > 0 && text[..at].ends_with('\r') && text[at..].starts_with('\n'))
    };
    while is_inside(byte) {
        byte -= 1;
    }
    byte
}

fn apply(client: &mut Client, uri: &str, version: i64, text: &mut String, change: &Change) {
    let mut start = change.at.index(text.len() + 1);
    start = boundary(text, start);
    if change.at_line {
        start = text[..start].rfind('\n').map_or(0, |at| at + 1);
    }
    let end = boundary(text, (start + change.len).min(text.len())).max(start);
    let piece = PIECES[change.piece.index(PIECES.len())];
    let range = json!({ "start": position(text, start), "end": position(text, end) });
    client.change(uri, version, range, piece);
    text.replace_range(start..end, piece);
}

/// Findings by their file, in one form for both sources.
type Findings = BTreeMap<String, Vec<Value>>;

fn published(client: &mut Client) -> Findings {
    let name = |uri: &Value| uri.as_str().and_then(|it| it.rsplit('/').next()).unwrap_or_default().to_owned();
    let severities = ["", "error", "warning", "note", "hint"];
    let mut found = Findings::new();
    for (uri, (_, findings)) in client.settle() {
        for it in findings {
            let related: Vec<Value> = it["relatedInformation"]
                .as_array()
                .into_iter()
                .flatten()
                .map(|it| {
                    let location = &it["location"];
                    json!({ "file": name(&location["uri"]), "range": location["range"], "message": it["message"] })
                })
                .collect();
            found.entry(name(&json!(uri))).or_default().push(json!({
                "finding": it["code"],
                "severity": severities[it["severity"].as_u64().unwrap_or(0) as usize],
                "range": it["range"],
                "message": it["message"],
                "related": related,
            }));
        }
    }
    found
}

fn linted(folder: &Path) -> Findings {
    let output = run(folder, &["lint", "--format", "json", folder.to_str().expect("a temporary path is text")]);
    assert!(matches!(output.code, 0 | 1), "{}", output.err);
    let name = |it: &Value| it.as_str().and_then(|it| it.rsplit('/').next()).unwrap_or_default().to_owned();
    let mut found = Findings::new();
    for line in output.out.lines() {
        let mut it: Value = serde_json::from_str(line).expect("each finding is a line of JSON");
        let file = name(&it["file"]);
        it.as_object_mut().expect("an object").remove("file");
        for related in it["related"].as_array_mut().expect("a list") {
            related["file"] = name(&related["file"]).into();
        }
        found.entry(file).or_default().push(it);
    }
    found
}

fn open(client: &mut Client, folder: &Path, texts: &[String; 2]) -> [String; 2] {
    let uris = ["main.s", "parts.i"].map(|name| uri(&folder.join(name)));
    client.open(&uris[0], &texts[0]);
    client.open(&uris[1], &texts[1]);
    let _ = client.findings(&uris[1], 1);
    uris
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 25, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn findings_after_edits_are_those_of_a_fresh_server_and_of_the_command_line(
        changes in prop::collection::vec(change(), 1..8),
        waits in any::<bool>(),
    ) {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut texts = [main_text(), PARTS.to_owned()];
        for (name, text) in ["main.s", "parts.i"].iter().zip(&texts) {
            std::fs::write(folder.path().join(name), text).expect("the folder can be written to");
        }
        let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
        let uris = open(&mut client, folder.path(), &texts);
        for (at, change) in changes.iter().enumerate() {
            let which = usize::from(change.in_parts);
            apply(&mut client, &uris[which], at as i64 + 2, &mut texts[which], change);
            if waits {
                let _ = client.findings(&uris[which], at as i64 + 2);
            }
        }
        let after_edits = published(&mut client);
        prop_assert_eq!(client.stop(), 0);

        let mut fresh = Client::start(Some(folder.path()), &capabilities("utf-16"));
        open(&mut fresh, folder.path(), &texts);
        let when_fresh = published(&mut fresh);
        prop_assert_eq!(fresh.stop(), 0);
        prop_assert_eq!(&after_edits, &when_fresh, "edits against a fresh server: {:?}", texts);

        for (name, text) in ["main.s", "parts.i"].iter().zip(&texts) {
            std::fs::write(folder.path().join(name), text).expect("the folder can be written to");
        }
        let on_command_line = linted(folder.path());
        prop_assert_eq!(&when_fresh, &on_command_line, "a fresh server against the command line: {:?}", texts);
    }
}

#[test]
fn the_texts_that_are_edited_have_findings_in_both_files_once_they_are_damaged() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let texts = [main_text().replace("$F9", "$E9"), PARTS.replace("$F9", "$E9")];
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    open(&mut client, folder.path(), &texts);
    let found = published(&mut client);
    assert_eq!(found.keys().collect::<Vec<_>>(), ["main.s", "parts.i"]);
    assert!(found.values().flatten().any(|it| it["finding"] == "fat-026"), "{found:?}");
    assert_eq!(client.stop(), 0);
    let sound = [main_text(), PARTS.to_owned()];
    let mut client = Client::start(Some(folder.path()), &capabilities("utf-16"));
    open(&mut client, folder.path(), &sound);
    assert_eq!(published(&mut client), Findings::new(), "the text that edits start from has no finding");
    assert_eq!(client.stop(), 0);
}
