//! What a turn has room for.

use super::{Encoding, Part, TrackLayout};

/// A choice of lengths for the parts of a track.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lengths {
    /// The standard layout, with gap 3 but without gap 4b.
    Standard,
    /// The shortest of the data sheet's other formats: no index mark.
    Least,
    /// The shortest that were seen to work; such tracks are hard to write again.
    Tightest,
}

/// Whether a track has room on a turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// In the standard layout.
    Fits,
    /// With gaps below the standard's and not below the data sheet's.
    ReducedGaps,
    /// Only with gaps below the data sheet's: often such a track can only be read.
    BelowDataSheet,
    /// Not at all.
    DoesNotFit,
}

impl Verdict {
    /// The words for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fits => "fits",
            Self::ReducedGaps => "fits with reduced gaps",
            Self::BelowDataSheet => "needs gaps below the data sheet",
            Self::DoesNotFit => "does not fit",
        }
    }
}

/// The length of a track, and the room that it has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Budget {
    /// The bytes of a turn.
    pub raw: i64,
    /// The fewest bytes that were seen to work.
    pub unsafe_min: i64,
    /// The fewest bytes of the data sheet.
    pub datasheet_min: i64,
    /// Bytes of the standard layout without gap 4b; none where no standard has sectors of this size.
    pub standard: Option<i64>,
    /// The gap 3 that each sector can have if all else is as long as the standard says and nothing is left for gap 4b; below
    /// zero if that has no room.
    pub gap3_left: i64,
    /// The gap 3 that each sector can have if all else is as short as the data sheet allows; below zero if that has no room.
    pub gap3_left_at_least: i64,
    /// Whether it has room. Without a standard, a track fits that the data sheet allows.
    pub verdict: Verdict,
}

impl Budget {
    /// The budget of a track: sectors (1 to 256, as a sector number is a byte), bytes of each (1 to 16384, as size code 7), bytes
    /// of a turn. None outside these ranges.
    #[must_use]
    pub fn new(encoding: Encoding, sectors: u32, sector_bytes: u32, raw: u32, is_perpendicular: bool) -> Option<Self> {
        let layout = encoding.layout();
        let total = |lengths| track_bytes(layout, lengths, sectors, sector_bytes, is_perpendicular);
        let raw = i64::from(raw);
        let (without_gap3, datasheet_min) = (total(Lengths::Standard)?, total(Lengths::Least)?);
        let unsafe_min = total(Lengths::Tightest)?;
        let count = i64::from(sectors);
        let standard = layout.standard_gap3(sector_bytes).map(|gap3| without_gap3 + count * i64::from(gap3));
        let least_gap3 = i64::from(layout.least_gap3());
        let verdict = if unsafe_min > raw {
            Verdict::DoesNotFit
        } else if datasheet_min > raw {
            Verdict::BelowDataSheet
        } else if standard.is_some_and(|it| it > raw) {
            Verdict::ReducedGaps
        } else {
            Verdict::Fits
        };
        Some(Self {
            raw,
            unsafe_min,
            datasheet_min,
            standard,
            gap3_left: (raw - without_gap3).div_euclid(count),
            gap3_left_at_least: (raw - datasheet_min).div_euclid(count) + least_gap3,
            verdict,
        })
    }
}

/// The bytes of a track, with the gap 3 of these lengths; the standard one has none, since it depends on the sector. Ranges are
/// those of [`Budget::new`].
#[must_use]
pub fn track_bytes(
    layout: &TrackLayout,
    lengths: Lengths,
    sectors: u32,
    sector_bytes: u32,
    is_perpendicular: bool,
) -> Option<i64> {
    if !(1..=256).contains(&sectors) || !(1..=16384).contains(&sector_bytes) {
        return None;
    }
    let data = |part| if part == Part::Data { i64::from(sector_bytes) } else { 0 };
    let length = |is_of_sector: bool| -> i64 {
        let parts = layout.parts.iter().filter(|it| it.part.is_of_sector() == is_of_sector);
        parts.map(|it| i64::from(it.length(lengths, is_perpendicular)) + data(it.part)).sum()
    };
    Some(length(false) + i64::from(sectors) * length(true))
}
