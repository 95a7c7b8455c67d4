//! What the firmware prints whenever it starts: texts that every way from the reset vector's start comes to.

use reveille_cpu::{Kind, written};
use reveille_program::CodeAt;
use rustc_hash::{FxHashMap, FxHashSet};

use crate::access::Way;
use crate::routes::{Routes, Taken};

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

/// Whether a way leads on from a start, back from there, or into a loop without an end, that comes to none of some instructions.
fn can_miss(routes: &mut Routes<'_>, start: CodeAt, wanted: &FxHashSet<CodeAt>) -> bool {
    let (mut seen, mut open) = (FxHashSet::default(), vec![start]);
    // For each instruction those before it.
    let mut before: FxHashMap<CodeAt, Vec<CodeAt>> = FxHashMap::default();
    // Where address registers were loaded to, `jmp (a6)` comes back; of a register that holds anything else nobody knows.
    let mut loaded: Vec<(u8, CodeAt)> = Vec::new();
    let mut jumps: Vec<(u8, CodeAt)> = Vec::new();
    let mut otherwise = 0_u16;
    loop {
        while let Some(own) = open.pop() {
            if wanted.contains(&own) || !seen.insert(own) {
                continue;
            }
            let Some(line) = routes.line(own).filter(|_| seen.len() < MOST) else { return true };
            let way = routes.way(own);
            let [first, second] = line.code.operands;
            let code = match line.code.choice.instruction.name {
                "lea" => routes.code.named(&line, 0),
                _ => None,
            };
            match code {
                Some(code) => loaded.push((second.register, code)),
                None => {
                    let instruction = line.code.choice.instruction;
                    otherwise |= written(instruction, line.code.choice.form, &line.code.operands) >> 8;
                }
            }
            let mut next = Vec::new();
            if let Way::Branch(_) | Way::Jump(_) = way {
                match routes.target(own) {
                    Some(target) => next.push(target),
                    None if first.kind == Kind::Indirect => jumps.push((first.register, own)),
                    None => return true,
                }
            }
            match way {
                Way::Away => return true,
                Way::Jump(_) => (),
                _ => match routes.code.next(own) {
                    Some(it) => next.push(it),
                    None => return true,
                },
            }
            for it in next {
                before.entry(it).or_default().push(own);
                open.push(it);
            }
        }
        let jumped = jumps.iter().fold(0_u16, |sum, it| sum | 1 << it.0);
        let known = loaded.iter().fold(0_u16, |sum, it| sum | 1 << it.0);
        if jumped & (otherwise | !known) != 0 {
            return true;
        }
        for (register, target) in loaded.iter().filter(|it| jumped >> it.0 & 1 == 1) {
            let from = jumps.iter().filter(|it| it.0 == *register).map(|it| it.1);
            before.entry(*target).or_default().extend(from);
            if !seen.contains(target) && !wanted.contains(target) {
                open.push(*target);
            }
        }
        if open.is_empty() {
            break;
        }
    }
    let mut open: Vec<CodeAt> = wanted.iter().copied().collect();
    while let Some(own) = open.pop() {
        for it in before.remove(&own).into_iter().flatten() {
            seen.remove(&it);
            open.push(it);
        }
    }
    !seen.is_empty()
}
