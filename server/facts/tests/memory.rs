//! The memory map of the machine file: what the source does in each region, and what does not fit.
//!
//! The maps are made up. That instructions read before they write: M68000 User's Manual, section 8.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::path::PathBuf;

use reveille_cpu::Cpu;
use reveille_facts::{Fact, Model};
use reveille_program::{Content, Program, Settings};
use reveille_source::{Encoding, File};

const ROM: &str = "[[machine.m.memory]]\nname = \"rom\"\nfrom = 0\nsize = \"64k\"\nkind = \"rom\"\n";
const RAM: &str = "[[machine.m.memory]]\nname = \"ram\"\nfrom = \"$100000\"\nsize = \"64k\"\nkind = \"ram\"\n";
const PORT: &str = "[[machine.m.memory]]\nname = \"port\"\nfrom = \"$F00000\"\nsize = 32\nkind = \"device\"\nreads = \"have side effects\"\n";
const LATCH: &str = "[[machine.m.memory]]\nname = \"latch\"\nfrom = \"$F10000\"\nsize = 2\nkind = \"device\"\n";

fn model_on(cpu: Cpu, map: &str, text: &str) -> Model {
    let mut program = Program::with_settings(Settings { cpu, ..Settings::default() });
    program.set_files(vec![
        (PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8)),
        (PathBuf::from("reveille.toml"), Content::Beside(File::new(map, None))),
    ]);
    Model::new(program, &[], None)
}

fn whole() -> String {
    [ROM, RAM, PORT, LATCH].concat()
}

/// The findings about memory: code, line and part of it, message up to the first colon.
fn told_on(cpu: Cpu, map: &str, text: &str) -> Vec<String> {
    let model = model_on(cpu, map, text);
    let own = model.findings().into_iter().filter(|it| it.code.starts_with("map-"));
    let line = |it: &reveille_facts::Finding| {
        let file = model.program().file(it.at.place.file).unwrap();
        let line = file.at(it.at.place.chunk, it.at.place.line).2;
        let message = it.message.split(':').next().unwrap_or("");
        format!("{} {} `{}` {message}", it.code, file.line_number(it.at.place) + 1, it.at.span.of(line))
    };
    own.map(line).collect()
}

fn told(text: &str) -> Vec<String> {
    told_on(Cpu::M68000, &whole(), text)
}

/// The regions: name or address, kind, reads, writes, the line that uses it first.
fn regions(map: &str, text: &str) -> Vec<String> {
    let model = model_on(Cpu::M68000, map, text);
    let own = model.facts().filter_map(|fact| match fact {
        Fact::Memory(it) => Some(it),
        _ => None,
    });
    let line = |it: &reveille_facts::MemoryFact| {
        let line = it.uses.first.map(|at| model.program().file(at.place.file).unwrap().line_number(at.place) + 1);
        format!("{} {} {} {} {}", it.subject(), it.kind, it.uses.reads, it.uses.writes, line.unwrap_or(0))
    };
    own.map(line).collect()
}

#[test]
fn an_address_outside_the_map_is_told_where_the_map_is_whole() {
    let text = "\torg\t0\n\tmove.b\t#1,$F00021\n\tmove.b\t#1,$F0001F\n\ttst.b\t$200000\n\tlea\t$F00000,a0\n\tmove.b\td0,$40(a0)\n\trts\n";
    assert_eq!(
        told(text),
        [
            "map-001 2 `$F00021` this writes to $F00021, where the machine file has nothing",
            "map-001 4 `$200000` this reads $200000, where the machine file has nothing",
            "map-001 6 `$40(a0)` this writes to $F00040, where the machine file has nothing",
        ]
    );
    assert_eq!(told_on(Cpu::M68000, &[PORT, LATCH].concat(), text), [""; 0], "a map without ROM and RAM is not whole");
    assert_eq!(told("\torg\t0\n\tlea\t$F00040,a0\n\tmovea.l\t#$F00040,a1\n\trts\n"), [""; 0], "nothing is read there");
    // The top byte of an address is not on the bus of the 68000 (M68000 User's Manual, section 3).
    assert_eq!(told("\torg\t0\n\tmove.b\t#1,$FFF00001\n\tmove.b\t#1,$12100000\n\trts\n"), [""; 0]);
    // Nor are its top twelve bits on that of the 68008.
    assert_eq!(
        told_on(
            Cpu::M68008,
            &[ROM, &RAM.replace("$100000", "$80000")].concat(),
            "\torg\t0\n\tmove.b\t#1,$F80000\n\trts\n"
        ),
        [""; 0]
    );
    // A sweep whose end nobody knows says nothing.
    assert_eq!(
        told("\torg\t0\n\tlea\t$100000,a0\n1$\tmove.l\td0,(a0)+\n\tsubq.l\t#1,d1\n\tbne.s\t1$\n\trts\n"),
        [""; 0]
    );
}

