//! Statements.

use super::Parser;
use crate::names::{Look, Role, is_keyword, is_type_word};
use crate::text::Span;
use crate::tokens::{Kind, Token};
use crate::tree::{Arm, Expr, Statement, StatementKind};

impl<'a> Parser<'a> {
    /// A block's statements, from its brace to the one that closes.
    pub(super) fn block(&mut self) -> Vec<Statement> {
        let mut body = Vec::new();
        self.expect("{");
        self.scopes.push(Default::default());
        self.statements(&mut body);
        self.scopes.pop();
        if !self.eat("}") {
            // The next function starts, or the text ends, inside of this one.
            self.trouble();
        }
        body
    }

    /// Statements to a brace that closes.
    fn statements(&mut self, body: &mut Vec<Statement>) {
        while self.goes_on() {
            self.statement(body);
        }
    }

    fn goes_on(&self) -> bool {
        self.peek().is_some_and(|it| !(it.is("}") || it.is_flush && self.starts_function()))
    }

    /// Whether a declaration starts here.
    pub(super) fn starts_declaration(&self) -> bool {
        let Some(first) = self.peek().filter(|it| it.kind == Kind::Name) else { return false };
        if is_type_word(&first.text) {
            return true;
        }
        if is_keyword(&first.text) || self.ahead(1).is_some_and(|it| it.is(":")) {
            return false;
        }
        if self.typedef(first).is_some() {
            return true;
        }
        // A name that nobody explains: `name name;` or `name *name;`
        let stars = self.tokens[self.at + 1..].iter().take(8).take_while(|it| it.is("*")).count();
        let is_plain = |it: &Token| it.kind == Kind::Name && !is_keyword(&it.text) && !it.is_first;
        let is_named = self.ahead(1 + stars).is_some_and(is_plain);
        let ends = |it: &Token| [";", "=", ",", "["].iter().any(|mark| it.is(mark));
        let is_shadowed =
            stars > 0 && (self.local(&first.text).is_some() || self.items.globals.contains_key(&first.text));
        is_named && !is_shadowed && self.ahead(2 + stars).is_some_and(ends)
    }

    /// One statement, with the labels before it.
    fn statement(&mut self, body: &mut Vec<Statement>) {
        let start = self.at;
        if !self.enter() {
            self.trouble();
            self.skip_statement(start);
            body.push(self.said(start, StatementKind::Broken));
            return;
        }
        let depth = self.depth;
        self.is_lost = false;
        let mut kind = self.statement_kind();
        if self.is_lost {
            self.skip_statement(start);
            self.is_lost = false;
            kind = StatementKind::Broken;
        }
        self.depth = depth - 1;
        body.push(self.said(start, kind));
    }

    fn said(&self, start: usize, kind: StatementKind) -> Statement {
        Statement { kind, span: self.span_from(start) }
    }

    /// Skips to behind a semicolon, or to a brace.
    fn skip_statement(&mut self, start: usize) {
        let mut depth = 0usize;
        while let Some(token) = self.peek() {
            let is_next = self.at > start && token.is_flush && self.starts_function();
            if is_next || (depth == 0 && token.is("}")) {
                break;
            }
            if token.is("{") && depth == 0 && self.at > start && !self.tokens[self.at - 1].is("=") {
                break;
            }
            self.bump();
            match &*token.text {
                "{" => depth += 1,
                "}" => depth -= 1,
                ";" if depth == 0 => break,
                _ => (),
            }
        }
        if self.at == start && self.peek().is_some_and(|it| !it.is("}")) {
            self.bump();
        }
    }

    fn statement_kind(&mut self) -> StatementKind {
        if let Some(assembly) = self.assembly() {
            let text = assembly.text.clone();
            self.items.assembly.push(assembly);
            return StatementKind::Assembly(text);
        }
        if self.is("{") {
            return StatementKind::Block(self.block());
        }
        if self.eat(";") {
            return StatementKind::Empty;
        }
        if self.starts_declaration() {
            return self.declaration();
        }
        let Some(first) = self.peek().filter(|it| it.kind == Kind::Name) else {
            return self.plain();
        };
        if self.ahead(1).is_some_and(|it| it.is(":")) && !is_keyword(&first.text) {
            self.bump();
            self.bump();
            self.see(first, Role::Label, true, Some(first.span), Look::Known);
            return StatementKind::Label(first.text.clone(), first.span);
        }
        match &*first.text {
            "if" => {
                self.bump();
                let condition = self.in_brackets();
                let then = self.part();
                let otherwise = if self.eat_word("else") { self.part() } else { Vec::new() };
                StatementKind::If { condition, then, otherwise }
            }
            "while" => {
                self.bump();
                let condition = self.in_brackets();
                StatementKind::While { condition, body: self.part() }
            }
            "do" => {
                self.bump();
                let body = self.part();
                if !self.eat_word("while") {
                    self.lose();
                }
                let condition = self.in_brackets();
                self.end();
                StatementKind::DoWhile { body, condition }
            }
            "for" => {
                self.bump();
                self.expect("(");
                let start = self.optional(";");
                let condition = self.optional(";");
                let step = self.optional(")");
                StatementKind::For { start, condition, step, body: self.part() }
            }
            "switch" => {
                self.bump();
                let value = self.in_brackets();
                StatementKind::Switch { value, arms: self.arms() }
            }
            "return" => {
                self.bump();
                let value = (!self.is(";") && !self.is("}")).then(|| self.expression());
                self.end();
                StatementKind::Return(value)
            }
            "goto" => {
                self.bump();
                let Some(label) = self.peek().filter(|it| it.kind == Kind::Name) else {
                    self.lose();
                    return StatementKind::Broken;
                };
                self.bump();
                self.see(label, Role::Label, false, None, Look::Label);
                self.end();
                StatementKind::Goto(label.text.clone(), label.span)
            }
            "break" | "continue" => {
                self.bump();
                self.end();
                if &*first.text == "break" { StatementKind::Break } else { StatementKind::Continue }
            }
            // A label of a switch that is not directly in it: the label alone is broken.
            "case" | "default" => {
                self.label();
                self.items.troubles.push(first.span);
                StatementKind::Broken
            }
            _ => self.plain(),
        }
    }

