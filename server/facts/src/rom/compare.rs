//! A source held against a dump: puts together where it lies, what differs and why.

use std::ops::Range;

use reveille_decoders::checksum::{Part, Strength};

use super::align::{Edit, Fit, Placing, fit_at_base, fit_by_search};
use super::cause::{Cause, CauseKind, Chip, Sureness};
use super::change::{Change, Difference, Shown, Sides};
use super::diff::{Counts, Diff, Outside, diff};
use super::dump::{Dump, Order, Reading};
use super::lines_at_fault::{address_lines, data_lines};
use super::source::{SourceImage, UNKNOWN};
use super::sums::{Extent, Sums};

/// What is asked for.
#[derive(Clone, Copy, Debug, Default)]
pub struct Question {
    /// The address of the first byte, if the user says it.
    pub base: Option<u32>,
    /// The bytes of each word are exchanged; of a pair, the first file is the odd chip.
    pub is_exchanged: bool,
    /// The user says which file is which chip.
    pub is_named: bool,
}

/// A source held against a dump.
#[derive(Debug)]
pub struct Comparison {
    /// The order of the bytes that was asked for.
    pub asked: Order,
    /// The order in which they agree best.
    pub order: Order,
    /// Why the dump is taken to lie where it does.
    pub placing: Placing,
    /// The address of its first byte.
    pub base: i64,
    /// The address that its file says, if it has addresses.
    pub told: Option<u32>,
    /// How many bytes it spans, and how many of these the file has.
    pub span: usize,
    /// As many of these are in the files.
    pub dumped: usize,
    /// How many bytes are equal and so on.
    pub counts: Counts,
    /// Bytes put in or taken out.
    pub edits: Vec<Edit>,
    /// The lines that differ, by address.
    pub differences: Vec<Difference>,
    /// What the dump has beside the source, by address.
    pub outside: Vec<Outside>,
    /// What may have happened, the surest first.
    pub causes: Vec<Cause>,
    reading: Reading,
    fit: Fit,
    shift: i64,
}

/// As many bytes must not agree before inserted ones are looked for.
const LEAST_SEARCHED: usize = 6;

/// How a dump lies best: its reading, and how it lies.
fn best_fit(source: &SourceImage, readings: &[Reading], base: Option<u32>) -> Fit {
    let plain: Vec<Fit> = (0..readings.len()).map(|it| fit_at_base(source, readings, it, base)).collect();
    let mut best = &plain[0];
    for other in &plain[1..] {
        if other.beats(&plain[0]) && other.tally.equal > best.tally.equal {
            best = other;
        }
    }
    let mut best = best.clone();
    if best.cost() < LEAST_SEARCHED {
        return best;
    }
    let is_bad = best.tally.equal * 2 < best.tally.equal + best.cost();
    let tried = if is_bad { 0..readings.len() } else { best.reading..best.reading + 1 };
    for at in tried {
        let Some(fit) = fit_by_search(source, readings, at, plain[at].base()) else { continue };
        // Another order or another place needs to be clearly better; a place inside the dump is part of the same reading.
        let is_here = fit.reading == best.reading && fit.base() == best.base() && best.placing != Placing::Search;
        let is_allowed = base.is_none_or(|it| fit.base() == i64::from(it));
        let is_better =
            if is_here { fit.cost() * 4 < best.cost() * 3 } else { fit.beats(&best) && fit.cost() * 2 < best.cost() };
        if is_allowed && is_better {
            let placing = if is_here { best.placing } else { Placing::Search };
            best = Fit { placing, ..fit };
        }
    }
    // What a search finds where the dump would have lain anyway is no search.
    if let Some(same) = plain.iter().find(|it| it.reading == best.reading && it.base() == best.base()) {
        best.placing = same.placing;
    }
    best
}

/// More lines than these are only counted.
const MOST_READ: usize = 50_000;

