//! Which word is which operation.

use std::sync::LazyLock;

use reveille_cpu::{MNEMONICS, Mnemonic};
use rustc_hash::FxHashMap;

use crate::{DIRECTIVES, Dialect, Directive};

/// The operation of a line, packed: instruction, directive, assignment, macro call or none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Hash)]
pub struct OpId(u16);

const INSTRUCTIONS: u16 = 0x4000;

/// What the operation of a line is.
#[derive(Clone, Copy, Debug)]
pub enum Operation {
    /// The line has none.
    None,
    /// An instruction.
    Instruction(&'static Mnemonic),
    /// A directive.
    Directive(&'static Directive),
    /// `=`, `==` or `:=`.
    Assignment,
    /// Any other word: a call of a macro, if there is one of that name.
    MacroCall,
}

impl OpId {
    /// No operation.
    pub const NONE: Self = Self(0);
    /// `=`, `==` or `:=`.
    pub const ASSIGNMENT: Self = Self(0xfffe);
    /// Neither an instruction nor a directive.
    pub const MACRO_CALL: Self = Self(0xffff);

    /// The operation itself.
    #[must_use]
    pub fn get(self) -> Operation {
        match self {
            Self::NONE => Operation::None,
            Self::ASSIGNMENT => Operation::Assignment,
            Self::MACRO_CALL => Operation::MacroCall,
            Self(id) if id >= INSTRUCTIONS => Operation::Instruction(&MNEMONICS[usize::from(id - INSTRUCTIONS)]),
            Self(id) => Operation::Directive(&DIRECTIVES[usize::from(id - 1)]),
        }
    }

    /// Whether it is an instruction.
    #[must_use]
    pub fn is_instruction(self) -> bool {
        self.0 >= INSTRUCTIONS && self != Self::ASSIGNMENT && self != Self::MACRO_CALL
    }

    /// The directive, if it is one.
    #[must_use]
    pub fn directive(self) -> Option<&'static Directive> {
        match self.get() {
            Operation::Directive(directive) => Some(directive),
            _ => None,
        }
    }

    /// Whether all that follows the operation is comment.
    pub(super) fn is_bare(self) -> bool {
        match self.get() {
            Operation::Instruction(mnemonic) => mnemonic.operands.most == 0,
            Operation::Directive(directive) => directive.bare,
            _ => false,
        }
    }
}

/// Lower-case letters of up to sixteen bytes in one number. Bytes that differ only in the bit of the case fold together; no
/// name of the tables holds one that is not a letter or a digit.
fn key(word: &[u8]) -> Option<u128> {
    if word.len() > 16 || word.is_empty() {
        return None;
    }
    let mut bytes = [0; 16];
    bytes[..word.len()].copy_from_slice(word);
    let case = (u128::MAX / 0xff * 0x20) >> (8 * (16 - word.len()));
    Some(u128::from_le_bytes(bytes) | case)
}

static WORDS: LazyLock<FxHashMap<u128, OpId>> = LazyLock::new(|| {
    let instructions = MNEMONICS.iter().enumerate().map(|(at, it)| (it.name, OpId(INSTRUCTIONS + at as u16)));
    let directives = DIRECTIVES.iter().enumerate().map(|(at, it)| (it.name, OpId(at as u16 + 1)));
    instructions.chain(directives).filter_map(|(name, id)| Some((key(name.as_bytes())?, id))).collect()
});

/// The words once, for a run of lines: saves the check of the lazy table for each.
pub(crate) struct Words(&'static FxHashMap<u128, OpId>);

impl Words {
    pub(crate) fn get() -> Self {
        Self(&WORDS)
    }

    /// The operation that a word without size names, and whether it has a directive's dot.
    pub(super) fn operation(&self, word: &[u8]) -> (OpId, bool) {
        if let Some(rest) = word.strip_prefix(b".") {
            let id = key(rest).and_then(|key| self.0.get(&key)).copied();
            return match id {
                Some(id) if !id.is_instruction() => (id, true),
                _ => (OpId::MACRO_CALL, false),
            };
        }
        (key(word).and_then(|key| self.0.get(&key)).copied().unwrap_or(OpId::MACRO_CALL), false)
    }

    /// Whether a word in column one, without a colon, is the operation and not a label.
    pub(super) fn is_column_one_operation(&self, word: &[u8], dialect: Dialect) -> bool {
        let (name, _) = split_size(word);
        let (id, dotted) = self.operation(name);
        match id.get() {
            Operation::Directive(directive) => {
                if dialect == Dialect::Motorola {
                    directive.column_one && !dotted // A dot there starts a local label.
                } else {
                    dotted || !directive.soft
                }
            }
            Operation::Instruction(_) => dialect == Dialect::Dotted,
            _ => false,
        }
    }
}

/// A word as name and size: the letter in lower case, `\` for a macro's parameter, 0 for none.
pub(super) fn split_size(word: &[u8]) -> (&[u8], u8) {
    match word {
        [name @ .., b'.', letter] if !name.is_empty() && letter.is_ascii_alphabetic() => {
            (name, letter.to_ascii_lowercase())
        }
        [name @ .., b'.', b'\\'] if !name.is_empty() => (name, b'\\'),
        [name @ .., b'.', b'\\', last] if !name.is_empty() && *last != b'.' && last.is_ascii() => (name, b'\\'),
        [.., last] if !last.is_ascii() => {
            let last = word.iter().rposition(|byte| byte & 0xc0 != 0x80).unwrap_or(0);
            match &word[..last] {
                [name @ .., b'.', b'\\'] if !name.is_empty() => (name, b'\\'),
                _ => (word, 0),
            }
        }
        _ => (word, 0),
    }
}
