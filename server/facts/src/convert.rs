//! Blocks given the values of a standard format, and entries for one added to a table, written as the author writes.

use reveille_decoders::{Format, formats};
use reveille_program::{Place, Program};
use reveille_source::Span;

use crate::blocks::BlockFact;
use crate::finding::{Edit, Fix};
use crate::fix::{line_end, set_bytes};

/// How many fields of a block a format must say something about, to be one of its kind.
const FEWEST_FIELDS: usize = 3;

/// The changes of a block's bytes that make it the block of a format; fields of which the format says nothing stay.
fn values(block: &BlockFact, format: &Format) -> Option<Vec<(usize, u8)>> {
    let known = block.layout.fields.iter().filter_map(|field| Some((field, format.value(&field.name)?)));
    let (mut count, mut changes) = (0, Vec::new());
    for (field, value) in known {
        count += 1;
        let bytes = block.layout.encode(field, value);
        // A value that the field cannot hold would be another format.
        if value >> (8 * field.bytes.min(7)) != 0 {
            return None;
        }
        changes.extend(bytes.into_iter().enumerate().map(|(at, byte)| (field.offset + at, byte)));
    }
    (count >= FEWEST_FIELDS).then_some(changes)
}

/// Whether the block's bytes are where its layout has them, so that they can be given other values.
fn is_plain(block: &BlockFact) -> bool {
    let shape = block.shape;
    shape.missing.is_none() && shape.extra.is_none() && !shape.is_swapped && block.bytes.len() == block.layout.len()
}

fn moved(block: &BlockFact, changes: &[(usize, u8)]) -> Vec<(usize, u8)> {
    changes.iter().map(|(at, byte)| (at + block.items_start, *byte)).collect()
}

fn named(format: &Format) -> String {
    let Format { cylinders, sides, sectors_per_track, sector_size, title, .. } = format;
    format!("{title} ({cylinders} x {sides} x {sectors_per_track} x {sector_size})")
}

/// For each standard format that the block is not: the change that makes it one.
#[must_use]
pub fn conversions(program: &Program, block: &BlockFact) -> Vec<Fix> {
    let others = formats().iter().filter(|it| is_plain(block) && block.format.is_none_or(|own| own.name != it.name));
    let fix = |format: &Format| {
        let changes = moved(block, &values(block, format)?);
        let edits = set_bytes(program, &block.items, &changes)?;
        Some(Fix { title: format!("Convert `{}` to {}", block.subject, named(format)), edits })
    };
    others.filter_map(fix).collect()
}

/// For each standard format that the block's table does not have: the lines of an entry for it, behind this one.
///
/// `table` are the blocks of the same table.
#[must_use]
pub fn additions(program: &Program, block: &BlockFact, table: &[&BlockFact]) -> Vec<Fix> {
    let Some(lines) = own_lines(program, block).filter(|_| is_plain(block)) else { return Vec::new() };
    let is_there = |format: &Format| table.iter().any(|it| it.format.is_some_and(|own| own.name == format.name));
    let fix = |format: &Format| {
        let changes = moved(block, &values(block, format)?);
        let edits = set_bytes(program, &block.items, &changes).unwrap_or_default();
        let text = lines.iter().enumerate().map(|(at, line)| copy(program, *line, &edits, (at == 0).then_some(format)));
        let text: String = text.collect::<Option<String>>()?;
        let last = *lines.last()?;
        let file = program.file(last.file)?;
        let (_, line, _) = file.at(last.chunk, last.line);
        let span = Span { start: line.len, end: line.len };
        let title = format!("Add a block for {} behind `{}`", named(format), block.subject);
        Some(Fix { title, edits: vec![Edit { place: last, span, text }] })
    };
    // A format that the block itself cannot be given cannot be added either; one that it has would be equal.
    formats().iter().filter(|it| !is_there(it)).filter_map(fix).collect()
}

/// The lines that lay down a block, if they lay down nothing else and no macro makes them.
fn own_lines(program: &Program, block: &BlockFact) -> Option<Vec<Place>> {
    if block.items_start != 0 || block.items.iter().any(|it| it.is_made || it.span.is_empty()) {
        return None;
    }
    let laid: usize = block.items.iter().map(|it| it.bytes.len()).sum();
    let mut lines: Vec<Place> = block.items.iter().map(|it| it.place).collect();
    lines.dedup();
    let is_whole = |place: &Place| {
        program.file(place.file).is_some_and(|file| {
            let (chunk, line, _) = file.at(place.chunk, place.line);
            chunk.operands(line).len() == block.items.iter().filter(|it| it.place == *place).count()
        })
    };
    (laid == block.layout.len() && lines.iter().all(is_whole)).then_some(lines)
}

/// A line once more, with other values, without its label; the comment of the first line says which format it is.
fn copy(program: &Program, place: Place, edits: &[Edit], format: Option<&Format>) -> Option<String> {
    let file = program.file(place.file)?;
    let (chunk, line, text) = file.at(place.chunk, place.line);
    let operation = usize::from(line.operation.start);
    let indent = if line.label.is_empty() { &text[..operation] } else { "\t" };
    let mut own: Vec<&Edit> = edits.iter().filter(|it| it.place == place).collect();
    own.sort_by_key(|it| it.span.start);
    let mut made = format!("{}{indent}", line_end(chunk, line));
    let mut at = operation;
    for edit in own {
        made.push_str(&text[at..usize::from(edit.span.start)]);
        made.push_str(&edit.text);
        at = edit.span.end.into();
    }
    let end = usize::from(line.operands.end);
    made.push_str(&text[at..end]);
    if let Some(format) = format.filter(|_| !line.comment.is_empty()) {
        let start = usize::from(line.comment.start);
        let comment = line.comment.of(text);
        let mark = comment.len() - comment.trim_start_matches([';', '*', '|', '#', '/', ' ']).len();
        made.push_str(&text[end..start + mark]);
        made.push_str(&format.title);
    }
    Some(made)
}
