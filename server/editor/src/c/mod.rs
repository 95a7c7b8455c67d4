//! C beside the assembly in an editor: what stands at a place of it, everything that is asked about it, and the names that C and
//! assembly have in common.

mod border;
mod calls;
mod complete;
mod hover;
mod names;
mod outline;
mod rename;
mod tree;
mod words;

use std::ops::Range;

use reveille_c::{FileKey, NameUse, Span};
use reveille_facts::{CUnit, Model, is_c};
use reveille_program::{FileId, SourceFile};

use crate::lookup::Location;

pub(crate) use border::Shared;
pub(crate) use calls::{callee, callers, function_of, incoming, outgoing, routine};
pub(crate) use complete::completions;
pub(crate) use hover::{beside_assembly, hover};
pub(crate) use names::{definition, highlights, links, references};
pub(crate) use outline::{outline, symbols};
pub(crate) use rename::{of_assembly, prepare, rename};
pub(crate) use tree::{folds, selection};

/// A document of C, with the unit that it is read in.
pub(crate) struct View<'a> {
    pub(crate) model: &'a Model,
    pub(crate) file: &'a SourceFile,
    pub(crate) own: &'a CUnit,
    pub(crate) key: FileKey,
}

impl<'a> View<'a> {
    /// A file, if it is C: a C file, or a header that C includes and no assembly reads.
    pub(crate) fn of(model: &'a Model, file: FileId) -> Option<Self> {
        let source = model.program().file(file)?;
        if !(is_header_of_c(model, source) || is_c(source) && source.is_beside()) {
            return None;
        }
        let units = model.c().iter();
        // A header is read in each file that includes it; the first one tells as much as any.
        let own =
            units.clone().find(|it| it.root == file).or_else(|| units.clone().find(|it| it.key(file).is_some()))?;
        Some(Self { model, file: source, own, key: own.key(file)? })
    }

    /// The name that a byte touches.
    pub(crate) fn name_at(&self, byte: usize) -> Option<&'a NameUse> {
        self.own.unit.name_at(self.key, u32::try_from(byte).ok()?)
    }

    /// The innermost function that a byte is in.
    fn function_at(&self, byte: usize) -> Option<&'a reveille_c::Function> {
        let at = u32::try_from(byte).ok()?;
        self.own.unit.function_at(Span { file: self.key, start: at, end: at })
    }
}

/// Whether a source is a header that no assembly reads.
fn is_header_of_c(model: &Model, source: &SourceFile) -> bool {
    let is_header = source.path().extension().is_some_and(|it| it.eq_ignore_ascii_case("h"));
    is_header && model.analysis().unit_of(source.id()).is_none()
}

/// Whether a document is C.
#[must_use]
pub fn is_c_text(model: &Model, file: FileId) -> bool {
    View::of(model, file).is_some()
}

/// The bytes of a range.
fn bytes(span: Span) -> Range<usize> {
    span.start as usize..span.end as usize
}

/// Where a piece of a unit's texts is.
fn place(own: &CUnit, span: Span) -> Option<Location> {
    own.bytes(span).map(|(file, range)| Location { file, range })
}

/// A line as a person names it.
fn shown(model: &Model, at: &Location) -> String {
    let Some(file) = model.program().file(at.file) else { return String::new() };
    let name = file.path().file_name().unwrap_or(file.path().as_os_str());
    format!("{}:{}", name.to_string_lossy(), file.source().line_of(at.range.start) + 1)
}
