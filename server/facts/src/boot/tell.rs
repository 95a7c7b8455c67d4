//! The steps of the routines that are come to, in the words of the source.

use reveille_c::ExprKind;
use reveille_cpu::{Kind, MemoryUse, memory_use};
use reveille_program::CodeLine;
use rustc_hash::{FxHashMap, FxHashSet};

use super::c_steps::{self, Place, Used};
use super::condition::{Condition, all_shown, condition, shown};
use super::effect::address;
use super::said::State;
use super::walk::{Goal, Node, Spot, Walk};
use super::{Needs, PathRoutine, PathStep, StepKind};
use crate::access::{Way, way};
use crate::finding::Evidence;

/// So far behind its start a loaded program is entered at most: behind a header.
const NEAR: i64 = 0x100;

/// Something that an instruction has to do with, found otherwise than by walking.
#[derive(Clone, Debug)]
pub(super) struct Mention {
    pub(super) kind: StepKind,
    pub(super) words: String,
    pub(super) value: Option<i64>,
}

/// What is known besides the instructions.
pub(super) struct Around<'a> {
    /// Texts and numbers of errors, by the instruction that has to do with them.
    pub(super) mentions: &'a FxHashMap<Node, Vec<Mention>>,
    /// Names of files, by their addresses.
    pub(super) files: &'a FxHashMap<i64, String>,
    /// The device that an address belongs to.
    pub(super) device: &'a dyn Fn(i64) -> Option<String>,
}

/// What is told of a way: its routines, and what its functions use.
pub(super) struct Routines {
    pub(super) all: Vec<PathRoutine>,
    /// For each function of C that was come to, by its number, what it uses.
    pub(super) used: Vec<(usize, Vec<Used>)>,
}

/// The routines that were come to, each with its steps: those of the starts first, then the others in the order in which they were come to.
pub(super) fn routines(walk: &mut Walk<'_>, starts: &[Spot], around: &Around<'_>) -> Routines {
    let called = walk.order.iter().copied().filter(|it| walk.called.contains(it));
    let (mut entries, mut known): (Vec<Spot>, FxHashSet<Spot>) = Default::default();
    entries.extend(starts.iter().copied().chain(called).filter(|it| known.insert(*it)));
    let (owners, members) = owners(walk, &entries);
    let functions = entries.iter().enumerate().filter_map(|(at, it)| match it {
        Spot::Function(function) => Some((*function, at)),
        Spot::Code(_) => None,
    });
    let functions: FxHashMap<usize, usize> = functions.collect();
    let bases = bases(walk);
    let polled = polled(walk, around);
    let (mut all, mut used) = (Vec::new(), Vec::new());
    for (at, own) in members.into_iter().enumerate() {
        let Some(place) = walk.evidence(entries[at]) else { continue };
        all.push(match entries[at] {
            Spot::Code(node) => {
                let mut telling = Telling {
                    walk,
                    around,
                    owners: &owners,
                    functions: &functions,
                    bases: &bases,
                    polled: &polled,
                    routine: at,
                    steps: Vec::new(),
                };
                telling.all(node, &own);
                let steps = kept(telling.steps);
                let address = walk.units[node.0].address(node.1);
                let name = name_at(walk, node);
                PathRoutine { name, language: "assembly", address, at: place, steps, is_telling: false }
            }
            Spot::Function(function) => {
                let places: FxHashMap<String, Place> = called_names(walk, function)
                    .into_iter()
                    .map(|name| {
                        let spot = walk.of_c(function, &name);
                        let own = spot.and_then(|it| entries.iter().position(|own| *own == it));
                        let is_pointer = walk.functions.is_object(function, &name);
                        let place = match own {
                            Some(it) => Place::Routine(it),
                            None if is_pointer => Place::Pointer,
                            None => Place::Elsewhere,
                        };
                        (name, place)
                    })
                    .collect();
                let device = |it: i64| (around.device)(it).filter(|it| !polled.contains(it));
                let told = c_steps::told(&walk.functions, function, &device, &|name| {
                    places.get(name).cloned().unwrap_or(Place::Elsewhere)
                });
                used.push((function, told.used));
                let name = walk.functions.get(function).1.name.to_string();
                PathRoutine { name, language: "c", address: None, at: place, steps: told.steps, is_telling: false }
            }
        });
    }
    Routines { all, used }
}

