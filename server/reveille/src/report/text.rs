//! Findings for people: the source line with the place marked, what is wrong, what else has to do with it.

use std::io::Write;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use reveille_decoders::Severity;
use reveille_facts::{Evidence, Finding, Model};

use super::{display_path, line_number};

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
        let path = display_path(model, finding.at.place.file);
        let mut group = level
            .primary_title(finding.message.as_str())
            .id(finding.code)
            .element(snippet(model, finding.at, &path, None));
        let related: Vec<_> =
            finding.related.iter().take(4).map(|(at, text)| (display_path(model, at.place.file), *at, text)).collect();
        for (path, at, text) in &related {
            group = group.element(snippet(model, *at, path, Some(text)));
        }
        if let Some(fix) = finding.fixes.first() {
            group = group.element(Level::HELP.with_name("fix").message(fix.title.as_str()));
        }
        writeln!(out, "{}\n", renderer.render(&[group]))?;
    }
    let count = |severity| findings.iter().filter(|it| it.severity == severity).count();
    let files = model.program().files().count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    let rest = findings.len() - errors - warnings;
    writeln!(
        out,
        "{files} {}: {errors} {}, {warnings} {}, {rest} {}",
        plural(files, "file"),
        plural(errors, "error"),
        plural(warnings, "warning"),
        plural(rest, "note")
    )?;
    Ok(())
}

fn plural(count: usize, word: &str) -> String {
    if count == 1 { word.to_owned() } else { format!("{word}s") }
}

fn snippet<'a>(
    model: &'a Model,
    at: Evidence,
    path: &'a str,
    label: Option<&'a str>,
) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
    let number = line_number(model, at.place);
    let line = model.program().file(at.place.file).and_then(|file| file.source().line(number)).map_or("", |it| it.1);
    // A very long line would fill the screen.
    let end = line.char_indices().nth(400).map_or(line.len(), |it| it.0);
    let line = &line[..end];
    let clamp = |byte: u16| {
        let mut at = usize::from(byte).min(line.len());
        while !line.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let range = clamp(at.span.start)..clamp(at.span.end);
    let kind = if label.is_some() { AnnotationKind::Context } else { AnnotationKind::Primary };
    let mark = kind.span(range);
    let mark = match label {
        Some(label) => mark.label(label),
        None => mark,
    };
    Snippet::source(line).line_start(number + 1).path(path).annotation(mark)
}
