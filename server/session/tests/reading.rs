//! Scripts as text: what is read, what is told, and how lines keep apart.

use proptest::prelude::*;
use reveille_session::verbs::{SPELLED, VERBS, VerbKind};
use reveille_session::{Block, Filled, Interval, Names, Script, Statement, Value};

fn messages(text: &str) -> Vec<String> {
    Script::read(text).problems.into_iter().map(|it| format!("{:?}: {}", &text[it.span], it.message)).collect()
}

fn only(text: &str) -> Statement {
    let script = Script::read(text);
    assert_eq!(script.problems, [], "{text}");
    assert_eq!(script.statements.len(), 1, "{text}");
    script.statements[0].clone()
}

#[test]
fn every_verb_of_the_table_reads_its_own_example() {
    for verb in VERBS {
        let text = match verb.kind {
            VerbKind::If | VerbKind::Repeat => format!("{}\nend\n", verb.example),
            VerbKind::Else => "if 1\nelse\nend\n".to_owned(),
            VerbKind::End => "if 1\nend\n".to_owned(),
            _ => verb.example.to_owned(),
        };
        assert_eq!(messages(&text), [""; 0], "{}", verb.name);
        let found = Script::read(&text);
        if !matches!(verb.kind, VerbKind::Else | VerbKind::End) {
            assert_eq!(found.statements[0].verb.kind, verb.kind, "{}", verb.name);
        }
        assert!(!verb.meaning.ends_with('.') && !verb.meaning.is_empty(), "{}", verb.name);
        assert!(VERBS.iter().filter(|it| it.kind == verb.kind).count() == 1, "{}", verb.name);
    }
}

#[test]
fn every_table_of_the_vocabulary_is_needed_by_a_statement() {
    for (text, key) in [
        ("dump 0 +: 4", "dump"),
        ("fill 0 +: 4 with 1", "fill"),
        ("poke 1 with 2", "poke"),
        ("poke byte 1 with 2", "poke"),
        ("poke word 2 with 2", "poke-word"),
        ("poke long 2 with 2", "poke-long"),
        ("registers", "registers"),
        ("read sector 1 into 2", "read-sector"),
        ("write sector 1 of track 2 of side 0 of drive 1 from 4", "write-sector"),
        ("load boot file", "load-boot-file"),
        ("load \"A.SYS\" into $1000", "load-file"),
        ("start at 0", "start"),
    ] {
        assert_eq!(only(text).vocabulary().as_deref(), Some(key), "{text}");
        assert!(SPELLED.iter().any(|it| it.key == key), "{key}");
    }
    assert_eq!(only("ask pen-lift").vocabulary().as_deref(), Some("pen-lift"));
}

#[test]
fn the_slots_of_a_statement_are_filled() {
    let it = only("read sector 3 of track 2 of side 1 of drive 0 into SECBUF within 10s or stop \"take another disk\"");
    for role in ["sector", "track", "side", "drive", "into"] {
        assert!(it.expression(role).is_some(), "{role}");
    }
    assert_eq!(it.time("within").map(|it| it.value.as_secs()), Some(10));
    assert_eq!(it.text("stop").map(|it| it.value.as_str()), Some("take another disk"));
    let it = only("ask chart-speed speed 10 * 2, pens 2 as answer within 200ms");
    assert_eq!(it.arguments("arguments").iter().map(|it| it.0.value.as_str()).collect::<Vec<_>>(), ["speed", "pens"]);
    assert_eq!(it.word("as").map(|it| it.value.as_str()), Some("answer"));
    let it = only("console 9600 7e2 flow rts-cts rts off");
    assert_eq!(it.frame("frame").map(|it| it.value), Some((7, 'e', 2)));
    assert_eq!((it.word("flow").unwrap().value.as_str(), it.word("rts").unwrap().value.as_str()), ("rts-cts", "off"));
    assert_eq!(only("press control-c").key("key").map(|it| it.value), Some(3));
    assert_eq!(only("press 'B'").key("key").map(|it| it.value), Some(b'B'));
    let it = only("dump boot_formats .. boot_formats_end as formats using fat-block-19");
    assert_eq!(it.word("using").map(|it| it.value.as_str()), Some("fat-block-19"));
    assert!(matches!(it.slot("range"), Some(Filled::Range(it)) if !it.is_length));
    assert!(only("check formats matches source or stop \"another ROM\"").has("source"));
    assert_eq!(only("send \"a\\r\\x1b\\\"\"").text("text").map(|it| it.value.clone()), Some("a\r\x1b\"".into()));
}

