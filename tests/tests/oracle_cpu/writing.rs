//! The printed text, against an assembler.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::process::Command;

use reveille_cpu::{Cpu, Decoded, Kind, Operand, Slot, choose, encode, mnemonic};

use crate::image::{Case, SETS, SLOT, cases};
use crate::judges::run;
use crate::reading::matches;

/// What fills the rest of a slot.
const FILL: u8 = 0xa5;

/// What an assembler makes of a case: a slot with its filling, or nothing if it refuses the line.
pub(crate) type Made = Option<Vec<u8>>;

/// Lines that the assembler does not make the same words of.
struct Rewrite {
    /// The first word, as in the table of disagreements.
    first: &'static str,
    /// The words that it makes; none if it refuses the line.
    made: fn(&Case, &Decoded) -> Option<Vec<u16>>,
    /// Why it may.
    why: &'static str,
}

/// ADD, SUB, CMP and AND, OR with a constant: the forms that no assembler chooses.
const WITH_CONSTANT: [&str; 2] = ["1xx1 xxx0 ss11 1100", "1x00 xxx0 ss11 1100"];

#[rustfmt::skip]
static REWRITES: &[Rewrite] = &[
    Rewrite { first: "xxxx xxxx xxxx xxxx", made: without_zero, why: "leaves a displacement of 0 out, which says the same (GNU as, `m68k_ip`; common practice)" },
    Rewrite { first: WITH_CONSTANT[0], made: chosen, why: "has ADDI, SUBI, CMPI for ADD, SUB, CMP with a constant; so have we, when we choose" },
    Rewrite { first: WITH_CONSTANT[1], made: chosen, why: "has ANDI, ORI for AND, OR with a constant; so have we, when we choose" },
    Rewrite { first: "1x00 xxx1 0000 xyyy", made: refused, why: "takes ABCD and SBCD without a size alone; byte is theirs in the manual" },
    Rewrite { first: "1100 xxx1 xx00 xyyy", made: refused, why: "takes EXG without a size alone; long is its size in the manual" },
    Rewrite { first: "xxxx xxxx xx11 1011", made: refused_at_0, why: "refuses the distance 0 beside an index, as if it were a short branch: its own fault" },
    Rewrite { first: "0x00 1x00 xx11 1010", made: refused, why: "checks a distance behind a bit number or a list from one word too early: 32767 is too far for it" },
    Rewrite { first: "0010 xxx0 0011 1100", made: quick, why: "has MOVEQ for MOVE.L with a small constant; so have we, when we choose and it is written out" },
    Rewrite { first: "0110 cccc 1111 1111", made: refused, why: "refuses the distance -1, which marks 32 bits from the 68020 on; odd, so no program has it" },
];

/// Nothing if the distance of an indexed PC-relative operand is 0.
fn refused_at_0(case: &Case, decoded: &Decoded) -> Option<Vec<u16>> {
    let words = &case.words[..usize::from(decoded.words)];
    // Where its word stands: behind the number of a bit or a list of registers.
    let leading = decoded.form.slots.iter().filter(|it| matches!(it, Slot::Bit | Slot::List)).count();
    let own = case.address + 2 * (1 + leading as i64);
    let is_at_0 = decoded.operands.iter().any(|it| it.kind == Kind::PcIndex && it.value == own);
    (!is_at_0).then(|| words.to_vec())
}

/// The words with `(An)` for `0(An)`.
fn without_zero(case: &Case, decoded: &Decoded) -> Option<Vec<u16>> {
    let shorter = |operand: Operand| match operand.kind {
        Kind::Displacement if operand.value == 0 => Operand { kind: Kind::Indirect, ..operand },
        _ => operand,
    };
    let operands = decoded.operands.map(shorter);
    let (encoding, _) = encode(decoded.form, decoded.size, decoded.condition, &operands, case.address);
    Some(encoding.words().to_vec())
}

/// The words of the form that we would choose for the text, its constant not written out.
fn chosen(case: &Case, decoded: &Decoded) -> Option<Vec<u16>> {
    chosen_if(case, decoded, None)
}

/// The same, its constant written out as a number.
fn quick(case: &Case, decoded: &Decoded) -> Option<Vec<u16>> {
    chosen_if(case, decoded, Some(decoded.operands[0].value))
}

fn chosen_if(case: &Case, decoded: &Decoded, written: Option<i64>) -> Option<Vec<u16>> {
    let mnemonic = mnemonic(&decoded.name())?;
    let size = (!decoded.form.sizes.is_empty()).then_some(decoded.size);
    let count = decoded.form.operand_count();
    let choice = choose(mnemonic, Cpu::M68010, size, &decoded.operands, count, written).ok()?;
    let (encoding, _) = encode(choice.form, choice.size, mnemonic.condition, &decoded.operands, case.address);
    Some(encoding.words().to_vec())
}

fn refused(_: &Case, _: &Decoded) -> Option<Vec<u16>> {
    None
}

