//! What can stand next in a line that is being written: the forms are followed as far as the line goes.

use crate::expression::Cursor;
use crate::script::{begins, filled, verb_of};
use crate::token::{Kind, MOST_TOKENS, Token};
use crate::verbs::{Part, Slot, VERBS, Verb, tail};

/// What can stand behind the tokens of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Next {
    /// The first word of a statement.
    Verb,
    /// A word of the statement's form.
    Word(&'static str),
    /// What stands in a slot, and what it is to the statement.
    Slot(&'static str, Slot),
    /// A value inside of an expression or a range that is in this slot.
    Value(&'static str),
    /// A sign or word between values.
    Operator,
    /// `..` or `+:`.
    RangeSign,
    /// The name of a field, behind a point.
    Field,
}

/// The statement that tokens begin, and what can stand behind them. Where they fit no form, nothing can.
#[must_use]
pub fn next(text: &str, tokens: &[Token]) -> (Option<&'static Verb>, Vec<Next>) {
    let end = tokens.last().map_or(0, |it| it.span.end);
    let mut cursor = Cursor { text, tokens, at: 0, end };
    if tokens.is_empty() {
        return (None, vec![Next::Verb]);
    }
    if tokens.len() > MOST_TOKENS {
        return (None, Vec::new());
    }
    let Ok(verb) = verb_of(&mut cursor) else { return (None, second_words(text, tokens)) };
    let mut found = Vec::new();
    if follow(&mut cursor, verb.form, &mut found) && follow(&mut cursor, tail(verb.kind), &mut found) {
        // The form is complete: what is found may still follow.
        if cursor.peek().is_some() {
            found.clear();
        }
    }
    (Some(verb), found)
}

/// The second words of verbs of which only the first is there.
fn second_words(text: &str, tokens: &[Token]) -> Vec<Next> {
    let [only] = tokens else { return Vec::new() };
    let word = &text[only.span.clone()];
    let seconds = VERBS.iter().filter_map(|it| it.name.split_once(' ')).filter(|it| it.0 == word);
    seconds.map(|it| Next::Word(it.1)).collect()
}

/// Follows parts of a form; whether what comes behind them can be there too.
fn follow(cursor: &mut Cursor<'_>, parts: &'static [Part], found: &mut Vec<Next>) -> bool {
    let mut is_cut = false;
    for part in parts {
        if cursor.peek().is_none() {
            firsts(part, found);
            if !matches!(part, Part::Maybe(_)) {
                return false;
            }
            continue;
        }
        let is_followed = match part {
            Part::Word(word) | Part::Flag(word) => cursor.take(word),
            Part::Slot(role, slot) => filled_as(cursor, role, *slot, found),
            Part::Maybe(parts) if begins(cursor, parts) => follow(cursor, parts, found),
            Part::Maybe(parts) => {
                let before = found.len();
                cut_short(cursor, parts, found);
                is_cut |= found.len() > before;
                true
            }
            Part::OneOf(choices) => match choices.iter().find(|it| begins(cursor, it)) {
                Some(parts) => follow(cursor, parts, found),
                None => {
                    choices.iter().for_each(|it| cut_short(cursor, it, found));
                    false
                }
            },
        };
        if !is_followed {
            return false;
        }
    }
    if is_cut && cursor.peek().is_some() {
        // The rest is the first words of something that is not complete.
        cursor.at = cursor.tokens.len();
    }
    true
}

/// What can be the first of a part.
fn firsts(part: &'static Part, found: &mut Vec<Next>) {
    match part {
        Part::Word(word) | Part::Flag(word) => found.push(Next::Word(word)),
        Part::Slot(role, slot) => found.push(Next::Slot(role, *slot)),
        Part::Maybe(parts) => found.extend(parts.first().into_iter().flat_map(first_of)),
        Part::OneOf(choices) => found.extend(choices.iter().filter_map(|it| it.first()).flat_map(first_of)),
    }
}

fn first_of(part: &'static Part) -> Vec<Next> {
    let mut found = Vec::new();
    firsts(part, &mut found);
    found
}

/// The word that is missing where the line ends within the first words of parts, such as behind `or` of `or stop`.
fn cut_short(cursor: &Cursor<'_>, parts: &'static [Part], found: &mut Vec<Next>) {
    let rest = &cursor.tokens[cursor.at..];
    let words = parts.iter().map_while(|it| if let Part::Word(word) = it { Some(*word) } else { None });
    let words: Vec<&'static str> = words.collect();
    let is_there =
        |(token, word): (&Token, &&str)| token.kind == Kind::Word && cursor.text[token.span.clone()] == **word;
    if rest.len() < words.len() && rest.iter().zip(&words).all(is_there) {
        found.push(Next::Word(words[rest.len()]));
    }
}

/// Passes over what stands in a slot; what can follow in it, where the line ends inside.
fn filled_as(cursor: &mut Cursor<'_>, role: &'static str, slot: Slot, found: &mut Vec<Next>) -> bool {
    let start = cursor.at;
    let is_filled = filled(cursor, slot).is_ok();
    if cursor.peek().is_some() {
        // An `or` that `stop` may follow is read as an operator whose value is missing.
        return is_filled;
    }
    let takes_values = matches!(slot, Slot::Expression | Slot::Range | Slot::Arguments);
    if !takes_values {
        return is_filled;
    }
    let own = &cursor.tokens[start..];
    let last = own.last().map(|it| (&it.kind, &cursor.text[it.span.clone()]));
    match last {
        Some((Kind::Sign("."), _)) => found.push(Next::Field),
        Some((Kind::Sign(","), _)) if slot == Slot::Arguments => found.push(Next::Slot(role, slot)),
        Some((Kind::Sign(")" | "]") | Kind::Number(_) | Kind::Characters(_) | Kind::Text(_), _)) => {
            behind_value(slot, is_filled, found);
        }
        Some((Kind::Word, "or" | "and" | "not")) => {
            found.push(Next::Value(role));
            if slot != Slot::Arguments && own.len() > 1 && last.is_some_and(|it| it.1 == "or") {
                found.push(Next::Word("stop"));
            }
        }
        // The name of an argument, or its value.
        Some((Kind::Word, _)) if slot == Slot::Arguments && !is_filled => found.push(Next::Value(role)),
        Some((Kind::Word, _)) => behind_value(slot, is_filled, found),
        _ => found.push(Next::Value(role)),
    }
    is_filled
}

fn behind_value(slot: Slot, is_filled: bool, found: &mut Vec<Next>) {
    if slot == Slot::Range && !is_filled {
        found.push(Next::RangeSign);
    }
    found.push(Next::Operator);
}
