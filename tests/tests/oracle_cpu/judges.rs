//! Runs the judges.

use std::path::{Path, PathBuf};
use std::process::Command;

use reveille_cpu::Cpu;
use reveille_tests::skerry::python;

use crate::image::{Case, SLOT, START, image};
use crate::text::{Reading, of_library, of_objdump};

/// A disassembler.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Judge {
    /// GNU objdump.
    Objdump,
    /// The library.
    Library,
}

/// A file beside this one.
pub(crate) fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle_cpu").join(name)
}

/// Runs a command that must succeed.
pub(crate) fn run(command: &mut Command) -> String {
    let name = command.get_program().to_string_lossy().into_owned();
    let Ok(output) = command.output() else { panic!("{name} is missing: run tests/install-tools.sh system judges") };
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{name}: {said}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// What a judge reads at each case.
pub(crate) fn readings(judge: Judge, cpu: Cpu, cases: &[Case]) -> Vec<Option<Reading>> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("image");
    std::fs::write(&path, image(cases)).expect("the folder can be written to");
    match judge {
        Judge::Objdump => {
            let text = run(Command::new("m68k-linux-gnu-objdump")
                .args(["-z", "-D", "-b", "binary", "--insn-width=10", "-m", &format!("m68k:{}", cpu.name())])
                .arg(format!("--adjust-vma={START}"))
                .arg(&path));
            by_slot(&text, cases.len())
        }
        Judge::Library => {
            let output = folder.path().join("text");
            run(Command::new(python())
                .arg(script("disassemble.py"))
                .arg(cpu.name())
                .arg(&path)
                .arg(START.to_string())
                .arg(&output));
            let text = std::fs::read_to_string(output).expect("the script writes the text");
            let readings: Vec<_> = text.lines().map(of_library).collect();
            assert_eq!(readings.len(), cases.len());
            readings
        }
    }
}

/// The lines of objdump that start a slot: `address:\twords \ttext`.
fn by_slot(text: &str, count: usize) -> Vec<Option<Reading>> {
    let mut found = Vec::with_capacity(count);
    for line in text.lines() {
        let Some((address, rest)) = line.split_once(":\t") else { continue };
        let Ok(address) = i64::from_str_radix(address.trim_start(), 16) else { continue };
        if address % SLOT as i64 == 0 {
            assert_eq!(address, START + (found.len() * SLOT) as i64, "objdump is out of step");
            let (words, text) = rest.split_once('\t').expect("words and text");
            found.push(of_objdump(words, text));
        }
    }
    assert_eq!(found.len(), count);
    found
}
