//! Each addressing mode, loops, calls, loops over tables, other processors.
//!
//! What instructions do to registers: M68000 Family Programmer's Reference Manual, section 4 (from memory).

use std::path::PathBuf;

use reveille_cpu::Cpu;
use reveille_program::{Analysis, Content, Program, Settings};
use reveille_source::{Encoding, File};

use super::{AccessKind, accesses};

/// Addresses of a device from $F00000 to $F0FFFF.
fn is_device(address: i64) -> bool {
    (0xf0_0000..0xf1_0000).contains(&address)
}

fn told_on(cpu: Cpu, text: &str, wanted: &dyn Fn(i64) -> bool) -> Vec<String> {
    let mut program = Program::with_settings(Settings { cpu, ..Settings::default() });
    let content = Content::Text(File::new(text, None), Encoding::Utf8);
    program.set_files(vec![(PathBuf::from("a.s"), content)]);
    let analysis = Analysis::new(&program, &[], None);
    let unit = analysis.units().next().unwrap();
    let shown = |at: crate::Evidence| {
        let file = program.file(at.place.file).unwrap();
        format!("{} `{}`", file.line_number(at.place) + 1, at.span.of(file.at(at.place.chunk, at.place.line).2))
    };
    let found = accesses(&program, unit, wanted);
    let line = |it: &super::Access| {
        let kind = match it.kind {
            AccessKind::Read => "reads",
            AccessKind::Write => "writes",
            AccessKind::ReadWrite => "changes",
        };
        let value = match (it.value, it.value_at) {
            (Some(value), Some(at)) => format!(" {value:X} of {}", shown(at)),
            (Some(value), None) => format!(" {value:X}"),
            _ => String::new(),
        };
        format!("{}: {} {kind} {:X}.{}{value}", shown(it.at), it.instruction, it.address, it.bytes)
    };
    found.iter().map(line).collect()
}

fn told(text: &str) -> Vec<String> {
    told_on(Cpu::M68000, text, &is_device)
}

/// What is told without places: address and value.
fn values(text: &str) -> Vec<String> {
    let short = |it: String| it.split(": ").nth(1).unwrap_or("").split(" of ").next().unwrap_or("").to_owned();
    told(text).into_iter().map(short).collect()
}

#[test]
fn absolute_addresses() {
    assert_eq!(
        told(
            "dev\tequ\t$F00001\ncra\tequ\t4\n\tmove.b\t#$10,dev+cra\n\tmove.b\tdev,d0\n\ttst.w\t$F00010\n\tclr.b\tdev+6\n\trts\n"
        ),
        [
            "3 `dev+cra`: move writes F00005.1 10 of 3 `#$10`",
            "4 `dev`: move reads F00001.1",
            "5 `$F00010`: tst reads F00010.2",
            "6 `dev+6`: clr changes F00007.1 0 of 6 `dev+6`",
        ]
    );
    assert_eq!(told("\tlea\t$F00001,a0\n\tjmp\t$F00004\n"), [""; 0], "an address alone is no access");
    assert_eq!(told("\tmove.b\t#1,$FFF00001\n"), ["1 `$FFF00001`: move writes F00001.1 1 of 1 `#1`"]);
    let short = |it: i64| (0xff_8000..=0xff_ffff).contains(&it);
    assert_eq!(
        told_on(Cpu::M68000, "\tmove.b\td0,$8001.w\n", &short),
        ["1 `$8001.w`: move writes FF8001.1"],
        "a short address is extended with its sign"
    );
    assert_eq!(told_on(Cpu::M68008, "\tmove.b\td0,$F00001\n", &|it| it == 1), ["1 `$F00001`: move writes 1.1"]);
}

