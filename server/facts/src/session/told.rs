//! What is told of a session: one function a finding, with its message, its places in source and machine file, and what mends it.

use std::ops::Range;
use std::sync::Arc;

use reveille_decoders::Layout;
use reveille_machine::nearest;
use reveille_program::{FileId, Place};
use reveille_session::verbs::{Changes, VerbKind, spelled_as};
use reveille_session::{Block, Expression, Fault, FaultKind, Interval, Known, Settings, Spanned, Statement, Value};

use super::read::at;
use super::source::MOST_NAMES;
use super::world::Around;
use crate::finding::{Edit, Evidence, Finding, Fix};
use crate::machine::evidence;
use crate::model::Model;

/// Findings of a session.
pub(super) struct Told<'a> {
    pub(super) model: &'a Model,
    pub(super) files: &'a [FileId],
    pub(super) findings: Vec<Finding>,
}

fn listed<'n>(names: impl Iterator<Item = &'n str>) -> String {
    let names: Vec<String> = names.take(MOST_NAMES).map(|it| format!("`{it}`")).collect();
    names.join(", ")
}

pub(super) fn hex(address: i64) -> String {
    format!("${address:06X}")
}

impl<'a> Told<'a> {
    pub(super) fn new(model: &'a Model, files: &'a [FileId], findings: Vec<Finding>) -> Self {
        Self { model, files, findings }
    }

    /// The place of bytes of a statement's script.
    pub(super) fn at(&self, statement: &Statement, span: &Range<usize>) -> Option<Evidence> {
        at(self.model.program(), self.files, statement, span)
    }

    /// The same, where it is inside of one line: an edit of a place cannot reach over its end.
    pub(super) fn at_whole(&self, statement: &Statement, span: &Range<usize>) -> Option<Evidence> {
        self.at(statement, span).filter(|it| usize::from(it.span.end - it.span.start) == span.len())
    }

    pub(super) fn tell(
        &mut self,
        code: &str,
        statement: &Statement,
        span: &Range<usize>,
        message: String,
    ) -> Option<&mut Finding> {
        let at = self.at(statement, span)?;
        let finding = Finding::new(code, at, message);
        // A step in `repeat` or in a script that is included twice is told of once.
        if self.findings.contains(&finding) {
            return None;
        }
        self.findings.push(finding);
        self.findings.last_mut()
    }

    pub(super) fn replace(&self, statement: &Statement, span: &Range<usize>, text: &str) -> Option<Fix> {
        let at = self.at_whole(statement, span)?;
        let edits = vec![Edit { place: at.place, span: at.span, text: text.to_owned() }];
        Some(Fix { title: format!("Write `{text}`"), edits })
    }

    /// A line of its own before a statement.
    fn insert_before(&self, statement: &Statement, line: &str, title: &str) -> Option<Fix> {
        let file = self.model.program().file(*self.files.get(statement.file)?)?;
        let start = file.source().line_start(statement.line);
        let at = evidence(file, statement.span.start..statement.span.start)?;
        let indent = " ".repeat(statement.span.start.saturating_sub(start));
        let edits = vec![Edit { place: at.place, span: at.span, text: format!("{line}\n{indent}") }];
        Some(Fix { title: title.to_owned(), edits })
    }

    pub(super) fn machine_evidence(&self, around: &Around, span: Range<usize>) -> Option<Evidence> {
        evidence(self.model.program().file(around.machine_file?)?, span)
    }

