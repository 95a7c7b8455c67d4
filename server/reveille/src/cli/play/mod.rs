//! `reveille play`: a monitor session, rehearsed or for real.

mod kept;
mod report;
mod watcher;
mod wire;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use anyhow::{Context, Result, bail};
use clap::{Args, ValueEnum};
use reveille_decoders::Severity;
use reveille_facts::{Finding, Model, SessionFact};
use reveille_player::{Disk, Fault, Line, Log, Options, Player, Rehearsal, Replay, Report, Verdict, events};
use reveille_session::verbs::{Changes, VerbKind};
use reveille_session::{Flow, Statement};

use super::{CLEAN, ERRORS, FAILED, FromOutside, files};
use crate::load;
use kept::{Kept, new_log};
use watcher::{Watcher, time};
use wire::{Held, Wire};

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Level {
    On,
    Off,
}

#[derive(Debug, Args)]
pub(super) struct Play {
    /// The session.
    script: PathBuf,
    /// Runs it for real over a serial port, such as /dev/ttyUSB0, with the settings of the script.
    #[arg(long, value_name = "DEVICE", group = "where")]
    port: Option<String>,
    /// Runs it for real over a connection, to whatever stands before the machine's line.
    #[arg(long, value_name = "HOST:PORT", group = "where")]
    connect: Option<String>,
    /// Plays the log of an earlier session against the script, without a machine.
    #[arg(long, value_name = "LOG", group = "where")]
    replay: Option<PathBuf>,
    /// The disk in the drive of the rehearsal's machine; the file is read and not written. Without it a new, empty disk by the firmware's block.
    #[arg(long, value_name = "FILE", conflicts_with = "where")]
    image: Option<PathBuf>,
    /// Leaves the drive of the rehearsal's machine empty.
    #[arg(long, conflicts_with_all = ["where", "image"])]
    no_disk: bool,
    /// A fault that the rehearsal's machine has: drop, double, garble, silence, prompt or reset, at a byte that it sends, as in drop@120.
    #[arg(long, value_name = "KIND@BYTE", value_parser = Fault::read, conflicts_with = "where")]
    fault: Vec<Fault>,
    /// What steps may change: memory, nvram, disk or rom; may be given several times.
    #[arg(long, value_name = "WHAT", value_parser = changes)]
    allow: Vec<Changes>,
    /// The stage to begin with, by its title; what stands before it is left out.
    #[arg(long, value_name = "STAGE")]
    from: Option<String>,
    /// How often a step that only reads is asked again where the line was at fault.
    #[arg(long, value_name = "TIMES", default_value_t = 2)]
    retries: u32,
    /// Keeps every byte both ways in this file, instead of the one that the script names.
    #[arg(long, value_name = "FILE")]
    log_to: Option<PathBuf>,
    /// Writes what became of each step into a file, as JSON.
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Replaces files that are there.
    #[arg(long)]
    force: bool,
    /// Holds RTS, where the script does not say it.
    #[arg(long, value_enum, requires = "port")]
    rts: Option<Level>,
    /// Holds DTR, where the script does not say it.
    #[arg(long, value_enum, requires = "port")]
    dtr: Option<Level>,
    /// Shows the end alone.
    #[arg(long)]
    quiet: bool,
    #[command(flatten)]
    from_outside: FromOutside,
}

fn changes(text: &str) -> Result<Changes, String> {
    Changes::from_name(text).filter(|it| *it != Changes::Nothing).ok_or_else(|| {
        let names: Vec<&str> = Changes::NAMES.iter().map(|it| it.0).filter(|it| *it != "nothing").collect();
        format!("expected {}", names.join(", "))
    })
}

/// Findings of a session that do not keep it from being played: what the machine answers decides.
const PLAYED_ALL_THE_SAME: &[&str] = &["session-018"];

