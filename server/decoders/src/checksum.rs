//! Checksums and cyclic redundancy checks of boot ROMs, and the search for the one that an image keeps.
//!
//! ```
//! use reveille_decoders::checksum::{compute, kind};
//! let crc = kind("crc-32").unwrap();
//! assert_eq!(compute(crc, b"123456789"), 0xcbf4_3926);
//! ```

use std::fmt;

/// A way to sum bytes up.
#[derive(Debug, PartialEq, Eq)]
pub struct Kind {
    /// Its name in commands and JSON.
    pub name: &'static str,
    /// What people call it.
    pub title: &'static str,
    /// Width of the result.
    pub bits: u32,
    /// How it goes.
    pub rule: Rule,
    /// Its value over the nine characters `123456789`.
    pub check: u32,
}

/// How bytes are summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// A step for each unit, from 0 on.
    Fold {
        /// Bytes of a unit: 1, or 2 for big-endian words, where a zero byte follows an odd last one.
        unit_bytes: usize,
        /// The step.
        step: Step,
    },
    /// The remainder of a division of polynomials.
    Crc {
        /// The polynomial without its highest term, most significant bit first.
        polynomial: u32,
        /// What the remainder is at the start, as it is written for most significant bit first.
        start: u32,
        /// Least significant bit first, of the bytes and of the result.
        is_reflected: bool,
        /// What the result is exclusive-ored with.
        final_xor: u32,
    },
}

/// What is done with each unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Add, modulo the width.
    Add,
    /// Add, and add the carry to the lowest bit.
    AddCarry,
    /// Exclusive or.
    Xor,
    /// Rotate the sum right by one bit, then add modulo the width.
    RotateAdd,
}

const fn fold(name: &'static str, title: &'static str, bits: u32, unit_bytes: usize, step: Step, check: u32) -> Kind {
    Kind { name, title, bits, rule: Rule::Fold { unit_bytes, step }, check }
}

/// `crc` is polynomial, start, final exclusive or.
const fn crc(
    name: &'static str,
    title: &'static str,
    bits: u32,
    crc: [u32; 3],
    is_reflected: bool,
    check: u32,
) -> Kind {
    let [polynomial, start, final_xor] = crc;
    Kind { name, title, bits, rule: Rule::Crc { polynomial, start, is_reflected, final_xor }, check }
}

/// All kinds. Cyclic checks: the published catalogue of parametrised CRC algorithms, from memory; CRC-16/X-25 is the one of
/// ITU-T X.25, CRC-32 the one of ITU-T V.42. Sums: common practice; rotate and add is `sum -r` of POSIX systems.
pub const KINDS: &[Kind] = &[
    fold("sum8", "sum of bytes, 8 bits", 8, 1, Step::Add, 0xdd),
    fold("sum16", "sum of bytes, 16 bits", 16, 1, Step::Add, 0x01dd),
    fold("word-sum", "sum of words", 16, 2, Step::Add, 0x09d4),
    fold("word-sum-carry", "sum of words with end-around carry", 16, 2, Step::AddCarry, 0x09d5),
    fold("xor8", "exclusive or of bytes", 8, 1, Step::Xor, 0x31),
    fold("xor16", "exclusive or of words", 16, 2, Step::Xor, 0x3908),
    fold("rotate-add", "rotate and add (sum -r)", 16, 1, Step::RotateAdd, 0xd16f),
    crc("crc-16-ccitt-false", "CRC-16/CCITT-FALSE", 16, [0x1021, 0xffff, 0], false, 0x29b1),
    crc("crc-16-xmodem", "CRC-16/XMODEM", 16, [0x1021, 0, 0], false, 0x31c3),
    crc("crc-16-aug-ccitt", "CRC-16/AUG-CCITT", 16, [0x1021, 0x1d0f, 0], false, 0xe5cc),
    crc("crc-16-kermit", "CRC-16/KERMIT", 16, [0x1021, 0, 0], true, 0x2189),
    crc("crc-16-x-25", "CRC-16/X-25", 16, [0x1021, 0xffff, 0xffff], true, 0x906e),
    crc("crc-16-arc", "CRC-16/ARC", 16, [0x8005, 0, 0], true, 0xbb3d),
    crc("crc-16-modbus", "CRC-16/MODBUS", 16, [0x8005, 0xffff, 0], true, 0x4b37),
    crc("crc-16-buypass", "CRC-16/BUYPASS", 16, [0x8005, 0, 0], false, 0xfee8),
    crc("crc-32", "CRC-32", 32, [0x04c1_1db7, u32::MAX, u32::MAX], true, 0xcbf4_3926),
];

