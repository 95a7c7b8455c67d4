//! What a constant means besides its value: an exception's vector, characters, a date, bits, a place of the program.

mod vectors;

use crate::lookup::{Spot, Thing};

pub use vectors::handlers;

/// What is told of the constant at a spot, a paragraph each; nothing where nothing is certain.
pub(crate) fn notes(spot: &Spot<'_>, thing: &Thing) -> Vec<String> {
    vectors::note(spot, thing).into_iter().collect()
}
