//! What the firmware's source says of an answer. The firmware of the demo and all others here are made up.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::path::PathBuf;

use reveille_facts::{Model, SessionCause};
use reveille_fixture::{Numbers, firmware_source};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

const MACHINE: &str = "[machine.m]\n[machine.m.monitor]\nprompt = '\\* $'\n";

fn model_of(files: &[(&str, &str)]) -> Model {
    let mut program = Program::default();
    let content = |name: &str, text: &str| match name.ends_with(".s") || name.ends_with(".i") {
        true => Content::Text(File::new(text, None), Encoding::Utf8),
        false => Content::Beside(File::new(text, None)),
    };
    program.set_files(files.iter().map(|it| (PathBuf::from(it.0), content(it.0, it.1))).collect());
    Model::new(program, &[], None)
}

fn model(source: &str) -> Model {
    model_of(&[("a.s", source), ("reveille.toml", MACHINE), ("a.session", "machine m\npress return\n")])
}

fn demo() -> Model {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/demo/skerry/");
    let names = ["boot.s", "disk.s", "load.s", "monitor.s", "skerry.i", "reveille.toml", "first-start.session"];
    let texts: Vec<(&str, String)> =
        names.iter().map(|it| (*it, std::fs::read_to_string(format!("{folder}{it}")).unwrap())).collect();
    let files: Vec<(&str, &str)> = texts.iter().map(|it| (it.0, it.1.as_str())).collect();
    model_of(&files)
}

fn causes(model: &Model, said: &str) -> Vec<SessionCause> {
    model.sessions().first().unwrap().causes(said)
}

/// Each cause: its depth, the text of its line with single blanks, what it says.
fn told(model: &Model, said: &str) -> Vec<(usize, String, String)> {
    let line = |it: &SessionCause| {
        it.at.map_or_else(String::new, |at| {
            let file = model.program().file(at.place.file).unwrap();
            let text = file.at(at.place.chunk, at.place.line).2;
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        })
    };
    let own = causes(model, said);
    own.iter().map(|it| (it.depth, line(it), it.message.clone())).collect()
}

/// Causes as lines, indented by their depth.
fn shown(told: &[(usize, String, String)]) -> String {
    told.iter().map(|it| format!("{}[{}] {}\n", "  ".repeat(it.0), it.1, it.2)).collect()
}

fn has(told: &[(usize, String, String)], line: &str, message: &str) -> bool {
    told.iter().any(|it| it.1.contains(line) && it.2.contains(message))
}

#[track_caller]
fn assert_says(told: &[(usize, String, String)], line: &str, message: &str) {
    assert!(has(told, line, message), "`{message}` at `{line}` is not in\n{}", shown(told));
}

