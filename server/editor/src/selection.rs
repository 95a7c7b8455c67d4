//! Ever larger selections around a place: part of an operand, operand, operand list, line from the tree; then the blocks of lines
//! around it.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::FileId;
use reveille_source::Trees;

use crate::c;
use crate::session::{self, View};
use crate::structure::blocks;

/// How many ranges there are at most. Each is nested in the next where it is sent, and few readers of JSON go deeper than 128.
const MOST: usize = 40;

/// How many of them are inside a line.
const MOST_OF_LINE: usize = 24;

/// The ranges around a byte, smallest first, each larger than the one before.
#[must_use]
pub fn selection(model: &Model, file: FileId, byte: usize) -> Vec<Range<usize>> {
    if let Some(view) = View::of(model, file) {
        return session::selection(&view, byte);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::selection(&view, byte);
    }
    let Some(file) = model.program().file(file) else { return Vec::new() };
    let source = file.source();
    let mut ranges: Vec<Range<usize>> = Vec::new();
    if let Some((node, start)) = Trees::new(source).node_at(byte) {
        let mut next = Some(node);
        while let Some(node) = next.filter(|_| ranges.len() < MOST_OF_LINE) {
            // The root is the chunk, which means nothing to a person.
            let range = start + node.start_byte()..start + node.end_byte();
            next = node.parent();
            if next.is_some() && !range.is_empty() && ranges.last() != Some(&range) {
                ranges.push(range);
            }
        }
    }
    let line = source.line_of(byte);
    let around = blocks(source).into_iter().rev().filter(|it| it.lines.contains(&line));
    for lines in around.map(|it| it.lines) {
        let range = source.line_start(lines.start)..source.line_start(lines.end);
        let is_larger =
            ranges.last().is_none_or(|last| range.start <= last.start && last.end <= range.end && range != *last);
        if is_larger && ranges.len() + 1 < MOST {
            ranges.push(range);
        }
    }
    let whole = 0..source.len();
    if ranges.last() != Some(&whole) {
        ranges.push(whole);
    }
    ranges
}
