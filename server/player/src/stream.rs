//! The line as a stream: what came and was not looked at yet, everything in the log, and the times of waiting.

use std::io::{self, Write};
use std::time::Duration;

use reveille_session::{Monitor, Pattern};

use crate::line::{Line, Received};
use crate::log::Log;
use crate::watch::Watch;

/// XON and XOFF: DC1 and DC3 of ASCII (ISO/IEC 646; their use for flow control is from memory).
const XON: u8 = 0x11;
const XOFF: u8 = 0x13;

/// How long a machine may hold the line up.
const HELD_UP: Duration = Duration::from_secs(60);
/// What is waited to see whether the machine holds the line up.
const LEAST: Duration = Duration::from_millis(1);
/// So often is looked whether a person wants to stop.
const LOOK: Duration = Duration::from_millis(50);
/// A prompt is one if nothing follows it for so long, or for five characters.
const QUIET: Duration = Duration::from_millis(60);
/// What looks like a prompt with something behind it is one if nothing more comes for so long.
const LONG_QUIET: Duration = Duration::from_millis(700);
/// The most bytes that a report has of what came.
const MOST_TOLD: usize = 2000;
/// The most bytes that are kept of what nobody looks at.
const MOST_KEPT: usize = 1 << 20;

/// Why waiting ended without what was waited for.
#[derive(Debug)]
pub(crate) enum Broken {
    /// The line is broken.
    Line(io::Error),
    /// The log cannot be written.
    Log(io::Error),
    /// The other end is gone.
    Closed,
    /// The time is over.
    Late,
    /// More came than can be right: how many bytes.
    Flood(usize),
    /// A person stopped it.
    Stopped,
    /// The machine holds the line up by XOFF.
    HeldUp,
}

/// What ends waiting.
pub(crate) enum Until<'a> {
    /// The prompt.
    Prompt,
    /// A text.
    Text(&'a [u8]),
    /// What an expression matches.
    Pattern(&'a Pattern),
}

pub(crate) struct Stream<'a, L: Line, W: Write> {
    line: L,
    pub(crate) log: Log<W>,
    pub(crate) watch: &'a mut dyn Watch,
    /// What came and was not looked at yet.
    pub(crate) pending: Vec<u8>,
    /// What came for the step, and is no echo: the newest of it.
    told: Vec<u8>,
    follows_xon: bool,
    is_held_up: bool,
    /// How long a character takes.
    character: Duration,
    pub(crate) sent: u64,
    pub(crate) came: u64,
}

impl<'a, L: Line, W: Write> Stream<'a, L, W> {
    pub(crate) fn new(line: L, log: Log<W>, watch: &'a mut dyn Watch, character: Duration, follows_xon: bool) -> Self {
        Self {
            line,
            log,
            watch,
            pending: Vec::new(),
            told: Vec::new(),
            follows_xon,
            is_held_up: false,
            character,
            sent: 0,
            came: 0,
        }
    }

    pub(crate) fn now(&self) -> Duration {
        self.line.now()
    }

    pub(crate) fn line(&mut self) -> &mut L {
        &mut self.line
    }

    /// Sends bytes; they are in the log before anything else happens.
    pub(crate) fn send(&mut self, mut bytes: &[u8]) -> Result<(), Broken> {
        self.wait_until_free()?;
        while !bytes.is_empty() {
            let count = self.line.send(bytes).map_err(Broken::Line)?;
            if count == 0 {
                return Err(Broken::Closed);
            }
            let count = count.min(bytes.len());
            self.log.bytes(self.line.now(), "sent", &bytes[..count]).map_err(Broken::Log)?;
            self.sent += count as u64;
            bytes = &bytes[count..];
        }
        Ok(())
    }

    /// Waits while the machine holds the line up; whether it does is looked at before each piece.
    fn wait_until_free(&mut self) -> Result<(), Broken> {
        if self.follows_xon {
            self.some(self.now() + LEAST)?;
        }
        let until = self.now() + HELD_UP;
        while self.is_held_up {
            if self.now() >= until {
                return Err(Broken::HeldUp);
            }
            self.some(until)?;
        }
        Ok(())
    }

    /// Takes what comes up to a moment, or a little earlier; whether something came.
    pub(crate) fn some(&mut self, until: Duration) -> Result<bool, Broken> {
        if self.watch.is_stopped() {
            return Err(Broken::Stopped);
        }
        let until = until.min(self.now() + LOOK);
        match self.line.receive(until).map_err(Broken::Line)? {
            Received::Nothing => Ok(false),
            Received::Closed => Err(Broken::Closed),
            Received::Bytes(bytes) => {
                self.log.bytes(self.line.now(), "came", &bytes).map_err(Broken::Log)?;
                self.watch.came(&bytes);
                self.came += bytes.len() as u64;
                for byte in bytes {
                    match byte {
                        XOFF if self.follows_xon => self.is_held_up = true,
                        XON if self.follows_xon => self.is_held_up = false,
                        _ => {
                            self.pending.push(byte);
                            self.told.push(byte);
                        }
                    }
                }
                if self.told.len() > 2 * MOST_TOLD {
                    self.told.drain(..self.told.len() - MOST_TOLD);
                }
                Ok(true)
            }
        }
    }

