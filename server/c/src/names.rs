//! Where each name of the texts stands, and what it means there.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::macros::names_of;
use crate::preprocess::Prepared;
use crate::text::Span;
use crate::tokens::Token;
use crate::types::Types;

/// What a name is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// A macro.
    Macro,
    /// A parameter of a macro.
    MacroParameter,
    /// A function.
    Function,
    /// An object outside of functions.
    Global,
    /// An object in a function.
    Local,
    /// A parameter of a function.
    Parameter,
    /// A field of a struct or union.
    Member,
    /// A name of a type, or the tag of one.
    Type,
    /// A constant of an enum.
    EnumConstant,
    /// A label.
    Label,
    /// Nothing that these texts explain.
    Unknown,
}

/// A place where a name stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NameUse {
    /// The name.
    pub name: Arc<str>,
    /// Where it stands.
    pub span: Span,
    /// What it is there.
    pub role: Role,
    /// The place explains it: a definition, or a declaration.
    pub is_definition: bool,
    /// Where the name is explained that this place means: its definition, or else its first declaration.
    pub declared_at: Option<Span>,
}

/// How a place finds what it means, when all is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// It is known already.
    Known,
    /// Among functions, objects, constants.
    Global,
    /// Among tags.
    Tag,
    /// Among all fields.
    Member,
    /// Among the labels of the function.
    Label,
}

/// A place, and how to find what it means.
#[derive(Debug)]
pub(crate) struct Seen {
    pub(crate) at: NameUse,
    pub(crate) look: Look,
}

/// What stands outside of functions.
#[derive(Debug, Default)]
pub(crate) struct Globals {
    by_name: FxHashMap<Arc<str>, (Role, Span, bool)>,
    tags: FxHashMap<Arc<str>, Span>,
    /// Places of fields; None when several have the name.
    members: FxHashMap<Arc<str>, Option<Span>>,
}

impl Globals {
    /// A function or object; one with a body or a place in memory goes before one that is only told of.
    pub(crate) fn add(&mut self, name: &Arc<str>, role: Role, at: Span, is_whole: bool) {
        let entry = self.by_name.entry(name.clone()).or_insert((role, at, is_whole));
        if is_whole && !entry.2 {
            *entry = (role, at, true);
        }
    }

    fn of_types(&mut self, types: &Types) {
        for record in &types.records {
            self.tags.extend(record.tag_span.map(|it| (record.tag.clone(), it)));
            for field in &record.fields {
                let entry = self.members.entry(field.name.clone()).or_insert(Some(field.name_span));
                if *entry != Some(field.name_span) {
                    *entry = None;
                }
            }
        }
        for it in &types.enums {
            self.tags.extend(it.tag_span.map(|span| (it.tag.clone(), span)));
            for constant in &it.constants {
                self.add(&constant.name, Role::EnumConstant, constant.name_span, true);
            }
        }
        for it in &types.typedefs {
            self.add(&it.name, Role::Type, it.name_span, true);
        }
    }
}

/// Every place of every name, by file and place.
pub(crate) fn resolve(seen: Vec<Seen>, prepared: &Prepared, mut globals: Globals, types: &Types) -> Vec<NameUse> {
    globals.of_types(types);
    let mut names: Vec<NameUse> = Vec::with_capacity(seen.len());
    for Seen { mut at, look } in seen {
        match look {
            Look::Global => {
                if let Some((role, span, _)) = globals.by_name.get(&at.name) {
                    (at.role, at.declared_at) = (*role, Some(*span));
                }
            }
            Look::Tag => at.declared_at = globals.tags.get(&at.name).copied(),
            Look::Member => at.declared_at = globals.members.get(&at.name).copied().flatten(),
            Look::Known | Look::Label => (),
        }
        names.push(at);
    }
    let place = |token: &Token, role, is_definition, declared_at| NameUse {
        name: token.text.clone(),
        span: token.span,
        role,
        is_definition,
        declared_at,
    };
    for (token, is_definition, at) in &prepared.macro_names {
        names.push(place(token, if at.is_some() { Role::Macro } else { Role::Unknown }, *is_definition, *at));
    }
    let free = |token: &Token| {
        let found = prepared.macros.find(&token.text, crate::macros::When::At(token.span));
        if let Some(index) = found {
            let it = &prepared.macros.all[index];
            return place(token, Role::Macro, false, (!it.is_setting).then_some(it.define.name_span));
        }
        match globals.by_name.get(&token.text) {
            Some((role, at, _)) => place(token, *role, false, Some(*at)),
            None => match (globals.members.get(&token.text), globals.tags.get(&token.text)) {
                (Some(at), _) => place(token, Role::Member, false, *at),
                (None, Some(at)) => place(token, Role::Type, false, Some(*at)),
                (None, None) => place(token, Role::Unknown, false, None),
            },
        }
    };
    for it in prepared.macros.all.iter().filter(|it| !it.is_setting) {
        let (others, own) = names_of(it);
        names.extend(own.into_iter().map(|(token, at)| place(token, Role::MacroParameter, false, Some(at))));
        names.extend(others.into_iter().filter(|it| !is_keyword(&it.text)).map(free));
        let parameters = it.define.parameters.iter().flatten().zip(&it.parameter_spans);
        names.extend(parameters.map(|(name, span)| NameUse {
            name: name.as_str().into(),
            span: *span,
            role: Role::MacroParameter,
            is_definition: true,
            declared_at: Some(*span),
        }));
    }
    names.extend(prepared.names.iter().filter(|it| !is_keyword(&it.text)).map(free));
    // What the reader of C said of a place goes before what is told from the name alone.
    names.sort_by_key(|it| (it.span, it.role == Role::Unknown));
    names.dedup_by_key(|it| it.span);
    names
}

/// Whether a word is one of C90's, or `asm`, so that nothing can have it as its name.
pub fn is_keyword(word: &str) -> bool {
    is_type_word(word)
        || matches!(
            word,
            "asm"
                | "break"
                | "case"
                | "continue"
                | "default"
                | "do"
                | "else"
                | "for"
                | "goto"
                | "if"
                | "return"
                | "sizeof"
                | "switch"
                | "while"
        )
}

/// The words of C90 that start a declaration.
pub(crate) fn is_type_word(word: &str) -> bool {
    matches!(
        word,
        "auto"
            | "char"
            | "const"
            | "double"
            | "enum"
            | "extern"
            | "float"
            | "int"
            | "long"
            | "register"
            | "short"
            | "signed"
            | "static"
            | "struct"
            | "typedef"
            | "union"
            | "unsigned"
            | "void"
            | "volatile"
    )
}
