//! `reveille.toml`: what is read, and what is told of what is wrong.

use std::ops::Range;

use proptest::prelude::*;
use reveille_machine::keys::{self, Key, Kind, Presence, Section};
use reveille_machine::{
    MachineFile, Notation, Problem, ProblemKind, Reading, Slot, line_and_column, number, read, span_inside, written,
};

/// The file of the design.
const SKERRY: &str = r#"# The recorder on the test bench.
[firmware]
roots    = ["bios.s", "monitor.c"]
include  = ["include"]
dialect  = "auto"
defines  = { DEBUG = 0, BASE = "$FC0000" }
origin   = "$0"

[machine.skerry]
title    = "Skerry 12 tide recorder"
cpu      = "68000"
clock    = 8_000_000

[[machine.skerry.memory]]
name = "rom"
from = "$000000"
size = "256k"
kind = "rom"

[[machine.skerry.memory]]
name = "duart"
from = "$F00000"
size = 32
kind = "device"
reads = "have side effects"

[[machine.skerry.serial]]
name = "console"
chip = "mc68681"
at = "$F00001"
stride = 2
channel = "a"
clock = 3_686_400

[[machine.skerry.drive]]
cylinders = 80
heads = 2
rpm = 300
rate = 250_000
controller = "wd1772"
medium = 3.5

[[block]]
name   = "chart-setup"
at     = ["chart_table"]
repeat = 4
fields = [
  { name = "paper-speed", bytes = 2, unit = "mm/h", min = 10, max = 1200 },
  { name = "pens",        bytes = 1, values = { 1 = "one", 2 = "two" } },
  { name = "spare",       bytes = 1, must = 0 },
]
rules = ["paper-speed * pens <= 1800"]
"#;

fn messages(text: &str) -> Vec<String> {
    read(text).problems.into_iter().map(|it| it.message).collect()
}

/// The one problem of a text, and the text at its place.
fn problem(text: &str) -> (Problem, String) {
    let problems = read(text).problems;
    let [only] = &problems[..] else { panic!("{text}: {problems:?}") };
    (only.clone(), text[only.span.clone()].to_owned())
}

#[test]
fn the_file_of_the_design_is_read_whole() {
    let Reading { file, problems, .. } = read(SKERRY);
    assert_eq!(problems, []);
    let firmware = &file.firmware;
    assert_eq!(firmware.roots.iter().map(|it| &*it.value).collect::<Vec<_>>(), ["bios.s", "monitor.c"]);
    assert_eq!((firmware.include[0].value.as_str(), firmware.dialect.as_ref().unwrap().value), ("include", "auto"));
    assert_eq!(firmware.origin.as_ref().unwrap().value, 0);
    let defines: Vec<_> = firmware.defines.iter().map(|it| (&*it.0.value, it.1.value)).collect();
    assert_eq!(defines, [("DEBUG", 0), ("BASE", 0xfc_0000)]);

    let [machine] = &file.machines[..] else { panic!("one machine") };
    assert_eq!((&*machine.name.value, machine.clock.as_ref().unwrap().value), ("skerry", 8_000_000));
    assert_eq!(machine.cpu.as_ref().unwrap().value, "68000");
    let memory: Vec<_> = machine.memory.iter().map(|it| (&*it.name.value, it.from.value, it.size.value)).collect();
    assert_eq!(memory, [("rom", 0, 262_144), ("duart", 0xf0_0000, 32)]);
    assert_eq!(machine.memory[1].reads.as_ref().unwrap().value, "have side effects");
    assert_eq!((machine.serial[0].at.value, machine.serial[0].stride.as_ref().unwrap().value), (0xf0_0001, 2));
    let drive = &machine.drives[0];
    assert_eq!((drive.rate.as_ref().unwrap().value, drive.encoding()), (250_000, "MFM"));
    assert_eq!(drive.medium.as_ref().unwrap().value, "3.5");

    let [block] = &file.blocks[..] else { panic!("one block") };
    assert_eq!((&*block.name.value, block.endian(), block.repeat.as_ref().unwrap().value), ("chart-setup", "big", 4));
    let fields: Vec<_> = block.fields.iter().map(|it| (&*it.name.value, it.bytes.value)).collect();
    assert_eq!(fields, [("paper-speed", 2), ("pens", 1), ("spare", 1)]);
    let words: Vec<_> =
        block.fields[1].values.iter().map(|it| (it.number.value, &*it.word.as_ref().unwrap().value)).collect();
    assert_eq!(words, [(1, "one"), (2, "two")]);
    assert_eq!(read("").file, MachineFile::default());
}

