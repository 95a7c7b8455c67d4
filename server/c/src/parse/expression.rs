//! Expressions.

use super::Parser;
use crate::names::{Look, Role, is_keyword};
use crate::tokens::{Kind, Token, unquoted};
use crate::tree::{Expr, ExprKind};
use crate::types::{Integer, Number, Type};

/// Operators with two operands and their ranks: a higher one binds first.
const BINARY: &[(&str, u8)] = &[
    ("||", 1),
    ("&&", 2),
    ("|", 3),
    ("^", 4),
    ("&", 5),
    ("==", 6),
    ("!=", 6),
    ("<", 7),
    (">", 7),
    ("<=", 7),
    (">=", 7),
    ("<<", 8),
    (">>", 8),
    ("+", 9),
    ("-", 9),
    ("*", 10),
    ("/", 10),
    ("%", 10),
];

const ASSIGNMENTS: &[&str] = &["=", "+=", "-=", "*=", "/=", "%=", "&=", "^=", "|=", "<<=", ">>="];

/// How C of the seventies wrote some of them.
const OLD_ASSIGNMENTS: &[(&str, &str)] =
    &[("+", "+="), ("-", "-="), ("/", "/="), ("%", "%="), ("^", "^="), ("|", "|="), ("<<", "<<="), (">>", ">>=")];

const UNARY: &[&str] = &["-", "+", "!", "~", "*", "&", "++", "--"];

impl<'a> Parser<'a> {
    /// An expression with its commas.
    pub(super) fn expression(&mut self) -> Expr {
        let start = self.at;
        let mut left = self.assignment();
        while !self.is_lost && self.eat(",") {
            let right = self.assignment();
            left = self.node(start, ExprKind::Comma(Box::new(left), Box::new(right)));
        }
        left
    }

    /// An expression without commas.
    pub(super) fn assignment(&mut self) -> Expr {
        let start = self.at;
        if !self.enter() {
            self.trouble();
            self.skip_part();
            return self.node(start, ExprKind::Broken);
        }
        let left = self.conditional(start);
        let expression = match self.assignment_mark() {
            Some(mark) => {
                let right = self.assignment();
                self.node(start, ExprKind::Assign(mark, Box::new(left), Box::new(right)))
            }
            None => left,
        };
        self.depth -= 1;
        expression
    }

