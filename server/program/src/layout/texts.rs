//! The preprocessor's lines in the walk, and lines that use names which stand for text.

use reveille_source::Span;

use super::Walk;
use crate::expression::{Alone, Value, evaluate_in_c};
use crate::index::Indexed;
use crate::preprocessor::{Directive, Kind, Text, condition, directive, expand, statements, uses_text};
use crate::unit::{DefinitionKind, Place, ProblemKind};

impl Walk<'_> {
    /// A line of the preprocessor.
    pub(super) fn preprocessor(&mut self, place: Place, indexed: &Indexed) {
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let text = indexed.chunk.preprocessor_text(usize::from(place.line));
        let Some(found) = directive(&text) else { return };
        let span = line.comment;
        match found {
            Directive::If(range) => {
                let text = &text[range];
                self.open(|it| it.c_condition(text));
            }
            Directive::Defined(name, expected) => {
                let name = &text[name];
                self.open(|it| Some(it.texts.contains_key(name) == expected));
            }
            Directive::Else => self.turn(place, span, |_| Some(true)),
            Directive::ElseIf(range) => {
                let text = &text[range];
                self.turn(place, span, |it| it.c_condition(text));
            }
            Directive::EndIf => self.close(place, span),
            _ if !self.state.reads() || !self.is_effective => (),
            Directive::Define { name, parameters, body } => {
                self.define_text(place, &text, &text[name], parameters, body)
            }
            Directive::Undefine(name) => {
                self.texts.remove(&text[name]);
            }
            Directive::Error(range) => {
                self.problem(ProblemKind::Stated(text[range].to_owned()), place, span);
            }
            // Whoever walks the chunk reads the file.
            Directive::Include { .. } => (),
        }
    }

    fn define_text(
        &mut self,
        place: Place,
        text: &str,
        name: &str,
        parameters: Option<Vec<String>>,
        body: std::ops::Range<usize>,
    ) {
        let symbol = self.program.names().intern(name);
        let start = text.find(name).unwrap_or(0);
        let span = Span { start: start as u16, end: (start + name.len()) as u16 };
        let own = &text[body.clone()];
        let dialect = self.unit.dialect(self.program, place.file);
        let is_value = parameters.is_none() && !own.is_empty() && !uses_text(own, &self.texts) && {
            let mut alone = Alone::default();
            crate::expression::evaluate(own, 0..own.len(), dialect, &mut alone);
            // A list of registers is none either.
            let mut has_register = false;
            reveille_source::tokens(own, dialect, |kind, _| {
                has_register |= kind == reveille_source::TokenKind::Register;
            });
            alone.problem.is_none() && !has_register && reveille_cpu::mnemonic(own).is_none()
        };
        let kind = if is_value { DefinitionKind::Set } else { DefinitionKind::Text };
        let value = if is_value { self.value_of_text(place, own) } else { Value::Unknown };
        self.define(symbol, kind, place, value, span);
        let text = Text { parameters, body: own.to_owned(), kind: if is_value { Kind::Value } else { Kind::Text } };
        self.texts.insert(name.to_owned(), text);
        self.has_texts |= !is_value;
    }

    /// A name for a register: inside of brackets it is read as its text.
    pub(super) fn define_register(&mut self, place: Place, name: &str) {
        let Some(file) = self.source(place.file) else { return };
        let (chunk, line, text) = file.at(place.chunk, place.line);
        let Some(range) = chunk.operands(line).into_iter().next() else { return };
        let body = text[range].trim().to_owned();
        if reveille_source::register_named(&body, chunk.dialect()).is_some() {
            self.texts.insert(name.to_owned(), Text { parameters: None, body, kind: Kind::Register });
            self.has_texts = true;
        }
    }

    /// The value of a name's text. Its own names may come later.
    fn value_of_text(&mut self, place: Place, text: &str) -> Value {
        let dialect = self.unit.dialect(self.program, place.file);
        let text = expand(text, &self.texts, false);
        self.value_in(&text, dialect)
    }

    fn c_condition(&mut self, text: &str) -> Option<bool> {
        let plain = condition(text, &self.texts, &|name| self.texts.contains_key(name));
        let mut alone = Alone::default();
        let value = evaluate_in_c(&plain, 0..plain.len(), &mut alone);
        value.number().filter(|_| alone.problem.is_none()).map(|it| it != 0)
    }

    /// Reads a line with the texts of its names in it, if it uses some. Gives whether it does.
    pub(super) fn replace(&mut self, place: Place, indexed: &Indexed) -> bool {
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let text = indexed.chunk.line_text(line);
        let end = if line.comment.is_empty() { text.len() } else { usize::from(line.comment.start) };
        let start = indexed.chunk.source_start(line).min(end);
        let source = &text[start..end];
        if !uses_text(source, &self.texts) {
            return false;
        }
        let expanded = statements(&expand(source, &self.texts, false));
        self.unit.replaced.insert(place);
        // A text that a line stands for again and again ends as calls of macros do.
        self.expand(place, indexed, place, &expanded, true, 0);
        true
    }
}
