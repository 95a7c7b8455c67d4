//! An image as it lies in a file, or on a device that may be read.

use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::Args;
use reveille_decoders::volume::{Arrangement, Geometry, MOST_BYTES, OrderKind};

use super::{Unfit, order_name};

/// The image that is read.
#[derive(Debug, Args)]
pub(super) struct Input {
    /// The image: raw sectors, one behind the other.
    pub(super) image: PathBuf,
    /// The order of its tracks: cylinders (side 0 and side 1 of each in turn), sides, or sides-back.
    #[arg(long, value_name = "ORDER", value_parser = order_name, default_value = "cylinders")]
    pub(super) order: OrderKind,
    /// Reads a block device. Nothing here ever writes to one.
    #[arg(long)]
    device: bool,
}

impl Input {
    /// The bytes of the file, in its own order.
    pub(super) fn read(&self) -> Result<Vec<u8>> {
        read(&self.image, self.device)
    }

    /// Puts the bytes in the order of the volume.
    pub(super) fn arranged(&self, bytes: Vec<u8>, geometry: &Geometry) -> Result<(Arrangement, Vec<u8>)> {
        let arrangement = Arrangement::new(self.order, geometry).map_err(Unfit)?;
        if !arrangement.fits(bytes.len() as u64) {
            let (has, wants) = (bytes.len(), geometry.bytes());
            return Err(Unfit(format!("`{}` has {has} bytes of {wants}, and its tracks cannot be put in order; check it with --order cylinders first", self.image.display())).into());
        }
        let volume = arrangement.from_file(&bytes);
        Ok((arrangement, volume))
    }
}

/// What a path leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Plain,
    Folder,
    BlockDevice,
    Other,
}

/// Looks at what a path leads to, without opening it.
pub(super) fn kind(there: &fs::Metadata) -> Kind {
    #[cfg(unix)]
    if std::os::unix::fs::FileTypeExt::is_block_device(&there.file_type()) {
        return Kind::BlockDevice;
    }
    match there {
        it if it.is_file() => Kind::Plain,
        it if it.is_dir() => Kind::Folder,
        _ => Kind::Other,
    }
}

/// Reads an image whole. How large it is is looked at first, so that a huge file costs nothing.
pub(super) fn read(path: &Path, may_be_device: bool) -> Result<Vec<u8>> {
    let shown = path.display();
    let there = fs::metadata(path).with_context(|| format!("`{shown}` cannot be opened"))?;
    allowed(kind(&there), may_be_device, &shown.to_string())?;
    let mut file = File::open(path).with_context(|| format!("`{shown}` cannot be opened"))?;
    let cannot = || format!("`{shown}` cannot be read");
    let bytes = match kind(&there) {
        Kind::BlockDevice => {
            eprintln!(
                "reveille: warning: `{shown}` is a device; it is only read, but the drive must be write-protected before the disk goes in"
            );
            let bytes = file.seek(SeekFrom::End(0)).with_context(cannot)?;
            file.seek(SeekFrom::Start(0)).with_context(cannot)?;
            bytes
        }
        _ => there.len(),
    };
    if bytes > MOST_BYTES {
        bail!("`{shown}` has {bytes} bytes, expected at most {MOST_BYTES}; is it the image of a diskette?");
    }
    let mut content = Vec::new();
    file.take(MOST_BYTES + 1).read_to_end(&mut content).with_context(cannot)?;
    if content.len() as u64 > MOST_BYTES {
        bail!("`{shown}` has grown above {MOST_BYTES} bytes; is it the image of a diskette?");
    }
    Ok(content)
}

fn allowed(kind: Kind, may_be_device: bool, shown: &str) -> Result<()> {
    match kind {
        Kind::Plain => Ok(()),
        Kind::Folder => bail!("`{shown}` is a folder, expected an image"),
        Kind::BlockDevice if may_be_device => Ok(()),
        Kind::BlockDevice => {
            bail!("`{shown}` is a device; make an image of the disk first, or give --device to read it as it is")
        }
        Kind::Other => bail!("`{shown}` is a pipe or a character device, expected the image in a file"),
    }
}

/// Refuses what no image is written to: anything that is no plain file.
pub(super) fn must_be_writable(path: &Path) -> Result<()> {
    let shown = path.display();
    match fs::metadata(path).map(|it| kind(&it)) {
        Ok(Kind::BlockDevice) => bail!(
            "`{shown}` is a device, and nothing is written to one here; make the image in a file, check it, and write it with an imaging program"
        ),
        Ok(Kind::Other) => bail!("`{shown}` is a pipe or a character device, expected the name of a file"),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::{Kind, allowed};

    #[test]
    fn a_device_is_read_only_if_that_was_said() {
        for (kind, device, is_allowed) in [
            (Kind::Plain, false, true),
            (Kind::BlockDevice, false, false),
            (Kind::BlockDevice, true, true),
            (Kind::Folder, true, false),
            (Kind::Other, true, false),
        ] {
            assert_eq!(allowed(kind, device, "it").is_ok(), is_allowed, "{kind:?}");
        }
    }
}
