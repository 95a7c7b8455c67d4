//! Reads one line after another. The numbers in comments are the rules of `grammar/LINES.md`.

use std::ops::Range;

use memchr::{memchr, memchr2, memmem};
use reveille_cpu::{Register, register};

use super::words::{Words, split_size};
use super::{
    BLANK_AFTER_COMMA, BROKEN, COLON, COLUMN_ONE, CONTINUED, DOTTED, JOINED, Line, LineKind, OPEN_COMMENT, OpId, Span,
    UNBALANCED, UNTERMINATED,
};
use crate::chunk::Reading;
use crate::{Dialect, Meaning};

pub(super) const BLANK: u8 = 1;
pub(super) const WORD: u8 = 2;
const DIGIT: u8 = 4;
/// Ends the fast loop over an operand.
const SPECIAL: u8 = 8;

pub(super) static CLASS: [u8; 256] = {
    let mut class = [0; 256];
    let mut at = 0;
    while at < 256 {
        let byte = at as u8;
        class[at] = match byte {
            b' ' | b'\t' | 0x0b | 0x0c | 0x1a => BLANK | SPECIAL,
            b'0'..=b'9' => WORD | DIGIT,
            b'a'..=b'z' | b'A'..=b'Z' | b'_' | b'.' | b'$' | b'@' | b'?' | b'\\' | 0x80.. => WORD,
            b'\'' | b'"' | b',' | b';' | b'(' | b')' | b'[' | b']' | b'<' | b'|' | b'#' => SPECIAL,
            _ => 0,
        };
        at += 1;
    }
    class
};

pub(super) fn is(byte: u8, class: u8) -> bool {
    CLASS[usize::from(byte)] & class != 0
}

pub(super) fn skip(line: &[u8], mut at: usize, class: u8) -> usize {
    while at < line.len() && is(line[at], class) {
        at += 1;
    }
    at
}

/// Where a text stands in its file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Region {
    /// Its first byte is the file's.
    pub(crate) from_file_start: bool,
    /// Its last byte is the file's.
    pub(crate) to_file_end: bool,
}

impl Region {
    /// The text is the whole file.
    pub(crate) const WHOLE: Self = Self { from_file_start: true, to_file_end: true };
}

/// Reads the lines of `text`, which starts where its file does. A comment of several lines that does not end inside `text` gives
/// `None`, unless `text` reaches to the end of the file: then it is taken to end with its line.
#[must_use]
pub fn read_lines(text: &str, dialect: Dialect, to_file_end: bool) -> Option<Vec<Line>> {
    let reading = Reading { dialect, ..Reading::default() };
    read_region(text, reading, Region { from_file_start: true, to_file_end })
}

/// Reads the lines of a part of a file, as [`read_lines`] does.
pub(crate) fn read_region(text: &str, reading: Reading, region: Region) -> Option<Vec<Line>> {
    let Reading { dialect, margin } = reading;
    let bytes = text.as_bytes();
    let words = Words::get();
    let mut lines = Vec::with_capacity(bytes.len() / 24 + 1);
    let (mut at, mut comment_end) = (0, 0);
    let mut goes_on = false;
    while at < bytes.len() {
        let (end, next) = match memchr2(b'\n', b'\r', &bytes[at..]) {
            Some(found) if bytes[at + found] == b'\r' && bytes.get(at + found + 1) == Some(&b'\n') => {
                (at + found, at + found + 2)
            }
            Some(found) => (at + found, at + found + 1),
            None => (bytes.len(), bytes.len()),
        };
        let mut line = if at < comment_end {
            comment_line(&bytes[at..end], LineKind::Comment)
        } else if goes_on {
            goes_on = bytes[..end].ends_with(b"\\") && next < bytes.len();
            let rest = comment_line(&bytes[at..end], LineKind::Preprocessor);
            Line { flags: CONTINUED, ..rest }
        } else {
            let column_one = if at == 0 && region.from_file_start { mark_len(&bytes[..end]) } else { 0 };
            match margin.source_start(&bytes[at..end]) {
                Some(start) => read(&bytes[at..end], start.max(column_one), dialect, &words),
                None => comment_line(&bytes[at..end], LineKind::Comment),
            }
        };
        line.start = at as u32;
        if bytes[..end].ends_with(b"\\") && is_preprocessor(&line, &bytes[at..end]) && next < bytes.len() {
            line.flags |= CONTINUED;
            goes_on = true;
        }
        let may_open = match line.kind {
            LineKind::Preprocessor => false,
            kind => dialect.is_unix() || kind == LineKind::Comment,
        };
        if at >= comment_end && may_open && opens_comment(&bytes[at..end], &line) {
            match memmem::find(&bytes[end..], b"*/") {
                Some(found) => comment_end = end + found + 1,
                None if region.to_file_end => line.flags |= OPEN_COMMENT,
                None => return None,
            }
        }
        lines.push(line);
        at = next;
    }
    // A preprocessor's line goes on behind the text.
    let is_cut = !region.to_file_end && (goes_on || ends_continued(bytes, lines.last()));
    (!is_cut).then_some(lines)
}

