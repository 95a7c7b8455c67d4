//! Many files as one program: names, expressions, conditionals, includes, layout to bytes.
//!
//! A [`Program`] is a snapshot: immutable, cheap to clone, and what every command, hover and finding reads. Nothing here does
//! I/O; whoever loads files hands their text in.

mod analysis;
mod check;
mod code;
mod data;
mod equates;
mod expression;
mod index;
mod instruction;
mod layout;
mod listing;
mod names;
mod preprocessor;
mod program;
mod references;
mod settings;
mod unit;

pub use analysis::Analysis;
pub use code::{Addressed, Code, CodeAt, CodeLine, DataByte};
pub use data::{DataItem, DataRun, Head, data_run_after, data_run_at, data_runs, made_runs};
pub use expression::{Base, Context, ExpressionProblem, Value, evaluate, quoted_bytes};
pub use index::{Subjects, is_local_label, low_stores, subjects};
pub use instruction::{Assembled, Bytes, assemble, operand_kind};
pub use layout::lay_out;
pub use listing::{Listed, Section, list, list_call, sections};
pub use names::{Names, Symbol};
pub use preprocessor::preprocessor_include;
pub use program::{Content, FileId, Prepared, Program, SourceFile, normal};
pub use references::{Occurrence, Spelling, definition_span, references, references_in, spellings, uses_of};
pub use settings::{BranchSizing, Readings, References, Settings, Sizing, speaks_for};
pub use unit::{Definition, DefinitionKind, Place, Problem, ProblemKind, Unit};
