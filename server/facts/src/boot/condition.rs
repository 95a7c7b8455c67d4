//! Conditions in words: what a branch asks, of what the registers hold in the words of the source.

use reveille_cpu::{CONDITIONS, Kind};
use reveille_program::CodeLine;

use super::said::{Holds, Said, State};
use super::walk::{Node, Walk};
use crate::routes::reasons::{setter, words};

/// What a value is called, with its number where the words do not show it.
pub(crate) fn shown(value: &Said) -> String {
    match value.value {
        Some(number) if is_name(&value.words) => format!("{} (${number:X})", value.words),
        _ => value.words.to_string(),
    }
}

/// Whether words are a name or end in one: their number is not seen.
fn is_name(words: &str) -> bool {
    words.starts_with(|it: char| it.is_alphabetic() || matches!(it, '_' | '.'))
}

/// All values of a place in words.
pub(crate) fn all_shown(holds: &Holds) -> Option<String> {
    let all: Vec<String> = holds.values().iter().map(shown).collect();
    (!all.is_empty()).then(|| all.join(" or "))
}

/// What a condition says.
pub(crate) struct Condition {
    /// In words.
    pub(crate) words: String,
    /// What is asked about, and the number that it is held against.
    pub(crate) asked: Option<(Holds, Option<Said>)>,
    /// Whether the numbers are asked to be equal, or not to be.
    pub(crate) is_equal: Option<bool>,
}

/// What it means that a branch was taken, or was not.
pub(crate) fn condition(walk: &mut Walk<'_>, branch: Node, is_taken: bool) -> Condition {
    let plain = |walk: &mut Walk<'_>| {
        let text = words(&mut walk.units[branch.0], branch.1, is_taken);
        let text = text.strip_prefix("where ").unwrap_or(&text).to_owned();
        let text = text.split(": `").next().unwrap_or(&text).to_owned();
        Condition { words: text, asked: None, is_equal: None }
    };
    let Some(line) = walk.line(branch) else { return plain(walk) };
    if line.code.choice.instruction.name != "bcc" {
        return plain(walk);
    }
    let code = line.code.mnemonic.condition;
    let Some(wanted) = CONDITIONS.get(usize::from(if is_taken { code } else { code ^ 1 })) else { return plain(walk) };
    let (Some(own), true) = setter(&mut walk.units[branch.0], branch.1) else { return plain(walk) };
    let own = (branch.0, own);
    let (Some(line), Some(state)) = (walk.line(own), walk.state(own).cloned()) else { return plain(walk) };
    let is_equal = match wanted.name {
        "eq" => Some(true),
        "ne" => Some(false),
        _ => None,
    };
    let name = line.code.choice.instruction.name;
    let subject = |walk: &mut Walk<'_>, operand: usize| {
        let holds = walk.value(own, &line, operand, &state);
        let text = all_shown(&holds).unwrap_or_else(|| unknown(walk, own, &line, operand, &state));
        (holds, text)
    };
    match name {
        "cmp" | "cmpa" | "cmpi" | "cmpm" => {
            let Some(relation) = relation(wanted.name) else { return plain(walk) };
            let ((against, right), (holds, left)) = (subject(walk, 0), subject(walk, 1));
            let asked = Some((holds, against.only().cloned()));
            Condition { words: format!("{left} {relation} {right}"), asked, is_equal }
        }
        "tst" | "move" => {
            let bits = 8 * line.code.choice.size.bytes();
            let (holds, text) = subject(walk, 0);
            let says = match wanted.name {
                "eq" => "is 0".to_owned(),
                "ne" => "is not 0".to_owned(),
                "mi" => format!("has bit {} set", bits - 1),
                "pl" => format!("has bit {} clear", bits - 1),
                _ => return plain(walk),
            };
            Condition { words: format!("{text} {says}"), asked: Some((holds, None)), is_equal: None }
        }
        "and" | "andi" if is_equal.is_some() => {
            let ((_, mask), (holds, text)) = (subject(walk, 0), subject(walk, 1));
            let says = if is_equal == Some(true) { "is 0" } else { "is not 0" };
            Condition { words: format!("{text} & {mask} {says}"), asked: Some((holds, None)), is_equal: None }
        }
        "btst" | "bset" | "bclr" | "bchg" if is_equal.is_some() => {
            let ((_, bit), (holds, text)) = (subject(walk, 0), subject(walk, 1));
            let says = if is_equal == Some(true) { 0 } else { 1 };
            Condition { words: format!("bit {bit} of {text} is {says}"), asked: Some((holds, None)), is_equal: None }
        }
        "bsr" | "jsr" => {
            let routine = walk.units[own.0].operand_text(&line, 0);
            Condition {
                words: format!("`{routine}` comes back with {} ({})", wanted.title, wanted.test),
                asked: None,
                is_equal: None,
            }
        }
        _ => plain(walk),
    }
}

/// What an operand is called whose value nobody knows.
fn unknown(walk: &Walk<'_>, node: Node, line: &CodeLine, operand: usize, _: &State) -> String {
    let text = walk.units[node.0].operand_text(line, operand);
    match line.code.operands[operand].kind {
        Kind::Data | Kind::Address => text.to_ascii_uppercase(),
        _ => format!("`{text}`"),
    }
}

fn relation(condition: &str) -> Option<&'static str> {
    Some(match condition {
        "eq" => "is",
        "ne" => "is not",
        "cs" | "lo" => "is below",
        "cc" | "hs" => "is not below",
        "hi" => "is above",
        "ls" => "is not above",
        "lt" => "is less than",
        "ge" => "is not less than",
        "gt" => "is greater than",
        "le" => "is not greater than",
        _ => return None,
    })
}
