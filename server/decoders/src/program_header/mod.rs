//! Headers of programs: what stands in them, what follows from it, and whether it adds up to the file.
//!
//! ```
//! use reveille_decoders::program_header::program_header;
//! let mut file = vec![0x60, 0x1a, 0, 0, 0, 2];
//! file.extend([0; 16]);
//! file.extend([0, 0, 5, 0, 0, 1, 0x4e, 0x75]);
//! let header = program_header(&file).unwrap();
//! assert_eq!(header.title(), "$601A program");
//! assert_eq!(header.segments()[0].range, 0x500..0x502);
//! assert!(header.troubles.is_empty());
//! ```

mod kinds;
mod symbols;
#[cfg(test)]
mod tests;

use std::fmt;
use std::ops::Range;

pub use kinds::{FieldRole, HeaderField, HeaderKind};
pub use symbols::{MOST_SYMBOLS, ProgramSymbol};

use kinds::KINDS;

/// The addresses of the processor: nothing is larger that one could load.
const MOST: u64 = 1 << 24;

/// Below this a start is none: later systems keep flags there (from memory).
const LEAST_START: u64 = 0x10;

/// So many bytes may follow the parts without a trouble: systems that count in sectors fill the last one.
const PADDING: u64 = 511;

/// A part of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FilePart {
    /// What it is.
    pub name: &'static str,
    /// Its bytes in the file, as the header has them: the file may be shorter.
    pub range: Range<u64>,
}

/// A piece of memory that a program takes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Segment {
    /// `text`, `data` or `bss`.
    pub name: &'static str,
    /// Its addresses.
    pub range: Range<u64>,
}

/// What does not fit in a header.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeaderTrouble {
    /// Whether it is about the sizes of the parts; else about an address.
    pub is_of_sizes: bool,
    /// What was found, and what was expected.
    pub text: String,
}

impl fmt::Display for HeaderTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// A program's header, held against its file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProgramHeader {
    /// What it is.
    pub kind: &'static HeaderKind,
    /// The value of each field of the kind; none where the file is shorter than the header.
    pub values: Vec<u32>,
    /// The header and the parts that are in the file, one behind the other.
    pub parts: Vec<FilePart>,
    /// The symbols, [`MOST_SYMBOLS`] at most.
    pub symbols: Vec<ProgramSymbol>,
    /// What does not fit; nothing for a sound one.
    pub troubles: Vec<HeaderTrouble>,
}

impl ProgramHeader {
    fn is_wrong(&mut self, is_of_sizes: bool, text: String) {
        self.troubles.push(HeaderTrouble { is_of_sizes, text });
    }

    /// What it is.
    #[must_use]
    pub fn title(&self) -> &'static str {
        self.kind.title
    }

    /// Bytes of all parts.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.parts.last().map_or(0, |it| it.range.end)
    }

    /// The value of the field of a role.
    #[must_use]
    pub fn value(&self, role: FieldRole) -> Option<u64> {
        let at = self.kind.fields.iter().position(|it| it.role == role)?;
        self.values.get(at).map(|it| u64::from(*it))
    }

    /// Whether it belongs where its header says: no relocation comes with it.
    #[must_use]
    pub fn is_absolute(&self) -> bool {
        match self.value(FieldRole::IsAbsolute) {
            Some(flag) => flag != 0,
            None => {
                let relocation = [FieldRole::TextRelocation, FieldRole::DataRelocation];
                !self.values.is_empty() && relocation.iter().all(|it| self.value(*it) == Some(0))
            }
        }
    }

    /// The address of the text; none where the header does not have one.
    #[must_use]
    pub fn start(&self) -> Option<u64> {
        self.value(FieldRole::Start).filter(|it| *it >= LEAST_START)
    }

    /// The address where the program is entered; none where the header does not have one, or 0.
    #[must_use]
    pub fn entry(&self) -> Option<u64> {
        self.value(FieldRole::Entry).filter(|it| *it > 0).or_else(|| self.start())
    }

    /// The memory that it takes, empty pieces left out; nothing where the header does not say where the text begins.
    #[must_use]
    pub fn segments(&self) -> Vec<Segment> {
        let Some(start) = self.start() else { return Vec::new() };
        let mut found = Vec::new();
        let mut next = start;
        let pieces = [
            ("text", FieldRole::Text, FieldRole::Start),
            ("data", FieldRole::Data, FieldRole::DataStart),
            ("bss", FieldRole::Bss, FieldRole::BssStart),
        ];
        for (name, size, from) in pieces {
            let from = self.value(from).unwrap_or(next);
            next = from + self.value(size).unwrap_or(0);
            if next > from {
                found.push(Segment { name, range: from..next });
            }
        }
        found
    }
}

