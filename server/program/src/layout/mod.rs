//! The walk over a unit's lines: conditionals, includes, locations, definitions.
//!
//! It goes over events, not lines, and keeps no result of its last run: a million lines take some milliseconds. The same steps,
//! without their effects on names, give the location of any line again ([`replay`]).

mod conditions;
mod directives;
mod expansion;
mod finish;
mod idle;
mod instructions;
mod state;
mod stretch;
mod substitute;
mod texts;
mod trace;
mod values;

use std::collections::hash_map::Entry;
use std::sync::Arc;

use reveille_source::{Meaning, Span};

use crate::expression::{Base, Value};
use crate::index::{Event, EventKind, Indexed, item_bytes};
use crate::preprocessor::{Kind, Text, Texts};
use crate::unit::{BaseInfo, Definition, DefinitionKind, Place, Problem, ProblemKind, Unit, equate_span};
use crate::{FileId, Program, Settings, SourceFile, Symbol};

pub(crate) use idle::Idle;
use idle::Watch;
use state::Mark;
pub(crate) use state::{Segment, State, Stop};
use stretch::{Open, Piece};
pub(crate) use trace::trace;

/// The most that a count of a directive may be: more than the address space of the 68000.
const MOST: i64 = 1 << 24;

/// How many names one value may need in the middle of the walk.
const MOST_STEPS: u32 = 1_000;

/// How often a unit is walked until lengths and addresses agree.
const MOST_WALKS: usize = 8;

/// Lays out the unit of a root. `defines` are names given from outside, before those of the root's settings.
#[must_use]
pub fn lay_out(program: &Program, root: FileId, defines: &[(String, i64)], previous: Option<&Unit>) -> Unit {
    let mut all = defines.to_vec();
    let told = program.settings_of(root).defines.iter();
    all.extend(told.filter(|(name, _)| defines.iter().all(|it| it.0 != *name)).cloned());
    let defines = &all;
    let (mut unit, mut needs_more) = Walk::run(program, root, defines, None, previous);
    // Counts and origins may need names that come later, or distances over lengths that are still open: go again with what is known now,
    // until nothing moves.
    for walk in 1.. {
        if !needs_more {
            break;
        }
        let (next, has_moved) = Walk::run(program, root, defines, Some(&unit), Some(&unit));
        let same = |one: &Definition, two: &Definition| one.value == two.value;
        let differs = next.definitions.iter().zip(&unit.definitions).find(|(one, two)| !same(one, two));
        let differs = differs.map(|it| it.0.place);
        let is_settled = differs.is_none() && next.definitions.len() == unit.definitions.len() && !has_moved;
        unit = next;
        if is_settled {
            break;
        }
        if walk == MOST_WALKS {
            if let Some(place) = differs {
                let span = crate::references::definition_span(program, place);
                unit.problems.push(Problem { kind: ProblemKind::Unsettled, place, span });
            }
            break;
        }
        needs_more = true;
    }
    crate::check::check(program, &mut unit, previous);
    unit
}

struct Walk<'a> {
    program: &'a Program,
    /// Those of the root.
    settings: &'a Arc<Settings>,
    unit: Unit,
    state: State,
    sections: Vec<(Symbol, Mark)>,
    pieces: Vec<Piece>,
    /// Instructions whose length depends on a distance.
    open: Vec<Open>,
    /// Where each definition is.
    marks: Vec<Mark>,
    /// The most that all open instructions so far can grow, by how many there are.
    most_growth: Vec<i64>,
    /// A value was asked for that growth may change.
    needs_lengths: bool,
    stack: Vec<FileId>,
    /// The name `.`, which stands for the location.
    dot: Symbol,
    /// Files read so far, each as often as it was.
    visits: u32,
    /// What an earlier walk found, for names that this one has not met yet.
    earlier: Option<&'a Unit>,
    /// A value was asked for that only a later line gives.
    needs_more: bool,
    pending_locals: Vec<(u32, FileId, u32, u32)>,
    calls: Vec<(Symbol, Place)>,
    /// The call that has just been expanded.
    has_expanded: bool,
    /// Lines of all expansions so far.
    expanded_lines: usize,
    /// There were too many of them: no call is expanded any more.
    has_given_up: bool,
    /// The instructions at hand are at odd addresses, and that is told: once for all that follow each other, wherever chunks begin.
    has_told_odd: bool,
    /// Names that stand for text, by lines of the preprocessor.
    texts: Texts,
    /// Some of them stand for no value: lines that use them are read with the text in them.
    has_texts: bool,
    /// Names looked up for the value that is being worked out.
    steps: u32,
    is_effective: bool,
}

