//! What is wrong with serial ports: settings, accesses, and what does not agree.

use reveille_decoders::serial::{BUDGET, Rate, Touched, nearest_standard};
use reveille_machine::nearest;
use reveille_program::Program;

use super::fact::{LineFact, Step, To, differs};
use super::ports::{ClockFrom, NamedRegisters, Port};
use crate::access::{Access, AccessKind};
use crate::finding::{Evidence, Finding};

/// The findings of one line's settings.
pub(super) fn line_findings(fact: &LineFact) -> Vec<Finding> {
    let mut found = Vec::new();
    let line = &fact.line;
    let place = |tags: &[usize]| fact.evidence(tags).first().copied().unwrap_or(fact.at);
    for item in &line.wrong {
        let message = format!("`{}`: {}; correct the value", fact.name, item.value);
        found.push(Finding::new("serial-010", place(&item.tags), message));
    }
    let rates: Vec<(&str, &Rate)> = fact.rates().collect();
    for (_, rate) in rates.iter().filter(|it| it.1.is_stopped) {
        let message = format!("`{}` takes its rate from {}: it neither sends nor receives", fact.name, rate.text);
        push_once(&mut found, Finding::new("serial-011", last(fact, &rate.tags), message));
    }
    for (_, rate) in rates.iter().filter(|it| it.1.is_wrong) {
        let message = format!("`{}`: {}: the chip does not allow this value", fact.name, rate.text);
        push_once(&mut found, Finding::new("serial-010", last(fact, &rate.tags), message));
    }
    if let Some(finding) = other_clock(fact) {
        found.push(finding);
    } else {
        for (verb, rate) in &rates {
            if let Some(finding) =
                rate_error(fact, verb, rate, rates.len() == 2 && rates[0].1.exact == rates[1].1.exact)
            {
                push_once(&mut found, finding);
            }
        }
    }
    if let [(_, rx), (_, tx)] = rates.as_slice()
        && let (Some(receives), Some(sends)) = (rx.nominal.or(rx.exact), tx.nominal.or(tx.exact))
        && receives != sends
    {
        let message = format!(
            "`{}` receives at {receives} and sends at {sends} bit/s: most terminals have one rate for both; set them alike unless the other end is split too",
            fact.name
        );
        found.push(Finding::new("serial-004", last(fact, &tx.tags), message));
    }
    if differs(line.data.as_ref(), line.data_rx.as_ref())
        && let (Some(tx), Some(rx)) = (&line.data, &line.data_rx)
    {
        let message = format!(
            "`{}` sends {} data bits and receives {}: set both alike, the other end has one setting for both",
            fact.name, tx.value, rx.value
        );
        let finding = Finding::new("serial-004", place(&rx.tags), message);
        found.push(finding.related(place(&tx.tags), format!("sends {} data bits", tx.value)));
    }
    found
}

/// Several parts may tell the same of one line.
fn push_once(found: &mut Vec<Finding>, finding: Finding) {
    if !found.contains(&finding) {
        found.push(finding);
    }
}

/// The last write that made a rate what it is; one that decides the frame as well comes behind the others.
fn last(fact: &LineFact, tags: &[usize]) -> Evidence {
    let frame = fact.line.data.as_ref().map_or(&[][..], |it| it.tags.as_slice());
    let own = tags.iter().rev().find(|it| !frame.contains(it)).or(tags.last());
    own.and_then(|it| fact.writes.get(*it)).map_or(fact.at, |it| it.at)
}

/// A rate that is too far from what is meant.
fn rate_error(fact: &LineFact, verb: &str, rate: &Rate, is_both: bool) -> Option<Finding> {
    let (error, exact, nominal) = (rate.error()?, rate.exact?, rate.nominal?);
    let bits = fact.line.frame_bits();
    let (code, verdict) = match error.abs() {
        it if it > BUDGET.severe_above => ("serial-001", "it will probably fail"),
        it if it > BUDGET.warn(bits) => ("serial-002", "it leaves the other end little"),
        it if it > BUDGET.note_above => ("serial-003", "it works with a good clock at the other end"),
        _ => return None,
    };
    let verb = if is_both { "sends and receives" } else { verb };
    let message = format!(
        "`{}` {verb} at {exact:.1} bit/s, {error:+.2} % from {nominal} ({}): {verdict}; frames of {bits} bits bear some {:.1} % at each end",
        fact.name,
        rate.text,
        BUDGET.warn(bits)
    );
    Some(Finding::new(code, last(fact, &rate.tags), message))
}

