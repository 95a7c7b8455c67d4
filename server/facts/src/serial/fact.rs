//! A line's settings as a fact: what they are, and which lines of the source decided each.

use reveille_decoders::serial::{Chip, Item, Line, Outside, Port as Place, Rate, Register, Session, Touched, Variant};

use super::ports::{Clock, Port};
use crate::finding::Evidence;

/// How a source sets a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Form {
    /// By instructions.
    Code,
    /// By a table that some routine sends to the chip.
    Table,
    /// By constants that have the names of registers.
    Constants,
}

impl Form {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Code => "code",
            Self::Table => "table",
            Self::Constants => "constants",
        }
    }
}

/// A value on its way to a register.
#[derive(Clone, Debug)]
pub struct RegisterWrite {
    /// The register.
    pub register: &'static Register,
    /// Its channel; none for what all share.
    pub channel: Option<usize>,
    /// The value; none if it is not known.
    pub value: Option<u32>,
    /// Where it is written.
    pub at: Evidence,
    /// Where the value stands, if not there.
    pub value_at: Option<Evidence>,
}

/// An access of an instruction to a register.
#[derive(Clone, Debug)]
pub struct RegisterUse {
    /// What the line is called, or the chip where its channels share the register.
    pub name: String,
    /// The chip.
    pub chip: &'static Chip,
    /// The register.
    pub register: &'static Register,
    /// Whether it is written, and not read.
    pub is_write: bool,
    /// What is written, where that is known.
    pub value: Option<u32>,
    /// The operand.
    pub at: Evidence,
    /// Where the value stands.
    pub value_at: Option<Evidence>,
}

/// What a serial line is set to.
#[derive(Clone, Debug)]
pub struct LineFact {
    /// What the line is called.
    pub name: String,
    /// The chip.
    pub chip: &'static Chip,
    /// Its address, where it is known.
    pub address: Option<i64>,
    /// The channel's place among the chip's.
    pub channel: usize,
    /// What clocks the chip.
    pub clock: Clock,
    /// The variant that the rates are those of.
    pub variant: Option<&'static Variant>,
    /// Where nobody says which variant it is: each with the rates it would make, of receiver and transmitter.
    pub candidates: Vec<(&'static Variant, Option<String>)>,
    /// How the source sets it.
    pub form: Form,
    /// The label of the routine or table, where there is one.
    pub subject: Option<String>,
    /// The settings; their tags are places in `writes`.
    pub line: Line,
    /// What is written, in order.
    pub writes: Vec<RegisterWrite>,
    /// Where it starts.
    pub at: Evidence,
    /// What the machine file says of the socket: its kind, and whose pins it has.
    pub socket: (Option<&'static str>, Option<&'static str>),
}

impl LineFact {
    /// Where a setting was decided: each write once, and the value where that stands elsewhere.
    #[must_use]
    pub fn evidence(&self, tags: &[usize]) -> Vec<Evidence> {
        let mut found = Vec::new();
        for it in tags.iter().filter_map(|tag| self.writes.get(*tag)) {
            for at in std::iter::once(it.at).chain(it.value_at) {
                if !found.contains(&at) {
                    found.push(at);
                }
            }
        }
        found
    }

    /// The channel's letter in capitals, for chips that have several.
    #[must_use]
    pub fn letter(&self) -> Option<String> {
        let letter = self.chip.channels.get(self.channel).filter(|_| self.chip.channels.len() > 1)?;
        Some(letter.to_ascii_uppercase())
    }

    /// The settings in a few words: `9600 8N1`, with what is not known left out.
    #[must_use]
    pub fn words(&self) -> String {
        let rates = if self.candidates.is_empty() {
            self.line.rates()
        } else {
            let each: Vec<_> = self.candidates.iter().filter_map(|it| it.1.clone()).collect();
            let mut each: Vec<String> = each;
            each.dedup();
            Some(each.join(" or ")).filter(|it| !it.is_empty())
        };
        let rates = rates.unwrap_or_else(|| "rate not known".to_owned());
        let framing = self.line.framing().unwrap_or_else(|| {
            let parts = [
                self.line.data.as_ref().map(|it| format!("{} data bits", it.value)),
                self.line.parity.as_ref().map(|it| format!("parity {}", it.value)),
                self.line.stop().map(|it| format!("{it} stop bits")),
            ];
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            if parts.is_empty() { "framing not known".to_owned() } else { parts.join(", ") }
        });
        format!("{rates} {framing}")
    }

