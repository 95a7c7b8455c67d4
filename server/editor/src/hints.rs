//! Addresses and cycles beside the lines, and what a routine costs above its label.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::{DefinitionKind, FileId, assemble};
use reveille_source::{LineKind, Operation};

use crate::instruction::{Span, routine};
use crate::lookup::line_start;
use crate::session::{self, View};

/// Which hints are wanted; by default none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct HintKinds {
    /// The address of each line that lays something down; in a session what names stand for, and where ranges begin and end.
    pub addresses: bool,
    /// The cycles of each instruction.
    pub cycles: bool,
}

/// Text to be shown behind a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hint {
    /// The byte of the file behind which it stands.
    pub at: usize,
    /// The text.
    pub text: String,
}

/// The hints for a range of lines.
#[must_use]
pub fn hints(model: &Model, file: FileId, lines: Range<usize>, kinds: HintKinds) -> Vec<Hint> {
    if let Some(view) = View::of(model, file) {
        return session::hints(&view, lines, kinds);
    }
    let program = model.program();
    let mut found = Vec::new();
    let (Some(source), Some(unit)) = (program.file(file), model.analysis().unit_of(file)) else { return found };
    if kinds == HintKinds::default() {
        return found;
    }
    for number in lines.start..lines.end.min(source.source().line_count()) {
        let Some(place) = source.place(number) else { break };
        let (_, line, text) = source.at(place.chunk, place.line);
        if line.kind != LineKind::Statement || !unit.is_active(place) {
            continue;
        }
        let is_instruction = line.op.is_instruction();
        let is_data = line.op.directive().is_some_and(|it| {
            use reveille_source::Meaning as M;
            matches!(
                it.meaning,
                M::Constants | M::ConstantsOf(_) | M::Strings(_) | M::Block | M::Fill | M::Reserve | M::ReserveBytes
            )
        });
        let mut parts = Vec::new();
        if kinds.addresses && (is_instruction || is_data) {
            let address = unit.absolute(unit.location(program, place));
            parts.push(address.map_or("address not known".to_owned(), |it| format!("${it:06X}")));
        }
        if kinds.cycles
            && is_instruction
            && let Some(found) = assemble(program, unit, place)
        {
            let (least, most) = (found.time.least.cycles, found.time.most.cycles);
            let (least, most) = (least.min(most), least.max(most));
            parts.push(if least == most { format!("{least} cycles") } else { format!("{least}-{most} cycles") });
        }
        if !parts.is_empty() {
            let at = line_start(source, place) + text.trim_end().len();
            found.push(Hint { at, text: parts.join(", ") });
        }
    }
    found
}

/// The labels of a file that begin a routine which is called, with what the routine costs.
#[must_use]
pub fn routines(model: &Model, file: FileId) -> Vec<(Range<usize>, Span)> {
    let program = model.program();
    let (Some(source), Some(unit)) = (program.file(file), model.analysis().unit_of(file)) else { return Vec::new() };
    let called = called(model);
    let labels = unit.definitions().iter().filter(|it| it.place.file == file && it.kind == DefinitionKind::Label);
    let labels = labels.filter(|it| !it.symbol.is_local() && called.contains(&it.symbol));
    let cost = |definition: &reveille_program::Definition| {
        let (_, line, _) = source.at(definition.place.chunk, definition.place.line);
        let start = line_start(source, definition.place);
        let range = start + usize::from(line.label.start)..start + usize::from(line.label.end);
        Some((range, routine(model, unit, source, source.line_number(definition.place))?))
    };
    labels.filter_map(cost).collect()
}

/// The names that a BSR or JSR of the program goes to.
fn called(model: &Model) -> rustc_hash::FxHashSet<reveille_program::Symbol> {
    let program = model.program();
    let mut found = rustc_hash::FxHashSet::default();
    for file in program.files() {
        for chunk in file.source().chunks() {
            for line in chunk.lines().iter().filter(|it| it.op.is_instruction()) {
                let Operation::Instruction(mnemonic) = line.op.get() else { continue };
                if !matches!(mnemonic.name, "bsr" | "jsr" | "jbsr") {
                    continue;
                }
                let operand = line.operands.of(chunk.line_text(line));
                let end = operand.find(|it: char| !reveille_source::is_word_byte(it as u8)).unwrap_or(operand.len());
                found.extend(program.names().find(&operand[..end]));
            }
        }
    }
    found
}
