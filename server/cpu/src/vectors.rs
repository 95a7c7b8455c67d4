//! The 256 exception vectors.
//!
//! *M68000 User's Manual*, ninth edition, table 6-2 (numbers, names) and 6.2.3 (groups, priorities). What the stacked program counter points
//! to is from memory of the same manual. Each row is held against `tests/data/vectors.csv`.

use crate::Cpu;

/// How many vectors there are.
pub const VECTOR_COUNT: u16 = 256;

/// The program counter in an exception's stack frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stacked {
    /// Nothing is stacked: reset, and vectors that nothing takes.
    Nothing,
    /// Somewhere behind the first word of the instruction at fault.
    Behind,
    /// The instruction that took the exception.
    Own(&'static str),
    /// The next instruction.
    Next,
}

impl Stacked {
    /// In words; none where nothing is stacked.
    #[must_use]
    pub fn text(self) -> Option<&'static str> {
        match self {
            Self::Nothing => None,
            Self::Behind => Some("unpredictable: 2 to 10 bytes past the first word of the instruction"),
            Self::Own(text) => Some(text),
            Self::Next => Some("next instruction"),
        }
    }
}

/// Vectors with one description. `{n}` in the name counts them from 0, `{l}` from 1.
struct Row {
    first: u8,
    last: u8,
    name: &'static str,
    /// Group and priority in it, as printed: `1.2`, `2`; empty for vectors without one.
    priority: &'static str,
    stacked: Stacked,
}

const fn row(first: u8, last: u8, name: &'static str, priority: &'static str, stacked: Stacked) -> Row {
    Row { first, last, name, priority, stacked }
}

const UNASSIGNED: &str = "(unassigned, reserved)";
const OFFENDING: Stacked = Stacked::Own("the offending instruction");

const ROWS: [Row; 21] = [
    row(0, 0, "Reset: initial SSP", "0.0", Stacked::Nothing),
    row(1, 1, "Reset: initial PC", "0.0", Stacked::Nothing),
    row(2, 2, "Bus error", "0.2", Stacked::Behind),
    row(3, 3, "Address error", "0.1", Stacked::Behind),
    row(4, 4, "Illegal instruction", "1.2", Stacked::Own("the illegal instruction")),
    row(5, 5, "Zero divide", "2", Stacked::Next),
    row(6, 6, "CHK instruction", "2", Stacked::Next),
    row(7, 7, "TRAPV instruction", "2", Stacked::Next),
    row(8, 8, "Privilege violation", "1.2", OFFENDING),
    row(9, 9, "Trace", "1.0", Stacked::Next),
    row(10, 10, "Line 1010 emulator", "1.2", OFFENDING),
    row(11, 11, "Line 1111 emulator", "1.2", OFFENDING),
    row(12, 13, UNASSIGNED, "", Stacked::Nothing),
    row(14, 14, "Format error (68010 only; reserved on the 68000 and 68008)", "", Stacked::Own("the RTE instruction")),
    row(15, 15, "Uninitialized interrupt vector", "1.1", Stacked::Next),
    row(16, 23, UNASSIGNED, "", Stacked::Nothing),
    row(24, 24, "Spurious interrupt", "1.1", Stacked::Next),
    row(25, 31, "Level {l} interrupt autovector", "1.1", Stacked::Next),
    row(32, 47, "TRAP #{n} instruction", "2", Stacked::Next),
    row(48, 63, UNASSIGNED, "", Stacked::Nothing),
    row(64, 255, "User interrupt vector {n}", "1.1", Stacked::Next),
];

/// An exception vector.
#[derive(Clone, Copy)]
pub struct Vector {
    /// Its number, 0 to 255.
    pub number: u8,
    row: &'static Row,
}

/// The vector of a number.
#[must_use]
pub fn vector(number: u8) -> Vector {
    let at = ROWS.partition_point(|it| it.last < number).min(ROWS.len() - 1);
    Vector { number, row: &ROWS[at] }
}

/// The vector that an address is that of, counted from the vector base: a multiple of 4 below $400.
#[must_use]
pub fn vector_at(address: i64) -> Option<Vector> {
    (address % 4 == 0).then_some(address / 4).and_then(|it| u8::try_from(it).ok()).map(vector)
}

