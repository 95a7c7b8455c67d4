//! What a differing line says, what the dump has there, and how the two are related.

use reveille_cpu::{Decoded, Kind, Operand, Size, Slot, decode};

use super::align::Fit;
use super::diff::LineDifference;
use super::dump::Reading;
use super::source::{SourceImage, UNKNOWN};

/// How the dump differs from a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Change {
    /// The same instruction with another constant, address or distance.
    Value,
    /// The same instruction with other registers or another size.
    Operand,
    /// The another form: how an assembler chose its length.
    Form,
    /// Another instruction.
    Instruction,
    /// No instruction.
    NoInstruction,
    /// Other data.
    Data,
    /// The same place is meant: it lies elsewhere.
    Moved,
    /// The dump does not have it.
    Absent,
}

impl Change {
    /// Its name in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Value => "value",
            Self::Operand => "operand",
            Self::Form => "form",
            Self::Instruction => "instruction",
            Self::NoInstruction => "no-instruction",
            Self::Data => "data",
            Self::Moved => "moved",
            Self::Absent => "absent",
        }
    }

    /// What people are told.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::Value => "another value",
            Self::Operand => "another operand",
            Self::Form => "another form",
            Self::Instruction => "another instruction",
            Self::NoInstruction => "no instruction",
            Self::Data => "other data",
            Self::Moved => "the same place, elsewhere",
            Self::Absent => "not in the dump",
        }
    }
}

/// A line that differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Difference {
    /// The place of the line in the list of lines.
    pub line: usize,
    /// The first address that differs.
    pub first: i64,
    /// The last address that differs.
    pub last: i64,
    /// How many bytes differ.
    pub differ: u32,
    /// How many bytes the dump does not have.
    pub uncovered: u32,
    /// How they are related.
    pub change: Change,
    pub(super) base: i64,
}

/// Bytes as they are shown.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Shown {
    /// The address of the first one.
    pub address: i64,
    /// The bytes; none for what is not known or not there.
    pub bytes: Vec<Option<u8>>,
    /// Bytes of the line before and behind them that are not shown.
    pub left_out: usize,
    /// The instruction, or the characters of data.
    pub text: Option<String>,
}

/// The longest instruction has five words (*M68000 Family Programmer's Reference Manual*, instruction format).
const MOST_WORDS: usize = 5;

/// Bytes of data that are shown of a line.
const MOST_SHOWN: i64 = 12;

/// Source, dump and how they lie beside each other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sides<'a> {
    pub(super) source: &'a SourceImage,
    pub(super) reading: &'a Reading,
    pub(super) fit: &'a Fit,
    /// How much higher addresses in the dump are, where it was made for another origin.
    pub(super) shift: i64,
}