/// The state before `line`, from the state at the segment's start.
pub(crate) fn replay(program: &Program, unit: &Unit, segment: &Segment, line: u16) -> State {
    let mut walk = Walk::new(program, segment.file, Some(unit));
    walk.state = segment.state.clone();
    walk.is_effective = false;
    let Some(file) = unit.file(program, segment.file) else { return walk.state };
    let Some(indexed) = file.indexed.get(segment.chunk as usize) else { return walk.state };
    let events = &indexed.events[segment.first_event.into()..];
    for (at, event) in events.iter().enumerate() {
        if event.line > line {
            break;
        }
        let next = events.get(at + 1);
        if event.line == line {
            if is_aligned(indexed, event) {
                walk.align();
            }
            if !matches!(event.kind, EventKind::Label(_)) {
                break;
            }
        }
        if matches!(event.kind, EventKind::Code(_)) && walk.state.reads() && next.is_none_or(|it| it.line > line) {
            // The line is in the middle of instructions.
            let before = indexed.sizes.get(event.line.into()..line.into()).unwrap_or(&[]);
            walk.state.offset += before.iter().map(|it| i64::from(*it)).sum::<i64>();
            break;
        }
        walk.event(segment.file, segment.chunk, indexed, event, next);
    }
    walk.state
}

/// Whether a line reads another file.
fn is_include(indexed: &Indexed, event: &Event) -> bool {
    let line = &indexed.chunk.lines()[usize::from(event.line)];
    match event.kind {
        EventKind::Directive => line.op.directive().is_some_and(|it| it.meaning == Meaning::Include),
        EventKind::Preprocessor => matches!(
            crate::preprocessor::directive(indexed.chunk.line_text(line)),
            Some(crate::preprocessor::Directive::Include { .. })
        ),
        _ => false,
    }
}

/// Whether a line's data or reserved memory starts at an even address.
fn is_aligned(indexed: &Indexed, event: &Event) -> bool {
    match event.kind {
        EventKind::Data { aligned, .. } => aligned,
        EventKind::Directive => {
            let line = &indexed.chunk.lines()[usize::from(event.line)];
            line.op.directive().is_some_and(|directive| {
                matches!(directive.meaning, Meaning::Reserve | Meaning::Block)
                    && !indexed.chunk.dialect().is_unix()
                    && item_bytes(directive, line.size).is_some_and(|bytes| bytes > 1)
            })
        }
        _ => false,
    }
}

impl<'a> Walk<'a> {
    fn new(program: &'a Program, root: FileId, earlier: Option<&'a Unit>) -> Self {
        let section = Symbol::EMPTY;
        let absolute = BaseInfo { is_odd: Some(false), is_section: false, alignment: 2, address: Some(0) };
        let section_start = BaseInfo { is_section: true, address: None, ..absolute };
        let unit = Unit { root: Some(root), bases: vec![absolute, section_start], ..Unit::default() };
        let state = State::new(Base(1), section);
        Walk {
            program,
            settings: earlier.map_or_else(|| program.settings_of(root), |it| it.settings(program)),
            unit,
            sections: vec![(section, state.mark())],
            state,
            pieces: vec![Piece::START],
            open: Vec::new(),
            marks: Vec::new(),
            most_growth: vec![0],
            needs_lengths: false,
            stack: Vec::new(),
            dot: program.names().intern("."),
            visits: 0,
            earlier,
            needs_more: false,
            pending_locals: Vec::new(),
            calls: Vec::new(),
            has_expanded: false,
            expanded_lines: 0,
            has_given_up: false,
            has_told_odd: false,
            texts: Texts::default(),
            has_texts: false,
            steps: 0,
            is_effective: true,
        }
    }

