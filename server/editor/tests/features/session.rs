//! Monitor sessions: hovers, places, what can be written, layout. The block is the 720 KiB format of Microsoft Knowledge Base Q75131; all else is
//! invented.

use proptest::prelude::*;
use reveille_editor::{
    HintKinds, SemanticKind, completions, definition, edited, folds, format_session, highlights, hints, hover, lenses,
    links, outline, prepare_rename, references, rename, selection, semantic_tokens,
};
use reveille_facts::Model;
use reveille_program::FileId;

use crate::{places, program};

const SOURCE: &str = "BUF\tEQU\t$90000\t\twhere a sector goes\nSPT\tEQU\t9\n\tORG\t$400\nstart\tMOVEQ\t#SPT,D0\n\tRTS\n* disk formats\nformats\n\tDC.B\t0,2,2,1,0,2,112,0,$A0,5,$F9,3,0,9,0,2,0,0,0\nformats_end\n\tEVEN\n";

const MACHINE: &str = r#"[machine.m]
[[machine.m.memory]]
name = "rom"
from = 0
size = "64k"
kind = "rom"
[[machine.m.memory]]
name = "ram"
from = "$80000"
size = "512k"
kind = "ram"
[[machine.m.drive]]
name = "front"
cylinders = 80
heads = 2
rpm = 300
rate = 250_000
[machine.m.monitor]
prompt = '\* $'
[machine.m.monitor.dump]
send = "list {from:x} {bytes:x}"
reply = '^(?<address>[0-9A-F]{8}): (?<bytes>(?:[0-9A-F]{2} ?)+)'
most = 256
[machine.m.monitor.registers]
send = "state"
reply = '(?<name>D0)=(?<value>[0-9A-F]+)'
[machine.m.monitor.read-sector]
send = "take {sector:x} {into:x}"
[machine.m.monitor.write-sector]
send = "put {sector:x} {from:x}"
[machine.m.monitor.pen]
send = "pen {position} {speed}"
reply = 'at (?<where>\d+)'
"#;

const SCRIPT: &str = "# A try.\nmachine m\nconsole 9600 8n1\ninclude \"more.session\"\n\nstage \"Formats\"\n  dump formats .. formats_end as table\n  check table.sectors_per_track == SPT\n  check table matches source\n\nstage \"Disk\"\n  read sector 0 of drive 0 into BUF\n  dump BUF +: 512 as boot\n  if boot[0] == $60\n    keep boot in \"boot.bin\"\n  else\n    pause 2s\n  end\n  ask pen position 3, speed 1 as reply\n  check reply.where == 3\n  confirm \"Sure?\"\n  write sector 0 of drive 0 from (BUF)\n";

const MORE: &str = "dump start +: 4 as first\n";

/// The program with the script as it is given: with the cursor's mark in it.
fn with(script: &str) -> (Model, FileId, usize) {
    program(&[("x.session", script), ("a.s", SOURCE), ("reveille.toml", MACHINE), ("more.session", MORE)])
}

/// The script with a cursor in it.
fn at(mark: &str) -> (Model, FileId, usize) {
    let plain = mark.replace("<|>", "");
    assert_eq!(SCRIPT.matches(&plain).count(), 1, "{mark}");
    with(&SCRIPT.replacen(&plain, mark, 1))
}

fn told(mark: &str) -> String {
    let (model, file, byte) = at(mark);
    hover(&model, file, byte).map_or_else(|| "nothing".to_owned(), |it| it.markdown)
}

#[test]
fn the_script_has_no_findings() {
    let (model, file, _) = with(SCRIPT);
    let found: Vec<_> = model.findings_in(file).iter().map(|it| it.message.clone()).collect();
    assert_eq!(found, [""; 0]);
}

#[test]
fn a_hover_tells_what_a_name_a_number_and_a_range_are() {
    for (mark, parts) in [
        (
            "into B<|>UF",
            &["constant: 589824 = $00090000", "where a sector goes", "a.s:1", "in `ram`, RAM: its start + $10000"][..],
        ),
        (
            "dump for<|>mats ..",
            &["label: 1028 = $0404", "in `rom` (ROM)", "the range: $000404 to $000416, 19 bytes"][..],
        ),
        ("+: 5<|>12", &["512 = $0200", "the range: $090000 to $0901FF, 512 bytes, in `ram` (RAM)"][..]),
        (
            "check tab<|>le.",
            &["`table`: bound by `dump` at x.session:7", "19 bytes from $000404, in `rom`", "`list 404 13`"][..],
        ),
        ("table.sectors_<|>per_track", &["sectors per track", "by the source: 9", "== SPT` holds, by the source"][..]),
        ("reply.wh<|>ere", &["what this group of the reply matches"][..]),
        ("(BU<|>F)", &["where a sector goes"][..]),
    ] {
        let shown = told(mark);
        for part in parts {
            assert!(shown.contains(part), "{mark}: {part}\n{shown}");
        }
    }
}

