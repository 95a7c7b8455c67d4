//! The memory map of a machine: what the sources do in each of its regions, and what does not fit it.
//!
//! Addresses are those on the bus: the lines that a processor lacks do not count, so `$FFF00000` is `$F00000` on the 68000.

use std::collections::BTreeMap;

use reveille_cpu::{Cpu, MemoryUse};
use reveille_machine::Memory;
use reveille_program::{Addressed, Code, Place, Program, Unit, Value};
use reveille_source::Span;
use rustc_hash::FxHashSet;

use crate::access::{Access, accesses, accesses_near, is_beside, on_bus};
use crate::finding::{Evidence, Finding};
use crate::machine::Machine;

/// How far a displacement of 16 bits reaches, in bytes.
const REACH: i64 = 0x8000;
/// Bytes of a page that stands for all addresses in it that the map lacks.
const PAGE: i64 = 0x1_0000;

/// What the sources do in a part of memory.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Uses {
    /// Operands that read there.
    pub reads: u32,
    /// Operands that write there.
    pub writes: u32,
    /// The first operand that does either.
    pub first: Option<Evidence>,
}

impl Uses {
    fn count(&mut self, kind: MemoryUse) {
        self.reads += u32::from(kind != MemoryUse::Write);
        self.writes += u32::from(kind != MemoryUse::Read);
    }

    fn add(&mut self, other: &Self) {
        self.reads += other.reads;
        self.writes += other.writes;
        self.first = self.first.or(other.first);
    }
}

/// A part of a machine's memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MemoryFact {
    /// Its name in the machine file; none of a page that the file does not have.
    pub name: Option<String>,
    /// `rom`, `ram` or `device`; `unknown` of a page that the machine file does not have.
    pub kind: &'static str,
    /// Its first address.
    pub from: i64,
    /// The address behind its last.
    pub end: i64,
    /// What reading there does: `have side effects` or `are harmless`, if the machine file says so.
    pub reads: Option<&'static str>,
    /// Where the machine file has it.
    pub at: Option<Evidence>,
    /// What the sources do there.
    pub uses: Uses,
}

impl MemoryFact {
    /// What it is called.
    #[must_use]
    pub fn subject(&self) -> String {
        self.name.clone().unwrap_or_else(|| format!("${:06X} to ${:06X}", self.from, self.end - 1))
    }
}

/// The memory of one machine, in the order of the addresses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MemoryMap {
    /// The regions of the machine file, and the pages that the sources use beside them.
    pub regions: Vec<MemoryFact>,
    /// The address behind the last that the processor has.
    pub end: i64,
}

/// What a unit does in the memory of its machine.
#[derive(Debug, Default)]
pub(crate) struct UnitMemory {
    /// For each region of the machine file.
    regions: Vec<Uses>,
    /// For each page that it does not have, by its first address.
    pages: BTreeMap<i64, Uses>,
    /// Operands that name what they write in RAM.
    pub(crate) written: Vec<Addressed>,
}

impl Machine {
    /// The region of the machine file that an address on the bus belongs to: of several the smallest, since a device may be mapped into memory.
    #[must_use]
    pub fn region_at(&self, cpu: Cpu, address: i64) -> Option<&(Memory, Evidence)> {
        self.memory.get(self.region_index(cpu, address)?)
    }

    fn region_index(&self, cpu: Cpu, address: i64) -> Option<usize> {
        let address = on_bus(cpu, address);
        let has = |it: &&(usize, &(Memory, Evidence))| range(cpu, &it.1.0).contains(&address);
        let found = self.memory.iter().enumerate().filter(|it| has(&it));
        found.min_by_key(|it| it.1.0.size.value).map(|it| it.0)
    }

    /// What the machine file says of an address, in a line: the region, how far in it, and what reading there does.
    #[must_use]
    pub fn describe(&self, cpu: Cpu, address: i64) -> Option<String> {
        let (region, _) = self.region_at(cpu, address)?;
        let offset = on_bus(cpu, address) - range(cpu, region).start;
        let reads = match region.reads.as_ref().map(|it| it.value) {
            Some("have side effects") => "; reading it has side effects",
            Some(_) => "; reading it is harmless",
            None => "",
        };
        let offset = if offset == 0 { "its start".to_owned() } else { format!("its start + ${offset:X}") };
        Some(format!("in `{}`, {}: {offset}{reads}", region.name.value, kind_name(region.kind.value)))
    }

