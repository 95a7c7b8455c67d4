//! Who calls whom: routines, and the calls, jumps and falls between them.

use std::ops::Range;

use reveille_cpu::{Mnemonic, Register, ends, register};
use reveille_facts::Model;
use reveille_program::{Definition, DefinitionKind, FileId, Place, SourceFile, Unit};
use reveille_source::{Dialect, LineKind, Meaning, Operation, TokenKind};
use rustc_hash::{FxHashMap, FxHashSet};

use crate::c;
use crate::lookup::{Spot, Thing, line_start};
use crate::structure::{is_address, is_data};

/// A routine as an item of the hierarchy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Routine {
    /// Its first label; the file's name for code above all labels.
    pub name: String,
    /// How it is reached, where that is no plain call.
    pub detail: String,
    /// The file.
    pub file: FileId,
    /// Its lines.
    pub range: Range<usize>,
    /// The label.
    pub name_range: Range<usize>,
}

/// A routine at the other end of calls, and where they stand in the one that calls.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Call {
    /// The other routine.
    pub routine: Routine,
    /// The operands that name the target, in the caller's file.
    pub ranges: Vec<Range<usize>>,
}

/// The routine that a byte names, or stands in.
#[must_use]
pub fn routine_at(model: &Model, file: FileId, byte: usize) -> Option<Routine> {
    if let Some(view) = c::View::of(model, file) {
        return c::routine(&view, byte);
    }
    let of_assembly = || {
        let (mut tables, place) = start(model, file, byte)?;
        tables.body(place).map(|(body, file)| item(file, body))
    };
    of_assembly().or_else(|| {
        let spot = Spot::new(model, file, byte)?;
        c::callee(model, file, &spot.text[spot.name()?])
    })
}

/// The routines that the one at a byte calls, jumps to or falls into, in the order of its lines.
#[must_use]
pub fn outgoing_calls(model: &Model, file: FileId, byte: usize) -> Vec<Call> {
    if let Some(view) = c::View::of(model, file) {
        return c::outgoing(&view, byte);
    }
    let Some((mut tables, place)) = start(model, file, byte) else { return Vec::new() };
    let Some((body, source)) = tables.body(place).map(|it| (it.0.clone(), it.1)) else { return Vec::new() };
    let mut gathered = Gathered::default();
    for number in body.lines.clone() {
        let Some(at) = source.place(number).filter(|it| place.0.is_active(*it)) else { continue };
        let Some((target, is_call)) = flow(source, at) else { continue };
        let how = if is_call { How::CALLS } else { How::JUMPS };
        let Some((unit, definition)) = resolve(model, place.0, at, source, &target) else {
            let (_, _, text) = source.at(at.chunk, at.line);
            if let Some(function) = c::callee(model, source.id(), &text[target.clone()]) {
                gathered.add(function, in_file(source, at, &target), how);
            }
            continue;
        };
        let Some((other, file)) = tables.body((unit, definition.place)) else { continue };
        if file.id() != source.id() || other.lines != body.lines {
            gathered.add(item(file, other), in_file(source, at, &target), how);
        }
    }
    let next = tables.all(place.0, source.id()).iter().find(|it| it.from_above == Some(body.lines.start));
    if let (Some(next), Some(last)) = (next, body.last) {
        gathered.add(item(source, next), operation(source, last.0), How::FALLS);
    }
    gathered.finish()
}

/// The routines of all units that call the one at a byte, jump to it or fall into it.
#[must_use]
pub fn incoming_calls(model: &Model, file: FileId, byte: usize) -> Vec<Call> {
    if let Some(view) = c::View::of(model, file) {
        return c::incoming(&view, byte);
    }
    let Some((mut tables, place)) = start(model, file, byte) else { return Vec::new() };
    let Some((body, own)) = tables.body(place).map(|it| (it.0.clone(), it.1)) else { return Vec::new() };
    let program = model.program();
    let names: Vec<&str> = body.labels.iter().map(|it| label_of(own, *it)).collect();
    let mut gathered = Gathered::default();
    for unit in model.analysis().units() {
        for source in unit.files().iter().filter_map(|id| program.file(*id)) {
            for (at, target, is_call) in flows(source) {
                let (_, _, text) = source.at(at.chunk, at.line);
                let name = &text[target.clone()];
                if !names.iter().any(|it| it.eq_ignore_ascii_case(name)) || !unit.is_active(at) {
                    continue;
                }
                let found = resolve(model, unit, at, source, &target);
                if !found.is_some_and(|it| body.labels.contains(&it.1.place)) {
                    continue;
                }
                let Some((from, _)) = tables.body((unit, at)) else { continue };
                if source.id() != own.id() || from.lines != body.lines {
                    let how = if is_call { How::CALLS } else { How::JUMPS };
                    gathered.add(item(source, from), in_file(source, at, &target), how);
                }
            }
        }
    }
    if let Some(above) = body.from_above {
        let bodies = tables.all(place.0, own.id());
        if let Some((from, last)) = bodies.iter().find(|it| it.lines.start == above).and_then(|it| Some((it, it.last?)))
        {
            gathered.add(item(own, from), operation(own, last.0), How::FALLS);
        }
    }
    let mut found = gathered.finish();
    found.extend(names.iter().flat_map(|it| c::callers(model, own.id(), it)));
    found
}

