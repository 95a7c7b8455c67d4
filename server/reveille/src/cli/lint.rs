//! `reveille lint`: what does not fit.

use std::io::{IsTerminal, Write};
use std::path::PathBuf;

use anyhow::{Result, bail};
use clap::{Args, ValueEnum};
use reveille_decoders::Severity;
use reveille_facts::{Finding, catalog, catalog_entry};

use super::{CLEAN, ERRORS, FromOutside};
use crate::{load, report};

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Format {
    /// With the source, for people.
    Text,
    /// One object a line.
    Json,
    /// SARIF 2.1.0, for code hosts and other tools.
    Sarif,
}

#[derive(Debug, Args)]
pub(super) struct Lint {
    /// Files, or folders whose sources are read.
    #[arg(required_unless_present = "explain")]
    paths: Vec<PathBuf>,
    /// The form of the output.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Explains a finding by its code and does nothing else; `all` lists the codes.
    #[arg(long, value_name = "CODE")]
    explain: Option<String>,
    /// Counts instead what is read of the sources: lines by dialect, lines that are not read, operations that are not known.
    #[arg(long)]
    health: bool,
    #[command(flatten)]
    from_outside: FromOutside,
}

impl Lint {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        if let Some(code) = &self.explain {
            return explain(code, out);
        }
        let model = load::model(&self.paths, &self.from_outside.options()?)?;
        let mut findings = model.findings();
        if self.paths.iter().all(|it| load::is_session(it)) {
            // The firmware was read for the sessions alone.
            let is_beside = |it: &&Finding| {
                let file = model.program().file(it.at.place.file);
                file.is_some_and(|it| it.is_beside() && !load::is_c(it.path()))
            };
            findings.retain(is_beside);
        }
        if self.health {
            report::health(&model, &findings, out)?;
            return Ok(CLEAN);
        }
        match self.format {
            Format::Text => {
                let color = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
                report::text(&model, &findings, color, out)?;
            }
            Format::Json => report::json_lines(&model, &findings, out)?,
            Format::Sarif => report::sarif(&model, &findings, out)?,
        }
        let is_error = findings.iter().any(|it| it.severity == Severity::Error);
        Ok(if is_error { ERRORS } else { CLEAN })
    }
}

fn explain(code: &str, out: &mut dyn Write) -> Result<u8> {
    if code == "all" {
        for entry in catalog() {
            writeln!(out, "{:<11} {:<8} {}", entry.code, entry.severity.name(), entry.title)?;
        }
        return Ok(CLEAN);
    }
    let Some(entry) = catalog_entry(&code.to_ascii_lowercase()) else {
        bail!("there is no finding `{code}`; `reveille lint --explain all` lists them");
    };
    write!(out, "{}", entry.page())?;
    Ok(CLEAN)
}
