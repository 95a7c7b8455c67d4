//! Expressions as they are written.

use std::ops::Range;

use crate::token::{Kind, MOST_TOKENS, Token};

/// An expression, and its bytes in the text.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression {
    /// What it is.
    pub node: Node,
    /// Where it is written.
    pub span: Range<usize>,
}

/// What an expression is made of.
#[derive(Clone, Debug, PartialEq)]
pub enum Node {
    /// A number.
    Number(i64),
    /// A text.
    Text(String),
    /// A name of the firmware, or one that a step has bound.
    Name(String),
    /// An operator before its value.
    Unary(Unary, Box<Expression>),
    /// An operator between two values.
    Binary(Binary, Box<Expression>, Box<Expression>),
    /// A byte of a block.
    Index(Box<Expression>, Box<Expression>),
    /// A part of a block.
    Slice(Box<Expression>, Box<Span>),
    /// A field of a block, and where its name stands.
    Field(Box<Expression>, String, Range<usize>),
}

/// A range of addresses or bytes.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// The first.
    pub from: Expression,
    /// The last one's successor, or the length.
    pub to: Expression,
    /// Whether `to` is the length.
    pub is_length: bool,
}

impl Span {
    /// Where it is written.
    #[must_use]
    pub fn span(&self) -> Range<usize> {
        self.from.span.start..self.to.span.end
    }
}

/// An operator before a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unary {
    /// `-`
    Minus,
    /// `~`
    Complement,
    /// `not` or `!`
    Not,
}

/// An operator between values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "they are the operators of C")]
pub enum Binary {
    Or,
    And,
    BitOr,
    BitXor,
    BitAnd,
    Equal,
    Differs,
    Less,
    LessEqual,
    Greater,
    GreaterEqual,
    ShiftLeft,
    ShiftRight,
    Add,
    Subtract,
    Multiply,
    Divide,
    Remainder,
}

/// Every operator between values: how it is written, and its rank, that of C; higher ones bind closer.
pub const OPERATORS: &[(&str, u8, Binary)] = &[
    ("or", 1, Binary::Or),
    ("||", 1, Binary::Or),
    ("and", 2, Binary::And),
    ("&&", 2, Binary::And),
    ("|", 3, Binary::BitOr),
    ("^", 4, Binary::BitXor),
    ("&", 5, Binary::BitAnd),
    ("==", 6, Binary::Equal),
    ("!=", 6, Binary::Differs),
    ("<", 7, Binary::Less),
    ("<=", 7, Binary::LessEqual),
    (">", 7, Binary::Greater),
    (">=", 7, Binary::GreaterEqual),
    ("<<", 8, Binary::ShiftLeft),
    (">>", 8, Binary::ShiftRight),
    ("+", 9, Binary::Add),
    ("-", 9, Binary::Subtract),
    ("*", 10, Binary::Multiply),
    ("/", 10, Binary::Divide),
    ("%", 10, Binary::Remainder),
];

/// How many brackets and operators may stand in each other.
const DEEPEST: u32 = 64;

/// What is wrong where an expression was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Wrong {
    pub(crate) span: Range<usize>,
    pub(crate) message: String,
}

/// A line's tokens, and how many of them are read.
pub(crate) struct Cursor<'t> {
    pub(crate) text: &'t str,
    pub(crate) tokens: &'t [Token],
    pub(crate) at: usize,
    /// The end of the line: where what is missing is missing.
    pub(crate) end: usize,
}

