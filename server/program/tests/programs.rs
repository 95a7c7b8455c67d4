//! Programs of one or more files: what names are worth, where lines stand, what is told.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::path::PathBuf;

use proptest::prelude::*;
use reveille_program::{
    Analysis, Content, Listed, Place, ProblemKind, Program, Value, assemble, data_run_at, data_runs, list,
};
use reveille_source::{Document, Encoding, File, OpId};

fn program(files: &[(&str, &str)]) -> (Program, Analysis) {
    let mut program = Program::new();
    let content = |text: &str| Content::Text(File::new(text, None), Encoding::Utf8);
    program.set_files(files.iter().map(|(path, text)| (PathBuf::from(path), content(text))).collect());
    let analysis = Analysis::new(&program, &[], None);
    (program, analysis)
}

fn value(text: &str, name: &str) -> Value {
    let (program, analysis) = program(&[("a.s", text)]);
    analysis.units().next().unwrap().find(&program, name).unwrap().value
}

/// Each line of the listing: its number, its address and its bytes. Each address is also the one that a question about the line gets.
fn listed(program: &Program, analysis: &Analysis) -> Vec<(usize, Option<i64>, Vec<Option<u8>>)> {
    let mut found = Vec::new();
    for unit in analysis.units() {
        let make = |_, lines: Vec<Listed>| lines;
        let taken: Result<(), ()> = list(program, unit, &make, &mut |lines| {
            for line in lines {
                let file = unit.file(program, line.place.file).unwrap();
                let has_operation = file.at(line.place.chunk, line.place.line).1.op != OpId::NONE;
                // A file that is read several times stands for its last time.
                let is_once = file.path().ends_with("a.s");
                if is_once && has_operation && !line.bytes.is_empty() {
                    assert_eq!(unit.location(program, line.place), line.location);
                    if let Some(one) = assemble(program, unit, line.place) {
                        assert_eq!(one.bytes.iter().collect::<Vec<_>>(), line.bytes);
                    }
                }
                found.push((file.line_number(line.place), line.address, line.bytes));
            }
            Ok(())
        });
        taken.unwrap();
    }
    found
}

/// Problems as `line: what`, lines from 1, of all units.
fn problems(files: &[(&str, &str)]) -> Vec<String> {
    let (program, analysis) = program(files);
    told(&program, &analysis)
}

fn told(program: &Program, analysis: &Analysis) -> Vec<String> {
    let name = |symbol| program.names().text(symbol).to_string();
    let mut told: Vec<String> = analysis
        .units()
        .flat_map(|unit| unit.problems().iter().map(move |problem| (unit, problem)))
        .map(|(unit, problem)| {
            let file = unit.file(program, problem.place.file).unwrap();
            // Of a line in an expansion the call's number.
            let shown = unit.expanded_from(program, problem.place).map_or(problem.place, |it| it.0);
            let line = program.file(shown.file).unwrap().line_number(shown) + 1;
            let kind = match &problem.kind {
                ProblemKind::Undefined(symbol) => format!("undefined {}", name(*symbol)),
                ProblemKind::Circular(symbol) => format!("circular {}", name(*symbol)),
                ProblemKind::UnknownOperation(symbol) => format!("unknown operation {}", name(*symbol)),
                ProblemKind::Duplicate(first) => {
                    format!("duplicate of line {}", unit.file(program, first.file).unwrap().line_number(*first) + 1)
                }
                other => format!("{other:?}"),
            };
            let text = problem.span.of(file.at(problem.place.chunk, problem.place.line).2).to_owned();
            format!("{}:{line} {kind} [{text}]", file.path().display())
        })
        .collect();
    told.sort();
    told
}

#[test]
fn equates_need_each_other_in_any_order() {
    assert_eq!(value("A\tEQU\tB+1\nB\tEQU\tC*2\nC\tEQU\t5\n", "A"), Value::Number(11));
    let chain: String = (0..5000).map(|n| format!("N{n}\tEQU\tN{}+1\n", n + 1)).collect();
    assert_eq!(value(&format!("{chain}N5000\tEQU\t0\n"), "N0"), Value::Number(5000));
}

