//! `reveille image make`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::{Context, Result, bail};
use clap::{Args, ValueEnum};
use reveille_decoders::Severity;
use reveille_decoders::boot::{Branch, NewBoot};
use reveille_decoders::checksum::{compute, kind};
use reveille_decoders::volume::{
    Arrangement, Moment, NewEntry, OrderKind, RawName, Written, raw_label, raw_name, write,
};
use reveille_facts::image::{Question, Table, check};

use super::super::files::{self, NewFile};
use super::super::number;
use super::input::must_be_writable;
use super::table::{Given, TableArgs};
use super::{CAUTION, Unfit, order_name};
use crate::report;

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum BranchName {
    /// `60 xx`, BRA.S of a 68000.
    #[value(name = "68000")]
    M68000,
    /// `EB xx 90`, a short jump of an 8086.
    #[value(name = "8086")]
    I8086,
    /// Zeros: nobody is meant to execute it.
    None,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum YesNo {
    Yes,
    No,
}

#[derive(Debug, Args)]
pub(super) struct Make {
    /// The file for the image.
    output: PathBuf,
    /// A file to put on the disk, the boot file first: FILE, or FILE=NAME, or FILE=DIR/NAME. Each lies in one piece.
    #[arg(long, value_name = "FILE[=NAME]")]
    add: Vec<String>,
    /// The volume's label.
    #[arg(long, value_name = "TEXT")]
    label: Option<String>,
    /// The date of all files, such as 1986-03-03 or 1986-03-03T12:30:00; without it that of the clock, in universal time.
    #[arg(long, value_name = "DATE")]
    date: Option<String>,
    /// The order of tracks in the file: cylinders, sides or sides-back.
    #[arg(long, value_name = "ORDER", value_parser = order_name, default_value = "cylinders")]
    order: OrderKind,
    /// How the boot sector begins; without it as in the source, else for a 68000.
    #[arg(long, value_enum)]
    branch: Option<BranchName>,
    /// Code for the boot sector, behind the block. Without it a machine that executes the sector stays there, in one instruction.
    #[arg(long, value_name = "FILE")]
    boot_code: Option<PathBuf>,
    /// Whether 55 AA stands at byte 510; without it only behind the branch of an 8086.
    #[arg(long, value_enum)]
    signature: Option<YesNo>,
    /// Makes the 256 words of the boot sector sum up to this, such as $1234, by its last free word.
    #[arg(long, value_name = "SUM", value_parser = number)]
    word_sum: Option<i64>,
    /// The number that tells this disk from others; without it one that follows from its content.
    #[arg(long, value_name = "NUMBER", value_parser = number)]
    serial: Option<i64>,
    /// Replaces a file that is there already.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    table: TableArgs,
}

/// A file of the user, and where it goes.
struct Added {
    file: PathBuf,
    path: Vec<RawName>,
    bytes: Vec<u8>,
}

impl Make {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        must_be_writable(&self.output)?;
        let given = self.table.given(out)?;
        let Some(table) = &given.table else {
            bail!("which disk? give the firmware's block with --table, or a format with --standard");
        };
        let moment = self.moment()?;
        let label = self.label.as_deref().map(raw_label).transpose().map_err(anyhow::Error::msg)?;
        let added = self.added(table)?;
        let files: Vec<NewEntry<'_>> =
            added.iter().map(|it| NewEntry { path: it.path.clone(), bytes: &it.bytes }).collect();
        let mut written = write(&table.geometry, &files, label, moment).map_err(Unfit)?;
        let code = self.boot_code.as_deref().map(read_plain).transpose()?.unwrap_or_default();
        let sector = self.boot_sector(table, &mut written, &code, label)?;

        let arrangement = Arrangement::new(self.order, &table.geometry).map_err(Unfit)?;
        let has_boot = given.boot.as_ref().filter(|it| {
            self.table.has_boot() || added.iter().any(|file| file.path.len() == 1 && file.path[0] == it.name)
        });
        let question = Question { bytes: &written.bytes, arrangement, table, boot: has_boot };
        let mut findings = check(&question).findings;
        findings.retain(|it| it.severity != Severity::Hint);
        if findings.iter().any(|it| it.severity == Severity::Error) && !self.table.anyway {
            report::image_findings_text(&given.model, &self.output, &findings, out)?;
            out.flush()?;
            return Err(Unfit("the image would not be sound; mend it, or give --anyway".into()).into());
        }

        let inputs: Vec<&Path> = added.iter().map(|it| it.file.as_path()).chain(self.boot_code.as_deref()).collect();
        let sources: Vec<PathBuf> = given.model.program().files().map(|it| it.path().to_path_buf()).collect();
        let inputs: Vec<&Path> = inputs.into_iter().chain(sources.iter().map(PathBuf::as_path)).collect();
        let new = [NewFile { path: &self.output, bytes: arrangement.to_file(&written.bytes) }];
        files::write(&new, &inputs, self.force)?;

        let recipe = report::NamedTable { table, model: &given.model };
        report::recipe(&recipe, &self.output, &written, &sector, self.order, out)?;
        self.remarks(&given, has_boot.is_some(), out)?;
        if !findings.is_empty() {
            writeln!(out)?;
            report::image_findings_text(&given.model, &self.output, &findings, out)?;
        }
        writeln!(out, "{CAUTION}")?;
        Ok(super::check::code(&findings))
    }

    fn remarks(&self, given: &Given, is_there: bool, out: &mut dyn Write) -> Result<()> {
        if let Some(note) = given.table.as_ref().and_then(|it| it.note.as_ref()) {
            writeln!(out, "{note}")?;
        }
        if let Some(remark) = &given.remark {
            writeln!(
                out,
                "{remark}{}",
                if is_there || given.boot.is_none() {
                    ""
                } else {
                    ", which is not on this disk: the machine will not start from it"
                }
            )?;
        }
        Ok(())
    }

    /// The date of all files. The clock is asked here and nowhere below.
    fn moment(&self) -> Result<Moment> {
        match &self.date {
            Some(text) => text.parse().map_err(anyhow::Error::msg),
            None => {
                let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |it| it.as_secs());
                Ok(Moment::from_unix(seconds))
            }
        }
    }

    fn added(&self, table: &Table) -> Result<Vec<Added>> {
        let mut found = Vec::new();
        for text in &self.add {
            let (file, name) = match text.rsplit_once('=') {
                Some((file, name)) if !Path::new(text).exists() => (PathBuf::from(file), name.to_owned()),
                _ => {
                    let file = PathBuf::from(text);
                    let name = file.file_name().map(|it| it.to_string_lossy().into_owned());
                    (file, name.unwrap_or_default())
                }
            };
            let path: Result<Vec<RawName>, String> = name.split('/').map(raw_name).collect();
            let path = path.map_err(|why| anyhow::anyhow!("{why}; name it on the disk by --add FILE=NAME"))?;
            files::must_be_plain(&file)?;
            let most = table.geometry.bytes();
            let Some(bytes) = files::read(&file, most)? else {
                let text = format!("`{}` has more bytes than the whole volume, {most}", file.display());
                return Err(Unfit(text).into());
            };
            found.push(Added { file, path, bytes });
        }
        Ok(found)
    }

    /// Writes the boot sector, and says what it is.
    fn boot_sector(&self, table: &Table, written: &mut Written, code: &[u8], label: Option<RawName>) -> Result<String> {
        let of_source = table.sector_start.as_deref().and_then(|it| it.first()).map(|first| match first {
            0xeb | 0xe9 => BranchName::I8086,
            _ => BranchName::M68000,
        });
        let branch = self.branch.or(of_source).unwrap_or(BranchName::M68000);
        let has_room = table.geometry.sector_bytes >= 512;
        let has_signature = match self.signature {
            Some(answer) => answer == YesNo::Yes,
            None => branch == BranchName::I8086 && has_room,
        };
        let narrow = |value: Option<i64>, most: i64, name: &str| match value {
            Some(value) if !(0..=most).contains(&value) => {
                bail!("--{name} {value} is too large, expected at most ${most:X}")
            }
            value => Ok(value),
        };
        let word_sum = narrow(self.word_sum, 0xffff, "word-sum")?.map(|it| it as u16);
        let serial = match narrow(self.serial, 0xffff_ffff, "serial")? {
            Some(serial) => serial as u32,
            None => kind("crc-32").map_or(0, |it| compute(it, &written.bytes)),
        };
        let block = table.block_to_write(label, serial);
        let boot = NewBoot {
            branch: match branch {
                BranchName::M68000 => Branch::M68000,
                BranchName::I8086 => Branch::I8086,
                BranchName::None => Branch::None,
            },
            block: &block,
            code,
            serial,
            has_signature,
            word_sum,
        };
        boot.write(&mut written.bytes, &table.geometry).map_err(Unfit)?;
        let start = boot.code_start();
        let what = match (code.len(), branch) {
            (0, BranchName::None) => "no branch".to_owned(),
            (0, _) => format!("branch to byte {start}, where it stays"),
            (length, _) => format!("{length} bytes of code at byte {start}"),
        };
        let block = format!("block of {} bytes", block.len());
        let signature = if has_signature { ", 55 AA" } else { "" };
        let sum = word_sum.map_or_else(String::new, |it| format!(", words sum up to ${it:04X}"));
        Ok(format!("{block}, {what}{signature}{sum}"))
    }
}

/// Reads a small file whole.
fn read_plain(path: &Path) -> Result<Vec<u8>> {
    files::must_be_plain(path)?;
    let bytes = files::read(path, 1 << 16)?;
    bytes.with_context(|| format!("`{}` has more bytes than any boot sector", path.display()))
}
