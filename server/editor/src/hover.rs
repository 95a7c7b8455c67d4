//! What stands under the cursor, in Markdown.

use std::fmt::Write;
use std::ops::Range;

use reveille_cpu::{Register, decode};
use reveille_facts::Model;
use reveille_program::{Context, Definition, DefinitionKind, ExpressionProblem, FileId, Unit, Value, evaluate};
use reveille_source::{LineKind, Meaning, Operation, TokenKind};

use crate::block::{block_hover, summary};
use crate::c;
use crate::constant;
use crate::expansion;
use crate::instruction;
use crate::lookup::{Spot, Thing};
use crate::machine_file::{self, machine_file};
use crate::memory;
use crate::serial;
use crate::session::{self, View};

/// An answer to a hover.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hover {
    /// What it is about, in bytes of the file.
    pub range: Range<usize>,
    /// The text, Markdown.
    pub markdown: String,
}

/// What stands at a byte of a file.
#[must_use]
pub fn hover(model: &Model, file: FileId, byte: usize) -> Option<Hover> {
    if let Some(view) = View::of(model, file) {
        return session::hover(&view, byte);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::hover(&view, byte);
    }
    if let Some(file) = machine_file(model, file) {
        return machine_file::hover(file, byte);
    }
    let spot = Spot::new(model, file, byte)?;
    let thing = spot.thing();
    if let Some(block) = model.block_at(spot.place)
        && let Some(found) = block_hover(&spot, block, thing.as_ref())
    {
        return Some(found);
    }
    let first_line = spot.file.line_number(spot.place) == 0;
    if first_line && matches!(thing, Some(Thing::Comment(_)) | None) {
        let told = crate::dialect::told(spot.file.source());
        let markdown = format!("**{}** (`{}`): {}", told.title, told.name, told.reason);
        return Some(Hover { range: spot.in_file(&(0..spot.text.len())), markdown });
    }
    let thing = thing?;
    let serial = serial::hover(&spot, &thing);
    let own = own(&spot, thing.clone());
    let own = match c::beside_assembly(&spot) {
        Some(in_c) => {
            Some(own.map_or_else(|| (thing.range(), in_c.clone()), |it| (it.0, format!("{}\n\n{in_c}", it.1))))
        }
        None => own,
    };
    let (range, mut markdown) = match (own, serial) {
        (Some((range, own)), Some(serial)) => (range, format!("{own}\n\n{serial}")),
        (Some(own), None) => own,
        (None, Some(serial)) => (thing.range(), serial),
        (None, None) => return None,
    };
    for note in constant::notes(&spot, &thing) {
        let _ = write!(markdown, "\n\n{note}");
    }
    Some(Hover { range: spot.in_file(&range), markdown })
}

/// What is to be told of a thing by itself.
fn own(spot: &Spot<'_>, thing: Thing) -> Option<(Range<usize>, String)> {
    Some(match thing {
        Thing::Label(_) => name(spot)?,
        Thing::Operation(range) => (range, operation(spot)?),
        Thing::Token(TokenKind::Name, _) => name(spot)?,
        Thing::Token(TokenKind::Number | TokenKind::Text, range) => {
            let mut text = number(spot, &range)?;
            if let Some(told) = memory::of_operand(spot, &range, value_alone(spot, &range)) {
                let _ = write!(text, "\n\n{told}");
            }
            if let Some(instruction) = hand_assembled(spot, &range) {
                let _ = write!(text, "\n\nas an instruction: `{instruction}`");
            }
            (range, text)
        }
        Thing::Token(TokenKind::Register, range) => {
            let text = &spot.text[range.clone()];
            let register = reveille_cpu::register(text)?;
            let mut body = register.describe();
            let mask = match register {
                Register::Data(number) => 1 << number,
                Register::Address(number) => 0x100 << number,
                _ => 0,
            };
            if let Some(last) = instruction::last_written(spot, mask) {
                let _ = write!(body, "\n\n{last}");
            }
            (range, fenced(text, &body))
        }
        _ => return None,
    })
}

fn fenced(head: &str, text: &str) -> String {
    format!("```m68k\n{head}\n```\n---\n{text}")
}