    pub(super) fn machine(&mut self, around: &Around, statements: &[Statement]) {
        let statement = statements.iter().find(|it| it.verb.kind == VerbKind::Machine);
        let names = || around.machine.monitors.iter().map(|it| it.name.as_str());
        let Some((statement, name)) = statement.and_then(|it| Some((it, it.word("machine")?))) else {
            if let Some(first) = statements.first().filter(|_| around.machine.monitors.len() > 1) {
                let message = format!("several machines are known; say which by `machine`: {}", listed(names()));
                self.tell("session-002", first, &first.name, message);
            }
            return;
        };
        if names().any(|it| it == name.value) {
            return;
        }
        let near = nearest(&name.value, names());
        let message = match (around.machine_file, near) {
            (None, _) => format!(
                "no machine file speaks for this script; write `[machine.{}]` into a `{}` beside it or above",
                name.value,
                crate::MACHINE_FILE
            ),
            (_, Some(near)) => format!("the machine file has no `{}`; did you mean `{near}`?", name.value),
            (_, None) if around.machine.monitors.is_empty() => {
                format!("the machine file has no machine; write `[machine.{}]` into it", name.value)
            }
            (_, None) => format!("the machine file has no `{}`; it has {}", name.value, listed(names())),
        };
        let fix = near.and_then(|near| self.replace(statement, &name.span, near));
        if let Some(finding) = self.tell("session-002", statement, &name.span, message) {
            finding.fixes.extend(fix);
        }
    }

    pub(super) fn no_line(&mut self, console: &Statement, around: &Around) {
        let message = match &around.line {
            Some((_, words, _)) => {
                format!(
                    "the source does not say all of the line's settings ({words}); write them out, as in `console 9600 8n1`"
                )
            }
            None => {
                "the source does not say what the line is set to; write it out, as in `console 9600 8n1`".to_owned()
            }
        };
        let related = around.line.as_ref().map(|it| it.2);
        if let Some(finding) = self.tell("session-025", console, &console.span, message) {
            finding.related.extend(related.map(|it| (it, "what is known of it is set here".to_owned())));
        }
    }

    pub(super) fn rate(&mut self, console: &Statement, rate: i64) {
        let message = format!("a line of {rate} bits a second is none; expected 1 to 4000000");
        let span = console.expression("rate").map_or(console.span.clone(), |it| it.span.clone());
        self.tell("session-027", console, &span, message);
    }

    pub(super) fn other_line(&mut self, console: &Statement, own: Settings, source: &str, at: Evidence) {
        let message = format!(
            "the script sets the line to {}, the firmware to {source}; write `console from source`, or find out which holds",
            own.words()
        );
        let fix = self.replace(console, &console.span, "console from source");
        if let Some(finding) = self.tell("session-016", console, &console.span, message) {
            finding.related.push((at, "the firmware sets the line here".to_owned()));
            finding.fixes.extend(fix);
        }
    }

    pub(super) fn no_spelling(&mut self, around: &Around, statement: &Statement, key: &str) {
        let machine =
            around.world.machine.clone().or_else(|| around.machine.monitors.first().map(|it| it.name.clone()));
        let machine = machine.unwrap_or_else(|| "NAME".to_owned());
        let Some(monitor) = &around.world.monitor else {
            let message = format!(
                "nobody says how the machine's monitor is talked to; write `[machine.{machine}.monitor]` with its `prompt`, and `[machine.{machine}.monitor.{key}]` with `send`, into `{}`",
                crate::MACHINE_FILE
            );
            self.tell("session-003", statement, &statement.name, message);
            return;
        };
        let example = spelled_as(key).map_or("...", |it| it.example);
        let near = if statement.verb.kind == VerbKind::Ask {
            nearest(key, monitor.spellings.iter().map(|it| it.key.as_str()))
        } else {
            None
        };
        let hint = near.map(|it| format!("did you mean `{it}`? Else ")).unwrap_or_default();
        let message = format!(
            "the machine's vocabulary has no `{key}`; {hint}write `[machine.{machine}.monitor.{key}]` with `send`, as in `send = \"{example}\"`, into `{}`",
            crate::MACHINE_FILE
        );
        let related = self.machine_evidence(around, monitor.span.clone());
        let word = statement.word("verb").map_or(statement.name.clone(), |it| it.span.clone());
        let fix = near.and_then(|near| self.replace(statement, &word, near));
        if let Some(finding) = self.tell("session-003", statement, &word, message) {
            finding.related.extend(related.map(|it| (it, "the vocabulary is here".to_owned())));
            finding.fixes.extend(fix);
        }
    }

