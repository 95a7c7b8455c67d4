//! The form that a line means, against an assembler: every name with every size and every kind of operand.

use std::collections::BTreeMap;
use std::fmt::Write;

use reveille_cpu::{
    Cpu, Family, Index, Kind, MNEMONICS, Mnemonic, Operand, OperandProblem, Size, Slot, choose, encode,
};

use crate::writing::{made, slot};

/// A line to judge, and the words that we make of it; none if it is not legal.
pub(crate) struct Line {
    pub(crate) name: &'static str,
    pub(crate) size: Option<Size>,
    pub(crate) operands: Vec<Operand>,
    pub(crate) text: String,
    ours: Option<Vec<u16>>,
    /// Whether only a value is too large for it.
    pub(crate) is_out_of_range: bool,
}

/// Lines that the assembler takes and we do not, or the other way round.
struct Difference {
    /// Whether the assembler takes them.
    is_taken: bool,
    when: fn(&Line) -> bool,
    why: &'static str,
}

/// The pages are those of the *M68000 Family Programmer's Reference Manual*, from memory.
#[rustfmt::skip]
static DIFFERENCES: &[Difference] = &[
    Difference { is_taken: true, when: |it| it.is_out_of_range, why: "drops the upper bits of a constant that is too large, and says nothing; we make it a problem" },
    Difference { is_taken: true, when: |it| BITS.contains(&it.name) && it.size.is_some(), why: "takes either size everywhere; registers are long and memory is bytes: BCHG, BCLR, BSET, BTST" },
    Difference { is_taken: true, when: |it| ["jmp", "jsr"].contains(&it.name) && it.size.is_some(), why: "takes a size of the address; unsized: JMP, JSR" },
    Difference { is_taken: true, when: |it| ["sub", "subq"].contains(&it.name) && it.size == Some(Size::Byte) && it.is_second(&[Kind::Address]), why: "takes a byte of an address register; not ADD's, though: SUBQ, word and long only" },
    Difference { is_taken: true, when: |it| it.name == "dbeq" && it.is_second(&[Kind::AbsoluteShort, Kind::AbsoluteLong]), why: "takes a target with a length, which a distance does not have: DBcc" },
    Difference { is_taken: true, when: |it| it.name == "movec" && it.size != Some(Size::Byte), why: "takes a number for a control register that it has no name for: MOVEC" },
    Difference { is_taken: true, when: |it| it.name == "move" && it.size == Some(Size::Short), why: "reads MOVE.S as MOVES" },
    Difference { is_taken: false, when: |it| it.name == "abcd" && it.size == Some(Size::Byte), why: "takes ABCD without a size alone; byte: ABCD" },
    Difference { is_taken: false, when: |it| it.name == "exg" && it.size == Some(Size::Long), why: "takes EXG without a size alone; long: EXG" },
    Difference { is_taken: false, when: |it| ["beq", "bra", "bsr"].contains(&it.name) && it.size == Some(Size::Long), why: "means the branch of 32 bits by .L; resident assemblers mean the one of 16 bits" },
];

const BITS: [&str; 4] = ["bchg", "bclr", "bset", "btst"];

impl Line {
    pub(crate) fn is_second(&self, kinds: &[Kind]) -> bool {
        self.operands.get(1).is_some_and(|it| kinds.contains(&it.kind))
    }
}

fn operand(kind: Kind, at: usize) -> Operand {
    let value = match kind {
        Kind::Displacement | Kind::Index => 0x10,
        Kind::AbsoluteShort => 0x2400,
        Kind::AbsoluteLong => 0x12500,
        // The address of a line is 0 to itself.
        Kind::PcDisplacement | Kind::PcIndex | Kind::Target => 0x20,
        Kind::Immediate => 3,
        Kind::List => 5,
        _ => 0,
    };
    // VBR is the fourth control register.
    let register = if kind == Kind::Control { 3 } else { at as u8 + 1 };
    Operand { kind, register, index: Index { number: 5, ..Index::default() }, value }
}

fn text(operand: &Operand, line: usize) -> String {
    let n = operand.register;
    match operand.kind {
        Kind::Data => format!("d{n}"),
        Kind::Address => format!("a{n}"),
        Kind::Indirect => format!("(a{n})"),
        Kind::PostIncrement => format!("(a{n})+"),
        Kind::PreDecrement => format!("-(a{n})"),
        Kind::Displacement => format!("16(a{n})"),
        Kind::Index => format!("16(a{n},d5.w)"),
        Kind::AbsoluteShort => "0x2400.w".into(),
        Kind::AbsoluteLong => "0x12500.l".into(),
        Kind::PcDisplacement => format!("x{line}+32(pc)"),
        Kind::PcIndex => format!("x{line}+32(pc,d5.w)"),
        Kind::Immediate => format!("#{}", operand.value),
        Kind::Target => format!("x{line}+32"),
        Kind::List => "d0/d2".into(),
        Kind::Status => "sr".into(),
        Kind::Conditions => "ccr".into(),
        Kind::UserStack => "usp".into(),
        Kind::Control => "vbr".into(),
    }
}

