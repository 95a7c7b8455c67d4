//! What an editor asks, as plain data: no protocol type, no waiting, no I/O. Positions are bytes of a file.

mod actions;
mod completion;
mod hover;
mod lookup;
mod navigation;
mod selection;
mod symbols;
mod tokens;

pub use actions::{Action, TextEdit, actions};
pub use completion::{Completion, CompletionKind, completions};
pub use hover::{Hover, hover};
pub use lookup::{Location, location};
pub use navigation::{definition, references};
pub use selection::selection;
pub use symbols::{Found, OutlineKind, OutlineSymbol, outline, search};
pub use tokens::{SemanticKind, SemanticToken, semantic_tokens};