impl Play {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        if !load::is_session(&self.script) {
            bail!("`{}` is no session; its name ends in .{}", self.script.display(), reveille_facts::SESSION_ENDING);
        }
        let model = load::model(std::slice::from_ref(&self.script), &self.from_outside.options()?)?;
        let session = model
            .program()
            .file_at(&reveille_program::normal(&self.script))
            .and_then(|it| model.session_of(it.id()))
            .with_context(|| format!("`{}` cannot be read as a session", self.script.display()))?
            .clone();
        if let Some(code) = self.is_refused(&model, &session, out)? {
            return Ok(code);
        }
        let folder = self.script.parent().unwrap_or(Path::new("")).to_owned();
        let is_real = self.port.is_some() || self.connect.is_some();
        let mut kept =
            Kept { folder: folder.clone(), force: self.force, is_real, written: Vec::new(), left: Vec::new() };
        let mut log = self.log_to.clone();
        for statement in &session.statements {
            let mut wrong = Ok(());
            statement.visit(&mut |it| {
                let Some(file) = it.text("file") else { return };
                match it.verb.kind {
                    VerbKind::Keep if wrong.is_ok() => wrong = kept.must_be_free(&file.value),
                    VerbKind::Log if log.is_none() => log = Some(folder.join(file.value.replace('\\', "/"))),
                    _ => (),
                }
            });
            wrong?;
        }
        if let Some(path) = &self.report
            && path.exists()
            && !self.force
        {
            bail!("`{}` is there already; move it, or replace it with --force", path.display());
        }
        self.play(&model, &session, log.as_deref(), &mut kept, out)
    }

    /// What is wrong with the session, or not allowed: told before anything is opened.
    fn is_refused(&self, model: &Model, session: &SessionFact, out: &mut dyn Write) -> Result<Option<u8>> {
        let all: Vec<&Finding> = model.findings();
        let mut own = session.files.clone();
        own.extend(session.machine_file);
        let found: Vec<&Finding> = all.into_iter().filter(|it| own.contains(&it.at.place.file)).collect();
        let is_bad = |it: &&&Finding| it.severity == Severity::Error && !PLAYED_ALL_THE_SAME.contains(&it.code);
        let bad = found.iter().filter(is_bad).count();
        if bad > 0 {
            crate::report::text(model, &found, false, out)?;
            writeln!(out, "not played: mend what is wrong first")?;
            return Ok(Some(FAILED));
        }
        let mut titles = Vec::new();
        session.statements.iter().for_each(|it| titles.extend(it.text("title").map(|it| it.value.clone())));
        if let Some(from) = &self.from
            && !titles.contains(from)
        {
            let titles: Vec<String> = titles.iter().map(|it| format!("\"{it}\"")).collect();
            bail!("the session has no stage \"{from}\"; it has {}", titles.join(", "));
        }
        let mut missing: Vec<(Changes, usize)> = Vec::new();
        for step in &session.steps {
            let is_missing = step.changes != Changes::Nothing && !self.allow.contains(&step.changes);
            if is_missing && missing.iter().all(|it| it.0 != step.changes) {
                let file = model.program().file(step.at.place.file);
                missing.push((step.changes, file.map_or(0, |it| it.line_number(step.at.place)) + 1));
            }
        }
        for (changes, line) in &missing {
            let name = changes.name();
            writeln!(out, "line {line} changes {name}: it is done only with `--allow {name}`")?;
        }
        if missing.is_empty() {
            return Ok(None);
        }
        writeln!(out, "not played: nothing was sent")?;
        Ok(Some(FAILED))
    }

    fn play(
        &self,
        model: &Model,
        session: &SessionFact,
        log: Option<&Path>,
        kept: &mut Kept,
        out: &mut dyn Write,
    ) -> Result<u8> {
        let world = session.world.clone();
        let kind = self.kind();
        let settings = world.line;
        let machine = world.machine.as_deref().unwrap_or("a machine without a name");
        let line_words = settings.map_or_else(|| "settings not known".to_owned(), |it| it.words());
        let expected = Duration::from_secs_f64(session.seconds());
        if !self.quiet {
            let name = self.script.display();
            writeln!(out, "{kind} of {name}: {machine}, {line_words}, about {} on the line", time(expected))?;
        }
        // What can fail is tried before a log is begun.
        let line: Box<dyn Line> = if let Some(device) = &self.port {
            let settings =
                settings.context("the line's settings are not known; write `console 9600 8n1` or the like")?;
            let by_lines = world.monitor.as_ref().is_some_and(|it| it.flow == Some(Flow::Lines));
            Box::new(Wire::port(device, settings, by_lines, self.held(&session.statements))?)
        } else if let Some(address) = &self.connect {
            Box::new(Wire::connection(address)?)
        } else if let Some(path) = &self.replay {
            let text = std::fs::read_to_string(path).with_context(|| format!("`{}` cannot be read", path.display()))?;
            let found = events(&text)
                .map_err(|it| anyhow::anyhow!("{} in line {}: {}", path.display(), it.line, it.message))?;
            Box::new(Replay::new(found))
        } else {
            Box::new(Rehearsal::new(world.clone(), self.disk(model, session, out)?, session.texts(), &self.fault))
        };
        let is_real = kept.is_real;
        let (log_out, log_path): (Box<dyn Write>, _) = match log {
            Some(path) => {
                let (file, path) = new_log(path, !is_real)?;
                (Box::new(file), Some(path))
            }
            None => (Box::new(std::io::sink()), None),
        };
        let mut log = Log::new(log_out).context("the log cannot be written")?;
        log.note(&format!("{kind} of {}, {machine}, {line_words}", self.script.display()))?;
        let stopped = Arc::new(AtomicBool::new(false));
        watch_for_stop(&stopped);
        let mut watcher = Watcher::new(out, self.quiet, !is_real, stopped);
        let options = self.options(model, session);
        let player = Player::new(&world, line, log, &mut watcher, kept, options);
        let report = player.play(&session.statements);
        let failed = report.broken().filter(|it| it.verdict == Verdict::Failed);
        let causes = failed.map(|it| session.causes(it.refusal.as_deref().unwrap_or(&it.came))).unwrap_or_default();
        report::end(model, &report, &causes, out)?;
        for path in &kept.written {
            writeln!(out, "kept: {}", path.display())?;
        }
        for path in &kept.left {
            writeln!(out, "not kept: `{}` is there already, and a rehearsal replaces nothing", path.display())?;
        }
        if let Some(path) = log_path {
            writeln!(out, "log: {}", path.display())?;
        }
        if let Some(path) = &self.report {
            let json = report::json(model, session, &self.script, kind, &report, &causes);
            let bytes = serde_json::to_vec_pretty(&json)?;
            files::write(&[files::NewFile { path, bytes }], &[&self.script], self.force)?;
        }
        Ok(exit_code(&report))
    }

    fn kind(&self) -> &'static str {
        match (&self.port, &self.connect, &self.replay) {
            (Some(_), ..) | (_, Some(_), _) => "session",
            (.., Some(_)) => "replay",
            _ => "rehearsal",
        }
    }

    fn held(&self, statements: &[Statement]) -> Held {
        let said = |role: &str| statements.iter().find_map(|it| it.word(role)).map(|it| it.value == "on");
        let given = |it: Option<Level>| it.map(|it| matches!(it, Level::On));
        Held { rts: said("rts").or(given(self.rts)), dtr: said("dtr").or(given(self.dtr)) }
    }

    fn options(&self, model: &Model, session: &SessionFact) -> Options {
        let text = |id: &reveille_program::FileId| model.program().file(*id).map(|it| it.source().text());
        let expected = session.steps.iter().filter_map(|it| {
            let number = session.files.iter().position(|file| *file == it.span.place.file)?;
            let file = model.program().file(it.span.place.file)?;
            let start = file.source().line_start(file.line_number(it.span.place)) + usize::from(it.span.span.start);
            Some(((number, start), Duration::from_secs_f64(it.seconds)))
        });
        Options {
            allowed: self.allow.clone(),
            from: self.from.clone(),
            again: self.retries,
            expected: expected.collect(),
            texts: session.files.iter().map(|it| text(it).unwrap_or_default()).collect(),
        }
    }

    /// The disk of the rehearsal: files in it are found by its own block.
    fn disk(&self, model: &Model, session: &SessionFact, out: &mut dyn Write) -> Result<Option<Disk>> {
        let bytes = match &self.image {
            _ if self.no_disk => return Ok(None),
            Some(path) => {
                let bytes = files::read(path, load::MOST_BYTES)?;
                bytes.with_context(|| format!("`{}` is larger than a disk", path.display()))?
            }
            None => {
                let geometry =
                    session.world.geometry.map(|it| [it.cylinders, it.sides, it.sectors_per_track, it.sector_bytes]);
                let own = model.blocks().filter(|it| geometry.is_some() && it.geometry() == geometry);
                let made = own.filter_map(|it| Some((super::image::empty(it)?, &it.subject))).next();
                let Some((bytes, subject)) = made else { return Ok(None) };
                if !self.quiet {
                    writeln!(out, "in its drive: a new, empty disk by `{subject}`; --image gives another")?;
                }
                bytes
            }
        };
        let find = |bytes: &[u8], name: &str| super::image::file_of(bytes, name);
        Ok(Some(Disk { bytes, find: Box::new(find) }))
    }
}

fn exit_code(report: &Report) -> u8 {
    match report.verdict {
        Verdict::Held | Verdict::LeftOut => CLEAN,
        Verdict::Failed => ERRORS,
        Verdict::Refused | Verdict::Stopped => FAILED,
    }
}

/// Notes that a person presses Ctrl-C: the player ends where it is, and leaves line and log in order.
fn watch_for_stop(stopped: &Arc<AtomicBool>) {
    let stopped = stopped.clone();
    std::thread::spawn(move || {
        let Ok(runtime) = tokio::runtime::Builder::new_current_thread().enable_io().build() else { return };
        runtime.block_on(async {
            if tokio::signal::ctrl_c().await.is_ok() {
                stopped.store(true, Ordering::SeqCst);
            }
        });
    });
}
