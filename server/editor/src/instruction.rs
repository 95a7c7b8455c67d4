//! What an instruction is, costs and changes.

use std::fmt::Write;

use reveille_cpu::{Cpu, EXCEPTIONS, Kind, Slot, Time, When, leaves, written};
use reveille_facts::Model;
use reveille_program::{Assembled, DefinitionKind, Place, SourceFile, Unit, Value, assemble};
use reveille_source::{Line, Meaning, Operation};

use crate::lookup::Spot;

/// The instruction at a spot: its operation, its words, what it costs and what it changes.
pub(crate) fn hover(spot: &Spot<'_>) -> Option<String> {
    let Operation::Instruction(mnemonic) = spot.line.op.get() else { return None };
    let name = spot.line.operation.of(spot.text);
    let program = spot.model.program();
    let settings = spot.settings();
    let found = spot.unit().and_then(|unit| Some((unit, assemble(program, unit, spot.place)?)));
    let Some((unit, found)) = found else {
        // It cannot be encoded: what it could be.
        let mut text = format!("```m68k\n{name}\n```\n---\n{}\n", mnemonic.summary);
        for (form, instruction) in reveille_cpu::forms_of(mnemonic, settings.cpu) {
            let _ = write!(text, "\n- `{}`", form_text(instruction.name, mnemonic.name, form, false).0);
        }
        return Some(text);
    };
    let choice = &found.choice;
    let mut shown = String::new();
    let stem =
        if choice.instruction.name == mnemonic.instruction.name { mnemonic.name } else { choice.instruction.name };
    let _ = write!(shown, "{stem}");
    if !choice.form.sizes.is_empty() {
        let _ = write!(shown, ".{}", choice.size.letter());
    }
    let operands = spot.line.operands.of(spot.text);
    let mut text = format!("```m68k\n{shown} {operands}\n```\n---\n{}\n", mnemonic.summary);
    if !choice.instruction.operation.is_empty() {
        let _ = writeln!(text, "\n{}", code(choice.instruction.operation));
    }
    let location = unit.location(program, spot.place);
    let _ = write!(text, "\n`{}`", words(&found));
    if let Some(address) = unit.absolute(location) {
        let _ = write!(text, " at ${address:06X}");
    }
    let _ = writeln!(text, ", {} bytes", found.bytes.len());
    let _ = writeln!(text, "\n{}", cost(&found.time, settings.clock, settings.cpu));
    let _ = writeln!(text, "\n{}", flags(choice.form.flags));
    let why = reasons(spot, unit, &found);
    if !why.is_empty() {
        let _ = writeln!(text, "\n{}", why.join("; "));
    }
    if choice.form.is_privileged_on(settings.cpu) {
        let _ = writeln!(text, "\nPrivileged: in user state it takes vector 8.");
    }
    if let Some((what, clocks)) = trap(choice.instruction.name) {
        let _ = writeln!(text, "\nThe exception ({what}) takes {} cycles instead.", clocks);
    }
    let _ = write!(text, "\n{}", choice.instruction.description);
    Some(text)
}

fn code(text: &str) -> String {
    format!("`{text}`")
}

/// Words in hex.
fn words(found: &Assembled) -> String {
    let mut text = String::new();
    for (at, byte) in found.bytes.iter().enumerate() {
        if at > 0 && at % 2 == 0 {
            text.push(' ');
        }
        let _ = match byte {
            Some(byte) => write!(text, "{byte:02X}"),
            None => write!(text, "??"),
        };
    }
    text
}

/// Cycles, bus cycles and, with a clock, microseconds.
pub(crate) fn cost(time: &Time, clock: Option<u32>, cpu: Cpu) -> String {
    let near = if time.is_near { "about " } else { "" };
    let (least, most) = (time.least.cycles.min(time.most.cycles), time.least.cycles.max(time.most.cycles));
    let range = |least: u16, most: u16| {
        if least == most { least.to_string() } else { format!("{least} to {most}") }
    };
    let mut text = format!("**{near}{} cycles** on the {}", range(least, most), cpu.name());
    if let Some(clock) = clock.filter(|it| *it > 0) {
        let micro = |cycles: u16| f64::from(cycles) * 1e6 / f64::from(clock);
        let _ = match least == most {
            true => write!(text, ", {:.2} us", micro(least)),
            false => write!(text, ", {:.2} to {:.2} us", micro(least), micro(most)),
        };
    }
    let reads = range(time.least.reads.min(time.most.reads), time.least.reads.max(time.most.reads));
    let writes = range(time.least.writes.min(time.most.writes), time.least.writes.max(time.most.writes));
    let _ = write!(text, "; bus cycles: {reads} read, {writes} written");
    text
}

/// What happens to each flag.
fn flags(flags: &str) -> String {
    if flags == "-----" {
        return "Flags: none changes".into();
    }
    let parts = "XNZVC".chars().zip(flags.chars()).filter(|it| it.1 != '-');
    let parts = parts.map(|(name, effect)| match effect {
        '*' => format!("{name} by the result"),
        'U' => format!("{name} undefined"),
        digit => format!("{name} = {digit}"),
    });
    format!("Flags: {}", parts.collect::<Vec<_>>().join(", "))
}

