//! Which tables are told to be exception vectors, and what is found in them.
//!
//! Numbers and names of vectors: M68000 User's Manual, ninth edition, table 6-2. How tables are written is common practice, no source.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::path::PathBuf;

use reveille_facts::{Model, VectorsFact};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

const MAP: &str = "[[machine.m.memory]]\nname = \"rom\"\nfrom = 0\nsize = \"64k\"\nkind = \"rom\"\n\
                   [[machine.m.memory]]\nname = \"ram\"\nfrom = \"$80000\"\nsize = \"64k\"\nkind = \"ram\"\n\
                   [[machine.m.memory]]\nname = \"port\"\nfrom = \"$F00000\"\nsize = 16\nkind = \"device\"\n";

fn model(text: &str, map: &str) -> Model {
    let mut program = Program::new();
    let mut files = vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))];
    if !map.is_empty() {
        files.push((PathBuf::from("reveille.toml"), Content::Beside(File::new(map, None))));
    }
    program.set_files(files);
    Model::new(program, &[], None)
}

/// Facts as `subject origin sure: 0-1 name, 2 name`; an entry without a handler has its value.
fn vectors(text: &str) -> Vec<String> {
    let model = model(text, "");
    model.vectors().map(|it| shown(&model, it)).collect()
}

fn shown(model: &Model, fact: &VectorsFact) -> String {
    let rows = fact.rows().into_iter().map(|row| {
        let first = row.first().unwrap();
        let numbers: Vec<u8> = row.iter().map(|it| it.vector.number).collect();
        let holds = match first.handler {
            Some(it) => model.program().names().text(it.symbol).to_string(),
            None => first.address.map_or("?".into(), |it| format!("${it:X}")),
        };
        format!("{} {holds}", reveille_facts::number_ranges(&numbers))
    });
    let rows: Vec<_> = rows.collect();
    format!("{} {} {}: {}", fact.subject, fact.origin.name(), fact.confidence.level.name(), rows.join(", "))
}

fn codes(text: &str, map: &str) -> Vec<&'static str> {
    model(text, map).findings().iter().map(|it| it.code).collect()
}

const CODE: &str =
    "start\tnop\n\trte\nbuserr\tnop\n\trte\nadrerr\tnop\n\trte\nillins\tnop\n\trte\nzdiv\tnop\n\trte\nbad\trte\n";

#[test]
fn a_table_at_0_is_told_by_where_it_lies() {
    let text =
        format!("STACK\tequ\t$80400\n\torg\t0\n\tdc.l\tSTACK,start\n\tdc.l\tbuserr,adrerr\n\tdcb.l\t252,bad\n{CODE}");
    assert_eq!(
        vectors(&text),
        ["vectors at $000000 fetched certain: 0 $80400, 1 start, 2 buserr, 3 adrerr, 4-255 bad"]
    );
    assert_eq!(codes(&text, ""), [""; 0]);
    assert_eq!(codes(&text, MAP), [""; 0]);
}

#[test]
fn pieces_of_a_table_below_400_are_one() {
    let text = format!(
        "\torg\t0\nvecs\tdc.l\t$80400,start,buserr\n\tdc.b\t'not a vector'\n\torg\t$64\nautos\tdc.l\tadrerr\nlast\tdc.l\tbad\n\torg\t$400\n{CODE}"
    );
    assert_eq!(vectors(&text), ["vecs fetched certain: 0 $80400, 1 start, 2 buserr, 25 adrerr, 26 bad"]);
    // A table of addresses behind code is none, even below $400.
    let text = format!("\torg\t0\n{CODE}\tdc.l\tstart,bad\n");
    assert_eq!(vectors(&text), [""; 0]);
}

#[test]
fn a_table_elsewhere_needs_words_or_shape() {
    let named = format!("\torg\t$1000\n* exception vectors\ntab\tdc.l\tbuserr,adrerr,illins,zdiv\n{CODE}");
    assert_eq!(vectors(&named), ["tab table certain: 2 buserr, 3 adrerr, 4 illins, 5 zdiv"]);
    let unnamed = format!("\torg\t$1000\n* commands\ntab\tdc.l\tbuserr,adrerr,illins,zdiv\n{CODE}");
    assert_eq!(vectors(&unnamed), [""; 0]);
    let counted = format!("\torg\t$1000\n* user vectors 64-66\ntab\tdc.l\tstart,bad,bad\n{CODE}");
    assert_eq!(vectors(&counted), ["tab table likely: 64 start, 65-66 bad"]);
    let autos = format!("\torg\t$1000\nautovecs\tdc.l\tstart,bad,bad,bad,bad,bad,start\n{CODE}");
    assert_eq!(vectors(&autos), ["autovecs table likely: 25 start, 26-30 bad, 31 start"]);
    let shape =
        format!("\torg\t$1000\ntab\tdc.l\tSTACK,start,buserr,adrerr,bad,bad,bad,bad\nSTACK\tequ\t$8000\n{CODE}");
    assert_eq!(vectors(&shape), ["tab table likely: 0 $8000, 1 start, 2 buserr, 3 adrerr, 4-7 bad"]);
    // A menu: a count and its entries.
    let menu = format!("\torg\t$1000\ntab\tdc.l\t8,start,start,bad,bad,bad,bad,bad\n{CODE}");
    assert_eq!(vectors(&menu), [""; 0]);
    let section =
        ".section .vectors\n\t.long 0x80400, start, bad, bad, bad, bad, bad, bad\n\t.text\nstart:\trte\nbad:\trte\n";
    assert_eq!(vectors(section), ["vectors at $000000 table likely: 0 $80400, 1 start, 2-7 bad"]);
}

