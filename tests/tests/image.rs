//! `reveille image` on files: what is written, what is refused, and that nothing of a user is lost.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use reveille_fixture::Numbers;
use reveille_tests::{Output, file, folder, names, program, run, tests_folder};
use serde_json::Value;

/// 720 KiB and 360 KiB: knowledge-base article Q75131.
const TABLES: &str = "\
formats\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$D0,$02,$FD,$02,$00,$09,$00,$02,$00,$00,$00
\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00
\teven
driver_bpb\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
\teven
filename\tdc.b\t'BOOT    SYS'
\teven
";

fn image(folder: &Path, arguments: &[&str]) -> Output {
    run(folder, &[&["image"], arguments].concat())
}

/// A folder with tables, a boot file and an image of 720 KiB by the second entry.
fn made(more: &[&str]) -> tempfile::TempDir {
    let folder = folder(&[("t.s", TABLES.as_bytes()), ("boot.sys", &[7; 5000]), ("log.txt", b"tide\r\n")]);
    let made = [&["make", "--table", "t.s:formats[1]", "--date", "1986-03-03", "--add", "boot.sys"], more, &["a.img"]];
    let output = image(folder.path(), &made.concat());
    assert_eq!((output.code, output.err.as_str()), (0, ""), "{}", output.out);
    folder
}

fn findings(folder: &Path, arguments: &[&str]) -> (i32, Vec<Value>) {
    let output = image(folder, &[&["check", "--format", "json"], arguments].concat());
    assert_eq!(output.err, "");
    (output.code, output.out.lines().map(|it| serde_json::from_str(it).expect("a line is an object")).collect())
}

fn codes(folder: &Path, arguments: &[&str]) -> (i32, Vec<String>) {
    let (code, all) = findings(folder, arguments);
    (code, all.iter().map(|it| it["finding"].as_str().expect("a finding has its code").to_owned()).collect())
}

#[test]
fn make_prints_where_everything_lies() {
    let folder = made(&["--force", "--add", "log.txt=LOG/MARCH.TXT", "--label", "tide"]);
    let again = ["make", "--table", "t.s:formats[1]", "--date", "1986-03-03", "--add", "boot.sys", "--force", "a.img"];
    let output = image(folder.path(), &again);
    let expected = "\
a.img: 737280 bytes, written by `formats[1]` (t.s:2): 80 x 2 x 9 x 512, FAT12
part            sectors  what
boot sector     0        block of 19 bytes, branch to byte 30, where it stays
FAT 1           1-3      media descriptor $F9
FAT 2           4-6      media descriptor $F9
root directory  7-13     112 entries
BOOT.SYS        14-23    clusters 2-6, 5000 bytes
free            -        708 clusters, 724992 bytes
boot file: `BOOT.SYS` (t.s:6)

note[image-023]: the boot file `BOOT.SYS` has no known program header: first bytes 07 07 07 07 07 07 07 07; hold them against what the loader asks for
    at byte 7168 ($1C00), sector 14, cluster 2, BOOT.SYS
    the name that the loader looks for: t.s:6

a.img: 0 errors, 0 warnings, 1 note
Before a disk is written: write-protect the original, keep its first image untouched, and use real double-density media for 250 kbit/s.
";
    assert_eq!((output.code, output.out.as_str()), (0, expected));
    assert_eq!(file(folder.path(), "a.img").len(), 737_280);
    assert_eq!(names(folder.path()), ["a.img", "boot.sys", "log.txt", "t.s"]);
}

#[test]
fn the_same_make_gives_the_same_image() {
    let (one, two) = (made(&[]), made(&[]));
    assert!(file(one.path(), "a.img") == file(two.path(), "a.img"));
}

