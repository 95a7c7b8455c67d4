//! Who calls whom in C, and across the border.

use std::ops::Range;

use reveille_c::{Expr, ExprKind, Function, Role};
use reveille_facts::{CUnit, Model};
use reveille_program::FileId;

use super::{Shared, View, bytes, place};
use crate::calls::{Call, Routine, routine_at};
use crate::lookup::Location;

/// A function as an item of the hierarchy.
fn item(own: &CUnit, function: &Function) -> Option<Routine> {
    let (file, range) = own.bytes(function.span)?;
    let name_range = bytes(function.name_span);
    (function.name_span.file == function.span.file).then(|| Routine {
        name: function.name.to_string(),
        detail: String::new(),
        file,
        range,
        name_range,
    })
}

/// A function and the unit that has it.
type Own<'a> = (&'a CUnit, &'a Function);

/// What a name of C calls.
enum Callee<'a> {
    Function(Own<'a>),
    Label(Location),
}

impl Callee<'_> {
    fn routine(&self, model: &Model) -> Option<Routine> {
        match self {
            Callee::Function(it) => item(it.0, it.1),
            Callee::Label(at) => routine_at(model, at.file, at.range.start),
        }
    }
}

/// The function of a name in C that other modules see.
fn function_named<'a>(shared: &Shared<'a>) -> Option<Own<'a>> {
    shared.c_units().find_map(|own| {
        let mut all = own.unit.functions().iter();
        all.find(|it| !it.is_static && *it.name == *shared.name).map(|it| (own, it))
    })
}

fn meant<'a>(view: &View<'a>, name: &reveille_c::NameUse) -> Option<Callee<'a>> {
    if !matches!(name.role, Role::Function | Role::Unknown) {
        return None;
    }
    let local = view.own.unit.functions().iter().find(|it| it.name == name.name);
    if let Some(function) = local {
        return Some(Callee::Function((view.own, function)));
    }
    let shared = Shared::of_c(view, name)?;
    match function_named(&shared) {
        Some(it) => Some(Callee::Function(it)),
        None => shared.label_at().map(Callee::Label),
    }
}

/// The function that a byte names, or stands in.
pub(crate) fn routine(view: &View<'_>, byte: usize) -> Option<Routine> {
    match view.name_at(byte).and_then(|it| meant(view, it)) {
        Some(it) => it.routine(view.model),
        None => item(view.own, view.function_at(byte)?),
    }
}

fn start<'a>(view: &View<'a>, byte: usize) -> Option<Own<'a>> {
    match view.name_at(byte).and_then(|it| meant(view, it)) {
        Some(Callee::Function(it)) => Some(it),
        Some(Callee::Label(_)) => None,
        None => view.function_at(byte).map(|it| (view.own, it)),
    }
}

/// Calls of a function by the routine at their other end, in their order.
#[derive(Default)]
struct Gathered(Vec<Call>);

impl Gathered {
    fn add(&mut self, routine: Routine, range: Range<usize>) {
        let is_same = |it: &&mut Call| it.routine.file == routine.file && it.routine.range == routine.range;
        match self.0.iter_mut().find(is_same) {
            Some(known) if known.ranges.contains(&range) => (),
            Some(known) => known.ranges.push(range),
            None => self.0.push(Call { routine, ranges: vec![range] }),
        }
    }
}

/// Shows each call of a function by a name, and the name.
fn each_call<'a>(own: &'a CUnit, function: &'a Function, mut see: impl FnMut(&'a Expr, &'a str)) {
    function.expressions(&mut |it| {
        if let (ExprKind::Call { .. }, Some(name)) = (&it.kind, own.unit.called(it)) {
            see(it, name);
        }
    });
}

/// What the function at a byte calls, in the order of its text.
pub(crate) fn outgoing(view: &View<'_>, byte: usize) -> Vec<Call> {
    let Some((own, function)) = start(view, byte) else { return Vec::new() };
    let Some(view) = own.bytes(function.span).and_then(|it| View::of(view.model, it.0)) else { return Vec::new() };
    let mut found = Gathered::default();
    each_call(own, function, |call, _| {
        let span = call.called_span();
        let name = own.unit.name_at(span.file, span.start).filter(|it| it.span == span);
        let Some(name) = name.filter(|_| span.file == function.span.file) else { return };
        if let Some(routine) = meant(&view, name).and_then(|it| it.routine(view.model)) {
            found.add(routine, bytes(span));
        }
    });
    found.0
}

/// The functions and routines that call the function at a byte.
pub(crate) fn incoming(view: &View<'_>, byte: usize) -> Vec<Call> {
    let named = view.name_at(byte).and_then(|it| meant(view, it));
    if let Some(Callee::Label(at)) = named {
        return crate::calls::incoming_calls(view.model, at.file, at.range.start);
    }
    let Some((own, function)) = start(view, byte) else { return Vec::new() };
    let mut found = Gathered::default();
    if function.is_static {
        from_unit(own, &function.name, &mut found);
        return found.0;
    }
    let shared = Shared::named(view.model, own.root, &function.name);
    let mut calls = from_c(&shared);
    calls.extend(crate::calls::flows_to(view.model, &shared));
    calls
}

fn from_unit(own: &CUnit, name: &str, found: &mut Gathered) {
    for function in own.unit.functions() {
        each_call(own, function, |call, called| {
            let span = call.called_span();
            let is_function = || {
                let at = own.unit.name_at(span.file, span.start).filter(|it| it.span == span);
                at.is_some_and(|it| matches!(it.role, Role::Function | Role::Unknown))
            };
            if called == name && span.file == function.span.file && is_function() {
                found.extend_by(item(own, function), bytes(span));
            }
        });
    }
}

impl Gathered {
    fn extend_by(&mut self, routine: Option<Routine>, range: Range<usize>) {
        if let Some(routine) = routine {
            self.add(routine, range);
        }
    }
}

fn from_c(shared: &Shared<'_>) -> Vec<Call> {
    let mut found = Gathered::default();
    for own in shared.c_units().filter(|it| !it.is_static(&shared.name)) {
        from_unit(own, &shared.name, &mut found);
    }
    found.0
}

/// The functions of C that call a label.
pub(crate) fn callers(model: &Model, file: FileId, label: &str) -> Vec<Call> {
    Shared::of_assembly(model, file, label).map_or_else(Vec::new, |it| from_c(&it))
}

/// The function of C that a name of assembly calls.
pub(crate) fn callee(model: &Model, file: FileId, name: &str) -> Option<Routine> {
    let shared = Shared::of_assembly(model, file, name)?;
    let (own, function) = function_named(&shared)?;
    item(own, function)
}

/// Where the function of C is defined that a name of assembly means.
pub(crate) fn function_of(model: &Model, file: FileId, name: &str) -> Option<Location> {
    let shared = Shared::of_assembly(model, file, name)?;
    let (own, function) = function_named(&shared)?;
    place(own, function.name_span)
}
