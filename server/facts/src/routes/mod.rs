//! The instructions of a unit with the ways between them: who leads to an instruction, and in which routine it stands.

pub(crate) mod reasons;

use std::sync::Arc;

use reveille_cpu::{Kind, ends};
use reveille_program::{Code, CodeAt, CodeLine, Definition, DefinitionKind, Place, Program, Symbol, Unit, references};
use reveille_source::{Meaning, Span};
use rustc_hash::{FxHashMap, FxHashSet};

use crate::access::{Way, way, written};
use crate::finding::Evidence;

/// A name that stands for an address, and the line that uses it: an operand of an instruction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Taken {
    pub(crate) at: CodeAt,
    /// The address that the operand gives.
    pub(crate) address: i64,
}

/// The instructions of a unit.
pub(crate) struct Routes<'a> {
    pub(crate) program: &'a Program,
    pub(crate) unit: &'a Unit,
    pub(crate) code: Code<'a>,
    /// All instructions, in the order of the program.
    pub(crate) all: Vec<CodeAt>,
    /// For each instruction those that branch, jump or call there.
    into: FxHashMap<CodeAt, Vec<CodeAt>>,
    called: FxHashSet<i64>,
    /// Ordinary labels by address.
    labels: Vec<(i64, Symbol)>,
    /// Local labels by address.
    locals: Vec<(i64, Symbol)>,
    /// The operands that give an address or a number, by that: made when somebody asks.
    addressed: Option<Vec<(i64, CodeAt, u8)>>,
}

impl<'a> Routes<'a> {
    pub(crate) fn new(program: &'a Program, unit: &'a Unit) -> Self {
        let mut code = Code::new(program, unit);
        let all = code.instructions();
        let mut into: FxHashMap<CodeAt, Vec<CodeAt>> = FxHashMap::default();
        let mut called = FxHashSet::default();
        for at in &all {
            let Some(line) = code.line(*at) else { continue };
            let (Way::Branch(operand) | Way::Jump(operand) | Way::Call(operand)) = way(&line) else { continue };
            let Some(target) = code.target(&line, operand) else { continue };
            into.entry(target).or_default().push(*at);
            if matches!(way(&line), Way::Call(_)) {
                called.extend(code.line(target).and_then(|it| unit.absolute(it.location)));
            }
        }
        let labels_of = |is_local: bool| {
            let is_one = |it: &&Definition| it.kind == DefinitionKind::Label && it.symbol.is_local() == is_local;
            let own = unit.definitions().iter().filter(is_one);
            let mut own: Vec<(i64, Symbol)> =
                own.filter_map(|it| Some((unit.absolute(it.value)?, it.symbol))).collect();
            own.sort_by_key(|it| it.0);
            own
        };
        let (labels, locals) = (labels_of(false), labels_of(true));
        Self { program, unit, code, all, into, called, labels, locals, addressed: None }
    }

    pub(crate) fn line(&mut self, at: CodeAt) -> Option<Arc<CodeLine>> {
        self.code.line(at)
    }

    pub(crate) fn address(&mut self, at: CodeAt) -> Option<i64> {
        self.line(at).and_then(|it| self.unit.absolute(it.location))
    }

    pub(crate) fn leads_to(&self, at: CodeAt) -> &[CodeAt] {
        self.into.get(&at).map_or(&[], Vec::as_slice)
    }

    pub(crate) fn way(&mut self, at: CodeAt) -> Way {
        self.line(at).map_or(Way::Away, |it| way(&it))
    }

    /// Where a branch, a jump or a call leads.
    pub(crate) fn target(&mut self, at: CodeAt) -> Option<CodeAt> {
        let line = self.line(at)?;
        match way(&line) {
            Way::Branch(operand) | Way::Jump(operand) | Way::Call(operand) => self.code.target(&line, operand),
            _ => None,
        }
    }

    /// The instruction before, if it goes on to this one.
    pub(crate) fn falls_from(&mut self, at: CodeAt) -> Option<CodeAt> {
        let before = self.code.previous(at)?;
        let line = self.line(before)?;
        let goes_on = match way(&line) {
            Way::Branch(_) => true,
            Way::Jump(_) | Way::Away => false,
            _ => !ends(line.code.choice.instruction),
        };
        goes_on.then_some(before)
    }

    /// Where an instruction stands, as the source has it.
    pub(crate) fn evidence(&mut self, at: CodeAt) -> Option<Evidence> {
        let line = self.line(at)?;
        let span = self.span(line.place)?;
        Some(written(self.program, self.unit, Evidence { place: line.place, span }))
    }

