//! A file as chunks of lines, and how an edit makes the next version of it.

use std::ops::Range;
use std::sync::{Arc, OnceLock};

use memchr::memmem;
use rayon::prelude::*;

use crate::lines::{self, Line, LineKind, Problem, Region, read_region};
use crate::{Dialect, Evidence, Margin, marked_dialect};

/// How the lines of a file are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(crate) struct Reading {
    pub(crate) dialect: Dialect,
    pub(crate) margin: Margin,
}

/// How many lines a fresh chunk has; a chunk grows to twice that before it is split.
pub const CHUNK_LINES: usize = 192;

/// Some hundred lines of a file, read. Immutable, shared by all versions of the file that have these lines.
#[derive(Debug)]
pub struct Chunk {
    text: Box<str>,
    lines: Box<[Line]>,
    reading: Reading,
    evidence: Evidence,
    has_problems: bool,
    has_unclosed_comment: bool,
    pub(crate) tree: OnceLock<tree_sitter::Tree>,
}

impl Chunk {
    fn new(text: &str, lines: Box<[Line]>, reading: Reading) -> Self {
        let mut evidence = Evidence::default();
        let mut has_problems = false;
        let mut has_unclosed_comment = false;
        let words = lines::Words::get();
        for line in &lines {
            has_problems |= line.has_problem();
            has_unclosed_comment |= line.flags & lines::OPEN_COMMENT != 0;
            let start = line.start as usize;
            let own = &text.as_bytes()[start..start + usize::from(line.len)];
            let from = reading.margin.source_start(own).unwrap_or(own.len());
            evidence = evidence.plus(lines::signs(&own[from..], &words));
        }
        Self { text: text.into(), lines, reading, evidence, has_problems, has_unclosed_comment, tree: OnceLock::new() }
    }

    /// The lines' text with their line ends.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The lines.
    #[must_use]
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// The dialect the lines were read in.
    #[must_use]
    pub fn dialect(&self) -> Dialect {
        self.reading.dialect
    }

    /// The columns before the source, if the file is a listing.
    #[must_use]
    pub fn margin(&self) -> Margin {
        self.reading.margin
    }

    /// Where the source starts in the text of a line: behind the columns of a listing.
    #[must_use]
    pub fn source_start(&self, line: &Line) -> usize {
        let text = self.line_text(line);
        self.reading.margin.source_start(text.as_bytes()).unwrap_or(text.len())
    }

    /// A line's text without its line end.
    #[must_use]
    pub fn line_text(&self, line: &Line) -> &str {
        let start = line.start as usize;
        if line.kind == LineKind::TooLong {
            let rest = &self.text[start..];
            return &rest[..rest.find(['\n', '\r']).unwrap_or(rest.len())];
        }
        &self.text[start..start + usize::from(line.len)]
    }

    /// The text of a preprocessor's line with the lines that it goes on in; empty for such a line itself.
    #[must_use]
    pub fn preprocessor_text(&self, at: usize) -> String {
        let text =
            |at: usize| self.lines.get(at).filter(|it| it.kind == LineKind::Preprocessor).map(|it| self.line_text(it));
        let goes_on = |at: usize| text(at).and_then(|it| it.strip_suffix('\\'));
        if at > 0 && goes_on(at - 1).is_some() {
            return String::new();
        }
        let mut found = String::new();
        let mut line = at;
        while let Some(part) = goes_on(line) {
            found.push_str(part);
            found.push(' ');
            line += 1;
        }
        found.push_str(text(line).unwrap_or(""));
        found
    }

    /// The operands of a line, as ranges of bytes inside the line.
    #[must_use]
    pub fn operands(&self, line: &Line) -> Vec<Range<usize>> {
        let mut found = Vec::new();
        lines::operands(self.line_text(line), line, self.reading.dialect, |range| found.push(range));
        found
    }

