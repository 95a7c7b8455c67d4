//! Lines of data: runs of them, their first bytes, and what is wrong with their values.

use reveille_source::{Line, Meaning, Span, TokenKind, tokens};

use super::items::{Subjects, fits, has_mark, is_float_size, is_text, item_bytes, subjects};
use super::{Builder, HEAD, Run};
use crate::expression::{Alone, ExpressionProblem, evaluate};
use crate::unit::ProblemKind;

/// How many operands a count of equal items stands for.
const MANY: u16 = 8;

impl Builder<'_> {
    pub(super) fn data(
        &mut self,
        at: u16,
        line: &Line,
        text: &str,
        directive: &reveille_source::Directive,
        own: Option<usize>,
    ) {
        let comment = line.comment.of(text);
        let (waiting, waiting_words) =
            self.waiting.take().map_or((None, Subjects::default()), |(id, words)| (Some(id), words));
        let marks = self.comment_marks || has_mark(comment);
        if own.is_some() || !self.open || marks {
            let label = own.or(waiting);
            self.starts_open |= self.runs.is_empty() && label.is_none() && !marks && !self.was_closed;
            self.runs.push(Run {
                first: at,
                end: at,
                label: None,
                head: [0; HEAD],
                head_len: 0,
                is_symbolic: false,
                has_text: false,
                subjects: waiting_words
                    | self.comment_subjects
                    | label.map_or_else(Subjects::default, |id| subjects(self.texts[id])),
                is_longs: true,
                operands: 0,
                addresses: 0,
                is_at_origin: self.is_at_origin,
                is_marked: marks,
            });
            self.run_labels.push(label);
            self.open = true;
        }
        self.comment_subjects = Subjects::default();
        self.comment_marks = false;
        let chunk = self.chunk;
        let dialect = self.dialect;
        let Some(run) = self.runs.last_mut() else { return };
        run.end = at + 1;
        run.subjects |= subjects(comment);
        let item = item_bytes(directive, line.size).unwrap_or(0);
        run.is_longs &= run.operands > 0
            || match directive.meaning {
                Meaning::Constants | Meaning::ConstantsOf(_) | Meaning::Block => item == 4 && !is_float_size(line.size),
                // The size stands among the operands.
                Meaning::Fill => true,
                _ => false,
            };
        let is_of_numbers =
            matches!(directive.meaning, Meaning::Constants | Meaning::ConstantsOf(_)) && !is_float_size(line.size);
        if !is_of_numbers || item == 0 || item > 4 {
            // A count of equal items counts as many.
            run.operands = run.operands.saturating_add(MANY);
            run.is_symbolic |= usize::from(run.head_len) < HEAD;
            run.has_text |= matches!(directive.meaning, Meaning::Strings(_));
            return;
        }
        let mut needs_names = false;
        for range in chunk.operands(line) {
            run.operands = run.operands.saturating_add(1);
            if range.is_empty() {
                let span = Span { start: line.operation.start, end: line.size_span().end };
                self.problems.push((at, span, ProblemKind::Incomplete));
            } else if is_text(&text[range.clone()], dialect) {
                run.is_symbolic |= usize::from(run.head_len) < HEAD;
                run.has_text = true;
                continue;
            }
            let mut literal = Alone::default();
            let value = evaluate(text, range.clone(), dialect, &mut literal).number().filter(|_| !literal.needs_more);
            needs_names |= literal.needs_more;
            if literal.needs_more && may_be_address(&text[range.clone()], item) {
                run.addresses = run.addresses.saturating_add(1);
            }
            if let Some((problem, range)) = literal.problem.filter(|_| !range.is_empty()) {
                let span = Span { start: range.start as u16, end: range.end as u16 };
                self.problems.push((at, span, ProblemKind::Expression(problem)));
            }
            let Some(value) = value else {
                run.is_symbolic |= usize::from(run.head_len) < HEAD;
                continue;
            };
            if !fits(value, item) {
                let span = Span { start: range.start as u16, end: range.end as u16 };
                self.problems.push((at, span, ProblemKind::DoesNotFit { value, bytes: item }));
            }
            if run.is_symbolic {
                continue;
            }
            for byte in &value.to_be_bytes()[8 - item as usize..] {
                let len = usize::from(run.head_len);
                if len < HEAD {
                    run.head[len] = *byte;
                    run.head_len += 1;
                }
            }
        }
        if needs_names {
            self.symbolic.push(at);
        }
    }

    /// Numbers in the operands of a directive that are too long for 32 bits.
    pub(super) fn long_numbers(&mut self, at: u16, line: &Line, text: &str) {
        let field = line.operands.range();
        if field.len() <= 8 {
            return;
        }
        tokens(&text[field.clone()], self.dialect, |kind, range| {
            let range = field.start + range.start..field.start + range.end;
            if kind != TokenKind::Number || range.len() <= 8 {
                return;
            }
            let mut literal = Alone::default();
            let _ = evaluate(text, range.clone(), self.dialect, &mut literal);
            if let Some((ExpressionProblem::TooLarge, _)) = literal.problem {
                let span = Span { start: range.start as u16, end: range.end as u16 };
                self.problems.push((at, span, ProblemKind::Expression(ExpressionProblem::TooLarge)));
            }
        });
    }
}

/// Whether an item may lead somewhere: a long word that starts with a name, or a word that is the distance of two.
fn may_be_address(text: &str, item: u32) -> bool {
    let starts = text.starts_with(|it: char| it.is_ascii_alphabetic() || matches!(it, '_' | '.' | '@'));
    starts && (item == 4 || item == 2 && text.contains('-'))
}
