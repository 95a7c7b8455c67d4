//! The table of mnemonics against GNU as: names, sizes and numbers of operands.
//!
//! Outside judge: GNU as 2.40 for the 68000, `-m68010` for what only that CPU has. Not in its `--mri` mode: there it takes
//! what stands behind an instruction without operands for comment.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::process::Command;

use reveille_cpu::{MNEMONICS, Size};

/// A line for the judge: a mnemonic, a size letter or none, operands.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Try {
    name: &'static str,
    size: Option<char>,
    operands: &'static str,
}

/// Which of the lines GNU as takes. A target `x` of a branch stands right behind each line.
fn taken(lines: &[Try], cpu: &str) -> Vec<bool> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut source = String::new();
    for (at, it) in lines.iter().enumerate() {
        let size = it.size.map_or(String::new(), |size| format!(".{size}"));
        let operands = it.operands.replace('x', &format!("x{at}"));
        // Three lines a try: the line, something to branch over, the target.
        let _ = write!(source, "\t{}{size}\t{operands}\n\tnop\nx{at}:\n", it.name);
    }
    let path = folder.path().join("a.s");
    std::fs::write(&path, source).expect("the folder can be written to");
    let output = Command::new("m68k-linux-gnu-as")
        .args(["--register-prefix-optional", cpu, "-o"])
        .args([folder.path().join("a.o"), path])
        .output();
    let Ok(output) = output else {
        panic!("m68k-linux-gnu-as is missing: run tests/install-tools.sh system");
    };
    let mut all = vec![true; lines.len()];
    for line in String::from_utf8_lossy(&output.stderr).lines().filter(|it| it.contains("Error:")) {
        let number = line.split(':').nth(1).and_then(|it| it.parse::<usize>().ok());
        let number = number.unwrap_or_else(|| panic!("an error of the judge has its line: {line}"));
        all[(number - 1) / 3] = false;
    }
    all
}

/// Operands to try, by their number. `x` is the target of a branch.
const OPERANDS: [&[&str]; 4] = [
    &[""],
    &["d0", "a0", "(a0)", "#1", "x"],
    &[
        "d0,d1",
        "d0,(a0)",
        "#1,d0",
        "#1,(a0)",
        "(a0),d0",
        "(a0),a1",
        "d0,a1",
        "(a0)+,(a1)+",
        "-(a0),-(a1)",
        "d0-d1,(a0)",
        "4(a0),d0",
        "d0,4(a0)",
        "a0,#-4",
        "a0,vbr",
        "d0,x",
    ],
    &["d0,d1,d2", "#1,d0,d1", "(a0),d0,d1"],
];

const SIZES: [Option<char>; 5] = [None, Some('b'), Some('w'), Some('l'), Some('s')];

/// What only the 68010 has: M68000 family reference manual, from memory.
const OF_THE_68010: &[&str] = &["bkpt", "movec", "moves", "rtd"];

fn cpu(name: &str) -> &'static str {
    if OF_THE_68010.contains(&name) { "-m68010" } else { "-m68000" }
}

/// What GNU as takes: for each mnemonic the sizes and the numbers of operands, each in some form.
fn judged() -> BTreeMap<&'static str, BTreeMap<Option<char>, BTreeSet<usize>>> {
    let mut found: BTreeMap<_, BTreeMap<_, BTreeSet<usize>>> = BTreeMap::new();
    for cpu_option in ["-m68000", "-m68010"] {
        let mut tries = Vec::new();
        for mnemonic in MNEMONICS.iter().filter(|it| cpu(it.name) == cpu_option) {
            for size in SIZES {
                for (count, forms) in OPERANDS.iter().enumerate() {
                    tries.extend(forms.iter().map(|operands| (Try { name: mnemonic.name, size, operands }, count)));
                }
            }
        }
        let lines: Vec<Try> = tries.iter().map(|it| it.0.clone()).collect();
        for ((it, count), is_taken) in tries.into_iter().zip(taken(&lines, cpu_option)) {
            let sizes = found.entry(it.name).or_default().entry(it.size).or_default();
            if is_taken {
                sizes.insert(count);
            }
        }
    }
    found
}

/// Where the judge and the table differ, and why the table stands.
const EXCEPTIONS: &[(&str, &[&str], Option<char>)] = &[
    (
        "takes only the bare name, although the CPU maker's manual calls it a byte operation (from memory)",
        &["abcd"],
        Some('b'),
    ),
    ("takes only the bare name, although both registers are exchanged as long words", &["exg"], Some('l')),
    (
        "means the 32-bit branch of the 68020 by it; resident assemblers mean the 16-bit one (from memory)",
        &[
            "bcc", "bcs", "beq", "bge", "bgt", "bhi", "bhs", "ble", "blo", "bls", "blt", "bmi", "bne", "bpl", "bra",
            "bsr", "bvc", "bvs",
        ],
        Some('l'),
    ),
];

/// Names that the judge does not know: second names like `bhs` and `blo`, which it knows; common practice, no source.
const UNKNOWN_TO_THE_JUDGE: &[&str] = &["dblo", "shs", "slo"];

/// The judge takes a size of the jump's address here; jumps have none in the CPU maker's manual (from memory).
const SIZED_BY_THE_JUDGE: &[&str] = &["jmp", "jsr"];

#[test]
fn every_mnemonic_is_taken_in_each_size_that_it_lists_and_in_no_other() {
    let judged = judged();
    let mut wrong = String::new();
    for mnemonic in MNEMONICS.iter() {
        let sizes = &judged[mnemonic.name];
        for size in SIZES {
            let expected = match size {
                None => true,
                Some(letter) => {
                    let size = Size::from_letter(letter as u8).expect("a size letter");
                    mnemonic.sizes.allows(size)
                }
            };
            let is_taken = !sizes[&size].is_empty();
            let exception = EXCEPTIONS.iter().find(|it| it.1.contains(&mnemonic.name) && it.2 == size);
            let is_foreign = UNKNOWN_TO_THE_JUDGE.contains(&mnemonic.name)
                || SIZED_BY_THE_JUDGE.contains(&mnemonic.name) && matches!(size, Some('s' | 'l'));
            match exception {
                Some((reason, ..)) if is_taken == expected => {
                    let _ = writeln!(wrong, "{}.{size:?}: no longer an exception: the judge {reason}", mnemonic.name);
                }
                None if is_taken != expected && !is_foreign => {
                    let _ = writeln!(wrong, "{}.{size:?}: judge {is_taken}, table {expected}", mnemonic.name);
                }
                _ => (),
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
    for name in UNKNOWN_TO_THE_JUDGE {
        assert!(judged[name].values().all(BTreeSet::is_empty), "the judge knows {name} now");
    }
}

#[test]
fn every_mnemonic_takes_the_numbers_of_operands_that_it_lists_and_no_other() {
    let judged = judged();
    let mut wrong = String::new();
    for mnemonic in MNEMONICS.iter().filter(|it| !UNKNOWN_TO_THE_JUDGE.contains(&it.name)) {
        let counts: BTreeSet<usize> = judged[mnemonic.name].values().flatten().copied().collect();
        let expected: BTreeSet<usize> = (mnemonic.operands.least..=mnemonic.operands.most).map(usize::from).collect();
        if counts != expected {
            let _ = writeln!(wrong, "{}: judge {counts:?}, table {expected:?}", mnemonic.name);
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}
