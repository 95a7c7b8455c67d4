//! What is shown of a parameter block: its fields, its bytes, the formulas between them, the disk as a picture.

mod picture;
mod table;

use std::fmt::Write;

use reveille_decoders::family;
use reveille_decoders::track::Budget;
use reveille_facts::{BlockFact, Drive, Evidence, Model, Part, reads, usual_track};
use reveille_source::TokenKind;

use crate::hover::{Hover, describe, escaped, number};
use crate::lookup::{Spot, Thing};

pub(crate) use picture::xml;
pub use picture::{disk_svg, disk_text};
pub use table::table_of_blocks;

/// Bytes in a row of the byte map.
const ROW: usize = 16;

/// Geometry and capacity in one line.
pub(crate) fn summary(block: &BlockFact) -> String {
    let mut parts = vec![format!("**{}**", block.in_words())];
    if !block.is_readable() {
        return parts.remove(0);
    }
    if let Some(capacity) = block.number("capacity") {
        parts.push(if capacity % 1024 == 0 { format!("{} KiB", capacity / 1024) } else { format!("{capacity} bytes") });
    }
    if let Some(format) = block.format {
        parts.push(format!("equals the standard format {} ({})", format.title, format.source));
    }
    parts.join(", ")
}

/// The hover over a block's bytes, label or directive: what the block is, as a table, a picture and formulas.
pub(crate) fn block_hover(spot: &Spot<'_>, block: &BlockFact, thing: Option<&Thing>) -> Option<Hover> {
    // Only over the bytes themselves, or over their label or operation; a comment is a comment.
    let part: Option<&Part> = match thing? {
        Thing::Label(_) | Thing::Operation(_) => None,
        Thing::Token(_, range) | Thing::Operand(range) => {
            let own = block.parts.iter().filter(|part| part.at.place == spot.place);
            let mut own =
                own.filter(|part| part.at.span.range().start <= range.start && range.end <= part.at.span.range().end);
            match own.next() {
                Some(part) => Some(part),
                // The line belongs to two entries of a table, and this operand to the other.
                None => {
                    let other = spot.model.blocks().find(|it| {
                        let mut parts = it.parts.iter().filter(|part| part.at.place == spot.place);
                        parts.any(|part| {
                            part.at.span.range().start <= range.start && range.end <= part.at.span.range().end
                        })
                    });
                    return other.filter(|it| !std::ptr::eq(*it, block)).and_then(|it| block_hover(spot, it, thing));
                }
            }
        }
        Thing::Comment(_) => return None,
    };
    let mut text = format!("```m68k\n{}  {}\n```\n---\n{}\n", block.subject, block.layout.name, summary(block));
    // Over the label of a table the blocks stand side by side.
    let table: Vec<&BlockFact> = match part {
        None if block.entry.1 > 1 => spot.model.table_of(block),
        _ => Vec::new(),
    };
    if let Some(table) = table_of_blocks(&table) {
        let _ = writeln!(text, "\n{table}");
    }
    let _ = writeln!(text, "\n| byte | field | value |\n|---:|---|---|");
    for field in &block.layout.fields {
        let is_here = part.is_some_and(|part| part.start < field.offset + field.bytes && part.end > field.offset);
        let value = block.block().value(field).map_or("not known".into(), |it| escaped(&field.shown(&it)));
        let (offset, meaning) = (field.offset, &field.meaning);
        let _ = if is_here {
            writeln!(text, "| **{offset}** | **> {meaning}** | **{value}** |")
        } else {
            writeln!(text, "| {offset} | {meaning} | {value} |")
        };
    }
    let _ = writeln!(text, "\n```text\n{}```", bytes_text(block, part));
    for line in formulas(block) {
        let _ = writeln!(text, "- {line}");
    }
    if let Some(map) = block.map() {
        let _ = writeln!(text, "\n```text\n{}```", disk_text(&map));
    }
    for line in on_tracks(spot.model, block) {
        let _ = writeln!(text, "\n{line}");
    }
    let confidence = &block.confidence;
    let _ = writeln!(text, "\n{}: {}", confidence.level.name(), confidence.reasons.join("; "));
    // What the operand itself is, besides its place in the block.
    let own = match thing {
        Some(Thing::Token(TokenKind::Number | TokenKind::Text, range)) => number(spot, range),
        Some(Thing::Token(TokenKind::Name, _)) => {
            spot.definition().map(|(unit, definition, _)| describe(unit, &definition))
        }
        _ => None,
    };
    if let (Some(own), Some(Thing::Token(_, range))) = (own, thing) {
        let own = own.rsplit("---\n").next().unwrap_or("");
        let _ = writeln!(text, "\n`{}`: {own}", &spot.text[range.clone()]);
    }
    let _ = write!(text, "\nSource: {}", block.layout.source);
    let range = match (part, thing) {
        (Some(part), _) => part.at.span.range(),
        (None, Some(Thing::Label(range) | Thing::Operation(range))) => range.clone(),
        _ => spot.line.operands.range(),
    };
    Some(Hover { range: spot.in_file(&range), markdown: text })
}

