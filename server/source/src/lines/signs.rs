//! What a line tells of the dialect it is written in.

use memchr::memchr3;

use super::reader::{BLANK, WORD, is, is_preprocessor_word, mark_len, skip};
use super::words::{Words, split_size};
use crate::Evidence;

/// What a line is a sign of; the same whatever dialect it is read in, or the same text would be read otherwise after other edits.
pub(crate) fn signs(text: &[u8], words: &Words) -> Evidence {
    let none = Evidence::default();
    let start = mark_len(text);
    let mut at = skip(text, start, BLANK);
    match text.get(at) {
        Some(b'|') => return Evidence { dotted: 2, ..none },
        // Lines of the preprocessor are more common in the Unix families.
        Some(b'#') if is_preprocessor_word(&text[at + 1..]) => return Evidence { dotted: 1, ..none },
        None | Some(b'*' | b';' | b'#' | b'/') => return none,
        _ => (),
    }
    let mut label = None;
    for _ in 0..2 {
        let end = skip(text, at, WORD);
        if end == at {
            return none;
        }
        if text.get(end) == Some(&b':') {
            at = skip(text, end + 1, BLANK);
            continue;
        }
        let (name, size) = split_size(&text[at..end]);
        let (op, dotted) = words.operation(name);
        if let Some(directive) = op.directive() {
            if dotted {
                // More likely a local label of Motorola syntax.
                let is_label = at == start && !directive.bare && !has_operand(text, end, words);
                return if is_label { none } else { Evidence { dotted: 4, ..none } };
            }
            if directive.name == "set" && label.is_none() {
                return Evidence { sgs: 4, ..none };
            }
            return if directive.is_unix { none } else { Evidence { motorola: 4, ..none } };
        }
        let found = if op.is_instruction() {
            Some(none)
        } else {
            words.unix_instruction(name, size).map(|it| match it.1 {
                0 => Evidence { sgs: 2, ..none },
                _ => Evidence { mit: 3, ..none },
            })
        };
        if let Some(found) = found {
            let motorola = if label == Some(start) { 2 } else { 0 };
            return found.plus(Evidence { motorola, ..none }).plus(operand_signs(&text[end..]));
        }
        label = Some(at);
        at = skip(text, end, BLANK);
    }
    none
}

/// The signs in the operand field of an instruction.
fn operand_signs(text: &[u8]) -> Evidence {
    let mut found = Evidence::default();
    // Most fields have none.
    if memchr3(b'@', b'&', b'%', text).is_none() && memchr3(b'|', b'x', b'X', text).is_none() {
        return found;
    }
    let before = |at: usize| at.checked_sub(1).map_or(b' ', |at| text[at]);
    let mut starts_operand = true;
    for (at, byte) in text.iter().copied().enumerate() {
        let next = text.get(at + 1).copied().unwrap_or(b' ');
        match byte {
            b';' => break,
            b'|' if is(before(at), BLANK) => {
                found.dotted += 2;
                break;
            }
            b'@' if at >= 2 && matches!(next, b'+' | b'-' | b'(' | b',' | b' ' | b'\t') => {
                let register = [text[at - 2] | 0x20, text[at - 1] | 0x20];
                if matches!(register, [b'a' | b'd', b'0'..=b'7'] | [b's', b'p'] | [b'f', b'p'] | [b'p', b'c']) {
                    found.mit += 4;
                }
            }
            b'&' if starts_operand && (is(next, WORD) || matches!(next, b'-' | b'(' | b'~')) => found.sgs += 4,
            b'%' if !is(before(at), WORD) && matches!(next | 0x20, b'a' | b'd' | b's' | b'p' | b'f' | b'c' | b'u') => {
                found.dotted += 1;
            }
            b'0' if !is(before(at), WORD) && next | 0x20 == b'x' => found.dotted += 1,
            _ => (),
        }
        starts_operand = byte == b',' || starts_operand && is(byte, BLANK);
    }
    found
}

/// Whether what follows a word may be an operand: there is something, it is no comment and no operation.
fn has_operand(text: &[u8], end: usize, words: &Words) -> bool {
    let at = skip(text, end, BLANK);
    let op = words.operation(split_size(&text[at..skip(text, at, WORD)]).0).0;
    !matches!(text.get(at), None | Some(b';' | b'*' | b'|')) && !op.is_instruction() && op.directive().is_none()
}