#[test]
fn a_name_that_set_gives_again_counts_in_its_order() {
    assert_eq!(value("N\tSET\t1\nN\tSET\tN+1\nM\tEQU\tN\n", "M"), Value::Number(2));
}

#[test]
fn origins_and_data_give_addresses() {
    let text =
        "\tORG\t$400\nfirst\tDC.B\t1,2,'abc'\nsecond\tDC.W\t1\n\tDS.L\t4\nthird\tDCB.B\t3,$FF\n\tEVEN\nlast\tDC.B\t0\n";
    assert_eq!(value(text, "first"), Value::Number(0x400));
    // DC.W is aligned to an even address, a zero byte is put in: GNU as 2.40 in its --mri mode.
    assert_eq!(value(text, "second"), Value::Number(0x406));
    assert_eq!(value(text, "third"), Value::Number(0x418));
    assert_eq!(value(text, "last"), Value::Number(0x41c));
}

#[test]
fn behind_code_addresses_are_known() {
    // NOP has one word (M68000 Family Programmer's Reference Manual, NOP; from memory).
    let text = "\tORG\t$400\n\tNOP\nfirst\tDC.B\t1,2,3\nfinis\nLEN\tEQU\tfinis-first\nAT\tEQU\tfirst\n";
    assert_eq!(value(text, "LEN"), Value::Number(3));
    assert_eq!(value(text, "AT"), Value::Number(0x402));
}

#[test]
fn behind_bytes_of_a_file_an_address_is_unknown_but_distances_are_known() {
    let text =
        "\tORG\t$400\n\tINCBIN\tlogo.bin\n\tEVEN\nfirst\tDC.B\t1,2,3\nfinis\nLEN\tEQU\tfinis-first\nAT\tEQU\tfirst\n";
    assert_eq!(value(text, "LEN"), Value::Number(3));
    assert!(matches!(value(text, "AT"), Value::Address(..)));
    let (program, analysis) = program(&[("a.s", text)]);
    let unit = analysis.units().next().unwrap();
    assert_eq!(unit.is_odd(unit.find(&program, "first").unwrap().value), Some(false));
    assert_eq!(unit.is_odd(unit.find(&program, "finis").unwrap().value), Some(true));
}

#[test]
fn a_reserved_count_may_need_a_later_name() {
    let text = "\tORG\t0\n\tDS.B\tSIZE\nafter\tDC.B\t0\nSIZE\tEQU\tfinis-begin\nbegin\tDC.L\t1,2\nfinis\n";
    assert_eq!(value(text, "after"), Value::Number(8));
}

#[test]
fn offsets_define_names_and_lay_down_nothing() {
    let text = "\tORG\t$100\n\tOFFSET\t4\none\tDS.B\t1\ntwo\tDS.W\t1\n\tORG\t$200\nhere\tDC.B\t0\n\tRSSET\t2\nf1\tRS.W\t2\nf2\tRS.B\t1\n";
    assert_eq!(value(text, "one"), Value::Number(4));
    assert_eq!(value(text, "two"), Value::Number(6));
    assert_eq!(value(text, "here"), Value::Number(0x200));
    assert_eq!((value(text, "f1"), value(text, "f2")), (Value::Number(2), Value::Number(6)));
}

#[test]
fn conditions_choose_lines() {
    let text = "BIG\tEQU\t0\n\tIFNE\tBIG\nN\tEQU\t1\n\tELSE\nN\tEQU\t2\n\tENDC\n\tIFD\tBIG\nM\tEQU\t3\n\tENDC\n";
    assert_eq!(value(text, "N"), Value::Number(2));
    assert_eq!(value(text, "M"), Value::Number(3));
    assert_eq!(problems(&[("a.s", text)]), [""; 0]);
    assert_eq!(
        problems(&[("a.s", "\tIFNE\tMAYBE\nN\tEQU\t1\n\tELSE\nN\tEQU\t2\n\tENDC\n\tENDC\n\tIFEQ\t0\n")]),
        ["a.s:1 undefined MAYBE [MAYBE]", "a.s:6 NothingToEnd [ENDC]", "a.s:7 NeverEnds [IFEQ]"]
    );
}