/// The routines that call a name of C, or jump to it.
pub(crate) fn flows_to(model: &Model, shared: &c::Shared<'_>) -> Vec<Call> {
    let mut tables = Tables { model, bodies: FxHashMap::default() };
    let mut gathered = Gathered::default();
    for unit in shared.units() {
        for source in unit.files().iter().filter_map(|id| model.program().file(*id)) {
            for (at, target, is_call) in flows(source) {
                let (_, _, text) = source.at(at.chunk, at.line);
                if text[target.clone()] != shared.assembly || !unit.is_active(at) {
                    continue;
                }
                let Some((from, _)) = tables.body((unit, at)) else { continue };
                let how = if is_call { How::CALLS } else { How::JUMPS };
                gathered.add(item(source, from), in_file(source, at, &target), how);
            }
        }
    }
    gathered.finish()
}

/// Code from its labels to the next ordinary label.
#[derive(Clone, Debug)]
struct Body {
    /// Labels of the same address, in their order; none for code above all labels.
    labels: Vec<Place>,
    /// From the first label to the last line of code.
    lines: Range<usize>,
    has_code: bool,
    /// The last instruction, and whether the next is never executed behind it; none if something else stands at the end.
    last: Option<(Place, bool)>,
    /// The first line of the body that falls into this one.
    from_above: Option<usize>,
}

type At<'a> = (&'a Unit, Place);

/// The unit and the line of the routine that is asked for.
fn start(model: &Model, file: FileId, byte: usize) -> Option<(Tables<'_>, At<'_>)> {
    let spot = Spot::new(model, file, byte)?;
    let tables = Tables { model, bodies: FxHashMap::default() };
    let names_something = matches!(spot.thing(), Some(Thing::Label(_) | Thing::Token(TokenKind::Name, _)));
    if !names_something {
        return Some((tables, (spot.unit()?, spot.place)));
    }
    let (unit, definition, _) = spot.definition()?;
    let (unit, definition) = own_label(model, unit, definition)?;
    Some((tables, (unit, definition.place)))
}

/// The label that a definition stands for: an import's is another unit's.
fn own_label<'a>(model: &'a Model, unit: &'a Unit, definition: Definition) -> Option<(&'a Unit, Definition)> {
    match definition.kind {
        DefinitionKind::Label => Some((unit, definition)),
        DefinitionKind::External => elsewhere(model, unit, &model.program().names().text(definition.symbol)),
        _ => None,
    }
}

fn elsewhere<'a>(model: &'a Model, unit: &Unit, name: &str) -> Option<(&'a Unit, Definition)> {
    let others = model.analysis().units().filter(|it| !std::ptr::eq(*it, unit));
    let mut labels = others.filter_map(|it| Some((it, *it.find(model.program(), name)?)));
    labels.find(|it| it.1.kind == DefinitionKind::Label)
}

/// The label that a name at a place means, unless it is a local one, which no other routine has.
fn resolve<'a>(
    model: &'a Model,
    unit: &'a Unit,
    at: Place,
    source: &SourceFile,
    name: &Range<usize>,
) -> Option<(&'a Unit, Definition)> {
    let (chunk, _, text) = source.at(at.chunk, at.line);
    let name = &text[name.clone()];
    if reveille_program::is_local_label(name, chunk.dialect()) {
        return None;
    }
    match unit.find(model.program(), name) {
        Some(found) => own_label(model, unit, *found),
        None => elsewhere(model, unit, name),
    }
}