    /// Whether the map has all that a program needs, so that what it lacks is worth telling.
    fn has_whole_map(&self) -> bool {
        let has = |kind: &str| self.memory.iter().any(|it| it.0.kind.value == kind);
        has("rom") && has("ram")
    }
}

/// The addresses of a region on the bus.
pub(crate) fn range(cpu: Cpu, region: &Memory) -> std::ops::Range<i64> {
    let from = on_bus(cpu, region.from.value.into());
    from..from.saturating_add(i64::try_from(region.size.value).unwrap_or(i64::MAX))
}

fn shown(cpu: Cpu, region: &Memory) -> String {
    let range = range(cpu, region);
    format!("`{}`, ${:06X} to ${:06X}", region.name.value, range.start, range.end - 1)
}

/// What a kind of region is called.
fn kind_name(kind: &str) -> &str {
    match kind {
        "rom" => "ROM",
        "ram" => "RAM",
        _ => "a device",
    }
}

/// Regions of a machine file that have addresses in common.
pub(crate) fn overlaps(memory: &[(Memory, Evidence)]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (at, (region, evidence)) in memory.iter().enumerate() {
        let own = range(Cpu::M68000, region);
        for (other, other_evidence) in &memory[..at] {
            let other_range = range(Cpu::M68000, other);
            let (from, end) = (own.start.max(other_range.start), own.end.min(other_range.end));
            if from < end {
                let message = format!(
                    "`{}` and `{}` both have ${from:06X} to ${:06X}: the smaller one counts there; correct `from` or `size` of one of them",
                    other.name.value,
                    region.name.value,
                    end - 1
                );
                let finding = Finding::new("map-004", *evidence, message);
                found.push(finding.related(*other_evidence, format!("`{}` is here", other.name.value)));
            }
        }
    }
    found
}

/// What a unit does in the memory of its machine, all accesses to ports and outside ROM and RAM, and what does not fit the map. `is_port` tells
/// which addresses have findings of their own about instructions that read before they write.
pub(crate) fn memory(
    program: &Program,
    machine: &Machine,
    unit: &Unit,
    is_port: &dyn Fn(i64) -> bool,
) -> (UnitMemory, Vec<Access>, Vec<Finding>) {
    if machine.memory.is_empty() {
        return (UnitMemory::default(), accesses(program, unit, is_port), Vec::new());
    }
    let cpu = unit.settings(program).cpu;
    let mut code = Code::new(program, unit);
    let given: Vec<Addressed> = code.addressed().collect();
    let kind_at = |address: i64| machine.region_at(cpu, address).map(|it| it.0.kind.value);
    let is_beside_device = |address: i64| {
        let mut devices = machine.memory.iter().filter(|it| it.0.kind.value == "device").map(|it| range(cpu, &it.0));
        devices.any(|it| it.start - REACH <= address && address < it.end + REACH)
    };
    let is_whole = machine.has_whole_map();
    let is_near = |address: i64| {
        is_beside(is_port, address)
            || match kind_at(address) {
                Some(kind) => kind == "device",
                None => is_whole || is_beside_device(address),
            }
    };
    let is_outside = |address: i64| !matches!(kind_at(address), Some("rom" | "ram"));
    let mut own = UnitMemory {
        regions: vec![Uses::default(); machine.memory.len()],
        pages: BTreeMap::new(),
        written: Vec::new(),
    };
    let mut findings = laid_out(program, machine, unit, &mut code);
    in_memory(program, machine, unit, &given, &mut own, &mut findings);
    let wanted = |address: i64| is_outside(address) || is_port(address);
    let all = accesses_near(program, unit, code, &given, &is_near, &wanted);
    let accesses: Vec<Access> = all.iter().copied().filter(|it| is_outside(it.address)).collect();
    outside(cpu, machine, unit, &accesses, &mut own, &mut findings);
    findings.extend(read_first(cpu, machine, &accesses, is_port));
    (own, all, findings)
}

