//! A script's text as lines of tokens.

use std::ops::Range;
use std::time::Duration;

/// What a token is.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// A word or a name.
    Word,
    /// A number, with its size's factor put in.
    Number(i64),
    /// Digits and letters that are neither number nor time, such as `8n1`.
    Mixed,
    /// A time.
    Time(Duration),
    /// A text between double quotes, its escapes put in.
    Text(String),
    /// Characters between single quotes as a number.
    Characters(i64),
    /// A sign: an operator, a bracket, a comma.
    Sign(&'static str),
    /// What cannot be read, with the reason.
    Bad(String),
}

/// A token, and its bytes in the text.
#[derive(Clone, Debug)]
pub struct Token {
    /// What it is.
    pub kind: Kind,
    /// Its bytes.
    pub span: Range<usize>,
}

/// A line, with those that continue it.
#[derive(Clone, Debug)]
pub struct Line {
    /// The number of its first line, from 0.
    pub number: usize,
    /// Its tokens.
    pub tokens: Vec<Token>,
    /// The comment with its `#`, if there is one.
    pub comment: Option<Range<usize>>,
    /// Its bytes without blanks at its start and end, comment excluded: where something is missing, it is missing at the end of this.
    pub span: Range<usize>,
}

/// The most tokens of a line: what it says can be no deeper than it is long.
pub(crate) const MOST_TOKENS: usize = 500;

/// Signs, the longer ones before those that they begin with.
const SIGNS: &[&str] = &[
    "..", "+:", "||", "&&", "<<", ">>", "<=", ">=", "==", "!=", "(", ")", "[", "]", ",", ".", "+", "-", "*", "/", "%",
    "&", "|", "^", "~", "!", "<", ">",
];

/// The escapes of texts, and the characters that they stand for.
pub(crate) const ESCAPES: &[(char, char)] =
    &[('r', '\r'), ('n', '\n'), ('t', '\t'), ('e', '\x1b'), ('0', '\0'), ('\\', '\\'), ('"', '"'), ('\'', '\'')];

/// Splits a text into lines of tokens. Lines without a token and a comment are left out.
#[must_use]
pub fn lines(text: &str) -> Vec<Line> {
    let mut reader = Reader { text, at: 0, number: 0 };
    let mut found = Vec::new();
    while reader.at < text.len() {
        let line = reader.line();
        if !line.tokens.is_empty() || line.comment.is_some() {
            found.push(line);
        }
    }
    found
}

struct Reader<'t> {
    text: &'t str,
    at: usize,
    number: usize,
}

impl<'t> Reader<'t> {
    fn rest(&self) -> &'t str {
        &self.text[self.at..]
    }

    fn line(&mut self) -> Line {
        let number = self.number;
        let (mut tokens, mut comment): (Vec<Token>, _) = (Vec::new(), None);
        let start = self.at;
        loop {
            let rest = self.rest();
            let Some(next) = rest.chars().next() else { break };
            match next {
                '\r' | '\n' => {
                    self.newline();
                    break;
                }
                '\\' if self.continues() => continue,
                '#' => {
                    let end = rest.find(['\r', '\n']).unwrap_or(rest.len());
                    comment = Some(self.at..self.at + end);
                    self.at += end;
                }
                it if it.is_whitespace() || it == '\u{feff}' => self.at += it.len_utf8(),
                _ => tokens.push(self.token(next, tokens.last())),
            }
        }
        let first = tokens.first().map_or(start, |it| it.span.start);
        let end = tokens.last().map_or(first, |it| it.span.end);
        Line { number, tokens, comment, span: first..end }
    }

    fn newline(&mut self) {
        self.at += if self.rest().starts_with("\r\n") { 2 } else { 1 };
        self.number += 1;
    }

    /// Passes over a `\` at the end of a line.
    fn continues(&mut self) -> bool {
        let behind = &self.rest()[1..];
        if !behind.starts_with(['\r', '\n']) {
            return false;
        }
        self.at = self.text.len() - behind.len();
        self.newline();
        true
    }

    fn token(&mut self, first: char, before: Option<&Token>) -> Token {
        let start = self.at;
        let rest = self.rest();
        let is_word = |it: char| it.is_ascii_alphanumeric() || matches!(it, '_' | '$');
        // `a % 10` and `a%10` are remainders, ` %10` is a binary number.
        let behind_value = before.is_some_and(|it| it.span.end == start && !matches!(it.kind, Kind::Sign(_)));
        let starts_binary = !behind_value && first == '%' && rest[1..].starts_with(['0', '1']);
        let kind = match first {
            '"' | '\'' => {
                let (kind, length) = quoted(rest, first);
                self.at += length;
                return Token { kind, span: start..self.at };
            }
            _ if first.is_ascii_digit() || first == '$' || starts_binary => {
                let end = rest[1..].find(|it| !is_word(it)).map_or(rest.len(), |it| it + 1);
                self.at += end;
                number(&rest[..end])
            }
            _ if first.is_ascii_alphabetic() || first == '_' => {
                self.at += rest.find(|it| !is_word(it)).unwrap_or(rest.len());
                Kind::Word
            }
            _ => match SIGNS.iter().find(|it| rest.starts_with(**it)) {
                Some(sign) => {
                    self.at += sign.len();
                    Kind::Sign(sign)
                }
                None => {
                    self.at += first.len_utf8();
                    Kind::Bad(format!("`{}` means nothing here", first.escape_debug()))
                }
            },
        };
        Token { kind, span: start..self.at }
    }
}

