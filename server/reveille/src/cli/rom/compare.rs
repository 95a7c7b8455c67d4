//! `reveille rom compare`: the source held against dumps.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Result, anyhow, bail};
use clap::{Args, ValueEnum};
use reveille_decoders::Severity;
use reveille_decoders::transfer::{Reading, TransferFormat};
use reveille_facts::rom::{self, Dump, Question, SourceImage};

use super::{CAUTION, MOST_IMAGE, Unfit, address, read};
use crate::cli::{CLEAN, ERRORS, FromOutside};
use crate::load;
use crate::report::{Compared, DumpFile, compare_json, compare_text};

const HELP: &str = "\
Exit code: 0 if all that the source lays down is in the dump and the rest of the dump is fill, 1 if not, 2 if this could not be told.

A raw dump is laid where it agrees best: where the source begins, at 0, where a part of the source begins, else where most of it is
found. Two dumps without --even and --odd are read in either order, and as one behind the other.

JSON is one object. Addresses are numbers, bytes hexadecimal with ?? for what is not known or not there:
  verdict     equal, equal-and-more, equal-in-another-order, equal-as-far-as-known, equal-as-far-as-dumped,
              addresses-differ, checksum-differs, different or unrelated
  equal       whether the exit code is 0
  source      file, bytes, areas [{from, bytes}], errors, overlaps [{address, bytes, differ, earlier, later}],
              unplaced {bytes, file, line} or null
  dump        files [{file, form, bytes}], bytes, asked, order, base, placing, told
  counts      equal, differ, unknown, uncovered, reserved, fill, content
  causes      [{cause, sure, message, file, line}]: sure is sure, likely or possible; file and line may be null
  edits       [{kind, address, bytes, file, line}]: inserted or missing
  runs        [{from, to, bytes, moved, lines [{file, line, address, change, differ, uncovered, text,
              source {address, bytes, text}, dump {address, bytes, text}}]}], at most --most
  runs_left_out
  outside     [{from, bytes, fill}]: fill is null for content
  checksums   readings [{kind, of, part, left_out, value, strength, message}],
              labels [{name, file, line, address, bytes, source, dump, matches [{kind, of, over, message}]}]
Lines count from 1. New names may come, those that are there stay.";

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// One object.
    Json,
}

#[derive(Debug, Args)]
#[command(after_long_help = format!("{HELP}\n\n{CAUTION}"), after_help = CAUTION)]
pub(super) struct Compare {
    /// The file that is assembled; it takes in what it includes.
    source: PathBuf,
    /// The dump: raw bytes, S-records or Intel hex. Two are a pair of chips in either order.
    #[arg(num_args = 1..=2, required_unless_present = "even", conflicts_with_all = ["even", "odd"], value_name = "DUMP")]
    dumps: Vec<PathBuf>,
    /// The dump of the chip with the even addresses, the high byte of each word.
    #[arg(long, value_name = "FILE", requires = "odd")]
    even: Option<PathBuf>,
    /// The dump of the chip with the odd addresses, the low byte of each word.
    #[arg(long, value_name = "FILE", requires = "even")]
    odd: Option<PathBuf>,
    /// The address of the dump's first byte. Without it the dump is laid where it agrees.
    #[arg(long, value_name = "ADDRESS", value_parser = address)]
    base: Option<u32>,
    /// Exchanges the bytes of each word.
    #[arg(long)]
    swap_bytes: bool,
    /// The most places that are shown; the rest is counted.
    #[arg(long, value_name = "COUNT", default_value = "20")]
    most: usize,
    /// The form of the output.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    from_outside: FromOutside,
}

impl Compare {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let options = self.from_outside.options()?;
        let (paths, is_named) = match (&self.even, &self.odd) {
            (Some(even), Some(odd)) => (vec![even.as_path(), odd.as_path()], true),
            _ => (self.dumps.iter().map(PathBuf::as_path).collect(), false),
        };
        let (dumps, files) = self.dumps(&paths)?;

        let model = load::model(std::slice::from_ref(&self.source), &options)?;
        let shown = self.source.display();
        let is_binary = model.program().files().any(|it| it.binary_at().is_some());
        let unit = model.analysis().units().next().filter(|_| !is_binary);
        let Some(unit) = unit else { bail!("`{shown}` is no text; name the root file of the source") };
        let source = SourceImage::new(model.program(), unit);
        if source.laid() == 0 {
            bail!("`{shown}` lays down no byte at an address that is known; `reveille listing` shows its lines");
        }
        let question = Question { base: self.base, is_exchanged: self.swap_bytes, is_named };
        let mut comparison = rom::compare(&source, &dumps, &question);
        if let Some(root) = unit.root() {
            rom::try_settings(&mut comparison, model.program(), root, &options.defines, &source);
        }
        let sums = rom::sums(model.program(), unit, &source, &comparison);
        comparison.explain_checksum(&sums);

        let errors = model.findings().iter().filter(|it| it.severity == Severity::Error).count();
        let compared = Compared {
            model: &model,
            path: &self.source,
            source: &source,
            errors,
            files: &files,
            comparison: &comparison,
            sums: &sums,
            most: self.most,
        };
        match self.format {
            Format::Text => compare_text(&compared, out)?,
            Format::Json => compare_json(&compared, out)?,
        }
        let is_equal = comparison.verdict(&source).is_equal();
        Ok(if is_equal { CLEAN } else { ERRORS })
    }

    /// Reads the dumps. What cannot be read, or not be trusted, cannot be compared.
    fn dumps(&self, paths: &[&Path]) -> Result<(Vec<Dump>, Vec<DumpFile>)> {
        if let [one, other] = paths
            && std::fs::canonicalize(one).is_ok_and(|it| std::fs::canonicalize(other).is_ok_and(|other| other == it))
        {
            bail!("`{}` is named for both chips; name the dump of each", one.display());
        }
        let mut dumps = Vec::new();
        let mut files = Vec::new();
        for path in paths {
            let reading = read(path).map_err(plain)?;
            let dump = dump(path, &reading)?;
            files.push(DumpFile { path: path.to_path_buf(), form: reading.format, bytes: dump.span() });
            dumps.push(dump);
        }
        Ok((dumps, files))
    }
}

/// What does not fit, without the words about files that were not written.
fn plain(error: anyhow::Error) -> anyhow::Error {
    match error.downcast::<Unfit>() {
        Ok(Unfit(text)) => anyhow!(text),
        Err(other) => other,
    }
}

fn dump(path: &Path, reading: &Reading) -> Result<Dump> {
    let shown = path.display();
    let Some((lowest, highest)) = reading.image.range() else {
        bail!("`{shown}` has no data; read the chip again");
    };
    let bytes = u64::from(highest - lowest) + 1;
    let Some(bytes) = usize::try_from(bytes).ok().filter(|it| *it <= MOST_IMAGE) else {
        bail!("`{shown}` spans {bytes} bytes, expected at most {MOST_IMAGE}; is it a dump of a chip?");
    };
    let runs = reading.image.runs();
    if reading.format == TransferFormat::Raw {
        return Ok(Dump::raw(runs.first().map_or(&[], |it| &it.bytes)));
    }
    Ok(Dump::placed(lowest, bytes, runs.iter().map(|it| (it.address, it.bytes.as_slice()))))
}
