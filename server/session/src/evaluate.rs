//! The value of an expression: exact where all of it is known, else with limits. The checker and the player ask the same.

use std::ops::Range;

use crate::expression::{Binary, Expression, Node, Span, Unary};
use crate::value::{Block, Interval, Value};

/// The most bytes of a block: the address space of the 68000.
pub const MOST_BYTES: i64 = 1 << 24;

/// What an expression may ask for.
pub trait Names {
    /// What a name stands for; none if nobody knows it.
    fn name(&self, name: &str) -> Option<Value>;
    /// A field of a block. An error says what is wrong with asking, such as the fields that there are.
    ///
    /// # Errors
    /// The block has no such field, or no layout is known for it.
    fn field(&self, block: &Block, field: &str) -> Result<Value, String>;
}

/// What is wrong with an expression.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Where.
    pub span: Range<usize>,
    /// Of which kind.
    pub kind: FaultKind,
    /// What was found, expected, and what to do.
    pub message: String,
}

/// Kinds of what can be wrong with an expression.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// A name that nobody knows.
    Name,
    /// A field that a block does not have.
    Field,
    /// A part that is not inside the block.
    Outside,
    /// A value of another kind than the operator takes, or one that cannot be worked out.
    Value,
}

fn fault<T>(kind: FaultKind, span: &Range<usize>, message: String) -> Result<T, Fault> {
    Err(Fault { span: span.clone(), kind, message })
}

/// A range of addresses, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// The first.
    pub from: Option<i64>,
    /// The one behind the last.
    pub end: Option<i64>,
}

impl Bounds {
    /// Both ends, where both are known.
    #[must_use]
    pub fn known(self) -> Option<Range<i64>> {
        Some(self.from?..self.end?)
    }
}

impl Span {
    /// Its ends.
    ///
    /// # Errors
    /// As of its expressions.
    pub fn bounds(&self, names: &dyn Names) -> Result<Bounds, Fault> {
        let from = self.from.number(names)?.known();
        let to = self.to.number(names)?.known();
        let end = if self.is_length { from.zip(to).and_then(|(from, length)| from.checked_add(length)) } else { to };
        Ok(Bounds { from, end })
    }
}

impl Expression {
    /// Its value as a number.
    ///
    /// # Errors
    /// It is something else, or cannot be worked out.
    pub fn number(&self, names: &dyn Names) -> Result<Interval, Fault> {
        match self.value(names)? {
            Value::Number(it) => Ok(it),
            Value::Unknown => Ok(Interval::ANY),
            other => {
                let message = format!("this is {}, expected a number{}", other.kind(), hint(&other));
                fault(FaultKind::Value, &self.span, message)
            }
        }
    }

