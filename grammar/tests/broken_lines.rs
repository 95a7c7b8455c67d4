//! A broken line never changes how the lines after it are read, and the grammars have a node for everything that can stand
//! on a line: no text makes an ERROR.

use proptest::{prelude::*, test_runner::FileFailurePersistence};
use tree_sitter::{Language, Node, Parser};

/// Lines that follow the garbage, of every kind. None holds the end of a block comment.
const AFTER: &str = "next:\tmove.w\t#1,d0\n\
    \tlea\ttable(pc),a0\n\
    * a comment\n\
    other\tequ\t5\n\
    \n\
    \tstore\td0,<a b>\n\
    \tdc.b\t'x',2\n\
    end\n";

/// Pieces of lines: everything that means something somewhere.
const PIECES: [&str; 83] = [
    "movl", "mov", "a0@", "@+", "L%1", ":w", "SYM (a):", "ENTRY(", "move", "dc", "rts", "macro", "if", "end",
    "include", "foo", ".loop", "x$", "1$", "12", "$1F", "%101", "@17", "1.5", "0x", "0r1", "\\1", "\\@", "d0", "a0",
    "sp", "pc", "sr", ".w", ".l", ".x", ".", "..", ":", "::", ":=", "=", "==", ",", ";", "*", "**", "* ", "|", "||",
    "/", "//", "/*", "#", "&", "&&", "!", "!=", "<", ">", "<>", "<<", "~", "^", "+", "-", "(", ")", "[", "]", "{", "}",
    "'", "''", "\"", "\\", "\t", " ", "  ", "\u{c}", "é", "\u{1a}", "\0",
];

fn garbage() -> impl Strategy<Value = String> {
    let pieces = prop::collection::vec(prop::sample::select(PIECES.to_vec()), 0..14).prop_map(|it| it.concat());
    let characters = prop::collection::vec(
        any::<char>().prop_filter("a line has no end inside", |it| !matches!(*it, '\n' | '\r' | char::MAX)),
        0..12,
    )
    .prop_map(|it| it.into_iter().collect::<String>());
    let starts = prop::sample::select(vec![
        "\tmove.w\t",
        "\tdc.b ",
        "\tstore ",
        "\tinclude ",
        "x = ",
        "\tmove (",
        "\tnop ",
        "a: ",
        "a ",
    ]);
    let line = prop_oneof![
        4 => pieces.clone(),
        8 => (starts, pieces).prop_map(|(start, it)| format!("{start}{it}")),
        1 => characters,
        1 => "[ -~\\t]{0,30}",
    ];
    // A line of the preprocessor would go on.
    line.prop_map(|it| if it.contains('#') { it.trim_end_matches('\\').to_owned() } else { it })
}

fn parse(language: &Language, text: &str) -> tree_sitter::Tree {
    let mut parser = Parser::new();
    parser.set_language(language).expect("the library reads this format");
    parser.parse(text, None).expect("nothing stops the parser")
}

/// Every node that starts at or after `start`: kind and place from there.
fn nodes_from(node: Node<'_>, start: usize, found: &mut Vec<(String, usize, usize)>) {
    if node.start_byte() >= start {
        found.push((node.kind().to_owned(), node.start_byte() - start, node.end_byte() - start));
    }
    let mut cursor = node.walk();
    for child in node.children(&mut cursor) {
        nodes_from(child, start, found);
    }
}

fn check(language: Language, lines: &[String]) -> Result<(), TestCaseError> {
    let mut expected = Vec::new();
    nodes_from(parse(&language, AFTER).root_node(), 0, &mut expected);
    expected.retain(|(kind, ..)| kind != "source_file");
    let before: String = lines.iter().map(|it| format!("{it}\n")).collect();
    let text = format!("{before}{AFTER}");
    let tree = parse(&language, &text);
    prop_assert!(!tree.root_node().has_error(), "an error in {:?}: {}", before, tree.root_node().to_sexp());
    let mut found = Vec::new();
    nodes_from(tree.root_node(), before.len(), &mut found);
    prop_assert_eq!(found, expected, "after {:?}", before);
    // The last line may lack its end.
    let open = parse(&language, &lines.concat());
    prop_assert!(!open.root_node().has_error(), "an error in {:?}: {}", lines.concat(), open.root_node().to_sexp());
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 2000,
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct("tests/broken_lines.seeds"))),
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_broken_line_leaves_the_next_ones_alone_in_motorola_syntax(lines in prop::collection::vec(garbage(), 1..3)) {
        check(reveille_grammar::LANGUAGE_M68K.into(), &lines)?;
    }

    #[test]
    fn a_broken_line_leaves_the_next_ones_alone_in_dotted_style(lines in prop::collection::vec(garbage(), 1..3)) {
        check(reveille_grammar::LANGUAGE_M68K_DOTTED.into(), &lines)?;
    }

    #[test]
    fn a_broken_line_leaves_the_next_ones_alone_in_mit_syntax(lines in prop::collection::vec(garbage(), 1..3)) {
        check(reveille_grammar::LANGUAGE_M68K_MIT.into(), &lines)?;
    }

    #[test]
    fn a_broken_line_leaves_the_next_ones_alone_with_ampersands(lines in prop::collection::vec(garbage(), 1..3)) {
        check(reveille_grammar::LANGUAGE_M68K_SGS.into(), &lines)?;
    }
}
