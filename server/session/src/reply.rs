//! What comes back: lines held against a regular expression; and lines that such an expression matches, for the rehearsal.

use regex::bytes::{Regex, RegexBuilder};
use regex_syntax::ParserBuilder;
use regex_syntax::hir::{Class, Hir, HirKind, Repetition};

/// A regular expression of the vocabulary, over bytes: `.` is any byte but a line's end.
#[derive(Clone, Debug)]
pub struct Pattern {
    regex: Regex,
    hir: Hir,
}

/// The most bytes that a compiled expression may take.
const MOST_SIZE: usize = 1 << 20;

/// How many bytes a line of a dump shows where the expression leaves that open.
const LINE_BYTES: usize = 16;

/// What a group of a made line shows.
pub enum Shown<'a> {
    /// A text.
    Text(&'a str),
    /// A number in hexadecimal, with as many digits as the group has.
    Number(i64),
    /// Bytes in hexadecimal, from a function of their place in the line; so many at least if they fit.
    Bytes(&'a dyn Fn(usize) -> u8, usize),
}

/// A made line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// The line without its end.
    pub text: Vec<u8>,
    /// How many bytes it shows.
    pub bytes: usize,
}

impl Pattern {
    /// Compiles an expression.
    ///
    /// # Errors
    /// What is wrong with it, in one line.
    pub fn new(text: &str) -> Result<Self, String> {
        let build = |text: &str| RegexBuilder::new(text).unicode(false).size_limit(MOST_SIZE).build();
        let regex = build(text).map_err(|error| match error {
            regex::Error::CompiledTooBig(_) => "it takes too much memory; use smaller counts".to_owned(),
            // The last line of the message is the reason; those before it draw the expression.
            other => {
                let text = other.to_string();
                let last = text.lines().last().unwrap_or_default().trim();
                last.strip_prefix("error: ").unwrap_or(last).to_owned()
            }
        })?;
        let hir = ParserBuilder::new().unicode(false).utf8(false).build().parse(text);
        Ok(Self { regex, hir: hir.map_err(|error| error.to_string())? })
    }

    /// The expression itself.
    #[must_use]
    pub fn regex(&self) -> &Regex {
        &self.regex
    }

    /// Whether it has a named group.
    #[must_use]
    pub fn has_group(&self, name: &str) -> bool {
        self.regex.capture_names().flatten().any(|it| it == name)
    }

    /// The named groups that a line has; none if it does not match.
    #[must_use]
    pub fn groups(&self, line: &[u8]) -> Option<Vec<(String, String)>> {
        let found = self.regex.captures(line)?;
        let named = self.regex.capture_names().flatten();
        let named = named.filter_map(|name| {
            Some((name.to_owned(), String::from_utf8_lossy(found.name(name)?.as_bytes()).into_owned()))
        });
        Some(named.collect())
    }

    /// A line that matches, its groups showing what is given; none where no such line is found.
    #[must_use]
    pub fn line(&self, shown: &[(&str, Shown<'_>)]) -> Option<Made> {
        let mut maker = Maker { shown, text: Vec::new(), digits: Vec::new(), used: 0, least: 0, bytes: 0 };
        maker.make(&self.hir)?;
        let (text, bytes) = (maker.text, maker.bytes);
        let groups = self.groups(&text)?;
        // What was made has to say what it was made to say.
        let is_right = shown.iter().filter(|it| self.has_group(it.0)).all(|(name, shown)| {
            let Some((_, found)) = groups.iter().find(|it| it.0 == *name) else { return false };
            match shown {
                Shown::Text(it) => found == it,
                Shown::Number(it) => i64::from_str_radix(found, 16) == Ok(*it),
                Shown::Bytes(of, least) => hex_bytes(found).is_some_and(|it| {
                    it.len() == bytes && bytes >= 1.min(*least) && it.iter().enumerate().all(|it| *it.1 == of(it.0))
                }),
            }
        });
        is_right.then_some(Made { text, bytes })
    }
}

/// The bytes that a text shows in hexadecimal; blanks and other signs between digits are passed over. None for an odd count of digits.
#[must_use]
pub fn hex_bytes(text: &str) -> Option<Vec<u8>> {
    let digits: Vec<u8> =
        text.chars().filter_map(|it| it.to_digit(16)).filter_map(|it| u8::try_from(it).ok()).collect();
    (digits.len().is_multiple_of(2)).then(|| digits.chunks(2).map(|it| it[0] << 4 | it[1]).collect())
}

/// Walks an expression and writes what it matches.
struct Maker<'a> {
    shown: &'a [(&'a str, Shown<'a>)],
    text: Vec<u8>,
    /// The digits of the group that is being written, last one first; empty outside of one.
    digits: Vec<u8>,
    /// Bytes of which digits were taken.
    used: usize,
    /// How many bytes the line should show.
    least: usize,
    bytes: usize,
}

impl Maker<'_> {
    fn make(&mut self, hir: &Hir) -> Option<()> {
        match hir.kind() {
            HirKind::Empty | HirKind::Look(_) => Some(()),
            HirKind::Literal(it) => {
                self.text.extend_from_slice(&it.0);
                Some(())
            }
            HirKind::Class(class) => {
                let byte = filler(class)?;
                self.text.push(byte);
                Some(())
            }
            HirKind::Repetition(it) => (0..it.min).try_for_each(|_| self.make(&it.sub)),
            HirKind::Concat(all) => all.iter().try_for_each(|it| self.make(it)),
            HirKind::Alternation(all) => {
                let length = self.text.len();
                all.iter().find_map(|it| {
                    self.text.truncate(length);
                    self.make(it)
                })
            }
            HirKind::Capture(it) => {
                let shown = it.name.as_deref().and_then(|name| self.shown.iter().find(|it| it.0 == name));
                match shown.map(|it| &it.1) {
                    None => self.make(&it.sub),
                    Some(Shown::Text(text)) => {
                        self.text.extend_from_slice(text.as_bytes());
                        Some(())
                    }
                    Some(Shown::Number(value)) => {
                        let digits = it.sub.properties().maximum_len().unwrap_or(0);
                        let small = has_small_digits(&it.sub);
                        let digits = if it.sub.properties().minimum_len() == Some(digits) { digits } else { 0 };
                        let text = if small { format!("{value:0digits$x}") } else { format!("{value:0digits$X}") };
                        self.text.extend_from_slice(text.as_bytes());
                        Some(())
                    }
                    Some(Shown::Bytes(of, least)) => {
                        self.least = (*least).min(LINE_BYTES);
                        let small = has_small_digits(&it.sub);
                        let next = |at: usize| {
                            let text = if small { format!("{:02x}", of(at)) } else { format!("{:02X}", of(at)) };
                            text.into_bytes()
                        };
                        self.dump(&it.sub, &next)?;
                        // A byte of which one digit alone is shown is none.
                        self.bytes = self.used;
                        self.digits.is_empty().then_some(())
                    }
                }
            }
        }
    }

