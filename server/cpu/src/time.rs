//! How long an instruction takes.
//!
//! *M68000 User's Manual*, ninth edition, section 8, with the corrections that `cpu68000-timing.csv` of the tests carries where the
//! print is known to be wrong. A bus cycle takes 4 clocks; each wait state adds one clock to it. The 68008 moves a byte a cycle, so each
//! word costs one cycle more. The 68010's figures come from one processor core and are marked as near.

use crate::{Cpu, Form, Kind, Operand, Size, Slot};

/// Clock periods, and the bus cycles among them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, PartialOrd, Ord)]
pub struct Clocks {
    /// Clock periods without wait states.
    pub cycles: u16,
    /// Bus cycles that read, instruction words included.
    pub reads: u16,
    /// Bus cycles that write.
    pub writes: u16,
}

pub(crate) const fn c(cycles: u16, reads: u16, writes: u16) -> Clocks {
    Clocks { cycles, reads, writes }
}

impl Clocks {
    const fn plus(self, other: Self) -> Self {
        c(self.cycles + other.cycles, self.reads + other.reads, self.writes + other.writes)
    }

    const fn less(self, cycles: u16) -> Self {
        c(self.cycles - cycles, self.reads, self.writes)
    }

    const fn more(self, cycles: u16) -> Self {
        c(self.cycles + cycles, self.reads, self.writes)
    }
}

/// The time of an instruction: from the least to the most, where it depends on data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Time {
    /// The shortest.
    pub least: Clocks,
    /// The longest.
    pub most: Clocks,
    /// The figures are near, not exact: the 68010's.
    pub is_near: bool,
}

/// How the time of a form is made up. Pairs are for byte or word, and for long.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    /// Always the same.
    Fixed(Clocks),
    /// By size.
    Sized(Clocks, Clocks),
    /// From an addressing mode to a register: the mode's time comes on top. `direct` is the long from a register or a constant.
    Load {
        /// Byte or word.
        word: Clocks,
        /// Long from memory.
        long: Clocks,
        /// Long from a register or a constant.
        direct: Clocks,
    },
    /// To an addressing mode, the last operand: in memory its time comes on top.
    Store {
        /// To a data register.
        register: [Clocks; 2],
        /// To memory.
        memory: [Clocks; 2],
        /// To an address register.
        address: Clocks,
    },
    /// MOVE: the source's time and the destination's.
    Move,
    /// MOVE to CCR and SR.
    ToStatus,
    /// Shifts of a register: two clocks a place.
    Shift,
    /// BCHG, BCLR, BSET of a register: the most; two less for bits 0 to 15.
    BitOfRegister(Clocks),
    /// By control mode: `(An)`, `d16(An)`, `d8(An,Xn)`, `xxx.W`, `xxx.L`, `d16(PC)`, `d8(PC,Xn)`.
    Places(&'static [Clocks; 7]),
    /// MOVEM to memory.
    StoreList,
    /// MOVEM from memory.
    LoadList,
    /// MULU, MULS.
    Multiply {
        /// MULS.
        is_signed: bool,
    },
    /// DIVU, DIVS.
    Divide {
        /// DIVS.
        is_signed: bool,
    },
    /// Bcc, BRA, BSR.
    Branch,
    /// DBcc.
    Loop,
    /// Scc.
    Set,
    /// MOVES.
    Space,
}

/// Table 8-1: the time to work an address out and read the operand; byte or word, and long.
const ADDRESS_TIMES: [[Clocks; 2]; 12] = [
    [c(0, 0, 0), c(0, 0, 0)],
    [c(0, 0, 0), c(0, 0, 0)],
    [c(4, 1, 0), c(8, 2, 0)],
    [c(4, 1, 0), c(8, 2, 0)],
    [c(6, 1, 0), c(10, 2, 0)],
    [c(8, 2, 0), c(12, 3, 0)],
    [c(10, 2, 0), c(14, 3, 0)],
    [c(8, 2, 0), c(12, 3, 0)],
    [c(12, 3, 0), c(16, 4, 0)],
    [c(8, 2, 0), c(12, 3, 0)],
    [c(10, 2, 0), c(14, 3, 0)],
    [c(4, 1, 0), c(8, 2, 0)],
];

