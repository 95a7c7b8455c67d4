//! Serial chips of a program: where each is, what clocks it, and how that is known.

use reveille_decoders::serial::{Chip, Meaning, Register, Variant, chip, chips, meanings};
use reveille_machine::Serial;
use reveille_program::{Definition, DefinitionKind, Program, Symbol, Unit, Value};
use rustc_hash::FxHashMap;

use crate::access::on_bus;
use crate::finding::Evidence;
use crate::machine::Machine;

/// How far from one register to the next, where nothing tells: byte-wide chips sit on one half of the 68000's bus.
const USUAL_STRIDE: i64 = 2;

/// How many names of registers are put together to chips; each is held against each.
const MOST_NAMES: usize = 512;

/// The lowest address of a port that is told by a name alone; below are vectors and small numbers.
const LOWEST: i64 = 0x400;

/// Where a clock's frequency is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClockFrom {
    /// The machine file says it.
    MachineFile,
    /// A comment of the source says it.
    Comment,
    /// A constant of the source says it.
    Constant,
    /// It is the usual one of the chip or its variant.
    Usual,
}

/// A chip's clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clock {
    /// Its frequency in Hz.
    pub hertz: u32,
    /// Where that is from.
    pub from: ClockFrom,
    /// Where it is written.
    pub at: Option<Evidence>,
}

/// A serial chip at an address.
#[derive(Clone, Debug)]
pub struct Port {
    /// The chip.
    pub chip: &'static Chip,
    /// The address of its first register.
    pub base: i64,
    /// Bytes from one register to the next.
    pub stride: i64,
    /// Its channel, for chips whose channels have addresses of their own.
    pub channel: Option<usize>,
    /// What clocks it.
    pub clock: Clock,
    /// Its variant, for chips that have some.
    pub variant: Option<&'static Variant>,
    /// The timer that clocks the line: `c` or `d`.
    pub timer: Option<&'static str>,
    /// What the machine file calls its channels.
    pub entries: Vec<(Option<usize>, Serial)>,
    /// Where it is told of.
    pub at: Evidence,
}

impl Port {
    /// A chip whose address nobody knows.
    pub(crate) fn unplaced(chip: &'static Chip, channel: Option<usize>, at: Evidence) -> Self {
        let clock = Clock { hertz: chip.clocks.first().copied().unwrap_or(1), from: ClockFrom::Usual, at: None };
        let channel = if chip.own_bases { channel.or(Some(0)) } else { None };
        Self {
            chip,
            base: 0,
            stride: USUAL_STRIDE,
            channel,
            clock,
            variant: None,
            timer: None,
            entries: Vec::new(),
            at,
        }
    }

    /// The number of the register at an address, if it is one of the chip's.
    #[must_use]
    pub fn offset(&self, address: i64) -> Option<u32> {
        let distance = address - self.base;
        let is_own = distance >= 0 && distance % self.stride == 0;
        u32::try_from(distance / self.stride).ok().filter(|it| is_own && *it < self.chip.len())
    }

    /// Whether an address lies between the first register and the last.
    #[must_use]
    pub fn covers(&self, address: i64) -> bool {
        (self.base & !1..self.base + self.stride * i64::from(self.chip.len())).contains(&address)
    }

    /// What a channel is called: as the machine file says, else by chip and letter.
    #[must_use]
    pub fn name(&self, channel: usize) -> String {
        let own = self.entries.iter().find(|it| it.0 == Some(channel));
        if let Some((_, serial)) = own {
            return serial.name.value.clone();
        }
        let letter = self.chip.channels.get(channel).map_or("", String::as_str);
        if self.chip.channels.len() > 1 {
            format!("{} channel {}", self.chip.name, letter.to_ascii_uppercase())
        } else {
            self.chip.name.clone()
        }
    }

    /// What the machine file says of a channel.
    #[must_use]
    pub fn entry(&self, channel: usize) -> Option<&Serial> {
        self.entries.iter().find(|it| it.0 == Some(channel)).map(|it| &it.1)
    }

