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
    /// Whether a file laid out so shows this style again. One that shows another each time is left as it is.
    pub is_settled: bool,
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
        let shown = |file: &File| shown(file, 0..file.chunks().len(), None, options);
        let text = file.text();
        let mut style = shown(file);
        // A field that is moved pushes others, which may then show another column than before.
        for _ in 0..MOST_ROUNDS {
            let new = File::new(&edited(&text, &format(file, &style, 0..usize::MAX)), Some(file.dialect()));
            let next = shown(&new);
            if format(&new, &next, 0..usize::MAX).is_empty() {
                return style;
            }
            style = next;
        }
        Self { is_settled: false, ..style }
    }

    /// The style of the lines around one, which does not count itself.
    #[must_use]
    pub fn near(file: &File, line: usize, options: &FormatOptions) -> Self {
        let chunk = file.chunk_of_line(line).map_or(0, |it| it.0);
        shown(file, chunk.saturating_sub(1)..chunk + 2, Some(line), options)
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

/// The style of the lines of some chunks.
fn shown(file: &File, chunks: Range<usize>, without: Option<usize>, options: &FormatOptions) -> Style {
    let mut lines = Vec::new();
    rows(file, chunks, |row| {
        if without != Some(row.number) {
            lines.extend(Fields::of(row.text, &row.line, file.dialect()).map(|fields| (row.text, fields)));
        }
    });
    let tab_width = options.width();
    let operation = |text: &str, fields: &Fields| fields.place(Kind::Operation, text, &[], tab_width);
    let of_signs = lines.iter().filter(|it| it.1.is_sign).filter_map(|(text, fields)| operation(text, fields));
    let (mut signs, mut in_columns, mut lead) = (0_usize, 0_usize, Places::default());
    for place in of_signs {
        signs += 1;
        in_columns += usize::from(place.has_tab || place.to > place.from + 1);
    }
    let signs_in_columns = 2 * in_columns > signs;
    // Assignments tell of operations and operands if they are in columns, or nothing else does.
    let is_all_signs = !lines.iter().any(|(text, fields)| !fields.is_sign && operation(text, fields).is_some());
    let tells =
        |kind: Kind, fields: &Fields| kind == Kind::Comment || !fields.is_sign || signs_in_columns || is_all_signs;
    let seen = |kind: Kind, decided: &[Field]| {
        let mut places = Places::default();
        for (text, fields) in lines.iter().filter(|it| tells(kind, &it.1)) {
            let stays = fields.is_sign && !signs_in_columns;
            places.extend(fields.place(kind, text, if stays { &[] } else { decided }, tab_width));
        }
        places
    };
    const KINDS: [Kind; 3] = [Kind::Operation, Kind::Operands, Kind::Comment];
    for kind in KINDS {
        if lead.0.is_empty() {
            lead = seen(kind, &[]);
        }
    }
    let lead = lead.prefer_tabs();
    let mut found: Vec<Field> = Vec::new();
    for (at, kind) in KINDS.into_iter().enumerate() {
        let mut field = match options.columns {
            Some(columns) => {
                // Tabs alone reach no other columns than tab stops.
                let reach = columns[0] > 0 && columns.iter().all(|column| column % tab_width == 0);
                Field { column: columns[at], tabs: options.tabs.unwrap_or(lead && reach) }
            }
            None => seen(kind, &found).field(COLUMNS[at], lead, options.tabs, tab_width),
        };
        if kind == Kind::Operation {
            // In column one it would be a label.
            field.column = field.column.max(1);
        }
        found.push(field);
    }
    let [operation, operands, comment] = [found[0], found[1], found[2]];
    Style { operation, operands, comment, tab_width, signs: signs_in_columns, is_settled: true }
}

/// Where a field stands, and in how many lines.
#[derive(Debug, Default)]
struct Places(FxHashMap<Place, usize>);

impl Places {
    fn extend(&mut self, place: Option<Place>) {
        if let Some(place) = place {
            *self.0.entry(place).or_default() += 1;
        }
    }

    /// Whether most places have tabs before them. A label that touches its operation shows neither.
    fn prefer_tabs(&self) -> bool {
        let (mut tabs, mut all) = (0, 0);
        for (place, count) in self.0.iter().filter(|it| it.0.to > it.0.from) {
            all += count;
            tabs += if place.has_tab { *count } else { 0 };
        }
        2 * tabs > all
    }

    /// A field as most lines have it. `lead` is whether most operations have tabs before them.
    fn field(&self, default: usize, lead: bool, wanted: Option<bool>, tab_width: usize) -> Field {
        let has_tabs = if self.0.is_empty() { lead } else { self.prefer_tabs() };
        let found = self.column(has_tabs, true, tab_width);
        // One blank behind what comes before is no column, and stays where tabs make the columns.
        if !has_tabs && found == Some(0) {
            return Field { column: 0, tabs: false };
        }
        let tabs = wanted.unwrap_or(has_tabs || lead);
        // One tab behind what comes before is a column for the eye.
        let found = if has_tabs && !tabs { self.column(false, false, tab_width) } else { found };
        let column = found.unwrap_or(default);
        Field { column: if tabs { column.next_multiple_of(tab_width) } else { column }, tabs }
    }

    /// The column that explains most places: with it they stay as they are.
    fn column(&self, tabs: bool, may_touch: bool, tab_width: usize) -> Option<usize> {
        let places = &self.0;
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
