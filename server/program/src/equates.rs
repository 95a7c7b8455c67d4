//! The values of equates, which may need each other in any order.

use std::ops::Range;

use reveille_source::{Dialect, name_in};

use crate::Program;
use crate::expression::{Context, ExpressionProblem, Value, evaluate};
use crate::unit::{DefinitionKind, Problem, ProblemKind, Unit, equate_span};

/// How deep one equate may need another before its turn. Longer chains settle in the second round.
const DEPTH: u32 = 64;

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
    let mut settle = Settle { program, unit, progress, values, problems: Vec::new(), too_deep: false };
    for at in 0..count {
        settle.equate(at, 0);
    }
    if settle.too_deep {
        for at in (0..count).rev() {
            settle.equate(at, 0);
        }
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
    too_deep: bool,
}

impl Settle<'_> {
    fn equate(&mut self, at: usize, depth: u32) -> Value {
        let definition = &self.unit.definitions[at];
        match self.progress[at] {
            Progress::Done => return self.values[at],
            Progress::Busy => {
                let kind = ProblemKind::Circular(definition.symbol);
                if let Some(span) = equate_span(self.program, definition.place) {
                    self.problems.push(Problem { kind, place: definition.place, span });
                }
                return Value::Unknown;
            }
            Progress::Open if depth > DEPTH => {
                self.too_deep = true;
                return Value::Unknown;
            }
            Progress::Open => (),
        }
        let place = definition.place;
        let Some(file) = self.program.file(place.file) else { return Value::Unknown };
        let Some(span) = equate_span(self.program, place) else {
            self.progress[at] = Progress::Done;
            return Value::Unknown;
        };
        self.progress[at] = Progress::Busy;
        let (chunk, _, text) = file.at(place.chunk, place.line);
        let dialect = chunk.dialect();
        let was_deep = std::mem::take(&mut self.too_deep);
        let mut context = InEquate { settle: self, at, dialect, depth, problems: Vec::new() };
        let value = evaluate(text, span.range(), dialect, &mut context);
        let problems = context.problems;
        if self.too_deep && value == Value::Unknown {
            self.progress[at] = Progress::Open;
            return Value::Unknown;
        }
        self.too_deep |= was_deep;
        self.progress[at] = Progress::Done;
        self.values[at] = value;
        for (problem, range) in problems {
            let span = reveille_source::Span { start: range.start as u16, end: range.end as u16 };
            self.problems.push(Problem { kind: ProblemKind::Expression(problem), place, span });
        }
        value
    }
}

struct InEquate<'s, 'a> {
    settle: &'s mut Settle<'a>,
    at: usize,
    dialect: Dialect,
    depth: u32,
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
        found.map_or(Value::Unknown, |at| self.settle.equate(at, self.depth + 1))
    }

    fn location(&mut self) -> Value {
        self.settle.unit.definitions[self.at].location
    }

    fn problem(&mut self, problem: ExpressionProblem, range: Range<usize>) {
        self.problems.push((problem, range));
    }
}
