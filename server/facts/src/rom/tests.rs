//! Tests of the whole: a source, a dump made from it, a damage, and what is told.

use std::path::PathBuf;

use reveille_fixture::{Numbers, firmware_source};
use reveille_program::{Content, Program, Settings, Sizing};
use reveille_source::{Encoding, File};

use super::{CauseKind, Change, Chip, Comparison, Dump, Fault, Order, Placing, Question, SourceImage, Verdict};
use crate::Model;

pub(super) fn model(text: &str) -> Model {
    model_with(text, Settings::default())
}

fn model_with(text: &str, settings: Settings) -> Model {
    let mut program = Program::with_settings(settings);
    program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))]);
    Model::new(program, &[], None)
}

fn image_of(model: &Model) -> SourceImage {
    SourceImage::new(model.program(), model.analysis().units().next().unwrap())
}

/// What a chip programmer would be given: holes as in an erased chip.
fn bytes_of(source: &SourceImage) -> Vec<u8> {
    let (from, end) = source.range().unwrap();
    (i64::from(from)..end).map(|it| u8::try_from(source.cell(it)).unwrap_or(0xff)).collect()
}

struct Case {
    model: Model,
    source: SourceImage,
    bytes: Vec<u8>,
}

impl Case {
    fn new(text: &str) -> Self {
        let model = model(text);
        let source = image_of(&model);
        let bytes = bytes_of(&source);
        Self { model, source, bytes }
    }

    fn ask(&self, dumps: &[&[u8]], question: Question) -> Comparison {
        let dumps: Vec<Dump> = dumps.iter().map(|it| Dump::raw(it)).collect();
        let mut found = super::compare(&self.source, &dumps, &question);
        let unit = self.model.analysis().units().next().unwrap();
        super::try_settings(&mut found, self.model.program(), unit.root().unwrap(), &[], &self.source);
        let sums = super::sums(self.model.program(), unit, &self.source, &found);
        found.explain_checksum(&sums);
        found
    }

    fn plain(&self, dump: &[u8]) -> Comparison {
        self.ask(&[dump], Question::default())
    }
}

fn causes(it: &Comparison) -> Vec<&'static str> {
    it.causes.iter().map(|it| it.kind.name()).collect()
}

fn firmware() -> Case {
    Case::new(&format!("\torg\t$1000\n{}", firmware_source(600, 5)))
}

#[test]
fn what_the_source_lays_down_is_equal_wherever_the_dump_lies() {
    let case = firmware();
    let mut low = vec![0xff; 0x1000];
    low.extend(&case.bytes);
    for (dump, placing, base) in [
        (&case.bytes, Placing::Start, 0x1000),
        (&low, Placing::Zero, 0),
        (&low[0x700..].to_vec(), Placing::Search, 0x700),
    ] {
        let found = case.plain(dump);
        assert_eq!((found.verdict(&case.source), found.placing, found.base), (Verdict::Equal, placing, base));
        assert_eq!(causes(&found), [""; 0]);
    }
}

#[test]
fn every_single_damaged_byte_is_told_at_its_address_with_its_line() {
    let case = firmware();
    let mut numbers = Numbers::new(11);
    for _ in 0..400 {
        let at = numbers.below(case.bytes.len());
        let address = 0x1000 + at as i64;
        let Some(line) = case.source.line_at(address) else { continue };
        let mut dump = case.bytes.clone();
        dump[at] ^= 1 + numbers.below(255) as u8;
        let found = case.plain(&dump);
        let [it] = found.differences.as_slice() else { panic!("{address:X}: {:?}", found.differences) };
        assert_eq!((it.line, it.first, it.last, it.differ), (line, address, address, 1));
        assert_eq!((found.counts.differ, found.base, found.edits.len()), (1, 0x1000, 0));
        assert!(!found.verdict(&case.source).is_equal());
        let runs = found.runs();
        assert_eq!((runs.len(), runs[0].from, runs[0].bytes), (1, address, 1));
    }
}

