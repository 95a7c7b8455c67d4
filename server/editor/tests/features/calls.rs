//! Who calls whom, and where a name or a register is read and written.

use reveille_editor::{Call, highlights, incoming_calls, outgoing_calls, routine_at};
use reveille_facts::Model;

use crate::program;

/// The calls of a routine as `name [detail] lines`.
fn told(model: &Model, calls: &[Call], caller: impl Fn(&Call) -> reveille_program::FileId) -> Vec<String> {
    let line = |call: &Call, byte: usize| model.program().file(caller(call)).unwrap().source().line_of(byte) + 1;
    calls
        .iter()
        .map(|it| {
            let lines: Vec<String> = it.ranges.iter().map(|range| line(it, range.start).to_string()).collect();
            format!("{} [{}] {}", it.routine.name, it.routine.detail, lines.join(","))
        })
        .collect()
}

pub(crate) fn outgoing(files: &[(&str, &str)]) -> Vec<String> {
    let (model, file, at) = program(files);
    let from = routine_at(&model, file, at).map_or(file, |it| it.file);
    told(&model, &outgoing_calls(&model, file, at), |_| from)
}

pub(crate) fn incoming(files: &[(&str, &str)]) -> Vec<String> {
    let (model, file, at) = program(files);
    told(&model, &incoming_calls(&model, file, at), |call| call.routine.file)
}

const CODE: &str = "\torg\t$400\n\tbsr\tinit\nmain\tbsr\tinit\n\tjsr\t(work).l\n.x\tsubq.w\t#1,d0\n\tbne.s\t.x\n\tbeq\twork\n\tbra\tmain\n\tjmp\t(a0)\n\tjmp\ttab(pc,d0.w)\ninit\n\tnop\nwork\tdbra\td0,work\n\tbsr\textra\n\trts\nextra\tbra\tmain\ntab\tdc.w\twork\n";

fn code(mark: &str) -> String {
    assert!(CODE.contains(&mark.replace("<|>", "")), "{mark}");
    CODE.replacen(&mark.replace("<|>", ""), mark, 1)
}

#[test]
fn a_routine_calls_jumps_and_falls_through() {
    assert_eq!(outgoing(&[("a.s", &code("ma<|>in\tbsr"))]), ["init [] 3", "work [calls, jumps] 4,7"]);
    assert_eq!(outgoing(&[("a.s", &code("in<|>it\n"))]), ["work [falls through] 12"]);
    assert_eq!(outgoing(&[("a.s", &code("wo<|>rk\tdbra"))]), ["extra [] 14"], "a branch inside is no call");
    assert_eq!(outgoing(&[("a.s", &code("\tbra\tma<|>in\ntab"))]), ["init [] 3", "work [calls, jumps] 4,7"]);
    assert_eq!(outgoing(&[("a.s", &code("ta<|>b\tdc.w"))]), [""; 0], "a table is no routine");
    assert_eq!(outgoing(&[("a.s", "a\tnop\n\tput\td0\nb\trts\n<|>")]), [""; 0]);
}

#[test]
fn a_routine_is_called_from_every_unit() {
    assert_eq!(incoming(&[("a.s", &code("\nwo<|>rk\tdbra"))]), ["main [calls, jumps] 4,7", "init [falls through] 12"]);
    assert_eq!(
        incoming(&[("a.s", &code("\nin<|>it\n"))]),
        ["a.s [] 2", "main [] 3"],
        "code above all labels is the file's"
    );
    let own = ("a.s", "\txdef\tsend\nse<|>nd\trts\n");
    let other = ("b.s", "\txref\tsend\nloop\tjbsr\tsend\n\tjra\tSEND\n\tbra\tloop\n");
    let stranger = ("c.s", "send\tnop\n\trts\nmine\tbsr\tsend\n");
    assert_eq!(incoming(&[own, other, stranger]), ["loop [calls, jumps] 2,3"]);
    let back = ("b.s", "\txref\tsend\nloop\tjsr\tse<|>nd\n\trts\n");
    let (model, file, at) = program(&[("a.s", "\txdef\tsend\nsend\trts\n"), back]);
    let found = routine_at(&model, file, at).unwrap();
    assert_eq!(model.program().file(found.file).unwrap().path().to_str(), Some("a.s"));
}

#[test]
fn labels_of_one_address_are_one_routine() {
    let text = "one\ntwo\trts\nmain\tbsr\tone\n\tbsr\ttwo\n\trts\n";
    assert_eq!(incoming(&[("a.s", &text.replacen("two\trts", "tw<|>o\trts", 1))]), ["main [] 3,4"]);
    assert_eq!(outgoing(&[("a.s", &text.replacen("main", "ma<|>in", 1))]), ["one [] 3,4"]);
}

