//! Accesses of instructions to memory at addresses that are known: absolute ones, and those that address registers have.

mod changes;
mod flow;
mod state;
mod step;
#[cfg(test)]
mod tests;

use std::collections::BTreeSet;

use reveille_cpu::MemoryUse;
use reveille_program::{Addressed, Code, CodeAt, Place, Program, Unit};
use reveille_source::Span;

use crate::finding::Evidence;
pub(crate) use changes::{Changes, SCRATCH};
use flow::Flow;
pub(crate) use flow::{Way, way};
use state::Origin;
pub(crate) use step::on_bus;

/// What an access does on the bus.
pub(crate) type AccessKind = MemoryUse;

/// One access of an instruction to memory at an address that is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Access {
    /// The line; of one in a macro's expansion the call in the source.
    pub(crate) place: Place,
    /// The operand in its line; of an expansion the call.
    pub(crate) at: Evidence,
    /// Which operand of the instruction it is, from 0.
    pub(crate) operand: usize,
    /// The address of the first byte, cut to the lines that the processor has.
    pub(crate) address: i64,
    /// How many bytes: 1, 2 or 4. MOVEP makes an access of each byte, MOVEM of each register.
    pub(crate) bytes: u8,
    /// What it does on the bus.
    pub(crate) kind: AccessKind,
    /// What is stored, where that is known.
    pub(crate) value: Option<u32>,
    /// Where that value stands: an operand of this line, of the one that loaded the register, or of data.
    pub(crate) value_at: Option<Evidence>,
    /// The instruction's name in the table.
    pub(crate) instruction: &'static str,
    /// The accesses of one routine have one number.
    pub(crate) sequence: u32,
}

/// Whether an address register at `address` is followed for the sake of addresses that are `wanted`: it is at one, or a power of two up to
/// 32 KiB lies between. So a device is missed only through a base that is none of its own addresses and no round distance from one.
pub(crate) fn is_beside(wanted: &dyn Fn(i64) -> bool, address: i64) -> bool {
    wanted(address) || (0..=15).any(|bit| wanted(address + (1 << bit)) || wanted(address - (1 << bit)))
}

/// The accesses of a unit to memory at addresses that are `wanted`, in the order of the program; those of a loop with a known count as often as it
/// goes round. `wanted` gets addresses that are cut to the lines that the processor has.
pub(crate) fn accesses(program: &Program, unit: &Unit, wanted: &dyn Fn(i64) -> bool) -> Vec<Access> {
    let code = Code::new(program, unit);
    let given: Vec<Addressed> = code.addressed().collect();
    accesses_near(program, unit, code, &given, &|address| is_beside(wanted, address), wanted)
}

/// The same, from the addresses that a unit gives; `is_near` tells which address registers are followed.
pub(crate) fn accesses_near(
    program: &Program,
    unit: &Unit,
    code: Code<'_>,
    given: &[Addressed],
    is_near: &dyn Fn(i64) -> bool,
    wanted: &dyn Fn(i64) -> bool,
) -> Vec<Access> {
    let cpu = unit.settings(program).cpu;
    let mut flow = Flow::new(program, unit, code, is_near);
    let mut lines: BTreeSet<CodeAt> = BTreeSet::new();
    for it in given {
        if flow.is_near(on_bus(cpu, it.address) as u32) {
            lines.insert(it.at);
        }
    }
    if lines.is_empty() {
        return Vec::new();
    }
    flow.walk(&lines.into_iter().collect::<Vec<_>>());
    let mut found = Vec::new();
    flow.tell(&mut |code, sequence, at, touch| {
        let address = on_bus(cpu, touch.address.into());
        if !wanted(address) {
            return;
        }
        let Some(line) = code.line(at) else { return };
        let value = touch.value.low(touch.bytes);
        let value_at = touch.value.at.filter(|_| value.is_some()).and_then(|it| match it {
            Origin::Line(at, operand) => evidence(program, unit, code, at, operand),
            Origin::Data(at) => Some(written(program, unit, at)),
        });
        let Some(at) = evidence(program, unit, code, at, touch.operand) else { return };
        found.push(Access {
            place: at.place,
            at,
            operand: touch.operand,
            address,
            bytes: touch.bytes as u8,
            kind: touch.kind,
            value,
            value_at,
            instruction: line.code.choice.instruction.name,
            sequence,
        });
    });
    found
}

/// Where an operand of an instruction stands in its line.
fn evidence(program: &Program, unit: &Unit, code: &mut Code<'_>, at: CodeAt, operand: usize) -> Option<Evidence> {
    let line = code.line(at)?;
    let span = unit.file(program, line.place.file).map_or(Span::default(), |file| {
        let (chunk, own, _) = file.at(line.place.chunk, line.place.line);
        let count = line.code.choice.form.operand_count();
        let operand = if line.code.is_reversed { count - 1 - operand.min(count - 1) } else { operand };
        let range = chunk.operands(own).get(operand).cloned();
        range.map_or(own.operands, |it| Span { start: it.start as u16, end: it.end as u16 })
    });
    Some(written(program, unit, Evidence { place: line.place, span }))
}

/// Evidence as it stands in the source: of a line in an expansion the call.
pub(crate) fn written(program: &Program, unit: &Unit, at: Evidence) -> Evidence {
    let Some((call, _)) = unit.expanded_from(program, at.place) else { return at };
    let span = program.file(call.file).map_or(Span::default(), |file| {
        let line = file.at(call.chunk, call.line).1;
        Span { start: line.operation.start, end: line.operands.end.max(line.size_span().end) }
    });
    Evidence { place: call, span }
}
