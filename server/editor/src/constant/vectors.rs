//! Exception vectors: what an entry of a table, an address below $400, a TRAP or a handler's label means.

use std::ops::Range;

use reveille_cpu::{Cpu, Kind, Vector, vector, vector_at};
use reveille_facts::{Model, VectorEntry, number_ranges};
use reveille_program::{Definition, DefinitionKind, FileId, Place, Value, assemble, references};
use reveille_source::{Operation, TokenKind};

use crate::lookup::{Spot, Thing, line_start};

/// So many uses of a name are looked at to tell whether it is an address.
const MOST_USES: usize = 50;

/// What the spot has to do with vectors.
pub(super) fn note(spot: &Spot<'_>, thing: &Thing) -> Option<String> {
    if let Thing::Token(..) = thing
        && let Some((_, entries)) = spot.model.vectors_at(spot.place, spot.at)
        && spot.line.op.directive().is_some()
    {
        return entry_text(spot, &entries);
    }
    if let Some(found) = trap(spot) {
        return matches!(thing, Thing::Operation(_) | Thing::Token(..)).then_some(found);
    }
    match thing {
        Thing::Token(kind, range) => {
            let named = named(spot).filter(|_| *kind == TokenKind::Name);
            if named.as_ref().is_some_and(|it| it.kind == DefinitionKind::Label) {
                return handled(spot, named?.place);
            }
            let operand = vector_of_operand(spot, range);
            let number = operand.or_else(|| vector_of_name(spot, named.as_ref()?)).or_else(|| {
                let is_number = *kind == TokenKind::Number || *kind == TokenKind::Name;
                vector_of_equate(spot).filter(|_| is_number)
            })?;
            Some(vector_text(spot, number))
        }
        Thing::Label(_) => {
            let definition = named(spot)?;
            match definition.kind {
                DefinitionKind::Label => handled(spot, definition.place),
                _ => Some(vector_text(spot, vector_of_name(spot, &definition)?)),
            }
        }
        _ => None,
    }
}

fn cpu(model: &Model, file: FileId) -> Cpu {
    model.program().settings_of(file).cpu
}

fn named(spot: &Spot<'_>) -> Option<Definition> {
    spot.definition().map(|it| it.1)
}

/// A vector with its name, its address and, where the program gives it one, its handler.
fn vector_text(spot: &Spot<'_>, own: Vector) -> String {
    let mut text = format!("{}; address ${:03X}", title(own, cpu(spot.model, spot.place.file)), own.address());
    let handlers = known_handlers(spot.model, own.number);
    if !handlers.is_empty() {
        text.push_str(&format!("; handler {}", handlers.join(", ")));
    }
    text
}

fn title(own: Vector, cpu: Cpu) -> String {
    format!("vector {}, {}", own.number, own.words(cpu))
}

/// The handlers that the program has for a vector, in tables and in stores.
fn known_handlers(model: &Model, number: u8) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for entry in model.vectors().flat_map(|it| &it.entries).filter(|it| it.vector.number == number) {
        let Some(handler) = entry.handler else { continue };
        let name = format!("`{}`", model.program().names().text(handler.symbol));
        if !found.contains(&name) {
            found.push(name);
        }
    }
    found
}

/// An operand of a table of vectors: which it is, what takes it, what the processor has stacked then.
fn entry_text(spot: &Spot<'_>, entries: &[&VectorEntry]) -> Option<String> {
    let first = entries.first()?;
    let cpu = cpu(spot.model, spot.place.file);
    let mut text = match entries {
        [only] => format!("{}; address ${:03X}", title(only.vector, cpu), only.vector.address()),
        all => {
            let numbers: Vec<u8> = all.iter().map(|it| it.vector.number).collect();
            let last = all.last()?;
            format!(
                "vectors {}; addresses ${:03X}-${:03X}",
                number_ranges(&numbers),
                first.vector.address(),
                last.vector.address()
            )
        }
    };
    if let Some(handler) = first.handler {
        text.push_str(&format!("; handler `{}`", spot.model.program().names().text(handler.symbol)));
    }
    if let [only] = entries
        && let (Some(bytes), Some(stacked)) = (only.vector.frame_bytes(cpu), only.vector.stacked().text())
    {
        text.push_str(&format!("; {bytes} bytes are stacked, the program counter in them: {stacked}"));
    }
    Some(text)
}

/// The vector of a TRAP, and its handler.
fn trap(spot: &Spot<'_>) -> Option<String> {
    let Operation::Instruction(mnemonic) = spot.line.op.get() else { return None };
    if mnemonic.instruction.name != "trap" {
        return None;
    }
    let found = assemble(spot.model.program(), spot.unit()?, spot.place)?;
    let number = u8::try_from(found.operands[0].value).ok().filter(|it| *it < 16)?;
    Some(vector_text(spot, vector(32 + number)))
}

/// The vector that an absolute operand of an instruction addresses.
fn vector_of_operand(spot: &Spot<'_>, range: &Range<usize>) -> Option<Vector> {
    let Operation::Instruction(_) = spot.line.op.get() else { return None };
    operand_vector(spot.model, spot.unit()?.root()?, spot.place, range.start)
}