    /// Its value.
    ///
    /// # Errors
    /// It names what nobody knows, or it cannot be worked out.
    pub fn value(&self, names: &dyn Names) -> Result<Value, Fault> {
        match &self.node {
            Node::Number(it) => Ok(Value::Number(Interval::exactly(*it))),
            Node::Text(it) => Ok(Value::Text(it.clone())),
            Node::Name(it) => match names.name(it) {
                Some(value) => Ok(value),
                None => fault(FaultKind::Name, &self.span, format!("nobody knows `{it}`")),
            },
            Node::Unary(operator, value) => Ok(Value::Number(unary(*operator, value.number(names)?))),
            Node::Binary(operator, left, right) => self.binary(*operator, left, right, names),
            Node::Index(value, index) => {
                let Some(block) = self.block(value, names)? else { return Ok(Value::Unknown) };
                let Some(index_at) = index.number(names)?.known() else { return Ok(Value::Number(Interval::BYTE)) };
                match usize::try_from(index_at).ok().and_then(|it| block.bytes.get(it)) {
                    Some(byte) => Ok(Value::Number(byte.map_or(Interval::BYTE, |it| Interval::exactly(it.into())))),
                    None => fault(FaultKind::Outside, &index.span, outside(&block, index_at, 1)),
                }
            }
            Node::Slice(value, range) => {
                let Some(block) = self.block(value, names)? else { return Ok(Value::Unknown) };
                let Some(known) = range.bounds(names)?.known() else { return Ok(Value::Unknown) };
                match block.slice(known.start, known.end.saturating_sub(known.start)) {
                    Some(part) => Ok(Value::Block(part)),
                    None => {
                        let message = outside(&block, known.start, known.end.saturating_sub(known.start));
                        fault(FaultKind::Outside, &range.span(), message)
                    }
                }
            }
            Node::Field(value, name, span) => {
                let Some(block) = self.block(value, names)? else { return Ok(Value::Unknown) };
                match name.as_str() {
                    "length" => {
                        let length = i64::try_from(block.bytes.len()).unwrap_or(i64::MAX);
                        return Ok(Value::Number(Interval::exactly(length)));
                    }
                    "address" => {
                        return Ok(block.address.map_or(Value::Unknown, |it| Value::Number(Interval::exactly(it))));
                    }
                    _ => (),
                }
                if let Some((_, text)) = block.groups.iter().find(|it| it.0.eq_ignore_ascii_case(name)) {
                    return Ok(text.as_deref().map_or(Value::Unknown, group));
                }
                names.field(&block, name).or_else(|message| fault(FaultKind::Field, span, message))
            }
        }
    }

    /// A value that has to be a block; none where that shows only while the session runs.
    fn block(&self, value: &Self, names: &dyn Names) -> Result<Option<Block>, Fault> {
        match value.value(names)? {
            Value::Block(it) => Ok(Some(it)),
            Value::Unknown => Ok(None),
            other => {
                let message = format!("this is {}, expected a block that a step has bound by `as`", other.kind());
                fault(FaultKind::Value, &value.span, message)
            }
        }
    }

    fn binary(&self, operator: Binary, left: &Self, right: &Self, names: &dyn Names) -> Result<Value, Fault> {
        let (a, b) = (left.value(names)?, right.value(names)?);
        let (a, b) = match (a, b) {
            (Value::Unknown, _) | (_, Value::Unknown) => {
                let is_truth = matches!(
                    operator,
                    Binary::Or
                        | Binary::And
                        | Binary::Equal
                        | Binary::Differs
                        | Binary::Less
                        | Binary::LessEqual
                        | Binary::Greater
                        | Binary::GreaterEqual
                );
                return Ok(if is_truth { Value::Number(Interval::TRUTH) } else { Value::Unknown });
            }
            (Value::Number(a), Value::Number(b)) => {
                if b == Interval::exactly(0) && matches!(operator, Binary::Divide | Binary::Remainder) {
                    return fault(FaultKind::Value, &right.span, "this divides by 0".to_owned());
                }
                return Ok(Value::Number(arithmetic(operator, a, b)));
            }
            other => other,
        };
        let is_equality = matches!(operator, Binary::Equal | Binary::Differs);
        match (same_bytes(&a), same_bytes(&b)) {
            (Some(a), Some(b)) if is_equality => {
                let equal = equal_bytes(&a, &b);
                Ok(Value::Number(if operator == Binary::Equal { equal } else { not(equal) }))
            }
            _ => {
                let message = format!(
                    "this operator stands between {} and {}; {}",
                    a.kind(),
                    b.kind(),
                    if is_equality {
                        "compare numbers with numbers, blocks with blocks or texts"
                    } else {
                        "it takes numbers, such as a byte `boot[0]` of a block"
                    }
                );
                fault(FaultKind::Value, &self.span, message)
            }
        }
    }
}

fn hint(value: &Value) -> &'static str {
    match value {
        Value::Block(_) => ": its byte `[0]`, or a field of it",
        Value::Text(_) => "; up to four characters between single quotes are one",
        _ => "",
    }
}

fn outside(block: &Block, from: i64, length: i64) -> String {
    let end = block.bytes.len();
    let what = if length == 1 { format!("byte {from}") } else { format!("{length} bytes from {from}") };
    format!("{what} is not in the block, which has bytes 0 to {}", end.saturating_sub(1))
}

