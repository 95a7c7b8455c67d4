//! Instructions whose length is open: what they are when they are met, and which of them wait for distances.

use std::ops::Range;

use reveille_cpu::{Kind, Mnemonic, Size, Slot, choose, word_count};
use reveille_source::name_in;

use super::Walk;
use super::stretch::{Open, Reach, Target, Way, find};
use super::values::InWalk;
use crate::Symbol;
use crate::expression::{Base, Context, ExpressionProblem, Value, evaluate};
use crate::index::Indexed;
use crate::instruction::{
    Expr, Instruction, Sized, Term, fits_short, guess, may_be_quick, misfit_span, operand, with_registers,
};
use crate::settings::{BranchSizing, References};
use crate::unit::{DefinitionKind, Place, ProblemKind, numeric_reference};

const BYTE: Way = Way { bytes: 2, kind: Kind::Target, reach: Reach::Byte };
const WORD: Way = Way { bytes: 4, kind: Kind::Target, reach: Reach::Word };

/// Bcc without a size.
const BRANCH: &[Way] = &[BYTE, Way { reach: Reach::All, ..WORD }];
/// `jra` and `jbsr`, and `jcc`: *Using as* 2.40, 9.22.6.1.
const JUMPING: &[Way] = &[BYTE, WORD, Way { bytes: 6, kind: Kind::Target, reach: Reach::All }];
const JUMPING_OVER: &[Way] = &[BYTE, WORD, Way { bytes: 8, kind: Kind::Target, reach: Reach::All }];
/// A reference that may be relative; the bytes are the operand's own.
const REFERENCE: &[Way] = &[
    Way { bytes: 2, kind: Kind::PcDisplacement, reach: Reach::Word },
    Way { bytes: 4, kind: Kind::AbsoluteLong, reach: Reach::All },
];

