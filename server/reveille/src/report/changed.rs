//! What two revisions of a firmware say differently: in facts, not in lines.

use std::collections::BTreeMap;
use std::io::Write;

use reveille_facts::Model;
use serde_json::{Value, json};

use super::json::facts;

/// What says where something stands, or follows from that, and is no fact of the machine: other lines move it.
const PLACES: &[&str] = &["at", "address", "offset", "evidence"];
/// The same, in facts of a kind.
const PLACES_OF_KIND: &[(&str, &[&str])] =
    &[("memory-region", &["reads", "writes"]), ("vectors", &["value"]), ("line-setting", &["writes"])];
/// By which of their keys objects of a list belong together.
const NAMES: &[&str] = &["name", "number", "words", "title"];

/// One difference.
struct Change {
    kind: String,
    subject: String,
    /// What of it: empty for all of it.
    key: String,
    old: Option<Value>,
    new: Option<Value>,
}

/// Facts by kind and subject; those that share both are counted.
fn by_subject(model: &Model) -> BTreeMap<(String, String, usize), Value> {
    let mut found = BTreeMap::new();
    for (kind, subject, value) in facts(model) {
        let mut number = 0;
        while found.contains_key(&(kind.clone(), subject.clone(), number)) {
            number += 1;
        }
        let value = without_places(&kind, value);
        found.insert((kind, subject, number), value);
    }
    found
}

fn without_places(kind: &str, value: Value) -> Value {
    let of_kind = PLACES_OF_KIND.iter().find(|it| it.0 == kind).map_or(&[][..], |it| it.1);
    match value {
        Value::Object(map) => {
            let kept =
                map.into_iter().filter(|it| !PLACES.contains(&it.0.as_str()) && !of_kind.contains(&it.0.as_str()));
            Value::Object(kept.map(|(key, value)| (key, without_places(kind, value))).collect())
        }
        Value::Array(list) => Value::Array(list.into_iter().map(|it| without_places(kind, it)).collect()),
        other => other,
    }
}

fn changes(old: &Model, new: &Model) -> Vec<Change> {
    let (old, mut new) = (by_subject(old), by_subject(new));
    let mut found = Vec::new();
    for ((kind, subject, number), before) in old {
        let place = |key: String, old, new| Change { kind: kind.clone(), subject: subject.clone(), key, old, new };
        match new.remove(&(kind.clone(), subject.clone(), number)) {
            Some(after) => differ("", &before, &after, &mut |key, old, new| found.push(place(key, old, new))),
            None => found.push(place(String::new(), Some(before), None)),
        }
    }
    for ((kind, subject, _), after) in new {
        found.push(Change { kind, subject, key: String::new(), old: None, new: Some(after) });
    }
    found.sort_by(|a, b| (&a.kind, &a.subject, &a.key).cmp(&(&b.kind, &b.subject, &b.key)));
    found
}

/// Tells each difference between two values by its key.
fn differ(key: &str, old: &Value, new: &Value, tell: &mut dyn FnMut(String, Option<Value>, Option<Value>)) {
    let below = |name: &str| if key.is_empty() { name.to_owned() } else { format!("{key}.{name}") };
    match (old, new) {
        _ if old == new => (),
        (Value::Object(before), Value::Object(after)) => {
            for (name, value) in before {
                match after.get(name) {
                    Some(own) => differ(&below(name), value, own, tell),
                    None => tell(below(name), Some(value.clone()), None),
                }
            }
            for (name, value) in after.iter().filter(|it| !before.contains_key(it.0)) {
                tell(below(name), None, Some(value.clone()));
            }
        }
        (Value::Array(before), Value::Array(after)) if is_named(before) && is_named(after) => {
            let mut rest: Vec<&Value> = after.iter().collect();
            for value in before {
                let name = name_of(value).unwrap_or_default();
                match rest.iter().position(|it| name_of(it).as_deref() == Some(&name)) {
                    Some(at) => differ(&format!("{key}[{name}]"), value, rest.remove(at), tell),
                    None => tell(format!("{key}[{name}]"), Some(value.clone()), None),
                }
            }
            for value in rest {
                tell(format!("{key}[{}]", name_of(value).unwrap_or_default()), None, Some(value.clone()));
            }
        }
        _ => tell(key.to_owned(), Some(old.clone()), Some(new.clone())),
    }
}

fn is_named(list: &[Value]) -> bool {
    list.iter().all(|it| name_of(it).is_some())
}

fn name_of(value: &Value) -> Option<String> {
    NAMES.iter().find_map(|name| match value.get(name)? {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    })
}

/// A value in a line; of a thing with parts its words or its name.
fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Object(_) => name_of(value).unwrap_or_else(|| value.to_string()),
        other => other.to_string(),
    }
}

/// Writes what differs, as Markdown.
pub(crate) fn changed_markdown(old: &Model, new: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let all = changes(old, new);
    writeln!(out, "# What the two revisions say differently\n")?;
    if all.is_empty() {
        writeln!(out, "Nothing: all facts are the same.")?;
        return Ok(());
    }
    let mut last = "";
    for change in &all {
        if change.kind != last {
            let before = if last.is_empty() { "" } else { "\n" };
            writeln!(out, "{before}## {}\n", change.kind.replace('-', " "))?;
            last = &change.kind;
        }
        let subject = change.subject.replace('`', "'");
        let key = if change.key.is_empty() { String::new() } else { format!(", {}", change.key) };
        match (&change.old, &change.new) {
            (Some(_), None) if change.key.is_empty() => writeln!(out, "- `{subject}`: only in the old one")?,
            (None, Some(_)) if change.key.is_empty() => writeln!(out, "- `{subject}`: only in the new one")?,
            (Some(old), None) => writeln!(out, "- `{subject}`{key}: gone, it was {}", shown(old))?,
            (None, Some(new)) => writeln!(out, "- `{subject}`{key}: new, {}", shown(new))?,
            (Some(old), Some(new)) => writeln!(out, "- `{subject}`{key}: {} -> {}", shown(old), shown(new))?,
            (None, None) => (),
        }
    }
    Ok(())
}

/// Writes what differs, one object a line.
pub(crate) fn changed_json(old: &Model, new: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    for change in changes(old, new) {
        let own = json!({
            "kind": change.kind, "subject": change.subject, "key": change.key, "old": change.old, "new": change.new,
        });
        writeln!(out, "{own}")?;
    }
    Ok(())
}
