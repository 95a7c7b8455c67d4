//! Every line of the demo and of this crate's own fixtures is read without an ERROR, and without a `broken` node but for the demo
//! that is damaged on purpose.

use std::{
    fs,
    path::{Path, PathBuf},
};

use tree_sitter::{Language, Node, Parser};

/// How the names of assembly sources end.
const SOURCES: &[&str] = &["s", "i", "inc", "asm", "x68"];

/// Files below a folder whose names have one of these endings; none if there is no such folder.
fn sources(folder: &Path, endings: &[&str], found: &mut Vec<PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for path in entries.flatten().map(|it| it.path()) {
        if path.is_dir() {
            sources(&path, endings, found);
        } else if path.extension().is_some_and(|it| endings.iter().any(|known| it == *known)) {
            found.push(path);
        }
    }
}

fn bad_lines(node: Node<'_>, damaged: bool, found: &mut Vec<usize>) {
    if node.is_error() || node.is_missing() || (node.kind() == "broken" && !damaged) {
        found.push(node.start_position().row + 1);
    }
    let mut cursor = node.walk();
    for child in node.children(&mut cursor) {
        bad_lines(child, damaged, found);
    }
}

fn check(language: &Language, path: &Path) {
    let bytes = fs::read(path).expect("a readable source");
    check_text(language, path, &String::from_utf8_lossy(&bytes));
}

fn check_text(language: &Language, path: &Path, text: &str) {
    let mut parser = Parser::new();
    parser.set_language(language).expect("the library reads this format");
    let tree = parser.parse(text, None).expect("nothing stops the parser");
    let mut bad = Vec::new();
    let damaged = path.components().any(|it| it.as_os_str().to_string_lossy().ends_with("-damaged"));
    bad_lines(tree.root_node(), damaged, &mut bad);
    let lines: Vec<_> = text.lines().collect();
    let shown: Vec<_> = bad.iter().map(|it| format!("{it}: {}", lines.get(it - 1).unwrap_or(&""))).collect();
    assert!(bad.is_empty(), "{}:\n{}", path.display(), shown.join("\n"));
}

#[test]
fn every_line_of_the_demo_is_read() {
    let mut found = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/demo"), SOURCES, &mut found);
    for path in found {
        let dotted = path.to_string_lossy().contains("dotted");
        let language = if dotted { reveille_grammar::LANGUAGE_M68K_DOTTED } else { reveille_grammar::LANGUAGE_M68K };
        check(&language.into(), &path);
    }
}

#[test]
fn every_line_of_the_fixtures_is_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("test-fixtures");
    check(&reveille_grammar::LANGUAGE_M68K.into(), &folder.join("motorola.s"));
    check(&reveille_grammar::LANGUAGE_M68K_DOTTED.into(), &folder.join("dotted.s"));
    check(&reveille_grammar::LANGUAGE_M68K_MIT.into(), &folder.join("mit.s"));
    check(&reveille_grammar::LANGUAGE_M68K_SGS.into(), &folder.join("sgs.s"));
}

#[test]
fn every_line_of_the_demo_s_sessions_is_read() {
    let mut found = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("test-fixtures/tide.session")];
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/demo"), &["session"], &mut found);
    for path in found {
        check(&reveille_grammar::LANGUAGE_SESSION.into(), &path);
    }
}

#[test]
fn the_example_in_the_description_of_sessions_is_read() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("session/LANGUAGE.md");
    let description = fs::read_to_string(&path).expect("the description is there");
    let example: Vec<&str> = description
        .lines()
        .skip_while(|it| !it.starts_with("    # "))
        .take_while(|it| it.is_empty() || it.starts_with("    "))
        .map(|it| it.strip_prefix("    ").unwrap_or(it))
        .collect();
    assert!(example.iter().any(|it| it.starts_with("stage")), "{example:?}");
    check_text(&reveille_grammar::LANGUAGE_SESSION.into(), &path, &example.join("\n"));
}

/// The trees of two halves hold the same lines as the tree of the whole: the server parses chunks of some hundred lines.
#[test]
fn a_part_of_a_file_is_read_as_in_the_whole() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("test-fixtures");
    for (name, language) in [
        ("motorola.s", reveille_grammar::LANGUAGE_M68K),
        ("dotted.s", reveille_grammar::LANGUAGE_M68K_DOTTED),
        ("mit.s", reveille_grammar::LANGUAGE_M68K_MIT),
        ("sgs.s", reveille_grammar::LANGUAGE_M68K_SGS),
    ] {
        let text = fs::read_to_string(folder.join(name)).expect("a readable source");
        let mut parser = Parser::new();
        parser.set_language(&language.into()).expect("the library reads this format");
        let mut lines = |text: &str| {
            let tree = parser.parse(text, None).expect("nothing stops the parser");
            let root = tree.root_node();
            let mut cursor = root.walk();
            root.children(&mut cursor).map(|it| it.to_sexp()).collect::<Vec<_>>()
        };
        let whole = lines(&text);
        for (at, _) in text.match_indices('\n').step_by(17) {
            // A comment over several lines and a line of the preprocessor that goes on are what a cut may change.
            if text[..at].ends_with('\\') || text[..at].rfind("/*").is_some_and(|open| !text[open..at].contains("*/")) {
                continue;
            }
            let mut parts = lines(&text[..=at]);
            parts.extend(lines(&text[at + 1..]));
            assert_eq!(parts, whole, "{name} cut after byte {at}");
        }
    }
}
