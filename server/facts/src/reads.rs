//! Code that reads a field of a packed block as a word, at an odd address.
//!
//! A register is followed from the line that loads a block's address into it, in straight line: up to a label, a call, or whatever
//! else may change it. So what is told is certain, and much is not told.

use reveille_cpu::{Kind, Operand, Size, ends, leaves, writes, written};
use reveille_program::{Place, Program, Symbol, Unit, assemble, uses_of};
use reveille_source::{LineKind, Operation};
use rustc_hash::FxHashSet;

use crate::blocks::BlockFact;
use crate::finding::{Evidence, Finding};

/// How many lines a register is followed.
const MOST_LINES: usize = 100;

/// A table of packed blocks: where it starts, and where it ends.
struct Table<'a> {
    start: i64,
    end: i64,
    blocks: Vec<&'a BlockFact>,
}

/// The findings of a unit.
pub(crate) fn findings(program: &Program, unit: &Unit, blocks: &[BlockFact]) -> Vec<Finding> {
    let tables = tables(unit, blocks);
    let labels: FxHashSet<Symbol> = tables.iter().flat_map(|it| &it.blocks).filter_map(|it| it.label).collect();
    if labels.is_empty() {
        return Vec::new();
    }
    let mut lines: Vec<Place> = uses_of(program, unit, &labels).into_iter().map(|it| it.0).collect();
    lines.dedup();
    lines.into_iter().flat_map(|line| from_line(program, unit, &tables, line)).collect()
}

/// The packed blocks with a label, by table. A block of words alone has no word at an odd offset.
fn tables<'a>(unit: &Unit, blocks: &'a [BlockFact]) -> Vec<Table<'a>> {
    let mut tables: Vec<Table<'a>> = Vec::new();
    let is_packed =
        |it: &&BlockFact| it.is_readable() && it.layout.fields.iter().any(|it| it.bytes > 1 && it.offset % 2 == 1);
    for block in blocks.iter().filter(is_packed) {
        let Some(start) = unit.absolute(block.address) else { continue };
        let end = start + block.bytes.len() as i64;
        match tables.last_mut().filter(|it| it.end == start && it.blocks[0].label == block.label) {
            Some(table) => {
                table.end = end;
                table.blocks.push(block);
            }
            None => tables.push(Table { start, end, blocks: vec![block] }),
        }
    }
    tables
}

/// Follows the register that a line loads with an address in a table.
fn from_line(program: &Program, unit: &Unit, tables: &[Table<'_>], line: Place) -> Vec<Finding> {
    let Some(first) = assemble(program, unit, line) else { return Vec::new() };
    if !matches!(first.choice.instruction.name, "lea" | "movea") || first.operands[1].kind != Kind::Address {
        return Vec::new();
    }
    let is_address = matches!(
        (first.choice.instruction.name, first.operands[0].kind),
        ("lea", Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::PcDisplacement) | ("movea", Kind::Immediate)
    );
    let (register, mut address) = (first.operands[1].register, first.operands[0].value);
    let Some(table) = tables.iter().find(|it| (it.start..it.end).contains(&address)).filter(|_| is_address) else {
        return Vec::new();
    };
    let Some(file) = program.file(line.file) else { return Vec::new() };
    let start = file.line_number(line) + 1;
    let mut found = Vec::new();
    for number in start..start + MOST_LINES {
        let Some(place) = file.place(number) else { break };
        let (_, line, _) = file.at(place.chunk, place.line);
        if line.kind != LineKind::Statement || !unit.is_active(place) {
            continue;
        }
        if !line.label.is_empty() {
            break;
        }
        match line.op.get() {
            Operation::None => continue,
            Operation::Instruction(_) => (),
            _ => break,
        }
        let Some(own) = assemble(program, unit, place) else { break };
        let (instruction, form) = (own.choice.instruction, own.choice.form);
        let size = i64::from(own.choice.size.bytes());
        let count = form.operand_count();
        for (at, operand) in own.operands[..count].iter().enumerate().filter(|it| it.1.register == register) {
            let accessed = match operand.kind {
                Kind::Indirect | Kind::PostIncrement => address,
                Kind::PreDecrement => address - size,
                Kind::Displacement => address + operand.value,
                _ => continue,
            };
            let is_access =
                own.choice.size != Size::Byte && !matches!(instruction.name, "lea" | "pea" | "jmp" | "jsr" | "movep");
            if is_access && accessed.rem_euclid(2) == 1 {
                let access = Access { place, at, size, is_write: writes(instruction, at, count) };
                found.extend(finding(program, table, accessed, &access));
            }
        }
        let Some(moved) = step(&own.operands[..count], register, size) else { break };
        let by_hand = written(instruction, form, &own.operands) & 0x100 << register != 0 && moved == 0;
        if by_hand || leaves(instruction) && !matches!(instruction.name, "bcc" | "dbcc") || ends(instruction) {
            break;
        }
        address += moved;
    }
    found
}

/// How far an instruction steps a register by its modes; none if it is stepped twice.
fn step(operands: &[Operand], register: u8, size: i64) -> Option<i64> {
    let steps = operands.iter().filter(|it| it.register == register).filter_map(|it| match it.kind {
        Kind::PostIncrement => Some(size),
        Kind::PreDecrement => Some(-size),
        _ => None,
    });
    let steps: Vec<i64> = steps.collect();
    match steps.as_slice() {
        [] => Some(0),
        [only] => Some(*only),
        _ => None,
    }
}

/// An access to memory by an operand.
struct Access {
    place: Place,
    at: usize,
    size: i64,
    is_write: bool,
}

fn finding(program: &Program, table: &Table<'_>, accessed: i64, access: &Access) -> Option<Finding> {
    let at = accessed - table.start;
    let own = |block: &&&BlockFact| {
        let start = block.offset as i64 - table.blocks[0].offset as i64;
        (start..start + block.layout.len() as i64).contains(&at)
    };
    let block = table.blocks.iter().find(own)?;
    let offset = (at - (block.offset as i64 - table.blocks[0].offset as i64)) as usize;
    let field = block.layout.fields.iter().find(|it| (it.offset..it.offset + it.bytes).contains(&offset))?;
    let file = program.file(access.place.file)?;
    let (chunk, line, _) = file.at(access.place.chunk, access.place.line);
    let operand = chunk.operands(line).get(access.at)?.clone();
    let span = reveille_source::Span { start: operand.start as u16, end: operand.end as u16 };
    let verb = if access.is_write { "writes" } else { "reads" };
    let width = if access.size == 4 { "long word" } else { "word" };
    let message = format!(
        "this {verb} a {width} at `{}` + {offset}, an odd address: an address error on the 68000; `{}` stands there, byte packed: put it together byte by byte",
        block.subject, field.name
    );
    let finding = Finding::new("block-005", Evidence { place: access.place, span }, message);
    let own = block.evidence(&field.name);
    Some(match own.first() {
        Some(place) => finding.related(*place, format!("`{}`, byte {} of the block", field.name, field.offset)),
        None => finding,
    })
}