/// What a number is that headers of programs begin with; none of any other. The bytes are those of a word or a long, the highest first.
#[must_use]
pub fn magic_title(number: &[u8]) -> Option<&'static str> {
    magic_kind(number).map(|it| it.title)
}

/// The kind of header that a number tells, which is a word or a long, the highest byte first; none of any other.
#[must_use]
pub fn magic_kind(number: &[u8]) -> Option<&'static HeaderKind> {
    let low = number.len().checked_sub(2)?;
    let (high, word) = number.split_at(low);
    KINDS.iter().find(|it| it.magic.to_be_bytes() == word && high.iter().all(|it| *it == 0))
}

/// The header at the start of a file, by its number alone; none if it is of no kind that is known.
#[must_use]
pub fn program_header(file: &[u8]) -> Option<ProgramHeader> {
    let has_magic = |it: &&HeaderKind| file.get(it.magic_at()..it.magic_at() + 2) == Some(&it.magic.to_be_bytes());
    KINDS.iter().find(has_magic).map(|it| held_against(it, file))
}

/// The header at the start of a file that nothing else says is a program: its number is one, and its sizes are such as programs have.
/// Those of $601A may be more than the file has, since files are cut; 0407 and its like are too common a number for that.
#[must_use]
pub fn plausible_header(file: &[u8]) -> Option<ProgramHeader> {
    let has_magic = |it: &&HeaderKind| file.get(it.magic_at()..it.magic_at() + 2) == Some(&it.magic.to_be_bytes());
    KINDS.iter().filter(has_magic).map(|it| held_against(it, file)).find(|it| is_plausible(it, file.len() as u64))
}

fn is_plausible(header: &ProgramHeader, length: u64) -> bool {
    let size = |role| header.value(role).unwrap_or(0);
    let sizes = [FieldRole::Text, FieldRole::Data, FieldRole::Bss, FieldRole::Symbols].map(size);
    if header.values.is_empty() || sizes[0] + sizes[1] == 0 || sizes.iter().any(|it| *it >= MOST) {
        return false;
    }
    if header.kind.magic >> 8 == 0x60 {
        return header.value(FieldRole::Start).is_some_and(|it| it < MOST);
    }
    // The first word of a long header: dynamic bit, small version; machine types 0 to 3 (from memory).
    let is_first_word = header.kind.magic_at() == 0 || header.values[0] & 0x7f <= 1 && header.values[1] <= 3;
    is_first_word && !header.troubles.iter().any(|it| it.is_of_sizes) && header.bytes() <= length
}

fn held_against(kind: &'static HeaderKind, file: &[u8]) -> ProgramHeader {
    let mut header =
        ProgramHeader { kind, values: Vec::new(), parts: Vec::new(), symbols: Vec::new(), troubles: Vec::new() };
    let Some(start) = file.get(..kind.header_bytes()) else {
        let text = format!("the file has {} bytes, and the header alone {}", file.len(), kind.header_bytes());
        header.is_wrong(true, text);
        return header;
    };
    let number =
        |it: &HeaderField| start[it.offset..it.offset + it.bytes].iter().fold(0, |sum, it| sum << 8 | u32::from(*it));
    header.values = kind.fields.iter().map(number).collect();
    sizes(&mut header);
    addresses(&mut header);
    lengths(&mut header, file);
    header
}

