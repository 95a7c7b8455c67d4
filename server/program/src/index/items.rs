//! What the parts of data lines are: sizes, texts, names, and words that tell of disks.

use std::ops::Range;

use reveille_cpu::Size;
use reveille_source::{Chunk, Dialect, Directive, Line, Meaning, Span, TokenKind, tokens, word_end};

use crate::expression::quoted_bytes;

/// Words that tell of disks: in a label or a comment they make a table of bytes worth a look. Common practice, no source.
const DISK_WORDS: &[&str] = &[
    "bpb",
    "dpb",
    "boot",
    "disk",
    "disc",
    "diskette",
    "floppy",
    "format",
    "formats",
    "fmt",
    "geometry",
    "drive",
    "media",
    "medium",
    "sector",
    "sectors",
    "track",
    "tracks",
    "cylinders",
    "cluster",
    "fat",
    "volume",
    "parameter",
    "parameters",
    "param",
    "params",
    "interleave",
    "interlv",
    "ileave",
    "ilv",
    "skew",
    "skewtab",
    "xlt",
    "sectran",
    "secord",
    "trk",
    "drives",
    "drv",
    "geom",
    "fdc",
    "fmtcmd",
    "fmttab",
    "trkfmt",
    "mfm",
    "gap",
    "gaps",
    "specify",
    "cpm",
];

/// Words that tell of serial ports. Common practice, no source.
const SERIAL_WORDS: &[&str] = &[
    "acia",
    "duart",
    "duartinit",
    "uart",
    "uartinit",
    "usart",
    "scc",
    "sccinit",
    "mfp",
    "epci",
    "pci",
    "sci",
    "serial",
    "console",
    "tty",
    "baud",
    "rs",
    "sio",
    "ser",
    "comm",
    "terminal",
    "serinit",
    "coninit",
    "sioinit",
    "siotab",
    "ttyinit",
];

/// Ends of words that tell of exception vectors. Common practice, no source.
const VECTOR_WORDS: &[&str] =
    &["vector", "vectors", "vect", "vec", "vecs", "vectab", "vectbl", "exception", "exceptions", "exctab", "exctbl"];

/// The numbers of serial chips, without the letters of their makers.
const SERIAL_PARTS: &[u32] = &[2651, 2661, 2681, 6850, 8250, 8251, 8530, 16_450, 16_550, 68_661, 68_681, 68_901];

/// What the words of a text speak of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Subjects(u8);

impl Subjects {
    const DISKS: u8 = 1;
    const SERIAL: u8 = 2;
    const VECTORS: u8 = 4;

    /// Whether they speak of disks.
    #[must_use]
    pub fn has_disks(self) -> bool {
        self.0 & Self::DISKS != 0
    }

    /// Whether they speak of serial ports.
    #[must_use]
    pub fn has_serial(self) -> bool {
        self.0 & Self::SERIAL != 0
    }

    /// Whether they speak of exception vectors.
    #[must_use]
    pub fn has_vectors(self) -> bool {
        self.0 & Self::VECTORS != 0
    }

    /// Only whether they speak of exception vectors.
    pub(crate) fn vectors(self) -> Self {
        Self(self.0 & Self::VECTORS)
    }

    /// Whether they speak of none of these.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }
}

impl std::ops::BitOr for Subjects {
    type Output = Self;

    fn bitor(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

impl std::ops::BitOrAssign for Subjects {
    fn bitor_assign(&mut self, other: Self) {
        *self = *self | other;
    }
}

/// What the words of a text speak of. Words are split at what is no letter and where digits begin: `bootFmt720` gives `bootfmt`.
#[must_use]
pub fn subjects(text: &str) -> Subjects {
    let mut found = Subjects::default();
    let mut word = [0_u8; 12];
    let mut len = 0;
    let mut number = 0_u32;
    for byte in text.bytes().chain([b' ']) {
        if byte.is_ascii_digit() {
            number = number.saturating_mul(10).saturating_add(u32::from(byte - b'0'));
        } else if number > 0 {
            found.0 |= if SERIAL_PARTS.contains(&number) { Subjects::SERIAL } else { 0 };
            number = 0;
        }
        if byte.is_ascii_alphabetic() {
            if len < word.len() {
                word[len] = byte.to_ascii_lowercase();
            }
            len += 1;
        } else {
            if (2..=word.len()).contains(&len) {
                let own = &word[..len];
                let is_in = |words: &[&str]| words.iter().any(|it| it.as_bytes() == own);
                found.0 |= if is_in(DISK_WORDS) { Subjects::DISKS } else { 0 };
                found.0 |= if is_in(SERIAL_WORDS) { Subjects::SERIAL } else { 0 };
                // Nearly no word has the letters in it.
                let has_sign = own.contains(&b'v') || own.starts_with(b"exc");
                let is_vector = has_sign && VECTOR_WORDS.iter().any(|it| own.ends_with(it.as_bytes()));
                found.0 |= if is_vector { Subjects::VECTORS } else { 0 };
            }
            len = 0;
        }
    }
    found
}

/// Our own marks in comments that say what a table is: `@block NAME` a layout, `@chip NAME` or `@chip NAME.CHANNEL` what it is sent to.
pub(crate) const MARKS: [&str; 2] = ["@block", "@chip"];

/// The name behind a mark in a comment; the mark applies to the table it stands at.
pub(crate) fn marked<'a>(comment: &'a str, mark: &str) -> Option<&'a str> {
    // Nearly no comment has the character at all.
    let start = comment.find('@')?;
    let rest = comment[start..].find(mark).map(|at| &comment[start + at + mark.len()..])?;
    let name = rest.trim_start();
    if name.len() == rest.len() {
        return None;
    }
    let is_part = |it: char| it.is_ascii_alphanumeric() || it == '-' || it == '_' || it == '.' && mark == MARKS[1];
    let end = name.find(|it: char| !is_part(it)).unwrap_or(name.len());
    (end > 0).then_some(name[..end].trim_end_matches('.'))
}

