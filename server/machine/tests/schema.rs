//! The committed schema against the reader: both take and refuse the same.

use reveille_machine::keys::{FILE, Key, Kind, Section};
use reveille_machine::read;
use serde_json::Value;

/// Whether a schema takes a value: of JSON Schema draft-07 those words that the schema uses, and a panic for any other.
fn takes(whole: &Value, schema: &Value, value: &Value) -> bool {
    let schema = schema.as_object().expect("a schema is an object");
    let is_named = |name: &str| schema.get("properties").is_some_and(|it| it.get(name).is_some());
    let patterns = || schema.get("patternProperties").and_then(Value::as_object).into_iter().flatten();
    let is_like = |pattern: &str, text: &str| regex::Regex::new(pattern).expect("a pattern").is_match(text);
    schema.iter().all(|(word, rule)| match word.as_str() {
        "$schema" | "$comment" | "title" | "description" | "examples" | "default" | "definitions" => true,
        "$ref" => {
            let path = rule.as_str().and_then(|it| it.strip_prefix('#')).expect("a reference into the schema");
            takes(whole, whole.pointer(path).expect("what is referred to is there"), value)
        }
        "type" => match rule.as_str().expect("one type") {
            "object" => value.is_object(),
            "array" => value.is_array(),
            "string" => value.is_string(),
            "boolean" => value.is_boolean(),
            "integer" => value.is_i64(),
            other => panic!("no such type: {other}"),
        },
        "enum" => rule.as_array().expect("a list").contains(value),
        "anyOf" => rule.as_array().expect("a list").iter().any(|it| takes(whole, it, value)),
        "allOf" => rule.as_array().expect("a list").iter().all(|it| takes(whole, it, value)),
        "pattern" => value.as_str().is_none_or(|it| is_like(rule.as_str().expect("a text"), it)),
        "minimum" => value.as_i64().is_none_or(|it| it >= rule.as_i64().expect("a number")),
        "maximum" => value.as_i64().is_none_or(|it| it <= rule.as_i64().expect("a number")),
        "minItems" => value.as_array().is_none_or(|it| it.len() as u64 >= rule.as_u64().expect("a number")),
        "items" => value.as_array().is_none_or(|it| it.iter().all(|it| takes(whole, rule, it))),
        "required" => value.as_object().is_none_or(|it| {
            rule.as_array().expect("a list").iter().all(|key| it.contains_key(key.as_str().expect("a name")))
        }),
        "properties" => value.as_object().is_none_or(|it| {
            it.iter().all(|(name, value)| rule.get(name).is_none_or(|rule| takes(whole, rule, value)))
        }),
        "patternProperties" => value.as_object().is_none_or(|it| {
            it.iter().all(|(name, value)| {
                patterns().all(|(pattern, rule)| !is_like(pattern, name) || takes(whole, rule, value))
            })
        }),
        "additionalProperties" => value.as_object().is_none_or(|it| {
            let others =
                it.iter().filter(|it| !is_named(it.0) && !patterns().any(|(pattern, _)| is_like(pattern, it.0)));
            others.into_iter().all(|it| match rule {
                Value::Bool(is_allowed) => *is_allowed,
                rule => takes(whole, rule, it.1),
            })
        }),
        other => panic!("the schema uses `{other}`, which this test does not know"),
    })
}

fn schema() -> Value {
    serde_json::from_str(include_str!("../reveille.schema.json")).expect("the schema is JSON")
}

/// Whether the schema takes a file, and whether the reader does.
fn both(text: &str) -> (bool, bool) {
    let schema = schema();
    let value: Value = toml::from_str(text).unwrap_or_else(|error| panic!("{error}: {text}"));
    (takes(&schema, &schema, &value), read(text).problems.is_empty())
}

