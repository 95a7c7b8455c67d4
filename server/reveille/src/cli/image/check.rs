//! `reveille image check`.

use std::io::Write;

use anyhow::Result;
use clap::Args;
use reveille_decoders::Severity;
use reveille_facts::image::{ImageFinding, Question, check, unreadable};

use super::super::{CLEAN, ERRORS};
use super::Format;
use super::input::Input;
use super::table::TableArgs;
use crate::report;

#[derive(Debug, Args)]
pub(super) struct Check {
    #[command(flatten)]
    input: Input,
    #[command(flatten)]
    table: TableArgs,
    /// The form of the output.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Check {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let bytes = self.input.read()?;
        let mut given = self.table.given(out)?;
        let (findings, header) = match self.table.or_own(&bytes, &mut given) {
            Err(why) => (vec![unreadable(&bytes, &why)], None),
            Ok(table) => {
                let (arrangement, volume) = self.input.arranged(bytes, &table.geometry)?;
                let question = Question { bytes: &volume, arrangement, table: &table, boot: given.boot.as_ref() };
                let checked = check(&question);
                (checked.findings, Some(report::NamedTable { table: &table, model: &given.model }.named()))
            }
        };
        let path = &self.input.image;
        match self.format {
            Format::Text => {
                if let Some(header) = header {
                    writeln!(out, "{}: read by {header}", path.display())?;
                    if let Some(remark) = &given.remark {
                        writeln!(out, "{remark}")?;
                    }
                    writeln!(out)?;
                }
                report::image_findings_text(&given.model, path, &findings, out)?;
            }
            Format::Json => report::image_findings_json(&given.model, path, &findings, out)?,
        }
        Ok(code(&findings))
    }
}

/// The exit code of findings.
pub(super) fn code(findings: &[ImageFinding]) -> u8 {
    if findings.iter().any(|it| it.severity == Severity::Error) { ERRORS } else { CLEAN }
}
