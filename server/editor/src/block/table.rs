//! The blocks of one table side by side.

use std::fmt::Write;

use reveille_facts::BlockFact;

/// The blocks of a table as Markdown, one row a block; values that differ from most of the others are bold. None for a single block.
#[must_use]
pub fn table_of_blocks(blocks: &[&BlockFact]) -> Option<String> {
    let first = *blocks.first().filter(|_| blocks.len() > 1)?;
    let fields: Vec<_> = first.layout.fields.iter().collect();
    let value = |block: &BlockFact, name: &str| {
        let field = block.layout.field(name)?;
        block.block().value(field).map(|it| field.shown(&it))
    };
    let usual: Vec<Option<String>> = fields
        .iter()
        .map(|field| {
            let values: Vec<_> = blocks.iter().filter_map(|block| value(block, &field.name)).collect();
            let count = |it: &String| values.iter().filter(|other| *other == it).count();
            values.iter().rev().max_by_key(|it| count(it)).filter(|it| count(it) * 2 > blocks.len()).cloned()
        })
        .collect();
    let is_mixed = |at: usize| {
        let mut values = blocks.iter().map(|block| value(block, &fields[at].name));
        let first = values.next();
        values.any(|it| Some(it) != first)
    };
    let mut text = String::from("| |");
    for (at, field) in fields.iter().enumerate() {
        let name = field.name.replace('_', " ");
        let _ = if is_mixed(at) { write!(text, " **{name}** |") } else { write!(text, " {name} |") };
    }
    text.push_str(" disk |\n|---|");
    text.push_str(&"---:|".repeat(fields.len()));
    text.push_str("---|\n");
    for block in blocks {
        let entry = if block.entry.1 > 1 { format!("[{}]", block.entry.0) } else { block.subject.clone() };
        let _ = write!(text, "| {entry} |");
        for (at, field) in fields.iter().enumerate() {
            let shown = value(block, &field.name).map_or("?".to_owned(), |it| it.replace('|', "\\|"));
            let differs = is_mixed(at) && usual[at].as_ref() != Some(&shown);
            let _ = if differs { write!(text, " **{shown}** |") } else { write!(text, " {shown} |") };
        }
        let _ = writeln!(text, " {} |", block.in_words());
    }
    Some(text)
}
