//! The instruction table against judges from outside: every first word of the 68000 and 68010.
//!
//! - `reading`: what the words mean, against two disassemblers: GNU objdump 2.40 and a disassembler library.
//! - `writing`: the printed text, against GNU as 2.40: it makes the same words again.
//! - `choosing`: the form that a line means, against GNU as: which lines are legal, and their words.
//! - `accepting`: the same lines through `reveille listing`.
//! - `clocks`: how long instructions take, against two independent processor cores.
//!
//! `tests/install-tools.sh system judges` installs the judges. What a judge sees in another way is listed beside each test, with the page
//! of the manual that settles it; an entry that nothing needs any more fails the test.

mod accepting;
mod choosing;
mod clocks;
mod image;
mod judges;
mod reading;
mod text;
mod writing;
