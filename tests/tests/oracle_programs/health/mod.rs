//! One random program in every dialect and in every layout that people gave their sources: all are recognised, read without an
//! error in either reader, and have the same bytes. Outside judge of those bytes: GNU as 2.40.

mod author;
mod render;

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::PathBuf;

use reveille_decoders::Severity;
use reveille_facts::Model;
use reveille_program::{Content, FileId, Listed, Program, list};
use reveille_source::{Decoded, Dialect, Encoding, File, Trees, decode};

use crate::dialects::from_sgs;
use crate::judge::judged;
use render::{JUDGED, OTHERS, Style};

/// What came of a text.
struct Read {
    bytes: BTreeMap<i64, u8>,
    /// For each line of the source its address and bytes, if it has some by itself.
    lines: BTreeMap<usize, (i64, Vec<u8>)>,
    wrong: String,
}

/// Where the chunks start whose trees have an ERROR or a MISSING node.
pub(crate) fn broken_trees(file: &File) -> Vec<usize> {
    let trees = Trees::new(file);
    let mut found = Vec::new();
    for chunk in 0..file.chunks().len() {
        let Some((mut node, start)) = trees.node_at(file.first_byte(chunk)) else { continue };
        while let Some(parent) = node.parent() {
            node = parent;
        }
        if node.has_error() {
            found.push(start);
        }
    }
    found
}

fn read(text: &str, style: &Style) -> Read {
    let mut wrong = String::new();
    let text = match decode(text.as_bytes().to_vec()) {
        Decoded::Text(text, _) => text,
        Decoded::Binary(at) => panic!("{}: taken for no text because of byte {at}", style.name),
    };
    let file = File::new(&text, None);
    if file.dialect() != style.dialect {
        let _ = writeln!(wrong, "taken for {:?}: {:?}", file.dialect(), file.evidence());
    }
    if file.margin().is_there() != style.listing {
        let _ = writeln!(wrong, "its margin is {:?}", file.margin());
    }
    for start in broken_trees(&file) {
        let _ = writeln!(wrong, "the tree of the chunk at byte {start} has an error");
    }
    let mut program = Program::new();
    program.set_files(vec![(PathBuf::from("a.s"), Content::Text(file, Encoding::Utf8))]);
    let model = Model::new(program, &[], None);
    for finding in model.findings() {
        if finding.severity == Severity::Error {
            let _ = writeln!(wrong, "{}: {} ({:?})", finding.code, finding.message, finding.at);
        }
    }
    let (program, mut bytes, mut lines) = (model.program(), BTreeMap::new(), BTreeMap::new());
    for unit in model.analysis().units() {
        let make = |_: FileId, listed: Vec<Listed>| listed;
        let taken: Result<(), ()> = list(program, unit, &make, &mut |part| {
            for line in part.iter().filter(|it| !it.bytes.is_empty()) {
                let known: Option<Vec<u8>> = line.bytes.iter().copied().collect();
                let (Some(address), Some(own)) = (line.address, known) else {
                    let _ = writeln!(wrong, "not known: {line:?}");
                    continue;
                };
                if line.call.is_none()
                    && let Some(file) = program.file(line.place.file)
                {
                    lines.insert(file.line_number(line.place), (address, own.clone()));
                }
                bytes.extend((address..).zip(own));
            }
            Ok(())
        });
        assert_eq!(taken, Ok(()));
    }
    Read { bytes, lines, wrong }
}

/// The text of a style: its lines with what stands around them. `read` is the same program without the columns of a listing.
fn text(lines: &[String], style: &Style, read: Option<&Read>) -> String {
    let mut out = String::new();
    for (at, line) in lines.iter().enumerate() {
        let is_page = style.page > 0 && at > 0 && at.is_multiple_of(style.page);
        if is_page {
            out += "\x0c";
        }
        let Some(read) = read else {
            out += line;
            out += style.line_end;
            continue;
        };
        if is_page || at == 0 {
            let page = at.checked_div(style.page).unwrap_or(0) + 1;
            let _ = write!(out, "TIDE RECORDER  MAIN BOARD{:>80} {page:>4}{1}{1}", "PAGE", style.line_end);
        }
        let (address, bytes) = match read.lines.get(&at) {
            Some((address, bytes)) => (format!("{address:08X}"), bytes.as_slice()),
            None => (String::new(), &[][..]),
        };
        let mut rows = bytes.chunks(6).map(hex);
        let first = rows.next().unwrap_or_default();
        let row = format!("{:>5} {address:8}  {first:<17}{}", at + 1, tabs(line));
        out += &row;
        out += style.line_end;
        let mut address = read.lines.get(&at).map_or(0, |it| it.0);
        for more in rows {
            address += 6;
            let _ = write!(out, "      {address:08X}  {more}{}", style.line_end);
        }
    }
    if style.cut {
        out.truncate(out.trim_end_matches(['\r', '\n']).len());
    }
    out + style.tail
}