/// A divisor that makes no standard rate with the clock that is stated, and one with another usual clock of the chip.
fn other_clock(fact: &LineFact) -> Option<Finding> {
    if fact.clock.from == ClockFrom::Usual || fact.variant.is_some_and(|it| it.clock == fact.clock.hertz) {
        return None;
    }
    let (_, rate) = fact.rates().next()?;
    let divide = rate.divide?;
    let is_good = |rate: f64| nearest_standard(rate).is_some_and(|it| (rate / it - 1.0).abs() * 100.0 <= 0.7);
    if rate.error().is_some_and(|it| it.abs() <= BUDGET.severe_above) {
        return None;
    }
    let made = |clock: u32| f64::from(clock) / divide as f64;
    let other = fact.chip.clocks.iter().copied().find(|it| *it != fact.clock.hertz && is_good(made(*it)))?;
    let meant = nearest_standard(made(other))?;
    let message = format!(
        "`{}`: {} makes {:.1} bit/s of {} Hz and {meant} of {other} Hz: it is one for another clock; correct it, or the clock in {}",
        fact.name,
        rate.text,
        rate.exact.unwrap_or_default(),
        fact.clock.hertz,
        if fact.clock.from == ClockFrom::MachineFile { "the machine file" } else { "the source" },
    );
    let finding = Finding::new("serial-008", last(fact, &rate.tags), message);
    Some(match fact.clock.at {
        Some(at) => finding.related(at, format!("{} Hz", fact.clock.hertz)),
        None => finding,
    })
}

/// Lines of one channel that do not agree.
pub(super) fn contradictions(facts: &[LineFact]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (at, second) in facts.iter().enumerate() {
        let is_same = |it: &&LineFact| {
            std::ptr::eq(it.chip, second.chip)
                && it.channel == second.channel
                && (it.address == second.address || it.address.is_none() || second.address.is_none())
        };
        let Some(first) = facts[..at].iter().find(is_same) else { continue };
        // Rates are often chosen by switches or tables; a frame is not.
        let (one, other) = (first.line.framing(), second.line.framing());
        let (Some(one), Some(other)) = (one, other) else { continue };
        if one == other {
            continue;
        }
        let message = format!(
            "`{}` is set to {other} here and to {one} elsewhere: a terminal can have one of them; find out which runs last, or set both alike",
            second.name
        );
        found.push(Finding::new("serial-007", second.at, message).related(first.at, format!("{one} here")));
    }
    found
}

