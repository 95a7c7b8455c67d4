//! Files of a user: read whole, written whole or not at all, and never replaced by mistake.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use tempfile::NamedTempFile;

/// Reads a file of at most `most` bytes; none if it has more.
pub(super) fn read(path: &Path, most: u64) -> Result<Option<Vec<u8>>> {
    let file = File::open(path).with_context(|| format!("`{}` cannot be opened", path.display()))?;
    if file.metadata().is_ok_and(|it| it.is_dir()) {
        bail!("`{}` is a folder, expected a file", path.display());
    }
    let mut bytes = Vec::new();
    let read = file.take(most.saturating_add(1)).read_to_end(&mut bytes);
    read.with_context(|| format!("`{}` cannot be read", path.display()))?;
    Ok(Some(bytes).filter(|it| it.len() as u64 <= most))
}

/// What happens to a file on its way to its name; a test makes each of them fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    Create,
    Write,
    Permissions,
    Sync,
    Name,
}

/// Lets a step happen, or makes it fail.
type Gate<'a> = &'a mut dyn FnMut(Step) -> io::Result<()>;

/// So many bytes are written at once.
const PIECE: usize = 64 << 10;

/// Whether a path is a file that can be read whole. A pipe would be waited for, a device has no end.
pub(super) fn must_be_plain(path: &Path) -> Result<()> {
    let shown = path.display();
    let kind = fs::metadata(path).with_context(|| format!("`{shown}` cannot be opened"))?;
    if kind.is_dir() {
        bail!("`{shown}` is a folder, expected a file");
    }
    if !kind.is_file() {
        bail!("`{shown}` is a pipe or a device, expected a file");
    }
    Ok(())
}

/// A file to write.
#[derive(Debug)]
pub(super) struct NewFile<'a> {
    pub(super) path: &'a Path,
    pub(super) bytes: Vec<u8>,
}

