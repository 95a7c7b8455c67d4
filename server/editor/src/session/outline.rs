//! The parts of a script: as an outline, as lines that fold, as ever larger selections; and the scripts that it leads to.

use std::ops::Range;

use reveille_session::verbs::VerbKind;
use reveille_session::{Expression, Filled, Statement, TokenLine};

use super::{View, touches, verb_of};
use crate::links::Link;
use crate::structure::{Block, BlockKind};
use crate::symbols::{OutlineKind, OutlineSymbol};

/// So many comment lines in a row can be folded.
const LEAST_COMMENTS: usize = 3;

/// The most characters of a step in an outline.
const MOST_NAME: usize = 80;

/// Lines that belong together: a stage, or a case of `if` or `repeat`; by their places in [`View::lines`].
struct Group {
    kind: BlockKind,
    first: usize,
    /// The last one of it; of a case that `else` ends, the one before.
    last: usize,
    /// The `end` of the whole statement.
    end: usize,
}

impl View<'_> {
    /// The groups of a script, by their first lines.
    fn groups(&self) -> Vec<Group> {
        let mut found: Vec<Group> = Vec::new();
        // Each open case with the first case of its statement, by their places in `found`.
        let mut open: Vec<Vec<usize>> = Vec::new();
        let mut stage: Option<usize> = None;
        let mut last = 0;
        for (at, line) in self.lines.iter().enumerate() {
            let Some((verb, _)) = verb_of(&self.text, line) else {
                last = if line.tokens.is_empty() { last } else { at };
                continue;
            };
            let group = |kind| Group { kind, first: at, last: at, end: at };
            match verb.kind {
                VerbKind::Stage => {
                    close(&mut found, open.drain(..).flatten().chain(stage), last);
                    stage = Some(found.len());
                    found.push(group(BlockKind::Section));
                }
                VerbKind::If | VerbKind::Repeat => {
                    let kind = if verb.kind == VerbKind::If { BlockKind::Case } else { BlockKind::Repeat };
                    open.push(vec![found.len()]);
                    found.push(group(kind));
                }
                VerbKind::Else => {
                    if let Some(cases) = open.last_mut() {
                        close(&mut found, cases.last().copied().into_iter(), last);
                        cases.push(found.len());
                        found.push(group(BlockKind::Case));
                    }
                }
                VerbKind::End => {
                    if let Some(cases) = open.pop() {
                        close(&mut found, cases.last().copied().into_iter(), at);
                        cases.iter().for_each(|it| found[*it].end = at);
                    }
                }
                _ => (),
            }
            last = at;
        }
        close(&mut found, open.into_iter().flatten().chain(stage), last);
        found
    }

    /// The last byte of a statement with its body and its `end`.
    fn end_of(&self, groups: &[Group], statement: &Statement) -> usize {
        let own = groups.iter().find(|it| self.lines[it.first].span.start == statement.span.start);
        own.map_or(statement.span.end, |it| self.lines[it.end].span.end.max(statement.span.end))
    }
}

fn close(found: &mut [Group], own: impl Iterator<Item = usize>, last: usize) {
    for at in own {
        let group = &mut found[at];
        // A case that `else` has ended stays as it is.
        if group.last == group.first {
            group.last = last.max(group.first);
        }
        group.end = last.max(group.first);
    }
}

/// The stages with their steps in them; steps before the first stage by themselves.
pub(crate) fn outline(view: &View<'_>) -> Vec<OutlineSymbol> {
    let groups = view.groups();
    let mut found: Vec<OutlineSymbol> = Vec::new();
    for statement in &view.script.statements {
        let symbol = symbol(view, &groups, statement);
        match found.last_mut().filter(|it| it.kind == OutlineKind::Stage && symbol.kind != OutlineKind::Stage) {
            Some(stage) => {
                stage.range.end = stage.range.end.max(symbol.range.end);
                stage.children.push(symbol);
            }
            None => found.push(symbol),
        }
    }
    found
}

