//! A text as tokens. Comments and joined lines are gone; each token knows its place in the original text.

use std::sync::Arc;

use rustc_hash::FxHashSet;

use crate::text::{FileKey, Span};

/// What a token is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A name or keyword.
    Name,
    /// A number as it is written.
    Number,
    /// A character constant with its quotes.
    Character,
    /// A string with its quotes.
    Text,
    /// An operator or punctuation.
    Mark,
    /// Lines of assembly, raw.
    Assembly,
    /// A character that C has no use for, or a quote without its partner.
    Unreadable,
}

/// A token of the text, or of a macro's body in the place of its use.
#[derive(Debug, Clone)]
pub(crate) struct Token {
    pub(crate) kind: Kind,
    /// What it says, without joins of lines.
    pub(crate) text: Arc<str>,
    /// Where it stands; for a token of a macro's body, the use.
    pub(crate) span: Span,
    /// It comes from a macro's body and does not stand in the text.
    pub(crate) is_made: bool,
    /// A line ends between the token before and this one.
    pub(crate) is_first: bool,
    /// It stands in the first column.
    pub(crate) is_flush: bool,
}

impl Token {
    pub(crate) fn is(&self, mark: &str) -> bool {
        self.kind == Kind::Mark && &*self.text == mark
    }

    pub(crate) fn is_word(&self, word: &str) -> bool {
        self.kind == Kind::Name && &*self.text == word
    }

    /// A token that a macro lays down at a use.
    pub(crate) fn made(&self, at: Span) -> Token {
        Token { span: at, is_made: true, is_first: false, is_flush: false, ..self.clone() }
    }
}

/// Longer ones first.
const MARKS: &[&str] = &[
    ">>=", "<<=", "...", "->", "++", "--", "<<", ">>", "<=", ">=", "==", "!=", "&&", "||", "+=", "-=", "*=", "/=",
    "%=", "&=", "^=", "|=", "##", "#", "{", "}", "(", ")", "[", "]", ";", ",", ":", "?", "=", "+", "-", "*", "/", "%",
    "&", "|", "^", "~", "!", "<", ">", ".",
];

/// Each text once.
#[derive(Debug, Default)]
pub(crate) struct Interner(FxHashSet<Arc<str>>);

impl Interner {
    pub(crate) fn get(&mut self, text: &str) -> Arc<str> {
        if let Some(known) = self.0.get(text) {
            return known.clone();
        }
        let new: Arc<str> = text.into();
        self.0.insert(new.clone());
        new
    }
}

/// Reads a text from a byte on.
pub(crate) struct Lexer<'a> {
    file: FileKey,
    text: &'a str,
    bytes: &'a [u8],
    at: usize,
    end: usize,
    is_first: bool,
}

