//! What an editor asks, as plain data: no protocol type, no waiting, no I/O. Positions are bytes of a file.

mod actions;
mod calls;
mod completion;
mod folding;
mod format;
mod highlight;
mod hints;
mod hover;
mod instruction;
mod links;
mod lookup;
mod navigation;
mod rename;
mod selection;
mod signature;
mod structure;
mod symbols;
mod tokens;

pub use actions::{Action, TextEdit, actions};
pub use calls::{Call, Routine, incoming_calls, outgoing_calls, routine_at};
pub use completion::{Completion, CompletionKind, completions};
pub use folding::folds;
pub use format::{Edit, Field, FormatOptions, Style, edited, format, format_typed, reads_as_source};
pub use highlight::{Highlight, highlights};
pub use hints::{Hint, HintKinds, hints, routines};
pub use hover::{Hover, hover};
pub use instruction::Span;
pub use links::{Link, links};
pub use lookup::{Location, location};
pub use navigation::{definition, references};
pub use rename::{Refusal, prepare_rename, rename};
pub use selection::selection;
pub use signature::{Signature, signatures};
pub use structure::{Block, BlockKind};
pub use symbols::{Found, OutlineKind, OutlineSymbol, outline, search};
pub use tokens::{SemanticKind, SemanticToken, semantic_tokens};
