//! One command: typed with its echo compared, and the answer read up to its end.

use std::io::Write;
use std::ops::Range;
use std::time::Duration;

use reveille_session::{Block, Command, Monitor, Spelling, hex_bytes};

use crate::line::Line;
use crate::stream::{Broken, Stream, Until};

/// How long an echo may take, beside the character's own time.
const ECHO: Duration = Duration::from_secs(2);
/// How long the prompt may take after a line was thrown away.
const RECOVER: Duration = Duration::from_secs(5);
/// What may come before the end of an answer: so much, and so many times what is expected.
const MOST_NOISE: usize = 64 << 10;
const MOST_TIMES: usize = 8;

/// Why a command has no answer.
#[derive(Debug)]
pub(crate) enum Trouble {
    /// The line ended, or a person stopped it.
    Broken(Broken),
    /// What came back was not what was typed; the line was not ended, so the machine has done nothing.
    Echo { typed: char, came: Option<u8> },
    /// The machine told of an error.
    Refused(String),
    /// The answer came, and lacks something.
    Reply(String),
}

impl From<Broken> for Trouble {
    fn from(broken: Broken) -> Self {
        Self::Broken(broken)
    }
}

impl Trouble {
    /// Whether asking again may help: the line was at fault, not the machine.
    pub(crate) fn is_passing(&self) -> bool {
        matches!(self, Self::Echo { .. } | Self::Reply(_) | Self::Broken(Broken::Late | Broken::Flood(_)))
    }
}

/// Types a command, and reads the answer up to its end.
pub(crate) fn ask<L: Line, W: Write>(
    stream: &mut Stream<'_, L, W>,
    monitor: &Monitor,
    spelling: &Spelling,
    command: &Command,
    within: Duration,
) -> Result<Vec<u8>, Trouble> {
    stream.drain()?;
    stream.pending.clear();
    stream.begin();
    type_in(stream, monitor, &command.typed)?;
    stream.send(&monitor.newline)?;
    stream.pause(stream.now() + monitor.pace.1)?;
    let until = spelling.until.as_ref().map_or(Until::Prompt, Until::Pattern);
    let deadline = stream.now() + within;
    let most = MOST_NOISE + MOST_TIMES * command.reply;
    Ok(stream.wait(&until, monitor, deadline, most)?)
}

/// Types a line without its end, each character only when the one before has come back.
fn type_in<L: Line, W: Write>(stream: &mut Stream<'_, L, W>, monitor: &Monitor, typed: &str) -> Result<(), Trouble> {
    for character in typed.chars() {
        let Ok(byte) = u8::try_from(u32::from(character)) else {
            return Err(Trouble::Reply(format!("`{character}` is none of the characters that the line carries")));
        };
        stream.send(&[byte])?;
        stream.pause(stream.now() + monitor.pace.0)?;
        if monitor.echo {
            let until = stream.now() + ECHO;
            while stream.pending.is_empty() && stream.now() < until {
                stream.some(until)?;
            }
            if stream.pending.is_empty() {
                return Err(Trouble::Echo { typed: character, came: None });
            }
            let came = stream.pending.remove(0);
            // Monitors that take small letters for capitals send capitals back.
            if !came.eq_ignore_ascii_case(&byte) {
                return Err(Trouble::Echo { typed: character, came: Some(came) });
            }
            stream.begin();
        }
    }
    Ok(())
}

/// Brings the machine back to its prompt: throws away what is typed, where that can be done. Whether the prompt came.
pub(crate) fn recover<L: Line, W: Write>(
    stream: &mut Stream<'_, L, W>,
    monitor: &Monitor,
    is_half_typed: bool,
) -> Result<bool, Broken> {
    let Some(keys) = monitor.cancel.as_deref().or((!is_half_typed).then_some(&monitor.newline)) else {
        return Ok(false);
    };
    stream.drain()?;
    stream.pending.clear();
    stream.send(keys)?;
    let deadline = stream.now() + RECOVER;
    match stream.wait(&Until::Prompt, monitor, deadline, MOST_NOISE) {
        Ok(_) => Ok(true),
        Err(Broken::Late | Broken::Flood(_)) => Ok(false),
        Err(broken) => Err(broken),
    }
}