impl<'t> Cursor<'t> {
    pub(crate) fn peek(&self) -> Option<&'t Token> {
        self.tokens.get(self.at)
    }

    /// The word or sign that stands here.
    pub(crate) fn word(&self) -> Option<&'t str> {
        self.word_at(self.at)
    }

    fn word_at(&self, at: usize) -> Option<&'t str> {
        let token = self.tokens.get(at)?;
        matches!(token.kind, Kind::Word | Kind::Sign(_)).then(|| &self.text[token.span.clone()])
    }

    /// Passes over a word or sign.
    pub(crate) fn take(&mut self, word: &str) -> bool {
        let is_here = self.word() == Some(word);
        self.at += usize::from(is_here);
        is_here
    }

    /// Where the next token stands: empty at the end of the line.
    pub(crate) fn here(&self) -> Range<usize> {
        self.peek().map_or(self.end..self.end, |it| it.span.clone())
    }

    /// How the next token is called in a message.
    pub(crate) fn found(&self) -> String {
        match self.peek() {
            None => "the line ends".to_owned(),
            Some(it) => match &it.kind {
                Kind::Bad(why) => why.clone(),
                _ => format!("found `{}`", &self.text[it.span.clone()]),
            },
        }
    }

    pub(crate) fn expected<T>(&self, what: &str) -> Result<T, Wrong> {
        let message = match self.peek().map(|it| &it.kind) {
            Some(Kind::Bad(why)) => why.clone(),
            _ => format!("expected {what}, {}", self.found()),
        };
        Err(Wrong { span: self.here(), message })
    }

    /// `a .. b` or `a +: n`.
    pub(crate) fn range(&mut self) -> Result<Span, Wrong> {
        self.range_within(0)
    }

    fn range_within(&mut self, depth: u32) -> Result<Span, Wrong> {
        let from = self.ranked(1, depth)?;
        let is_length = match self.word() {
            Some("..") => false,
            Some("+:") => true,
            _ => return self.expected("a range: `..` with its end, or `+:` with its length"),
        };
        self.at += 1;
        Ok(Span { from, to: self.ranked(1, depth)?, is_length })
    }

    /// An expression.
    pub(crate) fn expression(&mut self) -> Result<Expression, Wrong> {
        self.ranked(1, 0)
    }

    fn ranked(&mut self, least: u8, depth: u32) -> Result<Expression, Wrong> {
        if depth > DEEPEST {
            let message = format!("more than {DEEPEST} brackets and operators stand in each other; take it apart");
            return Err(Wrong { span: self.here(), message });
        }
        let mut left = self.unary(depth)?;
        while let Some((_, rank, operator)) = self.operator().filter(|it| it.1 >= least) {
            self.at += 1;
            let right = self.ranked(rank + 1, depth + 1)?;
            let span = left.span.start..right.span.end;
            left = Expression { node: Node::Binary(*operator, Box::new(left), Box::new(right)), span };
        }
        Ok(left)
    }

    /// The operator that stands here. `or stop` belongs to the step.
    fn operator(&self) -> Option<&'static (&'static str, u8, Binary)> {
        let word = self.word()?;
        if word == "or" && self.word_at(self.at + 1) == Some("stop") {
            return None;
        }
        OPERATORS.iter().find(|it| it.0 == word)
    }

    fn unary(&mut self, depth: u32) -> Result<Expression, Wrong> {
        let operator = match self.word() {
            Some("-") => Unary::Minus,
            Some("~") => Unary::Complement,
            Some("not" | "!") => Unary::Not,
            _ => return self.postfix(depth),
        };
        if depth > DEEPEST {
            return self.ranked(1, depth);
        }
        let start = self.here().start;
        self.at += 1;
        let value = self.unary(depth + 1)?;
        let span = start..value.span.end;
        Ok(Expression { node: Node::Unary(operator, Box::new(value)), span })
    }

    fn postfix(&mut self, depth: u32) -> Result<Expression, Wrong> {
        let mut value = self.primary(depth)?;
        loop {
            let start = value.span.start;
            if self.take("[") {
                let from = self.ranked(1, depth + 1)?;
                let is_length = match self.word() {
                    Some("..") => Some(false),
                    Some("+:") => Some(true),
                    _ => None,
                };
                let node = match is_length {
                    Some(is_length) => {
                        self.at += 1;
                        let to = self.ranked(1, depth + 1)?;
                        Node::Slice(Box::new(value), Box::new(Span { from, to, is_length }))
                    }
                    None => Node::Index(Box::new(value), Box::new(from)),
                };
                let end = self.here().end;
                if !self.take("]") {
                    return self.expected("`]`");
                }
                value = Expression { node, span: start..end };
            } else if self.take(".") {
                let Some((name, span)) = self.hyphenated() else { return self.expected("the name of a field") };
                let end = span.end;
                value = Expression { node: Node::Field(Box::new(value), name, span), span: start..end };
            } else {
                return Ok(value);
            }
        }
    }

    fn primary(&mut self, depth: u32) -> Result<Expression, Wrong> {
        const WHAT: &str = "a value: a number, a text, a name, or a bracket";
        let Some(token) = self.peek() else { return self.expected(WHAT) };
        let node = match &token.kind {
            Kind::Number(value) | Kind::Characters(value) => Node::Number(*value),
            Kind::Text(text) => Node::Text(text.clone()),
            Kind::Word => Node::Name(self.text[token.span.clone()].to_owned()),
            Kind::Time(_) => {
                let message = "a time stands behind `within`, `pause` or `pace` alone".to_owned();
                return Err(Wrong { span: token.span.clone(), message });
            }
            Kind::Sign("(") => {
                self.at += 1;
                let inner = self.ranked(1, depth + 1)?;
                let end = self.here().end;
                if !self.take(")") {
                    return self.expected("`)`");
                }
                return Ok(Expression { node: inner.node, span: token.span.start..end });
            }
            _ => return self.expected(WHAT),
        };
        self.at += 1;
        Ok(Expression { node, span: token.span.clone() })
    }

    /// A name that may have hyphens, such as that of a layout or a field.
    pub(crate) fn hyphenated(&mut self) -> Option<(String, Range<usize>)> {
        let first = self.peek().filter(|it| it.kind == Kind::Word)?;
        let start = first.span.start;
        let mut end = first.span.end;
        self.at += 1;
        while let [hyphen, next, ..] = &self.tokens[self.at..] {
            let is_part = matches!(next.kind, Kind::Word | Kind::Mixed | Kind::Number(_))
                && !self.text[next.span.clone()].starts_with('$');
            let is_close = hyphen.span == (end..end + 1) && next.span.start == end + 1;
            if hyphen.kind != Kind::Sign("-") || !is_part || !is_close {
                break;
            }
            end = next.span.end;
            self.at += 2;
        }
        Some((self.text[start..end].to_owned(), start..end))
    }
}

