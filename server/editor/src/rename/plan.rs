//! Where a name stands that is to be changed, in all units that must agree on it.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::{
    Definition, DefinitionKind, FileId, Place, Spelling, Unit, definition_span, is_local_label, spellings,
};
use reveille_source::{Dialect, Encoding, Meaning, Operation, Span, TokenKind};
use rustc_hash::{FxHashMap, FxHashSet};

use super::{Refusal, refuse, shown};
use crate::c;
use crate::lookup::{Spot, Thing};
use crate::structure::{Bodies, macro_bodies};

/// A name and all its places.
pub(super) struct Plan<'a> {
    /// The name as it is defined.
    pub(super) name: String,
    /// The name as it stands at the cursor.
    pub(super) spelled: String,
    /// The bytes of the name at the cursor.
    pub(super) range: Range<usize>,
    pub(super) is_local: bool,
    pub(super) kind: DefinitionKind,
    /// Where it is defined, in `units[0]`.
    pub(super) definition: Definition,
    /// The units that agree on the name.
    pub(super) units: Vec<&'a Unit>,
    /// Every place of it, in the order of the files.
    pub(super) places: Vec<Spelling>,
}

impl Plan<'_> {
    /// The files that are edited.
    pub(super) fn files(&self) -> Vec<FileId> {
        let mut files: Vec<FileId> = self.places.iter().map(|it| it.place.file).collect();
        files.dedup();
        files
    }

    /// Whether every place has the name in just this spelling.
    pub(super) fn has_one_spelling(&self, model: &Model, new: &str) -> bool {
        self.places.iter().all(|it| text_of(model, it.place, it.span) == new)
    }

    /// Where another thing has a name already, in whatever case, and whether it is defined there.
    pub(super) fn taken(&self, model: &Model, new: &str) -> Option<(Place, bool)> {
        let program = model.program();
        let own: FxHashSet<(Place, Span)> = self.places.iter().map(|it| (it.place, it.span)).collect();
        let mut uses = None;
        // A scope is one of the first unit; what a local label would be in others, the change in memory tells.
        let count = if self.is_local { 1 } else { self.units.len() };
        for unit in &self.units[..count] {
            for file in unit.files().iter().filter_map(|id| program.file(*id)) {
                let others = spellings(file, new).into_iter().filter(|it| !own.contains(&(it.place, it.span)));
                for other in others.filter(|it| !self.is_local || self.is_in_scope(model, unit, it.place)) {
                    if other.is_definition {
                        return Some((other.place, true));
                    }
                    uses = uses.or(Some((other.place, false)));
                }
            }
            if self.is_local {
                continue;
            }
            for (file, call) in unit.expansions() {
                if !new.eq_ignore_ascii_case(&self.name) && !spellings(file, new).is_empty() {
                    uses = uses.or(Some((call, false)));
                }
            }
            // A name given from outside stands in no file.
            if let Some(found) = unit.find(program, new).filter(|it| it.symbol != self.definition.symbol) {
                uses = uses.or(Some((found.place, true)));
            }
        }
        uses
    }

    fn is_in_scope(&self, model: &Model, unit: &Unit, place: Place) -> bool {
        unit.is_in_scope(&self.definition, unit.scope_at(model.program(), place))
    }
}

/// The text at a part of a line.
pub(super) fn text_of(model: &Model, place: Place, span: Span) -> &str {
    model.program().file(place.file).map_or("", |file| span.of(file.at(place.chunk, place.line).2))
}