/// What a destination adds to MOVE, from tables 8-2 and 8-3; byte or word, and long.
const DESTINATION_TIMES: [[Clocks; 2]; 9] = [
    [c(0, 0, 0), c(0, 0, 0)],
    [c(0, 0, 0), c(0, 0, 0)],
    [c(4, 0, 1), c(8, 0, 2)],
    [c(4, 0, 1), c(8, 0, 2)],
    [c(4, 0, 1), c(8, 0, 2)],
    [c(8, 1, 1), c(12, 1, 2)],
    [c(10, 1, 1), c(14, 1, 2)],
    [c(8, 1, 1), c(12, 1, 2)],
    [c(12, 2, 1), c(16, 2, 2)],
];

/// Table 8-10, MOVEM without its registers: `(An)`, `d16(An)`, `d8(An,Xn)`, `xxx.W`, `xxx.L`, `d16(PC)`, `d8(PC,Xn)`.
const LOAD_LIST: [Clocks; 7] =
    [c(12, 3, 0), c(16, 4, 0), c(18, 4, 0), c(16, 4, 0), c(20, 5, 0), c(16, 4, 0), c(18, 4, 0)];
const STORE_LIST: [Clocks; 5] = [c(8, 2, 0), c(12, 3, 0), c(14, 3, 0), c(12, 3, 0), c(16, 4, 0)];

/// Times of exceptions, table 8-14: what happens instead of the instruction's own time.
pub const EXCEPTIONS: [(&str, Clocks); 11] = [
    ("address error", c(50, 4, 7)),
    ("bus error", c(50, 4, 7)),
    ("CHK instruction trap", c(40, 4, 3)),
    ("divide by zero", c(38, 4, 3)),
    ("illegal instruction", c(34, 4, 3)),
    ("interrupt", c(44, 5, 3)),
    ("privilege violation", c(34, 4, 3)),
    ("reset", c(40, 6, 0)),
    ("trace", c(34, 4, 3)),
    ("TRAP instruction", c(34, 4, 3)),
    ("TRAPV instruction trap", c(34, 5, 3)),
];

/// The time of an addressing mode (table 8-1); nothing for what is no addressing mode.
#[must_use]
pub fn address_time(kind: Kind, size: Size) -> Clocks {
    let kind = if kind == Kind::Target { Kind::AbsoluteLong } else { kind };
    ADDRESS_TIMES.get(kind as usize).map_or(c(0, 0, 0), |it| it[usize::from(size == Size::Long)])
}

/// The place of a control mode in tables by control mode.
fn place(kind: Kind) -> usize {
    match kind {
        Kind::Displacement => 1,
        Kind::Index => 2,
        Kind::AbsoluteShort => 3,
        Kind::AbsoluteLong | Kind::Target => 4,
        Kind::PcDisplacement => 5,
        Kind::PcIndex => 6,
        _ => 0,
    }
}

/// The time of an instruction: a form with its size, its operands and, in a family, its condition. `words` is how many words the
/// instruction has.
///
/// Operands whose value is open count with all that they may be.
#[must_use]
pub fn time(cpu: Cpu, form: &Form, size: Size, condition: u8, operands: &[Operand; 2], words: u8) -> Time {
    let (least, most) = on_16_bits(cpu, form, size, condition, operands);
    let is_near = cpu == Cpu::M68010;
    if cpu != Cpu::M68008 {
        return Time { least, most, is_near };
    }
    let on_8_bits = |time: Clocks| {
        // Bytes of data take one cycle on either bus.
        let own = u16::from(words);
        let is_byte = size == Size::Byte && operands.iter().any(|it| it.kind.is_memory() || it.kind == Kind::Target);
        let is_peripheral = form.slots.contains(&Slot::DisplacementY);
        let bytes = if is_byte || is_peripheral { time.reads.saturating_sub(own) + time.writes } else { 0 };
        let more = time.reads + time.writes - bytes;
        Clocks {
            cycles: time.cycles + 4 * more,
            reads: time.reads * 2 - if bytes > 0 { time.reads.saturating_sub(own) } else { 0 },
            writes: if bytes > 0 { time.writes } else { time.writes * 2 },
        }
    };
    Time { least: on_8_bits(least), most: on_8_bits(most), is_near }
}

