//! Operands of instructions: which addressing mode a text is, and where its value stands.

use std::ops::Range;

use reveille_cpu::{Index, Kind, Register};
use reveille_source::{Dialect, is_word_byte, register_named};

/// An operand as it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Shape {
    /// The addressing mode; [`Kind::Target`] for an address without brackets and size, or a name of a register.
    pub(crate) kind: Kind,
    /// The register's number; the list of a [`Kind::List`].
    pub(crate) register: u16,
    pub(crate) index: Index,
    /// Where the displacement, address or constant stands; empty if there is none.
    pub(crate) value: Range<usize>,
    /// Only later members of the family have it.
    pub(crate) is_later: bool,
}

impl Shape {
    fn register(kind: Kind, register: u8) -> Self {
        Self { kind, register: register.into(), index: Index::default(), value: 0..0, is_later: false }
    }

    fn value(kind: Kind, value: Range<usize>) -> Self {
        Self { kind, register: 0, index: Index::default(), value, is_later: false }
    }
}

fn trim(text: &[u8], range: Range<usize>) -> Range<usize> {
    let blank = |at: &usize| matches!(text[*at], b' ' | b'\t');
    let start = range.clone().find(|at| !blank(at)).unwrap_or(range.end);
    let end = range.rev().find(|at| !blank(at)).map_or(start, |at| at + 1);
    start..end.max(start)
}

/// The register that a part of a line is.
fn register_at(text: &str, range: Range<usize>, dialect: Dialect) -> Option<Register> {
    if !(2..=4).contains(&range.len()) {
        return None;
    }
    register_named(text.get(range)?, dialect)
}

fn kind_of(register: Register) -> Option<Shape> {
    Some(match register {
        Register::Data(number) => Shape::register(Kind::Data, number),
        Register::Address(number) => Shape::register(Kind::Address, number),
        Register::Sr => Shape::register(Kind::Status, 0),
        Register::Ccr => Shape::register(Kind::Conditions, 0),
        Register::Usp => Shape::register(Kind::UserStack, 2),
        Register::Sfc => Shape::register(Kind::Control, 0),
        Register::Dfc => Shape::register(Kind::Control, 1),
        Register::Vbr => Shape::register(Kind::Control, 3),
        Register::Pc | Register::Ssp => return None,
    })
}

/// Reads an operand: what `text[range]` is. Errors are left to whoever reads the value in it: what is no known mode is an expression.
pub(crate) fn shape(text: &str, range: Range<usize>, dialect: Dialect) -> Shape {
    let b = text.as_bytes();
    let range = trim(b, range);
    let (start, end) = (range.start, range.end);
    if start == end {
        return Shape::value(Kind::Target, range);
    }
    if b[start] == b'#' || b[start] == b'&' && dialect.is_unix() {
        return Shape::value(Kind::Immediate, without_size(b, trim(b, start + 1..end), dialect));
    }
    if let Some(found) = register_at(text, range.clone(), dialect).and_then(kind_of) {
        return found;
    }
    if dialect.is_unix()
        && let Some(found) = at_mode(text, start, end, dialect)
    {
        return found;
    }
    match b[end - 1] {
        b'+' if end - start > 3 && b[end - 2] == b')' && b[start] == b'(' => {
            if let Some(Register::Address(number)) = register_at(text, trim(b, start + 1..end - 2), dialect) {
                return Shape::register(Kind::PostIncrement, number);
            }
        }
        b')' => {
            if let Some(found) = brackets(text, start, end, dialect) {
                return found;
            }
        }
        b'w' | b'W' | b'l' | b'L' if end - start > 2 && is_size_mark(b[end - 2], dialect) => {
            let kind = if b[end - 1] | 0x20 == b'w' { Kind::AbsoluteShort } else { Kind::AbsoluteLong };
            return Shape::value(kind, start..end - 2);
        }
        _ => (),
    }
    if let Some(list) = list(text, start, end, dialect) {
        return Shape { register: list, ..Shape::register(Kind::List, 0) };
    }
    let is_later = is_later(&text[range.clone()], dialect);
    Shape { is_later, ..Shape::value(Kind::Target, range) }
}

