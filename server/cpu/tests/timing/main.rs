//! Every row of the timing tables of the *M68000 User's Manual*, ninth edition, section 8, against `time`.
//!
//! `data/timing.csv` has the rows as printed; `actual` is a corrected figure where the print is known to be wrong, with its reason. Each row
//! is made into real instructions on the real way: name, form, words, and back from the words.

#[path = "../csv/mod.rs"]
mod csv;
mod made;
mod rules;
mod table;
