//! Where what stands in a script is defined, and where it is used: in scripts, and in the sources.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::{FileId, Place};
use reveille_session::Node;
use reveille_session::verbs::VerbKind;

use super::{Part, Thing, View, name_in};
use crate::expansion;
use crate::highlight::Highlight;
use crate::lookup::{Location, location};

/// The places that define what stands at a byte; the bytes that were asked about first.
pub(crate) fn definition(view: &View<'_>, byte: usize) -> Option<(Range<usize>, Vec<Location>)> {
    let statement = view.statement_at(byte);
    let in_machine_file = |range: Range<usize>| Some(vec![Location { file: view.machine_file()?, range }]);
    let spelled = || {
        let key = statement?.vocabulary()?;
        in_machine_file(view.session?.world.monitor.as_ref()?.spelling(&key)?.span.clone())
    };
    match view.thing(byte)? {
        Thing::Verb(_, range) => Some((range, spelled()?)),
        Thing::Argument(_, range) => Some((range.clone(), spelled()?)),
        Thing::Word(range) => {
            let found = of_name(view, &view.text[range.clone()], &range)?;
            Some((range, found))
        }
        Thing::Part(_, Part { leaf, .. }) => {
            let Node::Name(name) = &leaf.node else { return None };
            let range = name_in(&view.text, &leaf.span, name);
            let found = of_name(view, name, &range)?;
            Some((range, found))
        }
        Thing::Slot(role, text, range) => {
            let kind = statement?.verb.kind;
            let found = match (role, kind) {
                ("as", _) | ("name", VerbKind::Keep) => of_name(view, text, range)?,
                ("machine", _) => in_machine_file(view.named_machine(text)?.span.clone())?,
                ("verb", _) => spelled()?,
                ("file", VerbKind::Include) => {
                    vec![Location { file: view.included(text)?, range: 0..0 }]
                }
                ("source", VerbKind::Console) => {
                    vec![location(view.model, view.session?.source_line.as_ref()?.2)]
                }
                _ => return None,
            };
            Some((range.clone(), found))
        }
    }
}

/// Where a name is bound, or where the firmware defines it.
fn of_name(view: &View<'_>, name: &str, range: &Range<usize>) -> Option<Vec<Location>> {
    let mentions = view.mentions();
    if let Some(binding) = View::binding(&mentions, name, &view.here(range)) {
        return Some(vec![binding.at.clone()]);
    }
    let (unit, definition, _) = view.defined(name)?;
    let written = expansion::written(view.model.program(), unit, definition.place);
    Some(written.into_iter().map(|it| location(view.model, it)).collect())
}

impl View<'_> {
    /// The script that `include` names.
    pub(super) fn included(&self, name: &str) -> Option<FileId> {
        let folder = self.file.path().parent()?;
        let path = reveille_program::normal(&folder.join(name.replace('\\', "/")));
        Some(self.model.program().file_at(&path).filter(|it| it.is_beside())?.id())
    }

    /// The name at a byte, and its bytes: one that a step uses, or that `as` binds.
    pub(super) fn name_at(&self, byte: usize) -> Option<(String, Range<usize>)> {
        match self.thing(byte)? {
            Thing::Part(_, Part { leaf, .. }) => match &leaf.node {
                Node::Name(name) => Some((name.clone(), name_in(&self.text, &leaf.span, name))),
                _ => None,
            },
            Thing::Slot("as" | "name", text, range) if self.text.get(range.clone()) == Some(text) => {
                Some((text.to_owned(), range.clone()))
            }
            _ => None,
        }
    }

    /// Where steps of this session name what is bound by a name at a place; none for a name of the firmware.
    pub(super) fn bound_places(&self, name: &str, at: &Range<usize>) -> Option<Vec<(Location, bool)>> {
        let mentions = self.mentions();
        View::binding(&mentions, name, &self.here(at))?;
        let mut found: Vec<(Location, bool)> = Vec::new();
        let mut is_bound = false;
        for mention in mentions.iter().filter(|it| it.name == name) {
            is_bound |= mention.binds;
            let is_news = !found.iter().any(|it| it.0 == mention.at);
            if is_bound && is_news {
                found.push((mention.at.clone(), mention.binds));
            }
        }
        Some(found)
    }
}

/// The places that use what stands at a byte; those that define it too, if asked for.
pub(crate) fn references(view: &View<'_>, byte: usize, with_definitions: bool) -> Vec<Location> {
    let Some((name, range)) = view.name_at(byte) else { return Vec::new() };
    if let Some(places) = view.bound_places(&name, &range) {
        return places.into_iter().filter(|it| with_definitions || !it.1).map(|it| it.0).collect();
    }
    let Some(at) = of_name(view, &name, &range).and_then(|it| it.into_iter().next()) else { return Vec::new() };
    crate::navigation::references(view.model, at.file, at.range.start, with_definitions)
}

/// The places of a script that name the same as the byte.
pub(crate) fn highlights(view: &View<'_>, byte: usize) -> Vec<Highlight> {
    let Some((name, range)) = view.name_at(byte) else { return Vec::new() };
    let own = |it: &Location| it.file == view.file.id();
    let mut found: Vec<Highlight> = match view.bound_places(&name, &range) {
        Some(places) => places
            .into_iter()
            .filter(|it| own(&it.0))
            .map(|(at, binds)| Highlight { range: at.range, is_write: binds })
            .collect(),
        None => {
            let Some((_, definition, _)) = view.defined(&name) else { return Vec::new() };
            let uses = uses_of(view.model, |it| it == definition.place);
            uses.into_iter().filter(own).map(|at| Highlight { range: at.range, is_write: false }).collect()
        }
    };
    found.sort_by_key(|it| it.range.start);
    found
}

/// Where the scripts use a name that the firmware defines at a place, each place once.
pub(crate) fn uses_of(model: &Model, is_defined_at: impl Fn(Place) -> bool) -> Vec<Location> {
    let mut found: Vec<Location> = Vec::new();
    let mut seen = rustc_hash::FxHashSet::default();
    let mut text = None;
    for session in model.sessions() {
        for named in session.steps.iter().flat_map(|it| &it.names) {
            if named.defined.is_some_and(&is_defined_at) {
                let Location { file, range } = location(model, named.at);
                if text.as_ref().is_none_or(|it: &(FileId, String)| it.0 != file) {
                    text = model.program().file(file).map(|it| (file, it.source().text()));
                }
                let text = text.as_ref().map_or("", |it| it.1.as_str());
                let at = Location { file, range: name_in(text, &range, &named.name) };
                if seen.insert(at.clone()) {
                    found.push(at);
                }
            }
        }
    }
    found
}