#[test]
fn bytes_put_in_or_taken_out_are_one_edit_at_the_line_where_it_is() {
    let case = firmware();
    let lines: Vec<usize> = (0..case.source.lines().len()).filter(|it| case.source.lines()[*it].is_code).collect();
    let mut numbers = Numbers::new(3);
    for _ in 0..30 {
        let line = case.source.lines()[lines[20 + numbers.below(lines.len() - 40)]];
        let at = (line.address - 0x1000) as usize;
        let mut more = case.bytes.clone();
        // Words that no source of ours has.
        more.splice(at..at, [0xa1, 0x23, 0xa4, 0x56]);
        let found = case.plain(&more);
        let [edit] = found.edits.as_slice() else { panic!("{:X}: {:?}", line.address, found.edits) };
        assert_eq!((edit.address, edit.bytes, edit.is_missing), (line.address, 4, false));
        assert_eq!((found.counts.differ, causes(&found)), (0, vec!["inserted-bytes"]));

        let mut less = case.bytes.clone();
        less.drain(at..at + line.bytes as usize);
        let found = case.plain(&less);
        let [edit] = found.edits.as_slice() else { panic!("{:X}: {:?}", line.address, found.edits) };
        // The same bytes may stand there twice.
        assert_eq!((edit.bytes, edit.is_missing), (line.bytes, true));
        assert!(edit.address.abs_diff(line.address) <= 16, "{edit:?} {line:?}");
        assert_eq!((found.counts.differ, found.counts.uncovered), (0, line.bytes as usize));
        assert!(causes(&found).contains(&"missing-bytes"));
    }
}

/// What moves with inserted bytes differs in its addresses, and that is told of.
#[test]
fn references_over_inserted_bytes_are_the_same_place() {
    let behind = "y\trts\n\tbra.w\tx\n\tmove.w\t#$1357,d1\n\tdc.l\t$2468ACE1,$13572469\n";
    let text = |more: &str| format!("\torg\t0\nx\tbra.w\ty\n\tdc.l\ty,x\n{}{more}{behind}", firmware_source(90, 3));
    let case = Case::new(&text(""));
    let found = case.plain(&Case::new(&text("\tdc.w\t$a123,$a456,$a789\n")).bytes);
    assert_eq!(causes(&found), ["inserted-bytes"]);
    let changes: Vec<Change> = found.differences.iter().map(|it| it.change).collect();
    assert_eq!(changes, [Change::Moved; 3]);
    assert!(found.runs().iter().all(|it| it.is_moved));
}

#[test]
fn another_choice_of_lengths_is_told_with_its_rule() {
    let text = firmware_source(900, 7);
    let case = Case::new(&text);
    for (rule, value) in [("references", "long"), ("branches", "word")] {
        let mut sizing = Sizing::default();
        sizing.set(rule, value).unwrap();
        let other = image_of(&model_with(&text, Settings { sizing, ..Settings::default() }));
        let found = case.plain(&bytes_of(&other));
        let Some(CauseKind::Sizing { rules, left }) = found.causes.first().map(|it| &it.kind) else {
            panic!("{rule}={value}: {:?}", found.causes)
        };
        assert_eq!((rules.as_slice(), left.0), (&[(rule, value)][..], 0));
        assert!(!causes(&found).contains(&"inserted-bytes"), "{:?}", causes(&found));
    }
}

#[test]
fn two_choices_of_lengths_are_found_together() {
    let text = "\tmove.l\t#5,d0\n\tlea\tx,a0\n\tmove.b\t0(a1),d2\n".repeat(9) + &firmware_source(300, 2) + "x\trts\n";
    let case = Case::new(&text);
    let mut sizing = Sizing::default();
    sizing.set("quick", "no").unwrap();
    sizing.set("zero-displacement", "drop").unwrap();
    let other = image_of(&model_with(&text, Settings { sizing, ..Settings::default() }));
    let found = case.plain(&bytes_of(&other));
    let Some(CauseKind::Sizing { rules, left: (0, _) }) = found.causes.first().map(|it| &it.kind) else {
        panic!("{:?}", found.causes)
    };
    let mut rules = rules.clone();
    rules.sort_unstable();
    assert_eq!(rules, [("quick", "no"), ("zero-displacement", "drop")]);
}

