//! Types, and how they lie in the memory of a 68000.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::text::Span;

/// A whole number's type.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Integer {
    /// 1, 2 or 4.
    pub bytes: u32,
    /// It has negative values.
    pub is_signed: bool,
}

impl Integer {
    pub(crate) const fn signed(bytes: u32) -> Integer {
        Integer { bytes, is_signed: true }
    }

    pub(crate) const fn unsigned(bytes: u32) -> Integer {
        Integer { bytes, is_signed: false }
    }

    /// What is left of a value in this type.
    pub(crate) fn wrap(self, value: i64) -> i64 {
        match (self.bytes, self.is_signed) {
            (1, true) => i64::from(value as i8),
            (1, false) => i64::from(value as u8),
            (2, true) => i64::from(value as i16),
            (2, false) => i64::from(value as u16),
            (_, true) => i64::from(value as i32),
            (_, false) => i64::from(value as u32),
        }
    }
}

/// A constant's value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Number {
    /// As its type has it.
    pub value: i64,
    /// Its type; an address is an unsigned number of 4 bytes.
    pub ty: Integer,
}

/// A type.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Type {
    /// Nothing.
    Void,
    /// A whole number.
    Integer(Integer),
    /// A number with a point: 4 or 8 bytes.
    Float(u32),
    /// An address, and of what.
    Pointer(Box<Type>),
    /// Several of a type; None where nobody says how many.
    Array(Box<Type>, Option<u32>),
    /// A function, and what it returns.
    Function(Box<Type>),
    /// A struct or union, by its tag; one without a tag has a made one, with a `<` in front.
    Record(Arc<str>),
    /// An enum, by its tag likewise.
    Enum(Arc<str>),
    /// A name that a typedef explains, or nobody.
    Named(Arc<str>),
}

/// A field of a struct or union.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// Its name; empty for a bit field that only fills.
    pub name: Arc<str>,
    /// Where the name stands.
    pub name_span: Span,
    /// Its type.
    pub ty: Type,
    /// Bytes from the record's start; None behind a field of unknown size.
    pub offset: Option<u32>,
    /// For a bit field: bits above it in its unit, and its own.
    pub bits: Option<(u32, u32)>,
}

/// A struct or union.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Its tag, as [`Type::Record`] has it.
    pub tag: Arc<str>,
    /// Where the tag stands.
    pub tag_span: Option<Span>,
    /// All of it.
    pub span: Span,
    /// It is a union.
    pub is_union: bool,
    /// In order.
    pub fields: Vec<Field>,
    /// Its size in bytes.
    pub bytes: Option<u32>,
}

/// A name for a type.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Typedef {
    /// The name.
    pub name: Arc<str>,
    /// Where it stands.
    pub name_span: Span,
    /// What it means.
    pub ty: Type,
}

/// A constant of an enum.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EnumConstant {
    /// Its name.
    pub name: Arc<str>,
    /// Where the name stands.
    pub name_span: Span,
    /// Its value; None where it cannot be worked out.
    pub value: Option<i64>,
}

/// An enum.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Enum {
    /// Its tag, as [`Type::Enum`] has it.
    pub tag: Arc<str>,
    /// Where the tag stands.
    pub tag_span: Option<Span>,
    /// In order.
    pub constants: Vec<EnumConstant>,
}

/// The types that a text makes.
#[derive(Debug, Clone, Default)]
pub struct Types {
    /// Structs and unions with their fields.
    pub records: Vec<Record>,
    /// Names for types.
    pub typedefs: Vec<Typedef>,
    /// Enums.
    pub enums: Vec<Enum>,
    by_tag: FxHashMap<Arc<str>, usize>,
    by_name: FxHashMap<Arc<str>, usize>,
    constants: FxHashMap<Arc<str>, (usize, usize)>,
    open: FxHashMap<Arc<str>, EnumConstant>,
}

/// More names than this in a row, and a type is taken to explain itself by itself.
const MOST_NAMES: usize = 64;
/// Records in records beyond this have no size.
const DEEPEST: usize = 64;

impl Types {
    pub(crate) fn add_record(&mut self, record: Record) {
        self.by_tag.insert(record.tag.clone(), self.records.len());
        self.records.push(record);
    }

