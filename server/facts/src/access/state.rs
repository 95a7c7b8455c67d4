//! What is known of the registers before a line.

use reveille_program::CodeAt;

use crate::finding::Evidence;

/// Where a value stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// An operand of an instruction.
    Line(CodeAt, usize),
    /// An operand of a data line.
    Data(Evidence),
}

/// What is known of a register: some of its bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Known {
    /// The bits that are known; all others are 0.
    value: u32,
    /// Which bits are known.
    mask: u32,
    /// Where the value stands, if it is one place.
    pub(super) at: Option<Origin>,
}

/// The bits of an operand of so many bytes.
fn bits(bytes: u32) -> u32 {
    if bytes >= 4 { u32::MAX } else { (1 << (8 * bytes)) - 1 }
}

impl Known {
    pub(super) const NOTHING: Self = Self { value: 0, mask: 0, at: None };

    pub(super) fn constant(value: u32, at: Option<Origin>) -> Self {
        Self { value, mask: u32::MAX, at }
    }

    /// The low bytes, if all of their bits are known.
    pub(super) fn low(self, bytes: u32) -> Option<u32> {
        (self.mask & bits(bytes) == bits(bytes)).then_some(self.value & bits(bytes))
    }

    /// All 32 bits, if they are known.
    pub(super) fn all(self) -> Option<u32> {
        self.low(4)
    }

    /// The low word or the long word as a number with its sign.
    pub(super) fn signed(self, bytes: u32) -> Option<i64> {
        let value = self.low(bytes)?;
        Some(match bytes {
            1 => i64::from(value as u8 as i8),
            2 => i64::from(value as u16 as i16),
            _ => i64::from(value as i32),
        })
    }

    /// Puts the low bytes of another value in the place of its own.
    pub(super) fn with_low(self, bytes: u32, other: Self) -> Self {
        let bits = bits(bytes);
        let mask = self.mask & !bits | other.mask & bits;
        Self { value: (self.value & !bits | other.value & bits) & mask, mask, at: other.at }
    }

    /// Both at once: what two ways to a line agree on.
    pub(super) fn meet(self, other: Self) -> Self {
        let mask = self.mask & other.mask & !(self.value ^ other.value);
        let at = if self.at == other.at { self.at } else { None };
        Self { value: self.value & mask, mask, at }
    }

    pub(super) fn and(self, other: Self) -> Self {
        let zeros = self.mask & !self.value | other.mask & !other.value;
        Self { value: self.value & other.value, mask: self.mask & other.mask | zeros, at: other.at }
    }

    pub(super) fn or(self, other: Self) -> Self {
        let value = self.value | other.value;
        Self { value, mask: self.mask & other.mask | value, at: other.at }
    }

    pub(super) fn xor(self, other: Self) -> Self {
        let mask = self.mask & other.mask;
        Self { value: (self.value ^ other.value) & mask, mask, at: other.at }
    }

    pub(super) fn not(self) -> Self {
        Self { value: !self.value & self.mask, ..self }
    }

    pub(super) fn swapped(self) -> Self {
        Self { value: self.value.rotate_left(16), mask: self.mask.rotate_left(16), at: self.at }
    }
}

/// The data registers, then the address registers. Of A7 nothing is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct State([Known; 15]);

impl State {
    /// Nothing is known.
    pub(super) const NOTHING: Self = Self([Known::NOTHING; 15]);

    /// What is known of a register; D0 is 0, A7 is 15.
    pub(super) fn get(&self, register: usize) -> Known {
        self.0.get(register).copied().unwrap_or(Known::NOTHING)
    }

    pub(super) fn set(&mut self, register: usize, value: Known) {
        if let Some(place) = self.0.get_mut(register) {
            *place = value;
        }
    }

    /// Forgets the registers of a set: D0 in bit 0.
    pub(super) fn forget(&mut self, set: u16) {
        for (at, register) in self.0.iter_mut().enumerate() {
            if set >> at & 1 != 0 {
                *register = Known::NOTHING;
            }
        }
    }

    /// What this one and another agree on.
    pub(super) fn meet(&self, other: &Self) -> Self {
        let mut met = self.clone();
        for (own, other) in met.0.iter_mut().zip(&other.0) {
            *own = own.meet(*other);
        }
        met
    }

    /// The address registers that are known.
    pub(super) fn addresses(&self) -> impl Iterator<Item = u32> {
        self.0[8..].iter().filter_map(|it| it.all())
    }
}
