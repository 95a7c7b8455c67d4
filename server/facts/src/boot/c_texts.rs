//! Texts of C on the way: who prints each, and on which conditions.

use std::sync::Arc;

use reveille_c::{Pointee, Span};
use rustc_hash::FxHashMap;

use super::c_steps::{Guard, Used, What};
use super::walk::Walk;
use super::{Printed, advice};
use crate::c::CUnit;
use crate::session::{Cause, Role};

/// Of places that are alike so many are told.
const MOST: usize = 8;
/// The fewest characters of a text, and of the constants that number a table.
const LEAST: usize = 3;
const LEAST_NAMED: usize = 3;

/// A text in a table of an object: which entry it is.
struct Entry<'a> {
    unit: &'a CUnit,
    table: Arc<str>,
    number: i64,
    text: String,
    at: Span,
}

/// The texts that functions that were come to can print, and those whose numbers have names; `used` is what each function uses, by its number.
pub(super) fn texts(walk: &Walk<'_>, used: &[(usize, Vec<Used>)]) -> (Vec<Printed>, FxHashMap<Arc<str>, String>) {
    let mut found: Vec<Printed> = Vec::new();
    for (function, own) in used {
        let (unit, function) = walk.functions.get(*function);
        for it in own {
            let What::Text(bytes) = &it.what else { continue };
            let (Some(text), Some(at)) = (printed(bytes), unit.evidence(it.at)) else { continue };
            let mut causes = vec![cause(0, unit, it.at, format!("`{text}` is a text of the C here"))];
            let message = format!("`{}` in `{}` hands it on", it.quoted, function.name);
            causes.push(Cause { role: Role::Use, ..cause(1, unit, it.at, message) });
            causes.extend(conditions(2, unit, &it.guards));
            let advice = advice::of(&text);
            found.push(Printed { text, at, causes, advice });
        }
    }
    let (in_tables, numbers) = in_tables(walk, used);
    found.extend(in_tables);
    found.sort_by_key(|it| it.at.place);
    found.dedup_by(|it, before| it.at == before.at);
    (found, numbers)
}

/// What can be read of a text.
fn printed(bytes: &[u8]) -> Option<String> {
    let text: String = bytes.iter().map(|it| if (b' '..=b'~').contains(it) { char::from(*it) } else { ' ' }).collect();
    let text = text.trim();
    (text.chars().count() >= LEAST).then(|| text.to_owned())
}

fn cause(depth: usize, unit: &CUnit, at: Span, message: String) -> Cause {
    Cause::new(depth, unit.evidence(at), message)
}

fn conditions<'a>(depth: usize, unit: &'a CUnit, guards: &'a [Guard]) -> impl Iterator<Item = Cause> {
    // The nearest first.
    guards
        .iter()
        .rev()
        .map(move |it| Cause { role: Role::Condition, ..cause(depth, unit, it.at, format!("where {}", it.words)) })
}

/// The texts of tables that a function takes an entry of.
fn in_tables(walk: &Walk<'_>, used: &[(usize, Vec<Used>)]) -> (Vec<Printed>, FxHashMap<Arc<str>, String>) {
    let mut readers: FxHashMap<Arc<str>, Vec<(usize, &Used)>> = FxHashMap::default();
    for (function, own) in used {
        for it in own {
            if let What::Object(name) = &it.what {
                readers.entry(name.clone()).or_default().push((*function, it));
            }
        }
    }
    let mut found = Vec::new();
    let mut numbers = FxHashMap::default();
    for unit in &walk.functions.units {
        for object in unit.unit.objects() {
            let Some(readers) = readers.get(&object.name) else { continue };
            let Some(elements) = unit.unit.data(object) else { continue };
            let is_table = elements
                .iter()
                .all(|it| matches!(it.pointer, Some(Pointee::Text(_))) || it.bytes.iter().all(|it| *it == Some(0)));
            if !is_table || elements.len() < 2 {
                continue;
            }
            let numbered = numbered(walk, used, elements.len());
            for (number, element) in elements.iter().enumerate() {
                let Some(Pointee::Text(bytes)) = &element.pointer else { continue };
                let Some(text) = printed(bytes) else { continue };
                if let Some(name) = numbered.get(&(number as i64)) {
                    numbers.insert(name.clone(), text.clone());
                }
                let entry = Entry { unit, table: object.name.clone(), number: number as i64, text, at: element.span };
                found.extend(of_entry(walk, used, &entry, readers, &numbered));
            }
        }
    }
    (found, numbers)
}

