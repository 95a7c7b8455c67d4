//! How long instructions take, against two independent processor cores: a table-driven one, for the 68000 and 68010, and a cycle-level one
//! for the 68000, which counts bus cycles too.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::process::Command;

use reveille_cpu::{
    Clocks, Cpu, Family, Form, Index, Kind, Operand, Rule, Size, Slot, Time, encode, instructions, time,
};
use reveille_tests::skerry::python;

use crate::judges::{run, script};

const ADDRESS: i64 = 0x1000;

/// An instruction to run.
struct Case {
    cpu: Cpu,
    name: &'static str,
    form: &'static Form,
    size: Size,
    operands: [Operand; 2],
    words: Vec<u16>,
    ours: Time,
}

/// Operands of a kind to try in a slot.
fn operands(slot: Slot, kind: Kind, at: u8) -> Vec<Operand> {
    let one = |value| vec![Operand { kind, register: at + 1, index: Index { number: 5, ..Index::default() }, value }];
    let several = |values: &[i64]| values.iter().flat_map(|it| one(*it)).collect();
    match (kind, slot) {
        (Kind::Displacement | Kind::Index, _) => one(0x10),
        (Kind::AbsoluteShort, _) => one(0x2400),
        (Kind::AbsoluteLong, _) => one(0x2500),
        (Kind::PcDisplacement | Kind::PcIndex | Kind::Target, _) => one(ADDRESS + 0x20),
        (Kind::Immediate, Slot::Quick) => several(&[1, 8]),
        (Kind::Immediate, Slot::Bit) => several(&[3, 20]),
        (Kind::Immediate, Slot::Signed16) => one(-8),
        (Kind::Immediate, Slot::Constant16) => one(0x2700),
        (Kind::Immediate, Slot::Ea(_)) => several(&[0x12, 0x55]),
        (Kind::Immediate, _) => one(3),
        (Kind::List, _) => several(&[0x0001, 0x0f0f, 0xffff]),
        _ => one(0),
    }
}

/// Every form in each size, with every kind of operand and every condition.
fn cases(cpu: Cpu) -> Vec<Case> {
    let mut cases = Vec::new();
    for instruction in instructions() {
        for form in instruction.forms.iter().filter(|it| it.since <= cpu) {
            let all = [Size::Byte, Size::Word, Size::Long, Size::Short];
            let sizes =
                all.into_iter().filter(|it| form.sizes.allows(*it) || form.sizes.is_empty() && *it == Size::Word);
            for size in sizes {
                // .B of a branch is another name for .S.
                if form.slots[0] == Slot::Branch && matches!(size, Size::Byte | Size::Long) {
                    continue;
                }
                let conditions = match instruction.family {
                    Family::Conditions(first) => first..16,
                    Family::Single => u8::from(instruction.name == "bsr")..u8::from(instruction.name == "bsr") + 1,
                };
                for condition in conditions {
                    for pair in pairs(form, size) {
                        let (encoding, _) = encode(form, size, condition, &pair, ADDRESS);
                        let words = encoding.words().to_vec();
                        let ours = time(cpu, form, size, condition, &pair, words.len() as u8);
                        let name = instruction.name;
                        cases.push(Case { cpu, name, form, size, operands: pair, words, ours });
                    }
                }
            }
        }
    }
    cases
}

fn pairs(form: &Form, size: Size) -> Vec<[Operand; 2]> {
    let of = |at: usize| -> Vec<Operand> {
        if form.slots[at] == Slot::None {
            return vec![Operand::register(Kind::Data, 0)];
        }
        let is_list = matches!(form.slots[at], Slot::List | Slot::ListBackwards);
        let kinds = form.takes[at].iter();
        // A list may be one register or a number, too.
        let kinds = kinds.filter(|it| !is_list || *it == Kind::List);
        let kinds = kinds.filter(|it| !(*it == Kind::Address && size == Size::Byte));
        kinds.flat_map(|it| operands(form.slots[at], it, at as u8)).collect()
    };
    let seconds = of(1);
    of(0).into_iter().flat_map(|first| seconds.iter().map(move |second| [first, *second])).collect()
}

/// States to run a case in: D1, D2, memory, condition codes. Together they reach both ends of every range.
fn states(case: &Case) -> Vec<[u16; 4]> {
    match case.form.rule {
        Rule::Branch | Rule::Set => vec![[0, 0, 0, 0x00], [0, 0, 0, 0x1f], [0, 0, 0, 0x08]],
        // The counter at its end and before it.
        Rule::Loop => [0x00, 0x1f, 0x08].iter().flat_map(|ccr| [[0, 0, 0, *ccr], [5, 5, 0, *ccr]]).collect(),
        Rule::Shift => vec![[0, 1, 0, 0], [63, 1, 0, 0], [64, 1, 0, 0]],
        Rule::BitOfRegister(_) => vec![[3, 1, 0, 0], [20, 1, 0, 0], [32, 1, 0, 0]],
        Rule::Multiply { is_signed: false } => vec![[0, 1, 0, 0], [0xffff, 1, 0xffff, 0]],
        Rule::Multiply { is_signed: true } => vec![[0, 1, 0, 0], [0x5555, 1, 0x5555, 0]],
        Rule::Divide { .. } => vec![[2, 100, 2, 0], [3, 7, 3, 0], [0x7fff, 9, 0x7fff, 0]],
        // Between 0 and the bound.
        _ if case.name == "chk" => vec![[0x7fff, 5, 0x7fff, 0]],
        // The 68010 looks at the format of the frame, which is 0 here.
        _ if case.name == "rte" => vec![[0, 0, 0, 0]],
        _ => vec![[0, 0, 0, 0], [0x1234, 0x5678, 0x5a5a, 0]],
    }
}

