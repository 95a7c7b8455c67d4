//! Instructions that put handlers into vectors: `MOVE.L #handler,$64`, or LEA and MOVE.L one behind the other.

use reveille_cpu::{Kind, Operand, vector_at, written};
use reveille_program::{Definition, DefinitionKind, Place, Program, Unit, Value, assemble, low_stores};
use reveille_source::Operation;

use super::{Stands, VectorEntry, VectorOrigin, VectorsFact, entry, handler, named_label};
use crate::blocks::{Confidence, Level};
use crate::finding::Evidence;

/// How many lines before a store may load its register.
const MOST_LINES: usize = 4;

/// The vectors that instructions of a unit write, if there are any.
pub(super) fn stores(program: &Program, unit: &Unit) -> Option<VectorsFact> {
    let mut entries: Vec<VectorEntry> =
        low_stores(program, unit).into_iter().filter_map(|place| store(program, unit, place)).collect();
    entries.sort_by_key(|it| it.vector.number);
    let at = entries.iter().map(|it| it.at).min_by_key(|it| it.place)?;
    Some(VectorsFact {
        subject: "vectors written by instructions".to_owned(),
        label: None,
        origin: VectorOrigin::Stored,
        address: None,
        entries,
        confidence: Confidence {
            level: Level::Certain,
            reasons: vec!["the address of a handler is stored below $400".to_owned()],
        },
        at,
    })
}

/// The vector that a line writes.
fn store(program: &Program, unit: &Unit, place: Place) -> Option<VectorEntry> {
    let own = assemble(program, unit, place)?;
    let [source, destination] = &own.operands;
    let is_absolute = matches!(destination.kind, Kind::AbsoluteShort | Kind::AbsoluteLong);
    let vector = vector_at(destination.value).filter(|it| is_absolute && !it.is_reset())?;
    let label = match source.kind {
        Kind::Immediate => constant(program, unit, place, source)?,
        Kind::Address => loaded(program, unit, place, source.register)?,
        _ => return None,
    };
    let handler = handler(program, unit, label);
    // Other longs may be kept in low memory.
    if handler.kind == Stands::Data {
        return None;
    }
    let file = program.file(place.file)?;
    let (_, line, _) = file.at(place.chunk, place.line);
    let at = Evidence { place, span: line.operands };
    Some(entry(vector.number, (label.value, unit.absolute(label.value)), Some(handler), at))
}

/// The label whose address the first operand of a line is.
fn constant<'a>(program: &Program, unit: &'a Unit, place: Place, operand: &Operand) -> Option<&'a Definition> {
    let file = program.file(place.file)?;
    let (chunk, line, text) = file.at(place.chunk, place.line);
    let own = chunk.operands(line).into_iter().next()?;
    let name = bare(&text[own]);
    let label = named_label(program, unit, place, name).or_else(|| {
        // A name for the label.
        let equate = unit.resolve(program, place, name).filter(|it| it.kind == DefinitionKind::Equate)?;
        let is_same = |it: &&Definition| it.kind == DefinitionKind::Label && it.value == equate.value;
        unit.definitions().iter().find(is_same)
    })?;
    let is_same = match label.value {
        Value::Number(number) => number == operand.value,
        Value::Address(..) => true,
        Value::Unknown => false,
    };
    is_same.then_some(label)
}

/// An operand without its mark, brackets and size.
fn bare(text: &str) -> &str {
    let text = text.trim().trim_start_matches(['#', '&']);
    let text = text.split_once("(pc").or_else(|| text.split_once("(PC")).map_or(text, |it| it.0);
    let text = text.trim_matches(['(', ')']);
    let is_size = |it: &str| matches!(it.to_ascii_lowercase().as_str(), "w" | "l");
    text.rsplit_once('.').filter(|it| is_size(it.1) && !it.0.is_empty()).map_or(text, |it| it.0)
}

/// The label whose address the lines before one load into a register.
fn loaded<'a>(program: &Program, unit: &'a Unit, place: Place, register: u8) -> Option<&'a Definition> {
    let file = program.file(place.file)?;
    let number = file.line_number(place);
    let (_, line, _) = file.at(place.chunk, place.line);
    if !line.label.is_empty() {
        return None;
    }
    for number in (number.saturating_sub(MOST_LINES)..number).rev() {
        let place = file.place(number)?;
        let (_, line, _) = file.at(place.chunk, place.line);
        if !unit.is_active(place) {
            continue;
        }
        match line.op.get() {
            Operation::None if line.label.is_empty() => continue,
            Operation::Instruction(_) => (),
            _ => return None,
        }
        let own = assemble(program, unit, place)?;
        let instruction = own.choice.instruction;
        if written(instruction, own.choice.form, &own.operands) & 0x100 << register == 0 {
            if reveille_cpu::leaves(instruction) || !line.label.is_empty() {
                return None;
            }
            continue;
        }
        let is_load = matches!(
            (instruction.name, own.operands[0].kind),
            ("lea", Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::PcDisplacement) | ("movea", Kind::Immediate)
        );
        return if is_load { constant(program, unit, place, &own.operands[0]) } else { None };
    }
    None
}
