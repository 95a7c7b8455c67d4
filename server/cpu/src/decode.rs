//! From words to an instruction.

use std::sync::LazyLock;

use crate::table::{Family, Form, Instruction, SizeField, Slot, instructions};
use crate::{CONTROL_REGISTERS, Index, Kind, Kinds, Operand, Size};

/// An instruction read from words.
#[derive(Clone, Copy, Debug)]
pub struct Decoded {
    /// The instruction.
    pub instruction: &'static Instruction,
    /// The form.
    pub form: &'static Form,
    /// The size; [`Size::Word`] where the form has none.
    pub size: Size,
    /// The condition's code; 0 for BRA, 1 for BSR.
    pub condition: u8,
    /// The operands.
    pub operands: [Operand; 2],
    /// How many words it has, 1 to 5.
    pub words: u8,
}

type Forms = Vec<(&'static Instruction, &'static Form)>;

/// For each first word the place of its form, counted from 1, or 0; and the forms.
static FIRST_WORDS: LazyLock<(Vec<u8>, Forms)> = LazyLock::new(|| {
    let forms: Vec<_> = instructions().flat_map(|it| it.forms.iter().map(move |form| (it, form))).collect();
    let mut table = vec![0; 0x1_0000];
    for (word, slot) in (0..=u16::MAX).zip(&mut table) {
        let found = forms.iter().position(|(instruction, form)| is_form(instruction, form, word));
        *slot = found.map_or(0, |at| at as u8 + 1);
    }
    (table, forms)
});

fn is_form(instruction: &Instruction, form: &Form, word: u16) -> bool {
    if word & form.fixed != form.value {
        return false;
    }
    let Some(size) = size_of(form, word) else { return false };
    if let Family::Conditions(first) = instruction.family
        && (word >> 8 & 15) < u16::from(first)
    {
        return false;
    }
    form.slots.iter().all(|slot| match slot {
        Slot::Ea(kinds) => is_mode(*kinds, word >> 3 & 7, word & 7, size),
        Slot::MoveTo(kinds) => is_mode(*kinds, word >> 6 & 7, word >> 9 & 7, size),
        _ => true,
    })
}

fn is_mode(kinds: Kinds, mode: u16, register: u16, size: Size) -> bool {
    kind_of(mode, register).is_some_and(|kind| kinds.has(kind) && !(kind == Kind::Address && size == Size::Byte))
}

fn kind_of(mode: u16, register: u16) -> Option<Kind> {
    Some(match (mode, register) {
        (0..=6, _) => Kind::ALL[usize::from(mode)],
        (7, 0..=4) => Kind::ALL[usize::from(7 + register)],
        _ => return None,
    })
}

fn size_of(form: &Form, word: u16) -> Option<Size> {
    let size = match form.size_field {
        SizeField::Standard => {
            [Some(Size::Byte), Some(Size::Word), Some(Size::Long), None][usize::from(word >> 6 & 3)]?
        }
        SizeField::Bit(bit) => [Size::Word, Size::Long][usize::from(word >> bit & 1)],
        SizeField::Move => [None, Some(Size::Byte), Some(Size::Long), Some(Size::Word)][usize::from(word >> 12 & 3)]?,
        SizeField::None => match form.slots[0] {
            Slot::Branch if word & 0xff != 0 => Size::Short,
            _ if form.sizes.allows(Size::Word) || form.sizes.is_empty() => Size::Word,
            _ => form.sizes.iter().next()?,
        },
    };
    (form.sizes.is_empty() || form.sizes.allows(size)).then_some(size)
}

struct Reader<'a> {
    words: &'a [u16],
    at: usize,
    address: i64,
}

impl Reader<'_> {
    fn next(&mut self) -> Option<u16> {
        let word = *self.words.get(self.at)?;
        self.at += 1;
        Some(word)
    }

    fn long(&mut self) -> Option<u32> {
        Some(u32::from(self.next()?) << 16 | u32::from(self.next()?))
    }

    /// The address of the next word.
    fn here(&self) -> i64 {
        self.address + 2 * self.at as i64
    }

    fn constant(&mut self, size: Size) -> Option<i64> {
        Some(match size {
            Size::Long => self.long()?.into(),
            Size::Byte => self.byte()?,
            _ => self.next()?.into(),
        })
    }

    /// A byte in a word. Its upper half is not used: an assembler leaves it 0, or fills it with the sign.
    fn byte(&mut self) -> Option<i64> {
        let word = self.next()? as i16;
        (-0x80..=0xff).contains(&word).then_some(word.into())
    }

    fn mode(&mut self, mode: u16, register: u16, size: Size) -> Option<Operand> {
        let kind = kind_of(mode, register)?;
        let mut operand = Operand::register(kind, if mode < 7 { register as u8 } else { 0 });
        match kind {
            Kind::Displacement => operand.value = i64::from(self.next()? as i16),
            Kind::AbsoluteShort => operand.value = i64::from(i32::from(self.next()? as i16) as u32),
            Kind::AbsoluteLong => operand.value = self.long()?.into(),
            Kind::PcDisplacement => operand.value = self.here() + i64::from(self.next()? as i16),
            Kind::Immediate => operand.value = self.constant(size)?,
            Kind::Index | Kind::PcIndex => {
                let from = if kind == Kind::PcIndex { self.here() } else { 0 };
                let word = self.next()?;
                // Scales and the long formats belong to later members of the family.
                if word & 0x700 != 0 {
                    return None;
                }
                operand.index = Index {
                    number: (word >> 12 & 7) as u8,
                    is_address: word & 0x8000 != 0,
                    is_long: word & 0x800 != 0,
                };
                operand.value = from + i64::from(word as i8);
            }
            _ => (),
        }
        Some(operand)
    }
}

