//! What names of sources mean: a register of a chip, and of which channel.

use std::collections::HashMap;
use std::sync::LazyLock;

use super::{Chip, Register, chips};

/// A register that a name may mean.
#[derive(Clone, Copy, Debug)]
pub struct Meaning {
    /// The chip.
    pub chip: &'static Chip,
    /// The register.
    pub register: &'static Register,
    /// The channel, where the name says one.
    pub channel: Option<usize>,
    /// Whether the name says the chip, too: `ACIA_CR`, and not only `CR`.
    pub says_chip: bool,
}

/// Place of a chip, place of its register, and channel.
type At = (usize, usize, Option<usize>);

/// Registers by their names with and without channel, in capitals.
static NAMES: LazyLock<HashMap<String, Vec<At>>> = LazyLock::new(|| {
    let mut names: HashMap<String, Vec<At>> = HashMap::new();
    // Of two registers of a chip with one name the first counts, and a name without a channel before one with: ACR is no CR of A.
    let mut add = |name: String, at: At| {
        let found = names.entry(name).or_default();
        if !found.iter().any(|it| it.0 == at.0) {
            found.push(at);
        }
    };
    for with_channel in [false, true] {
        for (at, chip) in chips().iter().enumerate() {
            for (own, register) in chip.registers.iter().enumerate() {
                for name in std::iter::once(&register.name).chain(&register.also).map(|it| it.to_ascii_uppercase()) {
                    if !with_channel {
                        add(name, (at, own, None));
                    } else if chip.channels.len() > 1 && !register.is_shared {
                        for (channel, letter) in chip.channels.iter().enumerate() {
                            let letter = letter.to_ascii_uppercase();
                            add(format!("{name}{letter}"), (at, own, Some(channel)));
                            add(format!("{letter}{name}"), (at, own, Some(channel)));
                        }
                    }
                }
            }
        }
    }
    names
});

/// Words that say a chip, in capitals, by their first character, the longest first: `ACIA`, `68681`, and `DU` for a DUART.
static PREFIXES: LazyLock<Vec<Vec<(String, usize)>>> = LazyLock::new(|| {
    let mut found: Vec<(String, usize)> = Vec::new();
    for (at, chip) in chips().iter().enumerate() {
        let words = chip.words.iter().chain(&chip.also).map(|it| (it.to_ascii_uppercase(), at));
        found.extend(words);
        found.extend(chip.words.iter().any(|it| it == "duart").then(|| ("DU".to_owned(), at)));
    }
    found.sort_by_key(|it| std::cmp::Reverse(it.0.len()));
    let mut by_first = vec![Vec::new(); 128];
    for it in found {
        if let Some(own) = by_first.get_mut(usize::from(it.0.as_bytes()[0])) {
            own.push(it);
        }
    }
    by_first
});

/// The registers that a name may mean, those of a chip that it says before all others. Characters that are no letters or digits do not
/// count, nor does case: `MR1A`, `duart_csr_b`, `DUCRA`, `SCC_WR4`.
#[must_use]
pub fn meanings(name: &str) -> Vec<Meaning> {
    let mut buffer = [0_u8; 24];
    let mut len = 0;
    for byte in name.bytes().filter(u8::is_ascii_alphanumeric) {
        // No register has so long a name.
        let Some(place) = buffer.get_mut(len) else { return Vec::new() };
        *place = byte.to_ascii_uppercase();
        len += 1;
    }
    let plain = std::str::from_utf8(&buffer[..len]).unwrap_or("");
    let mut found = Vec::new();
    let first = plain.bytes().next().and_then(|it| PREFIXES.get(usize::from(it)));
    for (prefix, chip) in first.into_iter().flatten() {
        let rest = plain.strip_prefix(prefix.as_str()).filter(|it| !it.is_empty());
        found.extend(rest.into_iter().flat_map(|it| own(it, Some(*chip))));
    }
    found.extend(own(plain, None));
    found
}

/// The registers of a name without the chip's, of one chip or of all.
fn own(name: &str, only: Option<usize>) -> impl Iterator<Item = Meaning> {
    let all = NAMES.get(name).into_iter().flatten();
    all.filter(move |it| only.is_none_or(|only| only == it.0)).filter_map(move |(chip, register, channel)| {
        let chip = chips().get(*chip)?;
        let register = chip.registers.get(*register)?;
        Some(Meaning { chip, register, channel: *channel, says_chip: only.is_some() })
    })
}