/// Whether an operand that is no mode of the 68000 is one of a later member of the family: an index times a number, memory indirect, a pair of
/// registers, a field of bits, one of their registers (*M68000 Family Programmer's Reference Manual*, section 2; from memory).
fn is_later(operand: &str, dialect: Dialect) -> bool {
    // Most operands that come here are names.
    let is_sign = |byte: &u8| matches!(byte, b':' | b'/' | b'-' | b'(' | b'[' | b'{' | b'%');
    if !operand.as_bytes().iter().any(is_sign) {
        let may_be = matches!(operand.as_bytes(), [b'f' | b'F' | b'c' | b'C', ..]) && operand.len() <= 5;
        return may_be && reveille_cpu::is_later_register(operand);
    }
    let is_register =
        |word: &str| register_named(word.trim(), dialect).is_some() || reveille_cpu::is_later_register(word.trim());
    if reveille_cpu::is_later_register(operand) {
        return true;
    }
    if let Some((left, right)) = operand.split_once(':')
        && is_register(left.trim_matches(['(', ')']))
        && is_register(right.trim_matches(['(', ')']))
    {
        return true;
    }
    if operand.split(['/', '-']).all(is_register) && operand.contains(['/', '-']) {
        return true;
    }
    let Some(open) = operand.find(['(', '[', '{']) else { return false };
    let inside = &operand[open..];
    let has_register = inside.split(|it: char| !(it.is_ascii_alphanumeric() || it == '%')).any(is_register);
    let is_scaled = |mark: char| {
        inside.match_indices(mark).any(|(at, _)| {
            let digit = inside[at + 1..].trim_start().bytes().next();
            matches!(digit, Some(b'1' | b'2' | b'4' | b'8'))
        })
    };
    has_register
        && (inside.contains("([")
            || inside.contains('{')
            || inside.contains(",[")
            || inside.starts_with("(,")
            || inside.contains("@(")
            || inside.contains(")@")
            || is_scaled('*')
            || is_scaled(':')
            || inside.contains(',')
            || is_data_register_in_brackets(inside, dialect))
}

/// `(d0)`: a base that only a data register is.
fn is_data_register_in_brackets(text: &str, dialect: Dialect) -> bool {
    let word = text.strip_prefix('(').and_then(|it| it.strip_suffix(')'));
    word.and_then(|it| register_named(it.trim(), dialect)).is_some_and(|it| matches!(it, Register::Data(_)))
}

/// The kind of an operand by its text alone.
#[must_use]
pub fn operand_kind(text: &str, range: Range<usize>, dialect: Dialect) -> Kind {
    shape(text, range, dialect).kind
}

/// What stands before a size in an operand: a dot, and a colon in the Unix families (*Using as* 2.40, 9.22.2).
fn is_size_mark(byte: u8, dialect: Dialect) -> bool {
    byte == b'.' || byte == b':' && dialect.is_unix()
}

/// A constant without the size that the Unix families may write behind it: `#name:l`.
fn without_size(b: &[u8], range: Range<usize>, dialect: Dialect) -> Range<usize> {
    match b[range.clone()] {
        [.., b':', b'w' | b'l' | b'W' | b'L'] if dialect.is_unix() => range.start..range.end - 2,
        _ => range,
    }
}

/// Modes with an `@` behind a register: `a0@`, `a0@+`, `a0@-`, `a0@(4)`, `a0@(4,d1:w)`, `pc@(2)` (*Using as* 2.40, 9.22.2).
fn at_mode(text: &str, start: usize, end: usize, dialect: Dialect) -> Option<Shape> {
    let b = text.as_bytes();
    let at = start + b[start..end.min(start + 5)].iter().position(|byte| *byte == b'@')?;
    let base = register_at(text, start..at, dialect)?;
    let number = match base {
        Register::Address(number) => Some(number),
        Register::Pc => None,
        _ => return None,
    };
    match (&b[at + 1..end], number) {
        ([], Some(number)) => Some(Shape::register(Kind::Indirect, number)),
        ([b'+'], Some(number)) => Some(Shape::register(Kind::PostIncrement, number)),
        ([b'-'], Some(number)) => Some(Shape::register(Kind::PreDecrement, number)),
        ([b'(', inside @ .., b')'], _) if !inside.contains(&b'@') => {
            let open = at + 2;
            let comma = inside.iter().rposition(|byte| *byte == b',').map(|found| open + found);
            let (value, index) = match comma {
                Some(comma) => (open..comma, Some(index_register(text, trim(b, comma + 1..end - 1), dialect)?)),
                None => match index_register(text, trim(b, open..end - 1), dialect) {
                    Some(index) => (open..open, Some(index)),
                    None => (open..end - 1, None),
                },
            };
            let value = without_size(b, trim(b, value), dialect);
            // An index times a number: `d1:l:4`.
            let is_later =
                index.is_none() && (b[value.clone()].contains(&b':') || is_later(&text[at + 1..end], dialect));
            let kind = match (number.is_some(), index.is_some()) {
                (true, false) => Kind::Displacement,
                (true, true) => Kind::Index,
                (false, false) => Kind::PcDisplacement,
                (false, true) => Kind::PcIndex,
            };
            let index = index.unwrap_or_default();
            Some(Shape { value, index, is_later, ..Shape::register(kind, number.unwrap_or(0)) })
        }
        _ => None,
    }
}

