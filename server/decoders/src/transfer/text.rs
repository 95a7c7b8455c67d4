//! What the readers of both formats of lines share: lines, hexadecimal digits, and the checks over the whole file.

use super::image::Image;
use super::problem::{Problem, ProblemKind};
use super::{Reading, TransferFormat};

/// A line that is not empty, without blanks around it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line<'a> {
    /// From 0.
    pub(super) number: u32,
    /// Where the text starts in the line.
    pub(super) column: u32,
    pub(super) text: &'a [u8],
}

/// Blanks, and what old senders fill lines and last blocks with: NUL and Control-Z. Common practice, no source.
fn is_filler(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | 0 | 0x1a)
}

/// The lines of a file that are not empty. Lines end with LF, CR or both.
pub(super) fn lines(bytes: &[u8]) -> impl Iterator<Item = Line<'_>> {
    const MARK: &[u8] = b"\xef\xbb\xbf";
    let mark = if bytes.starts_with(MARK) { MARK.len() } else { 0 };
    let mut rest = Some(&bytes[mark..]);
    let mut number = 0;
    std::iter::from_fn(move || {
        loop {
            let text = rest?;
            let end = text.iter().position(|it| matches!(it, b'\n' | b'\r'));
            let (own, behind) = match end {
                Some(end) if text[end..].starts_with(b"\r\n") => (&text[..end], Some(&text[end + 2..])),
                Some(end) => (&text[..end], Some(&text[end + 1..])),
                None => (text, None),
            };
            rest = behind;
            let start = own.iter().position(|it| !is_filler(*it));
            let line = start.map(|start| {
                let end = own.iter().rposition(|it| !is_filler(*it)).map_or(start, |last| last + 1);
                Line { number, column: start as u32, text: &own[start..end] }
            });
            number += 1;
            if line.is_some() {
                return line;
            }
        }
    })
}

/// The value of a hexadecimal digit.
fn digit(byte: u8) -> Option<u8> {
    char::from(byte).to_digit(16).and_then(|it| u8::try_from(it).ok())
}

/// The bytes of pairs of digits.
///
/// # Errors
/// The first thing that is no pair of digits: where in `digits`, and what.
pub(super) fn pairs(digits: &[u8], into: &mut Vec<u8>) -> Result<(), (usize, ProblemKind)> {
    into.clear();
    if let Some(at) = digits.iter().position(|it| digit(*it).is_none()) {
        return Err((at, ProblemKind::NotHex { found: digits[at] }));
    }
    if !digits.len().is_multiple_of(2) {
        return Err((digits.len() - 1, ProblemKind::OddDigits { digits: digits.len() }));
    }
    let both = |pair: &[u8]| Some(digit(*pair.first()?)? << 4 | digit(*pair.get(1)?)?);
    into.extend(digits.chunks_exact(2).filter_map(both));
    Ok(())
}

/// A big-endian number of up to four bytes.
pub(super) fn number(bytes: &[u8]) -> u32 {
    bytes.iter().fold(0, |number, byte| number << 8 | u32::from(*byte))
}

/// Gathers an image and what is wrong with its file.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    pub(super) image: Image,
    problems: Vec<Problem>,
    /// The line of the end record.
    pub(super) end: Option<u32>,
    last_line: u32,
    /// A file that ran past its end: that is said once.
    is_past_end: bool,
}

impl Gathered {
    pub(super) fn problem(&mut self, line: u32, column: u32, kind: ProblemKind) {
        self.problems.push(Problem { line, column, kind });
    }

    /// To be called for each record that is sound in itself.
    pub(super) fn record(&mut self, line: Line<'_>) {
        if let Some(end) = self.end.filter(|_| !self.is_past_end) {
            self.is_past_end = true;
            self.problem(line.number, line.column, ProblemKind::AfterEnd { end });
        }
    }

    /// To be called for each line.
    pub(super) fn line(&mut self, line: Line<'_>) {
        self.last_line = line.number;
    }

    pub(super) fn entry(&mut self, line: Line<'_>, found: u32) {
        if let Some(before) = self.image.entry.filter(|it| *it != found) {
            self.problem(line.number, line.column, ProblemKind::SecondEntry { before, found });
        }
        self.image.entry = Some(found);
    }

    /// Looks at the whole; `expected` is what an end record looks like.
    pub(super) fn finish(mut self, format: TransferFormat, expected: &'static str) -> Reading {
        let mut found: Vec<Problem> = Vec::new();
        for (record, before, differ) in self.image.overlaps() {
            // Underline the one that comes later in the file.
            let (line, other) = (record.line.max(before.line), record.line.min(before.line));
            let kind = ProblemKind::Overlap { address: record.address, other, differ };
            found.push(Problem { line, column: 0, kind });
        }
        if self.image.is_empty() {
            found.push(Problem { line: 0, column: 0, kind: ProblemKind::NoData });
        }
        if self.end.is_none() {
            found.push(Problem { line: self.last_line, column: 0, kind: ProblemKind::NoEnd { expected } });
        }
        self.problems.append(&mut found);
        self.problems.sort_by_key(|it| (it.line, it.column));
        Reading { format, image: self.image, problems: self.problems }
    }
}

#[cfg(test)]
mod tests {
    use super::{lines, pairs};

    #[test]
    fn lines_end_with_lf_cr_or_both_and_keep_their_numbers() {
        let found: Vec<_> =
            lines(b"\xef\xbb\xbfa \r\n\n  b\0\rc\x1a\x1a").map(|it| (it.number, it.column, it.text)).collect();
        assert_eq!(found, [(0, 0, &b"a"[..]), (2, 2, b"b"), (3, 0, b"c")]);
    }

    #[test]
    fn what_is_no_pair_of_digits_is_told_with_its_place() {
        let mut bytes = Vec::new();
        assert!(pairs(b"fF0a", &mut bytes).is_ok());
        assert_eq!(bytes, [0xff, 0x0a]);
        assert_eq!(pairs(b"0g1", &mut bytes).map_err(|it| it.0), Err(1));
        assert_eq!(pairs(b"012", &mut bytes).map_err(|it| it.0), Err(2));
    }
}
