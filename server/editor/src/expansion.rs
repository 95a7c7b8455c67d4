//! What a line stands for: the lines of a macro's call, of a repetition, or of names of the preprocessor, with their bytes.

use std::fmt::Write;

use reveille_facts::Evidence;
use reveille_program::{Listed, Place, Program, Unit, definition_span, list_call};

use crate::lookup::Spot;

/// Lines that a hover shows.
const SHOWN: usize = 16;

/// Bytes of a line that a hover shows.
const SHOWN_BYTES: usize = 8;

/// The lines that stand for the line of a spot, as Markdown; none if it stands for itself.
pub(crate) fn hover(spot: &Spot<'_>) -> Option<String> {
    let (unit, program) = (spot.unit()?, spot.model.program());
    // Within a macro's body the first call tells.
    let place = if unit.is_active(spot.place) { spot.place } else { unit.first_made_from(program, spot.place)? };
    let lines = list_call(program, unit, place);
    if lines.is_empty() {
        return None;
    }
    let bytes: usize = lines.iter().map(|it| it.bytes.len() + it.reserved as usize).sum();
    let count = |number: usize, name: &str| format!("{number} {name}{}", if number == 1 { "" } else { "s" });
    let mut text = format!("stands for {}, {}:\n```m68k\n", count(lines.len(), "line"), count(bytes, "byte"));
    for line in lines.iter().take(SHOWN) {
        let Some(file) = unit.file(program, line.place.file) else { continue };
        let (_, _, source) = file.at(line.place.chunk, line.place.line);
        let _ = writeln!(text, "{}", row(line, source));
    }
    if lines.len() > SHOWN {
        let _ = writeln!(text, "... and {} more", lines.len() - SHOWN);
    }
    text.push_str("```");
    Some(text)
}

fn row(line: &Listed, source: &str) -> String {
    let mut bytes = String::new();
    for byte in line.bytes.iter().take(SHOWN_BYTES) {
        let _ = match byte {
            Some(byte) => write!(bytes, "{byte:02X}"),
            None => write!(bytes, "??"),
        };
    }
    if line.bytes.len() > SHOWN_BYTES {
        bytes.push('…');
    }
    let address = match line.address {
        Some(address) => format!("{:06X}", address & 0xff_ffff),
        None => "??????".to_owned(),
    };
    format!("{address}  {bytes:<17} {}", source.trim_end())
}

/// Where a definition stands in the source: itself, or for one that an expansion makes the call and the line that it was made from.
pub(crate) fn written(program: &Program, unit: &Unit, place: Place) -> Vec<Evidence> {
    let Some((call, own)) = unit.expanded_from(program, place) else {
        return vec![Evidence { place, span: definition_span(program, place) }];
    };
    let span = |place: Place, is_call: bool| {
        let file = program.file(place.file)?;
        let (_, line, _) = file.at(place.chunk, place.line);
        let operation = Some(line.operation).filter(|it| is_call && !it.is_empty());
        Some(Evidence { place, span: operation.unwrap_or_else(|| definition_span(program, place)) })
    };
    let own = own.filter(|it| *it != call).and_then(|it| span(it, false));
    span(call, true).into_iter().chain(own).collect()
}
