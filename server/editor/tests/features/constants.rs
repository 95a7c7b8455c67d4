//! Hovers over constants: vectors and what else a value means.
//!
//! Vectors: M68000 User's Manual, ninth edition, table 6-2; the rest names its source where it stands.

use reveille_editor::handlers;

use crate::{hovered, program};

/// What is told of the constant, without its value.
fn told(text: &str) -> String {
    let shown = hovered(&[("a.s", text)]);
    let (_, body) = shown.split_once("---\n").unwrap_or(("", &shown));
    let own: Vec<&str> = body.split("\n\n").filter(|it| !it.is_empty()).skip(1).collect();
    own.join("\n").trim().to_owned()
}

const TABLE: &str = "\torg\t0\n\tdc.l\t$80400,start,buserr\n\tdcb.l\t45,bad\nVEC_L3\tequ\t$6C\tthe clock\nPLACE\tequ\t$70\nDELAY\tequ\t$64\t\n\
                     start\tmove.l\t#tick,VEC_L3\n\tmove.l\t#tick,27*4+0\n\tmove.l\t#tick,PLACE.w\n\tmove.w\t#DELAY,d0\n\tmove.w\t#$64,d0\n\ttrap\t#5\n\
                     buserr\trte\ntick\trte\nbad\trte\n";

fn at(mark: &str) -> String {
    let plain = mark.replace("<|>", "");
    assert!(TABLE.contains(&plain), "{mark}");
    TABLE.replacen(&plain, mark, 1)
}

#[test]
fn vectors_are_told_where_an_address_or_a_table_means_them() {
    let clock = "vector 27, level 3 interrupt autovector; address $06C; handler `bad`, `tick`";
    assert_eq!(told(&at("VEC<|>_L3\tequ")).lines().last(), Some(clock));
    assert_eq!(told(&at("equ\t$6<|>C")), clock);
    assert!(told(&at("#tick,VEC<|>_L3")).contains(clock));
    assert_eq!(told(&at("2<|>7*4+0")), clock);
    assert!(told(&at("PLA<|>CE\tequ")).contains("vector 28, level 4 interrupt autovector"));
    assert!(told(&at("PLA<|>CE.w")).contains("vector 28, level 4 interrupt autovector"));
    // A number is no address everywhere.
    assert!(!told(&at("DEL<|>AY\tequ")).contains("vector"));
    assert!(!told(&at("#DEL<|>AY")).contains("vector"));
    assert!(!told(&at("#$6<|>4,d0")).contains("vector"));
    assert!(told(&at("tr<|>ap\t#5")).contains("vector 37, TRAP #5 instruction; address $094; handler `bad`"));
    assert!(
        told(&at("bus<|>err\n")).ends_with(
            "vector 2, bus error; address $008; handler `buserr`; 14 bytes are stacked, the program counter in them: unpredictable: 2 to 10 bytes past the first word of the instruction"
        ),
        "{}",
        told(&at("bus<|>err\n"))
    );
    assert!(told(&at("45,b<|>ad")).ends_with("vectors 3-47; addresses $00C-$0BC; handler `bad`"));
    assert!(told(&at("$804<|>00")).contains("vector 0, reset: initial SSP; address $000"));
    assert!(told(&at("bus<|>err\trte")).ends_with("takes bus error (vector 2)"));
}

#[test]
fn a_handler_tells_above_its_label_what_it_takes() {
    let (model, file, _) = program(&[("a.s", TABLE)]);
    let shown: Vec<String> = handlers(&model, file)
        .into_iter()
        .map(|(range, text)| {
            let source = model.program().file(file).unwrap().source().text();
            format!("{}: {text}", &source[range])
        })
        .collect();
    assert_eq!(
        shown,
        [
            "start: reset: initial PC (vector 1)",
            "buserr: bus error (vector 2)",
            "tick: level 3 autovector (vector 27), level 4 autovector (vector 28)",
            "bad: vectors 3-47"
        ]
    );
}
