//! An image of a diskette held against the parameter block that the firmware has: does it hold what the loader will look for?
//!
//! [`Table`] is the block that a volume is read by, [`check`] reads an image by it, [`boot_names`] finds the name of the file that the
//! loader looks for. All of it is plain data: whoever shows it has the files.

mod boot_name;
mod check;
mod place;
mod table;
#[cfg(test)]
mod tests;
mod troubles;

pub(crate) use boot_name::boot_names_of;
pub use boot_name::{BootName, boot_names};
pub use check::{Checked, Question, check, unreadable};
pub use place::{ImageFinding, ImagePlace, Related};
pub use table::Table;
