//! The listing: every line with its address, bytes and time.

use std::fmt::Write as _;
use std::io::Write;

use reveille_cpu::Time;
use reveille_facts::Model;
use reveille_program::{Definition, DefinitionKind, FileId, Listed, Place, Program, Section, Unit, list, sections};
use serde_json::ser::{CompactFormatter, Formatter};

use super::place::display_path;

/// Bytes in one row.
const ROW: usize = 6;
/// The most rows of one line; what is left is counted.
const MOST_ROWS: usize = 8;

/// The listing as text: a row has the address, up to six bytes, the cycles, the line's number and the source.
pub(crate) fn listing_text(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let program = model.program();
    for unit in model.analysis().units() {
        let mut current = None;
        let mut found = Vec::new();
        let make = |file: FileId, lines: Vec<Listed>| {
            let mut text = String::with_capacity(lines.len() * 80);
            let mut found = Vec::new();
            for line in &lines {
                sections(&mut found, line);
                row(program, unit, line, &mut text);
            }
            (file, text, found)
        };
        list(program, unit, &make, &mut |(file, text, part)| -> std::io::Result<()> {
            // The lines of an expansion stand with those of its call.
            if current != Some(file) && !text.is_empty() && program.file(file).is_some() {
                let space = if current.is_some() { "\n" } else { "" };
                writeln!(out, "{space}{}\n", display_path(model, file))?;
                current = Some(file);
            }
            join(&mut found, part);
            out.write_all(text.as_bytes())
        })?;
        summary(model, unit, &found, out)?;
    }
    Ok(())
}

/// Appends sections of the next part of a listing.
fn join(found: &mut Vec<Section>, part: Vec<Section>) {
    let mut part = part.into_iter();
    if let (Some(last), Some(first)) = (found.last_mut(), part.as_slice().first()) {
        let gap = match (last.from, first.from) {
            (Some(from), Some(next)) => next - from - last.len,
            _ => -1,
        };
        if gap == 0 || gap == 1 {
            last.len += gap + first.len;
            part.next();
        }
    }
    found.extend(part);
}

const DIGITS: &[u8; 16] = b"0123456789ABCDEF";

/// Words of bytes, with a blank between them.
fn hex(text: &mut String, bytes: &[Option<u8>]) {
    for (at, byte) in bytes.iter().enumerate() {
        if at > 0 && at % 2 == 0 {
            text.push(' ');
        }
        match byte {
            Some(byte) => {
                text.push(char::from(DIGITS[usize::from(byte >> 4)]));
                text.push(char::from(DIGITS[usize::from(byte & 15)]));
            }
            None => text.push_str("??"),
        }
    }
}

/// An address in six digits, or in eight where it needs them, and two blanks.
fn address(text: &mut String, address: i64) {
    let address = address as u32;
    let digits = if address >> 24 == 0 { 6 } else { 8 };
    for at in (0..digits).rev() {
        text.push(char::from(DIGITS[(address >> (4 * at) & 15) as usize]));
    }
    text.push_str("  ");
}

/// A number in decimal, to the right of so many columns. Rows are made by hand: they are the larger part of a listing's time.
fn decimal(text: &mut String, number: usize, width: usize) {
    let mut digits = [b' '; 20];
    let mut at = digits.len();
    let mut rest = number;
    loop {
        at -= 1;
        digits[at] = b'0' + (rest % 10) as u8;
        rest /= 10;
        if rest == 0 {
            break;
        }
    }
    let from = at.min(digits.len() - width.min(digits.len()));
    text.extend(digits[from..].iter().map(|it| char::from(*it)));
}

/// The columns of bytes in a row: three words and the blanks between.
const BYTES_WIDTH: usize = ROW * 2 + 2;

/// The columns of the cycles.
const CYCLES_WIDTH: usize = 7;