/// Whether the last line is a preprocessor's that goes on in the next one.
fn ends_continued(bytes: &[u8], last: Option<&Line>) -> bool {
    let end = bytes.strip_suffix(b"\n").unwrap_or(bytes);
    let end = end.strip_suffix(b"\r").unwrap_or(end);
    let is_own = |it: &Line| is_preprocessor(it, &bytes[it.start as usize..]) || it.flags & CONTINUED != 0;
    end.ends_with(b"\\") && last.is_some_and(is_own)
}

/// Whether a line is one that the preprocessor reads, and not a comment that starts as one.
fn is_preprocessor(line: &Line, text: &[u8]) -> bool {
    let start = usize::from(line.comment.start);
    let is_marked = line.kind == LineKind::Preprocessor && text.get(start) == Some(&b'#');
    is_marked && is_preprocessor_word(&text[start + 1..])
}

/// Whether a comment of several lines starts in the line and does not end in it.
fn opens_comment(bytes: &[u8], line: &Line) -> bool {
    let comment = &bytes[line.comment.range()];
    comment.starts_with(b"/*") && memmem::find(&comment[2..], b"*/").is_none()
}

fn comment_line(bytes: &[u8], kind: LineKind) -> Line {
    let mut line = Line::default();
    let Ok(len) = u16::try_from(bytes.len()) else {
        return Line { kind: LineKind::TooLong, len: u16::MAX, ..line };
    };
    line.len = len;
    let (start, end) = (skip(bytes, 0, BLANK), trimmed(bytes));
    if start < end {
        line.kind = kind;
        line.comment = Span::new(start, end);
    }
    line
}

pub(super) fn trimmed(bytes: &[u8]) -> usize {
    bytes.iter().rposition(|byte| !is(*byte, BLANK)).map_or(0, |last| last + 1)
}

/// Reads one line, without its line end, as if it were the file's first.
#[must_use]
pub fn read_line(text: &str, dialect: Dialect) -> Line {
    read(text.as_bytes(), mark_len(text.as_bytes()), dialect, &Words::get())
}

/// The length of the byte order mark that a file may start with (rule 2).
pub(super) fn mark_len(bytes: &[u8]) -> usize {
    if bytes.starts_with("\u{feff}".as_bytes()) { "\u{feff}".len() } else { 0 }
}

