//! Facts and findings: what was decoded from a program, each with its evidence, and what does not fit.
//!
//! [`Model::new`] makes them from a program and its analysis. Every output shows these; none works anything out by itself.

mod blocks;
mod catalog;
mod code;
mod constants;
mod convert;
mod finding;
mod fix;
pub mod image;
mod linkage;
mod machine;
mod model;
mod reads;
mod relations;
pub mod rom;
mod rules;
mod scanned;
mod sectors;
mod setup;
mod source;
mod track;

pub use blocks::{BlockFact, Confidence, DiskMap, DiskPart, Level, Part};
pub use catalog::{CatalogEntry, catalog, catalog_entry};
pub use constants::{ConstantsFact, Role};
pub use convert::{additions, conversions};
pub use finding::{Edit, Evidence, Finding, Fix};
pub use machine::{MACHINE_FILE, Machine};
pub use model::{Fact, Model};
pub use reveille_machine::Drive;
pub use setup::{Given, Named, read_as_told};
pub use track::{InDrive, reads, usual_track};
