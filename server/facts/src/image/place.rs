//! Findings about an image, and their places.

use reveille_decoders::Severity;

use crate::catalog::{CatalogEntry, catalog_entry};
use crate::finding::Evidence;

/// A place of an image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImagePlace {
    /// The byte of the file, from 0.
    pub offset: u64,
    /// The sector of the volume that it belongs to, from 0.
    pub sector: u64,
    /// The cluster that it lies in, or that it is about.
    pub cluster: Option<u32>,
    /// The file or directory that it is about.
    pub path: Option<String>,
}

/// Another place that has to do with a finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Related {
    /// One of the image.
    Image(ImagePlace),
    /// One of the source.
    Source(Evidence),
}

/// Something in an image that does not fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImageFinding {
    /// The code of its kind.
    pub code: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// Where it is.
    pub at: ImagePlace,
    /// What was found, what was expected, what to do.
    pub message: String,
    /// Other places that have to do with it.
    pub related: Vec<(Related, String)>,
}

impl ImageFinding {
    /// A finding of a kind.
    ///
    /// # Panics
    /// If the catalog has no such code: every code in this program is in it, which a test makes sure of.
    #[must_use]
    pub(super) fn new(code: &str, at: ImagePlace, message: String) -> Self {
        let entry: &'static CatalogEntry =
            catalog_entry(code).unwrap_or_else(|| panic!("`{code}` is not in the catalog"));
        Self { code: &entry.code, severity: entry.severity, at, message, related: Vec::new() }
    }

    pub(super) fn related(mut self, at: Related, message: impl Into<String>) -> Self {
        self.related.push((at, message.into()));
        self
    }
}
