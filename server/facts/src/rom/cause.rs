//! Why a dump differs, as far as it can be told, and how sure that is.

use std::fmt;

use reveille_decoders::checksum;
use reveille_program::Place;

use super::{Edit, Order};

/// How sure a cause is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sureness {
    /// It would explain what is seen; so would other things.
    Possible,
    /// Hardly anything else explains it.
    Likely,
    /// What is seen is what it says.
    Sure,
}

impl Sureness {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Possible => "possible",
            Self::Likely => "likely",
            Self::Sure => "sure",
        }
    }
}

/// A chip of a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Chip {
    /// The one with the even addresses.
    Even,
    /// The one with the odd addresses.
    Odd,
}

impl Chip {
    /// The chip of a byte.
    #[must_use]
    pub fn of(address: i64) -> Self {
        if address & 1 == 0 { Self::Even } else { Self::Odd }
    }

    /// Its name in JSON and in sentences.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Even => "even",
            Self::Odd => "odd",
        }
    }
}

/// What became of lines of a bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Fault {
    /// Lines, as a set of bits, that are always 0 or always 1.
    Stuck {
        /// The lines.
        lines: u32,
        /// What they are.
        is_high: bool,
    },
    /// Two lines that are exchanged.
    Exchanged {
        /// The lower one.
        low: u32,
        /// The higher one.
        high: u32,
    },
}

/// A way in which a dump came to differ.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CauseKind {
    /// Dumps agree in another order than the one asked for.
    Order {
        /// As it was asked for.
        asked: Order,
        /// As it agrees.
        found: Order,
        /// How many bytes agree, as it was asked for and as it was found.
        equal: (usize, usize),
    },
    /// Two chips of different sizes.
    ChipSizes {
        /// Their bytes.
        sizes: (usize, usize),
    },
    /// Another base than the given one agrees.
    Base {
        /// The base at which it agrees.
        base: i64,
        /// The one that was given.
        given: i64,
        /// How many bytes agree, there and here.
        equal: (usize, usize),
    },
    /// It was made for another origin.
    Origin {
        /// How much higher its addresses are.
        shift: i64,
        /// The addresses that differ by this.
        addresses: usize,
        /// All that differ.
        of: usize,
        /// The value of `--origin` that makes it agree, if one does.
        origin: Option<i64>,
        /// The lowest address of the source.
        start: u32,
    },
    /// Other choices of lengths agree.
    Sizing {
        /// The rules with their values.
        rules: Vec<(&'static str, &'static str)>,
        /// Bytes that do not agree with them, and without.
        left: (usize, usize),
    },
    /// Bytes were put in or taken out.
    Edit(Edit),
    /// There are many such places.
    Edits {
        /// How many.
        count: usize,
    },
    /// All differences are in one chip.
    OneChip {
        /// The chip.
        chip: Chip,
        /// How many bytes differ.
        differ: usize,
    },
    /// Data lines of a chip are at fault.
    DataLines {
        /// The chip; none for both.
        chip: Option<Chip>,
        /// What is wrong.
        fault: Fault,
    },
    /// Address lines of a chip are at fault; line 0 is the lowest of the chip.
    AddressLines {
        /// The chip; none for both, or a dump that is not split.
        chip: Option<Chip>,
        /// What is wrong.
        fault: Fault,
    },
    /// Only a checksum differs.
    Checksum {
        /// Its address and bytes.
        address: i64,
        /// How many bytes it has.
        bytes: u32,
        /// Its label, or how it is summed up.
        what: String,
    },
    /// The dump has a checksum that the source does not lay down.
    AddedChecksum {
        /// Its address.
        address: i64,
        /// How it is summed up.
        reading: checksum::Reading,
    },
    /// The same instructions with other values.
    Values {
        /// Lines with another value, and all that differ.
        lines: (usize, usize),
    },
    /// A part of the dump is all the same where the source is not.
    Blank {
        /// Its first address.
        from: i64,
        /// How many bytes.
        bytes: usize,
        /// What they are.
        value: u8,
    },
    /// The dump ends before the source does.
    Short {
        /// The address behind its last byte.
        end: i64,
        /// Bytes of the source that it lacks.
        lacks: usize,
    },
    /// The dump repeats itself.
    Repeats {
        /// After so many bytes.
        period: usize,
        /// All its bytes.
        bytes: usize,
    },
    /// The dump has more than the source.
    More {
        /// The first address.
        from: i64,
        /// How many bytes in all.
        bytes: usize,
    },
    /// Hardly anything agrees.
    Unrelated {
        /// Bytes that agree, and all that were compared.
        equal: (usize, usize),
    },
}