/// Bytes of the program that lie where neither ROM nor RAM is.
fn laid_out(program: &Program, machine: &Machine, unit: &Unit, code: &mut Code<'_>) -> Vec<Finding> {
    let cpu = unit.settings(program).cpu;
    let is_whole = machine.has_whole_map();
    let region = |address: i64| machine.region_at(cpu, address);
    let inside = |address: i64| match region(address) {
        Some(it) => it.0.kind.value != "device",
        None => !is_whole,
    };
    let tell = |(place, address): (Place, i64)| {
        let place = unit.expanded_from(program, place).map_or(place, |it| it.0);
        let line = program.file(place.file)?.at(place.chunk, place.line).1;
        let span = Span { start: line.operation.start, end: line.operands.end.max(line.size_span().end) };
        let where_to = match region(address) {
            Some(it) => format!("in {}, a device", shown(cpu, &it.0)),
            None => match nearest(cpu, machine, address) {
                Some(it) => format!("in no region of the machine file; the nearest is {}", shown(cpu, it)),
                None => "in no region of the machine file".to_owned(),
            },
        };
        let message = format!(
            "the program lays bytes down from ${address:06X} on, {where_to}: bytes can lie in ROM and RAM alone; correct the ORG before them, or the machine file"
        );
        let finding = Finding::new("map-003", Evidence { place, span }, message);
        Some(match region(address) {
            Some(it) => finding.related(it.1, format!("`{}` is here", it.0.name.value)),
            None => finding,
        })
    };
    code.laid_out_outside(&inside).into_iter().filter_map(tell).collect()
}

/// The region that has the least distance from an address.
fn nearest(cpu: Cpu, machine: &Machine, address: i64) -> Option<&Memory> {
    let distance = |it: &&Memory| {
        let range = range(cpu, it);
        (range.start - address).max(address - range.end + 1)
    };
    machine.memory.iter().map(|it| &it.0).min_by_key(distance)
}

/// Where an operand stands that gives an address by itself.
pub(crate) fn operand_at(program: &Program, unit: &Unit, given: &Addressed) -> Option<Evidence> {
    let call = unit.expanded_from(program, given.place).map(|it| it.0);
    let place = call.unwrap_or(given.place);
    let (chunk, line, _) = program.file(place.file)?.at(place.chunk, place.line);
    let operand = chunk.operands(line).get(given.operand).cloned().filter(|_| call.is_none());
    let span = operand.map_or(line.operands, |it| Span { start: it.start as u16, end: it.end as u16 });
    Some(Evidence { place, span })
}

/// What absolute operands do in ROM and RAM.
fn in_memory(
    program: &Program,
    machine: &Machine,
    unit: &Unit,
    given: &[Addressed],
    own: &mut UnitMemory,
    findings: &mut Vec<Finding>,
) {
    let cpu = unit.settings(program).cpu;
    for it in given {
        let (Some(kind), Some(at)) = (it.used, machine.region_index(cpu, it.address)) else { continue };
        let (region, region_at) = &machine.memory[at];
        if region.kind.value == "device" {
            continue;
        }
        let uses = &mut own.regions[at];
        uses.count(kind);
        if uses.first.is_none() {
            uses.first = operand_at(program, unit, it);
        }
        if region.kind.value == "ram" && kind != MemoryUse::Read {
            own.written.push(*it);
        }
        if region.kind.value == "rom" && kind != MemoryUse::Read {
            let Some(at) = operand_at(program, unit, it) else { continue };
            let message = format!(
                "this writes to ${:06X} in {}, which is ROM: nothing there changes; write to RAM, or correct the machine file",
                on_bus(cpu, it.address),
                shown(cpu, region)
            );
            let finding = Finding::new("map-002", at, message);
            findings.push(finding.related(*region_at, format!("`{}` is here", region.name.value)));
        }
    }
}

