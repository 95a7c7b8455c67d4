//! Changes that mend findings.

use std::ops::Range;

use reveille_facts::{Evidence, Finding, Model};
use reveille_program::FileId;

use crate::lookup::{Location, location};

/// A change of a file's text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextEdit {
    /// What is replaced.
    pub at: Location,
    /// What stands there then.
    pub text: String,
}

/// A change that an editor offers.
#[derive(Clone, Debug)]
pub struct Action<'a> {
    /// What it does.
    pub title: &'a str,
    /// The finding that it mends.
    pub finding: &'a Finding,
    /// The changes, none of which overlap.
    pub edits: Vec<TextEdit>,
    /// Whether it is the one to prefer for its finding.
    pub is_preferred: bool,
}

/// The changes for the findings that touch a range of a file.
#[must_use]
pub fn actions(model: &Model, file: FileId, range: Range<usize>) -> Vec<Action<'_>> {
    let touches = |at: Evidence| {
        let own = location(model, at).range;
        own.start <= range.end && range.start <= own.end
    };
    let mut found = Vec::new();
    for finding in model.findings_in(file).into_iter().filter(|it| touches(it.at)) {
        for (place, fix) in finding.fixes.iter().enumerate() {
            let edits = fix.edits.iter().map(|edit| TextEdit {
                at: location(model, Evidence { place: edit.place, span: edit.span }),
                text: edit.text.clone(),
            });
            found.push(Action { title: &fix.title, finding, edits: edits.collect(), is_preferred: place == 0 });
        }
    }
    found
}
