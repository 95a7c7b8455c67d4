//! What an operand can be.

use crate::Size;

/// The kind of an operand: the twelve addressing modes, and what stands where no addressing mode may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Kind {
    /// `Dn`
    Data,
    /// `An`
    Address,
    /// `(An)`
    Indirect,
    /// `(An)+`
    PostIncrement,
    /// `-(An)`
    PreDecrement,
    /// `d16(An)`
    Displacement,
    /// `d8(An,Xn)`
    Index,
    /// `xxx.W`
    AbsoluteShort,
    /// `xxx.L`
    AbsoluteLong,
    /// `d16(PC)`
    PcDisplacement,
    /// `d8(PC,Xn)`
    PcIndex,
    /// `#xxx`
    Immediate,
    /// An address without brackets and size: the target of a branch, or an absolute address whose length is open.
    Target,
    /// A list of registers.
    List,
    /// `SR`
    Status,
    /// `CCR`
    Conditions,
    /// `USP`
    UserStack,
    /// A control register of the 68010: `SFC`, `DFC`, `VBR`.
    Control,
}

impl Kind {
    /// Every kind, in the order of the table's bits.
    pub const ALL: [Self; 18] = [
        Self::Data,
        Self::Address,
        Self::Indirect,
        Self::PostIncrement,
        Self::PreDecrement,
        Self::Displacement,
        Self::Index,
        Self::AbsoluteShort,
        Self::AbsoluteLong,
        Self::PcDisplacement,
        Self::PcIndex,
        Self::Immediate,
        Self::Target,
        Self::List,
        Self::Status,
        Self::Conditions,
        Self::UserStack,
        Self::Control,
    ];

    /// How the kind is written, with `n` for a register and `d` for a value.
    #[must_use]
    pub fn spelling(self) -> &'static str {
        match self {
            Self::Data => "Dn",
            Self::Address => "An",
            Self::Indirect => "(An)",
            Self::PostIncrement => "(An)+",
            Self::PreDecrement => "-(An)",
            Self::Displacement => "d16(An)",
            Self::Index => "d8(An,Xn)",
            Self::AbsoluteShort => "xxx.W",
            Self::AbsoluteLong => "xxx.L",
            Self::PcDisplacement => "d16(PC)",
            Self::PcIndex => "d8(PC,Xn)",
            Self::Immediate => "#xxx",
            Self::Target => "label",
            Self::List => "list",
            Self::Status => "SR",
            Self::Conditions => "CCR",
            Self::UserStack => "USP",
            Self::Control => "VBR",
        }
    }

    /// Whether the operand is in memory.
    #[must_use]
    pub fn is_memory(self) -> bool {
        Kinds::MEMORY.has(self)
    }

    /// Extension words of the addressing mode; of an immediate, for its size. None for what is no addressing mode.
    #[must_use]
    pub fn extension_words(self, size: Size) -> u8 {
        match self {
            Self::Displacement | Self::Index | Self::AbsoluteShort | Self::PcDisplacement | Self::PcIndex => 1,
            Self::AbsoluteLong => 2,
            Self::Immediate if size == Size::Long => 2,
            Self::Immediate => 1,
            _ => 0,
        }
    }
}

/// A set of kinds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kinds(u32);

const fn set(kinds: &[Kind]) -> Kinds {
    let (mut bits, mut at) = (0, 0);
    while at < kinds.len() {
        bits |= 1 << kinds[at] as u32;
        at += 1;
    }
    Kinds(bits)
}

impl Kinds {
    /// No kind.
    pub const NONE: Self = Self(0);
    /// The twelve addressing modes.
    pub const ALL: Self = Self(0xfff);
    /// All modes but An: the data modes.
    pub const DATA: Self = Self(0xfff & !(1 << Kind::Address as u32));
    /// Modes that can be written to.
    pub const ALTERABLE: Self = Self(0x1ff);
    /// Alterable modes but An.
    pub const DATA_ALTERABLE: Self = Self(Self::ALTERABLE.0 & Self::DATA.0);
    /// Alterable modes in memory.
    pub const MEMORY_ALTERABLE: Self = Self(0x1fc);
    /// Modes that name a place in memory and change no register.
    pub const CONTROL: Self = set(&[
        Kind::Indirect,
        Kind::Displacement,
        Kind::Index,
        Kind::AbsoluteShort,
        Kind::AbsoluteLong,
        Kind::PcDisplacement,
        Kind::PcIndex,
    ]);
    /// Control modes that can be written to.
    pub const CONTROL_ALTERABLE: Self = Self(Self::CONTROL.0 & Self::ALTERABLE.0);
    /// Operands in memory: all modes but the registers and `#`.
    pub const MEMORY: Self = Self(0x7fc);

    /// The kind alone.
    #[must_use]
    pub const fn only(kind: Kind) -> Self {
        Self(1 << kind as u32)
    }

    /// Both sets.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// The set without another.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// What is in both sets.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// Whether a kind is in the set.
    #[must_use]
    pub const fn has(self, kind: Kind) -> bool {
        self.0 >> kind as u32 & 1 != 0
    }

    /// Whether an operand of a kind can stand here: an address whose length is open is a short or a long one.
    #[must_use]
    pub const fn takes(self, kind: Kind) -> bool {
        self.has(kind) || matches!(kind, Kind::Target) && self.has(Kind::AbsoluteLong)
    }

    /// Whether the set is empty.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The kinds of the set, in order.
    pub fn iter(self) -> impl Iterator<Item = Kind> {
        Kind::ALL.into_iter().filter(move |kind| self.has(*kind))
    }
}

/// An index register: D0 to D7 or A0 to A7, as a word or as a long.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub struct Index {
    /// The register's number, 0 to 7.
    pub number: u8,
    /// Whether it is an address register.
    pub is_address: bool,
    /// Whether all 32 bits count; else the low word, with its sign.
    pub is_long: bool,
}

/// An operand with its value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Operand {
    /// Its kind.
    pub kind: Kind,
    /// The register, 0 to 7; of a control register its code's low bits.
    pub register: u8,
    /// The index register of an indexed mode.
    pub index: Index,
    /// The displacement, address, constant, or list of registers (bit 0 is D0, bit 15 is A7). Of a PC-relative mode and of a branch:
    /// the address that is meant, not the distance.
    pub value: i64,
}

impl Operand {
    /// An operand that is a kind and a register.
    #[must_use]
    pub fn register(kind: Kind, register: u8) -> Self {
        Self { kind, register, index: Index::default(), value: 0 }
    }

    /// An operand that is a kind and a value.
    #[must_use]
    pub fn value(kind: Kind, value: i64) -> Self {
        Self { kind, register: 0, index: Index::default(), value }
    }
}

/// Codes of the 68010's control registers in MOVEC (*M68000 Family Programmer's Reference Manual*, MOVEC; from memory).
pub const CONTROL_REGISTERS: [(&str, u16); 4] = [("sfc", 0x000), ("dfc", 0x001), ("usp", 0x800), ("vbr", 0x801)];