/// Holds a source against dumps: one file, or two of a pair.
#[must_use]
pub fn compare(source: &SourceImage, dumps: &[Dump], question: &Question) -> Comparison {
    let orders = Order::all(dumps.len() > 1, question.is_exchanged);
    let asked = orders[0];
    let mut readings: Vec<Reading> = orders.into_iter().map(|it| Reading::new(it, dumps)).collect();
    let fit = best_fit(source, &readings, question.base);
    let mut causes = order_causes(source, &readings, &fit, dumps, question);
    let reading = readings.swap_remove(fit.reading);
    let diff = diff(source, &reading, &fit);
    let mut faults = if fit.segments.len() > 1 { Vec::new() } else { data_lines(&diff) };
    if faults.is_empty() {
        faults = address_lines(source, &reading, &fit, &diff);
    }
    let has_fault = !faults.is_empty();
    causes.append(&mut faults);
    let shift = if has_fault { 0 } else { shift(source, &reading, &fit, &diff, &mut causes) };
    let sides = Sides { source, reading: &reading, fit: &fit, shift };
    let change = |it: &super::diff::LineDifference, is_read: bool| Difference {
        line: it.line,
        first: it.first,
        last: it.last,
        differ: it.differ,
        uncovered: it.uncovered,
        change: if is_read { sides.change(it) } else { Change::Data },
        base: it.base,
    };
    let differences: Vec<Difference> =
        diff.lines.iter().enumerate().map(|(at, it)| change(it, at < MOST_READ)).collect();
    let mut comparison = Comparison {
        asked,
        order: reading.order,
        placing: fit.placing,
        base: fit.base(),
        told: reading.address,
        span: reading.cells.len(),
        dumped: reading.cells.iter().filter(|it| **it < UNKNOWN).count(),
        counts: diff.counts,
        edits: fit.edits.clone(),
        differences,
        outside: diff.outside.clone(),
        causes,
        reading,
        fit,
        shift,
    };
    comparison.explain(source, &diff);
    comparison
}

/// What is to say of the order and the base: where another one than was asked for agrees.
fn order_causes(
    source: &SourceImage,
    readings: &[Reading],
    fit: &Fit,
    dumps: &[Dump],
    question: &Question,
) -> Vec<Cause> {
    let mut causes = Vec::new();
    if let [first, second] = dumps
        && first.span() != second.span()
        && matches!(readings[fit.reading].order, Order::FirstEven | Order::FirstOdd)
    {
        causes.push(Cause::new(Sureness::Sure, CauseKind::ChipSizes { sizes: (first.span(), second.span()) }));
    }
    // Two files that nobody calls even and odd have no order that was asked for.
    let is_asked = question.is_named || question.is_exchanged || dumps.len() == 1;
    let (asked, found) = (readings[0].order, readings[fit.reading].order);
    if asked != found && is_asked {
        let before = fit_at_base(source, readings, 0, question.base).tally.equal;
        let equal = (before, fit.tally.equal);
        causes.push(Cause::new(Sureness::Sure, CauseKind::Order { asked, found, equal }));
    }
    if let Some(given) = question.base {
        let free = best_fit(source, readings, None);
        if free.base() != fit.base() && free.edits.is_empty() && free.beats(fit) {
            let equal = (free.tally.equal, fit.tally.equal);
            let kind = CauseKind::Base { base: free.base(), given: given.into(), equal };
            causes.push(Cause::new(Sureness::Sure, kind));
        }
    }
    causes
}

/// As many addresses must differ by the same before another origin is blamed.
const LEAST_SHIFTED: usize = 3;