#[test]
fn a_hover_on_a_verb_tells_its_form_and_what_it_types_on_this_machine() {
    for (mark, parts) in [
        (
            "du<|>mp BUF",
            &[
                "dump FROM .. TO [as NAME]",
                "list 90000 100\nlist 90100 100",
                "$090000 to $0901FF, 512 bytes in `ram`",
                "at 9600 bit/s",
                "[machine.m.monitor.dump]",
            ][..],
        ),
        ("write sec<|>tor", &["put 0 90000", "changes a disk: needs `confirm` and `--allow disk`"][..]),
        ("a<|>sk", &["pen 3 1"][..]),
        ("p<|>en", &["a verb of this machine's own, with values for `position`, `speed`"][..]),
        ("posi<|>tion", &["put in for `{position}` of `pen`"][..]),
        ("con<|>sole", &["`9600 8n1`: a character takes 1.04 ms"][..]),
        ("st<|>age \"Disk\"", &["its transfers take about"][..]),
        ("el<|>se", &["where the condition does not hold"][..]),
        ("machine <|>m", &["its monitor is asked by: `dump`"][..]),
    ] {
        let shown = told(mark);
        for part in parts {
            assert!(shown.contains(part), "{mark}: {part}\n{shown}");
        }
    }
}

#[test]
fn the_line_s_settings_come_from_the_source_where_the_script_says_so() {
    // Divisors and modes: SCN2681 product specification.
    let source = format!(
        "{SOURCE}DUART\tequ\t$F00001\t\tMC68681, 3.6864 MHz\nCRA\tequ\t4\nCSRA\tequ\t2\nACR\tequ\t8\nconinit\tlea\tDUART,a0\n\tmove.b\t#$10,CRA(a0)\n\tmove.b\t#$13,(a0)\n\tmove.b\t#$07,(a0)\n\tmove.b\t#$BB,CSRA(a0)\n\tmove.b\t#$80,ACR(a0)\n\trts\n"
    );
    let (model, file, byte) =
        program(&[("a.s", &source), ("reveille.toml", MACHINE), ("x.session", "console from so<|>urce\n")]);
    let shown = hover(&model, file, byte).unwrap().markdown;
    assert!(shown.contains("`9600 8n1`") && shown.contains("the firmware sets it to 9600 8N1: a.s:"), "{shown}");
    let found = definition(&model, file, byte).unwrap().1;
    assert_eq!(found[0].file, model.program().file_at("a.s".as_ref()).unwrap().id());
}

fn labels(script: &str) -> Vec<String> {
    let (model, file, byte) = with(script);
    completions(&model, file, byte).0.into_iter().map(|it| it.label).collect()
}

