//! A file with all that it includes.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::data::{self, Element};
use crate::evaluate::Judge;
use crate::macros::{Define, Macros, When};
use crate::names::NameUse;
use crate::parse::{self, Items};
use crate::preprocess::{Find, Include, MissingInclude, prepare};
use crate::text::{FileKey, Settings, Span, Text};
use crate::tree::{Assembly, Declaration, Expr, ExprKind, Function, Object};
use crate::types::{Number, Type, Types};

/// Macros that are other words for each other.
const MOST_WORDS: usize = 8;

/// What a file and its includes say.
#[derive(Debug)]
pub struct Unit {
    int_bytes: u32,
    texts: FxHashMap<FileKey, Arc<str>>,
    macros: Macros,
    off: Vec<Span>,
    includes: Vec<Include>,
    missing: Vec<MissingInclude>,
    troubles: Vec<Span>,
    items: Items,
    types: Types,
    names: Vec<NameUse>,
    functions_by_place: FxHashMap<FileKey, Vec<(Span, usize)>>,
}

impl Unit {
    /// Reads a file. `find` gives the texts of includes. What cannot be read is broken, and all else is there.
    pub fn read(root: &Text, find: &mut Find, settings: &Settings) -> Unit {
        let mut prepared = prepare(root, find, settings);
        let (mut items, types, names) = parse::unit(&prepared, settings.int_bytes);
        let mut troubles = std::mem::take(&mut prepared.troubles);
        troubles.append(&mut items.troubles);
        let mut functions_by_place: FxHashMap<FileKey, Vec<(Span, usize)>> = FxHashMap::default();
        for (index, it) in items.functions.iter().enumerate() {
            functions_by_place.entry(it.span.file).or_default().push((it.span, index));
        }
        functions_by_place.values_mut().for_each(|it| it.sort_by_key(|it| it.0));
        Unit {
            int_bytes: settings.int_bytes,
            texts: prepared.texts,
            macros: prepared.macros,
            off: prepared.off,
            includes: prepared.includes,
            missing: prepared.missing,
            troubles,
            items,
            types,
            names,
            functions_by_place,
        }
    }

    /// Every `#define` that was read, in order.
    pub fn defines(&self) -> impl Iterator<Item = &Define> {
        self.macros.all.iter().filter(|it| !it.is_setting).map(|it| &it.define)
    }

    /// Whether a place is in a part that a condition leaves out.
    pub fn is_off(&self, span: Span) -> bool {
        self.off.iter().any(|it| it.contains(span))
    }

    /// The parts that conditions leave out.
    pub fn off(&self) -> &[Span] {
        &self.off
    }

    /// Functions with bodies, in order.
    pub fn functions(&self) -> &[Function] {
        &self.items.functions
    }

    /// Functions that are told of without a body, in order.
    pub fn declarations(&self) -> &[Declaration] {
        &self.items.declarations
    }

    /// Objects outside of functions, and those that functions say are `extern`.
    pub fn objects(&self) -> &[Object] {
        &self.items.objects
    }

    /// Structs, unions, enums, typedefs.
    pub fn types(&self) -> &Types {
        &self.types
    }

    /// Assembly outside of functions.
    pub fn assembly(&self) -> &[Assembly] {
        &self.items.assembly
    }

    /// Every place of every name, by file and place.
    pub fn names(&self) -> impl Iterator<Item = &NameUse> {
        self.names.iter()
    }

    /// The place of a name that has a byte of a file, or ends at it.
    pub fn name_at(&self, file: FileKey, byte: u32) -> Option<&NameUse> {
        let behind = self.names.partition_point(|it| (it.span.file, it.span.start) <= (file, byte));
        self.names[..behind].last().filter(|it| it.span.file == file && byte <= it.span.end)
    }

    /// Includes that were found.
    pub fn includes(&self) -> &[Include] {
        &self.includes
    }

    /// Includes that were not found, or that were too many.
    pub fn missing_includes(&self) -> &[MissingInclude] {
        &self.missing
    }

    /// Where something could not be read.
    pub fn troubles(&self) -> &[Span] {
        &self.troubles
    }