fn line(mnemonic: &'static Mnemonic, cpu: Cpu, size: Option<Size>, operands: Vec<Operand>, at: usize) -> Line {
    let none = Operand::register(Kind::Data, 0);
    let pair = [operands.first().copied().unwrap_or(none), operands.get(1).copied().unwrap_or(none)];
    let written = (pair[0].kind == Kind::Immediate).then_some(pair[0].value);
    let choice = choose(mnemonic, cpu, size, &pair, operands.len(), written).ok();
    let made = choice.map(|it| encode(it.form, it.size, mnemonic.condition, &pair, 0));
    let is_out_of_range =
        matches!(made, Some((_, Some(OperandProblem::Range { .. } | OperandProblem::Distance { .. }))));
    let ours = made.filter(|_| !is_out_of_range).map(|it| it.0.words().to_vec());
    let texts: Vec<_> = operands.iter().map(|it| text(it, at)).collect();
    let suffix = size.map_or(String::new(), |it| format!(".{}", it.letter()));
    let text = format!("{}{suffix} {}", mnemonic.name, texts.join(","));
    Line { name: mnemonic.name, size, operands, text, ours, is_out_of_range }
}

/// Every name once a family of conditions, with every size and every kind of operand; and constants at the ends of the quick forms.
pub(crate) fn lines(cpu: Cpu) -> Vec<Line> {
    let mut lines = Vec::new();
    let names = MNEMONICS
        .iter()
        .filter(|it| !it.is_stretching && (it.instruction.family == Family::Single || it.condition == 7));
    for mnemonic in names {
        let is_branch =
            mnemonic.candidates.iter().any(|it| it.form.slots.iter().any(|it| matches!(it, Slot::Branch | Slot::Loop)));
        // What a label means to the other instructions is for the assembler to decide.
        let kinds: Vec<_> = Kind::ALL.into_iter().filter(|it| *it != Kind::Target || is_branch).collect();
        for size in [None, Some(Size::Byte), Some(Size::Word), Some(Size::Long), Some(Size::Short)] {
            let mut add = |operands| lines.push(line(mnemonic, cpu, size, operands, lines.len()));
            add(vec![]);
            for first in &kinds {
                add(vec![operand(*first, 0)]);
                for second in &kinds {
                    add(vec![operand(*first, 0), operand(*second, 1)]);
                }
            }
            for value in [-32769, -129, -128, -1, 0, 1, 8, 9, 127, 128, 255, 65535, 0xffff_ff80, 0xffff_ffff] {
                for kind in [Kind::Data, Kind::Address, Kind::Indirect] {
                    add(vec![Operand::value(Kind::Immediate, value), operand(kind, 1)]);
                }
            }
        }
    }
    lines
}

#[test]
fn lines_are_legal_and_mean_the_form_that_the_assembler_takes() {
    let mut wrong: BTreeMap<String, (usize, String)> = BTreeMap::new();
    let mut used = vec![0_usize; DIFFERENCES.len()];
    let mut agreed = 0;
    for cpu in [Cpu::M68000, Cpu::M68010] {
        let lines = lines(cpu);
        let texts: Vec<_> = lines.iter().map(|it| it.text.clone()).collect();
        for (line, made) in lines.iter().zip(made(cpu, &texts)) {
            if made == line.ours.as_ref().map(|it| slot(it)) {
                agreed += 1;
                continue;
            }
            let is_taken = made.is_some();
            let is_known = |it: &Difference| {
                // Different words of a line that both take are never right.
                is_taken != line.ours.is_some() && it.is_taken == is_taken && (it.when)(line)
            };
            if let Some(entry) = DIFFERENCES.iter().position(is_known) {
                used[entry] += 1;
                continue;
            }
            let group = format!("{cpu:?} {}.{:?}", line.name, line.size);
            let text = format!("{}: we {:04X?}, the judge {made:02X?}", line.text, line.ours);
            wrong.entry(group).or_insert((0, text)).0 += 1;
        }
    }
    let mut report = String::new();
    for (group, (count, example)) in &wrong {
        let _ = writeln!(report, "{group}, {count} times, first: {example}");
    }
    for (entry, count) in DIFFERENCES.iter().zip(&used) {
        if *count == 0 {
            let _ = writeln!(report, "no longer so: {}", entry.why);
        }
    }
    assert!(report.is_empty(), "{agreed} agree, but\n{report}");
}
