//! What the words mean, against two disassemblers.

use std::collections::BTreeMap;
use std::fmt::Write;

use reveille_cpu::{Decoded, Kind, Size, Slot, decode};

use crate::image::{Case, SETS, cases};
use crate::judges::{Judge, readings};
use crate::text::{Reading, of_ours};

/// How a judge differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum How {
    /// It sees no instruction where we do.
    SeesNone,
    /// It sees an instruction where we do not.
    SeesOne,
    /// It gives another number of words.
    Length,
    /// It gives another size, and all else is the same.
    Size,
    /// It writes something else.
    Text,
}

/// A disagreement that stands.
struct Disagreement {
    judge: Judge,
    how: How,
    /// The first word, bit 15 first: `0` and `1` stand for themselves, any other letter for both.
    first: &'static str,
    /// What must be true of the case, if the first word does not tell.
    when: fn(&Case) -> bool,
    /// What the judge does, and what settles it.
    why: &'static str,
}

/// Whether it would be an instruction with these bits of the words behind the first one cleared.
fn reads_without(case: &Case, bits: u16) -> bool {
    let [first, rest @ ..] = case.words;
    let [a, b, c, d] = rest.map(|it| it & !bits);
    decode(&[first, a, b, c, d], case.address).is_some()
}

fn has_scale(case: &Case) -> bool {
    reads_without(case, 0x0700)
}

fn has_upper_half(case: &Case) -> bool {
    reads_without(case, 0xff00)
}

/// Whether the upper half of the word behind the first one is the sign of the lower.
fn has_sign(case: &Case) -> bool {
    case.words[1] >= 0xff80
}

const fn always(_: &Case) -> bool {
    true
}

/// The sections and instruction pages are those of the *M68000 Family Programmer's Reference Manual*, from memory.
#[rustfmt::skip]
static DISAGREEMENTS: &[Disagreement] = &[
    Disagreement { judge: Judge::Objdump, how: How::SeesOne, first: "xxxx xxxx xxxx xxxx", when: has_scale, why: "takes scales and long formats of index words, which the 68020 brought: section 2, brief extension word" },
    Disagreement { judge: Judge::Library, how: How::SeesOne, first: "xxxx xxxx xxxx xxxx", when: has_scale, why: "takes scales and long formats of index words, which the 68020 brought: section 2, brief extension word" },
    Disagreement { judge: Judge::Objdump, how: How::SeesOne, first: "xxxx xxxx xxxx xxxx", when: has_upper_half, why: "drops the upper half of the word of a byte; no assembler makes one that is no sign: section 2, immediate data" },
    Disagreement { judge: Judge::Library, how: How::SeesOne, first: "xxxx xxxx xxxx xxxx", when: has_upper_half, why: "drops the upper half of the word of a byte; no assembler makes one that is no sign: section 2, immediate data" },
    Disagreement { judge: Judge::Objdump, how: How::SeesOne, first: "1111 xxxx xxxx xxxx", when: always, why: "takes coprocessor instructions, which the 68000 leaves to vector 11: section 1" },
    Disagreement { judge: Judge::Objdump, how: How::SeesOne, first: "0100 1010 1111 1101", when: always, why: "takes a mark for tables of another line of processors: TAS has no such mode" },
    Disagreement { judge: Judge::Objdump, how: How::SeesOne, first: "0101 xxx1 0000 1yyy", when: always, why: "takes a byte of an address register: SUBQ, word and long only" },
    Disagreement { judge: Judge::Objdump, how: How::SeesOne, first: "0100 1110 0111 101x", when: always, why: "takes control registers that the 68010 does not have: MOVEC" },
    Disagreement { judge: Judge::Library, how: How::SeesOne, first: "0100 1110 0111 101x", when: always, why: "takes control registers that the 68010 does not have: MOVEC" },
    Disagreement { judge: Judge::Objdump, how: How::Text, first: "0100 1000 0100 1yyy", when: always, why: "leaves out the # of the number: BKPT" },
    Disagreement { judge: Judge::Library, how: How::SeesOne, first: "1110 1000 11ee eeee", when: always, why: "takes a bit field, which the 68020 brought: BFTST" },
    Disagreement { judge: Judge::Library, how: How::SeesOne, first: "0000 11x0 1111 1100", when: always, why: "takes a comparison with exchange, which the 68020 brought: CAS2" },
    Disagreement { judge: Judge::Library, how: How::SeesOne, first: "0000 1100 ss11 101x", when: always, why: "takes PC-relative modes on the 68010, which has none here: CMPI, note on the modes" },
    Disagreement { judge: Judge::Library, how: How::SeesNone, first: "0110 cccc 1111 1111", when: always, why: "takes it for a distance of 32 bits, which the 68020 brought; here it is -1: Bcc, BRA, BSR" },
    Disagreement { judge: Judge::Library, how: How::SeesNone, first: "0000 xxx0 0011 1100", when: has_sign, why: "refuses a byte with its sign in the upper half of the word, which is not used: ANDI, EORI, ORI to CCR" },
    Disagreement { judge: Judge::Library, how: How::SeesNone, first: "0000 1000 xxee eeee", when: has_sign, why: "refuses a bit number with its sign in the upper half of the word, which is not used: BTST and its kin" },
    Disagreement { judge: Judge::Library, how: How::Length, first: "0000 xxx1 0011 1100", when: always, why: "reads a long constant; memory and constants are bytes: BTST" },
    Disagreement { judge: Judge::Library, how: How::Size, first: "0000 xxx1 00ee eeee", when: always, why: "calls bytes of memory longs: BTST" },
    Disagreement { judge: Judge::Library, how: How::Size, first: "0000 1000 00ee eeee", when: always, why: "calls bytes of memory longs: BTST" },
    Disagreement { judge: Judge::Library, how: How::Size, first: "0000 xxx1 xx00 0yyy", when: always, why: "calls bits of a register bytes: BCHG, BCLR, BSET" },
    Disagreement { judge: Judge::Library, how: How::Size, first: "0000 1000 xx00 0yyy", when: always, why: "calls bits of a register bytes: BCHG, BCLR, BSET" },
    Disagreement { judge: Judge::Library, how: How::Length, first: "1000 xxx1 0000 1yyy", when: always, why: "takes it for PACK, which the 68020 brought and which has other bits: SBCD" },
    Disagreement { judge: Judge::Library, how: How::Text, first: "0100 1010 1111 1100", when: always, why: "writes the word itself as an operand: ILLEGAL" },
    Disagreement { judge: Judge::Library, how: How::Text, first: "0100 0100 1111 1100", when: always, why: "reads a byte; the size is word, and the upper half is dropped: MOVE to CCR" },
    Disagreement { judge: Judge::Library, how: How::Text, first: "0100 1100 1x11 101x", when: always, why: "counts a PC-relative address from the list, not from its own word: MOVEM; section 2, program counter indirect" },
    Disagreement { judge: Judge::Library, how: How::Text, first: "0000 1000 0011 101x", when: always, why: "counts a PC-relative address from the bit number, not from its own word: BTST; section 2, program counter indirect" },
    Disagreement { judge: Judge::Library, how: How::Text, first: "1110 xxx0 0011 0yyy", when: always, why: "takes the register of the count for a constant: ROXR" },
];

