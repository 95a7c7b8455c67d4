//! Instructions: read from lines, chosen, sized and encoded.
//!
//! A line is read once, when its chunk is indexed ([`read`]). What its operands say by themselves is settled then; what needs names or the
//! location becomes a record ([`Instruction`]) that the layout sizes ([`crate::layout`]) and [`assemble`] encodes.

mod assemble;
mod operand;
mod read;

pub use assemble::{Assembled, Bytes, assemble};
pub(crate) use assemble::{Site, Sized, assemble_at, check_record, with_registers};
pub use operand::operand_kind;
pub(crate) use read::{Expr, Instruction, Read, Term, fits_short, guess, may_be_quick, misfit_span, operand, read};
