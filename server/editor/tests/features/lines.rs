//! What lines belong to: folding, the outline's ranges, growing selections, lines that are not read.

use reveille_editor::{Block, BlockKind, folds, links, outline, selection, semantic_tokens};
use reveille_facts::Model;
use reveille_fixture::Numbers;
use reveille_program::FileId;

use crate::program;

/// The folds of a file. Any two are nested or share no line.
pub(crate) fn checked_folds(model: &Model, file: FileId) -> Vec<Block> {
    let found = folds(model, file);
    let count = model.program().file(file).unwrap().source().line_count();
    let mut open: Vec<&Block> = Vec::new();
    for block in &found {
        assert!(block.lines.len() > 1 && block.lines.end <= count, "{block:?} of {count} lines");
        while open.last().is_some_and(|it| it.lines.end <= block.lines.start) {
            open.pop();
        }
        if let Some(outer) = open.last() {
            assert!(block.lines.end <= outer.lines.end, "{block:?} crosses {outer:?}");
        }
        open.push(block);
    }
    found
}

/// Folds as `kind first-last`, lines from 1.
fn shown(text: &str) -> Vec<String> {
    let (model, file, _) = program(&[("a.s", text)]);
    let found = checked_folds(&model, file);
    found.iter().map(|it| format!("{:?} {}-{}", it.kind, it.lines.start + 1, it.lines.end)).collect()
}

#[test]
fn macros_repetitions_conditionals_and_comments_fold() {
    let text = "put\tMACRO\n\tifc\t'\\1',''\n\tnop\n\tendc\n\tENDM\n*\n* a\n*\n\trept\t3\n\tnop\n\tendr\n";
    assert_eq!(shown(text), ["Macro 1-5", "Case 2-4", "Comment 6-8", "Repeat 9-11"]);
    assert_eq!(shown("* a\n* b\n\tnop\n* c\n\n* d\n* e\n"), [""; 0], "three comment lines in a row, not fewer");
    // ENDM ends a repetition too.
    assert_eq!(shown("\trept\t3\n\tnop\n\tendm\n\tnop\n"), ["Repeat 1-3"]);
}

#[test]
fn each_case_of_a_conditional_folds() {
    let text = "\tifd\tA\n\tnop\n\telseif\tB\n\tnop\n\telse\n\tnop\n\tendc\n\tnop\n";
    assert_eq!(shown(text), ["Case 1-2", "Case 3-4", "Case 5-7"]);
    assert_eq!(shown("# if it is so\n\tnop\n"), [""; 0], "a comment");
    let text = "#ifdef A\n\tnop\n#else\n\tifd\tB\n\tnop\n\tendc\n#endif\n# define X\n";
    assert_eq!(shown(text), ["Preprocessor 1-2", "Preprocessor 3-7", "Case 4-6"]);
}

#[test]
fn routines_and_tables_fold_from_their_labels_to_their_last_line() {
    let text = "LEN\tEQU\t4\nmain\nentry\tmoveq\t#0,d0\n.x\tbra.s\t.x\n\trts\nTWO\tEQU\t2\n\n* next\nsub\tnop\n\trts\ntab\tdc.b\t1\n\tdc.b\t2\n* more\n\tdc.b\t3\n\tdc.b\t4\nfew\tdc.b\t1\n\tdc.b\t2\n";
    assert_eq!(shown(text), ["Routine 2-5", "Routine 9-10", "Table 11-15"]);
    assert_eq!(shown("tab\n\n\tdc.b\t1\n\tdc.b\t1\n\tdc.b\t1\n\tdc.b\t1\n"), ["Table 1-6"]);
    let text = "\ttext\na\tnop\n\trts\n\tdata\nb\tds.b\t1\n";
    assert_eq!(shown(text), ["Section 1-3", "Routine 2-3", "Section 4-5"]);
}

