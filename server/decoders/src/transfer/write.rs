//! What the writers of both formats of lines share.

use std::fmt;

/// Data bytes of a record, if nobody says otherwise. Common practice: senders of the 1980s write 16.
pub const DATA_BYTES: usize = 16;

/// Why an image cannot be written in a form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WriteError {
    /// An address is wider than the form's.
    TooWide {
        /// The address.
        address: u32,
        /// The last one that the form can name.
        last: u32,
    },
    /// A record cannot have as many data bytes.
    DataBytes {
        /// As many were asked for.
        asked: usize,
        /// As many it can have.
        most: usize,
    },
    /// The header does not fit into one record.
    Header {
        /// Its bytes.
        bytes: usize,
        /// As many fit.
        most: usize,
    },
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooWide { address, last } => {
                write!(f, "address ${address:X} does not fit, the last one is ${last:X}; use wider addresses")
            }
            Self::DataBytes { asked, most } => {
                write!(f, "{asked} data bytes in a record, expected 1 to {most}")
            }
            Self::Header { bytes, most } => write!(f, "a header of {bytes} bytes, expected at most {most}"),
        }
    }
}

impl std::error::Error for WriteError {}

/// Writes bytes as pairs of upper-case digits.
pub(super) fn hex(bytes: &[u8], into: &mut String) {
    const DIGITS: &[u8; 16] = b"0123456789ABCDEF";
    for byte in bytes {
        into.push(char::from(DIGITS[usize::from(byte >> 4)]));
        into.push(char::from(DIGITS[usize::from(byte & 15)]));
    }
}
