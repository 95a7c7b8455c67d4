//! The bring-up sheet as Markdown: the facts first, then what does not fit, then what to mind before a disk is touched. The HTML form is
//! made from it.

use std::io::Write;
use std::path::Path;

use reveille_cpu::Cpu;
use reveille_decoders::Severity;
use reveille_editor::{disk_text, formulas, memory_text, on_tracks, table_of_blocks, way_text};
use reveille_facts::{BlockFact, BootPath, DiskMap, Evidence, Fact, MemoryMap, Model, VectorEntry, is_c};
use reveille_program::Value;

use super::sheet_boot;
use super::sheet_serial::serial;
use super::{display_path, line_number};

/// Cautions on media. Sources: fdutils 5.6 manual (holes, rates), articles on diskette media (coercivity, archive practice), the FD179X
/// and WD1772 data sheets (step rates), a USB drive's manual page (formats); what is from memory says so.
const CAUTIONS: &[&str] = &[
    "Write-protect the original first: on a 3.5-inch disk open the hole, on a 5.25-inch disk cover the notch. On an 8-inch disk it is the other way round: an open notch protects (from memory). Not every drive or adapter obeys; try it with a scratch disk.",
    "Image before anything is written, keep the first image untouched, and write down drive, program and unreadable sectors. If the disk is rare, take a flux-level image first: it keeps what a sector image drops.",
    "Double-density and high-density media are different materials. Use true double-density disks for 250 kbit/s; a high-density disk with its hole covered may lose its data within hours, and a hole punched in a double-density disk costs its inner tracks.",
    "A drive of 80 cylinders writes tracks half as wide as one of 40 reads: write 40-cylinder disks on erased media only, or in a drive of 40.",
    "USB diskette drives know a few formats alone: 1440, 1232 and 1200 KiB, 720 and 640 KiB, and not each of them; no 400 or 800 KiB, no 10 sectors, no 40 cylinders, no single density.",
    "A drive emulator needs more than the image: FM or MFM, rate, speed, the number of the first sector, the head number in the IDs, gap 3 and interleave if the driver depends on timing, and what the ready and disk-change lines do (from memory). Keep a text file with all that beside the image.",
    "A disk of a 68000 system may have no 55 AA at the end of its boot sector and a sum that makes it executable: mounting it elsewhere can rewrite the sector. Work on copies.",
    "Stop at the first squeal or smear of oxide, and clean the heads before each unknown disk.",
    "Never let the machine write to the only disk there is, and never format one to see what happens.",
    "Mains, power supplies and picture tubes can kill, also when switched off. Leave them to people trained for it, and follow the electrical code of the place.",
];

