//! Sources made to take all time and memory: `lint` ends within bounds, tells of them at a place, and reads the line behind them.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use reveille_tests::program;
use serde_json::Value;

/// How long `lint` may take, on a busy machine. None takes more than four seconds on an idle one.
const PATIENCE: Duration = Duration::from_secs(40);

/// The most memory of the process, in KiB.
const MEMORY: usize = 4 << 20;

/// A line that is told of, as long as it is read.
const LAST: &str = "\tdc.b\t300\n";
const LAST_DOTTED: &str = "\t.byte\t300\n";

/// The codes of what `lint` tells of a file, each once in a row; every finding has a place in it.
fn codes_of(text: &str) -> Vec<String> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("a.s"), text).expect("the folder can be written to");
    codes_in(folder.path(), text)
}

fn codes_in(folder: &Path, text: &str) -> Vec<String> {
    let head: String = text.chars().take(60).collect();
    let start = Instant::now();
    let output = Command::new("sh")
        .args(["-c", &format!("ulimit -v {MEMORY}; exec \"$0\" lint --format json a.s")])
        .arg(program())
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts");
    let took = start.elapsed();
    let said = String::from_utf8_lossy(&output.stderr);
    // None is the code of a program that a signal ended.
    assert!(matches!(output.status.code(), Some(0 | 1)), "{head}: {:?}: {said}", output.status);
    assert!(!said.contains("panicked"), "{head}: {said}");
    assert!(took < PATIENCE, "{head}: took {took:?}");
    let (lines, mut found) = (text.lines().count(), Vec::new());
    for line in String::from_utf8_lossy(&output.stdout).lines() {
        let finding: Value = serde_json::from_str(line).unwrap_or_else(|_| panic!("{head}: no finding: {line}"));
        let at = finding["range"]["start"]["line"].as_u64().expect("a finding has a place") as usize;
        assert!(at <= lines, "{head}: there is no line {at}");
        found.push(finding["finding"].as_str().expect("a finding has its code").to_owned());
    }
    found.dedup();
    found
}

/// `head`, so many lines made of their numbers, `tail`.
fn many(head: &str, count: usize, line: impl Fn(usize) -> String, tail: &str) -> String {
    let lines: String = (1..=count).map(line).collect();
    format!("{head}{lines}{tail}")
}

fn all(cases: &[(String, &[&str])]) {
    for (text, codes) in cases {
        let head: String = text.chars().take(60).collect();
        assert_eq!(codes_of(text), *codes, "{head}");
    }
}

#[test]
fn macros_without_an_end_are_told_of() {
    let end = |text: &str| format!("{text}{LAST}");
    let doubling = |at: usize| format!("m{at}\tMACRO\n\tm{0}\n\tm{0}\n\tENDM\n", at - 1);
    all(&[
        (end("a\tMACRO\n\tb\n\tENDM\nb\tMACRO\n\ta\n\tENDM\n\ta\n"), &["layout-008", "value-007"]),
        (format!("\t.macro a\n\ta\n\ta\n\t.endm\n\ta\n{LAST_DOTTED}"), &["layout-008", "value-007"]),
        (many("m0\tMACRO\n\tnop\n\tENDM\n", 40, doubling, &end("\tm40\n")), &["layout-008", "value-007"]),
        // An argument that doubles becomes a line that is too long.
        (end("m\tMACRO\n\tm\t\\1\\1,\\1\\1\n\tENDM\n\tm\txxxxxxxx\n"), &["source-005", "value-007"]),
        // Each expansion defines another macro.
        (end("m\tMACRO\nm\\@\tMACRO\n\tm\n\tENDM\n\tm\n\tm\\@\n\tENDM\n\tm\n"), &["layout-008", "value-007"]),
        (
            end(&format!("m\tMACRO\n\tdc.b\t\\1\\1\\1\n\tENDM\n\tm\t<{}1>\n", "1,".repeat(15_000))),
            &["source-005", "value-007"],
        ),
        // No bomb: as many calls as a large program has.
        (end(&format!("m\tMACRO\n\tnop\n\tENDM\n{}", "\tm\n".repeat(200_000))), &["value-007"]),
    ]);
}

