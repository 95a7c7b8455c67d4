//! What stands under the cursor in a machine file.

use std::fmt::Write;
use std::ops::Range;

use reveille_machine::keys::{Key, Kind, Section};
use reveille_machine::{Reading, Table, Value, read, written};
use reveille_program::SourceFile;

use super::complete::told;
use super::{about, is_address};
use crate::Hover;

/// What stands at a byte: a heading, a key, a value.
pub(crate) fn hover(file: &SourceFile, byte: usize) -> Option<Hover> {
    let text = file.source().text();
    let found = written(&text, byte);
    let around = |it: &Range<usize>| it.start <= byte && byte <= it.end;
    for table in &found.tables {
        let Some(section) = table.section else { continue };
        if !table.is_inline() && !table.heading.is_empty() && around(&table.heading) {
            let markdown = format!("**{}**\n\n{}", section.header, told(section));
            return Some(Hover { range: table.heading.clone(), markdown });
        }
        let key = table.keys.iter().find(|it| around(&it.1));
        if let Some((name, range)) = key
            && let Some(key) = section.key(name)
        {
            let markdown = format!("**{}** of `{}`\n\n{}", key.name, section.header, about(section, key));
            return Some(Hover { range: range.clone(), markdown });
        }
    }
    value(&read(&text), byte)
}

/// A value that stands at a byte.
fn value(reading: &Reading, byte: usize) -> Option<Hover> {
    let mut found = None;
    reading.tree.visit(&mut |table| {
        for entry in &table.entries {
            let hover = match &entry.value {
                Value::Number(number) if number.span.contains(&byte) => {
                    Some((number.span.clone(), number_text(table, entry.key, number.value)))
                }
                Value::Choice(word) if word.span.contains(&byte) => {
                    let meaning = meaning(entry.key, word.value);
                    Some((word.span.clone(), format!("`{}`: {meaning}", word.value)))
                }
                Value::Numbers(all) => all.iter().find(|it| it.1.span.contains(&byte)).map(|(name, number)| {
                    (number.span.clone(), format!("`{}` is {}", name.value, in_bases(number.value)))
                }),
                _ => None,
            };
            found = hover.or(found.take());
        }
    });
    let (range, markdown) = found?;
    Some(Hover { range, markdown })
}

fn meaning(key: &Key, word: &str) -> &'static str {
    match key.kind {
        Kind::Choice(words) => words.iter().find(|it| it.word == word).map_or("", |it| it.meaning),
        _ => "",
    }
}

fn in_bases(number: i64) -> String {
    if number < 0 { format!("{number}") } else { format!("{number} = ${number:X}") }
}

/// A number, in what people count in: addresses and sizes in hex, a clock with its cycle.
fn number_text(table: &Table, key: &'static Key, number: i64) -> String {
    let mut text = String::new();
    match (&key.kind, key.name) {
        (Kind::Size(_), _) => {
            let _ = write!(text, "{} bytes", in_bases(number));
            if number % 1024 == 0 {
                let _ = write!(text, " = {} KiB", number / 1024);
            }
        }
        (Kind::Number(limits), "clock") => {
            let _ = write!(text, "{number} {}: one cycle takes {} ns", limits.unit, nanoseconds(number));
        }
        (Kind::Number(limits), _) if !is_address(key) && !limits.unit.is_empty() => {
            let _ = write!(text, "{number} {}", limits.unit);
        }
        _ => text.push_str(&in_bases(number)),
    }
    if let Some((from, last)) = extent(table.section, table)
        && matches!(key.name, "from" | "size")
    {
        let _ = write!(text, "\n\nfrom ${from:06X} to ${last:06X}");
    }
    text
}

/// The first and the last address of a range of memory.
pub(super) fn extent(section: &Section, table: &Table) -> Option<(i64, i64)> {
    section.key("from")?;
    match (table.value("from")?, table.value("size")?) {
        (Value::Number(from), Value::Number(size)) => Some((from.value, from.value + size.value - 1)),
        _ => None,
    }
}

/// The time of one cycle, with as many digits as make sense.
fn nanoseconds(clock: i64) -> String {
    let time = 1e9 / clock.max(1) as f64;
    let text = format!("{time:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
