//! The walk over a session's statements: what each asks, what is known behind it, and what is wrong with it.

use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;
use std::time::Duration;

use reveille_session::verbs::{Changes, Group, VerbKind};
use reveille_session::{
    Block, Expression, Fault, Flow, Interval, Known, Node, RegionKind, Request, Settings, Statement, Unasked, Value,
    request,
};

use super::read::Read;
use super::source::Firmware;
use super::told::Told;
use super::world::{Around, around};
use super::{NamedValue, SessionFact, StepFact};
use crate::finding::Evidence;
use crate::model::Model;

/// What is known at a point of the session.
#[derive(Clone, Default)]
struct State {
    /// What `as` has bound.
    bound: HashMap<String, Value>,
    /// Where something was loaded: addresses, if they are known.
    loaded: Vec<Option<Range<i64>>>,
    /// Whether the person who watches was asked.
    is_confirmed: bool,
    /// What was typed and not ended yet.
    typed: String,
}

struct Walk<'a> {
    around: &'a Around,
    told: Told<'a>,
    state: State,
    steps: Vec<StepFact>,
    /// Files that are written, and where the script says so.
    written: Vec<(String, Evidence)>,
}

/// Holds a script against the firmware.
pub(super) fn session(model: &Model, firmwares: &mut Vec<Arc<Firmware>>, read: Read) -> SessionFact {
    let Read { files, statements, findings } = read;
    let program = model.program();
    let file = program.file(files[0]);
    let named = statements.iter().find(|it| it.verb.kind == VerbKind::Machine).and_then(|it| it.word("machine"));
    let path = file.map_or(std::path::Path::new(""), |it| it.path());
    let mut around = around(model, firmwares, path, named.map(|it| it.value.as_str()));
    let mut told = Told::new(model, &files, findings);
    told.machine(&around, &statements);
    talk(&mut around, &statements);
    line(&mut around, &mut told, &statements);
    let mut walk = Walk { around: &around, told, state: State::default(), steps: Vec::new(), written: Vec::new() };
    walk.all(&statements);
    let (steps, findings) = (walk.steps, walk.told.findings);
    let machine_file = around.machine_file;
    let firmware = around.firmware.clone();
    SessionFact {
        file: files[0],
        files,
        statements,
        world: Arc::new(around.world),
        machine_file,
        source_line: around.line,
        steps,
        findings,
        firmware,
    }
}

/// How the monitor is talked to, where the script says it otherwise than the machine file.
fn talk(around: &mut Around, statements: &[Statement]) {
    let Some(monitor) = &mut around.world.monitor else { return };
    let of = |kind: VerbKind| statements.iter().find(|it| it.verb.kind == kind);
    if let Some(pace) = of(VerbKind::Pace) {
        let time = |role: &str| pace.time(role).map_or(Duration::ZERO, |it| it.value);
        Arc::make_mut(monitor).pace = (time("pace"), time("line"));
    }
    if let Some(flow) = of(VerbKind::Console).and_then(|it| it.word("flow")) {
        Arc::make_mut(monitor).flow = Flow::from_name(&flow.value);
    }
}

/// The line's settings: those of the script, held against those of the source.
fn line(around: &mut Around, told: &mut Told<'_>, statements: &[Statement]) {
    let Some(console) = statements.iter().find(|it| it.verb.kind == VerbKind::Console) else { return };
    if console.has("source") {
        if around.world.line.is_none() {
            told.no_line(console, around);
        }
        return;
    }
    let rate = console.expression("rate").and_then(|it| it.number(&Known::new(&around.world)).ok()?.known());
    let frame = console.frame("frame").map(|it| it.value);
    let (Some(rate), Some((data, parity, stop))) = (rate, frame) else { return };
    let Some(rate) = u32::try_from(rate).ok().filter(|it| (1..=4_000_000).contains(it)) else {
        told.rate(console, rate);
        return;
    };
    let own = Settings { rate, data, parity, stop };
    if let Some((Some(source), words, at)) = &around.line
        && *source != own
    {
        told.other_line(console, own, words, *at);
    }
    around.world.line = Some(own);
}

