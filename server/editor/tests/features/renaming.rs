//! Names changed everywhere, and why some are not.

use reveille_editor::{prepare_rename, rename};
use reveille_fixture::{Numbers, marked};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

use crate::program;

/// The texts of all files after a name was changed, or why it was not.
pub(crate) fn renamed(files: &[(&str, &str)], new: &str) -> Result<Vec<String>, String> {
    let (model, file, at) = program(files);
    let edits = rename(&model, file, at, new).map_err(|it| it.0)?;
    let text_of = |path: &str, text: &str| {
        let id = model.program().file_at(path.as_ref()).unwrap().id();
        let mut own: Vec<_> = edits.iter().filter(|it| it.at.file == id).collect();
        own.sort_by_key(|it| std::cmp::Reverse(it.at.range.start));
        own.iter().fold(marked(text).text, |mut text, it| {
            text.replace_range(it.at.range.clone(), &it.text);
            text
        })
    };
    Ok(files.iter().map(|it| text_of(it.0, it.1)).collect())
}

/// One file after a name was changed.
fn one(text: &str, new: &str) -> String {
    renamed(&[("a.s", text)], new).unwrap_or_else(|why| panic!("{text:?}: {why}"))[0].clone()
}

/// Why a name is not changed in one file.
fn why(text: &str, new: &str) -> String {
    renamed(&[("a.s", text)], new).expect_err(text)
}

fn prepared(text: &str) -> Result<(String, String), String> {
    let (model, file, at) = program(&[("a.s", text)]);
    let source = marked(text).text;
    prepare_rename(&model, file, at).map(|it| (source[it.0].to_owned(), it.1)).map_err(|it| it.0)
}

#[test]
fn every_kind_of_name_is_changed_where_it_stands() {
    assert_eq!(
        one(
            "go\tmove.w\t#LEN,d0\tLEN\n\tbne\tg<|>o\n\tdc.b\t'go',LEN+go-GO\n\tdc.l\tgo.w,(go).l,go(pc)\nLEN\tEQU\t2\n",
            "run"
        ),
        "run\tmove.w\t#LEN,d0\tLEN\n\tbne\trun\n\tdc.b\t'go',LEN+run-run\n\tdc.l\trun.w,(run).l,run(pc)\nLEN\tEQU\t2\n"
    );
    assert_eq!(one("n\tset\t1\n<|>n\tset\tn+1\n\tdc.b\tn\n", "k"), "k\tset\t1\nk\tset\tk+1\n\tdc.b\tk\n");
    assert_eq!(one("cnt\tequr\td3\n\tmoveq\t#1,c<|>nt\n", "left"), "left\tequr\td3\n\tmoveq\t#1,left\n");
    assert_eq!(
        one("put\tMACRO\n\tnop\n\tENDM\n\tPU<|>T\td0\n\tput\n", "emit"),
        "emit\tMACRO\n\tnop\n\tENDM\n\temit\td0\n\temit\n"
    );
    assert_eq!(one("f<|>ld\trs.w\t1\n\tmove.w\tfld(a0),d0\n", "field"), "field\trs.w\t1\n\tmove.w\tfield(a0),d0\n");
    assert_eq!(
        one(
            "\t.text\n\t.equ\tLEN,4\n\t.globl\tgo\n\t.type\tgo,@function\ngo:\tmove.w\t#LE<|>N,%d0\n\t.size\tgo,.-go\n",
            "MOST"
        ),
        "\t.text\n\t.equ\tMOST,4\n\t.globl\tgo\n\t.type\tgo,@function\ngo:\tmove.w\t#MOST,%d0\n\t.size\tgo,.-go\n"
    );
    assert_eq!(
        one("\t.text\n\t.globl\tgo\n\t.type\tgo,@function\n<|>go:\tjra\tgo\n\t.size\tgo,.-go\n", "run"),
        "\t.text\n\t.globl\trun\n\t.type\trun,@function\nrun:\tjra\trun\n\t.size\trun,.-run\n"
    );
    assert_eq!(one("\tifd\tA<|>B\n\tnop\n\tendc\nAB\tequ\t1\n", "CD"), "\tifd\tCD\n\tnop\n\tendc\nCD\tequ\t1\n");
}

