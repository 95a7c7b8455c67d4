//! The files of a session: what it keeps, and its log.

use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use reveille_player::Files;

use crate::cli::files::{self, NewFile};

/// The most bytes of a file that a check reads.
const MOST: u64 = 64 << 20;
/// So many logs may be beside each other.
const MOST_LOGS: u32 = 10_000;

/// Files by their paths from the script's folder.
pub(super) struct Kept {
    pub(super) folder: PathBuf,
    pub(super) force: bool,
    /// Whether a machine answers, and not a rehearsal.
    pub(super) is_real: bool,
    /// What was written.
    pub(super) written: Vec<PathBuf>,
    /// What a rehearsal left as it was.
    pub(super) left: Vec<PathBuf>,
}

impl Kept {
    fn path(&self, path: &str) -> PathBuf {
        self.folder.join(path.replace('\\', "/"))
    }

    /// Says before anything is sent which files would be in the way.
    pub(super) fn must_be_free(&self, path: &str) -> Result<()> {
        let path = self.path(path);
        if path.exists() && !self.force && self.is_real {
            bail!("`{}` is there already; move it, or replace it with --force", path.display());
        }
        let folder = path.parent().filter(|it| !it.as_os_str().is_empty());
        if folder.is_some_and(|it| !it.is_dir()) {
            bail!("there is no folder for `{}`; make it", path.display());
        }
        Ok(())
    }
}

impl Files for Kept {
    fn keep(&mut self, path: &str, bytes: &[u8]) -> Result<(), String> {
        let path = self.path(path);
        if !self.is_real && !self.force && path.exists() {
            self.left.push(path);
            return Ok(());
        }
        let file = NewFile { path: &path, bytes: bytes.to_vec() };
        files::write(&[file], &[], self.force).map_err(|error| format!("{error:#}"))?;
        self.written.push(path);
        Ok(())
    }

    fn read(&mut self, path: &str) -> Result<Vec<u8>, String> {
        let path = self.path(path);
        match files::read(&path, MOST) {
            Ok(Some(bytes)) => Ok(bytes),
            Ok(None) => Err(format!("`{}` has more than {MOST} bytes", path.display())),
            Err(error) => Err(format!("{error:#}")),
        }
    }
}

/// Makes a log that was not there: with a number in its name where one was, since a log is never replaced, but that of a rehearsal by that
/// of another.
pub(super) fn new_log(path: &Path, is_rehearsal: bool) -> Result<(File, PathBuf)> {
    let stem = path.file_stem().map(|it| it.to_string_lossy().into_owned()).unwrap_or_default();
    let ending = path.extension().map(|it| format!(".{}", it.to_string_lossy())).unwrap_or_default();
    for number in 1..MOST_LOGS {
        let name = if number == 1 { path.to_owned() } else { path.with_file_name(format!("{stem}-{number}{ending}")) };
        match OpenOptions::new().write(true).create_new(true).open(&name) {
            Ok(file) => return Ok((file, name)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                if is_rehearsal && is_of_rehearsal(&name) {
                    let file = File::create(&name);
                    let file = file.with_context(|| format!("the log `{}` cannot be written", name.display()))?;
                    return Ok((file, name));
                }
            }
            Err(error) => return Err(error).with_context(|| format!("the log `{}` cannot be written", name.display())),
        }
    }
    bail!("there are too many logs `{}`; put them away", path.display())
}

/// Whether a file is the log of a rehearsal or a replay, which can be had again.
fn is_of_rehearsal(path: &Path) -> bool {
    let Ok(file) = File::open(path) else { return false };
    let second = BufReader::new(file).lines().nth(1);
    second.is_some_and(|it| it.is_ok_and(|it| it.starts_with("# rehearsal of ") || it.starts_with("# replay of ")))
}
