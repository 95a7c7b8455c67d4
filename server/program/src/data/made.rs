//! Tables that macros lay down: the lines of one call after the other, seen as the bytes of the calls.

use reveille_source::{LineKind, OpId, Operation, Span};
use rustc_hash::FxHashMap;

use super::{DataItem, DataRun, line_items};
use crate::expression::Value;
use crate::index::{has_disk_word, marked_block};
use crate::unit::{Place, Unit};
use crate::{FileId, Program, SourceFile};

/// The most bytes of a table that is laid down by macros.
const MOST_BYTES: usize = 8192;

/// How deep calls in calls are followed, as deep as they are expanded.
const MOST_DEPTH: u32 = 64;

/// The expansions of a unit by the line that they stand for.
struct Lines<'a> {
    program: &'a Program,
    unit: &'a Unit,
    by_line: FxHashMap<Place, Vec<u32>>,
}

/// What is known of a run while its calls are gathered.
struct Open {
    run: DataRun,
    /// The line of the source behind the last call.
    next: usize,
}

/// The tables of a unit that macros lay down: each run is calls in a row, from one label to the next, that make nothing but data.
#[must_use]
pub fn made_runs(program: &Program, unit: &Unit) -> Vec<DataRun> {
    let mut by_line: FxHashMap<Place, Vec<u32>> = FxHashMap::default();
    for (at, expansion) in unit.expansions.iter().enumerate() {
        by_line.entry(expansion.from).or_default().push(at as u32);
    }
    let lines = Lines { program, unit, by_line };
    let (mut found, mut open): (Vec<DataRun>, Option<Open>) = (Vec::new(), None);
    let mut seen = rustc_hash::FxHashSet::default();
    for expansion in unit.expansions.iter().filter(|it| it.from.file.expansion().is_none()) {
        if !seen.insert(expansion.from) {
            continue;
        }
        let Some(made) = lines.call(expansion.from) else {
            found.extend(open.take().map(|it| it.run));
            continue;
        };
        open = match open.take() {
            Some(mut before) if lines.follows(&before, &made) => {
                before.run.items.extend(made.run.items);
                before.run.last = made.run.last;
                before.run.has_words |= made.run.has_words;
                before.next = made.next;
                Some(before)
            }
            before => {
                found.extend(before.map(|it| it.run));
                Some(made)
            }
        };
    }
    found.extend(open.map(|it| it.run));
    found
}

