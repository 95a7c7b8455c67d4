//! A script with those that it includes.

use reveille_program::{FileId, Program, SourceFile, normal};
use reveille_session::verbs::{Group, VerbKind};
use reveille_session::{Problem, Script, Statement};

use crate::finding::{Edit, Evidence, Finding, Fix};
use crate::machine::evidence;

/// How deep scripts may include each other.
const DEEPEST: usize = 16;

/// The most scripts of a session.
const MOST_FILES: usize = 256;

/// A script with those that it includes.
pub(super) struct Read {
    /// The script itself, then those that it includes.
    pub(super) files: Vec<FileId>,
    pub(super) statements: Vec<Statement>,
    pub(super) findings: Vec<Finding>,
}

pub(super) fn read(program: &Program, file: &SourceFile) -> Read {
    let mut reader = Reader { program, files: Vec::new(), findings: Vec::new() };
    let statements = reader.script(file, &mut Vec::new());
    Read { files: reader.files, statements, findings: reader.findings }
}

struct Reader<'a> {
    program: &'a Program,
    files: Vec<FileId>,
    findings: Vec<Finding>,
}

impl Reader<'_> {
    fn script(&mut self, file: &SourceFile, open: &mut Vec<FileId>) -> Vec<Statement> {
        let number = self.files.len();
        self.files.push(file.id());
        open.push(file.id());
        let script = Script::read(&file.source().text());
        self.findings.extend(script.problems.iter().filter_map(|it| problem(file, it)));
        let mut statements = script.statements;
        self.include(file, number, &mut statements, open);
        open.pop();
        statements
    }

    fn include(&mut self, file: &SourceFile, number: usize, statements: &mut [Statement], open: &mut Vec<FileId>) {
        for statement in statements {
            statement.file = number;
            if statement.verb.kind == VerbKind::Include {
                self.included(file, statement, open);
                continue;
            }
            self.include(file, number, &mut statement.body, open);
            self.include(file, number, &mut statement.otherwise, open);
        }
    }

    fn included(&mut self, file: &SourceFile, statement: &mut Statement, open: &mut Vec<FileId>) {
        let Some(name) = statement.text("file") else { return };
        let Some(at) = evidence(file, name.span.clone()) else { return };
        let folder = file.path().parent().unwrap_or(std::path::Path::new(""));
        let path = normal(&folder.join(name.value.replace('\\', "/")));
        let Some(other) = self.program.file_at(&path).filter(|it| it.is_beside()) else {
            let message = format!(
                "there is no script `{}`; write its path from this one's folder, and end it in `.{}`",
                name.value,
                super::SESSION_ENDING
            );
            self.findings.push(Finding::new("session-023", at, message));
            return;
        };
        if open.contains(&other.id()) || open.len() >= DEEPEST || self.files.len() >= MOST_FILES {
            let message = format!("`{}` includes itself, or too many include each other; take one out", name.value);
            self.findings.push(Finding::new("session-023", at, message));
            return;
        }
        let own = self.script(other, open);
        // Machine, line and log are those of the script that is run.
        statement.body = own.into_iter().filter(|it| it.verb.group != Group::Head).collect();
    }
}

fn problem(file: &SourceFile, problem: &Problem) -> Option<Finding> {
    let at = evidence(file, problem.span.clone())?;
    let fix = problem.fix.as_ref().and_then(|(span, text)| {
        let at = evidence(file, span.clone())?;
        let edits = vec![Edit { place: at.place, span: at.span, text: text.clone() }];
        Some(Fix { title: format!("Write `{text}`"), edits })
    });
    Some(Finding::new("session-001", at, problem.message.clone()).fix(fix))
}

/// The place of bytes of a statement's file.
pub(super) fn at(
    program: &Program,
    files: &[FileId],
    statement: &Statement,
    span: &std::ops::Range<usize>,
) -> Option<Evidence> {
    evidence(program.file(*files.get(statement.file)?)?, span.clone())
}