/// A likely cause.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cause {
    /// What happened.
    pub kind: CauseKind,
    /// How sure that is.
    pub sureness: Sureness,
    /// The line of the source that it is about.
    pub place: Option<Place>,
}

impl Cause {
    pub(super) fn new(sureness: Sureness, kind: CauseKind) -> Self {
        Self { kind, sureness, place: None }
    }

    /// The chip that it is about.
    #[must_use]
    pub fn chip(&self) -> Option<Chip> {
        match self.kind {
            CauseKind::OneChip { chip, .. } => Some(chip),
            CauseKind::DataLines { chip, .. } | CauseKind::AddressLines { chip, .. } => chip,
            _ => None,
        }
    }
}

impl CauseKind {
    /// Its name in JSON.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::Order { .. } => "order",
            Self::ChipSizes { .. } => "chip-sizes",
            Self::Base { .. } => "base",
            Self::Origin { .. } => "origin",
            Self::Sizing { .. } => "sizing",
            Self::Edit(Edit { is_missing: true, .. }) => "missing-bytes",
            Self::Edit(_) => "inserted-bytes",
            Self::Edits { .. } => "many-edits",
            Self::OneChip { .. } => "one-chip",
            Self::DataLines { .. } => "data-lines",
            Self::AddressLines { .. } => "address-lines",
            Self::Checksum { .. } => "checksum",
            Self::AddedChecksum { .. } => "added-checksum",
            Self::Values { .. } => "values",
            Self::Blank { .. } => "blank",
            Self::Short { .. } => "short-dump",
            Self::Repeats { .. } => "repeats",
            Self::More { .. } => "more-content",
            Self::Unrelated { .. } => "unrelated",
        }
    }
}

fn bytes(count: usize) -> String {
    if count == 1 { "1 byte".into() } else { format!("{count} bytes") }
}

fn lines(set: u32) -> String {
    let numbers: Vec<String> = (0..32).filter(|it| set >> it & 1 == 1).map(|it| it.to_string()).collect();
    match numbers.as_slice() {
        [one] => format!("line {one}"),
        _ => format!("lines {}", numbers.join(", ")),
    }
}

fn of_chip(chip: Option<Chip>) -> String {
    chip.map_or("the dump".into(), |it| format!("the {} chip", it.name()))
}

