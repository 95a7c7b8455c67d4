//! Where a dump lies: as a whole at a base, and in pieces where bytes were inserted or are missing.

use rustc_hash::FxHashMap;

use super::dump::Reading;
use super::source::{SourceImage, UNKNOWN};

/// Why a dump is taken to lie where it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Placing {
    /// The user says so.
    Given,
    /// Its file has addresses.
    Addresses,
    /// It starts where the source does.
    Start,
    /// It starts at address 0.
    Zero,
    /// It starts where a part of the source does.
    Section,
    /// Most of it is found there.
    Search,
}

impl Placing {
    /// Its name in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::Addresses => "addresses",
            Self::Start => "start",
            Self::Zero => "zero",
            Self::Section => "section",
            Self::Search => "search",
        }
    }
}

/// A range of addresses of the source, and the address at which the first byte of the dump lies for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Segment {
    pub(super) from: i64,
    pub(super) to: i64,
    pub(super) base: i64,
}

/// The first address that there is not.
const END: i64 = 1 << 32;

impl Segment {
    pub(super) fn whole(base: i64) -> Self {
        Self { from: 0, to: END, base }
    }
}

/// Bytes that the dump has more or less than the source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edit {
    /// The address in the source: of what stands behind inserted bytes, or of the first missing byte.
    pub address: u32,
    /// How many bytes.
    pub bytes: u32,
    /// Whether the dump lacks them; else it has more.
    pub is_missing: bool,
}

/// How many bytes of the source agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(super) struct Tally {
    pub(super) equal: usize,
    pub(super) differ: usize,
    /// Bytes of known value that the dump does not have.
    pub(super) uncovered: usize,
}

/// One way to lay a dump beside the source.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// The place of the reading in their list.
    pub(super) reading: usize,
    pub(super) segments: Vec<Segment>,
    pub(super) edits: Vec<Edit>,
    pub(super) placing: Placing,
    pub(super) tally: Tally,
}

impl Fit {
    /// What does not agree, in bytes; an edit counts as one more difference.
    pub(super) fn cost(&self) -> usize {
        let inserted: u32 = self.edits.iter().filter(|it| !it.is_missing).map(|it| it.bytes).sum();
        self.tally.differ + self.tally.uncovered + inserted as usize + self.edits.len()
    }

    pub(super) fn base(&self) -> i64 {
        self.segments[0].base
    }

    /// Whether it agrees so much better that it is taken instead of what was asked for.
    pub(super) fn beats(&self, asked: &Self) -> bool {
        let (equal, other) = (self.tally.equal, asked.tally.equal);
        let has_clearly_more = equal > other + other / 8 + 4;
        let has_hardly_a_difference = equal > other && asked.cost() >= 2 && self.cost() * 4 <= asked.cost();
        has_clearly_more || has_hardly_a_difference
    }

    /// The address in the source of an address in the dump, which lies at the base of the first segment. None for inserted bytes.
    pub(super) fn to_source(&self, address: i64) -> Option<i64> {
        let at = address - self.base();
        let last = self.segments.len() - 1;
        self.segments.iter().enumerate().find_map(|(number, it)| {
            let there = at + it.base;
            let is_in = (number == 0 || it.from <= there) && (number == last || there < it.to);
            is_in.then_some(there)
        })
    }
}

/// Goes over what source and segments have in common: cells of the source with their first address and the base there.
pub(super) fn pieces(source: &SourceImage, segments: &[Segment], each: &mut dyn FnMut(&[u16], i64, i64)) {
    for area in &source.areas {
        for segment in segments {
            let (from, to) = (segment.from.max(area.from.into()), segment.to.min(area.end()));
            if from < to {
                let start = (from - i64::from(area.from)) as usize;
                each(&area.cells[start..start + (to - from) as usize], from, segment.base);
            }
        }
    }
}

fn tally(source: &SourceImage, reading: &Reading, segments: &[Segment]) -> Tally {
    let (mut equal, mut compared) = (0, 0);
    pieces(source, segments, &mut |cells, from, base| {
        let at = from - base;
        let skip = usize::try_from(-at).unwrap_or(0).min(cells.len());
        let start = usize::try_from(at).unwrap_or(0).min(reading.cells.len());
        for (own, dumped) in cells[skip..].iter().zip(&reading.cells[start..]) {
            let both = *own < UNKNOWN && *dumped < UNKNOWN;
            compared += usize::from(both);
            equal += usize::from(both && own == dumped);
        }
    });
    let known = source.laid() - source.unknown();
    Tally { equal, differ: compared - equal, uncovered: known - compared }
}

