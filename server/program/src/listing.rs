//! A unit, line by line: addresses, bytes, times.

use rayon::prelude::*;
use reveille_cpu::Time;
use reveille_source::Operation;
use rustc_hash::FxHashMap;

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
    /// Of a line in a macro's expansion the call that it came from.
    pub call: Option<Place>,
    /// Which line of the call's expansion it is, from 1 on; 0 for a line of the source.
    pub expansion: u32,
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
    let before = lines_before(unit);
    for from in (0..segments.len()).step_by(BATCH) {
        let batch = from..(from + BATCH).min(segments.len());
        let parts: Vec<T> = batch
            .into_par_iter()
            .map(|at| make(segments[at].file, part(program, unit, at, before.get(&at).copied().unwrap_or(0))))
            .collect();
        for part in parts {
            take(part)?;
        }
    }
    Ok(())
}

/// The lines that a line stands for, those of calls among them included: `place` is a call of a macro, a repetition or a line with names of the
/// preprocessor, in the source or in an expansion.
#[must_use]
pub fn list_call(program: &Program, unit: &Unit, place: Place) -> Vec<Listed> {
    // An expansion comes before those of the calls in it.
    let mut own = vec![false; unit.expansions.len()];
    for (at, it) in unit.expansions.iter().enumerate() {
        own[at] = it.from == place || it.from.file.expansion().is_some_and(|outer| own[outer]);
    }
    if !own.contains(&true) {
        return Vec::new();
    }
    let segments = unit.segments.iter().enumerate().filter(|it| it.1.file.expansion().is_some_and(|at| own[at]));
    segments.flat_map(|(at, _)| part(program, unit, at, 0)).collect()
}

/// For each segment of an expansion, how many lines of the same call came before it.
fn lines_before(unit: &Unit) -> FxHashMap<usize, u32> {
    let mut found = FxHashMap::default();
    let mut last: Option<(Place, u32)> = None;
    for (at, segment) in unit.segments.iter().enumerate() {
        let Some(expansion) = segment.file.expansion().map(|it| &unit.expansions[it]) else { continue };
        let before = match last {
            Some((call, before)) if call == expansion.call => before,
            _ => 0,
        };
        found.insert(at, before);
        let len = expansion.file.indexed[segment.chunk as usize].chunk.lines().len() as u16;
        let end = end_of(unit, at, len);
        last = Some((expansion.call, before + u32::from(end - segment.first_line)));
    }
    found
}

/// The line behind the last one of a segment, in a chunk of `len` lines: where the same chunk is taken up again behind an include or an
/// expansion, before the file goes on.
fn end_of(unit: &Unit, at: usize, len: u16) -> u16 {
    let segment = &unit.segments[at];
    let own = unit.segments[at + 1..].iter().find(|it| it.file == segment.file);
    let next = own.filter(|it| it.chunk == segment.chunk && it.first_line > segment.first_line);
    next.map_or(len, |it| it.first_line)
}

/// The lines of one segment; `before` is how many lines of its expansion came before it.
fn part(program: &Program, unit: &Unit, at: usize, before: u32) -> Vec<Listed> {
    let segment = &unit.segments[at];
    let Some(file) = unit.file(program, segment.file) else { return Vec::new() };
    let lines = file.indexed[segment.chunk as usize].chunk.lines();
    let call = segment.file.expansion().map(|it| unit.expansions[it].call);
    let end = end_of(unit, at, lines.len() as u16);
    let mut found = Vec::with_capacity(usize::from(end - segment.first_line));
    trace(program, unit, segment, end, &mut |step| {
        if !step.is_read {
            return;
        }
        let place = Place { file: segment.file, chunk: segment.chunk, line: step.line };
        let mut listed = Listed {
            place,
            call,
            expansion: call.map_or(0, |_| before + u32::from(step.line - segment.first_line) + 1),
            location: step.location,
            address: unit.absolute(step.location),
            bytes: Vec::new(),
            reserved: 0,
            time: None,
        };
        let line = &lines[usize::from(step.line)];
        if unit.is_replaced(place) {
            found.push(listed);
            return;
        }
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
                let number = |value| unit.absolute(value);
                line_items(program, unit, file, (place, step.location), &number, &mut items);
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
            // An instruction that cannot be encoded takes its place all the same.
            if line.op.is_instruction() {
                listed.bytes = vec![None; std::mem::take(&mut listed.reserved) as usize];
            }
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