    fn assignment_mark(&mut self) -> Option<&'static str> {
        let token = self.peek().filter(|it| it.kind == Kind::Mark)?;
        let mark = ASSIGNMENTS.iter().find(|it| **it == &*token.text)?;
        self.bump();
        if *mark != "=" {
            return Some(mark);
        }
        // `=+ 1` adds. `=-1` is a negative number, `= -1` too; `x =- 1` with blanks around subtracts.
        let is_beside = |it: &&Token| !it.is_made && it.span.file == token.span.file && it.span.start == token.span.end;
        let next = self.peek().filter(|it| it.kind == Kind::Mark).filter(is_beside);
        let old = next.and_then(|next| OLD_ASSIGNMENTS.iter().find(|it| it.0 == &*next.text).zip(Some(next)));
        let Some(((_, new), next)) = old else { return Some(mark) };
        let is_blank_behind = self.ahead(1).is_none_or(|it| it.span.start > next.span.end || it.is_made);
        let is_blank_before = self.at >= 2 && self.tokens[self.at - 2].span.end < token.span.start;
        if matches!(*new, "+=" | "-=") && !(is_blank_behind && is_blank_before) {
            return Some(mark);
        }
        self.bump();
        Some(new)
    }

    fn conditional(&mut self, start: usize) -> Expr {
        let condition = self.binary(1);
        if !self.eat("?") {
            return condition;
        }
        let then = self.expression();
        self.expect(":");
        if self.is_lost {
            return self.node(start, ExprKind::Broken);
        }
        let from = self.at;
        if !self.enter() {
            self.trouble();
            self.skip_part();
            return self.node(start, ExprKind::Broken);
        }
        let otherwise = self.conditional(from);
        self.depth -= 1;
        self.node(start, ExprKind::Conditional(Box::new(condition), Box::new(then), Box::new(otherwise)))
    }

    fn binary(&mut self, lowest: u8) -> Expr {
        let start = self.at;
        let mut left = self.unary();
        while !self.is_lost {
            let Some(token) = self.peek().filter(|it| it.kind == Kind::Mark) else { break };
            let Some((mark, rank)) = BINARY.iter().find(|it| it.0 == &*token.text) else { break };
            if *rank < lowest {
                break;
            }
            self.bump();
            let right = self.binary(rank + 1);
            left = self.node(start, ExprKind::Binary(mark, Box::new(left), Box::new(right)));
        }
        left
    }

    fn unary(&mut self) -> Expr {
        let start = self.at;
        if !self.enter() {
            self.trouble();
            self.skip_part();
            return self.node(start, ExprKind::Broken);
        }
        let expression = self.unary_inside(start);
        self.depth -= 1;
        expression
    }

    fn unary_inside(&mut self, start: usize) -> Expr {
        let mark = self.peek().filter(|it| it.kind == Kind::Mark);
        if let Some(mark) = mark.and_then(|mark| UNARY.iter().find(|it| **it == &*mark.text)) {
            self.bump();
            let of = self.unary();
            return self.node(start, ExprKind::Unary(mark, Box::new(of)));
        }
        if self.is_word("sizeof") {
            self.bump();
            if self.is("(") && self.starts_type(1) {
                self.bump();
                let ty = self.type_name();
                self.expect(")");
                return self.node(start, ExprKind::SizeofType(ty));
            }
            let of = self.unary();
            return self.node(start, ExprKind::SizeofExpr(Box::new(of)));
        }
        if self.is("(") && (self.starts_type(1) || self.is_cast_to_unknown()) {
            self.bump();
            let ty = self.type_name();
            self.expect(")");
            let of = self.unary();
            return self.node(start, ExprKind::Cast(ty, Box::new(of)));
        }
        self.postfix(start)
    }

    /// `(name) x` and `(name *)` are casts whatever the name is.
    fn is_cast_to_unknown(&self) -> bool {
        let is_name = self.ahead(1).is_some_and(|it| it.kind == Kind::Name && !is_keyword(&it.text));
        let stars = self.tokens[self.at..].iter().skip(2).take(8).take_while(|it| it.is("*")).count();
        if !is_name || !self.ahead(2 + stars).is_some_and(|it| it.is(")")) {
            return false;
        }
        let behind = self.ahead(3).map(|it| it.kind);
        stars > 0 || matches!(behind, Some(Kind::Name | Kind::Number | Kind::Character | Kind::Text))
    }

    fn postfix(&mut self, start: usize) -> Expr {
        let mut left = self.primary(start);
        while !self.is_lost {
            let kind = if self.eat("(") {
                ExprKind::Call { function: Box::new(left), arguments: self.arguments() }
            } else if self.eat("[") {
                let index = self.expression();
                self.expect("]");
                ExprKind::Index(Box::new(left), Box::new(index))
            } else if self.is(".") || self.is("->") {
                let is_arrow = self.is("->");
                self.bump();
                let Some(name) = self.peek().filter(|it| it.kind == Kind::Name) else {
                    self.lose();
                    return self.node(start, ExprKind::Broken);
                };
                self.bump();
                self.see_member(&left, name, is_arrow);
                ExprKind::Member { of: Box::new(left), name: name.text.clone(), name_span: name.span, is_arrow }
            } else if self.eat("++") {
                ExprKind::Unary("x++", Box::new(left))
            } else if self.eat("--") {
                ExprKind::Unary("x--", Box::new(left))
            } else {
                break;
            };
            left = self.node(start, kind);
        }
        left
    }

    fn see_member(&mut self, of: &Expr, name: &Token, is_arrow: bool) {
        let found = self.judged(|judge| {
            let ty = judge.typed(of)?.ty;
            let record = match judge.types.resolved(&ty)? {
                Type::Pointer(to) | Type::Array(to, _) if is_arrow => judge.types.resolved(to)?,
                other => other,
            };
            let Type::Record(tag) = record else { return None };
            let fields = &judge.types.record(tag)?.fields;
            fields.iter().find(|it| it.name == name.text).map(|it| it.name_span)
        });
        let look = if found.is_some() { Look::Known } else { Look::Member };
        self.see(name, Role::Member, false, found, look);
    }

    /// What stands between the brackets of a call, and the one that closes.
    fn arguments(&mut self) -> Vec<Expr> {
        let mut arguments = Vec::new();
        if self.eat(")") {
            return arguments;
        }
        loop {
            let start = self.at;
            // Macros that nobody knows may take types.
            arguments.push(if self.starts_type(0) {
                let ty = self.type_name();
                self.node(start, ExprKind::Type(ty))
            } else {
                self.assignment()
            });
            if self.is_lost || !self.eat(",") {
                break;
            }
        }
        self.expect(")");
        arguments
    }

    fn primary(&mut self, start: usize) -> Expr {
        let Some(token) = self.peek() else {
            self.lose();
            return self.node(start, ExprKind::Broken);
        };
        match token.kind {
            Kind::Number | Kind::Character => {
                self.bump();
                let kind = match token.kind {
                    Kind::Number => number(&token.text, self.int_bytes),
                    _ => Some(ExprKind::Character(character(&unquoted(&token.text), self.int_bytes))),
                };
                if kind.is_none() {
                    self.items.troubles.push(token.span);
                }
                self.node(start, kind.unwrap_or(ExprKind::Broken))
            }
            Kind::Text => self.strings(start),
            Kind::Name if !is_keyword(&token.text) => {
                // A name beside a string is one too, whether its macro is known or not.
                let is_macro = self.macros.strings(&token.text, token.span).is_some();
                let next = self.ahead(1);
                let is_before_name =
                    is_macro && next.is_some_and(|it| self.macros.strings(&it.text, it.span).is_some());
                if is_before_name || next.is_some_and(|it| it.kind == Kind::Text) {
                    return self.strings(start);
                }
                self.bump();
                self.see_name(token);
                self.node(start, ExprKind::Name(token.text.clone()))
            }
            Kind::Mark if token.is("(") => {
                self.bump();
                let inside = self.expression();
                self.expect(")");
                // The brackets belong to it: its text is whole.
                Expr::new(inside.kind, self.span_from(start), self.last_made.is_some_and(|it| it >= start))
            }
            _ => {
                self.lose();
                self.node(start, ExprKind::Broken)
            }
        }
    }

    /// Strings beside each other are one, also those that macros stand for; one that nobody knows adds nothing.
    fn strings(&mut self, start: usize) -> Expr {
        let mut bytes = Vec::new();
        while let Some(token) = self.peek() {
            match token.kind {
                Kind::Text => bytes.extend(unquoted(&token.text)),
                Kind::Name if !is_keyword(&token.text) => {
                    let parts = self.macros.strings(&token.text, token.span).unwrap_or_default();
                    parts.iter().for_each(|it| bytes.extend(unquoted(&it.text)));
                    self.see_name(token);
                }
                _ => break,
            }
            self.bump();
        }
        self.node(start, ExprKind::Text(bytes))
    }
}

