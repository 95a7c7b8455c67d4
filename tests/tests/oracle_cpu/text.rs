//! Three ways to write an instruction, made the same.

use std::fmt::Write;

use reveille_cpu::{Decoded, Size, mnemonic};

/// An instruction as a judge reads it, in words that can be compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Reading {
    pub(crate) words: u8,
    pub(crate) name: String,
    /// The size, if it is told.
    pub(crate) size: Option<Size>,
    pub(crate) operands: Vec<Operand>,
}

/// An operand: numbers apart from what stands around them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Operand {
    /// A register, or registers in brackets.
    Register(String),
    /// `#value`
    Constant(i64),
    /// An address, with its length if it is told.
    Address(i64, Option<Size>),
    /// Displacement or, with PC, target; then what is in brackets.
    Displaced(i64, String),
    /// Registers as bits, D0 is bit 0.
    List(u16),
    /// Not understood.
    Other(String),
}

/// `$12`, `0x12`, `-$2`, `18`; none if it is no number. Of 64 bits if it is negative and written in hex.
fn number(text: &str, default_radix: u32) -> Option<i64> {
    let (sign, text) = match text.strip_prefix('-') {
        Some(text) => (-1, text),
        None => (1, text),
    };
    let (radix, digits) = match (text.strip_prefix('$'), text.strip_prefix("0x")) {
        (Some(digits), _) | (_, Some(digits)) => (16, digits),
        _ => (default_radix, text),
    };
    // A minus behind a minus would be taken.
    if !digits.starts_with(|it: char| it.is_ascii_hexdigit()) {
        return None;
    }
    u64::from_str_radix(digits, radix).ok().map(|it| sign * it as i64)
}

fn register(name: &str) -> Option<String> {
    Some(match name {
        "sp" => "a7".into(),
        "fp" => "a6".into(),
        "sr" | "ccr" | "usp" | "vbr" | "sfc" | "dfc" | "pc" => name.into(),
        _ => match name.as_bytes() {
            [b'd' | b'a', b'0'..=b'7'] => name.into(),
            _ => return None,
        },
    })
}

/// The bit of a register in a list.
fn bit(name: &str) -> Option<u32> {
    let name = register(name)?;
    let number = name.strip_prefix(['d', 'a'])?.parse::<u32>().ok()?;
    Some(number + if name.starts_with('a') { 8 } else { 0 })
}

/// `d0-d3/a0`, one register, or the number of an empty list.
fn list(text: &str) -> Option<u16> {
    if let Some(text) = text.strip_prefix('#') {
        return number(text, 10).map(|it| it as u16);
    }
    let mut list = 0_u16;
    for part in text.split('/') {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        for at in bit(first)?..=bit(last)? {
            list |= 1 << at;
        }
    }
    Some(list)
}

/// Splits at commas outside of brackets.
fn split(text: &str) -> Vec<String> {
    let mut parts = vec![];
    let mut depth = 0;
    let mut part = String::new();
    for letter in text.chars().filter(|it| *it != ' ' && *it != '%') {
        match letter {
            ',' if depth == 0 => {
                parts.push(std::mem::take(&mut part));
                continue;
            }
            '(' | '[' => depth += 1,
            ')' | ']' => depth -= 1,
            _ => (),
        }
        part.push(letter);
    }
    if !part.is_empty() {
        parts.push(part);
    }
    parts
}

/// What stands in brackets: one or two registers.
fn bracket(text: &str) -> Option<String> {
    let mut parts = text.split(',');
    let mut out = register(parts.next()?)?;
    if let Some(index) = parts.next() {
        let (name, size) = index.split_once(['.', ':'])?;
        write!(out, ",{}.{size}", register(name)?).ok()?;
    }
    parts.next().is_none().then_some(out)
}

/// An operand as the manual writes it: ours and the library's.
fn operand(text: &str) -> Operand {
    plain_operand(text).unwrap_or_else(|| Operand::Other(text.into()))
}

fn plain_operand(text: &str) -> Option<Operand> {
    if let Some(name) = register(text) {
        return Some(Operand::Register(name));
    }
    if let Some(text) = text.strip_prefix('#') {
        return number(text, 10).map(Operand::Constant);
    }
    if let Some(inside) = text.strip_prefix("-(").and_then(|it| it.strip_suffix(')')) {
        return register(inside).map(|it| Operand::Register(format!("-({it})")));
    }
    if let Some(inside) = text.strip_prefix('(').and_then(|it| it.strip_suffix(")+")) {
        return register(inside).map(|it| Operand::Register(format!("({it})+")));
    }
    if let Some((before, inside)) = text.strip_suffix(')').and_then(|it| it.split_once('(')) {
        let inside = bracket(inside)?;
        // A displacement of 0 beside an index may be left out: its byte is there all the same.
        if before.is_empty() && inside.contains(',') {
            return Some(Operand::Displaced(0, inside));
        }
        if before.is_empty() {
            return Some(Operand::Register(format!("({inside})")));
        }
        return Some(Operand::Displaced(number(before, 10)?, inside));
    }
    let (digits, size) = match text.rsplit_once('.') {
        Some((digits, "w")) => (digits, Some(Size::Word)),
        Some((digits, "l")) => (digits, Some(Size::Long)),
        _ => (text, None),
    };
    number(digits, 10).map(|it| Operand::Address(it, size))
}

