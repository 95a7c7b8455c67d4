//! Monitor sessions: scripts beside the sources, held against the firmware and the machine file. What is wrong with them, what each step
//! asks of the machine, and how long that takes.

mod addresses;
mod check;
mod diagnose;
mod read;
mod source;
mod told;
mod world;

use std::sync::Arc;

use reveille_program::{FileId, Place, Program, SourceFile};
use reveille_session::verbs::{Changes, Verb};
use reveille_session::{Interval, Settings, Statement, Value, World};

use crate::finding::{Evidence, Finding};
use crate::model::Model;

pub use diagnose::Cause;
pub(crate) use diagnose::{FirmwareText, Role};
pub(crate) use source::Firmware;
pub use world::NamedMonitor;
pub(crate) use world::monitors;

/// The ending of a session's file.
pub const SESSION_ENDING: &str = "session";

/// Whether a file is a session.
#[must_use]
pub fn is_session(file: &SourceFile) -> bool {
    file.path().extension().is_some_and(|it| it.eq_ignore_ascii_case(SESSION_ENDING))
}

/// The sessions of a program.
pub(crate) fn session_files(program: &Program) -> impl Iterator<Item = &Arc<SourceFile>> {
    program.beside().filter(|it| is_session(it))
}

/// A name in a step, and what it stands for.
#[derive(Clone, Debug)]
pub struct NamedValue {
    /// Where it stands.
    pub at: Evidence,
    /// The name.
    pub name: String,
    /// Its value, as far as it is known; none for a block.
    pub value: Option<Interval>,
    /// Where the firmware defines it; none for what the session has bound.
    pub defined: Option<Place>,
}

/// What a step asks of the machine.
#[derive(Clone, Debug)]
pub struct StepFact {
    /// The statement's first words.
    pub at: Evidence,
    /// The whole statement.
    pub span: Evidence,
    /// Which statement it is.
    pub verb: &'static Verb,
    /// What is typed, line by line; empty where that is known only while the session runs.
    pub typed: Vec<String>,
    /// The addresses that it is about, the last excluded, and the name of the region that they are in.
    pub range: Option<(std::ops::Range<i64>, Option<String>)>,
    /// How long the transfer takes, in seconds.
    pub seconds: f64,
    /// What it changes.
    pub changes: Changes,
    /// The names in it.
    pub names: Vec<NamedValue>,
    /// What it binds by `as`: the name, where it stands, and its value, as far as it is known.
    pub binds: Option<(String, Evidence, Value)>,
}

/// A session, held against the firmware.
#[derive(Debug)]
pub struct SessionFact {
    /// The script.
    pub file: FileId,
    /// The script and those that it includes: [`Statement::file`] counts these.
    pub files: Vec<FileId>,
    /// Its statements, with those of included scripts in `include`.
    pub statements: Vec<Statement>,
    /// What it is held against.
    pub world: Arc<World>,
    /// The machine file that speaks for it.
    pub machine_file: Option<FileId>,
    /// What the source sets the line to: settings, if all are known; words for them; and where.
    pub source_line: Option<(Option<Settings>, String, Evidence)>,
    /// What each step asks, in the order of the script.
    pub steps: Vec<StepFact>,
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    firmware: Arc<Firmware>,
}

impl SessionFact {
    /// The steps of a line.
    pub fn steps_at(&self, place: Place) -> impl Iterator<Item = &StepFact> {
        self.steps.iter().filter(move |it| it.span.place == place)
    }

    /// The units of the firmware, by their places in the analysis.
    #[must_use]
    pub fn units(&self) -> &[usize] {
        &self.firmware.units
    }

    /// The texts of the firmware, as far as they can be read.
    #[must_use]
    pub fn texts(&self) -> Vec<String> {
        self.firmware.texts().iter().map(|it| it.text.clone()).collect()
    }

    /// What the firmware's source says of what came back instead of an answer: which of its texts it is, who prints that, on which condition.
    /// Empty where it says nothing.
    #[must_use]
    pub fn causes(&self, said: &str) -> Vec<Cause> {
        let line = self.source_line.as_ref().map(|it| (it.1.as_str(), it.2));
        self.firmware.causes(said, line)
    }

    /// How long its transfers take, in seconds: each step once.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.steps.iter().map(|it| it.seconds).sum()
    }
}

/// All sessions of a model: those that no other includes, each held against the firmware of its folder.
/// What sessions of an earlier state have read of the same firmware is taken over, and sessions of one machine share it.
pub(crate) fn sessions(model: &Model, earlier: &[Arc<SessionFact>]) -> Vec<Arc<SessionFact>> {
    let mut firmwares: Vec<Arc<Firmware>> = earlier.iter().map(|it| it.firmware.clone()).collect();
    let read: Vec<_> = session_files(model.program()).map(|file| read::read(model.program(), file)).collect();
    // Of scripts that include each other, each is one that is run.
    let files: Vec<Vec<FileId>> = read.iter().map(|it| it.files.clone()).collect();
    let is_part = |own: &[FileId]| files.iter().any(|it| it[1..].contains(&own[0]) && !own.contains(&it[0]));
    let own = read.into_iter().filter(|it| !is_part(&it.files));
    let mut found: Vec<Arc<SessionFact>> = own.map(|it| Arc::new(check::session(model, &mut firmwares, it))).collect();
    found.sort_by_cached_key(|it| path(model, it.file));
    found
}

fn path(model: &Model, file: FileId) -> Option<std::path::PathBuf> {
    model.program().file(file).map(|it| it.path().to_owned())
}
