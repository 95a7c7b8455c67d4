//! Which tables are told to be blocks, what is found in them, and that fixes mend.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod kinds;
mod made;
mod sectors;

use std::path::PathBuf;

use reveille_facts::{Fact, Finding, Model};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

fn model(text: &str) -> Model {
    let mut program = Program::new();
    program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))]);
    Model::new(program, &[], None)
}

/// Blocks as `subject layout geometry sure`.
fn blocks(text: &str) -> Vec<String> {
    let model = model(text);
    let shown = |geometry: [i64; 4]| geometry.map(|it| it.to_string()).join("x");
    let one = |it: &reveille_facts::BlockFact| {
        let geometry = it.geometry().map_or("-".into(), shown);
        format!("{} {} {geometry} {}", it.subject, it.layout.name, it.confidence.level.name())
    };
    model.blocks().map(one).collect()
}

fn codes(text: &str) -> Vec<&'static str> {
    model(text).findings().iter().map(|it| it.code).collect()
}

/// The text after the first fix of the finding of a code.
fn mended(text: &str, code: &str) -> String {
    let model = model(text);
    let findings = model.findings();
    let finding: &&Finding =
        findings.iter().find(|it| it.code == code).unwrap_or_else(|| panic!("no {code} in {findings:?}"));
    let fix = finding.fixes.first().unwrap_or_else(|| panic!("no fix for {code}"));
    let file = model.program().files().next().unwrap();
    let mut edits: Vec<_> = fix
        .edits
        .iter()
        .map(|edit| {
            let start = file.source().line_start(file.line_number(edit.place));
            (start + usize::from(edit.span.start)..start + usize::from(edit.span.end), edit.text.clone())
        })
        .collect();
    edits.sort_by_key(|it| std::cmp::Reverse(it.0.start));
    let mut text = text.to_owned();
    for (range, new) in edits {
        text.replace_range(range, &new);
    }
    text
}

/// 720 KiB as mformat 4.0.32 writes it, bytes 11 to 29 of the boot sector.
const K720: &str = "$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00";
/// 1440 KiB, the same.
const K1440: &str = "$00,$02,$01,$01,$00,$02,$E0,$00,$40,$0B,$F0,$09,$00,$12,$00,$02,$00,$00,$00";

#[test]
fn a_table_is_told_by_its_shape_its_length_and_its_words() {
    assert_eq!(blocks(&format!("tab\tdc.b\t{K720}\n\teven\n")), ["tab fat-block-19 80x2x9x512 likely"]);
    assert_eq!(blocks(&format!("boot_tab\tdc.b\t{K720}\n\teven\n")), ["boot_tab fat-block-19 80x2x9x512 certain"]);
    assert_eq!(
        blocks(&format!("* the formats\nfmts:\n\tdc.b\t{K720}\n* next\n\tdc.b\t{K1440}\n")),
        ["fmts[0] fat-block-19 80x2x9x512 certain", "fmts[1] fat-block-19 80x2x18x512 certain"]
    );
    let thirteen = &K720[..13 * 4 - 1];
    assert_eq!(blocks(&format!("drive_bpb\tdc.b\t{thirteen}\n")), ["drive_bpb fat-block-13 80x2x9x512 certain"]);
    assert_eq!(blocks(&format!("bpb25\tdc.b\t{K1440},0,0,0,0,0,0\n")), ["bpb25 fat-block-25 80x2x18x512 certain"]);
}

#[test]
fn other_data_is_no_block() {
    for text in [
        "junk\tdc.b\t1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19\n",
        "disk_msg\tdc.b\t'insert the disk and press return',13,10,0\n",
        "sector_table\tdc.w\t1,7,13,19,25,5,11,17,23,3\n",
        "drive_jumps\tdc.l\tdrive_jumps,drive_jumps,drive_jumps,drive_jumps,drive_jumps\n",
        "disk_buf\tdcb.b\t19,0\n",
    ] {
        assert_eq!(blocks(text), [""; 0], "{text}");
    }
}

