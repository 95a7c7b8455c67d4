//! Changes that mend findings, and changes of blocks.

use std::ops::Range;

use reveille_facts::{Edit, Evidence, Finding, Fix, Model, additions, conversions, is_c};
use reveille_program::FileId;

use crate::lookup::{Location, Spot, location};

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
    pub title: String,
    /// The finding that it mends; none for a change that mends nothing.
    pub finding: Option<&'a Finding>,
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
            let (title, edits) = (fix.title.clone(), edits(model, fix));
            found.push(Action { title, finding: Some(finding), edits, is_preferred: place == 0 });
        }
    }
    found
}

/// The changes that give the block at a place the values of a standard format, and those that add an entry for one to its table.
#[must_use]
pub fn rewrites(model: &Model, file: FileId, byte: usize) -> Vec<Action<'_>> {
    let Some(spot) = Spot::new(model, file, byte) else { return Vec::new() };
    let Some(block) = model.block_at(spot.place) else { return Vec::new() };
    let table = model.table_of(block);
    // A line of assembly is no entry of a table in C.
    let more = if is_c(spot.file) { Vec::new() } else { additions(model.program(), block, &table) };
    let fixes = conversions(model.program(), block).into_iter().chain(more);
    let action = |fix: Fix| {
        let edits = edits(model, &fix);
        Action { title: fix.title, finding: None, edits, is_preferred: false }
    };
    fixes.map(action).collect()
}

fn edits(model: &Model, fix: &Fix) -> Vec<TextEdit> {
    let edit = |edit: &Edit| TextEdit {
        at: location(model, Evidence { place: edit.place, span: edit.span }),
        text: edit.text.clone(),
    };
    fix.edits.iter().map(edit).collect()
}
