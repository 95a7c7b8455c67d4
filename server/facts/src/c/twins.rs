//! c-002: a header of C and an include of assembly that stand for each other, of which one has constants that the other lacks.

use reveille_program::{DefinitionKind, FileId, Value};
use rustc_hash::{FxHashMap, FxHashSet};

use super::check::Side;
use crate::finding::{Evidence, Finding};

/// The fewest names that two files of one name share where they are twins, and the most that are listed.
const LEAST: usize = 3;
const MOST: usize = 8;
/// Endings of files that assembly includes for their constants.
const ENDINGS: &[&str] = &["i", "inc", "equ", "mac"];

/// The constants of a file, each with its place, in their order.
type Names = Vec<(String, Evidence)>;

/// The findings about twins.
pub(super) fn findings(side: &Side<'_>, found: &mut Vec<Finding>) {
    let headers = of_headers(side);
    if headers.is_empty() {
        return;
    }
    let includes = of_includes(side);
    for (file, own) in &headers {
        for (twin, other) in includes.iter().filter(|it| are_twins(side, *file, *it.0)) {
            let spelled = |it: &str| side.convention.assembly(it);
            let theirs: FxHashSet<&str> = other.iter().map(|it| it.0.as_str()).collect();
            let ours: FxHashSet<String> = own.iter().flat_map(|it| [it.0.clone(), spelled(&it.0)]).collect();
            let is_there = |it: &str| theirs.contains(it) || theirs.contains(spelled(it).as_str());
            if own.iter().filter(|it| is_there(&it.0)).count() < LEAST {
                continue;
            }
            let lacks: Vec<&(String, Evidence)> = own.iter().filter(|it| !is_there(&it.0)).collect();
            let more: Vec<&(String, Evidence)> = other.iter().filter(|it| !ours.contains(&it.0)).collect();
            let Some((_, at)) = lacks.first().or(more.first()) else { continue };
            let (header, include) = (name(side, *file), name(side, *twin));
            let mut parts = Vec::new();
            if !lacks.is_empty() {
                parts.push(format!("`{include}` lacks {}", listed(&lacks)));
            }
            if !more.is_empty() {
                parts.push(format!("`{header}` lacks {}", listed(&more)));
            }
            let message =
                format!("`{header}` and `{include}` say the same for C and for assembly: {}", parts.join(", and "));
            let other_at = more.first().filter(|_| !lacks.is_empty()).map(|it| it.1);
            let mut own = Finding::new("c-002", *at, message);
            if let Some(at) = other_at {
                own = own.related(at, format!("`{header}` lacks this one"));
            }
            found.push(own);
        }
    }
}

fn listed(names: &[&(String, Evidence)]) -> String {
    let shown: Vec<String> = names.iter().take(MOST).map(|it| format!("`{}`", it.0)).collect();
    let rest = names.len().saturating_sub(MOST);
    let rest = if rest > 0 { format!(" and {rest} more") } else { String::new() };
    format!("{}{rest}", shown.join(", "))
}

fn name(side: &Side<'_>, file: FileId) -> String {
    let path = side.program.file(file).and_then(|it| it.path().file_name());
    path.unwrap_or_default().to_string_lossy().into_owned()
}

/// Whether two files have one name but for the ending.
fn are_twins(side: &Side<'_>, header: FileId, include: FileId) -> bool {
    let stem = |it: FileId| {
        let file = side.program.file(it)?;
        let ending = file.path().extension()?.to_str()?.to_ascii_lowercase();
        Some((file.path().file_stem()?.to_str()?.to_ascii_lowercase(), ending))
    };
    let (Some((one, _)), Some((other, ending))) = (stem(header), stem(include)) else { return false };
    header != include && one == other && ENDINGS.contains(&ending.as_str())
}

/// The numbers that headers define.
fn of_headers(side: &Side<'_>) -> FxHashMap<FileId, Names> {
    let mut found: FxHashMap<FileId, Names> = FxHashMap::default();
    for own in &side.c {
        for define in own.unit.defines().filter(|it| it.parameters.is_none() && !it.undefined) {
            let Some(at) = own.evidence(define.name_span).filter(|it| it.place.file != own.root) else { continue };
            let names = found.entry(at.place.file).or_default();
            if own.unit.constant(&define.name).is_some() && names.iter().all(|it| it.0 != *define.name) {
                names.push((define.name.to_string(), at));
            }
        }
    }
    found
}

/// The numbers that the files of assembly give names to.
fn of_includes(side: &Side<'_>) -> FxHashMap<FileId, Names> {
    let mut found: FxHashMap<FileId, Names> = FxHashMap::default();
    for unit in &side.units {
        let is_number = |it: &&reveille_program::Definition| {
            matches!(it.kind, DefinitionKind::Equate | DefinitionKind::Set) && matches!(it.value, Value::Number(_))
        };
        for own in unit.definitions().iter().filter(is_number) {
            if own.symbol.is_local() || unit.root() == Some(own.place.file) {
                continue;
            }
            let name = side.program.names().text(own.symbol);
            let names = found.entry(own.place.file).or_default();
            if names.iter().all(|it| it.0 != *name) {
                let span = reveille_program::definition_span(side.program, own.place);
                names.push((name.to_string(), Evidence { place: own.place, span }));
            }
        }
    }
    found
}
