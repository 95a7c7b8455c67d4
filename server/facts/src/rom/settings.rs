//! Whether the source laid out in another way would agree: other choices of lengths, another origin.

use reveille_program::{FileId, Program, Settings, Sizing, lay_out};

use super::cause::{Cause, CauseKind, Sureness};
use super::{Comparison, SourceImage};

/// Lays a root out with other settings.
fn laid_out(program: &Program, root: FileId, defines: &[(String, i64)], settings: Settings) -> SourceImage {
    let mut program = program.clone();
    program.set_settings(settings);
    let unit = lay_out(&program, root, defines, None);
    SourceImage::new(&program, &unit)
}

/// Tries other settings where what differs may come from them, and takes what helps into the causes.
pub fn try_settings(
    comparison: &mut Comparison,
    program: &Program,
    root: FileId,
    defines: &[(String, i64)],
    source: &SourceImage,
) {
    if comparison.shift() != 0 {
        try_origin(comparison, program, root, defines, source);
    } else {
        let rules = comparison.suspected_rules(source);
        try_sizing(comparison, program, root, defines, rules);
    }
}

fn try_origin(
    comparison: &mut Comparison,
    program: &Program,
    root: FileId,
    defines: &[(String, i64)],
    source: &SourceImage,
) {
    let own = program.settings_of(root);
    let origin = own.origin + comparison.shift();
    let other = laid_out(program, root, defines, Settings { origin, ..Settings::clone(own) });
    // A source with ORG does not move.
    if other.range() == source.range() || comparison.dumps_again(&other) * 2 > comparison.cost() {
        return;
    }
    for cause in &mut comparison.causes {
        if let CauseKind::Origin { origin: found, .. } = &mut cause.kind {
            *found = Some(origin);
        }
    }
}

/// The value that settings have of a rule.
fn value_of(sizing: &Sizing, rule: &str, values: &[&'static str]) -> Option<&'static str> {
    values.iter().copied().find(|value| {
        let mut same = *sizing;
        same.set(rule, value).is_ok() && same == *sizing
    })
}

fn try_sizing(
    comparison: &mut Comparison,
    program: &Program,
    root: FileId,
    defines: &[(String, i64)],
    suspected: Vec<&'static str>,
) {
    let own = Settings::clone(program.settings_of(root));
    let before = comparison.cost();
    let mut best = (before, own.sizing);
    let mut chosen: Vec<(&'static str, &'static str)> = Vec::new();
    // One rule after the other, each time the one that helps most.
    for _ in 0..suspected.len() {
        let trials: Vec<_> = Sizing::RULES
            .into_iter()
            .filter(|(rule, _)| suspected.contains(rule) && chosen.iter().all(|it| it.0 != *rule))
            .flat_map(|(rule, values)| {
                let now = value_of(&best.1, rule, values);
                values.iter().copied().filter(move |it| Some(*it) != now).map(move |value| (rule, value))
            })
            .collect();
        let cost = |(rule, value): (&'static str, &'static str)| {
            let mut sizing = best.1;
            sizing.set(rule, value).ok()?;
            let other = laid_out(program, root, defines, Settings { sizing, ..own.clone() });
            Some((comparison.dumps_again(&other), sizing, (rule, value)))
        };
        let cost = &cost;
        let costs: Vec<_> = std::thread::scope(|scope| {
            let threads: Vec<_> = trials.iter().map(|it| scope.spawn(move || cost(*it))).collect();
            threads.into_iter().filter_map(|it| it.join().ok().flatten()).collect()
        });
        let Some(next) = costs.into_iter().min_by_key(|it| it.0).filter(|it| it.0 * 10 < best.0 * 9) else { break };
        best = (next.0, next.1);
        chosen.push(next.2);
        if best.0 == 0 {
            break;
        }
    }
    if chosen.is_empty() || best.0 * 2 > before {
        return;
    }
    // What a choice of lengths explains is no edit.
    if best.0 * 5 < before {
        comparison.causes.retain(|it| !matches!(it.kind, CauseKind::Edit(_) | CauseKind::Edits { .. }));
    }
    let sureness = if best.0 == 0 { Sureness::Sure } else { Sureness::Likely };
    let kind = CauseKind::Sizing { rules: chosen, left: (best.0, before) };
    comparison.push_cause(Cause::new(sureness, kind));
}
