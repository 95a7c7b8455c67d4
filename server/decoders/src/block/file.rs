//! Layouts as files have them: the built-in ones, and those that a machine file describes in the same form.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use serde::Deserialize;

use super::{Endian, Field, FieldKind, Layout, Rows};
use crate::{Formula, FormulaError};

/// A worked example of a layout.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Example {
    /// The bytes in hex.
    pub bytes: String,
    /// Values of fields.
    pub values: BTreeMap<String, i64>,
    /// Where it is from.
    pub source: String,
}

/// The values that a field has: numbers, or numbers with what they mean.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged)]
pub enum ValuesText {
    /// Numbers.
    Numbers(Vec<i64>),
    /// What each number means; TOML writes the numbers as keys.
    Words(BTreeMap<String, String>),
}

/// A field as a file has it. See [`Field`] for what each key means.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[allow(missing_docs, reason = "the keys are those of `Field`")]
pub struct FieldText {
    pub name: String,
    pub bytes: usize,
    pub meaning: String,
    pub kind: FieldKind,
    pub unit: Option<String>,
    pub min: Option<i64>,
    pub max: Option<i64>,
    pub values: Option<ValuesText>,
    pub power_of_two: bool,
    pub must: Option<i64>,
    pub core: bool,
}

/// A layout as a file has it. See [`Layout`] for what each key means.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs, reason = "the keys are those of `Layout`")]
pub struct LayoutText {
    pub name: String,
    #[serde(default)]
    pub also: Vec<String>,
    pub title: String,
    pub family: String,
    pub endian: Endian,
    pub alignment: u32,
    pub source: String,
    /// The layout whose fields it starts with.
    pub extends: Option<String>,
    pub shape: Option<String>,
    pub near: Option<String>,
    #[serde(default)]
    pub words: Vec<String>,
    #[serde(default)]
    pub needs_words: bool,
    pub rows: Option<Rows>,
    #[serde(default)]
    pub labels: Vec<String>,
    pub entries: Option<usize>,
    #[serde(default)]
    pub rules: Vec<String>,
    #[serde(rename = "field")]
    pub fields: Vec<FieldText>,
    #[serde(default, rename = "example")]
    pub examples: Vec<Example>,
}

/// What is wrong with a layout, and in which part of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LayoutError {
    /// A field, by its place.
    Field(usize, String),
    /// A rule, by its place.
    Rule(usize, FormulaError),
    /// A formula of its shape.
    Shape(FormulaError),
}

/// The most bytes of a number.
const MOST_NUMBER_BYTES: usize = 4;

/// The most bytes of a field.
const MOST_FIELD_BYTES: usize = 1024;

impl Layout {
    /// A layout from its text; `base` are the layouts that it may extend.
    ///
    /// # Errors
    /// Each field, rule or formula that cannot be what it says.
    pub fn new(text: LayoutText, base: &[Arc<Layout>]) -> Result<Self, Vec<LayoutError>> {
        let mut errors = Vec::new();
        let extended = text.extends.as_ref().and_then(|name| base.iter().find(|it| it.name == *name));
        let mut fields: Vec<Field> = extended.map_or(Vec::new(), |it| it.fields.clone());
        let mut offset = fields.iter().map(|it| it.bytes).sum();
        if text.fields.is_empty() {
            errors.push(LayoutError::Field(0, "a block has one field at least".to_owned()));
        }
        for (at, own) in text.fields.into_iter().enumerate() {
            let most = if own.kind == FieldKind::Text { MOST_FIELD_BYTES } else { MOST_NUMBER_BYTES };
            if !(1..=most).contains(&own.bytes) {
                errors.push(LayoutError::Field(
                    at,
                    format!("`{}` has {} bytes; such a field has 1 to {most}", own.name, own.bytes),
                ));
            }
            if fields.iter().any(|it| it.name == own.name) {
                errors.push(LayoutError::Field(at, format!("there are two fields `{}`", own.name)));
            }
            match field(own, offset) {
                Ok(field) => {
                    offset += field.bytes;
                    fields.push(field);
                }
                Err(message) => errors.push(LayoutError::Field(at, message)),
            }
        }
        let known =
            |formula: Formula| match formula.names().iter().find(|name| !fields.iter().any(|it| it.name == **name)) {
                Some(name) => {
                    let at = formula.text().find(name).unwrap_or(0);
                    Err(FormulaError { at, message: format!("there is no field `{name}`") })
                }
                None => Ok(formula),
            };
        let mut rules = Vec::new();
        for (at, rule) in text.rules.iter().enumerate() {
            match Formula::new(rule).and_then(known) {
                Ok(rule) => rules.push(rule),
                Err(error) => errors.push(LayoutError::Rule(at, error)),
            }
        }
        let mut formula = |text: Option<String>| {
            let read = text.map(|it| Formula::new(&it).and_then(known)).transpose();
            read.map_err(|error| errors.push(LayoutError::Shape(error))).unwrap_or_default()
        };
        let (shape, near) = (formula(text.shape), formula(text.near));
        if !errors.is_empty() {
            return Err(errors);
        }
        Ok(Self {
            name: text.name,
            also: text.also,
            title: text.title,
            family: text.family,
            endian: text.endian,
            alignment: text.alignment,
            source: text.source,
            shape,
            near,
            words: text.words,
            needs_words: text.needs_words,
            fields,
            rows: text.rows,
            labels: text.labels,
            entries: text.entries,
            rules,
            examples: text.examples,
        })
    }
}

