//! Word blocks, CP/M blocks, sector orders: the published examples, what constants say of them, and where they lie.

use crate::{blocks, codes, model};

type Published = (&'static str, &'static str, &'static str, [i64; 10], &'static [&'static str]);

/// The published CP/M blocks: name, words or bytes that lay it down, layout, its fields from SPT to OFF, and its findings.
///
/// Sources: CP/M Operating System Manual, page B-2; CP/M-68K source of 1983, dpb0, dpb2 and dpb3; cpmtools 2.23, diskdefs.
const PUBLISHED: &[Published] = &[
    (
        "fm8_dpb",
        "dc.b\t$1A,$00,$03,$07,$00,$F2,$00,$3F,$00,$C0,$00,$10,$00,$02,$00",
        "cpm-block-15",
        [26, 3, 7, 0, 242, 63, 0xC0, 0, 16, 2],
        &[],
    ),
    (
        "dpb0",
        "dc.b\t$00,$1A,$03,$07,$00,$00,$00,$F2,$00,$3F,$C0,$00,$00,$10,$00,$02",
        "cpm-block-16",
        [26, 3, 7, 0, 242, 63, 0xC0, 0, 16, 2],
        &[],
    ),
    // As a C compiler of the time lays down a structure that is taken for an array of words.
    ("dpb_words", "dc.w\t26,775,0,242,63,-16384,16,2", "cpm-block-16", [26, 3, 7, 0, 242, 63, 0xC0, 0, 16, 2], &[]),
    (
        "dpb2_hard",
        "dc.w\t32,5*256+31,1*256,3288,1023,$FF00,0,4",
        "cpm-block-16",
        [32, 5, 31, 1, 3288, 1023, 0xFF, 0, 0, 4],
        &[],
    ),
    (
        "dpb3_ram",
        "dc.w\t32,4*256+15,0,191,63,0,0,0",
        "cpm-block-16",
        [32, 4, 15, 0, 191, 63, 0, 0, 0, 0],
        &["cpm-005", "cpm-009", "cpm-018"],
    ),
    (
        "dpb_5k40",
        "dc.b\t40,0,3,7,0,184,0,63,0,$C0,0,16,0,3,0",
        "cpm-block-15",
        [40, 3, 7, 0, 184, 63, 0xC0, 0, 16, 3],
        &[],
    ),
    (
        "dpb_5k80",
        "dc.b\t40,0,4,15,1,194,0,127,0,$C0,0,32,0,2,0",
        "cpm-block-15",
        [40, 4, 15, 1, 194, 127, 0xC0, 0, 32, 2],
        &[],
    ),
    (
        "dpb_plus",
        "dc.b\t36,0,4,15,0,$64,1,255,0,$F0,0,64,0,1,0,2,3",
        "cpm-block-17",
        [36, 4, 15, 0, 356, 255, 0xF0, 0, 64, 1],
        &[],
    ),
    (
        "dpb_30",
        "dc.b\t120,0,5,31,1,$2B,1,255,0,$C0,0,64,0,0,0",
        "cpm-block-15",
        [120, 5, 31, 1, 299, 255, 0xC0, 0, 64, 0],
        &["cpm-018"],
    ),
];

#[test]
fn published_cpm_blocks_have_the_published_numbers() {
    for (label, data, layout, values, expected) in PUBLISHED {
        let text = format!("{label}\t{data}\n\teven\n");
        let model = model(&text);
        let block = model.blocks().next().unwrap_or_else(|| panic!("{text}"));
        assert_eq!((block.subject.as_str(), block.layout.name.as_str()), (*label, *layout));
        let names = ["spt", "bsh", "blm", "exm", "dsm", "drm", "al0", "al1", "cks", "off"];
        let own = names.map(|it| block.number(it).unwrap());
        assert_eq!(own, *values, "{text}");
        assert_eq!(codes(&text), *expected, "{text}");
        // Blocks as fsck.cpm of cpmtools 2.23 counts them: DSM + 1; bytes: times the block.
        assert_eq!(block.number("capacity"), Some((values[4] + 1) << (7 + values[1])), "{text}");
    }
}

#[test]
fn a_disk_that_cannot_be_taken_out_needs_no_check() {
    let fixed = "dc.w\t32,$051F,$0100,3288,1023,$FF00,0,4\n";
    let checked = fixed.replace("$FF00,0", "$FF00,256");
    for label in ["dpb_hard", "dpb_winchester", "dpb_ram", "dpb_hd"] {
        assert_eq!(codes(&format!("{label}\t{fixed}")), [""; 0], "{label}");
        assert_eq!(codes(&format!("{label}\t{checked}")), ["cpm-014"], "{label}");
    }
    assert_eq!(codes(&format!("* the hard disk\ndpb\t{fixed}")), [""; 0]);
    assert_eq!(codes(&format!("dpb_left\t{fixed}")), ["cpm-013"]);
    assert_eq!(codes(&format!("dpb_left\t{checked}")), [""; 0]);
}

#[test]
fn word_blocks_are_told_with_their_disk() {
    // C-binding page of the get-BPB call: 720 KiB with a FAT of 5 records.
    let text = "bpb\tdc.w\t512,2,1024,7,5,6,18,711,0\n";
    assert_eq!(blocks(text), ["bpb word-block-18 80x2x9x512 certain"]);
    assert_eq!(model(text).blocks().next().unwrap().number("capacity"), Some(1440 * 512));
    assert_eq!(blocks("tab\tdc.w\t$200,2,$400,7,5,6,$12,$2C7,0\n"), ["tab word-block-18 80x2x9x512 likely"]);
    let table = "bpb\tdc.w\t512,2,1024,7,5,6,18,711,0\n\tdc.w\t512,1,512,14,9,10,33,2847,0\n";
    assert_eq!(blocks(table), ["bpb[0] word-block-18 80x2x9x512 certain", "bpb[1] word-block-18 80x2x18x512 certain"]);
    assert_eq!(codes(table), [""; 0]);
}

/// The geometry of the 8-inch disk: CP/M Operating System Manual, page B-2.
fn beside(constants: &str, dpb: &str) -> Vec<&'static str> {
    let mut found = codes(&format!("{constants}dpb\tdc.b\t{dpb}\n\teven\n"));
    found.sort_unstable();
    found
}

const FM8: &str = "CYLS\tEQU\t77\nSPT\tEQU\t26\nSECSIZE\tEQU\t128\n";

#[test]
fn constants_tell_how_many_blocks_fit() {
    assert_eq!(beside(FM8, "26,0,3,7,0,242,0,63,0,$C0,0,16,0,2,0"), [""; 0]);
    assert_eq!(beside(FM8, "26,0,3,7,0,243,0,63,0,$C0,0,16,0,2,0"), ["cpm-015"]);
    assert_eq!(beside(FM8, "26,0,3,7,0,241,0,63,0,$C0,0,16,0,2,0"), ["cpm-016"]);
    assert_eq!(beside(FM8, "26,0,3,7,0,242,0,63,0,$C0,0,16,0,77,0"), ["cpm-017"]);
    // 16 sectors of 256 bytes are 32 records, and both sides of a track 64.
    let k256 = "CYLS\tEQU\t40\nHEADS\tEQU\t2\nSPT\tEQU\t16\nSECSIZE\tEQU\t256\n";
    assert_eq!(beside(k256, "32,0,4,15,1,155,0,127,0,$C0,0,32,0,2,0"), [""; 0]);
    assert_eq!(beside(k256, "64,0,4,15,1,151,0,127,0,$C0,0,32,0,2,0"), [""; 0]);
    assert_eq!(beside(k256, "16,0,4,15,1,77,0,127,0,$C0,0,32,0,2,0"), ["cross-004"]);
    // 33 records are no whole sectors of 256 bytes.
    assert_eq!(beside(k256, "33,0,4,15,1,155,0,127,0,$C0,0,32,0,2,0"), ["cpm-016", "cpm-020", "cross-004"]);
}

#[test]
fn an_order_of_sectors_has_each_of_them_once() {
    // CP/M Operating System Manual, Appendix B: factor 6.
    let manual = "1,7,13,19,25,5,11,17,23,3,9,15,21,2,8,14,20,26,6,12,18,24,4,10,16,22";
    let from_0: Vec<String> = manual.split(',').map(|it| (it.parse::<i64>().unwrap() - 1).to_string()).collect();
    for order in [manual, &from_0.join(",")] {
        let text = format!("skewtab\tdc.b\t{order}\n");
        assert_eq!(blocks(&text).len(), 1, "{text}");
        assert_eq!(codes(&text), [""; 0], "{text}");
        assert_eq!(codes(&text.replace(",13,", ",14,")).first(), Some(&"cpm-021"), "{text}");
        let words = text.replace("dc.b", "dc.w");
        assert_eq!(blocks(&words).len(), 1, "{words}");
        assert_eq!(codes(&words), [""; 0], "{words}");
    }
    // One place too few beside the block of the same disk.
    let dpb = "dpb\tdc.b\t26,0,3,7,0,242,0,63,0,$C0,0,16,0,2,0\n\teven\n";
    let short = "1,7,13,19,25,5,11,17,23,3,9,15,21,2,8,14,20,6,12,18,24,4,10,16,22";
    assert_eq!(codes(&format!("{dpb}skewtab\tdc.b\t{manual}\n")), [""; 0]);
    assert_eq!(codes(&format!("{dpb}skewtab\tdc.b\t{short}\n")), ["cpm-021"]);
    let interleave = "1,3,5,7,9,2,4,6,8";
    assert_eq!(codes(&format!("{dpb}interleave\tdc.b\t{interleave}\n")), ["cpm-021"]);
}

#[test]
fn a_block_that_is_read_by_words_lies_at_an_even_address() {
    let words = "dc.b\t2,0,0,2,4,0,0,7,0,5,0,6,0,18,2,$C7,0,0";
    let dpb = "dc.b\t0,26,3,7,0,0,0,242,0,63,$C0,0,0,16,0,2";
    for (name, data) in [("bpb", words), ("dpb", dpb)] {
        let odd = format!("\torg\t$1000\nname\tdc.b\t'QUAY 2 '\n{name}\t{data}\n\teven\n");
        assert_eq!(codes(&odd), ["block-004"], "{odd}");
        assert_eq!(codes(&odd.replace("'\n", "'\n\teven\n")), [""; 0]);
        // Nobody knows where a section begins but that it is even.
        assert_eq!(codes(&odd.replace("\torg\t$1000\n", "")), ["block-004"]);
    }
    // Bytes may lie anywhere.
    let bytes = "name\tdc.b\t'QUAY 2 '\ndpb\tdc.b\t26,0,3,7,0,242,0,63,0,$C0,0,16,0,2,0\n\teven\n";
    assert_eq!(codes(bytes), [""; 0]);
}

/// The operands of which `block-005` is told, for code behind `lea bpb,a0`.
fn odd_reads(code: &str) -> Vec<String> {
    let text = format!(
        "\torg\t$1000\nstart\tlea\tbpb(pc),a0\n{code}\trts\nother\trts\nbpb\tdc.b\t{}\n\teven\nram\tds.b\t32\n",
        crate::K720
    );
    let model = model(&text);
    let file = model.program().files().next().unwrap();
    let odd = model.findings().into_iter().filter(|it| it.code == "block-005");
    let operand = |it: &reveille_facts::Finding| {
        let (_, _, line) = file.at(it.at.place.chunk, it.at.place.line);
        it.at.span.of(line).to_owned()
    };
    odd.map(operand).collect()
}

/// The fields of words at odd offsets: 3, 11, 13, 15, 17. The instructions: M68000 Family Programmer's Reference Manual.
#[test]
fn a_word_of_a_packed_block_at_an_odd_address_is_told() {
    for at in [3, 11, 13, 15, 17] {
        assert_eq!(odd_reads(&format!("\tmove.w\t{at}(a0),d0\n")), [format!("{at}(a0)")]);
        assert_eq!(odd_reads(&format!("\tmove.l\t{at}(a0),d0\n")), [format!("{at}(a0)")]);
        assert_eq!(odd_reads(&format!("\tmove.b\t{at}(a0),d0\n")), [""; 0]);
        assert_eq!(odd_reads(&format!("\tmovep.w\t{at}(a0),d0\n")), [""; 0]);
        assert_eq!(odd_reads(&format!("\tpea\t{at}(a0)\n\taddq.l\t#4,sp\n")), [""; 0]);
    }
    for at in [0, 6, 8] {
        assert_eq!(odd_reads(&format!("\tmove.w\t{at}(a0),d0\n")), [""; 0]);
    }
    assert_eq!(
        odd_reads("\taddq.l\t#1,a0\n\tmove.w\t(a0),d0\n"),
        [""; 0],
        "what ADDQ makes of a register is not followed"
    );
    assert_eq!(odd_reads("\tmove.b\t(a0)+,d0\n\tmove.w\t(a0)+,d1\n"), ["(a0)+"]);
    assert_eq!(odd_reads("\tmove.b\t(a0)+,d0\n\tmove.b\t(a0)+,d0\n\tmove.w\t(a0)+,d1\n"), [""; 0]);
    assert_eq!(odd_reads("\tcmp.w\t11(a0),d0\n"), ["11(a0)"]);
    assert_eq!(odd_reads("\tmove.w\td0,11(a0)\n"), ["11(a0)"]);
    // Behind the block nothing is known of it.
    assert_eq!(odd_reads("\tmove.w\t19(a0),d0\n"), [""; 0]);
}

#[test]
fn a_register_is_followed_as_long_as_it_surely_has_its_address() {
    let read = "\tmove.w\t11(a0),d0\n";
    for before in ["\tmoveq\t#0,d1\n", "\ttst.b\td1\n\tbeq.s\tother\n", "\tlea\t2(a0),a1\n", "* a remark\n"] {
        assert_eq!(odd_reads(&format!("{before}{read}")), ["11(a0)"], "{before}");
    }
    for before in [
        "again\n",
        "again\tmoveq\t#0,d1\n",
        "\tbsr\tother\n",
        "\tjsr\tother\n",
        "\tlea\tram(pc),a0\n",
        "\tmovea.l\td0,a0\n",
        "\taddq.l\t#2,a0\n",
        "\texg\ta0,a1\n",
        "\tmovem.l\t(sp)+,d0-d7/a0-a6\n",
        "\tunlk\ta0\n",
        "\ttrap\t#1\n",
    ] {
        assert_eq!(odd_reads(&format!("{before}{read}")), [""; 0], "{before}");
    }
}

#[test]
fn tables_of_other_things_are_no_blocks_whatever_their_labels_say() {
    let sine = "0,12,24,36,48,59,70,80,89,98,105,112,117,121,124,126,127,126,124,121,117,112,105,98";
    for label in ["drive", "order", "format", "skew", "cmd", "track", "gap", "dpb", "cpm", "bpb", "disk", "sector"] {
        for data in [
            format!("dc.b\t{sine}"),
            "dc.w\t$000,$FFF,$F00,$0F0,$00F,$FF0,$0FF,$F0F,$777,$CCC,$700,$070,$007,$770,$077,$707".to_owned(),
            "dc.b\t27,49,50,51,52,53,54,55,56,57,48,45,61,8,9,113,119,101,114,116,121,117,105,111".to_owned(),
            "dc.b\t80,25,2,9,0,7,12,13".to_owned(),
            "dc.b\t1,2,4,8,16,32,64,128".to_owned(),
            "dc.b\t31,28,31,30,31,30,31,31,30,31,30,31".to_owned(),
            "dc.b\t$3F,$06,$5B,$4F,$66,$6D,$7D,$07,$7F,$6F".to_owned(),
            "dc.w\t10000,1000,100,10,1".to_owned(),
            "dc.w\t50,75,110,134,150,300,600,1200,2400,4800,9600,19200".to_owned(),
            "dc.b\t'0123456789ABCDEF'".to_owned(),
            "dc.b\t'the disk is not ready',13,10,0".to_owned(),
            format!("dc.w\t{}", ["one", "two", "one", "two", "one"].map(|it| format!("{it}-{label}_tab")).join(",")),
            format!("dc.l\t{}", ["one", "two", "one", "two"].join(",")),
        ] {
            let text = format!("*\tthe {label} lamp\n{label}_tab\t{data}\n\teven\none\trts\ntwo\trts\n");
            assert_eq!(blocks(&text), [""; 0], "{text}");
        }
    }
    // In the order of: no order of sectors.
    assert_eq!(blocks("*\terror numbers in the order of the list\ndisk_errs\tdc.b\t1,2,3,4,5,6,7,8\n"), [""; 0]);
    assert_eq!(blocks("sector_order\tdc.b\t1,4,7,2,5,8,3,6,9\n").len(), 1);
}

#[test]
fn two_slips_make_no_block_where_nothing_speaks_of_disks() {
    // 13 bytes with the words the other way round, a byte more, then an end mark: met in a jump table.
    let text = "table\tdc.b\t$02,$00,$02,$00,$01,$02,$00,$70,$05,$A0,$F9,$00,$03,$55\n\tdc.w\t0\n";
    assert_eq!(blocks(text), [""; 0]);
    assert_eq!(blocks(&text.replace("table", "bpb")).len(), 1);
}
