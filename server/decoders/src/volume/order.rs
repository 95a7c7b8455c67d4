//! The order of tracks in an image of a disk with two sides. FAT numbers sectors by cylinder, side 0 before side 1; some programs keep
//! the tracks otherwise. Common practice, no source.

use super::Geometry;

/// How tracks follow each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OrderKind {
    /// Side 0 and side 1 of each cylinder in turn: what a FAT volume numbers by.
    ByCylinder,
    /// All of side 0, then all of side 1.
    BySide,
    /// All of side 0, then side 1 from the last cylinder back.
    BySideAndBack,
}

/// An order.
#[derive(Clone, Copy, Debug)]
pub struct Order {
    /// Its name in options and facts.
    pub name: &'static str,
    /// What it is, in a few words.
    pub title: &'static str,
    /// How tracks follow each other.
    pub kind: OrderKind,
}

/// All orders; the first is that of FAT.
pub const ORDERS: &[Order] = &[
    Order { name: "cylinders", title: "side 0 and side 1 of each cylinder in turn", kind: OrderKind::ByCylinder },
    Order { name: "sides", title: "all of side 0, then all of side 1", kind: OrderKind::BySide },
    Order {
        name: "sides-back",
        title: "all of side 0, then side 1 from the last cylinder back",
        kind: OrderKind::BySideAndBack,
    },
];

/// An order by its name.
#[must_use]
pub fn order(name: &str) -> Option<&'static Order> {
    ORDERS.iter().find(|it| it.name == name)
}

/// The tracks of a disk in an order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arrangement {
    kind: OrderKind,
    cylinders: usize,
    sides: usize,
    track_bytes: usize,
}

impl Arrangement {
    /// An arrangement of a volume's disk. The order of FAT needs no tracks.
    ///
    /// # Errors
    /// Tracks or heads that the block does not say, or a volume that is no whole number of cylinders.
    pub fn new(kind: OrderKind, geometry: &Geometry) -> Result<Self, String> {
        if kind == OrderKind::ByCylinder {
            return Ok(Self { kind, cylinders: 1, sides: 1, track_bytes: 1 });
        }
        let (Some(sectors), Some(sides)) = (geometry.track_sectors, geometry.sides) else {
            return Err("the order of tracks needs sectors per track and heads, which the block does not say".into());
        };
        let cylinder = sectors * sides;
        if cylinder == 0 || !geometry.total_sectors.is_multiple_of(cylinder) {
            let total = geometry.total_sectors;
            return Err(format!(
                "{total} sectors are no whole number of cylinders of {cylinder}, expected that for another order of tracks"
            ));
        }
        Ok(Self {
            kind,
            cylinders: (geometry.total_sectors / cylinder) as usize,
            sides: sides as usize,
            track_bytes: sectors as usize * geometry.sector_bytes as usize,
        })
    }

    /// Bytes of all tracks.
    fn bytes(&self) -> usize {
        self.cylinders * self.sides * self.track_bytes
    }

    /// Where a track of the volume lies in the file, both counted from 0.
    fn track(&self, track: usize) -> usize {
        let (cylinder, side) = (track / self.sides, track % self.sides);
        match (self.kind, side) {
            (OrderKind::ByCylinder, _) => track,
            (OrderKind::BySideAndBack, 1) => self.cylinders + self.cylinders - 1 - cylinder,
            _ => side * self.cylinders + cylinder,
        }
    }

    /// Where a byte of the volume lies in the file. What is behind the last track stays there.
    #[must_use]
    pub fn offset(&self, offset: u64) -> u64 {
        if self.kind == OrderKind::ByCylinder || offset >= self.bytes() as u64 {
            return offset;
        }
        let bytes = self.track_bytes as u64;
        self.track((offset / bytes) as usize) as u64 * bytes + offset % bytes
    }

    /// The volume's bytes, from those of a file. A file that does not have all tracks stays as it is: see [`fits`](Self::fits).
    #[must_use]
    pub fn from_file(&self, file: &[u8]) -> Vec<u8> {
        self.moved(file, false)
    }

    /// A file's bytes, from those of the volume.
    #[must_use]
    pub fn to_file(&self, volume: &[u8]) -> Vec<u8> {
        self.moved(volume, true)
    }

    fn moved(&self, bytes: &[u8], to_file: bool) -> Vec<u8> {
        let mut moved = bytes.to_vec();
        if self.kind == OrderKind::ByCylinder || bytes.len() < self.bytes() {
            return moved;
        }
        for track in 0..self.cylinders * self.sides {
            let (own, file) = (track * self.track_bytes, self.track(track) * self.track_bytes);
            let (from, to) = if to_file { (own, file) } else { (file, own) };
            moved[to..to + self.track_bytes].copy_from_slice(&bytes[from..from + self.track_bytes]);
        }
        moved
    }

    /// Whether a file of so many bytes has all tracks: a shorter one cannot be put in order.
    #[must_use]
    pub fn fits(&self, bytes: u64) -> bool {
        self.kind == OrderKind::ByCylinder || bytes >= self.bytes() as u64
    }
}
