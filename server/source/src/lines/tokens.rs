//! What the parts of an operand field are: numbers, names, registers, texts.

use std::ops::Range;

use reveille_cpu::{Register, register, unix_register};

use super::is_word_byte;
use crate::Dialect;

/// What a part of an operand is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TokenKind {
    /// A number, with its prefix.
    Number,
    /// A quoted text or character.
    Text,
    /// A register.
    Register,
    /// A name.
    Name,
    /// The size behind a register or a name, without its dot.
    Size,
    /// A parameter of a macro, or a word with one in it.
    Parameter,
}

/// The parts of an operand field, in order. Brackets, commas, operators and the location counter are none.
pub fn tokens(field: &str, dialect: Dialect, mut each: impl FnMut(TokenKind, Range<usize>)) {
    let bytes = field.as_bytes();
    let mut at = 0;
    while at < bytes.len() {
        let byte = bytes[at];
        let start = at;
        if byte == b'\'' || byte == b'"' {
            at = super::reader::quoted(bytes, at, dialect).0;
            each(TokenKind::Text, start..at);
        } else if is_word_byte(byte) {
            at = word_end(bytes, at, dialect);
            // A prefix that is no word character: %1010, &12, %d0.
            let prefix =
                start > 0 && matches!(bytes[start - 1], b'%' | b'&') && !(start > 1 && is_value_end(bytes[start - 2]));
            word(field, start..at, prefix, dialect, &mut each);
        } else {
            at += 1;
        }
    }
}

/// The end of the word that starts at `at`. In the Unix families an `@` behind a register is a mode's; one of them has `%` and `~` in names.
#[must_use]
pub fn word_end(bytes: &[u8], start: usize, dialect: Dialect) -> usize {
    let mut at = start;
    while at < bytes.len() && is_word_byte(bytes[at]) {
        if bytes[at] == b'@' && at > start && dialect.is_unix() {
            let word = std::str::from_utf8(&bytes[start..at]).unwrap_or("");
            if unix_register(word).is_some() {
                return at;
            }
        }
        at += 1;
    }
    let has_more = dialect.syntax().percent_in_names && at > start && !bytes[start].is_ascii_digit();
    if has_more && matches!(bytes.get(at), Some(b'%' | b'~')) && bytes.get(at + 1).is_some_and(|it| is_word_byte(*it)) {
        return word_end(bytes, at + 1, dialect);
    }
    at
}

/// Whether a value may end with this byte, so that a `%` or `&` behind it is an operator.
fn is_value_end(byte: u8) -> bool {
    is_word_byte(byte) || matches!(byte, b')' | b']' | b'\'' | b'"')
}

fn word(
    field: &str,
    range: Range<usize>,
    prefix: bool,
    dialect: Dialect,
    each: &mut impl FnMut(TokenKind, Range<usize>),
) {
    let text = &field[range.clone()];
    let bytes = text.as_bytes();
    let (start, end) = (range.start, range.end);
    // The location, and the mark of a mode behind its register.
    if matches!(bytes, b"." | b"@") {
        return;
    }
    if bytes.contains(&b'\\') {
        return each(TokenKind::Parameter, range);
    }
    let suffix = match bytes {
        [.., b'.', b'w' | b'l' | b'b' | b's' | b'W' | b'L' | b'B' | b'S'] => 2,
        _ => 0,
    };
    let name = &text[..text.len() - suffix];
    if name.is_empty() && start > 0 && matches!(field.as_bytes()[start - 1], b')' | b']') {
        // The size of an address in brackets: (table).w
        return each(TokenKind::Size, end - 1..end);
    }
    let (name, suffix) = if name.is_empty() { (text, 0) } else { (name, suffix) };
    if is_number(name.as_bytes(), dialect) {
        let start = start - usize::from(prefix && bytes[0].is_ascii_digit());
        each(TokenKind::Number, start..end - suffix);
    } else if register_named(name, dialect).is_some() || is_float_register(name) {
        let start = start - usize::from(prefix && field.as_bytes()[start - 1] == b'%');
        each(TokenKind::Register, start..end - suffix);
    } else {
        each(TokenKind::Name, start..end - suffix);
    }
    if suffix > 0 {
        each(TokenKind::Size, end - 1..end);
    }
}

