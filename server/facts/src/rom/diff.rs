//! What differs, byte by byte: gathered by lines of the source, by chips, and what the dump has beside the source.

use std::iter::StepBy;
use std::ops::Range;

use super::align::{Fit, pieces};
use super::dump::{Order, Reading};
use super::source::{HOLE, SourceImage, UNKNOWN};

/// How many bytes of each kind there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Counts {
    /// Laid down by the source and the same in the dump.
    pub equal: usize,
    /// Laid down by the source and different in the dump.
    pub differ: usize,
    /// Laid down by the source, but with a value that is not known.
    pub unknown: usize,
    /// Laid down by the source and not in the dump.
    pub uncovered: usize,
    /// In the dump where the source reserves memory.
    pub reserved: usize,
    /// In the dump and not in the source: all the same, as in an erased chip, or padding of a byte.
    pub fill: usize,
    /// In the dump and not in the source: something else.
    pub content: usize,
}

/// The bytes of one line that differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct LineDifference {
    /// The place of the line in the list of lines.
    pub(super) line: usize,
    /// The first and the last address that differs or is not in the dump.
    pub(super) first: i64,
    pub(super) last: i64,
    pub(super) differ: u32,
    pub(super) uncovered: u32,
    /// The base of the dump at the first one.
    pub(super) base: i64,
}

/// What the differing bytes of one chip have in common: bits that differ anywhere, bits that differ everywhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Lane {
    pub(super) differ: usize,
    pub(super) any: u8,
    pub(super) all: u8,
    /// Over all bytes of the dump beside the source: bits that are set somewhere, and everywhere.
    pub(super) set_somewhere: u8,
    pub(super) set_everywhere: u8,
    pub(super) compared: usize,
}

const NO_LANE: Lane = Lane { differ: 0, any: 0, all: 0xff, set_somewhere: 0, set_everywhere: 0xff, compared: 0 };

/// A part of the dump where it is all the same and the source is not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Blank {
    pub(super) from: i64,
    pub(super) bytes: usize,
    pub(super) differ: usize,
    pub(super) value: u8,
}

/// A part of the dump that the source does not lay down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outside {
    /// Its first address.
    pub address: i64,
    /// How many bytes.
    pub bytes: usize,
    /// The byte that all of them are; none for content.
    pub fill: Option<u8>,
    /// Its place in the dump.
    pub at: usize,
}

#[derive(Debug)]
pub(super) struct Diff {
    pub(super) counts: Counts,
    pub(super) lines: Vec<LineDifference>,
    /// By the lowest bit of the address.
    pub(super) lanes: [Lane; 2],
    pub(super) blanks: Vec<Blank>,
    pub(super) outside: Vec<Outside>,
    /// Which bytes of the dump have a byte of the source beside them.
    pub(super) is_beside: Vec<bool>,
}

/// As many bytes between two lines are padding.
const MOST_PADDING: i64 = 3;

/// As many bytes must differ in a part that is called blank.
const LEAST_BLANK: usize = 16;

pub(super) fn diff(source: &SourceImage, reading: &Reading, fit: &Fit) -> Diff {
    let mut found = Diff {
        counts: Counts { unknown: source.unknown(), ..Counts::default() },
        lines: Vec::new(),
        lanes: [NO_LANE; 2],
        blanks: Vec::new(),
        outside: Vec::new(),
        is_beside: vec![false; reading.cells.len()],
    };
    let mut blank: Option<Blank> = None;
    pieces(source, &fit.segments, &mut |cells, from, base| {
        for (address, own) in (from..).zip(cells) {
            if *own == HOLE {
                continue;
            }
            let at = address - base;
            let dumped = reading.cell(at);
            if let Some(it) = usize::try_from(at).ok().and_then(|at| found.is_beside.get_mut(at)) {
                *it = true;
            }
            if *own == UNKNOWN {
                continue;
            }
            if dumped == HOLE {
                if reading.order.is_alone() {
                    // Every other byte: that says it all.
                    found.counts.uncovered += 1;
                } else {
                    found.line(source, address, base, true);
                }
                continue;
            }
            let lane = &mut found.lanes[(address & 1) as usize];
            let (own, dumped) = (*own as u8, dumped as u8);
            lane.compared += 1;
            lane.set_somewhere |= dumped;
            lane.set_everywhere &= dumped;
            let is_same = own == dumped;
            match &mut blank {
                // A byte of padding does not end it.
                Some(it) if it.value == dumped && it.from + it.bytes as i64 + MOST_PADDING >= address => {
                    it.bytes = (address - it.from + 1) as usize;
                    it.differ += usize::from(!is_same);
                }
                _ => {
                    found.blanks.extend(blank.take().filter(is_blank));
                    blank = matches!(dumped, 0 | 0xff).then(|| Blank {
                        from: address,
                        bytes: 1,
                        differ: usize::from(!is_same),
                        value: dumped,
                    });
                }
            }
            if is_same {
                found.counts.equal += 1;
                continue;
            }
            let changed = own ^ dumped;
            lane.differ += 1;
            lane.any |= changed;
            lane.all &= changed;
            found.line(source, address, base, false);
        }
    });
    found.blanks.extend(blank.filter(is_blank));
    found.counts.uncovered += missing(source, fit, &mut found.lines);
    found.lines.sort_by_key(|it| it.first);
    found.outside(source, reading, fit);
    found
}

