//! Documents that are made from the tables that the program itself uses.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use anyhow::{Context, Result, bail};
use reveille_decoders::{FieldKind, formats, layouts};
use reveille_facts::catalog;
use reveille_session::verbs::{Group, SPELLED, VERBS};

use crate::schema::schema;

/// Writes the generated documents; with `check` compares them and writes nothing.
pub(crate) fn docs(check: bool) -> Result<()> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let documents = [
        ("facts/FINDINGS.md", findings()),
        ("decoders/BLOCKS.md", blocks()),
        ("machine/reveille.schema.json", schema()?),
        ("../grammar/session/VERBS.md", verbs()),
    ];
    let mut stale = Vec::new();
    for (name, text) in documents {
        let path = root.join(name);
        if fs::read_to_string(&path).is_ok_and(|old| old == text) {
            continue;
        }
        if check {
            stale.push(name);
        } else {
            fs::write(&path, text).with_context(|| format!("cannot write {name}"))?;
        }
    }
    if !stale.is_empty() {
        bail!("not what the tables give: {}; run `cargo run -p xtask -- docs`", stale.join(", "));
    }
    Ok(())
}

const MADE: &str = "<!-- Made by `cargo run -p xtask -- docs`. Change the tables, not this file. -->\n\n";

fn findings() -> String {
    let mut text = format!(
        "{MADE}# Findings\n\n`reveille lint --explain CODE` prints a page.\n\n| code | severity | what |\n|---|---|---|\n"
    );
    for entry in catalog() {
        let _ = writeln!(text, "| [{0}](#{0}) | {1} | {2} |", entry.code, entry.severity.name(), entry.title);
    }
    for entry in catalog() {
        let (code, severity) = (&entry.code, entry.severity.name());
        let _ = write!(
            text,
            "\n## {code}\n\n{}\n\nSeverity: {severity}\n\n{}\n\nSource: {}\n",
            capital(&entry.title),
            entry.why,
            entry.source
        );
    }
    text
}

/// The steps of sessions, by groups, and the tables of the vocabulary that they need.
fn verbs() -> String {
    let mut text =
        format!("{MADE}# The steps of a session\n\nThe language is described in [LANGUAGE.md](LANGUAGE.md).\n");
    let groups = [
        (Group::Head, "At the head of a script"),
        (Group::Typing, "Typing and waiting"),
        (Group::Asking, "Asking by the machine's vocabulary"),
        (Group::Judging, "Judging and keeping answers"),
        (Group::Order, "Order, and care"),
    ];
    for (group, title) in groups {
        let _ = writeln!(text, "\n## {title}");
        for verb in VERBS.iter().filter(|it| it.group == group) {
            let (name, form, meaning) = (verb.name, verb.syntax(), capital(verb.meaning));
            let _ = write!(text, "\n### {name}\n\n    {form}\n\n{meaning}. For example:\n\n    {}\n", verb.example);
        }
    }
    text.push_str("\n## The vocabulary's tables\n\nBelow `[machine.NAME.monitor]`. All other names are verbs of the machine's own, for `ask`.\n\n");
    text.push_str(
        "| table | names in braces | groups of `reply` | changes | an example of `send` |\n|---|---|---|---|---|\n",
    );
    let listed = |names: &[&str]| names.iter().map(|it| format!("`{it}`")).collect::<Vec<_>>().join(", ");
    for it in SPELLED {
        let changes = it.changes.name();
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {changes} | `{}` |",
            it.key,
            listed(it.names),
            listed(it.groups),
            it.example
        );
    }
    text
}

pub(crate) fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().chain(characters).collect())
}

fn blocks() -> String {
    let mut text = format!("{MADE}# Block layouts\n\nA comment `@block NAME` on a table says which layout it has.\n");
    for layout in layouts() {
        let _ = write!(text, "\n## {}\n\n{} ({} in all).\n\n", layout.name, capital(&layout.title), layout.len());
        if !layout.also.is_empty() {
            let _ = writeln!(
                text,
                "Answers to {} too.\n",
                layout.also.iter().map(|it| format!("`{it}`")).collect::<Vec<_>>().join(", ")
            );
        }
        let place =
            if layout.alignment > 1 { "It must stand at an even address." } else { "It may stand at any address." };
        let _ = writeln!(text, "{place}\n");
        text.push_str("| byte | bytes | field | meaning |\n|---:|---:|---|---|\n");
        for field in &layout.fields {
            let kind = if field.kind == FieldKind::Text { " (text)" } else { "" };
            let _ =
                writeln!(text, "| {} | {} | `{}` | {}{kind} |", field.offset, field.bytes, field.name, field.meaning);
        }
        let _ = write!(text, "\nSource: {}\n", layout.source);
    }
    text.push_str("\n# Standard formats\n\n| name | cylinders x heads x sectors x bytes | descriptor | per cluster | FAT | root entries | source |\n|---|---|---|---:|---:|---:|---|\n");
    for it in formats() {
        let _ = writeln!(
            text,
            "| {} | {} x {} x {} x {} | ${:02X} | {} | {} | {} | {} |",
            it.name,
            it.cylinders,
            it.sides,
            it.sectors_per_track,
            it.sector_size,
            it.format_identifier,
            it.sectors_per_cluster,
            it.sectors_per_fat,
            it.root_directory_entries,
            it.source
        );
    }
    text
}