/// The kind of a name.
#[must_use]
pub fn kind(name: &str) -> Option<&'static Kind> {
    KINDS.iter().find(|it| it.name == name)
}

impl Kind {
    /// All bits of the result set.
    #[must_use]
    pub fn ones(&self) -> u32 {
        u32::MAX >> (32 - self.bits.clamp(1, 32))
    }
}

/// Sums bytes up.
#[must_use]
pub fn compute(kind: &Kind, bytes: &[u8]) -> u32 {
    let mut sum = Sum::new(kind);
    sum.add(bytes);
    sum.value()
}

/// A sum under way: what is added is whole units, but for the last.
#[derive(Clone)]
struct Sum<'a> {
    kind: &'a Kind,
    so_far: u32,
    /// What each byte does to a remainder.
    table: [u32; 256],
}

impl<'a> Sum<'a> {
    fn new(kind: &'a Kind) -> Self {
        // At the top of 32 bits, so that one loop serves all widths.
        let up = 32 - kind.bits;
        let (so_far, table) = match kind.rule {
            Rule::Fold { .. } => (0, [0; 256]),
            Rule::Crc { polynomial, start, is_reflected: true, .. } => {
                (start.reverse_bits() >> up, reflected_table(polynomial.reverse_bits() >> up))
            }
            Rule::Crc { polynomial, start, is_reflected: false, .. } => (start << up, table(polynomial << up)),
        };
        Self { kind, so_far, table }
    }

    fn add(&mut self, bytes: &[u8]) {
        let table = &self.table;
        self.so_far = match self.kind.rule {
            Rule::Fold { unit_bytes, step } => {
                let unit = |unit: &[u8]| {
                    let number = unit.iter().fold(0, |number, byte| number << 8 | u32::from(*byte));
                    number << (8 * (unit_bytes - unit.len()))
                };
                bytes.chunks(unit_bytes).map(unit).fold(self.so_far, |sum, unit| one_step(step, self.kind, sum, unit))
            }
            Rule::Crc { is_reflected: true, .. } => {
                bytes.iter().fold(self.so_far, |sum, byte| sum >> 8 ^ table[usize::from(sum as u8 ^ byte)])
            }
            Rule::Crc { is_reflected: false, .. } => {
                let top = |sum: u32| (sum >> 24) as u8;
                bytes.iter().fold(self.so_far, |sum, byte| sum << 8 ^ table[usize::from(top(sum) ^ byte)])
            }
        };
    }

    fn value(&self) -> u32 {
        match self.kind.rule {
            Rule::Fold { .. } => self.so_far,
            Rule::Crc { is_reflected: true, final_xor, .. } => self.so_far ^ final_xor,
            Rule::Crc { is_reflected: false, final_xor, .. } => self.so_far >> (32 - self.kind.bits) ^ final_xor,
        }
    }
}

fn one_step(step: Step, kind: &Kind, sum: u32, unit: u32) -> u32 {
    let ones = kind.ones();
    match step {
        Step::Add => sum.wrapping_add(unit) & ones,
        Step::AddCarry => {
            let all = sum + unit;
            (all & ones) + (all >> kind.bits)
        }
        Step::Xor => sum ^ unit,
        Step::RotateAdd => (sum >> 1 | (sum & 1) << (kind.bits - 1)).wrapping_add(unit) & ones,
    }
}

/// What each byte does to a remainder, most significant bit first.
fn table(polynomial: u32) -> [u32; 256] {
    std::array::from_fn(|byte| {
        (0..8).fold((byte as u32) << 24, |sum, _| if sum >> 31 == 1 { sum << 1 ^ polynomial } else { sum << 1 })
    })
}

/// What each byte does to a remainder, least significant bit first.
fn reflected_table(polynomial: u32) -> [u32; 256] {
    std::array::from_fn(|byte| {
        (0..8).fold(byte as u32, |sum, _| if sum & 1 == 1 { sum >> 1 ^ polynomial } else { sum >> 1 })
    })
}

/// Which bytes were summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// The whole image.
    Image,
    /// The chip with the even addresses.
    Even,
    /// The chip with the odd addresses.
    Odd,
}

