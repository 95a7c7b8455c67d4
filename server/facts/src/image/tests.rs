//! Each kind of finding about an image has a specimen here: a damage that raises it.

use std::collections::BTreeSet;

use reveille_decoders::boot::{Branch, NewBoot};
use reveille_decoders::volume::{Arrangement, Moment, NewEntry, NoVolume, OrderKind, raw_name, write};
use reveille_decoders::{families, formats};

use super::{BootName, Checked, Question, Table, check, unreadable};
use crate::catalog::catalog;

fn table() -> Table {
    Table::of_format(formats().iter().find(|it| it.name == "160k").unwrap()).unwrap()
}

/// A $601A program of 2048 bytes; its sizes add up.
fn program() -> Vec<u8> {
    let mut bytes = vec![0x60, 0x1a, 0, 0, 7, 0xe4];
    bytes.resize(2048, 0);
    bytes[27] = 1;
    bytes
}

/// 160 KiB: boot sector, FATs in sectors 1 and 2, root directory from sector 3, clusters from sector 7 on. BOOT.SYS has clusters 2 to 5,
/// the directory LOG 6, its file 7 and 8.
fn image() -> Vec<u8> {
    let (program, table) = (program(), table());
    let path = |text: &str| text.split('/').map(|it| raw_name(it).unwrap()).collect();
    let files =
        [NewEntry { path: path("BOOT.SYS"), bytes: &program }, NewEntry { path: path("LOG/DAY"), bytes: &[8; 1024] }];
    let moment: Moment = "1986-03-03".parse().unwrap();
    let mut image = write(&table.geometry, &files, None, moment).unwrap().bytes;
    let block = table.block_to_write(None, 0);
    let boot =
        NewBoot { branch: Branch::I8086, block: &block, code: &[], serial: 0, has_signature: true, word_sum: None };
    boot.write(&mut image, &table.geometry).unwrap();
    image
}

fn checked_by(table: &Table, bytes: &[u8], boot: &str) -> Checked {
    let arrangement = Arrangement::new(OrderKind::ByCylinder, &table.geometry).unwrap();
    let boot = BootName { name: raw_name(boot).unwrap(), at: None };
    check(&Question { bytes, arrangement, table, boot: Some(&boot) })
}

fn codes(bytes: &[u8], boot: &str) -> Vec<&'static str> {
    checked_by(&table(), bytes, boot).findings.iter().map(|it| it.code).collect()
}

const ROOT: usize = 3 * 512;
const LOG: usize = ROOT + 32;
const LOG_CLUSTER: usize = (7 + 4) * 512;

/// Entries of both FATs: 12 bits each, two of them in three bytes.
fn links(image: &mut [u8], links: &[(usize, u16)]) {
    for (cluster, value) in links {
        for fat in [512, 1024] {
            let at = fat + cluster + cluster / 2;
            let old = u16::from_le_bytes([image[at], image[at + 1]]);
            let new = if cluster % 2 == 0 { old & 0xf000 | value } else { old & 0x000f | value << 4 };
            image[at..at + 2].copy_from_slice(&new.to_le_bytes());
        }
    }
}

/// A code, and the damage that raises it and nothing else of its severity that was not there.
type Specimen = (&'static [&'static str], fn(&mut Vec<u8>));