/// The bodies of files, each made once a request.
struct Tables<'a> {
    model: &'a Model,
    bodies: FxHashMap<(*const Unit, FileId), Vec<Body>>,
}

impl<'a> Tables<'a> {
    fn all(&mut self, unit: &'a Unit, file: FileId) -> &[Body] {
        let program = self.model.program();
        let make = || program.file(file).map_or(Vec::new(), |source| bodies(unit, source));
        self.bodies.entry((std::ptr::from_ref(unit), file)).or_insert_with(make)
    }

    /// The body that a line belongs to.
    fn body(&mut self, at: At<'a>) -> Option<(&Body, &'a SourceFile)> {
        let source = self.model.program().file(at.1.file)?;
        let number = source.line_number(at.1);
        let all = self.all(at.0, at.1.file);
        let last = all.partition_point(|it| it.lines.start <= number).checked_sub(1)?;
        all.get(last).filter(|it| it.lines.contains(&number)).map(|it| (it, source.as_ref()))
    }
}

/// The bodies of a file, as a unit reads it, in the order of the lines.
fn bodies(unit: &Unit, source: &SourceFile) -> Vec<Body> {
    let mut found: Vec<Body> = Vec::new();
    let mut open: Option<Body> = None;
    let mut finish = |body: Option<Body>| found.extend(body.filter(|it| it.has_code));
    let mut number = 0;
    for (at, chunk) in source.source().chunks().iter().enumerate() {
        for (line_at, line) in chunk.lines().iter().enumerate() {
            let place = Place { file: source.id(), chunk: at as u32, line: line_at as u16 };
            number += 1;
            if line.kind != LineKind::Statement || !unit.is_active(place) {
                continue;
            }
            let own = number - 1;
            let label = line.label.of(chunk.line_text(line));
            if is_address(line) && !reveille_program::is_local_label(label, chunk.dialect()) {
                match &mut open {
                    Some(body) if !body.has_code => body.labels.push(place),
                    _ => {
                        let falls = open.as_ref().filter(|it| it.last.is_some_and(|last| !last.1));
                        let from_above = falls.map(|it| it.lines.start);
                        let (labels, lines) = (vec![place], own..number);
                        finish(open.replace(Body { labels, lines, has_code: false, last: None, from_above }));
                    }
                }
            }
            let last = match line.op.get() {
                Operation::Instruction(mnemonic) => Some((place, ends(mnemonic.instruction))),
                Operation::MacroCall => None,
                Operation::Directive(it) if is_data(it.meaning) => {
                    match open.as_mut().filter(|it| it.has_code) {
                        Some(body) => body.last = None,
                        None => open = None,
                    }
                    continue;
                }
                Operation::Directive(it) if leads_elsewhere(it.meaning) => {
                    finish(open.take());
                    continue;
                }
                _ => continue,
            };
            let (labels, lines) = (Vec::new(), own..number);
            let body = open.get_or_insert(Body { labels, lines, has_code: false, last, from_above: None });
            body.has_code = true;
            body.lines.end = number;
            body.last = last;
        }
    }
    finish(open);
    found
}

/// Whether the lines behind a directive are not those that follow it in memory.
fn leads_elsewhere(meaning: Meaning) -> bool {
    use Meaning as M;
    matches!(meaning, M::Section | M::NamedSection | M::Origin | M::Offsets | M::Include | M::End)
}

/// The places of a file where control flows to a name: the line, the name, whether it is a call.
fn flows(source: &SourceFile) -> impl Iterator<Item = (Place, Range<usize>, bool)> {
    source.source().chunks().iter().enumerate().flat_map(move |(at, chunk)| {
        let lines = chunk.lines().iter().enumerate().filter(|it| it.1.op.is_instruction());
        lines.filter_map(move |(line, _)| {
            let place = Place { file: source.id(), chunk: at as u32, line: line as u16 };
            flow(source, place).map(|(target, is_call)| (place, target, is_call))
        })
    })
}

/// The name that the instruction of a line goes to, and whether it comes back.
fn flow(source: &SourceFile, at: Place) -> Option<(Range<usize>, bool)> {
    let (chunk, line, text) = source.at(at.chunk, at.line);
    let Operation::Instruction(mnemonic) = line.op.get() else { return None };
    let (operand, is_call) = kind(mnemonic)?;
    let range = chunk.operands(line).into_iter().nth(operand)?;
    let name = lone_name(&text[range.clone()], chunk.dialect())?;
    Some((range.start + name.start..range.start + name.end, is_call))
}

