//! What a source lays down: bytes at addresses, each with its line.

use std::convert::Infallible;

use reveille_program::{Listed, Place, Program, Unit, list};
use reveille_source::Meaning;

/// A byte that is laid down and whose value is not known.
pub(super) const UNKNOWN: u16 = 0x100;
/// No byte.
pub(super) const HOLE: u16 = 0x200;

/// Parts of memory that are so many bytes apart are areas of their own.
const APART: u32 = 0x1000;

/// More bytes than the 24 address lines of a 68000 reach are left out (M68000 user's manual, address bus).
pub(super) const MOST: usize = 1 << 24;

/// A line with its place in memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LaidLine {
    /// The line; of a macro's expansion the call.
    pub place: Place,
    /// The address of its first byte.
    pub address: u32,
    /// How many bytes it lays down.
    pub bytes: u32,
    /// Whether it is an instruction.
    pub is_code: bool,
    /// Bytes of one item of a line of data: 1, 2 or 4.
    pub item_bytes: u32,
}

/// Memory without a large gap. Cells are bytes, or say that a byte is not known or not there.
#[derive(Clone, Debug)]
pub struct Area {
    /// Its first address.
    pub from: u32,
    pub(super) cells: Vec<u16>,
    /// For each cell that is no hole the place of its line in the list of lines.
    lines: Vec<u32>,
}

impl Area {
    /// The address behind its last byte.
    #[must_use]
    pub fn end(&self) -> i64 {
        i64::from(self.from) + self.cells.len() as i64
    }

    /// How many bytes it spans.
    #[must_use]
    pub fn span(&self) -> usize {
        self.cells.len()
    }
}

/// Two lines that lay down bytes at one address: the later one counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Overlap {
    /// The line that was there.
    pub earlier: Place,
    /// The line that comes later in the program.
    pub later: Place,
    /// The first address.
    pub address: u32,
    /// How many bytes.
    pub bytes: u32,
    /// Whether the bytes are others.
    pub differ: bool,
}

/// All that a source lays down.
#[derive(Clone, Debug, Default)]
pub struct SourceImage {
    pub(super) areas: Vec<Area>,
    pub(super) lines: Vec<LaidLine>,
    /// From and behind, by address: memory that is reserved and not laid down.
    pub(super) reserved: Vec<(u32, i64)>,
    overlaps: Vec<Overlap>,
    unplaced: Option<(Place, usize)>,
    laid: usize,
    unknown: usize,
}

impl SourceImage {
    /// Lays out a unit of a program.
    #[must_use]
    pub fn new(program: &Program, unit: &Unit) -> Self {
        let mut listed = Vec::new();
        let is_memory = |it: &Listed| !it.bytes.is_empty() || it.reserved > 0;
        let result: Result<(), Infallible> =
            list(program, unit, &|_, lines| lines.into_iter().filter(is_memory).collect::<Vec<_>>(), &mut |part| {
                listed.extend(part);
                Ok(())
            });
        let Ok(()) = result;
        let mut image = Self::default();
        let mut kept = Vec::with_capacity(listed.len());
        let mut count = 0;
        for line in listed {
            let address = line.address.map(|it| it as u32);
            let bytes = line.bytes.len();
            let Some(address) =
                address.filter(|it| i64::from(*it) + (bytes as i64) <= 1 << 32 && count + bytes <= MOST)
            else {
                let first = image.unplaced.map_or(line.call.unwrap_or(line.place), |it| it.0);
                image.unplaced = Some((first, image.unplaced.map_or(0, |it| it.1) + bytes)).filter(|it| it.1 > 0);
                continue;
            };
            if bytes == 0 {
                image.reserved.push((address, i64::from(address) + i64::from(line.reserved)));
                continue;
            }
            count += bytes;
            let is_code = line.time.is_some();
            let mut laid = line.bytes;
            if is_code {
                whole_words(&mut laid);
            }
            let item_bytes = if is_code { 2 } else { item_bytes(program, unit, line.place) };
            let place = line.call.unwrap_or(line.place);
            image.lines.push(LaidLine { place, address, bytes: bytes as u32, is_code, item_bytes });
            kept.push(laid);
        }
        image.reserved.sort_unstable();
        image.make_areas();
        for (at, bytes) in kept.iter().enumerate() {
            image.lay(at, bytes);
        }
        let cells = || image.areas.iter().flat_map(|it| &it.cells);
        image.laid = cells().filter(|it| **it != HOLE).count();
        image.unknown = cells().filter(|it| **it == UNKNOWN).count();
        image
    }

