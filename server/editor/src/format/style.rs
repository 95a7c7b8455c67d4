//! Where the fields of a line stand: as it is wanted, or as a file has it.

use std::ops::Range;

use reveille_source::File;
use rustc_hash::FxHashMap;

use super::fields::{Fields, Kind, Place, tab_stop};
use super::{edited, format, rows};

/// Where a field starts and what stands before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Field {
    /// How many columns lie before it. If what is before the field reaches so far, one tab or blank comes between them; at 0
    /// that is always so.
    pub column: usize,
    /// Whether the columns before it are filled with tabs.
    pub tabs: bool,
}

impl Field {
    /// The blanks between `from` and the field.
    pub(super) fn blanks(self, from: usize, tab_width: usize) -> String {
        if from >= self.column {
            return if self.tabs { "\t" } else { " " }.into();
        }
        let mut blanks = String::new();
        let mut at = from;
        while self.tabs && tab_stop(at, tab_width) <= self.column {
            blanks.push('\t');
            at = tab_stop(at, tab_width);
        }
        blanks.extend(std::iter::repeat_n(' ', self.column - at));
        blanks
    }

    /// Whether a field stands where this one would put it.
    fn fits(self, place: Place, tab_width: usize) -> bool {
        let pushed = if self.tabs { tab_stop(place.from, tab_width) } else { place.from + 1 };
        place.to == if place.from < self.column { self.column } else { pushed }
    }
}

/// The layout of a file's lines. Columns are counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// The operation, behind the label.
    pub operation: Field,
    /// The operand field.
    pub operands: Field,
    /// The comment behind a statement.
    pub comment: Field,
    /// How far tab stops are from each other.
    pub tab_width: usize,
    /// Whether `=` stands in the column of operations; otherwise the blanks around it are the author's.
    pub signs: bool,
}

/// What is wanted of a layout; the rest is as the file has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FormatOptions {
    /// The columns of operation, operands and comment.
    pub columns: Option<[usize; 3]>,
    /// Whether columns are filled with tabs.
    pub tabs: Option<bool>,
    /// How far tab stops are from each other.
    pub tab_width: usize,
}

impl FormatOptions {
    fn width(&self) -> usize {
        self.tab_width.clamp(1, MOST_TAB_WIDTH)
    }
}

impl Default for FormatOptions {
    fn default() -> Self {
        Self { columns: None, tabs: None, tab_width: 8 }
    }
}

/// The columns of a file that shows none: tab stops of eight (common practice, no source).
const COLUMNS: [usize; 3] = [8, 16, 40];

/// So many columns are tried for a field, the most common ones.
const MOST_TRIED: usize = 24;

/// A field beyond this column is in none: it was pushed there.
const MOST_COLUMN: usize = 200;

/// The widest tab stops that are believed.
const MOST_TAB_WIDTH: usize = 32;

/// So often a style is looked for in what came of the last one.
const MOST_ROUNDS: usize = 8;

impl Style {
    /// The style that most lines of a file have, and what is wanted otherwise. A file that is laid out so is left alone the
    /// next time.
    #[must_use]
    pub fn of(file: &File, options: &FormatOptions) -> Self {
        let shown = |file: &File| Seen::new(file, 0..file.chunks().len(), None, options).style(options);
        let text = file.text();
        let mut style = shown(file);
        // A field that is moved pushes others, which may then show another column than before.
        for _ in 0..MOST_ROUNDS {
            let new = File::new(&edited(&text, &format(file, &style, 0..usize::MAX)), Some(file.dialect()));
            let next = shown(&new);
            if format(&new, &next, 0..usize::MAX).is_empty() {
                break;
            }
            style = next;
        }
        style
    }

    /// The style of the lines around one, which does not count itself.
    #[must_use]
    pub fn near(file: &File, line: usize, options: &FormatOptions) -> Self {
        let chunk = file.chunk_of_line(line).map_or(0, |it| it.0);
        Seen::new(file, chunk.saturating_sub(1)..chunk + 2, Some(line), options).style(options)
    }

    /// The field that a comment alone on its line belongs to; none if it stays where it is: in column one, where
    /// operations have no column, and so far on the right that it is in no column.
    pub(super) fn of_comment(&self, at: usize) -> Option<Field> {
        let (operation, comment) = (self.operation, self.comment);
        if at == 0 || operation.column <= 1 {
            return None;
        }
        let is_near = |field: Field| at <= field.column + self.tab_width;
        // Comments that follow what is before them are in no column either.
        let has_column = comment.column > operation.column + self.tab_width;
        if has_column && at.abs_diff(comment.column) < at.abs_diff(operation.column) {
            return is_near(comment).then_some(comment);
        }
        (has_column || is_near(operation)).then_some(operation)
    }
}

/// What the lines of a file show.
#[derive(Debug, Default)]
struct Seen {
    places: [Places; 3],
    /// Whether most assignments have more than one blank before the sign.
    signs: bool,
}

