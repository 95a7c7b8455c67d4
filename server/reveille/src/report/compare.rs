//! A source held against a dump, for people: what it comes to, why, and where.

use std::io::Write;
use std::path::{Path, PathBuf};

use reveille_decoders::transfer::TransferFormat;
use reveille_facts::Model;
use reveille_facts::rom::{
    Cause, Change, Chip, Comparison, Difference, Order, Placing, Run, Shown, SourceImage, Sums, Verdict,
};
use reveille_program::Place;

use super::{display_path, line_number};

/// A file of a dump.
#[derive(Debug)]
pub(crate) struct DumpFile {
    pub(crate) path: PathBuf,
    pub(crate) form: TransferFormat,
    pub(crate) bytes: usize,
}

/// All that is shown of a comparison.
pub(crate) struct Compared<'a> {
    pub(crate) model: &'a Model,
    pub(crate) path: &'a Path,
    pub(crate) source: &'a SourceImage,
    /// How many findings of the source are errors.
    pub(crate) errors: usize,
    pub(crate) files: &'a [DumpFile],
    pub(crate) comparison: &'a Comparison,
    pub(crate) sums: &'a Sums,
    /// The most places that are shown.
    pub(crate) most: usize,
}

/// Lines are no longer than this, but for paths.
const WIDTH: usize = 100;

/// Lines of source that are shown of one place.
const MOST_LINES: usize = 6;

/// Places that only differ in where something lies are shown as examples.
const MOST_MOVED: usize = 3;

impl Compared<'_> {
    pub(crate) fn at(&self, place: Place) -> String {
        format!("{}:{}", display_path(self.model, place.file), line_number(self.model, place) + 1)
    }

    pub(crate) fn source_text(&self, place: Place) -> &str {
        self.model.program().file(place.file).map_or("", |file| file.at(place.chunk, place.line).2)
    }

    /// The runs that are shown: first those that no move of addresses explains, all by address.
    pub(crate) fn runs(&self) -> (Vec<Run>, usize) {
        let all = self.comparison.runs();
        let plain = all.iter().filter(|it| !it.is_moved).count().min(self.most);
        let moved = MOST_MOVED.min(self.most - plain);
        let (mut plain, mut moved) = (plain, moved);
        let mut take = |it: &&Run| {
            let left = if it.is_moved { &mut moved } else { &mut plain };
            let is_taken = *left > 0;
            *left -= usize::from(is_taken);
            is_taken
        };
        let shown: Vec<Run> = all.iter().filter(|it| take(it)).cloned().collect();
        let left_out = all.len() - shown.len();
        (shown, left_out)
    }

    fn verdict(&self) -> String {
        let (source, counts) = (self.source, self.comparison.counts);
        let laid = count(source.laid(), "byte");
        let places = count(self.comparison.runs().len(), "place");
        match self.comparison.verdict(source) {
            Verdict::Equal => format!("Equal: the dump has all {laid} that the source lays down."),
            Verdict::More => format!(
                "Equal, and more: the dump has all {laid} that the source lays down, and {} besides.",
                count(counts.content, "byte")
            ),
            Verdict::OtherOrder => {
                format!("Equal, but not as asked for: all {laid} are there, {}.", order_text(self.comparison.order))
            }
            Verdict::NotAllKnown => {
                let unknown = counts.unknown + source.unplaced().map_or(0, |it| it.1);
                format!(
                    "Nothing differs, but {} of the source have no value or address that is known.",
                    count(unknown, "byte")
                )
            }
            Verdict::NotAllDumped => {
                format!("Nothing differs, but the dump does not have {} of {laid}.", counts.uncovered)
            }
            Verdict::Addresses => {
                format!(
                    "The same program for another origin: {} differ in {places}, all of them in addresses.",
                    counts.differ
                )
            }
            Verdict::Checksum => format!("Equal but for a checksum: {} of {laid} differ.", counts.differ),
            Verdict::Different => {
                let inserted: u32 = self.comparison.edits.iter().filter(|it| !it.is_missing).map(|it| it.bytes).sum();
                let parts = [
                    (counts.differ, format!("{} of {laid} differ in {places}", counts.differ)),
                    (counts.uncovered, format!("{} of {laid} are not in the dump", counts.uncovered)),
                    (inserted as usize, format!("{} were put in", count(inserted as usize, "byte"))),
                ];
                let parts: Vec<String> = parts.into_iter().filter(|it| it.0 > 0).map(|it| it.1).collect();
                format!("Different: {}.", parts.join(", "))
            }
            Verdict::Unrelated => {
                format!("Not the same: {} of {laid} are equal, hardly more than by chance.", counts.equal)
            }
        }
    }

    fn lies(&self) -> String {
        let it = self.comparison;
        let why = match it.placing {
            Placing::Given => "as given",
            Placing::Addresses => "by the addresses in the file",
            Placing::Start => "where the source begins",
            Placing::Zero => "as chips begin at 0",
            Placing::Section => "where a part of the source begins",
            Placing::Search => "where most of it is found",
        };
        let told = match it.told {
            Some(told) if i64::from(told) != it.base => format!("; the addresses in the file begin at ${told:06X}"),
            _ => String::new(),
        };
        format!("${} to ${}, {why}{told}", address(it.base), address(it.base + it.span as i64 - 1))
    }

    fn dump(&self) -> String {
        let file = |it: &DumpFile| format!("{} ({}, {})", it.path.display(), it.form.title(), it.bytes);
        match (self.files, self.comparison.order) {
            ([one], Order::AsIs) => file(one),
            ([one], order) => format!("{}, {}", file(one), order_text(order)),
            ([first, second], Order::FirstEven) => format!("even {}, odd {}", file(first), file(second)),
            ([first, second], Order::FirstOdd) => format!("even {}, odd {}", file(second), file(first)),
            ([first, second], Order::SecondThenFirst) => format!("{}, then {}", file(second), file(first)),
            (files, _) => files.iter().map(file).collect::<Vec<_>>().join(", then "),
        }
    }

    /// The file of a chip that a cause is about.
    fn chip_file(&self, cause: &Cause) -> Option<String> {
        let [first, second] = self.files else { return None };
        let is_first = match self.comparison.order {
            Order::FirstEven => cause.chip()? == Chip::Even,
            Order::FirstOdd => cause.chip()? == Chip::Odd,
            _ => return None,
        };
        Some(if is_first { first } else { second }.path.display().to_string())
    }

    /// What a cause says, with the file of its chip.
    pub(crate) fn message(&self, cause: &Cause) -> String {
        let file = self.chip_file(cause).map_or(String::new(), |it| format!(" ({it})"));
        format!("{}{file}", cause.kind)
    }
}

