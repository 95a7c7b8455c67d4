//! The rehearsal: a machine that answers in its own vocabulary, from the firmware's image, RAM and a disk image, in its own time.
//!
//! What it types back is made from the very expressions that replies are read by, so these are tried before a cable is plugged in. It runs no
//! program: what `start` begins, and what a text that is awaited depends on, it takes for granted and says so.

mod answer;
mod fault;
mod memory;

use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use reveille_session::{Monitor, Settings, World};

use crate::line::{Line, Received};

pub use answer::Disk;
use fault::Faults;
pub use fault::{Fault, FaultKind};
use memory::Memory;

/// The most bytes that are given at once.
const PIECE: usize = 256;
/// How long a monitor needs to make something of a line. Common practice, no source.
const THINKS: Duration = Duration::from_millis(2);

/// A machine that is rehearsed with.
pub struct Rehearsal {
    world: Arc<World>,
    now: Duration,
    character: Duration,
    /// What is on its way, each byte with the time when it is there.
    coming: VecDeque<(Duration, u8)>,
    /// When the machine's transmitter is free.
    free: Duration,
    /// What was typed and not ended.
    typed: Vec<u8>,
    memory: Memory,
    disk: Option<Disk>,
    faults: Faults,
    /// The texts that the firmware has, to answer in its own words.
    texts: Vec<String>,
}

impl Rehearsal {
    /// A machine of a world, with a disk in its drive or none. `texts` are those of the firmware.
    #[must_use]
    pub fn new(world: Arc<World>, disk: Option<Disk>, texts: Vec<String>, faults: &[Fault]) -> Self {
        let character = Duration::from_secs_f64(world.line.unwrap_or(Settings::USUAL).character());
        Self {
            memory: Memory::new(world.clone()),
            world,
            now: Duration::ZERO,
            character,
            coming: VecDeque::new(),
            free: Duration::ZERO,
            typed: Vec::new(),
            disk,
            faults: Faults::new(faults),
            texts,
        }
    }

    /// Has the machine send bytes, after it has thought for a while.
    fn say(&mut self, bytes: &[u8], after: Duration) {
        self.free = self.free.max(self.now + after);
        for byte in bytes {
            for byte in self.faults.pass(*byte) {
                self.free += self.character;
                self.coming.push_back((self.free, byte));
            }
            if self.faults.take_reset() {
                self.reset();
                return;
            }
        }
    }

    /// Power fails for a moment: RAM is chance again, and what was being said is not said to its end.
    fn reset(&mut self) {
        self.memory = Memory::new(self.world.clone());
        self.typed.clear();
        self.free += Duration::from_secs(2);
        if let Some(monitor) = self.world.monitor.clone() {
            let greeting = [b"\r\n".as_slice(), &self.prompt(&monitor)].concat();
            for byte in greeting {
                self.free += self.character;
                self.coming.push_back((self.free, byte));
            }
        }
    }

    fn prompt(&mut self, monitor: &Monitor) -> Vec<u8> {
        if self.faults.take_wrong_prompt() {
            return b"?? ".to_vec();
        }
        monitor.prompt.line(&[]).map_or_else(Vec::new, |it| it.text)
    }

    fn hear(&mut self, byte: u8, monitor: &Monitor) {
        if monitor.cancel.as_deref() == Some(&[byte]) {
            self.typed.clear();
            let prompt = [b"\r\n".to_vec(), self.prompt(monitor)].concat();
            self.say(&prompt, THINKS);
            return;
        }
        let ends = monitor.newline.last() == Some(&byte);
        if ends {
            let line = String::from_utf8_lossy(&std::mem::take(&mut self.typed)).trim_end_matches('\r').to_owned();
            self.say(b"\r\n", Duration::ZERO);
            self.answer(&line, monitor);
        } else if matches!(byte, 8 | 127) {
            if self.typed.pop().is_some() && monitor.echo {
                self.say(b"\x08 \x08", Duration::ZERO);
            }
        } else {
            self.typed.push(byte);
            if monitor.echo && !monitor.newline.contains(&byte) {
                self.say(&[byte], Duration::ZERO);
            }
        }
    }
}

impl Line for Rehearsal {
    fn now(&self) -> Duration {
        self.now
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let monitor = self.world.monitor.clone();
        for byte in bytes {
            self.now += self.character;
            if let Some(monitor) = &monitor {
                self.hear(*byte, monitor);
            }
        }
        Ok(bytes.len())
    }

    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        let mut bytes = Vec::new();
        while let Some((at, byte)) = self.coming.front().copied().filter(|it| it.0 <= until.max(self.now)) {
            self.coming.pop_front();
            self.now = self.now.max(at);
            bytes.push(byte);
            if bytes.len() == PIECE {
                break;
            }
        }
        if bytes.is_empty() {
            self.now = self.now.max(until);
            return Ok(Received::Nothing);
        }
        Ok(Received::Bytes(bytes))
    }

    fn awaits(&mut self, text: &[u8]) -> Option<String> {
        let shown = String::from_utf8_lossy(text).trim().to_owned();
        let is_coming: Vec<u8> = self.coming.iter().map(|it| it.1).collect();
        let said = !shown.is_empty() && is_coming.windows(text.len().max(1)).any(|it| it == text);
        if said || text.is_empty() || self.faults.is_silent() {
            return None;
        }
        let line = [b"\r\n".as_slice(), text].concat();
        self.say(&line, Duration::from_secs(1));
        Some(format!("the rehearsal takes it that the machine says `{shown}`: it runs no program"))
    }
}
