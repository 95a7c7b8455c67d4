//! Which registers a routine changes for its caller.
//!
//! A call keeps the registers that the routine does not write, or that it saves first and gets back. Of a routine of another module nothing
//! is known but the convention of the family's compilers: it may change D0, D1, A0 and A1 (from memory). A routine that cannot be followed may
//! change every register.

use reveille_cpu::{Kind, written};
use reveille_program::{Code, CodeAt, CodeLine};
use rustc_hash::{FxHashMap, FxHashSet};

use super::flow::{Way, way};

/// How many lines of a routine are looked at for the registers it changes, and how deep its calls are followed.
const MOST_CALLED: usize = 400;
const DEEPEST: usize = 8;

const ALL: u16 = 0xffff;
/// D0, D1, A0 and A1.
pub(crate) const SCRATCH: u16 = 0x0303;
const STACK: u16 = 0x8000;

/// The registers that routines change, as they are asked for: D0 is bit 0, A0 bit 8.
#[derive(Debug, Default)]
pub(crate) struct Changes {
    known: FxHashMap<CodeAt, u16>,
}

impl Changes {
    /// The registers that a call may change; `operand` is the one with the routine.
    pub(crate) fn of_call(&mut self, code: &mut Code<'_>, line: &CodeLine, operand: usize) -> u16 {
        self.changed_by(code, line, operand, 0)
    }

    fn changed_by(&mut self, code: &mut Code<'_>, line: &CodeLine, operand: usize, depth: usize) -> u16 {
        let kind = line.code.operands[operand].kind;
        let is_name = |it| matches!(it, Kind::Target | Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::PcDisplacement);
        match code.target(line, operand) {
            Some(routine) => self.changed_in(code, routine, depth),
            // A name that is another module's.
            None if !line.code.is_known[operand] && is_name(kind) => SCRATCH,
            None => ALL,
        }
    }

    /// The registers that a routine changes for its caller.
    fn changed_in(&mut self, code: &mut Code<'_>, routine: CodeAt, depth: usize) -> u16 {
        if let Some(known) = self.known.get(&routine) {
            return *known;
        }
        if depth == DEEPEST {
            return ALL;
        }
        // A routine that calls itself.
        self.known.insert(routine, ALL);
        let changed = self.look_for_changes(code, routine, depth).unwrap_or(ALL) & !STACK;
        self.known.insert(routine, changed);
        changed
    }

    fn look_for_changes(&mut self, code: &mut Code<'_>, routine: CodeAt, depth: usize) -> Option<u16> {
        let (mut changed, mut saved, mut restored) = (0_u16, 0_u16, 0_u16);
        // What it saves before anything is changed or decided.
        let mut at = Some(routine);
        let mut before = 0;
        while let Some(line) = at.and_then(|it| code.line(it)).filter(|it| way(it) == Way::On) {
            saved |= pushed(&line) & !before;
            before |= written(line.code.choice.instruction, line.code.choice.form, &line.code.operands);
            at = code.next(line.at);
        }
        let mut seen = FxHashSet::default();
        let mut open = vec![routine];
        while let Some(at) = open.pop() {
            if !seen.insert(at) {
                continue;
            }
            if seen.len() > MOST_CALLED {
                return None;
            }
            let line = code.line(at)?;
            let set = written(line.code.choice.instruction, line.code.choice.form, &line.code.operands);
            match popped(&line) {
                0 => changed |= set,
                set => restored |= set,
            }
            match way(&line) {
                Way::On | Way::Trap => (),
                Way::Branch(operand) => open.push(code.target(&line, operand)?),
                Way::Jump(operand) => {
                    open.push(code.target(&line, operand)?);
                    continue;
                }
                Way::Call(operand) => changed |= self.changed_by(code, &line, operand, depth + 1),
                Way::Away => continue,
            }
            if way(&line) == Way::Trap {
                changed |= SCRATCH;
            }
            open.push(code.next(at)?);
        }
        Some((changed | restored) & !(saved & restored))
    }
}

/// The registers that an instruction pushes.
fn pushed(line: &CodeLine) -> u16 {
    let [from, to] = line.code.operands;
    let is_push = to.kind == Kind::PreDecrement && to.register == 7;
    match (line.code.choice.instruction.name, from.kind) {
        ("movem" | "move", _) if !is_push => 0,
        ("movem", Kind::List) => from.value as u16,
        ("movem" | "move", Kind::Data) => 1 << from.register,
        ("movem" | "move", Kind::Address) => 0x100 << from.register,
        _ => 0,
    }
}

/// The registers that an instruction gets back from the stack.
fn popped(line: &CodeLine) -> u16 {
    let [from, to] = line.code.operands;
    let is_pop = from.kind == Kind::PostIncrement && from.register == 7;
    match (line.code.choice.instruction.name, to.kind) {
        ("movem", Kind::List) if is_pop => to.value as u16,
        ("movem" | "move", Kind::Data) if is_pop => 1 << to.register,
        ("movem" | "movea", Kind::Address) if is_pop => 0x100 << to.register,
        _ => 0,
    }
}
