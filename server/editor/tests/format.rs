//! The layout of lines: what it makes of a file, and that it changes nothing but blanks.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::fs;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use reveille_editor::{Field, FormatOptions, Style, edited, format, format_typed, reads_as_source};
use reveille_fixture::{Numbers, firmware_source};
use reveille_program::{Analysis, Content, Listed, Program, list};
use reveille_source::{Decoded, Dialect, Encoding, File, LineKind, OpId, decode, read_line};

fn formatted(text: &str, options: &FormatOptions) -> String {
    let file = File::new(text, None);
    edited(text, &format(&file, &Style::of(&file, options), 0..usize::MAX))
}

fn as_it_is(text: &str) -> String {
    formatted(text, &FormatOptions::default())
}

fn columns(columns: [usize; 3], tabs: bool) -> FormatOptions {
    FormatOptions { columns: Some(columns), tabs: Some(tabs), tab_width: 8 }
}

/// All sources of the repository, by their folder.
fn sources() -> Vec<Vec<(PathBuf, String)>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let folders =
        ["tests/demo/skerry", "tests/demo/skerry-damaged", "grammar/test-fixtures", "tests/tests/oracle_programs"];
    let mut found = Vec::new();
    for folder in folders {
        let mut paths: Vec<PathBuf> =
            fs::read_dir(root.join(folder)).unwrap().map(|entry| entry.unwrap().path()).collect();
        // The damaged demo has a dump among its sources.
        let is_source = |path: &Path| path.extension().is_some_and(|it| it == "s" || it == "i");
        paths.retain(|path| is_source(path) && !path.ends_with("romdump.s"));
        paths.sort();
        assert!(!paths.is_empty(), "{folder}");
        found.push(paths.into_iter().map(|path| (path.clone(), source(&path))).collect());
    }
    found.push(vec![("firmware.s".into(), firmware_source(900, 3))]);
    found
}

fn source(path: &Path) -> String {
    match decode(fs::read(path).unwrap()) {
        Decoded::Text(text, _) => text,
        Decoded::Binary(at) => panic!("{path:?} is no text at {at}"),
    }
}

fn without_blanks(text: &str) -> String {
    text.chars().filter(|it| !matches!(it, ' ' | '\t')).collect()
}

/// What a program of files lays down: each line's number, address and bytes, the lines of expansions too.
fn assembled(files: &[(PathBuf, String)]) -> Vec<String> {
    let mut program = Program::new();
    let read = |(path, text): &(PathBuf, String)| (path.clone(), Content::Text(File::new(text, None), Encoding::Utf8));
    program.set_files(files.iter().map(read).collect());
    let analysis = Analysis::new(&program, &[], None);
    let mut found = Vec::new();
    for unit in analysis.units() {
        let make = |_, lines: Vec<Listed>| {
            let one =
                |it: Listed| format!("{:?} {:?} {:?} {:?} {}", it.place, it.call, it.address, it.bytes, it.reserved);
            lines.into_iter().map(one).collect::<Vec<_>>()
        };
        let mut take = |lines: Vec<String>| -> Result<(), ()> {
            found.extend(lines);
            Ok(())
        };
        list(&program, unit, &make, &mut take).unwrap();
    }
    found
}

fn many_options() -> Vec<FormatOptions> {
    let mut found = vec![
        FormatOptions::default(),
        columns([8, 16, 40], true),
        columns([8, 16, 40], false),
        columns([10, 21, 45], true),
        columns([1, 0, 0], false),
    ];
    for (tabs, tab_width) in [(true, 8), (false, 8), (true, 4), (false, 3)] {
        found.push(FormatOptions { columns: None, tabs: Some(tabs), tab_width });
    }
    found
}

#[test]
fn formatting_changes_neither_what_a_program_is_nor_what_is_formatted_already() {
    for files in sources() {
        let before = assembled(&files);
        assert!(before.len() > 20, "{:?}", files[0].0);
        for options in many_options() {
            let after: Vec<(PathBuf, String)> =
                files.iter().map(|(path, text)| (path.clone(), formatted(text, &options))).collect();
            for ((path, old), (_, new)) in files.iter().zip(&after) {
                assert_eq!(without_blanks(old), without_blanks(new), "{path:?} {options:?}");
                assert_eq!(&formatted(new, &options), new, "{path:?} {options:?}");
            }
            assert_eq!(before, assembled(&after), "{:?} {options:?}", files[0].0);
        }
    }
}