/// Gathers the places of the name at a byte.
pub(super) fn plan(model: &Model, file: FileId, byte: usize) -> Result<Plan<'_>, Refusal> {
    let Some(spot) = Spot::new(model, file, byte) else { return refuse("there is nothing to rename here") };
    let range = name_at(&spot)?;
    let spelled = spot.text[range.clone()].to_owned();
    let dialect = spot.file.source().dialect();
    let is_local = is_local_label(&spelled, dialect);
    if is_local && dialect == Dialect::Dotted && !spelled.ends_with('$') {
        return refuse(format!("`{spelled}` is a numbered label: the order of the lines says which one is meant"));
    }
    let bodies = macro_bodies(spot.file.source());
    if bodies.around(spot.file.line_number(spot.place)).is_some() {
        if is_local {
            return refuse(format!(
                "`{spelled}` is a local label in the body of a macro, and means another one at each call"
            ));
        }
        if spot.line.label.range() == range {
            return refuse(format!("`{spelled}` is defined in the body of a macro"));
        }
    }
    let (unit, definition) = defined(&spot, &spelled)?;
    let program = model.program();
    let name = program.names().text(definition.symbol).to_string();
    let mut plan = Plan {
        name,
        spelled,
        range: spot.in_file(&range),
        is_local,
        kind: definition.kind,
        definition,
        units: vec![unit],
        places: Vec::new(),
    };
    let mut gathering = Gathering { model, bodies: FxHashMap::default(), found: FxHashMap::default() };
    if is_local {
        gathering.local(&mut plan)?
    } else {
        gathering.ordinary(&mut plan)?
    }
    plan.places.sort_by_key(|it| (it.place, it.span.start));
    let own = |it: &Spelling| it.place == spot.place && it.span.range() == range;
    if !plan.places.iter().any(own) {
        return refuse(format!("`{}` does not stand for a name here", plan.spelled));
    }
    for id in plan.files() {
        if program.file(id).is_some_and(|it| it.encoding() != Encoding::Utf8) {
            let first = plan.places.iter().find(|it| it.place.file == id).map_or(spot.place, |it| it.place);
            return refuse(format!(
                "{} is in a file that is not UTF-8: an edit would change its other bytes",
                shown(model, first)
            ));
        }
    }
    Ok(plan)
}

/// The range of the name that the cursor is at.
fn name_at(spot: &Spot<'_>) -> Result<Range<usize>, Refusal> {
    let what = |it: &Range<usize>| spot.text[it.clone()].to_owned();
    match spot.thing() {
        Some(Thing::Label(range) | Thing::Token(TokenKind::Name, range)) if what(&range).contains('\\') => {
            refuse(format!("`{}` is built from a macro's parameters", what(&range)))
        }
        Some(Thing::Label(range) | Thing::Token(TokenKind::Name, range)) => Ok(range),
        Some(Thing::Operation(_)) if matches!(spot.line.op.get(), Operation::MacroCall) => {
            let range = spot.line.operation.range();
            if range.end < spot.at { refuse("a size has no name to change") } else { Ok(range) }
        }
        Some(Thing::Operation(range)) => {
            let kind = if spot.line.op.is_instruction() { "an instruction" } else { "a directive" };
            refuse(format!("`{}` is {kind}", what(&range)))
        }
        Some(Thing::Token(kind, range)) => {
            let kind = match kind {
                TokenKind::Number => "a number",
                TokenKind::Text => "a text",
                TokenKind::Register => "a register",
                TokenKind::Size => "a size",
                TokenKind::Parameter | TokenKind::Name => "made from a macro's parameter",
            };
            refuse(format!("`{}` is {kind}", what(&range)))
        }
        Some(Thing::Comment(range)) if !range.is_empty() => refuse("a comment has no name to change"),
        Some(Thing::Operand(_) | Thing::Comment(_)) | None => refuse("there is no name here"),
    }
}

/// Whether a definition is one of the source: an import is another module's, a common block its own.
fn is_own(model: &Model, definition: &Definition) -> bool {
    let line = |it: Place| model.program().file(it.file).map(|file| file.at(it.chunk, it.line).1.op);
    let meaning = || line(definition.place)?.directive().map(|it| it.meaning);
    definition.kind != DefinitionKind::External || meaning() == Some(Meaning::Common)
}

/// Whether a line gives something a name.
fn names_something(model: &Model, place: Place) -> bool {
    use Meaning as M;
    model.program().file(place.file).is_some_and(|file| {
        let (_, line, _) = file.at(place.chunk, place.line);
        let meaning = line.op.directive().map(|it| it.meaning);
        let has_name_in_operands = matches!(meaning, Some(M::Equate | M::Set | M::RegisterName | M::Macro | M::Common));
        !line.label.is_empty() || has_name_in_operands
    })
}

