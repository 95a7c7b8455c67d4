//! The families of source, how a file's family is told, and what differs between them.

/// A family of source syntax.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default, PartialOrd, Ord)]
pub enum Dialect {
    /// Motorola syntax: the first blank ends the operand field, numbers are `$1F`, `%101`, `@17`.
    #[default]
    Motorola,
    /// Dotted Unix style: directives with a dot, comments with a mark, numbers as in C.
    Dotted,
    /// MIT syntax: the dotted style with `a0@` modes, sizes joined to the mnemonic, and `|` for comments.
    Mit,
    /// The Unix style with `&` for immediates, `%` before registers and `#` for comments.
    Sgs,
}

/// What a dialect makes of a line: one row a dialect, and the one place that knows.
#[derive(Clone, Copy, Debug)]
pub struct Syntax {
    /// The dialect.
    pub dialect: Dialect,
    /// The name that settings, messages and `@dialect` use.
    pub name: &'static str,
    /// What it is, for people.
    pub title: &'static str,
    /// A blank ends the operand field, and what follows needs no mark to be a comment.
    pub blank_ends_operands: bool,
    /// A size may be joined to the mnemonic: `movl`.
    pub joins_sizes: bool,
    /// `|` starts a comment wherever it stands outside of quotes and brackets; in the dotted style only behind blanks.
    pub bar_is_comment: bool,
    /// `#` starts a comment wherever it stands outside of quotes and brackets.
    pub hash_is_comment: bool,
    /// Names may hold `%` and `~` behind their first character.
    pub percent_in_names: bool,
    /// The operands of CMP stand in the other order: what is compared comes first (from memory).
    pub compare_is_reversed: bool,
}

/// Every dialect.
pub static SYNTAXES: [Syntax; 4] = [
    Syntax {
        dialect: Dialect::Motorola,
        name: "motorola",
        title: "Motorola syntax",
        blank_ends_operands: true,
        joins_sizes: false,
        bar_is_comment: false,
        hash_is_comment: false,
        percent_in_names: false,
        compare_is_reversed: false,
    },
    Syntax {
        dialect: Dialect::Dotted,
        name: "dotted",
        title: "dotted Unix style",
        blank_ends_operands: false,
        joins_sizes: true,
        bar_is_comment: false,
        hash_is_comment: false,
        percent_in_names: false,
        compare_is_reversed: false,
    },
    Syntax {
        dialect: Dialect::Mit,
        name: "mit",
        title: "MIT syntax",
        blank_ends_operands: false,
        joins_sizes: true,
        bar_is_comment: true,
        hash_is_comment: false,
        percent_in_names: false,
        compare_is_reversed: false,
    },
    Syntax {
        dialect: Dialect::Sgs,
        name: "sgs",
        title: "Unix style with & for immediates",
        blank_ends_operands: false,
        joins_sizes: true,
        bar_is_comment: false,
        hash_is_comment: true,
        percent_in_names: true,
        compare_is_reversed: true,
    },
];

impl Dialect {
    /// What it makes of a line.
    #[must_use]
    pub fn syntax(self) -> &'static Syntax {
        &SYNTAXES[self as usize]
    }

    /// The name that settings and messages use.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.syntax().name
    }

    /// The dialect of a name, in any case.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        SYNTAXES.iter().find(|it| it.name.eq_ignore_ascii_case(name)).map(|it| it.dialect)
    }

    /// Whether it is one of the Unix families: comments need a mark, blanks may stand in operands, numbers are as in C.
    #[must_use]
    pub fn is_unix(self) -> bool {
        !self.syntax().blank_ends_operands
    }
}

/// Where the text of a file's first line says `@dialect NAME`: the dialect, for this file alone and whatever else is said.
#[must_use]
pub fn marked_dialect(first_line: &str) -> Option<Dialect> {
    let rest = first_line.split_once("@dialect")?.1;
    let name = rest.trim_start();
    if name.len() == rest.len() {
        return None;
    }
    Dialect::from_name(name.split(|it: char| !it.is_ascii_alphanumeric()).next()?)
}

/// Signs of the families that a piece of text holds, weighed. They do not depend on the dialect it was read with, and add up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Evidence {
    /// Directives without a dot, labels in column one before an instruction.
    pub motorola: u32,
    /// Directives with a dot, comments behind `|`, numbers as in C, registers behind `%`.
    pub dotted: u32,
    /// `a0@` modes and sizes joined to mnemonics.
    pub mit: u32,
    /// Immediates behind `&`, `set name,value`.
    pub sgs: u32,
}

impl Evidence {
    /// Both together.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            motorola: self.motorola + other.motorola,
            dotted: self.dotted + other.dotted,
            mit: self.mit + other.mit,
            sgs: self.sgs + other.sgs,
        }
    }

    /// What the signs say; Motorola syntax when they are even.
    #[must_use]
    pub fn dialect(self) -> Dialect {
        if self.motorola >= self.dotted + self.mit + self.sgs {
            Dialect::Motorola
        } else if self.sgs > self.mit && self.sgs > self.dotted / 8 {
            Dialect::Sgs
        } else if self.mit > self.dotted / 8 {
            // A few such modes in a file of the dotted style are read there as well.
            Dialect::Mit
        } else {
            Dialect::Dotted
        }
    }
}