const SPECIMENS: &[Specimen] = &[
    (&[], |_| ()),
    (&["boot-001"], |it| it[510] = 0),
    (&["boot-002"], |it| it[510..512].copy_from_slice(&[0xaa, 0x55])),
    (&["boot-003"], |it| it[0] = 0x4e),
    (&["boot-004"], |it| it[1] = 0),
    (&["boot-005"], |it| it[..2].copy_from_slice(&[0x60, 0x1d])),
    (&["boot-006", "image-004"], |it| it[512] = 0xff),
    (&["boot-007", "image-004"], |it| it[513] = 0),
    (&["boot-011"], |it| it.truncate(300 * 512)),
    (&["boot-012"], |it| it.extend([0; 512])),
    (&["boot-012", "boot-013"], |it| it.extend([0; 10])),
    (&["boot-014"], |it| {
        let sum = it[..512].chunks(2).fold(0_u16, |sum, it| sum.wrapping_add(u16::from_be_bytes([it[0], it[1]])));
        it[100..102].copy_from_slice(&0x1234_u16.wrapping_sub(sum).to_be_bytes());
    }),
    (&["boot-015"], |it| {
        it[0] = 0x60;
        it[510..512].fill(0);
    }),
    (&["image-001"], |it| it[13] = 2),
    (&["image-001"], |it| it[21] = 0xff),
    (&["image-002"], |it| it[11..30].fill(0xe5)),
    (&["image-004"], |it| it[1024 + 200] = 1),
    (&["image-005"], |it| links(it, &[(4, 2)])),
    (&["image-006"], |it| links(it, &[(7, 4)])),
    (&["image-007"], |it| links(it, &[(3, 0x500)])),
    (&["image-007"], |it| it[ROOT + 27] = 9),
    (&["image-008"], |it| links(it, &[(3, 0)])),
    (&["image-009"], |it| links(it, &[(4, 0xfff), (5, 0)])),
    (&["image-010"], |it| links(it, &[(5, 100), (100, 0xfff)])),
    (&["image-011"], |it| links(it, &[(100, 0xfff)])),
    (&["image-012"], |it| it[LOG_CLUSTER + 64 + 26] = 0),
    (&["image-013"], |it| it[LOG_CLUSTER + 64 + 29] = 0),
    (&["image-014"], |it| it[LOG_CLUSTER + 64] = b'd'),
    (&["image-015"], |it| it.copy_within(LOG_CLUSTER + 64..LOG_CLUSTER + 96, LOG_CLUSTER + 96)),
    (&["image-016"], |it| it[ROOT + 160..ROOT + 171].copy_from_slice(b"GHOST      ")),
    (&["image-017"], |it| it[ROOT + 24..ROOT + 26].fill(0xff)),
    (&["image-018"], |it| it[LOG + 28] = 1),
    (&["image-019"], |it| it[LOG_CLUSTER + 26] = 9),
    (&["image-020"], |it| it[ROOT..ROOT + 11].copy_from_slice(b"TOOT    SYS")),
    (&["image-021"], |it| {
        links(it, &[(4, 50), (50, 0xfff), (5, 0)]);
        it[(7 + 48) * 512] = 1;
    }),
    (&["image-022"], |it| it[7 * 512 + 3] = 1),
    (&["image-023"], |it| it[7 * 512..7 * 512 + 4].copy_from_slice(b"SK12")),
    (&["image-024"], |it| links(it, &[(100, 0xff7)])),
    (&["boot-011", "image-025"], |it| it.truncate((7 + 6) * 512)),
    (&["image-026"], |it| {
        // A directory of a hundred clusters, full of names that stand for nothing.
        for at in 100..200_u16 {
            links(it, &[(at.into(), if at == 199 { 0xfff } else { at + 1 })]);
        }
        it[LOG + 26] = 100;
        it[(7 + 98) * 512..(7 + 198) * 512].fill(b'/');
    }),
];

#[test]
fn each_damage_is_found_by_its_code() {
    for (at, (wanted, damage)) in SPECIMENS.iter().enumerate() {
        let mut image = image();
        damage(&mut image);
        let found = codes(&image, "BOOT.SYS");
        for code in *wanted {
            assert!(found.contains(code), "specimen {at}, {code}: {found:?}");
        }
        assert!(!wanted.is_empty() || found.is_empty(), "{found:?}");
    }
}

#[test]
fn every_code_about_images_has_a_specimen() {
    let mut found: BTreeSet<&str> = SPECIMENS.iter().flat_map(|it| it.0.iter().copied()).collect();
    // No image without a reserved sector can be made, and none that is no volume: bytes alone.
    let mut driver = image();
    driver[14..16].fill(0);
    let own = Table::of_image(&driver).unwrap();
    assert!(own.is_own);
    found
        .extend(checked_by(&own, &driver, "BOOT.SYS").findings.iter().map(|it| it.code).filter(|it| *it == "boot-016"));
    let why: NoVolume = Table::of_image(&[0; 512]).unwrap_err();
    found.insert(unreadable(&[0; 512], &why).code);
    let rules = families().iter().filter(|it| it.name == "boot").flat_map(|it| &it.rules).map(|it| it.code.as_str());
    let all = rules.chain(catalog().iter().map(|it| it.code.as_str()).filter(|it| it.starts_with("image-")));
    let without: Vec<&str> = all.filter(|it| !found.contains(it)).collect();
    assert_eq!(without, Vec::<&str>::new());
}

/// Every byte of the second FAT is one that somebody may read.
#[test]
fn each_byte_of_a_copy_of_the_fat_counts() {
    let sound = image();
    for at in 1024..1536 {
        let mut image = sound.clone();
        image[at] ^= 0x10;
        let found = checked_by(&table(), &image, "BOOT.SYS").findings;
        let [finding] = &found[..] else { panic!("{at}: {found:?}") };
        assert_eq!((finding.code, finding.at.offset), ("image-004", at as u64));
    }
}

#[test]
fn each_field_of_the_block_is_held_against_the_table() {
    let sound = image();
    let table = table();
    for field in &table.layout.fields {
        let mut image = sound.clone();
        image[11 + field.offset] ^= 0x81;
        let found = checked_by(&table, &image, "BOOT.SYS").findings;
        let is_it = |it: &&super::ImageFinding| it.code == "image-001" && it.message.contains(&field.name);
        let finding = found.iter().find(is_it).unwrap_or_else(|| panic!("{}: {found:?}", field.name));
        assert_eq!(finding.at.offset, 11 + field.offset as u64);
    }
}

#[test]
fn a_block_with_geometry_is_written_as_it_is() {
    let table = table();
    assert_eq!(table.block_to_write(None, 7), table.bytes);
    for format in formats() {
        let own = Table::of_format(format).unwrap();
        assert_eq!(own.block_to_write(None, 0).len(), 19, "{}", format.name);
    }
}