/// The error texts of the demo: what came, the text's label, and for each place that loads its number, or has it, marks of the line that decides
/// and of what is said of it. All read off the demo's source by hand.
type Condition = (&'static str, &'static str);
const ERRORS: &[(&str, &str, &[Condition])] = &[
    ("E1 drive not ready", "m_rdy", &[("BNE.S fw1", "where `SUBQ.L #1,D2` gave 0: `BNE.S fw1` was not taken")]),
    (
        "E2 sector not found",
        "m_sect",
        &[
            ("BHS.S rd8 past the end", "where `CMP.W LASTSEC,D1` found carry clear (higher or same, unsigned)"),
            ("BHS.S rd8", "where `CMP.W #CYLS,D1` found carry clear (higher or same, unsigned)"),
            ("bhi.s os8", "where `cmp.l #$FFFF,d1` found higher, unsigned: `bhi.s os8` was taken"),
            ("DC.W STRNF,ENOSECT", "the row `STRNF,ENOSECT` of `errbits` has its number"),
        ],
    ),
    (
        "E3 bad data on disk",
        "m_crc",
        &[("BEQ.S fw2", "where `BTST #STBUSY,D1` found the bit 0: `BEQ.S fw2` was taken")],
    ),
    ("E4 data lost", "m_late", &[("BEQ.S fw2", "where `BTST #STBUSY,D1` found the bit 0")]),
    (
        "E5 unknown disk format",
        "m_fmt",
        &[
            (
                "BLO.S sf1",
                "where `CMP.L A1,A0` found carry clear (higher or same, unsigned): `BLO.S sf1` was not taken",
            ),
            ("BHI.S sf9 no room", "where `CMP.W #FATROOM,D2` found higher, unsigned"),
        ],
    ),
    (
        "E6 no SKERRY.SYS on disk",
        "m_file",
        &[("beq.s ff8 never used", "where `tst.b (a0)` gave 0"), ("beq.s ff8", "where `subq.w #1,d2` gave 0")],
    ),
    (
        "E7 FAT damaged",
        "m_fat",
        &[
            ("blo.s lf8", "where `cmp.w #2,d3` found carry set (lower, unsigned)"),
            ("bhs.s lf8 would run over", "where `cmp.l MEMTOP,a1` found carry clear (higher or same, unsigned)"),
            (
                "blo.s lf2",
                "where `cmp.w #$FF0,d3` found carry clear (higher or same, unsigned): `blo.s lf2` was not taken",
            ),
        ],
    ),
    (
        "E8 not a Skerry program",
        "m_hdr",
        &[
            ("bne.s ch9", "where `cmp.l #'SK12',(a0)` found not equal"),
            ("beq.s ch9", "where `move.l HDBYTES(a0),d1` gave 0"),
            ("bhs.s ch9", "where `cmp.l #RAMSIZE,d1` found carry clear"),
            ("bcs.s ch9", "where `lsr.l #1,d1` gave carry set"),
        ],
    ),
    ("E9 program has a wrong sum", "m_sum", &[("bne.s ch9", "where `cmp.w HDSUM(a0),d2` found not equal")]),
    (
        "E10 no such word, only: disk rom list byte flood take put fetch enter state",
        "m_cmd",
        &[("blo.s dc2", "where `cmp.l a0,a1` found carry clear (higher or same, unsigned): `blo.s dc2` was not taken")],
    ),
    (
        "E11 not a hex number, or too large",
        "m_num",
        &[
            ("bmi.s gh8", "where `subq.w #1,d3` gave minus"),
            ("bhi.s cf9", "where `cmp.l #$FF,d1` found higher, unsigned"),
        ],
    ),
    (
        "E12 too few or too many numbers",
        "m_args",
        &[
            ("bhs.s gn4", "where `cmp.w #MAXNUMS,d2` found"),
            ("bne.s gn4", "where `cmp.w CMNUMS(a1),d2` found not equal"),
        ],
    ),
    ("E13 odd address", "m_odd", &[("bne.s ce9", "where `btst #0,d1` found the bit 1")]),
    ("E14 outside of RAM", "m_out", &[("blo.s ir9", "where `cmp.l #RAMBASE,a1` found carry set (lower, unsigned)")]),
    (
        "E15 disk is write-protected",
        "m_prot",
        &[("DC.W STPROT,EPROT", "the row `STPROT,EPROT` of `errbits` has its number")],
    ),
    ("E16 bus error", "m_bus", &[("dc.l buserr", "vector 2 leads here: bus error")]),
    ("E17 address error", "m_adr", &[("dc.l adrerr", "vector 3 leads here: address error")]),
    ("E18 illegal instruction", "m_ill", &[("dc.l illins", "vector 4 leads here: illegal instruction")]),
    ("E19 trap without an owner", "m_trap", &[("dcb.l 16,badtrap", "vectors 32-47 lead here")]),
    ("E20 interrupt without an owner", "m_int", &[("dcb.l 7,badint", "vectors 25-31 lead here")]),
];