fn is_blank(it: &Blank) -> bool {
    it.differ >= LEAST_BLANK && it.differ * 2 >= it.bytes
}

/// Notes the bytes of the source between the segments: the dump does not have them.
fn missing(source: &SourceImage, fit: &Fit, lines: &mut Vec<LineDifference>) -> usize {
    let mut count = 0;
    for edit in fit.edits.iter().filter(|it| it.is_missing) {
        for address in i64::from(edit.address)..i64::from(edit.address) + i64::from(edit.bytes) {
            if source.cell(address) < UNKNOWN {
                note(lines, source, address, fit.base(), true);
                count += 1;
            }
        }
    }
    count
}

fn note(lines: &mut Vec<LineDifference>, source: &SourceImage, address: i64, base: i64, is_uncovered: bool) {
    let Some(line) = source.line_at(address) else { return };
    let (differ, uncovered) = (u32::from(!is_uncovered), u32::from(is_uncovered));
    match lines.last_mut() {
        Some(last) if last.line == line && last.base == base => {
            last.last = address;
            last.differ += differ;
            last.uncovered += uncovered;
        }
        _ => lines.push(LineDifference { line, first: address, last: address, differ, uncovered, base }),
    }
}

/// As many equal bytes in a row are fill.
const LEAST_FILL: usize = 16;

impl Diff {
    fn line(&mut self, source: &SourceImage, address: i64, base: i64, is_uncovered: bool) {
        if is_uncovered {
            self.counts.uncovered += 1;
        } else {
            self.counts.differ += 1;
        }
        note(&mut self.lines, source, address, base, is_uncovered);
    }

    /// Goes over what the dump has beside the source. A chip alone has every other byte.
    fn outside(&mut self, source: &SourceImage, reading: &Reading, fit: &Fit) {
        let step = if reading.order.is_alone() { 2 } else { 1 };
        let len = reading.cells.len();
        let base = fit.base();
        let place = |at: usize| fit.to_source(at as i64 + base).unwrap_or(at as i64 + base);
        let mut at = usize::from(reading.order == Order::OddAlone);
        while at < len {
            let from = at;
            while at < len && !self.is_beside[at] && reading.cells[at] < UNKNOWN {
                at += step;
            }
            if at == from {
                at += step;
                continue;
            }
            let is_padding = at - from == 1
                && source.line_at(place(from) - 1).is_some()
                && source.line_at(place(from) + 1).is_some();
            if is_padding {
                // The byte before what an even address is asked for.
                self.counts.fill += 1;
                continue;
            }
            self.outside_part(source, reading, (from..at.min(len)).step_by(step), &place);
        }
    }

    /// Parts content from fill.
    fn outside_part(
        &mut self,
        source: &SourceImage,
        reading: &Reading,
        part: StepBy<Range<usize>>,
        place: &dyn Fn(usize) -> i64,
    ) {
        let all: Vec<usize> = part.collect();
        let mut rest = 0..0;
        let mut start = 0;
        for same in all.chunk_by(|one, other| reading.cells[*one] == reading.cells[*other]) {
            let end = start + same.len();
            let value = reading.cells[same[0]] as u8;
            let is_whole = same.len() == all.len() && matches!(value, 0 | 0xff);
            if same.len() >= LEAST_FILL || is_whole {
                self.content(source, &all[rest.clone()], place);
                rest = end..end;
                self.counts.fill += same.len();
                let fill = Some(value);
                self.outside.push(Outside { address: place(same[0]), bytes: same.len(), fill, at: same[0] });
            } else {
                rest.end = end;
            }
            start = end;
        }
        self.content(source, &all[rest], place);
    }

    fn content(&mut self, source: &SourceImage, part: &[usize], place: &dyn Fn(usize) -> i64) {
        let Some(first) = part.first() else { return };
        let reserved = part.iter().filter(|it| source.is_reserved(place(**it))).count();
        self.counts.reserved += reserved;
        self.counts.content += part.len() - reserved;
        if reserved < part.len() {
            self.outside.push(Outside { address: place(*first), bytes: part.len(), fill: None, at: *first });
        }
    }
}
