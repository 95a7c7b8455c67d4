//! A program file held against the machine's memory, its vectors, and what the firmware keeps in RAM.

use std::ops::Range;
use std::sync::Arc;

use reveille_cpu::Cpu;
use reveille_decoders::program_header::Segment;
use reveille_program::{Addressed, Code, Place, Program, SourceFile, Unit};
use reveille_source::Span;
use rustc_hash::FxHashSet;

use super::{Object, ObjectFact};
use crate::access::on_bus;
use crate::finding::{Evidence, Finding};
use crate::machine::Machine;
use crate::memory::{UnitMemory, operand_at, range};
use crate::vectors::VectorsFact;

/// The exception vectors of the 68000. *M68000 Family Programmer's Reference Manual*, exception vectors.
const VECTORS: Range<u64> = 0..0x400;

/// So far below its start the stack of a monitor is taken to reach. Common practice, no source.
const STACK: u64 = 1024;

/// Names that a message has at most.
const MOST_NAMED: usize = 4;

/// A unit of the same machine.
#[derive(Clone, Copy, Debug)]
pub(crate) struct UnitAround<'a> {
    pub(crate) unit: &'a Unit,
    pub(crate) memory: &'a UnitMemory,
    pub(crate) vectors: &'a [VectorsFact],
}

/// Holds the programs of a file against what is around them. `around` is empty where no machine file speaks for the file.
pub(crate) fn judged(
    program: &Program,
    file: &SourceFile,
    machine: &Machine,
    around: &[UnitAround<'_>],
    objects: &[Arc<Object>],
) -> Vec<ObjectFact> {
    let at = Evidence { place: Place { file: file.id(), chunk: 0, line: 0 }, span: Span::default() };
    let cpu = program.settings_of(file.id()).cpu;
    let judge = |object: &Arc<Object>| {
        let mut judge = Judge { program, machine, around, cpu, object, at, findings: Vec::new() };
        judge.all();
        ObjectFact { file: file.id(), at, object: object.clone(), findings: judge.findings }
    };
    objects.iter().map(judge).collect()
}

struct Judge<'a> {
    program: &'a Program,
    machine: &'a Machine,
    around: &'a [UnitAround<'a>],
    cpu: Cpu,
    object: &'a Object,
    at: Evidence,
    findings: Vec<Finding>,
}