/// The definition in the source of the name at a spot, and a unit that has it.
fn defined<'a>(spot: &Spot<'a>, name: &str) -> Result<(&'a Unit, Definition), Refusal> {
    let model = spot.model;
    let Some((mut unit, mut definition, _)) = spot.definition() else {
        return refuse(match c::function_of(model, spot.place.file, name) {
            Some(_) => format!("`{name}` is a function of C, and no XREF names it here; import it first"),
            None => format!("`{name}` is not defined in the source"),
        });
    };
    if !is_own(model, &definition) {
        let others = model.analysis().units().filter_map(|it| Some((it, *it.find(model.program(), name)?)));
        let Some(found) = others.into_iter().find(|it| is_own(model, &it.1)) else {
            let shared = c::Shared::of_assembly(model, spot.place.file, name);
            if shared.is_some_and(|it| !it.c_definitions().is_empty()) {
                return Ok((unit, definition));
            }
            return refuse(format!("`{name}` is not defined in the source"));
        };
        (unit, definition) = found;
    }
    let program = model.program();
    if let Some((call, _)) = unit.expanded_from(program, definition.place) {
        return refuse(format!("`{name}` is defined by a macro that is called at {}", shown(model, call)));
    }
    let own = text_of(model, definition.place, definition_span(program, definition.place));
    if !own.eq_ignore_ascii_case(name) || !names_something(model, definition.place) {
        return refuse(format!("`{name}` is given from outside"));
    }
    Ok((unit, definition))
}

/// What is read once of each file.
struct Gathering<'a> {
    model: &'a Model,
    bodies: FxHashMap<FileId, Bodies>,
    found: FxHashMap<FileId, Vec<Spelling>>,
}

impl<'a> Gathering<'a> {
    fn spellings(&mut self, id: FileId, name: &str) -> Vec<Spelling> {
        let read = || self.model.program().file(id).map_or(Vec::new(), |file| spellings(file, name));
        self.found.entry(id).or_insert_with(read).clone()
    }

    /// The line of MACRO, if a line stands in a macro's body.
    fn macro_around(&mut self, place: Place) -> Option<Place> {
        let file = self.model.program().file(place.file)?;
        let bodies = self.bodies.entry(place.file).or_insert_with(|| macro_bodies(file.source()));
        file.place(bodies.around(file.line_number(place))?.start)
    }

    fn local(&mut self, plan: &mut Plan<'a>) -> Result<(), Refusal> {
        let (model, unit) = (self.model, plan.units[0]);
        for id in unit.files() {
            for found in self.spellings(*id, &plan.name) {
                let is_same = text_of(model, found.place, found.span) == plan.name;
                if !is_same || !plan.is_in_scope(model, unit, found.place) {
                    continue;
                }
                if self.macro_around(found.place).is_some() {
                    let place = shown(model, found.place);
                    return refuse(format!(
                        "`{}` stands in the body of a macro at {place}, and may mean this label",
                        plan.name
                    ));
                }
                plan.places.push(found);
            }
        }
        let own: FxHashSet<Place> = plan.places.iter().filter(|it| it.is_definition).map(|it| it.place).collect();
        for id in plan.files() {
            for other in model.analysis().units_of(id).filter(|it| !std::ptr::eq(*it, unit)) {
                for found in plan.places.iter().filter(|it| it.place.file == id) {
                    let meant = other.resolve(model.program(), found.place, &plan.name);
                    if meant.is_some_and(|it| !own.contains(&it.place)) {
                        let place = shown(model, found.place);
                        return refuse(format!("`{}` at {place} means another label in another program", plan.name));
                    }
                }
                if !plan.units.iter().any(|it| std::ptr::eq(*it, other)) {
                    plan.units.push(other);
                }
            }
        }
        Ok(())
    }

