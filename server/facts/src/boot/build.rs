//! Puts the way together: for each machine its units, where they are entered, and what is told of them.

use std::sync::Arc;

use reveille_program::{CodeAt, DefinitionKind, FileId};
use rustc_hash::FxHashMap;

use super::functions::Functions;
use super::tell::{Around, Mention, name_at, routines};
use super::walk::{Node, Spot, Walk};
use super::{
    BootPath, Choice, Command, PathRoutine, PathStep, Printed, Start, StepKind, advice, c_steps, c_texts, commands,
    files, questions,
};
use crate::Machine;
use crate::access::on_bus;
use crate::c::{CUnit, convention};
use crate::file_names::file_names;
use crate::finding::Evidence;
use crate::model::Model;
use crate::session::{Cause, Firmware, FirmwareText, Role};

/// Labels that a program without vectors is taken to be entered at.
const ENTRIES: &[&str] =
    &["reset", "_reset", "start", "_start", "coldstart", "cold", "boot", "_boot", "main", "_main", "begin"];

/// The way of each machine of a program.
pub(crate) fn boot_paths(model: &Model) -> Vec<BootPath> {
    let program = model.program();
    let mut groups: Vec<(Arc<Machine>, Vec<usize>)> = Vec::new();
    for (at, unit) in model.analysis().units().enumerate() {
        let Some(root) = unit.root().and_then(|it| program.file(it)) else { continue };
        let machine = model.machine_for(root.path()).1;
        match groups.iter_mut().find(|it| Arc::ptr_eq(&it.0, &machine)) {
            Some(own) => own.1.push(at),
            None => groups.push((machine, vec![at])),
        }
    }
    for unit in model.c() {
        let Some(file) = program.file(unit.root) else { continue };
        let machine = model.machine_for(file.path()).1;
        if groups.iter().all(|it| !Arc::ptr_eq(&it.0, &machine)) {
            groups.push((machine, Vec::new()));
        }
    }
    let paths = groups.into_iter().map(|(machine, units)| path(model, machine, units));
    paths.filter(|it| !it.routines.is_empty()).collect()
}

/// Whether a file belongs to a machine.
fn is_own(model: &Model, machine: &Arc<Machine>, file: FileId) -> bool {
    let file = model.program().file(file);
    file.is_some_and(|it| Arc::ptr_eq(&model.machine_for(it.path()).1, machine))
}

