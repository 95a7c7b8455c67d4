//! What became of a session.

use std::time::Duration;

/// What became of a step, a stage, a session; a later one is worse.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// It was not come to.
    #[default]
    LeftOut,
    /// All checks held.
    Held,
    /// A check failed, or the machine did not answer as it should.
    Failed,
    /// It was not allowed, not confirmed, or could not be run.
    Refused,
    /// A person stopped it.
    Stopped,
}

impl Verdict {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::LeftOut => "left out",
            Self::Held => "held",
            Self::Failed => "failed",
            Self::Refused => "refused",
            Self::Stopped => "stopped",
        }
    }
}

/// What became of a step.
#[derive(Clone, Debug, Default)]
pub struct StepReport {
    /// The script that it stands in, counted as the session's files.
    pub file: usize,
    /// Its line, from 0.
    pub line: usize,
    /// The statement.
    pub text: String,
    /// What became of it.
    pub verdict: Verdict,
    /// How long it took.
    pub took: Duration,
    /// What was typed, line by line.
    pub typed: Vec<String>,
    /// What came of it, or why it failed; empty where there is nothing to say.
    pub message: String,
    /// What the script says to do.
    pub advice: Option<String>,
    /// The line of an answer that tells of an error.
    pub refusal: Option<String>,
    /// The end of what came while a step failed, without the echo of what was typed; empty where nothing was asked.
    pub came: String,
    /// How often it was asked again.
    pub again: u32,
}

/// What became of a stage.
#[derive(Clone, Debug, Default)]
pub struct StageReport {
    /// Its title; empty for steps before the first stage.
    pub title: String,
    /// What became of it.
    pub verdict: Verdict,
    /// Its steps.
    pub steps: Vec<StepReport>,
}

/// What became of a session.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// What became of it.
    pub verdict: Verdict,
    /// Its stages, those that were left out too.
    pub stages: Vec<StageReport>,
    /// How long it took, by the line's time.
    pub took: Duration,
    /// Bytes that were sent.
    pub sent: u64,
    /// Bytes that came.
    pub came: u64,
    /// What was taken for granted, such as answers that a rehearsal cannot know.
    pub notes: Vec<String>,
}

impl Report {
    /// The step that ended the session before its time.
    #[must_use]
    pub fn broken(&self) -> Option<&StepReport> {
        let mut steps = self.stages.iter().flat_map(|it| &it.steps);
        steps.rfind(|it| it.verdict > Verdict::Held)
    }
}
