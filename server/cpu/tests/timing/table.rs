//! Every row of the tables.

use std::sync::LazyLock;

use reveille_cpu::{Clocks, Cpu, EXCEPTIONS, Kind, Operand, Size, address_time};

use crate::csv;
use crate::made::{constant, operand, timed};

/// One row of the table.
#[derive(Debug)]
struct Row {
    table: String,
    mnemonic: String,
    sizes: Vec<Size>,
    operands: String,
    /// Clocks, reads, writes, and what each of `n` adds to them: after correction.
    base: [u16; 3],
    each: [u16; 3],
    adds_address_time: bool,
    note: String,
}

static ROWS: LazyLock<Vec<Row>> = LazyLock::new(|| {
    let text = include_str!("../data/timing.csv");
    let row = |line: &str| {
        let fields = csv::fields(line);
        assert_eq!(fields.len(), 14, "{line}");
        let number = |at: usize| fields[at].parse().unwrap_or_else(|_| panic!("{line}"));
        let mut base = [number(5), number(7), number(9)];
        if !fields[12].is_empty() {
            let figures = fields[12].split(['(', '/', ')']).filter(|it| !it.is_empty());
            base = figures
                .map(|it| it.parse().unwrap_or_else(|_| panic!("{line}")))
                .collect::<Vec<_>>()
                .try_into()
                .unwrap_or_else(|_| panic!("{line}"));
        }
        Row {
            table: fields[0].clone(),
            mnemonic: fields[1].clone(),
            sizes: fields[2].bytes().filter_map(Size::from_letter).collect(),
            operands: fields[3].clone(),
            base,
            each: [number(6), number(8), number(10)],
            adds_address_time: !fields[11].is_empty(),
            note: fields[13].clone(),
        }
    };
    text.lines().skip(1).map(row).collect()
});

impl Row {
    /// The row's figures with `n` and with the time of an address of this kind if the row asks for it.
    fn clocks(&self, n: u16, address: Option<(Kind, Size)>) -> Clocks {
        let more = match address {
            Some((kind, size)) if self.adds_address_time => printed_address_time(kind, size),
            _ => [0; 3],
        };
        let [cycles, reads, writes] = [0, 1, 2].map(|at| self.base[at] + n * self.each[at] + more[at]);
        Clocks { cycles, reads, writes }
    }
}

/// The row of table 8-1 for an operand.
fn printed_address_time(kind: Kind, size: Size) -> [u16; 3] {
    let is_row = |it: &Row| it.table == "8-1" && it.sizes.contains(&size) && kind_of(&it.operands) == kind;
    ROWS.iter().find(|it| is_row(it)).expect("a row of table 8-1").base
}

fn kind_of(text: &str) -> Kind {
    match text {
        "Dn" | "Dm" => Kind::Data,
        "An" => Kind::Address,
        "(An)" => Kind::Indirect,
        "(An)+" => Kind::PostIncrement,
        "-(An)" => Kind::PreDecrement,
        "d16(An)" => Kind::Displacement,
        "d8(An,Xn)" => Kind::Index,
        "xxx.W" => Kind::AbsoluteShort,
        "xxx.L" => Kind::AbsoluteLong,
        "d16(PC)" => Kind::PcDisplacement,
        "d8(PC,Xn)" => Kind::PcIndex,
        "#imm" | "#" | "#n" => Kind::Immediate,
        "CCR" => Kind::Conditions,
        "SR" => Kind::Status,
        "USP" => Kind::UserStack,
        _ => panic!("no such operand: {text}"),
    }
}

/// What a time is compared with.
#[derive(Clone, Copy)]
struct Expected {
    least: Clocks,
    most: Clocks,
}

fn exactly(clocks: Clocks) -> Expected {
    Expected { least: clocks, most: clocks }
}

/// Clocks on the 68008 by its rule (*M68000 User's Manual*, section 7; from memory): each byte is a bus cycle of its own. `data_bytes` are
/// the bytes that the reads and writes of operands move; all other cycles fetch words of instructions or move words.
fn on_8_bits(clocks: Clocks, byte_reads: u16, byte_writes: u16) -> Clocks {
    let idle = clocks.cycles - 4 * (clocks.reads + clocks.writes);
    let reads = 2 * (clocks.reads - byte_reads) + byte_reads;
    let writes = 2 * (clocks.writes - byte_writes) + byte_writes;
    Clocks { cycles: idle + 4 * (reads + writes), reads, writes }
}

/// Counts what was checked.
#[derive(Default)]
struct Checks {
    instructions: usize,
}

