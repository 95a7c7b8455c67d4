//! Facts and findings: what was decoded from a program, each with its evidence, and what does not fit.
//!
//! [`Model::new`] makes them from a program and its analysis. Every output shows these; none works anything out by itself.

mod access;
mod blocks;
mod boot;
mod c;
mod catalog;
mod code;
mod constants;
mod convert;
mod file_names;
mod file_spelling;
mod finding;
mod fix;
pub mod image;
mod jumps;
mod linkage;
mod machine;
mod memory;
mod model;
mod object;
mod reads;
mod relations;
pub mod rom;
mod routes;
mod rules;
mod scanned;
mod sectors;
mod serial;
mod session;
mod setup;
mod source;
mod track;
mod vectors;

pub use blocks::{BlockFact, Confidence, DiskMap, DiskPart, Level, Part};
pub use boot::{BootFile, BootPath, Choice, Command, Needs, PathRoutine, PathStep, Printed, Question, Start, StepKind};
pub use c::{CUnit, Convention, convention, is_c};
pub use catalog::{CatalogEntry, catalog, catalog_entry};
pub use constants::{ConstantsFact, Role};
pub use convert::{additions, conversions};
pub use finding::{Edit, Evidence, Finding, Fix};
pub use machine::{MACHINE_FILE, Machine};
pub use memory::{MemoryFact, MemoryMap, Uses};
pub use model::{Fact, Model};
pub use object::{Object, ObjectFact, ObjectField, is_object, may_be_object};
pub use reveille_machine::Drive;
pub use serial::{Clock, ClockFrom, FamilyFact, Form, LineFact, Member, Port, RegisterUse, RegisterWrite, Selects};
pub use session::{Cause as SessionCause, NamedMonitor, NamedValue, SESSION_ENDING, SessionFact, StepFact, is_session};
pub use setup::{Given, Named, read_as_told};
pub use track::{InDrive, reads, usual_track};
pub use vectors::{Handler, Stands, VectorEntry, VectorOrigin, VectorsFact, number_ranges};
