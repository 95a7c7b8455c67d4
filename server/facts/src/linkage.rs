//! Names that cross from module to module: what no module defines, and what two do.

use reveille_program::{Analysis, Definition, DefinitionKind, Place, Program, Symbol, Unit};
use reveille_source::{Meaning, Span};
use rustc_hash::FxHashMap;

use crate::c::{CUnit, Convention};
use crate::finding::{Evidence, Finding};

/// Where a unit makes a name known that it defines itself.
struct Export<'a> {
    unit: usize,
    at: Evidence,
    definition: &'a Definition,
}

/// The findings about several units, and the C beside them, as one program. A single one has nothing to be linked with.
pub(crate) fn findings(program: &Program, analysis: &Analysis, c: &[&CUnit], convention: Convention) -> Vec<Finding> {
    let units: Vec<&Unit> = analysis.units().collect();
    if units.len() + c.len() < 2 {
        return Vec::new();
    }
    let mut found = Vec::new();
    let mut exports: FxHashMap<Symbol, Vec<Export<'_>>> = FxHashMap::default();
    for (number, unit) in units.iter().enumerate() {
        for (symbol, place, span) in unit.exports() {
            let Some(definition) = unit.get(*symbol).filter(|it| it.kind != DefinitionKind::External) else { continue };
            let at = written(program, unit, *place, *span);
            exports.entry(*symbol).or_default().push(Export { unit: number, at, definition });
        }
    }
    for (symbol, all) in &exports {
        let Some((first, rest)) = all.split_first() else { continue };
        // A file that several units read exports the same definition in each of them.
        let others = rest.iter().filter(|it| it.unit != first.unit && it.definition.place != first.definition.place);
        for other in others {
            let name = program.names().text(*symbol);
            let message = format!("`{name}` is exported by two modules; the linker takes one of them, or none");
            found.push(
                Finding::new("name-006", other.at, message)
                    .related(first.at, format!("`{name}` is exported here, too")),
            );
        }
    }
    let is_of_c = |name: &str| {
        let own = convention.c(name);
        own.is_some_and(|own| c.iter().any(|it| it.defines(own).is_some()))
    };
    if units.iter().any(|unit| unit.may_define_more()) || c.iter().any(|it| !it.missing().is_empty()) {
        // What is missing may define anything.
        return found;
    }
    for unit in &units {
        for definition in unit.definitions().iter().filter(|it| it.kind == DefinitionKind::External) {
            if !is_import(program, unit, definition) || exports.contains_key(&definition.symbol) {
                continue;
            }
            let own = unit.get(definition.symbol).is_some_and(|it| it.kind != DefinitionKind::External);
            if own {
                continue;
            }
            let name = program.names().text(definition.symbol);
            let at = written(program, unit, definition.place, name_span(program, unit, definition));
            let elsewhere =
                analysis.find_elsewhere(unit, definition.symbol).filter(|it| it.kind != DefinitionKind::External);
            if is_of_c(&name) {
                continue;
            }
            found.push(match elsewhere {
                Some(other) => {
                    let message = format!(
                        "`{name}` is imported, and the module that defines it does not export it; name it in XDEF there"
                    );
                    let at_other =
                        Evidence { place: other.place, span: reveille_program::definition_span(program, other.place) };
                    Finding::new("name-007", at, message).related(at_other, format!("`{name}` is defined here"))
                }
                // What C defines has an underscore before its name. Without any C here, it is the C that is missing.
                None if c.is_empty() && name.starts_with('_') => continue,
                None => Finding::new(
                    "name-007",
                    at,
                    format!("`{name}` is imported, and no module of this program defines it"),
                ),
            });
        }
    }
    found
}

/// Whether a name is imported: a common block is none, since whoever links makes it.
fn is_import(program: &Program, unit: &Unit, definition: &Definition) -> bool {
    let Some(file) = unit.file(program, definition.place.file) else { return false };
    let (_, line, _) = file.at(definition.place.chunk, definition.place.line);
    line.op.directive().is_some_and(|it| it.meaning == Meaning::Import)
}

/// Where the name of an import stands in its line.
fn name_span(program: &Program, unit: &Unit, definition: &Definition) -> Span {
    let Some(file) = unit.file(program, definition.place.file) else { return Span::default() };
    let (chunk, line, text) = file.at(definition.place.chunk, definition.place.line);
    let name = program.names().text(definition.symbol);
    let range = chunk.operands(line).into_iter().find(|it| text[it.clone()].trim().ends_with(&*name));
    range.map_or(line.operation, |it| Span { start: (it.end - name.len()) as u16, end: it.end as u16 })
}

/// A place as it is told: of a line in an expansion the call.
fn written(program: &Program, unit: &Unit, place: Place, span: Span) -> Evidence {
    match unit.expanded_from(program, place) {
        Some((call, _)) => Evidence { place: call, span: Span::default() },
        None => Evidence { place, span },
    }
}
