//! Memory with holes in it, and which line of a file each piece is from.

use std::borrow::Cow;
use std::fmt;

/// Addresses are 32 bits wide.
const END: u64 = 1 << 32;

/// Pieces of memory in the order of their file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Image {
    /// The data of all records, one after the other.
    bytes: Vec<u8>,
    places: Vec<Place>,
    /// Where execution starts, if the file says so.
    pub entry: Option<u32>,
    /// What the file's header says: a name or a version, mostly text.
    pub header: Option<Vec<u8>>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    address: u32,
    start: usize,
    length: usize,
    line: u32,
}

impl Place {
    fn end(&self) -> u64 {
        u64::from(self.address) + self.length as u64
    }
}

/// The data of one record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Record<'a> {
    /// The address of its first byte.
    pub address: u32,
    /// Its data.
    pub bytes: &'a [u8],
    /// The line of the file it is from, from 0.
    pub line: u32,
}

impl Record<'_> {
    /// The address behind its last byte.
    #[must_use]
    pub fn end(&self) -> u64 {
        u64::from(self.address) + self.bytes.len() as u64
    }
}

/// Memory without a hole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// The address of the first byte.
    pub address: u32,
    /// The bytes; at least one.
    pub bytes: Vec<u8>,
}

/// An image with its holes filled.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Flat {
    /// The address of the first byte.
    pub base: u32,
    /// All bytes from there to the last one of the image.
    pub bytes: Vec<u8>,
    /// How many of them the image does not have.
    pub filled: usize,
}

/// Why an image cannot be made flat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlatError {
    /// It has no byte.
    Empty,
    /// It spans too much.
    TooLarge {
        /// Bytes from the first to behind the last.
        bytes: u64,
        /// As many are allowed.
        most: usize,
    },
    /// It has bytes below the base that was asked for.
    BelowBase {
        /// Its lowest address.
        lowest: u32,
        /// The base.
        base: u32,
    },
}

impl fmt::Display for FlatError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "there is no data in it"),
            Self::TooLarge { bytes, most } => {
                write!(f, "its data spans {bytes} bytes, and at most {most} are expected; is an address in it damaged?")
            }
            Self::BelowBase { lowest, base } => {
                write!(f, "its data starts at ${lowest:06X}, below the base ${base:06X}; give a lower base")
            }
        }
    }
}

impl std::error::Error for FlatError {}

impl Image {
    /// Bytes at an address, without a file of records.
    #[must_use]
    pub fn raw(address: u32, bytes: &[u8]) -> Self {
        let mut image = Self::default();
        image.push(address, bytes, 0);
        image
    }

    /// Adds the data of a record and its line, from 0. What lies beyond $FFFFFFFF is left out; gives how many bytes are not.
    pub fn push(&mut self, address: u32, bytes: &[u8], line: u32) -> usize {
        let space = usize::try_from(END - u64::from(address)).unwrap_or(usize::MAX);
        let length = bytes.len().min(space);
        if length > 0 {
            self.places.push(Place { address, start: self.bytes.len(), length, line });
            self.bytes.extend_from_slice(&bytes[..length]);
        }
        length
    }

