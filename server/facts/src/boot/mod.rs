//! What happens between power-on and the prompt: the routines that are come to, in their order, what each asks, prints, loads and jumps to,
//! and what the machine needs for it. Each step has its place in the source; what the source does not decide is said to be open.

mod advice;
mod build;
mod c_steps;
mod c_texts;
mod commands;
mod condition;
mod effect;
mod files;
mod functions;
mod questions;
mod said;
mod tell;
mod walk;

pub(crate) use build::boot_paths;

use crate::finding::Evidence;
use crate::session::Cause;

/// Where the way begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Start {
    /// `reset`, `command`, or `entry` where nothing but a name tells that it is one.
    pub kind: &'static str,
    /// What it is called: the vector, the command's word, the label.
    pub name: String,
    /// Where the source says so.
    pub at: Evidence,
    /// The routine that it leads to, by its place in [`BootPath::routines`].
    pub routine: Option<usize>,
}

/// What a step is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum StepKind {
    /// A label is come to: what follows belongs to it.
    Label,
    /// A way parts from the others on a condition.
    Decision,
    /// A routine is called and comes back.
    Call,
    /// It goes on elsewhere.
    GoesOn,
    /// It is left for an address that is worked out.
    Jump,
    /// A text is given to a routine.
    Text,
    /// The number of an error is given.
    Error,
    /// A text is chosen by a number.
    Table,
    /// A file is named.
    File,
    /// An address where a file is loaded, or where it is entered.
    Load,
    /// Something is compared with what has to be there.
    Check,
    /// A device is read or written.
    Device,
    /// A function comes back with a constant.
    Back,
}

impl StepKind {
    /// Its name in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Label => "label",
            Self::Decision => "decision",
            Self::Call => "call",
            Self::GoesOn => "goes-on",
            Self::Jump => "jump",
            Self::Text => "text",
            Self::Error => "error",
            Self::Table => "table",
            Self::File => "file",
            Self::Load => "load",
            Self::Check => "check",
            Self::Device => "device",
            Self::Back => "back",
        }
    }
}

/// What would tell more of a step than the source does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Needs {
    /// The file that is loaded.
    File,
    /// The source of what is called.
    Source,
}

/// One step of a routine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PathStep {
    /// What it is.
    pub kind: StepKind,
    /// How deep it is nested: what is deeper than a decision before it happens where the decision says.
    pub depth: u8,
    /// In words.
    pub words: String,
    /// The label or routine that it leads to, if it has a name.
    pub to: Option<String>,
    /// The routine that it leads to, by its place in [`BootPath::routines`].
    pub routine: Option<usize>,
    /// The number that it is about: an address, a number of an error, what is compared with.
    pub value: Option<i64>,
    /// Of a decision the device whose register is asked.
    pub device: Option<String>,
    /// Of a decision whether it is taken where two things are equal.
    pub is_equal: bool,
    /// What would tell more; none where the source tells all there is.
    pub needs: Option<Needs>,
    /// Where.
    pub at: Evidence,
}

/// A routine that is come to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PathRoutine {
    /// Its label, or its name in C.
    pub name: String,
    /// `assembly` or `c`.
    pub language: &'static str,
    /// Its address, if it is known.
    pub address: Option<i64>,
    /// Its first line.
    pub at: Evidence,
    /// Its steps, in the order of the source.
    pub steps: Vec<PathStep>,
    /// Whether it says something of the way: itself, or a routine that it calls.
    pub is_telling: bool,
}

/// A text that can be printed on the way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Printed {
    /// The text.
    pub text: String,
    /// Where it stands.
    pub at: Evidence,
    /// Who prints it, and on which conditions.
    pub causes: Vec<Cause>,
    /// What it tells a person to look at, common practice; empty for texts that tell of no trouble.
    pub advice: Vec<&'static str>,
}

/// Something that the monitor can be asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Command {
    /// The word, or the character.
    pub name: String,
    /// The routine that answers it.
    pub routine: String,
    /// The numbers of its row in the table, in their order: how many arguments it takes may be one of them.
    pub numbers: Vec<i64>,
    /// What the table says of it.
    pub help: Option<String>,
    /// The label of the table; none of characters that code compares.
    pub table: Option<String>,
    /// Where its word stands.
    pub at: Evidence,
    /// Where its routine begins, if its source is here.
    pub routine_at: Option<Evidence>,
}

/// A key or a switch that the way depends on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What is asked, in words.
    pub words: String,
    /// The device.
    pub device: String,
    /// The number that it is held against, if there is one.
    pub value: Option<i64>,
    /// Where it leads.
    pub to: Option<String>,
    /// Where.
    pub at: Evidence,
}

/// A file that the way loads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BootFile {
    /// Its name, as people write it.
    pub name: String,
    /// Where the source names it.
    pub named: Vec<Evidence>,
    /// The routine that looks for it.
    pub routine: String,
    /// What is said of the place that it is loaded to.
    pub loads: Vec<PathStep>,
    /// What it is checked for.
    pub checks: Vec<PathStep>,
    /// Where it is entered.
    pub enters: Vec<PathStep>,
    /// The texts of trouble on the way there, and where they stand.
    pub fails: Vec<(String, Evidence)>,
}

/// What the source does not decide.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// What is open.
    pub words: String,
    /// What would decide it.
    pub decides: &'static str,
    /// Where it comes up; where the way begins, if it has no place of its own.
    pub at: Evidence,
}

/// The way from power-on to the prompt.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BootPath {
    /// Where it begins: the reset first.
    pub starts: Vec<Start>,
    /// The routines, in the order in which they are come to.
    pub routines: Vec<PathRoutine>,
    /// The keys and switches that it depends on.
    pub choices: Vec<Choice>,
    /// The files that are loaded.
    pub files: Vec<BootFile>,
    /// What the monitor can be asked.
    pub commands: Vec<Command>,
    /// The texts that they can print.
    pub texts: Vec<Printed>,
    /// What is left open, the most important first.
    pub questions: Vec<Question>,
}
