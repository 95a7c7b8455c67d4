//! What a user sees: the source line, the mark under the cursor, the answer. Snapshots lie in `snapshots/`; after a change that is
//! meant, `INSTA_UPDATE=always cargo test -p reveille-editor` writes them, and the diff is reviewed.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod c;
mod calls;
mod constants;
mod expansions;
mod lines;
mod renaming;
mod serial;
mod session;

use std::ops::Range;
use std::path::PathBuf;

use reveille_editor::{
    HintKinds, completions, definition, hints, hover, outline, references, routines, search, selection,
    semantic_tokens, signatures,
};
use reveille_facts::Model;
use reveille_fixture::marked;
use reveille_program::{Content, FileId, Program};
use reveille_source::{Encoding, File};

/// A program of files, and the place of the cursor mark `<|>` in it.
pub(crate) fn program(files: &[(&str, &str)]) -> (Model, FileId, usize) {
    let mut program = Program::new();
    let mut cursor = None;
    let mut read = Vec::new();
    for (path, text) in files {
        let mut text = (*text).to_owned();
        // Two brackets of a machine file are no marks.
        if !path.ends_with(".toml") {
            let marked = marked(&text);
            cursor = marked.cursor.map(|at| (PathBuf::from(path), at)).or(cursor);
            text = marked.text;
        }
        let text = File::new(&text, None);
        let is_beside = [".toml", ".session", ".c"].iter().any(|it| path.ends_with(it));
        let content = if is_beside { Content::Beside(text) } else { Content::Text(text, Encoding::Utf8) };
        read.push((PathBuf::from(path), content));
    }
    program.set_files(read);
    let (path, at) = cursor.unwrap_or((PathBuf::from(files[0].0), 0));
    let file = program.file_at(&path).unwrap().id();
    (Model::new(program, &[], None), file, at)
}

/// The line of a range with a mark under it.
fn underlined(model: &Model, file: FileId, range: &Range<usize>) -> String {
    let source = model.program().file(file).unwrap().source().clone();
    let number = source.line_of(range.start);
    let (start, text) = (source.line_start(number), source.line(number).map_or("", |it| it.1).to_owned());
    let pad: String = text[..range.start - start].chars().map(|it| if it == '\t' { '\t' } else { ' ' }).collect();
    let width = range.end.min(start + text.len()).saturating_sub(range.start).max(1);
    format!("{text}\n{pad}{}", "^".repeat(width))
}

pub(crate) fn hovered(files: &[(&str, &str)]) -> String {
    let (model, file, at) = program(files);
    match hover(&model, file, at) {
        Some(found) => format!("{}\n\n{}", underlined(&model, file, &found.range), found.markdown),
        None => "nothing".into(),
    }
}

pub(crate) fn places(model: &Model, found: &[reveille_editor::Location]) -> Vec<String> {
    found
        .iter()
        .map(|it| {
            let file = model.program().file(it.file).unwrap();
            let line = file.source().line_of(it.range.start);
            let start = file.source().line_start(line);
            let text = file.source().line(line).map_or("", |it| it.1);
            format!("{}:{} {}", file.path().display(), line + 1, &text[it.range.start - start..it.range.end - start])
        })
        .collect()
}

const TABLE: &str = "SPT\tEQU\t9\tsectors on a track\n* disk formats\nformats\n\tDC.B\t0,2,2,1,0,2,112,0,$A0,5,$F9,3,0,SPT,0,2,0,0,0\n\tDC.B\t0,2,1,1,0,2,224,0,$40,$0B,$F0,9,0,18,0,2,0,0,0\n\tEVEN\nstart\tLEA\tformats,A0\n\tMOVE.W\t#$4E75,D0\n.wait\tBRA.S\t.wait\n\tRTS\n";

fn at(mark: &str) -> String {
    assert!(TABLE.contains(&mark.replace("<|>", "")), "{mark}");
    TABLE.replacen(&mark.replace("<|>", ""), mark, 1)
}

