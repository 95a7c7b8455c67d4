//! From a record and the program's values to bytes.

use std::ops::Range;

use reveille_cpu::{
    Choice, Cpu, Encoding, Kind, Mnemonic, Operand, OperandProblem, Size, Slot, Time, choose, encode, time,
};
use reveille_source::{Operation, Span, name_in};

use super::read::{Expr, Instruction, Term, is_lone_name, operand, record};
use crate::expression::{Context, ExpressionProblem, Value, evaluate};
use crate::unit::{Definition, DefinitionKind, Place, ProblemKind, Unit};
use crate::{Program, Symbol};

/// What the layout found of an instruction whose length was open.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sized {
    /// Its length in bytes.
    pub(crate) bytes: u8,
    /// What its operands are.
    pub(crate) kinds: [Kind; 2],
    /// Its form; none of a branch, whose form follows from its length, and of what no form fits.
    pub(crate) choice: Option<Choice>,
}

impl PartialEq for Sized {
    /// The form is known by its place in the table.
    fn eq(&self, other: &Self) -> bool {
        let form = |it: &Self| it.choice.map(|it| (std::ptr::from_ref(it.form), it.size));
        self.bytes == other.bytes && self.kinds == other.kinds && form(self) == form(other)
    }
}

/// The bytes of an instruction, ten at most, without memory of their own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bytes {
    bytes: [u8; 10],
    len: u8,
    /// One bit for each byte whose value is not known.
    unknown: u16,
}

impl Bytes {
    fn new(words: &[u16]) -> Self {
        let mut found = Self { bytes: [0; 10], len: 2 * words.len().min(5) as u8, unknown: 0 };
        for (pair, word) in found.bytes.chunks_exact_mut(2).zip(words) {
            pair.copy_from_slice(&word.to_be_bytes());
        }
        found
    }

    fn forget(&mut self, at: usize) {
        self.unknown |= 1 << at;
    }

    fn keep_same(&mut self, words: &[u16]) {
        let other = Self::new(words);
        for at in 0..self.len() {
            if self.bytes[at] != other.bytes[at] {
                self.forget(at);
            }
        }
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.len.into()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The bytes; none where a value is not known.
    pub fn iter(&self) -> impl Iterator<Item = Option<u8>> {
        (0..self.len()).map(|at| (self.unknown >> at & 1 == 0).then_some(self.bytes[at]))
    }
}

/// An instruction of a line, encoded.
#[derive(Clone, Debug)]
pub struct Assembled {
    /// The name that the line gives.
    pub mnemonic: &'static Mnemonic,
    /// The form, its instruction and the size.
    pub choice: Choice,
    /// The operands; values that are not known are 0.
    pub operands: [Operand; 2],
    /// Whether the value of each operand is known; so it is where there is none.
    pub is_known: [bool; 2],
    /// Whether the operands stand in the line in the other order.
    pub is_reversed: bool,
    /// The bytes.
    pub bytes: Bytes,
    /// How long it takes.
    pub time: Time,
    /// Whether the source left its length or a form open.
    pub was_open: bool,
}

/// Where a line is: its place, its location, and the labels before it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Site {
    pub(crate) place: Place,
    pub(crate) location: Value,
    pub(crate) scope: u32,
}

/// Values of names at a site.
struct At<'a> {
    program: &'a Program,
    unit: &'a Unit,
    site: Site,
    found: &'a mut Vec<(ExpressionProblem, Range<usize>)>,
}

impl Context for At<'_> {
    fn name(&mut self, text: &str, _: Range<usize>) -> Value {
        let Some(name) = name_in(text, self.unit.dialect(self.program, self.site.place.file)) else {
            return Value::Unknown;
        };
        self.unit.resolve(self.program, self.site.place, name).map_or(Value::Unknown, |it| it.value)
    }

    fn location(&mut self) -> Value {
        self.site.location
    }

    fn problem(&mut self, problem: ExpressionProblem, range: Range<usize>) {
        self.found.push((problem, range));
    }
}

/// The value of a name at a site.
fn symbol_value(program: &Program, unit: &Unit, site: Site, symbol: Symbol) -> Value {
    let definition = if symbol.is_local() {
        unit.locals.get(&(site.scope, symbol)).map(|at| &unit.definitions[*at as usize])
    } else {
        unit.get_or_folded(program, symbol)
    };
    match definition {
        None => Value::Unknown,
        // What may be given again has the value of its place.
        Some(it) if it.kind == DefinitionKind::Set => unit.at_that_time(it, site.place).value,
        Some(it) => it.value,
    }
}

