//! What is known of a machine apart from its sources: what its machine file says.

use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock};

use reveille_decoders::{Endian, FieldKind, FieldText, Layout, LayoutError, LayoutText, ValuesText, layouts};
use reveille_machine::{BlockText, Drive, MachineFile, Memory, Problem, ProblemKind, Serial, Spanned, span_inside};
use reveille_program::{FileId, Program, SourceFile, speaks_for};

use crate::finding::{Edit, Evidence, Finding, Fix};
use crate::memory;
use crate::serial::machine_findings;
use crate::session::{NamedMonitor, monitors};
use crate::setup::{Named, named};

/// The name of a machine file.
pub const MACHINE_FILE: &str = "reveille.toml";

/// What is known of a machine apart from its sources.
#[derive(Debug)]
pub struct Machine {
    /// All layouts that a table may have: the machine's own, then the built-in ones.
    pub layouts: Vec<Arc<Layout>>,
    /// Its diskette drives, and where each is written.
    pub drives: Vec<(Drive, Evidence)>,
    /// Ranges of its addresses, and where each is written.
    pub memory: Vec<(Memory, Evidence)>,
    /// Its serial ports, and where each is written.
    pub serial: Vec<(Serial, Evidence)>,
    /// Its machines, with how their monitors are talked to.
    pub monitors: Vec<NamedMonitor>,
    /// The files and folders that the file names.
    pub(crate) named: Vec<Named>,
    /// What is wrong with the file.
    pub(crate) findings: Vec<Finding>,
}

impl Default for Machine {
    fn default() -> Self {
        Self {
            layouts: layouts().to_vec(),
            drives: Vec::new(),
            memory: Vec::new(),
            serial: Vec::new(),
            monitors: Vec::new(),
            named: Vec::new(),
            findings: Vec::new(),
        }
    }
}

impl Machine {
    /// What a machine file says, and what is wrong with it.
    #[must_use]
    pub fn new(file: &SourceFile) -> Self {
        let text = file.source().text();
        let reading = reveille_machine::read(&text);
        let mut findings: Vec<Finding> = reading.problems.iter().filter_map(|it| problem(file, it)).collect();
        let serial = placed(file, reading.file.machines.iter().flat_map(|it| &it.serial), |it| &it.span);
        findings.extend(machine_findings(&serial, &|range| evidence(file, range.clone())));
        let mut own = Vec::new();
        for block in &reading.file.blocks {
            match Layout::new(layout_text(block), layouts()) {
                Ok(layout) => own.push(Arc::new(layout)),
                Err(errors) => {
                    // What the reader has told of a field already is not told again.
                    let is_told = |it: &&LayoutError| match it {
                        LayoutError::Field(at, _) => block.fields.get(*at).is_some_and(|field| {
                            let (from, to) = (field.span.start, field.span.end);
                            reading.problems.iter().any(|it| (from..to).contains(&it.span.start))
                        }),
                        _ => false,
                    };
                    let own = errors.iter().filter(|it| !is_told(it));
                    findings.extend(own.filter_map(|it| layout_finding(file, &text, block, it)));
                }
            }
        }
        own.extend(layouts().iter().cloned());
        let MachineFile { machines, .. } = &reading.file;
        let memory = placed(file, machines.iter().flat_map(|it| &it.memory), |it| &it.span);
        findings.extend(memory::overlaps(&memory));
        let (monitors, wrong) = monitors(&text, &reading.file);
        let wrong = wrong
            .into_iter()
            .filter_map(|(span, message)| Some(Finding::new("machine-009", evidence(file, span)?, message)));
        findings.extend(wrong);
        Self {
            layouts: own,
            drives: placed(file, machines.iter().flat_map(|it| &it.drives), |it| &it.span),
            memory,
            serial,
            monitors,
            named: named(file, &reading.file),
            findings,
        }
    }
}

