//! The change made in memory: lines keep their shape, and the program stays what it was.

use reveille_facts::Model;
use reveille_program::{Content, DefinitionKind, Place, Program, SourceFile, Spelling, Unit, spellings};
use reveille_source::{Dialect, File, Line, operands, read_line};
use rustc_hash::{FxHashMap, FxHashSet};

use super::plan::{Plan, text_of};
use super::{Refusal, refuse, shown};

/// Refuses a new name if anything but the name would be another thing then. `words` say of the new name what a person knows of it.
pub(super) fn verify(model: &Model, plan: &Plan<'_>, new: &str, words: &str) -> Result<(), Refusal> {
    let mut program = model.program().clone();
    let mut edited = Vec::new();
    for id in plan.files() {
        let Some(file) = model.program().file(id) else { continue };
        let first = plan.places.partition_point(|it| it.place.file < id);
        let end = plan.places.partition_point(|it| it.place.file <= id);
        let text = edit(model, file, &plan.places[first..end], new, words)?;
        let source = File::new(&text, Some(file.source().dialect()));
        edited.push((file.path().to_owned(), Content::Text(source, file.encoding())));
    }
    program.set_files(edited);
    let analysis = model.analysis().again(&program);
    for (at, (old, now)) in model.analysis().units().zip(analysis.units()).enumerate() {
        if !model.analysis().has_same_unit(&analysis, at) {
            let compare = Compare { model, plan, new, words, old, now, program: &program };
            compare.all()?;
        }
    }
    Ok(())
}

/// A file's text after the edits, each line of which keeps its shape.
fn edit(model: &Model, file: &SourceFile, places: &[Spelling], new: &str, words: &str) -> Result<String, Refusal> {
    let source = file.source();
    let mut text = String::with_capacity(source.len());
    let mut rest = places;
    for (number, chunk) in source.chunks().iter().enumerate() {
        let mut done = 0;
        while let Some(first) = rest.first().filter(|it| it.place.chunk as usize == number) {
            let count = rest.partition_point(|it| it.place == first.place);
            let (own, others) = rest.split_at(count);
            rest = others;
            let line = &chunk.lines()[usize::from(first.place.line)];
            let old = chunk.line_text(line);
            let spans: Vec<_> = own.iter().map(|it| it.span.range()).collect();
            let replaced = replace(old, &spans, new);
            let now = read_line(&replaced, chunk.dialect());
            let has_same_comment = line.comment.of(old) == now.comment.of(&replaced);
            if !has_same_comment || !is_same_shape(line, old, &spans, &replaced, new, chunk.dialect()) {
                let place = shown(model, first.place);
                return refuse(format!("{words} the line {place} would be read in another way"));
            }
            let start = line.start as usize;
            text.push_str(&chunk.text()[done..start]);
            text.push_str(&replaced);
            done = start + old.len();
        }
        text.push_str(&chunk.text()[done..]);
    }
    Ok(text)
}

/// A text with the new name in place of some ranges, which are in order.
fn replace(text: &str, ranges: &[std::ops::Range<usize>], new: &str) -> String {
    let mut replaced = String::with_capacity(text.len() + new.len());
    let mut done = 0;
    for range in ranges {
        replaced.push_str(&text[done..range.start]);
        replaced.push_str(new);
        done = range.end;
    }
    replaced.push_str(&text[done..]);
    replaced
}

/// The parts of a line that mean something: its label, operation and operands.
fn parts(line: &Line, text: &str, dialect: Dialect) -> Vec<std::ops::Range<usize>> {
    let mut found = vec![line.label.range(), line.operation.range(), line.size_span().range()];
    operands(text, line, dialect, |range| found.push(range));
    found
}

/// Whether a line with the new name in place of some spans is read as before. Comments do not count.
fn is_same_shape(
    line: &Line,
    old: &str,
    spans: &[std::ops::Range<usize>],
    replaced: &str,
    new: &str,
    dialect: Dialect,
) -> bool {
    let now = read_line(replaced, dialect);
    let expected = parts(line, old, dialect).into_iter().map(|part| {
        let inside = spans.iter().filter(|it| part.start <= it.start && it.end <= part.end && !part.is_empty());
        let inside: Vec<_> = inside.map(|it| it.start - part.start..it.end - part.start).collect();
        replace(&old[part], &inside, new)
    });
    let expected: Vec<String> = expected.collect();
    let parts: Vec<&str> = parts(&now, replaced, dialect).into_iter().map(|it| &replaced[it]).collect();
    line.kind == now.kind
        && line.op == now.op
        && line.is_dotted() == now.is_dotted()
        && line.has_problem() == now.has_problem()
        && parts == expected
}

/// A unit before and after.
struct Compare<'a> {
    model: &'a Model,
    plan: &'a Plan<'a>,
    new: &'a str,
    words: &'a str,
    old: &'a Unit,
    now: &'a Unit,
    program: &'a Program,
}