impl<'a> Lexer<'a> {
    pub(crate) fn new(file: FileKey, text: &'a str) -> Lexer<'a> {
        // Places are 32 bits; what lies behind that is not read.
        let mut end = text.len().min(u32::MAX as usize - 1);
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        Lexer { file, text, bytes: text.as_bytes(), at: 0, end, is_first: true }
    }

    pub(crate) fn over(file: FileKey, text: &'a str, span: Span) -> Lexer<'a> {
        let mut lexer = Lexer::new(file, text);
        lexer.at = (span.start as usize).min(lexer.end);
        lexer.end = (span.end as usize).clamp(lexer.at, lexer.end);
        lexer
    }

    pub(crate) fn at(&self) -> u32 {
        self.at as u32
    }

    pub(crate) fn span(&self, start: usize, end: usize) -> Span {
        Span { file: self.file, start: start as u32, end: end as u32 }
    }

    fn byte(&self, at: usize) -> u8 {
        if at < self.end { self.bytes[at] } else { 0 }
    }

    /// Length of a line's end at a place: CR LF, LF or CR.
    fn line_end(&self, at: usize) -> usize {
        match self.byte(at) {
            b'\r' if self.byte(at + 1) == b'\n' => 2,
            b'\n' | b'\r' => 1,
            _ => 0,
        }
    }

    /// Length of a backslash with the line's end behind it.
    fn join(&self, at: usize) -> usize {
        match self.byte(at) {
            b'\\' => match self.line_end(at + 1) {
                0 => 0,
                end => end + 1,
            },
            _ => 0,
        }
    }

    /// The place behind joins.
    fn joined(&self, mut at: usize) -> usize {
        loop {
            match self.join(at) {
                0 => return at,
                length => at += length,
            }
        }
    }

    fn skip_blanks(&mut self) {
        while self.at < self.end {
            let here = self.at;
            let line_end = self.line_end(here);
            let join = self.join(here);
            if line_end > 0 {
                self.at += line_end;
                self.is_first = true;
            } else if join > 0 {
                self.at += join;
            } else if self.bytes[here..self.end].starts_with(b"/*") {
                let rest = &self.bytes[here + 2..self.end];
                self.at = rest.windows(2).position(|it| it == b"*/").map_or(self.end, |it| here + 2 + it + 2);
            } else if self.bytes[here..self.end].starts_with(b"//") {
                while self.at < self.end && self.line_end(self.at) == 0 {
                    self.at += self.join(self.at).max(1);
                }
            } else if matches!(self.bytes[here], b' ' | b'\t' | 0x0b | 0x0c | 0x1a | 0) {
                self.at += 1;
            } else {
                break;
            }
        }
    }

    /// The next token.
    pub(crate) fn next(&mut self, interner: &mut Interner) -> Option<Token> {
        self.skip_blanks();
        if self.at >= self.end {
            return None;
        }
        let start = self.at;
        let is_flush = start == 0 || matches!(self.bytes[start - 1], b'\n' | b'\r');
        let mut said = String::new();
        let kind = self.token(&mut said);
        let text =
            if said.len() == self.at - start { interner.get(&self.text[start..self.at]) } else { interner.get(&said) };
        let is_first = std::mem::take(&mut self.is_first);
        Some(Token { kind, text, span: self.span(start, self.at), is_made: false, is_first, is_flush })
    }

    fn token(&mut self, said: &mut String) -> Kind {
        let first = self.bytes[self.at];
        if first.is_ascii_alphabetic() || first == b'_' {
            self.run(said, |_, byte| byte.is_ascii_alphanumeric() || byte == b'_');
            return Kind::Name;
        }
        if first.is_ascii_digit() || (first == b'.' && self.byte(self.at + 1).is_ascii_digit()) {
            self.run(said, |so_far, byte| {
                let is_exponent =
                    so_far.ends_with(['e', 'E']) && !so_far.starts_with("0x") && !so_far.starts_with("0X");
                byte.is_ascii_alphanumeric()
                    || matches!(byte, b'_' | b'.')
                    || (is_exponent && matches!(byte, b'+' | b'-'))
            });
            return Kind::Number;
        }
        if matches!(first, b'"' | b'\'') {
            let is_whole = self.quoted(said, first);
            return match first {
                _ if !is_whole => Kind::Unreadable,
                b'"' => Kind::Text,
                _ => Kind::Character,
            };
        }
        for mark in MARKS {
            if self.bytes[self.at..self.end].starts_with(mark.as_bytes()) {
                said.push_str(mark);
                self.at += mark.len();
                return Kind::Mark;
            }
        }
        let character = self.text[self.at..].chars().next().unwrap_or(' ');
        said.push(character);
        self.at += character.len_utf8();
        Kind::Unreadable
    }

    fn run(&mut self, said: &mut String, is_part: impl Fn(&str, u8) -> bool) {
        loop {
            let next = self.joined(self.at);
            if next >= self.end || !is_part(said, self.bytes[next]) {
                return;
            }
            said.push(self.bytes[next] as char);
            self.at = next + 1;
        }
    }

    /// A string or character to its quote; false where the line ends before.
    fn quoted(&mut self, said: &mut String, quote: u8) -> bool {
        said.push(quote as char);
        self.at += 1;
        loop {
            let next = self.joined(self.at);
            if next >= self.end || self.line_end(next) > 0 {
                return false;
            }
            let character = self.text[next..].chars().next().unwrap_or(' ');
            said.push(character);
            self.at = next + character.len_utf8();
            if character as u32 == u32::from(quote) {
                return true;
            }
            if character == '\\' {
                let next = self.joined(self.at);
                if next < self.end && self.line_end(next) == 0 {
                    let escaped = self.text[next..].chars().next().unwrap_or(' ');
                    said.push(escaped);
                    self.at = next + escaped.len_utf8();
                }
            }
        }
    }

    /// The lines to the one that says `#endasm`, which is read too: their span.
    pub(crate) fn assembly(&mut self) -> Span {
        let start = self.next_line(self.at);
        let mut at = start;
        while at < self.end {
            let next = self.next_line(at);
            let line = self.text[at..next].trim();
            if line.strip_prefix('#').is_some_and(|it| it.trim_start().starts_with("endasm")) {
                self.at = next;
                self.is_first = true;
                return self.span(start, at);
            }
            at = next;
        }
        self.at = self.end;
        self.span(start, self.end)
    }

    fn next_line(&self, mut at: usize) -> usize {
        while at < self.end {
            match self.line_end(at) {
                0 => at += 1,
                length => return at + length,
            }
        }
        self.end
    }
}

/// The bytes of a string or character constant, with its quotes; characters beyond ASCII are their UTF-8.
pub(crate) fn unquoted(text: &str) -> Vec<u8> {
    let inside = text.as_bytes();
    let inside = inside.get(1..inside.len().saturating_sub(1)).unwrap_or_default();
    let mut bytes = Vec::with_capacity(inside.len());
    let mut at = 0;
    while at < inside.len() {
        let byte = inside[at];
        at += 1;
        if byte != b'\\' || at >= inside.len() {
            bytes.push(byte);
            continue;
        }
        let escape = inside[at];
        at += 1;
        let digits = |at: usize, most: usize, base: u32| {
            inside[at..].iter().take(most).take_while(|it| (**it as char).is_digit(base)).count()
        };
        bytes.push(match escape {
            b'n' => b'\n',
            b't' => b'\t',
            b'r' => b'\r',
            b'b' => 8,
            b'f' => 12,
            b'v' => 11,
            b'a' => 7,
            b'0'..=b'7' => {
                let count = digits(at - 1, 3, 8);
                let value = number(&inside[at - 1..at - 1 + count], 8);
                at += count - 1;
                value
            }
            b'x' if digits(at, 1, 16) > 0 => {
                let count = digits(at, usize::MAX, 16);
                let value = number(&inside[at..at + count], 16);
                at += count;
                value
            }
            other => other,
        });
    }
    bytes
}

/// The low byte of digits.
fn number(digits: &[u8], base: u32) -> u8 {
    let sum =
        |sum: u32, digit: &u8| sum.wrapping_mul(base).wrapping_add((*digit as char).to_digit(base).unwrap_or_default());
    digits.iter().fold(0, sum) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(text: &str) -> Vec<String> {
        let mut interner = Interner::default();
        let mut lexer = Lexer::new(FileKey(0), text);
        std::iter::from_fn(|| lexer.next(&mut interner)).map(|it| it.text.to_string()).collect()
    }

    #[test]
    fn comments_joined_lines_and_every_line_end_are_no_tokens() {
        assert_eq!(all("a/* b\n*/c // d\r\ne\rf\\\ng\x0c\x1a"), ["a", "c", "e", "fg"]);
    }

    #[test]
    fn the_longest_mark_is_taken() {
        assert_eq!(all("a>>=b->c...d=-1"), ["a", ">>=", "b", "->", "c", "...", "d", "=", "-", "1"]);
    }

    #[test]
    fn a_hexadecimal_number_that_ends_in_e_has_no_exponent() {
        assert_eq!(all("0xE+1 1.5e+3 .5"), ["0xE", "+", "1", "1.5e+3", ".5"]);
    }

    // ANSI X3.159-1989, 3.1.3.4: at most three octal digits, any number of hexadecimal ones.
    #[test]
    fn escapes_are_read() {
        assert_eq!(unquoted(r#""a\n\0\033[1\x1b\q""#), b"a\n\0\x1b[1\x1bq");
    }

    #[test]
    fn a_quote_without_its_partner_ends_with_its_line() {
        assert_eq!(all("don't\nx"), ["don", "'t", "x"]);
    }
}