/// A line with blanks for its tabs, as a printer has it.
fn tabs(line: &str) -> String {
    let mut out = String::new();
    for character in line.chars() {
        match character {
            '\t' => out.extend(std::iter::repeat_n(' ', 8 - out.chars().count() % 8)),
            character => out.push(character),
        }
    }
    out
}

fn hex(bytes: &[u8]) -> String {
    let words = bytes.chunks(2).map(|it| it.iter().map(|byte| format!("{byte:02X}")).collect::<String>());
    words.collect::<Vec<_>>().join(" ")
}

/// Where two images differ first.
fn difference(ours: &BTreeMap<i64, u8>, theirs: &BTreeMap<i64, u8>) -> Option<String> {
    let all = ours.keys().chain(theirs.keys());
    // Reserved memory is zeros to the linker.
    let at = all.copied().filter(|at| ours.get(at).unwrap_or(&0) != theirs.get(at).unwrap_or(&0)).min()?;
    Some(format!("at {at:X}: {:02X?} and {:02X?}", ours.get(&at), theirs.get(&at)))
}

#[test]
fn one_program_is_the_same_in_every_dialect_and_layout() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut wrong = Vec::new();
    for seed in 0..64 {
        let program = author::program(seed);
        let first_lines = render::lines(&program, JUDGED[0]);
        let first = read(&text(&first_lines, &JUDGED[0], None), &JUDGED[0]);
        assert!(first.bytes.len() > 100, "seed {seed} is small");
        for (at, style) in JUDGED.iter().chain(OTHERS).enumerate() {
            let lines = render::lines(&program, *style);
            let plain = text(&lines, &Style { listing: false, page: 0, tail: "", cut: false, ..*style }, None);
            let mut told = String::new();
            let source = if style.listing {
                let own = read(&plain, &Style { listing: false, ..*style });
                told += &own.wrong;
                text(&lines, style, Some(&own))
            } else {
                text(&lines, style, None)
            };
            let found = read(&source, style);
            told += &found.wrong;
            if let Some(text) = difference(&found.bytes, &first.bytes) {
                let _ = writeln!(told, "not as in Motorola syntax {text}");
            }
            // Each is judged, in turns; at times all.
            if at < JUDGED.len() && (seed % 16 == 0 || seed as usize % JUDGED.len() == at) {
                let turned = |line| if style.dialect == Dialect::Sgs { from_sgs(line) } else { String::from(line) };
                let judge: String = source.lines().map(|line| turned(line) + "\n").collect();
                std::fs::write(folder.path().join("a.s"), judge).expect("the folder can be written to");
                match judged(folder.path(), "a.s", style.dialect, 0, &[".text"]) {
                    Ok(theirs) => {
                        if let Some(text) = difference(&found.bytes, &theirs.bytes) {
                            let _ = writeln!(told, "not as GNU as has it {text}");
                        }
                    }
                    Err(said) => told += &format!("the judge does not take it: {said}"),
                }
            }
            if !told.is_empty() {
                if let Some(kept) = std::env::var_os("REVEILLE_KEEP") {
                    let _ = std::fs::write(PathBuf::from(kept).join(format!("{seed}-{at}.s")), &source);
                }
                let head: Vec<&str> = told.lines().take(4).collect();
                wrong.push(format!("seed {seed}, {} ({at}):\n{}", style.name, head.join("\n")));
            }
        }
    }
    wrong.sort_by_key(String::len);
    assert!(wrong.is_empty(), "{} texts are wrong\n{}", wrong.len(), wrong.join("\n"));
}
