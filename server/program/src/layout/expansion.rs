//! Calls of macros: the lines that they stand for are made, read and walked like those of a file.

use std::sync::Arc;

use reveille_source::{Meaning, Operation};

use super::Walk;
use crate::index::Indexed;
use crate::unit::{Expansion, Place, ProblemKind};
use crate::{FileId, SourceFile, Symbol};

/// How deep calls may nest: recursion ends by a conditional long before.
const MOST_DEPTH: usize = 64;

/// The most lines that all expansions of a unit have together.
const MOST_LINES: usize = 2_000_000;

/// The most bytes of one expansion.
const MOST_BYTES: usize = 1 << 20;

impl Walk<'_> {
    /// A call: of a macro that was defined before it, else of nothing that is known.
    pub(super) fn call(&mut self, place: Place, indexed: &Indexed, symbol: Symbol) {
        let Some(definition) = self.macro_named(symbol).filter(|_| self.is_effective) else {
            if self.is_effective {
                self.calls.push((symbol, place));
                self.unit.may_define_more = true;
            }
            return self.unknown(None);
        };
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let depth = self.stack.iter().filter(|it| it.expansion().is_some()).count();
        if depth >= MOST_DEPTH || self.expanded_lines > MOST_LINES {
            // Told once: whatever else is called would only do the same again.
            if !self.has_given_up {
                self.problem(ProblemKind::TooManyExpansions, place, line.operation);
            }
            self.has_given_up = true;
            self.unit.may_define_more = true;
        }
        if self.has_given_up {
            return self.unknown(None);
        }
        let Some(body) = self.body(definition) else { return self.unknown(None) };
        let number = self.unit.expansions.len();
        let text = expand(&body, indexed, place, number);
        let Some(file) = self.source(definition.file) else { return self.unknown(None) };
        let id = FileId::of_expansion(number);
        let dialect = file.source().dialect();
        let file = SourceFile::of_expansion(id, file.shared_path().clone(), &text, dialect, self.program);
        self.expanded_lines += file.source().line_count();
        // A call in an expansion came from the source, too.
        let call = match place.file.expansion() {
            Some(outer) => self.unit.expansions[outer].call,
            None => place,
        };
        self.unit.expansions.push(Expansion { file: Arc::new(file), call, definition });
        // Symbols of the expansion may be new ones.
        self.unit.by_symbol.resize(self.unit.by_symbol.len().max(self.program.names().len()), 0);
        self.file(id);
        self.state.left = false;
        self.has_expanded = true;
    }

    /// Where the macro of a name is defined, if it was by now. Assemblers of the time did not tell cases apart.
    fn macro_named(&self, symbol: Symbol) -> Option<Place> {
        let folded = self.program.names().folded(symbol);
        let macros = self.unit.macros.iter().rev().map(|at| &self.unit.definitions[*at as usize]);
        let same = |name: Symbol| name == symbol || self.program.names().folded(name) == folded;
        macros.into_iter().find(|it| same(it.symbol)).map(|it| it.place)
    }

    /// The lines between MACRO and its ENDM, and the names of its parameters.
    fn body(&self, definition: Place) -> Option<Body> {
        let file = self.source(definition.file)?;
        let (chunk, line, text) = file.at(definition.chunk, definition.line);
        if line.label.is_empty() {
            // `.macro name a,b` has the name first; blanks and commas are the same there. To the line reader a blank behind the name
            // begins a comment, as behind any operand.
            let field = &text[line.operands.range().start..];
            let marks: &[char] = if chunk.dialect().is_unix() { &['|', ';'] } else { &[' ', '\t', ';'] };
            let field = field.split(marks).next().unwrap_or(field);
            let words = field.split([' ', '\t', ',']).filter(|it| !it.is_empty());
            return self.lines(definition, words.skip(1).map(str::to_owned).collect());
        }
        let operands = chunk.operands(line).into_iter().map(|it| text[it].to_owned());
        self.lines(definition, operands.filter(|it| !it.is_empty()).collect())
    }

    fn lines(&self, definition: Place, parameters: Vec<String>) -> Option<Body> {
        let file = self.source(definition.file)?;
        let mut body = Body { parameters, lines: Vec::new(), owner: file.clone() };
        let mut depth = 0_usize;
        let mut from = usize::from(definition.line) + 1;
        for (number, chunk) in file.source().chunks().iter().enumerate().skip(definition.chunk as usize) {
            for (at, line) in chunk.lines().iter().enumerate().skip(from) {
                if let Operation::Directive(directive) = line.op.get() {
                    match directive.meaning {
                        Meaning::Macro => depth += 1,
                        Meaning::EndMacro if depth == 0 => return Some(body),
                        Meaning::EndMacro => depth -= 1,
                        _ => (),
                    }
                }
                body.lines.push((number as u32, at as u16));
            }
            from = 0;
        }
        None
    }
}

