//! Bytes in, meaning out: parameter blocks, disk formats, the formulas that hold them together, and what ROM chips hold.
//!
//! It knows no source and no program: bytes come from wherever the caller found them. What it knows is data: one TOML file
//! a block layout in `blocks/`, one a family of blocks in `families/`, the standard formats in `formats.toml`, how tracks are
//! recorded in `track.toml`.
//!
//! ```
//! let layout = reveille_decoders::layout("fat-block-13").unwrap();
//! let block = layout.decode(&[0, 2, 2, 1, 0, 2, 112, 0, 0xa0, 5, 0xf9, 3, 0]);
//! assert_eq!(block.number("total_sectors"), Some(1440));
//! ```

mod block;
pub mod boot;
pub mod checksum;
pub mod chips;
mod family;
mod format;
mod formula;
pub mod program_header;
pub mod serial;
pub mod track;
pub mod transfer;
pub mod volume;

pub use block::{
    Block, Endian, Example, Field, FieldKind, FieldText, Layout, LayoutError, LayoutText, Rows, ValuesText, layout,
    layouts,
};
pub use family::{Derived, Family, Region, Rule, Severity, Values, families, family};
pub use format::{Format, formats, identifier_for, identifier_geometries};
pub use formula::{Formula, FormulaError, Names, Scalar, Template};