    /// The part of an expression that shows bytes: its classes take digits, and it repeats what takes digits until all are shown.
    fn dump(&mut self, hir: &Hir, next: &dyn Fn(usize) -> Vec<u8>) -> Option<()> {
        match hir.kind() {
            HirKind::Class(class) if takes_digits(class) => {
                if self.digits.is_empty() {
                    self.digits = next(self.used);
                    self.digits.reverse();
                    self.used += 1;
                }
                self.text.push(self.digits.pop()?);
                Some(())
            }
            HirKind::Repetition(it) => self.repeat(it, next),
            HirKind::Concat(all) => all.iter().try_for_each(|it| self.dump(it, next)),
            HirKind::Capture(it) => self.dump(&it.sub, next),
            HirKind::Alternation(all) => all.first().and_then(|it| self.dump(it, next)),
            _ => self.make(hir),
        }
    }

    fn repeat(&mut self, it: &Repetition, next: &dyn Fn(usize) -> Vec<u8>) -> Option<()> {
        for _ in 0..it.min {
            self.dump(&it.sub, next)?;
        }
        let takes = has_digits(&it.sub);
        let most = it.max.unwrap_or(u32::MAX);
        let is_wanted = |me: &Self| me.used < me.least || !me.digits.is_empty();
        for _ in it.min..most {
            // What stands between bytes, such as a blank, is shown where it may be, but not behind the last.
            if !is_wanted(self) {
                break;
            }
            if !takes {
                self.dump(&it.sub, next)?;
                break;
            }
            self.dump(&it.sub, next)?;
        }
        Some(())
    }
}

fn takes_digits(class: &Class) -> bool {
    let has = |it: u8| contains(class, it);
    (b'0'..=b'9').all(has) && ((b'A'..=b'F').all(has) || (b'a'..=b'f').all(has))
}

fn has_digits(hir: &Hir) -> bool {
    match hir.kind() {
        HirKind::Class(class) => takes_digits(class),
        HirKind::Repetition(it) => has_digits(&it.sub),
        HirKind::Capture(it) => has_digits(&it.sub),
        HirKind::Concat(all) | HirKind::Alternation(all) => all.iter().any(has_digits),
        _ => false,
    }
}

/// Whether an expression's digits are small letters and no capitals.
fn has_small_digits(hir: &Hir) -> bool {
    match hir.kind() {
        HirKind::Class(class) => contains(class, b'a') && !contains(class, b'A'),
        HirKind::Repetition(it) => has_small_digits(&it.sub),
        HirKind::Capture(it) => has_small_digits(&it.sub),
        HirKind::Concat(all) | HirKind::Alternation(all) => all.iter().any(has_small_digits),
        _ => false,
    }
}

fn contains(class: &Class, byte: u8) -> bool {
    match class {
        Class::Bytes(it) => it.ranges().iter().any(|it| (it.start()..=it.end()).contains(&byte)),
        Class::Unicode(it) => it.ranges().iter().any(|it| (it.start()..=it.end()).contains(&char::from(byte))),
    }
}

/// A byte that a class has: one that can be seen, if there is one.
fn filler(class: &Class) -> Option<u8> {
    let all = [b'.', b' ', b'0'].into_iter().chain(b'!'..=b'~').chain(0..=255);
    all.into_iter().find(|it| contains(class, *it))
}
