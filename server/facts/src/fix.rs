//! Changes to data lines in the author's own style.

use reveille_program::{DataItem, Program};
use reveille_source::{Chunk, Dialect, Line};

use crate::finding::Edit;

/// The edits that give bytes of a table other values. `changes` are places in the run of bytes that `items` lay down.
pub(crate) fn set_bytes(program: &Program, items: &[DataItem], changes: &[(usize, u8)]) -> Option<Vec<Edit>> {
    let mut edits = Vec::new();
    let mut start = 0;
    let lower = is_lower(program, items);
    for item in items {
        let end = start + item.bytes.len();
        let own: Vec<_> = changes.iter().filter(|change| (start..end).contains(&change.0)).collect();
        let is_changed = own.iter().any(|change| item.bytes[change.0 - start] != Some(change.1));
        if is_changed {
            // An item of several values, such as a text or a repeated one, cannot be changed in one place, nor one that a macro makes.
            if item.is_made || item.bytes.len() != item.item_bytes as usize || item.span.is_empty() {
                return None;
            }
            let mut bytes = item.bytes.clone();
            for (at, byte) in own {
                bytes[at - start] = Some(*byte);
            }
            let value = bytes.iter().try_fold(0_u32, |value, byte| Some(value << 8 | u32::from((*byte)?)))?;
            let file = program.file(item.place.file)?;
            let (chunk, _, text) = file.at(item.place.chunk, item.place.line);
            let text = restyled(item.span.of(text), value, item.item_bytes, (chunk.dialect(), lower));
            edits.push(Edit { place: item.place, span: item.span, text });
        }
        start = end;
    }
    (!edits.is_empty()).then_some(edits)
}

/// Whether the author writes digits above 9 in lower case: some operand of the table has them so, and none in upper case.
fn is_lower(program: &Program, items: &[DataItem]) -> bool {
    let mut lower = false;
    for item in items.iter().filter(|it| !it.is_made) {
        let Some(file) = program.file(item.place.file) else { continue };
        let (_, _, text) = file.at(item.place.chunk, item.place.line);
        let own = item.span.of(text);
        let prefix = ["$", "0x", "0X"].iter().find_map(|it| own.strip_prefix(it));
        let Some(digits) = prefix.filter(|it| it.bytes().all(|it| it.is_ascii_hexdigit())) else { continue };
        if digits.bytes().any(|it| it.is_ascii_uppercase()) {
            return false;
        }
        lower |= digits.bytes().any(|it| it.is_ascii_lowercase());
    }
    lower
}

/// The characters that end a line: those of the line itself, or of any line for the last.
pub(crate) fn line_end(chunk: &Chunk, line: &Line) -> &'static str {
    let after = &chunk.text()[line.start as usize + usize::from(line.len)..];
    match after.as_bytes() {
        [b'\r', b'\n', ..] => "\r\n",
        [b'\r', ..] => "\r",
        _ => "\n",
    }
}

/// A number written as `old` is: in its base, with its prefix, its number of digits and its case; where `old` has no digit above 9, in
/// lower case if the second part of `style` says so.
fn restyled(old: &str, value: u32, bytes: u32, style: (Dialect, bool)) -> String {
    let (dialect, lower) = style;
    let is_all = |text: &str, radix| !text.is_empty() && text.chars().all(|it| it.is_digit(radix));
    let has = |digits: std::ops::RangeInclusive<u8>| old.bytes().any(|it| digits.contains(&it));
    let upper = !has(b'a'..=b'f') && (!lower || has(b'A'..=b'F'));
    let hex = |digits: usize| if upper { format!("{value:0digits$X}") } else { format!("{value:0digits$x}") };
    if let Some(digits) = old.strip_prefix('$').filter(|it| is_all(it, 16)) {
        return format!("${}", hex(digits.len()));
    }
    for prefix in ["0x", "0X"] {
        if let Some(digits) = old.strip_prefix(prefix).filter(|it| is_all(it, 16)) {
            return format!("{prefix}{}", hex(digits.len()));
        }
    }
    for (prefix, radix) in [("%", 2), ("0b", 2), ("@", 8)] {
        if let Some(digits) = old.strip_prefix(prefix).filter(|it| is_all(it, radix)) {
            let width = digits.len();
            return if radix == 2 { format!("{prefix}{value:0width$b}") } else { format!("{prefix}{value:0width$o}") };
        }
    }
    if is_all(old, 10) {
        if dialect.is_unix() && old.len() > 1 && old.starts_with('0') {
            return format!("0{value:o}");
        }
        return value.to_string();
    }
    // An expression or a name: a plain number in its place.
    let digits = bytes as usize * 2;
    match dialect {
        Dialect::Motorola => format!("${}", hex(digits)),
        Dialect::Dotted | Dialect::Mit | Dialect::Sgs => format!("0x{}", hex(digits)),
    }
}

#[cfg(test)]
mod tests {
    use super::restyled;
    use reveille_source::Dialect::{Dotted, Motorola};

    #[test]
    fn a_number_keeps_its_author_s_style() {
        for (old, dialect, new) in [
            ("$A0", Motorola, "$F9"),
            ("$a0", Motorola, "$f9"),
            ("0x0a", Dotted, "0xf9"),
            ("160", Motorola, "249"),
            ("%00000101", Motorola, "%11111001"),
            ("@240", Motorola, "@371"),
            ("0240", Dotted, "0371"),
            ("TOTAL&255", Motorola, "$F9"),
            ("TOTAL&255", Dotted, "0xF9"),
        ] {
            assert_eq!(restyled(old, 0xf9, 1, (dialect, false)), new);
        }
        for (old, new) in [("$05", "$f9"), ("$A0", "$F9"), ("160", "249")] {
            assert_eq!(restyled(old, 0xf9, 1, (Motorola, true)), new, "beside other digits in lower case");
        }
    }
}
