//! Lines with instructions: what they give the program, and which operands give an address.

use reveille_cpu::{Cpu, Kind, MemoryUse, Operand, Slot, memory_use};
use reveille_source::Line;

use super::{Builder, Event, EventKind, UNSET, Use};
use crate::Symbol;
use crate::instruction::{Expr, Instruction, Read, read};

/// An operand of an instruction that gives an address by itself: absolute, or a constant for an address register.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Addressed {
    pub(crate) line: u16,
    pub(crate) operand: u8,
    /// What is done with what stands there; none where the address alone is taken.
    pub(crate) used: Option<MemoryUse>,
    pub(crate) value: AddressedValue,
}

/// The address of an [`Addressed`].
#[derive(Clone, Copy, Debug)]
pub(crate) enum AddressedValue {
    /// A number.
    Number(i64),
    /// What the operand of a record says, by its place among [`super::Indexed::instructions`].
    Record(u16),
}

/// The operands of an instruction that give addresses of data, or that an address register is loaded with, each with what is done with it.
pub(crate) fn addresses(record: &Instruction, cpu: Cpu) -> impl Iterator<Item = (usize, Option<MemoryUse>)> + use<> {
    let instruction = record.mnemonic.instruction;
    let form = &record.mnemonic.instruction.forms[0];
    let is_jump = matches!(record.mnemonic.instruction.name, "jmp" | "jsr" | "pea")
        || form.slots.iter().any(|it| matches!(it, Slot::Branch | Slot::Loop));
    let operands = record.operands;
    let count = if is_jump { 0 } else { usize::from(record.count.min(2)) };
    (0..count).filter_map(move |at| match operands[at].kind {
        Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::Target if operands[at].value != Expr::None => {
            let kinds = operands.map(|it| if it.kind == Kind::Target { Kind::AbsoluteLong } else { it.kind });
            let own = kinds.map(|kind| Operand::register(kind, 0));
            Some((at, memory_use(instruction, &own, at, count, cpu)))
        }
        Kind::Immediate if at == 0 && operands[1].kind == Kind::Address => Some((at, None)),
        _ => None,
    })
}

impl<'a> Builder<'a> {
    pub(super) fn instruction(
        &mut self,
        at: u16,
        line: &Line,
        text: &'a str,
        mnemonic: &'static reveille_cpu::Mnemonic,
    ) {
        let (before, uses_before) = (self.read_problems.len(), self.uses.len());
        if mnemonic.instruction.name == "move"
            && line.size == b'l'
            && let Some(start) = super::stores::low_destination(text, line, self.dialect)
        {
            self.low_stores.push((at, start));
        }
        let operands = line.operands.of(text).as_bytes();
        if let [.., b',' | b' ' | b'\t', b's' | b'S', b'r' | b'R'] = operands {
            self.status_writes.push(at);
        }
        let read = read(text, at, line, self.dialect, mnemonic, self.settings, &mut self.read_problems);
        let has_problems = self.read_problems.len() > before;
        if has_problems {
            let found = self.read_problems.drain(before..).map(|(span, kind)| (at, span, kind));
            self.problems.extend(found);
        }
        let (bytes, mut record) = match read {
            Read::Static(bytes, addresses) => {
                let known = addresses.into_iter().enumerate().filter_map(|(operand, it)| Some((operand as u8, it?)));
                let own = |(operand, (address, used))| {
                    let value = AddressedValue::Number(address);
                    Addressed { line: at, operand, used, value }
                };
                self.addressed.extend(known.map(own));
                (bytes, None)
            }
            Read::Fixed(bytes, record) => (bytes, Some(record)),
            Read::Variable(record) => (0, Some(record)),
        };
        // The names that the operands use: a record knows them, unless one of its values is more than a name and a number.
        let knows_names = |it: &Instruction| it.count < 3 && it.operands.iter().all(|term| term.value != Expr::Text);
        match &mut record {
            Some(record) if !has_problems && knows_names(record) => {
                for term in &mut record.operands {
                    if let Expr::Name(name, span, _) = &mut term.value {
                        // The place of the text stands for the name until it is interned.
                        *name = Symbol::from_index(self.texts.len() as u32);
                        self.texts.push(span.of(text));
                        let len = span.end - span.start;
                        let found = Use { symbol: UNSET, line: at, start: span.start, len, must_exist: true };
                        self.uses.push((self.texts.len() - 1, found));
                    }
                }
            }
            None if !has_problems => (),
            _ => {
                let first = self.uses.len();
                self.uses(at, text, line.operands, true);
                for term in record.iter_mut().flat_map(|it| &mut it.operands) {
                    if let Expr::Name(name, span, _) = &mut term.value {
                        match self.uses[first..].iter().find(|it| it.1.start == span.start) {
                            Some((text, _)) => *name = Symbol::from_index(*text as u32),
                            None => term.value = Expr::Text,
                        }
                    }
                }
            }
        }
        if let Some(record) = &record {
            let number = self.instructions.len() as u16;
            for (operand, used) in addresses(record, self.settings.cpu) {
                let value = match record.operands[operand].value {
                    Expr::Number(number) => AddressedValue::Number(number),
                    _ => AddressedValue::Record(number),
                };
                self.addressed.push(Addressed { line: at, operand: operand as u8, used, value });
            }
        }
        self.instructions.extend(record);
        if bytes == 0 {
            self.event(at, EventKind::Instruction(self.instructions.len() as u16 - 1), None);
            return;
        }
        if self.sizes.is_empty() {
            self.sizes.resize(self.chunk.lines().len(), 0);
        }
        self.sizes[usize::from(at)] = bytes as u8;
        // A line with names may turn out to use texts of the preprocessor: the walk has to stop at it, and behind it.
        let may_be_replaced = self.dialect.is_unix() && self.uses.len() > uses_before;
        if may_be_replaced {
            self.apart = Some(at);
        }
        match self.events.last_mut() {
            Some(Event { kind: EventKind::Code(sum), line }) if !may_be_replaced && self.apart != Some(*line) => {
                *sum += bytes;
            }
            _ => self.event(at, EventKind::Code(bytes), None),
        }
    }
}
