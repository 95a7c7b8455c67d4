//! Checksums of a dump: those that it keeps by itself, and those that labels of the source speak of.

use std::fmt;

use reveille_decoders::checksum::{self, KINDS, Kind, Rule, Strength, compute};
use reveille_decoders::chips;
use reveille_program::{DefinitionKind, Place, Program, Unit};

use super::{Comparison, SourceImage};

/// A label that has one of these words in it speaks of a checksum. Common practice, no source.
const WORDS: &[&str] =
    &["CHECKSUM", "CHKSUM", "CKSUM", "CHECKSM", "CHKSM", "SUMCHK", "SUMCHECK", "ROMSUM", "SUMWORD", "CRC"];

/// The most labels that are looked at.
const MOST_LABELS: usize = 8;

/// Above so many bytes the search over all kinds and parts would be waited for.
const MOST_SEARCHED: usize = 4 << 20;

/// What was summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Extent {
    /// All of the dump.
    Dump,
    /// What of it lies between the first and the last byte of the source.
    Source,
}

impl Extent {
    /// Its name in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Dump => "dump",
            Self::Source => "source",
        }
    }
}

/// Which bytes beside a stored checksum were summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Over {
    /// All without the stored ones.
    Rest,
    /// All, the stored ones taken as 0.
    Zeroed,
    /// Those before them.
    Before,
    /// Those behind them.
    Behind,
    /// All, and the sum is 0 or all ones: what is stored makes it so.
    Whole,
    /// Those of each chip without its own stored byte: the even chip's is the high one.
    Chips,
}

impl Over {
    /// Its name in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Rest => "rest",
            Self::Zeroed => "zeroed",
            Self::Before => "before",
            Self::Behind => "behind",
            Self::Whole => "whole",
            Self::Chips => "chips",
        }
    }
}

/// A way to sum up that gives what is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Match {
    /// How.
    pub kind: &'static Kind,
    /// Of what.
    pub extent: Extent,
    /// Without what.
    pub over: Over,
}

impl fmt::Display for Match {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole = match self.extent {
            Extent::Dump => "the dump",
            Extent::Source => "what the source spans",
        };
        let title = self.kind.title;
        match self.over {
            Over::Rest => write!(f, "{title} of {whole} without it"),
            Over::Zeroed => write!(f, "{title} of {whole} with zeros in its place"),
            Over::Before => write!(f, "{title} of {whole} up to it"),
            Over::Behind => write!(f, "{title} of {whole} from behind it on"),
            Over::Whole => write!(f, "it makes the {title} of {whole} 0 or all ones"),
            Over::Chips => write!(f, "{title} of each chip of {whole}, the high byte that of the even one"),
        }
    }
}

/// A checksum that a label of the source speaks of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Labelled {
    /// The label.
    pub name: String,
    /// Its line.
    pub place: Place,
    /// The address of what is stored.
    pub address: i64,
    /// How many bytes are.
    pub bytes: u32,
    /// What the source lays down there; none if it is not known.
    pub source: Option<u32>,
    /// What the dump has there; none if it does not have it.
    pub dump: Option<u32>,
    /// What gives the value in the dump.
    pub matches: Vec<Match>,
}

/// All that is known of checksums in a dump.
#[derive(Clone, Debug, Default)]
pub struct Sums {
    /// Checksums of 16 bits and more that the dump keeps at its end or in itself, the best first.
    pub readings: Vec<(Extent, checksum::Reading)>,
    /// Checksums that labels speak of.
    pub labelled: Vec<Labelled>,
    /// The dump is too large for the search.
    pub is_left_out: bool,
}

/// Whether the name of a label speaks of a checksum.
fn is_checksum_name(name: &str) -> bool {
    let name = name.to_ascii_uppercase();
    WORDS.iter().any(|it| name.contains(it))
}