#[test]
fn an_image_is_checked_by_the_table_of_the_source() {
    let folder = made(&[]);
    let path = folder.path();
    assert_eq!(codes(path, &["a.img", "--table", "t.s:formats[1]"]), (0, vec!["boot-015".into(), "image-023".into()]));
    assert_eq!(codes(path, &["a.img"]), (0, vec!["boot-015".into()]));
    assert_eq!(codes(path, &["a.img", "--boot", "other.sys"]).1, ["boot-015", "image-020"]);
    let (code, found) = findings(path, &["a.img", "--table", "t.s:formats[0]"]);
    assert_eq!(code, 1);
    let related = &found[0]["related"][0];
    assert_eq!((found[0]["finding"].as_str(), related["file"].as_str()), (Some("image-001"), Some("t.s")));
    assert_eq!(related["range"]["start"]["line"], 0);
    for field in ["severity", "image", "offset", "sector", "cluster", "path", "message"] {
        assert!(found[0].get(field).is_some(), "{field}");
    }
}

#[test]
fn a_damage_is_told_with_its_place() {
    let folder = made(&[]);
    let path = folder.path();
    let mut bytes = file(path, "a.img");
    // The chain of BOOT.SYS is 2 3 4 5 6; entry 4 starts at byte 6 of each FAT: back to 2.
    bytes[512 + 6] = 2;
    bytes[4 * 512 + 6] = 2;
    std::fs::write(path.join("bad.img"), &bytes).expect("a file can be written");
    let (code, found) = findings(path, &["bad.img"]);
    assert_eq!(code, 1);
    let circle = found.iter().find(|it| it["finding"] == "image-005").expect("the circle is found");
    assert_eq!((&circle["offset"], &circle["cluster"], &circle["path"]), (&518.into(), &4.into(), &"BOOT.SYS".into()));
    assert!(found.iter().any(|it| it["finding"] == "image-011"), "clusters 5 and 6 are lost");
    let output = image(path, &["list", "bad.img"]);
    assert!(output.out.contains("not all of it is sound"), "{}", output.out);
    let output = image(path, &["extract", "bad.img", "--to", "out"]);
    assert_eq!((output.code, path.join("out").exists()), (1, false), "{}", output.err);
    let output = image(path, &["extract", "bad.img", "--to", "out", "--anyway"]);
    assert_eq!((output.code, file(&path.join("out"), "BOOT.SYS").len()), (0, 3072), "{}", output.err);
}

#[test]
fn files_come_back_as_they_went_in() {
    let mut numbers = Numbers::new(0x1DE);
    for round in 0..8 {
        let count = 1 + numbers.below(6);
        let files: Vec<(String, Vec<u8>)> = (0..count)
            .map(|at| {
                (format!("f{at}.d{round}"), (0..numbers.below(40_000)).map(|_| numbers.below(256) as u8).collect())
            })
            .collect();
        let inputs: Vec<(&str, &[u8])> = files.iter().map(|it| (it.0.as_str(), it.1.as_slice())).collect();
        let folder = folder(&inputs);
        let path = folder.path();
        let format = ["720k", "1440k", "fm8-ds-128", "360k", "mfm8-ds-1024", "68k-720k"][round % 6];
        let order = ["cylinders", "sides", "sides-back"][round % 3];
        let adds: Vec<String> = files
            .iter()
            .enumerate()
            .map(|(at, it)| if at % 2 == 0 { it.0.clone() } else { format!("{}=SUB/{}", it.0, it.0) })
            .collect();
        let adds: Vec<&str> = adds.iter().flat_map(|it| ["--add", it.as_str()]).collect();
        let output = image(path, &[&["make", "--standard", format, "--order", order], &adds[..], &["x.img"]].concat());
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{format}: {}", output.out);
        let listed = image(path, &["list", "x.img", "--order", order, "--format", "json"]);
        assert_eq!(listed.out.lines().filter(|it| it.contains("\"file\"")).count(), count, "{}", listed.out);
        let output = image(path, &["extract", "x.img", "--order", order, "--to", "back"]);
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{format}");
        for (at, (name, bytes)) in files.iter().enumerate() {
            let back = path.join("back").join(if at % 2 == 0 { "." } else { "SUB" });
            assert!(file(&back, &name.to_ascii_uppercase()) == *bytes, "{format} {name}");
        }
    }
}

