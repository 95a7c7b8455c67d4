//! The file that a loader looks for: a name of eleven characters among the data, as it stands in a directory.

use reveille_decoders::volume::{RawName, is_padded_name, shown};
use reveille_program::{Head, data_runs};

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

/// All names of files that a program keeps in the form of a directory, each once, at its first place.
#[must_use]
pub fn boot_names(model: &Model) -> Vec<BootName> {
    let wants = |head: Head<'_>| head.bytes.get(..11).is_some_and(is_padded_name);
    let mut found: Vec<BootName> = Vec::new();
    for unit in model.analysis().units() {
        for run in data_runs(model.program(), unit, &wants) {
            for item in &run.items {
                let bytes: Option<Vec<u8>> = item.bytes.iter().copied().collect();
                let name = bytes.filter(|it| is_padded_name(it)).and_then(|it| RawName::try_from(it.as_slice()).ok());
                if let Some(name) = name.filter(|name| found.iter().all(|it| it.name != *name)) {
                    found.push(BootName { name, at: Some(Evidence { place: item.place, span: item.span }) });
                }
            }
        }
    }
    found
}