/// Tables of a machine file with the places where they are written.
fn placed<'a, T: Clone + 'a>(
    file: &SourceFile,
    tables: impl Iterator<Item = &'a T>,
    span: fn(&T) -> &std::ops::Range<usize>,
) -> Vec<(T, Evidence)> {
    tables.filter_map(|it| Some((it.clone(), evidence(file, span(it).clone())?))).collect()
}

/// The place of a range of bytes of a machine file.
pub(crate) fn evidence(file: &SourceFile, range: std::ops::Range<usize>) -> Option<Evidence> {
    file.span(range).map(|(place, span)| Evidence { place, span })
}

fn problem(file: &SourceFile, problem: &Problem) -> Option<Finding> {
    let code = match problem.kind {
        ProblemKind::Syntax => "machine-001",
        ProblemKind::UnknownKey => "machine-002",
        ProblemKind::WrongKind => "machine-003",
        ProblemKind::WrongValue => "machine-004",
        ProblemKind::Duplicate => "machine-005",
        ProblemKind::Missing => "machine-006",
    };
    let mut finding = Finding::new(code, evidence(file, problem.span.clone())?, problem.message.clone());
    if let Some(at) = problem.related.clone().and_then(|it| evidence(file, it)) {
        finding = finding.related(at, "the first is here");
    }
    let fix = problem.fix.as_ref().and_then(|fix| {
        let at = evidence(file, fix.span.clone())?;
        let edits = vec![Edit { place: at.place, span: at.span, text: fix.text.clone() }];
        Some(Fix { title: format!("Write `{}`", fix.text), edits })
    });
    Some(finding.fix(fix))
}

fn layout_finding(file: &SourceFile, text: &str, block: &BlockText, error: &LayoutError) -> Option<Finding> {
    let (code, range, message) = match error {
        LayoutError::Field(at, message) => {
            ("machine-004", block.fields.get(*at).map_or(block.span.clone(), |it| it.span.clone()), message.clone())
        }
        LayoutError::Rule(at, error) => {
            let rule = block.rules.get(*at)?;
            let end = rule.value.len().min(error.at + 1);
            ("machine-007", span_inside(text, rule, error.at.min(end)..end), error.message.clone())
        }
        LayoutError::Shape(error) => ("machine-007", block.span.clone(), error.message.clone()),
    };
    Some(Finding::new(code, evidence(file, range)?, message))
}

/// A block of a machine file in the form that the built-in ones have.
fn layout_text(block: &BlockText) -> LayoutText {
    let field = |it: &reveille_machine::FieldText| {
        let values = (!it.values.is_empty()).then(|| {
            let has_words = it.values.iter().any(|it| it.word.is_some());
            if has_words {
                let word = |it: &reveille_machine::ValueText| {
                    (it.number.value.to_string(), it.word.as_ref().map_or_else(String::new, |it| it.value.clone()))
                };
                ValuesText::Words(it.values.iter().map(word).collect())
            } else {
                ValuesText::Numbers(it.values.iter().map(|it| it.number.value).collect())
            }
        });
        let kind = match it.kind.as_ref().map(|it| it.value) {
            Some("text") => FieldKind::Text,
            Some("code") => FieldKind::Code,
            Some("bits") => FieldKind::Bits,
            _ => FieldKind::Number,
        };
        FieldText {
            name: it.name.value.clone(),
            bytes: it.bytes.value as usize,
            meaning: it.meaning.as_ref().map_or_else(String::new, |it| it.value.clone()),
            kind,
            unit: it.unit.as_ref().map(|it| it.value.clone()),
            min: value(it.min.as_ref()),
            max: value(it.max.as_ref()),
            values,
            power_of_two: it.power_of_two.as_ref().is_some_and(|it| it.value),
            must: value(it.must.as_ref()),
            core: false,
        }
    };
    let name = block.name.value.clone();
    LayoutText {
        title: block
            .title
            .as_ref()
            .map_or_else(|| format!("block `{name}` of the machine file"), |it| it.value.clone()),
        name,
        also: Vec::new(),
        family: "own".to_owned(),
        endian: if block.endian() == "little" { Endian::Little } else { Endian::Big },
        alignment: block.alignment.as_ref().map_or(1, |it| it.value),
        source: "the machine file".to_owned(),
        extends: None,
        shape: None,
        near: None,
        words: Vec::new(),
        // Its labels and marks tell it, nothing else.
        needs_words: true,
        rows: None,
        labels: block.at.iter().map(|it| it.value.clone()).collect(),
        entries: block.repeat.as_ref().map(|it| it.value as usize),
        rules: block.rules.iter().map(|it| it.value.clone()).collect(),
        fields: block.fields.iter().map(field).collect(),
        examples: Vec::new(),
    }
}