/// Which operand of an instruction is where it goes to, and whether it comes back from there.
fn kind(mnemonic: &Mnemonic) -> Option<(usize, bool)> {
    match mnemonic.instruction.name {
        "bsr" | "jsr" => Some((0, true)),
        "bra" | "bcc" | "jmp" => Some((0, false)),
        "dbcc" => Some((1, false)),
        _ => None,
    }
}

/// The name in an operand that is nothing else but a name: `name`, `name.w`, `(name).l`, `name(pc)`.
fn lone_name(operand: &str, dialect: Dialect) -> Option<Range<usize>> {
    if operand.contains(['+', '-', '*', '/', '&', '|', '~', '#', '!', '^']) {
        return None;
    }
    let (mut name, mut is_more) = (None, false);
    reveille_source::tokens(operand, dialect, |kind, range| match kind {
        TokenKind::Name if name.is_none() => name = Some(range),
        TokenKind::Size => (),
        TokenKind::Register if register(&operand[range.clone()]) == Some(Register::Pc) => (),
        _ => is_more = true,
    });
    name.filter(|_| !is_more)
}

fn label_of(source: &SourceFile, at: Place) -> &str {
    let (_, line, text) = source.at(at.chunk, at.line);
    line.label.of(text)
}

fn in_file(source: &SourceFile, at: Place, range: &Range<usize>) -> Range<usize> {
    let start = line_start(source, at);
    start + range.start..start + range.end
}

fn operation(source: &SourceFile, at: Place) -> Range<usize> {
    let (_, line, _) = source.at(at.chunk, at.line);
    in_file(source, at, &line.operation.range())
}

fn item(source: &SourceFile, body: &Body) -> Routine {
    let text = source.source();
    let first = body.labels.first();
    let file_name = || source.path().file_name().unwrap_or_default().to_string_lossy().into_owned();
    let name_range = match first {
        Some(at) => {
            let (_, line, _) = source.at(at.chunk, at.line);
            in_file(source, *at, &line.label.range())
        }
        None => source.place(body.lines.start).map_or(0..0, |at| operation(source, at)),
    };
    let last = body.lines.end.saturating_sub(1);
    let end = text.line_start(last) + text.line(last).map_or(0, |it| it.1.len());
    Routine {
        name: first.map_or_else(file_name, |at| label_of(source, *at).to_owned()),
        detail: String::new(),
        file: source.id(),
        range: text.line_start(body.lines.start)..end,
        name_range,
    }
}

/// The ways from one routine to another.
#[derive(Clone, Copy, Debug, Default)]
struct How(u8);

impl How {
    const CALLS: Self = Self(1);
    const JUMPS: Self = Self(2);
    const FALLS: Self = Self(4);

    /// In words; nothing where there are calls alone.
    fn text(self) -> String {
        if self.0 == Self::CALLS.0 {
            return String::new();
        }
        let names = [(Self::CALLS, "calls"), (Self::JUMPS, "jumps"), (Self::FALLS, "falls through")];
        let names: Vec<&str> = names.iter().filter(|it| self.0 & it.0.0 != 0).map(|it| it.1).collect();
        names.join(", ")
    }
}

/// Calls by the routine at their other end.
#[derive(Default)]
struct Gathered {
    calls: Vec<(Call, How)>,
    by_routine: FxHashMap<(FileId, usize), usize>,
    /// A file that several units read is met several times.
    seen: FxHashSet<(FileId, usize, Range<usize>)>,
}

impl Gathered {
    fn add(&mut self, routine: Routine, range: Range<usize>, how: How) {
        let key = (routine.file, routine.range.start);
        if !self.seen.insert((key.0, key.1, range.clone())) {
            return;
        }
        let at = *self.by_routine.entry(key).or_insert_with(|| {
            self.calls.push((Call { routine, ranges: Vec::new() }, How::default()));
            self.calls.len() - 1
        });
        let (call, known) = &mut self.calls[at];
        call.ranges.push(range);
        known.0 |= how.0;
    }

    fn finish(self) -> Vec<Call> {
        let tell = |(mut call, how): (Call, How)| {
            call.routine.detail = how.text();
            call
        };
        self.calls.into_iter().map(tell).collect()
    }
}