/// Reads a line whose first column is at the byte `column_one`.
fn read(bytes: &[u8], column_one: usize, dialect: Dialect, words: &Words) -> Line {
    let mut line = Line::default();
    let Ok(len) = u16::try_from(bytes.len()) else {
        return Line { kind: LineKind::TooLong, len: u16::MAX, ..line };
    };
    line.len = len;
    let b = &bytes[..trimmed(bytes)];
    let n = b.len();
    // A page starts where a form feed is: column one comes behind it.
    let feeds = bytes[column_one.min(len.into())..].iter().take_while(|byte| **byte == 0x0c).count();
    let column_one = column_one + feeds;
    let first = skip(b, column_one.min(n), BLANK);
    if first >= n {
        return line; // 5
    }
    // 6, 7
    if b[first] == b'#' {
        // Where `#` starts comments too, words behind blanks are one.
        let may_be = !dialect.syntax().hash_is_comment || b.get(first + 1).is_some_and(|it| !is(*it, BLANK));
        let is_own =
            may_be && is_preprocessor_word(&b[first + 1..]) || first == column_one && !dialect.syntax().hash_is_comment;
        let kind = if is_own { LineKind::Preprocessor } else { LineKind::Comment };
        return Line { kind, comment: Span::new(first, n), ..line };
    }
    if matches!(b[first], b'*' | b';' | b'|') || starts_slash_comment(b, first) {
        return Line { kind: LineKind::Comment, comment: Span::new(first, n), ..line };
    }
    line.kind = LineKind::Statement;
    let mut at = first;
    // 8 to 10
    if is(b[at], WORD) {
        let end = name_end(b, at, dialect);
        let word = &b[at..end];
        let colon = b.get(end) == Some(&b':') && b.get(end + 1) != Some(&b'=');
        let number = is(b[at], DIGIT);
        let is_local_number = || {
            let digits = skip(b, at, DIGIT);
            digits == end || (digits + 1 == end && b[digits] == b'$')
        };
        if colon && (!number || is_local_number()) {
            line.label = Span::new(at, end);
            line.flags |= COLON;
            at = end + 1 + usize::from(b.get(end + 1) == Some(&b':'));
        } else if let Some(end) = pasted_label(b, at, end, words, dialect) {
            line.label = Span::new(at, end);
            line.flags |= COLON;
            at = skip(b, end, BLANK) + 1;
        } else if if number {
            is_local_number()
        } else {
            is_label_in_column_one(b, first == column_one, end, dialect, words)
        } {
            let next = skip(b, end, BLANK);
            let assigned = assignment_sign(b, next);
            if assigned != 0 || (first == column_one && !words.is_column_one_operation(word, dialect)) {
                line.label = Span::new(at, end);
                if first == column_one {
                    line.flags |= COLUMN_ONE;
                }
                at = end;
            }
        }
        if at < n && !line.label.is_empty() {
            let next = skip(b, at, BLANK);
            let sign = assignment_sign(b, next);
            if sign != 0 {
                line.operation = Span::new(next, next + sign);
                line.op = OpId::ASSIGNMENT;
                return with_operands(line, bytes, n, next + sign, dialect);
            }
            if next == at && line.flags & COLON == 0 {
                if b[at] == b';' {
                    line.comment = Span::new(at, n);
                } else {
                    line.flags |= BROKEN; // 21
                }
                return line;
            }
            at = next;
            let hash = b.get(at) == Some(&b'#') && dialect.syntax().hash_is_comment;
            if at < n && (matches!(b[at], b';' | b'*' | b'|') || hash || starts_slash_comment(b, at)) {
                line.comment = Span::new(at, n);
                return line;
            }
        }
    }
    if at >= n {
        return line;
    }
    // 12, 13
    let end = skip(b, at, WORD);
    let (name, size) = split_size(&b[at..end]);
    if name.is_empty() || is(name[0], DIGIT) {
        line.flags |= BROKEN;
        return line;
    }
    line.operation = Span::new(at, at + name.len());
    line.size = size;
    line.size_len = (end - at - name.len()).saturating_sub(1) as u8;
    let (op, dotted) = words.operation(name);
    line.op = op;
    if dotted {
        line.flags |= DOTTED;
    } else if op == OpId::MACRO_CALL
        && dialect.syntax().joins_sizes
        && let Some((op, letter)) = words.unix_instruction(name, size)
    {
        line.op = op;
        if letter != 0 {
            line.operation.end -= 1;
            (line.size, line.size_len) = (letter, 1);
            line.flags |= JOINED;
        }
    }
    let op = line.op;
    // A call as in C has its arguments behind it at once; so have conditions. No END has any.
    if b.get(end) == Some(&b'(') {
        if op.directive().is_some_and(|it| it.meaning == Meaning::End) {
            line.op = OpId::MACRO_CALL;
        }
        return with_operands(line, bytes, n, end, dialect);
    }
    let ends_here = |byte: u8| {
        is(byte, BLANK)
            || byte == b';'
            || byte == b'|' && dialect.syntax().bar_is_comment
            || byte == b'#' && dialect.syntax().hash_is_comment
    };
    if end < n && !ends_here(b[end]) {
        line.flags |= BROKEN;
        return line;
    }
    if op.is_bare() {
        // 14
        let next = skip(b, end, BLANK);
        if next < n {
            line.comment = Span::new(next, n);
        }
        return line;
    }
    with_operands(line, bytes, n, end, dialect)
}

