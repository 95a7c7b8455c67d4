//! The way from power-on, instruction by instruction: where it comes to, and what is known there.

use std::collections::BTreeSet;
use std::sync::Arc;

use reveille_c::{Expr, ExprKind, Type};
use reveille_cpu::Kind;
use reveille_program::{Code, CodeAt, CodeLine, DefinitionKind, Program, Unit};
use rustc_hash::{FxHashMap, FxHashSet};

use super::condition::condition;
use super::effect::{address, step, value};
use super::functions::Functions;
use super::said::{Holds, State};
use crate::access::{Changes, SCRATCH, Way, way};
use crate::c::CUnit;
use crate::finding::Evidence;
use crate::routes::Routes;

/// How many instructions are walked.
const MOST: usize = 40_000;
/// The most characters of a text.
const LONGEST_TEXT: i64 = 200;
/// How often an instruction is come to with something new before its registers are given up.
const MOST_VISITS: u16 = 24;

/// An instruction of one of the units.
pub(crate) type Node = (usize, CodeAt);

/// An instruction, or a function of C.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Spot {
    Code(Node),
    Function(usize),
}

/// Where a call or a jump leads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Goal {
    /// To an instruction.
    Code(Node),
    /// To a function of C.
    Function(usize),
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
    /// Instructions and functions in the order in which they were come to first.
    pub(crate) order: Vec<Spot>,
    /// Where routines begin that are called.
    pub(crate) called: FxHashSet<Spot>,
    exports: FxHashMap<String, Node>,
    pub(crate) functions: Functions<'a>,
}