#[test]
fn a_comment_says_what_a_table_is() {
    let odd = "1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19";
    assert_eq!(blocks(&format!("x\tdc.b\t{odd}\t@block fat-block-19\n")), ["x fat-block-19 - certain"]);
    assert_eq!(blocks(&format!("* @block bpb19\nx\n\tdc.b\t{odd}\n")), ["x fat-block-19 - certain"]);
    assert!(codes(&format!("x\tdc.b\t{K720}\t@block fat-block-20\n")).contains(&"block-101"));
}

#[test]
fn a_block_may_be_written_in_any_way() {
    let labelled = "bps\tdc.b\t0,2\nspc\tdc.b\t2\nres\tdc.b\t1,0\nfats\tdc.b\t2\nroot\tdc.b\t112,0\ntotal\tdc.b\t1440&255,1440>>8\n\
                    media\tdc.b\t$F9\nspf\tdc.b\t3,0\nspt\tdc.b\t9,0\nsides\tdc.b\t2,0\nhidden\tdc.b\t0,0\n\teven\n";
    assert_eq!(blocks(labelled), ["bps fat-block-19 80x2x9x512 certain"]);
    let symbolic = "SIZE\tEQU\t512\nTOT\tEQU\t80*2*9\nboot\tdc.b\tSIZE&$FF,SIZE>>8,2,1,0,2,112,0,TOT&$FF,TOT/256,$F9,3,0,9,0,2,0,0,0\n\teven\n";
    assert_eq!(blocks(symbolic), ["boot fat-block-19 80x2x9x512 certain"]);
    let longs = "boots\tdc.l\t$00020201,$00027000,$A005F903,$00090002,$00000000\n";
    assert_eq!(blocks(longs), ["boots fat-block-19 80x2x9x512 likely"]);
    let dotted = "| floppy\n\t.data\nfmt:\t.byte 0x00, 0x02, 2, 1, 0, 2, 0160, 0, 0xa0, 5, 0xf9, 3, 0, 9, 0, 2, 0, 0, 0 | 720\n\t.even\n";
    assert_eq!(blocks(dotted), ["fmt fat-block-19 80x2x9x512 certain"]);
    let cut_in_chunks = format!(
        "{}disk\tdc.b\t{}\n{}\tdc.b\t{}\n",
        "\tnop\n".repeat(191),
        &K720[..31],
        "* more\n".repeat(300),
        &K720[32..]
    );
    assert_eq!(blocks(&cut_in_chunks), ["disk fat-block-19 80x2x9x512 certain"]);
}

#[test]
fn a_sound_table_has_no_finding() {
    assert_eq!(codes(&format!("boot\tdc.b\t{K720}\n\tdc.b\t{K1440}\n\teven\n\tdc.w\t1\n")), [""; 0]);
}

#[test]
fn tables_end_and_go_on_in_the_ways_of_the_time() {
    let two = format!("formats\tdc.b\t{K720}\n\tdc.b\t{K1440}\n");
    for end in ["\tdc.b\t0\n\teven\n", "\tdc.b\t-1\tend of table\n", "\tdc.w\t-1\n", "\tdc.l\t0\n"] {
        assert_eq!(blocks(&format!("{two}{end}")).len(), 2, "{end}");
        assert!(!codes(&format!("{two}{end}")).contains(&"block-002"), "{end}");
    }
    assert_eq!(codes(&format!("bpb\tdc.b\t{K720}\n\tdc.b\t0\tpad\n\tdc.w\t1\n")), [""; 0]);
    assert_eq!(codes(&format!("bpb\tdc.b\t{K720}\n\tdc.b\t$55\n\teven\n")), ["block-002"]);
    let strided: String =
        [K720, K1440, K720].iter().map(|row| format!("\tdc.b\t'K720'\n\tdc.b\t{row}\n\tdc.b\t80\n")).collect();
    assert_eq!(blocks(&format!("fmttab\n{strided}")).len(), 3);
    assert_eq!(
        blocks(&format!("start\tdc.b\t$60,$1c,'LOADER',1,2,3,{K720}\n\teven\n")),
        ["start fat-block-19 80x2x9x512 certain"]
    );
}

