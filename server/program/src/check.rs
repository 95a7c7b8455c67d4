//! What is wrong with values that need names: those of data lines and of instructions.

use std::hash::{Hash, Hasher};
use std::sync::Arc;

use rayon::prelude::*;
use reveille_cpu::Kind;
use reveille_source::{Operation, Span};
use rustc_hash::{FxHashMap, FxHasher};

use crate::expression::{ExpressionProblem, Value};
use crate::index::{Indexed, fits, is_text, item_bytes};
use crate::instruction::{Site, assemble, check_record};
use crate::layout::{Segment, trace};
use crate::unit::{Place, Problem, ProblemKind, Unit};
use crate::{FileId, Program, SourceFile};

/// What was found in the lines of one chunk that need names.
#[derive(Clone, Debug)]
pub(crate) struct Checked {
    indexed: Arc<Indexed>,
    place: (FileId, u32),
    found: Arc<[(u16, Span, ProblemKind)]>,
}

/// Adds the problems of values. What the previous unit found is taken over for chunks that are the same, if every name
/// still has its value.
pub(crate) fn check(program: &Program, unit: &mut Unit, previous: Option<&Unit>) {
    let mut hasher = FxHasher::default();
    for definition in &unit.definitions {
        (definition.symbol, definition.value).hash(&mut hasher);
    }
    for segment in &unit.segments {
        segment.state.location().hash(&mut hasher);
    }
    unit.values_digest = hasher.finish();
    let previous = previous.filter(|it| it.values_digest == unit.values_digest);
    let known: FxHashMap<usize, &Checked> = previous
        .map(|it| it.checked.iter().map(|found| (Arc::as_ptr(&found.indexed).addr(), found)).collect())
        .unwrap_or_default();
    // A chunk with an include in it is several segments.
    let mut own: FxHashMap<(FileId, u32), Vec<u32>> = FxHashMap::default();
    for (at, segment) in unit.segments.iter().enumerate() {
        own.entry((segment.file, segment.chunk)).or_default().push(at as u32);
    }
    let once = unit.segments.iter().filter_map(|segment| {
        let place = (segment.file, segment.chunk);
        let segments = own.remove(&place)?;
        let indexed = unit.file(program, segment.file)?.indexed.get(segment.chunk as usize)?;
        Some((place, indexed, segments))
    });
    let chunks: Vec<_> = once.collect();
    let find = |(place, indexed, segments): &Visited<'_>| -> Option<Found> {
        if indexed.symbolic.is_empty() && indexed.instructions.is_empty() && indexed.status_writes.is_empty() {
            return None;
        }
        let same = known.get(&Arc::as_ptr(indexed).addr()).filter(|it| it.place == *place);
        let fresh = || {
            let file = unit.file(program, place.0)?;
            Some(check_chunk(program, unit, file, *place, indexed, segments))
        };
        same.map(|it| it.found.clone()).or_else(fresh)
    };
    let found: Vec<Option<Found>> = if chunks.len() < FEW_CHUNKS || !known.is_empty() {
        chunks.iter().map(find).collect()
    } else {
        chunks.par_iter().map(find).collect()
    };
    let mut checked: Vec<Checked> = Vec::new();
    let mut problems: Vec<Problem> = Vec::new();
    for ((place, indexed, _), found) in chunks.into_iter().zip(found) {
        let all = indexed.problems.iter().chain(found.iter().flat_map(|it| it.iter())).cloned();
        problems.extend(all.filter_map(|(line, span, kind)| {
            let place = Place { file: place.0, chunk: place.1, line };
            unit.is_judged(place).then_some(Problem { kind, place, span })
        }));
        if let Some(found) = found {
            checked.push(Checked { indexed: indexed.clone(), place, found });
        }
    }
    unit.problems.extend(problems);
    unit.checked = checked;
}

/// A chunk that the unit reads, and its segments.
type Visited<'a> = ((FileId, u32), &'a Arc<Indexed>, Vec<u32>);

/// What is wrong in a chunk: the line, the part of it, and what.
type Found = Arc<[(u16, Span, ProblemKind)]>;

/// So few chunks are checked sooner by one processor.
const FEW_CHUNKS: usize = 32;