impl<'a> Walk<'a> {
    pub(crate) fn new(program: &'a Program, units: impl Iterator<Item = &'a Unit>, functions: Functions<'a>) -> Self {
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
            functions,
        }
    }

    /// Walks on from an instruction.
    pub(crate) fn from(&mut self, spot: Spot) {
        match spot {
            Spot::Code(node) => self.enter(node, State::new()),
            Spot::Function(at) => self.enter_function(at, &[]),
        }
        loop {
            self.run();
            let Some(at) = self.functions.next() else { return };
            self.calls_of(at);
        }
    }

    /// Where the entry of a routine is in the source.
    pub(crate) fn evidence(&mut self, spot: Spot) -> Option<Evidence> {
        match spot {
            Spot::Code(node) => self.units.get_mut(node.0)?.evidence(node.1),
            Spot::Function(at) => {
                let (unit, function) = self.functions.get(at);
                unit.evidence(function.name_span)
            }
        }
    }

    /// The routine that a name in C means: a function, or what assembly has under it.
    pub(crate) fn of_c(&mut self, from: usize, name: &str) -> Option<Spot> {
        if let Some(at) = self.functions.named_in(from, name) {
            return Some(Spot::Function(at));
        }
        let own = self.functions.convention.assembly(name);
        for name in [own.as_str(), name] {
            if let Some(node) = self.exported(name).or_else(|| self.labelled(name)) {
                return Some(Spot::Code(node));
            }
        }
        None
    }

    /// The instruction at a label of some unit.
    pub(crate) fn labelled(&mut self, name: &str) -> Option<Node> {
        self.units.iter_mut().enumerate().find_map(|(at, routes)| {
            let own = routes.unit.find(routes.program, name).filter(|it| it.kind == DefinitionKind::Label)?;
            let address = routes.unit.absolute(own.value)?;
            Some((at, routes.code.at_address(address)?))
        })
    }

    fn enter_function(&mut self, at: usize, arguments: &[Holds]) {
        if self.functions.enter(at, arguments) {
            self.order.push(Spot::Function(at));
        }
    }

    /// Goes on into all that a function calls.
    fn calls_of(&mut self, at: usize) {
        let inside = self.functions.inside(at);
        let (unit, function) = self.functions.get(at);
        let mut calls: Vec<(Expr, Vec<Expr>)> = Vec::new();
        function.expressions(&mut |it| {
            if let ExprKind::Call { function, arguments } = &it.kind {
                calls.push((Expr::clone(function), arguments.clone()));
            }
        });
        for (called, arguments) in calls {
            let ExprKind::Name(name) = &called.kind else {
                let mut target = &called;
                while let ExprKind::Unary("*", of) | ExprKind::Cast(_, of) = &target.kind {
                    target = of;
                }
                let node = inside.holds(target).number().and_then(|it| self.at_address(0, it));
                if let Some(node) = node {
                    self.called.insert(Spot::Code(node));
                    self.enter(node, State::called_with(Vec::new()));
                }
                continue;
            };
            if unit.is_macro(name) {
                continue;
            }
            let given: Vec<Holds> = arguments.iter().map(|it| inside.holds(it)).collect();
            match self.of_c(at, name) {
                Some(Spot::Function(to)) => {
                    self.called.insert(Spot::Function(to));
                    self.enter_function(to, &given);
                }
                Some(Spot::Code(node)) => {
                    let bytes = arguments.iter().map(|it| stacked(unit, it));
                    let given = given.into_iter().zip(bytes).collect();
                    self.called.insert(Spot::Code(node));
                    self.enter(node, State::called_with(given));
                }
                None => (),
            }
        }
    }

    pub(crate) fn line(&mut self, node: Node) -> Option<Arc<CodeLine>> {
        self.units.get_mut(node.0)?.line(node.1)
    }

    /// The instructions that were come to.
    pub(crate) fn nodes(&self) -> Vec<Node> {
        let code = |it: &Spot| if let Spot::Code(node) = it { Some(*node) } else { None };
        self.order.iter().filter_map(code).collect()
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
                self.order.push(Spot::Code(node));
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
                    self.enter_c(node, &line, &state);
                    for goal in self.goals(node, &line, &state) {
                        // Another module is a part of its own.
                        if goal.0 != node.0 {
                            self.called.insert(Spot::Code(goal));
                        }
                        self.on(Some(goal), after.clone());
                    }
                }
                Way::Call(operand) => {
                    for goal in self.goals(node, &line, &state) {
                        self.called.insert(Spot::Code(goal));
                        self.enter(goal, after.inside());
                    }
                    self.enter_c(node, &line, &state);
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

    /// Goes on into a function of C that a jump or a call leads to.
    fn enter_c(&mut self, node: Node, line: &CodeLine, state: &State) {
        let Some(Goal::Function(at)) = self.goal(node, line, state) else { return };
        let count = self.functions.get(at).1.parameters.len();
        self.called.insert(Spot::Function(at));
        self.enter_function(at, &state.arguments(count));
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
            let function = self.functions.of_assembly(&name);
            return Some(match (self.exports.get(&name), function) {
                (Some(it), _) => Goal::Code(*it),
                (None, Some(it)) => Goal::Function(it),
                (None, None) => Goal::Name(name),
            });
        }
        Some(Goal::Address(address(&self.units[node.0], line, operand, state)))
    }
}

/// The byte that a unit lays down at an address, or else another does.
fn peek(bytes: &mut [Code<'_>], unit: usize, address: i64) -> Option<u8> {
    let own = bytes.get_mut(unit).and_then(|it| it.byte_at(address));
    own.or_else(|| bytes.iter_mut().find_map(|it| it.byte_at(address))).map(|it| it.0)
}

/// The bytes that an argument takes on the stack: an `int`'s at least.
fn stacked(unit: &CUnit, argument: &Expr) -> u8 {
    let int = unit.unit.int_bytes();
    let bytes = match unit.unit.type_of(argument) {
        Some(Type::Integer(it)) => it.bytes.max(int),
        Some(Type::Enum(_)) => int,
        Some(Type::Pointer(_) | Type::Array(..) | Type::Function(_)) => 4,
        _ => unit.unit.value(argument).map_or(int, |it| it.ty.bytes.max(int)),
    };
    bytes as u8
}
