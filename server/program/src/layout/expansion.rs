//! Lines that stand for others: calls of macros and repetitions. The lines that they stand for are made, read and walked like those of a
//! file.

use std::sync::Arc;

use reveille_source::{Line, Meaning};

use super::substitute::{Call, Names, Parameter, line};
use super::{MOST, Walk};
use crate::expression::Value;
use crate::index::Indexed;
use crate::unit::{Expansion, Place, ProblemKind};
use crate::{FileId, SourceFile, Symbol};

/// How deep calls may nest: recursion ends by a conditional long before.
const MOST_DEPTH: usize = 64;

/// The most lines that all expansions of a unit have together.
const MOST_LINES: usize = 2_000_000;

/// What an expansion costs beside its lines, in lines: calls of small macros that double each other end in seconds, too.
const COST: usize = 6;

/// The most bytes of one expansion.
const MOST_BYTES: usize = 4 << 20;

/// The lines between a directive and the one that ends them.
struct Body {
    names: Names,
    lines: Vec<(u32, u16)>,
    owner: Arc<SourceFile>,
}

impl Body {
    /// The text of a line, without the columns of a listing.
    fn line(&self, (chunk, at): (u32, u16)) -> &str {
        let (chunk, line, text) = self.owner.at(chunk, at);
        text.get(chunk.source_start(line)..).unwrap_or("")
    }

    /// Adds all lines with a call's arguments in them; false if they are too many.
    fn add(&self, call: &Call<'_>, text: &mut String) -> bool {
        for at in &self.lines {
            line(self.line(*at), &self.names, call, text);
            text.push('\n');
            if text.len() > MOST_BYTES {
                return false;
            }
        }
        true
    }
}

