//! Every row of the timing tables of the *M68000 User's Manual*, ninth edition, section 8, against `time`.
//!
//! `data/timing.csv` has the rows as printed; `actual` is a corrected figure where the print is known to be wrong, with its reason. Each row
//! is made into real instructions on the real way: name, form, words, and back from the words.

mod csv;

use std::sync::LazyLock;

use reveille_cpu::{
    Clocks, Cpu, EXCEPTIONS, Index, Kind, Misfit, Operand, Size, Time, address_time, choose, decode, encode, mnemonic,
    time, word_count,
};

const ADDRESS: i64 = 0x1000;

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
    let text = include_str!("data/timing.csv");
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

/// Some operand of a kind.
fn operand(kind: Kind) -> Operand {
    let value = match kind {
        Kind::Displacement | Kind::Index => 4,
        Kind::AbsoluteShort => 0x4000,
        Kind::AbsoluteLong => 0x12_3456,
        Kind::PcDisplacement | Kind::PcIndex | Kind::Target => ADDRESS + 0x20,
        // A constant that ADDQ takes, too; MOVE and ADD are not told that it is written out, so they keep their own forms.
        Kind::Immediate => 2,
        Kind::List => 1,
        _ => 0,
    };
    Operand { kind, register: 3, index: Index { number: 5, is_address: false, is_long: false }, value }
}

