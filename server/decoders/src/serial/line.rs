//! What a line is set to, and how far its rate is off.

use std::cell::RefCell;
use std::sync::LazyLock;

use serde::Deserialize;

use super::session::{Outside, Session};
use crate::{Formula, Scalar};

/// A setting, and the tags of the accesses that decided it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item<T> {
    /// The setting.
    pub value: T,
    /// The accesses.
    pub tags: Vec<usize>,
}

/// The rate of one direction.
#[derive(Clone, Debug, PartialEq)]
pub struct Rate {
    /// Bits a second as the chip makes them; none where a clock decides that nobody knows.
    pub exact: Option<f64>,
    /// The rate that is meant, in bit/s; none where no standard rate is near.
    pub nominal: Option<f64>,
    /// How it is made, in words.
    pub text: String,
    /// What the clock is divided by.
    pub divide: Option<i64>,
    /// It never runs.
    pub is_stopped: bool,
    /// The values are none that the chip allows.
    pub is_wrong: bool,
    /// The accesses.
    pub tags: Vec<usize>,
}

impl Rate {
    /// How far the rate is from what is meant, in per cent of that.
    #[must_use]
    pub fn error(&self) -> Option<f64> {
        Some((self.exact? / self.nominal? - 1.0) * 100.0)
    }
}

/// What a channel's line is set to. What no access decided is not there.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Line {
    /// Data bits of what is sent, and received unless `data_rx` differs.
    pub data: Option<Item<i64>>,
    /// Data bits of what is received, for chips that set them apart.
    pub data_rx: Option<Item<i64>>,
    /// `none`, `odd`, `even`, `mark`, `space`, `multidrop`.
    pub parity: Option<Item<String>>,
    /// Stop bits in sixteenths of a bit.
    pub stop_16: Option<Item<i64>>,
    /// The rate of the receiver.
    pub rx: Option<Rate>,
    /// The rate of the transmitter.
    pub tx: Option<Rate>,
    /// What holds the line up, in words.
    pub flow: Vec<Item<String>>,
    /// RTS: `asserted` or `negated`.
    pub rts: Option<Item<String>>,
    /// DTR: `asserted` or `negated`.
    pub dtr: Option<Item<String>>,
    /// Which interrupts are on, in words.
    pub irq: Option<Item<String>>,
    /// Whether the receiver is on.
    pub receiver: Option<Item<i64>>,
    /// Whether the transmitter is on.
    pub transmitter: Option<Item<i64>>,
    /// What else matters to whoever sits at the other end.
    pub notes: Vec<Item<String>>,
    /// What the chip does not allow.
    pub wrong: Vec<Item<String>>,
}

impl Line {
    /// Whether enough is known to set a terminal: data bits, parity, stop bits and a rate.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.data.is_some()
            && self.parity.is_some()
            && self.stop_16.is_some()
            && (self.rx.is_some() || self.tx.is_some())
    }

    /// Whether nothing of it is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.data.is_none() && self.parity.is_none() && self.stop_16.is_none() && self.rx.is_none() && self.tx.is_none()
    }

    /// Stop bits as a number.
    #[must_use]
    pub fn stop(&self) -> Option<f64> {
        self.stop_16.as_ref().map(|it| it.value as f64 / 16.0)
    }

    /// Data bits, parity and stop bits: `8N1`.
    #[must_use]
    pub fn framing(&self) -> Option<String> {
        let parity = self.parity.as_ref()?.value.chars().next()?.to_ascii_uppercase();
        Some(format!("{}{parity}{}", self.data.as_ref()?.value, number(self.stop()?)))
    }

    /// Rate and framing, as people write them: `9600 8N1`, `1200/75 7E1` where receiving and sending differ. None where a part is not known.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        Some(format!("{} {}", self.rates()?, self.framing()?))
    }

    /// The rates that are meant: one, or that of the receiver before that of the transmitter.
    #[must_use]
    pub fn rates(&self) -> Option<String> {
        let shown = |it: &Rate| it.nominal.or(it.exact).map(number);
        match (&self.rx, &self.tx) {
            (Some(rx), Some(tx)) => {
                let (rx, tx) = (shown(rx)?, shown(tx)?);
                Some(if rx == tx { rx } else { format!("{rx}/{tx}") })
            }
            (Some(only), None) | (None, Some(only)) => shown(only),
            (None, None) => None,
        }
    }

    /// Bits of a frame up to the stop bit that a receiver looks at.
    #[must_use]
    pub fn frame_bits(&self) -> i64 {
        let parity = self.parity.as_ref().is_some_and(|it| it.value != "none");
        2 + self.data.as_ref().map_or(8, |it| it.value) + i64::from(parity)
    }

    /// All accesses that decided something, each once, in their order.
    #[must_use]
    pub fn tags(&self) -> Vec<usize> {
        let mut found: Vec<usize> = Vec::new();
        found.extend(self.data.iter().chain(&self.data_rx).chain(&self.stop_16).flat_map(|it| &it.tags));
        found.extend(self.receiver.iter().chain(&self.transmitter).flat_map(|it| &it.tags));
        found.extend(self.parity.iter().chain(&self.rts).chain(&self.dtr).chain(&self.irq).flat_map(|it| &it.tags));
        found.extend(self.flow.iter().chain(&self.notes).chain(&self.wrong).flat_map(|it| &it.tags));
        found.extend(self.rx.iter().chain(&self.tx).flat_map(|it| &it.tags));
        found.sort_unstable();
        found.dedup();
        found
    }
}