fn path(model: &Model, machine: Arc<Machine>, own: Vec<usize>) -> BootPath {
    let program = model.program();
    let units: Vec<_> = model.analysis().units().enumerate().filter(|it| own.contains(&it.0)).map(|it| it.1).collect();
    let firmware = Firmware::new(model, own.clone(), machine.clone());
    let c: Vec<&CUnit> = model.c().iter().map(AsRef::as_ref).filter(|it| is_own(model, &machine, it.root)).collect();
    let convention = convention(program, model.analysis(), c.iter().copied());
    let mut walk = Walk::new(program, units.iter().copied(), Functions::new(c, convention));
    let (mut starts, mut nodes) = starts(model, &mut walk, &own);
    nodes.iter().for_each(|it| walk.from(*it));
    let mut commands = Vec::new();
    let mut tables = commands::in_tables(&mut walk);
    tables.extend(commands::in_c(&mut walk));
    for found in tables {
        let routine_at = walk.evidence(found.spot);
        let command = Command { routine_at, ..found.command };
        let at = nodes.iter().position(|it| *it == found.spot).unwrap_or_else(|| {
            nodes.push(found.spot);
            walk.from(found.spot);
            nodes.len() - 1
        });
        starts.push(Start { kind: "command", name: command.name.clone(), at: command.at, routine: Some(at) });
        commands.push(command);
    }
    let reached = |walk: &Walk<'_>, code: Option<(usize, CodeAt)>| -> Option<Node> {
        let (unit, at) = code?;
        let node = (own.iter().position(|it| *it == unit)?, at);
        walk.state(node).is_some().then_some(node)
    };
    let mut mentions: FxHashMap<Node, Vec<Mention>> = FxHashMap::default();
    let mut texts = Vec::new();
    let is_word = |text: &FirmwareText| commands.iter().any(|it: &Command| it.at == text.at);
    for (text, causes) in firmware.told(&|_| true) {
        let mut is_reached = false;
        let is_name = text.text.len() <= 16 && c_steps::file_name(text.text.as_bytes()).is_some();
        for cause in &causes {
            let Some(node) = reached(&walk, cause.code) else { continue };
            let (kind, words) = match cause.role {
                Role::Use if is_word(text) => (StepKind::Table, "the table of commands".to_owned()),
                Role::Use if is_name => continue,
                Role::Use => (StepKind::Text, format!("the text `{}`", text.text)),
                Role::Number => (StepKind::Error, format!("the number of `{}`", text.text)),
                Role::Reader => (StepKind::Table, "the table of texts, by number".to_owned()),
                Role::Before => {
                    is_reached = true;
                    continue;
                }
                Role::Condition | Role::Other => continue,
            };
            is_reached |= cause.role != Role::Reader;
            let own = mentions.entry(node).or_default();
            if own.iter().all(|it| it.words != words) {
                own.push(Mention { kind, words, value: None });
            }
        }
        if is_reached {
            texts.push(printed(text, causes));
        }
    }
    let mut files: FxHashMap<i64, String> = FxHashMap::default();
    for unit in &units {
        for name in file_names(program, unit, &|_| true).into_iter().filter(|it| it.is_whole) {
            if let Some(address) = name.address {
                files.entry(address).or_insert_with(|| reveille_decoders::volume::shown(&name.name));
            }
        }
    }
    let cpu = units.first().map(|it| it.settings(program).cpu).unwrap_or_default();
    let device = |address: i64| {
        let (region, _) = machine.region_at(cpu, on_bus(cpu, address))?;
        (region.kind.value == "device").then(|| region.name.value.clone())
    };
    let around = Around { mentions: &mentions, files: &files, device: &device };
    let told = routines(&mut walk, &nodes, &around);
    let mut routines = told.all;
    let (of_c, numbers) = c_texts::texts(&walk, &told.used);
    texts.extend(of_c);
    for step in routines.iter_mut().flat_map(|it| &mut it.steps).filter(|it| it.kind == StepKind::Back) {
        let text = step.to.take().and_then(|it| numbers.get(it.as_str()));
        if let Some(text) = text {
            step.kind = StepKind::Error;
            step.words = format!("{}: the number of `{text}`", step.words);
        }
    }
    tell_who_tells(&mut routines);
    commands.extend(commands::compared(&routines));
    // The words of commands are no texts that are printed.
    let is_word = |text: &Printed| commands.iter().any(|it| it.at == text.at);
    // Nor are those of files, where nothing else is made of them.
    let is_name = |text: &Printed| text.text.len() <= 16 && c_steps::file_name(text.text.as_bytes()).is_some();
    texts.retain(|it| !is_word(it) && !is_name(it));
    let choices = routines.iter().flat_map(|it| &it.steps).filter_map(choice).collect();
    let files = files::files(&routines, &texts);
    let mut path = BootPath { starts, routines, choices, files, commands, texts, questions: Vec::new() };
    let has_disk = model.blocks().any(|it| is_own(model, &machine, it.at.place.file));
    path.questions = questions::questions(&path, !machine.memory.is_empty(), has_disk);
    path
}

fn choice(step: &PathStep) -> Option<Choice> {
    let device = step.device.clone()?;
    Some(Choice { words: step.words.clone(), device, value: step.value, to: step.to.clone(), at: step.at })
}

fn printed(text: &FirmwareText, causes: Vec<Cause>) -> Printed {
    let advice = advice::of(&text.text);
    Printed { text: text.text.clone(), at: text.at, causes, advice }
}