#[test]
fn tracks_are_put_in_order_and_back() {
    let folder = made(&["--add", "log.txt"]);
    let path = folder.path();
    for order in ["sides", "sides-back"] {
        let output = image(path, &["convert", "a.img", "b.img", "--to", order, "--force"]);
        assert_eq!((output.code, output.err.as_str()), (0, ""));
        assert!(file(path, "a.img") != file(path, "b.img"));
        assert_eq!(codes(path, &["b.img", "--order", order, "--table", "t.s:formats[1]"]).0, 0);
        let output = image(path, &["convert", "b.img", "c.img", "--order", order, "--to", "cylinders", "--force"]);
        assert_eq!((output.code, output.err.as_str()), (0, ""));
        assert!(file(path, "a.img") == file(path, "c.img"));
    }
    // Track 1 of the volume is the first of side 1: with all of side 0 before it, it lies 80 tracks of 9 x 512 bytes into the file.
    let mut bytes = file(path, "b.img");
    bytes.truncate(700_000);
    std::fs::write(path.join("short.img"), &bytes).expect("a file can be written");
    let output = image(path, &["convert", "short.img", "d.img", "--to", "cylinders"]);
    assert_eq!(output.code, 1);
    assert!(output.err.contains("has 700000 bytes, expected 737280"), "{}", output.err);
    assert!(!path.join("d.img").exists());
}

#[test]
fn the_block_is_chosen_by_its_label_or_the_choice_is_shown() {
    let folder = made(&[]);
    let path = folder.path();
    let make = |table: &str| image(path, &["make", "--table", table, "--force", "x.img"]);
    let output = make("t.s");
    assert_eq!(output.code, 2);
    for line in ["`formats[0]`: 40 x 2 x 9 x 512, t.s:1", "`formats[1]`: 80 x 2 x 9 x 512, t.s:2", "`driver_bpb`"] {
        assert!(output.err.contains(line), "{}", output.err);
    }
    assert!(make("t.s:nothing").err.contains("there is no block `nothing`"));
    assert!(make("t.s:formats").err.contains("there is no block `formats`"), "a table of two is no choice");
    assert!(make("missing.s:formats[1]").err.contains("cannot be opened"));
    let output = make("t.s:DRIVER_BPB");
    assert_eq!(output.code, 0, "{}", output.err);
    let note = "9 sectors per track and 2 heads are those of `720k`";
    assert!(output.out.contains(note), "a block of 13 bytes: {}", output.out);
    assert_eq!(file(path, "x.img")[24..30], [9, 0, 2, 0, 0, 0]);
    assert!(output.out.contains("the machine will not start from it"), "{}", output.out);
    let output = image(path, &["make", "--standard", "721k", "x.img"]);
    assert!(output.err.contains("known are fm8-ss-128"), "{}", output.err);
    assert!(image(path, &["make", "y.img"]).err.contains("which disk?"));
    std::fs::write(path.join("one.s"), TABLES.lines().take(1).collect::<String>() + "\n\teven\n").expect("written");
    assert_eq!(make("one.s").code, 0, "a single block needs no label");
}

#[test]
fn a_block_with_errors_is_refused_with_its_findings() {
    let text = "boot_bpb\tdc.b\t$00,$02,$02,$01,$00,$02,$70,$00,$A1,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00\n\teven\n";
    let folder = folder(&[("t.s", text.as_bytes())]);
    let output = image(folder.path(), &["make", "--table", "t.s:boot_bpb", "x.img"]);
    assert_eq!(output.code, 1);
    assert!(
        output.out.contains("fat-017") && output.err.contains("nothing was written"),
        "{}{}",
        output.out,
        output.err
    );
    assert_eq!(names(folder.path()), ["t.s"]);
    let output = image(folder.path(), &["make", "--table", "t.s:boot_bpb", "--anyway", "x.img"]);
    assert_eq!(output.code, 0, "{}", output.err);
    assert_eq!(file(folder.path(), "x.img").len(), 1441 * 512);
}