#[test]
fn repetitions_of_a_million_end() {
    let end = |text: &str| format!("{text}{LAST}");
    all(&[
        (end("\tREPT\t1000000\n\tnop\n\tENDR\n"), &["layout-008", "value-007"]),
        (end("\tREPT\t1000000\n\tENDR\n"), &["value-007"]),
        (end("\tREPT\t1000000\n*\n\tENDR\n"), &["value-007"]),
        (end("\tREPT\t$7FFFFFFF\n\tnop\n\tENDR\n"), &["layout-002", "value-007"]),
        (end("\tREPT\t-1\n\tnop\n\tENDR\n"), &["layout-002", "value-007"]),
        (end("\tREPT\t1000\n\tREPT\t1000\n\tnop\n\tENDR\n\tENDR\n"), &["value-007"]),
        (end(&format!("{}{}", "\tREPT\t1000\n".repeat(3), "\tENDR\n".repeat(3))), &["layout-008", "value-007"]),
        (
            end(&format!("{}\tnop\n{}", "\tREPT\t2\n".repeat(5_000), "\tENDR\n".repeat(5_000))),
            &["layout-008", "value-007"],
        ),
        (end("N\tSET\t0\n\tREPT\t200000\nN\tSET\tN+1\n\tENDR\n"), &["value-007"]),
        (end("\tREPT\t200000\nl\\@\tbra\tl\\@\n\tENDR\n"), &["value-007"]),
        (format!("\t.irpc c,{}\n\t.byte \\c\n\t.endr\n{LAST_DOTTED}", "1".repeat(60_000)), &["value-007"]),
        (format!("\t.irp c,{}1\n\t.byte \\c\n\t.endr\n{LAST_DOTTED}", "1,".repeat(30_000)), &["value-007"]),
    ]);
}

#[test]
fn a_hundred_thousand_conditionals_and_brackets_end() {
    let (ifs, ends) = ("\tIFEQ\t0\n".repeat(100_000), "\tENDC\n".repeat(100_000));
    let brackets = |count: usize| format!("{}1{}", "(".repeat(count), ")".repeat(count));
    all(&[
        (format!("{ifs}\tnop\n{ends}{LAST}"), &["value-007"]),
        (format!("{}\tnop\n{ends}{LAST}", ifs.replace("EQ", "NE")), &["value-007"]),
        (format!("{ends}{LAST}"), &["layout-004", "value-007"]),
        (
            format!("{}{}\t.text\n{LAST_DOTTED}", "#ifdef A\n".repeat(100_000), "#endif\n".repeat(100_000)),
            &["value-007"],
        ),
        (format!("A\tEQU\t{}\n{LAST}", brackets(100_000)), &["source-005", "value-007"]),
        (format!("\t.text\n\t.long {}\n{LAST_DOTTED}", brackets(30_000)), &["value-005", "value-007"]),
        (format!("#if {}\n#endif\n\t.text\n{LAST_DOTTED}", brackets(30_000)), &["value-007"]),
        // A line of nearly 64 KB that is as it should be.
        (format!("\tdc.b\t{}1\n{LAST}", "1,".repeat(32_000)), &["value-007"]),
    ]);
    let open = codes_of(&format!("{ifs}{LAST}"));
    assert!(["layout-005", "value-007"].iter().all(|it| open.iter().any(|code| code == it)), "{open:?}");
}

