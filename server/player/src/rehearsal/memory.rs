//! The machine's memory: ROM as the source lays it down, RAM as chance left it, and what was written since.

use std::collections::HashMap;
use std::sync::Arc;

use reveille_session::{RegionKind, World};

pub(super) struct Memory {
    world: Arc<World>,
    written: HashMap<i64, u8>,
}

impl Memory {
    pub(super) fn new(world: Arc<World>) -> Self {
        Self { world, written: HashMap::new() }
    }

    fn kind(&self, address: i64) -> Option<RegionKind> {
        if self.world.regions.is_empty() {
            return Some(RegionKind::Ram);
        }
        self.world.region_at(address).map(|it| it.kind)
    }

    /// A byte: of what answers nowhere, all lines are high.
    pub(super) fn byte(&self, address: i64) -> u8 {
        let at = self.world.on_bus(address);
        if let Some(byte) = self.written.get(&at) {
            return *byte;
        }
        match self.kind(at) {
            // What a ROM has beside the source is what an erased one has.
            Some(RegionKind::Rom) => self.world.source.byte(at).unwrap_or(0xff),
            Some(RegionKind::Ram | RegionKind::Nvram) => chance(at),
            Some(RegionKind::Device) => 0,
            None => 0xff,
        }
    }

    /// Writes a byte; whether there is RAM.
    pub(super) fn write(&mut self, address: i64, byte: u8) -> bool {
        let at = self.world.on_bus(address);
        let is_ram = matches!(self.kind(at), Some(RegionKind::Ram | RegionKind::Nvram));
        if is_ram {
            self.written.insert(at, byte);
        }
        is_ram
    }
}

/// What RAM has before anything was written: no pattern that anything could be mistaken for, and the same each time.
fn chance(address: i64) -> u8 {
    let mixed = (address as u64 ^ 0x9e37_79b9).wrapping_mul(0x2545_f491_4f6c_dd1d);
    (mixed >> 32) as u8
}
