//! From a line to an instruction's record.

use std::ops::Range;

use reveille_cpu::{Choice, Index, Kind, MemoryUse, Misfit, Mnemonic, Operand, Size, choose, encode, word_count};
use reveille_source::{Dialect, Line, Span, is_word_byte};

use super::operand::{Shape, shape};
use crate::Symbol;
use crate::expression::{Alone, evaluate};
use crate::settings::Settings;
use crate::unit::ProblemKind;

/// The value in an operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Expr {
    /// There is none.
    None,
    /// A number, written without names.
    Number(i64),
    /// A name, and a number added to it. The span is the name's.
    Name(Symbol, Span, i32),
    /// Anything else: the text tells.
    Text,
}

/// An operand of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Term {
    pub(crate) kind: Kind,
    /// The register's number; the list of a [`Kind::List`].
    pub(crate) register: u16,
    pub(crate) index: Index,
    pub(crate) value: Expr,
    /// Where the value stands.
    pub(crate) span: Span,
}

/// An instruction of a line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Instruction {
    pub(crate) line: u16,
    pub(crate) count: u8,
    pub(crate) size: Option<Size>,
    pub(crate) operands: [Term; 2],
    /// The name that the line gives.
    pub(crate) mnemonic: &'static Mnemonic,
    /// The form; none where a name may stand for a register, or a branch waits for its length.
    pub(crate) choice: Option<Choice>,
    /// Whether its length is for the layout to find.
    pub(crate) is_open: bool,
    /// Whether its operands stand in the line in the other order.
    pub(crate) is_reversed: bool,
    /// The constant of the first operand, if it stands there as a number.
    pub(crate) written: Option<i64>,
}

/// What a line's instruction is, as far as its text alone tells.
pub(crate) enum Read {
    /// Nothing of it can change: so many bytes, and the addresses that its operands give.
    Static(u32, [Option<(i64, Option<MemoryUse>)>; 2]),
    /// Its length is known, its value not.
    Fixed(u32, Instruction),
    /// Its length depends on names or distances.
    Variable(Instruction),
}

/// A plain number, decimal or hexadecimal, with or without a minus: most constants are.
fn plain_number(b: &[u8], dialect: Dialect) -> Option<i64> {
    let (is_negative, digits) = match b {
        [b'-', rest @ ..] => (true, rest),
        _ => (false, b),
    };
    let mut value = 0_i64;
    match digits {
        [b'$', rest @ ..] if !rest.is_empty() && rest.len() <= 8 => {
            for digit in rest {
                value = value << 4 | i64::from(char::from(*digit).to_digit(16)?);
            }
        }
        // A leading 0 is octal in the dotted style.
        [b'0', _, ..] if dialect.is_unix() => return None,
        [_, ..] if digits.len() <= 9 => {
            for digit in digits {
                value = value * 10 + i64::from(char::from(*digit).to_digit(10)?);
            }
        }
        _ => return None,
    }
    Some(if is_negative { -value } else { value })
}

/// `name`, `name+4`, `name-2`: the name's range and the number. A local label of digits is none.
fn name_and_number(text: &str, range: &Range<usize>, dialect: Dialect) -> Option<(Range<usize>, i32)> {
    let b = &text.as_bytes()[range.clone()];
    let is_start = |byte: u8| byte.is_ascii_alphabetic() || byte == b'_' || byte >= 0x80;
    match b {
        [first, ..] if is_start(*first) => (),
        [b'.', second, ..] if is_start(*second) => (),
        _ => return None,
    }
    let len = b.iter().position(|byte| !is_word_byte(*byte)).unwrap_or(b.len());
    if b[..len].contains(&b'\\') || !text.is_char_boundary(range.start + len) {
        return None;
    }
    // A size that is not the operand's own, as in `table.w+2`: the expression reader tells what that means.
    if len > 2 && b[len - 2] == b'.' {
        return None;
    }
    let number = match &b[len..] {
        [] => 0,
        [b'+', rest @ ..] => plain_number(rest, dialect)?,
        [b'-', rest @ ..] => -plain_number(rest, dialect)?,
        _ => return None,
    };
    Some((range.start..range.start + len, i32::try_from(number).ok()?))
}

