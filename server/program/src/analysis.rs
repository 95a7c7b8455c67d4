//! All files of a workspace as units, one for each root.

use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHashSet};

use crate::layout::lay_out;
use crate::{Definition, FileId, Program, Readings, Settings, SourceFile, Symbol, Unit};

/// The units of a program: a snapshot, cheap to clone.
#[derive(Clone, Debug, Default)]
pub struct Analysis {
    units: Arc<Vec<Arc<Laid>>>,
    roots: Arc<Vec<FileId>>,
    by_file: Arc<FxHashMap<FileId, Vec<usize>>>,
    /// What the roots were told from: every file's includes.
    includes: Arc<Vec<(FileId, Arc<[String]>)>>,
    /// What files were read with: it may name roots and folders of included files.
    readings: Arc<Readings>,
    /// Names given from outside.
    defines: Arc<[(String, i64)]>,
}

/// A unit, and the versions of the files that it was laid out from.
#[derive(Debug)]
struct Laid {
    unit: Unit,
    files: Vec<Arc<SourceFile>>,
    settings: Arc<Settings>,
}

impl Analysis {
    /// Lays out all units. What `previous` laid out from the same versions of the same files is taken over.
    #[must_use]
    pub fn new(program: &Program, defines: &[(String, i64)], previous: Option<&Self>) -> Self {
        // With other names from outside other lines may be read.
        let previous = previous.filter(|it| *it.defines == *defines);
        let includes: Vec<_> = program.files().map(|file| (file.id(), file.includes().clone())).collect();
        let same_files = previous.filter(|it| *it.includes == includes && it.readings == *program.readings());
        let roots = same_files.map_or_else(|| Arc::new(roots(program, &includes)), |it| it.roots.clone());
        let lay_out_root = |root: &FileId| {
            let settings = program.settings_of(*root);
            let of_root = |laid: &&Arc<Laid>| laid.unit.root() == Some(*root) && laid.settings == *settings;
            let old = previous.and_then(|it| it.units.iter().find(of_root));
            let is_same = |laid: &&Arc<Laid>| {
                (same_files.is_some() || laid.unit.missing().is_empty())
                    && laid.files.iter().all(|file| program.file(file.id()).is_some_and(|now| Arc::ptr_eq(now, file)))
            };
            if let Some(laid) = old.filter(is_same) {
                return laid.clone();
            }
            let unit = lay_out(program, *root, defines, old.map(|it| &it.unit));
            let files = unit.files().iter().filter_map(|id| program.file(*id).cloned()).collect();
            Arc::new(Laid { unit, files, settings: settings.clone() })
        };
        let units: Vec<Arc<Laid>> = match roots.as_slice() {
            [root] => vec![lay_out_root(root)],
            roots => roots.par_iter().map(lay_out_root).collect(),
        };
        let mut by_file: FxHashMap<FileId, Vec<usize>> = FxHashMap::default();
        for (at, laid) in units.iter().enumerate() {
            for file in laid.unit.files() {
                by_file.entry(*file).or_default().push(at);
            }
        }
        Self {
            units: Arc::new(units),
            roots,
            by_file: Arc::new(by_file),
            includes: Arc::new(includes),
            readings: program.readings().clone(),
            defines: defines.into(),
        }
    }

    /// The units of another version of the program, with the same names given from outside. What has not changed is taken over.
    #[must_use]
    pub fn again(&self, program: &Program) -> Self {
        Self::new(program, &self.defines, Some(self))
    }

    /// The units.
    pub fn units(&self) -> impl Iterator<Item = &Unit> {
        self.units.iter().map(|laid| &laid.unit)
    }

    /// Whether the unit at a place is the same value in both: laid out once and taken over.
    #[must_use]
    pub fn has_same_unit(&self, other: &Self, at: usize) -> bool {
        matches!((self.units.get(at), other.units.get(at)), (Some(one), Some(two)) if Arc::ptr_eq(one, two))
    }

    /// The units that read a file.
    pub fn units_of(&self, file: FileId) -> impl Iterator<Item = &Unit> {
        self.by_file.get(&file).into_iter().flatten().map(|at| &self.units[*at].unit)
    }

    /// The first unit that reads a file.
    #[must_use]
    pub fn unit_of(&self, file: FileId) -> Option<&Unit> {
        self.units_of(file).next()
    }

    /// The definition of an ordinary name in another unit than `unit`.
    #[must_use]
    pub fn find_elsewhere(&self, unit: &Unit, symbol: Symbol) -> Option<&Definition> {
        self.units().filter(|it| !std::ptr::eq(*it, unit)).find_map(|it| it.get(symbol))
    }
}

/// The files that their settings name as roots, where these are there. Else the files that no other file includes; of files that include
/// each other in a ring, the first by path.
fn roots(program: &Program, includes: &[(FileId, Arc<[String]>)]) -> Vec<FileId> {
    let targets: FxHashMap<FileId, Vec<FileId>> = includes
        .iter()
        .map(|(file, names)| {
            (*file, names.iter().filter_map(|name| program.resolve_include(*file, *file, name)).collect())
        })
        .collect();
    let included: FxHashSet<FileId> =
        targets.iter().flat_map(|(from, to)| to.iter().filter(move |it| *it != from)).copied().collect();
    let is_named = |id: &FileId| is_named_root(program, *id);
    // A header that no assembly file includes is C's.
    let is_header = |id: &FileId| {
        let ending = program.file(*id).and_then(|it| it.path().extension());
        ending.is_some_and(|it| it.eq_ignore_ascii_case("h"))
    };
    let mut roots: Vec<FileId> = includes
        .iter()
        .map(|it| it.0)
        .filter(|it| is_named(it).unwrap_or(!included.contains(it) && !is_header(it)))
        .collect();
    let mut reached = FxHashSet::default();
    let mut todo = roots.clone();
    let mut reach = |todo: &mut Vec<FileId>| {
        while let Some(file) = todo.pop() {
            if reached.insert(file) {
                todo.extend(targets.get(&file).into_iter().flatten());
            }
        }
        reached.clone()
    };
    let mut done = reach(&mut todo);
    let path = |id: &FileId| program.file(*id).map(|file| file.path().to_owned());
    let may_be = |it: &FileId| !done.contains(it) && is_named(it).is_none() && !is_header(it);
    let mut rest: Vec<FileId> = includes.iter().map(|it| it.0).filter(may_be).collect();
    rest.sort_by_key(path);
    for file in rest {
        if !done.contains(&file) {
            roots.push(file);
            done = reach(&mut vec![file]);
        }
    }
    roots.sort_by_key(path);
    roots
}

/// Whether a file is one of the roots that its settings name; none where they name none that is there.
fn is_named_root(program: &Program, file: FileId) -> Option<bool> {
    let named = program.settings_of(file).roots.iter().filter_map(|path| program.file_at(path));
    // A document without a file has no place among those of a folder.
    let path = program.file(file)?.path();
    let mut named = named.filter(|it| it.path().is_relative() || path.is_absolute()).peekable();
    named.peek()?;
    Some(named.any(|it| it.id() == file))
}
