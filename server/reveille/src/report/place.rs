//! Where a finding or a fact is, as outputs say it.

use reveille_facts::{Evidence, Model};
use reveille_program::{FileId, Place};
use reveille_source::{ColumnUnit, Position};

/// A part of a line, in lines from 0 and columns of UTF-16, and its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Shown {
    pub(crate) path: String,
    pub(crate) start: Position,
    pub(crate) end: Position,
    pub(crate) text: String,
}

/// A path with `/` between its parts.
pub(crate) fn display_path(model: &Model, file: FileId) -> String {
    model.program().file(file).map_or_else(String::new, |file| file.path().to_string_lossy().replace('\\', "/"))
}

/// The line of a place in its file, from 0.
pub(crate) fn line_number(model: &Model, place: Place) -> usize {
    let file = model.program().file(place.file);
    file.map_or(0, |file| {
        if file.source().chunks().is_empty() {
            0
        } else {
            file.source().first_line(place.chunk as usize) + usize::from(place.line)
        }
    })
}

/// Where evidence is, as `PATH:LINE`.
pub(crate) fn place_of(model: &Model, at: Evidence) -> String {
    format!("{}:{}", display_path(model, at.place.file), line_number(model, at.place) + 1)
}

/// Where evidence is.
pub(crate) fn shown(model: &Model, at: Evidence) -> Shown {
    let line = line_number(model, at.place);
    let text = model.program().file(at.place.file).and_then(|file| file.source().line(line)).map_or("", |it| it.1);
    let position = |byte: u16| Position { line: line as u32, column: ColumnUnit::Utf16.column(text, byte.into()) };
    Shown {
        path: display_path(model, at.place.file),
        start: position(at.span.start),
        end: position(at.span.end),
        text: at.span.of(text).to_owned(),
    }
}
