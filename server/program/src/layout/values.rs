//! Values in the middle of the walk.

use std::ops::Range;

use reveille_source::{Dialect, name_in};

use super::{MOST_STEPS, Walk};
use crate::expression::{Context, ExpressionProblem, Value, evaluate};
use crate::unit::{DefinitionKind, Place, equate_span};

impl Walk<'_> {
    /// Evaluates part of a line in the middle of the walk.
    pub(super) fn value(&mut self, place: Place, range: Range<usize>) -> Value {
        self.steps = 0;
        let Some(file) = self.source(place.file) else { return Value::Unknown };
        let (chunk, _, text) = file.at(place.chunk, place.line);
        let dialect = chunk.dialect();
        let mut context = InWalk { walk: self, dialect, depth: 0 };
        evaluate(text, range, dialect, &mut context)
    }

    /// Evaluates a text that stands in no line.
    pub(super) fn value_in(&mut self, text: &str, dialect: Dialect) -> Value {
        self.steps = 0;
        let mut context = InWalk { walk: self, dialect, depth: 0 };
        evaluate(text, 0..text.len(), dialect, &mut context)
    }

    fn lookup(&mut self, name: &str, depth: u32) -> Value {
        // Constants that need constants: what takes too many steps waits for the next walk, where all values are known.
        self.steps += 1;
        if depth > 100 || self.steps > MOST_STEPS {
            self.needs_more |= self.earlier.is_none();
            return self.earlier.and_then(|it| it.find(self.program, name)).map_or(Value::Unknown, |it| it.value);
        }
        let program = self.program;
        let symbol = program.names().find(name);
        if let Some(at) = symbol.and_then(|it| self.unit.locals.get(&(self.state.scope, it.local()))) {
            self.needs_lengths = true;
            return self.unit.definitions[*at as usize].value;
        }
        let at = symbol.map_or(0, |symbol| self.unit.by_symbol.get(symbol.index()).copied().unwrap_or(0));
        if at != 0 {
            let found = self.unit.definitions[at as usize - 1];
            // A field of a structure has its value at once; what is defined by an expression has none yet.
            if found.kind != DefinitionKind::Equate || found.value != Value::Unknown {
                self.needs_lengths |= found.kind == DefinitionKind::Label;
                return found.value;
            }
            let Some(span) = equate_span(program, self.known(), found.place) else { return Value::Unknown };
            let Some(file) = self.source(found.place.file) else { return Value::Unknown };
            let (chunk, _, text) = file.at(found.place.chunk, found.place.line);
            let dialect = chunk.dialect();
            let mut context = InWalk { walk: self, dialect, depth: depth + 1 };
            return evaluate(text, span.range(), dialect, &mut context);
        }
        match self.earlier {
            Some(earlier) => earlier.find(program, name).map_or(Value::Unknown, |it| it.value),
            None => {
                self.needs_more = true;
                Value::Unknown
            }
        }
    }
}

pub(super) struct InWalk<'w, 'a> {
    pub(super) walk: &'w mut Walk<'a>,
    pub(super) dialect: Dialect,
    pub(super) depth: u32,
}

impl Context for InWalk<'_, '_> {
    fn name(&mut self, text: &str, _: Range<usize>) -> Value {
        name_in(text, self.dialect).map_or(Value::Unknown, |name| self.walk.lookup(name, self.depth))
    }

    fn location(&mut self) -> Value {
        self.walk.needs_lengths = true;
        self.walk.state.location()
    }

    fn problem(&mut self, _: ExpressionProblem, _: Range<usize>) {}
}