#[test]
fn a_local_label_is_changed_in_its_scope() {
    assert_eq!(
        one("a\n.x\tbra\t.<|>x\n\tbne\t.x\nb\n.x\tbra\t.x\n", ".again"),
        "a\n.again\tbra\t.again\n\tbne\t.again\nb\n.x\tbra\t.x\n"
    );
    assert_eq!(one("a\n10$\tbra\t1<|>0$\n", ".x"), "a\n.x\tbra\t.x\n");
    assert_eq!(why("a\n.x\tbra\t.<|>x\n", "x"), "`.x` is a local label, and `x` is none");
    assert_eq!(why("x\tbra\t<|>x\n", ".x"), "`.x` is a local label, and `x` is none");
    assert_eq!(why("a\n.x\tbra\t.<|>x\n.y\tnop\n", ".y"), "`.y` is already defined at a.s:3");
    assert_eq!(one("a\n.x\tbra\t.<|>x\nb\n.y\tnop\n", ".y"), "a\n.y\tbra\t.y\nb\n.y\tnop\n");
    assert!(why("\t.text\n1:\tjra\t1<|>b\n", "2").contains("numbered label"));
}

#[test]
fn all_files_and_units_that_mean_the_name_change_together() {
    let include = ("inc.i", "LEN\tEQU\t5\n");
    let (a, b) = (("a.s", "\tinclude\tinc.i\n\tdc.b\tl<|>en\n"), ("b.s", "\tinclude\tinc.i\n\tdc.b\tLEN*2\n"));
    assert_eq!(
        renamed(&[a, b, include], "SIZE1").unwrap(),
        ["\tinclude\tinc.i\n\tdc.b\tSIZE1\n", "\tinclude\tinc.i\n\tdc.b\tSIZE1*2\n", "SIZE1\tEQU\t5\n"]
    );
    // Two programs give a shared file its name each: they have to agree.
    let shared = ("s.i", "\tdc.b\tBOARD\n");
    let (a, b) = (("a.s", "BO<|>ARD\tEQU\t1\n\tinclude\ts.i\n"), ("b.s", "BOARD\tEQU\t2\n\tinclude\ts.i\n"));
    assert_eq!(
        renamed(&[a, b, shared], "MODEL").unwrap(),
        ["MODEL\tEQU\t1\n\tinclude\ts.i\n", "MODEL\tEQU\t2\n\tinclude\ts.i\n", "\tdc.b\tMODEL\n"]
    );
    // A name that another module takes.
    let (own, other) = (("a.s", "\txdef\tsend\nsend\trts\n"), ("b.s", "\txref\tsend\n\tbsr\tse<|>nd\n"));
    assert_eq!(renamed(&[own, other], "emit").unwrap(), ["\txdef\temit\nemit\trts\n", "\txref\temit\n\tbsr\temit\n"]);
    // Who has a name of its own keeps it.
    let stranger = ("c.s", "send\trts\n\tbsr\tsend\n");
    let why = renamed(&[own, other, stranger], "emit").unwrap_err();
    assert_eq!(why, "`send` at b.s:1 may mean the one at c.s:1 as well");
    assert_eq!(renamed(&[("a.s", "se<|>nd\trts\n"), stranger], "emit").unwrap()[1], stranger.1);
    assert!(renamed(&[own, other, ("d.s", "emit\trts\n")], "emit").is_ok(), "another program's name is its own affair");
}