#[test]
fn a_file_with_a_style_of_its_own_keeps_it() {
    for (path, text) in sources().into_iter().flatten() {
        let is_demo = path.components().any(|it| it.as_os_str() == "skerry");
        let lines = text.lines().count();
        let new = as_it_is(&text);
        let changed = text.lines().zip(new.lines()).filter(|(old, new)| old != new).count();
        assert!(10 * changed < lines || !is_demo, "{path:?}: {changed} of {lines} lines are others");
    }
    for text in [
        "start   move.w  d0,d1           ; one\n        rts                     ; two\n",
        "start move.w d0,d1 one\n rts\n lea x,a0 two\n",
        "start\tmove.w d0,d1\tone\n\trts\n\tlea x,a0\ttwo\n",
        "NAME = 5\nOTHER=6\n\tmove.w\t#NAME,d0\n\tmove.w\t#OTHER,d1\n",
        "NAME\t=\t5\nOTHER\t=\t6\n\tmove.w\t#NAME,d0\n",
    ] {
        assert_eq!(as_it_is(text), text);
    }
}

const MESSY: &str = concat!(
    "* A driver that many hands have edited   \n",
    "CYLS EQU 80 cylinders\n",
    "SPT\tEQU\t9\t\t\tsectors on a track\n",
    "SIDES\tEQU\t2\t\t\tof them\n",
    "\tmove.b\t(a0),d0\t\twhat it says\n",
    "HEADS   EQU     2\n",
    "\n",
    "start:move.w  #CYLS,d0 how many\n",
    "\tmove.w\t#SPT,d1\n",
    "   lea\t\tname(pc),a0;the name\n",
    "\t; selects the drive\n",
    "\t\t\t\t\t    ; and waits\n",
    "very_long_label\tbsr wait\n",
    ".again\tsubq.w\t#1,d0\n",
    "    bne.s   .again   \n",
    "\trts\t\t\t\tdone\n",
    "name\tdc.b\t'two  blanks',  0\n",
    "\tdc.b\t'open \n",
    "\teven\n",
);

#[test]
fn a_messy_file_becomes_what_most_of_its_lines_are() {
    let blanks = FormatOptions { tabs: Some(false), ..FormatOptions::default() };
    let shown = |text: &str| text.replace('\t', "------->").replace(' ', "\u{b7}");
    let text = format!(
        "{}\n=== as it is\n{}\n=== blanks\n{}\n=== columns 10,18,36\n{}",
        shown(MESSY),
        shown(&as_it_is(MESSY)),
        shown(&formatted(MESSY, &blanks)),
        shown(&formatted(MESSY, &columns([10, 18, 36], false))),
    );
    insta::assert_snapshot!("format_messy_file", text);
}

/// Lines that stay as they are, in any style.
#[test]
fn what_may_mean_something_is_left_alone() {
    let style = columns([12, 24, 48], false);
    for text in [
        "\tdc.b 'no end  \n",
        "\tmove.w (a0,d0\n",
        " 1abc d0  \n",
        "#define STEP(x) \\\n  addq.w  #1,x ; \\\n  nop  \n",
        "/* one\n   two  \n */\n\t.text\n",
        "\tnop\n\u{c}\tmove.w d0,d1 \n\u{1a}\n nop  \n",
        "x macro\n \\1 d0,d1  \n dc.b \\1 \\2\n endm\n",
        " nop  text \\ \n",
        "\u{feff}\u{feff} nop \n",
        " nop\n\u{feff}x nop \n",
        "* text in column one\n* more\n",
        "\r  \n",
        "  ; so far right of the columns that it is of none\n",
    ] {
        let is_line_of_interest =
            |line: &&str| !line.ends_with("macro") && !matches!(line.trim(), "nop" | "endm" | ".text");
        let new = formatted(text, &style);
        let old: Vec<&str> = text.lines().filter(is_line_of_interest).collect();
        let new: Vec<&str> = new.lines().filter(is_line_of_interest).collect();
        if text.starts_with("  ;") {
            assert_ne!(old, new, "near the column of operations it is moved there");
        } else {
            assert_eq!(old, new, "{text:?}");
        }
    }
}