    /// `like` is a unit of about the same size.
    fn run(
        program: &'a Program,
        root: FileId,
        defines: &[(String, i64)],
        earlier: Option<&'a Unit>,
        like: Option<&Unit>,
    ) -> (Unit, bool) {
        let mut walk = Self::new(program, root, earlier);
        if let Some(like) = like {
            walk.unit.definitions.reserve(like.definitions.len() + 8);
            walk.marks.reserve(like.definitions.len() + 8);
            walk.unit.segments.reserve(like.segments.len() + 2);
            walk.unit.sized.reserve(like.sized.len() + 8);
            walk.most_growth.reserve(like.sized.len() + 8);
            walk.unit.stops.reserve(like.stops.len() + 8);
        }
        walk.unit.by_symbol = vec![0; program.names().len() + defines.len()];
        let place = Place { file: root, chunk: 0, line: 0 };
        for (name, value) in defines {
            let symbol = program.names().intern(name);
            walk.define(symbol, DefinitionKind::Set, place, Value::Number(*value), Span::default());
            // The preprocessor knows it, too.
            let text = Text { parameters: None, body: value.to_string(), kind: Kind::Value };
            walk.texts.insert(name.clone(), text);
        }
        walk.file(root);
        let has_moved = walk.stretch();
        walk.place_sections();
        walk.finish();
        let needs_more = walk.needs_more || (has_moved && walk.needs_lengths);
        (walk.unit, needs_more)
    }

    /// The unit whose expansions the lines at hand belong to: the one that is made, or in a replay the one that is there.
    fn known(&self) -> &Unit {
        match self.earlier {
            Some(unit) if !self.is_effective => unit,
            _ => &self.unit,
        }
    }

    /// A file, or the lines of an expansion.
    fn source(&self, id: FileId) -> Option<Arc<SourceFile>> {
        self.known().file(self.program, id).cloned()
    }

    fn problem(&mut self, kind: ProblemKind, place: Place, span: Span) {
        if self.is_effective {
            self.unit.problems.push(Problem { kind, place, span });
        }
    }

    fn file(&mut self, id: FileId) {
        let Some(file) = self.source(id) else { return };
        if id.expansion().is_none() && !self.unit.files.contains(&id) {
            self.unit.files.push(id);
        }
        self.stack.push(id);
        self.visits += 1;
        let depth = (self.state.conditions.len(), self.state.macros, self.state.repeats);
        let mut openers = Vec::new();
        for (chunk, indexed) in file.indexed.iter().enumerate() {
            self.chunk(id, chunk as u32, indexed, &mut openers);
            if let Some(end) = self.state.ended {
                self.after_end(end, &file);
                for chunk in chunk + 1..file.indexed.len() {
                    self.unit.idle.entry((id, chunk as u32)).or_insert_with(Idle::whole);
                }
                break;
            }
        }
        // What a file opens it closes: the next file must not be lost with it.
        let is_open =
            self.state.conditions.len() > depth.0 || self.state.macros > depth.1 || self.state.repeats > depth.2;
        if is_open {
            if let Some((place, span)) = openers.last().copied().filter(|_| !self.state.left) {
                self.problem(ProblemKind::NeverEnds, place, span);
            }
            self.state.conditions.truncate(depth.0);
            (self.state.macros, self.state.repeats) = (depth.1, depth.2);
        }
        self.stack.pop();
    }

    /// Tells of the first statement behind END.
    fn after_end(&mut self, end: Place, file: &SourceFile) {
        if self.stack.len() > 1 || end.file != file.id() {
            return;
        }
        let chunks = file.source().chunks().iter().enumerate().skip(end.chunk as usize);
        let found = chunks.into_iter().find_map(|(chunk, it)| {
            let skip = if chunk == end.chunk as usize { usize::from(end.line) + 1 } else { 0 };
            let is_text = |line: &reveille_source::Line| line.kind == reveille_source::LineKind::Statement;
            let line = skip + it.lines()[skip..].iter().position(is_text)?;
            Some(Place { file: end.file, chunk: chunk as u32, line: line as u16 })
        });
        if let Some(place) = found {
            let (_, line, _) = file.at(place.chunk, place.line);
            let span = if line.label.is_empty() { line.operation } else { line.label };
            self.problem(ProblemKind::AfterEnd, place, span);
        }
    }

