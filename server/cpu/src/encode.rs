//! From a form and operands to words.

use crate::table::{Form, SizeField, Slot};
use crate::{CONTROL_REGISTERS, Kind, Operand, Size};

/// The words of an instruction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Encoding {
    words: [u16; 5],
    len: u8,
}

impl Encoding {
    fn push(&mut self, word: u16) {
        if let Some(slot) = self.words.get_mut(usize::from(self.len)) {
            *slot = word;
            self.len += 1;
        }
    }

    /// The words, one to five.
    #[must_use]
    pub fn words(&self) -> &[u16] {
        &self.words[..usize::from(self.len)]
    }

    /// The bytes.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        self.words().iter().flat_map(|word| word.to_be_bytes()).collect()
    }

    /// How many bytes.
    #[must_use]
    pub fn len(&self) -> u32 {
        2 * u32::from(self.len)
    }

    /// Whether it has no words.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }
}

/// An operand whose value cannot be encoded as it is; the encoding has what is left of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OperandProblem {
    /// The value is outside a range.
    Range {
        /// The operand, 0 or 1.
        operand: u8,
        /// The value.
        value: i64,
        /// The least that it may be.
        least: i64,
        /// The most that it may be.
        most: i64,
    },
    /// A distance is outside a range; both ends of it, and the distance.
    Distance {
        /// The operand, 0 or 1.
        operand: u8,
        /// The distance in bytes from where it counts.
        distance: i64,
        /// The least that it may be.
        least: i64,
        /// The most that it may be.
        most: i64,
    },
    /// A branch goes to an odd address.
    OddTarget {
        /// The operand, 0 or 1.
        operand: u8,
    },
    /// A short branch to the next instruction: its distance of 0 marks the long form.
    NextInstruction,
    /// The processor takes the number of a bit modulo 32 or 8.
    BitNumber {
        /// The number.
        value: i64,
        /// 32 or 8.
        modulo: i64,
    },
}

/// How many words a form has with operands of these kinds. An address whose length is open counts as a long one.
#[must_use]
pub fn word_count(form: &Form, size: Size, kinds: [Kind; 2]) -> u8 {
    let mut count = 1;
    for (slot, kind) in form.slots.iter().zip(kinds) {
        count += match slot {
            Slot::Ea(_) | Slot::MoveTo(_) => match kind {
                Kind::Target => 2,
                kind => kind.extension_words(size),
            },
            Slot::Constant => 1 + u8::from(size == Size::Long),
            Slot::DisplacementY
            | Slot::Signed16
            | Slot::Constant16
            | Slot::Bit
            | Slot::List
            | Slot::ListBackwards
            | Slot::Loop
            | Slot::Control => 1,
            // MOVEC has both in one word.
            Slot::General => u8::from(!form.slots.contains(&Slot::Control)),
            Slot::Branch => u8::from(size != Size::Short),
            _ => 0,
        };
    }
    count
}

/// Encodes a form. `address` is the instruction's own, from which distances count.
#[must_use]
pub fn encode(
    form: &Form,
    size: Size,
    condition: u8,
    operands: &[Operand; 2],
    address: i64,
) -> (Encoding, Option<OperandProblem>) {
    let mut out = Encoder { size, address, encoding: Encoding::default(), problem: None };
    let mut first = form.value | size_bits(form.size_field, size);
    if form.has_condition {
        first |= u16::from(condition) << 8;
    }
    for (slot, operand) in form.slots.iter().zip(operands) {
        first |= in_first_word(*slot, operand);
    }
    out.encoding.push(first);
    for at in 0..2 {
        out.leading(form, at, operands);
    }
    for (at, (slot, operand)) in form.slots.iter().zip(operands).enumerate() {
        if matches!(slot, Slot::Ea(_) | Slot::MoveTo(_) | Slot::DisplacementY) {
            out.mode(at as u8, operand);
        }
    }
    (out.encoding, out.problem)
}

fn size_bits(field: SizeField, size: Size) -> u16 {
    match (field, size) {
        (SizeField::Standard, Size::Word) => 1 << 6,
        (SizeField::Standard, Size::Long) => 2 << 6,
        (SizeField::Bit(bit), Size::Long) => 1 << bit,
        (SizeField::Move, Size::Byte) => 1 << 12,
        (SizeField::Move, Size::Word) => 3 << 12,
        (SizeField::Move, Size::Long) => 2 << 12,
        _ => 0,
    }
}

