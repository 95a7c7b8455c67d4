//! FAT volumes as bytes: read with all that is wrong with them, and written new. Nothing here knows files or clocks.

mod date;
mod fat;
mod geometry;
mod name;
mod order;
mod read;
#[cfg(test)]
mod tests;
mod write;

pub use date::Moment;
pub use fat::{Fat, Link, first_byte};
pub use geometry::{Geometry, MOST_BYTES, NoVolume};
pub use name::{RawName, is_legal, is_padded_name, raw_label, raw_name, shown, shown_label};
pub use order::{Arrangement, ORDERS, Order, OrderKind, order};
pub use read::{Entry, Problem, Run, Trouble, Volume, attribute, read};
pub use write::{NewEntry, Placed, Written, write};
