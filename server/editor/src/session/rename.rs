//! A name changed in scripts: what a session has bound, or what the firmware defines, with the uses in scripts.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::{FileId, Place, Unit};
use reveille_session::{Expression, Node, Script, Statement};
use reveille_source::Encoding;

use super::View;
use super::places::uses_of;
use crate::actions::TextEdit;
use crate::expansion;
use crate::lookup::{Location, location};
use crate::rename::{Refusal, refuse};

/// Whose the name at a byte of a script is.
pub(crate) enum Own {
    /// The session's: every place of it.
    Bound(Vec<Location>),
    /// The firmware's: where it is defined.
    Firmware(Location),
}

/// The name at a byte, its bytes, and whose it is.
pub(crate) fn own(view: &View<'_>, byte: usize) -> Result<(Range<usize>, String, Own), Refusal> {
    let Some((name, range)) = view.name_at(byte) else { return refuse("there is no name here") };
    if let Some(places) = view.bound_places(&name, &range) {
        let places = places.into_iter().map(|it| it.0).collect();
        return Ok((range, name, Own::Bound(places)));
    }
    let Some((unit, definition, _)) = view.defined(&name) else {
        return refuse(format!("`{name}` is not defined in the source, and no step before this binds it"));
    };
    let written = expansion::written(view.model.program(), unit, definition.place).into_iter().next();
    match written {
        Some(at) => Ok((range, name, Own::Firmware(location(view.model, at)))),
        None => refuse(format!("`{name}` is not defined in the source")),
    }
}

/// The edits that give what a session has bound another name.
pub(crate) fn bound(view: &View<'_>, old: &str, places: &[Location], new: &str) -> Result<Vec<TextEdit>, Refusal> {
    if old == new {
        return Ok(Vec::new());
    }
    if view.defined(new).is_some() {
        return refuse(format!("`{new}` is a name of the firmware"));
    }
    is_free(view, new)?;
    edits(view.model, places, old, new)
}

/// The edits in scripts that go with a name of the firmware: `is_own` says which units have it, `is_defined_at` where it is defined.
///
/// # Errors
/// A script has the new name for something else, or would be read in another way.
pub(crate) fn of_firmware(
    model: &Model,
    is_own: impl Fn(&Unit) -> bool,
    is_defined_at: impl Fn(Place) -> bool,
    old: &str,
    new: &str,
) -> Result<Vec<TextEdit>, Refusal> {
    for session in model.sessions() {
        let Some(view) = View::of(model, session.file) else { continue };
        if view.units().any(&is_own) {
            is_free(&view, new)?;
        }
    }
    edits(model, &uses_of(model, is_defined_at), old, new)
}

/// Whether a session names nothing by a name.
fn is_free(view: &View<'_>, new: &str) -> Result<(), Refusal> {
    match view.mentions().iter().find(|it| it.name == new) {
        Some(found) => refuse(format!("`{new}` is already used at {}", shown(view.model, &found.at))),
        None => Ok(()),
    }
}

fn shown(model: &Model, at: &Location) -> String {
    let Some(file) = model.program().file(at.file) else { return String::new() };
    let name = file.path().file_name().unwrap_or(file.path().as_os_str());
    format!("{}:{}", name.to_string_lossy(), file.source().line_of(at.range.start) + 1)
}

/// The edits at places of scripts, once each script has been read with them.
fn edits(model: &Model, places: &[Location], old: &str, new: &str) -> Result<Vec<TextEdit>, Refusal> {
    let Some(first) = places.first() else { return Ok(Vec::new()) };
    let is_name = Expression::read(new).is_some_and(|it| matches!(&it.node, Node::Name(name) if name == new));
    if !is_name {
        return refuse(format!("`{new}` is no name that a script can have, as at {}", shown(model, first)));
    }
    let mut files: Vec<FileId> = places.iter().map(|it| it.file).collect();
    files.sort();
    files.dedup();
    for id in files {
        let Some(file) = model.program().file(id) else { continue };
        let mut own: Vec<&Location> = places.iter().filter(|it| it.file == id).collect();
        own.sort_by_key(|it| it.range.start);
        if file.encoding() != Encoding::Utf8 {
            let place = own.first().map(|it| shown(model, it)).unwrap_or_default();
            return refuse(format!("{place} is in a file that is not UTF-8: an edit would change its other bytes"));
        }
        let before = file.source().text();
        let mut after = before.clone();
        for at in own.iter().rev() {
            after.replace_range(at.range.clone(), new);
        }
        if says(&before, old, new) != says(&after, new, new) {
            let place = own.first().map(|it| shown(model, it)).unwrap_or_default();
            return refuse(format!("with the name `{new}` the script would be read in another way, as at {place}"));
        }
    }
    let edit = |at: &Location| TextEdit { at: at.clone(), text: new.to_owned() };
    Ok(places.iter().map(edit).collect())
}

/// What a script says, with a name given another: the forms of its statements, their names, and how much cannot be read.
fn says(text: &str, old: &str, new: &str) -> (Vec<String>, usize) {
    let script = Script::read(text);
    let mut found = Vec::new();
    script.visit(&mut |it| found.push(of_statement(it, old, new)));
    (found, script.problems.len())
}

fn of_statement(statement: &Statement, old: &str, new: &str) -> String {
    let mut said = statement.verb.name.to_owned();
    for (role, _) in &statement.slots {
        said.push(' ');
        said.push_str(role);
    }
    for (name, _) in statement.expressions().into_iter().flat_map(Expression::names) {
        said.push_str(" =");
        said.push_str(if name.eq_ignore_ascii_case(old) { new } else { name });
    }
    said
}