fn symbol(view: &View<'_>, groups: &[Group], statement: &Statement) -> OutlineSymbol {
    let title = statement.text("title").map(|it| it.value.trim()).filter(|it| !it.is_empty());
    let written = view.text[statement.span.clone()].lines().next().unwrap_or_default();
    let is_stage = statement.verb.kind == VerbKind::Stage;
    let name: String = title.filter(|_| is_stage).unwrap_or(written).chars().take(MOST_NAME).collect();
    let typed = view.step_of(statement).and_then(|it| it.typed.first().cloned());
    let inner = statement.body.iter().chain(&statement.otherwise);
    OutlineSymbol {
        name,
        detail: typed.unwrap_or_default(),
        kind: if is_stage { OutlineKind::Stage } else { OutlineKind::Step },
        range: statement.span.start..view.end_of(groups, statement),
        name_range: statement.name.clone(),
        children: inner.map(|it| symbol(view, groups, it)).collect(),
    }
}

/// Stages, cases of `if`, bodies of `repeat`, and comments of several lines.
pub(crate) fn folds(view: &View<'_>) -> Vec<Block> {
    let source = view.file.source();
    let line_of = |at: usize| source.line_of(at);
    let mut found: Vec<Block> = Vec::new();
    for group in view.groups() {
        let end = view.lines[group.last].span.end.saturating_sub(1);
        let lines = line_of(view.lines[group.first].span.start)..line_of(end) + 1;
        found.push(Block { kind: group.kind, lines });
    }
    let is_comment = |it: &&TokenLine| it.tokens.is_empty();
    let mut run: Option<Range<usize>> = None;
    for comment in view.lines.iter().filter(is_comment).filter_map(|it| it.comment.as_ref()) {
        let line = line_of(comment.start);
        run = match run.take() {
            Some(run) if run.end == line => Some(run.start..line + 1),
            other => {
                comments(other, &mut found);
                Some(line..line + 1)
            }
        };
    }
    comments(run, &mut found);
    found.retain(|it| it.lines.len() > 1);
    found.sort_by_key(|it| (it.lines.start, usize::MAX - it.lines.end));
    found
}

fn comments(run: Option<Range<usize>>, found: &mut Vec<Block>) {
    let run = run.filter(|it| it.len() >= LEAST_COMMENTS);
    found.extend(run.map(|lines| Block { kind: BlockKind::Comment, lines }));
}

/// The ranges around a byte, smallest first: parts of an expression, the statement, the blocks and the stage around it, the script.
pub(crate) fn selection(view: &View<'_>, byte: usize) -> Vec<Range<usize>> {
    /// Few readers of JSON go deeper than 128.
    const MOST: usize = 40;
    let mut all: Vec<Range<usize>> = Vec::new();
    if let Some(statement) = view.statement_at(byte) {
        all.push(statement.span.clone());
        let mut inside = |it: &Expression| it.visit(&mut |it| all.push(it.span.clone()));
        for (_, filled) in &statement.slots {
            match filled {
                Filled::Expression(it) => inside(it),
                Filled::Range(it) => {
                    inside(&it.from);
                    inside(&it.to);
                }
                Filled::Arguments(it) => it.iter().for_each(|it| inside(&it.1)),
                _ => (),
            }
        }
        all.extend(
            statement
                .slots
                .iter()
                .filter_map(|(_, it)| if let Filled::Range(it) = it { Some(it.span()) } else { None }),
        );
    }
    if let Some(line) = view.lines.iter().find(|it| touches(&it.span, byte)) {
        all.extend(line.tokens.iter().map(|it| it.span.clone()));
        all.push(line.span.clone());
    }
    for group in view.groups() {
        all.push(view.lines[group.first].span.start..view.lines[group.end].span.end);
    }
    all.retain(|it| touches(it, byte) && !it.is_empty());
    all.sort_by_key(|it| (it.len(), it.start));
    let mut found: Vec<Range<usize>> = Vec::new();
    for range in all {
        let is_larger =
            found.last().is_none_or(|last| range.start <= last.start && last.end <= range.end && range != *last);
        if is_larger && found.len() + 1 < MOST {
            found.push(range);
        }
    }
    let whole = 0..view.text.len();
    if found.last() != Some(&whole) {
        found.push(whole);
    }
    found
}

/// The scripts that are included, where they are there.
pub(crate) fn links(view: &View<'_>) -> Vec<Link> {
    let mut found = Vec::new();
    view.script.visit(&mut |it| {
        if let Some(name) = it.text("file").filter(|_| it.verb.kind == VerbKind::Include)
            && let Some(target) = view.included(&name.value)
        {
            // Without its quotes.
            found.push(Link { range: name.span.start + 1..name.span.end - 1, target });
        }
    });
    found
}
