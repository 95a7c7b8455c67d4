//! Intel hex. Source: the manual page `srec_intel(5)` of the SRecord package, 1.64.

use super::image::Image;
use super::problem::ProblemKind;
use super::text::{Gathered, Line, lines, number, pairs};
use super::write::{DATA_BYTES, WriteError, hex};
use super::{Reading, TransferFormat};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    Data,
    End,
    /// Times 16: where the 64 KiB segment of the offsets starts.
    Segment,
    /// Segment and offset.
    SegmentedEntry,
    /// The upper half of addresses.
    UpperHalf,
    Entry,
}

/// A type of record.
#[derive(Debug)]
struct Type {
    name: &'static str,
    role: Role,
    /// Data bytes it has; none: as many as it says.
    data_bytes: Option<usize>,
}

/// All types; the place is the number.
const TYPES: &[Type] = &[
    Type { name: "00", role: Role::Data, data_bytes: None },
    Type { name: "01", role: Role::End, data_bytes: Some(0) },
    Type { name: "02", role: Role::Segment, data_bytes: Some(2) },
    Type { name: "03", role: Role::SegmentedEntry, data_bytes: Some(4) },
    Type { name: "04", role: Role::UpperHalf, data_bytes: Some(2) },
    Type { name: "05", role: Role::Entry, data_bytes: Some(4) },
];

const END: &str = ":00000001FF";

/// As many bytes an offset spans.
const SEGMENT: usize = 0x1_0000;

/// Length, offset, type and checksum, in bytes.
const FRAME: usize = 5;

/// The two's complement of the low byte of the sum.
fn checksum(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum: u8, byte| sum.wrapping_sub(*byte))
}

/// Reads Intel hex.
#[must_use]
pub fn read(bytes: &[u8]) -> Reading {
    let mut reader = Reader::default();
    let mut record = Vec::new();
    for line in lines(bytes) {
        reader.gathered.line(line);
        if let Err((column, kind)) = reader.line(line, &mut record) {
            reader.gathered.problem(line.number, line.column + column as u32, kind);
        }
    }
    reader.gathered.finish(TransferFormat::IntelHex, END)
}

#[derive(Debug, Default)]
struct Reader {
    gathered: Gathered,
    /// What is added to offsets.
    base: u32,
    /// Whether the base is an upper half: then data may run over the end of 64 KiB.
    is_linear: bool,
}

impl Reader {
    /// Reads a line; an error has its column in the text and leaves the record out.
    fn line(&mut self, line: Line<'_>, record: &mut Vec<u8>) -> Result<(), (usize, ProblemKind)> {
        let [start, digits @ ..] = line.text else { return Ok(()) };
        if *start != b':' {
            return Err((0, ProblemKind::NoRecord { found: *start, expected: ':' }));
        }
        pairs(digits, record).map_err(|(at, problem)| (at + 1, problem))?;
        // The length is that of the data alone.
        let behind = record.len().saturating_sub(1);
        let Some(data_bytes) = record.len().checked_sub(FRAME) else {
            return Err((0, ProblemKind::TooShort { bytes: behind, least: FRAME - 1 }));
        };
        let said = usize::from(record[0]);
        if said != data_bytes {
            return Err((1, ProblemKind::Length { said: said + FRAME - 1, found: behind }));
        }
        let (summed, found) = (&record[..record.len() - 1], record[record.len() - 1]);
        let expected = checksum(summed);
        if found != expected {
            return Err((line.text.len() - 2, ProblemKind::Checksum { found, expected }));
        }
        let Some(kind) = TYPES.get(usize::from(record[3])) else {
            return Err((7, ProblemKind::UnknownType { found: format!("{:02X}", record[3]) }));
        };
        let (offset, data) = (number(&summed[1..3]), &summed[4..]);
        if let Some(expected) = kind.data_bytes.filter(|it| *it != data.len()) {
            return Err((1, ProblemKind::DataInRecord { record: kind.name, found: data.len(), expected }));
        }
        self.record(line, kind, offset, data);
        Ok(())
    }

