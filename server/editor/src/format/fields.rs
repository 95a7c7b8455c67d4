//! The fields of one line, and the blanks between them.

use std::ops::Range;

use reveille_source::{Dialect, Line, LineKind, OpId};

use super::Edit;
use super::style::{Field, Style};

/// What a field is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Label,
    Operation,
    Operands,
    Comment,
}

impl Kind {
    /// The number of its column in a style.
    fn column(self) -> Option<usize> {
        match self {
            Self::Label => None,
            Self::Operation => Some(0),
            Self::Operands => Some(1),
            Self::Comment => Some(2),
        }
    }
}

/// The fields of a line that may be laid out.
#[derive(Debug)]
pub(super) struct Fields {
    /// Those that are there, in their order.
    found: Vec<(Kind, Range<usize>)>,
    /// Whether the operation is a sign: people write `NAME = 5` in columns, or with a blank, or with none.
    pub(super) is_sign: bool,
    /// Whether the operation stands in column one.
    starts_with_operation: bool,
}

/// A field of a line, and what stands before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Place {
    /// The column at which what is before it ends.
    pub(super) from: usize,
    /// The column at which it starts.
    pub(super) to: usize,
    /// Whether there is a tab before it.
    pub(super) has_tab: bool,
}

impl Fields {
    /// The fields of a line; none if blanks of it may mean something.
    pub(super) fn of(text: &str, line: &Line, dialect: Dialect) -> Option<Self> {
        if matches!(line.kind, LineKind::Preprocessor | LineKind::TooLong) || line.is_broken() {
            return None;
        }
        let mut found = Vec::with_capacity(4);
        let mut push = |kind, range: Range<usize>| {
            if !range.is_empty() {
                found.push((kind, range));
            }
        };
        push(Kind::Label, line.label.range().start..label_end(text, line));
        push(Kind::Operation, line.operation.range().start..line.size_span().range().end);
        push(Kind::Operands, line.operands.range());
        push(Kind::Comment, line.comment.range());
        // A parameter may be anything: an operation without operands, or text that goes on behind the field.
        let comment = line.comment.of(text);
        let is_marked = dialect.is_unix() || comment.starts_with([';', '*', '|']) || comment.starts_with("//");
        if line.operation.of(text).contains('\\') || (comment.contains('\\') && !is_marked) {
            return None;
        }
        let starts_with_operation = found.first().is_some_and(|it| it.0 == Kind::Operation && it.1.start == 0);
        let fields = Self { found, is_sign: line.op == OpId::ASSIGNMENT, starts_with_operation };
        // Form feeds and end marks are blanks, too, but not ours.
        let is_plain =
            |gap: Range<usize>| text.get(gap).is_some_and(|it| it.bytes().all(|it| matches!(it, b' ' | b'\t')));
        (fields.gaps().all(|(_, gap)| is_plain(gap)) && is_plain(fields.end()..text.len())).then_some(fields)
    }

    /// Whether the line is nothing but a comment.
    fn is_comment(&self) -> bool {
        matches!(self.found[..], [(Kind::Comment, _)])
    }

    fn end(&self) -> usize {
        self.found.last().map_or(0, |it| it.1.end)
    }

    /// Each field's kind, and the blanks before it.
    fn gaps(&self) -> impl Iterator<Item = (Kind, Range<usize>)> {
        let ends = std::iter::once(0).chain(self.found.iter().map(|it| it.1.end));
        self.found.iter().zip(ends).map(|((kind, range), end)| (*kind, end..range.start))
    }

    /// Where a field stands if its column is the file's style, once the fields before it are laid out in `decided`.
    pub(super) fn place(&self, wanted: Kind, text: &str, decided: &[Field], tab_width: usize) -> Option<Place> {
        let (mut old, mut new, mut done) = (0, 0, 0);
        for (kind, gap) in self.gaps() {
            let (before, blanks) = (&text[done..gap.start], &text[gap.clone()]);
            done = gap.end;
            let (old_end, from) = (advance(old, before, tab_width), advance(new, before, tab_width));
            old = advance(old_end, blanks, tab_width);
            let is_free =
                kind == Kind::Label || self.is_comment() || (self.starts_with_operation && kind != Kind::Comment);
            new = match kind.column().and_then(|at| decided.get(at)).filter(|_| !is_free) {
                Some(_) if kind == Kind::Operands && gap.is_empty() => from,
                Some(field) => advance(from, &field.blanks(from, tab_width), tab_width),
                // One blank or tab goes with what is before it; more of them were meant for a column.
                None if from != old_end && blanks.len() > 1 => old.max(from + 1),
                None => advance(from, blanks, tab_width),
            };
            if kind == wanted {
                return (!is_free).then(|| Place { from, to: new, has_tab: blanks.contains('\t') });
            }
        }
        None
    }

    /// The edits that lay the line out.
    pub(super) fn edits(&self, text: &str, style: &Style) -> Vec<Edit> {
        let mut edits = Vec::new();
        let (mut column, mut done) = (0, 0);
        for (kind, gap) in self.gaps() {
            column = advance(column, &text[done..gap.start], style.tab_width);
            done = gap.end;
            let old = &text[gap.clone()];
            // The arguments of a call as in C touch it.
            let touches = kind == Kind::Operands && gap.is_empty();
            let new = if touches { None } else { self.blanks(kind, column, old, style) };
            column = advance(column, new.as_deref().unwrap_or(old), style.tab_width);
            edits.extend(new.filter(|new| new != old).map(|new| (gap, new)));
        }
        let end = self.end();
        // A backslash at the end of a line would make the next one part of it, where a preprocessor reads the file first.
        if end < text.len() && !text[..end].ends_with('\\') {
            edits.push((end..text.len(), String::new()));
        }
        edits
    }

    /// The blanks before a field that comes after `column`; none if they stay.
    fn blanks(&self, kind: Kind, column: usize, old: &str, style: &Style) -> Option<String> {
        let stays = match kind {
            Kind::Label => true,
            // In both styles what stands in column one may stand there alone.
            Kind::Operation | Kind::Operands => self.starts_with_operation || (self.is_sign && !style.signs),
            Kind::Comment => false,
        };
        if stays {
            return None;
        }
        if self.is_comment() {
            let at = advance(0, old, style.tab_width);
            return style.of_comment(at).map(|it| it.blanks(0, style.tab_width));
        }
        let field = match kind {
            // Never in column one, whatever the style says.
            Kind::Operation => Field { column: style.operation.column.max(1), ..style.operation },
            Kind::Operands | Kind::Label => style.operands,
            Kind::Comment => style.comment,
        };
        Some(field.blanks(column, style.tab_width))
    }
}

/// The end of the label with its colons.
fn label_end(text: &str, line: &Line) -> usize {
    let end = usize::from(line.label.end);
    let rest = &text.as_bytes()[end..];
    match rest {
        _ if line.label.is_empty() => end,
        [b':', b'=', ..] => end,
        [b':', b':', ..] => end + 2,
        [b':', ..] => end + 1,
        _ => end,
    }
}

/// The column after a text that starts at a column.
pub(super) fn advance(column: usize, text: &str, tab_width: usize) -> usize {
    text.chars().fold(column, |column, it| if it == '\t' { tab_stop(column, tab_width) } else { column + 1 })
}

/// The next tab stop behind a column.
pub(super) fn tab_stop(column: usize, tab_width: usize) -> usize {
    (column / tab_width + 1) * tab_width
}