#[test]
fn another_origin_is_told_by_the_addresses_that_differ() {
    let jumps: String = (1..9).map(|it| format!("\tjsr\trout{it}.l\n")).collect();
    let body = format!("t\tdc.l\tt,rout1,rout2,rout3\n{jumps}{}", firmware_source(300, 4));
    let moved = Case::new(&format!("\torg\t$F80000\n{body}"));
    let case = Case::new(&format!("\torg\t$20000\n{body}"));
    let found = case.plain(&moved.bytes);
    let CauseKind::Origin { shift, origin, .. } = found.causes[0].kind else { panic!("{:?}", found.causes) };
    assert_eq!((shift, origin, found.verdict(&case.source)), (0xf6_0000, None, Verdict::Addresses));
    // Without ORG the origin is an option of the command line.
    let case = Case::new(&body);
    let other = image_of(&model_with(&body, Settings { origin: 0x4_0000, ..Settings::default() }));
    let found = case.plain(&bytes_of(&other));
    let CauseKind::Origin { shift, origin, .. } = found.causes[0].kind else { panic!("{:?}", found.causes) };
    assert_eq!((shift, origin), (0x4_0000, Some(0x4_0000)));
}

/// The even chip has the high byte of each word: M68000 user's manual, data organization in memory.
#[test]
fn the_order_of_chips_is_found() {
    let case = firmware();
    let pair: Vec<Vec<u8>> = reveille_decoders::chips::split(&case.bytes[..case.bytes.len() & !1], 2).unwrap();
    let (even, odd) = (&pair[0][..], &pair[1][..]);
    let named = Question { is_named: true, ..Question::default() };
    let swapped = Question { is_exchanged: true, ..Question::default() };
    let image = &case.bytes[..case.bytes.len() & !1];
    let exchanged = reveille_decoders::chips::swap_bytes(image).unwrap();
    let (low, high) = image.split_at(image.len() / 4);
    for (dumps, question, order, told) in [
        (&[even, odd][..], named, Order::FirstEven, false),
        (&[odd, even], named, Order::FirstOdd, true),
        (&[odd, even], Question::default(), Order::FirstOdd, false),
        (&[low, high], Question::default(), Order::FirstThenSecond, false),
        (&[high, low], Question::default(), Order::SecondThenFirst, false),
        (&[&exchanged], Question::default(), Order::Exchanged, true),
        (&[&exchanged], swapped, Order::Exchanged, false),
        (&[image], swapped, Order::AsIs, true),
        (&[even], Question::default(), Order::EvenAlone, true),
        (&[odd], Question::default(), Order::OddAlone, true),
    ] {
        let found = case.ask(dumps, question);
        assert_eq!((found.order, causes(&found).contains(&"order")), (order, told), "{:?}", causes(&found));
        assert_eq!(found.counts.differ, 0, "{order:?}");
        let is_equal = found.verdict(&case.source).is_equal();
        assert_eq!(is_equal, !told, "{order:?} {:?}", found.verdict(&case.source));
    }
}

#[test]
fn damage_of_one_chip_is_told_with_the_chip() {
    let case = firmware();
    let mut dump = case.bytes.clone();
    let mut numbers = Numbers::new(8);
    for at in (1..dump.len()).step_by(2).filter(|it| it % 14 == 1) {
        dump[at] = dump[at].wrapping_add(1 + numbers.below(200) as u8);
    }
    let found = case.plain(&dump);
    assert_eq!(found.causes[0].chip(), Some(Chip::Odd), "{:?}", found.causes);
    assert_eq!(found.causes[0].kind.name(), "one-chip");
}