    fn record(&mut self, line: Line<'_>, kind: &'static Type, offset: u32, data: &[u8]) {
        self.gathered.record(line);
        let mut problem = |column, kind| self.gathered.problem(line.number, line.column + column, kind);
        // Older files have the entry address in the end record: from memory.
        if offset != 0 && !matches!(kind.role, Role::Data | Role::End) {
            problem(3, ProblemKind::AddressNotZero { record: kind.name, found: offset });
        }
        match kind.role {
            Role::Data if data.is_empty() => problem(0, ProblemKind::NoDataInRecord),
            Role::Data => self.data(line, offset, data),
            Role::End => {
                self.gathered.end.get_or_insert(line.number);
                if offset != 0 {
                    self.gathered.entry(line, offset);
                }
            }
            Role::Segment => (self.base, self.is_linear) = (number(data) << 4, false),
            Role::UpperHalf => (self.base, self.is_linear) = (number(data) << 16, true),
            Role::SegmentedEntry => self.gathered.entry(line, (number(&data[..2]) << 4) + number(&data[2..])),
            Role::Entry => self.gathered.entry(line, number(data)),
        }
    }

    /// Data: in a segment it goes on at the segment's start behind its end. The format's specification of 1988, from memory.
    fn data(&mut self, line: Line<'_>, offset: u32, data: &[u8]) {
        let space = if self.is_linear { data.len() } else { (SEGMENT - offset as usize).min(data.len()) };
        let (here, around) = data.split_at(space);
        // A base ends in 0000 or is below $100000, so this cannot be past the last address.
        let address = self.base + offset;
        let pushed = self.gathered.image.push(address, here, line.number);
        if pushed < here.len() {
            self.gathered.problem(line.number, line.column + 9, ProblemKind::PastEnd { last: u32::MAX });
        }
        if !around.is_empty() {
            self.gathered.problem(line.number, line.column + 3, ProblemKind::SegmentWrap);
            self.gathered.image.push(self.base, around, line.number);
        }
    }
}

/// How Intel hex is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Form {
    /// Data bytes of a record, 1 to 255.
    pub data_bytes: usize,
}

impl Default for Form {
    fn default() -> Self {
        Self { data_bytes: DATA_BYTES }
    }
}

/// Writes an image as Intel hex, by address, with upper halves (type 04) above $FFFF; lines end with LF. The format has no
/// header.
///
/// # Errors
/// A record would be too long.
pub fn write(image: &Image, form: &Form) -> Result<String, WriteError> {
    let most = usize::from(u8::MAX);
    if !(1..=most).contains(&form.data_bytes) {
        return Err(WriteError::DataBytes { asked: form.data_bytes, most });
    }
    let mut text = String::new();
    let mut upper = 0;
    for run in image.runs() {
        let mut address = run.address;
        let mut rest = run.bytes.as_slice();
        while !rest.is_empty() {
            if address >> 16 != upper {
                upper = address >> 16;
                line(4, 0, &upper.to_be_bytes()[2..], &mut text);
            }
            let offset = address & 0xffff;
            let (data, behind) = rest.split_at(rest.len().min(form.data_bytes).min(SEGMENT - offset as usize));
            line(0, offset, data, &mut text);
            address = address.wrapping_add(data.len() as u32);
            rest = behind;
        }
    }
    if let Some(entry) = image.entry {
        line(5, 0, &entry.to_be_bytes(), &mut text);
    }
    line(1, 0, &[], &mut text);
    Ok(text)
}

fn line(kind: u8, offset: u32, data: &[u8], text: &mut String) {
    let [.., high, low] = offset.to_be_bytes();
    let mut bytes = vec![u8::try_from(data.len()).unwrap_or(u8::MAX), high, low, kind];
    bytes.extend_from_slice(data);
    bytes.push(checksum(&bytes));
    text.push(':');
    hex(&bytes, text);
    text.push('\n');
}

#[cfg(test)]
mod tests {
    use super::{Form, read, write};
    use crate::transfer::{Image, ProblemKind, Run, WriteError};

    /// Lines computed by the rule of srec_intel(5), SRecord 1.64.
    const EXAMPLE: &str = ":0200000400F802\n:060400004EF900F80410A3\n:0400000500F80400FB\n:00000001FF\n";

    #[test]
    fn upper_half_data_entry_and_end_are_read_and_written() {
        let reading = read(EXAMPLE.as_bytes());
        assert_eq!(reading.problems, []);
        assert_eq!(reading.image.entry, Some(0xf8_0400));
        let run = Run { address: 0xf8_0400, bytes: vec![0x4e, 0xf9, 0, 0xf8, 4, 0x10] };
        assert_eq!(reading.image.runs(), [run]);
        assert_eq!(write(&reading.image, &Form::default()).as_deref(), Ok(EXAMPLE));
        for text in [EXAMPLE.to_lowercase(), EXAMPLE.replace('\n', " \r\n"), EXAMPLE.trim_end().to_owned()] {
            assert_eq!(read(text.as_bytes()), reading, "{text:?}");
        }
    }