/// The names that a function calls.
fn called_names(walk: &Walk<'_>, function: usize) -> Vec<String> {
    let mut found = Vec::new();
    walk.functions.get(function).1.expressions(&mut |it| {
        if let ExprKind::Call { function, .. } = &it.kind
            && let ExprKind::Name(name) = &function.kind
        {
            found.push(name.to_string());
        }
    });
    found
}

/// What a place of the program is called.
pub(super) fn name_at(walk: &mut Walk<'_>, node: Node) -> String {
    let routes = &mut walk.units[node.0];
    let Some(address) = routes.address(node.1) else { return "code without an address".to_owned() };
    routes.place_name(address)
}

/// Which routine each instruction belongs to, and the instructions of each, in the order of the program.
fn owners(walk: &mut Walk<'_>, entries: &[Spot]) -> (FxHashMap<Node, usize>, Vec<Vec<Node>>) {
    let code = |it: &Spot| if let Spot::Code(node) = it { Some(*node) } else { None };
    let starts: FxHashSet<Node> = entries.iter().filter_map(code).collect();
    let mut owners: FxHashMap<Node, usize> = FxHashMap::default();
    let mut members = vec![Vec::new(); entries.len()];
    for (at, entry) in entries.iter().enumerate() {
        let Some(entry) = code(entry) else { continue };
        let mut open = vec![entry];
        while let Some(own) = open.pop() {
            let is_other = own != entry && starts.contains(&own);
            if is_other || owners.contains_key(&own) || walk.state(own).is_none() {
                continue;
            }
            owners.insert(own, at);
            members[at].push(own);
            open.extend(next(walk, own));
        }
        members[at].sort_unstable();
        // The entry stands first, wherever the source has it.
        if let Some(place) = members[at].iter().position(|it| *it == entry) {
            members[at].rotate_left(place);
        }
    }
    (owners, members)
}

/// The instructions that follow on one, calls passed over.
fn next(walk: &mut Walk<'_>, node: Node) -> Vec<Node> {
    let Some(line) = walk.line(node) else { return Vec::new() };
    let behind = |walk: &mut Walk<'_>| walk.units[node.0].code.next(node.1).map(|it| (node.0, it));
    match way(&line) {
        Way::On | Way::Trap | Way::Call(_) => behind(walk).into_iter().collect(),
        Way::Branch(_) => behind(walk).into_iter().chain(targets(walk, node, &line)).collect(),
        Way::Jump(_) => targets(walk, node, &line),
        Way::Away => Vec::new(),
    }
}

fn targets(walk: &mut Walk<'_>, node: Node, line: &CodeLine) -> Vec<Node> {
    let Some(state) = walk.state(node).cloned() else { return Vec::new() };
    match walk.goal(node, line, &state) {
        Some(Goal::Code(it)) => vec![it],
        Some(Goal::Address(holds)) => {
            let known: Vec<i64> = holds.values().iter().filter_map(|it| it.value).collect();
            known.into_iter().filter_map(|it| walk.at_address(node.0, it)).collect()
        }
        _ => Vec::new(),
    }
}

/// The addresses that jumps out of the source count from: where something is loaded that the source does not have.
fn bases(walk: &mut Walk<'_>) -> FxHashSet<i64> {
    let mut found = FxHashSet::default();
    for node in walk.nodes() {
        let (Some(line), Some(state)) = (walk.line(node), walk.state(node).cloned()) else { continue };
        let Some(Goal::Address(holds)) = walk.goal(node, &line, &state) else { continue };
        for own in holds.values() {
            let is_here = own.value.is_some_and(|it| walk.at_address(node.0, it).is_some());
            let base = own.base.filter(|it| !is_here && walk.byte(*it).is_none());
            found.extend(base.filter(|it| walk.at_address(node.0, *it).is_none()));
        }
    }
    found
}

/// The device whose register a condition asks.
fn asked_device(said: &Condition, around: &Around<'_>) -> Option<String> {
    said.asked.as_ref()?.0.values().iter().find_map(|it| (around.device)(it.read_from?))
}

/// The devices that are asked again and again until they are ready: what they say is no choice of a person's.
fn polled(walk: &mut Walk<'_>, around: &Around<'_>) -> FxHashSet<String> {
    let mut found = FxHashSet::default();
    for node in walk.nodes() {
        let Some(line) = walk.line(node).filter(|it| matches!(way(it), Way::Branch(_))) else { continue };
        if targets(walk, node, &line).iter().any(|it| it.0 == node.0 && *it <= node) {
            let said = condition(walk, node, true);
            found.extend(asked_device(&said, around));
        }
    }
    found
}

