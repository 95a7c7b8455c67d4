//! The text held against the table of keys: what is left has only keys that are there, each with a value of its kind.

use std::ops::Range;

use toml::de::{DeString, DeTable, DeValue};

use crate::file::ValueText;
use crate::keys::{Choice, Key, Kind, Limits, Presence, Section, listed};
use crate::nearest::nearest;
use crate::number::{Notation, number};
use crate::place::{Fix, Lines, Problem, ProblemKind, Spanned, within};

/// A table of the file with what its section knows of its keys: for hover and completion, too.
#[derive(Clone, Debug)]
pub struct Table {
    /// What it is.
    pub section: &'static Section,
    /// Its heading, or all of it where it is written in one line; the whole text for the file.
    pub span: Range<usize>,
    /// Whether it is written in one line, in brackets, and not below a heading.
    pub is_inline: bool,
    /// Its keys in the order of the text.
    pub entries: Vec<Entry>,
    /// Its tables under names of the reader's own, beside the keys.
    pub others: Vec<(Spanned<String>, Self)>,
}

/// A key of a table with its value.
#[derive(Clone, Debug)]
pub struct Entry {
    /// What the key is.
    pub key: &'static Key,
    /// Where its name is written.
    pub span: Range<usize>,
    /// Its value.
    pub value: Value,
}