    /// The registers that may be met at an address.
    pub fn registers(&self, address: i64) -> impl Iterator<Item = (&'static Register, Option<usize>)> {
        let chip: &'static Chip = self.chip;
        self.offset(address).into_iter().flat_map(move |offset| chip.at(offset, self.channel))
    }
}

/// Constants of a unit that name registers or chips.
#[derive(Debug, Default)]
pub(crate) struct NamedRegisters {
    /// Constants whose name means a register, with their values.
    pub(crate) registers: FxHashMap<Symbol, Vec<Meaning>>,
    /// Places of those in the unit's definitions, in order.
    hits: Vec<(u32, i64)>,
    /// Constants that may be the address of a chip.
    bases: Vec<(u32, i64, &'static Chip)>,
    /// Constants whose name speaks of a clock.
    clocks: Vec<(u32, i64)>,
}

impl NamedRegisters {
    /// Goes over the constants of a unit.
    pub(crate) fn new(program: &Program, unit: &Unit) -> Self {
        let mut found = Self::default();
        for (at, definition) in unit.definitions().iter().enumerate() {
            if !matches!(definition.kind, DefinitionKind::Equate | DefinitionKind::Set) {
                continue;
            }
            let Value::Number(value) = definition.value else { continue };
            let name = program.names().text(definition.symbol);
            let own = meanings(&name);
            if !own.is_empty() {
                found.registers.insert(definition.symbol, own);
                if found.hits.len() < MOST_NAMES {
                    found.hits.push((at as u32, value));
                }
            }
            if value >= LOWEST {
                let chip = chip_of_name(&name).or_else(|| chip_of_text(comment(program, definition)));
                found.bases.extend(chip.map(|it| (at as u32, value, it)));
                let lower = name.to_ascii_lowercase();
                let speaks = ["clk", "clock", "xtal", "crystal", "osc"].iter().any(|it| lower.contains(it));
                found.clocks.extend((speaks && value >= 10_000).then_some((at as u32, value)));
            }
        }
        found
    }

    /// Whether nothing of the unit speaks of serial chips.
    pub(crate) fn is_empty(&self) -> bool {
        self.hits.is_empty() && self.bases.is_empty()
    }
}

/// The comment of the line that defines a name.
pub(crate) fn comment<'a>(program: &'a Program, definition: &Definition) -> &'a str {
    let Some(file) = program.file(definition.place.file) else { return "" };
    let (_, line, text) = file.at(definition.place.chunk, definition.place.line);
    line.comment.of(text)
}

/// The chip that a name alone tells: `DUART`, `ACIA1`, `SCC_BASE`.
fn chip_of_name(name: &str) -> Option<&'static Chip> {
    let mut words = name.split(|it: char| !it.is_ascii_alphabetic()).map(str::to_ascii_lowercase);
    let first = words.find(|it| !it.is_empty())?;
    let rest: Vec<String> = words.filter(|it| !it.is_empty()).collect();
    // A longer name is that of a register, or of something else about the chip.
    let is_base =
        rest.iter().all(|it| matches!(it.as_str(), "base" | "adr" | "addr" | "address" | "port" | "chip" | "a" | "b"));
    let stem = first.strip_suffix("base").unwrap_or(&first);
    chips().iter().find(|chip| is_base && chip.tells.iter().any(|it| it == stem))
}

/// The chip whose part number stands in a text.
pub(crate) fn chip_of_text(text: &str) -> Option<&'static Chip> {
    let words = text.split(|it: char| !it.is_ascii_alphanumeric() && it != '-');
    words.filter(|it| it.len() >= 4 && it.bytes().any(|byte| byte.is_ascii_digit())).find_map(chip)
}