#[test]
fn a_row_of_bytes_tells_its_disk() {
    insta::assert_snapshot!("hover_block_field", hovered(&[("a.s", &at("<|>$A0"))]));
    insta::assert_snapshot!("hover_second_entry", hovered(&[("a.s", &at("<|>$F0"))]));
    insta::assert_snapshot!("hover_block_by_name", hovered(&[("a.s", &at("<|>SPT,0,2"))]));
}

#[test]
fn names_numbers_registers_and_operations_are_explained() {
    insta::assert_snapshot!("hover_label", hovered(&[("a.s", &at("for<|>mats,A0"))]));
    insta::assert_snapshot!(
        "hover_constant",
        hovered(&[("a.s", "SPT\tEQU\t9\tsectors on a track\n\tmoveq\t#S<|>PT,d0\n")])
    );
    insta::assert_snapshot!("hover_number", hovered(&[("a.s", &at("#$4E<|>75"))]));
    insta::assert_snapshot!("hover_text", hovered(&[("a.s", "\tcmpi.l\t#'BO<|>OT',d0\n")]));
    insta::assert_snapshot!("hover_register", hovered(&[("a.s", &at("<|>D0"))]));
    insta::assert_snapshot!("hover_operation", hovered(&[("a.s", &at("<|>MOVE.W"))]));
    assert_eq!(hovered(&[("a.s", "\n* a note about n<|>othing\n")]), "nothing");
}

const CODE: &str = "RATE\tEQU\t$80004\n\tORG\t$400\nstart\tMOVEQ\t#9,D2\n\tLEA\ttable,A1\n\tMOVE\tRATE,D0\n\tADD.W\t#4,D0\n\tBSR\tsend\n\tBEQ\tstart\n\tMOVE.L\tD2,(A1)+\n\tRTS\n*\tsends a byte\nsend\tLSL.B\tD1,D0\n.s1\tBTST\t#2,3(A1)\n\tBEQ.S\t.s1\n\tMULU\tD1,D0\n\tMOVE\tSR,-(SP)\n\tRTR\ntable\tDC.W\t$4E75,$33FC,1,0,$400\n";

fn on(mark: &str) -> String {
    assert!(CODE.contains(&mark.replace("<|>", "")), "{mark}");
    CODE.replacen(&mark.replace("<|>", ""), mark, 1)
}

#[test]
fn an_instruction_tells_what_it_is_costs_and_changes() {
    // Words and times: M68000 Family Programmer's Reference Manual and M68000 User's Manual, section 8 (from memory; the table's own tests
    // hold them against both).
    for (name, mark) in [
        ("hover_move", "M<|>OVE\tRATE"),
        ("hover_quick", "A<|>DD.W"),
        ("hover_branch", "B<|>SR"),
        ("hover_condition", "B<|>EQ\t"),
        ("hover_shift", "L<|>SL.B"),
        ("hover_multiply", "M<|>ULU"),
    ] {
        insta::assert_snapshot!(name, hovered(&[("a.s", &on(mark))]));
    }
    // What cannot be encoded tells what could.
    insta::assert_snapshot!("hover_misfit", hovered(&[("a.s", "\tEX<|>T.W\t(A0)\n")]));
}

#[test]
fn a_register_tells_what_straight_line_code_last_wrote_to_it() {
    let text = hovered(&[("a.s", &on("MOVE.L\tD<|>2"))]);
    assert!(!text.contains("last written"), "a call and a branch lie between: {text}");
    let text = hovered(&[("a.s", &on("\tADD.W\t#4,D<|>0"))]);
    assert!(text.contains("last written by line 5, `MOVE RATE,D0`"), "{text}");
    let text = hovered(&[("a.s", "\tMOVEQ\t#9,D2\n\tADD.W\tD<|>2,D3\n")]);
    assert!(text.contains("last written by line 1, `MOVEQ #9,D2`: 9 = $09"), "{text}");
    let text = hovered(&[("a.s", "\tMOVEQ\t#9,D2\nhere\tADD.W\tD<|>2,D3\n")]);
    assert!(!text.contains("last written"), "other code may come to a label: {text}");
}

