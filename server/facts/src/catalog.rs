//! All findings that there are: codes, severities, pages.

use std::sync::LazyLock;

use reveille_decoders::{Severity, families};
use serde::Deserialize;

/// A kind of finding.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CatalogEntry {
    /// Its code: a family and three digits, never used for another.
    pub code: String,
    /// How bad it is.
    pub severity: Severity,
    /// What it says, in one line without values.
    pub title: String,
    /// Why it matters on the machine.
    pub why: String,
    /// The published source.
    pub source: String,
}

impl CatalogEntry {
    /// Its page, as Markdown.
    #[must_use]
    pub fn page(&self) -> String {
        let Self { code, severity, title, why, source } = self;
        format!("# {code}: {title}\n\nSeverity: {}\n\n{why}\n\nSource: {source}\n", severity.name())
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entries {
    finding: Vec<CatalogEntry>,
}

static CATALOG: LazyLock<Vec<CatalogEntry>> = LazyLock::new(|| {
    // The file is part of the program; the test below reads it.
    let own: Entries =
        toml::from_str(include_str!("../findings/findings.toml")).unwrap_or_else(|error| panic!("{error}"));
    let rules = families().iter().flat_map(|family| &family.rules).map(|rule| CatalogEntry {
        code: rule.code.clone(),
        severity: rule.severity,
        title: rule.title.clone(),
        why: rule.why.clone(),
        source: rule.source.clone(),
    });
    let mut all: Vec<_> = own.finding.into_iter().chain(rules).collect();
    all.sort_by(|a, b| a.code.cmp(&b.code));
    all
});

/// All kinds of findings, by code.
#[must_use]
pub fn catalog() -> &'static [CatalogEntry] {
    &CATALOG
}

/// The kind of finding of a code.
#[must_use]
pub fn catalog_entry(code: &str) -> Option<&'static CatalogEntry> {
    CATALOG.binary_search_by(|it| it.code.as_str().cmp(code)).ok().map(|at| &CATALOG[at])
}

#[cfg(test)]
mod tests {
    use super::catalog;

    #[test]
    fn codes_are_a_family_and_three_digits_and_stand_once() {
        for pair in catalog().windows(2) {
            assert!(pair[0].code < pair[1].code, "{}", pair[1].code);
        }
        for entry in catalog() {
            let (family, number) = entry.code.split_once('-').unwrap();
            assert!(
                family.bytes().all(|it| it.is_ascii_lowercase()) && number.len() == 3 && number.parse::<u16>().is_ok()
            );
            assert!(!entry.title.ends_with('.') && entry.why.ends_with('.'), "{}", entry.code);
        }
    }
}