/// A mode register that is written without its pointer being set before, or again and again, or only the first of two.
pub(super) fn pointer_finding(port: &Port, steps: &[Step], touched: &[(usize, Touched<'static>)]) -> Vec<Finding> {
    let mut found = Vec::new();
    // What reads before it writes is told of by itself.
    let reads_first = |at: usize| {
        at.checked_sub(1)
            .and_then(|before| Some((steps.get(before)?, steps.get(at)?)))
            .is_some_and(|(before, own)| before.at == own.at && matches!(before.to, To::Read(_)))
    };
    let pointed = |it: &&(usize, Touched<'static>)| {
        let is_write = steps.get(it.0).is_some_and(|step| matches!(step.to, To::Write(_)));
        it.1.since > 0 && is_write && !reads_first(it.0)
    };
    let writes: Vec<&(usize, Touched<'static>)> = touched.iter().filter(pointed).collect();
    let Some((first, it)) = writes.first() else { return found };
    let name = &it.register.name;
    if let Some(reset) = it.unsure {
        let Some(step) = steps.get(*first) else { return found };
        let message = format!(
            "this is meant for {name}, but nothing before it in the routine has set the pointer of the mode registers: right after the chip's reset alone; write {reset} first"
        );
        let reset = if reset.starts_with("a read") { message.replace("write a read", "make a read") } else { message };
        found.push(Finding::new("serial-005", step.at, reset));
    }
    for (at, it) in &writes {
        if it.since == 3
            && let Some(step) = steps.get(*at)
        {
            let message = format!(
                "this is the third write to the mode registers since their pointer was set: it goes to {} again",
                it.register.name
            );
            found.push(Finding::new("serial-005", step.at, message));
        }
    }
    let channel = it.channel;
    let others = writes.iter().filter(|other| other.1.channel == channel).count();
    let has_second = port.chip.register("MR2").is_some() && name == "MR1";
    if has_second && others == 1 && it.unsure.is_none() {
        let Some(step) = steps.get(*first) else { return found };
        let message = format!(
            "only the first of the two mode registers is written: {} keeps what it had, and the next write there goes to it",
            "MR2"
        );
        found.push(Finding::new("serial-006", step.at, message));
    }
    found
}

/// What is wrong with one access: to a register that cannot take it, on the wrong half of the bus, or one that reads before it writes.
pub(super) fn access_findings(
    program: &Program,
    port: &Port,
    named: &NamedRegisters,
    access: &Access,
) -> Option<Finding> {
    let chip = port.chip;
    let is_byte_chip = chip.register_bytes == 1;
    let lane = port.base & 1;
    if is_byte_chip && access.bytes == 2 && port.stride % 2 == 0 && access.address & 1 == 0 {
        // The low byte of a word goes to the odd half.
        let reaches = access.address + lane;
        let small = access.value.is_some_and(|it| it < 0x100 && it > 0);
        if lane == 0
            && port.offset(reaches).is_some()
            && access.kind != AccessKind::Read
            && (small || access.value.is_none())
        {
            let message = format!(
                "the chip is on the even half of the bus and gets the high byte of this word{}: write a byte",
                access.value.map_or_else(String::new, |it| format!(", ${:02X}, not ${:02X}", it >> 8, it & 0xff))
            );
            return Some(Finding::new("serial-012", access.at, message));
        }
        if port.offset(reaches).is_none() {
            let message = format!("no register of the {} is on the half of the bus that this word reaches", chip.name);
            return Some(Finding::new("serial-012", access.at, message));
        }
        return None;
    }
    if is_byte_chip && access.bytes == 1 && port.stride % 2 == 0 && (access.address & 1) != lane {
        let half = if lane == 1 { "odd" } else { "even" };
        let message = format!(
            "this is the other half of the bus: the {} answers at {half} addresses alone; its register is at ${:X}",
            chip.name,
            if lane == 1 { access.address | 1 } else { access.address & !1 }
        );
        return Some(Finding::new("serial-012", access.at, message));
    }
    let offset = port.offset(access.address)?;
    let at = || chip.at(offset, port.channel).map(|it| it.0);
    let readable: Vec<_> = at().filter(|it| it.can_read).collect();
    let writable: Vec<_> = at().filter(|it| it.can_write).collect();
    // What the source calls it.
    let called = symbol_meaning(program, port, named, access, offset);
    match access.kind {
        AccessKind::ReadWrite => {
            let instruction = access.instruction.to_ascii_uppercase();
            let effect = readable.iter().find_map(|it| Some((it, it.reads.as_ref()?)));
            let is_other = readable.iter().all(|it| !it.can_write) && !writable.is_empty() && !readable.is_empty();
            let what = match (effect, is_other) {
                (Some((register, effect)), _) => format!("the read of {} {effect}", register.name),
                (None, true) => format!(
                    "it reads {} and writes {}, which is another register",
                    readable.first()?.name,
                    writable.first()?.name
                ),
                (None, false) => {
                    let differs = readable.iter().find_map(|it| Some((it, it.differs.as_ref()?)))?;
                    format!("{}: {}", differs.0.name, differs.1)
                }
            };
            let message =
                format!("{instruction} reads before it writes on the 68000: {what}; write the whole value with MOVE");
            Some(Finding::new("serial-013", access.at, message))
        }
        AccessKind::Write => {
            if let Some(register) = called.filter(|it| !it.can_write) {
                let other = writable.first().map_or_else(|| "nothing".to_owned(), |it| it.name.clone());
                let message = format!(
                    "{} ({}) can only be read: a write to its address reaches {other}",
                    register.name, register.title
                );
                return Some(Finding::new("serial-009", access.at, message));
            }
            let register = readable.first().filter(|_| writable.is_empty())?;
            let message =
                format!("{} ({}) can only be read: the chip takes nothing here", register.name, register.title);
            Some(Finding::new("serial-009", access.at, message))
        }
        AccessKind::Read => {
            let register = called.filter(|it| !it.can_read)?;
            let other = readable.first();
            let effect = other.and_then(|it| it.reads.as_ref()).map_or_else(String::new, |it| format!(", which {it}"));
            let other = other.map_or_else(|| "nothing".to_owned(), |it| it.name.clone());
            let message = format!(
                "{} ({}) can only be written: a read of its address gives {other}{effect}; keep a copy of what was written in RAM",
                register.name, register.title
            );
            Some(Finding::new("serial-009", access.at, message))
        }
    }
}

/// The register that the operand's name means, where it says one, and no other name for the same address fits better.
fn symbol_meaning(
    program: &Program,
    port: &Port,
    named: &NamedRegisters,
    access: &Access,
    offset: u32,
) -> Option<&'static reveille_decoders::serial::Register> {
    let file = program.file(access.at.place.file)?;
    let (_, _, text) = file.at(access.at.place.chunk, access.at.place.line);
    let operand = text.get(access.at.span.range())?;
    let words = operand.split(|it: char| !it.is_ascii_alphanumeric() && it != '_');
    let symbols = words.filter_map(|it| program.names().find(it)).filter_map(|it| named.registers.get(&it));
    let own = symbols.flatten().filter(|it| std::ptr::eq(it.chip, port.chip));
    let mut own = own.filter(|it| it.register.places.iter().any(|place| place.1 == offset));
    own.next().map(|it| it.register)
}

/// What the machine file says of its serial ports and no chip has.
pub(crate) fn machine_findings(
    serial: &[(reveille_machine::Serial, Evidence)],
    place: &dyn Fn(&std::ops::Range<usize>) -> Option<Evidence>,
) -> Vec<Finding> {
    let mut found = Vec::new();
    let known = || reveille_decoders::serial::chips().iter();
    for (entry, _) in serial {
        let Some(chip) = reveille_decoders::serial::chip(&entry.chip.value) else {
            let names: Vec<&str> = known().map(|it| it.name.as_str()).collect();
            let mut message =
                format!("`{}` is no serial chip that is known; known are {}", entry.chip.value, names.join(", "));
            if let Some(near) = nearest(&entry.chip.value, names.iter().copied()) {
                message = format!("`{}` is no serial chip that is known; did you mean `{near}`?", entry.chip.value);
            }
            found.extend(place(&entry.chip.span).map(|at| Finding::new("machine-004", at, message)));
            continue;
        };
        if let Some(channel) = &entry.channel
            && chip.channel(&channel.value).is_none()
        {
            let message =
                format!("the {} has no channel `{}`; it has {}", chip.name, channel.value, chip.channels.join(" and "));
            found.extend(place(&channel.span).map(|at| Finding::new("machine-004", at, message)));
        }
        if let Some(variant) = &entry.variant
            && chip.variant(&variant.value).is_none()
        {
            let names: Vec<&str> = chip.variants.iter().map(|it| it.name.as_str()).collect();
            let has = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            let message = format!("the {} has no variant `{}`; it has {has}", chip.name, variant.value);
            found.extend(place(&variant.span).map(|at| Finding::new("machine-004", at, message)));
        }
    }
    found
}
