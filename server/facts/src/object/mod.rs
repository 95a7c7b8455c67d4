//! Program files beside the sources, and in images of disks: what their headers say, held against the machine and its firmware.
//!
//! A file is read once, when it is loaded; what it is held against changes with the sources.

mod judge;
mod read;
#[cfg(test)]
mod tests;

use std::ops::Range;
use std::sync::Arc;

use reveille_decoders::program_header::{FilePart, ProgramSymbol, Segment};
use reveille_program::{FileId, Program, SourceFile};

use crate::finding::{Evidence, Finding};

pub(crate) use judge::{UnitAround, judged};
pub use read::{is_object, may_be_object};

/// A field of a header with its value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ObjectField {
    /// Its name.
    pub name: &'static str,
    /// What it means.
    pub meaning: &'static str,
    /// Its value.
    pub value: u64,
    /// The bytes of the program file that it is read from.
    pub bytes: Range<u64>,
}

/// A program as its file has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Object {
    /// Its path in the image that it is in; none for a file of its own.
    pub inside: Option<String>,
    /// The name of its kind.
    pub kind: &'static str,
    /// What it is.
    pub title: &'static str,
    /// Bytes of the file.
    pub bytes: u64,
    /// The fields of its header; none of S-records.
    pub fields: Vec<ObjectField>,
    /// The parts of the file, in bytes from its start; none of S-records.
    pub parts: Vec<FilePart>,
    /// The memory that it takes: text, data and bss, or each run of records; nothing where the file does not say it.
    pub segments: Vec<Segment>,
    /// The address where it is entered, if the file says so.
    pub entry: Option<u64>,
    /// Its symbols.
    pub symbols: Vec<ProgramSymbol>,
    /// Whether it belongs at these addresses and nowhere else.
    pub is_absolute: bool,
    /// What does not add up in the file.
    pub troubles: Vec<String>,
}

impl Object {
    /// The lowest and the highest address that is loaded from the file, and the one behind.
    #[must_use]
    pub fn load(&self) -> Option<Range<u64>> {
        let mut loaded = self.segments.iter().filter(|it| it.name != "bss");
        let first = loaded.next()?.range.clone();
        Some(loaded.fold(first, |all, it| all.start.min(it.range.start)..all.end.max(it.range.end)))
    }

    /// The addresses of the bss.
    #[must_use]
    pub fn bss(&self) -> Option<Range<u64>> {
        self.segments.iter().find(|it| it.name == "bss").map(|it| it.range.clone())
    }

    /// The value of a field of the header.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<u64> {
        self.fields.iter().find(|it| it.name == name).map(|it| it.value)
    }
}

/// A program file, held against its machine.
#[derive(Clone, Debug)]
pub struct ObjectFact {
    /// The file that it is, or is in.
    pub file: FileId,
    /// Its first line, for whoever needs a place.
    pub at: Evidence,
    /// What the file has.
    pub object: Arc<Object>,
    /// What does not fit.
    pub findings: Vec<Finding>,
}

/// A file, and the programs that it is or has in it.
type Read = (Arc<SourceFile>, Arc<[Arc<Object>]>);

/// The programs of each file that has some.
#[derive(Clone, Debug, Default)]
pub(crate) struct Objects {
    found: Vec<Read>,
}

impl Objects {
    /// Reads the program files of a program; one that has not changed since `previous` is taken over.
    pub(crate) fn new(program: &Program, previous: Option<&Self>) -> Self {
        let read = |file: &Arc<SourceFile>| {
            let bytes = file.object()?;
            let is_same = |it: &&(Arc<SourceFile>, _)| it.0.object().is_some_and(|old| Arc::ptr_eq(old, bytes));
            let old = previous.and_then(|it| it.found.iter().find(is_same));
            let objects =
                old.map_or_else(|| read::objects(bytes).into_iter().map(Arc::new).collect(), |it| it.1.clone());
            Some((file.clone(), objects))
        };
        let mut found: Vec<_> = program.beside().filter_map(read).collect();
        found.sort_by(|a, b| a.0.path().cmp(b.0.path()));
        Self { found }
    }

    /// The files, and the programs in each.
    pub(crate) fn all(&self) -> impl Iterator<Item = (&Arc<SourceFile>, &[Arc<Object>])> {
        self.found.iter().map(|it| (&it.0, &*it.1))
    }
}
