//! Whole programs against GNU as and ld: firmware pieces in the style of the time, and random ones, through
//! `reveille listing`.
//!
//! Outside judges: GNU as and ld 2.40 for the 68000, in the `--mri` mode for Motorola syntax and in their own for the dotted style.
//! ORG is refused by the first, so a copy without it is judged, which the linker puts where ORG would have.

mod dialects;
mod health;
mod judge;
mod random;

use std::path::Path;

use reveille_source::Dialect;
use reveille_tests::tests_folder;

use judge::{compared, judged, listed};

/// A program of the folder.
struct Piece {
    name: &'static str,
    dialect: Dialect,
    /// Its only ORG, if it has one.
    origin: Option<i64>,
    /// Sections, in the order in which they are met.
    sections: &'static [&'static str],
    /// What the judge gets where it cannot read the program.
    instead: Option<&'static str>,
}

const fn motorola(name: &'static str) -> Piece {
    Piece { name, dialect: Dialect::Motorola, origin: None, sections: &[".text"], instead: None }
}

const fn dotted(name: &'static str) -> Piece {
    Piece { dialect: Dialect::Dotted, ..motorola(name) }
}

const PIECES: &[Piece] = &[
    motorola("ring.s"),
    Piece { origin: Some(0x1000), ..motorola("memory.s") },
    motorola("crc.s"),
    motorola("step.s"),
    motorola("clock.s"),
    motorola("vectors.s"),
    motorola("bitbang.s"),
    motorola("arith.s"),
    motorola("monitor.s"),
    motorola("frames.s"),
    motorola("macros.s"),
    Piece { instead: Some("sizes.by_hand"), ..motorola("sizes.s") },
    Piece { sections: &["code", "tables"], ..motorola("variants.s") },
    Piece { sections: &[".text", ".data", ".bss"], ..dotted("queue.s") },
    dotted("format.s"),
];

/// Copies the sources of a folder, each ORG as the judge can read it: as the selection of the section that it puts there.
fn copied(from: &Path) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for entry in std::fs::read_dir(from).expect("the folder is there").flatten() {
        let path = entry.path();
        if path.extension().is_some_and(|it| it == "rs") || !path.is_file() {
            continue;
        }
        let text = std::fs::read_to_string(&path).expect("a source is text");
        let is_origin = |line: &&str| line.trim_start().starts_with("org") && line.starts_with([' ', '\t']);
        let lines = text.lines().map(|line| if is_origin(&line) { "\ttext" } else { line });
        let text: String = lines.map(|line| format!("{line}\n")).collect();
        std::fs::write(folder.path().join(entry.file_name()), text).expect("the folder can be written to");
    }
    folder
}

#[test]
fn pieces_of_firmware_have_the_bytes_and_labels_that_gnu_as_and_ld_give_them() {
    let folder = tests_folder().join("tests/oracle_programs");
    let copy = copied(&folder);
    let mut wrong = String::new();
    for piece in PIECES {
        let source = piece.instead.unwrap_or(piece.name);
        let theirs = judged(copy.path(), source, piece.dialect, piece.origin.unwrap_or(0), piece.sections)
            .unwrap_or_else(|said| panic!("the judge does not take {source}:\n{said}"));
        let (rows, findings) = listed(&folder, piece.name, &[]);
        assert!(theirs.bytes.len() > 50 && theirs.labels.len() > 1, "{} is not small", piece.name);
        if let Err(text) = compared(&rows, &findings, &theirs) {
            wrong += &format!("{}:\n{text}\n", piece.name);
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn every_source_of_the_folder_is_judged() {
    let folder = tests_folder().join("tests/oracle_programs");
    let mut found: Vec<String> = std::fs::read_dir(folder)
        .expect("the folder is there")
        .flatten()
        .filter_map(|it| it.file_name().into_string().ok())
        .filter(|it| it.ends_with(".s"))
        .collect();
    let mut judged: Vec<&str> = PIECES.iter().map(|it| it.name).collect();
    found.sort();
    judged.sort_unstable();
    assert_eq!(found, judged);
}

#[test]
fn the_demo_firmware_has_the_bytes_and_labels_that_gnu_as_and_ld_give_it() {
    let folder = tests_folder().join("demo/skerry");
    let copy = copied(&folder);
    let theirs = judged(copy.path(), "boot.s", Dialect::Motorola, 0, &[".text"]).expect("the judge takes the demo");
    let (rows, findings) = listed(&folder, "boot.s", &[]);
    assert_eq!(findings, Vec::<serde_json::Value>::new());
    assert!(theirs.labels.len() > 50);
    assert_eq!(compared(&rows, &findings, &theirs), Ok(()));
}
