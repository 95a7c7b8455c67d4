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

/// Ends of words that tell of exception vectors. Common practice, no source.
const VECTOR_WORDS: &[&str] =
    &["vector", "vectors", "vect", "vec", "vecs", "vectab", "vectbl", "exception", "exceptions", "exctab", "exctbl"];

/// What the words of a label or a comment speak of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(crate) struct Topics {
    pub(crate) disks: bool,
    pub(crate) vectors: bool,
}

impl Topics {
    pub(crate) fn and(self, other: Self) -> Self {
        Self { disks: self.disks || other.disks, vectors: self.vectors || other.vectors }
    }
}

/// What a text speaks of. Its words end at what is no letter and where digits begin: `bootFmt720` gives `bootfmt`.
pub(crate) fn topics(text: &str) -> Topics {
    let mut found = Topics::default();
    let mut word = [0_u8; 12];
    let mut len = 0;
    for byte in text.bytes().chain([b' ']) {
        if byte.is_ascii_alphabetic() {
            if len < word.len() {
                word[len] = byte.to_ascii_lowercase();
            }
            len += 1;
        } else {
            if (2..=word.len()).contains(&len) {
                let own = &word[..len];
                found.disks = found.disks || DISK_WORDS.iter().any(|it| it.as_bytes() == own);
                // Nearly no word has the letters in it.
                let has_sign = own.contains(&b'v') || own.starts_with(b"exc");
                found.vectors = found.vectors || has_sign && VECTOR_WORDS.iter().any(|it| own.ends_with(it.as_bytes()));
            }
            len = 0;
        }
    }
    found
}

/// Where a comment says `@block NAME`: the name. Our own mark; it may name any layout, and applies to the table it stands at.
pub(crate) fn marked_block(comment: &str) -> Option<&str> {
    // Nearly no comment has the character at all.
    let mark = comment.find('@')?;
    let rest = comment[mark..].find("@block").map(|at| &comment[mark + at + "@block".len()..])?;
    let name = rest.trim_start();
    if name.len() == rest.len() {
        return None;
    }
    let end = name.find(|it: char| !(it.is_ascii_alphanumeric() || it == '-' || it == '_')).unwrap_or(name.len());
    (end > 0).then_some(&name[..end])
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
