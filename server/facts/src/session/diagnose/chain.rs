//! The chain from a text to the conditions on which it is printed.

use reveille_program::{CodeAt, Definition, DefinitionKind, data_run_at};

use super::matched::Match;
use super::{Cause, FirmwareText, Role};
use crate::finding::Evidence;
use crate::routes::reasons::{Reason, reasons, words};
use crate::routes::{Routes, Taken};
use crate::session::source::Firmware;

/// Of places that are alike so many are told.
pub(super) const MOST: usize = 8;

/// Causes as they are found.
pub(super) struct Chain<'a> {
    firmware: &'a Firmware,
    /// The units' instructions, each with its unit's place in the analysis.
    pub(super) routes: Vec<(usize, Routes<'a>)>,
    pub(super) found: Vec<Cause>,
}

impl<'a> Chain<'a> {
    pub(super) fn new(firmware: &'a Firmware) -> Self {
        let program = firmware.model.program();
        let units = firmware.model.analysis().units().enumerate().filter(|it| firmware.units.contains(&it.0));
        let routes = units.map(|(at, unit)| (at, Routes::new(program, unit))).collect();
        Self { firmware, routes, found: Vec::new() }
    }

    pub(super) fn say(&mut self, depth: usize, at: Option<Evidence>, message: impl Into<String>) {
        self.found.push(Cause::new(depth, at, message));
    }

    fn of_unit(&self, unit: usize) -> Option<usize> {
        self.routes.iter().position(|it| it.0 == unit)
    }

    /// Whether a text is printed whenever the machine starts.
    pub(super) fn is_greeting(&mut self, text: &FirmwareText) -> bool {
        let vectors: Vec<_> = self.firmware.model.vectors().collect();
        let starts = vectors.iter().filter_map(|it| it.entry(1)?.address);
        let starts: Vec<i64> = starts.collect();
        let Some(at) = self.of_unit(text.unit) else { return false };
        let Some((address, free)) = text.address else { return false };
        let routes = &mut self.routes[at].1;
        let taken = routes.taking(free.min(address), address, text.label.map(|it| it.0));
        starts.into_iter().any(|start| {
            let Some(start) = routes.code.at_address(start) else { return false };
            super::start::is_always_printed(routes, start, &taken)
        })
    }

    /// A text that is printed whenever the machine starts.
    pub(super) fn greeting(&mut self, text: &FirmwareText) {
        let message = format!("the machine has started anew: `{}` is what it prints whenever it starts", text.text);
        self.say(0, Some(text.at), message);
        self.users(text, false);
    }

    /// Texts that came back.
    pub(super) fn texts(&mut self, texts: &[(&FirmwareText, Match)]) {
        for (text, own) in texts.iter().take(MOST) {
            let name = text.label.map(|it| self.firmware.model.program().names().text(it.0));
            let at = name.map_or_else(String::new, |it| format!(" at `{it}`"));
            let all = text.text.chars().count();
            let rest = if own.is_whole {
                String::new()
            } else {
                format!("; {} of its {all} characters came back", own.characters)
            };
            self.say(0, Some(text.at), format!("`{}` is a text of the firmware{at}{rest}", text.text));
            self.users(text, true);
        }
        if texts.len() > MOST {
            self.say(0, None, format!("{} texts of the firmware fit as well; {MOST} of them are told", texts.len()));
        }
    }

    /// Who refers to a text: instructions, with their conditions, and tables.
    fn users(&mut self, text: &FirmwareText, with_reasons: bool) {
        let before = self.found.len();
        let (Some(at), Some((address, free))) = (self.of_unit(text.unit), text.address) else {
            return self.say(1, Some(text.at), "where the text lies is not known, so nobody can be told who prints it");
        };
        let name = text.label.map(|it| it.0);
        let label = text.label.map(|it| it.1).filter(|it| *it <= address);
        let mut exact: Vec<(usize, Taken)> = Vec::new();
        exact.extend(self.routes[at].1.taking(free.min(address), address, name).into_iter().map(|it| (at, it)));
        let definitions = self.routes[at].1.definitions_in(free.min(address), address);
        exact.extend(self.elsewhere(at, &definitions));
        self.instructions(1, &exact, Role::Use, "takes its address", with_reasons);
        for definition in &definitions {
            let uses = self.routes[at].1.data_uses(definition);
            for used in uses.iter().take(MOST) {
                self.table(at, definition, *used);
            }
        }
        if self.found.len() > before {
            return;
        }
        // It stands behind others that one label stands before.
        let Some(label) = label.filter(|it| *it < free) else {
            return self.say(
                1,
                Some(text.at),
                "no instruction and no table is seen to take its address; how it is come to is not known",
            );
        };
        let behind = address - label;
        let taken = self.routes[at].1.taking(label, label, name);
        let taken: Vec<(usize, Taken)> = taken.into_iter().map(|it| (at, it)).collect();
        let what = format!("takes the address {behind} bytes before it; how it is counted from there is not known");
        self.instructions(1, &taken, Role::Before, &what, with_reasons);
        if self.found.len() == before {
            self.say(
                1,
                Some(text.at),
                "no instruction and no table is seen to take its address; how it is come to is not known",
            );
        }
    }