/// A group of a reply: digits are a decimal number, behind `$` or `0x` hexadecimal; all else is text.
fn group(text: &str) -> Value {
    let number = match text.strip_prefix('$').or_else(|| text.strip_prefix("0x")) {
        Some(digits) => i64::from_str_radix(digits, 16).ok(),
        None => text.parse().ok(),
    };
    number.map_or_else(|| Value::Text(text.to_owned()), |it| Value::Number(Interval::exactly(it)))
}

fn same_bytes(value: &Value) -> Option<Vec<Option<u8>>> {
    match value {
        Value::Block(it) => Some(it.bytes.clone()),
        Value::Text(it) => crate::text_bytes(it).map(|it| it.into_iter().map(Some).collect()),
        _ => None,
    }
}

fn equal_bytes(a: &[Option<u8>], b: &[Option<u8>]) -> Interval {
    if a.len() != b.len() || a.iter().zip(b).any(|it| matches!(it, (Some(a), Some(b)) if a != b)) {
        return Interval::exactly(0);
    }
    let known = a.iter().zip(b).all(|it| it.0.is_some() && it.1.is_some());
    if known { Interval::exactly(1) } else { Interval::TRUTH }
}

fn truth(it: Interval) -> Interval {
    match it {
        Interval { low: 0, high: 0 } => Interval::exactly(0),
        Interval { low, high } if low > 0 || high < 0 => Interval::exactly(1),
        _ => Interval::TRUTH,
    }
}

fn not(it: Interval) -> Interval {
    let it = truth(it);
    Interval { low: 1 - it.high, high: 1 - it.low }
}

fn unary(operator: Unary, it: Interval) -> Interval {
    match operator {
        // Negation turns the limits round; the lowest number has no counterpart.
        Unary::Minus => match (it.high.checked_neg(), it.low.checked_neg()) {
            (Some(low), Some(high)) => Interval { low, high },
            _ => Interval::ANY,
        },
        Unary::Complement => Interval { low: !it.high, high: !it.low },
        Unary::Not => not(it),
    }
}

