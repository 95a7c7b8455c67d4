//! Volumes that are written are read the same, and each damage is found by its name.

use proptest::collection::vec;
use proptest::prelude::{Strategy, any};

use super::{
    Arrangement, Geometry, Link, Moment, NewEntry, ORDERS, OrderKind, Trouble, Volume, Written, raw_label, raw_name,
    read, write,
};
use crate::{Scalar, Values, family, formats, layout};

/// The geometry of a standard format.
fn standard(name: &str) -> Geometry {
    let format = formats().iter().find(|it| it.name == name).unwrap();
    let layout = layout("fat-block-19").unwrap();
    let bytes: Vec<u8> =
        layout.fields.iter().flat_map(|it| layout.encode(it, format.value(&it.name).unwrap())).collect();
    Geometry::from_names(&Values::new(family("fat").unwrap(), &layout.decode(&bytes), &[])).unwrap()
}

fn path(text: &str) -> Vec<[u8; 11]> {
    text.split('/').map(|it| raw_name(it).unwrap()).collect()
}

fn written(geometry: &Geometry, files: &[(&str, &[u8])]) -> Written {
    let files: Vec<_> = files.iter().map(|(name, bytes)| NewEntry { path: path(name), bytes }).collect();
    write(geometry, &files, Some(raw_label("TIDE").unwrap()), "1986-03-03".parse().unwrap()).unwrap()
}

/// Data starts and clusters of the standard formats: the table's own sources.
#[test]
fn regions_of_every_standard_format_lie_where_its_source_puts_them() {
    for format in formats() {
        let geometry = standard(&format.name);
        assert_eq!(geometry.data_start() as i64, format.data_start, "{}", format.name);
        assert_eq!(i64::from(geometry.clusters()), format.clusters, "{}", format.name);
        assert_eq!(geometry.bits(), 12);
        assert!(geometry.fat_bytes_needed() <= geometry.fat_bytes());
    }
}

#[test]
fn every_standard_format_gives_its_files_back() {
    let (a, b) = (vec![0x5a; 3000], b"tides".to_vec());
    for format in formats() {
        let geometry = standard(&format.name);
        let made = written(&geometry, &[("SKERRY.SYS", &a), ("LOG/MARCH.DAT", &b), ("EMPTY", b"")]);
        let volume = read(&made.bytes, &geometry);
        assert_eq!((volume.problems.as_slice(), volume.lost.as_slice()), (&[][..], &[][..]), "{}", format.name);
        assert_eq!(volume.free, made.free);
        let content = |name: &str| volume.content(&made.bytes, &geometry, volume.entry(name).unwrap());
        assert_eq!(
            (content("SKERRY.SYS"), content("LOG/MARCH.DAT"), content("EMPTY")),
            (a.clone(), b.clone(), Vec::new())
        );
        assert!(volume.entries.iter().all(|it| it.is_contiguous() && it.is_sound));
        assert_eq!(volume.label, Some(*b"TIDE       "));
        assert_eq!(volume.entries[0].first_cluster, 2, "the first file is the first on the disk");
    }
}

#[test]
fn what_does_not_fit_is_refused() {
    let geometry = standard("160k");
    let bytes = vec![1; 313 * 512 + 1];
    let one =
        |bytes: &[u8]| write(&geometry, &[NewEntry { path: path("A"), bytes }], None, Moment::default()).map(|_| ());
    assert_eq!(one(&bytes[1..]), Ok(()));
    assert!(one(&bytes).unwrap_err().contains("314 clusters"));
    let names: Vec<_> = (0..65).map(|it| path(&format!("F{it}"))).collect();
    let files: Vec<_> = names.iter().map(|path| NewEntry { path: path.clone(), bytes: b"" }).collect();
    assert!(write(&geometry, &files[..64], None, Moment::default()).is_ok());
    assert!(write(&geometry, &files[..64], Some(*b"LABEL      "), Moment::default()).is_err());
    assert!(write(&geometry, &files, None, Moment::default()).is_err());
    for twice in [["A", "A"], ["A", "A/B"], ["A/B", "A"]] {
        let files: Vec<_> = twice.iter().map(|it| NewEntry { path: path(it), bytes: b"" }).collect();
        assert!(write(&geometry, &files, None, Moment::default()).is_err(), "{twice:?}");
    }
}