/// The value of a term.
fn term_value(
    program: &Program,
    unit: &Unit,
    site: Site,
    term: &Term,
    found: &mut Vec<(ExpressionProblem, Range<usize>)>,
) -> Value {
    match term.value {
        Expr::None => Value::Number(0),
        Expr::Number(number) => Value::Number(number),
        Expr::Name(symbol, _, plus) => match symbol_value(program, unit, site, symbol) {
            Value::Number(number) => Value::Number(number + i64::from(plus)),
            Value::Address(base, offset) => Value::Address(base, offset + i64::from(plus)),
            Value::Unknown => Value::Unknown,
        },
        Expr::Text => {
            let Some(file) = unit.file(program, site.place.file) else { return Value::Unknown };
            let (chunk, _, text) = file.at(site.place.chunk, site.place.line);
            let dialect = chunk.dialect();
            evaluate(text, term.span.range(), dialect, &mut At { program, unit, site, found })
        }
    }
}

/// Bcc, BRA or BSR.
pub(crate) fn is_branch(mnemonic: &Mnemonic) -> bool {
    mnemonic.instruction.forms[0].slots[0] == Slot::Branch
}

/// Which operand a problem is about.
pub(crate) fn blamed(problem: &OperandProblem) -> u8 {
    match problem {
        OperandProblem::Range { operand, .. }
        | OperandProblem::Distance { operand, .. }
        | OperandProblem::OddTarget { operand } => *operand,
        OperandProblem::NextInstruction | OperandProblem::BitNumber { .. } => 0,
    }
}

/// The register or list that a name stands for, by REG or EQUR.
fn named_register(program: &Program, unit: &Unit, symbol: Symbol) -> Option<(Kind, u16)> {
    // There are few of them, so no map is needed, which could not be made before all names are met.
    let folded = || program.names().folded(symbol);
    let registers = unit.registers.iter().map(|at| &unit.definitions[*at as usize]);
    let same = |it: &&Definition| it.symbol == symbol || program.names().folded(it.symbol) == folded();
    let definition = registers.into_iter().find(same)?;
    let file = unit.file(program, definition.place.file)?;
    let (chunk, line, text) = file.at(definition.place.chunk, definition.place.line);
    let range = chunk.operands(line).into_iter().next()?;
    let shape = super::operand::shape(text, range, chunk.dialect());
    matches!(shape.kind, Kind::Data | Kind::Address | Kind::List).then_some((shape.kind, shape.register))
}

/// Puts registers and lists in the place of the names that stand for them.
pub(crate) fn with_registers(program: &Program, unit: &Unit, mut record: Instruction) -> Instruction {
    if unit.registers.is_empty() {
        return record;
    }
    for term in &mut record.operands {
        if let Expr::Name(symbol, _, 0) = term.value
            && is_lone_name(term)
            && let Some((kind, register)) = named_register(program, unit, symbol)
        {
            *term = Term { kind, register, value: Expr::None, ..*term };
            record.choice = None;
        }
    }
    record
}

struct Resolved {
    operands: [Operand; 2],
    /// Operands whose value is not known.
    is_unknown: [bool; 2],
}

fn resolve(
    program: &Program,
    unit: &Unit,
    site: Site,
    record: &Instruction,
    kinds: [Kind; 2],
    address: Option<i64>,
    found: &mut Vec<(ExpressionProblem, Range<usize>)>,
) -> Resolved {
    let mut is_unknown = [false; 2];
    let mut at = 0;
    let operands = record.operands.map(|term| {
        let kind = kinds[at];
        let value = term_value(program, unit, site, &term, found);
        let relative = matches!(kind, Kind::Target | Kind::PcDisplacement | Kind::PcIndex);
        let number = match (value, site.location) {
            // A distance inside one base is right wherever that base lies.
            (Value::Address(base, offset), Value::Address(own, here)) if relative && base == own => {
                Some(address.unwrap_or(0) + offset - here)
            }
            _ if relative && address.is_none() => None,
            _ => unit.absolute(value),
        };
        is_unknown[at] = number.is_none();
        at += 1;
        operand(&term, kind, number.unwrap_or(0))
    });
    Resolved { operands, is_unknown }
}

/// Encodes a record at an address; with the words comes what is wrong with a value.
fn encoded(
    mnemonic: &Mnemonic,
    choice: &Choice,
    resolved: &Resolved,
    address: i64,
    record: &Instruction,
) -> (Encoding, Option<OperandProblem>) {
    let mut operands = resolved.operands;
    for (operand, term) in operands.iter_mut().zip(&record.operands) {
        // `(PC)` alone means the word behind.
        if term.value == Expr::None && matches!(operand.kind, Kind::PcDisplacement | Kind::PcIndex) {
            operand.value = address + 2;
        }
    }
    encode(choice.form, choice.size, mnemonic.condition, &operands, address)
}

