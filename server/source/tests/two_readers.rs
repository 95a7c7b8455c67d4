//! The line reader and the tree-sitter grammars read every line alike: `grammar/LINES.md` is what both do.

#[path = "two_readers/pieces.rs"]
mod pieces;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::ops::Range;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;
use reveille_cpu::MNEMONICS;
use reveille_source::{
    DIRECTIVES, Dialect, Directive, File, LineKind, Operation, ProblemKind, SYNTAXES, language, read_line,
};
use tree_sitter::{Node, Parser};

use pieces::{HEADS, MODES, PIECES};

/// What is compared of a line. All places are bytes of the file.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
struct Parts {
    label: Option<(usize, usize)>,
    class: &'static str,
    operation: Option<(usize, usize)>,
    size: Option<(usize, usize)>,
    /// `None` for an empty operand.
    operands: Vec<Option<(usize, usize)>>,
    comment: Option<(usize, usize)>,
    broken: bool,
}

fn is_blank(character: char) -> bool {
    " \t\u{b}\u{c}\u{1a}".contains(character)
}

/// A range without the blanks at its ends; none if nothing is left.
fn trimmed(text: &str, start: usize, end: usize) -> Option<(usize, usize)> {
    let part = &text[start..end];
    let start = start + (part.len() - part.trim_start_matches(is_blank).len());
    let part = part.trim_matches(is_blank);
    (!part.is_empty()).then_some((start, start + part.len()))
}

/// A file as the line reader reads it.
fn read(file: &File) -> Vec<Parts> {
    let text = file.text();
    let mut found = Vec::new();
    for (index, chunk) in file.chunks().iter().enumerate() {
        let problems = chunk.problems();
        for (at, line) in chunk.lines().iter().enumerate() {
            let start = file.first_byte(index) + line.start as usize;
            let place = |range: Range<usize>| (!range.is_empty()).then_some((start + range.start, start + range.end));
            // The constant of a blank, without a closing quote, may end an operand.
            let operand = |range| place(range).and_then(|(start, end)| trimmed(&text, start, end));
            let class = match line.op.get() {
                Operation::None => "",
                Operation::Instruction(_) => "instruction",
                Operation::Directive(_) => "directive",
                Operation::Assignment => "assignment",
                Operation::MacroCall => "macro_call",
            };
            let is_broken = |kind| kind == ProblemKind::Broken;
            let (is_joined, size) = (line.has_joined_size(), line.size_span().range());
            found.push(Parts {
                label: place(line.label.range()),
                class,
                // In the trees a size that is joined to the name is a part of it.
                operation: place(if is_joined {
                    line.operation.range().start..size.end
                } else {
                    line.operation.range()
                }),
                size: place(size).filter(|_| !is_joined),
                operands: chunk.operands(line).into_iter().map(operand).collect(),
                comment: place(line.comment.range()),
                broken: problems.iter().any(|(of, problem)| *of == at && is_broken(problem.kind)),
            });
            assert_eq!(line.kind == LineKind::Blank, found.last() == Some(&Parts::default()), "{line:?}");
        }
    }
    found
}

/// The operands of a list. An empty one has no node: it is told by the commas.
fn listed(text: &str, list: Node<'_>) -> Vec<Option<(usize, usize)>> {
    let mut found = vec![None];
    let mut cursor = list.walk();
    for child in list.children(&mut cursor) {
        if child.kind() == "," {
            found.push(None);
        } else if let Some(last) = found.last_mut() {
            assert!(last.is_none(), "two operands without a comma: {list}");
            *last = trimmed(text, child.start_byte(), child.end_byte());
        }
    }
    found
}

