//! Findings about the source itself: form of lines, names, values, includes.

use reveille_decoders::Severity;
use reveille_machine::distance;
use reveille_program::{
    ExpressionProblem, Place, Problem, ProblemKind, Program, SourceFile, Symbol, Unit, definition_span,
};
use reveille_source::{Encoding, ProblemKind as LineProblem, Span};

use crate::code;
use crate::finding::{Edit, Evidence, Finding, Fix};
use crate::scanned;

/// The findings about one file by itself.
pub(crate) fn file_findings(unit: &Unit, file: &SourceFile) -> Vec<Finding> {
    let mut found = Vec::new();
    let start = Evidence { place: Place { file: file.id(), chunk: 0, line: 0 }, span: Span::default() };
    if let Some(at) = file.binary_at() {
        let message = format!(
            "this is no text: byte {at} (${at:X}) is none that a source has; if it is a ROM image or an object file, give it another ending"
        );
        return vec![Finding::new("source-008", start, message)];
    }
    if file.encoding() == Encoding::Latin1 {
        let message = "this file is not UTF-8; it is read as Latin-1, each byte above $7F as one character".to_owned();
        found.push(Finding::new("source-007", start, message));
    }
    let column = file.source().margin().column;
    if column > 0 {
        let message = format!(
            "this is a listing: its source begins at column {}, and what stands before is left out; the lines keep their places",
            column + 1
        );
        found.push(Finding::new("source-011", start, message));
    }
    for (chunk, it) in file.source().chunks().iter().enumerate() {
        if file.encoding() == Encoding::Utf8 && !it.text().is_ascii() {
            for (line, own) in it.lines().iter().enumerate() {
                let place = Place { file: file.id(), chunk: chunk as u32, line: line as u16 };
                found.extend(scanned::finding(place, own, it.line_text(own)).filter(|_| unit.is_judged(place)));
            }
        }
        let problems = it.problems();
        if problems.is_empty() || !unit.reads(file.id(), chunk as u32) {
            continue;
        }
        for (line, problem) in problems {
            let place = Place { file: file.id(), chunk: chunk as u32, line: line as u16 };
            // What no assembler reads has nothing wrong: conditionals that are off, bodies of macros, text that others stand for.
            if unit.is_judged(place) {
                found.push(line_finding(place, problem.kind, problem.span));
            }
        }
    }
    found
}

fn line_finding(place: Place, kind: LineProblem, span: Span) -> Finding {
    let at = Evidence { place, span };
    match kind {
        LineProblem::UnterminatedString => Finding::new(
            "source-001",
            at,
            "the string has no closing quote; it is taken to end with the line: add the quote".into(),
        ),
        LineProblem::Broken => Finding::new(
            "source-002",
            at,
            "the line cannot be read from here on: expected a label, an operation or operands".into(),
        ),
        LineProblem::BlankAfterComma => {
            let message = "a blank ends the operand field in Motorola syntax: what follows the comma would be comment, and 0 laid down for it; take the blank out";
            let fix =
                Fix { title: "Take the blank out".into(), edits: vec![Edit { place, span, text: String::new() }] };
            Finding::new("source-003", at, message.into()).fix(Some(fix))
        }
        LineProblem::UnclosedBracket => {
            Finding::new("source-004", at, "the bracket is not closed on this line: add the closing one".into())
        }
        LineProblem::TooLong => Finding::new(
            "source-005",
            at,
            "the line has more than 65535 bytes and is not read; break it into lines".into(),
        ),
        LineProblem::UnclosedComment => {
            Finding::new("source-006", at, "the comment has no `*/`; it is taken to end with the line".into())
        }
    }
}

/// The findings about a unit's names, values and structure. Those about an ordinary name that the unit lacks come with the
/// name: another unit may have it.
pub(crate) fn unit_findings(program: &Program, unit: &Unit) -> (Vec<Finding>, Vec<(Symbol, Finding)>) {
    let (mut findings, mut foreign) = (Vec::new(), Vec::new());
    for problem in unit.problems() {
        let Some(finding) = problem_finding(program, unit, problem) else { continue };
        match problem.kind {
            ProblemKind::Undefined(symbol) if !symbol.is_local() => foreign.push((symbol, finding)),
            _ => findings.push(finding),
        }
    }
    (findings, foreign)
}

