//! A line of a session that cannot be read never changes how the other lines are read, and no text makes an ERROR.

use proptest::{prelude::*, test_runner::FileFailurePersistence};
use tree_sitter::{Node, Parser, Tree};

/// Every step and every form of it.
const SCRIPT: &str = include_str!("../test-fixtures/tide.session");

/// Nodes of several lines, which end elsewhere when a line comes in.
const CONTAINERS: [&str; 5] = ["source_file", "section", "repeat_block", "if_block", "else_branch"];

/// Words that, at a line's start, are meant to change what other lines belong to.
const BLOCKS: [&str; 5] = ["stage", "repeat", "if", "else", "end"];

/// Pieces of lines, between blanks: everything that means something somewhere, but for what holds a blank.
const PIECES: &str = r##"machine console log pace press send await ask dump fill poke registers read write load start check keep
    confirm pause repeat if else end include stage from source flow xon-xoff rts on line prompt pattern as using with byte
    sector of track into boot file at matches in times within or stop and not name a-b x$ 12 $1F %101 0x1 4k 10s 8n1 control-C
    'A' "a#b" "\r" .. +: . [ ] ( ) , == << + % ! # " ' \ é"##;

fn garbage() -> impl Strategy<Value = String> {
    let mut pieces: Vec<&str> = PIECES.split_whitespace().collect();
    pieces.extend(["or stop", "\"a # b\"", "\\\n", "\t", "\0"]);
    let piece = (prop::sample::select(pieces), prop::sample::select(vec![" ", " ", "  ", ""]));
    let pieces = prop::collection::vec(piece, 0..14).prop_map(|it| it.iter().map(|it| [it.0, it.1].concat()).collect());
    let characters = prop::collection::vec(
        any::<char>().prop_filter("a line has no end inside", |it| !matches!(*it, '\n' | '\r' | char::MAX)),
        0..12,
    )
    .prop_map(|it| it.into_iter().collect::<String>());
    let starts: Vec<&str> = SCRIPT.lines().collect();
    let start = (prop::sample::select(starts), any::<prop::sample::Index>(), characters.clone()).prop_map(|it| {
        let (line, end, rest) = it;
        let end = end.index(line.len() + 1);
        format!("{}{rest}", line.get(..end).unwrap_or(line))
    });
    prop_oneof![
        8 => pieces,
        4 => start,
        1 => characters,
        1 => "[ -~\\t]{0,30}",
    ]
    // It would go on in the next line.
    .prop_map(|it: String| it.trim_end_matches('\\').trim_end_matches('\n').trim_end_matches('\\').to_owned())
    .prop_filter("a line is meant to change what others belong to", |it| {
        !it.lines().any(|line| {
            let first = line.trim_start_matches([' ', '\t']);
            let end =
                first.find(|it: char| !it.is_ascii_alphanumeric() && it != '_' && it != '$').unwrap_or(first.len());
            BLOCKS.contains(&&first[..end])
        })
    })
}

fn parse(text: &str) -> Tree {
    let mut parser = Parser::new();
    parser.set_language(&reveille_grammar::LANGUAGE_SESSION.into()).expect("the library reads this format");
    parser.parse(text, None).expect("nothing stops the parser")
}

/// Kind, start and end of every node but the containers.
fn nodes(tree: &Tree) -> Vec<(String, usize, usize)> {
    fn visit(node: Node<'_>, found: &mut Vec<(String, usize, usize)>) {
        if !CONTAINERS.contains(&node.kind()) {
            found.push((node.kind().to_owned(), node.start_byte(), node.end_byte()));
        }
        let mut cursor = node.walk();
        for child in node.children(&mut cursor) {
            visit(child, found);
        }
    }
    let mut found = Vec::new();
    visit(tree.root_node(), &mut found);
    found.sort_by_key(|it| it.1);
    found
}

/// Where a line may come in: after each line end that no backslash stands before.
fn gaps() -> Vec<usize> {
    let ends = SCRIPT.match_indices('\n').filter(|it| !SCRIPT[..it.0].ends_with('\\')).map(|it| it.0 + 1);
    std::iter::once(0).chain(ends).collect()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 3000,
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct("tests/session_lines.seeds"))),
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_broken_line_leaves_all_others_alone(
        lines in prop::collection::vec(garbage(), 1..4),
        place in any::<prop::sample::Index>(),
        line_end in prop::sample::select(vec!["\n", "\r\n", "\r"]),
    ) {
        let at = *place.get(&gaps());
        let more: String = lines.iter().map(|it| format!("{it}{line_end}")).collect();
        let tree = parse(&format!("{}{more}{}", &SCRIPT[..at], &SCRIPT[at..]));
        prop_assert!(!tree.root_node().has_error(), "an error in {more:?}: {}", tree.root_node().to_sexp());
        let expected: Vec<_> = nodes(&parse(SCRIPT))
            .into_iter()
            .map(|(kind, start, end)| if start < at { (kind, start, end) } else { (kind, start + more.len(), end + more.len()) })
            .collect();
        let mut found = nodes(&tree);
        found.retain(|it| it.1 < at || it.1 >= at + more.len());
        prop_assert_eq!(found, expected, "with {:?} at {}", more, at);
    }

    #[test]
    fn nothing_is_an_error_at_the_end_of_a_file(lines in prop::collection::vec(garbage(), 1..4), blocks in any::<bool>()) {
        let before = if blocks { "stage \"a\"\nif a\nrepeat 2 times\nif b\nelse\n" } else { "" };
        let text = format!("{before}{}", lines.join("\n"));
        let tree = parse(&text);
        prop_assert!(!tree.root_node().has_error(), "an error in {text:?}: {}", tree.root_node().to_sexp());
    }

    #[test]
    fn any_order_of_block_lines_is_read(lines in prop::collection::vec(prop::sample::select(vec![
        "stage \"a\"", "repeat 2 times", "if a", "else", "end", "press tab", "", "# a", "jump", "if", "end of", "else # a",
    ]), 0..24)) {
        let text = lines.join("\n");
        let tree = parse(&text);
        prop_assert!(!tree.root_node().has_error(), "an error in {text:?}: {}", tree.root_node().to_sexp());
        let steps = nodes(&tree).iter().filter(|it| it.0 == "press_step").count();
        prop_assert_eq!(steps, lines.iter().filter(|it| **it == "press tab").count());
    }
}

#[test]
fn a_script_that_ends_anywhere_is_read_up_to_there() {
    let whole = nodes(&parse(SCRIPT));
    for end in 0..=SCRIPT.len() {
        let tree = parse(&SCRIPT[..end]);
        assert!(!tree.root_node().has_error(), "an error in a script of {end} bytes");
        let line = *gaps().iter().rfind(|it| **it <= end).expect("the script's start is one");
        let read = |all: &[(String, usize, usize)]| all.iter().filter(|it| it.1 < line).cloned().collect::<Vec<_>>();
        assert_eq!(read(&nodes(&tree)), read(&whole), "a script of {end} bytes");
    }
}