    fn chunk(&mut self, id: FileId, chunk: u32, indexed: &Indexed, openers: &mut Vec<(Place, Span)>) {
        self.segment(id, chunk, 0, 0);
        let mut scopes = vec![(0_u16, self.state.scope)];
        let is_header = self.source(id).is_some_and(|it| it.is_c_header());
        let mut idle = Watch::new(is_header || !self.state.reads());
        let mut off = Watch::new(is_header || self.state.is_off());
        // What a name stands for is not read for the name again.
        let is_replaced = id.expansion().is_some_and(|at| self.unit.expansions[at].body_lines == 0);
        let mut line_before = u16::MAX;
        let mut replaced = u16::MAX;
        for (at, event) in indexed.events.iter().enumerate() {
            if is_header && event.kind != EventKind::Preprocessor {
                continue;
            }
            if self.has_texts
                && !is_replaced
                && event.line != line_before
                && self.state.reads()
                && event.kind != EventKind::Preprocessor
            {
                line_before = event.line;
                if self.replace(Place { file: id, chunk, line: event.line }, indexed) {
                    replaced = event.line;
                    self.has_expanded = false;
                    let next = indexed.events[at..].iter().position(|it| it.line > event.line);
                    self.after_replaced(indexed, event.line, &indexed.events[at..]);
                    self.segment(id, chunk, event.line + 1, (at + next.unwrap_or(indexed.events.len() - at)) as u16);
                    if scopes.last().is_some_and(|it| it.1 != self.state.scope) {
                        scopes.push((event.line + 1, self.state.scope));
                    }
                }
            }
            if event.line == replaced {
                continue;
            }
            if matches!(event.kind, EventKind::Code(_) | EventKind::Instruction(_) | EventKind::Data { .. }) {
                // Most events: they change nothing but the location.
                self.event(id, chunk, indexed, event, None);
                continue;
            }
            let before = self.state.scope;
            let depth = self.depth();
            self.event(id, chunk, indexed, event, indexed.events.get(at + 1));
            let line = &indexed.chunk.lines()[usize::from(event.line)];
            if self.depth() > depth {
                openers.push((Place { file: id, chunk, line: event.line }, line.operation));
            } else if self.depth() < depth {
                openers.pop();
            }
            if self.state.scope != before {
                scopes.push((event.line, self.state.scope));
            }
            idle.note(event.line, is_header || !self.state.reads());
            off.note(event.line, is_header || self.state.is_off());
            let is_include = is_include(indexed, event);
            if is_include && self.state.reads() {
                self.include(id, chunk, event.line, indexed);
            }
            if is_include || std::mem::take(&mut self.has_expanded) {
                // Other lines came between.
                self.segment(id, chunk, event.line + 1, at as u16 + 1);
                if scopes.last().is_some_and(|it| it.1 != self.state.scope) {
                    scopes.push((event.line + 1, self.state.scope));
                }
            }
            if self.state.ended.is_some() {
                // An included file may have ended the source.
                idle.note(event.line, true);
                off.note(event.line, true);
                break;
            }
        }
        let visit = Idle { idle: idle.end(), off: off.end() };
        match self.unit.idle.entry((id, chunk)) {
            Entry::Vacant(entry) => {
                entry.insert(visit);
            }
            Entry::Occupied(mut entry) => entry.get_mut().meet(&visit),
        }
        for (at, found) in indexed.local_uses.iter().enumerate() {
            let scope = scopes[scopes.partition_point(|it| it.0 <= found.line) - 1].1;
            self.pending_locals.push((scope, id, chunk, at as u32));
        }
    }

    /// The rest of an event that begins with a line which another text stands for: instructions behind it in one event.
    fn after_replaced(&mut self, indexed: &Indexed, line: u16, events: &[Event]) {
        for event in events.iter().take_while(|it| it.line == line) {
            if let EventKind::Code(bytes) = event.kind {
                let own = indexed.sizes.get(usize::from(line)).copied().unwrap_or(0);
                self.state.offset += i64::from(bytes) - i64::from(own);
            }
        }
    }

