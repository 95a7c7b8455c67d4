//! Which tables of long words are exception vectors, and which vector each begins with.

use reveille_cpu::VECTOR_COUNT;
use reveille_program::{
    DataItem, DataRun, Definition, DefinitionKind, Head, Program, Unit, Value, data_runs, definition_span,
};
use reveille_source::{LineKind, Meaning, Operation};
use rustc_hash::FxHashMap;

use super::names::{first_told, named};
use super::{Handler, Stands, VectorEntry, VectorOrigin, VectorsFact, entry, handler, named_label};
use crate::blocks::{Confidence, Level};
use crate::finding::Evidence;
use crate::machine::Machine;

/// The address behind the last vector.
const END: i64 = 4 * VECTOR_COUNT as i64;

/// From so many entries on a table may be told by its shape.
const LEAST: usize = 8;

/// How many lines back the ORG of a table is looked for.
const MOST_LINES: usize = 600;

/// One long word of a table.
struct Long {
    value: Value,
    handler: Option<Handler>,
    at: Evidence,
    /// The operand is alone in its line, so that the comment speaks of it.
    is_alone: bool,
}

impl Long {
    fn is_code(&self) -> bool {
        self.handler.is_some_and(|it| it.kind == Stands::Code)
    }

    /// Whether it is what a place that nothing takes is filled with.
    fn is_empty(&self) -> bool {
        matches!(self.value, Value::Number(0 | -1 | 0xffff_ffff))
    }
}

/// A table of long words that may be vectors.
struct Candidate {
    run: DataRun,
    longs: Vec<Long>,
}

/// What is taken for vectors: the first one, where they come from, why.
struct Told {
    first: u8,
    origin: VectorOrigin,
    level: Level,
    reason: String,
}

/// The tables of a unit.
pub(super) fn tables(program: &Program, machine: &Machine, unit: &Unit) -> Vec<VectorsFact> {
    let wants = |head: Head<'_>| {
        head.is_longs
            && (head.subjects.has_vectors()
                || head.is_at_origin
                || usize::from(head.operands) >= LEAST && head.is_symbolic)
    };
    let mut candidates: Vec<Candidate> = data_runs(program, unit, &wants)
        .into_iter()
        .filter_map(|run| {
            let longs = longs(program, unit, &run)?;
            Some(Candidate { run, longs })
        })
        .collect();
    name_numbers(program, unit, &mut candidates);
    let mut found: Vec<VectorsFact> = Vec::new();
    // Tables where the processor fetches them are one, whatever lies between.
    let mut low: Vec<VectorEntry> = Vec::new();
    let mut low_label = None;
    for candidate in &candidates {
        let Some(told) = tell(program, machine, unit, candidate) else { continue };
        let entries = entries(unit, candidate, told.first);
        if told.origin == VectorOrigin::Fetched && is_low(candidate.run.address) {
            low_label = low_label.or(candidate.run.label.filter(|_| low.is_empty()));
            low.extend(entries);
            continue;
        }
        let Some(at) = label_or_first(program, unit, &candidate.run) else { continue };
        let address = unit.absolute(candidate.run.address);
        found.push(VectorsFact {
            subject: subject(program, candidate.run.label, address),
            label: candidate.run.label,
            origin: told.origin,
            address,
            entries,
            confidence: Confidence { level: told.level, reasons: vec![told.reason] },
            at,
        });
    }
    low.sort_by_key(|it| it.vector.number);
    if let Some(first) = low.first() {
        let address = i64::from(first.vector.address());
        found.insert(
            0,
            VectorsFact {
                subject: subject(program, low_label, Some(address)),
                label: low_label,
                origin: VectorOrigin::Fetched,
                address: Some(address),
                at: first.at,
                entries: low,
                confidence: Confidence {
                    level: Level::Certain,
                    reasons: vec!["it lies where the processor fetches its vectors".to_owned()],
                },
            },
        );
    }
    found
}

fn subject(program: &Program, label: Option<reveille_program::Symbol>, address: Option<i64>) -> String {
    match (label, address) {
        (Some(label), _) => program.names().text(label).to_string(),
        (None, Some(address)) => format!("vectors at ${address:06X}"),
        (None, None) => "vectors without a label".to_owned(),
    }
}

/// The place of the label of a run, or of its first operand.
fn label_or_first(program: &Program, unit: &Unit, run: &DataRun) -> Option<Evidence> {
    let label = run.label.and_then(|it| unit.get(it)).filter(|it| it.place.file == run.file);
    let first = run.items.first().map(|it| Evidence { place: it.place, span: it.span });
    label.map(|it| Evidence { place: it.place, span: definition_span(program, it.place) }).or(first)
}

fn is_low(address: Value) -> bool {
    matches!(address, Value::Number(0..END))
}