/// A file with all that has to be there around a key, and the key with a value.
fn around(section: &Section, key: &Key, value: &str) -> String {
    let header = section.header.replace("NAME", "skerry").replace("VERB", "dump");
    let mut text = String::new();
    if section.header == "[[block.fields]]" {
        text.push_str("[[block]]\nname = \"b\"\n");
    }
    if section.header.contains("VERB") {
        text.push_str("[machine.skerry.monitor]\nprompt = '> $'\n");
    }
    text.push_str(&format!("{header}\n{} = {value}\n", key.name));
    for other in section.keys.iter().filter(|it| it.presence == reveille_machine::keys::Presence::Required) {
        if other.name != key.name {
            let example = if other.name == "fields" { "[{ name = \"f\", bytes = 1 }]" } else { other.example };
            text.push_str(&format!("{} = {example}\n", other.name));
        }
    }
    text
}

fn sections() -> Vec<&'static Section> {
    let mut all = vec![&FILE];
    let mut at = 0;
    while at < all.len() {
        for key in all[at].keys {
            if let Kind::Table(inner) | Kind::Tables(inner) | Kind::Named(inner) = &key.kind {
                all.push(inner);
            }
        }
        all.extend(all[at].others);
        at += 1;
    }
    all
}

#[test]
fn the_schema_takes_what_the_reader_takes_and_refuses_what_it_refuses() {
    let mut count = 0;
    for section in sections().into_iter().skip(1) {
        for key in section.keys.iter().filter(|it| !it.example.is_empty()) {
            let is_same = |value: &str, expected: bool| {
                let text = around(section, key, value);
                assert_eq!(both(&text), (expected, expected), "{text}");
            };
            is_same(key.example, true);
            if let reveille_machine::keys::Presence::Default(value) = key.presence {
                is_same(value, true);
            }
            // Of a wrong kind, whatever the kind.
            is_same("1.25", false);
            match &key.kind {
                Kind::Choice(_) => is_same("\"none of the words\"", false),
                Kind::Number(limits) if limits.min == 0 && limits.max == i64::from(u32::MAX) => {
                    for (value, is_right) in [
                        ("\"$FC_0000\"", true),
                        ("\"0x10\"", true),
                        ("\"%1010\"", true),
                        ("\" 12\"", true),
                        ("0", true),
                    ] {
                        is_same(value, is_right);
                    }
                    for value in ["\"256k\"", "\"$\"", "\"1_\"", "\"-1\"", "-1", "4_294_967_296"] {
                        is_same(value, false);
                    }
                }
                Kind::Size(_) => {
                    is_same("\"256k\"", true);
                    is_same("\"1 M\"", true);
                    is_same("\"$1k\"", false);
                    is_same("0", false);
                }
                Kind::Texts => {
                    is_same("[1]", false);
                    is_same("[\" \"]", false);
                    is_same("\"a text\"", false);
                }
                Kind::Values => {
                    is_same("[1, \"$2\"]", true);
                    is_same("{ one = \"1\" }", false);
                    is_same("{ 1 = 1 }", false);
                }
                Kind::Numbers => is_same("{ A = \"$FC0000\", B = -1 }", true),
                _ => (),
            }
            count += 1;
        }
        let header = section.header.replace("NAME", "skerry").replace("VERB", "dump");
        let text = format!("{header}\nno_such_key = 1\n");
        assert_eq!(both(&text), (false, false), "{text}");
    }
    assert!(count > 45, "{count}");
    assert_eq!(both(""), (true, true));
    assert_eq!(both("nothing = 1\n"), (false, false));
    assert_eq!(both("[[block]]\nname = \"b\"\nfields = []\n"), (false, false));
    assert_eq!(both("machine = 1\n"), (false, false));
}

#[test]
fn every_key_of_the_schema_says_what_it_is() {
    let schema = schema();
    let told = |table: &Value| {
        let keys = table["properties"].as_object().expect("keys");
        assert!(!keys.is_empty() && keys.values().all(|it| it["description"].is_string()), "{table}");
        keys.len()
    };
    let tables = schema["definitions"].as_object().expect("tables").values();
    let count: usize = tables.map(told).sum::<usize>() + told(&schema);
    assert_eq!(count, sections().iter().map(|it| it.keys.len()).sum::<usize>());
}
