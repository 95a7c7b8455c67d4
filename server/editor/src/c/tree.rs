//! Structure of C from its tree: lines that fold, ever larger selections. The tree is made when somebody asks.
//!
//! Old parameter lists and functions without a type may be an error in the tree: there `reveille_c` alone says where functions are.

use std::cell::RefCell;
use std::ops::Range;

use rustc_hash::FxHashMap;
use tree_sitter::{Node, Parser, Tree};

use super::{View, bytes};
use crate::structure::{Block, BlockKind};

/// How many ranges a selection has at most: few readers of JSON go deeper than 128.
const MOST: usize = 40;

thread_local! {
    static PARSER: RefCell<Option<Parser>> = const { RefCell::new(None) };
}

fn tree(text: &str) -> Option<Tree> {
    PARSER.with_borrow_mut(|parser| {
        let parser = match parser {
            Some(parser) => parser,
            empty => {
                let mut parser = Parser::new();
                parser.set_language(&tree_sitter_c::LANGUAGE.into()).ok()?;
                empty.insert(parser)
            }
        };
        parser.parse(text, None)
    })
}

/// What a node hides when it is folded: the kind, and whether its last line stays.
fn fold_of(node: Node<'_>) -> Option<(BlockKind, bool)> {
    Some(match node.kind() {
        "function_definition" => (BlockKind::Routine, false),
        "compound_statement" => (BlockKind::Case, true),
        "field_declaration_list" | "enumerator_list" | "initializer_list" => (BlockKind::Table, true),
        "comment" => (BlockKind::Comment, false),
        "preproc_if" | "preproc_ifdef" => (BlockKind::Preprocessor, false),
        _ => return None,
    })
}

/// The blocks of a document that can be folded: each hides the lines behind its first.
pub(crate) fn folds(view: &View<'_>) -> Vec<Block> {
    let source = view.file.source();
    // Of two that begin in one line the larger one.
    let mut found: FxHashMap<usize, Block> = FxHashMap::default();
    let mut add = |kind: BlockKind, lines: Range<usize>| {
        if lines.len() < 2 {
            return;
        }
        let known = found.entry(lines.start).or_insert_with(|| Block { kind, lines: lines.clone() });
        if known.lines.end < lines.end {
            *known = Block { kind, lines };
        }
    };
    for it in view.own.unit.functions().iter().filter(|it| it.span.file == view.key) {
        let own = bytes(it.span);
        add(BlockKind::Routine, source.line_of(own.start)..source.line_of(own.end) + 1);
    }
    if let Some(tree) = tree(&source.text()) {
        each_node(&tree, |node| {
            if let Some((kind, stays)) = fold_of(node) {
                let (first, last) = (node.start_position().row, node.end_position().row);
                // A node of the preprocessor ends behind its line's end.
                let ends_before = node.end_position().column == 0 && last > first;
                add(kind, first..last + usize::from(!stays && !ends_before));
            }
        });
    }
    let mut found: Vec<Block> = found.into_values().collect();
    found.sort_by_key(|it| it.lines.start);
    found
}

/// Shows every node, outer ones first, however deep they lie.
fn each_node(tree: &Tree, mut see: impl FnMut(Node<'_>)) {
    let mut cursor = tree.walk();
    loop {
        see(cursor.node());
        if cursor.goto_first_child() {
            continue;
        }
        while !cursor.goto_next_sibling() {
            if !cursor.goto_parent() {
                return;
            }
        }
    }
}

/// The ranges around a byte, smallest first, each larger than the one before.
pub(crate) fn selection(view: &View<'_>, byte: usize) -> Vec<Range<usize>> {
    let text = view.file.source().text();
    let mut ranges: Vec<Range<usize>> = Vec::new();
    if let Some(tree) = tree(&text) {
        let mut next = tree.root_node().descendant_for_byte_range(byte, byte);
        while let Some(node) = next.filter(|_| ranges.len() + 2 < MOST) {
            let range = node.start_byte()..node.end_byte();
            if !range.is_empty() && ranges.last() != Some(&range) {
                ranges.push(range);
            }
            next = node.parent();
        }
    }
    let function = view.function_at(byte).map(|it| bytes(it.span));
    for range in function.into_iter().chain(std::iter::once(0..text.len())) {
        let is_larger =
            ranges.last().is_none_or(|last| range.start <= last.start && last.end <= range.end && range != *last);
        if is_larger {
            ranges.push(range);
        }
    }
    ranges
}