fn problem_finding(program: &Program, unit: &Unit, problem: &Problem) -> Option<Finding> {
    let mut finding = own_finding(program, unit, problem)?;
    let Some((call, own)) = unit.expanded_from(program, problem.place) else { return Some(finding) };
    // The line stands nowhere in the source: its call does, and the macro's line that it was made from.
    let (_, line, text) = program.file(call.file)?.at(call.chunk, call.line);
    let expanded = unit.file(program, problem.place.file)?;
    let (_, _, expanded) = expanded.at(problem.place.chunk, problem.place.line);
    let words: Vec<_> = expanded.split_whitespace().collect();
    let name = line.operation.of(text);
    finding.message.push_str(&format!(" (in the expansion of `{name}`: `{}`)", words.join(" ")));
    finding.at = Evidence { place: call, span: line.operation };
    finding.fixes.clear();
    if let Some(place) = own
        && let Some(file) = program.file(place.file)
    {
        let (_, line, _) = file.at(place.chunk, place.line);
        finding = finding.related(Evidence { place, span: line.operation }, "the line of the macro");
    }
    Some(finding)
}

/// The finding of a problem at its own line, which may be one of an expansion.
fn own_finding(program: &Program, unit: &Unit, problem: &Problem) -> Option<Finding> {
    let at = Evidence { place: problem.place, span: problem.span };
    let name = |symbol| program.names().text(symbol);
    Some(match &problem.kind {
        ProblemKind::Undefined(symbol) => {
            let name = name(*symbol);
            if unit.file(program, problem.place.file)?.source().dialect().is_unix() && !symbol.is_local() {
                let message = format!(
                    "`{name}` is defined nowhere and taken for another module's; declare it with .extern, or see its spelling"
                );
                return Some(Finding::new("name-005", at, message));
            }
            let near = nearest(program, unit, &name)
                .map_or("; define it, or name it in XREF".to_owned(), |near| format!("; did you mean `{near}`?"));
            let mut finding = Finding::new("name-001", at, format!("`{name}` is not defined{near}"));
            if unit.may_define_more() {
                finding.severity = Severity::Warning;
                finding.message.push_str(if unit.missing().is_empty() {
                    " (a macro may define it)"
                } else {
                    " (an included file is missing, which may define it)"
                });
            }
            finding
        }
        ProblemKind::Duplicate(first) => {
            let span = definition_span(program, *first);
            let file = unit.file(program, problem.place.file)?;
            let name = problem.span.of(file.at(problem.place.chunk, problem.place.line).2);
            let message = format!(
                "`{name}` is defined a second time; rename one of the two, or use SET where it is meant to change"
            );
            Finding::new("name-002", at, message)
                .related(Evidence { place: *first, span }, format!("`{name}` is defined here first"))
        }
        ProblemKind::Circular(symbol) => Finding::new(
            "name-003",
            at,
            format!("the value of `{}` needs `{0}` itself; give one of the names in the ring a number", name(*symbol)),
        ),
        ProblemKind::UnknownOperation(symbol) => {
            let name = name(*symbol);
            if let Some(processor) = reveille_cpu::later_processor(&name) {
                let own = unit.settings(program).cpu.name();
                let name = name.to_ascii_uppercase();
                let message = format!("{name} is an instruction of the {processor}; a {own} alone does not have it");
                return Some(Finding::new("code-004", at, message));
            }
            let mut finding = Finding::new(
                "name-004",
                at,
                format!("`{name}` is no instruction, no directive and no macro of this program"),
            );
            if !unit.missing().is_empty() {
                finding.message.push_str(" (an included file is missing, which may define it)");
            }
            finding
        }
        ProblemKind::Expression(kind) => {
            // What cannot be read has been told of already.
            let file = unit.file(program, problem.place.file)?;
            if file.at(problem.place.chunk, problem.place.line).1.has_problem() {
                return None;
            }
            expression(kind, at)
        }
        // Text without its closing quote may pass for a number of four characters.
        ProblemKind::DoesNotFit { .. } if has_open_text(program, unit, problem) => return None,
        ProblemKind::DoesNotFit { value, bytes } => {
            let bits = bytes * 8;
            let least = -(1_i64 << (bits - 1));
            let most = (1_i64 << bits) - 1;
            let cut = value & most;
            let message = format!(
                "{value} (${value:X}) does not fit into {bits} bits, {least} to {most}; ${cut:X} would be laid down"
            );
            Finding::new("value-007", at, message)
        }
        ProblemKind::BadSize => {
            Finding::new("layout-001", at, "the directive does not have this size; use .B, .W or .L".into())
        }
        ProblemKind::BadCount(count) => {
            Finding::new("layout-002", at, format!("a count of {count} cannot be; expected 0 to 16777216"))
        }
        ProblemKind::Incomplete => {
            Finding::new("layout-003", at, "an operand is missing; nothing, or 0, is laid down for it".into())
        }
        ProblemKind::LabelIsInstruction => {
            let message = "a word in column one is a label; if the instruction is meant, put a blank before it";
            let fix = Fix {
                title: "Put a tab before it".into(),
                edits: vec![Edit { place: problem.place, span: Span::default(), text: "\t".into() }],
            };
            Finding::new("source-009", at, message.into()).fix(Some(fix))
        }
        ProblemKind::NothingToEnd => Finding::new(
            "layout-004",
            at,
            "there is nothing for this to end; take it out, or find the first line that it belongs to".into(),
        ),
        ProblemKind::NeverEnds => {
            Finding::new("layout-005", at, "this has no end in its file; add ENDC, ENDM or ENDR".into())
        }
        ProblemKind::AfterEnd => Finding::new(
            "layout-006",
            at,
            "this stands behind END: the assembler does not read it; move END behind it if it is wanted".into(),
        ),
        ProblemKind::MissingInclude(file) => {
            let paths = program.include_paths(problem.place.file, unit.root()?, file);
            let looked: Vec<_> = paths.iter().map(|path| format!("`{}`", path.display())).collect();
            Finding::new("include-001", at, format!("`{file}` is not there; looked for {}", looked.join(", ")))
        }
        ProblemKind::IncludeCycle(file) => Finding::new(
            "include-002",
            at,
            format!("`{file}` is being read already: the files include each other in a ring; this include is not read"),
        ),
        ProblemKind::Misfit(_)
        | ProblemKind::LaterMode
        | ProblemKind::Operand(_)
        | ProblemKind::OddOperand { .. }
        | ProblemKind::OddInstruction
        | ProblemKind::Privileged => return code::finding(program, unit, problem, at),
        ProblemKind::TooManyExpansions => Finding::new(
            "layout-008",
            at,
            "calls of macros nest more than 64 deep, or give more than 2000000 lines in all or 4 MiB at once; what comes behind this one has no address".into(),
        ),
        ProblemKind::Form(kind) => line_finding(problem.place, *kind, problem.span),
        ProblemKind::Stated(text) => {
            let message = match text.as_str() {
                "" => "the source says here that something is wrong, and not what".to_owned(),
                text => format!("the source says here: {text}"),
            };
            Finding::new("layout-009", at, message)
        }
        ProblemKind::Unsettled => Finding::new(
            "layout-007",
            at,
            "lengths and addresses before this depend on each other and do not settle; give a branch a size, or the count a number".into(),
        ),
        ProblemKind::IncludeDepth => Finding::new(
            "include-003",
            at,
            "more than 64 files include each other in a row, or more than 10000 are read; this one is not".into(),
        ),
    })
}