/// Labels that speak of checksums and stand at a byte, word or long of data: name, line, address, bytes.
pub(super) fn labels(program: &Program, unit: &Unit, source: &SourceImage) -> Vec<(String, Place, i64, u32)> {
    let labels = unit.definitions().iter().filter(|it| it.kind == DefinitionKind::Label && !it.symbol.is_local());
    let found = labels.filter_map(|it| {
        let name = program.names().text(it.symbol);
        let address = unit.absolute(it.value).filter(|_| is_checksum_name(&name))? & 0xffff_ffff;
        let line = source.lines()[source.line_at(address)?];
        let is_one = !line.is_code && i64::from(line.address) == address && matches!(line.bytes, 1 | 2 | 4);
        is_one.then(|| (name.to_string(), line.place, address, line.bytes))
    });
    found.take(MOST_LABELS).collect()
}

/// Looks for checksums in a dump.
#[must_use]
pub fn sums(program: &Program, unit: &Unit, source: &SourceImage, comparison: &Comparison) -> Sums {
    let (dump, base) = comparison.image();
    let labels = labels(program, unit, source);
    if dump.len() > MOST_SEARCHED {
        return Sums { is_left_out: true, ..Sums::default() };
    }
    let part = source_part(source, &dump, base);
    let extents = [Some((Extent::Dump, &dump[..], base)), part.map(|(from, bytes)| (Extent::Source, bytes, from))];
    let extents: Vec<(Extent, &[u8], i64)> = extents.into_iter().flatten().collect();
    let search = |(extent, bytes, _): &(Extent, &[u8], i64)| {
        let chips = chips::split(bytes, 2).ok();
        let chips = chips.as_deref().and_then(|it| Some((it.first()?.as_slice(), it.get(1)?.as_slice())));
        if comparison.is_repeated() {
            return Vec::new();
        }
        let found = checksum::explain(bytes, chips).into_iter().filter(|it| it.strength > Strength::Weak);
        found.map(|it| (*extent, it)).collect::<Vec<_>>()
    };
    let label = |(name, place, address, bytes): (String, Place, i64, u32)| {
        let at = address - base;
        let dumped = stored(&dump, at, bytes);
        let own: Vec<Option<u8>> =
            (address..address + i64::from(bytes)).map(|it| u8::try_from(source.cell(it)).ok()).collect();
        let own = own.into_iter().try_fold(0, |number, byte| Some(number << 8 | u32::from(byte?)));
        let matches = dumped.map_or(Vec::new(), |stored| {
            extents.iter().flat_map(|it| matches(*it, address, bytes as usize, stored)).collect()
        });
        Labelled { name, place, address, bytes, source: own, dump: dumped, matches }
    };
    std::thread::scope(|scope| {
        let threads: Vec<_> = extents.iter().map(|it| scope.spawn(move || search(it))).collect();
        let labelled = labels.into_iter().map(label).collect();
        let found = threads.into_iter().filter_map(|it| it.join().ok());
        let mut readings: Vec<_> = found.flatten().collect();
        readings.sort_by_key(|it| std::cmp::Reverse(it.1.strength));
        Sums { readings, labelled, is_left_out: false }
    })
}

fn stored(dump: &[u8], at: i64, bytes: u32) -> Option<u32> {
    let at = usize::try_from(at).ok()?;
    let stored = dump.get(at..at.checked_add(bytes as usize)?)?;
    Some(stored.iter().fold(0, |number, byte| number << 8 | u32::from(*byte)))
}

/// The part of a dump that the source spans, if it is not all of it; and its first address.
fn source_part<'a>(source: &SourceImage, dump: &'a [u8], base: i64) -> Option<(i64, &'a [u8])> {
    let (from, end) = source.range()?;
    let from = i64::from(from).max(base);
    let bytes = dump.get(usize::try_from(from - base).ok()?..usize::try_from(end - base).ok()?.min(dump.len()))?;
    (!bytes.is_empty() && bytes.len() < dump.len()).then_some((from, bytes))
}

