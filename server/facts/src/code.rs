//! Findings about instructions.

use reveille_cpu::{Kinds, Misfit, OperandProblem, Size, Sizes};
use reveille_program::{Problem, ProblemKind, Program, Unit};
use reveille_source::{Operation, Span};

use crate::finding::{Edit, Evidence, Finding, Fix};

pub(crate) fn finding(program: &Program, unit: &Unit, problem: &Problem, at: Evidence) -> Option<Finding> {
    let file = unit.file(program, problem.place.file)?;
    let (_, line, text) = file.at(problem.place.chunk, problem.place.line);
    // What cannot be read has been told of already.
    if line.has_problem() {
        return None;
    }
    let name = line.operation.of(text).to_ascii_uppercase();
    let replace = |title: &str, span: Span, text: &str| {
        let edits = vec![Edit { place: problem.place, span, text: text.to_owned() }];
        Some(Fix { title: title.to_owned(), edits })
    };
    let new = |code, message| Some(Finding::new(code, at, message));
    match &problem.kind {
        ProblemKind::Misfit(Misfit::Operand(which, kinds)) => {
            let is_only = matches!(line.op.get(), Operation::Instruction(it) if it.operands.most == 1);
            let which = match which {
                _ if is_only => "operand",
                0 => "first operand",
                _ => "second operand",
            };
            let size =
                if line.size == 0 { String::new() } else { format!(".{}", char::from(line.size.to_ascii_uppercase())) };
            let message = match kinds.is_empty() {
                true => format!("{name}{size} takes nothing like this as its {which}"),
                false => format!("{name}{size} cannot take this as its {which}; it takes {}", list(*kinds)),
            };
            new("code-001", message)
        }
        ProblemKind::Misfit(Misfit::Size(sizes)) => {
            let is_branch = matches!(line.op.get(), Operation::Instruction(it) if it.sizes.allows(Size::Short));
            let (message, fix) = match sizes.iter().next() {
                _ if is_branch && line.size == b'l' => (
                    format!(
                        "{name} has no size .L here: a distance of 32 bits came with the 68020; for one of a word write .W"
                    ),
                    replace("Write .W", line.size_span(), "w"),
                ),
                None => (
                    format!("{name} takes no size with these operands"),
                    replace("Take the size out", Span { start: line.operation.end, end: line.size_span().end }, ""),
                ),
                Some(first) => {
                    let letter = first.letter().to_string();
                    let only = sizes.iter().count() == 1;
                    let fix = replace(&format!("Write .{}", letter.to_uppercase()), line.size_span(), &letter);
                    (
                        format!("{name} does not have this size with these operands; it has {}", sizes_text(*sizes)),
                        fix.filter(|_| only),
                    )
                }
            };
            Some(Finding::new("code-002", at, message).fix(fix))
        }
        ProblemKind::Misfit(Misfit::Count) => {
            let Operation::Instruction(mnemonic) = line.op.get() else { return None };
            let (least, most) = (mnemonic.operands.least, mnemonic.operands.most);
            let count = match (least, most) {
                (0, 0) => "no operands".to_owned(),
                (1, 1) => "1 operand".to_owned(),
                (least, most) if least == most => format!("{most} operands"),
                (least, most) => format!("{least} or {most} operands"),
            };
            new("code-003", format!("{name} takes {count}"))
        }
        ProblemKind::Misfit(Misfit::Cpu(cpu)) => {
            let own = unit.settings(program).cpu.name();
            new(
                "code-004",
                format!("{name} in this form is an instruction of the {} and illegal on the {own}", cpu.name()),
            )
        }
        ProblemKind::LaterMode => {
            let own = unit.settings(program).cpu.name();
            new("code-004", format!("the {own} has no such mode or register: it came with later members of the family"))
        }
        ProblemKind::Operand(OperandProblem::Range { value, least, most, .. }) => new(
            "code-005",
            format!("{value} (${:X}) does not fit here; {name} takes {least} to {most}", value & 0xffff_ffff),
        ),
        ProblemKind::Operand(OperandProblem::Distance { distance, least, most, .. }) => {
            let is_short_branch = matches!(line.op.get(), Operation::Instruction(it) if it.sizes.allows(Size::Short))
                && matches!(line.size, b's' | b'b');
            let fix = if is_short_branch && (-0x8000..=0x7fff).contains(distance) {
                replace("Write .W", line.size_span(), "w")
            } else {
                None
            };
            let more = if fix.is_some() { "; .W reaches it" } else { "" };
            let message = format!("this is {distance} bytes away and {name} reaches {least} to {most} here{more}");
            Some(Finding::new("code-006", at, message).fix(fix))
        }
        ProblemKind::Operand(OperandProblem::OddTarget { .. }) | ProblemKind::OddOperand { is_jump: true } => {
            new("code-007", format!("{name} goes to an odd address: the fetch there is an address error"))
        }
        ProblemKind::OddOperand { is_jump: false } => new(
            "code-008",
            format!(
                "{name} reads or writes a word or a long at an odd address: an address error; use .B, or correct the address"
            ),
        ),
        ProblemKind::Operand(OperandProblem::BitNumber { value, modulo }) => {
            let message = format!("bit {value} is taken modulo {modulo}: it is bit {}", value.rem_euclid(*modulo));
            new("code-009", message)
        }
        ProblemKind::Operand(OperandProblem::NextInstruction) => {
            let fix = replace("Write .W", line.size_span(), "w").filter(|_| line.size != 0);
            let message =
                "a short branch cannot go to the next instruction: its distance of 0 marks the long form; write .W";
            Some(Finding::new("code-010", at, message.into()).fix(fix))
        }
        ProblemKind::Privileged => new(
            "code-012",
            format!(
                "{name} is privileged, and a line before it has left the supervisor state: it takes vector 8 here; do it before, or by TRAP"
            ),
        ),
        ProblemKind::OddInstruction => new(
            "code-011",
            "this instruction is at an odd address; put EVEN before it, behind the bytes of odd number".into(),
        ),
        _ => None,
    }
}

fn list(kinds: Kinds) -> String {
    let names: Vec<_> = kinds.iter().map(reveille_cpu::Kind::spelling).collect();
    names.join(" ")
}

fn sizes_text(sizes: Sizes) -> String {
    let letters: Vec<_> = sizes.iter().map(|it| format!(".{}", it.letter().to_ascii_uppercase())).collect();
    letters.join(" ")
}