/// Whether the place of a problem is a text that its line does not close.
fn has_open_text(program: &Program, unit: &Unit, problem: &Problem) -> bool {
    let Some(file) = unit.file(program, problem.place.file) else { return false };
    let (chunk, ..) = file.at(problem.place.chunk, problem.place.line);
    let mut own = chunk.problems().into_iter().filter(|it| it.0 == usize::from(problem.place.line));
    own.any(|it| it.1.kind == LineProblem::UnterminatedString && it.1.span.start <= problem.span.end)
}

fn expression(kind: &ExpressionProblem, at: Evidence) -> Finding {
    let (code, message) = match kind {
        ExpressionProblem::DivisionByZero => ("value-001", "this divides by zero, so the expression has no value"),
        ExpressionProblem::TooLarge => {
            ("value-002", "the number has more than 32 bits; the largest is 4294967295 ($FFFFFFFF)")
        }
        ExpressionProblem::BadDigit => ("value-003", "a digit does not belong to this number's base"),
        ExpressionProblem::NoValue => ("value-004", "a value is missing here"),
        ExpressionProblem::TooDeep => ("value-005", "brackets or signs nest deeper than 100"),
        ExpressionProblem::NoClosingBracket => ("value-005", "the bracket is not closed"),
        ExpressionProblem::Trailing => ("value-005", "this is no part of the expression before it"),
        ExpressionProblem::TextTooLong => ("value-006", "as a number a text has 4 characters at most"),
    };
    Finding::new(code, at, message.to_owned())
}

/// The defined name that is spelled most like `name`, if one is close.
pub(crate) fn nearest(program: &Program, unit: &Unit, name: &str) -> Option<String> {
    let most = match name.len() {
        0..=2 => return None,
        3..=5 => 1,
        _ => 2,
    };
    let definitions = unit.definitions();
    if definitions.len() > 20_000 {
        return None;
    }
    let texts = definitions.iter().map(|it| program.names().text(it.symbol));
    let close = texts.filter(|it| it.len().abs_diff(name.len()) <= most);
    // Of names that are equally near, one that begins alike is meant.
    let first = |it: &str| it.bytes().next().map(|byte| byte.to_ascii_lowercase());
    let best = close.map(|it| (distance(&it, name), it)).min_by_key(|it| (it.0, first(&it.1) != first(name)))?;
    (best.0 <= most).then(|| best.1.to_string())
}