/// The lines of an answer.
pub(crate) fn lines(reply: &[u8]) -> impl Iterator<Item = &[u8]> {
    reply.split(|it| matches!(it, b'\r' | b'\n')).filter(|it| !it.is_empty())
}

/// The line of an answer that tells of an error.
pub(crate) fn refusal(monitor: &Monitor, reply: &[u8]) -> Option<String> {
    let error = monitor.error.as_ref()?;
    let line = lines(reply).find(|it| error.regex().is_match(it))?;
    Some(String::from_utf8_lossy(line).trim().to_owned())
}

/// The bytes of a dump.
pub(crate) fn dumped(spelling: &Spelling, range: &Range<i64>, reply: &[u8]) -> Result<Vec<u8>, Trouble> {
    let length = usize::try_from(range.end - range.start).unwrap_or(0);
    let mut bytes: Vec<Option<u8>> = vec![None; length];
    let mut next = range.start;
    for line in lines(reply) {
        let Some(groups) = spelling.reply.as_ref().and_then(|it| it.groups(line)) else { continue };
        let group = |name: &str| groups.iter().find(|it| it.0 == name).map(|it| it.1.as_str());
        let Some(shown) = group("bytes").and_then(hex_bytes) else {
            let text = String::from_utf8_lossy(line).trim().to_owned();
            return Err(Trouble::Reply(format!("half a byte stands in `{text}`")));
        };
        let address = group("address").and_then(|it| i64::from_str_radix(it.trim_start_matches(['$', ' ']), 16).ok());
        let from = address.unwrap_or(next);
        for (at, byte) in shown.iter().enumerate() {
            let place = from.checked_sub(range.start).and_then(|it| it.checked_add(i64::try_from(at).ok()?));
            let cell = place.and_then(|it| usize::try_from(it).ok()).and_then(|it| bytes.get_mut(it));
            match cell {
                Some(Some(before)) if before != byte => {
                    let message =
                        format!("the byte at ${:06X} was shown as {before:02X} and as {byte:02X}", from + at as i64);
                    return Err(Trouble::Reply(message));
                }
                Some(cell) => *cell = Some(*byte),
                // Whole lines are shown where less was asked for.
                None => (),
            }
        }
        next = from.saturating_add(i64::try_from(shown.len()).unwrap_or(0));
    }
    if let Some(first) = bytes.iter().position(Option::is_none) {
        let missing = bytes.iter().filter(|it| it.is_none()).count();
        let message = format!(
            "{missing} of {length} bytes are missing in the answer, the first at ${:06X}",
            range.start + i64::try_from(first).unwrap_or(0)
        );
        return Err(Trouble::Reply(message));
    }
    Ok(bytes.into_iter().flatten().collect())
}

/// The registers of an answer, or the groups of the first line that matches.
pub(crate) fn grouped(spelling: &Spelling, reply: &[u8], is_registers: bool) -> Result<Block, Trouble> {
    let Some(pattern) = &spelling.reply else { return Ok(Block::default()) };
    let mut groups: Vec<(String, Option<String>)> = Vec::new();
    for line in lines(reply) {
        if !is_registers {
            if let Some(found) = pattern.groups(line) {
                let groups = found.into_iter().map(|it| (it.0, Some(it.1))).collect();
                return Ok(Block { groups, ..Block::default() });
            }
            continue;
        }
        for found in pattern.regex().captures_iter(line) {
            let text = |name| found.name(name).map(|it| String::from_utf8_lossy(it.as_bytes()).into_owned());
            if let (Some(name), Some(value)) = (text("name"), text("value")) {
                // A monitor shows registers in hexadecimal.
                groups.push((name, Some(format!("${}", value.trim_start_matches('$')))));
            }
        }
    }
    if groups.is_empty() {
        return Err(Trouble::Reply("no line of the answer is as `reply` says in the machine's vocabulary".to_owned()));
    }
    Ok(Block { groups, ..Block::default() })
}
