//! Lines that stand for others: calls of macros, repetitions, names of the preprocessor.

use super::{definition, hovered, places, program};

const MACROS: &str = "\
PORT\tEQU\t$F00001
send\tMACRO
\\2\tMOVE.B\t#\\1,PORT
.wait\\@\tBTST\t#3,PORT
\tBEQ.S\t.wait\\@
\tENDM
\tORG\t$400
start\tMOVEQ\t#0,D0
\tsend\t$0D,first
\tsend\tBELL,second
\tBRA\tfirst
BELL\tEQU\t7
\tREPT\t3
\tDC.W\tBELL
\tENDR
";

fn marked(mark: &str) -> String {
    assert!(MACROS.contains(&mark.replace("<|>", "")), "{mark}");
    MACROS.replacen(&mark.replace("<|>", ""), mark, 1)
}

fn defined(files: &[(&str, &str)]) -> Vec<String> {
    let (model, file, at) = program(files);
    definition(&model, file, at).map_or(Vec::new(), |it| places(&model, &it.1))
}

#[test]
fn a_call_shows_the_lines_it_stands_for_with_their_bytes() {
    insta::assert_snapshot!("hover_call", hovered(&[("a.s", &marked("\tse<|>nd\t$0D"))]));
    insta::assert_snapshot!("hover_repeat", hovered(&[("a.s", &marked("\tRE<|>PT"))]));
}

#[test]
fn a_name_that_a_macro_makes_is_defined_at_the_call_and_at_the_macros_line() {
    assert_eq!(defined(&[("a.s", &marked("\tBRA\tfi<|>rst"))]), ["a.s:9 send", "a.s:3 \\2"]);
    assert_eq!(defined(&[("a.s", &marked("\tsend\t$0D,fir<|>st"))]), ["a.s:9 send", "a.s:3 \\2"]);
}

#[test]
fn a_call_leads_to_its_macro_and_an_argument_to_its_name() {
    assert_eq!(defined(&[("a.s", &marked("\tse<|>nd\t$0D"))]), ["a.s:2 send"]);
    assert_eq!(defined(&[("a.s", &marked("\tsend\tBE<|>LL"))]), ["a.s:12 BELL"]);
    assert_eq!(defined(&[("a.s", &marked("#\\1,PO<|>RT"))]), ["a.s:1 PORT"]);
}

#[test]
fn names_of_the_preprocessor_lead_to_their_lines_and_tell_their_values() {
    let text = "#define SIZE 5\n#define FP %a6\n\t.text\nstart:\n\tmovel\t#SI<|>ZE,%d0\n\tmovel\tFP@(4),%d1\n\trts\n";
    assert_eq!(defined(&[("a.S", text)]), ["a.S:1 SIZE"]);
    insta::assert_snapshot!("hover_define", hovered(&[("a.S", text)]));
    let text = text.replace("SI<|>ZE", "SIZE").replace("\tmovel\tFP", "\tmo<|>vel\tFP");
    insta::assert_snapshot!("hover_replaced", hovered(&[("a.S", &text)]));
    let text = "#define SIZE 5\n#if SI<|>ZE > 4\n\t.word\tSIZE\n#endif\n";
    assert_eq!(defined(&[("a.S", text)]), ["a.S:1 SIZE"]);
}

#[test]
fn the_first_line_tells_the_dialect_and_why() {
    insta::assert_snapshot!(
        "hover_dialect",
        hovered(&[("a.s", "| <|>clock\n\t.text\nstart:\tmovel\td0,sp@-\n\trts\n")])
    );
    insta::assert_snapshot!("hover_dialect_marked", hovered(&[("a.s", "; <|>@dialect dotted\n\tnop\n")]));
}