/// The most parts of a source whose starts are tried.
const MOST_SECTIONS: usize = 16;

/// The best of the bases that are likely; the first of them unless another one is clearly better.
pub(super) fn fit_at_base(source: &SourceImage, readings: &[Reading], at: usize, given: Option<u32>) -> Fit {
    let reading = &readings[at];
    let mut bases: Vec<(i64, Placing)> = Vec::new();
    match given {
        Some(base) => bases.push((base.into(), Placing::Given)),
        None => {
            bases.extend(reading.address.map(|it| (i64::from(it), Placing::Addresses)));
            let starts = source.areas.iter().take(MOST_SECTIONS).map(|it| i64::from(it.from));
            bases.extend(starts.clone().take(1).map(|it| (it, Placing::Start)));
            bases.push((0, Placing::Zero));
            bases.extend(starts.skip(1).map(|it| (it, Placing::Section)));
        }
    }
    let fit = |(base, placing): (i64, Placing)| {
        let segments = vec![Segment::whole(base)];
        Fit { reading: at, tally: tally(source, reading, &segments), segments, edits: Vec::new(), placing }
    };
    let mut fits = bases.into_iter().map(fit);
    // There is always address 0 or the given one.
    let mut best = fits.next().unwrap_or_else(|| fit((0, Placing::Zero)));
    for other in fits {
        if other.base() != best.base() && other.beats(&best) {
            best = other;
        }
    }
    best
}

/// Bytes that are looked for at a time.
const WINDOW: usize = 8;

/// From as many bytes on only some windows are looked for; which ones depends on their bytes, so that both sides take the same ones.
const LARGE: usize = 1 << 16;

/// Lays the dump beside the source by what is found in both once: pieces with bases of their own. `home` is where the dump lies as a whole.
pub(super) fn fit_by_search(source: &SourceImage, readings: &[Reading], at: usize, home: i64) -> Option<Fit> {
    let reading = &readings[at];
    let mut blocks = blocks(anchors(source, reading));
    blocks.splice(0..0, head(source, reading, home, blocks.first()?));
    let mut segments = vec![Segment::whole(blocks.first()?.base)];
    let mut edits = Vec::new();
    for pair in blocks.windows(2).filter(|it| it[0].base != it[1].base) {
        let last = segments.len() - 1;
        // The same bytes may stand before and behind a cut.
        let low = (pair[0].to - 2 * WINDOW as i64).max(segments[last].from).max(pair[0].from);
        let (edit, from) = cut(source, reading, low, &pair[0], &pair[1]);
        segments[last].to = edit.address.into();
        segments.push(Segment { from, to: END, base: pair[1].base });
        edits.push(edit);
    }
    let tally = tally(source, reading, &segments);
    Some(Fit { reading: at, segments, edits, placing: Placing::Search, tally })
}

/// What is known of a window: where it is on both sides; `MANY` where it is more than once.
const NOWHERE: i64 = -1;
const MANY: i64 = -2;

/// Addresses in the source, and places in the dump, of windows that each side has once; by address.
fn anchors(source: &SourceImage, reading: &Reading) -> Vec<(i64, i64)> {
    let mut found: FxHashMap<u64, (i64, i64)> = FxHashMap::default();
    let is_large = source.laid() > LARGE;
    let note = |place: &mut i64, at: i64| *place = if *place == NOWHERE { at } else { MANY };
    for area in &source.areas {
        windows(&area.cells, is_large, &mut |window, at| {
            note(&mut found.entry(window).or_insert((NOWHERE, NOWHERE)).0, i64::from(area.from) + at as i64);
        });
    }
    windows(&reading.cells, is_large, &mut |window, at| {
        // What the source does not have is no anchor.
        if let Some(places) = found.get_mut(&window) {
            note(&mut places.1, at as i64);
        }
    });
    let mut anchors: Vec<(i64, i64)> = found.into_values().filter(|it| it.0 >= 0 && it.1 >= 0).collect();
    anchors.sort_unstable();
    anchors
}

