//! Where in a file the name or the register under the cursor stands again, and whether it is read or written there.

use std::ops::Range;

use reveille_cpu::{Register, register, writes};
use reveille_facts::{Evidence, Model};
use reveille_program::{FileId, Place, SourceFile, references_in};
use reveille_source::{Dialect, Line, LineKind, Operation, TokenKind};
use rustc_hash::FxHashSet;

use crate::c;
use crate::lookup::{Spot, Thing, line_start, location};
use crate::session::{self, View};
use crate::structure::is_address;

/// A place to be marked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Highlight {
    /// The bytes.
    pub range: Range<usize>,
    /// Whether the name is defined or the register or memory is written there; else it is read.
    pub is_write: bool,
}

/// The places of a file that name the same thing as the byte. Of a register, those between the ordinary labels around it.
#[must_use]
pub fn highlights(model: &Model, file: FileId, byte: usize) -> Vec<Highlight> {
    if let Some(view) = View::of(model, file) {
        return session::highlights(&view, byte);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::highlights(&view, byte);
    }
    let Some(spot) = Spot::new(model, file, byte) else { return Vec::new() };
    if let Some(Thing::Token(TokenKind::Register, range)) = spot.thing() {
        return register(&spot.text[range]).map_or(Vec::new(), |it| of_register(&spot, it));
    }
    let Some((unit, definition, _)) = spot.definition() else {
        let own = c::Shared::at(&spot).map_or_else(Vec::new, |it| it.0.assembly_places());
        let own = own.into_iter().filter(|it| it.0.file == file);
        return own.map(|it| Highlight { range: it.0.range, is_write: it.1 }).collect();
    };
    let (definitions, uses) = references_in(model.program(), unit, &definition, &[file]);
    let mut seen = FxHashSet::default();
    let marked = definitions.into_iter().map(|it| (it, true)).chain(uses.into_iter().map(|it| (it, false)));
    let mut found: Vec<Highlight> = marked
        .filter(|((place, span), _)| seen.insert((*place, span.start)))
        .map(|((place, span), is_definition)| Highlight {
            range: location(model, Evidence { place, span }).range,
            is_write: is_definition || is_written(spot.file, place, span.start.into()),
        })
        .collect();
    found.sort_by_key(|it| it.range.start);
    found
}

/// Whether what the operand at a byte of a line stands for is written.
fn is_written(file: &SourceFile, place: Place, at: usize) -> bool {
    let (chunk, line, text) = file.at(place.chunk, place.line);
    let Operation::Instruction(mnemonic) = line.op.get() else { return false };
    let operands = chunk.operands(line);
    let own = operands.iter().position(|it| it.contains(&at));
    // No constant is written.
    own.is_some_and(|own| {
        !text[operands[own].clone()].starts_with('#') && writes(mnemonic.instruction, own, operands.len())
    })
}

fn of_register(spot: &Spot<'_>, wanted: Register) -> Vec<Highlight> {
    let source = spot.file.source();
    let own = spot.file.line_number(spot.place);
    let begins = |number: usize| {
        spot.file.place(number).is_none_or(|place| {
            let (chunk, line, text) = spot.file.at(place.chunk, place.line);
            is_address(line) && !reveille_program::is_local_label(line.label.of(text), chunk.dialect())
        })
    };
    let first = (0..=own).rev().find(|it| begins(*it)).unwrap_or(0);
    let end = (own + 1..source.line_count()).find(|it| begins(*it)).unwrap_or(source.line_count());
    let mut found = Vec::new();
    for place in (first..end).filter_map(|number| spot.file.place(number)) {
        let (chunk, line, text) = spot.file.at(place.chunk, place.line);
        if line.kind != LineKind::Statement || line.operands.is_empty() {
            continue;
        }
        let start = line_start(spot.file, place);
        let operands = chunk.operands(line);
        for (at, operand) in operands.iter().enumerate() {
            let in_operand = |range: Range<usize>, is_write| Highlight {
                range: start + operand.start + range.start..start + operand.start + range.end,
                is_write,
            };
            let is_target = match line.op.get() {
                Operation::Instruction(it) => writes(it.instruction, at, operands.len()),
                _ => false,
            };
            let own = &text[operand.clone()];
            registers(own, line, chunk.dialect(), wanted, |range| {
                let is_write = (is_target && is_direct(own)) || steps(own, &range);
                found.push(in_operand(range, is_write));
            });
        }
    }
    found
}

/// Whether an operand is registers and nothing else: no memory that a register points to.
fn is_direct(operand: &str) -> bool {
    !operand.contains(['(', '[', '#'])
}

/// Whether the address register at a range of an operand steps: `(a0)+`, `-(a0)`.
fn steps(operand: &str, range: &Range<usize>) -> bool {
    let (before, behind) = (operand[..range.start].trim_end(), operand[range.end..].trim_start());
    let behind = behind.strip_prefix(')').map(str::trim_start);
    before == "-(" && behind == Some("") || before == "(" && behind == Some("+")
}

/// Where an operand names a register, alone or in a range of a list such as `d2-d7`.
fn registers(operand: &str, line: &Line, dialect: Dialect, wanted: Register, mut each: impl FnMut(Range<usize>)) {
    let is_list = matches!(line.op.get(), Operation::Instruction(it) if it.name == "movem");
    let number = |it: Register| match it {
        Register::Data(number) => Some(number),
        Register::Address(number) => Some(8 + number),
        _ => None,
    };
    let mut before: Option<(Register, Range<usize>)> = None;
    let mut found: Vec<Range<usize>> = Vec::new();
    reveille_source::tokens(operand, dialect, |kind, range| {
        let Some(own) = register(&operand[range.clone()]).filter(|_| kind == TokenKind::Register) else { return };
        if own == wanted {
            found.push(range.clone());
        }
        if let Some((first, start)) = before.take()
            && is_list
            && operand[start.end..range.start].trim() == "-"
            && let (Some(first), Some(last), Some(wanted)) = (number(first), number(own), number(wanted))
            && (first + 1..last).contains(&wanted)
        {
            found.push(start.start..range.end);
        }
        before = Some((own, range));
    });
    found.into_iter().for_each(&mut each);
}