pub(crate) fn matches(pattern: &str, word: u16) -> bool {
    let letters = pattern.bytes().filter(|it| *it != b' ');
    letters.zip((0..16).rev()).all(|(letter, bit)| match letter {
        b'0' => word >> bit & 1 == 0,
        b'1' => word >> bit & 1 == 1,
        _ => true,
    })
}

/// Bits of the constant of an instruction.
fn bits(decoded: &Decoded) -> u32 {
    let is_constant = |at: &usize| decoded.operands[*at].kind == Kind::Immediate;
    let slot = (0..2).find(is_constant).map_or(Slot::None, |at| decoded.form.slots[at]);
    match (slot, decoded.size) {
        (Slot::Quick8 | Slot::Bit, _) | (Slot::Constant | Slot::Ea(_), Size::Byte) => 8,
        (Slot::Constant | Slot::Ea(_), Size::Long) => 32,
        _ => 16,
    }
}

fn difference(case: &Case, judge: Option<&Reading>) -> Option<How> {
    match (&case.ours, judge) {
        (None, None) => None,
        (Some(_), None) => Some(How::SeesNone),
        (None, Some(_)) => Some(How::SeesOne),
        (Some(ours), Some(judge)) => {
            let reading = of_ours(ours);
            if reading.agrees(judge, bits(ours)) {
                None
            } else if reading.agrees(&Reading { size: reading.size, ..judge.clone() }, bits(ours)) {
                Some(How::Size)
            } else if reading.words == judge.words {
                Some(How::Text)
            } else {
                Some(How::Length)
            }
        }
    }
}

fn told(case: &Case, judge: Option<&Reading>) -> String {
    let ours = case.ours.map_or("none".into(), |it| format!("{it} ({} words)", it.words));
    let theirs = judge.map_or("none".into(), |it| format!("{it:?}"));
    format!("{:04X?}: we read {ours}, the judge {theirs}", case.words)
}

#[test]
fn both_disassemblers_read_every_first_word_as_we_do() {
    let mut used = vec![0_usize; DISAGREEMENTS.len()];
    let mut wrong: BTreeMap<String, (usize, String)> = BTreeMap::new();
    let mut agreed = 0;
    for (at, set) in SETS.iter().enumerate() {
        let cases = cases(at);
        let judged = std::thread::scope(|scope| {
            let judges = [Judge::Objdump, Judge::Library];
            let threads = judges.map(|judge| {
                scope.spawn({
                    let cases = &cases;
                    move || readings(judge, set.cpu, cases)
                })
            });
            let readings = threads.map(|it| it.join().expect("the judge has run"));
            judges.into_iter().zip(readings).collect::<Vec<_>>()
        });
        for (judge, readings) in judged {
            for (case, reading) in cases.iter().zip(&readings) {
                let Some(how) = difference(case, reading.as_ref()) else {
                    agreed += 1;
                    continue;
                };
                let entry = DISAGREEMENTS.iter().position(|it| {
                    it.judge == judge && it.how == how && matches(it.first, case.words[0]) && (it.when)(case)
                });
                if let Some(entry) = entry {
                    used[entry] += 1;
                    continue;
                }
                let group = case.ours.map_or("none".into(), |it| it.name());
                let text = told(case, reading.as_ref());
                let theirs = reading.as_ref().map_or("none", |it| it.name.as_str());
                let group = format!("{judge:?} {how:?} {:?} {group} / {theirs}", set.cpu);
                let slot = wrong.entry(group).or_insert((0, text));
                slot.0 += 1;
            }
        }
    }
    let mut report = String::new();
    for (group, (count, example)) in &wrong {
        let _ = writeln!(report, "{group}, {count} times, first: {example}");
    }
    for (entry, count) in DISAGREEMENTS.iter().zip(&used) {
        if *count == 0 {
            let _ = writeln!(report, "no longer so: {:?} {:?} {}: {}", entry.judge, entry.how, entry.first, entry.why);
        }
    }
    assert!(report.is_empty(), "{agreed} agree, but\n{report}");
}
