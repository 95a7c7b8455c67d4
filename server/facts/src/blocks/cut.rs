//! How a run of bytes is cut into blocks: which layout, how many entries, which byte is missing or too many.

use std::sync::Arc;

use reveille_decoders::Layout;
use reveille_program::{DataItem, DataRun, Program, Unit};

use super::words::Words;
use super::{Confidence, Level, Shape};

/// Where the block stands in a boot sector (*FAT: General Overview of On-Disk Format* 1.03, Boot Sector and BPB).
const BOOT_SECTOR_OFFSET: usize = 11;

/// Blocks of fewer bytes than this are told only where there is a whole number of them.
const SHORT: usize = 12;

/// A way to see blocks in a run.
pub(super) struct Cut {
    pub(super) layout: Arc<Layout>,
    pub(super) entries: Vec<Entry>,
    /// The bytes of the run, perhaps without fill bytes.
    pub(super) bytes: Vec<Option<u8>>,
    pub(super) fill_bytes: usize,
    pub(super) confidence: Confidence,
    pub(super) unknown_layout: Option<String>,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Entry {
    /// The first byte in the run.
    pub(super) start: usize,
    pub(super) len: usize,
    pub(super) shape: Shape,
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
pub(super) fn placed(bytes: &[Option<u8>], entry: &Entry) -> (Vec<u8>, Vec<usize>) {
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
    if holes.is_empty() && own.len() > 12 && !layout.needs_words && block.is_template() {
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
        // Nearly every table is a byte longer or shorter than some short blocks in a row.
        _ if len < SHORT => None,
        1 if count > 0 => best(count, 1),
        rest if rest + 1 == len => best(count + 1, -1),
        _ => None,
    }
}

/// The layouts that bytes may have: lists of rows with as many rows as the bytes have.
fn candidates<'a>(layouts: &'a [Arc<Layout>], len: usize) -> impl Iterator<Item = Arc<Layout>> + 'a {
    layouts.iter().filter_map(move |layout| match layout.rows {
        None => Some(layout.clone()),
        Some(_) => layout.with_rows(len).map(Arc::new),
    })
}

