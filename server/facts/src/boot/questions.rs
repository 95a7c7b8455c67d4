//! What the source does not decide, and what would: the most important first.

use super::{BootPath, Needs, Question, StepKind};
use crate::finding::Evidence;

/// The questions that a way leaves open. `has_map` tells whether a machine file has the memory map, `has_disk` whether a disk format was found.
pub(super) fn questions(path: &BootPath, has_map: bool, has_disk: bool) -> Vec<Question> {
    let mut found: Vec<Question> = Vec::new();
    // What has no place of its own comes up where the way begins.
    let Some(first) = path.starts.first().map(|it| it.at).or(path.routines.first().map(|it| it.at)) else {
        return found;
    };
    let mut ask = |words: String, decides: &'static str, at: Option<Evidence>| {
        let at = at.unwrap_or(first);
        if found.iter().all(|it| it.words != words) {
            found.push(Question { words, decides, at });
        }
    };
    match path.starts.iter().find(|it| it.kind != "command") {
        None => ask(
            "where the machine starts is not known: no vector 1 and no label that says so was found".to_owned(),
            "the first eight bytes of the ROM at address 0: the stack, then the address where it starts",
            None,
        ),
        Some(start) if start.kind == "entry" => ask(
            format!("that the machine starts at `{}` is told by the name alone", start.name),
            "the first eight bytes of the ROM at address 0: the stack, then the address where it starts",
            Some(start.at),
        ),
        Some(_) => (),
    }
    for file in &path.files {
        if file.enters.is_empty() {
            ask(
                format!("where `{}` is entered is not seen", file.name),
                "the loader's code behind the last sector, or the file's own header",
                file.named.first().copied(),
            );
        }
        for own in file.enters.iter().filter(|it| it.needs == Some(Needs::File)) {
            ask(
                format!("where `{}` is entered: {}", file.name, own.words.split(':').next().unwrap_or(&own.words)),
                "the file itself: take it from a disk by `reveille image extract` and look at its first bytes",
                Some(own.at),
            );
        }
    }
    if path.files.is_empty() {
        ask(
            "which file is loaded is not seen: no name of a file is among the data that the way comes to".to_owned(),
            "the loader may take the first file of the directory, or fixed sectors: look at what it compares and from which sector on it reads",
            None,
        );
    }
    if !has_disk {
        ask(
            "no disk format was found".to_owned(),
            "a table of the firmware that nobody has recognised (say what it is by `@block`), or a disk that is read sector by sector",
            None,
        );
    }
    if !has_map {
        ask(
            "which addresses are devices is not known".to_owned(),
            "a machine file beside the source: `reveille.toml` with the memory map from the board",
            None,
        );
    }
    let jumps = path.routines.iter().flat_map(|it| &it.steps).filter(|it| it.kind == StepKind::Jump);
    for own in jumps.filter(|it| it.value.is_none() && it.needs != Some(Needs::File)) {
        ask(own.words.clone(), "the values that come there: a table, or what a person types", Some(own.at));
    }
    for own in path.routines.iter().flat_map(|it| &it.steps).filter(|it| it.needs == Some(Needs::Source)) {
        let name = own.to.clone().unwrap_or_default();
        ask(
            format!("`{name}` is called, and its source is not here"),
            "its source, or the ROM's bytes at its address",
            Some(own.at),
        );
    }
    found
}