/// The end of a name that starts at `at`: of a word, which in one dialect holds `%` and `~` too.
fn name_end(b: &[u8], at: usize, dialect: Dialect) -> usize {
    let mut end = skip(b, at, WORD);
    if dialect.syntax().percent_in_names {
        while end > at && matches!(b.get(end), Some(b'%' | b'~')) {
            end = skip(b, end + 1, WORD);
        }
    }
    end
}

/// `NAME(text):`, a label that the preprocessor makes: the end of its brackets.
fn pasted_label(b: &[u8], at: usize, end: usize, words: &Words, dialect: Dialect) -> Option<usize> {
    let open = skip(b, end, BLANK);
    if b.get(open) != Some(&b'(') || words.is_operation_in(&b[at..end], dialect) {
        return None;
    }
    let close = open + memchr(b')', &b[open..])? + 1;
    let colon = skip(b, close, BLANK);
    (b.get(colon) == Some(&b':') && b.get(colon + 1) != Some(&b'=')).then_some(close)
}

/// Whether a word without a colon may be a label: no brackets follow it as a call's, and where labels have colons an operation does.
fn is_label_in_column_one(b: &[u8], in_column_one: bool, end: usize, dialect: Dialect, words: &Words) -> bool {
    if b.get(end) == Some(&b'(') {
        return false;
    }
    let next = skip(b, end, BLANK);
    if !dialect.is_unix() || !in_column_one || assignment_sign(b, next) != 0 {
        return true;
    }
    let word = &b[next..skip(b, next, WORD)];
    words.is_operation_in(word, dialect)
}

/// Whether a preprocessor's directive follows a `#`.
pub(super) fn is_preprocessor_word(rest: &[u8]) -> bool {
    let start = skip(rest, 0, BLANK);
    let word = &rest[start..skip(rest, start, WORD)];
    PREPROCESSOR_WORDS.iter().any(|it| it.as_bytes() == word)
}

/// The directives of the C preprocessor (ISO C90, 6.8; `warning` is common practice, no source).
const PREPROCESSOR_WORDS: [&str; 13] = [
    "define", "undef", "include", "if", "ifdef", "ifndef", "elif", "else", "endif", "error", "warning", "line",
    "pragma",
];

fn starts_slash_comment(b: &[u8], at: usize) -> bool {
    b[at] == b'/' && matches!(b.get(at + 1), Some(b'/' | b'*'))
}

/// The length of the assignment sign at `at`, 0 if none is there.
fn assignment_sign(b: &[u8], at: usize) -> usize {
    match (b.get(at), b.get(at + 1)) {
        (Some(b'='), Some(b'=')) | (Some(b':'), Some(b'=')) => 2,
        (Some(b'='), _) => 1,
        _ => 0,
    }
}

fn with_operands(mut line: Line, bytes: &[u8], n: usize, after_operation: usize, dialect: Dialect) -> Line {
    let b = &bytes[..n];
    let start = skip(b, after_operation, BLANK);
    if start == b.len() {
        return line;
    }
    if starts_comment_field(b, start, dialect) {
        line.comment = Span::new(start, b.len());
        return line;
    }
    let field = scan(bytes, n, start, dialect, line.op == OpId::MACRO_CALL, &mut |_, _| ());
    line.operands = Span::new(start, field.end);
    line.flags |= field.flags;
    if field.comment < b.len() {
        line.comment = Span::new(field.comment, b.len());
    }
    line
}

