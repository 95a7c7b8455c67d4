//! The instructions of a unit in the order of the program, read as they are asked for, and the addresses that their operands give.

use std::collections::hash_map::Entry;
use std::ops::Range;
use std::sync::Arc;

use reveille_cpu::{Kind, MemoryUse};
use reveille_source::{Span, name_in};
use rustc_hash::{FxHashMap, FxHashSet};

use crate::data::line_items;
use crate::expression::{Base, Context, ExpressionProblem, Value, evaluate};
use crate::index::{AddressedValue, Indexed};
use crate::instruction::{Assembled, Expr, Site, Sized, assemble_at};
use crate::layout::trace;
use crate::unit::{DefinitionKind, Place, Unit};
use crate::{Program, Symbol};

/// Where a line stands among those that a unit reads: it grows in the order of the program. Of an included file or a macro's expansion
/// each line has its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct CodeAt {
    segment: u32,
    line: u16,
}

/// An operand that gives an address by itself: an absolute one, or a constant that an address register is loaded with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Addressed {
    /// The line among those of the unit.
    pub at: CodeAt,
    /// The line.
    pub place: Place,
    /// Which operand of the instruction it is.
    pub operand: usize,
    /// What the instruction does with what stands there; none where the address alone is taken.
    pub used: Option<MemoryUse>,
    /// The address, as it is written: not cut to the lines that the processor has.
    pub address: i64,
}

/// An instruction of a unit.
#[derive(Debug)]
pub struct CodeLine {
    /// The line among those of the unit.
    pub at: CodeAt,
    /// The line.
    pub place: Place,
    /// Where it is.
    pub location: Value,
    /// The scope of its local labels.
    pub scope: u32,
    /// The instruction.
    pub code: Assembled,
}

/// A line of a piece.
#[derive(Clone, Copy, Debug)]
struct Line {
    line: u16,
    location: Value,
    end: Value,
    scope: u32,
    sized: Option<Sized>,
    is_code: bool,
}

/// A location as something to look up: addresses that are numbers, or are taken to be some, under base 0.
type Key = (u32, i64);

/// A byte that the source lays down, and the operand that does.
pub type DataByte = (u8, Place, Span);

/// The instructions of a unit. Nothing is read before it is asked for.
pub struct Code<'a> {
    program: &'a Program,
    unit: &'a Unit,
    /// For each segment the line behind its last.
    ends: Vec<u16>,
    pieces: FxHashMap<u32, Arc<[Line]>>,
    lines: FxHashMap<CodeAt, Option<Arc<CodeLine>>>,
    /// Where each segment starts, in the order of locations.
    starts: Vec<(Key, u32)>,
    data: FxHashMap<CodeAt, Arc<[Option<DataByte>]>>,
}

/// How many segments without an instruction are passed over on the way to the next one: those of includes and macros that lay down nothing.
const MOST_EMPTY: u32 = 100;

/// For each segment of a unit the line behind its last: where its chunk is taken up again behind an include or an expansion.
fn ends(program: &Program, unit: &Unit) -> Vec<u16> {
    let mut ends = vec![0; unit.segments.len()];
    let mut later: FxHashMap<_, (u32, u16)> = FxHashMap::default();
    for (at, segment) in unit.segments.iter().enumerate().rev() {
        let next = later.insert(segment.file, (segment.chunk, segment.first_line));
        let resumed = next.filter(|it| it.0 == segment.chunk && it.1 > segment.first_line).map(|it| it.1);
        ends[at] = resumed.unwrap_or_else(|| indexed(program, unit, at).map_or(0, |it| it.chunk.lines().len() as u16));
    }
    ends
}

fn indexed<'a>(program: &'a Program, unit: &'a Unit, segment: usize) -> Option<&'a Indexed> {
    let segment = unit.segments.get(segment)?;
    unit.file(program, segment.file)?.indexed.get(segment.chunk as usize).map(AsRef::as_ref)
}

/// Names of a unit wherever they stand: without the location and without local labels.
struct Anywhere<'a> {
    program: &'a Program,
    unit: &'a Unit,
    place: Place,
}

