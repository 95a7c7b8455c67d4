//! Files to one list of tokens: includes, conditionals, macros that stand for syntax, assembly.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::evaluate::Judge;
use crate::macros::{Define, Macro, Macros, When, line};
use crate::text::{FileKey, Settings, Span, Text};
use crate::tokens::{Interner, Kind, Lexer, Token};
use crate::types::Types;

/// Who finds the text of an include: the file it stands in, its name, whether it is written in angle brackets.
pub type Find<'f> = dyn FnMut(FileKey, &str, bool) -> Option<Text> + 'f;

/// An include that nobody found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingInclude {
    /// Its name.
    pub name: String,
    /// It is written in angle brackets.
    pub is_system: bool,
    /// The name with its quotes.
    pub span: Span,
}

/// An include, and what it was found to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Include {
    /// The name with its quotes.
    pub span: Span,
    /// The file.
    pub file: FileKey,
}

/// Includes in includes.
const DEEPEST: usize = 64;
/// Bytes of included texts: more are not read, so that a file that includes itself twice ends.
const MOST_INCLUDED: usize = 8 << 20;
/// Tokens that macros lay down in a unit.
const MOST_MADE: usize = 1 << 20;

/// What is known when all files are read.
#[derive(Debug, Default)]
pub(crate) struct Prepared {
    pub(crate) tokens: Vec<Token>,
    /// Every name that stands in a text outside of `#define`, with its place.
    pub(crate) names: Vec<Token>,
    /// Places that name a macro, and where that stands, if it does.
    pub(crate) macro_names: Vec<(Token, bool, Option<Span>)>,
    pub(crate) macros: Macros,
    pub(crate) texts: FxHashMap<FileKey, Arc<str>>,
    pub(crate) off: Vec<Span>,
    pub(crate) includes: Vec<Include>,
    pub(crate) missing: Vec<MissingInclude>,
    pub(crate) troubles: Vec<Span>,
}

/// A conditional that is open.
struct Conditional {
    /// What stands in it now is read.
    is_on: bool,
    /// One of its branches was read.
    was_on: bool,
    /// What it stands in is read.
    is_inside_on: bool,
    /// Where the part that is off starts.
    off_from: u32,
}

struct Preprocessor<'a, 'f> {
    find: &'a mut Find<'f>,
    interner: Interner,
    out: Prepared,
    included: usize,
    made: usize,
}

/// Reads a file and all that it includes.
pub(crate) fn prepare(root: &Text, find: &mut Find, settings: &Settings) -> Prepared {
    let interner = Interner::default();
    let mut reader = Preprocessor { find, interner, out: Prepared::default(), included: 0, made: MOST_MADE };
    let nowhere = Span { file: FileKey(u32::MAX), start: 0, end: 0 };
    for (name, value) in &settings.defines {
        let text = format!("({value})");
        let mut lexer = Lexer::new(nowhere.file, &text);
        let body = std::iter::from_fn(|| lexer.next(&mut reader.interner)).collect();
        let define = Define {
            name: reader.interner.get(name),
            name_span: nowhere,
            parameters: None,
            body: text.clone(),
            body_span: nowhere,
            undefined: false,
        };
        reader.out.macros.add(Macro::new(define, Vec::new(), body, true));
    }
    reader.file(root, 0);
    reader.out
}

