//! Ever larger selections around a place, from the tree: part of an operand, operand, operand list, line.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::FileId;
use reveille_source::Trees;

/// How many ranges there are at most. Each is nested in the next where it is sent, and few readers of JSON go deeper than 128.
const MOST: usize = 40;

/// The ranges around a byte, smallest first, each larger than the one before.
#[must_use]
pub fn selection(model: &Model, file: FileId, byte: usize) -> Vec<Range<usize>> {
    let Some(file) = model.program().file(file) else { return Vec::new() };
    let mut ranges: Vec<Range<usize>> = Vec::new();
    if let Some((node, start)) = Trees::new(file.source()).node_at(byte) {
        let mut next = Some(node);
        while let Some(node) = next.filter(|_| ranges.len() < MOST) {
            // The root is the chunk, which means nothing to a person.
            let range = start + node.start_byte()..start + node.end_byte();
            next = node.parent();
            if next.is_some() && !range.is_empty() && ranges.last() != Some(&range) {
                ranges.push(range);
            }
        }
    }
    let whole = 0..file.source().len();
    if ranges.last() != Some(&whole) {
        ranges.push(whole);
    }
    ranges
}