impl Expression {
    /// Reads a text that is one expression and nothing else; its spans are bytes of this text.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let lines = crate::token::lines(text);
        let [line] = &lines[..] else { return None };
        if line.tokens.len() > MOST_TOKENS {
            return None;
        }
        let mut cursor = Cursor { text, tokens: &line.tokens, at: 0, end: text.len() };
        let found = cursor.expression().ok()?;
        cursor.peek().is_none().then_some(found)
    }

    /// Calls on itself and all that it is made of, outer ones first.
    pub fn visit<'a>(&'a self, call: &mut dyn FnMut(&'a Self)) {
        call(self);
        match &self.node {
            Node::Number(_) | Node::Text(_) | Node::Name(_) => (),
            Node::Unary(_, it) | Node::Field(it, _, _) => it.visit(call),
            Node::Binary(_, left, right) | Node::Index(left, right) => {
                left.visit(call);
                right.visit(call);
            }
            Node::Slice(value, range) => {
                value.visit(call);
                range.from.visit(call);
                range.to.visit(call);
            }
        }
    }

    /// The names in it, and where each stands.
    #[must_use]
    pub fn names(&self) -> Vec<(&str, &Range<usize>)> {
        let mut found = Vec::new();
        self.visit(&mut |it| {
            if let Node::Name(name) = &it.node {
                found.push((name.as_str(), &it.span));
            }
        });
        found
    }
}