/// The same of the operand at a byte of a line.
fn operand_vector(model: &Model, root: FileId, place: Place, byte: usize) -> Option<Vector> {
    let program = model.program();
    let unit = model.analysis().units_of(place.file).find(|it| it.root() == Some(root))?;
    let file = program.file(place.file)?;
    let (chunk, line, _) = file.at(place.chunk, place.line);
    let Operation::Instruction(_) = line.op.get() else { return None };
    let at = chunk.operands(line).iter().position(|it| (it.start..=it.end).contains(&byte))?;
    let found = assemble(program, unit, place)?;
    let operand = found.operands.get(at)?;
    let is_absolute = matches!(operand.kind, Kind::AbsoluteShort | Kind::AbsoluteLong);
    vector_at(operand.value).filter(|_| is_absolute)
}

/// The vector whose address an equate is: words of its name or comment say so, or it is used as an address.
fn vector_of_name(spot: &Spot<'_>, definition: &Definition) -> Option<Vector> {
    if !matches!(definition.kind, DefinitionKind::Equate | DefinitionKind::Set) {
        return None;
    }
    let Value::Number(value) = definition.value else { return None };
    let found = vector_at(value).filter(|it| !it.is_reset())?;
    let program = spot.model.program();
    let file = program.file(definition.place.file)?;
    let (_, line, text) = file.at(definition.place.chunk, definition.place.line);
    let name = program.names().text(definition.symbol).to_ascii_lowercase();
    let comment = line.comment.of(text).to_ascii_lowercase();
    if name.contains("vec") || comment.contains("vector") && !comment.contains("vector number") {
        return Some(found);
    }
    let unit = spot.unit()?;
    let (_, uses) = references(program, unit, definition);
    let root = unit.root()?;
    let is_address = |(place, span): &(Place, reveille_source::Span)| {
        operand_vector(spot.model, root, *place, span.start.into()).is_some_and(|it| it.number == found.number)
    };
    uses.iter().take(MOST_USES).any(is_address).then_some(found)
}

/// The vector of the equate in whose value the spot is.
fn vector_of_equate(spot: &Spot<'_>) -> Option<Vector> {
    let unit = spot.unit()?;
    let own = unit.definitions().iter().find(|it| it.place == spot.place)?;
    vector_of_name(spot, own)
}

/// The exceptions that the label of a line takes.
fn handled(spot: &Spot<'_>, place: Place) -> Option<String> {
    Some(format!("takes {}", handles(spot.model, place)?))
}

/// The vectors whose handler stands at a line: by name where they are few, else as ranges of numbers.
fn handles(model: &Model, place: Place) -> Option<String> {
    /// More than so many are told by number.
    const MOST: usize = 3;
    let entries = model.vectors().flat_map(|it| &it.entries);
    let own = entries.filter(|it| it.handler.is_some_and(|it| it.place == place));
    let mut numbers: Vec<u8> = own.map(|it| it.vector.number).collect();
    numbers.sort_unstable();
    numbers.dedup();
    if numbers.len() > MOST {
        return Some(format!("vectors {}", number_ranges(&numbers)));
    }
    let cpu = cpu(model, place.file);
    let one = |number: &u8| {
        let words = vector(*number).words(cpu).replace("interrupt autovector", "autovector");
        format!("{words} (vector {number})")
    };
    (!numbers.is_empty()).then(|| numbers.iter().map(one).collect::<Vec<_>>().join(", "))
}

/// The labels at which the machine starts, by vector 1: where the bring-up sheet begins.
#[must_use]
pub fn power_on(model: &Model, file: FileId) -> Vec<Range<usize>> {
    let Some(source) = model.program().file(file) else { return Vec::new() };
    let starts = model.vectors().filter_map(|it| it.entry(1)?.handler).filter(|it| it.place.file == file);
    let mut found: Vec<Range<usize>> = starts
        .map(|it| {
            let (_, line, _) = source.at(it.place.chunk, it.place.line);
            let start = line_start(source, it.place);
            start + usize::from(line.label.start)..start + usize::from(line.label.end)
        })
        .collect();
    found.dedup();
    found
}

/// The labels of a file that take exceptions, each with what it takes.
#[must_use]
pub fn handlers(model: &Model, file: FileId) -> Vec<(Range<usize>, String)> {
    let Some(source) = model.program().file(file) else { return Vec::new() };
    let mut places: Vec<Place> = model
        .vectors()
        .flat_map(|it| &it.entries)
        .filter_map(|it| it.handler.map(|it| it.place))
        .filter(|it| it.file == file)
        .collect();
    places.sort_unstable();
    places.dedup();
    let one = |place: Place| {
        let (_, line, _) = source.at(place.chunk, place.line);
        let start = line_start(source, place);
        let range = start + usize::from(line.label.start)..start + usize::from(line.label.end);
        Some((range, handles(model, place)?))
    };
    places.into_iter().filter_map(one).collect()
}