fn span(range: &Range<usize>) -> Span {
    Span { start: range.start as u16, end: range.end as u16 }
}

/// Reads a value. Problems of values without names are told here, once and for all.
fn value(text: &str, range: &Range<usize>, dialect: Dialect, problems: &mut Vec<(Span, ProblemKind)>) -> Expr {
    if range.is_empty() {
        return Expr::None;
    }
    if let Some(number) = plain_number(&text.as_bytes()[range.clone()], dialect) {
        return Expr::Number(number);
    }
    if let Some((name, plus)) = name_and_number(text, range, dialect) {
        return Expr::Name(Symbol::EMPTY, span(&name), plus);
    }
    let mut alone = Alone::default();
    let value = evaluate(text, range.clone(), dialect, &mut alone);
    if alone.needs_more || text[range.clone()].contains('\\') {
        return Expr::Text;
    }
    if let Some((problem, range)) = alone.problem {
        problems.push((span(&range), ProblemKind::Expression(problem)));
    }
    value.number().map_or(Expr::Text, Expr::Number)
}

const NOTHING: Shape = Shape { kind: Kind::Data, register: 0, index: NO_INDEX, value: 0..0, is_later: false };
const NO_INDEX: Index = Index { number: 0, is_address: false, is_long: false };

/// Reads the operands of an instruction's line.
pub(crate) fn record(
    text: &str,
    at: u16,
    line: &Line,
    dialect: Dialect,
    mnemonic: &'static Mnemonic,
    settings: &Settings,
    problems: &mut Vec<(Span, ProblemKind)>,
) -> Instruction {
    let mut shapes = [NOTHING, NOTHING];
    let mut count = 0;
    reveille_source::operands(text, line, dialect, |range| {
        if let Some(place) = shapes.get_mut(count) {
            *place = shape(text, range, dialect);
        }
        count += 1;
    });
    let mut operands = [NOTHING, NOTHING].map(|_| Term {
        kind: Kind::Data,
        register: 0,
        index: NO_INDEX,
        value: Expr::None,
        span: Span::default(),
    });
    let mut written = None;
    for (place, shape) in shapes.into_iter().enumerate().take(count.min(2)) {
        let mut kind = shape.kind;
        if shape.is_later {
            problems.push((span(&shape.value), ProblemKind::LaterMode));
            operands[place].span = span(&shape.value);
            continue;
        }
        let value = value(text, &shape.value, dialect, problems);
        match (kind, value) {
            (Kind::Displacement, Expr::Number(0)) if settings.sizing.drops_zero_displacement => kind = Kind::Indirect,
            (Kind::Immediate, Expr::Number(number)) if place == 0 && settings.sizing.quick => written = Some(number),
            _ => (),
        }
        operands[place] = Term { kind, register: shape.register, index: shape.index, value, span: span(&shape.value) };
    }
    let is_reversed = is_reversed(mnemonic, &operands, dialect);
    if is_reversed {
        operands.swap(0, 1);
        written = None;
        if let (Kind::Immediate, Expr::Number(number)) = (operands[0].kind, operands[0].value) {
            written = Some(number).filter(|_| settings.sizing.quick);
        }
    }
    mask_of_list(mnemonic, &mut operands);
    let size = Size::from_letter(line.size);
    Instruction {
        line: at,
        count: count.min(3) as u8,
        size,
        operands,
        mnemonic,
        choice: None,
        is_open: false,
        is_reversed,
        written,
    }
}

/// Whether the operands of a comparison stand in the other order. A constant is compared with, wherever it stands.
fn is_reversed(mnemonic: &Mnemonic, operands: &[Term; 2], dialect: Dialect) -> bool {
    dialect.syntax().compare_is_reversed
        && mnemonic.instruction.name.starts_with("cmp")
        && operands[0].kind != Kind::Immediate
}

