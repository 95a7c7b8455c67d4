//! The layout of a script: steps of a stage by two columns, those between `repeat` or `if` and `end` by two more, one blank between words.
//!
//! Only blanks are moved, and only where blanks stand: words that touch go on touching. A script is left as it is where it does not read the
//! same afterwards.

use std::ops::Range;

use reveille_session::verbs::{Group, VerbKind};
use reveille_session::{TokenKind, TokenLine, token_lines};

use super::verb_of;
use crate::format::{Edit, edited};

/// How far steps stand from their stage, and from the `repeat` or `if` that they are in.
const STEP: usize = 2;

/// How far lines that continue a statement stand from its first.
const CONTINUED: usize = 4;

const MARK: char = '\u{feff}';

/// A token or a comment.
struct Item {
    span: Range<usize>,
    is_comment: bool,
    /// The columns before its statement.
    indent: usize,
    /// Whether its statement or comment line begins with it.
    is_first: bool,
}

/// The edits that lay out a script, in the order of the text; none overlap.
pub(crate) fn format(text: &str) -> Vec<Edit> {
    let lines = token_lines(text);
    let items = items(text, &lines);
    let mut edits = Vec::new();
    let mut done = 0;
    for (at, item) in items.iter().enumerate() {
        gap(text, done..item.span.start, at.checked_sub(1).map(|at| &items[at]), Some(item), &mut edits);
        done = item.span.end;
    }
    gap(text, done..text.len(), items.last(), None, &mut edits);
    let after = edited(text, &edits);
    if says(text, &lines) == says(&after, &token_lines(&after)) { edits } else { Vec::new() }
}

/// The tokens of a line, and its comment.
type Said<'t> = (Vec<(&'t TokenKind, &'t str)>, Option<&'t str>);

/// What lines say: their tokens, and their comments without blanks at the end.
fn says<'t>(text: &'t str, lines: &'t [TokenLine]) -> Vec<Said<'t>> {
    let of_line = |line: &'t TokenLine| {
        let tokens = line.tokens.iter().map(|it| (&it.kind, text[it.span.clone()].trim_end())).collect();
        (tokens, line.comment.clone().map(|it| text[it].trim_end()))
    };
    lines.iter().map(of_line).collect()
}

/// All tokens and comments, each with the columns that belong before it.
fn items(text: &str, lines: &[TokenLine]) -> Vec<Item> {
    let indents = indents(text, lines);
    let mut found = Vec::new();
    for (line, indent) in lines.iter().zip(indents) {
        let mut is_first = true;
        for token in &line.tokens {
            found.push(Item { span: token.span.clone(), is_comment: false, indent, is_first });
            is_first = false;
        }
        if let Some(comment) = &line.comment {
            let end = comment.start + text[comment.clone()].trim_end().len();
            found.push(Item { span: comment.start..end, is_comment: true, indent, is_first });
        }
    }
    found
}

/// The columns before each line.
fn indents(text: &str, lines: &[TokenLine]) -> Vec<usize> {
    let mut found: Vec<Option<usize>> = Vec::with_capacity(lines.len());
    // What the comments before a line are indented by, if it is that line that they belong to.
    let mut before: Vec<Option<usize>> = Vec::with_capacity(lines.len());
    let (mut base, mut depth) = (0, 0_usize);
    for line in lines {
        if line.tokens.is_empty() {
            found.push(None);
            before.push(None);
            continue;
        }
        let verb = verb_of(text, line).map(|it| it.0);
        let inside = base + STEP * depth;
        let (own, of_comments) = match verb.map(|it| it.kind) {
            Some(VerbKind::Stage) => {
                (base, depth) = (STEP, 0);
                (0, 0)
            }
            Some(VerbKind::If | VerbKind::Repeat) => {
                depth += 1;
                (inside, inside)
            }
            Some(VerbKind::Else) => (inside.saturating_sub(STEP).max(base), inside),
            Some(VerbKind::End) => {
                depth = depth.saturating_sub(1);
                (base + STEP * depth, inside)
            }
            _ if verb.is_some_and(|it| it.group == Group::Head) => (0, 0),
            _ => (inside, inside),
        };
        found.push(Some(own));
        before.push(Some(of_comments));
    }
    let (mut next, mut after) = (None, vec![None; lines.len()]);
    for at in (0..lines.len()).rev() {
        after[at] = next;
        next = before[at].or(next);
    }
    let mut last = 0;
    let mut is_inside = 0;
    let all = lines.iter().enumerate().map(|(at, line)| match found[at] {
        Some(own) => {
            let opens = verb_of(text, line).is_some_and(|it| {
                matches!(it.0.kind, VerbKind::Stage | VerbKind::If | VerbKind::Repeat | VerbKind::Else)
            });
            is_inside = if opens { own + STEP } else { own };
            last = own;
            own
        }
        // A comment goes with the line below it; before a stage and at the end it may go with the steps above.
        None => match after[at] {
            Some(below) if below > 0 => below,
            _ if column(text, line) > 0 => is_inside.max(last),
            _ => 0,
        },
    });
    all.collect()
}

/// How many characters stand before a line's first.
fn column(text: &str, line: &TokenLine) -> usize {
    let start = line.comment.as_ref().map_or(line.span.start, |it| it.start);
    let before = &text[..start];
    let own = &before[before.rfind(['\r', '\n']).map_or(0, |at| at + 1)..];
    own.chars().filter(|it| *it != MARK).count()
}

/// The edits between two items: blanks, line ends, and the `\` of lines that are continued.
fn gap(text: &str, range: Range<usize>, before: Option<&Item>, behind: Option<&Item>, edits: &mut Vec<Edit>) {
    let mut start = range.start;
    let mut is_line_start = before.is_none();
    let mut is_continued = false;
    loop {
        let rest = &text[start..range.end];
        let length = rest.find(['\r', '\n']).unwrap_or(rest.len());
        let is_last = length == rest.len();
        let mut own = &rest[..length];
        let mut from = start;
        // The mark of a text's encoding stays where it is.
        if start == 0 && own.starts_with(MARK) {
            from += MARK.len_utf8();
            own = &own[MARK.len_utf8()..];
        }
        let indent = behind.or(before).map_or(0, |it| it.indent) + if is_continued { CONTINUED } else { 0 };
        let is_mark = own.trim_start_matches(|it: char| it.is_whitespace() || it == MARK) == "\\";
        // Blanks behind a `\` keep it from continuing the line.
        let is_kept =
            !is_line_start && before.is_some_and(|it| !it.is_comment && text[it.span.clone()].ends_with('\\'));
        let wanted = match behind.filter(|_| is_last) {
            Some(it) if is_line_start && it.is_first => " ".repeat(it.indent),
            Some(_) if is_line_start => " ".repeat(indent),
            // Where comments behind statements stand is for people to say.
            Some(it) if it.is_comment => own.to_owned(),
            Some(_) => if own.is_empty() { "" } else { " " }.to_owned(),
            None if is_kept => own.to_owned(),
            None if is_mark && is_line_start => format!("{}\\", " ".repeat(indent)),
            None if is_mark => if own.starts_with('\\') { "\\" } else { " \\" }.to_owned(),
            None => String::new(),
        };
        if own != wanted {
            edits.push((from..start + length, wanted));
        }
        if is_last {
            return;
        }
        is_continued = is_mark;
        is_line_start = true;
        start += length + if rest[length..].starts_with("\r\n") { 2 } else { 1 };
    }
}