/// The long words that a run begins with; none if there are too few or too many.
fn longs(program: &Program, unit: &Unit, run: &DataRun) -> Option<Vec<Long>> {
    let is_long = |it: &&DataItem| it.item_bytes == 4 && !it.span.is_empty() && !it.bytes.is_empty();
    let items: Vec<&DataItem> = run.items.iter().take_while(is_long).collect();
    let count: usize = items.iter().map(|it| it.bytes.len() / 4).sum();
    if !(1..=usize::from(VECTOR_COUNT)).contains(&count) && !is_low(run.address) {
        return None;
    }
    let mut found = Vec::new();
    for (at, item) in items.iter().enumerate() {
        let value = unit.value(program, item.place, item.span.range());
        let file = program.file(item.place.file)?;
        let (_, _, text) = file.at(item.place.chunk, item.place.line);
        let handler = named_label(program, unit, item.place, item.span.of(text)).map(|it| handler(program, unit, it));
        let shares = |other: Option<&&DataItem>| other.is_some_and(|it| it.place == item.place);
        let is_alone = !shares(items.get(at + 1)) && !shares(at.checked_sub(1).and_then(|it| items.get(it)));
        for _ in 0..item.bytes.len() / 4 {
            if found.len() < usize::from(VECTOR_COUNT) {
                let at = Evidence { place: item.place, span: item.span };
                found.push(Long { value, handler, at, is_alone });
            }
        }
    }
    Some(found)
}

/// Gives long words that name no label the label of their value.
fn name_numbers(program: &Program, unit: &Unit, candidates: &mut [Candidate]) {
    let key = |value: Value| match value {
        Value::Number(number) => Some((None, number)),
        Value::Address(base, offset) => Some((Some(base), offset)),
        Value::Unknown => None,
    };
    let is_open = |it: &&mut Long| it.handler.is_none() && !it.is_empty();
    let open = candidates.iter_mut().flat_map(|it| &mut it.longs).filter(is_open);
    let mut wanted: FxHashMap<_, Option<&Definition>> =
        open.filter_map(|it| key(it.value)).map(|it| (it, None)).collect();
    if wanted.is_empty() {
        return;
    }
    for definition in unit.definitions().iter().filter(|it| it.kind == DefinitionKind::Label) {
        if let Some(slot) = key(definition.value).and_then(|it| wanted.get_mut(&it)).filter(|it| it.is_none()) {
            *slot = Some(definition);
        }
    }
    for long in candidates.iter_mut().flat_map(|it| &mut it.longs).filter(is_open) {
        let label = key(long.value).and_then(|it| wanted.get(&it).copied().flatten());
        long.handler = label.map(|it| handler(program, unit, it));
    }
}

/// Whether, and as which vectors, a table is told.
fn tell(program: &Program, machine: &Machine, unit: &Unit, candidate: &Candidate) -> Option<Told> {
    let Candidate { run, longs } = candidate;
    let codes = longs.iter().filter(|it| it.is_code()).count();
    let starts = starts_with_reset(longs);
    let told = |first: u8, origin, level, reason: &str| {
        let fits = usize::from(first) + longs.len() <= usize::from(VECTOR_COUNT) || is_low(run.address);
        fits.then(|| Told { first, origin, level, reason: reason.to_owned() })
    };
    if let Value::Number(address @ 0..END) = run.address
        && address % 4 == 0
    {
        let is_enough = match address {
            0 => starts && codes > 0 || codes >= 3 || run.subjects.has_vectors() && longs.len() >= 2,
            _ => codes > 0,
        };
        let full = longs.iter().filter(|it| !it.is_empty()).count();
        let is_told = is_enough && (codes * 2 >= full.saturating_sub(1)) && follows_origin(program, unit, run);
        let first = u8::try_from(address / 4).ok()?;
        return if is_told { told(first, VectorOrigin::Fetched, Level::Certain, "") } else { None };
    }
    let address = match run.address {
        Value::Number(address) => Some(address),
        _ => None,
    };
    let is_rom = |it: &reveille_machine::Memory| it.kind.value == "rom" && Some(i64::from(it.from.value)) == address;
    if starts && machine.memory.iter().any(|it| is_rom(&it.0)) {
        return told(0, VectorOrigin::Fetched, Level::Certain, "it lies at the start of a ROM");
    }
    let (aligned, votes) = alignment(program, longs);
    if run.subjects.has_vectors() {
        if let Some(first) = aligned.filter(|_| votes >= 2) {
            return told(first, VectorOrigin::Table, Level::Certain, "words, and the names of exceptions");
        }
        if starts && (longs.len() >= LEAST || names_stack(program, &longs[0])) {
            return told(0, VectorOrigin::Table, Level::Likely, "words, and a stack pointer before a start address");
        }
        if codes > 0
            && let Some(first) = comments_above(program, run).iter().find_map(|it| first_told(it))
        {
            return told(first, VectorOrigin::Table, Level::Likely, "its comment gives the number");
        }
        let label = run.label.map(|it| program.names().text(it).to_ascii_lowercase()).unwrap_or_default();
        if longs.len() == 7 && label.contains("auto") && codes > 0 {
            return told(25, VectorOrigin::Table, Level::Likely, "words, and as many as there are autovectors");
        }
        if longs.len() == 16 && label.contains("trap") && codes > 0 {
            return told(32, VectorOrigin::Table, Level::Likely, "words, and as many as there are traps");
        }
        return None;
    }
    let is_of_code = |longs: &[Long]| longs.iter().all(|it| it.is_code() || it.is_empty());
    if longs.len() < LEAST || codes < LEAST - 2 {
        return None;
    }
    if starts && is_of_code(&longs[1..]) && (aligned == Some(0) && votes >= 2 || names_stack(program, &longs[0])) {
        return told(0, VectorOrigin::Table, Level::Likely, "a stack pointer, a start address, then handlers");
    }
    let first = aligned.filter(|_| votes >= 4 && is_of_code(longs))?;
    told(first, VectorOrigin::Table, Level::Likely, "the names of exceptions in their order")
}