/// A slot with these words.
pub(crate) fn slot(words: &[u16]) -> Vec<u8> {
    let mut bytes: Vec<u8> = words.iter().flat_map(|it| it.to_be_bytes()).collect();
    bytes.resize(SLOT, FILL);
    bytes
}

/// Our text as the assembler wants it: numbers in its spelling, and targets as a label and a distance.
fn line(at: usize, case: &Case, decoded: &Decoded) -> String {
    let mut text = decoded.to_string().replace('$', "0x");
    for operand in &decoded.operands {
        if matches!(operand.kind, Kind::Target | Kind::PcDisplacement | Kind::PcIndex) {
            let target = format!("0x{:X}", operand.value & 0xffff_ffff);
            assert!(text.contains(&target), "{decoded}");
            text = text.replacen(&target, &format!("x{at}+{}", operand.value - case.address), 1);
        }
    }
    text
}

/// What GNU as makes of each text, in which `x` and the text's number is the label of its place.
pub(crate) fn made(cpu: Cpu, lines: &[String]) -> Vec<Made> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut source = String::new();
    for (at, line) in lines.iter().enumerate() {
        // Three lines a case.
        let _ = write!(source, "\t.org {},{FILL}\nx{at}:\n\t{line}\n", at * SLOT);
    }
    let _ = writeln!(source, "\t.org {},{FILL}", lines.len() * SLOT);
    let path = |name| folder.path().join(name);
    std::fs::write(path("a.s"), source).expect("the folder can be written to");
    let output = Command::new("m68k-linux-gnu-as")
        .args(["--register-prefix-optional", &format!("-m{}", cpu.name()), "-Z", "-o"])
        .args([path("a.o"), path("a.s")])
        .output();
    let Ok(output) = output else { panic!("m68k-linux-gnu-as is missing: run tests/install-tools.sh system") };
    let mut is_refused = vec![false; lines.len()];
    for said in String::from_utf8_lossy(&output.stderr).lines().filter(|it| it.contains("Error:")) {
        let number = said.split(':').nth(1).and_then(|it| it.parse::<usize>().ok());
        is_refused[number.unwrap_or_else(|| panic!("an error of the judge has its line: {said}")) / 3 - 1] = true;
    }
    run(Command::new("m68k-linux-gnu-objcopy")
        .args(["-O", "binary", "-j", ".text"])
        .args([path("a.o"), path("a.bin")]));
    let bytes = std::fs::read(path("a.bin")).expect("objcopy writes the bytes");
    assert_eq!(bytes.len(), lines.len() * SLOT);
    bytes.chunks(SLOT).zip(is_refused).map(|(slot, is_refused)| (!is_refused).then(|| slot.to_vec())).collect()
}

#[test]
fn the_text_of_each_instruction_assembles_to_its_words() {
    let mut wrong: BTreeMap<String, (usize, String)> = BTreeMap::new();
    let mut used = vec![0_usize; REWRITES.len()];
    let mut agreed = 0;
    for (at, set) in SETS.iter().enumerate() {
        let cases = cases(at);
        let cases: Vec<_> = cases.iter().filter_map(|it| it.ours.map(|ours| (it, ours))).collect();
        let lines: Vec<_> = cases.iter().enumerate().map(|(at, (case, ours))| line(at, case, ours)).collect();
        for ((case, decoded), made) in cases.iter().zip(made(set.cpu, &lines)) {
            // What we choose for our own text is what the text says: but for constants, that is the form that it was read as.
            let words = &case.words[..usize::from(decoded.words)];
            let ours = chosen(case, decoded);
            if ours.as_deref() != Some(words) && !WITH_CONSTANT.iter().any(|it| matches(it, words[0])) {
                wrong
                    .entry("chosen".into())
                    .or_insert((0, format!("{decoded}: {words:04X?}, we choose {ours:04X?}")))
                    .0 += 1;
            }
            if made.as_ref() == Some(&slot(words)) {
                agreed += 1;
                continue;
            }
            let is_rewrite =
                |it: &Rewrite| matches(it.first, words[0]) && (it.made)(case, decoded).map(|it| slot(&it)) == made;
            if let Some(entry) = REWRITES.iter().position(is_rewrite) {
                used[entry] += 1;
                continue;
            }
            let group = format!("{:?} {}", set.cpu, decoded.form.pattern);
            let text = format!("{decoded}: {words:04X?}, the judge makes {made:02X?}");
            wrong.entry(group).or_insert((0, text)).0 += 1;
        }
    }
    let mut report = String::new();
    for (group, (count, example)) in &wrong {
        let _ = writeln!(report, "{group}, {count} times, first: {example}");
    }
    for (entry, count) in REWRITES.iter().zip(&used) {
        if *count == 0 {
            let _ = writeln!(report, "no longer so: {}: {}", entry.first, entry.why);
        }
    }
    assert!(report.is_empty(), "{agreed} agree, but\n{report}");
}
