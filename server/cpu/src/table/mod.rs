//! The instruction table: one entry an instruction, one row a form. Encoding, decoding, times, legality and explanation are all read
//! from it.
//!
//! Encodings and condition codes: *M68000 Family Programmer's Reference Manual*, sections 4 and 8 (from memory; every first word is held
//! against two disassemblers and every form against an assembler in `tests/tests/oracle_cpu`). Times: *M68000 User's Manual*, ninth
//! edition, section 8 (every row of its tables is a test of this crate).

mod arithmetic;
mod control;
mod moves;

use crate::time::Rule;
use crate::{Kind, Kinds, Sizes};

/// A member of the family.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Cpu {
    /// 68000, with a bus of 16 bits.
    #[default]
    M68000,
    /// 68008, the same instructions on a bus of 8 bits.
    M68008,
    /// 68010, with a few instructions more.
    M68010,
}

impl Cpu {
    /// The names that settings use.
    pub const NAMES: [(&'static str, Self); 3] =
        [("68000", Self::M68000), ("68008", Self::M68008), ("68010", Self::M68010)];

    /// The member of a name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::NAMES.into_iter().find(|it| it.0 == name).map(|it| it.1)
    }

    /// The chip's number.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::NAMES[self as usize].0
    }
}

/// Where an operand of a form goes, and what it may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slot {
    /// There is no operand.
    None,
    /// An addressing mode in bits 5 to 0.
    Ea(Kinds),
    /// An addressing mode in bits 11 to 6, register first: the destination of MOVE.
    MoveTo(Kinds),
    /// Dn in bits 11 to 9.
    Dx,
    /// Dn in bits 2 to 0.
    Dy,
    /// An in bits 11 to 9.
    Ax,
    /// An in bits 2 to 0.
    Ay,
    /// `(An)+` with An in bits 11 to 9.
    PostX,
    /// `(An)+` with An in bits 2 to 0.
    PostY,
    /// `-(An)` with An in bits 11 to 9.
    PreX,
    /// `-(An)` with An in bits 2 to 0.
    PreY,
    /// `d16(An)` with An in bits 2 to 0.
    DisplacementY,
    /// A constant of the operation's size in extension words.
    Constant,
    /// A constant of 16 bits with a sign, in an extension word.
    Signed16,
    /// A constant of 16 bits in an extension word.
    Constant16,
    /// 1 to 8 in bits 11 to 9, 8 as 0.
    Quick,
    /// -128 to 127 in bits 7 to 0.
    Quick8,
    /// 0 to 15 in bits 3 to 0.
    Vector,
    /// 0 to 7 in bits 2 to 0.
    Breakpoint,
    /// The number of a bit in an extension word: 0 to 31 of a register, 0 to 7 of a byte.
    Bit,
    /// Registers in an extension word, D0 in bit 0.
    List,
    /// Registers in an extension word, A7 in bit 0: for `-(An)`.
    ListBackwards,
    /// A distance in bits 7 to 0, or in an extension word if those are 0.
    Branch,
    /// A distance in an extension word.
    Loop,
    /// SR
    Status,
    /// CCR
    Conditions,
    /// USP
    UserStack,
    /// A control register in bits 11 to 0 of an extension word.
    Control,
    /// Dn or An in bits 15 to 12 of an extension word.
    General,
}

