//! What stands under the cursor in C, in Markdown, and what C has to say of a name in assembly.

use std::fmt::Write;

use reveille_c::{Define, Expr, ExprKind, Function, NameUse, Object, Role, Span, StatementKind, Type};
use reveille_facts::{CUnit, Evidence, Model};
use reveille_program::DefinitionKind;

use super::words::{comment_above, comment_above_label, head, object, sized};
use super::{Shared, View, bytes, place, shown};
use crate::block::block_hover;
use crate::hover::{Hover, bases, describe, escaped};
use crate::lookup::{Location, Spot, Thing};

/// Numbers from here on may be addresses. Common practice, no source.
const LEAST_ADDRESS: i64 = 0x1000;

fn fenced(head: &str, text: &str) -> String {
    format!("```c\n{head}\n```\n---\n{text}")
}

/// What stands at a byte.
pub(crate) fn hover(view: &View<'_>, byte: usize) -> Option<Hover> {
    if let Some(found) = of_block(view, byte) {
        return Some(found);
    }
    if let Some(at) = view.name_at(byte) {
        return Some(Hover { range: bytes(at.span), markdown: name(view, at)? });
    }
    let (span, value) = number_at(view, byte)?;
    let mut body = bases(value, 0);
    note_address(view, value, &mut body);
    Some(Hover { range: bytes(span), markdown: fenced(view.own.unit.text(span), &body) })
}

/// The block whose name or initialiser a byte touches.
fn of_block(view: &View<'_>, byte: usize) -> Option<Hover> {
    let spot = Spot::new(view.model, view.file.id(), byte)?;
    let named = || view.model.blocks().find(|it| it.at.place == spot.place);
    let block = view.model.block_at(spot.place).or_else(named)?;
    let touches = |at: &Evidence| {
        let range = at.span.range();
        at.place == spot.place && range.start <= spot.at && spot.at <= range.end
    };
    let part = block.parts.iter().map(|it| it.at).find(touches).map(|it| Thing::Operand(it.span.range()));
    let name = || touches(&block.at).then(|| Thing::Label(block.at.span.range()));
    let thing = part.or_else(name)?;
    block_hover(&spot, block, Some(&thing))
}

/// The number or the character that a byte of a function's text touches.
fn number_at(view: &View<'_>, byte: usize) -> Option<(Span, i64)> {
    let mut found = None;
    let mut see = |it: &Expr| {
        let (ExprKind::Number(number) | ExprKind::Character(number)) = &it.kind else { return };
        let range = bytes(it.span);
        let text = view.own.unit.text(it.span);
        let is_written = text.starts_with(|it: char| it.is_ascii_digit() || it == '\'');
        if it.span.file == view.key && range.start <= byte && byte <= range.end && is_written {
            found = Some((it.span, number.value));
        }
    };
    match view.function_at(byte) {
        Some(function) => function.expressions(&mut |it| see(it)),
        None => {
            let objects = view.own.unit.objects().iter().filter(|it| it.span.file == view.key);
            let init = objects.filter(|it| bytes(it.span).contains(&byte)).filter_map(|it| it.init.as_ref());
            init.for_each(|it| it.expressions(&mut |it| it.visit(&mut see)));
        }
    }
    found
}

/// What the machine file says of a number that may be an address.
fn note_address(view: &View<'_>, value: i64, body: &mut String) {
    let machine = view.model.machine_of(view.file.id());
    let cpu = view.model.program().settings_of(view.file.id()).cpu;
    if let Some(told) = (value >= LEAST_ADDRESS).then(|| machine.describe(cpu, value)).flatten() {
        let _ = write!(body, "\n\n{told}");
    }
}

fn name(view: &View<'_>, at: &NameUse) -> Option<String> {
    let (own, model) = (view.own, view.model);
    match at.role {
        Role::Macro => Some(define(view, at)),
        Role::EnumConstant => {
            let it = own.unit.types().enum_constant(&at.name)?;
            let value = it.value.map_or_else(|| "value not known".to_owned(), |it| bases(it, 0));
            let mut body = format!("constant of an enum: {value}");
            in_assembly(view, &at.name, &mut body);
            where_it_is(model, place(own, it.name_span), &mut body);
            Some(fenced(&at.name, &body))
        }
        Role::Function | Role::Unknown => function(view, at),
        Role::Global | Role::Local | Role::Parameter => {
            let it = object_of(view, at)?;
            let kind = match at.role {
                Role::Local => "local",
                Role::Parameter => "parameter",
                _ => "object",
            };
            let mut body = format!("{kind}: {}", sized(&own.unit, &it.ty));
            if at.role == Role::Global {
                note_label(view, at, &mut body);
            }
            let defined = Shared::of_c(view, at).and_then(|it| it.c_definitions().into_iter().next());
            where_it_is(model, defined.or_else(|| place(own, it.name_span)), &mut body);
            Some(fenced(&object(own, it), &body))
        }
        Role::Member => member(view, at),
        Role::Type => {
            let unit = &own.unit;
            let (ty, span) = match unit.types().typedef(&at.name) {
                Some(it) => (it.ty.clone(), it.name_span),
                None => match unit.types().record(&at.name) {
                    Some(it) => (Type::Record(at.name.clone()), it.tag_span?),
                    None => (Type::Enum(at.name.clone()), at.declared_at?),
                },
            };
            let mut body = format!("type: {}", sized(unit, &ty));
            where_it_is(model, place(own, span), &mut body);
            Some(fenced(&at.name, &body))
        }
        Role::MacroParameter => Some(fenced(&at.name, "parameter of the macro")),
        Role::Label => Some(fenced(&at.name, "label of the function")),
    }
}

