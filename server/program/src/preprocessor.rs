//! The C preprocessor's lines, as far as assembly uses them: what they say, and the text that names stand for.
//!
//! Source: ISO C90, 6.8 (read from memory); `defined`, `#` and `##` as there.

use std::ops::Range;

use rustc_hash::FxHashMap;

/// How deep names may stand for names.
const MOST_DEPTH: usize = 64;

/// The most bytes that the names of a line may stand for.
const MOST_BYTES: usize = 64 << 10;

/// A line of the preprocessor. Ranges are of the text that it was read from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Directive {
    /// `#define`: the name, the parameters if brackets stand directly behind it, and the text.
    Define { name: Range<usize>, parameters: Option<Vec<String>>, body: Range<usize> },
    /// `#undef`
    Undefine(Range<usize>),
    /// `#include`: the name of the file, and whether it stands in angle brackets.
    Include { name: Range<usize>, is_system: bool },
    /// `#if` and its expression.
    If(Range<usize>),
    /// `#ifdef`, `#ifndef`: the name, and whether it must be defined.
    Defined(Range<usize>, bool),
    /// `#elif` and its expression.
    ElseIf(Range<usize>),
    /// `#else`
    Else,
    /// `#endif`
    EndIf,
    /// `#error` and its text.
    Error(Range<usize>),
}

fn is_name_byte(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || byte == b'_'
}

fn skip_blanks(text: &[u8], mut at: usize) -> usize {
    while matches!(text.get(at), Some(b' ' | b'\t' | 0x0b | 0x0c)) {
        at += 1;
    }
    at
}

fn name_at(text: &str, at: usize) -> Range<usize> {
    let len = text.as_bytes()[at..].iter().take_while(|byte| is_name_byte(**byte)).count();
    at..at + len
}

/// Where the text of a line ends: before its comment and the blanks there.
fn text_end(text: &str, from: usize) -> usize {
    let bytes = text.as_bytes();
    let mut at = from;
    let mut quote = None;
    while at < bytes.len() {
        match (bytes[at], quote) {
            (b'\\', Some(_)) => at += 1,
            (b'"' | b'\'', None) => quote = Some(bytes[at]),
            (byte, Some(open)) if byte == open => quote = None,
            (b'/', None) if matches!(bytes.get(at + 1), Some(b'*' | b'/')) => break,
            _ => (),
        }
        at += 1;
    }
    from + text[from..at.min(text.len())].trim_end().len()
}

/// What a line of the preprocessor says; none for a line that says nothing to a program, such as `#pragma` or a comment behind `#`.
pub(crate) fn directive(text: &str) -> Option<Directive> {
    let bytes = text.as_bytes();
    let start = skip_blanks(bytes, 0);
    if bytes.get(start) != Some(&b'#') {
        return None;
    }
    let word = name_at(text, skip_blanks(bytes, start + 1));
    let at = skip_blanks(bytes, word.end);
    let rest = at..text_end(text, at).max(at);
    let name = name_at(text, at);
    Some(match &text[word] {
        "define" if !name.is_empty() => {
            let mut from = name.end;
            let mut parameters = None;
            if bytes.get(from) == Some(&b'(')
                && let Some(len) = text[from..].find(')')
            {
                let list = text[from + 1..from + len].split(',').map(|it| it.trim().to_owned());
                parameters = Some(list.filter(|it| !it.is_empty()).collect());
                from += len + 1;
            }
            let from = skip_blanks(bytes, from);
            Directive::Define { name, parameters, body: from..text_end(text, from).max(from) }
        }
        "undef" => Directive::Undefine(name),
        "include" => {
            let close = match bytes.get(at) {
                Some(b'"') => '"',
                Some(b'<') => '>',
                _ => return None,
            };
            let len = text[at + 1..].find(close)?;
            Directive::Include { name: at + 1..at + 1 + len, is_system: close == '>' }
        }
        "if" => Directive::If(rest),
        "ifdef" => Directive::Defined(name, true),
        "ifndef" => Directive::Defined(name, false),
        "elif" => Directive::ElseIf(rest),
        "else" => Directive::Else,
        "endif" => Directive::EndIf,
        "error" => Directive::Error(rest),
        _ => return None,
    })
}

/// Where an `#include` has the name of its file; none for any other line.
#[must_use]
pub fn preprocessor_include(text: &str) -> Option<Range<usize>> {
    match directive(text)? {
        Directive::Include { name, .. } => Some(name),
        _ => None,
    }
}

/// A name that stands for text.
#[derive(Clone, Debug)]
pub(crate) struct Text {
    /// None of a name that stands alone, without brackets behind it.
    pub(crate) parameters: Option<Vec<String>>,
    pub(crate) body: String,
    pub(crate) kind: Kind,
}

/// What a name stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Any text.
    Text,
    /// A value, which it has as a name of the program too: lines that use it stay as they are.
    Value,
    /// A register, which it is as a name of the program too, but not inside of brackets.
    Register,
}

