//! Goes through a session's statements.

use std::collections::HashMap;
use std::io::Write;
use std::time::Duration;

use reveille_session::verbs::{Changes, VerbKind};
use reveille_session::{
    Block, Expression, Flow, Known, Monitor, Pattern, Request, Settings, Statement, Value, World, request, text_bytes,
};

use crate::exchange::{Trouble, ask, dumped, grouped, recover, refusal};
use crate::line::Line;
use crate::log::Log;
use crate::report::{Report, StageReport, StepReport, Verdict};
use crate::said::{Failure, compared, fault, last_line, summary, unasked, unknown};
use crate::stream::{Broken, Stream, Until};
use crate::watch::{Answer, Files, Watch};

/// How a session is played.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// What may be changed on the machine.
    pub allowed: Vec<Changes>,
    /// The stage to begin with; all before it is left out.
    pub from: Option<String>,
    /// How often a step that changes nothing is asked again where the line was at fault.
    pub again: u32,
    /// How long each statement is expected to take, by its script and where it starts there.
    pub expected: HashMap<(usize, usize), Duration>,
    /// The texts of the scripts.
    pub texts: Vec<String>,
}

/// What answers take beside the transfer, where nobody says more. Common practice, no source.
const ANSWER: Duration = Duration::from_secs(5);
/// What a person's text is waited for where the script does not say it.
const AWAITED: Duration = Duration::from_secs(30);
/// What may come before what is waited for.
const MOST_AWAITED: usize = 1 << 20;
/// How often a `repeat` may go round.
const MOST_TIMES: i64 = 1_000_000;

/// Plays a session.
pub struct Player<'a, L: Line, W: Write> {
    known: Known<'a>,
    stream: Stream<'a, L, W>,
    files: &'a mut dyn Files,
    options: Options,
    monitor: Option<Monitor>,
    is_confirmed: bool,
    /// What was typed by `press` and `send`, and not ended yet.
    typed: String,
    stages: Vec<StageReport>,
    notes: Vec<String>,
    left: Duration,
    /// What was bound in a stage that is left out.
    left_out: Vec<String>,
}

impl<'a, L: Line, W: Write> Player<'a, L, W> {
    /// A player of a world, on a line, with a log.
    #[must_use]
    pub fn new(
        world: &'a World,
        line: L,
        log: Log<W>,
        watch: &'a mut dyn Watch,
        files: &'a mut dyn Files,
        options: Options,
    ) -> Self {
        let monitor = world.monitor.as_deref().cloned();
        let character = Duration::from_secs_f64(world.line.unwrap_or(Settings::USUAL).character());
        let follows_xon = monitor.as_ref().is_some_and(|it| it.flow == Some(Flow::Characters));
        Self {
            known: Known::new(world),
            stream: Stream::new(line, log, watch, character, follows_xon),
            files,
            options,
            monitor,
            is_confirmed: false,
            typed: String::new(),
            stages: vec![StageReport::default()],
            notes: Vec::new(),
            left: Duration::ZERO,
            left_out: Vec::new(),
        }
    }

    /// Plays the statements of a session to their end, or to the first step that fails.
    pub fn play(mut self, statements: &[Statement]) -> Report {
        let mut titles = Vec::new();
        let mut start = 0;
        for (at, statement) in statements.iter().enumerate() {
            if let Some(title) = statement.text("title") {
                titles.push(title.value.clone());
                if self.options.from.as_ref() == Some(&title.value) {
                    start = at;
                }
            }
        }
        for statement in &statements[..start] {
            if let Some(title) = statement.text("title") {
                self.stages.push(StageReport { title: title.value.clone(), ..StageReport::default() });
            }
            statement.visit(&mut |it| self.left_out.extend(it.word("as").map(|it| it.value.clone())));
        }
        self.left = statements[start..].iter().map(|it| self.expected(it)).sum();
        let result = self.all(&statements[start..]);
        if let Err(verdict) = result {
            self.leave_clean(verdict);
            let done = self.stages.iter().filter(|it| !it.title.is_empty()).count();
            let left_out = titles.into_iter().skip(done);
            self.stages.extend(left_out.map(|title| StageReport { title, ..StageReport::default() }));
        }
        self.stages.retain(|it| !it.title.is_empty() || !it.steps.is_empty());
        for stage in &mut self.stages {
            stage.verdict = stage.steps.iter().map(|it| it.verdict).max().unwrap_or(stage.verdict);
        }
        Report {
            verdict: result.err().unwrap_or(Verdict::Held),
            took: self.stream.now(),
            sent: self.stream.sent,
            came: self.stream.came,
            stages: self.stages,
            notes: self.notes,
        }
    }

