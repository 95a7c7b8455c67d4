//! The outline of a file, and names of the whole workspace.

use std::ops::Range;

use reveille_facts::{Evidence, Model};
use reveille_program::{DefinitionKind, FileId, definition_span};
use reveille_source::{LineKind, Meaning, OpId, Operation};

use crate::lookup::{Location, location};

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
    /// Local labels below a label.
    pub children: Vec<OutlineSymbol>,
}

/// The outline of a file: labels with their local labels, constants, macros, sections.
#[must_use]
pub fn outline(model: &Model, file: FileId) -> Vec<OutlineSymbol> {
    let Some(source) = model.program().file(file) else { return Vec::new() };
    let blocks: Vec<_> = model.blocks().filter(|it| it.at.place.file == file && it.entry.0 == 0).collect();
    let dialect = source.source().dialect();
    let mut found: Vec<OutlineSymbol> = Vec::new();
    let mut parents: Vec<usize> = Vec::new();
    for (chunk, it) in source.source().chunks().iter().enumerate() {
        let base = source.source().first_byte(chunk);
        for (at, line) in it.lines().iter().enumerate() {
            if line.kind != LineKind::Statement {
                continue;
            }
            let text = it.line_text(line);
            let start = base + line.start as usize;
            let line_range = start..start + usize::from(line.len);
            let directive = line.op.directive();
            let meaning = directive.map(|it| it.meaning);
            let (name, span, kind) = match (line.label.is_empty(), meaning) {
                (_, Some(Meaning::Section | Meaning::NamedSection)) => {
                    let name = if line.operands.is_empty() { line.operation } else { line.operands };
                    (name.of(text), name, OutlineKind::Section)
                }
                (true, Some(Meaning::Macro | Meaning::Equate | Meaning::Set)) => {
                    let place = reveille_program::Place { file, chunk: chunk as u32, line: at as u16 };
                    let span = definition_span(model.program(), place);
                    let kind = if meaning == Some(Meaning::Macro) { OutlineKind::Macro } else { OutlineKind::Constant };
                    (span.of(text), span, kind)
                }
                (true, _) => continue,
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
                    // A label on a line of its own is what follows it.
                    let mut next = it.lines()[at..].iter().filter(|it| it.op != OpId::NONE);
                    let is_data = next.next().is_some_and(|it| it.op.directive().is_some_and(|it| is_data(it.meaning)));
                    let kind = if is_data { OutlineKind::Data } else { OutlineKind::Routine };
                    (line.label.of(text), line.label, kind)
                }
            };
            if name.is_empty() {
                continue;
            }
            let block =
                blocks.iter().find(|it| it.at.place.chunk == chunk as u32 && usize::from(it.at.place.line) == at);
            let detail = match block {
                Some(block) => format!("{} x {}", block.entry.1, block.layout.name),
                None if kind == OutlineKind::Constant => line.operands.of(text).to_owned(),
                None => String::new(),
            };
            let kind = if block.is_some() { OutlineKind::Block } else { kind };
            let symbol = OutlineSymbol {
                name: name.to_owned(),
                detail,
                kind,
                range: line_range.clone(),
                name_range: start + usize::from(span.start)..start + usize::from(span.end),
                children: Vec::new(),
            };
            let is_label = matches!(kind, OutlineKind::Routine | OutlineKind::Data | OutlineKind::Block);
            if is_label && reveille_program::is_local_label(name, dialect) && !parents.is_empty() {
                let parent = &mut found[parents[parents.len() - 1]];
                parent.range.end = line_range.end;
                parent.children.push(symbol);
                continue;
            }
            if is_label {
                // A label's lines go on to the next label.
                if let Some(last) = parents.last() {
                    found[*last].range.end = found[*last].range.end.max(start.saturating_sub(1));
                }
                parents.push(found.len());
            }
            found.push(symbol);
        }
    }
    if let Some(last) = parents.last() {
        found[*last].range.end = source.source().len();
    }
    found
}

fn is_data(meaning: Meaning) -> bool {
    use Meaning as M;
    matches!(
        meaning,
        M::Constants | M::ConstantsOf(_) | M::Strings(_) | M::Block | M::Reserve | M::ReserveBytes | M::IncludeBytes
    )
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

/// The names of all units that hold the letters of `query` in their order, best first, 256 at most. Blocks are found by the
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
    ranked.sort_by(|a, b| (a.0, a.1.len(), &a.1, a.3).cmp(&(b.0, b.1.len(), &b.1, b.3)));
    ranked.truncate(256);
    let found = ranked.into_iter().map(|(_, name, kind, place, at)| {
        let is_block = at.is_some() || model.blocks().any(|it| it.at.place == place);
        let at = at.unwrap_or(Evidence { place, span: definition_span(program, place) });
        let file = program.file(place.file);
        let kind = match kind {
            _ if is_block => OutlineKind::Block,
            DefinitionKind::Label => {
                let is_data = file.is_some_and(|it| it.at(place.chunk, place.line).1.op.directive().is_some());
                if is_data { OutlineKind::Data } else { OutlineKind::Routine }
            }
            DefinitionKind::Equate => OutlineKind::Constant,
            DefinitionKind::Macro | DefinitionKind::Text => OutlineKind::Macro,
            DefinitionKind::Set | DefinitionKind::RegisterName | DefinitionKind::External => OutlineKind::Variable,
        };
        let container =
            file.and_then(|it| Some(it.path().file_name()?.to_string_lossy().into_owned())).unwrap_or_default();
        Found { name, kind, at: location(model, at), container }
    });
    found.collect()
}

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
