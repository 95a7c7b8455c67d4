//! What can be told only when every line was met: equates, names that nobody defines, calls of nothing.

use super::Walk;
use crate::unit::{DefinitionKind, Place, Problem, ProblemKind, Unit, numeric_reference, place_of};

impl Walk<'_> {
    /// What can be told only when every line was met.
    pub(super) fn finish(&mut self) {
        crate::equates::settle(self.program, &mut self.unit);
        let is_idle = |unit: &Unit, place: Place| !unit.is_judged(place);
        let mut problems = Vec::new();
        for (scope, file, chunk, at) in std::mem::take(&mut self.pending_locals) {
            let Some(source) = self.unit.file(self.program, file) else { continue };
            let found = &source.indexed[chunk as usize].local_uses[at as usize];
            let (place, span) = place_of(file, chunk, found);
            let is_known = self.unit.locals.contains_key(&(scope, found.symbol)) || {
                let text = self.program.names().text(found.symbol);
                numeric_reference(&text).is_some() && self.unit.resolve(self.program, place, &text).is_some()
            };
            if !is_known && found.must_exist && !is_idle(&self.unit, place) {
                problems.push(Problem { kind: ProblemKind::Undefined(found.symbol), place, span });
            }
        }
        let mut seen = rustc_hash::FxHashSet::default();
        for segment in &self.unit.segments {
            if !seen.insert((segment.file, segment.chunk)) {
                continue;
            }
            let Some(source) = self.unit.file(self.program, segment.file) else { continue };
            for found in &source.indexed[segment.chunk as usize].uses {
                if self.unit.by_symbol.get(found.symbol.index()).is_some_and(|it| *it != 0) || !found.must_exist {
                    continue;
                }
                let (place, span) = place_of(segment.file, segment.chunk, found);
                let folded = self.program.names().folded(found.symbol);
                if self.unit.find_folded(self.program, folded).is_none() && !is_idle(&self.unit, place) {
                    problems.push(Problem { kind: ProblemKind::Undefined(found.symbol), place, span });
                }
            }
        }
        for (symbol, place) in std::mem::take(&mut self.calls) {
            let name = self.program.names().text(symbol);
            let is_macro = self.unit.find(self.program, &name).is_some_and(|it| it.kind == DefinitionKind::Macro);
            if is_macro {
                continue;
            }
            if let Some(file) = self.unit.file(self.program, place.file).cloned() {
                let (_, line, text) = file.at(place.chunk, place.line);
                if !line.operation.of(text).contains('\\') {
                    self.unit.may_define_more = true;
                    problems.push(Problem { kind: ProblemKind::UnknownOperation(symbol), place, span: line.operation });
                }
            }
        }
        for expansion in &self.unit.expansions {
            let id = expansion.file.id();
            for (chunk, it) in expansion.file.source().chunks().iter().enumerate() {
                for (line, problem) in it.problems() {
                    let place = Place { file: id, chunk: chunk as u32, line: line as u16 };
                    if self.unit.is_judged(place) {
                        problems.push(Problem { kind: ProblemKind::Form(problem.kind), place, span: problem.span });
                    }
                }
            }
        }
        self.unit.problems.extend(problems);
        // Files that are read more than once tell the same things again.
        let mut seen = rustc_hash::FxHashSet::default();
        self.unit.problems.retain(|it| seen.insert(it.clone()));
    }
}