#[test]
fn each_field_comes_to_its_column() {
    let style = columns([8, 16, 32], false);
    let tabs = columns([8, 16, 32], true);
    for (text, blanks, with_tabs) in [
        ("a move.w d0,d1 x\n", "a       move.w  d0,d1           x\n", "a\tmove.w\td0,d1\t\tx\n"),
        ("a:move.w d0,d1;x\n", "a:      move.w  d0,d1           ;x\n", "a:\tmove.w\td0,d1\t\t;x\n"),
        ("  a: rts\n", "  a:    rts\n", "  a:\trts\n"),
        ("long_label nop\n", "long_label nop\n", "long_label\tnop\n"),
        ("label78 nop\n", "label78 nop\n", "label78\tnop\n"),
        ("label678 nop\n", "label678 nop\n", "label678\tnop\n"),
        (" rts x\n", "        rts                     x\n", "\trts\t\t\tx\n"),
        ("a;x\n", "a                               ;x\n", "a\t\t\t\t;x\n"),
        ("a\n \n   \n", "a\n\n\n", "a\n\n\n"),
        (" dc.b 1, 2\n", "        dc.b    1, 2\n", "\tdc.b\t1, 2\n"),
        ("a = 5 x\n", "a = 5                           x\n", "a = 5\t\t\t\tx\n"),
        ("include 'a.i' x\n", "include 'a.i'                   x\n", "include 'a.i'\t\t\tx\n"),
        ("\u{e9}\u{e9} nop\r\n", "\u{e9}\u{e9}      nop\r\n", "\u{e9}\u{e9}\tnop\r\n"),
        ("\u{feff}a nop\r nop", "\u{feff}a       nop\r        nop", "\u{feff}a\tnop\r\tnop"),
        ("  ; near\n", "        ; near\n", "\t; near\n"),
        ("\t\t\t; far\n", "                                ; far\n", "\t\t\t\t; far\n"),
        ("a call <x  y>,z  w\n", "a       call    <x  y>,z        w\n", "a\tcall\t<x  y>,z\tw\n"),
    ] {
        assert_eq!(formatted(text, &style), blanks, "{text:?}");
        assert_eq!(formatted(text, &tabs), with_tabs, "{text:?}");
    }
    let dotted = "\t.text\n.globl  x\n move.l d0, d1 | x\n.byte 1\n";
    let expected = "        .text\n.globl  x\n        move.l  d0, d1          | x\n.byte 1\n";
    assert_eq!(formatted(dotted, &style), expected, "what starts in column one in the dotted style stays there");
}

#[test]
fn a_range_touches_its_lines_only() {
    let text = " nop\n nop\n nop\n nop\n";
    let file = File::new(text, None);
    let style = Style::of(&file, &columns([8, 16, 32], true));
    assert_eq!(edited(text, &format(&file, &style, 1..3)), " nop\n\tnop\n\tnop\n nop\n");
    for lines in [0..0, 9..12, 3..usize::MAX, 4..usize::MAX, 2..2] {
        let changed = format(&file, &style, lines.clone()).len();
        assert_eq!(changed, usize::from(lines.start == 3), "{lines:?}");
    }
}

#[test]
fn a_typed_line_takes_the_style_of_the_lines_around_it() {
    let options = FormatOptions::default();
    let typed = |text: &str, line: usize| edited(text, &format_typed(&File::new(text, None), line, &options));
    let around = "start\tmove.w\td0,d1\t\tone\n\trts\n";
    assert_eq!(typed(&format!("{around} lea x,a0\n"), 2), format!("{around}\tlea\tx,a0\n"));
    // Alone it says nothing of itself.
    assert_eq!(typed("a move.w d0,d1\n", 0), "a       move.w  d0,d1\n");
    // Far away another style does not count.
    let far = format!("{} lea\n{}", "a rts\n".repeat(6000), "\tnop\n".repeat(9000));
    let near = far.replace(" lea", "\tlea");
    assert!(typed(&far, 6000) == near, "most lines around are tabs");
    let far = format!("{}\n lea\n{}", "\tnop\n".repeat(9000), "a rts\n".repeat(2000));
    assert!(typed(&far, 9001) != far && typed(&far, 11_000) == far, "{}", typed(&far, 9001));
    let long = format!("{}\t \n lea x,a0\n", around.repeat(3000));
    assert_eq!(typed(&long, 6001), long.replace(" lea x", "\tlea\tx"));
    assert_eq!(typed(around, 99), around);
    assert_eq!(typed("", 0), "");
}

