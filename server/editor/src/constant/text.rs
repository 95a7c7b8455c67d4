//! Characters: texts with their length and terminator, control characters by name.

use reveille_program::{DataItem, Place, data_run_at};
use reveille_source::{Meaning, TokenKind};

use crate::lookup::{Spot, Thing};

/// The control characters (ISO/IEC 646, its abbreviations).
const CONTROLS: [&str; 32] = [
    "NUL", "SOH", "STX", "ETX", "EOT", "ENQ", "ACK", "BEL", "BS", "HT", "LF", "VT", "FF", "CR", "SO", "SI", "DLE",
    "DC1", "DC2", "DC3", "DC4", "NAK", "SYN", "ETB", "CAN", "EM", "SUB", "ESC", "FS", "GS", "RS", "US",
];

/// Other names of control characters. Common practice, no source.
const OTHERS: &[(&str, u8)] = &[
    ("BELL", 7),
    ("TAB", 9),
    ("NL", 10),
    ("RETURN", 13),
    ("XON", 17),
    ("XOFF", 19),
    ("CTRLZ", 26),
    ("EOF", 26),
    ("ESCAPE", 27),
    ("DEL", 127),
    ("RUBOUT", 127),
];

/// The most characters of a text that are shown.
const MOST_SHOWN: usize = 160;

/// The name of a control character.
fn control(byte: u8) -> Option<&'static str> {
    if byte == 0x7f { Some("DEL") } else { CONTROLS.get(usize::from(byte)).copied() }
}

/// What the spot has to do with characters.
pub(super) fn note(spot: &Spot<'_>, thing: &Thing) -> Option<String> {
    text_of_line(spot, thing).or_else(|| control_by_name(spot))
}

/// An equate that has the name and the value of a control character.
fn control_by_name(spot: &Spot<'_>) -> Option<String> {
    let (_, definition, _) = spot.definition()?;
    let value = u8::try_from(definition.value.number()?).ok()?;
    let name = spot.model.program().names().text(definition.symbol).to_ascii_uppercase();
    let plain = name.trim_matches('_').strip_prefix("ASCII").unwrap_or(&name).trim_matches('_');
    let own = control(value).filter(|it| *it == plain);
    let other = OTHERS.iter().find(|it| it.0 == plain && it.1 == value);
    let known = own.or(other.and_then(|it| control(it.1)))?;
    let also = OTHERS.iter().find(|it| it.1 == value && matches!(it.0, "XON" | "XOFF")).map(|it| it.0);
    let also = also.map_or(String::new(), |it| format!(" ({it})"));
    Some(format!("control character {known}{also}"))
}

/// How a text ends.
enum End {
    /// With a byte behind it: 0 or $FF.
    Byte(u8),
    /// Bit 7 of its last character is set.
    TopBit,
    /// A length before it.
    Length,
    /// With its table.
    Nothing,
}

/// The whole text that a line of bytes is part of.
fn text_of_line(spot: &Spot<'_>, thing: &Thing) -> Option<String> {
    let directive = spot.line.op.directive()?;
    let is_bytes = match directive.meaning {
        Meaning::Constants => spot.line.size == b'b',
        Meaning::ConstantsOf(1) | Meaning::Strings(_) => true,
        _ => false,
    };
    let is_operand = matches!(thing, Thing::Token(TokenKind::Text | TokenKind::Number | TokenKind::Name, _));
    if !is_bytes || !(is_operand || matches!(thing, Thing::Operation(_))) {
        return None;
    }
    let run = data_run_at(spot.model.program(), spot.unit()?, spot.place)?;
    let items = &run.items;
    let own = items.iter().position(|it| {
        let range = it.span.range();
        it.place == spot.place
            && (matches!(thing, Thing::Operation(_)) || range.start <= spot.at && spot.at <= range.end)
    })?;
    if items.iter().any(|it| it.item_bytes != 1) {
        return None;
    }
    let (start, end) = (text_start(items, own), text_end(items, own)?);
    let all = &items[start..=end];
    if !all.iter().any(|it| is_quoted(spot, it.place, it)) {
        return None;
    }
    let mut bytes: Vec<u8> = all.iter().flat_map(|it| &it.bytes).copied().collect::<Option<_>>()?;
    let ending = match bytes.as_slice() {
        [length, rest @ ..]
            if rest.len() == usize::from(*length) && rest.len() > 1 && !is_quoted(spot, all[0].place, &all[0]) =>
        {
            End::Length
        }
        [.., last @ (0 | 0xff)] => End::Byte(*last),
        [.., last] if last & 0x80 != 0 => End::TopBit,
        _ => End::Nothing,
    };
    let how = match ending {
        End::Byte(byte) => {
            bytes.pop();
            format!("ended by ${byte:02X}")
        }
        End::TopBit => {
            if let Some(last) = bytes.last_mut() {
                *last &= 0x7f;
            }
            "ended by bit 7 of its last character".to_owned()
        }
        End::Length => {
            bytes.remove(0);
            "its length stands before it".to_owned()
        }
        End::Nothing => "without a terminator".to_owned(),
    };
    if bytes.len() < 2 {
        return None;
    }
    Some(format!("text of {} bytes, {how}: `{}`", bytes.len(), shown(&bytes)))
}

fn is_quoted(spot: &Spot<'_>, place: Place, item: &DataItem) -> bool {
    let Some(file) = spot.model.program().file(place.file) else { return false };
    let (_, _, text) = file.at(place.chunk, place.line);
    item.span.of(text).starts_with(['\'', '"']) && item.bytes.len() > 1
}

/// Whether a text ends with an item.
fn ends(item: &DataItem) -> bool {
    matches!(item.bytes.last(), Some(Some(byte)) if *byte == 0 || *byte & 0x80 != 0)
}

fn text_start(items: &[DataItem], own: usize) -> usize {
    items[..own].iter().rposition(ends).map_or(0, |it| it + 1)
}

fn text_end(items: &[DataItem], own: usize) -> Option<usize> {
    let end = items[own..].iter().position(ends).map(|it| own + it);
    end.or_else(|| items.len().checked_sub(1))
}

/// Bytes as a text, control characters by name.
fn shown(bytes: &[u8]) -> String {
    let mut text = String::new();
    for byte in bytes.iter().take(MOST_SHOWN) {
        match (control(*byte), *byte) {
            (Some(name), _) => text.push_str(&format!("<{name}>")),
            // A backquote would end the code that the text stands in.
            (None, b'`') => text.push('\''),
            (None, byte @ 0x20..=0x7e) => text.push(char::from(byte)),
            (None, byte) => text.push_str(&format!("<${byte:02X}>")),
        }
    }
    if bytes.len() > MOST_SHOWN {
        text.push_str("...");
    }
    text
}
