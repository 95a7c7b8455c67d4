//! What does not fit between C and assembly. The programs are invented; that compilers put an underscore before names of C is common
//! practice (no source).

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::path::PathBuf;

use reveille_facts::Model;
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

fn model(files: &[(&str, &str)]) -> Model {
    let mut program = Program::new();
    let content = |(path, text): &(&str, &str)| {
        let is_beside = path.ends_with(".c") || path.ends_with(".toml");
        let file = File::new(text, None);
        let content = if is_beside { Content::Beside(file) } else { Content::Text(file, Encoding::Utf8) };
        (PathBuf::from(path), content)
    };
    program.set_files(files.iter().map(content).collect());
    Model::new(program, &[], None)
}

/// The findings as `code file:line`.
fn told(files: &[(&str, &str)]) -> Vec<String> {
    let model = model(files);
    let shown = |it: &&reveille_facts::Finding| {
        let file = model.program().file(it.at.place.file).unwrap();
        format!("{} {}:{}", it.code, file.path().display(), file.line_number(it.at.place) + 1)
    };
    model.findings().iter().map(shown).collect()
}

const MAIN: &str = "\txref\t_main\nstart\tjsr\t_main\n\tbra\tstart\n";

#[test]
fn a_constant_with_two_values_is_told_with_the_other_s_value() {
    let equates = ("a.i", "LAMPS\tEQU\t$F30003\nSPT\tEQU\t9\n_CR\tEQU\t13\nERR\tEQU\t-1\n");
    let start = ("a.s", "\tinclude\ta.i\n\tdc.l\tLAMPS\n");
    let c =
        ("a.c", "#define LAMPS 0xF30001L\n#define SPT 9\n#define CR (10 + 2)\n#define ERR 0xFFFF\n#define OTHER 1\n");
    assert_eq!(told(&[equates, start, c]), ["c-001 a.c:1", "c-001 a.c:3"]);
    let model = model(&[equates, start, c]);
    let findings = model.findings();
    assert!(findings[0].message.contains("15925249 (0xF30001) here and 15925251 (0xF30003) in the assembly"));
    assert_eq!(findings[0].fixes[0].edits[0].text, "0xF30003L");
    assert!(findings[1].fixes.is_empty(), "an expression is not written anew");
    assert_eq!(told(&[start, equates, ("a.c", "enum { OK, SPT };\n")]), ["c-001 a.c:1"]);
    let variable = ("b.s", "n\tset\t1\nn\tset\t2\n\tdc.b\tn\n");
    assert_eq!(told(&[variable, ("a.c", "#define n 7\n")]), [""; 0], "a SET that is set again is no constant");
}

#[test]
fn constants_of_another_machine_are_not_compared() {
    let files = [
        ("x/reveille.toml", "[machine.x]\n"),
        ("x/a.c", "#define SPT 9\n"),
        ("x/a.s", "SPT\tEQU\t9\n\tdc.b\tSPT\n"),
        ("y/a.s", "SPT\tEQU\t8\n\tdc.b\tSPT\n"),
    ];
    assert_eq!(told(&files), [""; 0]);
}

#[test]
fn functions_and_objects_of_c_count_as_exported() {
    assert_eq!(told(&[("a.s", MAIN), ("a.c", "main() { }\n")]), [""; 0]);
    assert_eq!(told(&[("a.s", MAIN), ("a.c", "static main() { }\n")]), ["name-007 a.s:1"]);
    assert_eq!(told(&[("a.s", MAIN), ("a.c", "begin() { }\n")]), ["name-007 a.s:1"]);
    let other = ("b.s", "\txdef\tnear\nnear\trts\n");
    assert_eq!(told(&[("a.s", MAIN), other]), [""; 0], "without any C it is the C that is missing");
    let plain = ("a.s", "\txref\tmain\n\tjsr\tmain\n");
    assert_eq!(told(&[plain, ("a.c", "main() { }\n")]), [""; 0], "a compiler that puts nothing before its names");
    let both = ("a.s", "\txref\tmain\n\txdef\t_get,_put\n\tjsr\tmain\n_get\trts\n_put\trts\n");
    assert_eq!(told(&[both, ("a.c", "main() { get(); put(); }\nget();\nput();\n")]), ["name-007 a.s:1"]);
    let object = ("a.s", "\txref\t_ticks\n\taddq.l\t#1,_ticks\n\trts\n");
    assert_eq!(told(&[object, ("a.c", "long ticks;\n")]), [""; 0]);
    assert_eq!(told(&[object, ("a.c", "extern long ticks;\n")]), ["name-007 a.s:1"]);
}

#[test]
fn a_label_without_the_underscore_that_c_puts_is_told() {
    let labels = ("a.s", "\txref\t_main\n\txdef\t_get,put\n\tjsr\t_main\n_get\trts\nput\trts\n");
    assert_eq!(told(&[labels, ("a.c", "main() { get(); put(); put(); }\n")]), ["c-003 a.c:1"]);
    assert_eq!(told(&[labels, ("a.c", "main() { int (*put)(); get(); put(); }\n")]), [""; 0], "an object of that name");
    let plain = ("a.s", "\txref\tmain\n\txdef\tget,_put\n\tjsr\tmain\nget\trts\n_put\trts\n");
    assert_eq!(told(&[plain, ("a.c", "main() { get(); put(); }\n")]), ["c-003 a.c:1"]);
}

