//! Names of files in the source that lead to these files.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::FileId;
use reveille_source::{LineKind, Meaning};

use crate::c;
use crate::session::{self, View};

/// A name that leads to a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// The bytes of the name, without its quotes.
    pub range: Range<usize>,
    /// The file it names.
    pub target: FileId,
}

/// The names in a file that mean other files of the program: of INCLUDE, INCBIN and the C preprocessor's `#include`; of `include` in a session.
#[must_use]
pub fn links(model: &Model, file: FileId) -> Vec<Link> {
    if let Some(view) = View::of(model, file) {
        return session::links(&view);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::links(&view);
    }
    let program = model.program();
    let Some(source) = program.file(file) else { return Vec::new() };
    let root = model.analysis().unit_of(file).and_then(reveille_program::Unit::root).unwrap_or(file);
    let mut found = Vec::new();
    for (number, chunk) in source.source().chunks().iter().enumerate() {
        let base = source.source().first_byte(number);
        for line in chunk.lines() {
            let text = chunk.line_text(line);
            let name = match line.kind {
                LineKind::Statement => {
                    let meaning = line.op.directive().map(|it| it.meaning);
                    let is_named = matches!(meaning, Some(Meaning::Include | Meaning::IncludeBytes));
                    let first = if is_named { chunk.operands(line).into_iter().next() } else { None };
                    first.map(|it| inner(text, it))
                }
                LineKind::Preprocessor => reveille_program::preprocessor_include(text),
                _ => None,
            };
            if let Some(name) = name.filter(|it| !it.is_empty())
                && let Some(target) = program.resolve_include(file, root, &text[name.clone()])
            {
                let start = base + line.start as usize;
                found.push(Link { range: start + name.start..start + name.end, target });
            }
        }
    }
    found
}

/// A range without the quotes around it.
fn inner(text: &str, range: Range<usize>) -> Range<usize> {
    const QUOTES: [char; 4] = ['"', '\'', '<', '>'];
    let own = &text[range.clone()];
    let start = range.start + own.len() - own.trim_start_matches(QUOTES).len();
    start..start + own.trim_matches(QUOTES).len()
}