fn of_entry(
    walk: &Walk<'_>,
    used: &[(usize, Vec<Used>)],
    entry: &Entry<'_>,
    readers: &[(usize, &Used)],
    numbered: &FxHashMap<i64, Arc<str>>,
) -> Option<Printed> {
    let at = entry.unit.evidence(entry.at)?;
    let message = format!("`{}` is entry {} of `{}`, counted from 0", entry.text, entry.number, entry.table);
    let mut causes = vec![cause(0, entry.unit, entry.at, message)];
    for (function, it) in readers.iter().take(MOST) {
        let (unit, function) = walk.functions.get(*function);
        let message = format!("`{}` in `{}` takes an entry of the table", it.quoted, function.name);
        causes.push(Cause { role: Role::Reader, ..cause(1, unit, it.at, message) });
    }
    if let Some(name) = numbered.get(&entry.number) {
        let mut count = 0;
        for (function, own) in used {
            let (unit, function) = walk.functions.get(*function);
            for it in own {
                if it.what != What::Constant(name.clone(), entry.number) {
                    continue;
                }
                count += 1;
                if count > MOST {
                    continue;
                }
                let message =
                    format!("`{}` in `{}` gives its number, `{name}` = {}", it.quoted, function.name, entry.number);
                causes.push(Cause { role: Role::Number, ..cause(2, unit, it.at, message) });
                causes.extend(conditions(3, unit, &it.guards));
            }
        }
        if count > MOST {
            causes.push(cause(
                2,
                entry.unit,
                entry.at,
                format!("{count} places give its number; {MOST} of them are told"),
            ));
        }
    } else {
        for (function, own) in used {
            let (unit, function) = walk.functions.get(*function);
            let returns =
                own.iter().filter(|it| it.what == What::Number(entry.number) && it.quoted.starts_with("return"));
            for it in returns.take(MOST) {
                let message = format!("`{}` in `{}` may give its number", it.quoted, function.name);
                causes.push(Cause { role: Role::Number, ..cause(2, unit, it.at, message) });
                causes.extend(conditions(3, unit, &it.guards));
            }
        }
    }
    let advice = advice::of(&entry.text);
    Some(Printed { text: entry.text.clone(), at, causes, advice })
}

/// The constants that number a table of so many entries: of those that functions use, the ones of the enum, or of the row of macros that
/// stand behind each other and count by one, in which most of them are.
fn numbered(walk: &Walk<'_>, used: &[(usize, Vec<Used>)], entries: usize) -> FxHashMap<i64, Arc<str>> {
    let is_used = |name: &str| {
        used.iter().flat_map(|it| &it.1).any(|it| matches!(&it.what, What::Constant(own, _) if **own == *name))
    };
    let mut best: (usize, FxHashMap<i64, Arc<str>>) = Default::default();
    let mut take = |row: &[(Arc<str>, i64)]| {
        let fits = row.len() >= LEAST_NAMED.min(entries) && row.iter().all(|it| (0..=entries as i64).contains(&it.1));
        let count = row.iter().filter(|it| is_used(&it.0)).count();
        if fits && count > best.0 {
            best = (count, row.iter().map(|it| (it.1, it.0.clone())).collect());
        }
    };
    for unit in &walk.functions.units {
        for own in &unit.unit.types().enums {
            let row: Vec<_> = own.constants.iter().filter_map(|it| Some((it.name.clone(), it.value?))).collect();
            take(&row);
        }
        let defines: Vec<(Arc<str>, i64)> = unit
            .unit
            .defines()
            .filter(|it| it.parameters.is_none())
            .filter_map(|it| Some((Arc::from(&*it.name), unit.unit.constant(&it.name)?.value)))
            .collect();
        for row in defines.chunk_by(|a, b| b.1 - a.1 == 1) {
            take(row);
        }
    }
    best.1
}