#[test]
fn lines_that_are_not_read_change_too() {
    assert_eq!(
        one("LEN\tequ\t1\n\tifd\tNOWHERE\n\tdc.b\tLEN\nLEN\tequ\t2\n\tendc\n\tdc.b\tL<|>EN\n", "SIZE1"),
        "SIZE1\tequ\t1\n\tifd\tNOWHERE\n\tdc.b\tSIZE1\nSIZE1\tequ\t2\n\tendc\n\tdc.b\tSIZE1\n"
    );
    let text = "LEN\tequ\t1\nput\tMACRO\n\tdc.b\tLEN,\\1\n\tENDM\n\tput\tl<|>en\n";
    assert_eq!(one(text, "MOST"), "MOST\tequ\t1\nput\tMACRO\n\tdc.b\tMOST,\\1\n\tENDM\n\tput\tMOST\n");
    // Through two macros, from the body of one into that of the other.
    let text = "go\trts\nin\tMACRO\n\tbsr\t\\1\n\tENDM\nout\tMACRO\n\tin\tgo\n\tENDM\n\tout\n\tbra\tg<|>o\n";
    assert_eq!(
        one(text, "run"),
        "run\trts\nin\tMACRO\n\tbsr\t\\1\n\tENDM\nout\tMACRO\n\tin\trun\n\tENDM\n\tout\n\tbra\trun\n"
    );
    // A comment of a macro may have an argument in it.
    let text = "go\trts\nin\tMACRO\n\tbsr\t\\1\t; to \\1\n\tENDM\n\tin\tg<|>o\n";
    assert_eq!(one(text, "run"), "run\trts\nin\tMACRO\n\tbsr\t\\1\t; to \\1\n\tENDM\n\tin\trun\n");
}

#[test]
fn what_a_macro_makes_of_a_name_is_not_changed() {
    let pasted = "put\tMACRO\n\tbsr\t\\1_io\n\tENDM\nkey\tequ\t1\nkey_io\trts\n\tput\tk<|>ey\n";
    assert_eq!(why(pasted, "lamp"), "`key` is built from pieces, or taken apart, by the macro that is called at a.s:6");
    let built = "put\tMACRO\n\tbsr\t\\1_io\n\tENDM\nkey_<|>io\trts\n\tput\tkey\n";
    assert_eq!(
        why(built, "lamp"),
        "`key_io` is built from pieces, or taken apart, by the macro that is called at a.s:5"
    );
    let text = "put\tMACRO\n\tdc.b\t'\\1',\\1\n\tENDM\nkey\tequ\t1\n\tput\tk<|>ey\n";
    assert!(why(text, "lamp").contains("called at a.s:5"), "the text would be another one");
    let text = "def\tMACRO\n\\1\tequ\t1\n\tENDM\n\tdef\tkey\n\tdc.b\tk<|>ey\n";
    assert_eq!(why(text, "lamp"), "`key` is defined by a macro that is called at a.s:4");
    let text = "put\tMACRO\nown\tnop\n\tENDM\n\tput\n\tbra\to<|>wn\n";
    assert_eq!(why(text, "lamp"), "`own` is defined by a macro that is called at a.s:4");
    assert_eq!(why("put\tMACRO\no<|>wn\tnop\n\tENDM\n", "lamp"), "`own` is defined in the body of a macro");
    assert!(why("put\tMACRO\n.o<|>wn\tnop\n\tENDM\n", ".lamp").contains("body of a macro"));
    let text = "len\tequ\t1\n\tifd\tX\nlen2\tequ\t1\nput\tMACRO\nlen\tequ\t2\n\tENDM\n\tendc\n\tdc.b\tl<|>en\n";
    assert_eq!(why(text, "lamp"), "`len` is defined in the body of a macro at a.s:5");
    let text = "len\tequ\t1\nput\tMACRO\tlen\n\tdc.b\tlen\n\tENDM\n\tput\t2\n\tdc.b\tl<|>en\n";
    assert_eq!(why(text, "lamp"), "`len` at a.s:3 has the name of a parameter of its macro");
}

