//! The demo's machine and somebody at its console: switched on as a [`Setup`] says, typed to, waited for.

use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::time::Duration;

use crate::skerry::Skerry;

/// How long an answer may take before a test fails.
pub const PATIENCE: Duration = Duration::from_secs(60);
/// The prompt of the boot ROM, with the line's end before it.
pub const BOOT_PROMPT: &str = "\r\n* ";

/// What the machine is switched on with.
#[derive(Clone, Copy)]
pub struct Setup<'a> {
    /// The bytes of its ROM.
    pub rom: &'a [u8],
    /// The panel's keys as `tests/peers/skerry.py` takes them: the one held at reset, those of later looks behind it.
    pub keys: &'a str,
    /// The image of the disk in the drive.
    pub image: Option<&'a Path>,
    /// Further options of `tests/peers/skerry.py`.
    pub more: &'a [&'a str],
}

impl Setup<'_> {
    /// Switches the machine on. What it says is still to be waited for.
    ///
    /// # Panics
    /// If it does not start, or the image's path is no text.
    #[must_use]
    pub fn switch_on(&self) -> Machine {
        let mut options = vec!["--listen", "0", "--key", self.keys];
        if let Some(image) = self.image {
            options.extend(["--image", image.to_str().expect("a temporary path is text")]);
        }
        options.extend(self.more);
        let process = Skerry::start(self.rom, &options);
        let line = call(&process.name);
        Machine { line, process }
    }
}

/// The machine, switched on, and the far end of its serial line.
pub struct Machine {
    /// The far end of its line.
    pub line: TcpStream,
    process: Skerry,
}

impl Machine {
    /// The TCP port that its line is called by.
    #[must_use]
    pub fn port(&self) -> &str {
        &self.process.name
    }

    /// Calls its line again, when it has been closed.
    ///
    /// # Panics
    /// If it does not listen.
    pub fn call_again(&mut self) {
        self.line = call(&self.process.name);
    }

    /// Sends characters as they are.
    ///
    /// # Panics
    /// If the line does not take them.
    pub fn send(&mut self, text: &str) {
        self.line.write_all(text.as_bytes()).expect("the line takes it");
    }

    /// What comes until it is enough, or until the line is closed.
    ///
    /// # Panics
    /// If that takes longer than [`PATIENCE`].
    pub fn until(&mut self, is_enough: impl Fn(&str) -> bool) -> String {
        let mut text = String::new();
        while !is_enough(&text) {
            let mut bytes = [0; 256];
            match self.line.read(&mut bytes) {
                Ok(0) => break,
                Ok(count) => text.push_str(std::str::from_utf8(&bytes[..count]).expect("the monitor sends ASCII")),
                Err(error) if error.kind() == ErrorKind::Interrupted => (),
                Err(error) => panic!("{error} behind {text:?}"),
            }
        }
        text
    }

    /// What comes before a text that has to come, and ends what has come so far.
    ///
    /// # Panics
    /// If it does not come.
    pub fn wait_for(&mut self, end: &str) -> String {
        let text = self.until(|it| it.ends_with(end));
        text.strip_suffix(end).unwrap_or_else(|| panic!("{text:?} and no {end:?}")).to_owned()
    }

    /// Types a line: it comes back as it is typed. Gives what comes between it and a prompt, without line ends around it.
    ///
    /// # Panics
    /// If it does not come back, or the prompt does not.
    pub fn answer(&mut self, line: &str, prompt: &str) -> String {
        self.send(line);
        let echo = self.until(|it| it.len() >= line.len());
        assert_eq!(echo, line);
        self.send("\r");
        self.wait_for(prompt).trim_start_matches("\r\n").to_owned()
    }

    /// Bytes of memory, as the boot ROM lists them at its prompt.
    ///
    /// # Panics
    /// If what it lists is no list.
    pub fn bytes(&mut self, from: u32, count: u32) -> Vec<u8> {
        let listed = self.answer(&format!("list {from:x} {count:x}"), BOOT_PROMPT);
        let bytes = listed.lines().flat_map(|it| it.split_once(": ").expect("an address").1.split(' '));
        let bytes: Vec<u8> = bytes.map(|it| u8::from_str_radix(it, 16).expect("a byte")).collect();
        assert_eq!(bytes.len(), count as usize, "{listed}");
        bytes
    }
}

fn call(port: &str) -> TcpStream {
    let port: u16 = port.parse().expect("the machine tells its port");
    let line = TcpStream::connect(("127.0.0.1", port)).expect("the machine listens");
    line.set_read_timeout(Some(PATIENCE)).expect("a time");
    line
}
