//! What the walk carries from line to line, and where it can be taken up again.

use crate::expression::{Base, Value};
use crate::unit::Place;
use crate::{FileId, Symbol};

/// A part of a chunk as the walk met it, and the state it had there.
#[derive(Clone, Debug)]
pub(crate) struct Segment {
    pub(crate) file: FileId,
    pub(crate) chunk: u32,
    pub(crate) first_line: u16,
    pub(super) first_event: u16,
    pub(crate) state: State,
}

/// What the walk carries from line to line.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct State {
    pub(super) base: Base,
    pub(super) offset: i64,
    /// The piece of the program that the location belongs to: see [`super::stretch`].
    pub(super) piece: u32,
    /// Instructions so far whose length was open.
    pub(crate) instructions: u32,
    /// Directives so far that may have moved the location: [`Unit::stops`](crate::Unit).
    pub(super) stops: u32,
    /// Conditions so far that were decided.
    pub(super) decisions: u32,
    /// The number of ordinary labels so far.
    pub(crate) scope: u32,
    /// OFFSET: lines define offsets and lay down nothing; where to go on after it.
    pub(super) offsets_from: Option<Mark>,
    pub(super) structure: i64,
    pub(super) conditions: Vec<Case>,
    pub(super) macros: u32,
    /// Repetitions whose own lines are being passed over.
    pub(super) repeats: u32,
    pub(super) section: Symbol,
    /// MEXIT has left the expansion.
    pub(super) left: bool,
    /// The END that ended the source.
    pub(super) ended: Option<Place>,
    /// The next base to be made.
    pub(super) next_base: u32,
}

impl Stop {
    pub(crate) fn location(&self) -> Value {
        Value::at(self.mark.base, self.mark.offset)
    }
}

impl crate::Unit {
    /// Where directives have left the location between two states of the layout, or up to the end.
    pub(crate) fn stops_between(&self, from: &State, to: Option<&State>) -> &[Stop] {
        let end = to.map_or(self.stops.len(), |it| it.stops as usize);
        self.stops.get(from.stops as usize..end).unwrap_or(&[])
    }
}

/// Where a directive has left the location, so that nobody has to work it out again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stop {
    pub(super) mark: Mark,
    pub(super) next_base: u32,
}

/// A location, and how to find it again when instructions before it grow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mark {
    pub(super) base: Base,
    pub(super) offset: i64,
    pub(super) piece: u32,
    pub(super) instructions: u32,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Case {
    pub(super) outer_reads: bool,
    /// A branch was read already.
    pub(super) taken: bool,
    pub(super) reads: bool,
    /// Nobody knows which branch is read.
    pub(super) is_uncertain: bool,
}

impl State {
    pub(super) fn new(base: Base, section: Symbol) -> Self {
        Self {
            base,
            offset: 0,
            piece: 0,
            instructions: 0,
            stops: 0,
            decisions: 0,
            scope: 0,
            offsets_from: None,
            structure: 0,
            conditions: Vec::new(),
            macros: 0,
            repeats: 0,
            section,
            left: false,
            ended: None,
            next_base: base.0 + 1,
        }
    }

    pub(crate) fn location(&self) -> Value {
        Value::at(self.base, self.offset)
    }

    pub(super) fn mark(&self) -> Mark {
        Mark { base: self.base, offset: self.offset, piece: self.piece, instructions: self.instructions }
    }

    pub(super) fn reads(&self) -> bool {
        self.ended.is_none()
            && !self.left
            && self.macros == 0
            && self.repeats == 0
            && self.conditions.last().is_none_or(|case| case.reads)
    }

    /// Whether nothing is read for another reason than that a macro's body is walked over.
    pub(super) fn is_off(&self) -> bool {
        self.ended.is_some() || self.conditions.last().is_some_and(|case| !case.reads)
    }

    pub(super) fn is_uncertain(&self) -> bool {
        self.conditions.iter().any(|case| case.is_uncertain)
    }
}