    /// Begins a step, or an answer: what came before it is told no more, but for what nobody has looked at.
    pub(crate) fn begin(&mut self) {
        self.told.clear();
        self.told.extend_from_slice(&self.pending[self.pending.len().saturating_sub(MOST_TOLD)..]);
    }

    /// The end of what came for the step.
    pub(crate) fn told(&self) -> String {
        String::from_utf8_lossy(&self.told[self.told.len().saturating_sub(MOST_TOLD)..]).into_owned()
    }

    /// Takes what comes up to a moment.
    pub(crate) fn pause(&mut self, until: Duration) -> Result<(), Broken> {
        while self.now() < until {
            self.some(until)?;
            self.forget();
        }
        Ok(())
    }

    /// Takes what is there, without waiting.
    pub(crate) fn drain(&mut self) -> Result<(), Broken> {
        let end = self.now() + Duration::from_secs(5);
        while self.now() < end && self.some(self.now() + Duration::from_millis(1))? {
            self.forget();
        }
        Ok(())
    }

    /// Of what nobody looks at, the newest is kept.
    fn forget(&mut self) {
        if self.pending.len() > MOST_KEPT {
            self.pending.drain(..self.pending.len() - MOST_KEPT / 2);
        }
    }

    /// Waits for something; gives all that came up to it and takes it out. `most` is how much may come before it.
    pub(crate) fn wait(
        &mut self,
        until: &Until<'_>,
        monitor: &Monitor,
        deadline: Duration,
        most: usize,
    ) -> Result<Vec<u8>, Broken> {
        let mut looked = 0;
        loop {
            let found = match until {
                Until::Text(text) => find(&self.pending, looked, text),
                Until::Pattern(pattern) => self.matched(pattern, looked),
                Until::Prompt => {
                    if self.has_prompt(monitor, deadline)? {
                        Some(self.pending.len())
                    } else {
                        None
                    }
                }
            };
            if let Some(end) = found {
                let rest = self.pending.split_off(end);
                return Ok(std::mem::replace(&mut self.pending, rest));
            }
            if self.pending.len() > most {
                return Err(Broken::Flood(self.pending.len()));
            }
            // A text may have begun already, an expression in this line.
            looked = match until {
                Until::Text(text) => self.pending.len().saturating_sub(text.len()),
                _ => line_start(&self.pending),
            };
            if self.now() >= deadline {
                return Err(Broken::Late);
            }
            self.some(deadline)?;
        }
    }

    /// Where what an expression matches ends, in the lines from a byte on.
    fn matched(&self, pattern: &Pattern, from: usize) -> Option<usize> {
        let mut start = from;
        while start <= self.pending.len() {
            let rest = &self.pending[start..];
            let length = rest.iter().position(|it| matches!(it, b'\r' | b'\n'));
            let line = &rest[..length.unwrap_or(rest.len())];
            // Of a line that is not over, `$` says nothing yet; what matches without it does.
            if let Some(found) = pattern.regex().find(line) {
                return Some(start + if length.is_some() { line.len() } else { found.end() });
            }
            start += length? + 1;
        }
        None
    }

    /// Whether the last line is a prompt, with nothing behind it for a while.
    fn has_prompt(&mut self, monitor: &Monitor, deadline: Duration) -> Result<bool, Broken> {
        let start = line_start(&self.pending);
        let Some(found) = monitor.prompt.regex().find(&self.pending[start..]) else { return Ok(false) };
        let is_last = start + found.end() == self.pending.len();
        let quiet = if is_last { QUIET.max(self.character * 5) } else { LONG_QUIET };
        let length = self.pending.len();
        let until = (self.now() + quiet).min(deadline.max(self.now() + QUIET));
        while self.now() < until {
            self.some(until)?;
            if self.pending.len() != length {
                return Ok(false);
            }
        }
        Ok(true)
    }
}

/// Where the last line starts.
fn line_start(bytes: &[u8]) -> usize {
    bytes.iter().rposition(|it| matches!(it, b'\r' | b'\n')).map_or(0, |it| it + 1)
}

/// Where a text ends that begins at a byte or behind it.
fn find(bytes: &[u8], from: usize, text: &[u8]) -> Option<usize> {
    if text.is_empty() {
        return Some(from);
    }
    let rest = bytes.get(from..)?;
    rest.windows(text.len()).position(|it| it == text).map(|it| from + it + text.len())
}