/// Mode and register of an addressing mode.
fn mode_bits(operand: &Operand) -> (u16, u16) {
    let register = u16::from(operand.register);
    match operand.kind {
        Kind::AbsoluteShort => (7, 0),
        Kind::AbsoluteLong | Kind::Target => (7, 1),
        Kind::PcDisplacement => (7, 2),
        Kind::PcIndex => (7, 3),
        Kind::Immediate => (7, 4),
        kind => (kind as u16, register),
    }
}

fn in_first_word(slot: Slot, operand: &Operand) -> u16 {
    let register = u16::from(operand.register & 7);
    match slot {
        Slot::Ea(_) => {
            let (mode, register) = mode_bits(operand);
            mode << 3 | register
        }
        Slot::MoveTo(_) => {
            let (mode, register) = mode_bits(operand);
            register << 9 | mode << 6
        }
        Slot::Dx | Slot::Ax | Slot::PostX | Slot::PreX => register << 9,
        Slot::Dy | Slot::Ay | Slot::PostY | Slot::PreY | Slot::DisplacementY => register,
        _ => 0,
    }
}

struct Encoder {
    size: Size,
    address: i64,
    encoding: Encoding,
    problem: Option<OperandProblem>,
}

impl Encoder {
    fn problem(&mut self, problem: OperandProblem) {
        self.problem = self.problem.or(Some(problem));
    }

    fn check(&mut self, operand: u8, value: i64, least: i64, most: i64) {
        if !(least..=most).contains(&value) {
            self.problem(OperandProblem::Range { operand, value, least, most });
        }
    }

    /// A distance from the next word.
    fn distance(&mut self, operand: u8, target: i64, least: i64, most: i64) -> i64 {
        let distance = target - (self.address + i64::from(self.encoding.len()));
        if !(least..=most).contains(&distance) {
            self.problem(OperandProblem::Distance { operand, distance, least, most });
        }
        distance
    }

    fn constant(&mut self, at: u8, value: i64) {
        match self.size {
            Size::Long => {
                self.check(at, value, -0x8000_0000, 0xffff_ffff);
                self.encoding.push((value >> 16) as u16);
                self.encoding.push(value as u16);
            }
            Size::Byte => {
                // The upper half is not used; a sign fills it, as assemblers have it.
                self.check(at, value, -0x80, 0xff);
                self.encoding.push(value as u16);
            }
            _ => {
                self.check(at, value, -0x8000, 0xffff);
                self.encoding.push(value as u16);
            }
        }
    }

    fn in_first(&mut self, bits: u16) {
        self.encoding.words[0] |= bits;
    }

