//! Rules over several facts: tables that describe one disk, entries of one table, constants beside a table.

mod kinds;

use reveille_decoders::FieldKind;
use reveille_program::{Program, Unit};
use rustc_hash::FxHashMap;

use crate::blocks::BlockFact;
use crate::constants::{ConstantsFact, Role};
use crate::finding::Finding;
use crate::machine::Machine;
use crate::rules::{block_findings, evidence};

/// The findings of all blocks of a unit, and those that take several facts. Gives blocks the cylinders that constants know.
pub(crate) fn findings(
    program: &Program,
    machine: &Machine,
    unit: &Unit,
    blocks: &mut [BlockFact],
    constants: &[ConstantsFact],
) -> Vec<Finding> {
    let mut found = Vec::new();
    // A block that one group of constants describes wholly is none of the others' business.
    let is_described = |block: &BlockFact| constants.iter().any(|group| agrees_wholly(group, block));
    let described: Vec<bool> = blocks.iter().map(is_described).collect();
    for group in constants {
        found.extend(beside_constants(blocks, &described, group));
    }
    found.extend(kinds::cpm_beside_constants(blocks, constants));
    found.extend(crate::track::findings(machine, blocks, constants));
    for block in blocks.iter() {
        found.extend(block_findings(program, machine, unit, block));
    }
    let readable: Vec<&BlockFact> = blocks.iter().filter(|it| it.is_readable()).collect();
    for (at, second) in readable.iter().enumerate() {
        // The entries of a table follow each other.
        let before = || readable[..at].iter().rev().take_while(|first| same_table(first, second));
        if let Some(first) = before().filter(|first| first.bytes == second.bytes).last() {
            let message = format!(
                "`{}` is equal to `{}`: the second is never chosen; perhaps another format was meant",
                second.subject, first.subject
            );
            let finding = Finding::new("cross-002", second.at, message);
            found.push(finding.related(first.at, format!("`{}`", first.subject)));
        } else if let Some(first) = before().filter(|first| share_identifier(first, second)).last() {
            let identifier = second.number("format_identifier").unwrap_or_default();
            let message = format!(
                "`{}` and `{}` have the media descriptor ${identifier:02X} and differ: a system that chooses by it takes the first for both disks; choose by another field too",
                second.subject, first.subject
            );
            let finding = Finding::new("cross-003", evidence(second, "format_identifier"), message);
            found.push(finding.related(evidence(first, "format_identifier"), format!("`{}`", first.subject)));
        }
    }
    found.extend(kinds::word_beside_fat(&readable));
    found.extend(kinds::order_beside_cpm(&readable));
    found.extend(same_disk(&readable).into_iter().filter_map(|(first, second)| difference(first, second)));
    found
}

/// Pairs of tables that describe one disk, each with the first of its kind.
fn same_disk<'a>(readable: &[&'a BlockFact]) -> Vec<(&'a BlockFact, &'a BlockFact)> {
    let mut pairs = Vec::new();
    let mut numbers: FxHashMap<&str, &BlockFact> = FxHashMap::default();
    let mut whole: FxHashMap<[i64; 3], Vec<&BlockFact>> = FxHashMap::default();
    for block in readable.iter().copied() {
        // Labels that share a number such as 720 are about one disk.
        if block.entry.1 == 1 {
            let parts = block.label_text.split(|it: char| !it.is_ascii_digit());
            for number in parts.filter(|it| it.len() >= 3 && !it.starts_with('0')) {
                match numbers.get(number) {
                    Some(first) => pairs.push((*first, block)),
                    None => drop(numbers.insert(number, block)),
                }
            }
        }
        if let Some(identity) = identity(block).filter(|_| block.layout.field("sectors_per_track").is_some()) {
            whole.entry(identity).or_default().push(block);
        }
    }
    // A block without geometry, as drivers keep for themselves, and the one longer block of its size and media descriptor.
    // Where several are, or one agrees, nobody can say which it belongs to, or all is well.
    for block in readable.iter().copied().filter(|it| it.layout.field("sectors_per_track").is_none()) {
        if let Some([only]) = identity(block).and_then(|it| whole.get(&it)).map(Vec::as_slice)
            && !pairs.iter().any(|it| std::ptr::eq(it.0, *only) && std::ptr::eq(it.1, block))
            && !pairs.iter().any(|it| std::ptr::eq(it.1, *only) && std::ptr::eq(it.0, block))
        {
            pairs.push((*only, block));
        }
    }
    pairs
}

fn identity(block: &BlockFact) -> Option<[i64; 3]> {
    Some([block.number("sector_size")?, block.number("total")?, block.number("format_identifier")?])
}

fn same_table(first: &BlockFact, second: &BlockFact) -> bool {
    first.label.is_some()
        && first.label == second.label
        && first.entry.1 == second.entry.1
        && first.at.place.file == second.at.place.file
        && first.last == second.last
}

