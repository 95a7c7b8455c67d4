//! What one instruction does to the registers and to memory.

use reveille_cpu::{Cpu, Kind, MemoryUse, Operand, memory_use, writes};
use reveille_program::{Code, CodeLine};

use super::state::{Known, Origin, State};
use crate::finding::Evidence;

/// One access of an instruction, before it is told.
#[derive(Clone, Copy, Debug)]
pub(super) struct Touch {
    pub(super) operand: usize,
    pub(super) address: u32,
    pub(super) bytes: u32,
    pub(super) kind: MemoryUse,
    /// What is stored.
    pub(super) value: Known,
}

/// The processor's addresses: those of the 68008 have 20 bits, of all others 24 (*M68000 User's Manual*, section 3).
pub(crate) fn on_bus(cpu: Cpu, address: i64) -> i64 {
    let bits = if cpu == Cpu::M68008 { 0xf_ffff } else { 0xff_ffff };
    address & bits
}

/// The number of a register, A0 being 8.
fn register(operand: &Operand) -> Option<usize> {
    match operand.kind {
        Kind::Data => Some(operand.register.into()),
        Kind::Address => Some(8 + usize::from(operand.register)),
        _ => None,
    }
}

/// Carries out an instruction on the registers, as far as they are known. `touch` gets its accesses to memory at known addresses.
pub(super) fn step(code: &mut Code<'_>, cpu: Cpu, line: &CodeLine, state: &mut State, touch: &mut dyn FnMut(Touch)) {
    let mut it = Step { code, cpu, line, state, touch };
    it.run();
}

struct Step<'a, 'b> {
    code: &'a mut Code<'b>,
    cpu: Cpu,
    line: &'a CodeLine,
    state: &'a mut State,
    touch: &'a mut dyn FnMut(Touch),
}

impl Step<'_, '_> {
    fn run(&mut self) {
        let assembled = &self.line.code;
        let (instruction, operands) = (assembled.choice.instruction, assembled.operands);
        let count = assembled.choice.form.operand_count();
        let size = assembled.choice.size.bytes();
        match instruction.name {
            "movem" => return self.several(size),
            "movep" => return self.every_other(size),
            _ => (),
        }
        let uses = |at: usize| memory_use(instruction, &operands, at, count, self.cpu);
        let uses = [uses(0), uses(1)];
        let addresses = [0, 1].map(|at| (at < count).then(|| self.address(at, size)).flatten());
        let source = match count {
            0 => Known::NOTHING,
            _ => self.value(0, size, addresses[0], uses[0]),
        };
        let at_line = |operand: usize| Some(Origin::Line(self.line.at, operand));
        // What is stored, if the instruction alone or its source tells.
        let stored = match instruction.name {
            "move" | "moves" => source,
            "clr" => Known::constant(0, at_line(0)),
            "scc" if assembled.mnemonic.condition == 0 => Known::constant(0xff, at_line(0)),
            "scc" if assembled.mnemonic.condition == 1 => Known::constant(0, at_line(0)),
            _ => Known::NOTHING,
        };
        for at in 0..count {
            if let (Some(address), Some(kind)) = (addresses[at], uses[at]) {
                let value = if kind == MemoryUse::Read { Known::NOTHING } else { stored };
                (self.touch)(Touch { operand: at, address, bytes: size, kind, value });
            }
        }
        if instruction.name == "exg" {
            if let (Some(one), Some(other)) = (register(&operands[0]), register(&operands[1])) {
                let (first, second) = (self.state.get(one), self.state.get(other));
                self.state.set(one, second);
                self.state.set(other, first);
            }
            return;
        }
        let last = count.saturating_sub(1);
        for (at, operand) in operands[..count].iter().enumerate() {
            let Some(own) = register(operand).filter(|_| writes(instruction, at, count)) else { continue };
            let result = if at == last || instruction.name == "dbcc" {
                self.result(own, size, source, stored, addresses[0])
            } else {
                Known::NOTHING
            };
            self.state.set(own, result);
        }
    }

