//! `reveille format` on files: what is written, what is kept, what is refused, and that a program stays what it is.

use std::path::Path;

use reveille_tests::{Output, file, folder, names, run, tests_folder};

fn format(folder: &Path, arguments: &[&str]) -> Output {
    run(folder, &[&["format"], arguments].concat())
}

const MESSY: &[u8] = b"start\tmove.w\td0,d1\n move.w d1,d2  \n   lea\tx(pc),a0\n\tnop\n\trts\nx:dc.w\t1\n";
const TIDY: &[u8] = b"start\tmove.w\td0,d1\n\tmove.w\td1,d2\n\tlea\tx(pc),a0\n\tnop\n\trts\nx:\tdc.w\t1\n";

#[test]
fn check_lists_the_files_that_would_change_and_writes_none() {
    let folder = folder(&[("a.s", MESSY), ("b.s", TIDY), ("notes.txt", MESSY)]);
    let output = format(folder.path(), &["--check", "."]);
    assert_eq!((output.code, output.err.as_str()), (1, ""));
    insta::assert_snapshot!("format_check", output.out);
    assert_eq!(file(folder.path(), "a.s"), MESSY);

    let output = format(folder.path(), &["."]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert_eq!(output.out, "./a.s: 3 of 6 lines changed\n1 of 2 files written\n");
    assert_eq!(file(folder.path(), "a.s"), TIDY);
    assert_eq!(file(folder.path(), "notes.txt"), MESSY);
    assert_eq!(names(folder.path()), ["a.s", "b.s", "notes.txt"]);

    let output = format(folder.path(), &["--check", ".", "a.s"]);
    assert_eq!((output.code, output.out.as_str()), (0, "0 of 2 files would be written\n"));
}

#[test]
fn sessions_are_laid_out_by_their_own_rules() {
    const SESSION: &[u8] = b"stage   \"Is it \xC3\xA4?\"\r\npress    return \r\n# note\r\n";
    let folder = folder(&[("a.s", TIDY), ("x.session", SESSION)]);
    let output = format(folder.path(), &["."]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert_eq!(output.out, "./x.session: 2 of 3 lines changed\n1 of 2 files written\n");
    let expected = b"stage \"Is it \xC3\xA4?\"\r\n  press return\r\n# note\r\n";
    assert_eq!(file(folder.path(), "x.session"), expected);
    assert_eq!(format(folder.path(), &["--check", "x.session"]).code, 0);
}

#[test]
fn what_is_asked_for_is_what_is_written() {
    let folder = folder(&[("a.s", MESSY)]);
    for (arguments, expected) in [
        (&[][..], TIDY),
        (
            &["--columns", "8,16,40", "--blanks"],
            b"start   move.w  d0,d1\n        move.w  d1,d2\n        lea     x(pc),a0\n        nop\n        rts\nx:      dc.w    1\n",
        ),
        (
            &["--columns", "10,18,40"],
            b"start     move.w  d0,d1\n          move.w  d1,d2\n          lea     x(pc),a0\n          nop\n          rts\nx:        dc.w    1\n",
        ),
        (
            &["--columns", "10,18,40", "--tabs"],
            b"start\t  move.w  d0,d1\n\t  move.w  d1,d2\n\t  lea\t  x(pc),a0\n\t  nop\n\t  rts\nx:\t  dc.w\t  1\n",
        ),
        (
            &["--columns", "8,16,40", "--tabs", "--tab-width", "4"],
            b"start\tmove.w\td0,d1\n\t\tmove.w\td1,d2\n\t\tlea\t\tx(pc),a0\n\t\tnop\n\t\trts\nx:\t\tdc.w\t1\n",
        ),
        (
            &["--blanks"],
            b"start   move.w  d0,d1\n        move.w  d1,d2\n        lea     x(pc),a0\n        nop\n        rts\nx:      dc.w    1\n",
        ),
    ] {
        let output = format(folder.path(), &[&["--stdout", "a.s"], arguments].concat());
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{arguments:?}");
        assert_eq!(output.out, String::from_utf8_lossy(expected), "{arguments:?}");
    }
    assert_eq!(file(folder.path(), "a.s"), MESSY, "printing writes nothing");
}

/// Line ends, code pages, end marks and marks of byte order are a user's, to the byte.
#[test]
fn all_but_blanks_is_kept_byte_for_byte() {
    let columns = ["--columns", "8,16,40", "--tabs"];
    for (what, before, after) in [
        ("CR LF", &b"a nop\r\n nop"[..], &b"a\tnop\r\n\tnop"[..]),
        ("CR", b"a nop\r nop\r", b"a\tnop\r\tnop\r"),
        ("a code page", b"a nop\n dc.b 'Gr\xfc\xdfe'\n* \x80\xff \n", b"a\tnop\n\tdc.b\t'Gr\xfc\xdfe'\n* \x80\xff\n"),
        ("an end mark and a filled block", b" nop\r\n\x1a\0\0\0", b"\tnop\r\n\x1a\0\0\0"),
        ("text behind an end mark", b" nop\n\x1a\n nop \x00\xff", b"\tnop\n\x1a\n nop \x00\xff"),
        ("a form feed", b" nop\n\x0c\n nop\n\x0c nop\n", b"\tnop\n\x0c\n\tnop\n\x0c nop\n"),
        ("a mark of byte order", b"\xef\xbb\xbfa nop\n nop", b"\xef\xbb\xbfa\tnop\n\tnop"),
        ("UTF-8", "\u{e9} nop ; \u{1F4BE} \n".as_bytes(), "\u{e9}\tnop\t\t\t\t; \u{1F4BE}\n".as_bytes()),
        ("nothing", b"", b""),
    ] {
        let folder = folder(&[("a.s", before)]);
        let output = format(folder.path(), &[&["a.s"], &columns[..]].concat());
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{what}");
        assert_eq!(file(folder.path(), "a.s"), after, "{what}");
    }
}

#[test]
fn what_cannot_be_laid_out_is_named_and_left_alone() {
    let listing = b"000834  1228 0009  MOVE.B 1(A0),D1\n000838  E149  LSL.W #8,D1\n";
    let folder = folder(&[("a.s", MESSY), ("dump.s", b"ab\0cd"), ("dump.i", b"ab\0cd"), ("list.s", listing)]);
    let output = format(folder.path(), &["."]);
    assert_eq!(output.code, 2);
    insta::assert_snapshot!("format_refused", format!("{}{}", output.err, output.out));
    assert_eq!(file(folder.path(), "dump.s"), b"ab\0cd");
    assert_eq!(file(folder.path(), "list.s"), listing);
    assert_eq!(file(folder.path(), "a.s"), TIDY);

    for (arguments, message) in [
        (&["dump.i"][..], "`dump.i` is left alone: it is no text, byte 2 is $00"),
        (&["--stdout", "dump.s"], "`dump.s` is not printed: it is no text, byte 2 is $00"),
        (&["--stdout", "a.s", "dump.s"], "--stdout prints one file, and 2 are named"),
        (&["missing.s"], "`missing.s` cannot be opened"),
        (&["--columns", "0,16,40", "a.s"], "an operation in column one would be a label"),
        (&["--columns", "8,16", "a.s"], "expected three numbers up to 200, such as 8,16,40"),
        (&["--columns", "8,16,4000", "a.s"], "expected three numbers up to 200, such as 8,16,40"),
        (&["--columns", "8,16,40,", "a.s"], "expected three numbers up to 200, such as 8,16,40"),
        (&["--tabs", "--blanks", "a.s"], "cannot be used with"),
        (&["--check", "--stdout", "a.s"], "cannot be used with"),
        (&["--tab-width", "0", "a.s"], "0 is not in 1..=32"),
        (&[], "required"),
    ] {
        let output = format(folder.path(), arguments);
        assert_eq!(
            (output.code, output.out.as_str()),
            (2, if arguments.len() == 1 && arguments[0] == "dump.i" { "0 of 1 file written\n" } else { "" }),
            "{arguments:?}"
        );
        assert!(output.err.contains(message), "{arguments:?}: {}", output.err);
    }
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_written_stops_all_and_a_link_keeps_its_file() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder(&[("a.s", MESSY), ("b.s", MESSY), ("c.s", MESSY)]);
    let path = |name: &str| folder.path().join(name);
    std::fs::set_permissions(path("b.s"), PermissionsExt::from_mode(0o444)).expect("the file is ours");
    let output = format(folder.path(), &["a.s", "b.s", "c.s"]);
    assert_eq!(output.code, 2);
    assert!(output.err.contains("`b.s` is write-protected, and is not replaced"), "{}", output.err);
    assert_eq!((file(folder.path(), "a.s"), file(folder.path(), "c.s")), (MESSY.to_vec(), MESSY.to_vec()));

    std::fs::set_permissions(path("c.s"), PermissionsExt::from_mode(0o640)).expect("the file is ours");
    std::os::unix::fs::symlink("c.s", path("link.s")).expect("links can be made");
    let output = format(folder.path(), &["link.s"]);
    assert_eq!(output.code, 0, "{}", output.err);
    assert_eq!(file(folder.path(), "c.s"), TIDY);
    assert!(path("link.s").is_symlink());
    assert_eq!(std::fs::metadata(path("c.s")).expect("it is there").permissions().mode() & 0o777, 0o640);
    assert_eq!(names(folder.path()), ["a.s", "b.s", "c.s", "link.s"]);
}

/// The whole demo, in another layout, lists as the same bytes at the same addresses.
#[test]
fn a_formatted_program_lists_as_before() {
    let demo = tests_folder().join("demo/skerry");
    let copy = tempfile::tempdir().expect("a temporary folder");
    for name in names(&demo) {
        std::fs::copy(demo.join(&name), copy.path().join(&name)).expect("the demo can be copied");
    }
    let listed = |folder: &Path| {
        let output = run(folder, &["listing", "--format", "json", "boot.s"]);
        assert_eq!(output.code, 0, "{}", output.err);
        let lines = output.out.lines().map(|line| {
            let mut line: serde_json::Value = serde_json::from_str(line).expect("each line is an object");
            line.as_object_mut().expect("an object").remove("source");
            line.to_string()
        });
        lines.collect::<Vec<_>>()
    };
    let before = listed(&demo);
    let output = format(copy.path(), &["--columns", "12,20,44", "--blanks", "."]);
    assert_eq!(output.code, 0, "{}", output.err);
    assert!(output.out.ends_with("6 of 9 files written\n"), "{}", output.out);
    assert_ne!(file(&demo, "disk.s"), file(copy.path(), "disk.s"));
    assert_eq!(before, listed(copy.path()));
}