/// Everything that gives what is stored.
fn matches((extent, image, base): (Extent, &[u8], i64), address: i64, bytes: usize, stored: u32) -> Vec<Match> {
    let Some(at) = usize::try_from(address - base).ok().filter(|it| it + bytes <= image.len()) else {
        return Vec::new();
    };
    let (before, behind) = (&image[..at], &image[at + bytes..]);
    let rest = [before, behind].concat();
    let zeroed = [before, &vec![0; bytes], behind].concat();
    let mut found = Vec::new();
    for kind in KINDS.iter().filter(|it| it.bits as usize == 8 * bytes || it.bits == 16 && bytes == 4) {
        let mut hit = |over| found.push(Match { kind, extent, over });
        let is = |bytes: &[u8]| !is_trivial(bytes) && compute(kind, bytes) == stored;
        // Without the stored bytes and with zeros in their place a sum is the same.
        let is_sum = matches!(kind.rule, Rule::Fold { .. });
        let is_edge = before.is_empty() || behind.is_empty();
        if is(&rest) {
            hit(Over::Rest);
        } else if is(&zeroed) {
            hit(Over::Zeroed);
        }
        if !is_edge {
            if is(before) {
                hit(Over::Before);
            }
            if is(behind) {
                hit(Over::Behind);
            }
        }
        let whole = compute(kind, image);
        let is_closed = whole == 0 || is_sum && whole == kind.ones();
        if is_closed && !is_trivial(&rest) && found.last().is_none_or(|it| it.kind != kind) {
            found.push(Match { kind, extent, over: Over::Whole });
        }
    }
    if bytes == 2 && address & 1 == 0 && at & 1 == 0 {
        found.extend(of_chips(extent, image, at, stored));
    }
    found
}

/// Sums of 8 bits of both chips, each without its own byte.
fn of_chips(extent: Extent, image: &[u8], at: usize, stored: u32) -> Vec<Match> {
    let chip = |parity: usize| -> Vec<u8> {
        let bytes = image.iter().enumerate().skip(parity).step_by(2);
        bytes.filter(|it| it.0 != at + parity).map(|it| *it.1).collect()
    };
    let (even, odd) = (chip(0), chip(1));
    let kinds = KINDS.iter().filter(|it| it.bits == 8);
    let is = |kind: &&Kind| {
        compute(kind, &even) == stored >> 8 & 0xff && compute(kind, &odd) == stored & 0xff && !is_trivial(&even)
    };
    kinds.filter(is).map(|kind| Match { kind, extent, over: Over::Chips }).collect()
}

/// Bytes that are all the same have any sum and none.
fn is_trivial(bytes: &[u8]) -> bool {
    bytes.iter().all(|it| Some(it) == bytes.first())
}

#[cfg(test)]
mod tests {
    use super::{Extent, Over, is_checksum_name, matches};
    use reveille_decoders::checksum::{compute, kind};

    #[test]
    fn names_speak_of_checksums() {
        for name in ["ROMSUM", "rom_checksum", "crc16", "CKSUM1", "sumchk"] {
            assert!(is_checksum_name(name), "{name}");
        }
        for name in ["sum", "total", "checks", "accrued"] {
            assert!(!is_checksum_name(name), "{name}");
        }
    }

    /// Sums by hand, from the definition of each kind.
    #[test]
    fn what_is_stored_is_found_wherever_it_is_summed_up() {
        let mut image: Vec<u8> = (0..64_u32).map(|it| (it * it * 7 % 251) as u8).collect();
        let crc = kind("crc-16-xmodem").unwrap();
        let (at, address) = (20, 0x120);
        for over in [Over::Rest, Over::Before, Over::Behind, Over::Zeroed] {
            let (before, behind) = (image[..at].to_vec(), image[at + 2..].to_vec());
            let summed = match over {
                Over::Before => before,
                Over::Behind => behind,
                Over::Zeroed => [before, vec![0; 2], behind].concat(),
                _ => [before, behind].concat(),
            };
            let sum = compute(crc, &summed);
            image[at] = (sum >> 8) as u8;
            image[at + 1] = sum as u8;
            let found = matches((Extent::Dump, &image, 0x10c), address, 2, sum);
            assert!(found.iter().any(|it| it.over == over && it.kind == crc), "{over:?} {found:?}");
        }
    }

    /// Sums by hand.
    #[test]
    fn each_chip_can_have_its_own_byte() {
        let mut image = vec![1, 2, 3, 4, 0, 0, 5, 6];
        (image[4], image[5]) = (9, 12);
        let found = matches((Extent::Dump, &image, 0), 4, 2, 0x090c);
        assert!(found.iter().any(|it| it.over == Over::Chips && it.kind.name == "sum8"), "{found:?}");
    }
}
