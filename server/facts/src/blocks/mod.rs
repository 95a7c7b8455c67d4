//! Parameter blocks in runs of data: which bytes are one, of which layout, and how sure that is.

mod cut;
mod fact;
mod in_c;
mod map;
mod words;

use std::sync::Arc;

use reveille_decoders::{Block, Format, Layout, Scalar, Values, family};
use reveille_program::{DataItem, DataRun, FileId, Head, Place, Program, Symbol, Unit, Value, data_runs, made_runs};
use rustc_hash::FxHashSet;

use crate::finding::Evidence;
use cut::{across_labels, by_shape, cut};
pub(crate) use fact::comments;
use fact::facts;
pub(crate) use in_c::blocks_of_c;
pub use map::{DiskMap, Part as DiskPart};

/// How sure it is that bytes are a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Level {
    /// Some of it speaks for it.
    Possible,
    /// Shape and length, or shape and words, speak for it.
    Likely,
    /// The source says so, or shape, length and words all do.
    Certain,
}

/// How sure it is that bytes are a block, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Confidence {
    /// How sure.
    pub level: Level,
    /// What speaks for it.
    pub reasons: Vec<String>,
}

impl Level {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Possible => "possible",
            Self::Likely => "likely",
            Self::Certain => "certain",
        }
    }
}

/// What is wrong with the form of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Shape {
    /// A byte is missing: its place in the layout.
    pub missing: Option<usize>,
    /// A byte is too many: its place in the table's entry.
    pub extra: Option<usize>,
    /// Every word has its bytes exchanged.
    pub is_swapped: bool,
    /// Nothing is filled in.
    pub is_template: bool,
    /// Fill bytes that alignment put in between.
    pub fill_bytes: usize,
}

/// Bytes of a block that one operand laid down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// The operand.
    pub at: Evidence,
    /// The first byte of the block that it gives, and the byte after the last.
    pub start: usize,
    /// The byte after the last.
    pub end: usize,
}

/// A parameter block of the program.
#[derive(Debug)]
pub struct BlockFact {
    /// What it is called: the label, and its place in the table where there are several.
    pub subject: String,
    /// The label of the table.
    pub label: Option<Symbol>,
    /// Its place in the table, and how many there are.
    pub entry: (usize, usize),
    /// Its first byte, counted from the label.
    pub offset: usize,
    /// The address of the first byte.
    pub address: Value,
    /// The layout.
    pub layout: Arc<Layout>,
    /// The bytes, in the places of the layout.
    pub bytes: Vec<u8>,
    /// Places of bytes that are not known.
    pub holes: Vec<usize>,
    /// Where the bytes come from, in order.
    pub parts: Vec<Part>,
    /// The operands' values, for changes; they may reach over the block's ends.
    pub(crate) items: Vec<DataItem>,
    /// Where the block's first byte is in `items`.
    pub(crate) items_start: usize,
    /// What is wrong with its form.
    pub shape: Shape,
    /// How sure it is.
    pub confidence: Confidence,
    /// The values of fields and what follows from them.
    pub values: Values,
    /// What is known of the disk apart from the block.
    outside: Vec<(String, Scalar)>,
    /// The standard format that it equals.
    pub format: Option<&'static Format>,
    /// A layout that a comment names and nobody knows.
    pub unknown_layout: Option<String>,
    /// Where the label is, or the first line.
    pub at: Evidence,
    /// The last line of the table.
    pub last: Place,
    /// Words of the label, to tell which disk is meant.
    pub label_text: String,
}

