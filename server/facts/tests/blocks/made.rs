//! Tables that macros lay down, and blocks given the values of a standard format.

use reveille_facts::{BlockFact, Edit, Fix, Model, additions, conversions};

use crate::{K720, K1440, blocks, codes, model};

/// 720 KiB as mformat 4.0.32 writes it, for calls of [`FORMAT`].
const CALL_720: &str = "diskfmt\t512,2,112,1440,$F9,3,9,2";
/// 1440 KiB, the same.
const CALL_1440: &str = "diskfmt\t512,1,224,2880,$F0,9,18,2";

/// A macro that lays down a block of 19 bytes from its fields.
const FORMAT: &str = "diskfmt\tmacro\n\tdc.b\t\\1&255,\\1>>8,\\2,1,0,2,\\3&255,\\3>>8\n\tdc.b\t\\4&255,\\4>>8,\\5,\\6&255,\\6>>8\n\tdc.b\t\\7&255,\\7>>8,\\8&255,\\8>>8,0,0\n\tendm\n";

#[test]
fn a_macro_s_call_lays_down_a_block() {
    assert_eq!(blocks(&format!("{FORMAT}bpb\t{CALL_720}\n\teven\n")), ["bpb fat-block-19 80x2x9x512 certain"]);
    assert_eq!(codes(&format!("{FORMAT}bpb\t{CALL_720}\n\teven\n")), [""; 0]);
    assert_eq!(blocks(&format!("{FORMAT}bpb\n\t{CALL_720}\n\teven\n")), ["bpb fat-block-19 80x2x9x512 certain"]);
    // Little-endian words of a macro of their own.
    let word = "lew\tmacro\n\tdc.b\t(\\1)&255,(\\1)>>8\n\tendm\n";
    let nested = "bloc\tmacro\n\tlew\t\\1\n\tdc.b\t\\2\n\tlew\t1\n\tdc.b\t2\n\tlew\t\\3\n\tlew\t\\4\n\tdc.b\t\\5\n\tlew\t\\6\n\tlew\t\\7\n\tlew\t\\8\n\tlew\t0\n\tendm\n";
    let text = format!("{word}{nested}bpb\tbloc\t512,2,112,80*2*9,$F9,3,9,2\n\teven\n");
    assert_eq!(blocks(&text), ["bpb fat-block-19 80x2x9x512 certain"]);
    let by_hand = format!("{word}bpb\tlew\t512\n\tdc.b\t2\n\tlew\t1\n\teven\n");
    assert_eq!(blocks(&by_hand), [""; 0], "a table of calls and of data is not one of calls");
}

#[test]
fn several_calls_lay_down_a_table() {
    let text = format!("{FORMAT}fmttab\t{CALL_720}\n\t{CALL_1440}\n\teven\n");
    assert_eq!(
        blocks(&text),
        ["fmttab[0] fat-block-19 80x2x9x512 certain", "fmttab[1] fat-block-19 80x2x18x512 certain"]
    );
    // A label begins another table.
    let text = format!("{FORMAT}bpb_a\t{CALL_720}\nbpb_b\t{CALL_1440}\n\teven\n");
    assert_eq!(blocks(&text), ["bpb_a fat-block-19 80x2x9x512 certain", "bpb_b fat-block-19 80x2x18x512 certain"]);
    // So does an instruction.
    let text = format!("{FORMAT}bpb_a\t{CALL_720}\n\teven\n\tnop\n\t{CALL_1440}\n\teven\n");
    assert_eq!(blocks(&text).len(), 2, "{:?}", blocks(&text));
    let broken =
        "odd\tmacro\n\tdc.b\t0,2,2,1,0,2,112,0\n\tnop\n\tdc.b\t$A0,5,$F9,3,0,9,0,2,0,0,0\n\tendm\nbpb\todd\n\teven\n";
    assert_eq!(blocks(broken), [""; 0], "an instruction is no part of a table");
}

#[test]
fn the_evidence_of_a_made_byte_is_the_call_s_operand() {
    let text = format!("{FORMAT}bpb\t{}\n\teven\n", CALL_720.replace("1440", "1441"));
    let model = model(&text);
    let file = model.program().files().next().unwrap();
    let shown = |at: reveille_facts::Evidence| at.span.of(file.at(at.place.chunk, at.place.line).2).to_owned();
    let block = model.blocks().next().unwrap();
    for (field, operand) in
        [("sector_size", "512"), ("total_sectors", "1441"), ("format_identifier", "$F9"), ("sides", "2")]
    {
        let own: Vec<String> = block.evidence(field).into_iter().map(shown).collect();
        assert_eq!(own, [operand], "{field}");
    }
    let finding = model.findings().into_iter().find(|it| it.code == "fat-017").unwrap();
    assert_eq!(shown(finding.at), "1441");
    // What a macro makes is not rewritten.
    assert!(finding.fixes.is_empty());
    assert!(conversions(model.program(), block).is_empty() && additions(model.program(), block, &[block]).is_empty());
}

