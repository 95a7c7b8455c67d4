//! Characters that a scan or a word processor has put in the place of those of the source.

use reveille_program::Place;
use reveille_source::{Line, Span};

use crate::finding::{Edit, Evidence, Finding, Fix};

/// A character, what is meant by it, and what it is called.
const CHARACTERS: &[(char, &str, &str)] = &[
    ('\u{2018}', "'", "a curly quote"),
    ('\u{2019}', "'", "a curly quote"),
    ('\u{201a}', "'", "a low quote"),
    ('\u{201b}', "'", "a curly quote"),
    ('\u{2032}', "'", "a prime"),
    ('\u{b4}', "'", "an accent"),
    ('\u{201c}', "\"", "a curly double quote"),
    ('\u{201d}', "\"", "a curly double quote"),
    ('\u{201e}', "\"", "a low double quote"),
    ('\u{2033}', "\"", "a double prime"),
    ('\u{ab}', "\"", "an angle quote"),
    ('\u{bb}', "\"", "an angle quote"),
    ('\u{2010}', "-", "a hyphen that is no minus"),
    ('\u{2011}', "-", "a hyphen that is no minus"),
    ('\u{2012}', "-", "a dash"),
    ('\u{2013}', "-", "a dash"),
    ('\u{2014}', "-", "a dash"),
    ('\u{2212}', "-", "a minus sign of mathematics"),
    ('\u{ad}', "", "a soft hyphen"),
    ('\u{200b}', "", "a blank of no width"),
    ('\u{feff}', "", "a byte order mark"),
    ('\u{a0}', " ", "a blank that does not break"),
    ('\u{2002}', " ", "a wide blank"),
    ('\u{2003}', " ", "a wide blank"),
    ('\u{2009}', " ", "a narrow blank"),
    ('\u{202f}', " ", "a blank that does not break"),
    ('\u{2215}', "/", "a slash of mathematics"),
    ('\u{2044}', "/", "a slash of fractions"),
    ('\u{d7}', "*", "a multiplication sign"),
    ('\u{2217}', "*", "a star of mathematics"),
    ('\u{fb01}', "fi", "two letters in one"),
    ('\u{fb02}', "fl", "two letters in one"),
    ('\u{2026}', "...", "three dots in one"),
];

/// The finding about a line whose label, operation or operands hold such characters; the fix puts what is meant in the place of all of them.
pub(crate) fn finding(place: Place, line: &Line, text: &str) -> Option<Finding> {
    if text.is_ascii() {
        return None;
    }
    // A comment may say what it likes. One that begins where such a character is begins too early.
    let end = if line.comment.is_empty() { text.len() } else { usize::from(line.comment.start) };
    let starts_file = |at: usize, it: char| it == '\u{feff}' && at == 0;
    let known = |it: char| CHARACTERS.iter().find(|row| row.0 == it);
    let found = text.char_indices().filter(|(at, it)| *at < end && !starts_file(*at, *it));
    let found: Vec<_> = found.filter_map(|(at, it)| Some((at, it, known(it)?))).collect();
    let (at, first, (_, meant, name)) = *found.first()?;
    let span = |at: usize, it: char| Span { start: at as u16, end: (at + it.len_utf8()) as u16 };
    let instead = match *meant {
        "" => "nothing is meant by it".to_owned(),
        " " => "a blank is meant".to_owned(),
        meant => format!("`{meant}` is meant"),
    };
    let message =
        format!("{name} (U+{:04X}) stands here, as scans and word processors put it in; {instead}", u32::from(first));
    let edits = found.iter().map(|(at, it, row)| Edit { place, span: span(*at, *it), text: row.1.to_owned() });
    let title = if found.len() == 1 {
        "Write what is meant".to_owned()
    } else {
        format!("Write what is meant, {} times", found.len())
    };
    let fix = Fix { title, edits: edits.collect() };
    Some(Finding::new("source-010", Evidence { place, span: span(at, first) }, message).fix(Some(fix)))
}
