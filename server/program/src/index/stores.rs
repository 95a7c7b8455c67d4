//! Instructions that store a long word at a fixed address below $400, where the exception vectors are.

use reveille_source::{Dialect, Line};

use super::Use;
use crate::expression::{Alone, evaluate};
use crate::unit::{Place, Unit};
use crate::{Program, Value};

/// The address behind the last vector.
const END: i64 = 0x400;

/// Where the destination of a MOVE.L starts, if it can be an absolute address below $400: a constant or an address register is stored, and
/// the destination is a low number, or has a name in it.
pub(super) fn low_destination(text: &str, line: &Line, dialect: Dialect) -> Option<u16> {
    let field = line.operands.range();
    let operands = &text[field.clone()];
    let source = operands.trim_start_matches('%').as_bytes();
    let is_source = matches!(source, [b'#' | b'&', ..] | [b'a' | b'A', b'0'..=b'7', b',', ..]);
    if !is_source {
        return None;
    }
    let comma = operands.rfind(',')?;
    let start = comma + 1 + operands[comma + 1..].bytes().take_while(|it| *it == b' ').count();
    let own = operands[start..].trim_end();
    // `($64).W` and `$64.W` are what stands in them.
    let sized = own.to_ascii_lowercase();
    let bare = match sized.strip_suffix(".w").or_else(|| sized.strip_suffix(".l")).or_else(|| sized.strip_suffix(":w"))
    {
        Some(rest) => &own[..rest.len()],
        None => own,
    };
    let (inside, skipped) = match bare.strip_prefix('(').and_then(|it| it.strip_suffix(')')) {
        Some(inside) => (inside, 1),
        None => (bare, 0),
    };
    let is_register = reveille_source::register_named(inside, dialect).is_some();
    let is_expression = inside.bytes().next().is_some_and(|it| it == b'$' || it == b'_' || it.is_ascii_alphanumeric());
    if is_register || !is_expression || inside.contains('(') {
        return None;
    }
    let start = field.start + start + skipped;
    let mut literal = Alone::default();
    let value = evaluate(text, start..start + inside.len(), dialect, &mut literal).number();
    let is_low = literal.needs_more || value.is_some_and(|it| (0..END).contains(&it));
    is_low.then_some(start as u16)
}

/// The lines of a unit that may store a long word below $400: the destination is a low number, or begins with a name whose value is one.
#[must_use]
pub fn low_stores(program: &Program, unit: &Unit) -> Vec<Place> {
    let mut found = Vec::new();
    for id in unit.files() {
        let Some(file) = program.file(*id) else { continue };
        for (chunk, indexed) in file.indexed.iter().enumerate() {
            for (line, start) in &indexed.low_stores {
                let first = indexed.uses.partition_point(|it| it.line < *line);
                let own = indexed.uses[first..].iter().take_while(|it| it.line == *line);
                let name = own.filter(|it| it.start >= *start).min_by_key(|it| it.start);
                let value = |it: &Use| unit.get_or_folded(program, it.symbol).map(|it| it.value);
                let is_low = name.is_none_or(|it| matches!(value(it), Some(Value::Number(0..END))));
                let place = Place { file: *id, chunk: chunk as u32, line: *line };
                if is_low && unit.is_judged(place) {
                    found.push(place);
                }
            }
        }
    }
    found
}
