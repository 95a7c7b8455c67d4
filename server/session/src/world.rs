//! What a session is held against: the machine's memory, disk and line, and what its firmware's source says.

use std::collections::HashMap;
use std::fmt::Debug;
use std::ops::Range;
use std::sync::Arc;

use crate::evaluate::Names;
use crate::monitor::Monitor;
use crate::value::{Block, Interval, Value};
use crate::verbs::Changes;

/// What answers in a part of memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RegionKind {
    /// Can be read only.
    Rom,
    /// Can be read and written.
    Ram,
    /// The same, kept by a battery.
    Nvram,
    /// Registers of a chip.
    Device,
}

impl RegionKind {
    /// Each with its word in the machine file, and what it is called.
    pub const NAMES: [(&'static str, &'static str, Self); 4] = [
        ("rom", "ROM", Self::Rom),
        ("ram", "RAM", Self::Ram),
        ("nvram", "RAM that a battery keeps", Self::Nvram),
        ("device", "a device", Self::Device),
    ];

    /// What it is called.
    #[must_use]
    pub fn title(self) -> &'static str {
        Self::NAMES.iter().find(|it| it.2 == self).map_or("", |it| it.1)
    }
}

/// A part of the machine's memory.
#[derive(Clone, Debug)]
pub struct Region {
    /// Its name.
    pub name: String,
    /// What answers there.
    pub kind: RegionKind,
    /// Its addresses.
    pub range: Range<i64>,
    /// Whether reading there changes something.
    pub has_effects: bool,
}

/// The shape of the machine's disks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Geometry {
    /// Cylinders of a side.
    pub cylinders: i64,
    /// Sides.
    pub sides: i64,
    /// Sectors on a track.
    pub sectors_per_track: i64,
    /// Bytes in a sector.
    pub sector_bytes: i64,
}

impl Geometry {
    /// Sectors of a disk.
    #[must_use]
    pub fn sectors(self) -> i64 {
        self.cylinders.saturating_mul(self.sides).saturating_mul(self.sectors_per_track)
    }
}

/// The settings of a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Bits a second.
    pub rate: u32,
    /// Data bits.
    pub data: u8,
    /// `n`, `e` or `o`.
    pub parity: char,
    /// Stop bits.
    pub stop: u8,
}

impl Settings {
    /// What a rehearsal takes where nothing else is known. Common practice, no source.
    pub const USUAL: Self = Self { rate: 9600, data: 8, parity: 'n', stop: 1 };

    /// How long a character is on the line, in seconds: with its start bit, parity and stop bits.
    #[must_use]
    pub fn character(self) -> f64 {
        let bits = 1 + u32::from(self.data) + u32::from(self.parity != 'n') + u32::from(self.stop);
        f64::from(bits) / f64::from(self.rate.max(1))
    }

    /// `9600 8n1`, as a script has it.
    #[must_use]
    pub fn words(self) -> String {
        format!("{} {}{}{}", self.rate, self.data, self.parity, self.stop)
    }
}

/// What the firmware's source says. Whoever has read it answers.
pub trait Source: Debug + Send + Sync {
    /// What a name stands for.
    fn name(&self, name: &str) -> Option<i64>;
    /// The byte that the source lays down at an address.
    fn byte(&self, address: i64) -> Option<u8>;
    /// The name of the boot file that the firmware looks for.
    fn boot_file(&self) -> Option<String>;
    /// A field of a block, by the layout that it names, or else the one that the source has at its address.
    ///
    /// # Errors
    /// There is no such field or layout: what there is.
    fn field(&self, block: &Block, field: &str) -> Result<Value, String>;
    /// The fields of a block, each with what it says; none where no layout is known for it.
    fn fields(&self, block: &Block) -> Vec<(String, String)> {
        let _ = block;
        Vec::new()
    }
}

