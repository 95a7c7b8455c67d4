//! C beside assembly: names on both sides of the border, hovers, renames, structure. The programs are invented. That a compiler puts an
//! underscore before names of C is common practice (no source); the layout of structs is from memory.

use std::path::PathBuf;

use reveille_c::{FileKey, Function, Settings, Text, Unit};
use reveille_editor::{completions, definition, folds, highlights, outline, references, search, selection};
use tree_sitter::{Node, Parser};

use crate::calls::{incoming, outgoing};
use crate::renaming::renamed;
use crate::{hovered, places, program};

const START: &str = "\txref\t_main,_ticks\n\txdef\t_send\nstart\tmove.l\td0,_ticks\n\tjsr\t_main\n\tbra\tstart\n*\tsend(c)\tone byte to the line\n\n_send\tmove.b\t5(sp),d0\n\trts\n";

const MAIN: &str = "#include \"port.h\"\n\nlong ticks;\n\n/*\n * main()\tsays hello\n */\nmain()\n{\n\tint n;\n\n\tfor (n = LINES; n > 0; n--)\n\t\tsay(n);\n\tPORT(LAMP) = 1;\n}\n\nstatic say(c)\n\tint c;\n{\n\tstruct line l;\n\n\tl.count = c;\n\tsend(c);\n}\n";

const HEADER: &str = "#define LINES\t0x10\n#define LAMP\t0x40001L\n#define PORT(a)\t(*(char *) (a))\nenum { RED, GREEN = 4 };\nstruct line { char kind; int count; };\n";