fn windows(cells: &[u16], is_large: bool, each: &mut dyn FnMut(u64, usize)) {
    let (mut window, mut filled) = (0_u64, 0);
    for (at, cell) in cells.iter().enumerate() {
        let Ok(byte) = u8::try_from(*cell) else {
            filled = 0;
            continue;
        };
        window = window << 8 | u64::from(byte);
        filled += 1;
        let is_taken = || !is_large || window.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 61 == 0;
        if filled >= WINDOW && is_taken() {
            each(window, at + 1 - WINDOW);
        }
    }
}

/// A part of the source that is found at one base.
#[derive(Clone, Copy, Debug)]
struct Block {
    from: i64,
    to: i64,
    base: i64,
    anchors: usize,
}

/// The longest chain of anchors that go up on both sides, as blocks of one base. One anchor alone is chance.
fn blocks(anchors: Vec<(i64, i64)>) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    for (address, at) in longest_rise(&anchors) {
        let (to, base) = (address + WINDOW as i64, address - at);
        match blocks.last_mut() {
            Some(last) if last.base == base => {
                last.to = to;
                last.anchors += 1;
            }
            _ => blocks.push(Block { from: address, to, base, anchors: 1 }),
        }
    }
    blocks.retain(|it| it.anchors > 1);
    blocks.dedup_by(|next, last| {
        let is_same = next.base == last.base;
        if is_same {
            last.to = next.to;
            last.anchors += next.anchors;
        }
        is_same
    });
    blocks
}

/// What agrees at home from the start on, before the first block that lies elsewhere.
fn head(source: &SourceImage, reading: &Reading, home: i64, first: &Block) -> Option<Block> {
    let from = i64::from(source.areas.first()?.from);
    let is_equal = |it: i64| source.cell(it) < UNKNOWN && source.cell(it) == reading.cell(it - home);
    let to = (from..first.from).find(|it| !is_equal(*it)).unwrap_or(first.from);
    (first.base != home && to - from >= WINDOW as i64).then_some(Block { from, to, base: home, anchors: 2 })
}

/// The longest part of a list whose second members rise.
fn longest_rise(list: &[(i64, i64)]) -> Vec<(i64, i64)> {
    // For each length the place of the lowest end of a rise that long; and for each member the one before it.
    let mut ends: Vec<usize> = Vec::new();
    let mut before = vec![usize::MAX; list.len()];
    for (at, member) in list.iter().enumerate() {
        let length = ends.partition_point(|it| list[*it].1 < member.1);
        if let Some(last) = length.checked_sub(1) {
            before[at] = ends[last];
        }
        if length == ends.len() {
            ends.push(at);
        } else {
            ends[length] = at;
        }
    }
    let mut rise = Vec::with_capacity(ends.len());
    let mut at = ends.last().copied();
    while let Some(here) = at {
        rise.push(list[here]);
        at = Some(before[here]).filter(|it| *it != usize::MAX);
    }
    rise.reverse();
    rise
}

/// Where the dump goes from one base to the next so that the fewest bytes differ; at the start of a line if there is a choice. Gives the edit
/// and the address from which the next base counts. What is below `low` belongs to the block before.
fn cut(source: &SourceImage, reading: &Reading, low: i64, before: &Block, next: &Block) -> (Edit, i64) {
    let more = before.base - next.base;
    let missing = (-more).max(0);
    let differs = |address: i64, base: i64| {
        let own = source.cell(address);
        usize::from(own < UNKNOWN && own != reading.cell(address - base))
    };
    // Windows of both blocks may overlap where bytes repeat.
    let high = next.from - missing;
    let low = low.min(high);
    let mut cost: usize = (low..high).map(|it| differs(it + missing, next.base)).sum();
    let is_start = |it: i64| source.line_at(it) != source.line_at(it - 1);
    let (mut best, mut best_at) = ((cost, !is_start(low)), low);
    for at in low..high {
        cost += differs(at, before.base);
        cost -= differs(at + missing, next.base);
        let here = (cost, !is_start(at + 1));
        if here < best {
            (best, best_at) = (here, at + 1);
        }
    }
    let edit = Edit { address: best_at as u32, bytes: more.unsigned_abs() as u32, is_missing: missing > 0 };
    (edit, best_at + missing)
}
