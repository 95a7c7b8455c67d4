//! How tracks are recorded: lengths, gaps and marks, what a turn has room for, and what drives and controllers do.
//!
//! All numbers are in `track.toml`. A length is in bytes as the controller counts them, 8 data bits each.
//!
//! ```
//! use reveille_decoders::track::{Budget, Encoding, Verdict, raw_bytes};
//! let raw = raw_bytes(250_000, 300).unwrap();
//! assert_eq!(raw, 6250);
//! let budget = Budget::new(Encoding::Mfm, 10, 512, raw, false).unwrap();
//! assert_eq!((budget.standard, budget.verdict), (Some(6726), Verdict::ReducedGaps));
//! ```

mod budget;
mod bytes;
mod recipe;
mod values;

use std::sync::LazyLock;

use serde::Deserialize;

pub use budget::{Budget, Lengths, Verdict, track_bytes};
pub use bytes::{Track, data_crc, id_crc};
pub use recipe::{PairOrder, Piece, Recipe, has_shape};
pub use values::{Setup, values};

/// How bits are recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
pub enum Encoding {
    /// Frequency modulation: single density.
    Fm,
    /// Modified frequency modulation: double density and all above.
    Mfm,
}

impl Encoding {
    /// Its name in tables and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fm => "FM",
            Self::Mfm => "MFM",
        }
    }

    /// The encoding of a name, in capitals or not.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        [Self::Fm, Self::Mfm].into_iter().find(|it| it.name().eq_ignore_ascii_case(name))
    }

    /// Its standard track layout.
    #[must_use]
    pub fn layout(self) -> &'static TrackLayout {
        // A test holds the table to one layout for each encoding.
        TABLES.layout.iter().find(|it| it.encoding == self).unwrap_or(&TABLES.layout[0])
    }
}

/// A part of a track.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// From the index pulse to the index mark.
    #[serde(rename = "gap-4a")]
    Gap4a,
    /// Zeros before the index mark.
    IndexSync,
    /// Bytes with missing clock bits before the index mark.
    IndexPrefix,
    /// The index mark.
    IndexMark,
    /// From the index mark to the first sector.
    #[serde(rename = "gap-1")]
    Gap1,
    /// Zeros before a sector's ID.
    IdSync,
    /// Bytes with missing clock bits before the ID mark.
    IdPrefix,
    /// The ID mark.
    IdMark,
    /// Cylinder, head, sector number and size code.
    Id,
    /// The check of the ID.
    IdCrc,
    /// Between ID and data.
    #[serde(rename = "gap-2")]
    Gap2,
    /// Zeros before the data.
    DataSync,
    /// Bytes with missing clock bits before the data mark.
    DataPrefix,
    /// The data mark.
    DataMark,
    /// The data.
    Data,
    /// The check of the data.
    DataCrc,
    /// Between one sector and the next.
    #[serde(rename = "gap-3")]
    Gap3,
    /// From the last sector to the index pulse.
    #[serde(rename = "gap-4b")]
    Gap4b,
}

impl Part {
    /// What people call it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Gap4a => "gap 4a",
            Self::IndexSync | Self::IdSync | Self::DataSync => "sync",
            Self::IndexPrefix | Self::IdPrefix | Self::DataPrefix => "sync marks",
            Self::IndexMark => "index mark",
            Self::Gap1 => "gap 1",
            Self::IdMark => "ID mark",
            Self::Id => "ID field",
            Self::IdCrc => "CRC of the ID field",
            Self::Gap2 => "gap 2",
            Self::DataMark => "data mark",
            Self::Data => "data",
            Self::DataCrc => "CRC of the data",
            Self::Gap3 => "gap 3",
            Self::Gap4b => "gap 4b",
        }
    }

    /// Whether each sector has one.
    #[must_use]
    pub fn is_of_sector(self) -> bool {
        use Part::{Gap1, Gap4a, Gap4b, IndexMark, IndexPrefix, IndexSync};
        !matches!(self, Gap4a | IndexSync | IndexPrefix | IndexMark | Gap1 | Gap4b)
    }
}

