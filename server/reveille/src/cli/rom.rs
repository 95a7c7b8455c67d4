//! `reveille rom`: dumps of ROM chips.

mod compare;

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use clap::{Args, Subcommand, ValueEnum};
use reveille_decoders::checksum::{self, compute};
use reveille_decoders::transfer::{self, Flat, Image, Reading, TransferFormat, intel_hex, srecord};
use reveille_decoders::{Severity, chips};

use super::files::{self, NewFile};
use super::{CLEAN, Unfit, unfit_is_told};

/// The most bytes of an image: the 68000 addresses 24 bits (M68000 user's manual, address bus).
const MOST_IMAGE: usize = 1 << 24;

/// The most bytes of a file: an image as records of 16 bytes is less than three times as long, shorter records are rare.
const MOST_FILE: u64 = 1 << 26;

/// So many problems of a file are printed.
const MOST_PROBLEMS: usize = 20;

const CAUTION: &str = "Before you erase or replace a chip: read the original twice, compare both dumps, and keep them.";

#[derive(Debug, Args)]
#[command(after_help = CAUTION)]
pub(super) struct Rom {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, Subcommand)]
enum Action {
    /// Holds the source against the dumps of its chips: is this the source of what is on the board?
    Compare(compare::Compare),
    /// Splits an image into its even and odd chip.
    #[command(after_help = CAUTION)]
    Split(Split),
    /// Joins the dumps of an even and an odd chip to an image.
    #[command(after_help = CAUTION)]
    Join(Join),
}

impl Rom {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let result = match &self.action {
            Action::Compare(compare) => compare.run(out),
            Action::Split(split) => split.run(out),
            Action::Join(join) => join.run(out),
        };
        unfit_is_told(result)
    }
}

/// The forms that files are written in. What is read may have any of them; its content tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// The bytes themselves.
    Raw,
    /// S-records, from address 0.
    Srecord,
    /// Intel hex, from address 0.
    Ihex,
}

impl Format {
    fn written(self, bytes: &[u8]) -> Result<Vec<u8>> {
        let image = Image::raw(0, bytes);
        Ok(match self {
            Self::Raw => bytes.to_vec(),
            Self::Srecord => srecord::write(&image, &srecord::Form::default())?.into_bytes(),
            Self::Ihex => intel_hex::write(&image, &intel_hex::Form::default())?.into_bytes(),
        })
    }
}

/// How files are read and written, the same for all commands here.
#[derive(Debug, Args)]
struct Forms {
    /// The form of what is written.
    #[arg(long, value_enum, default_value = "raw")]
    format: Format,
    /// The byte for what is not in the files: that of an erased chip.
    #[arg(long, value_name = "BYTE", default_value = "FF", value_parser = fill)]
    fill: u8,
    /// The address of the first byte in files with addresses; without it the lowest one there.
    #[arg(long, value_name = "ADDRESS", value_parser = address)]
    base: Option<u32>,
    /// Replaces files that are there already.
    #[arg(long)]
    force: bool,
}

#[derive(Debug, Args)]
struct Split {
    /// The image: raw bytes, S-records or Intel hex.
    image: PathBuf,
    /// The file for the chip with the even addresses, the high byte of each word.
    #[arg(long, value_name = "FILE")]
    even: PathBuf,
    /// The file for the chip with the odd addresses, the low byte of each word.
    #[arg(long, value_name = "FILE")]
    odd: PathBuf,
    /// The size of each chip: what the image lacks is filled. Such as 32768, $8000 or 32K.
    #[arg(long, value_name = "BYTES", value_parser = size)]
    size: Option<usize>,
    #[command(flatten)]
    forms: Forms,
}

impl Split {
    fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let path = &self.image;
        let reading = read(path)?;
        // A chip starts with a whole word.
        let base = self.forms.base.or_else(|| reading.image.range().map(|it| it.0 & !1));
        let Flat { base, bytes: mut image, mut filled } = flat(path, &reading, base, self.forms.fill)?;
        let found = image.len();
        let is_raw = reading.format == TransferFormat::Raw;
        let whole = match self.size {
            Some(size) if found > 2 * size => {
                let both = 2 * size;
                let text = format!("`{}` has {found} bytes, and two chips of {size} hold {both}", path.display());
                return Err(Unfit(format!("{text}; give the size of each chip")).into());
            }
            Some(size) => 2 * size,
            None if is_raw && found % 2 == 1 => {
                let text = format!("`{}` has {found} bytes, which is no whole number of words", path.display());
                return Err(Unfit(format!("{text}; if nothing is missing at its end, --size fills it")).into());
            }
            None => found.next_multiple_of(2),
        };
        filled += whole - found;
        image.resize(whole, self.forms.fill);
        let pair = chips::split(&image, 2)?;
        let files = [&self.even, &self.odd];
        let new = files
            .iter()
            .zip(&pair)
            .map(|(path, bytes)| Ok(NewFile { path: path.as_path(), bytes: self.forms.format.written(bytes)? }));
        files::write(&new.collect::<Result<Vec<_>>>()?, &[path], self.forms.force)?;

