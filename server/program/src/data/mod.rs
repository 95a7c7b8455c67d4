//! The bytes that data lines lay down, and where each comes from.

mod made;

use std::sync::Arc;

pub use made::made_runs;
use reveille_source::{Meaning, Span};
use rustc_hash::FxHashMap;

use crate::expression::{Value, quoted_bytes};
use crate::index::{Indexed, MARKS, Run, Subjects, is_float_size, is_text, item_bytes, marked};
use crate::unit::{Place, Unit};
use crate::{FileId, Program, SourceFile, Symbol};

/// What one operand of a data line lays down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DataItem {
    /// The line.
    pub place: Place,
    /// The operand in its line; empty for the zero byte of an alignment.
    pub span: Span,
    /// Bytes of one item of the directive: 1, 2 or 4.
    pub item_bytes: u32,
    /// The bytes; none where the value is not known.
    pub bytes: Vec<Option<u8>>,
    /// Whether a macro made it: place and span are the call's then, and changing the text there would change something else.
    pub is_made: bool,
}

impl Value {
    /// An address some bytes further on.
    #[must_use]
    pub fn moved(self, bytes: i64) -> Self {
        match self {
            Self::Number(number) => Self::Number(number + bytes),
            Self::Address(base, offset) => Self::Address(base, offset + bytes),
            Self::Unknown => Self::Unknown,
        }
    }
}

/// Lines of data in a row, from one label or `@block` mark to the next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DataRun {
    /// The file.
    pub file: FileId,
    /// Its first line.
    pub first: Place,
    /// Its last line.
    pub last: Place,
    /// The label at or above the first line.
    pub label: Option<Symbol>,
    /// What its label and comments speak of.
    pub subjects: Subjects,
    /// Whether its first line lays down long words.
    pub is_longs: bool,
    /// The layout that a comment names by `@block`.
    pub block: Option<String>,
    /// What a comment says by `@chip` that it is sent to: a chip, or a chip, a dot and a channel.
    pub chip: Option<String>,
    /// The items in order.
    pub items: Vec<DataItem>,
    /// The address of the first byte.
    pub address: Value,
}

impl DataRun {
    /// How many bytes it has.
    #[must_use]
    pub fn len(&self) -> usize {
        self.items.iter().map(|item| item.bytes.len()).sum()
    }

    /// Whether it has none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }
}

/// What a run's first bytes show, before anything is evaluated.
#[derive(Clone, Copy, Debug)]
pub struct Head<'a> {
    /// The label at or above the first line.
    pub label: Option<Symbol>,
    /// The first bytes, as far as they are literal: 13 at most.
    pub bytes: &'a [u8],
    /// Whether a name of the program has a part in the first bytes.
    pub is_symbolic: bool,
    /// Whether an operand of it is a text.
    pub has_text: bool,
    /// What the label and the comments speak of.
    pub subjects: Subjects,
    /// Whether its first line lays down long words.
    pub is_longs: bool,
    /// How many operands the lines have.
    pub operands: u16,
    /// How many of them may be addresses of something, or distances to it, by their form alone.
    pub addresses: u16,
    /// Whether nothing but data may stand between an ORG and it: told from its own part of the file alone.
    pub is_at_origin: bool,
    /// Whether a comment says what it is, by `@block` or `@chip`.
    pub is_marked: bool,
}

