//! What objects start with.

use super::Parser;
use crate::names::{Look, Role};
use crate::tokens::Kind;
use crate::tree::{Designator, ExprKind, Init};
use crate::types::Type;

impl Parser<'_> {
    /// What stands behind `=`, if anything does. An array without a number of items gets it here.
    pub(super) fn initial(&mut self, ty: &mut Type) -> Option<Init> {
        if !self.eat("=") {
            return None;
        }
        let init = self.init();
        if let Type::Array(_, count @ None) = ty {
            *count = self.items_of(&init).and_then(|it| u32::try_from(it).ok());
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

    /// How many items a list gives an array whose items are no arrays or records written without braces.
    fn items_of(&self, init: &Init) -> Option<usize> {
        match init {
            Init::Value(value) => match &value.kind {
                ExprKind::Text(bytes) => Some(bytes.len() + 1),
                _ => None,
            },
            Init::List(list, _) => {
                let (mut at, mut most) = (0usize, 0usize);
                for it in list {
                    if let Init::Designated(Designator::Index(index), _) = it {
                        let value = self.judged(|judge| judge.number(index))?.value;
                        at = usize::try_from(value).ok()?;
                    }
                    at = at.checked_add(1)?;
                    most = most.max(at);
                }
                Some(most)
            }
            Init::Designated(..) => None,
        }
    }
}