/// An operand as objdump writes it: `%a0@(12,%d0:w)`.
fn at_operand(text: &str) -> Option<Operand> {
    let Some((base, rest)) = text.split_once('@') else { return plain_operand(text) };
    let base = register(base)?;
    if let Some(inside) = rest.strip_prefix('(').and_then(|it| it.strip_suffix(')')) {
        let (value, index) = match inside.split_once(',') {
            // Displacements beside an index are in hex without a mark.
            Some((value, index)) => (number(value, 16)?, Some(index)),
            None => (number(inside, 10)?, None),
        };
        let inside = match index {
            Some(index) => bracket(&format!("{base},{index}"))?,
            None => base,
        };
        return Some(Operand::Displaced(value, inside));
    }
    Some(Operand::Register(match rest {
        "" => format!("({base})"),
        "+" => format!("({base})+"),
        "-" => format!("-({base})"),
        _ => return None,
    }))
}

/// Whether a name is one of ours, with `cc` and the like filled in.
fn split_name(text: &str) -> (String, Option<Size>) {
    if let Some((name, size)) = text.split_once('.') {
        return (name.into(), size.bytes().next().and_then(Size::from_letter));
    }
    let shorter = text.get(..text.len().saturating_sub(1)).unwrap_or_default();
    match text.bytes().last().and_then(Size::from_letter) {
        Some(size) if mnemonic(text).is_none() && mnemonic(shorter).is_some() => (shorter.into(), Some(size)),
        _ => (text.into(), None),
    }
}

fn reading(words: u8, name: &str, operands: Vec<Operand>, texts: &[String]) -> Reading {
    let (name, size) = split_name(name);
    let mut reading = Reading { words, name, size, operands };
    // A list may be a single register.
    if reading.name == "movem" {
        let is_list = |text: &str| list(text).is_some();
        if let Some(at) = texts.iter().position(|it| is_list(it)) {
            reading.operands[at] = list(&texts[at]).map_or(Operand::Other(String::new()), Operand::List);
        }
    }
    // Second names.
    let second = match reading.name.as_str() {
        "dbra" => "dbf",
        "bhs" => "bcc",
        "blo" => "bcs",
        name => name,
    };
    reading.name = second.into();
    let is_branch = matches!(reading.operands[..], [Operand::Address(..)]) && reading.name.starts_with('b');
    if is_branch && reading.size == Some(Size::Byte) {
        reading.size = Some(Size::Short);
    }
    reading
}

/// A line of the library: `words name operands`.
pub(crate) fn of_library(line: &str) -> Option<Reading> {
    let mut fields = line.splitn(3, ' ');
    let words = fields.next()?.parse().ok()?;
    let name = fields.next()?;
    let texts = split(fields.next().unwrap_or_default());
    Some(reading(words, name, texts.iter().map(|it| operand(it)).collect(), &texts))
}

/// A line of objdump: words in hex, and text.
pub(crate) fn of_objdump(words: &str, text: &str) -> Option<Reading> {
    let (name, operands) = text.split_once(' ').unwrap_or((text, ""));
    if name == ".short" {
        return None;
    }
    let texts = split(operands);
    let operands = texts.iter().map(|it| at_operand(it).unwrap_or_else(|| Operand::Other(it.clone()))).collect();
    Some(reading(words.split_whitespace().count() as u8, name, operands, &texts))
}

/// What we print.
pub(crate) fn of_ours(decoded: &Decoded) -> Reading {
    let text = decoded.to_string();
    let (name, operands) = text.split_once(' ').unwrap_or((&text, ""));
    let texts = split(operands);
    reading(decoded.words, name, texts.iter().map(|it| operand(it)).collect(), &texts)
}

impl Reading {
    /// Whether both say the same. What one of them leaves out is not compared: the size, and the length of an absolute address.
    pub(crate) fn agrees(&self, judge: &Self, bits: u32) -> bool {
        let sizes = self.size.is_none() || judge.size.is_none() || self.size == judge.size;
        let same = |(ours, theirs): (&Operand, &Operand)| ours.agrees(theirs, bits);
        self.words == judge.words
            && self.name == judge.name
            && sizes
            && self.operands.len() == judge.operands.len()
            && self.operands.iter().zip(&judge.operands).all(same)
    }
}

impl Operand {
    /// Constants are compared in the bits that they have: whether the top one is a sign is a matter of taste.
    fn agrees(&self, judge: &Self, bits: u32) -> bool {
        let same = |ours: i64, theirs: i64, bits: u32| (ours ^ theirs) & ((1_i64 << bits) - 1) == 0;
        match (self, judge) {
            (Self::Constant(ours), Self::Constant(theirs)) => same(*ours, *theirs, bits),
            (Self::Address(ours, length), Self::Address(theirs, their_length)) => {
                let lengths = length.is_none() || their_length.is_none() || length == their_length;
                // A short address has its sign; the library writes the word alone.
                let is_word = *their_length == Some(Size::Word);
                lengths && same(*ours, *theirs, if is_word { 16 } else { 32 })
            }
            (Self::Displaced(ours, inside), Self::Displaced(theirs, their_inside)) => {
                inside == their_inside && same(*ours, *theirs, 32)
            }
            _ => self == judge,
        }
    }
}