fn cycles(text: &mut String, time: Option<Time>) {
    let Some(time) = time else { return text.push_str(&BLANKS[..CYCLES_WIDTH]) };
    let (least, most) = (time.least.cycles, time.most.cycles);
    let (least, most) = (usize::from(least.min(most)), usize::from(least.max(most)));
    if least == most && !time.is_near {
        return decimal(text, least, CYCLES_WIDTH);
    }
    let near = if time.is_near { "~" } else { "" };
    let shown = if least == most { format!("{near}{least}") } else { format!("{near}{least}-{most}") };
    let _ = write!(text, "{shown:>CYCLES_WIDTH$}");
}

const BLANKS: &str = "                                ";

fn row(program: &Program, unit: &Unit, line: &Listed, text: &mut String) {
    let Some(file) = unit.file(program, line.place.file) else { return };
    let (_, it, source) = file.at(line.place.chunk, line.place.line);
    let has_place =
        !line.bytes.is_empty() || line.reserved > 0 || (!it.label.is_empty() && it.op == reveille_source::OpId::NONE);
    let place = line.address.filter(|_| has_place);
    let (first, rest) = line.bytes.split_at(line.bytes.len().min(ROW));
    match place {
        Some(place) => address(text, place),
        None if has_place => text.push_str("??????  "),
        None => text.push_str("        "),
    }
    let start = text.len();
    if line.bytes.is_empty() && line.reserved > 0 {
        let _ = write!(text, "+{}", line.reserved);
    } else {
        hex(text, first);
    }
    text.push_str(&BLANKS[..BYTES_WIDTH.saturating_sub(text.len() - start)]);
    cycles(text, line.time);
    match line.call {
        // A line that a macro made has no number of its own.
        Some(_) => text.push_str("      +  "),
        None => {
            decimal(text, file.line_number(line.place) + 1, 7);
            text.push_str("  ");
        }
    }
    tabs_to_blanks(text, source);
    text.push('\n');
    for (at, bytes) in rest.chunks(ROW).enumerate() {
        if at + 1 >= MOST_ROWS && rest.len() > MOST_ROWS * ROW {
            let _ = writeln!(text, "        ... {} bytes more", rest.len() - at * ROW);
            return;
        }
        match place {
            Some(place) => address(text, place + ((at + 1) * ROW) as i64),
            None => text.push_str("        "),
        }
        hex(text, bytes);
        text.push('\n');
    }
}

/// Tabs every eight columns of the source: its own columns, not those of the listing.
fn tabs_to_blanks(text: &mut String, source: &str) {
    let mut column = 0;
    for (at, part) in source.trim_end().split('\t').enumerate() {
        if at > 0 {
            let width = 8 - column % 8;
            text.push_str(&BLANKS[..width]);
            column += width;
        }
        text.push_str(part);
        column += if part.is_ascii() { part.len() } else { part.chars().count() };
    }
}

/// Sections and names at the end.
fn summary(model: &Model, unit: &Unit, found: &[Section], out: &mut dyn Write) -> anyhow::Result<()> {
    let program = model.program();
    let settings = unit.settings(program);
    let clock = settings.clock.map_or(String::new(), |it| {
        format!(", {} MHz, 1 cycle = {} ns", megahertz(it), 1_000_000_000 / u64::from(it.max(1)))
    });
    writeln!(out, "\nFor the {}{clock}.", settings.cpu.name())?;
    writeln!(out, "\n  from      to   bytes  starts at")?;
    for section in found {
        let place = written(model, unit, section.first);
        match section.from {
            Some(from) => {
                let to = from + section.len - 1;
                writeln!(out, "{:06X}  {:06X}{:>8}  {place}", from & 0xffff_ffff, to & 0xffff_ffff, section.len)?;
            }
            None => writeln!(out, "??????  ??????{:>8}  {place}", section.len)?,
        }
    }
    let mut names: Vec<_> = unit
        .definitions()
        .iter()
        .filter(|it| !it.symbol.is_local() && !matches!(it.kind, DefinitionKind::Macro | DefinitionKind::Text))
        .map(|it| (program.names().text(it.symbol), it))
        .collect();
    // Of a name that is set again and again the last value.
    names.reverse();
    names.sort_by(|a, b| a.0.cmp(&b.0));
    names.dedup_by(|a, b| a.0 == b.0);
    if names.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n{:<24}{:>8}  {:<9} defined at", "name", "value", "")?;
    for (name, definition) in names {
        let place = written(model, unit, definition.place);
        writeln!(out, "{name:<24}{:>8}  {:<9} {place}", value(unit, definition), kind(definition.kind))?;
    }
    Ok(())
}