impl Context for Anywhere<'_> {
    fn name(&mut self, text: &str, _: Range<usize>) -> Value {
        let dialect = self.unit.dialect(self.program, self.place.file);
        let Some(name) = name_in(text, dialect).filter(|it| !crate::is_local_label(it, dialect)) else {
            return Value::Unknown;
        };
        self.unit.find(self.program, name).map_or(Value::Unknown, |it| self.unit.at_that_time(it, self.place).value)
    }

    fn location(&mut self) -> Value {
        Value::Unknown
    }

    fn problem(&mut self, _: ExpressionProblem, _: Range<usize>) {}
}

fn named(program: &Program, unit: &Unit, symbol: Symbol, place: Place) -> Option<Value> {
    if symbol.is_local() {
        return None;
    }
    let found = unit.get_or_folded(program, symbol)?;
    Some(if found.kind == DefinitionKind::Set { unit.at_that_time(found, place).value } else { found.value })
}

impl<'a> Code<'a> {
    /// The instructions of a unit.
    #[must_use]
    pub fn new(program: &'a Program, unit: &'a Unit) -> Self {
        let mut starts: Vec<(Key, u32)> = Vec::new();
        for (at, segment) in unit.segments.iter().enumerate() {
            starts.extend(key(unit, segment.state.location()).map(|it| (it, at as u32)));
        }
        starts.sort_unstable();
        let (pieces, lines, data) = Default::default();
        Self { program, unit, ends: ends(program, unit), pieces, lines, starts, data }
    }

    fn piece(&mut self, segment: u32) -> Arc<[Line]> {
        let (program, unit) = (self.program, self.unit);
        let end = self.ends.get(segment as usize).copied().unwrap_or(0);
        let entry = match self.pieces.entry(segment) {
            Entry::Occupied(found) => return found.get().clone(),
            Entry::Vacant(entry) => entry,
        };
        let mut found = Vec::new();
        if let (Some(own), Some(indexed)) =
            (unit.segments.get(segment as usize), indexed(program, unit, segment as usize))
        {
            let lines = indexed.chunk.lines();
            trace(program, unit, own, end, &mut |step| {
                let place = Place { file: own.file, chunk: own.chunk, line: step.line };
                let op = lines[usize::from(step.line)].op;
                if !step.is_read || op == reveille_source::OpId::NONE || unit.is_replaced(place) {
                    return;
                }
                let is_code = op.is_instruction();
                found.push(Line {
                    line: step.line,
                    location: step.location,
                    end: step.end,
                    scope: step.scope,
                    sized: step.sized,
                    is_code,
                });
            });
        }
        entry.insert(found.into()).clone()
    }

    /// The instruction of a line; none if it has none that can be encoded.
    pub fn line(&mut self, at: CodeAt) -> Option<Arc<CodeLine>> {
        if let Some(known) = self.lines.get(&at) {
            return known.clone();
        }
        let piece = self.piece(at.segment);
        let own = piece.binary_search_by_key(&at.line, |it| it.line).ok().map(|own| piece[own]).filter(|it| it.is_code);
        let found = own.and_then(|own| {
            let segment = &self.unit.segments[at.segment as usize];
            let place = Place { file: segment.file, chunk: segment.chunk, line: at.line };
            let site = Site { place, location: own.location, scope: own.scope };
            let code = assemble_at(self.program, self.unit, site, own.sized)?;
            Some(Arc::new(CodeLine { at, place, location: own.location, scope: own.scope, code }))
        });
        self.lines.insert(at, found.clone());
        found
    }

    /// The lines of all instructions, in the order of the program.
    pub fn instructions(&mut self) -> Vec<CodeAt> {
        let count = self.unit.segments.len() as u32;
        let mut found = Vec::new();
        for segment in 0..count {
            let piece = self.piece(segment);
            found.extend(piece.iter().filter(|it| it.is_code).map(|it| CodeAt { segment, line: it.line }));
        }
        found
    }

    /// The instruction at an address; none where something else is, or its middle.
    pub fn at_address(&mut self, address: i64) -> Option<CodeAt> {
        self.instruction_at((0, address))
    }