/// A volume of 160 KiB with a file of four clusters, one of two in a directory, and what a change to it makes of them.
fn damaged(change: impl FnOnce(&mut Vec<u8>)) -> Volume {
    let geometry = standard("160k");
    let mut made = written(&geometry, &[("BOOT.SYS", &[7; 2048]), ("LOG/DAY", &[8; 1024])]).bytes;
    change(&mut made);
    read(&made, &geometry)
}

fn links(bytes: &mut [u8], links: &[(u32, u32)]) {
    for (cluster, value) in links {
        super::fat::set(&mut bytes[512..1024], 12, *cluster, *value);
    }
}

/// The root directory of 160 KiB starts at sector 3: boot sector, two FATs of one sector. Its first entry is the label.
const BOOT_ENTRY: usize = 3 * 512 + 32;
const LOG_ENTRY: usize = BOOT_ENTRY + 32;

#[test]
fn each_damage_of_a_chain_is_told_by_its_name() {
    let troubles = |changes: &[(u32, u32)]| -> Vec<Trouble> {
        damaged(|it| links(it, changes)).problems.into_iter().map(|it| it.trouble).collect()
    };
    assert_eq!(troubles(&[]), []);
    assert_eq!(troubles(&[(4, 2)]), [Trouble::Loop { from: 4, to: 2 }]);
    assert_eq!(troubles(&[(3, 3)]), [Trouble::Loop { from: 3, to: 3 }]);
    // The file in the directory is followed after the root: it is the one that runs into the other.
    let crossed = Trouble::CrossLink { cluster: 4, other: "BOOT.SYS".into() };
    assert_eq!(troubles(&[(7, 4)]), [crossed]);
    assert_eq!(troubles(&[(3, 0x500)]), [Trouble::Outside { from: 3, to: 0x500 }]);
    assert_eq!(troubles(&[(3, 0)]), [Trouble::Broken { cluster: 3, link: Link::Free }]);
    assert_eq!(troubles(&[(3, 0xff7)]), [Trouble::Broken { cluster: 3, link: Link::Bad }]);
    assert_eq!(troubles(&[(3, 1)]), [Trouble::Broken { cluster: 3, link: Link::Reserved(1) }]);
    assert_eq!(troubles(&[(3, 0xfff)]), [Trouble::Short { clusters: 2, wanted: 4 }]);
    assert_eq!(troubles(&[(5, 0x100), (0x100, 0xfff)]), [Trouble::Long { clusters: 5, wanted: 4 }]);
}

#[test]
fn each_damage_of_a_directory_is_told_by_its_name() {
    let troubles = |at: usize, bytes: &[u8]| -> Vec<Trouble> {
        let change = |it: &mut Vec<u8>| it[at..at + bytes.len()].copy_from_slice(bytes);
        damaged(change).problems.into_iter().map(|it| it.trouble).collect()
    };
    assert_eq!(troubles(BOOT_ENTRY + 26, &[0, 0]), [Trouble::NoCluster]);
    assert_eq!(troubles(BOOT_ENTRY + 26, &[0, 9]), [Trouble::Outside { from: 0, to: 0x900 }]);
    assert_eq!(troubles(BOOT_ENTRY + 28, &[0, 0]), [Trouble::NoLength]);
    assert_eq!(troubles(BOOT_ENTRY, b"b"), [Trouble::IllegalName]);
    assert_eq!(troubles(LOG_ENTRY, b"BOOT    SYS"), [Trouble::DuplicateName]);
    assert_eq!(troubles(BOOT_ENTRY + 24, &[0xff, 0xff]), [Trouble::ImpossibleDate]);
    assert!(matches!(troubles(BOOT_ENTRY + 11, &[0xe0])[..], [Trouble::Attributes(_)]));
    assert!(matches!(troubles(LOG_ENTRY + 28, &[1])[..], [Trouble::Attributes(_)]));
    assert!(matches!(troubles(BOOT_ENTRY + 11, &[8])[..], [Trouble::Attributes(_)]));
    assert_eq!(troubles(LOG_ENTRY + 32 * 3, b"GHOST      "), [Trouble::BehindTheEnd(1)]);
    // The directory has cluster 6, its file 7 and 8.
    let log = 7 * 512 + 4 * 512;
    assert!(matches!(troubles(log + 26, &[9])[..], [Trouble::DotEntries(_)]));
    assert!(matches!(troubles(log + 32, b"X ")[..], [Trouble::NoCluster, Trouble::DotEntries(_)]));
}