impl Seen {
    fn new(file: &File, chunks: Range<usize>, without: Option<usize>, options: &FormatOptions) -> Self {
        let mut seen = Self::default();
        // Operations and operands of assignments, which count only if they are in columns, or nothing else is there.
        let mut of_signs: [Places; 2] = Default::default();
        let (mut signs, mut in_columns) = (0_usize, 0_usize);
        rows(file, chunks, |row| {
            let fields = Fields::of(row.text, &row.line, file.dialect()).filter(|_| without != Some(row.number));
            let Some(fields) = fields else { return };
            for (kind, place) in fields.places(row.text, options.width()) {
                let Some(at) = column_of(kind) else { continue };
                if fields.is_sign && kind == Kind::Operation {
                    signs += 1;
                    in_columns += usize::from(place.has_tab || place.to > place.from + 1);
                }
                match of_signs.get_mut(at).filter(|_| fields.is_sign) {
                    Some(places) => places.add(place, 1),
                    None => seen.places[at].add(place, 1),
                }
            }
        });
        seen.signs = 2 * in_columns > signs;
        if seen.signs || seen.places[0].0.is_empty() {
            for (places, of_signs) in seen.places.iter_mut().zip(of_signs) {
                of_signs.0.into_iter().for_each(|(place, count)| places.add(place, count));
            }
        }
        seen
    }

    fn style(&self, options: &FormatOptions) -> Style {
        let tab_width = options.width();
        let operations = &self.places[0].0;
        let lead = match operations.is_empty() {
            true => Places::prefer_tabs(self.places.iter().flat_map(|it| &it.0)),
            false => Places::prefer_tabs(operations.iter()),
        };
        let [mut operation, operands, comment] = match options.columns {
            Some(columns) => {
                // Tabs alone reach no other columns than tab stops.
                let reach = columns[0] > 0 && columns.iter().all(|column| column % tab_width == 0);
                let tabs = options.tabs.unwrap_or(lead && reach);
                columns.map(|column| Field { column, tabs })
            }
            None => std::array::from_fn(|at| self.field(at, lead, options.tabs, tab_width)),
        };
        // In column one it would be a label.
        operation.column = operation.column.max(1);
        Style { operation, operands, comment, tab_width, signs: self.signs }
    }

    /// A field as most lines have it. `lead` is whether most operations have tabs before them.
    fn field(&self, at: usize, lead: bool, wanted: Option<bool>, tab_width: usize) -> Field {
        let places = &self.places[at].0;
        let has_tabs = if places.is_empty() { lead } else { Places::prefer_tabs(places.iter()) };
        let found = self.column(at, has_tabs, true, tab_width);
        // One blank behind what comes before is no column, and stays where tabs make the columns.
        if !has_tabs && found == Some(0) {
            return Field { column: 0, tabs: false };
        }
        let tabs = wanted.unwrap_or(has_tabs || lead);
        // One tab behind what comes before is a column for the eye.
        let found = if has_tabs && !tabs { self.column(at, false, false, tab_width) } else { found };
        let column = found.unwrap_or(COLUMNS[at]);
        Field { column: if tabs { column.next_multiple_of(tab_width) } else { column }, tabs }
    }

    /// The column that explains most places: with it they stay as they are.
    fn column(&self, at: usize, tabs: bool, may_touch: bool, tab_width: usize) -> Option<usize> {
        let places = &self.places[at].0;
        if places.is_empty() {
            return None;
        }
        let mut columns: FxHashMap<usize, usize> = FxHashMap::default();
        for (place, count) in places {
            *columns.entry(place.to).or_default() += count;
        }
        // A column of tabs is a tab stop.
        let mut tried: Vec<(usize, usize)> = columns
            .into_iter()
            .filter(|it| !tabs || it.0 % tab_width == 0)
            .map(|(column, count)| (count, column))
            .collect();
        tried.sort_unstable_by(|a, b| b.cmp(a));
        tried.truncate(MOST_TRIED);
        let tried = tried.into_iter().map(|it| it.1).filter(|it| (1..=MOST_COLUMN).contains(it));
        let fits = |column: usize| -> usize {
            let field = Field { column, tabs };
            places.iter().filter(|it| field.fits(*it.0, tab_width)).map(|it| it.1).sum()
        };
        let touching = (may_touch && !tabs).then_some(0);
        // One blank between all is the simpler explanation; of columns the larger one is reached by more lines.
        tried.chain(touching).max_by_key(|column| (fits(*column), *column == 0, *column))
    }
}

/// The number of a field's column.
fn column_of(kind: Kind) -> Option<usize> {
    match kind {
        Kind::Label => None,
        Kind::Operation => Some(0),
        Kind::Operands => Some(1),
        Kind::Comment => Some(2),
    }
}

/// Where a field stands, and in how many lines.
#[derive(Debug, Default)]
struct Places(FxHashMap<Place, usize>);

impl Places {
    fn add(&mut self, place: Place, count: usize) {
        *self.0.entry(place).or_default() += count;
    }

    fn prefer_tabs<'a>(places: impl Iterator<Item = (&'a Place, &'a usize)>) -> bool {
        let (mut tabs, mut all) = (0, 0);
        for (place, count) in places {
            all += count;
            tabs += if place.has_tab { *count } else { 0 };
        }
        2 * tabs > all
    }
}