    /// The instruction that follows in memory; none where something else does, or nobody knows.
    pub fn next(&mut self, at: CodeAt) -> Option<CodeAt> {
        let piece = self.piece(at.segment);
        let own = piece.binary_search_by_key(&at.line, |it| it.line).ok()?;
        let end = piece[own].end;
        let is_next = |it: &Line| it.location == end && it.location != Value::Unknown;
        let mut rest = piece[own + 1..].iter().find(|it| it.is_code).copied();
        let mut segment = at.segment;
        while rest.is_none() && segment < at.segment + MOST_EMPTY && (segment as usize) < self.ends.len() {
            segment += 1;
            rest = self.piece(segment).iter().find(|it| it.is_code).copied();
        }
        rest.filter(is_next).map(|it| CodeAt { segment, line: it.line })
    }

    /// The instruction that comes before in memory; none where something else does, or nobody knows.
    pub fn previous(&mut self, at: CodeAt) -> Option<CodeAt> {
        let piece = self.piece(at.segment);
        let own = piece.binary_search_by_key(&at.line, |it| it.line).ok()?;
        let start = piece[own].location;
        let is_before = |it: &Line| it.end == start && start != Value::Unknown;
        let mut rest = piece[..own].iter().rfind(|it| it.is_code).copied();
        let mut segment = at.segment;
        while rest.is_none() && segment > 0 && segment + MOST_EMPTY > at.segment {
            segment -= 1;
            rest = self.piece(segment).iter().rfind(|it| it.is_code).copied();
        }
        rest.filter(is_before).map(|it| CodeAt { segment, line: it.line })
    }

    /// Where a branch or a call leads: the instruction at the address of an operand, if that is known and one is there.
    pub fn target(&mut self, line: &CodeLine, operand: usize) -> Option<CodeAt> {
        let kind = line.code.operands.get(operand)?.kind;
        let is_fixed = matches!(kind, Kind::Target | Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::PcDisplacement);
        if is_fixed { self.named(line, operand) } else { None }
    }

    /// The instruction whose address the value of an operand is, whatever the operand does with it.
    pub fn named(&mut self, line: &CodeLine, operand: usize) -> Option<CodeAt> {
        let own = line.code.operands.get(operand).filter(|_| line.code.is_known[operand])?;
        let is_relative = matches!(own.kind, Kind::Target | Kind::PcDisplacement | Kind::PcIndex);
        let key = match (self.unit.absolute(line.location), line.location) {
            // What is relative to an address that nobody knows is encoded as if that were 0.
            (None, Value::Address(base, offset)) if is_relative => (base.0 + 1, offset + own.value),
            _ => (0, own.value),
        };
        self.instruction_at(key)
    }

    fn instruction_at(&mut self, key: Key) -> Option<CodeAt> {
        self.find(key, &|line, _| line.is_code)
    }

    /// The last line of the program at a location that fits.
    fn find(&mut self, wanted: Key, fits: &dyn Fn(&Line, i64) -> bool) -> Option<CodeAt> {
        let unit = self.unit;
        let mut at = self.starts.partition_point(|it| it.0 <= wanted);
        let mut first = None;
        while let Some((start, segment)) = at.checked_sub(1).map(|it| self.starts[it]) {
            at -= 1;
            // Segments without bytes start where the one before them does.
            if start.0 != wanted.0 || first.is_some_and(|first| first != start) {
                break;
            }
            let piece = self.piece(segment);
            let hit = piece.iter().find(|it| {
                let (Some(from), Some(to)) = (key(unit, it.location), key(unit, it.end)) else { return false };
                from.0 == wanted.0
                    && fits(it, wanted.1 - from.1)
                    && (from.1 == wanted.1 || wanted.1 < to.1 && from.1 < wanted.1 && !it.is_code)
            });
            if let Some(hit) = hit {
                return Some(CodeAt { segment, line: hit.line });
            }
            first.get_or_insert(start);
        }
        None
    }

