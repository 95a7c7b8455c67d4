//! An edited document is the same as one opened with the same text.

use proptest::prelude::*;
use reveille_source::{Dialect, Document, File, LineKind, Operation, read_line};

const PIECES: &[&str] = &[
    "\n",
    "\r\n",
    "\r",
    "label",
    ":",
    "\tdc.b\t",
    "1,2",
    " ",
    "'",
    "\"",
    "/*",
    "*/",
    "; note",
    "* note",
    "\tmove.w\td0,d1",
    "é𝄞",
    "\n.word 5\n",
    ".byte 1\n",
    "(",
    ")",
    "\u{1a}",
    "\u{c}",
    "=",
    " equ ",
    "$1F",
    "\\1",
    "long line of words to fill a chunk\n",
    "\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n\tnop\n",
];

fn text(parts: &[usize]) -> String {
    parts.iter().map(|at| PIECES[at % PIECES.len()]).collect()
}

/// All that can be asked of a file but where its chunks start.
fn content(file: &File) -> Vec<String> {
    let line = |at: usize| {
        let (line, text) = file.line(at).expect("a line of that number");
        let mut line = *line;
        line.start = file.line_start(at) as u32;
        format!("{line:?} {text:?}")
    };
    let problems = file.chunks().iter().enumerate().flat_map(|(chunk, it)| {
        let first = file.first_line(chunk);
        it.problems().into_iter().map(move |(at, problem)| format!("{} {problem:?}", first + at))
    });
    (0..file.line_count()).map(line).chain(problems).chain([format!("{:?}", file.dialect())]).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]
    #[test]
    fn edits_give_what_a_fresh_read_gives(
        start in proptest::collection::vec(0..PIECES.len(), 0..600),
        edits in proptest::collection::vec((0.0..1.0f64, 0..80usize, proptest::collection::vec(0..PIECES.len(), 0..6)), 1..12),
    ) {
        let mut expected = text(&start);
        let mut document = Document::new(&expected, None);
        for (place, length, parts) in edits {
            let boundary = |mut at: usize, text: &str| { while !text.is_char_boundary(at) { at -= 1 } at };
            let from = boundary((place * expected.len() as f64) as usize, &expected);
            let to = boundary((from + length).min(expected.len()), &expected);
            let new = text(&parts);
            let before = document.file().clone();
            let splice = document.edit(from..to, &new).unwrap();
            expected.replace_range(from..to, &new);
            prop_assert_eq!(document.file().text(), expected.as_str());
            let (edited, fresh) = (content(document.file()), content(&File::new(&expected, None)));
            if let Some(at) = edited.iter().zip(&fresh).position(|(a, b)| a != b) {
                prop_assert_eq!(&edited[at.saturating_sub(1)..=at], &fresh[at.saturating_sub(1)..=at]);
            }
            prop_assert_eq!(edited.len(), fresh.len());
            let kept = before.chunks().len() - splice.removed;
            prop_assert_eq!(document.file().chunks().len(), kept + splice.inserted);
            for (old, new) in before.chunks()[..splice.at].iter().zip(document.file().chunks()) {
                prop_assert!(std::sync::Arc::ptr_eq(old, new));
            }
        }
    }
}

#[test]
fn an_edit_reads_only_the_chunks_it_touches() {
    let text = "\tmove.w\td0,d1\n".repeat(20_000);
    let mut document = Document::new(&text, None);
    let splice = document.edit(text.len() / 2..text.len() / 2 + 1, "x").unwrap();
    assert!(splice.removed <= 2, "{splice:?}");
}

#[test]
fn a_closing_mark_far_below_makes_lines_a_comment() {
    let mut text = String::from("\t.word 1\n/* a note\n");
    text.push_str(&"\tmove.w d0,d1\n".repeat(900));
    let mut document = Document::new(&text, None);
    assert_eq!(document.file().line(500).unwrap().0.kind, LineKind::Statement);
    document.edit(text.len()..text.len(), "*/\n").unwrap();
    assert_eq!(document.file().line(500).unwrap().0.kind, LineKind::Comment);
}

/// Label, operation, size, operands and comment of a line.
fn parts(text: &str, dialect: Dialect) -> String {
    let line = read_line(text, dialect);
    let mut operands = Vec::new();
    reveille_source::operands(text, &line, dialect, |range| operands.push(&text[range]));
    let class = match line.op.get() {
        Operation::None => "-",
        Operation::Instruction(_) => "instruction",
        Operation::Directive(_) => "directive",
        Operation::Assignment => "assignment",
        Operation::MacroCall => "call",
    };
    format!(
        "{}|{class} {}|{}|{}|{}",
        line.label.of(text),
        line.operation.of(text),
        line.size_span().of(text),
        operands.join("&"),
        line.comment.of(text)
    )
}