#[test]
fn names_of_the_preprocessor_that_double_end() {
    let doubling = |at: usize| format!("#define A{at} A{0} A{0}\n", at - 1);
    let with_brackets = |at: usize| format!("#define A{at}(x) A{0}(x x) A{0}(x)\n", at - 1);
    let sum = |at: usize| format!("#define A{at} (A{0}+A{0})\n", at - 1);
    for text in [
        many("#define A0 x x\n", 60, doubling, "\t.text\n\t.byte A60\n\tmove.w #A60, d0\n\tA60\n"),
        many("#define A0(x) x x\n", 60, with_brackets, "\t.text\n\t.byte A60(1)\n"),
        many("#define A0 1\n", 60, sum, "#if A60\n\t.text\n#endif\n\t.word A60\n"),
        many("#define A0 1,2\n", 16, |at| format!("#define A{at} A{0}, A{0}\n", at - 1), &"\t.byte A16\n".repeat(200)),
        "#define A B\n#define B A\n#define C(x) D(x)\n#define D(x) C(x)\n\t.text\n\t.byte A, C(1)\n".to_owned(),
        format!("{}\t.text\n", "#define A \\\n".repeat(50_000)),
        "A\tEQUR\tB\nB\tEQUR\tA\n\tmove.w\tA,B\n\tmove.w\t4(A),d0\n\t.text\n".to_owned(),
        "A\tREG\tB\nB\tREG\tA\n\tmovem.l\tA,-(sp)\n\t.text\n".to_owned(),
    ] {
        let found = codes_of(&format!("{text}{LAST_DOTTED}"));
        assert_eq!(found.last().map(String::as_str), Some("value-007"), "{}: {found:?}", &text[..30]);
    }
}

#[test]
fn files_that_include_themselves_are_told_of() {
    all(&[
        (format!("\tINCLUDE\ta.s\n\tINCLUDE\ta.s\n{LAST}"), &["include-002", "value-007"]),
        (format!("#include \"a.s\"\n#include \"a.s\"\n\t.text\n{LAST_DOTTED}"), &["include-002", "value-007"]),
        (format!("m\tMACRO\n\tINCLUDE\ta.s\n\tm\n\tENDM\n\tm\n{LAST}"), &["include-002", "layout-008", "value-007"]),
        (format!("\tREPT\t100000\n\tINCLUDE\ta.s\n\tENDR\n{LAST}"), &["include-002", "value-007"]),
    ]);
}

#[test]
fn what_is_open_at_the_end_and_what_ends_without_a_start_is_told_of() {
    let before = |text: &str| format!("{LAST}{text}");
    let dotted = |text: &str| format!("{LAST_DOTTED}{text}");
    all(&[
        (before("\tREPT\t5\n\tnop\n"), &["value-007", "layout-005"]),
        (before("m\tMACRO\n\tnop\n"), &["value-007", "layout-005"]),
        (before("\tIFEQ\t0\n\tdc.w\t1\n"), &["value-007", "layout-005"]),
        (before(&"m\tMACRO\n".repeat(10_000)), &["value-007", "layout-005"]),
        (dotted("\t.irp a,1,2\n\tnop\n"), &["value-007", "layout-005"]),
        (dotted("\t.irpc a,12\n\tnop"), &["value-007", "layout-005"]),
        (dotted("#if 1\n\t.word 1"), &["value-007", "layout-005"]),
        (format!("\tENDM\n\tENDR\n\tENDC\n{LAST}"), &["layout-004", "value-007"]),
        (format!("\tELSE\n{LAST}"), &["layout-004", "value-007"]),
        ("\tENDM\n".repeat(50_000), &["layout-004"]),
        // Nothing is left by it; the line behind it is read.
        (format!("\tMEXIT\n{LAST}"), &["value-007"]),
        (
            format!("\tdcb.b\t$7FFFFFFF,1\n\tds.l\t$7FFFFFFF\n\tdcb.l\t1000000000,5\n{LAST}"),
            &["layout-002", "value-007"],
        ),
        (
            format!("\t.text\n\t.fill 1000000000,8,1\n\t.space 1000000000,1\n{LAST_DOTTED}"),
            &["layout-002", "value-007"],
        ),
    ]);
}
