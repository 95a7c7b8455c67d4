//! From line to line: what is known of the registers before each.
//!
//! Only lines are walked that matter: those before a line that gives a wanted address, and from there on for as long as an address register is
//! near one. What is known before a line is what all ways to it agree on. A way from a line that is not walked, or a use of its label by
//! anything but a walked branch (a table, a vector, an export), leaves nothing known.
//!
//! A call changes what `changes` tells. Exceptions and traps change none but D0, D1, A0 and A1.

use std::collections::BTreeSet;
use std::sync::Arc;

use reveille_cpu::{Cpu, ends};
use reveille_program::{Code, CodeAt, CodeLine, Program, Symbol, Unit};
use rustc_hash::{FxHashMap, FxHashSet};

use super::changes::{Changes, SCRATCH};
use super::state::State;
use super::step::{Touch, on_bus, step};

/// How many lines before a line that gives a wanted address are walked for the values of registers.
const LINES_BEFORE: usize = 64;
/// How many lines are walked in a unit.
const MOST_LINES: usize = 100_000;
/// How many lines before another one of the same routine may stand.
const LONGEST_ROUTINE: usize = 400;
/// How often a counted loop is gone round, and how many lines it may have.
const MOST_ROUNDS: u32 = 256;
const LONGEST_LOOP: usize = 32;

/// How an instruction leads on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// To the next instruction.
    On,
    /// To a target, or to the next instruction.
    Branch(usize),
    /// To a target.
    Jump(usize),
    /// To a routine, and to the next instruction behind it.
    Call(usize),
    /// A trap: a routine of somebody's.
    Trap,
    /// Back, or nobody knows where.
    Away,
}

/// How an instruction leads on.
pub(crate) fn way(line: &CodeLine) -> Way {
    let name = line.code.choice.instruction.name;
    match name {
        "bcc" => Way::Branch(0),
        "dbcc" => Way::Branch(1),
        // A branch over a jump: what a condition of the dotted style becomes where its target is too far.
        "jmp" if line.code.bytes.len() == 8 => Way::Branch(0),
        "bra" | "jmp" => Way::Jump(0),
        "bsr" | "jsr" => Way::Call(0),
        "trap" | "trapv" | "chk" => Way::Trap,
        "illegal" | "bkpt" => Way::Away,
        _ if ends(line.code.choice.instruction) => Way::Away,
        _ => Way::On,
    }
}

/// A walk.
pub(super) struct Flow<'a> {
    pub(super) code: Code<'a>,
    unit: &'a Unit,
    cpu: Cpu,
    is_near: &'a dyn Fn(i64) -> bool,
    near: FxHashMap<u32, bool>,
    /// What is known before each walked line.
    states: FxHashMap<CodeAt, Box<State>>,
    open: BTreeSet<CodeAt>,
    /// Lines that are walked whatever is known.
    asked_for: FxHashSet<CodeAt>,
    /// Lines that something leads to of which nothing is known.
    unknown: FxHashSet<CodeAt>,
    /// Branches and calls: from where to where.
    edges: FxHashSet<(CodeAt, CodeAt)>,
    /// Where they lead, and where a call does.
    entered: FxHashSet<CodeAt>,
    called: FxHashSet<CodeAt>,
    /// Of counted loops, by their first line: their last.
    loops: FxHashMap<CodeAt, CodeAt>,
    changes: Changes,
}

impl<'a> Flow<'a> {
    pub(super) fn new(program: &'a Program, unit: &'a Unit, code: Code<'a>, is_near: &'a dyn Fn(i64) -> bool) -> Self {
        Self {
            code,
            unit,
            cpu: unit.settings(program).cpu,
            is_near,
            near: FxHashMap::default(),
            states: FxHashMap::default(),
            open: BTreeSet::new(),
            asked_for: FxHashSet::default(),
            unknown: FxHashSet::default(),
            edges: FxHashSet::default(),
            entered: FxHashSet::default(),
            called: FxHashSet::default(),
            loops: FxHashMap::default(),
            changes: Changes::default(),
        }
    }

    /// Whether an address register with this address is worth following.
    pub(super) fn is_near(&mut self, address: u32) -> bool {
        let (is_near, cpu) = (self.is_near, self.cpu);
        *self.near.entry(address).or_insert_with(|| is_near(on_bus(cpu, address.into())))
    }

    /// Walks from some lines, and from those before each.
    pub(super) fn walk(&mut self, lines: &[CodeAt]) {
        for line in lines {
            self.ask_for(*line);
        }
        self.run();
        self.enter_from_elsewhere();
        // What is now known to be entered is no plain loop any more.
        self.open.extend(self.loops.values());
        self.run();
    }