        warn_if_exchanged(&image);
        let last = u64::from(base) + whole as u64 - 1;
        write!(out, "{}: {}, ${base:06X} to ${last:06X}", path.display(), reading.format.title())?;
        let fill = self.forms.fill;
        if filled > 0 {
            write!(out, ", {filled} of {whole} bytes filled with ${fill:02X}")?;
        }
        writeln!(out)?;
        table(
            &[(&self.even, "even addresses, high byte", &pair[0]), (&self.odd, "odd addresses, low byte", &pair[1])],
            out,
        )?;
        writeln!(out, "Compare these sums with those that the programmer shows for the chips.\n{CAUTION}")?;
        Ok(CLEAN)
    }
}

#[derive(Debug, Args)]
struct Join {
    /// The dump of the chip with the even addresses, the high byte of each word.
    #[arg(long, value_name = "FILE")]
    even: PathBuf,
    /// The dump of the chip with the odd addresses, the low byte of each word.
    #[arg(long, value_name = "FILE")]
    odd: PathBuf,
    /// The file for the image.
    #[arg(long, value_name = "FILE")]
    output: PathBuf,
    /// Exchanges the bytes of each word.
    #[arg(long)]
    swap_bytes: bool,
    #[command(flatten)]
    forms: Forms,
}

impl Join {
    fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let (even, odd) = (&self.even, &self.odd);
        if std::fs::canonicalize(even).ok().is_some_and(|it| std::fs::canonicalize(odd).is_ok_and(|odd| odd == it)) {
            bail!("`{}` is named for both chips; name the dump of each", even.display());
        }
        let readings = [read(even)?, read(odd)?];
        // Where both have addresses a chip whose start is left out still has its place.
        let has_addresses = readings.iter().all(|it| it.format != TransferFormat::Raw);
        let lowest = readings.iter().filter_map(|it| it.image.range()).map(|it| it.0).min();
        let base = self.forms.base.or(lowest.filter(|_| has_addresses));
        let [first, second] = [(even, &readings[0]), (odd, &readings[1])]
            .map(|(path, reading)| flat(path, reading, base, self.forms.fill));
        let (first, second) = (first?, second?);
        let sizes = [first.bytes.len(), second.bytes.len()];
        if sizes[0] != sizes[1] {
            let text = format!("`{}` has {} bytes, and `{}` {}", even.display(), sizes[0], odd.display(), sizes[1]);
            return Err(Unfit(format!("{text}, expected the same size; read the shorter chip again")).into());
        }
        if 2 * sizes[0] > MOST_IMAGE {
            let text = format!("both chips have {} bytes, expected at most {MOST_IMAGE}", 2 * sizes[0]);
            return Err(Unfit(format!("{text}; are these dumps of chips?")).into());
        }
        let mut image = chips::join(&[&first.bytes, &second.bytes])?;
        if self.swap_bytes {
            image = chips::swap_bytes(&image)?;
        }
        let new = NewFile { path: &self.output, bytes: self.forms.format.written(&image)? };
        files::write(&[new], &[even, odd], self.forms.force)?;

        warn_if_exchanged(&image);
        if first.bytes == second.bytes {
            eprintln!("reveille: both chips hold the same bytes; was one of them read twice?");
        }
        let filled = first.filled + second.filled;
        if filled > 0 {
            writeln!(out, "{filled} of {} bytes filled with ${:02X}", image.len(), self.forms.fill)?;
        }
        let what = if self.swap_bytes { "image, bytes exchanged" } else { "image" };
        let (even_is, odd_is) = ("even addresses, high byte", "odd addresses, low byte");
        table(&[(even, even_is, &first.bytes), (odd, odd_is, &second.bytes), (&self.output, what, &image)], out)?;
        writeln!(out, "{CAUTION}")?;
        Ok(CLEAN)
    }
}

