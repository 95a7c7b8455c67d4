//! Monitor-session scripts in an editor: what stands at a place of one, and everything that is asked about it.

mod complete;
mod format;
mod hover;
mod lines;
mod outline;
mod places;
mod rename;
mod tokens;

use std::ops::Range;
use std::sync::Arc;

use reveille_facts::{Evidence, Model, SessionFact, StepFact, is_session};
use reveille_program::{Definition, DefinitionKind, FileId, SourceFile, Unit};
use reveille_session::verbs::{VERBS, Verb, VerbKind};
use reveille_session::{Expression, Filled, Known, Node, Script, Span, Statement, TokenKind, TokenLine, token_lines};

use crate::lookup::{Location, location};

pub(crate) use complete::completions;
pub(crate) use format::format;
pub(crate) use hover::hover;
pub(crate) use lines::hints;
pub use lines::{Lens, lenses};
pub(crate) use outline::{folds, links, outline, selection};
pub(crate) use places::{definition, highlights, references, uses_of};
pub(crate) use rename::{Own, bound, of_firmware, own};
pub(crate) use tokens::semantic_tokens;

/// A script with what is known of it.
pub(crate) struct View<'a> {
    model: &'a Model,
    file: &'a SourceFile,
    text: String,
    /// Its lines as tokens.
    lines: Vec<TokenLine>,
    /// The script alone: what it includes is not in it.
    script: Script,
    /// The session that it is, or is a part of.
    session: Option<&'a Arc<SessionFact>>,
}

/// A part of an expression that stands at a byte.
struct Part<'s> {
    /// A name, a number, a text, or a block's field.
    leaf: &'s Expression,
    /// The expression that it is a part of.
    whole: &'s Expression,
    /// The range that this is an end of.
    range: Option<&'s Span>,
}

/// What stands at a byte of a script.
enum Thing<'s> {
    /// The first words of a statement.
    Verb(&'static Verb, Range<usize>),
    /// A part of an expression, and what the expression is to the statement.
    Part(&'static str, Part<'s>),
    /// A word, name or text in a slot: its role, the text, where it stands.
    Slot(&'static str, &'s str, &'s Range<usize>),
    /// The name of an argument of a verb of the machine's own.
    Argument(&'s str, &'s Range<usize>),
    /// A name in a line that cannot be read.
    Word(Range<usize>),
}

/// A name in a session: where a step uses it, or binds it.
struct Mention {
    at: Location,
    name: String,
    binds: bool,
}

/// Whether a cursor at a byte touches a range.
fn touches(range: &Range<usize>, byte: usize) -> bool {
    range.start <= byte && byte <= range.end
}

impl<'a> View<'a> {
    /// A file, if it is a script.
    pub(crate) fn of(model: &'a Model, file: FileId) -> Option<Self> {
        let file = model.program().file(file).filter(|it| it.is_beside() && is_session(it))?;
        let text = file.source().text();
        let (lines, script) = (token_lines(&text), Script::read(&text));
        Some(Self { model, file, text, lines, script, session: model.session_of(file.id()) })
    }

    fn here(&self, range: &Range<usize>) -> Location {
        Location { file: self.file.id(), range: range.clone() }
    }

    /// The statement that a byte is in, bodies excluded.
    fn statement_at(&self, byte: usize) -> Option<&Statement> {
        let mut found = None;
        self.script.visit(&mut |it| {
            if touches(&it.span, byte) {
                found = Some(it);
            }
        });
        found
    }

    /// The steps of this file that begin in a range of its bytes.
    fn steps_in(&self, range: Range<usize>) -> impl Iterator<Item = &'a StepFact> {
        let steps = self.session.map_or(&[][..], |it| &it.steps[..]);
        let (model, file) = (self.model, self.file.id());
        let is_in = move |at: Evidence| at.place.file == file && range.contains(&location(model, at).range.start);
        steps.iter().filter(move |it| is_in(it.at))
    }

    fn step_of(&self, statement: &Statement) -> Option<&'a StepFact> {
        self.steps_in(statement.span.start..statement.span.start + 1).next()
    }

    /// The steps before the statement or line that a byte is in, in the order of the session.
    fn steps_before(&self, byte: usize) -> &'a [StepFact] {
        let Some(session) = self.session else { return &[] };
        let start = self.statement_at(byte).map_or(byte, |it| it.span.start);
        let is_behind =
            |it: &StepFact| it.at.place.file == self.file.id() && location(self.model, it.at).range.start >= start;
        // A line that cannot be read is no step: those before it count.
        let last = session
            .steps
            .iter()
            .rposition(|it| it.at.place.file == self.file.id() && location(self.model, it.at).range.start < start);
        match session.steps.iter().position(is_behind) {
            Some(at) => &session.steps[..at],
            None => &session.steps[..last.map_or(0, |it| it + 1)],
        }
    }

    /// The names that can be used at a byte, with their values.
    fn known_at(&self, byte: usize) -> Option<Known<'a>> {
        let mut known = Known::new(&self.session?.world);
        for (name, _, value) in self.steps_before(byte).iter().filter_map(|it| it.binds.as_ref()) {
            known.bound.insert(name.clone(), value.clone());
        }
        Some(known)
    }

    fn units(&self) -> impl Iterator<Item = &'a Unit> {
        let own = self.session.map_or(&[][..], |it| it.units());
        self.model.analysis().units().enumerate().filter(|it| own.contains(&it.0)).map(|it| it.1)
    }

    /// What the firmware defines a name as: a label or a constant with a value.
    fn defined(&self, name: &str) -> Option<(&'a Unit, Definition, i64)> {
        self.units().find_map(|unit| {
            let found = *unit.find(self.model.program(), name)?;
            if matches!(found.kind, DefinitionKind::Macro | DefinitionKind::Text | DefinitionKind::RegisterName) {
                return None;
            }
            Some((unit, found, unit.absolute(found.value)?))
        })
    }

    /// Every name that the session's steps use and bind, in the order of the session.
    fn mentions(&self) -> Vec<Mention> {
        let mut found = Vec::new();
        match self.session {
            Some(session) => {
                let program = self.model.program();
                let text = |it: &FileId| program.file(*it).map_or_else(String::new, |it| it.source().text());
                let texts: Vec<String> = session.files.iter().map(text).collect();
                for statement in &session.statements {
                    statement.visit(&mut |it| {
                        if let (Some(file), Some(text)) = (session.files.get(it.file), texts.get(it.file)) {
                            mentions_of(it, *file, text, &mut found);
                        }
                    });
                }
            }
            None => self.script.visit(&mut |it| mentions_of(it, self.file.id(), &self.text, &mut found)),
        }
        found
    }

    /// The step that binds the name at a place of the session.
    fn binding<'m>(mentions: &'m [Mention], name: &str, at: &Location) -> Option<&'m Mention> {
        let own = mentions.iter().position(|it| it.at == *at).map_or(mentions.len(), |it| it + 1);
        mentions[..own].iter().rev().find(|it| it.binds && it.name == name)
    }

    /// What stands at a byte.
    fn thing(&self, byte: usize) -> Option<Thing<'_>> {
        let Some(statement) = self.statement_at(byte) else { return self.in_broken(byte) };
        if touches(&statement.name, byte) {
            return Some(Thing::Verb(statement.verb, statement.name.clone()));
        }
        statement.slots.iter().find_map(|(role, filled)| in_slot(role, filled, byte))
    }

    /// What stands in a line that cannot be read, or at `else` and `end`, which are no statements of their own.
    fn in_broken(&self, byte: usize) -> Option<Thing<'_>> {
        let line = self.lines.iter().find(|it| touches(&it.span, byte))?;
        if let Some((verb, range)) = verb_of(&self.text, line)
            && touches(&range, byte)
        {
            return Some(Thing::Verb(verb, range));
        }
        let token = line.tokens.iter().rev().find(|it| touches(&it.span, byte) && it.kind == TokenKind::Word)?;
        Some(Thing::Word(token.span.clone()))
    }
}

