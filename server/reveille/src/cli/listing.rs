//! `reveille listing`: the program assembled in memory.

use std::io::{IsTerminal, Write};
use std::path::PathBuf;

use anyhow::Result;
use clap::{Args, ValueEnum};
use reveille_decoders::Severity;

use super::{CLEAN, ERRORS, FromOutside};
use crate::{load, report};

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Format {
    /// Addresses, bytes and times beside the source, for people.
    Text,
    /// One object a line.
    Json,
}

#[derive(Debug, Args)]
pub(super) struct Listing {
    /// The file that is assembled; it takes in what it includes.
    file: PathBuf,
    /// The form of the output.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    from_outside: FromOutside,
}

impl Listing {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let model = load::model(std::slice::from_ref(&self.file), &self.from_outside.options()?)?;
        let findings = model.findings();
        match self.format {
            Format::Text => {
                report::listing_text(&model, out)?;
                let color = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
                if !findings.is_empty() {
                    writeln!(out)?;
                    report::text(&model, &findings, color, out)?;
                }
            }
            Format::Json => {
                report::listing_json(&model, out)?;
                report::json_lines(&model, &findings, out)?;
            }
        }
        let is_error = findings.iter().any(|it| it.severity == Severity::Error);
        Ok(if is_error { ERRORS } else { CLEAN })
    }
}
