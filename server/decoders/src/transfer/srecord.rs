//! S-records: S19, S28 and S37 files. Source: the manual page `srec_motorola(5)` of the SRecord package, 1.64.

use super::image::Image;
use super::problem::ProblemKind;
use super::text::{Gathered, Line, lines, number, pairs};
use super::write::{DATA_BYTES, WriteError, hex};
use super::{Reading, TransferFormat};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    Header,
    Data,
    Count,
    End,
}

/// A type of record.
#[derive(Debug)]
struct Type {
    name: &'static str,
    role: Role,
    address_bytes: usize,
}

/// All types; S4 is reserved.
const TYPES: &[Type] = &[
    Type { name: "S0", role: Role::Header, address_bytes: 2 },
    Type { name: "S1", role: Role::Data, address_bytes: 2 },
    Type { name: "S2", role: Role::Data, address_bytes: 3 },
    Type { name: "S3", role: Role::Data, address_bytes: 4 },
    Type { name: "S5", role: Role::Count, address_bytes: 2 },
    Type { name: "S6", role: Role::Count, address_bytes: 3 },
    Type { name: "S7", role: Role::End, address_bytes: 4 },
    Type { name: "S8", role: Role::End, address_bytes: 3 },
    Type { name: "S9", role: Role::End, address_bytes: 2 },
];

/// The type of a role with addresses of that width.
fn of(role: Role, address_bytes: usize) -> &'static Type {
    let found = TYPES.iter().find(|it| it.role == role && it.address_bytes == address_bytes);
    found.unwrap_or(&TYPES[0])
}

/// The last address that fits into so many bytes.
fn last_address(bytes: usize) -> u32 {
    u32::MAX >> (32 - 8 * bytes.clamp(1, 4))
}

/// The one's complement of the low byte of the sum of length, address and data.
fn checksum(bytes: &[u8]) -> u8 {
    !bytes.iter().fold(0, |sum: u8, byte| sum.wrapping_add(*byte))
}

/// Reads S-records. An entry address of 0 stands for none: there the 68000 has its vectors.
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
    let width = reader.widest.max(2);
    reader.gathered.finish(TransferFormat::SRecord, of(Role::End, width).name)
}

#[derive(Debug, Default)]
struct Reader {
    gathered: Gathered,
    has_header: bool,
    /// The type of the first data record.
    first: Option<&'static Type>,
    /// The widest address of a data record, in bytes.
    widest: usize,
    /// Lines that are data records by their type, damaged ones too: so a damaged line makes one problem, not two.
    data_records: u32,
}

impl Reader {
    /// Reads a line; an error has its column in the text and leaves the record out.
    fn line(&mut self, line: Line<'_>, record: &mut Vec<u8>) -> Result<(), (usize, ProblemKind)> {
        let [start, rest @ ..] = line.text else { return Ok(()) };
        if !start.eq_ignore_ascii_case(&b'S') {
            return Err((0, ProblemKind::NoRecord { found: *start, expected: 'S' }));
        }
        let [digit, digits @ ..] = rest else { return Err((0, ProblemKind::TooShort { bytes: 0, least: 3 })) };
        let written = format!("S{}", char::from(*digit).escape_default());
        let Some(kind) = TYPES.iter().find(|it| it.name == written) else {
            let is_reserved = *digit == b'4';
            return Err((
                1,
                if is_reserved { ProblemKind::Reserved } else { ProblemKind::UnknownType { found: written } },
            ));
        };
        if kind.role == Role::Data {
            self.data_records = self.data_records.saturating_add(1);
        }
        pairs(digits, record).map_err(|(at, problem)| (at + 2, problem))?;
        let least = kind.address_bytes + 1;
        let [said, behind @ ..] = record.as_slice() else {
            return Err((0, ProblemKind::TooShort { bytes: 0, least }));
        };
        if usize::from(*said) != behind.len() {
            return Err((2, ProblemKind::Length { said: usize::from(*said), found: behind.len() }));
        }
        let Some((found, summed)) = record.split_last().filter(|_| !behind.is_empty()) else {
            return Err((2, ProblemKind::TooShort { bytes: 0, least }));
        };
        let expected = checksum(summed);
        if *found != expected {
            return Err((line.text.len() - 2, ProblemKind::Checksum { found: *found, expected }));
        }
        if behind.len() < least {
            return Err((2, ProblemKind::TooShort { bytes: behind.len(), least }));
        }
        let (address, data) = summed[1..].split_at(kind.address_bytes);
        self.record(line, kind, number(address), data);
        Ok(())
    }

