//! From the files of chips to what they say.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use super::Chip;
use crate::{Formula, FormulaError, Template};

/// What chooses between registers that share an address.
#[derive(Debug)]
pub struct State {
    /// Its name in formulas.
    pub name: String,
    /// Its value after a reset of the chip.
    pub start: i64,
    /// Its value behind an access of which nobody knows the register.
    pub lost: Option<i64>,
    /// What has to be done before it can be relied on, where that is not only the chip's reset.
    pub reset: Option<String>,
}

/// A variant of a chip that makes other rates.
#[derive(Debug)]
pub struct Variant {
    /// The letter for it.
    pub name: String,
    /// Part numbers.
    pub also: Vec<String>,
    /// Its usual clock in Hz.
    pub clock: u32,
}

/// A register.
#[derive(Debug)]
pub struct Register {
    /// Its name in data sheets.
    pub name: String,
    /// Other names that sources use.
    pub also: Vec<String>,
    /// What it is, in a few words.
    pub title: String,
    /// Channel and number of each place on the chip's address lines; no channel for what all share.
    pub places: Vec<(Option<usize>, u32)>,
    /// Its number where a pointer chooses it.
    pub index: Option<u32>,
    /// Whether it is one for all channels.
    pub is_shared: bool,
    /// Whether it can be read.
    pub can_read: bool,
    /// Whether it can be written.
    pub can_write: bool,
    /// What reading it changes.
    pub reads: Option<String>,
    /// What writing it does, besides keeping the value.
    pub writes: Option<String>,
    /// How what is read differs from what was written.
    pub differs: Option<String>,
    /// What the bits of a status mean, from bit 0 on.
    pub flags: Vec<String>,
    /// Its fields.
    pub fields: Vec<Field>,
    pub(crate) when: Option<Formula>,
    pub(crate) after: Vec<(String, Formula)>,
    pub(crate) after_read: Vec<(String, Formula)>,
}

/// A field of a register.
#[derive(Debug)]
pub struct Field {
    /// Its name in formulas.
    pub key: String,
    /// What it is, in a few words.
    pub title: String,
    /// Its lowest bit.
    pub shift: u32,
    /// How many bits it has.
    pub width: u32,
    /// The words for its values, from 0 on; none for a plain number.
    pub values: Vec<String>,
    /// The value that leaves the field as it was.
    pub keeps: Option<i64>,
}

impl Field {
    /// The field's value in a register's.
    #[must_use]
    pub fn of(&self, register: u32) -> i64 {
        i64::from(register >> self.shift & ((1 << self.width) - 1))
    }

    /// The value in words.
    #[must_use]
    pub fn shown(&self, value: i64) -> String {
        let word = usize::try_from(value).ok().and_then(|at| self.values.get(at));
        word.map_or_else(|| value.to_string(), Clone::clone)
    }

    /// Its bits as data sheets write them: `7-6`, `3`.
    #[must_use]
    pub fn bits(&self) -> String {
        if self.width == 1 { self.shift.to_string() } else { format!("{}-{}", self.shift + self.width - 1, self.shift) }
    }
}

/// How a rate is made, in one case.
#[derive(Debug)]
pub struct RateCase {
    pub(crate) when: Formula,
    pub(crate) divide: Option<Formula>,
    pub(crate) nominal: Option<Formula>,
    pub(crate) wrong: Option<Formula>,
    pub(crate) text: Template,
    pub(crate) is_stopped: bool,
}

/// A kind of constant by which a rate is chosen.
#[derive(Debug)]
pub struct RateConstant {
    /// The register that it goes to.
    pub register: String,
    /// The variant that it belongs to.
    pub variant: Option<String>,
    /// What it is, in a few words.
    pub title: String,
    pub(crate) divide: Formula,
}

