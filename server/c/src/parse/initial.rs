//! What objects start with.

use super::Parser;
use crate::names::{Look, Role};
use crate::tokens::Kind;
use crate::tree::{Designator, Expr, ExprKind, Init};
use crate::types::Type;

/// Records in records.
const DEEPEST: usize = 64;

impl Parser<'_> {
    /// What stands behind `=`, if anything does. An array without a number of items gets it here.
    pub(super) fn initial(&mut self, ty: &mut Type) -> Option<Init> {
        if !self.eat("=") {
            return None;
        }
        let init = self.init();
        if let Type::Array(of, count @ None) = ty {
            *count = self.items_of(of, &init).and_then(|it| u32::try_from(it).ok());
        }
        Some(init)
    }

    fn init(&mut self) -> Init {
        let start = self.at;
        if !self.is("{") {
            return Init::Value(self.assignment());
        }
        if !self.enter() {
            self.lose();
            self.skip_part();
            return Init::Value(self.node(start, ExprKind::Broken));
        }
        self.bump();
        let mut list = Vec::new();
        while self.peek().is_some() && !self.is("}") && !self.is_lost {
            list.push(self.designated());
            if !self.eat(",") {
                break;
            }
        }
        self.expect("}");
        self.depth -= 1;
        Init::List(list, self.span_from(start))
    }

    fn designated(&mut self) -> Init {
        if self.is(".")
            && let Some(name) = self.ahead(1).filter(|it| it.kind == Kind::Name)
        {
            self.bump();
            self.bump();
            self.see(name, Role::Member, false, None, Look::Member);
            self.expect("=");
            return Init::Designated(Designator::Field(name.text.clone(), name.span), Box::new(self.init()));
        }
        if self.eat("[") {
            let index = self.assignment();
            self.expect("]");
            self.expect("=");
            return Init::Designated(Designator::Index(index), Box::new(self.init()));
        }
        self.init()
    }

    /// How many items a list gives an array.
    fn items_of(&self, of: &Type, init: &Init) -> Option<usize> {
        match init {
            Init::Value(value) => match &value.kind {
                ExprKind::Text(bytes) => Some(bytes.len() + 1),
                _ => None,
            },
            Init::List(list, _) => {
                if let [Init::Value(Expr { kind: ExprKind::Text(bytes), .. })] = &list[..]
                    && self.types.size(of, self.int_bytes) == Some(1)
                {
                    return Some(bytes.len() + 1);
                }
                let (mut item, mut most, mut at) = (0usize, 0usize, 0);
                while let Some(it) = list.get(at) {
                    if let Init::Designated(Designator::Index(index), _) = it {
                        let value = self.judged(|judge| judge.number(index))?.value;
                        item = usize::try_from(value).ok()?;
                    }
                    let before = at;
                    self.take(of, list, &mut at, 0);
                    if at == before {
                        return None;
                    }
                    item = item.checked_add(1)?;
                    most = most.max(item);
                }
                Some(most)
            }
            Init::Designated(..) => None,
        }
    }

    /// Passes what an item takes of a list: braces, or as many values as it has parts.
    fn take(&self, ty: &Type, list: &[Init], at: &mut usize, depth: usize) {
        let Some(Init::Value(value)) = list.get(*at) else {
            *at += 1;
            return;
        };
        match self.types.resolved(ty) {
            Some(Type::Array(of, Some(count))) if depth < DEEPEST => {
                let is_text = matches!(value.kind, ExprKind::Text(_));
                if is_text && self.types.size(of, self.int_bytes) == Some(1) {
                    *at += 1;
                    return;
                }
                for _ in 0..*count {
                    let before = *at;
                    self.take(of, list, at, depth + 1);
                    if *at == before || *at >= list.len() {
                        return;
                    }
                }
            }
            Some(Type::Record(tag)) if depth < DEEPEST => {
                let Some(record) = self.types.record(tag) else {
                    *at += 1;
                    return;
                };
                let fields = record.fields.iter().filter(|it| !it.name.is_empty());
                for field in fields.take(if record.is_union { 1 } else { usize::MAX }) {
                    if *at < list.len() {
                        self.take(&field.ty, list, at, depth + 1);
                    }
                }
            }
            _ => *at += 1,
        }
    }
}
