//! A name changed everywhere it stands, or a reason why it is not.
//!
//! First everything is gathered that the name means the same thing in (`plan`); then the change is made in memory and the program laid
//! out again (`verify`): only a change that changes nothing else is handed out. Sessions that use the name are read again with the new one.

mod plan;
mod verify;

use std::ops::Range;

use reveille_facts::{Evidence, Model};
use reveille_program::{DefinitionKind, FileId, Place, Unit, is_local_label};
use reveille_source::{LineKind, OpId, is_numeric_label, name_in, read_line};

use crate::actions::TextEdit;
use crate::c;
use crate::lookup::{Spot, location};
use crate::session::{self, View};
use plan::{Plan, plan};

/// Why a name is not changed, in words for whoever asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal(pub String);

pub(crate) fn refuse<T>(why: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal(why.into()))
}

/// The bytes of the name that can be changed at a byte, and the name.
///
/// # Errors
/// If there is no name, or if none could be changed there whatever the new one was.
pub fn prepare_rename(model: &Model, file: FileId, byte: usize) -> Result<(Range<usize>, String), Refusal> {
    if let Some(view) = View::of(model, file) {
        let (range, name, own) = session::own(&view, byte)?;
        if let session::Own::Firmware(at) = own {
            prepare_rename(model, at.file, at.range.start)?;
        }
        return Ok((range, name));
    }
    if let Some(view) = c::View::of(model, file) {
        return c::prepare(&view, byte);
    }
    prepare_in_assembly(model, file, byte)
}

/// The same of a name at a byte of an assembly file.
pub(crate) fn prepare_in_assembly(model: &Model, file: FileId, byte: usize) -> Result<(Range<usize>, String), Refusal> {
    let plan = plan(model, file, byte)?;
    verify::verify(model, &plan, &unused(model, &plan), "with another name")?;
    Ok((plan.range, plan.spelled))
}

/// The edits that give the name at a byte another one, everywhere.
///
/// # Errors
/// If the program would not be the same afterwards, or if that cannot be told.
pub fn rename(model: &Model, file: FileId, byte: usize, new: &str) -> Result<Vec<TextEdit>, Refusal> {
    if let Some(view) = View::of(model, file) {
        let (_, name, own) = session::own(&view, byte)?;
        return match own {
            session::Own::Firmware(at) => rename(model, at.file, at.range.start, new),
            session::Own::Bound(places) => session::bound(&view, &name, &places, new),
        };
    }
    if let Some(view) = c::View::of(model, file) {
        return c::rename(&view, byte, new);
    }
    let mut edits = in_assembly(model, file, byte, new)?;
    let spot = Spot::new(model, file, byte).filter(|_| !edits.is_empty());
    if let Some(name) = spot.as_ref().and_then(|it| Some(&it.text[it.name()?])) {
        edits.extend(c::of_assembly(model, file, name, new)?);
    }
    Ok(edits)
}

/// The edits in assembly and in sessions that give the name at a byte of an assembly file another one.
pub(crate) fn in_assembly(model: &Model, file: FileId, byte: usize, new: &str) -> Result<Vec<TextEdit>, Refusal> {
    let plan = plan(model, file, byte)?;
    if plan.name == new && plan.has_one_spelling(model, new) {
        return Ok(Vec::new());
    }
    is_legal(model, &plan, new)?;
    is_free(model, &plan, new)?;
    verify::verify(model, &plan, new, &format!("with the name `{new}`"))?;
    let edits = plan
        .places
        .iter()
        .map(|it| TextEdit { at: location(model, Evidence { place: it.place, span: it.span }), text: new.to_owned() });
    let mut edits: Vec<TextEdit> = edits.collect();
    if !plan.is_local {
        let is_own = |unit: &Unit| plan.units.iter().any(|it| std::ptr::eq(*it, unit));
        let defines = |place: Place| plan.places.iter().any(|it| it.place == place && it.is_definition);
        edits.extend(session::of_firmware(model, is_own, defines, &plan.name, new)?);
    }
    Ok(edits)
}

/// Whether a text is a name of the kind that the old one is, in every dialect that it is written in.
fn is_legal(model: &Model, plan: &Plan<'_>, new: &str) -> Result<(), Refusal> {
    for id in plan.files() {
        let dialect = model.program().dialect(id);
        if reveille_cpu::register(new).is_some() {
            return refuse(format!("`{new}` is a register"));
        }
        if new.eq_ignore_ascii_case("narg") {
            return refuse(format!("`{new}` is the count of a macro's arguments"));
        }
        let line = read_line(&format!("{new}: nop"), dialect);
        let is_label =
            line.kind == LineKind::Statement && line.label.range() == (0..new.len()) && line.op.is_instruction();
        let is_number = new.starts_with(|it: char| it.is_ascii_digit()) && !is_numeric_label(new, dialect);
        if new.is_empty() || !is_label || is_number || new.contains('\\') || name_in(new, dialect) != Some(new) {
            return refuse(format!("`{new}` is no name that a label can have"));
        }
        if is_local_label(new, dialect) != plan.is_local {
            return refuse(match plan.is_local {
                true => format!("`{}` is a local label, and `{new}` is none", plan.name),
                false => format!("`{new}` is a local label, and `{}` is none", plan.name),
            });
        }
        if plan.kind == DefinitionKind::Macro {
            let line = read_line(&format!("\t{new}"), dialect);
            if line.op != OpId::MACRO_CALL || line.size != 0 {
                return refuse(format!("`{new}` is an operation, so no macro can be called by that name"));
            }
        }
    }
    Ok(())
}

/// Whether nothing else has the name already, where the old one is known.
fn is_free(model: &Model, plan: &Plan<'_>, new: &str) -> Result<(), Refusal> {
    match plan.taken(model, new) {
        Some((place, true)) => refuse(format!("`{new}` is already defined at {}", shown(model, place))),
        Some((place, false)) => refuse(format!("`{new}` is already used at {}", shown(model, place))),
        None => Ok(()),
    }
}

/// A name like that of a plan which nothing has.
fn unused(model: &Model, plan: &Plan<'_>) -> String {
    let mut name = plan.name.clone();
    loop {
        // What makes a name a local label stays.
        match name.strip_suffix('$') {
            Some(digits) if digits.bytes().all(|it| it.is_ascii_digit()) => name.insert(0, '9'),
            Some(rest) => name.insert(rest.len(), '_'),
            None => name.push('_'),
        }
        if plan.taken(model, &name).is_none() {
            return name;
        }
    }
}

/// A line as a person names it.
fn shown(model: &Model, place: Place) -> String {
    let Some(file) = model.program().file(place.file) else { return "an expansion of a macro".into() };
    let name = file.path().file_name().unwrap_or(file.path().as_os_str());
    format!("{}:{}", name.to_string_lossy(), file.line_number(place) + 1)
}
