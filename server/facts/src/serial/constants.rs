//! Constants that have the names of registers: `MR1_INIT EQU $13`.

use reveille_decoders::serial::{Chip, Register, chips, meanings};
use reveille_program::{Definition, DefinitionKind, Program, Unit, Value};

use super::fact::{Form, LineFact, Step, To, settle};
use super::ports::{Port, label};
use crate::finding::Evidence;

/// Words of a name that say that it is a value for a register. Common practice, no source.
const VALUE_WORDS: &[&str] = &["INIT", "INI", "VAL", "VALUE", "SET", "SETUP", "DEF", "DEFAULT", "CFG", "CONFIG"];

/// A constant for a register.
struct Constant {
    chip: &'static Chip,
    register: &'static Register,
    channel: Option<usize>,
    value: u32,
    at: Evidence,
}

/// The settings that constants of a unit make: of each chip and channel those that lack no register.
pub(super) fn constants(program: &Program, unit: &Unit, ports: &[Port]) -> Vec<LineFact> {
    let definitions =
        unit.definitions().iter().filter(|it| matches!(it.kind, DefinitionKind::Equate | DefinitionKind::Set));
    let own: Vec<Constant> = definitions.flat_map(|it| constant(program, it)).collect();
    let mut found = Vec::new();
    for chip in chips() {
        let of_chip = || own.iter().filter(|it| std::ptr::eq(it.chip, chip));
        if of_chip().count() < 2 && chip.stream.len() != 1 || of_chip().next().is_none() {
            continue;
        }
        let channels: Vec<Option<usize>> = if of_chip().any(|it| it.channel.is_some()) {
            (0..chip.channels.len()).map(Some).collect()
        } else {
            vec![None]
        };
        for channel in channels {
            let steps: Vec<Step> = of_chip()
                .filter(|it| it.channel.is_none() || it.channel == channel)
                .map(|it| Step {
                    to: To::Named(it.register, channel),
                    value: Some(it.value),
                    at: it.at,
                    value_at: None,
                })
                .collect();
            let Some(first) = steps.first() else { continue };
            let unplaced;
            let port = match ports.iter().find(|it| std::ptr::eq(it.chip, chip)) {
                Some(port) => port,
                None => {
                    unplaced = Port::unplaced(chip, channel, first.at);
                    &unplaced
                }
            };
            let facts = settle(port, &steps, Form::Constants, None, &mut |_, _| ());
            found.extend(facts.into_iter().filter(|it| it.line.data.is_some() && it.line.stop_16.is_some()));
        }
    }
    found
}

/// What a constant's name says of it: a register of each chip that has one of that name.
fn constant(program: &Program, definition: &Definition) -> Vec<Constant> {
    let Value::Number(value @ 0..=0xffff) = definition.value else { return Vec::new() };
    let name = program.names().text(definition.symbol);
    let upper = name.to_ascii_uppercase();
    let Some(stem) = stem(&upper) else { return Vec::new() };
    let Some(at) = label(program, definition) else { return Vec::new() };
    let own = meanings(stem).into_iter().filter(|it| it.register.can_write && !it.register.fields.is_empty());
    let own = own.filter(|it| value < 1 << (8 * it.chip.register_bytes));
    let new = |it: reveille_decoders::serial::Meaning| Constant {
        chip: it.chip,
        register: it.register,
        channel: it.channel,
        value: value as u32,
        at,
    };
    own.map(new).collect()
}

/// A name without the word that says that it is a value: `MR1_INIT`, `INIT_MR1`, `UCRVAL`.
fn stem(upper: &str) -> Option<&str> {
    VALUE_WORDS.iter().find_map(|word| {
        let rest = upper.strip_suffix(word).or_else(|| upper.strip_prefix(word))?;
        let rest = rest.trim_matches(['_', '.']);
        (rest.len() > 1).then_some(rest)
    })
}

#[cfg(test)]
mod tests {
    use super::stem;

    #[test]
    fn a_name_says_that_it_is_a_value() {
        assert_eq!(stem("MR1_INIT"), Some("MR1"));
        assert_eq!(stem("INIT_CSRB"), Some("CSRB"));
        assert_eq!(stem("UCRVAL"), Some("UCR"));
        assert_eq!(stem("UCR"), None);
        assert_eq!(stem("INIT"), None);
    }
}
