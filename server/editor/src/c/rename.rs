//! A name of C changed everywhere it stands, in assembly too where both sides have it.
//!
//! The change is made in memory and the C read again: each place of each name means what it meant. The assembly has its own proof.

use std::ops::Range;
use std::sync::Arc;

use reveille_c::{Assembly, NameUse, Role};
use reveille_facts::{CUnit, Model};
use reveille_program::{Content, FileId};
use reveille_source::{Encoding, File};
use rustc_hash::{FxHashMap, FxHashSet};

use super::complete::is_name;
use super::names::own_places;
use super::{Shared, View, bytes, place, shown};
use crate::actions::TextEdit;
use crate::lookup::Location;
use crate::rename::{Refusal, in_assembly, prepare_in_assembly, refuse};

/// The name at a byte, and every place of it.
struct Plan<'a> {
    at: &'a NameUse,
    /// Its places in C.
    places: Vec<Location>,
    /// What it is on both sides, and a place of it in assembly, if there is one.
    shared: Option<(Shared<'a>, Option<Location>)>,
}

fn plan<'a>(view: &View<'a>, byte: usize) -> Result<Plan<'a>, Refusal> {
    let Some(at) = view.name_at(byte) else { return refuse("there is no name here") };
    let shared = Shared::of_c(view, at);
    let places: Vec<(Location, bool)> = match &shared {
        Some(it) => it.c_places(),
        None => own_places(view, at),
    };
    let label = shared.as_ref().and_then(Shared::label_at);
    let is_declared = at.declared_at.is_some() || at.role == Role::Member && places.iter().any(|it| it.1);
    if label.is_none() && !is_declared && shared.as_ref().is_none_or(|it| it.c_definitions().is_empty()) {
        return refuse(format!("`{}` is not defined in the source", at.name));
    }
    let places: Vec<Location> = places.into_iter().map(|it| it.0).collect();
    if !places.iter().any(|it| it.file == view.file.id() && it.range == bytes(at.span)) {
        return refuse(format!("`{}` does not stand for a name here", at.name));
    }
    let shared = shared.map(|it| {
        let other = label.or_else(|| it.assembly_places().into_iter().next().map(|it| it.0));
        (it, other)
    });
    let plan = Plan { at, places, shared };
    can_be_edited(view.model, &plan.places)?;
    if plan.shared.is_none() {
        stays_in_c(view.model, &plan)?;
    }
    Ok(plan)
}

/// Refuses files whose other bytes an edit would change.
fn can_be_edited(model: &Model, places: &[Location]) -> Result<(), Refusal> {
    let is_utf8 = |it: &&Location| model.program().file(it.file).is_some_and(|it| it.encoding() == Encoding::Utf8);
    match places.iter().find(|it| !is_utf8(it)) {
        Some(at) => {
            refuse(format!("{} is in a file that is not UTF-8: an edit would change its other bytes", shown(model, at)))
        }
        None => Ok(()),
    }
}

/// Refuses a name of C alone that assembly reads with a header.
fn stays_in_c(model: &Model, plan: &Plan<'_>) -> Result<(), Refusal> {
    let is_read = |it: &&Location| model.analysis().unit_of(it.file).is_some();
    match plan.places.iter().find(is_read) {
        Some(at) => refuse(format!("`{}` at {} is read by the assembly, too", plan.at.name, shown(model, at))),
        None => Ok(()),
    }
}

/// The bytes of the name that can be changed at a byte, and the name.
pub(crate) fn prepare(view: &View<'_>, byte: usize) -> Result<(Range<usize>, String), Refusal> {
    let plan = plan(view, byte)?;
    if let Some((_, Some(at))) = &plan.shared {
        prepare_in_assembly(view.model, at.file, at.range.start)?;
    }
    Ok((bytes(plan.at.span), plan.at.name.to_string()))
}