/// The exception that an instruction may take, and its time.
fn trap(name: &str) -> Option<(&'static str, u16)> {
    let which = match name {
        "chk" => "CHK instruction trap",
        "divs" | "divu" => "divide by zero",
        "trapv" => "TRAPV instruction trap",
        _ => return None,
    };
    EXCEPTIONS.iter().find(|it| it.0 == which).map(|it| (it.0, it.1.cycles))
}

/// Why the line has this form, size and length, where it left them open.
fn reasons(spot: &Spot<'_>, unit: &Unit, found: &Assembled) -> Vec<String> {
    let mut why = Vec::new();
    let (choice, mnemonic) = (&found.choice, found.mnemonic);
    let own = choice.instruction.name;
    let is_branch = mnemonic.instruction.forms[0].slots[0] == Slot::Branch;
    if own != mnemonic.instruction.name {
        let quick = mnemonic.instruction.variants.iter().any(|it| it.0 == own && it.1 == When::Written);
        let name = own.to_ascii_uppercase();
        why.push(match quick {
            true => format!("{name}: the constant is known here and small enough"),
            false => format!("{name}: the form for these operands"),
        });
    }
    if spot.line.size == 0 && is_branch && found.was_open {
        let distance = match (unit.location(spot.model.program(), spot.place), &found.operands[0]) {
            (Value::Number(here), target) => Some(target.value - here - 2),
            _ => None,
        };
        let length = match found.bytes.len() {
            2 => "short: it reaches",
            4 => "a word: the short form does not reach",
            _ => "a jump: a branch does not reach",
        };
        let length = if found.bytes.len() == 4 && distance.is_some_and(|it| (-128..=126).contains(&it) && it != 2) {
            "a word: the rule for branches without a size"
        } else {
            length
        };
        let distance = distance.map_or(String::new(), |it| format!(" ({it} bytes)"));
        why.push(format!("no size is written, {length}{distance}"));
    } else if spot.line.size == 0 && !choice.form.sizes.is_empty() {
        why.push(format!(".{}: no size is written", choice.size.letter().to_ascii_uppercase()));
    }
    for operand in &found.operands[..choice.form.operand_count()] {
        let text = match operand.kind {
            Kind::AbsoluteShort if found.was_open => "short address: the constant is known here and fits in a word",
            Kind::AbsoluteLong if found.was_open && !is_branch => match operand.value {
                -0x8000..=0x7fff => "long address: one of the program, or of a name that is defined further down",
                _ => "long address: it does not fit in a word",
            },
            Kind::PcDisplacement if found.was_open => "relative to PC: nobody has placed this code, and it reaches",
            _ => continue,
        };
        why.push(text.into());
    }
    why
}

/// What straight-line code above a spot last wrote to a register, if that can be told.
pub(crate) fn last_written(spot: &Spot<'_>, mask: u16) -> Option<String> {
    /// So many lines above are looked at.
    const MOST_LINES: usize = 400;
    let unit = spot.unit()?;
    let program = spot.model.program();
    let own = spot.file.line_number(spot.place);
    if !spot.line.label.is_empty() {
        return None;
    }
    for number in (own.saturating_sub(MOST_LINES)..own).rev() {
        let place = spot.file.place(number)?;
        let (_, line, text) = spot.file.at(place.chunk, place.line);
        if !unit.is_active(place) {
            continue;
        }
        match line.op.get() {
            Operation::Instruction(_) => {
                let found = assemble(program, unit, place)?;
                if written(found.choice.instruction, found.choice.form, &found.operands) & mask != 0 {
                    let what = statement(line, text);
                    let value = constant(&found).map_or(String::new(), |it| format!(": {it}"));
                    return Some(format!("last written by line {}, `{what}`{value}", number + 1));
                }
                // Behind a branch or a call nobody knows what was done elsewhere.
                if leaves(found.choice.instruction) {
                    return None;
                }
            }
            Operation::MacroCall => return None,
            _ => (),
        }
        // Other code may come here.
        if !line.label.is_empty() && !is_constant(unit, place) {
            return None;
        }
    }
    None
}

fn is_constant(unit: &Unit, place: Place) -> bool {
    unit.definitions().iter().any(|it| it.place == place && it.kind != DefinitionKind::Label)
}

/// The constant that an instruction puts into a register.
fn constant(found: &Assembled) -> Option<String> {
    let first = &found.operands[0];
    let size = match found.choice.instruction.name {
        "moveq" => 0,
        "move" | "movea" if first.kind == Kind::Immediate => found.choice.size.letter() as u8,
        "clr" => return Some("0".into()),
        "lea" if matches!(first.kind, Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::PcDisplacement) => {
            return Some(format!("${:06X}", first.value));
        }
        _ => return None,
    };
    Some(crate::hover::bases(first.value, size))
}

