//! What directives do to the location and the names.

use std::ops::Range;

use reveille_source::{Directive, Line, Meaning, Span};

use super::{MOST, Stop, Walk};
use crate::FileId;
use crate::expression::{Base, Value};
use crate::index::{Indexed, include_name, item_bytes, names};
use crate::preprocessor::{Directive as Preprocessed, directive};
use crate::unit::{BaseInfo, DefinitionKind, Place, ProblemKind};

/// How deep includes may nest.
const INCLUDE_DEPTH: usize = 64;

/// How many files a unit may read, each counted as often as it is included.
const MOST_VISITS: u32 = 10_000;

impl Walk<'_> {
    pub(super) fn directive(&mut self, place: Place, indexed: &Indexed) {
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let Some(directive) = line.op.directive() else { return };
        let text = indexed.chunk.line_text(line);
        if self.structure(place, indexed, directive.meaning) || !self.state.reads() {
            return;
        }
        if directive.soft && self.is_effective && self.is_macro(place, line, text) {
            self.call(place, indexed, self.program.names().intern(line.operation.of(text)));
            // A replay passes over the line, so what is behind it begins a segment whatever came of it.
            self.has_expanded = true;
            return;
        }
        let number = self.state.stops as usize;
        self.state.stops += 1;
        if self.is_effective {
            self.move_on(place, indexed, line, directive, text);
            let stop = Stop { mark: self.state.mark(), next_base: self.state.next_base };
            self.unit.stops.push(stop);
        } else if let Some(stop) = self.earlier.and_then(|unit| unit.stops.get(number)) {
            // A replay: names may have had other values then, so nothing is evaluated again.
            (self.state.base, self.state.offset) = (stop.mark.base, stop.mark.offset);
            self.state.next_base = stop.next_base;
            if directive.meaning == Meaning::End {
                self.state.ended = Some(place);
            }
        }
    }

    /// Whether a macro has the name of a directive that people also give to their things.
    fn is_macro(&mut self, place: Place, line: &Line, text: &str) -> bool {
        if self.unit.macros.is_empty() {
            return false;
        }
        let symbol = self.program.names().find(line.operation.of(text));
        let is_macro = symbol.is_some_and(|it| self.macro_named(it).is_some());
        if is_macro {
            self.unit.replaced.insert(place);
        }
        is_macro
    }

    /// What a directive does to the location.
    fn move_on(&mut self, place: Place, indexed: &Indexed, line: &Line, directive: &Directive, text: &str) {
        let operands = || indexed.chunk.operands(line);
        let first = || operands().into_iter().next();
        match directive.meaning {
            Meaning::Reserve | Meaning::ReserveBytes | Meaning::Block | Meaning::Fill => {
                let Some(mut item) = item_bytes(directive, line.size) else {
                    self.problem(ProblemKind::BadSize, place, line.size_span());
                    return self.unknown(None);
                };
                if item > 1 && !indexed.chunk.dialect().is_unix() {
                    self.align();
                }
                if directive.meaning == Meaning::Fill
                    && let Some(size) = operands().get(1).cloned()
                {
                    match self.value(place, size).number() {
                        Some(size @ 0..=8) => item = size as u32,
                        _ => return self.unknown(None),
                    }
                }
                let Some(count) = first() else {
                    self.problem(ProblemKind::Incomplete, place, line.operation);
                    return;
                };
                let span = Span { start: count.start as u16, end: count.end as u16 };
                match self.value(place, count) {
                    Value::Number(count @ 0..=MOST) => self.state.offset += count * i64::from(item),
                    Value::Number(count) => {
                        self.problem(ProblemKind::BadCount(count), place, span);
                        self.unknown(None);
                    }
                    _ => self.unknown(None),
                }
            }
            Meaning::Constants | Meaning::ConstantsOf(_) | Meaning::Floats(_) | Meaning::Strings(_) => {
                self.problem(ProblemKind::BadSize, place, line.size_span());
                self.unknown(None);
            }
            Meaning::Even => self.align(),
            Meaning::Align | Meaning::AlignPower | Meaning::AlignOffset => {
                self.align_to(place, &operands(), directive.meaning, indexed)
            }
            Meaning::Origin => self.origin(place, indexed),
            Meaning::Section | Meaning::NamedSection => {
                let name = match directive.meaning {
                    Meaning::NamedSection => directive.name.to_owned(),
                    _ => {
                        first().map_or_else(|| line.label.of(text).to_owned(), |range| text[range].to_ascii_lowercase())
                    }
                };
                self.section(&name);
            }
            Meaning::Offsets => {
                if self.state.offsets_from.is_none() {
                    self.state.offsets_from = Some(self.state.mark());
                }
                let start = first().map_or(Value::Number(0), |range| self.value(place, range));
                match start {
                    Value::Number(start) => self.jump(Base::ABSOLUTE, start),
                    _ => self.unknown(Some(false)),
                }
            }
            Meaning::StructureStart => {
                self.state.structure = first().and_then(|range| self.value(place, range).number()).unwrap_or(0);
            }
            Meaning::StructureField => {
                let item = item_bytes(directive, line.size).unwrap_or(1);
                let count = first().and_then(|range| self.value(place, range).number()).unwrap_or(0);
                if !line.label.is_empty() {
                    let symbol = self.program.names().intern(line.label.of(text));
                    self.define(symbol, DefinitionKind::Equate, place, Value::Number(self.state.structure), line.label);
                }
                self.state.structure += count.clamp(0, MOST) * i64::from(item);
            }
            Meaning::IncludeBytes => self.unknown(None),
            Meaning::Import | Meaning::Common | Meaning::Export => {
                let dialect = indexed.chunk.dialect();
                let field = line.operands;
                let mut found = Vec::new();
                names(field.of(text), dialect, |name, start| {
                    found.push((self.program.names().intern(name), start, name.len()))
                });
                if directive.meaning == Meaning::Common {
                    found.truncate(1);
                }
                for (symbol, start, len) in found {
                    let start = field.start + start as u16;
                    if directive.meaning == Meaning::Export {
                        let span = Span { start, end: start + len as u16 };
                        // A weak one gives way to any other.
                        if directive.name != "weak" {
                            self.unit.exports.push((symbol, place, span));
                        }
                        continue;
                    }
                    let known = self.unit.by_symbol.get(symbol.index()).is_some_and(|it| *it != 0);
                    if !known {
                        let span = Span { start, end: start + len as u16 };
                        self.define(symbol, DefinitionKind::External, place, Value::Unknown, span);
                    }
                }
            }
            Meaning::End => self.state.ended = Some(place),
            Meaning::Error => {
                // The text is read to the end of the line, blanks and all.
                let start = usize::from(line.size_span().end);
                let stated = text[start..].split(';').next().unwrap_or("").trim();
                let stated = stated.trim_matches(['"', '\'']).to_owned();
                self.problem(ProblemKind::Stated(stated), place, line.operation);
            }
            _ => (),
        }
    }

    pub(super) fn origin(&mut self, place: Place, indexed: &Indexed) {
        self.state.offsets_from = None;
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        match indexed.chunk.operands(line).into_iter().next().map(|range| self.value(place, range)) {
            Some(Value::Number(address)) => self.jump(Base::ABSOLUTE, address),
            Some(Value::Address(base, offset)) => self.jump(base, offset),
            Some(Value::Unknown) => self.unknown(Some(false)),
            None => self.problem(ProblemKind::Incomplete, place, line.operation),
        }
    }

    fn section(&mut self, name: &str) {
        let current = self.state.offsets_from.take().unwrap_or_else(|| self.state.mark());
        let old = self.state.section;
        match self.sections.iter_mut().find(|it| it.0 == old) {
            Some(entry) => entry.1 = current,
            None => self.sections.push((old, current)),
        }
        let symbol = self.program.names().intern(name);
        self.state.section = symbol;
        match self.sections.iter().find(|it| it.0 == symbol) {
            Some(entry) => {
                let from = entry.1;
                self.go_on(from);
            }
            None => self.new_base(BaseInfo { is_odd: Some(false), is_section: true, alignment: 2, address: None }),
        }
    }

    fn align_to(&mut self, place: Place, operands: &[Range<usize>], meaning: Meaning, indexed: &Indexed) {
        let mut number = |at: usize| operands.get(at).cloned().and_then(|range| self.value(place, range).number());
        let (offset, multiple) = match meaning {
            Meaning::AlignOffset => (number(0).unwrap_or(0), number(1)),
            // `ALIGN 0,4` has the offset first, as CNOP does.
            _ if operands.len() == 2 && number(0) == Some(0) => (0, number(1)),
            _ => (0, number(0)),
        };
        let multiple = match (meaning, multiple) {
            (Meaning::AlignPower, Some(power @ 0..=20)) => Some(1 << power),
            (Meaning::AlignPower, _) => None,
            _ => multiple,
        };
        let Some(multiple @ 1..=MOST) = multiple else { return self.align() };
        if multiple == 1 && !indexed.chunk.dialect().is_unix() {
            return;
        }
        // `.align` counts bytes as GNU as has it (2.40, for m68k with ELF); some others of the Unix families count in powers of two.
        let base = self.state.base;
        let info = self.unit.bases.get_mut(base.0 as usize);
        if multiple == 2 && offset == 0 {
            self.align();
        } else if base == Base::ABSOLUTE || info.as_ref().is_some_and(|it| it.is_section) {
            // A section starts at a multiple of what is asked for in it.
            if let Some(info) = info.filter(|it| it.is_section) {
                info.alignment = info.alignment.max(multiple);
            }
            self.needs_lengths = true;
            self.state.offset += (offset - self.state.offset).rem_euclid(multiple);
        } else {
            self.unknown(Some(offset & 1 == 1));
        }
    }

    pub(super) fn include(&mut self, file: FileId, chunk: u32, line_at: u16, indexed: &Indexed) {
        let place = Place { file, chunk, line: line_at };
        let line = &indexed.chunk.lines()[usize::from(line_at)];
        let text = indexed.chunk.line_text(line);
        let (range, is_system) = match directive(text) {
            Some(Preprocessed::Include { name, is_system }) => (Some(name), is_system),
            _ => (indexed.chunk.operands(line).into_iter().next(), false),
        };
        let Some(range) = range else {
            return self.problem(ProblemKind::Incomplete, place, line.operation);
        };
        let span = Span { start: range.start as u16, end: range.end as u16 };
        let name = include_name(&text[range]).to_owned();
        let root = self.unit.root.unwrap_or(file);
        match self.program.resolve_include(file, root, &name) {
            None => {
                // The headers of a system are lost with it more often than not: whoever uses a name of theirs is told.
                if !is_system {
                    self.problem(ProblemKind::MissingInclude(name.clone()), place, span);
                }
                self.unit.missing.push((file, name));
            }
            Some(id) if self.stack.contains(&id) => {
                // A header of C that includes itself is guarded by a condition.
                if !self.program.file(id).is_some_and(|it| it.is_c_header()) {
                    self.problem(ProblemKind::IncludeCycle(name), place, span);
                }
            }
            Some(_) if self.stack.len() >= INCLUDE_DEPTH || self.visits >= MOST_VISITS => {
                self.problem(ProblemKind::IncludeDepth, place, span);
            }
            Some(id) => self.file(id),
        }
    }
}