/// The names that stand for text.
pub(crate) type Texts = FxHashMap<String, Text>;

/// Whether a line uses a name that stands for text and for no value.
pub(crate) fn uses_text(line: &str, texts: &Texts) -> bool {
    words(line).any(|word| {
        texts.get(&line[word.clone()]).is_some_and(|it| match it.kind {
            Kind::Value => false,
            Kind::Text => it.parameters.is_none() || line[word.end..].trim_start().starts_with('('),
            Kind::Register => {
                line[..word.start].trim_end().ends_with(['(', ',', '@']) && line[word.end..].contains(')')
            }
        })
    })
}

/// The names in a text, outside of quotes of two.
fn words(text: &str) -> impl Iterator<Item = Range<usize>> {
    let bytes = text.as_bytes();
    let mut at = 0;
    std::iter::from_fn(move || {
        while at < bytes.len() {
            let byte = bytes[at];
            if byte == b'"' {
                at += 1 + bytes[at + 1..].iter().position(|it| *it == b'"').unwrap_or(bytes.len() - at - 1);
            } else if is_name_byte(byte) {
                let start = at;
                while at < bytes.len() && is_name_byte(bytes[at]) {
                    at += 1;
                }
                if !byte.is_ascii_digit() {
                    return Some(start..at);
                }
                continue;
            }
            at += 1;
        }
        None
    })
}

/// A line with the texts of its names in it. `all` takes names of values too, as conditions need it.
pub(crate) fn expand(line: &str, texts: &Texts, all: bool) -> String {
    let mut out = String::new();
    Expander { texts, all, made: 0, busy: Vec::new() }.text(line, &mut out);
    out
}

struct Expander<'a> {
    texts: &'a Texts,
    all: bool,
    /// Bytes made so far, over all names.
    made: usize,
    /// Names that are being replaced: they do not stand for themselves.
    busy: Vec<&'a str>,
}

impl<'a> Expander<'a> {
    fn text(&mut self, text: &str, out: &mut String) {
        let mut done = 0;
        for word in words(text) {
            if word.start < done {
                continue;
            }
            let name = &text[word.clone()];
            let is_too_much = self.busy.len() >= MOST_DEPTH || self.made > MOST_BYTES;
            let known =
                self.texts.get_key_value(name).filter(|it| (self.all || it.1.kind != Kind::Value) && !is_too_much);
            let Some((name, known)) = known.filter(|it| !self.busy.contains(&it.0.as_str())) else { continue };
            let (body, end) = match &known.parameters {
                None => (known.body.clone(), word.end),
                Some(parameters) => {
                    let Some((arguments, end)) = arguments(text, word.end) else { continue };
                    let expanded: Vec<String> = arguments
                        .iter()
                        .map(|it| {
                            let mut out = String::new();
                            self.text(it, &mut out);
                            out
                        })
                        .collect();
                    (put_arguments(&known.body, parameters, &arguments, &expanded), end)
                }
            };
            self.made += body.len();
            out.push_str(&text[done..word.start]);
            self.busy.push(name);
            self.text(&body, out);
            self.busy.pop();
            done = end;
        }
        out.push_str(&text[done..]);
    }
}

/// The arguments in the brackets behind a name, and where those end.
fn arguments(text: &str, from: usize) -> Option<(Vec<String>, usize)> {
    let bytes = text.as_bytes();
    let open = skip_blanks(bytes, from);
    if bytes.get(open) != Some(&b'(') {
        return None;
    }
    let (mut depth, mut start, mut found) = (0, open + 1, Vec::new());
    for (at, byte) in bytes.iter().enumerate().skip(open) {
        match byte {
            b'(' => depth += 1,
            b')' => depth -= 1,
            b',' if depth == 1 => {
                found.push(text[start..at].trim().to_owned());
                start = at + 1;
            }
            _ => (),
        }
        if depth == 0 {
            found.push(text[start..at].trim().to_owned());
            return Some((found, at + 1));
        }
    }
    None
}

/// The text of a name with brackets: `plain` arguments beside `#` and `##`, `expanded` ones elsewhere.
fn put_arguments(body: &str, parameters: &[String], plain: &[String], expanded: &[String]) -> String {
    let mut out = String::new();
    let mut done = 0;
    for word in words(body) {
        let Some(at) = parameters.iter().position(|it| it == &body[word.clone()]) else { continue };
        let before = body[..word.start].trim_end();
        let is_pasted = before.ends_with("##") || body[word.end..].trim_start().starts_with("##");
        let is_quoted = before.ends_with('#') && !before.ends_with("##");
        out.push_str(&body[done..word.start]);
        let argument = |from: &[String]| from.get(at).cloned().unwrap_or_default();
        if is_quoted {
            let len = out.trim_end().len();
            out.truncate(len - 1);
            out.push_str(&format!("\"{}\"", argument(plain)));
        } else {
            out.push_str(&argument(if is_pasted { plain } else { expanded }));
        }
        done = word.end;
    }
    out.push_str(&body[done..]);
    paste(&out)
}

