//! `reveille sheet`: the bring-up sheet.

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Result, bail};
use clap::{Args, ValueEnum};

use super::{CLEAN, FromOutside};
use crate::{load, report};

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Format {
    /// For people.
    Markdown,
    /// One page with drawn pictures, which needs nothing from outside.
    Html,
    /// One object, for other programs.
    Json,
    /// The way from power-on to the prompt as a graph, in the language of Graphviz.
    Dot,
}

#[derive(Debug, Args)]
pub(super) struct Sheet {
    /// The folder of the firmware's sources, or one file.
    path: PathBuf,
    /// The form of the output.
    #[arg(long, value_enum, default_value = "markdown")]
    format: Format,
    /// The folder of another revision of the firmware: only what the two say differently is told, as Markdown or JSON.
    #[arg(long, value_name = "OLD")]
    compare: Option<PathBuf>,
    #[command(flatten)]
    from_outside: FromOutside,
}

impl Sheet {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let options = self.from_outside.options()?;
        let model = load::model(std::slice::from_ref(&self.path), &options)?;
        if let Some(old) = &self.compare {
            let old = load::model(std::slice::from_ref(old), &options)?;
            match self.format {
                Format::Markdown => report::changed_markdown(&old, &model, out)?,
                Format::Json => report::changed_json(&old, &model, out)?,
                Format::Html | Format::Dot => bail!("`--compare` prints `--format markdown` or `json`"),
            }
            return Ok(CLEAN);
        }
        match self.format {
            Format::Markdown => report::sheet_markdown(&model, &self.path, &report::picture_in_text, out)?,
            Format::Html => report::sheet_html(&model, &self.path, out)?,
            Format::Json => report::sheet_json(&model, out)?,
            Format::Dot => {
                for path in model.boot() {
                    write!(out, "{}", reveille_editor::way_dot(path))?;
                }
            }
        }
        Ok(CLEAN)
    }
}
