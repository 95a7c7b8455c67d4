//! Formulas over the fields of a block, as rules and layouts write them.
//!
//! A formula that needs a value which is not there, or is not legal, has no value itself: so a rule is silent where one of its
//! inputs is already wrong, without saying so.
//!
//! Values are whole numbers, texts and lists of numbers (the rows of a field that repeats). Operators, loosest first: `or`, `and`, `not`, `== != < <= > >= in`, `+ -`, `* / %`,
//! unary `-`. `/` rounds down. `in` takes a set: `x in {1, 2, 8..15}`. Functions: `given(condition, value)` (no value unless the condition holds),
//! `if(condition, yes, no)`, `first(a, b...)` (the first that is there and not zero), `known(a)`, `ceil(a, b)` (a / b rounded up),
//! `abs(a)`, `min(a, b)`, `max(a, b)`, `power_of_two(a)`, `pow2(a)` (2 to the a), `ones(a)` (bits that are set), `bits(a, b)` (those of a that b has too),
//! `gcd(a, b)`, `starts(text, "x")`, `contains(text, "x")`; of lists `count(l)`, `distinct(l)`, `least(l)`, `greatest(l)`, `at(l, n)` (the n-th, from 0), `place(l, x)`
//! (where x stands first).

mod explain;
mod read;
mod template;

use std::fmt;

use read::Reader;
pub use template::Template;

/// A value of a formula.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scalar {
    /// A whole number; 1 and 0 stand for true and false.
    Number(i64),
    /// A text.
    Text(String),
    /// The numbers of a field that repeats, in order.
    List(Vec<i64>),
}

impl Scalar {
    /// The number, if it is one.
    #[must_use]
    pub fn number(&self) -> Option<i64> {
        match self {
            Self::Number(number) => Some(*number),
            Self::Text(_) | Self::List(_) => None,
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
    Pow2,
    Ones,
    Bits,
    Gcd,
    Starts,
    Contains,
    Count,
    Distinct,
    Least,
    Greatest,
    At,
    Place,
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
    ("pow2", Function::Pow2, 1, 1),
    ("ones", Function::Ones, 1, 1),
    ("bits", Function::Bits, 2, 2),
    ("gcd", Function::Gcd, 2, 2),
    ("starts", Function::Starts, 2, 2),
    ("contains", Function::Contains, 2, 2),
    ("count", Function::Count, 1, 1),
    ("distinct", Function::Distinct, 1, 1),
    ("least", Function::Least, 1, 1),
    ("greatest", Function::Greatest, 1, 1),
    ("at", Function::At, 2, 2),
    ("place", Function::Place, 2, 2),
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

    /// Its text with the numbers put in: `(1440 - 14) / 2`. Of what chooses, the branch that counts.
    #[must_use]
    pub fn explained(&self, names: &dyn Names) -> String {
        explain::explain(&self.root, names, 0)
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
        Scalar::Number(_) | Scalar::List(_) => None,
    };
    let list = |index: usize| match at(index)? {
        Scalar::List(list) => Some(list),
        Scalar::Number(_) | Scalar::Text(_) => None,
    };
    let of_len = |len: usize| i64::try_from(len).ok().map(Scalar::Number);
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
        Function::Pow2 => {
            let by = u32::try_from(number(0)?).ok().filter(|it| *it < 63)?;
            Some(Scalar::Number(1 << by))
        }
        Function::Ones => Some(Scalar::Number(number(0)?.count_ones().into())),
        Function::Bits => Some(Scalar::Number(number(0)? & number(1)?)),
        Function::Gcd => {
            let (mut a, mut b) = (number(0)?.checked_abs()?, number(1)?.checked_abs()?);
            while b != 0 {
                (a, b) = (b, a % b);
            }
            Some(Scalar::Number(a))
        }
        Function::Count => of_len(list(0)?.len()),
        Function::Distinct => {
            let mut list = list(0)?;
            list.sort_unstable();
            list.dedup();
            of_len(list.len())
        }
        Function::Least => list(0)?.iter().min().copied().map(Scalar::Number),
        Function::Greatest => list(0)?.iter().max().copied().map(Scalar::Number),
        Function::At => list(0)?.get(usize::try_from(number(1)?).ok()?).copied().map(Scalar::Number),
        Function::Place => {
            let wanted = number(1)?;
            of_len(list(0)?.iter().position(|it| *it == wanted)?)
        }
        Function::Starts => truth(text(0)?.starts_with(&text(1)?)),
        Function::Contains => truth(text(0)?.contains(&text(1)?)),
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
            "order" => Some(Scalar::List(vec![1, 7, 4, 7])),
            "paper-speed" => Some(Scalar::Number(60)),
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
        assert_eq!(number("pow2(a) + ones(a) + bits(a, 12) + gcd(12, a + 2)"), Some(128 + 3 + 4 + 3));
        assert_eq!(number("pow2(63)"), None);
    }

    #[test]
    fn a_list_is_counted_and_looked_into() {
        assert_eq!(number("count(order) * 10 + distinct(order)"), Some(43));
        assert_eq!(number("least(order) * 10 + greatest(order)"), Some(17));
        assert_eq!(number("at(order, 2) * 10 + place(order, 7)"), Some(41));
        assert_eq!(number("at(order, 4)"), None);
        assert_eq!(number("place(order, 5)"), None);
        assert_eq!(number("count(a)"), None);
        assert_eq!(number("order + 1"), None);
    }

    #[test]
    fn a_name_may_have_hyphens_inside() {
        assert_eq!(number("paper-speed * 2 <= 120"), Some(1));
        assert_eq!(number("a - zero"), Some(7));
        assert_eq!(number("a -1"), Some(6));
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
    fn a_formula_is_explained_with_its_numbers() {
        let explained = |text: &str| Formula::new(text).unwrap().explained(&names);
        assert_eq!(explained("(a - 1) / 2"), "(7 - 1) / 2");
        assert_eq!(explained("a - (1 - zero)"), "7 - (1 - 0)");
        assert_eq!(explained("ceil((a + 2) * 3, 2)"), "ceil((7 + 2) * 3, 2)");
        assert_eq!(explained("given(a in {1..9}, a * 2)"), "7 * 2");
        assert_eq!(explained("if(a < 4, 12, first(zero, a + 1)) * 2"), "(7 + 1) * 2");
        assert_eq!(explained("nothing + 1"), "nothing + 1");
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