impl Walk<'_> {
    /// Tells of instructions at an odd address.
    pub(super) fn even_instruction(&mut self, place: Place, indexed: &Indexed) {
        let bases = &self.unit.bases;
        let base = bases.get(self.state.base.0 as usize).and_then(|it| it.is_odd);
        if self.is_effective && !self.has_told_odd && base.is_some_and(|odd| odd ^ (self.state.offset & 1 == 1)) {
            self.has_told_odd = true;
            let line = &indexed.chunk.lines()[usize::from(place.line)];
            self.problem(ProblemKind::OddInstruction, place, line.operation);
        }
    }

    /// An instruction whose length is open.
    pub(super) fn instruction(&mut self, place: Place, indexed: &Indexed, at: usize) {
        let number = self.state.instructions as usize;
        self.state.instructions += 1;
        if !self.is_effective {
            // A replay: its length is known.
            if let Some(sized) = self.earlier.and_then(|unit| unit.sized.get(number)) {
                self.state.offset += i64::from(sized.bytes);
            }
            return;
        }
        self.even_instruction(place, indexed);
        let record = &indexed.instructions[at];
        let sized = if self.unit.registers.is_empty() {
            self.sized(place, indexed, record, number as u32)
        } else {
            self.sized(place, indexed, &with_registers(self.program, &self.unit, *record), number as u32)
        };
        let growth = match self.open.last() {
            Some(open) if open.at as usize == number => {
                let longest = open.ways[open.ways.len() - 1].bytes;
                i64::from(longest - open.ways[usize::from(open.way)].bytes)
            }
            _ => 0,
        };
        self.most_growth.push(self.most_growth[number] + growth);
        self.unit.sized.push(sized);
        self.state.offset += i64::from(sized.bytes);
    }

    fn sized(&mut self, place: Place, indexed: &Indexed, record: &Instruction, number: u32) -> Sized {
        let settings = self.settings;
        let mnemonic = record.mnemonic;
        let mut kinds = record.operands.map(|it| it.kind);
        if mnemonic.instruction.forms[0].slots[0] == Slot::Branch {
            return self.branch(place, indexed, mnemonic, record, number, kinds);
        }
        let written = match record.written {
            None if record.choice.is_none() && may_be_quick(record, settings) => {
                self.constant_so_far(place, &record.operands[0])
            }
            written => written,
        };
        let choose = || {
            let operands = record.operands.map(|term| operand(&term, term.kind, 0));
            choose(mnemonic, settings.cpu, record.size, &operands, record.count.into(), written)
        };
        let choice = match record.choice.map_or_else(choose, Ok) {
            Ok(choice) => choice,
            Err(misfit) => {
                let line = &indexed.chunk.lines()[usize::from(place.line)];
                let text = indexed.chunk.line_text(line);
                let span = misfit_span(text, line, record, misfit, indexed.chunk.dialect());
                self.problem(ProblemKind::Misfit(misfit), place, span);
                return Sized { bytes: guess(record) as u8, kinds, choice: None };
            }
        };
        let mut open = None;
        for (at, kind) in kinds.iter_mut().enumerate().take(record.count.into()) {
            let term = record.operands[at];
            if *kind != Kind::Target || !choice.form.takes[at].has(Kind::AbsoluteLong) {
                continue;
            }
            let may_be_relative = choice.form.takes[at].has(Kind::PcDisplacement);
            match self.reference(place, &term, may_be_relative) {
                Reference::Short => *kind = Kind::AbsoluteShort,
                Reference::Long => *kind = Kind::AbsoluteLong,
                Reference::Open(target) => {
                    *kind = Kind::PcDisplacement;
                    // The word behind the first, or behind the list of MOVEM.
                    let is_behind_list = choice.form.slots.iter().any(|it| *it == Slot::List || *it == Slot::Bit);
                    open = Some((at as u8, target, if is_behind_list { 4 } else { 2 }));
                }
            }
        }
        let words = word_count(choice.form, choice.size, kinds);
        let mut sized = Sized { bytes: 2 * words, kinds, choice: Some(choice) };
        if let Some((operand, target, from)) = open {
            let other_bytes = sized.bytes - REFERENCE[0].bytes;
            let open = Open {
                at: number,
                here: self.state.mark(),
                target,
                from,
                ways: REFERENCE,
                way: 0,
                other_bytes,
                operand,
            };
            self.wait(open, &mut sized);
        }
        sized
    }

    /// Lets an instruction wait for its distance, unless what is known settles it.
    fn wait(&mut self, mut open: Open, sized: &mut Sized) {
        // An earlier walk let it grow: it cannot be shorter than that.
        let earlier = self.earlier.and_then(|unit| unit.sized.get(open.at as usize));
        if let Some(earlier) = earlier
            && let Some(way) = open.ways.iter().position(|way| way.bytes + open.other_bytes == earlier.bytes)
        {
            open.way = way as u8;
        }
        if let Some((least, most)) = self.bounds(&open) {
            while usize::from(open.way) + 1 < open.ways.len() {
                let reach = open.ways[usize::from(open.way)].reach;
                if reach.reaches(least) && reach.reaches(most) {
                    break;
                }
                if reach.reaches(least) || reach.reaches(most) {
                    // The distances between decide.
                    self.settle(&open, sized);
                    self.open.push(open);
                    return;
                }
                open.way += 1;
            }
            return self.settle(&open, sized);
        }
        self.settle(&open, sized);
        self.open.push(open);
    }

    fn settle(&self, open: &Open, sized: &mut Sized) {
        let way = open.ways[usize::from(open.way)];
        sized.bytes = open.other_bytes + way.bytes;
        sized.kinds[usize::from(open.operand)] = way.kind;
    }

    /// The least and the most that the distance to a target behind can become; none for targets that are not met yet.
    fn bounds(&self, open: &Open) -> Option<(i64, i64)> {
        let (at, plus) = match open.target {
            Target::Beside(distance) => return Some((distance, distance)),
            Target::Numeric(digits, place) => (*self.unit.numeric.get(&digits)?.get(place)? as usize, 0),
            Target::Name(symbol, scope, plus) => (find_so_far(self, symbol, scope)?, plus),
        };
        let definition = &self.unit.definitions[at];
        let mark = self.marks[at];
        if definition.kind != DefinitionKind::Label || mark.piece != open.here.piece {
            return None;
        }
        let distance = mark.offset + plus - open.here.offset - open.from;
        let growth =
            self.most_growth[open.here.instructions as usize - 1] - self.most_growth[mark.instructions as usize];
        Some((distance - growth, distance))
    }

    fn branch(
        &mut self,
        place: Place,
        indexed: &Indexed,
        mnemonic: &'static Mnemonic,
        record: &Instruction,
        number: u32,
        kinds: [Kind; 2],
    ) -> Sized {
        let sizing = self.settings.sizing.branches(indexed.chunk.dialect());
        let stretches = mnemonic.is_stretching || sizing == BranchSizing::Jumping;
        let ways = match (stretches, mnemonic.condition) {
            (true, 0 | 1) => JUMPING,
            (true, _) => JUMPING_OVER,
            _ => BRANCH,
        };
        let fixed = |bytes| Sized { bytes, kinds, choice: None };
        if record.count != 1 || record.operands[0].kind != Kind::Target {
            let operands = record.operands.map(|term| operand(&term, term.kind, 0));
            let cpu = self.settings.cpu;
            if let Err(misfit) = choose(mnemonic, cpu, record.size, &operands, record.count.into(), None) {
                let line = &indexed.chunk.lines()[usize::from(place.line)];
                let text = indexed.chunk.line_text(line);
                let span = misfit_span(text, line, record, misfit, indexed.chunk.dialect());
                self.problem(ProblemKind::Misfit(misfit), place, span);
            }
            return fixed(4);
        }
        match (record.size, sizing) {
            (Some(Size::Short | Size::Byte), _) => return fixed(2),
            (Some(_), _) => return fixed(4),
            (None, BranchSizing::Short) if !mnemonic.is_stretching => return fixed(2),
            (None, BranchSizing::Word) if !mnemonic.is_stretching => return fixed(4),
            _ => (),
        }
        let Some(target) = self.target(place, &record.operands[0], 2) else {
            return fixed(4);
        };
        let mut sized = fixed(2);
        let open =
            Open { at: number, here: self.state.mark(), target, from: 2, ways, way: 0, other_bytes: 0, operand: 0 };
        self.wait(open, &mut sized);
        sized
    }

    /// What a term reaches for, if growth can be followed there; `from` is where distances count from.
    fn target(&mut self, place: Place, term: &Term, from: i64) -> Option<Target> {
        match term.value {
            Expr::Name(symbol, _, plus) => Some(Target::Name(symbol, self.state.scope, plus.into())),
            Expr::None => None,
            Expr::Number(address) => {
                // From an address that nothing moves, as long as nothing before it has.
                let here = (self.state.base == Base::ABSOLUTE).then_some(self.state.offset)?;
                self.needs_lengths = true;
                Some(Target::Beside(address - here - from))
            }
            Expr::Text => {
                let file = self.source(place.file)?;
                let (_, _, text) = file.at(place.chunk, place.line);
                let word = &text[term.span.range()];
                if let Some((digits, is_forward)) = numeric_reference(word) {
                    let digits = self.program.names().find(digits)?;
                    let so_far = self.unit.numeric.get(&digits).map_or(0, Vec::len);
                    let place = if is_forward { so_far } else { so_far.checked_sub(1)? };
                    return Some(Target::Numeric(digits, place));
                }
                if let Some((symbol, plus)) = self.label_and_constant(place, term) {
                    return Some(Target::Name(symbol, self.state.scope, plus));
                }
                let here = self.state.location();
                match (self.value(place, term.span.range()), here) {
                    (Value::Number(there), Value::Number(here)) => Some(Target::Beside(there - here - from)),
                    (Value::Address(base, there), Value::Address(own, here)) if base == own => {
                        Some(Target::Beside(there - here - from))
                    }
                    _ => None,
                }
            }
        }
    }

    /// How an address without size is written.
    fn reference(&mut self, place: Place, term: &Term, may_be_relative: bool) -> Reference {
        let references = self.settings.sizing.references;
        let is_placed = self.state.base == Base::ABSOLUTE;
        let relative = may_be_relative
            && match references {
                References::Unplaced => !is_placed,
                References::Relative => true,
                References::Long | References::Shortest => false,
            };
        let scope = self.state.scope;
        let (is_label, is_met) = match term.value {
            Expr::Name(symbol, ..) => match find_so_far(self, symbol, scope) {
                Some(at) => (self.is_address(at), true),
                // Whatever comes later is taken for a label until the walk is over.
                None => (true, false),
            },
            Expr::Text => (self.mentions_label(place, term), true),
            _ => (false, true),
        };
        if is_label && relative {
            let from = 2;
            if let Some(target) = self.target(place, term, from) {
                return Reference::Open(target);
            }
        }
        // An address of the program is long, also where it is known; a constant is as short as it can be, if it is known by now.
        let shortens = !is_label || references == References::Shortest;
        if is_met && shortens {
            let value = self.value(place, term.span.range());
            if value.number().is_some_and(fits_short) {
                return Reference::Short;
            }
        }
        Reference::Long
    }

    /// The value of a constant, if the lines so far tell it whatever becomes of lengths.
    fn constant_so_far(&mut self, place: Place, term: &Term) -> Option<i64> {
        let (earlier, needs_more) = (self.earlier.take(), self.needs_more);
        let needs_lengths = std::mem::replace(&mut self.needs_lengths, false);
        let value = self.value(place, term.span.range()).number();
        let is_distance = std::mem::replace(&mut self.needs_lengths, needs_lengths);
        (self.earlier, self.needs_more) = (earlier, needs_more);
        value.filter(|_| !is_distance)
    }

    /// An expression that is one label and constants that are known by now: the label, and the sum of the others.
    fn label_and_constant(&mut self, place: Place, term: &Term) -> Option<(Symbol, i64)> {
        let file = self.source(place.file)?;
        let (chunk, _, text) = file.at(place.chunk, place.line);
        let dialect = chunk.dialect();
        let mut labels = Vec::new();
        crate::index::names(&text[term.span.range()], dialect, |name, _| {
            // A name that is new to the program is one that nobody defines.
            let Some(symbol) = self.program.names().find(name) else { return };
            let symbol = if crate::index::is_local_label(name, dialect) { symbol.local() } else { symbol };
            let found = find_so_far(self, symbol, self.state.scope);
            if found.is_none_or(|at| self.unit.definitions[at].kind == DefinitionKind::Label) {
                labels.push((symbol, name.to_owned()));
            }
        });
        let [(symbol, name)] = &labels[..] else { return None };
        let mut value_with = |number| {
            self.steps = 0;
            let context = &mut Instead { name, number, rest: InWalk { walk: self, dialect, depth: 0 } };
            evaluate(text, term.span.range(), dialect, context).number()
        };
        let plus = value_with(0)?;
        (value_with(1)? == plus + 1).then_some((*symbol, plus))
    }

    /// Whether a definition is an address of the program: a label, or a constant made from one.
    fn is_address(&mut self, at: usize) -> bool {
        let definition = self.unit.definitions[at];
        match definition.kind {
            DefinitionKind::Label | DefinitionKind::External => true,
            DefinitionKind::Equate | DefinitionKind::Set => {
                let Some(span) = crate::unit::equate_span(self.program, &self.unit, definition.place) else {
                    return false;
                };
                let term = Term { span, ..NO_TERM };
                self.mentions_label(definition.place, &term)
            }
            DefinitionKind::RegisterName | DefinitionKind::Macro | DefinitionKind::Text => false,
        }
    }

    /// Whether an expression is an address: it names an odd number of labels. Two of them make a distance.
    fn mentions_label(&mut self, place: Place, term: &Term) -> bool {
        let Some(file) = self.source(place.file) else { return false };
        let (chunk, _, text) = file.at(place.chunk, place.line);
        let dialect = chunk.dialect();
        let mut labels = 0;
        let field = &text[term.span.range()];
        if field.starts_with('*') || field == "." && dialect.is_unix() {
            labels += 1;
        }
        crate::index::names(field, dialect, |name, _| {
            let found = self.program.names().find(name).and_then(|symbol| {
                let is_local = crate::index::is_local_label(name, dialect);
                find_so_far(self, if is_local { symbol.local() } else { symbol }, self.state.scope)
            });
            labels += match found {
                Some(at) => usize::from(self.unit.definitions[at].kind == DefinitionKind::Label),
                None => 1,
            };
        });
        labels % 2 == 1
    }
}