/// What follows from the fields: the formula with the numbers put in, and its value.
#[must_use]
pub fn formulas(block: &BlockFact) -> Vec<String> {
    let derived = family(&block.layout.family).filter(|_| block.is_readable()).map_or(&[][..], |it| &it.derived);
    let line = |it: &reveille_decoders::Derived| {
        let (meaning, value) = (it.meaning.as_ref()?, block.number(&it.name)?);
        let how = it.formula.explained(&block.values);
        // A formula that is one value says nothing more.
        let how = if how == value.to_string() { String::new() } else { format!("{how} = ") };
        Some(format!("{meaning}: {how}**{value}**"))
    };
    derived.iter().filter_map(line).collect()
}

/// How the block's sectors go on their tracks: in the drives of the machine file, or as the standard format has it that the block equals.
#[must_use]
pub fn on_tracks(model: &Model, block: &BlockFact) -> Vec<String> {
    let drives = &model.machine_of(block.at.place.file).drives;
    if drives.is_empty() {
        let format = block.format.filter(|_| block.is_readable());
        return format
            .and_then(|it| Some((it, usual_track(block)?)))
            .into_iter()
            .map(|(format, budget)| {
                let (rate, rpm, title) = (format.data_rate / 1000, format.rpm, &format.title);
                let code = format.encoding.name();
                format!(
                    "Track, as usual for {title}: {code}, {rate} kbit/s, {rpm} turns a minute{}",
                    of_budget(&budget)
                )
            })
            .collect();
    }
    let line = |(drive, _): &(Drive, Evidence)| {
        let found = reads(drive, block)?;
        let name = drive.name.as_ref().map_or_else(|| "the drive".to_owned(), |it| format!("drive `{}`", it.value));
        let verdict = if found.obstacles.is_empty() { "reads this disk" } else { "cannot read this disk" };
        let reasons: String = found.obstacles.iter().chain(&found.cautions).map(|it| format!("; {it}")).collect();
        let budget = found.budget.filter(|_| found.obstacles.is_empty());
        Some(format!(
            "In {name} of the machine file: {verdict}{reasons}{}",
            budget.as_ref().map_or(String::new(), of_budget)
        ))
    };
    drives.iter().filter_map(line).collect()
}

/// What a track has, what the sectors take, and what is left for gap 3.
fn of_budget(budget: &Budget) -> String {
    let standard = budget.standard.map_or(String::new(), |it| format!(", {it} with the usual gaps"));
    format!(
        "; a track has {} bytes, its sectors take {} with the least gaps of the data sheet{standard}; gap 3 may have {} bytes",
        budget.raw, budget.datasheet_min, budget.gap3_left
    )
}

/// The bytes of a block in hex, those of an operand in brackets.
#[must_use]
pub fn bytes_text(block: &BlockFact, part: Option<&Part>) -> String {
    let (mut text, fields) = (String::new(), &block.layout.fields);
    // The whole field, where an operand lays down a part of it.
    let own = part.and_then(|part| {
        let touched = || fields.iter().filter(|it| it.offset < part.end && it.offset + it.bytes > part.start);
        Some((touched().next()?.offset, touched().next_back().map(|it| it.offset + it.bytes)?))
    });
    for (at, byte) in block.bytes.iter().enumerate() {
        if at % ROW == 0 {
            if at > 0 {
                text.push('\n');
            }
            let _ = write!(text, "{at:>3} ");
        }
        let opens = own.is_some_and(|it| at == it.0 || at % ROW == 0 && (it.0..it.1).contains(&at));
        let is_behind = own.is_some_and(|it| at == it.1 && at % ROW != 0);
        text.push(match (opens, is_behind) {
            (true, _) => '[',
            (_, true) => ']',
            _ => ' ',
        });
        if block.holes.contains(&at) {
            text.push_str("??");
        } else {
            let _ = write!(text, "{byte:02X}");
        }
        let ends = own.is_some_and(|it| at + 1 == it.1);
        if ends && (at % ROW == ROW - 1 || at + 1 == block.bytes.len()) {
            text.push(']');
        }
    }
    text.push('\n');
    text
}