#[test]
fn modes_of_address_registers() {
    let text = "dev\tequ\t$F00000\n\tlea\tdev,a0\n\tmoveq\t#4,d1\n\ttst.b\t(a0)\n\ttst.b\t8(a0)\n\ttst.b\t2(a0,d1.w)\n\tmove.w\td0,(a0)+\n\tmove.l\td0,(a0)+\n\tmove.b\td0,-(a0)\n\tlea\t-1(a0),a1\n\tmovea.l\ta1,a2\n\taddq.w\t#2,a2\n\ttst.b\t(a2)\n\tadda.w\t#$10,a2\n\tsubq.l\t#1,a2\n\ttst.b\t(a2)\n\tmovea.l\t#dev,a3\n\ttst.b\t1(a3)\n\trts\n";
    assert_eq!(
        values(text),
        [
            "tst reads F00000.1",
            "tst reads F00008.1",
            "tst reads F00006.1",
            "move writes F00000.2",
            "move writes F00002.4",
            "move writes F00005.1",
            "tst reads F00006.1",
            "tst reads F00015.1",
            "tst reads F00001.1",
        ]
    );
}

#[test]
fn values_of_data_registers() {
    let body = "\tlea\t$F00000,a0\n\tmoveq\t#-1,d0\n\tmove.b\td0,(a0)\n\tmove.b\t#$12,d1\n\tmove.b\td1,(a0)\n\tmove.w\td1,(a0)\n\tclr.l\td2\n\tori.w\t#$3400,d2\n\tlsr.w\t#8,d2\n\tmove.b\td2,(a0)\n\tswap\td2\n\tmove.b\td2,(a0)\n\tmoveq\t#5,d3\n\taddq.b\t#3,d3\n\tand.b\t#$0C,d3\n\teor.b\t#1,d3\n\tmove.b\td3,(a0)\n\tmove.b\td4,(a0)\n\tand.b\t#0,d4\n\tmove.b\td4,(a0)\n\tst\t(a0)\n\trts\n";
    assert_eq!(
        values(body),
        [
            "move writes F00000.1 FF",
            "move writes F00000.1 12",
            "move writes F00000.2",
            "move writes F00000.1 34",
            "move writes F00000.1 0",
            "move writes F00000.1 9",
            "move writes F00000.1",
            "move writes F00000.1 0",
            "scc changes F00000.1 FF",
        ]
    );
    let absolute = "\tmoveq\t#5,d0\n\tmove.b\td1,$F00000\n\tmove.b\td0,$F00001\n\trts\n";
    assert_eq!(values(absolute), ["move writes F00000.1", "move writes F00001.1 5"]);
    let told = told("\tlea\t$F00000,a0\n\tmove.b\t#$12,d1\n\tmove.b\td1,(a0)\n");
    assert_eq!(told, ["3 `(a0)`: move writes F00000.1 12 of 2 `#$12`"]);
}

#[test]
fn movep_and_movem() {
    assert_eq!(
        values(
            "\tlea\t$F00001,a0\n\tmove.l\t#$11223344,d0\n\tmovep.l\td0,4(a0)\n\tmovep.w\t0(a0),d1\n\tmove.b\td1,(a0)\n"
        ),
        [
            "movep writes F00005.1 11",
            "movep writes F00007.1 22",
            "movep writes F00009.1 33",
            "movep writes F0000B.1 44",
            "movep reads F00001.1",
            "movep reads F00003.1",
            "move writes F00001.1",
        ]
    );
    assert_eq!(
        values(
            "\tlea\t$F00010,a0\n\tmoveq\t#1,d0\n\tmoveq\t#2,d1\n\tmovem.w\td0-d1,-(a0)\n\tmovem.w\t(a0)+,d0-d1\n\ttst.b\t(a0)\n"
        ),
        [
            "movem writes F0000C.2 1",
            "movem writes F0000E.2 2",
            "movem reads F0000C.2",
            "movem reads F0000E.2",
            "tst reads F00010.1",
        ]
    );
}