    fn depth(&self) -> usize {
        self.state.conditions.len() + (self.state.macros + self.state.repeats) as usize
    }

    fn segment(&mut self, file: FileId, chunk: u32, first_line: u16, first_event: u16) {
        self.unit.segments.push(Segment { file, chunk, first_line, first_event, state: self.state.clone() });
    }

    fn event(&mut self, file: FileId, chunk: u32, indexed: &Indexed, event: &Event, next: Option<&Event>) {
        let place = Place { file, chunk, line: event.line };
        if !self.is_effective && self.known().is_replaced(place) {
            // What came of it is behind it: the segment there begins with it.
            return;
        }
        let is_structure = matches!(event.kind, EventKind::Directive | EventKind::Macro(_) | EventKind::Preprocessor);
        if !self.state.reads() && !is_structure {
            return;
        }
        self.has_told_odd &= matches!(event.kind, EventKind::Code(_) | EventKind::Instruction(_));
        match event.kind {
            EventKind::Label(symbol) => {
                // A label of aligned data is where the data is.
                if next.is_some_and(|it| it.line == event.line && is_aligned(indexed, it)) {
                    self.align();
                }
                if !symbol.is_local() {
                    self.state.scope += 1;
                }
                let span = indexed.chunk.lines()[usize::from(event.line)].label;
                self.define(symbol, DefinitionKind::Label, place, self.state.location(), span);
            }
            EventKind::Equate(symbol) => {
                let span = self.name_span(indexed, event.line);
                if symbol == self.dot {
                    self.origin(place, indexed);
                } else {
                    self.define(symbol, DefinitionKind::Equate, place, Value::Unknown, span);
                }
            }
            EventKind::Set(_) if !self.is_effective => (),
            EventKind::Set(symbol) => {
                let value = equate_span(self.program, self.known(), place)
                    .map_or(Value::Unknown, |span| self.value(place, span.range()));
                let span = self.name_span(indexed, event.line);
                self.define(symbol, DefinitionKind::Set, place, value, span);
            }
            EventKind::RegisterName(symbol) => {
                let span = self.name_span(indexed, event.line);
                self.define(symbol, DefinitionKind::RegisterName, place, Value::Unknown, span);
                if self.is_effective {
                    self.define_register(place, &self.program.names().text(symbol));
                }
            }
            EventKind::Macro(symbol) => {
                if self.state.reads() {
                    let span = self.name_span(indexed, event.line);
                    self.define(symbol, DefinitionKind::Macro, place, Value::Unknown, span);
                }
                self.state.macros += 1;
            }
            EventKind::Code(bytes) => {
                self.even_instruction(place, indexed);
                self.state.offset += i64::from(bytes);
            }
            EventKind::Instruction(at) => self.instruction(place, indexed, usize::from(at)),
            EventKind::Data { bytes, aligned } => {
                if aligned {
                    self.align();
                }
                self.state.offset += i64::from(bytes);
            }
            EventKind::Call(symbol) => self.call(place, indexed, symbol),
            EventKind::Directive => self.directive(place, indexed),
            EventKind::Preprocessor => self.preprocessor(place, indexed),
        }
    }

    /// Where the name that a line defines stands.
    fn name_span(&self, indexed: &Indexed, line: u16) -> Span {
        let line = &indexed.chunk.lines()[usize::from(line)];
        if !line.label.is_empty() {
            return line.label;
        }
        let first = indexed.chunk.operands(line).into_iter().next().unwrap_or(0..0);
        Span { start: first.start as u16, end: first.end as u16 }
    }

    /// Lets the sections follow each other from the origin on, for whoever wants addresses.
    fn place_sections(&mut self) {
        let current = (self.state.section, self.state.offsets_from.unwrap_or_else(|| self.state.mark()));
        match self.sections.iter_mut().find(|it| it.0 == current.0) {
            Some(section) => *section = current,
            None => self.sections.push(current),
        }
        let mut address = self.settings.origin;
        for base in 0..self.unit.bases.len() {
            if !self.unit.bases[base].is_section {
                continue;
            }
            let alignment = self.unit.bases[base].alignment;
            address += (-address).rem_euclid(alignment);
            self.unit.bases[base].address = Some(address);
            // A section that macros lengthen has no known end: what is known of it counts.
            let ends = self.sections.iter().map(|it| it.1).filter(|it| it.base.0 as usize == base);
            let len = ends.map(|it| it.offset).max().unwrap_or(0);
            address += len + (len & 1);
        }
    }