    fn span(&self, place: Place) -> Option<Span> {
        let file = self.unit.file(self.program, place.file)?;
        let line = file.at(place.chunk, place.line).1;
        Some(Span { start: line.operation.start, end: line.operands.end.max(line.size_span().end) })
    }

    /// An instruction as it is written, with single blanks.
    pub(crate) fn quoted(&mut self, at: CodeAt) -> String {
        let Some(line) = self.line(at) else { return String::new() };
        let (Some(span), Some(file)) = (self.span(line.place), self.unit.file(self.program, line.place.file)) else {
            return String::new();
        };
        let text = span.of(file.at(line.place.chunk, line.place.line).2);
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// An operand as it is written.
    pub(crate) fn operand_text(&self, line: &CodeLine, operand: usize) -> String {
        let Some(file) = self.unit.file(self.program, line.place.file) else { return String::new() };
        let (chunk, own, text) = file.at(line.place.chunk, line.place.line);
        let count = line.code.choice.form.operand_count();
        let operand = if line.code.is_reversed { (count - 1).saturating_sub(operand) } else { operand };
        chunk.operands(own).get(operand).and_then(|it| text.get(it.clone())).unwrap_or_default().trim().to_owned()
    }

    /// Where an instruction stands, in words: the label before it, and the routine if that is another one.
    pub(crate) fn stands(&mut self, at: CodeAt) -> String {
        let Some(address) = self.address(at) else { return String::new() };
        let end = self.labels.partition_point(|it| it.0 <= address);
        let Some(label) = end.checked_sub(1).map(|it| self.labels[it]) else { return String::new() };
        const MOST: usize = 200;
        let mut routine = None;
        for own in (end.saturating_sub(MOST)..end).rev() {
            let (from, symbol) = self.labels[own];
            if self.called.contains(&from) {
                routine = Some(symbol);
                break;
            }
            if !self.is_inside(from) {
                break;
            }
        }
        let name = |it: Symbol| self.program.names().text(it);
        match routine.filter(|it| *it != label.1) {
            Some(routine) => format!(" at `{}` in `{}`", name(label.1), name(routine)),
            None => format!(" in `{}`", name(label.1)),
        }
    }

    /// Whether the code at a label is a part of the routine above: it is gone on to from there, or branched to from nearby alone.
    fn is_inside(&mut self, address: i64) -> bool {
        const NEAR: i64 = 0x100;
        let Some(at) = self.code.at_address(address) else { return false };
        if self.falls_from(at).is_some() {
            return true;
        }
        let from: Vec<CodeAt> = self.leads_to(at).to_vec();
        !from.is_empty() && from.into_iter().all(|it| self.address(it).is_some_and(|it| (it - address).abs() < NEAR))
    }

    /// The labels that stand at an address, or in a range of them.
    pub(crate) fn definitions_in(&self, from: i64, to: i64) -> Vec<Definition> {
        let is_in = |it: &&Definition| {
            it.kind == DefinitionKind::Label && self.unit.absolute(it.value).is_some_and(|it| (from..=to).contains(&it))
        };
        self.unit.definitions().iter().filter(is_in).copied().collect()
    }

    /// The operands that take an address of a range by a name: those that have a certain name, if there are such, since the end of one
    /// table is the start of the next.
    pub(crate) fn taking(&mut self, from: i64, to: i64, name: Option<Symbol>) -> Vec<Taken> {
        let all = self.taking_any(from, to);
        let Some(name) = name.map(|it| self.name(it)) else { return all };
        let mut has_name = |it: &Taken| {
            let Some(line) = self.line(it.at) else { return false };
            let count = line.code.choice.form.operand_count();
            (0..count).any(|at| words(&self.operand_text(&line, at)).any(|it| it.eq_ignore_ascii_case(&name)))
        };
        let named: Vec<Taken> = all.iter().copied().filter(&mut has_name).collect();
        if named.is_empty() { all } else { named }
    }

    fn taking_any(&mut self, from: i64, to: i64) -> Vec<Taken> {
        let all = self.addressed();
        let start = all.partition_point(|it| it.0 < from);
        let end = all.partition_point(|it| it.0 <= to);
        let mut own = all[start..end].to_vec();
        own.sort_unstable_by_key(|it| (it.1, it.2));
        own.retain(|(_, at, operand)| {
            let Some(line) = self.line(*at) else { return false };
            self.has_label(line.place, &self.operand_text(&line, usize::from(*operand)))
        });
        own.into_iter().map(|(address, at, _)| Taken { at, address }).collect()
    }

    fn addressed(&mut self) -> &[(i64, CodeAt, u8)] {
        if self.addressed.is_none() {
            let mut found = Vec::new();
            for at in 0..self.all.len() {
                let at = self.all[at];
                let Some(line) = self.line(at) else { continue };
                for operand in 0..line.code.choice.form.operand_count() {
                    let own = line.code.operands[operand];
                    let is_address = matches!(
                        own.kind,
                        Kind::AbsoluteShort
                            | Kind::AbsoluteLong
                            | Kind::PcDisplacement
                            | Kind::PcIndex
                            | Kind::Immediate
                            | Kind::Target
                    );
                    if is_address && line.code.is_known[operand] {
                        found.push((own.value, at, operand as u8));
                    }
                }
            }
            found.sort_unstable();
            self.addressed = Some(found);
        }
        self.addressed.as_deref().unwrap_or_default()
    }

    /// Where the unit may begin to lay down data: address 0, its origin, or the start of the 4 KiB in which its first label is.
    pub(crate) fn lowest(&mut self) -> Option<i64> {
        let origin = self.unit.settings(self.program).origin;
        let first = self.labels.first().map(|it| it.0);
        let places = [Some(0), Some(origin), first, first.map(|it| it & !0xfff)];
        places.into_iter().flatten().find(|it| self.code.byte_at(*it).is_some())
    }

    /// The ordinary label at an address: of several the last, which stands nearest to what is there.
    pub(crate) fn label_at(&self, address: i64) -> Option<Symbol> {
        let end = self.labels.partition_point(|it| it.0 <= address);
        self.labels.get(end.checked_sub(1)?).filter(|it| it.0 == address).map(|it| it.1)
    }

    /// What a place is called: its label, its local label in the routine before it, or how far behind a label it is.
    pub(crate) fn place_name(&self, address: i64) -> String {
        let end = self.labels.partition_point(|it| it.0 <= address);
        let Some((from, label)) = end.checked_sub(1).map(|it| self.labels[it]) else { return format!("${address:X}") };
        let label = self.name(label);
        let local = self.locals.partition_point(|it| it.0 < address);
        match self.locals.get(local).filter(|it| it.0 == address) {
            _ if from == address => label.to_string(),
            Some((_, local)) => format!("{} in {label}", self.name(*local)),
            None => format!("{label} + {}", address - from),
        }
    }

    /// The instructions whose operands have a name.
    pub(crate) fn naming(&mut self, name: &str) -> Vec<CodeAt> {
        let mut found = Vec::new();
        for at in 0..self.all.len() {
            let at = self.all[at];
            let Some(line) = self.line(at) else { continue };
            let count = line.code.choice.form.operand_count();
            if (0..count).any(|it| words(&self.operand_text(&line, it)).any(|it| it == name)) {
                found.push(at);
            }
        }
        found
    }

    /// Whether a name of a label stands in an operand.
    pub(crate) fn has_label(&self, place: Place, text: &str) -> bool {
        words(text).any(|it| {
            let found = self.unit.resolve(self.program, place, it.trim_matches('.')).or_else(|| {
                // The dots of local labels are parts of their names.
                self.unit.resolve(self.program, place, it)
            });
            found.is_some_and(|it| matches!(it.kind, DefinitionKind::Label | DefinitionKind::Equate))
        })
    }

    /// Where data uses a label: the operands of its lines.
    pub(crate) fn data_uses(&self, definition: &Definition) -> Vec<Evidence> {
        let (_, uses) = references(self.program, self.unit, definition);
        let is_data = |it: &(Place, Span)| {
            let file = self.program.file(it.0.file);
            let directive = file.and_then(|file| file.at(it.0.chunk, it.0.line).1.op.directive());
            let is_constant = |it: Meaning| matches!(it, Meaning::Constants | Meaning::ConstantsOf(_));
            directive.is_some_and(|it| is_constant(it.meaning)) && self.unit.is_judged(it.0)
        };
        uses.into_iter().filter(is_data).map(|(place, span)| Evidence { place, span }).collect()
    }

    pub(crate) fn name(&self, symbol: Symbol) -> Arc<str> {
        self.program.names().text(symbol)
    }
}

/// The words of an operand, numbers among them.
pub(crate) fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|it: char| !(it.is_alphanumeric() || matches!(it, '_' | '.' | '$' | '@' | '?')))
        .filter(|it| !it.is_empty())
}
