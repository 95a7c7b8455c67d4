//! Values in a code that a name or a comment speaks of: packed BCD, dates, times, fixed point.

use reveille_program::DefinitionKind;
use reveille_source::TokenKind;

use crate::lookup::{Spot, Thing};

/// What is told of a value by the words beside it.
pub(super) fn notes(spot: &Spot<'_>, thing: &Thing) -> Vec<String> {
    let Some((value, bits, words)) = value_and_words(spot, thing) else { return Vec::new() };
    let has = |it: &str| words.split(|it: char| !it.is_ascii_alphanumeric()).any(|word| word == it);
    let mut found = Vec::new();
    if has("bcd") {
        found.push(bcd(value, bits));
    }
    if has("date") && bits == 16 && !has("bcd") {
        found.extend(disk_date(value));
    }
    if has("epoch") || has("unix") || words.contains("since 1970") {
        found.extend(u32::try_from(value).ok().filter(|it| *it > 0xffff).map(unix_time));
    }
    if let Some((places, width)) = fixed(&words) {
        found.push(fixed_text(value, places, width));
    }
    found
}

/// The value at a spot, how many bits it has, and what its name and its comment say, in lower case.
fn value_and_words(spot: &Spot<'_>, thing: &Thing) -> Option<(i64, u32, String)> {
    let unit = spot.unit()?;
    let program = spot.model.program();
    let own_comment = spot.line.comment.of(spot.text);
    let bits_of = |size: u8, value: i64| match size {
        b'b' => 8,
        b'w' => 16,
        b'l' => 32,
        _ if (-0x80..0x100).contains(&value) => 8,
        _ if (-0x8000..0x1_0000).contains(&value) => 16,
        _ => 32,
    };
    let range = match thing {
        Thing::Label(range) | Thing::Token(TokenKind::Name, range) => {
            let (_, definition, _) = spot.definition()?;
            if matches!(definition.kind, DefinitionKind::Equate | DefinitionKind::Set) {
                let file = program.file(definition.place.file)?;
                let (_, line, text) = file.at(definition.place.chunk, definition.place.line);
                let value = definition.value.number()?;
                let words = format!("{} {}", program.names().text(definition.symbol), line.comment.of(text));
                return Some((value, bits_of(0, value), words.to_ascii_lowercase()));
            }
            range
        }
        Thing::Token(TokenKind::Number, range) => range,
        _ => return None,
    };
    spot.line.op.directive()?;
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let operand = chunk.operands(spot.line).into_iter().find(|it| it.start <= range.start && range.end <= it.end)?;
    let value = unit.value(program, spot.place, operand).number()?;
    let words = format!("{} {own_comment}", spot.line.label.of(spot.text));
    Some((value, bits_of(spot.line.size, value), words.to_ascii_lowercase()))
}

/// A value's digits as packed BCD; a digit above 9 is told.
fn bcd(value: i64, bits: u32) -> String {
    let digits = format!("{:0width$X}", (value as u64) & (u64::MAX >> (64 - bits)), width = bits as usize / 4);
    match digits.chars().find(|it| !it.is_ascii_digit()) {
        Some(wrong) => format!("packed BCD: {wrong} in ${digits} is no decimal digit"),
        None => format!("packed BCD: {digits}"),
    }
}

/// A word as the packed date of a FAT directory (FAT: General Overview of On-Disk Format 1.03: year since 1980 in bits 15-9, month in 8-5,
/// day in 4-0); none for a date that there is not.
fn disk_date(value: i64) -> Option<String> {
    let (year, month, day) = (1980 + (value >> 9 & 0x7f), value >> 5 & 15, value & 31);
    let is_date = (1..=12).contains(&month) && (1..=days_of(year, month)).contains(&day);
    is_date.then(|| format!("packed disk date: {year}-{month:02}-{day:02}"))
}