#[test]
fn only_what_can_follow_is_offered() {
    const HEAD: &str = "machine m\nconsole 9600 8n1\n";
    let behind = |line: &str| {
        labels(&format!(
            "{HEAD}dump BUF +: 512 as boot\nregisters as regs\nask pen position 1, speed 1 as pen\n{line}<|>"
        ))
    };
    let verbs = labels("<|>");
    assert!(
        ["machine", "console", "stage", "dump", "ask"].iter().all(|it| verbs.iter().any(|own| own == it)),
        "{verbs:?}"
    );
    // What the vocabulary does not spell, and what has nothing to end.
    assert!(["fill", "load", "start", "else", "end"].iter().all(|it| !verbs.iter().any(|own| own == it)), "{verbs:?}");
    let verbs = behind("");
    assert!(!verbs.contains(&"machine".to_owned()) && verbs.contains(&"check".to_owned()), "{verbs:?}");
    assert!(behind("if boot[0] == 1\n").contains(&"else".to_owned()));
    assert!(!behind("if boot[0] == 1\n").contains(&"stage".to_owned()));
    for (line, expected) in [
        ("dump BUF +: 512 ", &["and"][..]),
        ("read ", &["sector"][..]),
        ("await ", &["prompt", "pattern"][..]),
        ("await prompt ", &["within", "or"][..]),
        ("await prompt or ", &["stop"][..]),
        ("check boot mat", &["matches", "or", "and"][..]),
        ("check boot matches ", &["source", "file"][..]),
        ("press ", &["return", "escape", "control-c"][..]),
        ("dump BUF +: 512 using fat-bl", &["fat-block-19"][..]),
        ("keep bo", &["boot", "regs"][..]),
        ("ask ", &["pen"][..]),
        ("ask pen ", &["position", "speed", "as"][..]),
        ("ask pen position 3, ", &["speed"][..]),
        ("check boot[0] == SP", &["boot", "SPT"][..]),
        ("check pen.", &["where"][..]),
        ("check boot.", &["length", "address"][..]),
        ("dump formats .. formats_end as t\ncheck t[0 +: 19].", &["sectors_per_track", "length"][..]),
        ("dump BUF ", &["..", "+:"][..]),
        ("read sector 0 of ", &["track", "side", "drive"][..]),
        ("read sector 0 of drive ", &["0", "BUF"][..]),
        ("include \"", &["more.session"][..]),
        ("include ", &["\"more.session\""][..]),
    ] {
        let found = behind(line);
        let all_there = expected.iter().all(|it| found.iter().any(|own| own == it));
        assert_eq!(all_there, line != "dump BUF +: 512 ", "{line}: {found:?}");
    }
    assert!(behind("dump BUF +: 512 ").contains(&"using".to_owned()));
    assert_eq!(behind("# du"), [""; 0]);
    assert_eq!(behind("stage \"du"), [""; 0]);
    // In a head.
    assert_eq!(labels("machine <|>"), ["m"]);
    let limits = with(&format!("{HEAD}read sector 0 of drive <|>"));
    let limits = completions(&limits.0, limits.1, limits.2).0;
    assert_eq!(limits[0].detail, "`front`, drives are 0 to 0");
    let sector = with(&format!("{HEAD}read sector <|>"));
    let sector = completions(&sector.0, sector.1, sector.2).0;
    // 80 x 2 x 9 sectors.
    assert_eq!(sector[0].detail, "sectors are 0 to 1439");
}

#[test]
fn definitions_lead_to_source_script_and_machine_file() {
    for (mark, expected) in [
        ("into B<|>UF", "a.s:1 BUF"),
        ("check tab<|>le.", "x.session:7 table"),
        ("keep bo<|>ot", "x.session:13 boot"),
        ("machine <|>m", "reveille.toml:1 m"),
        ("include \"mo<|>re", "more.session:1 "),
    ] {
        let (model, file, byte) = at(mark);
        let found = definition(&model, file, byte).unwrap_or_else(|| panic!("{mark}"));
        assert_eq!(places(&model, &found.1), [expected], "{mark}");
    }
    let (model, file, byte) = at("du<|>mp BUF");
    let found = definition(&model, file, byte).unwrap().1;
    let table = model.program().file(found[0].file).unwrap().source().text();
    assert!(
        table[found[0].range.clone()].starts_with("[machine.m.monitor.dump]"),
        "{}",
        &table[found[0].range.clone()]
    );
}

#[test]
fn uses_are_found_in_scripts_and_sources_from_either() {
    let expected = ["a.s:2 SPT", "a.s:4 SPT", "x.session:8 SPT"];
    let (model, file, byte) = at("== S<|>PT");
    assert_eq!(places(&model, &references(&model, file, byte, true)), expected);
    let source = SOURCE.replacen("#SPT", "#S<|>PT", 1);
    let (model, file, byte) =
        program(&[("a.s", &source), ("reveille.toml", MACHINE), ("more.session", MORE), ("x.session", SCRIPT)]);
    assert_eq!(places(&model, &references(&model, file, byte, true)), expected);
    let (model, file, byte) = at("check tab<|>le.");
    assert_eq!(
        places(&model, &references(&model, file, byte, true)),
        ["x.session:7 table", "x.session:8 table", "x.session:9 table"]
    );
    let found: Vec<bool> = highlights(&model, file, byte).into_iter().map(|it| it.is_write).collect();
    assert_eq!(found, [true, false, false]);
    // A name in brackets is the name alone.
    let (model, file, byte) = at("into B<|>UF");
    let found = places(&model, &references(&model, file, byte, false));
    assert_eq!(found, ["x.session:12 BUF", "x.session:13 BUF", "x.session:22 BUF"]);
}

