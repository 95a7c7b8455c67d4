//! Runs the corpus cases of every grammar, in the format of `test/corpus`: a name between two lines of `=`, the source, a line
//! of `-`, the tree.
//!
//! `REVEILLE_UPDATE=1` writes the trees that come out into the files; read the difference before you keep it. A case that ends in
//! `:broken` may hold `broken` nodes; no case may hold an ERROR. In a source `<CR>`, `<FF>`, `<SUB>` and `<EOF>` stand for a
//! carriage return, a form feed, the byte 1A hex and an end without a line end.

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

use tree_sitter::{Language, Node, Parser};

struct Case {
    name: String,
    source: String,
    tree: String,
}

fn files(grammar: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(grammar).join("test/corpus");
    let mut files: Vec<_> = fs::read_dir(folder)
        .expect("the corpus is there")
        .map(|it| it.expect("a readable folder").path())
        .filter(|it| it.extension().is_some_and(|it| it == "txt"))
        .collect();
    files.sort();
    files
}

fn is_bar(line: &str, of: char) -> bool {
    line.len() >= 3 && line.chars().all(|it| it == of)
}

fn cases(text: &str) -> Vec<Case> {
    let lines: Vec<&str> = text.split('\n').collect();
    let starts: Vec<usize> =
        (0..lines.len().saturating_sub(2)).filter(|&it| is_bar(lines[it], '=') && is_bar(lines[it + 2], '=')).collect();
    starts
        .iter()
        .enumerate()
        .map(|(index, &start)| {
            let end = starts.get(index + 1).copied().unwrap_or(lines.len());
            let body = &lines[start + 3..end];
            let bar = body.iter().position(|it| is_bar(it, '-')).expect("a line of `-` in every case");
            Case {
                name: lines[start + 1].to_owned(),
                source: body[..bar].iter().map(|it| format!("{it}\n")).collect(),
                tree: body[bar + 1..].join("\n").trim().to_owned(),
            }
        })
        .collect()
}

/// The source that a case stands for.
fn real(source: &str) -> String {
    let text =
        source.replace("<CR>\n", "\r").replace("<CRLF>\n", "\r\n").replace("<FF>", "\u{c}").replace("<SUB>", "\u{1a}");
    text.split("<EOF>").next().unwrap_or_default().to_owned()
}

/// The tree as the command-line tool prints it.
fn print(node: Node<'_>, field: Option<&str>, depth: usize, out: &mut String) {
    if !out.is_empty() {
        out.push('\n');
    }
    out.push_str(&"  ".repeat(depth));
    if let Some(field) = field {
        let _ = write!(out, "{field}: ");
    }
    let _ = write!(out, "({}", if node.is_missing() { "MISSING" } else { node.kind() });
    for index in 0..node.child_count() {
        let child = node.child(index).expect("a child of that number");
        if child.is_named() {
            print(child, node.field_name_for_child(index), depth + 1, out);
        }
    }
    out.push(')');
}

fn run(grammar: &str, language: Language) {
    let mut parser = Parser::new();
    parser.set_language(&language).expect("the library reads this format");
    let mut wrong = String::new();
    let update = std::env::var_os("REVEILLE_UPDATE").is_some();
    let mut count = 0;
    for path in files(grammar) {
        let text = fs::read_to_string(&path).expect("a readable case");
        let mut fresh = String::new();
        for case in cases(&text) {
            count += 1;
            let tree = parser.parse(real(&case.source), None).expect("nothing stops the parser");
            let mut found = String::new();
            print(tree.root_node(), None, 0, &mut found);
            let bar = "=".repeat(80);
            let _ = write!(fresh, "{bar}\n{}\n{bar}\n{}{}\n\n{found}\n\n", case.name, case.source, "-".repeat(80));
            assert!(!found.contains("(ERROR") && !found.contains("(MISSING"), "{}: {found}", case.name);
            let broken = case.name.ends_with(":broken");
            assert_eq!(found.contains("(broken"), broken, "`{}` {found}", case.name);
            if found != case.tree {
                let _ = write!(
                    wrong,
                    "\n{}: {}\n--- expected\n{}\n--- found\n{found}\n",
                    path.display(),
                    case.name,
                    case.tree
                );
            }
        }
        if update {
            fs::write(&path, fresh.trim_end().to_owned() + "\n").expect("a writable case");
        }
    }
    assert!(count > 0, "no case for {grammar}");
    assert!(update || wrong.is_empty(), "{wrong}");
}

#[test]
fn the_corpus_of_motorola_syntax_holds() {
    run("m68k", reveille_grammar::LANGUAGE_M68K.into());
}

#[test]
fn the_corpus_of_dotted_style_holds() {
    run("m68k_dotted", reveille_grammar::LANGUAGE_M68K_DOTTED.into());
}

#[test]
fn the_corpus_of_mit_syntax_holds() {
    run("m68k_mit", reveille_grammar::LANGUAGE_M68K_MIT.into());
}

#[test]
fn the_corpus_of_the_style_with_ampersands_holds() {
    run("m68k_sgs", reveille_grammar::LANGUAGE_M68K_SGS.into());
}

#[test]
fn the_corpus_of_monitor_sessions_holds() {
    run("session", reveille_grammar::LANGUAGE_SESSION.into());
}