/// What a session is held against.
#[derive(Clone, Debug)]
pub struct World {
    /// The machine's name; none where no machine file speaks for the script.
    pub machine: Option<String>,
    /// How its monitor is talked to.
    pub monitor: Option<Arc<Monitor>>,
    /// Its memory: of several regions that an address belongs to, the smaller ones come first.
    pub regions: Vec<Region>,
    /// The shape of its disks, by the firmware's own block.
    pub geometry: Option<Geometry>,
    /// How many drives it has, where the machine file says so.
    pub drives: Option<i64>,
    /// The line's settings: as the script or else the source has them.
    pub line: Option<Settings>,
    /// Addresses are those of this many bits.
    pub address_bits: u32,
    /// What the source says.
    pub source: Arc<dyn Source>,
}

impl World {
    /// An address as it is on the bus.
    #[must_use]
    pub fn on_bus(&self, address: i64) -> i64 {
        address & ((1 << self.address_bits) - 1)
    }

    /// The region that an address belongs to.
    #[must_use]
    pub fn region_at(&self, address: i64) -> Option<&Region> {
        self.regions.iter().find(|it| it.range.contains(&self.on_bus(address)))
    }

    /// The lowest and the highest `drive`, `track`, `side` or `sector` that there is, as far as it is known. A sector is counted on its track
    /// where that is named, a track on its side.
    #[must_use]
    pub fn limits(&self, role: &str, by_track: bool, by_side: bool) -> Option<(i64, i64)> {
        let geometry = self.geometry;
        match role {
            "drive" => self.drives.map(|it| (0, it - 1)),
            "side" => geometry.map(|it| (0, it.sides - 1)),
            "track" => geometry.map(|it| (0, it.cylinders * if by_side { 1 } else { it.sides } - 1)),
            // Sectors of a track are counted from 1 on most disks, from 0 on some.
            "sector" if by_track => geometry.map(|it| (0, it.sectors_per_track)),
            "sector" => geometry.map(|it| (0, it.sectors() - 1)),
            _ => None,
        }
    }

    /// The bytes that the source has at addresses.
    #[must_use]
    pub fn block(&self, range: Range<i64>, layout: Option<&str>) -> Block {
        let bytes = range.clone().map(|it| self.source.byte(it)).collect();
        Block { address: Some(range.start), bytes, layout: layout.map(str::to_owned), groups: Vec::new() }
    }

    /// What is changed by writing at addresses of RAM: more, where a battery keeps it or it is ROM.
    #[must_use]
    pub fn changed_by_writing(&self, addresses: Range<i64>) -> Changes {
        let ends = [addresses.start, addresses.end - 1];
        let kinds = ends.iter().filter_map(|it| self.region_at(*it)).map(|it| match it.kind {
            RegionKind::Nvram => Changes::Nvram,
            RegionKind::Rom => Changes::Rom,
            _ => Changes::Memory,
        });
        kinds.max().unwrap_or(Changes::Memory)
    }
}

/// The names that a step can use: what was bound before it, then those of the source.
#[derive(Clone, Debug)]
pub struct Known<'w> {
    /// What the session is held against.
    pub world: &'w World,
    /// What `as` has bound.
    pub bound: HashMap<String, Value>,
}

impl<'w> Known<'w> {
    /// Nothing is bound yet.
    #[must_use]
    pub fn new(world: &'w World) -> Self {
        Self { world, bound: HashMap::new() }
    }
}

impl Names for Known<'_> {
    fn name(&self, name: &str) -> Option<Value> {
        let own = self.bound.get(name).cloned();
        own.or_else(|| self.world.source.name(name).map(|it| Value::Number(Interval::exactly(it))))
    }

    fn field(&self, block: &Block, field: &str) -> Result<Value, String> {
        if !block.groups.is_empty() {
            let names: Vec<String> = block.groups.iter().map(|it| format!("`{}`", it.0)).collect();
            return Err(format!("the reply has no `{field}`; it has {}", names.join(", ")));
        }
        self.world.source.field(block, field)
    }
}
