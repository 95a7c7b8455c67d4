//! Transfer formats: memory as text, for serial lines and device programmers.
//!
//! Readers take bytes and go on after each problem, so that a damaged file tells all of its damage at once. A record that is
//! damaged itself is left out of the image: neither its address nor its data can be trusted.
//!
//! ```
//! use reveille_decoders::transfer::{self, TransferFormat};
//! let reading = transfer::read(b"S110000048656C6C6F2C20576F726C640A9D\nS9030000FC\n");
//! assert_eq!(reading.format, TransferFormat::SRecord);
//! assert!(reading.is_sound());
//! assert_eq!(reading.image.runs()[0].bytes, b"Hello, World\n");
//! ```

mod detect;
mod image;
pub mod intel_hex;
mod problem;
#[cfg(test)]
mod properties;
pub mod srecord;
mod text;
mod write;

pub use detect::{detect, is_text};
pub use image::{Flat, FlatError, Image, Record, Run};
pub use problem::{Problem, ProblemKind};
pub use write::{DATA_BYTES, WriteError};

use crate::Severity;

/// The forms that memory comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TransferFormat {
    /// The bytes themselves.
    Raw,
    /// S-records: S19, S28 and S37 files.
    SRecord,
    /// Intel hex.
    IntelHex,
}

impl TransferFormat {
    /// What people call it.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::Raw => "raw bytes",
            Self::SRecord => "S-records",
            Self::IntelHex => "Intel hex",
        }
    }
}

/// What was read of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// The form it was read in.
    pub format: TransferFormat,
    /// What its sound records hold.
    pub image: Image,
    /// What is wrong with it, by line.
    pub problems: Vec<Problem>,
}

impl Reading {
    /// Whether the data can be trusted: no problem is an error.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.problems.iter().all(|it| it.severity() != Severity::Error)
    }
}

/// Reads a file in the form that its content has.
#[must_use]
pub fn read(bytes: &[u8]) -> Reading {
    read_as(detect(bytes), bytes)
}

/// Reads a file in a form. Raw bytes are an image at address 0.
#[must_use]
pub fn read_as(format: TransferFormat, bytes: &[u8]) -> Reading {
    match format {
        TransferFormat::Raw => Reading { format, image: Image::raw(0, bytes), problems: Vec::new() },
        TransferFormat::SRecord => srecord::read(bytes),
        TransferFormat::IntelHex => intel_hex::read(bytes),
    }
}