#[test]
fn what_is_no_name_is_refused() {
    for (text, expected) in [
        ("\tmo<|>ve.w\td0,d1\n", "`move.w` is an instruction"),
        ("\tdc<|>.w\t1\n", "`dc.w` is a directive"),
        ("\tmove.w\td<|>0,d1\n", "`d0` is a register"),
        ("\tmove.w\t#$<|>10,d1\n", "`$10` is a number"),
        ("\tdc.b\t'a<|>bc'\n", "`'abc'` is a text"),
        ("a\tnop\t; not<|>hing\n", "a comment has no name to change"),
        ("* not<|>hing\n", "a comment has no name to change"),
        ("\n<|>\n", "there is no name here"),
        ("\tbra\tnow<|>here\n", "`nowhere` is not defined in the source"),
        ("\txref\tnow<|>here\n\tbra\tnowhere\n", "`nowhere` is not defined in the source"),
        ("\tun<|>known\td0\n", "`unknown` is not defined in the source"),
        ("put\tMACRO\n\tdc.b\t\\<|>1\n\tENDM\n", "`\\1` is made from a macro's parameter"),
        ("put\tMACRO\nx\\<|>@\tnop\n\tENDM\n", "`x\\@` is built from a macro's parameters"),
        ("len\tequ\t1\n\tifc\tl<|>en,x\n\tendc\n", "`len` does not stand for a name here"),
    ] {
        assert_eq!(prepared(text).unwrap_err(), expected, "{text:?}");
        assert_eq!(why(text, "fresh"), expected, "{text:?}");
    }
    let own = |text| prepared(text).unwrap();
    assert_eq!(own("go\tbra\tg<|>o.s\n"), ("go".into(), "go".into()));
    assert_eq!(own("Go\tbra\tg<|>o\n"), ("go".into(), "go".into()));
    assert_eq!(own("a\n10$\tbra\t1<|>0$\n"), ("10$".into(), "10$".into()));
    assert_eq!(own("d\tequ\t1\n\tdc.b\t<|>d\n"), ("d".into(), "d".into()));
    assert_eq!(own("\tcomm\tbuf,4\n\tlea\tb<|>uf,a0\n"), ("buf".into(), "buf".into()));
}

#[test]
fn a_new_name_has_to_be_a_free_name() {
    let text = "go\tbra\tg<|>o\nother\tnop\n\tbra\tmissing\n";
    for (new, expected) in [
        ("d0", "`d0` is a register"),
        ("SP", "`SP` is a register"),
        ("fp0", "`fp0` is no name that a label can have"),
        ("narg", "`narg` is the count of a macro's arguments"),
        ("", "`` is no name that a label can have"),
        ("two words", "`two words` is no name that a label can have"),
        ("a,b", "`a,b` is no name that a label can have"),
        ("a.b", "`a.b` is no name that a label can have"),
        ("1st", "`1st` is no name that a label can have"),
        ("$1f", "`$1f` is no name that a label can have"),
        ("a\\1", "`a\\1` is no name that a label can have"),
        ("x:", "`x:` is no name that a label can have"),
        ("other", "`other` is already defined at a.s:2"),
        ("OTHER", "`OTHER` is already defined at a.s:2"),
        ("missing", "`missing` is already used at a.s:3"),
        // A word that is the operation wherever a line begins with it.
        ("org", "with the name `org` the line a.s:1 would be read in another way"),
    ] {
        assert_eq!(why(text, new), expected);
    }
    assert_eq!(one(text, "data"), "data\tbra\tdata\nother\tnop\n\tbra\tmissing\n", "a word that people give to things");
    assert_eq!(one(text, "Go"), "Go\tbra\tGo\nother\tnop\n\tbra\tmissing\n");
    assert_eq!(one(text, "go"), marked(text).text, "no change");
    assert_eq!(one("GO\tbra\tg<|>o\n", "go"), "go\tbra\tgo\n", "one spelling for all");
    assert_eq!(
        why("put\tMACRO\n\tENDM\n\tp<|>ut\n", "move"),
        "`move` is an operation, so no macro can be called by that name"
    );
    assert_eq!(
        why("put\tMACRO\n\tENDM\n\tp<|>ut\n", "dc"),
        "`dc` is an operation, so no macro can be called by that name"
    );
    // Alone on its line an instruction's name as a label is told as a mistake.
    assert!(why("go\n\tbra\tg<|>o\n", "rts").contains("a.s:1"));
}