/// The text after the edits of a change.
fn applied(model: &Model, text: &str, fix: &Fix) -> String {
    let file = model.program().files().next().unwrap();
    let place = |edit: &Edit| {
        let start = file.source().line_start(file.line_number(edit.place));
        (start + usize::from(edit.span.start)..start + usize::from(edit.span.end), edit.text.clone())
    };
    let mut edits: Vec<_> = fix.edits.iter().map(place).collect();
    edits.sort_by_key(|it| std::cmp::Reverse(it.0.start));
    let mut text = text.to_owned();
    for (range, new) in edits {
        text.replace_range(range, &new);
    }
    text
}

/// Each change for a format that is offered for the first block: its title and the text after it.
fn offered(text: &str, offer: impl Fn(&Model, &BlockFact) -> Vec<Fix>) -> Vec<(String, String)> {
    let model = model(text);
    let block = model.blocks().next().unwrap();
    offer(&model, block).iter().map(|fix| (fix.title.clone(), applied(&model, text, fix))).collect()
}

fn converted(text: &str) -> Vec<(String, String)> {
    offered(text, |model, block| conversions(model.program(), block))
}

fn added(text: &str) -> Vec<(String, String)> {
    offered(text, |model, block| {
        let table: Vec<&BlockFact> = model.blocks().collect();
        additions(model.program(), block, &table)
    })
}

fn only<'a>(all: &'a [(String, String)], size: &str) -> &'a str {
    let mut own = all.iter().filter(|it| it.0.contains(size));
    let first = own.next().unwrap_or_else(|| panic!("no {size} in {all:?}"));
    &first.1
}

/// The formats whose FAT is longer than it needs to be, or whose sectors are smaller than the FAT specification has: hints of the
/// published tables themselves (reference, section 3.1).
const HINTS: [&str; 5] = ["fat-002", "fat-006", "fat-023", "fat-029", "word-006"];

#[test]
fn a_converted_block_equals_the_format_and_has_no_finding() {
    // 720 KiB with a FAT of 5 records: C-binding page of the get-BPB call.
    let words = "dc.w\t512,2,1024,7,5,6,18,711,0".to_owned();
    for (len, data) in [(13, &K720[..51]), (19, K720), (18, words.as_str())] {
        let data = if len == 18 { data.to_owned() } else { format!("dc.b\t{data}") };
        let text = format!("bpb\t{data}\n\teven\n");
        let all = converted(&text);
        assert!(all.len() >= 15, "{len} bytes: {}", all.len());
        for (title, after) in &all {
            let own = model(after);
            let block = own.blocks().next().unwrap_or_else(|| panic!("{title}: {after}"));
            assert_eq!(block.layout.len(), len, "{title}: {after}");
            let format = block.format.unwrap_or_else(|| panic!("{title}: equals nothing: {after}"));
            assert!(title.contains(&format.title), "{title}: equals {}", format.title);
            // Some distribution formats are tighter than the data sheets; what is told of their tracks is so.
            let is_known = |it: &&str| HINTS.contains(it) || it.starts_with("track-");
            let serious: Vec<_> = codes(after).into_iter().filter(|it| !is_known(it)).collect();
            assert_eq!(serious, [""; 0], "{title}: {after}");
        }
    }
}

#[test]
fn a_conversion_keeps_the_author_s_style() {
    for (before, after) in [
        (
            "bpb\tdc.b\t$00,$02,2,%00000001,0,2,112,0\t; as shipped\n\tdc.b\t$a0,$05,$f9,3,0,9,0,2,0,0,0\n\teven\n",
            "bpb\tdc.b\t$00,$02,1,%00000001,0,2,224,0\t; as shipped\n\tdc.b\t$40,$0b,$f0,9,0,18,0,2,0,0,0\n\teven\n",
        ),
        (
            "| floppy\n\t.data\nfmt:\t.byte 0x00, 0x02, 2, 1, 0, 2, 0160, 0, 0xa0, 5, 0xf9, 3, 0, 9, 0, 2, 0, 0, 0 | old\n\t.even\n",
            "| floppy\n\t.data\nfmt:\t.byte 0x00, 0x02, 1, 1, 0, 2, 0340, 0, 0x40, 11, 0xf0, 9, 0, 18, 0, 2, 0, 0, 0 | old\n\t.even\n",
        ),
    ] {
        for (before, after) in
            [(before.to_owned(), after.to_owned()), (before.replace('\n', "\r\n"), after.replace('\n', "\r\n"))]
        {
            assert_eq!(only(&converted(&before), "(80 x 2 x 18 x 512)"), after);
        }
    }
}

