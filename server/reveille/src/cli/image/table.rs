//! Which parameter block an image is read or made by.

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

use anyhow::{Result, anyhow, bail};
use clap::Args;
use reveille_decoders::volume::raw_name;
use reveille_decoders::{Severity, formats};
use reveille_facts::image::{BootName, Table, boot_names};
use reveille_facts::{BlockFact, Finding, Model};

use super::super::FromOutside;
use super::Unfit;
use super::input::Input;
use crate::{load, report};

/// The block, and the boot file.
#[derive(Debug, Args)]
pub(super) struct TableArgs {
    /// The firmware's block: PATH, PATH:LABEL or PATH:LABEL[INDEX], PATH a source or a folder of sources.
    #[arg(long, value_name = "PATH[:LABEL[INDEX]]", conflicts_with = "standard")]
    table: Option<String>,
    /// A standard format instead, such as 720k.
    #[arg(long, value_name = "NAME")]
    standard: Option<String>,
    /// The boot file's name, such as BOOT.SYS; without it the one that the source has in the form of a directory, if there is just one.
    #[arg(long, value_name = "NAME")]
    boot: Option<String>,
    /// Goes on with a block that has errors, as far as it makes a volume.
    #[arg(long)]
    pub(super) anyway: bool,
    #[command(flatten)]
    from_outside: FromOutside,
}

/// What was given.
#[derive(Debug)]
pub(super) struct Given {
    /// The block; none if the image's own is to be used.
    pub(super) table: Option<Table>,
    /// The file that the loader looks for.
    pub(super) boot: Option<BootName>,
    /// The program that the block is from.
    pub(super) model: Model,
    /// What is worth saying about the choice of the boot file.
    pub(super) remark: Option<String>,
}

impl TableArgs {
    /// Whether a person named the boot file.
    pub(super) fn has_boot(&self) -> bool {
        self.boot.is_some()
    }

    /// Finds the block. A block with errors is refused, and its findings are printed.
    pub(super) fn given(&self, out: &mut dyn Write) -> Result<Given> {
        let mut given = Given { table: None, boot: None, model: Model::default(), remark: None };
        if let Some(name) = &self.standard {
            let format = formats().iter().find(|it| it.name.eq_ignore_ascii_case(name)).ok_or_else(|| {
                let names: Vec<_> = formats().iter().map(|it| it.name.as_str()).collect();
                anyhow!("there is no standard format `{name}`; known are {}", names.join(", "))
            })?;
            given.table = Some(Table::of_format(format)?);
        }
        if let Some(text) = &self.table {
            let (path, label) = split(text);
            given.model = load::model(&[path], &self.from_outside.options()?)?;
            let block = choose(&given.model, label.as_deref())?;
            self.judge(&given.model, block, out)?;
            given.table = Some(match block.format {
                // A word block says where things lie, and nothing of tracks and descriptor: its standard format does.
                Some(format) if block.layout.family != "fat" => Table::of_format(format)?,
                _ => Table::of_block(block)?,
            });
        }
        (given.boot, given.remark) = match &self.boot {
            Some(name) => (Some(BootName { name: raw_name(name).map_err(anyhow::Error::msg)?, at: None }), None),
            None => named_in_source(&given.model),
        };
        Ok(given)
    }

    /// The block of what was given, else that of the image.
    pub(super) fn or_own(&self, image: &[u8], given: &mut Given) -> Result<Table, reveille_decoders::volume::NoVolume> {
        given.table.take().map_or_else(|| Table::of_image(image), Ok)
    }

    /// The block that an image is read by: the one that is given, or the image's own.
    ///
    /// # Errors
    /// Neither makes a volume.
    pub(super) fn must_be(&self, input: &Input, image: &[u8], out: &mut dyn Write) -> Result<Table> {
        let mut given = self.given(out)?;
        let table = self.or_own(image, &mut given).map_err(|why| {
            let shown = input.image.display();
            Unfit(format!("`{shown}` has no block that makes a volume: {why}; give --table or --standard"))
        })?;
        Ok(table)
    }

    fn judge(&self, model: &Model, block: &BlockFact, out: &mut dyn Write) -> Result<()> {
        let is_of_block = |it: &&&Finding| {
            let lines = std::iter::once(it.at.place).chain(it.related.iter().map(|it| it.0.place));
            it.severity == Severity::Error
                && lines.into_iter().any(|place| block.parts.iter().any(|part| part.at.place == place))
        };
        let findings = model.findings();
        let findings: Vec<&Finding> = findings.iter().filter(is_of_block).copied().collect();
        if findings.is_empty() || self.anyway {
            return Ok(());
        }
        let color = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        report::text(model, &findings, color, out)?;
        out.flush()?;
        let text = format!("`{}` has errors; mend them in the source, or give --anyway", block.subject);
        Err(Unfit(text).into())
    }
}

