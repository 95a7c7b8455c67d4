//! A second reader and writer of FAT volumes, as a judge: the crate fatfs 0.3.6.

use std::io::{Cursor, Read, Write};

use fatfs::{FileSystem, FormatVolumeOptions, FsOptions, format_volume};
use reveille_decoders::boot::{Branch, NewBoot};
use reveille_decoders::volume::{Fat, Geometry, Moment, NewEntry, raw_name, read, write};
use reveille_decoders::{Format, Values, family, formats, layout};

fn block(format: &Format) -> Vec<u8> {
    let layout = layout("fat-block-19").expect("a layout");
    let bytes = layout
        .fields
        .iter()
        .flat_map(|it| layout.encode(it, format.value(&it.name).expect("a standard format holds it")));
    // The crate reads the 25-byte block and what follows it.
    bytes.chain([0; 32]).collect()
}

/// A volume with files, its boot sector as the crate wants it.
fn volume(format: &Format, files: &[(&str, Vec<u8>)]) -> (Geometry, Vec<u8>) {
    let block = block(format);
    let values =
        Values::new(family("fat").expect("a family"), &layout("fat-block-19").expect("a layout").decode(&block), &[]);
    let geometry = Geometry::from_names(&values).expect("a standard format holds it");
    let path = |text: &str| text.split('/').map(|it| raw_name(it).expect("a standard format holds it")).collect();
    let files: Vec<_> = files.iter().map(|(name, bytes)| NewEntry { path: path(name), bytes }).collect();
    let mut bytes = write(&geometry, &files, None, Moment::default()).expect("a standard format holds it").bytes;
    let boot =
        NewBoot { branch: Branch::I8086, block: &block, code: &[], serial: 0, has_signature: true, word_sum: None };
    boot.write(&mut bytes, &geometry).expect("a standard format holds it");
    (geometry, bytes)
}

fn files(seed: usize) -> Vec<(&'static str, Vec<u8>)> {
    let bytes = |length: usize| (0..length).map(|at| (at * at / 7 + seed) as u8).collect();
    vec![("BOOT.SYS", bytes(9000 + seed)), ("LOG/MARCH.DAT", bytes(3000)), ("A", bytes(1)), ("LOG/B", bytes(5000))]
}

/// The formats that the crate can open: its sectors have 512 bytes or more.
fn openable() -> impl Iterator<Item = &'static Format> {
    formats().iter().filter(|it| it.sector_size >= 512)
}

#[test]
fn the_crate_reads_what_we_wrote() {
    for (at, format) in openable().enumerate() {
        let files = files(at);
        let (_, bytes) = volume(format, &files);
        let system = FileSystem::new(Cursor::new(bytes), FsOptions::new()).unwrap();
        assert_eq!(i64::from(system.stats().unwrap().total_clusters()), format.clusters, "{}", format.name);
        for (name, content) in &files {
            let mut own = Vec::new();
            system.root_dir().open_file(name).unwrap().read_to_end(&mut own).unwrap();
            assert!(own == *content, "{} {name}", format.name);
        }
    }
}

/// What the crate writes into an empty volume of ours lies where we would have put it: same FATs, same clusters of the same files.
#[test]
fn the_crate_fills_our_empty_volume_as_we_do() {
    for (at, format) in openable().enumerate() {
        let files: Vec<_> = files(at).into_iter().filter(|it| !it.0.contains('/')).collect();
        let (geometry, mut theirs) = volume(format, &[]);
        {
            let system = FileSystem::new(Cursor::new(&mut theirs), FsOptions::new()).unwrap();
            for (name, content) in &files {
                system.root_dir().create_file(name).unwrap().write_all(content).unwrap();
            }
        }
        let (_, ours) = volume(format, &files);
        let start = geometry.fat_start(0) as usize * geometry.sector_bytes as usize;
        let root = geometry.root_start() as usize * geometry.sector_bytes as usize;
        let data = geometry.data_start() as usize * geometry.sector_bytes as usize;
        assert!(theirs[start..root] == ours[start..root], "{}: FATs", format.name);
        assert!(theirs[data..] == ours[data..], "{}: data", format.name);
        let (mine, other) = (read(&ours, &geometry), read(&theirs, &geometry));
        assert!(other.problems.is_empty() && other.lost.is_empty(), "{}: {:?}", format.name, other.problems);
        let what = |it: &reveille_decoders::volume::Volume| -> Vec<_> {
            it.entries.iter().map(|it| (it.path.clone(), it.bytes, it.first_cluster)).collect()
        };
        assert_eq!(what(&mine), what(&other), "{}", format.name);
    }
}

/// A volume that the crate formatted, told everything that it can be told.
fn formatted(format: &Format) -> Option<Vec<u8>> {
    // It panics where sectors have fewer bytes.
    if format.sector_size < 512 {
        return None;
    }
    let mut bytes = vec![0; (format.total_sectors() * format.sector_size) as usize];
    let options = FormatVolumeOptions::new()
        .bytes_per_sector(format.sector_size as u16)
        .total_sectors(format.total_sectors() as u32)
        .bytes_per_cluster((format.sectors_per_cluster * format.sector_size) as u32)
        .max_root_dir_entries(format.root_directory_entries as u16)
        .fats(format.fat_count as u8)
        .media(format.format_identifier as u8)
        .sectors_per_track(format.sectors_per_track as u16)
        .heads(format.sides as u16);
    format_volume(Cursor::new(&mut bytes), options).ok().map(|()| bytes)
}

/// Where the crate's formatter makes the block, its volume is ours; it has no choice of FAT length or reserved sectors, and no sectors
/// below 512 bytes, so it cannot make the others.
#[test]
fn the_crate_s_formatter_makes_the_same_volume_where_it_can_make_the_block() {
    let layout = layout("fat-block-19").unwrap();
    let mut others = Vec::new();
    for (at, format) in formats().iter().enumerate() {
        let has_block = |bytes: &Vec<u8>| {
            let block = layout.decode(&bytes[11..]);
            layout.fields.iter().all(|it| block.number(&it.name) == format.value(&it.name))
        };
        let Some(mut theirs) = formatted(format).filter(has_block) else {
            others.push(format.name.as_str());
            continue;
        };
        let files: Vec<_> = files(at).into_iter().filter(|it| !it.0.contains('/')).collect();
        {
            let system = FileSystem::new(Cursor::new(&mut theirs), FsOptions::new()).unwrap();
            for (name, content) in &files {
                system.root_dir().create_file(name).unwrap().write_all(content).unwrap();
            }
        }
        let (geometry, ours) = volume(format, &files);
        // Behind the last entry the crate fills its FATs with marks, and we with zeros.
        let entries = |bytes: &[u8], copy: u32| -> Vec<Option<u32>> {
            let start = geometry.fat_start(copy) as usize * geometry.sector_bytes as usize;
            let fat = Fat::new(&bytes[start..], geometry.bits(), geometry.clusters());
            (0..geometry.clusters() + 2).map(|it| fat.raw(it)).collect()
        };
        for copy in 0..2 {
            assert!(entries(&theirs, copy) == entries(&ours, copy), "{}: FAT {copy}", format.name);
        }
        for (name, content) in &files {
            let volume = read(&theirs, &geometry);
            assert!(
                volume.content(&theirs, &geometry, volume.entry(name).unwrap()) == *content,
                "{} {name}",
                format.name
            );
        }
    }
    let expected = ["fm8-ss-128", "fm8-ss-128-r4", "fm8-ds-128", "320k-80", "68k-360k", "68k-720k"];
    assert_eq!(others, expected);
}
