//! Names across the border between C and assembly.

use reveille_program::{Analysis, Program};

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

/// The convention of a program: the one by which more names of its C are names of its assembly.
#[must_use]
pub fn convention<'a>(program: &Program, analysis: &Analysis, units: impl Iterator<Item = &'a CUnit>) -> Convention {
    let is_known = |name: &str| analysis.units().any(|unit| unit.find(program, name).is_some());
    let (mut underscore, mut plain) = (0, 0);
    for own in units {
        let functions = own.unit.functions().iter().filter(|it| !it.is_static).map(|it| &it.name);
        let declared = own.unit.declarations().iter().map(|it| &it.name);
        let objects = own.unit.objects().iter().filter(|it| !it.is_static).map(|it| &it.name);
        for name in functions.chain(declared).chain(objects) {
            underscore += usize::from(is_known(&format!("_{name}")));
            plain += usize::from(is_known(name));
        }
    }
    if plain > underscore { Convention::Plain } else { Convention::Underscore }
}
