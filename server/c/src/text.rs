//! Texts, places in them, and what a compiler would be told beside them.

use std::sync::Arc;

/// A file, as the caller numbers them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct FileKey(pub u32);

/// A file's text.
#[derive(Debug, Clone)]
pub struct Text {
    /// Its number; two texts with one number are taken to be the same.
    pub key: FileKey,
    /// What it says.
    pub text: Arc<str>,
}

/// A piece of an original text, in bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Span {
    /// The file it is in.
    pub file: FileKey,
    /// Its first byte.
    pub start: u32,
    /// The byte behind its last one.
    pub end: u32,
}

impl Span {
    /// From one piece to the other; the first one alone when they are in two files.
    pub(crate) fn to(self, other: Span) -> Span {
        if self.file != other.file {
            return self;
        }
        Span { file: self.file, start: self.start.min(other.start), end: self.end.max(other.end) }
    }

    /// Whether all of another piece lies in this one.
    pub fn contains(self, other: Span) -> bool {
        self.file == other.file && self.start <= other.start && other.end <= self.end
    }
}

/// What is known of the compiler.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// Bytes of an `int`: 2 or 4. Most compilers of the time for the 68000 took 2 (from memory).
    pub int_bytes: u32,
    /// Names that the compiler's command line defines, with their values.
    pub defines: Vec<(String, i64)>,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings { int_bytes: 2, defines: Vec::new() }
    }
}
