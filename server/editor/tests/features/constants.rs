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

#[test]
fn a_text_is_told_whole_with_its_length_and_its_end() {
    let text = "CR\tequ\t13\nLF\tequ\t10\nmsg\tdc.b\tCR,LF,'SKERRY <|>12'\n\tdc.b\t' ROM',0,'next',0\n";
    assert_eq!(told(text), "text of 15 bytes, ended by $00: `<CR><LF>SKERRY 12 ROM`");
    assert_eq!(told(&text.replace("<|>", "").replace("'next'", "'ne<|>xt'")), "text of 4 bytes, ended by $00: `next`");
    assert_eq!(
        told("msg\tdc.b\t'GO','N<|>O'\n\tdc.b\t'W'+$80\n"),
        "text of 5 bytes, ended by bit 7 of its last character: `GONOW`"
    );
    assert_eq!(told("msg\tdc.b\t5,'HE<|>LLO'\n"), "text of 5 bytes, its length stands before it: `HELLO`");
    assert_eq!(
        told("msg\tdc.b\t'HE<|>LL','O'+$80\n"),
        "text of 5 bytes, ended by bit 7 of its last character: `HELLO`"
    );
    assert_eq!(told("msg\tdc.b\t'HE<|>LLO',$FF\n"), "text of 5 bytes, ended by $FF: `HELLO`");
    assert_eq!(told("msg\tdc.b\t'HE<|>LLO'\n\teven\n"), "text of 5 bytes, without a terminator: `HELLO`");
    assert_eq!(told("tab\tdc.b\t1,2,<|>3,0\n"), "");
}

// ISO/IEC 646 for the names.
#[test]
fn control_characters_are_named_where_a_name_means_one() {
    assert!(told("C<|>R\tequ\t13\n").contains("control character CR"));
    assert!(told("XO<|>FF\tequ\t$13\n").contains("control character DC3 (XOFF)"));
    assert!(!told("COU<|>NT\tequ\t13\n").contains("control"));
    assert!(!told("C<|>R\tequ\t14\n").contains("control"));
}

#[test]
fn codes_are_told_where_words_name_them() {
    assert!(told("YEAR\tdc.w\t$19<|>86\tBCD\n").contains("packed BCD: 1986"));
    assert!(told("YEAR\tdc.w\t$1A<|>86\tBCD\n").contains("A in $1A86 is no decimal digit"));
    assert!(!told("YEAR\tdc.w\t$19<|>86\n").contains("BCD"));
    // FAT: General Overview of On-Disk Format 1.03, directory entry.
    assert!(told("\tdc.w\t$0C<|>65\tdate of the file\n").contains("packed disk date: 1986-03-05"));
    assert!(told("GAIN\tequ\t$18<|>0\t@fixed 8.8\n").contains("fixed point with 8 binary places: 1.5"));
    assert!(!told("GAIN\tequ\t$18<|>0\tversion 8.8\n").contains("fixed"));
    assert!(told("GA<|>IN\tequ\t$180\t@fixed 8.8\n").contains("fixed point with 8 binary places: 1.5"));
    assert!(told("START\tdc.l\t951782<|>400\tunix time\n").contains("2000-02-29"));
}

#[test]
fn masks_are_told_as_bits_and_equates_with_their_likes() {
    let text = "STBUSY\tequ\t0\nSTDRQ\tequ\t1\nSTLOST\tequ\t2\nERRS\tequ\t$1C\nx\tand.b\t#ERRS,d0\n\tor.w\t#$8F,d1\n\tmove.w\t#$90,d1\n";
    let at = |mark: &str| told(&text.replacen(&mark.replace("<|>", ""), mark, 1));
    assert!(at("#$8<|>F").ends_with("bits 7, 3-0"), "{}", at("#$8<|>F"));
    assert!(at("ER<|>RS\tequ").ends_with("bits 4-2"));
    assert!(!at("#$9<|>0").contains("bits"));
    assert!(at("STD<|>RQ").ends_with("one of `STBUSY` 0, `STDRQ` 1, `STLOST` 2"));
}

#[test]
fn addresses_in_data_tell_what_stands_there() {
    let text = "\torg\t$1000\nbase\tdc.w\tone-base,two-base,one-base\nlongs\tdc.l\tone,two,text,$1014\none\tnop\t\tfirst\ntwo\trts\ntext\tdc.b\t'text',0\n";
    let at = |mark: &str| told(&text.replacen(&mark.replace("<|>", ""), mark, 1));
    assert!(
        at("tw<|>o-base").ends_with("entry 1 of 3 in a table of distances from `base`: 0 `one`, 1 `two`, 2 `one`"),
        "{}",
        at("tw<|>o-base")
    );
    assert!(at("l\ton<|>e").ends_with("points to `one` (first): `nop`"), "{}", at("l\ton<|>e"));
    assert!(at("$10<|>14").ends_with("points to `longs`+14"), "{}", at("$10<|>14"));
}

/// Fields: header reader of CP/M-68K's tools, published since; `a.out(5)` of SunOS 4.1.3.
#[test]
fn the_numbers_that_program_files_begin_with_are_told_with_their_header() {
    let text = "BOOTMAG\tequ\t$601A\nOLDHDR\tequ\t0x107\nCOUNT\tequ\t$108\nstart\tcmpi.w\t#$601B,(a0)\n\tcmp.w\t#BOOTMAG,d0\n\tcmpi.w\t#$010B,d1\n\
                \tmove.w\t#$108,d0\n\tcmpi.b\t#7,d0\n\tcmpi.l\t#COUNT,(a0)\n\trts\nkinds\tdc.w\t$601A,$0108\n\tdc.w\t$0407\n\tend\n";
    let at = |mark: &str| {
        let plain = mark.replace("<|>", "");
        assert!(text.contains(&plain), "{mark}");
        told(&text.replacen(&plain, mark, 1))
    };
    let first = at("equ\t$6<|>01A");
    assert!(first.contains("program files begin with it: $601A program, header of 28 bytes"), "{first}");
    assert!(first.contains("| $16 | 4 | `text_start` | address of the text, where it is entered |"), "{first}");
    assert!(first.contains("Source: header reader"), "{first}");
    assert!(at("#$60<|>1B,(a0)").contains("| $20 | 4 | `bss_start` | address of the bss |"));
    assert!(at("#BOOT<|>MAG,d0").contains("$601A program"));
    assert!(at("dc.w\t$60<|>1A").contains("$601A program"));
    assert!(
        at("OLD<|>HDR").contains("program files begin with it: a.out program 0407, header of 32 bytes"),
        "{}",
        at("OLD<|>HDR")
    );
    assert!(at("#$01<|>0B,d1").contains("if it is held against the start of a file: a.out program 0413"));
    assert!(at("#COU<|>NT,(a0)").contains("a.out program 0410"));
    // A count is no header, a byte no number of one, and a hexadecimal 0407 another number.
    for mark in ["COU<|>NT\tequ", "#$1<|>08,d0", "$01<|>08\n", "#<|>7,d0", "$04<|>07"] {
        assert!(!at(mark).contains("program"), "{mark}: {}", at(mark));
    }
}