/// A value of the kind that its key asks for.
#[derive(Clone, Debug)]
pub enum Value {
    /// A text.
    Text(Spanned<String>),
    /// `true` or `false`.
    Flag(Spanned<bool>),
    /// A number or a size.
    Number(Spanned<i64>),
    /// One of few words.
    Choice(Spanned<&'static str>),
    /// A list of texts.
    Texts(Vec<Spanned<String>>),
    /// Names with numbers.
    Numbers(Vec<(Spanned<String>, Spanned<i64>)>),
    /// Numbers with or without a word.
    Values(Vec<ValueText>),
    /// A table.
    Table(Table),
    /// A list of tables.
    Tables(Vec<Table>),
    /// Tables with names.
    Named(Vec<(Spanned<String>, Table)>),
}

macro_rules! getters {
    ($($(#[$doc:meta])* $name:ident: $variant:ident, $type:ty;)*) => {
        $($(#[$doc])*
        pub(crate) fn $name(&self, key: &str) -> Option<$type> {
            match self.value(key)? {
                Value::$variant(value) => Some(value.clone()),
                _ => None,
            }
        })*
    };
}

impl Table {
    /// The value of a key that is there.
    #[must_use]
    pub fn value(&self, key: &str) -> Option<&Value> {
        self.entries.iter().find(|it| it.key.name == key).map(|it| &it.value)
    }

    /// Calls on itself and all tables in it, outer ones first.
    pub fn visit<'a>(&'a self, call: &mut impl FnMut(&'a Self)) {
        call(self);
        for entry in &self.entries {
            match &entry.value {
                Value::Table(table) => table.visit(call),
                Value::Tables(tables) => tables.iter().for_each(|it| it.visit(call)),
                Value::Named(tables) => tables.iter().for_each(|it| it.1.visit(call)),
                _ => (),
            }
        }
        self.others.iter().for_each(|it| it.1.visit(call));
    }

    getters! {
        text: Text, Spanned<String>;
        flag: Flag, Spanned<bool>;
        number: Number, Spanned<i64>;
        choice: Choice, Spanned<&'static str>;
    }

    /// A number whose limits are those of 32 bits.
    pub(crate) fn number32(&self, key: &str) -> Option<Spanned<u32>> {
        let number = self.number(key)?;
        u32::try_from(number.value).ok().map(|it| number.with(it))
    }

    pub(crate) fn texts(&self, key: &str) -> &[Spanned<String>] {
        if let Some(Value::Texts(texts)) = self.value(key) { texts } else { &[] }
    }

    pub(crate) fn numbers(&self, key: &str) -> &[(Spanned<String>, Spanned<i64>)] {
        if let Some(Value::Numbers(numbers)) = self.value(key) { numbers } else { &[] }
    }

    pub(crate) fn values(&self, key: &str) -> &[ValueText] {
        if let Some(Value::Values(values)) = self.value(key) { values } else { &[] }
    }

    pub(crate) fn table(&self, key: &str) -> Option<&Self> {
        if let Some(Value::Table(table)) = self.value(key) { Some(table) } else { None }
    }

    pub(crate) fn tables(&self, key: &str) -> &[Self] {
        if let Some(Value::Tables(tables)) = self.value(key) { tables } else { &[] }
    }

    pub(crate) fn named(&self, key: &str) -> &[(Spanned<String>, Self)] {
        if let Some(Value::Named(tables)) = self.value(key) { tables } else { &[] }
    }
}

/// Reads a text against the table of keys.
pub(crate) fn parse(text: &str, section: &'static Section) -> (Table, Vec<Problem>) {
    let (root, errors) = DeTable::parse_recoverable(text);
    let mut reader = Reader { text, problems: Vec::new() };
    let table = reader.table(root.get_ref(), 0..text.len(), section);
    if !errors.is_empty() {
        // What was read around a broken line may be broken by it: the line comes first.
        reader.problems.clear();
    }
    reader.syntax(&errors);
    (table, reader.problems)
}

type Written<'a, 'i> = &'a toml::Spanned<DeValue<'i>>;

struct Reader<'t> {
    text: &'t str,
    problems: Vec<Problem>,
}

impl Reader<'_> {
    fn tell(&mut self, kind: ProblemKind, span: Range<usize>, message: String) -> &mut Problem {
        let span = within(self.text, span);
        self.problems.push(Problem { kind, span, message, related: None, fix: None });
        let last = self.problems.len() - 1;
        &mut self.problems[last]
    }

    /// What is no TOML. Behind one such place come others that follow from it, in the same line or the next.
    fn syntax(&mut self, errors: &[toml::de::Error]) {
        let end = self.text.len();
        let mut places: Vec<_> =
            errors.iter().map(|it| (within(self.text, it.span().unwrap_or(end..end)), it)).collect();
        places.sort_by_key(|it| it.0.start);
        let lines = Lines::new(self.text);
        let mut last_line = None;
        for (span, error) in places {
            let line = lines.line(span.start);
            let follows = last_line.is_some_and(|it| line <= it + 1);
            last_line = Some(line);
            if follows {
                continue;
            }
            let has_no_value = span.is_empty() && self.text[..span.start].trim_end_matches([' ', '\t']).ends_with('=');
            let message = if has_no_value {
                "this is no TOML: there is no value behind `=`".to_owned()
            } else {
                format!("this is no TOML: {}", error.message().trim_end().replace('\n', ", "))
            };
            self.tell(ProblemKind::Syntax, span, message);
        }
    }

    fn table(&mut self, table: &DeTable<'_>, span: Range<usize>, section: &'static Section) -> Table {
        let span = within(self.text, span);
        let (mut entries, mut others) = (Vec::new(), Vec::new());
        for (name, value) in sorted(table) {
            let key_span = within(self.text, name.span());
            match section.key(name.get_ref()) {
                Some(key) => {
                    if let Some(value) = self.value(key, value) {
                        entries.push(Entry { key, span: key_span, value });
                    }
                }
                None => match (section.others, value.get_ref()) {
                    (Some(inner), DeValue::Table(table)) => {
                        let inner = self.table(table, value.span(), inner);
                        others.push((self.named(name), inner));
                    }
                    _ => self.unknown_key(name.get_ref(), key_span, section),
                },
            }
        }
        let is_there = |key: &Key| table.keys().any(|it| it.get_ref() == key.name);
        for key in section.keys.iter().filter(|it| it.presence == Presence::Required && !is_there(it)) {
            let add =
                if key.example.is_empty() { key.kind.words() } else { format!("`{} = {}`", key.name, key.example) };
            let message =
                format!("`{}` has no `{}` ({}); add for example {add}", section.header, key.name, key.meaning);
            self.tell(ProblemKind::Missing, span.clone(), message);
        }
        Table { section, is_inline: self.text[span.clone()].starts_with('{'), span, entries, others }
    }

    fn unknown_key(&mut self, name: &str, span: Range<usize>, section: &'static Section) {
        let near = nearest(name, section.keys.iter().map(|it| it.name));
        let hint = match near {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("expected {}", listed(section.keys.iter().map(|it| it.name))),
        };
        let message = format!("`{}` is no key of `{}`; {hint}", short(name), section.header);
        let fix = near.map(|near| Fix { span: span.clone(), text: near.to_owned() });
        self.tell(ProblemKind::UnknownKey, span, message).fix = fix;
    }

    /// A value of another kind than expected.
    fn wrong_kind(&mut self, name: &str, value: Written<'_, '_>, expected: &str, example: &str) {
        let found = match value.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) => "a whole number",
            DeValue::Float(_) => "a number with a fraction",
            DeValue::Boolean(_) => "`true` or `false`",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let example = if example.is_empty() { String::new() } else { format!(", as in `{name} = {example}`") };
        let message = format!("`{name}` is {found}, expected {expected}{example}");
        self.tell(ProblemKind::WrongKind, value.span(), message);
    }

    /// The value, if it is of the key's kind; else a problem.
    fn value(&mut self, key: &'static Key, value: Written<'_, '_>) -> Option<Value> {
        let span = within(self.text, value.span());
        let found = match (&key.kind, value.get_ref()) {
            (Kind::Text, DeValue::String(text)) => Value::Text(self.text_value(key, text, span)?),
            (Kind::Characters, DeValue::String(text)) => Value::Text(self.characters(key, text, span)?),
            (Kind::Flag, DeValue::Boolean(value)) => Value::Flag(Spanned { value: *value, span }),
            (Kind::Number(limits), DeValue::Integer(_) | DeValue::String(_)) => {
                Value::Number(self.number(key, value, Notation::Plain, limits)?)
            }
            (Kind::Size(limits), DeValue::Integer(_) | DeValue::String(_)) => {
                Value::Number(self.number(key, value, Notation::Size, limits)?)
            }
            (Kind::Choice(words), DeValue::String(word)) => Value::Choice(self.choice(key, words, word, span)?),
            (Kind::Choice(words), DeValue::Integer(word)) => {
                Value::Choice(self.choice(key, words, &word.to_string(), span)?)
            }
            (Kind::Choice(words), DeValue::Float(word)) => {
                Value::Choice(self.choice(key, words, word.as_str(), span)?)
            }
            (Kind::Texts, DeValue::Array(list)) => {
                let mut texts = Vec::new();
                for item in list.iter() {
                    match item.get_ref() {
                        DeValue::String(text) => {
                            texts.extend(self.text_value(key, text, within(self.text, item.span())));
                        }
                        _ => self.wrong_kind(key.name, item, "a text in its list", key.example),
                    }
                }
                Value::Texts(texts)
            }
            (Kind::Numbers, DeValue::Table(table)) => Value::Numbers(self.names_with_numbers(key, table)),
            (Kind::Values, DeValue::Array(list)) => {
                let mut values = Vec::new();
                for item in list.iter() {
                    values.extend(self.any_number(key, item).map(|number| ValueText { number, word: None }));
                }
                Value::Values(values)
            }
            (Kind::Values, DeValue::Table(table)) => Value::Values(self.numbers_with_words(key, table)),
            (Kind::Table(section), DeValue::Table(table)) => Value::Table(self.table(table, span, section)),
            (Kind::Tables(section), DeValue::Array(list)) => {
                if list.is_empty() && key.presence == Presence::Required {
                    let message = format!("`{}` is empty, expected at least one table, `{}`", key.name, section.header);
                    self.tell(ProblemKind::WrongValue, span, message);
                    return None;
                }
                let mut tables = Vec::new();
                for item in list.iter() {
                    match item.get_ref() {
                        DeValue::Table(table) => tables.push(self.table(table, item.span(), section)),
                        _ => self.wrong_kind(key.name, item, &format!("tables, `{}`", section.header), ""),
                    }
                }
                Value::Tables(tables)
            }
            (Kind::Named(section), DeValue::Table(table)) => {
                let mut tables = Vec::new();
                for (name, item) in sorted(table) {
                    match item.get_ref() {
                        DeValue::Table(table) => {
                            let inner = self.table(table, item.span(), section);
                            tables.push((self.named(name), inner));
                        }
                        _ => self.wrong_kind(&short(name.get_ref()), item, &key.kind.words(), ""),
                    }
                }
                Value::Named(tables)
            }
            (kind, _) => {
                self.wrong_kind(key.name, value, &kind.words(), key.example);
                return None;
            }
        };
        Some(found)
    }

    fn named(&self, name: &toml::Spanned<DeString<'_>>) -> Spanned<String> {
        Spanned { value: name.get_ref().to_string(), span: within(self.text, name.span()) }
    }

    fn text_value(&mut self, key: &Key, text: &str, span: Range<usize>) -> Option<Spanned<String>> {
        if text.trim().is_empty() || text.contains('\n') {
            let found = if text.trim().is_empty() { "empty" } else { "of several lines" };
            let message = format!(
                "`{}` is {found}, expected a text of one line, as in `{} = {}`",
                key.name, key.name, key.example
            );
            self.tell(ProblemKind::WrongValue, span, message);
            return None;
        }
        Some(Spanned { value: text.to_owned(), span })
    }

    fn characters(&mut self, key: &Key, text: &str, span: Range<usize>) -> Option<Spanned<String>> {
        if text.is_empty() || text.chars().any(|it| u32::from(it) > 0xff) {
            let found = if text.is_empty() { "empty" } else { "of characters that no byte stands for" };
            let message =
                format!("`{}` is {found}, expected characters, as in `{} = {}`", key.name, key.name, key.example);
            self.tell(ProblemKind::WrongValue, span, message);
            return None;
        }
        Some(Spanned { value: text.to_owned(), span })
    }

    fn number(
        &mut self,
        key: &Key,
        value: Written<'_, '_>,
        notation: Notation,
        limits: &Limits,
    ) -> Option<Spanned<i64>> {
        let (written, found) = match value.get_ref() {
            DeValue::Integer(it) => (it.to_string(), i64::from_str_radix(it.as_str(), it.radix()).ok()),
            DeValue::String(it) => (it.to_string(), number(it, notation)),
            _ => return None,
        };
        let span = within(self.text, value.span());
        let Some(number) = found else {
            let how = match notation {
                Notation::Plain if number(&written, Notation::Size).is_some() => {
                    "without `k` or `m`, which are for sizes"
                }
                Notation::Plain => "decimal, or hex as in `$F00001`",
                Notation::Size => "decimal, hex as in `$F00001`, or with `k` or `m` as in `256k`",
            };
            let message = format!("`{}` is `{}`, expected {}: {how}", key.name, short(&written), key.kind.words());
            self.tell(ProblemKind::WrongValue, span, message);
            return None;
        };
        if !(limits.min..=limits.max).contains(&number) {
            let unit = if limits.unit.is_empty() { String::new() } else { format!(" {}", limits.unit) };
            let message =
                format!("`{}` is {}, expected {} to {}{unit}", key.name, short(&written), limits.min, limits.max);
            self.tell(ProblemKind::WrongValue, span, message);
            return None;
        }
        Some(Spanned { value: number, span })
    }

    /// A number that stands in a list or table of a key.
    fn any_number(&mut self, key: &Key, value: Written<'_, '_>) -> Option<Spanned<i64>> {
        let limits = Limits { min: i64::MIN, max: i64::MAX, unit: "" };
        match value.get_ref() {
            DeValue::Integer(_) | DeValue::String(_) => self.number(key, value, Notation::Plain, &limits),
            _ => {
                self.wrong_kind(key.name, value, "a whole number in it", key.example);
                None
            }
        }
    }

    fn choice(
        &mut self,
        key: &Key,
        words: &'static [Choice],
        word: &str,
        span: Range<usize>,
    ) -> Option<Spanned<&'static str>> {
        if let Some(known) = words.iter().find(|it| it.word.eq_ignore_ascii_case(word.trim())) {
            return Some(Spanned { value: known.word, span });
        }
        let near = nearest(word, words.iter().map(|it| it.word));
        let hint = near.map(|it| format!("; did you mean `{it}`?")).unwrap_or_default();
        let message =
            format!("`{}` is `{}`, expected {}{hint}", key.name, short(word), listed(words.iter().map(|it| it.word)));
        // Words that are numbers are often one letter apart, so there the nearest is only a guess.
        let is_number = |it: &str| it.starts_with(|it: char| it.is_ascii_digit());
        let fix = near.filter(|it| !is_number(it)).map(|it| Fix { span: span.clone(), text: format!("\"{it}\"") });
        self.tell(ProblemKind::WrongValue, span, message).fix = fix;
        None
    }

