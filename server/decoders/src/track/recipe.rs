//! Track recipes: the tables from which firmware for controllers of the WD179X kind makes the bytes of a format command.
//!
//! Such a table is pairs of bytes, how many and which. It has what comes before the first sector and one sector, whose ID and
//! number of turns the code fills in; some have several sectors. The controller is given F5 for a sync mark, F6 for one of the
//! index, F7 for a check (FD179X data sheet, control bytes for initialization); a count of 0 stands for 256. That tables are
//! made so is common practice, no source.

use super::{Encoding, Part, PartLength};

/// What comes first in each pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PairOrder {
    /// How many, then which byte.
    CountFirst,
    /// Which byte, then how many.
    ByteFirst,
}

/// One pair of a recipe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece {
    /// Where the pair starts in the table, in bytes.
    pub at: usize,
    /// How many, 1 to 256.
    pub count: u32,
    /// The byte that the controller is given.
    pub byte: u8,
    /// What it writes.
    pub part: Part,
}

/// A track recipe, read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recipe {
    /// What comes first in each pair.
    pub order: PairOrder,
    /// How bits are recorded: MFM if it writes sync marks.
    pub encoding: Encoding,
    /// Its pairs.
    pub pieces: Vec<Piece>,
    /// How many sectors it has.
    pub sectors: usize,
    /// Bytes of the table that belong to it; a mark of its end is not among them.
    pub bytes: usize,
}

/// Shortest and longest run of zeros that is taken for the sync before a mark: the tightest that works has three (see
/// `track.toml`), and a recipe may have some more than the standard's twelve.
const SYNC: std::ops::RangeInclusive<u32> = 3..=24;

/// How many marks before a mark are taken for such: three are right, but a recipe with two is one with a fault.
const MARKS: std::ops::RangeInclusive<u32> = 1..=6;

/// No gap and no data of a sector has more pairs.
const MOST_PAIRS: usize = 1 << 14;

/// A check of two bytes is one byte for the controller.
const CHECK: u8 = 0xF7;

/// From here on bytes are no data for the controller but marks and checks.
const FIRST_CONTROL: u8 = 0xF5;

/// The data mark of deleted data (System 34).
const DELETED: u8 = 0xF8;

/// The index mark, without which a recipe has no gap 4a.
const INDEX: [Part; 3] = [Part::IndexSync, Part::IndexPrefix, Part::IndexMark];
const ID: [Part; 3] = [Part::IdSync, Part::IdPrefix, Part::IdMark];
const DATA: [Part; 3] = [Part::DataSync, Part::DataPrefix, Part::DataMark];

/// Whether bytes start with a track recipe.
#[must_use]
pub fn has_shape(bytes: &[u8]) -> bool {
    Recipe::read(bytes).is_some()
}

impl Recipe {
    /// Reads a recipe at the start of bytes. None if there is no whole sector: sync, ID mark, a gap, sync, data mark, each as the
    /// controller needs it. What follows the last whole sector and its gap is left.
    #[must_use]
    pub fn read(bytes: &[u8]) -> Option<Self> {
        let orders = [PairOrder::CountFirst, PairOrder::ByteFirst];
        let encodings = [Encoding::Mfm, Encoding::Fm];
        orders.into_iter().find_map(|order| encodings.into_iter().find_map(|it| Reader::read(bytes, order, it)))
    }

    /// The bytes that a part has on the disk, where the recipe has it first; none if the recipe says nothing of it.
    #[must_use]
    pub fn length(&self, part: Part) -> Option<u32> {
        let is_part = |it: &&Piece| it.part == part;
        let first = self.pieces.iter().position(|it| it.part == part)?;
        let sum: u32 = self.pieces[first..].iter().take_while(is_part).map(|it| it.count).sum();
        Some(if matches!(part, Part::IdCrc | Part::DataCrc) { sum * 2 } else { sum })
    }

    /// The bytes of the data of a sector; none where the code writes them.
    #[must_use]
    pub fn data_bytes(&self) -> Option<u32> {
        self.length(Part::Data)
    }

    /// The bytes of a whole track that is made by it, without gap 4b: sectors a track, bytes a sector. ID, data and checks that
    /// the code writes count as such.
    #[must_use]
    pub fn track_bytes(&self, sectors: u32, sector_bytes: u32) -> u64 {
        let of_sector = |it: &PartLength| match it.part {
            Part::Data => u64::from(sector_bytes),
            Part::Id | Part::IdCrc | Part::DataCrc => u64::from(it.bytes),
            part => u64::from(self.length(part).unwrap_or(0)),
        };
        let parts = || self.encoding.layout().parts.iter().filter(|it| it.part != Part::Gap4b);
        let start: u64 = parts().filter(|it| !it.part.is_of_sector()).map(of_sector).sum();
        let sector: u64 = parts().filter(|it| it.part.is_of_sector()).map(of_sector).sum();
        start + u64::from(sectors) * sector
    }

    /// Whether it writes marks of deleted data.
    #[must_use]
    pub fn is_deleted(&self) -> bool {
        self.pieces.iter().any(|it| it.part == Part::DataMark && it.byte == DELETED)
    }
}

struct Reader<'a> {
    bytes: &'a [u8],
    order: PairOrder,
    encoding: Encoding,
    pieces: Vec<Piece>,
}

