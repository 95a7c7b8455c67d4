//! The machine file on the command line: which sources it speaks for, and what it adds to findings and sheet.

use reveille_tests::{run, tests_folder};
use serde_json::Value;

const BLOCK: &str = "[[block]]\nname = \"pen-setup\"\nat = [\"pen_table\"]\nfields = [{ name = \"pressure\", bytes = 1, max = MOST }]\n";
const SOURCE: &str = "pen_table\tdc.b\t7\n\teven\n";

fn codes(folder: &std::path::Path, path: &str) -> Vec<(String, String)> {
    let output = run(folder, &["lint", "--format", "json", path]);
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let found = output.out.lines().map(|line| serde_json::from_str::<Value>(line).expect("a finding"));
    found.map(|it| (text(&it["file"]), text(&it["finding"]))).collect()
}

#[test]
fn a_machine_file_speaks_for_its_folder_and_those_below_unless_a_deeper_one_does() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("folders can be made");
        std::fs::write(path, text).expect("the folder can be written to");
    };
    write("reveille.toml", &BLOCK.replace("MOST", "5"));
    write("rom/a.s", SOURCE);
    write("bench/reveille.toml", &BLOCK.replace("MOST", "9"));
    write("bench/b.s", SOURCE);
    let found = |path: &str, code: &str| (path.to_owned(), code.to_owned());
    assert_eq!(codes(folder.path(), "."), [found("rom/a.s", "block-102")]);
    // A file alone is read with the machine file above it, from wherever the program was started.
    assert_eq!(codes(folder.path(), "rom/a.s"), [found("rom/a.s", "block-102")]);
    assert_eq!(codes(&folder.path().join("rom"), "a.s"), [found("a.s", "block-102")]);
    assert_eq!(codes(folder.path(), "bench/b.s"), []);
}

#[test]
fn the_drive_of_the_machine_file_decides_what_fits() {
    // 9, 10, 11 and 12 sectors of 512 bytes at 250 kbit/s and 300 turns: the disk reference's track budget, from the FD179X data sheet.
    let block = |sectors: i64, fat: i64| {
        let total = 80 * 2 * sectors;
        format!(
            "tried_bpb\tdc.b\t0,2,1,1,0,2,$E0,0,{},{},$F0,{fat},0,{sectors},0,2,0,0,0\n\teven\n",
            total & 255,
            total >> 8
        )
    };
    let drive = "[[machine.skerry.drive]]\ncylinders = 80\nheads = 2\nrpm = 300\nrate = RATE\n";
    for (rate, sectors, fat, expected) in [
        ("250_000", 9, 5, None),
        ("250_000", 10, 5, Some("track-003")),
        ("250_000", 11, 6, Some("track-002")),
        ("250_000", 12, 6, Some("track-001")),
        ("500_000", 18, 9, None),
        ("500_000", 21, 10, Some("track-002")),
        ("250_000", 18, 9, Some("track-001")),
    ] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::write(folder.path().join("reveille.toml"), drive.replace("RATE", rate))
            .expect("a file can be written");
        std::fs::write(folder.path().join("a.s"), block(sectors, fat)).expect("a file can be written");
        let found = codes(folder.path(), "a.s");
        let tracks: Vec<&str> = found.iter().map(|it| it.1.as_str()).filter(|it| it.starts_with("track-")).collect();
        assert_eq!(tracks, expected.into_iter().collect::<Vec<_>>(), "{sectors} sectors at {rate}: {found:?}");
        let sheet = run(folder.path(), &["sheet", "."]).out;
        let cannot = expected == Some("track-001");
        assert_eq!(sheet.contains("cannot read this disk"), cannot, "{sectors} sectors at {rate}");
        assert_eq!(sheet.contains("reads this disk"), !cannot, "{sectors} sectors at {rate}");
    }
}

#[test]
fn the_page_of_the_sheet_has_pictures_and_takes_nothing_of_a_source_for_markup() {
    let page = run(&tests_folder().join("demo"), &["sheet", "skerry", "--format", "html"]);
    assert_eq!(page.code, 0);
    // One for each block whose disk has a whole geometry, one of the memory and one of the way from power-on.
    assert_eq!(page.out.matches("<figure><svg ").count(), 7);
    assert_eq!(page.out.matches("</svg></figure>").count(), 7);
    for from_outside in ["<script", "<link", "src=", "@import"] {
        assert!(!page.out.contains(from_outside), "{from_outside}");
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let text = "x\tdc.b\t'<b>bold</b>',0\t@block boot-sector-11\n\teven\n";
    std::fs::write(folder.path().join("a.s"), text).expect("a file can be written");
    let page = run(folder.path(), &["sheet", ".", "--format", "html"]).out;
    assert!(page.contains("&lt;b&gt;"), "{page}");
    assert!(!page.contains("<b>"), "{page}");
}

#[test]
fn a_machine_file_that_is_no_text_is_told_as_no_toml() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("reveille.toml"), b"\xff\xfe\0bad").expect("a file can be written");
    std::fs::write(folder.path().join("a.s"), SOURCE).expect("a file can be written");
    assert_eq!(codes(folder.path(), "a.s"), [("reveille.toml".to_owned(), "machine-001".to_owned())]);
}

/// Writes files, each with its text.
fn tree(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, text) in files {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("folders can be made");
        std::fs::write(path, text).expect("the folder can be written to");
    }
    folder
}

