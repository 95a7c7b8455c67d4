//! On which condition an instruction is come to: the branches before it, in words.

use reveille_cpu::CONDITIONS;
use reveille_program::CodeAt;
use rustc_hash::FxHashSet;

use super::Routes;
use crate::access::Way;

/// Why an instruction is come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Reason {
    /// A conditional branch, and whether it was taken.
    Branch(CodeAt, bool),
    /// Data has its address: it is entered from a table.
    Entered(CodeAt),
}

/// How many lines are gone back, and how many ahead.
const MOST_BACK: usize = 500;
const MOST_AHEAD: usize = 64;

/// The nearest conditions that lead to an instruction, and where tables lead there.
pub(crate) fn reasons(routes: &mut Routes<'_>, at: CodeAt) -> Vec<Reason> {
    let (mut seen, mut found) = (FxHashSet::default(), Vec::new());
    let mut open = std::collections::VecDeque::from([at]);
    let mut loops = Vec::new();
    while let Some(own) = open.pop_front() {
        if !seen.insert(own) || seen.len() > MOST_BACK {
            continue;
        }
        let from = routes.leads_to(own).to_vec();
        for before in &from {
            match routes.way(*before) {
                // A branch back is a loop, which tells how it goes on and not why it began.
                Way::Branch(_) if *before >= own => loops.push(Reason::Branch(*before, true)),
                Way::Branch(_) => found.push(Reason::Branch(*before, true)),
                _ => open.push_back(*before),
            }
        }
        match routes.falls_from(own) {
            Some(before) if matches!(routes.way(before), Way::Branch(_)) => {
                found.push(Reason::Branch(before, false));
            }
            Some(before) => open.push_back(before),
            None if from.is_empty() => found.push(Reason::Entered(own)),
            None => (),
        }
    }
    if found.iter().all(|it| matches!(it, Reason::Entered(_))) {
        found.extend(loops);
    }
    let mut told = FxHashSet::default();
    found.retain(|it| told.insert(*it));
    found
}

/// Of a number that is loaded into a data register before it is known whether it is needed: the branches that keep it. None where it is not
/// lost again on the way on.
pub(crate) fn keeping(routes: &mut Routes<'_>, at: CodeAt, register: u8) -> Vec<Reason> {
    let mut found = Vec::new();
    let mut own = at;
    for _ in 0..MOST_AHEAD {
        let Some(next) = routes.code.next(own) else { return Vec::new() };
        own = next;
        let Some(line) = routes.line(own) else { return Vec::new() };
        let code = &line.code;
        let is_written = reveille_cpu::written(code.choice.instruction, code.choice.form, &code.operands) >> register;
        match routes.way(own) {
            Way::Call(_) | Way::Trap => return found,
            _ if is_written & 1 == 1 => return found,
            Way::Branch(_) => {
                if routes.target(own).is_some_and(|it| it > own) {
                    found.push(Reason::Branch(own, true));
                }
            }
            Way::On => (),
            Way::Jump(_) | Way::Away => return Vec::new(),
        }
    }
    Vec::new()
}

/// A condition in words.
pub(crate) fn words(routes: &mut Routes<'_>, branch: CodeAt, is_taken: bool) -> String {
    let Some(line) = routes.line(branch) else { return String::new() };
    let own = routes.quoted(branch);
    let what = if is_taken { "was taken" } else { "was not taken" };
    let code = line.code.mnemonic.condition;
    if line.code.choice.instruction.name == "dbcc" {
        let counted = if is_taken { "goes on counting" } else { "has counted down" };
        // DBF and DBRA have the condition `never`.
        return match CONDITIONS.get(usize::from(code)).filter(|_| !is_taken && code != 1) {
            Some(it) => format!("where `{own}` {counted}, or found {} ({})", it.title, it.test),
            None => format!("where `{own}` {counted}"),
        };
    }
    // Conditions stand in pairs: each beside its opposite.
    let Some(condition) = CONDITIONS.get(usize::from(if is_taken { code } else { code ^ 1 })) else {
        return format!("where `{own}` {what}");
    };
    let (setter, is_sure) = setter(routes, branch);
    let Some(setter) = setter else {
        return format!("where the flags were {} ({}): `{own}` {what}", condition.title, condition.test);
    };
    let text = routes.quoted(setter);
    let name = routes.line(setter).map_or("", |it| it.code.choice.instruction.name);
    let said = match (name, condition.name) {
        ("cmp" | "cmpa" | "cmpi" | "cmpm", _) => format!("`{text}` found {}", condition.title),
        ("btst" | "bset" | "bclr" | "bchg", "eq") => format!("`{text}` found the bit 0"),
        ("btst" | "bset" | "bclr" | "bchg", "ne") => format!("`{text}` found the bit 1"),
        ("bsr" | "jsr", _) => format!("`{text}` came back with {} ({})", condition.title, condition.test),
        (_, "eq") => format!("`{text}` gave 0"),
        (_, "ne") => format!("`{text}` gave something other than 0"),
        _ => format!("`{text}` gave {}", condition.title),
    };
    let or = if is_sure { "" } else { ", or what leads in behind it did" };
    format!("where {said}{or}: `{own}` {what}")
}

/// The instruction that has set the flags which a branch asks for, and whether there is no other way to the branch.
pub(crate) fn setter(routes: &mut Routes<'_>, branch: CodeAt) -> (Option<CodeAt>, bool) {
    let (mut own, mut is_sure) = (branch, true);
    for _ in 0..MOST_AHEAD {
        is_sure &= routes.leads_to(own).is_empty();
        let Some(before) = routes.falls_from(own) else { return (None, false) };
        let Some(line) = routes.line(before) else { return (None, false) };
        // X is none of what branches ask for.
        let keeps = line.code.choice.form.flags.chars().skip(1).all(|it| it == '-');
        if !keeps || matches!(routes.way(before), Way::Call(_) | Way::Trap) {
            return (Some(before), is_sure);
        }
        own = before;
    }
    (None, false)
}
