//! The rules of the reference, sections 4.1 to 4.4, a second time.

use std::collections::BTreeSet;

/// A parameter block as the FAT specification lays it out; a field that is cut off is none.
#[derive(Clone, Debug, Default)]
pub(crate) struct Fields {
    pub(crate) sector_size: Option<i64>,
    pub(crate) cluster: Option<i64>,
    pub(crate) reserved: Option<i64>,
    pub(crate) fats: Option<i64>,
    pub(crate) root: Option<i64>,
    pub(crate) total_16: Option<i64>,
    pub(crate) identifier: Option<i64>,
    pub(crate) fat_len: Option<i64>,
    pub(crate) track: Option<i64>,
    pub(crate) sides: Option<i64>,
    pub(crate) hidden: Option<i64>,
    pub(crate) total_32: Option<i64>,
    pub(crate) drive: Option<i64>,
    pub(crate) reserved_1: Option<i64>,
    pub(crate) signature: Option<i64>,
    pub(crate) kind: Option<String>,
}

/// Places and widths of the fields of more than one byte: FAT: General Overview of On-Disk Format 1.03, boot sector and BPB.
pub(crate) fn wide_fields(len: usize) -> Vec<(usize, usize)> {
    let mut all = vec![(0, 2), (3, 2), (6, 2), (8, 2), (11, 2)];
    if len >= 19 {
        all.extend([(13, 2), (15, 2)]);
    }
    if len == 19 {
        all.push((17, 2));
    }
    if len >= 25 {
        all.extend([(17, 4), (21, 4)]);
    }
    if len >= 51 {
        all.push((28, 4));
    }
    all
}

pub(crate) fn fields(bytes: &[u8], len: usize) -> Fields {
    let number = |at: usize, width: usize| -> Option<i64> {
        let own = bytes.get(at..at + width).filter(|_| at + width <= len)?;
        Some(own.iter().rev().fold(0, |value, byte| value << 8 | i64::from(*byte)))
    };
    Fields {
        sector_size: number(0, 2),
        cluster: number(2, 1),
        reserved: number(3, 2),
        fats: number(5, 1),
        root: number(6, 2),
        total_16: number(8, 2),
        identifier: number(10, 1),
        fat_len: number(11, 2),
        track: number(13, 2),
        sides: number(15, 2),
        hidden: number(17, if len == 19 { 2 } else { 4 }),
        total_32: number(21, 4),
        drive: number(25, 1),
        reserved_1: number(26, 1),
        signature: number(27, 1),
        kind: (len >= 51).then(|| bytes.get(43..51)).flatten().map(|it| String::from_utf8_lossy(it).into_owned()),
    }
}

pub(crate) fn is_power(number: i64) -> bool {
    number > 0 && number & (number - 1) == 0
}

pub(crate) fn up(number: i64, by: i64) -> i64 {
    (number + by - 1) / by
}

/// Sector sizes that a controller formats: FD179X data sheet; FAT specification from 512 on.
const SECTOR_SIZES: [i64; 6] = [128, 256, 512, 1024, 2048, 4096];

/// The core test for the byte order: reference, section 4.2.
fn core(it: &Fields) -> Option<bool> {
    let size = it.sector_size?;
    if !SECTOR_SIZES.contains(&size) {
        return Some(false);
    }
    let total = match it.total_16? {
        0 => it.total_32.unwrap_or(0),
        total => total,
    };
    let system = it.reserved? + it.fats? * it.fat_len? + up(it.root? * 32, size);
    Some(
        is_power(it.cluster?)
            && (1..=64).contains(&it.reserved?)
            && (1..=4).contains(&it.fats?)
            && (1..=1024).contains(&it.root?)
            && total > 0
            && (1..=256).contains(&it.fat_len?)
            && it.track.is_none_or(|track| (1..=63).contains(&track))
            && it.sides.is_none_or(|sides| (1..=2).contains(&sides))
            && system < total,
    )
}

/// Geometries of a media descriptor: Microsoft Knowledge Base Q75131, MS-DOS 2.0 Device Drivers; F8, FA and FB observed from
/// mtools 4.0.32.
pub(crate) fn geometries(identifier: i64) -> &'static [[i64; 4]] {
    match identifier {
        0xF8 => &[[80, 1, 9, 512]],
        0xF9 => &[[80, 2, 9, 512], [80, 2, 15, 512]],
        0xFA => &[[80, 1, 8, 512]],
        0xFB => &[[80, 2, 8, 512]],
        0xFC => &[[40, 1, 9, 512]],
        0xFD => &[[40, 2, 9, 512], [77, 2, 26, 128], [77, 1, 26, 128]],
        0xFE => &[[40, 1, 8, 512], [77, 1, 26, 128], [77, 2, 8, 1024]],
        0xFF => &[[40, 2, 8, 512]],
        _ => &[],
    }
}