/// Modes that end with a closing bracket.
fn brackets(text: &str, start: usize, end: usize, dialect: Dialect) -> Option<Shape> {
    let b = text.as_bytes();
    let open = {
        let mut depth = 0;
        (start..end).rev().find(|at| {
            match b[*at] {
                b')' => depth += 1,
                b'(' => depth -= 1,
                _ => (),
            }
            depth == 0
        })?
    };
    let inside = open + 1..end - 1;
    // The parts between commas: three at most.
    let mut parts: [Range<usize>; 3] = [0..0, 0..0, 0..0];
    let (mut count, mut depth, mut from) = (0, 0, inside.start);
    for at in inside.clone() {
        match b[at] {
            b'(' => depth += 1,
            b')' => depth -= 1,
            b',' if depth == 0 => {
                *parts.get_mut(count)? = trim(b, from..at);
                count += 1;
                from = at + 1;
            }
            _ => (),
        }
    }
    *parts.get_mut(count)? = trim(b, from..inside.end);
    count += 1;
    let before = trim(b, start..open);
    // The displacement stands before the brackets, or as the first part in them.
    let first = register_at(text, parts[0].clone(), dialect);
    let (value, base, rest) = match first {
        Some(base @ (Register::Address(_) | Register::Pc)) => (before.clone(), base, &parts[1..count]),
        _ if before.is_empty() && count > 1 => match register_at(text, parts[1].clone(), dialect) {
            Some(base @ (Register::Address(_) | Register::Pc)) => (parts[0].clone(), base, &parts[2..count]),
            _ => return None,
        },
        _ => return None,
    };
    let index = match rest {
        [] => None,
        [index] => Some(index_register(text, index.clone(), dialect)?),
        _ => return None,
    };
    Some(match (base, index) {
        (Register::Address(number), None) if value.is_empty() => Shape::register(Kind::Indirect, number),
        (Register::Address(number), None) if value.len() == 1 && b[value.start] == b'-' => {
            Shape::register(Kind::PreDecrement, number)
        }
        (Register::Address(number), None) => Shape { value, ..Shape::register(Kind::Displacement, number) },
        (Register::Address(number), Some(index)) => Shape { value, index, ..Shape::register(Kind::Index, number) },
        (_, None) => Shape { value, ..Shape::register(Kind::PcDisplacement, 0) },
        (_, Some(index)) => Shape { value, index, ..Shape::register(Kind::PcIndex, 0) },
    })
}

/// `d0`, `a1.w`, `d2.l`; without a size a word in Motorola syntax, and a long in the Unix families (GNU as 2.40 for the latter).
fn index_register(text: &str, range: Range<usize>, dialect: Dialect) -> Option<Index> {
    let b = text.as_bytes();
    let (name, is_long) = match b[range.clone()] {
        [.., mark, size] if is_size_mark(mark, dialect) => {
            let is_long = match size | 0x20 {
                b'w' => false,
                b'l' => true,
                _ => return None,
            };
            (range.start..range.end - 2, is_long)
        }
        _ => (range, dialect.is_unix()),
    };
    match register_at(text, name, dialect)? {
        Register::Data(number) => Some(Index { number, is_address: false, is_long }),
        Register::Address(number) => Some(Index { number, is_address: true, is_long }),
        _ => None,
    }
}