/// A stack pointer, then the address of code.
fn starts_with_reset(longs: &[Long]) -> bool {
    let [stack, start, ..] = longs else { return false };
    !stack.is_code() && !stack.is_empty() && stack.value != Value::Unknown && start.is_code()
}

/// Whether an operand has a word for a stack in it.
fn names_stack(program: &Program, long: &Long) -> bool {
    let Some(file) = program.file(long.at.place.file) else { return false };
    let (_, line, text) = file.at(long.at.place.chunk, long.at.place.line);
    let own = long.at.span.of(text).to_ascii_lowercase();
    let comment = line.comment.of(text).to_ascii_lowercase();
    let is_word = |it: &str| matches!(it, "sp" | "ssp" | "isp" | "initsp");
    own.contains("stack") || own.contains("stk") || own.split('_').any(is_word) || {
        long.is_alone && (comment.contains("stack") || comment.contains("ssp"))
    }
}

/// The vector that a table begins with, by the names of exceptions in names and comments, and how many of them say so.
fn alignment(program: &Program, longs: &[Long]) -> (Option<u8>, usize) {
    let mut votes: FxHashMap<u8, usize> = FxHashMap::default();
    for (at, long) in longs.iter().enumerate() {
        let Some(file) = program.file(long.at.place.file) else { continue };
        let (_, line, text) = file.at(long.at.place.chunk, long.at.place.line);
        let by_comment = || named(line.comment.of(text)).filter(|_| long.is_alone);
        let number = named(long.at.span.of(text)).or_else(by_comment);
        let first = number.and_then(|it| it.checked_sub(u8::try_from(at).ok()?));
        if let Some(first) = first {
            *votes.entry(first).or_default() += 1;
        }
    }
    let total: usize = votes.values().sum();
    let best = votes.into_iter().max_by_key(|it| (it.1, std::cmp::Reverse(it.0)));
    match best {
        // Some names may be of more than one exception, but most have to agree.
        Some((first, votes)) if votes * 2 > total => (Some(first), votes),
        _ => (None, 0),
    }
}

/// The comments of a table's first line, of its label's line and above.
fn comments_above(program: &Program, run: &DataRun) -> Vec<String> {
    let Some(file) = program.file(run.file) else { return Vec::new() };
    let first = file.line_number(run.first);
    let mut found = Vec::new();
    for number in (first.saturating_sub(6)..=first).rev() {
        let Some(place) = file.place(number) else { break };
        let (_, line, text) = file.at(place.chunk, place.line);
        if number != first && !matches!(line.op.get(), Operation::None) {
            break;
        }
        found.push(line.comment.of(text).to_owned());
    }
    found
}

/// Whether nothing but data lies between an ORG, or the start of the file, and a table.
fn follows_origin(program: &Program, unit: &Unit, run: &DataRun) -> bool {
    let Some(file) = program.file(run.file) else { return false };
    let first = file.line_number(run.first);
    for number in (first.saturating_sub(MOST_LINES)..first).rev() {
        let Some(place) = file.place(number) else { return false };
        let (_, line, _) = file.at(place.chunk, place.line);
        if line.kind != LineKind::Statement || !unit.is_active(place) {
            continue;
        }
        match line.op.get() {
            Operation::Instruction(_) | Operation::MacroCall => return false,
            Operation::Directive(it) if it.meaning == Meaning::Origin => return true,
            Operation::Directive(it) if matches!(it.meaning, Meaning::Section | Meaning::NamedSection) => return false,
            _ => (),
        }
    }
    first < MOST_LINES
}

/// The entries of a table that begins with a vector.
fn entries(unit: &Unit, candidate: &Candidate, first: u8) -> Vec<VectorEntry> {
    let one = |(at, long): (usize, &Long)| {
        let number = u8::try_from(usize::from(first) + at).ok()?;
        // What is in vector 0 is no handler, even where a label stands there.
        let handler = long.handler.filter(|it| number > 0 || it.kind == Stands::Code);
        Some(entry(number, (long.value, unit.absolute(long.value)), handler, long.at))
    };
    candidate.longs.iter().enumerate().filter_map(one).collect()
}
