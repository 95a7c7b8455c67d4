//! What a session is held against: the machine of its folder, and the line and the disks of its firmware.

use std::path::Path;
use std::sync::Arc;

use reveille_cpu::Cpu;
use reveille_program::{FileId, Unit};
use reveille_session::{Geometry, Monitor, Region, RegionKind, Settings, World};

use super::source::Firmware;
use crate::blocks::BlockFact;
use crate::finding::Evidence;
use crate::machine::Machine;
use crate::model::Model;
use crate::serial::LineFact;

/// The world of a script, with what its parts were read from.
pub(super) struct Around {
    pub(super) firmware: Arc<Firmware>,
    pub(super) world: World,
    pub(super) machine: Arc<Machine>,
    pub(super) machine_file: Option<FileId>,
    /// What tells the disks' geometry.
    pub(super) disk: Option<Evidence>,
    /// What the source sets the line to.
    pub(super) line: Option<(Option<Settings>, String, Evidence)>,
}

/// The machine and the firmware of a script.
pub(super) fn around(model: &Model, firmwares: &mut Vec<Arc<Firmware>>, path: &Path, name: Option<&str>) -> Around {
    let (machine_file, machine) = model.machine_for(path);
    let program = model.program();
    let of_machine = |unit: &Unit| {
        let root = unit.root().and_then(|it| program.file(it));
        root.is_some_and(|it| Arc::ptr_eq(&model.machine_for(it.path()).1, &machine))
    };
    let units: Vec<usize> = model.analysis().units().enumerate().filter(|it| of_machine(it.1)).map(|it| it.0).collect();
    let known = firmwares.iter().find(|it| Arc::ptr_eq(&it.machine, &machine) && it.units == units).cloned();
    let firmware = known.unwrap_or_else(|| {
        let firmware = Arc::new(Firmware::new(model, units, machine.clone()));
        firmwares.push(firmware.clone());
        firmware
    });
    let cpu = machine_file.map_or(Cpu::M68000, |it| program.settings_of(it).cpu);
    let mut regions: Vec<Region> = machine.memory.iter().map(|it| region(cpu, &it.0)).collect();
    regions.sort_by_key(|it| it.range.end - it.range.start);
    let disk = largest(&firmware);
    let line = line(model, &firmware, &machine);
    let named = match name {
        Some(name) => machine.monitors.iter().find(|it| it.name == name),
        None => machine.monitors.first(),
    };
    let world = World {
        machine: named.map(|it| it.name.clone()),
        monitor: named.and_then(|it| it.monitor.clone()),
        regions,
        geometry: disk.as_ref().map(|it| it.0),
        drives: i64::try_from(machine.drives.len()).ok().filter(|it| *it > 0),
        line: line.as_ref().and_then(|it| it.0),
        address_bits: if cpu == Cpu::M68008 { 20 } else { 24 },
        source: firmware.clone(),
    };
    Around { firmware, world, machine, machine_file, disk: disk.map(|it| it.1), line }
}

fn region(cpu: Cpu, it: &reveille_machine::Memory) -> Region {
    let kind = RegionKind::NAMES.iter().find(|name| name.0 == it.kind.value).map_or(RegionKind::Device, |it| it.2);
    Region {
        name: it.name.value.clone(),
        kind,
        range: crate::memory::range(cpu, it),
        has_effects: it.reads.as_ref().is_some_and(|it| it.value == "have side effects"),
    }
}

/// The largest disk that the firmware has a block of, and that block.
fn largest(firmware: &Firmware) -> Option<(Geometry, Evidence)> {
    let is_own = |block: &&BlockFact| {
        let file = block.at.place.file;
        firmware.units().any(|unit| unit.files().contains(&file))
    };
    let all = firmware.model.blocks().filter(is_own).filter_map(|block| {
        let [cylinders, sides, sectors_per_track, sector_bytes] = block.geometry()?;
        Some((Geometry { cylinders, sides, sectors_per_track, sector_bytes }, block.at))
    });
    all.max_by_key(|it| it.0.sectors())
}

/// What the source sets the console to: the port of that name, or the first that is known.
fn line(model: &Model, firmware: &Firmware, machine: &Machine) -> Option<(Option<Settings>, String, Evidence)> {
    let is_own = |line: &&LineFact| firmware.units().any(|unit| unit.files().contains(&line.at.place.file));
    let lines: Vec<&LineFact> = model.lines().filter(is_own).collect();
    let named = |name: &str| lines.iter().find(|it| it.name == name).copied();
    let port = machine.serial.first().and_then(|it| named(&it.0.name.value));
    let line = named("console").or(port).or_else(|| lines.iter().find(|it| it.line.is_whole()).copied())?;
    Some((line_settings(line), line.words(), line.at))
}

/// The settings that a terminal is given for a line; none where a part is not known, or is none that a port can be set to.
fn line_settings(line: &LineFact) -> Option<Settings> {
    let rate = line.line.tx.as_ref().or(line.line.rx.as_ref())?;
    let rate = rate.nominal.or(rate.exact)?.round();
    let parity = match line.line.parity.as_ref()?.value.as_str() {
        "none" => 'n',
        "even" => 'e',
        "odd" => 'o',
        _ => return None,
    };
    let stop = line.line.stop()?;
    Some(Settings {
        rate: (1.0..4e6).contains(&rate).then_some(rate as u32)?,
        data: u8::try_from(line.line.data.as_ref()?.value).ok().filter(|it| (5..=8).contains(it))?,
        parity,
        // One and a half are set as two: what receives takes one at least.
        stop: if stop > 1.0 { 2 } else { 1 },
    })
}

/// The monitor of a machine, compiled, with what cannot be used of it.
pub(crate) fn monitors(
    text: &str,
    file: &reveille_machine::MachineFile,
) -> (Vec<NamedMonitor>, Vec<reveille_session::VocabularyProblem>) {
    let mut problems = Vec::new();
    let all = file.machines.iter().map(|machine| {
        let monitor = machine.monitor.as_ref().and_then(|it| {
            let (monitor, own) = Monitor::new(text, it);
            problems.extend(own);
            monitor.map(Arc::new)
        });
        NamedMonitor { name: machine.name.value.clone(), span: machine.name.span.clone(), monitor }
    });
    let all = all.collect();
    (all, problems)
}

/// A machine of a machine file, and how its monitor is talked to.
#[derive(Clone, Debug)]
pub struct NamedMonitor {
    /// The machine's name.
    pub name: String,
    /// Where the file has it.
    pub span: std::ops::Range<usize>,
    /// How its monitor is talked to.
    pub monitor: Option<Arc<Monitor>>,
}
