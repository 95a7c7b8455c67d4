//! Names across the border between C and assembly.

use reveille_c::{NameUse, Role};
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

/// The convention of a program: the one by which more names cross the border. What both sides define for themselves says nothing: the
/// ROM may have a `load` of its own.
#[must_use]
pub fn convention<'a>(program: &Program, analysis: &Analysis, units: impl Iterator<Item = &'a CUnit>) -> Convention {
    let units: Vec<&CUnit> = units.collect();
    let mut defined: FxHashSet<&str> = FxHashSet::default();
    for own in &units {
        let functions = own.unit.functions().iter().map(|it| &*it.name);
        let objects = own.unit.objects().iter().filter(|it| !it.is_extern).map(|it| &*it.name);
        defined.extend(functions.chain(objects));
    }
    let is_name = |it: &&NameUse| matches!(it.role, Role::Function | Role::Global | Role::Unknown);
    let used = units.iter().flat_map(|it| it.unit.names()).filter(is_name).map(|it| &*it.name);
    let mut seen: FxHashSet<&str> = FxHashSet::default();
    let (mut underscore, mut plain) = (0, 0);
    for name in used.filter(|it| seen.insert(it)) {
        let is_foreign = !defined.contains(name);
        // What C defines the assembly imports, and what C lacks is a label.
        let crosses = |spelled: &str| {
            program.names().find(spelled).is_some_and(|symbol| {
                let found = analysis.units().filter_map(|unit| unit.get(symbol));
                let kinds: Vec<DefinitionKind> = found.map(|it| it.kind).collect();
                let is_label = kinds.contains(&DefinitionKind::Label);
                if is_foreign { is_label } else { !is_label && kinds.contains(&DefinitionKind::External) }
            })
        };
        underscore += usize::from(crosses(&format!("_{name}")));
        plain += usize::from(crosses(name));
    }
    if plain > underscore { Convention::Plain } else { Convention::Underscore }
}