    /// Segments count 16 bytes, and CS:IP is segment and offset: srec_intel(5). Checksums computed.
    #[test]
    fn segments_are_paragraphs() {
        let reading = read(b":02000002F80004\n:01001000559A\n:04000003F8000010F1\n:00000001FF\n");
        assert_eq!(reading.problems, []);
        assert_eq!(reading.image.range(), Some((0xf_8010, 0xf_8010)));
        assert_eq!(reading.image.entry, Some(0xf_8010));
    }

    /// Wraps as the format's specification says; from memory.
    #[test]
    fn a_segment_wraps_and_an_upper_half_does_not() {
        let data = ":02FFFF001122CD\n";
        let end = ":00000001FF\n";
        let wrapped = read(format!("{data}{end}").as_bytes());
        assert_eq!(wrapped.problems.iter().map(|it| &it.kind).collect::<Vec<_>>(), [&ProblemKind::SegmentWrap]);
        assert!(wrapped.is_sound());
        assert_eq!(wrapped.image.range(), Some((0, 0xffff)));
        let linear = read(format!(":020000040001F9\n{data}{end}").as_bytes());
        assert_eq!(linear.problems, []);
        assert_eq!(linear.image.range(), Some((0x1_ffff, 0x2_0000)));
    }

    #[test]
    fn each_damage_is_told_with_its_place() {
        use ProblemKind as K;
        let (data, end) = (":03000000010203F7", ":00000001FF");
        for (lines, place, kind) in [
            (vec![data], (1, 1), K::NoEnd { expected: end }),
            (vec![data, &data.replace("F7", "F8"), end], (2, 16), K::Checksum { found: 0xf8, expected: 0xf7 }),
            (vec![data, &data[..15], end], (2, 2), K::Length { said: 7, found: 6 }),
            (vec![data, &data[..16], end], (2, 16), K::OddDigits { digits: 15 }),
            (vec![data, &data.replace("F7", "F?"), end], (2, 17), K::NotHex { found: b'?' }),
            (vec![data, ":00", end], (2, 1), K::TooShort { bytes: 0, least: 4 }),
            (vec![data, ":", end], (2, 1), K::TooShort { bytes: 0, least: 4 }),
            (vec![data, ":00000006FA", end], (2, 8), K::UnknownType { found: "06".into() }),
            (vec![data, ":0100000400FB", end], (2, 2), K::DataInRecord { record: "04", found: 1, expected: 2 }),
            (vec![data, ":020001040000F9", end], (2, 4), K::AddressNotZero { record: "04", found: 1 }),
            (vec![data, "S9030000FC", end], (2, 1), K::NoRecord { found: b'S', expected: ':' }),
            (vec![data, ":00000000", end], (2, 1), K::TooShort { bytes: 3, least: 4 }),
            (vec![data, ":0000000000", end], (2, 1), K::NoDataInRecord),
            (vec![data, data, end], (2, 1), K::Overlap { address: 0, other: 0, differ: false }),
            (vec![data, ":0100010000FE", end], (2, 1), K::Overlap { address: 1, other: 0, differ: true }),
            (vec![data, end, ":01001000AA45"], (3, 1), K::AfterEnd { end: 1 }),
            (
                vec![":0400000500000001F6", ":0400000500000002F5", data, end],
                (2, 1),
                K::SecondEntry { before: 1, found: 2 },
            ),
            (vec![":02000004FFFFFC", ":02FFFF000102FD", end], (2, 10), K::PastEnd { last: u32::MAX }),
            (vec![end], (1, 1), K::NoData),
        ] {
            let text = lines.join("\n");
            let found: Vec<_> =
                read(text.as_bytes()).problems.into_iter().map(|it| (it.line + 1, it.column + 1, it.kind)).collect();
            assert!(found.contains(&(place.0, place.1, kind.clone())), "{text}\n{kind:?} at {place:?}\n{found:?}");
        }
    }

    #[test]
    fn data_is_cut_at_64_kib_and_a_record_has_a_length() {
        let text = write(&Image::raw(0xfffe, &[1, 2, 3, 4]), &Form::default()).unwrap();
        assert_eq!(text, ":02FFFE000102FE\n:020000040001F9\n:020000000304F7\n:00000001FF\n");
        let error = WriteError::DataBytes { asked: 256, most: 255 };
        assert_eq!(write(&Image::default(), &Form { data_bytes: 256 }), Err(error));
    }
}