impl Sides<'_> {
    fn own(&self, address: i64, count: i64) -> Vec<Option<u8>> {
        (address..address + count).map(|it| byte(self.source.cell(it))).collect()
    }

    fn dumped(&self, address: i64, count: i64, base: i64) -> Vec<Option<u8>> {
        (address - base..address - base + count).map(|it| byte(self.reading.cell(it))).collect()
    }

    /// The instruction of a line in the source.
    fn own_instruction(&self, address: i64, bytes: u32) -> Option<Decoded> {
        let decoded = decode(&words(&self.own(address, bytes.into())), address)?;
        (u32::from(decoded.words) * 2 == bytes).then_some(decoded)
    }

    /// The instruction in the dump at an address of the source; addresses in it are those that the dump means.
    fn dumped_instruction(&self, address: i64, base: i64) -> Option<Decoded> {
        let there = address - base + self.fit.base() + self.shift;
        decode(&words(&self.dumped(address, 2 * MOST_WORDS as i64, base)), there)
    }

    /// Whether an address in the dump means the same as one in the source.
    fn is_same_place(&self, own: i64, dumped: i64) -> bool {
        own != dumped && self.fit.to_source(dumped - self.shift) == Some(own)
    }

    /// How a line's difference is to be read.
    pub(super) fn change(&self, it: &LineDifference) -> Change {
        let line = self.source.lines[it.line];
        if it.differ == 0 {
            return Change::Absent;
        }
        let address = i64::from(line.address);
        if !line.is_code {
            return if self.is_moved_data(it) { Change::Moved } else { Change::Data };
        }
        let Some(own) = self.own_instruction(address, line.bytes) else { return Change::Data };
        let Some(dumped) = self.dumped_instruction(address, it.base) else { return Change::NoInstruction };
        if own.instruction.name != dumped.instruction.name || own.condition != dumped.condition {
            return if is_same_work(&own, &dumped) { Change::Form } else { Change::Instruction };
        }
        let kinds = |it: &Decoded| it.operands.map(|it| it.kind);
        if own.words != dumped.words || kinds(&own) != kinds(&dumped) {
            let is_same_size = own.size == dumped.size || own.form.slots.contains(&Slot::Branch);
            let is_form = is_same_size && self.is_same_meaning(&own, &dumped);
            return if is_form { Change::Form } else { Change::Operand };
        }
        let registers = |it: &Decoded| it.operands.map(|it| (it.register, it.index));
        if own.size != dumped.size || registers(&own) != registers(&dumped) {
            return Change::Operand;
        }
        if self.is_same_meaning(&own, &dumped) { Change::Moved } else { Change::Value }
    }

    /// The rule by which an assembler chose between the forms of a line and of the dump.
    pub(super) fn rule(&self, it: &Difference) -> Option<&'static str> {
        let line = self.source.lines[it.line];
        let own = self.own_instruction(line.address.into(), line.bytes)?;
        let dumped = self.dumped_instruction(line.address.into(), it.base)?;
        if own.instruction.name != dumped.instruction.name {
            return Some("quick");
        }
        if own.form.slots.contains(&Slot::Branch) {
            return Some("branches");
        }
        let is_zero = own.operands.iter().zip(&dumped.operands).any(|it| it.0 != it.1 && is_indirect(it.0, it.1));
        Some(if is_zero { "zero-displacement" } else { "references" })
    }

    /// Whether all operands are equal or name the same place.
    fn is_same_meaning(&self, own: &Decoded, dumped: &Decoded) -> bool {
        own.operands.iter().zip(&dumped.operands).all(|(own, dumped)| {
            let is_named = || own.value == dumped.value || self.is_same_place(own.value, dumped.value);
            own == dumped || is_indirect(own, dumped) || is_place(own) && is_place(dumped) && is_named()
        })
    }

    /// Whether all items that differ name the same places: longs are addresses, words may be distances.
    fn is_moved_data(&self, it: &LineDifference) -> bool {
        let line = self.source.lines[it.line];
        let (size, address) = (i64::from(line.item_bytes), i64::from(line.address));
        if it.uncovered > 0 || size == 1 || i64::from(line.bytes) % size != 0 {
            return false;
        }
        let number =
            |bytes: &[Option<u8>]| bytes.iter().try_fold(0_i64, |number, byte| Some(number << 8 | i64::from((*byte)?)));
        let steps =
            || self.fit.segments.iter().flat_map(|one| self.fit.segments.iter().map(move |it| it.base - one.base));
        let first = address + (it.first - address) / size * size;
        (first..=it.last).step_by(size as usize).all(|at| {
            let (own, dumped) = (number(&self.own(at, size)), number(&self.dumped(at, size, it.base)));
            let (Some(own), Some(dumped)) = (own, dumped) else { return own == dumped };
            let step = i64::from((dumped as u16).wrapping_sub(own as u16) as i16);
            own == dumped
                || size == 4 && self.is_same_place(own, dumped)
                || size == 2 && self.fit.segments.len() > 1 && steps().any(|it| it == step)
        })
    }

    /// By how much addresses of the source differ in a line: what another origin would explain.
    pub(super) fn distances(&self, it: &LineDifference, each: &mut dyn FnMut(i64)) {
        let line = self.source.lines[it.line];
        let address = i64::from(line.address);
        let Some((from, end)) = self.source.range() else { return };
        let is_inside = |own: i64| (i64::from(from)..=end).contains(&own);
        if it.uncovered > 0 {
            return;
        }
        if !line.is_code {
            if line.item_bytes == 4 {
                for at in (address..address + i64::from(line.bytes)).step_by(4) {
                    let long = |bytes: Vec<Option<u8>>| {
                        bytes.iter().try_fold(0_i64, |number, byte| Some(number << 8 | i64::from((*byte)?)))
                    };
                    let (own, dumped) = (long(self.own(at, 4)), long(self.dumped(at, 4, it.base)));
                    if let (Some(own), Some(dumped)) = (own, dumped)
                        && own != dumped
                        && is_inside(own)
                    {
                        each(dumped - own);
                    }
                }
            }
            return;
        }
        let both = (self.own_instruction(address, line.bytes), self.dumped_instruction(address, it.base));
        let (Some(own), Some(dumped)) = both else { return };
        if own.instruction.name != dumped.instruction.name || own.words != dumped.words {
            return;
        }
        for (own, dumped) in own.operands.iter().zip(&dumped.operands) {
            let is_absolute = matches!(own.kind, Kind::AbsoluteLong | Kind::AbsoluteShort | Kind::Immediate);
            if is_absolute && own.kind == dumped.kind && own.value != dumped.value && is_inside(own.value) {
                each(dumped.value - own.value);
            }
        }
    }

    /// What the source says in a line, and what the dump has there.
    pub(super) fn shown(&self, it: &Difference) -> (Shown, Shown) {
        let line = self.source.lines[it.line];
        let address = i64::from(line.address);
        if line.is_code {
            let own = self.own(address, line.bytes.into());
            let own_text = self.own_instruction(address, line.bytes).map(|it| it.to_string());
            // As many instructions as begin in the place of this one.
            let mut texts: Vec<String> = Vec::new();
            let mut count = 0;
            while count < i64::from(line.bytes) && it.change != Change::Absent {
                let Some(dumped) = self.dumped_instruction(address + count, it.base) else { break };
                count += 2 * i64::from(dumped.words);
                texts.push(dumped.to_string());
            }
            let count = count.max(line.bytes.into());
            let shown = |bytes, text| Shown { address, bytes, left_out: 0, text };
            let text = Some(texts.join("; ")).filter(|it| !it.is_empty());
            return (shown(own, own_text), shown(self.dumped_or_absent(it, address, count), text));
        }
        // Whole items from before the first that differs on.
        let size = i64::from(line.item_bytes);
        let end = address + i64::from(line.bytes);
        let first = (it.first - MOST_SHOWN / 3).min(end - MOST_SHOWN).max(address);
        let from = address + (first - address) / size * size;
        let count = (end - from).min(MOST_SHOWN);
        let left_out = (end - address - count) as usize;
        let shown = |bytes: Vec<Option<u8>>| {
            let text = (line.item_bytes == 1).then(|| characters(&bytes)).flatten();
            Shown { address: from, bytes, left_out, text }
        };
        (shown(self.own(from, count)), shown(self.dumped_or_absent(it, from, count)))
    }

    /// What lies beside missing bytes is something else.
    fn dumped_or_absent(&self, it: &Difference, address: i64, count: i64) -> Vec<Option<u8>> {
        match it.change {
            Change::Absent => vec![None; count as usize],
            _ => self.dumped(address, count, it.base),
        }
    }
}

