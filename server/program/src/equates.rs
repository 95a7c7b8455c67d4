//! The values of equates, which may need each other in any order.

use std::ops::Range;

use reveille_source::{Dialect, name_in};

use crate::Program;
use crate::expression::{Context, ExpressionProblem, Value, evaluate};
use crate::unit::{DefinitionKind, Problem, ProblemKind, Unit, equate_span};

#[derive(Clone, Copy, PartialEq)]
enum Progress {
    Open,
    Busy,
    Done,
}

/// Gives every equate its value, and tells those that need themselves.
pub(crate) fn settle(program: &Program, unit: &mut Unit) {
    let count = unit.definitions.len();
    let is_open = |at: usize| {
        let it = &unit.definitions[at];
        it.kind == DefinitionKind::Equate && it.value == Value::Unknown
    };
    let progress = (0..count).map(|at| if is_open(at) { Progress::Open } else { Progress::Done }).collect();
    let values = unit.definitions.iter().map(|it| it.value).collect();
    let mut settle = Settle { program, unit, progress, values, problems: Vec::new() };
    for at in 0..count {
        settle.equate(at);
    }
    let (values, problems) = (settle.values, settle.problems);
    for (definition, value) in unit.definitions.iter_mut().zip(values) {
        definition.value = value;
    }
    unit.problems.extend(problems);
}

struct Settle<'a> {
    program: &'a Program,
    unit: &'a Unit,
    progress: Vec<Progress>,
    values: Vec<Value>,
    problems: Vec<Problem>,
}

impl Settle<'_> {
    /// Settles an equate after all that it needs. They wait on a stack of our own, so that a chain may be as long as it likes;
    /// each is worked out when it comes to the top and once more when what it needs is done.
    fn equate(&mut self, at: usize) {
        let mut waiting = vec![at];
        while let Some(at) = waiting.last().copied() {
            if self.progress[at] == Progress::Done {
                waiting.pop();
                continue;
            }
            self.progress[at] = Progress::Busy;
            let (value, needs, problems) = self.work_out(at);
            let open = |need: &usize| self.progress[*need] == Progress::Open;
            let before = waiting.len();
            waiting.extend(needs.iter().rev().copied().filter(open));
            if waiting.len() > before {
                continue;
            }
            // What is needed and still busy waits for this one: a ring.
            for need in needs {
                let definition = &self.unit.definitions[need];
                if let Some(span) = equate_span(self.program, definition.place) {
                    let kind = ProblemKind::Circular(definition.symbol);
                    self.problems.push(Problem { kind, place: definition.place, span });
                }
            }
            let place = self.unit.definitions[at].place;
            self.problems.extend(problems.into_iter().map(|(problem, range)| {
                let span = reveille_source::Span { start: range.start as u16, end: range.end as u16 };
                Problem { kind: ProblemKind::Expression(problem), place, span }
            }));
            self.values[at] = value;
            self.progress[at] = Progress::Done;
            waiting.pop();
        }
    }

    /// The value as far as it is known, the equates that it needs and that are not done, and what is wrong with it.
    fn work_out(&self, at: usize) -> (Value, Vec<usize>, Vec<(ExpressionProblem, Range<usize>)>) {
        let nothing = (Value::Unknown, Vec::new(), Vec::new());
        let place = self.unit.definitions[at].place;
        let Some(file) = self.program.file(place.file) else { return nothing };
        let Some(span) = equate_span(self.program, place) else { return nothing };
        let (chunk, _, text) = file.at(place.chunk, place.line);
        let dialect = chunk.dialect();
        let mut context = InEquate { settle: self, at, dialect, needs: Vec::new(), problems: Vec::new() };
        let value = evaluate(text, span.range(), dialect, &mut context);
        (value, context.needs, context.problems)
    }
}

struct InEquate<'s, 'a> {
    settle: &'s Settle<'a>,
    at: usize,
    dialect: Dialect,
    needs: Vec<usize>,
    problems: Vec<(ExpressionProblem, Range<usize>)>,
}

impl Context for InEquate<'_, '_> {
    fn name(&mut self, text: &str, _: Range<usize>) -> Value {
        let Some(name) = name_in(text, self.dialect) else { return Value::Unknown };
        let unit = self.settle.unit;
        let definition = &unit.definitions[self.at];
        let found = if crate::index::is_local_label(name, self.dialect) {
            let symbol = self.settle.program.names().find(name).map(crate::Symbol::local);
            symbol.and_then(|symbol| unit.locals.get(&(definition.scope, symbol))).map(|at| *at as usize)
        } else {
            let symbol = self.settle.program.names().find(name);
            let exact = symbol.and_then(|it| (*unit.by_symbol.get(it.index())? as usize).checked_sub(1));
            exact.or_else(|| {
                let folded = self.settle.program.names().folded(symbol?);
                unit.find_folded(self.settle.program, folded)
            })
        };
        let Some(at) = found else { return Value::Unknown };
        if self.settle.progress[at] != Progress::Done {
            if !self.needs.contains(&at) {
                self.needs.push(at);
            }
            return Value::Unknown;
        }
        self.settle.values[at]
    }

    fn location(&mut self) -> Value {
        self.settle.unit.definitions[self.at].location
    }

    fn problem(&mut self, problem: ExpressionProblem, range: Range<usize>) {
        self.problems.push((problem, range));
    }
}
