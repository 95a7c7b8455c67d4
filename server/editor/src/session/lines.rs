//! What is shown beside and above the lines of a script: addresses, and how long the transfers take.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::{DefinitionKind, FileId};
use reveille_session::verbs::VerbKind;
use reveille_session::{Interval, Settings};

use super::{View, time};
use crate::hints::{Hint, HintKinds};
use crate::lookup::location;

/// A line of text above a line of a script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lens {
    /// The bytes that it is about.
    pub range: Range<usize>,
    /// The text.
    pub title: String,
    /// Whether it rehearses the script when it is chosen; else it only tells.
    pub rehearses: bool,
}

/// The addresses and values of names, and the ends of ranges, in lines of a script.
pub(crate) fn hints(view: &View<'_>, lines: Range<usize>, kinds: HintKinds) -> Vec<Hint> {
    let mut found: Vec<Hint> = Vec::new();
    if !kinds.addresses {
        return found;
    }
    let source = view.file.source();
    let bytes = source.line_start(lines.start)..source.line_start(lines.end.min(source.line_count())).max(1);
    let bytes = if lines.end >= source.line_count() { bytes.start..usize::MAX } else { bytes };
    for step in view.steps_in(bytes) {
        for named in step.names.iter().filter(|it| it.defined.is_some()) {
            let Some(value) = named.value.and_then(Interval::known) else { continue };
            let is_label = view.defined(&named.name).is_some_and(|it| it.1.kind == DefinitionKind::Label);
            let text = if is_label { format!("${value:06X}") } else { format!("= {value}") };
            found.push(Hint { at: location(view.model, named.at).range.end, text });
        }
        let start = location(view.model, step.at).range.start;
        let range = view.statement_at(start).and_then(|it| it.range("range")).map(reveille_session::Span::span);
        if let (Some((addresses, _)), Some(range)) = (&step.range, range)
            && addresses.start < addresses.end
        {
            let text = format!("${:06X} to ${:06X}", addresses.start, addresses.end - 1);
            found.push(Hint { at: range.end, text });
        }
    }
    // A script that is included twice has its steps twice.
    found.sort_by_key(|it| it.at);
    found.dedup();
    found
}

/// What stands above the lines of a script: how long it takes, and each of its stages. None for other files.
#[must_use]
pub fn lenses(model: &Model, file: FileId) -> Vec<Lens> {
    let Some(view) = View::of(model, file) else { return Vec::new() };
    let (Some(session), Some(first)) = (view.session, view.script.statements.first()) else { return Vec::new() };
    let seconds =
        if session.file == file { session.seconds() } else { view.steps_in(0..usize::MAX).map(|it| it.seconds).sum() };
    let rate = session.world.line.unwrap_or(Settings::USUAL).rate;
    let title = format!("rehearse: {} at {rate} bit/s", time(seconds));
    let mut found = vec![Lens { range: first.span.clone(), title, rehearses: true }];
    for stage in view.script.statements.iter().filter(|it| it.verb.kind == VerbKind::Stage) {
        let title = time(view.seconds_of_stage(stage.span.start));
        found.push(Lens { range: stage.span.clone(), title, rehearses: false });
    }
    found
}

impl View<'_> {
    /// How long the transfers of the stage take that begins at a byte, in seconds.
    pub(super) fn seconds_of_stage(&self, start: usize) -> f64 {
        let Some(session) = self.session else { return 0.0 };
        let own = |it: &reveille_facts::StepFact| it.verb.kind == VerbKind::Stage && it.at.place.file == self.file.id();
        let first = session.steps.iter().position(|it| own(it) && location(self.model, it.at).range.start == start);
        let steps = first.map_or(&[][..], |it| &session.steps[it + 1..]);
        steps.iter().take_while(|it| !own(it)).map(|it| it.seconds).sum()
    }
}