/// The edits that give the name at a byte another one, on both sides.
pub(crate) fn rename(view: &View<'_>, byte: usize, new: &str) -> Result<Vec<TextEdit>, Refusal> {
    let plan = plan(view, byte)?;
    if *plan.at.name == *new {
        return Ok(Vec::new());
    }
    let mut edits = in_c(view.model, view.own, &plan, new)?;
    if let Some((shared, other)) = &plan.shared {
        let spelled = view.model.convention().assembly(new);
        match other {
            Some(at) => edits.extend(in_assembly(view.model, at.file, at.range.start, &spelled)?),
            None => is_free_in_assembly(view.model, shared, &spelled)?,
        }
    }
    Ok(edits)
}

fn is_free_in_assembly(model: &Model, shared: &Shared<'_>, spelled: &str) -> Result<(), Refusal> {
    let new = Shared::of_assembly(model, shared.near, spelled);
    let at = new.as_ref().and_then(Shared::label_at).or_else(|| {
        let name = model.convention().c(spelled)?;
        Shared::named(model, shared.near, name).label_at()
    });
    match at {
        Some(at) => refuse(format!("`{spelled}` is already defined at {}", shown(model, &at))),
        None => Ok(()),
    }
}

/// The edits in C that go with another name in assembly, where C has the old one.
///
/// # Errors
/// C cannot have the new name, or has it for something else.
pub(crate) fn of_assembly(model: &Model, near: FileId, old: &str, new: &str) -> Result<Vec<TextEdit>, Refusal> {
    let Some(shared) = Shared::of_assembly(model, near, old) else { return Ok(Vec::new()) };
    let Some(name) = model.convention().c(new).filter(|it| is_name(it)) else {
        return refuse(format!("C has `{old}` too, as `{}`, and could not name `{new}`", shared.name));
    };
    let Some(own) = shared.c_units().find(|own| own.unit.names().any(|it| *it.name == *shared.name)) else {
        return Ok(Vec::new());
    };
    let Some(at) = own.unit.names().find(|it| *it.name == *shared.name) else { return Ok(Vec::new()) };
    let places: Vec<Location> = shared.c_places().into_iter().map(|it| it.0).collect();
    can_be_edited(model, &places)?;
    in_c(model, own, &Plan { at, places, shared: Some((shared, None)) }, name)
}

/// The edits in C.
fn in_c(model: &Model, own: &CUnit, plan: &Plan<'_>, new: &str) -> Result<Vec<TextEdit>, Refusal> {
    if !is_name(new) {
        return refuse(format!("`{new}` is no name that C can have"));
    }
    if reveille_c::is_keyword(new) {
        return refuse(format!("`{new}` is a word of C"));
    }
    is_free(model, own, plan, new)?;
    if let Some((shared, _)) = &plan.shared {
        stands_in_no_assembly(model, shared)?;
    }
    prove(model, &plan.places, new)?;
    Ok(plan.places.iter().map(|at| TextEdit { at: at.clone(), text: new.to_owned() }).collect())
}

/// Whether nothing else has the new name where the old one is known.
fn is_free(model: &Model, own: &CUnit, plan: &Plan<'_>, new: &str) -> Result<(), Refusal> {
    let is_of_function = matches!(plan.at.role, Role::Local | Role::Parameter | Role::Label | Role::MacroParameter);
    let around = own.unit.function_at(plan.at.span).map(|it| it.span);
    let units: Vec<&CUnit> = match &plan.shared {
        Some((shared, _)) => shared.c_units().collect(),
        None => model
            .c()
            .iter()
            .map(|it| &**it)
            .filter(|it| plan.places.iter().any(|at| it.key(at.file).is_some()))
            .collect(),
    };
    for unit in units {
        let known = unit.unit.names().find(|it| {
            // Fields have a space of names of their own, but for macros.
            let other_space = (it.role == Role::Member) != (plan.at.role == Role::Member) && it.role != Role::Macro;
            let is_outside = is_of_function && around.is_none_or(|around| !around.contains(it.span));
            *it.name == *new && !other_space && !(is_outside && it.role != Role::Macro)
        });
        if let Some(at) = known.and_then(|it| place(unit, it.span)) {
            return refuse(format!("`{new}` is already used at {}", shown(model, &at)));
        }
    }
    Ok(())
}