/// The forms are those of `assembler-syntax` sections 1 and 2: published conventions of Motorola syntax and *Using as* 2.40.
#[test]
fn lines_are_read_as_their_family_writes_them() {
    let motorola = |text| parts(text, Dialect::Motorola);
    let dotted = |text| parts(text, Dialect::Dotted);
    assert_eq!(motorola("start\tMOVE.W\td0,d1 copy it"), "start|instruction MOVE|W|d0&d1|copy it");
    assert_eq!(motorola("loop:\tdbra d0,loop ; again"), "loop|instruction dbra||d0&loop|; again");
    assert_eq!(motorola("\trts back to the caller"), "|instruction rts|||back to the caller");
    assert_eq!(motorola("\tdc.b\t'it''s; a, b',0\tname"), "|directive dc|b|'it''s; a, b'&0|name");
    assert_eq!(motorola("\tmovem.l d0-d3/a0,-(sp)"), "|instruction movem|l|d0-d3/a0&-(sp)|");
    assert_eq!(motorola("\tmove.l 4(a0,d0.w),(a1)+ up"), "|instruction move|l|4(a0,d0.w)&(a1)+|up");
    assert_eq!(motorola("SIZE = 5 five"), "SIZE|assignment =||5|five");
    assert_eq!(motorola("SIZE\tEQU\t$10+ 2"), "SIZE|directive EQU||$10+|2");
    assert_eq!(motorola("10$\tbra.s 10$"), "10$|instruction bra|s|10$|");
    assert_eq!(motorola("end\tmacro here"), "|directive end||macro|here");
    assert_eq!(motorola("end:\tnop"), "end|instruction nop|||");
    assert_eq!(motorola("\u{feff}start nop"), "start|instruction nop|||");
    assert_eq!(motorola("\u{feff}# 1"), "|- |||# 1");
    assert_eq!(motorola("\tmove.\\ d0"), "|instruction move|\\|d0|");
    assert_eq!(motorola("\tmove.\\é d0"), "|instruction move|\\é|d0|");
    assert_eq!(motorola(".skip\tnop"), ".skip|instruction nop|||");
    assert_eq!(motorola(".end"), ".end|- |||");
    assert_eq!(motorola("\t.end"), "|directive .end|||");
    assert_eq!(motorola("\tbra\t*+4"), "|instruction bra||*+4|");
    assert_eq!(motorola("\tsave\t* all of them"), "|call save|||* all of them");
    assert_eq!(motorola("\tput <a, b>,c d"), "|call put||<a, b>&c|d");
    assert_eq!(motorola("\tdc.b 1, 2"), "|directive dc|b|1&2|");
    assert_eq!(dotted("\t.dc.b 1 + 2 , 3 | sum"), "|directive .dc|b|1 + 2&3|| sum");
    assert_eq!(dotted("loop: move.b d0,(a0)+ | out"), "loop|instruction move|b|d0&(a0)+|| out");
    assert_eq!(dotted(".ascii \"a\\\"; b\" ; text"), "|directive .ascii||\"a\\\"; b\"|; text");
    assert_eq!(dotted("\tcmp.b #'a,d0"), "|instruction cmp|b|#'a&d0|");
    assert_eq!(dotted("\tcmp.b #'\\'',d0 | it's"), "|instruction cmp|b|#'\\''&d0|| it's");
    assert_eq!(dotted("\t.byte '\\n','a''b'"), "|directive .byte||'\\n'&'a''b'|");
    assert_eq!(dotted("\t.word 2* 3 , (a+ b)+ c * no"), "|directive .word||2* 3&(a+ b)+ c|* no");
    assert_eq!(dotted("\t.word 8 / 2 // no"), "|directive .word||8 / 2|// no");
    assert_eq!(dotted("\tput <a>> b"), "|call put||<a>> b|");
    assert_eq!(dotted("\tput <a> b"), "|call put||<a>|b");
    assert_eq!(dotted(".end"), "|directive .end|||");
    assert_eq!(dotted("nop // nothing"), "|instruction nop|||// nothing");
    assert_eq!(dotted("1: jra 1b"), "1|instruction jra||1b|");
}

/// A byte order mark counts as one only where the file starts, also when a part of the file is read again.
#[test]
fn a_byte_order_mark_is_one_at_the_start_of_the_file_only() {
    let mut expected = "start\tnop\n".repeat(1000);
    let mut document = Document::new(&expected, None);
    let far = expected.len() / 2;
    for (range, new) in [(far..far, "\u{feff}"), (0..0, "\u{feff}"), (0..0, "\n"), (0..1, ""), (0..3, "")] {
        expected.replace_range(range.clone(), new);
        document.edit(range, new).unwrap();
        assert_eq!(content(document.file()), content(&File::new(&expected, None)));
    }
    let marked = File::new("\u{feff}start nop\n\u{feff}start nop\n", None);
    let label = |line| {
        let (line, text) = marked.line(line).unwrap();
        line.label.of(text)
    };
    assert_eq!((label(0), label(1)), ("start", "\u{feff}start"));
}

/// Local labels of Motorola syntax may have the names of directives: alone in column one, they say nothing of the dialect.
#[test]
fn local_labels_with_the_names_of_directives_are_no_sign_of_the_dotted_style() {
    let dialect = |text| File::new(text, None).dialect();
    assert_eq!(
        dialect("\tbra.s .skip\n.skip\n.end\tmove.w d0,d1\n.error ; out\n.fill dc.b 1\n.skip:\n"),
        Dialect::Motorola
    );
    assert_eq!(dialect(".text\n\tnop\n"), Dialect::Dotted);
    assert_eq!(dialect(".skip 4\n"), Dialect::Dotted);
    assert_eq!(dialect("\tnop\n\t.end\n"), Dialect::Dotted);
}