/// Ones of the low word.
fn ones(value: i64) -> u16 {
    (value as u16).count_ones() as u16
}

/// Changes between neighbours of the low word with a 0 behind it.
fn changes(value: i64) -> u16 {
    let word = u32::from(value as u16) << 1;
    ((word ^ (word >> 1)) & 0xffff).count_ones() as u16
}

fn on_16_bits(cpu: Cpu, form: &Form, size: Size, condition: u8, operands: &[Operand; 2]) -> (Clocks, Clocks) {
    let newer = cpu == Cpu::M68010;
    let long = usize::from(size == Size::Long);
    let [first, second] = operands;
    let constant = |operand: &Operand| (operand.kind == Kind::Immediate).then_some(operand.value);
    let last = if form.operand_count() == 2 { second } else { first };
    let same = |time: Clocks| (time, time);
    let is_from_status = matches!(form.slots[0], Slot::Status | Slot::Conditions);
    match form.rule {
        Rule::Fixed(time) => match form.slots {
            _ if !newer => same(time),
            [Slot::Quick, Slot::Ea(_)] if size == Size::Word => same(time.less(4)),
            [Slot::Constant, Slot::Conditions | Slot::Status] => same(time.less(4)),
            [Slot::UserStack, _] | [_, Slot::UserStack] => same(time.more(2)),
            _ => same(match time.cycles {
                132 => time.less(2),
                34 => time.more(4),
                20 if form.is_privileged => c(24, 6, 0),
                _ => time,
            }),
        },
        Rule::Sized(word, time) => match size {
            Size::Long if newer && form.slots == [Slot::Dy, Slot::Dx] => same(time.less(2)),
            Size::Long => same(time),
            _ => same(word),
        },
        Rule::Load { word, long: from_memory, direct } => {
            let base = match (size, first.kind) {
                // The 68010 needs no clocks more for these.
                (Size::Long, Kind::Data | Kind::Address | Kind::Immediate) if !newer => direct,
                (Size::Long, _) => from_memory,
                _ => word,
            };
            let base = if newer && word.cycles == 10 { base.less(2) } else { base };
            same(base.plus(address_time(first.kind, size)))
        }
        Rule::Store { register, memory, address } => same(match last.kind {
            Kind::Address => address,
            Kind::Data => {
                let less = newer && size == Size::Long && matches!(form.slots[0], Slot::Dx | Slot::Constant);
                if less || newer && is_from_status { register[long].less(2) } else { register[long] }
            }
            kind => {
                let time = memory[long].plus(address_time(kind, size));
                let read = if size == Size::Long { 2 } else { 1 };
                // The 68010 does not read what CLR and MOVE from SR and CCR only write.
                let only_writes = newer && (form.flags == "-0100" || is_from_status);
                if only_writes {
                    c(time.cycles - 4 * read, time.reads - read, time.writes)
                } else if newer && form.value == 0x0180 {
                    // BCLR of a bit whose number is in a register.
                    time.more(2)
                } else {
                    time
                }
            }
        }),
        Rule::Move => {
            let kind = if second.kind == Kind::Target { Kind::AbsoluteLong } else { second.kind };
            let to = DESTINATION_TIMES.get(kind as usize).map_or(c(0, 0, 0), |it| it[long]);
            let time = c(4, 1, 0).plus(address_time(first.kind, size)).plus(to);
            same(if newer && kind == Kind::PreDecrement && long == 1 { time.more(2) } else { time })
        }
        Rule::ToStatus => same(c(12, 2, 0).plus(address_time(first.kind, Size::Word))),
        Rule::Shift => {
            let base = if size == Size::Long { 8 } else { 6 };
            let time = |count: u16| c(base + 2 * count, 1, 0);
            match constant(first) {
                Some(count) => same(time(count.clamp(1, 8) as u16)),
                None if first.kind == Kind::Immediate => (time(1), time(8)),
                None => (time(0), time(63)),
            }
        }
        Rule::BitOfRegister(most) => match constant(first) {
            Some(bit) if bit & 31 < 16 => same(most.less(2)),
            Some(_) => same(most),
            None => (most.less(2), most),
        },
        Rule::Places(times) => same(times[place(first.kind)]),
        Rule::StoreList | Rule::LoadList => {
            let (base, list) = match form.rule {
                Rule::LoadList => (LOAD_LIST[place(first.kind)], second),
                _ => (STORE_LIST[place(second.kind).min(4)], first),
            };
            let count = match list.kind {
                // As a number it is the word itself, whichever way round it is read.
                Kind::List | Kind::Immediate => ones(list.value),
                _ => 1,
            };
            let each = if size == Size::Long { 2 } else { 1 } * count;
            let moved = if form.rule == Rule::LoadList { c(4 * each, each, 0) } else { c(4 * each, 0, each) };
            same(base.plus(moved))
        }
        Rule::Multiply { is_signed } => {
            let fewest = if newer { if is_signed { 32 } else { 30 } } else { 38 };
            let most = if newer { 62 } else { 70 };
            let address = address_time(first.kind, Size::Word);
            let time = |cycles: u16| c(cycles, 1, 0).plus(address);
            match constant(first) {
                Some(value) if !newer => same(time(38 + 2 * if is_signed { changes(value) } else { ones(value) })),
                _ => (time(fewest), time(most)),
            }
        }
        Rule::Divide { is_signed } => {
            let address = address_time(first.kind, Size::Word);
            let (fewest, most) = match (newer, is_signed) {
                (false, false) => (76, 140),
                (false, true) => (124, 158),
                (true, false) => (108, 108),
                (true, true) => (122, 122),
            };
            (c(fewest, 1, 0).plus(address), c(most, 1, 0).plus(address))
        }
        Rule::Branch => match (condition, size) {
            (0, _) => same(c(10, 2, 0)),
            (1, _) => same(c(18, 2, 2)),
            (_, Size::Word | Size::Long) => {
                let stays = if newer { 10 } else { 12 };
                (c(10, 2, 0), c(stays, 2, 0))
            }
            _ => (c(if newer { 6 } else { 8 }, 1, 0), c(10, 2, 0)),
        },
        Rule::Loop => match condition {
            0 => same(c(12, 2, 0)),
            _ => (c(10, 2, 0), if newer { c(18, 3, 0) } else { c(14, 3, 0) }),
        },
        Rule::Set => match (first.kind, condition) {
            (Kind::Data, _) if newer => same(c(4, 1, 0)),
            (Kind::Data, 0) => same(c(6, 1, 0)),
            (Kind::Data, 1) => same(c(4, 1, 0)),
            (Kind::Data, _) => (c(4, 1, 0), c(6, 1, 0)),
            (kind, _) => {
                let time = c(8, 1, 1).plus(address_time(kind, Size::Byte));
                same(if newer { c(time.cycles - 4, time.reads - 1, time.writes) } else { time })
            }
        },
        Rule::Space => {
            let data = if size == Size::Long { 2 } else { 1 };
            if !matches!(first.kind, Kind::Data | Kind::Address) {
                return same(c(14, 2, 0).plus(address_time(first.kind, size)));
            }
            let time = c(14, 2, 0).plus(address_time(second.kind, size));
            same(c(time.cycles, time.reads - data, data))
        }
    }
}