/// Something to be told where a formula holds.
#[derive(Debug)]
pub struct Note {
    pub(crate) when: Formula,
    pub(crate) text: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChipText {
    name: String,
    also: Vec<String>,
    title: String,
    words: Vec<String>,
    tells: Vec<String>,
    channels: Vec<String>,
    clocks: Vec<u32>,
    clock_is: Option<String>,
    source: String,
    #[serde(default)]
    own_bases: bool,
    #[serde(default)]
    pairs: bool,
    register_bytes: Option<u32>,
    #[serde(default)]
    stream: Vec<String>,
    #[serde(default)]
    state: Vec<StateText>,
    #[serde(default)]
    variant: Vec<VariantText>,
    #[serde(default)]
    lists: BTreeMap<String, Vec<i64>>,
    register: Vec<RegisterText>,
    #[serde(default)]
    derived: Vec<DerivedText>,
    line: BTreeMap<String, String>,
    #[serde(default)]
    side: BTreeMap<String, BTreeMap<String, String>>,
    rate: Vec<RateText>,
    #[serde(default)]
    rate_constant: Vec<RateConstantText>,
    #[serde(default)]
    flow: Vec<NoteText>,
    #[serde(default)]
    note: Vec<NoteText>,
    #[serde(default)]
    wrong: Vec<NoteText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StateText {
    name: String,
    start: i64,
    lost: Option<i64>,
    reset: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct VariantText {
    name: String,
    also: Vec<String>,
    clock: u32,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum AtText {
    Shared(u32),
    Channels(BTreeMap<String, u32>),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RegisterText {
    name: String,
    #[serde(default)]
    also: Vec<String>,
    title: String,
    at: AtText,
    index: Option<u32>,
    #[serde(default)]
    shared: bool,
    access: String,
    when: Option<String>,
    #[serde(default)]
    after: BTreeMap<String, String>,
    #[serde(default)]
    after_read: BTreeMap<String, String>,
    reads: Option<String>,
    writes: Option<String>,
    differs: Option<String>,
    #[serde(default)]
    flags: Vec<String>,
    #[serde(default)]
    fields: Vec<FieldText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FieldText {
    bits: String,
    key: String,
    title: String,
    #[serde(default)]
    values: Vec<String>,
    keeps: Option<i64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DerivedText {
    name: String,
    formula: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RateText {
    when: String,
    divide: Option<String>,
    nominal: Option<String>,
    wrong: Option<String>,
    text: String,
    #[serde(default)]
    stopped: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RateConstantText {
    register: String,
    variant: Option<String>,
    title: String,
    divide: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NoteText {
    when: String,
    text: String,
}

impl Chip {
    fn new(text: ChipText) -> Result<Self, FormulaError> {
        let wrong = |message: String| FormulaError { at: 0, message };
        let formulas = |map: BTreeMap<String, String>| -> Result<Vec<(String, Formula)>, FormulaError> {
            map.into_iter().map(|(name, text)| Ok((name, Formula::new(&text)?))).collect()
        };
        let notes = |all: Vec<NoteText>| -> Result<Vec<Note>, FormulaError> {
            all.into_iter().map(|it| Ok(Note { when: Formula::new(&it.when)?, text: it.text })).collect()
        };
        let mut registers = Vec::new();
        for it in text.register {
            let mut places = Vec::new();
            match it.at {
                // What is a channel's own has its place in each, unless the chip has but one set of addresses.
                AtText::Shared(offset) if text.own_bases && !it.shared => {
                    places.extend((0..text.channels.len()).map(|at| (Some(at), offset)));
                }
                AtText::Shared(offset) if text.channels.len() == 1 => places.push((Some(0), offset)),
                AtText::Shared(offset) => places.push((None, offset)),
                AtText::Channels(map) => {
                    for (name, offset) in map {
                        let channel = text.channels.iter().position(|it| *it == name);
                        places.push((Some(channel.ok_or_else(|| wrong(format!("no channel `{name}`")))?), offset));
                    }
                }
            }
            let fields = it.fields.into_iter().map(field).collect::<Option<Vec<_>>>();
            registers.push(Register {
                is_shared: places.iter().any(|it| it.0.is_none()),
                places,
                index: it.index,
                can_read: it.access.contains('r'),
                can_write: it.access.contains('w'),
                when: it.when.as_deref().map(Formula::new).transpose()?,
                after: formulas(it.after)?,
                after_read: formulas(it.after_read)?,
                fields: fields.ok_or_else(|| wrong(format!("bits of a field of `{}`", it.name)))?,
                name: it.name,
                also: it.also,
                title: it.title,
                reads: it.reads,
                writes: it.writes,
                differs: it.differs,
                flags: it.flags,
            });
        }
        let mut side = text.side;
        let mut own_side = |name: &str| formulas(side.remove(name).unwrap_or_default());
        let rate = |it: RateText| -> Result<RateCase, FormulaError> {
            let read = |text: Option<String>| text.as_deref().map(Formula::new).transpose();
            Ok(RateCase {
                when: Formula::new(&it.when)?,
                divide: read(it.divide)?,
                nominal: read(it.nominal)?,
                wrong: read(it.wrong)?,
                text: Template::new(&it.text)?,
                is_stopped: it.stopped,
            })
        };
        let constant = |it: RateConstantText| -> Result<RateConstant, FormulaError> {
            let divide = Formula::new(&it.divide)?;
            Ok(RateConstant { register: it.register, variant: it.variant, title: it.title, divide })
        };
        let derived = text.derived.into_iter().map(|it| Ok((it.name, Formula::new(&it.formula)?)));
        let state = |it: StateText| State { name: it.name, start: it.start, lost: it.lost, reset: it.reset };
        let variant = |it: VariantText| Variant { name: it.name, also: it.also, clock: it.clock };
        Ok(Self {
            sides: [own_side("rx")?, own_side("tx")?],
            name: text.name,
            also: text.also,
            title: text.title,
            words: text.words,
            tells: text.tells,
            stream: text.stream,
            channels: text.channels,
            clocks: text.clocks,
            clock_is: text.clock_is,
            source: text.source,
            own_bases: text.own_bases,
            pairs: text.pairs,
            register_bytes: text.register_bytes.unwrap_or(1),
            states: text.state.into_iter().map(state).collect(),
            variants: text.variant.into_iter().map(variant).collect(),
            registers,
            lists: text.lists.into_iter().collect(),
            derived: derived.collect::<Result<_, FormulaError>>()?,
            line: formulas(text.line)?,
            rates: text.rate.into_iter().map(rate).collect::<Result<_, _>>()?,
            rate_constants: text.rate_constant.into_iter().map(constant).collect::<Result<_, _>>()?,
            flow: notes(text.flow)?,
            notes: notes(text.note)?,
            wrong: notes(text.wrong)?,
        })
    }
}

/// None where the bits cannot be read.
fn field(text: FieldText) -> Option<Field> {
    let (high, low) = text.bits.split_once('-').unwrap_or((&text.bits, &text.bits));
    let (high, low) = (high.parse::<u32>().ok()?, low.parse::<u32>().ok()?);
    (low <= high && high < 16).then(|| Field {
        key: text.key,
        title: text.title,
        shift: low,
        width: high - low + 1,
        values: text.values,
        keeps: text.keeps,
    })
}

/// The chips. One file each: adding one is adding its file here.
const FILES: &[&str] = &[
    include_str!("../../serial/mc68681.toml"),
    include_str!("../../serial/mc6850.toml"),
    include_str!("../../serial/z8530.toml"),
    include_str!("../../serial/mc68901.toml"),
    include_str!("../../serial/scn2661.toml"),
    include_str!("../../serial/ns16450.toml"),
    include_str!("../../serial/i8251.toml"),
    include_str!("../../serial/mc68332-sci.toml"),
];

static CHIPS: LazyLock<Vec<Chip>> = LazyLock::new(|| {
    let read = |text: &&str| {
        // The files are part of the program; the tests read each.
        let text: ChipText = toml::from_str(text).unwrap_or_else(|error| panic!("{error}"));
        let name = text.name.clone();
        Chip::new(text).unwrap_or_else(|error| panic!("{name}: {error}"))
    };
    FILES.iter().map(read).collect()
});

/// All chips.
#[must_use]
pub fn chips() -> &'static [Chip] {
    &CHIPS
}

/// A chip by its name or a part number.
#[must_use]
pub fn chip(name: &str) -> Option<&'static Chip> {
    CHIPS.iter().find(|it| it.is_called(name))
}
