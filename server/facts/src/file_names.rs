//! Names of files among the data: in the form of a directory, eleven characters padded with blanks, or as people write them, `BOOT.SYS`.

use reveille_decoders::volume::{RawName, is_padded_name, raw_name};
use reveille_program::{DataItem, DataRun, Head, Program, Unit, data_runs};

use crate::finding::Evidence;

/// A name of a file in the source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct FileName {
    /// As it stands in a directory.
    pub(crate) name: RawName,
    /// Whether the source writes it so, and not with a dot.
    pub(crate) is_padded: bool,
    /// Where.
    pub(crate) at: Evidence,
    /// Whether it stands by itself, and not in a sentence.
    pub(crate) is_whole: bool,
    /// The address of its first character.
    pub(crate) address: Option<i64>,
}

/// The names of files that a unit lays down, in runs of data that are wanted.
pub(crate) fn file_names(program: &Program, unit: &Unit, wants: &dyn Fn(Head<'_>) -> bool) -> Vec<FileName> {
    let mut found = Vec::new();
    for run in data_runs(program, unit, wants) {
        padded(unit, &run, &mut found);
        dotted(unit, &run, &mut found);
    }
    found
}

/// An operand of eleven characters, or operands from a label on that are as long together.
fn padded(unit: &Unit, run: &DataRun, found: &mut Vec<FileName>) {
    let mut sum = 0;
    let first = run.items.iter().take_while(|it| {
        sum += it.bytes.len();
        sum <= 11
    });
    let first: Vec<&DataItem> = first.collect();
    let joined = std::iter::once((0, first)).filter(|it| it.1.len() > 1);
    let singles = run.items.iter().scan(0, |offset, it| {
        let own = *offset;
        *offset += it.bytes.len() as i64;
        Some((own, vec![it]))
    });
    for (offset, items) in joined.chain(singles) {
        let bytes: Option<Vec<u8>> = items.iter().flat_map(|it| it.bytes.iter().copied()).collect();
        let name = bytes.filter(|it| is_padded_name(it)).and_then(|it| RawName::try_from(it.as_slice()).ok());
        if let (Some(name), Some(item)) = (name, items.first()) {
            let at = Evidence { place: item.place, span: item.span };
            let address = unit.absolute(run.address).map(|it| it + offset);
            found.push(FileName { name, is_padded: true, at, is_whole: true, address });
        }
    }
}

/// Texts that are a name and nothing else, and names in sentences.
fn dotted(unit: &Unit, run: &DataRun, found: &mut Vec<FileName>) {
    let (mut text, mut start, mut offset) = (String::new(), None, 0);
    let mut close = |text: &mut String, start: &mut Option<(Evidence, i64)>| {
        if let Some((at, from)) = start.take() {
            let address = unit.absolute(run.address).map(|it| it + from);
            in_text(text, at, address, found);
        }
        text.clear();
    };
    for item in &run.items {
        for byte in &item.bytes {
            match byte {
                Some(it @ b' '..=b'~') => {
                    start.get_or_insert((Evidence { place: item.place, span: item.span }, offset));
                    text.push(char::from(*it));
                }
                _ => close(&mut text, &mut start),
            }
            offset += 1;
        }
    }
    close(&mut text, &mut start);
}

/// The name that a text is, or the names that it has in it.
pub(crate) fn in_text(text: &str, at: Evidence, address: Option<i64>, found: &mut Vec<FileName>) {
    if let Some(name) = written_name(text) {
        return found.push(FileName { name, is_padded: false, at, is_whole: true, address });
    }
    let is_part = |it: char| !(it.is_ascii_alphanumeric() || matches!(it, '.' | '_' | '-' | '$' | ':' | '\\'));
    for word in text.split(is_part).map(|it| it.trim_end_matches(['.', ':'])) {
        // In sentences names are written in capitals.
        if word.bytes().any(|it| it.is_ascii_uppercase()) && !word.bytes().any(|it| it.is_ascii_lowercase()) {
            let name = written_name(word);
            found.extend(name.map(|name| FileName { name, is_padded: false, at, is_whole: false, address: None }));
        }
    }
}

/// The name of a file that a text is, with a drive before it or without.
pub(crate) fn written_name(text: &str) -> Option<RawName> {
    let own = match text.as_bytes() {
        [drive, b':', ..] if drive.is_ascii_alphabetic() => &text[2..],
        _ => text,
    };
    let own = own.trim_start_matches('\\');
    let (name, kind) = own.split_once('.')?;
    let is_word = |it: &str| it.bytes().all(|it| it.is_ascii_alphanumeric() || matches!(it, b'_' | b'-' | b'$'));
    let fits = name.len() >= 2
        && name.starts_with(|it: char| it.is_ascii_alphabetic())
        && (1..=3).contains(&kind.len())
        && kind.bytes().any(|it| it.is_ascii_alphabetic())
        && is_word(name)
        && is_word(kind);
    if fits { raw_name(own).ok() } else { None }
}

#[cfg(test)]
mod tests {
    use super::written_name;

    // The form of names: FAT, General Overview of On-Disk Format, 1.03.
    #[test]
    fn a_text_is_a_name_only_as_a_whole() {
        for name in ["BOOT.SYS", "a:tide.abs", "\\SURVEY.ABS", "OS.S"] {
            assert!(written_name(name).is_some(), "{name}");
        }
        for other in ["ROM 1.3", "V1.0", "no BOOT.SYS", "a.b", "MUCHTOOLONG.SYS", "X", "TIDE.LONG", "e.g."] {
            assert_eq!(written_name(other), None, "{other}");
        }
    }
}