/// A macro: its body, its value, and what the assembly has by its name; of registers the address.
fn define(view: &View<'_>, at: &NameUse) -> String {
    let unit = &view.own.unit;
    let mut all = unit.defines().filter(|it| it.name == at.name);
    let is_meant = |it: &&Define| at.declared_at.is_none_or(|span| it.name_span == span);
    let Some(it) = all.find(is_meant) else { return fenced(&at.name, "macro that is given from outside") };
    let parameters = it.parameters.as_ref().map_or(String::new(), |it| format!("({})", it.join(", ")));
    let head = format!("#define {}{parameters} {}", it.name, it.body);
    let mut body = match unit.constant(&it.name) {
        Some(number) if it.parameters.is_none() => format!("constant: {}", bases(number.value, 0)),
        _ => "macro".to_owned(),
    };
    let value = unit.constant(&it.name).filter(|_| it.parameters.is_none()).map(|it| it.value);
    let reached = address_at(view, at.span).filter(|it| Some(*it) != value);
    if let Some(address) = reached {
        let _ = write!(body, "\n\nreaches ${address:06X}");
        note_address(view, address, &mut body);
    } else if let Some(value) = value {
        note_address(view, value, &mut body);
    }
    in_assembly(view, &at.name, &mut body);
    where_it_is(view.model, place(view.own, it.name_span), &mut body);
    fenced(head.trim_end(), &body)
}

/// Where in memory the smallest expression around a name lies, if its text says so.
fn address_at(view: &View<'_>, span: Span) -> Option<i64> {
    let mut found: Option<(u32, u32)> = None;
    view.own.unit.function_at(span)?.expressions(&mut |it| {
        if it.span.contains(span)
            && let Some(address) = view.own.unit.address(it)
            && found.is_none_or(|known| it.span.end - it.span.start <= known.0)
        {
            found = Some((it.span.end - it.span.start, address));
        }
    });
    found.map(|it| i64::from(it.1))
}

/// What the assembly has by the name of a constant: the name as it is, or as the compiler spells it.
fn in_assembly(view: &View<'_>, name: &str, body: &mut String) {
    let shared = Shared::named(view.model, view.file.id(), name);
    let program = view.model.program();
    for spelled in [name, &shared.assembly] {
        let Some(symbol) = program.names().find(spelled) else { continue };
        let own = shared.units().find_map(|unit| Some((unit, *unit.get(symbol)?)));
        let Some((unit, found)) = own else { continue };
        if matches!(found.kind, DefinitionKind::Equate | DefinitionKind::Set) {
            let at = Location { file: found.place.file, range: 0..0 };
            let Some(file) = program.file(at.file) else { continue };
            let line = file.line_number(found.place) + 1;
            let name = file.path().file_name().unwrap_or_default().to_string_lossy();
            let _ = write!(body, "\n\nin assembly `{spelled}`, {}, {name}:{line}", describe(unit, &found));
            return;
        }
    }
}

fn where_it_is(model: &Model, at: Option<Location>, body: &mut String) {
    if let Some(at) = at {
        let _ = write!(body, "\n\n{}", shown(model, &at));
    }
}

/// The label of the assembly that a name of C is: its value, its file and line, what stands above it.
fn note_label(view: &View<'_>, at: &NameUse, body: &mut String) -> bool {
    let Some(shared) = Shared::of_c(view, at) else { return false };
    let (Some((unit, found)), Some(place)) = (shared.label(), shared.label_at()) else { return false };
    let _ = write!(
        body,
        "\n\nin assembly `{}`, {}, {}",
        shared.assembly,
        describe(unit, &found),
        shown(view.model, &place)
    );
    let file = view.model.program().file(place.file);
    let above = file.and_then(|file| comment_above_label(file, file.source().line_of(place.range.start)));
    if let Some(above) = above {
        let _ = write!(body, "\n\n{}", escaped(&above).replace('\n', "  \n"));
    }
    true
}