/// The limits of a result from those of its operands: from the results of all pairs of limits, where the operator rises or falls in each.
fn arithmetic(operator: Binary, a: Interval, b: Interval) -> Interval {
    let decided = |holds: bool, fails: bool| match (holds, fails) {
        (true, _) => Interval::exactly(1),
        (_, true) => Interval::exactly(0),
        _ => Interval::TRUTH,
    };
    let corners = |of: fn(i64, i64) -> Option<i64>| {
        let pairs = [(a.low, b.low), (a.low, b.high), (a.high, b.low), (a.high, b.high)];
        let results: Option<Vec<i64>> = pairs.iter().map(|it| of(it.0, it.1)).collect();
        match results {
            Some(it) => Interval {
                low: it.iter().copied().min().unwrap_or(i64::MIN),
                high: it.iter().copied().max().unwrap_or(i64::MAX),
            },
            None => Interval::ANY,
        }
    };
    let exact = |of: fn(i64, i64) -> Option<i64>| match (a.known(), b.known()) {
        (Some(a), Some(b)) => of(a, b).map_or(Interval::ANY, Interval::exactly),
        _ => Interval::ANY,
    };
    match operator {
        Binary::Or => match (truth(a).known(), truth(b).known()) {
            (Some(1), _) | (_, Some(1)) => Interval::exactly(1),
            (Some(0), Some(0)) => Interval::exactly(0),
            _ => Interval::TRUTH,
        },
        Binary::And => match (truth(a).known(), truth(b).known()) {
            (Some(0), _) | (_, Some(0)) => Interval::exactly(0),
            (Some(1), Some(1)) => Interval::exactly(1),
            _ => Interval::TRUTH,
        },
        Binary::Equal => decided(a.known().is_some() && a == b, a.high < b.low || b.high < a.low),
        Binary::Differs => decided(a.high < b.low || b.high < a.low, a.known().is_some() && a == b),
        Binary::Less => decided(a.high < b.low, a.low >= b.high),
        Binary::LessEqual => decided(a.high <= b.low, a.low > b.high),
        Binary::Greater => decided(a.low > b.high, a.high <= b.low),
        Binary::GreaterEqual => decided(a.low >= b.high, a.high < b.low),
        Binary::Add => corners(i64::checked_add),
        Binary::Subtract => corners(i64::checked_sub),
        Binary::Multiply => corners(i64::checked_mul),
        // A divisor on both sides of 0 makes no limits.
        Binary::Divide if b.low > 0 || b.high < 0 => corners(i64::checked_div),
        Binary::Remainder if b.low > 0 && a.low >= 0 && a.known().is_none() => {
            Interval { low: 0, high: (b.high - 1).min(a.high) }
        }
        Binary::Divide => Interval::ANY,
        Binary::Remainder => exact(i64::checked_rem),
        Binary::BitAnd if a.low >= 0 && b.low >= 0 && (a.known().is_none() || b.known().is_none()) => {
            Interval { low: 0, high: a.high.min(b.high) }
        }
        Binary::BitAnd => exact(|a, b| Some(a & b)),
        Binary::BitOr => exact(|a, b| Some(a | b)),
        Binary::BitXor => exact(|a, b| Some(a ^ b)),
        Binary::ShiftLeft => exact(|a, b| u32::try_from(b).ok().filter(|it| *it < 64).map(|it| a.wrapping_shl(it))),
        Binary::ShiftRight if b.known().is_some_and(|it| (0..64).contains(&it)) => {
            corners(|a, b| u32::try_from(b).ok().map(|it| a >> it))
        }
        Binary::ShiftRight => Interval::ANY,
    }
}

impl Expression {
    /// What a comparison is made of: each side that comes from a block, as it is written in short, with its value.
    #[must_use]
    pub fn parts(&self, names: &dyn Names) -> Vec<(String, Interval)> {
        let mut found = Vec::new();
        self.collect(&mut |it| {
            if let Ok(Value::Number(value)) = it.value(names) {
                found.push((it.shown(), value));
            }
        });
        found.dedup();
        found
    }

    /// The addresses of the bytes and fields that it asks for, as far as they are known.
    pub fn parts_at(&self, names: &dyn Names) -> impl Iterator<Item = i64> {
        let mut found = Vec::new();
        self.collect(&mut |it| {
            let (value, index) = match &it.node {
                Node::Index(value, index) => (value, index.number(names).ok().and_then(Interval::known)),
                Node::Field(value, ..) => (value, Some(0)),
                _ => return,
            };
            if let (Ok(Value::Block(block)), Some(index)) = (value.value(names), index) {
                found.extend(block.address.map(|it| it + index));
            }
        });
        found.into_iter()
    }

    /// Calls on bytes, fields and bound numbers in it.
    fn collect<'a>(&'a self, call: &mut dyn FnMut(&'a Self)) {
        self.visit(&mut |it| {
            if matches!(it.node, Node::Index(..) | Node::Field(..)) {
                call(it);
            }
        });
    }

    /// It as text, without blanks that do not matter.
    fn shown(&self) -> String {
        match &self.node {
            Node::Number(it) if *it > 9 => format!("${it:x}"),
            Node::Number(it) => it.to_string(),
            Node::Text(it) => format!("{it:?}"),
            Node::Name(it) => it.clone(),
            Node::Index(value, index) => {
                let index = if let Node::Number(it) = index.node { it.to_string() } else { index.shown() };
                format!("{}[{index}]", value.shown())
            }
            Node::Slice(value, _) => format!("{}[..]", value.shown()),
            Node::Field(value, name, _) => format!("{}.{name}", value.shown()),
            Node::Unary(..) | Node::Binary(..) => "(...)".to_owned(),
        }
    }
}
