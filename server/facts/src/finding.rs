//! A finding: what does not fit, where, and how to mend it.

use reveille_decoders::Severity;
use reveille_program::Place;
use reveille_source::Span;

use crate::catalog::{CatalogEntry, catalog_entry};

/// A part of a line that something was read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Evidence {
    /// The line.
    pub place: Place,
    /// The part of it.
    pub span: Span,
}

/// A change of a part of a line.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Edit {
    /// The line.
    pub place: Place,
    /// The part of it.
    pub span: Span,
    /// What is to stand there.
    pub text: String,
}

/// A change that mends a finding.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Fix {
    /// What it does.
    pub title: String,
    /// The changes, none of which overlap.
    pub edits: Vec<Edit>,
}

/// Something that does not fit.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Finding {
    /// The code of its kind.
    pub code: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// Where it is.
    pub at: Evidence,
    /// What was expected, what was found, what to do.
    pub message: String,
    /// Other places that have to do with it.
    pub related: Vec<(Evidence, String)>,
    /// Changes that mend it; the first is the one to prefer.
    pub fixes: Vec<Fix>,
}

impl Finding {
    /// A finding of a kind.
    ///
    /// # Panics
    /// If the catalog has no such code: every code in this program is in it, which a test makes sure of.
    #[must_use]
    pub(crate) fn new(code: &str, at: Evidence, message: String) -> Self {
        let entry: &'static CatalogEntry =
            catalog_entry(code).unwrap_or_else(|| panic!("`{code}` is not in the catalog"));
        Self { code: &entry.code, severity: entry.severity, at, message, related: Vec::new(), fixes: Vec::new() }
    }

    pub(crate) fn related(mut self, at: Evidence, message: impl Into<String>) -> Self {
        self.related.push((at, message.into()));
        self
    }

    pub(crate) fn fix(mut self, fix: Option<Fix>) -> Self {
        self.fixes.extend(fix);
        self
    }
}