/// The best way to see blocks in a run, if there is one that is good enough.
pub(super) fn cut(program: &Program, layouts: &[Arc<Layout>], run: &DataRun) -> Option<Cut> {
    let whole: Vec<Option<u8>> = run.items.iter().flat_map(|item| item.bytes.iter().copied()).collect();
    let label = run.label.map(|it| program.names().text(it));
    let by_label = layouts.iter().find(|it| it.labels.iter().any(|own| Some(own.as_str()) == label.as_deref()));
    let named = run.block.as_deref().map(|name| layouts.iter().find(|it| it.is_called(name)).ok_or(name));
    match (&named, by_label) {
        (Some(Ok(layout)), _) => {
            return Some(marked(run, layout, &whole, format!("a comment says `@block {}`", layout.name)));
        }
        (None, Some(layout)) => return Some(marked(run, layout, &whole, "the machine file says so".to_owned())),
        _ => (),
    }
    let unknown_layout = named.and_then(Result::err).map(str::to_owned);
    let words = Words::new(program, run);
    let mut best: Option<(u32, Cut)> = None;
    let len = whole.len();
    for (bytes, fill_bytes) in variants(program, layouts, run, whole) {
        for layout in candidates(layouts, bytes.len()) {
            let is_spoken_of = !layout.words.is_empty() && words.speak_of(&layout);
            // Filler has the values of any list.
            let is_one_value = || bytes.first().is_some_and(|first| bytes.iter().all(|it| it == first));
            if layout.needs_words && (!is_spoken_of || is_one_value()) {
                continue;
            }
            let Some((entries, fit)) = entries(&bytes, &layout) else { continue };
            let is_whole = bytes.len() % layout.len() == 0;
            // Where nothing speaks of disks, one slip is believed, not a second one that makes the first look like one: an odd byte
            // behind an end mark, or in exchanged words.
            let is_twice = bytes.len() != len || entries.iter().any(|it| it.shape.is_swapped);
            if !run.subjects.has_disks() && !is_whole && is_twice {
                continue;
            }
            let is_block = |it: &Entry, holds: &dyn Fn(reveille_decoders::Block<'_>) -> bool| {
                let (own, holes) = placed(&bytes, it);
                holds(layout.decode_with_holes(&own, &holes))
            };
            let has_shape = entries.iter().all(|it| it.shape.is_swapped || is_block(it, &|block| block.has_shape()));
            let is_far = |it: &Entry| !it.shape.is_swapped && is_block(it, &|block| block.is_far());
            if entries.iter().any(is_far) {
                continue;
            }
            // A layout that has words of its own, and none of them is there, must be beyond doubt.
            let needs_all = !layout.words.is_empty() && !is_spoken_of;
            let enough = match (run.subjects.has_disks(), is_whole) {
                _ if needs_all && !has_shape => continue,
                _ if needs_all || layout.len() < SHORT => 950,
                (true, true) => 600,
                (true, false) => 750,
                (false, true) => 800,
                (false, false) => 950,
            };
            // Filler tells nothing by itself, and one repeated value is a buffer.
            let is_repeated = run.items.iter().any(|it| it.bytes.len() > it.item_bytes as usize);
            let is_filler = entries.iter().all(|it| it.shape.is_template);
            if fit < enough || is_filler && (is_repeated || !run.subjects.has_disks()) {
                continue;
            }
            // Better fit first; a whole number of entries before a byte too many or too few; the longer layout last.
            let length = if layout.rows_of().is_some() { 0 } else { layout.len() as u32 / 2 };
            // One wrong field of nine or more outweighs no odd byte that makes another layout fit.
            let rank = fit + if is_whole { 120 } else { 0 } + if is_spoken_of { 30 } else { 0 } + length;
            if best.as_ref().is_none_or(|it| rank > it.0) {
                let confidence = confidence(run, &layout, entries.len(), is_whole, has_shape);
                let (bytes, unknown_layout) = (bytes.clone(), unknown_layout.clone());
                best = Some((rank, Cut { layout, entries, bytes, fill_bytes, confidence, unknown_layout }));
            }
        }
    }
    best.map(|it| it.1)
        .or_else(|| truncated(layouts, run, &unknown_layout))
        .or_else(|| inside(layouts, run, unknown_layout))
}

/// A table that breaks off inside a block, by more than a byte: all that is there fits, and it has a telling field more than the next
/// shorter layout. Only where words speak of disks, since bytes that follow a shorter block may fit by chance.
fn truncated(layouts: &[Arc<Layout>], run: &DataRun, unknown_layout: &Option<String>) -> Option<Cut> {
    let bytes: Vec<Option<u8>> = run.items.iter().flat_map(|item| item.bytes.iter().copied()).collect();
    let own = bytes.iter().copied().collect::<Option<Vec<u8>>>().filter(|_| run.subjects.has_disks())?;
    let layout = layouts.windows(2).find_map(|pair| {
        let (short, long) = (&pair[0], &pair[1]);
        let block = long.decode(&own);
        let is_more = long.fields.iter().any(|it| it.core && it.offset >= short.len() && block.value(it).is_some());
        let (all, good) = block.score();
        let is_one = long.extends(short) && own.len() + 1 < long.len();
        (is_one && is_more && all == good && block.has_shape()).then_some(long)
    })?;
    let confidence = confidence(run, layout, 1, false, true);
    let entries = vec![Entry { start: 0, len: own.len(), shape: Shape::default() }];
    let unknown_layout = unknown_layout.clone();
    Some(Cut { layout: layout.clone(), entries, bytes, fill_bytes: 0, confidence, unknown_layout })
}