#[test]
fn every_value_knows_its_place() {
    let Reading { file, .. } = read(SKERRY);
    let at = |span: &Range<usize>| &SKERRY[span.clone()];
    let machine = &file.machines[0];
    assert_eq!(at(&machine.name.span), "skerry");
    assert_eq!(at(&machine.clock.as_ref().unwrap().span), "8_000_000");
    assert_eq!(at(&machine.drives[0].controller.as_ref().unwrap().span), "\"wd1772\"");
    assert_eq!(at(&machine.drives[0].span), "[[machine.skerry.drive]]");
    let block = &file.blocks[0];
    assert_eq!(at(&block.at[0].span), "\"chart_table\"");
    assert_eq!(at(&block.fields[1].values[1].number.span), "2");
    assert!(at(&block.fields[2].span).starts_with("{ name = \"spare\""));
    assert_eq!(at(&span_inside(SKERRY, &block.rules[0], 14..18)), "pens");
    assert_eq!(line_and_column(SKERRY, block.name.span.start), (44, 10));
}

#[test]
fn an_unknown_key_is_told_with_the_nearest_one() {
    let (it, at) = problem("[[machine.a.drive]]\ncylnders = 80\n");
    assert_eq!((it.kind, &*at), (ProblemKind::UnknownKey, "cylnders"));
    assert_eq!(it.message, "`cylnders` is no key of `[[machine.NAME.drive]]`; did you mean `cylinders`?");
    assert_eq!(it.fix.unwrap().text, "cylinders");
    let (it, at) = problem("[machines.a]\n");
    assert_eq!((&*it.message, &*at), ("`machines` is no key of `reveille.toml`; did you mean `machine`?", "machines"));
    let (it, _) = problem("[machine.a]\ncolour = 1\n");
    let expected = "`colour` is no key of `[machine.NAME]`; expected `title`, `cpu`, `clock`, `memory`, `serial`, `drive` or `monitor`";
    assert_eq!((&*it.message, it.fix), (expected, None));
    let (it, at) = problem("block = [{ name = \"a\", fields = [{ name = \"b\", bites = 2, bytes = 1 }] }]");
    assert_eq!((&*it.message, &*at), ("`bites` is no key of `[[block.fields]]`; did you mean `bytes`?", "bites"));
}

#[test]
fn a_wrong_value_is_told_at_its_place() {
    for (text, place, message) in [
        (
            "[machine.a]\nclock = true",
            "true",
            "`clock` is `true` or `false`, expected a whole number (Hz), as in `clock = 8_000_000`",
        ),
        ("[machine.a]\nclock = 0", "0", "`clock` is 0, expected 1 to 1000000000 Hz"),
        (
            "[machine.a]\nclock = \"8m\"",
            "\"8m\"",
            "`clock` is `8m`, expected a whole number (Hz): without `k` or `m`, which are for sizes",
        ),
        (
            "[firmware]\norigin = \"F0\"",
            "\"F0\"",
            "`origin` is `F0`, expected a whole number: decimal, or hex as in `$F00001`",
        ),
        ("[firmware]\norigin = 0x1_0000_0000", "0x1_0000_0000", "`origin` is 0x100000000, expected 0 to 4294967295"),
        (
            "[machine.a]\ncpu = 68020",
            "68020",
            "`cpu` is `68020`, expected `68000`, `68008` or `68010`; did you mean `68000`?",
        ),
        (
            "[[machine.a.drive]]\nencoding = \"MMF\"",
            "\"MMF\"",
            "`encoding` is `MMF`, expected `MFM` or `FM`; did you mean `MFM`?",
        ),
        (
            "[firmware]\nroots = \"a.s\"",
            "\"a.s\"",
            "`roots` is a text, expected a list of texts, as in `roots = [\"bios.s\", \"monitor.c\"]`",
        ),
        (
            "[firmware]\nroots = [\"a.s\", 2]",
            "2",
            "`roots` is a whole number, expected a text in its list, as in `roots = [\"bios.s\", \"monitor.c\"]`",
        ),
        (
            "[machine.a]\ntitle = \" \"",
            "\" \"",
            "`title` is empty, expected a text of one line, as in `title = \"Skerry 12 tide recorder\"`",
        ),
        ("machine.a = 3", "3", "`a` is a whole number, expected tables with names, `[machine.NAME]`"),
        ("block = 3", "3", "`block` is a whole number, expected a list of tables, `[[block]]`"),
        (
            "[[block]]\nname = \"b\"\nfields = []",
            "[]",
            "`fields` is empty, expected at least one table, `[[block.fields]]`",
        ),
    ] {
        let (it, at) = problem(text);
        assert_eq!((&*at, &*it.message), (place, message), "{text}");
    }
    let (it, _) = problem("[[machine.a.drive]]\nencoding = \"MMF\"");
    assert_eq!(it.fix.unwrap().text, "\"MFM\"");
}

