//! `reveille image list`.

use std::io::Write;

use anyhow::Result;
use clap::Args;
use reveille_decoders::volume::read;

use super::super::CLEAN;
use super::input::Input;
use super::table::TableArgs;
use super::{Format, Unfit};
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
        let mut given = self.table.given(out)?;
        let table = self.table.or_own(&bytes, &mut given).map_err(|why| {
            Unfit(format!(
                "`{}` has no block that makes a volume: {why}; give --table or --standard",
                self.input.image.display()
            ))
        })?;
        let (_, bytes) = self.input.arranged(bytes, &table.geometry)?;
        let volume = read(&bytes, &table.geometry);
        match self.format {
            Format::Text => report::image_list_text(&self.input.image, &table, &volume, out)?,
            Format::Json => report::image_list_json(&volume, out)?,
        }
        Ok(CLEAN)
    }
}
