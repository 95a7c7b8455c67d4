//! Families of constants by which a source chooses rates and frames: `B9600 EQU $BB`, `PAREVEN EQU $18`.
//!
//! A name says what a constant is to select; the values of all together tell for which register of which chip they are.

use reveille_decoders::serial::{Chip, Outside, RateConstant, Register, Session, chips, standard_rates};
use reveille_program::{DefinitionKind, Program, Symbol, Unit, Value};

use super::ports::{Clock, ClockFrom, Port, label};
use crate::finding::{Evidence, Finding};

/// What a constant is to select, by its name.
#[derive(Clone, Debug, PartialEq)]
pub enum Selects {
    /// A rate in bit/s.
    Rate(f64),
    /// A number of data bits.
    Data(i64),
    /// A parity.
    Parity(&'static str),
    /// A number of stop bits, in sixteenths of a bit.
    Stop(i64),
    /// Data bits, parity, stop bits in sixteenths.
    Frame(i64, &'static str, i64),
}

impl Selects {
    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Rate(rate) => format!("{rate} bit/s"),
            Self::Data(bits) => format!("{bits} data bits"),
            Self::Parity("none") => "no parity".to_owned(),
            Self::Parity(parity) => format!("{parity} parity"),
            Self::Stop(stop) => format!("{} stop bits", *stop as f64 / 16.0),
            Self::Frame(data, parity, stop) => {
                format!("{data}{}{}", parity[..1].to_ascii_uppercase(), *stop as f64 / 16.0)
            }
        }
    }
}

/// A constant of a family.
#[derive(Clone, Debug)]
pub struct Member {
    /// Its name.
    pub name: String,
    /// The name's number.
    pub symbol: Symbol,
    /// What its name says.
    pub selects: Selects,
    /// Its value.
    pub value: i64,
    /// The rate that the chip makes of it, in bit/s.
    pub exact: Option<f64>,
    /// Whether it selects what its name says.
    pub fits: bool,
    /// Where it is defined.
    pub at: Evidence,
}

impl Member {
    /// How far the rate is from what the name says, in per cent.
    #[must_use]
    pub fn error(&self) -> Option<f64> {
        match self.selects {
            Selects::Rate(rate) => Some((self.exact? / rate - 1.0) * 100.0),
            _ => None,
        }
    }
}

/// Constants that together select rates, or frames, of one chip.
#[derive(Clone, Debug)]
pub struct FamilyFact {
    /// The chip.
    pub chip: &'static Chip,
    /// The register that they are for.
    pub register: &'static Register,
    /// What kind of value they are, in a few words.
    pub title: String,
    /// The clock that the rates are made of; none for frames.
    pub clock: Option<Clock>,
    /// The constants in the order of the source.
    pub members: Vec<Member>,
}

impl FamilyFact {
    /// The constant of a name.
    #[must_use]
    pub fn member(&self, symbol: Symbol) -> Option<&Member> {
        self.members.iter().find(|it| it.symbol == symbol)
    }