fn days_of(year: i64, month: i64) -> i64 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Seconds since the start of 1970 as a date and time.
fn unix_time(seconds: u32) -> String {
    let (mut days, rest) = (i64::from(seconds / 86_400), seconds % 86_400);
    let mut year = 1970;
    loop {
        let length = if days_of(year, 2) == 29 { 366 } else { 365 };
        if days < length {
            break;
        }
        days -= length;
        year += 1;
    }
    let mut month = 1;
    while days >= days_of(year, month) {
        days -= days_of(year, month);
        month += 1;
    }
    let (hour, minute, second) = (rest / 3600, rest / 60 % 60, rest % 60);
    format!("seconds since 1970: {year}-{month:02}-{:02} {hour:02}:{minute:02}:{second:02} UTC", days + 1)
}

/// How many binary places a comment gives, and how many bits in all: `@fixed 16.16`, `s15.16 fixed point`, `Q15`.
fn fixed(words: &str) -> Option<(u32, u32)> {
    let says_fixed =
        words.contains("@fixed") || words.split_whitespace().any(|it| it == "fixed" || it == "fixed-point");
    for word in words.split(|it: char| !(it.is_ascii_alphanumeric() || it == '.')) {
        let form = word.trim_end_matches('.');
        if let Some(places) =
            form.strip_prefix('q').and_then(|it| it.parse::<u32>().ok()).filter(|it| *it == 15 || *it == 31)
        {
            return Some((places, places + 1));
        }
        let (sign, plain) = match form.strip_prefix('s') {
            Some(rest) => (1, rest),
            None => (0, form),
        };
        let parts = plain
            .split_once('.')
            .and_then(|(whole, part)| Some((whole.parse::<u32>().ok()?, part.parse::<u32>().ok()?)));
        if let Some((whole, part)) =
            parts.filter(|it| says_fixed && matches!(sign + it.0 + it.1, 8 | 16 | 32) && it.1 > 0)
        {
            return Some((part, sign + whole + part));
        }
    }
    None
}

fn fixed_text(value: i64, places: u32, width: u32) -> String {
    let pattern = value & (u64::MAX >> (64 - width)) as i64;
    let signed = (pattern << (64 - width)) >> (64 - width);
    let number = signed as f64 / 2_f64.powi(places as i32);
    let text = format!("{number:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("fixed point with {places} binary places: {text}")
}

#[cfg(test)]
mod tests {
    use super::{bcd, disk_date, fixed, fixed_text, unix_time};

    #[test]
    fn values_are_read_in_the_code_that_words_name() {
        assert_eq!(bcd(0x1986, 16), "packed BCD: 1986");
        assert_eq!(bcd(0x1a, 8), "packed BCD: A in $1A is no decimal digit");
        // FAT: General Overview of On-Disk Format 1.03: (1986 - 1980) << 9 | 3 << 5 | 5.
        assert_eq!(disk_date(0x0c65).as_deref(), Some("packed disk date: 1986-03-05"));
        assert_eq!(disk_date(0x0c5f), None, "31 February");
        // Worked out by hand: 951,782,400 is the start of 29 February 2000.
        assert_eq!(unix_time(951_782_400), "seconds since 1970: 2000-02-29 00:00:00 UTC");
        assert_eq!(unix_time(86_399), "seconds since 1970: 1970-01-01 23:59:59 UTC");
        assert_eq!(fixed("pen speed @fixed 16.16"), Some((16, 32)));
        assert_eq!(fixed("gain, 8.8 fixed point"), Some((8, 16)));
        assert_eq!(fixed("s15.16 fixed"), Some((16, 32)));
        assert_eq!(fixed("sine table, q15"), Some((15, 16)));
        assert_eq!(fixed("version 8.8"), None);
        assert_eq!(fixed_text(0x0001_8000, 16, 32), "fixed point with 16 binary places: 1.5");
        assert_eq!(fixed_text(0xc000, 15, 16), "fixed point with 15 binary places: -0.5");
    }
}