    /// The address of an operand in memory, and the step of its register.
    fn address(&mut self, at: usize, step: u32) -> Option<u32> {
        let operand = self.line.code.operands[at];
        let own = 8 + usize::from(operand.register);
        let base = self.state.get(own).all();
        let number = self.line.code.is_known[at].then_some(operand.value as u32);
        match operand.kind {
            Kind::AbsoluteShort => number.map(|it| it as i16 as u32),
            Kind::AbsoluteLong | Kind::Target | Kind::PcDisplacement => number,
            Kind::PcIndex => Some(number?.wrapping_add(self.index(&operand)?)),
            Kind::Indirect => base,
            Kind::PostIncrement => {
                let next = base.map_or(Known::NOTHING, |it| self.moved(own, it.wrapping_add(step)));
                self.state.set(own, next);
                base
            }
            Kind::PreDecrement => {
                let address = base?.wrapping_sub(step);
                let next = self.moved(own, address);
                self.state.set(own, next);
                Some(address)
            }
            Kind::Displacement => Some(base?.wrapping_add(number?)),
            Kind::Index => Some(base?.wrapping_add(number?).wrapping_add(self.index(&operand)?)),
            _ => None,
        }
    }

    fn moved(&self, register: usize, to: u32) -> Known {
        Known::constant(to, self.state.get(register).at)
    }

    fn index(&self, operand: &Operand) -> Option<u32> {
        let index = operand.index;
        let known = self.state.get(usize::from(index.number) + if index.is_address { 8 } else { 0 });
        Some(known.signed(if index.is_long { 4 } else { 2 })? as u32)
    }

    /// What an operand is worth, in its low bytes.
    fn value(&mut self, at: usize, size: u32, address: Option<u32>, used: Option<MemoryUse>) -> Known {
        let operand = self.line.code.operands[at];
        match operand.kind {
            Kind::Immediate if self.line.code.is_known[at] => {
                Known::constant(operand.value as u32, Some(Origin::Line(self.line.at, at)))
            }
            Kind::Data | Kind::Address => register(&operand).map_or(Known::NOTHING, |it| self.state.get(it)),
            _ if used == Some(MemoryUse::Read) => address.and_then(|it| self.data(it, size)).unwrap_or(Known::NOTHING),
            _ => Known::NOTHING,
        }
    }

    /// What the source lays down at an address.
    fn data(&mut self, address: u32, bytes: u32) -> Option<Known> {
        let mut value = 0;
        let mut at = None;
        for offset in 0..bytes {
            let (byte, place, span) = self.code.byte_at(i64::from(address) + i64::from(offset))?;
            value = value << 8 | u32::from(byte);
            at.get_or_insert(Origin::Data(Evidence { place, span }));
        }
        Some(Known::NOTHING.with_low(bytes, Known::constant(value, at)))
    }

    /// What a register is worth behind the instruction.
    fn result(&self, own: usize, size: u32, source: Known, stored: Known, address: Option<u32>) -> Known {
        let assembled = &self.line.code;
        let name = assembled.choice.instruction.name;
        let before = self.state.get(own);
        let here = Some(Origin::Line(self.line.at, 0));
        let is_address = own >= 8;
        // Numbers for an address register are extended with their sign.
        let wide = |it: Known| it.signed(size).map(|it| it as u32);
        let in_full = |value: Option<u32>, at| value.map_or(Known::NOTHING, |it| Known::constant(it, at));
        let low = |value: Option<u32>| before.with_low(size, in_full(value, here));
        let both = |then: fn(u32, u32) -> u32| Some(then(before.low(size)?, source.low(size)?));
        match name {
            "lea" => in_full(address, here),
            "movea" => in_full(wide(source), source.at),
            "moveq" => in_full(source.signed(1).map(|it| it as u32), source.at),
            "adda" => in_full(before.all().zip(wide(source)).map(|it| it.0.wrapping_add(it.1)), here),
            "suba" => in_full(before.all().zip(wide(source)).map(|it| it.0.wrapping_sub(it.1)), here),
            "addq" if is_address => {
                in_full(before.all().zip(source.all()).map(|it| it.0.wrapping_add(it.1)), before.at)
            }
            "subq" if is_address => {
                in_full(before.all().zip(source.all()).map(|it| it.0.wrapping_sub(it.1)), before.at)
            }
            _ if is_address => Known::NOTHING,
            "move" | "clr" | "scc" => before.with_low(size, stored),
            "add" | "addi" | "addq" => low(both(u32::wrapping_add)),
            "sub" | "subi" | "subq" => low(both(u32::wrapping_sub)),
            "and" | "andi" => before.with_low(size, before.and(source)),
            "or" | "ori" => before.with_low(size, before.or(source)),
            "eor" | "eori" => before.with_low(size, before.xor(source)),
            "not" => before.with_low(size, before.not()),
            "neg" => low(before.low(size).map(u32::wrapping_neg)),
            "swap" => before.swapped(),
            "ext" => before.with_low(size, in_full(before.signed(size / 2).map(|it| it as u32), before.at)),
            "dbcc" => match assembled.mnemonic.condition {
                0 => before,
                1 => before.with_low(2, in_full(before.low(2).map(|it| it.wrapping_sub(1)), before.at)),
                _ => before.with_low(2, Known::NOTHING),
            },
            "bset" | "bclr" | "bchg" => match source.low(1) {
                Some(bit) => {
                    let bit = Known::constant(1 << (bit & 31), here);
                    match name {
                        "bset" => before.or(bit),
                        "bclr" => before.and(bit.not()),
                        _ => before.xor(bit),
                    }
                }
                None => Known::NOTHING,
            },
            "lsl" | "asl" | "lsr" | "asr" | "rol" | "ror" => low(self.shifted(name, size, before, source)),
            _ => Known::NOTHING,
        }
    }

