//! What the firmware prints whenever it starts: texts that every way from the reset vector's start comes to.

use reveille_cpu::Kind;
use reveille_program::CodeAt;
use rustc_hash::FxHashSet;

use super::routes::{Routes, Taken};
use crate::access::Way;

/// How many lines are gone through, and how deep the routine that prints may be called.
const MOST: usize = 20_000;
const DEEPEST: usize = 3;

/// Whether every way from a start comes to one of the instructions that take a text's address.
pub(super) fn is_always_printed(routes: &mut Routes<'_>, start: CodeAt, taken: &[Taken]) -> bool {
    let mut wanted: FxHashSet<CodeAt> = taken.iter().map(|it| it.at).collect();
    for _ in 0..=DEEPEST {
        if wanted.is_empty() {
            return false;
        }
        if !can_miss(routes, start, &wanted) {
            return true;
        }
        // A call of a routine that always comes there is as good.
        let mut calls = FxHashSet::default();
        for own in &wanted {
            let Some(entry) = entry(routes, *own) else { continue };
            if !can_miss(routes, entry, &wanted) {
                let own = routes.leads_to(entry).to_vec();
                calls.extend(own.into_iter().filter(|it| matches!(routes.way(*it), Way::Call(_))));
            }
        }
        if calls.is_subset(&wanted) {
            return false;
        }
        wanted.extend(calls);
    }
    false
}

/// The nearest instruction above, or this one, that is called.
fn entry(routes: &mut Routes<'_>, at: CodeAt) -> Option<CodeAt> {
    let mut own = at;
    for _ in 0..MOST {
        let from = routes.leads_to(own).to_vec();
        if from.iter().any(|it| matches!(routes.way(*it), Way::Call(_))) {
            return Some(own);
        }
        own = routes.code.previous(own)?;
    }
    None
}

/// Whether a way leads on from a start, or back from there, that comes to none of some instructions. Loops that never end lead nowhere.
fn can_miss(routes: &mut Routes<'_>, start: CodeAt, wanted: &FxHashSet<CodeAt>) -> bool {
    let (mut seen, mut open) = (FxHashSet::default(), vec![start]);
    // Where address registers were loaded to: `jmp (a6)` comes back there.
    let mut loaded: Vec<CodeAt> = Vec::new();
    let (mut jumps, mut is_come_to) = (false, false);
    loop {
        while let Some(own) = open.pop() {
            if wanted.contains(&own) {
                is_come_to = true;
                continue;
            }
            if !seen.insert(own) {
                continue;
            }
            let Some(line) = routes.line(own).filter(|_| seen.len() < MOST) else { return true };
            let way = routes.way(own);
            if line.code.choice.instruction.name == "lea" {
                loaded.extend(routes.code.named(&line, 0));
            }
            if let Way::Branch(_) | Way::Jump(_) = way {
                match routes.target(own) {
                    Some(target) => open.push(target),
                    None if line.code.operands[0].kind == Kind::Indirect && !loaded.is_empty() => jumps = true,
                    None => return true,
                }
            }
            match way {
                Way::Away => return true,
                Way::Jump(_) => (),
                _ => match routes.code.next(own) {
                    Some(next) => open.push(next),
                    None => return true,
                },
            }
        }
        if !jumps || loaded.iter().all(|it| seen.contains(it) || wanted.contains(it)) {
            return !is_come_to;
        }
        open.extend(loaded.iter().copied());
    }
}
