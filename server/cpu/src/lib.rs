//! The 68000, 68008 and 68010 as data.
//!
//! One instruction table (`table`) gives the names with their sizes and operands ([`names`](Mnemonic)), [`encode`] and [`decode`], the
//! legal forms ([`choose`]), the [`time`](time()) and the explanation. The crate knows no file, no line and no program.
//!
//! ```
//! use reveille_cpu::{decode, mnemonic, Size};
//! assert!(mnemonic("MOVEQ").unwrap().sizes.allows(Size::Long));
//! // RTS is $4E75 (M68000 Family Programmer's Reference Manual, RTS; from memory).
//! assert_eq!(decode(&[0x4e75], 0).unwrap().to_string(), "rts");
//! ```

mod choose;
mod decode;
mod effects;
mod encode;
mod later;
mod mnemonics;
mod operand;
mod print;
mod registers;
mod table;
mod time;
mod vectors;

pub use choose::{Choice, Misfit, choose, forms_of};
pub use decode::{Decoded, decode};
pub use effects::{MemoryUse, ends, leaves, memory_use, writes, written};
pub use encode::{Encoding, OperandProblem, encode, word_count};
pub use later::{is_later_register, later_processor};
pub use mnemonics::{Candidate, MNEMONICS, Mnemonic, Operands, mnemonic, mnemonic_index};
pub use operand::{CONTROL_REGISTERS, Index, Kind, Kinds, Operand};
pub use registers::{Register, register, unix_register};
pub use table::{CONDITIONS, Condition, Cpu, Family, Form, Instruction, SizeField, Slot, When, instructions};
pub use time::{Clocks, EXCEPTIONS, Rule, Time, address_time, time};
pub use vectors::{Stacked, VECTOR_COUNT, Vector, vector, vector_at};

/// An operation size: the letter behind the dot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Size {
    /// `.B`, 8 bits.
    Byte,
    /// `.W`, 16 bits.
    Word,
    /// `.L`, 32 bits.
    Long,
    /// `.S`, a short branch.
    Short,
}

impl Size {
    /// The size that a suffix letter names, in either case; none for another letter.
    #[must_use]
    pub fn from_letter(letter: u8) -> Option<Self> {
        match letter.to_ascii_lowercase() {
            b'b' => Some(Self::Byte),
            b'w' => Some(Self::Word),
            b'l' => Some(Self::Long),
            b's' => Some(Self::Short),
            _ => None,
        }
    }

    /// The suffix letter in lower case.
    #[must_use]
    pub fn letter(self) -> char {
        match self {
            Self::Byte => 'b',
            Self::Word => 'w',
            Self::Long => 'l',
            Self::Short => 's',
        }
    }

    /// Bytes of an operand of this size; a short branch has a displacement of one byte.
    #[must_use]
    pub fn bytes(self) -> u32 {
        match self {
            Self::Byte | Self::Short => 1,
            Self::Word => 2,
            Self::Long => 4,
        }
    }
}

/// A set of sizes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Sizes(u8);

impl Sizes {
    /// No suffix is taken.
    pub const NONE: Self = Self(0);

    /// The sizes that the letters of `letters` (`b`, `w`, `l`, `s`) name.
    #[must_use]
    pub const fn of(letters: &str) -> Self {
        let bytes = letters.as_bytes();
        let (mut set, mut at) = (0, 0);
        while at < bytes.len() {
            set |= match bytes[at] {
                b'b' => 1,
                b'w' => 2,
                b'l' => 4,
                b's' => 8,
                _ => 0,
            };
            at += 1;
        }
        Self(set)
    }

    /// Whether `size` is in the set.
    #[must_use]
    pub const fn allows(self, size: Size) -> bool {
        self.0 & (1 << size as u8) != 0
    }

    /// Both sets.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether the set is empty.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The sizes of the set, smallest first.
    pub fn iter(self) -> impl Iterator<Item = Size> {
        [Size::Byte, Size::Word, Size::Long, Size::Short].into_iter().filter(move |size| self.allows(*size))
    }
}
