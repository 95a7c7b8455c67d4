//! Tables of jumps: addresses or distances of routines in a row, one of which leads to an odd address.

use reveille_program::{DataRun, DefinitionKind, Place, Program, Unit, Value, data_runs};
use reveille_source::Operation;

use crate::finding::{Evidence, Finding};
use crate::vectors::VectorsFact;

/// From so many entries on it is a table.
const LEAST: u16 = 3;

/// An entry that leads to a routine.
struct Entry {
    at: Evidence,
    /// What it leads to, as it is written.
    text: String,
    /// Whether the target is odd; none if that is not known.
    is_odd: Option<bool>,
    /// Whether instructions stand at the name that it is made of.
    is_code: bool,
}

/// The findings of a unit. Of vectors their own rules tell.
pub(crate) fn findings(program: &Program, unit: &Unit, vectors: &[VectorsFact]) -> Vec<Finding> {
    let is_vector = |run: &DataRun| {
        vectors
            .iter()
            .flat_map(|it| &it.entries)
            .any(|it| it.at.place.file == run.file && (run.first..=run.last).contains(&it.at.place))
    };
    let wants = |head: reveille_program::Head<'_>| head.addresses >= LEAST;
    let runs = data_runs(program, unit, &wants);
    runs.iter().filter(|it| !is_vector(it)).flat_map(|run| table(program, unit, run)).collect()
}

fn table(program: &Program, unit: &Unit, run: &DataRun) -> Vec<Finding> {
    let entries: Vec<Entry> = run.items.iter().filter_map(|it| entry(program, unit, it)).collect();
    let code = entries.iter().filter(|it| it.is_code).count();
    // What else stands in the table is no routine either.
    if code < usize::from(LEAST) || code * 4 < run.items.len() * 3 {
        return Vec::new();
    }
    let odd = entries.iter().filter(|it| it.is_odd == Some(true));
    odd.map(|it| {
        let message = format!(
            "`{}` is an odd address among those of routines: a jump there is an address error; correct the entry",
            it.text
        );
        Finding::new("table-001", it.at, message)
    })
    .collect()
}

/// A long word with an address, or a word with a distance between two names.
fn entry(program: &Program, unit: &Unit, item: &reveille_program::DataItem) -> Option<Entry> {
    let file = program.file(item.place.file)?;
    let (_, _, line) = file.at(item.place.chunk, item.place.line);
    let text = line.get(item.span.range())?.trim();
    let is_name = |it: &str| !it.is_empty() && it.bytes().all(reveille_source::is_word_byte);
    let label = |name: &str| {
        let found = unit.resolve(program, item.place, name).filter(|_| is_name(name))?;
        (found.kind == DefinitionKind::Label).then_some(found)
    };
    let cut = text.find(['+', '-']).unwrap_or(text.len());
    let target = label(text[..cut].trim())?;
    let value = unit.value(program, item.place, item.span.range());
    let is_odd = match item.item_bytes {
        4 => unit.is_odd(value),
        // The distance from an even base.
        2 => {
            let base = label(text.get(cut + 1..)?.trim()).filter(|_| text[cut..].starts_with('-'))?;
            match (value, unit.is_odd(base.value)?) {
                (Value::Number(distance), is_odd) => Some(is_odd ^ (distance & 1 == 1)),
                _ => None,
            }
        }
        _ => return None,
    };
    let is_code = leads_to_instruction(program, unit, target.place);
    Some(Entry { at: Evidence { place: item.place, span: item.span }, text: text.to_owned(), is_odd, is_code })
}

/// Whether an instruction stands at a label, and no data that may be one: bytes of texts often look like instructions.
fn leads_to_instruction(program: &Program, unit: &Unit, label: Place) -> bool {
    let Some(file) = unit.file(program, label.file) else { return false };
    let first = file.line_number(label);
    let lines = (first..first + 16).map_while(|it| file.place(it));
    let mut operations = lines.map(|it| file.at(it.chunk, it.line).1.op.get());
    operations.find(|it| !matches!(it, Operation::None)).is_some_and(|it| matches!(it, Operation::Instruction(_)))
}