    fn record(&mut self, line: Line<'_>, kind: &'static Type, address: u32, data: &[u8]) {
        self.gathered.record(line);
        let (at, data_at) = (line.column, line.column + 4 + 2 * kind.address_bytes as u32);
        let mut problem = |column: u32, kind| self.gathered.problem(line.number, column, kind);
        match kind.role {
            Role::Header => {
                if address != 0 {
                    problem(at + 4, ProblemKind::AddressNotZero { record: kind.name, found: address });
                }
                if self.data_records > 0 {
                    problem(at, ProblemKind::LateHeader);
                } else if self.has_header {
                    problem(at, ProblemKind::SecondHeader);
                }
                self.has_header = true;
                self.gathered.image.header.get_or_insert_with(|| data.to_vec());
            }
            Role::Data => {
                let first = *self.first.get_or_insert(kind);
                if first.name != kind.name {
                    problem(at, ProblemKind::MixedWidths { found: kind.name, first: first.name });
                }
                self.widest = self.widest.max(kind.address_bytes);
                let last = last_address(kind.address_bytes);
                let space = u64::from(last - address) + 1;
                if data.is_empty() {
                    problem(at, ProblemKind::NoDataInRecord);
                } else if data.len() as u64 > space {
                    problem(data_at, ProblemKind::PastEnd { last });
                }
                let fits = usize::try_from(space).map_or(data.len(), |it| it.min(data.len()));
                self.gathered.image.push(address, &data[..fits], line.number);
            }
            Role::Count => {
                // The short count record has the low half of the number.
                let found = self.data_records & last_address(kind.address_bytes);
                if !data.is_empty() {
                    problem(data_at, ProblemKind::DataInRecord { record: kind.name, found: data.len(), expected: 0 });
                } else if address != found {
                    problem(at + 4, ProblemKind::Count { said: address, found });
                }
            }
            Role::End => {
                let expected = of(Role::End, self.widest.max(2));
                if !data.is_empty() {
                    problem(data_at, ProblemKind::DataInRecord { record: kind.name, found: data.len(), expected: 0 });
                } else if self.widest > 0 && expected.name != kind.name {
                    problem(at, ProblemKind::EndMismatch { found: kind.name, expected: expected.name });
                }
                self.gathered.end.get_or_insert(line.number);
                if address != 0 {
                    self.gathered.entry(line, address);
                }
            }
        }
    }
}

/// How wide addresses are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AddressWidth {
    /// S1 and S9: an S19 file.
    Bytes2,
    /// S2 and S8: an S28 file.
    Bytes3,
    /// S3 and S7: an S37 file.
    Bytes4,
}

impl AddressWidth {
    fn bytes(self) -> usize {
        match self {
            Self::Bytes2 => 2,
            Self::Bytes3 => 3,
            Self::Bytes4 => 4,
        }
    }
}

/// How S-records are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Form {
    /// Data bytes of a record, 1 to 250.
    pub data_bytes: usize,
    /// The width of addresses; none: the least that all addresses fit into.
    pub width: Option<AddressWidth>,
    /// Whether a count record is written. Without it, a lost line is not seen.
    pub count: bool,
}

impl Default for Form {
    fn default() -> Self {
        Self { data_bytes: DATA_BYTES, width: None, count: true }
    }
}

/// Writes an image as S-records, by address; lines end with LF.
///
/// # Errors
/// An address is wider than the width that was asked for, or a record would be too long.
pub fn write(image: &Image, form: &Form) -> Result<String, WriteError> {
    let highest = image.range().map_or(0, |it| it.1).max(image.entry.unwrap_or(0));
    let fitting = (2..4).find(|bytes| highest <= last_address(*bytes)).unwrap_or(4);
    let width = form.width.map_or(fitting, AddressWidth::bytes);
    if highest > last_address(width) {
        return Err(WriteError::TooWide { address: highest, last: last_address(width) });
    }
    let most = usize::from(u8::MAX) - 1 - width;
    if !(1..=most).contains(&form.data_bytes) {
        return Err(WriteError::DataBytes { asked: form.data_bytes, most });
    }
    let mut text = String::new();
    if let Some(header) = &image.header {
        let most = usize::from(u8::MAX) - 3;
        if header.len() > most {
            return Err(WriteError::Header { bytes: header.len(), most });
        }
        line(of(Role::Header, 2), 0, header, &mut text);
    }
    let mut count: u32 = 0;
    for run in image.runs() {
        let mut address = run.address;
        for data in run.bytes.chunks(form.data_bytes) {
            line(of(Role::Data, width), address, data, &mut text);
            address = address.wrapping_add(data.len() as u32);
            count = count.saturating_add(1);
        }
    }
    let count_bytes = if count <= last_address(2) { 2 } else { 3 };
    if form.count && count > 0 && count <= last_address(count_bytes) {
        line(of(Role::Count, count_bytes), count, &[], &mut text);
    }
    line(of(Role::End, width), image.entry.unwrap_or(0), &[], &mut text);
    Ok(text)
}

