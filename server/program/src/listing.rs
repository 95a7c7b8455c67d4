//! A unit, line by line: addresses, bytes, times.

use rayon::prelude::*;
use reveille_cpu::Time;
use reveille_source::Operation;

use crate::data::line_items;
use crate::expression::Value;
use crate::instruction::{Site, assemble_at};
use crate::layout::trace;
use crate::unit::{Place, Unit};
use crate::{FileId, Program};

/// A line that the unit reads.
#[derive(Clone, Debug)]
pub struct Listed {
    /// The line.
    pub place: Place,
    /// Its location, after the alignment that it asks for.
    pub location: Value,
    /// Its address; sections are taken to follow each other from the origin on. None where it is not known.
    pub address: Option<i64>,
    /// The bytes that it lays down; none where a value is not known.
    pub bytes: Vec<Option<u8>>,
    /// How many bytes it reserves without laying them down.
    pub reserved: u32,
    /// How long its instruction takes.
    pub time: Option<Time>,
}

/// How many parts of a program are read at a time, so that the lines of a large one are never all in memory.
const BATCH: usize = 64;

/// Goes over the lines that a unit reads, in the order in which they are assembled. Lines in conditionals that are off and in the
/// definitions of macros are left out. `make` turns the lines of one part into something on any processor; `take` gets those in order.
///
/// # Errors
/// The first error of `take`.
pub fn list<T: Send, E>(
    program: &Program,
    unit: &Unit,
    make: &(dyn Fn(FileId, Vec<Listed>) -> T + Sync),
    take: &mut dyn FnMut(T) -> Result<(), E>,
) -> Result<(), E> {
    let segments = &unit.segments;
    for from in (0..segments.len()).step_by(BATCH) {
        let batch = from..(from + BATCH).min(segments.len());
        let parts: Vec<T> = batch.into_par_iter().map(|at| make(segments[at].file, part(program, unit, at))).collect();
        for part in parts {
            take(part)?;
        }
    }
    Ok(())
}

/// The lines of one segment.
fn part(program: &Program, unit: &Unit, at: usize) -> Vec<Listed> {
    let segment = &unit.segments[at];
    let Some(file) = program.file(segment.file) else { return Vec::new() };
    let lines = file.indexed[segment.chunk as usize].chunk.lines();
    // Up to where the same chunk is taken up again behind an include, before it is read afresh.
    let later = unit.segments[at + 1..].iter().filter(|it| it.file == segment.file && it.chunk == segment.chunk);
    let is_include = |line: &reveille_source::Line| {
        line.op.directive().is_some_and(|it| it.meaning == reveille_source::Meaning::Include)
    };
    let rest = &lines[segment.first_line.into()..];
    let has_include = rest.iter().any(is_include);
    let next = if has_include { later.map(|it| it.first_line).next() } else { None };
    let end = next.filter(|it| *it > segment.first_line).unwrap_or(lines.len() as u16);
    let mut found = Vec::with_capacity(usize::from(end - segment.first_line));
    trace(program, unit, segment, end, &mut |step| {
        if !step.is_read {
            return;
        }
        let place = Place { file: segment.file, chunk: segment.chunk, line: step.line };
        let mut listed = Listed {
            place,
            location: step.location,
            address: unit.absolute(step.location),
            bytes: Vec::new(),
            reserved: 0,
            time: None,
        };
        let line = &lines[usize::from(step.line)];
        match line.op.get() {
            Operation::Instruction(_) => {
                let site = Site { place, location: step.location, scope: step.scope };
                if let Some(it) = assemble_at(program, unit, site, step.sized) {
                    listed.bytes.extend(it.bytes.iter());
                    listed.time = Some(it.time);
                }
            }
            Operation::Directive(_) => {
                let mut items = Vec::new();
                line_items(program, unit, file, place, step.location, &mut items);
                listed.bytes = items.into_iter().flat_map(|it| it.bytes).collect();
            }
            _ => (),
        }
        if listed.bytes.is_empty() {
            listed.reserved = match (step.location, step.end) {
                (Value::Number(from), Value::Number(to)) => u32::try_from(to - from).unwrap_or(0),
                (Value::Address(base, from), Value::Address(other, to)) if base == other => {
                    u32::try_from(to - from).unwrap_or(0)
                }
                _ => 0,
            };
        }
        found.push(listed);
    });
    found
}

/// A part of memory that a unit fills or reserves without a gap.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    /// Its first address; none if it is not known.
    pub from: Option<i64>,
    /// How many bytes.
    pub len: i64,
    /// The first line that is in it.
    pub first: Place,
}

/// Takes the next line of a listing into the sections: a new one starts where a line does not start where the last one ended, or at most a
/// byte of alignment behind it.
pub fn sections(found: &mut Vec<Section>, line: &Listed) {
    let len = i64::from(line.reserved).max(line.bytes.len() as i64);
    if len == 0 {
        return;
    }
    if let Some(last) = found.last_mut() {
        let gap = match (last.from, line.address) {
            (Some(from), Some(address)) => Some(address - from - last.len),
            (None, None) => Some(0),
            _ => None,
        };
        if let Some(gap @ (0 | 1)) = gap {
            last.len += gap + len;
            return;
        }
    }
    found.push(Section { from: line.address, len, first: line.place });
}
