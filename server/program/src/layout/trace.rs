//! The lines of a unit again, in order, with their locations.

use super::{Walk, is_aligned};
use crate::Program;
use crate::expression::Value;
use crate::index::EventKind;
use crate::instruction::Sized;
use crate::layout::Segment;
use crate::unit::{Place, Unit};

/// A line as the layout found it.
pub(crate) struct Step {
    /// Its place in the chunk.
    pub(crate) line: u16,
    /// The location, after the alignment that the line asks for.
    pub(crate) location: Value,
    /// The location behind it.
    pub(crate) end: Value,
    /// The ordinary labels before its operands.
    pub(crate) scope: u32,
    /// Whether it is read.
    pub(crate) is_read: bool,
    /// What became of its instruction, if its length was open.
    pub(crate) sized: Option<Sized>,
}

/// Goes over the lines of a segment up to `end`, the line behind its last.
pub(crate) fn trace(program: &Program, unit: &Unit, segment: &Segment, end: u16, each: &mut dyn FnMut(Step)) {
    let Some(file) = unit.file(program, segment.file) else { return };
    let Some(indexed) = file.indexed.get(segment.chunk as usize) else { return };
    let mut walk = Walk::new(program, segment.file, Some(unit));
    walk.state = segment.state.clone();
    walk.is_effective = false;
    let events = &indexed.events;
    let mut at = usize::from(segment.first_event);
    // Where the instructions of known length end that the last event began.
    let mut is_code = false;
    for line in segment.first_line..end {
        let mut location = None;
        let mut sized = None;
        let mut scope = walk.state.scope;
        let mut is_read = walk.state.reads();
        let is_replaced = unit.is_replaced(Place { file: segment.file, chunk: segment.chunk, line });
        while let Some(event) = events.get(at).filter(|it| it.line == line) {
            if !matches!(event.kind, EventKind::Label(_)) {
                // The operation: its location is after the alignment.
                if walk.state.reads() && is_aligned(indexed, event) {
                    walk.align();
                }
                location.get_or_insert_with(|| walk.state.location());
                scope = walk.state.scope;
            }
            is_code = matches!(event.kind, EventKind::Code(_));
            if is_code {
                at += 1;
                continue;
            }
            if let EventKind::Instruction(_) = event.kind
                && !is_replaced
                && walk.state.reads()
            {
                sized = unit.sized.get(walk.state.instructions as usize).copied();
            }
            walk.event(segment.file, segment.chunk, indexed, event, events.get(at + 1));
            is_read |= walk.state.reads();
            at += 1;
        }
        let location = location.unwrap_or_else(|| walk.state.location());
        if is_code && walk.state.reads() && !is_replaced {
            walk.state.offset += indexed.sizes.get(usize::from(line)).map_or(0, |it| i64::from(*it));
        }
        let end = walk.state.location();
        each(Step { line, location, end, scope, is_read, sized });
    }
}