/// A frequency that stands in a text: `3.6864 MHz`, `153.6kHz`, `2457600 Hz`.
pub(crate) fn frequency(text: &str) -> Option<u32> {
    let lower = text.to_ascii_lowercase();
    for (unit, factor) in [("mhz", 1e6), ("khz", 1e3), ("hz", 1.0)] {
        for (at, _) in lower.match_indices(unit) {
            let before = lower[..at].trim_end_matches([' ', '-']);
            let start = before.rfind(|it: char| !it.is_ascii_digit() && it != '.').map_or(0, |it| it + 1);
            // Some sources write 3,6864.
            let digits = before.get(start..)?;
            let whole = before[..start].strip_suffix(',').map(|it| {
                let from = it.rfind(|it: char| !it.is_ascii_digit()).map_or(0, |it| it + 1);
                &it[from..]
            });
            let number = match whole.filter(|it| !it.is_empty()) {
                Some(whole) => format!("{whole}.{digits}").parse::<f64>(),
                None => digits.parse::<f64>(),
            };
            if let Ok(number) = number
                && (1_000.0..1e9).contains(&(number * factor))
            {
                return Some((number * factor).round() as u32);
            }
        }
    }
    None
}

/// The serial chips of a unit: those of the machine file, then those that names of the source tell.
pub(crate) fn ports(program: &Program, machine: &Machine, unit: &Unit, named: &NamedRegisters) -> Vec<Port> {
    let cpu = unit.settings(program).cpu;
    let mut found: Vec<Port> = Vec::new();
    for (serial, at) in &machine.serial {
        let Some(own) = chip(&serial.chip.value) else { continue };
        let channel = match &serial.channel {
            Some(name) => own.channel(&name.value),
            None if own.channels.len() == 1 => Some(0),
            None => None,
        };
        let base = on_bus(cpu, i64::from(serial.at.value));
        let stride = serial.stride.as_ref().map_or(1, |it| i64::from(it.value));
        let same = found
            .iter_mut()
            .find(|it| std::ptr::eq(it.chip, own) && it.base == base && it.stride == stride && !own.own_bases);
        if let Some(port) = same {
            port.entries.push((channel, serial.clone()));
            continue;
        }
        let named_variant = serial.variant.as_ref().and_then(|it| own.variant(&it.value));
        let variant = named_variant.or_else(|| own.variant(&serial.chip.value));
        let clock = match &serial.clock {
            Some(clock) => Clock { hertz: clock.value, from: ClockFrom::MachineFile, at: Some(*at) },
            None => clock_of(program, unit, named, own, variant, base, None),
        };
        found.push(Port {
            chip: own,
            base,
            stride,
            channel: if own.own_bases { channel.or(Some(0)) } else { None },
            variant: variant.or_else(|| by_clock(own, clock)),
            clock,
            timer: serial.timer.as_ref().map(|it| it.value),
            entries: vec![(channel, serial.clone())],
            at: *at,
        });
    }
    for port in by_names(program, unit, named) {
        let is_there = |it: &Port| it.covers(port.base) || port.covers(it.base);
        if !found.iter().any(is_there) {
            found.push(port);
        }
    }
    found
}