#[test]
fn what_is_wrong_is_told_with_what_was_expected() {
    for (text, expected) in [
        ("dmup $400 +: 4", "\"dmup\": `dmup` is no step; did you mean `dump`?"),
        ("banana", "\"banana\": `banana` is no step; expected one such as `dump`, `await` or `check`"),
        ("dump $400", "\"\": expected a range: `..` with its end, or `+:` with its length, the line ends"),
        ("dump $400 ..", "\"\": expected a value: a number, a text, a name, or a bracket, the line ends"),
        ("read 3", "\"3\": expected `sector` behind `read`, found `3`"),
        ("read sector 3 of drive 0 $90000", "\"$90000\": expected `into`, found `$90000`"),
        ("read sector 3", "\"\": expected `of` or `into`, the line ends"),
        ("stage Start", "\"Start\": expected a text between double quotes, found `Start`"),
        ("await prompt within 10", "\"10\": expected a time, as in `200ms`, `10s` or `5min`, found `10`"),
        ("check (1 == 2", "\"\": expected `)`, the line ends"),
        ("log \"a", "\"\\\"a\": a closing \" is missing"),
        ("send \"\\q\"", "\"\\\"\\\\q\\\"\": `\\q` is no escape; write `\\\\` for a backslash"),
        (
            "press enter",
            "\"enter\": `enter` is no key; expected a key: return, escape, space, tab, backspace, delete, control-c or the like, or a character such as 'B'",
        ),
        ("check a = 1", "\"=\": `=` means nothing here"),
        ("check 99999999999999999999", "\"99999999999999999999\": `99999999999999999999` is no number of 64 bits"),
        ("pause 3s now", "\"now\": expected the end of the line (`pause TIME`), found `now`"),
        ("end", "\"end\": there is no `repeat` or `if` that this would end"),
        ("else", "\"else\": `else` stands between `if` and `end`"),
        ("repeat 3 times\npress space", "\"repeat\": `repeat` has no `end`"),
        (
            "press space\nmachine skerry",
            "\"machine skerry\": `machine` stands at the head of a script, before the first step",
        ),
        ("log \"a\"\nlog \"b\"", "\"log \\\"b\\\"\": `log` is there already; take one out"),
        (
            "if 1\nstage \"a\"\nend",
            "\"stage \\\"a\\\"\": a stage cannot begin inside of `repeat` or `if`; write `end` before it",
        ),
    ] {
        assert_eq!(messages(text), [expected], "{text}");
    }
    let fix = Script::read("  dmup 0 +: 1").problems[0].fix.clone();
    assert_eq!(fix, Some((2..6, "dump".to_owned())));
}

#[test]
fn comments_and_continued_lines_are_read() {
    let text = "# head\nread sector 1 \\\n  into $90000 # why\r\npress space\rpress tab";
    let script = Script::read(text);
    assert_eq!(script.problems, []);
    assert_eq!(script.statements.iter().map(|it| it.line).collect::<Vec<_>>(), [1, 3, 4]);
    assert_eq!(&text[script.statements[0].span.clone()], "read sector 1 \\\n  into $90000");
}

struct Known;

impl Names for Known {
    fn name(&self, name: &str) -> Option<Value> {
        match name {
            "SECBUF" => Some(Value::Number(Interval::exactly(0x80200))),
            "any" => Some(Value::Number(Interval::BYTE)),
            "boot" => Some(Value::Block(Block {
                address: Some(0x80200),
                bytes: vec![Some(0x60), Some(0x1c), None, Some(b'O'), Some(b'K')],
                ..Block::default()
            })),
            "later" => Some(Value::Unknown),
            _ => None,
        }
    }