fn function(view: &View<'_>, at: &NameUse) -> Option<String> {
    let local = view.own.unit.functions().iter().find(|it| it.name == at.name).map(|it| (view.own, it));
    let shared = Shared::of_c(view, at);
    let elsewhere = || {
        let shared = shared.as_ref()?;
        shared.c_units().find_map(|own| {
            let mut all = own.unit.functions().iter();
            all.find(|it| !it.is_static && it.name == at.name).map(|it| (own, it))
        })
    };
    if let Some((own, function)) = local.or_else(elsewhere) {
        return Some(of_function(view.model, own, function));
    }
    let mut body = "function".to_owned();
    let is_label = note_label(view, at, &mut body);
    let declared = view.own.unit.declarations().iter().find(|it| it.name == at.name);
    let head = declared.map_or(&*at.name, |it| view.own.unit.text(it.span));
    // A word that nothing explains is not worth a hover.
    (is_label || declared.is_some()).then(|| fenced(head, &body))
}

fn of_function(model: &Model, own: &CUnit, function: &Function) -> String {
    let kind = if function.is_static { "function of this module alone" } else { "function" };
    let mut body = format!("{kind} that returns {}", super::words::type_words(&own.unit, &function.result));
    let at = place(own, function.name_span);
    let file = at.as_ref().and_then(|it| model.program().file(it.file));
    if let Some(above) = file.and_then(|it| comment_above(it, function.name_span)) {
        let _ = write!(body, "\n\n{}", escaped(&above).replace('\n', "  \n"));
    }
    where_it_is(model, at, &mut body);
    fenced(&head(own, function), &body)
}

/// The object that a name is: of the function around it, or of the unit.
fn object_of<'a>(view: &View<'a>, at: &NameUse) -> Option<&'a Object> {
    let unit = &view.own.unit;
    let declared = at.declared_at.unwrap_or(at.span);
    let is_it = |it: &&Object| it.name_span == declared;
    if at.role == Role::Global {
        return unit.objects().iter().find(is_it);
    }
    let function = unit.function_at(declared)?;
    function.parameters.iter().find(is_it).or_else(|| locals(function).find(is_it))
}

/// The objects that a function declares in its blocks.
pub(super) fn locals(function: &Function) -> impl Iterator<Item = &Object> {
    let mut found = Vec::new();
    function.visit(&mut |it| {
        if let StatementKind::Declaration(objects) = &it.kind {
            found.extend(objects);
        }
    });
    found.into_iter()
}

fn member(view: &View<'_>, at: &NameUse) -> Option<String> {
    let unit = &view.own.unit;
    let records = unit.types().records.iter();
    let all = records.flat_map(|record| record.fields.iter().map(move |it| (record, it)));
    let all = all.filter(|it| it.1.name == at.name && at.declared_at.is_none_or(|span| it.1.name_span == span));
    let mut told = Vec::new();
    for (record, field) in all {
        let of = sized(unit, &Type::Record(record.tag.clone()));
        let offset =
            field.offset.map_or_else(|| "at an unknown offset".to_owned(), |it| format!("at offset {it} = ${it:X}"));
        let bits = field.bits.map_or_else(String::new, |(above, own)| format!(", {own} bits below {above}"));
        let mut body = format!("field of {of}: {}, {offset}{bits}", sized(unit, &field.ty));
        where_it_is(view.model, place(view.own, field.name_span), &mut body);
        told.push(body);
    }
    (!told.is_empty()).then(|| fenced(&at.name, &told.join("\n\n")))
}

/// What C has to say of the name at a spot of assembly: the head of its function or object, and where it is.
pub(crate) fn beside_assembly(spot: &Spot<'_>) -> Option<String> {
    let (shared, _) = Shared::at(spot)?;
    shared.c_units().find_map(|own| {
        let functions = own.unit.functions().iter();
        if let Some(it) = functions.clone().find(|it| !it.is_static && *it.name == *shared.name) {
            return Some(format!("in C\n\n{}", of_function(spot.model, own, it)));
        }
        let is_it = |it: &&Object| !it.is_static && !it.is_extern && *it.name == *shared.name;
        let it = own.unit.objects().iter().find(is_it)?;
        let mut body = format!("object: {}", sized(&own.unit, &it.ty));
        where_it_is(spot.model, place(own, it.name_span), &mut body);
        Some(format!("in C\n\n{}", fenced(&object(own, it), &body)))
    })
}
