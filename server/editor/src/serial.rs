//! Serial ports in a hover: what a register is, what a value sets, what a line is set to, what a constant selects.

use std::fmt::Write;
use std::ops::Range;

use reveille_decoders::serial::{Chip, Register};
use reveille_facts::{ClockFrom, Evidence, FamilyFact, LineFact, Port, Selects};
use reveille_program::{Value, uses_of};
use reveille_source::TokenKind;

use crate::lookup::{Spot, Thing};

/// The most members of a family that a hover shows.
const MOST_MEMBERS: usize = 16;

/// What is to be told of serial ports where something stands; none if it has nothing to do with them.
pub(crate) fn hover(spot: &Spot<'_>, thing: &Thing) -> Option<String> {
    let mut told: Vec<String> = Vec::new();
    let range = match thing {
        Thing::Operation(range) | Thing::Label(range) | Thing::Token(_, range) | Thing::Operand(range) => range,
        Thing::Comment(_) => return None,
    };
    let is_operation = matches!(thing, Thing::Operation(_));
    let touches = |at: Evidence| {
        at.place == spot.place
            && (is_operation || at.span.range().start <= range.end && range.start <= at.span.range().end)
    };
    if spot.line.op.is_instruction() || spot.line.op.directive().is_none() {
        let uses = spot.model.register_uses(spot.place);
        for it in uses.filter(|it| touches(it.at) || it.value_at.is_some_and(touches)) {
            // Of a read before a write the write tells all; the finding tells the rest.
            let text = match it.is_write {
                true => written(&it.name, it.chip, it.register, it.value),
                false => read(&it.name, it.chip, it.register),
            };
            if !told.contains(&text) {
                told.push(text);
            }
        }
    }
    let (mut of_line, mut is_setting) = (None, false);
    for (line, it) in spot.model.line_writes(spot.place) {
        of_line = of_line.or(Some(line));
        is_setting |= it.register.can_write && !it.register.fields.is_empty();
        if spot.line.op.is_instruction() || !(touches(it.at) || it.value_at.is_some_and(touches)) {
            continue;
        }
        let text = written(&line.name, line.chip, it.register, it.value);
        if !told.contains(&text) {
            told.push(text);
        }
    }
    if let Some(line) = of_line.filter(|_| is_setting && !told.is_empty()) {
        told.push(setting(line));
    }
    told.extend(name(spot, thing, range));
    (!told.is_empty()).then(|| told.join("\n\n"))
}

/// What a register and a value written to it say.
fn written(name: &str, chip: &Chip, register: &Register, value: Option<u32>) -> String {
    let mut text = format!("**{}** of `{name}` ({}), {}", register.name, chip.name, register.title);
    match value {
        Some(value) => {
            let digits = 2 * chip.register_bytes as usize;
            let _ = write!(text, ": ${value:0digits$X}");
            for field in &register.fields {
                let own = field.of(value);
                let _ = write!(text, "\n- bits {}, {}: {}", field.bits(), field.title, field.shown(own));
            }
        }
        None => text.push_str(": a value that is not known here"),
    }
    if let Some(effect) = &register.writes {
        let _ = write!(text, "\n\nA write {effect}.");
    }
    text
}

/// What a read of a register gives and does.
fn read(name: &str, chip: &Chip, register: &Register) -> String {
    let mut text = format!("**{}** of `{name}` ({}), {}", register.name, chip.name, register.title);
    for (bit, flag) in register.flags.iter().enumerate().filter(|it| !it.1.is_empty()) {
        let _ = write!(text, "\n- bit {bit}: {flag}");
    }
    if let Some(effect) = &register.reads {
        let _ = write!(text, "\n\nA read {effect}.");
    }
    if let Some(differs) = &register.differs {
        let _ = write!(text, "\n\nMind that {differs}.");
    }
    text
}

/// What a line is set to, and how exact that is.
pub(crate) fn setting(line: &LineFact) -> String {
    let mut text = format!("`{}` is set to **{}**", line.name, line.words());
    if let Some(subject) = &line.subject {
        let _ = write!(text, " by `{subject}`");
    }
    let rates: Vec<String> = line
        .rates()
        .filter_map(|(verb, rate)| {
            let exact = rate.exact?;
            let error = rate.error().map_or_else(String::new, |it| format!(", {it:+.2} %"));
            Some(format!("{verb} at {exact:.1} bit/s{error} ({})", rate.text))
        })
        .collect();
    match rates.as_slice() {
        [rx, tx] if rx.split_once(' ').map(|it| it.1) == tx.split_once(' ').map(|it| it.1) => {
            let _ = write!(text, "; sends and receives {}", rx.split_once(' ').map_or("", |it| it.1));
        }
        rates if !rates.is_empty() => {
            let _ = write!(text, "; {}", rates.join("; "));
        }
        _ => (),
    }
    let _ = write!(text, "; {}", clock_words(line));
    text
}