impl Lines<'_> {
    /// The data that the lines of one call lay down; none if they do anything else.
    fn call(&self, place: Place) -> Option<Open> {
        let file = self.program.file(place.file)?;
        let (_, line, text) = file.at(place.chunk, place.line);
        let mut items = Vec::new();
        let first = *self.by_line.get(&place).filter(|_| !self.unit.is_replaced(place))?.first()?;
        let start = Place { file: FileId::of_expansion(first as usize), chunk: 0, line: 0 };
        let address = self.unit.location(self.program, start);
        self.lay(place, address, 0, &mut items)?;
        if items.is_empty() {
            return None;
        }
        for item in &mut items {
            item.span = self.argument(item).unwrap_or(Span { start: line.operation.start, end: line.operands.end });
            item.place = place;
            item.is_made = true;
        }
        let number = file.line_number(place);
        let above = self.above(file, number);
        let comment = line.comment.of(text);
        let label = match line.label.is_empty() {
            false => self.program.names().find(line.label.of(text)),
            true => above.label,
        };
        let has_words = above.has_words
            || has_disk_word(comment)
            || has_disk_word(line.label.of(text))
            || has_disk_word(line.operation.of(text));
        let block = marked_block(comment).map(str::to_owned).or(above.block);
        let run = DataRun { file: place.file, first: place, last: place, label, has_words, block, items, address };
        Some(Open { run, next: number + 1 })
    }

    /// The items of the lines that a line stands for, in the order of the program; none if one of them is no data.
    fn lay(&self, place: Place, address: Value, depth: u32, items: &mut Vec<DataItem>) -> Option<Value> {
        let mut address = address;
        for at in self.by_line.get(&place)? {
            let id = FileId::of_expansion(*at as usize);
            let file = self.unit.file(self.program, id)?;
            for number in 0..file.source().line_count() {
                let Some(own) = file.place(number) else { break };
                let own = Place { file: id, ..own };
                if !self.unit.is_active(own) {
                    continue;
                }
                let (_, line, _) = file.at(own.chunk, own.line);
                if self.by_line.contains_key(&own) {
                    if depth >= MOST_DEPTH {
                        return None;
                    }
                    address = self.lay(own, address, depth + 1, items)?;
                    continue;
                }
                let before = items.len();
                match line.op.get() {
                    Operation::None | Operation::Assignment => continue,
                    Operation::Directive(_) => {
                        line_items(self.program, self.unit, file, (own, address), &Value::number, items);
                    }
                    Operation::Instruction(_) | Operation::MacroCall => return None,
                }
                let made: usize = items[before..].iter().map(|it| it.bytes.len()).sum();
                if items.iter().map(|it| it.bytes.len()).sum::<usize>() > MOST_BYTES {
                    return None;
                }
                address = address.moved(made as i64);
            }
        }
        Some(address)
    }

    /// The operand of the call that an item was made of: where its operand in the macro's body is a parameter and little else, and so
    /// on outwards, where the macro was called by another.
    fn argument(&self, item: &DataItem) -> Option<Span> {
        let (mut place, mut start) = (item.place, usize::from(item.span.start));
        while let Some(expansion) = place.file.expansion() {
            let made = self.unit.file(self.program, place.file)?;
            let (chunk, line, _) = made.at(place.chunk, place.line);
            let at = chunk.operands(line).iter().position(|it| it.start == start)?;
            let own = self.unit.own_line(self.program, place)?;
            let body = self.program.file(own.file)?;
            let (body_chunk, body_line, body_text) = body.at(own.chunk, own.line);
            let text = &body_text[body_chunk.operands(body_line).get(at)?.clone()];
            let mut parameters = text.match_indices('\\').filter_map(|(at, _)| text.as_bytes().get(at + 1));
            let digit = parameters.find(|it| it.is_ascii_digit() && **it != b'0')?;
            place = self.unit.expansions.get(expansion)?.from;
            let file = self.unit.file(self.program, place.file)?;
            let (chunk, call, _) = file.at(place.chunk, place.line);
            let operand = chunk.operands(call).get(usize::from(digit - b'1'))?.clone();
            if place.file.expansion().is_none() {
                return Some(Span { start: operand.start as u16, end: operand.end as u16 });
            }
            start = operand.start;
        }
        None
    }

    /// Whether a call goes on with the table of the call before: nothing but blank lines and comments between, no label, no mark.
    fn follows(&self, before: &Open, made: &Open) -> bool {
        let Some(file) = self.program.file(made.run.file).filter(|_| before.run.file == made.run.file) else {
            return false;
        };
        let number = file.line_number(made.run.first);
        let is_empty = |at: usize| {
            file.place(at).is_some_and(|it| {
                let (_, line, _) = file.at(it.chunk, it.line);
                line.op == OpId::NONE && line.label.is_empty()
            })
        };
        let (_, line, _) = file.at(made.run.first.chunk, made.run.first.line);
        number >= before.next
            && line.label.is_empty()
            && made.run.block.is_none()
            && number - before.next < 64
            && (before.next..number).all(is_empty)
    }

    /// What the comments and the label above a line say.
    fn above(&self, file: &SourceFile, number: usize) -> Above {
        let mut above = Above::default();
        for at in (0..number).rev().take(16) {
            let Some(place) = file.place(at) else { break };
            let (_, line, text) = file.at(place.chunk, place.line);
            if line.op != OpId::NONE || line.kind == LineKind::Preprocessor {
                break;
            }
            let comment = line.comment.of(text);
            above.has_words |= has_disk_word(comment);
            above.block = above.block.or_else(|| marked_block(comment).map(str::to_owned));
            if !line.label.is_empty() {
                let label = line.label.of(text);
                above.has_words |= has_disk_word(label);
                above.label = self.program.names().find(label);
                break;
            }
        }
        above
    }
}

/// What stands above a call.
#[derive(Default)]
struct Above {
    label: Option<crate::Symbol>,
    has_words: bool,
    block: Option<String>,
}
