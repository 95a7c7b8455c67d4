//! Lines that can be folded away.

use reveille_facts::Model;
use reveille_program::FileId;

use crate::c;
use crate::machine_file;
use crate::session::{self, View};
use crate::structure::{Block, BlockKind, blocks};

/// The blocks of a file that can be folded: each hides the lines behind its first. A conditional folds case by case.
#[must_use]
pub fn folds(model: &Model, file: FileId) -> Vec<Block> {
    if let Some(view) = View::of(model, file) {
        return session::folds(&view);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::folds(&view);
    }
    let Some(source) = model.program().file(file) else { return Vec::new() };
    if source.is_beside() {
        return machine_file::folds(source);
    }
    let mut found = blocks(source.source());
    found.retain(|it| it.kind != BlockKind::Conditional);
    found
}
