//! Where the parts of a FAT volume lie, worked out from the values of a parameter block.

use std::fmt;

use crate::Names;

/// The most bytes of a volume that is read or made here: far above any diskette, and small enough to keep in memory.
pub const MOST_BYTES: u64 = 128 << 20;

/// Why values of a block make no volume: what was found, and what was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoVolume(pub String);

impl fmt::Display for NoVolume {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for NoVolume {}

/// The geometry of a FAT12 or FAT16 volume. Sectors of 128 and 256 bytes and any number of reserved sectors are among them.
///
/// Regions: *FAT: General Overview of On-Disk Format* 1.03, FAT Type Determination.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Geometry {
    /// Bytes of a sector.
    pub sector_bytes: u32,
    /// Sectors of a cluster, a power of two.
    pub cluster_sectors: u32,
    /// Sectors before the first FAT.
    pub reserved_sectors: u32,
    /// Number of FATs, at least 1.
    pub fat_count: u32,
    /// Sectors of one FAT, at least 1.
    pub fat_sectors: u32,
    /// Entries of the root directory, at least 1.
    pub root_entries: u32,
    /// All sectors.
    pub total_sectors: u32,
    /// The media descriptor.
    pub media: u8,
    /// Sectors of a track, where the block says it.
    pub track_sectors: Option<u32>,
    /// Heads, where the block says it.
    pub sides: Option<u32>,
    /// Sectors before the volume.
    pub hidden_sectors: u32,
}

impl Geometry {
    /// The geometry that values of a FAT block give. A legal block of a volume that is too large to be read here gives none.
    ///
    /// # Errors
    /// The first value that makes no volume of FAT12 or FAT16.
    pub fn from_names(names: &dyn Names) -> Result<Self, NoVolume> {
        let number = |name: &str| names.value(name).and_then(|it| it.number());
        let wanted = |name: &str, least: i64, most: i64| match number(name) {
            None => Err(NoVolume(format!("`{name}` is not known"))),
            Some(value) => u32::try_from(value)
                .ok()
                .filter(|_| (least..=most).contains(&value))
                .ok_or_else(|| NoVolume(format!("`{name}` is {value}, expected {least} to {most}"))),
        };
        let sector_bytes = wanted("sector_size", 128, 4096)?;
        let cluster_sectors = wanted("sectors_per_cluster", 1, 128)?;
        for (name, value) in [("sector_size", sector_bytes), ("sectors_per_cluster", cluster_sectors)] {
            if !value.is_power_of_two() {
                return Err(NoVolume(format!("`{name}` is {value}, expected a power of two")));
            }
        }
        let found = Self {
            sector_bytes,
            cluster_sectors,
            reserved_sectors: wanted("reserved_sectors", 0, 0xffff)?,
            fat_count: wanted("fat_count", 1, 0xff)?,
            fat_sectors: wanted("sectors_per_fat", 1, 0xffff)?,
            root_entries: wanted("root_directory_entries", 1, 0xffff)?,
            total_sectors: wanted("total", 1, i64::from(u32::MAX))?,
            media: wanted("format_identifier", 0, 0xff)? as u8,
            track_sectors: number("legal_sectors_per_track").and_then(|it| u32::try_from(it).ok()),
            sides: number("legal_sides").and_then(|it| u32::try_from(it).ok()),
            hidden_sectors: number("hidden_sectors").and_then(|it| u32::try_from(it).ok()).unwrap_or(0),
        };
        if found.bytes() > MOST_BYTES {
            let text = format!("the volume has {} bytes, expected at most {MOST_BYTES}", found.bytes());
            return Err(NoVolume(text));
        }
        if found.data_start() >= u64::from(found.total_sectors) {
            let (start, total) = (found.data_start(), found.total_sectors);
            return Err(NoVolume(format!("reserved sectors, FATs and root directory take {start} sectors of {total}")));
        }
        if found.clusters() == 0 {
            return Err(NoVolume("there is no room for one cluster".into()));
        }
        if found.clusters() >= 65_525 {
            let text = format!("{} clusters make a FAT32, expected at most 65524", found.clusters());
            return Err(NoVolume(text));
        }
        Ok(found)
    }

    /// Bytes of the volume.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        u64::from(self.total_sectors) * u64::from(self.sector_bytes)
    }

    /// The first sector of a FAT, counted from 0.
    #[must_use]
    pub fn fat_start(&self, copy: u32) -> u64 {
        u64::from(self.reserved_sectors) + u64::from(copy) * u64::from(self.fat_sectors)
    }

    /// The first sector of the root directory.
    #[must_use]
    pub fn root_start(&self) -> u64 {
        self.fat_start(self.fat_count)
    }

    /// Sectors of the root directory.
    #[must_use]
    pub fn root_sectors(&self) -> u64 {
        (u64::from(self.root_entries) * 32).div_ceil(u64::from(self.sector_bytes))
    }

    /// The first sector of cluster 2.
    #[must_use]
    pub fn data_start(&self) -> u64 {
        self.root_start() + self.root_sectors()
    }

    /// How many clusters there are. They are numbered from 2 on.
    #[must_use]
    pub fn clusters(&self) -> u32 {
        let data = u64::from(self.total_sectors).saturating_sub(self.data_start());
        (data / u64::from(self.cluster_sectors)) as u32
    }

    /// Bits of a FAT entry: 12 or 16, from the number of clusters alone.
    #[must_use]
    pub fn bits(&self) -> u32 {
        if self.clusters() < 4085 { 12 } else { 16 }
    }

    /// Bytes that one FAT needs.
    #[must_use]
    pub fn fat_bytes_needed(&self) -> u64 {
        (u64::from(self.clusters() + 2) * u64::from(self.bits())).div_ceil(8)
    }

    /// Bytes of one FAT.
    #[must_use]
    pub fn fat_bytes(&self) -> u64 {
        u64::from(self.fat_sectors) * u64::from(self.sector_bytes)
    }

    /// Bytes of a cluster.
    #[must_use]
    pub fn cluster_bytes(&self) -> u32 {
        self.sector_bytes * self.cluster_sectors
    }

    /// The first sector of a cluster.
    #[must_use]
    pub fn cluster_sector(&self, cluster: u32) -> u64 {
        self.data_start() + u64::from(cluster.saturating_sub(2)) * u64::from(self.cluster_sectors)
    }

    /// The first byte of a cluster.
    #[must_use]
    pub fn cluster_offset(&self, cluster: u32) -> u64 {
        self.cluster_sector(cluster) * u64::from(self.sector_bytes)
    }

    /// The cluster that a byte of the volume lies in.
    #[must_use]
    pub fn cluster_at(&self, offset: u64) -> Option<u32> {
        let sector = (offset / u64::from(self.sector_bytes)).checked_sub(self.data_start())?;
        let cluster = sector / u64::from(self.cluster_sectors);
        (cluster < u64::from(self.clusters())).then_some(cluster as u32 + 2)
    }
}
