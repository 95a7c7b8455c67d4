//! Arithmetic, logic, comparison, shifts, bits, decimals.

use super::{Instruction, Slot, When, form, instruction};
use crate::Kinds;
use crate::time::{Rule, c};
use Slot::{Ax, Bit, Conditions, Constant, Dx, Dy, Ea, None as No, PostX, PostY, PreX, PreY, Quick, Status};

const ALL: Slot = Ea(Kinds::ALL);
const DATA: Slot = Ea(Kinds::DATA);
const DATA_ALTERABLE: Slot = Ea(Kinds::DATA_ALTERABLE);
const MEMORY_ALTERABLE: Slot = Ea(Kinds::MEMORY_ALTERABLE);
const REGISTER: Slot = Ea(Kinds::only(crate::Kind::Data));

/// `<ea>,Dn` of ADD, SUB, AND, OR.
const LOAD: Rule = Rule::Load { word: c(4, 1, 0), long: c(6, 1, 0), direct: c(8, 1, 0) };
/// `<ea>,An` of ADDA, SUBA.
const LOAD_ADDRESS: Rule = Rule::Load { word: c(8, 1, 0), long: c(6, 1, 0), direct: c(8, 1, 0) };
const COMPARE: Rule = Rule::Load { word: c(4, 1, 0), long: c(6, 1, 0), direct: c(6, 1, 0) };
const COMPARE_ADDRESS: Rule = Rule::Load { word: c(6, 1, 0), long: c(6, 1, 0), direct: c(6, 1, 0) };
/// `Dn,<ea>` of ADD, SUB, AND, OR, EOR.
const STORE: Rule =
    Rule::Store { register: [c(4, 1, 0), c(8, 1, 0)], memory: [c(8, 1, 1), c(12, 1, 2)], address: c(8, 1, 0) };
const CONSTANT: Rule =
    Rule::Store { register: [c(8, 2, 0), c(16, 3, 0)], memory: [c(12, 2, 1), c(20, 3, 2)], address: c(8, 1, 0) };
const COMPARE_CONSTANT: Rule =
    Rule::Store { register: [c(8, 2, 0), c(14, 3, 0)], memory: [c(8, 2, 0), c(12, 3, 0)], address: c(8, 1, 0) };
/// CLR, NEG, NEGX, NOT.
const SINGLE: Rule =
    Rule::Store { register: [c(4, 1, 0), c(6, 1, 0)], memory: [c(8, 1, 1), c(12, 1, 2)], address: c(8, 1, 0) };
const TEST: Rule =
    Rule::Store { register: [c(4, 1, 0), c(4, 1, 0)], memory: [c(4, 1, 0), c(4, 1, 0)], address: c(8, 1, 0) };
const DECIMAL: Rule =
    Rule::Store { register: [c(6, 1, 0), c(6, 1, 0)], memory: [c(8, 1, 1), c(8, 1, 1)], address: c(8, 1, 0) };
const TEST_AND_SET: Rule =
    Rule::Store { register: [c(4, 1, 0), c(4, 1, 0)], memory: [c(10, 1, 1), c(10, 1, 1)], address: c(8, 1, 0) };
const EXTEND_REGISTERS: Rule = Rule::Sized(c(4, 1, 0), c(8, 1, 0));
const EXTEND_MEMORY: Rule = Rule::Sized(c(18, 3, 1), c(30, 5, 2));
const CONSTANT_TO_STATUS: Rule = Rule::Fixed(c(20, 3, 0));
const SHIFT_MEMORY: Rule =
    Rule::Store { register: [c(8, 1, 1), c(8, 1, 1)], memory: [c(8, 1, 1), c(8, 1, 1)], address: c(8, 1, 0) };

const fn with(instruction: Instruction, variants: &'static [(&'static str, When)]) -> Instruction {
    Instruction { variants, ..instruction }
}

const fn bits(register: u16) -> [Rule; 4] {
    [
        Rule::BitOfRegister(c(register, 1, 0)),
        Rule::BitOfRegister(c(register + 4, 2, 0)),
        Rule::Store { register: [c(8, 1, 1); 2], memory: [c(8, 1, 1); 2], address: c(8, 1, 1) },
        Rule::Store { register: [c(12, 2, 1); 2], memory: [c(12, 2, 1); 2], address: c(12, 2, 1) },
    ]
}

