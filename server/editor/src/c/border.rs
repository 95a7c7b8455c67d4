//! Names that C and assembly have in common: what the linker makes one.

use std::ops::Range;

use reveille_c::{NameUse, Role};
use reveille_facts::{CUnit, Evidence, Model};
use reveille_program::{Definition, DefinitionKind, FileId, Unit, definition_span, spellings};
use reveille_source::is_numeric_label;
use rustc_hash::FxHashSet;

use super::{View, place};
use crate::lookup::{Location, Spot, location};

/// A name that every module means the same thing by, on both sides.
pub(crate) struct Shared<'a> {
    model: &'a Model,
    /// A file of the machine whose name it is.
    pub(crate) near: FileId,
    /// The name in C.
    pub(crate) name: String,
    /// The name in assembly.
    pub(crate) assembly: String,
}

/// Whether a role is one of a name that other modules may have.
fn may_be_shared(role: Role) -> bool {
    matches!(role, Role::Function | Role::Global | Role::Unknown)
}

impl<'a> Shared<'a> {
    /// The name at a place of C, unless it is one of the unit's own.
    pub(crate) fn of_c(view: &View<'a>, at: &NameUse) -> Option<Self> {
        let is_shared = may_be_shared(at.role) && !view.own.is_static(&at.name);
        is_shared.then(|| Self::named(view.model, view.file.id(), &at.name))
    }

    /// A name of C that other modules see, in a file of its machine.
    pub(crate) fn named(model: &'a Model, near: FileId, name: &str) -> Self {
        Self { model, near, name: name.to_owned(), assembly: model.convention().assembly(name) }
    }

    /// A name of assembly that C has too, or that C calls.
    pub(crate) fn of_assembly(model: &'a Model, near: FileId, name: &str) -> Option<Self> {
        if model.c().is_empty() || is_numeric_label(name, model.program().dialect(near)) {
            return None;
        }
        let own = Self::named(model, near, model.convention().c(name).filter(|it| !it.is_empty())?);
        let is_used = own.uses_in_c().next().is_some();
        is_used.then_some(own)
    }

    /// The name at a place of assembly, where C has it too, and its bytes in the line.
    pub(crate) fn at(spot: &Spot<'a>) -> Option<(Self, Range<usize>)> {
        if spot.model.c().is_empty() {
            return None;
        }
        let range = spot.name()?;
        let name = &spot.text[range.clone()];
        Some((Self::of_assembly(spot.model, spot.place.file, name)?, range))
    }

    /// The C of the same machine.
    pub(crate) fn c_units(&self) -> impl Iterator<Item = &'a CUnit> + use<'a> {
        let (model, near) = (self.model, self.near);
        model.c().iter().map(|it| &**it).filter(move |it| model.are_together(it.root, near))
    }

    /// The assembly of the same machine.
    pub(crate) fn units(&self) -> impl Iterator<Item = &'a Unit> + use<'a> {
        let (model, near) = (self.model, self.near);
        model.analysis().units().filter(move |it| it.root().is_some_and(|it| model.are_together(it, near)))
    }

    fn uses_in_c(&self) -> impl Iterator<Item = (&'a CUnit, &'a NameUse)> {
        let own = self.c_units().filter(|it| !it.is_static(&self.name));
        own.flat_map(|unit| unit.unit.names().map(move |it| (unit, it)))
            .filter(|it| may_be_shared(it.1.role) && *it.1.name == *self.name)
    }

    /// Every place of it in C, and whether it is defined or declared there. A header that several files include has it once.
    pub(crate) fn c_places(&self) -> Vec<(Location, bool)> {
        let mut seen = FxHashSet::default();
        let all = self.uses_in_c().filter_map(|(unit, it)| Some((place(unit, it.span)?, it.is_definition)));
        all.filter(|it| seen.insert(it.0.clone())).collect()
    }

    /// Every place of it in assembly, and whether it is defined there.
    pub(crate) fn assembly_places(&self) -> Vec<(Location, bool)> {
        let mut seen = FxHashSet::default();
        let mut found = Vec::new();
        for id in self.units().flat_map(|it| it.files()).filter(|it| seen.insert(**it)) {
            let Some(file) = self.model.program().file(*id) else { continue };
            for it in spellings(file, &self.assembly) {
                let (_, _, text) = file.at(it.place.chunk, it.place.line);
                if it.span.of(text) == self.assembly {
                    let at = location(self.model, Evidence { place: it.place, span: it.span });
                    found.push((at, it.is_definition));
                }
            }
        }
        found
    }

    /// Where C defines it: the function's name or the object's. Several where several modules have it.
    pub(crate) fn c_definitions(&self) -> Vec<Location> {
        let mut seen = FxHashSet::default();
        let all = self.c_units().filter_map(|it| place(it, it.defines(&self.name)?));
        all.filter(|it| seen.insert(it.clone())).collect()
    }

    /// The label of the assembly that it is, with the unit that has it.
    pub(crate) fn label(&self) -> Option<(&'a Unit, Definition)> {
        let symbol = self.model.program().names().find(&self.assembly)?;
        let mut all = self.units().filter_map(|unit| Some((unit, *unit.get(symbol)?)));
        all.find(|it| it.1.kind != DefinitionKind::External)
    }

    /// Where that label is written.
    pub(crate) fn label_at(&self) -> Option<Location> {
        let (unit, found) = self.label()?;
        let program = self.model.program();
        let place = unit.expanded_from(program, found.place).map_or(found.place, |it| it.0);
        Some(location(self.model, Evidence { place, span: definition_span(program, place) }))
    }

    /// Where it is defined, in C or in assembly.
    pub(crate) fn definitions(&self) -> Vec<Location> {
        let in_c = self.c_definitions();
        if in_c.is_empty() { self.label_at().into_iter().collect() } else { in_c }
    }
}