/// What the sum is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Target {
    /// 0: something in the image makes it so.
    Zero,
    /// All bits set: $FF, $FFFF or $FFFFFFFF.
    Ones,
    /// What is stored in the bytes that were left out at the end.
    Stored {
        /// Low byte first, as a cyclic check of that bit order may be stored; else high byte first.
        is_low_first: bool,
    },
}

/// How much a match says, since there are some hundred things to try.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Strength {
    /// 8 bits: by chance one image in seven has such a match somewhere. Alone it says next to nothing.
    Weak,
    /// 16 bits: by chance one image in two hundred has one. Look for the code that does it.
    Fair,
    /// 32 bits: hardly by chance.
    Strong,
}

impl Strength {
    fn of(bits: u32) -> Self {
        match bits {
            ..16 => Self::Weak,
            16..32 => Self::Fair,
            _ => Self::Strong,
        }
    }

    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Weak => "weak",
            Self::Fair => "fair",
            Self::Strong => "strong",
        }
    }
}

/// One way in which an image keeps a checksum.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// How it is summed up.
    pub kind: &'static Kind,
    /// Which part.
    pub part: Part,
    /// Bytes at the end of the part that are left out of the sum.
    pub left_out: usize,
    /// The sum.
    pub value: u32,
    /// What it is equal to.
    pub target: Target,
    /// How much that says.
    pub strength: Strength,
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let part = match self.part {
            Part::Image => "the whole image",
            Part::Even => "the even chip",
            Part::Odd => "the odd chip",
        };
        write!(f, "{} of {part}", self.kind.title)?;
        if self.left_out > 0 {
            let plural = if self.left_out == 1 { "byte" } else { "bytes" };
            write!(f, " less its last {} {plural}", self.left_out)?;
        }
        write!(f, " is ${:0width$X}", self.value, width = self.kind.bits as usize / 4)?;
        match self.target {
            Target::Zero | Target::Ones => Ok(()),
            Target::Stored { is_low_first: false } => write!(f, ", as stored there"),
            Target::Stored { is_low_first: true } => write!(f, ", as stored there low byte first"),
        }
    }
}

/// Looks for checksums that an image keeps: of the whole, of the whole less what is stored at its end, and of the two halves
/// that its chips hold. The best come first; none is likely for an image that keeps none.
///
/// A part whose bytes are all the same keeps any sum and none: it has no reading. What a wider sum of the same kind says
/// already is not said again.
#[must_use]
pub fn explain(image: &[u8], chips: Option<(&[u8], &[u8])>) -> Vec<Reading> {
    let mut found = Vec::new();
    // The last byte of each chip is the last word of the image.
    explain_part(image, Part::Image, &[0, 2, 4], &mut found);
    if let Some((even, odd)) = chips {
        explain_part(even, Part::Even, &[0, 1, 2, 4], &mut found);
        explain_part(odd, Part::Odd, &[0, 1, 2, 4], &mut found);
    }
    let all = found.clone();
    for reading in &mut found {
        // What holds for both chips alike holds twice.
        let twin = match reading.part {
            Part::Image => continue,
            Part::Even => Part::Odd,
            Part::Odd => Part::Even,
        };
        if all.iter().any(|it| it.part == twin && is_alike(it, reading) && it.kind == reading.kind) {
            reading.strength = Strength::of(2 * compared_bits(reading));
        }
    }
    found.sort_by_key(|it| std::cmp::Reverse(it.strength));
    found
}

fn is_alike(one: &Reading, other: &Reading) -> bool {
    one.left_out == other.left_out && one.target == other.target
}

/// Bits that had to be equal.
fn compared_bits(reading: &Reading) -> u32 {
    match reading.target {
        Target::Stored { .. } => reading.kind.bits.max(8 * reading.left_out as u32),
        Target::Zero | Target::Ones => reading.kind.bits,
    }
}

