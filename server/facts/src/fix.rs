//! Changes to data lines in the author's own style.

use reveille_program::{DataItem, Program};
use reveille_source::{Chunk, Dialect, Line};

use crate::finding::Edit;

/// The edits that give bytes of a table other values. `changes` are places in the run of bytes that `items` lay down.
pub(crate) fn set_bytes(program: &Program, items: &[DataItem], changes: &[(usize, u8)]) -> Option<Vec<Edit>> {
    let mut edits = Vec::new();
    let mut start = 0;
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
            let text = restyled(item.span.of(text), value, item.item_bytes, chunk.dialect());
            edits.push(Edit { place: item.place, span: item.span, text });
        }
        start = end;
    }
    (!edits.is_empty()).then_some(edits)
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

/// A number written as `old` is: in its base, with its prefix, its number of digits and its case.
pub(crate) fn restyled(old: &str, value: u32, bytes: u32, dialect: Dialect) -> String {
    let is_all = |text: &str, radix| !text.is_empty() && text.chars().all(|it| it.is_digit(radix));
    let upper = !old.bytes().any(|it| matches!(it, b'a'..=b'f'));
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
        Dialect::Motorola => format!("${value:0digits$X}"),
        Dialect::Dotted | Dialect::Mit | Dialect::Sgs => format!("0x{value:0digits$X}"),
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
            assert_eq!(restyled(old, 0xf9, 1, dialect), new);
        }
    }
}
