//! The families of source, and how a file's family is told.

/// A family of source syntax.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Dialect {
    /// Motorola syntax: the first blank ends the operand field, numbers are `$1F`, `%101`, `@17`.
    #[default]
    Motorola,
    /// Dotted Unix style: directives with a dot, comments with a mark, numbers as in C.
    Dotted,
}

impl Dialect {
    /// The name that settings and messages use.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Motorola => "motorola",
            Self::Dotted => "dotted",
        }
    }
}

/// Signs of the families that a piece of text holds. They do not depend on the dialect it was read with, and add up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Evidence {
    /// Directives without a dot.
    pub motorola: u32,
    /// Directives with a dot.
    pub dotted: u32,
}

impl Evidence {
    /// Both together.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self { motorola: self.motorola + other.motorola, dotted: self.dotted + other.dotted }
    }

    /// What the signs say; Motorola syntax when they are even.
    #[must_use]
    pub fn dialect(self) -> Dialect {
        if self.dotted > self.motorola { Dialect::Dotted } else { Dialect::Motorola }
    }
}