fn line(kind: &Type, address: u32, data: &[u8], text: &mut String) {
    let length = kind.address_bytes + data.len() + 1;
    let mut bytes = vec![u8::try_from(length).unwrap_or(u8::MAX)];
    bytes.extend_from_slice(&address.to_be_bytes()[4 - kind.address_bytes..]);
    bytes.extend_from_slice(data);
    bytes.push(checksum(&bytes));
    text.push_str(kind.name);
    hex(&bytes, text);
    text.push('\n');
}

#[cfg(test)]
mod tests {
    use super::{AddressWidth, Form, read, write};
    use crate::transfer::{Image, ProblemKind, WriteError};

    /// The problems of a text, as line and column from 1 and what is wrong.
    fn problems(text: &str) -> Vec<(u32, u32, ProblemKind)> {
        read(text.as_bytes()).problems.into_iter().map(|it| (it.line + 1, it.column + 1, it.kind)).collect()
    }

    /// The example of the manual page srec_motorola(5), SRecord 1.64.
    const EXAMPLE: &str = "S00600004844521B\nS110000048656C6C6F2C20576F726C640A9D\nS5030001FB\nS9030000FC\n";

    #[test]
    fn the_example_of_the_manual_page_is_read_and_written() {
        let reading = read(EXAMPLE.as_bytes());
        assert_eq!(reading.problems, []);
        assert_eq!(reading.image.header.as_deref(), Some(&b"HDR"[..]));
        assert_eq!(reading.image.entry, None);
        assert_eq!(reading.image.runs()[0].bytes, b"Hello, World\n");
        assert_eq!(write(&reading.image, &Form::default()).as_deref(), Ok(EXAMPLE));
    }

    /// Lines computed by the rule of srec_motorola(5).
    #[test]
    fn wider_addresses_have_their_own_types() {
        let vectors = [0, 0, 0x10, 0];
        for (text, address, bytes) in [
            ("S208F8000000001000EF\nS804F80400FF\n", 0xf8_0000, &vectors[..]),
            ("S30B00F804004EF900F80410A5\nS70500F80400FE\n", 0xf8_0400, &[0x4e, 0xf9, 0, 0xf8, 4, 0x10]),
        ] {
            let reading = read(text.as_bytes());
            assert_eq!(reading.problems, []);
            assert_eq!(reading.image.entry, Some(0xf8_0400));
            assert_eq!(reading.image.range().map(|it| it.0), Some(address));
            assert_eq!(reading.image.runs()[0].bytes, bytes);
            let width = if text.starts_with("S3") { Some(AddressWidth::Bytes4) } else { None };
            let form = Form { width, count: false, ..Form::default() };
            assert_eq!(write(&reading.image, &form).as_deref(), Ok(text));
        }
    }

    #[test]
    fn lower_case_blanks_and_all_line_ends_are_fine() {
        let sound = read(EXAMPLE.as_bytes()).image;
        let forms = [
            EXAMPLE.to_lowercase(),
            EXAMPLE.replace('\n', "\r\n"),
            EXAMPLE.replace('\n', "\r"),
            EXAMPLE.replace('\n', "  \t\n"),
            format!("{EXAMPLE}\x1a\x1a\x1a"),
            EXAMPLE.trim_end().to_owned(),
        ];
        for text in forms {
            let reading = read(text.as_bytes());
            assert_eq!(reading.problems, [], "{text:?}");
            assert!(sound.records().map(|it| it.bytes).eq(reading.image.records().map(|it| it.bytes)));
        }
    }

