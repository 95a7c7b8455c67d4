//! Where a name is defined and where it is used.

use reveille_facts::{Evidence, Model};
use reveille_program::{DefinitionKind, FileId, definition_span};
use reveille_source::{Meaning, Operation};

use crate::lookup::{Location, Spot, location};

/// The places that define what stands at a byte; the bytes that were asked about first.
#[must_use]
pub fn definition(model: &Model, file: FileId, byte: usize) -> Option<(std::ops::Range<usize>, Vec<Location>)> {
    let spot = Spot::new(model, file, byte)?;
    if let Some(found) = included(&spot) {
        return Some(found);
    }
    let (unit, definition, range) = spot.definition()?;
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
    let locations =
        places.into_iter().map(|place| location(model, Evidence { place, span: definition_span(program, place) }));
    Some((spot.in_file(&range), locations.collect()))
}

/// The file that an include names.
fn included(spot: &Spot<'_>) -> Option<(std::ops::Range<usize>, Vec<Location>)> {
    let Operation::Directive(directive) = spot.line.op.get() else { return None };
    let field = spot.line.operands.range();
    if directive.meaning != Meaning::Include || !(field.start..=field.end).contains(&spot.at) {
        return None;
    }
    let name = spot.text[field.clone()].trim_matches(['"', '\'', '<', '>']);
    let root = spot.unit()?.root()?;
    let file = spot.model.program().resolve_include(spot.place.file, root, name)?;
    Some((spot.in_file(&field), vec![Location { file, range: 0..0 }]))
}

/// The places that use what stands at a byte, in the order of the files; those that define it first, if asked for.
#[must_use]
pub fn references(model: &Model, file: FileId, byte: usize, with_definitions: bool) -> Vec<Location> {
    let Some(spot) = Spot::new(model, file, byte) else { return Vec::new() };
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
    let locations = places.into_iter().map(|(place, span)| location(model, Evidence { place, span }));
    locations.filter(|it| seen.insert(it.clone())).collect()
}
