//! Findings for people: the source line with the place marked, what is wrong, what else has to do with it.

use std::io::Write;
use std::ops::Range;

use annotate_snippets::{Annotation, AnnotationKind, Level, Renderer, Snippet};
use reveille_decoders::Severity;
use reveille_facts::{Evidence, Finding, Model};
use reveille_program::FileId;
use reveille_source::Span;

use super::{display_path, line_number};

/// Places of one file that are so many lines apart are shown in one piece of source.
const NEAR: usize = 12;

/// Of a longer line only the start is shown.
const MOST_COLUMNS: usize = 400;

/// Other places that are shown with a finding.
const MOST_RELATED: usize = 6;

/// Writes findings, and a line that counts them.
pub(crate) fn text(model: &Model, findings: &[&Finding], color: bool, out: &mut dyn Write) -> anyhow::Result<()> {
    let renderer = if color { Renderer::styled() } else { Renderer::plain() };
    for finding in findings {
        let level = match finding.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
            Severity::Note => Level::NOTE,
            Severity::Hint => Level::HELP.with_name("hint"),
        };
        let pieces = pieces(model, finding);
        let mut group =
            level.primary_title(finding.message.as_str()).id(finding.code).elements(pieces.iter().map(Piece::snippet));
        if let Some(fix) = finding.fixes.first() {
            group = group.element(Level::HELP.with_name("fix").message(fix.title.as_str()));
        }
        writeln!(out, "{}\n", renderer.render(&[group]))?;
    }
    let count = |severity| findings.iter().filter(|it| it.severity == severity).count();
    let files = model.program().files().count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    let rest = findings.len() - errors - warnings;
    let counted = [(files, "file"), (errors, "error"), (warnings, "warning"), (rest, "note")].map(|(count, word)| {
        let plural = if count == 1 { "" } else { "s" };
        format!("{count} {word}{plural}")
    });
    let [files, errors, warnings, notes] = counted;
    writeln!(out, "{files}: {errors}, {warnings}, {notes}")?;
    Ok(())
}

/// Some lines of a file with marks in them.
struct Piece<'a> {
    path: String,
    file: FileId,
    lines: Range<usize>,
    text: String,
    marks: Vec<(usize, Span, Option<&'a str>)>,
}

/// The finding's place and those that have to do with it, those near each other together.
fn pieces<'a>(model: &Model, finding: &'a Finding) -> Vec<Piece<'a>> {
    let related = finding.related.iter().take(MOST_RELATED).map(|(at, message)| (*at, Some(message.as_str())));
    let mut pieces: Vec<Piece<'a>> = Vec::new();
    for (at, message) in [(finding.at, None)].into_iter().chain(related) {
        let Evidence { place, span } = at;
        let line = line_number(model, place);
        let is_near =
            |it: &&mut Piece<'_>| it.file == place.file && line + NEAR >= it.lines.start && line <= it.lines.end + NEAR;
        match pieces.iter_mut().find(is_near) {
            Some(piece) => {
                piece.lines = piece.lines.start.min(line)..piece.lines.end.max(line + 1);
                piece.marks.push((line, span, message));
            }
            None => pieces.push(Piece {
                path: display_path(model, place.file),
                file: place.file,
                lines: line..line + 1,
                text: String::new(),
                marks: vec![(line, span, message)],
            }),
        }
    }
    for piece in &mut pieces {
        let source = model.program().file(piece.file).map(|file| file.source());
        let lines =
            piece.lines.clone().map(|number| source.and_then(|it| it.line(number)).map_or("", |it| shown(it.1)));
        piece.text = lines.collect::<Vec<_>>().join("\n");
    }
    pieces
}

fn shown(line: &str) -> &str {
    line.char_indices().nth(MOST_COLUMNS).map_or(line, |(end, _)| &line[..end])
}

impl Piece<'_> {
    fn snippet(&self) -> Snippet<'_, Annotation<'_>> {
        let lines: Vec<&str> = self.text.split('\n').collect();
        let marks = self.marks.iter().map(|(line, span, message)| {
            let at = line - self.lines.start;
            let start: usize = lines[..at].iter().map(|it| it.len() + 1).sum();
            let text = lines[at];
            let clamp = |byte: u16| {
                let mut at = usize::from(byte).min(text.len());
                while !text.is_char_boundary(at) {
                    at -= 1;
                }
                at
            };
            let range = start + clamp(span.start)..start + clamp(span.end);
            match message {
                Some(message) => AnnotationKind::Context.span(range).label(*message),
                None => AnnotationKind::Primary.span(range),
            }
        });
        Snippet::source(self.text.as_str()).line_start(self.lines.start + 1).path(self.path.as_str()).annotations(marks)
    }
}