/// The bytes of a record; none where a value is not known.
fn bytes_of(mnemonic: &Mnemonic, choice: &Choice, mut resolved: Resolved, address: i64, record: &Instruction) -> Bytes {
    let (encoding, _) = encoded(mnemonic, choice, &resolved, address, record);
    let mut bytes = Bytes::new(encoding.words());
    if resolved.is_unknown != [false; 2] {
        // The bytes that another value would change are not known. One other value is not enough: as a distance it may differ in a few bits.
        for change in [-1, 0x5555_5555] {
            for (operand, is_unknown) in resolved.operands.iter_mut().zip(resolved.is_unknown) {
                if is_unknown {
                    operand.value ^= change;
                }
            }
            let (other, _) = encoded(mnemonic, choice, &resolved, address, record);
            bytes.keep_same(other.words());
        }
    }
    bytes
}

/// A branch of the dotted style that became a jump: `jra` and `jbsr` of 6 bytes, a condition of 8 with the opposite one before it.
fn stretched(condition: u8, bytes: u8, target: Option<i64>) -> Bytes {
    let [high, low] = [(target.unwrap_or(0) >> 16) as u16, target.unwrap_or(0) as u16];
    let mut found = match (bytes, condition) {
        (6, 1) => Bytes::new(&[0x4eb9, high, low]),
        (6, _) => Bytes::new(&[0x4ef9, high, low]),
        _ => Bytes::new(&[0x6006 | u16::from(condition ^ 1) << 8, 0x4ef9, high, low]),
    };
    if target.is_none() {
        let at = found.len() - 4;
        (at..at + 4).for_each(|at| found.forget(at));
    }
    found
}

/// The record of a line that has an instruction, read afresh with its names.
fn fresh_record(program: &Program, unit: &Unit, place: Place) -> Option<Instruction> {
    let file = unit.file(program, place.file)?;
    let indexed = file.indexed.get(place.chunk as usize)?;
    let line = indexed.chunk.lines().get(usize::from(place.line))?;
    let Operation::Instruction(mnemonic) = line.op.get() else { return None };
    let at = indexed.instructions.partition_point(|it| it.line < place.line);
    if let Some(known) = indexed.instructions.get(at).filter(|it| it.line == place.line) {
        return Some(*known);
    }
    let text = indexed.chunk.line_text(line);
    let mut problems = Vec::new();
    Some(record(text, place.line, line, indexed.chunk.dialect(), mnemonic, file.settings(), &mut problems))
}

/// The instruction of a line, encoded; `sized` is what the layout made of it if its length was open. None if the line has none that can be
/// encoded.
pub(crate) fn assemble_at(program: &Program, unit: &Unit, site: Site, sized: Option<Sized>) -> Option<Assembled> {
    let record = with_registers(program, unit, fresh_record(program, unit, site.place)?);
    let mnemonic = record.mnemonic;
    let address = unit.absolute(site.location);
    let mut found = Vec::new();
    let (choice, kinds) = choice_of(unit.settings(program).cpu, mnemonic, &record, sized)?;
    let resolved = resolve(program, unit, site, &record, kinds, address, &mut found);
    if !found.is_empty() {
        return None;
    }
    let settings = unit.settings(program);
    let is_known = resolved.is_unknown.map(|it| !it);
    let is_reversed = record.is_reversed;
    let jump = sized.filter(|it| is_branch(mnemonic) && it.bytes > 4);
    if let Some(sized) = jump {
        let target = (!resolved.is_unknown[0]).then_some(resolved.operands[0].value);
        let bytes = stretched(mnemonic.condition, sized.bytes, target);
        let name = if mnemonic.condition == 1 { "jsr" } else { "jmp" };
        let jump = reveille_cpu::mnemonic(name)?;
        let operands = [Operand::value(Kind::AbsoluteLong, resolved.operands[0].value), resolved.operands[1]];
        let form = &jump.instruction.forms[0];
        let time = time(settings.cpu, form, Size::Word, 0, &operands, 3);
        let choice = Choice { form, instruction: jump.instruction, size: Size::Word };
        return Some(Assembled { mnemonic, choice, operands, is_known, is_reversed, bytes, time, was_open: true });
    }
    let operands = resolved.operands;
    let bytes = bytes_of(mnemonic, &choice, resolved, address.unwrap_or(0), &record);
    let words = (bytes.len() / 2) as u8;
    let time = time(settings.cpu, choice.form, choice.size, mnemonic.condition, &operands, words);
    let was_open = sized.is_some() || choice.instruction.name != mnemonic.instruction.name;
    Some(Assembled { mnemonic, choice, operands, is_known, is_reversed, bytes, time, was_open })
}

