//! What the machine answers to a line.

use std::time::Duration;

use reveille_session::{Monitor, Put, Shown, Spelling};

use super::{Rehearsal, THINKS};

/// How long a drive needs to a sector: a step, the head's settling and half a turn at 300 turns a minute. Common practice, no source.
const SECTOR: Duration = Duration::from_millis(150);

/// Finds a file on a disk by its name.
type Find = Box<dyn Fn(&[u8], &str) -> Option<Vec<u8>> + Send>;

/// The disk in the drive.
pub struct Disk {
    /// Its bytes, in the order of its sectors.
    pub bytes: Vec<u8>,
    /// Finds a file's bytes by its name.
    pub find: Find,
}

/// The registers of the processor, as a monitor names them.
const REGISTERS: &[&str] =
    &["D0", "D1", "D2", "D3", "D4", "D5", "D6", "D7", "A0", "A1", "A2", "A3", "A4", "A5", "A6", "A7", "PC", "SR"];

/// Words that tell of an error.
fn error(words: &[&str]) -> Outcome {
    Outcome::Error(words.iter().map(|it| (*it).to_owned()).collect())
}

/// What a command comes to: lines, or why not.
enum Outcome {
    Lines(Vec<Vec<u8>>),
    /// Words that the firmware's error text may have.
    Error(Vec<String>),
}

impl Rehearsal {
    /// Answers a line, and gives the prompt.
    pub(super) fn answer(&mut self, line: &str, monitor: &Monitor) {
        let found = monitor
            .spellings
            .iter()
            .filter_map(|it| Some((it, it.send.values(line)?)))
            .max_by_key(|it| it.0.send.command().len());
        let mut wait = THINKS;
        let mut lines = Vec::new();
        match found {
            None if line.trim().is_empty() => (),
            None => lines.extend(self.error(monitor, &["word".to_owned(), "command".to_owned(), "what".to_owned()])),
            Some((spelling, values)) => {
                if matches!(spelling.key.as_str(), "read-sector" | "write-sector" | "load-boot-file" | "load-file") {
                    wait += SECTOR;
                }
                match self.run(spelling, &values) {
                    Outcome::Lines(found) => {
                        lines.extend(found);
                        if let Some(end) = spelling.until.as_ref().and_then(|it| it.line(&[])) {
                            lines.push(end.text);
                        }
                    }
                    Outcome::Error(words) => lines.extend(self.error(monitor, &words)),
                }
            }
        }
        let mut text = Vec::new();
        for line in lines {
            text.extend(line);
            text.extend(b"\r\n");
        }
        // It says its prompt only after it has said all else: a wrong one is wrong from here on.
        self.say(&text, wait);
        let prompt = self.prompt(monitor);
        self.say(&prompt, Duration::ZERO);
    }

    /// A text of the firmware that tells of an error: one with these words, if there is one.
    fn error(&self, monitor: &Monitor, words: &[String]) -> Option<Vec<u8>> {
        let pattern = monitor.error.as_ref()?;
        let own: Vec<&String> = self.texts.iter().filter(|it| pattern.regex().is_match(it.as_bytes())).collect();
        let has = |text: &String, word: &String| text.to_ascii_lowercase().contains(&word.to_ascii_lowercase());
        // Of texts that have as many of them, the shortest speaks of nothing else.
        let count = |text: &String| words.iter().filter(|word| has(text, word)).count();
        let best = own.iter().max_by_key(|text| (count(text), std::cmp::Reverse(text.len())));
        best.map(|it| it.as_bytes().to_vec()).or_else(|| pattern.line(&[]).map(|it| it.text))
    }

