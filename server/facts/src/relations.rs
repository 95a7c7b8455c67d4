//! Rules over several facts: tables that describe one disk, entries of one table, constants beside a table.

use reveille_decoders::{FieldKind, Scalar, Values, family};
use reveille_program::Program;

use crate::blocks::BlockFact;
use crate::constants::{ConstantsFact, Role};
use crate::finding::Finding;
use crate::rules::{block_findings, evidence};
use reveille_program::Unit;

/// The findings of all blocks of a unit, and those that take several facts. Gives blocks the cylinders that constants know.
pub(crate) fn findings(
    program: &Program,
    unit: &Unit,
    blocks: &mut [BlockFact],
    constants: &[ConstantsFact],
) -> Vec<Finding> {
    let mut found = Vec::new();
    for group in constants {
        found.extend(beside_constants(blocks, group));
    }
    for block in blocks.iter() {
        found.extend(block_findings(program, unit, block));
    }
    let readable: Vec<&BlockFact> = blocks.iter().filter(|it| it.is_readable()).collect();
    for (at, second) in readable.iter().enumerate() {
        let before = &readable[..at];
        if let Some(first) = before.iter().find(|first| same_table(first, second) && first.bytes == second.bytes) {
            let message = format!(
                "`{}` is equal to `{}`: the second is never chosen; perhaps another format was meant",
                second.subject, first.subject
            );
            found.push(Finding::new("cross-002", second.at, message).related(first.at, format!("`{}`", first.subject)));
            continue;
        }
        if let Some(first) = before.iter().find(|first| same_table(first, second) && share_identifier(first, second)) {
            let identifier = second.number("format_identifier").unwrap_or_default();
            let message = format!(
                "`{}` and `{}` have the media descriptor ${identifier:02X} and differ: a system that chooses by it takes the first for both disks",
                second.subject, first.subject
            );
            let at = evidence(second, "format_identifier");
            found.push(
                Finding::new("cross-003", at, message)
                    .related(evidence(first, "format_identifier"), format!("`{}`", first.subject)),
            );
        }
        for first in before.iter().filter(|first| !same_table(first, second) && same_number(first, second)) {
            found.extend(difference(first, second));
        }
    }
    found.extend(
        readable
            .iter()
            .filter_map(|block| lone_relative(block, &readable))
            .filter_map(|(one, two)| difference(one, two)),
    );
    found
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

/// Whether the labels of two tables share a number such as 720: they are about one disk.
fn same_number(first: &BlockFact, second: &BlockFact) -> bool {
    if first.entry.1 > 1 || second.entry.1 > 1 {
        return false;
    }
    let numbers = |text: &str| -> Vec<String> {
        let parts = text.split(|it: char| !it.is_ascii_digit());
        parts.filter(|it| it.len() >= 3 && !it.starts_with('0')).map(str::to_owned).collect()
    };
    let own = numbers(&second.label_text);
    numbers(&first.label_text).iter().any(|it| own.contains(it))
}

/// A block without geometry, as drivers keep for themselves, and the one longer block of its size and media descriptor. Where
/// several are, or one agrees, nobody can say which it belongs to, or all is well.
fn lone_relative<'a>(block: &'a BlockFact, all: &[&'a BlockFact]) -> Option<(&'a BlockFact, &'a BlockFact)> {
    if block.number("sectors_per_track").is_some() || block.layout.field("sectors_per_track").is_some() {
        return None;
    }
    let identity =
        |it: &BlockFact| Some([it.number("sector_size")?, it.number("total")?, it.number("format_identifier")?]);
    let own = identity(block)?;
    let is_relative = |it: &&&BlockFact| it.layout.field("sectors_per_track").is_some() && identity(it) == Some(own);
    let mut relatives = all.iter().filter(is_relative);
    let only = relatives.next().filter(|_| relatives.next().is_none())?;
    (!same_number(block, only)).then_some((*only, block))
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
fn beside_constants(blocks: &mut [BlockFact], group: &ConstantsFact) -> Option<Finding> {
    let compared = [Role::Sides, Role::SectorsPerTrack, Role::SectorSize];
    let agreeing = |block: &BlockFact| {
        let known = compared.iter().filter_map(|role| Some((group.value(*role)?, block.number(role.name())?)));
        known.fold((0, 0), |(all, same), (one, two)| (all + 1, same + usize::from(one == two)))
    };
    let has_geometry = |block: &&mut BlockFact| block.is_readable() && block.number("sectors_per_track").is_some();
    if let Some(cylinders) = group.value(Role::Cylinders) {
        let is_alone = blocks.iter_mut().filter(has_geometry).count() == 1;
        let fits = |it: &&mut BlockFact| {
            let (all, same) = agreeing(it);
            all == same && (all > 0 || is_alone)
        };
        let mut fitting: Vec<&mut BlockFact> = blocks.iter_mut().filter(has_geometry).filter(fits).collect();
        let is_met = fitting.iter().any(|it| it.number("cylinders_of_block") == Some(cylinders));
        if let [only] = fitting.as_mut_slice()
            && !is_met
        {
            know_cylinders(only, cylinders);
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
        Finding::new("cross-005", at, message).related(evidence(nearest, field), format!("`{field}` is {own} here"));
    for (_, name, value, own, at) in wrong.iter().filter(|it| it.0 != role) {
        finding = finding.related(*at, format!("`{name}` is {value}, the block has {own}"));
    }
    Some(finding)
}

fn know_cylinders(block: &mut BlockFact, cylinders: i64) {
    let Some(family) = family(&block.layout.family) else { return };
    let says_fat12 = block.number("says_fat12").unwrap_or(0);
    let outside = vec![
        ("says_fat12".to_owned(), Scalar::Number(says_fat12)),
        ("cylinders".to_owned(), Scalar::Number(cylinders)),
    ];
    block.values = Values::new(family, &block.block(), &outside);
}