/// How long a part is, and what it is filled with.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartLength {
    /// Which part.
    pub part: Part,
    /// Bytes in the standard layout; 0 for data and gap 3, which depend on the sector, and for gap 4b, which is what is left.
    pub bytes: u32,
    /// The fewest that the data sheet's other formats have, where they are not `bytes`.
    least: Option<u32>,
    /// The fewest that were seen to work, where they are not those of the data sheet.
    tightest: Option<u32>,
    /// Bytes in perpendicular mode, where they differ.
    perpendicular: Option<u32>,
    /// Each byte as it is on the disk; none where they differ.
    pub value: Option<u8>,
    /// What a controller of the WD179X kind is given to write it, where it is not `value`.
    pub written: Option<u8>,
}

impl PartLength {
    /// Its length without data and gap 3 of the standard layout.
    #[must_use]
    pub fn length(&self, lengths: Lengths, is_perpendicular: bool) -> u32 {
        if let Some(bytes) = self.perpendicular.filter(|_| is_perpendicular) {
            return bytes;
        }
        let least = self.least.unwrap_or(self.bytes);
        match lengths {
            Lengths::Standard => self.bytes,
            Lengths::Least => least,
            Lengths::Tightest => self.tightest.unwrap_or(least),
        }
    }
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct StandardGap3 {
    sector_bytes: u32,
    bytes: u32,
}

/// The parts of a track of one encoding.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrackLayout {
    /// The encoding.
    pub encoding: Encoding,
    /// What people call it.
    pub title: String,
    /// Where it is published.
    pub source: String,
    standard_gap3: Vec<StandardGap3>,
    /// Its parts in the order of the turn.
    pub parts: Vec<PartLength>,
}

impl TrackLayout {
    /// A part; none if the encoding has no such part.
    #[must_use]
    pub fn part(&self, part: Part) -> Option<&PartLength> {
        self.parts.iter().find(|it| it.part == part)
    }

    /// The standard gap 3 of sectors of so many bytes; none where no standard has such sectors.
    #[must_use]
    pub fn standard_gap3(&self, sector_bytes: u32) -> Option<u32> {
        self.standard_gap3.iter().find(|it| it.sector_bytes == sector_bytes).map(|it| it.bytes)
    }

    /// The shortest gap 3 of the data sheet, in bytes.
    #[must_use]
    pub fn least_gap3(&self) -> u32 {
        self.part(Part::Gap3).map_or(0, |it| it.length(Lengths::Least, false))
    }
}

/// A usual pair of data rate and turning speed.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DataRate {
    /// How bits are recorded.
    pub encoding: Encoding,
    /// Data bits a second.
    pub rate: u32,
    /// Turns a minute.
    pub rpm: u32,
    /// What has it.
    #[serde(rename = "use")]
    pub usage: String,
    /// Whether it is recorded in perpendicular mode, which has a longer gap 2.
    #[serde(default)]
    pub perpendicular: bool,
}

/// Step times at one clock.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Steps {
    /// In Hz; none where the times do not depend on it.
    clock: Option<u32>,
    /// By code.
    ms: Vec<u32>,
}

/// A diskette controller.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Controller {
    /// The chips' names.
    pub names: Vec<String>,
    /// Where the values are published.
    pub source: String,
    steps: Vec<Steps>,
    cycles_per_bit: Option<u32>,
    sector_bytes: Vec<u32>,
    sector_bytes_b0: Option<Vec<u32>>,
}

impl Controller {
    /// The step time in ms that a code stands for, the lowest bits of a command or the nibble SRT. The clock is in Hz; where the
    /// times depend on it there is none without it.
    #[must_use]
    pub fn step_time(&self, clock: Option<u32>, code: u8) -> Option<u32> {
        let steps = self.steps.iter().find(|it| it.clock.is_none() || it.clock == clock)?;
        steps.ms.get(usize::from(code)).copied()
    }

