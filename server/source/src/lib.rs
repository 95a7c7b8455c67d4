//! One source file: its text, positions, lines and trees.
//!
//! A file is held in chunks of some hundred lines. An edit reads only the chunks it touches again; all other chunks stay the same
//! shared values, so that a new version of a file costs the edit and not the file. This crate knows no other file: what names
//! mean is the business of `program`.

mod chunk;
mod dialect;
mod directives;
mod document;
mod lines;
mod margin;
mod position;
mod tree;

pub use chunk::{CHUNK_LINES, Chunk, DialectReason, File, Splice};
pub use dialect::{Dialect, Evidence, SYNTAXES, Syntax, marked_dialect};
pub use directives::{Condition, DIRECTIVES, Directive, Meaning, directive_index};
pub use document::{Decoded, Document, Encoding, decode};
pub use lines::{
    Line, LineKind, OpId, Operation, Problem, ProblemKind, Span, TokenKind, is_numeric_label, is_word_byte, name_in,
    operands, read_line, read_lines, register_named, tokens, word_end,
};
pub use margin::Margin;
pub use position::{ColumnUnit, Position};
pub use tree::{Trees, language};
