//! What each word of a script is.

use std::collections::{HashMap, HashSet};
use std::ops::Range;

use reveille_program::DefinitionKind;
use reveille_session::{Expression, Filled, Node, Statement, TokenKind};

use super::{View, name_in, verb_of};
use crate::tokens::{SemanticKind, SemanticToken};

/// Words that are known by their place in a statement.
struct Marked<'v> {
    view: &'v View<'v>,
    /// Where steps of this file name something that is bound.
    bound: HashSet<usize>,
    /// What names of the firmware are.
    known: HashMap<String, SemanticKind>,
    found: Vec<(Range<usize>, SemanticKind, bool)>,
}

/// The words of the lines of a range, in order.
pub(crate) fn semantic_tokens(view: &View<'_>, lines: Range<usize>) -> Vec<SemanticToken> {
    let source = view.file.source();
    let mut marked = Marked { view, bound: bound(view), known: HashMap::new(), found: Vec::new() };
    view.script.visit(&mut |it| {
        let last = source.line_of(it.span.end);
        if it.line < lines.end && last >= lines.start {
            marked.statement(it);
        }
    });
    let mut all = marked.found;
    let own: HashMap<usize, usize> = all.iter().map(|it| (it.0.start, it.0.end)).collect();
    for line in &view.lines {
        let verb = verb_of(&view.text, line).map(|it| it.1);
        let mut inside = 0;
        for token in &line.tokens {
            if let Some(end) = own.get(&token.span.start) {
                inside = *end;
            }
            if token.span.start < inside {
                continue;
            }
            let is_verb = verb.as_ref().is_some_and(|it| token.span.end <= it.end);
            let kind = match &token.kind {
                TokenKind::Word if is_verb => SemanticKind::Instruction,
                TokenKind::Word => SemanticKind::Directive,
                TokenKind::Number(_) | TokenKind::Mixed | TokenKind::Time(_) => SemanticKind::Number,
                TokenKind::Text(_) | TokenKind::Characters(_) => SemanticKind::Text,
                TokenKind::Sign("(" | ")" | "[" | "]" | "," | ".") | TokenKind::Bad(_) => continue,
                TokenKind::Sign(_) => SemanticKind::Operator,
            };
            all.push((token.span.clone(), kind, false));
        }
        all.extend(line.comment.iter().map(|it| (it.clone(), SemanticKind::Comment, false)));
    }
    all.sort_by_key(|it| it.0.start);
    let token = |(range, kind, is_definition): (Range<usize>, SemanticKind, bool)| {
        let line = source.line_of(range.start);
        let start = source.line_start(line);
        let length = source.line(line)?.1.len();
        Some(SemanticToken {
            line: u32::try_from(line).ok().filter(|_| lines.contains(&line))?,
            start: u16::try_from(range.start - start).ok()?,
            end: u16::try_from((range.end - start).min(length)).ok()?,
            kind,
            is_definition,
            is_inactive: false,
        })
    };
    all.into_iter().filter_map(token).filter(|it| it.start < it.end).collect()
}

/// Where the steps of a script name what is bound by then.
fn bound(view: &View<'_>) -> HashSet<usize> {
    let mut names = HashSet::new();
    let mut found = HashSet::new();
    for mention in view.mentions() {
        if mention.binds || names.contains(&mention.name) {
            if mention.at.file == view.file.id() {
                found.insert(mention.at.range.start);
            }
            names.insert(mention.name);
        }
    }
    found
}

impl Marked<'_> {
    fn push(&mut self, range: &Range<usize>, kind: SemanticKind, is_definition: bool) {
        self.found.push((range.clone(), kind, is_definition));
    }

    fn statement(&mut self, statement: &Statement) {
        self.push(&statement.name, SemanticKind::Instruction, false);
        for (role, filled) in &statement.slots {
            match filled {
                Filled::Expression(it) => self.expression(it),
                Filled::Range(it) => {
                    self.expression(&it.from);
                    self.expression(&it.to);
                }
                Filled::Arguments(all) => {
                    for (name, value) in all {
                        self.push(&name.span, SemanticKind::Parameter, false);
                        self.expression(value);
                    }
                }
                Filled::Name(it) => {
                    let kind = match *role {
                        "as" | "name" | "machine" => SemanticKind::Name,
                        "verb" => SemanticKind::Macro,
                        "using" => SemanticKind::Parameter,
                        _ => continue,
                    };
                    self.push(&it.span, kind, *role == "as");
                }
                Filled::Key(it) => self.push(&it.span, SemanticKind::Constant, false),
                Filled::Text(_) | Filled::Time(_) | Filled::Frame(_) => (),
            }
        }
    }

    fn expression(&mut self, expression: &Expression) {
        let mut names = Vec::new();
        expression.visit(&mut |it| match &it.node {
            Node::Name(name) => names.push((name.clone(), it.span.clone())),
            Node::Field(_, _, range) => self.found.push((range.clone(), SemanticKind::Property, false)),
            _ => (),
        });
        for (name, range) in names {
            let range = name_in(&self.view.text, &range, &name);
            let kind = if self.bound.contains(&range.start) { SemanticKind::Name } else { self.of_firmware(&name) };
            self.push(&range, kind, false);
        }
    }

    fn of_firmware(&mut self, name: &str) -> SemanticKind {
        if let Some(kind) = self.known.get(name) {
            return *kind;
        }
        let kind = match self.view.defined(name).map(|it| it.1.kind) {
            Some(DefinitionKind::Label) => SemanticKind::Label,
            Some(DefinitionKind::Equate | DefinitionKind::Set) => SemanticKind::Constant,
            _ => SemanticKind::Name,
        };
        self.known.insert(name.to_owned(), kind);
        kind
    }
}
