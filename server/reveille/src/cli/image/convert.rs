//! `reveille image convert`: the order of tracks.

use std::io::Write;
use std::path::PathBuf;

use anyhow::Result;
use clap::Args;
use reveille_decoders::volume::{Arrangement, ORDERS, OrderKind};

use super::super::CLEAN;
use super::super::files::{self, NewFile};
use super::input::{Input, must_be_writable};
use super::table::TableArgs;
use super::{CAUTION, Unfit, order_name};

#[derive(Debug, Args)]
pub(super) struct Convert {
    #[command(flatten)]
    input: Input,
    /// The file for the image in the new order.
    output: PathBuf,
    /// The new order of tracks: cylinders, sides or sides-back. --order is that of the file that is read.
    #[arg(long, value_name = "ORDER", value_parser = order_name)]
    to: OrderKind,
    /// Replaces a file that is there already.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    table: TableArgs,
}

impl Convert {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        must_be_writable(&self.output)?;
        let bytes = self.input.read()?;
        let shown = self.input.image.display();
        let table = self.table.must_be(&self.input, &bytes, out)?;
        let geometry = &table.geometry;
        if bytes.len() as u64 != geometry.bytes() {
            let (has, wants) = (bytes.len(), geometry.bytes());
            return Err(Unfit(format!("`{shown}` has {has} bytes, expected {wants} for {}", table.subject)).into());
        }
        let (_, volume) = self.input.arranged(bytes, geometry)?;
        let written = Arrangement::new(self.to, geometry).map_err(Unfit)?.to_file(&volume);
        let new = [NewFile { path: &self.output, bytes: written }];
        files::write(&new, &[&self.input.image], self.force)?;
        let title = |kind: OrderKind| ORDERS.iter().find(|it| it.kind == kind).map_or("", |it| it.title);
        writeln!(out, "{}: {} bytes, {}", self.output.display(), new[0].bytes.len(), title(self.to))?;
        writeln!(out, "from {shown}: {}; by {}", title(self.input.order), table.subject)?;
        writeln!(out, "{CAUTION}")?;
        Ok(CLEAN)
    }
}