impl Compare<'_> {
    fn all(&self) -> Result<(), Refusal> {
        self.expansions()?;
        self.definitions()?;
        self.problems()
    }

    /// What calls stand for differs by the name alone.
    fn expansions(&self) -> Result<(), Refusal> {
        let mut pairs = self.old.expansions().zip(self.now.expansions());
        if self.old.expansions().len() != self.now.expansions().len() {
            return refuse(format!("{} other macros would be called", self.words));
        }
        let differs = pairs.find(|(old, now)| !self.is_same_expansion(old.0, now.0));
        match differs {
            Some((old, _)) => refuse(format!(
                "`{}` is built from pieces, or taken apart, by the macro that is called at {}",
                self.plan.name,
                shown(self.model, old.1)
            )),
            None => Ok(()),
        }
    }

    fn is_same_expansion(&self, old: &SourceFile, now: &SourceFile) -> bool {
        let mut places: FxHashMap<Place, Vec<std::ops::Range<usize>>> = FxHashMap::default();
        for found in spellings(old, &self.plan.name) {
            let (_, _, text) = old.at(found.place.chunk, found.place.line);
            let meant = self.old.find(self.model.program(), found.span.of(text));
            if meant.is_some_and(|it| it.symbol != self.plan.definition.symbol && it.kind != DefinitionKind::External) {
                continue;
            }
            places.entry(found.place).or_default().push(found.span.range());
        }
        let (before, after) = (old.source(), now.source());
        before.line_count() == after.line_count()
            && (0..before.line_count()).all(|number| {
                let (Some((line, text)), Some((_, now))) = (before.line(number), after.line(number)) else {
                    return false;
                };
                let own = old.place(number).and_then(|it| places.get(&it));
                if text == now {
                    // A local label there is most often another one.
                    return own.is_none() || self.plan.is_local;
                }
                let own = own.map_or(&[][..], Vec::as_slice);
                is_same_shape(line, text, own, now, self.new, before.dialect())
            })
    }

    /// The definitions are the same, but for the name.
    fn definitions(&self) -> Result<(), Refusal> {
        let (old, now) = (self.old.definitions(), self.now.definitions());
        let is_same = |at: usize| {
            let (one, two) = (&old[at], &now[at]);
            let names = (self.program.names().text(one.symbol), self.program.names().text(two.symbol));
            let is_renamed = names.0.eq_ignore_ascii_case(&self.plan.name) && *names.1 == *self.new;
            let same_name =
                names.0 == names.1 && (self.plan.is_local || *names.0 != *self.plan.name || *names.0 == *self.new);
            (is_renamed || same_name)
                && one.kind == two.kind
                && one.value == two.value
                && self.line(self.old, self.model.program(), one.place) == self.line(self.now, self.program, two.place)
        };
        if let Some(at) = (0..old.len().min(now.len())).find(|at| !is_same(*at)) {
            let name = self.program.names().text(old[at].symbol);
            return refuse(format!(
                "{} `{name}` at {} would be another one",
                self.words,
                shown(self.model, old[at].place)
            ));
        }
        if old.len() != now.len() {
            return refuse(format!("{} the program would define other names", self.words));
        }
        let now = self.now.find(self.program, self.new);
        let now = now.map(|it| (it.kind, self.line(self.now, self.program, it.place)));
        for place in
            self.plan.places.iter().filter(|it| !self.plan.is_local && self.old.files().contains(&it.place.file))
        {
            let found = self.old.find(self.model.program(), text_of(self.model, place.place, place.span));
            if found.map(|it| (it.kind, self.line(self.old, self.model.program(), it.place))) != now {
                let place = shown(self.model, place.place);
                return refuse(format!("{} the name at {place} would mean another definition", self.words));
            }
        }
        if !self.old.is_laid_out_like(self.now) {
            return refuse(format!(
                "{} instructions would have other lengths, or conditions be decided otherwise",
                self.words
            ));
        }
        Ok(())
    }

    /// Chunks may be cut otherwise: a line is its number.
    fn line(&self, unit: &Unit, program: &Program, place: Place) -> (reveille_program::FileId, usize) {
        (place.file, unit.file(program, place.file).map_or(0, |file| file.line_number(place)))
    }

    /// Nothing is wrong that was right.
    fn problems(&self) -> Result<(), Refusal> {
        let key = |unit: &Unit, program: &Program, it: &reveille_program::Problem| {
            (self.line(unit, program, it.place), std::mem::discriminant(&it.kind))
        };
        let known: FxHashSet<_> =
            self.old.problems().iter().map(|it| key(self.old, self.model.program(), it)).collect();
        let fresh = self.now.problems().iter().find(|it| !known.contains(&key(self.now, self.program, it)));
        match fresh {
            Some(problem) => refuse(format!(
                "{} something would be wrong at {}",
                self.words,
                shown(self.model, self.in_old(problem.place))
            )),
            None => Ok(()),
        }
    }

    /// The same line in the program as it is.
    fn in_old(&self, place: Place) -> Place {
        let place = self.now.expanded_from(self.program, place).map_or(place, |it| it.0);
        let number = self.program.file(place.file).map_or(0, |file| file.line_number(place));
        self.model.program().file(place.file).and_then(|file| file.place(number)).unwrap_or(place)
    }
}
