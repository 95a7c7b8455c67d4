//! What can be written at a place of C: the names in scope.

use std::ops::Range;

use reveille_program::DefinitionKind;
use rustc_hash::FxHashSet;

use super::hover::locals;
use super::words::type_words;
use super::{Shared, View};
use crate::completion::{Completion, CompletionKind, MOST};

/// The names that can be written at a byte, the nearest first; and whether there are more.
pub(crate) fn completions(view: &View<'_>, byte: usize) -> (Vec<Completion>, bool) {
    let text = view.file.source().text();
    let before = text.get(..byte).unwrap_or(&text);
    let typed = before.trim_end_matches(|it: char| it.is_ascii_alphanumeric() || it == '_').len();
    let prefix = &before[typed..];
    if prefix.starts_with(|it: char| it.is_ascii_digit()) {
        return (Vec::new(), false);
    }
    let mut found = Names { range: typed..byte, prefix, seen: FxHashSet::default(), all: Vec::new() };
    let unit = &view.own.unit;
    if before[..typed].ends_with('.') || before[..typed].ends_with("->") {
        for it in unit.types().records.iter().flat_map(|it| &it.fields) {
            found.add(&it.name, CompletionKind::Field, type_words(unit, &it.ty));
        }
        return found.finish();
    }
    if let Some(function) = view.function_at(byte) {
        for it in function.parameters.iter().chain(locals(function)) {
            found.add(&it.name, CompletionKind::Bound, type_words(unit, &it.ty));
        }
    }
    for it in unit.functions() {
        found.add(&it.name, CompletionKind::Label, format!("function that returns {}", type_words(unit, &it.result)));
    }
    for it in unit.objects() {
        found.add(&it.name, CompletionKind::Bound, type_words(unit, &it.ty));
    }
    for it in unit.defines().filter(|it| !it.undefined) {
        let kind = if it.parameters.is_none() { CompletionKind::Constant } else { CompletionKind::Macro };
        found.add(&it.name, kind, it.body.clone());
    }
    for it in unit.types().enums.iter().flat_map(|it| &it.constants) {
        found.add(&it.name, CompletionKind::Constant, it.value.map_or_else(String::new, |it| it.to_string()));
    }
    for it in &unit.types().typedefs {
        found.add(&it.name, CompletionKind::Layout, type_words(unit, &it.ty));
    }
    let near = Shared::named(view.model, view.file.id(), "");
    for own in near.c_units() {
        for it in own.unit.functions().iter().filter(|it| !it.is_static) {
            found.add(&it.name, CompletionKind::Label, "function of another module".to_owned());
        }
    }
    let names = view.model.program().names();
    for unit in near.units() {
        let labels = unit.definitions().iter().filter(|it| it.kind == DefinitionKind::Label && !it.symbol.is_local());
        for it in labels {
            let name = names.text(it.symbol);
            if let Some(own) = view.model.convention().c(&name).filter(|it| is_name(it)) {
                found.add(own, CompletionKind::Label, format!("`{name}` of the assembly"));
            }
        }
    }
    found.finish()
}

/// Whether a text has the form of a name of C.
pub(super) fn is_name(text: &str) -> bool {
    let is_letter = |it: u8| it.is_ascii_alphabetic() || it == b'_';
    text.bytes().next().is_some_and(is_letter) && text.bytes().all(|it| is_letter(it) || it.is_ascii_digit())
}

struct Names<'t> {
    range: Range<usize>,
    prefix: &'t str,
    seen: FxHashSet<String>,
    all: Vec<Completion>,
}

impl Names<'_> {
    fn add(&mut self, name: &str, kind: CompletionKind, detail: String) {
        let fits = name.get(..self.prefix.len()).is_some_and(|it| it.eq_ignore_ascii_case(self.prefix));
        if fits && !name.is_empty() && self.seen.insert(name.to_owned()) {
            self.all.push(Completion::plain(name.to_owned(), kind, detail, self.range.clone()));
        }
    }

    fn finish(mut self) -> (Vec<Completion>, bool) {
        let is_more = self.all.len() > MOST;
        self.all.truncate(MOST);
        (self.all, is_more)
    }
}