#[test]
fn what_goes_into_the_boot_sector_can_be_chosen() {
    let folder = made(&[]);
    let path = folder.path();
    std::fs::write(path.join("code.bin"), [0x4e, 0x71, 0x60, 0xfc]).expect("written");
    let sector = |more: &[&str]| {
        let output = image(path, &[&["make", "--table", "t.s:formats[1]", "--force"], more, &["x.img"]].concat());
        assert_eq!(output.code, 0, "{}{}", output.out, output.err);
        file(path, "x.img")[..512].to_vec()
    };
    let sum = |it: &[u8]| it.chunks(2).fold(0_u16, |sum, it| sum.wrapping_add(u16::from_be_bytes([it[0], it[1]])));
    let plain = sector(&[]);
    assert_eq!((&plain[..2], &plain[30..32], &plain[510..]), (&[0x60, 0x1c][..], &[0x60, 0xfe][..], &[0, 0][..]));
    let pc = sector(&["--branch", "8086"]);
    assert_eq!((&pc[..3], &pc[30..32], &pc[510..]), (&[0xeb, 0x1c, 0x90][..], &[0xeb, 0xfe][..], &[0x55, 0xaa][..]));
    let none = sector(&["--branch", "none", "--serial", "$123456"]);
    assert_eq!((&none[..3], &none[8..11]), (&[0, 0, 0][..], &[0x12, 0x34, 0x56][..]));
    let code = sector(&["--boot-code", "code.bin", "--word-sum", "$1234", "--signature", "yes"]);
    assert_eq!((&code[30..34], sum(&code), &code[510..]), (&[0x4e, 0x71, 0x60, 0xfc][..], 0x1234, &[0x55, 0xaa][..]));
    std::fs::write(path.join("big.bin"), [0x4e; 483]).expect("written");
    let output = image(path, &["make", "--table", "t.s:formats[1]", "--force", "--boot-code", "big.bin", "x.img"]);
    assert!(output.code == 1 && output.err.contains("there is room for 482"), "{}", output.err);
}

#[test]
fn names_and_sizes_that_do_not_fit_are_refused_and_nothing_is_written() {
    let folder = folder(&[("toolongname.sys", b"1"), ("a+b", b"1"), ("big", &[0; 800_000]), ("half", &[0; 400_000])]);
    let path = folder.path();
    for (adds, part) in [
        (&["toolongname.sys"][..], "the name has 11 characters, expected at most 8"),
        (&["a+b"], "`+` cannot stand in a name on the disk"),
        (&["a+b=A", "toolongname.sys=A"], "`A` is there twice"),
        (&["a+b=A/B", "toolongname.sys=A"], "is there twice"),
        (&["big"], "has more bytes than the whole volume, 737280"),
        (&["half", "half=B"], "the files take 782 clusters of 1024 bytes, and the volume has 713"),
        (&["missing"], "`missing` cannot be opened"),
        (&["."], "has no name"),
    ] {
        let adds: Vec<&str> = adds.iter().flat_map(|it| ["--add", it]).collect();
        let output = image(path, &[&["make", "--standard", "720k"], &adds[..], &["x.img"]].concat());
        assert!(output.code > 0 && output.err.contains(part), "{adds:?}: {}", output.err);
        assert!(!path.join("x.img").exists());
    }
    for (option, part) in [("--date=1979-01-01", "a directory holds 1980"), ("--label=A*B", "cannot stand in a label")]
    {
        let output = image(path, &["make", "--standard", "720k", option, "x.img"]);
        assert!(output.code == 2 && output.err.contains(part), "{}", output.err);
    }
}

