//! Tree-sitter grammars for 68000 assembly source and for monitor-session scripts, and the queries that go with them.
//!
//! Assembly source has four grammars with the same node kinds: [`LANGUAGE_M68K`] for Motorola syntax, where a blank ends the operand field
//! and comments need no mark, [`LANGUAGE_M68K_DOTTED`] for dotted Unix style, [`LANGUAGE_M68K_MIT`] for MIT syntax and
//! [`LANGUAGE_M68K_SGS`] for the Unix style with `&` for immediates. `LINES.md` in this folder says how they read a line.
//!
//! Their tree is a flat list of lines, so that a part of a file that starts and ends at line ends can be parsed alone. None
//! knows what a symbol means, nests conditionals, or expands macros.
//!
//! [`LANGUAGE_SESSION`] is the grammar of monitor sessions, which `session/LANGUAGE.md` describes. Its tree nests: sections from
//! stage to stage, in them steps and the blocks of `repeat` and `if`. No text makes an error node in any of the grammars.
//!
//! ```
//! let mut parser = tree_sitter::Parser::new();
//! parser.set_language(&reveille_grammar::LANGUAGE_M68K.into()).unwrap();
//! let tree = parser.parse("start move.w d0,d1 copy it\n", None).unwrap();
//! let line = tree.root_node().child(0).unwrap();
//! assert_eq!(line.child_by_field_name("operation").unwrap().kind(), "instruction");
//! ```

use tree_sitter_language::LanguageFn;

unsafe extern "C" {
    fn tree_sitter_m68k() -> *const ();
    fn tree_sitter_m68k_dotted() -> *const ();
    fn tree_sitter_m68k_mit() -> *const ();
    fn tree_sitter_m68k_sgs() -> *const ();
    fn tree_sitter_session() -> *const ();
}

/// The grammar of Motorola syntax.
// SAFETY: the function is the generated one, which takes nothing and returns the address of a constant.
pub const LANGUAGE_M68K: LanguageFn = unsafe { LanguageFn::from_raw(tree_sitter_m68k) };

/// The grammar of dotted Unix style.
// SAFETY: as above.
pub const LANGUAGE_M68K_DOTTED: LanguageFn = unsafe { LanguageFn::from_raw(tree_sitter_m68k_dotted) };

/// The grammar of MIT syntax.
// SAFETY: as above.
pub const LANGUAGE_M68K_MIT: LanguageFn = unsafe { LanguageFn::from_raw(tree_sitter_m68k_mit) };

/// The grammar of the Unix style with `&` for immediates.
// SAFETY: as above.
pub const LANGUAGE_M68K_SGS: LanguageFn = unsafe { LanguageFn::from_raw(tree_sitter_m68k_sgs) };

/// The grammar of monitor-session scripts.
// SAFETY: as above.
pub const LANGUAGE_SESSION: LanguageFn = unsafe { LanguageFn::from_raw(tree_sitter_session) };

/// The node kinds and fields of [`LANGUAGE_M68K`], as JSON.
pub const NODE_TYPES_M68K: &str = include_str!("m68k/src/node-types.json");

/// The node kinds and fields of [`LANGUAGE_M68K_DOTTED`], as JSON.
pub const NODE_TYPES_M68K_DOTTED: &str = include_str!("m68k_dotted/src/node-types.json");

/// The node kinds and fields of [`LANGUAGE_M68K_MIT`], as JSON.
pub const NODE_TYPES_M68K_MIT: &str = include_str!("m68k_mit/src/node-types.json");

/// The node kinds and fields of [`LANGUAGE_M68K_SGS`], as JSON.
pub const NODE_TYPES_M68K_SGS: &str = include_str!("m68k_sgs/src/node-types.json");

/// The node kinds and fields of [`LANGUAGE_SESSION`], as JSON.
pub const NODE_TYPES_SESSION: &str = include_str!("session/src/node-types.json");

/// What is shown in which color. Good for every grammar of assembly source, as are all queries whose names do not tell another.
pub const HIGHLIGHTS_QUERY: &str = include_str!("queries/highlights.scm");

/// Where names are defined and used.
pub const LOCALS_QUERY: &str = include_str!("queries/locals.scm");

/// Definitions and calls for a list of tags.
pub const TAGS_QUERY: &str = include_str!("queries/tags.scm");

/// What can be folded.
pub const FOLDS_QUERY: &str = include_str!("queries/folds.scm");

/// Where a line is indented deeper than the one before.
pub const INDENTS_QUERY: &str = include_str!("queries/indents.scm");

/// Text in another language.
pub const INJECTIONS_QUERY: &str = include_str!("queries/injections.scm");

/// What is shown in which color, in a monitor session.
pub const HIGHLIGHTS_QUERY_SESSION: &str = include_str!("session/queries/highlights.scm");

/// Where a monitor session binds names and uses them.
pub const LOCALS_QUERY_SESSION: &str = include_str!("session/queries/locals.scm");

/// What of a monitor session can be folded.
pub const FOLDS_QUERY_SESSION: &str = include_str!("session/queries/folds.scm");

/// Which lines of a monitor session are indented deeper than their blocks.
pub const INDENTS_QUERY_SESSION: &str = include_str!("session/queries/indents.scm");
