//! Which texts of the firmware an answer has in it, whole or in part.

use rustc_hash::{FxHashMap, FxHashSet};

use super::FirmwareText;

/// The fewest characters of a text that tell something, and of a part of one.
const LEAST_TELLING: usize = 5;
const LEAST_PART: usize = 8;
/// How much of an answer is looked at: its end.
const MOST: usize = 2000;
/// A text that came garbled has so many of its characters, in hundredths.
const ENOUGH: usize = 80;
/// How many texts are held against the answer character by character.
const MOST_COMPARED: usize = 400;
const LONGEST_COMPARED: usize = 200;
/// Of a part that is in an answer again and again so many places are looked at.
const MOST_PLACES: usize = 16;
/// How many texts that came back whole are looked at.
const MOST_WHOLE: usize = 8;

/// Each part of an answer of the least length, and where it is.
type Parts<'a> = FxHashMap<&'a [u8], Vec<usize>>;

/// How much of a text came back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Match {
    /// Characters that came back.
    pub(super) characters: usize,
    /// Whether all of it did.
    pub(super) is_whole: bool,
}

impl Match {
    /// A text that is asked for by itself.
    pub(super) const WHOLE: Self = Self { characters: 0, is_whole: true };
}

/// The end of an answer, as far as it is looked at.
pub(super) fn end_of(said: &str) -> &str {
    let mut start = said.len().saturating_sub(MOST);
    while !said.is_char_boundary(start) {
        start += 1;
    }
    &said[start..]
}

/// The texts of which most came back: the best, and those that are as good.
pub(super) fn best<'a>(texts: &'a [FirmwareText], said: &str) -> Vec<(&'a FirmwareText, Match)> {
    let said = end_of(said);
    let said_bytes = said.as_bytes();
    let mut parts: Parts<'_> = FxHashMap::default();
    for (at, window) in said_bytes.windows(LEAST_PART).enumerate() {
        let own = parts.entry(window).or_default();
        if own.len() < MOST_PLACES {
            own.push(at);
        }
    }
    let threes: FxHashSet<&[u8]> = said_bytes.windows(3).collect();
    let mut found: Vec<(&FirmwareText, Match)> = Vec::new();
    let mut compared = 0;
    for text in texts.iter().filter(|it| it.text.chars().count() >= LEAST_TELLING) {
        let is_whole = |characters| Match { characters, is_whole: true };
        let own = match filled_in(&text.text, said) {
            Some(characters) => Some(is_whole(characters)),
            None if said.contains(&text.text) => Some(is_whole(text.text.len())),
            None => {
                let bytes = text.text.as_bytes();
                let in_a_row = part(bytes, said_bytes, &parts);
                let shared = bytes.windows(3).filter(|it| threes.contains(it)).count();
                let mut in_order_of = None;
                if shared * 4 >= bytes.len() && bytes.len() <= LONGEST_COMPARED && compared < MOST_COMPARED {
                    compared += 1;
                    let characters = said.lines().map(|line| in_order(bytes, line.as_bytes())).max();
                    in_order_of = characters.filter(|it| it * 100 >= bytes.len() * ENOUGH);
                }
                in_a_row.max(in_order_of).map(|characters| Match { characters, is_whole: false })
            }
        };
        found.extend(own.map(|it| (text, it)));
    }
    let Some(most) = found.iter().map(|it| it.1).max_by_key(|it| (it.characters, it.is_whole)) else {
        return Vec::new();
    };
    found.retain(|it| it.1.characters == most.characters && it.1.is_whole == most.is_whole);
    found
}

/// The longest texts that came back whole.
pub(super) fn whole<'a>(texts: &'a [FirmwareText], said: &str) -> Vec<&'a FirmwareText> {
    let said = end_of(said);
    let telling = texts.iter().filter(|it| it.text.chars().count() >= LEAST_TELLING);
    let mut found: Vec<&FirmwareText> = telling.filter(|it| said.contains(&it.text)).collect();
    found.sort_by_key(|it| std::cmp::Reverse(it.text.len()));
    found.truncate(MOST_WHOLE);
    found
}

/// Of a text with directives such as `%d`: how many of its own characters came back, with something between them.
fn filled_in(text: &str, said: &str) -> Option<usize> {
    let pieces = pieces(text);
    let own: usize = pieces.iter().map(|it| it.trim().len()).sum();
    if pieces.len() < 2 || own < LEAST_TELLING {
        return None;
    }
    let is_line = |line: &str| {
        let mut rest = line;
        pieces.iter().map(|it| it.trim_matches(['\r', '\n'])).all(|piece| match rest.find(piece) {
            Some(at) => {
                rest = &rest[at + piece.len()..];
                true
            }
            None => false,
        })
    };
    said.lines().any(is_line).then_some(own)
}