#[test]
fn lost_bad_and_missing_clusters_are_told() {
    let volume = damaged(|it| links(it, &[(0x100, 0x101), (0x101, 0xfff), (0x110, 0x110), (0x120, 0xff7)]));
    let lost: Vec<_> = volume.lost.iter().map(|it| (it.first, it.count)).collect();
    assert_eq!((lost.as_slice(), volume.bad.as_slice()), (&[(0x100, 2), (0x110, 1)][..], &[0x120][..]));
    let volume = damaged(|it| it[BOOT_ENTRY] = 0xe5);
    assert_eq!(volume.lost.iter().map(|it| (it.first, it.count)).collect::<Vec<_>>(), [(2, 4)]);
    let volume = damaged(|it| it.truncate(7 * 512 + 1024));
    assert!(volume.problems.iter().any(|it| it.trouble == Trouble::Cut { cluster: 4 }));
    let volume = damaged(|it| it.truncate(600));
    assert!(volume.entries.is_empty());
}

/// Offsets worked out by hand from what each order says: 2 cylinders of 2 sides would be tracks 0 1 2 3.
#[test]
fn orders_put_tracks_where_they_say_and_back() {
    let geometry = standard("720k");
    let volume: Vec<u8> = (0..737_280_usize + 100).map(|it| (it / 4608) as u8).collect();
    let expected = |kind: OrderKind| match kind {
        OrderKind::ByCylinder => [0, 1, 2, 158, 159],
        OrderKind::BySide => [0, 2, 4, 157, 159],
        OrderKind::BySideAndBack => [0, 2, 4, 3, 1],
    };
    for order in ORDERS {
        let arrangement = Arrangement::new(order.kind, &geometry).unwrap();
        let file = arrangement.to_file(&volume);
        assert_eq!([0, 1, 2, 158, 159].map(|it| file[it * 4608]), expected(order.kind), "{}", order.name);
        assert_eq!(arrangement.from_file(&file), volume);
        for at in [0, 4608, 737_279, 737_280, 737_300] {
            assert_eq!(file[arrangement.offset(at) as usize], volume[at as usize]);
        }
    }
    let flat = Geometry { track_sectors: None, ..geometry };
    assert!(Arrangement::new(OrderKind::BySide, &flat).is_err());
    assert!(Arrangement::new(OrderKind::BySide, &Geometry { total_sectors: 1439, ..geometry }).is_err());
}

#[test]
fn a_volume_of_16_bit_entries_and_one_of_odd_measures_are_written_and_read() {
    let names = |name: &str| -> Option<Scalar> {
        Some(Scalar::Number(match name {
            "sector_size" => 256,
            "sectors_per_cluster" => 1,
            "reserved_sectors" => 7,
            "fat_count" => 3,
            "sectors_per_fat" => 50,
            "root_directory_entries" => 13,
            "total" => 6000,
            "format_identifier" => 0xf8,
            _ => return None,
        }))
    };
    let geometry = Geometry::from_names(&names).unwrap();
    assert_eq!(geometry.bits(), 16);
    let made = written(&geometry, &[("A", &[1; 9999]), ("D/E/F", &[2; 77])]);
    let volume = read(&made.bytes, &geometry);
    assert_eq!((volume.problems.len(), volume.lost.len(), volume.entries.len()), (0, 0, 4));
    assert_eq!(volume.content(&made.bytes, &geometry, volume.entry("d/e/f").unwrap()), [2; 77]);
}