    /// How long a statement is expected to take, with those in it.
    fn expected(&self, statement: &Statement) -> Duration {
        let own = self.options.expected.get(&(statement.file, statement.span.start)).copied().unwrap_or_default();
        let own = own + statement.time("time").map_or(Duration::ZERO, |it| it.value);
        let times = match statement.verb.kind {
            VerbKind::Repeat => statement.expression("count").and_then(|it| it.number(&self.known).ok()?.known()),
            _ => None,
        };
        let times = u32::try_from(times.unwrap_or(1).clamp(0, 100_000)).unwrap_or(1);
        let inner: Duration = statement.body.iter().chain(&statement.otherwise).map(|it| self.expected(it)).sum();
        own + inner.saturating_mul(times)
    }

    fn all(&mut self, statements: &[Statement]) -> Result<(), Verdict> {
        statements.iter().try_for_each(|it| self.one(it))
    }

    fn one(&mut self, statement: &Statement) -> Result<(), Verdict> {
        match statement.verb.kind {
            VerbKind::Machine | VerbKind::Console | VerbKind::Log | VerbKind::Pace | VerbKind::Else | VerbKind::End => {
                return Ok(());
            }
            VerbKind::Stage => {
                let title = statement.text("title").map(|it| it.value.clone()).unwrap_or_default();
                let noted = self.stream.log.note(&format!("stage {title:?}"));
                self.stream.watch.stage(&title);
                self.stages.push(StageReport { title, verdict: Verdict::Held, steps: Vec::new() });
                return match noted {
                    Ok(()) => Ok(()),
                    Err(error) => self.ended(statement, Duration::ZERO, Broken::Log(error).into()),
                };
            }
            VerbKind::Include => return self.all(&statement.body),
            _ => (),
        }
        let start = self.stream.now();
        let text = self.text(statement);
        let shown = text.lines().next().unwrap_or_default().to_owned();
        self.stream.watch.step(statement.line, &shown, self.left);
        let expected = self.options.expected.get(&(statement.file, statement.span.start)).copied().unwrap_or_default();
        self.left = self.left.saturating_sub(expected);
        if let Err(error) = self.stream.log.note(&format!("line {}: {shown}", statement.line + 1)) {
            return self.ended(statement, start, Broken::Log(error).into());
        }
        match statement.verb.kind {
            VerbKind::If => match self.truth(statement) {
                Ok(true) => self.all(&statement.body),
                Ok(false) => self.all(&statement.otherwise),
                Err(failure) => self.ended(statement, start, failure),
            },
            VerbKind::Repeat => match self.number(statement, "count") {
                Ok(Some(count)) if count <= MOST_TIMES => (0..count).try_for_each(|_| self.all(&statement.body)),
                Ok(_) => self.ended(statement, start, Failure::refused("this is no count of times")),
                Err(failure) => self.ended(statement, start, failure),
            },
            _ => {
                let mut step = self.report(statement);
                match self.step(statement, &mut step) {
                    Ok(()) => {
                        step.verdict = Verdict::Held;
                        step.took = self.stream.now().saturating_sub(start);
                        self.stream.watch.done(&step);
                        self.push(step);
                        Ok(())
                    }
                    Err(failure) => self.broke(step, start, failure),
                }
            }
        }
    }

    fn report(&self, statement: &Statement) -> StepReport {
        StepReport { file: statement.file, line: statement.line, text: self.text(statement), ..StepReport::default() }
    }

    fn text(&self, statement: &Statement) -> String {
        let text = self.options.texts.get(statement.file).and_then(|it| it.get(statement.span.clone()));
        text.unwrap_or(statement.verb.name).to_owned()
    }

    fn push(&mut self, step: StepReport) {
        if let Some(stage) = self.stages.last_mut() {
            stage.verdict = stage.verdict.max(step.verdict);
            stage.steps.push(step);
        }
    }

    fn ended(&mut self, statement: &Statement, start: Duration, failure: Failure) -> Result<(), Verdict> {
        let step = self.report(statement);
        self.broke(step, start, failure)
    }