/// What instructions do in devices, and where the map has nothing.
fn outside(
    cpu: Cpu,
    machine: &Machine,
    unit: &Unit,
    accesses: &[Access],
    own: &mut UnitMemory,
    findings: &mut Vec<Finding>,
) {
    let mut seen = FxHashSet::default();
    let mut told = FxHashSet::default();
    // Sections that no ORG places lie anywhere: their addresses are no news.
    let is_placed = std::cell::LazyCell::new(|| {
        let is_free = |value: Value| matches!(value, Value::Address(..));
        !unit.definitions().iter().any(|it| is_free(it.value))
    });
    for access in accesses {
        // An operand in a loop counts once.
        if !seen.insert((access.at, access.address)) {
            continue;
        }
        match machine.region_index(cpu, access.address) {
            Some(at) => {
                own.regions[at].count(access.kind);
                own.regions[at].first.get_or_insert(access.at);
            }
            None if *is_placed => {
                let uses = own.pages.entry(access.address.div_euclid(PAGE) * PAGE).or_default();
                uses.count(access.kind);
                uses.first.get_or_insert(access.at);
                if machine.has_whole_map() && told.insert(access.at) {
                    let verb = if access.kind == MemoryUse::Read { "reads" } else { "writes to" };
                    let near = nearest(cpu, machine, access.address);
                    let near = near.map_or(String::new(), |it| format!(": the nearest is {}", shown(cpu, it)));
                    let message = format!(
                        "this {verb} ${:06X}, where the machine file has nothing{near}; correct the address, or give it a `memory` table in the machine file",
                        access.address
                    );
                    findings.push(Finding::new("map-001", access.at, message));
                }
            }
            None => (),
        }
    }
}

/// Instructions that read before they write, at devices whose reads have side effects. `is_handled` tells which addresses are told of elsewhere.
fn read_first(cpu: Cpu, machine: &Machine, accesses: &[Access], is_handled: &dyn Fn(i64) -> bool) -> Vec<Finding> {
    let mut told = FxHashSet::default();
    let own = accesses.iter().filter(|it| it.kind == MemoryUse::ReadWrite && !is_handled(it.address));
    let tell = |access: &Access| {
        let (region, region_at) = machine.region_at(cpu, access.address)?;
        if region.reads.as_ref().is_none_or(|it| it.value != "have side effects") || !told.insert(access.at) {
            return None;
        }
        let name = if access.instruction == "scc" { "Scc".to_owned() } else { access.instruction.to_uppercase() };
        let offset = access.address - range(cpu, region).start;
        let message = format!(
            "{name} reads `{}` + {offset} before it writes there, and reads of this device have side effects: store the value with MOVE, which does not read",
            region.name.value
        );
        let finding = Finding::new("map-005", access.at, message);
        Some(finding.related(*region_at, format!("`{}` is here", region.name.value)))
    };
    own.filter_map(tell).collect()
}

/// The map of a machine with what its units do there; none if its file has no memory.
pub(crate) fn map<'a>(cpu: Cpu, machine: &Machine, units: impl Iterator<Item = &'a UnitMemory>) -> Option<MemoryMap> {
    if machine.memory.is_empty() {
        return None;
    }
    let mut regions: Vec<MemoryFact> = machine
        .memory
        .iter()
        .map(|(region, at)| {
            let range = range(cpu, region);
            MemoryFact {
                name: Some(region.name.value.clone()),
                kind: region.kind.value,
                from: range.start,
                end: range.end,
                reads: region.reads.as_ref().map(|it| it.value),
                at: Some(*at),
                uses: Uses::default(),
            }
        })
        .collect();
    let mut pages: BTreeMap<i64, Uses> = BTreeMap::new();
    for unit in units {
        for (region, uses) in regions.iter_mut().zip(&unit.regions) {
            region.uses.add(uses);
        }
        for (page, uses) in &unit.pages {
            pages.entry(*page).or_default().add(uses);
        }
    }
    regions.extend(pages.into_iter().map(|(from, uses)| MemoryFact {
        name: None,
        kind: "unknown",
        from,
        end: from + PAGE,
        reads: None,
        at: None,
        uses,
    }));
    regions.sort_by_key(|it| (it.from, it.end));
    Some(MemoryMap { regions, end: on_bus(cpu, -1) + 1 })
}