impl BlockFact {
    /// The decoded block.
    #[must_use]
    pub fn block(&self) -> Block<'_> {
        self.layout.decode_with_holes(&self.bytes, &self.holes)
    }

    /// A number by its name: a field or what follows from fields.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<i64> {
        self.values.number(name)
    }

    /// Whether the values can be trusted to be those of the block.
    #[must_use]
    pub fn is_readable(&self) -> bool {
        !self.shape.is_swapped && !self.shape.is_template
    }

    /// The disk in a few words: `80 x 2 x 9 x 512` (cylinders, heads, sectors per track, bytes per sector), or what the family says of it.
    #[must_use]
    pub fn in_words(&self) -> String {
        if self.shape.is_swapped {
            return "bytes exchanged".into();
        }
        if self.shape.is_template {
            return "not filled in".into();
        }
        if let Some([cylinders, heads, sectors, size]) = self.geometry() {
            return format!("{cylinders} x {heads} x {sectors} x {size}");
        }
        let summary = family(&self.layout.family).and_then(|it| it.summary.as_ref());
        summary.map_or_else(|| "no whole geometry".to_owned(), |it| it.text(&self.values))
    }

    /// Makes something known that is not in the block: all values are worked out again.
    pub(crate) fn know(&mut self, name: &str, value: i64) {
        self.outside.retain(|it| it.0 != name);
        self.outside.push((name.to_owned(), Scalar::Number(value)));
        if let Some(family) = family(&self.layout.family) {
            self.values = Values::new(family, &self.block(), &self.outside);
        }
    }

    /// The operands that lay down a field.
    #[must_use]
    pub fn evidence(&self, field: &str) -> Vec<Evidence> {
        let Some(field) = self.layout.field(field) else { return Vec::new() };
        let end = field.offset + field.bytes;
        let own = self.parts.iter().filter(|part| part.start < end && part.end > field.offset);
        let mut places: Vec<Evidence> = own.map(|part| part.at).collect();
        places.dedup();
        places
    }

    /// The bytes that the source lays down before the block, as many as asked for: those of a boot sector that is there as a whole.
    #[must_use]
    pub fn bytes_before(&self, count: usize) -> Option<Vec<u8>> {
        let all: Vec<Option<u8>> = self.items.iter().flat_map(|it| it.bytes.iter().copied()).collect();
        let start = self.items_start.checked_sub(count).filter(|_| self.entry.1 == 1 && self.offset == count)?;
        all.get(start..self.items_start)?.iter().copied().collect()
    }

    /// Cylinders, heads, sectors per track and bytes per sector: from the fields, or from the standard format of this total.
    #[must_use]
    pub fn geometry(&self) -> Option<[i64; 4]> {
        if !self.is_readable() {
            return None;
        }
        let own = ["cylinders_of_block", "legal_sides", "legal_sectors_per_track", "legal_sector_size"]
            .map(|it| self.number(it));
        if let [Some(cylinders), Some(sides), Some(sectors), Some(size)] = own {
            return Some([cylinders, sides, sectors, size]);
        }
        self.format.map(|it| [it.cylinders, it.sides, it.sectors_per_track, it.sector_size])
    }
}

/// Everything that may be a block by its first bytes: what is not wanted here is not evaluated.
fn may_be_block(layouts: &[Arc<Layout>], head: Head<'_>) -> bool {
    if head.is_marked || head.subjects.has_disks() {
        return true;
    }
    let is_boot_sector = matches!(head.bytes.first(), Some(0x60 | 0xeb | 0xe9));
    if head.is_symbolic {
        // A name or a text in the first bytes: there is little to go by, but a boot sector starts with a branch.
        return head.bytes.len() < 2 || is_boot_sector;
    }
    if head.bytes.len() < 12 {
        // Perhaps the first field of a block each of whose fields has a label.
        return matches!(head.bytes, [first, second, ..] if is_telling(layouts, [*first, *second]));
    }
    is_boot_sector
        || by_shape(layouts).any(|layout| {
            let good = |bytes: &[u8]| {
                let block = layout.decode(bytes);
                let (all, good) = block.score();
                good * 10 >= all * 8 && (layout.words.is_empty() || block.has_shape())
            };
            good(head.bytes) || good(&layout.swapped(head.bytes))
        })
}

/// Whether the first field of any layout can have these bytes, where few values are plausible for it.
fn is_telling(layouts: &[Arc<Layout>], bytes: [u8; 2]) -> bool {
    by_shape(layouts).filter_map(|layout| layout.fields.first().map(|field| (layout, field))).any(|(layout, field)| {
        let number = layout.decode(&bytes).value(field).and_then(|it| it.number());
        let is_narrow = field.values.is_some() || field.power_of_two;
        field.bytes == 2 && is_narrow && number.is_some_and(|it| field.is_plausible(it))
    })
}

/// All blocks of a unit, in its order.
pub(crate) fn blocks(program: &Program, unit: &Unit, layouts: &[Arc<Layout>]) -> Vec<BlockFact> {
    let mut found: Vec<BlockFact> = Vec::new();
    let labels: FxHashSet<Symbol> =
        layouts.iter().flat_map(|it| &it.labels).flat_map(|label| program.names().find(label)).collect();
    let wants = |head: Head<'_>| may_be_block(layouts, head) || head.label.is_some_and(|it| labels.contains(&it));
    let mut runs = data_runs(program, unit, &wants);
    runs.extend(made_runs(program, unit, &wants));
    let mut covered: Option<Covered> = None;
    for run in &runs {
        // A block whose fields have labels of their own goes on in the runs behind it.
        if covered.is_some_and(|it| it.covers(run)) {
            continue;
        }
        covered = None;
        if let Some(cut) = cut(program, layouts, run) {
            found.extend(facts(program, unit, run, &cut));
        } else if let Some((run, cut)) = across_labels(program, unit, layouts, run) {
            covered = Some(Covered { file: run.file, last: run.last });
            found.extend(facts(program, unit, &run, &cut));
        }
    }
    found
}

#[derive(Clone, Copy)]
struct Covered {
    file: FileId,
    last: Place,
}

impl Covered {
    fn covers(&self, run: &DataRun) -> bool {
        run.file == self.file && (run.first.chunk, run.first.line) <= (self.last.chunk, self.last.line)
    }
}
