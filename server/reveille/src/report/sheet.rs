//! The bring-up sheet as Markdown: the facts first, then what does not fit, then what to mind before a disk is touched.

use std::io::Write;
use std::path::Path;

use reveille_decoders::{Severity, family};
use reveille_facts::{BlockFact, Evidence, Fact, Model};
use reveille_program::Value;

use super::{display_path, line_number};

/// Cautions on media. Sources: fdutils 5.6 manual (holes, rates), articles on diskette media (coercivity, archive practice), the FD179X
/// and WD1772 data sheets (step rates); what is practice alone says so.
const CAUTIONS: &[&str] = &[
    "Write-protect the original first: on a 3.5-inch disk open the hole, on a 5.25-inch disk cover the notch. On an 8-inch disk it is the other way round: an open notch protects (from memory). Not every drive or adapter obeys; try it with a scratch disk.",
    "Image before anything is written, keep the first image untouched, and write down drive, program and unreadable sectors. If the disk is rare, take a flux-level image first: it keeps what a sector image drops.",
    "Double-density and high-density media are different materials. Use true double-density disks for 250 kbit/s; a high-density disk with its hole covered may lose its data within hours.",
    "Stop at the first squeal or smear of oxide, and clean the heads before each unknown disk (practice).",
    "Work on copies. Never let the machine write to the only disk there is, and never format one to see what happens.",
    "Mains, power supplies and picture tubes can kill, also when switched off. Leave them to people trained for it, and follow the electrical code of the place.",
];

/// Writes the sheet of a program.
pub(crate) fn sheet_markdown(model: &Model, root: &Path, out: &mut dyn Write) -> anyhow::Result<()> {
    let program = model.program();
    let name = root.file_name().map_or_else(|| root.display().to_string(), |it| it.to_string_lossy().into_owned());
    writeln!(out, "# Bring-up sheet: {name}\n")?;
    let files = program.files().count();
    let lines: usize = program.files().map(|file| file.source().line_count()).sum();
    let roots: Vec<_> =
        model.analysis().units().filter_map(|unit| Some(format!("`{}`", display_path(model, unit.root()?)))).collect();
    writeln!(out, "Read: {files} files, {lines} lines; roots {}\n", roots.join(", "))?;

    writeln!(out, "## Disk formats\n")?;
    let blocks: Vec<&BlockFact> = model.blocks().collect();
    if blocks.is_empty() {
        let titles: Vec<_> =
            reveille_decoders::layouts().iter().map(|it| format!("{} (`@block {}`)", it.title, it.name)).collect();
        writeln!(
            out,
            "None found. Looked for: {}. A comment with the words in brackets, on a table or above it, says what the table is. Tables that macros lay down are not seen yet.\n",
            titles.join("; ")
        )?;
    } else {
        writeln!(out, "| block | geometry | capacity | equals | sure | where |")?;
        writeln!(out, "|---|---|---|---|---|---|")?;
        for block in &blocks {
            let capacity = block.number("capacity").filter(|_| block.is_readable()).map_or("-".into(), capacity);
            let equals = block.format.map_or("-", |format| &format.title);
            writeln!(
                out,
                "| `{}` | {} | {capacity} | {equals} | {} | {} |",
                block.subject,
                block.in_words(),
                block.confidence.level.name(),
                place(model, block.at)
            )?;
        }
        writeln!(out)?;
        for block in &blocks {
            one_block(model, block, out)?;
        }
    }
    constants(model, out)?;
    findings(model, out)?;
    writeln!(out, "## Before a disk is touched\n")?;
    for caution in CAUTIONS {
        writeln!(out, "- {caution}")?;
    }
    Ok(())
}

fn capacity(bytes: i64) -> String {
    if bytes % 1024 == 0 { format!("{} KiB", bytes / 1024) } else { format!("{bytes} bytes") }
}

fn place(model: &Model, at: Evidence) -> String {
    format!("{}:{}", display_path(model, at.place.file), line_number(model, at.place) + 1)
}

fn one_block(model: &Model, block: &BlockFact, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "### `{}`\n", block.subject)?;
    let address = match block.address {
        Value::Number(address) => format!(" at ${address:X}"),
        _ => String::new(),
    };
    let from = if block.offset > 0 { format!(", byte {} of the table", block.offset) } else { String::new() };
    writeln!(out, "{}{address}{from}: {}.\n", block.layout.title, block.confidence.reasons.join("; "))?;
    writeln!(out, "| byte | field | value | from |")?;
    writeln!(out, "|---|---|---|---|")?;
    for field in &block.layout.fields {
        let evidence = block.evidence(&field.name);
        let Some(value) = block.block().value(field) else {
            writeln!(out, "| {} | {} | not known | |", field.offset, field.meaning)?;
            continue;
        };
        let value = field.shown(&value).replace('|', "\\|");
        let from = evidence.first().map_or(String::new(), |at| {
            let texts: Vec<_> = evidence.iter().map(|it| super::shown(model, *it).text.replace('|', "\\|")).collect();
            format!("`{}` {}", texts.join(","), place(model, *at))
        });
        writeln!(out, "| {} | {} | {value} | {from} |", field.offset, field.meaning)?;
    }
    writeln!(out)?;
    if block.is_readable() {
        let derived = family(&block.layout.family).into_iter().flat_map(|family| &family.derived);
        let lines: Vec<_> =
            derived.filter_map(|it| Some(format!("{} {}", it.meaning.as_ref()?, block.number(&it.name)?))).collect();
        if !lines.is_empty() {
            writeln!(out, "From it follow: {}.\n", lines.join("; "))?;
        }
    }
    Ok(())
}

fn constants(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let mut is_first = true;
    for fact in model.facts() {
        let Fact::Constants(constants) = fact else { continue };
        if std::mem::take(&mut is_first) {
            writeln!(out, "## Geometry in constants\n")?;
            writeln!(out, "| constant | value | counts | where |")?;
            writeln!(out, "|---|---|---|---|")?;
        }
        for (role, name, value, at) in &constants.values {
            writeln!(out, "| `{name}` | {value} | {} | {} |", role.name().replace('_', " "), place(model, *at))?;
        }
    }
    if !is_first {
        writeln!(out)?;
    }
    Ok(())
}

fn findings(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "## What does not fit\n")?;
    let findings = model.findings();
    if findings.is_empty() {
        writeln!(out, "Nothing was found.\n")?;
        return Ok(());
    }
    for severity in [Severity::Error, Severity::Warning, Severity::Note, Severity::Hint] {
        for finding in findings.iter().filter(|it| it.severity == severity) {
            writeln!(
                out,
                "- **{}** {} `{}` {}",
                severity.name(),
                place(model, finding.at),
                finding.code,
                finding.message
            )?;
        }
    }
    writeln!(out)?;
    Ok(())
}
