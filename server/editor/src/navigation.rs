//! Where a name is defined and where it is used.

use reveille_facts::{Evidence, Model};
use reveille_program::{Definition, DefinitionKind, FileId, Place, Unit};
use reveille_source::{Meaning, Operation};

use crate::c;
use crate::expansion;
use crate::lookup::{Location, Spot, location};
use crate::session::{self, View};

/// The places that define what stands at a byte; the bytes that were asked about first.
#[must_use]
pub fn definition(model: &Model, file: FileId, byte: usize) -> Option<(std::ops::Range<usize>, Vec<Location>)> {
    if let Some(view) = View::of(model, file) {
        return session::definition(&view, byte);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::definition(&view, byte);
    }
    let spot = Spot::new(model, file, byte)?;
    if let Some(found) = included(&spot) {
        return Some(found);
    }
    let found = spot.definition();
    if found.as_ref().is_none_or(|it| is_import_everywhere(model, it.0, &it.1))
        && let Some((shared, range)) = c::Shared::at(&spot)
    {
        let places = shared.c_definitions();
        if !places.is_empty() {
            return Some((spot.in_file(&range), places));
        }
    }
    let (unit, definition, range) = found?;
    let program = model.program();
    // A name that SET gives again has several; an import's definition is another unit's.
    let mut places = vec![definition.place];
    if definition.kind == DefinitionKind::Set {
        places = unit.definitions().iter().filter(|it| it.symbol == definition.symbol).map(|it| it.place).collect();
    } else if definition.kind == DefinitionKind::External
        && let Some(own) =
            model.analysis().find_elsewhere(unit, definition.symbol).filter(|it| it.kind != DefinitionKind::External)
    {
        places = vec![own.place];
    }
    let locations = places.into_iter().flat_map(|place| expansion::written(program, unit, place));
    let locations = locations.map(|at| location(model, at));
    Some((spot.in_file(&range), locations.collect()))
}

/// Whether no unit defines a name that one imports.
fn is_import_everywhere(model: &Model, unit: &Unit, definition: &Definition) -> bool {
    let elsewhere = || model.analysis().find_elsewhere(unit, definition.symbol);
    definition.kind == DefinitionKind::External && elsewhere().is_none_or(|it| it.kind == DefinitionKind::External)
}

/// The file that an include names.
fn included(spot: &Spot<'_>) -> Option<(std::ops::Range<usize>, Vec<Location>)> {
    let field = match spot.line.op.get() {
        Operation::Directive(directive) if directive.meaning == Meaning::Include => spot.line.operands.range(),
        _ => reveille_program::preprocessor_include(spot.text)?,
    };
    if !(field.start..=field.end).contains(&spot.at) {
        return None;
    }
    let name = spot.text[field.clone()].trim_matches(['"', '\'', '<', '>']);
    let root = spot.unit()?.root()?;
    let file = spot.model.program().resolve_include(spot.place.file, root, name)?;
    Some((spot.in_file(&field), vec![Location { file, range: 0..0 }]))
}

/// The places that use what stands at a byte, in the order of the files, sessions last; those that define it first, if asked for.
#[must_use]
pub fn references(model: &Model, file: FileId, byte: usize, with_definitions: bool) -> Vec<Location> {
    if let Some(view) = View::of(model, file) {
        return session::references(&view, byte, with_definitions);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::references(&view, byte, with_definitions);
    }
    let Some(spot) = Spot::new(model, file, byte) else { return Vec::new() };
    let mut found = of_assembly(&spot, with_definitions);
    if let Some((shared, _)) = c::Shared::at(&spot) {
        let (defined, used): (Vec<_>, Vec<_>) = shared.c_places().into_iter().partition(|it| it.1);
        if found.is_empty() {
            found.extend(shared.assembly_places().into_iter().map(|it| it.0));
        }
        let used = used.into_iter().map(|it| it.0);
        let defined = defined.into_iter().filter(|_| with_definitions).map(|it| it.0);
        // What defines it comes first.
        found.splice(0..0, defined);
        found.extend(used);
    }
    found
}

fn of_assembly(spot: &Spot<'_>, with_definitions: bool) -> Vec<Location> {
    let model = spot.model;
    let Some((unit, definition, _)) = spot.definition() else { return Vec::new() };
    let program = model.program();
    let (definitions, uses) = reveille_program::references(program, unit, &definition);
    let mut places = if with_definitions { definitions } else { Vec::new() };
    places.extend(uses);
    if !definition.symbol.is_local() {
        // Other units use it under the same name, if they have none of their own.
        for other in model.analysis().units().filter(|it| !std::ptr::eq(*it, unit)) {
            let is_own = other.get(definition.symbol).is_some_and(|it| it.kind != DefinitionKind::External);
            if !is_own {
                places.extend(reveille_program::references(program, other, &definition).1);
            }
        }
    }
    let mut seen = rustc_hash::FxHashSet::default();
    let of_expansions = unit.definitions().iter().filter(|it| it.symbol == definition.symbol && with_definitions);
    let of_expansions = of_expansions.filter(|it| unit.expanded_from(program, it.place).is_some());
    let of_expansions: Vec<_> = of_expansions
        .flat_map(|it| expansion::written(program, unit, it.place))
        .map(|it| location(model, it))
        .collect();
    let locations = places.into_iter().map(|(place, span)| location(model, Evidence { place, span }));
    let scripts = session::uses_of(model, |it| is_definition(model, unit, &definition, it));
    of_expansions.into_iter().chain(locations).chain(scripts).filter(|it| seen.insert(it.clone())).collect()
}

/// Whether a place defines the name of a definition: in its own unit, or in another where it is an import there.
fn is_definition(model: &Model, unit: &Unit, definition: &Definition, place: Place) -> bool {
    if place == definition.place {
        return true;
    }
    let is_own = |it: &Definition| it.symbol == definition.symbol && it.place == place;
    let elsewhere = model.analysis().find_elsewhere(unit, definition.symbol);
    definition.kind == DefinitionKind::External && elsewhere.is_some_and(is_own)
        || unit.definitions().iter().any(is_own)
}