    /// The prompt is waited for, and nobody says what it is.
    pub(super) fn no_prompt(&mut self, around: &Around, statement: &Statement) {
        let machine = around.machine.monitors.first().map_or("NAME", |it| it.name.as_str());
        let message = format!(
            "nobody says what the machine's prompt is; write `[machine.{machine}.monitor]` with `prompt` into `{}`",
            crate::MACHINE_FILE
        );
        self.tell("session-003", statement, &statement.span, message);
    }

    pub(super) fn no_value(&mut self, around: &Around, statement: &Statement, why: &str) {
        let key = statement.vocabulary().unwrap_or_default();
        let spelling = around.world.monitor.as_ref().and_then(|it| it.spelling(&key));
        let related = spelling.and_then(|it| self.machine_evidence(around, it.span.clone()));
        let hint = match statement.verb.kind {
            VerbKind::Ask => "; say it behind the verb, as a name and a value",
            VerbKind::ReadSector | VerbKind::WriteSector => "; say it by `of track`, `of side` or `of drive`",
            VerbKind::Load => "; say it by `into`, or name the file",
            _ => "",
        };
        let message = format!("{why}{hint}");
        if let Some(finding) = self.tell("session-028", statement, &statement.span, message) {
            finding.related.extend(related.map(|it| (it, "what is typed for it is written here".to_owned())));
        }
    }

    pub(super) fn unknown_name(
        &mut self,
        around: &Around,
        statement: &Statement,
        name: &str,
        span: &Range<usize>,
        known: &Known<'_>,
    ) {
        let near = known.bound.keys().map(String::as_str);
        let near = nearest(name, near).map(str::to_owned);
        let near = near
            .or_else(|| around.firmware.units().find_map(|it| crate::source::nearest(self.model.program(), it, name)));
        let hint = match (&near, around.firmware.units.is_empty()) {
            (Some(near), _) => format!("; did you mean `{near}`?"),
            (None, true) => "; no source of a firmware was read beside the script".to_owned(),
            (None, false) => ", and no step before this binds it by `as`".to_owned(),
        };
        let fix = near.and_then(|near| self.replace(statement, span, &near));
        let message = format!("the firmware has no `{name}`{hint}");
        if let Some(finding) = self.tell("session-004", statement, span, message) {
            finding.fixes.extend(fix);
        }
    }

    pub(super) fn unknown_layout(&mut self, statement: &Statement, using: &Spanned<String>, layouts: &[Arc<Layout>]) {
        let near = nearest(&using.value, layouts.iter().map(|it| it.name.as_str()));
        let hint =
            near.map_or_else(|| "see BLOCKS.md for their names".to_owned(), |it| format!("did you mean `{it}`?"));
        let fix = near.and_then(|near| self.replace(statement, &using.span, near));
        let message = format!("nobody knows the layout `{}`; {hint}", using.value);
        if let Some(finding) = self.tell("session-004", statement, &using.span, message) {
            finding.fixes.extend(fix);
        }
    }

    pub(super) fn fault(&mut self, statement: &Statement, fault: &Fault) {
        let code = match fault.kind {
            FaultKind::Name => "session-004",
            FaultKind::Field | FaultKind::Outside | FaultKind::Value => "session-021",
        };
        self.tell(code, statement, &fault.span, fault.message.clone());
    }

    pub(super) fn fits(&mut self, statement: &Statement, value: Interval, span: &Range<usize>, width: i64) {
        let highest = (1_i64 << (8 * width)) - 1;
        if value.known().is_some_and(|it| !(-(highest / 2) - 1..=highest).contains(&it)) {
            let words = if width == 1 {
                "a byte"
            } else if width == 2 {
                "a word"
            } else {
                "a long word"
            };
            let message =
                format!("{} does not fit into {words}, expected 0 to {highest}", Value::Number(value).shown());
            self.tell("session-027", statement, span, message);
        }
    }

