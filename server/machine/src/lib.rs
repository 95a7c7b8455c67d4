//! `reveille.toml`: what the source of a firmware cannot say. Text in; machines, blocks and what is wrong out.
//!
//! [`keys`] is the one table of what may stand in the file: the reader follows it, the words of its messages come from it, and
//! so do completion, hover and the schema. A key is added there, and read in [`MachineFile`]. [`written`] tells what may stand at a
//! place of a text that is no TOML yet.
//!
//! What is wrong leaves out what depends on it and no more: all else of the file counts.
//!
//! ```
//! let read = reveille_machine::read("[machine.skerry]\nclock = 8_000_000\ncpo = 68000\n");
//! assert_eq!(read.file.machines[0].clock.as_ref().unwrap().value, 8_000_000);
//! assert_eq!(read.problems[0].message, "`cpo` is no key of `[machine.NAME]`; did you mean `cpu`?");
//! ```

mod check;
mod file;
pub mod keys;
mod nearest;
mod number;
mod place;
mod tree;
mod written;

pub use file::{
    BlockText, Drive, FieldText, Firmware, Machine, MachineFile, Memory, Monitor, Reading, Serial, Spelling, ValueText,
    read,
};
pub use nearest::{distance, nearest};
pub use number::{Notation, number};
pub use place::{Fix, Problem, ProblemKind, Spanned, line_and_column, span_inside};
pub use tree::{Entry, Table, Value};
pub use written::{Slot, Written, WrittenTable, written};