    /// What a value with parts of several constants selects in the register: data bits, parity, stop bits.
    #[must_use]
    pub fn frame_of(&self, value: i64) -> Option<String> {
        let value = u32::try_from(value).ok()?;
        let line = frame(self.chip, self.register, value);
        let parts = [
            line.framing(),
            line.data.as_ref().filter(|_| line.framing().is_none()).map(|it| format!("{} data bits", it.value)),
            line.parity.as_ref().filter(|_| line.framing().is_none()).map(|it| format!("parity {}", it.value)),
            line.stop().filter(|_| line.framing().is_none()).map(|it| format!("{it} stop bits")),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    }
}

/// Words before or behind a rate in a name. Common practice, no source.
const RATE_WORDS: &[&str] = &[
    "b",
    "bd",
    "br",
    "baud",
    "bps",
    "rate",
    "dr",
    "r",
    "speed",
    "spd",
    "sp",
    "ser",
    "tx",
    "rx",
    "txrx",
    "brg",
    "tc",
    "div",
    "bauds",
    "baudrate",
    "bdrate",
    "csr",
    "clk",
    "s",
    "ttyb",
    "datarate",
    "timeconst",
];

/// A spelling of a part of a name, and what it says. Longer ones before those that they contain. Common practice, no source.
const FRAME_WORDS: &[(&str, Selects)] = &[
    ("noparity", Selects::Parity("none")),
    ("parnone", Selects::Parity("none")),
    ("paritynone", Selects::Parity("none")),
    ("parno", Selects::Parity("none")),
    ("nopar", Selects::Parity("none")),
    ("nonepar", Selects::Parity("none")),
    ("parityeven", Selects::Parity("even")),
    ("evenparity", Selects::Parity("even")),
    ("pareven", Selects::Parity("even")),
    ("parevn", Selects::Parity("even")),
    ("evenpar", Selects::Parity("even")),
    ("evenp", Selects::Parity("even")),
    ("peven", Selects::Parity("even")),
    ("parityodd", Selects::Parity("odd")),
    ("oddparity", Selects::Parity("odd")),
    ("parodd", Selects::Parity("odd")),
    ("oddpar", Selects::Parity("odd")),
    ("oddp", Selects::Parity("odd")),
    ("podd", Selects::Parity("odd")),
    ("stopbits15", Selects::Stop(24)),
    ("stopbits1", Selects::Stop(16)),
    ("stopbits2", Selects::Stop(32)),
    ("stopbit1", Selects::Stop(16)),
    ("stopbit2", Selects::Stop(32)),
    ("stop15", Selects::Stop(24)),
    ("stop1", Selects::Stop(16)),
    ("stop2", Selects::Stop(32)),
    ("onestop", Selects::Stop(16)),
    ("twostop", Selects::Stop(32)),
    ("1stop", Selects::Stop(16)),
    ("2stop", Selects::Stop(32)),
    ("stb1", Selects::Stop(16)),
    ("stb2", Selects::Stop(32)),
    ("sb1", Selects::Stop(16)),
    ("sb2", Selects::Stop(32)),
];

/// Words before or behind a number of data bits. Common practice, no source.
const DATA_WORDS: &[&str] = &[
    "bits", "bit", "databits", "data", "cs", "wl", "len", "length", "chars", "char", "word", "wordlen", "nb", "dbits",
    "db", "ndb", "d",
];

/// What a name says that its constant selects.
fn selects(name: &str) -> Option<Selects> {
    let plain: String = name.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_lowercase();
    if plain.len() > 20 {
        return None;
    }
    if let Some((_, found)) = FRAME_WORDS.iter().find(|it| plain.ends_with(it.0) || plain.starts_with(it.0)) {
        return Some(found.clone());
    }
    frame_name(&plain).or_else(|| rate_name(&plain)).or_else(|| data_name(&plain))
}

/// `A_81N`, `fmt8n1`, `8E2`: data bits, parity and stop bits in either order.
fn frame_name(plain: &str) -> Option<Selects> {
    let tail: Vec<u8> = plain.bytes().rev().take(3).collect();
    let [third, second, first] = tail[..] else { return None };
    let parity = |it: u8| match it {
        b'n' => Some("none"),
        b'e' => Some("even"),
        b'o' => Some("odd"),
        _ => None,
    };
    let (data, stop, parity) = match (first, second, third) {
        (data, stop @ b'1'..=b'2', letter) if parity(letter).is_some() => (data, stop, parity(letter)?),
        (data, letter, stop @ b'1'..=b'2') => (data, stop, parity(letter)?),
        _ => return None,
    };
    let before = plain.len() - 3;
    let is_alone = !plain[..before].ends_with(|it: char| it.is_ascii_digit());
    (matches!(data, b'5'..=b'8') && is_alone)
        .then(|| Selects::Frame(i64::from(data - b'0'), parity, 16 * i64::from(stop - b'0')))
}

fn number_in(plain: &str) -> Option<(&str, &str, &str)> {
    let start = plain.find(|it: char| it.is_ascii_digit())?;
    let end = plain[start..].find(|it: char| !it.is_ascii_digit()).map_or(plain.len(), |it| start + it);
    Some((&plain[..start], &plain[start..end], &plain[end..]))
}

fn rate_name(plain: &str) -> Option<Selects> {
    let (before, digits, behind) = number_in(plain)?;
    let number = digits.parse::<f64>().ok()?;
    // 19k2 is 19200, and 134 or 1345 is 134.5.
    let (rate, behind) = match behind.strip_prefix('k') {
        Some(rest) => {
            let part: String = rest.chars().take_while(char::is_ascii_digit).collect();
            let hundreds = part.chars().next().and_then(|it| it.to_digit(10)).unwrap_or(0);
            (number * 1000.0 + f64::from(hundreds) * 100.0, &rest[part.len()..])
        }
        None if matches!(digits, "134" | "1345") => (134.5, behind),
        None if matches!(digits, "45" | "455") => (45.45, behind),
        None => (number, behind),
    };
    if behind.contains(|it: char| it.is_ascii_digit()) || !standard_rates().any(|it| (it - rate).abs() < 0.01) {
        return None;
    }
    let is_word =
        |it: &str| it.is_empty() || RATE_WORDS.iter().any(|word| it == *word || it.ends_with(word) && word.len() > 2);
    (is_word(before)
        && (behind.is_empty() || RATE_WORDS.contains(&behind))
        && !(before.is_empty() && behind.is_empty()))
    .then_some(Selects::Rate(rate))
}

fn data_name(plain: &str) -> Option<Selects> {
    let (before, digits, behind) = number_in(plain)?;
    let bits = digits.parse::<i64>().ok().filter(|it| (5..=8).contains(it))?;
    let word = match (before.is_empty(), behind.is_empty()) {
        (false, true) => before,
        (true, false) => behind,
        _ => return None,
    };
    DATA_WORDS.iter().any(|it| word == *it || it.len() > 3 && word.ends_with(it)).then_some(Selects::Data(bits))
}

/// What a register alone makes of a value.
fn frame(chip: &'static Chip, register: &'static Register, value: u32) -> reveille_decoders::serial::Line {
    let mut session = Session::new(chip);
    session.write_named(register, Some(0), Some(value), 0);
    session.line(0, &Outside { clock: chip.clocks.first().copied().unwrap_or(1), variant: None, timer: None })
}

/// The families of a unit's constants.
pub(super) fn families(program: &Program, unit: &Unit, ports: &[Port]) -> Vec<FamilyFact> {
    let mut members: Vec<Member> = Vec::new();
    for definition in unit.definitions() {
        if !matches!(definition.kind, DefinitionKind::Equate | DefinitionKind::Set) {
            continue;
        }
        let Value::Number(value @ 0..=0xffff) = definition.value else { continue };
        let name = program.names().text(definition.symbol);
        let Some(selects) = selects(&name) else { continue };
        // A constant that is the number itself selects nothing.
        let is_number = matches!(selects, Selects::Rate(rate) if value as f64 == rate)
            || matches!(selects, Selects::Data(bits) if value == bits);
        if is_number {
            continue;
        }
        let Some(at) = label(program, definition) else { continue };
        members.push(Member {
            name: name.to_string(),
            symbol: definition.symbol,
            selects,
            value,
            exact: None,
            fits: false,
            at,
        });
    }
    let (rates, frames): (Vec<Member>, Vec<Member>) =
        members.into_iter().partition(|it| matches!(it.selects, Selects::Rate(_)));
    let mut found: Vec<FamilyFact> = rate_families(ports, rates);
    found.extend(frame_family(ports, &frames));
    found
}

/// Groups of rate constants with one name but for the rate, each with the chip and clock that make of it what the names say.
fn rate_families(ports: &[Port], members: Vec<Member>) -> Vec<FamilyFact> {
    let stem = |it: &Member| -> String {
        it.name.chars().filter(|it| !it.is_ascii_digit()).collect::<String>().to_ascii_lowercase()
    };
    let mut groups: Vec<(String, Vec<Member>)> = Vec::new();
    for member in members {
        let own = stem(&member).replace('k', "");
        match groups.iter_mut().find(|it| it.0 == own) {
            Some(group) => group.1.push(member),
            None => groups.push((own, vec![member])),
        }
    }
    groups.into_iter().filter_map(|(_, group)| rate_family(ports, group)).collect()
}

/// A way to read rate constants, and how well it does.
struct Reading {
    chip: &'static Chip,
    kind: &'static RateConstant,
    clock: Clock,
    fitting: usize,
    /// The sum of the errors of what fits, in per cent.
    off: f64,
    is_port: bool,
}

/// How far a constant may be off and still be meant, in per cent: a good table has a bad row now and then.
const MEANT_WITHIN: f64 = 7.5;

fn rate_family(ports: &[Port], mut members: Vec<Member>) -> Option<FamilyFact> {
    if members.len() < 3 {
        return None;
    }
    let mut best: Option<Reading> = None;
    for chip in chips() {
        let own = ports.iter().filter(|it| std::ptr::eq(it.chip, chip));
        for kind in &chip.rate_constants {
            let mut clocks: Vec<(Clock, bool)> = own.clone().map(|it| (it.clock, true)).collect();
            let variant = kind.variant.as_deref().and_then(|it| chip.variant(it));
            let usual = match variant {
                Some(variant) => vec![variant.clock],
                None => chip.clocks.clone(),
            };
            let new = |hertz| (Clock { hertz, from: ClockFrom::Usual, at: None }, own.clone().next().is_some());
            clocks.extend(usual.into_iter().map(new));
            for (clock, is_port) in clocks {
                let errors = members.iter().filter_map(|it| {
                    let exact = f64::from(clock.hertz) / chip.divide_of(kind, it.value)? as f64;
                    let Selects::Rate(rate) = it.selects else { return None };
                    Some((exact / rate - 1.0).abs() * 100.0)
                });
                let fitting: Vec<f64> = errors.filter(|it| *it <= MEANT_WITHIN).collect();
                let reading = Reading { chip, kind, clock, fitting: fitting.len(), off: fitting.iter().sum(), is_port };
                let is_better = |it: &Reading| {
                    let rank = |it: &Reading| (it.fitting, it.is_port, it.clock.from != ClockFrom::Usual);
                    rank(&reading) > rank(it) || rank(&reading) == rank(it) && reading.off < it.off
                };
                if best.as_ref().is_none_or(is_better) {
                    best = Some(reading);
                }
            }
        }
    }
    let best = best.filter(|it| it.fitting >= 3 && it.fitting * 4 >= members.len() * 3)?;
    for member in &mut members {
        let exact = best.chip.divide_of(best.kind, member.value).map(|it| f64::from(best.clock.hertz) / it as f64);
        member.exact = exact;
        member.fits = member.error().is_some_and(|it| it.abs() <= MEANT_WITHIN);
    }
    let register = best.chip.register(&best.kind.register)?;
    Some(FamilyFact { chip: best.chip, register, title: best.kind.title.clone(), clock: Some(best.clock), members })
}

/// The constants of frames that one register of one chip makes what their names say of.
fn frame_family(ports: &[Port], members: &[Member]) -> Vec<FamilyFact> {
    let mut left: Vec<Member> = members.to_vec();
    let mut found = Vec::new();
    while left.len() >= 2 {
        let fits = |chip: &'static Chip, register: &'static Register, it: &Member| {
            let line = frame(chip, register, it.value as u32);
            let data = || line.data.as_ref().map(|it| it.value);
            let parity = || line.parity.as_ref().map(|it| it.value.as_str());
            let stop = || line.stop_16.as_ref().map(|it| it.value);
            match it.selects {
                Selects::Rate(_) => false,
                Selects::Data(bits) => data() == Some(bits),
                Selects::Parity(own) => parity() == Some(own),
                Selects::Stop(own) => stop() == Some(own),
                Selects::Frame(bits, own, stops) => {
                    data() == Some(bits) && parity() == Some(own) && stop() == Some(stops)
                }
            }
        };
        let registers = chips().iter().flat_map(|chip| chip.registers.iter().map(move |it| (chip, it)));
        let registers = registers.filter(|it| it.1.can_write && !it.1.fields.is_empty());
        let best = registers
            .map(|(chip, register)| {
                let count = left.iter().filter(|it| fits(chip, register, it)).count();
                let is_port = ports.iter().any(|it| std::ptr::eq(it.chip, chip));
                (is_port, count, chip, register)
            })
            .max_by_key(|it| if it.1 >= 2 { (it.0, it.1) } else { (false, 0) });
        let Some((_, count, chip, register)) = best else { break };
        // Zeros fit many registers; what says nothing but zeros is no family.
        let (mut own, rest): (Vec<Member>, Vec<Member>) = left.into_iter().partition(|it| fits(chip, register, it));
        if count < 2 || own.iter().filter(|it| it.value != 0).count() < 2 || own.len() < 2 {
            break;
        }
        for member in &mut own {
            member.fits = true;
        }
        found.push(FamilyFact { chip, register, title: register.title.clone(), clock: None, members: own });
        left = rest;
    }
    found
}

/// Constants that do not select what their names say, or not near enough.
pub(super) fn family_findings(families: &[FamilyFact]) -> Vec<Finding> {
    let mut found = Vec::new();
    for family in families {
        let Some(clock) = family.clock else { continue };
        for member in &family.members {
            let Selects::Rate(rate) = member.selects else { continue };
            let Some((exact, error)) = member.exact.zip(member.error()) else { continue };
            let (code, verdict) = match error.abs() {
                it if it > MEANT_WITHIN => {
                    ("serial-014", "it is no value for this rate: correct the value or the name")
                }
                it if it > reveille_decoders::serial::BUDGET.severe_above => {
                    ("serial-001", "a line at this rate will probably fail")
                }
                it if it > reveille_decoders::serial::BUDGET.warn_above => {
                    ("serial-002", "a line at this rate leaves the other end little")
                }
                _ => continue,
            };
            let message = format!(
                "`{}` makes {exact:.1} bit/s of {} Hz ({} of the {}), {error:+.2} % from {rate}: {verdict}",
                member.name, clock.hertz, family.title, family.chip.name
            );
            found.push(Finding::new(code, member.at, message));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::{Selects, selects};

    #[test]
    fn names_say_what_they_select() {
        assert_eq!(selects("B9600"), Some(Selects::Rate(9600.0)));
        assert_eq!(selects("BAUD_19K2"), Some(Selects::Rate(19200.0)));
        assert_eq!(selects("BR134"), Some(Selects::Rate(134.5)));
        assert_eq!(selects("rate110"), Some(Selects::Rate(110.0)));
        assert_eq!(selects("BITS8"), Some(Selects::Data(8)));
        assert_eq!(selects("CS7"), Some(Selects::Data(7)));
        assert_eq!(selects("A_81N"), Some(Selects::Frame(8, "none", 16)));
        assert_eq!(selects("FMT7E2"), Some(Selects::Frame(7, "even", 32)));
        assert_eq!(selects("PAREVEN"), Some(Selects::Parity("even")));
        assert_eq!(selects("STOP2"), Some(Selects::Stop(32)));
        assert_eq!(selects("LOOP8"), None);
        assert_eq!(selects("SEC9600"), None);
        assert_eq!(selects("X12345"), None);
    }
}