/// A file as the grammar reads it: by the line's first byte, what is on each line that is not blank.
fn parse(parser: &mut Parser, text: &str, starts: &[usize]) -> BTreeMap<usize, Parts> {
    let tree = parser.parse(text, None).expect("nothing stops the parser");
    let root = tree.root_node();
    let line_of = |byte: usize| starts[starts.partition_point(|start| *start <= byte) - 1];
    let mut found = BTreeMap::new();
    let mut cursor = root.walk();
    for line in root.children(&mut cursor) {
        assert!(!line.is_error() && line.kind() == "line", "{text:?}: {root}");
        let mut parts = Parts::default();
        let mut comments: Vec<(usize, usize)> = Vec::new();
        let mut inside = line.walk();
        for child in line.children(&mut inside) {
            let name =
                |of: &str| child.child_by_field_name(of).and_then(|it| trimmed(text, it.start_byte(), it.end_byte()));
            match child.kind() {
                "label" => parts.label = name("name"),
                kind @ ("instruction" | "directive" | "macro_call") => {
                    (parts.operation, parts.size) = (name("name"), name("size"));
                    let is_sign = parts.operation.is_some_and(|(start, _)| text[start..].starts_with(['=', ':']));
                    parts.class = match kind {
                        "instruction" => "instruction",
                        "macro_call" => "macro_call",
                        _ if is_sign => "assignment",
                        _ => "directive",
                    };
                }
                "operands" => parts.operands = listed(text, child),
                "comment" | "preprocessor" => {
                    // A comment may go on over lines, and is one on each.
                    let mut start = child.start_byte();
                    for piece in text[child.byte_range()].split_inclusive(['\n', '\r']) {
                        let end = start + piece.trim_end_matches(['\n', '\r']).len();
                        comments.extend(trimmed(text, start, end));
                        start += piece.len();
                    }
                }
                "broken" => parts.broken = true,
                other => assert!(other.starts_with(is_blank) || !child.is_named(), "{other} in {line}"),
            }
        }
        let own = line_of(line.start_byte());
        for comment in comments {
            let of = line_of(comment.0);
            if of == own {
                parts.comment = Some(comment);
            } else {
                found.insert(of, Parts { comment: Some(comment), ..Parts::default() });
            }
        }
        found.insert(own, parts);
    }
    found
}

fn parser(dialect: Dialect) -> Parser {
    let mut parser = Parser::new();
    parser.set_language(&language(dialect)).expect("the library reads this format");
    parser
}

/// Where the two readers differ, shown with text instead of places.
fn differences(parser: &mut Parser, file: &File) -> String {
    let text = file.text();
    let starts: Vec<usize> = (0..file.line_count()).map(|line| file.line_start(line)).collect();
    let read = read(file);
    let parsed = parse(parser, &text, &starts);
    let mut shown = String::new();
    for (at, (start, by_reader)) in starts.iter().zip(&read).enumerate() {
        let by_grammar = parsed.get(start).cloned().unwrap_or_default();
        if *by_reader != by_grammar {
            let line = file.line(at).expect("a line of that number").1;
            let show = |parts: &Parts| {
                let show = |place: Option<(usize, usize)>| place.map(|(start, end)| (start, &text[start..end]));
                let Parts { label, class, operation, size, operands, comment, broken } = parts;
                let operands: Vec<_> = operands.iter().map(|it| show(*it)).collect();
                let [label, operation, size, comment] = [*label, *operation, *size, *comment].map(show);
                format!("{label:?} {class} {operation:?} {size:?} {operands:?} {comment:?} broken: {broken}")
            };
            let _ = write!(
                shown,
                "\n{line:?} from byte {start} ({})\n  reader  {}\n  grammar {}",
                file.dialect().name(),
                show(by_reader),
                show(&by_grammar)
            );
        }
    }
    shown
}

/// Files below a folder whose names end as sources do.
fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("a readable folder").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|it| ["s", "i", "inc", "asm"].iter().any(|known| it == *known)) {
            found.push(path);
        }
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

#[test]
fn every_line_of_the_fixtures_is_read_alike() {
    let mut paths = Vec::new();
    sources(&root().join("tests/demo"), &mut paths);
    sources(&root().join("grammar/test-fixtures"), &mut paths);
    let (mut dialects, mut shown) = (BTreeSet::new(), String::new());
    for path in paths {
        let text = String::from_utf8_lossy(&fs::read(&path).unwrap()).into_owned();
        let file = File::new(&text, None);
        if file.margin().is_there() {
            continue; // Rule 30.
        }
        dialects.insert(file.dialect().name());
        let found = differences(&mut parser(file.dialect()), &file);
        if !found.is_empty() {
            let _ = write!(shown, "\n{}:{found}", path.display());
        }
    }
    assert!(shown.is_empty(), "{shown}");
    assert_eq!(dialects.len(), SYNTAXES.len(), "fixtures of every dialect");
}