/// Size and sums of files: those that device programmers show (common practice, no source).
fn table(rows: &[(&PathBuf, &str, &[u8])], out: &mut dyn Write) -> Result<()> {
    let kinds = [("16-bit sum", checksum::kind("sum16")), ("CRC-32", checksum::kind("crc-32"))];
    let name = |path: &Path| path.display().to_string();
    let width = rows.iter().map(|it| name(it.0).chars().count()).max().unwrap_or(0).max(4);
    writeln!(out, "{:width$} {:>9}  {:<11} {:<10} holds", "file", "bytes", kinds[0].0, kinds[1].0)?;
    for (path, what, bytes) in rows {
        let sums = kinds.map(|(_, kind)| {
            kind.map_or(String::new(), |kind| {
                format!("${:0digits$X}", compute(kind, bytes), digits = kind.bits as usize / 4)
            })
        });
        writeln!(out, "{:width$} {:>9}  {:<11} {:<10} {what}", name(path), bytes.len(), sums[0], sums[1])?;
    }
    Ok(())
}

/// Reads a file whose data can be trusted; says what is wrong with it.
fn read(path: &Path) -> Result<Reading> {
    let shown = path.display();
    let Some(bytes) = files::read(path, MOST_FILE)? else {
        return Err(Unfit(format!("`{shown}` has more than {MOST_FILE} bytes; is it a dump of a chip?")).into());
    };
    if bytes.is_empty() {
        return Err(Unfit(format!("`{shown}` is empty; read the chip again")).into());
    }
    let reading = transfer::read(&bytes);
    if reading.format == TransferFormat::Raw && transfer::is_text(&bytes) {
        eprintln!(
            "{shown}: warning: text, but neither S-records nor Intel hex; taken as raw bytes, look into the file"
        );
    }
    for problem in reading.problems.iter().take(MOST_PROBLEMS) {
        let (line, column) = (problem.line + 1, problem.column + 1);
        eprintln!("{shown}:{line}:{column}: {}: {}", problem.severity().name(), problem.kind);
    }
    if reading.problems.len() > MOST_PROBLEMS {
        eprintln!("{shown}: and {} more", reading.problems.len() - MOST_PROBLEMS);
    }
    if reading.is_sound() {
        return Ok(reading);
    }
    let errors = reading.problems.iter().filter(|it| it.severity() == Severity::Error).count();
    let plural = if errors == 1 { "error" } else { "errors" };
    Err(Unfit(format!("`{shown}` has {errors} {plural} as {}; transfer it again", reading.format.title())).into())
}

/// Says that even and odd are likely to be the wrong way round.
fn warn_if_exchanged(image: &[u8]) {
    if chips::looks_exchanged(image) {
        eprintln!(
            "reveille: there are reset vectors at the start only with the bytes of each word exchanged; \
             are even and odd the wrong way round?"
        );
    }
}

fn flat(path: &Path, reading: &Reading, base: Option<u32>, fill: u8) -> Result<Flat> {
    let flat = reading.image.flat(base, fill, MOST_IMAGE);
    flat.map_err(|error| Unfit(format!("`{}`: {error}", path.display())).into())
}

/// A number: `$` or `0x` before hexadecimal digits, `K` behind for 1024.
fn number(text: &str) -> Option<u64> {
    let (digits, unit) = match text.strip_suffix(['K', 'k']) {
        Some(digits) => (digits, 1024),
        None => (text, 1),
    };
    let number = match digits.strip_prefix('$').or_else(|| digits.strip_prefix("0x")) {
        Some(digits) => u64::from_str_radix(digits, 16),
        None => digits.parse(),
    };
    number.ok()?.checked_mul(unit)
}

fn size(text: &str) -> Result<usize, String> {
    let size = number(text).and_then(|it| usize::try_from(it).ok()).filter(|it| (1..=MOST_IMAGE / 2).contains(it));
    size.ok_or_else(|| format!("a chip has 1 to {} bytes; write 32768, $8000 or 32K", MOST_IMAGE / 2))
}

fn address(text: &str) -> Result<u32, String> {
    let address = number(text).and_then(|it| u32::try_from(it).ok());
    address.ok_or_else(|| "this is no address; write $F80000 or 0xF80000".into())
}

fn fill(text: &str) -> Result<u8, String> {
    let digits = text.strip_prefix('$').or_else(|| text.strip_prefix("0x")).unwrap_or(text);
    u8::from_str_radix(digits, 16).map_err(|_| "this is no byte; write two hexadecimal digits, such as FF".into())
}