    /// Asks for a line and for those before it; of the first of them nothing is known.
    fn ask_for(&mut self, line: CodeAt) {
        let mut at = line;
        if !self.asked_for.insert(at) {
            return;
        }
        for _ in 0..LINES_BEFORE {
            let before = self.code.previous(at);
            let leads_on = |it: Arc<CodeLine>| !ends(it.code.choice.instruction);
            match before.filter(|it| self.code.line(*it).is_some_and(leads_on)) {
                None => break,
                // From there on it was asked for already.
                Some(before) if !self.asked_for.insert(before) => return,
                Some(before) => at = before,
            }
        }
        self.enter(at, &State::NOTHING);
    }

    /// Lets what is known on a way to a line meet what is known there.
    fn enter(&mut self, at: CodeAt, state: &State) {
        let met = match self.states.get(&at) {
            Some(old) => {
                let met = old.meet(state);
                if met == **old {
                    return;
                }
                met
            }
            None => {
                if self.unknown.contains(&at) && !self.asked_for.contains(&at) {
                    return;
                }
                let is_interesting = self.asked_for.contains(&at) || {
                    let addresses: Vec<u32> = state.addresses().collect();
                    addresses.into_iter().any(|it| self.is_near(it))
                };
                if !is_interesting || self.states.len() >= MOST_LINES {
                    // If another way leads here, this one has nothing to say.
                    self.unknown.insert(at);
                    return;
                }
                if self.unknown.contains(&at) { State::NOTHING } else { state.clone() }
            }
        };
        self.states.insert(at, Box::new(met));
        self.open.insert(at);
        self.open.extend(self.loops.get(&at));
    }

    fn run(&mut self) {
        while let Some(at) = self.open.pop_first() {
            let Some(state) = self.states.get(&at).map(|it| State::clone(it)) else { continue };
            self.lead_on(at, state);
        }
    }

    fn lead_on(&mut self, at: CodeAt, mut state: State) {
        let Some(line) = self.code.line(at) else { return };
        let way = way(&line);
        if let Some(first) = self.counted_loop(&line) {
            self.loops.insert(first, at);
            self.edges.insert((at, first));
            if let Some(behind) = self.rounds(first, at, &mut |_, _| ()) {
                if let Some(next) = self.code.next(at) {
                    self.enter(next, &behind);
                }
                return;
            }
        }
        step(&mut self.code, self.cpu, &line, &mut state, &mut |_| ());
        let target = match way {
            Way::Branch(operand) | Way::Jump(operand) | Way::Call(operand) => self.code.target(&line, operand),
            _ => None,
        };
        if let Some(target) = target {
            self.edges.insert((at, target));
            if self.entered.insert(target) {
                // A loop around it is no plain one any more.
                let around = self.loops.iter().filter(|it| *it.0 < target && target <= *it.1);
                self.open.extend(around.map(|it| it.1));
            }
            if matches!(way, Way::Call(_)) {
                self.called.insert(target);
            }
            self.enter(target, &state);
        }
        match way {
            Way::Jump(_) | Way::Away => return,
            Way::Call(operand) => {
                let changed = self.changes.of_call(&mut self.code, &line, operand);
                state.forget(changed);
            }
            Way::Trap => state.forget(SCRATCH),
            Way::On | Way::Branch(_) => (),
        }
        if let Some(next) = self.code.next(at) {
            self.enter(next, &state);
        }
    }

    /// The first line of the loop that a line ends, if it is a plain one with a count: nothing in it branches, and nothing leads into it.
    fn counted_loop(&mut self, line: &CodeLine) -> Option<CodeAt> {
        if line.code.choice.instruction.name != "dbcc" || line.code.mnemonic.condition != 1 {
            return None;
        }
        let first = self.code.target(line, 1).filter(|it| *it <= line.at && self.states.contains_key(it))?;
        let mut at = first;
        for _ in 0..LONGEST_LOOP {
            if at == line.at {
                return Some(first);
            }
            let own = self.code.line(at)?;
            let next = self.code.next(at)?;
            if way(&own) != Way::On || self.entered.contains(&next) || self.unknown.contains(&next) {
                return None;
            }
            at = next;
        }
        None
    }

    /// Goes round a counted loop; `touch` gets each access. What is known behind it, if the count is known.
    fn rounds(&mut self, first: CodeAt, last: CodeAt, touch: &mut dyn FnMut(CodeAt, Touch)) -> Option<State> {
        let end = self.code.line(last)?;
        let counter = usize::from(end.code.operands[0].register);
        let mut body: Vec<Arc<CodeLine>> = Vec::new();
        let mut at = first;
        while at != last && body.len() <= LONGEST_LOOP {
            body.push(self.code.line(at)?);
            at = self.code.next(at)?;
        }
        body.push(end);
        let mut state = State::clone(self.states.get(&first)?);
        // The count has to be known before anything is told, and stay so.
        let mut told = Vec::new();
        for _ in 0..MOST_ROUNDS {
            for line in &body {
                step(&mut self.code, self.cpu, line, &mut state, &mut |it| told.push((line.at, it)));
            }
            if state.get(counter).low(2)? == 0xffff {
                told.into_iter().for_each(|it| touch(it.0, it.1));
                return Some(state);
            }
        }
        None
    }