impl Vector {
    /// Where it lies, counted from the vector base, which is 0 on the 68000 and 68008 and in VBR on the 68010.
    #[must_use]
    pub fn address(self) -> u16 {
        u16::from(self.number) * 4
    }

    /// Its name as the table prints it: `Bus error`, `TRAP #3 instruction`.
    #[must_use]
    pub fn name(self) -> String {
        let at = self.number - self.row.first;
        self.row.name.replace("{n}", &at.to_string()).replace("{l}", &(at + 1).to_string())
    }

    /// Its name within a sentence: `bus error`, `level 3 interrupt autovector`, `reserved`.
    #[must_use]
    pub fn words(self, cpu: Cpu) -> String {
        if self.number == 14 && cpu == Cpu::M68010 {
            return "format error".to_owned();
        }
        if self.is_reserved(cpu) {
            return "reserved".to_owned();
        }
        let name = self.name();
        match name.as_bytes() {
            // CHK, TRAP and TRAPV are written as they are.
            [_, second, ..] if second.is_ascii_uppercase() => name,
            _ => name[..1].to_ascii_lowercase() + &name[1..],
        }
    }

    /// The group of its exception, 0 to 2; none for a vector that has no exception.
    #[must_use]
    pub fn group(self) -> Option<u8> {
        self.row.priority.bytes().next().map(|it| it - b'0')
    }

    /// Group and, behind a dot, the place in the group: `1.2`; the first is served first. Empty for a vector that has no exception.
    #[must_use]
    pub fn priority(self) -> &'static str {
        self.row.priority
    }

    /// What the stacked program counter points to.
    #[must_use]
    pub fn stacked(self) -> Stacked {
        self.row.stacked
    }

    /// Whether nothing takes it: unassigned, or the format error of another member of the family.
    #[must_use]
    pub fn is_reserved(self, cpu: Cpu) -> bool {
        self.row.name == UNASSIGNED || self.number == 14 && cpu != Cpu::M68010
    }

    /// Whether it is fetched at reset, and holds a stack pointer or a start address and no handler.
    #[must_use]
    pub fn is_reset(self) -> bool {
        self.number < 2
    }

    /// The bytes that the exception stacks; none for reset and reserved vectors.
    ///
    /// M68000 User's Manual, figures 6-7 and 6-8 (the frames of the 68000 from memory).
    #[must_use]
    pub fn frame_bytes(self, cpu: Cpu) -> Option<u8> {
        if self.is_reset() || self.is_reserved(cpu) {
            return None;
        }
        Some(match (matches!(self.number, 2 | 3), cpu) {
            (true, Cpu::M68010) => 58,
            (true, _) => 14,
            (false, Cpu::M68010) => 8,
            (false, _) => 6,
        })
    }
}

impl std::fmt::Debug for Vector {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "vector {}", self.number)
    }
}

#[cfg(test)]
mod tests {
    use super::{ROWS, vector, vector_at};
    use crate::Cpu;

    #[test]
    fn rows_follow_each_other_without_a_gap() {
        assert_eq!((ROWS[0].first, ROWS[ROWS.len() - 1].last), (0, 255));
        assert!(ROWS.windows(2).all(|it| it[0].last + 1 == it[1].first));
    }

    // M68000 User's Manual, ninth edition, table 6-2; frames: figure 6-8, and from memory.
    #[test]
    fn vectors_are_named_in_sentences() {
        let words = |number| vector(number).words(Cpu::M68000);
        assert_eq!(words(2), "bus error");
        assert_eq!(words(6), "CHK instruction");
        assert_eq!(words(14), "reserved");
        assert_eq!(vector(14).words(Cpu::M68010), "format error");
        assert_eq!(words(27), "level 3 interrupt autovector");
        assert_eq!(words(47), "TRAP #15 instruction");
        assert_eq!(vector_at(0x6c).map(|it| it.number), Some(27));
        assert_eq!(vector_at(0x6e).map(|it| it.number), None);
        assert_eq!(vector_at(0x400).map(|it| it.number), None);
        assert_eq!(vector_at(-4).map(|it| it.number), None);
        assert_eq!(vector(3).frame_bytes(Cpu::M68000), Some(14));
        assert_eq!(vector(3).frame_bytes(Cpu::M68010), Some(58));
        assert_eq!(vector(25).frame_bytes(Cpu::M68000), Some(6));
        assert_eq!(vector(1).frame_bytes(Cpu::M68000), None);
    }
}
