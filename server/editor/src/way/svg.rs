//! The figure drawn: boxes in layers from top to bottom.

use std::fmt::Write;

use reveille_facts::BootPath;

use super::graph::{Graph, Line};
use crate::block::xml;

const BOX_WIDTH: i32 = 230;
const LINE_HEIGHT: i32 = 15;
const ROW_GAP: i32 = 46;
const COLUMN_GAP: i32 = 26;
const MARGIN: i32 = 12;
/// How many boxes stand beside each other at most: a page of A4 is read without turning it.
const MOST_BESIDE: usize = 4;

struct Placed {
    x: i32,
    y: i32,
    height: i32,
}

/// Draws the way from power-on.
#[must_use]
pub fn way_svg(path: &BootPath, title: &str) -> String {
    let graph = Graph::new(path);
    let rows = rows(&graph);
    let widest = rows.iter().map(Vec::len).max().unwrap_or(1) as i32;
    let width = 2 * MARGIN + widest * BOX_WIDTH + (widest - 1) * COLUMN_GAP;
    let mut placed: Vec<Placed> = graph.nodes.iter().map(|_| Placed { x: 0, y: 0, height: 0 }).collect();
    let mut y = MARGIN;
    for row in &rows {
        let own = row.len() as i32;
        let left = (width - own * BOX_WIDTH - (own - 1) * COLUMN_GAP) / 2;
        let mut tallest = 0;
        for (column, at) in row.iter().enumerate() {
            let height = 12 + LINE_HEIGHT * (1 + graph.nodes[*at].lines.len() as i32);
            placed[*at] = Placed { x: left + column as i32 * (BOX_WIDTH + COLUMN_GAP), y, height };
            tallest = tallest.max(height);
        }
        y += tallest + ROW_GAP;
    }
    let height = y - ROW_GAP + MARGIN;
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" style=\"max-width:{width}px\" role=\"img\" aria-label=\"{}\">\
<style>.way text{{font:12px sans-serif;fill:#222}}.way .name{{font-weight:bold}}.way .if{{font-size:10px;fill:#555}}\
.way rect{{fill:#f6f3ec;stroke:#6b6658}}.way .out{{fill:#fff;stroke-dasharray:4 3}}.way path{{fill:none;stroke:#6b6658}}.way .call{{stroke-dasharray:3 4}}.way .tip{{fill:#6b6658;stroke:none}}\
@media(prefers-color-scheme:dark){{.way text{{fill:#eee}}.way .if{{fill:#bbb}}.way rect{{fill:#2a2823;stroke:#a7a08c}}.way .out{{fill:#1b1a17}}.way path{{stroke:#a7a08c}}.way .tip{{fill:#a7a08c}}}}\
@media print{{.way text{{fill:#000}}.way .if{{fill:#333}}.way rect,.way .out{{fill:#fff;stroke:#000}}.way path{{stroke:#000}}.way .tip{{fill:#000}}}}</style>\
<defs><marker id=\"way-tip\" viewBox=\"0 0 8 8\" refX=\"7\" refY=\"4\" markerWidth=\"7\" markerHeight=\"7\" orient=\"auto\"><path class=\"tip\" d=\"M0 0L8 4L0 8z\"/></marker></defs><g class=\"way\">",
        xml(title)
    );
    let mut labels = String::new();
    let mut taken: Vec<(i32, i32)> = Vec::new();
    for (number, edge) in graph.edges.iter().enumerate() {
        let (from, to) = (&placed[edge.from], &placed[edge.to]);
        let class = if edge.line == Line::Call { "call" } else { "on" };
        // Arrows that leave one box are spread along its foot.
        let beside = graph.edges.iter().filter(|it| it.from == edge.from).count() as i32;
        let order = graph.edges[..number].iter().filter(|it| it.from == edge.from).count() as i32;
        let x1 = from.x + BOX_WIDTH * (order + 1) / (beside + 1);
        let is_down = to.y > from.y;
        let (y1, x2, y2) = if is_down {
            (from.y + from.height, to.x + BOX_WIDTH / 2, to.y)
        } else {
            // Back up: along the side.
            (from.y + from.height, to.x + BOX_WIDTH, to.y + to.height / 2)
        };
        let bend = if is_down { (y2 - y1).max(20) / 2 } else { 30 };
        let path = if is_down {
            format!("M{x1} {y1}C{x1} {} {x2} {} {x2} {y2}", y1 + bend, y2 - bend)
        } else {
            format!("M{x1} {y1}C{x1} {} {} {y2} {x2} {y2}", y1 + bend, x2 + 40)
        };
        let _ = write!(text, "<path class=\"{class}\" marker-end=\"url(#way-tip)\" d=\"{path}\"/>");
        if !edge.words.is_empty() {
            let mut spot = (x1 + 4, y1 + 12);
            // Words that would stand on others go a line down.
            while taken.iter().any(|it| (it.0 - spot.0).abs() < 190 && (it.1 - spot.1).abs() < 11) {
                spot.1 += 11;
            }
            taken.push(spot);
            let _ = write!(labels, "<text class=\"if\" x=\"{}\" y=\"{}\">{}</text>", spot.0, spot.1, xml(&edge.words));
        }
    }
    for (node, at) in graph.nodes.iter().zip(&placed) {
        let class = if node.is_outside { " class=\"out\" rx=\"10\"" } else { " rx=\"3\"" };
        let _ = write!(
            text,
            "<rect x=\"{}\" y=\"{}\" width=\"{BOX_WIDTH}\" height=\"{}\"{class}/><text class=\"name\" x=\"{}\" y=\"{}\">{}</text>",
            at.x,
            at.y,
            at.height,
            at.x + 8,
            at.y + 17,
            xml(&node.name)
        );
        for (line, words) in node.lines.iter().enumerate() {
            let y = at.y + 17 + LINE_HEIGHT * (line as i32 + 1);
            let _ = write!(text, "<text x=\"{}\" y=\"{y}\">{}</text>", at.x + 8, xml(words));
        }
    }
    text.push_str(&labels);
    text.push_str("</g></svg>");
    text
}

/// The boxes in rows: each below those that lead to it, as far as no circle stands against it; rows that are too long go on below.
fn rows(graph: &Graph) -> Vec<Vec<usize>> {
    let count = graph.nodes.len();
    let mut rank = vec![0_usize; count];
    // Edges that lead back to a box that stands before in the source do not count.
    for _ in 0..count {
        let mut changed = false;
        for edge in graph.edges.iter().filter(|it| it.from < it.to) {
            if rank[edge.to] < rank[edge.from] + 1 {
                rank[edge.to] = rank[edge.from] + 1;
                changed = true;
            }
        }
        if !changed {
            break;
        }
    }
    let deepest = rank.iter().copied().max().unwrap_or(0);
    let mut rows: Vec<Vec<usize>> = Vec::new();
    let mut column = vec![0_usize; count];
    for level in 0..=deepest {
        let mut own: Vec<usize> = (0..count).filter(|it| rank[*it] == level).collect();
        // Below the middle of those that lead there.
        let middle = |at: usize| {
            let from: Vec<usize> =
                graph.edges.iter().filter(|it| it.to == at && it.from < at).map(|it| column[it.from]).collect();
            if from.is_empty() { 0 } else { 10 * from.iter().sum::<usize>() / from.len() }
        };
        own.sort_by_key(|it| (middle(*it), *it));
        for (place, at) in own.iter().enumerate() {
            column[*at] = place;
        }
        rows.extend(own.chunks(MOST_BESIDE).map(<[usize]>::to_vec));
    }
    rows
}