#[test]
fn a_listing_is_no_source() {
    assert!(!reads_as_source(&File::new("000834  1228 0009  MOVE.B 1(A0),D1\n000838  E149  LSL.W #8,D1\n", None)));
    assert!(reads_as_source(&File::new(MESSY, None)));
    assert!(reads_as_source(&File::new("", None)));
}

/// Blanks between the fields of a line, where the style alone says how many there are.
fn disturbed(text: &str, file: &File, numbers: &mut Numbers) -> String {
    let mut blanks = || ["\t", " ", "  ", "\t\t", " \t", "      ", "\t   "][numbers.below(7)];
    let mut result = String::new();
    let mut in_comment = false;
    for number in 0..file.line_count() {
        let (line, own) = file.line(number).unwrap();
        let end = file.line_start(number + 1).min(text.len());
        let line_end = &text[file.line_start(number) + own.len()..end];
        let opens = line.comment.of(own).starts_with("/*") && !own.contains("*/");
        let is_part = in_comment || opens;
        in_comment = opens || (in_comment && !own.contains("*/"));
        let is_open = line.kind != LineKind::Statement || line.is_broken() || own.contains('\\') || is_part;
        let ends = own.ends_with(|it: char| !it.is_whitespace());
        let mut alone = read_line(own, file.dialect());
        alone.start = line.start;
        if is_open || *line != alone || !ends {
            result.push_str(own);
            result.push_str(line_end);
            continue;
        }
        let is_bound = line.op == OpId::ASSIGNMENT || (line.label.is_empty() && line.operation.start == 0);
        let mut done = 0;
        for (at, span) in [line.label, line.operation, line.operands, line.comment].into_iter().enumerate() {
            let range = span.range();
            let gap = own.get(done..range.start).unwrap_or("");
            if range.is_empty() {
                continue;
            }
            let kept = &own[done..range.start];
            let is_free = at != 0 && (at == 3 || !is_bound) && gap.ends_with([' ', '\t']);
            match is_free {
                true => {
                    result.push_str(kept.trim_end_matches([' ', '\t']));
                    result.push_str(blanks());
                }
                false => result.push_str(kept),
            }
            result.push_str(&own[range.clone()]);
            done = range.end;
        }
        result.push_str(&own[done..]);
        result.push_str(["", "", " ", "\t "][usize::from(done == own.len()) * (own.len() % 4)]);
        result.push_str(line_end);
    }
    result
}

#[test]
fn the_blanks_that_were_there_do_not_matter() {
    let mut numbers = Numbers::new(11);
    for (path, text) in sources().into_iter().flatten() {
        let file = File::new(&text, None);
        if file.margin().is_there() {
            // A listing has no blanks to move.
            assert_eq!(format(&file, &Style::of(&file, &FormatOptions::default()), 0..usize::MAX), []);
            continue;
        }
        for tabs in [true, false] {
            let field = |column| Field { column, tabs };
            let style = Style {
                operation: field(8),
                operands: field(17),
                comment: field(40),
                tab_width: 8,
                signs: false,
                is_settled: true,
            };
            let expected = edited(&text, &format(&file, &style, 0..usize::MAX));
            for _ in 0..4 {
                let other = disturbed(&text, &file, &mut numbers);
                assert_ne!(other, text, "{path:?}");
                let read = File::new(&other, Some(file.dialect()));
                let found = edited(&other, &format(&read, &style, 0..usize::MAX));
                for (found, expected) in found.lines().zip(expected.lines()) {
                    assert_eq!(found, expected, "{path:?}");
                }
                assert_eq!(found.len(), expected.len(), "{path:?}");
            }
        }
    }
}

