//! `reveille rom` on files: what is written, what is refused, and that nothing of a user is lost.

use std::path::Path;

use reveille_tests::{Output, file, folder, names, run};

fn split(folder: &Path, image: &str, others: &[&str]) -> Output {
    run(folder, &[&["rom", "split", image, "--even", "even.bin", "--odd", "odd.bin"], others].concat())
}

fn join(folder: &Path, others: &[&str]) -> Output {
    run(folder, &[&["rom", "join", "--even", "even.bin", "--odd", "odd.bin", "--output", "image.bin"], others].concat())
}

/// Sums by hand; CRC-32 by zlib of Python 3.11. Even addresses hold high bytes: M68000 user's manual, data organization in
/// memory.
#[test]
fn split_writes_both_chips_and_prints_their_sums() {
    let folder = folder(&[("rom.bin", &[0x11, 0x22, 0x33, 0x44])]);
    let output = split(folder.path(), "rom.bin", &[]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert_eq!(file(folder.path(), "even.bin"), [0x11, 0x33]);
    assert_eq!(file(folder.path(), "odd.bin"), [0x22, 0x44]);
    assert_eq!(names(folder.path()), ["even.bin", "odd.bin", "rom.bin"]);
    let expected = "\
rom.bin: raw bytes, $000000 to $000003
file         bytes  16-bit sum  CRC-32     holds
even.bin         2  $0044       $ADD050F9  even addresses, high byte
odd.bin          2  $0066       $97DAD156  odd addresses, low byte
Compare these sums with those that the programmer shows for the chips.
Before you erase or replace a chip: read the original twice, compare both dumps, and keep them.
";
    assert_eq!(output.out, expected);
}

#[test]
fn split_and_join_give_the_image_again_in_every_form() {
    let image: Vec<u8> = (0..600_u32).map(|it| (it * it % 251) as u8).collect();
    for format in ["raw", "srecord", "ihex"] {
        let folder = folder(&[("rom.bin", &image)]);
        let output = split(folder.path(), "rom.bin", &["--format", format]);
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{format}");
        let output = join(folder.path(), &[]);
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{format}");
        assert_eq!(file(folder.path(), "image.bin"), image, "{format}");

        let output = join(folder.path(), &["--force", "--swap-bytes", "--format", format]);
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{format}");
        let start = file(folder.path(), "image.bin");
        let expected: &[u8] = match format {
            "raw" => &[1, 0, 9, 4],
            "srecord" => b"S113000001000904",
            _ => b":1000000001000904",
        };
        assert!(start.starts_with(expected), "{format}: {}", String::from_utf8_lossy(&start));
    }
}

/// S208... and S804... are computed by the rule of srec_motorola(5), SRecord 1.64.
#[test]
fn records_are_placed_by_their_addresses_and_holes_are_filled() {
    let folder = folder(&[("rom.s28", b"S208F8000000001000EF\nS205F8000A4EAA\nS804F80400FF\n")]);
    let output = split(folder.path(), "rom.s28", &["--fill", "A5", "--size", "8"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert!(
        output.out.starts_with("rom.s28: S-records, $F80000 to $F8000F, 11 of 16 bytes filled with $A5\n"),
        "{}",
        output.out
    );
    assert_eq!(file(folder.path(), "even.bin"), [0, 0x10, 0xa5, 0xa5, 0xa5, 0x4e, 0xa5, 0xa5]);
    assert_eq!(file(folder.path(), "odd.bin"), [0, 0, 0xa5, 0xa5, 0xa5, 0xa5, 0xa5, 0xa5]);

    let output = split(folder.path(), "rom.s28", &["--base", "$F7FFFC", "--force"]);
    assert_eq!(output.code, 0, "{}", output.err);
    assert_eq!(file(folder.path(), "even.bin"), [0xff, 0xff, 0, 0x10, 0xff, 0xff, 0xff, 0x4e]);
    let output = split(folder.path(), "rom.s28", &["--base", "$F80004", "--force"]);
    assert_eq!(output.code, 1);
    assert!(output.err.contains("starts at $F80000, below the base $F80004"), "{}", output.err);
}

/// An image that starts at an odd address has its first byte in the odd chip.
#[test]
fn a_word_is_never_torn() {
    let folder = folder(&[("rom.hex", b":020101001122C9\n:00000001FF\n")]);
    let output = split(folder.path(), "rom.hex", &[]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert_eq!(file(folder.path(), "even.bin"), [0xff, 0x22]);
    assert_eq!(file(folder.path(), "odd.bin"), [0x11, 0xff]);
}

#[test]
fn what_does_not_fit_says_so_and_writes_nothing() {
    let damaged = b"S104000001FA\nS104000102F9\nS9030000FC\n";
    let far = b"S1040000AA51\nS3060200000055A2\nS9030000FC\n";
    let folder = folder(&[
        ("empty.bin", b""),
        ("odd_length.bin", &[1, 2, 3]),
        ("large.bin", &[0; 10]),
        ("damaged.s19", damaged),
        ("far.s19", far),
    ]);
    let before = names(folder.path());
    for (image, others, code, message) in [
        ("missing.bin", &[][..], 2, "`missing.bin` cannot be opened"),
        (".", &[], 2, "`.` is a folder, expected a file"),
        ("empty.bin", &[], 1, "`empty.bin` is empty; read the chip again; nothing was written"),
        ("odd_length.bin", &[], 1, "`odd_length.bin` has 3 bytes, which is no whole number of words"),
        ("large.bin", &["--size", "4"], 1, "`large.bin` has 10 bytes, and two chips of 4 hold 8"),
        ("damaged.s19", &[], 1, "damaged.s19:2:11: error: checksum $F9, expected $F8"),
        ("damaged.s19", &[], 1, "`damaged.s19` has 1 error as S-records; transfer it again; nothing was written"),
        ("far.s19", &[], 1, "spans 33554433 bytes, and at most 16777216 are expected"),
        ("large.bin", &["--size", "0"], 2, "write 32768, $8000 or 32K"),
        ("large.bin", &["--fill", "1FF"], 2, "write two hexadecimal digits"),
        ("large.bin", &["--base", "here"], 2, "write $F80000 or 0xF80000"),
    ] {
        let output = split(folder.path(), image, others);
        assert_eq!((output.code, output.out.as_str()), (code, ""), "{image}: {}", output.err);
        assert!(output.err.contains(message), "{image}: {}", output.err);
        assert_eq!(names(folder.path()), before, "{image}");
    }
}

#[test]
fn what_is_worth_a_look_is_said_and_does_not_stop() {
    let folder = folder(&[("rom.s19", b"S104000001FA\r\n"), ("odd_length.bin", &[1, 2, 3])]);
    let output = split(folder.path(), "rom.s19", &[]);
    assert_eq!(output.code, 0);
    assert!(output.err.starts_with("rom.s19:1:1: warning: no end record"), "{}", output.err);
    assert_eq!(file(folder.path(), "odd.bin"), [0xff]);
    let output = split(folder.path(), "odd_length.bin", &["--force", "--size", "2"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert_eq!(file(folder.path(), "odd.bin"), [2, 0xff]);
}

#[test]
fn an_existing_file_is_replaced_only_with_force() {
    let folder = folder(&[("rom.bin", &[1, 2]), ("odd.bin", b"the only dump")]);
    let output = split(folder.path(), "rom.bin", &[]);
    assert_eq!(output.code, 2);
    let message = "`odd.bin` is there already; name another file, or give --force to replace it";
    assert!(output.err.contains(message), "{}", output.err);
    assert_eq!(file(folder.path(), "odd.bin"), b"the only dump");
    assert_eq!(names(folder.path()), ["odd.bin", "rom.bin"]);
    assert_eq!(split(folder.path(), "rom.bin", &["--force"]).code, 0);
    assert_eq!(file(folder.path(), "odd.bin"), [2]);
}

#[test]
fn what_is_read_is_never_replaced() {
    let folder = folder(&[("rom.bin", &[1, 2]), ("even.bin", &[1]), ("odd.bin", &[2])]);
    let before = names(folder.path());
    for arguments in [
        &["rom", "split", "rom.bin", "--even", "rom.bin", "--odd", "b", "--force"][..],
        &["rom", "split", "rom.bin", "--even", "a", "--odd", "./rom.bin", "--force"],
        &["rom", "join", "--even", "even.bin", "--odd", "odd.bin", "--output", "odd.bin", "--force"],
    ] {
        let output = run(folder.path(), arguments);
        assert_eq!(output.code, 2, "{arguments:?}");
        assert!(output.err.contains("is what is read here, and is not replaced"), "{}", output.err);
    }
    for arguments in [
        &["rom", "split", "rom.bin", "--even", "a", "--odd", "./a"][..],
        &["rom", "split", "rom.bin", "--even", "a", "--odd", "missing/b"],
        &["rom", "join", "--even", "even.bin", "--odd", "./even.bin", "--output", "a"],
    ] {
        assert_eq!(run(folder.path(), arguments).code, 2, "{arguments:?}");
    }
    assert_eq!(names(folder.path()), before);
    assert_eq!(file(folder.path(), "rom.bin"), [1, 2]);
    assert_eq!(file(folder.path(), "odd.bin"), [2]);
}

#[cfg(unix)]
#[test]
fn a_protected_file_stays_and_a_link_stays_a_link() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = folder(&[("rom.bin", &[1, 2]), ("even.bin", &[9]), ("target.bin", &[9])]);
    let even = folder.path().join("even.bin");
    std::fs::set_permissions(&even, std::fs::Permissions::from_mode(0o444)).expect("our file");
    let output = split(folder.path(), "rom.bin", &["--force"]);
    assert_eq!(output.code, 2);
    assert!(output.err.contains("`even.bin` is write-protected"), "{}", output.err);
    std::fs::set_permissions(&even, std::fs::Permissions::from_mode(0o640)).expect("our file");
    symlink("target.bin", folder.path().join("odd.bin")).expect("the folder can be written to");
    let output = split(folder.path(), "rom.bin", &["--force"]);
    assert_eq!(output.code, 0, "{}", output.err);
    assert_eq!(std::fs::metadata(&even).expect("it is there").permissions().mode() & 0o777, 0o640);
    assert!(folder.path().join("odd.bin").is_symlink());
    assert_eq!(file(folder.path(), "target.bin"), [2]);
    let device = run(folder.path(), &["rom", "split", "rom.bin", "--even", "a", "--odd", "/dev/null", "--force"]);
    assert_eq!(device.code, 2);
    assert!(device.err.contains("`/dev/null` is no plain file"), "{}", device.err);
    assert_eq!(names(folder.path()), ["even.bin", "odd.bin", "rom.bin", "target.bin"]);
}

#[test]
fn chips_of_one_pair_have_one_size() {
    let folder = folder(&[("even.bin", &[1, 2, 3]), ("odd.bin", &[1, 2])]);
    let output = join(folder.path(), &[]);
    assert_eq!((output.code, output.out.as_str()), (1, ""));
    let message = "`even.bin` has 3 bytes, and `odd.bin` 2, expected the same size; read the shorter chip again";
    assert!(output.err.contains(message), "{}", output.err);
    assert_eq!(names(folder.path()), ["even.bin", "odd.bin"]);
}

#[test]
fn a_chip_that_was_read_twice_is_noticed() {
    let folder = folder(&[("even.bin", &[1, 2]), ("odd.bin", &[1, 2])]);
    let output = join(folder.path(), &[]);
    assert_eq!(output.code, 0);
    assert!(output.err.contains("both chips hold the same bytes; was one of them read twice?"), "{}", output.err);
    assert_eq!(file(folder.path(), "image.bin"), [1, 1, 2, 2]);
}

/// Reset vectors: M68000 user's manual, exception vectors.
#[test]
fn the_wrong_way_round_and_text_are_noticed() {
    let image = [0, 8, 0x40, 0, 0, 0xf8, 4, 0x10];
    let folder = folder(&[("rom.bin", &image), ("log.txt", b"the terminal's log, without any record")]);
    let path = folder.path();
    let output = split(path, "rom.bin", &[]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    let output = run(path, &["rom", "join", "--even", "odd.bin", "--odd", "even.bin", "--output", "wrong.bin"]);
    assert_eq!(output.code, 0);
    assert!(output.err.contains("are even and odd the wrong way round?"), "{}", output.err);
    let output = split(path, "wrong.bin", &["--force"]);
    assert!(output.err.contains("are even and odd the wrong way round?"), "{}", output.err);
    let output = split(path, "log.txt", &["--force"]);
    assert!(output.err.starts_with("log.txt: warning: text, but neither S-records nor Intel hex"), "{}", output.err);
}

/// Chips as records keep their place in the pair, though the first bytes of one are left out. Checksums computed.
#[test]
fn chips_with_addresses_are_laid_side_by_side() {
    let folder =
        folder(&[("even.bin", b"S1060000010203F3\nS9030000FC\n"), ("odd.bin", b"S10500010405F0\nS9030000FC\n")]);
    let output = join(folder.path(), &[]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert_eq!(file(folder.path(), "image.bin"), [1, 0xff, 2, 4, 3, 5]);
    assert!(output.out.starts_with("1 of 6 bytes filled with $FF\n"), "{}", output.out);
}
