//! The memory of a machine: what stands at an address, and the map as a picture, in characters and as SVG.

use std::fmt::Write;
use std::ops::Range;

use reveille_cpu::{Instruction, Kind, Slot};
use reveille_facts::{MemoryFact, MemoryMap};
use reveille_program::{DefinitionKind, Value, operand_kind};
use reveille_source::{Meaning, Operation};

use crate::block::xml;
use crate::lookup::Spot;

/// Numbers from here on are taken for addresses where nothing says so: below are counts, sizes and offsets. Common practice, no source.
const LEAST_ADDRESS: i64 = 0x1000;

/// What the machine of a source says of an address.
fn line(spot: &Spot<'_>, address: i64) -> Option<String> {
    let machine = spot.model.machine_of(spot.place.file);
    machine.describe(spot.model.program().settings_of(spot.place.file).cpu, address)
}

/// Of the value of a name what the machine file says of it as an address: of labels, and of numbers that look like one.
pub(crate) fn of_name(spot: &Spot<'_>, kind: DefinitionKind, value: Value) -> Option<String> {
    let address = value.number()?;
    match kind {
        DefinitionKind::Label => line(spot, address),
        DefinitionKind::Equate | DefinitionKind::Set => line(spot, address).filter(|_| looks_like_one(spot, address)),
        _ => None,
    }
}

/// Whether a number may be an address: it is a high one, or where a region starts.
fn looks_like_one(spot: &Spot<'_>, number: i64) -> bool {
    let machine = spot.model.machine_of(spot.place.file);
    number >= LEAST_ADDRESS || machine.memory.iter().any(|it| i64::from(it.0.from.value) == number)
}

/// Of the operand that a part of the line belongs to: what the machine file says of its address, if it is one; the address is named where it is
/// not the value of that part alone.
pub(crate) fn of_operand(spot: &Spot<'_>, part: &Range<usize>, own: Option<i64>) -> Option<String> {
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let operands = chunk.operands(spot.line);
    let at = operands.iter().position(|it| it.start <= part.start && part.end <= it.end)?;
    let range = operands[at].clone();
    let (unit, program) = (spot.unit()?, spot.model.program());
    let value = match spot.line.op.get() {
        Operation::Instruction(mnemonic) => {
            let kind = operand_kind(spot.text, range.clone(), chunk.dialect());
            let to_address = || {
                let other = operands.get(at + 1)?;
                (operand_kind(spot.text, other.clone(), chunk.dialect()) == Kind::Address).then_some(())
            };
            let text = match kind {
                Kind::AbsoluteShort | Kind::AbsoluteLong => range.start..range.end - 2,
                Kind::Target if !is_branch(mnemonic.instruction) => range,
                Kind::Immediate if to_address().is_some() => range.start + 1..range.end,
                _ => return None,
            };
            unit.value(program, spot.place, text).number()?
        }
        Operation::Assignment => own.filter(|it| looks_like_one(spot, *it))?,
        Operation::Directive(it) if matches!(it.meaning, Meaning::Equate | Meaning::Set | Meaning::Origin) => own
            .filter(|it| {
                looks_like_one(spot, *it) || spot.line.op.directive().is_some_and(|it| it.meaning == Meaning::Origin)
            })?,
        _ => return None,
    };
    let told = line(spot, value)?;
    Some(if own == Some(value) { told } else { format!("${value:06X}: {told}") })
}

/// Whether an operand without brackets is the target of a branch, which is code and no place to read.
fn is_branch(instruction: &Instruction) -> bool {
    instruction.forms[0].slots.iter().any(|it| matches!(it, Slot::Branch | Slot::Loop))
}

/// A piece of the picture: a region, or a gap between two.
struct Piece<'a> {
    region: Option<&'a MemoryFact>,
    from: i64,
    end: i64,
    /// It lies inside the region before it.
    is_inside: bool,
}

fn pieces(map: &MemoryMap) -> Vec<Piece<'_>> {
    let mut found = Vec::new();
    let mut at = 0;
    for region in &map.regions {
        if region.from > at {
            found.push(Piece { region: None, from: at, end: region.from, is_inside: false });
        }
        found.push(Piece { region: Some(region), from: region.from, end: region.end, is_inside: region.from < at });
        at = at.max(region.end);
    }
    if at < map.end {
        found.push(Piece { region: None, from: at, end: map.end, is_inside: false });
    }
    found
}

