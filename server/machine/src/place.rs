//! Places in the text, and what is wrong there.

use std::ops::Range;

/// A value, and where it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// Its bytes in the file, quotes and brackets among them.
    pub span: Range<usize>,
}

impl<T> Spanned<T> {
    /// The same place with another value.
    #[must_use]
    pub fn with<U>(&self, value: U) -> Spanned<U> {
        Spanned { value, span: self.span.clone() }
    }
}

/// What kind of thing is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ProblemKind {
    /// The text is no TOML.
    Syntax,
    /// A key that no table has.
    UnknownKey,
    /// A value of another kind than its key's.
    WrongKind,
    /// A value that its key cannot have, or that does not go with another.
    WrongValue,
    /// A name that is there before.
    Duplicate,
    /// A key that has to be there is not.
    Missing,
}

/// A change of the text that mends a problem.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fix {
    /// The bytes that are replaced.
    pub span: Range<usize>,
    /// What stands there then.
    pub text: String,
}

/// Something that is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Of which kind.
    pub kind: ProblemKind,
    /// Where: bytes of the text, between characters; empty where something is missing.
    pub span: Range<usize>,
    /// What was found, what was expected, what to do.
    pub message: String,
    /// A place that has to do with it, such as the first of two of a name.
    pub related: Option<Range<usize>>,
    /// What mends it, if one change surely does.
    pub fix: Option<Fix>,
}

/// Line and column of a byte of the text, both from 1; columns are characters. A byte within a character counts as its start,
/// one behind the end as the end.
#[must_use]
pub fn line_and_column(text: &str, byte: usize) -> (usize, usize) {
    let before = &text[..text.floor_char_boundary(byte)];
    let line = before.matches('\n').count() + 1;
    let start = before.rfind('\n').map_or(0, |it| it + 1);
    (line, before[start..].chars().count() + 1)
}

/// Where lines end, for many questions about one text.
pub(crate) struct Lines {
    ends: Vec<usize>,
}

impl Lines {
    pub(crate) fn new(text: &str) -> Self {
        Self { ends: text.match_indices('\n').map(|it| it.0).collect() }
    }

    /// The line of a byte, from 1.
    pub(crate) fn line(&self, byte: usize) -> usize {
        self.ends.partition_point(|it| *it < byte) + 1
    }
}

/// The place of bytes of a text value, as of a part of a formula: exact where the value is written in one line without escapes,
/// else all of it.
#[must_use]
pub fn span_inside(text: &str, value: &Spanned<String>, part: Range<usize>) -> Range<usize> {
    let written = text.get(value.span.clone()).unwrap_or_default();
    let is_plain = written.len() == value.value.len() + 2 && written.get(1..written.len() - 1) == Some(&value.value);
    let is_inside = part.start <= part.end && value.value.get(part.clone()).is_some();
    if is_plain && is_inside {
        let start = value.span.start + 1;
        start + part.start..start + part.end
    } else {
        value.span.clone()
    }
}

/// A range cut to the text, and its ends moved to the starts of their characters.
pub(crate) fn within(text: &str, span: Range<usize>) -> Range<usize> {
    let start = text.floor_char_boundary(span.start.min(text.len()));
    start..text.floor_char_boundary(span.end.min(text.len())).max(start)
}