/// Something that the sheet has a picture of.
pub(crate) enum Picture<'a> {
    /// A disk.
    Disk(&'a DiskMap),
    /// The memory of a machine.
    Memory(&'a MemoryMap),
    /// The way from power-on to the prompt.
    Way(&'a BootPath),
}

/// What stands in the sheet where a picture does: its text, or whatever is given for it.
pub(crate) type Pictures<'a> = &'a dyn Fn(&Picture<'_>, &str) -> String;

/// A picture in characters.
pub(crate) fn picture_in_text(picture: &Picture<'_>, _: &str) -> String {
    let text = match picture {
        Picture::Disk(map) => disk_text(map),
        Picture::Memory(map) => memory_text(map),
        Picture::Way(path) => way_text(path),
    };
    format!("```text\n{text}```\n")
}

/// Writes the sheet of a program.
pub(crate) fn sheet_markdown(
    model: &Model,
    root: &Path,
    pictures: Pictures<'_>,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let program = model.program();
    let name = root.file_name().map_or_else(|| root.display().to_string(), |it| it.to_string_lossy().into_owned());
    writeln!(out, "# Bring-up sheet: {name}\n")?;
    let read = || program.files().chain(program.beside().filter(|it| is_c(it)));
    let (files, lines) = (read().count(), read().map(|file| file.source().line_count()).sum::<usize>());
    let roots: Vec<_> =
        model.analysis().units().filter_map(|unit| Some(format!("`{}`", display_path(model, unit.root()?)))).collect();
    writeln!(out, "Read: {files} files, {lines} lines; roots {}\n", roots.join(", "))?;

    machine(model, out)?;
    memory(model, pictures, out)?;
    vectors(model, out)?;
    disks(model, pictures, out)?;
    constants(model, out)?;
    sheet_boot::way(model, pictures, out)?;
    sheet_boot::files(model, out)?;
    super::sheet_object::objects(model, out)?;
    serial(model, out)?;
    sheet_boot::commands(model, out)?;
    sheet_boot::texts(model, out)?;
    sheet_boot::questions(model, out)?;
    findings(model, out)?;
    writeln!(out, "## Before a disk is touched\n")?;
    writeln!(out, "All of this is common practice; where a source is known, the reference of the project names it.\n")?;
    for caution in CAUTIONS {
        writeln!(out, "- {caution} *(common practice)*")?;
    }
    Ok(())
}

/// The processor and its clock, as the sources are read for it.
fn machine(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let program = model.program();
    let mut told: Vec<String> = Vec::new();
    for unit in model.analysis().units() {
        let settings = unit.settings(program);
        let clock = settings.clock.map_or_else(
            || "its clock is not known (`clock` in `reveille.toml`)".to_owned(),
            |it| format!("{} MHz", f64::from(it) / 1e6),
        );
        let own = format!("{}, {clock}", settings.cpu.name());
        if !told.contains(&own) {
            told.push(own);
        }
    }
    if !told.is_empty() {
        writeln!(out, "## Machine\n\n{}.\n", told.join("; "))?;
    }
    Ok(())
}

fn disks(model: &Model, pictures: Pictures<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "## Disk formats\n")?;
    let blocks: Vec<&BlockFact> = model.blocks().collect();
    if blocks.is_empty() {
        let titles: Vec<_> =
            reveille_decoders::layouts().iter().map(|it| format!("{} (`@block {}`)", it.title, it.name)).collect();
        writeln!(
            out,
            "None found. Looked for: {}. A comment with the words in brackets, on a table or above it, says what the table is.\n",
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
            if block.entry == (0, block.entry.1)
                && let Some(table) = table_of_blocks(&model.table_of(block))
            {
                writeln!(out, "### Side by side: `{}`\n\n{table}", table_name(block))?;
            }
            one_block(model, block, pictures, out)?;
        }
    }
    Ok(())
}

fn capacity(bytes: i64) -> String {
    if bytes % 1024 == 0 { format!("{} KiB", bytes / 1024) } else { format!("{bytes} bytes") }
}

pub(super) fn place(model: &Model, at: Evidence) -> String {
    format!("{}:{}", display_path(model, at.place.file), line_number(model, at.place) + 1)
}

fn one_block(model: &Model, block: &BlockFact, pictures: Pictures<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
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
    let formulas = formulas(block);
    if !formulas.is_empty() {
        writeln!(out, "What follows from it:\n")?;
        for line in formulas {
            writeln!(out, "- {line}")?;
        }
        writeln!(out)?;
    }
    if let Some(map) = block.map() {
        writeln!(
            out,
            "{}",
            pictures(&Picture::Disk(&map), &format!("The disk of {}: {}", block.subject, block.in_words()))
        )?;
    }
    for line in on_tracks(model, block) {
        writeln!(out, "{line}\n")?;
    }
    recipe(model, block, out)
}

/// The commands that make an image of the block's disk and hold one against it.
fn recipe(model: &Model, block: &BlockFact, out: &mut dyn Write) -> anyhow::Result<()> {
    let (Some(bytes), "fat") = (block.number("capacity"), block.layout.family.as_str()) else { return Ok(()) };
    if block.map().is_none() {
        return Ok(());
    }
    let table = format!("{}:{}", display_path(model, block.at.place.file), block.subject);
    writeln!(
        out,
        "An image of this disk has {bytes} bytes. To make one with files on it, and to hold one against the source:\n\n```sh\nreveille image make --table '{table}' --add FILE disk.img\nreveille image check disk.img --table '{table}'\n```\n"
    )?;
    Ok(())
}

/// What the table of a block is called.
fn table_name(block: &BlockFact) -> &str {
    block.subject.split('[').next().unwrap_or(&block.subject)
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

fn memory(model: &Model, pictures: Pictures<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "## Memory\n")?;
    if model.memory_maps().is_empty() {
        writeln!(
            out,
            "No map. `[[machine.NAME.memory]]` tables in a `reveille.toml` beside the sources give addresses their names.\n"
        )?;
    }
    for map in model.memory_maps() {
        writeln!(out, "{}", pictures(&Picture::Memory(map), "The memory of the machine"))?;
        writeln!(out, "| region | from | to | size | kind | reads | writes | used first |")?;
        writeln!(out, "|---|---|---|---|---|---|---|---|")?;
        for region in &map.regions {
            let name = region.name.as_ref().map_or_else(|| "not in the map".to_owned(), |it| format!("`{it}`"));
            let kind = match (region.kind, region.reads) {
                (kind, Some("have side effects")) => format!("{kind}, reads have side effects"),
                (kind, _) => kind.to_owned(),
            };
            writeln!(
                out,
                "| {name} | ${:06X} | ${:06X} | {} | {kind} | {} | {} | {} |",
                region.from,
                region.end - 1,
                capacity(region.end - region.from),
                region.uses.reads,
                region.uses.writes,
                region.uses.first.map_or("-".to_owned(), |it| place(model, it))
            )?;
        }
        writeln!(
            out,
            "\nCounted are operands whose address is known: in ROM and RAM those that name it, elsewhere those through address registers too.\n"
        )?;
    }
    Ok(())
}

/// Exception vectors: those that hold the same handler and follow each other in one row.
fn vectors(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let mut is_first = true;
    for fact in model.vectors() {
        let cpu = model.program().settings_of(fact.at.place.file).cpu;
        if std::mem::take(&mut is_first) {
            writeln!(out, "## Exception vectors\n")?;
        }
        let reasons = fact.confidence.reasons.join("; ");
        writeln!(out, "### {}\n\n{}: {reasons}.\n", fact.subject, fact.confidence.level.name())?;
        writeln!(out, "| vector | address | exception | handler | where |")?;
        writeln!(out, "|---|---|---|---|---|")?;
        for row in fact.rows() {
            let [first, .., last] = row else {
                if let [only] = row {
                    vector_row(model, only, only, only.vector.words(cpu), out)?;
                }
                continue;
            };
            vector_row(model, first, last, range_words(first, last, cpu), out)?;
        }
        writeln!(out)?;
    }
    Ok(())
}

/// The exceptions of a row in words: the first and the last, without what nothing takes.
fn range_words(first: &VectorEntry, last: &VectorEntry, cpu: Cpu) -> String {
    let (one, other) = (first.vector.words(cpu), last.vector.words(cpu));
    if one == other { one } else { format!("{one} to {other}") }
}

fn vector_row(
    model: &Model,
    first: &VectorEntry,
    last: &VectorEntry,
    words: String,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let (from, to) = (first.vector, last.vector);
    let numbers =
        if from.number == to.number { from.number.to_string() } else { format!("{}-{}", from.number, to.number) };
    let addresses = if from.number == to.number {
        format!("${:03X}", from.address())
    } else {
        format!("${:03X}-${:03X}", from.address(), to.address())
    };
    let name = first.handler.map(|it| format!("`{}`", model.program().names().text(it.symbol)));
    let value = first.address.map(|it| format!("${:06X}", it & 0xff_ffff));
    let holds = match (name, value) {
        (Some(name), Some(value)) => format!("{name} {value}"),
        (name, value) => name.or(value).unwrap_or_else(|| "not known".to_owned()),
    };
    writeln!(out, "| {numbers} | {addresses} | {words} | {holds} | {} |", place(model, first.at))?;
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