    /// The byte that the source lays down at an address, and where.
    pub fn byte_at(&mut self, address: i64) -> Option<DataByte> {
        // A directive that goes on elsewhere, as that of a section does, ends elsewhere and lays nothing down.
        let unit = self.unit;
        let lays_down = |line: &Line| unit.absolute(line.location) < unit.absolute(line.end);
        let at = self.find((0, address), &|line, _| !line.is_code && lays_down(line))?;
        let piece = self.piece(at.segment);
        let own = piece[piece.binary_search_by_key(&at.line, |it| it.line).ok()?];
        let (program, unit) = (self.program, self.unit);
        let bytes = self.data.entry(at).or_insert_with(|| {
            let segment = &unit.segments[at.segment as usize];
            let place = Place { file: segment.file, chunk: segment.chunk, line: at.line };
            let mut items = Vec::new();
            if let Some(file) = unit.file(program, place.file) {
                line_items(program, unit, file, (place, own.location), &|it| unit.absolute(it), &mut items);
            }
            let bytes = items.into_iter().flat_map(|item| {
                let (place, span) = (item.place, item.span);
                item.bytes.into_iter().map(move |byte| byte.map(|it| (it, place, span)))
            });
            bytes.collect()
        });
        let from = unit.absolute(own.location)?;
        *bytes.get(usize::try_from(address - from).ok()?)?
    }

    /// The operands that give an address by themselves, in the order of the program. Addresses in sections that no ORG places are left out, and
    /// such as need a local label.
    pub fn addressed(&self) -> impl Iterator<Item = Addressed> {
        let (program, unit) = (self.program, self.unit);
        let segments = unit.segments.iter().enumerate().zip(&self.ends);
        segments
            .filter_map(move |((at, segment), end)| {
                let indexed = indexed(program, unit, at)?;
                let from = indexed.addressed.partition_point(|it| it.line < segment.first_line);
                let to = indexed.addressed.partition_point(|it| it.line < *end);
                let own = indexed.addressed.get(from..to).filter(|it| !it.is_empty())?;
                let idle = unit.idle.get(&(segment.file, segment.chunk));
                let found = own.iter().filter_map(move |it| {
                    if idle.is_some_and(|idle| idle.idle.iter().any(|range| range.contains(&it.line))) {
                        return None;
                    }
                    let place = Place { file: segment.file, chunk: segment.chunk, line: it.line };
                    let address = match it.value {
                        AddressedValue::Number(number) => number,
                        AddressedValue::Record(record) => {
                            let term =
                                &indexed.instructions.get(usize::from(record))?.operands[usize::from(it.operand)];
                            match term.value {
                                Expr::None => return None,
                                Expr::Number(number) => number,
                                Expr::Name(symbol, _, plus) => {
                                    named(program, unit, symbol, place)?.number()? + i64::from(plus)
                                }
                                Expr::Text => {
                                    let line = &indexed.chunk.lines()[usize::from(it.line)];
                                    let text = indexed.chunk.line_text(line);
                                    let mut context = Anywhere { program, unit, place };
                                    let dialect = indexed.chunk.dialect();
                                    evaluate(text, term.span.range(), dialect, &mut context).number()?
                                }
                            }
                        }
                    };
                    if unit.is_replaced(place) {
                        return None;
                    }
                    let at = CodeAt { segment: at as u32, line: it.line };
                    Some(Addressed { at, place, operand: it.operand.into(), used: it.used, address })
                });
                Some(found)
            })
            .flatten()
    }

    /// The first lines of all parts of the program whose bytes lie at addresses that are not `inside`, each with the address. Of a part that
    /// reserves without laying bytes down nothing is told, nor of sections that no ORG places.
    pub fn laid_out_outside(&mut self, inside: &dyn Fn(i64) -> bool) -> Vec<(Place, i64)> {
        let unit = self.unit;
        // Where the location is inside at each start, and wherever a directive has moved it, so it is between.
        let is_out = |location: Value| location.number().is_some_and(|it| !inside(it));
        let count = unit.segments.len();
        let segments = (0..count).filter(|at| {
            let own = &unit.segments[*at].state;
            let next = unit.segments.get(at + 1).map(|it| &it.state);
            let stops = unit.stops_between(own, next);
            let ends_out = next.is_none_or(|it| is_out(it.location().moved(-1)) || is_out(it.location()));
            is_out(own.location()) || ends_out || stops.iter().any(|it| is_out(it.location()))
        });
        let segments: Vec<usize> = segments.collect();
        let mut found: Vec<(Place, i64)> = Vec::new();
        let mut last_end = None;
        for segment in segments {
            let own = &unit.segments[segment];
            let Some(file) = unit.file(self.program, own.file).cloned() else { continue };
            for line in self.piece(segment as u32).iter() {
                let (Some(from), Some(to)) = (line.location.number(), line.end.number()) else { continue };
                let lays_down = |it: &reveille_source::Directive| {
                    use reveille_source::Meaning as M;
                    matches!(
                        it.meaning,
                        M::Constants | M::ConstantsOf(_) | M::Floats(_) | M::Strings(_) | M::Block | M::Fill
                    )
                };
                let op = file.at(own.chunk, line.line).1.op;
                let has_bytes = to > from && (line.is_code || op.directive().is_some_and(lays_down));
                if !has_bytes || inside(from) && inside(to - 1) {
                    continue;
                }
                if last_end != Some(from) {
                    found.push((Place { file: own.file, chunk: own.chunk, line: line.line }, from));
                }
                last_end = Some(to);
            }
        }
        found
    }

