//! The tables of a machine file: as an outline, and as lines that can be folded away.

use std::ops::Range;

use reveille_machine::keys::{FIELD, MEMORY};
use reveille_machine::{Table, Value, WrittenTable, read, written};
use reveille_program::SourceFile;
use reveille_source::File;

use super::explain::extent;
use crate::{Block, BlockKind, OutlineKind, OutlineSymbol};

/// The tables with their names, machines with theirs in them, blocks with their fields.
pub(crate) fn outline(file: &SourceFile) -> Vec<OutlineSymbol> {
    let text = file.source().text();
    let reading = read(&text);
    let mut found: Vec<OutlineSymbol> = Vec::new();
    for table in &written(&text, 0).tables {
        let read = table_of(&reading.tree, table);
        let of = |key: &str| read.and_then(|it| text_of(it, key));
        let range = lines_of(&text, table);
        match &table.path[..] {
            [] if table.section.is_some_and(|it| std::ptr::eq(it, &FIELD)) => {
                let field = symbol(of("name"), of("meaning"), "field", OutlineKind::Constant, range, table);
                push_below(&mut found, field);
            }
            [first] if first == "firmware" => {
                let detail = table.section.map(|it| it.title.to_owned());
                found.push(symbol(Some("firmware".into()), detail, "", OutlineKind::Section, range, table));
            }
            [first] if first == "block" => {
                found.push(symbol(of("name"), of("title"), "block", OutlineKind::Block, range, table));
            }
            [first, second] if first == "block" && second == "fields" => {
                let field = symbol(of("name"), of("meaning"), "field", OutlineKind::Constant, range, table);
                push_below(&mut found, field);
            }
            [first, name, rest @ ..] if first == "machine" => {
                let at = found.iter().position(|it| it.kind == OutlineKind::Section && it.name == *name);
                let at = at.unwrap_or_else(|| {
                    found.push(symbol(Some(name.clone()), None, "", OutlineKind::Section, range.clone(), table));
                    found.len() - 1
                });
                match rest {
                    [] => found[at].detail = of("title").unwrap_or_default(),
                    [kind, ..] => {
                        let place = read.filter(|it| std::ptr::eq(it.section, &MEMORY));
                        let place = place.and_then(|it| extent(it.section, it));
                        let place = place.map(|(from, last)| format!("{kind} ${from:06X} to ${last:06X}"));
                        let detail = place.unwrap_or_else(|| kind.clone());
                        let own = symbol(of("name"), Some(detail), kind, OutlineKind::Data, range.clone(), table);
                        found[at].children.push(own);
                        found[at].range.end = found[at].range.end.max(range.end);
                    }
                }
            }
            _ => (),
        }
    }
    found
}

fn symbol(
    name: Option<String>,
    detail: Option<String>,
    or_name: &str,
    kind: OutlineKind,
    range: Range<usize>,
    table: &WrittenTable,
) -> OutlineSymbol {
    OutlineSymbol {
        name: name.unwrap_or_else(|| or_name.to_owned()),
        detail: detail.unwrap_or_default(),
        kind,
        name_range: table.heading.clone(),
        range,
        children: Vec::new(),
    }
}

/// A field belongs to the block above it.
fn push_below(found: &mut [OutlineSymbol], field: OutlineSymbol) {
    if let Some(block) = found.last_mut().filter(|it| it.kind == OutlineKind::Block) {
        block.range.end = block.range.end.max(field.range.end);
        block.children.push(field);
    }
}

/// What was read of a table as it is written.
fn table_of<'a>(tree: &'a Table, written: &WrittenTable) -> Option<&'a Table> {
    let mut found = None;
    tree.visit(&mut |table| {
        let is_same = table.span.start == written.heading.start && table.is_inline == written.is_inline();
        let is_same_kind = written.section.is_some_and(|it| std::ptr::eq(it, table.section));
        if is_same && is_same_kind && found.is_none() {
            found = Some(table);
        }
    });
    found
}

fn text_of(table: &Table, key: &str) -> Option<String> {
    match table.value(key)? {
        Value::Text(text) => Some(text.value.clone()),
        _ => None,
    }
}

/// The bytes of a table with its heading, without the blank and comment lines before the next.
fn lines_of(text: &str, table: &WrittenTable) -> Range<usize> {
    let mut end = table.end;
    if !table.is_inline() {
        let inside = &text[table.heading.end..table.end];
        let is_content = |line: &&str| !line.trim().is_empty() && !line.trim_start().starts_with('#');
        let (mut at, mut last) = (0, 0);
        for line in inside.split_inclusive('\n') {
            if is_content(&line) {
                last = at + line.trim_end().len();
            }
            at += line.len();
        }
        end = table.heading.end + last;
    }
    table.heading.start..end
}

/// Tables below their headings, and lists of several lines.
pub(crate) fn folds(file: &SourceFile) -> Vec<Block> {
    let source: &File = file.source();
    let text = source.text();
    let mut found = Vec::new();
    for table in written(&text, 0).tables.iter().skip(1) {
        let range = lines_of(&text, table);
        let lines = source.line_of(range.start)..source.line_of(range.end.saturating_sub(1).max(range.start)) + 1;
        if lines.len() > 1 {
            found.push(Block { kind: BlockKind::Table, lines });
        }
    }
    found
}
