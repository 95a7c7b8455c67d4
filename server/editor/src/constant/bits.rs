//! Masks as bits, and equates that belong together.

use reveille_cpu::Kind;
use reveille_program::{Definition, DefinitionKind, Place, Value, assemble, references};
use reveille_source::{LineKind, Meaning, Operation, TokenKind};

use crate::lookup::{Spot, Thing};

/// So many uses of a name are looked at.
const MOST_USES: usize = 50;

/// The most members of a family that are shown.
const MOST_MEMBERS: usize = 12;

/// What is told of a mask, and of an equate among others.
pub(super) fn notes(spot: &Spot<'_>, thing: &Thing) -> Vec<String> {
    let definition = spot.definition().map(|it| it.1);
    let equate = definition.filter(|it| matches!(it.kind, DefinitionKind::Equate | DefinitionKind::Set));
    let mut found: Vec<String> = mask(spot, thing, equate.as_ref()).into_iter().collect();
    found.extend(equate.and_then(|it| family(spot, &it)));
    found
}

/// The bits of a constant that AND, OR or EOR take, or of an equate that they use.
fn mask(spot: &Spot<'_>, thing: &Thing, equate: Option<&Definition>) -> Option<String> {
    if let Thing::Token(TokenKind::Number | TokenKind::Name, _) = thing
        && let Some((value, size)) = masked(spot, spot.place)
    {
        return Some(bits(value & size));
    }
    let equate = equate?;
    let Value::Number(value) = equate.value else { return None };
    let (_, uses) = references(spot.model.program(), spot.unit()?, equate);
    let is_mask = uses.iter().take(MOST_USES).any(|it| masked(spot, it.0).is_some_and(|it| it.0 == value));
    is_mask.then(|| bits(value & 0xffff_ffff))
}

/// The constant of a line that takes one bit by bit, and the ones of its size.
fn masked(spot: &Spot<'_>, place: Place) -> Option<(i64, i64)> {
    let program = spot.model.program();
    let file = program.file(place.file)?;
    let (_, line, _) = file.at(place.chunk, place.line);
    let Operation::Instruction(mnemonic) = line.op.get() else { return None };
    if !matches!(mnemonic.instruction.name, "and" | "andi" | "or" | "ori" | "eor" | "eori") {
        return None;
    }
    let found = assemble(program, spot.unit()?, place)?;
    let size = match found.choice.size.bytes() {
        1 => 0xff,
        2 => 0xffff,
        _ => 0xffff_ffff,
    };
    (found.operands[0].kind == Kind::Immediate).then_some((found.operands[0].value, size))
}

/// The bits that are set, from the top: `bits 7, 3-0`.
fn bits(value: i64) -> String {
    let set: Vec<u32> = (0..32).rev().filter(|bit| value >> bit & 1 == 1).collect();
    let ranges = set.chunk_by(|a, b| *a == b + 1).filter_map(|it| {
        let (first, last) = (it.first()?, it.last()?);
        Some(if first == last { first.to_string() } else { format!("{first}-{last}") })
    });
    match set.as_slice() {
        [] => "no bit".to_owned(),
        [only] => format!("bit {only}"),
        _ => format!("bits {}", ranges.collect::<Vec<_>>().join(", ")),
    }
}

/// The equates in the lines around one whose names begin alike: of three or more, the one among its likes.
fn family(spot: &Spot<'_>, equate: &Definition) -> Option<String> {
    let program = spot.model.program();
    let unit = spot.unit()?;
    let file = program.file(equate.place.file)?;
    let own = file.line_number(equate.place);
    let is_equate = |number: &usize| {
        let Some(place) = file.place(*number) else { return false };
        let (_, line, _) = file.at(place.chunk, place.line);
        let is_equate = line.op.directive().is_some_and(|it| matches!(it.meaning, Meaning::Equate | Meaning::Set));
        line.kind == LineKind::Statement && is_equate && !line.label.is_empty()
    };
    let first = (0..own).rev().take(64).take_while(is_equate).last().unwrap_or(own);
    let last = (own..own + 64).take_while(is_equate).last()?;
    let own_name = program.names().text(equate.symbol).to_string();
    let members: Vec<(String, i64)> = (first..=last)
        .filter_map(|it| {
            let place = file.place(it)?;
            let (_, line, text) = file.at(place.chunk, place.line);
            let found = unit.find(program, line.label.of(text)).filter(|it| it.place == place)?;
            Some((line.label.of(text).to_owned(), found.value.number()?))
        })
        .collect();
    // The longest beginning that three or more share.
    let share = |length: usize| {
        let stem = own_name.get(..length)?;
        let own: Vec<&(String, i64)> =
            members.iter().filter(|it| it.0.starts_with(stem) && it.0.len() > length).collect();
        (own.len() >= 3).then_some(own)
    };
    let members = (2..own_name.len()).rev().find_map(share)?;
    if members.len() > MOST_MEMBERS {
        return None;
    }
    let shown = |it: &&(String, i64)| {
        let value = if (0..10).contains(&it.1) { it.1.to_string() } else { format!("${:X}", it.1 & 0xffff_ffff) };
        format!("`{}` {value}", it.0)
    };
    Some(format!("one of {}", members.iter().map(shown).collect::<Vec<_>>().join(", ")))
}

#[cfg(test)]
mod tests {
    use super::bits;

    #[test]
    fn bits_are_told_from_the_top() {
        assert_eq!(bits(0x8f), "bits 7, 3-0");
        assert_eq!(bits(0x20), "bit 5");
        assert_eq!(bits(0x8000_0001), "bits 31, 0");
        assert_eq!(bits(0), "no bit");
    }
}