/// The only variant of a chip whose usual clock this is.
fn by_clock(chip: &'static Chip, clock: Clock) -> Option<&'static Variant> {
    let mut own = chip.variants.iter().filter(|it| it.clock == clock.hertz);
    own.next().filter(|_| clock.from != ClockFrom::Usual && own.next().is_none())
}

/// A group of constants whose values are the registers of one chip.
struct Group {
    chip: &'static Chip,
    stride: i64,
    base: i64,
    /// How many registers it names, each offset once.
    offsets: Vec<u32>,
    says_chip: bool,
    first: u32,
}

/// The chips that names of registers tell, by the addresses or distances that they are given.
fn by_names(program: &Program, unit: &Unit, named: &NamedRegisters) -> Vec<Port> {
    let groups = groups(unit, named);
    let mut found: Vec<Port> = Vec::new();
    let mut add = |chip: &'static Chip, base: i64, stride: i64, channel: Option<usize>, at: u32| {
        let Some(definition) = unit.definitions().get(at as usize) else { return };
        let Some(at) = label(program, definition) else { return };
        let text = comment(program, definition);
        let words = text.split(|it: char| !it.is_ascii_alphanumeric() && it != '-');
        let variant = words.filter(|it| it.len() > 3).find_map(|it| chip.variant(it));
        let clock = clock_of(program, unit, named, chip, variant, base, Some((definition, at)));
        let variant = variant.or_else(|| by_clock(chip, clock));
        let is_there = |it: &Port| it.base == on_bus(unit.settings(program).cpu, base) && it.channel == channel;
        if !found.iter().any(is_there) {
            found.push(Port {
                chip,
                base: on_bus(unit.settings(program).cpu, base),
                stride,
                channel,
                clock,
                variant,
                timer: None,
                entries: Vec::new(),
                at,
            });
        }
    };
    for group in groups.iter().filter(|it| it.base >= LOWEST) {
        if group.chip.own_bases {
            continue;
        }
        add(group.chip, group.base, group.stride, None, group.first);
    }
    for (at, value, chip) in &named.bases {
        if chip.own_bases {
            continue;
        }
        let distances = groups.iter().find(|it| std::ptr::eq(it.chip, *chip) && it.base < LOWEST);
        let (start, stride) = distances.map_or((0, USUAL_STRIDE), |it| (it.base, it.stride));
        add(chip, value + start, stride, None, *at);
    }
    // Control addresses of chips whose channels lie where the board wants them.
    for (at, value) in &named.hits {
        let Some(definition) = unit.definitions().get(*at as usize) else { continue };
        let own = named.registers.get(&definition.symbol).into_iter().flatten();
        for meaning in own.filter(|it| it.chip.own_bases && it.says_chip && it.register.index == Some(0)) {
            if *value >= LOWEST {
                // The data address tells the stride, where it has a name.
                let data = named.hits.iter().filter(|it| it.1 > *value && it.1 - value <= 8).find(|(other, _)| {
                    let other = unit.definitions().get(*other as usize);
                    let own = other.and_then(|it| named.registers.get(&it.symbol)).into_iter().flatten();
                    own.into_iter().any(|it| {
                        std::ptr::eq(it.chip, meaning.chip)
                            && it.channel == meaning.channel
                            && it.register.places.iter().any(|it| it.1 == 1)
                    })
                });
                let stride = data.map_or(USUAL_STRIDE, |it| it.1 - value);
                add(meaning.chip, *value, stride, Some(meaning.channel.unwrap_or(0)), *at);
            }
        }
    }
    found
}

/// Groups of register names that agree with each other, the largest of each chip; a name counts for one group alone.
fn groups(unit: &Unit, named: &NamedRegisters) -> Vec<Group> {
    let mut all: Vec<Group> = Vec::new();
    for stride in [2_i64, 1, 4, 8, 16] {
        for (at, value) in &named.hits {
            let Some(definition) = unit.definitions().get(*at as usize) else { continue };
            for meaning in named.registers.get(&definition.symbol).into_iter().flatten() {
                let places = meaning.register.places.iter();
                let places = places.filter(|it| it.0.is_none() || meaning.channel.is_none() || it.0 == meaning.channel);
                for (_, offset) in places {
                    let base = value - stride * i64::from(*offset);
                    // Distances start at the chip itself, or at the even address before it.
                    if base < LOWEST && !matches!(base, 0 | 1) {
                        continue;
                    }
                    let same = all
                        .iter_mut()
                        .find(|it| std::ptr::eq(it.chip, meaning.chip) && it.stride == stride && it.base == base);
                    match same {
                        Some(group) => {
                            if !group.offsets.contains(offset) {
                                group.offsets.push(*offset);
                            }
                            group.says_chip |= meaning.says_chip;
                        }
                        None => all.push(Group {
                            chip: meaning.chip,
                            stride,
                            base,
                            offsets: vec![*offset],
                            says_chip: meaning.says_chip,
                            first: *at,
                        }),
                    }
                }
            }
        }
    }
    // Three registers that lie as the chip has them are no chance; two are none where the names say the chip.
    all.retain(|it| it.offsets.len() >= if it.says_chip { 2 } else { 3 });
    all.sort_by_key(|it| (std::cmp::Reverse((it.offsets.len(), it.says_chip)), it.first));
    let mut best: Vec<Group> = Vec::new();
    for group in all {
        let overlaps = |it: &Group| {
            let reach = |it: &Group| it.base..it.base + it.stride * i64::from(it.chip.len());
            it.base == group.base
                || group.base != 0
                    && it.base != 0
                    && reach(it).start < reach(&group).end
                    && reach(&group).start < reach(it).end
        };
        if !best.iter().any(overlaps) {
            best.push(group);
        }
    }
    best
}

