//! A script as statements, read by the forms of [`crate::verbs`].

use std::ops::Range;
use std::time::Duration;

use crate::expression::{Cursor, Expression, Span, Wrong};
use crate::token::{Kind, Line, MOST_TOKENS, lines};
use crate::verbs::{Group, KEYS, Part, Slot, VERBS, Verb, VerbKind, tail};
use reveille_machine::nearest;

/// A script that was read.
#[derive(Clone, Debug, Default)]
pub struct Script {
    /// Its statements; those between `repeat` or `if` and `end` are in these.
    pub statements: Vec<Statement>,
    /// What could not be read, in the order of the text.
    pub problems: Vec<Problem>,
}

/// What could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where; empty where something is missing.
    pub span: Range<usize>,
    /// What was found, and what was expected.
    pub message: String,
    /// What mends it, if one change of these bytes surely does.
    pub fix: Option<(Range<usize>, String)>,
}

/// A value, and where it is written.
#[derive(Clone, Debug, PartialEq)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// Its bytes in the script.
    pub span: Range<usize>,
}

/// What stands in a slot.
#[derive(Clone, Debug, PartialEq)]
pub enum Filled {
    /// A value.
    Expression(Expression),
    /// A range.
    Range(Span),
    /// A name, a word of a choice, or a word that makes a difference.
    Name(Spanned<String>),
    /// A text.
    Text(Spanned<String>),
    /// A time.
    Time(Spanned<Duration>),
    /// A key, as the byte that it sends.
    Key(Spanned<u8>),
    /// Data bits, parity (`n`, `e`, `o`), stop bits.
    Frame(Spanned<(u8, char, u8)>),
    /// Names with values.
    Arguments(Vec<(Spanned<String>, Expression)>),
}

