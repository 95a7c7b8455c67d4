//! Tracks and drives: whether sectors fit, with which gaps, and which drive reads a disk.

use reveille_decoders::track::{Budget, Encoding, Part, Recipe, Setup, Verdict, values};
use reveille_decoders::{Names, Scalar, family};
use reveille_machine::Drive;

use crate::blocks::BlockFact;
use crate::constants::{ConstantsFact, Role};
use crate::finding::{Evidence, Finding};
use crate::machine::Machine;

/// The shortest step of a usual drive by its medium in inches, in ms. 3.5 and 5.25 inches: WD1772 data sheet's discussion, from memory; 8 inches: from
/// memory.
const USUAL_STEPS: &[(&str, u32)] = &[("3.5", 3), ("5.25", 6), ("8", 3)];

/// Something with sectors on tracks: a block, or constants.
struct Subject<'a> {
    cylinders: Option<i64>,
    heads: Option<i64>,
    setup: Setup<'a>,
    interleave: Option<i64>,
    /// Where the value of a name stands.
    place: &'a dyn Fn(&str) -> Option<Evidence>,
    /// Where the subject itself is.
    at: Evidence,
    /// Whether what fits on a track is asked, or only codes and gaps.
    with_track: bool,
}

/// The rules of the track that are about what fits; another subject of the same geometry tells them already.
const OF_THE_TRACK: &[&str] = &["track-001", "track-002", "track-003", "track-009", "track-101"];

/// The findings of blocks, of constants, and of the drives themselves.
pub(crate) fn findings(machine: &Machine, blocks: &mut [BlockFact], constants: &[ConstantsFact]) -> Vec<Finding> {
    for block in blocks.iter_mut().filter(|it| it.layout.family == "recipe") {
        know_recipe(block);
    }
    let blocks: Vec<&BlockFact> = blocks.iter().filter(|it| it.is_readable()).collect();
    let sector_bytes = only_sector_size(&blocks, constants);
    let mut found = Vec::new();
    for block in &blocks {
        let place = |name: &str| block.evidence(name).first().map(|_| crate::rules::evidence(block, name));
        if let Some(subject) = of_block(block, constants, sector_bytes, &place) {
            let prefix = if block.entry.1 > 1 { format!("{}: ", block.subject) } else { String::new() };
            found.extend(judge(machine, subject, &prefix));
        }
    }
    for group in constants {
        let place = |name: &str| group.values.iter().find(|it| it.0.name() == name).map(|it| it.3);
        let Some(at) = group.values.first().map(|it| it.3) else { continue };
        let value = |role| group.value(role);
        let small = |role| value(role).and_then(|it| u32::try_from(it).ok());
        let is_told = blocks.iter().any(|it| {
            it.number("legal_sectors_per_track") == value(Role::SectorsPerTrack)
                && it.number("legal_sector_size") == value(Role::SectorSize)
        });
        let byte = |role| value(role).and_then(|it| u8::try_from(it).ok());
        let setup = Setup {
            sectors: small(Role::SectorsPerTrack),
            sector_bytes: small(Role::SectorSize),
            gap3: small(Role::Gap3),
            size_code: byte(Role::SizeCode),
            step_code: byte(Role::StepCode),
            ..Setup::default()
        };
        let (cylinders, heads, interleave) = (value(Role::Cylinders), value(Role::Sides), value(Role::Interleave));
        let subject = Subject { cylinders, heads, setup, interleave, place: &place, at, with_track: !is_told };
        found.extend(judge(machine, subject, ""));
    }
    found.extend(machine.drives.iter().filter_map(|(drive, at)| unusual(drive, *at)));
    found
}

/// The sector size of the disk that a unit is about, where all that say one agree.
fn only_sector_size(blocks: &[&BlockFact], constants: &[ConstantsFact]) -> Option<u32> {
    let of_blocks = blocks.iter().filter_map(|it| it.number("legal_sector_size"));
    let mut all = of_blocks.chain(constants.iter().filter_map(|it| it.value(Role::SectorSize)));
    let first = all.next()?;
    all.all(|it| it == first).then(|| u32::try_from(first).ok())?
}

