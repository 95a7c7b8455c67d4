//! The rules that the rows of the tables do not carry.

use reveille_cpu::{Clocks, Cpu, Kind, Operand, Size};

use crate::made::{constant, operand, timed};

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
    // Resident assemblers mean the branch of 16 bits by .L, from memory.
    assert_eq!(of("beq", Some(Size::Long), &[target]), of("beq", Some(Size::Word), &[target]));
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

/// From memory: the list of MOVEM may be written as the word that it is.
#[test]
fn a_list_written_as_a_number_has_as_many_registers_as_bits() {
    for (value, registers) in [(0, 0), (1, 1), (0xff, 8), (0xffff, 16), (-1, 16)] {
        let operands = [constant(value), operand(Kind::PreDecrement)];
        let cycles = 8 + 8 * registers;
        assert_eq!(cycles_of(Cpu::M68000, "movem", Some(Size::Long), &operands), (cycles, cycles), "{value}");
    }
}

/// An address that is written without its length is a long one, in every instruction that takes one.
#[test]
fn an_address_whose_length_is_open_takes_as_long_as_a_long_one() {
    for (name, size) in [("move", Size::Byte), ("add", Size::Long), ("moves", Size::Word), ("movem", Size::Word)] {
        let of = |kind| {
            let list = Operand::value(Kind::List, 3);
            let other = if name == "movem" { list } else { Operand::register(Kind::Data, 1) };
            clocks_of(Cpu::M68010, name, Some(size), &[operand(kind), other])
        };
        assert_eq!(of(Kind::Target), of(Kind::AbsoluteLong), "{name}");
    }
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
    assert_eq!(of("move", None, &to(Kind::Conditions, Kind::Data)), both(4));
    // Longs from a register or a constant take no clocks more, as with the forms for constants.
    assert_eq!(of("add", long, &to(Kind::Data, Kind::Data)), both(6));
    assert_eq!(of("suba", long, &to(Kind::Immediate, Kind::Address)), both(14));
    assert_eq!(of("addq", Some(Size::Word), &to(Kind::Immediate, Kind::Address)), both(4));
    assert_eq!(of("addq", long, &to(Kind::Immediate, Kind::Address)), both(8));
    assert_eq!(of("seq", None, &[operand(Kind::Data)]), both(4));
    assert_eq!(of("bclr", None, &to(Kind::Data, Kind::Indirect)), both(14));
    assert_eq!(of("bkpt", None, &[operand(Kind::Immediate)]), both(38));
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
