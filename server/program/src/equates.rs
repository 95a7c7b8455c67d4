//! The values of equates, which may need each other in any order.

use std::ops::Range;

use reveille_source::{Dialect, Span, name_in};

use crate::expression::{Context, ExpressionProblem, Value, evaluate};
use crate::unit::{DefinitionKind, Problem, ProblemKind, Unit, equate_span};
use crate::{Program, Symbol};

#[derive(Clone, Copy, PartialEq)]
enum Progress {
    Open,
    /// Its value is being worked out: whoever needs it now needs itself.
    Busy,
    Done,
}

/// Gives every equate its value, and tells those that need themselves.
///
/// An equate that needs an open one waits for it on a stack of our own, so that chains may be as long as they like, and each is worked
/// out as often as it has others to wait for.
pub(crate) fn settle(program: &Program, unit: &mut Unit) {
    let count = unit.definitions.len();
    let is_open = |at: usize| {
        let it = &unit.definitions[at];
        it.kind == DefinitionKind::Equate && it.value == Value::Unknown
    };
    let progress = (0..count).map(|at| if is_open(at) { Progress::Open } else { Progress::Done }).collect();
    let values = unit.definitions.iter().map(|it| it.value).collect();
    let mut settle = Settle { program, unit, progress, values, problems: Vec::new() };
    let mut stack = Vec::new();
    for at in 0..count {
        if settle.progress[at] != Progress::Open {
            continue;
        }
        stack.push(at);
        while let Some(top) = stack.last().copied() {
            match settle.attempt(top) {
                Some(needed) => stack.push(needed),
                None => {
                    stack.pop();
                }
            }
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
}

impl Settle<'_> {
    /// Works an equate out, or gives the open one that it needs first.
    fn attempt(&mut self, at: usize) -> Option<usize> {
        let place = self.unit.definitions[at].place;
        self.progress[at] = Progress::Busy;
        let span = equate_span(self.program, self.unit, place).filter(|it| !it.is_empty());
        if span.is_none() {
            let span = crate::references::definition_span(self.program, place);
            self.problems.push(Problem { kind: ProblemKind::Incomplete, place, span });
        }
        if let (Some(span), Some(file)) = (span, self.unit.file(self.program, place.file)) {
            let (chunk, _, text) = file.at(place.chunk, place.line);
            let dialect = chunk.dialect();
            let mut context =
                InEquate { settle: self, at, dialect, needed: None, circular: Vec::new(), problems: Vec::new() };
            let value = evaluate(text, span.range(), dialect, &mut context);
            let InEquate { needed, circular, problems, .. } = context;
            if needed.is_some() {
                return needed;
            }
            self.values[at] = value;
            for other in circular {
                let definition = &self.unit.definitions[other];
                if let Some(span) = equate_span(self.program, self.unit, definition.place) {
                    let kind = ProblemKind::Circular(definition.symbol);
                    self.problems.push(Problem { kind, place: definition.place, span });
                }
            }
            for (problem, range) in problems {
                let span = Span { start: range.start as u16, end: range.end as u16 };
                self.problems.push(Problem { kind: ProblemKind::Expression(problem), place, span });
            }
        }
        self.progress[at] = Progress::Done;
        None
    }
}

struct InEquate<'s, 'a> {
    settle: &'s Settle<'a>,
    at: usize,
    dialect: Dialect,
    needed: Option<usize>,
    circular: Vec<usize>,
    problems: Vec<(ExpressionProblem, Range<usize>)>,
}

impl Context for InEquate<'_, '_> {
    fn name(&mut self, text: &str, _: Range<usize>) -> Value {
        let Some(name) = name_in(text, self.dialect) else { return Value::Unknown };
        let unit = self.settle.unit;
        let names = self.settle.program.names();
        let symbol = names.find(name);
        let found = if crate::index::is_local_label(name, self.dialect) {
            let scope = unit.definitions[self.at].scope;
            symbol.map(Symbol::local).and_then(|symbol| unit.locals.get(&(scope, symbol))).map(|at| *at as usize)
        } else {
            let exact = symbol.and_then(|it| (*unit.by_symbol.get(it.index())? as usize).checked_sub(1));
            exact.or_else(|| unit.find_folded(self.settle.program, names.folded(symbol?)))
        };
        let Some(found) = found else { return Value::Unknown };
        match self.settle.progress[found] {
            Progress::Done => return self.settle.values[found],
            Progress::Busy => self.circular.push(found),
            Progress::Open => self.needed = self.needed.or(Some(found)),
        }
        Value::Unknown
    }

    fn location(&mut self) -> Value {
        self.settle.unit.definitions[self.at].location
    }

    fn problem(&mut self, problem: ExpressionProblem, range: Range<usize>) {
        self.problems.push((problem, range));
    }
}
