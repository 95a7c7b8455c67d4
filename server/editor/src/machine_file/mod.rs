//! The machine file in an editor: what can be written in it, what its keys mean, its tables.

mod complete;
mod explain;
mod outline;

use std::fmt::Write;
use std::sync::Arc;

use reveille_facts::Model;
use reveille_machine::keys::{Key, Kind, Limits, Presence, Section};
use reveille_program::{FileId, SourceFile};

pub(crate) use complete::completions;
pub(crate) use explain::hover;
pub(crate) use outline::{folds, outline};

/// A file, if it is a machine file.
pub(crate) fn machine_file(model: &Model, file: FileId) -> Option<&Arc<SourceFile>> {
    model.program().file(file).filter(|it| it.is_beside())
}

/// Whether the values of a key are addresses.
fn is_address(key: &Key) -> bool {
    matches!(key.name, "at" | "from" | "origin") && matches!(key.kind, Kind::Number(_))
}

/// What a key means and takes, in Markdown.
fn about(section: &Section, key: &Key) -> String {
    let mut text = format!("{}\n", capital(key.meaning));
    match &key.kind {
        Kind::Choice(words) => {
            text.push('\n');
            for word in *words {
                let _ = writeln!(text, "- `{}`: {}", word.word, word.meaning);
            }
        }
        Kind::Number(limits) | Kind::Size(limits) => {
            let _ = writeln!(text, "\n{}{}", capital(&key.kind.words()), range(limits));
        }
        kind => {
            let _ = writeln!(text, "\n{}", capital(&kind.words()));
        }
    }
    match key.presence {
        Presence::Required => {
            let _ = writeln!(text, "\n`{}` has to have it.", section.header);
        }
        Presence::Default(value) => {
            let _ = writeln!(text, "\nWithout it: `{value}`");
        }
        Presence::Optional => (),
    }
    if !key.example.is_empty() {
        let _ = writeln!(text, "\nExample: `{} = {}`", key.name, key.example);
    }
    text.trim_end().to_owned()
}

/// The limits of a number, if it has some of its own.
fn range(limits: &Limits) -> String {
    match (limits.min, limits.max) {
        (i64::MIN, i64::MAX) => String::new(),
        (least, most) if most >= i64::from(u32::MAX) => format!(", {least} to {most} = ${most:X}"),
        (least, most) => format!(", {least} to {most}"),
    }
}

fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().chain(characters).collect())
}
