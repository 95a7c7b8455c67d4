//! Which form a file has, by its content.

use super::TransferFormat;
use super::text::lines;

/// As much of the start of a file is looked at, in bytes.
const LOOK_AT: usize = 16 * 1024;

/// Whether a file starts with text. A dump of memory is text in parts only; a damaged transfer has a few bytes that are not.
#[must_use]
pub fn is_text(bytes: &[u8]) -> bool {
    let start = &bytes[..bytes.len().min(LOOK_AT)];
    let is_text = |it: &&u8| matches!(it, b'\t' | b'\n' | b'\r' | 0x1a | b' '..=b'~');
    let texts = start.iter().filter(is_text).count();
    !start.is_empty() && texts * 10 >= start.len() * 9
}

/// Tells the form of a file by its start.
///
/// A file of records is text, and most of its lines start as a record of that format does: one damaged line does not make
/// it raw bytes. Everything else is raw.
#[must_use]
pub fn detect(bytes: &[u8]) -> TransferFormat {
    if !is_text(bytes) {
        return TransferFormat::Raw;
    }
    let start = &bytes[..bytes.len().min(LOOK_AT)];
    let (mut all, mut s_records, mut intel) = (0, 0, 0);
    for line in lines(start) {
        all += 1;
        let is_hex = |text: &[u8]| text.len() >= 6 && text[..6].iter().all(u8::is_ascii_hexdigit);
        match line.text {
            [b'S' | b's', b'0'..=b'9', rest @ ..] if is_hex(rest) => s_records += 1,
            [b':', rest @ ..] if is_hex(rest) => intel += 1,
            _ => (),
        }
    }
    if s_records * 2 > all {
        TransferFormat::SRecord
    } else if intel * 2 > all {
        TransferFormat::IntelHex
    } else {
        TransferFormat::Raw
    }
}

#[cfg(test)]
mod tests {
    use super::{TransferFormat, detect};

    #[test]
    fn the_content_tells_the_form() {
        for (bytes, format) in [
            (&b""[..], TransferFormat::Raw),
            (b"S9030000FC", TransferFormat::SRecord),
            (b"s9030000fc\r\n", TransferFormat::SRecord),
            (b"\n\n  :00000001FF  \n", TransferFormat::IntelHex),
            (b"load it:\nS1030000FC\nS1030000FC\nS9030000FC\n", TransferFormat::SRecord),
            (b"S9 is where it is\n", TransferFormat::Raw),
            (b"S9030000FC\n\x00\x01\x02\x03\x80\x81", TransferFormat::Raw),
            (b"\x00\x00\x10\x00\x00\xf8\x04\x10", TransferFormat::Raw),
            (b": a word\n: another\n", TransferFormat::Raw),
        ] {
            assert_eq!(detect(bytes), format, "{}", String::from_utf8_lossy(bytes));
        }
    }
}