/// Path and label. A path that is there as a whole has no label.
fn split(text: &str) -> (PathBuf, Option<String>) {
    let whole = PathBuf::from(text);
    match text.rsplit_once(':') {
        Some((path, label)) if !whole.exists() && !path.is_empty() && Path::new(path).exists() => {
            (path.into(), Some(label.to_owned()))
        }
        _ => (whole, None),
    }
}

/// The block of a label, or the only one.
fn choose<'a>(model: &'a Model, label: Option<&str>) -> Result<&'a BlockFact> {
    let is_volume = |it: &&BlockFact| it.layout.family == "fat" || it.format.is_some();
    let all: Vec<&BlockFact> = model.blocks().filter(is_volume).collect();
    let readable: Vec<&BlockFact> =
        all.iter().copied().filter(|it| it.is_readable() && it.layout.family == "fat").collect();
    let candidates = |blocks: &[&BlockFact]| {
        let line = |it: &&BlockFact| format!("  {}", described(model, it));
        blocks.iter().map(line).collect::<Vec<_>>().join("\n")
    };
    let Some(label) = label else {
        let mut geometries: Vec<(&BlockFact, _)> = Vec::new();
        for block in &readable {
            match Table::of_block(block).map(|it| it.geometry) {
                Ok(geometry) if !geometries.iter().any(|it| it.1 == geometry) => geometries.push((block, geometry)),
                _ => (),
            }
        }
        return match geometries[..] {
            [(block, _)] => Ok(block),
            [] => bail!("no FAT parameter block that makes a volume was found in the source"),
            _ => bail!("there are several blocks; name one as PATH:LABEL[INDEX]:\n{}", candidates(&readable)),
        };
    };
    let same = |a: &str, b: &str, any_case: bool| if any_case { a.eq_ignore_ascii_case(b) } else { a == b };
    for any_case in [false, true] {
        let is_it = |it: &&&BlockFact| {
            same(&it.subject, label, any_case) || it.entry.1 == 1 && same(&it.label_text, label, any_case)
        };
        let found: Vec<&BlockFact> = all.iter().filter(is_it).copied().collect();
        match found[..] {
            [block] if block.is_readable() => return Ok(block),
            [block] => bail!("{} cannot be read; `reveille lint` tells why", described(model, block)),
            [] => (),
            _ => bail!("`{label}` is there several times; name one file of these:\n{}", candidates(&found)),
        }
    }
    if let Some(block) = model.blocks().find(|it| it.subject.eq_ignore_ascii_case(label)) {
        let title = &block.layout.title;
        bail!(
            "`{label}` is a {title}; an image is made from a FAT block, or from a word block that equals a standard format"
        );
    }
    if all.is_empty() {
        bail!("no FAT parameter block was found in the source");
    }
    bail!("there is no block `{label}`; there are:\n{}", candidates(&all))
}

/// A block with its geometry and its place.
fn described(model: &Model, block: &BlockFact) -> String {
    let geometry = match block.geometry() {
        Some([cylinders, sides, sectors, size]) => format!("{cylinders} x {sides} x {sectors} x {size}"),
        None => match (block.number("total"), block.number("sector_size")) {
            (Some(total), Some(size)) => format!("{total} sectors of {size}"),
            _ => "no geometry".to_owned(),
        },
    };
    let line = report::line_number(model, block.at.place) + 1;
    let file = report::display_path(model, block.at.place.file);
    format!("`{}`: {geometry}, {file}:{line}", block.subject)
}

/// The boot file that a source names, if it names one.
fn named_in_source(model: &Model) -> (Option<BootName>, Option<String>) {
    let mut names = boot_names(model);
    let shown = |it: &BootName| match it.at {
        Some(at) => {
            let line = report::line_number(model, at.place) + 1;
            format!("`{}` ({}:{line})", it.shown(), report::display_path(model, at.place.file))
        }
        None => format!("`{}`", it.shown()),
    };
    match names.len() {
        0 => (None, None),
        1 => {
            let text = format!("boot file: {}", shown(&names[0]));
            (names.pop(), Some(text))
        }
        _ => {
            let all: Vec<String> = names.iter().map(shown).collect();
            (
                None,
                Some(format!(
                    "the source has several names of files, so none is looked for; --boot names one: {}",
                    all.join(", ")
                )),
            )
        }
    }
}