#[test]
fn polling_keeps_a_register() {
    let text = "put\tlea\t$F00000,a0\n1$\tbtst\t#2,3(a0)\n\tbeq.s\t1$\n\tmove.b\td0,7(a0)\n\trts\n";
    assert_eq!(values(text), ["btst reads F00003.1", "move writes F00007.1"]);
    let forward = "put\tlea\t$F00000,a0\n\ttst.b\td0\n\tbeq.s\tskip\n\tclr.b\td0\nskip\tmove.b\td0,7(a0)\n\trts\n";
    assert_eq!(values(forward), ["move writes F00007.1"]);
    let stepping = "put\tlea\t$F00000,a0\n1$\ttst.b\t(a0)+\n\tbeq.s\t1$\n\tmove.b\td0,7(a0)\n\trts\n";
    assert_eq!(values(stepping), [""; 0], "a register that steps in the loop is not known in it");
}

#[test]
fn ways_have_to_agree() {
    let two =
        "\ttst.b\td0\n\tbeq.s\tone\n\tlea\t$F00000,a0\n\tbra.s\tboth\none\tlea\t$F00010,a0\nboth\ttst.b\t(a0)\n\trts\n";
    assert_eq!(values(two), [""; 0]);
    let same = two.replace("$F00010", "$F00000");
    assert_eq!(values(&same), ["tst reads F00000.1"]);
    let table = "tab\tdc.l\tin\n\tlea\t$F00000,a0\nin\ttst.b\t(a0)\n\trts\n";
    assert_eq!(values(table), [""; 0], "a table leads to the label");
    let exported = "\txdef\tin\n\tlea\t$F00000,a0\nin\ttst.b\t(a0)\n\trts\n";
    assert_eq!(values(exported), [""; 0], "another module leads to the label");
    let elsewhere = "\tlea\t$F00000,a0\nin\ttst.b\t(a0)\n\trts\n\tnop\n\tbra\tin\n";
    assert_eq!(values(elsewhere), [""; 0], "a branch leads to the label, and nothing is known there");
    let local = "f\tlea\t$F00000,a0\n1$\ttst.b\t(a0)\n\trts\n2$\tnop\n\tbra\t1$\n";
    assert_eq!(values(local), [""; 0], "a branch of the same scope leads to the label");
}

#[test]
fn calls() {
    let kept = "init\tlea\t$F00000,a0\n\tbsr\twait\n\ttst.b\t(a0)\n\trts\nwait\tmoveq\t#9,d0\n1$\tdbra\td0,1$\n\trts\n";
    assert_eq!(values(kept), ["tst reads F00000.1"]);
    let saved = kept
        .replace("wait\tmoveq", "wait\tmove.l\ta0,-(sp)\n\tlea\twait,a0\n\tmoveq")
        .replace("1$\n\trts", "1$\n\tmove.l\t(sp)+,a0\n\trts");
    assert_eq!(values(&saved), ["tst reads F00000.1"]);
    let several = kept
        .replace("wait\tmoveq", "wait\tmovem.l\td0/a0,-(sp)\n\tlea\twait,a0\n\tmoveq")
        .replace("1$\n\trts", "1$\n\tmovem.l\t(sp)+,d0/a0\n\trts");
    assert_eq!(values(&several), ["tst reads F00000.1"]);
    let changed = kept.replace("wait\tmoveq", "wait\tlea\twait,a0\n\tmoveq");
    assert_eq!(values(&changed), [""; 0]);
    let deeper = kept.replace("wait\tmoveq", "wait\tbsr\tmore\n\tmoveq") + "more\tmove.l\td1,a0\n\trts\n";
    assert_eq!(values(&deeper), [""; 0]);
    let foreign =
        "\txref\tcfun\n\tlea\t$F00000,a0\n\tlea\t$F00010,a2\n\tjsr\tcfun\n\ttst.b\t(a0)\n\ttst.b\t(a2)\n\trts\n";
    assert_eq!(values(foreign), ["tst reads F00010.1"]);
    let table = "one\tmoveq\t#0,d0\n\tlea\t$F00010,a2\n\tjsr\tone(pc,d1.w)\n\ttst.b\t(a2)\n\trts\n";
    assert_eq!(values(table), [""; 0], "a call through a table may change every register");
    let anywhere = "\tlea\t$F00010,a2\n\tjsr\t(a1)\n\ttst.b\t(a2)\n\trts\n";
    assert_eq!(values(anywhere), [""; 0]);
}

