//! Formulas over the fields of a block, as rules and layouts write them.
//!
//! A formula that needs a value which is not there, or is not legal, has no value itself: so a rule is silent where one of its
//! inputs is already wrong, without saying so.
//!
//! Values are whole numbers and texts. Operators, loosest first: `or`, `and`, `not`, `== != < <= > >= in`, `+ -`, `* / %`,
//! unary `-`. `/` rounds down. `in` takes a set: `x in {1, 2, 8..15}`. Functions: `given(condition, value)` (no value unless the condition holds),
//! `if(condition, yes, no)`, `first(a, b...)` (the first that is there and not zero), `known(a)`, `ceil(a, b)` (a / b rounded up),
//! `abs(a)`, `min(a, b)`, `max(a, b)`, `power_of_two(a)`, `starts(text, "x")`, `contains(text, "x")`.

use std::fmt;

/// A value of a formula.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scalar {
    /// A whole number; 1 and 0 stand for true and false.
    Number(i64),
    /// A text.
    Text(String),
}

impl Scalar {
    /// The number, if it is one.
    #[must_use]
    pub fn number(&self) -> Option<i64> {
        match self {
            Self::Number(number) => Some(*number),
            Self::Text(_) => None,
        }
    }
}

/// Where a formula gets its names from.
pub trait Names {
    /// The value of a name; none if it is not there.
    fn value(&self, name: &str) -> Option<Scalar>;
}

impl<F: Fn(&str) -> Option<Scalar>> Names for F {
    fn value(&self, name: &str) -> Option<Scalar> {
        self(name)
    }
}

/// What is wrong with the text of a formula, and the byte where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormulaError {
    /// The byte in the formula.
    pub at: usize,
    /// What.
    pub message: String,
}

impl fmt::Display for FormulaError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "column {}: {}", self.at + 1, self.message)
    }
}

impl std::error::Error for FormulaError {}

#[derive(Clone, Debug)]
enum Node {
    Value(Scalar),
    Name(String),
    Not(Box<Node>),
    Negative(Box<Node>),
    Binary(Operator, Box<Node>, Box<Node>),
    In(Box<Node>, Vec<(Node, Node)>),
    Call(Function, Vec<Node>),
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Operator {
    Or,
    And,
    Equal,
    NotEqual,
    Less,
    NotGreater,
    Greater,
    NotLess,
    Add,
    Subtract,
    Multiply,
    Divide,
    Modulo,
}

/// Spelling, operator, rank. Longer spellings first.
const OPERATORS: &[(&str, Operator, u8)] = &[
    ("or", Operator::Or, 1),
    ("and", Operator::And, 2),
    ("==", Operator::Equal, 3),
    ("!=", Operator::NotEqual, 3),
    ("<=", Operator::NotGreater, 3),
    (">=", Operator::NotLess, 3),
    ("<", Operator::Less, 3),
    (">", Operator::Greater, 3),
    ("+", Operator::Add, 4),
    ("-", Operator::Subtract, 4),
    ("*", Operator::Multiply, 5),
    ("/", Operator::Divide, 5),
    ("%", Operator::Modulo, 5),
];

#[derive(Clone, Copy, Debug, PartialEq)]
enum Function {
    Given,
    If,
    First,
    Known,
    Ceil,
    Abs,
    Min,
    Max,
    PowerOfTwo,
    Starts,
    Contains,
}

/// Name, function, fewest and most arguments.
const FUNCTIONS: &[(&str, Function, usize, usize)] = &[
    ("given", Function::Given, 2, 2),
    ("if", Function::If, 3, 3),
    ("first", Function::First, 1, 9),
    ("known", Function::Known, 1, 1),
    ("ceil", Function::Ceil, 2, 2),
    ("abs", Function::Abs, 1, 1),
    ("min", Function::Min, 2, 2),
    ("max", Function::Max, 2, 2),
    ("power_of_two", Function::PowerOfTwo, 1, 1),
    ("starts", Function::Starts, 2, 2),
    ("contains", Function::Contains, 2, 2),
];

/// A formula, read.
#[derive(Clone, Debug)]
pub struct Formula {
    text: String,
    root: Node,
}

impl Formula {
    /// Reads a formula.
    ///
    /// # Errors
    /// The first thing in the text that is no part of a formula.
    pub fn new(text: &str) -> Result<Self, FormulaError> {
        let mut reader = Reader { text, at: 0, depth: 0 };
        let root = reader.binary(0)?;
        reader.blanks();
        if reader.at < text.len() {
            return Err(reader.error("this is no part of the formula"));
        }
        Ok(Self { text: text.to_owned(), root })
    }

    /// The text it was read from.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Its value; none if something that it needs is not there.
    #[must_use]
    pub fn value(&self, names: &dyn Names) -> Option<Scalar> {
        value(&self.root, names)
    }

    /// Its value as a number.
    #[must_use]
    pub fn number(&self, names: &dyn Names) -> Option<i64> {
        self.value(names)?.number()
    }

    /// Whether it holds: it has a value, and that is not zero.
    #[must_use]
    pub fn holds(&self, names: &dyn Names) -> bool {
        self.number(names).is_some_and(|it| it != 0)
    }