    /// From here on the address is not known.
    fn unknown(&mut self, is_odd: Option<bool>) {
        self.new_base(BaseInfo { is_odd, is_section: false, alignment: 2, address: None });
    }

    fn new_base(&mut self, info: BaseInfo) {
        // Counted in the state: a replay makes the same bases again.
        let base = Base(self.state.next_base);
        self.state.next_base += 1;
        if self.is_effective {
            self.unit.bases.push(info);
        }
        self.jump(base, 0);
    }

    /// Sets the location to a place that has nothing to do with the one before.
    fn jump(&mut self, base: Base, offset: i64) {
        (self.state.base, self.state.offset) = (base, offset);
        self.piece(None);
    }

    /// Takes the location up again where it was left.
    fn go_on(&mut self, from: Mark) {
        (self.state.base, self.state.offset) = (from.base, from.offset);
        self.piece(Some(from));
    }

    /// Goes to an even address.
    fn align(&mut self) {
        let bases = match self.earlier {
            Some(unit) if !self.is_effective => &unit.bases,
            _ => &self.unit.bases,
        };
        match bases.get(self.state.base.0 as usize).and_then(|it| it.is_odd) {
            Some(odd) => self.state.offset += i64::from(odd ^ (self.state.offset & 1 == 1)),
            None => self.unknown(Some(false)),
        }
    }

    fn define(&mut self, symbol: Symbol, kind: DefinitionKind, place: Place, value: Value, span: Span) {
        if !self.is_effective || symbol == Symbol::EMPTY {
            return;
        }
        let at = self.unit.definitions.len() as u32;
        let is_uncertain = self.state.is_uncertain();
        let definition = Definition {
            symbol,
            kind,
            place,
            value,
            scope: self.state.scope,
            location: self.state.location(),
            is_uncertain,
        };
        self.unit.definitions.push(definition);
        self.marks.push(self.state.mark());
        match kind {
            DefinitionKind::RegisterName => self.unit.registers.push(at),
            DefinitionKind::Macro => self.unit.macros.push(at),
            _ => (),
        }
        if symbol.is_local() {
            let text = self.program.names().text(symbol);
            let is_digits = || text.bytes().all(|it| it.is_ascii_digit());
            if &*text == "@@" || is_digits() && self.unit.dialect(self.program, place.file).is_unix() {
                let digits = Symbol::from_index(symbol.index() as u32);
                self.unit.numeric.entry(digits).or_default().push(at);
                return;
            }
            match self.unit.locals.entry((self.state.scope, symbol)) {
                Entry::Vacant(entry) => {
                    entry.insert(at);
                }
                Entry::Occupied(entry) => {
                    let first = self.unit.definitions[*entry.get() as usize].place;
                    self.problem(ProblemKind::Duplicate(first), place, span);
                }
            }
            return;
        }
        if self.unit.by_symbol.len() <= symbol.index() {
            self.unit.by_symbol.resize(symbol.index() + 1, 0);
        }
        let slot = self.unit.by_symbol[symbol.index()];
        if slot != 0 && kind == DefinitionKind::Set {
            self.unit.set_again.insert(symbol);
        }
        if slot == 0 {
            self.unit.by_symbol[symbol.index()] = at + 1;
            return;
        }
        let first = self.unit.definitions[slot as usize - 1];
        if matches!(kind, DefinitionKind::Set | DefinitionKind::Text) || first.kind == DefinitionKind::External {
            self.unit.by_symbol[symbol.index()] = at + 1;
        } else if kind != DefinitionKind::External && !is_uncertain && !first.is_uncertain && first.place != place {
            self.problem(ProblemKind::Duplicate(first.place), place, span);
        }
    }
}
