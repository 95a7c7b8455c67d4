//! What the monitor can be asked: tables of words or characters with the routines that answer them, and characters that are compared one
//! after the other.

use reveille_c::{Element, Pointee};
use reveille_program::{DataItem, data_runs};

use super::walk::{Spot, Walk};
use super::{Command, PathRoutine, StepKind};
use crate::finding::Evidence;

/// The fewest rows of a table, and the fewest characters that are compared in a routine.
const LEAST_ROWS: usize = 2;
const LEAST_COMPARED: usize = 3;
/// The longest word of a command, and the most items of a row.
const LONGEST: usize = 24;
const MOST_ITEMS: usize = 32;
/// The fewest characters of a text that explains a command.
const LEAST_HELP: usize = 6;

/// A command, and the instruction that its handler begins with.
pub(super) struct Found {
    pub(super) command: Command,
    pub(super) spot: Spot,
}

/// What an item of a table is.
#[derive(Clone, Debug, PartialEq)]
enum Item {
    /// The address of a routine, or the distance to it.
    Code(Spot, String),
    /// Characters.
    Text(String),
    /// A number.
    Number(i64),
    /// A byte that ends a text.
    End,
    /// Nobody knows.
    Open,
}

/// The commands of tables in assembly.
pub(super) fn in_tables(walk: &mut Walk<'_>) -> Vec<Found> {
    let mut found = Vec::new();
    for unit in 0..walk.units.len() {
        let (program, own) = (walk.units[unit].program, walk.units[unit].unit);
        for run in data_runs(program, own, &|head| head.addresses > 0) {
            let items = run.items.iter().map(|it| (item(walk, unit, it), Evidence { place: it.place, span: it.span }));
            let items: Vec<(Item, Evidence)> = items.collect();
            let label = run.label.map(|it| walk.units[unit].name(it).to_string());
            found.extend(table(label, &items));
        }
    }
    found
}

/// The commands of tables in C.
pub(super) fn in_c(walk: &mut Walk<'_>) -> Vec<Found> {
    let mut found = Vec::new();
    for own in walk.functions.units.clone() {
        for object in own.unit.objects() {
            let Some(elements) = own.unit.data(object) else { continue };
            let items: Vec<(Item, Evidence)> =
                elements.iter().filter_map(|it| Some((c_item(walk, it), own.evidence(it.span)?))).collect();
            found.extend(table(Some(object.name.to_string()), &items));
        }
    }
    found
}

fn c_item(walk: &mut Walk<'_>, element: &Element) -> Item {
    match &element.pointer {
        Some(Pointee::Text(text)) => return Item::Text(String::from_utf8_lossy(text).into_owned()),
        Some(Pointee::Name(name)) => {
            let function = walk.functions.named(name).map(Spot::Function);
            let label = walk.functions.convention.assembly(name);
            let spot = function.or_else(|| Some(Spot::Code(walk.exported(&label).or_else(|| walk.labelled(&label))?)));
            return spot.map_or(Item::Open, |it| Item::Code(it, name.to_string()));
        }
        None => (),
    }
    let Some(bytes) = element.bytes.iter().copied().collect::<Option<Vec<u8>>>() else { return Item::Open };
    let text = bytes.split(|it| *it == 0).next().unwrap_or_default();
    if element.item_bytes == 1
        && bytes.len() > 1
        && !text.is_empty()
        && text.iter().all(|it| (b' '..=b'~').contains(it))
    {
        return Item::Text(text.iter().map(|it| char::from(*it)).collect());
    }
    match bytes.len() {
        1 | 2 | 4 => Item::Number(bytes.iter().fold(0, |sum, it| sum << 8 | i64::from(*it))),
        _ => Item::Open,
    }
}

/// The commands of a table: one a row.
fn table(table: Option<String>, items: &[(Item, Evidence)]) -> Vec<Found> {
    let code: Vec<usize> =
        items.iter().enumerate().filter(|it| matches!(it.1.0, Item::Code(..))).map(|it| it.0).collect();
    if code.len() < LEAST_ROWS {
        return Vec::new();
    }
    let has_key = |range: &[(Item, Evidence)]| range.iter().any(|it| key(&it.0).is_some());
    // Rows of one length, or such that end with their routine where something stands before the first one, or begin with it.
    let length = code[1] - code[0];
    let is_regular = code.windows(2).all(|it| it[1] - it[0] == length);
    let is_last = has_key(&items[..code[0]]);
    let mut rows = Vec::new();
    for (at, own) in code.iter().enumerate() {
        let before = if at == 0 { 0 } else { code[at - 1] + 1 };
        let behind = code.get(at + 1).copied().unwrap_or(items.len());
        let row = match is_last {
            _ if is_regular && code[0] < length => own - code[0]..(own - code[0] + length).min(items.len()),
            true => before..*own,
            false => *own + 1..behind,
        };
        if row.len() > MOST_ITEMS {
            return Vec::new();
        }
        rows.push((*own, row));
    }
    let keyed = rows.iter().filter(|it| has_key(&items[it.1.clone()])).count();
    if keyed * 5 < rows.len() * 4 || keyed < LEAST_ROWS {
        return Vec::new();
    }
    let rows = rows.into_iter().filter_map(|(handler, row)| {
        let Item::Code(spot, routine) = &items[handler].0 else { return None };
        let row = &items[row];
        let first = row.iter().position(|it| key(&it.0).is_some())?;
        let (name, at) = (key(&row[first].0)?, row[first].1);
        let rest = row.iter().enumerate().filter(|it| it.0 != first).map(|it| &it.1.0);
        let numbers = rest.clone().filter_map(|it| if let Item::Number(it) = it { Some(*it) } else { None }).collect();
        let help = rest.filter_map(|it| if let Item::Text(it) = it { Some(it.trim().to_owned()) } else { None });
        let help = help.into_iter().find(|it| it.len() >= LEAST_HELP);
        let command =
            Command { name, routine: routine.clone(), numbers, help, table: table.clone(), at, routine_at: None };
        Some(Found { command, spot: *spot })
    });
    rows.collect()
}