/// A text with what stands beside `##` put together.
fn paste(text: &str) -> String {
    let mut parts = text.split("##");
    let mut out = parts.next().unwrap_or("").to_owned();
    for part in parts {
        out.truncate(out.trim_end().len());
        out.push_str(part.trim_start());
    }
    out
}

/// The statements of an expanded line: `;` parts them, outside of quotes.
pub(crate) fn statements(line: &str) -> String {
    let mut out = String::new();
    let mut quote = None;
    for character in line.chars() {
        match (character, quote) {
            (';', None) => {
                // What follows is no label in column one unless it has a colon.
                out.push_str("\n\t");
                continue;
            }
            ('"', None) => quote = Some('"'),
            ('"', Some(_)) => quote = None,
            _ => (),
        }
        out.push(character);
    }
    out
}

/// A condition's expression with its names replaced: `defined NAME` and `defined(NAME)` by 1 or 0, names of texts by their texts, all others by 0.
pub(crate) fn condition(text: &str, texts: &Texts, is_defined: &dyn Fn(&str) -> bool) -> String {
    let mut out = String::new();
    let mut done = 0;
    for word in words(text) {
        if word.start < done || &text[word.clone()] != "defined" {
            continue;
        }
        let at = skip_blanks(text.as_bytes(), word.end);
        let open = text.as_bytes().get(at) == Some(&b'(');
        let name = name_at(text, if open { skip_blanks(text.as_bytes(), at + 1) } else { at });
        let close = skip_blanks(text.as_bytes(), name.end);
        out.push_str(&text[done..word.start]);
        out.push(if is_defined(&text[name.clone()]) { '1' } else { '0' });
        done = if open && text.as_bytes().get(close) == Some(&b')') { close + 1 } else { name.end };
    }
    out.push_str(&text[done..]);
    let expanded = expand(&out, texts, true);
    let mut plain = String::new();
    let mut done = 0;
    for word in words(&expanded) {
        plain.push_str(&expanded[done..word.start]);
        plain.push('0');
        done = word.end;
    }
    plain.push_str(&expanded[done..]);
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(lines: &[&str]) -> Texts {
        let mut found = Texts::default();
        for line in lines {
            let Some(Directive::Define { name, parameters, body }) = directive(line) else { panic!("{line}") };
            let text = Text { parameters, body: line[body].to_owned(), kind: Kind::Text };
            found.insert(line[name].to_owned(), text);
        }
        found
    }

    #[test]
    fn lines_are_told_apart() {
        let text = "#define SIZE 5 /* bytes */";
        let Some(Directive::Define { name, parameters: None, body }) = directive(text) else { panic!() };
        assert_eq!((&text[name], &text[body]), ("SIZE", "5"));
        let text = " # include <a/b.h>";
        let Some(Directive::Include { name, is_system: true }) = directive(text) else { panic!() };
        assert_eq!(&text[name], "a/b.h");
        assert_eq!(directive("#"), None);
        assert_eq!(directive("# a comment"), None);
        assert_eq!(directive("#else /* x */"), Some(Directive::Else));
    }

    // ISO C90, 6.8.3, from memory.
    #[test]
    fn names_stand_for_their_texts() {
        let all = texts(&[
            "#define FP %a6",
            "#define SYM(x) _ ## x",
            "#define ADD(a,b) ((a)+(b))",
            "#define TWICE(a) ADD(a,a)",
            "#define SELF SELF+1",
            "#define TEXT(a) .ascii #a",
            "#define PING PONG",
            "#define PONG PING",
        ]);
        let of = |line: &str| expand(line, &all, false);
        assert_eq!(of("movl FP@(4),d0"), "movl %a6@(4),d0");
        assert_eq!(of("SYM (start): rts"), "_start: rts");
        assert_eq!(of("movl #TWICE(ADD(1,2)),d0"), "movl #((((1)+(2)))+(((1)+(2)))),d0");
        assert_eq!(of("SELF"), "SELF+1");
        assert_eq!(of("TEXT(a b)"), ".ascii \"a b\"");
        assert_eq!(of("PING \"FP\" xFP ADD"), "PING \"FP\" xFP ADD");
        assert!(!uses_text("ADD d0,d1", &all));
    }

    #[test]
    fn what_grows_without_an_end_is_stopped() {
        let all = texts(&[
            "#define A(x) x x x x x x x x",
            "#define B(x) A(x) A(x) A(x) A(x)",
            "#define C(x) B(B(x)) B(B(x))",
        ]);
        assert!(expand("C(C(C(1)))", &all, false).len() < 100 * MOST_BYTES);
    }
}