/// Writes files: each one is complete under its name or not there at all.
///
/// An existing file is replaced only with `force`; one of `inputs`, a file that is write-protected, and what is no plain file
/// never is. All of this is looked at before the first file is written.
pub(super) fn write(files: &[NewFile<'_>], inputs: &[&Path], force: bool) -> Result<()> {
    let inputs: Vec<PathBuf> = inputs.iter().filter_map(|it| fs::canonicalize(it).ok()).collect();
    let mut targets: Vec<PathBuf> = Vec::new();
    for NewFile { path, .. } in files {
        if fs::canonicalize(path).is_ok_and(|it| inputs.contains(&it)) {
            bail!("`{}` is what is read here, and is not replaced; name another file", path.display());
        }
        let target = target(path, force)?;
        if targets.contains(&target) {
            bail!("`{}` is named for two files; name another one", path.display());
        }
        targets.push(target);
    }
    put(files, &targets, force, &mut |_| Ok(()))
}

/// Writes files back that were read: each one is complete in its new form, or as it was.
///
/// `before` is what was read of each; a file that has other bytes by now is not replaced, nor is one that is write-protected.
/// All of this is looked at before the first file is written.
pub(super) fn rewrite(files: &[NewFile<'_>], before: &[Vec<u8>]) -> Result<()> {
    let mut targets = Vec::new();
    for (NewFile { path, .. }, before) in files.iter().zip(before) {
        let target = target(path, true)?;
        if read(&target, before.len() as u64)?.as_ref() != Some(before) {
            bail!("`{}` was changed meanwhile, and is not replaced", path.display());
        }
        targets.push(target);
    }
    put(files, &targets, true, &mut |_| Ok(()))
}

/// Gives files their names, once all of them are complete on the disk.
fn put(files: &[NewFile<'_>], targets: &[PathBuf], force: bool, gate: Gate<'_>) -> Result<()> {
    let mut ready = Vec::new();
    for (NewFile { path, bytes }, target) in files.iter().zip(targets) {
        let written = written_beside(target, bytes, gate);
        ready.push(written.with_context(|| format!("`{}` cannot be written", path.display()))?);
    }
    let mut done: Vec<String> = Vec::new();
    for ((file, temporary), target) in files.iter().zip(ready).zip(targets) {
        gate(Step::Name).and_then(|()| named(temporary, target, force)).with_context(|| {
            let so_far = if done.is_empty() { String::new() } else { format!("; written so far: {}", done.join(", ")) };
            format!("`{}` cannot be written{so_far}", file.path.display())
        })?;
        done.push(format!("`{}`", file.path.display()));
    }
    for target in targets {
        sync_folder(target);
    }
    Ok(())
}

/// The file that is written for a path, behind links; nothing stands in its way.
fn target(path: &Path, force: bool) -> Result<PathBuf> {
    let shown = path.display();
    let Ok(there) = fs::symlink_metadata(path) else {
        let Some(name) = path.file_name() else { bail!("`{shown}` is no name of a file") };
        let folder = path.parent().filter(|it| !it.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let folder = fs::canonicalize(folder).with_context(|| format!("the folder of `{shown}` cannot be opened"))?;
        return Ok(folder.join(name));
    };
    if there.is_dir() {
        bail!("`{shown}` is a folder, expected the name of a file");
    }
    if !force {
        bail!("`{shown}` is there already; name another file, or give --force to replace it");
    }
    let target = fs::canonicalize(path).with_context(|| format!("`{shown}` is a link to nothing"))?;
    let there = fs::metadata(&target).with_context(|| format!("`{shown}` cannot be opened"))?;
    if !there.is_file() {
        bail!("`{shown}` is no plain file, and is not replaced");
    }
    if there.permissions().readonly() {
        bail!("`{shown}` is write-protected, and is not replaced; name another file");
    }
    Ok(target)
}

/// A temporary file in the folder of a target, complete on the disk. It goes when it is dropped.
fn written_beside(target: &Path, bytes: &[u8], gate: Gate<'_>) -> io::Result<NamedTempFile> {
    gate(Step::Create)?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(".reveille-");
    // As any new file; what the user's mask takes away is taken away.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut temporary = builder.tempfile_in(target.parent().unwrap_or(Path::new(".")))?;
    for piece in bytes.chunks(PIECE) {
        gate(Step::Write)?;
        temporary.write_all(piece)?;
    }
    if let Ok(there) = fs::metadata(target) {
        gate(Step::Permissions)?;
        temporary.as_file().set_permissions(there.permissions())?;
    }
    gate(Step::Sync)?;
    temporary.as_file().sync_all()?;
    Ok(temporary)
}

/// Makes a new name last through a loss of power. Not every file system has that; the file itself is on the disk already.
fn sync_folder(target: &Path) {
    #[cfg(unix)]
    if let Some(folder) = target.parent().and_then(|it| File::open(it).ok()) {
        let _ = folder.sync_all();
    }
    #[cfg(not(unix))]
    let _ = target;
}

/// Gives a temporary file its name.
fn named(temporary: NamedTempFile, target: &Path, force: bool) -> io::Result<()> {
    if force {
        temporary.persist(target)?;
        return Ok(());
    }
    match temporary.persist_noclobber(target) {
        Ok(_) => Ok(()),
        // Some file systems of removable disks cannot rename with care.
        Err(error) if error.error.kind() != io::ErrorKind::AlreadyExists && fs::symlink_metadata(target).is_err() => {
            error.file.persist(target)?;
            Ok(())
        }
        Err(error) => Err(error.error),
    }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::io;

    use super::{NewFile, PIECE, Step, put, target};

    /// Writes two files over an old one and a new name, with the step of a number failing. The result tells whether it got that far.
    fn with_failure(at: Option<usize>) -> (Vec<Step>, [Option<Vec<u8>>; 2], usize) {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (folder.path().join("old.img"), folder.path().join("new.img"));
        fs::write(&old, b"old bytes").unwrap();
        let files =
            [NewFile { path: &old, bytes: vec![1; 3 * PIECE + 5] }, NewFile { path: &new, bytes: vec![2; PIECE] }];
        let targets = [target(&old, true).unwrap(), target(&new, true).unwrap()];
        let mut steps = Vec::new();
        let mut gate = |step| {
            steps.push(step);
            if at.is_some_and(|at| steps.len() == at + 1) {
                Err(io::Error::from(io::ErrorKind::StorageFull))
            } else {
                Ok(())
            }
        };
        let result = put(&files, &targets, true, &mut gate);
        assert_eq!(result.is_err(), at.is_some_and(|at| steps.len() == at + 1));
        let names = fs::read_dir(folder.path()).unwrap().count();
        (steps, [fs::read(&old).ok(), fs::read(&new).ok()], names)
    }

    #[test]
    fn a_failure_at_any_step_leaves_the_old_file_or_the_whole_new_one() {
        let (all, _, _) = with_failure(None);
        for step in [Step::Create, Step::Write, Step::Permissions, Step::Sync, Step::Name] {
            assert!(all.contains(&step), "{step:?} is gone through");
        }
        for at in 0..=all.len() {
            let (steps, [old, new], names) = with_failure(Some(at));
            let old = old.unwrap();
            assert!(old == b"old bytes" || old == vec![1; 3 * PIECE + 5], "step {at}, {:?}: a part", steps.last());
            assert!(new.as_ref().is_none_or(|it| *it == vec![2; PIECE]), "step {at}, {:?}: a part", steps.last());
            let is_named = all[..at.min(all.len())].iter().filter(|it| **it == Step::Name).count();
            assert_eq!((old != b"old bytes", new.is_some()), (is_named >= 1, is_named >= 2), "step {at}");
            assert_eq!(names, 1 + usize::from(new.is_some()), "step {at}: nothing is left over");
        }
    }
}
