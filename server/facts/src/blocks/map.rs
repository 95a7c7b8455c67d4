//! Where on the disk the parts lie that a block speaks of.

use reveille_decoders::family;

use super::BlockFact;

/// A part of the disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// The character that stands for it.
    pub mark: char,
    /// What it is.
    pub title: String,
    /// Its first unit, counted from the start of the disk.
    pub from: i64,
    /// The unit behind it.
    pub to: i64,
}

/// A disk as tracks of units, and what lies where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DiskMap {
    /// What a unit is: `sectors of 512 bytes`.
    pub unit: String,
    /// Units of a track.
    pub per_track: i64,
    /// Heads: tracks of one cylinder follow each other.
    pub heads: i64,
    /// Tracks of all heads.
    pub tracks: i64,
    /// The parts in order, none of which overlap.
    pub parts: Vec<Part>,
}

/// More tracks than any disk has that a picture can show.
const MOST_TRACKS: i64 = 20_000;

impl DiskMap {
    /// The part that a unit belongs to.
    #[must_use]
    pub fn part_of(&self, unit: i64) -> Option<&Part> {
        self.parts.iter().find(|it| (it.from..it.to).contains(&unit))
    }

    /// The units of a track.
    #[must_use]
    pub fn units_of(&self, track: i64) -> std::ops::Range<i64> {
        track * self.per_track..(track + 1) * self.per_track
    }
}

impl BlockFact {
    /// Where on the disk the parts lie. None where the block does not say how long a track is, or its parts overlap.
    #[must_use]
    pub fn map(&self) -> Option<DiskMap> {
        let family = family(&self.layout.family).filter(|_| self.is_readable())?;
        let mut parts: Vec<Part> = Vec::new();
        for region in &family.regions {
            let (Some(from), Some(to)) = (region.from.number(&self.values), region.to.number(&self.values)) else {
                continue;
            };
            if from < 0 || parts.last().is_some_and(|it| from < it.to) {
                return None;
            }
            if from < to {
                parts.push(Part { mark: region.mark, title: region.title.clone(), from, to });
            }
        }
        let end = parts.last()?.to;
        let (unit, per_track, heads, tracks) = match (self.geometry(), &family.row) {
            (Some([cylinders, heads, sectors, size]), _) => {
                (format!("sectors of {size} bytes"), sectors, heads, cylinders * heads)
            }
            (None, Some((row, unit))) => {
                let per_track = row.number(&self.values).filter(|it| *it > 0)?;
                (unit.clone(), per_track, 1, (end + per_track - 1) / per_track)
            }
            (None, None) => return None,
        };
        let fits = per_track > 0 && heads > 0 && (1..=MOST_TRACKS).contains(&tracks) && end <= tracks * per_track;
        fits.then_some(DiskMap { unit, per_track, heads, tracks, parts })
    }
}