/// File and line of a place; of a line in an expansion those of the call.
fn written(model: &Model, unit: &Unit, place: Place) -> String {
    let place = unit.expanded_from(model.program(), place).map_or(place, |it| it.0);
    format!("{}:{}", display_path(model, place.file), super::line_number(model, place) + 1)
}

fn megahertz(hertz: u32) -> String {
    let text = format!("{:.3}", f64::from(hertz) / 1e6);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn value(unit: &Unit, definition: &Definition) -> String {
    match unit.absolute(definition.value) {
        Some(number) if (-0x8000_0000..=0xffff_ffff).contains(&number) => format!("{:06X}", number as u32),
        Some(number) => format!("{number:X}"),
        None => "??????".into(),
    }
}

fn kind(kind: DefinitionKind) -> &'static str {
    match kind {
        DefinitionKind::Label => "label",
        DefinitionKind::Equate => "constant",
        DefinitionKind::Set => "variable",
        DefinitionKind::RegisterName => "registers",
        DefinitionKind::Macro => "macro",
        DefinitionKind::Text => "text",
        DefinitionKind::External => "external",
    }
}

/// The listing as one object a line of source: a contract with other programs.
pub(crate) fn listing_json(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let program = model.program();
    for unit in model.analysis().units() {
        let make = |file: FileId, lines: Vec<Listed>| {
            let mut text = Vec::with_capacity(lines.len() * 120);
            let file = lines.first().and_then(|it| it.call).map_or(file, |call| call.file);
            let path = display_path(model, file);
            for line in &lines {
                json_row(program, unit, &path, line, &mut text);
            }
            text
        };
        list(program, unit, &make, &mut |text| out.write_all(&text))?;
    }
    Ok(())
}

fn json_row(program: &Program, unit: &Unit, path: &str, line: &Listed, text: &mut Vec<u8>) {
    let Some(file) = unit.file(program, line.place.file) else { return };
    let (_, _, source) = file.at(line.place.chunk, line.place.line);
    let shown = line.call.unwrap_or(line.place);
    let Some(number) = program.file(shown.file).map(|file| file.line_number(shown) + 1) else { return };
    let string = |text: &mut Vec<u8>, value: &str| {
        // Writing to memory cannot fail.
        let _ = serde_json::to_writer(&mut *text, value);
    };
    text.extend_from_slice(b"{\"file\":");
    string(text, path);
    let _ = write!(text, ",\"line\":{number},\"address\":");
    let _ = match line.address {
        Some(address) => write!(text, "{address}"),
        None => CompactFormatter.write_null(&mut *text),
    };
    text.extend_from_slice(b",\"bytes\":\"");
    for byte in &line.bytes {
        let _ = match byte {
            Some(byte) => write!(text, "{byte:02x}"),
            None => write!(text, "??"),
        };
    }
    text.extend_from_slice(b"\",\"cycles\":");
    let _ = match line.time {
        Some(time) => {
            let (least, most) = (time.least.cycles, time.most.cycles);
            write!(text, "[{},{}]", least.min(most), least.max(most))
        }
        None => CompactFormatter.write_null(&mut *text),
    };
    text.extend_from_slice(b",\"source\":");
    string(text, source);
    let _ = writeln!(text, ",\"expansion\":{}}}", line.expansion);
}
