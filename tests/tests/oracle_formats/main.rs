//! Parameter blocks against outside judges: images made by mformat and mkfs.fat and described by minfo, and the published rules
//! worked out a second time, here, from the reference's text and not from the program's tables.
//!
//! Sources of the values: FAT: General Overview of On-Disk Format 1.03 (fields, FAT length, type by cluster count); MS-DOS 2.0
//! Device Drivers; Microsoft Knowledge Base Q75131 (standard formats, media descriptors); fdutils 5.6 manual (cylinders);
//! mtools 4.0.32 and mkfs.fat 4.2 (observed).

mod damage;
mod images;
mod kinds;
mod mutation;
mod rules;

use std::path::Path;

use reveille_fixture::Numbers;
use reveille_tests::run;
use serde_json::Value;

/// How the bytes of a table are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Style {
    HexOneLine,
    DecimalLines,
    Mixed,
    Words,
    Expressions,
    Dotted,
}

const STYLES: [Style; 6] =
    [Style::HexOneLine, Style::DecimalLines, Style::Mixed, Style::Words, Style::Expressions, Style::Dotted];

impl Style {
    fn is_dotted(self) -> bool {
        self == Self::Dotted
    }
}

/// The lines that lay down bytes, each with a tabulator before it.
fn data_lines(bytes: &[u8], style: Style, upper: bool, numbers: &mut Numbers) -> Vec<String> {
    let case = |text: &str| if upper { text.to_ascii_uppercase() } else { text.to_owned() };
    let hex = |byte: u8| if upper { format!("${byte:02X}") } else { format!("${byte:02x}") };
    let mut item = |byte: u8| match style {
        Style::HexOneLine | Style::Words => hex(byte),
        Style::DecimalLines => byte.to_string(),
        Style::Mixed => match numbers.below(4) {
            0 => format!("%{byte:08b}"),
            1 => format!("@{byte:o}"),
            2 => byte.to_string(),
            _ => hex(byte),
        },
        Style::Expressions => match numbers.below(3) {
            0 => format!("BASE+{byte}-BASE"),
            1 => format!("({}*256+{byte})&255", byte / 3),
            _ => hex(byte),
        },
        Style::Dotted => match byte % 3 {
            0 => byte.to_string(),
            1 => format!("0x{byte:02x}"),
            _ => format!("0{byte:o}"),
        },
    };
    let line = |items: &[u8], item: &mut dyn FnMut(u8) -> String| {
        let items: Vec<String> = items.iter().map(|byte| item(*byte)).collect();
        let operation = if style.is_dotted() { ".byte".to_owned() } else { case("dc.b") };
        format!("\t{operation}\t{}", items.join(","))
    };
    match style {
        Style::HexOneLine => vec![line(bytes, &mut item)],
        Style::Words => {
            let (words, rest) = bytes.split_at(bytes.len() / 2 * 2);
            let words: Vec<String> =
                words.chunks(2).map(|pair| format!("${:04X}", u16::from_be_bytes([pair[0], pair[1]]))).collect();
            let mut lines: Vec<String> =
                words.chunks(6).map(|row| format!("\t{}\t{}", case("dc.w"), row.join(","))).collect();
            if !rest.is_empty() {
                lines.push(line(rest, &mut item));
            }
            lines
        }
        _ => bytes.chunks(7).map(|row| line(row, &mut item)).collect(),
    }
}

/// Prints the sheet of a folder and gives its facts about parameter blocks.
fn block_facts(folder: &Path) -> Vec<Value> {
    let output = run(folder, &["sheet", "--format", "json", "."]);
    assert_eq!(output.code, 0, "{}", output.err);
    let sheet: Value = serde_json::from_str(&output.out).expect("the sheet is JSON");
    let facts = sheet["facts"].as_array().expect("a sheet has facts");
    facts.iter().filter(|it| it["kind"] == "parameter-block").cloned().collect()
}

/// The fact whose evidence is in a file.
fn fact_in<'a>(facts: &'a [Value], file: &str) -> Vec<&'a Value> {
    let is_there =
        |it: &&Value| it["evidence"][0]["file"].as_str().is_some_and(|path| path.rsplit('/').next() == Some(file));
    facts.iter().filter(is_there).collect()
}