    /// The receiver's rate and the transmitter's.
    pub fn rates(&self) -> impl Iterator<Item = (&'static str, &Rate)> {
        [("receives", &self.line.rx), ("sends", &self.line.tx)]
            .into_iter()
            .filter_map(|it| Some((it.0, it.1.as_ref()?)))
    }
}

/// A step on the way to a setting.
#[derive(Clone, Debug)]
pub(super) struct Step {
    /// The register's number on the chip's address lines, or the register itself where it is named.
    pub(super) to: To,
    /// The value; none if it is not known.
    pub(super) value: Option<u32>,
    pub(super) at: Evidence,
    pub(super) value_at: Option<Evidence>,
}

/// Where a step goes.
#[derive(Clone, Copy, Debug)]
pub(super) enum To {
    /// A write by address.
    Write(u32),
    /// A read by address.
    Read(u32),
    /// A write to a register that is named.
    Named(&'static Register, Option<usize>),
}

/// What steps make of the lines of a port. `told` hears what each step has met.
pub(super) fn settle(
    port: &Port,
    steps: &[Step],
    form: Form,
    subject: Option<&str>,
    told: &mut dyn FnMut(usize, Option<Touched<'static>>),
) -> Vec<LineFact> {
    let chip = port.chip;
    let mut session = Session::new(chip);
    let mut writes: Vec<RegisterWrite> = Vec::new();
    for (at, step) in steps.iter().enumerate() {
        let tag = writes.len();
        let mut push = |register: &'static Register, channel| {
            let (value, at, value_at) = (step.value, step.at, step.value_at);
            writes.push(RegisterWrite { register, channel, value, at, value_at });
        };
        let place = |offset| Place { offset, channel: port.channel };
        match step.to {
            To::Write(offset) => {
                let touched = session.write(place(offset), step.value, tag);
                if let Some(it) = touched {
                    push(it.register, it.channel);
                }
                told(at, touched);
            }
            To::Read(offset) => told(at, session.read(place(offset))),
            To::Named(register, channel) => {
                let channel = channel.or(port.channel);
                session.write_named(register, channel, step.value, tag);
                push(register, if register.is_shared { None } else { channel.or(Some(0)) });
            }
        }
    }
    let channels = 0..chip.channels.len();
    let own = channels.filter(|it| port.channel.is_none_or(|own| own == *it) && session.has_fields(*it));
    own.filter_map(|channel| fact(port, &session, channel, &writes, form, subject)).collect()
}

/// The fact of one channel; none where nothing of its line is known.
fn fact(
    port: &Port,
    session: &Session<'static>,
    channel: usize,
    writes: &[RegisterWrite],
    form: Form,
    subject: Option<&str>,
) -> Option<LineFact> {
    let line_of = |variant: Option<&'static Variant>| {
        let timer = port.entry(channel).and_then(|it| it.timer.as_ref().map(|it| it.value)).or(port.timer);
        session.line(channel, &Outside { clock: port.clock.hertz, variant: variant.map(|it| it.name.as_str()), timer })
    };
    let mut line = line_of(port.variant);
    let mut candidates = Vec::new();
    if port.variant.is_none() && !port.chip.variants.is_empty() {
        for variant in &port.chip.variants {
            // Without a word of its clock each variant has its own.
            let hertz =
                if port.clock.from == super::ports::ClockFrom::Usual { variant.clock } else { port.clock.hertz };
            let outside = Outside { clock: hertz, variant: Some(&variant.name), timer: None };
            candidates.push((variant, session.line(channel, &outside).rates()));
        }
        // What all variants agree on is no matter of the variant.
        if candidates.iter().all(|it| it.1 == candidates[0].1) {
            line = line_of(port.chip.variants.first());
            candidates.clear();
        }
    }
    let tags = line.tags();
    if line.is_empty() && line.wrong.is_empty() && candidates.iter().all(|it| it.1.is_none()) {
        return None;
    }
    let first = tags.first().and_then(|it| writes.get(*it)).or(writes.first())?;
    let entry = port.entry(channel);
    Some(LineFact {
        name: port.name(channel),
        chip: port.chip,
        address: (port.base > 0).then_some(port.base),
        channel,
        clock: port.clock,
        variant: port.variant,
        candidates,
        form,
        subject: subject.map(str::to_owned),
        at: first.at,
        line,
        writes: writes.to_vec(),
        socket: (
            entry.and_then(|it| it.connector.as_ref().map(|it| it.value)),
            entry.and_then(|it| it.wired.as_ref().map(|it| it.value)),
        ),
    })
}

/// A setting as text, with what decided it.
pub(super) fn differs<T: PartialEq>(one: Option<&Item<T>>, other: Option<&Item<T>>) -> bool {
    matches!((one, other), (Some(one), Some(other)) if one.value != other.value)
}
