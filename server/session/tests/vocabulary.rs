//! The vocabulary: what is typed, and how replies are read and made.

use proptest::prelude::*;
use reveille_session::verbs::{Changes, SPELLED};
use reveille_session::{Made, Monitor, Pattern, Put, Shown, Template, hex_bytes};

fn typed(template: &str, values: &[(&str, i64)]) -> Result<String, String> {
    let put = |name: &str| values.iter().find(|it| it.0 == name).map(|it| Put::Number(it.1));
    Template::new(template).map_err(|it| it.message)?.text(&put)
}

#[test]
fn values_are_put_in_as_their_braces_say() {
    for (template, expected) in [
        ("list {a} {b}", "list 255 10"),
        ("list {a:x},{b:X}", "list ff,A"),
        ("{a:08x}/{b:04}", "000000ff/0010"),
        ("{{{a:2X}}}", "{FF}"),
        ("nothing", "nothing"),
    ] {
        assert_eq!(typed(template, &[("a", 255), ("b", 10)]).as_deref(), Ok(expected), "{template}");
    }
    for (template, expected) in [
        ("{c}", "`{c}` has no value"),
        ("{a", "`{` has no `}`; write `{{` for the brace itself"),
        ("a}", "`}` has no `{`; write `}}` for the brace itself"),
        ("{}", "`{}` has no name, expected one as in `{from:08x}`"),
        ("{a:q}", "`q` is no notation; expected nothing, `x`, `X`, or digits before it as in `08x`"),
        ("{a:99x}", "`99x` is no notation; expected nothing, `x`, `X`, or digits before it as in `08x`"),
    ] {
        assert_eq!(typed(template, &[("a", 1)]), Err(expected.to_owned()), "{template}");
    }
    assert_eq!(typed("{a}", &[("a", -1)]), Err("`{a}` is -1, expected 0 or more".to_owned()));
}

#[test]
fn every_example_of_the_vocabulary_uses_its_own_names() {
    for it in SPELLED {
        let template = Template::new(it.example).expect("an example can be read");
        assert!(template.names().all(|name| it.names.contains(&name)), "{}", it.key);
    }
}

#[test]
fn a_dump_line_is_read_and_made_in_the_form_that_the_expression_has() {
    let byte = |at: usize| (0x10 + at) as u8;
    for (expression, address, least, expected, bytes) in [
        (r"^(?<address>[0-9A-F]{8}): (?<bytes>(?:[0-9A-F]{2} ?)+)", 0x400, 4, "00000400: 10 11 12 13", 4),
        (
            r"^(?<address>[0-9a-f]+)> (?<bytes>(?:[0-9a-f]{4} ?){1,8})",
            0x400,
            40,
            "400> 1011 1213 1415 1617 1819 1a1b 1c1d 1e1f",
            16,
        ),
        (r"^(?<bytes>(?:[0-9A-F]{2}-?){4})$", 0, 4, "10-11-12-13", 4),
        (
            r"^@(?<address>[0-9A-Fa-f]{6}) \[(?<bytes>(?:[0-9A-Fa-f]{2},?){1,4})\]  .{4}$",
            0xabcdef,
            9,
            "@ABCDEF [10,11,12,13,]  ....",
            4,
        ),
        (r"(?<bytes>[0-9A-F]+)", 0, 3, "101112", 3),
        (r"^(?<address>\$[0-9A-F]{4})\t(?<bytes>(?:[0-9A-F]{2} )+)\|", 0x1234, 2, "", 0),
    ] {
        let pattern = Pattern::new(expression).expect(expression);
        let made = pattern.line(&[("address", Shown::Number(address)), ("bytes", Shown::Bytes(&byte, least))]);
        let expected = (bytes > 0).then(|| Made { text: expected.as_bytes().to_vec(), bytes });
        assert_eq!(made, expected, "{expression}");
        if let Some(made) = made {
            let groups = pattern.groups(&made.text).expect("what is made matches");
            let shown = &groups.iter().find(|it| it.0 == "bytes").expect("bytes").1;
            assert_eq!(hex_bytes(shown), Some((0..bytes).map(byte).collect()), "{expression}");
        }
    }
}

#[test]
fn other_lines_are_made_as_short_as_their_expression_lets_them_be() {
    for (expression, expected) in [
        (r"\* $", "* "),
        (r"^ok(, \d+ left)?$", "ok"),
        (r"READY[>#]", "READY#"),
        (r"^(yes|no)", "yes"),
        (r"^E\d+ ", "E0 "),
        (r"(?<count>\d{3}) bytes", "000 bytes"),
        (r".{3}", "..."),
    ] {
        let made = Pattern::new(expression).expect(expression).line(&[]).expect(expression);
        assert_eq!(String::from_utf8_lossy(&made.text), expected);
    }
}

#[test]
fn an_expression_that_is_none_is_told_in_one_line() {
    for text in ["(", "[z-a]", "a{4,2}", "(?<a>x)(?<a>y)", "\\q", "(?:a{100}){100}{100}"] {
        let told = Pattern::new(text).expect_err(text);
        assert!(!told.is_empty() && !told.contains('\n') && told.len() < 120, "{told}");
    }
}