#[test]
fn what_has_to_be_there_is_told_at_the_heading() {
    let (it, at) = problem("[[machine.a.memory]]\nname = \"rom\"\nfrom = 0\nkind = \"rom\"\n");
    assert_eq!((it.kind, &*at), (ProblemKind::Missing, "[[machine.a.memory]]"));
    let expected = "`[[machine.NAME.memory]]` has no `size` (its length in bytes); add for example `size = \"256k\"`";
    assert_eq!(it.message, expected);
    // A field that cannot be read leaves its block out: those behind it would be misplaced. All else is read.
    let text = "[[block]]\nname = \"b\"\nfields = [{ name = \"c\" }, { name = \"d\", bytes = 1 }]\n[machine.a]\n";
    let (it, at) = problem(text);
    assert_eq!((it.kind, &*at), (ProblemKind::Missing, "{ name = \"c\" }"));
    let file = read(text).file;
    assert_eq!((file.blocks.len(), file.machines.len()), (0, 1));
}

#[test]
fn a_name_that_is_there_twice_is_told_with_the_first() {
    let memory = |name: &str| format!("[[machine.a.memory]]\nname = \"{name}\"\nfrom = 0\nsize = 1\nkind = \"ram\"\n");
    let text = [memory("ram"), memory("rom"), memory("ram")].concat();
    let (it, at) = problem(&text);
    assert_eq!((it.kind, &*at), (ProblemKind::Duplicate, "\"ram\""));
    assert_eq!(it.message, "a memory `ram` is there already in line 2; give each its own name");
    assert_eq!(it.related.map(|it| line_and_column(&text, it.start)), Some((2, 8)));
    assert_eq!(line_and_column(&text, it.span.start), (12, 8));

    let field = "{ name = \"x\", bytes = 1 }";
    let blocks = format!("[[block]]\nname = \"b\"\nat = [\"t\"]\nfields = [{field}, {field}]\n").repeat(2);
    let kinds: Vec<_> = read(&blocks).problems.into_iter().map(|it| it.message).collect();
    let expected = ["a field `x` is there", "a block `b` is there", "a table with a block at `t`", "a field `x` is"];
    assert!(kinds.iter().zip(expected).all(|(it, start)| it.starts_with(start)), "{kinds:?}");
    assert_eq!(kinds.len(), 4);
    // Two tables of one name are no TOML.
    assert_eq!(problem("[machine.a]\n[machine.a]\n").0.kind, ProblemKind::Syntax);
}

#[test]
fn numbers_that_do_not_go_together_are_told() {
    let field = |rest: &str| format!("[[block]]\nname = \"b\"\nfields = [{{ name = \"x\", {rest} }}]");
    for (rest, place, message) in [
        ("bytes = 1, max = 256", "256", "`max` has 256, expected 0 to 255: the field has 1 byte"),
        ("bytes = 2, values = [1, 65536]", "65536", "`values` has 65536, expected 0 to 65535: the field has 2 bytes"),
        ("bytes = 1, must = -1", "-1", "`must` has -1, expected 0 to 255: the field has 1 byte"),
        ("bytes = 1, min = 5, max = 4", "5", "`min` is 5, expected at most `max`, which is 4"),
        ("bytes = 9", "9", "`bytes` is 9, expected 1 to 4 for a number; characters need `kind = \"text\"`"),
        (
            "bytes = 9, kind = \"text\", min = 1",
            "1",
            "`min` is of a field of kind `text`, expected none: only numbers have one",
        ),
    ] {
        let text = field(rest);
        let (it, at) = problem(&text);
        assert_eq!((&*at, &*it.message), (place, message), "{rest}");
    }
    assert_eq!(messages(&field("bytes = 4, max = 4294967295")), [""; 0]);
    let memory = "[[machine.a.memory]]\nname = \"r\"\nfrom = \"$FFFFFF00\"\nsize = 257\nkind = \"ram\"\n";
    let (it, at) = problem(memory);
    let expected = "`size` is 257, expected 1 to 256 bytes: from $FFFFFF00 on there are no more addresses";
    assert_eq!((&*at, &*it.message), ("257", expected));
}