fn check_chunk(
    program: &Program,
    unit: &Unit,
    file: &SourceFile,
    (id, chunk): (FileId, u32),
    indexed: &Indexed,
    segments: &[u32],
) -> Found {
    let mut found = Vec::new();
    for line in indexed.symbolic.iter().copied() {
        let place = Place { file: id, chunk, line };
        let (_, it, text) = file.at(chunk, line);
        if unit.is_replaced(place) {
            continue;
        }
        let Some(size) = it.op.directive().and_then(|directive| item_bytes(directive, it.size)) else { continue };
        for range in indexed.chunk.operands(it) {
            if range.is_empty() || is_text(&text[range.clone()], indexed.chunk.dialect()) {
                continue;
            }
            let span = Span { start: range.start as u16, end: range.end as u16 };
            let mut problems: Vec<(ExpressionProblem, _)> = Vec::new();
            let value = unit.value_with_problems(program, place, range, &mut problems);
            for (problem, range) in problems {
                let span = Span { start: range.start as u16, end: range.end as u16 };
                let kind = ProblemKind::Expression(problem);
                if !indexed.problems.contains(&(line, span, kind.clone())) {
                    found.push((line, span, kind));
                }
            }
            if let Value::Number(value) = value
                && !fits(value, size)
                && !indexed.problems.iter().any(|it| it.0 == line && it.1 == span)
            {
                found.push((line, span, ProblemKind::DoesNotFit { value, bytes: size }));
            }
        }
    }
    instructions(program, unit, (id, chunk), indexed, segments, &mut found);
    for line in indexed.status_writes.iter().copied() {
        privileged(program, unit, Place { file: id, chunk, line }, indexed, &mut found);
    }
    found.into()
}

/// The supervisor bit of the status register (*M68000 User's Manual*, ninth edition, 2.1.3; from memory).
const SUPERVISOR: i64 = 0x2000;

/// Tells of privileged instructions in straight-line code behind one that leaves the supervisor state.
fn privileged(
    program: &Program,
    unit: &Unit,
    place: Place,
    indexed: &Indexed,
    found: &mut Vec<(u16, Span, ProblemKind)>,
) {
    let Some(write) = assemble(program, unit, place).filter(|_| unit.is_active(place)) else { return };
    let [first, second] = &write.operands;
    let is_constant = first.kind == Kind::Immediate && second.kind == Kind::Status;
    let leaves_supervisor = match write.choice.instruction.name {
        "move" | "andi" => first.value & SUPERVISOR == 0,
        "eori" => first.value & SUPERVISOR != 0,
        _ => false,
    };
    if !is_constant || !leaves_supervisor {
        return;
    }
    let lines = indexed.chunk.lines();
    for (at, line) in lines.iter().enumerate().skip(usize::from(place.line) + 1) {
        // Other code may come to a label, and nobody knows what a macro does.
        if !line.label.is_empty() || matches!(line.op.get(), Operation::MacroCall) {
            return;
        }
        let place = Place { line: at as u16, ..place };
        let Some(next) = assemble(program, unit, place) else { continue };
        if next.choice.form.is_privileged_on(unit.settings(program).cpu) {
            found.push((place.line, line.operation, ProblemKind::Privileged));
        }
        if reveille_cpu::leaves(next.choice.instruction) {
            return;
        }
    }
}

/// Checks the instructions of a chunk that need names or the location.
fn instructions(
    program: &Program,
    unit: &Unit,
    (file, chunk): (FileId, u32),
    indexed: &Indexed,
    segments: &[u32],
    found: &mut Vec<(u16, Span, ProblemKind)>,
) {
    let (Some(first), Some(last)) = (indexed.instructions.first(), indexed.instructions.last()) else { return };
    let mut records = indexed.instructions.iter();
    let starts: Vec<&Segment> = segments.iter().map(|at| &unit.segments[*at as usize]).collect();
    let mut seen = rustc_hash::FxHashSet::default();
    for segment in &starts {
        if !seen.insert(segment.first_line) || segment.first_line > last.line {
            continue;
        }
        let next = starts.iter().map(|it| it.first_line).filter(|it| *it > segment.first_line).min();
        let end = next.unwrap_or(last.line + 1).min(last.line + 1);
        if end <= first.line {
            continue;
        }
        trace(program, unit, segment, end, &mut |step| {
            let Some(record) = records.as_slice().first().filter(|it| it.line == step.line) else { return };
            records.next();
            let line = &indexed.chunk.lines()[usize::from(step.line)];
            if let Operation::Instruction(mnemonic) = line.op.get()
                && step.is_read
                && !unit.is_replaced(Place { file, chunk, line: step.line })
            {
                let place = Place { file, chunk, line: step.line };
                let site = Site { place, location: step.location, scope: step.scope };
                check_record(program, unit, site, record, mnemonic, step.sized, found);
            }
        });
    }
}
