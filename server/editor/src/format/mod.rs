//! The layout of lines in columns. Only blanks between the fields of a line are moved: every edit puts blanks where blanks
//! stood, or between two fields that touch.
//!
//! A line is left as it is where blanks may mean something, or where it does not read the same afterwards.

mod fields;
mod style;

use std::ops::Range;

use crate::session;
use reveille_source::{Dialect, File, Line, LineKind, read_line};

use fields::Fields;
pub use style::{Field, FormatOptions, Style};

/// Bytes of a file, and what stands there afterwards.
pub type Edit = (Range<usize>, String);

const MARK: char = '\u{feff}';

/// An old end mark of files: what follows the line with it belongs to no source.
const END_MARK: char = '\u{1a}';

/// The edits that lay out the lines of a range, in the order of the file; none overlap.
#[must_use]
pub fn format(file: &File, style: &Style, lines: Range<usize>) -> Vec<Edit> {
    let mut edits = Vec::new();
    if !style.is_settled {
        return edits;
    }
    let (Some((first, _)), Some(last)) = (file.chunk_of_line(lines.start), last_line(file, &lines)) else {
        return edits;
    };
    let Some((to, _)) = file.chunk_of_line(last) else { return edits };
    rows(file, first..to + 1, |row| {
        if lines.contains(&row.number) {
            edits.extend(laid_out(row, file.dialect(), style).into_iter().map(|(range, text)| {
                let start = row.start;
                (start + range.start..start + range.end, text)
            }));
        }
    });
    edits
}

fn last_line(file: &File, lines: &Range<usize>) -> Option<usize> {
    lines.end.min(file.line_count()).checked_sub(1).filter(|last| *last >= lines.start)
}

/// The edits that lay out a line that was just typed, in the style of the lines around it. Costs some hundred lines, not the file.
#[must_use]
pub fn format_typed(file: &File, line: usize, options: &FormatOptions) -> Vec<Edit> {
    format(file, &Style::near(file, line, options), line..line + 1)
}

/// The edits that lay out a script of a monitor session, in the order of the text; none overlap.
#[must_use]
pub fn format_session(text: &str) -> Vec<Edit> {
    session::format(text)
}

/// A text after edits in their order.
#[must_use]
pub fn edited(text: &str, edits: &[Edit]) -> String {
    let mut result = String::with_capacity(text.len() + edits.len());
    let mut done = 0;
    for (range, new) in edits {
        result.push_str(&text[done..range.start]);
        result.push_str(new);
        done = range.end;
    }
    result.push_str(&text[done..]);
    result
}

/// Whether most lines read as source. Those of a listing do not, though it is text: numbers stand before its lines.
#[must_use]
pub fn reads_as_source(file: &File) -> bool {
    let (mut statements, mut others) = (0_usize, 0_usize);
    for chunk in file.chunks() {
        for line in chunk.lines().iter().filter(|line| line.kind == LineKind::Statement) {
            statements += 1;
            others += usize::from(line.is_broken() || has_address_and_bytes(chunk.line_text(line)));
        }
    }
    2 * others <= statements
}

fn has_address_and_bytes(text: &str) -> bool {
    let mut words = text.split_ascii_whitespace();
    let mut is_hex = |least: usize| {
        let word = words.next().unwrap_or("").trim_end_matches(':');
        word.len() >= least && word.len().is_multiple_of(2) && word.bytes().all(|it| it.is_ascii_hexdigit())
    };
    is_hex(4) && is_hex(2)
}

/// A line that may be laid out.
struct Row<'a> {
    number: usize,
    /// Its first byte in the file, behind a byte order mark.
    start: usize,
    text: &'a str,
    line: Line,
    /// Whether it stands between CR and LF, which without it would be one line end.
    parts_line_end: bool,
}