#[test]
fn names_that_differ_in_case_alone_are_told_apart() {
    let text = "Loop\tnop\nLOOP\tnop\n\tbra\tLo<|>op\n\tbra\tLOOP\n";
    assert_eq!(one(text, "again"), "again\tnop\nLOOP\tnop\n\tbra\tagain\n\tbra\tLOOP\n");
    assert_eq!(why(text, "LOOP"), "`LOOP` is already defined at a.s:2");
}

#[test]
fn a_file_that_is_not_utf_8_is_not_edited() {
    let mut program = Program::new();
    let text = |it: &str, encoding| Content::Text(File::new(it, None), encoding);
    program.set_files(vec![
        ("a.s".into(), text("\tinclude\tb.i\n\tbra\tgo\n", Encoding::Utf8)),
        ("b.i".into(), text("* gr\u{fc}n\ngo\tnop\nlen\tequ\t1\n", Encoding::Latin1)),
    ]);
    let file = program.file_at("a.s".as_ref()).unwrap().id();
    let model = reveille_facts::Model::new(program, &[], None);
    let why = rename(&model, file, 20, "run").unwrap_err().0;
    assert_eq!(why, "b.i:2 is in a file that is not UTF-8: an edit would change its other bytes");
}

#[test]
fn a_name_that_is_given_from_outside_stands_nowhere() {
    let mut program = Program::new();
    program.set_files(vec![("a.s".into(), Content::Text(File::new("\tdc.b\tBOARD\n", None), Encoding::Utf8))]);
    let file = program.file_at("a.s".as_ref()).unwrap().id();
    let model = reveille_facts::Model::new(program, &[("BOARD".into(), 1)], None);
    assert_eq!(prepare_rename(&model, file, 7).unwrap_err().0, "`BOARD` is given from outside");
    program = Program::new();
    let text = "LEN\tequ\tBOARD\n\tdc.b\tLEN\n";
    program.set_files(vec![("a.s".into(), Content::Text(File::new(text, None), Encoding::Utf8))]);
    let file = program.file_at("a.s".as_ref()).unwrap().id();
    let model = reveille_facts::Model::new(program, &[("BOARD".into(), 1)], None);
    assert_eq!(rename(&model, file, 0, "MOST").unwrap().len(), 2, "names beside it can be changed");
}

#[test]
fn a_renamed_firmware_is_the_same_program() {
    let text = reveille_fixture::firmware_source(3000, 7);
    let (model, file, _) = program(&[("a.s", &text)]);
    let at = text.find("rout3\t").unwrap();
    let edits = rename(&model, file, at, "sampler").unwrap();
    let starts_word = |at: usize| !text[..at].ends_with(|it: char| it.is_alphanumeric());
    let words = text
        .match_indices("rout3")
        .filter(|it| starts_word(it.0) && !text[it.0 + 5..].starts_with(|it: char| it.is_ascii_alphanumeric()));
    let mut expected: Vec<usize> = words.map(|it| it.0).collect();
    let mut found: Vec<usize> = edits.iter().map(|it| it.at.range.start).collect();
    expected.sort_unstable();
    found.sort_unstable();
    assert_eq!(found, expected);
    assert!(found.len() > 2);
}

