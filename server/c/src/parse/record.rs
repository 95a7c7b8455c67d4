//! Structs, unions and enums.

use std::sync::Arc;

use super::Parser;
use super::declaration::Said;
use crate::names::{Look, Role, is_keyword};
use crate::text::Span;
use crate::tokens::Kind;
use crate::types::{Enum, EnumConstant, Field, Record, Type};

impl Parser<'_> {
    /// A tag that is there, or one that is made of the place.
    fn tag(&mut self, start: usize) -> (Arc<str>, Option<Span>) {
        if let Some(tag) = self.peek().filter(|it| it.kind == Kind::Name && !is_keyword(&it.text)) {
            self.bump();
            let is_definition = self.is("{");
            self.see(tag, Role::Type, is_definition, None, Look::Tag);
            return (tag.text.clone(), Some(tag.span));
        }
        let at = self.span_from(start);
        (format!("<{}:{}:{start}", at.file.0, at.start).into(), None)
    }

    /// A struct or union, with its fields or by its tag alone.
    pub(super) fn record(&mut self) -> Type {
        let start = self.at;
        let is_union = self.is_word("union");
        self.bump();
        let (tag, tag_span) = self.tag(start);
        if !self.is("{") {
            return Type::Record(tag);
        }
        if !self.enter() {
            self.lose();
            self.skip_part();
            return Type::Record(tag);
        }
        self.bump();
        let mut fields = Vec::new();
        while self.peek().is_some() && !self.is("}") && !self.is_lost {
            if self.eat(";") {
                continue;
            }
            let said = self.specifiers();
            while !self.is(";") && !self.is("}") && !self.is_lost {
                fields.extend(self.field(&said));
                if !self.eat(",") {
                    break;
                }
            }
            // The last semicolon could be left out.
            if !self.is("}") {
                self.expect(";");
            }
        }
        self.expect("}");
        self.depth -= 1;
        let bytes = self.types.lay_out(&mut fields, is_union, self.int_bytes);
        let span = self.span_from(start);
        self.types.add_record(Record { tag: tag.clone(), tag_span, span, is_union, fields, bytes });
        Type::Record(tag)
    }

    fn field(&mut self, said: &Said) -> Option<Field> {
        let at = self.at;
        let declared = self.declarator();
        let is_bits = self.eat(":");
        let width = if is_bits { self.needed_value() } else { None };
        if declared.name.is_none() && !is_bits {
            self.lose();
            return None;
        }
        let name_span = declared.name.map_or(self.span_from(at), |it| it.span);
        if let Some(name) = declared.name {
            self.see(name, Role::Member, true, Some(name.span), Look::Known);
        }
        let width = width.and_then(|it| u32::try_from(it).ok()).filter(|it| *it <= self.int_bytes * 8);
        Some(Field {
            name: declared.name.map_or_else(|| "".into(), |it| it.text.clone()),
            name_span,
            ty: declared.ty(&said.ty),
            offset: None,
            bits: is_bits.then(|| (0, width.unwrap_or_default())),
        })
    }

    /// A constant that is needed now.
    pub(super) fn needed_value(&mut self) -> Option<i64> {
        let expression = self.assignment();
        self.judged(|judge| judge.number(&expression)).map(|it| it.value)
    }

    /// An enum, with its constants or by its tag alone.
    pub(super) fn enumeration(&mut self) -> Type {
        let start = self.at;
        self.bump();
        let (tag, tag_span) = self.tag(start);
        if !self.eat("{") {
            return Type::Enum(tag);
        }
        let mut constants: Vec<EnumConstant> = Vec::new();
        let mut next = Some(0i64);
        while let Some(name) = self.peek().filter(|it| it.kind == Kind::Name) {
            self.bump();
            self.see(name, Role::EnumConstant, true, Some(name.span), Look::Known);
            if self.eat("=") {
                next = self.needed_value();
            }
            let constant = EnumConstant { name: name.text.clone(), name_span: name.span, value: next };
            next = next.and_then(|it| it.checked_add(1));
            // Constants may name the ones before.
            self.types.add_constant(constant.clone());
            constants.push(constant);
            if self.is_lost || !self.eat(",") {
                break;
            }
        }
        self.expect("}");
        self.types.add_enum(Enum { tag: tag.clone(), tag_span, constants });
        Type::Enum(tag)
    }
}