/// Gives each line of some chunks that stands for itself: none inside a comment of several lines, none that a preprocessor's
/// line goes on in, none behind an end mark.
fn rows<'a>(file: &'a File, chunks: Range<usize>, mut each: impl FnMut(&Row<'a>)) {
    let chunks = chunks.start..chunks.end.min(file.chunks().len());
    // The columns of a listing are not ours to move.
    if file.margin().is_there() {
        return;
    }
    if file.chunks()[..chunks.start].iter().any(|chunk| chunk.text().contains(END_MARK)) {
        return;
    }
    let mut goes_on = goes_on_before(file, chunks.start);
    for at in chunks {
        let chunk = &file.chunks()[at];
        // A chunk never starts inside a comment.
        let mut in_comment = false;
        for (place, line) in chunk.lines().iter().enumerate() {
            let text = chunk.line_text(line);
            let opens = !in_comment && opens_comment(file.dialect(), line, text);
            let is_part = goes_on || in_comment || opens;
            in_comment = opens || (in_comment && !text.contains("*/"));
            goes_on = text.ends_with('\\') && (goes_on || line.kind == LineKind::Preprocessor);
            let before = match line.start {
                0 => at.checked_sub(1).and_then(|at| file.chunks()[at].text().as_bytes().last()),
                start => chunk.text().as_bytes().get(start as usize - 1),
            };
            let after = chunk.text().as_bytes().get(line.start as usize + text.len());
            let parts_line_end = (before, after) == (Some(&b'\r'), Some(&b'\n'));
            let number = file.first_line(at) + place;
            let start = file.first_byte(at) + line.start as usize;
            if text.starts_with(MARK) {
                // Column one of the file's first line comes behind the mark; elsewhere it is a character of a name.
                let rest = &text[MARK.len_utf8()..];
                if start == 0 && !is_part && !rest.starts_with(MARK) {
                    let line = read_line(rest, file.dialect());
                    each(&Row { number, start: MARK.len_utf8(), text: rest, line, parts_line_end });
                }
            } else if !is_part {
                each(&Row { number, start, text, line: *line, parts_line_end });
            }
            if text.contains(END_MARK) {
                return;
            }
        }
    }
}

/// Whether a preprocessor's line that starts in an earlier chunk goes on in this one.
fn goes_on_before(file: &File, chunk: usize) -> bool {
    if chunk >= file.chunks().len() {
        return false;
    }
    let earlier = (0..file.first_line(chunk)).rev().map_while(|number| file.line(number));
    let mut part_of = earlier.take_while(|(_, text)| text.ends_with('\\'));
    part_of.any(|(line, _)| line.kind == LineKind::Preprocessor)
}

/// Whether a comment of several lines starts in the line.
fn opens_comment(dialect: Dialect, line: &Line, text: &str) -> bool {
    let inside = line.comment.of(text).strip_prefix("/*");
    (dialect.is_unix() || line.kind == LineKind::Comment) && inside.is_some_and(|inside| !inside.contains("*/"))
}

/// The edits of one line, as bytes of it; none if it is left as it is.
fn laid_out(row: &Row<'_>, dialect: Dialect, style: &Style) -> Vec<Edit> {
    if row.parts_line_end && row.line.kind == LineKind::Blank {
        return Vec::new();
    }
    let Some(fields) = Fields::of(row.text, &row.line, dialect) else { return Vec::new() };
    let edits = fields.edits(row.text, style);
    if !edits.is_empty() && !reads_the_same(row, &edited(row.text, &edits), dialect) {
        return Vec::new();
    }
    edits
}

/// Whether a line says after the edits what it said before.
fn reads_the_same(row: &Row<'_>, new: &str, dialect: Dialect) -> bool {
    fn parts<'a>(text: &'a str, line: &Line, dialect: Dialect) -> impl PartialEq + use<'a> {
        let mut operands = Vec::new();
        reveille_source::operands(text, line, dialect, |range| operands.push(text.get(range)));
        let [label, operation, size, comment] =
            [line.label, line.operation, line.size_span(), line.comment].map(|span| span.of(text));
        // What stands in column one stays there, and nothing else comes there.
        let starts = [line.label, line.operation, line.comment].map(|span| !span.is_empty() && span.start == 0);
        let form = (line.kind, line.op, line.is_dotted(), line.is_bare_label(), line.has_problem());
        (form, starts, label, operation, size, operands, comment)
    }
    parts(row.text, &row.line, dialect) == parts(new, &read_line(new, dialect), dialect)
}