    fn plain(&mut self) -> StatementKind {
        let expression = self.expression();
        self.end();
        StatementKind::Expression(expression)
    }

    /// The semicolon. One that is left out at a line's end is a trouble and no more.
    fn end(&mut self) {
        if self.is_lost || self.eat(";") {
            return;
        }
        if self.peek().is_none_or(|it| it.is("}") || (it.is_first && it.kind == Kind::Name)) {
            self.trouble();
        } else {
            self.lose();
        }
    }

    fn in_brackets(&mut self) -> Expr {
        self.expect("(");
        let condition = self.expression();
        self.expect(")");
        condition
    }

    fn optional(&mut self, end: &str) -> Option<Expr> {
        let expression = (!self.is(end)).then(|| self.expression());
        self.expect(end);
        expression
    }

    /// What an `if` or a loop does: one statement, of a block those in it.
    fn part(&mut self) -> Vec<Statement> {
        let mut body = Vec::new();
        if self.is_lost {
            return body;
        }
        if self.is("{") {
            return self.block_in_part();
        }
        loop {
            if !self.goes_on() {
                self.trouble();
                break;
            }
            self.statement(&mut body);
            if !matches!(body.last().map(|it| &it.kind), Some(StatementKind::Label(..))) {
                break;
            }
        }
        body
    }

    fn block_in_part(&mut self) -> Vec<Statement> {
        if !self.enter() {
            self.lose();
            return Vec::new();
        }
        let body = self.block();
        self.depth -= 1;
        body
    }

    /// The arms of a switch.
    fn arms(&mut self) -> Vec<Arm> {
        let mut arms: Vec<Arm> = Vec::new();
        if self.is_lost {
            return arms;
        }
        if !self.is("{") {
            let start = self.at;
            let body = self.part();
            arms.push(Arm { labels: Vec::new(), body, span: self.span_from(start) });
            return arms;
        }
        self.bump();
        self.scopes.push(Default::default());
        while self.goes_on() {
            let start = self.at;
            let mut labels = Vec::new();
            while self.is_word("case") || self.is_word("default") {
                labels.extend(self.label());
            }
            let mut body = Vec::new();
            while self.goes_on() && !self.is_word("case") && !self.is_word("default") {
                self.statement(&mut body);
            }
            arms.push(Arm { labels, body, span: self.span_from(start) });
        }
        self.scopes.pop();
        if !self.eat("}") {
            self.trouble();
        }
        arms
    }

    /// `case` with its value or `default`, with the colon. Nothing where it cannot be read.
    fn label(&mut self) -> Option<Option<Expr>> {
        let is_case = self.is_word("case");
        self.bump();
        self.is_lost = false;
        // Up to the colon: a conditional with one of its own needs brackets here.
        let value = is_case.then(|| self.assignment());
        if !self.eat(":") {
            self.lose();
            while self.peek().is_some_and(|it| !it.is_first && ![";", "}", "{", ":"].iter().any(|mark| it.is(mark))) {
                self.bump();
            }
            self.eat(":");
        }
        let is_lost = std::mem::take(&mut self.is_lost);
        (!is_lost).then_some(value)
    }

    /// Objects of a block.
    fn declaration(&mut self) -> StatementKind {
        let said = self.specifiers();
        let mut objects = Vec::new();
        let mut is_first = true;
        while !(self.is_lost || is_first && self.is(";")) {
            is_first = false;
            let from = self.at;
            let declared = self.declarator();
            let Some(name) = declared.name else {
                self.lose();
                break;
            };
            if said.is_typedef || said.is_extern || declared.is_function() {
                self.declare_global(from, &said, name, &declared);
            } else {
                let mut object = super::declaration::object(Some(name), name.span, declared.ty(&said.ty));
                object.is_static = said.is_static;
                self.see(name, Role::Local, true, Some(name.span), Look::Known);
                self.declare_local(&name.text, Role::Local, name.span, &object.ty);
                object.init = self.initial(&mut object.ty);
                self.declare_local(&name.text, Role::Local, name.span, &object.ty);
                object.span = self.span_from(from);
                objects.push(object);
            }
            if !self.eat(",") {
                break;
            }
        }
        self.end();
        StatementKind::Declaration(objects)
    }

    /// Tells the jumps of a function where their labels stand; `from` is the first place of the function.
    pub(super) fn find_labels(&mut self, from: usize) {
        let own = &mut self.seen[from..];
        let labels: Vec<(std::sync::Arc<str>, Span)> = own
            .iter()
            .filter(|it| it.at.role == Role::Label && it.at.is_definition)
            .map(|it| (it.at.name.clone(), it.at.span))
            .collect();
        let labels: rustc_hash::FxHashMap<_, _> = labels.into_iter().collect();
        for it in own.iter_mut().filter(|it| it.look == Look::Label) {
            it.at.declared_at = labels.get(&it.at.name).copied();
        }
    }
}