#[test]
fn a_routine_has_what_its_callers_agree_on() {
    let text = "one\tlea\t$F00000,a2\n\tbsr\tsend\n\tbsr\tsend\n\trts\nsend\tmove.b\t#1,4(a2)\n\trts\n";
    assert_eq!(values(text), ["move writes F00004.1 1"]);
    let other = format!("{text}two\tlea\tone,a2\n\tbsr\tsend\n\trts\n");
    assert_eq!(values(&other), [""; 0]);
}

#[test]
fn tables_in_loops_and_in_a_row() {
    let row = "init\tlea\t$F00001,a0\n\tlea\ttab(pc),a1\n\tmove.b\t(a1)+,4(a0)\n\tmove.b\t(a1)+,d0\n\tmove.b\td0,(a0)\n\trts\ntab\tdc.b\t$10,$13\n";
    assert_eq!(
        told(row),
        ["3 `4(a0)`: move writes F00005.1 10 of 7 `$10`", "5 `(a0)`: move writes F00001.1 13 of 7 `$13`",]
    );
    let counted = "init\tlea\t$F00001,a0\n\tlea\ttab(pc),a1\n\tmoveq\t#3-1,d1\n1$\tmoveq\t#0,d0\n\tmove.b\t(a1)+,d0\n\tmove.b\t(a1)+,0(a0,d0.w)\n\tdbra\td1,1$\n\ttst.b\t(a0)\n\trts\ntab\tdc.b\t4,$10,0,$13,0,$07\n";
    assert_eq!(
        values(counted),
        ["move writes F00005.1 10", "move writes F00001.1 13", "move writes F00001.1 7", "tst reads F00001.1"]
    );
    let unknown = counted.replace("\tmoveq\t#3-1,d1\n", "");
    assert_eq!(values(&unknown), ["tst reads F00001.1"]);
    let entered = counted.replace("1$\tmoveq\t#0,d0\n", "1$\tmoveq\t#0,d0\nin\tnop\n") + "\tdc.l\tin\n";
    assert_eq!(values(&entered), [""; 0], "something leads into the loop");
}

#[test]
fn expansions_are_told_at_the_call() {
    let text = "put\tmacro\n\tmove.b\t#\\1,dev+\\2\n\tendm\ndev\tequ\t$F00000\n\tput\t5,4\n\tput\t6,8\n\trts\n";
    assert_eq!(
        told(text),
        [
            "5 `put\t5,4`: move writes F00004.1 5 of 5 `put\t5,4`",
            "6 `put\t6,8`: move writes F00008.1 6 of 6 `put\t6,8`",
        ]
    );
    let repeated = "\tlea\t$F00000,a0\n\trept\t2\n\tmove.b\t#1,(a0)+\n\tendr\n\ttst.b\t(a0)\n\trts\n";
    assert_eq!(values(repeated), ["move writes F00000.1 1", "move writes F00001.1 1", "tst reads F00002.1"]);
}

// M68000 User's Manual, section 8; the 68010: from memory.
#[test]
fn the_68010_does_not_read_for_clr() {
    let text = "\tclr.b\t$F00001\n\tbset\t#1,$F00001\n";
    assert_eq!(
        told_on(Cpu::M68010, text, &is_device),
        ["1 `$F00001`: clr writes F00001.1 0 of 1 `$F00001`", "2 `$F00001`: bset changes F00001.1"]
    );
}

#[test]
fn routines_have_numbers() {
    let text = "one\tmove.b\t#1,$F00000\n\tbeq.s\tout\n\tbra\tmore\nout\trts\nmore\tmove.b\t#2,$F00000\n\trts\ntwo\tmove.b\t#3,$F00000\n\trts\n";
    let mut program = Program::new();
    program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))]);
    let analysis = Analysis::new(&program, &[], None);
    let found = accesses(&program, analysis.units().next().unwrap(), &is_device);
    assert_eq!(found.iter().map(|it| it.sequence).collect::<Vec<_>>(), [0, 0, 1]);
}