/// By how much the dump's addresses are higher, if most that differ do by the same.
fn shift(source: &SourceImage, reading: &Reading, fit: &Fit, diff: &Diff, causes: &mut Vec<Cause>) -> i64 {
    if fit.segments.len() > 1 {
        return 0;
    }
    let sides = Sides { source, reading, fit, shift: 0 };
    let mut distances = Vec::new();
    for line in diff.lines.iter().take(MOST_READ) {
        sides.distances(line, &mut |it| distances.push(it));
    }
    distances.sort_unstable();
    let runs = distances.chunk_by(|one, other| one == other);
    let Some(most) = runs.max_by_key(|it| it.len()).filter(|it| it.len() >= LEAST_SHIFTED) else { return 0 };
    if most.len() * 10 < distances.len() * 7 {
        return 0;
    }
    let start = source.range().map_or(0, |it| it.0);
    let sureness = if most.len() > 2 * LEAST_SHIFTED { Sureness::Sure } else { Sureness::Likely };
    let (shift, addresses, of) = (most[0], most.len(), distances.len());
    let sides = Sides { shift, ..sides };
    let bytes = |is_all: bool| -> u32 {
        let read = diff.lines.iter().take(MOST_READ);
        read.filter(|it| is_all || sides.change(it) == Change::Moved).map(|it| it.differ).sum()
    };
    // What differs otherwise is no matter of addresses.
    if i64::from(start) + shift < 0 || bytes(false) * 2 < bytes(true) {
        return 0;
    }
    causes.push(Cause::new(sureness, CauseKind::Origin { shift, addresses, of, origin: None, start }));
    shift
}

/// Lines that are shown together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// Their places in the list of differences.
    pub lines: Range<usize>,
    /// The first address that differs.
    pub from: i64,
    /// The last one.
    pub to: i64,
    /// How many bytes differ or are not there.
    pub bytes: u32,
    /// Everything in it is the same place that lies elsewhere.
    pub is_moved: bool,
}

/// The most blank parts and edits that are told one by one.
const MOST_BLANKS: usize = 4;
const MOST_EDITS: usize = 8;

/// Differences that are at most so many bytes apart are shown together.
const NEAR: i64 = 8;

impl Comparison {
    /// Bytes that do not agree.
    #[must_use]
    pub fn cost(&self) -> usize {
        self.fit.cost()
    }

    /// The differences in runs, by address.
    #[must_use]
    pub fn runs(&self) -> Vec<Run> {
        let mut runs: Vec<Run> = Vec::new();
        for (at, it) in self.differences.iter().enumerate() {
            let is_moved = it.change == Change::Moved;
            let bytes = it.differ + it.uncovered;
            match runs.last_mut() {
                Some(run) if it.first <= run.to + NEAR && run.is_moved == is_moved => {
                    run.lines.end = at + 1;
                    run.to = run.to.max(it.last);
                    run.bytes += bytes;
                }
                _ => runs.push(Run { lines: at..at + 1, from: it.first, to: it.last, bytes, is_moved }),
            }
        }
        runs
    }

    /// What the source says in a line that differs, and what the dump has there.
    #[must_use]
    pub fn shown(&self, source: &SourceImage, difference: &Difference) -> (Shown, Shown) {
        let sides = Sides { source, reading: &self.reading, fit: &self.fit, shift: self.shift };
        sides.shown(difference)
    }

    /// The bytes of the dump in the order in which they agree, holes as in an erased chip; and the address of the first.
    #[must_use]
    pub fn image(&self) -> (Vec<u8>, i64) {
        (self.reading.cells.iter().map(|it| u8::try_from(*it).unwrap_or(0xff)).collect(), self.base)
    }