    fn broke(&mut self, mut step: StepReport, start: Duration, failure: Failure) -> Result<(), Verdict> {
        step.verdict = failure.verdict;
        step.took = self.stream.now().saturating_sub(start);
        step.message = failure.message;
        step.refusal = failure.refusal;
        // A log that cannot be written has been told of as the failure itself.
        let _ = self.stream.log.note(&format!("{}: {}", step.verdict.name(), step.message));
        self.stream.watch.done(&step);
        self.push(step);
        Err(failure.verdict)
    }

    /// Leaves no half-typed line behind, if the machine says how.
    fn leave_clean(&mut self, verdict: Verdict) {
        let Some(monitor) = self.monitor.clone() else { return };
        if verdict == Verdict::Stopped {
            let note = match &monitor.cancel {
                Some(keys) => match self.stream.send(keys) {
                    Ok(()) => "a line that was being typed is thrown away",
                    Err(_) => "the line is as it was",
                },
                None if self.typed.is_empty() => "nothing is typed and not ended by `press` or `send`",
                None => "what was typed last stands at the machine's prompt and was not ended: rub it out there",
            };
            let _ = self.stream.log.note(note);
            self.notes.push(note.to_owned());
        }
    }

    fn step(&mut self, statement: &Statement, step: &mut StepReport) -> Result<(), Failure> {
        step.advice = None;
        self.stream.begin();
        let result = match statement.verb.kind {
            VerbKind::Press | VerbKind::Send => self.typing(statement, step),
            VerbKind::Await => self.awaits(statement, step),
            VerbKind::Pause => {
                let time = statement.time("time").map_or(Duration::ZERO, |it| it.value);
                self.stream.pause(self.stream.now() + time).map_err(Failure::from)
            }
            VerbKind::Confirm => self.confirm(statement),
            VerbKind::Check => self.check(statement, step),
            VerbKind::Keep => self.keep(statement, step),
            _ => self.asks(statement, step),
        };
        if result.is_err() {
            step.advice = statement.text("stop").map(|it| it.value.clone());
            if !matches!(statement.verb.kind, VerbKind::Check | VerbKind::Keep | VerbKind::Confirm) {
                step.came = self.stream.told();
            }
        }
        result
    }

    /// Refuses what may not be changed, or was not confirmed.
    fn permit(&self, changes: Changes) -> Result<(), Failure> {
        if changes == Changes::Nothing {
            return Ok(());
        }
        let name = changes.name();
        if !self.options.allowed.contains(&changes) {
            return Err(Failure::refused(format!("this changes {name}; it is done only with `--allow {name}`")));
        }
        if changes.needs_confirm() && !self.is_confirmed {
            return Err(Failure::refused(format!("this changes {name}, and nobody was asked by `confirm` before it")));
        }
        Ok(())
    }

    fn typing(&mut self, statement: &Statement, step: &mut StepReport) -> Result<(), Failure> {
        let text = match (statement.text("text"), statement.key("key")) {
            (Some(text), _) => text.value.clone(),
            (None, Some(key)) => char::from(key.value).to_string(),
            _ => String::new(),
        };
        let bytes = text_bytes(&text).ok_or_else(|| Failure::refused("the line cannot carry a character of this"))?;
        let pace = self.monitor.as_ref().map_or((Duration::ZERO, Duration::ZERO), |it| it.pace);
        for byte in bytes {
            let ends = matches!(byte, b'\r' | b'\n');
            if ends {
                let changes = self.monitor.as_ref().map_or(Changes::Nothing, |it| it.changes_by(&self.typed));
                self.permit(changes)?;
                self.typed.clear();
            } else if matches!(byte, 8 | 127) {
                self.typed.pop();
            } else {
                self.typed.push(char::from(byte));
            }
            self.stream.send(&[byte])?;
            self.stream.pause(self.stream.now() + if ends { pace.1 } else { pace.0 })?;
        }
        step.typed.push(text.escape_debug().to_string());
        Ok(())
    }