/// A number, a size, a time, or what only begins with a digit.
fn number(text: &str) -> Kind {
    let radix = |digits: &str, radix| {
        let digits = digits.replace('_', "");
        i64::from_str_radix(&digits, radix)
            .map_or_else(|_| Kind::Bad(format!("`{text}` is no number of 64 bits")), Kind::Number)
    };
    if let Some(digits) = text.strip_prefix('$').or_else(|| text.strip_prefix("0x")).or_else(|| text.strip_prefix("0X"))
    {
        return radix(digits, 16);
    }
    if let Some(digits) = text.strip_prefix('%') {
        return radix(digits, 2);
    }
    let end = text.find(|it: char| !it.is_ascii_digit() && it != '_').unwrap_or(text.len());
    let (digits, unit) = text.split_at(end);
    let Kind::Number(value) = radix(digits, 10) else { return radix(digits, 10) };
    let factor = |by: i64| {
        value.checked_mul(by).map_or_else(|| Kind::Bad(format!("`{text}` is no number of 64 bits")), Kind::Number)
    };
    let time = |ms: i64| match value.checked_mul(ms).and_then(|it| u64::try_from(it).ok()) {
        Some(it) if it <= MOST_MS => Kind::Time(Duration::from_millis(it)),
        _ => Kind::Bad(format!("`{text}` is longer than a day")),
    };
    match unit {
        "" => Kind::Number(value),
        "k" => factor(1024),
        "m" => factor(1024 * 1024),
        "ms" => time(1),
        "s" => time(1000),
        "min" => time(60_000),
        _ => Kind::Mixed,
    }
}

/// A day.
const MOST_MS: u64 = 24 * 60 * 60 * 1000;

/// A text or characters from their opening quote on; and their length with both quotes.
fn quoted(rest: &str, quote: char) -> (Kind, usize) {
    let mut text = String::new();
    let mut wrong = None;
    let mut chars = rest.char_indices().skip(1).peekable();
    let mut length = rest.find(['\r', '\n']).unwrap_or(rest.len());
    let mut is_closed = false;
    while let Some((at, it)) = chars.next() {
        match it {
            '\r' | '\n' => break,
            _ if it == quote => {
                length = at + 1;
                is_closed = true;
                break;
            }
            '\\' => {
                let Some((_, kind)) = chars.next().filter(|it| !matches!(it.1, '\r' | '\n')) else { break };
                if kind == 'x' {
                    let digits = rest.get(at + 2..at + 4).and_then(|it| u8::from_str_radix(it, 16).ok());
                    match digits {
                        Some(byte) => {
                            text.push(char::from(byte));
                            chars.next();
                            chars.next();
                        }
                        None => wrong = Some("`\\x` needs two hexadecimal digits, as in `\\x1b`".to_owned()),
                    }
                } else if let Some((_, it)) = ESCAPES.iter().find(|it| it.0 == kind) {
                    text.push(*it);
                } else {
                    wrong = Some(format!("`\\{kind}` is no escape; write `\\\\` for a backslash"));
                }
            }
            _ => text.push(it),
        }
    }
    if !is_closed {
        return (Kind::Bad(format!("a closing {quote} is missing")), length);
    }
    if let Some(wrong) = wrong {
        return (Kind::Bad(wrong), length);
    }
    if quote == '"' {
        return (Kind::Text(text), length);
    }
    let bytes: Option<Vec<u8>> = text.chars().map(|it| u8::try_from(u32::from(it)).ok()).collect();
    match bytes {
        Some(it) if (1..=4).contains(&it.len()) => {
            let value = it.iter().fold(0, |value, byte| value << 8 | i64::from(*byte));
            (Kind::Characters(value), length)
        }
        _ => (Kind::Bad("single quotes hold one to four characters; texts have double quotes".into()), length),
    }
}