    /// The records with data, in the order of their file.
    pub fn records(&self) -> impl Iterator<Item = Record<'_>> {
        self.places.iter().map(|it| self.record(it))
    }

    fn record(&self, place: &Place) -> Record<'_> {
        let bytes = &self.bytes[place.start..place.start + place.length];
        Record { address: place.address, bytes, line: place.line }
    }

    /// The record that the byte at an address is from: the last one of those that have it.
    #[must_use]
    pub fn record_at(&self, address: u32) -> Option<Record<'_>> {
        let has = |it: &&Place| (u64::from(it.address)..it.end()).contains(&u64::from(address));
        self.places.iter().rev().find(has).map(|it| self.record(it))
    }

    /// Whether it has no byte.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.places.is_empty()
    }

    /// The lowest and the highest address with data.
    #[must_use]
    pub fn range(&self) -> Option<(u32, u32)> {
        let lowest = self.places.iter().map(|it| it.address).min()?;
        let end = self.places.iter().map(Place::end).max()?;
        Some((lowest, u32::try_from(end - 1).ok()?))
    }

    /// The header as text, without what cannot be shown.
    #[must_use]
    pub fn header_text(&self) -> Option<Cow<'_, str>> {
        let text = String::from_utf8_lossy(self.header.as_deref()?);
        let shown = text.trim_matches(|it: char| it.is_control() || it == ' ');
        Some(Cow::Owned(shown.chars().map(|it| if it.is_control() { '.' } else { it }).collect()))
    }

    /// The memory, by address, as pieces without holes. Where records overlap the later one holds.
    #[must_use]
    pub fn runs(&self) -> Vec<Run> {
        let mut by_address: Vec<&Place> = self.places.iter().collect();
        by_address.sort_by_key(|it| it.address);
        let mut spans: Vec<(u64, u64)> = Vec::new();
        for place in by_address {
            match spans.last_mut() {
                Some(last) if u64::from(place.address) <= last.1 => last.1 = last.1.max(place.end()),
                _ => spans.push((u64::from(place.address), place.end())),
            }
        }
        let mut runs: Vec<Run> = spans
            .into_iter()
            .filter_map(|(start, end)| {
                let address = u32::try_from(start).ok()?;
                Some(Run { address, bytes: vec![0; usize::try_from(end - start).ok()?] })
            })
            .collect();
        for record in self.records() {
            let behind = runs.partition_point(|it| it.address <= record.address);
            if let Some(run) = behind.checked_sub(1).and_then(|at| runs.get_mut(at)) {
                let start = (record.address - run.address) as usize;
                run.bytes[start..start + record.bytes.len()].copy_from_slice(record.bytes);
            }
        }
        runs
    }

    /// Pairs of overlapping records: the one with the higher address, another that has a byte at its address, and whether
    /// they differ. Each record is compared with the one before it that reaches furthest, which is enough: that one has
    /// been compared with what it covers.
    pub(super) fn overlaps(&self) -> Vec<(Record<'_>, Record<'_>, bool)> {
        let mut by_address: Vec<&Place> = self.places.iter().collect();
        by_address.sort_by_key(|it| it.address);
        let mut found = Vec::new();
        let mut furthest: Option<Record<'_>> = None;
        for place in by_address {
            let record = self.record(place);
            if let Some(before) = furthest.filter(|it| it.end() > u64::from(record.address)) {
                let own = &before.bytes[(record.address - before.address) as usize..];
                let differ = own.iter().zip(record.bytes).any(|(left, right)| left != right);
                found.push((record, before, differ));
            }
            if furthest.is_none_or(|it| it.end() < record.end()) {
                furthest = Some(record);
            }
        }
        found
    }

    /// All bytes from a base (without one: the lowest address) to the last, with holes filled.
    ///
    /// # Errors
    /// It is empty, starts below the base, or spans more than `most` bytes.
    pub fn flat(&self, base: Option<u32>, fill: u8, most: usize) -> Result<Flat, FlatError> {
        let (lowest, highest) = self.range().ok_or(FlatError::Empty)?;
        let base = base.unwrap_or(lowest);
        if lowest < base {
            return Err(FlatError::BelowBase { lowest, base });
        }
        let bytes = u64::from(highest - base) + 1;
        let length = usize::try_from(bytes).ok().filter(|it| *it <= most);
        let length = length.ok_or(FlatError::TooLarge { bytes, most })?;
        let mut flat = Flat { base, bytes: vec![fill; length], filled: length };
        for run in self.runs() {
            let start = (run.address - base) as usize;
            flat.bytes[start..start + run.bytes.len()].copy_from_slice(&run.bytes);
            flat.filled -= run.bytes.len();
        }
        Ok(flat)
    }
}

#[cfg(test)]
mod tests {
    use super::{FlatError, Image, Run};

    fn image(records: &[(u32, &[u8])]) -> Image {
        let mut image = Image::default();
        for (line, (address, bytes)) in records.iter().enumerate() {
            image.push(*address, bytes, line as u32);
        }
        image
    }

    #[test]
    fn runs_are_by_address_and_the_later_record_holds() {
        let image = image(&[(4, &[5, 6]), (0, &[1, 2, 3, 4]), (1, &[9]), (8, &[7])]);
        let runs = [Run { address: 0, bytes: vec![1, 9, 3, 4, 5, 6] }, Run { address: 8, bytes: vec![7] }];
        assert_eq!(image.runs(), runs);
        assert_eq!(image.range(), Some((0, 8)));
        assert_eq!(image.record_at(1).map(|it| it.line), Some(2));
        assert_eq!(image.record_at(2).map(|it| it.line), Some(1));
        assert_eq!(image.record_at(7), None);
    }

    #[test]
    fn holes_are_filled_and_counted() {
        let flat = image(&[(0x102, &[1]), (0x104, &[2])]).flat(Some(0x100), 0xff, 16).unwrap();
        assert_eq!((flat.base, flat.bytes, flat.filled), (0x100, vec![0xff, 0xff, 1, 0xff, 2], 3));
    }

    #[test]
    fn what_cannot_be_flat_says_why() {
        assert_eq!(Image::default().flat(None, 0, 9), Err(FlatError::Empty));
        let wide = image(&[(0, &[1]), (u32::MAX, &[2])]);
        assert_eq!(wide.flat(None, 0, 9), Err(FlatError::TooLarge { bytes: 1 << 32, most: 9 }));
        assert_eq!(wide.flat(Some(1), 0, 9), Err(FlatError::BelowBase { lowest: 0, base: 1 }));
    }

    #[test]
    fn the_end_of_the_addresses_is_the_end() {
        let mut image = Image::default();
        assert_eq!(image.push(u32::MAX, &[1, 2], 0), 1);
        assert_eq!(image.runs(), [Run { address: u32::MAX, bytes: vec![1] }]);
    }

    #[test]
    fn a_header_is_shown_without_what_cannot_be_shown() {
        let header = Some(b"  BOOT\x013 \0".to_vec());
        assert_eq!(Image { header, ..Image::default() }.header_text().as_deref(), Some("BOOT.3"));
    }
}
