//! The file that a loader looks for: a name of eleven characters among the data, as it stands in a directory.

use reveille_decoders::volume::{RawName, is_padded_name, shown};
use reveille_program::{DataItem, Program, Unit, data_runs};

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

/// All names of files that a program keeps in the form of a directory, each once, at its first place: an operand of eleven characters,
/// or operands from a label on that are as long together.
#[must_use]
pub fn boot_names(model: &Model) -> Vec<BootName> {
    boot_names_of(model.program(), model.analysis().units())
}

/// The same, of some units.
pub(crate) fn boot_names_of<'a>(program: &Program, units: impl Iterator<Item = &'a Unit>) -> Vec<BootName> {
    let mut found: Vec<BootName> = Vec::new();
    for unit in units {
        for run in data_runs(program, unit, &|_| true) {
            let mut sum = 0;
            let first = run.items.iter().take_while(|it| {
                sum += it.bytes.len();
                sum <= 11
            });
            let first: Vec<&DataItem> = first.collect();
            let singles = run.items.iter().map(|it| vec![it]);
            for items in std::iter::once(first).filter(|it| it.len() > 1).chain(singles) {
                let bytes: Option<Vec<u8>> = items.iter().flat_map(|it| it.bytes.iter().copied()).collect();
                let name = bytes.filter(|it| is_padded_name(it)).and_then(|it| RawName::try_from(it.as_slice()).ok());
                let name = name.filter(|name| found.iter().all(|it| it.name != *name));
                if let (Some(name), Some(item)) = (name, items.first()) {
                    found.push(BootName { name, at: Some(Evidence { place: item.place, span: item.span }) });
                }
            }
        }
    }
    found
}
