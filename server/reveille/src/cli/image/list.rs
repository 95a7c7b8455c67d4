//! `reveille image list`.

use std::io::Write;

use anyhow::Result;
use clap::Args;
use reveille_decoders::volume::read;

use super::super::CLEAN;
use super::Format;
use super::input::Input;
use super::table::TableArgs;
use crate::report;

#[derive(Debug, Args)]
pub(super) struct List {
    #[command(flatten)]
    input: Input,
    #[command(flatten)]
    table: TableArgs,
    /// The form of the output.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl List {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let bytes = self.input.read()?;
        let table = self.table.must_be(&self.input, &bytes, out)?;
        let (_, bytes) = self.input.arranged(bytes, &table.geometry)?;
        let volume = read(&bytes, &table.geometry);
        match self.format {
            Format::Text => report::image_list_text(&self.input.image, &table, &volume, out)?,
            Format::Json => report::image_list_json(&volume, out)?,
        }
        Ok(CLEAN)
    }
}