#[test]
fn every_error_text_of_the_demo_leads_to_its_conditions() {
    let model = demo();
    for (at, (text, label, conditions)) in ERRORS.iter().enumerate() {
        let told = told(&model, &format!("fetch\r\n{text}\r\n* "));
        assert_eq!(told[0].2, format!("`{text}` is a text of the firmware at `{label}`"));
        assert!(told[0].1.starts_with(label), "{}", shown(&told));
        let entry = format!("`{label}` is entry {} of `errtab`, counted from 0", at + 1);
        assert_says(&told, &format!("{label}-errtab"), &entry);
        assert_says(&told, "tell lea errtab(pc),a0", "`lea errtab(pc),a0` in `tell` takes the table's address");
        for (line, message) in *conditions {
            assert_says(&told, line, message);
        }
        assert!(!has(&told, "boot_formats_end", ""), "the end of one table is no use of the next: {}", shown(&told));
        assert!(!has(&told, "", "more than 8"), "{}", shown(&told));
    }
}

#[test]
fn each_condition_belongs_to_the_place_above_it() {
    let told = told(&demo(), "E1 drive not ready");
    let depths: Vec<usize> = told.iter().map(|it| it.0).collect();
    assert_eq!(depths, [0, 1, 2, 2, 3], "{}", shown(&told));
    assert_eq!(told[3].2, "`MOVEQ #ENOTRDY,D0` at `fw1` in `fdwait` loads its number, `ENOTRDY` = 1");
}

#[test]
fn a_greeting_says_that_the_machine_has_started_anew() {
    let model = demo();
    let own = told(&model, "fetch\r\n\r\nSKERRY 12  ROM 1.3\r\n\r\n* ");
    assert_says(
        &own,
        "m_hello",
        "the machine has started anew: `SKERRY 12  ROM 1.3` is what it prints whenever it starts",
    );
    assert_says(&own, "lea m_hello(pc),a0", "takes its address");
    // This one has a condition: the memory was tried.
    let own = told(&model, "RAM fails at 00081000");
    assert!(!has(&own, "", "anew"), "{}", shown(&own));
    assert_says(&own, "beq.s st2", "where `cmp.l #RAMEND,d0` found not equal: `beq.s st2` was not taken");
    let own = told(&model, "SKERRY.SYS from 00084000");
    assert!(!has(&own, "", "anew"), "{}", shown(&own));
    assert_says(&own, "bne.s ce9", "where `bsr.w bootfil` came back with equal (Z=1): `bne.s ce9` was not taken");
}

const BANNER: &str = "\torg\t0\n\tdc.l\t$80000,start\n\tds.b\t$100-8\nstart\tlea\t$80000,sp\n\tbsr\tbanner\nloop\tbra\tloop\nbanner\tpea\thello(pc)\n\tjsr\tputs\n\taddq.l\t#4,sp\n\trts\nputs\trts\nhello\tdc.b\t'THE GREAT RECORDER',0\n\teven\n";

#[test]
fn a_greeting_may_be_printed_by_a_routine() {
    let own = told(&model(BANNER), "THE GREAT RECORDER");
    assert_says(&own, "hello", "the machine has started anew");
    let asked = BANNER.replace("\tbsr\tbanner\n", "\ttst.b\t$90000\n\tbeq\tloop\n\tbsr\tbanner\n");
    let own = told(&model(&asked), "THE GREAT RECORDER");
    assert!(!has(&own, "", "anew"), "{}", shown(&own));
    assert_says(&own, "banner pea hello(pc)", "`pea hello(pc)` in `banner` takes its address");
    assert_says(&own, "beq loop", "where `tst.b $90000` gave something other than 0: `beq loop` was not taken");
}

const MOTOROLA: &str = "\
	org	$1000
check	cmp.b	#'Y',d0
	bne.s	no
	pea	m_fine(pc)
	jsr	print
	rts
no	move.l	#m_wrong,a0
	bsr	print
	rts
