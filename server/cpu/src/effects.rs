//! Which registers an instruction writes, and what it does with its operands in memory.

use crate::{Cpu, Form, Instruction, Kind, Operand};

/// Instructions that write none of their operands.
const READ_ONLY: &[&str] = &[
    "bcc", "bkpt", "bra", "bsr", "btst", "chk", "cmp", "cmpa", "cmpi", "cmpm", "jmp", "jsr", "pea", "rtd", "stop",
    "trap", "tst",
];

/// Whether an instruction writes to what its operand `at`, of `count`, stands for: a register, a list of them, or memory. That an
/// address register steps is another thing.
#[must_use]
pub fn writes(instruction: &Instruction, at: usize, count: usize) -> bool {
    match instruction.name {
        "exg" => true,
        "dbcc" | "link" | "unlk" => at == 0,
        name if READ_ONLY.contains(&name) => false,
        // MOVEM to memory has its list first.
        _ => at + 1 == count,
    }
}

/// The registers that an instruction writes, as a set: D0 in bit 0, A7 in bit 15. What a subroutine or an exception does is not in it.
#[must_use]
pub fn written(instruction: &Instruction, form: &Form, operands: &[Operand; 2]) -> u16 {
    let register = |operand: &Operand| match operand.kind {
        Kind::Data => 1 << operand.register,
        Kind::Address => 0x100 << operand.register,
        Kind::List => operand.value as u16,
        _ => 0,
    };
    let steps = |operand: &Operand| match operand.kind {
        Kind::PostIncrement | Kind::PreDecrement => 0x100 << operand.register,
        _ => 0,
    };
    let count = form.operand_count();
    let taken = &operands[..count];
    let mut set = taken.iter().map(steps).fold(0, |sum, it| sum | it);
    const STACK: u16 = 0x8000;
    if matches!(instruction.name, "link" | "unlk" | "bsr" | "jsr" | "pea" | "rts" | "rtr" | "rte" | "rtd") {
        set |= STACK;
    }
    let direct = taken.iter().enumerate().filter(|it| writes(instruction, it.0, count));
    direct.fold(set, |set, it| set | register(it.1))
}

/// What an instruction does on the bus with an operand in memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum MemoryUse {
    /// It reads.
    Read,
    /// It writes and does not read.
    Write,
    /// It reads first, then writes.
    ReadWrite,
}

/// Instructions that store without a look at what is there, on every member of the family.
const STORES: &[&str] = &["move", "movem", "movep", "moves"];
/// Instructions that need no old value of their operand and read it all the same; the 68010 no longer does.
const IDLE_READS: &[&str] = &["clr", "scc"];
/// Instructions that work an address out, or take their next instruction from there, and touch no data.
const NO_DATA: &[&str] = &["jmp", "jsr", "lea", "pea"];

/// What an instruction does with its operand `at`, of `count`, where that is in memory; none where it takes the address alone. MOVE from SR and
/// CCR reads before it writes.
///
/// Source: the bus cycles of *M68000 User's Manual*, section 8, counted again in a model of the bus. That the 68010 does not read for CLR and Scc is
/// from memory; of MOVE from SR on it nothing is known here, and the 68000's read is taken.
#[must_use]
pub fn memory_use(
    instruction: &Instruction,
    operands: &[Operand; 2],
    at: usize,
    count: usize,
    cpu: Cpu,
) -> Option<MemoryUse> {
    operands.get(at).filter(|it| it.kind.is_memory())?;
    let name = instruction.name;
    if NO_DATA.contains(&name) {
        return None;
    }
    if !writes(instruction, at, count) {
        return Some(MemoryUse::Read);
    }
    let is_status = at == 1 && matches!(operands[0].kind, Kind::Status | Kind::Conditions);
    let stores = STORES.contains(&name) && !is_status || IDLE_READS.contains(&name) && cpu == Cpu::M68010;
    Some(if stores { MemoryUse::Write } else { MemoryUse::ReadWrite })
}

/// Whether the next instruction may not be the one that is executed next: a branch, a jump, a return, or an exception that is meant.
#[must_use]
pub fn leaves(instruction: &Instruction) -> bool {
    matches!(
        instruction.name,
        "bcc" | "bra" | "bsr" | "dbcc" | "jmp" | "jsr" | "rts" | "rte" | "rtr" | "rtd" | "trap" | "illegal" | "stop"
    )
}

/// Whether the next instruction is never executed after this one.
#[must_use]
pub fn ends(instruction: &Instruction) -> bool {
    matches!(instruction.name, "bra" | "jmp" | "rts" | "rte" | "rtr" | "rtd")
}

#[cfg(test)]
mod tests {
    use super::MemoryUse::{Read, ReadWrite, Write};
    use super::{memory_use, written};
    use crate::{Cpu, decode};

