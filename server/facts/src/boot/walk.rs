//! The way from power-on, instruction by instruction: where it comes to, and what is known there.

use std::collections::BTreeSet;
use std::sync::Arc;

use reveille_cpu::Kind;
use reveille_program::{Code, CodeAt, CodeLine, Program, Unit};
use rustc_hash::{FxHashMap, FxHashSet};

use super::condition::condition;
use super::effect::{address, step, value};
use super::said::{Holds, State};
use crate::access::{Changes, SCRATCH, Way, way};
use crate::routes::Routes;

/// How many instructions are walked.
const MOST: usize = 40_000;
/// The most characters of a text.
const LONGEST_TEXT: i64 = 200;
/// How often an instruction is come to with something new before its registers are given up.
const MOST_VISITS: u16 = 24;

/// An instruction of one of the units.
pub(crate) type Node = (usize, CodeAt);

/// Where a call or a jump leads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Goal {
    /// To an instruction.
    Code(Node),
    /// To a name of which there is no source, or to none.
    Name(String),
    /// To an address that is worked out.
    Address(Holds),
}

/// The units of one machine and what is known of their instructions.
pub(crate) struct Walk<'a> {
    pub(crate) units: Vec<Routes<'a>>,
    /// What looks bytes up, apart from what reads instructions.
    bytes: Vec<Code<'a>>,
    changes: Vec<Changes>,
    states: FxHashMap<Node, (State, u16)>,
    open: BTreeSet<Node>,
    /// Instructions in the order in which they were come to first.
    pub(crate) order: Vec<Node>,
    /// Where routines begin that are called.
    pub(crate) called: FxHashSet<Node>,
    exports: FxHashMap<String, Node>,
}

impl<'a> Walk<'a> {
    pub(crate) fn new(program: &'a Program, units: impl Iterator<Item = &'a Unit>) -> Self {
        let mut units: Vec<Routes<'a>> = units.map(|unit| Routes::new(program, unit)).collect();
        let mut exports = FxHashMap::default();
        for (at, routes) in units.iter_mut().enumerate() {
            for (symbol, ..) in routes.unit.exports() {
                let address = routes.unit.get(*symbol).and_then(|it| routes.unit.absolute(it.value));
                if let Some(code) = address.and_then(|it| routes.code.at_address(it)) {
                    exports.entry(program.names().text(*symbol).to_string()).or_insert((at, code));
                }
            }
        }
        Self {
            bytes: units.iter().map(|it| Code::new(it.program, it.unit)).collect(),
            changes: units.iter().map(|_| Changes::default()).collect(),
            units,
            states: FxHashMap::default(),
            open: BTreeSet::new(),
            order: Vec::new(),
            called: FxHashSet::default(),
            exports,
        }
    }

    /// Walks on from an instruction.
    pub(crate) fn from(&mut self, node: Node, state: State) {
        self.enter(node, state);
        self.run();
    }

    pub(crate) fn line(&mut self, node: Node) -> Option<Arc<CodeLine>> {
        self.units.get_mut(node.0)?.line(node.1)
    }

    /// What is known before an instruction; none of one that was not come to.
    pub(crate) fn state(&self, node: Node) -> Option<&State> {
        self.states.get(&node).map(|it| &it.0)
    }

    /// The instruction at an address, in the unit or another.
    pub(crate) fn at_address(&mut self, unit: usize, address: i64) -> Option<Node> {
        let own = self.units.get_mut(unit).and_then(|it| it.code.at_address(address)).map(|it| (unit, it));
        own.or_else(|| {
            let others = (0..self.units.len()).filter(|it| *it != unit);
            others.into_iter().find_map(|at| Some((at, self.units[at].code.at_address(address)?)))
        })
    }

    /// The byte that some unit lays down at an address.
    pub(crate) fn byte(&mut self, address: i64) -> Option<u8> {
        peek(&mut self.bytes, 0, address)
    }

    /// The instruction that a unit makes known by a name.
    pub(crate) fn exported(&self, name: &str) -> Option<Node> {
        self.exports.get(name).copied()
    }

    /// The text that some unit lays down at an address, up to the byte that ends it.
    pub(crate) fn text_at(&mut self, address: i64) -> Option<String> {
        let mut text = String::new();
        for at in address..address + LONGEST_TEXT {
            match self.byte(at)? {
                it @ b' '..=b'~' => text.push(char::from(it)),
                0 if !text.is_empty() => return Some(text),
                b'\r' | b'\n' => (),
                _ => return None,
            }
        }
        None
    }

