//! Serial controllers: registers and what they decide, one TOML file a chip in `serial/`.
//!
//! A chip is data: where its registers are, what their fields say, which state chooses between registers that share an address, and formulas
//! that make a line's settings from the fields. [`Session`] takes accesses in their order; [`Session::line`] says what the line is set to, and
//! which accesses decided each part of it. Nothing here knows one chip from another: adding a chip is adding a file.
//!
//! ```
//! use reveille_decoders::serial::{Outside, Port, Session, chip};
//! let duart = chip("mc68681").unwrap();
//! let mut session = Session::new(duart);
//! // Command, mode 1, mode 2, clock select, auxiliary control: 9600 8N1 on channel A.
//! for (offset, value) in [(2, 0x10), (0, 0x13), (0, 0x07), (1, 0xbb), (4, 0x80)] {
//!     session.write(Port { offset, channel: None }, Some(value), 0);
//! }
//! let line = session.line(0, &Outside { clock: 3_686_400, variant: None, timer: None });
//! assert_eq!(line.words().unwrap(), "9600 8N1");
//! ```

mod line;
mod load;
mod names;
mod session;
#[cfg(test)]
mod tests;

pub use line::{BUDGET, Budget, Item, Line, Rate, SIGNALS, Signal, nearest_standard, standard_rates};
pub use load::{Field, Note, RateCase, RateConstant, Register, State, Variant, chip, chips};
pub use names::{Meaning, meanings};
pub use session::{Outside, Port, Session, Touched};

use crate::Formula;

/// A serial controller.
#[derive(Debug)]
pub struct Chip {
    /// Its name in machine files.
    pub name: String,
    /// Part numbers of the same chip.
    pub also: Vec<String>,
    /// What it is, in a few words.
    pub title: String,
    /// Words of labels and comments that speak of such a chip, in lower case.
    pub words: Vec<String>,
    /// Words by which a name alone tells this chip and no other, in lower case.
    pub tells: Vec<String>,
    /// Its channels.
    pub channels: Vec<String>,
    /// Usual clocks in Hz; the first is taken where nobody says which.
    pub clocks: Vec<u32>,
    /// What its clock is, where it is not a crystal.
    pub clock_is: Option<String>,
    /// The published source.
    pub source: String,
    /// Each channel has an address of its own, which the board decides.
    pub own_bases: bool,
    /// Its tables are pairs of register number and value.
    pub pairs: bool,
    /// The registers that the bytes of a table without register numbers go to, in order; the last again and again.
    pub stream: Vec<String>,
    /// Bytes of a register: 1 or 2.
    pub register_bytes: u32,
    /// What chooses between registers of one address.
    pub states: Vec<State>,
    /// Variants that make other rates.
    pub variants: Vec<Variant>,
    /// Its registers.
    pub registers: Vec<Register>,
    pub(crate) lists: Vec<(String, Vec<i64>)>,
    pub(crate) derived: Vec<(String, Formula)>,
    pub(crate) line: Vec<(String, Formula)>,
    pub(crate) sides: [Vec<(String, Formula)>; 2],
    /// How rates are made: of each direction the first case that holds.
    pub rates: Vec<RateCase>,
    /// Constants of sources by which rates are chosen.
    pub rate_constants: Vec<RateConstant>,
    pub(crate) flow: Vec<Note>,
    pub(crate) notes: Vec<Note>,
    pub(crate) wrong: Vec<Note>,
}

impl Chip {
    /// The place of a channel by its name, in either case.
    #[must_use]
    pub fn channel(&self, name: &str) -> Option<usize> {
        self.channels.iter().position(|it| it.eq_ignore_ascii_case(name))
    }

    /// The variant that a part number or a letter names; letters of a maker before the number do not count.
    #[must_use]
    pub fn variant(&self, name: &str) -> Option<&Variant> {
        let number = name.trim_start_matches(|it: char| it.is_ascii_alphabetic());
        let is_part = |also: &String| names_part(name, also) || names_part(number, also);
        self.variants.iter().find(|it| it.name.eq_ignore_ascii_case(name) || it.also.iter().any(is_part))
    }

    /// What a constant of a kind divides the clock by; none where it is none of that kind.
    #[must_use]
    pub fn divide_of(&self, kind: &RateConstant, value: i64) -> Option<i64> {
        let names = |name: &str| {
            if name == "value" {
                return Some(crate::Scalar::Number(value));
            }
            self.lists.iter().find(|it| it.0 == name).map(|it| crate::Scalar::List(it.1.clone()))
        };
        kind.divide.number(&names).filter(|it| *it > 0)
    }

    /// How many addresses it has, in registers.
    #[must_use]
    pub fn len(&self) -> u32 {
        self.registers.iter().flat_map(|it| &it.places).map(|it| it.1 + self.register_bytes).max().unwrap_or(0)
    }

    /// Whether it has no registers.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.registers.is_empty()
    }

    /// The registers that can be met at an offset, of a channel if only those count.
    pub fn at(&self, offset: u32, channel: Option<usize>) -> impl Iterator<Item = (&Register, Option<usize>)> {
        self.registers.iter().flat_map(move |register| {
            let own = register.places.iter().filter(move |it| it.1 == offset);
            own.filter(move |it| it.0.is_none() || channel.is_none() || it.0 == channel)
                .map(move |it| (register, it.0.or(channel)))
        })
    }

    /// A register by its name as the data sheet has it, or another that sources use; in either case.
    #[must_use]
    pub fn register(&self, name: &str) -> Option<&Register> {
        let own = self.registers.iter().find(|it| it.name.eq_ignore_ascii_case(name));
        own.or_else(|| self.registers.iter().find(|it| it.also.iter().any(|also| also.eq_ignore_ascii_case(name))))
    }

    /// The register and channel that a name of a source means: `MR1A`, `CSR_B`, `DUCRA`, `SCC_WR4`; see [`meanings`].
    #[must_use]
    pub fn register_named(&'static self, name: &str) -> Option<(&'static Register, Option<usize>)> {
        meanings(name).into_iter().find(|it| std::ptr::eq(it.chip, self)).map(|it| (it.register, it.channel))
    }

    /// Whether a part number or a name of a text is this chip's.
    #[must_use]
    pub fn is_called(&self, name: &str) -> bool {
        self.name.eq_ignore_ascii_case(name)
            || self.also.iter().any(|it| names_part(name, it))
            || self.variants.iter().any(|it| it.also.iter().any(|it| names_part(name, it)))
    }
}

/// Whether a word is a part number, with or without letters of speed and housing behind it: `SCN2681AC1` is a `SCN2681`.
fn names_part(word: &str, part: &str) -> bool {
    let (word, part) = (word.to_ascii_uppercase(), part.to_ascii_uppercase());
    word.strip_prefix(part.as_str()).is_some_and(|rest| {
        rest.is_empty() || rest.starts_with(|it: char| it.is_ascii_alphabetic() || it == '-') && rest.len() <= 8
    })
}