#[test]
fn local_labels_belong_to_the_label_before_them() {
    let text = "one\tnop\n.loop\tbra.s\t.loop\n10$\tbra.s\t10$\ntwo\tbra.w\t.loop\n.loop\tnop\n\tbra.s\t10$\n";
    assert_eq!(problems(&[("a.s", text)]), ["a.s:6 undefined 10$ [10$]"]);
    let text = "\t.text\n1:\tjra\t1b\n\tjra\t1f\n\tjra\t2f\n1:\tnop\n";
    assert_eq!(problems(&[("a.s", text)]), ["a.s:4 undefined 2f [2f]"]);
}

#[test]
fn includes_are_read_in_place_and_rings_are_told() {
    let files = [
        ("fw/a.s", "\tINCLUDE\t'SUB/B.I'\n\tDC.B\tSEVEN\n\tinclude\tmissing.i\n"),
        ("fw/sub/b.i", "SEVEN\tEQU\t7\n\tinclude\t\"../c.i\"\n"),
        ("fw/c.i", "\tinclude\tc.i\n"),
    ];
    assert_eq!(
        problems(&files),
        ["fw/a.s:3 MissingInclude(\"missing.i\") [missing.i]", "fw/c.i:1 IncludeCycle(\"c.i\") [c.i]"]
    );
    let (program, analysis) = program(&files);
    assert_eq!(analysis.units().count(), 1);
    assert_eq!(analysis.units().next().unwrap().files().len(), 3);
    assert!(program.file_at(&PathBuf::from("fw/./c.i")).is_some());
}

#[test]
fn what_is_wrong_is_told_with_its_place() {
    let text = "one\tEQU\t1/0\ntwo\tEQU\ttwo+1\ntwo\tEQU\t3\n\tDC.B\t300,one,nobody,'text'\n\tfrob\td0\n\tDC.Q\t1\n\tmove.l\t#99999999999,d0\n\tEND\nmore\n";
    assert_eq!(
        problems(&[("a.s", text)]),
        [
            "a.s:1 Expression(DivisionByZero) [/0]",
            "a.s:2 circular two [two+1]",
            "a.s:3 duplicate of line 2 [two]",
            "a.s:4 DoesNotFit { value: 300, bytes: 1 } [300]",
            "a.s:4 undefined nobody [nobody]",
            "a.s:5 unknown operation frob [frob]",
            "a.s:6 BadSize [Q]",
            "a.s:7 Expression(TooLarge) [99999999999]",
            "a.s:9 AfterEnd [more]",
        ]
    );
}

#[test]
fn macro_bodies_are_not_read_as_lines() {
    let text = "put\tMACRO\n\tmove.\\0\t\\1,d0\n\tbra\tnowhere\n\tENDM\n";
    assert_eq!(problems(&[("a.s", text)]), [""; 0]);
}

#[test]
fn a_call_stands_for_the_lines_of_its_macro() {
    // Parameters, the call's size, numbers of expansions and NARG: the CPU maker's resident assembler (from memory).
    let text = "put\tMACRO\nl\\@\tmove.\\0\t\\1,d0\n\tbra.s\tl\\@\n\tIFEQ\tNARG-2\n\tdc.w\t\\2\n\tENDC\n\tENDM\n\tORG\t0\n\tput.l\td1\n\tPUT\td2,<5>\nafter\tput.b\td3\n";
    assert_eq!(problems(&[("a.s", text)]), [""; 0]);
    assert_eq!(value(text, "after"), Value::Number(4 + 4 + 2));
    assert_eq!(value(text, "l001"), Value::Number(4));
    let text = "one\tMACRO\n\tmoveq\t#\\1,d0\n\tENDM\ntwo\tMACRO\n\tone\t\\1\n\tone\t300\n\tENDM\n\ttwo\t1\n";
    let told = problems(&[("a.s", text)]);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("a.s:8 Operand(Range"), "a line of an expansion is told at its call: {told:?}");
}