    fn field(&self, _: &Block, field: &str) -> Result<Value, String> {
        if field == "sectors_per_track" { Ok(Value::Number(Interval::exactly(9))) } else { Err("no such field".into()) }
    }
}

fn value(text: &str) -> Result<Value, String> {
    let statement = only(&format!("check {text}"));
    statement.expression("condition").expect("a condition").value(&Known).map_err(|it| it.message)
}

#[test]
fn expressions_have_the_ranks_of_c() {
    for (text, expected) in [
        ("1 + 2 * 3", 7),
        ("(1 + 2) * 3", 9),
        ("7 & 3 == 3", 1),
        ("1 << 4 + 1", 32),
        ("10 - 4 - 3", 3),
        ("-2 + 5", 3),
        ("~0 & $ff", 255),
        ("not 0 and 1", 1),
        ("0 or 0 || 5", 1),
        ("100 % 7", 2),
        ("%101 + $f", 20),
        ("4k + 1", 4097),
        ("'AB'", 0x4142),
        ("SECBUF + 512", 0x80400),
        ("boot[0] * 256 + boot[1]", 0x601c),
        ("boot[3 +: 2] == \"OK\"", 1),
        ("boot[3 .. 5] != \"NO\"", 1),
        ("boot.length", 5),
        ("boot[1 .. 5].address", 0x80201),
        ("boot.sectors_per_track", 9),
        ("1 >= 1 and 2 > 1 and 1 <= 2 and 1 < 2", 1),
    ] {
        assert_eq!(value(text), Ok(Value::Number(Interval::exactly(expected))), "{text}");
    }
}

#[test]
fn what_is_not_known_has_limits() {
    let number = |low, high| Ok(Value::Number(Interval { low, high }));
    assert_eq!(value("boot[2]"), number(0, 255));
    assert_eq!(value("boot[2] == 256"), number(0, 0));
    assert_eq!(value("boot[2] == 7"), number(0, 1));
    assert_eq!(value("boot[2] >= 0"), number(1, 1));
    assert_eq!(value("boot[2] * 256 + any"), number(0, 65_535));
    assert_eq!(value("any & $0f"), number(0, 15));
    assert_eq!(value("any >> 4"), number(0, 15));
    assert_eq!(value("any % 10"), number(0, 9));
    assert_eq!(value("later[3]"), Ok(Value::Unknown));
    assert_eq!(value("later[3] == 3"), number(0, 1));
    assert_eq!(value("boot == \"no\""), number(0, 0));
}

#[test]
fn what_cannot_be_worked_out_is_told() {
    for (text, expected) in [
        ("nobody", "nobody knows `nobody`"),
        ("boot[5]", "byte 5 is not in the block, which has bytes 0 to 4"),
        ("boot[3 +: 4]", "4 bytes from 3 is not in the block, which has bytes 0 to 4"),
        ("SECBUF[0]", "this is a number, expected a block that a step has bound by `as`"),
        ("1 / 0", "this divides by 0"),
        (
            "boot + 1",
            "this operator stands between a block and a number; it takes numbers, such as a byte `boot[0]` of a block",
        ),
        ("boot.colour", "no such field"),
        ("-\"a\"", "this is a text, expected a number; up to four characters between single quotes are one"),
    ] {
        assert_eq!(value(text), Err(expected.to_owned()), "{text}");
    }
}

