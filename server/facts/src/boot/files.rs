//! The files that the way loads: which, who looks for them, where they go, what is checked, where they are entered.

use reveille_program::Place;
use rustc_hash::FxHashSet;

use super::{BootFile, Needs, PathRoutine, PathStep, Printed, StepKind};
use crate::session::{Cause, Role};

/// The files that routines name, each with what the routines around have to do with it.
pub(super) fn files(routines: &[PathRoutine], texts: &[Printed]) -> Vec<BootFile> {
    let mut found: Vec<BootFile> = Vec::new();
    for (at, routine) in routines.iter().enumerate() {
        for step in routine.steps.iter().filter(|it| it.kind == StepKind::File) {
            let Some(name) = step.to.clone() else { continue };
            if let Some(known) = found.iter_mut().find(|it| it.name == name) {
                if !known.named.contains(&step.at) {
                    known.named.push(step.at);
                }
                continue;
            }
            let (around, loads) = around(routines, at);
            let steps = || around.iter().flat_map(|it| &routines[*it].steps);
            let of = |kind: StepKind| steps().filter(move |it| it.kind == kind).cloned().collect::<Vec<PathStep>>();
            let places: FxHashSet<Place> = steps().map(|it| it.at.place).collect();
            let is_own = |it: &Cause| matches!(it.role, Role::Use | Role::Number);
            let fails = |text: &&Printed| {
                !text.advice.is_empty()
                    && text.causes.iter().any(|it| is_own(it) && it.at.is_some_and(|it| places.contains(&it.place)))
            };
            let mut checks = of(StepKind::Check);
            let mut enters = of(StepKind::Jump);
            // A table of routines is no program that was loaded.
            enters.retain(|it| it.value.is_some() || it.needs == Some(Needs::File));
            let mut loaded = of(StepKind::Load);
            for list in [&mut checks, &mut enters, &mut loaded] {
                let mut seen = FxHashSet::default();
                list.retain(|it| seen.insert((it.words.clone(), it.at)));
            }
            if !loads {
                enters.clear();
            }
            found.push(BootFile {
                name,
                named: vec![step.at],
                routine: routine.name.clone(),
                loads: loaded,
                checks,
                enters,
                fails: texts.iter().filter(fails).map(|it| (it.text.clone(), it.at)).collect(),
            });
        }
    }
    found
}

/// The routines around one that names a file: those that call it, up to the nearest of which something leads out of the source, and all
/// that they call; and whether there is such a one.
fn around(routines: &[PathRoutine], at: usize) -> (Vec<usize>, bool) {
    let mut own = vec![at];
    loop {
        let mut highest: Vec<(usize, Vec<usize>)> = own.iter().map(|it| (*it, below(routines, *it))).collect();
        let leads_out = |it: &(usize, Vec<usize>)| {
            it.1.iter().any(|it| routines[*it].steps.iter().any(|it| it.kind == StepKind::Jump))
        };
        if highest.iter().any(leads_out) {
            highest.retain(leads_out);
            let mut all: Vec<usize> = highest.into_iter().flat_map(|it| it.1).collect();
            all.sort_unstable();
            all.dedup();
            return (all, true);
        }
        let callers = |it: usize| {
            let calls = move |own: &PathRoutine| {
                own.steps.iter().any(|step| step.routine == Some(it) && step.kind == StepKind::Call)
            };
            routines.iter().enumerate().filter(move |own| calls(own.1)).map(|own| own.0)
        };
        let next: FxHashSet<usize> = own.iter().flat_map(|it| callers(*it)).filter(|it| !own.contains(it)).collect();
        if next.is_empty() {
            return (below(routines, at), false);
        }
        let mut next: Vec<usize> = next.into_iter().collect();
        next.sort_unstable();
        // Callers of callers, until nobody is left.
        if next.iter().all(|it| own.contains(it)) || own.len() > routines.len() {
            return (below(routines, at), false);
        }
        let mut seen = own.clone();
        next.retain(|it| !seen.contains(it));
        seen.extend(&next);
        own = next;
    }
}

/// A routine and all that it calls.
fn below(routines: &[PathRoutine], at: usize) -> Vec<usize> {
    let (mut seen, mut open) = (FxHashSet::default(), vec![at]);
    while let Some(own) = open.pop() {
        if seen.insert(own) {
            let calls = routines[own].steps.iter().filter(|it| it.kind == StepKind::Call);
            open.extend(calls.filter_map(|it| it.routine).filter(|it| *it < routines.len()));
        }
    }
    let mut all: Vec<usize> = seen.into_iter().collect();
    all.sort_unstable();
    all
}
