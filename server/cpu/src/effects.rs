//! Which registers an instruction writes.

use crate::{Form, Instruction, Kind, Operand, Slot};

/// Instructions that only read their last operand.
const READ_ONLY: &[&str] = &["bkpt", "btst", "chk", "cmp", "cmpa", "cmpi", "cmpm", "jmp", "jsr", "pea", "tst"];

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
    match instruction.name {
        "exg" => set |= register(&operands[0]) | register(&operands[1]),
        "dbcc" => set |= register(&operands[0]),
        "link" | "unlk" => set |= register(&operands[0]) | STACK,
        "bsr" | "jsr" | "pea" | "rts" | "rtr" | "rte" | "rtd" => set |= STACK,
        name if READ_ONLY.contains(&name) => (),
        // MOVEM to memory has its list first.
        _ => {
            let at = count.saturating_sub(1);
            if let Some(last) = taken.last().filter(|_| !matches!(form.slots[at], Slot::Branch | Slot::Loop)) {
                set |= register(last);
            }
        }
    }
    set
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
}