/// Rule 15.
fn starts_comment_field(b: &[u8], at: usize, dialect: Dialect) -> bool {
    match b[at] {
        b';' => true,
        b'*' => b.get(at + 1).is_some_and(|next| is(*next, BLANK) || *next == b'*'),
        b'|' => dialect.is_unix(),
        b'#' => dialect.syntax().hash_is_comment,
        b'/' => starts_slash_comment(b, at),
        _ => false,
    }
}

struct Field {
    /// After the last operand.
    end: usize,
    /// Where the comment starts; the line's end if there is none.
    comment: usize,
    flags: u16,
}

/// Rules 16 to 19. The line is read up to `n`, after which there are blanks only; `each` gets every operand's start and end.
fn scan(
    bytes: &[u8],
    n: usize,
    start: usize,
    dialect: Dialect,
    call: bool,
    each: &mut impl FnMut(usize, usize),
) -> Field {
    let b = &bytes[..n];
    let (mut at, mut operand, mut end, mut depth, mut flags) = (start, start, start, 0_u32, 0_u16);
    // Where the last quotes or angle brackets end, and brackets that hold nothing but a register.
    let (mut guarded, mut register_end) = (0, 0);
    let syntax = dialect.syntax();
    let comment = loop {
        while at < n && !is(b[at], SPECIAL) {
            at += 1;
            end = at;
        }
        if at >= n {
            break n;
        }
        match b[at] {
            b'\'' | b'"' => {
                let (after, closed) = quoted(b, at, dialect);
                if !closed {
                    flags |= UNTERMINATED;
                }
                at = after;
                end = at;
                guarded = at;
            }
            b',' if depth == 0 => {
                each(operand, end.max(operand));
                at += 1;
                end = at;
                let next = skip(b, at, BLANK);
                if next > at && next < n && b[next] != b';' && syntax.blank_ends_operands && !call {
                    flags |= BLANK_AFTER_COMMA;
                }
                if next == n || b[next] == b';' {
                    operand = at;
                    break next;
                }
                at = next;
                operand = at;
                end = at;
            }
            b';' => break at,
            b'|' if depth == 0 && syntax.bar_is_comment => break at,
            b'#' if depth == 0 && syntax.hash_is_comment => break at,
            b'|' | b'#' => {
                at += 1;
                end = at;
            }
            b'(' | b'[' => {
                depth += 1;
                at += 1;
                end = at;
            }
            b')' | b']' => {
                if depth == 0 {
                    flags |= BROKEN;
                    break n;
                }
                depth -= 1;
                at += 1;
                if !syntax.blank_ends_operands && !call && is_register_in_brackets(&b[operand..at]) {
                    register_end = at;
                }
                end = at;
            }
            b'<' => {
                at += 1;
                if operand + 1 == at {
                    let close = match call {
                        true => memchr(b'>', &b[at..]),
                        false => b[at..].iter().position(|byte| is(*byte, SPECIAL) || *byte == b'>'),
                    };
                    if let Some(close) = close.filter(|close| b[at + close] == b'>') {
                        at += close + 1;
                        guarded = at;
                    }
                }
                end = at;
            }
            b',' => {
                at += 1;
                end = at;
            }
            _ => {
                let next = skip(b, at, BLANK);
                let goes_on = if syntax.blank_ends_operands {
                    b[at - 1] == b',' && b[next] != b';'
                } else if depth == 0 && syntax.hash_is_comment && b[next] == b'#' {
                    false
                } else {
                    continues(bytes, at, next, depth, guarded, register_end)
                };
                if !goes_on {
                    break next;
                }
                if b[at - 1] == b',' && syntax.blank_ends_operands {
                    flags |= BLANK_AFTER_COMMA;
                }
                at = next;
            }
        }
    };
    each(operand, end.max(operand));
    if depth > 0 {
        flags |= UNBALANCED;
    }
    Field { end, comment, flags }
}

