//! From a cut to facts: values, evidence, the standard format that a block equals.

use std::sync::Arc;

use reveille_decoders::{Format, Layout, Scalar, Values, family, formats};
use reveille_program::{DataItem, DataRun, Place, Program, Unit, definition_span};

use super::cut::{Cut, Entry, placed};
use super::in_c;
use super::words::Words;
use super::{BlockFact, Part, Shape};
use reveille_source::Span;

use crate::c::is_c;
use crate::finding::Evidence;

/// Words that make a disk one that cannot be taken out. Common practice, no source.
const FIXED_WORDS: &[&str] = &["hard", "fixed", "winchester", "ram", "ramdisk", "memory", "hdisk", "hd"];

/// The facts of a cut.
pub(super) fn facts(program: &Program, unit: &Unit, run: &DataRun, cut: &Cut) -> Vec<BlockFact> {
    let name = run.label.map(|label| program.names().text(label).to_string());
    let label_text = name.clone().unwrap_or_default();
    let count = cut.entries.len();
    let label_at = run.label.and_then(|_| label_place(program, unit, run));
    let items: Vec<DataItem> =
        run.items.iter().filter(|item| cut.fill_bytes == 0 || !item.span.is_empty()).cloned().collect();
    let mut found = Vec::with_capacity(count);
    // Other data may follow the table without a label: it ends with its last entry.
    let end = cut.entries.last().map_or(0, |it| it.start + it.len);
    let last = last_place(&items, end).unwrap_or(run.last);
    for (at, entry) in cut.entries.iter().enumerate() {
        let (bytes, holes) = placed(&cut.bytes, entry);
        let (parts, own_items, items_start) = parts(&items, entry, &cut.layout);
        let first = parts.first().map_or(Evidence { place: run.first, span: Span::default() }, |part| part.at);
        let block = cut.layout.decode_with_holes(&bytes, &holes);
        let comments = comments(program, run.first, first.place);
        let file_system = cut.layout.field("file_system_type").and_then(|field| block.value(field));
        let text = format!("{label_text} {comments}").to_ascii_lowercase();
        let says_fat12 =
            text.contains("fat12") || matches!(&file_system, Some(Scalar::Text(text)) if text.starts_with("FAT12"));
        let mut outside = vec![("says_fat12".to_owned(), Scalar::Number(i64::from(says_fat12)))];
        if Words::of(&text).have(FIXED_WORDS) {
            outside.push(("is_fixed".to_owned(), Scalar::Number(1)));
        }
        let Some(family) = family(&cut.layout.family) else { continue };
        let values = Values::new(family, &block, &outside);
        let shape = Shape { fill_bytes: cut.fill_bytes, ..entry.shape };
        let subject = match (&name, count) {
            (Some(name), 1) => name.clone(),
            (Some(name), _) => format!("{name}[{at}]"),
            (None, 1) => "table without a label".to_owned(),
            (None, _) => format!("table without a label[{at}]"),
        };
        let label_at = label_at.map(|place| Evidence { place, span: definition_span(program, place) });
        let is_plain = shape.missing.is_none() && shape.extra.is_none() && !shape.is_swapped && !shape.is_template;
        let mut fact = BlockFact {
            subject,
            label: run.label,
            entry: (at, count),
            offset: entry.start,
            address: run.address.moved(entry.start as i64),
            layout: Arc::clone(&cut.layout),
            bytes,
            holes,
            parts,
            items: own_items,
            items_start,
            shape,
            confidence: cut.confidence.clone(),
            values,
            outside,
            format: None,
            unknown_layout: cut.unknown_layout.clone().filter(|_| at == 0),
            at: label_at.filter(|_| at == 0).unwrap_or(first),
            last,
            label_text: label_text.clone(),
        };
        if is_plain {
            fact.format = equal_format(&fact);
        }
        found.push(fact);
    }
    found
}

/// The line of a run's label: its first line, or one above it that has nothing else.
fn label_place(program: &Program, unit: &Unit, run: &DataRun) -> Option<Place> {
    let file = program.file(run.file)?;
    let (chunk, line, _) = file.at(run.first.chunk, run.first.line);
    if !line.label.is_empty() {
        return Some(run.first);
    }
    let above = chunk.lines()[..run.first.line.into()].iter().rposition(|it| !it.label.is_empty());
    match above {
        Some(line) => Some(Place { line: line as u16, ..run.first }),
        None => unit.get(run.label?).map(|it| it.place),
    }
}

/// The line that lays down the last of `len` bytes.
fn last_place(items: &[DataItem], len: usize) -> Option<Place> {
    let mut sum = 0;
    items
        .iter()
        .find(|item| {
            sum += item.bytes.len();
            sum >= len
        })
        .map(|item| item.place)
}

/// The comments of a table's first line, of an entry's first line, and above the table.
pub(crate) fn comments(program: &Program, table: Place, entry: Place) -> String {
    let Some(file) = program.file(table.file) else { return String::new() };
    if is_c(file) {
        return in_c::comments(file, table, entry);
    }
    let comment = |place: Place| {
        let (_, line, text) = file.at(place.chunk, place.line);
        line.comment.of(text).to_owned()
    };
    let mut text = format!("{} {}", comment(table), comment(entry));
    let (chunk, ..) = file.at(table.chunk, table.line);
    for line in chunk.lines()[..table.line.into()].iter().rev().take(4) {
        if line.op != reveille_source::OpId::NONE {
            break;
        }
        text.push(' ');
        text.push_str(line.comment.of(chunk.line_text(line)));
    }
    text
}

/// Where the bytes of an entry come from, in the places of the layout.
fn parts(items: &[DataItem], entry: &Entry, layout: &Layout) -> (Vec<Part>, Vec<DataItem>, usize) {
    let (mut parts, mut own, mut own_start) = (Vec::new(), Vec::new(), 0);
    let mut start = 0;
    for item in items {
        let end = start + item.bytes.len();
        let (from, to) = (start.max(entry.start), end.min(entry.start + entry.len));
        if from < to {
            if own.is_empty() {
                own_start = entry.start - start;
            }
            own.push(item.clone());
            // A byte too many is no part of the layout; behind it, and behind a missing one, places move.
            let place = |at: usize| {
                let at = at - entry.start;
                match (entry.shape.extra, entry.shape.missing) {
                    (Some(extra), _) if at > extra => at - 1,
                    (_, Some(missing)) if at >= missing => at + 1,
                    _ => at,
                }
            };
            let (first, last) = (place(from), place(to - 1) + 1);
            if !(entry.shape.extra == Some(from - entry.start) && to - from == 1) {
                let at = Evidence { place: item.place, span: item.span };
                parts.push(Part { at, start: first, end: last.min(layout.len()).max(first) });
            }
        }
        start = end;
    }
    (parts, own, own_start)
}

/// The standard format whose values a block has in all its fields. Size and FAT have to be among them; a total may stand in
/// either field.
fn equal_format(fact: &BlockFact) -> Option<&'static Format> {
    let block = fact.block();
    let (size, total) = (fact.number("legal_sector_size")?, fact.number("total"));
    fact.layout.field("sectors_per_fat")?;
    let is_total = |name: &str| matches!(name, "total_sectors" | "total_sectors_32");
    let of_size =
        formats().iter().filter(|it| it.sector_size == size && total.is_none_or(|own| it.total_sectors() == own));
    of_size.into_iter().find(|format| {
        let fields = fact.layout.fields.iter().filter(|field| !is_total(&field.name));
        let mut known = fields.filter_map(|field| Some((format.value(&field.name)?, block.value(field)?.number()?)));
        known.all(|(value, own)| own == value)
    })
}
