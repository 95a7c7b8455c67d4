//! What stands at a place: the line, its part, the word.

use std::ops::Range;

use reveille_facts::{Evidence, Model};
use reveille_program::{Definition, FileId, Place, Settings, SourceFile, Unit};
use reveille_source::{Line, LineKind, Operation, TokenKind};

/// A range of bytes of a file.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Location {
    /// The file.
    pub file: FileId,
    /// The bytes.
    pub range: Range<usize>,
}

/// Where evidence is in its file.
#[must_use]
pub fn location(model: &Model, at: Evidence) -> Location {
    let start = model.program().file(at.place.file).map_or(0, |file| line_start(file, at.place));
    Location { file: at.place.file, range: start + usize::from(at.span.start)..start + usize::from(at.span.end) }
}

pub(crate) fn line_start(file: &SourceFile, place: Place) -> usize {
    if file.source().chunks().is_empty() {
        return 0;
    }
    let chunk = &file.source().chunks()[place.chunk as usize];
    file.source().first_byte(place.chunk as usize) + chunk.lines()[usize::from(place.line)].start as usize
}

/// A line with the byte in it that is asked about.
pub(crate) struct Spot<'a> {
    pub(crate) model: &'a Model,
    pub(crate) file: &'a SourceFile,
    pub(crate) place: Place,
    pub(crate) line: &'a Line,
    pub(crate) text: &'a str,
    /// The line's first byte in the file.
    pub(crate) start: usize,
    /// The byte in the line.
    pub(crate) at: usize,
}

/// What stands at a spot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Thing {
    /// A name that the line defines.
    Label(Range<usize>),
    /// An instruction, directive or macro call.
    Operation(Range<usize>),
    /// A part of an operand; which one.
    Token(TokenKind, Range<usize>),
    /// An operand, between its parts.
    Operand(Range<usize>),
    /// The comment.
    Comment(Range<usize>),
}

impl Thing {
    /// Where it stands in its line.
    pub(crate) fn range(&self) -> Range<usize> {
        match self {
            Self::Label(range)
            | Self::Operation(range)
            | Self::Token(_, range)
            | Self::Operand(range)
            | Self::Comment(range) => range.clone(),
        }
    }
}

impl<'a> Spot<'a> {
    /// The line at a byte of a file. At the very end of the text there may be none.
    pub(crate) fn new(model: &'a Model, file: FileId, byte: usize) -> Option<Self> {
        let file = model.program().file(file)?;
        let number = file.source().line_of(byte);
        let place = file.place(number)?;
        let (_, line, text) = file.at(place.chunk, place.line);
        let start = line_start(file, place);
        Some(Self { model, file, place, line, text, start, at: byte.saturating_sub(start).min(text.len()) })
    }

    pub(crate) fn unit(&self) -> Option<&'a Unit> {
        self.model.analysis().unit_of(self.place.file)
    }

    /// What the line is read with: the settings of its unit, else of its file.
    pub(crate) fn settings(&self) -> &'a Settings {
        self.unit().map_or(self.file.settings(), |it| it.settings(self.model.program()))
    }

    /// What stands at the spot; a range includes its end, since a cursor stands between characters.
    pub(crate) fn thing(&self) -> Option<Thing> {
        if self.line.kind == LineKind::Preprocessor
            && let Some(name) = self.preprocessor_name()
        {
            return Some(Thing::Token(TokenKind::Name, name));
        }
        if self.line.kind != LineKind::Statement {
            let comment = self.line.comment.range();
            return (comment.contains(&self.at) || comment.end == self.at).then_some(Thing::Comment(comment));
        }
        let touches = |range: &Range<usize>| range.start <= self.at && self.at <= range.end && !range.is_empty();
        let label = self.line.label.range();
        if touches(&label) {
            return Some(Thing::Label(label));
        }
        let operation = self.line.operation.start.into()..usize::from(self.line.size_span().end);
        if touches(&operation) {
            return Some(Thing::Operation(operation));
        }
        let field = self.line.operands.range();
        if touches(&field) {
            return self.token(field);
        }
        let comment = self.line.comment.range();
        touches(&comment).then_some(Thing::Comment(comment))
    }

    /// The name at the spot in a line of the preprocessor, behind the word that says what the line does.
    fn preprocessor_name(&self) -> Option<Range<usize>> {
        let bytes = self.text.as_bytes();
        let is_name = |at: &usize| bytes.get(*at).is_some_and(|it| it.is_ascii_alphanumeric() || *it == b'_');
        let start = (0..self.at).rev().take_while(is_name).last().unwrap_or(self.at);
        let end = (self.at..bytes.len()).take_while(is_name).last().map_or(self.at, |it| it + 1);
        let is_word = self.text[..start].trim_end().ends_with('#');
        let is_number = bytes.get(start).is_some_and(u8::is_ascii_digit);
        (start < end && !is_word && !is_number).then_some(start..end)
    }

    fn token(&self, field: Range<usize>) -> Option<Thing> {
        let mut found = None;
        let dialect = self.file.source().dialect();
        reveille_source::tokens(&self.text[field.clone()], dialect, |kind, range| {
            let range = field.start + range.start..field.start + range.end;
            // Between two parts that touch, the one that starts here counts.
            if range.start <= self.at && self.at <= range.end && (found.is_none() || range.start == self.at) {
                found = Some(Thing::Token(kind, range));
            }
        });
        found.or_else(|| {
            let chunk = &self.file.source().chunks()[self.place.chunk as usize];
            let operand = chunk.operands(self.line).into_iter().find(|it| it.start <= self.at && self.at <= it.end)?;
            Some(Thing::Operand(operand))
        })
    }

    /// The bytes of the file that a range of the line spans.
    pub(crate) fn in_file(&self, range: &Range<usize>) -> Range<usize> {
        self.start + range.start..self.start + range.end
    }

    /// The name at the spot: of a label, in an operand, of a macro that is called.
    pub(crate) fn name(&self) -> Option<Range<usize>> {
        match self.thing()? {
            Thing::Label(range) | Thing::Token(TokenKind::Name, range) => Some(range),
            Thing::Operation(_) if matches!(self.line.op.get(), Operation::MacroCall) => {
                Some(self.line.operation.range())
            }
            _ => None,
        }
    }

    /// The definition of what stands at the spot, with its unit and the range of the name.
    pub(crate) fn definition(&self) -> Option<(&'a Unit, Definition, Range<usize>)> {
        let is_label = matches!(self.thing()?, Thing::Label(_));
        let program = self.model.program();
        let unit = self.unit()?;
        let range = self.name()?;
        let name = &self.text[range.clone()];
        if is_label
            && let Some(own) = unit.definitions().iter().find(|it| {
                // A name that is given from outside has the place of the first line.
                it.place == self.place && *program.names().text(it.symbol) == *name
            })
        {
            return Some((unit, *own, range));
        }
        if let Some(found) = unit.resolve(program, self.place, name) {
            return Some((unit, *found, range));
        }
        // A line of a macro's body means what its first expansion makes of it.
        let made = (!unit.is_active(self.place)).then(|| unit.first_made_from(program, self.place)).flatten();
        if let Some(found) = made.and_then(|place| unit.resolve(program, place, name)) {
            return Some((unit, *found, range));
        }
        let elsewhere = self.model.analysis().units().find_map(|unit| Some((unit, *unit.find(program, name)?)));
        elsewhere.map(|(unit, found)| (unit, found, range))
    }
}