struct Telling<'w, 'a, 'b> {
    walk: &'w mut Walk<'a>,
    around: &'b Around<'b>,
    owners: &'b FxHashMap<Node, usize>,
    /// Which routine each function of C is.
    functions: &'b FxHashMap<usize, usize>,
    bases: &'b FxHashSet<i64>,
    polled: &'b FxHashSet<String>,
    routine: usize,
    steps: Vec<PathStep>,
}

impl Telling<'_, '_, '_> {
    fn all(&mut self, entry: Node, members: &[Node]) {
        for own in members {
            let (Some(line), Some(state)) = (self.walk.line(*own), self.walk.state(*own).cloned()) else { continue };
            let Some(at) = self.walk.units[own.0].evidence(own.1) else { continue };
            let address = self.walk.units[own.0].address(own.1);
            let label = address.and_then(|it| self.walk.units[own.0].label_at(it)).filter(|_| *own != entry);
            if let Some(label) = label {
                let name = self.walk.units[own.0].name(label).to_string();
                self.steps.push(PathStep { value: address, ..step(StepKind::Label, name, at) });
            }
            for mention in self.around.mentions.get(own).into_iter().flatten() {
                let own = PathStep { value: mention.value, ..step(mention.kind, mention.words.clone(), at) };
                self.steps.push(own);
            }
            self.addresses(*own, &line, &state, at);
            self.check(*own, &line, &state, at);
            self.way(*own, &line, &state, at);
            self.falls_on(*own, &line, at);
        }
    }

    /// Where one routine runs on into another.
    fn falls_on(&mut self, node: Node, line: &CodeLine, at: Evidence) {
        if matches!(way(line), Way::Jump(_) | Way::Away) {
            return;
        }
        let next = self.walk.units[node.0].code.next(node.1).map(|it| (node.0, it));
        if let (Some(next), Some(routine)) = (next, self.other_routine(next)) {
            let to = name_at(self.walk, next);
            let own = step(StepKind::GoesOn, format!("runs on into `{to}`"), at);
            self.steps.push(PathStep { to: Some(to), routine: Some(routine), ..own });
        }
    }

    /// Devices, files and places of loaded programs that the operands stand for.
    fn addresses(&mut self, node: Node, line: &CodeLine, state: &State, at: Evidence) {
        let count = line.code.choice.form.operand_count();
        let cpu = self.walk.units[node.0].unit.settings(self.walk.units[node.0].program).cpu;
        for operand in 0..count {
            let own = line.code.operands[operand];
            if !line.code.is_known[operand] {
                continue;
            }
            let is_direct =
                matches!(own.kind, Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::Target | Kind::PcDisplacement);
            if !is_direct && own.kind != Kind::Immediate {
                continue;
            }
            let is_way = !matches!(way(line), Way::On | Way::Trap);
            if is_way {
                continue;
            }
            if let Some(name) =
                self.around.files.get(&own.value).filter(|_| is_direct || line.code.choice.size.bytes() == 4)
            {
                self.steps.push(PathStep {
                    to: Some(name.clone()),
                    ..step(StepKind::File, format!("the file `{name}`"), at)
                });
            }
            let is_kept = count == 2 && matches!(line.code.operands[1].kind, Kind::Address | Kind::PreDecrement);
            let is_base = self.bases.iter().any(|it| (0..=NEAR).contains(&(it - own.value)));
            if is_base && (is_kept || line.code.choice.instruction.name == "pea") {
                let words = self.walk.units[node.0].operand_text(line, operand);
                let words = words.trim_start_matches('#');
                let words = format!("takes {words} (${:X}), from where a loaded program is entered", own.value);
                self.steps.push(PathStep { value: Some(own.value), ..step(StepKind::Load, words, at) });
            }
            let used = memory_use(line.code.choice.instruction, &line.code.operands, operand, count, cpu);
            let (Some(used), Some(device)) = (used, (self.around.device)(own.value).filter(|_| is_direct)) else {
                continue;
            };
            let name = self.walk.units[node.0].operand_text(line, operand);
            let words = match used {
                MemoryUse::Write => {
                    let is_clear = line.code.choice.instruction.name == "clr";
                    let value = if count == 2 { all_shown(&self.walk.value(node, line, 0, state)) } else { None };
                    let value = value.or(is_clear.then(|| "0".to_owned()));
                    match value {
                        Some(value) => format!("writes {value} to {name} (`{device}`)"),
                        None => format!("writes to {name} (`{device}`)"),
                    }
                }
                _ => format!("reads {name} (`{device}`)"),
            };
            self.steps.push(PathStep { value: Some(own.value), ..step(StepKind::Device, words, at) });
        }
    }

    /// A comparison with a magic number: letters, or the first word of a program's header.
    fn check(&mut self, node: Node, line: &CodeLine, state: &State, at: Evidence) {
        let is_compare = matches!(line.code.choice.instruction.name, "cmp" | "cmpi" | "cmpa");
        let own = line.code.operands[0];
        if !is_compare || own.kind != Kind::Immediate || !line.code.is_known[0] {
            return;
        }
        let bytes = line.code.choice.size.bytes();
        let Some(title) = magic(own.value, bytes) else { return };
        let left = all_shown(&self.walk.value(node, line, 1, state));
        let left = left.unwrap_or_else(|| self.walk.units[node.0].operand_text(line, 1));
        let right = self.walk.value(node, line, 0, state).only().map(shown).unwrap_or_default();
        let words = format!("checks whether {left} is {right}: {title}");
        self.steps.push(PathStep { value: Some(own.value), ..step(StepKind::Check, words, at) });
    }

    fn way(&mut self, node: Node, line: &CodeLine, state: &State, at: Evidence) {
        match way(line) {
            Way::Branch(_) => {
                let said = condition(self.walk, node, true);
                if said.holds == Some(false) {
                    return;
                }
                let target = targets(self.walk, node, line).first().copied();
                let to = target.map(|it| name_at(self.walk, it));
                let device = asked_device(&said, self.around).filter(|it| !self.polled.contains(it));
                let value = said.asked.as_ref().and_then(|it| it.1.as_ref()?.value);
                let routine = self.other_routine(target);
                let own = step(StepKind::Decision, said.words, at);
                self.steps.push(PathStep { to, routine, value, device, is_equal: said.is_equal, ..own });
            }
            Way::Call(operand) => {
                let target = targets(self.walk, node, line);
                let text = self.walk.units[node.0].operand_text(line, operand);
                let words = match (self.walk.goal(node, line, state), target.as_slice()) {
                    (Some(Goal::Address(holds)), []) => {
                        let what = all_shown(&holds).unwrap_or_else(|| format!("the address in `{text}`"));
                        let own = step(StepKind::Jump, format!("calls {what}: no source is there"), at);
                        self.steps.push(PathStep { value: holds.only().and_then(|it| it.base), ..own });
                        return;
                    }
                    (Some(Goal::Name(name)), _) => {
                        let words = format!("calls `{name}`, of which no source is here");
                        let needs = Some(Needs::Source);
                        self.steps.push(PathStep { to: Some(name), needs, ..step(StepKind::Call, words, at) });
                        return;
                    }
                    (Some(Goal::Function(own)), _) => {
                        let name = self.walk.functions.get(own).1.name.to_string();
                        let routine = self.functions.get(&own).copied();
                        let own = step(StepKind::Call, format!("calls `{text}`, which is `{name}` in C"), at);
                        self.steps.push(PathStep { to: Some(name), routine, ..own });
                        return;
                    }
                    _ => format!("calls `{text}`"),
                };
                for own in if target.is_empty() { vec![None] } else { target.into_iter().map(Some).collect() } {
                    let to = own.map(|it| name_at(self.walk, it));
                    let routine = own.and_then(|it| self.owners.get(&it).copied());
                    self.steps.push(PathStep { to, routine, ..step(StepKind::Call, words.clone(), at) });
                }
            }
            Way::Jump(operand) => self.jump(node, line, operand, state, at),
            Way::On | Way::Trap | Way::Away => (),
        }
    }

    fn jump(&mut self, node: Node, line: &CodeLine, operand: usize, state: &State, at: Evidence) {
        for own in targets(self.walk, node, line) {
            let to = name_at(self.walk, own);
            let routine = self.other_routine(Some(own));
            let is_worked_out = !matches!(self.walk.goal(node, line, state), Some(Goal::Code(_)));
            let value = if is_worked_out { self.walk.units[own.0].address(own.1) } else { None };
            let words = if is_worked_out { "goes on at the address that it was given" } else { "goes on" };
            self.steps.push(PathStep {
                routine,
                to: Some(to.clone()),
                value,
                ..step(StepKind::GoesOn, format!("{words}: `{to}`"), at)
            });
        }
        match self.walk.goal(node, line, state) {
            Some(Goal::Function(own)) => {
                let name = self.walk.functions.get(own).1.name.to_string();
                let routine = self.functions.get(&own).copied();
                let own = step(StepKind::GoesOn, format!("goes on in `{name}` in C"), at);
                self.steps.push(PathStep { to: Some(name), routine, ..own });
            }
            Some(Goal::Name(name)) => {
                let words = format!("goes on at `{name}`, of which no source is here");
                let needs = Some(Needs::Source);
                self.steps.push(PathStep { to: Some(name), needs, ..step(StepKind::GoesOn, words, at) });
            }
            Some(Goal::Address(holds)) => {
                let open: Vec<_> = holds
                    .values()
                    .iter()
                    .filter(|it| it.value.is_none_or(|it| self.walk.at_address(node.0, it).is_none()))
                    .cloned()
                    .collect();
                for own in &open {
                    let words = match own.value {
                        Some(_) => format!("jumps to {}: no source is there", shown(own)),
                        None => format!("jumps to {}: what is loaded there decides", own.words),
                    };
                    let needs = own.value.is_none().then_some(Needs::File);
                    let value = own.base.or(own.value);
                    self.steps.push(PathStep { value, needs, ..step(StepKind::Jump, words, at) });
                }
                if holds.values().is_empty() {
                    let text = self.walk.units[node.0].operand_text(line, operand);
                    let from = address(&self.walk.units[node.0], line, operand, state);
                    let base = from.only().and_then(|it| it.base);
                    let words = format!("jumps to the address of `{text}`, which is worked out");
                    self.steps.push(PathStep { value: base, ..step(StepKind::Jump, words, at) });
                }
            }
            _ => (),
        }
    }

    fn other_routine(&self, target: Option<Node>) -> Option<usize> {
        target.and_then(|it| self.owners.get(&it)).copied().filter(|it| *it != self.routine)
    }
}