impl Checks {
    /// Checks a line on the 68000, and by the rule on the 68008. `byte_reads` and `byte_writes` are bus cycles that move a byte.
    fn line(
        &mut self,
        name: &str,
        size: Option<Size>,
        operands: &[Operand],
        expected: Expected,
        (byte_reads, byte_writes): (u16, u16),
    ) {
        let what = format!("{name} {size:?} {operands:?}");
        let found = timed(Cpu::M68000, name, size, operands).unwrap_or_else(|misfit| panic!("{what}: {misfit:?}"));
        assert_eq!((found.least, found.most), (expected.least, expected.most), "{what}");
        assert!(!found.is_near, "{what}");
        let narrow = timed(Cpu::M68008, name, size, operands).unwrap_or_else(|misfit| panic!("{what}: {misfit:?}"));
        let by_rule = [expected.least, expected.most].map(|it| on_8_bits(it, byte_reads, byte_writes));
        assert_eq!([narrow.least, narrow.most], by_rule, "{what} on the 68008");
        self.instructions += 1;
    }

    /// Bus cycles of byte operands: what is not the fetch of the instruction's words. A read that is none moves a word.
    fn bytes(row: &Row, size: Option<Size>, clocks: Clocks, words: u16) -> (u16, u16) {
        if row.table == "8-13" || size == Some(Size::Byte) && row.table != "8-9" && row.table != "8-12" {
            (clocks.reads - words, clocks.writes)
        } else {
            (0, 0)
        }
    }
}

const ALTERABLE_MEMORY: [Kind; 7] = [
    Kind::Indirect,
    Kind::PostIncrement,
    Kind::PreDecrement,
    Kind::Displacement,
    Kind::Index,
    Kind::AbsoluteShort,
    Kind::AbsoluteLong,
];

/// The kinds that a pattern stands for. `<ea>`: all modes that the instruction takes (*M68000 Family Programmer's Reference Manual*, from
/// memory): no An for logic, multiplication, division, CHK, and MOVE to CCR and SR.
fn kinds(row: &Row, pattern: &str, size: Option<Size>) -> Vec<Kind> {
    let of_pc = [Kind::PcDisplacement, Kind::PcIndex];
    match pattern {
        "<mem>" => {
            let mut kinds = ALTERABLE_MEMORY.to_vec();
            if row.mnemonic == "BTST" {
                kinds.extend(of_pc);
            }
            kinds
        }
        "<ea>" => {
            let mut kinds = vec![Kind::Data];
            let takes_address = ["ADD", "ADDA", "SUB", "SUBA", "CMP", "CMPA"].contains(&row.mnemonic.as_str());
            if takes_address && size != Some(Size::Byte) {
                kinds.push(Kind::Address);
            }
            kinds.extend(ALTERABLE_MEMORY);
            kinds.extend(of_pc);
            kinds.push(Kind::Immediate);
            kinds
        }
        pattern => vec![kind_of(pattern)],
    }
}

/// Words of extension of an operand, from table 8-1: reads beyond the operand's own.
fn extension_words(kind: Kind, size: Size) -> u16 {
    match kind {
        Kind::Displacement | Kind::Index | Kind::AbsoluteShort | Kind::PcDisplacement | Kind::PcIndex => 1,
        Kind::AbsoluteLong => 2,
        Kind::Immediate if size == Size::Long => 2,
        Kind::Immediate => 1,
        _ => 0,
    }
}

/// Splits `a,b` outside of brackets.
fn split(pattern: &str) -> Vec<&str> {
    let mut depth = 0;
    let mut parts = vec![];
    let mut start = 0;
    for (at, letter) in pattern.char_indices() {
        match letter {
            '(' => depth += 1,
            ')' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(&pattern[start..at]);
                start = at + 1;
            }
            _ => (),
        }
    }
    parts.push(&pattern[start..]);
    parts
}

fn check_row(row: &Row, checks: &mut Checks) {
    match row.table.as_str() {
        "8-1" => {
            for size in &row.sizes {
                let [cycles, reads, writes] = row.base;
                let found = address_time(kind_of(&row.operands), *size);
                assert_eq!(found, Clocks { cycles, reads, writes }, "{row:?}");
            }
            checks.instructions += 1;
        }
        "8-14" => {
            let found = EXCEPTIONS.iter().find(|it| it.0 == row.operands).unwrap_or_else(|| panic!("{row:?}"));
            assert_eq!(found.1, row.clocks(0, None), "{row:?}");
            checks.instructions += 1;
        }
        "8-7" => check_shift(row, checks),
        "8-9" => check_branch(row, checks),
        _ if row.mnemonic == "Scc" => check_set(row, checks),
        _ if row.mnemonic == "MOVEM" => check_list(row, checks),
        _ => check_plain(row, checks),
    }
}

/// Conditions of a family: letters and code.
const CONDITIONS: [&str; 16] =
    ["t", "f", "hi", "ls", "cc", "cs", "ne", "eq", "vc", "vs", "pl", "mi", "ge", "lt", "gt", "le"];