    pub(super) fn layout_length(&mut self, statement: &Statement, layout: &Layout, bytes: i64) {
        let Some(range) = statement.range("range") else { return };
        let span = range.span();
        let length = layout.len();
        let message = format!(
            "{bytes} bytes are dumped; `{}` has {length}, so expected {length} or several times that",
            layout.name
        );
        let fix = if range.is_length { self.replace(statement, &range.to.span, &length.to_string()) } else { None };
        if let Some(finding) = self.tell("session-011", statement, &span, message) {
            finding.fixes.extend(fix);
        }
    }

    /// A time that is given, against what the transfer takes.
    pub(super) fn waited(&mut self, statement: &Statement, seconds: f64, line: Option<Settings>) {
        let Some(within) = statement.time("within") else { return };
        if within.value.as_secs_f64() >= seconds {
            return;
        }
        let enough = seconds.ceil().max(1.0);
        let rate = line.map_or(String::new(), |it| format!(" at {} bits a second", it.rate));
        let message = format!("the transfer alone takes {seconds:.1} s{rate}; wait {enough}s or more");
        let fix = self.replace(statement, &within.span, &format!("{enough}s"));
        if let Some(finding) = self.tell("session-017", statement, &within.span, message) {
            finding.fixes.extend(fix);
        }
    }

    /// A text that is waited for: the firmware should have it, and it has to be there in time.
    pub(super) fn awaited(&mut self, around: &Around, statement: &Statement, line: Option<Settings>) {
        let Some(text) = statement.text("text") else {
            if let Some(pattern) = statement.text("pattern")
                && let Err(why) = reveille_session::Pattern::new(&pattern.value)
            {
                let message =
                    format!("this is no regular expression: {why}; a sign that means itself has a `\\` before it");
                self.tell("session-021", statement, &pattern.span, message);
            }
            return;
        };
        let seconds = line.unwrap_or(Settings::USUAL).character() * text.value.chars().count() as f64;
        self.waited(statement, seconds, line);
        let words = text.value.trim();
        if !words.is_empty() && !around.firmware.units.is_empty() && !around.firmware.has_text(words) {
            let message = format!(
                "no text of the firmware has `{words}`; it would be waited for in vain, unless a program that is loaded says it"
            );
            self.tell("session-022", statement, &text.span, message);
        }
    }

    pub(super) fn not_bytes(&mut self, statement: &Statement) {
        let span = statement.text("text").map_or(statement.span.clone(), |it| it.span.clone());
        let message = "a character of this is none of the 256 that the line carries; write it as `\\x`".to_owned();
        self.tell("session-027", statement, &span, message);
    }

    pub(super) fn unconfirmed(&mut self, statement: &Statement, changes: Changes) {
        let what = match changes {
            Changes::Disk => "a disk",
            Changes::Rom => "a ROM",
            _ => "memory that a battery keeps",
        };
        let message = format!(
            "this changes {what}, and nobody was asked before it; write a `confirm` above it, and run it with `--allow {}`",
            changes.name()
        );
        let question = format!("confirm \"Is it a copy, and may {what} be changed?\"");
        let fix = self.insert_before(statement, &question, "Ask before it by `confirm`");
        if let Some(finding) = self.tell("session-020", statement, &statement.span, message) {
            finding.fixes.extend(fix);
        }
    }

    pub(super) fn shadows(&mut self, around: &Around, statement: &Statement, name: &Spanned<String>) {
        let place = around.firmware.definition(&name.value).map(|it| it.1.place);
        let message = format!(
            "the firmware has a `{}` of its own, which cannot be named any more behind this; bind another name",
            name.value
        );
        let program = self.model.program();
        if let Some(finding) = self.tell("session-024", statement, &name.span, message) {
            let at = place.map(|place| Evidence { place, span: reveille_program::definition_span(program, place) });
            finding.related.extend(at.map(|it| (it, "it is defined here".to_owned())));
        }
    }