fn explain_part(bytes: &[u8], part: Part, left_out: &[usize], found: &mut Vec<Reading>) {
    let mut of_this: Vec<Reading> = Vec::new();
    // What all sums have in common, in whole words, is summed up once.
    let most = left_out.iter().copied().max().unwrap_or(0);
    let (common, _) = bytes.split_at(bytes.len().saturating_sub(most) & !1);
    let mut sums: Vec<Sum<'static>> = KINDS.iter().map(Sum::new).collect();
    sums.iter_mut().for_each(|it| it.add(common));
    for &left_out in left_out {
        let Some((summed, stored)) = bytes.len().checked_sub(left_out).map(|it| bytes.split_at(it)) else { continue };
        if summed.iter().all(|it| Some(it) == summed.first()) {
            continue;
        }
        for sum in &sums {
            let kind = sum.kind;
            let mut sum = sum.clone();
            sum.add(&summed[common.len()..]);
            let value = sum.value();
            for target in targets(kind, value, stored) {
                let mut reading = Reading { kind, part, left_out, value, target, strength: Strength::Weak };
                reading.strength = Strength::of(compared_bits(&reading));
                of_this.push(reading);
            }
        }
    }
    let is_said = |it: &&Reading| of_this.iter().any(|other| follows(it, other) || is_remainder(it, other));
    found.extend(of_this.iter().filter(|it| !is_said(it)));
}

/// Whether a sum is a part of a wider one of the same bytes, whose match therefore says all there is to say.
fn follows(narrow: &Reading, wide: &Reading) -> bool {
    let is_part = match (narrow.kind.rule, wide.kind.rule) {
        (Rule::Fold { unit_bytes, step }, Rule::Fold { unit_bytes: wide_unit, step: wide_step }) => {
            step == wide_step && (step == Step::Xor || step == Step::Add && (unit_bytes, wide_unit) == (1, 1))
        }
        _ => false,
    };
    is_part && narrow.kind.bits < wide.kind.bits && narrow.left_out == wide.left_out
}

/// Whether a sum is 0 because what stands at the end is the sum of what is before it: with these rules that is one fact.
fn is_remainder(zero: &Reading, stored: &Reading) -> bool {
    let is_low_first = match zero.kind.rule {
        Rule::Fold { step: Step::Xor, .. } => false,
        Rule::Crc { is_reflected, final_xor: 0, .. } => is_reflected,
        _ => return false,
    };
    let is_stored = stored.target == Target::Stored { is_low_first } && 8 * stored.left_out as u32 == stored.kind.bits;
    zero.kind == stored.kind && is_stored && zero.target == Target::Zero && zero.left_out == 0
}

/// The targets that a sum hits.
fn targets(kind: &Kind, value: u32, stored: &[u8]) -> Vec<Target> {
    let mut hit = Vec::new();
    if value == 0 {
        hit.push(Target::Zero);
    }
    if value == kind.ones() {
        hit.push(Target::Ones);
    }
    if stored.is_empty() || stored.len() * 8 < kind.bits as usize {
        return hit;
    }
    let number = |number: u32, byte: &u8| number << 8 | u32::from(*byte);
    let high_first = stored.iter().fold(0, number);
    if value == high_first {
        hit.push(Target::Stored { is_low_first: false });
    } else if matches!(kind.rule, Rule::Crc { is_reflected: true, .. }) && value == stored.iter().rev().fold(0, number)
    {
        hit.push(Target::Stored { is_low_first: true });
    }
    hit
}

#[cfg(test)]
mod tests {
    use super::{KINDS, Part, Strength, Target, compute, explain, kind};
    use crate::chips::{join, split};

    /// Cyclic ones: the published catalogue of parametrised CRC algorithms, from memory; for CRC-32, XMODEM and CCITT-FALSE
    /// zlib and binascii of Python 3.11 agree. Rotate and add: `sum -r` of GNU coreutils 9.1 gives 53615. Other sums: by hand.
    #[test]
    fn each_kind_has_its_check_value() {
        for kind in KINDS {
            assert_eq!(compute(kind, b"123456789"), kind.check, "{}", kind.name);
            assert_eq!(super::kind(kind.name), Some(kind));
        }
        assert_eq!(KINDS.len(), 16);
    }

    /// Start values are what is left of no bytes; computed by hand.
    #[test]
    fn no_bytes_have_a_sum_too() {
        for (name, value) in
            [("sum8", 0), ("crc-16-xmodem", 0), ("crc-16-x-25", 0), ("crc-16-modbus", 0xffff), ("crc-32", 0)]
        {
            assert_eq!(compute(kind(name).unwrap(), &[]), value, "{name}");
        }
    }

