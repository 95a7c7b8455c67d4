//! The way from power-on as a figure: a graph of labels and routines, as Graphviz reads it, as SVG, and in characters.

mod graph;
mod svg;

use std::fmt::Write;

use reveille_facts::BootPath;

use graph::{Graph, Line};

pub use svg::way_svg;

/// The figure in the language of Graphviz: <https://graphviz.org/doc/info/lang.html>.
#[must_use]
pub fn way_dot(path: &BootPath) -> String {
    let graph = Graph::new(path);
    let mut text = String::from(
        "digraph way {\n  rankdir=TB;\n  node [shape=box, fontname=\"sans-serif\"];\n  edge [fontname=\"sans-serif\", fontsize=10];\n",
    );
    for (at, node) in graph.nodes.iter().enumerate() {
        let lines = std::iter::once(&node.name).chain(&node.lines).map(|it| quoted(it)).collect::<Vec<_>>().join("\\n");
        let shape = if node.is_outside { ", style=rounded" } else { "" };
        let _ = writeln!(text, "  n{at} [label=\"{lines}\"{shape}];");
    }
    for edge in &graph.edges {
        let style = match edge.line {
            Line::Call => ", style=dashed",
            Line::On | Line::End => "",
        };
        let _ = writeln!(text, "  n{} -> n{} [label=\"{}\"{style}];", edge.from, edge.to, quoted(&edge.words));
    }
    text.push_str("}\n");
    text
}

fn quoted(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"")
}

/// The figure in characters: what is called or decided stands a step to the right.
#[must_use]
pub fn way_text(path: &BootPath) -> String {
    let graph = Graph::new(path);
    let mut text = String::new();
    for row in svg::rows(&graph) {
        let (node, depth, words, line) = row.place();
        let indent = "    ".repeat(depth as usize);
        let own = &graph.nodes[node];
        if !words.is_empty() {
            let _ = writeln!(text, "{indent}if {words}:");
        }
        let verb = if line == Line::Call { "calls " } else { "" };
        let again = if matches!(row, svg::Row::Again { .. }) { " (above)" } else { "" };
        let _ = writeln!(text, "{indent}{verb}{}{again}", own.name);
        if again.is_empty() {
            for line in &own.lines {
                let _ = writeln!(text, "{indent}  . {line}");
            }
        }
    }
    text
}
