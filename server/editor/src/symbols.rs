//! The outline of a file, and names of the whole workspace.

use std::ops::Range;

use reveille_facts::{Evidence, Model};
use reveille_program::{DefinitionKind, FileId, Place, SourceFile, definition_span};
use reveille_source::{Line, LineKind, Meaning, OpId, Operation};
use rustc_hash::FxHashMap;

use crate::c;
use crate::lookup::{Location, location};
use crate::machine_file;
use crate::session::{self, View};
use crate::structure::{is_address, is_data, macro_bodies};

/// What a name in an outline is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OutlineKind {
    /// A label of code.
    Routine,
    /// A label of data.
    Data,
    /// A decoded block.
    Block,
    /// A constant.
    Constant,
    /// A value that may change, or a register's name.
    Variable,
    /// A macro.
    Macro,
    /// A section.
    Section,
    /// A stage of a session.
    Stage,
    /// A statement of a session.
    Step,
}

/// A name in the outline of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutlineSymbol {
    /// The name.
    pub name: String,
    /// More about it.
    pub detail: String,
    /// What it is.
    pub kind: OutlineKind,
    /// The lines that belong to it.
    pub range: Range<usize>,
    /// The name itself.
    pub name_range: Range<usize>,
    /// What is in it: local labels below a label, steps of a stage.
    pub children: Vec<OutlineSymbol>,
}

/// The outline of a file: labels with their local labels, constants, macros, sections; of a session its stages with their steps.
#[must_use]
pub fn outline(model: &Model, file: FileId) -> Vec<OutlineSymbol> {
    if let Some(view) = View::of(model, file) {
        return session::outline(&view);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::outline(&view);
    }
    let Some(source) = model.program().file(file) else { return Vec::new() };
    if source.is_beside() {
        return machine_file::outline(source);
    }
    let blocks = model.blocks().filter(|it| it.at.place.file == file && it.entry.0 == 0);
    let blocks: FxHashMap<_, _> = blocks.map(|it| (it.at.place, it)).collect();
    let dialect = source.source().dialect();
    let bodies = macro_bodies(source.source());
    let mut found: Vec<OutlineSymbol> = Vec::new();
    let mut parent = None;
    for (chunk, it) in source.source().chunks().iter().enumerate() {
        let base = source.source().first_byte(chunk);
        for (at, line) in it.lines().iter().enumerate() {
            let number = source.source().first_line(chunk) + at;
            if line.kind != LineKind::Statement || bodies.around(number).is_some() {
                continue;
            }
            let text = it.line_text(line);
            let start = base + line.start as usize;
            let line_range = start..start + usize::from(line.len);
            let place = Place { file, chunk: chunk as u32, line: at as u16 };
            let directive = line.op.directive();
            let meaning = directive.map(|it| it.meaning);
            let is_content = line.op.is_instruction() || is_call(line) || meaning.is_some_and(is_data);
            let (name, span, kind) = match (line.label.is_empty(), meaning) {
                (_, Some(Meaning::Section | Meaning::NamedSection)) => {
                    let name = if line.operands.is_empty() { line.operation } else { line.operands };
                    (name.of(text), name, OutlineKind::Section)
                }
                (true, Some(Meaning::Macro | Meaning::Equate | Meaning::Set | Meaning::Common)) => {
                    let span = definition_span(model.program(), place);
                    let kind = match meaning {
                        Some(Meaning::Macro) => OutlineKind::Macro,
                        Some(Meaning::Common) => OutlineKind::Data,
                        Some(Meaning::Set) => OutlineKind::Variable,
                        _ => OutlineKind::Constant,
                    };
                    (span.of(text), span, kind)
                }
                (true, _) => {
                    // Code and data belong to the label above them.
                    if let Some(parent) = parent.filter(|_| is_content) {
                        let parent: &mut OutlineSymbol = &mut found[parent];
                        parent.range.end = line_range.end;
                    }
                    continue;
                }
                (false, Some(Meaning::Macro)) => (line.label.of(text), line.label, OutlineKind::Macro),
                (false, Some(Meaning::Equate | Meaning::StructureField)) => {
                    (line.label.of(text), line.label, OutlineKind::Constant)
                }
                (false, Some(Meaning::Set | Meaning::RegisterName)) => {
                    (line.label.of(text), line.label, OutlineKind::Variable)
                }
                (false, Some(_)) => (line.label.of(text), line.label, OutlineKind::Data),
                (false, None) if matches!(line.op.get(), Operation::Assignment) => {
                    (line.label.of(text), line.label, OutlineKind::Constant)
                }
                (false, None) => {
                    let kind = if labels_data(source, place) { OutlineKind::Data } else { OutlineKind::Routine };
                    (line.label.of(text), line.label, kind)
                }
            };
            if name.is_empty() {
                continue;
            }
            let block = blocks.get(&place);
            let detail = match block {
                Some(block) => format!("{} x {}", block.entry.1, block.layout.name),
                None if kind == OutlineKind::Constant => line.operands.of(text).to_owned(),
                None => String::new(),
            };
            let kind = if block.is_some() { OutlineKind::Block } else { kind };
            let end = match kind {
                // To its ENDM.
                OutlineKind::Macro => bodies.around(number + 1).map_or(line_range.end, |lines| {
                    let last = lines.end.saturating_sub(1);
                    source.source().line_start(last) + source.source().line(last).map_or(0, |it| it.1.len())
                }),
                _ => line_range.end,
            };
            let symbol = OutlineSymbol {
                name: name.to_owned(),
                detail,
                kind,
                range: line_range.start..end,
                name_range: start + usize::from(span.start)..start + usize::from(span.end),
                children: Vec::new(),
            };
            if is_address(line) && meaning.is_none_or(|it| !is_section(it)) {
                if let Some(parent) = parent.filter(|_| reveille_program::is_local_label(name, dialect)) {
                    let parent: &mut OutlineSymbol = &mut found[parent];
                    parent.range.end = line_range.end;
                    parent.children.push(symbol);
                    continue;
                }
                // A label's lines go on to the next label.
                parent = Some(found.len());
            }
            found.push(symbol);
        }
    }
    found
}