pub(super) fn step(kind: StepKind, words: String, at: Evidence) -> PathStep {
    PathStep {
        kind,
        depth: 0,
        words,
        to: None,
        routine: None,
        value: None,
        device: None,
        is_equal: false,
        needs: None,
        at,
    }
}

/// The steps without those that tell nothing: labels behind which nothing stands, and decisions among nothing else.
fn kept(steps: Vec<PathStep>) -> Vec<PathStep> {
    let mut groups: Vec<(&[PathStep], bool)> = Vec::new();
    let mut rest = steps.as_slice();
    while let Some(first) = rest.first() {
        let from = usize::from(first.kind == StepKind::Label);
        let len = rest[from..].iter().position(|it| it.kind == StepKind::Label).map_or(rest.len(), |it| it + from);
        let (own, behind) = rest.split_at(len);
        let tells = own[from..].iter().any(|it| match it.kind {
            // A decision on a device or a character stands for itself.
            StepKind::Decision => it.device.is_some() || it.is_equal && is_character(it),
            StepKind::GoesOn => it.value.is_some(),
            _ => true,
        });
        groups.push((own, tells || own[from..].iter().any(|it| it.routine.is_some())));
        rest = behind;
    }
    // Where something that is told leads to stays, too, with where it goes on from there.
    let wanted: FxHashSet<&str> = groups
        .iter()
        .filter(|it| it.1)
        .flat_map(|it| it.0)
        .filter(|it| it.kind == StepKind::GoesOn || it.device.is_some())
        .filter_map(|it| it.to.as_deref())
        .collect();
    let mut found: Vec<PathStep> = Vec::new();
    for (own, is_told) in &groups {
        let is_wanted = own.first().is_some_and(|it| it.kind == StepKind::Label && wanted.contains(it.words.as_str()));
        if *is_told {
            found.extend_from_slice(own);
        } else if is_wanted {
            found.extend(own.iter().filter(|it| it.kind != StepKind::Decision).cloned());
        }
    }
    found
}

/// Whether a decision holds something against a letter or a digit.
fn is_character(step: &PathStep) -> bool {
    step.value.and_then(|it| u8::try_from(it).ok()).is_some_and(|it| it.is_ascii_alphanumeric())
        && step.words.ends_with(['\'', '"'])
}

/// What a number is that programs begin with; none of any other number.
pub(super) fn magic(value: i64, bytes: u32) -> Option<String> {
    let raw = (value as u32).to_be_bytes();
    let own = &raw[4 - bytes.min(4) as usize..];
    if bytes == 4 && own.iter().all(|it| it.is_ascii_graphic()) {
        let text: String = own.iter().map(|it| char::from(*it)).collect();
        return Some(format!("the letters `{text}`"));
    }
    if bytes >= 2 {
        return reveille_decoders::program_header::magic_title(own).map(str::to_owned);
    }
    None
}