/// What a program lays down: the bytes of all its lines.
fn laid_down(files: &[(&str, &str)]) -> Vec<Vec<Option<u8>>> {
    let (model, ..) = program(files);
    let mut found = Vec::new();
    for unit in model.analysis().units() {
        let make = |_, lines: Vec<reveille_program::Listed>| lines.into_iter().map(|it| it.bytes).collect::<Vec<_>>();
        let mut take = |lines: Vec<Vec<Option<u8>>>| {
            found.extend(lines);
            Ok::<(), std::convert::Infallible>(())
        };
        let Ok(()) = reveille_program::list(model.program(), unit, &make, &mut take);
    }
    found
}

#[test]
fn whatever_is_renamed_lays_down_the_same_bytes_and_can_be_renamed_back() {
    const LINES: &[&str] = &[
        "one\tmoveq\t#two,d0",
        "one\tequ\t3",
        "two\tequ\t4",
        "Two\tset\t5",
        "two\tdc.b\tone,'one'",
        "\tdc.w\tone+two,THREE",
        "\tbsr\tone\tto one",
        "three\tnop",
        ".x\tbra\t.x",
        "\tbne\t.x",
        "in\tMACRO",
        "\tdc.b\t\\1,one",
        "\tdc.b\t'\\1'",
        "\\1_io\tequ\t1",
        "\tENDM",
        "\tin\tone",
        "\tin\ttwo,three",
        "one_io\tequ\t2",
        "\tifd\tone",
        "\telse",
        "\tendc",
        "\txdef\tone",
        "\txref\tthree",
        "\tinclude\tb.i",
        "\tmove.w\tone(a0),two",
        "\tif\ttwo>3",
        "cnt\tequr\td1",
        "\tmove.w\tcnt,d0",
        "\tifc\tone,two",
        "\tcomm\tone,4",
    ];
    let mut count = 0;
    for seed in 0..3000 {
        let mut numbers = Numbers::new(seed);
        let mut text = |most: usize| -> String {
            let lines = numbers.below(most) + 2;
            (0..lines).map(|_| format!("{}\n", numbers.pick(LINES))).collect()
        };
        let (a, b, c) = (text(16), text(5).replace("include", "nop"), text(6));
        let names = ["one", "two", "Two", "three", ".x", "in", "cnt", "one_io"];
        let name = numbers.pick(&names);
        let is_part = |it: char| it.is_ascii_alphanumeric() || it == '_' || it == '.';
        let whole = |it: &(usize, &str)| !a[..it.0].ends_with(is_part) && !a[it.0 + name.len()..].starts_with(is_part);
        let Some((at, _)) = a.match_indices(name).find(whole) else { continue };
        let fresh = if name.starts_with('.') { ".fresh" } else { "fresh" };
        let marked = format!("{}<|>{}", &a[..at], &a[at..]);
        let Ok(now) = renamed(&[("a.s", &marked), ("b.i", &b), ("c.s", &c)], fresh) else { continue };
        let after = [("a.s", now[0].as_str()), ("b.i", &now[1]), ("c.s", &now[2])];
        let before = [("a.s", a.as_str()), ("b.i", &b), ("c.s", &c)];
        assert_eq!(laid_down(&after), laid_down(&before), "{name}: {before:?} became {after:?}");
        count += 1;
        // Back again, all spellings are that of the definition.
        if !name.eq_ignore_ascii_case("two") {
            let back = now[0].find(fresh).map(|at| format!("{}<|>{}", &now[0][..at], &now[0][at..]));
            let back = renamed(&[("a.s", &back.unwrap()), ("b.i", &now[1]), ("c.s", &now[2])], name);
            let back: Vec<String> = back.unwrap().iter().map(|it| it.to_lowercase()).collect();
            assert_eq!(back, [&a, &b, &c].map(|it| it.to_lowercase()), "{name}: {after:?}");
        }
    }
    assert!(count > 500, "{count} of 3000 programs had a name that could be changed");
}