impl Judge<'_> {
    fn all(&mut self) {
        for trouble in &self.object.troubles {
            self.tell("object-006", format!("{trouble}; copy the file again, from the original if there is one"));
        }
        // What is relocated goes wherever there is room.
        if !self.object.is_absolute {
            return;
        }
        self.entry();
        let pieces: Vec<Segment> = self.object.segments.iter().map(|it| self.on_bus(it)).collect();
        // What is wholly in ROM was made to be put there.
        if self.object.kind == "s-records" && pieces.iter().all(|it| self.outside("rom", it.range.clone()).is_empty()) {
            return;
        }
        self.vectors(&pieces);
        self.memory(&pieces);
        self.firmware(&pieces);
        self.stack(&pieces);
    }

    /// What a message begins with.
    fn subject(&self) -> String {
        match &self.object.inside {
            Some(path) => format!("`{path}` in this image, a {}", self.object.title),
            None if self.object.kind == "s-records" => "these S-records".to_owned(),
            None => format!("this {}", self.object.title),
        }
    }

    fn tell(&mut self, code: &str, message: String) {
        let message = format!("{}: {message}", self.subject());
        self.findings.push(Finding::new(code, self.at, message));
    }

    fn on_bus(&self, piece: &Segment) -> Segment {
        let start = self.bus(piece.range.start);
        Segment { name: piece.name, range: start..start + (piece.range.end - piece.range.start) }
    }

    fn bus(&self, address: u64) -> u64 {
        on_bus(self.cpu, i64::try_from(address).unwrap_or(0)).unsigned_abs()
    }

    /// The parts of a range that regions of a kind do not have.
    fn outside(&self, kind: &str, range: Range<u64>) -> Vec<Range<u64>> {
        let mut left = vec![range];
        for own in self.regions(kind) {
            let cut = |it: Range<u64>| {
                let pieces = [it.start..it.end.min(own.start), it.start.max(own.end)..it.end];
                pieces.into_iter().filter(|it| it.start < it.end)
            };
            left = left.into_iter().flat_map(cut).collect();
        }
        left
    }

    fn regions(&self, kind: &str) -> impl Iterator<Item = Range<u64>> {
        let own = self.machine.memory.iter().filter(move |it| it.0.kind.value == kind);
        own.map(|it| {
            let own = range(self.cpu, &it.0);
            own.start.unsigned_abs()..own.end.unsigned_abs()
        })
    }

    /// Addresses that no 68000 takes, and an entry that is none of the program's.
    fn entry(&mut self) {
        if let Some(piece) = self.object.segments.iter().find(|it| it.name == "text" && it.range.start % 2 == 1) {
            let start = piece.range.start;
            self.tell("object-005", format!("its text begins at ${start:06X}, which is odd: each instruction would be an address error; expected an even address"));
        }
        let Some(entry) = self.object.entry else { return };
        let is_told = self.object.segments.iter().any(|it| it.name == "text" && it.range.start == entry);
        if entry % 2 == 1 && !is_told {
            self.tell("object-005", format!("it is entered at ${entry:06X}, which is odd: the first instruction would be an address error; expected an even address"));
        }
        let code: Vec<&Segment> = self.object.segments.iter().filter(|it| it.name != "bss").collect();
        let is_code = |it: &Segment| it.name == "text" || self.object.kind == "s-records";
        let is_inside = code.iter().any(|it| is_code(it) && it.range.contains(&entry));
        if !code.is_empty() && !is_inside {
            let what = if self.object.kind == "s-records" {
                "no record has that address"
            } else {
                "its text does not have that address"
            };
            self.tell(
                "object-008",
                format!("it is entered at ${entry:06X}, and {what}; start it elsewhere, or look for the missing part"),
            );
        }
    }

    /// Over the vectors, where these are RAM. What brings vectors of its own from address 0 on means to.
    fn vectors(&mut self, pieces: &[Segment]) {
        let is_over = |it: &&Segment| it.range.start < VECTORS.end && it.range.end > VECTORS.start;
        let own = pieces.iter().any(|it| it.range.start == 0);
        let Some(piece) = pieces.iter().find(is_over).filter(|_| !own) else { return };
        let over = piece.range.start..piece.range.end.min(VECTORS.end);
        if !self.machine.memory.is_empty() && !self.outside("ram", over).is_empty() {
            return;
        }
        let text = format!(
            "its {} lies over the exception vectors, $000000 to $0003FF: the next interrupt or exception goes astray; mask interrupts before it is loaded, or load it elsewhere",
            shown(piece)
        );
        self.tell("object-002", text);
    }

    /// Where there is no RAM.
    fn memory(&mut self, pieces: &[Segment]) {
        if self.regions("ram").next().is_none() {
            return;
        }
        let mut told: FxHashSet<&str> = FxHashSet::default();
        for piece in pieces {
            for left in self.outside("ram", piece.range.clone()) {
                let elsewhere = self.outside("rom", left.clone());
                if elsewhere != [left.clone()] && told.insert("object-003") {
                    let rom = self.regions("rom").find(|it| it.start < left.end && left.start < it.end);
                    let from = rom.map_or(left.start, |it| it.start.max(left.start));
                    let text = format!(
                        "its {} lies over ROM from ${from:06X} on, where nothing can be loaded; is it for another machine, or made to be put into the ROM?",
                        shown(piece)
                    );
                    self.tell("object-003", text);
                }
                if let Some(first) = elsewhere.first()
                    && told.insert("object-001")
                {
                    let there = i64::try_from(first.start).ok().and_then(|it| self.machine.describe(self.cpu, it));
                    let there = there.map_or_else(
                        || "the machine file has nothing there".to_owned(),
                        |it| format!("${:06X} is {it}", first.start),
                    );
                    let text = format!(
                        "its {} lies outside RAM from ${:06X} on: {there}; is it for a machine with other memory, or does the machine file lack some?",
                        shown(piece),
                        first.start
                    );
                    self.tell("object-001", text);
                }
            }
        }
    }

    /// Over what the firmware writes by name.
    fn firmware(&mut self, pieces: &[Segment]) {
        for around in self.around {
            let hits: Vec<(&Addressed, &Segment)> = around
                .memory
                .written
                .iter()
                .filter_map(|it| Some((it, hit(self.bus(it.address as u64), pieces)?)))
                .collect();
            let Some((_, piece)) = hits.first() else { continue };
            if lays_down(self.program, around.unit, pieces) {
                continue;
            }
            let mut seen = FxHashSet::default();
            let firsts = hits.iter().filter(|it| seen.insert(self.bus(it.0.address as u64)));
            let found = firsts.filter_map(|(given, _)| {
                Some((self.bus(given.address as u64), operand_at(self.program, around.unit, given)?))
            });
            let found: Vec<(u64, Evidence)> = found.collect();
            let name = |(address, at): &(u64, Evidence)| {
                let text = self
                    .program
                    .file(at.place.file)
                    .map_or("", |file| at.span.of(file.at(at.place.chunk, at.place.line).2));
                if text.is_empty() { format!("${address:06X}") } else { format!("`{text}` (${address:06X})") }
            };
            let named: Vec<String> = found.iter().take(MOST_NAMED).map(name).collect();
            let more = found.len().saturating_sub(MOST_NAMED);
            let more = if more == 0 { String::new() } else { format!(" and {more} more") };
            let text = format!(
                "its {} lies over what the firmware writes: {}{more}; once it is loaded, the firmware changes it or is changed by it: load it elsewhere, or use no service of the firmware afterwards",
                shown(piece),
                named.join(", ")
            );
            let message = format!("{}: {text}", self.subject());
            let mut finding = Finding::new("object-004", self.at, message);
            for (address, at) in found.iter().take(MOST_NAMED) {
                finding = finding.related(*at, format!("${address:06X} is written here"));
            }
            self.findings.push(finding);
        }
    }

    /// Over the stack that the processor has at reset, which grows down.
    fn stack(&mut self, pieces: &[Segment]) {
        let fetched = self.around.iter().flat_map(|it| it.vectors).filter_map(|it| it.entry(0));
        let Some((pointer, at)) =
            fetched.filter_map(|it| Some((self.bus(u64::try_from(it.address?).ok()?), it.at))).next()
        else {
            return;
        };
        let stack = pointer.saturating_sub(STACK)..pointer;
        let Some(piece) = pieces.iter().find(|it| it.range.start < stack.end && it.range.end > stack.start) else {
            return;
        };
        let message = format!(
            "{}: its {} lies over the stack, which grows down from ${pointer:06X}: the first calls would overwrite it, or clearing it the return addresses; expected ${STACK:X} bytes free below",
            self.subject(),
            shown(piece)
        );
        let finding = Finding::new("object-007", self.at, message);
        self.findings.push(finding.related(at, "the stack pointer at reset is here"));
    }
}

fn shown(piece: &Segment) -> String {
    format!("{}, ${:06X} to ${:06X},", piece.name, piece.range.start, piece.range.end.saturating_sub(1))
}

fn hit(address: u64, pieces: &[Segment]) -> Option<&Segment> {
    pieces.iter().find(|it| it.range.contains(&address))
}

/// Whether a unit lays bytes down where a program goes: it is that program's own source, and what it writes is its own.
fn lays_down(program: &Program, unit: &Unit, pieces: &[Segment]) -> bool {
    let is_elsewhere = |it: i64| u64::try_from(it).is_ok_and(|it| hit(it, pieces).is_none());
    !Code::new(program, unit).laid_out_outside(&is_elsewhere).is_empty()
}
