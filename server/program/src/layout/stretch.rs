//! Lengths that depend on distances: branches without a size, and references that may be relative.
//!
//! The walk takes each of them as short as it can be. Afterwards those that do not reach grow, until none has to: the least solution, whatever
//! was edited before. Nothing is walked again for that: a location knows its piece of the program and how many open instructions lie
//! before it, so a running sum of growth moves it.

use super::Walk;
use super::state::Mark;
use crate::expression::{Base, Value};
use crate::unit::{DefinitionKind, Unit};
use crate::{Program, Symbol};

/// Lines that follow each other without a jump of the location. A piece that continues another one starts at a mark of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    /// Open instructions before its start.
    first: u32,
    /// Where it goes on from.
    from: Option<Mark>,
}

impl Piece {
    /// The first piece of a program.
    pub(super) const START: Self = Self { first: 0, from: None };
}

/// What an open instruction reaches for.
#[derive(Clone, Copy, Debug)]
pub(super) enum Target {
    /// A name, in the scope if it is local, and a number added to it.
    Name(Symbol, u32, i64),
    /// A numeric label of the dotted style, by its place among those of its digits.
    Numeric(Symbol, usize),
    /// A location that nothing moves against the instruction's own: the distance from it.
    Beside(i64),
}

/// An instruction whose length depends on a distance.
#[derive(Clone, Copy, Debug)]
pub(super) struct Open {
    /// Its place among the open instructions.
    pub(super) at: u32,
    pub(super) here: Mark,
    pub(super) target: Target,
    /// Bytes from its start to where the distance counts from.
    pub(super) from: i64,
    /// Its ways, from the shortest on. The last one always reaches.
    pub(super) ways: &'static [Way],
    /// The way taken.
    pub(super) way: u8,
    /// Its bytes besides those of the way.
    pub(super) other_bytes: u8,
    /// Which operand's kind the way decides.
    pub(super) operand: u8,
}

/// A way to encode a reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Way {
    /// Bytes.
    pub(super) bytes: u8,
    /// The kind of operand.
    pub(super) kind: reveille_cpu::Kind,
    /// The distances that it reaches.
    pub(super) reach: Reach,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Reach {
    /// -128 to 127, but not 0, which marks the longer form.
    Byte,
    /// -32768 to 32767.
    Word,
    /// Everywhere.
    All,
}

impl Reach {
    pub(super) fn reaches(self, distance: i64) -> bool {
        match self {
            Self::Byte => distance != 0 && (-0x80..=0x7f).contains(&distance),
            Self::Word => (-0x8000..=0x7fff).contains(&distance),
            Self::All => true,
        }
    }
}

/// How far each location has moved.
struct Growth {
    /// Growth of the first open instructions: before the first, before the second, and so on.
    sums: Vec<i64>,
    /// Growth at each piece's start.
    pieces: Vec<i64>,
}

impl Growth {
    fn new(walk: &Walk<'_>, least: &[u8]) -> Self {
        let mut sums = Vec::with_capacity(least.len() + 1);
        let mut sum = 0;
        sums.push(0);
        for (sized, least) in walk.unit.sized.iter().zip(least) {
            sum += i64::from(sized.bytes) - i64::from(*least);
            sums.push(sum);
        }
        let mut growth = Self { sums, pieces: Vec::with_capacity(walk.pieces.len()) };
        for piece in &walk.pieces {
            let own = piece.from.map_or(0, |from| growth.of(&walk.pieces, from));
            growth.pieces.push(own);
        }
        growth
    }

    fn of(&self, pieces: &[Piece], mark: Mark) -> i64 {
        let piece = mark.piece as usize;
        let first = pieces[piece].first as usize;
        self.pieces[piece] + self.sums[mark.instructions as usize] - self.sums[first]
    }
}