/// The form of a record and the kinds of its operands.
fn choice_of(
    cpu: Cpu,
    mnemonic: &'static Mnemonic,
    record: &Instruction,
    sized: Option<Sized>,
) -> Option<(Choice, [Kind; 2])> {
    let mut kinds = sized.map_or_else(|| record.operands.map(|it| it.kind), |it| it.kinds);
    if sized.is_none() {
        // Addresses written as numbers, as in `read`.
        for (kind, term) in kinds.iter_mut().zip(&record.operands) {
            if let (Kind::Target, Expr::Number(address)) = (*kind, term.value)
                && mnemonic.candidates.iter().any(|it| it.form.takes.iter().any(|takes| takes.has(Kind::AbsoluteLong)))
            {
                *kind = if super::read::fits_short(address) { Kind::AbsoluteShort } else { Kind::AbsoluteLong };
            }
        }
    }
    if let Some(choice) = record.choice.or(sized.and_then(|it| it.choice)) {
        return Some((choice, kinds));
    }
    let mut operands = record.operands.map(|term| operand(&term, term.kind, 0));
    for (operand, kind) in operands.iter_mut().zip(kinds) {
        operand.kind = kind;
    }
    let size = match sized {
        Some(it) if is_branch(mnemonic) => Some(if it.bytes == 2 { Size::Short } else { Size::Word }),
        _ => record.size,
    };
    let count = usize::from(record.count);
    let choice = choose(mnemonic, cpu, size, &operands, count, record.written).ok()?;
    Some((choice, kinds))
}

/// What is wrong with the values of a record, now that names have theirs.
pub(crate) fn check_record(
    program: &Program,
    unit: &Unit,
    site: Site,
    record: &Instruction,
    mnemonic: &'static Mnemonic,
    sized: Option<Sized>,
    problems: &mut Vec<(u16, Span, ProblemKind)>,
) {
    let own;
    let record = if record.is_open && !unit.registers.is_empty() {
        own = with_registers(program, unit, *record);
        &own
    } else {
        record
    };
    let Some((choice, kinds)) = choice_of(unit.settings(program).cpu, mnemonic, record, sized) else { return };
    let address = unit.absolute(site.location);
    let mut found = Vec::new();
    let resolved = resolve(program, unit, site, record, kinds, address, &mut found);
    if let Some((problem, range)) = found.into_iter().next() {
        let span = Span { start: range.start as u16, end: range.end as u16 };
        problems.push((site.place.line, span, ProblemKind::Expression(problem)));
        return;
    }
    if is_branch(mnemonic) && sized.is_some_and(|it| it.bytes > 4) {
        return;
    }
    // Without an address, what is relative to it can only be judged inside its base.
    if resolved.is_unknown[0] || resolved.is_unknown[1] {
        return;
    }
    let (_, problem) = encoded(mnemonic, &choice, &resolved, address.unwrap_or(0), record);
    let found = match problem {
        Some(problem) => Some((usize::from(blamed(&problem)), ProblemKind::Operand(problem))),
        None => odd_operand(&choice, &resolved.operands),
    };
    if let Some((operand, kind)) = found {
        problems.push((site.place.line, record.operands[operand].span, kind));
    }
}

/// A jump, or a word or long operand, at an odd address.
pub(crate) fn odd_operand(choice: &Choice, operands: &[Operand; 2]) -> Option<(usize, ProblemKind)> {
    let is_jump = matches!(choice.instruction.name, "jmp" | "jsr");
    let is_loaded = !matches!(choice.instruction.name, "lea" | "pea" | "movep");
    let is_wide = matches!(choice.size, Size::Word | Size::Long) && !choice.form.sizes.is_empty();
    for (at, operand) in operands.iter().enumerate().take(choice.form.operand_count()) {
        let is_place = matches!(operand.kind, Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::PcDisplacement);
        if is_place && operand.value & 1 == 1 && (is_jump || is_loaded && is_wide) {
            return Some((at, ProblemKind::OddOperand { is_jump }));
        }
    }
    None
}

/// The instruction at a place of the unit, encoded; none if the line has none, or none that can be encoded.
#[must_use]
pub fn assemble(program: &Program, unit: &Unit, place: Place) -> Option<Assembled> {
    let (site, sized) = unit.site(program, place)?;
    assemble_at(program, unit, site, sized)
}