/// The parts of a format between its directives; one part where it has none. Directives: ISO/IEC 9899:1990, 7.9.6.1 (from memory).
fn pieces(text: &str) -> Vec<String> {
    let mut pieces = vec![String::new()];
    let mut rest = text.chars().peekable();
    while let Some(it) = rest.next() {
        let last = pieces.len() - 1;
        if it != '%' {
            pieces[last].push(it);
            continue;
        }
        if rest.next_if_eq(&'%').is_some() {
            pieces[last].push('%');
            continue;
        }
        let mut directive = String::from('%');
        while let Some(it) =
            rest.next_if(|it| it.is_ascii_digit() || matches!(it, '-' | '+' | '#' | '.' | '*' | 'h' | 'l'))
        {
            directive.push(it);
        }
        if rest.next_if(|it| matches!(it, 'd' | 'i' | 'u' | 'o' | 'x' | 'X' | 'c' | 's' | 'p')).is_some() {
            pieces.push(String::new());
        } else {
            pieces[last].push_str(&directive);
        }
    }
    pieces
}

/// The longest part of a text that came back in one piece, if it is long enough to tell something.
fn part(text: &[u8], said: &[u8], parts: &Parts<'_>) -> Option<usize> {
    let mut longest = 0;
    for (at, window) in text.windows(LEAST_PART).enumerate() {
        // A row of the same character is in many texts.
        let Some(starts) = parts.get(window).filter(|_| window.iter().any(|it| *it != window[0])) else { continue };
        let same = |start: &usize| text[at..].iter().zip(&said[*start..]).take_while(|it| it.0 == it.1).count();
        longest = longest.max(starts.iter().map(same).max().unwrap_or(0));
        if longest >= text.len() - at {
            break;
        }
    }
    (longest > 0).then_some(longest)
}

/// How many characters of a text came in their order: the longest common subsequence.
fn in_order(text: &[u8], line: &[u8]) -> usize {
    let mut row = vec![0_usize; line.len() + 1];
    for own in text {
        let mut before = 0;
        for (at, came) in line.iter().enumerate() {
            let above = row[at + 1];
            row[at + 1] = if own == came { before + 1 } else { above.max(row[at]) };
            before = above;
        }
    }
    row[line.len()]
}

/// What an answer looks like that no text of the firmware is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Looks {
    /// Like text.
    Text,
    /// Like what a wrong rate or frame makes of text.
    Junk,
    /// Too short, or like numbers: it tells nothing.
    Nothing,
}

/// What an answer looks like.
pub(super) fn looks(said: &str) -> Looks {
    let (mut printable, mut letters, mut all) = (0, 0, 0);
    for it in end_of(said).chars().filter(|it| !matches!(it, '\r' | '\n' | '\t' | '\0')) {
        all += 1;
        printable += usize::from(matches!(it, ' '..='~'));
        letters += usize::from(it.is_ascii_alphabetic());
    }
    const LEAST_JUNK: usize = 3;
    if all >= LEAST_JUNK && printable * 4 < all * 3 {
        return Looks::Junk;
    }
    if printable >= LEAST_PART && letters * 2 >= printable { Looks::Text } else { Looks::Nothing }
}

#[cfg(test)]
mod tests {
    use super::{Looks, filled_in, in_order, looks, pieces};

    #[test]
    fn directives_of_formats_stand_for_anything() {
        assert_eq!(pieces("sector %04x of %d: 5%% %z"), ["sector ", " of ", ": 5% %z"]);
        assert_eq!(filled_in("sector %04x lost", "\r\nsector 0012 lost\r\n"), Some(10));
        assert_eq!(filled_in("sector %04x lost", "sector 0012\r\nlost"), None, "a format is of one line");
        assert_eq!(filled_in("no directive", "no directive"), None);
    }

    #[test]
    fn characters_count_in_their_order() {
        assert_eq!(in_order(b"drive not ready", b"drve n?t rexdy"), 12);
        assert_eq!(in_order(b"abc", b"cba"), 1);
        assert_eq!(in_order(b"", b"x"), 0);
    }

    #[test]
    fn an_answer_looks_like_text_or_junk_or_nothing() {
        assert_eq!(looks("WHO GOES THERE"), Looks::Text);
        assert_eq!(looks("\u{fffd}\u{fffd}a\u{1}\u{fffd}"), Looks::Junk);
        assert_eq!(looks("* "), Looks::Nothing);
        assert_eq!(looks("00080000: 12 34 56"), Looks::Nothing);
        assert_eq!(looks(""), Looks::Nothing);
    }
}