fn line() -> impl Strategy<Value = String> {
    let pieces = prop::collection::vec(prop::sample::select(PIECES), 0..9).prop_map(|it| it.concat());
    let operand_heads = prop::sample::select(&["\tmove.w\t", "\tdc.b ", "x = ", "\tstore ", "\tinclude "][..]);
    let modes = prop::collection::vec(prop::sample::select(MODES), 1..12).prop_map(|it| it.concat());
    // A line has no end inside, and the last code point is no character.
    let character = any::<char>().prop_map(|it| if matches!(it, '\n' | '\r' | char::MAX) { 'x' } else { it });
    let characters = prop::collection::vec(character, 0..12).prop_map(|it| it.into_iter().collect::<String>());
    prop_oneof![
        8 => (prop::sample::select(HEADS), pieces).prop_map(|(head, it)| format!("{head}{it}")),
        6 => (operand_heads, modes).prop_map(|(head, it)| format!("{head}{it}")),
        1 => characters,
        1 => "[ -~\\t]{0,30}",
    ]
}

/// Rule 27: whether a label that the preprocessor makes has a word with a dot, or digits.
fn has_odd_pasted_label(line: &str) -> bool {
    let Some((before, inside)) = line.split_once('(') else { return false };
    let Some((_, behind)) = inside.split_once(')') else { return false };
    let before = before.trim_matches(is_blank);
    let word = before.rsplit(is_blank).next().unwrap_or("");
    behind.trim_start_matches(is_blank).starts_with(':')
        && (word.contains('.') || word.starts_with(|it: char| it.is_ascii_digit()))
}

/// Rule 28: whether a mode's end that is no operand's, such as that of `4+a0@+`, stands at the end of some text.
fn has_odd_mode(text: &str) -> bool {
    let Some(before) = text.strip_suffix(['+', '-']).and_then(|it| it.strip_suffix('@')) else { return false };
    let register = ["a0", "a1", "sp"].iter().find_map(|it| before.strip_suffix(it));
    !register.is_some_and(|before| {
        let word = before.trim_matches(is_blank);
        let is_operation = |word: &str| word.chars().all(|it| it.is_alphanumeric() || "_.$@?\\:".contains(it));
        before.ends_with(',')
            || word.ends_with(',')
            || before.ends_with(is_blank) && is_operation(word.trim_end_matches('='))
    })
}

/// Rule 29: whether a name with `%` or `~` stands in the place of the operation.
fn has_odd_operation(line: &str) -> bool {
    // A byte order mark at the line's start is one, or a character.
    [line.to_owned(), format!("\u{feff}{line}")].iter().any(|line| {
        let read = read_line(line, Dialect::Sgs);
        read.is_broken() && line[read.size_span().range().end..].starts_with(['%', '~'])
    })
}

/// Whether a line has what the trees are known to read otherwise: rules 23 to 29.
fn is_known(line: &str, dialect: Dialect) -> bool {
    if has_odd_pasted_label(line) || dialect == Dialect::Sgs && has_odd_operation(line) {
        return true;
    }
    let has_brackets = line.contains(['(', '[']);
    // In the Unix dialects a colon is read as the dot is.
    let line_of_dots = if dialect.is_unix() { line.replace(':', ".") } else { line.to_owned() };
    if has_brackets && (line_of_dots.contains("..") || line_of_dots.contains("*.")) {
        return true;
    }
    if dialect == Dialect::Motorola {
        return false;
    }
    let has_mode = line.contains("@(") || line.contains("@[");
    if has_mode && [".w.", ".l.", ".b.", ".s.", ".\\"].iter().any(|it| line_of_dots.to_lowercase().contains(it)) {
        return true;
    }
    let read = read_line(line, dialect);
    let is_macro_call = matches!(read.op.get(), Operation::MacroCall);
    let is_called = !is_macro_call && !read.operands.is_empty() && read.operands.start == read.size_span().end;
    let takes_text = is_called || ["include", "macro", "type"].iter().any(|it| line.contains(it));
    let mut rest = line;
    while let Some(at) = rest.find(is_blank) {
        let text = &line[..line.len() - rest.len() + at];
        if has_odd_mode(text) {
            return true;
        }
        let mut before = text.chars().rev();
        rest = rest[at..].trim_start_matches(is_blank);
        let (last, before) = (before.next().unwrap_or(' '), before.next().unwrap_or(' '));
        let is_mark = ["*", "|", "//", "/*"].iter().any(|mark| rest.starts_with(mark));
        let is_value_end = before.is_alphanumeric() || "_.$@?\\)]'\"".contains(before) || !before.is_ascii();
        if "+-/&!^<>=~#*|".contains(last) && is_mark
            || "*|".contains(last) && !is_value_end
            || "*#".contains(last) && before == '\\'
            || last == '+' && before == ')' && takes_text
            || has_brackets && "([,".contains(last) && rest.starts_with('*')
        {
            return true;
        }
    }
    false
}