/// Where the machine starts, in words and as instructions.
fn starts(model: &Model, walk: &mut Walk<'_>, own: &[usize]) -> (Vec<Start>, Vec<Spot>) {
    let mut starts: Vec<Start> = Vec::new();
    let mut nodes: Vec<Spot> = Vec::new();
    let all = model.analysis().units().enumerate().filter(|it| own.contains(&it.0));
    let files: Vec<_> = all.flat_map(|it| it.1.files().iter().copied()).collect();
    let vectors = model.vectors().filter(|it| files.contains(&it.at.place.file));
    for entry in vectors.filter_map(|it| it.entry(1)) {
        let node = entry.address.and_then(|it| walk.at_address(0, it)).filter(|it| !nodes.contains(&Spot::Code(*it)));
        let Some(node) = node else { continue };
        starts.push(Start { kind: "reset", name: name_at(walk, node), at: entry.at, routine: Some(nodes.len()) });
        nodes.push(Spot::Code(node));
    }
    if nodes.is_empty() {
        // A ROM begins with the stack and the address where it starts, also where nobody speaks of vectors.
        let found = (0..walk.units.len()).find_map(|unit| first_long(walk, unit));
        if let Some((node, at)) = found {
            starts.push(Start { kind: "reset", name: name_at(walk, node), at, routine: Some(0) });
            nodes.push(Spot::Code(node));
        }
    }
    if nodes.is_empty() {
        let found = (0..walk.units.len()).find_map(|unit| {
            let routes = &mut walk.units[unit];
            let named = ENTRIES.iter().find_map(|name| {
                let own = routes.unit.find(routes.program, name).filter(|it| it.kind == DefinitionKind::Label)?;
                routes.code.at_address(routes.unit.absolute(own.value)?)
            });
            let at = named?;
            Some(((unit, at), routes.evidence(at)?))
        });
        if found.is_none()
            && let Some(function) = walk.functions.named("main")
            && let Some(at) = walk.evidence(Spot::Function(function))
        {
            starts.push(Start { kind: "entry", name: "main".to_owned(), at, routine: Some(0) });
            nodes.push(Spot::Function(function));
        }
        if let Some((node, at)) = found {
            starts.push(Start { kind: "entry", name: name_at(walk, node), at, routine: Some(0) });
            nodes.push(Spot::Code(node));
        }
    }
    (starts, nodes)
}

/// Where the second long word that a unit lays down leads to, if that is its code.
fn first_long(walk: &mut Walk<'_>, unit: usize) -> Option<(Node, Evidence)> {
    let routes = &mut walk.units[unit];
    let lowest = routes.lowest()?;
    let mut long =
        |at: i64| (0..4).try_fold(0_i64, |sum, own| Some(sum << 8 | i64::from(routes.code.byte_at(at + own)?.0)));
    let (stack, start) = (long(lowest)?, long(lowest + 4)?);
    let node = routes.code.at_address(start).filter(|_| stack % 2 == 0)?;
    let (_, place, span) = routes.code.byte_at(lowest + 4)?;
    Some(((unit, node), Evidence { place, span }))
}

/// Marks the routines that say something of the way, and those that call such.
fn tell_who_tells(routines: &mut [PathRoutine]) {
    for own in routines.iter_mut() {
        own.is_telling = own.steps.iter().any(|it| {
            matches!(
                it.kind,
                StepKind::Text
                    | StepKind::Error
                    | StepKind::Table
                    | StepKind::File
                    | StepKind::Load
                    | StepKind::Check
                    | StepKind::Jump
            )
        });
    }
    loop {
        let telling: Vec<bool> = routines.iter().map(|it| it.is_telling).collect();
        let mut changed = false;
        for own in routines.iter_mut().filter(|it| !it.is_telling) {
            own.is_telling = own.steps.iter().any(|it| it.routine.is_some_and(|it| telling.get(it) == Some(&true)));
            changed |= own.is_telling;
        }
        if !changed {
            return;
        }
    }
}