/// A small expression over numbers that are known, and what it is in plain arithmetic of 64 bits.
fn arithmetic() -> impl Strategy<Value = (String, Option<i64>)> {
    let leaf = prop_oneof![
        (0_i64..70_000).prop_map(|it| (it.to_string(), Some(it))),
        (0_i64..70_000).prop_map(|it| (format!("${it:x}"), Some(it))),
    ];
    leaf.prop_recursive(4, 24, 2, |inner| {
        const OPERATORS: &[&str] = &["+", "-", "*", "/", "%", "&", "|", "^", "<<", ">>", "==", "<", ">="];
        (inner.clone(), proptest::sample::select(OPERATORS), inner).prop_map(|(a, operator, b)| {
            let value = a.1.zip(b.1).and_then(|(a, b)| match operator {
                "+" => a.checked_add(b),
                "-" => a.checked_sub(b),
                "*" => a.checked_mul(b),
                "/" => a.checked_div(b),
                "%" => a.checked_rem(b),
                "&" => Some(a & b),
                "|" => Some(a | b),
                "^" => Some(a ^ b),
                "<<" => u32::try_from(b).ok().filter(|it| *it < 64).map(|it| a << it),
                ">>" => u32::try_from(b).ok().filter(|it| *it < 64).map(|it| a >> it),
                "==" => Some(i64::from(a == b)),
                "<" => Some(i64::from(a < b)),
                _ => Some(i64::from(a >= b)),
            });
            (format!("({} {operator} {})", a.0, b.0), value)
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arithmetic_is_that_of_64_bits(it in arithmetic()) {
        if let (Some(expected), Ok(found)) = (it.1, value(&it.0)) {
            prop_assert_eq!(found.known(), Some(expected), "{}", it.0);
        }
    }

    #[test]
    fn any_text_is_read_without_harm(text in "\\PC{0,200}") {
        for problem in Script::read(&text).problems {
            prop_assert!(text.get(problem.span.clone()).is_some(), "{problem:?}");
        }
    }

    #[test]
    fn words_of_the_language_in_any_order_are_read_without_harm(words in proptest::collection::vec(
        proptest::sample::select(&["dump", "check", "$400", "..", "+:", "as", "a", "[", "]", "(", ")", "if", "else", "end",
            "repeat", "times", "3", "within", "10s", "or", "stop", "\"t\"", "\n", "\\\n", "# c\n", "read", "sector", "into",
            "matches", "source", "not", "-", "%1", ".", ",", "ask", "'A'", "8n1", "console", "from"][..]), 0..40)) {
        let text = words.join(" ");
        for problem in Script::read(&text).problems {
            prop_assert!(text.get(problem.span.clone()).is_some(), "{problem:?}");
        }
    }

    /// A line that cannot be read leaves the statements of all others as they are.
    #[test]
    fn lines_stay_apart(at in 0_usize..4, broken in "[^\r\n\\\\]{0,30}") {
        let good = ["press space", "dump $400 +: 16 as a", "check a[0] == 1", "pause 2s"];
        let mut lines: Vec<&str> = good.to_vec();
        lines.insert(at, &broken);
        let script = Script::read(&lines.join("\n"));
        let read = |it: &&Statement| it.line != at;
        let found: Vec<&str> = script.statements.iter().filter(read).map(|it| it.verb.name).collect();
        let opens = ["if", "repeat"].iter().any(|it| broken.trim_start().starts_with(it));
        if !opens {
            prop_assert_eq!(found, ["press", "dump", "check", "pause"]);
        }
    }
}

#[test]
fn what_is_too_deep_is_told_and_left_out() {
    for (line, part) in [("check a", " + a"), ("check a", ".b"), ("check a", "[0]"), ("check a", " and a")] {
        let script = Script::read(&format!("{line}{}\npause 1s\n", part.repeat(100_000)));
        assert_eq!(script.problems[0].message, "the line has more than 500 words and signs; take it apart");
        assert_eq!(script.statements.len(), 1, "the next line is read");
        assert_eq!(reveille_session::Expression::read(&format!("a{}", part.repeat(100_000))), None);
    }
    let text = format!("{}pause 1s\n{}press return\n", "if 1\n".repeat(100_000), "end\n".repeat(100_000));
    let script = Script::read(&text);
    let told: Vec<&str> = script.problems.iter().map(|it| it.message.as_str()).collect();
    assert_eq!(told, ["more than 64 `if` and `repeat` stand in each other; take them apart"]);
    assert_eq!(script.statements.len(), 2, "each `end` ends its own");
}