#[test]
fn lines_that_are_not_read_call_nothing() {
    let text = "ma<|>in\tifd\tNOWHERE\n\tbsr\tone\n\telse\n\tbsr\ttwo\n\tendc\n\trts\none\trts\ntwo\trts\n";
    assert_eq!(outgoing(&[("a.s", text)]), ["two [] 4"]);
}

#[test]
fn any_place_of_a_routine_stands_for_it_but_names_that_are_no_routine() {
    let name = |text: &str| {
        let (model, file, at) = program(&[("a.s", text)]);
        routine_at(&model, file, at).map(|it| it.name)
    };
    assert_eq!(name("LEN\tEQU\t1\nmain\tmove<|>q\t#LEN,d0\n\trts\n").as_deref(), Some("main"));
    assert_eq!(name("LEN\tEQU\t1\nmain\tmoveq\t#LE<|>N,d0\n\trts\n"), None);
    assert_eq!(name("main\trts\n\n\n* far <|>away\n"), None);
}

/// The lines with a mark below each highlight: `w` where it is written, `r` where it is read.
fn highlighted(text: &str) -> String {
    let (model, file, at) = program(&[("a.s", text)]);
    let source = model.program().file(file).unwrap().source().text();
    let mut marks: Vec<u8> = source.bytes().map(|it| if it == b'\n' { b'\n' } else { b'.' }).collect();
    let mut last = 0;
    for found in highlights(&model, file, at) {
        assert!(last <= found.range.start, "in order and apart");
        last = found.range.end;
        marks[found.range].fill(if found.is_write { b'w' } else { b'r' });
    }
    let marks = String::from_utf8(marks).unwrap();
    let marked = source.lines().zip(marks.lines()).filter(|it| it.1.contains(['r', 'w']));
    let words = |line: &str, mark: &str| {
        let kept: Vec<String> = line
            .char_indices()
            .filter(|it| mark.as_bytes()[it.0] != b'.')
            .map(|it| format!("{}{}", it.1, &mark[it.0..=it.0]))
            .collect();
        kept.join("")
    };
    marked.map(|it| words(it.0, it.1)).collect::<Vec<_>>().join(" ")
}

#[test]
fn a_name_is_marked_where_it_is_defined_written_and_read() {
    let text = "\tmove.w\td0,n\n\tmove.w\tN<|>,d0\n\taddq.w\t#1,n\n\ttst.w\tn\n\tcmp.w\tn,d0\n\tlea\tn,a0\n\tjsr\tn\n\tdc.l\tn,'n'\nn\tds.w\t1\n\tbset\t#n,n(a0)\n";
    assert_eq!(highlighted(text), "nw Nr nw nr nr nr nr nr nw nrnw");
    assert_eq!(highlighted("n\tset\t1\nn\tset\t2\n\tdc.b\t<|>n\n"), "nw nw nr");
    assert_eq!(highlighted("put\tMACRO\n\tENDM\n\tp<|>ut\td0\n"), "pwuwtw prurtr");
    assert_eq!(highlighted("a\n.x\tbra\t.x\nb\n.x\tbra\t.<|>x\n"), ".wxw.rxr");
    assert_eq!(highlighted("\tmove<|>.w\td0,d1\n"), "");
}

#[test]
fn a_register_is_marked_in_its_routine() {
    let text = "a\tmoveq\t#1,d2\nb\tmove.w\td2,d<|>2\n.x\tadd.w\t(a0,d2.w),d3\n\tmovem.l\td0-d3/a0,-(sp)\n\tmovem.l\t(sp)+,d0-d3\n\tcmp.w\td2,d1\n\texg\td2,d1\n\tdbra\td2,.x\nc\tmoveq\t#1,d2\n";
    assert_eq!(highlighted(text), "dr2rdw2w dr2r dr0r-rdr3r dw0w-wdw3w dr2r dw2w dw2w");
    let text = "\tmove.b\t(a0)+,-(a<|>0)\n\tmove.l\t4(a0),a1\n\tmovea.l\td0,a0\n\tclr.w\t(a0)\n\tlea\t( a0 ),a1\n";
    assert_eq!(highlighted(text), "aw0waw0w ar0r aw0w ar0r");
    assert_eq!(highlighted("\tmove.l\tSP,a7\n\tmove.l\td0,<|>sp\n\tpea\t(a7)\n"), "SrPraw7w swpw ar7r");
}
