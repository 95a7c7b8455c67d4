//! Parameter blocks in runs of data: which bytes are one, of which layout, and how sure that is.

use reveille_decoders::{Block, Format, Layout, Scalar, Values, family, formats, layout, layouts};
use reveille_program::{
    DataItem, DataRun, FileId, Head, Place, Program, Symbol, Unit, Value, data_runs, definition_span,
};
use reveille_source::Span;

use crate::finding::Evidence;

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
    pub layout: &'static Layout,
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

    /// The operands that lay down a field.
    #[must_use]
    pub fn evidence(&self, field: &str) -> Vec<Evidence> {
        let Some(field) = self.layout.field(field) else { return Vec::new() };
        let end = field.offset + field.bytes;
        self.parts.iter().filter(|part| part.start < end && part.end > field.offset).map(|part| part.at).collect()
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
fn may_be_block(head: Head<'_>) -> bool {
    if head.is_marked || head.has_words {
        return true;
    }
    if head.is_symbolic {
        // A name in the first bytes: the first literal bytes have to look like a sector size, if there are any.
        return head.bytes.len() < 2;
    }
    if head.bytes.len() < 12 {
        // Perhaps the first field of a block each of whose fields has a label.
        return matches!(head.bytes, [low, high, ..] if is_sector_size(*low, *high));
    }
    layouts().iter().any(|layout| {
        let score = |bytes: &[u8]| layout.decode(bytes).score();
        let good = |(all, good): (usize, usize)| good * 10 >= all * 8;
        good(score(head.bytes)) || good(score(&layout.swapped(head.bytes)))
    }) || head.bytes[..2] == [0x60, 0x1c]
}

/// Whether the first field of any layout can have these bytes.
fn is_sector_size(first: u8, second: u8) -> bool {
    layouts().iter().filter_map(|layout| layout.fields.first().map(|field| (layout, field))).any(|(layout, field)| {
        let number = layout.decode(&[first, second]).value(field).and_then(|it| it.number());
        field.bytes == 2 && number.is_some_and(|it| field.is_plausible(it))
    })
}

/// All blocks of a unit, in its order.
pub(crate) fn blocks(program: &Program, unit: &Unit) -> Vec<BlockFact> {
    let mut found: Vec<BlockFact> = Vec::new();
    let runs = data_runs(program, unit, &may_be_block);
    let mut covered: Option<Covered> = None;
    for run in &runs {
        // A block whose fields have labels of their own goes on in the runs behind it.
        if covered.is_some_and(|it| it.covers(run)) {
            continue;
        }
        covered = None;
        if let Some(cut) = cut(program, run) {
            found.extend(facts(program, unit, run, &cut));
        } else if let Some((run, cut)) = across_labels(program, unit, run) {
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

/// A way to see blocks in a run.
struct Cut {
    layout: &'static Layout,
    entries: Vec<Entry>,
    /// The bytes of the run, perhaps without fill bytes.
    bytes: Vec<Option<u8>>,
    fill_bytes: usize,
    confidence: Confidence,
    unknown_layout: Option<String>,
}

#[derive(Clone, Copy, Debug)]
struct Entry {
    /// The first byte in the run.
    start: usize,
    len: usize,
    shape: Shape,
}

/// How well an entry fits: plausible fields of all, in thousandths.
fn fit(bytes: &[u8], holes: &[usize], layout: &Layout) -> (u32, bool) {
    let block = layout.decode_with_holes(bytes, holes);
    let (all, good) = block.score();
    let plain = (good * 1000).checked_div(all).unwrap_or(0);
    if !block.has_shape() {
        let swapped = layout.swapped(bytes);
        let turned = layout.decode_with_holes(&swapped, holes);
        if turned.has_shape() && all > 3 {
            let (all, good) = turned.score();
            return ((good * 1000 / all).min(990) as u32, true);
        }
    }
    (plain as u32, false)
}

/// The entry's bytes in the places of the layout, and the places that are not known.
fn placed(bytes: &[Option<u8>], entry: &Entry) -> (Vec<u8>, Vec<usize>) {
    let mut own: Vec<Option<u8>> = bytes[entry.start..entry.start + entry.len].to_vec();
    if let Some(extra) = entry.shape.extra {
        own.remove(extra);
    }
    if let Some(missing) = entry.shape.missing {
        own.insert(missing.min(own.len()), None);
        if missing + 1 == own.len() {
            own.pop();
        }
    }
    let holes = own.iter().enumerate().filter(|it| it.1.is_none()).map(|it| it.0).collect();
    (own.iter().map(|it| it.unwrap_or(0)).collect(), holes)
}

/// The entry at a place, with the byte that is missing or too many where the rest fits best; and how well it fits.
fn entry(bytes: &[Option<u8>], start: usize, len: usize, layout: &Layout) -> (Entry, u32) {
    let plain = Entry { start, len, shape: Shape::default() };
    let tries: Vec<Shape> = match len.cmp(&layout.len()) {
        std::cmp::Ordering::Equal => vec![Shape::default()],
        // The last place first: where several fit alike, the end is the place.
        std::cmp::Ordering::Less => {
            (0..layout.len()).rev().map(|at| Shape { missing: Some(at), ..Shape::default() }).collect()
        }
        std::cmp::Ordering::Greater => (0..len).rev().map(|at| Shape { extra: Some(at), ..Shape::default() }).collect(),
    };
    let mut best = (plain, 0);
    for shape in tries {
        let entry = Entry { shape, ..plain };
        let (own, holes) = placed(bytes, &entry);
        let (fit, is_swapped) = fit(&own, &holes, layout);
        if fit > best.1 || best.1 == 0 {
            best = (Entry { shape: Shape { is_swapped, ..shape }, ..entry }, fit);
        }
    }
    let (own, holes) = placed(bytes, &best.0);
    let block = layout.decode(&own);
    if holes.is_empty() && own.len() > 12 && block.is_template() {
        best.0.shape.is_template = true;
        best.0.shape.is_swapped = false;
        best.1 = best.1.max(700);
    }
    best
}

/// Entries of a layout in `bytes`, one of which may have a byte too few or too many; and how well they fit together.
fn entries(bytes: &[Option<u8>], layout: &Layout) -> Option<(Vec<Entry>, u32)> {
    let len = layout.len();
    let (count, rest) = (bytes.len() / len, bytes.len() % len);
    let all = |count: usize, odd: Option<(usize, isize)>| {
        let (mut found, mut sum, mut start) = (Vec::with_capacity(count), 0, 0);
        for at in 0..count {
            let own = match odd {
                Some((place, more)) if place == at => len.checked_add_signed(more).unwrap_or(len),
                _ => len,
            };
            let (entry, fit) = entry(bytes, start, own, layout);
            found.push(entry);
            sum += fit;
            start += own;
        }
        (found, sum / count.max(1) as u32)
    };
    // A long table needs no second look at every place where the odd byte may be.
    let best = |count: usize, more: isize| {
        (0..count.min(16)).map(|place| all(count, Some((place, more)))).max_by_key(|it| it.1)
    };
    if count > 256 {
        return None;
    }
    match rest {
        0 if count > 0 => Some(all(count, None)),
        1 if count > 0 => best(count, 1),
        rest if rest + 1 == len => best(count + 1, -1),
        _ => None,
    }
}

/// The best way to see blocks in a run, if there is one that is good enough.
fn cut(program: &Program, run: &DataRun) -> Option<Cut> {
    let whole: Vec<Option<u8>> = run.items.iter().flat_map(|item| item.bytes.iter().copied()).collect();
    let named = run.block.as_deref().map(|name| layout(name).ok_or(name));
    if let Some(Ok(layout)) = named {
        return Some(marked(run, layout, &whole));
    }
    let unknown_layout = named.and_then(Result::err).map(str::to_owned);
    let mut best: Option<(u32, Cut)> = None;
    for (bytes, fill_bytes) in variants(program, run, whole) {
        for layout in layouts() {
            let Some((entries, fit)) = entries(&bytes, layout) else { continue };
            let is_whole = bytes.len() % layout.len() == 0;
            let has_shape = entries.iter().all(|it| {
                let (own, holes) = placed(&bytes, it);
                layout.decode_with_holes(&own, &holes).has_shape() || it.shape.is_swapped
            });
            let enough = match (run.has_words, is_whole) {
                (true, true) => 600,
                (true, false) => 750,
                (false, true) => 800,
                (false, false) => 950,
            };
            if fit < enough || (!run.has_words && entries.iter().all(|it| it.shape.is_template)) {
                continue;
            }
            // Better fit first; a whole number of entries before a byte too many or too few; the longer layout last.
            let rank = fit + if is_whole { 60 } else { 0 } + layout.len() as u32 / 2;
            if best.as_ref().is_none_or(|it| rank > it.0) {
                let confidence = confidence(run, layout, entries.len(), is_whole, has_shape);
                let (bytes, unknown_layout) = (bytes.clone(), unknown_layout.clone());
                best = Some((rank, Cut { layout, entries, bytes, fill_bytes, confidence, unknown_layout }));
            }
        }
    }
    best.map(|it| it.1).or_else(|| inside(run, unknown_layout))
}

/// The bytes of a run as blocks may be in it, and how many fill bytes of alignment were left out: all bytes; without those that
/// alignment put between words, since a table of DC.W shows its shape only so; without a byte that pads the table to even.
fn variants(program: &Program, run: &DataRun, whole: Vec<Option<u8>>) -> Vec<(Vec<Option<u8>>, usize)> {
    let fill_bytes = run.items.iter().filter(|item| item.span.is_empty()).count();
    let mut variants = Vec::new();
    if fill_bytes > 0 {
        let own = run.items.iter().filter(|item| !item.span.is_empty());
        variants.push((own.flat_map(|item| item.bytes.iter().copied()).collect(), fill_bytes));
    }
    if is_padded(program, run, whole.len()) {
        variants.push((whole[..whole.len() - 1].to_vec(), 0));
    }
    variants.insert(0, (whole, 0));
    variants
}

/// Whether the last byte of a run is there to make its length even: half of a word, or a zero of its own whose comment says so.
fn is_padded(program: &Program, run: &DataRun, len: usize) -> bool {
    let Some(last) = run.items.last().filter(|it| it.bytes.last() == Some(&Some(0)) && len.is_multiple_of(2)) else {
        return false;
    };
    if last.item_bytes > 1 {
        return true;
    }
    let is_alone = run.items.iter().filter(|it| it.place == last.place).count() == 1 && last.bytes.len() == 1;
    let Some(file) = program.file(run.file).filter(|_| is_alone) else { return false };
    let (_, line, text) = file.at(last.place.chunk, last.place.line);
    let comment = line.comment.of(text).to_ascii_lowercase();
    ["pad", "fill", "even", "align", "spare", "unused"].iter().any(|word| comment.contains(word))
}

fn confidence(run: &DataRun, layout: &Layout, count: usize, is_whole: bool, has_shape: bool) -> Confidence {
    let mut reasons = Vec::new();
    if has_shape {
        reasons.push("every field has a value that such a block has".to_owned());
    } else {
        reasons.push("most fields have values that such a block has".to_owned());
    }
    if is_whole {
        let many = if count > 1 { format!("{count} x {}", layout.len()) } else { layout.len().to_string() };
        reasons.push(format!("the table is exactly {many} bytes long"));
    }
    if run.has_words {
        reasons.push("label or comments speak of disks".to_owned());
    }
    let level = match reasons.len() {
        3 if has_shape => Level::Certain,
        0 | 1 => Level::Possible,
        _ => Level::Likely,
    };
    Confidence { level, reasons }
}

/// A run that a comment gives a layout: it is that, whatever its bytes say.
fn marked(run: &DataRun, layout: &'static Layout, whole: &[Option<u8>]) -> Cut {
    let confidence =
        Confidence { level: Level::Certain, reasons: vec![format!("a comment says `@block {}`", layout.name)] };
    let without: Vec<Option<u8>> =
        run.items.iter().filter(|item| !item.span.is_empty()).flat_map(|item| item.bytes.iter().copied()).collect();
    let fill = whole.len() - without.len();
    let (bytes, fill_bytes) = match (entries(whole, layout), entries(&without, layout)) {
        (one, Some(two)) if fill > 0 && one.as_ref().is_none_or(|it| it.1 < two.1) => (without, fill),
        _ => (whole.to_vec(), 0),
    };
    let found = entries(&bytes, layout).map_or_else(
        || {
            // Too far from a whole number: what there is, entry by entry, the last one as it is.
            let len = layout.len();
            let starts = (0..bytes.len()).step_by(len);
            starts.map(|start| Entry { start, len: len.min(bytes.len() - start), shape: Shape::default() }).collect()
        },
        |it| it.0,
    );
    Cut { layout, entries: found, bytes, fill_bytes, confidence, unknown_layout: None }
}

/// A block somewhere inside a run that holds other things too: it must start where a line starts, and be beyond doubt.
fn inside(run: &DataRun, unknown_layout: Option<String>) -> Option<Cut> {
    let bytes: Vec<Option<u8>> = run.items.iter().flat_map(|item| item.bytes.iter().copied()).collect();
    let mut starts = Vec::new();
    let (mut at, mut line) = (0, None);
    for item in &run.items {
        if line != Some(item.place) {
            starts.push(at);
            line = Some(item.place);
        }
        at += item.bytes.len();
    }
    if bytes.len() > 4096 {
        starts.truncate(64);
    }
    for start in starts {
        for layout in layouts().iter().rev() {
            let Some(own) = bytes.get(start..start + layout.len()) else { continue };
            let Some(own) = own.iter().copied().collect::<Option<Vec<u8>>>() else { continue };
            let block = layout.decode(&own);
            let (all, good) = block.score();
            if all != good || !block.has_shape() {
                continue;
            }
            // A table may go on with entries of the same kind.
            let mut entries = Vec::new();
            let mut at = start;
            while let Some(Some(own)) =
                bytes.get(at..at + layout.len()).map(|it| it.iter().copied().collect::<Option<Vec<u8>>>())
            {
                if !layout.decode(&own).has_shape() {
                    break;
                }
                entries.push(Entry { start: at, len: layout.len(), shape: Shape::default() });
                at += layout.len();
            }
            let confidence = confidence(run, layout, entries.len(), false, true);
            return Some(Cut { layout, entries, bytes, fill_bytes: 0, confidence, unknown_layout });
        }
    }
    None
}

/// A block each of whose fields has a label: the runs from here on, as long as they follow each other, seen as one.
fn across_labels(program: &Program, unit: &Unit, first: &DataRun) -> Option<(DataRun, Cut)> {
    let longest = layouts().iter().map(Layout::len).max().unwrap_or(0);
    if first.is_empty() || first.len() >= longest {
        return None;
    }
    let mut joined = first.clone();
    while joined.len() < longest {
        let Some(next) = reveille_program::data_run_after(program, unit, joined.last) else { break };
        if next.is_empty() {
            break;
        }
        joined.items.extend(next.items.iter().cloned());
        joined.last = next.last;
        joined.has_words |= next.has_words;
    }
    if joined.last == first.last {
        return None;
    }
    let bytes: Vec<Option<u8>> = joined.items.iter().flat_map(|item| item.bytes.iter().copied()).collect();
    // The longest layout that fits beyond doubt and ends where a line ends.
    for layout in layouts().iter().rev() {
        let Some(own) = bytes.get(..layout.len()) else { continue };
        let known = own.iter().copied().collect::<Option<Vec<u8>>>();
        let Some(own) = known else { continue };
        let block = layout.decode(&own);
        let (all, good) = block.score();
        let is_enough = block.has_shape() && (all == good || joined.has_words && good + 1 >= all);
        let mut run = joined.clone();
        if is_enough && ends_line(&mut run, layout.len()) {
            let confidence = confidence(&run, layout, 1, true, true);
            let entries = vec![Entry { start: 0, len: layout.len(), shape: Shape::default() }];
            let bytes = bytes[..layout.len()].to_vec();
            return Some((run, Cut { layout, entries, bytes, fill_bytes: 0, confidence, unknown_layout: None }));
        }
    }
    None
}

/// Cuts the run off after `len` bytes, if a line ends there.
fn ends_line(run: &mut DataRun, len: usize) -> bool {
    let mut sum = 0;
    for at in 0..run.items.len() {
        sum += run.items[at].bytes.len();
        if sum == len {
            let last = run.items[at].place;
            let is_end = run.items.get(at + 1).is_none_or(|next| next.place != last);
            run.items.truncate(at + 1);
            run.last = last;
            return is_end;
        }
    }
    false
}

/// The facts of a cut.
fn facts(program: &Program, unit: &Unit, run: &DataRun, cut: &Cut) -> Vec<BlockFact> {
    let name = run.label.map(|label| program.names().text(label).to_string());
    let label_text = name.clone().unwrap_or_default();
    let count = cut.entries.len();
    let items: Vec<DataItem> =
        run.items.iter().filter(|item| cut.fill_bytes == 0 || !item.span.is_empty()).cloned().collect();
    let mut found = Vec::with_capacity(count);
    // Other data may follow the table without a label: it ends with its last entry.
    let end = cut.entries.last().map_or(0, |it| it.start + it.len);
    let last = last_place(&items, end).unwrap_or(run.last);
    for (at, entry) in cut.entries.iter().enumerate() {
        let (bytes, holes) = placed(&cut.bytes, entry);
        let (parts, own_items, items_start) = parts(&items, entry, cut.layout);
        let first = parts.first().map_or(Evidence { place: run.first, span: Span::default() }, |part| part.at);
        let block = cut.layout.decode_with_holes(&bytes, &holes);
        let comments = comments(program, run.first, first.place);
        let file_system = cut.layout.field("file_system_type").and_then(|field| block.value(field));
        let says_fat12 = format!("{label_text} {comments}").to_ascii_lowercase().contains("fat12")
            || matches!(&file_system, Some(Scalar::Text(text)) if text.starts_with("FAT12"));
        let outside = vec![("says_fat12".to_owned(), Scalar::Number(i64::from(says_fat12)))];
        let Some(family) = family(&cut.layout.family) else { continue };
        let values = Values::new(family, &block, &outside);
        let shape = Shape { fill_bytes: cut.fill_bytes, ..entry.shape };
        let subject = match (&name, count) {
            (Some(name), 1) => name.clone(),
            (Some(name), _) => format!("{name}[{at}]"),
            (None, 1) => "table without a label".to_owned(),
            (None, _) => format!("table without a label[{at}]"),
        };
        let label = run
            .label
            .and_then(|label| unit.definitions().iter().rev().find(|it| it.symbol == label && it.place <= run.first));
        let label_at = label.map(|it| Evidence { place: it.place, span: definition_span(program, it.place) });
        let is_plain = shape.missing.is_none() && shape.extra.is_none() && !shape.is_swapped && !shape.is_template;
        let mut fact = BlockFact {
            subject,
            label: run.label,
            entry: (at, count),
            offset: entry.start,
            address: offset(run.address, entry.start),
            layout: cut.layout,
            bytes,
            holes,
            parts,
            items: own_items,
            items_start,
            shape,
            confidence: cut.confidence.clone(),
            values,
            format: None,
            unknown_layout: cut.unknown_layout.clone().filter(|_| at == 0),
            at: label_at.filter(|_| at == 0).unwrap_or(first),
            last,
            label_text: label_text.clone(),
        };
        if is_plain {
            fact.format = equal_format(&fact);
        }
        found.push(fact);
    }
    found
}

/// The line that lays down the last of `len` bytes.
fn last_place(items: &[DataItem], len: usize) -> Option<Place> {
    let mut sum = 0;
    items
        .iter()
        .find(|item| {
            sum += item.bytes.len();
            sum >= len
        })
        .map(|item| item.place)
}

fn offset(value: Value, by: usize) -> Value {
    match value {
        Value::Number(number) => Value::Number(number + by as i64),
        Value::Address(base, number) => Value::Address(base, number + by as i64),
        Value::Unknown => Value::Unknown,
    }
}

/// The comments of a table's first line, of an entry's first line, and above the table.
fn comments(program: &Program, table: Place, entry: Place) -> String {
    let Some(file) = program.file(table.file) else { return String::new() };
    let comment = |place: Place| {
        let (_, line, text) = file.at(place.chunk, place.line);
        line.comment.of(text).to_owned()
    };
    let mut text = format!("{} {}", comment(table), comment(entry));
    let (chunk, ..) = file.at(table.chunk, table.line);
    for line in chunk.lines()[..table.line.into()].iter().rev().take(4) {
        if line.op != reveille_source::OpId::NONE {
            break;
        }
        text.push(' ');
        text.push_str(line.comment.of(chunk.line_text(line)));
    }
    text
}

/// Where the bytes of an entry come from, in the places of the layout.
fn parts(items: &[DataItem], entry: &Entry, layout: &Layout) -> (Vec<Part>, Vec<DataItem>, usize) {
    let (mut parts, mut own, mut own_start) = (Vec::new(), Vec::new(), 0);
    let mut start = 0;
    for item in items {
        let end = start + item.bytes.len();
        let (from, to) = (start.max(entry.start), end.min(entry.start + entry.len));
        if from < to {
            if own.is_empty() {
                own_start = entry.start - start;
            }
            own.push(item.clone());
            // A byte too many is no part of the layout; behind it, and behind a missing one, places move.
            let place = |at: usize| {
                let at = at - entry.start;
                match (entry.shape.extra, entry.shape.missing) {
                    (Some(extra), _) if at > extra => at - 1,
                    (_, Some(missing)) if at >= missing => at + 1,
                    _ => at,
                }
            };
            let (first, last) = (place(from), place(to - 1) + 1);
            if !(entry.shape.extra == Some(from - entry.start) && to - from == 1) {
                let at = Evidence { place: item.place, span: item.span };
                parts.push(Part { at, start: first, end: last.min(layout.len()).max(first) });
            }
        }
        start = end;
    }
    (parts, own, own_start)
}

/// The standard format whose values a block has in all its fields.
fn equal_format(fact: &BlockFact) -> Option<&'static Format> {
    let block = fact.block();
    formats().iter().find(|format| {
        let fields = fact.layout.fields.iter();
        fields.filter_map(|field| Some((format.value(&field.name)?, field))).all(|(value, field)| {
            let own = block.value(field).and_then(|it| it.number());
            // A total in the 32-bit field says the same.
            own == Some(value)
        })
    })
}