    fn run(&mut self, spelling: &Spelling, values: &[(String, Put)]) -> Outcome {
        let number = |name: &str| match values.iter().find(|it| it.0 == name) {
            Some((_, Put::Number(it))) => Some(*it),
            _ => None,
        };
        let range = || {
            let from = number("from")?;
            let end =
                number("to").or_else(|| number("last").map(|it| it + 1)).or_else(|| Some(from + number("bytes")?))?;
            (end > from && end - from <= reveille_session::MOST_BYTES).then_some(from..end)
        };
        let sample = || spelling.reply.as_ref().and_then(|it| it.line(&[])).map(|it| it.text);
        let done = |text: Option<Vec<u8>>| Outcome::Lines(text.into_iter().collect());
        match spelling.key.as_str() {
            "dump" => match range() {
                Some(range) => Outcome::Lines(self.dump(spelling, range)),
                None => error(&["address", "range", "number"]),
            },
            "registers" => Outcome::Lines(registers(spelling)),
            "fill" => match (range(), number("value")) {
                (Some(range), Some(value)) if range.clone().all(|it| self.memory.write(it, value as u8)) => {
                    done(sample())
                }
                _ => error(&["RAM", "address"]),
            },
            key @ ("poke" | "poke-word" | "poke-long") => {
                let width = match key {
                    "poke" => 1,
                    "poke-word" => 2,
                    _ => 4,
                };
                match (number("at"), number("value")) {
                    (Some(at), _) if width > 1 && at % 2 != 0 => error(&["odd", "address"]),
                    (Some(at), Some(value)) => {
                        let bytes = value.to_be_bytes();
                        let own = &bytes[bytes.len() - width..];
                        let all = own.iter().zip(at..).all(|it| self.memory.write(it.1, *it.0));
                        if all { done(sample()) } else { error(&["RAM", "address"]) }
                    }
                    _ => error(&["number"]),
                }
            }
            "read-sector" | "write-sector" => match self.sector(spelling, &number) {
                Ok(()) => done(sample()),
                Err(words) => error(words),
            },
            "load-boot-file" | "load-file" => {
                let named = match values.iter().find(|it| it.0 == "name") {
                    Some((_, Put::Text(it))) => Some(it.clone()),
                    _ => self.world.source.boot_file(),
                };
                let Some(disk) = &self.disk else { return error(&["ready", "drive"]) };
                let Some(file) = named.as_ref().and_then(|it| (disk.find)(&disk.bytes, it)) else {
                    let words = named.into_iter().chain(["file".to_owned(), "disk".to_owned()]);
                    return Outcome::Error(words.collect());
                };
                if let Some(into) = number("into") {
                    file.iter().zip(into..).for_each(|it| {
                        self.memory.write(it.1, *it.0);
                    });
                }
                done(sample())
            }
            // What a start begins cannot be known; verbs of the machine's own neither.
            _ => done(sample()),
        }
    }

    fn dump(&self, spelling: &Spelling, range: std::ops::Range<i64>) -> Vec<Vec<u8>> {
        let mut lines = Vec::new();
        let mut at = range.start;
        while at < range.end {
            let byte = |offset: usize| self.memory.byte(at + i64::try_from(offset).unwrap_or(0));
            let least = usize::try_from(range.end - at).unwrap_or(usize::MAX);
            let shown = [("address", Shown::Number(at)), ("bytes", Shown::Bytes(&byte, least))];
            let Some(line) = spelling.reply.as_ref().and_then(|it| it.line(&shown)).filter(|it| it.bytes > 0) else {
                break;
            };
            at += i64::try_from(line.bytes).unwrap_or(1);
            lines.push(line.text);
        }
        lines
    }

    fn sector(
        &mut self,
        spelling: &Spelling,
        number: &dyn Fn(&str) -> Option<i64>,
    ) -> Result<(), &'static [&'static str]> {
        const PLACE: &[&str] = &["sector", "found"];
        let geometry = self.world.geometry.ok_or(PLACE)?;
        let mut sector = number("sector").ok_or(PLACE)?;
        if let Some(track) = number("track") {
            // Sectors of a track count from 1.
            let side = number("side").unwrap_or(0);
            let first =
                (track * if number("side").is_some() { geometry.sides } else { 1 } + side) * geometry.sectors_per_track;
            sector = first + sector - 1;
        }
        let size = usize::try_from(geometry.sector_bytes).map_err(|_| PLACE)?;
        let start = usize::try_from(sector).ok().and_then(|it| it.checked_mul(size)).ok_or(PLACE)?;
        let disk = self.disk.as_mut().ok_or(&["ready", "drive"][..])?;
        let bytes = disk.bytes.get_mut(start..start.saturating_add(size)).ok_or(PLACE)?;
        if spelling.key == "read-sector" {
            let into = number("into").ok_or(PLACE)?;
            let all = bytes.iter().zip(into..).all(|it| self.memory.write(it.1, *it.0));
            return if all { Ok(()) } else { Err(&["RAM", "address"]) };
        }
        let from = number("from").ok_or(PLACE)?;
        for (byte, at) in bytes.iter_mut().zip(from..) {
            *byte = self.memory.byte(at);
        }
        Ok(())
    }
}

/// A line for each register that the vocabulary's expression takes: all are 0, as after a reset.
fn registers(spelling: &Spelling) -> Vec<Vec<u8>> {
    let Some(reply) = &spelling.reply else { return Vec::new() };
    let line = |name: &&&str| {
        let shown = [("name", Shown::Text(name)), ("value", Shown::Number(0))];
        reply.line(&shown).map(|it| it.text)
    };
    REGISTERS.iter().filter_map(|it| line(&it)).collect()
}