const PIECES: &[&str] = &[
    "label",
    "label:",
    "lab::",
    "10$",
    ".loc",
    "\u{e9}t\u{e9}",
    "\\1",
    "\\@x",
    " ",
    " ",
    " ",
    "\t",
    "\t",
    "   ",
    "\t\t",
    "    ",
    "move.w",
    "rts",
    "dc.b",
    ".byte",
    ".text",
    "equ",
    "=",
    ":=",
    "==",
    "call",
    "\\0",
    "include",
    "endm",
    "macro",
    "ifne",
    "d0,d1",
    "#1,(a0)+",
    "'a  b'",
    "'it",
    "\"",
    "1, 2",
    "<a  b>",
    "(a0,",
    ")",
    ",",
    "+ 2",
    "x*",
    "*",
    "* text",
    "; text",
    ";",
    "| note",
    "// note",
    "/* open",
    "*/",
    "/* both */",
    "#",
    "# text",
    "unmarked text",
    "\\",
    "\u{c}",
    "\u{1a}",
    "\u{feff}",
    "1b",
    "x:y",
    "{",
];

const LINES: &[&str] = &[
    "start\tmove.w\td0,d1\t\tone",
    "\tmove.w\t#1,d0",
    "        rts                     ; done",
    "    lea     x(pc),a0        the table",
    " bra start",
    "\t; a comment between",
    "                                ; a comment behind",
    "            ; a comment somewhere",
    "very_long_label_of_a_table\tdc.w\t1,2,3,4,5,6,7,8,9\tand so on",
    "NAME\tEQU\t5\tfive",
    "OTHER = 6",
    "\t.long\t1, 2\t| two",
    "* whole",
    "",
];

fn line() -> impl Strategy<Value = String> {
    let pieces = prop::collection::vec(prop::sample::select(PIECES), 0..9).prop_map(|it| it.concat());
    prop_oneof![
        3 => pieces,
        4 => prop::sample::select(LINES).prop_map(str::to_owned),
        1 => (prop::sample::select(LINES), prop::sample::select(PIECES), any::<prop::sample::Index>()).prop_map(
            |(line, piece, at)| {
                let mut line = line.to_owned();
                line.insert_str(at.index(line.len() + 1), piece);
                line
            }
        ),
    ]
}

fn options() -> impl Strategy<Value = FormatOptions> {
    let columns =
        prop::option::of((0_usize..20, 0_usize..30, 0_usize..60)).prop_map(|it| it.map(|(a, b, c)| [a, b, c]));
    (columns, prop::option::of(any::<bool>()), prop_oneof![Just(8_usize), 0_usize..9])
        .prop_map(|(columns, tabs, tab_width)| FormatOptions { columns, tabs, tab_width })
}

/// All that a file says, line by line.
fn said(text: &str, dialect: Dialect) -> Vec<String> {
    let file = File::new(text, Some(dialect));
    let one = |number| {
        let (line, own) = file.line(number).unwrap();
        let mut operands = Vec::new();
        reveille_source::operands(own, line, dialect, |range| operands.push(&own[range]));
        let parts = [line.label, line.operation, line.size_span(), line.comment].map(|it| it.of(own));
        let first = own.trim_start_matches('\u{feff}').starts_with([' ', '\t']) && line.kind != LineKind::Blank;
        format!("{:?} {:?} {parts:?} {operands:?} {first}", line.kind, line.op)
    };
    (0..file.line_count()).map(one).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn any_text_says_the_same_afterwards_and_is_formatted_once_for_all(
        lines in prop::collection::vec((line(), prop::sample::select(&["\n", "\n", "\r\n", "\r"][..])), 0..14),
        dialect in prop::sample::select(&[Dialect::Motorola, Dialect::Dotted][..]),
        options in options(),
    ) {
        let text: String = lines.iter().flat_map(|(line, end)| [line.as_str(), end]).collect();
        let format = |text: &str| {
            let file = File::new(text, Some(dialect));
            let edits = format(&file, &Style::of(&file, &options), 0..usize::MAX);
            for (range, new) in &edits {
                assert!(text[range.clone()].bytes().chain(new.bytes()).all(|it| matches!(it, b' ' | b'\t')), "{edits:?}");
            }
            edited(text, &edits)
        };
        let once = format(&text);
        prop_assert_eq!(said(&text, dialect), said(&once, dialect), "{:?} {:?}", text, once);
        prop_assert_eq!(&format(&once), &once, "{:?}", text);
    }
}