/// A number as it is written (ANSI X3.159-1989, 3.1.3.2: the first type that has the value).
fn number(text: &str, int_bytes: u32) -> Option<ExprKind> {
    let lower = text.to_ascii_lowercase();
    let digits = lower.trim_end_matches(['u', 'l']);
    let suffix = &lower[digits.len()..];
    let (is_unsigned, is_long) = (suffix.contains('u'), suffix.contains('l'));
    if suffix.len() > 3 || suffix.matches('u').count() > 1 {
        return None;
    }
    let (base, digits) = match digits.strip_prefix("0x") {
        Some(digits) => (16, digits),
        None if digits.len() > 1 && digits.starts_with('0') && !digits.contains(['.', 'e']) => (8, &digits[1..]),
        None => (10, digits),
    };
    let Ok(value) = u32::from_str_radix(digits, base) else {
        let float = lower.trim_end_matches(['f', 'l']);
        let is_float = base != 16 && float.contains(['.', 'e']);
        return is_float.then(|| float.parse().ok()).flatten().map(ExprKind::Float);
    };
    let (int, long) = (Integer::signed(int_bytes), Integer::signed(4));
    let (unsigned_int, unsigned_long) = (Integer::unsigned(int_bytes), Integer::unsigned(4));
    let choices: &[Integer] = match (is_unsigned, is_long, base) {
        (false, false, 10) => &[int, long, unsigned_long],
        (false, false, _) => &[int, unsigned_int, long, unsigned_long],
        (true, false, _) => &[unsigned_int, unsigned_long],
        (false, true, _) => &[long, unsigned_long],
        (true, true, _) => &[unsigned_long],
    };
    let value = i64::from(value);
    let ty = *choices.iter().find(|it| it.wrap(value) == value)?;
    Some(ExprKind::Number(Number { value, ty }))
}

/// A character constant; of several characters the first one is the highest byte (common practice, no source).
fn character(bytes: &[u8], int_bytes: u32) -> Number {
    let ty = Integer::signed(int_bytes);
    let value = match bytes {
        [only] => i64::from(*only as i8),
        _ => bytes.iter().fold(0i64, |sum, byte| (sum << 8 | i64::from(*byte)) & 0xffff_ffff),
    };
    Number { value: ty.wrap(value), ty }
}
