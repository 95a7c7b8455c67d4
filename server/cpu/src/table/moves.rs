//! Moving data and addresses.

use super::{Cpu, Instruction, Slot, When, form, instruction};
use crate::time::{Rule, c};
use crate::{Kind, Kinds};
use Slot::{
    Ax, Ay, Conditions, Control, DisplacementY, Dx, Dy, Ea, General, List, ListBackwards, MoveTo, None as No, Quick8,
    Status, UserStack,
};

const ALL: Slot = Ea(Kinds::ALL);
const DATA: Slot = Ea(Kinds::DATA);
const DATA_ALTERABLE: Slot = Ea(Kinds::DATA_ALTERABLE);
const CONTROL: Slot = Ea(Kinds::CONTROL);

const FROM_STATUS: Rule =
    Rule::Store { register: [c(6, 1, 0), c(6, 1, 0)], memory: [c(8, 1, 1), c(8, 1, 1)], address: c(8, 1, 0) };

#[rustfmt::skip]
pub(super) static INSTRUCTIONS: &[Instruction] = &[
    instruction("exg", "exchange two registers", "Rx <-> Ry",
        "Exchanges all 32 bits of two registers of either kind.", &[
        form("l", "1100 xxx1 0100 0yyy", [Dx, Dy], Rule::Fixed(c(6, 1, 0)), "-----"),
        form("l", "1100 xxx1 0100 1yyy", [Ax, Ay], Rule::Fixed(c(6, 1, 0)), "-----"),
        form("l", "1100 xxx1 1000 1yyy", [Dx, Ay], Rule::Fixed(c(6, 1, 0)), "-----"),
        // The data register comes first in the word, in whatever order they are written.
        form("l", "1100 xxx1 1000 1yyy", [Ay, Dx], Rule::Fixed(c(6, 1, 0)), "-----"),
    ]),
    instruction("lea", "load the effective address itself", "address of source -> An",
        "Works an address out and keeps it; memory is not touched. The whole register is written.", &[
        form("l", "0100 xxx1 11ee eeee", [CONTROL, Ax], Rule::Places(&[
            c(4, 1, 0), c(8, 2, 0), c(12, 2, 0), c(8, 2, 0), c(12, 3, 0), c(8, 2, 0), c(12, 2, 0),
        ]), "-----"),
    ]),
    instruction("link", "save a frame pointer and reserve stack", "An -> -(SP); SP -> An; SP + constant -> SP",
        "Opens a frame on the stack; the constant is negative to make room. UNLK closes it.", &[
        form("w", "0100 1110 0101 0yyy", [Ay, Slot::Signed16], Rule::Fixed(c(16, 2, 2)), "-----"),
    ]),
    Instruction { variants: &[("moveq", When::Written), ("movea", When::Always)], ..instruction("move",
        "copy; also to and from SR, CCR and USP", "source -> destination",
        "Copies. To an address register it is MOVEA and leaves the flags alone. The destination is not read first.", &[
        form("bwl", "00pp mmmm mmee eeee", [ALL, MoveTo(Kinds::DATA_ALTERABLE)], Rule::Move, "-**00"),
        form("w", "0100 0000 11ee eeee", [Status, DATA_ALTERABLE], FROM_STATUS, "-----"),
        form("w", "0100 0010 11ee eeee", [Conditions, DATA_ALTERABLE], FROM_STATUS, "-----").since(Cpu::M68010),
        form("w", "0100 0100 11ee eeee", [DATA, Conditions], Rule::ToStatus, "*****"),
        form("w", "0100 0110 11ee eeee", [DATA, Status], Rule::ToStatus, "*****").privileged(),
        form("l", "0100 1110 0110 0yyy", [Ay, UserStack], Rule::Fixed(c(4, 1, 0)), "-----").privileged(),
        form("l", "0100 1110 0110 1yyy", [UserStack, Ay], Rule::Fixed(c(4, 1, 0)), "-----").privileged(),
    ]) },
    instruction("movea", "copy to an address register, flags unchanged", "source -> An",
        "All 32 bits are written; a word is extended with its sign first, so MOVEA.W #$8000 gives $FFFF8000.", &[
        form("wl", "00pp xxx0 01ee eeee", [ALL, Ax], Rule::Move, "-----"),
    ]),
    instruction("movec", "copy to or from a control register (68010)", "control register <-> Rn",
        "Reaches VBR, SFC, DFC and USP.", &[
        form("l", "0100 1110 0111 1010", [Control, General], Rule::Fixed(c(12, 2, 0)), "-----").privileged().since(Cpu::M68010),
        form("l", "0100 1110 0111 1011", [General, Control], Rule::Fixed(c(10, 2, 0)), "-----").privileged().since(Cpu::M68010),
    ]),
    instruction("movem", "copy several registers to or from memory", "registers <-> memory",
        "D0 comes first at the lowest address, A7 last. Words that are loaded fill the registers with their sign, data registers too. Loading reads one word too many behind the last.", &[
        form("wl", "0100 1000 1zee eeee", [ListBackwards, Ea(Kinds::only(Kind::PreDecrement))], Rule::StoreList, "-----"),
        form("wl", "0100 1000 1zee eeee", [List, Ea(Kinds::CONTROL_ALTERABLE)], Rule::StoreList, "-----"),
        form("wl", "0100 1100 1zee eeee", [Ea(Kinds::CONTROL.or(Kinds::only(Kind::PostIncrement))), List], Rule::LoadList, "-----"),
    ]),
    instruction("movep", "copy a register to or from every other byte of memory", "Dn <-> bytes at d16(An), +2, +4, +6",
        "For 8-bit devices on one half of the bus. The highest byte goes to the lowest address; any address will do.", &[
        form("wl", "0000 xxx1 1z00 1yyy", [Dx, DisplacementY], Rule::Sized(c(16, 2, 2), c(24, 2, 4)), "-----"),
        form("wl", "0000 xxx1 0z00 1yyy", [DisplacementY, Dx], Rule::Sized(c(16, 4, 0), c(24, 6, 0)), "-----"),
    ]),
    instruction("moveq", "load a constant of -128 to 127", "constant -> Dn",
        "Fills all 32 bits of a data register from one word.", &[
        form("l", "0111 xxx0 kkkk kkkk", [Quick8, Dx], Rule::Fixed(c(4, 1, 0)), "-**00"),
    ]),
    instruction("moves", "copy through another address space (68010)", "source -> destination in space SFC or DFC",
        "Reads and writes in the address space that SFC and DFC name, such as the user's.", &[
        form("bwl", "0000 1110 ssee eeee", [General, Ea(Kinds::MEMORY_ALTERABLE)], Rule::Space, "-----").privileged().since(Cpu::M68010),
        form("bwl", "0000 1110 ssee eeee", [Ea(Kinds::MEMORY_ALTERABLE), General], Rule::Space, "-----").privileged().since(Cpu::M68010),
    ]),
    instruction("pea", "push the effective address itself", "address of source -> -(SP)",
        "Works an address out and pushes it; memory is not read.", &[
        form("l", "0100 1000 01ee eeee", [CONTROL, No], Rule::Places(&[
            c(12, 1, 2), c(16, 2, 2), c(20, 2, 2), c(16, 2, 2), c(20, 3, 2), c(16, 2, 2), c(20, 2, 2),
        ]), "-----"),
    ]),
    instruction("swap", "exchange the halves of a data register", "bits 31-16 <-> bits 15-0",
        "N and Z tell of all 32 bits.", &[
        form("w", "0100 1000 0100 0yyy", [Dy, No], Rule::Fixed(c(4, 1, 0)), "-**00"),
    ]),
    instruction("unlk", "give back a stack frame", "An -> SP; (SP)+ -> An",
        "Closes the frame that LINK opened.", &[
        form("", "0100 1110 0101 1yyy", [Ay, No], Rule::Fixed(c(12, 3, 0)), "-----"),
    ]),
];