impl Preprocessor<'_, '_> {
    fn file(&mut self, text: &Text, depth: usize) {
        self.out.texts.insert(text.key, text.text.clone());
        let mut lexer = Lexer::new(text.key, &text.text);
        let mut open: Vec<Conditional> = Vec::new();
        let mut pending: Vec<Token> = Vec::new();
        let mut next = lexer.next(&mut self.interner);
        while let Some(token) = next {
            let is_on = open.last().is_none_or(|it| it.is_on);
            if !(token.is("#") && token.is_first) {
                if is_on {
                    pending.push(token);
                }
                next = lexer.next(&mut self.interner);
                continue;
            }
            let mut line = Vec::new();
            let mut behind = lexer.at();
            next = lexer.next(&mut self.interner);
            while let Some(more) = next.take_if(|it| !it.is_first) {
                line.push(more);
                behind = lexer.at();
                let is_assembly = line.len() == 1 && line[0].is_word("asm");
                if is_assembly {
                    break;
                }
                next = lexer.next(&mut self.interner);
            }
            let Some(word) = line.first().filter(|it| it.kind == Kind::Name).cloned() else { continue };
            if &*word.text == "asm" {
                // The line was not read on: what comes is no C.
                let span = lexer.assembly();
                if is_on {
                    self.flush(&mut pending);
                    let said = self.interner.get(&text.text[span.start as usize..span.end as usize]);
                    let kind = Kind::Assembly;
                    let is_flush = false;
                    self.out.tokens.push(Token { kind, text: said, span, is_made: false, is_first: true, is_flush });
                }
                next = lexer.next(&mut self.interner);
                continue;
            }
            if self.conditional(&word, &line, &mut open, token.span, behind) || !is_on {
                continue;
            }
            match &*word.text {
                "define" => {
                    self.flush(&mut pending);
                    self.define(&text.text, &line);
                }
                "undef" => {
                    self.flush(&mut pending);
                    if let Some(name) = line.get(1) {
                        let defined = self.out.macros.undefine(&name.text, name.span);
                        self.out.macro_names.push((name.clone(), false, defined));
                    }
                }
                "include" => {
                    self.flush(&mut pending);
                    self.include(text, &line, depth);
                }
                _ => (),
            }
        }
        for it in open.iter().filter(|it| !it.is_on) {
            let end = text.text.len() as u32;
            self.out.off.push(Span { file: text.key, start: it.off_from.min(end), end });
        }
        self.flush(&mut pending);
    }

    /// A line of a conditional; false for any other.
    fn conditional(
        &mut self,
        word: &Token,
        line: &[Token],
        open: &mut Vec<Conditional>,
        sign: Span,
        behind: u32,
    ) -> bool {
        let is_inside_on = open.last().is_none_or(|it| it.is_on);
        match &*word.text {
            "if" | "ifdef" | "ifndef" => {
                let is_on = is_inside_on && self.holds(&word.text, &line[1..]);
                open.push(Conditional { is_on, was_on: is_on, is_inside_on, off_from: behind });
            }
            "elif" | "else" | "endif" => {
                let Some(mut it) = open.pop() else {
                    self.out.troubles.push(sign.to(word.span));
                    return true;
                };
                if !it.is_on && it.is_inside_on {
                    self.out.off.push(Span { file: sign.file, start: it.off_from, end: sign.start });
                }
                if &*word.text == "endif" {
                    return true;
                }
                it.is_on =
                    it.is_inside_on && !it.was_on && (&*word.text == "else" || self.holds(&word.text, &line[1..]));
                it.was_on |= it.is_on;
                it.off_from = behind;
                open.push(it);
            }
            _ => return false,
        }
        true
    }

    fn holds(&mut self, word: &str, condition: &[Token]) -> bool {
        if matches!(word, "if" | "elif") {
            return self.condition(condition);
        }
        let Some(name) = condition.first() else { return false };
        self.defined(name) == (word == "ifdef")
    }

    fn defined(&mut self, name: &Token) -> bool {
        let found = self.out.macros.find(&name.text, When::Now);
        let at = found.map(|it| self.out.macros.all[it].define.name_span);
        self.out.macro_names.push((name.clone(), false, at));
        found.is_some()
    }