#[test]
fn a_byte_too_few_or_too_many_is_found_where_it_is() {
    let bytes: Vec<&str> = K720.split(',').collect();
    for at in [0, 2, 7, 10, 13, 18] {
        let mut short = bytes.clone();
        short.remove(at);
        let found = codes(&format!("bpb\tdc.b\t{}\n\teven\n", short.join(",")));
        assert!(found.contains(&"block-001"), "without byte {at}: {found:?}");
        let mut long = bytes.clone();
        long.insert(at, "$55");
        let found = codes(&format!("bpb\tdc.b\t{}\n\teven\n", long.join(",")));
        assert!(found.contains(&"block-002"), "with another byte at {at}: {found:?}");
    }
}

#[test]
fn a_table_that_breaks_off_is_told_by_what_is_there() {
    for len in [15, 17] {
        let row = K720.split(',').take(len).collect::<Vec<_>>().join(",");
        assert_eq!(codes(&format!("bpb\tdc.b\t{row}\n\teven\n")), ["block-001"], "{len} bytes");
    }
    // 19 bytes and other data: a longer layout has no telling field in it.
    let found = blocks(&format!("bpb\tdc.b\t{K720}\n\tdc.b\t7,0,0\n\teven\n"));
    assert_eq!(found, ["bpb fat-block-19 80x2x9x512 likely"]);
}

/// Each damage, the code that tells of it, and that its fix takes it away. Rules: *FAT: General Overview of On-Disk Format*
/// 1.03 and the other sources that `families/fat.toml` names.
#[test]
fn fixes_mend_and_keep_the_author_s_style() {
    for (text, code, part) in [
        (K720.replace("$A0,$05", "$A1,$05"), "fat-017", "$A0,$05"),
        (K720.replace("$F9,$03", "$E9,$03"), "fat-026", "$F9,$03"),
        (K720.replace("$F9,$03", "$fb,$03"), "fat-027", "$f9,$03"),
        (K720.replace("$F9,$03", "$F9,2"), "fat-022", "$F9,3"),
        (K720.replace("$F9,$03", "$F9,%00000010"), "fat-022", "$F9,%00000011"),
        (K720.replace("$02,$70", "0,$70"), "fat-007", "2,$70"),
        (K720.replace("$70,$00", "$64,$00"), "fat-010", "$60,$00"),
    ] {
        let source = format!("bpb\tdc.b\t{text}\tas shipped\n\teven\n");
        let after = mended(&source, code);
        assert!(after.contains(part) && after.contains("\tas shipped"), "{code}: {after}");
        assert!(!codes(&after).contains(&code), "{code} is still there in {after}");
    }
}

#[test]
fn swapped_words_are_turned_and_a_missing_even_is_put_in() {
    let source = "bpb\tdc.b\t$02,$00,$02,$00,$01,$02,$00,$70,$05,$A0,$F9,$00,$03,$00,$09,$00,$02,$00,$00\n\teven\n";
    assert_eq!(codes(source), ["block-006"]);
    assert_eq!(mended(source, "block-006"), format!("bpb\tdc.b\t{K720}\n\teven\n"));
    let source = format!("bpb\tDC.B\t{K720}\nnext\tDC.W\t1\n");
    assert_eq!(codes(&source), ["block-003"]);
    assert_eq!(mended(&source, "block-003"), format!("bpb\tDC.B\t{K720}\n\tEVEN\nnext\tDC.W\t1\n"));
    let source = format!("\t.text\nbpb:\t.dc.b\t{K720}\n\trts\n");
    assert_eq!(mended(&source, "block-003"), format!("\t.text\nbpb:\t.dc.b\t{K720}\n\t.even\n\trts\n"));
    let crlf = format!("bpb\tDC.B\t{K720}\r\n\tRTS\r\n");
    assert_eq!(mended(&crlf, "block-003"), format!("bpb\tDC.B\t{K720}\r\n\tEVEN\r\n\tRTS\r\n"));
}

