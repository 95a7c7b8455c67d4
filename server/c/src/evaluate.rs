//! Types and values of expressions.
//!
//! Numbers follow ANSI X3.159-1989 (C90), 3.1.3.2 (types of constants), 3.2.1 (promotions and conversions), 3.3 (operators), with `char`
//! signed and `long` of 4 bytes, as compilers for the 68000 had them (from memory). Overflow wraps, as the machine does.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::macros::{Macros, When};
use crate::parse;
use crate::text::{FileKey, Span};
use crate::tokens::{Interner, Lexer, Token};
use crate::tree::{Expr, ExprKind};
use crate::types::{Integer, Number, Type, Types};

/// What is known of an expression.
#[derive(Debug, Clone)]
pub(crate) struct Typed {
    pub(crate) ty: Type,
    value: Option<i64>,
    /// Where it lies in memory, if the text says so.
    pub(crate) address: Option<i64>,
}

impl Typed {
    fn of(ty: Type) -> Typed {
        Typed { ty, value: None, address: None }
    }

    fn integer(ty: Integer, value: Option<i64>) -> Typed {
        Typed { ty: Type::Integer(ty), value: value.map(|it| ty.wrap(it)), address: None }
    }
}

/// Works expressions out.
pub(crate) struct Judge<'a> {
    pub(crate) types: &'a Types,
    pub(crate) macros: &'a Macros,
    pub(crate) int_bytes: u32,
    /// The texts, for macros: they are put in as text.
    pub(crate) texts: Option<&'a FxHashMap<FileKey, Arc<str>>>,
    /// Types of objects and functions by name.
    pub(crate) objects: &'a dyn Fn(&str) -> Option<Type>,
    /// Names that are no macros are zero.
    pub(crate) is_condition: bool,
}

/// An address as a number.
const ADDRESS: Integer = Integer::unsigned(4);

