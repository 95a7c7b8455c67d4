//! Who watches a session, and the files that it writes.

use std::time::Duration;

use crate::report::StepReport;

/// What a person says to a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Go on.
    Yes,
    /// Stop.
    No,
    /// Nobody can be asked.
    Nobody,
}

/// Who watches a session.
pub trait Watch {
    /// A stage begins.
    fn stage(&mut self, title: &str);
    /// A step begins; `left` is how long the rest of the session is expected to take.
    fn step(&mut self, line: usize, text: &str, left: Duration);
    /// A step was done, or failed.
    fn done(&mut self, step: &StepReport);
    /// Something that is worth knowing while a step goes on.
    fn note(&mut self, text: &str);
    /// Bytes came.
    fn came(&mut self, bytes: &[u8]);
    /// Asks a person.
    fn confirm(&mut self, question: &str) -> Answer;
    /// Whether the person wants it to stop now.
    fn is_stopped(&self) -> bool;
}

/// The files of a session, by their paths from the script's folder.
pub trait Files {
    /// Writes a block.
    ///
    /// # Errors
    /// What to do.
    fn keep(&mut self, path: &str, bytes: &[u8]) -> Result<(), String>;
    /// Reads a file.
    ///
    /// # Errors
    /// What to do.
    fn read(&mut self, path: &str) -> Result<Vec<u8>, String>;
}