fn of_block<'a>(
    block: &BlockFact,
    constants: &[ConstantsFact],
    sector_bytes: Option<u32>,
    place: &'a dyn Fn(&str) -> Option<Evidence>,
) -> Option<Subject<'a>> {
    let number = |name: &str| block.number(name);
    let small = |name: &str| number(name).and_then(|it| u32::try_from(it).ok());
    let mut setup = Setup::default();
    let (mut cylinders, mut heads) = (None, None);
    match block.layout.family.as_str() {
        "controller" => {
            setup.encoding = Some(if number("is_mfm")? == 0 { Encoding::Fm } else { Encoding::Mfm });
            setup.sectors = small("sectors_per_track").or(small("last_sector"));
            setup.size_code = number("size_code").and_then(|it| u8::try_from(it).ok());
            setup.sector_bytes = sector_bytes.or(small("code_bytes"));
            setup.gap3 = small("gap3");
        }
        "recipe" => {
            setup.encoding = Some(if number("is_mfm")? == 0 { Encoding::Fm } else { Encoding::Mfm });
            setup.sector_bytes = small("data_bytes").filter(|it| it.is_power_of_two()).or(sector_bytes);
            setup.sectors = match constants {
                [only] => only.value(Role::SectorsPerTrack).and_then(|it| u32::try_from(it).ok()),
                _ => None,
            };
            setup.gap3 = small("gap_3");
        }
        _ => {
            let [own_cylinders, sides, sectors, size] = block.geometry()?;
            setup.sectors = u32::try_from(sectors).ok();
            setup.sector_bytes = u32::try_from(size).ok();
            (cylinders, heads) = (Some(own_cylinders), Some(sides));
            if let Some(format) = block.format {
                setup.encoding = Some(format.encoding);
                setup.data_rate = Some(format.data_rate);
                setup.rpm = Some(format.rpm);
            }
        }
    }
    Some(Subject { cylinders, heads, setup, interleave: None, place, at: block.at, with_track: true })
}

/// Puts what a recipe's pairs mean into the values of its block.
fn know_recipe(block: &mut BlockFact) {
    let Some(recipe) = Recipe::read(&block.bytes) else { return };
    block.know("is_mfm", i64::from(recipe.encoding == Encoding::Mfm));
    for (name, part) in [("gap_1", Part::Gap1), ("gap_2", Part::Gap2), ("gap_3", Part::Gap3)] {
        if let Some(bytes) = recipe.length(part) {
            block.know(name, bytes.into());
        }
    }
    if let Some(bytes) = recipe.data_bytes() {
        block.know("data_bytes", bytes.into());
    }
}

/// What a subject's setup becomes in a drive.
fn in_drive<'a>(setup: &Setup<'a>, drive: &'a Drive) -> Setup<'a> {
    let medium = drive.medium.as_ref().map(|it| it.value);
    let usual_step = USUAL_STEPS.iter().find(|it| Some(it.0) == medium).map(|it| it.1);
    Setup {
        encoding: Encoding::named(drive.encoding()).or(setup.encoding),
        data_rate: drive.rate.as_ref().map(|it| it.value).or(setup.data_rate),
        rpm: drive.rpm.as_ref().map(|it| it.value).or(setup.rpm),
        controller: drive.controller.as_ref().map(|it| it.value.as_str()),
        clock: drive.clock.as_ref().map(|it| it.value),
        drive_step: drive.step.as_ref().map(|it| it.value).or(usual_step),
        ..*setup
    }
}

/// The findings of a subject in the drive of the machine that suits it best, or without a drive.
fn judge(machine: &Machine, subject: Subject<'_>, prefix: &str) -> Vec<Finding> {
    let with = |drive: Option<&(Drive, Evidence)>| findings_in(&subject, drive, prefix);
    let worst = |found: &Vec<Finding>| (found.iter().map(|it| it.severity).min().map(std::cmp::Reverse), found.len());
    let in_drives = machine.drives.iter().map(|drive| with(Some(drive)));
    in_drives.min_by_key(worst).unwrap_or_else(|| with(None))
}

fn findings_in(subject: &Subject<'_>, drive: Option<&(Drive, Evidence)>, prefix: &str) -> Vec<Finding> {
    let setup = drive.map_or(subject.setup, |it| in_drive(&subject.setup, &it.0));
    let mut all = values(&setup);
    let mut know = |name: &str, value: Option<i64>| {
        all.extend(value.map(|it| (name.to_owned(), Scalar::Number(it))));
    };
    know("sectors", setup.sectors.map(i64::from));
    know("sector_bytes", setup.sector_bytes.map(i64::from));
    know("cylinders", subject.cylinders);
    know("heads", subject.heads);
    know("interleave", subject.interleave);
    know("step_code", setup.step_code.map(i64::from));
    know("cylinders_of_drive", drive.and_then(|it| it.0.cylinders.as_ref()).map(|it| it.value.into()));
    know("heads_of_drive", drive.and_then(|it| it.0.heads.as_ref()).map(|it| it.value.into()));
    told(&all, subject, prefix, |code| code != "track-005" && (subject.with_track || !OF_THE_TRACK.contains(&code)))
}