    // M68000 Family Programmer's Reference Manual, section 4 (from memory).
    #[test]
    fn destinations_and_stepping_registers_are_written() {
        let set = |words: &[u16]| {
            let it = decode(words, 0).expect("an instruction");
            written(it.instruction, it.form, &it.operands)
        };
        assert_eq!(set(&[0x3018]), 1 | 0x100, "move.w (a0)+,d0");
        assert_eq!(set(&[0xb041]), 0, "cmp.w d1,d0");
        assert_eq!(set(&[0x4cdf, 0x0303]), 0x8303, "movem.l (sp)+,d0-d1/a0-a1");
        assert_eq!(set(&[0x48e7, 0xc0c0]), 0x8000, "movem.l d0-d1/a0-a1,-(sp)");
        assert_eq!(set(&[0x51cf, 0xfffe]), 0x80, "dbf d7");
        assert_eq!(set(&[0xc340]), 3, "exg d1,d0");
        assert_eq!(set(&[0x4251]), 0, "clr.w (a1)");
    }

    // M68000 User's Manual, section 8: reads and writes of each row, counted again in a model of the bus. The 68010: from memory.
    #[test]
    fn what_is_written_may_be_read_first() {
        let of = |words: &[u16], cpu: Cpu| {
            let it = decode(words, 0).expect("an instruction");
            let count = it.form.operand_count();
            let memory = (0..count).filter(|at| it.operands[*at].kind.is_memory());
            memory.map(|at| memory_use(it.instruction, &it.operands, at, count, cpu)).collect::<Vec<_>>()
        };
        let on = |words: &[u16]| of(words, Cpu::M68000);
        let both = [Some(ReadWrite)];
        assert_eq!(on(&[0x4210]), both, "clr.b (a0)");
        assert_eq!(of(&[0x4210], Cpu::M68008), both, "clr.b (a0)");
        assert_eq!(of(&[0x4210], Cpu::M68010), [Some(Write)], "clr.b (a0)");
        assert_eq!(on(&[0x50d0]), both, "st (a0)");
        assert_eq!(of(&[0x50d0], Cpu::M68010), [Some(Write)], "st (a0)");
        assert_eq!(on(&[0x40d0]), both, "move sr,(a0)");
        for (word, text) in [
            (0x4410, "neg.b (a0)"),
            (0x4010, "negx.b (a0)"),
            (0x4610, "not.b (a0)"),
            (0x4ad0, "tas (a0)"),
            (0x01d0, "bset d0,(a0)"),
            (0x0190, "bclr d0,(a0)"),
            (0x0150, "bchg d0,(a0)"),
            (0xd110, "add.b d0,(a0)"),
            (0x9110, "sub.b d0,(a0)"),
            (0xc110 | 0x40, "and.w d0,(a0)"),
            (0x8110 | 0x40, "or.w d0,(a0)"),
            (0xb110, "eor.b d0,(a0)"),
            (0x5210, "addq.b #1,(a0)"),
            (0x5310, "subq.b #1,(a0)"),
            (0xe3d0, "lsl (a0)"),
        ] {
            assert_eq!(of(&[word], Cpu::M68010), both, "{text}");
        }
        assert_eq!(on(&[0x0010, 0x0001]), both, "ori.b #1,(a0)");
        assert_eq!(on(&[0x1080]), [Some(Write)], "move.b d0,(a0)");
        assert_eq!(on(&[0x10d9]), [Some(Read), Some(Write)], "move.b (a1)+,(a0)+");
        assert_eq!(on(&[0x48d0, 0x0003]), [Some(Write)], "movem.l d0-d1,(a0)");
        assert_eq!(on(&[0x4cd0, 0x0003]), [Some(Read)], "movem.l (a0),d0-d1");
        assert_eq!(on(&[0x0188, 0x0000]), [Some(Write)], "movep.w d0,0(a0)");
        assert_eq!(on(&[0x0108, 0x0000]), [Some(Read)], "movep.w 0(a0),d0");
        assert_eq!(on(&[0x0110]), [Some(Read)], "btst d0,(a0)");
        assert_eq!(on(&[0x4a10]), [Some(Read)], "tst.b (a0)");
        assert_eq!(on(&[0xb010]), [Some(Read)], "cmp.b (a0),d0");
        assert_eq!(on(&[0xb308]), [Some(Read), Some(Read)], "cmpm.b (a0)+,(a1)+");
        assert_eq!(on(&[0x43d0]), [None], "lea (a0),a1");
        assert_eq!(on(&[0x4ed0]), [None], "jmp (a0)");
    }

    // M68000 Family Programmer's Reference Manual, section 4 (from memory).
    #[test]
    fn operands_are_read_or_written() {
        let which = |name: &str, count: usize| -> Vec<bool> {
            let it = crate::mnemonic(name).expect("an instruction").instruction;
            (0..count).map(|at| super::writes(it, at, count)).collect()
        };
        assert_eq!(which("move", 2), [false, true]);
        assert_eq!(which("cmp", 2), [false, false]);
        assert_eq!(which("btst", 2), [false, false]);
        assert_eq!(which("bset", 2), [false, true]);
        assert_eq!(which("exg", 2), [true, true]);
        assert_eq!(which("clr", 1), [true]);
        assert_eq!(which("tst", 1), [false]);
        assert_eq!(which("dbra", 2), [true, false]);
        assert_eq!(which("link", 2), [true, false]);
        for name in ["jsr", "jmp", "bsr", "beq", "bra", "pea", "trap", "stop"] {
            assert_eq!(which(name, 1), [false], "{name}");
        }
    }
}
