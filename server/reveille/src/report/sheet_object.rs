//! Program files in the sheet: as Markdown, and as JSON.

use std::io::Write;
use std::ops::Range;

use reveille_facts::{Model, ObjectFact, catalog_entry};
use serde_json::{Map, Value, json};

use super::display_path;

/// What a program file is called: its path, and behind a colon its path in the image that it is in.
pub(super) fn object_name(model: &Model, fact: &ObjectFact) -> String {
    let path = display_path(model, fact.file);
    match &fact.object.inside {
        Some(inside) => format!("{path}:{inside}"),
        None => path,
    }
}

/// The section of the sheet; none where there is no program file.
pub(super) fn objects(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    if model.objects().is_empty() {
        return Ok(());
    }
    writeln!(out, "## Program files\n")?;
    writeln!(out, "| file | kind | loaded | bss | entry | bytes | sizes | symbols | does not fit |")?;
    writeln!(out, "|---|---|---|---|---|---|---|---|---|")?;
    for fact in model.objects() {
        let object = &fact.object;
        let sizes = ["text", "data", "bss"];
        let sizes: Vec<String> = sizes.iter().filter_map(|it| Some(format!("{it} {}", object.field(it)?))).collect();
        let mut wrong: Vec<&str> = Vec::new();
        for title in fact.findings.iter().filter_map(|it| Some(catalog_entry(it.code)?.title.as_str())) {
            if !wrong.contains(&title) {
                wrong.push(title);
            }
        }
        let place = if object.is_absolute { "" } else { ", is relocated" };
        writeln!(
            out,
            "| `{}` | {}{place} | {} | {} | {} | {} | {} | {} | {} |",
            object_name(model, fact).replace('|', "\\|").replace('`', "'"),
            object.title,
            addresses(object.load()),
            addresses(object.bss()),
            object.entry.map_or_else(|| "-".to_owned(), |it| format!("${it:06X}")),
            object.bytes,
            shown(sizes.join(", ")),
            object.symbols.len(),
            shown(wrong.join("; ")),
        )?;
    }
    writeln!(
        out,
        "\nWhere a file does not say an address, none is given: a relocated one is loaded wherever there is room.\n"
    )?;
    Ok(())
}

fn addresses(range: Option<Range<u64>>) -> String {
    range.map_or_else(|| "-".to_owned(), |it| format!("${:06X}-${:06X}", it.start, it.end.saturating_sub(1)))
}

fn shown(text: String) -> String {
    if text.is_empty() { "-".to_owned() } else { text }
}

/// All that is known of a program file. Ends of ranges are those behind the last.
pub(super) fn object_value(fact: &ObjectFact) -> Value {
    let object = &fact.object;
    let range = |it: &Range<u64>| json!({"from": it.start, "to": it.end});
    let fields = object.fields.iter().map(|it| {
        json!({"name": it.name, "meaning": it.meaning, "value": it.value, "offset": it.bytes.start, "bytes": it.bytes.end - it.bytes.start})
    });
    let named = |name: &str, at: &Range<u64>| {
        let mut all = Map::new();
        all.insert("name".to_owned(), name.into());
        all.insert("from".to_owned(), at.start.into());
        all.insert("to".to_owned(), at.end.into());
        Value::Object(all)
    };
    let symbols = object.symbols.iter().map(|it| {
        json!({"name": it.name, "type": it.kind, "value": it.value, "offset": it.range.start, "bytes": it.range.end - it.range.start})
    });
    json!({
        "inside": object.inside,
        "kind": object.kind,
        "title": object.title,
        "bytes": object.bytes,
        "fields": fields.collect::<Vec<_>>(),
        "parts": object.parts.iter().map(|it| named(it.name, &it.range)).collect::<Vec<_>>(),
        "segments": object.segments.iter().map(|it| named(it.name, &it.range)).collect::<Vec<_>>(),
        "load": object.load().as_ref().map(range),
        "bss": object.bss().as_ref().map(range),
        "entry": object.entry,
        "absolute": object.is_absolute,
        "symbols": symbols.collect::<Vec<_>>(),
        "findings": fact.findings.iter().map(|it| it.code).collect::<Vec<_>>(),
    })
}