/// The parts that the header has sizes of, and what is wrong with these.
fn sizes(header: &mut ProgramHeader) {
    let mut next = header.kind.header_bytes() as u64;
    header.parts.push(FilePart { name: "header", range: 0..next });
    // Research UNIX has the relocation before the symbols, a word for each of text and data in 16-bit headers.
    let is_short = header.kind.magic_at() == 0 && header.kind.magic >> 8 != 0x60;
    let relocation = if is_short && !header.is_absolute() { loaded_bytes(header) } else { 0 };
    let in_file = [
        ("text", FieldRole::Text),
        ("data", FieldRole::Data),
        ("text relocation", FieldRole::TextRelocation),
        ("data relocation", FieldRole::DataRelocation),
        ("symbols", FieldRole::Symbols),
    ];
    for (name, role) in in_file {
        if role == FieldRole::Symbols && relocation > 0 {
            header.parts.push(FilePart { name: "relocation", range: next..next + relocation });
            next += relocation;
        }
        let Some(bytes) = header.value(role) else { continue };
        if !bytes.is_multiple_of(2) {
            header.is_wrong(true, format!("{name} has {bytes} bytes; expected an even number"));
        }
        header.parts.push(FilePart { name, range: next..next + bytes });
        next += bytes;
    }
    let symbols = header.value(FieldRole::Symbols).unwrap_or(0);
    if let [bytes] = header.kind.symbol_bytes
        && !symbols.is_multiple_of(*bytes)
    {
        header.is_wrong(true, format!("the symbols have {symbols} bytes; expected a multiple of {bytes}"));
    }
}

/// Bytes of text and data.
fn loaded_bytes(header: &ProgramHeader) -> u64 {
    [FieldRole::Text, FieldRole::Data].iter().filter_map(|it| header.value(*it)).sum()
}

fn addresses(header: &mut ProgramHeader) {
    let start = header.kind.field(FieldRole::Start).or(header.kind.field(FieldRole::Entry)).map(|it| it.role);
    if let Some(odd) = start.and_then(|it| header.value(it)).filter(|it| !it.is_multiple_of(2)) {
        header.is_wrong(false, format!("the start ${odd:X} is odd; expected an even address"));
    }
}

/// What follows the parts that have sizes, and whether all of it is the file.
fn lengths(header: &mut ProgramHeader, file: &[u8]) {
    let (sum, length) = (header.bytes(), file.len() as u64);
    if sum > length {
        header.is_wrong(true, format!("its parts take {sum} bytes, and the file has {length}"));
        return;
    }
    let rest = file.get(usize::try_from(sum).unwrap_or(usize::MAX)..).unwrap_or(&[]);
    let words = loaded_bytes(header);
    let mut strings: &[u8] = &[];
    if header.kind.magic >> 8 == 0x60 && !header.is_absolute() {
        let found = if rest.len() as u64 >= words { Some(("relocation", words)) } else { places(rest, words) };
        match found {
            Some((name, bytes)) => header.parts.push(FilePart { name, range: sum..sum + bytes }),
            None => header.is_wrong(true, format!(
                "its flag says that relocation follows, {words} bytes, and {} bytes do; expected the whole of it, or a flag that is not 0",
                rest.len()
            )),
        }
    } else if header.kind.magic_at() > 0
        && let Some(bytes) = string_bytes(rest)
    {
        strings = &rest[..bytes];
        header.parts.push(FilePart { name: "strings", range: sum..sum + bytes as u64 });
    }
    let part = header.parts.iter().find(|it| it.name == "symbols").map_or(0..0, |it| it.range.clone());
    header.symbols = symbols::symbols(header.kind, file, part, strings);
    let behind = length - header.bytes().min(length);
    if behind > PADDING && !header.kind.is_paged {
        header.is_wrong(
            true,
            format!("{behind} bytes follow its parts; expected none, or fewer than a sector: are the sizes right?"),
        );
    }
}

/// A list of places instead of relocation words, as a later system has it (from memory): the offset of the first long, then a byte a step;
/// 1 is a step of 254 without a long, 0 the end. Gives its bytes.
fn places(rest: &[u8], most: u64) -> Option<(&'static str, u64)> {
    let mut at = u64::from(u32::from_be_bytes(*rest.first_chunk::<4>()?));
    if at == 0 {
        return Some(("list of places", 4));
    }
    for (step, count) in rest[4..].iter().zip(5..) {
        match step {
            0 => return Some(("list of places", count)),
            1 => at += 254,
            step => at += u64::from(*step),
        }
        if at >= most {
            return None;
        }
    }
    None
}

/// The bytes of a table of names: it begins with its own length (from memory).
fn string_bytes(rest: &[u8]) -> Option<usize> {
    let bytes = u32::from_be_bytes(*rest.first_chunk::<4>()?) as usize;
    (4..=rest.len()).contains(&bytes).then_some(bytes)
}
