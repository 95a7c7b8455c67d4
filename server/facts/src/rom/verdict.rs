//! What a comparison comes to.

use super::{CauseKind, Change, Comparison, Counts, SourceImage};

/// What a comparison comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The dump is what the source lays down, and fill.
    Equal,
    /// All that the source lays down is there, and something else.
    More,
    /// Equal, but in another order than was asked for.
    OtherOrder,
    /// Nothing differs, but not all values or addresses of the source are known.
    NotAllKnown,
    /// Nothing differs, but the dump does not have all of it.
    NotAllDumped,
    /// Only addresses differ: the same program for another origin.
    Addresses,
    /// Only a checksum differs.
    Checksum,
    /// Something differs.
    Different,
    /// Hardly anything agrees.
    Unrelated,
}

impl Verdict {
    /// Its name in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Equal => "equal",
            Self::More => "equal-and-more",
            Self::OtherOrder => "equal-in-another-order",
            Self::NotAllKnown => "equal-as-far-as-known",
            Self::NotAllDumped => "equal-as-far-as-dumped",
            Self::Addresses => "addresses-differ",
            Self::Checksum => "checksum-differs",
            Self::Different => "different",
            Self::Unrelated => "unrelated",
        }
    }

    /// Only this one proves that the source is the dump's.
    #[must_use]
    pub fn is_equal(self) -> bool {
        self == Self::Equal
    }
}

impl Comparison {
    /// What it comes to.
    #[must_use]
    pub fn verdict(&self, source: &SourceImage) -> Verdict {
        let Counts { equal, differ, unknown, uncovered, content, .. } = self.counts;
        let has = |is: fn(&CauseKind) -> bool| self.causes.iter().any(|it| is(&it.kind));
        if differ > 0 || !self.edits.is_empty() {
            return if has(|it| matches!(it, CauseKind::Checksum { .. })) {
                Verdict::Checksum
            } else if has(|it| matches!(it, CauseKind::Unrelated { .. })) {
                Verdict::Unrelated
            } else if self.edits.is_empty() && self.differences.iter().all(|it| it.change == Change::Moved) {
                Verdict::Addresses
            } else {
                Verdict::Different
            };
        }
        if equal == 0 {
            Verdict::Unrelated
        } else if uncovered > 0 {
            Verdict::NotAllDumped
        } else if unknown > 0 || source.unplaced().is_some() {
            Verdict::NotAllKnown
        } else if has(|it| matches!(it, CauseKind::Order { .. })) {
            Verdict::OtherOrder
        } else if content > 0 {
            Verdict::More
        } else {
            Verdict::Equal
        }
    }
}