/// The files with a mark in one of them.
fn files(mark: &str) -> Vec<(&'static str, String)> {
    let bare = mark.replace("<|>", "");
    let all = [("start.s", START), ("main.c", MAIN), ("port.h", HEADER)];
    let own = all.iter().position(|it| it.1.contains(&bare)).unwrap_or_else(|| panic!("{mark}"));
    let marked = |(at, (path, text)): (usize, &(&'static str, &str))| {
        (*path, if at == own { text.replacen(&bare, mark, 1) } else { (*text).to_owned() })
    };
    all.iter().enumerate().map(marked).collect()
}

fn with<R>(mark: &str, ask: impl FnOnce(&[(&str, &str)]) -> R) -> R {
    let files = files(mark);
    let files: Vec<(&str, &str)> = files.iter().map(|it| (it.0, it.1.as_str())).collect();
    ask(&files)
}

fn defined(mark: &str) -> Vec<String> {
    with(mark, |files| {
        let (model, file, at) = program(files);
        definition(&model, file, at).map_or_else(Vec::new, |it| places(&model, &it.1))
    })
}

fn used(mark: &str) -> Vec<String> {
    with(mark, |files| {
        let (model, file, at) = program(files);
        places(&model, &references(&model, file, at, true))
    })
}

#[test]
fn a_definition_is_found_on_the_other_side() {
    assert_eq!(defined("jsr\t_ma<|>in"), ["main.c:8 main"]);
    assert_eq!(defined("xref\t_ma<|>in"), ["main.c:8 main"]);
    assert_eq!(defined("d0,_ti<|>cks"), ["main.c:3 ticks"]);
    assert_eq!(defined("se<|>nd(c);"), ["start.s:8 _send"]);
    assert_eq!(defined("sa<|>y(n)"), ["main.c:17 say"]);
    assert_eq!(defined("LI<|>NES; n"), ["port.h:1 LINES"]);
    assert_eq!(defined("l.co<|>unt"), ["port.h:5 count"]);
    assert_eq!(defined("\"po<|>rt.h\""), ["port.h:1 "]);
    assert_eq!(defined("_se<|>nd\tmove"), ["start.s:8 _send"], "a label that C calls is the assembly's");
}

#[test]
fn uses_are_found_on_both_sides() {
    let send = ["main.c:23 send", "start.s:2 _send", "start.s:8 _send"];
    let sorted = |mut it: Vec<String>| {
        it.sort();
        it
    };
    assert_eq!(sorted(used("se<|>nd(c);")), send);
    assert_eq!(sorted(used("_se<|>nd\tmove")), send);
    let main = ["main.c:8 main", "start.s:1 _main", "start.s:4 _main"];
    assert_eq!(sorted(used("\nma<|>in()")), main);
    assert_eq!(sorted(used("jsr\t_ma<|>in")), main);
    assert_eq!(used("c<|>;\n{"), ["main.c:17 c", "main.c:18 c", "main.c:22 c", "main.c:23 c"]);
    assert_eq!(used("say(<|>n)"), ["main.c:10 n", "main.c:12 n", "main.c:12 n", "main.c:12 n", "main.c:13 n"]);
}

#[test]
fn names_are_marked_where_they_are_read_and_written() {
    let marks = with("say(<|>n)", |files| {
        let (model, file, at) = program(files);
        highlights(&model, file, at).iter().map(|it| it.is_write).collect::<Vec<_>>()
    });
    assert_eq!(marks, [true, true, false, true, false]);
}

#[test]
fn a_static_function_is_not_the_assembly_s() {
    let files = [("a.s", "\txdef\t_say\n_say\trts\n"), ("a.c", "static say() { }\ngo() { sa<|>y(); }\n")];
    let (model, file, at) = program(&files);
    assert_eq!(places(&model, &references(&model, file, at, true)), ["a.c:1 say", "a.c:2 say"]);
}

#[test]
fn programs_of_two_machines_have_names_of_their_own() {
    let machine = "[machine.m]\ntitle = \"m\"\n";
    let (one, two) = ("main() { se<|>nd(1); }\n", "\txdef\t_send\n_send\trts\n");
    let files = [("x/reveille.toml", machine), ("y/a.s", two), ("x/m.c", one), ("x/a.s", two)];
    let (model, file, at) = program(&files);
    assert_eq!(places(&model, &definition(&model, file, at).unwrap().1), ["x/a.s:2 _send"]);
}

#[test]
fn calls_cross_the_border_both_ways() {
    let asked = |mark: &str, ask: fn(&[(&str, &str)]) -> Vec<String>| with(mark, ask);
    assert_eq!(asked("\nma<|>in()", incoming), ["start [] 4"]);
    assert_eq!(asked("\nma<|>in()", outgoing), ["say [] 13"]);
    assert_eq!(asked("static sa<|>y", outgoing), ["_send [] 23"]);
    assert_eq!(asked("static sa<|>y", incoming), ["main [] 13"]);
    assert_eq!(asked("_se<|>nd\tmove", incoming), ["say [] 23"]);
    assert_eq!(asked("sta<|>rt\tmove", outgoing), ["main [] 4", "start [jumps] 5"][..1]);
    assert_eq!(asked("se<|>nd(c);", incoming), ["say [] 23"], "the label's callers, asked from C");
}

#[test]
fn hovers_tell_of_both_sides() {
    for (mark, parts) in [
        ("jsr\t_ma<|>in", &["main()", "says hello", "main.c:8", "returns int"][..]),
        ("d0,_ti<|>cks", &["object: long, 4 bytes", "main.c:3"]),
        ("se<|>nd(c);", &["in assembly `_send`", "start.s:8", "one byte to the line"]),
        ("LI<|>NES; n", &["#define LINES 0x10", "constant: 16 = $10", "port.h:1"]),
        ("PO<|>RT(LAMP)", &["reaches $040001", "PORT(a)"]),
        ("l.co<|>unt", &["int, 2 bytes, at offset 2 = $2", "struct line, 4 bytes"]),
        ("GRE<|>EN", &["constant of an enum: 4 = $04"]),
        ("= <|>1;", &["1 = $01"]),
        ("say(<|>n)", &["local: int, 2 bytes"]),
        ("static sa<|>y", &["static say(c)\n\tint c;", "function of this module alone"]),
    ] {
        let shown = with(mark, hovered);
        for part in parts {
            assert!(shown.contains(part), "{mark}: `{part}` is not in {shown}");
        }
    }
    let shown = hovered(&[("a.s", "\nLINES\tEQU\t24\n"), ("a.c", "#define LI<|>NES 24\n")]);
    assert!(shown.contains("in assembly `LINES`, constant: 24 = $18") && shown.contains("a.s:2"), "{shown}");
}

#[test]
fn a_table_of_c_is_told_as_the_block_that_it_is() {
    // 720 KiB as mformat 4.0.32 writes it, bytes 11 to 29 of the boot sector.
    let text = "/* disk format */\nchar diskfmt[] = {\n\t0x00,0x02,0x02,0x01,0x00,0x02,0x70,0x00,0xA0,0x05,0xF9,0x03,0x00,0x09,0x00,0x02,0x00,0x00,0x00\n};\n";
    let asked = |mark: &str| hovered(&[("a.c", &text.replacen(&mark.replace("<|>", ""), mark, 1))]);
    let shown = asked("0x<|>F9");
    assert!(shown.contains("80 x 2 x 9 x 512") && shown.contains("| **10** |"), "{shown}");
    assert!(asked("disk<|>fmt").contains("720 KiB"));
}

#[test]
fn the_machine_file_says_what_lies_at_an_address_of_c() {
    let machine =
        "[machine.m]\n[[machine.m.memory]]\nname = \"lamps\"\nfrom = \"$40000\"\nsize = 16\nkind = \"device\"\n";
    let shown = hovered(&[("reveille.toml", machine), ("a.c", "#define LAMP 0x40001L\nmain() { return LA<|>MP; }\n")]);
    assert!(shown.contains("in `lamps`") && shown.contains("its start + $1"), "{shown}");
}

#[test]
fn a_name_is_changed_on_both_sides() {
    let all = |mark: &str, new: &str| with(mark, |files| renamed(files, new));
    let sent = all("se<|>nd(c);", "emit").unwrap();
    assert!(sent[0].contains("xdef\t_emit\n") && sent[0].contains("\n_emit\tmove.b"), "{}", sent[0]);
    assert!(sent[1].contains("\temit(c);") && !sent[1].contains("send"), "{}", sent[1]);
    assert_eq!(all("_se<|>nd\tmove", "_emit").unwrap(), sent);
    let main = all("\nma<|>in()", "begin").unwrap();
    assert!(main[0].contains("xref\t_begin,_ticks") && main[0].contains("jsr\t_begin"), "{}", main[0]);
    assert!(main[1].contains("\nbegin()\n"), "{}", main[1]);
    assert_eq!(all("jsr\t_ma<|>in", "_begin").unwrap(), main);
    let field = all("l.co<|>unt", "left").unwrap();
    assert!(field[1].contains("l.left = c") && field[2].contains("int left;"));
    let local = all("c<|>;\n{", "byte").unwrap();
    assert!(local[1].contains("say(byte)\n\tint byte;") && local[1].contains("send(byte);"), "{}", local[1]);
}

#[test]
fn a_rename_that_would_change_more_is_refused() {
    let why = |mark: &str, new: &str| with(mark, |files| renamed(files, new)).unwrap_err();
    assert!(why("se<|>nd(c);", "while").contains("a word of C"));
    assert!(why("se<|>nd(c);", "2x").contains("no name that C can have"));
    assert!(why("se<|>nd(c);", "main").contains("already"));
    assert!(why("jsr\t_ma<|>in", "begin").contains("could not name `begin`"));
    assert!(why("jsr\t_ma<|>in", "_send").contains("already"));
    assert!(why("\nma<|>in()", "send").contains("already"));
    assert!(why("c<|>;\n{", "l").contains("already used at main.c:20"));
    assert!(why("c<|>;\n{", "send").contains("already used at main.c:23"));
    assert!(why("c<|>;\n{", "LAMP").contains("already used at main.c:14"));
    let inside = [("a.c", "main() { go<|>(); }\ngo() {\n#asm\n\tjsr\t_go\n#endasm\n}\n")];
    assert!(renamed(&inside, "run").unwrap_err().contains("assembly inside of C"));
    assert_eq!(renamed(&[("a.c", "main() { go<|>(); }\n")], "run").unwrap_err(), "`go` is not defined in the source");
}

#[test]
fn outline_search_and_completion_have_the_names_of_c() {
    let (model, file, _) = with("\nma<|>in()", program);
    let names: Vec<String> = outline(&model, file).into_iter().map(|it| it.name).collect();
    assert_eq!(names, ["ticks", "main", "say"]);
    let header = model.program().file_at(&PathBuf::from("port.h")).unwrap().id();
    let names: Vec<String> = outline(&model, header).into_iter().map(|it| it.name).collect();
    assert_eq!(names, ["LINES", "LAMP", "PORT", "RED", "GREEN", "line"]);
    let found: Vec<String> =
        search(&model, "ain").into_iter().map(|it| format!("{} {}", it.name, it.container)).collect();
    assert_eq!(found, ["main main.c", "_main start.s"]);
    let offered = |mark: &str| {
        let (model, file, at) = with(mark, program);
        completions(&model, file, at).0.into_iter().map(|it| it.label).collect::<Vec<_>>()
    };
    let names = offered("\t<|>send(c);");
    for name in ["c", "l", "main", "ticks", "send", "PORT", "GREEN"] {
        assert!(names.iter().any(|it| it == name), "{name}: {names:?}");
    }
    assert!(!names.iter().any(|it| it == "n" || it == "_send"), "{names:?}");
    assert_eq!(offered("l.co<|>unt"), ["count"]);
}

#[test]
fn lines_fold_and_selections_grow_by_the_tree() {
    let (model, file, at) = with("l.co<|>unt", program);
    let lines: Vec<_> = folds(&model, file).into_iter().map(|it| it.lines).collect();
    assert!(lines.contains(&(7..15)) && lines.contains(&(16..24)) && lines.contains(&(4..7)), "{lines:?}");
    let ranges = selection(&model, file, at);
    let text = model.program().file(file).unwrap().source().text();
    let texts: Vec<&str> = ranges.iter().map(|it| &text[it.clone()]).collect();
    assert_eq!(texts[..3], ["count", "l.count", "l.count = c"]);
    assert_eq!(ranges.last(), Some(&(0..text.len())));
    assert!(ranges.windows(2).all(|it| it[1].start <= it[0].start && it[0].end <= it[1].end));
}

/// Functions of a tree that have no error in them: the name and where it stands.
fn functions(node: Node<'_>, text: &str, found: &mut Vec<(String, usize)>) {
    if node.kind() == "function_definition" && !node.has_error() {
        let mut next = node.child_by_field_name("declarator");
        while let Some(it) = next {
            if it.kind() == "identifier" {
                found.push((text[it.byte_range()].to_owned(), it.start_byte()));
            }
            next = it.child_by_field_name("declarator");
        }
    }
    let mut cursor = node.walk();
    for child in node.children(&mut cursor) {
        functions(child, text, found);
    }
}

/// Functions with types and prototypes: those of the samples are of a time before them, and mostly errors in the tree.
const LATER: &str = "static int one(int a) { return a; }\nchar *two(char *s, unsigned n)\n{\n\twhile (n--) s++;\n\treturn s;\n}\nvoid three(void) { one(two(0, 1) != 0); }\nunsigned long four(struct x *p, int (*f)(int)) { return f(p->y); }\n";

#[test]
fn both_readers_find_the_same_functions() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut texts = vec![(PathBuf::from("later.c"), LATER.to_owned())];
    for folder in ["server/c/tests/samples", "tests/demo/skerry"] {
        let paths = std::fs::read_dir(root.join(folder)).unwrap().map(|it| it.unwrap().path());
        let c = paths.filter(|it| it.extension().is_some_and(|it| it == "c"));
        texts.extend(c.map(|it| (it.clone(), std::fs::read_to_string(it).unwrap())));
    }
    let mut parser = Parser::new();
    parser.set_language(&tree_sitter_c::LANGUAGE.into()).unwrap();
    let mut count = 0;
    for (path, text) in texts {
        let text_of = |key: u32, text: &str| Text { key: FileKey(key), text: text.into() };
        let mut keys = 0;
        let mut find = |_, name: &str, _| {
            keys += 1;
            Some(text_of(keys, &std::fs::read_to_string(path.with_file_name(name)).ok()?))
        };
        let unit = Unit::read(&text_of(0, &text), &mut find, &Settings::default());
        let mut found = Vec::new();
        functions(parser.parse(&text, None).unwrap().root_node(), &text, &mut found);
        for (name, start) in found {
            let is_here = |it: &&Function| it.name_span.file == FileKey(0) && it.name_span.start as usize == start;
            let own = unit.functions().iter().find(is_here);
            assert_eq!(own.map(|it| &*it.name), Some(name.as_str()), "{}", path.display());
            count += 1;
        }
    }
    assert!(count >= 6, "{count}");
}