#[test]
fn lines_at_fault_are_told_with_their_numbers() {
    let case = Case::new(&format!("\torg\t0\n{}", firmware_source(2000, 9)));
    let len = case.bytes.len().next_power_of_two();
    let whole: Vec<u8> = (0..len).map(|it| case.bytes.get(it).copied().unwrap_or(0xff)).collect();
    let data = |of: fn(usize) -> bool, change: &dyn Fn(u8) -> u8| -> Vec<u8> {
        whole.iter().enumerate().map(|(at, it)| if of(at) { change(*it) } else { *it }).collect()
    };
    let address = |of: fn(usize) -> bool, change: &dyn Fn(usize) -> usize| -> Vec<u8> {
        (0..len).map(|at| whole[if of(at) { change(at) } else { at }]).collect()
    };
    let swap = |it: u8| it & 0xed | (it & 2) << 3 | (it & 16) >> 3;
    let swap_address = |it: usize| it & !0x108 | (it & 8) << 5 | (it & 0x100) >> 5;
    let odd: fn(usize) -> bool = |it| it % 2 == 1;
    let all: fn(usize) -> bool = |_| true;
    for (dump, name, chip, fault) in [
        (data(odd, &|it| it | 8), "data-lines", Some(Chip::Odd), Fault::Stuck { lines: 8, is_high: true }),
        (data(all, &|it| it & 0x7f), "data-lines", None, Fault::Stuck { lines: 0x80, is_high: false }),
        (data(odd, &swap), "data-lines", Some(Chip::Odd), Fault::Exchanged { low: 1, high: 4 }),
        (address(all, &|it| it & !0x40), "address-lines", None, Fault::Stuck { lines: 0x40, is_high: false }),
        // Line 5 of a chip is bit 6 of the address.
        (address(odd, &|it| it | 0x40), "address-lines", Some(Chip::Odd), Fault::Stuck { lines: 0x20, is_high: true }),
        (address(all, &swap_address), "address-lines", None, Fault::Exchanged { low: 3, high: 8 }),
    ] {
        let found = case.plain(&dump);
        let it = found.causes.iter().find(|it| it.kind.name() == name);
        let (CauseKind::DataLines { chip: of, fault: what } | CauseKind::AddressLines { chip: of, fault: what }) =
            it.unwrap_or_else(|| panic!("{name}: {:?}", found.causes)).kind
        else {
            panic!("{:?}", found.causes)
        };
        assert_eq!((of, what), (chip, fault));
        assert!(!causes(&found).contains(&"one-chip"));
    }
}

#[test]
fn blank_short_repeated_and_unrelated_dumps_are_told() {
    let case = firmware();
    let len = case.bytes.len();
    let mut blank = case.bytes.clone();
    blank[len / 2..].fill(0xff);
    let mut twice: Vec<u8> = case.bytes.clone();
    twice.resize(len.next_power_of_two(), 0xff);
    twice.extend(twice.clone());
    let mut numbers = Numbers::new(1);
    let noise: Vec<u8> = (0..len).map(|_| numbers.below(256) as u8).collect();
    for (dump, cause, verdict) in [
        (blank, "blank", Verdict::Different),
        (case.bytes[..len / 2].to_vec(), "short-dump", Verdict::NotAllDumped),
        (twice, "repeats", Verdict::More),
        (noise, "unrelated", Verdict::Unrelated),
        ([&case.bytes[..], b"more than there was"].concat(), "more-content", Verdict::More),
    ] {
        let found = case.plain(&dump);
        assert_eq!((causes(&found), found.verdict(&case.source)), (vec![cause], verdict));
    }
}

/// A sum of words with the two bytes left out: by hand, from its definition.
#[test]
fn a_checksum_that_alone_differs_is_told() {
    let body = firmware_source(200, 6);
    let case = Case::new(&format!("\torg\t0\n{body}\teven\nromsum\tdc.w\t0\n"));
    let len = case.bytes.len();
    let words = case.bytes[..len - 2].chunks(2).map(|it| u16::from(it[0]) << 8 | u16::from(it[1]));
    let sum = words.fold(0_u16, u16::wrapping_add);
    let mut dump = case.bytes.clone();
    dump[len - 2..].copy_from_slice(&sum.to_be_bytes());
    let found = case.plain(&dump);
    let Some(CauseKind::Checksum { address, bytes, what }) = found.causes.first().map(|it| &it.kind) else {
        panic!("{:?}", found.causes)
    };
    assert_eq!((*address, *bytes, what.as_str()), (len as i64 - 2, 2, "label `romsum`"));
    assert_eq!(found.verdict(&case.source), Verdict::Checksum);

    // Without a label, and put behind what the source lays down.
    let case = Case::new(&format!("\torg\t0\n{body}\teven\n"));
    let found = case.plain(&dump);
    assert_eq!(causes(&found)[0], "added-checksum", "{:?}", found.causes);
}