/// `$F0` stands for any format, so nobody chooses by it.
fn share_identifier(first: &BlockFact, second: &BlockFact) -> bool {
    let identifier = |it: &BlockFact| it.number("format_identifier").filter(|it| (0xf8..=0xff).contains(it));
    identifier(first).is_some() && identifier(first) == identifier(second)
}

fn difference(first: &BlockFact, second: &BlockFact) -> Option<Finding> {
    let numbers = second.layout.fields.iter().filter(|field| field.kind != FieldKind::Text);
    let mut differing = numbers.filter_map(|field| {
        let (one, two) = (first.block().number(&field.name)?, second.block().number(&field.name)?);
        (one != two).then_some((field, one, two))
    });
    let (field, one, two) = differing.next()?;
    let (name, one_name, two_name) = (&field.name, &first.subject, &second.subject);
    let message = format!(
        "`{one_name}` and `{two_name}` describe one disk, but `{name}` is {one} in the first and {two} here; make them agree, the one that existing disks were made with is right"
    );
    let mut finding = Finding::new("cross-001", evidence(second, name), message)
        .related(evidence(first, name), format!("`{name}` is {one} here"));
    for (field, one, two) in differing {
        finding = finding
            .related(evidence(second, &field.name), format!("`{}` is {two} here, {one} in `{one_name}`", field.name));
    }
    Some(finding)
}

/// Constants against the blocks: the block they describe learns its cylinders; if they describe none, that is a finding.
fn beside_constants(blocks: &mut [BlockFact], described: &[bool], group: &ConstantsFact) -> Option<Finding> {
    let compared = [Role::Sides, Role::SectorsPerTrack, Role::SectorSize];
    let agreeing = |block: &BlockFact| {
        let known = compared.iter().filter_map(|role| Some((group.value(*role)?, block.number(role.name())?)));
        known.fold((0, 0), |(all, same), (one, two)| (all + 1, same + usize::from(one == two)))
    };
    let has_geometry = |block: &&mut BlockFact| block.is_readable() && block.number("sectors_per_track").is_some();
    if let Some(cylinders) = group.value(Role::Cylinders) {
        let is_alone = blocks.iter_mut().filter(has_geometry).count() == 1 && group.group.is_empty();
        let fits = |it: &&mut BlockFact| {
            let (all, same) = agreeing(it);
            all == same && (all > 0 || is_alone)
        };
        let open = blocks.iter_mut().zip(described).filter(|it| !it.1 || agrees_wholly(group, it.0)).map(|it| it.0);
        let mut fitting: Vec<&mut BlockFact> = open.filter(has_geometry).filter(fits).collect();
        let is_met = fitting.iter().any(|it| it.number("cylinders_of_block") == Some(cylinders));
        if let [only] = fitting.as_mut_slice()
            && !is_met
        {
            only.know("cylinders", cylinders);
            return None;
        }
        if is_met || !fitting.is_empty() {
            return None;
        }
    } else if blocks.iter_mut().filter(has_geometry).any(|it| {
        let (all, same) = agreeing(it);
        all > 0 && all == same
    }) {
        return None;
    }
    // None agrees: the nearest is the one that was meant, if it has half of the values.
    let nearest = blocks.iter_mut().filter(has_geometry).min_by_key(|it| std::cmp::Reverse(agreeing(it).1))?;
    let (all, same) = agreeing(nearest);
    if all == 0 || same * 2 < all {
        return None;
    }
    let wrong: Vec<_> = group
        .values
        .iter()
        .filter_map(|(role, name, value, at)| {
            let own = nearest.number(if *role == Role::Cylinders { "cylinders_of_block" } else { role.name() })?;
            (own != *value).then_some((*role, name, *value, own, *at))
        })
        .collect();
    let (role, name, value, own, at) = *wrong.iter().find(|it| it.0 != Role::Cylinders)?;
    let field = role.name();
    let message = format!(
        "`{name}` is {value}, but `{field}` of `{}` is {own}; expected the same: the driver and the file system must count alike",
        nearest.subject
    );
    let mut finding =
        Finding::new("cross-101", at, message).related(evidence(nearest, field), format!("`{field}` is {own} here"));
    for (_, name, value, own, at) in wrong.iter().filter(|it| it.0 != role) {
        finding = finding.related(*at, format!("`{name}` is {value}, the block has {own}"));
    }
    Some(finding)
}

/// Whether constants give the cylinders of a block, and nothing that differs from it.
fn agrees_wholly(group: &ConstantsFact, block: &BlockFact) -> bool {
    let own = |role: Role| block.number(if role == Role::Cylinders { "cylinders_of_block" } else { role.name() });
    group.value(Role::Cylinders).is_some() && group.values.iter().all(|(role, _, value, _)| own(*role) == Some(*value))
}