    /// What stands at a place; nothing for a place of another unit.
    pub fn text(&self, span: Span) -> &str {
        let text = self.texts.get(&span.file);
        text.and_then(|it| it.get(span.start as usize..span.end as usize)).unwrap_or_default()
    }

    /// The function that a place is in.
    pub fn function_at(&self, span: Span) -> Option<&Function> {
        self.function_index(span).map(|it| &self.items.functions[it])
    }

    fn function_index(&self, span: Span) -> Option<usize> {
        let of_file = self.functions_by_place.get(&span.file)?;
        let behind = of_file.partition_point(|it| it.0.start <= span.start);
        of_file[..behind].last().filter(|it| it.0.contains(span)).map(|it| it.1)
    }

    fn judged<T>(&self, at: Option<Span>, ask: impl FnOnce(&Judge) -> T) -> T {
        let locals = at.and_then(|it| self.function_index(it)).and_then(|it| self.items.locals.get(it));
        let objects = |name: &str| -> Option<Type> {
            locals.and_then(|it| it.get(name)).or_else(|| self.items.globals.get(name)).cloned()
        };
        ask(&Judge {
            types: &self.types,
            macros: &self.macros,
            int_bytes: self.int_bytes,
            texts: Some(&self.texts),
            objects: &objects,
            is_condition: false,
        })
    }

    /// The value of a constant expression. None for what only a run tells, and for a division by zero.
    pub fn value(&self, expression: &Expr) -> Option<Number> {
        self.judged(Some(expression.span), |it| it.number(expression))
    }

    /// The type of an expression, where it can be told.
    pub fn type_of(&self, expression: &Expr) -> Option<Type> {
        self.judged(Some(expression.span), |it| it.typed(expression)).map(|it| it.ty)
    }

    /// Where in memory what an expression names lies, if the text says so: `*(char *) 0xFF01`, a field of what a macro puts there.
    pub fn address(&self, expression: &Expr) -> Option<u32> {
        let typed = self.judged(Some(expression.span), |it| it.typed(expression))?;
        typed.address.and_then(|it| u32::try_from(it).ok())
    }

    /// Bytes of an `int`.
    pub fn int_bytes(&self) -> u32 {
        self.int_bytes
    }

    /// Bytes of a type.
    pub fn size(&self, ty: &Type) -> Option<u32> {
        self.types.size(ty, self.int_bytes)
    }

    /// The value of a macro without parameters, as it is at the unit's end, or of an enum constant.
    pub fn constant(&self, name: &str) -> Option<Number> {
        if let Some((_, expression)) = self.macro_expression(name) {
            return self.judged(None, |it| it.number(&it.expanded_name(name, expression.span)?));
        }
        let value = self.types.enum_constant(name)?.value?;
        let ty = crate::types::Integer::signed(self.int_bytes);
        Some(Number { value: ty.wrap(value), ty })
    }

    /// The body of a macro as an expression, with the macro's parameters. Its places are in the `#define`.
    pub fn macro_expression(&self, name: &str) -> Option<(&[String], Expr)> {
        let it = &self.macros.all[self.macros.find(name, When::Now)?];
        let expression = parse::expression(&it.body, &self.types, &self.macros, self.int_bytes)?;
        Some((it.define.parameters.as_deref().unwrap_or_default(), expression))
    }

    /// The bytes that an object starts with, in the order of memory. None for one that nothing initialises, or of unknown size.
    pub fn data(&self, object: &Object) -> Option<Vec<Element>> {
        self.judged(Some(object.name_span), |it| data::data(object, it))
    }

    /// The name of what a call calls, when it is a name. Of a macro that is another word for a name, that name.
    pub fn called<'a>(&'a self, call: &'a Expr) -> Option<&'a str> {
        let ExprKind::Call { function, .. } = &call.kind else { return None };
        let ExprKind::Name(name) = &function.kind else { return None };
        let mut name = name;
        for _ in 0..MOST_WORDS {
            match self.macros.other_word(name, function.span) {
                Some(other) => name = other,
                None => break,
            }
        }
        Some(name)
    }
}