/// The findings of the track's rules that hold.
fn told(all: &[(String, Scalar)], subject: &Subject<'_>, prefix: &str, wants: impl Fn(&str) -> bool) -> Vec<Finding> {
    let names = |name: &str| all.iter().find(|it| it.0 == name).map(|it| it.1.clone());
    let Some(family) = family("track") else { return Vec::new() };
    let holding = family.rules.iter().filter(|it| wants(&it.code) && it.when.holds(&names));
    let finding = |rule: &reveille_decoders::Rule| {
        let mut places = rule.fields.iter().filter_map(|name| Some((name, (subject.place)(name)?)));
        let at = places.next().map_or(subject.at, |it| it.1);
        let message = format!("{prefix}{}", rule.message.text(&names as &dyn Names));
        let finding = Finding::new(&rule.code, at, message);
        places.fold(finding, |finding, (name, at)| finding.related(at, format!("`{name}`")))
    };
    holding.map(finding).collect()
}

/// A drive whose rate and speed no usual one has.
fn unusual(drive: &Drive, at: Evidence) -> Option<Finding> {
    let setup = in_drive(&Setup::default(), drive);
    let place = |_: &str| Some(at);
    let subject =
        Subject { cylinders: None, heads: None, setup, interleave: None, place: &place, at, with_track: true };
    told(&values(&setup), &subject, "", |code| code == "track-005").pop()
}

/// How the sectors of a block go on the tracks that are usual for the standard format that it equals.
#[must_use]
pub fn usual_track(block: &BlockFact) -> Option<Budget> {
    let format = block.format?;
    let raw = reveille_decoders::track::raw_bytes(format.data_rate, format.rpm)?;
    let (sectors, size) = (u32::try_from(format.sectors_per_track).ok()?, u32::try_from(format.sector_size).ok()?);
    Budget::new(format.encoding, sectors, size, raw, false)
}

/// How a drive does with the disk of a block.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InDrive {
    /// What keeps the drive from reading it; empty if nothing does.
    pub obstacles: Vec<String>,
    /// What has to be minded.
    pub cautions: Vec<String>,
    /// How the sectors fit on the track.
    pub budget: Option<Budget>,
}

/// Whether a drive reads the disk of a block, and how. None where the block has no whole geometry.
#[must_use]
pub fn reads(drive: &Drive, block: &BlockFact) -> Option<InDrive> {
    let [cylinders, heads, sectors, size] = block.geometry()?;
    let (mut obstacles, mut cautions) = (Vec::new(), Vec::new());
    let own_cylinders = drive.cylinders.as_ref().map(|it| i64::from(it.value));
    let own_heads = drive.heads.as_ref().map(|it| i64::from(it.value));
    if let Some(own) = own_cylinders.filter(|own| cylinders > *own) {
        obstacles.push(format!("the disk has {cylinders} cylinders, the drive reaches {own}"));
    }
    if let Some(own) = own_heads.filter(|own| heads > *own) {
        obstacles.push(format!("the disk has {heads} sides, the drive reads {own}"));
    }
    if own_cylinders.is_some_and(|own| (cylinders..cylinders + 5).contains(&(own / 2)) && cylinders <= 42) {
        cautions.push(format!(
            "{cylinders} cylinders in a drive of twice as many: step twice for each; what it writes is too narrow for a drive of {cylinders} cylinders"
        ));
    }
    let mut setup =
        Setup { sectors: u32::try_from(sectors).ok(), sector_bytes: u32::try_from(size).ok(), ..Setup::default() };
    if let Some(format) = block.format {
        let medium = drive.medium.as_ref().map(|it| it.value);
        let own = format.medium.trim_end_matches(" in");
        if let Some(medium) = medium.filter(|it| *it != own) {
            cautions.push(format!("the format is usual on {own}-inch disks, the drive takes {medium}-inch ones"));
        }
        if format.encoding.name() != drive.encoding() {
            obstacles.push(format!(
                "the format is recorded in {}, the drive is set for {}",
                format.encoding.name(),
                drive.encoding()
            ));
        }
        setup.encoding = Some(format.encoding);
    }
    let setup = in_drive(&setup, drive);
    let raw = setup.data_rate.zip(setup.rpm).and_then(|(rate, rpm)| reveille_decoders::track::raw_bytes(rate, rpm));
    let all = setup.encoding.zip(setup.sectors.zip(setup.sector_bytes)).zip(raw);
    let budget = all.and_then(|((encoding, (sectors, bytes)), raw)| Budget::new(encoding, sectors, bytes, raw, false));
    match budget.map(|it| it.verdict) {
        Some(Verdict::DoesNotFit) => obstacles.push(format!("{sectors} x {size} bytes do not fit on its tracks")),
        Some(Verdict::BelowDataSheet) => {
            cautions.push(format!("{sectors} x {size} bytes leave gaps below the data sheet's: read only"));
        }
        Some(Verdict::ReducedGaps) => cautions.push(format!("{sectors} x {size} bytes need reduced gaps")),
        Some(Verdict::Fits) | None => (),
    }
    Some(InDrive { obstacles, cautions, budget })
}