#[test]
fn bytes_of_an_unknown_distance_are_not_known() {
    // BSR.W is $6100 and a distance (M68000 Family Programmer's Reference Manual, BSR; from memory).
    let (program, analysis) = program(&[("a.s", "\torg\t0\n\tbsr.w\tnowhere\n\tjsr\tnowhere\n")]);
    let lines = listed(&program, &analysis);
    assert_eq!(lines[1].2, [Some(0x61), Some(0), None, None]);
    assert_eq!(lines[2].2, [Some(0x4e), Some(0xb9), None, None, None, None]);
}

#[test]
fn privileged_instructions_in_user_state_are_told_of() {
    // The supervisor bit is bit 13 (M68000 User's Manual, 2.1.3; from memory).
    let text =
        "\torg\t0\n\tmove\t#$0700,sr\n\tnop\n\treset\n\trts\n\tstop\t#$2000\n\tandi\t#$F8FF,sr\n\tstop\t#$2000\n";
    assert_eq!(problems(&[("a.s", text)]), ["a.s:4 Privileged [reset]"]);
}

#[test]
fn a_macro_that_never_ends_is_told_of() {
    let text = "again\tMACRO\n\tagain\n\tagain\n\tENDM\n\tagain\n";
    let told = problems(&[("a.s", text)]);
    assert!(told.iter().any(|it| it.contains("TooManyExpansions")), "{told:?}");
}

#[test]
fn a_name_that_stands_for_itself_is_replaced_once() {
    // ISO C90, 6.8.3.4 (from memory).
    let text = "#define far far+2\n#define go(x) bra x\n\t.text\nfar_away:\n\tnop\n#define far_away far_away+0\n\tgo(far_away)\n\trts\n";
    assert_eq!(problems(&[("a.S", text)]), [""; 0]);
}

#[test]
fn the_dotted_style_gives_a_name_a_value_again_and_again() {
    let text = "\t.text\nn = 1\nn = n+1\n\t.equ\tm,n\n\t.equ\tm,m+n\n";
    assert_eq!(problems(&[("a.s", text)]), [""; 0]);
    assert_eq!(value(text, "m"), Value::Number(4));
}

#[test]
fn data_runs_know_where_each_byte_is_from() {
    let text = "SPT\tEQU\t9\n\tORG\t1\nfmt\tDC.B\t$00,$02,SPT,0\n* more\n\tDC.W\t'A'\n\tDCB.B\t2,$E5\nnext\tDC.B\t1\n";
    let (program, analysis) = program(&[("a.s", text)]);
    let unit = analysis.units().next().unwrap();
    let runs = data_runs(&program, unit, &|_| true);
    assert_eq!(runs.len(), 2);
    let bytes: Vec<u8> = runs[0].items.iter().flat_map(|it| it.bytes.iter().flatten().copied()).collect();
    // The word is aligned: from address 5 to 6; its text is packed from the left.
    assert_eq!(bytes, [0, 2, 9, 0, 0, b'A', 0, 0xe5, 0xe5]);
    assert_eq!(runs[0].address, Value::Number(1));
    assert_eq!(data_run_at(&program, unit, Place { line: 5, ..runs[0].first }).unwrap(), runs[0]);
}

