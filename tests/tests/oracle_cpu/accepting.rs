//! The same lines as in `choosing`, through `reveille listing`: a line has an error where the assembler refuses it, and else its bytes.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use reveille_cpu::{Cpu, Kind, Size};
use reveille_tests::run;
use serde_json::Value;

use crate::choosing::{Line, lines};
use crate::writing::{made, slot};

/// Lines that the assembler takes and the listing does not, or the other way round.
struct Exception {
    /// Whether the assembler takes them.
    is_taken: bool,
    when: fn(&Line) -> bool,
    why: &'static str,
}

/// The pages are those of the *M68000 Family Programmer's Reference Manual*, from memory.
#[rustfmt::skip]
static EXCEPTIONS: &[Exception] = &[
    Exception { is_taken: true, when: |it| it.is_out_of_range, why: "drops the upper bits of a constant that is too large, and says nothing; we make it a problem" },
    Exception { is_taken: true, when: |it| BITS.contains(&it.name) && it.size.is_some(), why: "takes either size everywhere; registers are long and memory is bytes: BCHG, BCLR, BSET, BTST" },
    Exception { is_taken: true, when: |it| ["jmp", "jsr"].contains(&it.name) && it.size.is_some(), why: "takes a size of the address; unsized: JMP, JSR" },
    Exception { is_taken: true, when: |it| ["sub", "subq"].contains(&it.name) && it.size == Some(Size::Byte) && it.is_second(&[Kind::Address]), why: "takes a byte of an address register; not ADD's, though: SUBQ, word and long only" },
    Exception { is_taken: true, when: |it| it.name == "dbeq" && it.is_second(&[Kind::AbsoluteShort, Kind::AbsoluteLong]), why: "takes a target with a length, which a distance does not have: DBcc" },
    Exception { is_taken: true, when: |it| it.name == "movec" && it.size != Some(Size::Byte), why: "takes a number for a control register that it has no name for: MOVEC" },
    Exception { is_taken: true, when: |it| it.name == "move" && it.size == Some(Size::Short), why: "reads MOVE.S as MOVES" },
    Exception { is_taken: false, when: |it| it.name == "abcd" && it.size == Some(Size::Byte), why: "takes ABCD without a size alone; byte: ABCD" },
    Exception { is_taken: false, when: |it| it.name == "exg" && it.size == Some(Size::Long), why: "takes EXG without a size alone; long: EXG" },
    Exception { is_taken: false, when: |it| ALONE.contains(&it.name) && it.size.is_none(), why: "has operands where we have a comment: in Motorola syntax it needs no mark behind an operation without operands, and the line reader is as kind in the dotted style" },
];

const ALONE: [&str; 7] = ["illegal", "nop", "reset", "rte", "rtr", "rts", "trapv"];
const BITS: [&str; 4] = ["bchg", "bclr", "bset", "btst"];

/// What the listing makes of a line: nothing if it has an error.
type Taken = Option<String>;

/// What `reveille listing` makes of lines, each with a label of its number before it.
fn listed(cpu: Cpu, dialect: &str, lines: &[Line]) -> Vec<Taken> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut source = String::new();
    for (at, line) in lines.iter().enumerate() {
        let text = if dialect == "motorola" { line.text.replace("0x", "$") } else { line.text.clone() };
        let _ = write!(source, "x{at}:\n\t{text}\n");
    }
    // Behind the last line, where its target is.
    source += &format!("\t{}\t64\n", if dialect == "motorola" { "ds.b" } else { ".space" });
    std::fs::write(folder.path().join("a.s"), source).expect("the folder can be written to");
    let arguments = ["listing", "--format", "json", "--cpu", cpu.name(), "--dialect", dialect, "a.s"];
    let output = run(folder.path(), &arguments);
    assert_eq!((output.code, output.err.as_str()), (1, ""), "some lines are wrong");
    let (mut bytes, mut is_wrong) = (vec![String::new(); lines.len()], BTreeSet::new());
    for row in output.out.lines() {
        let row: Value = serde_json::from_str(row).expect("each line is an object");
        if row.get("finding").is_some() {
            let line = row["range"]["start"]["line"].as_u64().expect("a finding has its line") as usize;
            if row["severity"] == "error" {
                is_wrong.insert(line / 2);
            }
        } else if let line = row["line"].as_u64().expect("a row has its line") as usize
            && line % 2 == 0
            && line / 2 <= lines.len()
        {
            bytes[line / 2 - 1] = row["bytes"].as_str().expect("a row has its bytes").to_owned();
        }
    }
    let made = bytes.into_iter().enumerate().map(|(at, it)| (!is_wrong.contains(&at)).then_some(it));
    made.collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|it| format!("{it:02x}")).collect()
}

#[test]
fn a_listing_has_an_error_where_the_assembler_refuses_a_line_and_else_its_bytes() {
    let mut wrong: BTreeMap<String, (usize, String)> = BTreeMap::new();
    let mut used = vec![0_usize; EXCEPTIONS.len()];
    let mut agreed = 0;
    for cpu in [Cpu::M68000, Cpu::M68010] {
        let lines = lines(cpu);
        let texts: Vec<_> = lines.iter().map(|it| it.text.clone()).collect();
        let theirs = made(cpu, &texts);
        for dialect in ["dotted", "motorola"] {
            for ((line, ours), theirs) in lines.iter().zip(listed(cpu, dialect, &lines)).zip(&theirs) {
                // The judge fills a slot behind what it makes.
                let bytes = ours.as_ref().map(|it| {
                    let words: Result<Vec<u16>, _> =
                        (0..it.len() / 4).map(|at| u16::from_str_radix(&it[4 * at..4 * at + 4], 16)).collect();
                    words.map(|it| slot(&it))
                });
                let is_same = match (&bytes, theirs) {
                    (None, None) => true,
                    (Some(Ok(ours)), Some(theirs)) => ours == theirs,
                    _ => false,
                };
                // The target of a branch without a size is near, so it is short in Motorola syntax, also in the judge's mode for it.
                let is_branch = line.operands.len() == 1 && line.operands[0].kind == Kind::Target;
                if is_same || (dialect == "motorola" && is_branch && line.size.is_none() && theirs.is_some()) {
                    agreed += 1;
                    continue;
                }
                let is_known = |it: &Exception| {
                    // Different bytes of a line that both take are never right.
                    theirs.is_some() != ours.is_some() && it.is_taken == theirs.is_some() && (it.when)(line)
                };
                if let Some(entry) = EXCEPTIONS.iter().position(is_known) {
                    used[entry] += 1;
                    continue;
                }
                let group = format!("{cpu:?} {dialect} {}.{:?}", line.name, line.size);
                let theirs = theirs.as_ref().map(|it| hex(it));
                let text = format!("{}: we {ours:?}, the judge {theirs:?}", line.text);
                wrong.entry(group).or_insert((0, text)).0 += 1;
            }
        }
    }
    let mut report = String::new();
    for (group, (count, example)) in &wrong {
        let _ = writeln!(report, "{group}, {count} times, first: {example}");
    }
    for (entry, count) in EXCEPTIONS.iter().zip(&used) {
        if *count == 0 {
            let _ = writeln!(report, "no longer so: {}", entry.why);
        }
    }
    assert!(report.is_empty(), "{agreed} agree, but\n{report}");
    assert!(agreed > 100_000, "{agreed} lines only");
}
