//! Names across the border between C and assembly.

use reveille_c::Role;
use reveille_program::{Analysis, DefinitionKind, Program};
use rustc_hash::FxHashSet;

use super::CUnit;

/// What a compiler puts before a name of C to make it one of assembly.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Convention {
    /// An underscore, as compilers of the time did (from memory).
    #[default]
    Underscore,
    /// Nothing.
    Plain,
}

impl Convention {
    /// The name in assembly of a name in C.
    #[must_use]
    pub fn assembly(self, name: &str) -> String {
        match self {
            Self::Underscore => format!("_{name}"),
            Self::Plain => name.to_owned(),
        }
    }

    /// The name in C of a name in assembly; none of one that C cannot have.
    #[must_use]
    pub fn c(self, name: &str) -> Option<&str> {
        match self {
            Self::Underscore => name.strip_prefix('_'),
            Self::Plain => Some(name),
        }
    }
}

/// The convention of a program: the one by which more names that one side lacks are names of the other. That both sides have a name of
/// their own says nothing.
#[must_use]
pub fn convention<'a>(program: &Program, analysis: &Analysis, units: impl Iterator<Item = &'a CUnit>) -> Convention {
    let units: Vec<&CUnit> = units.collect();
    let functions = units.iter().flat_map(|it| it.unit.functions()).filter(|it| !it.is_static).map(|it| &*it.name);
    let objects = units.iter().flat_map(|it| it.unit.objects()).filter(|it| !it.is_static && !it.is_extern);
    let defined: FxHashSet<&str> = functions.chain(objects.map(|it| &*it.name)).collect();
    let mut wanted: FxHashSet<&str> = FxHashSet::default();
    for own in &units {
        let declared = own.unit.declarations().iter().map(|it| &*it.name);
        let objects = own.unit.objects().iter().filter(|it| it.is_extern).map(|it| &*it.name);
        let used = own.unit.names().filter(|it| it.role == Role::Unknown).map(|it| &*it.name);
        wanted.extend(declared.chain(objects).chain(used).filter(|it| !defined.contains(it)));
    }
    let (mut underscore, mut plain) = (0, 0);
    let is_label = |name: &str| {
        let found = analysis.units().find_map(|unit| unit.find(program, name));
        found.is_some_and(|it| it.kind == DefinitionKind::Label)
    };
    for name in wanted {
        underscore += usize::from(is_label(&format!("_{name}")));
        plain += usize::from(is_label(name));
    }
    for own in analysis.units().flat_map(|it| it.definitions()).filter(|it| it.kind == DefinitionKind::External) {
        let name = program.names().text(own.symbol);
        underscore += usize::from(name.strip_prefix('_').is_some_and(|it| defined.contains(it)));
        plain += usize::from(defined.contains(&*name));
    }
    if plain > underscore { Convention::Plain } else { Convention::Underscore }
}
