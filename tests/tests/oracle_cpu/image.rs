//! Instructions to judge: each first word with several sets of words behind it.

use reveille_cpu::{Cpu, Decoded, decode};

/// Each instruction stands at the start of sixteen bytes; the last three words are NOP, so a disassembler is in step again.
pub(crate) const SLOT: usize = 16;
const NOP: u16 = 0x4e71;
/// Where the image starts, so that no branch goes below zero.
pub(crate) const START: i64 = 0x10_0000;

/// What stands behind each first word.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Set {
    pub(crate) cpu: Cpu,
    pub(crate) words: [u16; 4],
}

const fn set(cpu: Cpu, words: [u16; 4]) -> Set {
    Set { cpu, words }
}

/// The first two of each CPU are as an assembler leaves them: constants of a byte have an empty upper half, index words no scale.
pub(crate) const SETS: [Set; 11] = [
    set(Cpu::M68000, [0x0012, 0x0034, 0x0056, 0x0078]),
    set(Cpu::M68000, [0x00fe, 0x80fc, 0x98fa, 0x7ffe]),
    set(Cpu::M68000, [0x0000, 0x0000, 0x0000, 0x0000]),
    // Address registers and longs as index; a byte in the upper half.
    set(Cpu::M68000, [0xf87e, 0xc8f0, 0x2010, 0xd0ff]),
    // Ends of ranges, signs of bytes, absolute addresses at both ends.
    set(Cpu::M68000, [0xff80, 0x7fff, 0x8000, 0x8001]),
    // Scales and the long format of index words, which later members of the family have.
    set(Cpu::M68000, [0x1234, 0x5678, 0x9abc, 0xdef0]),
    set(Cpu::M68010, [0x0012, 0x0034, 0x0056, 0x0078]),
    set(Cpu::M68010, [0x0000, 0xff80, 0x8000, 0x00fe]),
    // VBR and USP for MOVEC, both directions for MOVES.
    set(Cpu::M68010, [0x1801, 0x0800, 0x1001, 0x8800]),
    set(Cpu::M68010, [0xf800, 0x0002, 0x7fff, 0x8002]),
    set(Cpu::M68010, [0x9001, 0x8000, 0x00f0, 0x0010]),
];

/// An instruction: where it stands, its words and what we read.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Case {
    pub(crate) address: i64,
    pub(crate) words: [u16; 5],
    pub(crate) ours: Option<Decoded>,
}

/// Every first word with the words of a set behind it. A form of the 68010 is none for the 68000. Instructions of one word are in each CPU's
/// first set alone, and so are the first words that belong to emulators.
pub(crate) fn cases(at: usize) -> Vec<Case> {
    let set = SETS[at];
    let is_first = SETS[..at].iter().all(|it| it.cpu != set.cpu);
    let mut cases = Vec::new();
    for first in 0..=u16::MAX {
        let [a, b, c, d] = set.words;
        let words = [first, a, b, c, d];
        let address = START + (cases.len() * SLOT) as i64;
        let is_there = |it: &Decoded| it.form.since <= set.cpu;
        let ours = decode(&words, address).filter(is_there);
        if is_first || first >> 12 != 10 && ours.is_none_or(|it| it.words > 1) {
            cases.push(Case { address, words, ours });
        }
    }
    cases
}

pub(crate) fn image(cases: &[Case]) -> Vec<u8> {
    let words = cases.iter().flat_map(|it| it.words.into_iter().chain([NOP; 3]));
    words.flat_map(u16::to_be_bytes).collect()
}
