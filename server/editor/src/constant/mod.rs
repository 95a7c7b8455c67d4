//! What a constant means besides its value: an exception's vector, characters, a date, the number of a program file, bits, a place of the program.

mod bits;
mod coded;
mod magic;
mod place;
mod text;
mod vectors;

use crate::lookup::{Spot, Thing};

pub use vectors::{handlers, power_on};

/// What is told of the constant at a spot, a paragraph each; nothing where nothing is certain.
pub(crate) fn notes(spot: &Spot<'_>, thing: &Thing) -> Vec<String> {
    let mut found: Vec<String> = vectors::note(spot, thing).into_iter().collect();
    found.extend(text::note(spot, thing));
    found.extend(coded::notes(spot, thing));
    found.extend(magic::note(spot, thing));
    found.extend(place::notes(spot, thing));
    found.extend(bits::notes(spot, thing));
    found
}