    /// The instructions of other units that name something of this one.
    fn elsewhere(&mut self, own: usize, definitions: &[Definition]) -> Vec<(usize, Taken)> {
        let mut found = Vec::new();
        for at in 0..self.routes.len() {
            if at == own {
                continue;
            }
            let routes = &mut self.routes[at].1;
            for definition in definitions.iter().filter(|it| !it.symbol.is_local()) {
                let is_external =
                    |it: &Definition| it.kind == DefinitionKind::External && it.symbol == definition.symbol;
                if !routes.unit.definitions().iter().any(is_external) {
                    continue;
                }
                let name = routes.name(definition.symbol);
                found.extend(routes.naming(&name).into_iter().map(|code| (at, Taken { at: code, address: 0 })));
            }
        }
        found
    }

    /// Instructions, each with the conditions that lead there.
    pub(super) fn instructions(
        &mut self,
        depth: usize,
        taken: &[(usize, Taken)],
        role: Role,
        what: &str,
        with_reasons: bool,
    ) {
        self.many(depth, taken.len(), what);
        for (at, taken) in taken.iter().take(MOST) {
            self.instruction(depth, *at, taken.at, role, what);
            if with_reasons {
                let found = reasons(&mut self.routes[*at].1, taken.at);
                self.conditions(depth + 1, *at, &found);
            }
        }
    }

    /// Says that there are more places than are told.
    pub(super) fn many(&mut self, depth: usize, count: usize, what: &str) {
        if count > MOST {
            self.say(depth, None, format!("{count} instructions fit ({what}); {MOST} of them are told"));
        }
    }

    pub(super) fn instruction(&mut self, depth: usize, at: usize, code: CodeAt, role: Role, what: &str) {
        let unit = self.routes[at].0;
        let routes = &mut self.routes[at].1;
        let (quoted, stands, evidence) = (routes.quoted(code), routes.stands(code), routes.evidence(code));
        let message = format!("`{quoted}`{stands} {what}");
        self.found.push(Cause { role, code: Some((unit, code)), ..Cause::new(depth, evidence, message) });
    }

    /// Conditions in words.
    pub(super) fn conditions(&mut self, depth: usize, at: usize, reasons: &[Reason]) {
        if reasons.len() > MOST {
            self.say(depth, None, format!("{} conditions lead there; {MOST} of them are told", reasons.len()));
        }
        for reason in reasons.iter().take(MOST) {
            match *reason {
                Reason::Branch(branch, is_taken) => {
                    let routes = &mut self.routes[at].1;
                    let (message, evidence) = (words(routes, branch, is_taken), routes.evidence(branch));
                    let code = Some((self.routes[at].0, branch));
                    self.found.push(Cause { role: Role::Condition, code, ..Cause::new(depth, evidence, message) });
                }
                Reason::Entered(code) => self.entered(depth, at, code),
            }
        }
    }

    /// How a routine is entered that nothing branches to.
    fn entered(&mut self, depth: usize, at: usize, code: CodeAt) {
        let Some(address) = self.routes[at].1.address(code) else { return };
        let stands = self.routes[at].1.stands(code);
        let program = self.firmware.model.program();
        let cpu = self.routes[at].1.unit.settings(program).cpu;
        let mut vectors: Vec<(Evidence, Vec<reveille_cpu::Vector>)> = Vec::new();
        for entry in self.firmware.model.vectors().flat_map(|it| &it.entries).filter(|it| it.vector.number > 0) {
            if entry.address == Some(address) {
                match vectors.iter_mut().find(|it| it.0 == entry.at) {
                    Some(own) => own.1.push(entry.vector),
                    None => vectors.push((entry.at, vec![entry.vector])),
                }
            }
        }
        for (evidence, own) in vectors.iter().take(MOST) {
            let numbers: Vec<u8> = own.iter().map(|it| it.number).collect();
            let message = match own.as_slice() {
                [only] if only.number == 1 => "the machine starts here, without a condition".to_owned(),
                [only] => format!("vector {} leads here: {}", only.number, only.words(cpu)),
                _ => format!("vectors {} lead here", crate::vectors::number_ranges(&numbers)),
            };
            self.say(depth, Some(*evidence), message);
        }
        if !vectors.is_empty() {
            return;
        }
        let definitions = self.routes[at].1.definitions_in(address, address);
        let uses: Vec<(Definition, Evidence)> = definitions
            .iter()
            .flat_map(|it| self.routes[at].1.data_uses(it).into_iter().map(move |used| (*it, used)))
            .collect();
        for (definition, used) in uses.iter().take(MOST) {
            let routes = &self.routes[at].1;
            let run = data_run_at(routes.program, routes.unit, used.place);
            let table = run.and_then(|it| it.label).map_or_else(String::new, |it| format!(" `{}`", routes.name(it)));
            let message =
                format!("`{}` stands in the table{table}: what reads that leads here", routes.name(definition.symbol));
            self.say(depth, Some(*used), message);
        }
        if uses.is_empty() {
            let evidence = self.routes[at].1.evidence(code);
            self.say(depth, evidence, format!("what leads here{stands} is not known"));
        }
    }
}
