//! Addresses in data: what stands there, and tables of them.

use std::ops::Range;

use reveille_program::{DataItem, Definition, DefinitionKind, Value, data_run_at};
use reveille_source::{Meaning, Operation, TokenKind};

use crate::lookup::{Spot, Thing};

/// An address so many bytes behind a label is told by it.
const NEAR: i64 = 0x1000;

/// From so many entries on it is a table.
const LEAST: usize = 3;

/// The most entries that are listed.
const MOST_LISTED: usize = 16;

/// What is told of an address or a distance in data.
pub(super) fn notes(spot: &Spot<'_>, thing: &Thing) -> Vec<String> {
    let Thing::Token(TokenKind::Number | TokenKind::Name, range) = thing else { return Vec::new() };
    let mut found: Vec<String> = there(spot, range).into_iter().collect();
    found.extend(table(spot));
    found
}

fn item_bytes(spot: &Spot<'_>) -> Option<u8> {
    match spot.line.op.directive()?.meaning {
        Meaning::Constants => match spot.line.size {
            b'l' => Some(4),
            b'w' | 0 => Some(2),
            _ => None,
        },
        Meaning::ConstantsOf(bytes) => Some(bytes),
        _ => None,
    }
}

/// What stands at the address that a long word is.
fn there(spot: &Spot<'_>, range: &Range<usize>) -> Option<String> {
    if item_bytes(spot)? != 4 {
        return None;
    }
    let (unit, program) = (spot.unit()?, spot.model.program());
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let operand = chunk.operands(spot.line).into_iter().find(|it| it.start <= range.start && range.end <= it.end)?;
    let value = unit.value(program, spot.place, operand);
    let behind = |it: &&Definition| match (value, it.value) {
        (Value::Number(at), Value::Number(label)) => Some(at - label),
        (Value::Address(base, at), Value::Address(other, label)) if base == other => Some(at - label),
        _ => None,
    };
    // Small numbers are counts.
    if matches!(value, Value::Number(..0x400)) {
        return None;
    }
    let labels = unit.definitions().iter().filter(|it| it.kind == DefinitionKind::Label && !it.symbol.is_local());
    let (label, offset) = labels
        .filter_map(|it| Some((it, behind(&it)?)))
        .filter(|it| (0..NEAR).contains(&it.1))
        .min_by_key(|it| it.1)?;
    let file = program.file(label.place.file)?;
    let first = file.line_number(label.place);
    let name = program.names().text(label.symbol);
    if offset > 0 {
        return Some(format!("points to `{name}`+{offset}"));
    }
    let (_, line, text) = file.at(label.place.chunk, label.place.line);
    let statement = (first..first + 8).find_map(|number| {
        let place = file.place(number)?;
        let (_, line, text) = file.at(place.chunk, place.line);
        let is_laid =
            matches!(line.op.get(), Operation::Instruction(_) | Operation::Directive(_) | Operation::MacroCall);
        let end = line.operands.end.max(line.size_span().end);
        let part = text.get(line.operation.start.into()..end.into()).filter(|_| is_laid)?;
        let words: Vec<_> = part.split_whitespace().collect();
        let shown: String = words.join(" ").chars().filter(|it| *it != '`').take(60).collect();
        Some(shown)
    })?;
    let comment = line.comment.of(text).trim_start_matches(['*', ';', '|', '/', '#', ' ', '\t']).trim();
    let comment = if comment.is_empty() { String::new() } else { format!(" ({})", crate::hover::escaped(comment)) };
    Some(format!("points to `{name}`{comment}: `{statement}`"))
}

/// The table that an entry belongs to: addresses of code, or distances from a base.
fn table(spot: &Spot<'_>) -> Option<String> {
    let (unit, program) = (spot.unit()?, spot.model.program());
    let bytes = item_bytes(spot).filter(|it| matches!(it, 2 | 4))?;
    let run = data_run_at(program, unit, spot.place)?;
    let text_of = |item: &DataItem| {
        let file = program.file(item.place.file)?;
        let (_, _, text) = file.at(item.place.chunk, item.place.line);
        Some(item.span.of(text).to_owned())
    };
    // A vector table is told as such.
    if spot.model.vectors_at(spot.place, spot.at).is_some() {
        return None;
    }
    let target = |item: &DataItem| {
        let text = text_of(item)?;
        let (name, base) = match text.split_once('-') {
            Some((name, base)) if bytes == 2 => (name.trim().to_owned(), Some(base.trim().to_owned())),
            None if bytes == 4 => (text, None),
            _ => return None,
        };
        let label = |it: &str| unit.resolve(program, item.place, it).filter(|it| it.kind == DefinitionKind::Label);
        label(&name)?;
        if let Some(base) = &base {
            label(base).map(|_| ()).or_else(|| (base == "*").then_some(()))?;
        }
        Some((name, base))
    };
    let targets: Vec<(String, Option<String>)> = run.items.iter().map(target).collect::<Option<_>>()?;
    let own = run.items.iter().position(|it| {
        let range = it.span.range();
        it.place == spot.place && range.start <= spot.at && spot.at <= range.end
    })?;
    let base = targets.first()?.1.clone();
    if targets.len() < LEAST || targets.iter().any(|it| it.1 != base) {
        return None;
    }
    let listed = targets.iter().enumerate().take(MOST_LISTED).map(|(at, it)| format!("{at} `{}`", it.0));
    let listed: Vec<_> = listed.collect();
    let more = if targets.len() > MOST_LISTED { ", ..." } else { "" };
    let what = base.map_or("a table of addresses".to_owned(), |it| format!("a table of distances from `{it}`"));
    Some(format!("entry {own} of {} in {what}: {}{more}", targets.len(), listed.join(", ")))
}
