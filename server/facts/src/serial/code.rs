//! Instructions that set a serial chip, routine by routine, and what is wrong with single accesses.

use reveille_decoders::serial::Touched;
use reveille_program::{Program, Unit};

use super::fact::{Form, LineFact, RegisterUse, Step, To, settle};
use super::findings::{access_findings, pointer_finding};
use super::ports::{NamedRegisters, Port};
use crate::access::{Access, AccessKind};
use crate::finding::Finding;

/// What instructions do to the serial ports of a unit.
#[derive(Default)]
pub(super) struct Done {
    /// The settings that routines make.
    pub(super) lines: Vec<LineFact>,
    /// Each access with the register that it met.
    pub(super) uses: Vec<RegisterUse>,
    /// What is wrong with single accesses.
    pub(super) findings: Vec<Finding>,
}

/// What the routines of a unit do to its serial ports.
pub(super) fn code(
    program: &Program,
    unit: &Unit,
    ports: &[Port],
    named: &NamedRegisters,
    accesses: &[Access],
) -> Done {
    let mut done = Done::default();
    for port in ports {
        let own: Vec<&Access> = accesses.iter().filter(|it| port.covers(it.address)).collect();
        for access in &own {
            done.findings.extend(access_findings(program, port, named, access));
        }
        let mut all: Vec<LineFact> = Vec::new();
        let mut parts: Vec<Step> = Vec::new();
        for routine in own.chunk_by(|one, other| one.sequence == other.sequence) {
            let steps = steps(port, routine);
            if steps.is_empty() {
                continue;
            }
            let subject = routine.first().and_then(|it| routine_name(program, unit, it));
            let mut touched: Vec<(usize, Touched<'static>)> = Vec::new();
            let settled = settle(port, &steps, Form::Code, subject.as_deref(), &mut |at, it| {
                touched.extend(it.map(|it| (at, it)));
            });
            done.findings.extend(pointer_finding(port, &steps, &touched));
            let used = touched.iter().filter_map(|(at, it)| Some((steps.get(*at)?, it)));
            done.uses.extend(used.map(|(step, it)| RegisterUse {
                name: it.channel.map_or_else(|| port.chip.name.clone(), |channel| port.name(channel)),
                chip: port.chip,
                register: it.register,
                is_write: matches!(step.to, To::Write(_)),
                value: step.value,
                at: step.at,
                value_at: step.value_at,
            }));
            if settled.iter().any(|it| !it.line.is_whole()) {
                parts.extend(steps.iter().cloned());
            }
            all.extend(settled);
        }
        done.lines.extend(joined(port, all, &parts));
    }
    done
}

/// Where a channel is set by several routines, none of which says all, what they say together.
fn joined(port: &Port, all: Vec<LineFact>, parts: &[Step]) -> Vec<LineFact> {
    let (mut found, partial): (Vec<LineFact>, Vec<LineFact>) = all.into_iter().partition(|it| it.line.is_whole());
    let is_missing = |it: &&LineFact| !found.iter().any(|whole| whole.channel == it.channel);
    let mut channels: Vec<usize> = partial.iter().filter(is_missing).map(|it| it.channel).collect();
    channels.sort_unstable();
    channels.dedup();
    for channel in channels {
        let mut own = partial.iter().filter(|it| it.channel == channel);
        let (first, several) = (own.next(), own.next().is_some());
        let together = several.then(|| settle(port, parts, Form::Code, None, &mut |_, _| ())).into_iter().flatten();
        let whole = together.into_iter().find(|it| it.channel == channel && it.line.is_whole());
        found.extend(whole.or_else(|| first.cloned()));
    }
    found
}

/// The label that a routine starts with.
fn routine_name(program: &Program, unit: &Unit, access: &Access) -> Option<String> {
    let file = program.file(access.place.file)?;
    let from = file.line_number(access.place);
    let lines = (from.saturating_sub(200)..=from).rev();
    lines.into_iter().find_map(|number| {
        let place = file.place(number)?;
        let (_, line, text) = file.at(place.chunk, place.line);
        let label = line.label.of(text).trim_end_matches(':');
        let is_label = !label.is_empty() && unit.is_active(place) && line.op.directive().is_none();
        let definition = is_label.then(|| unit.resolve(program, place, label)).flatten()?;
        // The routine's own name is one that others use; inside, labels are local or short.
        (!definition.symbol.is_local()).then(|| label.to_owned())
    })
}

/// Accesses as steps: what reaches the chip's half of the bus.
fn steps(port: &Port, accesses: &[&Access]) -> Vec<Step> {
    let mut found = Vec::new();
    for access in accesses {
        let mut push = |to: fn(u32) -> To, address: i64, value: Option<u32>| {
            if let Some(offset) = port.offset(address) {
                found.push(Step { to: to(offset), value, at: access.at, value_at: access.value_at });
            }
        };
        let (reads, writes) = match access.kind {
            AccessKind::Read => (true, false),
            AccessKind::Write => (false, true),
            AccessKind::ReadWrite => (true, true),
        };
        let width = i64::from(port.chip.register_bytes);
        for at in (0..i64::from(access.bytes)).step_by(port.chip.register_bytes as usize) {
            let address = access.address + at;
            if i64::from(access.bytes) < width {
                continue;
            }
            // The most significant byte comes first.
            let shift = 8 * (i64::from(access.bytes) - at - width);
            let mask = if width == 2 { 0xffff } else { 0xff };
            // A word to a chip on the even half is told of as such; what it stores is no setting.
            let is_meant = width == 2 || access.bytes == 1 || port.base & 1 == 1;
            let value = access.value.filter(|_| is_meant).map(|it| it >> shift & mask);
            if reads {
                push(To::Read, address, None);
            }
            if writes {
                push(To::Write, address, value);
            }
        }
    }
    found
}