/// The rest of an operand field from its start: to the line reader a blank behind a name may begin a comment, where a macro's parameters or
/// the names of a list go on.
fn whole_field<'t>(text: &'t str, line: &Line, is_unix: bool) -> &'t str {
    let field = &text[line.operands.range().start..];
    let marks: &[char] = if is_unix { &['|', ';'] } else { &[';'] };
    field.split(marks).next().unwrap_or(field)
}

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
        let Some(body) = self.macro_body(definition) else { return self.unknown(None) };
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let source = indexed.chunk.line_text(line);
        let operands: Vec<&str> = indexed.chunk.operands(line).into_iter().map(|it| &source[it]).collect();
        let call = Call {
            size: line.size_span().of(source),
            number: self.unit.expansions.len(),
            ..Call::new(&operands, indexed.chunk.dialect().is_unix(), &body.names)
        };
        let mut text = String::new();
        let fits = body.add(&call, &mut text);
        self.expand(place, indexed, definition, &text, fits, body.lines.len());
    }

    /// REPT, IRP and IRPC: their lines as often as they stand for; the lines themselves are not read.
    pub(super) fn repeat(&mut self, place: Place, indexed: &Indexed) {
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let name = line.op.directive().map_or("", |it| it.name);
        // In a replay as a call is: where its lines were read a segment begins behind it.
        let body = self.is_effective.then(|| self.body(place, Names::default())).flatten();
        let Some(mut body) = body else { return self.unknown(None) };
        let mut text = String::new();
        let number = self.unit.expansions.len();
        let mut fits = true;
        if name == "rept" {
            let Some(range) = indexed.chunk.operands(line).into_iter().next() else {
                self.problem(ProblemKind::Incomplete, place, line.operation);
                return self.unknown(None);
            };
            let span = reveille_source::Span { start: range.start as u16, end: range.end as u16 };
            let count = match self.value(place, range) {
                Value::Number(count @ 0..=MOST) => count,
                Value::Number(count) => {
                    self.problem(ProblemKind::BadCount(count), place, span);
                    return self.unknown(None);
                }
                _ => return self.unknown(None),
            };
            let lines = body.lines.len() as i64;
            fits = count.saturating_mul(lines.max(1)) < MOST_LINES as i64;
            for at in 0..count {
                let call = Call { number: number + at as usize, ..Call::default() };
                fits = fits && body.add(&call, &mut text);
                if !fits {
                    break;
                }
            }
        } else {
            let own = indexed.chunk.line_text(line);
            let field = whole_field(own, line, indexed.chunk.dialect().is_unix());
            let mut words = field.split([',', ' ', '\t']).filter(|it| !it.is_empty());
            let Some(parameter) = words.next().and_then(Parameter::read) else {
                self.problem(ProblemKind::Incomplete, place, line.operation);
                return self.unknown(None);
            };
            body.names.are_bare = !indexed.chunk.dialect().is_unix();
            body.names.parameters = vec![parameter];
            let trim = |it: &str| it.trim_matches(['<', '>', '"']).to_owned();
            let values: Vec<String> = match name {
                "irpc" => words.next().map(trim).unwrap_or_default().chars().map(String::from).collect(),
                _ => {
                    let list: Vec<String> = words.map(trim).collect();
                    // Without values the lines are read once, with nothing for the name (*Using as* 2.40, 7.60).
                    if list.is_empty() { vec![String::new()] } else { list }
                }
            };
            for (at, value) in values.iter().enumerate() {
                let call = Call { arguments: vec![value], count: 1, number: number + at, ..Call::default() };
                fits = fits && body.add(&call, &mut text);
            }
        }
        self.expand(place, indexed, place, &text, fits, body.lines.len());
    }

    /// Reads the lines that stand for a line.
    pub(super) fn expand(
        &mut self,
        place: Place,
        indexed: &Indexed,
        definition: Place,
        text: &str,
        fits: bool,
        lines: usize,
    ) {
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let depth = self.stack.iter().filter(|it| it.expansion().is_some()).count();
        if depth >= MOST_DEPTH || self.expanded_lines > MOST_LINES || !fits {
            // Told once: whatever else is called would only do the same again.
            if !self.has_given_up {
                let span = if line.operation.is_empty() { line.label } else { line.operation };
                self.problem(ProblemKind::TooManyExpansions, place, span);
            }
            // One that is too long by itself says nothing of the others.
            self.has_given_up |= fits;
            self.unit.may_define_more = true;
            return self.unknown(None);
        }
        if self.has_given_up {
            return self.unknown(None);
        }
        let number = self.unit.expansions.len();
        let Some(file) = self.source(definition.file) else { return self.unknown(None) };
        let id = FileId::of_expansion(number);
        let dialect = indexed.chunk.dialect();
        let file = SourceFile::of_expansion(
            id,
            file.shared_path().clone(),
            text,
            dialect,
            self.program.names(),
            self.settings,
        );
        self.expanded_lines += file.source().line_count() + COST;
        // A call in an expansion came from the source, too.
        let call = match place.file.expansion() {
            Some(outer) => self.unit.expansions[outer].call,
            None => place,
        };
        self.unit.expansions.push(Expansion {
            file: Arc::new(file),
            call,
            from: place,
            body_lines: lines as u32,
            definition,
        });
        // Symbols of the expansion may be new ones.
        self.unit.by_symbol.resize(self.unit.by_symbol.len().max(self.program.names().len()), 0);
        self.file(id);
        self.state.left = false;
        self.has_expanded = true;
    }

    /// Where the macro of a name is defined, if it was by now. Assemblers of the time did not tell cases apart.
    pub(super) fn macro_named(&self, symbol: Symbol) -> Option<Place> {
        let folded = self.program.names().folded(symbol);
        let macros = self.unit.macros.iter().rev().map(|at| &self.unit.definitions[*at as usize]);
        let same = |name: Symbol| name == symbol || self.program.names().folded(name) == folded;
        macros.into_iter().find(|it| same(it.symbol)).map(|it| it.place)
    }

    /// The lines between MACRO and its ENDM, and the names of its parameters.
    fn macro_body(&self, definition: Place) -> Option<Body> {
        let file = self.source(definition.file)?;
        let (chunk, line, text) = file.at(definition.chunk, definition.line);
        let is_unix = chunk.dialect().is_unix();
        let mut names = Names::default();
        if line.label.is_empty() {
            // `.macro name a,b` has the name first; blanks and commas are the same there.
            let words = whole_field(text, line, is_unix).split([' ', '\t', ',']).filter(|it| !it.is_empty());
            names.parameters = words.skip(1).filter_map(Parameter::read).collect();
        } else {
            let operands = chunk.operands(line).into_iter().filter_map(|it| Parameter::read(&text[it]));
            names.parameters = operands.collect();
        }
        names.are_bare = !is_unix && !names.parameters.is_empty();
        let mut body = self.body(definition, names)?;
        let mut locals = Vec::new();
        for at in &body.lines {
            let (chunk, line, text) = body.owner.at(at.0, at.1);
            if line.op.directive().is_some_and(|it| it.meaning == Meaning::LocalNames) {
                locals.extend(chunk.operands(line).into_iter().map(|it| text[it].trim_start_matches('\\').to_owned()));
            }
        }
        body.names.locals = locals;
        Some(body)
    }

    /// The lines between the directive at a place and the one that ends them.
    fn body(&self, start: Place, names: Names) -> Option<Body> {
        let file = self.source(start.file)?;
        let mut body = Body { names, lines: Vec::new(), owner: file.clone() };
        let mut depth = 0_usize;
        let mut from = usize::from(start.line) + 1;
        for (number, chunk) in file.source().chunks().iter().enumerate().skip(start.chunk as usize) {
            for (at, line) in chunk.lines().iter().enumerate().skip(from) {
                match line.op.directive().map(|it| it.meaning) {
                    Some(Meaning::Macro | Meaning::Repeat) => depth += 1,
                    // ENDM ends repetitions too, in the assemblers that have no ENDR.
                    Some(Meaning::EndMacro | Meaning::EndRepeat) => match depth.checked_sub(1) {
                        Some(less) => depth = less,
                        None => return Some(body),
                    },
                    _ => (),
                }
                body.lines.push((number as u32, at as u16));
            }
            from = 0;
        }
        None
    }
}