/// Writes a comparison for people.
pub(crate) fn compare_text(it: &Compared<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    paragraph(out, "", "", &it.verdict())?;
    writeln!(out)?;
    summary(it, out)?;
    causes(it, out)?;
    places(it, out)?;
    beside(it, out)?;
    sums(it, out)
}

fn summary(it: &Compared<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    let (source, counts) = (it.source, it.comparison.counts);
    let areas: Vec<String> = source
        .areas()
        .iter()
        .map(|area| format!("${} to ${}", address(area.from.into()), address(area.end() - 1)))
        .collect();
    let mut row = |name: &str, text: &str| paragraph(out, &format!("  {name:<12}"), &" ".repeat(14), text);
    row("source", &format!("{}, {} at {}", it.path.display(), count(source.laid(), "byte"), areas.join(", ")))?;
    if it.errors > 0 {
        row("", &format!("{} in it; `reveille lint` shows them", count(it.errors, "error")))?;
    }
    if let Some((place, bytes)) = source.unplaced() {
        row("", &format!("{} at addresses that are not known, from {} on", count(bytes, "byte"), it.at(place)))?;
    }
    for overlap in source.overlaps().iter().take(4) {
        let what = if overlap.differ { "others" } else { "the same ones" };
        let (earlier, later) = (it.at(overlap.earlier), it.at(overlap.later));
        let at = address(overlap.address.into());
        row(
            "",
            &format!(
                "{} of {earlier} at ${at} laid down again by {later}, {what}",
                count(overlap.bytes as usize, "byte")
            ),
        )?;
    }
    if source.overlaps().len() > 4 {
        row("", &format!("and {} more places laid down twice", source.overlaps().len() - 4))?;
    }
    row("dump", &it.dump())?;
    row("lies at", &it.lies())?;
    let rows = [
        ("equal", counts.equal, ""),
        ("different", counts.differ, ""),
        ("not known", counts.unknown, "bytes of the source without a known value"),
        ("not in dump", counts.uncovered, "bytes of the source"),
        ("reserved", counts.reserved, "bytes of the dump where the source reserves memory, not compared"),
        ("beside it", counts.content, "bytes of the dump that the source does not lay down"),
        ("fill", counts.fill, "bytes of the dump outside the source, all the same"),
    ];
    for (name, number, note) in rows.into_iter().filter(|it| it.1 > 0 || matches!(it.0, "equal" | "different")) {
        let note = if note.is_empty() { String::new() } else { format!("  {note}") };
        writeln!(out, "  {name:<12}{number:>8}{note}")?;
    }
    Ok(())
}

