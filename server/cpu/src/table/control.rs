//! Branches, subroutines, exceptions and the state of the processor.

use super::{Cpu, Family, Instruction, Slot, form, instruction};
use crate::Kinds;
use crate::time::{Rule, c};
use Slot::{Branch, Breakpoint, Dx, Dy, Ea, Loop, None as No, Vector};

const CONTROL: Slot = Ea(Kinds::CONTROL);

#[rustfmt::skip]
pub(super) static INSTRUCTIONS: &[Instruction] = &[
    // Resident assemblers mean the branch of 16 bits by .L; others a branch of 32 bits that these processors do not have (from memory).
    Instruction { family: Family::Conditions(2), ..instruction("bcc", "branch if {}", "if condition: target -> PC",
        "The distance counts from the word behind the first: .S reaches -128 to 126 bytes, but not the next instruction, .W -32768 to 32766.", &[
        form("bwsl", "0110 cccc dddd dddd", [Branch, No], Rule::Branch, "-----"),
    ]) },
    instruction("bkpt", "breakpoint (68010)", "breakpoint cycle, then vector 4",
        "Tells a debugger on the bus, then takes the illegal-instruction exception.", &[
        form("", "0100 1000 0100 1yyy", [Breakpoint, No], Rule::Fixed(c(34, 5, 3)), "-----").since(Cpu::M68010),
    ]),
    instruction("bra", "branch always", "target -> PC",
        "The distance counts from the word behind the first: .S reaches -128 to 126 bytes, but not the next instruction, .W -32768 to 32766.", &[
        form("bwsl", "0110 0000 dddd dddd", [Branch, No], Rule::Branch, "-----"),
    ]),
    instruction("bsr", "branch to a subroutine, return address on the stack", "PC -> -(SP); target -> PC",
        "The distance counts from the word behind the first: .S reaches -128 to 126 bytes, but not the next instruction, .W -32768 to 32766.", &[
        form("bwsl", "0110 0001 dddd dddd", [Branch, No], Rule::Branch, "-----"),
    ]),
    instruction("chk", "trap if a register is below 0 or above a bound", "if Dn < 0 or Dn > bound: vector 6",
        "Compares the low word, with its sign. The trap takes 40 clocks instead of 10.", &[
        form("w", "0100 xxx1 10ee eeee", [Ea(Kinds::DATA), Dx], Rule::Load { word: c(10, 1, 0), long: c(10, 1, 0), direct: c(10, 1, 0) }, "-*UUU"),
    ]),
    Instruction { family: Family::Conditions(0), ..instruction("dbcc",
        "end the loop if the condition holds ({}); else count down a word and branch until it is -1", "if not condition: Dn - 1 -> Dn; if Dn <> -1: target -> PC",
        "The counter is the low word, and the loop runs once more than it says: load it with one less. DBRA is DBF, which never ends by its condition.", &[
        form("w", "0101 cccc 1100 1yyy", [Dy, Loop], Rule::Loop, "-----"),
    ]) },
    instruction("illegal", "take the illegal-instruction exception", "vector 4",
        "$4AFC will be illegal in every member of the family; monitors use it for breakpoints.", &[
        form("", "0100 1010 1111 1100", [No, No], Rule::Fixed(c(34, 4, 3)), "-----"),
    ]),
    instruction("jmp", "jump to an address", "target -> PC",
        "An odd target is an address error at the fetch.", &[
        form("", "0100 1110 11ee eeee", [CONTROL, No], Rule::Places(&[
            c(8, 2, 0), c(10, 2, 0), c(14, 2, 0), c(10, 2, 0), c(12, 3, 0), c(10, 2, 0), c(14, 2, 0),
        ]), "-----"),
    ]),
    instruction("jsr", "jump to a subroutine, return address on the stack", "PC -> -(SP); target -> PC",
        "An odd target is an address error at the fetch.", &[
        form("", "0100 1110 10ee eeee", [CONTROL, No], Rule::Places(&[
            c(16, 2, 2), c(18, 2, 2), c(22, 2, 2), c(18, 2, 2), c(20, 3, 2), c(18, 2, 2), c(22, 2, 2),
        ]), "-----"),
    ]),
    instruction("nop", "do nothing", "",
        "Takes a word and four clocks.", &[
        form("", "0100 1110 0111 0001", [No, No], Rule::Fixed(c(4, 1, 0)), "-----"),
    ]),
    instruction("reset", "pulse the RESET line to the devices; privileged", "RESET line low for 124 clocks",
        "Resets the devices, not the processor.", &[
        form("", "0100 1110 0111 0000", [No, No], Rule::Fixed(c(132, 1, 0)), "-----").privileged(),
    ]),
    instruction("rtd", "return and drop bytes of the stack (68010)", "(SP)+ -> PC; SP + constant -> SP",
        "Returns and takes the caller's parameters off the stack.", &[
        form("", "0100 1110 0111 0100", [Slot::Signed16, No], Rule::Fixed(c(16, 4, 0)), "-----").since(Cpu::M68010),
    ]),
    instruction("rte", "return from an exception; privileged", "(SP)+ -> SR; (SP)+ -> PC",
        "On the 68000 a frame of six bytes; the 68010 looks at the format word behind it. A bus or address error of the 68000 cannot be returned from.", &[
        form("", "0100 1110 0111 0011", [No, No], Rule::Fixed(c(20, 5, 0)), "*****").privileged(),
    ]),
    instruction("rtr", "return and restore the condition codes", "(SP)+ -> CCR; (SP)+ -> PC",
        "The caller has pushed SR or CCR as a word under the return address.", &[
        form("", "0100 1110 0111 0111", [No, No], Rule::Fixed(c(20, 5, 0)), "*****"),
    ]),
    instruction("rts", "return from a subroutine", "(SP)+ -> PC",
        "Takes the return address off the stack.", &[
        form("", "0100 1110 0111 0101", [No, No], Rule::Fixed(c(16, 4, 0)), "-----"),
    ]),
    Instruction { family: Family::Conditions(0), ..instruction("scc", "set a byte to $FF if {}, else to $00", "if condition: $FF -> destination, else $00 -> destination",
        "The 68000 and 68008 read the place before they write it: mind devices.", &[
        form("b", "0101 cccc 11ee eeee", [Ea(Kinds::DATA_ALTERABLE), No], Rule::Set, "-----"),
    ]) },
    instruction("stop", "load SR and wait for an interrupt; privileged", "constant -> SR; wait",
        "The constant has to keep the supervisor bit set, and an interrupt mask that lets the awaited interrupt through.", &[
        form("", "0100 1110 0111 0010", [Slot::Constant16, No], Rule::Fixed(c(4, 0, 0)), "*****").privileged(),
    ]),
    instruction("trap", "take one of sixteen trap exceptions", "vector 32 + number",
        "The usual way into a monitor or an operating system: the call's number is in a register.", &[
        form("", "0100 1110 0100 vvvv", [Vector, No], Rule::Fixed(c(34, 4, 3)), "-----"),
    ]),
    instruction("trapv", "take an exception if V is set", "if V: vector 7",
        "4 clocks without the trap, 34 with it.", &[
        form("", "0100 1110 0111 0110", [No, No], Rule::Fixed(c(4, 1, 0)), "-----"),
    ]),
];