    pub(crate) fn add_typedef(&mut self, typedef: Typedef) {
        self.by_name.insert(typedef.name.clone(), self.typedefs.len());
        self.typedefs.push(typedef);
    }

    pub(crate) fn add_enum(&mut self, it: Enum) {
        for (index, constant) in it.constants.iter().enumerate() {
            self.constants.insert(constant.name.clone(), (self.enums.len(), index));
        }
        self.enums.push(it);
        self.open.clear();
    }

    /// A constant of an enum that is still being read.
    pub(crate) fn add_constant(&mut self, it: EnumConstant) {
        self.open.insert(it.name.clone(), it);
    }

    /// The struct or union with a tag.
    pub fn record(&self, tag: &str) -> Option<&Record> {
        self.by_tag.get(tag).map(|it| &self.records[*it])
    }

    /// The typedef of a name.
    pub fn typedef(&self, name: &str) -> Option<&Typedef> {
        self.by_name.get(name).map(|it| &self.typedefs[*it])
    }

    /// The enum constant of a name.
    pub fn enum_constant(&self, name: &str) -> Option<&EnumConstant> {
        let closed = self.constants.get(name).map(|it| &self.enums[it.0].constants[it.1]);
        closed.or_else(|| self.open.get(name))
    }

    /// A type without names for it; None for a name that nobody explains.
    pub fn resolved<'a>(&'a self, mut ty: &'a Type) -> Option<&'a Type> {
        for _ in 0..MOST_NAMES {
            match ty {
                Type::Named(name) => ty = &self.typedef(name)?.ty,
                _ => return Some(ty),
            }
        }
        None
    }

    /// Bytes of a type; None where it is not known.
    pub fn size(&self, ty: &Type, int_bytes: u32) -> Option<u32> {
        self.measured(ty, int_bytes, 0)
    }

    fn measured(&self, ty: &Type, int_bytes: u32, depth: usize) -> Option<u32> {
        if depth > DEEPEST {
            return None;
        }
        match self.resolved(ty)? {
            Type::Integer(it) => Some(it.bytes),
            Type::Float(bytes) => Some(*bytes),
            Type::Pointer(_) => Some(4),
            Type::Array(of, count) => self.measured(of, int_bytes, depth + 1)?.checked_mul((*count)?),
            Type::Record(tag) => self.record(tag)?.bytes,
            Type::Enum(_) => Some(int_bytes),
            Type::Void | Type::Function(_) | Type::Named(_) => None,
        }
    }

    /// What addresses of a type are multiples of: 1 for bytes, 2 for all else.
    pub fn alignment(&self, ty: &Type) -> u32 {
        let mut ty = ty;
        for _ in 0..MOST_NAMES {
            match self.resolved(ty) {
                Some(Type::Array(of, _)) => ty = of,
                Some(Type::Integer(Integer { bytes: 1, .. })) => return 1,
                _ => return 2,
            }
        }
        2
    }

    /// Gives the fields of a record their offsets, and says its size.
    pub(crate) fn lay_out(&self, fields: &mut [Field], is_union: bool, int_bytes: u32) -> Option<u32> {
        let mut at = Some(0u32);
        let mut longest = Some(0u32);
        // Bits that are taken of the unit before `at`.
        let mut taken = 0;
        for field in fields {
            if is_union {
                (at, taken) = (Some(0), 0);
            }
            if let Some((_, width)) = field.bits {
                let unit = int_bytes * 8;
                if width == 0 {
                    taken = 0;
                    field.offset = at;
                    continue;
                }
                let is_new = taken == 0 || taken + width > unit;
                if is_new {
                    at = at.and_then(|it| it.checked_next_multiple_of(2));
                    taken = 0;
                }
                field.offset = if is_new { at } else { at.and_then(|it| it.checked_sub(int_bytes)) };
                field.bits = Some((taken, width));
                taken += width;
                if is_new {
                    at = at.and_then(|it| it.checked_add(int_bytes));
                }
            } else {
                taken = 0;
                at = at.and_then(|it| it.checked_next_multiple_of(self.alignment(&field.ty)));
                field.offset = at;
                at = at.and_then(|it| it.checked_add(self.size(&field.ty, int_bytes)?));
            }
            longest = longest.and_then(|it| Some(it.max(at?)));
        }
        longest?.checked_next_multiple_of(2)
    }
}
