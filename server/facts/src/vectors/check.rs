//! What does not fit in exception vectors.

use reveille_cpu::{Cpu, Kind, ends, leaves, written};
use reveille_program::{Place, Program, Unit, Value, assemble};
use reveille_source::{LineKind, Meaning, Operation, Span};
use rustc_hash::FxHashSet;

use super::{Stands, VectorEntry, VectorOrigin, VectorsFact, number_ranges};
use crate::finding::{Evidence, Finding};
use crate::machine::Machine;
use crate::rom::SourceImage;

/// The address lines of the 68000 and 68010 (M68000 User's Manual, address bus).
const BUS: i64 = 0xff_ffff;

/// A table at 0 that reaches this vector has room for every exception that needs no device's own vector number.
const LAST_OF_OWN: u8 = 47;

/// How many lines of a handler are followed, and how many lie between a table and what follows it.
const MOST_LINES: usize = 60;

/// The findings about the vectors of a unit.
pub(super) fn findings(program: &Program, machine: &Machine, unit: &Unit, facts: &[VectorsFact]) -> Vec<Finding> {
    let checker = Checker { program, machine, unit };
    let mut found = Vec::new();
    let mut followed = FxHashSet::default();
    for fact in facts {
        let is_swapped = checker.swapped(fact, &mut found);
        if !is_swapped {
            checker.stack(fact, &mut found);
        }
        for row in fact.rows() {
            let [first, ..] = row else { continue };
            if first.vector.number == 0 || is_swapped && first.vector.number == 1 {
                continue;
            }
            checker.handler(row, &mut found);
        }
        checker.outside(fact, is_swapped, &mut found);
        checker.empty(fact, &mut found);
        checker.reserved(fact, &mut found);
        if fact.origin == VectorOrigin::Fetched {
            let has_stores = facts.iter().any(|it| it.origin == VectorOrigin::Stored);
            found.extend(checker.short(fact).filter(|_| !has_stores));
        }
        if fact.origin != VectorOrigin::Table {
            for entry in fact.entries.iter().filter(|it| !it.vector.is_reset()) {
                let Some(handler) = entry.handler.filter(|it| it.kind == Stands::Code) else { continue };
                if followed.insert(handler.place) {
                    found.extend(checker.returns(entry, handler.place));
                }
            }
        }
    }
    found
}

/// A vector in words with its number: `vector 27 (level 3 interrupt autovector)`.
fn of_row(cpu: Cpu, row: &[VectorEntry]) -> String {
    match row {
        [only] => format!("vector {} ({})", only.vector.number, only.vector.words(cpu)),
        all => {
            let numbers: Vec<u8> = all.iter().map(|it| it.vector.number).collect();
            format!("vectors {}", number_ranges(&numbers))
        }
    }
}

struct Checker<'a> {
    program: &'a Program,
    machine: &'a Machine,
    unit: &'a Unit,
}

