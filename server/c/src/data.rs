//! The bytes that initialised objects have in memory.

use std::sync::Arc;

use crate::evaluate::Judge;
use crate::text::Span;
use crate::tree::{Designator, Expr, ExprKind, Init, Object};
use crate::types::{Field, Type};

/// Some bytes of an object, from one place of the text.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// The highest byte of each item first; None where the text does not say: addresses, numbers with a point, what cannot be worked out.
    pub bytes: Vec<Option<u8>>,
    /// The expression they come from. For zeros that nobody wrote and bytes that only fill, the whole of what the object starts with.
    pub span: Span,
    /// Bytes of one item: a string has items of one byte.
    pub item_bytes: u32,
    /// What an address is one of.
    pub pointer: Option<Pointee>,
}

/// What an address in data leads to.
#[derive(Debug, Clone, PartialEq)]
pub enum Pointee {
    /// A string, without its closing zero.
    Text(Vec<u8>),
    /// A function or object.
    Name(Arc<str>),
}

/// Objects beyond this have no data.
const MOST_BYTES: u32 = 4 << 20;
/// Records in records.
const DEEPEST: usize = 64;

/// The bytes of an object, in the order of memory; None where nothing initialises it or its size is not known.
pub(crate) fn data(object: &Object, judge: &Judge) -> Option<Vec<Element>> {
    let init = object.init.as_ref()?;
    let size = judge.types.size(&object.ty, judge.int_bytes).filter(|it| *it <= MOST_BYTES)?;
    let mut writer = Writer { judge, elements: Vec::new() };
    writer.one(&object.ty, init, 0, 0)?;
    let mut elements = writer.elements;
    // Of two for one place the later one is what C takes.
    elements.reverse();
    elements.sort_by_key(|it| it.0);
    let mut all = Vec::with_capacity(elements.len());
    let mut at = 0;
    let zeros =
        |count: u32| Element { bytes: vec![Some(0); count as usize], span: init.span(), item_bytes: 1, pointer: None };
    for (offset, element) in elements {
        let length = u32::try_from(element.bytes.len()).ok()?;
        if offset < at || length == 0 || offset.checked_add(length)? > size {
            continue;
        }
        if offset > at {
            all.push(zeros(offset - at));
        }
        at = offset + length;
        all.push(element);
    }
    if at < size {
        all.push(zeros(size - at));
    }
    Some(all)
}

struct Writer<'a> {
    judge: &'a Judge<'a>,
    /// With their offsets, as the text has them.
    elements: Vec<(u32, Element)>,
}