#[test]
fn a_base_that_is_given_is_kept_and_a_better_one_told() {
    let case = firmware();
    let question = Question { base: Some(0x1100), ..Question::default() };
    let found = case.ask(&[&case.bytes], question);
    assert_eq!((found.base, found.placing), (0x1100, Placing::Given));
    let base = found.causes.iter().find_map(|it| match it.kind {
        CauseKind::Base { base, .. } => Some(base),
        _ => None,
    });
    assert_eq!(base, Some(0x1000));
}

/// Instructions by hand (*M68000 Family Programmer's Reference Manual*, MOVEQ, ADDQ, CLR; from memory).
#[test]
fn a_line_s_change_is_told_by_its_instruction() {
    let text = "\torg\t0\n\tmoveq\t#1,d0\n\taddq.l\t#2,d3\n\tclr.w\td4\n\tdc.w\t7\n\tmove.l\t$1000.l,d0\n";
    let case = Case::new(text);
    for (at, value, change) in [
        (1, 0x05, Change::Value),
        (0, 0x72, Change::Operand),
        (2, 0x58, Change::Value),
        (2, 0x5d, Change::Instruction),
        (4, 0xff, Change::NoInstruction),
        (7, 9, Change::Data),
        (11, 0x99, Change::Value),
    ] {
        let mut dump = case.bytes.clone();
        dump[at] = value;
        let found = case.plain(&dump);
        assert_eq!(found.differences[0].change, change, "{at} {value:X} {dump:X?}");
    }
}

#[test]
fn every_byte_of_the_source_is_counted_once_whatever_the_dump_is() {
    let case = Case::new(&format!("\torg\t$1000\n{}\torg\t$9000\n\tds.w\t9\nz\tdc.l\tz\n", firmware_source(120, 5)));
    let mut numbers = Numbers::new(21);
    for _ in 0..300 {
        let mut dump = case.bytes.clone();
        for _ in 0..numbers.below(4) {
            let (from, to) = (numbers.below(dump.len() + 1), numbers.below(dump.len() + 1));
            let part: Vec<u8> = (0..numbers.below(12)).map(|_| numbers.below(256) as u8).collect();
            match numbers.below(4) {
                0 => drop(dump.splice(from..from, part)),
                1 => drop(dump.drain(from.min(to)..(from.min(to) + 9).min(from.max(to)))),
                2 => dump.truncate(from.max(1)),
                _ => dump[from.min(to)..from.max(to)].reverse(),
            }
        }
        dump.push(0x5a);
        let base = [None, Some(0x1000), Some(0), Some(0x9010), Some(0x1003)][numbers.below(5)];
        let other = [&dump[..], &dump[..dump.len() / 2]];
        let files = if numbers.below(3) == 0 { &other[..] } else { &other[..1] };
        let found = case.ask(files, Question { base, is_exchanged: numbers.below(2) == 0, is_named: false });
        let counts = found.counts;
        assert_eq!(counts.equal + counts.differ + counts.unknown + counts.uncovered, case.source.laid());
        let in_lines: u32 = found.differences.iter().map(|it| it.differ + it.uncovered).sum();
        assert!(found.order.is_alone() || in_lines as usize == counts.differ + counts.uncovered);
        let beside = counts.reserved + counts.fill + counts.content;
        assert!(counts.equal + counts.differ + beside <= found.dumped);
        for it in &found.differences {
            let (own, dumped) = found.shown(&case.source, it);
            assert!(!own.bytes.is_empty() && !dumped.bytes.is_empty());
        }
        assert!(found.causes.iter().all(|it| !it.kind.to_string().is_empty() && !it.kind.to_string().ends_with('.')));
    }
}