fn causes(it: &Compared<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    if it.comparison.causes.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nLikely cause")?;
    for cause in &it.comparison.causes {
        let place = cause.place.map_or(String::new(), |place| format!(" [{}]", it.at(place)));
        let text = format!("{}{place}", it.message(cause));
        paragraph(out, &format!("  {:<10}", cause.sureness.name()), &" ".repeat(12), &text)?;
    }
    Ok(())
}

fn places(it: &Compared<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    let (runs, left_out) = it.runs();
    if !runs.is_empty() {
        writeln!(out, "\nWhere")?;
    }
    for run in &runs {
        let range = if run.from == run.to {
            format!("${}", address(run.from))
        } else {
            format!("${} to ${}", address(run.from), address(run.to))
        };
        writeln!(out, "  {range}, {}", count(run.bytes as usize, "byte"))?;
        let lines = &it.comparison.differences[run.lines.clone()];
        // Of what is not there the start says enough.
        let is_absent = lines.iter().skip(1).all(|it| it.change == Change::Absent);
        let most = if is_absent { 1 } else { MOST_LINES };
        for difference in lines.iter().take(most) {
            line(it, difference, out)?;
        }
        if let Some(last) = lines.last().filter(|_| lines.len() > most) {
            let to = it.at(it.source.lines()[last.line].place);
            writeln!(out, "    and {}, to {to}", count(lines.len() - most, "more line"))?;
        }
    }
    if left_out > 0 {
        writeln!(out, "  and {}; --most shows more", count(left_out, "more place"))?;
    }
    Ok(())
}

fn line(it: &Compared<'_>, difference: &Difference, out: &mut dyn Write) -> anyhow::Result<()> {
    let place = it.source.lines()[difference.line].place;
    let mut text = format!("    {}  ", it.at(place));
    tabs_to_blanks(&mut text, it.source_text(place));
    writeln!(out, "{}", cut(&text))?;
    let (own, dumped) = it.comparison.shown(it.source, difference);
    let note = difference.change.title();
    writeln!(out, "{}", cut(&side("source", &own, "")))?;
    let note = if difference.uncovered > 0 && difference.differ > 0 { "in part not in the dump" } else { note };
    writeln!(out, "{}", cut(&side("dump", &dumped, note)))?;
    Ok(())
}

/// The source text behind this column starts in columns of its own.
fn tabs_to_blanks(text: &mut String, source: &str) {
    let mut column = 0;
    for character in source.chars() {
        let width = if character == '\t' { 8 - column % 8 } else { 1 };
        text.extend(std::iter::repeat_n(if character == '\t' { ' ' } else { character }, width));
        column += width;
    }
}

