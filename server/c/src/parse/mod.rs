//! Tokens to what they say. One reader for whole texts, conditions and macros' bodies.

mod declaration;
mod expression;
mod initial;
mod record;
mod statement;

use std::sync::{Arc, LazyLock};

use rustc_hash::FxHashMap;

use crate::evaluate::Judge;
use crate::macros::Macros;
use crate::names::{Globals, Look, NameUse, Role, Seen, is_keyword};
use crate::preprocess::Prepared;
use crate::text::{FileKey, Span};
use crate::tokens::{Kind, Token};
use crate::tree::{Assembly, Declaration, Expr, ExprKind, Function, Object};
use crate::types::{Type, Types};

/// Brackets in brackets, statements in statements: what is deeper is broken.
const DEEPEST: usize = 200;

/// What a unit says.
#[derive(Debug, Default)]
pub(crate) struct Items {
    pub(crate) functions: Vec<Function>,
    pub(crate) declarations: Vec<Declaration>,
    pub(crate) objects: Vec<Object>,
    pub(crate) assembly: Vec<Assembly>,
    pub(crate) troubles: Vec<Span>,
    /// Types of what is declared outside of functions.
    pub(crate) globals: FxHashMap<Arc<str>, Type>,
    /// For each function, the types of what is declared in it.
    pub(crate) locals: Vec<FxHashMap<Arc<str>, Type>>,
}

/// A name in a function.
struct Local {
    role: Role,
    at: Span,
    ty: Type,
}

struct Parser<'a> {
    tokens: &'a [Token],
    at: usize,
    macros: &'a Macros,
    texts: Option<&'a FxHashMap<FileKey, Arc<str>>>,
    /// Types that were read before these tokens.
    outer: &'a Types,
    types: Types,
    int_bytes: u32,
    depth: usize,
    /// The last token so far that a macro laid down.
    last_made: Option<usize>,
    /// What is being read cannot be: whoever reads the statement skips the rest of it.
    is_lost: bool,
    scopes: Vec<FxHashMap<Arc<str>, Local>>,
    seen: Vec<Seen>,
    globals: Globals,
    items: Items,
}

static NO_TYPES: LazyLock<Types> = LazyLock::new(Types::default);
static NO_MACROS: LazyLock<Macros> = LazyLock::new(Macros::default);

/// Whether tokens are one expression without a comma outside of brackets.
pub(crate) fn is_expression(tokens: &[Token]) -> bool {
    let mut parser = Parser::new(tokens, &NO_MACROS, &NO_TYPES, 4);
    parser.assignment();
    parser.is_whole()
}

/// Tokens as one expression.
pub(crate) fn expression(tokens: &[Token], types: &Types, macros: &Macros, int_bytes: u32) -> Option<Expr> {
    let mut parser = Parser::new(tokens, macros, types, int_bytes);
    let expression = parser.expression();
    parser.is_whole().then_some(expression)
}

/// All that a unit's tokens say.
pub(crate) fn unit(prepared: &Prepared, int_bytes: u32) -> (Items, Types, Vec<NameUse>) {
    let mut parser = Parser::new(&prepared.tokens, &prepared.macros, &NO_TYPES, int_bytes);
    parser.texts = Some(&prepared.texts);
    while parser.peek().is_some() {
        parser.item();
    }
    let names = crate::names::resolve(parser.seen, prepared, parser.globals, &parser.types);
    (parser.items, parser.types, names)
}

impl<'a> Parser<'a> {
    fn new(tokens: &'a [Token], macros: &'a Macros, outer: &'a Types, int_bytes: u32) -> Parser<'a> {
        Parser {
            tokens,
            at: 0,
            macros,
            texts: None,
            outer,
            types: Types::default(),
            int_bytes,
            depth: 0,
            last_made: None,
            is_lost: false,
            scopes: Vec::new(),
            seen: Vec::new(),
            globals: Globals::default(),
            items: Items::default(),
        }
    }

    /// All tokens were read, and nothing was broken.
    fn is_whole(&self) -> bool {
        self.at == self.tokens.len() && !self.is_lost && self.items.troubles.is_empty()
    }

    fn peek(&self) -> Option<&'a Token> {
        self.tokens.get(self.at)
    }