    /// The names in it, each once.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        fn walk<'a>(node: &'a Node, found: &mut Vec<&'a str>) {
            match node {
                Node::Value(_) => (),
                Node::Name(name) => {
                    if !found.contains(&name.as_str()) {
                        found.push(name);
                    }
                }
                Node::Not(inner) | Node::Negative(inner) => walk(inner, found),
                Node::Binary(_, left, right) => {
                    walk(left, found);
                    walk(right, found);
                }
                Node::In(inner, set) => {
                    walk(inner, found);
                    for (from, to) in set {
                        walk(from, found);
                        walk(to, found);
                    }
                }
                Node::Call(_, arguments) => arguments.iter().for_each(|it| walk(it, found)),
            }
        }
        let mut found = Vec::new();
        walk(&self.root, &mut found);
        found
    }
}

fn value(node: &Node, names: &dyn Names) -> Option<Scalar> {
    let truth = |it: bool| Some(Scalar::Number(i64::from(it)));
    match node {
        Node::Value(scalar) => Some(scalar.clone()),
        Node::Name(name) => names.value(name),
        Node::Not(inner) => truth(value(inner, names)?.number()? == 0),
        Node::Negative(inner) => Some(Scalar::Number(value(inner, names)?.number()?.checked_neg()?)),
        Node::In(inner, set) => {
            let it = value(inner, names)?.number()?;
            for (from, to) in set {
                if (value(from, names)?.number()?..=value(to, names)?.number()?).contains(&it) {
                    return truth(true);
                }
            }
            truth(false)
        }
        Node::Binary(operator, left, right) => {
            let left = value(left, names);
            // `a and b` is false where a is, whatever b is; `or` likewise.
            match (operator, left.as_ref().and_then(Scalar::number)) {
                (Operator::And, Some(0)) => return truth(false),
                (Operator::Or, Some(it)) if it != 0 => return truth(true),
                _ => (),
            }
            let right = value(right, names);
            match (operator, right.as_ref().and_then(Scalar::number)) {
                (Operator::And, Some(0)) => return truth(false),
                (Operator::Or, Some(it)) if it != 0 => return truth(true),
                _ => (),
            }
            binary(*operator, &left?, &right?)
        }
        Node::Call(function, arguments) => call(*function, arguments, names),
    }
}

fn binary(operator: Operator, left: &Scalar, right: &Scalar) -> Option<Scalar> {
    let truth = |it: bool| Some(Scalar::Number(i64::from(it)));
    if let (Scalar::Text(left), Scalar::Text(right)) = (left, right) {
        return match operator {
            Operator::Equal => truth(left == right),
            Operator::NotEqual => truth(left != right),
            _ => None,
        };
    }
    let (left, right) = (left.number()?, right.number()?);
    Some(Scalar::Number(match operator {
        Operator::Or => i64::from(left != 0 || right != 0),
        Operator::And => i64::from(left != 0 && right != 0),
        Operator::Equal => i64::from(left == right),
        Operator::NotEqual => i64::from(left != right),
        Operator::Less => i64::from(left < right),
        Operator::NotGreater => i64::from(left <= right),
        Operator::Greater => i64::from(left > right),
        Operator::NotLess => i64::from(left >= right),
        Operator::Add => left.checked_add(right)?,
        Operator::Subtract => left.checked_sub(right)?,
        Operator::Multiply => left.checked_mul(right)?,
        Operator::Divide => left.checked_div_euclid(right)?,
        Operator::Modulo => left.checked_rem_euclid(right)?,
    }))
}

fn call(function: Function, arguments: &[Node], names: &dyn Names) -> Option<Scalar> {
    let at = |at: usize| value(arguments.get(at)?, names);
    let number = |index: usize| at(index)?.number();
    let text = |index: usize| match at(index)? {
        Scalar::Text(text) => Some(text),
        Scalar::Number(_) => None,
    };
    let truth = |it: bool| Some(Scalar::Number(i64::from(it)));
    match function {
        Function::Given => {
            if number(0)? != 0 {
                at(1)
            } else {
                None
            }
        }
        Function::If => at(if number(0)? != 0 { 1 } else { 2 }),
        Function::First => (0..arguments.len()).filter_map(number).find(|it| *it != 0).map(Scalar::Number),
        Function::Known => truth(at(0).is_some()),
        Function::Ceil => {
            let (number, by) = (number(0)?, number(1)?);
            Some(Scalar::Number(number.checked_add(by.checked_sub(1)?)?.checked_div_euclid(by)?))
        }
        Function::Abs => Some(Scalar::Number(number(0)?.checked_abs()?)),
        Function::Min => Some(Scalar::Number(number(0)?.min(number(1)?))),
        Function::Max => Some(Scalar::Number(number(0)?.max(number(1)?))),
        Function::PowerOfTwo => truth(u64::try_from(number(0)?).is_ok_and(u64::is_power_of_two)),
        Function::Starts => truth(text(0)?.starts_with(&text(1)?)),
        Function::Contains => truth(text(0)?.contains(&text(1)?)),
    }
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
    depth: u32,
}

