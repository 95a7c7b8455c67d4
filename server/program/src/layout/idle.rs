//! Lines that the walk meets and does not read.

use std::ops::Range;

/// The lines of a chunk that are not read.
#[derive(Clone, Debug, Default)]
pub(crate) struct Idle {
    /// Not read, for whatever reason: a condition, a macro's body, END.
    pub(crate) idle: Vec<Range<u16>>,
    /// Not read, and in no macro's body that is: a condition is off, or END stands above.
    pub(crate) off: Vec<Range<u16>>,
}

impl Idle {
    /// Nothing of the chunk is read.
    pub(super) fn whole() -> Self {
        let all = || Watch::new(true).end();
        Self { idle: all(), off: all() }
    }

    /// What is read in one of two visits is read: a file that is included again is often empty then.
    pub(super) fn meet(&mut self, other: &Self) {
        self.idle = common(&self.idle, &other.idle);
        self.off = common(&self.off, &other.off);
    }
}

/// What two lists of ranges have in common; both are in order.
fn common(one: &[Range<u16>], two: &[Range<u16>]) -> Vec<Range<u16>> {
    let (mut first, mut second) = (0, 0);
    let mut found = Vec::new();
    while let (Some(a), Some(b)) = (one.get(first), two.get(second)) {
        let both = a.start.max(b.start)..a.end.min(b.end);
        if !both.is_empty() {
            found.push(both);
        }
        if a.end <= b.end { first += 1 } else { second += 1 }
    }
    found
}

/// Gathers the lines during which something holds.
pub(super) struct Watch {
    since: Option<u16>,
    found: Vec<Range<u16>>,
}

impl Watch {
    pub(super) fn new(holds: bool) -> Self {
        Self { since: holds.then_some(0), found: Vec::new() }
    }

    /// Whether it holds behind a line. The line that ends it is no part of it.
    pub(super) fn note(&mut self, line: u16, holds: bool) {
        match (self.since, holds) {
            (None, true) => self.since = Some(line + 1),
            (Some(since), false) => {
                self.found.push(since..line);
                self.since = None;
            }
            _ => (),
        }
    }

    /// The lines, up to the chunk's end.
    pub(super) fn end(mut self) -> Vec<Range<u16>> {
        self.found.extend(self.since.map(|since| since..u16::MAX));
        self.found
    }
}

#[cfg(test)]
mod tests {
    use super::common;

    #[test]
    fn only_what_is_in_both_lists_is_common() {
        assert_eq!(common(&[0..4, 6..9], &[2..7, 8..20]), [2..4, 6..7, 8..9]);
        assert_eq!(common(&[0..4, 5..6], &[]), []);
    }
}
