//! An open document, and what the bytes of a file on disk say.

use std::ops::Range;

use ropey::Rope;

use crate::{ColumnUnit, Dialect, File, Position, Splice};

/// How the bytes of a file stood for characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Encoding {
    /// UTF-8, ASCII included.
    #[default]
    Utf8,
    /// A code page of one byte a character, read as Latin-1: bytes above 7F one to one.
    Latin1,
}

/// What came of a file's bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Decoded {
    /// Text.
    Text(String, Encoding),
    /// Not text: the offset of a byte that no source has.
    Binary(usize),
}

/// Decodes the bytes of a file. A zero byte, or many control characters, are a sign that it is no text.
#[must_use]
pub fn decode(mut bytes: Vec<u8>) -> Decoded {
    // Files of CP/M-like systems end with 1A and may be filled up with zeros behind it.
    let filled = bytes.iter().rposition(|byte| *byte != 0).map_or(0, |at| at + 1);
    if bytes[..filled].ends_with(&[0x1a]) {
        bytes.truncate(filled);
    }
    let head = &bytes[..bytes.len().min(64 * 1024)];
    let is_control = |byte: &&u8| **byte < 0x20 && !matches!(**byte, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a | 0x1b);
    let text_end = head.iter().position(|byte| *byte == 0x1a).unwrap_or(head.len());
    let text = &head[..text_end];
    if let Some(at) = text.iter().position(|byte| *byte == 0) {
        return Decoded::Binary(at);
    }
    if text.iter().filter(is_control).count() * 20 > text.len() {
        return Decoded::Binary(text.iter().position(|byte| is_control(&byte)).unwrap_or(0));
    }
    match String::from_utf8(bytes) {
        Ok(text) => Decoded::Text(text, Encoding::Utf8),
        Err(error) => Decoded::Text(error.into_bytes().into_iter().map(char::from).collect(), Encoding::Latin1),
    }
}

/// A document that an editor holds open: the text it edits, and the file read from it.
#[derive(Clone, Debug)]
pub struct Document {
    rope: Rope,
    file: File,
}

impl Document {
    /// Opens a document.
    #[must_use]
    pub fn new(text: &str, forced: Option<Dialect>) -> Self {
        Self { rope: Rope::from_str(text), file: File::new(text, forced) }
    }

    /// The file as it stands.
    #[must_use]
    pub fn file(&self) -> &File {
        &self.file
    }

    /// The byte at a position. A column past the line's end is the line's end; a line past the last is the end of the text.
    #[must_use]
    pub fn byte(&self, position: Position, unit: ColumnUnit) -> usize {
        let line = position.line as usize;
        match self.file.line(line) {
            Some((_, text)) => self.file.line_start(line) + unit.byte(text, position.column),
            None => self.rope.len_bytes(),
        }
    }

    /// Replaces the bytes of `range`. Errors with the text's length if the range is not inside the text.
    pub fn edit(&mut self, range: Range<usize>, text: &str) -> Result<Splice, usize> {
        if range.start > range.end || range.end > self.rope.len_bytes() {
            return Err(self.rope.len_bytes());
        }
        let (start, end) = (self.rope.byte_to_char(range.start), self.rope.byte_to_char(range.end));
        self.rope.remove(start..end);
        self.rope.insert(start, text);
        let rope = &self.rope;
        Ok(self.file.edit(range, text, &|range| rope.byte_slice(range).to_string()))
    }
}