impl Checker<'_> {
    fn name(&self, entry: &VectorEntry) -> String {
        let named = entry.handler.map(|it| format!("`{}`", self.program.names().text(it.symbol)));
        let address = || entry.address.map_or("an address not known".to_owned(), |it| format!("${:06X}", it & BUS));
        named.unwrap_or_else(address)
    }

    /// The kind of memory at an address, if the machine file tells of any memory.
    fn memory(&self, address: i64) -> Option<&'static str> {
        let address = (address & BUS) as u64;
        let holds = |from: u32, size: u64| (u64::from(from)..u64::from(from).saturating_add(size)).contains(&address);
        let found = self.machine.memory.iter().find(|it| holds(it.0.from.value, it.0.size.value));
        found.map(|it| it.0.kind.value)
    }

    fn has_memory(&self, kind: &str) -> bool {
        self.machine.memory.iter().any(|it| it.0.kind.value == kind)
    }

    /// A start address where the stack pointer belongs, and the other way round.
    fn swapped(&self, fact: &VectorsFact, found: &mut Vec<Finding>) -> bool {
        let (Some(stack), Some(start)) = (fact.entry(0), fact.entry(1)) else { return false };
        let is_start = stack.handler.is_some_and(|it| it.kind == Stands::Code);
        let Value::Number(number) = start.value else { return false };
        let is_stack = start.handler.is_none()
            && number != 0
            && match self.has_memory("ram") {
                true => self.memory(number - 2) == Some("ram"),
                false => number > stack.address.unwrap_or(i64::MAX),
            };
        if is_start && is_stack {
            let message = format!(
                "vector 0 holds {}, which is code, and vector 1 ${:06X}, where none is: the stack pointer comes first, the start address second",
                self.name(stack),
                number & BUS
            );
            found.push(Finding::new("vector-006", stack.at, message).related(start.at, "vector 1"));
        }
        is_start && is_stack
    }

    /// The stack pointer at reset.
    fn stack(&self, fact: &VectorsFact, found: &mut Vec<Finding>) {
        let Some(entry) = fact.entry(0) else { return };
        if self.unit.is_odd(entry.value) == Some(true) {
            let message = "the stack pointer at reset is odd: the first word that is pushed is an address error, and the processor halts; expected an even address";
            found.push(Finding::new("vector-003", entry.at, message.to_owned()));
            return;
        }
        let Value::Number(address) = entry.value else { return };
        // The first push goes below it, so it may be the end of RAM.
        let below = self.memory(address - 2);
        if self.has_memory("ram") && below != Some("ram") {
            let what = below.map_or("nothing that the machine file names".to_owned(), |it| format!("{it} memory"));
            let message = format!(
                "the stack pointer at reset is ${:06X}, and {what} lies below it; expected an address in RAM, or the one behind its end",
                address & BUS
            );
            found.push(Finding::new("vector-004", entry.at, message));
        }
    }

    /// A handler at an odd address, or where no instruction is.
    fn handler(&self, row: &[VectorEntry], found: &mut Vec<Finding>) {
        let Some(entry) = row.first() else { return };
        let cpu = self.unit.settings(self.program).cpu;
        // What nothing takes is filled with anything.
        if row.iter().all(|it| it.vector.is_reserved(cpu)) || is_fill(entry) {
            return;
        }
        let vectors = of_row(self.unit.settings(self.program).cpu, row);
        let name = self.name(entry);
        if self.unit.is_odd(entry.value) == Some(true) {
            let message = format!(
                "{vectors}: {name} is an odd address; the fetch there is an address error, and from a bus or address error the processor halts: expected an even one"
            );
            found.push(Finding::new("vector-001", entry.at, message));
            return;
        }
        if let Some(handler) = entry.handler.filter(|it| it.kind == Stands::Data) {
            let message =
                format!("{vectors}: data stands at {name}, and no instruction; expected the label of a handler");
            let own = label(self.program, handler.place);
            let finding = Finding::new("vector-005", entry.at, message);
            found.push(match own {
                Some(at) => finding.related(at, name),
                None => finding,
            });
        }
    }

    /// Handlers where the machine has no memory, or the program lays nothing down.
    fn outside(&self, fact: &VectorsFact, is_swapped: bool, found: &mut Vec<Finding>) {
        let cpu = self.unit.settings(self.program).cpu;
        let has_map = self.has_memory("rom") || self.has_memory("ram");
        let mut image = None;
        for row in fact.rows() {
            let Some(entry) = row.first() else { continue };
            let is_start = entry.vector.number == 1;
            if entry.vector.number == 0
                || is_start && is_swapped
                || is_fill(entry)
                || row.iter().all(|it| it.vector.is_reserved(cpu))
                || self.unit.is_odd(entry.value) == Some(true)
            {
                continue;
            }
            let Value::Number(address) = entry.value else { continue };
            let vectors = of_row(self.unit.settings(self.program).cpu, row);
            let name = self.name(entry);
            let message = if has_map {
                match self.memory(address) {
                    Some("ram") if is_start && fact.origin == VectorOrigin::Fetched => format!(
                        "the start address {name} lies in RAM, where nothing stands at reset; expected one in ROM"
                    ),
                    Some("rom" | "ram") => continue,
                    Some(other) => format!("{vectors}: {name} lies in {other} memory; expected code in ROM or RAM"),
                    None => format!(
                        "{vectors}: ${:06X} lies in no memory that the machine file names; expected code in ROM or RAM",
                        address & BUS
                    ),
                }
            } else {
                // Without a map a name stands for what its author knows; a bare number may be a slip.
                if entry.handler.is_some() || !self.is_literal(entry.at) {
                    continue;
                }
                let image = image.get_or_insert_with(|| SourceImage::new(self.program, self.unit));
                if image.byte(address).is_some() || image.line_at(address).is_some() || image.is_reserved(address) {
                    continue;
                }
                format!(
                    "{vectors}: nothing of this program lies at ${:06X}; expected the label of a handler, or a name for an address outside",
                    address & BUS
                )
            };
            found.push(Finding::new("vector-002", entry.at, message));
        }
    }

    /// Whether an operand has no name in it.
    fn is_literal(&self, at: Evidence) -> bool {
        let Some(file) = self.program.file(at.place.file) else { return false };
        let (chunk, _, text) = file.at(at.place.chunk, at.place.line);
        let mut has_name = false;
        reveille_source::tokens(at.span.of(text), chunk.dialect(), |kind, _| {
            has_name |= kind == reveille_source::TokenKind::Name;
        });
        !has_name
    }

    /// Zeros among handlers.
    fn empty(&self, fact: &VectorsFact, found: &mut Vec<Finding>) {
        let cpu = self.unit.settings(self.program).cpu;
        let is_own = |it: &&VectorEntry| (2..=LAST_OF_OWN).contains(&it.vector.number) && !it.vector.is_reserved(cpu);
        let own = fact.entries.iter().filter(is_own);
        let (zeros, others): (Vec<_>, Vec<_>) = own.partition(|it| it.value == Value::Number(0));
        let [first, ..] = zeros.as_slice() else { return };
        if others.is_empty() {
            return;
        }
        let numbers: Vec<u8> = zeros.iter().map(|it| it.vector.number).collect();
        let which = match zeros.as_slice() {
            [only] => format!("vector {} ({}) is 0", only.vector.number, only.vector.words(cpu)),
            _ => format!("vectors {} are 0", number_ranges(&numbers)),
        };
        let message = format!(
            "{which}: such an exception goes on at address 0, and executes what stands there; expected a handler, if only one that stops"
        );
        found.push(Finding::new("vector-009", first.at, message));
    }

    /// Handlers of their own for vectors that nothing takes.
    fn reserved(&self, fact: &VectorsFact, found: &mut Vec<Finding>) {
        let cpu = self.unit.settings(self.program).cpu;
        for entry in fact.entries.iter().filter(|it| it.vector.is_reserved(cpu)) {
            let Some(handler) = entry.handler.filter(|it| it.kind == Stands::Code) else { continue };
            let same = |it: &&VectorEntry| it.handler.is_some_and(|it| it.symbol == handler.symbol);
            // A handler for whatever comes is for these, too.
            if fact.entries.iter().filter(same).count() > 1 {
                continue;
            }
            let message = format!(
                "vector {} is reserved on the {}: nothing takes it, and {} is never reached by it; see whether its neighbour is meant",
                entry.vector.number,
                cpu.name(),
                self.name(entry)
            );
            found.push(Finding::new("vector-010", entry.at, message));
        }
    }

    /// A table at 0 that ends where exceptions still have vectors, with something else behind it.
    fn short(&self, fact: &VectorsFact) -> Option<Finding> {
        let is_gapless = fact.entries.iter().enumerate().all(|(at, it)| usize::from(it.vector.number) == at);
        let last = fact.entries.last().filter(|_| fact.address == Some(0) && is_gapless)?;
        let next = last.vector.number.checked_add(1).filter(|it| *it <= LAST_OF_OWN)?;
        let place = self.laid_behind(last.at.place)?;
        let first = statement(self.program, place)?;
        let message = format!(
            "the vectors end with {}, and vectors {next}-{LAST_OF_OWN} are whatever follows; expected entries up to {LAST_OF_OWN}, or an ORG behind them",
            last.vector.number
        );
        Some(Finding::new("vector-007", last.at, message).related(first, format!("vector {next} is taken from here")))
    }

    /// The line that lays down the bytes directly behind those of a line.
    fn laid_behind(&self, place: Place) -> Option<Place> {
        let file = self.program.file(place.file)?;
        let first = file.line_number(place) + 1;
        for number in first..first + MOST_LINES {
            let place = file.place(number)?;
            let (_, line, _) = file.at(place.chunk, place.line);
            if line.kind != LineKind::Statement || !self.unit.is_active(place) {
                continue;
            }
            match line.op.get() {
                Operation::Instruction(_) => return Some(place),
                Operation::None | Operation::Assignment => (),
                Operation::MacroCall => return None,
                Operation::Directive(it) => match it.meaning {
                    Meaning::Constants
                    | Meaning::ConstantsOf(_)
                    | Meaning::Strings(_)
                    | Meaning::Floats(_)
                    | Meaning::Block
                    | Meaning::Fill => return Some(place),
                    Meaning::Equate
                    | Meaning::Set
                    | Meaning::RegisterName
                    | Meaning::Even
                    | Meaning::Listing
                    | Meaning::Message
                    | Meaning::Export
                    | Meaning::Import => (),
                    _ => return None,
                },
            }
        }
        None
    }

    /// A handler that ends with RTS: followed in straight line, as long as it is certain what the stack holds.
    fn returns(&self, entry: &VectorEntry, handler: Place) -> Option<Finding> {
        let file = self.program.file(handler.file)?;
        let first = file.line_number(handler);
        // Bytes that the handler has pushed.
        let mut depth = 0_i64;
        for number in first..first + MOST_LINES {
            let place = file.place(number)?;
            let (_, line, _) = file.at(place.chunk, place.line);
            if line.kind != LineKind::Statement || !self.unit.is_active(place) {
                continue;
            }
            match line.op.get() {
                Operation::None => continue,
                Operation::Instruction(_) => (),
                _ => return None,
            }
            let own = assemble(self.program, self.unit, place)?;
            let instruction = own.choice.instruction;
            if instruction.name == "rts" && depth == 0 {
                let message = format!(
                    "`{}` takes {} and ends with RTS here: an exception stacks the status register before the return address, so RTS takes half of each; expected RTE",
                    self.program.names().text(entry.handler?.symbol),
                    of_row(self.unit.settings(self.program).cpu, std::slice::from_ref(entry))
                );
                let at = statement(self.program, place)?;
                return Some(Finding::new("vector-008", at, message).related(entry.at, "the vector"));
            }
            if matches!(instruction.name, "bsr" | "jsr") {
                continue;
            }
            if leaves(instruction) || ends(instruction) {
                return None;
            }
            if written(instruction, own.choice.form, &own.operands) & 0x8000 == 0 {
                continue;
            }
            let count = own.choice.form.operand_count();
            let registers = |at: usize| match own.operands.get(at) {
                Some(list) if list.kind == Kind::List => (list.value as u16).count_ones(),
                _ => 1,
            };
            let size = i64::from(own.choice.size.bytes().max(2));
            let step = match &own.operands[..count] {
                [_, to] if to.kind == Kind::PreDecrement && to.register == 7 => size * i64::from(registers(0)),
                [from, to] if from.kind == Kind::PostIncrement && from.register == 7 && to.kind != Kind::List => -size,
                [from, _] if from.kind == Kind::PostIncrement && from.register == 7 => -size * i64::from(registers(1)),
                _ => return None,
            };
            depth += step;
            if depth < 0 {
                return None;
            }
        }
        None
    }
}

/// Whether an entry holds what unused places are filled with.
fn is_fill(entry: &VectorEntry) -> bool {
    matches!(entry.value, Value::Number(0 | -1 | 0xffff_ffff))
}

/// The label of a line.
fn label(program: &Program, place: Place) -> Option<Evidence> {
    let file = program.file(place.file)?;
    let (_, line, _) = file.at(place.chunk, place.line);
    Some(Evidence { place, span: line.label })
}

/// The operation and operands of a line.
fn statement(program: &Program, place: Place) -> Option<Evidence> {
    let file = program.file(place.file)?;
    let (_, line, _) = file.at(place.chunk, place.line);
    let end = if line.operands.is_empty() { line.size_span().end } else { line.operands.end };
    Some(Evidence { place, span: Span { start: line.operation.start, end } })
}
