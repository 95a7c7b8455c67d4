//! Words that name an exception, in handlers' names and in comments beside them. Common practice, no source.

/// Spellings without blanks and signs, in lower case, and the vector that each means. Longer ones stand before those that they contain.
const SPELLINGS: &[(&str, u8)] = &[
    ("buserr", 2),
    ("berr", 2),
    ("addresserr", 3),
    ("addrerr", 3),
    ("adrerr", 3),
    ("aderr", 3),
    ("illegal", 4),
    ("illins", 4),
    ("illop", 4),
    ("zerodiv", 5),
    ("divzero", 5),
    ("divbyzero", 5),
    ("dividebyzero", 5),
    ("zdiv", 5),
    ("div0", 5),
    ("chkinst", 6),
    ("chkexc", 6),
    ("trapv", 7),
    ("privviol", 8),
    ("privil", 8),
    ("priverr", 8),
    ("trace", 9),
    ("line1010", 10),
    ("lineaemu", 10),
    ("linea", 10),
    ("1010emu", 10),
    ("line1111", 11),
    ("linefemu", 11),
    ("linef", 11),
    ("1111emu", 11),
    ("uninit", 15),
    ("spurious", 24),
    ("spurint", 24),
];

/// Words that an interrupt's level follows, and whether they have to begin the name: `print1` is no `int1`.
const LEVELS: &[(&str, bool)] = &[
    ("autovector", false),
    ("autovec", false),
    ("level", false),
    ("lvl", false),
    ("lev", false),
    ("irq", false),
    ("ipl", false),
    ("auto", true),
    ("int", true),
];

/// The vector whose exception a text names: `buserr`, `Zero divide`, `lvl3int`, `trap #5`.
pub(super) fn named(text: &str) -> Option<u8> {
    let plain: String = text.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_lowercase();
    match plain.as_str() {
        "chk" => return Some(6),
        "priv" => return Some(8),
        _ => (),
    }
    if let Some((_, number)) = SPELLINGS.iter().find(|it| plain.contains(it.0)) {
        return Some(*number);
    }
    let level = LEVELS.iter().find_map(|(word, begins)| {
        let number = number_behind(&plain, word, *begins)?;
        (1..=7).contains(&number).then_some(24 + number)
    });
    level.or_else(|| number_behind(&plain, "trap", false).filter(|it| *it < 16).map(|it| 32 + it))
}

/// The number that stands directly behind a word.
fn number_behind(plain: &str, word: &str, begins: bool) -> Option<u8> {
    let at = plain.find(word).filter(|at| !begins || *at == 0)?;
    let rest = &plain[at + word.len()..];
    let end = rest.find(|it: char| !it.is_ascii_digit()).unwrap_or(rest.len());
    rest[..end].parse().ok()
}

/// The number of the first vector that a comment tells: `vectors 64-79`, `from vector 25`, `vectors from $100 on`.
pub(super) fn first_told(comment: &str) -> Option<u8> {
    let lower = comment.to_ascii_lowercase();
    let (_, behind) = lower.split_once("vector")?;
    let mut words = behind.trim_start_matches('s').split(|it: char| !(it.is_ascii_alphanumeric() || it == '$'));
    let mut word = words.by_ref().find(|it| !it.is_empty())?;
    while matches!(word, "from" | "number" | "no" | "at") {
        word = words.by_ref().find(|it| !it.is_empty())?;
    }
    match word.strip_prefix('$') {
        Some(hex) => {
            let address = u16::from_str_radix(hex, 16).ok().filter(|it| it % 4 == 0)?;
            u8::try_from(address / 4).ok()
        }
        None => word.parse().ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::{first_told, named};

    // M68000 User's Manual, table 6-2, for the numbers; the spellings are common practice, no source.
    #[test]
    fn names_and_comments_tell_their_vector() {
        for (text, number) in [
            ("buserr", Some(2)),
            ("Bus error", Some(2)),
            ("ADR_ERR", Some(3)),
            ("zero divide", Some(5)),
            ("zero_div", Some(5)),
            ("CHK", Some(6)),
            ("chkhead", None),
            ("trapv", Some(7)),
            ("trap #15", Some(47)),
            ("trap_0", Some(32)),
            ("badtrap", None),
            ("level 3 autovector", Some(27)),
            ("int5", Some(29)),
            ("print5", None),
            ("irq8", None),
            ("Line 1010 emulator", Some(10)),
            ("spurious interrupt", Some(24)),
        ] {
            assert_eq!(named(text), number, "{text}");
        }
        assert_eq!(first_told("* user vectors 64-79 of the clock"), Some(64));
        assert_eq!(first_told("vectors from $100 on"), Some(64));
        assert_eq!(first_told("vector number 25"), Some(25));
        assert_eq!(first_told("the vectors"), None);
        assert_eq!(first_told("all vectors are ours"), None);
    }
}