/// What is told of a vocabulary, with the text that it is told of.
fn told(text: &str) -> (Option<Monitor>, Vec<(String, String)>) {
    let reading = reveille_machine::read(text);
    assert_eq!(reading.problems, [], "{text}");
    let (monitor, problems) = Monitor::new(text, reading.file.machines[0].monitor.as_ref().expect("a monitor"));
    (monitor, problems.into_iter().map(|it| (text[it.0].to_owned(), it.1)).collect())
}

#[test]
fn what_cannot_be_used_of_a_vocabulary_is_told_where_it_is() {
    let monitor = "[machine.a.monitor]\nprompt = '> $'\n";
    for (table, place, message) in [
        (
            "dump]\nsend = \"d {frm}\"\nreply = '(?<bytes>[0-9A-F]+)'",
            "\"d {frm}\"",
            "`dump` has no `{frm}`; expected `{from}`, `{to}`, `{last}`, `{bytes}`",
        ),
        ("dump]\nsend = \"d {from\"", "{from", "`{` has no `}`; write `{{` for the brace itself"),
        (
            "dump]\nsend = \"d\"",
            "[machine.a.monitor.dump]",
            "`reply` of `dump` has no group `bytes`; add one, as in `(?<bytes>[0-9A-F]+)`",
        ),
        (
            "dump]\nsend = \"d\"\nreply = '[0-9'",
            "'[0-9'",
            "`reply` is no regular expression: unclosed character class; a sign that means itself has a `\\` before it",
        ),
        (
            "registers]\nsend = \"r {x}\"\nreply = '(?<name>.)(?<value>.)'",
            "\"r {x}\"",
            "`registers` has no `{x}`; expected no names at all",
        ),
    ] {
        let text = format!("{monitor}[machine.a.monitor.{table}\n");
        assert_eq!(told(&text).1, [(place.to_owned(), message.to_owned())], "{text}");
    }
    let (broken, problems) = told("[machine.a.monitor]\nprompt = '* '\n");
    assert!(broken.is_none() && problems[0].1.starts_with("`prompt` is no regular expression"), "{problems:?}");
}

#[test]
fn what_a_typed_line_would_change_is_told_by_its_first_word() {
    let text = "[machine.a.monitor]\nprompt = '> $'\n[machine.a.monitor.write-sector]\nsend = \"put {sector}\"\n\
        [machine.a.monitor.poke]\nsend = \"set {at:x} {value}\"\n[machine.a.monitor.burn]\nsend = \"burn\"\nchanges = \"rom\"\n";
    let monitor = told(text).0.expect("a monitor");
    for (line, changes) in [
        ("put 3", Changes::Disk),
        ("  PUT", Changes::Disk),
        ("put", Changes::Disk),
        ("puts", Changes::Disk),
        ("set 0 1", Changes::Memory),
        ("burn", Changes::Rom),
        ("pu", Changes::Nothing),
        ("", Changes::Nothing),
        ("show 3", Changes::Nothing),
    ] {
        assert_eq!(monitor.changes_by(line), changes, "{line}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// What a template makes is read back by it.
    #[test]
    fn a_typed_line_is_understood_as_it_was_meant(a in 0_i64..1 << 32, b in 0_i64..70_000, form in 0_usize..5) {
        let template = ["list {a} {b}", "l{a:x},{b}", "do {a:08X} to {b:x} now", "{a} {b}", "x {a:x} {b:04X}"][form];
        let text = typed(template, &[("a", a), ("b", b)]).expect("it has its values");
        let found = Template::new(template).expect("a template").values(&text);
        prop_assert_eq!(found, Some(vec![("a".to_owned(), Put::Number(a)), ("b".to_owned(), Put::Number(b))]));
    }

    #[test]
    fn any_text_is_no_harm_to_templates_and_expressions(text in "\\PC{0,60}", line in "\\PC{0,60}") {
        if let Ok(template) = Template::new(&text) {
            let _ = template.values(&line);
        }
        if let Ok(pattern) = Pattern::new(&text) {
            let _ = pattern.groups(line.as_bytes());
            if let Some(made) = pattern.line(&[]) {
                prop_assert!(pattern.groups(&made.text).is_some());
            }
        }
    }

    #[test]
    fn a_dump_is_read_back_as_it_was_made(from in 0_i64..0xff_0000, bytes in proptest::collection::vec(any::<u8>(), 1..40)) {
        let pattern = Pattern::new(r"^(?<address>[0-9A-F]{6})=(?<bytes>(?:[0-9A-F]{2} ?){1,16})$").expect("an expression");
        let mut read = Vec::new();
        while read.len() < bytes.len() {
            let start = read.len();
            let byte = |at: usize| bytes.get(start + at).copied().unwrap_or(0);
            let shown = [("address", Shown::Number(from + start as i64)), ("bytes", Shown::Bytes(&byte, bytes.len() - start))];
            let made = pattern.line(&shown).expect("a line");
            let groups = pattern.groups(&made.text).expect("it matches");
            let text = |name: &str| groups.iter().find(|it| it.0 == name).map(|it| it.1.clone()).expect("a group");
            prop_assert_eq!(i64::from_str_radix(&text("address"), 16), Ok(from + start as i64));
            read.extend(hex_bytes(&text("bytes")).expect("whole bytes"));
        }
        prop_assert_eq!(read, bytes);
    }
}