fn is_section(meaning: Meaning) -> bool {
    matches!(meaning, Meaning::Section | Meaning::NamedSection)
}

fn is_call(line: &Line) -> bool {
    matches!(line.op.get(), Operation::MacroCall)
}

/// Whether a label without an operation of its own is that of data: what follows it is.
fn labels_data(source: &SourceFile, place: Place) -> bool {
    /// So many lines below are looked at.
    const MOST_LINES: usize = 100;
    let first = source.line_number(place);
    let below = (first..first + MOST_LINES).map_while(|number| source.source().line(number));
    let mut meanings = below.filter(|it| it.0.op != OpId::NONE).map(|it| it.0.op.directive().map(|it| it.meaning));
    let next = meanings
        .find(|it| !matches!(it, Some(Meaning::Even | Meaning::Align | Meaning::AlignOffset | Meaning::Listing)));
    next.flatten().is_some_and(is_data)
}

/// A name that a search found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The name.
    pub name: String,
    /// What it is.
    pub kind: OutlineKind,
    /// Where it is defined.
    pub at: Location,
    /// The name of its file.
    pub container: String,
}

/// The names of all units, and of the C beside them, that hold the letters of `query` in their order, best first, 256 at most. Blocks are found by the
/// name of their layout too.
#[must_use]
pub fn search(model: &Model, query: &str) -> Vec<Found> {
    let program = model.program();
    let query = query.to_ascii_lowercase();
    let mut ranked = Vec::new();
    let mut seen = rustc_hash::FxHashSet::default();
    for unit in model.analysis().units() {
        for definition in unit.definitions() {
            let name = program.names().text(definition.symbol);
            if let Some(rank) = rank(&name, &query)
                && seen.insert(definition.place)
            {
                ranked.push((rank, name.to_string(), definition.kind, definition.place, None));
            }
        }
    }
    for block in model.blocks() {
        if !query.is_empty() && rank(&block.layout.title, &query).is_some_and(|it| it < 3) {
            ranked.push((3, block.subject.clone(), DefinitionKind::Label, block.at.place, Some(block.at)));
        }
    }
    let of_c = c::symbols(model);
    let of_c = of_c.into_iter().filter_map(|(name, kind, at)| {
        let container = model.program().file(at.file).and_then(|it| it.path().file_name());
        let container = container.unwrap_or_default().to_string_lossy().into_owned();
        Some((rank(&name, &query)?, Found { name, kind, at, container }))
    });
    let of_c: Vec<(u8, Found)> = of_c.collect();
    ranked.sort_by(|a, b| (a.0, a.1.len(), &a.1, a.3).cmp(&(b.0, b.1.len(), &b.1, b.3)));
    ranked.truncate(MOST_FOUND);
    let found = ranked.into_iter().map(|(rank, name, kind, place, at)| {
        let is_block = at.is_some() || model.blocks().any(|it| it.at.place == place);
        let at = at.unwrap_or(Evidence { place, span: definition_span(program, place) });
        let file = program.file(place.file);
        let kind = match kind {
            _ if is_block => OutlineKind::Block,
            DefinitionKind::Label => {
                let is_data = file.is_some_and(|it| match it.at(place.chunk, place.line).1.op {
                    OpId::NONE => labels_data(it, place),
                    op => op.directive().is_some(),
                });
                if is_data { OutlineKind::Data } else { OutlineKind::Routine }
            }
            DefinitionKind::Equate => OutlineKind::Constant,
            DefinitionKind::Macro | DefinitionKind::Text => OutlineKind::Macro,
            DefinitionKind::Set | DefinitionKind::RegisterName | DefinitionKind::External => OutlineKind::Variable,
        };
        let container =
            file.and_then(|it| Some(it.path().file_name()?.to_string_lossy().into_owned())).unwrap_or_default();
        (rank, Found { name, kind, at: location(model, at), container })
    });
    let facts = if query.is_empty() { Vec::new() } else { facts(model) };
    let facts = facts.into_iter().filter_map(|(name, at)| {
        let container = program.file(at.place.file).and_then(|it| it.path().file_name());
        let container = container.unwrap_or_default().to_string_lossy().into_owned();
        // A fact is a sentence: letters here and there in it find nothing that is meant.
        let rank = rank(&name, &query).filter(|it| *it < 3)?;
        Some((rank, Found { name, kind: OutlineKind::Block, at: location(model, at), container }))
    });
    let facts: Vec<(u8, Found)> = facts.collect();
    let mut found: Vec<(u8, Found)> = found.chain(of_c).chain(facts).collect();
    found.sort_by(|a, b| (a.0, a.1.name.len(), &a.1.name).cmp(&(b.0, b.1.name.len(), &b.1.name)));
    found.truncate(MOST_FOUND);
    found.into_iter().map(|it| it.1).collect()
}