fn value(of: Option<&Spanned<i64>>) -> Option<i64> {
    of.map(|it| it.value)
}

/// The machine files of a program.
pub(crate) fn machine_files(program: &Program) -> impl Iterator<Item = &Arc<SourceFile>> {
    program.beside().filter(|it| it.path().file_name().is_some_and(|name| name == MACHINE_FILE))
}

/// The folder that a machine file speaks for.
pub(crate) fn folder_of(file: &SourceFile) -> &Path {
    file.path().parent().unwrap_or(Path::new(""))
}

/// The machines of a program: each machine file speaks for the sources in its folder and below, unless a deeper one does.
#[derive(Clone, Debug, Default)]
pub(crate) struct Machines {
    found: Vec<(PathBuf, Arc<SourceFile>, Arc<Machine>)>,
    /// That something is not there which a file names.
    absent: Vec<Finding>,
}

static NOBODY_S: LazyLock<Arc<Machine>> = LazyLock::new(Arc::default);

impl Machines {
    /// Reads the machine files of a program; one that has not changed since `previous` is taken over.
    pub(crate) fn new(program: &Program, previous: Option<&Self>) -> Self {
        let read = |file: &Arc<SourceFile>| {
            let old = previous.and_then(|it| it.found.iter().find(|old| Arc::ptr_eq(&old.1, file)));
            let machine = old.map_or_else(|| Arc::new(Machine::new(file)), |it| it.2.clone());
            (folder_of(file).to_owned(), file.clone(), machine)
        };
        let mut found: Vec<_> = machine_files(program).map(read).collect();
        found.sort_by_key(|it| std::cmp::Reverse(it.0.components().count()));
        let named = found.iter().flat_map(|it| &it.2.named);
        let absent = named.filter(|it| program.absent().contains(&it.path)).map(Named::finding).collect();
        Self { found, absent }
    }

    /// The machine of a source.
    pub(crate) fn of(&self, path: &Path) -> &Arc<Machine> {
        self.found.iter().find(|it| speaks_for(&it.0, path)).map_or(&NOBODY_S, |it| &it.2)
    }

    /// The machine file that speaks for a path, and what it says.
    pub(crate) fn file_of(&self, path: &Path) -> (Option<FileId>, &Arc<Machine>) {
        let found = self.found.iter().find(|it| speaks_for(&it.0, path));
        found.map_or((None, &*NOBODY_S), |it| (Some(it.1.id()), &it.2))
    }

    /// Whether the same machine files speak for the same folders.
    pub(crate) fn is_for_same(&self, other: &Self) -> bool {
        let is_same = |(one, two): (&(_, Arc<SourceFile>, _), &(_, Arc<SourceFile>, _))| one.1.id() == two.1.id();
        self.found.len() == other.found.len() && self.found.iter().zip(&other.found).all(is_same)
    }

    /// The machines, and the files that they are read from.
    pub(crate) fn all(&self) -> impl Iterator<Item = (&Arc<SourceFile>, &Arc<Machine>)> {
        self.found.iter().map(|it| (&it.1, &it.2))
    }

    /// What is wrong with the files.
    pub(crate) fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.found.iter().flat_map(|it| &it.2.findings).chain(&self.absent)
    }

    /// The files and folders that the files name.
    pub(crate) fn named(&self) -> impl Iterator<Item = &Named> {
        self.found.iter().flat_map(|it| &it.2.named)
    }
}