fn operation(spot: &Spot<'_>) -> Option<String> {
    let own = own_operation(spot);
    let is_repeat = spot.line.op.directive().is_some_and(|it| it.meaning == Meaning::Repeat);
    let is_replaced = spot.unit().is_some_and(|unit| unit.is_replaced(spot.place));
    let stands_for = match spot.line.op.get() {
        Operation::MacroCall => expansion::hover(spot),
        _ if is_repeat || is_replaced => expansion::hover(spot),
        _ => None,
    };
    match (own, stands_for) {
        (Some(own), Some(more)) => Some(format!("{own}\n\n{more}")),
        (own, more) => own.or(more),
    }
}

fn own_operation(spot: &Spot<'_>) -> Option<String> {
    let name = spot.line.operation.of(spot.text);
    match spot.line.op.get() {
        Operation::Instruction(_) => instruction::hover(spot),
        Operation::Directive(directive) => Some(fenced(name, directive.summary)),
        Operation::Assignment => Some(fenced(name, "gives a name a value")),
        Operation::MacroCall => self::name(spot).map(|it| it.1),
        Operation::None => None,
    }
}

fn name(spot: &Spot<'_>) -> Option<(Range<usize>, String)> {
    let (unit, definition, range) = spot.definition()?;
    let program = spot.model.program();
    let text = program.names().text(definition.symbol);
    // Of a name that an expansion makes the call tells.
    let place = unit.expanded_from(program, definition.place).map_or(definition.place, |it| it.0);
    let file = program.file(place.file)?;
    let (_, line, source) = file.at(place.chunk, place.line);
    let mut body = String::new();
    let _ = writeln!(body, "{}", describe(unit, &definition));
    let comment = if line.kind == LineKind::Preprocessor { "" } else { line.comment.of(source) };
    let comment = comment.trim_start_matches(['*', ';', '|', '/', '#', ' ', '\t']).trim();
    if !comment.is_empty() {
        let _ = writeln!(body, "\n{}", escaped(comment));
    }
    if let Some(block) =
        spot.model.blocks().find(|it| it.at.place == definition.place && definition.kind == DefinitionKind::Label)
    {
        let _ = writeln!(body, "\n{}: {}", block.layout.title, summary(block));
    }
    if definition.kind == DefinitionKind::Label
        && let Some(span) = instruction::routine(spot.model, unit, file, file.line_number(place))
    {
        let _ = writeln!(body, "\n{}", span.text(unit.settings(program).clock));
    }
    // Of the operand that the name stands in, or of the name's own value.
    let in_operand = memory::of_operand(spot, &range, definition.value.number());
    if let Some(told) = in_operand.or_else(|| memory::of_name(spot, definition.kind, definition.value)) {
        let _ = writeln!(body, "\n{told}");
    }
    let _ = write!(body, "\n{}:{}", file.path().display(), file.line_number(place) + 1);
    Some((range, fenced(&text, &body)))
}

pub(crate) fn describe(unit: &Unit, definition: &Definition) -> String {
    let value = match definition.value {
        Value::Number(number) => bases(number, 0),
        Value::Address(..) => match (unit.section_offset(definition.value), unit.is_odd(definition.value)) {
            (Some(offset), _) => format!("${offset:X} from the start of its section, which no ORG places"),
            (None, Some(is_odd)) => {
                let parity = if is_odd { "odd" } else { "even" };
                format!("{parity} address, not known further: something before it has a length that nobody knows")
            }
            (None, None) => "address not known".into(),
        },
        Value::Unknown => "value not known".into(),
    };
    match definition.kind {
        DefinitionKind::Label => format!("label: {value}"),
        DefinitionKind::Equate => format!("constant: {value}"),
        DefinitionKind::Set => format!("variable of the assembler: {value}"),
        DefinitionKind::RegisterName => "name of a register or a register list".into(),
        DefinitionKind::Macro => "macro".into(),
        DefinitionKind::Text => "name that stands for text".into(),
        DefinitionKind::External => "defined by another module".into(),
    }
}

/// Markdown of a text that is none.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        if matches!(character, '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '#') {
            out.push('\\');
        }
        out.push(character);
    }
    out
}