/// The texts of the files after a change of the name at the cursor.
fn renamed(mark: &str, new: &str) -> Result<Vec<(String, String)>, String> {
    let (model, file, byte) = at(mark);
    prepare_rename(&model, file, byte).map_err(|it| it.0)?;
    let mut edits = rename(&model, file, byte, new).map_err(|it| it.0)?;
    edits.sort_by_key(|it| (it.at.file, it.at.range.start));
    let changed = model.program().files().chain(model.program().beside()).filter_map(|file| {
        let own = edits.iter().filter(|it| it.at.file == file.id()).map(|it| (it.at.range.clone(), it.text.clone()));
        let own: Vec<_> = own.collect();
        let name = file.path().display().to_string();
        (!own.is_empty()).then(|| (name, edited(&file.source().text(), &own)))
    });
    Ok(changed.collect())
}

#[test]
fn a_name_is_changed_in_sources_and_scripts_together() {
    let expected = [
        ("a.s".to_owned(), SOURCE.replace("SPT", "ON_TRACK")),
        ("x.session".to_owned(), SCRIPT.replace("SPT", "ON_TRACK")),
    ];
    assert_eq!(renamed("== S<|>PT", "ON_TRACK").unwrap(), expected);
    let boot = SCRIPT
        .replace("as boot", "as first_sector")
        .replace("boot[", "first_sector[")
        .replace("keep boot", "keep first_sector");
    assert_eq!(renamed("as bo<|>ot", "first_sector").unwrap(), [("x.session".to_owned(), boot)]);
    let brackets = SCRIPT.replace("BUF", "SECTOR");
    assert_eq!(renamed("(B<|>UF)", "SECTOR").unwrap()[1].1, brackets);
}

#[test]
fn a_name_that_a_script_has_for_something_else_is_refused() {
    assert_eq!(renamed("== S<|>PT", "table").unwrap_err(), "`table` is already used at x.session:7");
    assert_eq!(renamed("as bo<|>ot", "SPT").unwrap_err(), "`SPT` is a name of the firmware");
    assert_eq!(renamed("as bo<|>ot", "table").unwrap_err(), "`table` is already used at x.session:7");
    assert!(
        renamed("as bo<|>ot", "a b").unwrap_err().contains("is no name that a script can have, as at x.session:13")
    );
    assert!(renamed("== S<|>PT", "not").unwrap_err().contains("is no name that a script can have, as at x.session:8"));
    assert_eq!(renamed("pau<|>se", "wait").unwrap_err(), "there is no name here");
}

#[test]
fn an_outline_has_stages_with_their_steps() {
    let (model, file, _) = with(SCRIPT);
    let found = outline(&model, file);
    let names: Vec<&str> = found.iter().map(|it| it.name.as_str()).collect();
    assert_eq!(names, ["machine m", "console 9600 8n1", "include \"more.session\"", "Formats", "Disk"]);
    let disk: Vec<&str> = found[4].children.iter().map(|it| it.name.as_str()).collect();
    assert_eq!(disk[2], "if boot[0] == $60");
    let own = &found[4].children[2];
    assert_eq!(
        own.children.iter().map(|it| it.name.as_str()).collect::<Vec<_>>(),
        ["keep boot in \"boot.bin\"", "pause 2s"]
    );
    assert!(SCRIPT[own.range.clone()].ends_with("end"), "{}", &SCRIPT[own.range.clone()]);
    assert!(SCRIPT[found[3].range.clone()].ends_with("matches source"));
    assert_eq!(own.detail, "");
    assert_eq!(found[4].children[1].detail, "list 90000 100");
}

#[test]
fn stages_cases_and_comments_fold() {
    let script = format!("# one\n# two\n# three\n{SCRIPT}");
    let (model, file, _) = with(&script);
    let lines: Vec<_> = folds(&model, file).into_iter().map(|it| (it.lines.start, it.lines.end)).collect();
    // The four comments, both stages, both cases.
    assert_eq!(lines, [(0, 4), (8, 12), (13, 25), (16, 18), (18, 21)]);
}