const PIECES: &[&str] = &[
    "a\tEQU\tb+1\n",
    "b\tEQU\t5\n",
    "lab\n",
    "\tdc.b\ta,b,300\n",
    "t\tdc.b\t1,2,3\n",
    "\tdc.w\tt2-t\nt2\n",
    "\teven\n",
    "\tnop\n",
    "\tifne\ta\n",
    "\telse\n",
    "\tendc\n",
    "\torg\t$100\n",
    "m\tmacro\n",
    "\tendm\n",
    "\tm\td0\n",
    ".x\tbra\t.x\n",
    "\tds.b\ta\n",
    "c\tset\tc+1\n",
    "\tsection\tdata\n",
    "\tdc.l\t*-t,c\n",
    "\tinclude\tb.i\n",
    "\tend\n",
    "x",
    "\n",
    "\t",
    "\trept\t3\n\tnop\n\tnop\n\tendr\n",
    "\trept\tb\n\tdc.b\ta\n\tendr\n",
    "\tirp\tv,d0,d1\n\tmove.l\tv,-(sp)\n\tendr\n",
    "\tendr\n",
    "PTR\tequr\ta3\n",
    "\tnop\n\tmove.l\t4(PTR),d0\n\tnop\n",
    "#define SIZE b+1\n",
    "#define CNT d7\n",
    "\tnop\n\tmove.w\t#SIZE,CNT\n\tnop\n",
    "#ifdef CNT\n",
    "#if SIZE > 3\n",
    "#else\n",
    "#endif\n",
    "#undef CNT\n",
    "@@\tbra\t@b\n",
    "\talign\t8\n",
    "print\tmacro\n\tdc.w\t1\n\tendm\n",
    "\tprint\t1\n",
    "\tbeq\tt2\n\tbra\tx1\nx1\n",
    "\tds.b\t116\n",
    "\tlea\tt2,a0\n\tmove.w\tb,d0\n\tjsr\tfar\n",
    "far\tadd.l\t#b,(a0)\n\tmove.l\t#1,d0\n",
    "\tds.b\tt2-t\n",
    "r\treg\td0-d2\n\tmovem.l\tr,-(sp)\n",
    "n\tmacro\n\\1\tnop\n\tbne\t\\1\n\tendm\n\tn\tu1\n\tn\tu2\n",
    "\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n\tbsr\tlab\n",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, ..ProptestConfig::default() })]
    #[test]
    fn an_edited_program_is_the_program_read_afresh(
        start in proptest::collection::vec(0..PIECES.len(), 0..300),
        edits in proptest::collection::vec((0.0..1.0f64, 0..30usize, proptest::collection::vec(0..PIECES.len(), 0..4)), 1..8),
    ) {
        let join = |parts: &[usize]| parts.iter().map(|at| PIECES[*at]).collect::<String>();
        let include = "inc\tEQU\t3\n\tdc.b\tinc\n";
        let mut expected = join(&start);
        let (mut edited, mut analysis) = program(&[("a.s", &expected), ("b.i", include)]);
        let id = edited.file_at(&PathBuf::from("a.s")).unwrap().id();
        let mut document = Document::new(&expected, None);
        for (place, length, parts) in edits {
            let from = (place * expected.len() as f64) as usize;
            let to = (from + length).min(expected.len());
            let new = join(&parts);
            let splice = document.edit(from..to, &new).unwrap();
            expected.replace_range(from..to, &new);
            edited.edit_file(id, document.file().clone(), splice);
            analysis = Analysis::new(&edited, &[], Some(&analysis));
            let (fresh_program, fresh) = program(&[("a.s", &expected), ("b.i", include)]);
            prop_assert_eq!(told(&edited, &analysis), told(&fresh_program, &fresh));
            let runs = |program: &Program, analysis: &Analysis| {
                let runs = analysis.units().flat_map(|unit| data_runs(program, unit, &|_| true));
                runs.map(|run| run.items.iter().map(|it| it.bytes.clone()).collect::<Vec<_>>()).collect::<Vec<_>>()
            };
            prop_assert_eq!(runs(&edited, &analysis), runs(&fresh_program, &fresh));
            let (lines, again) = (listed(&edited, &analysis), listed(&fresh_program, &fresh));
            prop_assert_eq!(&lines, &again);
        }
    }
}