/// MOVEM takes a constant for its list, bit by bit as it is encoded (GNU as 2.40).
fn mask_of_list(mnemonic: &Mnemonic, operands: &mut [Term; 2]) {
    if mnemonic.instruction.name != "movem" {
        return;
    }
    let is_reversed = operands[1].kind == Kind::PreDecrement;
    for term in operands {
        if let (Kind::Immediate, Expr::Number(mask @ 0..=0xffff)) = (term.kind, term.value) {
            let mask = mask as u16;
            term.register = if is_reversed { mask.reverse_bits() } else { mask };
            (term.kind, term.value) = (Kind::List, Expr::None);
        }
    }
}

/// The operand of a term, with a value that is known.
pub(crate) fn operand(term: &Term, kind: Kind, value: i64) -> Operand {
    let value = if kind == Kind::List { term.register.into() } else { value };
    Operand { kind, register: term.register as u8 & 7, index: term.index, value }
}

/// An absolute address whose length is open: short where the processor's extended word gives the same address.
pub(crate) fn fits_short(address: i64) -> bool {
    (-0x8000..=0x7fff).contains(&address) || (0xffff_8000..=0xffff_ffff).contains(&address)
}

fn kinds(record: &Instruction) -> [Operand; 2] {
    record.operands.map(|term| operand(&term, term.kind, 0))
}

/// Reads an instruction's line, and settles all that its text alone tells.
pub(crate) fn read(
    text: &str,
    at: u16,
    line: &Line,
    dialect: Dialect,
    mnemonic: &'static Mnemonic,
    settings: &Settings,
    problems: &mut Vec<(Span, ProblemKind)>,
) -> Read {
    let before = problems.len();
    let mut record = record(text, at, line, dialect, mnemonic, settings, problems);
    if problems.len() > before {
        // A value that cannot be read keeps the line from having bytes; its length is that of its form.
        return Read::Static(guess(&record), [None; 2]);
    }
    if line.size != 0 && record.size.is_none() {
        let legal = Misfit::Size(mnemonic.sizes);
        problems.push((line.size_span(), ProblemKind::Misfit(legal)));
        return Read::Static(guess(&record), [None; 2]);
    }
    // Absolute addresses without names are as long as they need to be.
    let is_branch = super::assemble::is_branch(mnemonic);
    for term in &mut record.operands {
        if let (Kind::Target, Expr::Number(address)) = (term.kind, term.value)
            && !is_branch
            && !matches!(mnemonic.instruction.forms[0].slots[1], reveille_cpu::Slot::Loop)
        {
            term.kind = if fits_short(address) { Kind::AbsoluteShort } else { Kind::AbsoluteLong };
        }
    }
    let operands = kinds(&record);
    if record.size == Some(Size::Long) && super::assemble::is_branch(mnemonic) && !settings.sizing.takes_long_branches {
        problems.push((line.size_span(), ProblemKind::Misfit(Misfit::Size(reveille_cpu::Sizes::of("ws")))));
        return Read::Static(4, [None; 2]);
    }
    let choice = choose(mnemonic, settings.cpu, record.size, &operands, record.count.into(), record.written);
    let choice = match choice {
        Ok(choice) => choice,
        Err(misfit) => {
            // A lone name may be a register's: whoever knows the names tells.
            if record.count <= 2 && record.operands.iter().any(is_lone_name) {
                record.is_open = true;
                return Read::Variable(record);
            }
            problems.push((misfit_span(text, line, &record, misfit, dialect), ProblemKind::Misfit(misfit)));
            return Read::Static(guess(&record), [None; 2]);
        }
    };
    // A constant with names in it may be small enough for a quick form: whoever knows the names tells.
    if may_be_quick(&record, settings)
        && choose(mnemonic, settings.cpu, record.size, &operands, record.count.into(), Some(1))
            .is_ok_and(|quick| !std::ptr::eq(quick.form, choice.form))
    {
        record.is_open = true;
        return Read::Variable(record);
    }
    let is_known = |term: &Term| matches!(term.value, Expr::None | Expr::Number(_));
    let is_relative = |kind: Kind| matches!(kind, Kind::Target | Kind::PcDisplacement | Kind::PcIndex);
    let taken = &record.operands[..usize::from(record.count)];
    let has_branch = choice.form.slots[0] == reveille_cpu::Slot::Branch;
    if taken.iter().all(|it| is_known(it) && !is_relative(it.kind)) {
        let operands = record.operands.map(|term| match term.value {
            Expr::Number(number) => operand(&term, term.kind, number),
            _ => operand(&term, term.kind, 0),
        });
        let (encoding, problem) = encode(choice.form, choice.size, mnemonic.condition, &operands, 0);
        let found = match problem {
            Some(problem) => Some((usize::from(super::assemble::blamed(&problem)), ProblemKind::Operand(problem))),
            None => super::assemble::odd_operand(&choice, &operands),
        };
        if let Some((which, kind)) = found {
            let at = record.operands[which].span;
            problems.push((if at.is_empty() { line.operands } else { at }, kind));
        }
        let mut addresses = [None; 2];
        for (at, used) in crate::index::addresses(&record, settings.cpu) {
            // As a short address a word is extended with its sign.
            let is_short = operands[at].kind == Kind::AbsoluteShort;
            let address = if is_short { i64::from(operands[at].value as i16) } else { operands[at].value };
            addresses[at] = Some((address, used));
        }
        return Read::Static(encoding.len(), addresses);
    }
    let is_open = if has_branch {
        record.size.is_none()
    } else {
        // DBcc's target is a distance of one word.
        taken.iter().any(|it| it.kind == Kind::Target) && choice.form.slots[1] != reveille_cpu::Slot::Loop
    };
    if is_open || mnemonic.is_stretching {
        record.is_open = true;
        record.choice = Some(choice).filter(|_| !has_branch);
        return Read::Variable(record);
    }
    let words = word_count(choice.form, choice.size, record.operands.map(|it| it.kind));
    record.choice = Some(choice);
    Read::Fixed(2 * u32::from(words), record)
}