fn check_plain(row: &Row, checks: &mut Checks) {
    // In words, not operands: what happened.
    let pattern = row.operands.split(" (").next().unwrap_or_default();
    let pattern = if pattern == "no trap" { "" } else { pattern };
    let patterns: Vec<&str> = if pattern.is_empty() { vec![] } else { split(pattern) };
    // The manual calls STOP a word operation; its form takes no suffix.
    let is_sized = !row.sizes.is_empty() && row.mnemonic != "STOP";
    let sizes: Vec<Option<Size>> = if is_sized { row.sizes.iter().copied().map(Some).collect() } else { vec![None] };
    let mut seen = 0;
    for size in sizes {
        if row.note.starts_with("word only") && size == Some(Size::Byte) {
            continue;
        }
        let first: Vec<Kind> = patterns.first().map_or(vec![Kind::Data], |it| match *it {
            "Rx" => vec![Kind::Data, Kind::Address],
            it => kinds(row, it, size),
        });
        let second: Vec<Kind> = patterns.get(1).map_or(vec![Kind::Data], |it| match *it {
            "Ry" => vec![Kind::Data, Kind::Address],
            it => kinds(row, it, size),
        });
        for first in &first {
            for second in &second {
                check_operands(row, checks, size, &[*first, *second][..patterns.len()]);
                seen += 1;
            }
        }
    }
    assert!(seen > 0, "{row:?}");
}

fn check_operands(row: &Row, checks: &mut Checks, size: Option<Size>, kinds: &[Kind]) {
    let operand_size = size.unwrap_or(Size::Word);
    let operands: Vec<Operand> = kinds.iter().map(|it| operand(*it)).collect();
    // The operand in memory is the one whose time is added; of two constants or registers the source.
    let address = match kinds {
        [only] => Some(*only),
        [first, second] if row.operands.ends_with("<mem>") && second.is_memory() && *first != Kind::PostIncrement => {
            Some(*second)
        }
        [first, ..] => Some(*first),
        [] => None,
    };
    let mut clocks = row.clocks(0, address.map(|it| (it, operand_size)));
    // Section 8, note ** of table 8-4: "if the effective address mode is register direct or immediate".
    if row.note.starts_with("8 instead of 6") && matches!(kinds[0], Kind::Data | Kind::Address | Kind::Immediate) {
        clocks.cycles += 2;
    }
    let expected = match row.mnemonic.as_str() {
        // From two processor cores, sampled: section 8 gives the maximum only.
        "DIVU" => Expected { least: Clocks { cycles: clocks.cycles - 140 + 76, ..clocks }, most: clocks },
        "DIVS" => Expected { least: Clocks { cycles: clocks.cycles - 158 + 124, ..clocks }, most: clocks },
        // 38 + 2n, section 8, notes of table 8-4. The constant 2 has a single one; with a 0 behind it two changes.
        "MULU" if kinds[0] == Kind::Immediate => exactly(Clocks { cycles: clocks.cycles - 70 + 38 + 2, ..clocks }),
        "MULS" if kinds[0] == Kind::Immediate => exactly(Clocks { cycles: clocks.cycles - 70 + 38 + 4, ..clocks }),
        "MULU" | "MULS" => Expected { least: Clocks { cycles: clocks.cycles - 70 + 38, ..clocks }, most: clocks },
        _ if row.note.starts_with("maximum; 2 less") => {
            let less = Clocks { cycles: clocks.cycles - 2, ..clocks };
            // The constant 2 is below 16; see also the test of bit numbers.
            if kinds[0] == Kind::Immediate { exactly(less) } else { Expected { least: less, most: clocks } }
        }
        _ => exactly(clocks),
    };
    let constants = if row.operands.starts_with('#') && !row.operands.starts_with("#imm") {
        // What stands in front of the addressing mode: none for the quick forms.
        let is_quick = ["ADDQ", "SUBQ", "MOVEQ", "TRAP"].contains(&row.mnemonic.as_str());
        if is_quick { 0 } else { extension_words(Kind::Immediate, operand_size) }
    } else {
        0
    };
    let modes: u16 = kinds
        .iter()
        .filter(|it| !(**it == Kind::Immediate && row.operands.starts_with('#') && !row.operands.starts_with("#imm")))
        .map(|it| extension_words(*it, operand_size))
        .sum();
    let bytes = Checks::bytes(row, size, clocks, 1 + constants + modes);
    checks.line(&row.mnemonic, size, &operands, expected, bytes);
}

fn check_shift(row: &Row, checks: &mut Checks) {
    if row.operands == "<mem>" {
        return check_plain(row, checks);
    }
    assert_eq!(row.operands, "Dm,Dn or #n,Dn");
    for size in &row.sizes {
        for n in 1..=8 {
            let operands = [constant(n.into()), operand(Kind::Data)];
            checks.line(&row.mnemonic, Some(*size), &operands, exactly(row.clocks(n, None)), (0, 0));
        }
        // The count in a register is taken modulo 64: 0 to 63.
        let operands = [Operand::register(Kind::Data, 1), operand(Kind::Data)];
        let expected = Expected { least: row.clocks(0, None), most: row.clocks(63, None) };
        checks.line(&row.mnemonic, Some(*size), &operands, expected, (0, 0));
    }
}