count	lea	m_count,a0
	dbra	d3,count
	move.l	#m_done,-(sp)
	bsr	print
	rts
mixed	btst	#3,d1
	bne.s	both
	tst.w	d2
both	bmi.s	minus
	rts
minus	lea	m_minus(pc),a0
print	rts
m_fine	dc.b	'all is fine',0
m_wrong	dc.b	'wrong answer',0
m_count	dc.b	13,10,'counting on',0
m_done	dc.b	'counted down',0
m_minus	dc.b	'below zero',0
m_many	dc.b	'the first of many',0,'the second of many',0
	even
list	lea	m_many(pc),a0
	rts
";

#[test]
fn instructions_that_take_a_texts_address_are_told_with_their_conditions() {
    let model = model(MOTOROLA);
    let own = told(&model, "all is fine");
    assert_says(&own, "pea m_fine(pc)", "`pea m_fine(pc)` in `check` takes its address");
    assert_says(&own, "bne.s no", "where `cmp.b #'Y',d0` found equal: `bne.s no` was not taken");
    let own = told(&model, "wrong answer");
    assert_says(&own, "move.l #m_wrong,a0", "takes its address");
    assert_says(&own, "bne.s no", "where `cmp.b #'Y',d0` found not equal: `bne.s no` was taken");
    let own = told(&model, "counted down");
    assert_says(&own, "dbra d3,count", "where `dbra d3,count` has counted down");
    let own = told(&model, "below zero");
    assert_says(
        &own,
        "bmi.s minus",
        "where `tst.w d2` gave minus, or what leads in behind it did: `bmi.s minus` was taken",
    );
}

#[test]
fn a_text_behind_others_is_told_by_how_far_it_stands_behind_the_label() {
    let model = model(MOTOROLA);
    let own = told(&model, "the first of many");
    assert_says(&own, "list lea m_many(pc),a0", "takes its address");
    let own = told(&model, "the second of many");
    assert_says(
        &own,
        "list lea m_many(pc),a0",
        "takes the address 18 bytes before it; how it is counted from there is not known",
    );
}

const DOTTED: &str = "\
	.equ	E_NONE,0
	.equ	E_PAPER,1
	.equ	E_PEN,2
	.equ	E_TIDE,3
	.text
main:
	moveq	#E_PAPER,%d0
	tst.b	0x8000
	beq.s	1f
	moveq	#E_NONE,%d0
1:	cmp.w	#40,%d1
	bls.s	2f
	moveq	#E_TIDE,%d0
2:	bsr	say
	rts
say:
	lea	table,%a0
	lsl.w	#2,%d0
	move.l	0(%a0,%d0.w),%a0
	rts
table:
	.long	fine,paper,pen,tide
fine:	.asciz	\"everything is well\"
paper:	.asciz	\"the paper is torn\"
pen:	.asciz	\"the pen is dry\"
tide:	.asciz	\"no tide was seen\"
	.even
";

#[test]
fn a_table_of_addresses_is_followed_by_the_constants_that_number_it() {
    let model = model(DOTTED);
    let own = told(&model, "the paper is torn");
    assert_says(&own, "paper,pen,tide", "`paper` is entry 1 of `table`, counted from 0");
    assert_says(&own, "lea table,%a0", "in `say` takes the table's address");
    assert_says(&own, "moveq #E_PAPER,%d0", "loads its number, `E_PAPER` = 1");
    assert_says(&own, "beq.s 1f", "where `tst.b 0x8000` gave 0: `beq.s 1f` was taken");
    let own = told(&model, "no tide was seen");
    assert_says(&own, "bls.s 2f", "where `cmp.w #40,%d1` found higher, unsigned: `bls.s 2f` was not taken");
    let own = told(&model, "the pen is dry");
    assert_says(&own, "pen", "the table's entry is chosen by a number that is not a constant here");
}

