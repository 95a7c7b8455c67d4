//! Declarations: types, declarators, functions, records.

use std::sync::Arc;

use super::{Local, Parser};
use crate::names::{Look, Role, is_keyword, is_type_word};
use crate::text::Span;
use crate::tokens::{Kind, Token};
use crate::tree::{Assembly, Declaration, Function, Object};
use crate::types::{Integer, Type, Typedef};

/// Parts of one declarator: more are not kept.
const MOST_PARTS: usize = 32;

/// What stands before the declarators.
pub(super) struct Said {
    pub(super) ty: Type,
    pub(super) is_static: bool,
    pub(super) is_extern: bool,
    pub(super) is_typedef: bool,
}

/// A part of a declarator, the one beside the name first.
enum Part {
    Pointer,
    Array(Option<u32>),
    Function,
}

/// What stands between a function's brackets.
#[derive(Default)]
pub(super) struct Parameters {
    /// Names alone, or nothing.
    is_old_style: bool,
    list: Vec<Object>,
}

/// A declarator.
pub(super) struct Declared<'a> {
    pub(super) name: Option<&'a Token>,
    parts: Vec<Part>,
    pub(super) parameters: Option<Parameters>,
}

impl Declared<'_> {
    pub(super) fn is_function(&self) -> bool {
        matches!(self.parts.first(), Some(Part::Function))
    }

    /// The type of the name, or for a function what it returns.
    fn applied(&self, base: &Type, skip: usize) -> Type {
        self.parts.iter().skip(skip).rev().fold(base.clone(), |ty, part| match part {
            Part::Pointer => Type::Pointer(Box::new(ty)),
            Part::Array(count) => Type::Array(Box::new(ty), *count),
            Part::Function => Type::Function(Box::new(ty)),
        })
    }

    pub(super) fn ty(&self, base: &Type) -> Type {
        self.applied(base, 0)
    }
}

impl<'a> Parser<'a> {
    /// Whether a type starts some tokens ahead.
    pub(super) fn starts_type(&self, by: usize) -> bool {
        let Some(token) = self.ahead(by).filter(|it| it.kind == Kind::Name) else { return false };
        is_type_word(&token.text) || self.typedef(token).is_some()
    }

    /// Words before declarators. Names that nobody explains are types where another name or a star follows.
    pub(super) fn specifiers(&mut self) -> Said {
        let int = Type::Integer(Integer::signed(self.int_bytes));
        let mut said = Said { ty: int, is_static: false, is_extern: false, is_typedef: false };
        let (mut long, mut short, mut unsigned, mut char) = (0, false, false, false);
        let mut whole: Option<Type> = None;
        let mut is_number = false;
        while let Some(token) = self.peek().filter(|it| it.kind == Kind::Name) {
            match &*token.text {
                "static" => said.is_static = true,
                "extern" => said.is_extern = true,
                "typedef" => said.is_typedef = true,
                "auto" | "register" | "const" | "volatile" => (),
                "long" => (long, is_number) = (long + 1, true),
                "short" => (short, is_number) = (true, true),
                "unsigned" => (unsigned, is_number) = (true, true),
                "signed" | "int" => is_number = true,
                "char" => (char, is_number) = (true, true),
                "void" => whole = Some(Type::Void),
                "float" => whole = Some(Type::Float(4)),
                "double" => whole = Some(Type::Float(8)),
                "struct" | "union" => {
                    whole = Some(self.record());
                    continue;
                }
                "enum" => {
                    whole = Some(self.enumeration());
                    continue;
                }
                word if is_keyword(word) => break,
                _ => {
                    let is_named = whole.is_some() || is_number;
                    let known = self.typedef(token).cloned();
                    let next = self.ahead(1);
                    let is_before_name = next.is_some_and(|it| it.kind == Kind::Name);
                    if !is_named && let Some(known) = known {
                        let at = self.types.typedef(&token.text).map(|it| it.name_span);
                        match at {
                            Some(at) => self.see(token, Role::Type, false, Some(at), Look::Known),
                            None => self.see_name(token),
                        }
                        whole = Some(Type::Named(known));
                    } else if is_before_name || next.is_some_and(|it| it.is("*")) {
                        self.see(token, Role::Unknown, false, None, Look::Global);
                        whole = whole.or((!is_number).then(|| Type::Named(token.text.clone())));
                    } else {
                        break;
                    }
                }
            }
            self.bump();
        }
        let bytes = match (char, short, long) {
            (true, ..) => 1,
            (_, true, _) => 2,
            (_, _, 0) => self.int_bytes,
            _ => 4,
        };
        said.ty = match whole {
            Some(Type::Float(4)) if long > 0 => Type::Float(8),
            Some(ty) => ty,
            None => Type::Integer(Integer { bytes, is_signed: !unsigned }),
        };
        said
    }