    fn make_areas(&mut self) {
        let mut spans: Vec<(u32, i64)> =
            self.lines.iter().map(|it| (it.address, i64::from(it.address) + i64::from(it.bytes))).collect();
        spans.sort_unstable();
        let mut merged: Vec<(u32, i64)> = Vec::new();
        for span in spans {
            match merged.last_mut() {
                Some(last) if i64::from(span.0) < last.1 + i64::from(APART) => last.1 = last.1.max(span.1),
                _ => merged.push(span),
            }
        }
        let area = |(from, end): (u32, i64)| {
            let len = (end - i64::from(from)) as usize;
            Area { from, cells: vec![HOLE; len], lines: vec![0; len] }
        };
        self.areas = merged.into_iter().map(area).collect();
    }

    fn lay(&mut self, at: usize, bytes: &[Option<u8>]) {
        let LaidLine { place, address, .. } = self.lines[at];
        let area = self.areas.partition_point(|it| it.from <= address);
        let Some(area) = area.checked_sub(1).map(|it| &mut self.areas[it]) else { return };
        let start = (address - area.from) as usize;
        for (offset, byte) in bytes.iter().enumerate() {
            let cell = &mut area.cells[start + offset];
            let new = byte.map_or(UNKNOWN, u16::from);
            if *cell != HOLE {
                let earlier = self.lines[area.lines[start + offset] as usize].place;
                let differ = *cell != new;
                match self.overlaps.last_mut() {
                    Some(last) if last.earlier == earlier && last.later == place => {
                        last.bytes += 1;
                        last.differ |= differ;
                    }
                    _ => {
                        let address = address + offset as u32;
                        self.overlaps.push(Overlap { earlier, later: place, address, bytes: 1, differ });
                    }
                }
            }
            *cell = new;
            area.lines[start + offset] = at as u32;
        }
    }

    /// The parts of memory, by address.
    #[must_use]
    pub fn areas(&self) -> &[Area] {
        &self.areas
    }

    /// The lines that lay down bytes, in the order of the program.
    #[must_use]
    pub fn lines(&self) -> &[LaidLine] {
        &self.lines
    }

    /// Lines that lay down bytes where others had.
    #[must_use]
    pub fn overlaps(&self) -> &[Overlap] {
        &self.overlaps
    }

    /// Bytes whose address is not known, and the first line of them.
    #[must_use]
    pub fn unplaced(&self) -> Option<(Place, usize)> {
        self.unplaced
    }

    /// How many addresses have a byte.
    #[must_use]
    pub fn laid(&self) -> usize {
        self.laid
    }

    /// How many of them have a value that is not known.
    #[must_use]
    pub fn unknown(&self) -> usize {
        self.unknown
    }

    /// The lowest address and the one behind the highest.
    #[must_use]
    pub fn range(&self) -> Option<(u32, i64)> {
        Some((self.areas.first()?.from, self.areas.last()?.end()))
    }

    fn area_at(&self, address: i64) -> Option<&Area> {
        let area = self.areas.partition_point(|it| i64::from(it.from) <= address).checked_sub(1)?;
        Some(&self.areas[area]).filter(|it| address < it.end())
    }

    /// The byte at an address; none where none is laid down, or nobody knows it.
    #[must_use]
    pub fn byte(&self, address: i64) -> Option<u8> {
        u8::try_from(self.cell(address)).ok()
    }