    fn ahead(&self, by: usize) -> Option<&'a Token> {
        self.tokens.get(self.at + by)
    }

    fn bump(&mut self) -> Option<&'a Token> {
        let token = self.tokens.get(self.at)?;
        if token.is_made {
            self.last_made = Some(self.at);
        }
        self.at += 1;
        Some(token)
    }

    fn is(&self, mark: &str) -> bool {
        self.peek().is_some_and(|it| it.is(mark))
    }

    fn is_word(&self, word: &str) -> bool {
        self.peek().is_some_and(|it| it.is_word(word))
    }

    fn eat(&mut self, mark: &str) -> bool {
        let is = self.is(mark);
        if is {
            self.bump();
        }
        is
    }

    fn eat_word(&mut self, word: &str) -> bool {
        let is = self.is_word(word);
        if is {
            self.bump();
        }
        is
    }

    /// A mark that has to be there.
    fn expect(&mut self, mark: &str) {
        if !self.eat(mark) {
            self.lose();
        }
    }

    /// What stands here cannot be read.
    fn lose(&mut self) {
        if !self.is_lost {
            self.is_lost = true;
            self.trouble();
        }
    }

    fn trouble(&mut self) {
        let near = self.peek().or(self.tokens.last());
        self.items.troubles.extend(near.map(|it| it.span));
    }

    /// From a token to the one that was read last.
    fn span_from(&self, start: usize) -> Span {
        let nowhere = Span { file: FileKey(u32::MAX), start: 0, end: 0 };
        let Some(first) = self.tokens.get(start).or(self.tokens.last()) else { return nowhere };
        let mut last = self.at.max(start + 1).min(self.tokens.len()) - 1;
        // An include may lie between: then what stands in the first file.
        while last > start && self.tokens[last].span.file != first.span.file {
            last -= 1;
        }
        first.span.to(self.tokens[last.max(start.min(last))].span)
    }

    /// An expression that started at a token.
    fn node(&self, start: usize, kind: ExprKind) -> Expr {
        Expr::new(kind, self.span_from(start), self.last_made.is_some_and(|it| it >= start))
    }

    /// One level deeper; false at the limit.
    fn enter(&mut self) -> bool {
        let is_in = self.depth < DEEPEST;
        self.depth += usize::from(is_in);
        is_in
    }

    /// Skips to what ends the part that is being read: a comma, a semicolon or a bracket that closes.
    fn skip_part(&mut self) {
        let mut depth = 0usize;
        while let Some(token) = self.peek() {
            if token.kind == Kind::Mark {
                match &*token.text {
                    "(" | "[" | "{" => depth += 1,
                    ")" | "]" | "}" if depth == 0 => return,
                    ")" | "]" | "}" => depth -= 1,
                    "," | ";" if depth == 0 => return,
                    _ => (),
                }
            }
            self.bump();
        }
    }

    /// A place of a name; what macros lay down has none.
    fn see(&mut self, token: &Token, role: Role, is_definition: bool, declared_at: Option<Span>, look: Look) {
        if !token.is_made {
            let (name, span) = (token.text.clone(), token.span);
            self.seen.push(Seen { at: NameUse { name, span, role, is_definition, declared_at }, look });
        }
    }

    fn local(&self, name: &str) -> Option<&Local> {
        self.scopes.iter().rev().find_map(|it| it.get(name))
    }

    /// The places that a name in an expression means.
    fn see_name(&mut self, token: &Token) {
        if let Some(local) = self.local(&token.text) {
            let (role, at) = (local.role, local.at);
            self.see(token, role, false, Some(at), Look::Known);
            return;
        }
        let found = self.macros.find(&token.text, crate::macros::When::At(token.span));
        match found.map(|it| &self.macros.all[it]) {
            Some(it) => {
                let at = (!it.is_setting).then_some(it.define.name_span);
                self.see(token, Role::Macro, false, at, Look::Known);
            }
            None => self.see(token, Role::Unknown, false, None, Look::Global),
        }
    }

    /// The typedef that a name is, or that its macro is another word for.
    fn typedef(&self, token: &Token) -> Option<&Arc<str>> {
        if token.kind != Kind::Name || is_keyword(&token.text) {
            return None;
        }
        let mut name = &token.text;
        for _ in 0..8 {
            if self.local(name).is_some() {
                return None;
            }
            let found = self.types.typedef(name).or_else(|| self.outer.typedef(name));
            if let Some(found) = found {
                return Some(&found.name);
            }
            name = self.macros.other_word(name, token.span)?;
        }
        None
    }

    /// Asks what an expression is, with all that is declared so far.
    fn judged<T>(&self, ask: impl FnOnce(&Judge) -> T) -> T {
        let objects = |name: &str| match self.local(name) {
            Some(local) => Some(local.ty.clone()),
            None => self.items.globals.get(name).cloned(),
        };
        let is_whole = self.texts.is_some();
        ask(&Judge {
            types: if is_whole { &self.types } else { self.outer },
            macros: self.macros,
            int_bytes: self.int_bytes,
            texts: self.texts,
            objects: &objects,
            is_condition: false,
        })
    }
}