fn general(word: u16) -> Operand {
    let kind = if word & 0x8000 != 0 { Kind::Address } else { Kind::Data };
    Operand::register(kind, (word >> 12 & 7) as u8)
}

/// Reads the instruction at the start of `words`; `address` is where it stands. None if the words are no instruction of the 68000, 68008 or
/// 68010, or if too few are there.
#[must_use]
pub fn decode(words: &[u16], address: i64) -> Option<Decoded> {
    let first = *words.first()?;
    let (table, forms) = &*FIRST_WORDS;
    let at = usize::from(table[usize::from(first)]).checked_sub(1)?;
    // MOVEC and MOVES tell their direction behind the first word or by it: try the forms that share it.
    let same = forms[at..].iter().filter(|(instruction, form)| is_form(instruction, form, first));
    same.into_iter().find_map(|(instruction, form)| decode_form(instruction, form, words, address))
}

fn decode_form(instruction: &'static Instruction, form: &'static Form, words: &[u16], address: i64) -> Option<Decoded> {
    let mut reader = Reader { words, at: 0, address };
    let first = reader.next()?;
    let size = size_of(form, first)?;
    let none = Operand::register(Kind::Data, 0);
    let mut operands = [none; 2];
    let (x, y) = ((first >> 9 & 7) as u8, (first & 7) as u8);
    for (at, slot) in form.slots.iter().enumerate() {
        operands[at] = match slot {
            Slot::Dx => Operand::register(Kind::Data, x),
            Slot::Dy => Operand::register(Kind::Data, y),
            Slot::Ax => Operand::register(Kind::Address, x),
            Slot::Ay => Operand::register(Kind::Address, y),
            Slot::PostX => Operand::register(Kind::PostIncrement, x),
            Slot::PostY => Operand::register(Kind::PostIncrement, y),
            Slot::PreX => Operand::register(Kind::PreDecrement, x),
            Slot::PreY => Operand::register(Kind::PreDecrement, y),
            Slot::Status => Operand::register(Kind::Status, 0),
            Slot::Conditions => Operand::register(Kind::Conditions, 0),
            Slot::UserStack => Operand::register(Kind::UserStack, 0),
            Slot::Constant => Operand::value(Kind::Immediate, reader.constant(size)?),
            Slot::Signed16 => Operand::value(Kind::Immediate, i64::from(reader.next()? as i16)),
            Slot::Constant16 => Operand::value(Kind::Immediate, reader.next()?.into()),
            Slot::Quick => Operand::value(Kind::Immediate, if x == 0 { 8 } else { x.into() }),
            Slot::Quick8 => Operand::value(Kind::Immediate, i64::from(first as i8)),
            Slot::Vector => Operand::value(Kind::Immediate, (first & 15).into()),
            Slot::Breakpoint => Operand::value(Kind::Immediate, y.into()),
            Slot::Bit => Operand::value(Kind::Immediate, reader.byte()?),
            Slot::List => Operand::value(Kind::List, reader.next()?.into()),
            Slot::ListBackwards => Operand::value(Kind::List, reader.next()?.reverse_bits().into()),
            Slot::Branch => {
                let here = reader.here();
                let distance = match first as i8 {
                    0 => i64::from(reader.next()? as i16),
                    distance => distance.into(),
                };
                Operand::value(Kind::Target, here + distance)
            }
            Slot::Loop => {
                let here = reader.here();
                Operand::value(Kind::Target, here + i64::from(reader.next()? as i16))
            }
            Slot::General => {
                let has_control = form.slots.contains(&Slot::Control);
                let word = if has_control { *words.get(1)? } else { reader.next()? };
                // MOVES: bit 11 tells the direction.
                if !has_control && (word & 0x7ff != 0 || (word & 0x800 != 0) != (at == 0)) {
                    return None;
                }
                general(word)
            }
            Slot::Control => {
                let code = reader.next()? & 0xfff;
                let register = CONTROL_REGISTERS.iter().position(|it| it.1 == code)?;
                let kind = if CONTROL_REGISTERS[register].0 == "usp" { Kind::UserStack } else { Kind::Control };
                Operand::register(kind, register as u8)
            }
            Slot::None | Slot::Ea(_) | Slot::MoveTo(_) | Slot::DisplacementY => none,
        };
    }
    // The list of MOVEM, the constant of ADDI and the register of MOVES stand before the addressing mode.
    for (at, slot) in form.slots.iter().enumerate() {
        match slot {
            Slot::Ea(_) => operands[at] = reader.mode(first >> 3 & 7, first & 7, size)?,
            Slot::MoveTo(_) => operands[at] = reader.mode(first >> 6 & 7, first >> 9 & 7, size)?,
            Slot::DisplacementY => {
                operands[at] = Operand::register(Kind::Displacement, y);
                operands[at].value = i64::from(reader.next()? as i16);
            }
            _ => (),
        }
    }
    let condition = match instruction.family {
        Family::Conditions(_) => (first >> 8 & 15) as u8,
        Family::Single => u8::from(instruction.name == "bsr"),
    };
    Some(Decoded { instruction, form, size, condition, operands, words: reader.at as u8 })
}