impl Writer<'_> {
    fn size(&self, ty: &Type) -> Option<u32> {
        self.judge.types.size(ty, self.judge.int_bytes)
    }

    /// Something with its own initialiser.
    fn one(&mut self, ty: &Type, init: &Init, offset: u32, depth: usize) -> Option<()> {
        let mut at = 0;
        match init {
            Init::List(list, _) if self.is_whole(ty) => self.many(ty, list, &mut at, offset, true, depth),
            // Braces around a single value, or around a string.
            Init::List(list, _) => list.first().map_or(Some(()), |it| self.one(ty, it, offset, depth + 1)),
            Init::Designated(_, init) => self.one(ty, init, offset, depth + 1),
            Init::Value(value) => self.value(ty, value, offset),
        }
        .filter(|_| depth <= DEEPEST)
    }

    /// Whether a list in braces gives the parts of a type.
    fn is_whole(&self, ty: &Type) -> bool {
        matches!(self.judge.types.resolved(ty), Some(Type::Array(..) | Type::Record(_)))
    }

    /// The items of an array or the fields of a record, from a place of a list on.
    fn many(
        &mut self,
        ty: &Type,
        list: &[Init],
        at: &mut usize,
        offset: u32,
        is_braced: bool,
        depth: usize,
    ) -> Option<()> {
        if depth > DEEPEST {
            return None;
        }
        let judge = self.judge;
        match judge.types.resolved(ty)? {
            Type::Array(of, count) => {
                if let ([Init::Value(value)], true) = (list, is_braced)
                    && self.string(of, *count, value, offset)
                {
                    *at += 1;
                    return Some(());
                }
                let size = self.size(of)?;
                let mut index = 0u32;
                while let Some(init) = list.get(*at) {
                    if let Init::Designated(Designator::Index(place), _) = init {
                        if !is_braced {
                            break;
                        }
                        index = judge.number(place).and_then(|it| u32::try_from(it.value).ok())?;
                    }
                    if count.is_some_and(|it| index >= it) {
                        break;
                    }
                    let place = offset.checked_add(index.checked_mul(size)?)?;
                    self.part(of, list, at, place, depth)?;
                    index = index.checked_add(1)?;
                }
            }
            Type::Record(tag) => {
                let record = judge.types.record(tag)?;
                let fields = &record.fields;
                let mut index = 0;
                while let Some(init) = list.get(*at) {
                    if let Init::Designated(Designator::Field(name, _), _) = init {
                        if !is_braced {
                            break;
                        }
                        index = fields.iter().position(|it| it.name == *name)?;
                    }
                    let Some(field) = fields.get(index).filter(|_| index == 0 || !record.is_union || is_named(init))
                    else {
                        break;
                    };
                    index += 1;
                    if field.name.is_empty() {
                        continue;
                    }
                    let place = offset.checked_add(field.offset?)?;
                    if field.bits.is_some() {
                        self.bits(field, init, place)?;
                        *at += 1;
                    } else {
                        self.part(&field.ty, list, at, place, depth)?;
                    }
                }
            }
            _ => return None,
        }
        Some(())
    }

    /// One item or field; inner braces may be left out.
    fn part(&mut self, ty: &Type, list: &[Init], at: &mut usize, offset: u32, depth: usize) -> Option<()> {
        let init = list.get(*at)?;
        let plain = match init {
            Init::Designated(_, inner) => inner,
            other => other,
        };
        if let Init::Value(value) = plain {
            if let Some(Type::Array(of, count)) = self.judge.types.resolved(ty)
                && self.string(of, *count, value, offset)
            {
                *at += 1;
                return Some(());
            }
            if self.is_whole(ty) && plain == init {
                let before = *at;
                self.many(ty, list, at, offset, false, depth + 1)?;
                return (*at > before).then_some(());
            }
        }
        *at += 1;
        self.one(ty, plain, offset, depth + 1)
    }

    /// A string into an array of bytes.
    fn string(&mut self, of: &Type, count: Option<u32>, value: &Expr, offset: u32) -> bool {
        let expanded = self.judge.expanded(value);
        let ExprKind::Text(bytes) = expanded.as_ref().map_or(&value.kind, |it| &it.kind) else { return false };
        if self.size(of) != Some(1) {
            return false;
        }
        let mut bytes: Vec<Option<u8>> = bytes.iter().copied().map(Some).chain([Some(0)]).collect();
        bytes.truncate(count.unwrap_or(u32::MAX) as usize);
        self.elements.push((offset, Element { bytes, span: value.span, item_bytes: 1, pointer: None }));
        true
    }

    fn value(&mut self, ty: &Type, value: &Expr, offset: u32) -> Option<()> {
        if let Some(Type::Array(of, count)) = self.judge.types.resolved(ty) {
            return self.string(of, *count, value, offset).then_some(());
        }
        let item_bytes = self.size(ty)?;
        let is_float = matches!(self.judge.types.resolved(ty), Some(Type::Float(_)));
        let number = self.judge.number(value).filter(|_| !is_float && item_bytes <= 4);
        let bytes = match number {
            Some(number) => {
                let all = number.value.to_be_bytes();
                all[all.len() - item_bytes as usize..].iter().copied().map(Some).collect()
            }
            None => vec![None; item_bytes as usize],
        };
        let pointer = if number.is_none() && item_bytes == 4 { self.pointee(value) } else { None };
        self.elements.push((offset, Element { bytes, span: value.span, item_bytes, pointer }));
        Some(())
    }

    fn bits(&mut self, field: &Field, init: &Init, offset: u32) -> Option<()> {
        let (above, width) = field.bits?;
        let unit = self.judge.int_bytes * 8;
        let value = match init {
            Init::Value(value) => self.judge.number(value),
            _ => None,
        };
        let shift = unit.checked_sub(above + width)?;
        let own = value.map(|it| (it.value as u64 & ((1u64 << width) - 1)) << shift);
        let place = self.elements.iter_mut().rev().find(|it| it.0 == offset);
        let entry = match place {
            Some((_, element)) => element,
            None => {
                let bytes = vec![Some(0); self.judge.int_bytes as usize];
                let item_bytes = self.judge.int_bytes;
                self.elements.push((offset, Element { bytes, span: init.span(), item_bytes, pointer: None }));
                &mut self.elements.last_mut()?.1
            }
        };
        let own = own.map(u64::to_be_bytes);
        let skipped = 8 - entry.bytes.len().min(8);
        for (index, byte) in entry.bytes.iter_mut().enumerate() {
            *byte = byte.zip(own).map(|(byte, own)| byte | own[skipped + index]);
        }
        Some(())
    }

    fn pointee(&self, value: &Expr) -> Option<Pointee> {
        let expanded = self.judge.expanded(value);
        let mut of = expanded.as_ref().unwrap_or(value);
        loop {
            match &of.kind {
                ExprKind::Cast(_, inner) | ExprKind::Unary("&", inner) => of = inner,
                ExprKind::Text(bytes) => return Some(Pointee::Text(bytes.clone())),
                ExprKind::Name(name) => return Some(Pointee::Name(name.clone())),
                _ => return None,
            }
        }
    }
}

fn is_named(init: &Init) -> bool {
    matches!(init, Init::Designated(Designator::Field(..), _))
}