/// The bytes of a run as blocks may be in it, and how many fill bytes of alignment were left out: all bytes; without those that
/// alignment put between words, since a table of DC.W shows its shape only so; without a byte that pads the table to even.
fn variants(
    program: &Program,
    layouts: &[Arc<Layout>],
    run: &DataRun,
    whole: Vec<Option<u8>>,
) -> Vec<(Vec<Option<u8>>, usize)> {
    let fill_bytes = run.items.iter().filter(|item| item.span.is_empty()).count();
    let mut variants = Vec::new();
    if fill_bytes > 0 {
        let own = run.items.iter().filter(|item| !item.span.is_empty());
        variants.push((own.flat_map(|item| item.bytes.iter().copied()).collect(), fill_bytes));
    }
    if is_padded(program, run, whole.len()) {
        variants.push((whole[..whole.len() - 1].to_vec(), 0));
    }
    if let Some(len) = without_end_mark(program, layouts, run) {
        variants.push((whole[..len].to_vec(), 0));
    }
    variants.insert(0, (whole, 0));
    variants
}

/// How many bytes a run has before its last line, if that line marks the table's end: a byte, word or long word of all ones, or of
/// zeros that several entries or a comment make an end mark.
fn without_end_mark(program: &Program, layouts: &[Arc<Layout>], run: &DataRun) -> Option<usize> {
    let last = run.items.last()?.place;
    let own: Vec<&DataItem> = run.items.iter().filter(|it| it.place == last).collect();
    let bytes: Vec<u8> =
        own.iter().filter(|it| !it.span.is_empty()).flat_map(|it| it.bytes.iter().copied()).collect::<Option<_>>()?;
    if !matches!(bytes.len(), 1 | 2 | 4) || own.len() == run.items.len() {
        return None;
    }
    let before: usize = run.items.iter().filter(|it| it.place != last).map(|it| it.bytes.len()).sum();
    let is_table = || {
        let mut long = layouts.iter().filter(|it| it.rows.is_none() && it.len() >= SHORT);
        long.any(|layout| before > layout.len() && before.is_multiple_of(layout.len()))
    };
    let says_so = || {
        let comment = program.file(run.file).map_or(String::new(), |file| {
            let (_, line, text) = file.at(last.chunk, last.line);
            line.comment.of(text).to_ascii_lowercase()
        });
        ["end", "stop", "last", "mark", "termin"].iter().any(|word| comment.contains(word))
    };
    let is_mark = bytes.iter().all(|it| *it == 0xff)
        || bytes.iter().all(|it| *it == 0) && (bytes.len() > 1 || is_table() || says_so());
    is_mark.then_some(before)
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
    if is_whole && layout.rows_of().is_none() {
        let many = if count > 1 { format!("{count} x {}", layout.len()) } else { layout.len().to_string() };
        reasons.push(format!("the table is exactly {many} bytes long"));
    }
    if run.subjects.has_disks() {
        reasons.push("label or comments speak of disks".to_owned());
    }
    let level = match reasons.len() {
        3 if has_shape => Level::Certain,
        0 | 1 => Level::Possible,
        _ => Level::Likely,
    };
    Confidence { level, reasons }
}

