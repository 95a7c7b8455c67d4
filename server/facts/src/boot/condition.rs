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
    /// Whether they are asked to be equal.
    pub(crate) is_equal: bool,
    /// Whether it holds, where all that is asked about is known.
    pub(crate) holds: Option<bool>,
}

/// What it means that a branch was taken, or was not.
pub(crate) fn condition(walk: &mut Walk<'_>, branch: Node, is_taken: bool) -> Condition {
    let plain = |walk: &mut Walk<'_>| {
        let text = words(&mut walk.units[branch.0], branch.1, is_taken);
        let text = text.strip_prefix("where ").unwrap_or(&text).to_owned();
        let text = text.split(": `").next().unwrap_or(&text).to_owned();
        Condition { words: text, asked: None, is_equal: false, holds: None }
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
            let ((against, right), (holds_of, left)) = (subject(walk, 0), subject(walk, 1));
            let size = line.code.choice.size.bytes();
            let holds = decided(asked_pairs(&holds_of, &against), wanted.name, size);
            let asked = Some((holds_of, against.only().cloned()));
            Condition { words: format!("{left} {relation} {right}"), asked, is_equal: is_equal == Some(true), holds }
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
            let decided = decided(asked_pairs(&holds, &Holds::one(Said::number("0", 0))), wanted.name, bits / 8);
            Condition { words: format!("{text} {says}"), asked: Some((holds, None)), is_equal: false, holds: decided }
        }
        "and" | "andi" if is_equal.is_some() => {
            let ((_, mask), (holds, text)) = (subject(walk, 0), subject(walk, 1));
            let says = if is_equal == Some(true) { "is 0" } else { "is not 0" };
            Condition {
                words: format!("{text} & {mask} {says}"),
                asked: Some((holds, None)),
                is_equal: false,
                holds: None,
            }
        }
        "btst" | "bset" | "bclr" | "bchg" if is_equal.is_some() => {
            let ((_, bit), (holds, text)) = (subject(walk, 0), subject(walk, 1));
            let says = if is_equal == Some(true) { 0 } else { 1 };
            Condition {
                words: format!("bit {bit} of {text} is {says}"),
                asked: Some((holds, None)),
                is_equal: false,
                holds: None,
            }
        }
        "bsr" | "jsr" => {
            let routine = walk.units[own.0].operand_text(&line, 0);
            Condition {
                words: format!("`{routine}` comes back with {} ({})", wanted.name.to_ascii_uppercase(), wanted.test),
                asked: None,
                is_equal: false,
                holds: None,
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

/// The numbers of two values in pairs; none where one of them is not known.
fn asked_pairs(left: &Holds, right: &Holds) -> Option<Vec<(i64, i64)>> {
    let numbers = |it: &Holds| -> Option<Vec<i64>> { it.values().iter().map(|it| it.value).collect() };
    let (left, right) = (numbers(left)?, numbers(right)?);
    let pairs: Vec<_> = left.iter().flat_map(|own| right.iter().map(move |it| (*own, *it))).collect();
    (!pairs.is_empty()).then_some(pairs)
}

/// Whether a condition holds for all pairs of numbers, or for none; `bytes` of them are compared.
fn decided(pairs: Option<Vec<(i64, i64)>>, condition: &str, bytes: u32) -> Option<bool> {
    let bits = 8 * bytes.clamp(1, 4);
    let unsigned = |it: i64| it & ((1 << bits) - 1);
    let signed = |it: i64| (it << (64 - bits)) >> (64 - bits);
    let holds = |(left, right): (i64, i64)| {
        let (ul, ur, sl, sr) = (unsigned(left), unsigned(right), signed(left), signed(right));
        Some(match condition {
            "eq" => ul == ur,
            "ne" => ul != ur,
            "cs" => ul < ur,
            "cc" => ul >= ur,
            "hi" => ul > ur,
            "ls" => ul <= ur,
            "lt" => sl < sr,
            "ge" => sl >= sr,
            "gt" => sl > sr,
            "le" => sl <= sr,
            "mi" => signed(sl.wrapping_sub(sr)) < 0,
            "pl" => signed(sl.wrapping_sub(sr)) >= 0,
            _ => return None,
        })
    };
    let mut all = pairs?.into_iter().map(holds);
    let first = all.next()??;
    all.all(|it| it == Some(first)).then_some(first)
}