    fn shifted(&self, name: &str, size: u32, before: Known, source: Known) -> Option<u32> {
        // One operand alone is shifted by 1.
        let count = match self.line.code.choice.form.operand_count() {
            1 => 1,
            _ => source.low(1)? & 63,
        };
        let (value, width) = (before.low(size)?, 8 * size);
        let turned = count % width;
        let (left, right) =
            (|by: u32| value.checked_shl(by).unwrap_or(0), |by: u32| value.checked_shr(by).unwrap_or(0));
        Some(match name {
            "lsl" | "asl" => left(count),
            "lsr" => right(count),
            "asr" => (before.signed(size)? >> count.min(40)) as u32,
            "rol" => left(turned) | right(width - turned),
            _ => right(turned) | left(width - turned),
        })
    }

    /// MOVEM.
    fn several(&mut self, size: u32) {
        let operands = self.line.code.operands;
        let (list_at, memory_at) = if operands[0].kind.is_memory() { (1, 0) } else { (0, 1) };
        let is_load = memory_at == 0;
        let list = match operands[list_at] {
            Operand { kind: Kind::List, value, .. } => value as u16,
            one => register(&one).map_or(0, |it| 1 << it),
        };
        let registers: Vec<usize> = (0..16).filter(|it| list >> it & 1 != 0).collect();
        let stored: Vec<Known> = registers.iter().map(|it| self.state.get(*it)).collect();
        let address = self.address(memory_at, size * registers.len() as u32);
        for (at, known) in stored.iter().enumerate() {
            let Some(address) = address.map(|it| it.wrapping_add(size * at as u32)) else { break };
            let (kind, value) = if is_load { (MemoryUse::Read, Known::NOTHING) } else { (MemoryUse::Write, *known) };
            (self.touch)(Touch { operand: memory_at, address, bytes: size, kind, value });
        }
        if is_load {
            // The register that steps keeps its step, whatever is loaded into it.
            let steps = (operands[0].kind == Kind::PostIncrement).then_some(1 << (8 + operands[0].register));
            for (at, register) in registers.iter().enumerate() {
                if steps.unwrap_or(0) >> register & 1 != 0 {
                    continue;
                }
                let address = address.map(|it| it.wrapping_add(size * at as u32));
                let loaded = address.and_then(|it| self.data(it, size));
                let value = loaded.and_then(|it| Some(Known::constant(it.signed(size)? as u32, it.at)));
                self.state.set(*register, value.unwrap_or(Known::NOTHING));
            }
        }
    }

    /// MOVEP: a byte at every other address, the highest first.
    fn every_other(&mut self, size: u32) {
        let operands = self.line.code.operands;
        let memory_at = usize::from(operands[1].kind.is_memory());
        let Some(own) = register(&operands[1 - memory_at]) else { return };
        let before = self.state.get(own);
        if let Some(address) = self.address(memory_at, size) {
            for at in 0..size {
                let byte = before.low(size).map(|it| it >> (8 * (size - 1 - at)) & 0xff);
                let (kind, value) = match memory_at {
                    0 => (MemoryUse::Read, Known::NOTHING),
                    _ => (MemoryUse::Write, byte.map_or(Known::NOTHING, |it| Known::constant(it, before.at))),
                };
                let address = address.wrapping_add(2 * at);
                (self.touch)(Touch { operand: memory_at, address, bytes: 1, kind, value });
            }
        }
        if memory_at == 0 {
            self.state.set(own, before.with_low(size, Known::NOTHING));
        }
    }
}