/// A line without label and comment, with single blanks.
fn statement(line: &Line, text: &str) -> String {
    let end = line.operands.end.max(line.size_span().end).max(line.operation.end);
    let part = text.get(line.operation.start.into()..end.into()).unwrap_or("");
    part.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A routine: from a label to the last instruction before other code or data begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// Bytes of its instructions.
    pub bytes: u32,
    /// Cycles if each instruction is executed once: the least and the most.
    pub cycles: (u32, u32),
    /// How many instructions it has.
    pub instructions: u32,
}

impl Span {
    /// In words.
    #[must_use]
    pub fn text(&self, clock: Option<u32>) -> String {
        let (least, most) = self.cycles;
        let cycles = if least == most { least.to_string() } else { format!("{least} to {most}") };
        let time = clock.filter(|it| *it > 0).map_or(String::new(), |clock| {
            let micro = |cycles: u32| f64::from(cycles) * 1e6 / f64::from(clock);
            match least == most {
                true => format!(", {:.1} us", micro(least)),
                false => format!(", {:.1} to {:.1} us", micro(least), micro(most)),
            }
        });
        format!("{} bytes, {cycles} cycles{time}: each of {} instructions once", self.bytes, self.instructions)
    }
}

/// The most instructions of a routine that are added up.
const MOST_INSTRUCTIONS: u32 = 2_000;

/// The routine that starts at a line: up to the first return or jump behind which a label, data or nothing follows.
pub(crate) fn routine(model: &Model, unit: &Unit, file: &SourceFile, first: usize) -> Option<Span> {
    let program = model.program();
    let mut span = Span { bytes: 0, cycles: (0, 0), instructions: 0 };
    let mut has_ended = false;
    for number in first..file.source().line_count() {
        let place = file.place(number)?;
        let (_, line, _) = file.at(place.chunk, place.line);
        if !unit.is_active(place) {
            continue;
        }
        let is_new_label = number > first && !line.label.is_empty() && !is_local(file, place, line);
        match line.op.get() {
            Operation::Instruction(_) if !(has_ended && is_new_label) => {
                let found = assemble(program, unit, place)?;
                span.bytes += found.bytes.len() as u32;
                span.cycles.0 += u32::from(found.time.least.cycles.min(found.time.most.cycles));
                span.cycles.1 += u32::from(found.time.least.cycles.max(found.time.most.cycles));
                span.instructions += 1;
                has_ended = reveille_cpu::ends(found.choice.instruction);
                if span.instructions > MOST_INSTRUCTIONS {
                    return None;
                }
            }
            // A macro's lines are not added up.
            Operation::MacroCall => return None,
            Operation::None if !(has_ended && is_new_label) => (),
            Operation::Directive(it) if lays_nothing(it.meaning) => (),
            _ => break,
        }
    }
    (span.instructions > 0).then_some(span)
}

/// Whether a directive may stand among the instructions of a routine.
fn lays_nothing(meaning: Meaning) -> bool {
    use Meaning as M;
    matches!(
        meaning,
        M::Equate
            | M::Set
            | M::RegisterName
            | M::If(_)
            | M::Else
            | M::ElseIf
            | M::EndIf
            | M::Attribute
            | M::Listing
            | M::Message
            | M::Export
    )
}

fn is_local(file: &SourceFile, place: Place, line: &Line) -> bool {
    let (chunk, _, text) = file.at(place.chunk, place.line);
    reveille_program::is_local_label(line.label.of(text), chunk.dialect())
}

/// How a form is written, and where its operands stand in that.
pub(crate) fn form_text(
    instruction: &str,
    written: &str,
    form: &reveille_cpu::Form,
    with_size: bool,
) -> (String, Vec<std::ops::Range<usize>>) {
    let name = if instruction.ends_with("cc") || instruction == written { written } else { instruction };
    let mut text = name.to_owned();
    if with_size && !form.sizes.is_empty() {
        text.push('.');
        text.extend(form.sizes.iter().map(reveille_cpu::Size::letter));
    }
    let mut parts = Vec::new();
    for slot in form.slots.iter().filter(|it| **it != Slot::None) {
        text.push(if parts.is_empty() { ' ' } else { ',' });
        let start = text.len();
        text.push_str(&slot_text(*slot));
        parts.push(start..text.len());
    }
    (text, parts)
}

fn slot_text(slot: Slot) -> String {
    let kinds = slot.kinds();
    match slot {
        Slot::Ea(_) | Slot::MoveTo(_) if kinds.iter().count() > 1 => "<ea>".into(),
        Slot::Quick => "#1-8".into(),
        Slot::Quick8 => "#-128..127".into(),
        Slot::Vector => "#0-15".into(),
        Slot::Breakpoint => "#0-7".into(),
        Slot::Bit => "#bit".into(),
        Slot::General => "Rn".into(),
        Slot::List | Slot::ListBackwards => "list".into(),
        _ => kinds.iter().next().map_or("", Kind::spelling).to_owned(),
    }
}
