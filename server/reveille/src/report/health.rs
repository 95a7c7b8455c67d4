//! How much of a tree of sources is read: the figures by which coverage of real sources is judged.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use reveille_facts::{Finding, Model};
use reveille_program::{FileId, Place};
use reveille_source::{LineKind, ProblemKind, SYNTAXES};

use super::place::{display_path, line_number};

/// Findings that say that an operand cannot be read.
const UNREADABLE: [&str; 3] = ["value-003", "value-004", "value-005"];

/// Lines that are shown.
const SHOWN: usize = 20;

/// What was counted in the files of one dialect.
#[derive(Clone, Copy, Default)]
struct Count {
    files: usize,
    lines: usize,
    statements: usize,
    broken: usize,
}

/// Prints lines read, lines that cannot be read, dialects, and the operations that nobody knows, by count.
pub(crate) fn health(model: &Model, findings: &[&Finding], out: &mut dyn Write) -> anyhow::Result<()> {
    let program = model.program();
    let mut broken: BTreeSet<(FileId, usize)> = BTreeSet::new();
    let mut counts = vec![Count::default(); SYNTAXES.len()];
    for file in program.files() {
        for (chunk, it) in file.source().chunks().iter().enumerate() {
            for (line, problem) in it.problems() {
                // A parameter of a macro stands for anything.
                let has_parameter = it.line_text(&it.lines()[line]).contains('\\');
                if problem.kind != ProblemKind::BlankAfterComma && !has_parameter {
                    let place = Place { file: file.id(), chunk: chunk as u32, line: line as u16 };
                    broken.insert((file.id(), line_number(model, place)));
                }
            }
        }
    }
    let unreadable = findings.iter().filter(|it| UNREADABLE.contains(&it.code));
    broken.extend(unreadable.map(|it| (it.at.place.file, line_number(model, it.at.place))));
    for file in program.files() {
        let count = &mut counts[file.source().dialect() as usize];
        count.files += 1;
        count.lines += file.source().line_count();
        let lines = file.source().chunks().iter().flat_map(|it| it.lines());
        count.statements += lines.filter(|it| it.kind == LineKind::Statement).count();
        count.broken += broken.range((file.id(), 0)..=(file.id(), usize::MAX)).count();
    }
    let sum = counts.iter().fold(Count::default(), |sum, it| Count {
        files: sum.files + it.files,
        lines: sum.lines + it.lines,
        statements: sum.statements + it.statements,
        broken: sum.broken + it.broken,
    });
    writeln!(out, "dialect       files     lines  statements  not read  per 1000 lines")?;
    let mut row = |name: &str, count: Count| {
        let rate = count.broken as f64 * 1000.0 / count.lines.max(1) as f64;
        let Count { files, lines, statements, broken } = count;
        writeln!(out, "{name:<10}{files:>9}{lines:>10}{statements:>12}{broken:>10}{rate:>16.3}")
    };
    for (syntax, count) in SYNTAXES.iter().zip(&counts).filter(|it| it.1.files > 0) {
        row(syntax.name, *count)?;
    }
    row("all", sum)?;
    let mut unknown: BTreeMap<String, usize> = BTreeMap::new();
    for finding in findings.iter().filter(|it| it.code == "name-004") {
        let Some(file) = program.file(finding.at.place.file) else { continue };
        let (_, line, text) = file.at(finding.at.place.chunk, finding.at.place.line);
        *unknown.entry(line.operation.of(text).to_ascii_lowercase()).or_default() += 1;
    }
    let mut unknown: Vec<_> = unknown.into_iter().collect();
    unknown.sort_by_key(|it| std::cmp::Reverse(it.1));
    let lines: usize = unknown.iter().map(|it| it.1).sum();
    writeln!(out, "\noperations that are not known: {} names, {lines} lines", unknown.len())?;
    for (name, count) in unknown.iter().take(2 * SHOWN) {
        writeln!(out, "{count:>8}  {name}")?;
    }
    writeln!(out, "\nlines that are not read: {}", broken.len())?;
    for (file, line) in broken.iter().take(SHOWN) {
        let text = program.file(*file).and_then(|it| it.source().line(*line)).map_or("", |it| it.1);
        writeln!(out, "{}:{}: {}", display_path(model, *file), line + 1, text.trim())?;
    }
    Ok(())
}
