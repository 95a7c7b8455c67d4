//! The names of the instructions: one for each entry of the table, one for each condition of a family, and the pseudo branches.

use std::collections::HashMap;
use std::sync::LazyLock;

use crate::table::{CONDITIONS, Family, Form, Instruction, When, instructions};
use crate::{Sizes, Slot};

/// How many operands an instruction takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Operands {
    /// The fewest.
    pub least: u8,
    /// The most.
    pub most: u8,
}

/// A form that a name may stand for.
#[derive(Clone, Copy, Debug)]
pub struct Candidate {
    /// The form.
    pub form: &'static Form,
    /// The instruction that has it.
    pub instruction: &'static Instruction,
    /// When it is taken: always for an instruction's own forms.
    pub when: When,
    /// Whether it is another instruction's.
    pub is_variant: bool,
}

/// A name of an instruction.
#[derive(Debug)]
pub struct Mnemonic {
    /// In lower case.
    pub name: &'static str,
    /// The size suffixes that it takes.
    pub sizes: Sizes,
    /// How many operands it takes.
    pub operands: Operands,
    /// What it does, in one line of our own.
    pub summary: &'static str,
    /// The instruction.
    pub instruction: &'static Instruction,
    /// The condition's code, 0 to 15; 0 for BRA and 1 for BSR.
    pub condition: u8,
    /// One of the pseudo branches of *Using as* 2.40, 9.22.6.1: as long as it needs to be, jumps included.
    pub is_stretching: bool,
    /// The forms in the order they are tried.
    pub candidates: Vec<Candidate>,
}

fn candidates(instruction: &'static Instruction) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (name, when) in instruction.variants {
        let variant = instructions().find(|it| it.name == *name);
        for form in variant.into_iter().flat_map(|it| it.forms) {
            let instruction = variant.unwrap_or(instruction);
            found.push(Candidate { form, instruction, when: *when, is_variant: true });
        }
    }
    found.extend(instruction.forms.iter().map(|form| Candidate {
        form,
        instruction,
        when: When::Always,
        is_variant: false,
    }));
    found
}

fn make(
    name: &'static str,
    summary: &'static str,
    instruction: &'static Instruction,
    condition: u8,
    is_stretching: bool,
) -> Mnemonic {
    let candidates = candidates(instruction);
    let counts = candidates.iter().map(|it| it.form.operand_count() as u8);
    let operands = Operands { least: counts.clone().min().unwrap_or(0), most: counts.max().unwrap_or(0) };
    let sizes = candidates.iter().fold(Sizes::NONE, |sum, it| sum.or(it.form.sizes));
    let sizes = if is_stretching { Sizes::NONE } else { sizes };
    Mnemonic { name, sizes, operands, summary, instruction, condition, is_stretching, candidates }
}

/// Every name, sorted. Names are made once, so they may stay for good.
fn mnemonics() -> Vec<Mnemonic> {
    let keep = |text: String| -> &'static str { Box::leak(text.into_boxed_str()) };
    let mut all = Vec::new();
    for instruction in instructions() {
        let is_branch = instruction.forms[0].slots[0] == Slot::Branch;
        let stretched = |name: &str| keep(format!("j{name}"));
        match instruction.family {
            Family::Single => {
                let condition = u8::from(instruction.name == "bsr");
                all.push(make(instruction.name, instruction.title, instruction, condition, false));
                if is_branch {
                    let name = if condition == 1 { "bsr" } else { "ra" };
                    let summary = keep(format!("{}, sized by the assembler", instruction.title));
                    all.push(make(stretched(name), summary, instruction, condition, true));
                }
            }
            Family::Conditions(first) => {
                let stem = instruction.name.trim_end_matches("cc");
                for (code, condition) in CONDITIONS.iter().enumerate().skip(first.into()) {
                    for letters in [condition.name, condition.other].into_iter().filter(|it| !it.is_empty()) {
                        let summary = keep(instruction.title.replace("{}", condition.title));
                        all.push(make(keep(format!("{stem}{letters}")), summary, instruction, code as u8, false));
                    }
                    if is_branch {
                        let summary = keep(format!(
                            "{}, sized by the assembler",
                            instruction.title.replace("{}", condition.title)
                        ));
                        all.push(make(stretched(condition.name), summary, instruction, code as u8, true));
                    }
                    // DBRA is DBF.
                    if stem == "db" && condition.name == "f" {
                        all.push(make("dbra", "count down a word and branch until it is -1", instruction, 1, false));
                    }
                }
            }
        }
    }
    all.sort_by_key(|it| it.name);
    all
}

/// Every mnemonic, sorted by name.
pub static MNEMONICS: LazyLock<Vec<Mnemonic>> = LazyLock::new(mnemonics);

static INDEX: LazyLock<HashMap<&'static str, usize>> =
    LazyLock::new(|| MNEMONICS.iter().enumerate().map(|(at, it)| (it.name, at)).collect());

/// The place in [`MNEMONICS`] of a name, in either case.
#[must_use]
pub fn mnemonic_index(name: &str) -> Option<usize> {
    INDEX.get(name.to_ascii_lowercase().as_str()).copied()
}

/// The mnemonic of a name without size, in either case.
#[must_use]
pub fn mnemonic(name: &str) -> Option<&'static Mnemonic> {
    mnemonic_index(name).map(|at| &MNEMONICS[at])
}

#[cfg(test)]
mod tests {
    use super::MNEMONICS;

    #[test]
    fn the_table_is_sorted_and_has_no_name_twice() {
        assert!(MNEMONICS.windows(2).all(|pair| pair[0].name < pair[1].name));
    }

    #[test]
    fn every_variant_is_an_instruction() {
        for instruction in crate::instructions() {
            for (name, _) in instruction.variants {
                assert!(crate::instructions().any(|it| it.name == *name), "{name}");
            }
        }
    }

    #[test]
    fn every_summary_is_one_line_without_a_full_stop() {
        for mnemonic in MNEMONICS.iter() {
            let summary = mnemonic.summary;
            assert!(!summary.is_empty() && !summary.ends_with('.') && !summary.contains('\n'), "{}", mnemonic.name);
        }
    }
}
