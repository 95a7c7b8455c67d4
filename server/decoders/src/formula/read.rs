//! How the text of a formula is read.

use super::{FUNCTIONS, FormulaError, Node, OPERATORS, Scalar};

pub(super) struct Reader<'a> {
    pub(super) text: &'a str,
    pub(super) at: usize,
    pub(super) depth: u32,
}

impl Reader<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    pub(super) fn error(&self, message: &str) -> FormulaError {
        FormulaError { at: self.at, message: message.to_owned() }
    }

    pub(super) fn blanks(&mut self) {
        self.at += self.rest().len() - self.rest().trim_start().len();
    }

    fn takes(&mut self, spelling: &str) -> bool {
        self.blanks();
        let is_there = self.rest().starts_with(spelling);
        if is_there {
            self.at += spelling.len();
        }
        is_there
    }

    fn expects(&mut self, spelling: &str) -> Result<(), FormulaError> {
        if self.takes(spelling) { Ok(()) } else { Err(self.error(&format!("`{spelling}` is missing here"))) }
    }

    /// A word may have hyphens inside, as names in machine files do: a minus behind a name wants a blank before it.
    fn word(&self) -> &str {
        let rest = self.rest();
        let is_name = |it: u8| it.is_ascii_alphanumeric() || it == b'_';
        let bytes = rest.as_bytes();
        let starts_name = bytes.first().is_some_and(u8::is_ascii_alphabetic);
        let mut end = 0;
        while bytes.get(end).is_some_and(|it| {
            is_name(*it)
                || *it == b'-' && starts_name && end > 0 && bytes.get(end + 1).is_some_and(u8::is_ascii_alphabetic)
        }) {
            end += 1;
        }
        &rest[..end]
    }

    pub(super) fn binary(&mut self, above: u8) -> Result<Node, FormulaError> {
        self.depth += 1;
        if self.depth > 60 {
            return Err(self.error("the formula nests too deep"));
        }
        let mut left = self.unary()?;
        loop {
            self.blanks();
            if above < 3 && self.word() == "in" {
                self.at += 2;
                left = Node::In(Box::new(left), self.set()?);
                continue;
            }
            let found = OPERATORS.iter().find(|(spelling, ..)| {
                if spelling.starts_with(|it: char| it.is_ascii_alphabetic()) {
                    self.word() == *spelling
                } else {
                    self.rest().starts_with(spelling)
                }
            });
            let Some((spelling, operator, rank)) = found.filter(|it| it.2 > above) else {
                self.depth -= 1;
                return Ok(left);
            };
            self.at += spelling.len();
            let right = self.binary(*rank)?;
            left = Node::Binary(*operator, Box::new(left), Box::new(right));
        }
    }

    fn set(&mut self) -> Result<Vec<(Node, Node)>, FormulaError> {
        self.expects("{")?;
        let mut set = Vec::new();
        loop {
            let from = self.binary(3)?;
            let to = if self.takes("..") { self.binary(3)? } else { from.clone() };
            set.push((from, to));
            if !self.takes(",") {
                self.expects("}")?;
                return Ok(set);
            }
        }
    }

    fn unary(&mut self) -> Result<Node, FormulaError> {
        self.blanks();
        if self.takes("(") {
            let inner = self.binary(0)?;
            self.expects(")")?;
            return Ok(inner);
        }
        if self.takes("-") {
            return Ok(Node::Negative(Box::new(self.binary(5)?)));
        }
        if self.takes("\"") {
            let Some(end) = self.rest().find('"') else { return Err(self.error("the text has no closing quote")) };
            let text = self.rest()[..end].to_owned();
            self.at += end + 1;
            return Ok(Node::Value(Scalar::Text(text)));
        }
        let word = self.word().to_owned();
        match word.as_bytes().first() {
            None => Err(self.error("a value is missing here")),
            Some(b'0'..=b'9') => {
                let number = match word.strip_prefix("0x") {
                    Some(digits) => i64::from_str_radix(digits, 16),
                    None => word.parse(),
                };
                let number = number.map_err(|_| self.error("this is no number"))?;
                self.at += word.len();
                Ok(Node::Value(Scalar::Number(number)))
            }
            _ if word == "not" => {
                self.at += word.len();
                Ok(Node::Not(Box::new(self.binary(2)?)))
            }
            _ => {
                let start = self.at;
                self.at += word.len();
                if !self.takes("(") {
                    return Ok(Node::Name(word));
                }
                let Some((_, function, least, most)) = FUNCTIONS.iter().find(|it| it.0 == word) else {
                    self.at = start;
                    return Err(self.error(&format!("there is no function `{word}`")));
                };
                let mut arguments = vec![self.binary(0)?];
                while self.takes(",") {
                    arguments.push(self.binary(0)?);
                }
                self.expects(")")?;
                if !(*least..=*most).contains(&arguments.len()) {
                    return Err(self.error(&format!("`{word}` takes {least} to {most} values")));
                }
                Ok(Node::Call(*function, arguments))
            }
        }
    }
}