#[test]
fn values_that_make_no_volume_are_refused_with_their_name() {
    let sound = [
        ("sector_size", 512),
        ("sectors_per_cluster", 2),
        ("reserved_sectors", 1),
        ("fat_count", 2),
        ("sectors_per_fat", 3),
        ("root_directory_entries", 112),
        ("total", 1440),
        ("format_identifier", 0xf9),
    ];
    let made = |name: &'static str, value: Option<i64>| {
        let names = move |asked: &str| {
            let value = if asked == name { value } else { sound.iter().find(|it| it.0 == asked).map(|it| it.1) };
            value.map(Scalar::Number)
        };
        Geometry::from_names(&names)
    };
    assert!(made("", None).is_ok());
    for (name, value) in [
        ("sector_size", 500),
        ("sector_size", 0),
        ("sectors_per_cluster", 3),
        ("fat_count", 0),
        ("sectors_per_fat", 0),
        ("root_directory_entries", 0),
        ("total", 0),
        ("total", 14),
        ("total", 15),
        ("total", 1 << 20),
        ("total", i64::MAX),
        ("sectors_per_fat", 800),
    ] {
        assert!(made(name, Some(value)).is_err(), "{name} {value}");
        assert!(made(name, None).is_err());
    }
}

/// Any geometry that is one.
fn any_geometry() -> impl Strategy<Value = Geometry> {
    let values = (0..6_u32, 0..4_u32, 0..9_u32, 1..4_u32, 1..12_u32, 1..300_u32, 20..3000_u32);
    values.prop_filter_map("a geometry", |(size, cluster, reserved, fats, fat, root, total)| {
        let names = move |name: &str| {
            let value = match name {
                "sector_size" => 128 << size,
                "sectors_per_cluster" => 1 << cluster,
                "reserved_sectors" => reserved,
                "fat_count" => fats,
                "sectors_per_fat" => fat,
                "root_directory_entries" => root,
                "total" => total,
                "format_identifier" => 0xf0,
                _ => return None,
            };
            Some(Scalar::Number(value.into()))
        };
        Geometry::from_names(&names).ok()
    })
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(128))]

    #[test]
    fn any_files_come_back(geometry in any_geometry(), files in vec(("[A-Z0-9_]{1,8}", vec(any::<u8>(), 0..5000)), 0..12)) {
        let files: Vec<_> = files.iter().map(|(name, bytes)| NewEntry { path: path(name), bytes }).collect();
        if let Ok(made) = write(&geometry, &files, None, Moment::default()) {
            assert_eq!(made.bytes.len() as u64, geometry.bytes());
            let volume = read(&made.bytes, &geometry);
            assert!(volume.problems.is_empty() && volume.lost.is_empty());
            assert_eq!(volume.entries.len(), files.len());
            for (entry, file) in volume.entries.iter().zip(&files) {
                assert_eq!(entry.name, file.path[0]);
                assert_eq!(volume.content(&made.bytes, &geometry, entry), file.bytes);
            }
        }
    }

    #[test]
    fn any_bytes_are_read_without_a_panic(geometry in any_geometry(), bytes in vec(any::<u8>(), 0..40_000)) {
        let volume = read(&bytes, &geometry);
        for entry in &volume.entries {
            assert!(entry.clusters() <= geometry.clusters());
            let _ = volume.content(&bytes, &geometry, entry);
        }
        for order in ORDERS {
            if let Ok(arrangement) = Arrangement::new(order.kind, &geometry) {
                assert_eq!(arrangement.from_file(&arrangement.to_file(&bytes)), bytes);
            }
        }
    }

    #[test]
    fn any_damage_is_read_without_a_panic(changes in vec((0..20_000_usize, any::<u8>()), 0..40), length in 0..163_840_usize) {
        damaged(|it| {
            changes.iter().for_each(|(at, byte)| it[*at] = *byte);
            it.truncate(length);
        });
    }
}