    fn awaits(&mut self, statement: &Statement, step: &mut StepReport) -> Result<(), Failure> {
        let within = statement.time("within").map_or(AWAITED, |it| it.value);
        let monitor = self.monitor.clone().ok_or_else(|| Failure::refused("nobody says what the prompt is"))?;
        let deadline = self.stream.now() + within;
        let text = statement.text("text").map(|it| it.value.clone());
        let (pattern, bytes);
        let until = if let Some(text) = &text {
            bytes = text_bytes(text).ok_or_else(|| Failure::refused("the line cannot carry a character of this"))?;
            if let Some(note) = self.stream.line().awaits(&bytes) {
                self.note(note);
            }
            Until::Text(&bytes)
        } else if let Some(text) = statement.text("pattern") {
            pattern = Pattern::new(&text.value).map_err(Failure::refused)?;
            if let Some(line) = pattern.line(&[])
                && let Some(note) = self.stream.line().awaits(&line.text)
            {
                self.note(note);
            }
            Until::Pattern(&pattern)
        } else {
            Until::Prompt
        };
        let came = match self.stream.wait(&until, &monitor, deadline, MOST_AWAITED) {
            Ok(came) => came,
            Err(broken) => return Err(self.late(broken, within, &monitor)),
        };
        if let Some(text) =
            refusal(&monitor, &came).filter(|it| text.as_ref().is_none_or(|own| !it.contains(own.as_str())))
        {
            return Err(Trouble::Refused(text).into());
        }
        step.message = last_line(&came);
        Ok(())
    }

    /// What came instead, where something did.
    fn late(&mut self, broken: Broken, within: Duration, monitor: &Monitor) -> Failure {
        let Broken::Late = broken else { return broken.into() };
        if let Some(text) = refusal(monitor, &self.stream.pending) {
            return Trouble::Refused(text).into();
        }
        let last = last_line(&self.stream.pending);
        let seconds = within.as_secs_f64();
        if self.stream.pending.is_empty() {
            return Failure::failed(format!("nothing came within {seconds:.1} s"));
        }
        Failure::failed(format!("it did not come within {seconds:.1} s; the last that came is `{last}`"))
    }

    fn note(&mut self, note: String) {
        self.stream.watch.note(&note);
        if !self.notes.contains(&note) {
            self.notes.push(note);
        }
    }

    fn confirm(&mut self, statement: &Statement) -> Result<(), Failure> {
        let question = statement.text("question").map(|it| it.value.clone()).unwrap_or_default();
        match self.stream.watch.confirm(&question) {
            Answer::Yes => {
                self.is_confirmed = true;
                self.stream.log.note("confirmed").map_err(Broken::Log)?;
                Ok(())
            }
            Answer::No => Err(Failure::refused("it was not confirmed")),
            Answer::Nobody => Err(Failure::refused("nobody can be asked here; run it in a terminal")),
        }
    }

    /// The monitor is asked by its vocabulary.
    fn asks(&mut self, statement: &Statement, step: &mut StepReport) -> Result<(), Failure> {
        let request = request(statement, &self.known).map_err(|it| unasked(&it, &self.left_out))?;
        self.permit(request.changes)?;
        let monitor =
            self.monitor.clone().ok_or_else(|| Failure::refused("nobody says how the monitor is talked to"))?;
        self.typed.clear();
        let mut block = Block::default();
        let mut reply = Vec::new();
        for at in 0..request.commands.len() {
            let part;
            (reply, part) = self.exchange(statement, &request, at, &monitor, step)?;
            block.bytes.extend(part.bytes);
            block.groups = part.groups;
        }
        step.message = summary(statement, block.bytes.len(), &reply, &monitor);
        if let Some(name) = statement.word("as") {
            block.address = request.range.as_ref().map(|it| it.start);
            block.layout = statement.word("using").map(|it| it.value.clone());
            self.known.bound.insert(name.value.clone(), Value::Block(block));
        }
        Ok(())
    }

    /// One command of a request, asked again where that may be done and the line was at fault.
    fn exchange(
        &mut self,
        statement: &Statement,
        request: &Request<'_>,
        at: usize,
        monitor: &Monitor,
        step: &mut StepReport,
    ) -> Result<(Vec<u8>, Block), Failure> {
        let command = &request.commands[at];
        // Only what reads may be asked twice: a program is not started again, nor a word sent that the vocabulary does not call harmless.
        let is_reading = matches!(statement.verb.kind, VerbKind::Dump | VerbKind::Registers | VerbKind::ReadSector)
            && request.changes == Changes::Nothing;
        let single = Request { commands: vec![command.clone()], ..request.clone() };
        let transfer = Duration::from_secs_f64(single.seconds(self.known.world));
        let within = match statement.time("within") {
            Some(it) => it.value,
            None => request.spelling.within.unwrap_or(ANSWER) + transfer * 2,
        };
        let mut tries = 0;
        loop {
            step.typed.push(command.typed.clone());
            let trouble = match self.once(statement, request, command, monitor, within) {
                Ok(found) => return Ok(found),
                Err(trouble) => trouble,
            };
            let is_half_typed = matches!(trouble, Trouble::Echo { .. });
            let may_again = (is_reading || is_half_typed) && trouble.is_passing() && tries < self.options.again;
            let is_late = matches!(trouble, Trouble::Broken(Broken::Late));
            let failure = if is_late { self.late(Broken::Late, within, monitor) } else { trouble.into() };
            if !may_again || !recover(&mut self.stream, monitor, is_half_typed)? {
                return Err(failure);
            }
            tries += 1;
            step.again += 1;
            self.note(format!("line {}: asked again, since {}", statement.line + 1, failure.message));
        }
    }