/// What clocks a line's chip, in words.
#[must_use]
pub fn clock_words(line: &LineFact) -> String {
    let what = line.chip.clock_is.as_deref().unwrap_or("clock");
    let from = match line.clock.from {
        ClockFrom::MachineFile => "by the machine file",
        ClockFrom::Comment => "by a comment",
        ClockFrom::Constant => "by a constant",
        ClockFrom::Usual => "assumed, nothing in the source or the machine file says it",
    };
    format!("{what} {} Hz ({from})", line.clock.hertz)
}

/// What a name has to do with serial ports: a chip's address, a register, a constant of a family.
fn name(spot: &Spot<'_>, thing: &Thing, range: &Range<usize>) -> Option<String> {
    if !matches!(thing, Thing::Label(_) | Thing::Token(TokenKind::Name, _)) {
        return None;
    }
    let (_, definition, _) = spot.definition()?;
    let Value::Number(value) = definition.value else { return None };
    let families = || spot.model.families(spot.place.file);
    if let Some(family) = families().find(|it| it.member(definition.symbol).is_some()) {
        return Some(constant(spot, family, definition.symbol, range));
    }
    let port = spot.model.ports(spot.place.file).find(|it| it.base == value || it.base == value & 0x00ff_ffff)?;
    Some(chip(spot, port))
}

/// A chip at its address, with what its lines are set to.
fn chip(spot: &Spot<'_>, port: &Port) -> String {
    let chip = port.chip;
    let mut text =
        format!("{}: {} at ${:06X}, a register every {} bytes", chip.name, chip.title, port.base, port.stride);
    for line in spot.model.lines().filter(|it| it.address == Some(port.base)) {
        let _ = write!(text, "\n\n{}", setting(line));
    }
    text
}

/// What a constant of a family selects, what else there is, and where it is used.
fn constant(spot: &Spot<'_>, family: &FamilyFact, symbol: reveille_program::Symbol, range: &Range<usize>) -> String {
    let mut text = String::new();
    if let Some(member) = family.member(symbol) {
        let _ = write!(
            text,
            "selects **{}** in {} of the {} ({})",
            member.selects.words(),
            family.register.name,
            family.chip.name,
            family.title
        );
        if let (Some(exact), Some(error), Some(clock)) = (member.exact, member.error(), family.clock) {
            let _ = write!(text, ": {exact:.1} bit/s of {} Hz, {error:+.2} %", clock.hertz);
        }
    }
    let others: Vec<String> = family
        .members
        .iter()
        .filter(|it| it.symbol != symbol)
        .take(MOST_MEMBERS)
        .map(|it| format!("`{}` {}", it.name, it.selects.words()))
        .collect();
    if !others.is_empty() {
        let _ = write!(text, "\n\nThe family has also {}", others.join(", "));
    }
    if let Some(together) = together(spot, family, range) {
        let _ = write!(text, "\n\n{together}");
    }
    let program = spot.model.program();
    if let Some(unit) = spot.unit() {
        let uses = uses_of(program, unit, &std::iter::once(symbol).collect());
        let first = uses.first().and_then(|it| Some((program.file(it.0.file)?, it.0)));
        if let Some((file, place)) = first {
            let times = if uses.len() == 1 { "once".to_owned() } else { format!("{} times", uses.len()) };
            let _ =
                write!(text, "\n\nUsed {times}, first in {}:{}", file.path().display(), file.line_number(place) + 1);
        } else {
            text.push_str("\n\nUsed nowhere");
        }
    }
    text
}

/// What several constants of one register select together, where an operand puts them together.
fn together(spot: &Spot<'_>, family: &FamilyFact, range: &Range<usize>) -> Option<String> {
    let (unit, program) = (spot.unit()?, spot.model.program());
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let operand = chunk.operands(spot.line).into_iter().find(|it| it.start <= range.start && range.end <= it.end)?;
    let shown = &spot.text[operand.clone()];
    let start = operand.start + usize::from(shown.starts_with('#'));
    let value = unit.value(program, spot.place, start..operand.end).number()?;
    let families: Vec<&FamilyFact> = spot.model.families(spot.place.file).collect();
    let names =
        shown.split(|it: char| !reveille_source::is_word_byte(it as u8)).filter_map(|it| program.names().find(it));
    let members: Vec<_> = names.filter_map(|it| families.iter().find_map(|own| Some((own, own.member(it)?)))).collect();
    if members.len() < 2 {
        return None;
    }
    let rate = members.iter().find_map(|it| match it.1.selects {
        Selects::Rate(rate) => Some(format!("{rate} ")),
        _ => None,
    });
    let frame = family.frame_of(value).or_else(|| members.iter().find_map(|it| it.0.frame_of(value)))?;
    Some(format!("Together ${value:02X}: {}{frame}", rate.unwrap_or_default()))
}