impl Slot {
    /// The kinds of operand that it takes.
    #[must_use]
    pub const fn kinds(self) -> Kinds {
        match self {
            Self::None => Kinds::NONE,
            Self::Ea(kinds) | Self::MoveTo(kinds) => kinds,
            Self::Dx | Self::Dy => Kinds::only(Kind::Data),
            Self::Ax | Self::Ay => Kinds::only(Kind::Address),
            Self::PostX | Self::PostY => Kinds::only(Kind::PostIncrement),
            Self::PreX | Self::PreY => Kinds::only(Kind::PreDecrement),
            Self::DisplacementY => Kinds::only(Kind::Displacement),
            Self::Constant
            | Self::Signed16
            | Self::Constant16
            | Self::Quick
            | Self::Quick8
            | Self::Vector
            | Self::Breakpoint
            | Self::Bit => Kinds::only(Kind::Immediate),
            // One register is a list, too, and so is the word as a number.
            Self::List | Self::ListBackwards => Kinds::only(Kind::List)
                .or(Kinds::only(Kind::Data))
                .or(Kinds::only(Kind::Address))
                .or(Kinds::only(Kind::Immediate)),
            Self::Branch | Self::Loop => Kinds::only(Kind::Target),
            Self::Status => Kinds::only(Kind::Status),
            Self::Conditions => Kinds::only(Kind::Conditions),
            Self::UserStack => Kinds::only(Kind::UserStack),
            Self::Control => Kinds::only(Kind::Control).or(Kinds::only(Kind::UserStack)),
            Self::General => Kinds::only(Kind::Data).or(Kinds::only(Kind::Address)),
        }
    }
}

/// Where a form's first word tells the size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SizeField {
    /// Nowhere: the form has one size or none.
    None,
    /// Bits 7 and 6: 00 byte, 01 word, 10 long. In the pattern `ss`.
    Standard,
    /// One bit: 0 word, 1 long. In the pattern `z`.
    Bit(u8),
    /// Bits 13 and 12: 01 byte, 11 word, 10 long. In the pattern `pp`.
    Move,
}

/// One form of an instruction: what the operands may be and how they are encoded.
#[derive(Clone, Copy, Debug)]
pub struct Form {
    /// The first word, bit 15 first: `0` and `1` stand for themselves, `ss`, `z`, `pp` for the size, `cccc` for the condition, `x` and `y`
    /// for what the operand's slot puts there, `e` and `m` for the addressing modes of source and destination.
    pub pattern: &'static str,
    /// The sizes that it has; empty if it takes no size.
    pub sizes: Sizes,
    /// The operands.
    pub slots: [Slot; 2],
    /// How long it takes.
    pub rule: Rule,
    /// What happens to X N Z V C: `*` set by the result, `-` unchanged, `0` `1` fixed, `U` undefined.
    pub flags: &'static str,
    /// Whether it traps in user state.
    pub is_privileged: bool,
    /// The first member of the family that has it.
    pub since: Cpu,
    /// The bits of the pattern that are ones.
    pub value: u16,
    /// The bits of the pattern that are `0` or `1`.
    pub fixed: u16,
    /// Where the size is.
    pub size_field: SizeField,
    /// Whether bits 11 to 8 are a condition: `cccc` in the pattern.
    pub has_condition: bool,
    /// What each slot takes.
    pub takes: [Kinds; 2],
}

/// A form's row. The pattern is read while the program is compiled.
const fn form(sizes: &str, pattern: &'static str, slots: [Slot; 2], rule: Rule, flags: &'static str) -> Form {
    let bytes = pattern.as_bytes();
    let (mut value, mut fixed, mut bit, mut at) = (0_u16, 0_u16, 16_u8, 0);
    let mut size_field = SizeField::None;
    let mut has_condition = false;
    while at < bytes.len() {
        if bytes[at] != b' ' {
            bit -= 1;
            match bytes[at] {
                b'0' => fixed |= 1 << bit,
                b'1' => {
                    fixed |= 1 << bit;
                    value |= 1 << bit;
                }
                b's' => size_field = SizeField::Standard,
                b'z' => size_field = SizeField::Bit(bit),
                b'p' => size_field = SizeField::Move,
                b'c' => has_condition = true,
                _ => (),
            }
        }
        at += 1;
    }
    assert!(bit == 0, "a pattern has sixteen bits");
    let takes = [slots[0].kinds(), slots[1].kinds()];
    Form {
        pattern,
        sizes: Sizes::of(sizes),
        slots,
        rule,
        flags,
        is_privileged: false,
        since: Cpu::M68000,
        value,
        fixed,
        size_field,
        has_condition,
        takes,
    }
}