#[test]
fn a_table_at_the_start_of_a_rom_is_mapped_to_0() {
    let text = "\torg\t$4000\n\tdc.l\t$80400,start\nstart\tnop\n\trts\n";
    let map = MAP.replace("from = 0", "from = \"$4000\"");
    let model = model(text, &map);
    let shown: Vec<_> = model.vectors().map(|it| shown(&model, it)).collect();
    assert_eq!(shown, ["vectors at $004000 fetched certain: 0 $80400, 1 start"]);
    assert_eq!(codes(text, &map), [""; 0]);
    assert_eq!(vectors(text), [""; 0]);
}

#[test]
fn instructions_that_fill_vectors_are_told() {
    let text = "L3\tequ\t27\nVEC5\tequ\t$74\nVAR\tequ\t$2000\n\torg\t$1000\ninit\tmove.l\t#tick,L3*4\n\tmove.l\t#tick,VEC5\n\
                \tlea\tbus(pc),a0\n\tmove.l\ta0,$8.w\n\tmove.l\t#key,($68).w\n\tmove.l\t#tick,VAR\n\tmove.l\t#5,$64\n\tmove.l\td0,$60\n\trts\n\
                tick\trte\nkey\trte\nbus\trte\n";
    assert_eq!(vectors(text), ["vectors written by instructions stored certain: 2 bus, 26 key, 27 tick, 29 tick"]);
    assert_eq!(codes(text, ""), [""; 0]);
    let dotted = "\t.text\ninit:\tmovel #tick, 0x64\n\tmove.l #tick, 0x68\n\trts\ntick:\trte\n";
    assert_eq!(vectors(dotted), ["vectors written by instructions stored certain: 25-26 tick"]);
}

/// A table of 48 entries, with one of them changed.
fn table(number: usize, to: &str) -> String {
    let mut entries: Vec<&str> = vec!["bad"; 48];
    (entries[0], entries[1]) = ("$80400", "start");
    entries[number] = to;
    let lines: String = entries.iter().map(|it| format!("\tdc.l\t{it}\n")).collect();
    format!(
        "\torg\t0\n{lines}{CODE}text\tdc.b\t'text',0\n\teven\nsub\tmoveq\t#0,d0\n\tmove.l\td0,-(sp)\n\tmove.l\t(sp)+,d0\n\trts\n"
    )
}

#[test]
fn each_damage_has_its_finding() {
    assert_eq!(codes(&table(2, "bad"), MAP), [""; 0]);
    for (number, to, code) in [
        (5, "bad+1", "vector-001"),
        (1, "start+1", "vector-001"),
        (6, "$F00004", "vector-002"),
        (7, "$20000", "vector-002"),
        (1, "$80000", "vector-002"),
        (0, "$80401", "vector-003"),
        (0, "$20000", "vector-004"),
        (0, "$F00004", "vector-004"),
        (4, "text", "vector-005"),
        (9, "sub", "vector-008"),
        (33, "0", "vector-009"),
        (12, "zdiv", "vector-010"),
    ] {
        assert_eq!(codes(&table(number, to), MAP), [code], "{number} {to}");
    }
    // The end of RAM is where stacks begin, and reserved vectors hold anything.
    for (number, to) in [(0, "$90000"), (12, "0"), (13, "-1"), (20, "$FFFFFFFF"), (30, "buserr"), (12, "bad")] {
        assert_eq!(codes(&table(number, to), MAP), [""; 0], "{number} {to}");
    }
    let swapped = table(0, "start").replacen("\tdc.l\tstart\n\tdc.l\tstart\n", "\tdc.l\tstart\n\tdc.l\t$80400\n", 1);
    assert_eq!(codes(&swapped, MAP), ["vector-006"]);
    assert_eq!(codes(&swapped, ""), ["vector-006"]);
    let short = table(2, "bad").replacen("\tdc.l\tbad\n", "", 1);
    assert_eq!(codes(&short, MAP), ["vector-007"]);
    let apart = short.replacen("start\tnop", "\torg\t$400\nstart\tnop", 1);
    assert_eq!(codes(&apart, MAP), [""; 0]);
}

#[test]
fn without_a_map_only_bare_numbers_are_doubted() {
    assert_eq!(codes(&table(6, "$20000"), ""), ["vector-002"]);
    assert_eq!(codes(&format!("MONBUS\tequ\t$20000\n{}", table(6, "MONBUS")), ""), [""; 0]);
    assert_eq!(codes(&table(0, "$20000"), ""), [""; 0]);
}

#[test]
fn rts_is_only_told_where_it_is_certain() {
    for (body, is_told) in [
        ("\trts", true),
        ("\tmovem.l\td0-d1/a0,-(sp)\n\tbsr\tstart\n\tmovem.l\t(sp)+,d0-d1/a0\n\trts", true),
        // The address of what goes on is pushed, or the frame is taken away.
        ("\tmove.l\ta0,-(sp)\n\trts", false),
        ("\taddq.l\t#6,sp\n\trts", false),
        ("\tbeq.s\tstart\n\trts", false),
    ] {
        let text = format!("{}own{body}\n", table(9, "own"));
        assert_eq!(codes(&text, MAP), if is_told { vec!["vector-008"] } else { vec![] }, "{body}");
    }
}
