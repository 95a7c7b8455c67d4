//! A track byte by byte.

use super::{Encoding, Lengths, Part, sector_bytes};
use crate::checksum::{compute, kind};

/// A track as a formatter writes it. Clock bits, which tell marks from data, are no bytes and not here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Track<'a> {
    /// How bits are recorded.
    pub encoding: Encoding,
    /// The cylinder number in the ID fields.
    pub cylinder: u8,
    /// The head number in the ID fields.
    pub head: u8,
    /// The sector numbers in the order of the turn.
    pub numbers: &'a [u8],
    /// The size code N of the ID fields.
    pub size_code: u8,
    /// Bytes of gap 3.
    pub gap3: u32,
    /// Whether it is recorded in perpendicular mode.
    pub is_perpendicular: bool,
    /// Each byte of the data; formatters often take E5.
    pub fill: u8,
}

impl Track<'_> {
    /// The parts with their bytes, up to the last gap 3; what follows to the end of the turn is gap 4b. None for a size code
    /// beyond 7.
    #[must_use]
    pub fn parts(&self) -> Option<Vec<(Part, Vec<u8>)>> {
        let data_bytes = sector_bytes(self.size_code)?;
        let mut parts = Vec::new();
        let (track, sector): (Vec<&super::PartLength>, Vec<&super::PartLength>) = self
            .encoding
            .layout()
            .parts
            .iter()
            .filter(|it| it.part != Part::Gap4b)
            .partition(|it| !it.part.is_of_sector());
        let filled = |it: &super::PartLength, bytes: u32| vec![it.value.unwrap_or(self.fill); bytes as usize];
        for it in track {
            parts.push((it.part, filled(it, it.length(Lengths::Standard, self.is_perpendicular))));
        }
        for &number in self.numbers {
            let id = [self.cylinder, self.head, number, self.size_code];
            for it in &sector {
                let bytes = match it.part {
                    Part::Id => id.to_vec(),
                    Part::IdCrc => id_crc(self.encoding, id).to_be_bytes().to_vec(),
                    Part::Data => filled(it, data_bytes),
                    Part::DataCrc => {
                        data_crc(self.encoding, &vec![self.fill; data_bytes as usize]).to_be_bytes().to_vec()
                    }
                    Part::Gap3 => filled(it, self.gap3),
                    _ => filled(it, it.length(Lengths::Standard, self.is_perpendicular)),
                };
                parts.push((it.part, bytes));
            }
        }
        Some(parts)
    }

    /// All bytes of a turn, gap 4b included. None if the track is longer than the turn, or its size code is beyond 7.
    #[must_use]
    pub fn bytes(&self, raw: u32) -> Option<Vec<u8>> {
        let mut bytes: Vec<u8> = self.parts()?.into_iter().flat_map(|it| it.1).collect();
        let left = (raw as usize).checked_sub(bytes.len())?;
        let gap = self.encoding.layout().part(Part::Gap4b).and_then(|it| it.value).unwrap_or(self.fill);
        bytes.extend(std::iter::repeat_n(gap, left));
        Some(bytes)
    }
}

/// The check of an ID field: of its mark, in MFM with the three bytes before it, and its four bytes. Recorded high byte first.
#[must_use]
pub fn id_crc(encoding: Encoding, id: [u8; 4]) -> u16 {
    crc(encoding, [Part::IdPrefix, Part::IdMark], &id)
}

/// The check of a data field, of its mark, in MFM with the three bytes before it, and the data.
#[must_use]
pub fn data_crc(encoding: Encoding, data: &[u8]) -> u16 {
    crc(encoding, [Part::DataPrefix, Part::DataMark], data)
}

fn crc(encoding: Encoding, marks: [Part; 2], field: &[u8]) -> u16 {
    let marks = marks.into_iter().filter_map(|it| encoding.layout().part(it));
    let value = |it: &super::PartLength| vec![it.value.unwrap_or(0); it.bytes as usize];
    let mut summed: Vec<u8> = marks.flat_map(value).collect();
    summed.extend(field);
    // FD179X data sheet: x16 + x12 + x5 + 1 from all ones.
    kind("crc-16-ccitt-false").map_or(0, |it| compute(it, &summed) as u16)
}