    pub(super) fn not_bound<'n>(
        &mut self,
        statement: &Statement,
        name: &Spanned<String>,
        bound: impl Iterator<Item = &'n String>,
    ) {
        let near = nearest(&name.value, bound.map(String::as_str));
        let hint = near.map_or_else(|| "bind it by `as` before".to_owned(), |it| format!("did you mean `{it}`?"));
        let fix = near.and_then(|near| self.replace(statement, &name.span, near));
        let message = format!("no step on the way here binds `{}`; {hint}", name.value);
        if let Some(finding) = self.tell("session-004", statement, &name.span, message) {
            finding.fixes.extend(fix);
        }
    }

    pub(super) fn no_bytes(&mut self, statement: &Statement, name: &Spanned<String>) {
        let message = format!("`{}` is a reply that has no bytes to keep; the log has it", name.value);
        self.tell("session-021", statement, &name.span, message);
    }

    pub(super) fn written_twice(&mut self, at: Evidence, file: &str, first: Evidence) {
        let message = format!("`{file}` is written already; give each its own name");
        self.findings.push(Finding::new("session-026", at, message).related(first, "the first is here"));
    }

    /// A block that is held against the source.
    pub(super) fn matches(&mut self, around: &Around, statement: &Statement, condition: &Expression, block: &Block) {
        let Some(address) = block.address else { return };
        let length = i64::try_from(block.bytes.len()).unwrap_or(0);
        let source = around.world.block(address..address + length, None);
        let missing = source.bytes.iter().filter(|it| it.is_none()).count();
        if missing > 0 {
            let message = format!(
                "of the {length} bytes from {} the source says {}; the others can be held against nothing",
                hex(address),
                source.bytes.len() - missing
            );
            self.tell("session-021", statement, &condition.span, message);
        }
    }

    /// A condition of which something is known now.
    pub(super) fn decided(
        &mut self,
        around: &Around,
        statement: &Statement,
        condition: &Expression,
        value: Interval,
        asks_machine: bool,
        known: &Known<'_>,
    ) {
        let holds = match value {
            Interval { low: 0, high: 0 } => false,
            Interval { low, high } if low > 0 || high < 0 => true,
            _ => return,
        };
        // What is known by the source is what the machine is asked whether it has it.
        let parts = condition.parts(known);
        let by_source = asks_machine && parts.iter().all(|it| it.1.known().is_some());
        let shown: Vec<String> =
            parts.iter().map(|it| format!("`{}` is {}", it.0, Value::Number(it.1).shown())).collect();
        let shown = if shown.is_empty() { String::new() } else { format!(": {}", shown.join(", ")) };
        let (code, message) = match (holds, by_source, asks_machine) {
            (true, true, _) => return,
            (false, true, _) => (
                "session-018",
                format!("by the source this does not hold{shown}; mend the check, or the source is another"),
            ),
            (false, false, true) => ("session-019", format!("this can never hold{shown}; mend it")),
            (true, false, true) => {
                ("session-019", format!("this always holds, whatever the machine says{shown}; mend it"))
            }
            (holds, _, false) => {
                let what = if holds { "always" } else { "never" };
                (
                    "session-019",
                    format!("this {what} holds, since nothing of it comes from the machine; use what a step has bound"),
                )
            }
        };
        let related = condition.parts_at(known).find_map(|it| around.firmware.line_at(it).map(|it| it.0));
        let program = self.model.program();
        if let Some(finding) = self.tell(code, statement, &condition.span, message) {
            let at = related.map(|place| Evidence { place, span: line_span(program, place) });
            finding.related.extend(at.map(|it| (it, "the source lays it down here".to_owned())));
        }
    }
}

/// All of a line but its comment.
fn line_span(program: &reveille_program::Program, place: Place) -> reveille_source::Span {
    let Some(file) = program.file(place.file) else { return reveille_source::Span::default() };
    let (_, line, text) = file.at(place.chunk, place.line);
    let end = if line.comment.is_empty() { text.len() } else { usize::from(line.comment.start) };
    let end = text[..end.min(text.len())].trim_end().len();
    let start = text.len() - text.trim_start().len();
    let column = |it: usize| u16::try_from(it).unwrap_or(u16::MAX);
    reveille_source::Span { start: column(start.min(end)), end: column(end) }
}
