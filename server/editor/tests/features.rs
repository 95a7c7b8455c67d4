//! What a user sees: the source line, the mark under the cursor, the answer. Snapshots lie in `snapshots/`; after a change that is
//! meant, `INSTA_UPDATE=always cargo test -p reveille-editor` writes them, and the diff is reviewed.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::ops::Range;
use std::path::PathBuf;

use reveille_editor::{completions, definition, hover, outline, references, search, selection, semantic_tokens};
use reveille_facts::Model;
use reveille_fixture::marked;
use reveille_program::{Content, FileId, Program};
use reveille_source::{Encoding, File};

/// A program of files, and the place of the cursor mark `<|>` in it.
fn program(files: &[(&str, &str)]) -> (Model, FileId, usize) {
    let mut program = Program::new();
    let mut cursor = None;
    let mut read = Vec::new();
    for (path, text) in files {
        let marked = marked(text);
        if let Some(at) = marked.cursor {
            cursor = Some((PathBuf::from(path), at));
        }
        read.push((PathBuf::from(path), Content::Text(File::new(&marked.text, None), Encoding::Utf8)));
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

fn hovered(files: &[(&str, &str)]) -> String {
    let (model, file, at) = program(files);
    match hover(&model, file, at) {
        Some(found) => format!("{}\n\n{}", underlined(&model, file, &found.range), found.markdown),
        None => "nothing".into(),
    }
}

fn places(model: &Model, found: &[reveille_editor::Location]) -> Vec<String> {
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
    assert_eq!(hovered(&[("a.s", "* a note about n<|>othing\n")]), "nothing");
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
        }
        let _ = (outline(&model, file), semantic_tokens(&model, file, 0..usize::MAX), search(&model, "a"));
    }
}
