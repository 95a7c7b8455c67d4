//! The command line: one file a command.

mod files;
mod format;
mod image;
mod lint;
mod listing;
mod play;
mod rom;
mod serve;
mod sheet;

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use reveille_cpu::Cpu;
use reveille_facts::Given;
use reveille_program::Sizing;
use reveille_source::Dialect;

use crate::load::Options;

/// Exit codes: no finding is an error, at least one is, the command could not run.
pub(crate) const CLEAN: u8 = 0;
pub(crate) const ERRORS: u8 = 1;
pub(crate) const FAILED: u8 = 2;

/// Reads the firmware source of a 68000 machine as a program: disk formats, what does not fit, and what to do first.
#[derive(Debug, Parser)]
#[command(version, max_term_width = 100)]
struct Command {
    /// What is logged to standard error: a filter such as `info` or `reveille=debug`; the variable RUST_LOG says the same.
    #[arg(long, global = true, value_name = "FILTER")]
    log: Option<String>,
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, Subcommand)]
enum Action {
    /// Serves an editor: the language server, on standard input and output.
    Serve(serve::Serve),
    /// Lists what does not fit, for files or a whole firmware tree.
    Lint(lint::Lint),
    /// Assembles a file in memory: address, bytes and cycles of each line.
    Listing(listing::Listing),
    /// Lays the lines of sources out in columns: blanks between the fields change, and nothing else.
    Format(format::Format),
    /// Prints the bring-up sheet of a firmware tree: every fact with its evidence.
    Sheet(sheet::Sheet),
    /// Works with dumps of ROM chips: holds the source against them, splits an image into a pair, joins a pair.
    Rom(rom::Rom),
    /// Plays a monitor session: rehearses it without the machine, or runs it over a serial line or a connection.
    Play(play::Play),
    /// Works with images of diskettes: makes one by the firmware's parameter block, checks, lists, extracts, puts tracks in order.
    Image(image::Image),
}

/// What is in the files does not fit: exit code 1, and nothing was written.
#[derive(Debug)]
struct Unfit(String);

impl std::fmt::Display for Unfit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}; nothing was written", self.0)
    }
}

impl std::error::Error for Unfit {}

/// Tells of files that do not fit, and gives the exit code.
fn unfit_is_told(result: anyhow::Result<u8>) -> anyhow::Result<u8> {
    match result {
        Err(error) if error.is::<Unfit>() => {
            eprintln!("reveille: {error:#}");
            Ok(ERRORS)
        }
        result => result,
    }
}

/// What is told of the program from outside its sources. It holds before what the machine file says.
#[derive(Debug, Args)]
struct FromOutside {
    /// Gives a name a value, as if the source had it: NAME=VALUE.
    #[arg(long, value_name = "NAME=VALUE", value_parser = define)]
    define: Vec<(String, i64)>,
    /// A folder in which included files are looked for; may be given several times.
    #[arg(long, value_name = "DIR")]
    include: Vec<PathBuf>,
    /// Reads every file in this dialect: motorola, dotted, mit or sgs. Without it each file's own text tells. A file whose first line
    /// says `@dialect NAME` is read as that whatever is given here.
    #[arg(long, value_name = "DIALECT", value_parser = dialect)]
    dialect: Option<Dialect>,
    /// The processor: 68000, 68008 or 68010. Without it that of the machine file, else the 68000.
    #[arg(long, value_name = "CPU", value_parser = cpu)]
    cpu: Option<Cpu>,
    /// How lengths are chosen that the source leaves open: RULE=VALUE, such as `references=long`. `help` lists the rules.
    #[arg(long, value_name = "RULE=VALUE")]
    sizing: Vec<String>,
    /// The address at which code without ORG is taken to lie. Without it that of the machine file, else 0.
    #[arg(long, value_name = "ADDRESS", value_parser = number)]
    origin: Option<i64>,
    /// The processor's clock in Hz: cycles then have microseconds beside them. Without it that of the machine file.
    #[arg(long, value_name = "HZ")]
    clock: Option<u32>,
}