#[test]
fn no_file_is_replaced_without_being_told_to_and_no_input_ever() {
    let folder = made(&[]);
    let path = folder.path();
    let before = file(path, "a.img");
    for arguments in [
        &["make", "--standard", "720k", "a.img"][..],
        &["convert", "a.img", "a.img", "--to", "sides"],
        &["convert", "a.img", "a.img", "--to", "sides", "--force"],
        &["make", "--standard", "720k", "--add", "boot.sys", "--force", "boot.sys"],
        &["make", "--table", "t.s:formats[1]", "--force", "t.s"],
        &["extract", "a.img", "--to", "a.img"],
    ] {
        let output = image(path, arguments);
        assert_eq!(output.code, 2, "{arguments:?}: {}", output.err);
    }
    assert!(file(path, "a.img") == before && file(path, "boot.sys") == [7; 5000]);
    assert_eq!(file(path, "t.s"), TABLES.as_bytes());
    assert_eq!(image(path, &["extract", "a.img", "--to", "out"]).code, 0);
    assert_eq!(image(path, &["extract", "a.img", "--to", "out"]).code, 2);
    assert_eq!(image(path, &["extract", "a.img", "--to", "out", "--force"]).code, 0);
}

#[test]
fn what_is_no_image_is_refused_with_its_kind() {
    let folder = folder(&[("empty.img", b""), ("text.img", &[b'x'; 2000])]);
    let path = folder.path();
    let pipe = Command::new("mkfifo").arg(path.join("pipe")).status().expect("mkfifo starts");
    assert!(pipe.success());
    for (input, part) in [
        (".", "is a folder, expected an image"),
        ("pipe", "is a pipe or a character device"),
        ("/dev/null", "is a pipe or a character device"),
        ("missing.img", "cannot be opened"),
    ] {
        let output = image(path, &["check", input]);
        assert!(output.code == 2 && output.err.contains(part), "{input}: {}", output.err);
    }
    for output in ["pipe", "/dev/null"] {
        let output = image(path, &["make", "--standard", "720k", "--force", output]);
        assert!(output.code == 2 && output.err.contains("expected the name of a file"), "{}", output.err);
    }
    for input in ["empty.img", "text.img"] {
        let (code, found) = codes(path, &[input]);
        assert_eq!((code, found), (1, vec!["image-003".to_owned()]), "{input}");
        assert_eq!(image(path, &["list", input]).code, 1);
    }
    let (code, found) = codes(path, &["empty.img", "--standard", "720k"]);
    assert!(code == 1 && found.contains(&"boot-011".to_owned()), "{found:?}");
}

#[test]
fn an_image_of_four_gigabytes_is_refused_before_it_is_read() {
    let folder = folder(&[]);
    let huge = std::fs::File::create(folder.path().join("huge.img")).expect("a file can be made");
    huge.set_len(4 << 30).expect("a sparse file can be that long");
    // With memory for the program and little more: had it been read, it would have failed otherwise.
    let limited = "ulimit -v 1500000; exec \"$0\" image check huge.img";
    let mut shell = Command::new("sh");
    let output = shell.arg("-c").arg(limited).arg(program()).current_dir(folder.path()).output().expect("sh starts");
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("has 4294967296 bytes, expected at most 134217728"), "{err}");
}

/// An entry whose name would lead out of the folder is not written, nor is anything through a link.
#[cfg(unix)]
#[test]
fn nothing_is_written_outside_the_folder() {
    let folder = made(&["--add", "log.txt=LOG/MARCH.TXT"]);
    let path = folder.path();
    std::fs::create_dir_all(path.join("to")).expect("made");
    std::os::unix::fs::symlink("..", path.join("to/LOG")).expect("linked");
    let output = image(path, &["extract", "a.img", "LOG/MARCH.TXT", "--to", "to"]);
    assert!(output.code == 2 && output.err.contains("nothing is written through it"), "{}", output.err);
    assert!(!path.join("MARCH.TXT").exists());
    let mut bytes = file(path, "a.img");
    let root = 7 * 512;
    for name in [b"..         ", b"../X    SYS", b"/ETC       ", b"           ", b"C:\\X    SYS"] {
        bytes[root..root + 11].copy_from_slice(name);
        std::fs::write(path.join("evil.img"), &bytes).expect("written");
        let output = image(path, &["extract", "evil.img", "--to", "in/side", "--force"]);
        assert_ne!(output.code, 0, "the folder above is not there: {}", output.out);
        let output = image(path, &["extract", "evil.img", "--to", "inside", "--force"]);
        let all = names(path);
        assert!(
            all.iter()
                .all(|it| ["a.img", "boot.sys", "evil.img", "inside", "log.txt", "t.s", "to"].contains(&it.as_str())),
            "{all:?} {}",
            output.err
        );
    }
}