/// `d0-d3/a0`: a set of registers, D0 in bit 0 and A7 in bit 15. A range may go from data to address registers.
pub(crate) fn list(text: &str, start: usize, end: usize, dialect: Dialect) -> Option<u16> {
    let b = text.as_bytes();
    // Names and expressions have no register at their start.
    if !matches!(b[start] | 0x20, b'd' | b'a' | b's' | b'f') && b[start] != b'%' {
        return None;
    }
    let mut set = 0_u16;
    let mut at = start;
    let mut first = None;
    loop {
        let word = at;
        at += usize::from(b.get(at) == Some(&b'%'));
        while at < end && is_word_byte(b[at]) {
            at += 1;
        }
        let number = match register_at(text, word..at, dialect)? {
            Register::Data(number) => number,
            Register::Address(number) => 8 + number,
            _ => return None,
        };
        let from: u8 = first.take().unwrap_or(number);
        for bit in from.min(number)..=from.max(number) {
            set |= 1 << bit;
        }
        if at == end {
            return Some(set);
        }
        match b[at] {
            b'-' => first = Some(number),
            b'/' => (),
            _ => return None,
        }
        at += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::{Shape, shape};
    use reveille_cpu::{Index, Kind};
    use reveille_source::Dialect;

    fn read(text: &str) -> (Kind, u16, &str) {
        let Shape { kind, register, value, .. } = shape(text, 0..text.len(), Dialect::Motorola);
        (kind, register, &text[value])
    }

    // *Using as* 2.40, 9.22.2; the size of an index without one as GNU as 2.40 takes it.
    #[test]
    fn modes_with_an_at_sign_are_told_apart() {
        let read = |text| {
            let Shape { kind, register, value, index, .. } = shape(text, 0..text.len(), Dialect::Mit);
            (kind, register, &text[value], index)
        };
        let none = Index::default();
        let d1 = |is_long| Index { number: 1, is_address: false, is_long };
        assert_eq!(read("a0@"), (Kind::Indirect, 0, "", none));
        assert_eq!(read("sp@+"), (Kind::PostIncrement, 7, "", none));
        assert_eq!(read("%fp@-"), (Kind::PreDecrement, 6, "", none));
        assert_eq!(read("a0@(LEN+2)"), (Kind::Displacement, 0, "LEN+2", none));
        assert_eq!(read("a0@(4,d1:w)"), (Kind::Index, 0, "4", d1(false)));
        assert_eq!(read("a0@(4,d1)"), (Kind::Index, 0, "4", d1(true)));
        assert_eq!(read("a0@(d1:l)"), (Kind::Index, 0, "", d1(true)));
        assert_eq!(read("pc@(table)"), (Kind::PcDisplacement, 0, "table", none));
        assert_eq!(read("pc@(2,d1:w)"), (Kind::PcIndex, 0, "2", d1(false)));
        assert_eq!(read("_var:w"), (Kind::AbsoluteShort, 0, "_var", none));
        assert_eq!(read("#_var:l"), (Kind::Immediate, 0, "_var", none));
        assert_eq!(read("&5"), (Kind::Immediate, 0, "5", none));
        assert_eq!(read("a0@(8)@(4)").0, Kind::Target);
        assert_eq!(read("a@b").0, Kind::Target);
    }

    // Operand syntax: the CPU maker's resident assembler (from memory) and *Using as* 2.40, 9.22.3.
    #[test]
    fn every_mode_is_told_apart() {
        assert_eq!(read("d3"), (Kind::Data, 3, ""));
        assert_eq!(read("SP"), (Kind::Address, 7, ""));
        assert_eq!(read("(a0)"), (Kind::Indirect, 0, ""));
        assert_eq!(read("( a0 )+"), (Kind::PostIncrement, 0, ""));
        assert_eq!(read("-(sp)"), (Kind::PreDecrement, 7, ""));
        assert_eq!(read("LEN+2(a1)"), (Kind::Displacement, 1, "LEN+2"));
        assert_eq!(read("(-4)(a1)"), (Kind::Displacement, 1, "(-4)"));
        assert_eq!(read("(8,a1)"), (Kind::Displacement, 1, "8"));
        assert_eq!(read("-2(a1,d0.w)"), (Kind::Index, 1, "-2"));
        assert_eq!(read("(a1,d0.l)"), (Kind::Index, 1, ""));
        assert_eq!(read("(4,a1,a0)"), (Kind::Index, 1, "4"));
        assert_eq!(read("table.w"), (Kind::AbsoluteShort, 0, "table"));
        assert_eq!(read("(table+2).L"), (Kind::AbsoluteLong, 0, "(table+2)"));
        assert_eq!(read("text(pc)"), (Kind::PcDisplacement, 0, "text"));
        assert_eq!(read("(text,pc,d1.w)"), (Kind::PcIndex, 0, "text"));
        assert_eq!(read("#1+2"), (Kind::Immediate, 0, "1+2"));
        assert_eq!(read("(table)"), (Kind::Target, 0, "(table)"));
        assert_eq!(read("d0-d2/a6"), (Kind::List, 0x4007, ""));
        assert_eq!(read("d6-a1"), (Kind::List, 0x03c0, ""));
        assert_eq!(read("d0-count"), (Kind::Target, 0, "d0-count"));
        assert_eq!(read("ccr"), (Kind::Conditions, 0, ""));
    }
}