#[test]
fn text_that_is_no_toml_is_told_alone_and_the_rest_is_read() {
    let text = "[machine.a]\nclock = 8_000_000\n[[machine.a.drive]]\nrpm = \nrate = 250_000\nwrong = 1\n";
    let Reading { file, problems, .. } = read(text);
    let [only] = &problems[..] else { panic!("{problems:?}") };
    let expected = (ProblemKind::Syntax, "this is no TOML: there is no value behind `=`");
    assert_eq!((only.kind, &*only.message), expected);
    assert_eq!(line_and_column(text, only.span.start), (4, 7));
    assert_eq!(file.machines[0].clock.as_ref().unwrap().value, 8_000_000);
    assert_eq!(file.machines[0].drives[0].rate.as_ref().unwrap().value, 250_000);
    // A list that is not closed breaks what follows: that is one thing. Elsewhere is another.
    let (it, _) = problem("[firmware]\nroots = [\"a.s\"\ninclude = [\"b\"]\n");
    assert!(it.message.starts_with("this is no TOML: ") && it.message.contains('`'), "{}", it.message);
    assert_eq!(read("a = 1 2\n\n\nb = 3 4\n").problems.len(), 2);
}

#[test]
fn lines_and_columns_count_characters() {
    let text = "a = \"\u{e9}\u{e9}\"\nb";
    assert_eq!((line_and_column(text, 7), line_and_column(text, 6)), ((1, 7), (1, 6)));
    assert_eq!((line_and_column(text, 11), line_and_column(text, 99)), ((2, 1), (2, 2)));
}

/// All sections below one, each once.
fn sections() -> Vec<&'static Section> {
    let mut all = vec![&keys::FILE];
    let mut at = 0;
    while at < all.len() {
        for key in all[at].keys {
            if let Kind::Table(inner) | Kind::Tables(inner) | Kind::Named(inner) = &key.kind {
                all.push(inner);
            }
        }
        all.extend(all[at].others);
        at += 1;
    }
    all
}

/// A file with every key as in its example, but for what `value` says otherwise: none leaves the key out.
fn whole_file(value: &dyn Fn(&Section, &Key) -> Option<String>) -> String {
    let mut text = String::new();
    for section in sections().into_iter().skip(1) {
        text.push_str(&section.header.replace("NAME", "skerry").replace("VERB", "dump"));
        text.push('\n');
        for key in section.keys.iter().filter(|it| !it.example.is_empty()) {
            if let Some(value) = value(section, key) {
                text.push_str(&format!("{} = {value}\n", key.name));
            }
        }
    }
    text
}

/// What a file says without its places.
fn meaning(text: &str) -> String {
    let debug = format!("{:?}", read(text).file);
    let parts = debug.split("span: ").map(|it| it.trim_start_matches(|it: char| it.is_ascii_digit() || it == '.'));
    parts.collect()
}

#[test]
fn every_key_of_the_table_is_read_and_its_example_and_default_are_right() {
    let whole = whole_file(&|_, key| Some(key.example.to_owned()));
    assert_eq!(messages(&whole), [""; 0], "{whole}");
    let mut count = 0;
    for section in sections() {
        for key in section.keys {
            assert!(!key.meaning.is_empty() && !key.meaning.ends_with('.'), "{}", key.name);
            if key.example.is_empty() {
                assert!(matches!(key.kind, Kind::Table(_) | Kind::Tables(_) | Kind::Named(_)), "{}", key.name);
                continue;
            }
            let is_this = |a: &Section, b: &Key| a.header == section.header && b.name == key.name;
            let other = |value: Option<&str>| {
                whole_file(&|a, b| if is_this(a, b) { value.map(str::to_owned) } else { Some(b.example.to_owned()) })
            };
            let name = format!("{} {}", section.header, key.name);
            assert_ne!(meaning(&other(None)), meaning(&whole), "{name} is not read");
            let is_required = key.presence == Presence::Required;
            assert_eq!(messages(&other(None)).len(), usize::from(is_required), "{name}");
            let date = read(&other(Some("1984-05-27")));
            assert_eq!(date.problems.iter().map(|it| it.kind).collect::<Vec<_>>(), [ProblemKind::WrongKind], "{name}");
            if let Presence::Default(value) = key.presence {
                assert_eq!(messages(&other(Some(value))), [""; 0], "{name}");
            }
            count += 1;
        }
    }
    assert!(count > 45, "{count}");
}