    fn ordinary(&mut self, plan: &mut Plan<'a>) -> Result<(), Refusal> {
        let (model, program) = (self.model, self.model.program());
        let (name, symbol) = (plan.name.clone(), plan.definition.symbol);
        // Units that read the same lines, or name each other's definitions, have to agree.
        let mut at = 0;
        loop {
            while let Some(unit) = plan.units.get(at).copied() {
                at += 1;
                for id in unit.files() {
                    if self.spellings(*id, &name).iter().any(|it| means(model, unit, it, plan)) {
                        let agrees = |it: &&Unit| {
                            let found = it.find(program, &name);
                            found.is_none_or(|it| it.symbol == symbol || !is_own(model, it))
                        };
                        add(&mut plan.units, model.analysis().units_of(*id).filter(agrees));
                    }
                }
            }
            let Some(importer) = self.importer(plan, &name)? else { break };
            plan.units.push(importer);
        }
        let mut seen = FxHashSet::default();
        for unit in plan.units.clone() {
            if let Some(made) = unit
                .definitions()
                .iter()
                .find(|it| it.symbol == symbol && unit.expanded_from(program, it.place).is_some())
            {
                let call = unit.expanded_from(program, made.place).map_or(made.place, |it| it.0);
                return refuse(format!("`{name}` is also defined by a macro that is called at {}", shown(model, call)));
            }
            for id in unit.files() {
                for found in self.spellings(*id, &name) {
                    if !means(model, unit, &found, plan) || !seen.insert((found.place, found.span)) {
                        continue;
                    }
                    self.check(plan, &found)?;
                    plan.places.push(found);
                }
            }
        }
        Ok(())
    }

    /// Refuses what nobody can tell.
    fn check(&mut self, plan: &Plan<'a>, found: &Spelling) -> Result<(), Refusal> {
        let (model, name) = (self.model, &plan.name);
        let place = || shown(model, found.place);
        for unit in model.analysis().units_of(found.place.file) {
            if !means(model, unit, found, plan) {
                return refuse(format!("`{name}` at {} means something else in another program", place()));
            }
        }
        let Some(opening) = self.macro_around(found.place) else { return Ok(()) };
        if found.is_definition {
            return refuse(format!("`{name}` is defined in the body of a macro at {}", place()));
        }
        let is_parameter = model.program().file(opening.file).is_some_and(|file| {
            let (_, line, text) = file.at(opening.chunk, opening.line);
            let words = line.operands.of(text).split([' ', '\t', ',']);
            let own = text_of(model, found.place, found.span);
            words.into_iter().skip(usize::from(line.label.is_empty())).any(|it| it.eq_ignore_ascii_case(own))
        });
        if is_parameter {
            return refuse(format!("`{name}` at {} has the name of a parameter of its macro", place()));
        }
        Ok(())
    }

    /// A further unit that uses the name without a definition of its own, and so means that of the plan.
    fn importer(&mut self, plan: &Plan<'a>, name: &str) -> Result<Option<&'a Unit>, Refusal> {
        let (model, program) = (self.model, self.model.program());
        let owner = |unit: &Unit| unit.find(program, name).is_some_and(|it| is_own(model, it));
        for unit in model.analysis().units().filter(|it| !plan.has(it) && !owner(it)) {
            let uses =
                unit.files().iter().find_map(|id| self.spellings(*id, name).into_iter().find(|it| !it.is_definition));
            let Some(uses) = uses else { continue };
            // Another program may have a name of this spelling too.
            let stranger = model.analysis().units().find(|it| owner(it) && !plan.has(it));
            let other = stranger.and_then(|it| it.find(program, name));
            if let Some(other) = other {
                let (here, there) = (shown(model, uses.place), shown(model, other.place));
                return refuse(format!("`{name}` at {here} may mean the one at {there} as well"));
            }
            return Ok(Some(unit));
        }
        Ok(None)
    }
}

impl Plan<'_> {
    fn has(&self, unit: &Unit) -> bool {
        self.units.iter().any(|it| std::ptr::eq(*it, unit))
    }
}

fn add<'a>(units: &mut Vec<&'a Unit>, more: impl Iterator<Item = &'a Unit>) {
    for unit in more {
        if !units.iter().any(|it| std::ptr::eq(*it, unit)) {
            units.push(unit);
        }
    }
}

/// Whether a name in a unit is the one of the plan: the unit's own of this spelling, or one that it takes from others.
fn means(model: &Model, unit: &Unit, found: &Spelling, plan: &Plan<'_>) -> bool {
    let name = text_of(model, found.place, found.span);
    unit.find(model.program(), name).is_none_or(|it| it.symbol == plan.definition.symbol || !is_own(model, it))
}