/// What words of data mean as an instruction: from the operand at a place on, as far as the line goes.
fn hand_assembled(spot: &Spot<'_>, range: &Range<usize>) -> Option<String> {
    let directive = spot.line.op.directive()?;
    let bytes = match directive.meaning {
        Meaning::Constants => match spot.line.size {
            b'w' | 0 => 2,
            b'l' => 4,
            _ => return None,
        },
        Meaning::ConstantsOf(bytes @ (2 | 4)) => bytes,
        _ => return None,
    };
    let (unit, program) = (spot.unit()?, spot.model.program());
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let operands = chunk.operands(spot.line);
    let at = operands.iter().position(|it| it.start <= range.start && range.end <= it.end)?;
    let mut words = Vec::new();
    for operand in &operands[at..] {
        let Some(value) = unit.value(program, spot.place, operand.clone()).number() else { break };
        if bytes == 4 {
            words.push((value >> 16) as u16);
        }
        words.push(value as u16);
    }
    let start = unit.absolute(unit.location(program, spot.place)).unwrap_or(0);
    let found = decode(&words, start + (at * usize::from(bytes)) as i64)?;
    let count = usize::from(found.words);
    let rest = if count > 1 { format!(" ({count} words)") } else { String::new() };
    Some(format!("{found}{rest}"))
}

struct Alone(bool);

impl Context for Alone {
    fn name(&mut self, _: &str, _: Range<usize>) -> Value {
        Value::Unknown
    }
    fn location(&mut self) -> Value {
        Value::Unknown
    }
    fn problem(&mut self, _: ExpressionProblem, _: Range<usize>) {
        self.0 = false;
    }
}

/// The value of a number or a short text that stands alone.
fn value_alone(spot: &Spot<'_>, range: &Range<usize>) -> Option<i64> {
    let mut alone = Alone(true);
    let text = &spot.text[range.clone()];
    evaluate(text, 0..text.len(), spot.file.source().dialect(), &mut alone).number().filter(|_| alone.0)
}

/// A number or a short text in all bases.
pub(crate) fn number(spot: &Spot<'_>, range: &Range<usize>) -> Option<String> {
    let dialect = spot.file.source().dialect();
    let text = &spot.text[range.clone()];
    let value = value_alone(spot, range);
    let shown: String = text.chars().take(40).collect();
    match value {
        Some(value) => Some(fenced(&shown, &bases(value, spot.line.size))),
        None if text.starts_with(['\'', '"']) => {
            let bytes = reveille_program::quoted_bytes(text, dialect);
            Some(fenced(&shown, &format!("text of {} bytes", bytes.len())))
        }
        None => None,
    }
}

/// A number in decimal, hex, octal and binary, as characters where it is some, and signed where its top bit is set.
pub(crate) fn bases(number: i64, size: u8) -> String {
    let bits = match size {
        b'b' => 8,
        b'w' => 16,
        b'l' => 32,
        _ if (-0x80..0x100).contains(&number) => 8,
        _ if (-0x8000..0x1_0000).contains(&number) => 16,
        _ => 32,
    };
    let pattern = (number as u64) & (u64::MAX >> (64 - bits));
    let digits = bits / 4;
    let mut text = format!("{number} = ${pattern:0digits$X} = @{pattern:o}");
    let groups: Vec<String> = (0..bits / 4).rev().map(|at| format!("{:04b}", pattern >> (4 * at) & 15)).collect();
    let _ = write!(text, " = %{}", groups.join("_"));
    let signed = ((pattern << (64 - bits)) as i64) >> (64 - bits);
    if signed != number {
        let _ = write!(text, " = {signed} signed");
    }
    let bytes: Vec<u8> = pattern.to_be_bytes().into_iter().skip_while(|byte| *byte == 0).collect();
    if !bytes.is_empty() && bytes.iter().all(|byte| (0x20..0x7f).contains(byte)) {
        let characters: String = bytes.iter().map(|byte| char::from(*byte)).collect();
        let _ = write!(text, " = '{characters}'");
    }
    // Underscores are for people; no assembler of the time takes them.
    text
}
