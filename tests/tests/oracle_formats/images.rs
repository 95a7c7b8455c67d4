//! Images that mformat and mkfs.fat make, and what minfo says of them.

use std::collections::BTreeMap;
use std::path::Path;

use reveille_decoders::formats;
use reveille_fixture::Numbers;
use reveille_tests::{make_image, tool};

use crate::{STYLES, block_facts, data_lines, fact_in};

/// The boot sector of an image that is made as `made_with` says.
fn boot_sector(image: &Path, made_with: &str) -> Vec<u8> {
    make_image(image, made_with);
    let mut sector = std::fs::read(image).expect("the tool made the image");
    sector.truncate(512);
    sector
}

/// What minfo says of an image, by our names of the fields.
fn described(image: &Path) -> BTreeMap<&'static str, i64> {
    let text = tool("minfo", &["-i", image.to_str().expect("a temporary path is text"), "::"]);
    let mut found = BTreeMap::new();
    let (_, boot) = text.split_once("bootsector information").expect("minfo describes the boot sector");
    let lines = boot.lines().chain(text.lines().filter(|it| it.starts_with("cylinders:")));
    for line in lines {
        let Some((name, value)) = line.split_once([':', '=']) else { continue };
        let word = value.trim().split(' ').next().unwrap_or("");
        let number = match word.strip_prefix("0x") {
            Some(digits) => i64::from_str_radix(digits, 16).ok(),
            None if name == "serial number" => i64::from_str_radix(word, 16).ok(),
            None => word.parse().ok(),
        };
        let name = match name {
            "sector size" => "sector_size",
            "cluster size" => "sectors_per_cluster",
            "reserved (boot) sectors" => "reserved_sectors",
            "fats" => "fat_count",
            "max available root directory slots" => "root_directory_entries",
            "small size" => "total_sectors",
            "media descriptor byte" => "format_identifier",
            "sectors per fat" => "sectors_per_fat",
            "sectors per track" => "sectors_per_track",
            "heads" => "sides",
            "hidden sectors" => "hidden_sectors",
            "physical drive id" => "physical_drive_number",
            "reserved" => "reserved_1",
            "dos4" => "extended_boot_signature",
            "serial number" => "volume_id",
            "cylinders" => "cylinders",
            _ => continue,
        };
        if let Some(number) = number {
            found.insert(name, number);
        }
    }
    found
}

#[test]
fn every_image_that_the_tools_make_is_decoded_as_minfo_describes_it() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let images = tempfile::tempdir().expect("a temporary folder");
    let mut made: Vec<(String, Option<&reveille_decoders::Format>)> =
        formats().iter().filter_map(|it| Some((it.made_with.clone()?, Some(it)))).collect();
    assert!(made.len() >= 15, "the table of formats names the tools");
    // Geometries beside the standard ones.
    for (tracks, heads, sectors) in [
        (35, 2, 8),
        (40, 1, 10),
        (40, 2, 10),
        (77, 1, 9),
        (77, 2, 15),
        (80, 1, 11),
        (80, 1, 18),
        (80, 2, 12),
        (80, 2, 20),
        (80, 2, 24),
        (81, 2, 18),
        (82, 2, 9),
        (82, 2, 21),
        (84, 2, 10),
    ] {
        made.push((format!("mformat -t {tracks} -h {heads} -n {sectors}"), None));
    }
    for (options, kib) in [("-g 2/10 -M 0xf9 -r 112 -s 2 -a", 800), ("-F 12", 720), ("-F 12", 1440), ("-F 12", 2880)] {
        made.push((format!("mkfs.fat {options} ({kib})"), None));
    }
    let mut numbers = Numbers::new(0x5EA);
    let mut expected = Vec::new();
    for (at, (made_with, format)) in made.iter().enumerate() {
        let image = images.path().join(format!("{at}.img"));
        let sector = boot_sector(&image, made_with);
        let minfo = described(&image);
        for (len, style) in [(19, STYLES[at % 6]), (51, STYLES[(at + 3) % 6])] {
            let file = format!("t{at}n{len}.s");
            let upper = at % 2 == 0;
            let lines = data_lines(&sector[11..11 + len], style, upper, &mut numbers).join("\n");
            let (comment, even) = if style.is_dotted() { ("|", ".even") } else { ("*", "even") };
            let base = if style.is_dotted() { "BASE = 8" } else { "BASE\tEQU\t8" };
            let text = format!("{comment} disk format, as read\n{base}\nshipped_bpb:\n{lines}\n\t{even}\n");
            std::fs::write(folder.path().join(&file), text).expect("the folder can be written to");
            expected.push((file, len, made_with, *format, minfo.clone()));
        }
    }
    let facts = block_facts(folder.path());
    for (file, len, made_with, format, minfo) in expected {
        let [fact] = fact_in(&facts, &file)[..] else { panic!("{file}: {made_with}: not one block") };
        let value = &fact["value"];
        assert_eq!(value["layout"], format!("fat-block-{len}"), "{file}: {made_with}");
        let fields = value["fields"].as_object().expect("a block has fields");
        for (name, number) in &minfo {
            if let Some(own) = fields.get(*name) {
                assert_eq!(own.as_i64(), Some(*number), "{file}: {made_with}: {name}");
            }
        }
        let compared = fields.keys().filter(|name| minfo.contains_key(name.as_str())).count();
        // The last two texts, and the 32-bit total where it is 0, are not printed as numbers by minfo.
        assert_eq!(compared, if len == 19 { 11 } else { 15 }, "{made_with}: {minfo:?}");
        if len == 51 {
            // Observed: both tools leave the disk without a name and write the type of its FAT.
            assert_eq!(fields["volume_label"].as_str().map(str::trim_end), Some("NO NAME"), "{made_with}");
            assert_eq!(fields["file_system_type"].as_str().map(str::trim_end), Some("FAT12"), "{made_with}");
        }
        let total = minfo["total_sectors"];
        let cylinder = minfo["sectors_per_track"] * minfo["sides"];
        if total % cylinder == 0 {
            assert_eq!(value["geometry"]["cylinders"].as_i64(), Some(total / cylinder), "{made_with}");
            assert_eq!(value["geometry"]["heads"].as_i64(), Some(minfo["sides"]), "{made_with}");
            assert_eq!(value["geometry"]["sectors_per_track"].as_i64(), Some(minfo["sectors_per_track"]));
            assert_eq!(value["geometry"]["sector_size"].as_i64(), Some(minfo["sector_size"]));
        } else {
            assert!(value["geometry"].is_null(), "{made_with}");
        }
        assert_eq!(value["derived"]["capacity"].as_i64(), Some(total * minfo["sector_size"]), "{made_with}");
        if let Some(format) = format {
            assert_eq!(value["format"].as_str(), Some(format.name.as_str()), "{made_with}");
            assert_eq!(value["derived"]["clusters"].as_i64(), Some(format.clusters), "{made_with}");
            assert_eq!(value["derived"]["data_start"].as_i64(), Some(format.data_start), "{made_with}");
            assert_eq!(total, format.total_sectors(), "{made_with}");
            if let Some(boot) = &format.boot_bytes {
                assert!(value["bytes"].as_str().is_some_and(|it| it.starts_with(boot.as_str())), "{made_with}");
            }
        }
    }
}