/// Refuses a name that assembly inside of C has.
fn stands_in_no_assembly(model: &Model, shared: &Shared<'_>) -> Result<(), Refusal> {
    let is_word = |it: char| it.is_ascii_alphanumeric() || it == '_';
    for own in shared.c_units() {
        let inner = own.unit.functions().iter().flat_map(|it| &it.assembly);
        let has_it = |it: &&Assembly| it.text.split(|it| !is_word(it)).any(|it| it == shared.assembly);
        if let Some(at) = own.unit.assembly().iter().chain(inner).find(has_it).and_then(|it| place(own, it.span)) {
            return refuse(format!("`{}` stands in assembly inside of C at {}", shared.assembly, shown(model, &at)));
        }
    }
    Ok(())
}

/// Refuses a change after which a place of some name in C would mean something else.
fn prove(model: &Model, places: &[Location], new: &str) -> Result<(), Refusal> {
    let mut by_file: FxHashMap<FileId, Vec<Range<usize>>> = FxHashMap::default();
    for at in places {
        by_file.entry(at.file).or_default().push(at.range.clone());
    }
    let mut program = model.program().clone();
    let mut edited = Vec::new();
    for (id, mut ranges) in by_file {
        let Some(file) = model.program().file(id) else { continue };
        ranges.sort_by_key(|it| std::cmp::Reverse(it.start));
        let mut text = file.source().text();
        for range in ranges {
            text.replace_range(range, new);
        }
        let source = File::new(&text, Some(file.source().dialect()));
        let content = if file.is_beside() { Content::Beside(source) } else { Content::Text(source, file.encoding()) };
        edited.push((file.path().to_owned(), content));
    }
    program.set_files(edited);
    let now = model.c_again(&program);
    let places: FxHashSet<&Location> = places.iter().collect();
    let changed = model.c().iter().zip(&now).filter(|it| !Arc::ptr_eq(it.0, it.1));
    for (before, after) in changed {
        if let Some(at) = first_difference(before, after, &places, new) {
            return refuse(format!(
                "with the name `{new}` C would be read in another way at {}",
                at.map_or_else(String::new, |it| shown(model, &it))
            ));
        }
    }
    Ok(())
}

/// The first name of a unit that means something else after a change; without a place where there are more or fewer of them.
fn first_difference(
    before: &CUnit,
    after: &CUnit,
    places: &FxHashSet<&Location>,
    new: &str,
) -> Option<Option<Location>> {
    let (old, now): (Vec<&NameUse>, Vec<&NameUse>) = (before.unit.names().collect(), after.unit.names().collect());
    let number = |all: &[&NameUse], it: &NameUse| {
        let declared = it.declared_at?;
        all.binary_search_by_key(&(declared.file, declared.start), |it| (it.span.file, it.span.start)).ok()
    };
    let is_same = |(one, two): (&&NameUse, &&NameUse)| {
        let is_renamed = place(before, one.span).is_some_and(|it| places.contains(&it));
        let name = if is_renamed { new } else { &one.name };
        *two.name == *name
            && one.role == two.role
            && one.is_definition == two.is_definition
            && one.declared_at.is_some() == two.declared_at.is_some()
            && number(&old, one) == number(&now, two)
    };
    let differs = old.iter().zip(&now).find(|it| !is_same(*it)).map(|it| place(before, it.0.span));
    differs.or_else(|| {
        (old.len() != now.len() || before.unit.troubles().len() != after.unit.troubles().len()).then_some(None)
    })
}