    /// Bytes that repeat after 2^32 steps at the earliest.
    fn noise(seed: u32, count: usize) -> Vec<u8> {
        let mut state = seed;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8
        };
        (0..count).map(|_| next()).collect()
    }

    fn found(image: &[u8]) -> Vec<super::Reading> {
        let chips = split(image, 2).unwrap();
        explain(image, Some((&chips[0], &chips[1])))
    }

    /// How ROMs keep checksums: common practice, no source.
    #[test]
    fn a_kept_checksum_is_found_and_comes_first() {
        let plain = noise(7, 1024);
        let mut image = plain.clone();
        let sum = compute(kind("word-sum").unwrap(), &image[..1022]) as u16;
        image[1022..].copy_from_slice(&sum.to_be_bytes());
        let stored = found(&image)[0];
        assert_eq!((stored.kind.name, stored.part, stored.left_out), ("word-sum", Part::Image, 2));
        assert_eq!(stored.target, Target::Stored { is_low_first: false });
        assert_eq!(stored.strength, Strength::Fair);

        image[1022..].copy_from_slice(&sum.wrapping_neg().to_be_bytes());
        let zero = found(&image)[0];
        assert_eq!((zero.kind.name, zero.left_out, zero.target), ("word-sum", 0, Target::Zero));
        assert_eq!(zero.to_string(), "sum of words of the whole image is $0000");

        let mut image = plain.clone();
        let crc = compute(kind("crc-32").unwrap(), &image[..1020]);
        image[1020..].copy_from_slice(&crc.to_be_bytes());
        let strong: Vec<_> = found(&image).into_iter().filter(|it| it.strength == Strength::Strong).collect();
        assert_eq!(strong.iter().map(|it| (it.kind.name, it.left_out)).collect::<Vec<_>>(), [("crc-32", 4)]);
        let text = format!("CRC-32 of the whole image less its last 4 bytes is ${crc:08X}, as stored there");
        assert_eq!(strong[0].to_string(), text);
    }

    #[test]
    fn a_cyclic_check_that_is_stored_and_its_remainder_are_one_reading() {
        for (name, is_low_first) in [("crc-16-ccitt-false", false), ("crc-16-arc", true), ("crc-16-x-25", true)] {
            let mut image = noise(3, 512);
            let crc = compute(kind(name).unwrap(), &image[..510]) as u16;
            image[510..].copy_from_slice(&if is_low_first { crc.to_le_bytes() } else { crc.to_be_bytes() });
            let own: Vec<_> = found(&image).into_iter().filter(|it| it.kind.name == name).collect();
            let seen: Vec<_> = own.iter().map(|it| (it.left_out, it.target)).collect();
            assert_eq!(seen, [(2, Target::Stored { is_low_first })], "{name}");
        }
    }

    #[test]
    fn chips_that_keep_8_bits_alike_count_as_16() {
        let mut chips = split(&noise(11, 512), 2).unwrap();
        for chip in &mut chips {
            let sum = compute(kind("sum8").unwrap(), &chip[..255]) as u8;
            chip[255] = sum.wrapping_neg();
        }
        let image = join(&[&chips[0], &chips[1]]).unwrap();
        let of_chips: Vec<_> =
            found(&image).into_iter().filter(|it| it.part != Part::Image && it.left_out == 0).collect();
        let seen: Vec<_> = of_chips.iter().map(|it| (it.kind.name, it.part, it.target, it.strength)).collect();
        let fair = |part| ("sum8", part, Target::Zero, Strength::Fair);
        assert_eq!(seen, [fair(Part::Even), fair(Part::Odd)]);
    }

    #[test]
    fn an_erased_chip_and_a_few_bytes_keep_nothing() {
        assert_eq!(found(&[0xff; 64]), []);
        assert_eq!(found(&[0; 64]), []);
        for count in 0..5 {
            let _ = explain(&noise(1, count), Some((&[], &[])));
        }
    }

    /// The figures that the documentation of `Strength` gives.
    #[test]
    fn chance_hits_are_as_rare_as_said() {
        let (mut weak, mut fair, mut strong) = (0, 0, 0);
        for seed in 0..1000 {
            let found = found(&noise(seed * 77_777 + 5, 256));
            weak += usize::from(found.iter().any(|it| it.strength == Strength::Weak));
            fair += usize::from(found.iter().any(|it| it.strength == Strength::Fair));
            strong += usize::from(found.iter().any(|it| it.strength == Strength::Strong));
        }
        assert!(weak <= 250 && fair <= 15 && strong == 0, "{weak} {fair} {strong}");
    }
}