/// A number without digits that say nothing: `9600`, `134.5`, `109.92`.
fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Tags in the order of the accesses.
fn sorted(used: &RefCell<Vec<usize>>) -> Vec<usize> {
    let mut tags = used.borrow().clone();
    tags.sort_unstable();
    tags
}

impl Session<'_> {
    /// What a channel's line is set to by the accesses so far.
    #[must_use]
    pub fn line(&self, channel: usize, outside: &Outside<'_>) -> Line {
        let chip = self.chip;
        let value = |formula: &Formula| {
            let used = RefCell::new(Vec::new());
            let value = formula.value(&self.names(channel, None, outside, &used))?;
            Some(Item { value, tags: sorted(&used) })
        };
        let formula = |name: &str| chip.line.iter().find(|it| it.0 == name).and_then(|it| value(&it.1));
        let text = |name: &str| match formula(name)? {
            Item { value: Scalar::Text(value), tags } => Some(Item { value, tags }),
            _ => None,
        };
        let count = |name: &str| {
            let item = formula(name)?;
            Some(Item { value: item.value.number()?, tags: item.tags })
        };
        let told = |notes: &[super::Note]| {
            let holds = notes.iter().filter_map(|note| {
                let item = value(&note.when)?;
                (item.value.number()? != 0).then(|| Item { value: note.text.clone(), tags: item.tags })
            });
            // What holds because of nothing that was written is not told.
            holds.filter(|it| !it.tags.is_empty()).collect::<Vec<_>>()
        };
        Line {
            data: count("data"),
            data_rx: count("data_rx"),
            parity: text("parity"),
            stop_16: count("stop"),
            rx: self.rate(channel, 0, outside),
            tx: self.rate(channel, 1, outside),
            flow: told(&chip.flow),
            rts: text("rts"),
            dtr: text("dtr"),
            irq: text("irq"),
            receiver: count("receiver"),
            transmitter: count("transmitter"),
            notes: told(&chip.notes),
            wrong: told(&chip.wrong),
        }
    }

    fn rate(&self, channel: usize, side: usize, outside: &Outside<'_>) -> Option<Rate> {
        let used = RefCell::new(Vec::new());
        let names = self.names(channel, Some(side), outside, &used);
        let case = self.chip.rates.iter().find(|it| it.when.holds(&names))?;
        // What the other cases looked at decided nothing.
        used.borrow_mut().clear();
        let _ = case.when.holds(&names);
        let divide = match &case.divide {
            // A case that cannot be worked out says nothing.
            Some(formula) => Some(formula.number(&names)?).filter(|it| *it > 0),
            None => None,
        };
        let exact = divide.map(|it| f64::from(outside.clock) / it as f64);
        let stated = case.nominal.as_ref().and_then(|it| it.number(&names)).map(|it| it as f64 / 100.0);
        let nominal = stated.or_else(|| exact.and_then(nearest_standard));
        let is_wrong = case.wrong.as_ref().is_some_and(|it| it.holds(&names));
        let text = case.text.text(&names);
        let tags = sorted(&used);
        (!tags.is_empty()).then_some(Rate { exact, nominal, text, divide, is_stopped: case.is_stopped, is_wrong, tags })
    }
}

/// The limits for a rate's error, in per cent of one end. Common practice, not a standard.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Budget {
    /// Worth a note above this.
    pub note_above: f64,
    /// Worth a warning above this.
    pub warn_above: f64,
    /// The same for frames of 11 bits and more.
    pub warn_above_long: f64,
    /// It will probably fail above this.
    pub severe_above: f64,
    /// A rate farther than this from every standard one is none of them.
    pub nearest_within: f64,
}

impl Budget {
    /// Above which error a frame of so many bits is worth a warning.
    #[must_use]
    pub fn warn(&self, frame_bits: i64) -> f64 {
        if frame_bits > 10 { self.warn_above_long } else { self.warn_above }
    }
}

/// A signal of EIA-232.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Signal {
    /// Its short name, from the terminal's side.
    pub name: String,
    /// Its name.
    pub title: String,
    /// Its pin of 25.
    pub db25: u32,
    /// Its pin of 9.
    pub de9: u32,
    /// Whether a terminal drives it; none for ground.
    pub from_dte: Option<bool>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LineText {
    standard_rates: Vec<i64>,
    budget: Budget,
    signal: Vec<Signal>,
}

// The file is part of the program; the tests read it.
static LINE: LazyLock<LineText> =
    LazyLock::new(|| toml::from_str(include_str!("../../serial/line.toml")).unwrap_or_else(|error| panic!("{error}")));

/// The limits for a rate's error.
pub static BUDGET: LazyLock<Budget> = LazyLock::new(|| LINE.budget);

/// The signals of EIA-232 that a console may use.
pub static SIGNALS: LazyLock<&'static [Signal]> = LazyLock::new(|| &LINE.signal);

/// Rates that terminals have, in bit/s.
pub fn standard_rates() -> impl Iterator<Item = f64> {
    LINE.standard_rates.iter().map(|it| *it as f64 / 100.0)
}

/// The standard rate nearest to a rate, both in bit/s; none if none is near.
#[must_use]
pub fn nearest_standard(rate: f64) -> Option<f64> {
    let distance = |it: &f64| (rate / it - 1.0).abs();
    let best = standard_rates().min_by(|one, other| distance(one).total_cmp(&distance(other)))?;
    (distance(&best) * 100.0 <= BUDGET.nearest_within).then_some(best)
}
