//! The trees of an open document: one for each chunk, made when somebody looks.

use std::cell::RefCell;

use tree_sitter::{Language, Node, Parser, Point};

use crate::{Chunk, Dialect, File};

/// The grammar of a dialect.
#[must_use]
pub fn language(dialect: Dialect) -> Language {
    match dialect {
        Dialect::Motorola => reveille_grammar::LANGUAGE_M68K.into(),
        Dialect::Dotted => reveille_grammar::LANGUAGE_M68K_DOTTED.into(),
        Dialect::Mit => reveille_grammar::LANGUAGE_M68K_MIT.into(),
        Dialect::Sgs => reveille_grammar::LANGUAGE_M68K_SGS.into(),
    }
}

thread_local! {
    static PARSERS: RefCell<[Option<Parser>; 4]> = const { RefCell::new([None, None, None, None]) };
}

/// The trees of a file. A chunk's tree stays with the chunk, so an edit drops only those of the chunks it touched: they are
/// parsed afresh, some hundred lines, when looked at again.
pub struct Trees<'a> {
    file: &'a File,
}

impl<'a> Trees<'a> {
    /// The trees of `file`.
    #[must_use]
    pub fn new(file: &'a File) -> Self {
        Self { file }
    }

    /// The smallest node at a byte, and the byte at which its chunk starts. None past the end of the text.
    #[must_use]
    pub fn node_at(&self, byte: usize) -> Option<(Node<'a>, usize)> {
        let (chunk, _) = self.file.chunk_of_line(self.file.line_of(byte))?;
        let start = self.file.first_byte(chunk);
        let root = chunk_tree(&self.file.chunks()[chunk])?.root_node();
        Some((root.descendant_for_byte_range(byte - start, byte - start)?, start))
    }
}

/// The tree of a chunk; made at the first call.
fn chunk_tree(chunk: &Chunk) -> Option<&tree_sitter::Tree> {
    if chunk.tree.get().is_none() {
        let dialect = chunk.dialect();
        let tree = PARSERS.with_borrow_mut(|parsers| {
            let parser = match &mut parsers[dialect as usize] {
                Some(parser) => parser,
                empty => {
                    let mut parser = Parser::new();
                    parser.set_language(&language(dialect)).ok()?;
                    empty.insert(parser)
                }
            };
            parser.set_included_ranges(&source_ranges(chunk)).ok()?;
            parser.parse(chunk.text(), None)
        })?;
        return Some(chunk.tree.get_or_init(|| tree));
    }
    chunk.tree.get()
}

/// The parts of a chunk that hold source: all of it, but of a listing what stands behind the margin of each line.
fn source_ranges(chunk: &Chunk) -> Vec<tree_sitter::Range> {
    if !chunk.margin().is_there() {
        return Vec::new();
    }
    let lines = chunk.lines().iter().enumerate();
    lines
        .map(|(row, line)| {
            let from = chunk.source_start(line);
            let start_byte = line.start as usize + from;
            let next = chunk.lines().get(row + 1).map_or(chunk.text().len(), |next| next.start as usize);
            let end_point = Point { row: row + 1, column: 0 };
            tree_sitter::Range { start_byte, end_byte: next, start_point: Point { row, column: from }, end_point }
        })
        .collect()
}
