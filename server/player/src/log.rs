//! The log: every byte both ways with its time, for people and for being played again.
//!
//! A line is a time in seconds since the start, `sent` or `came`, and the bytes between quotes; a line that starts with `#` says what was going on.
//!
//! ```text
//! # reveille session log, form 1
//! # stage "Is anybody there?"
//!        0.000000 sent "\r"
//!        0.001042 came "\r\n* "
//! ```

use std::collections::VecDeque;
use std::io::{self, Write};
use std::time::Duration;

use crate::line::{Line, Received};

/// The first line of a log.
pub(crate) const FIRST: &str = "# reveille session log, form 1";

/// Writes a log. Each line is on its way to the file before anything else happens.
pub struct Log<W: Write> {
    out: W,
}

impl<W: Write> Log<W> {
    /// Begins a log.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn new(mut out: W) -> io::Result<Self> {
        writeln!(out, "{FIRST}")?;
        out.flush()?;
        Ok(Self { out })
    }

    /// Notes what was going on; line ends in it become blanks.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn note(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.out, "# {}", text.replace(['\r', '\n'], " "))?;
        self.out.flush()
    }

    pub(crate) fn bytes(&mut self, at: Duration, word: &str, bytes: &[u8]) -> io::Result<()> {
        writeln!(self.out, "{:>15.6} {word} \"{}\"", at.as_secs_f64(), shown(bytes))?;
        self.out.flush()
    }
}

/// Bytes as they stand in a log.
fn shown(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len());
    for byte in bytes {
        match byte {
            b'\r' => text.push_str("\\r"),
            b'\n' => text.push_str("\\n"),
            b'\\' => text.push_str("\\\\"),
            b'"' => text.push_str("\\\""),
            b' '..=b'~' => text.push(char::from(*byte)),
            _ => text.push_str(&format!("\\x{byte:02x}")),
        }
    }
    text
}

/// Something that a log says was on the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// When, since the start.
    pub at: Duration,
    /// Whether it was sent, and not received.
    pub is_sent: bool,
    /// The bytes.
    pub bytes: Vec<u8>,
}

/// A line of a log that cannot be read, counted from 1, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogError {
    /// The line.
    pub line: usize,
    /// What was found, and what was expected.
    pub message: String,
}

/// Reads a log.
///
/// # Errors
/// The first line that is none of a log's.
pub fn events(text: &str) -> Result<Vec<Event>, LogError> {
    let mut found = Vec::new();
    let mut lines = text.lines().enumerate();
    if lines.next().map(|it| it.1) != Some(FIRST) {
        return Err(LogError { line: 1, message: format!("expected `{FIRST}`: this is no log of a session") });
    }
    for (at, line) in lines {
        let line_text = line.trim();
        if line_text.is_empty() || line_text.starts_with('#') {
            continue;
        }
        let error = |message: &str| LogError { line: at + 1, message: message.to_owned() };
        let (time, rest) =
            line_text.split_once(' ').ok_or_else(|| error("expected a time, `sent` or `came`, and bytes"))?;
        let seconds: f64 = time.parse().map_err(|_| error("expected a time in seconds at the start"))?;
        if !(0.0..1e9).contains(&seconds) {
            return Err(error("a time is 0 seconds or more"));
        }
        let (word, bytes) = rest.split_once(' ').ok_or_else(|| error("expected bytes between quotes"))?;
        let is_sent = match word {
            "sent" => true,
            "came" => false,
            _ => return Err(error("expected `sent` or `came`")),
        };
        let bytes = bytes.strip_prefix('"').and_then(|it| it.strip_suffix('"'));
        let bytes = bytes.and_then(read).ok_or_else(|| error("expected bytes between quotes"))?;
        found.push(Event { at: Duration::from_secs_f64(seconds), is_sent, bytes });
    }
    Ok(found)
}

fn read(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        if byte != b'\\' {
            bytes.push(byte);
            continue;
        }
        bytes.push(match rest.next()? {
            b'r' => b'\r',
            b'n' => b'\n',
            it @ (b'\\' | b'"') => it,
            b'x' => {
                let digits = [rest.next()?, rest.next()?];
                u8::from_str_radix(std::str::from_utf8(&digits).ok()?, 16).ok()?
            }
            _ => return None,
        });
    }
    Some(bytes)
}

/// A log that is played again: what came then comes now, at its time, and what is sent has to be what was sent then.
pub struct Replay {
    events: VecDeque<Event>,
    now: Duration,
}

impl Replay {
    /// Plays these events.
    #[must_use]
    pub fn new(events: Vec<Event>) -> Self {
        Self { events: events.into(), now: Duration::ZERO }
    }
}

impl Line for Replay {
    fn now(&self) -> Duration {
        self.now
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let other = |found: &str| {
            let message = format!("the session sends \"{}\" where {found}", shown(bytes));
            io::Error::new(io::ErrorKind::InvalidData, message)
        };
        match self.events.front_mut() {
            Some(event) if event.is_sent => {
                let same = event.bytes.iter().zip(bytes).take_while(|it| it.0 == it.1).count();
                if same == 0 {
                    return Err(other(&format!("the log has \"{}\"", shown(&event.bytes))));
                }
                self.now = self.now.max(event.at);
                event.bytes.drain(..same);
                if event.bytes.is_empty() {
                    self.events.pop_front();
                }
                Ok(same)
            }
            Some(_) => Err(other("the log has something that came")),
            None => Err(other("the log ends")),
        }
    }

    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        match self.events.front() {
            Some(event) if !event.is_sent && event.at <= until => {
                self.now = self.now.max(event.at);
                let bytes = self.events.pop_front().map(|it| it.bytes).unwrap_or_default();
                Ok(Received::Bytes(bytes))
            }
            _ => {
                self.now = self.now.max(until);
                Ok(Received::Nothing)
            }
        }
    }
}