    /// What is wrong with the form of lines: the line's place in the chunk, and the problem.
    #[must_use]
    pub fn problems(&self) -> Vec<(usize, Problem)> {
        if !self.has_problems {
            return Vec::new();
        }
        let flagged = self.lines.iter().enumerate().filter(|(_, line)| line.has_problem());
        flagged
            .flat_map(|(at, line)| {
                lines::problems(self.line_text(line), line, self.reading.dialect)
                    .into_iter()
                    .map(move |problem| (at, problem))
            })
            .collect()
    }
}

/// Which chunks an edit replaced: `removed` old ones from `at` on, by `inserted` new ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Splice {
    /// The first chunk that is another one.
    pub at: usize,
    /// How many old chunks went.
    pub removed: usize,
    /// How many new chunks came.
    pub inserted: usize,
}

/// One version of a file.
#[derive(Clone, Debug)]
pub struct File {
    chunks: Vec<Arc<Chunk>>,
    /// Line and byte at which each chunk starts, and the end of the last.
    starts: Vec<(u32, u32)>,
    reading: Reading,
    forced: Option<Dialect>,
}

impl File {
    /// Reads a whole file, in the dialect given or in the one that its text shows.
    #[must_use]
    pub fn new(text: &str, forced: Option<Dialect>) -> Self {
        let reading = Reading { dialect: forced.unwrap_or_default(), margin: Margin::of(text.lines()) };
        let mut file = Self { chunks: read_whole(text, reading), starts: Vec::new(), reading, forced };
        file.restart();
        file.settle();
        file
    }

    /// The chunks in order.
    #[must_use]
    pub fn chunks(&self) -> &[Arc<Chunk>] {
        &self.chunks
    }

    /// The dialect the file is read in.
    #[must_use]
    pub fn dialect(&self) -> Dialect {
        self.reading.dialect
    }

    /// The columns before the source, if the file is a listing.
    #[must_use]
    pub fn margin(&self) -> Margin {
        self.reading.margin
    }

    /// The dialect that was given from outside.
    #[must_use]
    pub fn forced(&self) -> Option<Dialect> {
        self.forced
    }

    /// What decided on the dialect.
    #[must_use]
    pub fn dialect_reason(&self) -> DialectReason {
        match (self.marked(), self.forced) {
            (Some(_), _) => DialectReason::Marked,
            (None, Some(_)) => DialectReason::Given,
            (None, None) => DialectReason::Evidence(self.evidence()),
        }
    }

