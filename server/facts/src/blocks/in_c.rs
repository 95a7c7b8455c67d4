//! Blocks in C: arrays and structs that start with the bytes of a table.

use std::sync::Arc;

use reveille_c::{Element, Object};
use reveille_decoders::Layout;
use reveille_program::{DataItem, DataRun, Place, Program, SourceFile, Unit, Value, subjects};

use super::BlockFact;
use super::cut::cut;
use super::fact::facts;
use crate::c::{CUnit, is_c};
use crate::finding::Evidence;

/// Objects of more bytes than this are no tables of blocks.
const MOST_BYTES: usize = 0x1_0000;
/// A comment reaches so many lines up at most.
const MOST_LINES: usize = 12;

/// The blocks of a C file, in its order.
pub(crate) fn blocks_of_c(program: &Program, own: &CUnit, layouts: &[Arc<Layout>]) -> Vec<BlockFact> {
    // It has no address: the linker gives it one.
    let nowhere = Unit::default();
    let mut found = Vec::new();
    for object in own.unit.objects().iter().filter(|it| it.init.is_some() && !it.is_extern) {
        let Some((run, name)) = run(program, own, object) else { continue };
        let Some(cut) = cut(program, layouts, &run) else { continue };
        for mut fact in facts(program, &nowhere, &run, &cut) {
            fact.label_text = object.name.to_string();
            fact.subject = match fact.entry {
                (_, 1) => object.name.to_string(),
                (at, _) => format!("{}[{at}]", object.name),
            };
            if fact.entry.0 == 0 {
                fact.at = name;
            }
            found.push(fact);
        }
    }
    found
}

/// The bytes of an object as a run of data, and where its name is.
fn run(program: &Program, own: &CUnit, object: &Object) -> Option<(DataRun, Evidence)> {
    let name = own.evidence(object.name_span)?;
    // Headers give no bytes.
    let file = program.file(name.place.file).filter(|it| is_c(it))?;
    let elements = own.unit.data(object)?;
    if elements.iter().map(|it| it.bytes.len()).sum::<usize>() > MOST_BYTES {
        return None;
    }
    let items: Option<Vec<DataItem>> = elements.iter().map(|it| item(own, it)).collect();
    let items = items?;
    let said = comments(file, name.place, name.place);
    let run = DataRun {
        file: file.id(),
        first: name.place,
        last: items.last()?.place,
        label: program.names().find(&object.name),
        subjects: subjects(&format!("{} {said}", object.name)),
        is_longs: items.first()?.item_bytes == 4,
        block: marked(&said),
        chip: None,
        items,
        address: Value::Unknown,
    };
    Some((run, name))
}

fn item(own: &CUnit, element: &Element) -> Option<DataItem> {
    let at = own.evidence(element.span)?;
    // What is no plain number cannot be written anew: a name, an expression, a list that zeros fill up.
    let text = own.unit.text(element.span);
    let digits = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
    let is_plain = match digits {
        Some(hex) => !hex.is_empty() && hex.bytes().all(|it| it.is_ascii_hexdigit()),
        None => text.bytes().all(|it| it.is_ascii_digit()) && (text == "0" || !text.starts_with('0')),
    };
    Some(DataItem {
        place: at.place,
        span: at.span,
        item_bytes: element.item_bytes,
        bytes: element.bytes.clone(),
        is_made: !is_plain,
    })
}

/// The layout that a comment names by `@block`.
fn marked(said: &str) -> Option<String> {
    let (_, behind) = said.split_once("@block")?;
    behind.split_whitespace().next().map(str::to_owned)
}

/// The comments of a table's first line, of an entry's first line, and above the table.
pub(super) fn comments(file: &SourceFile, table: Place, entry: Place) -> String {
    let source = file.source();
    let line = |number: usize| source.line(number).map_or("", |it| it.1);
    let inside =
        |text: &str| text.split("/*").skip(1).map(|it| it.split("*/").next().unwrap_or(it)).collect::<String>();
    let (first, own) = (file.line_number(table), file.line_number(entry));
    let mut text = format!("{} {}", inside(line(first)), inside(line(own)));
    let mut above: Vec<&str> =
        (0..first).rev().map(line).skip_while(|it| it.trim().is_empty()).take(MOST_LINES).collect();
    if above.first().is_some_and(|it| it.trim_end().ends_with("*/")) {
        let opening = above.iter().position(|it| it.contains("/*")).map_or(0, |it| it + 1);
        above.truncate(opening);
        for line in above.iter().rev() {
            let said = line.split_once("/*").map_or(*line, |it| it.1);
            text.push(' ');
            text.push_str(said.trim_end().trim_end_matches("*/").trim_matches(['*', ' ', '\t']));
        }
    }
    text
}