/// Some lines with their ends, the last perhaps without.
fn generated(dialect: Dialect) -> impl Strategy<Value = String> {
    let end = prop::sample::select(&["\n", "\n", "\r\n", "\r", "\n\n"][..]);
    let mark = prop::sample::select(&["", "", "", "\u{feff}"][..]);
    (mark, prop::collection::vec((line(), end), 1..5), any::<bool>()).prop_map(move |(mark, mut lines, ended)| {
        lines.retain(|(line, _)| !is_known(line, dialect));
        let mut text = mark.to_owned();
        text.extend(lines.iter().flat_map(|(line, end)| [line.as_str(), end]));
        if !ended {
            text.truncate(text.trim_end_matches(['\n', '\r']).len());
        }
        text
    })
}

fn check(text: &str, dialect: Dialect) -> Result<(), TestCaseError> {
    let found = differences(&mut parser(dialect), &File::new(text, Some(dialect)));
    prop_assert!(found.is_empty(), "{found}");
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        // PROPTEST_CASES may ask for more.
        cases: ProptestConfig::default().cases.max(2_000),
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct("tests/two_readers.proptest-regressions"))),
        ..ProptestConfig::default()
    })]

    #[test]
    fn generated_lines_are_read_alike_in_motorola_syntax(text in generated(Dialect::Motorola)) {
        check(&text, Dialect::Motorola)?;
    }

    #[test]
    fn generated_lines_are_read_alike_in_dotted_style(text in generated(Dialect::Dotted)) {
        check(&text, Dialect::Dotted)?;
    }

    #[test]
    fn generated_lines_are_read_alike_in_mit_syntax(text in generated(Dialect::Mit)) {
        check(&text, Dialect::Mit)?;
    }

    #[test]
    fn generated_lines_are_read_alike_with_ampersands(text in generated(Dialect::Sgs)) {
        check(&text, Dialect::Sgs)?;
    }
}

/// The words of a token of a generated grammar: its pattern is `([aA][bB]|...)`.
fn words(grammar: &str, token: &str) -> BTreeSet<String> {
    let rule = grammar.split_once(&format!("\"{token}\": {{")).expect("a token of that name").1;
    let pattern = rule.split_once("\"value\": \"(").expect("a pattern").1.split_once(")\"").expect("an alternative").0;
    let word = |word: &str| -> String {
        let mut characters = word.chars();
        let mut found = String::new();
        while let Some(it) = characters.next() {
            match it {
                '[' => {
                    let lower = characters.next().expect("a letter");
                    assert_eq!(characters.next(), Some(lower.to_ascii_uppercase()), "{word}");
                    assert_eq!(characters.next(), Some(']'), "{word}");
                    found.push(lower);
                }
                '\\' => (),
                other => found.push(other),
            }
        }
        found
    };
    pattern.split('|').map(word).collect()
}

fn is_instruction(word: &str, dialect: Dialect) -> bool {
    matches!(read_line(&format!(" {word} x"), dialect).op.get(), Operation::Instruction(_))
}

/// Names of instructions that the Unix dialects alone have (rule 12a).
const UNIX_NAMES: [&str; 5] = ["movc", "movm", "movp", "movq", "movs"];

/// Of all names of instructions with a letter behind them, those whose letter is a size.
fn joined_words(dialect: Dialect) -> BTreeSet<String> {
    let names = MNEMONICS.iter().map(|it| it.name).chain(UNIX_NAMES).chain(["mov"]);
    let all = names.flat_map(|name| ('a'..='z').map(move |letter| format!("{name}{letter}")));
    all.filter(|word| read_line(&format!(" {word} x"), dialect).has_joined_size()).collect()
}