/// The other row of table 8-9 that an instruction may take.
fn other(row: &Row, operands: &str) -> Clocks {
    let is_other = |it: &Row| it.mnemonic == row.mnemonic && it.sizes == row.sizes && it.operands == operands;
    ROWS.iter().find(|it| is_other(it)).expect("the other row").clocks(0, None)
}

fn check_branch(row: &Row, checks: &mut Checks) {
    let target = operand(Kind::Target);
    let size = Some(row.sizes[0]);
    let clocks = row.clocks(0, None);
    match row.mnemonic.as_str() {
        "Bcc" => {
            let is_taken = row.operands == "taken";
            let other = other(row, if is_taken { "not taken" } else { "taken" });
            let [taken, stays] = if is_taken { [clocks, other] } else { [other, clocks] };
            let (least, most) = (taken.min(stays), taken.max(stays));
            for letters in &CONDITIONS[2..] {
                checks.line(&format!("b{letters}"), size, &[target], Expected { least, most }, (0, 0));
            }
        }
        "BRA" | "BSR" => checks.line(&row.mnemonic, size, &[target], exactly(clocks), (0, 0)),
        "DBcc" => {
            let ends = ["condition true", "condition false, count not expired", "condition false, count expired"];
            assert!(ends.contains(&row.operands.as_str()), "{row:?}");
            let all = ends.map(|it| other(row, it));
            for (code, letters) in CONDITIONS.iter().enumerate() {
                // DBT ends by its condition, always; DBF never does.
                let possible = match code {
                    0 => &all[..1],
                    1 => &all[1..],
                    _ => &all[..],
                };
                let expected = Expected {
                    least: *possible.iter().min().expect("a row"),
                    most: *possible.iter().max().expect("a row"),
                };
                let operands = [operand(Kind::Data), target];
                checks.line(&format!("db{letters}"), size, &operands, expected, (0, 0));
            }
        }
        name => panic!("{name}"),
    }
}

fn check_set(row: &Row, checks: &mut Checks) {
    for (code, letters) in CONDITIONS.iter().enumerate() {
        let name = format!("s{letters}");
        if row.operands == "<mem>" {
            for kind in ALTERABLE_MEMORY {
                let clocks = row.clocks(0, Some((kind, Size::Byte)));
                let bytes = Checks::bytes(row, Some(Size::Byte), clocks, 1 + extension_words(kind, Size::Byte));
                checks.line(&name, Some(Size::Byte), &[operand(kind)], exactly(clocks), bytes);
            }
            continue;
        }
        let clocks = row.clocks(0, None);
        let [no, yes] = if row.operands == "Dn, false" {
            [clocks, other(row, "Dn, true")]
        } else {
            assert_eq!(row.operands, "Dn, true");
            [other(row, "Dn, false"), clocks]
        };
        let expected = match code {
            0 => exactly(yes),
            1 => exactly(no),
            _ => Expected { least: no, most: yes },
        };
        checks.line(&name, Some(Size::Byte), &[operand(Kind::Data)], expected, (0, 0));
    }
}

fn check_list(row: &Row, checks: &mut Checks) {
    let size = Some(row.sizes[0]);
    let patterns = split(&row.operands);
    // One, four, eight and sixteen registers; all of some; one register written as itself.
    let list = |value| Operand::value(Kind::List, value);
    let lists = [
        (1, list(0x0001)),
        (1, list(0x8000)),
        (1, operand(Kind::Data)),
        (1, operand(Kind::Address)),
        (4, list(0x0303)),
        (8, list(0x00ff)),
        (16, list(0xffff)),
    ];
    for (n, list) in lists {
        let operands: Vec<Operand> =
            patterns.iter().map(|it| if *it == "<list>" { list } else { operand(kind_of(it)) }).collect();
        checks.line("movem", size, &operands, exactly(row.clocks(n, None)), (0, 0));
    }
}

#[test]
fn every_row_of_the_timing_tables_is_what_the_table_says() {
    assert_eq!(ROWS.len(), 497);
    let mut checks = Checks::default();
    for row in ROWS.iter() {
        let before = checks.instructions;
        check_row(row, &mut checks);
        assert!(checks.instructions > before, "a row that no instruction was made from: {row:?}");
    }
    assert!(checks.instructions > 1900, "{}", checks.instructions);
    // No exception beyond the table.
    assert_eq!(EXCEPTIONS.len(), ROWS.iter().filter(|it| it.table == "8-14").count());
}