impl Form {
    const fn privileged(mut self) -> Self {
        self.is_privileged = true;
        self
    }

    const fn since(mut self, cpu: Cpu) -> Self {
        self.since = cpu;
        self
    }

    /// How many operands it takes.
    #[must_use]
    pub const fn operand_count(&self) -> usize {
        match self.slots {
            [Slot::None, _] => 0,
            [_, Slot::None] => 1,
            _ => 2,
        }
    }

    /// Whether it traps in user state on a member of the family: MOVE from SR does only from the 68010 on.
    #[must_use]
    pub fn is_privileged_on(&self, cpu: Cpu) -> bool {
        self.is_privileged || cpu == Cpu::M68010 && self.slots[0] == Slot::Status
    }
}

/// What the names of an instruction are made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// The name is the instruction's.
    Single,
    /// One name a condition, which is in bits 11 to 8: the instruction's name has `cc` in its place. The first condition that it has.
    Conditions(u8),
}

/// When a name stands for another instruction's forms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// Whenever the operands fit.
    Always,
    /// When the constant is written out as a number, and fits: names may change.
    Written,
}

/// An instruction.
#[derive(Clone, Copy, Debug)]
pub struct Instruction {
    /// In lower case; of a family of conditions with `cc`.
    pub name: &'static str,
    /// What its names are made of.
    pub family: Family,
    /// What it does in a line, for lists. In a family, `{}` stands for the condition.
    pub title: &'static str,
    /// The operation as a formula.
    pub operation: &'static str,
    /// What to know about it.
    pub description: &'static str,
    /// Its forms, in the order they are tried.
    pub forms: &'static [Form],
    /// Instructions whose forms its name stands for too; tried before its own.
    pub variants: &'static [(&'static str, When)],
}

/// An instruction's entry.
const fn instruction(
    name: &'static str,
    title: &'static str,
    operation: &'static str,
    description: &'static str,
    forms: &'static [Form],
) -> Instruction {
    Instruction { name, family: Family::Single, title, operation, description, forms, variants: &[] }
}

/// A condition that the flags can meet.
#[derive(Clone, Copy, Debug)]
pub struct Condition {
    /// Its letters, as they stand in Bcc, DBcc, Scc.
    pub name: &'static str,
    /// Other letters for it.
    pub other: &'static str,
    /// In words.
    pub title: &'static str,
    /// The flags.
    pub test: &'static str,
}

const fn condition(name: &'static str, other: &'static str, title: &'static str, test: &'static str) -> Condition {
    Condition { name, other, title, test }
}

/// The sixteen conditions in the order of their codes. BRA is code 0 and BSR code 1 of Bcc.
pub static CONDITIONS: [Condition; 16] = [
    condition("t", "", "always", "1"),
    condition("f", "", "never", "0"),
    condition("hi", "", "higher, unsigned", "C=0 and Z=0"),
    condition("ls", "", "lower or same, unsigned", "C=1 or Z=1"),
    condition("cc", "hs", "carry clear (higher or same, unsigned)", "C=0"),
    condition("cs", "lo", "carry set (lower, unsigned)", "C=1"),
    condition("ne", "", "not equal", "Z=0"),
    condition("eq", "", "equal", "Z=1"),
    condition("vc", "", "no overflow", "V=0"),
    condition("vs", "", "overflow", "V=1"),
    condition("pl", "", "plus", "N=0"),
    condition("mi", "", "minus", "N=1"),
    condition("ge", "", "greater or equal, signed", "N=V"),
    condition("lt", "", "less, signed", "N<>V"),
    condition("gt", "", "greater, signed", "Z=0 and N=V"),
    condition("le", "", "less or equal, signed", "Z=1 or N<>V"),
];

/// Every instruction.
pub fn instructions() -> impl Iterator<Item = &'static Instruction> {
    [arithmetic::INSTRUCTIONS, moves::INSTRUCTIONS, control::INSTRUCTIONS].into_iter().flatten()
}