#[test]
fn a_table_may_be_counted_from_one() {
    let lines = DOTTED.replace("\tlsl.w\t#2,%d0\n", "\tsubq.w\t#1,%d0\n\tlsl.w\t#2,%d0\n");
    let own = told(
        &model(&lines.replace("fine,paper", "paper").replace("tide\nfine", "tide,fine\nfine")),
        "the paper is torn",
    );
    assert_says(&own, "subq.w #1,%d0", "counts the number down first: entry 0 is number 1");
    assert_says(&own, "moveq #E_PAPER,%d0", "loads its number, `E_PAPER` = 1");
}

#[test]
fn a_table_of_pairs_is_not_counted() {
    let source = "\torg\t0\nfind\tlea\tpairs(pc),a0\n\trts\npairs\tdc.l\t7,one,9,two,12,three\none\tdc.b\t'the first one',0\ntwo\tdc.b\t'the second one',0\nthree\tdc.b\t'the third one',0\n";
    let own = told(&model(source), "the second one");
    assert_says(&own, "pairs dc.l", "which number chooses it is not known");
    assert_says(&own, "lea pairs(pc),a0", "takes the table's address");
}

#[test]
fn more_than_eight_places_are_counted() {
    let uses: String = (0..11).map(|it| format!("r{it}\tlea\tmany(pc),a0\n\trts\n")).collect();
    let source = format!("\torg\t0\n{uses}many\tdc.b\t'said by many',0\n");
    let own = told(&model(&source), "said by many");
    assert_says(&own, "", "11 instructions fit (takes its address); 8 of them are told");
    assert_eq!(own.iter().filter(|it| it.2.contains("lea many(pc),a0")).count(), 8);
}

#[test]
fn a_format_is_known_by_what_stands_between_its_directives() {
    let source = "\torg\t0\nsay\tlea\tfmt(pc),a0\n\trts\nfmt\tdc.b\t'track %d side %d: %s',10,0\n\teven\n";
    let own = told(&model(source), "\r\ntrack 79 side 1: CRC\r\n");
    assert_eq!(own[0].2, "`track %d side %d: %s` is a text of the firmware at `fmt`");
    assert_says(&own, "lea fmt(pc),a0", "in `say` takes its address");
}

#[test]
fn a_text_that_came_garbled_or_in_part_is_known() {
    let model = demo();
    let own = told(&model, "E1 dr\u{fffd}ve not reaqy");
    assert_eq!(
        own[0].2,
        "`E1 drive not ready` is a text of the firmware at `m_rdy`; 16 of its 18 characters came back"
    );
    let own = told(&model, "rogram has a wro");
    assert_eq!(
        own[0].2,
        "`E9 program has a wrong sum` is a text of the firmware at `m_sum`; 16 of its 26 characters came back"
    );
}

#[test]
fn text_that_the_firmware_does_not_have_is_somebody_elses() {
    let own = told(&demo(), "WHO GOES THERE");
    let expected = "what came back is none of this firmware's texts: a loaded program or another ROM has said it";
    assert_eq!(own, [(0, String::new(), expected.to_owned())]);
    for nothing in ["", "* ", "\r\n* ", "00080000: 12 34 56 78 9A"] {
        assert_eq!(told(&demo(), nothing), [], "{nothing:?}");
    }
}

#[test]
fn junk_puts_the_line_under_suspicion() {
    let own = told(&demo(), "\u{fffd}\u{fffd}x\u{3}\u{fffd}\u{1f}p");
    assert_eq!(
        own[0].2,
        "little of what came back can be read: the rate or the frame of the line is the first suspect"
    );
    assert_eq!((own[1].0, own.len()), (1, 2));
    assert!(own[1].2.starts_with("the source sets the line to ") && own[1].2.contains("9600"), "{}", own[1].2);
    assert!(own[1].1.contains("(a0)"), "{}", own[1].1);
}