    /// A type by itself, as in a cast.
    pub(super) fn type_name(&mut self) -> Type {
        let start = self.at;
        let said = self.specifiers();
        let mut ty = said.ty;
        // `(name)` with a name that nobody explains.
        let is_alone = self.at == start && self.ahead(1).is_some_and(|it| it.is(")"));
        if let Some(token) = self.peek().filter(|it| is_alone && it.kind == Kind::Name && !is_keyword(&it.text)) {
            self.bump();
            self.see(token, Role::Unknown, false, None, Look::Global);
            ty = Type::Named(token.text.clone());
        }
        self.declarator().ty(&ty)
    }

    /// A declarator, with or without a name.
    pub(super) fn declarator(&mut self) -> Declared<'a> {
        let mut declared = Declared { name: None, parts: Vec::new(), parameters: None };
        if !self.enter() {
            self.lose();
            self.skip_part();
            return declared;
        }
        let mut pointers = 0;
        while self.is("*") || self.is_word("const") || self.is_word("volatile") || self.is_word("register") {
            pointers += usize::from(self.is("*"));
            self.bump();
        }
        let is_inner = self.is("(")
            && self.ahead(1).is_some_and(|it| {
                it.is("*") || it.is("(") || it.is("[") || (it.kind == Kind::Name && !self.starts_type(1))
            });
        if is_inner {
            self.bump();
            declared = self.declarator();
            self.expect(")");
        } else if let Some(name) = self.peek().filter(|it| it.kind == Kind::Name && !is_keyword(&it.text)) {
            self.bump();
            declared.name = Some(name);
        }
        while !self.is_lost {
            if self.eat("[") {
                let count = if self.is("]") { None } else { self.needed_value() };
                self.expect("]");
                declared.parts.push(Part::Array(count.and_then(|it| u32::try_from(it).ok())));
            } else if self.is("(") {
                self.bump();
                let parameters = self.parameters();
                if declared.parts.is_empty() {
                    declared.parameters = Some(parameters);
                }
                declared.parts.push(Part::Function);
            } else {
                break;
            }
        }
        declared.parts.extend((0..pointers.min(MOST_PARTS)).map(|_| Part::Pointer));
        declared.parts.truncate(MOST_PARTS);
        self.depth -= 1;
        declared
    }

    /// What stands between a declarator's brackets, and the one that closes.
    fn parameters(&mut self) -> Parameters {
        let mut parameters = Parameters::default();
        if self.eat(")") {
            parameters.is_old_style = true;
            return parameters;
        }
        let is_name = |it: Option<&Token>| it.is_some_and(|it| it.kind == Kind::Name && !is_keyword(&it.text));
        let ends = |it: Option<&Token>| it.is_some_and(|it| it.is(",") || it.is(")"));
        parameters.is_old_style = is_name(self.peek()) && !self.starts_type(0) && ends(self.ahead(1));
        while !self.is_lost {
            let start = self.at;
            if self.eat("...") {
                break;
            }
            if parameters.is_old_style {
                let Some(name) = self.peek().filter(|it| is_name(Some(it))) else {
                    self.lose();
                    break;
                };
                self.bump();
                self.see(name, Role::Parameter, true, Some(name.span), Look::Known);
                let int = Type::Integer(Integer::signed(self.int_bytes));
                parameters.list.push(object(Some(name), name.span, int));
            } else {
                let said = self.specifiers();
                let declared = self.declarator();
                if let Some(name) = declared.name {
                    self.see(name, Role::Parameter, true, Some(name.span), Look::Known);
                }
                if self.at == start {
                    self.lose();
                    break;
                }
                let ty = declared.ty(&said.ty);
                if ty != Type::Void {
                    parameters.list.push(object(declared.name, self.span_from(start), ty));
                }
            }
            if !self.eat(",") {
                break;
            }
        }
        self.expect(")");
        parameters
    }

    /// Something outside of functions.
    pub(super) fn item(&mut self) {
        let start = self.at;
        if self.eat(";") {
            return;
        }
        if let Some(assembly) = self.assembly() {
            self.items.assembly.push(assembly);
            return;
        }
        if let Some(length) = self.macro_line() {
            self.trouble();
            self.at += length;
            return;
        }
        self.is_lost = false;
        self.depth = 0;
        self.scopes.clear();
        let said = self.specifiers();
        let has_said = self.at > start;
        let mut is_first = true;
        while !(self.is_lost || has_said && is_first && self.is(";")) {
            let from = self.at;
            let declared = self.declarator();
            let Some(name) = declared.name else {
                self.lose();
                break;
            };
            if is_first && declared.is_function() && !self.is_lost && self.function(start, &said, name, &declared) {
                return;
            }
            self.declare_global(from, &said, name, &declared);
            is_first = false;
            if !self.eat(",") {
                break;
            }
        }
        // Macros that nobody knows may stand for whole declarations: then the next line is one of its own.
        if !self.is_lost && !self.is(";") && self.peek().is_none_or(|it| it.is_flush) {
            self.trouble();
            return;
        }
        if !self.is_lost {
            self.expect(";");
        }
        if self.is_lost {
            self.skip_item(start);
        }
    }

    /// How many tokens a line like `VERSION(1, "a")` has that is no declaration: a macro that nobody knows.
    fn macro_line(&self) -> Option<usize> {
        let is_name = self.peek().is_some_and(|it| it.kind == Kind::Name && it.is_flush && !is_keyword(&it.text));
        if !is_name || !self.ahead(1)?.is("(") {
            return None;
        }
        let inside = self.tokens[self.at + 2..].iter().take(64);
        let length = inside.clone().position(|it| it.is(")") || it.is("(") || it.is("["))?;
        let has_values = inside.take(length).any(|it| matches!(it.kind, Kind::Number | Kind::Text | Kind::Character));
        let close = self.ahead(2 + length)?;
        let behind = self.ahead(3 + length);
        let is_end = behind.is_none_or(|it| it.is(";") || (it.is_flush && !it.is("{")));
        (close.is(")") && has_values && is_end).then_some(3 + length)
    }

    /// Skips what cannot be read outside of functions: to a semicolon, a block's end or what looks like the next function.
    fn skip_item(&mut self, start: usize) {
        let mut depth = 0usize;
        while let Some(token) = self.peek() {
            if self.at > start && token.is_flush && self.starts_function() {
                return;
            }
            self.bump();
            match &*token.text {
                "{" => depth += 1,
                "}" => {
                    depth = depth.saturating_sub(1);
                    if depth == 0 || token.is_flush {
                        return;
                    }
                }
                ";" if depth == 0 => return,
                _ => (),
            }
        }
    }

    /// Whether a function with a body seems to start here.
    pub(super) fn starts_function(&self) -> bool {
        let mut by = 0;
        while self.ahead(by).is_some_and(|it| it.is("*") || it.kind == Kind::Name) && by < 8 {
            let token = self.ahead(by);
            if token.is_some_and(|it| it.kind == Kind::Name && is_keyword(&it.text) && !is_type_word(&it.text)) {
                return false;
            }
            by += 1;
        }
        let is_named = by > 0 && self.ahead(by - 1).is_some_and(|it| it.kind == Kind::Name && !is_keyword(&it.text));
        if !is_named || !self.ahead(by).is_some_and(|it| it.is("(")) {
            return false;
        }
        let close = self.tokens[self.at + by..].iter().take(64).position(|it| it.is(")"));
        let behind = close.and_then(|it| self.ahead(by + it + 1));
        behind.is_some_and(|it| it.is("{") || (it.is_first && it.kind == Kind::Name && is_type_word(&it.text)))
    }

    /// A function's body with its parameters, behind the declarator. False where there is none.
    fn function(&mut self, start: usize, said: &Said, name: &'a Token, declared: &Declared) -> bool {
        let before = (self.at, self.last_made);
        let none = Parameters::default();
        let told = declared.parameters.as_ref().unwrap_or(&none);
        let mut parameters = told.list.clone();
        if told.is_old_style && !self.is("{") {
            self.old_parameters(&mut parameters);
        }
        if !self.is("{") || said.is_typedef {
            (self.at, self.last_made) = before;
            self.is_lost = false;
            return false;
        }
        let result = declared.applied(&said.ty, 1);
        self.see(name, Role::Function, true, Some(name.span), Look::Global);
        self.globals.add(&name.text, Role::Function, name.span, true);
        self.items.globals.insert(name.text.clone(), Type::Function(Box::new(result.clone())));
        self.items.locals.push(Default::default());
        self.scopes.push(Default::default());
        for it in &mut parameters {
            // An array that is handed over is an address.
            if let Type::Array(of, _) = &it.ty {
                it.ty = Type::Pointer(of.clone());
            }
            self.declare_local(&it.name, Role::Parameter, it.name_span, &it.ty);
        }
        let labels = self.seen.len();
        let outside = std::mem::take(&mut self.items.assembly);
        let body = self.block();
        let assembly = std::mem::replace(&mut self.items.assembly, outside);
        self.find_labels(labels);
        self.scopes.clear();
        self.items.functions.push(Function {
            name: name.text.clone(),
            name_span: name.span,
            span: self.span_from(start),
            result,
            is_static: said.is_static,
            is_old_style: told.is_old_style && !parameters.is_empty(),
            parameters,
            body,
            assembly,
        });
        true
    }

    /// The types of parameters between the brackets and the body.
    fn old_parameters(&mut self, parameters: &mut [Object]) {
        while self.starts_declaration() && !self.is_lost {
            let said = self.specifiers();
            loop {
                let from = self.at;
                let declared = self.declarator();
                let Some(name) = declared.name else { break };
                if let Some(it) = parameters.iter_mut().find(|it| it.name == name.text) {
                    it.ty = declared.ty(&said.ty);
                    it.span = self.span_from(from);
                    let at = it.name_span;
                    self.see(name, Role::Parameter, false, Some(at), Look::Known);
                }
                if !self.eat(",") {
                    break;
                }
            }
            if !self.eat(";") {
                return;
            }
        }
    }

    /// A declarator outside of functions, or one that says `extern`, with what it starts with.
    pub(super) fn declare_global(&mut self, from: usize, said: &Said, name: &'a Token, declared: &Declared) {
        let ty = declared.ty(&said.ty);
        if said.is_typedef {
            self.see(name, Role::Type, true, Some(name.span), Look::Known);
            self.types.add_typedef(Typedef { name: name.text.clone(), name_span: name.span, ty });
            return;
        }
        if let Type::Function(result) = ty {
            self.see(name, Role::Function, true, None, Look::Global);
            self.globals.add(&name.text, Role::Function, name.span, false);
            self.items.globals.entry(name.text.clone()).or_insert(Type::Function(result.clone()));
            let told = declared.parameters.as_ref().filter(|it| !it.is_old_style);
            self.items.declarations.push(Declaration {
                name: name.text.clone(),
                name_span: name.span,
                span: self.span_from(from),
                result: *result,
                is_static: said.is_static,
                parameters: told.map(|it| it.list.clone()),
            });
            return;
        }
        self.see(name, Role::Global, true, Some(name.span), Look::Global);
        self.globals.add(&name.text, Role::Global, name.span, !said.is_extern);
        self.items.globals.insert(name.text.clone(), ty.clone());
        let mut object = object(Some(name), name.span, ty);
        object.is_static = said.is_static;
        object.is_extern = said.is_extern;
        object.init = self.initial(&mut object.ty);
        object.span = self.span_from(from);
        // The list may have said how many items there are.
        self.items.globals.insert(name.text.clone(), object.ty.clone());
        self.items.objects.push(object);
    }

    pub(super) fn declare_local(&mut self, name: &Arc<str>, role: Role, at: Span, ty: &Type) {
        if let Some(scope) = self.scopes.last_mut().filter(|_| !name.is_empty()) {
            scope.insert(name.clone(), Local { role, at, ty: ty.clone() });
            if let Some(all) = self.items.locals.last_mut() {
                all.insert(name.clone(), ty.clone());
            }
        }
    }

    /// Assembly lines, or an `asm` statement.
    pub(super) fn assembly(&mut self) -> Option<Assembly> {
        let token = self.peek()?;
        let start = self.at;
        if token.kind == Kind::Assembly {
            self.bump();
            return Some(Assembly { span: token.span, text: token.text.clone() });
        }
        let string = self.ahead(2).filter(|it| token.is_word("asm") && it.kind == Kind::Text)?;
        self.ahead(1).filter(|it| it.is("("))?;
        let mut text = String::new();
        self.at += 2;
        while let Some(part) = self.peek().filter(|it| it.kind == string.kind) {
            text.push_str(&String::from_utf8_lossy(&crate::tokens::unquoted(&part.text)));
            self.bump();
        }
        self.expect(")");
        self.eat(";");
        Some(Assembly { span: self.span_from(start), text: text.into() })
    }
}

pub(super) fn object(name: Option<&Token>, span: Span, ty: Type) -> Object {
    Object {
        name: name.map_or_else(|| "".into(), |it| it.text.clone()),
        name_span: name.map_or(Span { end: span.start, ..span }, |it| it.span),
        span,
        ty,
        is_static: false,
        is_extern: false,
        init: None,
    }
}