/// The lines of a macro.
struct Body {
    parameters: Vec<String>,
    lines: Vec<(u32, u16)>,
    owner: Arc<SourceFile>,
}

/// The text that a call stands for. `\1` to `\9` and `\A` to `\Z` are its arguments, `\0` the size of the call, `\@` a number that no other
/// expansion has, NARG the count of arguments, and `\name` a parameter of that name.
fn expand(body: &Body, call: &Indexed, place: Place, number: usize) -> String {
    let line = &call.chunk.lines()[usize::from(place.line)];
    let source = call.chunk.line_text(line);
    let arguments: Vec<&str> = call.chunk.operands(line).into_iter().map(|it| argument(&source[it])).collect();
    // No arguments at all are one empty operand.
    let count = if arguments.iter().all(|it| it.is_empty()) { 0 } else { arguments.len() };
    let size = line.size_span().of(source);
    let mut text = String::new();
    for (chunk, at) in &body.lines {
        let (_, _, own) = body.owner.at(*chunk, *at);
        line_of(own, &body.parameters, &arguments, count, size, number, &mut text);
        text.push('\n');
        if text.len() > MOST_BYTES {
            break;
        }
    }
    text
}

/// An argument without the angle brackets that keep blanks and commas in it.
fn argument(text: &str) -> &str {
    text.strip_prefix('<').and_then(|it| it.strip_suffix('>')).unwrap_or(text)
}

fn line_of(
    own: &str,
    parameters: &[String],
    arguments: &[&str],
    count: usize,
    size: &str,
    number: usize,
    text: &mut String,
) {
    let mut rest = own;
    while let Some(at) = rest.find(['\\', 'N', 'n']) {
        text.push_str(&rest[..at]);
        let is_start = !text.ends_with(|it: char| it.is_ascii_alphanumeric() || matches!(it, '_' | '.' | '$'));
        rest = &rest[at..];
        if !rest.starts_with('\\') {
            let is_count = is_start
                && rest.get(..4).is_some_and(|it| it.eq_ignore_ascii_case("narg"))
                && !rest[4..].starts_with(|it: char| it.is_ascii_alphanumeric() || matches!(it, '_' | '.' | '$'));
            let len = if is_count { 4 } else { 1 };
            text.push_str(if is_count { "" } else { &rest[..1] });
            if is_count {
                text.push_str(&count.to_string());
            }
            rest = &rest[len..];
            continue;
        }
        let named = parameters.iter().enumerate().filter(|it| rest[1..].starts_with(it.1.as_str()));
        if let Some((at, name)) = named.max_by_key(|it| it.1.len()) {
            text.push_str(arguments.get(at).copied().unwrap_or(""));
            rest = &rest[1 + name.len()..];
            continue;
        }
        let Some(mark) = rest[1..].chars().next() else {
            text.push('\\');
            rest = &rest[1..];
            continue;
        };
        let place = match mark {
            '1'..='9' => Some(mark as usize - '1' as usize),
            'A'..='Z' => Some(mark as usize - 'A' as usize + 9),
            'a'..='z' => Some(mark as usize - 'a' as usize + 9),
            _ => None,
        };
        match (mark, place) {
            // Without a size the dot before it goes too.
            ('0', _) if size.is_empty() && text.ends_with('.') => {
                text.pop();
            }
            ('0', _) => text.push_str(size),
            ('@', _) => text.push_str(&format!("{number:03}")),
            (_, Some(place)) if parameters.is_empty() => text.push_str(arguments.get(place).copied().unwrap_or("")),
            _ => {
                text.push('\\');
                text.push(mark);
            }
        }
        rest = &rest[1 + mark.len_utf8()..];
    }
    text.push_str(rest);
}
