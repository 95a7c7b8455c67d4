//! Names of files among the data: in the form of a directory, eleven characters padded with blanks, or as people write them, `BOOT.SYS`.

use reveille_c::{Expr, ExprKind};
use reveille_decoders::volume::{RawName, is_padded_name, raw_name};
use reveille_program::{DataItem, DataRun, Program, Unit, data_runs};

use crate::c::CUnit;
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
    /// The address of its first character.
    pub(crate) address: Option<i64>,
}

/// All names of files that a unit lays down.
pub(crate) fn file_names(program: &Program, unit: &Unit) -> Vec<FileName> {
    let mut found = Vec::new();
    for run in data_runs(program, unit, &|_| true) {
        padded(unit, &run, &mut found);
        dotted(unit, &run, &mut found);
    }
    found
}

/// All names of files that are strings of a C file: of its macros, its objects and its functions.
pub(crate) fn file_names_in_c(own: &CUnit) -> Vec<FileName> {
    let mut found = Vec::new();
    let mut see = |it: &Expr| {
        let ExprKind::Text(bytes) = &it.kind else { return };
        let padded = Some(bytes).filter(|it| is_padded_name(it)).and_then(|it| RawName::try_from(it.as_slice()).ok());
        let is_padded = padded.is_some();
        let name = padded.or_else(|| written_name(std::str::from_utf8(bytes).ok()?));
        if let (Some(name), Some(at)) = (name, own.evidence(it.span)) {
            found.push(FileName { name, is_padded, at, address: None });
        }
    };
    for define in own.unit.defines() {
        if let Some((_, body)) = own.unit.macro_expression(&define.name) {
            body.visit(&mut see);
        }
    }
    let objects = own.unit.objects().iter().filter_map(|it| it.init.as_ref());
    objects.for_each(|it| it.expressions(&mut |it| it.visit(&mut see)));
    own.unit.functions().iter().for_each(|it| it.expressions(&mut |it| see(it)));
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
            found.push(FileName { name, is_padded: true, at, address });
        }
    }
}

/// A text that is a name and nothing else.
fn dotted(unit: &Unit, run: &DataRun, found: &mut Vec<FileName>) {
    let (mut text, mut start, mut offset) = (String::new(), None, 0);
    let mut close = |text: &mut String, start: &mut Option<(Evidence, i64)>| {
        if let (Some((at, from)), Some(name)) = (start.take(), written_name(text)) {
            found.push(FileName {
                name,
                is_padded: false,
                at,
                address: unit.absolute(run.address).map(|it| it + from),
            });
        }
        text.clear();
    };
    for item in &run.items {
        for byte in &item.bytes {
            match byte {
                Some(it @ b'!'..=b'~') => {
                    start.get_or_insert((Evidence { place: item.place, span: item.span }, offset));
                    text.push(char::from(*it));
                }
                Some(b' ') => {
                    // A name has no blanks: it is a part of a sentence.
                    start.get_or_insert((Evidence { place: item.place, span: item.span }, offset));
                    text.push(' ');
                }
                _ => close(&mut text, &mut start),
            }
            offset += 1;
        }
    }
    close(&mut text, &mut start);
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