impl<'a> Judge<'a> {
    /// For the conditions of `#if`: `long` arithmetic, nothing but macros (ANSI X3.159-1989, 3.8.1).
    pub(crate) fn of_condition(types: &'a Types, macros: &'a Macros) -> Judge<'a> {
        Judge { types, macros, int_bytes: 4, texts: None, objects: &|_| None, is_condition: true }
    }

    /// The value of tokens in which no macro is left.
    pub(crate) fn tokens(&self, tokens: &[Token]) -> Option<i64> {
        let expression = parse::expression(tokens, self.types, self.macros, self.int_bytes)?;
        self.judged(&expression, true)?.value
    }

    /// The number that an expression is.
    pub(crate) fn number(&self, expression: &Expr) -> Option<Number> {
        let typed = self.decayed(self.typed(expression)?);
        let value = typed.value?;
        let ty = match self.types.resolved(&typed.ty)? {
            Type::Integer(it) => *it,
            Type::Enum(_) => self.int(),
            Type::Pointer(_) => ADDRESS,
            _ => return None,
        };
        Some(Number { value: ty.wrap(value), ty })
    }

    /// What an expression is.
    pub(crate) fn typed(&self, expression: &Expr) -> Option<Typed> {
        // Macros are text: `A * 2` with `1 + 2` for A is 5. Where the text is not at hand, a macro is taken as if in brackets.
        if let Some(expanded) = self.expanded(expression) {
            return self.judged(&expanded, true);
        }
        self.judged(expression, false)
    }

    /// An expression with its macros put in; None for one without any, and where its text is not at hand.
    pub(crate) fn expanded(&self, expression: &Expr) -> Option<Expr> {
        let mut has_macro = false;
        expression.visit(&mut |it| {
            if let ExprKind::Name(name) = &it.kind {
                has_macro |= self.macros.find(name, When::At(it.span)).is_some();
            }
        });
        if !has_macro {
            return None;
        }
        if expression.is_made() {
            let ExprKind::Name(name) = &expression.kind else { return None };
            return self.expanded_name(name, expression.span);
        }
        let tokens = tokens_of(self.texts?.get(&expression.span.file)?, expression.span);
        self.read(&tokens, When::At(expression.span))
    }

    /// A name by itself with what its macro stands for.
    pub(crate) fn expanded_name(&self, name: &str, at: Span) -> Option<Expr> {
        let mut lexer = Lexer::new(at.file, name);
        let token = Token { span: at, ..lexer.next(&mut Interner::default())? };
        self.read(&[token], When::At(at))
    }

    fn read(&self, tokens: &[Token], when: When) -> Option<Expr> {
        let tokens = self.macros.expanded(tokens, when)?;
        parse::expression(&tokens, self.types, self.macros, self.int_bytes)
    }

    fn int(&self) -> Integer {
        Integer::signed(self.int_bytes)
    }

    fn truth(&self, value: Option<bool>) -> Typed {
        Typed::integer(self.int(), value.map(i64::from))
    }

    /// A type as a number's: promoted. None for what is no whole number.
    fn promoted(&self, typed: &Typed) -> Option<Integer> {
        match self.types.resolved(&typed.ty)? {
            Type::Integer(it) if it.bytes < self.int_bytes => Some(self.int()),
            Type::Integer(it) => Some(*it),
            Type::Enum(_) => Some(self.int()),
            _ => None,
        }
    }

    /// The type that both operands are converted to.
    fn common(&self, left: &Typed, right: &Typed) -> Option<Integer> {
        let (left, right) = (self.promoted(left)?, self.promoted(right)?);
        if left.bytes != right.bytes {
            return Some(if left.bytes > right.bytes { left } else { right });
        }
        Some(Integer { bytes: left.bytes, is_signed: left.is_signed && right.is_signed })
    }

    /// An array is its first item's address in an expression, a function its own.
    fn decayed(&self, typed: Typed) -> Typed {
        match self.types.resolved(&typed.ty) {
            Some(Type::Array(of, _)) => Typed { ty: Type::Pointer(of.clone()), value: typed.address, address: None },
            Some(Type::Function(_)) => Typed::of(Type::Pointer(Box::new(typed.ty))),
            _ => typed,
        }
    }

    fn pointed(&self, typed: &Typed) -> Option<Type> {
        match self.types.resolved(&typed.ty)? {
            Type::Pointer(of) => Some((**of).clone()),
            _ => None,
        }
    }

    fn judged(&self, expression: &Expr, is_expanded: bool) -> Option<Typed> {
        let judge = |it: &Expr| self.judged(it, is_expanded);
        let operand = |it: &Expr| judge(it).map(|it| self.decayed(it));
        Some(match &expression.kind {
            ExprKind::Number(it) | ExprKind::Character(it) => Typed::integer(it.ty, Some(it.value)),
            ExprKind::Float(_) => Typed::of(Type::Float(8)),
            ExprKind::Text(bytes) => {
                let char = Type::Integer(Integer::signed(1));
                Typed::of(Type::Array(Box::new(char), u32::try_from(bytes.len() + 1).ok()))
            }
            ExprKind::Name(name) => return self.name(name, expression.span, is_expanded),
            ExprKind::Call { function, .. } => {
                let mut ty = judge(function).map(|it| it.ty);
                if let Some(Type::Pointer(of)) = ty {
                    ty = Some(*of);
                }
                match ty {
                    Some(Type::Function(result)) => Typed::of(*result),
                    _ => return None,
                }
            }
            ExprKind::Unary(operator, of) => return self.unary(operator, of, &judge),
            ExprKind::Binary(operator, left, right) => {
                let (left, right) = (operand(left), operand(right));
                if matches!(*operator, "&&" | "||") {
                    let decided = *operator == "||";
                    let left = left?.value.map(|it| it != 0);
                    let right = right.and_then(|it| it.value).map(|it| it != 0);
                    return Some(self.truth(if left == Some(decided) { left } else { left.and(right) }));
                }
                return self.binary(operator, &left?, &right?);
            }
            ExprKind::Assign(_, left, _) => Typed::of(judge(left)?.ty),
            ExprKind::Conditional(condition, then, otherwise) => {
                let condition = operand(condition)?.value;
                let (then, otherwise) = (operand(then)?, operand(otherwise)?);
                let ty = match self.common(&then, &otherwise) {
                    Some(common) => Type::Integer(common),
                    None if self.pointed(&otherwise).is_some() => otherwise.ty.clone(),
                    None => then.ty.clone(),
                };
                let value = condition.and_then(|it| if it != 0 { then.value } else { otherwise.value });
                match ty {
                    Type::Integer(ty) => Typed::integer(ty, value),
                    ty => Typed { ty, value, address: None },
                }
            }
            ExprKind::Cast(ty, of) => {
                let value = operand(of).and_then(|it| it.value);
                match self.types.resolved(ty)? {
                    Type::Integer(it) => Typed { ty: ty.clone(), ..Typed::integer(*it, value) },
                    Type::Enum(_) => Typed::integer(self.int(), value),
                    Type::Pointer(_) => Typed { ty: ty.clone(), ..Typed::integer(ADDRESS, value) },
                    _ => Typed::of(ty.clone()),
                }
            }
            ExprKind::Index(array, index) => {
                let sum = self.binary("+", &operand(array)?, &operand(index)?)?;
                Typed { ty: self.pointed(&sum)?, value: None, address: sum.value }
            }
            ExprKind::Member { of, name, is_arrow, .. } => {
                let record = if *is_arrow {
                    let pointer = operand(of)?;
                    Typed { ty: self.pointed(&pointer)?, value: None, address: pointer.value }
                } else {
                    judge(of)?
                };
                let Type::Record(tag) = self.types.resolved(&record.ty)? else { return None };
                let field = self.types.record(tag)?.fields.iter().find(|it| it.name == *name)?;
                let offset = field.offset.filter(|_| field.bits.is_none());
                let address = record.address.zip(offset).map(|it| it.0 + i64::from(it.1));
                Typed { ty: field.ty.clone(), value: None, address }
            }
            ExprKind::SizeofType(ty) => self.size(ty),
            ExprKind::SizeofExpr(of) => self.size(&judge(of)?.ty),
            ExprKind::Comma(_, last) => operand(last)?,
            ExprKind::Type(_) | ExprKind::Broken => return None,
        })
    }

    fn size(&self, ty: &Type) -> Typed {
        let size = self.types.size(ty, self.int_bytes);
        Typed::integer(Integer::unsigned(self.int_bytes), size.map(i64::from))
    }

    fn name(&self, name: &str, span: Span, is_expanded: bool) -> Option<Typed> {
        if let Some(ty) = (self.objects)(name) {
            return Some(Typed::of(ty));
        }
        if !is_expanded && self.macros.find(name, When::At(span)).is_some() {
            return self.judged(&self.expanded_name(name, span)?, true);
        }
        if self.is_condition {
            return Some(Typed::integer(self.int(), Some(0)));
        }
        let constant = self.types.enum_constant(name)?;
        Some(Typed::integer(self.int(), constant.value))
    }

    fn unary(&self, operator: &str, of: &Expr, judge: &dyn Fn(&Expr) -> Option<Typed>) -> Option<Typed> {
        let inner = judge(of)?;
        if operator == "&" {
            return Some(Typed { value: inner.address, address: None, ty: Type::Pointer(Box::new(inner.ty)) });
        }
        if operator.ends_with("++") || operator.ends_with("--") {
            return Some(Typed::of(inner.ty));
        }
        let inner = self.decayed(inner);
        Some(match operator {
            "*" => Typed { ty: self.pointed(&inner)?, value: None, address: inner.value },
            "!" => self.truth(inner.value.map(|it| it == 0)),
            _ => {
                let Some(ty) = self.promoted(&inner) else { return Some(Typed::of(inner.ty)) };
                let value = inner.value.map(|it| match operator {
                    "-" => it.wrapping_neg(),
                    "~" => !it,
                    _ => it,
                });
                Typed::integer(ty, value)
            }
        })
    }

    fn binary(&self, operator: &str, left: &Typed, right: &Typed) -> Option<Typed> {
        let both = left.value.zip(right.value);
        let is_comparison = matches!(operator, "==" | "!=" | "<" | ">" | "<=" | ">=");
        let to = match (self.pointed(left), self.pointed(right)) {
            (None, None) => self.common(left, right),
            _ if is_comparison => Some(ADDRESS),
            (Some(of), None) => return self.moved(operator, left, &of, right),
            (None, Some(of)) => return self.moved(operator, right, &of, left),
            (Some(of), Some(_)) => {
                let size = i64::from(self.types.size(&of, self.int_bytes)?);
                let distance = both.filter(|_| operator == "-" && size > 0).map(|it| (it.0 - it.1) / size);
                return Some(Typed::integer(Integer::signed(4), distance));
            }
        };
        let Some(to) = to else {
            // Numbers with a point: their type alone.
            return Some(if is_comparison { self.truth(None) } else { Typed::of(Type::Float(8)) });
        };
        if is_comparison {
            let compared = both.map(|(left, right)| {
                let (left, right) = (to.wrap(left), to.wrap(right));
                match operator {
                    "==" => left == right,
                    "!=" => left != right,
                    "<" => left < right,
                    ">" => left > right,
                    "<=" => left <= right,
                    _ => left >= right,
                }
            });
            return Some(self.truth(compared));
        }
        if matches!(operator, "<<" | ">>") {
            let ty = self.promoted(left)?;
            let value = both.and_then(|(left, by)| {
                let by = u32::try_from(by).ok().filter(|it| *it < ty.bytes * 8)?;
                Some(if operator == "<<" { ty.wrap(left) << by } else { ty.wrap(left) >> by })
            });
            return Some(Typed::integer(ty, value));
        }
        let value = both.and_then(|(left, right)| {
            let (left, right) = (to.wrap(left), to.wrap(right));
            Some(match operator {
                "+" => left.wrapping_add(right),
                "-" => left.wrapping_sub(right),
                "*" => left.wrapping_mul(right),
                "/" => left.checked_div(right)?,
                "%" => left.checked_rem(right)?,
                "&" => left & right,
                "|" => left | right,
                "^" => left ^ right,
                _ => return None,
            })
        });
        Some(Typed::integer(to, value))
    }

    /// An address and a number of items.
    fn moved(&self, operator: &str, pointer: &Typed, of: &Type, by: &Typed) -> Option<Typed> {
        let size = self.types.size(of, self.int_bytes).map(i64::from);
        let by = by.value.zip(size).map(|it| it.0.wrapping_mul(it.1));
        let value = pointer.value.zip(by).and_then(|(from, by)| match operator {
            "+" => Some(ADDRESS.wrap(from.wrapping_add(by))),
            "-" => Some(ADDRESS.wrap(from.wrapping_sub(by))),
            _ => None,
        });
        Some(Typed { ty: pointer.ty.clone(), value, address: None })
    }
}

/// The tokens of a piece of a text.
fn tokens_of(text: &str, span: Span) -> Vec<Token> {
    let mut interner = Interner::default();
    let mut lexer = Lexer::over(span.file, text, span);
    std::iter::from_fn(|| lexer.next(&mut interner)).collect()
}