impl FromOutside {
    /// # Errors
    /// A sizing rule that there is not.
    fn options(&self) -> anyhow::Result<Options> {
        let mut sizing = Sizing::default();
        for text in &self.sizing {
            let (rule, value) = text.split_once('=').unwrap_or((text, ""));
            sizing.set(rule, value).map_err(anyhow::Error::msg)?;
        }
        let given = Given {
            cpu: self.cpu,
            clock: self.clock,
            origin: self.origin,
            dialect: self.dialect,
            include: self.include.clone(),
            sizing,
        };
        Ok(Options { defines: self.define.clone(), given })
    }
}

fn cpu(text: &str) -> Result<Cpu, String> {
    Cpu::from_name(text).ok_or_else(|| "known processors are 68000, 68008 and 68010".into())
}

pub(crate) fn number(value: &str) -> Result<i64, String> {
    let (digits, radix) = match value.strip_prefix('$').or_else(|| value.strip_prefix("0x")) {
        Some(digits) => (digits, 16),
        None => (value, 10),
    };
    i64::from_str_radix(digits, radix).map_err(|_| format!("`{value}` is no number; use 12, $C or 0xC"))
}

fn define(text: &str) -> Result<(String, i64), String> {
    let (name, value) = text.split_once('=').unwrap_or((text, "1"));
    let number = number(value)?;
    if name.is_empty() { Err("a name is missing before `=`".into()) } else { Ok((name.to_owned(), number)) }
}

fn dialect(text: &str) -> Result<Dialect, String> {
    Dialect::from_name(text).ok_or_else(|| {
        let names: Vec<_> = reveille_source::SYNTAXES.iter().map(|it| it.name).collect();
        format!("known dialects are {}", names.join(", "))
    })
}

/// Runs the command of the command line.
pub(crate) fn run() -> ExitCode {
    let command = match Command::try_parse() {
        Ok(command) => command,
        Err(error) => {
            // Help and version are printed to standard output and are no failure.
            let code = if error.use_stderr() { FAILED } else { CLEAN };
            let _ = error.print();
            return ExitCode::from(code);
        }
    };
    start_log(command.log.as_deref());
    if let Action::Serve(serve) = &command.action {
        return match serve.run() {
            Ok(code) => ExitCode::from(code),
            Err(error) => failed(&error),
        };
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    let result = match &command.action {
        Action::Serve(_) => Ok(CLEAN),
        Action::Lint(lint) => lint.run(&mut out),
        Action::Listing(listing) => listing.run(&mut out),
        Action::Format(format) => format.run(&mut out),
        Action::Sheet(sheet) => sheet.run(&mut out),
        Action::Rom(rom) => rom.run(&mut out),
        Action::Image(image) => image.run(&mut out),
        Action::Play(play) => play.run(&mut out),
    };
    let result = result.and_then(|code| Ok(out.flush().map(|()| code)?));
    match result {
        Ok(code) => ExitCode::from(code),
        // Whoever reads the output has enough of it.
        Err(error) if is_broken_pipe(&error) => ExitCode::from(CLEAN),
        Err(error) => failed(&error),
    }
}

fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|it| {
        let plain = it.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
        let kind = plain.or_else(|| it.downcast_ref::<serde_json::Error>().and_then(serde_json::Error::io_error_kind));
        kind == Some(std::io::ErrorKind::BrokenPipe)
    })
}

fn failed(error: &anyhow::Error) -> ExitCode {
    eprintln!("reveille: {error:#}");
    ExitCode::from(FAILED)
}

/// Logs to standard error, never to standard output, which belongs to results and to the protocol.
fn start_log(filter: Option<&str>) {
    let from_environment = || tracing_subscriber::EnvFilter::try_from_default_env().ok();
    let filter = filter.and_then(|text| tracing_subscriber::EnvFilter::try_new(text).ok()).or_else(from_environment);
    let filter = filter.unwrap_or_else(|| tracing_subscriber::EnvFilter::new("warn"));
    let _ = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_ansi(false).try_init();
}
