//! Tables that macros lay down: the lines of one call after the other, seen as the bytes of the calls.

use reveille_source::{LineKind, OpId, Operation, Span};
use rustc_hash::FxHashMap;

use super::{DataItem, DataRun, Head, line_items};
use crate::expression::Value;
use crate::index::{MARKS, Subjects, marked, subjects};
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

/// Calls in a row that may be one table. Nothing of them is evaluated yet.
struct Group {
    calls: Vec<Place>,
    label: Option<crate::Symbol>,
    subjects: Subjects,
    /// What stands behind the marks `@block` and `@chip`.
    marks: [Option<String>; 2],
    /// The line of the source behind the last call.
    next: usize,
}

/// The tables of a unit that macros lay down: each run is calls in a row, from one label to the next, that make nothing but data. As in
/// [`super::data_runs`], what is not wanted by its label, its words and its first bytes costs nothing more.
#[must_use]
pub fn made_runs(program: &Program, unit: &Unit, wants: &dyn Fn(Head<'_>) -> bool) -> Vec<DataRun> {
    if unit.expansions.is_empty() {
        return Vec::new();
    }
    let mut by_line: FxHashMap<Place, Vec<u32>> = FxHashMap::default();
    for (at, expansion) in unit.expansions.iter().enumerate() {
        by_line.entry(expansion.from).or_default().push(at as u32);
    }
    let lines = Lines { program, unit, by_line };
    let mut groups: Vec<Group> = Vec::new();
    let mut seen = rustc_hash::FxHashSet::default();
    // Whether the call before belongs to the last group.
    let mut is_open = false;
    for expansion in unit.expansions.iter().filter(|it| it.from.file.expansion().is_none()) {
        if !seen.insert(expansion.from) {
            continue;
        }
        let Some(own) = lines.group(expansion.from) else {
            is_open = false;
            continue;
        };
        match groups.last_mut().filter(|it| is_open && lines.follows(it, &own)) {
            Some(before) => {
                before.calls.extend(own.calls);
                before.subjects |= own.subjects;
                before.next = own.next;
            }
            None => groups.push(own),
        }
        is_open = true;
    }
    groups.into_iter().filter(|it| lines.is_wanted(it, wants)).filter_map(|it| lines.run(it)).collect()
}

impl Lines<'_> {
    /// A call as a table of its own; none where its first lines are no data.
    fn group(&self, place: Place) -> Option<Group> {
        let first = *self.by_line.get(&place)?.first()?;
        // A line that stands for itself, with other names in it, is an ordinary line.
        let expansion = self.unit.expansions.get(first as usize).filter(|it| it.body_lines > 0)?;
        let indexed = expansion.file.indexed.first()?;
        if !indexed.instructions.is_empty() {
            return None;
        }
        let file = self.program.file(place.file)?;
        let (_, line, text) = file.at(place.chunk, place.line);
        let number = file.line_number(place);
        let above = self.above(file, number);
        let comment = line.comment.of(text);
        let label = match line.label.is_empty() {
            false => self.program.names().find(line.label.of(text)),
            true => above.label,
        };
        let own_words = [comment, line.label.of(text), line.operation.of(text)];
        let subjects = own_words.iter().fold(above.subjects, |sum, it| sum | subjects(it));
        Some(Group { calls: vec![place], label, subjects, marks: marks(comment, above.marks), next: number + 1 })
    }

    /// Whether a group is wanted by what is known without a value: of first bytes that need names, nothing is.
    fn is_wanted(&self, group: &Group, wants: &dyn Fn(Head<'_>) -> bool) -> bool {
        let first = group.calls.first().and_then(|it| self.by_line.get(it)?.first().copied());
        let indexed = first.and_then(|it| self.unit.expansions.get(it as usize)?.file.indexed.first());
        let run = indexed.and_then(|it| it.runs.first()).filter(|it| !it.is_symbolic);
        let bytes = run.map_or(&[][..], |it| &it.head[..it.head_len.into()]);
        let (subjects, is_marked) = (group.subjects, group.marks.iter().any(Option::is_some));
        let is_told = !subjects.is_empty() || is_marked || bytes.len() > 1;
        let head = Head {
            label: group.label,
            bytes,
            is_symbolic: false,
            has_text: false,
            subjects,
            is_longs: false,
            operands: 0,
            addresses: 0,
            is_at_origin: false,
            is_marked,
        };
        (is_told || group.label.is_some()) && wants(head)
    }

    /// The data that the lines of a group's calls lay down; none if they do anything else.
    fn run(&self, group: Group) -> Option<DataRun> {
        let (first, last) = (*group.calls.first()?, *group.calls.last()?);
        let start = FileId::of_expansion(*self.by_line.get(&first)?.first()? as usize);
        let address = self.unit.location(self.program, Place { file: start, chunk: 0, line: 0 });
        let (mut items, mut at) = (Vec::new(), address);
        for place in group.calls {
            let file = self.program.file(place.file)?;
            let (_, line, _) = file.at(place.chunk, place.line);
            let before = items.len();
            at = self.lay(place, at, 0, &mut items)?;
            for item in &mut items[before..] {
                item.span = self.argument(item).unwrap_or(Span { start: line.operation.start, end: line.operands.end });
                item.place = place;
                item.is_made = true;
            }
        }
        let (label, subjects, [block, chip]) = (group.label, group.subjects, group.marks);
        (!items.is_empty()).then_some(DataRun {
            file: first.file,
            first,
            last,
            label,
            subjects,
            is_longs: false,
            block,
            chip,
            items,
            address,
        })
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
    fn follows(&self, before: &Group, made: &Group) -> bool {
        let (Some(first), Some(last)) = (made.calls.first(), before.calls.last()) else { return false };
        let Some(file) = self.program.file(first.file).filter(|_| first.file == last.file) else { return false };
        let number = file.line_number(*first);
        let is_empty = |at: usize| {
            file.place(at).is_some_and(|it| {
                let (_, line, _) = file.at(it.chunk, it.line);
                line.op == OpId::NONE && line.label.is_empty()
            })
        };
        let (_, line, _) = file.at(first.chunk, first.line);
        number >= before.next
            && line.label.is_empty()
            && made.marks.iter().all(Option::is_none)
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
            above.subjects |= subjects(comment);
            let [block, chip] = std::mem::take(&mut above.marks);
            let [farther_block, farther_chip] = marks(comment, [None, None]);
            above.marks = [block.or(farther_block), chip.or(farther_chip)];
            if !line.label.is_empty() {
                let label = line.label.of(text);
                above.subjects |= subjects(label);
                above.label = self.program.names().find(label);
                break;
            }
        }
        above
    }
}

/// What stands behind the marks of a comment, else what is known of them already.
fn marks(comment: &str, known: [Option<String>; 2]) -> [Option<String>; 2] {
    let [block, chip] = known;
    let own = |mark| marked(comment, mark).map(str::to_owned);
    [own(MARKS[0]).or(block), own(MARKS[1]).or(chip)]
}

/// What stands above a call.
#[derive(Default)]
struct Above {
    label: Option<crate::Symbol>,
    subjects: Subjects,
    /// What stands behind the marks `@block` and `@chip`.
    marks: [Option<String>; 2],
}