/// Whether the first operand is a constant with names in it, and small constants have quick forms.
pub(crate) fn may_be_quick(record: &Instruction, settings: &Settings) -> bool {
    let first = &record.operands[0];
    settings.sizing.quick && first.kind == Kind::Immediate && matches!(first.value, Expr::Name(..) | Expr::Text)
}

/// Whether an operand is a name and nothing else, which may stand for a register or a list.
pub(crate) fn is_lone_name(term: &Term) -> bool {
    term.kind == Kind::Target && matches!(term.value, Expr::Name(_, _, 0))
}

/// The length of an instruction that cannot be chosen, so that what follows keeps its place.
pub(crate) fn guess(record: &Instruction) -> u32 {
    let size = record.size.unwrap_or(Size::Word);
    let words = record.operands[..usize::from(record.count.min(2))].iter().map(|it| match it.kind {
        Kind::Target => 2,
        kind => kind.extension_words(size),
    });
    2 + 2 * words.map(u32::from).sum::<u32>()
}

/// What part of a line a misfit is about.
pub(crate) fn misfit_span(text: &str, line: &Line, record: &Instruction, misfit: Misfit, dialect: Dialect) -> Span {
    match misfit {
        Misfit::Size(_) if line.size != 0 => line.size_span(),
        Misfit::Operand(which, _) => {
            let which = if record.is_reversed && which < 2 { 1 - which } else { which };
            let mut at = 0;
            let mut found = line.operands;
            reveille_source::operands(text, line, dialect, |range| {
                if at == which {
                    found = span(&range);
                }
                at += 1;
            });
            found
        }
        Misfit::Count if record.count > 0 => line.operands,
        _ => line.operation,
    }
}