/// The runs of data of a unit that `wants` takes by their first bytes. A run that is not wanted costs nothing more.
#[must_use]
pub fn data_runs(program: &Program, unit: &Unit, wants: &dyn Fn(Head<'_>) -> bool) -> Vec<DataRun> {
    let mut found = Vec::new();
    let mut seen = rustc_hash::FxHashSet::default();
    // A chunk with an include in it is several segments: its runs come in the order of the program.
    let mut starts: FxHashMap<(FileId, u32), Vec<u16>> = FxHashMap::default();
    for segment in unit.segments.iter().filter(|it| it.first_line > 0) {
        starts.entry((segment.file, segment.chunk)).or_default().push(segment.first_line);
    }
    for segment in &unit.segments {
        if !seen.insert((segment.file, segment.chunk, segment.first_line)) {
            continue;
        }
        let Some(file) = program.file(segment.file) else { continue };
        let indexed = &file.indexed[segment.chunk as usize];
        let later = starts.get(&(segment.file, segment.chunk)).into_iter().flatten();
        let end = later.copied().filter(|it| *it > segment.first_line).min().unwrap_or(u16::MAX);
        let goes_on = indexed.border.starts_open && open_before(file, segment.chunk).is_some();
        for (at, run) in indexed.runs.iter().enumerate() {
            if !(segment.first_line..end).contains(&run.first) {
                continue;
            }
            // The first run of a chunk may only be the rest of one that began before.
            if at == 0 && goes_on {
                continue;
            }
            let head = Head {
                label: run.label,
                bytes: &run.head[..run.head_len.into()],
                is_symbolic: run.is_symbolic,
                has_text: run.has_text,
                subjects: run.subjects,
                is_longs: run.is_longs,
                operands: run.operands,
                addresses: run.addresses,
                is_at_origin: run.is_at_origin,
                is_marked: run.is_marked,
            };
            let place = Place { file: segment.file, chunk: segment.chunk, line: run.first };
            let goes_on_behind = at + 1 == indexed.runs.len() && indexed.border.ends_open;
            if (wants(head) || (goes_on_behind && usize::from(run.head_len) < run.head.len())) && unit.is_active(place)
            {
                found.push(data_run(program, unit, file, segment.chunk, at));
            }
        }
    }
    found
}

/// The run at a line, if the line is data.
#[must_use]
pub fn data_run_at(program: &Program, unit: &Unit, place: Place) -> Option<DataRun> {
    let file = program.file(place.file)?;
    let (mut chunk, mut line) = (place.chunk, place.line);
    loop {
        let indexed = file.indexed.get(chunk as usize)?;
        let at = indexed.runs.iter().position(|run| run.first <= line && line < run.end)?;
        if let Some(before) = open_before(file, chunk).filter(|_| at == 0 && indexed.border.starts_open) {
            chunk = before;
            line = file.indexed[chunk as usize].runs.last()?.end - 1;
            continue;
        }
        return Some(data_run(program, unit, file, chunk, at));
    }
}

/// The run whose bytes follow directly on those of the line at `last`: nothing but labels, blank lines and comments between.
#[must_use]
pub fn data_run_after(program: &Program, unit: &Unit, last: Place) -> Option<DataRun> {
    let file = program.file(last.file)?;
    let (mut chunk, mut line) = (last.chunk, last.line + 1);
    loop {
        let indexed = file.indexed.get(chunk as usize)?;
        let lines = &indexed.chunk.lines()[line.into()..];
        match lines.iter().position(|it| it.op != reveille_source::OpId::NONE) {
            Some(found) => {
                let line = line + found as u16;
                let at = indexed.runs.iter().position(|run| run.first == line)?;
                return Some(data_run(program, unit, file, chunk, at));
            }
            None => (chunk, line) = (chunk + 1, 0),
        }
    }
}

fn data_run(program: &Program, unit: &Unit, file: &Arc<SourceFile>, chunk: u32, at: usize) -> DataRun {
    let id = file.id();
    let (mut chunk, mut at) = (chunk, at);
    let first = &file.indexed[chunk as usize].runs[at];
    let place = Place { file: id, chunk, line: first.first };
    let mut run = DataRun {
        file: id,
        first: place,
        last: place,
        label: first.label,
        subjects: first.subjects,
        is_longs: first.is_longs,
        block: None,
        chip: None,
        items: Vec::new(),
        address: unit.location(program, place),
    };
    let mut address = run.address;
    loop {
        let indexed = &file.indexed[chunk as usize];
        let part: &Run = &indexed.runs[at];
        run.subjects |= part.subjects;
        if part.is_marked {
            let [block, chip] = MARKS.map(|mark| mark_of(indexed, part, mark));
            run.block = run.block.or(block);
            run.chip = run.chip.or(chip);
        }
        for line in part.first..part.end {
            let place = Place { file: id, chunk, line };
            if unit.is_active(place) {
                let before = run.items.len();
                line_items(program, unit, file, (place, address), &Value::number, &mut run.items);
                if run.items.len() > before {
                    run.last = place;
                }
                for item in &run.items[before..] {
                    address = address.moved(item.bytes.len() as i64);
                }
            }
        }
        if at + 1 < indexed.runs.len() || !indexed.border.ends_open {
            return run;
        }
        let rest = file.indexed.iter().enumerate().skip(chunk as usize + 1);
        match rest.into_iter().find(|it| !it.1.border.is_clear) {
            Some((next, indexed)) if indexed.border.starts_open => (chunk, at) = (next as u32, 0),
            _ => return run,
        }
    }
}

/// The chunk before `chunk` whose last run goes on to it, with nothing between that ends it.
fn open_before(file: &SourceFile, chunk: u32) -> Option<u32> {
    let before = file.indexed[..chunk as usize].iter().rposition(|it| !it.border.is_clear)?;
    file.indexed[before].border.ends_open.then_some(before as u32)
}

/// The name behind a mark: on the run's own lines, or in the comments and the label's line above it.
fn mark_of(indexed: &Indexed, run: &Run, mark: &str) -> Option<String> {
    let lines = indexed.chunk.lines();
    let comment =
        |line: &reveille_source::Line| marked(line.comment.of(indexed.chunk.line_text(line)), mark).map(str::to_owned);
    lines[run.first.into()..run.end.into()].iter().find_map(comment).or_else(|| {
        let above = lines[..run.first.into()].iter().rev();
        above.take_while(|line| line.op == reveille_source::OpId::NONE).find_map(comment)
    })
}

/// The items of a data line; the zero byte of an alignment first, where the address asks for one. `number` says what counts as the number of a
/// value: addresses have one if sections are taken to be placed.
pub(crate) fn line_items(
    program: &Program,
    unit: &Unit,
    file: &SourceFile,
    (place, address): (Place, Value),
    number: &dyn Fn(Value) -> Option<i64>,
    items: &mut Vec<DataItem>,
) {
    let (chunk, line, text) = file.at(place.chunk, place.line);
    let dialect = chunk.dialect();
    let Some(directive) = line.op.directive() else { return };
    // Between the lines of a table others may stand that lay down nothing, such as EQU: they align nothing either.
    let lays_down = matches!(
        directive.meaning,
        Meaning::Constants
            | Meaning::ConstantsOf(_)
            | Meaning::Floats(_)
            | Meaning::Strings(_)
            | Meaning::Block
            | Meaning::Fill
            | Meaning::ReserveBytes
    );
    if !lays_down {
        return;
    }
    let operands = chunk.operands(line);
    let value_of = |at: usize| Some(unit.value(program, place, operands.get(at)?.clone()));
    let Some(mut size) = item_bytes(directive, line.size) else { return };
    if size > 1 && !dialect.is_unix() && unit.is_odd(address) == Some(true) {
        items.push(DataItem { place, span: Span::default(), item_bytes: 1, bytes: vec![Some(0)], is_made: false });
    }
    if directive.meaning == Meaning::Fill
        && let Some(value) = value_of(1)
    {
        size = value.number().and_then(|it| u32::try_from(it).ok()).unwrap_or(0).min(8);
    }
    if size == 0 {
        return;
    }
    let mut push = |range: std::ops::Range<usize>, bytes: Vec<Option<u8>>| {
        let span = Span { start: range.start as u16, end: range.end as u16 };
        items.push(DataItem { place, span, item_bytes: size, bytes, is_made: false });
    };
    let item_of = |value: Value| match number(value) {
        Some(number) => number.to_be_bytes()[8 - size.min(8) as usize..].iter().map(|it| Some(*it)).collect(),
        None => vec![None; size as usize],
    };
    let meaning = match directive.meaning {
        Meaning::Constants if is_float_size(line.size) => Meaning::Floats(size as u8),
        meaning => meaning,
    };
    match meaning {
        Meaning::Strings(zero) => {
            for range in operands.iter().cloned() {
                let mut bytes: Vec<_> = quoted_bytes(&text[range.clone()], dialect).into_iter().map(Some).collect();
                bytes.extend(zero.then_some(Some(0)));
                push(range, bytes);
            }
        }
        Meaning::Constants | Meaning::ConstantsOf(_) => {
            for range in operands.iter().cloned() {
                if is_text(&text[range.clone()], dialect) {
                    let mut bytes: Vec<_> = quoted_bytes(&text[range.clone()], dialect).into_iter().map(Some).collect();
                    let len = bytes.len().div_ceil(size as usize).max(1) * size as usize;
                    bytes.resize(len, Some(0));
                    push(range, bytes);
                } else {
                    let value = unit.value(program, place, range.clone());
                    push(range, item_of(value));
                }
            }
        }
        Meaning::Floats(_) => {
            for range in operands.iter().cloned() {
                let bytes = float_bytes(&text[range.clone()], size).unwrap_or_else(|| vec![None; size as usize]);
                push(range, bytes);
            }
        }
        // Without a value nothing is laid down.
        Meaning::ReserveBytes if operands.len() < 2 => (),
        Meaning::Block | Meaning::Fill | Meaning::ReserveBytes => {
            let Some(Value::Number(number @ 0..=65_536)) = value_of(0) else { return };
            let last = if meaning == Meaning::Fill { 2 } else { 1 };
            let range = operands.get(last).unwrap_or(&operands[0]).clone();
            push(range, item_of(value_of(last).unwrap_or(Value::Number(0))).repeat(number as usize));
        }
        _ => (),
    }
}

/// A floating-point number of 32 or 64 bits (IEEE 754), with or without the `0r`, `0f`, `0d` or `0e` that the Unix families put before it; none of
/// another size or form.
fn float_bytes(text: &str, size: u32) -> Option<Vec<Option<u8>>> {
    let text = text.trim();
    let digits = match text.as_bytes() {
        [b'0', b'r' | b'R' | b'f' | b'F' | b'd' | b'D' | b'e' | b'E', ..] => &text[2..],
        _ => text,
    };
    let bytes = match size {
        4 => digits.parse::<f32>().ok()?.to_be_bytes().to_vec(),
        8 => digits.parse::<f64>().ok()?.to_be_bytes().to_vec(),
        _ => return None,
    };
    Some(bytes.into_iter().map(Some).collect())
}
