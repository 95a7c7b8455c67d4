//! The file that a loader looks for, by its name among the data.

use reveille_decoders::volume::{RawName, shown};
use reveille_program::{Program, Unit};

use crate::file_names::{FileName, file_names};
use crate::finding::Evidence;
use crate::model::Model;

/// The name of a boot file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BootName {
    /// As it stands in a directory.
    pub name: RawName,
    /// Where the source has it; none where a person gave it.
    pub at: Option<Evidence>,
}

impl BootName {
    /// The name for people.
    #[must_use]
    pub fn shown(&self) -> String {
        shown(&self.name)
    }
}

/// The names of files that a program keeps, each once, at its first place: those in the form of a directory, and else those with a dot.
#[must_use]
pub fn boot_names(model: &Model) -> Vec<BootName> {
    let of_units = boot_names_of(model.program(), model.analysis().units());
    // A boot ROM in assembly comes before what it may start in C.
    match of_units.is_empty() {
        true => chosen(model.c().iter().flat_map(|it| it.file_names.iter().cloned()).collect()),
        false => of_units,
    }
}

/// The same, of some units of assembly.
pub(crate) fn boot_names_of<'a>(program: &Program, units: impl Iterator<Item = &'a Unit>) -> Vec<BootName> {
    chosen(units.flat_map(|unit| file_names(program, unit, &|_| true)).collect())
}

fn chosen(mut all: Vec<FileName>) -> Vec<BootName> {
    all.retain(|it| it.is_whole);
    let has_padded = all.iter().any(|it| it.is_padded);
    let mut found: Vec<BootName> = Vec::new();
    for own in all.into_iter().filter(|it| it.is_padded == has_padded) {
        if found.iter().all(|it| it.name != own.name) {
            found.push(BootName { name: own.name, at: Some(own.at) });
        }
    }
    found
}