/// Whether an operand can name a place.
fn is_place(it: &Operand) -> bool {
    matches!(
        it.kind,
        Kind::AbsoluteLong
            | Kind::AbsoluteShort
            | Kind::PcDisplacement
            | Kind::PcIndex
            | Kind::Target
            | Kind::Immediate
    )
}

/// Whether two operands are `(An)`, one of them with a displacement of 0.
fn is_indirect(one: &Operand, other: &Operand) -> bool {
    let is_plain = |it: &Operand| matches!(it.kind, Kind::Indirect | Kind::Displacement) && it.value == 0;
    is_plain(one) && is_plain(other) && one.register == other.register
}

/// Whether two instructions do the same under another name, as MOVE.L and MOVEQ, ADDI and ADDQ, ADD and ADDI.
fn is_same_work(one: &Decoded, other: &Decoded) -> bool {
    let stem = |it: &Decoded| it.instruction.name.trim_end_matches(['i', 'q', 'a']).to_owned();
    let is_quick = |it: &Decoded| it.form.slots.contains(&Slot::Quick8);
    let size = |it: &Decoded| if is_quick(it) { Size::Long } else { it.size };
    let is_equal = |at: usize| {
        let (one, other) = (one.operands[at], other.operands[at]);
        one.kind == other.kind && one.register == other.register && one.value as i32 == other.value as i32
    };
    stem(one) == stem(other) && size(one) == size(other) && is_equal(0) && is_equal(1)
}

fn byte(cell: u16) -> Option<u8> {
    (cell < UNKNOWN).then_some(cell as u8)
}

/// The words up to the first that is not whole.
fn words(bytes: &[Option<u8>]) -> Vec<u16> {
    let word = |it: &[Option<u8>]| Some(u16::from(it[0]?) << 8 | u16::from(it[1]?));
    bytes.chunks_exact(2).map_while(word).collect()
}

/// Text between quotation marks, if most of the bytes are characters.
fn characters(bytes: &[Option<u8>]) -> Option<String> {
    let is_character = |it: &Option<u8>| it.is_some_and(|it| (0x20..0x7f).contains(&it));
    let count = bytes.iter().filter(|it| is_character(it)).count();
    if count < 3 || count * 2 < bytes.len() {
        return None;
    }
    let shown = bytes.iter().map(|it| if is_character(it) { char::from(it.unwrap_or(b'.')) } else { '.' });
    Some(format!("\"{}\"", shown.collect::<String>()))
}