    fn enter(&mut self, node: Node, state: State) {
        let has_room = self.states.len() < MOST;
        match self.states.get_mut(&node) {
            Some((own, visits)) => {
                let met = own.meet(&state);
                if met == *own {
                    return;
                }
                *visits += 1;
                // Values that grow with each round of a loop are given up.
                *own = if *visits > MOST_VISITS { State::new() } else { met };
                if *visits > MOST_VISITS + 1 {
                    return;
                }
            }
            None if has_room => {
                self.states.insert(node, (state, 0));
                self.order.push(node);
            }
            None => return,
        }
        self.open.insert(node);
    }

    fn run(&mut self) {
        while let Some(node) = self.open.pop_first() {
            let Some(state) = self.state(node).cloned() else { continue };
            let Some(line) = self.line(node) else { continue };
            let after = self.after(node, &line, &state);
            let next = self.units[node.0].code.next(node.1).map(|it| (node.0, it));
            match way(&line) {
                Way::On => self.on(next, after),
                Way::Trap => {
                    let mut after = after;
                    after.forget(SCRATCH, &|_| None);
                    self.on(next, after);
                }
                Way::Branch(_) => {
                    let decided = condition(self, node, true).holds;
                    if decided != Some(false) {
                        self.goals(node, &line, &state).into_iter().for_each(|it| self.on(Some(it), after.clone()));
                    }
                    if decided != Some(true) {
                        self.on(next, after);
                    }
                }
                Way::Jump(_) => {
                    self.goals(node, &line, &state).into_iter().for_each(|it| self.on(Some(it), after.clone()))
                }
                Way::Call(operand) => {
                    for goal in self.goals(node, &line, &state) {
                        self.called.insert(goal);
                        self.enter(goal, after.inside());
                    }
                    let routes = &mut self.units[node.0];
                    let changed = self.changes[node.0].of_call(&mut routes.code, &line, operand) & 0x7fff;
                    let name = routes.operand_text(&line, operand);
                    let mut after = after;
                    after.forget(changed, &|it| (it == 0).then(|| format!("what `{name}` gave in D0")));
                    self.on(next, after);
                }
                Way::Away => (),
            }
        }
    }

    fn on(&mut self, node: Option<Node>, state: State) {
        if let Some(node) = node {
            self.enter(node, state);
        }
    }

    /// What is known behind an instruction.
    fn after(&mut self, node: Node, line: &CodeLine, state: &State) -> State {
        let mut after = state.clone();
        let Self { units, bytes, .. } = self;
        step(&units[node.0], line, &mut after, &mut |it| peek(bytes, node.0, it));
        after
    }

    /// What an operand is worth before an instruction.
    pub(crate) fn value(&mut self, node: Node, line: &CodeLine, operand: usize, state: &State) -> Holds {
        let Self { units, bytes, .. } = self;
        value(&units[node.0], line, operand, state, &mut |it| peek(bytes, node.0, it))
    }

    /// Where a branch, a jump or a call leads, as far as there is source.
    fn goals(&mut self, node: Node, line: &CodeLine, state: &State) -> Vec<Node> {
        match self.goal(node, line, state) {
            Some(Goal::Code(node)) => vec![node],
            Some(Goal::Address(holds)) => {
                let known: Vec<i64> = holds.values().iter().filter_map(|it| it.value).collect();
                known.into_iter().filter_map(|it| self.at_address(node.0, it)).collect()
            }
            _ => Vec::new(),
        }
    }

    /// Where a branch, a jump or a call leads.
    pub(crate) fn goal(&mut self, node: Node, line: &CodeLine, state: &State) -> Option<Goal> {
        let (Way::Branch(operand) | Way::Jump(operand) | Way::Call(operand)) = way(line) else { return None };
        if let Some(at) = self.units[node.0].code.target(line, operand) {
            return Some(Goal::Code((node.0, at)));
        }
        let kind = line.code.operands[operand].kind;
        let is_name = matches!(kind, Kind::Target | Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::PcDisplacement);
        if is_name && !line.code.is_known[operand] {
            let name = self.units[node.0].operand_text(line, operand);
            let name = name.trim_end_matches("(pc)").trim_end_matches("(PC)").to_owned();
            return Some(self.exports.get(&name).map_or(Goal::Name(name), |it| Goal::Code(*it)));
        }
        Some(Goal::Address(address(&self.units[node.0], line, operand, state)))
    }
}

/// The byte that a unit lays down at an address, or else another does.
fn peek(bytes: &mut [Code<'_>], unit: usize, address: i64) -> Option<u8> {
    let own = bytes.get_mut(unit).and_then(|it| it.byte_at(address));
    own.or_else(|| bytes.iter_mut().find_map(|it| it.byte_at(address))).map(|it| it.0)
}
