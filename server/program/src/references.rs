//! Where a name is used.

use reveille_source::{Chunk, Line, LineKind, OpId, Span};

use crate::index::EventKind;
use crate::preprocessor::{Directive, directive};
use crate::unit::{Place, Unit, numeric_reference, place_of};
use crate::{Definition, FileId, Program, SourceFile, Symbol};

/// Where a name stands: its line and the part of it.
pub type Occurrence = (Place, Span);

/// Where the definitions of the symbol of `definition` stand, and where it is used, in all files of its unit: the definitions first.
#[must_use]
pub fn references(program: &Program, unit: &Unit, definition: &Definition) -> (Vec<Occurrence>, Vec<Occurrence>) {
    references_in(program, unit, definition, unit.files())
}

/// The same as [`references`], in some files of the unit.
#[must_use]
pub fn references_in(
    program: &Program,
    unit: &Unit,
    definition: &Definition,
    files: &[FileId],
) -> (Vec<Occurrence>, Vec<Occurrence>) {
    let symbol = definition.symbol;
    let folded = program.names().folded(symbol);
    // Another spelling means this name where no other name has exactly that spelling.
    let is_meant = |it: Symbol| it == symbol || (unit.get(it).is_none() && program.names().folded(it) == folded);
    let same_scope = |it: &Definition| !symbol.is_local() || it.scope == definition.scope;
    let definitions = unit.definitions().iter().filter(|it| it.symbol == symbol && same_scope(it));
    let definitions = definitions.filter(|it| files.contains(&it.place.file));
    let definitions = definitions.map(|it| (it.place, definition_span(program, it.place))).collect();
    let mut uses = Vec::new();
    for id in files {
        let Some(file) = program.file(*id) else { continue };
        for (chunk, indexed) in file.indexed.iter().enumerate() {
            let list = if symbol.is_local() { &indexed.local_uses } else { &indexed.uses };
            for found in list {
                if symbol.is_local() {
                    let name = program.names().text(found.symbol);
                    let is_numeric = numeric_reference(&name).is_some();
                    if found.symbol != symbol && !is_numeric {
                        continue;
                    }
                    let (place, span) = place_of(*id, chunk as u32, found);
                    if unit.resolve(program, place, &name).is_some_and(|it| it.place == definition.place) {
                        uses.push((place, span));
                    }
                } else if is_meant(found.symbol) {
                    uses.push(place_of(*id, chunk as u32, found));
                }
            }
            calls(*id, chunk as u32, indexed, &is_meant, &mut uses);
        }
    }
    (definitions, uses)
}

/// Where any of some names is used in operands, spelled as it is, in all files of a unit: one pass for all of them.
#[must_use]
pub fn uses_of(program: &Program, unit: &Unit, symbols: &rustc_hash::FxHashSet<Symbol>) -> Vec<Occurrence> {
    let mut found = Vec::new();
    for id in unit.files() {
        let Some(file) = program.file(*id) else { continue };
        for (chunk, indexed) in file.indexed.iter().enumerate() {
            let own = indexed.uses.iter().filter(|it| symbols.contains(&it.symbol));
            found.extend(own.map(|it| place_of(*id, chunk as u32, it)));
        }
    }
    found
}

fn calls(
    file: FileId,
    chunk: u32,
    indexed: &crate::index::Indexed,
    is_meant: &dyn Fn(Symbol) -> bool,
    uses: &mut Vec<(Place, Span)>,
) {
    for event in &indexed.events {
        if let EventKind::Call(symbol) = event.kind
            && is_meant(symbol)
        {
            let span = indexed.chunk.lines()[usize::from(event.line)].operation;
            uses.push((Place { file, chunk, line: event.line }, span));
        }
    }
}

/// Where the name stands that a line defines: its label, or the first operand of `.equ name,value` and `.macro name`.
#[must_use]
pub fn definition_span(program: &Program, place: Place) -> Span {
    let Some(file) = program.file(place.file) else { return Span::default() };
    let (chunk, line, text) = file.at(place.chunk, place.line);
    name_span(chunk, line, text)
}

fn name_span(chunk: &Chunk, line: &Line, text: &str) -> Span {
    if line.kind == LineKind::Preprocessor {
        let Some(Directive::Define { name, .. }) = directive(text) else { return Span::default() };
        return Span { start: name.start as u16, end: name.end as u16 };
    }
    if !line.label.is_empty() || line.op == OpId::NONE {
        return line.label;
    }
    let first = chunk.operands(line).into_iter().next().unwrap_or(0..0);
    let end = text[first.clone()].find(char::is_whitespace).map_or(first.end, |at| first.start + at);
    Span { start: first.start as u16, end: end as u16 }
}

/// A place where a name stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spelling {
    /// The line.
    pub place: Place,
    /// The part of it.
    pub span: Span,
    /// Whether the line defines it, if it is read.
    pub is_definition: bool,
}

/// Every place of a file where a name stands, in whatever case: in lines that are read and in those that are not, in the bodies of
/// macros too. What it means there is for others to tell.
#[must_use]
pub fn spellings(file: &SourceFile, name: &str) -> Vec<Spelling> {
    let mut found = Vec::new();
    for (at, indexed) in file.indexed.iter().enumerate() {
        let chunk = &indexed.chunk;
        let is_local = crate::index::is_local_label(name, chunk.dialect());
        let mut push = |line: u16, span: Span, is_definition| {
            let text = chunk.line_text(&chunk.lines()[usize::from(line)]);
            if span.of(text).eq_ignore_ascii_case(name) {
                let place = Place { file: file.id(), chunk: at as u32, line };
                found.push(Spelling { place, span, is_definition });
            }
        };
        for (number, line) in chunk.lines().iter().enumerate() {
            if usize::from(line.label.end - line.label.start) == name.len() && !name.is_empty() {
                push(number as u16, line.label, true);
            }
        }
        for event in &indexed.events {
            let line = &chunk.lines()[usize::from(event.line)];
            match event.kind {
                EventKind::Call(_) => push(event.line, line.operation, false),
                EventKind::Equate(_) | EventKind::Set(_) | EventKind::RegisterName(_) | EventKind::Macro(_)
                    if line.label.is_empty() =>
                {
                    push(event.line, name_span(chunk, line, chunk.line_text(line)), true);
                }
                _ => (),
            }
        }
        let uses = if is_local { &indexed.local_uses } else { &indexed.uses };
        for found in uses.iter().filter(|it| usize::from(it.len) == name.len()) {
            push(found.line, Span { start: found.start, end: found.start + found.len }, false);
        }
    }
    found.sort_by_key(|it| (it.place, it.span.start));
    found
}
