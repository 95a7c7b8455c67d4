//! Positions: bytes inside the server; lines and columns, in the client's unit, only at its edge.

/// What a column counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum ColumnUnit {
    /// Bytes of UTF-8.
    Utf8,
    /// Code units of UTF-16, the protocol's default.
    #[default]
    Utf16,
    /// Characters.
    Utf32,
}

impl ColumnUnit {
    /// The byte in `line` at `column`. A column past the end, or inside a character, is clamped to the character's start.
    #[must_use]
    pub fn byte(self, line: &str, column: u32) -> usize {
        let column = column as usize;
        if self == Self::Utf8 {
            let mut at = column.min(line.len());
            while !line.is_char_boundary(at) {
                at -= 1;
            }
            return at;
        }
        if line.is_ascii() {
            return column.min(line.len());
        }
        let mut left = column;
        for (at, character) in line.char_indices() {
            let width = if self == Self::Utf16 { character.len_utf16() } else { 1 };
            if left < width {
                return at;
            }
            left -= width;
        }
        line.len()
    }

    /// The column in `line` of the byte at `byte`.
    #[must_use]
    pub fn column(self, line: &str, byte: usize) -> u32 {
        let mut byte = byte.min(line.len());
        while !line.is_char_boundary(byte) {
            byte -= 1;
        }
        let before = &line[..byte];
        let column = match self {
            Self::Utf8 => byte,
            _ if before.is_ascii() => byte,
            Self::Utf16 => before.chars().map(char::len_utf16).sum(),
            Self::Utf32 => before.chars().count(),
        };
        column as u32
    }
}

/// A line and a column, both from 0; the column in the unit that the client chose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Position {
    /// The line.
    pub line: u32,
    /// The column.
    pub column: u32,
}

#[cfg(test)]
mod tests {
    use super::ColumnUnit;

    #[test]
    fn a_character_beyond_the_basic_plane_counts_four_two_and_one() {
        let line = "a\u{1d11e}b";
        for (unit, column) in [(ColumnUnit::Utf8, 5), (ColumnUnit::Utf16, 3), (ColumnUnit::Utf32, 2)] {
            assert_eq!(unit.column(line, 5), column);
            assert_eq!(unit.byte(line, column), 5);
            assert_eq!(unit.byte(line, 99), line.len());
        }
        assert_eq!(ColumnUnit::Utf16.byte(line, 2), 1);
    }
}
