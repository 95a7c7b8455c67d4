//! `reveille image`: images of diskettes.

mod check;
mod convert;
mod extract;
mod input;
mod list;
mod make;
mod table;

use std::io::Write;

use anyhow::Result;
use clap::{Args, Subcommand, ValueEnum};
use reveille_decoders::boot::{Branch, NewBoot};
use reveille_decoders::volume::{self, Moment, ORDERS, OrderKind, order};
use reveille_facts::BlockFact;
use reveille_facts::image::Table;

use super::{Unfit, unfit_is_told};

/// Said wherever an image is made or put in order.
const CAUTION: &str = "Before a disk is written: write-protect the original, keep its first image untouched, and use real double-density media for 250 kbit/s.";

#[derive(Debug, Args)]
#[command(after_help = CAUTION)]
pub(super) struct Image {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, Subcommand)]
enum Action {
    /// Makes a raw sector image: boot sector, FATs, root directory and files, laid out by a parameter block.
    #[command(after_help = CAUTION)]
    Make(make::Make),
    /// Checks an image against the firmware's block: boot sector, FATs, chains, directories, the boot file.
    Check(check::Check),
    /// Lists the files of an image.
    List(list::List),
    /// Writes files of an image into a folder.
    Extract(extract::Extract),
    /// Puts the tracks of an image in another order.
    #[command(after_help = CAUTION)]
    Convert(convert::Convert),
}

impl Image {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let result = match &self.action {
            Action::Make(make) => make.run(out),
            Action::Check(check) => check.run(out),
            Action::List(list) => list.run(out),
            Action::Extract(extract) => extract.run(out),
            Action::Convert(convert) => convert.run(out),
        };
        unfit_is_told(result)
    }
}

/// The bytes of a file in an image, which is read by its own block; the name is compared without regard to case.
pub(super) fn file_of(image: &[u8], name: &str) -> Option<Vec<u8>> {
    let table = Table::of_image(image).ok()?;
    let volume = volume::read(image, &table.geometry);
    let entry = volume.entry(name).filter(|it| !it.is_directory())?;
    Some(volume.content(image, &table.geometry, entry))
}

/// A new, empty disk by a block of the source, with 55 AA where the sector has room for it; none where the block makes no volume.
pub(super) fn empty(block: &BlockFact) -> Option<Vec<u8>> {
    let table = Table::of_block(block).ok()?;
    let mut written = volume::write(&table.geometry, &[], None, Moment::from_unix(0)).ok()?;
    let block = table.block_to_write(None, 0);
    let has_signature = table.geometry.sector_bytes >= 512;
    let boot = NewBoot { branch: Branch::M68000, block: &block, code: &[], serial: 0, has_signature, word_sum: None };
    boot.write(&mut written.bytes, &table.geometry).ok()?;
    Some(written.bytes)
}

/// The forms of the output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// One object a line.
    Json,
}

/// Reads the name of an order of tracks.
fn order_name(text: &str) -> Result<OrderKind, String> {
    order(text).map(|it| it.kind).ok_or_else(|| {
        let names: Vec<String> = ORDERS.iter().map(|it| format!("`{}` ({})", it.name, it.title)).collect();
        format!("known orders are {}", names.join(", "))
    })
}
