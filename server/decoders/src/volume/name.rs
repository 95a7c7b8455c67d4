//! Names in a directory: eight characters, three of the type, padded with blanks.

/// A name as it stands in a directory.
pub type RawName = [u8; 11];

/// Characters beside letters and digits. *FAT: General Overview of On-Disk Format* 1.03, FAT Directory Structure.
const SIGNS: &[u8] = b"$%'-_@~`!(){}^#&";

fn is_legal_byte(byte: u8) -> bool {
    byte.is_ascii_uppercase() || byte.is_ascii_digit() || SIGNS.contains(&byte)
}

/// The directory's form of a name such as `BOOT.SYS`; small letters become capitals.
///
/// # Errors
/// What makes it no name of eight and three characters.
pub fn raw_name(text: &str) -> Result<RawName, String> {
    let upper = text.to_ascii_uppercase();
    let (name, kind) = upper.rsplit_once('.').unwrap_or((&upper, ""));
    for (part, most, what) in [(name, 8, "name"), (kind, 3, "type")] {
        let length = part.chars().count();
        if length > most {
            return Err(format!("`{text}`: the {what} has {length} characters, expected at most {most}"));
        }
        if let Some(bad) = part.chars().find(|it| !u8::try_from(*it).is_ok_and(is_legal_byte)) {
            return Err(format!(
                "`{text}`: `{}` cannot stand in a name on the disk; expected letters, digits or {}",
                bad.escape_default(),
                String::from_utf8_lossy(SIGNS)
            ));
        }
    }
    if name.is_empty() {
        return Err(format!("`{text}` has no name before its type, expected one to eight characters"));
    }
    let mut raw = [b' '; 11];
    raw[..name.len()].copy_from_slice(name.as_bytes());
    raw[8..8 + kind.len()].copy_from_slice(kind.as_bytes());
    Ok(raw)
}

/// The directory's form of a volume label: up to eleven characters, blanks among them.
///
/// # Errors
/// What makes it no label.
pub fn raw_label(text: &str) -> Result<RawName, String> {
    let upper = text.to_ascii_uppercase();
    let bytes = upper.as_bytes();
    if bytes.is_empty() || bytes.len() > 11 || bytes[0] == b' ' {
        return Err(format!("label `{text}`: expected 1 to 11 characters, the first of them no blank"));
    }
    if let Some(bad) = upper.chars().find(|it| *it != ' ' && !u8::try_from(*it).is_ok_and(is_legal_byte)) {
        return Err(format!("label `{text}`: `{}` cannot stand in a label", bad.escape_default()));
    }
    let mut raw = [b' '; 11];
    raw[..bytes.len()].copy_from_slice(bytes);
    Ok(raw)
}

/// Whether a name is one that systems can open. Bytes from 80h on are letters of some code page; 05h stands for E5h at the start.
#[must_use]
pub fn is_legal(raw: &RawName) -> bool {
    let part = |bytes: &[u8]| {
        let length = bytes.iter().rposition(|it| *it != b' ').map_or(0, |it| it + 1);
        bytes[..length].iter().all(|it| is_legal_byte(*it) || *it >= 0x80 || *it == b' ')
    };
    let mut start = *raw;
    if start[0] == 5 {
        start[0] = 0xe5;
    }
    raw[0] != b' ' && part(&start[..8]) && part(&start[8..])
}

/// Whether bytes are a name as a loader keeps it to compare with: capitals, padded, with a blank or a type that tell it from a word.
#[must_use]
pub fn is_padded_name(bytes: &[u8]) -> bool {
    let Ok(raw) = RawName::try_from(bytes) else { return false };
    let part = |bytes: &[u8]| {
        let length = bytes.iter().position(|it| *it == b' ').unwrap_or(bytes.len());
        bytes[..length].iter().all(|it| is_legal_byte(*it)) && bytes[length..].iter().all(|it| *it == b' ')
    };
    let letters = raw.iter().filter(|it| it.is_ascii_uppercase()).count();
    raw[0].is_ascii_uppercase() && letters >= 3 && part(&raw[..8]) && part(&raw[8..]) && raw[..8].contains(&b' ')
}

/// A name for people: `BOOT.SYS`. What is no printed character of ASCII becomes `%` and two digits.
#[must_use]
pub fn shown(raw: &RawName) -> String {
    let mut raw = *raw;
    if raw[0] == 5 {
        raw[0] = 0xe5;
    }
    let part = |bytes: &[u8]| -> String {
        let length = bytes.iter().rposition(|it| *it != b' ').map_or(0, |it| it + 1);
        let character = |it: &u8| match *it {
            b' ' | b'.' | b'/' | b'\\' | b'%' => format!("%{it:02X}"),
            0x21..=0x7e => char::from(*it).to_string(),
            _ => format!("%{it:02X}"),
        };
        bytes[..length].iter().map(character).collect()
    };
    let (name, kind) = (part(&raw[..8]), part(&raw[8..]));
    if kind.is_empty() { name } else { format!("{name}.{kind}") }
}

/// A label for people, without the blanks behind it.
#[must_use]
pub fn shown_label(raw: &RawName) -> String {
    let text: String = raw.iter().map(|it| if (0x20..0x7f).contains(it) { char::from(*it) } else { '?' }).collect();
    text.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::{is_legal, is_padded_name, raw_label, raw_name, shown};

    #[test]
    fn names_are_padded_and_back() {
        for (text, raw) in [("boot.sys", b"BOOT    SYS"), ("A", b"A          "), ("TIDE_86.D~1", b"TIDE_86 D~1")] {
            let own = raw_name(text).unwrap();
            assert_eq!(&own, raw);
            assert!(is_legal(&own));
            assert_eq!(shown(&own), text.to_ascii_uppercase());
        }
        for bad in ["", ".SYS", "TOOLONGNAME", "A.LONG", "A+B", "A B", "A.B.C", "GR\u{dc}N", "A/B", "A\\B", "..", "."] {
            assert!(raw_name(bad).is_err(), "{bad}");
        }
        assert_eq!(&raw_label("tide 12").unwrap(), b"TIDE 12    ");
        assert!(raw_label("twelve letters").is_err() && raw_label("").is_err() && raw_label("a/b").is_err());
    }

    #[test]
    fn names_that_no_system_opens_are_told() {
        for bad in [b"        SYS", b"boot    SYS", b"A/B     SYS", b"A\x01B     SYS", b"BOOT    S.S"] {
            assert!(!is_legal(bad), "{bad:?}");
            assert!(!shown(bad).contains('/'));
        }
        assert!(is_legal(b"\x05BC     SYS") && is_legal(b"\xe5BC     SYS"));
        assert_eq!(shown(b"..         "), "%2E%2E");
    }

    #[test]
    fn a_padded_name_is_told_from_words() {
        assert!(is_padded_name(b"SKERRY  SYS") && is_padded_name(b"BOOT       "));
        for other in
            [&b"HELLO WORLD"[..], b"TEMPERATURE", b"skerry  sys", b"NO NAME    ", b"SKERRY SYS", b"           "]
        {
            assert!(!is_padded_name(other), "{other:?}");
        }
    }
}
