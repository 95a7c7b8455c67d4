//! What can be wrong with a file of records.

use std::fmt;

use crate::Severity;

/// One thing that is wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The line, from 0.
    pub line: u32,
    /// The column: bytes of the line, from 0.
    pub column: u32,
    /// What.
    pub kind: ProblemKind,
}

/// What is wrong. Lines in it count from 0.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ProblemKind {
    /// A line that starts with something else than a record does.
    NoRecord {
        /// What it starts with.
        found: u8,
        /// What records start with.
        expected: char,
    },
    /// A character that is no hexadecimal digit.
    NotHex {
        /// The character.
        found: u8,
    },
    /// Half a byte at the end.
    OddDigits {
        /// As many digits.
        digits: usize,
    },
    /// A record that has less than its type needs.
    TooShort {
        /// Bytes of the record, its length byte left out.
        bytes: usize,
        /// As many it needs.
        least: usize,
    },
    /// A record whose length byte is wrong, or that is cut.
    Length {
        /// Bytes that the record says follow.
        said: usize,
        /// Bytes that do.
        found: usize,
    },
    /// A wrong checksum.
    Checksum {
        /// What the record has.
        found: u8,
        /// What its bytes add up to.
        expected: u8,
    },
    /// A type of record that no format has.
    UnknownType {
        /// The type, as it is written.
        found: String,
    },
    /// S4: reserved.
    Reserved,
    /// Bytes in a record whose type has none, or not as many.
    DataInRecord {
        /// The type, as it is written.
        record: &'static str,
        /// Data bytes.
        found: usize,
        /// As many it has by its type.
        expected: usize,
    },
    /// An address that the format wants to be 0.
    AddressNotZero {
        /// The type, as it is written.
        record: &'static str,
        /// The address.
        found: u32,
    },
    /// A data record without data.
    NoDataInRecord,
    /// Data behind the last address that the record's type can name.
    PastEnd {
        /// That last address.
        last: u32,
    },
    /// Data that runs over the end of a 64 KiB segment.
    SegmentWrap,
    /// Data records with addresses of different width.
    MixedWidths {
        /// The type of this one.
        found: &'static str,
        /// The type of the first one.
        first: &'static str,
    },
    /// A header that is not the first record.
    LateHeader,
    /// One more header.
    SecondHeader,
    /// The number of data records is another than the count record says.
    Count {
        /// What the record says.
        said: u32,
        /// As many there are.
        found: u32,
    },
    /// Another entry address than before.
    SecondEntry {
        /// The one before.
        before: u32,
        /// This one.
        found: u32,
    },
    /// An end record that belongs to data records of another width.
    EndMismatch {
        /// The type it has.
        found: &'static str,
        /// The type that pairs with the data records.
        expected: &'static str,
    },
    /// A record behind the end record.
    AfterEnd {
        /// The line of the end record.
        end: u32,
    },
    /// No end record.
    NoEnd {
        /// What one looks like.
        expected: &'static str,
    },
    /// Two records that have data for the same address.
    Overlap {
        /// The first address that both have.
        address: u32,
        /// The line of the other record.
        other: u32,
        /// Whether their data differs.
        differ: bool,
    },
    /// No data at all.
    NoData,
}

impl Problem {
    /// An error where the data cannot be trusted, else a warning.
    #[must_use]
    pub fn severity(&self) -> Severity {
        match &self.kind {
            ProblemKind::AddressNotZero { .. }
            | ProblemKind::NoDataInRecord
            | ProblemKind::SegmentWrap
            | ProblemKind::MixedWidths { .. }
            | ProblemKind::SecondHeader
            | ProblemKind::SecondEntry { .. }
            | ProblemKind::EndMismatch { .. }
            | ProblemKind::NoEnd { .. }
            | ProblemKind::Overlap { differ: false, .. } => Severity::Warning,
            _ => Severity::Error,
        }
    }
}

/// A character of a file, for messages.
fn character(byte: u8) -> String {
    if byte.is_ascii_graphic() { format!("`{}`", char::from(byte)) } else { format!("the byte ${byte:02X}") }
}

fn bytes(count: usize) -> String {
    format!("{count} {}", if count == 1 { "byte" } else { "bytes" })
}

/// What was found, what was expected, what to do.
impl fmt::Display for ProblemKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRecord { found, expected } => {
                let found = character(*found);
                write!(f, "the line starts with {found}, expected `{expected}`; remove it if it is no record")
            }
            Self::NotHex { found } => {
                write!(f, "{} is no hexadecimal digit; transfer the file again", character(*found))
            }
            Self::OddDigits { digits } => {
                write!(f, "{digits} digits, expected two for each byte; a digit is lost, transfer the file again")
            }
            Self::TooShort { bytes: found, least } => {
                let found = bytes(*found);
                write!(f, "{found} in the record, expected at least {least}; look at its type and length")
            }
            Self::Length { said, found } => {
                let said = bytes(*said);
                write!(f, "the record says that {said} follow, found {found}; the line is damaged or cut")
            }
            Self::Checksum { found, expected } => {
                let what = format!("checksum ${found:02X}, expected ${expected:02X}");
                write!(f, "{what} for the bytes of this line; one of them is damaged, transfer the file again")
            }
            Self::UnknownType { found } => {
                write!(f, "no record has the type `{found}`; the line is damaged or of another format")
            }
            Self::Reserved => write!(f, "`S4` is reserved, expected another type; is the digit damaged?"),
            Self::DataInRecord { record, found, expected } => {
                let found = bytes(*found);
                write!(f, "{found} of data in `{record}`, expected {expected}; is the type damaged?")
            }
            Self::AddressNotZero { record, found } => {
                write!(f, "address ${found:04X} in `{record}`, expected $0000; is the type damaged?")
            }
            Self::NoDataInRecord => write!(f, "a data record without data; is the type damaged?"),
            Self::PastEnd { last } => {
                write!(f, "data runs past the last address ${last:X}; what lies behind it is left out")
            }
            Self::SegmentWrap => write!(
                f,
                "data runs past $FFFF of its segment and goes on at $0000, as the format says; programs differ here, split the record"
            ),
            Self::MixedWidths { found, first } => {
                write!(f, "`{found}` where other data records are `{first}`; is the type damaged?")
            }
            Self::LateHeader => {
                write!(
                    f,
                    "a header behind data, expected in the first line; is it a data record whose type is damaged?"
                )
            }
            Self::SecondHeader => write!(f, "one more header; only the first is kept"),
            Self::Count { said, found } => {
                write!(f, "the count record says {said} data records, found {found}; lines are lost or doubled")
            }
            Self::SecondEntry { before, found } => {
                write!(f, "entry address ${found:X}, but ${before:X} before; the last one is taken")
            }
            Self::EndMismatch { found, expected } => {
                write!(
                    f,
                    "the end record is `{found}`, expected `{expected}` for these data records; is a type damaged?"
                )
            }
            Self::AfterEnd { end } => {
                let end = end + 1;
                write!(
                    f,
                    "a record behind the end record of line {end}; most programs would leave it out, split the file"
                )
            }
            Self::NoEnd { expected } => {
                write!(f, "no end record, expected `{expected}`; check that the end of the file is there")
            }
            Self::Overlap { address, other, differ } => {
                let how = if *differ { "with other data; decide which one is right" } else { "with the same data" };
                write!(f, "address ${address:06X} is in line {} too, {how}", other + 1)
            }
            Self::NoData => write!(f, "no sound data record; is it the right file?"),
        }
    }
}

/// Line and column, both from 1, and what is wrong.
impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}", self.line + 1, self.column + 1, self.kind)
    }
}