/// Whenever the program is killed, the image has its old bytes or all of its new ones.
#[cfg(unix)]
#[test]
fn a_program_that_is_killed_leaves_the_old_image_or_the_new_one() {
    // 60,000 sectors of 2048 bytes: long enough to be hit while it is written.
    let text = "big_bpb\tdc.b\t$00,$08,$04,$01,$00,$02,$00,$02,$60,$EA,$F8,$20,$00,$20,$00,$02,$00,$00,$00\n\teven\n";
    let folder = folder(&[("t.s", text.as_bytes()), ("big.bin", &vec![0x5a; 20 << 20])]);
    let path = folder.path();
    let make =
        ["image", "make", "--table", "t.s:big_bpb", "--date", "1986-03-03", "--anyway", "--force", "--add", "big.bin"];
    let output = run(path, &[&make[..], &["new.img"]].concat());
    assert_eq!(output.code, 0, "{}{}", output.out, output.err);
    let new = file(path, "new.img");
    let mut numbers = Numbers::new(0x0FF);
    let (mut killed, mut replaced) = (0, 0);
    for _ in 0..12 {
        std::fs::write(path.join("a.img"), b"old").expect("written");
        let mut child = Command::new(program());
        let child = child.args(make).arg("a.img").current_dir(path).stdout(Stdio::null()).stderr(Stdio::null());
        let mut child = child.spawn().expect("the program starts");
        std::thread::sleep(Duration::from_millis(numbers.below(900) as u64));
        child.kill().expect("a child of ours can be killed");
        let status = child.wait().expect("it ends");
        let left = file(path, "a.img");
        assert!(left == b"old" || left == new, "{} bytes are neither", left.len());
        killed += usize::from(status.code().is_none());
        replaced += usize::from(left.len() > 3);
    }
    assert!(killed > 0, "killed {killed}, replaced {replaced}");
}

#[test]
fn the_demo_makes_its_disk_and_reads_it() {
    let folder = folder(&[("skerry.sys", b"SK12\0\0\0\x10\0\0\0\x02\0\0\0\0\0\0")]);
    let demo = tests_folder().join("demo").join("skerry");
    let table = format!("{}:boot_formats[2]", demo.display());
    let output = image(folder.path(), &["make", "--table", &table, "--add", "skerry.sys", "skerry.img"]);
    assert_eq!(output.code, 0, "{}{}", output.out, output.err);
    assert!(output.out.contains("boot file: `SKERRY.SYS`") && output.out.contains("load.s:8"), "{}", output.out);
    let (code, found) = codes(folder.path(), &["skerry.img", "--table", &table]);
    assert_eq!((code, found), (0, vec!["boot-015".to_owned(), "image-023".to_owned()]));
}

/// 720 KiB with a FAT of 5 sectors: C-binding page of the get-BPB call. The CP/M block: CP/M-68K source of 1983, dpb0.
#[test]
fn a_word_block_makes_the_image_of_its_standard_format_and_a_cpm_block_none() {
    let text = "sys_bpb\tdc.w\t512,2,1024,7,5,6,18,711,0\ncpm_dpb\tdc.w\t26,775,0,242,63,-16384,16,2\n";
    let folder = folder(&[("a.s", text.as_bytes())]);
    let made = run(folder.path(), &["image", "make", "--table", "a.s:sys_bpb", "a.img"]);
    assert_eq!((made.code, file(folder.path(), "a.img").len()), (0, 737_280), "{}", made.err);
    let checked = run(folder.path(), &["image", "check", "a.img", "--standard", "68k-720k"]);
    assert_eq!(checked.code, 0, "{}", checked.out);
    let refused = run(folder.path(), &["image", "make", "--table", "a.s:cpm_dpb", "b.img"]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("`cpm_dpb` is a CP/M disk parameter block"), "{}", refused.err);
    assert_eq!(names(folder.path()), ["a.img", "a.s"]);
}