/// The register that a word names in a dialect, with or without a `%` before it.
#[must_use]
pub fn register_named(word: &str, dialect: Dialect) -> Option<Register> {
    if dialect.is_unix() { unix_register(word) } else { register(word) }
}

fn is_number(bytes: &[u8], dialect: Dialect) -> bool {
    let all = |rest: &[u8], is: fn(&u8) -> bool| !rest.is_empty() && rest.iter().all(is);
    match bytes {
        // Behind a digit it is meant as a number, whatever follows.
        [b'$', first, rest @ ..] => {
            first.is_ascii_digit() || (first.is_ascii_hexdigit() && rest.iter().all(u8::is_ascii_hexdigit))
        }
        [b'@', rest @ ..] => all(rest, u8::is_ascii_digit),
        [b'0'..=b'9', ..] => !is_numeric_label_bytes(bytes, dialect),
        _ => false,
    }
}

/// Whether a word of an operand that starts with a digit names a local label: `10$`, and `1b` and `1f` of the dotted style.
#[must_use]
pub fn is_numeric_label(word: &str, dialect: Dialect) -> bool {
    is_numeric_label_bytes(word.as_bytes(), dialect)
}

fn is_numeric_label_bytes(word: &[u8], dialect: Dialect) -> bool {
    let Some((last, digits)) = word.split_last() else { return false };
    let is_mark = *last == b'$' || dialect.is_unix() && matches!(last, b'b' | b'f' | b'B' | b'F');
    is_mark && !digits.is_empty() && digits.iter().all(u8::is_ascii_digit)
}

fn is_float_register(name: &str) -> bool {
    matches!(name.as_bytes(), [f, p, b'0'..=b'7'] if f.eq_ignore_ascii_case(&b'f') && p.eq_ignore_ascii_case(&b'p'))
}

/// The name in a word of an expression: without a size suffix; none for numbers, registers, the location and macro parameters.
#[must_use]
pub fn name_in(word: &str, dialect: Dialect) -> Option<&str> {
    let mut found = None;
    tokens(word, dialect, |kind, range| {
        if kind == TokenKind::Name && range.start == 0 {
            found = Some(range);
        }
    });
    found.map(|range| &word[range])
}

#[cfg(test)]
mod tests {
    use super::{TokenKind, tokens};
    use crate::Dialect;

    fn kinds(field: &str, dialect: Dialect) -> String {
        let mut found = Vec::new();
        tokens(field, dialect, |kind, range| {
            let letter = match kind {
                TokenKind::Number => 'n',
                TokenKind::Text => 't',
                TokenKind::Register => 'r',
                TokenKind::Name => 'a',
                TokenKind::Size => 's',
                TokenKind::Parameter => 'p',
            };
            found.push(format!("{letter}:{}", &field[range]));
        });
        found.join(" ")
    }

    #[test]
    fn parts_of_operands_are_told_apart() {
        let motorola = |field| kinds(field, Dialect::Motorola);
        assert_eq!(motorola("#$1F+LEN,4(a0,d1.w)"), "n:$1F a:LEN n:4 r:a0 r:d1 s:w");
        assert_eq!(motorola("%1010,@17,10$,'it''s',\\1"), "n:%1010 n:@17 a:10$ t:'it''s' p:\\1");
        assert_eq!(motorola("table.w,.loop,$400.l,SP"), "a:table s:w a:.loop n:$400 s:l r:SP");
        assert_eq!(motorola("(table+2).w,(4).L,.l"), "a:table n:2 s:w n:4 s:L a:.l");
        assert_eq!(motorola("a&255,x%3"), "a:a n:255 a:x n:3");
        assert_eq!(kinds("%d0,1b,0x1F,. - x", Dialect::Dotted), "r:%d0 a:1b n:0x1F a:x");
    }
}
