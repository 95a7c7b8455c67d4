//! The way from power-on as a figure: a graph of labels and routines, as Graphviz reads it, as SVG, and in characters.

mod graph;
mod svg;

use std::fmt::Write;

use reveille_facts::BootPath;

use graph::{Edge, Graph, Line};

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
            Line::On => "",
        };
        let _ = writeln!(text, "  n{} -> n{} [label=\"{}\"{style}];", edge.from, edge.to, quoted(&edge.words));
    }
    text.push_str("}\n");
    text
}

fn quoted(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"")
}

/// The figure in characters: each label with where it leads.
#[must_use]
pub fn way_text(path: &BootPath) -> String {
    let graph = Graph::new(path);
    let mut text = String::new();
    for (at, node) in graph.nodes.iter().enumerate().filter(|it| !it.1.is_outside) {
        let _ = writeln!(text, "{}", node.name);
        for line in &node.lines {
            let _ = writeln!(text, "    {line}");
        }
        for Edge { to, words, line, .. } in graph.edges.iter().filter(|it| it.from == at) {
            let arrow = if *line == Line::Call { "calls" } else { "->" };
            let to = &graph.nodes[*to].name;
            let words = if words.is_empty() { String::new() } else { format!("   if {words}") };
            let _ = writeln!(text, "  {arrow} {to}{words}");
        }
    }
    text
}
