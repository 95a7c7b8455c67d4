//! Values of random constant expressions as the system's compiler has them.

use std::fmt::Write as _;
use std::process::Command;

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use reveille_c::*;

/// Expressions over types that are the same on the compiler's machine and on a 68000 with an `int` of 4 bytes.
fn expression() -> impl Strategy<Value = String> {
    let small = (0u32..300).prop_map(|it| it.to_string());
    let hexadecimal = any::<u32>().prop_map(|it| format!("0x{it:x}"));
    let octal = any::<u16>().prop_map(|it| format!("0{it:o}"));
    let unsigned = any::<u32>().prop_map(|it| format!("{it}u"));
    let others = prop::sample::select(vec![
        "'a'",
        "'\\n'",
        "'\\377'",
        "'\\x7f'",
        "'ab'",
        "ONE",
        "SUM",
        "LOW(0x1234)",
        "TWICE(3 + 1)",
        "THIRD",
        "2147483647",
        "(int) sizeof(short)",
        "(int) sizeof \"abc\"",
        "(int) sizeof(struct pair)",
        "(int) sizeof(int [3])",
        "MIXED",
    ])
    .prop_map(str::to_owned);
    let leaf = prop_oneof![small.clone(), hexadecimal, octal, unsigned, others];
    leaf.prop_recursive(5, 24, 3, move |inner| {
        let operator = prop::sample::select(vec![
            "+", "-", "*", "/", "%", "&", "|", "^", "==", "!=", "<", ">", "<=", ">=", "&&", "||",
        ]);
        let shift = prop::sample::select(vec!["<<", ">>"]);
        let cast = prop::sample::select(vec![
            "char",
            "unsigned char",
            "short",
            "unsigned short",
            "int",
            "unsigned",
            "signed char",
            "short int",
        ]);
        let unary = prop::sample::select(vec!["-", "~", "!", "+"]);
        prop_oneof![
            4 => (inner.clone(), operator, inner.clone(), any::<bool>()).prop_map(|(left, operator, right, brackets)| {
                if brackets { format!("({left}) {operator} ({right})") } else { format!("{left} {operator} {right}") }
            }),
            1 => (inner.clone(), shift, 0u32..31).prop_map(|(left, shift, by)| format!("({left}) {shift} {by}")),
            2 => (cast, inner.clone()).prop_map(|(cast, of)| format!("({cast}) ({of})")),
            1 => (unary, inner.clone()).prop_map(|(unary, of)| format!("{unary}({of})")),
            1 => (inner.clone(), inner.clone(), inner).prop_map(|(a, b, c)| format!("(({a}) ? ({b}) : ({c}))")),
        ]
    })
}

const BEFORE: &str = "
#define ONE 1
#define SUM ONE + 2
#define LOW(x) ((x) & 0xff)
#define TWICE(x) x * 2
#define MIXED LOW(SUM) - TWICE(ONE)
enum { FIRST = 5, SECOND, THIRD = SECOND * 3 };
struct pair { char a; short b; };
";

#[test]
fn constants_have_the_values_that_the_compiler_gives_them() {
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[68; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    let strategy = expression();
    let all: Vec<String> =
        (0..1500).map(|_| strategy.new_tree(&mut runner).expect("a tree can be made").current()).collect();
    let folder = tempfile::tempdir().expect("a folder can be made");
    let source = folder.path().join("values.c");
    let program = folder.path().join("values");
    // A division by zero ends its own child and no more; overflow is told apart by the sanitizer's trap, which does too.
    let mut text = format!("#include <stdio.h>\n#include <unistd.h>\n#include <sys/wait.h>\n{BEFORE}");
    text.push_str("#define ASK(n, e) case n: printf(\"%d %lld\\n\", n, (long long) (e)); fflush(stdout); _exit(0);\n");
    text.push_str("volatile int which;\nint main() {\nint i;\nfor (i = 0; i < COUNT; i++) { fflush(stdout); if (fork() == 0) { which = i; switch (which) {\n");
    for (index, it) in all.iter().enumerate() {
        writeln!(text, "ASK({index}, {it})").expect("a string takes text");
    }
    text.push_str("} }\nwait(0); }\nreturn 0; }\n");
    let text = text.replace("COUNT", &all.len().to_string());
    std::fs::write(&source, text).expect("a file can be written");
    let flags = ["-w", "-std=gnu89", "-O0", "-fsanitize=undefined", "-fsanitize-undefined-trap-on-error"];
    let made = Command::new("cc").args(flags).arg(&source).arg("-o").arg(&program).output();
    let made = made.expect("the system has a compiler");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let output = Command::new(&program).output().expect("the program runs");
    let told = String::from_utf8(output.stdout).expect("numbers are text");
    let mut judged = 0;
    let mut wrong = Vec::new();
    for line in told.lines() {
        let (index, value) = line.split_once(' ').expect("a line has two parts");
        let expression = &all[index.parse::<usize>().expect("an index")];
        let value: i64 = value.parse().expect("a number");
        judged += 1;
        let text = format!("{BEFORE}\nint it = {expression};\n");
        let text = Text { key: FileKey(0), text: text.into() };
        let settings = Settings { int_bytes: 4, defines: Vec::new() };
        let unit = Unit::read(&text, &mut |_, _, _| None, &settings);
        let Some(Init::Value(init)) = &unit.objects()[0].init else { panic!("`{expression}` is not read") };
        let ours = unit.value(init).map(|it| it.value);
        if ours != Some(value) {
            wrong.push(format!("{expression}: {ours:?}, the compiler says {value}"));
        }
    }
    assert!(judged > 700, "{judged}");
    assert!(wrong.is_empty(), "{} of {judged}:\n{}", wrong.len(), wrong[..wrong.len().min(20)].join("\n"));
}
