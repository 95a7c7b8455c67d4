//! `reveille image extract`.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::Args;
use reveille_decoders::volume::{Entry, read};

use super::super::CLEAN;
use super::super::files::{self, NewFile};
use super::Unfit;
use super::input::Input;
use super::table::TableArgs;

#[derive(Debug, Args)]
pub(super) struct Extract {
    #[command(flatten)]
    input: Input,
    /// Files of the image: NAME, or DIR/NAME. A directory stands for all that is in it; none at all for everything.
    names: Vec<String>,
    /// The folder that they are written into.
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
    /// Replaces files that are there already.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    table: TableArgs,
}

impl Extract {
    pub(super) fn run(&self, out: &mut dyn Write) -> Result<u8> {
        let bytes = self.input.read()?;
        let table = self.table.must_be(&self.input, &bytes, out)?;
        let (_, bytes) = self.input.arranged(bytes, &table.geometry)?;
        let volume = read(&bytes, &table.geometry);
        let chosen = self.chosen(&volume.entries)?;
        for entry in &chosen {
            if !entry.is_sound && !self.table.anyway {
                let text = format!(
                    "`{}` is not sound: `reveille image check` tells why; --anyway writes what there is of it",
                    entry.path
                );
                return Err(Unfit(text).into());
            }
        }
        let mut targets = Vec::new();
        for entry in &chosen {
            targets.push(self.target(&entry.path)?);
        }
        self.folders(&targets)?;
        let new: Vec<NewFile<'_>> = chosen
            .iter()
            .zip(&targets)
            .map(|(entry, path)| NewFile { path, bytes: volume.content(&bytes, &table.geometry, entry) })
            .collect();
        files::write(&new, &[&self.input.image], self.force)?;
        for file in &new {
            writeln!(out, "{}: {} bytes", file.path.display(), file.bytes.len())?;
        }
        Ok(CLEAN)
    }

    /// The files that were asked for, each once, in the order of the image.
    fn chosen<'a>(&self, entries: &'a [Entry]) -> Result<Vec<&'a Entry>> {
        let names: Vec<String> = self.names.iter().map(|it| it.trim_matches('/').to_ascii_uppercase()).collect();
        let is_of = |path: &str, name: &str| {
            let path = path.to_ascii_uppercase();
            path == name || path.strip_prefix(name).is_some_and(|rest| rest.starts_with('/'))
        };
        if let Some(missing) = names.iter().find(|name| !entries.iter().any(|it| is_of(&it.path, name))) {
            let there: Vec<&str> =
                entries.iter().filter(|it| !it.is_directory()).map(|it| it.path.as_str()).take(12).collect();
            bail!(
                "`{missing}` is not in the image; there are {}",
                if there.is_empty() { "no files".to_owned() } else { there.join(", ") }
            );
        }
        let files = entries.iter().filter(|it| !it.is_directory());
        Ok(files.filter(|it| names.is_empty() || names.iter().any(|name| is_of(&it.path, name))).collect())
    }

    /// Where a file goes: below the folder, whatever its name on the disk is.
    fn target(&self, path: &str) -> Result<PathBuf> {
        let mut target = self.to.clone();
        for part in path.split('/') {
            let is_plain = !part.is_empty() && part != "." && part != ".." && !part.contains(['\\', ':', '\0']);
            if !is_plain {
                bail!("`{path}` has a name that no file here can have; `reveille image check` tells more");
            }
            target.push(part);
        }
        Ok(target)
    }

    /// Makes the folders that files lie in. None of them may be a link, which could lead elsewhere.
    fn folders(&self, targets: &[PathBuf]) -> Result<()> {
        let make = |folder: &Path| -> Result<()> {
            match fs::symlink_metadata(folder) {
                Ok(there) if there.is_dir() => Ok(()),
                Ok(_) => bail!("`{}` is no folder, and nothing is written through it", folder.display()),
                Err(_) => fs::create_dir(folder).with_context(|| format!("`{}` cannot be made", folder.display())),
            }
        };
        if !self.to.is_dir() {
            make(&self.to)?;
        }
        for target in targets {
            let inside = target.strip_prefix(&self.to).unwrap_or(target).parent().unwrap_or(Path::new(""));
            let mut folder = self.to.clone();
            for part in inside.components() {
                folder.push(part);
                make(&folder)?;
            }
        }
        Ok(())
    }
}