    pub(super) fn cell(&self, address: i64) -> u16 {
        self.area_at(address).map_or(HOLE, |it| it.cells[(address - i64::from(it.from)) as usize])
    }

    /// The line that the byte at an address is from, by its place in the list of lines.
    #[must_use]
    pub fn line_at(&self, address: i64) -> Option<usize> {
        let area = self.area_at(address)?;
        let at = (address - i64::from(area.from)) as usize;
        (area.cells[at] != HOLE).then(|| area.lines[at] as usize)
    }

    /// Whether an address is reserved and not laid down.
    #[must_use]
    pub fn is_reserved(&self, address: i64) -> bool {
        let behind = self.reserved.partition_point(|it| i64::from(it.0) <= address);
        // Reserved memory that overlaps is rare; the nearest starts say it.
        self.reserved[..behind].iter().rev().take(8).any(|it| address < it.1)
    }
}

/// The words behind the first are known as a whole or not at all.
fn whole_words(bytes: &mut [Option<u8>]) {
    for word in bytes.chunks_mut(2).skip(1) {
        if word.contains(&None) {
            word.fill(None);
        }
    }
}

/// Bytes of one item of a line of data.
fn item_bytes(program: &Program, unit: &Unit, place: Place) -> u32 {
    let Some(file) = unit.file(program, place.file) else { return 1 };
    let (_, line, _) = file.at(place.chunk, place.line);
    match line.op.directive().map(|it| it.meaning) {
        Some(Meaning::ConstantsOf(bytes)) => bytes.into(),
        Some(Meaning::Constants | Meaning::Block) => match line.size.to_ascii_lowercase() {
            b'b' => 1,
            b'l' => 4,
            _ => 2,
        },
        _ => 1,
    }
}

#[cfg(test)]
mod tests {
    use super::SourceImage;
    use crate::rom::tests::model;

    fn image(text: &str) -> SourceImage {
        let model = model(text);
        let unit = model.analysis().units().next().unwrap();
        SourceImage::new(model.program(), unit)
    }

    #[test]
    fn each_byte_knows_its_line_and_parts_far_away_are_areas_of_their_own() {
        let image = image("\torg\t$100\n\tdc.w\t1,2\n\tds.w\t2\n\tdc.b\t3\n\torg\t$9000\nx\tdc.l\tx\n");
        let areas: Vec<_> = image.areas().iter().map(|it| (it.from, it.span())).collect();
        assert_eq!(areas, [(0x100, 9), (0x9000, 4)]);
        assert_eq!((image.laid(), image.unknown()), (9, 0));
        assert_eq!(
            [0x100, 0x103, 0x104, 0x108, 0x9003].map(|it| image.line_at(it)),
            [Some(0), Some(0), None, Some(1), Some(2)]
        );
        assert!(image.is_reserved(0x104) && image.is_reserved(0x107) && !image.is_reserved(0x108));
        assert_eq!([0x103, 0x104, 0x9002].map(|it| image.cell(it)), [2, super::HOLE, 0x90]);
    }

    #[test]
    fn where_lines_lay_down_bytes_twice_the_later_one_counts_and_it_is_told() {
        let image = image("\torg\t0\n\tdc.l\t$11223344\n\torg\t2\n\tdc.b\t$33,$55\n");
        assert_eq!((0..4).map(|it| image.cell(it)).collect::<Vec<_>>(), [0x11, 0x22, 0x33, 0x55]);
        let [overlap] = image.overlaps() else { panic!("{:?}", image.overlaps()) };
        assert_eq!((overlap.address, overlap.bytes, overlap.differ), (2, 2, true));
        assert_eq!((overlap.earlier.line, overlap.later.line), (1, 3));
    }

    #[test]
    fn a_value_that_is_not_known_is_laid_down_and_not_known() {
        let image = image("\txref\tother\n\torg\t0\n\tdc.l\tother\n\tdc.w\t7\n");
        assert_eq!((image.laid(), image.unknown()), (6, 4));
    }
}