#[test]
fn broken_structure_folds_as_far_as_it_goes() {
    assert_eq!(
        shown("a\tnop\n\tifd\tX\n\tnop\n\n* end\n"),
        ["Routine 1-5", "Case 2-5"],
        "an IF without end goes to the end"
    );
    assert_eq!(shown("\tendc\n\telse\n\tendm\n\tendr\n#endif\n#else\na\tnop\n\trts\n"), ["Routine 7-8"]);
    // What is open inside ends with what is around it.
    assert_eq!(shown("p\tMACRO\n\tifd\tA\n\tnop\n\tENDM\n\tendc\n\tnop\n"), ["Macro 1-4", "Case 2-3"]);
    assert_eq!(shown("\tifd\tA\n\trept\t2\n\tnop\n\tendc\n\tendr\n"), ["Case 1-4", "Repeat 2-3"]);
    // A macro does not close what stands around it.
    assert_eq!(shown("\tifd\tA\np\tMACRO\n\tendc\n\tENDM\n\tendc\n"), ["Case 1-5", "Macro 2-4"]);
}

#[test]
fn folds_of_random_lines_never_cross() {
    const LINES: &[&str] = &[
        "\tifd\tA",
        "\telse",
        "\tendc",
        "p\tMACRO",
        "\tENDM",
        "\trept\t2",
        "\tendr",
        "#if A",
        "#else",
        "#endif",
        "a\tnop",
        "b",
        "\tnop",
        "\trts",
        "* c",
        "",
        "\tdc.b\t1",
        "t\tdc.b\t1",
        "\ttext",
        "\tdata",
        "\tp\td0",
        "L\tEQU\t1",
        ".x\tnop",
        "\teven",
    ];
    for seed in 0..400 {
        let mut numbers = Numbers::new(seed);
        let count = numbers.below(60);
        let text: String = (0..count).map(|_| format!("{}\n", numbers.pick(LINES))).collect();
        let (model, file, _) = program(&[("a.s", &text)]);
        checked_folds(&model, file);
        let at = numbers.below(text.len() + 1);
        let grown = selection(&model, file, at);
        let grows = |pair: &[std::ops::Range<usize>]| {
            pair[1].start <= pair[0].start && pair[0].end <= pair[1].end && pair[0] != pair[1]
        };
        assert!(grown.windows(2).all(grows), "{text:?} at {at}: {grown:?}");
    }
}

#[test]
fn a_selection_grows_over_the_blocks_around_its_line() {
    let text = "* x\nmain\tnop\n\tifd\tA\n\tmoveq\t#<|>1,d0\n\telse\n\tnop\n\tendc\n\trts\nnext\trts\n";
    let (model, file, at) = program(&[("a.s", text)]);
    let source = model.program().file(file).unwrap().source().text();
    let grown: Vec<&str> = selection(&model, file, at).iter().map(|it| &source[it.clone()]).collect();
    let blocks: Vec<&str> =
        grown.iter().copied().filter(|it| it.ends_with('\n') && it.matches('\n').count() > 1).collect();
    assert_eq!(
        blocks,
        [
            "\tifd\tA\n\tmoveq\t#1,d0\n",
            "\tifd\tA\n\tmoveq\t#1,d0\n\telse\n\tnop\n\tendc\n",
            "main\tnop\n\tifd\tA\n\tmoveq\t#1,d0\n\telse\n\tnop\n\tendc\n\trts\n",
            source.as_str()
        ]
    );
    assert_eq!(grown.first(), Some(&"1"));
}

#[test]
fn the_outline_has_the_lines_that_belong_to_each_name() {
    let text = "put\tMACRO\nin\\@\tmove.b\t\\1,d0\nown\tnop\n\tENDM\nLEN\tEQU\t4\nmain\tnop\n.x\tbra.s\t.x\n\trts\n\n* the next one\nsub\n\trts\ntab\n\teven\n\tdc.b\t1\n\tdc.b\t2\n* end\n";
    let (model, file, _) = program(&[("a.s", text)]);
    let source = model.program().file(file).unwrap().source().text();
    let found: Vec<(String, &str)> = outline(&model, file)
        .iter()
        .map(|it| (format!("{:?} {}", it.kind, it.name), &source[it.range.clone()]))
        .collect();
    let found: Vec<(&str, &str)> = found.iter().map(|it| (it.0.as_str(), it.1)).collect();
    assert_eq!(
        found,
        [
            ("Macro put", "put\tMACRO\nin\\@\tmove.b\t\\1,d0\nown\tnop\n\tENDM"),
            ("Constant LEN", "LEN\tEQU\t4"),
            ("Routine main", "main\tnop\n.x\tbra.s\t.x\n\trts"),
            ("Routine sub", "sub\n\trts"),
            ("Data tab", "tab\n\teven\n\tdc.b\t1\n\tdc.b\t2"),
        ]
    );
}