/// Rule 18d: whether the operand field goes on after the blanks from `blank` to `next`.
fn continues(b: &[u8], blank: usize, next: usize, depth: u32, guarded: usize, register_end: usize) -> bool {
    let last = b[blank - 1];
    if b[next] == b';' {
        return false;
    }
    if depth > 0 || b[next] == b',' {
        return true;
    }
    if matches!(b[next], b'*' | b'|') || starts_slash_comment(b, next) {
        return false;
    }
    let goes_on = match last {
        _ if blank == guarded => false,
        // Behind `a0@` a sign is a part of the mode.
        b'+' | b'-' if b[blank - 2] == b'@' => false,
        b'+' => register_end != blank - 1,
        b'-' | b'/' | b'&' | b'!' | b'^' | b'<' | b'>' | b'=' | b'~' | b'(' | b',' | b'#' => true,
        b'*' | b'|' => {
            let before = b[blank - 2];
            is(before, WORD) || matches!(before, b')' | b']') || guarded == blank - 1
        }
        _ => false,
    };
    goes_on
        || match b[next] {
            b'+' | b'-' | b'&' | b'!' | b'^' | b'<' | b'>' | b'=' => true,
            b'/' => b.get(next + 1).is_some_and(|after| is(*after, BLANK)),
            _ => false,
        }
}

/// Whether something is brackets around nothing but a register that a sign may follow.
fn is_register_in_brackets(operand: &[u8]) -> bool {
    let [b'(' | b'[', inside @ .., b')' | b']'] = operand else { return false };
    let start = skip(inside, 0, BLANK);
    let name = &inside[start..trimmed(inside).max(start)];
    let name = name.strip_prefix(b"%").unwrap_or(name);
    name.eq_ignore_ascii_case(b"fp")
        || std::str::from_utf8(name).is_ok_and(|name| register(name).is_some_and(|it| it != Register::Pc))
}

/// Rule 17: the byte after the string that starts at `at`, and whether it is closed.
pub(super) fn quoted(b: &[u8], at: usize, dialect: Dialect) -> (usize, bool) {
    let quote = b[at];
    let mut end = at + 1;
    let of_backslash = dialect.is_unix() && quote == b'\'' && b.get(end) == Some(&b'\\');
    if of_backslash {
        let after = character_end(b, end + 1);
        if after > end + 1 && b.get(after) == Some(&quote) {
            return (after + 1, true);
        }
    }
    let mut last_doubled = None;
    while end < b.len() {
        if dialect.is_unix() && quote == b'"' && b[end] == b'\\' {
            end += 2;
        } else if b[end] == quote {
            if b.get(end + 1) != Some(&quote) {
                return (end + 1, true);
            }
            last_doubled = Some(end + 1);
            end += 2;
        } else {
            end += 1;
        }
    }
    if dialect.is_unix() && quote == b'\'' && at + 1 < b.len() {
        let after = last_doubled.unwrap_or_else(|| character_end(b, at + 1 + usize::from(of_backslash)));
        return (after, true);
    }
    (b.len(), false)
}

/// The end of the character that starts at `at`, or the line's.
fn character_end(b: &[u8], at: usize) -> usize {
    let mut end = (at + 1).min(b.len());
    while end < b.len() && b[end] & 0xc0 == 0x80 {
        end += 1;
    }
    end
}

/// The operands of a line, as ranges of bytes inside it.
pub fn operands(text: &str, line: &Line, dialect: Dialect, mut each: impl FnMut(Range<usize>)) {
    if line.operands.is_empty() {
        return;
    }
    let bytes = text.as_bytes();
    let end = if line.comment.is_empty() { trimmed(bytes) } else { line.comment.range().end };
    scan(bytes, end, line.operands.start.into(), dialect, line.op == OpId::MACRO_CALL, &mut |start, end| {
        each(start..end)
    });
}