/// Where a definition gives its name.
pub(crate) fn label(program: &Program, definition: &Definition) -> Option<Evidence> {
    let file = program.file(definition.place.file)?;
    let (_, line, _) = file.at(definition.place.chunk, definition.place.line);
    Some(Evidence { place: definition.place, span: line.label })
}

/// What clocks a chip: by the comment of its address, by a constant whose name speaks of a clock, else the usual one.
fn clock_of(
    program: &Program,
    unit: &Unit,
    named: &NamedRegisters,
    chip: &'static Chip,
    variant: Option<&Variant>,
    base: i64,
    defined: Option<(&Definition, Evidence)>,
) -> Clock {
    let own = |it: &(u32, i64, &'static Chip)| it.1 == base && std::ptr::eq(it.2, chip);
    let by_base = named.bases.iter().find(|it| own(it)).and_then(|it| unit.definitions().get(it.0 as usize));
    let told = defined.map(|it| it.0).into_iter().chain(by_base);
    for definition in told {
        if let Some(hertz) = frequency(comment(program, definition)) {
            return Clock { hertz, from: ClockFrom::Comment, at: label(program, definition) };
        }
    }
    // A constant that is a usual clock of the chip, or the only one whose name has a word of the chip in it.
    let constants = named.clocks.iter().filter_map(|(at, value)| Some((unit.definitions().get(*at as usize)?, *value)));
    let fits = |it: &(&Definition, i64)| {
        let name = program.names().text(it.0.symbol).to_ascii_lowercase();
        u32::try_from(it.1).is_ok_and(|value| chip.clocks.contains(&value))
            || chip.words.iter().any(|word| name.contains(word.as_str()))
            || ["baud", "brg", "uart", "ser"].iter().any(|word| name.contains(word))
    };
    let found = constants.into_iter().find(fits);
    if let Some((definition, value)) = found
        && let Ok(hertz) = u32::try_from(value)
    {
        return Clock { hertz, from: ClockFrom::Constant, at: label(program, definition) };
    }
    let usual = variant.map_or_else(|| chip.clocks.first().copied().unwrap_or(1), |it| it.clock);
    Clock { hertz: usual, from: ClockFrom::Usual, at: None }
}

#[cfg(test)]
mod tests {
    use super::{chip_of_name, chip_of_text, frequency};

    #[test]
    fn frequencies_stand_in_comments() {
        assert_eq!(frequency("MC68681, 3.6864 MHz; mode registers here"), Some(3_686_400));
        assert_eq!(frequency("clock 153.6kHz from the divider"), Some(153_600));
        assert_eq!(frequency("Takt 2,4576 MHz"), Some(2_457_600));
        assert_eq!(frequency("4 MHz"), Some(4_000_000));
        assert_eq!(frequency("as fast as the MHz allow"), None);
        assert_eq!(frequency("50 Hz from the mains"), None);
    }

    #[test]
    fn names_and_part_numbers_tell_chips() {
        let name = |it: &str| chip_of_name(it).map(|it| it.name.as_str());
        assert_eq!(name("DUART"), Some("mc68681"));
        assert_eq!(name("ACIA1"), Some("mc6850"));
        assert_eq!(name("SCCBASE"), Some("z8530"));
        assert_eq!(name("duart_init"), None);
        assert_eq!(name("UART"), None);
        let text = |it: &str| chip_of_text(it).map(|it| it.name.as_str());
        assert_eq!(text("console: MC68B50 at 1 MHz"), Some("mc6850"));
        assert_eq!(text("the 16550A"), Some("ns16450"));
        assert_eq!(text("8253 timer"), None);
    }
}