impl Walk<'_> {
    /// Starts a piece: `from` where the location goes on from, if it does.
    pub(super) fn piece(&mut self, from: Option<Mark>) {
        let piece = Piece { first: self.state.instructions, from };
        self.state.piece = self.pieces.len() as u32;
        self.pieces.push(piece);
    }

    /// Lets grow what does not reach, and moves all that lies behind. Gives whether anything grew.
    pub(super) fn stretch(&mut self) -> bool {
        if self.open.is_empty() {
            return false;
        }
        let least: Vec<u8> = self.unit.sized.iter().map(|it| it.bytes).collect();
        let targets: Vec<_> = self.open.iter().map(|open| self.resolve(open)).collect();
        let mut growth = Growth::new(self, &least);
        loop {
            let mut has_grown = false;
            for (at, target) in targets.iter().enumerate() {
                let open = self.open[at];
                let way = open.ways[usize::from(open.way)];
                if way.reach == Reach::All {
                    continue;
                }
                let distance = match *target {
                    Found::Distance(distance) => Some(distance),
                    Found::Mark(mark, plus) if mark.base == open.here.base => {
                        let there = mark.offset + growth.of(&self.pieces, mark) + plus;
                        Some(there - (open.here.offset + growth.of(&self.pieces, open.here)) - open.from)
                    }
                    Found::Number(address) if open.here.base == Base::ABSOLUTE => {
                        Some(address - (open.here.offset + growth.of(&self.pieces, open.here)) - open.from)
                    }
                    _ => None,
                };
                // What is not known is taken the longest way that needs no address; a reference, as the absolute one it is.
                let reaches = match distance {
                    Some(distance) => way.reach.reaches(distance),
                    None => way.reach == Reach::Word && way.kind == reveille_cpu::Kind::Target,
                };
                let is_last = usize::from(open.way) + 1 == open.ways.len();
                if !reaches && !is_last {
                    let next = open.ways[usize::from(open.way) + 1];
                    self.open[at].way += 1;
                    let sized = &mut self.unit.sized[open.at as usize];
                    sized.bytes = open.other_bytes + next.bytes;
                    sized.kinds[usize::from(open.operand)] = next.kind;
                    has_grown = true;
                }
            }
            if !has_grown {
                break;
            }
            growth = Growth::new(self, &least);
        }
        if growth.sums.last().is_none_or(|sum| *sum == 0) {
            return false;
        }
        self.shift(&growth);
        true
    }

    /// Moves all that is known by its location.
    fn shift(&mut self, growth: &Growth) {
        let moved = |value: Value, by: i64| match value {
            Value::Number(number) => Value::Number(number + by),
            Value::Address(base, offset) => Value::Address(base, offset + by),
            Value::Unknown => Value::Unknown,
        };
        for (definition, mark) in self.unit.definitions.iter_mut().zip(&self.marks) {
            let by = growth.of(&self.pieces, *mark);
            if by != 0 {
                definition.location = moved(definition.location, by);
                if definition.kind == DefinitionKind::Label {
                    definition.value = definition.location;
                }
            }
        }
        for segment in &mut self.unit.segments {
            let mark = segment.state.mark();
            segment.state.offset += growth.of(&self.pieces, mark);
            if let Some(from) = &mut segment.state.offsets_from {
                from.offset += growth.of(&self.pieces, *from);
            }
        }
        for stop in &mut self.unit.stops {
            stop.mark.offset += growth.of(&self.pieces, stop.mark);
        }
        for section in &mut self.sections {
            section.1.offset += growth.of(&self.pieces, section.1);
        }
        let end = self.state.mark();
        self.state.offset += growth.of(&self.pieces, end);
    }

    fn resolve(&self, open: &Open) -> Found {
        let (at, plus) = match open.target {
            Target::Beside(distance) => return Found::Distance(distance),
            Target::Numeric(digits, place) => {
                let list = self.unit.numeric.get(&digits);
                (list.and_then(|it| it.get(place)).map(|at| *at as usize), 0)
            }
            Target::Name(symbol, scope, plus) => (find(self.program, &self.unit, symbol, scope), plus),
        };
        let Some(at) = at else { return Found::Nothing };
        let definition = &self.unit.definitions[at];
        match (definition.kind, definition.value) {
            (DefinitionKind::Label, _) => Found::Mark(self.marks[at], plus),
            (_, Value::Number(number)) => Found::Number(number + plus),
            _ => Found::Nothing,
        }
    }
}

/// The place of the definition that a name means in a scope.
pub(super) fn find(program: &Program, unit: &Unit, symbol: Symbol, scope: u32) -> Option<usize> {
    if symbol.is_local() {
        return unit.locals.get(&(scope, symbol)).map(|at| *at as usize);
    }
    let exact = unit.by_symbol.get(symbol.index()).copied().unwrap_or(0);
    match (exact as usize).checked_sub(1) {
        Some(at) => Some(at),
        None => unit.find_folded(program, program.names().folded(symbol)),
    }
}

#[derive(Clone, Copy)]
enum Found {
    /// A place of the program, and a number added to it.
    Mark(Mark, i64),
    /// An address that nothing moves.
    Number(i64),
    /// The distance itself.
    Distance(i64),
    /// It is not known.
    Nothing,
}