/// The grammars have their words in a table of their own. It has those of the server's tables, each in its class, and no other.
#[test]
fn the_grammars_have_the_words_of_the_tables() {
    let dialects = SYNTAXES.iter().map(|it| it.dialect);
    for (dialect, folder) in dialects.zip(["m68k", "m68k_dotted", "m68k_mit", "m68k_sgs"]) {
        let grammar = fs::read_to_string(root().join("grammar").join(folder).join("src/grammar.json")).unwrap();
        let expect = |tokens: &[&str], expected: BTreeSet<String>| {
            let found: Vec<_> = tokens.iter().flat_map(|token| words(&grammar, token)).collect();
            assert_eq!(found.len(), expected.len(), "{folder} {tokens:?}");
            assert_eq!(found.into_iter().collect::<BTreeSet<_>>(), expected, "{folder} {tokens:?}");
        };
        let instructions = |bare: bool| -> BTreeSet<String> {
            let chosen = MNEMONICS.iter().filter(|it| (it.operands.most == 0) == bare);
            chosen.map(|it| it.name.to_owned()).collect()
        };
        let mut own = instructions(false);
        if dialect.is_unix() {
            let stretching = MNEMONICS.iter().filter(|it| it.is_stretching && it.name != "jbsr");
            let with_b = stretching.map(|it| it.name.replacen('j', "jb", 1));
            let others: Vec<_> = UNIX_NAMES.map(str::to_owned).into_iter().chain(with_b).collect();
            assert!(others.iter().all(|it| is_instruction(it, dialect)));
            own.extend(others);
            assert!(!is_instruction("jbbsr", dialect));
            expect(&["_joined_instruction"], joined_words(dialect));
            expect(&["_sized_instruction"], BTreeSet::from(["mov".to_owned()]));
            assert!(!is_instruction("mov", dialect) && is_instruction("mov.l", dialect));
        }
        expect(&["_instruction"], own);
        expect(&["_bare_instruction"], instructions(true));
        for bare in [false, true] {
            let directives = |prefix: &str, front: Option<bool>| {
                let is_front = |it: &Directive| match dialect {
                    Dialect::Motorola => it.column_one,
                    Dialect::Sgs => true,
                    _ => !it.soft,
                };
                let chosen = DIRECTIVES.iter().filter(|it| it.bare == bare);
                let chosen = chosen.filter(|it| front.is_none_or(|front| !it.needs_dot && is_front(it) == front));
                chosen.map(|it| format!("{prefix}{}", it.name)).collect()
            };
            let tokens = |part: &str| -> Vec<String> {
                let names: &[&str] = match (bare, part) {
                    (true, _) => &["_bare"],
                    (false, "indented") => &["", "_loose"],
                    (false, _) => &["", "_loose", "_end"],
                };
                names.iter().map(|name| format!("_{part}{name}_directive")).collect()
            };
            for (part, prefix, front) in
                [("front", "", Some(true)), ("indented", "", Some(false)), ("dotted", ".", None)]
            {
                if dialect == Dialect::Sgs && part == "indented" {
                    continue;
                }
                let tokens = tokens(part);
                let tokens: Vec<_> = tokens.iter().map(String::as_str).collect();
                expect(&tokens, directives(prefix, front));
            }
        }
    }
}

/// Each word of the tables is told as what it is, in either case, with and without a size and a dot, indented and in column one.
#[test]
fn every_word_of_the_tables_is_told_by_both_readers() {
    for dialect in SYNTAXES.iter().map(|it| it.dialect) {
        let mut parser = parser(dialect);
        let mnemonics = MNEMONICS.iter().map(|it| (it.name, "instruction"));
        let directives = DIRECTIVES.iter().map(|it| (it.name, if it.needs_dot { "dotted" } else { "directive" }));
        for (name, class) in mnemonics.chain(directives).chain([("cfi_endproc", "dotted"), ("cfi_", "dotted")]) {
            for name in [name.to_owned(), name.to_uppercase(), format!(".{name}")] {
                let lines = [
                    name.clone(),
                    format!("{name} 1"),
                    format!("{name}.b 1"),
                    format!("{name}: nop"),
                    format!("{name}(1)"),
                    format!("{name}.b(1),<2>"),
                ];
                for line in lines {
                    let text = format!("{line}\n\t{line}\nlabel: {line}\nword {line}\n");
                    let found = differences(&mut parser, &File::new(&text, Some(dialect)));
                    assert!(found.is_empty(), "{found}");
                }
                let class = match (name.starts_with('.'), class) {
                    (true, "instruction") | (false, "dotted") => "macro_call",
                    (true, "dotted") => "directive",
                    (_, class) => class,
                };
                let file = File::new(&format!("\t{name} 1\n"), Some(dialect));
                assert_eq!(read(&file)[0].class, class, "{name}");
            }
        }
    }
}