#[test]
fn a_selection_grows_from_a_name_to_the_script() {
    let (model, file, byte) = at("if bo<|>ot[0]");
    let found: Vec<&str> = selection(&model, file, byte).into_iter().map(|it| &SCRIPT[it]).collect();
    assert_eq!(found[..4], ["boot", "boot[0]", "boot[0] == $60", "if boot[0] == $60"]);
    assert!(found[4].starts_with("if boot") && found[4].ends_with("end"), "{}", found[4]);
    assert!(found[5].starts_with("stage \"Disk\""), "{}", found[5]);
    assert_eq!(found[6], SCRIPT);
}

#[test]
fn an_include_is_a_link_where_its_file_is_there() {
    let (model, file, _) = with("include \"more.session\"\ninclude \"none.session\"\nlog \"x.log\"\n");
    let found = links(&model, file);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].range, 9..21);
}

#[test]
fn hints_are_addresses_values_and_ends_where_they_are_wanted() {
    let (model, file, _) = with(SCRIPT);
    let kinds = HintKinds { addresses: true, cycles: false };
    let shown = |lines| -> Vec<String> { hints(&model, file, lines, kinds).into_iter().map(|it| it.text).collect() };
    assert_eq!(shown(6..8), ["$000404", "$000417", "$000404 to $000416", "= 9"]);
    assert_eq!(shown(12..13), ["= 589824", "$090000 to $0901FF"]);
    assert!(hints(&model, file, 0..100, HintKinds { addresses: false, cycles: true }).is_empty());
}

#[test]
fn a_lens_tells_how_long_the_script_and_its_stages_take() {
    let (model, file, _) = with(SCRIPT);
    let found = lenses(&model, file);
    assert_eq!(found.len(), 3);
    assert!(
        found[0].rehearses
            && found[0].title.starts_with("rehearse: about ")
            && found[0].title.ends_with(" s at 9600 bit/s"),
        "{found:?}"
    );
    assert!(!found[1].rehearses && found[2].title.starts_with("about "), "{found:?}");
    let source = model.program().file_at("a.s".as_ref()).unwrap().id();
    assert!(lenses(&model, source).is_empty());
}

#[test]
fn each_word_has_its_kind() {
    let (model, file, _) = with(
        "machine m\ndump BUF +: 512 as boot # here\ncheck boot[0] == SPT and formats.length != 'A'\nif $1 bad line\nelse\n",
    );
    let text = model.program().file(file).unwrap().source().text();
    let lines: Vec<&str> = text.lines().collect();
    let found: Vec<(String, SemanticKind)> = semantic_tokens(&model, file, 0..usize::MAX)
        .into_iter()
        .map(|it| (lines[it.line as usize][usize::from(it.start)..usize::from(it.end)].to_owned(), it.kind))
        .collect();
    use SemanticKind as K;
    for (word, kind) in [
        ("machine", K::Instruction),
        ("m", K::Name),
        ("BUF", K::Constant),
        ("+:", K::Operator),
        ("as", K::Directive),
        ("boot", K::Name),
        ("# here", K::Comment),
        ("512", K::Number),
        ("formats", K::Label),
        ("length", K::Property),
        ("'A'", K::Text),
        ("else", K::Instruction),
    ] {
        assert!(found.contains(&(word.to_owned(), kind)), "{word}: {found:?}");
    }
    let second: Vec<_> = semantic_tokens(&model, file, 1..2);
    assert!(!second.is_empty() && second.iter().all(|it| it.line == 1));
}

const MESSY: &str = "  machine   m\t\n  console 9600 8n1\n\n\n # first\nstage   \"A  b\"\npress    return  # why   so\n# about the block\n\tif boot[0]==  1\n# inside\nsend \"x  y\"\n  else\npause 2s\n# last\nend\n   # of the stage\nstage \"B\"\ndump $400 +:  \\\n4 \\\nas   boot\n# at the end\n";
const TIDY: &str = "machine m\nconsole 9600 8n1\n\n\n# first\nstage \"A  b\"\n  press return  # why   so\n  # about the block\n  if boot[0]== 1\n    # inside\n    send \"x  y\"\n  else\n    pause 2s\n    # last\n  end\n  # of the stage\nstage \"B\"\n  dump $400 +: \\\n      4 \\\n      as boot\n# at the end\n";

fn laid_out(text: &str) -> String {
    edited(text, &format_session(text))
}

