//! Images against outside judges: those of mformat and mkfs.fat are sound to us, ours are sound to fsck.fat, and mtools reads them.
//!
//! mtools 4.0.32 and dosfstools 4.2, observed. Neither reads sectors below 512 bytes.

use std::collections::BTreeSet;
use std::path::Path;

use reveille_decoders::{Format, formats};
use reveille_fixture::Numbers;
use reveille_tests::{file, make_image, run, tool};
use serde_json::Value;

/// A source with the block of a format, written over several lines.
fn source(format: &Format) -> String {
    let layout = reveille_decoders::layout("fat-block-19").expect("a layout");
    let bytes = layout.fields.iter().flat_map(|it| layout.encode(it, format.value(&it.name).unwrap_or(0)));
    let bytes: Vec<String> = bytes.map(|it| format!("${it:02X}")).collect();
    let lines: Vec<String> = bytes.chunks(7).map(|it| format!("\tdc.b\t{}", it.join(","))).collect();
    format!("shipped_bpb\n{}\n\teven\n", lines.join("\n"))
}

/// The same with a block of 51 bytes: number, label and type of the file system behind the geometry.
fn long_source(format: &Format) -> String {
    let rest = "\tdc.b\t0,0,0,0,0,0\n\tdc.b\t0,0,$29,0,0,0,0\n\tdc.b\t'NO NAME    ','FAT12   '\n\teven\n";
    source(format).replace("\teven\n", rest)
}

/// What fsck.fat has to say of an image. Observed: it takes bytes 43 to 53 for a label though no signature says that they are one, and
/// so complains of every sector with a block of 19 bytes, those of mkfs.fat -A among them; this one complaint does not count.
fn complaints(image: &str) -> Vec<String> {
    let said = tool("sh", &["-c", "fsck.fat -n \"$0\" || [ $? = 1 ]", image]);
    let is_frame = |it: &&str| {
        it.is_empty()
            || it.starts_with("fsck.fat 4")
            || it.starts_with(image)
            || [
                "Leaving filesystem unchanged.",
                "Label '' stored in boot sector is not valid.",
                "  Auto-removing label from boot sector.",
            ]
            .contains(it)
    };
    said.lines().filter(|it| !is_frame(it)).map(str::to_owned).collect()
}

/// The findings of a check but for hints.
fn troubles(folder: &Path, arguments: &[&str]) -> Vec<Value> {
    let output = run(folder, &[&["image", "check", "--format", "json"], arguments].concat());
    assert_eq!(output.err, "", "{arguments:?}");
    let all = output.out.lines().map(|it| serde_json::from_str::<Value>(it).expect("a line is an object"));
    all.filter(|it| it["severity"] != "hint").collect()
}

#[test]
fn images_of_the_tools_are_sound_by_their_table_and_stay_so_when_the_tools_fill_them() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path();
    let (mut count, mut numbers) = (0, Numbers::new(0xF5C4));
    for format in formats() {
        let Some(made_with) = &format.made_with else { continue };
        let (image, table) = (format!("{}.img", format.name), format!("{}.s", format.name));
        make_image(&path.join(&image), made_with);
        std::fs::write(path.join(&table), source(format)).expect("written");
        let check = |what: &str| {
            for by in [&["--standard", format.name.as_str()][..], &["--table", table.as_str()], &[]] {
                let found = troubles(path, &[&[image.as_str()], by].concat());
                assert_eq!(found, Vec::<Value>::new(), "{}, {what}, {by:?}: {made_with}", format.name);
            }
        };
        check("empty");
        let name = path.join(&image).to_string_lossy().into_owned();
        let _ = tool("mmd", &["-i", &name, "::/LOG", "::/LOG/MARCH"]);
        for at in 0..6 {
            let bytes: Vec<u8> = (0..numbers.below(15_000)).map(|_| numbers.below(256) as u8).collect();
            let own = path.join(format!("in{at}"));
            std::fs::write(&own, &bytes).expect("written");
            let to = ["::/", "::/LOG/", "::/LOG/MARCH/"][at % 3];
            // The long name makes entries of another kind beside the short one.
            let to =
                format!("{to}{}", if at < 3 { format!("TIDE{at}.DAT") } else { format!("tide of the day {at}.data") });
            let _ = tool("mcopy", &["-o", "-i", &name, &own.to_string_lossy(), &to]);
        }
        check("filled");
        let _ = tool("mdel", &["-i", &name, "::/TIDE0.DAT"]);
        check("with a hole");
        count += 1;
    }
    assert!(count >= 17, "the table of formats names the tools: {count}");
}