    /// What an `#if` asks. One that cannot be worked out is taken to hold: better too much is read than too little.
    fn condition(&mut self, tokens: &[Token]) -> bool {
        let mut asked = Vec::new();
        let mut at = 0;
        while let Some(token) = tokens.get(at) {
            at += 1;
            if !token.is_word("defined") {
                if token.kind == Kind::Name {
                    self.defined(token);
                }
                asked.push(token.clone());
                continue;
            }
            let is_open = tokens.get(at).is_some_and(|it| it.is("("));
            at += usize::from(is_open);
            let is_defined = tokens.get(at).is_some_and(|it| self.defined(it));
            at += 1 + usize::from(is_open);
            let text = self.interner.get(if is_defined { "1" } else { "0" });
            asked.push(Token { kind: Kind::Number, text, ..token.clone() });
        }
        let macros = &self.out.macros;
        let types = Types::default();
        let judge = Judge::of_condition(&types, macros);
        let value = macros.expanded(&asked, When::Now).and_then(|it| judge.tokens(&it));
        if value.is_none()
            && let Some(first) = tokens.first()
        {
            self.out.troubles.push(first.span);
        }
        value.is_none_or(|it| it != 0)
    }

    fn define(&mut self, text: &str, line: &[Token]) {
        let Some(name) = line.get(1).filter(|it| it.kind == Kind::Name) else {
            self.out.troubles.extend(line.first().map(|it| it.span));
            return;
        };
        let mut at = 2;
        let mut parameters = None;
        let mut parameter_spans = Vec::new();
        if line.get(at).is_some_and(|it| it.is("(") && it.span.start == name.span.end) {
            let mut names = Vec::new();
            at += 1;
            while let Some(token) = line.get(at) {
                at += 1;
                if token.is(")") {
                    break;
                }
                if token.kind == Kind::Name {
                    names.push(token.text.to_string());
                    parameter_spans.push(token.span);
                }
            }
            parameters = Some(names);
        }
        let body = &line[at..];
        let body_span = match (body.first(), body.last()) {
            (Some(first), Some(last)) => first.span.to(last.span),
            _ => {
                let behind = line[at - 1].span;
                Span { start: behind.end, ..behind }
            }
        };
        debug_assert!(text.is_char_boundary(body_span.start as usize));
        let define = Define {
            name: name.text.clone(),
            name_span: name.span,
            parameters,
            body: self::line(body),
            body_span,
            undefined: false,
        };
        self.out.macro_names.push((name.clone(), true, Some(name.span)));
        self.out.macros.add(Macro::new(define, parameter_spans, body.to_vec(), false));
    }

    fn include(&mut self, from: &Text, line: &[Token], depth: usize) {
        let (Some(first), Some(last)) = (line.get(1), line.last()) else { return };
        let is_system = first.is("<");
        let mut span = first.span;
        let name = if is_system {
            let end = line.iter().find(|it| it.is(">")).unwrap_or(last);
            span = first.span.to(end.span);
            let inside = first.span.end as usize..end.span.start.max(first.span.end) as usize;
            from.text.get(inside).unwrap_or_default().trim().to_owned()
        } else if first.kind == Kind::Text {
            from.text[span.start as usize + 1..span.end as usize - 1].to_owned()
        } else {
            if first.kind == Kind::Name {
                self.defined(first);
            }
            let made = self.out.macros.expanded(&line[1..], When::Now).unwrap_or_default();
            match &made[..] {
                [only] if only.kind == Kind::Text => only.text.trim_matches('"').to_owned(),
                _ => String::new(),
            }
        };
        let found = (depth < DEEPEST && !name.is_empty())
            .then(|| (self.find)(from.key, &name, is_system))
            .flatten()
            .filter(|it| self.included + it.text.len() <= MOST_INCLUDED);
        match found {
            Some(text) => {
                self.included += text.text.len() + 1;
                self.out.includes.push(Include { span, file: text.key });
                self.file(&text, depth + 1);
            }
            None => self.out.missing.push(MissingInclude { name, is_system, span }),
        }
    }

    /// Puts in what stands for syntax in the lines so far.
    fn flush(&mut self, pending: &mut Vec<Token>) {
        self.out.names.extend(pending.iter().filter(|it| it.kind == Kind::Name).cloned());
        let before = self.out.tokens.len();
        if !self.out.macros.syntax(pending, &mut self.made, &mut self.out.tokens) {
            // Too much: the lines stay as they are written.
            self.out.tokens.truncate(before);
            self.out.tokens.append(pending);
            self.out.troubles.extend(self.out.tokens.get(before).map(|it| it.span));
        }
        pending.clear();
    }
}