#[test]
fn a_key_is_found_by_its_path() {
    let found = |path: &[&str]| keys::find(path).map(|it| it.name);
    assert_eq!(found(&["machine", "skerry", "drive", "rate"]), Some("rate"));
    assert_eq!(found(&["machine", "skerry"]), Some("machine"));
    assert_eq!(found(&["block", "fields", "must"]), Some("must"));
    assert_eq!((found(&[]), found(&["firmware", "roots", "x"]), found(&["machine", "a", "b"])), (None, None, None));
}

/// What is told of a text as it is written lies in it, too.
fn check_written(text: &str, byte: usize) -> Result<(), TestCaseError> {
    let found = written(text, byte);
    let slot = found.slot.map(|it| match it {
        Slot::Heading(range) | Slot::Key { range, .. } | Slot::Value { range, .. } => range,
    });
    let keys = found.tables.iter().flat_map(|it| it.keys.iter().map(|it| it.1.clone()));
    let headings = found.tables.iter().map(|it| it.heading.clone());
    for span in keys.chain(headings).chain(slot) {
        prop_assert!(text.get(span.clone()).is_some(), "{span:?} in {text:?}");
    }
    prop_assert!(found.tables.iter().all(|it| text.get(it.heading.end..it.end).is_some()), "{text:?}");
    Ok(())
}

/// Every range lies in the text and between characters.
fn check_places(text: &str) -> Result<(), TestCaseError> {
    let read = read(text);
    let mut spans: Vec<_> = read.problems.iter().map(|it| it.span.clone()).collect();
    spans.extend(read.problems.iter().filter_map(|it| it.related.clone()));
    spans.extend(read.problems.iter().filter_map(|it| it.fix.as_ref().map(|it| it.span.clone())));
    spans.extend(read.tree.entries.iter().map(|it| it.span.clone()));
    spans.extend(read.file.blocks.iter().flat_map(|it| &it.fields).map(|it| it.span.clone()));
    for span in spans {
        prop_assert!(text.get(span.clone()).is_some(), "{span:?} in {text:?}");
        check_written(text, span.end)?;
        prop_assert!(line_and_column(text, span.end) >= (1, 1));
    }
    for problem in &read.problems {
        prop_assert!(problem.message.len() < 400 && !problem.message.contains('\n'), "{}", problem.message);
    }
    for rule in read.file.blocks.iter().flat_map(|it| &it.rules) {
        prop_assert!(text.get(span_inside(text, rule, 0..2)).is_some());
    }
    Ok(())
}

#[test]
fn deep_and_long_texts_are_read() {
    for text in
        ["[".repeat(50_000), "a.".repeat(50_000), format!("a = {}", "[".repeat(50_000)), "{ a = ".repeat(20_000)]
    {
        check_places(&text).unwrap();
    }
    check_places(&format!("[machine.a]\n{} = 1\n", "k".repeat(100_000))).unwrap();
    check_places(&"[[block]]\n".repeat(2000)).unwrap();
    check_written(&"[[block]]\nfields = [{ a = [".repeat(2000), 10).unwrap();
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_read_without_harm(text in "\\PC*") {
        check_places(&text)?;
    }

    #[test]
    fn words_of_the_file_in_any_order_are_read_without_harm(
        words in prop::collection::vec(prop::sample::select(vec![
            "[", "]", "[[", "]]", "{", "}", "=", ".", ",", "\n", "\r\n", "\"", "'", "\"\"\"", "#", " ", "\\", "machine", "a", "drive",
            "memory", "block", "fields", "name", "bytes", "values", "rate", "firmware", "roots", "1", "0x", "$F0", "-", "1979-05-27",
            "true", "\u{e9}", "\u{1f4be}", "\u{0}", "256k",
        ]), 0..40)
    ) {
        check_places(&words.concat())?;
    }

    #[test]
    fn an_edited_file_is_read_without_harm(edits in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..6, "[\\[\\]{}=\"'\\\\#.,\na0\u{e9}\u{1f4be}-]{0,3}"), 1..6)) {
        let mut text = SKERRY.to_owned();
        for (at, removed, put_in) in edits {
            let start = text.floor_char_boundary(at.index(text.len() + 1));
            let end = text.floor_char_boundary((start + removed).min(text.len())).max(start);
            text.replace_range(start..end, &put_in);
        }
        check_places(&text)?;
    }

    #[test]
    fn numbers_are_read_back(value in any::<u32>()) {
        for text in [format!("${value:X}"), format!("0x{value:x}"), value.to_string(), format!("%{value:b}")] {
            prop_assert_eq!(number(&text, Notation::Plain), Some(i64::from(value)));
        }
    }
}
