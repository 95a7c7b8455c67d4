//! What is wrong with the form of a line.

use super::reader::{BLANK, is, quoted, skip, trimmed};
use super::{
    BLANK_AFTER_COMMA, BROKEN, Line, LineKind, OPEN_COMMENT, Problem, ProblemKind, Span, UNBALANCED, UNTERMINATED,
};
use crate::Dialect;

/// What is wrong with the form of a line that [`Line::has_problem`].
pub(crate) fn problems(text: &str, line: &Line, dialect: Dialect) -> Vec<Problem> {
    let mut found = Vec::new();
    let mut problem = |kind, start: usize, end: usize| found.push(Problem { kind, span: Span::new(start, end) });
    if line.kind == LineKind::TooLong {
        problem(ProblemKind::TooLong, 0, 1);
        return found;
    }
    let b = &text.as_bytes()[..trimmed(text.as_bytes())];
    let field = line.operands.range();
    if line.flags & UNTERMINATED != 0 {
        let mut at = field.start;
        while at < b.len() {
            if matches!(b[at], b'\'' | b'"') {
                let (after, closed) = quoted(b, at, dialect);
                if !closed {
                    problem(ProblemKind::UnterminatedString, at, b.len());
                }
                at = after;
            } else {
                at += 1;
            }
        }
    }
    if line.flags & BROKEN != 0 {
        let start = [line.operands.end, line.size_span().end, line.operation.end, line.label.end]
            .into_iter()
            .find(|end| *end != 0)
            .map_or_else(|| skip(b, 0, BLANK), usize::from);
        problem(ProblemKind::Broken, start.min(b.len().saturating_sub(1)), b.len());
    }
    if line.flags & BLANK_AFTER_COMMA != 0 {
        let mut at = field.start;
        while at < field.end {
            match b[at] {
                b'\'' | b'"' => at = quoted(b, at, dialect).0,
                b',' if b.get(at + 1).is_some_and(|next| is(*next, BLANK)) => {
                    let end = skip(b, at + 1, BLANK);
                    problem(ProblemKind::BlankAfterComma, at + 1, end);
                    at = end;
                }
                _ => at += 1,
            }
        }
    }
    if line.flags & UNBALANCED != 0 {
        let open = b[field.clone()].iter().rposition(|byte| matches!(byte, b'(' | b'[')).unwrap_or(0);
        problem(ProblemKind::UnclosedBracket, field.start + open, field.start + open + 1);
    }
    if line.flags & OPEN_COMMENT != 0 {
        problem(ProblemKind::UnclosedComment, line.comment.start.into(), usize::from(line.comment.start) + 2);
    }
    found
}