    /// The signs of the dialects that the file holds.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        self.chunks.iter().fold(Evidence::default(), |sum, chunk| sum.plus(chunk.evidence))
    }

    /// How many bytes the text has.
    #[must_use]
    pub fn len(&self) -> usize {
        self.end().1 as usize
    }

    /// Whether the text is empty.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// How many lines there are; a line end at the end of the text starts no further one here.
    #[must_use]
    pub fn line_count(&self) -> usize {
        self.end().0 as usize
    }

    fn end(&self) -> (u32, u32) {
        self.starts.last().copied().unwrap_or_default()
    }

    /// The first line of a chunk.
    #[must_use]
    pub fn first_line(&self, chunk: usize) -> usize {
        self.starts[chunk].0 as usize
    }

    /// The first byte of a chunk.
    #[must_use]
    pub fn first_byte(&self, chunk: usize) -> usize {
        self.starts[chunk].1 as usize
    }

    /// The chunk of a line and the line's place in it; none past the last line.
    #[must_use]
    pub fn chunk_of_line(&self, line: usize) -> Option<(usize, usize)> {
        if line >= self.line_count() {
            return None;
        }
        let chunk = self.starts.partition_point(|start| start.0 as usize <= line) - 1;
        Some((chunk, line - self.first_line(chunk)))
    }

    /// A line and its text without the line end; none past the last line.
    #[must_use]
    pub fn line(&self, line: usize) -> Option<(&Line, &str)> {
        let (chunk, at) = self.chunk_of_line(line)?;
        let chunk = &self.chunks[chunk];
        let line = &chunk.lines[at];
        Some((line, chunk.line_text(line)))
    }

    /// Where a line starts; past the last line, the end of the text.
    #[must_use]
    pub fn line_start(&self, line: usize) -> usize {
        match self.chunk_of_line(line) {
            Some((chunk, at)) => self.first_byte(chunk) + self.chunks[chunk].lines[at].start as usize,
            None => self.len(),
        }
    }

    /// The line that holds a byte. The byte after a last line end is on a line of its own.
    #[must_use]
    pub fn line_of(&self, byte: usize) -> usize {
        if byte >= self.len() {
            let last = self.line_count().saturating_sub(1);
            let ends = self.chunks.last().is_some_and(|chunk| chunk.text.ends_with(['\n', '\r']));
            return last + usize::from(ends);
        }
        let chunk = self.starts.partition_point(|start| start.1 as usize <= byte) - 1;
        let inside = (byte - self.first_byte(chunk)) as u32;
        self.first_line(chunk) + self.chunks[chunk].lines.partition_point(|line| line.start <= inside) - 1
    }

    /// The whole text.
    #[must_use]
    pub fn text(&self) -> String {
        self.chunks.iter().map(|chunk| &*chunk.text).collect()
    }

    /// The version after the bytes of `range` were replaced by `inserted` bytes. `text` gives bytes of the new text.
    pub fn edit(&mut self, range: Range<usize>, inserted: &str, text: &dyn Fn(Range<usize>) -> String) -> Splice {
        let old_len = self.len();
        let new_len = old_len - range.len() + inserted.len();
        let count = self.chunks.len();
        // The chunk before an edit at a chunk's start: its last line may go on now, or its CR become half of a CR LF.
        let mut from = self.starts.partition_point(|start| (start.1 as usize) < range.start).saturating_sub(1);
        let mut to = self.starts.partition_point(|start| (start.1 as usize) <= range.end).clamp(0, count);
        if let Some(open) = self.chunks.iter().position(|chunk| chunk.has_unclosed_comment)
            && open < from
        {
            (from, to) = (open, count);
        }
        let from = from.min(count);
        let start = self.starts.get(from).map_or(0, |start| start.1 as usize);
        let chunks = loop {
            let to_file_end = to >= count;
            let end = if to_file_end { new_len } else { self.starts[to].1 as usize + new_len - old_len };
            let region = text(start..end);
            let ends_line = region.ends_with('\n') || (region.ends_with('\r') && !self.starts_with_line_feed(to));
            let whole_lines = to_file_end || ends_line || region.is_empty();
            let place = Region { from_file_start: start == 0, to_file_end };
            if whole_lines && let Some(chunks) = read_chunks(&region, self.reading, place) {
                break chunks;
            }
            to += 1;
        };
        let splice = Splice { at: from, removed: to.min(count) - from, inserted: chunks.len() };
        self.chunks.splice(from..to.min(count), chunks);
        self.restart();
        if self.settle() {
            return Splice { at: 0, removed: count, inserted: self.chunks.len() };
        }
        splice
    }

    fn starts_with_line_feed(&self, chunk: usize) -> bool {
        self.chunks.get(chunk).is_some_and(|chunk| chunk.text.starts_with('\n'))
    }

    fn restart(&mut self) {
        self.starts.clear();
        self.starts.reserve(self.chunks.len() + 1);
        let mut at = (0, 0);
        self.starts.push(at);
        for chunk in &self.chunks {
            at = (at.0 + chunk.lines.len() as u32, at.1 + chunk.text.len() as u32);
            self.starts.push(at);
        }
    }

    /// The dialect that the first line names.
    fn marked(&self) -> Option<Dialect> {
        marked_dialect(self.line(0)?.1)
    }

    /// Reads the file again if its text shows that it is to be read otherwise.
    fn settle(&mut self) -> bool {
        let mut has_changed = false;
        // What a margin hides counts for no dialect, so that is settled first.
        let margin = Margin::of((0..self.line_count()).map_while(|at| self.line(at).map(|it| it.1)));
        if margin != self.reading.margin {
            self.reading.margin = margin;
            self.read_again();
            has_changed = true;
        }
        let shown = self.marked().or(self.forced).unwrap_or_else(|| self.evidence().dialect());
        if shown != self.reading.dialect {
            self.reading.dialect = shown;
            self.read_again();
            has_changed = true;
        }
        has_changed
    }

    fn read_again(&mut self) {
        self.chunks = read_whole(&self.text(), self.reading);
        self.restart();
    }
}