#[test]
fn our_images_pass_fsck_and_mtools_reads_the_same_from_them() {
    let mut count = 0;
    for format in formats().iter().filter(|it| it.sector_size >= 512) {
        for branch in ["68000", "8086"] {
            let folder = tempfile::tempdir().expect("a temporary folder");
            let path = folder.path();
            let text = if branch == "8086" { long_source(format) } else { source(format) };
            std::fs::write(path.join("t.s"), text).expect("written");
            let mut numbers = Numbers::new(format.clusters as u64);
            let mut content =
                |most: usize| -> Vec<u8> { (0..numbers.below(most)).map(|_| numbers.below(256) as u8).collect() };
            let files = [
                ("BOOT.SYS", content(30_000)),
                ("LOG/MARCH.DAT", content(9000)),
                ("LOG/EMPTY", vec![]),
                ("A", content(3)),
            ];
            let mut adds = Vec::new();
            for (at, (name, bytes)) in files.iter().enumerate() {
                std::fs::write(path.join(format!("in{at}")), bytes).expect("written");
                adds.extend(["--add".to_owned(), format!("in{at}={name}")]);
            }
            let adds: Vec<&str> = adds.iter().map(String::as_str).collect();
            let make =
                ["image", "make", "--table", "t.s:shipped_bpb", "--branch", branch, "--date", "1986-03-03T12:30"];
            let output = run(path, &[&make[..], &adds, &["x.img"]].concat());
            assert_eq!((output.code, output.err.as_str()), (0, ""), "{}: {}", format.name, output.out);
            let image = path.join("x.img").to_string_lossy().into_owned();
            assert_eq!(complaints(&image), Vec::<String>::new(), "{} {branch}", format.name);
            let listed = tool("mdir", &["-b", "-/", "-i", &image, "::"]);
            let theirs: BTreeSet<&str> =
                listed.lines().map(|it| it.trim_start_matches("::/").trim_end_matches('/')).collect();
            let ours = run(path, &["image", "list", "--format", "json", "x.img"]).out;
            let ours: Vec<Value> = ours.lines().map(|it| serde_json::from_str(it).expect("an object")).collect();
            let ours: BTreeSet<&str> = ours.iter().filter_map(|it| it["path"].as_str()).collect();
            assert_eq!(theirs, ours, "{}", format.name);
            let root = tool("mdir", &["-i", &image, "::"]);
            assert!(root.contains("1986-03-03  12:30"), "{root}");
            for (name, bytes) in &files {
                let _ =
                    tool("mcopy", &["-n", "-i", &image, &format!("::/{name}"), &path.join("back").to_string_lossy()]);
                assert!(file(path, "back") == *bytes, "{} {name}", format.name);
                std::fs::remove_file(path.join("back")).expect("removed");
            }
            count += 1;
        }
    }
    assert!(count > 30, "{count}");
}

#[test]
fn an_image_with_a_label_in_a_long_block_passes_fsck() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path();
    let format = formats().iter().find(|it| it.name == "720k").expect("720 KiB");
    std::fs::write(path.join("t.s"), long_source(format)).expect("written");
    let output = run(path, &["image", "make", "--table", "t.s:shipped_bpb", "--label", "tide 12", "x.img"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""), "{}", output.out);
    assert!(output.out.contains("block of 51 bytes"), "{}", output.out);
    let image = path.join("x.img").to_string_lossy().into_owned();
    let _ = tool("fsck.fat", &["-n", &image]);
    assert!(tool("mlabel", &["-s", "-i", &image, "::"]).contains("TIDE 12"));
    assert_eq!(troubles(path, &["x.img", "--table", "t.s:shipped_bpb"]), Vec::<Value>::new());
}