/// A run that a comment or the machine file gives a layout: it is that, whatever its bytes say.
fn marked(run: &DataRun, layout: &Arc<Layout>, whole: &[Option<u8>], reason: String) -> Cut {
    let confidence = Confidence { level: Level::Certain, reasons: vec![reason] };
    let without: Vec<Option<u8>> =
        run.items.iter().filter(|item| !item.span.is_empty()).flat_map(|item| item.bytes.iter().copied()).collect();
    // A list has the rows that are there, an odd byte behind them left out.
    let rows = |bytes: &[Option<u8>]| {
        let most = layout.rows.map_or(0, |it| it.most) * layout.len();
        let len = (bytes.len() / layout.len() * layout.len()).min(most);
        layout.with_rows(len).map(Arc::new)
    };
    let layout = rows(whole).unwrap_or_else(|| layout.clone());
    let fill = whole.len() - without.len();
    let (bytes, fill_bytes) = match (entries(whole, &layout), entries(&without, &layout)) {
        (one, Some(two)) if fill > 0 && one.as_ref().is_none_or(|it| it.1 < two.1) => (without, fill),
        _ => (whole.to_vec(), 0),
    };
    let found = entries(&bytes, &layout).map_or_else(
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
fn inside(layouts: &[Arc<Layout>], run: &DataRun, unknown_layout: Option<String>) -> Option<Cut> {
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
    // In a boot sector the block stands at byte 11, behind the branch and the system's name; they may share its line.
    let is_boot_sector = matches!(bytes.first(), Some(Some(0x60 | 0xeb | 0xe9)));
    if is_boot_sector && !starts.contains(&BOOT_SECTOR_OFFSET) {
        starts.push(BOOT_SECTOR_OFFSET);
    }
    if bytes.len() > 4096 {
        starts.truncate(64);
    }
    let is_block = |layout: &Layout, start: usize| {
        let own = bytes.get(start..start + layout.len());
        own.and_then(|it| it.iter().copied().collect::<Option<Vec<u8>>>()).is_some_and(|own| {
            let block = layout.decode(&own);
            let (all, good) = block.score();
            all == good && block.has_shape()
        })
    };
    for start in starts.iter().copied() {
        let Some(layout) = by_shape(layouts).rev().find(|layout| is_block(layout, start)) else { continue };
        // A table may go on with entries of the same kind, with other data between them.
        let mut entries: Vec<Entry> = Vec::new();
        let mut at = start;
        loop {
            entries.push(Entry { start: at, len: layout.len(), shape: Shape::default() });
            at += layout.len();
            if !is_block(layout, at) {
                let next = starts.iter().copied().find(|it| *it >= at && is_block(layout, *it));
                let stride = entries.get(1).map_or(0, |second| second.start - entries[0].start);
                match next.or_else(|| {
                    (stride > 0).then(|| entries[entries.len() - 1].start + stride).filter(|it| is_block(layout, *it))
                }) {
                    Some(next) => at = next,
                    None => break,
                }
            }
        }
        let mut confidence = confidence(run, layout, entries.len(), false, true);
        if is_boot_sector && start == BOOT_SECTOR_OFFSET {
            confidence.reasons.push("it stands at byte 11 behind a branch, as in a boot sector".into());
            confidence.level = Level::Certain;
        }
        return Some(Cut { layout: layout.clone(), entries, bytes, fill_bytes: 0, confidence, unknown_layout });
    }
    None
}

/// The layouts that shape alone can tell among other bytes.
pub(super) fn by_shape(layouts: &[Arc<Layout>]) -> impl DoubleEndedIterator<Item = &Arc<Layout>> {
    layouts.iter().filter(|it| !it.needs_words && it.rows.is_none() && it.has_core())
}

/// A block each of whose fields has a label: the runs from here on, as long as they follow each other, seen as one.
pub(super) fn across_labels(
    program: &Program,
    unit: &Unit,
    layouts: &[Arc<Layout>],
    first: &DataRun,
) -> Option<(DataRun, Cut)> {
    let longest = by_shape(layouts).map(|it| it.len()).max().unwrap_or(0);
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
        joined.subjects |= next.subjects;
    }
    if joined.last == first.last {
        return None;
    }
    let bytes: Vec<Option<u8>> = joined.items.iter().flat_map(|item| item.bytes.iter().copied()).collect();
    // The longest layout that fits beyond doubt and ends where a line ends.
    for layout in by_shape(layouts).rev() {
        let Some(own) = bytes.get(..layout.len()) else { continue };
        let known = own.iter().copied().collect::<Option<Vec<u8>>>();
        let Some(own) = known else { continue };
        let block = layout.decode(&own);
        let (all, good) = block.score();
        let is_enough = block.has_shape() && (all == good || joined.subjects.has_disks() && good + 1 >= all);
        let mut run = joined.clone();
        if is_enough && ends_line(&mut run, layout.len()) {
            let confidence = confidence(&run, layout, 1, true, true);
            let entries = vec![Entry { start: 0, len: layout.len(), shape: Shape::default() }];
            let bytes = bytes[..layout.len()].to_vec();
            let layout = layout.clone();
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
