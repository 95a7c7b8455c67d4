//! Exception vectors: the tables that the source lays down, and the code that fills vectors in while it runs.

mod check;
mod names;
mod stores;
mod tell;

use reveille_cpu::{Vector, decode, vector};
use reveille_program::{Definition, DefinitionKind, Place, Program, Symbol, Unit, Value, data_run_at};
use reveille_source::{Meaning, Operation};

use crate::blocks::Confidence;
use crate::finding::{Evidence, Finding};
use crate::machine::Machine;

/// Where vectors come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum VectorOrigin {
    /// A table where the processor fetches them: at address 0, or at the start of a ROM that is mapped there at reset.
    Fetched,
    /// A table elsewhere, to be copied or pointed to.
    Table,
    /// Instructions that write them.
    Stored,
}

impl VectorOrigin {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fetched => "fetched",
            Self::Table => "table",
            Self::Stored => "stored",
        }
    }
}

/// What takes an exception: a label of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Handler {
    /// Its name.
    pub symbol: Symbol,
    /// The line of the label.
    pub place: Place,
    /// What stands there.
    pub kind: Stands,
}

/// What stands at a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stands {
    /// An instruction, or data that decodes as one.
    Code,
    /// Data that is no instruction.
    Data,
    /// A macro's call, reserved memory, or nothing that can be told.
    Unknown,
}

/// One vector with what is in it.
#[derive(Clone, Debug)]
pub struct VectorEntry {
    /// Which vector.
    pub vector: Vector,
    /// What it holds: of vector 0 the stack pointer, of all others an address of code.
    pub value: Value,
    /// The same as a number, sections taken to lie behind each other.
    pub address: Option<i64>,
    /// The label there.
    pub handler: Option<Handler>,
    /// The operand, or the instruction's operands.
    pub at: Evidence,
}

/// Exception vectors that belong together.
#[derive(Clone, Debug)]
pub struct VectorsFact {
    /// What they are called: the label, or where they lie.
    pub subject: String,
    /// The table's label.
    pub label: Option<Symbol>,
    /// Where they come from.
    pub origin: VectorOrigin,
    /// The address of the first; none for vectors that instructions write.
    pub address: Option<i64>,
    /// The vectors, by number.
    pub entries: Vec<VectorEntry>,
    /// How sure it is, and why.
    pub confidence: Confidence,
    /// Where the first entry is.
    pub at: Evidence,
}

impl VectorsFact {
    /// The entry of a vector.
    #[must_use]
    pub fn entry(&self, number: u8) -> Option<&VectorEntry> {
        self.entries.iter().find(|it| it.vector.number == number)
    }

    /// The entries in rows: vectors that follow each other and hold the same value are one.
    #[must_use]
    pub fn rows(&self) -> Vec<&[VectorEntry]> {
        let follows = |a: &VectorEntry, b: &VectorEntry| {
            let next = a.vector.number.checked_add(1) == Some(b.vector.number);
            next && a.value == b.value && a.value != Value::Unknown && !a.vector.is_reset()
        };
        self.entries.chunk_by(follows).collect()
    }
}

/// Numbers in a row as ranges: `2-4, 9`.
#[must_use]
pub fn number_ranges(numbers: &[u8]) -> String {
    let ranges = numbers.chunk_by(|a, b| a.checked_add(1) == Some(*b)).filter_map(|it| {
        let (first, last) = (it.first()?, it.last()?);
        Some(if first == last { first.to_string() } else { format!("{first}-{last}") })
    });
    ranges.collect::<Vec<_>>().join(", ")
}

/// The vectors of a unit, and what does not fit in them.
pub(crate) fn vectors(program: &Program, machine: &Machine, unit: &Unit) -> (Vec<VectorsFact>, Vec<Finding>) {
    let mut found = tell::tables(program, machine, unit);
    found.extend(stores::stores(program, unit));
    let findings = check::findings(program, machine, unit, &found);
    (found, findings)
}

/// The label that an operand names, if it names one and nothing else.
fn named_label<'a>(program: &Program, unit: &'a Unit, place: Place, text: &str) -> Option<&'a Definition> {
    let is_name = !text.is_empty() && text.bytes().all(reveille_source::is_word_byte);
    unit.resolve(program, place, text).filter(|it| is_name && it.kind == DefinitionKind::Label)
}

fn handler(program: &Program, unit: &Unit, label: &Definition) -> Handler {
    // What macros make has its call as its place.
    let place = unit.expanded_from(program, label.place).map_or(label.place, |it| it.0);
    Handler { symbol: label.symbol, place, kind: stands_at(program, unit, label.place) }
}

/// What stands at a line or, if it has a label alone, below it.
fn stands_at(program: &Program, unit: &Unit, place: Place) -> Stands {
    /// So many lines without an operation may follow a label.
    const MOST_LINES: usize = 200;
    let Some(file) = unit.file(program, place.file) else { return Stands::Unknown };
    let first = file.line_number(place);
    for number in first..first + MOST_LINES {
        let Some(at) = file.place(number) else { break };
        // A file of an expansion knows its own number only.
        let at = Place { file: place.file, ..at };
        let (_, line, _) = file.at(at.chunk, at.line);
        if !unit.is_active(at) {
            continue;
        }
        match line.op.get() {
            Operation::None | Operation::Assignment => (),
            Operation::Instruction(_) => return Stands::Code,
            Operation::MacroCall => return Stands::Unknown,
            Operation::Directive(it) => match it.meaning {
                Meaning::Constants | Meaning::ConstantsOf(_) => return words_stand(program, unit, at),
                Meaning::Strings(_) | Meaning::Floats(_) => return Stands::Data,
                Meaning::Block
                | Meaning::Fill
                | Meaning::Reserve
                | Meaning::ReserveBytes
                | Meaning::IncludeBytes
                | Meaning::Include
                | Meaning::Origin
                | Meaning::Repeat
                | Meaning::End => return Stands::Unknown,
                _ => (),
            },
        }
    }
    Stands::Unknown
}

/// Whether the words of a line of data are an instruction that somebody has assembled by hand.
fn words_stand(program: &Program, unit: &Unit, place: Place) -> Stands {
    let Some(run) = data_run_at(program, unit, place) else { return Stands::Unknown };
    let Some(file) = program.file(place.file) else { return Stands::Unknown };
    let (_, line, text) = file.at(place.chunk, place.line);
    if line.operands.of(text).starts_with(['\'', '"']) {
        return Stands::Data;
    }
    let bytes = run.items.iter().skip_while(|it| it.place != place).flat_map(|it| it.bytes.iter().copied());
    let bytes: Vec<Option<u8>> = bytes.take(10).collect();
    let [Some(_), Some(_), ..] = bytes.as_slice() else { return Stands::Unknown };
    let words = bytes.chunks_exact(2).map(|it| u16::from_be_bytes([it[0].unwrap_or(0), it[1].unwrap_or(0)]));
    let words: Vec<u16> = words.collect();
    if decode(&words, 0).is_some() { Stands::Code } else { Stands::Data }
}

/// The entry of a vector, with what is known of the value.
fn entry(number: u8, (value, address): (Value, Option<i64>), handler: Option<Handler>, at: Evidence) -> VectorEntry {
    VectorEntry { vector: vector(number), value, address, handler, at }
}

#[cfg(test)]
mod tests {
    use super::number_ranges;

    #[test]
    fn numbers_are_told_as_ranges() {
        assert_eq!(number_ranges(&[2, 3, 4, 9, 254, 255]), "2-4, 9, 254-255");
        assert_eq!(number_ranges(&[]), "");
    }
}