#[test]
fn words_of_data_are_told_as_instructions() {
    // RTS is $4E75, MOVE.W #1,$400.L is $33FC (M68000 Family Programmer's Reference Manual, from memory).
    assert!(hovered(&[("a.s", &on("$4E<|>75"))]).contains("as an instruction: `rts`"));
    let text = hovered(&[("a.s", &on("$33<|>FC"))]);
    assert!(text.contains("as an instruction: `move.w #1,$400.l (4 words)`"), "{text}");
    assert!(!hovered(&[("a.s", "\tDC.B\t$4<|>E\n")]).contains("instruction"));
}

#[test]
fn a_routine_tells_its_bytes_and_cycles() {
    let text = hovered(&[("a.s", &on("BSR\tse<|>nd"))]);
    assert!(text.contains("16 bytes") && text.contains("each of 6 instructions once"), "{text}");
    let (model, file, _) = program(&[("a.s", CODE)]);
    let found = routines(&model, file);
    let shown: Vec<_> = found.iter().map(|it| (&CODE[it.0.clone()], it.1.bytes, it.1.instructions)).collect();
    assert_eq!(shown, [("send", 16, 6)]);
    // LSL 6 to 132, BTST 16, BEQ.S 8 to 10, MULU 38 to 70, MOVE SR 14, RTR 20: M68000 User's Manual, section 8 (from memory).
    assert_eq!(found[0].1.cycles, (6 + 16 + 8 + 38 + 14 + 20, 132 + 16 + 10 + 70 + 14 + 20));
}

#[test]
fn hints_are_shown_as_they_are_wanted() {
    let (model, file, _) = program(&[("a.s", CODE)]);
    let shown = |kinds| -> Vec<String> { hints(&model, file, 2..5, kinds).into_iter().map(|it| it.text).collect() };
    assert_eq!(shown(HintKinds::default()), [""; 0]);
    assert_eq!(shown(HintKinds { addresses: true, cycles: false }), ["$000400", "$000402", "$000408"]);
    assert_eq!(
        shown(HintKinds { addresses: true, cycles: true }),
        ["$000400, 4 cycles", "$000402, 12 cycles", "$000408, 16 cycles"]
    );
    let at = hints(&model, file, 2..3, HintKinds { addresses: true, cycles: true })[0].at;
    assert!(CODE[..at].ends_with("MOVEQ\t#9,D2"));
}

#[test]
fn the_operands_that_an_instruction_takes_are_told_while_they_are_typed() {
    let check = |text: &str| {
        let (model, file, at) = program(&[("a.s", text)]);
        let (found, form, operand) = signatures(&model, file, at)?;
        let shown: Vec<String> = found.iter().map(|it| it.label.clone()).collect();
        let own = found[form].operands.get(operand).map(|it| it.1.clone());
        Some((shown, form, operand, own))
    };
    let (shown, form, operand, own) = check("\tMOVEP.W\tD0,<|>\n").unwrap();
    assert_eq!(shown, ["movep.wl Dn,d16(An)", "movep.wl d16(An),Dn"]);
    assert_eq!((form, operand, own.as_deref()), (0, 1, Some("d16(An)")));
    let (shown, form, ..) = check("\tMOVEP.W\t2(A0),D<|>1\n").unwrap();
    assert_eq!(shown[form], "movep.wl d16(An),Dn");
    let (shown, ..) = check("\tADD.B\t<|>\n").unwrap();
    assert!(
        shown.contains(&"addq.bwl #1-8,<ea>".to_owned()) && !shown.iter().any(|it| it.starts_with("adda")),
        "{shown:?}"
    );
    assert_eq!(check("\tNOP\t<|>\n"), None);
    assert_eq!(check("\tMO<|>VE\n"), None);
}