/// Values in the walk, but for one name, which has a number instead.
struct Instead<'n, 'w, 'a> {
    name: &'n str,
    number: i64,
    rest: InWalk<'w, 'a>,
}

impl Context for Instead<'_, '_, '_> {
    fn name(&mut self, text: &str, range: Range<usize>) -> Value {
        if name_in(text, self.rest.dialect) == Some(self.name) {
            Value::Number(self.number)
        } else {
            self.rest.name(text, range)
        }
    }

    fn location(&mut self) -> Value {
        self.rest.location()
    }

    fn problem(&mut self, _: ExpressionProblem, _: Range<usize>) {}
}

const NO_TERM: Term = Term {
    kind: Kind::Target,
    register: 0,
    index: reveille_cpu::Index { number: 0, is_address: false, is_long: false },
    value: Expr::Text,
    span: reveille_source::Span { start: 0, end: 0 },
};

enum Reference {
    Short,
    Long,
    Open(Target),
}

/// A definition that the walk has met. Spellings that differ only in case wait until all names are known.
fn find_so_far(walk: &Walk<'_>, symbol: Symbol, scope: u32) -> Option<usize> {
    if symbol.is_local() {
        return find(walk.program, &walk.unit, symbol, scope);
    }
    (walk.unit.by_symbol.get(symbol.index()).copied().unwrap_or(0) as usize).checked_sub(1)
}
