//! Conditionals, macros and repetitions: which lines are read.

use reveille_source::{Condition, Meaning, Span};

use super::Walk;
use super::state::Case;
use crate::index::Indexed;
use crate::unit::{Place, ProblemKind};

impl Walk<'_> {
    /// Conditionals, macros and repetitions, which count where nothing is read too. Gives whether it was one.
    pub(super) fn structure(&mut self, place: Place, indexed: &Indexed, meaning: Meaning) -> bool {
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let nothing = |it: &mut Self| it.problem(ProblemKind::NothingToEnd, place, line.operation);
        match meaning {
            Meaning::EndMacro => {
                // ENDM ends repetitions too, in the assemblers that have no ENDR.
                if self.state.macros > 0 {
                    self.state.macros -= 1;
                } else if self.state.repeats > 0 {
                    self.state.repeats -= 1;
                } else {
                    nothing(self);
                }
                return true;
            }
            Meaning::LeaveMacro => {
                self.state.left |= self.state.reads() && place.file.expansion().is_some();
                return true;
            }
            _ if self.state.macros > 0 => return true,
            Meaning::Repeat => {
                if self.state.reads() {
                    self.repeat(place, indexed);
                }
                self.state.repeats += 1;
            }
            Meaning::EndRepeat => match self.state.repeats.checked_sub(1) {
                Some(left) => self.state.repeats = left,
                None => nothing(self),
            },
            // Conditionals in lines that are passed over count where those are read.
            _ if self.state.repeats > 0 => return true,
            Meaning::If(condition) => self.open(|it| it.decide(place, indexed, condition)),
            Meaning::Else => self.turn(place, line.operation, |_| Some(true)),
            Meaning::ElseIf => self.turn(place, line.operation, |it| it.decide(place, indexed, Condition::True)),
            Meaning::EndIf => self.close(place, line.operation),
            _ => return false,
        }
        true
    }

    /// A conditional starts; `holds` is asked where its lines may be read.
    pub(super) fn open(&mut self, holds: impl FnOnce(&mut Self) -> Option<bool>) {
        let outer_reads = self.state.reads();
        let holds = if outer_reads { self.decided(holds) } else { Some(false) };
        self.state.conditions.push(Case {
            outer_reads,
            taken: holds == Some(true),
            reads: outer_reads && holds != Some(false),
            is_uncertain: holds.is_none(),
        });
    }

    /// A conditional turns to its next case.
    pub(super) fn turn(&mut self, place: Place, span: Span, holds: impl FnOnce(&mut Self) -> Option<bool>) {
        let Some(mut case) = self.state.conditions.pop() else {
            return self.problem(ProblemKind::NothingToEnd, place, span);
        };
        let may = case.outer_reads && !case.taken;
        let holds = if may { self.decided(holds) } else { Some(false) };
        case.reads = may && holds != Some(false);
        case.taken |= holds == Some(true) && !case.is_uncertain;
        case.is_uncertain |= holds.is_none();
        self.state.conditions.push(case);
    }

    /// A conditional ends.
    pub(super) fn close(&mut self, place: Place, span: Span) {
        match self.state.conditions.pop() {
            Some(case) if case.is_uncertain => self.unknown(None),
            Some(_) => (),
            None => self.problem(ProblemKind::NothingToEnd, place, span),
        }
    }

    /// Whether a condition holds; none if that cannot be told. In a replay what was decided then.
    fn decided(&mut self, holds: impl FnOnce(&mut Self) -> Option<bool>) -> Option<bool> {
        let number = self.state.decisions as usize;
        self.state.decisions += 1;
        if !self.is_effective {
            return self.earlier.and_then(|unit| unit.decisions.get(number)).copied().flatten();
        }
        let decision = holds(self);
        self.unit.decisions.push(decision);
        decision
    }

    fn decide(&mut self, place: Place, indexed: &Indexed, condition: Condition) -> Option<bool> {
        use Condition as C;
        let line = &indexed.chunk.lines()[usize::from(place.line)];
        let text = indexed.chunk.line_text(line);
        let operands = indexed.chunk.operands(line);
        let first = operands.first().cloned().unwrap_or(0..0);
        match condition {
            C::Defined | C::NotDefined => {
                let symbol = self.program.names().intern(&text[first]);
                let known = self.unit.by_symbol.get(symbol.index()).is_some_and(|it| *it != 0);
                Some(known == (condition == C::Defined))
            }
            C::Same | C::Different | C::Blank | C::NotBlank => {
                let text_of =
                    |at: usize| operands.get(at).map_or("", |range| text[range.clone()].trim_matches(['\'', '"']));
                if line.operands.of(text).contains('\\') {
                    return None;
                }
                Some(match condition {
                    C::Same => text_of(0) == text_of(1),
                    C::Different => text_of(0) != text_of(1),
                    C::Blank => text_of(0).is_empty(),
                    _ => !text_of(0).is_empty(),
                })
            }
            _ if operands.is_empty() => {
                self.problem(ProblemKind::Incomplete, place, line.operation);
                None
            }
            _ => {
                let value = self.value(place, first).number()?;
                Some(match condition {
                    C::Zero => value == 0,
                    C::Positive => value > 0,
                    C::NotNegative => value >= 0,
                    C::Negative => value < 0,
                    C::NotPositive => value <= 0,
                    _ => value != 0,
                })
            }
        }
    }
}
