//! Tables of different kinds that describe one disk: word blocks beside FAT blocks, CP/M blocks beside geometry and sector orders.

use crate::blocks::BlockFact;
use crate::constants::{ConstantsFact, Role};
use crate::finding::Finding;
use crate::rules::evidence;

/// What a word block says in other words than a FAT block of the same disk: the word block's name, the FAT block's.
const SAME: &[(&str, &str)] = &[
    ("record_size", "sector_size"),
    ("cluster_sectors", "sectors_per_cluster"),
    ("cluster_bytes", "cluster_bytes"),
    ("root_directory_sectors", "root_sectors"),
    ("sectors_per_fat", "sectors_per_fat"),
    ("second_fat_start", "second_fat_start"),
    ("data_start", "data_start"),
    ("cluster_count", "clusters"),
];

/// A word block whose nearest FAT block differs from it in less than half of what both say.
pub(super) fn word_beside_fat(readable: &[&BlockFact]) -> Vec<Finding> {
    let of = |family: &str| readable.iter().copied().filter(|it| it.layout.family == family).collect::<Vec<_>>();
    let (words, fats) = (of("word"), of("fat"));
    let mut found = Vec::new();
    for word in words {
        let differing = |fat: &BlockFact| {
            let known =
                SAME.iter().filter_map(|(own, other)| Some((*own, word.number(own)?, *other, fat.number(other)?)));
            known.filter(|it| it.1 != it.3).collect::<Vec<_>>()
        };
        let Some((nearest, differences)) = fats
            .iter()
            .map(|fat| (*fat, differing(fat)))
            .min_by_key(|it| it.1.len())
            .filter(|it| it.1.len() * 2 < SAME.len())
        else {
            continue;
        };
        let Some((own, value, other, expected)) = differences.first().copied() else { continue };
        let slip = if own == "cluster_count" && value - expected == 2 {
            "; the two reserved entries of the FAT seem to be counted"
        } else {
            ""
        };
        let message = format!(
            "`{}` and `{}` describe one disk, but `{own}` is {value} here and {expected} there{slip}; make them agree, the one that existing disks were made with is right",
            word.subject, nearest.subject
        );
        let place =
            |name: &str| if nearest.layout.field(name).is_some() { evidence(nearest, name) } else { nearest.at };
        let mut finding = Finding::new("cross-001", evidence(word, own), message)
            .related(place(other), format!("`{}`: {expected} follows from it", nearest.subject));
        for (own, value, _, expected) in differences.iter().skip(1) {
            finding = finding.related(evidence(word, own), format!("`{own}` is {value} here, {expected} there"));
        }
        found.push(finding);
    }
    found
}

/// A geometry that the source gives apart from a block: heads are 1 where nothing says more.
struct Geometry<'a> {
    constants: &'a ConstantsFact,
    tracks: Option<i64>,
    sides: i64,
    records: Option<i64>,
    sector_bytes: Option<i64>,
}

impl<'a> Geometry<'a> {
    fn new(constants: &'a ConstantsFact) -> Self {
        let sides = constants.value(Role::Sides).unwrap_or(1);
        let sector_bytes = constants.value(Role::SectorSize);
        let records =
            constants.value(Role::SectorsPerTrack).zip(sector_bytes).map(|(sectors, bytes)| sectors * bytes / 128);
        let tracks = constants.value(Role::Cylinders).map(|it| it * sides);
        Self { constants, tracks, sides, records, sector_bytes }
    }

    /// Whether a CP/M block's records per track are those of one side or of a cylinder.
    fn fits(&self, spt: i64) -> bool {
        self.records.is_none_or(|records| spt == records || spt == records * self.sides)
    }
}

/// Gives CP/M blocks the tracks and sectors that constants know, and tells where the two disagree.
pub(super) fn cpm_beside_constants(blocks: &mut [BlockFact], constants: &[ConstantsFact]) -> Vec<Finding> {
    let geometries: Vec<Geometry<'_>> = constants.iter().map(Geometry::new).collect();
    let mut own: Vec<&mut BlockFact> =
        blocks.iter_mut().filter(|it| it.layout.family == "cpm" && it.is_readable()).collect();
    let (is_only, mut found) = (own.len() == 1 && geometries.len() == 1, Vec::new());
    for block in &mut own {
        let Some(spt) = block.number("spt") else { continue };
        let mut fitting = geometries.iter().filter(|it| it.records.is_some() && it.fits(spt));
        let chosen = match (fitting.next(), fitting.next()) {
            (Some(only), None) => only,
            (None, _) if is_only => &geometries[0],
            _ => continue,
        };
        if let Some(bytes) = chosen.sector_bytes {
            block.know("physical_sector_bytes", bytes);
        }
        if let Some(tracks) = chosen.tracks {
            // A block whose records are those of a whole cylinder counts cylinders as its tracks.
            let by_cylinder = chosen.sides > 1 && chosen.records.is_some_and(|it| spt == it * chosen.sides);
            block.know("tracks", if by_cylinder { tracks / chosen.sides } else { tracks });
        }
        if let Some(records) = chosen.records.filter(|_| !chosen.fits(spt)) {
            let both = if chosen.sides > 1 {
                format!(", or {} for both sides", records * chosen.sides)
            } else {
                String::new()
            };
            let message = format!(
                "`spt` of `{}` is {spt} records of 128 bytes, but the constants' sectors make {records}{both}: SPT counts records, not sectors",
                block.subject
            );
            let mut finding = Finding::new("cross-004", evidence(block, "spt"), message);
            for (_, name, value, at) in &chosen.constants.values {
                finding = finding.related(*at, format!("`{name}` is {value}"));
            }
            found.push(finding);
        }
    }
    found
}

/// An order of sectors that has another number of places than the one CP/M block has sectors on a track.
pub(super) fn order_beside_cpm(readable: &[&BlockFact]) -> Option<Finding> {
    let only = |family: &str| {
        let mut all = readable.iter().copied().filter(|it| it.layout.family == family);
        all.next().filter(|_| all.next().is_none())
    };
    let (cpm, order) = (only("cpm")?, only("order")?);
    let sectors = cpm.number("spt")? / cpm.number("sector_records").unwrap_or(1).max(1);
    let slots = order.number("slots").filter(|it| *it != sectors)?;
    let message = format!(
        "`{}` has {slots} places, but a track of `{}` has {sectors} sectors; expected as many: sectors are skipped, or the table's neighbour is read",
        order.subject, cpm.subject
    );
    let finding = Finding::new("cpm-021", order.at, message);
    Some(finding.related(evidence(cpm, "spt"), format!("`spt` is {}", cpm.number("spt")?)))
}