/// The codes that the rules of the reference, sections 4.1 to 4.4, give for a block of a layout on a diskette whose cylinders
/// nothing else tells.
///
/// Where the reference leaves a choice, it is read so: a total that is no whole number of cylinders (F17) has no number of
/// cylinders for F20 and F27 to look at; a FAT of length 0 is F31 and not F22 as well.
pub(crate) fn rules(bytes: &[u8], len: usize, is_odd_before_word: bool) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut report = |code: &str, holds: bool| {
        if holds {
            found.insert(code.to_owned());
        }
    };
    report("block-001", bytes.len() < len);
    report("block-002", bytes.len() > len);
    report("block-003", is_odd_before_word);
    let all = |filler: u8| bytes.iter().all(|byte| *byte == filler);
    if all(0) || all(0xFF) {
        report("block-008", true);
        return found;
    }
    let it = fields(bytes, len);
    let mut swapped = bytes.to_vec();
    for (at, width) in wide_fields(len) {
        if let Some(own) = swapped.get_mut(at..at + width) {
            own.reverse();
        }
    }
    if core(&it) == Some(false) && core(&fields(&swapped, len)) == Some(true) {
        report("block-006", true);
        return found;
    }
    report("block-007", it.reserved_1.is_some_and(|it| it != 0));
    report("block-008", it.cluster == Some(0xFF));

    let legal_size = it.sector_size.filter(|size| SECTOR_SIZES.contains(size));
    report("fat-001", it.sector_size.is_some() && legal_size.is_none());
    report("fat-002", matches!(it.sector_size, Some(128 | 256)));
    let legal_cluster = it.cluster.filter(|it| is_power(*it));
    report("fat-003", it.cluster.is_some() && legal_cluster.is_none());
    if let (Some(size), Some(cluster)) = (legal_size, legal_cluster) {
        report("fat-004", size * cluster > 32768);
    }
    report("fat-005", it.reserved == Some(0));
    report("fat-006", it.reserved > Some(1));
    report("fat-007", it.fats == Some(0));
    report("fat-008", it.fats.is_some_and(|it| it >= 1 && it != 2));
    report("fat-009", it.root == Some(0));
    if let (Some(root), Some(size)) = (it.root, legal_size) {
        report("fat-010", root * 32 % size != 0);
    }
    let (small, large) = (it.total_16, it.total_32.unwrap_or(0));
    report("fat-011", small == Some(0) && large == 0);
    report("fat-012", small.is_some_and(|small| small != 0 && large != 0 && small != large));
    report(
        "fat-013",
        small.is_some_and(|small| small != 0 && small == large || small == 0 && (1..65536).contains(&large)),
    );
    let total = small.and_then(|small| [small, large].into_iter().find(|it| *it != 0));

    let legal_track = it.track.filter(|it| (1..=63).contains(it));
    report("fat-014", it.track.is_some() && legal_track.is_none());
    report("fat-015", legal_track > Some(36));
    let legal_sides = it.sides.filter(|it| matches!(it, 1 | 2));
    report("fat-016", it.sides.is_some() && legal_sides.is_none());
    let mut cylinders = None;
    if let (Some(track), Some(sides), Some(total)) = (legal_track, legal_sides, total) {
        report("fat-017", total % (track * sides) != 0);
        if total % (track * sides) == 0 {
            let whole = total / (track * sides);
            // Drives of those numbers of cylinders: Q75131, fdutils 5.6 manual.
            report("fat-020", !matches!(whole, 35 | 40 | 41 | 42 | 77 | 80..=84));
            report("track-009", whole > 84);
            cylinders = Some(whole);
        }
    }
    if let Some(identifier) = it.identifier {
        report("fat-026", identifier != 0xF0 && identifier < 0xF8);
        if identifier >= 0xF8
            && let (Some(size), Some(total)) = (legal_size, total)
        {
            let listed = geometries(identifier);
            if len == 13 {
                report("fat-027", !listed.iter().any(|[c, h, s, bytes]| c * h * s == total && *bytes == size));
            } else if let (Some(cylinders), Some(sides), Some(track)) = (cylinders, legal_sides, legal_track) {
                report("fat-027", !listed.contains(&[cylinders, sides, track, size]));
            }
        }
    }
    report("fat-028", it.hidden.is_some_and(|it| it != 0));
    report("fat-031", it.fat_len == Some(0));

    let mut bits = None;
    let mut is_wrong_type = false;
    let kind = it.kind.clone().unwrap_or_default();
    if let (Some(size), Some(reserved), Some(fats), Some(fat_len), Some(root), Some(total)) =
        (legal_size, it.reserved, it.fats, it.fat_len, it.root, total)
    {
        let system = reserved + fats * fat_len + up(root * 32, size);
        report("fat-021", system >= total);
        if let Some(cluster) = legal_cluster.filter(|_| system < total) {
            let clusters = (total - system) / cluster;
            let own_bits = if clusters < 4085 { 12 } else { 16 };
            bits = Some(own_bits);
            let fat_bytes = if own_bits == 12 { up((clusters + 2) * 3, 2) } else { (clusters + 2) * 2 };
            let need = up(fat_bytes, size);
            report("fat-022", fat_len > 0 && fat_len < need);
            report("fat-023", fat_len > need);
            is_wrong_type = clusters >= 4085 && kind.starts_with("FAT12");
            report("fat-024", is_wrong_type);
            report("fat-025", (clusters - 4085).abs() <= 16 || (clusters - 65525).abs() <= 16);
            report("fat-029", (total - system) % cluster != 0);
            // 4084 clusters and 2 reserved entries of one and a half bytes.
            report("fat-030", own_bits == 12 && fat_len > up(6129, size));
        }
    }
    report("boot-008", kind.starts_with("FAT") && !matches!(it.signature, Some(0x28 | 0x29)));
    if let Some(bits) = bits {
        let names_another = [12, 16, 32].iter().any(|it| *it != bits && kind.starts_with(&format!("FAT{it}")));
        report("boot-009", it.signature == Some(0x29) && names_another && !is_wrong_type);
    }
    report("boot-010", it.drive.is_some_and(|it| it >= 0x80));
    found
}
