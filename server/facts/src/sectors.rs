//! Boot sectors that the source lays down as a whole: a branch, eleven bytes before a parameter block, and what follows it.

use reveille_decoders::boot::{BLOCK_START, BootSector};
use reveille_program::{Place, Program, Unit, data_run_at};
use reveille_source::{Operation, Span};

use crate::blocks::BlockFact;
use crate::finding::{Evidence, Finding};
use crate::rom::SourceImage;

/// The bytes of a boot sector that rules look at.
const SECTOR: i64 = 512;

/// First bytes of branches: BRA.S of a 68000, short and near jump of an 8086.
const BRANCHES: [u8; 3] = [0x60, 0xeb, 0xe9];

/// How many lines before the block its sector may start.
const MOST_LINES: usize = 16;

/// The findings of the boot sectors of a unit.
pub(crate) fn findings(program: &Program, unit: &Unit, blocks: &[BlockFact]) -> Vec<Finding> {
    let alone = blocks.iter().filter(|it| it.layout.family == "fat" && it.entry.1 == 1 && it.is_readable());
    let sectors: Vec<(&BlockFact, i64)> = alone.filter_map(|it| Some((it, start(program, unit, it)?))).collect();
    if sectors.is_empty() {
        return Vec::new();
    }
    // Few sources are boot sectors, and those are short.
    let image = SourceImage::new(program, unit);
    sectors.iter().flat_map(|(block, start)| of_sector(program, &image, block, *start)).collect()
}

/// The address of the sector that a block stands in: a line in column with it, eleven bytes before, that can be its branch.
fn start(program: &Program, unit: &Unit, block: &BlockFact) -> Option<i64> {
    let address = unit.absolute(block.address)? - BLOCK_START as i64;
    let first = block.parts.first()?.at.place;
    let file = program.file(first.file)?;
    let number = file.line_number(first);
    let is_start = |number: usize| {
        let Some(place) = file.place(number) else { return false };
        let (_, line, _) = file.at(place.chunk, place.line);
        let is_branch = match line.op.get() {
            Operation::Instruction(mnemonic) => mnemonic.instruction.name == "bra",
            Operation::Directive(_) => starts_with_branch(program, unit, place),
            _ => false,
        };
        is_branch && unit.is_active(place) && unit.absolute(unit.location(program, place)) == Some(address)
    };
    (number.saturating_sub(MOST_LINES)..=number).any(is_start).then_some(address)
}

/// Whether the first byte that a line of data lays down is a branch's.
fn starts_with_branch(program: &Program, unit: &Unit, place: Place) -> bool {
    let run = data_run_at(program, unit, place);
    let first =
        run.as_ref().and_then(|run| run.items.iter().find(|it| it.place == place)?.bytes.first().copied().flatten());
    first.is_some_and(|it| BRANCHES.contains(&it))
}

fn of_sector(program: &Program, image: &SourceImage, block: &BlockFact, start: i64) -> Vec<Finding> {
    let byte = |at: i64| image.byte(start + at);
    // Gaps that nothing is laid into count as zeros, if the sector goes on behind them.
    let len = (0..SECTOR).rev().find(|at| byte(*at).is_some()).map_or(0, |at| at + 1);
    let bytes: Vec<u8> = (0..len).map(|at| byte(at).unwrap_or(0)).collect();
    if !bytes.first().is_some_and(|it| BRANCHES.contains(it)) {
        return Vec::new();
    }
    let volume = block.number("capacity").and_then(|it| u64::try_from(it).ok()).unwrap_or(0);
    let sector = BootSector::new(&bytes, volume, &block.values, block.layout.len());
    let finding = |rule: &'static reveille_decoders::Rule| {
        let place = |name: &str| {
            let offset = sector.offset(name).and_then(|it| i64::try_from(it).ok())?;
            line(program, image.lines().get(image.line_at(start + offset)?)?.place)
        };
        let own = |name: &String| place(name).or_else(|| block.evidence(name).first().copied());
        let at = rule.fields.iter().find_map(own).unwrap_or(block.at);
        let finding =
            Finding::new(&rule.code, at, format!("boot sector of `{}`: {}", block.subject, rule.message.text(&sector)));
        if at == block.at { finding } else { finding.related(block.at, format!("`{}`", block.subject)) }
    };
    // What lies behind the sector on a disk is nothing that the source lays down.
    let is_behind = |rule: &&reveille_decoders::Rule| {
        rule.when.names().iter().any(|it| matches!(*it, "first_fat_byte" | "fat_filler" | "image_bytes"))
    };
    sector.broken_rules().filter(|rule| !is_behind(rule)).map(finding).collect()
}

/// The operation and operands of a line.
fn line(program: &Program, place: Place) -> Option<Evidence> {
    let file = program.file(place.file)?;
    let (_, line, _) = file.at(place.chunk, place.line);
    let end = if line.operands.is_empty() { line.size_span().end } else { line.operands.end };
    Some(Evidence { place, span: Span { start: line.operation.start, end } })
}