#[test]
fn definitions_are_found_across_files_and_scopes() {
    let check = |files: &[(&str, &str)]| {
        let (model, file, at) = program(files);
        definition(&model, file, at).map_or(Vec::new(), |it| places(&model, &it.1))
    };
    let include = ("inc.i", "LEN\tEQU\t5\nput\tMACRO\n\tnop\n\tENDM\n");
    assert_eq!(check(&[("a.s", "\tinclude\tinc.i\n\tdc.b\tL<|>EN\n"), include]), ["inc.i:1 LEN"]);
    assert_eq!(check(&[("a.s", "\tinclude\t'in<|>c.i'\n"), include]), ["inc.i:1 "]);
    assert_eq!(check(&[("a.s", "\tinclude\tinc.i\n\tp<|>ut\td0\n"), include]), ["inc.i:2 put"]);
    assert_eq!(check(&[("a.s", "a\n.x\tnop\nb\n.x\tnop\n\tbra\t.<|>x\n")]), ["a.s:4 .x"]);
    assert_eq!(check(&[("a.s", "n\tset\t1\nn\tset\t2\n\tdc.b\t<|>n\n")]), ["a.s:1 n", "a.s:2 n"]);
    assert_eq!(check(&[("a.s", "Loop\tnop\n\tbra\tlo<|>op\n")]), ["a.s:1 Loop"]);
    assert_eq!(check(&[("a.s", "\t.text\n1:\tjra\t1<|>f\n1:\tnop\n")]), ["a.s:3 1"]);
    assert_eq!(check(&[("a.s", "\tmove\t#<|>12,d0\n")]), [""; 0]);
}

#[test]
fn references_are_found_in_every_file_of_the_program() {
    let files = [("a.s", "\tinclude\tb.i\ngo\tbsr\tgo\n\tdc.l\tgo+2,other\n"), ("b.i", "\tbra\tg<|>o\nother\tnop\n")];
    let (model, file, at) = program(&files);
    let all = places(&model, &references(&model, file, at, true));
    assert_eq!(all, ["a.s:2 go", "a.s:2 go", "a.s:3 go", "b.i:1 go"]);
    assert_eq!(places(&model, &references(&model, file, at, false)).len(), 3);
}

#[test]
fn the_outline_has_local_labels_below_their_label() {
    let (model, file, _) = program(&[("a.s", TABLE)]);
    let shown: Vec<String> = outline(&model, file)
        .iter()
        .map(|it| {
            format!(
                "{:?} {} [{}] {:?}",
                it.kind,
                it.name,
                it.detail,
                it.children.iter().map(|it| &*it.name).collect::<Vec<_>>()
            )
        })
        .collect();
    assert_eq!(shown, ["Constant SPT [9] []", "Block formats [2 x fat-block-19] []", "Routine start [] [\".wait\"]"]);
    let found: Vec<String> = search(&model, "fmt").into_iter().map(|it| it.name).collect();
    assert_eq!(found, ["formats"]);
}

#[test]
fn every_word_has_its_kind() {
    let (model, file, _) = program(&[("a.s", TABLE)]);
    let lines: Vec<&str> = TABLE.lines().collect();
    let tokens = semantic_tokens(&model, file, 0..usize::MAX);
    let shown: Vec<String> = tokens
        .iter()
        .filter(|it| it.line >= 6)
        .map(|it| format!("{}:{:?}", &lines[it.line as usize][it.start.into()..it.end.into()], it.kind))
        .collect();
    assert_eq!(
        shown.join(" "),
        "start:Label LEA:Instruction formats:Label A0:Register MOVE:Instruction W:Size $4E75:Number D0:Register \
         .wait:Label BRA:Instruction S:Size .wait:Label RTS:Instruction"
    );
    let part = semantic_tokens(&model, file, 7..9);
    assert_eq!(part, tokens.iter().filter(|it| (7..9).contains(&it.line)).copied().collect::<Vec<_>>());
}

