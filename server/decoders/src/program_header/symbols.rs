//! Symbol tables of programs.

use std::ops::Range;

use super::kinds::HeaderKind;

/// The most symbols that are read of a file.
pub const MOST_SYMBOLS: usize = 20_000;

/// The type of an entry of 14 bytes whose name goes on in the next entry: a back end for the same format in a public patch.
const LONG_NAME: u16 = 0x0048;

/// The bits of a type word of a $601A program. Tools of CP/M-68K, published since.
const BITS: &[(u16, &str)] = &[
    (0x8000, "defined"),
    (0x4000, "equated"),
    (0x2000, "global"),
    (0x1000, "register"),
    (0x0800, "external"),
    (0x0400, "data"),
    (0x0200, "text"),
    (0x0100, "bss"),
];

/// A symbol of a program.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProgramSymbol {
    /// Its name.
    pub name: String,
    /// What its type says, in words: `defined, global, text`.
    pub kind: String,
    /// Its value.
    pub value: u32,
    /// The bytes of the file that its entry takes.
    pub range: Range<u64>,
}

/// The symbols in a part of a file. `strings` is what follows all parts: a table of names, in some.
pub(super) fn symbols(kind: &HeaderKind, file: &[u8], part: Range<u64>, strings: &[u8]) -> Vec<ProgramSymbol> {
    let bytes = usize::try_from(part.start).ok().zip(usize::try_from(part.end).ok());
    let Some(table) = bytes.and_then(|(from, to)| file.get(from..to.min(file.len()))) else { return Vec::new() };
    if kind.magic >> 8 == 0x60 {
        return executable(table, part.start);
    }
    if !strings.is_empty() && table.len().is_multiple_of(12) {
        return with_strings(table, part.start, strings);
    }
    let is_words = kind.magic_at() == 0;
    let fits = |it: &&u64| {
        let size = **it as usize;
        table.len().is_multiple_of(size) && table.chunks_exact(size).all(|entry| is_name(&entry[..8]))
    };
    let Some(size) = kind.symbol_bytes.iter().find(fits) else { return Vec::new() };
    let size = *size as usize;
    let read = |(at, entry): (usize, &[u8])| ProgramSymbol {
        name: name(&entry[..8]),
        kind: unix_kind(word(entry, 8)),
        value: if is_words { word(entry, 10).into() } else { long(entry, size - 4) },
        range: range(part.start, at * size, size),
    };
    table.chunks_exact(size).enumerate().take(MOST_SYMBOLS).map(read).collect()
}

/// Entries of 14 bytes: name, type, value.
fn executable(table: &[u8], start: u64) -> Vec<ProgramSymbol> {
    let mut found = Vec::new();
    let mut entries = table.chunks_exact(14).enumerate();
    while let Some((at, entry)) = entries.next() {
        if found.len() == MOST_SYMBOLS {
            break;
        }
        let bits = word(entry, 8);
        let (mut text, mut taken) = (name(&entry[..8]), 14);
        if bits & LONG_NAME == LONG_NAME
            && let Some((_, tail)) = entries.next()
        {
            text.push_str(&name(tail));
            taken = 28;
        }
        let words: Vec<&str> = BITS.iter().filter(|it| bits & it.0 != 0).map(|it| it.1).collect();
        let range = range(start, at * 14, taken);
        found.push(ProgramSymbol { name: text, kind: words.join(", "), value: long(entry, 10), range });
    }
    found
}

/// Entries of 12 bytes whose names stand in a table of their own (from memory).
fn with_strings(table: &[u8], start: u64, strings: &[u8]) -> Vec<ProgramSymbol> {
    let read = |(at, entry): (usize, &[u8])| {
        let text = usize::try_from(long(entry, 0)).ok().and_then(|it| strings.get(it..)).unwrap_or(&[]);
        ProgramSymbol {
            name: name(&text[..text.len().min(MOST_NAME)]),
            kind: segment_kind(entry[4] >> 1 & 0xf, entry[4] & 1 != 0),
            value: long(entry, 8),
            range: range(start, at * 12, 12),
        }
    };
    table.chunks_exact(12).enumerate().take(MOST_SYMBOLS).map(read).collect()
}

/// The most bytes of a name in a table of names.
const MOST_NAME: usize = 255;

fn unix_kind(word: u16) -> String {
    segment_kind((word & 0x1f) as u8, word & 0o40 != 0)
}

/// `a.out.h` of Research UNIX: 0 undefined, 1 absolute, 2 text, 3 data, 4 bss, and external.
fn segment_kind(code: u8, is_external: bool) -> String {
    let segment = ["undefined", "absolute", "text", "data", "bss"].get(usize::from(code)).copied().unwrap_or("other");
    if is_external { format!("{segment}, external") } else { segment.to_owned() }
}

/// Whether bytes are a name, zeros behind it.
fn is_name(bytes: &[u8]) -> bool {
    let end = bytes.iter().position(|it| *it == 0).unwrap_or(bytes.len());
    end > 0 && bytes[..end].iter().all(u8::is_ascii_graphic) && bytes[end..].iter().all(|it| *it == 0)
}

/// The name that bytes begin with; what cannot be shown is a point.
fn name(bytes: &[u8]) -> String {
    let shown = |it: &u8| if it.is_ascii_graphic() { char::from(*it) } else { '.' };
    bytes.iter().take_while(|it| **it != 0).map(shown).collect()
}

fn range(start: u64, offset: usize, bytes: usize) -> Range<u64> {
    start + offset as u64..start + (offset + bytes) as u64
}

fn word(bytes: &[u8], at: usize) -> u16 {
    bytes.get(at..at + 2).map_or(0, |it| u16::from_be_bytes([it[0], it[1]]))
}

fn long(bytes: &[u8], at: usize) -> u32 {
    u32::from(word(bytes, at)) << 16 | u32::from(word(bytes, at + 2))
}
