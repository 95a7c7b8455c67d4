//! What is typed for a verb: text with names in braces.

use std::ops::Range;

/// How a value is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Notation {
    Decimal,
    HexSmall,
    HexCapital,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Text(String),
    Value { name: String, notation: Notation, digits: usize },
}

/// What is put in for a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Put {
    /// A number.
    Number(i64),
    /// A text.
    Text(String),
}

/// The text of a `send`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    pieces: Vec<Piece>,
}

/// What is wrong with a template: where in its text, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TemplateError {
    /// Bytes of the template.
    pub span: Range<usize>,
    /// What was found, and what was expected.
    pub message: String,
}

/// The most digits that can be asked for.
const MOST_DIGITS: usize = 16;

impl Template {
    /// Reads a template.
    ///
    /// # Errors
    /// A brace that is not closed, an empty name, an unknown notation.
    pub fn new(text: &str) -> Result<Self, TemplateError> {
        let mut pieces = Vec::new();
        let mut plain = String::new();
        let mut at = 0;
        while let Some(next) = text[at..].chars().next() {
            let rest = &text[at..];
            if rest.starts_with("{{") || rest.starts_with("}}") {
                plain.push(next);
                at += 2;
            } else if next == '{' {
                let Some(end) = rest.find('}') else {
                    let message = "`{` has no `}`; write `{{` for the brace itself".to_owned();
                    return Err(TemplateError { span: at..text.len(), message });
                };
                if !plain.is_empty() {
                    pieces.push(Piece::Text(std::mem::take(&mut plain)));
                }
                pieces.push(value(&rest[1..end]).map_err(|message| TemplateError { span: at..at + end + 1, message })?);
                at += end + 1;
            } else if next == '}' {
                let message = "`}` has no `{`; write `}}` for the brace itself".to_owned();
                return Err(TemplateError { span: at..at + 1, message });
            } else {
                plain.push(next);
                at += next.len_utf8();
            }
        }
        if !plain.is_empty() {
            pieces.push(Piece::Text(plain));
        }
        Ok(Self { pieces })
    }

    /// The names in its braces.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.pieces.iter().filter_map(|it| if let Piece::Value { name, .. } = it { Some(name.as_str()) } else { None })
    }

    /// What is typed.
    ///
    /// # Errors
    /// The name that has no value, or a number that the notation has no form for: the message says which.
    pub fn text(&self, put: &dyn Fn(&str) -> Option<Put>) -> Result<String, String> {
        let mut text = String::new();
        for piece in &self.pieces {
            match piece {
                Piece::Text(it) => text.push_str(it),
                Piece::Value { name, notation, digits } => match put(name) {
                    None => return Err(format!("`{{{name}}}` has no value")),
                    Some(Put::Text(it)) => text.push_str(&it),
                    Some(Put::Number(it)) if it < 0 => return Err(format!("`{{{name}}}` is {it}, expected 0 or more")),
                    Some(Put::Number(it)) => text.push_str(&match notation {
                        Notation::Decimal => format!("{it:0digits$}"),
                        Notation::HexSmall => format!("{it:0digits$x}"),
                        Notation::HexCapital => format!("{it:0digits$X}"),
                    }),
                },
            }
        }
        Ok(text)
    }

    /// The command that it begins with: its text up to the first blank or value.
    #[must_use]
    pub fn command(&self) -> &str {
        match self.pieces.first() {
            Some(Piece::Text(it)) => it.trim_start().split(' ').next().unwrap_or_default(),
            _ => "",
        }
    }

    /// The values that a typed line has, if it is one that this template makes; in the order of the names.
    #[must_use]
    pub fn values(&self, line: &str) -> Option<Vec<(String, Put)>> {
        let mut found = Vec::new();
        self.read(&self.pieces, line, &mut found).then_some(found)
    }

    fn read(&self, pieces: &[Piece], line: &str, found: &mut Vec<(String, Put)>) -> bool {
        let Some((piece, rest)) = pieces.split_first() else { return line.trim().is_empty() };
        match piece {
            Piece::Text(text) => line.strip_prefix(text.as_str()).is_some_and(|line| self.read(rest, line, found)),
            Piece::Value { name, notation, .. } => {
                let is_last = rest.is_empty();
                // A value ends where the text behind it begins; the longest first, since digits may follow digits.
                let ends: Vec<usize> = line.char_indices().map(|it| it.0).skip(1).chain([line.len()]).collect();
                for end in ends.into_iter().rev() {
                    let written = &line[..end];
                    let radix = if *notation == Notation::Decimal { 10 } else { 16 };
                    let is_digits = !written.is_empty() && written.chars().all(|it| it.is_digit(radix));
                    let put = match i64::from_str_radix(written, radix).ok().filter(|_| is_digits) {
                        Some(it) => Put::Number(it),
                        // Names of files are the only texts; they have no blanks.
                        None if written.contains(' ') || (written.is_empty() && !is_last) => continue,
                        None => Put::Text(written.to_owned()),
                    };
                    found.push((name.clone(), put));
                    if self.read(rest, &line[end..], found) {
                        return true;
                    }
                    found.pop();
                }
                false
            }
        }
    }
}

/// What stands between braces: `NAME`, `NAME:x`, `NAME:08X`.
fn value(text: &str) -> Result<Piece, String> {
    let (name, form) = text.split_once(':').unwrap_or((text, ""));
    let is_name = |it: char| it.is_ascii_alphanumeric() || matches!(it, '-' | '_');
    if name.is_empty() || !name.chars().all(is_name) {
        return Err(format!("`{{{text}}}` has no name, expected one as in `{{from:08x}}`"));
    }
    let (digits, notation) = match form.strip_suffix('x') {
        Some(it) => (it, Notation::HexSmall),
        None => match form.strip_suffix('X') {
            Some(it) => (it, Notation::HexCapital),
            None => (form, Notation::Decimal),
        },
    };
    let digits: usize = if digits.is_empty() { 0 } else { digits.parse().unwrap_or(usize::MAX) };
    if digits > MOST_DIGITS {
        return Err(format!("`{form}` is no notation; expected nothing, `x`, `X`, or digits before it as in `08x`"));
    }
    Ok(Piece::Value { name: name.to_owned(), notation, digits })
}