#[test]
fn completion_knows_what_can_stand_where() {
    let check = |files: &[(&str, &str)]| -> Vec<String> {
        let (model, file, at) = program(files);
        completions(&model, file, at).0.into_iter().map(|it| it.label).collect()
    };
    let operations = check(&[("a.s", "\tmov<|>\n")]);
    assert!(operations.contains(&"movem".into()) && operations.contains(&"dcb".into()));
    assert!(check(&[("a.s", "\tMOV<|>\n")]).contains(&"MOVEM".into()));
    assert!(check(&[("a.s", "\t.text\n\t.wo<|>\n")]).contains(&".word".into()));
    assert_eq!(check(&[("a.s", "\tmovem.<|>\n")]), ["w", "l"]);
    assert_eq!(check(&[("a.s", "\tdc.<|>\n")]), ["b", "w", "l"]);
    let operands = check(&[("a.s", "LEN\tequ\t5\nbuf\tds.b\t4\n\tmove.w\t#<|>\n")]);
    assert!(operands.contains(&"LEN".into()) && operands.contains(&"buf".into()) && operands.contains(&"d0".into()));
    let legal = check(&[("a.s", "\tlea\t(a0),<|>\n")]);
    assert!(legal.contains(&"a1".into()) && !legal.contains(&"d1".into()), "LEA writes address registers: {legal:?}");
    let legal = check(&[("a.s", "\tclr.w\t<|>\n")]);
    assert!(legal.contains(&"(a0)+".into()) && !legal.contains(&"#".into()) && !legal.contains(&"0(pc)".into()));
    let legal = check(&[("a.s", "\tmove.b\t<|>\n")]);
    assert!(
        legal.contains(&"0(pc)".into()) && !legal.contains(&"a1".into()),
        "no byte of an address register: {legal:?}"
    );
    assert_eq!(check(&[("a.s", "a\n.one\tnop\nb\n.two\tnop\n\tbra\t.<|>\n")]), [".two"]);
    assert!(check(&[("a.s", "* @block <|>\n")]).contains(&"fat-block-19".into()));
    assert_eq!(check(&[("fw/a.s", "\tinclude\t\"<|>\n"), ("fw/sub/b.i", "\n")]), ["sub/b.i"]);
    assert_eq!(check(&[("a.s", "lab<|>\n")]), [""; 0]);
}

#[test]
fn a_selection_grows_by_the_parts_of_a_line() {
    let (model, file, at) = program(&[("a.s", &at("#$4E<|>75"))]);
    let source = model.program().file(file).unwrap().source().text();
    let grown: Vec<&str> = selection(&model, file, at).iter().map(|it| &source[it.clone()]).collect();
    assert!(grown.starts_with(&["$4E75", "#$4E75", "#$4E75,D0"]), "{grown:?}");
    assert_eq!(grown.last(), Some(&source.as_str()));
    assert!(grown.windows(2).all(|pair| pair[1].contains(pair[0])));
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig { cases: 60, ..Default::default() })]
    /// Nothing that is asked at any place of any text fails.
    #[test]
    fn every_place_of_every_text_has_an_answer(parts in proptest::collection::vec(0..20usize, 0..40)) {
        const PIECES: &[&str] = &[
            "a", "\t", "\n", "dc.b", "move.w", "'", "\"", "é𝄞", "(", ")", ",", "$1F", "%", "#", ".x", "1$", "include b", "\r\n", ";", "\\1",
        ];
        let text: String = parts.iter().map(|at| PIECES[*at]).collect();
        let (model, file, _) = program(&[("a.s", &text), ("b", "x\n")]);
        for at in (0..=text.len()).filter(|at| text.is_char_boundary(*at)) {
            let _ = (hover(&model, file, at), definition(&model, file, at), references(&model, file, at, true));
            let _ = (completions(&model, file, at), selection(&model, file, at), reveille_editor::actions(&model, file, at..at));
            let _ = (reveille_editor::prepare_rename(&model, file, at), reveille_editor::rename(&model, file, at, "fresh"));
            let _ = (signatures(&model, file, at), reveille_editor::highlights(&model, file, at));
            let _ = (reveille_editor::incoming_calls(&model, file, at), reveille_editor::outgoing_calls(&model, file, at));
        }
        let _ = (hints(&model, file, 0..usize::MAX, HintKinds { addresses: true, cycles: true }), routines(&model, file));
        let _ = (reveille_editor::links(&model, file), lines::checked_folds(&model, file));
        let _ = (outline(&model, file), semantic_tokens(&model, file, 0..usize::MAX), search(&model, "a"));
    }
}
