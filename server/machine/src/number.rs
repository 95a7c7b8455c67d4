//! Numbers that are written as texts.

/// How a number may be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notation {
    /// Decimal, `$` or `0x` and hex, `%` or `0b` and binary; `_` between digits.
    Plain,
    /// The same, and decimal with `k` for 1024 or `m` for 1024 * 1024 behind it.
    Size,
}

/// The number that a text stands for; none if it is none, or beyond 64 bits with sign.
#[must_use]
pub fn number(text: &str, notation: Notation) -> Option<i64> {
    let text = text.trim();
    let (negative, text) = text.strip_prefix('-').map_or((false, text), |it| (true, it));
    let lower = text.to_ascii_lowercase();
    let prefixed = [("$", 16), ("0x", 16), ("%", 2), ("0b", 2)];
    let prefixed = prefixed.iter().find_map(|(prefix, radix)| Some((lower.strip_prefix(prefix)?, *radix)));
    let (digits, radix, factor) = match (prefixed, notation) {
        (Some((digits, radix)), _) => (digits, radix, 1),
        (None, Notation::Plain) => (&*lower, 10, 1),
        (None, Notation::Size) => match (lower.strip_suffix('k'), lower.strip_suffix('m')) {
            (Some(digits), _) => (digits.trim_end(), 10, 1024),
            (_, Some(digits)) => (digits.trim_end(), 10, 1024 * 1024),
            _ => (&*lower, 10, 1),
        },
    };
    let is_digits = digits.starts_with(|it: char| it.is_digit(radix)) && !digits.ends_with('_');
    if !is_digits {
        return None;
    }
    let value = i64::from_str_radix(&digits.replace('_', ""), radix).ok()?.checked_mul(factor)?;
    Some(if negative { -value } else { value })
}

#[cfg(test)]
mod tests {
    use super::{Notation, number};

    #[test]
    fn numbers_are_read_as_assemblers_write_them() {
        for (text, plain, size) in [
            ("$F00001", Some(0xf0_0001), Some(0xf0_0001)),
            ("0xFF", Some(255), Some(255)),
            ("%1010", Some(10), Some(10)),
            ("8_000_000", Some(8_000_000), Some(8_000_000)),
            ("-4", Some(-4), Some(-4)),
            ("256k", None, Some(262_144)),
            ("1 M", None, Some(1_048_576)),
            ("$1k", None, None),
            ("", None, None),
            ("$", None, None),
            ("_1", None, None),
            ("1_", None, None),
            ("- 1", None, None),
            ("+1", None, None),
            ("$-1", None, None),
            ("9223372036854775807k", None, None),
            ("99999999999999999999", None, None),
        ] {
            assert_eq!((number(text, Notation::Plain), number(text, Notation::Size)), (plain, size), "{text}");
        }
    }
}