/// One of the cores.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Core {
    Table,
    Cycle,
}

/// A difference that stands.
struct Difference {
    core: Core,
    cpus: &'static [Cpu],
    when: fn(&Case) -> bool,
    /// What the core's shortest and longest time have on top of ours.
    off: [i32; 2],
    why: &'static str,
}

const OLD: &[Cpu] = &[Cpu::M68000];
const NEW: &[Cpu] = &[Cpu::M68010];
const BOTH: &[Cpu] = &[Cpu::M68000, Cpu::M68010];

/// ADD, SUB, AND, OR, ADDA, SUBA, from a mode to a register.
fn is_load(case: &Case) -> bool {
    matches!(case.form.rule, Rule::Load { .. }) && ["add", "adda", "and", "or", "sub", "suba"].contains(&case.name)
}

fn is_constant(case: &Case) -> bool {
    case.operands[0].kind == Kind::Immediate
}

/// A count or a multiplier in a register or in memory.
fn is_variable(case: &Case) -> bool {
    !is_constant(case)
}

fn in_memory(case: &Case) -> bool {
    case.operands[0].kind.is_memory() || case.operands[1].kind.is_memory()
}

/// The sections are those of the *M68000 User's Manual*, ninth edition; section 9, on the 68010, was not read, and those figures are near.
#[rustfmt::skip]
static DIFFERENCES: &[Difference] = &[
    Difference { core: Core::Cycle, cpus: OLD, when: |it| it.name == "btst" && it.operands[1].kind == Kind::Immediate, off: [2, 2], why: "open and rare; table 8-8 and the other core have no more for a constant than for memory" },
    Difference { core: Core::Table, cpus: OLD, when: |it| is_load(it) && is_constant(it) && it.size != Size::Long, off: [2, 2], why: "table 8-4: a constant has the time of its mode, 4, on top" },
    Difference { core: Core::Table, cpus: OLD, when: |it| is_load(it) && it.size == Size::Long && !it.operands[0].kind.is_memory(), off: [-2, -2], why: "table 8-4, its note: longs from a register take 8" },
    Difference { core: Core::Table, cpus: OLD, when: |it| it.name == "addq" && it.operands[1].kind == Kind::Address, off: [-4, -4], why: "table 8-5 prints 4; SUBQ has 8 there, and the cycle-level core has 8 for both" },
    Difference { core: Core::Table, cpus: OLD, when: |it| it.name == "andi" && it.size == Size::Long, off: [-2, -2], why: "table 8-5 prints 14; its kin have 16 there, and so has the cycle-level core" },
    Difference { core: Core::Table, cpus: BOTH, when: |it| matches!(it.form.rule, Rule::BitOfRegister(_)) && is_constant(it), off: [2, 2], why: "table 8-8 gives the most; the cycle-level core has 2 less for bits below 16" },
    Difference { core: Core::Table, cpus: BOTH, when: |it| matches!(it.form.rule, Rule::BitOfRegister(_)) && is_variable(it), off: [2, 0], why: "table 8-8 gives the most; the cycle-level core has 2 less for bits below 16" },
    Difference { core: Core::Table, cpus: OLD, when: |it| it.name == "muls" && is_variable(it), off: [0, -2], why: "table 8-4, its note: the 0 behind the multiplier counts" },
    Difference { core: Core::Table, cpus: OLD, when: |it| it.name == "muls" && is_constant(it), off: [-2, -2], why: "table 8-4, its note: the 0 behind the multiplier counts" },
    Difference { core: Core::Table, cpus: BOTH, when: |it| it.name == "tas" && in_memory(it), off: [4, 4], why: "table 8-6 prints the time of (An) and adds the mode's again; older editions and the cycle-level core have 10" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "clr" && it.operands[0].kind == Kind::AbsoluteLong && it.size != Size::Long, off: [-2, -2], why: "four bus cycles take 16" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "clr" && it.operands[0].kind == Kind::Index && it.size == Size::Long, off: [2, 2], why: "open: it has 2 more for this size alone" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "dbcc", off: [2, 0], why: "it has 12 for the loop; 10 is what a branch takes" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.form.rule == Rule::Set && in_memory(it), off: [4, 4], why: "the 68010 does not read what it only writes: family reference manual, Scc; from memory" },
    Difference { core: Core::Table, cpus: NEW, when: |it| matches!(it.form.slots[0], Slot::Status | Slot::Conditions) && in_memory(it), off: [4, 4], why: "the 68010 does not read what it only writes: family reference manual, MOVE from SR; from memory" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "moves" && it.size != Size::Long && !indexed(it), off: [4, 4], why: "open: it adds to the mode's time for modes with words of their own" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "moves" && it.size != Size::Long && indexed(it), off: [6, 6], why: "open: it adds to the mode's time for modes with words of their own" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "moves" && it.size == Size::Long && it.operands.iter().any(|it| it.kind == Kind::PreDecrement), off: [4, 4], why: "open: it adds to the mode's time" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "moves" && it.size == Size::Long && !indexed(it), off: [6, 6], why: "open: it adds to the mode's time" },
    Difference { core: Core::Table, cpus: NEW, when: |it| it.name == "moves" && it.size == Size::Long && indexed(it), off: [8, 8], why: "open: it adds to the mode's time" },
];

