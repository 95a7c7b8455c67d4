//! The C beside the assembly: its files, each with what it includes, as parts of the program.

mod check;
mod linkage;
mod twins;

use std::sync::Arc;

use reveille_c::{Expr, ExprKind, FileKey, Settings, Span, Text, Unit};
use reveille_decoders::volume::{RawName, is_padded_name};
use reveille_program::{FileId, Place, Program, SourceFile};

pub use linkage::{Convention, convention};

use crate::file_names::{FileName, in_text};
pub(crate) use check::{Side, findings};

use crate::finding::Evidence;

/// The ending of a C file.
const C_ENDING: &str = "c";

/// Bytes of an `int` where nobody says: what most compilers of the time took (from memory).
const INT_BYTES: u32 = 2;

/// A C file with all that it includes.
#[derive(Debug)]
pub struct CUnit {
    /// The file.
    pub root: FileId,
    /// What it says.
    pub unit: Unit,
    /// The files that it was read from, by their keys.
    files: Vec<Arc<SourceFile>>,
    /// The names of files in its texts.
    pub(crate) file_names: Arc<[FileName]>,
}

/// Whether a file is one of C's.
#[must_use]
pub fn is_c(file: &SourceFile) -> bool {
    file.path().extension().is_some_and(|it| it.eq_ignore_ascii_case(C_ENDING))
}

impl CUnit {
    fn new(program: &Program, root: &Arc<SourceFile>) -> Self {
        let read_with = program.settings_of(root.id());
        let settings =
            Settings { int_bytes: read_with.int_bytes.unwrap_or(INT_BYTES), defines: read_with.defines.clone() };
        let mut files: Vec<Arc<SourceFile>> = Vec::new();
        let mut text = |file: &Arc<SourceFile>| {
            let at = files.iter().position(|it| it.id() == file.id()).unwrap_or_else(|| {
                files.push(file.clone());
                files.len() - 1
            });
            Text { key: FileKey(at as u32), text: file.source().text().into() }
        };
        let first = text(root);
        let mut found: Vec<Arc<SourceFile>> = vec![root.clone()];
        let unit = Unit::read(
            &first,
            &mut |from, name, _| {
                let from = found.get(from.0 as usize)?.id();
                let paths = program.include_paths(from, root.id(), name);
                let file = paths.iter().find_map(|it| program.file_at(it))?;
                if found.iter().all(|it| it.id() != file.id()) {
                    found.push(file.clone());
                }
                Some(text(file))
            },
            &settings,
        );
        let mut own = Self { root: root.id(), unit, files, file_names: Arc::default() };
        own.file_names = own.names_of_files().into();
        own
    }

    fn names_of_files(&self) -> Vec<FileName> {
        let mut found = Vec::new();
        let mut see = |it: &Expr| {
            let ExprKind::Text(bytes) = &it.kind else { return };
            let Some(at) = self.evidence(it.span) else { return };
            match RawName::try_from(bytes.as_slice()).ok().filter(|it| is_padded_name(it)) {
                Some(name) => found.push(FileName { name, is_padded: true, at, is_whole: true, address: None }),
                None => in_text(&String::from_utf8_lossy(bytes), at, None, &mut found),
            }
        };
        for function in self.unit.functions() {
            function.expressions(&mut see);
        }
        for init in self.unit.objects().iter().filter_map(|it| it.init.as_ref()) {
            init.expressions(&mut |it| it.visit(&mut see));
        }
        for define in self.unit.defines().filter(|it| it.body.contains('"')) {
            if let Some((_, body)) = self.unit.macro_expression(&define.name) {
                body.visit(&mut see);
            }
        }
        found
    }

    /// Whether it would be read from the same texts again.
    fn is_same(&self, program: &Program) -> bool {
        // What was not there may be there now.
        let is_there = |(from, name): (FileId, String)| {
            program.include_paths(from, self.root, &name).iter().any(|it| program.file_at(it).is_some())
        };
        self.files.iter().all(|it| program.file(it.id()).is_some_and(|own| Arc::ptr_eq(own, it)))
            && !self.missing().into_iter().any(is_there)
    }

    /// The files that it was read from, the file itself first.
    pub fn files(&self) -> impl Iterator<Item = FileId> {
        self.files.iter().map(|it| it.id())
    }

    /// The key of a file; none if the unit does not read it.
    #[must_use]
    pub fn key(&self, file: FileId) -> Option<FileKey> {
        self.files.iter().position(|it| it.id() == file).map(|it| FileKey(it as u32))
    }

    /// Where a piece of its texts stands: its first line, if it has several.
    #[must_use]
    pub fn evidence(&self, span: Span) -> Option<Evidence> {
        let file = self.files.get(span.file.0 as usize)?;
        file.span(span.start as usize..span.end as usize).map(|(place, span)| Evidence { place, span })
    }

    /// The byte of the text that a place of a line is.
    #[must_use]
    pub fn byte(&self, place: Place, column: usize) -> Option<(FileKey, u32)> {
        let key = self.key(place.file)?;
        let file = self.files.get(key.0 as usize)?;
        let start = file.source().line_start(file.line_number(place));
        Some((key, (start + column) as u32))
    }

    /// Whether a name is one of a macro.
    #[must_use]
    pub fn is_macro(&self, name: &str) -> bool {
        self.unit.defines().any(|it| &*it.name == name)
    }

    /// Where a piece of its texts lies, whole: the file and its bytes.
    #[must_use]
    pub fn bytes(&self, span: Span) -> Option<(FileId, std::ops::Range<usize>)> {
        Some((self.files.get(span.file.0 as usize)?.id(), span.start as usize..span.end as usize))
    }

    /// Where it defines a function or an object that other modules may use: its name.
    #[must_use]
    pub fn defines(&self, name: &str) -> Option<Span> {
        let functions = self.unit.functions().iter().filter(|it| !it.is_static && &*it.name == name);
        let objects = self.unit.objects().iter().filter(|it| !it.is_static && !it.is_extern && &*it.name == name);
        functions.map(|it| it.name_span).chain(objects.map(|it| it.name_span)).next()
    }

    /// Whether a name is one that no other module sees.
    #[must_use]
    pub fn is_static(&self, name: &str) -> bool {
        let unit = &self.unit;
        unit.functions().iter().any(|it| it.is_static && &*it.name == name)
            || unit.declarations().iter().any(|it| it.is_static && &*it.name == name)
            || unit.objects().iter().any(|it| it.is_static && &*it.name == name)
    }

    /// Included files that are not there: the including file and the name.
    #[must_use]
    pub fn missing(&self) -> Vec<(FileId, String)> {
        let all = self.unit.missing_includes().iter();
        all.filter_map(|it| Some((self.files.get(it.span.file.0 as usize)?.id(), it.name.to_string()))).collect()
    }
}

/// The C of a program. What `previous` has read from the same texts is taken over.
pub(crate) fn c_units(program: &Program, previous: &[Arc<CUnit>]) -> Vec<Arc<CUnit>> {
    let mut found: Vec<Arc<CUnit>> = program
        .beside()
        .filter(|it| is_c(it))
        .map(|file| {
            let old = previous.iter().find(|it| it.root == file.id() && it.is_same(program));
            old.cloned().unwrap_or_else(|| Arc::new(CUnit::new(program, file)))
        })
        .collect();
    found.sort_by_cached_key(|it| program.file(it.root).map(|it| it.path().to_owned()));
    found
}