    /// Of the walked lines those that something else leads to: it uses their label, or stands before them, and is not walked.
    fn enter_from_elsewhere(&mut self) {
        let walked: Vec<CodeAt> = self.states.keys().copied().collect();
        let mut found: Vec<CodeAt> = Vec::new();
        for at in &walked {
            let Some(before) = self.code.previous(*at).filter(|it| !self.states.contains_key(it)) else { continue };
            let leads_on = self.code.line(before).is_none_or(|it| !matches!(way(&it), Way::Jump(_) | Way::Away));
            if leads_on {
                found.push(*at);
            }
        }
        let mut labels: FxHashMap<Symbol, CodeAt> = FxHashMap::default();
        let mut locals: FxHashMap<(u32, Symbol), CodeAt> = FxHashMap::default();
        let mut by_location = FxHashMap::default();
        let mut scopes = FxHashSet::default();
        for at in &walked {
            if let Some(line) = self.code.line(*at) {
                scopes.insert(line.scope);
                by_location.insert(line.location, *at);
            }
        }
        for definition in self.unit.definitions() {
            let Some(at) = by_location.get(&definition.value) else { continue };
            if definition.symbol.is_local() {
                locals.insert((definition.scope(), definition.symbol), *at);
            } else {
                labels.insert(definition.symbol, *at);
            }
        }
        let exports = self.unit.exports().iter().filter_map(|it| labels.get(&it.0));
        found.extend(exports);
        let edges = &self.edges;
        self.code.uses(&labels, &mut |label, from| {
            if !edges.contains(&(from, label)) {
                found.push(label);
            }
        });
        for from in self.code.local_uses(&scopes) {
            let Some(line) = self.code.line(from) else {
                found.extend(self.code.local_names(from).iter().filter_map(|it| locals.get(it)));
                continue;
            };
            for operand in 0..2 {
                let to = self.code.named(&line, operand).filter(|it| self.states.contains_key(it));
                found.extend(to.filter(|it| !self.edges.contains(&(from, *it))));
            }
        }
        for at in found {
            self.unknown.insert(at);
            self.enter(at, &State::NOTHING);
        }
    }

    /// Gives the accesses of all walked lines, each routine's behind each other; `each` gets the number of the routine.
    pub(super) fn tell(&mut self, each: &mut dyn FnMut(&mut Code<'a>, u32, CodeAt, Touch)) {
        let mut walked: Vec<CodeAt> = self.states.keys().copied().collect();
        walked.sort_unstable();
        let (mut sequence, mut last, mut reach) = (0, None, None);
        let mut gone_round: Option<(CodeAt, CodeAt)> = None;
        for at in walked {
            if last.is_some_and(|last| !self.is_one_routine(last, at, &mut reach)) {
                sequence += 1;
                reach = None;
            }
            last = Some(at);
            let Some(line) = self.code.line(at) else { continue };
            if gone_round.is_some_and(|(first, end)| first < at && at <= end) {
                continue;
            }
            let mut touched = Vec::new();
            if let Some(end) = self.loops.get(&at).copied()
                && let Some(end_line) = self.code.line(end)
                && self.counted_loop(&end_line) == Some(at)
                && self.rounds(at, end, &mut |line, it| touched.push((line, it))).is_some()
            {
                gone_round = Some((at, end));
            } else if let Some(mut state) = self.states.get(&at).map(|it| State::clone(it)) {
                step(&mut self.code, self.cpu, &line, &mut state, &mut |it| touched.push((at, it)));
            }
            for (line, touch) in touched {
                each(&mut self.code, sequence, line, touch);
            }
        }
    }

    /// Whether two walked lines belong to one routine: the way from one to the other is code, and where it ends a branch leads over the end.
    /// `reach` is how far the routine's branches lead so far.
    fn is_one_routine(&mut self, from: CodeAt, to: CodeAt, reach: &mut Option<CodeAt>) -> bool {
        let mut at = from;
        for _ in 0..LONGEST_ROUTINE {
            let Some(line) = self.code.line(at) else { return false };
            if let Way::Branch(operand) | Way::Jump(operand) = way(&line) {
                *reach = (*reach).max(self.code.target(&line, operand));
            }
            let Some(next) = self.code.next(at) else { return false };
            let is_end = matches!(way(&line), Way::Jump(_) | Way::Away);
            if is_end && (reach.is_none_or(|it| it < next) || self.called.contains(&next)) {
                return false;
            }
            if next == to {
                return true;
            }
            at = next;
        }
        false
    }
}
