//! Which dialect a file is read in, and why.

use reveille_facts::Model;
use reveille_program::FileId;
use reveille_source::{DialectReason, File};

/// The dialect of a file, for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DialectTold {
    /// The name that settings use.
    pub name: &'static str,
    /// What it is.
    pub title: &'static str,
    /// Why the file is read so.
    pub reason: String,
}

/// The dialect of a file of the program.
#[must_use]
pub fn dialect(model: &Model, file: FileId) -> Option<DialectTold> {
    Some(told(model.program().file(file)?.source()))
}

pub(crate) fn told(file: &File) -> DialectTold {
    let syntax = file.dialect().syntax();
    let mut reason = match file.dialect_reason() {
        DialectReason::Marked => "its first line says so".to_owned(),
        DialectReason::Given => "it was given from outside".to_owned(),
        DialectReason::Evidence(signs) => {
            let all =
                [("Motorola", signs.motorola), ("dotted", signs.dotted), ("MIT", signs.mit), ("with &", signs.sgs)];
            let found: Vec<_> = all.iter().filter(|it| it.1 > 0).map(|it| format!("{} {}", it.0, it.1)).collect();
            match found.is_empty() {
                true => "no sign of another; `@dialect NAME` in the first line's comment says otherwise".to_owned(),
                false => format!("by the weight of its signs: {}", found.join(", ")),
            }
        }
    };
    if file.margin().is_there() {
        reason.push_str(&format!("; a listing, read from column {} on", file.margin().column + 1));
    }
    DialectTold { name: syntax.name, title: syntax.title, reason }
}
