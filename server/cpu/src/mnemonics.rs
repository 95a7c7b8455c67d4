//! The mnemonics.

use std::collections::HashMap;
use std::sync::LazyLock;

use crate::Sizes;

/// How many operands an instruction takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Operands {
    /// The fewest.
    pub least: u8,
    /// The most.
    pub most: u8,
}

/// One mnemonic of the 68000 or 68010.
#[derive(Clone, Copy, Debug)]
pub struct Mnemonic {
    /// In lower case.
    pub name: &'static str,
    /// The size suffixes that it takes.
    pub sizes: Sizes,
    /// How many operands it takes.
    pub operands: Operands,
    /// What it does, in one line of our own.
    pub summary: &'static str,
}

const fn row(name: &'static str, sizes: &str, least: u8, most: u8, summary: &'static str) -> Mnemonic {
    Mnemonic { name, sizes: Sizes::of(sizes), operands: Operands { least, most }, summary }
}

/// Every mnemonic, sorted by name. Names, sizes and operand counts are from the CPU maker's instruction set summary (from
/// memory; `tests/tests/oracle_mnemonics.rs` holds them against GNU as). `bhs`, `blo` and their like are the
/// published second names of `bcc`, `bcs`; the `j..` rows are the pseudo branches of *Using as* 2.40, 9.22.6.1.
#[rustfmt::skip]
pub static MNEMONICS: &[Mnemonic] = &[
    row("abcd", "b", 2, 2, "add decimal with extend"),
    row("add", "bwl", 2, 2, "add"),
    row("adda", "wl", 2, 2, "add to an address register, flags unchanged"),
    row("addi", "bwl", 2, 2, "add a constant"),
    row("addq", "bwl", 2, 2, "add 1 to 8"),
    row("addx", "bwl", 2, 2, "add with extend"),
    row("and", "bwl", 2, 2, "bitwise and"),
    row("andi", "bwl", 2, 2, "bitwise and with a constant, also on CCR and SR"),
    row("asl", "bwl", 1, 2, "shift left, arithmetic: V tells a change of sign"),
    row("asr", "bwl", 1, 2, "shift right, keeping the sign"),
    row("bcc", "bwsl", 1, 1, "branch if carry clear"),
    row("bchg", "bl", 2, 2, "test a bit, then invert it"),
    row("bclr", "bl", 2, 2, "test a bit, then clear it"),
    row("bcs", "bwsl", 1, 1, "branch if carry set"),
    row("beq", "bwsl", 1, 1, "branch if equal"),
    row("bge", "bwsl", 1, 1, "branch if greater or equal, signed"),
    row("bgt", "bwsl", 1, 1, "branch if greater, signed"),
    row("bhi", "bwsl", 1, 1, "branch if higher, unsigned"),
    row("bhs", "bwsl", 1, 1, "branch if higher or same, unsigned"),
    row("bkpt", "", 1, 1, "breakpoint (68010)"),
    row("ble", "bwsl", 1, 1, "branch if less or equal, signed"),
    row("blo", "bwsl", 1, 1, "branch if lower, unsigned"),
    row("bls", "bwsl", 1, 1, "branch if lower or same, unsigned"),
    row("blt", "bwsl", 1, 1, "branch if less, signed"),
    row("bmi", "bwsl", 1, 1, "branch if minus"),
    row("bne", "bwsl", 1, 1, "branch if not equal"),
    row("bpl", "bwsl", 1, 1, "branch if plus"),
    row("bra", "bwsl", 1, 1, "branch always"),
    row("bset", "bl", 2, 2, "test a bit, then set it"),
    row("bsr", "bwsl", 1, 1, "branch to a subroutine, return address on the stack"),
    row("btst", "bl", 2, 2, "test a bit: Z is its complement"),
    row("bvc", "bwsl", 1, 1, "branch if overflow clear"),
    row("bvs", "bwsl", 1, 1, "branch if overflow set"),
    row("chk", "w", 2, 2, "trap if a register is below 0 or above a bound"),
    row("clr", "bwl", 1, 1, "set to zero"),
    row("cmp", "bwl", 2, 2, "compare: subtract and keep only the flags"),
    row("cmpa", "wl", 2, 2, "compare with an address register"),
    row("cmpi", "bwl", 2, 2, "compare with a constant"),
    row("cmpm", "bwl", 2, 2, "compare memory with memory, both advancing"),
    row("dbcc", "w", 2, 2, "end the loop if carry clear; else count down a word and branch until it is -1"),
    row("dbcs", "w", 2, 2, "end the loop if carry set; else count down a word and branch until it is -1"),
    row("dbeq", "w", 2, 2, "end the loop if equal; else count down a word and branch until it is -1"),
    row("dbf", "w", 2, 2, "count down a word and branch until it is -1"),
    row("dbge", "w", 2, 2, "end the loop if greater or equal, signed; else count down a word and branch until it is -1"),
    row("dbgt", "w", 2, 2, "end the loop if greater, signed; else count down a word and branch until it is -1"),
    row("dbhi", "w", 2, 2, "end the loop if higher, unsigned; else count down a word and branch until it is -1"),
    row("dbhs", "w", 2, 2, "end the loop if higher or same, unsigned; else count down a word and branch until it is -1"),
    row("dble", "w", 2, 2, "end the loop if less or equal, signed; else count down a word and branch until it is -1"),
    row("dblo", "w", 2, 2, "end the loop if lower, unsigned; else count down a word and branch until it is -1"),
    row("dbls", "w", 2, 2, "end the loop if lower or same, unsigned; else count down a word and branch until it is -1"),
    row("dblt", "w", 2, 2, "end the loop if less, signed; else count down a word and branch until it is -1"),
    row("dbmi", "w", 2, 2, "end the loop if minus; else count down a word and branch until it is -1"),
    row("dbne", "w", 2, 2, "end the loop if not equal; else count down a word and branch until it is -1"),
    row("dbpl", "w", 2, 2, "end the loop if plus; else count down a word and branch until it is -1"),
    row("dbra", "w", 2, 2, "count down a word and branch until it is -1"),
    row("dbt", "w", 2, 2, "never branches: the condition is always true"),
    row("dbvc", "w", 2, 2, "end the loop if overflow clear; else count down a word and branch until it is -1"),
    row("dbvs", "w", 2, 2, "end the loop if overflow set; else count down a word and branch until it is -1"),
    row("divs", "w", 2, 2, "divide, signed: 32 by 16 bits, quotient low, remainder high"),
    row("divu", "w", 2, 2, "divide, unsigned: 32 by 16 bits, quotient low, remainder high"),
    row("eor", "bwl", 2, 2, "bitwise exclusive or"),
    row("eori", "bwl", 2, 2, "bitwise exclusive or with a constant, also on CCR and SR"),
    row("exg", "l", 2, 2, "exchange two registers"),
    row("ext", "wl", 1, 1, "extend the sign of a data register"),
    row("illegal", "", 0, 0, "take the illegal-instruction exception"),
    row("jbsr", "", 1, 1, "branch to a subroutine, sized by the assembler"),
    row("jcc", "", 1, 1, "branch if carry clear, sized by the assembler"),
    row("jcs", "", 1, 1, "branch if carry set, sized by the assembler"),
    row("jeq", "", 1, 1, "branch if equal, sized by the assembler"),
    row("jge", "", 1, 1, "branch if greater or equal, signed, sized by the assembler"),
    row("jgt", "", 1, 1, "branch if greater, signed, sized by the assembler"),
    row("jhi", "", 1, 1, "branch if higher, unsigned, sized by the assembler"),
    row("jle", "", 1, 1, "branch if less or equal, signed, sized by the assembler"),
    row("jls", "", 1, 1, "branch if lower or same, unsigned, sized by the assembler"),
    row("jlt", "", 1, 1, "branch if less, signed, sized by the assembler"),
    row("jmi", "", 1, 1, "branch if minus, sized by the assembler"),
    row("jmp", "", 1, 1, "jump to an address"),
    row("jne", "", 1, 1, "branch if not equal, sized by the assembler"),
    row("jpl", "", 1, 1, "branch if plus, sized by the assembler"),
    row("jra", "", 1, 1, "branch always, sized by the assembler"),
    row("jsr", "", 1, 1, "jump to a subroutine, return address on the stack"),
    row("jvc", "", 1, 1, "branch if overflow clear, sized by the assembler"),
    row("jvs", "", 1, 1, "branch if overflow set, sized by the assembler"),
    row("lea", "l", 2, 2, "load the effective address itself"),
    row("link", "w", 2, 2, "save a frame pointer and reserve stack"),
    row("lsl", "bwl", 1, 2, "shift left, logical"),
    row("lsr", "bwl", 1, 2, "shift right, filling with zero"),
    row("move", "bwl", 2, 2, "copy; also to and from SR, CCR and USP"),
    row("movea", "wl", 2, 2, "copy to an address register, flags unchanged"),
    row("movec", "l", 2, 2, "copy to or from a control register (68010)"),
    row("movem", "wl", 2, 2, "copy several registers to or from memory"),
    row("movep", "wl", 2, 2, "copy a register to or from every other byte of memory"),
    row("moveq", "l", 2, 2, "load a constant of -128 to 127"),
    row("moves", "bwl", 2, 2, "copy through another address space (68010)"),
    row("muls", "w", 2, 2, "multiply, signed: 16 by 16 gives 32 bits"),
    row("mulu", "w", 2, 2, "multiply, unsigned: 16 by 16 gives 32 bits"),
    row("nbcd", "b", 1, 1, "negate decimal with extend"),
    row("neg", "bwl", 1, 1, "negate"),
    row("negx", "bwl", 1, 1, "negate with extend"),
    row("nop", "", 0, 0, "do nothing"),
    row("not", "bwl", 1, 1, "invert every bit"),
    row("or", "bwl", 2, 2, "bitwise or"),
    row("ori", "bwl", 2, 2, "bitwise or with a constant, also on CCR and SR"),
    row("pea", "l", 1, 1, "push the effective address itself"),
    row("reset", "", 0, 0, "pulse the RESET line to the devices; privileged"),
    row("rol", "bwl", 1, 2, "rotate left"),
    row("ror", "bwl", 1, 2, "rotate right"),
    row("roxl", "bwl", 1, 2, "rotate left through X"),
    row("roxr", "bwl", 1, 2, "rotate right through X"),
    row("rtd", "", 1, 1, "return and drop bytes of the stack (68010)"),
    row("rte", "", 0, 0, "return from an exception; privileged"),
    row("rtr", "", 0, 0, "return and restore the condition codes"),
    row("rts", "", 0, 0, "return from a subroutine"),
    row("sbcd", "b", 2, 2, "subtract decimal with extend"),
    row("scc", "b", 1, 1, "set a byte to FF if carry clear, else to 00"),
    row("scs", "b", 1, 1, "set a byte to FF if carry set, else to 00"),
    row("seq", "b", 1, 1, "set a byte to FF if equal, else to 00"),
    row("sf", "b", 1, 1, "set a byte to 00"),
    row("sge", "b", 1, 1, "set a byte to FF if greater or equal, signed, else to 00"),
    row("sgt", "b", 1, 1, "set a byte to FF if greater, signed, else to 00"),
    row("shi", "b", 1, 1, "set a byte to FF if higher, unsigned, else to 00"),
    row("shs", "b", 1, 1, "set a byte to FF if higher or same, unsigned, else to 00"),
    row("sle", "b", 1, 1, "set a byte to FF if less or equal, signed, else to 00"),
    row("slo", "b", 1, 1, "set a byte to FF if lower, unsigned, else to 00"),
    row("sls", "b", 1, 1, "set a byte to FF if lower or same, unsigned, else to 00"),
    row("slt", "b", 1, 1, "set a byte to FF if less, signed, else to 00"),
    row("smi", "b", 1, 1, "set a byte to FF if minus, else to 00"),
    row("sne", "b", 1, 1, "set a byte to FF if not equal, else to 00"),
    row("spl", "b", 1, 1, "set a byte to FF if plus, else to 00"),
    row("st", "b", 1, 1, "set a byte to FF"),
    row("stop", "", 1, 1, "load SR and wait for an interrupt; privileged"),
    row("sub", "bwl", 2, 2, "subtract"),
    row("suba", "wl", 2, 2, "subtract from an address register, flags unchanged"),
    row("subi", "bwl", 2, 2, "subtract a constant"),
    row("subq", "bwl", 2, 2, "subtract 1 to 8"),
    row("subx", "bwl", 2, 2, "subtract with extend"),
    row("svc", "b", 1, 1, "set a byte to FF if overflow clear, else to 00"),
    row("svs", "b", 1, 1, "set a byte to FF if overflow set, else to 00"),
    row("swap", "w", 1, 1, "exchange the halves of a data register"),
    row("tas", "b", 1, 1, "test a byte and set its top bit in one bus cycle"),
    row("trap", "", 1, 1, "take one of sixteen trap exceptions"),
    row("trapv", "", 0, 0, "take an exception if V is set"),
    row("tst", "bwl", 1, 1, "compare with zero"),
    row("unlk", "", 1, 1, "give back a stack frame"),
];

static INDEX: LazyLock<HashMap<&'static str, usize>> =
    LazyLock::new(|| MNEMONICS.iter().enumerate().map(|(at, it)| (it.name, at)).collect());

/// The place in [`MNEMONICS`] of a name, in either case.
#[must_use]
pub fn mnemonic_index(name: &str) -> Option<usize> {
    INDEX.get(name.to_ascii_lowercase().as_str()).copied()
}

/// The mnemonic of a name without size, in either case.
#[must_use]
pub fn mnemonic(name: &str) -> Option<&'static Mnemonic> {
    mnemonic_index(name).map(|at| &MNEMONICS[at])
}

#[cfg(test)]
mod tests {
    use super::MNEMONICS;

    #[test]
    fn the_table_is_sorted_and_has_no_name_twice() {
        assert!(MNEMONICS.windows(2).all(|pair| pair[0].name < pair[1].name));
    }
}
