//! The numbers that program files begin with: what a source looks for when it compares the start of a file with one.

use std::fmt::Write;
use std::ops::Range;

use reveille_decoders::program_header::{HeaderKind, magic_kind};
use reveille_program::DefinitionKind;
use reveille_source::{Meaning, Operation, TokenKind};

use crate::lookup::{Spot, Thing};

/// Words of a name or a comment that say that a small number is one of these. Common practice, no source.
const WORDS: &[&str] = &["magic", "header", "hdr", "a.out", "aout", "exec", "object"];

/// What the line does with the number.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Use {
    /// Compares something with it.
    Compares,
    /// Lays it down, or gives it a name.
    Has,
}

/// What is told of a number that program files begin with.
pub(super) fn note(spot: &Spot<'_>, thing: &Thing) -> Option<String> {
    let (value, text, words) = match thing {
        Thing::Label(range) | Thing::Token(TokenKind::Name, range) => named(spot).or_else(|| plain(spot, range))?,
        Thing::Token(TokenKind::Number, range) => plain(spot, range)?,
        _ => return None,
    };
    let number = u32::try_from(value).ok()?;
    let kind = magic_kind(&number.to_be_bytes())?;
    // $601A is hardly anything else; 0407 and its like are numbers as any other.
    let is_rare = kind.magic >> 8 == 0x60;
    let octal = format!("{:o}", kind.magic);
    let is_said = WORDS.iter().any(|it| words.contains(it)) || text.trim_start_matches(['0', '@', 'o', 'q']) == octal;
    let used = used(spot)?;
    if !(is_rare || is_said || used == Use::Compares) {
        return None;
    }
    let lead =
        if is_rare || is_said { "program files begin with it" } else { "if it is held against the start of a file" };
    Some(format!("{lead}: {}", table(kind)))
}

/// What the line does; none where it does what no check of a header does.
fn used(spot: &Spot<'_>) -> Option<Use> {
    match spot.line.op.get() {
        Operation::Instruction(it) if it.instruction.name.starts_with("cmp") && spot.line.size != b'b' => {
            Some(Use::Compares)
        }
        Operation::Directive(it) => match it.meaning {
            Meaning::Equate | Meaning::Set | Meaning::ConstantsOf(2 | 4) => Some(Use::Has),
            Meaning::Constants if spot.line.size != b'b' => Some(Use::Has),
            _ => None,
        },
        Operation::Assignment => Some(Use::Has),
        _ => None,
    }
}

/// The value of a constant, how it is written, and what its name and comments say.
fn named(spot: &Spot<'_>) -> Option<(i64, String, String)> {
    let (_, definition, _) = spot.definition()?;
    if !matches!(definition.kind, DefinitionKind::Equate | DefinitionKind::Set) {
        return None;
    }
    let program = spot.model.program();
    let file = program.file(definition.place.file)?;
    let (_, line, text) = file.at(definition.place.chunk, definition.place.line);
    let words = format!("{} {}", program.names().text(definition.symbol), line.comment.of(text));
    Some((definition.value.number()?, line.operands.of(text).trim().to_owned(), words.to_ascii_lowercase()))
}

/// The same of a number that is an operand by itself.
fn plain(spot: &Spot<'_>, range: &Range<usize>) -> Option<(i64, String, String)> {
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let operands = chunk.operands(spot.line);
    let operand = operands.into_iter().find(|it| it.start <= range.start && range.end <= it.end)?;
    let whole = spot.text.get(operand.clone())?;
    let start = operand.start + usize::from(whole.starts_with(['#', '&']) && operand.start < range.start);
    let value = spot.unit()?.value(spot.model.program(), spot.place, start..operand.end).number()?;
    let words = format!("{} {}", spot.line.label.of(spot.text), spot.line.comment.of(spot.text));
    Some((value, spot.text.get(start..operand.end)?.to_owned(), words.to_ascii_lowercase()))
}

/// A header's fields.
fn table(kind: &HeaderKind) -> String {
    let mut text = format!(
        "{}, header of {} bytes\n\n| byte | bytes | field | what it is |\n|---|---|---|---|\n",
        kind.title,
        kind.header_bytes()
    );
    for it in kind.fields {
        let _ = writeln!(text, "| ${:02X} | {} | `{}` | {} |", it.offset, it.bytes, it.name, it.meaning);
    }
    let _ = write!(text, "\n{}\n\nSource: {}", kind.note, kind.source);
    text
}
