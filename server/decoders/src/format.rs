//! Standard diskette formats, and which media descriptor stands for which geometry.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::track::Encoding;

/// A standard format. Fields that a block has too carry the block's names.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Format {
    /// Its name in facts and messages.
    pub name: String,
    /// What it is, in a few words.
    pub title: String,
    /// Cylinders of the disk.
    pub cylinders: i64,
    /// Heads.
    pub sides: i64,
    /// Sectors per track.
    pub sectors_per_track: i64,
    /// Bytes per sector.
    pub sector_size: i64,
    /// The media descriptor.
    pub format_identifier: i64,
    /// Sectors per cluster.
    pub sectors_per_cluster: i64,
    /// Sectors before the first FAT.
    pub reserved_sectors: i64,
    /// Number of FATs.
    pub fat_count: i64,
    /// Sectors of one FAT.
    pub sectors_per_fat: i64,
    /// Entries of the root directory.
    pub root_directory_entries: i64,
    /// Clusters of the data area.
    pub clusters: i64,
    /// The first sector of the data area.
    pub data_start: i64,
    /// The size of the medium.
    pub medium: String,
    /// How bits are recorded.
    pub encoding: Encoding,
    /// Data bits a second.
    pub data_rate: u32,
    /// Turns a minute.
    pub rpm: u32,
    /// The usual gap 3 of formatting, in bytes.
    pub gap3: u32,
    /// Where the values are published.
    pub source: String,
    /// Bytes 11 to 29 of a boot sector that the tool wrote.
    pub boot_bytes: Option<String>,
    /// How that image was made.
    pub made_with: Option<String>,
}

impl Format {
    /// All sectors of the disk.
    #[must_use]
    pub fn total_sectors(&self) -> i64 {
        self.cylinders * self.sides * self.sectors_per_track
    }

    /// Sectors of the root directory.
    #[must_use]
    pub fn root_sectors(&self) -> i64 {
        (self.root_directory_entries * 32 + self.sector_size - 1) / self.sector_size
    }

    /// The value that a block's field of this name has in the format.
    #[must_use]
    pub fn value(&self, field: &str) -> Option<i64> {
        Some(match field {
            "sector_size" => self.sector_size,
            "sectors_per_cluster" => self.sectors_per_cluster,
            "reserved_sectors" => self.reserved_sectors,
            "fat_count" => self.fat_count,
            "root_directory_entries" => self.root_directory_entries,
            "total_sectors" => self.total_sectors(),
            "format_identifier" => self.format_identifier,
            "sectors_per_fat" => self.sectors_per_fat,
            "sectors_per_track" => self.sectors_per_track,
            "sides" => self.sides,
            "hidden_sectors" | "total_sectors_32" => 0,
            "cylinders" => self.cylinders,
            "size_code" => i64::from(self.sector_size.ilog2()) - 7,
            // The names of the word block.
            "record_size" => self.sector_size,
            "cluster_sectors" => self.sectors_per_cluster,
            "cluster_bytes" => self.sector_size * self.sectors_per_cluster,
            "root_directory_sectors" => self.root_sectors(),
            "second_fat_start" => self.reserved_sectors + self.sectors_per_fat,
            "data_start" => self.data_start,
            "cluster_count" => self.clusters,
            _ => return None,
        })
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Identifier {
    value: i64,
    cylinders: i64,
    sides: i64,
    sectors_per_track: i64,
    sector_size: i64,
    #[allow(dead_code, reason = "the table names its sources; only people read them")]
    source: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Tables {
    format: Vec<Format>,
    identifier: Vec<Identifier>,
}

// The file is part of the program; the tests below read it.
static TABLES: LazyLock<Tables> =
    LazyLock::new(|| toml::from_str(include_str!("../formats.toml")).unwrap_or_else(|error| panic!("{error}")));

/// The standard formats.
#[must_use]
pub fn formats() -> &'static [Format] {
    &TABLES.format
}

/// The geometries that a media descriptor stands for, as cylinders, heads, sectors per track and bytes per sector.
pub fn identifier_geometries(value: i64) -> impl Iterator<Item = [i64; 4]> {
    let all = TABLES.identifier.iter().filter(move |it| it.value == value);
    all.map(|it| [it.cylinders, it.sides, it.sectors_per_track, it.sector_size])
}

/// The media descriptor of a geometry: the first in the table, F0 for a geometry that is not in it.
#[must_use]
pub fn identifier_for(geometry: [i64; 4]) -> i64 {
    let has = |it: &&Identifier| [it.cylinders, it.sides, it.sectors_per_track, it.sector_size] == geometry;
    TABLES.identifier.iter().find(has).map_or(0xf0, |it| it.value)
}

#[cfg(test)]
mod tests {
    use super::{formats, identifier_for, identifier_geometries};
    use crate::layout;

    /// `boot_bytes` are what mformat 4.0.32 and mkfs.fat 4.2 wrote.
    #[test]
    fn formats_are_what_the_tools_write() {
        let layout = layout("fat-block-19").unwrap();
        let mut count = 0;
        for format in formats() {
            let Some(hex) = &format.boot_bytes else { continue };
            let bytes: Vec<u8> =
                (0..hex.len() / 2).map(|at| u8::from_str_radix(&hex[at * 2..at * 2 + 2], 16).unwrap()).collect();
            let block = layout.decode(&bytes);
            for field in &layout.fields {
                let expected = format.value(&field.name).unwrap();
                assert_eq!(block.number(&field.name), Some(expected), "{} {}", format.name, field.name);
            }
            count += 1;
        }
        assert_eq!(count, 17);
    }

    /// Knowledge-base article Q75131, Standard Floppy Disk Formats: F9 stands for 720 KiB and for 1.2 MB.
    #[test]
    fn a_media_descriptor_stands_for_its_geometries() {
        let f9: Vec<_> = identifier_geometries(0xf9).collect();
        assert_eq!(f9, [[80, 2, 9, 512], [80, 2, 15, 512]]);
        assert_eq!(identifier_for([80, 2, 9, 512]), 0xf9);
        assert_eq!(identifier_for([80, 2, 10, 512]), 0xf0);
    }
}