    fn names_with_numbers(&mut self, key: &Key, table: &DeTable<'_>) -> Vec<(Spanned<String>, Spanned<i64>)> {
        let mut found = Vec::new();
        for (name, value) in sorted(table) {
            if let Some(number) = self.any_number(key, value) {
                found.push((self.named(name), number));
            }
        }
        found
    }

    fn numbers_with_words(&mut self, key: &Key, table: &DeTable<'_>) -> Vec<ValueText> {
        let mut found = Vec::new();
        for (name, value) in sorted(table) {
            let span = within(self.text, name.span());
            let Some(number) = number(name.get_ref(), Notation::Plain) else {
                let name = short(name.get_ref());
                let message =
                    format!("`{name}` in `{}` is no number, as in `{} = {}`", key.name, key.name, key.example);
                self.tell(ProblemKind::WrongValue, span, message);
                continue;
            };
            let number = Spanned { value: number, span };
            match value.get_ref() {
                DeValue::String(word) => {
                    let word = self.text_value(key, word, within(self.text, value.span()));
                    found.push(ValueText { number, word });
                }
                _ => self.wrong_kind(&short(name.get_ref()), value, "the word for that number", ""),
            }
        }
        found
    }
}

/// The keys of a table in the order of the text.
fn sorted<'a, 'i>(table: &'a DeTable<'i>) -> Vec<(&'a toml::Spanned<DeString<'i>>, Written<'a, 'i>)> {
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|it| it.0.span().start);
    entries
}

/// What a message quotes: the start of what is long.
pub(crate) fn short(text: &str) -> String {
    const MOST: usize = 40;
    let one_line: String = text.chars().map(|it| if it.is_control() { ' ' } else { it }).collect();
    match one_line.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}...", &one_line[..end]),
        None => one_line,
    }
}
