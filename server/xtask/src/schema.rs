//! The schema of the machine file, made from its table of keys: JSON Schema draft-07, which tools for TOML read most widely.

use anyhow::{Context, Result};
use reveille_machine::keys::{Choice, FILE, Key, Kind, Limits, Presence, Section};
use serde_json::{Map, Value, json};

use crate::docs::capital;

/// Decimal digits with `_` between them.
const DECIMAL: &str = "[0-9](?:[0-9_]*[0-9])?";
/// Digits behind `$`, `0x`, `%` or `0b`.
const PREFIXED: &str = "(?:\\$|0[xX])[0-9A-Fa-f](?:[0-9A-Fa-f_]*[0-9A-Fa-f])?|(?:%|0[bB])[01](?:[01_]*[01])?";

/// The schema, as it is committed.
pub(crate) fn schema() -> Result<String> {
    let mut definitions = Map::new();
    let file = table(&FILE, &mut definitions)?;
    let mut schema = Map::new();
    schema.insert("$schema".into(), json!("http://json-schema.org/draft-07/schema#"));
    schema.insert(
        "$comment".into(),
        json!("Made by `cargo run -p xtask -- docs` from the table of keys. Change that, not this file."),
    );
    schema.extend(file);
    schema.insert("definitions".into(), Value::Object(definitions));
    let text = serde_json::to_string_pretty(&schema).context("the schema cannot be written")?;
    Ok(text + "\n")
}

/// What a table takes; the tables in it become definitions.
fn table(section: &Section, definitions: &mut Map<String, Value>) -> Result<Map<String, Value>> {
    let mut properties = Map::new();
    for key in section.keys {
        properties.insert(key.name.to_owned(), property(key, definitions)?);
    }
    let required: Vec<&str> =
        section.keys.iter().filter(|it| it.presence == Presence::Required).map(|it| it.name).collect();
    let mut schema = Map::new();
    schema.insert("type".into(), json!("object"));
    schema.insert("title".into(), json!(section.header));
    schema.insert("description".into(), json!(capital(section.title)));
    schema.insert("properties".into(), Value::Object(properties));
    let others = section.others.map(|it| reference(it, definitions)).transpose()?;
    schema.insert("additionalProperties".into(), others.unwrap_or(json!(false)));
    if !required.is_empty() {
        schema.insert("required".into(), json!(required));
    }
    Ok(schema)
}

/// A reference to a table's definition, which is made if it is not there yet.
fn reference(section: &Section, definitions: &mut Map<String, Value>) -> Result<Value> {
    let inner = section.header.trim_matches(['[', ']']);
    let name = inner.split('.').rfind(|it| *it != "NAME").unwrap_or(inner).to_lowercase();
    let name = name.as_str();
    if !definitions.contains_key(name) {
        let table = table(section, definitions)?;
        definitions.insert(name.to_owned(), Value::Object(table));
    }
    Ok(json!({ "$ref": format!("#/definitions/{name}") }))
}

fn property(key: &Key, definitions: &mut Map<String, Value>) -> Result<Value> {
    let mut schema = match &key.kind {
        Kind::Text => text(),
        // Characters of one byte each.
        Kind::Characters => json!({ "type": "string", "pattern": "^[\\u0000-\\u00FF]+$" }),
        Kind::Flag => json!({ "type": "boolean" }),
        Kind::Number(limits) => number(limits, false),
        Kind::Size(limits) => number(limits, true),
        Kind::Choice(words) => choice(words),
        Kind::Texts => json!({ "type": "array", "items": text() }),
        Kind::Numbers => json!({ "type": "object", "additionalProperties": any_number() }),
        Kind::Values => json!({ "anyOf": [
            { "type": "array", "items": any_number() },
            {
                "type": "object",
                "patternProperties": { (format!("^\\s*-?(?:{DECIMAL}|{PREFIXED})\\s*$")): text() },
                "additionalProperties": false,
            },
        ] }),
        Kind::Table(section) => json!({ "allOf": [reference(section, definitions)?] }),
        Kind::Tables(section) => {
            let mut list = json!({ "type": "array", "items": reference(section, definitions)? });
            if key.presence == Presence::Required {
                list["minItems"] = json!(1);
            }
            list
        }
        Kind::Named(section) => {
            json!({ "type": "object", "additionalProperties": reference(section, definitions)? })
        }
    };
    let Some(own) = schema.as_object_mut() else { return Ok(schema) };
    let mut meaning = capital(key.meaning);
    if let Kind::Choice(words) = key.kind {
        let words: Vec<String> = words.iter().map(|it| format!("{}: {}", it.word, it.meaning)).collect();
        meaning = format!("{meaning}. {}", words.join("; "));
    }
    if let Kind::Number(limits) | Kind::Size(limits) = key.kind
        && !limits.unit.is_empty()
    {
        meaning = format!("{meaning} ({})", limits.unit);
    }
    own.insert("description".into(), json!(meaning));
    if !key.example.is_empty() {
        own.insert("examples".into(), json!([value(key.example)?]));
    }
    if let Presence::Default(default) = key.presence {
        own.insert("default".into(), value(default)?);
    }
    Ok(schema)
}

/// A text of one line that is not empty.
fn text() -> Value {
    json!({ "type": "string", "pattern": "^[^\\n]*\\S[^\\n]*$" })
}

fn any_number() -> Value {
    number(&Limits { min: i64::MIN, max: i64::MAX, unit: "" }, false)
}

/// A number, or a text for one; of such a text the schema checks the form, and the program the value.
fn number(limits: &Limits, is_size: bool) -> Value {
    let mut whole = json!({ "type": "integer" });
    if limits.min != i64::MIN {
        whole["minimum"] = json!(limits.min);
    }
    if limits.max != i64::MAX {
        whole["maximum"] = json!(limits.max);
    }
    let sign = if limits.min < 0 { "-?" } else { "" };
    let factor = if is_size { "(?:\\s*[kKmM])?" } else { "" };
    let pattern = format!("^\\s*{sign}(?:{DECIMAL}{factor}|{PREFIXED})\\s*$");
    json!({ "anyOf": [whole, { "type": "string", "pattern": pattern }] })
}

/// The words; those that are numbers may be written as such.
fn choice(words: &[Choice]) -> Value {
    let texts = words.iter().map(|it| json!(it.word));
    let whole = words.iter().filter_map(|it| it.word.parse::<i64>().ok()).map(|it| json!(it));
    let parts = words.iter().filter(|it| it.word.contains('.'));
    let parts = parts.filter_map(|it| it.word.parse::<f64>().ok()).map(|it| json!(it));
    json!({ "enum": texts.chain(whole).chain(parts).collect::<Vec<_>>() })
}

/// A value as it is written in the file.
fn value(written: &str) -> Result<Value> {
    let text = format!("value = {written}");
    let table: Map<String, Value> = toml::from_str(&text).with_context(|| format!("`{written}` is no TOML"))?;
    table.get("value").cloned().context("the value is there")
}
