//! `reveille format`: lines in columns.

use std::collections::HashSet;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::Args;
use reveille_editor::{FormatOptions, Style, edited, reads_as_source};
use reveille_source::{Decoded, Dialect, Encoding, File, decode};

use super::files::{self, NewFile};
use super::{CLEAN, ERRORS, FAILED, dialect};
use crate::load;

/// The last column that can be asked for.
const MOST_COLUMN: usize = 200;

#[derive(Debug, Args)]
pub(super) struct Format {
    /// Files, or folders whose sources and sessions are laid out.
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// Writes nothing, and lists the files that would change: exit code 1 if there are any.
    #[arg(long, conflicts_with = "stdout")]
    check: bool,
    /// Writes no file; prints the one that is named as it would be.
    #[arg(long)]
    stdout: bool,
    /// How many columns lie before operation, operands and comment, such as 8,16,40. Without it as most lines of each file are.
    #[arg(long, value_name = "OPERATION,OPERANDS,COMMENT", value_parser = columns)]
    columns: Option<[usize; 3]>,
    /// Fills columns with tabs. Without this and `--blanks` as most lines of each file are.
    #[arg(long, conflicts_with = "blanks")]
    tabs: bool,
    /// Fills columns with blanks.
    #[arg(long)]
    blanks: bool,
    /// How far tab stops are from each other.
    #[arg(long, value_name = "COLUMNS", value_parser = clap::value_parser!(u8).range(1..=32), default_value = "8")]
    tab_width: u8,
    /// Reads every file in this dialect: motorola or dotted. Without it each file's own text tells.
    #[arg(long, value_name = "DIALECT", value_parser = dialect)]
    dialect: Option<Dialect>,
}

/// What comes of a file.
enum Outcome {
    /// It is laid out already, or no source.
    Same { bytes: Vec<u8> },
    /// It is another one afterwards.
    Changed(Change),
    /// It is left alone, and why.
    Refused(String),
}

struct Change {
    before: Vec<u8>,
    after: Vec<u8>,
    changed_lines: usize,
    lines: usize,
}

impl Format {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let files = self.files()?;
        if self.stdout {
            return self.print(&files, out);
        }
        let (mut new, mut before, mut told) = (Vec::new(), Vec::new(), Vec::new());
        let mut is_complete = true;
        for path in &files {
            match self.outcome(path)? {
                Outcome::Same { .. } => (),
                Outcome::Refused(why) => {
                    eprintln!("reveille: `{}` is left alone: {why}", path.display());
                    is_complete = false;
                }
                Outcome::Changed(change) => {
                    told.push((path, change.changed_lines, change.lines));
                    new.push(NewFile { path, bytes: change.after });
                    before.push(change.before);
                }
            }
        }
        let (done, written) = if self.check { ("would change", "would be written") } else { ("changed", "written") };
        if !self.check {
            files::rewrite(&new, &before)?;
        }
        for (path, changed, lines) in told {
            writeln!(out, "{}: {changed} of {lines} lines {done}", path.display())?;
        }
        let plural = if files.len() == 1 { "file" } else { "files" };
        writeln!(out, "{} of {} {plural} {written}", new.len(), files.len())?;
        Ok(match (is_complete, self.check && !new.is_empty()) {
            (false, _) => FAILED,
            (true, true) => ERRORS,
            (true, false) => CLEAN,
        })
    }

    fn print(&self, files: &[PathBuf], out: &mut dyn Write) -> Result<u8> {
        let [path] = files else { bail!("--stdout prints one file, and {} are named", files.len()) };
        match self.outcome(path)? {
            Outcome::Same { bytes } => out.write_all(&bytes)?,
            Outcome::Changed(change) => out.write_all(&change.after)?,
            Outcome::Refused(why) => bail!("`{}` is not printed: {why}", path.display()),
        }
        Ok(CLEAN)
    }

    /// The files that are named, and those in folders; each one once, however it is named.
    fn files(&self) -> Result<Vec<PathBuf>> {
        let mut found = Vec::new();
        let mut seen = HashSet::new();
        for path in &self.paths {
            let cannot = || format!("`{}` cannot be opened", path.display());
            let is_folder = std::fs::metadata(path).with_context(cannot)?.is_dir();
            let files = if is_folder { load::some_sources_and_sessions_in(path)? } else { vec![path.clone()] };
            for file in files {
                let target = std::fs::canonicalize(&file).unwrap_or_else(|_| file.clone());
                if seen.insert(target) {
                    found.push(file);
                }
            }
        }
        Ok(found)
    }

    fn outcome(&self, path: &Path) -> Result<Outcome> {
        let Some(before) = files::read(path, load::MOST_BYTES)? else {
            return Ok(Outcome::Refused(format!("a source has {} bytes at most", load::MOST_BYTES)));
        };
        let (text, encoding) = match decode(before.clone()) {
            Decoded::Text(text, encoding) => (text, encoding),
            // Found in a folder, with an ending that other files have too.
            Decoded::Binary(_) if !load::is_surely_source(path) && !self.paths.iter().any(|it| it == path) => {
                return Ok(Outcome::Same { bytes: before });
            }
            Decoded::Binary(at) => {
                return Ok(Outcome::Refused(format!("it is no text, byte {at} is ${:02X}", before[at])));
            }
        };
        let file = File::new(&text, self.dialect);
        let edits = if load::is_session(path) {
            reveille_editor::format_session(&text)
        } else if file.margin().is_there() || !reads_as_source(&file) {
            return Ok(Outcome::Refused("most of its lines do not read as source; is it a listing?".into()));
        } else {
            reveille_editor::format(&file, &Style::of(&file, &self.options()), 0..usize::MAX)
        };
        if edits.is_empty() {
            return Ok(Outcome::Same { bytes: before });
        }
        let mut changed: Vec<usize> = edits.iter().map(|(range, _)| file.line_of(range.start)).collect();
        changed.dedup();
        let read = encoded(&text, encoding);
        if !before.starts_with(&read) {
            return Ok(Outcome::Refused("its bytes are no text that could be written back".into()));
        }
        let mut after = encoded(&edited(&text, &edits), encoding);
        // Zeros that fill the last block of a file up are no text, and stay.
        after.extend_from_slice(&before[read.len()..]);
        Ok(Outcome::Changed(Change { before, after, changed_lines: changed.len(), lines: file.line_count() }))
    }

    fn options(&self) -> FormatOptions {
        let tabs = if self.tabs || self.blanks { Some(self.tabs) } else { None };
        FormatOptions { columns: self.columns, tabs, tab_width: self.tab_width.into() }
    }
}

/// A text as the bytes that it was read from.
fn encoded(text: &str, encoding: Encoding) -> Vec<u8> {
    match encoding {
        Encoding::Utf8 => text.as_bytes().to_vec(),
        Encoding::Latin1 => text.chars().map(|it| u8::try_from(it).unwrap_or(b'?')).collect(),
    }
}

fn columns(text: &str) -> Result<[usize; 3], String> {
    let numbers: Vec<usize> = text.split(',').map_while(|it| it.trim().parse().ok()).collect();
    let is_possible = text.split(',').count() == 3 && numbers.iter().all(|it| *it <= MOST_COLUMN);
    match <[usize; 3]>::try_from(numbers) {
        Ok([0, ..]) => Err("an operation in column one would be a label; write 8,16,40".into()),
        Ok(columns) if is_possible => Ok(columns),
        _ => Err(format!("expected three numbers up to {MOST_COLUMN}, such as 8,16,40")),
    }
}