#[test]
fn words_of_lines_that_are_not_read_are_marked() {
    let inactive = |files: &[(&str, &str)]| -> String {
        let (model, file, _) = program(files);
        let source = model.program().file(file).unwrap().source().text();
        let lines: Vec<&str> = source.lines().collect();
        let tokens = semantic_tokens(&model, file, 0..usize::MAX);
        let tokens = tokens.iter().filter(|it| it.is_inactive);
        tokens.map(|it| &lines[it.line as usize][it.start.into()..it.end.into()]).collect::<Vec<_>>().join(" ")
    };
    let text = "ON\tEQU\t1\n\tif\tON\n\tmoveq\t#1,d0\n\telse\n\tmoveq\t#ON,d1\t; no\n\tendc\n\tnop\n";
    assert_eq!(inactive(&[("a.s", text)]), "moveq ON d1 ; no");
    let text = "p\tMACRO\n\tnop\n\tENDM\n\tifd\tNOWHERE\nq\tMACRO\n\trts\n\tENDM\n\tendc\n\tp\n";
    assert_eq!(inactive(&[("a.s", text)]), "q MACRO rts ENDM", "a macro's body is read where it is called");
    assert_eq!(inactive(&[("a.s", "\tif\tUNKNOWN\n\tnop\n\telse\n\trts\n\tendc\n")]), "", "nobody knows");
    assert_eq!(inactive(&[("a.s", "\tnop\n\tend\n\trts\n")]), "rts");
    // A guard makes an included file empty the second time it is read, and another unit may read what this one does not.
    let guarded = "\tifnd\tGUARD\nGUARD\tEQU\t1\n\tnop\n\tendc\n";
    assert_eq!(inactive(&[("g.i", guarded), ("a.s", "\tinclude\tg.i\n\tinclude\tg.i\n")]), "");
    let shared = "\tif\tBIG\n\tnop\n\telse\n\trts\n\tendc\n\tif\tBIG>1\n\treset\n\tendc\n";
    let (one, two) = (("a.s", "BIG\tEQU\t1\n\tinclude\ts.i\n"), ("b.s", "BIG\tEQU\t0\n\tinclude\ts.i\n"));
    assert_eq!(inactive(&[("s.i", shared), one, two]), "reset");
}

#[test]
fn all_lines_behind_end_are_marked_however_many() {
    let mut text = "\tnop\n\tend\n".to_owned();
    text.push_str(&"\trts\n".repeat(1000));
    let (model, file, _) = program(&[("a.s", &text)]);
    let tokens = semantic_tokens(&model, file, 0..usize::MAX);
    assert_eq!(tokens.iter().filter(|it| it.is_inactive).count(), 1000);
}

#[test]
fn names_of_files_lead_to_the_files() {
    let text = "\tinclude\t'lib/one.i'\n\tincbin\ttwo.i\n#include \"three.i\"\n\tinclude\tnowhere.i\n* include one.i\n#include nothing\n";
    let files = [("a.s", text), ("lib/one.i", "\n"), ("two.i", "\n"), ("three.i", "\n")];
    let (model, file, _) = program(&files);
    let found: Vec<(String, String)> = links(&model, file)
        .iter()
        .map(|it| {
            (text[it.range.clone()].to_owned(), model.program().file(it.target).unwrap().path().display().to_string())
        })
        .collect();
    let expected = [("lib/one.i", "lib/one.i"), ("two.i", "two.i"), ("three.i", "three.i")];
    assert_eq!(found, expected.map(|it| (it.0.to_owned(), it.1.to_owned())));
}

#[test]
fn folding_a_large_broken_file_takes_no_longer_than_reading_it() {
    // Nothing closes what is opened, and what closes something finds nothing: each line is looked at once.
    let text = "\trept\t2\n".repeat(30_000) + &"\tendc\n".repeat(30_000);
    let (model, file, _) = program(&[("a.s", &text)]);
    let found = checked_folds(&model, file);
    assert_eq!(found.len(), 30_000);
    assert!(found.iter().all(|it| it.kind == BlockKind::Repeat && it.lines.end == 60_000));
}
