//! The graph of a way: what is drawn, and what is left out.

use std::collections::VecDeque;

use reveille_facts::{BootPath, PathRoutine, PathStep, StepKind};

/// How many boxes are drawn; those that are come to first.
const MOST: usize = 48;
/// The longest words of an edge, and of a line in a box.
const LONGEST: usize = 52;

/// A box.
#[derive(Debug)]
pub(super) struct Node {
    /// The label or the routine.
    pub(super) name: String,
    /// What it has to do with files, checks and texts.
    pub(super) lines: Vec<String>,
    /// It is no code of the source: a loaded program.
    pub(super) is_outside: bool,
}

/// How an edge is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Line {
    /// It goes on there.
    On,
    /// It is called, and comes back.
    Call,
    /// One of several ends.
    End,
}

/// An arrow.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Edge {
    pub(super) from: usize,
    pub(super) to: usize,
    /// On which condition; empty without one.
    pub(super) words: String,
    pub(super) line: Line,
}

/// The figure.
#[derive(Debug, Default)]
pub(super) struct Graph {
    pub(super) nodes: Vec<Node>,
    pub(super) edges: Vec<Edge>,
}

/// A piece of a routine that becomes a box: from one label to the next.
struct Piece<'a> {
    routine: usize,
    name: &'a str,
    steps: &'a [PathStep],
}

fn pieces(routine: &PathRoutine, at: usize) -> Vec<Piece<'_>> {
    let mut found = vec![Piece { routine: at, name: &routine.name, steps: &[] }];
    let mut from = 0;
    for (place, step) in routine.steps.iter().enumerate() {
        if step.kind == StepKind::Label {
            if let Some(last) = found.last_mut() {
                last.steps = &routine.steps[from..place];
            }
            found.push(Piece { routine: at, name: &step.words, steps: &[] });
            from = place + 1;
        }
    }
    if let Some(last) = found.last_mut() {
        last.steps = &routine.steps[from..];
    }
    found
}

impl Graph {
    pub(super) fn new(path: &BootPath) -> Self {
        let mut open: VecDeque<usize> =
            path.starts.iter().filter(|it| it.kind != "command").filter_map(|it| it.routine).collect();
        let mut reached: Vec<usize> = Vec::new();
        while let Some(own) = open.pop_front() {
            let Some(routine) = path.routines.get(own).filter(|it| it.is_telling) else { continue };
            if reached.contains(&own) {
                continue;
            }
            reached.push(own);
            open.extend(routine.steps.iter().filter_map(|it| it.routine));
        }
        // Where it starts, and where keys decide, each label is a box; all else is a box a routine.
        let is_split = |at: usize| {
            path.starts.iter().any(|it| it.kind != "command" && it.routine == Some(at))
                || path.routines[at].steps.iter().any(|it| it.device.is_some())
        };
        let whole = |at: usize| {
            let routine = &path.routines[at];
            vec![Piece { routine: at, name: &routine.name, steps: &routine.steps }]
        };
        let all =
            reached.iter().flat_map(|it| if is_split(*it) { pieces(&path.routines[*it], *it) } else { whole(*it) });
        let pieces: Vec<Piece<'_>> = all.take(MOST).collect();
        let mut graph = Self::default();
        graph.nodes.extend(pieces.iter().map(|it| Node {
            name: it.name.to_owned(),
            lines: lines(it.steps),
            is_outside: false,
        }));
        let find = |routine: Option<usize>, own: usize, name: Option<&str>| {
            // A label of the same routine, or the entry of another.
            let inner = pieces.iter().position(|it| it.routine == own && Some(it.name) == name && routine.is_none());
            inner.or_else(|| {
                let routine = routine?;
                let label = pieces.iter().position(|it| it.routine == routine && Some(it.name) == name);
                label.or_else(|| pieces.iter().position(|it| it.routine == routine))
            })
        };
        for (at, piece) in pieces.iter().enumerate() {
            let mut goes_on = true;
            for step in piece.steps {
                let to = find(step.routine, piece.routine, step.to.as_deref());
                match step.kind {
                    StepKind::Decision => {
                        goes_on = true;
                        if let Some(to) = to {
                            graph.edge(at, to, cut(&step.words), Line::On);
                        }
                    }
                    StepKind::Call => {
                        goes_on = true;
                        if let Some(to) = to {
                            graph.edge(at, to, String::new(), Line::Call);
                        }
                    }
                    StepKind::GoesOn => {
                        goes_on = false;
                        if let Some(to) = to {
                            graph.edge(at, to, String::new(), Line::On);
                        }
                    }
                    StepKind::Jump => {
                        goes_on = false;
                        let name = step.words.split(':').next().unwrap_or(&step.words);
                        let name = cut(name.trim_start_matches("jumps to ").trim_start_matches("calls "));
                        let known = graph.nodes.iter().position(|it| it.is_outside && it.name == name);
                        let to = known.unwrap_or_else(|| {
                            graph.nodes.push(Node { name, lines: vec!["no source here".to_owned()], is_outside: true });
                            graph.nodes.len() - 1
                        });
                        graph.edge(at, to, String::new(), Line::On);
                    }
                    _ => goes_on = true,
                }
            }
            let next = pieces.get(at + 1).filter(|it| it.routine == piece.routine);
            if goes_on && next.is_some() {
                graph.edge(at, at + 1, String::new(), Line::On);
            }
        }
        graph.drop_lone();
        graph
    }

    fn edge(&mut self, from: usize, to: usize, words: String, line: Line) {
        let edge = Edge { from, to, words, line };
        if from != to && !self.edges.contains(&edge) {
            self.edges.push(edge);
        }
    }

    /// Leaves out boxes that nothing leads to or from.
    fn drop_lone(&mut self) {
        let is_used: Vec<bool> = (0..self.nodes.len())
            .map(|at| at == 0 || self.edges.iter().any(|it| it.from == at || it.to == at))
            .collect();
        let mut place = Vec::new();
        let mut next = 0;
        for used in &is_used {
            place.push(next);
            next += usize::from(*used);
        }
        let mut at = 0;
        self.nodes.retain(|_| {
            at += 1;
            is_used[at - 1]
        });
        for edge in &mut self.edges {
            (edge.from, edge.to) = (place[edge.from], place[edge.to]);
        }
    }
}

/// What is said in a box.
fn lines(steps: &[PathStep]) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for step in steps {
        let line = match step.kind {
            StepKind::File | StepKind::Check | StepKind::Text => cut(&step.words.replace('`', "")),
            StepKind::Load => cut(step.words.split(',').next().unwrap_or(&step.words).replace('`', "").as_str()),
            _ => continue,
        };
        if !found.contains(&line) && found.len() < 3 {
            found.push(line);
        }
    }
    let errors = steps.iter().filter(|it| it.kind == StepKind::Error).count();
    if errors > 0 {
        found.push(if errors == 1 { "1 error".to_owned() } else { format!("{errors} errors") });
    }
    found
}

fn cut(text: &str) -> String {
    let text = text.replace('`', "");
    if text.chars().count() <= LONGEST {
        return text;
    }
    let cut: String = text.chars().take(LONGEST - 1).collect();
    format!("{}\u{2026}", cut.trim_end())
}