    /// Each is one damage to the example; what is expected follows from srec_motorola(5).
    #[test]
    fn each_damage_is_told_with_its_place() {
        use ProblemKind as K;
        let [s0, s1, s5, s9] = ["S00600004844521B", "S110000048656C6C6F2C20576F726C640A9D", "S5030001FB", "S9030000FC"];
        for (lines, place, kind) in [
            (vec![s0, s1, s5], (3, 1), K::NoEnd { expected: "S9" }),
            (vec![s1, "S5030002FA", s9], (2, 5), K::Count { said: 2, found: 1 }),
            (vec![s1, &s1.replace("9D", "9C"), s9], (2, 35), K::Checksum { found: 0x9c, expected: 0x9d }),
            (vec![s1, &s1.replace("4865", "486"), s9], (2, 35), K::OddDigits { digits: 33 }),
            (vec![s1, &s1.replace("4865", "48G5"), s9], (2, 11), K::NotHex { found: b'G' }),
            (vec![s1, &s1[..30], s9], (2, 3), K::Length { said: 16, found: 13 }),
            (vec![s1, "S1", s9], (2, 1), K::TooShort { bytes: 0, least: 3 }),
            (vec![s1, "S", s9], (2, 1), K::TooShort { bytes: 0, least: 3 }),
            (vec![s1, "S100", s9], (2, 3), K::TooShort { bytes: 0, least: 3 }),
            (vec![s1, "S10200FD", s9], (2, 3), K::TooShort { bytes: 2, least: 3 }),
            (vec![s1, "S4030000FC", s9], (2, 2), K::Reserved),
            (vec![s1, "SA030000FC", s9], (2, 2), K::UnknownType { found: "SA".into() }),
            (vec![s1, "loaded", s9], (2, 1), K::NoRecord { found: b'l', expected: 'S' }),
            (vec![s1, "S1030010EC", s9], (2, 1), K::NoDataInRecord),
            (vec![s1, s1, s9], (2, 1), K::Overlap { address: 0, other: 0, differ: false }),
            (vec![s1, "S104000000FB", s9], (2, 1), K::Overlap { address: 0, other: 0, differ: true }),
            (vec![s1, s9, "S104001000EB"], (3, 1), K::AfterEnd { end: 1 }),
            (vec![s1, "S8040000 00FB"], (2, 9), K::NotHex { found: b' ' }),
            (vec![s1, "S804000000FB"], (2, 1), K::EndMismatch { found: "S8", expected: "S9" }),
            (vec![s1, "S90400000AF1"], (2, 9), K::DataInRecord { record: "S9", found: 1, expected: 0 }),
            (vec![s1, s0, s9], (2, 1), K::LateHeader),
            (vec![s0, s0, s1, s9], (2, 1), K::SecondHeader),
            (vec!["S0040001AA50", s1, s9], (1, 5), K::AddressNotZero { record: "S0", found: 1 }),
            (vec![s1, "S205001000AA40", "S804000000FB"], (2, 1), K::MixedWidths { found: "S2", first: "S1" }),
            (vec![s1, "S105FFFF0000FC", s9], (2, 9), K::PastEnd { last: 0xffff }),
            (vec![s0, s9], (1, 1), K::NoData),
        ] {
            let text = lines.join("\n");
            let found = problems(&text);
            assert!(found.contains(&(place.0, place.1, kind.clone())), "{text}\n{kind:?} at {place:?}\n{found:?}");
        }
    }

    #[test]
    fn reading_goes_on_behind_a_damaged_line_which_is_left_out() {
        let reading = read(b"S104000001FA\nS104000102F9\nS104000203F6\nS9030000FC\n");
        assert!(!reading.is_sound());
        let lines: Vec<_> = reading.problems.iter().map(ToString::to_string).collect();
        let expected = "line 2, column 11: checksum $F9, expected $F8 for the bytes of this line; one of them is \
                        damaged, transfer the file again";
        assert_eq!(lines, [expected]);
        assert_eq!(reading.image.records().map(|it| it.line).collect::<Vec<_>>(), [0, 2]);
    }

    #[test]
    fn what_cannot_be_written_says_why() {
        let image = Image::raw(0x1_0000, &[1]);
        let narrow = Form { width: Some(AddressWidth::Bytes2), ..Form::default() };
        assert_eq!(write(&image, &narrow), Err(WriteError::TooWide { address: 0x1_0000, last: 0xffff }));
        for asked in [0, 252] {
            let long = Form { data_bytes: asked, ..Form::default() };
            assert_eq!(write(&image, &long), Err(WriteError::DataBytes { asked, most: 251 }));
        }
        let mut header = image;
        header.header = Some(vec![0; 253]);
        assert_eq!(write(&header, &Form::default()), Err(WriteError::Header { bytes: 253, most: 252 }));
    }
}