fn indexed(case: &Case) -> bool {
    case.operands.iter().any(|it| it.kind == Kind::Index)
}

fn figures(text: &str) -> Option<Clocks> {
    let mut numbers = text.split('/').map(|it| it.parse().expect("a number"));
    if text == "-" {
        return None;
    }
    let mut next = || numbers.next().expect("three numbers");
    Some(Clocks { cycles: next(), reads: next(), writes: next() })
}

#[test]
fn two_processor_cores_take_as_long_as_we_say() {
    let cases: Vec<Case> = [Cpu::M68000, Cpu::M68010].into_iter().flat_map(cases).collect();
    assert!(cases.len() > 3000, "{}", cases.len());
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (input, output) = (folder.path().join("in"), folder.path().join("out"));
    let mut text = String::new();
    for case in &cases {
        let _ = write!(text, "{} ", case.cpu.name());
        for word in &case.words {
            let _ = write!(text, "{word:04x}");
        }
        for [d1, d2, memory, codes] in states(case) {
            let _ = write!(text, " {d1:x}:{d2:x}:{memory:x}:{codes:x}");
        }
        text.push('\n');
    }
    std::fs::write(&input, text).expect("the folder can be written to");
    run(Command::new(python()).arg(script("cores.py")).args([&input, &output]));
    let text = std::fs::read_to_string(&output).expect("the script writes its figures");
    assert_eq!(text.lines().count(), cases.len());
    let mut wrong: BTreeMap<String, (usize, String)> = BTreeMap::new();
    let mut used = vec![0_usize; DIFFERENCES.len()];
    let mut agreed = 0;
    for (case, line) in cases.iter().zip(text.lines()) {
        let told: Vec<_> = line.split(' ').map(figures).collect();
        for (core, at) in [(Core::Table, 0), (Core::Cycle, 2)] {
            let (Some(least), Some(most)) = (told[at], told[at + 1]) else { continue };
            let pairs = [(least, case.ours.least), (most, case.ours.most)];
            let same_bus = |it: &(Clocks, Clocks)| (it.0.reads, it.0.writes) == (it.1.reads, it.1.writes);
            let has_bus = core == Core::Table || pairs.iter().all(same_bus);
            let off = pairs.map(|(core, ours)| i32::from(core.cycles) - i32::from(ours.cycles));
            // Where the data decides, some data give a time in between.
            let is_range = matches!(case.form.rule, Rule::Divide { .. })
                || matches!(case.form.rule, Rule::Multiply { .. }) && case.cpu == Cpu::M68010;
            if has_bus && (off == [0, 0] || is_range && off[0] >= 0 && off[1] <= 0) {
                agreed += 1;
                continue;
            }
            let is_known = |it: &Difference| it.core == core && it.cpus.contains(&case.cpu) && it.off == off;
            if let Some(entry) = DIFFERENCES.iter().position(|it| has_bus && is_known(it) && (it.when)(case)) {
                used[entry] += 1;
                continue;
            }
            let group = format!("{core:?} {:?} {} {} {:?} {off:?}", case.cpu, case.name, case.form.pattern, case.size);
            let kinds = case.operands.map(|it| it.kind);
            let text = format!("{:04X?} {kinds:?}: the core {least:?} to {most:?}, we {:?}", case.words, case.ours);
            wrong.entry(group).or_insert((0, text)).0 += 1;
        }
    }
    let mut report = String::new();
    for (group, (count, example)) in &wrong {
        let _ = writeln!(report, "{group}, {count} times, first: {example}");
    }
    for (entry, count) in DIFFERENCES.iter().zip(&used) {
        if *count == 0 {
            let _ = writeln!(report, "no longer so: {:?} {:?}: {}", entry.core, entry.cpus, entry.why);
        }
    }
    assert!(report.is_empty(), "{agreed} agree, but\n{report}");
}