fn field(text: FieldText, offset: usize) -> Result<Field, String> {
    let (values, words) = match text.values {
        None => (None, Vec::new()),
        Some(ValuesText::Numbers(values)) => (Some(values), Vec::new()),
        Some(ValuesText::Words(words)) => {
            let mut read = Vec::new();
            for (key, word) in words {
                let Ok(value) = key.parse::<i64>() else {
                    return Err(format!("`{key}` is no number; values are `1 = \"one\"`"));
                };
                read.push((value, word));
            }
            read.sort();
            (Some(read.iter().map(|it| it.0).collect()), read)
        }
    };
    let meaning = if text.meaning.is_empty() { text.name.replace(['_', '-'], " ") } else { text.meaning };
    Ok(Field {
        name: text.name,
        bytes: text.bytes,
        meaning,
        kind: text.kind,
        unit: text.unit,
        min: text.min,
        max: text.max,
        values,
        words,
        power_of_two: text.power_of_two,
        must: text.must,
        core: text.core,
        offset,
        list: None,
    })
}

/// The layouts, shortest of each family first. One file each: adding one is adding its file here, and its examples are its test.
const FILES: &[&str] = &[
    include_str!("../../blocks/fat-block-13.toml"),
    include_str!("../../blocks/fat-block-19.toml"),
    include_str!("../../blocks/fat-block-25.toml"),
    include_str!("../../blocks/fat-block-51.toml"),
    include_str!("../../blocks/boot-sector-11.toml"),
    include_str!("../../blocks/word-block-18.toml"),
    include_str!("../../blocks/cpm-block-15.toml"),
    include_str!("../../blocks/cpm-block-16.toml"),
    include_str!("../../blocks/cpm-block-17.toml"),
    include_str!("../../blocks/drive-bytes-4.toml"),
    include_str!("../../blocks/drive-words-8.toml"),
    include_str!("../../blocks/controller-format-6.toml"),
    include_str!("../../blocks/controller-read-9.toml"),
    include_str!("../../blocks/controller-specify-3.toml"),
    include_str!("../../blocks/sector-order.toml"),
    include_str!("../../blocks/sector-order-words.toml"),
    include_str!("../../blocks/track-recipe.toml"),
];

static LAYOUTS: LazyLock<Vec<Arc<Layout>>> = LazyLock::new(|| {
    let mut layouts: Vec<Arc<Layout>> = Vec::new();
    for text in FILES {
        // The files are part of the program; the tests read each.
        let text: LayoutText = toml::from_str(text).unwrap_or_else(|error| panic!("{error}"));
        let name = text.name.clone();
        let layout = Layout::new(text, &layouts).unwrap_or_else(|errors| panic!("{name}: {errors:?}"));
        layouts.push(Arc::new(layout));
    }
    layouts
});

/// All layouts.
#[must_use]
pub fn layouts() -> &'static [Arc<Layout>] {
    &LAYOUTS
}

/// A layout by its name.
#[must_use]
pub fn layout(name: &str) -> Option<&'static Arc<Layout>> {
    LAYOUTS.iter().find(|it| it.is_called(name))
}