#[test]
fn the_machine_file_says_which_files_are_roots_and_one_that_is_named_is_one() {
    const BROKEN: &str = "\tnonsense\n";
    let folder = tree(&[
        ("reveille.toml", "[firmware]\nroots = [\"rom/bios.s\", \"rom/extra.txt\"]\n"),
        ("rom/bios.s", "\tinclude\t\"part.i\"\n\trts\n"),
        ("rom/part.i", "x\tequ\t1\n"),
        ("rom/extra.txt", BROKEN),
        ("old/copy.s", BROKEN),
    ]);
    let found = |path: &str, code: &str| (path.to_owned(), code.to_owned());
    assert_eq!(codes(folder.path(), "."), [found("rom/extra.txt", "name-004")]);
    // From where the sources are, too.
    assert_eq!(codes(&folder.path().join("rom"), "."), [found("extra.txt", "name-004")]);
    assert_eq!(codes(&folder.path().join("rom"), "../rom").len(), 1);
    // What a person names is read.
    assert_eq!(codes(folder.path(), "old/copy.s"), [found("old/copy.s", "name-004")]);
    // A list of which nothing is there leaves nothing out, and is told.
    std::fs::write(folder.path().join("reveille.toml"), "[firmware]\nroots = [\"bois.s\"]\n").expect("a file");
    assert_eq!(codes(folder.path(), "."), [found("old/copy.s", "name-004"), found("reveille.toml", "machine-008")]);
}

#[test]
fn folders_of_included_files_are_those_of_the_machine_file_and_of_the_command_line() {
    let folder = tree(&[
        ("reveille.toml", "[firmware]\ninclude = [\"shared\", \"gone\"]\n"),
        ("rom/a.s", "\tinclude\t\"ports.def\"\n\tinclude\t\"more.def\"\n\tdc.b\tport,more\n"),
        ("shared/ports.def", "port\tequ\t1\n"),
        ("own/more.def", "more\tequ\t2\n"),
    ]);
    let output = run(folder.path(), &["lint", "--format", "json", "rom/a.s", "--include", "own"]);
    let found: Vec<Value> = output.out.lines().map(|it| serde_json::from_str(it).expect("a finding")).collect();
    assert_eq!(found.len(), 1, "{}", output.out);
    assert_eq!((&found[0]["finding"], &found[0]["file"]), (&"machine-008".into(), &"reveille.toml".into()));
    // `"gone"` with its quotes, in the second line.
    assert_eq!(
        found[0]["range"],
        serde_json::json!({ "start": { "line": 1, "character": 21 }, "end": { "line": 1, "character": 27 } })
    );
}

/// The lines of a listing that lay something down: address and bytes.
fn listed(folder: &std::path::Path, arguments: &[&str]) -> Vec<(u64, String)> {
    let output = run(folder, &[&["listing", "--format", "json"], arguments].concat());
    let lines = output.out.lines().map(|line| serde_json::from_str::<Value>(line).expect("a line"));
    let laid = lines.filter(|it| it["bytes"].as_str().is_some_and(|it| !it.is_empty()));
    laid.map(|it| (it["address"].as_u64().unwrap_or_default(), it["bytes"].as_str().unwrap_or_default().to_owned()))
        .collect()
}

#[test]
fn names_origin_and_dialect_come_from_the_machine_file_unless_the_command_line_says_otherwise() {
    let folder = tree(&[
        ("reveille.toml", "[firmware]\ndefines = { BOARD = 2, KEPT = \"$11\" }\norigin = \"$FC0000\"\n"),
        ("a.s", "\tdc.b\tBOARD,KEPT\n"),
        ("deep/reveille.toml", "[firmware]\ndefines = { BOARD = 3, KEPT = 4 }\n"),
        ("deep/b.s", "\tdc.b\tBOARD,KEPT\n"),
        ("unix/reveille.toml", "[firmware]\ndialect = \"dotted\"\n"),
        // A blank in the operands: in Motorola syntax the comment begins there.
        ("unix/c.s", "\tdc.b\t1 + 1\n"),
    ]);
    let laid = |address: u64, bytes: &str| vec![(address, bytes.to_owned())];
    assert_eq!(listed(folder.path(), &["a.s"]), laid(0xfc_0000, "0211"));
    let given = ["a.s", "--define", "BOARD=5", "--origin", "$100"];
    assert_eq!(listed(folder.path(), &given), laid(0x100, "0511"));
    assert_eq!(listed(folder.path(), &["deep/b.s"]), laid(0, "0304"));
    assert_eq!(listed(folder.path(), &["unix/c.s"]), laid(0, "02"));
    assert_eq!(listed(folder.path(), &["unix/c.s", "--dialect", "motorola"]), laid(0, "01"));
}

#[test]
fn processor_and_clock_come_from_the_machine_file_unless_its_machines_differ() {
    let machine = |cpu: &str, clock: u32, name: &str| format!("[machine.{name}]\ncpu = \"{cpu}\"\nclock = {clock}\n");
    // RTD came with the 68010: M68000 Family Programmer's Reference Manual.
    let folder = tree(&[("a.s", "start\trtd\t#4\n"), ("reveille.toml", &machine("68010", 8_000_000, "one"))]);
    let text = |arguments: &[&str]| run(folder.path(), &[&["listing", "a.s"], arguments].concat()).out;
    assert!(text(&[]).contains("For the 68010, 8 MHz"), "{}", text(&[]));
    assert!(text(&["--cpu", "68000"]).contains("code-004"), "{}", text(&["--cpu", "68000"]));
    assert!(text(&["--clock", "4000000"]).contains("For the 68010, 4 MHz"), "{}", text(&["--clock", "4000000"]));
    let two = machine("68010", 8_000_000, "one") + &machine("68010", 10_000_000, "two");
    std::fs::write(folder.path().join("reveille.toml"), two).expect("a file can be written");
    assert!(text(&[]).contains("For the 68010."), "{}", text(&[]));
}
