//! The line reader: what a line of source is made of. `grammar/LINES.md` is its specification.

mod problems;
mod reader;
mod signs;
mod tokens;
mod words;

use std::ops::Range;

pub(crate) use problems::problems;
pub(crate) use reader::{Region, read_region};
pub use reader::{operands, read_line, read_lines};
pub(crate) use signs::signs;
pub use tokens::{TokenKind, is_numeric_label, name_in, register_named, tokens, word_end};
pub use words::{OpId, Operation};
pub(crate) use words::{Words, is_operation_word};

/// A range of bytes inside a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Hash)]
pub struct Span {
    /// The first byte.
    pub start: u16,
    /// The byte after the last.
    pub end: u16,
}

impl Span {
    pub(crate) fn new(start: usize, end: usize) -> Self {
        Self { start: start as u16, end: end as u16 }
    }

    /// Whether nothing is in it.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.start == self.end
    }

    /// As a range of `usize`.
    #[must_use]
    pub fn range(self) -> Range<usize> {
        self.start.into()..self.end.into()
    }

    /// The text it spans in its line.
    #[must_use]
    pub fn of(self, line: &str) -> &str {
        line.get(self.range()).unwrap_or("")
    }
}

/// What a line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Hash)]
#[repr(u8)]
pub enum LineKind {
    /// Nothing but blanks.
    #[default]
    Blank,
    /// Nothing but a comment.
    Comment,
    /// A C preprocessor's line, or a comment that starts so.
    Preprocessor,
    /// A label, an operation or both.
    Statement,
    /// More bytes than a line may have; nothing of it is read.
    TooLong,
}

/// One line, as spans of its own text. 32 bytes: a program of a million lines is held as these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Line {
    /// Where it starts in its chunk.
    pub start: u32,
    /// Its length without the line end, 65,535 at most.
    pub len: u16,
    /// The label's name, without colons.
    pub label: Span,
    /// The operation's name, without the size.
    pub operation: Span,
    /// The operand field, from the first operand to the last.
    pub operands: Span,
    /// The comment with its mark.
    pub comment: Span,
    /// What the operation is.
    pub op: OpId,
    /// The size suffix: its letter in lower case, `\` for a macro's parameter, 0 for none.
    pub size: u8,
    /// What the line is.
    pub kind: LineKind,
    pub(crate) flags: u16,
    /// How many bytes the size suffix has.
    pub(crate) size_len: u8,
}

pub(crate) const COLON: u16 = 1;
pub(crate) const UNTERMINATED: u16 = 2;
pub(crate) const BROKEN: u16 = 4;
pub(crate) const BLANK_AFTER_COMMA: u16 = 8;
pub(crate) const UNBALANCED: u16 = 16;
pub(crate) const DOTTED: u16 = 32;
pub(crate) const OPEN_COMMENT: u16 = 64;
pub(crate) const COLUMN_ONE: u16 = 128;
/// The size is joined to the operation's name.
pub(crate) const JOINED: u16 = 256;
/// A preprocessor's line that goes on in the next, or goes on from the one before.
pub(crate) const CONTINUED: u16 = 512;

impl Line {
    /// Whether the operation is a directive with a dot.
    #[must_use]
    pub fn is_dotted(&self) -> bool {
        self.flags & DOTTED != 0
    }

    /// Whether the label stands in column one without a colon.
    #[must_use]
    pub fn is_bare_label(&self) -> bool {
        self.flags & (COLON | COLUMN_ONE) == COLUMN_ONE && !self.label.is_empty()
    }

    /// Whether the size is joined to the operation's name, as in `movl`.
    #[must_use]
    pub fn has_joined_size(&self) -> bool {
        self.flags & JOINED != 0
    }

    /// Where the size suffix stands, without its dot.
    #[must_use]
    pub fn size_span(&self) -> Span {
        let start = self.operation.end + u16::from(self.size != 0 && !self.has_joined_size());
        Span { start, end: start + u16::from(self.size_len) }
    }

    /// Whether the line does not read to its end: it is broken, too long, or something that opens in it does not close.
    #[must_use]
    pub fn is_broken(&self) -> bool {
        self.kind == LineKind::TooLong || self.flags & (UNTERMINATED | BROKEN | UNBALANCED | OPEN_COMMENT) != 0
    }

    /// Whether anything about the line's form is wrong; [`Chunk::problems`](crate::Chunk::problems) tells what.
    #[must_use]
    pub fn has_problem(&self) -> bool {
        self.is_broken() || self.flags & BLANK_AFTER_COMMA != 0
    }
}

/// Something wrong with the form of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Problem {
    /// What.
    pub kind: ProblemKind,
    /// Where in the line.
    pub span: Span,
}

/// What is wrong with the form of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ProblemKind {
    /// A string has no closing quote.
    UnterminatedString,
    /// The line cannot be read from here on.
    Broken,
    /// A blank follows a comma of the operand field, in Motorola syntax.
    BlankAfterComma,
    /// An opening bracket has no closing one.
    UnclosedBracket,
    /// The line is longer than 65,535 bytes.
    TooLong,
    /// A comment of several lines is never closed.
    UnclosedComment,
}

/// Whether a byte can stand in a word (a name, an operation).
#[must_use]
pub fn is_word_byte(byte: u8) -> bool {
    reader::CLASS[usize::from(byte)] & reader::WORD != 0
}