    /// Finds causes in what differs.
    fn explain(&mut self, source: &SourceImage, diff: &Diff) {
        self.edit_causes(source);
        let Counts { equal, differ, uncovered, .. } = self.counts;
        let is_single = self.edits.is_empty();
        let has_fault = self.has_fault();
        for blank in diff.blanks.iter().take(MOST_BLANKS).filter(|_| !has_fault) {
            let kind = CauseKind::Blank { from: blank.from, bytes: blank.bytes, value: blank.value };
            let cause = Cause::new(Sureness::Sure, kind);
            let line = source.line_at(blank.from).map(|it| source.lines()[it].place);
            self.causes.push(Cause { place: line, ..cause });
        }
        if !self.order.is_alone() {
            self.short(source, uncovered);
        }
        self.repeats();
        let is_shifted = self.shift != 0;
        let blank: usize = diff.blanks.iter().map(|it| it.differ).sum();
        if is_single && !has_fault && !is_shifted && blank < differ {
            self.one_chip(diff);
        }
        if differ > 0 && equal * 4 < equal + differ && equal + differ > 32 && blank * 2 < differ && !has_fault {
            let kind = CauseKind::Unrelated { equal: (equal, equal + differ) };
            self.causes.push(Cause::new(Sureness::Likely, kind));
        }
        let lines = self.differences.len();
        let values = self.differences.iter().filter(|it| it.change == Change::Value).count();
        if values > 0 && values * 2 >= lines && !has_fault && is_single {
            let sureness = if values == lines { Sureness::Likely } else { Sureness::Possible };
            self.causes.push(Cause::new(sureness, CauseKind::Values { lines: (values, lines) }));
        }
        if !has_fault {
            self.more();
        }
        self.sort_causes();
    }

    /// Whether lines of a bus are at fault.
    fn has_fault(&self) -> bool {
        let is_fault = |it: &Cause| matches!(it.kind, CauseKind::DataLines { .. } | CauseKind::AddressLines { .. });
        self.causes.iter().any(is_fault)
    }

    /// Whether each byte of the dump is there more than once: then sums of it come out even.
    pub(super) fn is_repeated(&self) -> bool {
        self.has_fault() || self.causes.iter().any(|it| matches!(it.kind, CauseKind::Repeats { .. }))
    }

    fn sort_causes(&mut self) {
        self.causes.sort_by_key(|it| std::cmp::Reverse(it.sureness));
    }

    fn edit_causes(&mut self, source: &SourceImage) {
        for edit in self.edits.iter().take(MOST_EDITS) {
            let place = source.line_at(edit.address.into()).map(|it| source.lines()[it].place);
            self.causes.push(Cause { place, ..Cause::new(Sureness::Sure, CauseKind::Edit(*edit)) });
        }
        if self.edits.len() > MOST_EDITS {
            let count = self.edits.len() - MOST_EDITS;
            self.causes.push(Cause::new(Sureness::Sure, CauseKind::Edits { count }));
        }
    }

    fn short(&mut self, source: &SourceImage, uncovered: usize) {
        let end = self.base + self.span as i64;
        let lacks: usize = self
            .differences
            .iter()
            .filter(|it| it.uncovered > 0 && it.last >= end)
            .map(|it| it.uncovered as usize)
            .sum();
        let Some((_, source_end)) = source.range() else { return };
        if uncovered > 0 && lacks > 0 && end < source_end {
            self.causes.push(Cause::new(Sureness::Sure, CauseKind::Short { end, lacks }));
        }
    }

    fn one_chip(&mut self, diff: &Diff) {
        let (chip, differ) = match [diff.lanes[0].differ, diff.lanes[1].differ] {
            [0, odd] => (Chip::Odd, odd),
            [even, 0] => (Chip::Even, even),
            _ => return,
        };
        let has_both = diff.lanes.iter().all(|it| it.compared > 0);
        let sureness = match differ {
            ..4 => return,
            4..8 => Sureness::Possible,
            8..24 => Sureness::Likely,
            _ => Sureness::Sure,
        };
        if has_both {
            self.causes.push(Cause::new(sureness, CauseKind::OneChip { chip, differ }));
        }
    }

    /// Whether the halves, quarters or eighths of the dump are equal.
    fn repeats(&mut self) {
        let cells = &self.reading.cells;
        let is_fill = cells.iter().all(|it| Some(it) == cells.first());
        let found = [8, 4, 2].into_iter().find(|parts| {
            let period = cells.len() / parts;
            cells.len().is_multiple_of(*parts) && period >= 64 && cells[period..] == cells[..cells.len() - period]
        });
        if let Some(parts) = found.filter(|_| !is_fill) {
            let kind = CauseKind::Repeats { period: cells.len() / parts, bytes: cells.len() };
            self.causes.push(Cause::new(Sureness::Sure, kind));
        }
    }