impl Reader<'_> {
    fn read(bytes: &[u8], order: PairOrder, encoding: Encoding) -> Option<Recipe> {
        let mut reader = Reader { bytes, order, encoding, pieces: Vec::new() };
        reader.start();
        let mut sectors = 0;
        // What is read of a sector counts only when it is whole.
        let mut whole = reader.pieces.len();
        while reader.sector().is_some() {
            sectors += 1;
            whole = reader.pieces.len();
        }
        reader.pieces.truncate(whole);
        let bytes = 2 * whole;
        (sectors > 0).then_some(Recipe { order, encoding, pieces: reader.pieces, sectors, bytes })
    }

    /// The pair some pairs behind what is read; none at the end of the table.
    fn pair(&self, ahead: usize) -> Option<(u32, u8)> {
        let at = 2 * (self.pieces.len() + ahead);
        let pair = self.bytes.get(at..at + 2)?;
        // Marks of the end: no recipe has 256 zeros, nor so many of what is not written.
        if matches!(pair, [0, 0] | [0xff, 0xff]) {
            return None;
        }
        let (count, byte) = match self.order {
            PairOrder::CountFirst => (pair[0], pair[1]),
            PairOrder::ByteFirst => (pair[1], pair[0]),
        };
        Some((if count == 0 { 256 } else { u32::from(count) }, byte))
    }

    fn take(&mut self, part: Part) {
        if let Some((count, byte)) = self.pair(0) {
            self.pieces.push(Piece { at: 2 * self.pieces.len(), count, byte, part });
        }
    }

    fn rule(&self, part: Part) -> Option<&'static PartLength> {
        self.encoding.layout().part(part)
    }

    /// How many pairs, from one on, are sync and mark; 0 if they are not.
    fn mark(&self, ahead: usize, parts: [Part; 3]) -> usize {
        let [_, prefix, mark] = parts;
        if !self.pair(ahead).is_some_and(|(count, byte)| byte == 0 && SYNC.contains(&count)) {
            return 0;
        }
        let mut pairs = 1;
        if let Some(rule) = self.rule(prefix) {
            let is_prefix = |(count, byte)| MARKS.contains(&count) && rule.written == Some(byte);
            if !self.pair(ahead + pairs).is_some_and(is_prefix) {
                return 0;
            }
            pairs += 1;
        }
        let is_mark = |byte: u8| {
            let value = self.rule(mark).and_then(|it| it.value);
            value == Some(byte) || mark == Part::DataMark && byte == DELETED
        };
        if self.pair(ahead + pairs).is_some_and(|(count, byte)| count == 1 && is_mark(byte)) { pairs + 1 } else { 0 }
    }

    /// Takes sync and mark.
    fn take_mark(&mut self, parts: [Part; 3]) -> Option<()> {
        let pairs = self.mark(0, parts);
        if pairs == 0 {
            return None;
        }
        let has_prefix = pairs == parts.len();
        parts.into_iter().filter(|it| has_prefix || *it != parts[1]).for_each(|it| self.take(it));
        Some(())
    }

    /// How many pairs are a gap: gap bytes, in FM zeros too, up to a sync with its mark or to what is no gap.
    fn gap(&self) -> usize {
        let is_gap = |(_, byte): (u32, u8)| match self.encoding {
            Encoding::Mfm => byte == 0x4e,
            Encoding::Fm => byte == 0xff || byte == 0,
        };
        let is_marked = |ahead| [INDEX, ID, DATA].into_iter().any(|it| self.mark(ahead, it) > 0);
        (0..MOST_PAIRS).take_while(|ahead| self.pair(*ahead).is_some_and(is_gap) && !is_marked(*ahead)).count()
    }

    fn take_gap(&mut self, part: Part) -> bool {
        let pairs = self.gap();
        (0..pairs).for_each(|_| self.take(part));
        pairs > 0
    }

    /// What comes before the first sector.
    fn start(&mut self) {
        let gap = self.gap();
        let has_index = self.mark(gap, INDEX) > 0;
        self.take_gap(if has_index { Part::Gap4a } else { Part::Gap1 });
        if has_index && self.take_mark(INDEX).is_some() {
            self.take_gap(Part::Gap1);
        }
    }

    fn sector(&mut self) -> Option<()> {
        self.take_mark(ID)?;
        // The code may put the four bytes in, and the check too.
        let mut id = 0;
        while let Some((count, byte)) = self.pair(0) {
            if byte == CHECK || id + count > 4 {
                break;
            }
            id += count;
            self.take(Part::Id);
        }
        self.take_check(Part::IdCrc);
        if !self.take_gap(Part::Gap2) {
            return None;
        }
        self.take_mark(DATA)?;
        for _ in 0..self.data() {
            self.take(Part::Data);
        }
        self.take_check(Part::DataCrc);
        // Between two sectors all is gap 3; behind the last one a second pair is the rest of the turn.
        let pairs = self.gap();
        let is_last = self.mark(pairs, ID) == 0;
        (0..pairs).for_each(|at| self.take(if is_last && at > 0 { Part::Gap4b } else { Part::Gap3 }));
        Some(())
    }

    fn take_check(&mut self, part: Part) {
        if self.pair(0) == Some((1, CHECK)) {
            self.take(part);
        }
    }

    /// How many pairs are data: all up to their check, or, where the code writes that, all up to a gap or sync.
    fn data(&self) -> usize {
        let is_plain = |ahead: &usize| self.pair(*ahead).is_some_and(|it| it.1 < FIRST_CONTROL);
        let to_check = (0..MOST_PAIRS).take_while(is_plain).count();
        if self.pair(to_check) == Some((1, CHECK)) {
            return to_check;
        }
        let gap = self.rule(Part::Gap3).and_then(|it| it.value);
        let is_data =
            |ahead: &usize| is_plain(ahead) && self.pair(*ahead).map(|it| it.1) != gap && self.mark(*ahead, ID) == 0;
        (0..MOST_PAIRS).take_while(is_data).count()
    }
}
