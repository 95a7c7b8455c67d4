//! The layout of a document, of a range, and of the line that was just typed.

use reveille_tests::{Client, edited};
use serde_json::{Value, json};

use crate::{DISK, TEXT, opened, whole};

fn options(tabs: bool) -> Value {
    json!({ "tabSize": 8, "insertSpaces": !tabs })
}

fn asked(client: &mut Client, text: &str, method: &str, mut params: Value, tabs: bool) -> String {
    params["textDocument"] = json!({ "uri": DISK });
    params["options"] = options(tabs);
    let edits = client.result(method, params);
    edited(text, edits.as_array().expect("a list of edits"))
}

fn lines(start: (u32, u32), end: (u32, u32)) -> Value {
    let position = |(line, character)| json!({ "line": line, "character": character });
    json!({ "range": { "start": position(start), "end": position(end) } })
}

const MESSY: &str =
    "start\tmove.w\td0,d1\n move.w d1,d2  \n    lea\tx(pc),a0\n\tnop\n\trts\nx:dc.w\t'\u{1F4BE}'  \n\u{e9}:nop\n";

#[test]
fn a_document_is_laid_out_in_tabs_or_blanks_as_the_client_has_it() {
    let (mut client, _) = opened(MESSY);
    let tidy = "start   move.w  d0,d1\n        move.w  d1,d2\n        lea     x(pc),a0\n        nop\n        rts\nx:      dc.w    '\u{1F4BE}'\n\u{e9}:      nop\n";
    let tabs =
        "start\tmove.w\td0,d1\n\tmove.w\td1,d2\n\tlea\tx(pc),a0\n\tnop\n\trts\nx:\tdc.w\t'\u{1F4BE}'\n\u{e9}:\tnop\n";
    let method = "textDocument/formatting";
    for (expected, with_tabs) in [(tabs, true), (tidy, false)] {
        let new = asked(&mut client, MESSY, method, json!({}), with_tabs);
        assert_eq!(new, expected);
        client.change(DISK, 2, Value::Null, &new);
        assert_eq!(asked(&mut client, &new, method, json!({}), with_tabs), new, "once for all");
        client.change(DISK, 3, Value::Null, MESSY);
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn a_range_is_laid_out_line_by_line() {
    let text = " nop\n nop\n nop\n\tnop\n\tnop\n\tnop\n\tnop\n";
    let (mut client, _) = opened(text);
    let method = "textDocument/rangeFormatting";
    for (range, expected) in [
        (lines((1, 0), (2, 0)), text.replacen(" nop\n nop\n", " nop\n\tnop\n", 1)),
        (lines((1, 2), (2, 1)), text.replacen(" nop\n nop\n nop\n", " nop\n\tnop\n\tnop\n", 1)),
        (lines((0, 1), (0, 1)), text.replacen(" nop", "\tnop", 1)),
        (lines((3, 0), (99, 0)), text.to_owned()),
        (lines((2, 4), (0, 0)), text.to_owned()),
    ] {
        assert_eq!(asked(&mut client, text, method, range.clone(), true), expected, "{range}");
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn the_line_before_a_new_one_is_laid_out_as_those_around_it() {
    let text = format!("{TEXT} move.w #1,d0 set it\n\t\n");
    let (mut client, _) = opened(&text);
    let position = |line: usize| json!({ "position": { "line": line, "character": 1 }, "ch": "\n" });
    let method = "textDocument/onTypeFormatting";
    let last = TEXT.lines().count();
    let new = asked(&mut client, &text, method, position(last + 1), true);
    assert_eq!(new, format!("{TEXT}\tmove.w\t#1,d0\t\tset it\n\t\n"));
    for other in [0, 1, last, last + 90] {
        assert_eq!(asked(&mut client, &text, method, position(other), true), text, "{other}");
    }
    assert_eq!(client.stop(), 0);
}

#[test]
fn what_is_no_source_is_not_laid_out() {
    let listing = "000834  1228 0009  MOVE.B 1(A0),D1\n000838  E149  LSL.W #8,D1\n";
    let (mut client, _) = opened(listing);
    assert_eq!(asked(&mut client, listing, "textDocument/formatting", json!({}), false), listing);
    assert_eq!(client.stop(), 0);
    let mut client = crate::client();
    let mut params = whole("untitled:never-opened.s");
    params["options"] = options(true);
    assert_eq!(client.result("textDocument/formatting", params), Value::Null);
    assert_eq!(client.stop(), 0);
}