    fn more(&mut self) {
        let is_inserted = |it: &Outside| self.fit.to_source(it.at as i64 + self.base).is_none();
        let content = self.outside.iter().filter(|it| it.fill.is_none() && !is_inserted(it));
        let content: Vec<&Outside> = content.collect();
        let has_repeats = self.causes.iter().any(|it| matches!(it.kind, CauseKind::Repeats { .. }));
        if let Some(first) = content.first().filter(|_| !has_repeats) {
            let bytes = content.iter().map(|it| it.bytes).sum();
            let kind = CauseKind::More { from: first.address, bytes };
            self.causes.push(Cause::new(Sureness::Possible, kind));
        }
    }

    /// Takes into the causes what checksums say: that nothing else differs, or that one was added.
    pub fn explain_checksum(&mut self, sums: &Sums) {
        let is_here = |address: i64, bytes: u32| {
            let end = address + i64::from(bytes);
            !self.differences.is_empty() && self.differences.iter().all(|it| it.first >= address && it.last < end)
        };
        let label = sums.labelled.iter().find(|it| is_here(it.address, it.bytes));
        let mut found = label.map(|it| {
            let what = format!("label `{}`", it.name);
            let cause = Cause::new(
                if it.matches.is_empty() { Sureness::Likely } else { Sureness::Sure },
                CauseKind::Checksum { address: it.address, bytes: it.bytes, what },
            );
            Cause { place: Some(it.place), ..cause }
        });
        let end = self.base + self.span as i64;
        for (_, reading) in sums.readings.iter().filter(|it| it.0 == Extent::Dump && it.1.left_out > 0) {
            let chips = if reading.part == Part::Image { 1 } else { 2 };
            let bytes = (reading.left_out * chips) as u32;
            let address = end - i64::from(bytes);
            let sureness = if reading.strength == Strength::Strong { Sureness::Sure } else { Sureness::Likely };
            if found.is_none() && is_here(address, bytes) {
                let kind = CauseKind::Checksum { address, bytes, what: reading.to_string() };
                found = Some(Cause::new(sureness, kind));
            }
            let is_added =
                self.outside.iter().any(|it| it.fill.is_none() && it.address == address && it.bytes == bytes as usize);
            if found.is_none() && is_added {
                self.causes.retain(|it| !matches!(it.kind, CauseKind::More { .. }));
                found = Some(Cause::new(sureness, CauseKind::AddedChecksum { address, reading: *reading }));
            }
        }
        self.causes.extend(found);
        self.sort_causes();
    }

    /// The rules of length that what differs speaks of. Each of them changes the first word of an instruction.
    pub(super) fn suspected_rules(&self, source: &SourceImage) -> Vec<&'static str> {
        let explained = |it: &Cause| matches!(it.kind, CauseKind::OneChip { .. } | CauseKind::Unrelated { .. });
        if self.has_fault() || self.causes.iter().any(explained) {
            return Vec::new();
        }
        let sides = Sides { source, reading: &self.reading, fit: &self.fit, shift: self.shift };
        let forms = self.differences.iter().filter(|it| it.change == Change::Form);
        let mut rules: Vec<&'static str> = forms.filter_map(|it| sides.rule(it)).collect();
        rules.sort_unstable();
        rules.dedup();
        rules
    }

    pub(super) fn shift(&self) -> i64 {
        self.shift
    }

    pub(super) fn dumps_again(&self, source: &SourceImage) -> usize {
        best_fit(source, std::slice::from_ref(&self.reading), None).cost()
    }

    pub(super) fn push_cause(&mut self, cause: Cause) {
        self.causes.push(cause);
        self.sort_causes();
    }
}
