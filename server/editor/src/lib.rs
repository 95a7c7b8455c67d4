//! What an editor asks, as plain data: no protocol type, no waiting, no I/O. Positions are bytes of a file.

mod actions;
mod completion;
mod format;
mod hints;
mod hover;
mod instruction;
mod lookup;
mod navigation;
mod selection;
mod signature;
mod symbols;
mod tokens;

pub use actions::{Action, TextEdit, actions};
pub use completion::{Completion, CompletionKind, completions};
pub use format::{Edit, Field, FormatOptions, Style, edited, format, format_typed, reads_as_source};
pub use hints::{Hint, HintKinds, hints, routines};
pub use hover::{Hover, hover};
pub use instruction::Span;
pub use lookup::{Location, location};
pub use navigation::{definition, references};
pub use selection::selection;
pub use signature::{Signature, signatures};
pub use symbols::{Found, OutlineKind, OutlineSymbol, outline, search};
pub use tokens::{SemanticKind, SemanticToken, semantic_tokens};