/// The bytes of a name in those of an expression that is this name, with the brackets that stand around it.
fn name_in(text: &str, range: &Range<usize>, name: &str) -> Range<usize> {
    let own = text.get(range.clone()).and_then(|it| it.find(name));
    own.map_or(range.clone(), |at| range.start + at..range.start + at + name.len())
}

fn mentions_of(statement: &Statement, file: FileId, text: &str, found: &mut Vec<Mention>) {
    let mut push = |name: &str, range: &Range<usize>, binds| {
        found.push(Mention { at: Location { file, range: range.clone() }, name: name.to_owned(), binds });
    };
    for (name, range) in statement.expressions().into_iter().flat_map(Expression::names) {
        push(name, &name_in(text, range, name), false);
    }
    if let Some(name) = statement.word("name").filter(|_| statement.verb.kind == VerbKind::Keep) {
        push(&name.value, &name.span, false);
    }
    if let Some(name) = statement.word("as") {
        push(&name.value, &name.span, true);
    }
}

fn in_slot<'s>(role: &'static str, filled: &'s Filled, byte: usize) -> Option<Thing<'s>> {
    let part = |it: &'s Expression, range| part_at(it, range, byte).map(|it| Thing::Part(role, it));
    match filled {
        Filled::Expression(it) => part(it, None),
        Filled::Range(it) => part(&it.from, Some(it)).or_else(|| part(&it.to, Some(it))),
        Filled::Name(it) | Filled::Text(it) => touches(&it.span, byte).then(|| Thing::Slot(role, &it.value, &it.span)),
        Filled::Arguments(all) => all.iter().find_map(|(name, value)| {
            let own = touches(&name.span, byte).then(|| Thing::Argument(&name.value, &name.span));
            own.or_else(|| part(value, None))
        }),
        Filled::Time(_) | Filled::Key(_) | Filled::Frame(_) => None,
    }
}

/// The smallest name, number, text or field of an expression at a byte.
fn part_at<'s>(whole: &'s Expression, range: Option<&'s Span>, byte: usize) -> Option<Part<'s>> {
    let mut found = None;
    whole.visit(&mut |it| {
        let own = match &it.node {
            Node::Name(_) | Node::Number(_) | Node::Text(_) => &it.span,
            Node::Field(_, _, name) => name,
            _ => return,
        };
        if touches(own, byte) {
            found = Some(it);
        }
    });
    Some(Part { leaf: found?, whole, range })
}

/// The statement whose first words a line has, whatever comes behind them.
fn verb_of(text: &str, line: &TokenLine) -> Option<(&'static Verb, Range<usize>)> {
    VERBS.iter().find_map(|verb| {
        let mut end = line.span.start;
        for (at, word) in verb.name.split(' ').enumerate() {
            let token = line.tokens.get(at).filter(|it| it.kind == TokenKind::Word)?;
            if text[token.span.clone()] != *word {
                return None;
            }
            end = token.span.end;
        }
        Some((verb, line.span.start..end))
    })
}

/// A time as people say it, for what takes long enough to be noticed.
fn time(seconds: f64) -> String {
    match seconds {
        it if it < 0.1 => "less than 0.1 s".to_owned(),
        it if it < 10.0 => format!("about {it:.1} s"),
        it if it < 120.0 => format!("about {it:.0} s"),
        it => format!("about {:.0} min", it / 60.0),
    }
}