/// Facts of the program in a few words: disks, lines, boot files, what the monitor can be asked, texts of trouble.
fn facts(model: &Model) -> Vec<(String, Evidence)> {
    let mut found: Vec<(String, Evidence)> = Vec::new();
    found.extend(model.blocks().map(|it| (format!("disk {}: {}", it.subject, it.in_words()), it.at)));
    found.extend(model.lines().map(|it| (format!("serial line {}: {}", it.name, it.words()), it.at)));
    for path in model.boot() {
        let starts = path.starts.iter().filter(|it| it.kind != "command");
        found.extend(starts.map(|it| (format!("power-on: {}", it.name), it.at)));
        found
            .extend(path.files.iter().flat_map(|it| it.named.iter().map(|at| (format!("boot file {}", it.name), *at))));
        found.extend(path.commands.iter().map(|it| (format!("command {}", it.name), it.at)));
        let texts = path.texts.iter().filter(|it| !it.advice.is_empty());
        found.extend(texts.map(|it| (format!("message {}", it.text), it.at)));
    }
    found
}

/// How many names a search finds at most.
const MOST_FOUND: usize = 256;

/// 0 the name itself, 1 its start, 2 a part of it, 3 its letters in order; none if it is not meant.
fn rank(name: &str, query: &str) -> Option<u8> {
    let name = name.to_ascii_lowercase();
    if name == query {
        return Some(0);
    }
    if name.starts_with(query) {
        return Some(1);
    }
    if name.contains(query) {
        return Some(2);
    }
    let mut letters = name.bytes();
    query.bytes().all(|byte| letters.any(|it| it == byte)).then_some(3)
}
