//! The outline of a C document, and the names of C in a search of the workspace.

use std::ops::Range;

use reveille_c::{Role, Span, Type};
use reveille_facts::{CUnit, Model};

use super::words::type_words;
use super::{View, bytes, place};
use crate::lookup::Location;
use crate::symbols::{OutlineKind, OutlineSymbol};

fn symbol(name: &str, kind: OutlineKind, range: Range<usize>, name_span: Span) -> OutlineSymbol {
    let name_range = bytes(name_span);
    // What a macro laid down stands at its use.
    let range = range.start.min(name_range.start)..range.end.max(name_range.end);
    OutlineSymbol { name: name.to_owned(), detail: String::new(), kind, range, name_range, children: Vec::new() }
}

/// The functions, objects, macros, enums and structs of a document, in the order of its text.
pub(crate) fn outline(view: &View<'_>) -> Vec<OutlineSymbol> {
    let unit = &view.own.unit;
    let is_here = |span: &Span| span.file == view.key;
    let mut found = Vec::new();
    for it in unit.functions().iter().filter(|it| is_here(&it.name_span) && is_here(&it.span)) {
        found.push(symbol(&it.name, OutlineKind::Routine, bytes(it.span), it.name_span));
    }
    let outside = |span: Span| unit.function_at(span).is_none();
    for it in unit.objects().iter().filter(|it| is_here(&it.name_span) && is_here(&it.span) && outside(it.name_span)) {
        let own = symbol(&it.name, OutlineKind::Data, bytes(it.span), it.name_span);
        found.push(OutlineSymbol { detail: type_words(unit, &it.ty), ..own });
    }
    for it in unit.defines().filter(|it| is_here(&it.name_span)) {
        let is_constant = it.parameters.is_none() && unit.constant(&it.name).is_some();
        let kind = if is_constant { OutlineKind::Constant } else { OutlineKind::Macro };
        let end = bytes(it.body_span).end.max(bytes(it.name_span).end);
        let own = symbol(&it.name, kind, bytes(it.name_span).start..end, it.name_span);
        found.push(OutlineSymbol { detail: it.body.clone(), ..own });
    }
    for it in unit.types().enums.iter() {
        let constants = it.constants.iter().filter(|it| is_here(&it.name_span));
        let children: Vec<_> = constants
            .map(|it| {
                let own = symbol(&it.name, OutlineKind::Constant, bytes(it.name_span), it.name_span);
                OutlineSymbol { detail: it.value.map_or_else(String::new, |it| it.to_string()), ..own }
            })
            .collect();
        let ends = children.first().zip(children.last()).map(|it| it.0.range.start..it.1.range.end);
        match (it.tag_span.filter(is_here), ends) {
            (Some(span), ends) => {
                let own = symbol(&it.tag, OutlineKind::Block, ends.unwrap_or_else(|| bytes(span)), span);
                found.push(OutlineSymbol { detail: "enum".to_owned(), children, ..own });
            }
            // An enum without a tag is its constants.
            (None, _) => found.extend(children),
        }
    }
    for it in unit.types().records.iter().filter(|it| is_here(&it.span)) {
        let Some(span) = it.tag_span.filter(is_here) else { continue };
        let fields = it.fields.iter().filter(|it| is_here(&it.name_span) && !it.name.is_empty());
        let children = fields.map(|field| {
            let own = symbol(&field.name, OutlineKind::Variable, bytes(field.name_span), field.name_span);
            OutlineSymbol { detail: type_words(unit, &field.ty), ..own }
        });
        let own = symbol(&it.tag, OutlineKind::Block, bytes(it.span), span);
        let detail = type_words(unit, &Type::Record(it.tag.clone()));
        found.push(OutlineSymbol { detail, children: children.collect(), ..own });
    }
    found.sort_by_key(|it| (it.range.start, it.name_range.start));
    found
}

/// The functions, objects and macros of all C, each once with what it is and where.
pub(crate) fn symbols(model: &Model) -> Vec<(String, OutlineKind, Location)> {
    let mut found = Vec::new();
    let mut seen = rustc_hash::FxHashSet::default();
    for own in model.c() {
        for (name, kind, span) in named(own) {
            if let Some(at) = place(own, span).filter(|it| seen.insert(it.clone())) {
                found.push((name.to_owned(), kind, at));
            }
        }
    }
    found
}

fn named(own: &CUnit) -> impl Iterator<Item = (&str, OutlineKind, Span)> {
    let unit = &own.unit;
    let functions = unit.functions().iter().map(|it| (&*it.name, OutlineKind::Routine, it.name_span));
    let objects = unit.objects().iter().filter(|it| !it.is_extern && unit.function_at(it.name_span).is_none());
    let objects = objects.map(|it| (&*it.name, OutlineKind::Data, it.name_span));
    let constants = unit.names().filter(|it| it.is_definition && it.role == Role::EnumConstant);
    let constants = constants.map(|it| (&*it.name, OutlineKind::Constant, it.span));
    let defines = unit.defines().map(|it| {
        let kind = if it.parameters.is_none() { OutlineKind::Constant } else { OutlineKind::Macro };
        (&*it.name, kind, it.name_span)
    });
    functions.chain(objects).chain(constants).chain(defines)
}