/// How tall a piece is, in rows: by classes of size, since a ROM is ten thousand times a port.
fn rows(piece: &Piece<'_>) -> usize {
    match piece.end - piece.from {
        _ if piece.region.is_none() => 1,
        ..=0xfff => 1,
        0x1000..=0xffff => 2,
        0x1_0000..=0x3_ffff => 3,
        _ => 4,
    }
}

fn size(bytes: i64) -> String {
    match bytes {
        1 => "1 byte".to_owned(),
        ..=0xfff => format!("{bytes} bytes"),
        _ if bytes % (1 << 20) == 0 => format!("{} MiB", bytes >> 20),
        _ if bytes % 1024 == 0 => format!("{} KiB", bytes >> 10),
        _ => format!("about {} KiB", (bytes + 512) >> 10),
    }
}

/// The mark of a kind of memory in the picture, what it is called there, and its colours on light and dark paper.
const KINDS: &[(&str, char, &str, &str, &str)] = &[
    ("rom", '#', "ROM", "#b3541e", "#e08a4f"),
    ("ram", '=', "RAM", "#2f6f8f", "#6fb0cf"),
    ("device", '*', "device", "#6b5b95", "#a797d1"),
    ("unknown", '?', "not known", "#a33", "#e66"),
];

fn mark(kind: &str) -> char {
    KINDS.iter().find(|it| it.0 == kind).map_or(' ', |it| it.1)
}

/// What stands beside a piece.
fn words(piece: &Piece<'_>) -> String {
    let bytes = size(piece.end - piece.from);
    match piece.region {
        Some(MemoryFact { name: Some(name), kind, uses, .. }) => {
            // A ROM has the program itself, whether data in it has a name or not.
            let used = if uses.first.is_none() && *kind != "rom" { ", nothing uses it" } else { "" };
            let inside = if piece.is_inside { ", inside the one above" } else { "" };
            let kind = KINDS.iter().find(|it| it.0 == *kind).map_or("", |it| it.2);
            format!("{name}: {kind}, {bytes}{inside}{used}")
        }
        Some(_) => format!("used, but not in the map, {bytes}"),
        None => format!("{bytes} of nothing"),
    }
}

/// The memory from address 0 up: each region with its first address, gaps with their sizes.
#[must_use]
pub fn memory_text(map: &MemoryMap) -> String {
    let mut text = String::new();
    for piece in pieces(map) {
        let Some(region) = piece.region else {
            let _ = writeln!(text, "${:06X}   .            {}", piece.from, words(&piece));
            continue;
        };
        let bar: String = std::iter::repeat_n(mark(region.kind), 10).collect();
        let _ = writeln!(text, "${:06X}  {bar}  {}", piece.from, words(&piece));
        for _ in 1..rows(&piece) {
            let _ = writeln!(text, "         {bar}");
        }
    }
    text
}

/// The height of a row and the width of the bar, in user units.
const ROW: usize = 22;
const BAR: usize = 120;

/// The memory as SVG, address 0 at the top. It needs nothing from outside.
#[must_use]
pub fn memory_svg(map: &MemoryMap, title: &str) -> String {
    let pieces = pieces(map);
    let height: usize = pieces.iter().map(|it| rows(it) * ROW).sum::<usize>() + 16;
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 560 {height}\" role=\"img\" aria-label=\"{}\"><style>text{{font:11px sans-serif;fill:#222}}.gap{{fill:none;stroke:#999;stroke-dasharray:3 3}}",
        xml(title)
    );
    for (kind, _, _, light, _) in KINDS {
        let _ = write!(text, ".m-{kind}{{fill:{light}}}");
    }
    text.push_str("@media(prefers-color-scheme:dark){text{fill:#ddd}");
    for (kind, _, _, _, dark) in KINDS {
        let _ = write!(text, ".m-{kind}{{fill:{dark}}}");
    }
    let _ = write!(text, "}}</style><title>{}</title>", xml(title));
    let mut top = 8;
    for piece in &pieces {
        let high = rows(piece) * ROW;
        let class = piece.region.map_or("gap".to_owned(), |it| format!("m-{}", it.kind));
        // What lies inside another region stands a little to the right.
        let left = if piece.is_inside { 90 } else { 70 };
        let _ = write!(
            text,
            "<text x=\"4\" y=\"{}\">${:06X}</text><rect class=\"{class}\" x=\"{left}\" y=\"{}\" width=\"{}\" height=\"{}\"/><text x=\"{}\" y=\"{}\">{}</text>",
            top + 14,
            piece.from,
            top + 1,
            BAR + 70 - left,
            high - 2,
            BAR + 82,
            top + 14,
            xml(&words(piece))
        );
        top += high;
    }
    text.push_str("</svg>");
    text
}
