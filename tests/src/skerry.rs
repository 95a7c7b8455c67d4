//! The demo's machine: its ROM, and the machine itself as a process with a serial line (`tests/peers/skerry.py`).

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

use crate::tests_folder;

/// The Python that has the judges of `tests/install-tools.sh`.
///
/// # Panics
/// If it is not installed.
#[must_use]
pub fn python() -> PathBuf {
    let mut shell = Command::new("sh");
    shell.arg("-c").arg(". ./tool-paths.sh; printf %s \"$judges\"").current_dir(tests_folder());
    let output = shell.output().expect("a shell starts");
    let path = PathBuf::from(String::from_utf8_lossy(&output.stdout).into_owned());
    assert!(path.exists(), "no judges at {}: run tests/install-tools.sh judges", path.display());
    path
}

/// The bytes of the ROM's lower half, as GNU binutils for the 68000 make them (`tests/demo/assemble.sh`).
///
/// # Panics
/// If they are not installed, or refuse the source.
#[must_use]
pub fn rom() -> &'static [u8] {
    static ROM: OnceLock<Vec<u8>> = OnceLock::new();
    ROM.get_or_init(|| made_by("assemble.sh"))
}

/// The bytes of the ROM with the service monitor in its upper half, as the GNU tools for the 68000 make them (`tests/demo/rom.sh`).
///
/// # Panics
/// If they are not installed, or refuse the source.
#[must_use]
pub fn rom_with_service() -> &'static [u8] {
    static ROM: OnceLock<Vec<u8>> = OnceLock::new();
    ROM.get_or_init(|| made_by("rom.sh"))
}

fn made_by(script: &str) -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let image = folder.path().join("rom.bin");
    let demo = tests_folder().join("demo");
    let output = Command::new("sh").arg(demo.join(script)).arg(demo.join("skerry")).arg(&image).output();
    let output = output.expect("a shell starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    std::fs::read(image).expect("the script has written")
}

/// The machine as a process; it ends with this value.
pub struct Skerry {
    child: Child,
    /// What its line is called: the number of a TCP port, or the name of a pseudo-terminal.
    pub name: String,
    // The ROM lies there.
    _folder: tempfile::TempDir,
}

impl Skerry {
    /// Starts it with the bytes of a ROM and with options, which `tests/peers/skerry.py` lists.
    ///
    /// # Panics
    /// If it does not start.
    #[must_use]
    pub fn start(rom: &[u8], options: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let image = folder.path().join("rom.bin");
        std::fs::write(&image, rom).expect("a temporary folder can be written to");
        let mut command = Command::new(python());
        command.arg(peer()).arg("--rom").arg(&image).args(options).stdin(Stdio::null()).stdout(Stdio::piped());
        let mut child = command.spawn().expect("the machine starts");
        let mut name = String::new();
        let output = child.stdout.take().expect("standard output is a pipe");
        BufReader::new(output).read_line(&mut name).expect("the machine names its line");
        assert!(name.ends_with('\n'), "the machine does not start with {options:?}");
        Self { child, name: name.trim_end().to_owned(), _folder: folder }
    }
}

impl Drop for Skerry {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn peer() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("peers/skerry.py")
}