#[test]
fn writes_to_rom_are_told() {
    let text = "\torg\t0\nx\tmove.w\t#1,v\n\tmove.w\tv,d0\n\taddq.w\t#1,v\n\tmove.w\td0,$100000\n\trts\n\torg\t$2000\nv\tdc.w\t0\n";
    assert_eq!(
        told(text),
        [
            "map-002 2 `v` this writes to $002000 in `rom`, $000000 to $00FFFF, which is ROM",
            "map-002 4 `v` this writes to $002000 in `rom`, $000000 to $00FFFF, which is ROM",
        ]
    );
    let mapped = format!("{}{}", whole(), LATCH.replace("latch", "lamp").replace("$F10000", "$2000"));
    let found = told_on(Cpu::M68000, &mapped, text);
    assert!(found.iter().all(|it| !it.starts_with("map-002")), "a device is mapped there: {found:?}");
    assert!(found.iter().any(|it| it.starts_with("map-004")), "{found:?}");
    let free = text.replace("\torg\t0\n", "").replace("\torg\t$2000\n", "");
    assert_eq!(told(&free), [""; 0], "where no ORG is, nobody knows the address");
}

#[test]
fn bytes_lie_in_rom_and_ram() {
    let device = "\torg\t0\n\tnop\n\torg\t$F00000\nmr1\tds.b\t1\n\tds.b\t1\n";
    assert_eq!(told(device), [""; 0], "names for a device's registers lay nothing down");
    assert_eq!(
        told(
            "\torg\t$F00000\n\tdc.b\t1\n\tdc.b\t2\n\torg\t$FFFE\n\tdc.w\t1\n\tdc.w\t2\n\tdc.w\t3\n\torg\t$100000\n\tdc.w\t4\n"
        ),
        [
            "map-003 2 `dc.b\t1` the program lays bytes down from $F00000 on, in `port`, $F00000 to $F0001F, a device",
            "map-003 6 `dc.w\t2` the program lays bytes down from $010000 on, in no region of the machine file; the nearest is `rom`, $000000 to $00FFFF",
        ]
    );
    // The same far into a long program, and where code runs over the end.
    let long = format!("\torg\t$F000\n{}\tnop\n", "\tdc.l\t1,2,3,4\n".repeat(256));
    assert_eq!(
        told(&long),
        [
            "map-003 258 `nop` the program lays bytes down from $010000 on, in no region of the machine file; the nearest is `rom`, $000000 to $00FFFF"
        ]
    );
    let free = format!("{}\tnop\n", "\tdc.l\t1,2,3,4\n".repeat(4097));
    assert_eq!(told(&free), [""; 0], "where no ORG is, nobody knows the address");
}

#[test]
fn devices_that_are_read_first_are_told() {
    let text = "\torg\t0\n\tlea\t$F00001,a0\n\tclr.b\t4(a0)\n\tbset\t#1,4(a0)\n\tst\t(a0)\n\tmove.b\t#0,4(a0)\n\ttst.b\t2(a0)\n\tclr.b\t$F10001\n\trts\n";
    let clr =
        "map-005 3 `4(a0)` CLR reads `port` + 5 before it writes there, and reads of this device have side effects";
    let bset =
        "map-005 4 `4(a0)` BSET reads `port` + 5 before it writes there, and reads of this device have side effects";
    let scc =
        "map-005 5 `(a0)` Scc reads `port` + 1 before it writes there, and reads of this device have side effects";
    assert_eq!(told(text), [clr, bset, scc]);
    // On the 68010 CLR and Scc do not read (from memory).
    assert_eq!(told_on(Cpu::M68010, &whole(), text), [bset]);
}

#[test]
fn each_region_has_what_is_done_in_it() {
    let text = "\torg\t0\n\tlea\t$F00001,a0\n1$\tbtst\t#0,2(a0)\n\tbeq.s\t1$\n\tmove.b\t#1,6(a0)\n\tmove.w\td0,$100000\n\taddq.w\t#1,$100002\n\ttst.b\t$230000\n\ttst.b\t$23FFFF\n\trts\n";
    assert_eq!(
        regions(&whole(), text),
        [
            "rom rom 0 0 0",
            "ram ram 1 2 6",
            "$230000 to $23FFFF unknown 2 0 8",
            "port device 1 1 3",
            "latch device 0 0 0",
        ]
    );
    assert_eq!(regions("", text), [""; 0]);
}

#[test]
fn an_edit_changes_the_map_s_facts() {
    let before = model_on(Cpu::M68000, &whole(), "\torg\t0\n\tmove.b\t#1,$F00021\n");
    let mut program = before.program().clone();
    let content = Content::Beside(File::new(&whole().replace("size = 32", "size = 64"), None));
    program.set_files(vec![(PathBuf::from("reveille.toml"), content)]);
    let after = Model::new(program, &[], Some(&before));
    let count = |model: &Model| model.findings().iter().filter(|it| it.code == "map-001").count();
    assert_eq!((count(&before), count(&after)), (1, 0));
    assert_eq!(after.memory_maps()[0].regions[2].uses.writes, 1);
}
