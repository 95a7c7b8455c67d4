//! The rules for word and CP/M blocks, sections 2 and 4.1 to 4.5 of the reference, a second time.
//!
//! Sources: C-binding page of the get-BPB call (fields of the word block); FAT: General Overview of On-Disk Format 1.03 (length of a
//! FAT); CP/M Operating System Manual 6.10 (CP/M block); CP/M-68K source of 1983 (its fill byte, and a directory of no blocks);
//! from memory: the 8 MiB of CP/M 2.2, PSH and PHM of CP/M 3, bit 1 of the flags.
//!
//! Where section 4.1 leaves a choice, it is read so: a value that one rule calls impossible (a root directory of no records, a first
//! FAT before record 1, a directory that fills no record, a mask that is not its shift's) is no legal input of another rule.

use std::collections::BTreeSet;

use crate::rules::{is_power, up};

/// The fields of the word block, in order, a word each, high byte first: reference, section 2.1.
pub(crate) const WORD_FIELDS: [&str; 9] = [
    "record_size",
    "cluster_sectors",
    "cluster_bytes",
    "root_directory_sectors",
    "sectors_per_fat",
    "second_fat_start",
    "data_start",
    "cluster_count",
    "flags",
];

/// The codes for a word block at an even address.
pub(crate) fn word_rules(block: &[i64; 9]) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut report = |code: &str, holds: bool| {
        if holds {
            found.insert(code.to_owned());
        }
    };
    let is_record = |size: i64| is_power(size) && (128..=16384).contains(&size);
    let core =
        |it: &[i64; 9]| is_record(it[0]) && is_power(it[1]) && it[0] * it[1] == it[2] && (1..1024).contains(&it[6]);
    let swapped = block.map(|it| (it & 0xFF) << 8 | it >> 8);
    if !core(block) && core(&swapped) {
        report("block-006", true);
        return found;
    }
    let [record, cluster, cluster_bytes, root, fat, second, data, clusters, flags] = *block;
    report("word-002", !is_record(record));
    report("word-003", !is_power(cluster));
    report("word-001", is_record(record) && is_power(cluster) && cluster_bytes != record * cluster);
    report("word-004", root == 0);
    report("word-005", second - fat < 1);
    report("word-006", second - fat > 1);
    report("word-007", root != 0 && second - fat >= 1 && data != second + fat + root);
    let is_wide = flags % 2 == 1;
    let entries = clusters + 2;
    let fat_bytes = if is_wide { entries * 2 } else { up(entries * 3, 2) };
    report("word-008", is_record(record) && fat * record < fat_bytes);
    report("word-009", !is_wide && clusters > 4084);
    report("word-010", is_wide && clusters <= 4084);
    report("word-011", flags > 3);
    report("word-012", flags / 2 % 2 == 1);
    found
}

/// A field of the CP/M block: its name, its offset in 15 and in 16 bytes, its width. Reference, section 2.3.
pub(crate) const CPM_FIELDS: [(&str, usize, usize, usize); 10] = [
    ("spt", 0, 0, 2),
    ("bsh", 2, 2, 1),
    ("blm", 3, 3, 1),
    ("exm", 4, 4, 1),
    ("dsm", 5, 6, 2),
    ("drm", 7, 8, 2),
    ("al0", 9, 10, 1),
    ("al1", 10, 11, 1),
    ("cks", 11, 12, 2),
    ("off", 13, 14, 2),
];

/// A CP/M block; its fields in the order of [`CPM_FIELDS`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Cpm {
    pub(crate) fields: [i64; 10],
    /// The fill byte of the version for the 68000, which has the high byte first.
    pub(crate) fill: Option<i64>,
    /// PSH and PHM of CP/M 3.
    pub(crate) physical: Option<(i64, i64)>,
}

impl Cpm {
    /// The number of its bytes.
    pub(crate) fn len(&self) -> usize {
        15 + usize::from(self.fill.is_some()) + 2 * usize::from(self.physical.is_some())
    }

    /// Its bytes.
    pub(crate) fn bytes(&self) -> Vec<u8> {
        let mut bytes = vec![0; self.len()];
        for ((_, small, large, width), value) in CPM_FIELDS.into_iter().zip(self.fields) {
            let own = &value.to_be_bytes()[8 - width..];
            if self.fill.is_some() {
                bytes[large..large + width].copy_from_slice(own);
            } else {
                bytes[small..small + width].copy_from_slice(own);
                bytes[small..small + width].reverse();
            }
        }
        let byte = |value: i64| value.to_le_bytes()[0];
        if let Some(fill) = self.fill {
            bytes[5] = byte(fill);
        }
        if let Some((shift, mask)) = self.physical {
            (bytes[15], bytes[16]) = (byte(shift), byte(mask));
        }
        bytes
    }
}

/// The codes for a CP/M block whose disk nothing else describes.
pub(crate) fn cpm_rules(block: &Cpm, is_fixed: bool) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut report = |code: &str, holds: bool| {
        if holds {
            found.insert(code.to_owned());
        }
    };
    let [spt, bsh, blm, exm, dsm, drm, al0, al1, cks, off] = block.fields;
    report("block-007", block.fill.is_some_and(|it| it != 0));
    let is_shift = (3..=7).contains(&bsh);
    report("cpm-001", !is_shift);
    let allocation = al0 * 256 + al1;
    let ones = allocation.count_ones();
    let is_run = allocation == (0..i64::from(ones)).map(|it| 1 << (15 - it)).sum::<i64>();
    report("cpm-006", !is_run);
    let is_none = block.fill.is_some() && allocation == 0;
    report("cpm-009", is_none);
    let entries = (drm % 4 == 3).then_some(drm + 1);
    report("cpm-010", entries.is_none());
    report("cpm-012", entries.is_some_and(|it| cks != 0 && cks != it / 4));
    report("cpm-013", !is_fixed && cks == 0);
    report("cpm-014", is_fixed && cks != 0);
    report("cpm-018", off == 0);
    let sector_records =
        block.physical.filter(|(shift, mask)| *shift <= 8 && *mask == (1 << shift) - 1).map(|it| 1 << it.0);
    report("cpm-020", spt == 0 || sector_records.is_some_and(|it: i64| spt % it != 0));
    report("cpm-023", block.physical.is_some() && sector_records.is_none());
    if !is_shift {
        return found;
    }
    let block_bytes = 128 << bsh;
    report("cpm-002", blm != (1 << bsh) - 1);
    report("cpm-003", bsh == 3 && dsm > 255);
    let extent = match (dsm < 256, bsh) {
        (true, _) => Some((1 << (bsh - 3)) - 1),
        (false, 3) => None,
        (false, _) => Some((1 << (bsh - 4)) - 1),
    };
    report("cpm-004", extent.is_some_and(|it| exm > it));
    report("cpm-005", extent.is_some_and(|it| exm < it));
    if let Some(entries) = entries {
        let needed = up(entries * 32, block_bytes);
        report("cpm-007", is_run && !is_none && i64::from(ones) < needed);
        report("cpm-008", is_run && i64::from(ones) > needed);
        report("cpm-011", entries * 32 % block_bytes != 0);
        report("cpm-019", dsm < needed);
    }
    report("cpm-022", block.fill.is_none() && block.physical.is_none() && (dsm + 1) * block_bytes > 8 << 20);
    found
}