/// What decided on a file's dialect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DialectReason {
    /// Its first line names it: `@dialect`.
    Marked,
    /// It was given from outside.
    Given,
    /// The signs in its text.
    Evidence(Evidence),
}

/// Reads a whole text: a large one on all processors, in parts that end with a line.
fn read_whole(text: &str, reading: Reading) -> Vec<Arc<Chunk>> {
    // Comments of several lines could cross the parts, and lines of the preprocessor that go on.
    let may_cross =
        || memmem::find(text.as_bytes(), b"/*").is_some() || memmem::find(text.as_bytes(), b"\\\n").is_some();
    if text.len() < 2 * PART_BYTES || reading.dialect.is_unix() || may_cross() {
        return read_chunks(text, reading, Region::WHOLE).unwrap_or_default();
    }
    let mut parts = Vec::new();
    let mut start = 0;
    while start < text.len() {
        let least = start + PART_BYTES;
        let end = text.as_bytes().get(least..).and_then(|rest| memchr::memchr(b'\n', rest));
        let end = end.map_or(text.len(), |at| least + at + 1);
        parts.push(start..end);
        start = end;
    }
    let read = |part: Range<usize>| {
        let place = Region { from_file_start: part.start == 0, to_file_end: part.end == text.len() };
        read_chunks(&text[part], reading, place).unwrap_or_default()
    };
    parts.into_par_iter().flat_map_iter(read).collect()
}

/// The bytes of a part that one processor reads.
const PART_BYTES: usize = 128 << 10;

/// Reads text into chunks. None if a comment of several lines does not end in it, and the file goes on.
fn read_chunks(text: &str, reading: Reading, region: Region) -> Option<Vec<Arc<Chunk>>> {
    let lines = read_region(text, reading, region)?;
    let mut chunks = Vec::with_capacity(lines.len() / CHUNK_LINES + 1);
    let mut first = 0;
    while first < lines.len() {
        let left = lines.len() - first;
        let mut count = if left <= 2 * CHUNK_LINES { left } else { CHUNK_LINES };
        while first + count < lines.len() && goes_on(text, &lines, first + count) {
            count += 1;
        }
        let base = lines[first].start;
        let end = lines.get(first + count).map_or(text.len(), |line| line.start as usize);
        let mut own: Box<[Line]> = lines[first..first + count].into();
        for line in &mut own {
            line.start -= base;
        }
        chunks.push(Arc::new(Chunk::new(&text[base as usize..end], own, reading)));
        first += count;
    }
    Some(chunks)
}

/// Whether the line at `at` continues the one before, so that no chunk may start there: a comment or a line of the preprocessor.
fn goes_on(text: &str, lines: &[Line], at: usize) -> bool {
    if lines[at].flags & lines[at - 1].flags & lines::CONTINUED != 0 {
        return true;
    }
    let mut open = false;
    // A chunk always starts outside a comment, so looking back over comment lines to the one that opens is enough.
    for line in lines[..at].iter().rev() {
        let own = &text[line.start as usize..line.start as usize + usize::from(line.len)];
        let comment = line.comment.of(own);
        if let Some(inside) = comment.strip_prefix("/*") {
            open = line.flags & lines::OPEN_COMMENT == 0 && !inside.contains("*/");
            break;
        }
        if comment.contains("*/") || !matches!(line.kind, LineKind::Comment | LineKind::Blank) {
            break;
        }
    }
    open
}