impl<'a> Walk<'a> {
    fn all(&mut self, statements: &[Statement]) {
        for statement in statements {
            self.one(statement);
        }
    }

    fn known(&self) -> Known<'a> {
        Known { world: &self.around.world, bound: self.state.bound.clone() }
    }

    fn one(&mut self, statement: &Statement) {
        let known = self.known();
        let mut step = self.step(statement, &known);
        let faults = self.faults(statement, &known);
        if matches!(statement.verb.kind, VerbKind::If | VerbKind::Repeat | VerbKind::Include) {
            // It comes before the steps that are in it.
            self.steps.extend(step.take());
        }
        match statement.verb.kind {
            VerbKind::If => self.branches(statement),
            VerbKind::Repeat => self.repeat(statement, &known),
            VerbKind::Include => self.all(&statement.body),
            VerbKind::Confirm => self.state.is_confirmed = true,
            VerbKind::Press | VerbKind::Send => self.typing(statement, &mut step),
            VerbKind::Await if statement.has("prompt") && self.around.world.monitor.is_none() => {
                self.told.no_prompt(self.around, statement);
            }
            VerbKind::Await => self.told.awaited(self.around, statement, self.around.world.line),
            VerbKind::Check if !faults => self.check(statement, &known),
            VerbKind::Keep => self.keep(statement),
            VerbKind::Log => self.writes(statement),
            _ if statement.verb.group == Group::Asking => self.asks(statement, &known, faults, &mut step),
            _ => (),
        }
        if statement.verb.group != Group::Head {
            self.steps.extend(step);
        }
    }

    /// The step as a fact, before anything is known of what it asks.
    fn step(&self, statement: &Statement, known: &Known<'_>) -> Option<StepFact> {
        let at = self.told.at(statement, &statement.name)?;
        let span = self.told.at(statement, &statement.span)?;
        let names = statement.expressions().into_iter().flat_map(Expression::names).filter_map(|(name, span)| {
            let is_bound = known.bound.contains_key(name);
            let found = if is_bound { None } else { self.around.firmware.definition(name) };
            let value = match known.bound.get(name) {
                Some(Value::Number(it)) => Some(*it),
                Some(_) => None,
                None => found.map(|it| Interval::exactly(it.2)),
            };
            let at = self.told.at(statement, span)?;
            Some(NamedValue { at, name: name.to_owned(), value, defined: found.map(|it| it.1.place) })
        });
        let names = names.collect();
        let verb = statement.verb;
        let (typed, range) = (Vec::new(), None);
        Some(StepFact { at, span, verb, typed, range, seconds: 0.0, changes: Changes::Nothing, names, binds: None })
    }

    /// Tells of what cannot be worked out in a statement's values; whether there is any.
    fn faults(&mut self, statement: &Statement, known: &Known<'_>) -> bool {
        let mut found = false;
        for expression in statement.expressions() {
            let unknown: Vec<(&str, &Range<usize>)> = expression
                .names()
                .into_iter()
                .filter(|it| reveille_session::Names::name(known, it.0).is_none())
                .collect();
            for (name, span) in &unknown {
                self.told.unknown_name(self.around, statement, name, span, known);
            }
            found |= !unknown.is_empty();
            if unknown.is_empty()
                && let Err(fault) = expression.value(known)
            {
                self.told.fault(statement, &fault);
                found = true;
            }
        }
        found
    }

    fn branches(&mut self, statement: &Statement) {
        let before = self.state.clone();
        self.all(&statement.body);
        let held = std::mem::replace(&mut self.state, before);
        self.all(&statement.otherwise);
        // Behind both, only what both have done is sure; a value that differs is not known.
        let other = &mut self.state;
        other.is_confirmed &= held.is_confirmed;
        other.loaded.extend(held.loaded);
        other.bound = held
            .bound
            .into_iter()
            .filter_map(|(name, value)| {
                let same = other.bound.get(&name)?;
                let value = if *same == value { value } else { Value::Unknown };
                Some((name, value))
            })
            .collect();
        if held.typed != other.typed {
            other.typed.clear();
        }
    }

    fn repeat(&mut self, statement: &Statement, known: &Known<'_>) {
        let count = statement.expression("count").and_then(|it| it.number(known).ok());
        let was_confirmed = self.state.is_confirmed;
        self.all(&statement.body);
        if count.is_none_or(|it| it.low < 1) {
            self.state.is_confirmed = was_confirmed;
        }
    }

    /// What is typed without the vocabulary: a whole line of it may be a command that changes something.
    fn typing(&mut self, statement: &Statement, step: &mut Option<StepFact>) {
        let text = match (statement.text("text"), statement.key("key")) {
            (Some(text), _) => text.value.clone(),
            (None, Some(key)) => char::from(key.value).to_string(),
            _ => return,
        };
        if reveille_session::text_bytes(&text).is_none() {
            self.told.not_bytes(statement);
        }
        let Some(monitor) = &self.around.world.monitor else { return };
        for character in text.chars() {
            if character == '\r' || character == '\n' {
                let changes = monitor.changes_by(&self.state.typed);
                self.changes(statement, changes, step);
                self.state.typed.clear();
            } else if character == '\x08' || character == '\x7f' {
                self.state.typed.pop();
            } else {
                self.state.typed.push(character);
            }
        }
    }

    fn changes(&mut self, statement: &Statement, changes: Changes, step: &mut Option<StepFact>) {
        if let Some(step) = step {
            step.changes = step.changes.max(changes);
        }
        if changes.needs_confirm() && !self.state.is_confirmed {
            self.told.unconfirmed(statement, changes);
        }
    }

    fn asks(&mut self, statement: &Statement, known: &Known<'a>, faults: bool, step: &mut Option<StepFact>) {
        self.state.typed.clear();
        let asked = if faults { None } else { self.asked(statement, known) };
        if let Some(request) = &asked {
            let seconds = request.seconds(&self.around.world);
            if let Some(step) = step {
                const MOST: usize = 4;
                step.typed = request.commands.iter().take(MOST).map(|it| it.typed.clone()).collect();
                if let Some(more) = request.commands.len().checked_sub(MOST).filter(|it| *it > 0) {
                    step.typed.push(format!("... and {more} more"));
                }
                let name = |range: &Range<i64>| self.around.world.region_at(range.start).map(|it| it.name.clone());
                step.range = request.range.as_ref().map(|it| (it.clone(), name(it)));
                step.seconds = seconds;
            }
            // That there is ROM is told of by itself.
            let is_rom = request.spelling.changes != request.changes && request.changes == Changes::Rom;
            self.changes(statement, if is_rom { Changes::Memory } else { request.changes }, step);
            self.told.waited(statement, seconds, self.around.world.line);
        }
        if !faults {
            self.addresses(statement, known);
        }
        self.binds(statement, known, faults, step);
    }

    fn asked(&mut self, statement: &Statement, known: &Known<'a>) -> Option<Request<'a>> {
        match request(statement, known) {
            Ok(request) => Some(request),
            Err(Unasked::NoMonitor) => {
                self.told.no_spelling(self.around, statement, &statement.vocabulary().unwrap_or_default());
                None
            }
            Err(Unasked::NoSpelling(key)) => {
                self.told.no_spelling(self.around, statement, &key);
                None
            }
            Err(Unasked::Fault(fault)) => {
                self.told.fault(statement, &fault);
                None
            }
            Err(Unasked::Template(why)) => {
                self.told.no_value(self.around, statement, &why);
                None
            }
            Err(Unasked::NotYet) => None,
        }
    }

    /// What a statement's addresses and places on a disk are held against.
    fn addresses(&mut self, statement: &Statement, known: &Known<'a>) {
        let number = |role: &str| {
            let expression = statement.expression(role)?;
            Some((expression.number(known).ok()?, expression))
        };
        if let Some(range) = statement.range("range")
            && let Some(bounds) = range.bounds(known).ok().and_then(reveille_session::Bounds::known)
        {
            let writes = statement.verb.kind == VerbKind::Fill;
            if self.told.range(self.around, statement, &range.span(), &bounds, writes) && !writes {
                self.layout(statement, &bounds);
            }
        }
        if let Some((value, expression)) = number("value") {
            let width = reveille_session::width(statement);
            self.told.fits(statement, value, &expression.span, width);
        }
        match statement.verb.kind {
            VerbKind::Poke => {
                if let Some((Some(at), expression)) = number("at").map(|it| (it.0.known(), it.1)) {
                    let width = reveille_session::width(statement);
                    self.told.even(statement, at, &expression.span, width);
                    self.told.range(self.around, statement, &expression.span, &(at..at + width), true);
                }
            }
            VerbKind::ReadSector | VerbKind::WriteSector => {
                for role in ["sector", "track", "side", "drive"] {
                    if let Some((value, expression)) = number(role) {
                        let by_track = statement.expression("track").is_some();
                        self.told.place(self.around, statement, role, by_track, value, &expression.span);
                    }
                }
                let role = if statement.verb.kind == VerbKind::ReadSector { "into" } else { "from" };
                let bytes = self.around.world.geometry.map_or(512, |it| it.sector_bytes);
                self.buffer(statement, role, bytes, known);
            }
            VerbKind::Load => {
                let into = number("into").and_then(|it| it.0.known());
                if into.is_some() {
                    self.buffer(statement, "into", 1, known);
                }
                self.state.loaded.push(None);
            }
            VerbKind::Start => {
                if let Some((Some(at), expression)) = number("at").map(|it| (it.0.known(), it.1)) {
                    self.told.even(statement, at, &expression.span, 2);
                    self.start(statement, at, &expression.span);
                }
            }
            _ => (),
        }
    }

    /// A buffer that the machine reads a sector into, or writes it from.
    fn buffer(&mut self, statement: &Statement, role: &str, bytes: i64, known: &Known<'_>) {
        let Some(expression) = statement.expression(role) else { return };
        let Some(at) = expression.number(known).ok().and_then(Interval::known) else { return };
        let writes = role == "into";
        if self.told.range(self.around, statement, &expression.span, &(at..at.saturating_add(bytes)), writes) && writes
        {
            self.state.loaded.push(Some(at..at + bytes));
        }
    }

    fn start(&mut self, statement: &Statement, at: i64, span: &Range<usize>) {
        let region = self.around.world.region_at(at);
        let Some(region) = region else {
            self.told.outside(self.around, statement, span, at);
            return;
        };
        if region.kind == RegionKind::Device {
            self.told.start_in_device(statement, span, &region.name);
            return;
        }
        if let Some((place, is_code)) = self.around.firmware.line_at(at) {
            if !is_code {
                self.told.start_at_data(statement, at, span, place);
            }
            // What the source itself lays there is known; whether the machine has it in RAM is not.
            if region.kind == RegionKind::Rom {
                return;
            }
        }
        if region.kind == RegionKind::Rom {
            return;
        }
        if self.state.loaded.is_empty() {
            self.told.nothing_loaded(statement, at, span);
        } else if self.state.loaded.iter().all(|it| it.as_ref().is_some_and(|it| !it.contains(&at))) {
            self.told.not_loaded(statement, at, span);
        }
    }

    /// A layout that is named, against the range that is dumped.
    fn layout(&mut self, statement: &Statement, bounds: &Range<i64>) {
        let Some(using) = statement.word("using") else { return };
        let layouts = &self.around.machine.layouts;
        match layouts.iter().find(|it| it.is_called(&using.value)) {
            None => self.told.unknown_layout(statement, using, layouts),
            Some(layout) => {
                let (length, bytes) = (i64::try_from(layout.len()).unwrap_or(i64::MAX), bounds.end - bounds.start);
                if length > 0 && bytes % length != 0 {
                    self.told.layout_length(statement, layout, bytes);
                }
            }
        }
    }

    /// What a step binds, as far as it is known now.
    fn binds(&mut self, statement: &Statement, known: &Known<'a>, faults: bool, step: &mut Option<StepFact>) {
        let Some(name) = statement.word("as") else { return };
        if self.around.firmware.definition(&name.value).is_some() {
            self.told.shadows(self.around, statement, name);
        }
        let bounds = statement.range("range").and_then(|it| it.bounds(known).ok()?.known());
        let value = match (statement.verb.kind, bounds.filter(|it| !faults && it.start < it.end)) {
            (VerbKind::Dump, Some(range)) if range.end - range.start <= reveille_session::MOST_BYTES => {
                let layout = statement.word("using").map(|it| it.value.as_str());
                // What lies in RAM is not what the source says, even where it lays something down there.
                let is_rom = self.around.world.region_at(range.start).is_none_or(|it| it.kind == RegionKind::Rom);
                Value::Block(if is_rom {
                    self.around.world.block(range, layout)
                } else {
                    let length = usize::try_from(range.end - range.start).unwrap_or(0);
                    let layout = layout.map(str::to_owned);
                    Block { address: Some(range.start), bytes: vec![None; length], layout, groups: Vec::new() }
                })
            }
            (VerbKind::Ask, _) => {
                let key = statement.vocabulary().unwrap_or_default();
                let spelling = self.around.world.monitor.as_ref().and_then(|it| it.spelling(&key));
                match spelling.map(reveille_session::groups).filter(|it| !it.is_empty()) {
                    Some(groups) => Value::Block(Block { groups, ..Block::default() }),
                    None => Value::Unknown,
                }
            }
            _ => Value::Unknown,
        };
        if let (Some(step), Some(at)) = (step, self.told.at(statement, &name.span)) {
            step.binds = Some((name.value.clone(), at, value.clone()));
        }
        self.state.bound.insert(name.value.clone(), value);
    }

    fn check(&mut self, statement: &Statement, known: &Known<'a>) {
        let Some(condition) = statement.expression("condition") else { return };
        if statement.has("source") {
            match condition.value(known) {
                Ok(Value::Block(block)) => self.told.matches(self.around, statement, condition, &block),
                Ok(Value::Unknown) | Err(_) => (),
                Ok(other) => {
                    let message = format!("this is {}, expected a block that a step has bound by `as`", other.kind());
                    let kind = reveille_session::FaultKind::Value;
                    self.told.fault(statement, &Fault { span: condition.span.clone(), kind, message });
                }
            }
            return;
        }
        if statement.text("file").is_some() {
            return;
        }
        let Ok(value) = condition.number(known) else {
            if let Err(fault) = condition.number(known) {
                self.told.fault(statement, &fault);
            }
            return;
        };
        let mut asks_machine = false;
        condition.visit(&mut |it| {
            asks_machine |= matches!(&it.node, Node::Name(name) if known.bound.contains_key(name));
        });
        self.told.decided(self.around, statement, condition, value, asks_machine, known);
    }

    fn keep(&mut self, statement: &Statement) {
        if let Some(name) = statement.word("name") {
            match self.state.bound.get(&name.value) {
                Some(Value::Block(block)) if !block.groups.is_empty() => self.told.no_bytes(statement, name),
                Some(_) => (),
                None => self.told.not_bound(statement, name, self.state.bound.keys()),
            }
        }
        self.writes(statement);
    }

    fn writes(&mut self, statement: &Statement) {
        let Some(file) = statement.text("file") else { return };
        let Some(at) = self.told.at(statement, &file.span) else { return };
        match self.written.iter().find(|it| it.0 == file.value) {
            Some((_, first)) => self.told.written_twice(at, &file.value, *first),
            None => self.written.push((file.value.clone(), at)),
        }
    }
}

impl Firmware {
    /// The line that lays down the byte at an address, and whether it is an instruction.
    pub(super) fn line_at(&self, address: i64) -> Option<(reveille_program::Place, bool)> {
        self.images().find_map(|(_, image)| {
            let line = image.lines().get(image.line_at(address)?)?;
            Some((line.place, line.is_code))
        })
    }
}