    /// The clock in Hz that goes with a data rate in bit/s; none where it does not follow from it. From memory.
    #[must_use]
    pub fn usual_clock(&self, encoding: Encoding, rate: u32) -> Option<u32> {
        let cycles = match encoding {
            Encoding::Mfm => self.cycles_per_bit?,
            Encoding::Fm => self.cycles_per_bit? * 2,
        };
        rate.checked_mul(cycles)
    }

    /// The bytes of a sector by the size code of its ID field. `is_b0`: bit b of the command is 0, which only two of the FD179X
    /// chips have.
    #[must_use]
    pub fn sector_bytes(&self, code: u8, is_b0: bool) -> Option<u32> {
        let bytes = self.sector_bytes_b0.as_ref().filter(|_| is_b0).unwrap_or(&self.sector_bytes);
        bytes.get(usize::from(code)).copied()
    }
}

/// The gap 3 that a controller of the uPD765 kind is told.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gap3 {
    /// How bits are recorded.
    pub encoding: Encoding,
    /// The medium, as standard formats name it.
    pub medium: String,
    /// Bytes a sector.
    pub sector_bytes: u32,
    /// Sectors a track.
    pub sectors: u32,
    /// Bytes, in commands that read and write.
    pub read_write: u32,
    /// Bytes, in the command that formats.
    pub format: u32,
    /// Where it is published.
    pub source: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Tables {
    layout: Vec<TrackLayout>,
    data_rate: Vec<DataRate>,
    controller: Vec<Controller>,
    gap3: Vec<Gap3>,
}

// The file is part of the program; the tests below read it.
static TABLES: LazyLock<Tables> =
    LazyLock::new(|| toml::from_str(include_str!("../../track.toml")).unwrap_or_else(|error| panic!("{error}")));

/// The bytes of one turn without any formatting, rounded down: data rate in bit/s, turns a minute. None for a disk that does
/// not turn, and beyond what a number of 32 bits holds.
#[must_use]
pub fn raw_bytes(rate: u32, rpm: u32) -> Option<u32> {
    u32::try_from((u64::from(rate) * 60).checked_div(8 * u64::from(rpm))?).ok()
}

/// The usual pairs of data rate and turning speed.
#[must_use]
pub fn data_rates() -> &'static [DataRate] {
    &TABLES.data_rate
}

/// The usual pair of these values: data bits a second, turns a minute.
#[must_use]
pub fn data_rate(encoding: Encoding, rate: u32, rpm: u32) -> Option<&'static DataRate> {
    data_rates().iter().find(|it| (it.encoding, it.rate, it.rpm) == (encoding, rate, rpm))
}

/// The controllers.
#[must_use]
pub fn controllers() -> &'static [Controller] {
    &TABLES.controller
}

/// The controller of a name, in capitals or not.
#[must_use]
pub fn controller(name: &str) -> Option<&'static Controller> {
    controllers().iter().find(|it| it.names.iter().any(|it| it.eq_ignore_ascii_case(name)))
}

/// The table of gap 3.
#[must_use]
pub fn gap3_table() -> &'static [Gap3] {
    &TABLES.gap3
}

/// The gap 3 of a track: the medium is named as in standard formats, as in `3.5 in`.
#[must_use]
pub fn gap3(encoding: Encoding, medium: &str, sector_bytes: u32, sectors: u32) -> Option<&'static Gap3> {
    let key = (encoding, medium, sector_bytes, sectors);
    gap3_table().iter().find(|it| (it.encoding, it.medium.as_str(), it.sector_bytes, it.sectors) == key)
}

/// The bytes of a sector by the size code N of its ID field, 128 << N (System 34; 7 is the highest that controllers know).
#[must_use]
pub fn sector_bytes(code: u8) -> Option<u32> {
    (code < 8).then(|| 128 << code)
}

/// The size code of sectors of so many bytes.
#[must_use]
pub fn size_code(bytes: u32) -> Option<u8> {
    (0..8).find(|code| sector_bytes(*code) == Some(bytes))
}

#[cfg(test)]
mod tests;