/// Whole sentences without a full stop: what is seen, what it means, what to do.
impl fmt::Display for CauseKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Order { asked, found, equal } => {
                let what = match (asked, found) {
                    (Order::FirstEven, Order::FirstOdd) => {
                        "even and odd are the wrong way round; name the files the other way"
                    }
                    (Order::FirstOdd, Order::FirstEven) => "the chips are not exchanged; leave --swap-bytes out",
                    (Order::AsIs, Order::Exchanged) => "the bytes of each word are exchanged; give --swap-bytes",
                    (Order::Exchanged, Order::AsIs) => {
                        "the bytes of each word are not exchanged; leave --swap-bytes out"
                    }
                    (_, Order::EvenAlone) => "this is the even chip alone; name the odd one too, with --even and --odd",
                    (_, Order::OddAlone) => "this is the odd chip alone; name the even one too, with --even and --odd",
                    _ => "the files are no pair of chips but lie one behind the other; join them to one file",
                };
                write!(f, "{what}: {} agree then, {} as asked for", bytes(equal.1), equal.0)
            }
            Self::ChipSizes { sizes } => write!(
                f,
                "the chips have {} and {} bytes, expected the same size; read the shorter one again",
                sizes.0, sizes.1
            ),
            Self::Base { base, given, equal } => write!(
                f,
                "at ${base:06X} {} agree, at the given ${given:06X} {}; give --base '${base:X}'",
                bytes(equal.0),
                equal.1
            ),
            Self::Origin { shift, addresses, of, origin, start } => {
                let (way, by) = if *shift < 0 { ("lower", -shift) } else { ("higher", *shift) };
                write!(
                    f,
                    "{addresses} of {of} addresses that differ are ${by:X} {way}: the dump was made for another origin; "
                )?;
                match origin {
                    Some(origin) => write!(f, "assemble with --origin '${origin:X}'"),
                    None => write!(
                        f,
                        "the source's ORG says ${start:06X}, and ${:06X} would agree",
                        i64::from(*start) + shift
                    ),
                }
            }
            Self::Sizing { rules, left } => {
                let options: Vec<String> = rules.iter().map(|it| format!("--sizing {}={}", it.0, it.1)).collect();
                let after =
                    if left.0 == 0 { "everything agrees".into() } else { format!("{} do not agree", bytes(left.0)) };
                write!(
                    f,
                    "the assembler chose lengths in another way: with {} {after}, without {}",
                    options.join(" "),
                    left.1
                )
            }
            Self::Edit(edit) => {
                let (count, address) = (bytes(edit.bytes as usize), edit.address);
                match edit.is_missing {
                    true => write!(
                        f,
                        "{count} of the source, from ${address:06X} on, are not in the dump; what follows lies lower"
                    ),
                    false => write!(f, "{count} more are in the dump before ${address:06X}; what follows lies higher"),
                }
            }
            Self::Edits { count } => write!(f, "bytes were put in or taken out in {count} more places"),
            Self::OneChip { chip, differ } => write!(
                f,
                "all {differ} bytes that differ are in the {0} chip: it is of another version, or was read badly; \
                 read it again, and compare the {0} chip's label with the other one's",
                chip.name()
            ),
            Self::DataLines { chip, fault } => {
                let what = of_chip(*chip);
                match fault {
                    Fault::Stuck { lines: set, is_high } => write!(
                        f,
                        "data {} of {what} {} always {}: a contact that does not touch, or the wrong kind of chip set; \
                         clean the pins and read again",
                        lines(*set),
                        if set.count_ones() == 1 { "is" } else { "are" },
                        u8::from(*is_high)
                    ),
                    Fault::Exchanged { low, high } => write!(
                        f,
                        "data lines {low} and {high} of {what} are exchanged: on the board, or in an adapter of the programmer"
                    ),
                }
            }
            Self::AddressLines { chip, fault } => {
                let what = of_chip(*chip);
                match fault {
                    Fault::Stuck { lines: set, is_high } => write!(
                        f,
                        "address {} of {what} is always {}: a contact that does not touch, or the wrong kind of chip set; \
                         clean the pins and read again",
                        lines(*set),
                        u8::from(*is_high)
                    ),
                    Fault::Exchanged { low, high } => write!(
                        f,
                        "address lines {low} and {high} of {what} are exchanged: on the board, or in an adapter of the programmer"
                    ),
                }
            }
            Self::Checksum { address, bytes, what } => {
                let last = address + i64::from(*bytes) - 1;
                write!(f, "only the checksum at ${address:06X} to ${last:06X} differs ({what})")
            }
            Self::AddedChecksum { address, reading } => write!(
                f,
                "the dump has a checksum at ${address:06X} that the source does not lay down, put there after assembly: {reading}"
            ),
            Self::Values { lines: (lines, of) } => {
                let what = match (lines, of) {
                    (1, 1) => "the line that differs is".to_owned(),
                    (lines, of) if lines == of => format!("all {of} lines that differ are"),
                    (lines, of) => format!("{lines} of {of} lines that differ are"),
                };
                write!(
                    f,
                    "{what} the same instruction with another value: patched, or made with other values (--define)"
                )
            }
            Self::Blank { from, bytes: count, value } => write!(
                f,
                "from ${from:06X} on {} are ${value:02X} where the source has content: not programmed, erased, or not read",
                bytes(*count)
            ),
            Self::Short { end, lacks } => write!(
                f,
                "the dump ends at ${:06X} and lacks {}; was the chip read with too small a size, or is a chip missing?",
                end - 1,
                bytes(*lacks)
            ),
            Self::Repeats { period, bytes: all } => write!(
                f,
                "the dump repeats itself every {period} of {all} bytes: a chip of {period} bytes read as a larger one"
            ),
            Self::More { from, bytes: count } => write!(
                f,
                "the dump has {} of content that the source does not lay down, from ${from:06X} on: another module, \
                 or an older firmware below",
                bytes(*count)
            ),
            Self::Unrelated { equal: (equal, of) } => write!(
                f,
                "{equal} of {of} bytes agree, as many as by chance: another firmware, or a dump that was read badly"
            ),
        }
    }
}