fn side(name: &str, shown: &Shown, note: &str) -> String {
    let mut bytes = String::new();
    for (at, byte) in shown.bytes.iter().enumerate() {
        // Words as the machine has them: an odd address is the second half of one.
        if at > 0 && (shown.address + at as i64) & 1 == 0 {
            bytes.push(' ');
        }
        bytes.push_str(&byte.map_or("--".into(), |it| format!("{it:02X}")));
    }
    let more = if shown.left_out > 0 { format!(" +{}", shown.left_out) } else { String::new() };
    let text = shown.text.as_deref().unwrap_or("");
    let row = format!("      {name:<7}${}  {:<24} {text:<24}", address(shown.address), format!("{bytes}{more}"));
    let note = if note.is_empty() { String::new() } else { format!("  {note}") };
    format!("{}{note}", row.trim_end()).trim_end().to_owned()
}

fn beside(it: &Compared<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    let outside = &it.comparison.outside;
    if outside.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nIn the dump beside the source")?;
    for part in outside.iter().take(8) {
        let what = part.fill.map_or("content".into(), |it| format!("fill of ${it:02X}"));
        let last = part.address + part.bytes as i64 - 1;
        writeln!(out, "  ${} to ${}  {:>8}  {what}", address(part.address), address(last), part.bytes)?;
    }
    if outside.len() > 8 {
        writeln!(out, "  and {}", count(outside.len() - 8, "more part"))?;
    }
    Ok(())
}

fn sums(it: &Compared<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    let sums = it.sums;
    if sums.is_left_out {
        writeln!(out, "\nChecksums are not looked for in a dump of this size.")?;
    }
    if sums.labelled.is_empty() && sums.readings.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nChecksums")?;
    for label in &sums.labelled {
        let digits = 2 * label.bytes as usize;
        let number = |it: Option<u32>| it.map_or("not known".into(), |it| format!("${it:0digits$X}"));
        let text = format!(
            "{} at ${} [{}]: {} in the dump, {} in the source",
            label.name,
            address(label.address),
            it.at(label.place),
            number(label.dump),
            number(label.source)
        );
        paragraph(out, "  label     ", &" ".repeat(12), &text)?;
        for found in label.matches.iter().take(4) {
            paragraph(out, "            ", &" ".repeat(12), &format!("agrees: {found}"))?;
        }
        if label.matches.is_empty() && label.dump.is_some() {
            let text = "no sum or cyclic check of the rest gives that; the code that checks it says what is summed up";
            paragraph(out, "            ", &" ".repeat(12), text)?;
        }
    }
    for (extent, reading) in sums.readings.iter().take(6) {
        let of = if extent.name() == "source" { " (of what the source spans)" } else { "" };
        paragraph(out, &format!("  {:<10}", reading.strength.name()), &" ".repeat(12), &format!("{reading}{of}"))?;
    }
    Ok(())
}

/// An address as six digits or more.
fn address(address: i64) -> String {
    if address < 0 { format!("-{:06X}", -address) } else { format!("{address:06X}") }
}

fn count(count: usize, word: &str) -> String {
    format!("{count} {word}{}", if count == 1 { "" } else { "s" })
}

/// A line that is no longer than all others.
fn cut(line: &str) -> String {
    let line = line.trim_end();
    if line.chars().count() <= WIDTH {
        return line.to_owned();
    }
    let kept: String = line.chars().take(WIDTH - 3).collect();
    format!("{}...", kept.trim_end())
}

/// Words in lines, the first behind `first`, the others behind `next`.
fn paragraph(out: &mut dyn Write, first: &str, next: &str, text: &str) -> anyhow::Result<()> {
    let mut line = first.to_owned();
    let mut is_empty = true;
    for word in text.split(' ').filter(|it| !it.is_empty()) {
        if !is_empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            writeln!(out, "{}", line.trim_end())?;
            line = next.to_owned();
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
        is_empty = false;
    }
    writeln!(out, "{}", line.trim_end())?;
    Ok(())
}
/// How files are put together, in words.
fn order_text(order: Order) -> &'static str {
    match order {
        Order::AsIs => "as it is",
        Order::Exchanged => "with the bytes of each word exchanged",
        Order::EvenAlone => "as the even chip of a pair",
        Order::OddAlone => "as the odd chip of a pair",
        Order::FirstEven => "the first file as the even chip",
        Order::FirstOdd => "the first file as the odd chip",
        Order::FirstThenSecond => "the first file before the second",
        Order::SecondThenFirst => "the second file before the first",
    }
}