impl Reader<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    fn error(&self, message: &str) -> FormulaError {
        FormulaError { at: self.at, message: message.to_owned() }
    }

    fn blanks(&mut self) {
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

    fn word(&self) -> &str {
        let rest = self.rest();
        let end = rest.find(|it: char| !(it.is_ascii_alphanumeric() || it == '_')).unwrap_or(rest.len());
        &rest[..end]
    }

    fn binary(&mut self, above: u8) -> Result<Node, FormulaError> {
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

/// A text with formulas in it: `{total}` gives the number, `{format_identifier:hex}` as `$F9`.
#[derive(Clone, Debug)]
pub struct Template {
    parts: Vec<Part>,
}

#[derive(Clone, Debug)]
enum Part {
    Text(String),
    Decimal(Formula),
    Hex(Formula),
}

impl Template {
    /// Reads a template.
    ///
    /// # Errors
    /// The first formula in it that cannot be read, or a brace without its fellow.
    pub fn new(text: &str) -> Result<Self, FormulaError> {
        let (mut parts, mut at) = (Vec::new(), 0);
        while let Some(open) = text[at..].find('{') {
            parts.push(Part::Text(text[at..at + open].to_owned()));
            let start = at + open + 1;
            let close = text[start..].find('}').ok_or(FormulaError { at: start, message: "`}` is missing".into() })?;
            let inside = &text[start..start + close];
            let shifted = |error: FormulaError| FormulaError { at: error.at + start, ..error };
            parts.push(match inside.strip_suffix(":hex") {
                Some(formula) => Part::Hex(Formula::new(formula).map_err(shifted)?),
                None => Part::Decimal(Formula::new(inside).map_err(shifted)?),
            });
            at = start + close + 1;
        }
        parts.push(Part::Text(text[at..].to_owned()));
        Ok(Self { parts })
    }

    /// The text with the values put in; `?` for a value that is not there.
    #[must_use]
    pub fn text(&self, names: &dyn Names) -> String {
        let mut text = String::new();
        for part in &self.parts {
            match part {
                Part::Text(part) => text.push_str(part),
                Part::Decimal(formula) => match formula.value(names) {
                    Some(Scalar::Number(number)) => text.push_str(&number.to_string()),
                    Some(Scalar::Text(part)) => text.push_str(part.trim_end()),
                    None => text.push('?'),
                },
                Part::Hex(formula) => match formula.number(names) {
                    Some(number) => text.push_str(&format!("${number:02X}")),
                    None => text.push('?'),
                },
            }
        }
        text
    }

    /// The names of all formulas in it.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        let formulas = self.parts.iter().filter_map(|part| match part {
            Part::Text(_) => None,
            Part::Decimal(formula) | Part::Hex(formula) => Some(formula),
        });
        formulas.flat_map(Formula::names).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::{Formula, Scalar, Template};

    fn names(name: &str) -> Option<Scalar> {
        match name {
            "a" => Some(Scalar::Number(7)),
            "zero" => Some(Scalar::Number(0)),
            "label" => Some(Scalar::Text("FAT12   ".into())),
            _ => None,
        }
    }

    fn number(text: &str) -> Option<i64> {
        Formula::new(text).unwrap().number(&names)
    }

    #[test]
    fn formulas_have_ranks_and_functions() {
        assert_eq!(number("1 + 2 * a"), Some(15));
        assert_eq!(number("(1 + 2) * a - -1"), Some(22));
        assert_eq!(number("a in {1, 5..8} and not a == 8"), Some(1));
        assert_eq!(number("ceil(a * 3, 2)"), Some(11));
        assert_eq!(number("if(power_of_two(a + 1), 0x10, 2)"), Some(16));
        assert_eq!(number("first(zero, a)"), Some(7));
        assert_eq!(number("starts(label, \"FAT\")"), Some(1));
        assert_eq!(number("2 + 3 in {5}"), Some(1));
    }

    #[test]
    fn what_is_not_there_makes_a_formula_silent() {
        assert_eq!(number("a + nothing"), None);
        assert_eq!(number("a / zero"), None);
        assert_eq!(number("given(a > 10, a)"), None);
        assert_eq!(number("a > 10 and nothing"), Some(0));
        assert_eq!(number("nothing or a"), Some(1));
        assert_eq!(number("known(nothing)"), Some(0));
        assert!(!Formula::new("nothing == 1").unwrap().holds(&names));
    }

    #[test]
    fn bad_formulas_are_told_with_their_place() {
        for (text, at) in [("1 +", 3), ("a b", 2), ("frob(1)", 0), ("(1", 2), ("a in 5", 5), ("\"x", 1), ("", 0)] {
            assert_eq!(Formula::new(text).unwrap_err().at, at, "{text}");
        }
        assert!(Formula::new(&"(".repeat(10_000)).is_err());
    }

    #[test]
    fn templates_put_values_in() {
        assert_eq!(Template::new("{a} is {a:hex}, {nothing}").unwrap().text(&names), "7 is $07, ?");
        assert!(Template::new("{a").is_err());
    }
}