fn constant(value: i64) -> Operand {
    Operand::value(Kind::Immediate, value)
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

/// The time of a line, made the way the server makes it; checked to be the same when read back from the words.
fn timed(cpu: Cpu, name: &str, size: Option<Size>, operands: &[Operand]) -> Result<Time, Misfit> {
    let mnemonic = mnemonic(name).unwrap_or_else(|| panic!("no mnemonic {name}"));
    let none = Operand::register(Kind::Data, 0);
    let pair = [operands.first().copied().unwrap_or(none), operands.get(1).copied().unwrap_or(none)];
    let choice = choose(mnemonic, cpu, size, &pair, operands.len(), None)?;
    let (encoding, _) = encode(choice.form, choice.size, mnemonic.condition, &pair, ADDRESS);
    let words = encoding.words();
    assert_eq!(words.len(), usize::from(word_count(choice.form, choice.size, pair.map(|it| it.kind))), "{name}");
    let found = time(cpu, choice.form, choice.size, mnemonic.condition, &pair, words.len() as u8);
    let again = decode(words, ADDRESS).unwrap_or_else(|| panic!("{name} {size:?} {operands:?}: {words:04x?}"));
    assert_eq!(usize::from(again.words), words.len(), "{name} {size:?} {operands:?}");
    let from_words = time(cpu, again.form, again.size, again.condition, &again.operands, again.words);
    assert_eq!(from_words, found, "{name} {size:?} {operands:?} is read back as {again}");
    Ok(found)
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

fn clocks_of(cpu: Cpu, name: &str, size: Option<Size>, operands: &[Operand]) -> (Clocks, Clocks) {
    let time = timed(cpu, name, size, operands).expect("a form");
    assert_eq!(time.is_near, cpu == Cpu::M68010);
    (time.least, time.most)
}

fn cycles_of(cpu: Cpu, name: &str, size: Option<Size>, operands: &[Operand]) -> (u16, u16) {
    let (least, most) = clocks_of(cpu, name, size, operands);
    (least.cycles, most.cycles)
}

/// *M68000 User's Manual*, section 8, notes of table 8-4; from memory, confirmed by a cycle-level core.
#[test]
fn longs_from_registers_and_constants_take_two_clocks_more_except_in_comparisons() {
    let to = |first, second| [operand(first), operand(second)];
    let long = Some(Size::Long);
    for name in ["add", "sub", "and", "or"] {
        assert_eq!(cycles_of(Cpu::M68000, name, long, &to(Kind::Data, Kind::Data)), (8, 8), "{name}");
        assert_eq!(cycles_of(Cpu::M68000, name, long, &to(Kind::Immediate, Kind::Data)), (16, 16), "{name}");
        assert_eq!(cycles_of(Cpu::M68000, name, long, &to(Kind::Indirect, Kind::Data)), (14, 14), "{name}");
    }
    for name in ["adda", "suba"] {
        assert_eq!(cycles_of(Cpu::M68000, name, long, &to(Kind::Address, Kind::Address)), (8, 8), "{name}");
        assert_eq!(cycles_of(Cpu::M68000, name, long, &to(Kind::Immediate, Kind::Address)), (16, 16), "{name}");
        assert_eq!(cycles_of(Cpu::M68000, name, long, &to(Kind::PreDecrement, Kind::Address)), (16, 16), "{name}");
    }
    assert_eq!(cycles_of(Cpu::M68000, "cmp", long, &to(Kind::Data, Kind::Data)), (6, 6));
    assert_eq!(cycles_of(Cpu::M68000, "cmpa", long, &to(Kind::Immediate, Kind::Address)), (14, 14));
}

/// *M68000 User's Manual*, section 8, notes of table 8-4: `38 + 2n`; from memory, confirmed by a cycle-level core.
#[test]
fn a_multiplication_by_a_constant_takes_two_clocks_for_each_one_or_change() {
    for value in [0, 1, 2, 0x5555, 0x7fff, 0x8000, 0xaaaa, 0xffff, 0x1234] {
        let operands = [constant(value), operand(Kind::Data)];
        let ones = (0..16).filter(|bit| value >> bit & 1 == 1).count() as u16;
        // The value with a 0 behind it, read from the right: how often a bit differs from its neighbour.
        let bit = |at: i64| if at == 0 { 0 } else { value >> (at - 1) & 1 };
        let changes = (0..16).filter(|at| bit(*at) != bit(at + 1)).count() as u16;
        let both = |cycles| (cycles, cycles);
        assert_eq!(cycles_of(Cpu::M68000, "mulu", None, &operands), both(4 + 38 + 2 * ones), "{value:x}");
        assert_eq!(cycles_of(Cpu::M68000, "muls", None, &operands), both(4 + 38 + 2 * changes), "{value:x}");
    }
    // $5555 has sixteen changes with the 0 behind it, and $0001 two.
    assert_eq!(cycles_of(Cpu::M68000, "muls", None, &[constant(0x5555), operand(Kind::Data)]), (74, 74));
    assert_eq!(cycles_of(Cpu::M68000, "muls", None, &[constant(1), operand(Kind::Data)]), (46, 46));
    for name in ["mulu", "muls"] {
        let operands = [operand(Kind::Data), operand(Kind::Data)];
        assert_eq!(cycles_of(Cpu::M68000, name, None, &operands), (38, 70), "{name}");
    }
}

/// A cycle-level core; *M68000 User's Manual*, table 8-8, gives the maximum only.
#[test]
fn a_bit_below_16_of_a_register_takes_two_clocks_less() {
    for (name, most) in [("bchg", 12), ("bset", 12), ("bclr", 14)] {
        for (bit, cycles) in [(0, most - 2), (15, most - 2), (16, most), (31, most), (32, most - 2), (47, most - 2)] {
            let operands = [constant(bit), operand(Kind::Data)];
            assert_eq!(cycles_of(Cpu::M68000, name, None, &operands), (cycles, cycles), "{name} {bit}");
        }
        let operands = [operand(Kind::Data), operand(Kind::Data)];
        assert_eq!(cycles_of(Cpu::M68000, name, None, &operands), (most - 6, most - 4), "{name}");
    }
    for bit in [0, 31] {
        assert_eq!(cycles_of(Cpu::M68000, "btst", None, &[constant(bit), operand(Kind::Data)]), (10, 10));
    }
}

/// *M68000 User's Manual*, tables 8-6 and 8-9; from memory.
#[test]
fn conditions_give_the_ranges_of_both_outcomes() {
    let target = operand(Kind::Target);
    let counter = operand(Kind::Data);
    let clocks = |cycles, reads| Clocks { cycles, reads, writes: 0 };
    let of = |name, size, operands: &[Operand]| clocks_of(Cpu::M68000, name, size, operands);
    assert_eq!(of("beq", Some(Size::Short), &[target]), (clocks(8, 1), clocks(10, 2)));
    assert_eq!(of("beq", Some(Size::Word), &[target]), (clocks(10, 2), clocks(12, 2)));
    assert_eq!(of("bra", Some(Size::Word), &[target]), (clocks(10, 2), clocks(10, 2)));
    assert_eq!(of("dbra", None, &[counter, target]), (clocks(10, 2), clocks(14, 3)));
    assert_eq!(of("dbeq", None, &[counter, target]), (clocks(10, 2), clocks(14, 3)));
    assert_eq!(of("dbt", None, &[counter, target]), (clocks(12, 2), clocks(12, 2)));
    assert_eq!(of("seq", None, &[counter]), (clocks(4, 1), clocks(6, 1)));
    assert_eq!(of("st", None, &[counter]), (clocks(6, 1), clocks(6, 1)));
    assert_eq!(of("sf", None, &[counter]), (clocks(4, 1), clocks(4, 1)));
}

/// *M68000 User's Manual*, section 7: three lines of its tables, and some of its exceptions' neighbours; from memory.
#[test]
fn the_68008_takes_a_bus_cycle_for_each_byte() {
    let to = |first, second| [operand(first), operand(second)];
    let all = |cycles, reads, writes| {
        let clocks = Clocks { cycles, reads, writes };
        (clocks, clocks)
    };
    let of = |name, size, operands: &[Operand]| clocks_of(Cpu::M68008, name, Some(size), operands);
    assert_eq!(of("move", Size::Byte, &to(Kind::Data, Kind::Data)), all(8, 2, 0));
    assert_eq!(of("move", Size::Word, &to(Kind::Indirect, Kind::Data)), all(16, 4, 0));
    assert_eq!(of("add", Size::Long, &to(Kind::Indirect, Kind::Data)), all(26, 6, 0));
    assert_eq!(of("move", Size::Byte, &to(Kind::Indirect, Kind::Data)), all(12, 3, 0));
    assert_eq!(of("move", Size::Byte, &to(Kind::Immediate, Kind::Indirect)), all(20, 4, 1));
    assert_eq!(of("move", Size::Long, &to(Kind::Data, Kind::Indirect)), all(24, 2, 4));
    assert_eq!(of("add", Size::Byte, &to(Kind::Data, Kind::Indirect)), all(16, 3, 1));
    assert_eq!(of("movep", Size::Word, &to(Kind::Data, Kind::Displacement)), all(24, 4, 2));
}

/// One processor core's tables for the 68010, where they differ from its tables for the 68000; the manual's section 9 was not read. `time`
/// calls all of them near.
#[test]
fn the_68010_differs_where_a_core_says_so() {
    let of = |name, size, operands: &[Operand]| cycles_of(Cpu::M68010, name, size, operands);
    let to = |first, second| [operand(first), operand(second)];
    let both = |cycles| (cycles, cycles);
    let long = Some(Size::Long);
    // CLR does not read: 8 and what the address takes beyond the read.
    assert_eq!(of("clr", Some(Size::Word), &[operand(Kind::Indirect)]), both(8));
    assert_eq!(of("clr", Some(Size::Word), &[operand(Kind::Displacement)]), both(12));
    assert_eq!(of("mulu", None, &to(Kind::Immediate, Kind::Data)), (34, 66));
    assert_eq!(of("muls", None, &to(Kind::Immediate, Kind::Data)), (36, 66));
    assert_eq!(of("divu", None, &to(Kind::Data, Kind::Data)), both(108));
    assert_eq!(of("divs", None, &to(Kind::Data, Kind::Data)), both(122));
    assert_eq!(of("beq", Some(Size::Short), &[operand(Kind::Target)]), (6, 10));
    assert_eq!(of("beq", Some(Size::Word), &[operand(Kind::Target)]), both(10));
    assert_eq!(of("dbeq", None, &to(Kind::Data, Kind::Target)), (10, 18));
    for name in ["addx", "subx", "eor"] {
        assert_eq!(of(name, long, &to(Kind::Data, Kind::Data)), both(6), "{name}");
    }
    for name in ["addi", "subi", "andi", "ori", "eori"] {
        assert_eq!(of(name, long, &to(Kind::Immediate, Kind::Data)), both(14), "{name}");
    }
    for name in ["andi", "ori", "eori"] {
        assert_eq!(of(name, None, &to(Kind::Immediate, Kind::Conditions)), both(16), "{name}");
        assert_eq!(of(name, None, &to(Kind::Immediate, Kind::Status)), both(16), "{name}");
    }
    assert_eq!(of("chk", None, &to(Kind::Data, Kind::Data)), both(8));
    assert_eq!(of("move", None, &to(Kind::Status, Kind::Data)), both(4));
    assert_eq!(of("move", long, &to(Kind::UserStack, Kind::Address)), both(6));
    assert_eq!(of("move", long, &to(Kind::Address, Kind::UserStack)), both(6));
    assert_eq!(of("reset", None, &[]), both(130));
    assert_eq!(of("rte", None, &[]), both(24));
    assert_eq!(of("move", long, &to(Kind::Data, Kind::PreDecrement)), both(14));
    assert_eq!(of("trap", None, &[operand(Kind::Immediate)]), both(38));
    assert_eq!(of("illegal", None, &[]), both(38));
    assert_eq!(of("rtr", None, &[]), both(20));
    assert_eq!(of("nop", None, &[]), both(4));
}