#[test]
fn a_unit_may_name_the_texts_of_another() {
    let texts = "\txdef\tm_far\n\tsection\tdata\nm_far\tdc.b\t'from far away',0\n";
    let code = "\txref\tm_far\n\tsection\ttext\nsay\ttst.w\td0\n\tbeq.s\tnot\n\tlea\tm_far,a0\nnot\trts\n";
    let session = "machine m\npress return\n";
    let model = model_of(&[("a.s", texts), ("b.s", code), ("reveille.toml", MACHINE), ("a.session", session)]);
    let own = told(&model, "from far away");
    assert_says(&own, "lea m_far,a0", "in `say` takes its address");
    assert_says(&own, "beq.s not", "where `tst.w d0` gave something other than 0");
}

#[test]
fn any_answer_to_any_source_is_taken_in_one_line_a_cause() {
    let mut numbers = Numbers::new(20);
    let models = [
        demo(),
        model(MOTOROLA),
        model(DOTTED),
        model(BANNER),
        model(""),
        model("x\tdc.b\t'%d%%%s%'\n\tdc.w\tx-x,,\n"),
    ];
    for round in 0..60 {
        let model = &models[round % models.len()];
        let texts = model.sessions().first().unwrap().texts();
        let mut said = String::new();
        for _ in 0..numbers.below(12) {
            match numbers.below(3) {
                0 if !texts.is_empty() => {
                    let text: Vec<char> = texts[numbers.below(texts.len())].chars().collect();
                    let start = numbers.below(text.len());
                    said.extend(&text[start..start + numbers.below(text.len() - start + 1)]);
                }
                1 => said.extend(char::from_u32(numbers.below(0x3000) as u32)),
                _ => said.push_str(numbers.pick(&["\r\n", "%", " ", "E1 ", "\u{fffd}", "* "])),
            }
        }
        let mut depth = 0;
        for cause in causes(model, &said) {
            assert!(!cause.message.is_empty() && !cause.message.contains(['\n', '\r']), "{said:?}: {cause:?}");
            assert!(cause.depth <= depth + 1, "{said:?}: {cause:?}");
            depth = cause.depth;
        }
    }
}

#[test]
fn a_long_source_is_gone_through() {
    let source = format!(
        "{}\norder\tcmp.w\t#3,d0\n\tbne.s\tout\n\tlea\tm_last(pc),a0\nout\trts\nm_last\tdc.b\t'the very last text',0\n",
        firmware_source(20_000, 4)
    );
    let own = told(&model(&source), "the very last text");
    assert_says(&own, "bne.s out", "where `cmp.w #3,d0` found equal: `bne.s out` was not taken");
}

#[test]
fn a_text_that_a_macro_takes_is_told_at_the_call() {
    let source = "say\tmacro\n\tlea\t\\1(pc),a0\n\tbsr\tputs\n\tendm\n\torg\t0\nask\ttst.w\td0\n\tbpl.s\tout\n\tsay\tm_less\nout\trts\nputs\trts\nm_less\tdc.b\t'less than nothing',0\n";
    let own = told(&model(source), "less than nothing");
    assert_says(&own, "say m_less", "`lea m_less(pc),a0` in `ask` takes its address");
    assert_says(&own, "bpl.s out", "where `tst.w d0` gave minus: `bpl.s out` was not taken");
}

#[test]
fn local_labels_of_texts_and_branches_are_followed() {
    let source = "\torg\t0\nask\tcmp.b\t#3,d0\n\tbne.s\t.not\n\tlea\t.text(pc),a0\n.not\trts\n.text\tdc.b\t'said by a local',0\n";
    let own = told(&model(source), "said by a local");
    assert_says(&own, "lea .text(pc),a0", "in `ask` takes its address");
    assert_says(&own, "bne.s .not", "where `cmp.b #3,d0` found equal");
}

#[test]
fn a_machine_without_a_source_has_nothing_to_say_of_a_text() {
    assert_eq!(told(&model(""), "WHO GOES THERE"), []);
}
