//! Which registers an instruction writes.

use crate::{Form, Instruction, Kind, Operand};

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
    use super::written;
    use crate::decode;

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