#[test]
fn a_call_with_another_number_of_arguments_is_told() {
    let own = ("a.c", "main() { move(1);\n move(1, 2); dump(1, 2);\n show(1, 2, 3); }\nmove(x, y) { }\n");
    let other = ("b.c", "dump(n) { }\nshow(f) char *f; { char **p; p = &f; }\n");
    assert_eq!(told(&[("a.s", MAIN), own, other]), ["c-004 a.c:1", "c-004 a.c:2"]);
    let pointer = ("a.c", "main(move) int (*move)(); { move(1); }\nmove(x, y) { }\n");
    assert_eq!(told(&[("a.s", MAIN), pointer]), [""; 0], "a parameter hides the function");
    let open = ("a.c", "main() { say(1, 2); }\nsay(int n, ...) { }\n");
    assert_eq!(told(&[("a.s", MAIN), open]), [""; 0]);
}

#[test]
fn a_name_that_both_sides_define_says_nothing_of_the_convention() {
    // The ROM has routines of its own by names that the C has for others.
    let rom = ("rom.s", "load\trts\nfind\trts\nlook\trts\n");
    let start = ("a.s", "\txref\t_main\n\txdef\t_send\n\tjsr\t_main\n_send\trts\n");
    let c = ("a.c", "main() { load(); send(1); }\nload() { find(); look(); }\nstatic find() { }\nlook() { }\n");
    assert_eq!(told(&[rom, start, c]), [""; 0]);
}

#[test]
fn an_edit_of_c_changes_what_is_told_of_assembly() {
    let before = model(&[("a.s", MAIN), ("a.c", "begin() { }\n")]);
    let mut program = before.program().clone();
    program.set_files(vec![(PathBuf::from("a.c"), Content::Beside(File::new("main() { }\n", None)))]);
    let after = Model::new(program, &[], Some(&before));
    assert_eq!((before.findings().len(), after.findings().len()), (1, 0));
}

/// The blocks as `subject layout total`.
fn blocks(files: &[(&str, &str)]) -> Vec<String> {
    let model = model(files);
    let one = |it: &reveille_facts::BlockFact| {
        format!("{} {} {:?}", it.subject, it.layout.name, it.number("total").or(it.number("capacity")))
    };
    model.blocks().map(one).collect()
}

/// 720 KiB as mformat 4.0.32 writes it, bytes 11 to 29 of the boot sector.
const DISK: &str = "0x00,0x02,0x02,0x01,0x00,0x02,0x70,0x00,0xA0,0x05,0xF9,0x03,0x00,0x09,0x00,0x02,0x00,0x00,0x00";

#[test]
fn the_same_bytes_in_c_and_in_assembly_are_the_same_block() {
    let assembly = format!("* disk format\ndiskfmt\tdc.b\t{}\n\teven\n", DISK.replace("0x", "$"));
    let of_assembly = blocks(&[("a.s", &assembly)]);
    assert_eq!(of_assembly.len(), 1, "{of_assembly:?}");
    let array = format!("/* disk format */\nunsigned char diskfmt[] = {{\n\t{DISK}\n}};\n");
    assert_eq!(blocks(&[("a.c", &array)]), of_assembly);
    let sized =
        format!("/*\n * disk format\n */\nstatic char diskfmt[19] = {{ {} }};\n", DISK.trim_end_matches(",0x00"));
    assert_eq!(blocks(&[("a.c", &sized)]), of_assembly, "zeros that nobody wrote");
    assert_eq!(blocks(&[("a.c", "char message[] = \"a text that is no disk\";\n")]), [""; 0]);
}

#[test]
fn what_is_wrong_with_a_block_of_c_is_told_at_its_initialiser() {
    let text = format!("/* disk format */\nchar diskfmt[] = {{\n\t{}\n}};\n", DISK.replace("0xF9", "0xFA"));
    let model = model(&[("a.c", &text)]);
    let findings = model.findings();
    let finding = findings.iter().find(|it| !it.fixes.is_empty()).unwrap_or_else(|| panic!("{findings:?}"));
    let file = model.program().file(finding.at.place.file).unwrap();
    let line = file.source().line(file.line_number(finding.at.place)).unwrap().1;
    assert_eq!((finding.at.span.of(line), finding.fixes[0].edits[0].text.as_str()), ("0xFA", "0xF9"));
}

#[test]
fn a_string_of_c_may_be_the_name_of_the_boot_file() {
    let names = |text: &str| -> Vec<String> {
        reveille_facts::image::boot_names(&model(&[("a.c", text)])).iter().map(|it| it.shown()).collect()
    };
    assert_eq!(names("#define BOOTNAM \"SURVEY  ABS\"\nmain() { find(BOOTNAM); say(\"no file\"); }\n"), ["SURVEY.ABS"]);
    assert_eq!(names("char *file = \"BOOT.SYS\";\nchar *said = \"V1.0\";\n"), ["BOOT.SYS"]);
}
