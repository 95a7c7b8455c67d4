//! The figure drawn: a box below the other, what is called or decided a step to the right. What was drawn before is only named, so no line
//! crosses another, and it is read on a phone and on paper.

use std::fmt::Write;

use reveille_facts::BootPath;

use super::graph::{Graph, Line};
use crate::block::xml;

const BOX_WIDTH: i32 = 370;
const LINE_HEIGHT: i32 = 15;
const GAP: i32 = 8;
const STEP: i32 = 30;
const MARGIN: i32 = 10;
/// On a narrow window the figure is moved, and not made too small to read.
const LEAST_WIDTH: i32 = 560;
/// How far to the right boxes go.
const DEEPEST: i32 = 9;

/// What stands below what.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Row {
    /// A box.
    Box { node: usize, depth: i32, words: String, line: Line },
    /// A box that was drawn before.
    Again { node: usize, depth: i32, words: String, line: Line },
}

/// The rows of the figure, each box below the first that leads to it.
pub(super) fn rows(graph: &Graph) -> Vec<Row> {
    let mut found = Vec::new();
    let mut drawn = vec![false; graph.nodes.len()];
    for node in 0..graph.nodes.len() {
        if !drawn[node] && !graph.nodes[node].is_outside {
            draw(graph, node, (0, String::new(), Line::On), &mut drawn, &mut found);
        }
    }
    found
}

fn draw(graph: &Graph, node: usize, way: (i32, String, Line), drawn: &mut [bool], found: &mut Vec<Row>) {
    let (depth, words, line) = way;
    if drawn[node] {
        found.push(Row::Again { node, depth, words, line });
        return;
    }
    drawn[node] = true;
    found.push(Row::Box { node, depth, words, line });
    let edges = || graph.edges.iter().filter(|it| it.from == node);
    let inner = (depth + 1).min(DEEPEST);
    // What is decided or called first; where it goes on without a condition is the next box.
    for edge in edges().filter(|it| !it.words.is_empty() || it.line == Line::Call) {
        draw(graph, edge.to, (inner, edge.words.clone(), edge.line), drawn, found);
    }
    let goes_on = || edges().filter(|it| it.words.is_empty() && it.line == Line::On);
    // Of several ends each is an own way.
    let depth = if goes_on().nth(1).is_some() { inner } else { depth };
    for edge in goes_on() {
        let is_own = depth == inner;
        draw(graph, edge.to, (depth, String::new(), if is_own { Line::End } else { Line::On }), drawn, found);
    }
}

/// Draws the way from power-on.
#[must_use]
pub fn way_svg(path: &BootPath, title: &str) -> String {
    let graph = Graph::new(path);
    let rows = rows(&graph);
    let deepest = rows.iter().map(|it| it.place().1).max().unwrap_or(0);
    let width = 2 * MARGIN + deepest * STEP + BOX_WIDTH;
    let mut drawing = String::new();
    let mut y = MARGIN;
    // Where the line down from the last box of each depth starts.
    let mut feet: Vec<Option<i32>> = vec![None; DEEPEST as usize + 2];
    for row in &rows {
        let (node, depth, words, line) = row.place();
        let x = MARGIN + depth * STEP;
        let class = if line == Line::Call { " class=\"call\"" } else { "" };
        if !words.is_empty() {
            let _ = write!(drawing, "<text class=\"if\" x=\"{x}\" y=\"{}\">if {}</text>", y + 11, xml(words));
            y += 15;
        }
        let own = &graph.nodes[node];
        let is_again = matches!(row, Row::Again { .. });
        let height = if is_again { 18 } else { 10 + LINE_HEIGHT * (1 + own.lines.len() as i32) };
        let middle = y + height.min(24) / 2;
        let from_above = feet[depth as usize].filter(|_| words.is_empty() && line == Line::On);
        let parent = if depth > 0 { feet[depth as usize - 1] } else { None };
        if let Some(foot) = from_above {
            let _ = write!(drawing, "<path d=\"M{} {foot}V{y}\" marker-end=\"url(#way-tip)\"/>", x + 14);
        } else if let Some(foot) = parent {
            let _ = write!(
                drawing,
                "<path{class} d=\"M{} {foot}V{middle}H{x}\" marker-end=\"url(#way-tip)\"/>",
                x - STEP + 14
            );
        }
        let verb = if line == Line::Call { "calls " } else { "" };
        if is_again {
            let _ = write!(
                drawing,
                "<text x=\"{}\" y=\"{}\">{verb}{} <tspan class=\"if\">(drawn above)</tspan></text>",
                x + 4,
                y + 13,
                xml(&own.name)
            );
        } else {
            let class = if own.is_outside { " class=\"out\" rx=\"10\"" } else { " rx=\"3\"" };
            let _ = write!(
                drawing,
                "<rect x=\"{x}\" y=\"{y}\" width=\"{BOX_WIDTH}\" height=\"{height}\"{class}/><text class=\"name\" x=\"{}\" y=\"{}\">{}</text>",
                x + 8,
                y + 16,
                xml(&own.name)
            );
            for (at, words) in own.lines.iter().enumerate() {
                let line = y + 16 + LINE_HEIGHT * (at as i32 + 1);
                let _ = write!(drawing, "<text x=\"{}\" y=\"{line}\">{}</text>", x + 8, xml(words));
            }
            feet[depth as usize] = Some(y + height);
            feet[depth as usize + 1..].fill(None);
        }
        y += height + GAP + if is_again { 0 } else { 4 };
    }
    let height = y + MARGIN;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" style=\"min-width:{}px;max-width:{width}px\" role=\"img\" aria-label=\"{}\">\
<style>.way text{{font:12px sans-serif;fill:#222}}.way .name{{font-weight:bold}}.way .if{{font-size:11px;font-weight:normal;fill:#555}}\
.way rect{{fill:#f6f3ec;stroke:#6b6658}}.way .out{{fill:#fff;stroke-dasharray:4 3}}.way path{{fill:none;stroke:#6b6658}}.way .call{{stroke-dasharray:3 4}}#way-tip path{{fill:#6b6658;stroke:none}}\
@media(prefers-color-scheme:dark){{.way text{{fill:#eee}}.way .if{{fill:#bbb}}.way rect{{fill:#2a2823;stroke:#a7a08c}}.way .out{{fill:#1b1a17}}.way path{{stroke:#a7a08c}}#way-tip path{{fill:#a7a08c}}}}\
@media print{{.way text,.way .if{{fill:#000}}.way rect,.way .out{{fill:#fff;stroke:#000}}.way path{{stroke:#000}}#way-tip path{{fill:#000}}}}</style>\
<defs><marker id=\"way-tip\" viewBox=\"0 0 8 8\" refX=\"7\" refY=\"4\" markerWidth=\"7\" markerHeight=\"7\" orient=\"auto\"><path d=\"M0 0L8 4L0 8z\"/></marker></defs><g class=\"way\">{drawing}</g></svg>",
        width.min(LEAST_WIDTH),
        xml(title)
    )
}

impl Row {
    pub(super) fn place(&self) -> (usize, i32, &str, Line) {
        match self {
            Self::Box { node, depth, words, line } | Self::Again { node, depth, words, line } => {
                (*node, *depth, words, *line)
            }
        }
    }
}