/// A statement.
#[derive(Clone, Debug)]
pub struct Statement {
    /// Which it is.
    pub verb: &'static Verb,
    /// Its bytes in the text, from its first word to its last; comment and body excluded.
    pub span: Range<usize>,
    /// Where its first words stand.
    pub name: Range<usize>,
    /// The number of its line, from 0.
    pub line: usize,
    /// What stands in its slots, in the order of the text.
    pub slots: Vec<(&'static str, Filled)>,
    /// The statements of `repeat` and of `if` where the condition holds, and those that `include` takes in.
    pub body: Vec<Self>,
    /// The statements behind `else`.
    pub otherwise: Vec<Self>,
    /// The file that it stands in: 0 is the script itself, others are of whoever puts included scripts in.
    pub file: usize,
}

macro_rules! getters {
    ($($(#[$doc:meta])* $name:ident: $variant:ident, $type:ty;)*) => {
        $($(#[$doc])*
        #[must_use]
        pub fn $name(&self, role: &str) -> Option<&$type> {
            match self.slot(role)? {
                Filled::$variant(it) => Some(it),
                _ => None,
            }
        })*
    };
}

impl Statement {
    /// What stands in a slot.
    #[must_use]
    pub fn slot(&self, role: &str) -> Option<&Filled> {
        self.slots.iter().find(|it| it.0 == role).map(|it| &it.1)
    }

    getters! {
        /// The value in a slot.
        expression: Expression, Expression;
        /// The range in a slot.
        range: Range, Span;
        /// The name or word in a slot.
        word: Name, Spanned<String>;
        /// The text in a slot.
        text: Text, Spanned<String>;
        /// The time in a slot.
        time: Time, Spanned<Duration>;
        /// The key in a slot.
        key: Key, Spanned<u8>;
        /// The frame in a slot.
        frame: Frame, Spanned<(u8, char, u8)>;
    }

    /// The names with values in a slot.
    #[must_use]
    pub fn arguments(&self, role: &str) -> &[(Spanned<String>, Expression)] {
        if let Some(Filled::Arguments(it)) = self.slot(role) { it } else { &[] }
    }

    /// Whether a word that makes a difference is there.
    #[must_use]
    pub fn has(&self, flag: &str) -> bool {
        self.slot(flag).is_some()
    }

    /// The table of the machine's vocabulary that it needs.
    #[must_use]
    pub fn vocabulary(&self) -> Option<String> {
        let word = |role| self.word(role).map(|it| it.value.as_str());
        let key = match self.verb.kind {
            VerbKind::Ask => word("verb")?,
            VerbKind::Dump => "dump",
            VerbKind::Fill => "fill",
            VerbKind::Registers => "registers",
            VerbKind::ReadSector => "read-sector",
            VerbKind::WriteSector => "write-sector",
            VerbKind::Start => "start",
            VerbKind::Load if self.has("boot") => "load-boot-file",
            VerbKind::Load => "load-file",
            VerbKind::Poke => match word("width") {
                Some("word") => "poke-word",
                Some("long") => "poke-long",
                _ => "poke",
            },
            _ => return None,
        };
        Some(key.to_owned())
    }

    /// Every value that is written in it, ranges taken apart.
    #[must_use]
    pub fn expressions(&self) -> Vec<&Expression> {
        let mut found = Vec::new();
        for (_, filled) in &self.slots {
            match filled {
                Filled::Expression(it) => found.push(it),
                Filled::Range(it) => found.extend([&it.from, &it.to]),
                Filled::Arguments(it) => found.extend(it.iter().map(|it| &it.1)),
                _ => (),
            }
        }
        found
    }

    /// Calls on itself and all statements in it, in the order of the text.
    pub fn visit<'a>(&'a self, call: &mut dyn FnMut(&'a Self)) {
        call(self);
        self.body.iter().chain(&self.otherwise).for_each(|it| it.visit(call));
    }
}

impl Script {
    /// Reads a text. What cannot be read is told, and left out.
    #[must_use]
    pub fn read(text: &str) -> Self {
        let mut problems = Vec::new();
        let mut blocks = Blocks { open: Vec::new(), too_deep: 0, statements: Vec::new() };
        for line in lines(text).iter().filter(|it| !it.tokens.is_empty()) {
            match statement(text, line) {
                Ok(statement) => blocks.add(statement, &mut problems),
                Err((problem, opens)) => {
                    problems.push(problem);
                    // A block whose head is broken has its end all the same.
                    if let Some(it) = opens {
                        blocks.open(*it, &mut problems);
                    }
                }
            }
        }
        let statements = blocks.close(&mut problems);
        heads_first(&statements, &mut problems);
        problems.sort_by_key(|it| it.span.start);
        Self { statements, problems }
    }

    /// Calls on all statements, in the order of the text.
    pub fn visit<'a>(&'a self, call: &mut dyn FnMut(&'a Statement)) {
        self.statements.iter().for_each(|it| it.visit(call));
    }
}

/// How many `if` and `repeat` may stand in each other.
const DEEPEST_BLOCK: usize = 64;

/// Blocks that are open, each with whether its `else` is behind it.
struct Blocks {
    open: Vec<(Statement, bool)>,
    /// How many more were opened than may stand in each other; these are left out.
    too_deep: usize,
    statements: Vec<Statement>,
}

impl Blocks {
    fn add(&mut self, statement: Statement, problems: &mut Vec<Problem>) {
        let wrong = |message: &str| Problem { span: statement.span.clone(), message: message.into(), fix: None };
        match statement.verb.kind {
            VerbKind::If | VerbKind::Repeat => self.open(statement, problems),
            VerbKind::Else if self.too_deep > 0 => (),
            VerbKind::End if self.too_deep > 0 => self.too_deep -= 1,
            VerbKind::Else => match self.open.last_mut() {
                Some((open, is_else @ false)) if open.verb.kind == VerbKind::If => *is_else = true,
                Some((_, true)) => problems.push(wrong("this `if` has an `else` already; end it with `end`")),
                _ => problems.push(wrong("`else` stands between `if` and `end`")),
            },
            VerbKind::End => match self.open.pop() {
                Some((open, _)) => self.push(open),
                None => problems.push(wrong("there is no `repeat` or `if` that this would end")),
            },
            VerbKind::Stage if !self.open.is_empty() => {
                problems.push(wrong("a stage cannot begin inside of `repeat` or `if`; write `end` before it"));
            }
            _ => self.push(statement),
        }
    }

    fn open(&mut self, statement: Statement, problems: &mut Vec<Problem>) {
        if self.open.len() < DEEPEST_BLOCK {
            self.open.push((statement, false));
            return;
        }
        if self.too_deep == 0 {
            let message = format!("more than {DEEPEST_BLOCK} `if` and `repeat` stand in each other; take them apart");
            problems.push(Problem { span: statement.name, message, fix: None });
        }
        self.too_deep += 1;
    }

    fn push(&mut self, statement: Statement) {
        match self.open.last_mut() {
            Some((open, true)) => open.otherwise.push(statement),
            Some((open, false)) => open.body.push(statement),
            None => self.statements.push(statement),
        }
    }

    fn close(mut self, problems: &mut Vec<Problem>) -> Vec<Statement> {
        while let Some((open, _)) = self.open.pop() {
            let message = format!("`{}` has no `end`", open.verb.name);
            problems.push(Problem { span: open.name.clone(), message, fix: None });
            self.push(open);
        }
        self.statements
    }
}

/// Tells of statements of a script's head behind its first step, and of those that are there twice.
fn heads_first(statements: &[Statement], problems: &mut Vec<Problem>) {
    let mut has_step = false;
    let mut seen: Vec<&Statement> = Vec::new();
    for statement in statements {
        if statement.verb.group != Group::Head {
            has_step = true;
            statement.body.iter().chain(&statement.otherwise).for_each(|it| {
                it.visit(&mut |it| {
                    if it.verb.group == Group::Head {
                        let message = format!("`{}` stands at the head of a script", it.verb.name);
                        problems.push(Problem { span: it.span.clone(), message, fix: None });
                    }
                });
            });
            continue;
        }
        let name = statement.verb.name;
        if has_step {
            let message = format!("`{name}` stands at the head of a script, before the first step");
            problems.push(Problem { span: statement.span.clone(), message, fix: None });
        } else if seen.iter().any(|it| it.verb.kind == statement.verb.kind) {
            let message = format!("`{name}` is there already; take one out");
            problems.push(Problem { span: statement.span.clone(), message, fix: None });
        }
        seen.push(statement);
    }
}

/// The statement whose first words a line has.
pub(crate) fn verb_of(cursor: &mut Cursor<'_>) -> Result<&'static Verb, Problem> {
    let span = cursor.here();
    let is_here = |it: &&Verb| {
        let words = it.name.split(' ').enumerate();
        words.into_iter().all(|(at, word)| {
            let token = cursor.tokens.get(cursor.at + at);
            token.is_some_and(|it| it.kind == Kind::Word && cursor.text[it.span.clone()] == *word)
        })
    };
    if let Some(verb) = VERBS.iter().find(is_here) {
        cursor.at += verb.name.split(' ').count();
        return Ok(verb);
    }
    let Some(word) = cursor.word() else {
        let message = match cursor.peek().map(|it| &it.kind) {
            Some(Kind::Bad(why)) => why.clone(),
            _ => format!("expected a step, such as `dump` or `check`, {}", cursor.found()),
        };
        return Err(Problem { span, message, fix: None });
    };
    // Of verbs of two words, the first alone is no step; the second is what is missing.
    if let Some(verb) = VERBS.iter().find(|it| it.name.split(' ').next() == Some(word)) {
        let second = verb.name.split(' ').nth(1).unwrap_or_default();
        cursor.at += 1;
        let message = format!("expected `{second}` behind `{word}`, {}", cursor.found());
        return Err(Problem { span: cursor.here(), message, fix: None });
    }
    let near = nearest(word, VERBS.iter().flat_map(|it| it.name.split(' ').next()));
    let (hint, fix) = match near {
        Some(near) => (format!("did you mean `{near}`?"), Some((span.clone(), near.to_owned()))),
        None => ("expected one such as `dump`, `await` or `check`".to_owned(), None),
    };
    Err(Problem { span, message: format!("`{word}` is no step; {hint}"), fix })
}

type Broken = (Problem, Option<Box<Statement>>);

fn statement(text: &str, line: &Line) -> Result<Statement, Broken> {
    let mut cursor = Cursor { text, tokens: &line.tokens, at: 0, end: line.span.end };
    if let Some(token) = line.tokens.get(MOST_TOKENS) {
        let message = format!("the line has more than {MOST_TOKENS} words and signs; take it apart");
        return Err((Problem { span: token.span.clone(), message, fix: None }, None));
    }
    let verb = verb_of(&mut cursor).map_err(|it| (it, None))?;
    let name_end = cursor.tokens[cursor.at - 1].span.end;
    let mut statement = Statement {
        verb,
        span: line.span.clone(),
        name: line.span.start..name_end,
        line: line.number,
        slots: Vec::new(),
        body: Vec::new(),
        otherwise: Vec::new(),
        file: 0,
    };
    let mut missed = Vec::new();
    let read = sequence(&mut cursor, verb.form, &mut statement.slots, &mut missed)
        .and_then(|()| sequence(&mut cursor, tail(verb.kind), &mut statement.slots, &mut missed))
        .and_then(|()| if cursor.peek().is_none() { Ok(()) } else { rest(&cursor, verb, &missed) });
    match read {
        Ok(()) => Ok(statement),
        Err(Wrong { span, message }) => {
            let opens = matches!(verb.kind, VerbKind::If | VerbKind::Repeat).then(|| Box::new(statement));
            Err((Problem { span, message, fix: None }, opens))
        }
    }
}

/// What stands behind the end of a statement's form.
fn rest(cursor: &Cursor<'_>, verb: &Verb, missed: &[String]) -> Result<(), Wrong> {
    let mut could = missed.to_vec();
    could.dedup();
    could.push("the end of the line".to_owned());
    let what = format!("{} (`{}`)", could.join(" or "), verb.syntax());
    cursor.expected(&what)
}

/// Whether an alternative begins here: all its first words are there, or what stands in its first slot can be.
pub(crate) fn begins(cursor: &Cursor<'_>, parts: &[Part]) -> bool {
    let mut at = cursor.at;
    for part in parts {
        let token = cursor.tokens.get(at);
        let is_word =
            |word: &str| token.is_some_and(|it| it.kind == Kind::Word && cursor.text[it.span.clone()] == *word);
        match part {
            Part::Word(word) => {
                if !is_word(word) {
                    return false;
                }
                at += 1;
            }
            Part::Flag(word) => return is_word(word),
            Part::Slot(_, slot) => {
                let Some(token) = token else { return at > cursor.at };
                return at > cursor.at
                    || match slot {
                        Slot::Text => matches!(token.kind, Kind::Text(_)),
                        // A frame's rate begins with a number, a name or a bracket, never with one of the form's words.
                        Slot::Expression => matches!(
                            token.kind,
                            Kind::Number(_) | Kind::Characters(_) | Kind::Word | Kind::Sign("(" | "-" | "~")
                        ),
                        Slot::Choice(words) => words.iter().any(|it| is_word(it)),
                        Slot::Arguments => {
                            token.kind == Kind::Word
                                && !["as", "within", "or"].contains(&&cursor.text[token.span.clone()])
                        }
                        _ => true,
                    };
            }
            Part::Maybe(_) | Part::OneOf(_) => return true,
        }
    }
    true
}

fn sequence(
    cursor: &mut Cursor<'_>,
    parts: &[Part],
    slots: &mut Vec<(&'static str, Filled)>,
    missed: &mut Vec<String>,
) -> Result<(), Wrong> {
    for part in parts {
        match part {
            Part::Word(word) | Part::Flag(word) => {
                let span = cursor.here();
                if !cursor.take(word) {
                    missed.push(part.expected());
                    missed.dedup();
                    let what = std::mem::take(missed).join(" or ");
                    return cursor.expected(&what);
                }
                if matches!(part, Part::Flag(_)) {
                    slots.push((word, Filled::Name(Spanned { value: (*word).to_owned(), span })));
                }
            }
            Part::Slot(role, slot) => {
                slots.push((role, filled(cursor, *slot)?));
            }
            Part::Maybe(parts) => {
                if !begins(cursor, parts) {
                    missed.push(part.expected());
                    continue;
                }
                sequence(cursor, parts, slots, missed)?;
            }
            Part::OneOf(choices) => match choices.iter().find(|it| begins(cursor, it)) {
                Some(parts) => sequence(cursor, parts, slots, missed)?,
                None => return cursor.expected(&part.expected()),
            },
        }
        missed.clear();
    }
    Ok(())
}

pub(crate) fn filled(cursor: &mut Cursor<'_>, slot: Slot) -> Result<Filled, Wrong> {
    let span = cursor.here();
    let kind = cursor.peek().map(|it| &it.kind);
    let found = match (slot, kind) {
        (Slot::Expression, _) => return cursor.expression().map(Filled::Expression),
        (Slot::Range, _) => return cursor.range().map(Filled::Range),
        (Slot::Arguments, _) => return arguments(cursor),
        (Slot::Label, Some(Kind::Word)) => {
            let (value, span) = cursor.hyphenated().unwrap_or_default();
            return Ok(Filled::Name(Spanned { value, span }));
        }
        (Slot::Name, Some(Kind::Word)) => Filled::Name(Spanned { value: cursor.text[span.clone()].to_owned(), span }),
        (Slot::Text, Some(Kind::Text(value))) => Filled::Text(Spanned { value: value.clone(), span }),
        (Slot::Time, Some(Kind::Time(value))) => Filled::Time(Spanned { value: *value, span }),
        (Slot::Key, Some(Kind::Characters(value))) if u8::try_from(*value).is_ok() => {
            Filled::Key(Spanned { value: u8::try_from(*value).unwrap_or_default(), span })
        }
        (Slot::Key, Some(Kind::Word)) => {
            let (name, span) = cursor.hyphenated().unwrap_or_default();
            let control = name.strip_prefix("control-").and_then(|it| match it.as_bytes() {
                [letter] if letter.is_ascii_alphabetic() => Some(letter & 0x1f),
                _ => None,
            });
            return match control.or_else(|| KEYS.iter().find(|it| it.0 == name).map(|it| it.1)) {
                Some(value) => Ok(Filled::Key(Spanned { value, span })),
                None => Err(Wrong { span, message: format!("`{name}` is no key; expected {}", slot.expected()) }),
            };
        }
        (Slot::Frame, Some(Kind::Mixed)) => match frame(&cursor.text[span.clone()]) {
            Some(value) => Filled::Frame(Spanned { value, span }),
            None => return cursor.expected(&slot.expected()),
        },
        (Slot::Choice(words), Some(Kind::Word)) => {
            let (value, span) = cursor.hyphenated().unwrap_or_default();
            return if words.contains(&value.as_str()) {
                Ok(Filled::Name(Spanned { value, span }))
            } else {
                Err(Wrong { span, message: format!("expected {}, found `{value}`", slot.expected()) })
            };
        }
        _ => return cursor.expected(&slot.expected()),
    };
    cursor.at += 1;
    Ok(found)
}

/// `8n1`: 5 to 8 data bits, no parity, even or odd, one or two stop bits.
fn frame(text: &str) -> Option<(u8, char, u8)> {
    match text.as_bytes() {
        [data @ b'5'..=b'8', parity, stop @ b'1'..=b'2'] => {
            let parity = char::from(parity.to_ascii_lowercase());
            matches!(parity, 'n' | 'e' | 'o').then(|| (data - b'0', parity, stop - b'0'))
        }
        _ => None,
    }
}

fn arguments(cursor: &mut Cursor<'_>) -> Result<Filled, Wrong> {
    let mut found: Vec<(Spanned<String>, Expression)> = Vec::new();
    loop {
        let Some((value, span)) = cursor.hyphenated() else { return cursor.expected("a name of the verb's") };
        if found.iter().any(|it| it.0.value == value) {
            return Err(Wrong { span, message: format!("`{value}` has a value already") });
        }
        found.push((Spanned { value, span }, cursor.expression()?));
        if !cursor.take(",") {
            return Ok(Filled::Arguments(found));
        }
    }
}
