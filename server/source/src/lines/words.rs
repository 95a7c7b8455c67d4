//! Which word is which operation.

use std::sync::LazyLock;

use reveille_cpu::{MNEMONICS, Mnemonic, Size};
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

/// Instructions by the names that only the Unix families have (*Using as* 2.40, 9.22.2, "intervening periods are ignored"; which of them GNU
/// as takes was seen with its version 2.40).
const UNIX_NAMES: [(&str, &str, bool); 6] = [
    // The name, the instruction, and whether it stands without a size too.
    ("mov", "move", false),
    ("movc", "movec", true),
    ("movm", "movem", true),
    ("movp", "movep", true),
    ("movq", "moveq", true),
    // Of the style with & for immediates (from memory).
    ("movs", "moves", true),
];

/// What a word of the Unix families means.
#[derive(Clone, Copy)]
struct UnixWord {
    id: OpId,
    /// The letter of the size that is joined to the name, 0 for none.
    joined: u8,
    /// A size has to stand behind a dot.
    needs_size: bool,
}

static UNIX_WORDS: LazyLock<FxHashMap<u128, UnixWord>> = LazyLock::new(|| {
    let mut words: FxHashMap<u128, UnixWord> = FxHashMap::default();
    let own = MNEMONICS.iter().enumerate().map(|(at, it)| (it.name, at));
    let others =
        UNIX_NAMES.iter().filter_map(|it| Some((it.0, MNEMONICS.iter().position(|found| found.name == it.1)?)));
    for (name, at) in own.chain(others.clone()) {
        let id = OpId(INSTRUCTIONS + at as u16);
        let sizes = MNEMONICS[at].sizes;
        let letters = b"bwls".iter().filter(|it| Size::from_letter(**it).is_some_and(|size| sizes.allows(size)));
        for letter in letters {
            let joined = [name.as_bytes(), &[*letter]].concat();
            if let Some(key) = key(&joined).filter(|key| !WORDS.contains_key(key)) {
                words.entry(key).or_insert(UnixWord { id, joined: *letter, needs_size: false });
            }
        }
    }
    // `jbeq` is `jeq`, and so on: the one more common without its B. `jbsr` has one.
    let has_no_b = |it: &Mnemonic| it.is_stretching && !it.name.starts_with("jb");
    for (at, mnemonic) in MNEMONICS.iter().enumerate().filter(|it| has_no_b(it.1)) {
        let word = UnixWord { id: OpId(INSTRUCTIONS + at as u16), joined: 0, needs_size: false };
        let name = mnemonic.name.replacen('j', "jb", 1);
        words.extend(key(name.as_bytes()).map(|key| (key, word)));
    }
    for ((name, at), (_, _, is_alone)) in others.zip(UNIX_NAMES) {
        let word = UnixWord { id: OpId(INSTRUCTIONS + at as u16), joined: 0, needs_size: !is_alone };
        words.extend(key(name.as_bytes()).map(|key| (key, word)));
    }
    words
});

/// The words once, for a run of lines: saves the check of the lazy table for each.
pub(crate) struct Words(&'static FxHashMap<u128, OpId>);

impl Words {
    pub(crate) fn get() -> Self {
        Self(&WORDS)
    }

    /// The instruction that a word means in the Unix families alone, and the letter of the size joined to it, 0 for none. `size` is the one
    /// that stands behind a dot.
    pub(super) fn unix_instruction(&self, name: &[u8], size: u8) -> Option<(OpId, u8)> {
        let word = UNIX_WORDS.get(&key(name)?)?;
        let fits = if word.joined != 0 { size == 0 } else { size != 0 || !word.needs_size };
        fits.then_some((word.id, word.joined))
    }

    /// The operation that a word without size names, and whether it has a directive's dot.
    pub(super) fn operation(&self, word: &[u8]) -> (OpId, bool) {
        if let Some(rest) = word.strip_prefix(b".") {
            let rest = if rest.len() >= 4 && rest[..4].eq_ignore_ascii_case(b"cfi_") { b"cfi" } else { rest };
            let id = key(rest).and_then(|key| self.0.get(&key)).copied();
            return match id {
                Some(id) if !id.is_instruction() => (id, true),
                _ => (OpId::MACRO_CALL, false),
            };
        }
        let id = key(word).and_then(|key| self.0.get(&key)).copied().unwrap_or(OpId::MACRO_CALL);
        if id.directive().is_some_and(|it| it.needs_dot) {
            return (OpId::MACRO_CALL, false);
        }
        (id, false)
    }

    /// Whether a word, with or without a size, is an instruction or a directive.
    pub(super) fn is_operation(&self, word: &[u8]) -> bool {
        let id = self.operation(split_size(word).0).0;
        id.is_instruction() || id.directive().is_some()
    }

    /// Whether a word, with or without a size, is an instruction or a directive of a dialect.
    pub(super) fn is_operation_in(&self, word: &[u8], dialect: Dialect) -> bool {
        let (name, size) = split_size(word);
        self.is_operation(word) || dialect.syntax().joins_sizes && self.unix_instruction(name, size).is_some()
    }

    /// Whether a word in column one, without a colon, is the operation and not a label.
    pub(super) fn is_column_one_operation(&self, word: &[u8], dialect: Dialect) -> bool {
        let (id, dotted) = self.operation(split_size(word).0);
        match id.get() {
            Operation::Directive(directive) => {
                if !dialect.is_unix() {
                    directive.column_one && !dotted // A dot there starts a local label.
                } else {
                    // Where directives have no dots labels have colons.
                    dotted || !directive.soft || dialect == Dialect::Sgs
                }
            }
            Operation::Instruction(_) => dialect.is_unix(),
            Operation::MacroCall if !dotted && dialect.syntax().joins_sizes => {
                let (name, size) = split_size(word);
                self.unix_instruction(name, size).is_some()
            }
            _ => false,
        }
    }
}

/// Whether a word, with or without a size, is an instruction or a directive.
pub(crate) fn is_operation_word(word: &[u8]) -> bool {
    Words::get().is_operation(word)
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