const CHANGE: [Rule; 4] = bits(8);
const CLEAR: [Rule; 4] = bits(10);
const SET: [Rule; 4] = bits(8);
const BIT_TEST: [Rule; 4] = [
    Rule::Fixed(c(6, 1, 0)),
    Rule::Fixed(c(10, 2, 0)),
    Rule::Store { register: [c(4, 1, 0); 2], memory: [c(4, 1, 0); 2], address: c(4, 1, 0) },
    Rule::Store { register: [c(8, 2, 0); 2], memory: [c(8, 2, 0); 2], address: c(8, 2, 0) },
];

#[rustfmt::skip]
pub(super) static INSTRUCTIONS: &[Instruction] = &[
    instruction("abcd", "add decimal with extend", "source + destination + X -> destination, in decimal",
        "Adds two bytes of two decimal digits each, and the extend bit. Z is only ever cleared, so set it before a chain of bytes; start from the last byte.", &[
        form("b", "1100 xxx1 0000 0yyy", [Dy, Dx], Rule::Fixed(c(6, 1, 0)), "*U*U*"),
        form("b", "1100 xxx1 0000 1yyy", [PreY, PreX], Rule::Fixed(c(18, 3, 1)), "*U*U*"),
    ]),
    with(instruction("add", "add", "source + destination -> destination",
        "Adds. With an address register as destination it is ADDA and leaves the flags alone.", &[
        form("bwl", "1101 xxx0 ssee eeee", [ALL, Dx], LOAD, "*****"),
        form("bwl", "1101 xxx1 ssee eeee", [Dx, MEMORY_ALTERABLE], STORE, "*****"),
    ]), &[("addq", When::Written), ("adda", When::Always), ("addi", When::Always)]),
    instruction("adda", "add to an address register, flags unchanged", "source + An -> An",
        "Adds to all 32 bits of an address register; a word is extended with its sign first.", &[
        form("wl", "1101 xxxz 11ee eeee", [ALL, Ax], LOAD_ADDRESS, "-----"),
    ]),
    instruction("addi", "add a constant", "constant + destination -> destination",
        "Adds a constant of the operation's size.", &[
        form("bwl", "0000 0110 ssee eeee", [Constant, DATA_ALTERABLE], CONSTANT, "*****"),
    ]),
    instruction("addq", "add 1 to 8", "constant + destination -> destination",
        "Adds 1 to 8 in one word. On an address register all 32 bits count whatever the size, and the flags stay.", &[
        form("wl", "0101 xxx0 ssee eeee", [Quick, Ea(Kinds::only(crate::Kind::Address))], Rule::Fixed(c(8, 1, 0)), "-----"),
        form("bwl", "0101 xxx0 ssee eeee", [Quick, DATA_ALTERABLE], STORE, "*****"),
    ]),
    instruction("addx", "add with extend", "source + destination + X -> destination",
        "Adds and takes the extend bit in: for numbers of more than 32 bits. Z is only ever cleared, so set it before the chain.", &[
        form("bwl", "1101 xxx1 ss00 0yyy", [Dy, Dx], EXTEND_REGISTERS, "*****"),
        form("bwl", "1101 xxx1 ss00 1yyy", [PreY, PreX], EXTEND_MEMORY, "*****"),
    ]),
    with(instruction("and", "bitwise and", "source and destination -> destination",
        "Keeps the bits that are set in both.", &[
        form("bwl", "1100 xxx0 ssee eeee", [DATA, Dx], LOAD, "-**00"),
        form("bwl", "1100 xxx1 ssee eeee", [Dx, MEMORY_ALTERABLE], STORE, "-**00"),
    ]), &[("andi", When::Always)]),
    instruction("andi", "bitwise and with a constant, also on CCR and SR", "constant and destination -> destination",
        "Keeps the bits that are set in the constant. On SR it is privileged: ANDI #$F8FF,SR lets all interrupts through.", &[
        form("bwl", "0000 0010 ssee eeee", [Constant, DATA_ALTERABLE], CONSTANT, "-**00"),
        form("b", "0000 0010 0011 1100", [Constant, Conditions], CONSTANT_TO_STATUS, "*****"),
        form("w", "0000 0010 0111 1100", [Constant, Status], CONSTANT_TO_STATUS, "*****").privileged(),
    ]),
    instruction("asl", "shift left, arithmetic: V tells a change of sign", "C, X <- destination <- 0",
        "Multiplies by two for each place. V is set if the sign changed at any place. A count in a register is taken modulo 64; count 0 clears C and leaves X.", &[
        form("bwl", "1110 xxx1 ss00 0yyy", [Quick, Dy], Rule::Shift, "*****"),
        form("bwl", "1110 xxx1 ss10 0yyy", [Dx, Dy], Rule::Shift, "*****"),
        form("w", "1110 0001 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "*****"),
    ]),
    instruction("asr", "shift right, keeping the sign", "sign -> destination -> C, X",
        "Divides by two for each place and rounds down. A count in a register is taken modulo 64; count 0 clears C and leaves X.", &[
        form("bwl", "1110 xxx0 ss00 0yyy", [Quick, Dy], Rule::Shift, "***0*"),
        form("bwl", "1110 xxx0 ss10 0yyy", [Dx, Dy], Rule::Shift, "***0*"),
        form("w", "1110 0000 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "***0*"),
    ]),
    instruction("bchg", "test a bit, then invert it", "not bit -> Z; not bit -> bit",
        "In a register bits 0 to 31, in memory bits 0 to 7 of a byte. The byte is read and written back: mind devices.", &[
        form("l", "0000 xxx1 01ee eeee", [Dx, REGISTER], CHANGE[0], "--*--"),
        form("l", "0000 1000 01ee eeee", [Bit, REGISTER], CHANGE[1], "--*--"),
        form("b", "0000 xxx1 01ee eeee", [Dx, MEMORY_ALTERABLE], CHANGE[2], "--*--"),
        form("b", "0000 1000 01ee eeee", [Bit, MEMORY_ALTERABLE], CHANGE[3], "--*--"),
    ]),
    instruction("bclr", "test a bit, then clear it", "not bit -> Z; 0 -> bit",
        "In a register bits 0 to 31, in memory bits 0 to 7 of a byte. The byte is read and written back: mind devices.", &[
        form("l", "0000 xxx1 10ee eeee", [Dx, REGISTER], CLEAR[0], "--*--"),
        form("l", "0000 1000 10ee eeee", [Bit, REGISTER], CLEAR[1], "--*--"),
        form("b", "0000 xxx1 10ee eeee", [Dx, MEMORY_ALTERABLE], CLEAR[2], "--*--"),
        form("b", "0000 1000 10ee eeee", [Bit, MEMORY_ALTERABLE], CLEAR[3], "--*--"),
    ]),
    instruction("bset", "test a bit, then set it", "not bit -> Z; 1 -> bit",
        "In a register bits 0 to 31, in memory bits 0 to 7 of a byte. The byte is read and written back: mind devices.", &[
        form("l", "0000 xxx1 11ee eeee", [Dx, REGISTER], SET[0], "--*--"),
        form("l", "0000 1000 11ee eeee", [Bit, REGISTER], SET[1], "--*--"),
        form("b", "0000 xxx1 11ee eeee", [Dx, MEMORY_ALTERABLE], SET[2], "--*--"),
        form("b", "0000 1000 11ee eeee", [Bit, MEMORY_ALTERABLE], SET[3], "--*--"),
    ]),
    instruction("btst", "test a bit: Z is its complement", "not bit -> Z",
        "In a register bits 0 to 31, in memory bits 0 to 7 of a byte. BEQ branches if the bit is 0.", &[
        form("l", "0000 xxx1 00ee eeee", [Dx, REGISTER], BIT_TEST[0], "--*--"),
        form("l", "0000 1000 00ee eeee", [Bit, REGISTER], BIT_TEST[1], "--*--"),
        form("b", "0000 xxx1 00ee eeee", [Dx, Ea(Kinds::DATA.without(Kinds::only(crate::Kind::Data)))], BIT_TEST[2], "--*--"),
        form("b", "0000 1000 00ee eeee", [Bit, Ea(Kinds::MEMORY)], BIT_TEST[3], "--*--"),
    ]),
    instruction("clr", "set to zero", "0 -> destination",
        "The 68000 and 68008 read the place before they write it: never use it on a device whose register changes when it is read. MOVE #0 does not read.", &[
        form("bwl", "0100 0010 ssee eeee", [DATA_ALTERABLE, No], SINGLE, "-0100"),
    ]),
    with(instruction("cmp", "compare: subtract and keep only the flags", "destination - source",
        "The branch behind it reads as: destination, condition, source. CMP #3,D0 and BGT branch if D0 is greater than 3.", &[
        form("bwl", "1011 xxx0 ssee eeee", [ALL, Dx], COMPARE, "-****"),
    ]), &[("cmpa", When::Always), ("cmpi", When::Always), ("cmpm", When::Always)]),
    instruction("cmpa", "compare with an address register", "An - source",
        "All 32 bits of the address register are compared; a word is extended with its sign first.", &[
        form("wl", "1011 xxxz 11ee eeee", [ALL, Ax], COMPARE_ADDRESS, "-****"),
    ]),
    instruction("cmpi", "compare with a constant", "destination - constant",
        "The branch behind it reads as: destination, condition, constant.", &[
        form("bwl", "0000 1100 ssee eeee", [Constant, DATA_ALTERABLE], COMPARE_CONSTANT, "-****"),
    ]),
    instruction("cmpm", "compare memory with memory, both advancing", "destination - source",
        "For comparing texts and blocks: both address registers step on by the size.", &[
        form("bwl", "1011 xxx1 ss00 1yyy", [PostY, PostX], Rule::Sized(c(12, 3, 0), c(20, 5, 0)), "-****"),
    ]),
    instruction("divs", "divide, signed: 32 by 16 bits, quotient low, remainder high", "destination / source -> remainder:quotient",
        "The remainder has the sign of the dividend. If the quotient needs more than 16 bits, V is set and the register stays as it was. A divisor of 0 takes vector 5.", &[
        form("w", "1000 xxx1 11ee eeee", [DATA, Dx], Rule::Divide { is_signed: true }, "-***0"),
    ]),
    instruction("divu", "divide, unsigned: 32 by 16 bits, quotient low, remainder high", "destination / source -> remainder:quotient",
        "If the quotient needs more than 16 bits, V is set and the register stays as it was. A divisor of 0 takes vector 5.", &[
        form("w", "1000 xxx0 11ee eeee", [DATA, Dx], Rule::Divide { is_signed: false }, "-***0"),
    ]),
    with(instruction("eor", "bitwise exclusive or", "source xor destination -> destination",
        "Inverts the bits that are set in the source. The source is a data register or a constant, never memory.", &[
        form("bwl", "1011 xxx1 ssee eeee", [Dx, DATA_ALTERABLE], STORE, "-**00"),
    ]), &[("eori", When::Always)]),
    instruction("eori", "bitwise exclusive or with a constant, also on CCR and SR", "constant xor destination -> destination",
        "Inverts the bits that are set in the constant. On SR it is privileged.", &[
        form("bwl", "0000 1010 ssee eeee", [Constant, DATA_ALTERABLE], CONSTANT, "-**00"),
        form("b", "0000 1010 0011 1100", [Constant, Conditions], CONSTANT_TO_STATUS, "*****"),
        form("w", "0000 1010 0111 1100", [Constant, Status], CONSTANT_TO_STATUS, "*****").privileged(),
    ]),
    instruction("ext", "extend the sign of a data register", "sign of the low half -> upper half",
        "EXT.W makes a byte a word, EXT.L a word a long.", &[
        form("wl", "0100 1000 1z00 0yyy", [Dy, No], Rule::Fixed(c(4, 1, 0)), "-**00"),
    ]),
    instruction("lsl", "shift left, logical", "C, X <- destination <- 0",
        "Fills with zero from the right. A count in a register is taken modulo 64; count 0 clears C and leaves X.", &[
        form("bwl", "1110 xxx1 ss00 1yyy", [Quick, Dy], Rule::Shift, "***0*"),
        form("bwl", "1110 xxx1 ss10 1yyy", [Dx, Dy], Rule::Shift, "***0*"),
        form("w", "1110 0011 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "***0*"),
    ]),
    instruction("lsr", "shift right, filling with zero", "0 -> destination -> C, X",
        "Fills with zero from the left. A count in a register is taken modulo 64; count 0 clears C and leaves X.", &[
        form("bwl", "1110 xxx0 ss00 1yyy", [Quick, Dy], Rule::Shift, "***0*"),
        form("bwl", "1110 xxx0 ss10 1yyy", [Dx, Dy], Rule::Shift, "***0*"),
        form("w", "1110 0010 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "***0*"),
    ]),
    instruction("muls", "multiply, signed: 16 by 16 gives 32 bits", "source * destination -> destination",
        "Takes the low words and fills the whole register. The time grows with the changes between 0 and 1 along the source's bits.", &[
        form("w", "1100 xxx1 11ee eeee", [DATA, Dx], Rule::Multiply { is_signed: true }, "-**00"),
    ]),
    instruction("mulu", "multiply, unsigned: 16 by 16 gives 32 bits", "source * destination -> destination",
        "Takes the low words and fills the whole register. The time grows with the ones in the source.", &[
        form("w", "1100 xxx0 11ee eeee", [DATA, Dx], Rule::Multiply { is_signed: false }, "-**00"),
    ]),
    instruction("nbcd", "negate decimal with extend", "0 - destination - X -> destination, in decimal",
        "The ten's complement if X is clear, the nine's if it is set.", &[
        form("b", "0100 1000 00ee eeee", [DATA_ALTERABLE, No], DECIMAL, "*U*U*"),
    ]),
    instruction("neg", "negate", "0 - destination -> destination",
        "The two's complement.", &[
        form("bwl", "0100 0100 ssee eeee", [DATA_ALTERABLE, No], SINGLE, "*****"),
    ]),
    instruction("negx", "negate with extend", "0 - destination - X -> destination",
        "For numbers of more than 32 bits. Z is only ever cleared, so set it before the chain.", &[
        form("bwl", "0100 0000 ssee eeee", [DATA_ALTERABLE, No], SINGLE, "*****"),
    ]),
    instruction("not", "invert every bit", "not destination -> destination",
        "The one's complement.", &[
        form("bwl", "0100 0110 ssee eeee", [DATA_ALTERABLE, No], SINGLE, "-**00"),
    ]),
    with(instruction("or", "bitwise or", "source or destination -> destination",
        "Sets the bits that are set in either.", &[
        form("bwl", "1000 xxx0 ssee eeee", [DATA, Dx], LOAD, "-**00"),
        form("bwl", "1000 xxx1 ssee eeee", [Dx, MEMORY_ALTERABLE], STORE, "-**00"),
    ]), &[("ori", When::Always)]),
    instruction("ori", "bitwise or with a constant, also on CCR and SR", "constant or destination -> destination",
        "Sets the bits that are set in the constant. On SR it is privileged: ORI #$0700,SR shuts interrupts out.", &[
        form("bwl", "0000 0000 ssee eeee", [Constant, DATA_ALTERABLE], CONSTANT, "-**00"),
        form("b", "0000 0000 0011 1100", [Constant, Conditions], CONSTANT_TO_STATUS, "*****"),
        form("w", "0000 0000 0111 1100", [Constant, Status], CONSTANT_TO_STATUS, "*****").privileged(),
    ]),
    instruction("rol", "rotate left", "C <- top bit -> bottom bit",
        "What leaves at the left comes in at the right, and into C. X has no part. A count in a register is taken modulo 64.", &[
        form("bwl", "1110 xxx1 ss01 1yyy", [Quick, Dy], Rule::Shift, "-**0*"),
        form("bwl", "1110 xxx1 ss11 1yyy", [Dx, Dy], Rule::Shift, "-**0*"),
        form("w", "1110 0111 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "-**0*"),
    ]),
    instruction("ror", "rotate right", "bottom bit -> top bit, C",
        "What leaves at the right comes in at the left, and into C. X has no part. A count in a register is taken modulo 64.", &[
        form("bwl", "1110 xxx0 ss01 1yyy", [Quick, Dy], Rule::Shift, "-**0*"),
        form("bwl", "1110 xxx0 ss11 1yyy", [Dx, Dy], Rule::Shift, "-**0*"),
        form("w", "1110 0110 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "-**0*"),
    ]),
    instruction("roxl", "rotate left through X", "C, X <- destination <- X",
        "The extend bit is one place of the ring. A count in a register is taken modulo 64; count 0 copies X to C.", &[
        form("bwl", "1110 xxx1 ss01 0yyy", [Quick, Dy], Rule::Shift, "***0*"),
        form("bwl", "1110 xxx1 ss11 0yyy", [Dx, Dy], Rule::Shift, "***0*"),
        form("w", "1110 0101 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "***0*"),
    ]),
    instruction("roxr", "rotate right through X", "X -> destination -> C, X",
        "The extend bit is one place of the ring. A count in a register is taken modulo 64; count 0 copies X to C.", &[
        form("bwl", "1110 xxx0 ss01 0yyy", [Quick, Dy], Rule::Shift, "***0*"),
        form("bwl", "1110 xxx0 ss11 0yyy", [Dx, Dy], Rule::Shift, "***0*"),
        form("w", "1110 0100 11ee eeee", [MEMORY_ALTERABLE, No], SHIFT_MEMORY, "***0*"),
    ]),
    instruction("sbcd", "subtract decimal with extend", "destination - source - X -> destination, in decimal",
        "Subtracts two bytes of two decimal digits each, and the extend bit. Z is only ever cleared, so set it before a chain of bytes.", &[
        form("b", "1000 xxx1 0000 0yyy", [Dy, Dx], Rule::Fixed(c(6, 1, 0)), "*U*U*"),
        form("b", "1000 xxx1 0000 1yyy", [PreY, PreX], Rule::Fixed(c(18, 3, 1)), "*U*U*"),
    ]),
    with(instruction("sub", "subtract", "destination - source -> destination",
        "Subtracts. With an address register as destination it is SUBA and leaves the flags alone.", &[
        form("bwl", "1001 xxx0 ssee eeee", [ALL, Dx], LOAD, "*****"),
        form("bwl", "1001 xxx1 ssee eeee", [Dx, MEMORY_ALTERABLE], STORE, "*****"),
    ]), &[("subq", When::Written), ("suba", When::Always), ("subi", When::Always)]),
    instruction("suba", "subtract from an address register, flags unchanged", "An - source -> An",
        "Subtracts from all 32 bits of an address register; a word is extended with its sign first.", &[
        form("wl", "1001 xxxz 11ee eeee", [ALL, Ax], LOAD_ADDRESS, "-----"),
    ]),
    instruction("subi", "subtract a constant", "destination - constant -> destination",
        "Subtracts a constant of the operation's size.", &[
        form("bwl", "0000 0100 ssee eeee", [Constant, DATA_ALTERABLE], CONSTANT, "*****"),
    ]),
    instruction("subq", "subtract 1 to 8", "destination - constant -> destination",
        "Subtracts 1 to 8 in one word. On an address register all 32 bits count whatever the size, and the flags stay.", &[
        form("wl", "0101 xxx1 ssee eeee", [Quick, Ea(Kinds::only(crate::Kind::Address))], Rule::Fixed(c(8, 1, 0)), "-----"),
        form("bwl", "0101 xxx1 ssee eeee", [Quick, DATA_ALTERABLE], STORE, "*****"),
    ]),
    instruction("subx", "subtract with extend", "destination - source - X -> destination",
        "Subtracts and takes the extend bit in: for numbers of more than 32 bits. Z is only ever cleared, so set it before the chain.", &[
        form("bwl", "1001 xxx1 ss00 0yyy", [Dy, Dx], EXTEND_REGISTERS, "*****"),
        form("bwl", "1001 xxx1 ss00 1yyy", [PreY, PreX], EXTEND_MEMORY, "*****"),
    ]),
    instruction("tas", "test a byte and set its top bit in one bus cycle", "destination - 0; 1 -> bit 7",
        "No other bus master can come between the read and the write; a board whose memory controller does not know the cycle may fail here.", &[
        form("b", "0100 1010 11ee eeee", [DATA_ALTERABLE, No], TEST_AND_SET, "-**00"),
    ]),
    instruction("tst", "compare with zero", "destination - 0",
        "Sets N and Z from the operand. An address register cannot be tested: move it to a data register.", &[
        form("bwl", "0100 1010 ssee eeee", [DATA_ALTERABLE, No], TEST, "-**00"),
    ]),
];