#[test]
fn tables_and_constants_are_held_against_each_other() {
    let constants =
        |cylinders, heads, sectors| format!("CYLS\tEQU\t{cylinders}\nHEADS\tEQU\t{heads}\nSPT\tEQU\t{sectors}\n");
    let with = |constants: String| codes(&format!("{constants}bpb\tdc.b\t{K720}\n\teven\n"));
    assert_eq!(with(constants(80, 2, 9)), [""; 0]);
    assert_eq!(with(constants(79, 2, 9)), ["fat-018"]);
    assert_eq!(with(constants(82, 2, 9)), ["fat-019"]);
    assert_eq!(with(constants(80, 2, 10)), ["cross-101"]);
    assert_eq!(with("CYLS\tEQU\t79\n".to_owned()), ["fat-018"]);
    assert_eq!(with("CYLS\tEQU\t80\nOLDCYLS\tEQU\t40\n".to_owned()), [""; 0]);
    let two = |first: &str, second: &str| {
        codes(&format!("boot720\tdc.b\t{first}\n\teven\ndrive720\tdc.b\t{second}\n\teven\n"))
    };
    assert_eq!(two(K720, &K720[..51]), [""; 0]);
    assert_eq!(two(K720, &K720[..51].replace("$F9,$03", "$F9,$05")), ["cross-001", "fat-023"]);
    let table = |first: &str, second: &str| codes(&format!("formats\tdc.b\t{first}\n\tdc.b\t{second}\n"));
    assert_eq!(table(K720, K720), ["cross-002"]);
    let k1200 = "$00,$02,$01,$01,$00,$02,$E0,$00,$60,$09,$F9,$07,$00,$0F,$00,$02,$00,$00,$00";
    assert_eq!(table(K720, k1200), ["cross-003"]);
}

#[test]
fn every_fact_and_finding_has_its_place() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/demo/skerry-damaged");
    let mut program = Program::new();
    let files = std::fs::read_dir(folder).unwrap().map(|it| it.unwrap().path());
    let files = files.filter(|path| path.extension().is_some_and(|it| it == "s" || it == "i"));
    let read = |path: PathBuf| {
        let content = match reveille_source::decode(std::fs::read(&path).unwrap()) {
            reveille_source::Decoded::Text(text, encoding) => Content::Text(File::new(&text, None), encoding),
            reveille_source::Decoded::Binary(at) => Content::Binary(at),
        };
        (path, content)
    };
    program.set_files(files.map(read).collect());
    let model = Model::new(program, &[], None);
    assert!(model.blocks().count() > 40);
    for fact in model.facts() {
        match fact {
            Fact::Block(block) => {
                for field in block.layout.fields.iter().filter(|field| block.block().value(field).is_some()) {
                    assert!(!block.evidence(&field.name).is_empty(), "{} {}", block.subject, field.name);
                }
            }
            Fact::Constants(constants) => assert!(constants.values.iter().all(|it| !it.3.span.is_empty())),
            Fact::Line(line) => assert!(!line.evidence(&line.line.tags()).is_empty()),
            Fact::Family(family) => assert!(family.members.iter().all(|it| !it.at.span.is_empty())),
            Fact::Memory(region) => panic!("{}: there is no machine file here", region.subject()),
            Fact::Vectors(vectors) => assert!(vectors.entries.iter().all(|it| !it.at.span.is_empty())),
            Fact::Object(fact) => panic!("`{:?}` is no source", fact.object.kind),
        }
    }
    for finding in model.findings() {
        let file = model.program().file(finding.at.place.file).unwrap();
        let is_whole_file = matches!(finding.code, "source-007" | "source-008" | "source-011");
        assert!(is_whole_file || !finding.at.span.is_empty(), "{} {}", file.path().display(), finding.code);
    }
}
