//! All facts and findings of a program: what every output shows.

use std::sync::{Arc, OnceLock};

use reveille_program::{Analysis, FileId, Place, Program, SourceFile, Symbol, Unit};
use rustc_hash::FxHashSet;

use crate::blocks::{BlockFact, blocks, blocks_of_c};
use crate::boot::{BootPath, boot_paths};
use crate::c::{self, CUnit, Convention, Side, c_units, convention};
use crate::constants::{ConstantsFact, constants};
use crate::file_names::{FileName, file_names};
use crate::file_spelling;
use crate::finding::Finding;
use crate::machine::{Machine, Machines};
use crate::memory::{MemoryFact, MemoryMap, UnitMemory};
use crate::object::{Object, ObjectFact, Objects, UnitAround, judged};
use crate::serial::{
    FamilyFact, LineFact, NamedRegisters, Port, RegisterUse, RegisterWrite, SerialFacts, ports, serial,
};
use crate::session::{SessionFact, is_session, sessions};
use crate::setup::Named;
use crate::vectors::{VectorEntry, VectorsFact, vectors};
use crate::{jumps, linkage, memory, reads, relations, sectors, source};

/// A fact: something decoded from the program, with its evidence.
#[derive(Clone, Copy, Debug)]
pub enum Fact<'a> {
    /// A parameter block.
    Block(&'a BlockFact),
    /// Constants that give a disk's geometry.
    Constants(&'a ConstantsFact),
    /// What a serial line is set to.
    Line(&'a LineFact),
    /// Constants by which a source chooses rates or frames.
    Family(&'a FamilyFact),
    /// A part of a machine's memory.
    Memory(&'a MemoryFact),
    /// Exception vectors.
    Vectors(&'a VectorsFact),
    /// A program file, beside the sources or in an image.
    Object(&'a ObjectFact),
}

/// The facts and findings of one unit.
#[derive(Debug, Default)]
struct UnitFacts {
    blocks: Vec<BlockFact>,
    constants: Vec<ConstantsFact>,
    serial: SerialFacts,
    memory: UnitMemory,
    vectors: Vec<VectorsFact>,
    findings: Vec<Finding>,
    /// Findings about names that the unit lacks; none where another unit has the name.
    foreign: Vec<(Symbol, Finding)>,
    /// The names of files that it lays down.
    file_names: Arc<[FileName]>,
}

/// The facts and findings of a C file by itself.
#[derive(Debug)]
struct CFacts {
    own: Arc<CUnit>,
    machine: Arc<Machine>,
    blocks: Vec<BlockFact>,
    findings: Vec<Finding>,
}

impl CFacts {
    fn new(program: &Program, machine: &Arc<Machine>, own: &Arc<CUnit>) -> Self {
        let mut blocks = blocks_of_c(program, own, &machine.layouts);
        let findings = relations::findings(program, machine, &Unit::default(), &mut blocks, &[]);
        Self { own: own.clone(), machine: machine.clone(), blocks, findings }
    }
}

/// A program, laid out, with its facts and findings: a snapshot, cheap to clone.
#[derive(Clone, Debug, Default)]
pub struct Model {
    program: Program,
    machines: Machines,
    analysis: Analysis,
    units: Vec<Arc<UnitFacts>>,
    /// Findings about names that cross from unit to unit, and about what C and assembly say of one thing.
    linkage: Arc<Vec<Finding>>,
    /// The memory of each machine, with what its units do there.
    memory: Arc<Vec<MemoryMap>>,
    /// The monitor sessions: made when somebody asks, since an edit of a source changes them all.
    sessions: Arc<OnceLock<Vec<Arc<SessionFact>>>>,
    /// Those of an earlier state whose units are all the same: what they have read of the firmware holds again.
    earlier: Option<Arc<OnceLock<Vec<Arc<SessionFact>>>>>,
    /// The way from power-on to the prompt: made when somebody asks.
    boot: Arc<OnceLock<Vec<BootPath>>>,
    /// Findings about names of files that are spelled in several places.
    of_names: Arc<Vec<Finding>>,
    /// The C beside the assembly.
    c: Arc<Vec<Arc<CUnit>>>,
    /// The program files, read when they were loaded.
    objects: Objects,
    /// The same, held against machine and firmware: made when somebody asks.
    judged: Arc<OnceLock<Vec<ObjectFact>>>,
    /// What the files of it are worth by themselves, in their order.
    c_facts: Arc<Vec<Arc<CFacts>>>,
    /// What its names have before them in the assembly.
    convention: Convention,
}

impl Model {
    /// Makes all facts and findings. What `previous` has from the same units of the same machine is taken over.
    #[must_use]
    pub fn new(program: Program, defines: &[(String, i64)], previous: Option<&Self>) -> Self {
        let analysis = Analysis::new(&program, defines, previous.map(|it| &it.analysis));
        let machines = Machines::new(&program, previous.map(|it| &it.machines));
        let machine_of = |machines: &Machines, unit: &Unit| {
            let path = unit.root().and_then(|it| program.file(it)).map(|it| it.path().to_owned());
            machines.of(&path.unwrap_or_default()).clone()
        };
        let units = analysis.units().enumerate().map(|(at, unit)| {
            let machine = machine_of(&machines, unit);
            match previous {
                Some(it)
                    if it.analysis.has_same_unit(&analysis, at)
                        && Arc::ptr_eq(&machine_of(&it.machines, unit), &machine) =>
                {
                    it.units[at].clone()
                }
                _ => Arc::new(unit_facts(&program, &machine, unit)),
            }
        });
        let units: Vec<Arc<UnitFacts>> = units.collect();
        let is_same = previous.filter(|it| {
            it.units.len() == units.len() && it.units.iter().zip(&units).all(|(old, new)| Arc::ptr_eq(old, new))
        });
        let old_c = previous.map_or(&[][..], |it| it.c.as_slice());
        let c = c_units(&program, old_c);
        let is_same_c = c.len() == old_c.len() && c.iter().zip(old_c).all(|(new, old)| Arc::ptr_eq(new, old));
        let c_facts = c.iter().map(|own| {
            let path = program.file(own.root).map(|it| it.path().to_owned()).unwrap_or_default();
            let machine = machines.of(&path);
            let is_same = |it: &&Arc<CFacts>| Arc::ptr_eq(&it.own, own) && Arc::ptr_eq(&it.machine, machine);
            let known = previous.and_then(|it| it.c_facts.iter().find(is_same));
            known.cloned().unwrap_or_else(|| Arc::new(CFacts::new(&program, machine, own)))
        });
        let c_facts = Arc::new(c_facts.collect());
        let is_same_machine = |it: &&Self| it.machines.is_for_same(&machines);
        let (linkage, convention) = match is_same.filter(|_| is_same_c).filter(is_same_machine) {
            Some(it) => (it.linkage.clone(), it.convention),
            None => {
                let convention = convention(&program, &analysis, c.iter().map(|it| &**it));
                (Arc::new(across(&program, &analysis, &machines, &c, convention)), convention)
            }
        };
        let of_names = match is_same.filter(|_| is_same_c) {
            Some(it) => it.of_names.clone(),
            None => {
                let path = |file: FileId| program.file(file).map(|it| it.path().to_owned()).unwrap_or_default();
                let mut groups: Vec<(Arc<Machine>, Vec<&FileName>)> = Vec::new();
                let own = analysis.units().zip(&units).map(|it| (machine_of(&machines, it.0), &it.1.file_names));
                let of_c = c.iter().map(|it| (machines.of(&path(it.root)).clone(), &it.file_names));
                for (machine, names) in own.chain(of_c) {
                    match groups.iter_mut().find(|it| Arc::ptr_eq(&it.0, &machine)) {
                        Some(known) => known.1.extend(names.iter()),
                        None => groups.push((machine, names.iter().collect())),
                    }
                }
                Arc::new(groups.iter().flat_map(|it| file_spelling::findings(&it.1)).collect())
            }
        };
        let maps = machines.all().filter_map(|(file, machine)| {
            let cpu = program.settings_of(file.id()).cpu;
            let own = analysis.units().zip(&units).filter(|it| Arc::ptr_eq(&machine_of(&machines, it.0), machine));
            memory::map(cpu, machine, own.map(|it| &it.1.memory))
        });
        let memory = Arc::new(maps.collect());
        let earlier = is_same.and_then(|it| {
            let own = it.sessions.get().map(|_| it.sessions.clone());
            own.or_else(|| it.earlier.clone())
        });
        let boot = is_same.filter(|_| is_same_c).map_or_else(Arc::default, |it| it.boot.clone());
        let objects = Objects::new(&program, previous.map(|it| &it.objects));
        Self {
            units,
            program,
            machines,
            analysis,
            linkage,
            memory,
            sessions: Arc::default(),
            earlier,
            boot,
            c: Arc::new(c),
            of_names,
            objects,
            judged: Arc::default(),
            c_facts,
            convention,
        }
    }

    /// The program.
    #[must_use]
    pub fn program(&self) -> &Program {
        &self.program
    }

    /// What is known of the machine of a source: by the machine file of its folder, or of one above.
    #[must_use]
    pub fn machine_of(&self, file: FileId) -> &Machine {
        let path = self.program.file(file).map_or(std::path::Path::new(""), |it| it.path());
        self.machines.of(path)
    }

    /// The machine file that speaks for a path, if there is one, and what it says.
    #[must_use]
    pub(crate) fn machine_for(&self, path: &std::path::Path) -> (Option<FileId>, Arc<Machine>) {
        let (file, machine) = self.machines.file_of(path);
        (file, machine.clone())
    }

    /// The same program without what is known of its sessions: for these to keep.
    pub(crate) fn without_sessions(&self) -> Self {
        Self { sessions: Arc::default(), earlier: None, boot: Arc::default(), ..self.clone() }
    }

    /// The monitor sessions, each held against the firmware of its folder; those that others include are parts of these.
    #[must_use]
    pub fn sessions(&self) -> &[Arc<SessionFact>] {
        let earlier = self.earlier.as_ref().and_then(|it| it.get()).map_or(&[][..], Vec::as_slice);
        self.sessions.get_or_init(|| sessions(self, earlier))
    }

    /// The C beside the assembly, by path.
    #[must_use]
    pub fn c(&self) -> &[Arc<CUnit>] {
        &self.c
    }

    /// What a name of C has before it in the assembly.
    #[must_use]
    pub fn convention(&self) -> Convention {
        self.convention
    }

    /// The C of another version of the program: what has not changed is taken over.
    #[must_use]
    pub fn c_again(&self, program: &Program) -> Vec<Arc<CUnit>> {
        c_units(program, &self.c)
    }

    /// Whether two files are of one machine: one machine file speaks for both, or none for either.
    #[must_use]
    pub fn are_together(&self, one: FileId, other: FileId) -> bool {
        are_together(&self.program, &self.machines, one, other)
    }

    /// The way from power-on to the prompt, for each machine of the program.
    #[must_use]
    pub fn boot(&self) -> &[BootPath] {
        self.boot.get_or_init(|| boot_paths(self))
    }

    /// The program files, each held against its machine and the firmware of its folder.
    #[must_use]
    pub fn objects(&self) -> &[ObjectFact] {
        self.judged.get_or_init(|| {
            let judge = |(file, objects): (&Arc<SourceFile>, &[Arc<Object>])| {
                let (machine_file, machine) = self.machine_for(file.path());
                let of_machine = |unit: &Unit| {
                    let root = unit.root().and_then(|it| self.program.file(it));
                    root.is_some_and(|it| Arc::ptr_eq(self.machines.of(it.path()), &machine))
                };
                let around =
                    self.analysis.units().zip(&self.units).filter(|it| machine_file.is_some() && of_machine(it.0));
                let around: Vec<UnitAround<'_>> =
                    around.map(|(unit, it)| UnitAround { unit, memory: &it.memory, vectors: &it.vectors }).collect();
                judged(&self.program, file, &machine, &around, objects)
            };
            self.objects.all().flat_map(judge).collect()
        })
    }

    /// The session that a script is, or is a part of.
    #[must_use]
    pub fn session_of(&self, file: FileId) -> Option<&Arc<SessionFact>> {
        self.sessions().iter().find(|it| it.files.contains(&file))
    }

    /// The files and folders that the machine files name: whoever may look says which are absent, by [`Program::set_absent`].
    pub fn named(&self) -> impl Iterator<Item = &Named> {
        self.machines.named()
    }

    /// Its units.
    #[must_use]
    pub fn analysis(&self) -> &Analysis {
        &self.analysis
    }

    /// All blocks. A file that several units read gives its blocks once.
    pub fn blocks(&self) -> impl Iterator<Item = &BlockFact> {
        let mut seen = FxHashSet::default();
        self.all_blocks().filter(move |it| seen.insert((it.at, it.entry)))
    }

    fn all_blocks(&self) -> impl Iterator<Item = &BlockFact> {
        self.units.iter().flat_map(|unit| &unit.blocks).chain(self.c_facts.iter().flat_map(|it| &it.blocks))
    }

    /// All facts.
    pub fn facts(&self) -> impl Iterator<Item = Fact<'_>> {
        let mut seen = FxHashSet::default();
        let constants = self.units.iter().flat_map(|unit| &unit.constants);
        let constants = constants.filter(move |it| it.values.first().is_some_and(|first| seen.insert(first.3)));
        let families = self.units.iter().flat_map(|unit| &unit.serial.families);
        let mut seen_families = FxHashSet::default();
        let families = families.filter(move |it| it.members.first().is_some_and(|own| seen_families.insert(own.at)));
        let facts = self.blocks().map(Fact::Block).chain(constants.map(Fact::Constants));
        let facts = facts.chain(self.lines().map(Fact::Line)).chain(families.map(Fact::Family));
        let facts = facts.chain(self.memory.iter().flat_map(|it| &it.regions).map(Fact::Memory));
        facts.chain(self.vectors().map(Fact::Vectors)).chain(self.objects().iter().map(Fact::Object))
    }

    /// The memory of each machine whose file has some.
    #[must_use]
    pub fn memory_maps(&self) -> &[MemoryMap] {
        &self.memory
    }

    /// What serial lines are set to. A file that several units read gives its settings once.
    pub fn lines(&self) -> impl Iterator<Item = &LineFact> {
        let mut seen = FxHashSet::default();
        self.units
            .iter()
            .flat_map(|unit| &unit.serial.lines)
            .filter(move |it| seen.insert((it.at, it.channel, it.form)))
    }

    /// The serial ports of the unit that reads a file.
    pub fn ports(&self, file: FileId) -> impl Iterator<Item = &Port> {
        self.serial_of(file).into_iter().flat_map(|it| &it.ports)
    }

    /// The constants by which the unit that reads a file chooses rates or frames.
    pub fn families(&self, file: FileId) -> impl Iterator<Item = &FamilyFact> {
        self.serial_of(file).into_iter().flat_map(|it| &it.families)
    }

    /// What the instruction of a line does to registers of serial chips.
    pub fn register_uses(&self, place: Place) -> impl Iterator<Item = &RegisterUse> {
        let all = self.serial_of(place.file).into_iter().flat_map(|it| &it.uses);
        all.filter(move |it| it.at.place == place || it.value_at.is_some_and(|it| it.place == place))
    }

    /// The setting that a line of a table or a constant has a part in, and what it writes.
    pub fn line_writes(&self, place: Place) -> impl Iterator<Item = (&LineFact, &RegisterWrite)> {
        let at = move |it: &&RegisterWrite| it.at.place == place || it.value_at.is_some_and(|it| it.place == place);
        self.lines().flat_map(move |line| line.writes.iter().filter(at).map(move |it| (line, it)))
    }

    fn serial_of(&self, file: FileId) -> Option<&SerialFacts> {
        let at = self.analysis.units().position(|unit| unit.files().contains(&file))?;
        Some(&self.units[at].serial)
    }

    /// All exception vectors. A file that several units read gives its tables once.
    pub fn vectors(&self) -> impl Iterator<Item = &VectorsFact> {
        let mut seen = FxHashSet::default();
        self.units.iter().flat_map(|unit| &unit.vectors).filter(move |it| seen.insert((it.at, it.origin)))
    }

    /// The vectors that an operand at a place of a line holds: several, where it is repeated.
    #[must_use]
    pub fn vectors_at(&self, place: Place, byte: usize) -> Option<(&VectorsFact, Vec<&VectorEntry>)> {
        self.vectors().find_map(|fact| {
            let is_here = |it: &&VectorEntry| {
                it.at.place == place && (it.at.span.range().contains(&byte) || usize::from(it.at.span.end) == byte)
            };
            let own: Vec<&VectorEntry> = fact.entries.iter().filter(is_here).collect();
            (!own.is_empty()).then_some((fact, own))
        })
    }

    /// The block that a place of a line belongs to.
    #[must_use]
    pub fn block_at(&self, place: Place) -> Option<&BlockFact> {
        self.all_blocks().find(|it| it.parts.iter().any(|part| part.at.place == place))
    }

    /// The blocks of the table that a block belongs to.
    #[must_use]
    pub fn table_of(&self, block: &BlockFact) -> Vec<&BlockFact> {
        let is_same = |it: &&BlockFact| {
            it.label == block.label
                && it.last == block.last
                && it.entry.1 == block.entry.1
                && it.layout.name == block.layout.name
        };
        self.blocks().filter(is_same).collect()
    }

    /// All findings, by file and line, each once.
    #[must_use]
    pub fn findings(&self) -> Vec<&Finding> {
        let sessions = self.sessions().iter().flat_map(|it| &it.findings);
        self.sorted(self.unsorted().chain(sessions))
    }

    /// The findings in one file.
    #[must_use]
    pub fn findings_in(&self, file: FileId) -> Vec<&Finding> {
        let is_session = self.program.file(file).is_some_and(|it| is_session(it));
        let sessions = is_session.then(|| self.sessions()).into_iter().flatten().flat_map(|it| &it.findings);
        self.sorted(self.unsorted().chain(sessions).filter(|it| it.at.place.file == file))
    }

    fn unsorted(&self) -> impl Iterator<Item = &Finding> {
        let own = self.analysis.units().zip(&self.units).flat_map(|(unit, facts)| {
            let foreign = facts.foreign.iter().filter(|it| self.analysis.find_elsewhere(unit, it.0).is_none());
            facts.findings.iter().chain(foreign.map(|it| &it.1))
        });
        let objects = self.objects().iter().flat_map(|it| &it.findings);
        let of_c = self.c_facts.iter().flat_map(|it| &it.findings);
        let own = own.chain(of_c).chain(self.linkage.iter()).chain(self.of_names.iter());
        own.chain(self.machines.findings()).chain(objects)
    }

    fn sorted<'a>(&self, findings: impl Iterator<Item = &'a Finding>) -> Vec<&'a Finding> {
        let path = |it: &Finding| self.program.file(it.at.place.file).map(|file| file.path());
        let mut all: Vec<&Finding> = findings.collect();
        all.sort_by(|a, b| {
            let place = |it: &Finding| (it.at.place.chunk, it.at.place.line, it.at.span.start, it.severity);
            let same_file = a.at.place.file == b.at.place.file;
            let by_file = if same_file { std::cmp::Ordering::Equal } else { path(a).cmp(&path(b)) };
            by_file.then_with(|| place(a).cmp(&place(b))).then_with(|| (a.code, &a.message).cmp(&(b.code, &b.message)))
        });
        all.dedup();
        all
    }
}

fn are_together(program: &Program, machines: &Machines, one: FileId, other: FileId) -> bool {
    let of = |file: FileId| program.file(file).and_then(|it| machines.file_of(it.path()).0);
    one == other || of(one) == of(other)
}

/// The findings about names and values that cross from module to module, C among them.
fn across(
    program: &Program,
    analysis: &Analysis,
    machines: &Machines,
    c: &[Arc<CUnit>],
    convention: Convention,
) -> Vec<Finding> {
    let all: Vec<&CUnit> = c.iter().map(|it| &**it).collect();
    let mut found = linkage::findings(program, analysis, &all, convention);
    let mut rest = all;
    while let Some(first) = rest.first().copied() {
        let is_own = |file: FileId| are_together(program, machines, first.root, file);
        let (own, others): (Vec<_>, Vec<_>) = rest.into_iter().partition(|it| is_own(it.root));
        rest = others;
        let units = analysis.units().filter(|it| it.root().is_some_and(is_own)).collect();
        found.extend(c::findings(&Side { program, c: own, units, convention }));
    }
    found
}

fn unit_facts(program: &Program, machine: &Machine, unit: &Unit) -> UnitFacts {
    let mut blocks = blocks(program, unit, &machine.layouts);
    let constants = constants(program, unit);
    let mut findings = relations::findings(program, machine, unit, &mut blocks, &constants);
    findings.extend(reads::findings(program, unit, &blocks));
    findings.extend(sectors::findings(program, unit, &blocks));
    let named = NamedRegisters::new(program, unit);
    let ports = ports(program, machine, unit, &named);
    let is_port = |address| ports.iter().any(|it| it.covers(address));
    let (memory, accesses, of_memory) = memory::memory(program, machine, unit, &is_port);
    findings.extend(of_memory);
    let (serial, own) = serial(program, unit, &named, ports, &accesses);
    findings.extend(own);
    let (vectors, wrong) = vectors(program, machine, unit);
    findings.extend(wrong);
    findings.extend(jumps::findings(program, unit, &vectors));
    for id in unit.files() {
        if let Some(file) = program.file(*id) {
            findings.extend(source::file_findings(unit, file));
        }
    }
    let (own, foreign) = source::unit_findings(program, unit);
    findings.extend(own);
    let file_names = file_names(program, unit, &|it| it.has_text).into();
    UnitFacts { blocks, constants, serial, memory, vectors, findings, foreign, file_names }
}