    /// What stands in the first word or in front of the addressing modes.
    fn leading(&mut self, form: &Form, at: usize, operands: &[Operand; 2]) {
        let operand = &operands[at];
        let (value, which) = (operand.value, at as u8);
        match form.slots[at] {
            Slot::Constant => self.constant(which, value),
            Slot::Signed16 => {
                self.check(which, value, -0x8000, 0x7fff);
                self.encoding.push(value as u16);
            }
            Slot::Constant16 => {
                self.check(which, value, -0x8000, 0xffff);
                self.encoding.push(value as u16);
            }
            Slot::Quick => {
                self.check(which, value, 1, 8);
                self.in_first((value as u16 & 7) << 9);
            }
            Slot::Quick8 => {
                // $FFFFFF80 to $FFFFFFFF are the negative ones, written as the register will hold them.
                let value = if value >> 32 == 0 { i64::from(value as i32) } else { value };
                self.check(which, value, -128, 127);
                self.in_first(value as u16 & 0xff);
            }
            Slot::Vector => {
                self.check(which, value, 0, 15);
                self.in_first(value as u16 & 15);
            }
            Slot::Breakpoint => {
                self.check(which, value, 0, 7);
                self.in_first(value as u16 & 7);
            }
            Slot::Bit => {
                let modulo = if self.size == Size::Long { 32 } else { 8 };
                self.check(which, value, -0x80, 0xff);
                if !(0..modulo).contains(&value) {
                    self.problem(OperandProblem::BitNumber { value, modulo });
                }
                self.encoding.push(value as u16);
            }
            Slot::List | Slot::ListBackwards => {
                let list = match operand.kind {
                    Kind::Data => 1 << operand.register,
                    Kind::Address => 0x100 << operand.register,
                    _ => value as u16,
                };
                // A list written as a number is the word itself.
                let is_word = operand.kind == Kind::Immediate;
                if is_word {
                    self.check(which, value, -0x8000, 0xffff);
                }
                let backwards = form.slots[at] == Slot::ListBackwards && !is_word;
                self.encoding.push(if backwards { list.reverse_bits() } else { list });
            }
            Slot::Branch => self.branch(which, value),
            Slot::Loop => {
                let distance = self.distance(which, value, -0x8000, 0x7fff);
                if distance & 1 == 1 {
                    self.problem(OperandProblem::OddTarget { operand: which });
                }
                self.encoding.push(distance as u16);
            }
            Slot::Control | Slot::General if at == 0 && form.slots.contains(&Slot::Control) => {
                let [general, control] = match form.slots[0] {
                    Slot::General => [&operands[0], &operands[1]],
                    _ => [&operands[1], &operands[0]],
                };
                self.encoding.push(general_bits(general) | control_code(control));
            }
            Slot::General if !form.slots.contains(&Slot::Control) => {
                self.encoding.push(general_bits(operand) | if at == 0 { 0x800 } else { 0 });
            }
            _ => (),
        }
    }

    fn branch(&mut self, which: u8, target: i64) {
        if self.size == Size::Short {
            let distance = self.distance(which, target, -0x80, 0x7f);
            if distance == 0 {
                self.problem(OperandProblem::NextInstruction);
            } else if distance & 1 == 1 {
                self.problem(OperandProblem::OddTarget { operand: which });
            }
            return self.in_first(distance as u16 & 0xff);
        }
        let distance = self.distance(which, target, -0x8000, 0x7fff);
        if distance & 1 == 1 {
            self.problem(OperandProblem::OddTarget { operand: which });
        }
        self.encoding.push(distance as u16);
    }

    /// The extension words of an addressing mode.
    fn mode(&mut self, which: u8, operand: &Operand) {
        let value = operand.value;
        match operand.kind {
            Kind::Displacement => {
                self.check(which, value, -0x8000, 0x7fff);
                self.encoding.push(value as u16);
            }
            Kind::Index => {
                self.check(which, value, -0x80, 0x7f);
                self.encoding.push(index_bits(operand) | (value as u16 & 0xff));
            }
            Kind::AbsoluteShort => {
                // The processor extends the sign: $8000 to $FFFF stand for the top of memory.
                let is_top = (0xffff_8000..=0xffff_ffff).contains(&value);
                if !is_top {
                    self.check(which, value, -0x8000, 0xffff);
                }
                self.encoding.push(value as u16);
            }
            Kind::AbsoluteLong | Kind::Target => {
                self.check(which, value, -0x8000_0000, 0xffff_ffff);
                self.encoding.push((value >> 16) as u16);
                self.encoding.push(value as u16);
            }
            Kind::PcDisplacement => {
                let distance = self.distance(which, value, -0x8000, 0x7fff);
                self.encoding.push(distance as u16);
            }
            Kind::PcIndex => {
                let distance = self.distance(which, value, -0x80, 0x7f);
                self.encoding.push(index_bits(operand) | (distance as u16 & 0xff));
            }
            Kind::Immediate => self.constant(which, value),
            _ => (),
        }
    }
}

fn index_bits(operand: &Operand) -> u16 {
    let index = operand.index;
    u16::from(index.is_address) << 15 | u16::from(index.number & 7) << 12 | u16::from(index.is_long) << 11
}

fn general_bits(operand: &Operand) -> u16 {
    u16::from(operand.kind == Kind::Address) << 15 | u16::from(operand.register) << 12
}

fn control_code(operand: &Operand) -> u16 {
    match operand.kind {
        Kind::UserStack => 0x800,
        _ => CONTROL_REGISTERS.get(usize::from(operand.register)).map_or(0, |it| it.1),
    }
}