/// Whether a comment has one of the marks.
pub(crate) fn has_mark(comment: &str) -> bool {
    comment.contains('@') && MARKS.iter().any(|mark| marked(comment, mark).is_some())
}

/// The size of one item of a data directive in bytes; none for a size the directive does not have.
#[must_use]
pub(crate) fn item_bytes(directive: &Directive, size: u8) -> Option<u32> {
    match directive.meaning {
        Meaning::ConstantsOf(bytes) | Meaning::Floats(bytes) => Some(bytes.into()),
        Meaning::Strings(_) | Meaning::ReserveBytes | Meaning::Fill => Some(1),
        _ => match size {
            0 => Some(2),
            // Floating-point and packed items of the other members of the family.
            b'd' => Some(8),
            b'x' | b'p' => Some(12),
            _ => match Size::from_letter(size)? {
                Size::Short => Some(4),
                size => Some(size.bytes()),
            },
        },
    }
}

/// Whether a suffix is that of floating-point and packed items, which the other members of the family have.
pub(crate) fn is_float_size(size: u8) -> bool {
    matches!(size, b's' | b'd' | b'x' | b'p')
}

/// How many bytes a data line lays down, if its text alone tells; and whether it is aligned to an even address first.
pub(crate) fn static_bytes(text: &str, line: &Line, directive: &Directive, dialect: Dialect) -> Option<(u32, bool)> {
    let item = item_bytes(directive, line.size)?;
    let aligned = item > 1 && !dialect.is_unix();
    let mut total = 0;
    match directive.meaning {
        Meaning::Constants | Meaning::ConstantsOf(_) | Meaning::Floats(_) => {
            reveille_source::operands(text, line, dialect, |range| {
                total += constant_bytes(&text[range], item, dialect)
            });
            Some((total, aligned))
        }
        Meaning::Strings(zero) => {
            reveille_source::operands(text, line, dialect, |range| {
                total += quoted_bytes(&text[range], dialect).len() as u32 + u32::from(zero);
            });
            Some((total, false))
        }
        _ => None,
    }
}

/// How many bytes one operand of DC lays down. A text alone is packed from the left and filled up to whole items.
pub(crate) fn constant_bytes(operand: &str, item: u32, dialect: Dialect) -> u32 {
    if !is_text(operand, dialect) {
        return item;
    }
    let len = quoted_bytes(operand, dialect).len() as u32;
    len.div_ceil(item).max(1) * item
}

/// Whether an operand is one quoted text and nothing else. In the Unix dialects a character between single quotes is a number.
pub(crate) fn is_text(operand: &str, dialect: Dialect) -> bool {
    let bytes = operand.as_bytes();
    if dialect.is_unix() && bytes.starts_with(b"'") && quoted_bytes(operand, dialect).len() == 1 {
        return false;
    }
    let Some(quote @ (b'\'' | b'"')) = bytes.first() else { return false };
    bytes.len() > 1 && bytes.ends_with(&[*quote]) && {
        // Not `'a'+'b'`: inside, quotes come in pairs or behind a backslash.
        let inside = &bytes[1..bytes.len() - 1];
        let mut at = 0;
        loop {
            match inside[at.min(inside.len())..].iter().position(|it| it == quote) {
                None => break true,
                Some(found) => {
                    at += found;
                    let escaped = at > 0 && inside[at - 1] == b'\\';
                    if !escaped && inside.get(at + 1) != Some(quote) {
                        break false;
                    }
                    at += if escaped { 1 } else { 2 };
                }
            }
        }
    }
}

/// Whether a value can be laid down in an item of so many bytes, signed or not.
pub(crate) fn fits(value: i64, bytes: u32) -> bool {
    match bytes {
        1 => (-0x80..=0xff).contains(&value),
        2 => (-0x8000..=0xffff).contains(&value),
        4 => (-0x8000_0000..=0xffff_ffff).contains(&value),
        _ => true,
    }
}

/// The names of an operand field; `each` gets the name and its start.
pub(crate) fn names(field: &str, dialect: Dialect, mut each: impl FnMut(&str, usize)) {
    tokens(field, dialect, |kind, range| {
        if kind == TokenKind::Name {
            each(&field[range.clone()], range.start);
        }
    });
}

/// Whether a label is local: valid between two ordinary labels only.
#[must_use]
pub fn is_local_label(name: &str, dialect: Dialect) -> bool {
    match name.as_bytes() {
        [b'.', _, ..] | [b'@', _, ..] => !dialect.is_unix(),
        [first, .., b'$'] => first.is_ascii_digit() || !dialect.is_unix(),
        [first, ..] => first.is_ascii_digit(),
        [] => false,
    }
}

/// The name of a file in the operand of INCLUDE, with or without quotes.
pub(crate) fn include_name(operand: &str) -> &str {
    operand.trim_matches(['"', '\'', '<', '>'])
}

/// `.equ name,value`: where the name and the value stand.
pub(crate) fn value_in_operands(chunk: &Chunk, line: &Line, text: &str) -> Option<(Range<usize>, Span)> {
    let operands = chunk.operands(line);
    let [name, value, ..] = operands.as_slice() else { return None };
    let word = text[name.clone()].as_bytes();
    let is_name = !word.is_empty() && word_end(word, 0, chunk.dialect()) == word.len();
    is_name.then(|| (name.clone(), Span { start: value.start as u16, end: value.end as u16 }))
}