/// The word or the character of a command.
fn key(item: &Item) -> Option<String> {
    match item {
        Item::Text(text) => {
            let text = text.trim();
            let is_word = !text.is_empty() && text.len() <= LONGEST && !text.contains("  ");
            is_word.then(|| text.to_owned())
        }
        _ => None,
    }
}

fn item(walk: &mut Walk<'_>, unit: usize, item: &DataItem) -> Item {
    let known: Option<Vec<u8>> = item.bytes.iter().copied().collect();
    let routes = &walk.units[unit];
    let text = match routes.program.file(item.place.file) {
        Some(file) => item.span.of(file.at(item.place.chunk, item.place.line).2).to_owned(),
        None => String::new(),
    };
    if item.bytes.len() as u32 == item.item_bytes && item.item_bytes >= 2 {
        // The first name of code is meant; what it is counted from stands behind it.
        for name in crate::routes::words(&text) {
            let Some(own) = walk.units[unit].unit.resolve(walk.units[unit].program, item.place, name) else { continue };
            if !matches!(own.kind, reveille_program::DefinitionKind::Label | reveille_program::DefinitionKind::External)
            {
                continue;
            }
            if let Some(address) = walk.units[unit].unit.absolute(own.value) {
                if let Some(node) = walk.at_address(unit, address) {
                    return Item::Code(Spot::Code(node), name.to_owned());
                }
                if item.item_bytes == 4
                    && let Some(text) = walk.text_at(address)
                {
                    return Item::Text(text);
                }
            } else if let Some(node) = walk.exported(name) {
                return Item::Code(Spot::Code(node), name.to_owned());
            } else if let Some(at) = walk.functions.of_assembly(name) {
                return Item::Code(Spot::Function(at), name.to_owned());
            }
        }
    }
    let Some(bytes) = known else { return Item::Open };
    let is_quoted = text.contains(['\'', '"']);
    let is_printed = bytes.iter().all(|it| (b' '..=b'~').contains(it));
    if is_quoted && is_printed && !bytes.is_empty() {
        return Item::Text(bytes.iter().map(|it| char::from(*it)).collect());
    }
    // A character in a word: the high byte is 0.
    if is_quoted
        && let Some((last, rest)) = bytes.split_last()
        && (b' '..=b'~').contains(last)
        && rest.iter().all(|it| *it == 0)
    {
        return Item::Text(char::from(*last).to_string());
    }
    if item.item_bytes == 1 && bytes == [0] {
        return Item::End;
    }
    match bytes.len() {
        1 | 2 | 4 => Item::Number(bytes.iter().fold(0, |sum, it| sum << 8 | i64::from(*it))),
        _ => Item::Open,
    }
}

/// Characters that a routine compares with one and the same thing, each with where that leads.
pub(super) fn compared(routines: &[PathRoutine]) -> Vec<Command> {
    let mut found = Vec::new();
    for routine in routines {
        let decisions = routine.steps.iter().filter(|it| it.kind == StepKind::Decision);
        let keys: Vec<_> = decisions
            .filter_map(|it| {
                let value = it.value.and_then(|it| u8::try_from(it).ok()).filter(u8::is_ascii_alphanumeric)?;
                let to = it.to.clone().filter(|_| it.is_equal && it.device.is_none())?;
                let is_character = it.words.ends_with(&format!("'{}'", char::from(value)))
                    || it.words.ends_with(&format!("\"{}\"", char::from(value)));
                is_character.then_some((value, to, it))
            })
            .collect();
        if keys.len() < LEAST_COMPARED {
            continue;
        }
        found.extend(keys.into_iter().map(|(value, to, step)| Command {
            name: char::from(value).to_string(),
            routine: to,
            numbers: Vec::new(),
            help: None,
            table: None,
            at: step.at,
            routine_at: None,
        }));
    }
    found
}