#[test]
fn a_script_is_laid_out_by_its_stages_and_blocks() {
    assert_eq!(laid_out(MESSY), TIDY);
    assert_eq!(laid_out(TIDY), TIDY);
    assert_eq!(laid_out(SCRIPT), SCRIPT);
    // Line ends and the mark of the encoding stay.
    assert_eq!(
        laid_out("\u{feff}  stage \"a\" \r\npress  return\rpress return"),
        "\u{feff}stage \"a\"\r\n  press return\r  press return"
    );
    // What cannot be read is laid out as far as its words go.
    assert_eq!(laid_out("stage \"a\"\nfoo   \"open  \nend\n"), "stage \"a\"\n  foo \"open  \n  end\n");
}

fn pieces() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "stage",
        "\"a  b\"",
        "press return",
        "if",
        "else",
        "end",
        "repeat 2 times",
        "boot",
        "BUF",
        "formats",
        "..",
        "+:",
        "-",
        "%",
        "10",
        "%10",
        "'A'",
        "\"open",
        "# note",
        "\\",
        "\\\n",
        "\n",
        "\r\n",
        "\r",
        " ",
        "   ",
        "\t",
        "\u{feff}",
        "\u{a0}",
        "é",
        "dump",
        "as",
        "check",
        "[",
        "]",
        ".",
        "(",
        ")",
        "ask pen",
        "position",
        ",",
        "or",
        "stop",
        "include \"x.session\"",
        "include \"more.session\"",
        "using fat-block-19",
        "console from source",
        "machine m",
        "read sector 0 of drive",
        "into",
        "keep",
        "in",
        "$",
        "8n1",
        "1s",
    ]);
    prop::collection::vec(piece, 0..40).prop_map(|it| it.concat())
}

/// What a script says, whatever its blanks.
fn says(text: &str) -> Vec<String> {
    let script = reveille_session::Script::read(text);
    let mut found: Vec<String> = script.problems.iter().map(|it| it.message.clone()).collect();
    script.visit(&mut |it| {
        let values: Vec<String> = it.expressions().iter().map(|it| shape(it)).collect();
        let roles: Vec<&str> = it.slots.iter().map(|it| it.0).collect();
        found.push(format!("{} {roles:?} {values:?} {} {}", it.verb.name, it.body.len(), it.otherwise.len()));
    });
    found
}

fn shape(expression: &reveille_session::Expression) -> String {
    let mut found = String::new();
    expression.visit(&mut |it| {
        use reveille_session::Node as N;
        found += &match &it.node {
            N::Number(it) => format!("{it} "),
            N::Text(it) => format!("{it:?} "),
            N::Name(it) => format!("{it} "),
            N::Unary(it, _) => format!("{it:?} "),
            N::Binary(it, ..) => format!("{it:?} "),
            N::Index(..) => "index ".to_owned(),
            N::Slice(_, it) => format!("slice {} ", it.is_length),
            N::Field(_, name, _) => format!("field {name} "),
        };
    });
    found
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_layout_is_settled_and_says_the_same(text in prop_oneof![pieces(), ".{0,80}"]) {
        let once = laid_out(&text);
        prop_assert_eq!(says(&once), says(&text));
        prop_assert_eq!(laid_out(&once), once);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_and_no_place_stops_an_answer(text in prop_oneof![pieces(), "[ -~\n]{0,60}"]) {
        let text = text.replace("<|>", "");
        let (model, file, _) = with(&text);
        let size = model.program().file(file).map_or(0, |it| it.source().len());
        for byte in (0..=size).filter(|it| text.is_char_boundary(*it)) {
            let _ = (hover(&model, file, byte), completions(&model, file, byte), definition(&model, file, byte));
            let _ = (references(&model, file, byte, true), highlights(&model, file, byte), rename(&model, file, byte, "fresh"));
            let ranges = selection(&model, file, byte);
            prop_assert!(ranges.windows(2).all(|it| it[1].start <= it[0].start && it[0].end <= it[1].end));
        }
        let _ = (outline(&model, file), folds(&model, file), links(&model, file), lenses(&model, file));
        let _ = hints(&model, file, 0..usize::MAX, HintKinds { addresses: true, cycles: true });
        let tokens = semantic_tokens(&model, file, 0..usize::MAX);
        prop_assert!(tokens.windows(2).all(|it| (it[0].line, it[0].end) <= (it[1].line, it[1].start) || it[0].line < it[1].line));
    }
}