    fn once(
        &mut self,
        statement: &Statement,
        request: &Request<'_>,
        command: &reveille_session::Command,
        monitor: &Monitor,
        within: Duration,
    ) -> Result<(Vec<u8>, Block), Trouble> {
        let reply = ask(&mut self.stream, monitor, request.spelling, command, within)?;
        if let Some(text) = refusal(monitor, &reply) {
            return Err(Trouble::Refused(text));
        }
        // An answer that is not as the vocabulary says is none, whether a name is bound to it or not.
        let block = match (statement.verb.kind, &command.range) {
            (VerbKind::Dump, Some(range)) => {
                let bytes = dumped(request.spelling, range, &reply)?.into_iter().map(Some).collect();
                Block { bytes, ..Block::default() }
            }
            (kind, _) => grouped(request.spelling, &reply, kind == VerbKind::Registers)?,
        };
        Ok((reply, block))
    }

    fn number(&self, statement: &Statement, role: &str) -> Result<Option<i64>, Failure> {
        let Some(expression) = statement.expression(role) else { return Ok(None) };
        let value = expression.number(&self.known).map_err(|it| fault(&it, &self.left_out))?;
        Ok(value.known())
    }

    fn truth(&self, statement: &Statement) -> Result<bool, Failure> {
        match self.number(statement, "condition")? {
            Some(it) => Ok(it != 0),
            None => Err(Failure::failed("it cannot be decided: something in it is not known")),
        }
    }

    fn check(&mut self, statement: &Statement, step: &mut StepReport) -> Result<(), Failure> {
        let Some(condition) = statement.expression("condition") else { return Ok(()) };
        let expected = if statement.has("source") {
            let block = self.block(condition)?;
            let address = block.address.ok_or_else(|| Failure::refused("it has no address"))?;
            let length = i64::try_from(block.bytes.len()).unwrap_or(0);
            Some((block, self.known.world.block(address..address + length, None).bytes, "the source"))
        } else if let Some(file) = statement.text("file") {
            let bytes = self.files.read(&file.value).map_err(Failure::refused)?;
            Some((self.block(condition)?, bytes.into_iter().map(Some).collect(), "the file"))
        } else {
            None
        };
        if let Some((block, expected, what)) = expected {
            let message = compared(&block, &expected, what).map_err(Failure::failed)?;
            step.message = message;
            return Ok(());
        }
        let holds = self.truth(statement)?;
        let parts = condition.parts(&self.known);
        let parts: Vec<String> =
            parts.iter().map(|it| format!("`{}` is {}", it.0, Value::Number(it.1).shown())).collect();
        if holds {
            step.message = parts.join(", ");
            return Ok(());
        }
        let shown = if parts.is_empty() { String::new() } else { format!(": {}", parts.join(", ")) };
        Err(Failure::failed(format!("it does not hold{shown}")))
    }

    fn block(&self, expression: &Expression) -> Result<Block, Failure> {
        match expression.value(&self.known).map_err(|it| fault(&it, &self.left_out))? {
            Value::Block(it) => Ok(it),
            other => Err(Failure::refused(format!("this is {}, expected a block", other.kind()))),
        }
    }

    fn keep(&mut self, statement: &Statement, step: &mut StepReport) -> Result<(), Failure> {
        let (Some(name), Some(file)) = (statement.word("name"), statement.text("file")) else { return Ok(()) };
        let Some(Value::Block(block)) = self.known.bound.get(&name.value) else {
            let message = unknown(&name.value, &self.left_out);
            return Err(Failure::refused(message));
        };
        let bytes = block.known().filter(|_| block.groups.is_empty());
        let bytes = bytes.ok_or_else(|| Failure::refused("it has no bytes to keep"))?;
        self.files.keep(&file.value, &bytes).map_err(Failure::refused)?;
        step.message = format!("{} bytes in `{}`", bytes.len(), file.value);
        Ok(())
    }
}
