//! The operands that an instruction takes, while they are typed.

use std::ops::Range;

use reveille_cpu::{Kind, Slot};
use reveille_facts::Model;
use reveille_program::FileId;
use reveille_source::Operation;

use crate::c::is_c_text;
use crate::instruction::form_text;
use crate::lookup::Spot;

/// A way to write an instruction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signature {
    /// The form.
    pub label: String,
    /// What it does.
    pub text: String,
    /// The operands: where each stands in the label, and what it may be.
    pub operands: Vec<(Range<usize>, String)>,
}

/// The ways to write the instruction of a line, which of them fits what is there, and the operand that the cursor is in.
#[must_use]
pub fn signatures(model: &Model, file: FileId, byte: usize) -> Option<(Vec<Signature>, usize, usize)> {
    let spot = Spot::new(model, file, byte).filter(|_| !is_c_text(model, file))?;
    let Operation::Instruction(mnemonic) = spot.line.op.get() else { return None };
    if spot.at <= usize::from(spot.line.size_span().end) {
        return None;
    }
    if !spot.line.comment.is_empty() && spot.at > usize::from(spot.line.comment.start) {
        return None;
    }
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let operands = chunk.operands(spot.line);
    let active = operands.iter().filter(|it| it.end < spot.at).count().min(1);
    let size = reveille_cpu::Size::from_letter(spot.line.size);
    let mut found: Vec<Signature> = Vec::new();
    let mut fitting = None;
    let assembled = spot.unit().and_then(|unit| reveille_program::assemble(model.program(), unit, spot.place));
    for (form, instruction) in reveille_cpu::forms_of(mnemonic, spot.settings().cpu) {
        if size.is_some_and(|size| !form.sizes.is_empty() && !form.sizes.allows(size)) {
            continue;
        }
        let (label, parts) = form_text(instruction.name, mnemonic.name, form, true);
        if found.iter().any(|it| it.label == label) {
            continue;
        }
        if assembled.as_ref().is_some_and(|it| std::ptr::eq(it.choice.form, form)) {
            fitting = Some(found.len());
        }
        let slots = form.slots.iter().filter(|it| **it != Slot::None);
        let operands = parts.into_iter().zip(slots.map(|slot| kinds_text(*slot)));
        let text = if instruction.operation.is_empty() { mnemonic.summary } else { instruction.operation };
        found.push(Signature { label, text: text.to_owned(), operands: operands.collect() });
    }
    // Without an operand there is nothing to help with.
    found.retain(|it| !it.operands.is_empty());
    let first = found.iter().position(|it| it.operands.len() > active).unwrap_or(0);
    let count = found.len();
    (count > 0).then(|| (found, fitting.filter(|it| *it < count).unwrap_or(first), active))
}

fn kinds_text(slot: Slot) -> String {
    let kinds = slot.kinds();
    let names: Vec<_> = kinds.iter().map(Kind::spelling).collect();
    match slot {
        Slot::Bit => "the number of a bit: 0 to 31 in a register, 0 to 7 in memory".into(),
        Slot::Branch => "a label; .S reaches -128 to 126 bytes, .W -32768 to 32766".into(),
        Slot::Loop => "a label within -32768 to 32766 bytes".into(),
        Slot::List | Slot::ListBackwards => "registers, as d0-d3/a0, or a name defined by REG".into(),
        _ => names.join(" "),
    }
}