    /// Where names of labels are used, among the lines of the unit: `each` gets the label's place in `labels` and the line. Names that
    /// differ only in case count where the unit has such.
    pub fn uses(&self, labels: &FxHashMap<Symbol, CodeAt>, each: &mut dyn FnMut(CodeAt, CodeAt)) {
        let (program, unit) = (self.program, self.unit);
        let folded: FxHashMap<Symbol, CodeAt> = match unit.by_folded.get() {
            Some(_) => labels.iter().map(|it| (program.names().folded(*it.0), *it.1)).collect(),
            None => FxHashMap::default(),
        };
        // Most names are none of them: a look at a flag tells.
        let mut is_label = vec![false; labels.keys().map(|it| it.index() + 1).max().unwrap_or(0)];
        labels.keys().for_each(|it| is_label[it.index()] = true);
        for (at, segment) in unit.segments.iter().enumerate() {
            let Some(indexed) = indexed(program, unit, at) else { continue };
            let from = indexed.uses.partition_point(|it| it.line < segment.first_line);
            let to = indexed.uses.partition_point(|it| it.line < self.ends[at]);
            for found in indexed.uses.get(from..to).unwrap_or(&[]) {
                let is_one = is_label.get(found.symbol.index()).is_some_and(|it| *it);
                let exact = if is_one { labels.get(&found.symbol) } else { None };
                let label = exact.or_else(|| match folded.is_empty() {
                    true => None,
                    false => folded.get(&program.names().folded(found.symbol)),
                });
                if let Some(label) = label {
                    each(*label, CodeAt { segment: at as u32, line: found.line });
                }
            }
        }
    }

    /// Lines that use local labels in some scopes, in the pieces of the program that were read so far.
    pub fn local_uses(&self, scopes: &FxHashSet<u32>) -> Vec<CodeAt> {
        let mut found = Vec::new();
        for (segment, piece) in &self.pieces {
            let Some(indexed) = indexed(self.program, self.unit, *segment as usize) else { continue };
            let (mut lines, mut last) = (piece.iter().peekable(), None);
            for line in indexed.local_uses.iter().map(|it| it.line) {
                while lines.next_if(|it| it.line < line).is_some() {}
                let is_own = lines.peek().is_some_and(|it| it.line == line && scopes.contains(&it.scope));
                if is_own && last != Some(line) {
                    found.push(CodeAt { segment: *segment, line });
                }
                last = Some(line);
            }
        }
        found.sort_unstable();
        found
    }

    /// The local labels that a line uses, each with its scope.
    pub fn local_names(&mut self, at: CodeAt) -> Vec<(u32, Symbol)> {
        let piece = self.piece(at.segment);
        let own = piece.binary_search_by_key(&at.line, |it| it.line).ok().map(|own| piece[own].scope);
        let (Some(scope), Some(indexed)) = (own, indexed(self.program, self.unit, at.segment as usize)) else {
            return Vec::new();
        };
        let found = indexed.local_uses.iter().filter(|it| it.line == at.line);
        found.map(|it| (scope, it.symbol)).collect()
    }
}

fn key(unit: &Unit, location: Value) -> Option<Key> {
    match (unit.absolute(location), location) {
        (Some(address), _) => Some((0, address)),
        (None, Value::Address(Base(base), offset)) => Some((base + 1, offset)),
        _ => None,
    }
}