#[test]
fn an_addition_stands_behind_its_entry_in_lines_of_the_same_shape() {
    let text = format!(
        "* the disks\r\nbpbs\tDC.B\t{}\t720 K: ours\r\n\tDC.B\t{}\r\n\tDC.B\t{K720}\r\n\tEVEN\r\n",
        &K720[..31],
        &K720[32..]
    );
    let all = added(&text);
    assert!(
        all.iter().all(|it| it.0.starts_with("Add a block for ") && it.0.ends_with(" behind `bpbs[0]`")),
        "{all:?}"
    );
    let after = only(&all, "(80 x 2 x 18 x 512)");
    let lines: Vec<&str> = after.split("\r\n").collect();
    let before: Vec<&str> = text.split("\r\n").collect();
    assert_eq!((&lines[..3], &lines[5..]), (&before[..3], &before[3..]), "the other lines stay");
    assert!(lines[3].starts_with(&format!("\tDC.B\t{}\t", &K1440[..31])), "{after}");
    assert_eq!(lines[4], format!("\tDC.B\t{}", &K1440[32..]));
    assert!(!lines[3].contains("ours") && !after.contains("\n\n"), "{after}");
    for (title, after) in &all {
        let own = model(after);
        let block = own.blocks().nth(1).unwrap();
        assert_eq!(own.blocks().count(), 3, "{title}: {after}");
        assert!(block.format.is_some_and(|it| title.contains(&it.title)), "{title}: {after}");
        assert!(!codes(after).iter().any(|it| it.starts_with("block-")), "{title}: {after}");
    }
    // A format that the table has is not offered.
    assert!(!all.iter().any(|it| it.0.contains("720 KiB (")), "{all:?}");
}

#[test]
fn what_cannot_be_rewritten_is_not_offered() {
    for text in [
        // A text in the block, a byte too many, words in the other order, and a line that holds more than the block.
        format!("bpb\tdc.b\t{K720},0,0,0,0,0,0\n\tdc.b\t0,0,$29\n\tdc.l\t1\n\tdc.b\t'SKERRY BOOTFAT12   '\n\teven\n"),
        format!("bpb\tdc.b\t{K720},$55\n\teven\n"),
        "bpb\tdc.b\t$02,$00,$02,$00,$01,$02,$00,$70,$05,$A0,$F9,$00,$03,$00,$09,$00,$02,$00,$00\n\teven\n".to_owned(),
    ] {
        let model = model(&text);
        let block = model.blocks().next().unwrap();
        if !block.is_readable() || block.shape.extra.is_some() {
            assert!(conversions(model.program(), block).is_empty(), "{text}");
        }
        for fix in conversions(model.program(), block) {
            let after = applied(&model, &text, &fix);
            assert!(after.contains("'SKERRY BOOTFAT12   '") || !text.contains("SKERRY"), "{after}");
        }
    }
    // CP/M blocks say nothing of a standard format.
    let dpb = "dpb\tdc.b\t26,0,3,7,0,242,0,63,0,$C0,0,16,0,2,0\n\teven\n";
    assert!(converted(dpb).is_empty() && added(dpb).is_empty());
    let shared = format!("boot\tdc.b\t$60,$1c,'LOADER',1,2,3,{K720}\n\teven\n");
    assert!(added(&shared).is_empty(), "the line lays down more than the block");
}

/// 720 KiB: article Q75131.
#[test]
fn a_macro_may_have_the_name_of_a_directive_that_people_give_to_their_things() {
    let text =
        "format\tmacro\n\tdc.b\t0,2,\\1,1,0,2,112,0,$A0,5,$F9,3,0,9,0,2,0,0,0\n\tendm\nours\tformat\t2\n\teven\n";
    assert_eq!(blocks(text), ["ours fat-block-19 80x2x9x512 certain"]);
}
