//! A source held against dumps of ROM chips: is this the source of what is on the board?
//!
//! [`SourceImage`] is what the source lays down, [`Dump`] what was read; [`compare`] puts one beside the other, [`sums`] looks for
//! checksums and [`try_settings`] for a way to lay the source out that agrees better. All of it is plain data: whoever shows it
//! has the files.

mod align;
mod cause;
mod change;
mod compare;
mod diff;
mod dump;
mod lines_at_fault;
mod settings;
mod source;
mod sums;
#[cfg(test)]
mod tests;
mod verdict;

pub use align::{Edit, Placing};
pub use cause::{Cause, CauseKind, Chip, Fault, Sureness};
pub use change::{Change, Difference, Shown};
pub use compare::{Comparison, Question, Run, compare};
pub use diff::{Counts, Outside};
pub use dump::{Dump, Order};
pub use settings::try_settings;
pub use source::{Area, LaidLine, Overlap, SourceImage};
pub use sums::{Extent, Labelled, Match, Over, Sums, sums};
pub use verdict::Verdict;
