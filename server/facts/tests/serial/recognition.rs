//! What tells a chip, its clock and its settings, and what does not.

use crate::{lines, model};
use reveille_facts::{ClockFrom, Selects};

/// A start-up source for a router board, published (its values; the lines are our own): 9600, 8 bits, no parity, 1 stop bit.
const ROUTER: &str = "\
MR1A\tequ\t$700000
CSRA\tequ\t$700002
CRA\tequ\t$700004
ACR\tequ\t$700008
start\tmove.b\t#$30,CRA
\tmove.b\t#$20,CRA
\tmove.b\t#$10,CRA
\tmove.b\t#$80,ACR
\tmove.b\t#$BB,CSRA
\tmove.b\t#$93,MR1A
\tmove.b\t#$07,MR1A
\tmove.b\t#$05,CRA
\trts
";

#[test]
fn names_of_registers_alone_tell_the_chip() {
    assert_eq!(lines(ROUTER, None), ["mc68681 channel A: 9600 8N1 (code)"]);
    // Two registers are too few, and names that lie otherwise are those of something else.
    assert_eq!(lines("CRA\tequ\t4\nSRA\tequ\t9\nACR\tequ\t11\ninit\tmove.b\t#3,CRA(a0)\n", None), [""; 0]);
    assert_eq!(lines("CR\tequ\t13\nLF\tequ\t10\nSR\tequ\t1\n", None), [""; 0]);
}

/// A boot header of a UNIX machine: a 2661 at odd addresses, data at 1, status at 3, mode at 5, command at 7.
#[test]
fn distances_may_be_counted_from_the_even_address_before_the_chip() {
    let text = "EPCI\tequ\t$7F0000\t\tSCN2661B, 4.9152 MHz\nDATA\tequ\t1\nSTATUS\tequ\t3\nMODE\tequ\t5\nCOMMAND\tequ\t7\ninit\tlea\tEPCI,a0\n\tmove.b\tCOMMAND(a0),d0\n\tmove.b\t#$4E,MODE(a0)\n\tmove.b\t#$3D,MODE(a0)\n\tmove.b\t#$27,COMMAND(a0)\n\trts\n";
    assert_eq!(lines(text, None), ["scn2661: 9600 8N1 (code)"]);
    assert_eq!(model(text, None).lines().next().unwrap().address, Some(0x7f_0001));
}

#[test]
fn a_comment_or_a_constant_tells_the_clock() {
    let text = "DUART\tequ\t$F00001\t\tMC68681, 4 MHz\ninit\tlea\tDUART,a0\n\tmove.b\t#$10,4(a0)\n\tmove.b\t#$13,(a0)\n\tmove.b\t#7,(a0)\n\tmove.b\t#$BB,2(a0)\n\tmove.b\t#$80,8(a0)\n\trts\n";
    let model = model(text, None);
    let line = model.lines().next().unwrap();
    assert_eq!((line.clock.hertz, line.clock.from), (4_000_000, ClockFrom::Comment));
    assert_eq!(line.line.rx.as_ref().unwrap().exact.unwrap().round(), 10417.0);
    let text = text.replace("\t\tMC68681, 4 MHz", "") + "DUCLK\tequ\t3686400\n";
    let model = crate::model(&text, None);
    let line = model.lines().next().unwrap();
    assert_eq!((line.clock.hertz, line.clock.from), (3_686_400, ClockFrom::Constant));
    let model = crate::model(&text.replace("DUCLK\tequ\t3686400\n", ""), None);
    assert_eq!(model.lines().next().unwrap().clock.from, ClockFrom::Usual);
}

#[test]
fn loops_over_tables_and_movep_set_a_chip_too() {
    let machine = "[[machine.m.serial]]\nname = \"tty\"\nchip = \"mc68681\"\nat = \"$F00001\"\nstride = 2\nchannel = \"a\"\nclock = 3_686_400\n";
    let text = "init\tlea\t$F00001,a0\n\tlea\tvalues(pc),a1\n\tmove.b\t#$10,4(a0)\n\tmove.b\t(a1)+,(a0)\n\tmove.b\t(a1)+,(a0)\n\tmove.b\t(a1)+,2(a0)\n\tmove.b\t(a1)+,8(a0)\n\trts\nvalues\tdc.b\t$13,$07,$BB,$80\n";
    assert_eq!(lines(text, Some(machine)), ["tty: 9600 8N1 (code)"]);
    // MR1 twice and then CSR by MOVEP: bytes to every second address.
    let text = "init\tlea\t$F00001,a0\n\tmove.b\t#$10,4(a0)\n\tmove.b\t#$13,(a0)\n\tmove.b\t#$80,8(a0)\n\tmove.w\t#$07BB,d0\n\tmovep.w\td0,0(a0)\n\trts\n";
    assert_eq!(lines(text, Some(machine)), ["tty: 9600 8N1 (code)"]);
    // Register and value, sent by a loop.
    let text = "init\tlea\t$FF8001,a0\n\tlea\tscctab(pc),a1\n\tmoveq\t#15,d0\nlp\tmove.b\t(a1)+,(a0)\n\tdbra\td0,lp\n\trts\nscctab\tdc.b\t9,$C0,4,$44,3,$C1,5,$EA,11,$50,12,6,13,0,14,3\n";
    let machine = "[[machine.m.serial]]\nname = \"modem\"\nchip = \"z8530\"\nat = \"$FF8001\"\nstride = 2\nchannel = \"b\"\nclock = 2_457_600\n";
    assert_eq!(lines(text, Some(machine)), ["modem: 9600 8N1 (code)"]);
}

#[test]
fn tables_are_told_by_words_names_or_comments() {
    // ISCC User Manual, table 3-8: 9600 of 2.4576 MHz is the constant 6.
    let pairs = "\tdc.b\t9,$C0,4,$44,3,$C1,5,$EA,11,$50,12,6,13,0,14,3,$FF\n\teven\n";
    assert_eq!(lines(&format!("sccinit{pairs}"), None), ["z8530 channel A: 9600 8N1 (table)"]);
    assert_eq!(lines(&format!("scc_init_b{pairs}"), None), ["z8530 channel B: 9600 8N1 (table)"]);
    assert_eq!(lines(&format!("bytes{pairs}"), None), [""; 0]);
    assert_eq!(lines(&format!("* set-up of the Z8530\nbytes{pairs}"), None), ["z8530 channel A: 9600 8N1 (table)"]);
    // A posting of 1987: reset from an unknown state, then mode and command.
    let text = "usart_init\tdc.b\t0,0,0,$40,$4E,$37\n";
    assert_eq!(lines(text, None), ["i8251: 9600 8N1 (table)"]);
    // One value a line, each with the name of its register.
    let text = "contab\tdc.b\t$13\t\tMR1A: 8 bits, no parity\n\tdc.b\t$07\t\tMR2A: 1 stop bit\n\tdc.b\t$BB\t\tCSRA: 9600\n\tdc.b\t$80\t\tACR\n* console DUART\n";
    assert_eq!(lines(&format!("* console\n{text}"), Some(DUART_AT)), ["console: 9600 8N1 (table)"]);
    // SCN2661 product specification, p. 6: code 14 is 9600 of version C; all that nobody decides is shown.
    let text = "epci_setup\tdc.b\t$4E,$3E,$37\n";
    assert_eq!(lines(text, None), ["scn2661: 9600 or 19200 or 9600 8N1 (table)"]);
}

/// The demo's console.
const DUART_AT: &str = "[[machine.m.serial]]\nname = \"console\"\nchip = \"mc68681\"\nat = \"$F00001\"\nstride = 2\nchannel = \"a\"\nclock = 3_686_400\n";

#[test]
fn routines_that_each_set_a_part_are_put_together() {
    let text = "init\tmove.b\t#$10,$F00005\n\tmove.b\t#$13,$F00001\n\tmove.b\t#7,$F00001\n\tbsr\tspeed\n\trts\nspeed\tmove.b\t#$BB,$F00003\n\tmove.b\t#$80,$F00009\n\trts\n";
    assert_eq!(lines(text, Some(DUART_AT)), ["console: 9600 8N1 (code)"]);
}

#[test]
fn families_of_constants_are_told_by_names_and_values() {
    // ES-100D User's Manual, figure 22: divisors at 1.8432 MHz.
    let text = "B300\tequ\t384\nB1200\tequ\t96\nB2400\tequ\t48\nB9600\tequ\t12\nB19K2\tequ\t6\n";
    let model = model(text, None);
    let file = model.program().files().next().unwrap().id();
    let family = model.families(file).next().unwrap();
    assert_eq!((family.chip.name.as_str(), family.register.name.as_str()), ("ns16450", "DLL"));
    assert_eq!(family.clock.unwrap().hertz, 1_843_200);
    assert!(family.members.iter().all(|it| it.error() == Some(0.0)));
    // A public header of a 68000 system's ports, 1995: the word select bits of the MC6850, and its dividers.
    let text = "A_72E\tequ\t0\nA_72O\tequ\t4\nA_71E\tequ\t8\nA_71O\tequ\t12\nA_82N\tequ\t16\nA_81N\tequ\t20\nA_81E\tequ\t24\nA_81O\tequ\t28\n";
    let model = crate::model(text, None);
    let file = model.program().files().next().unwrap().id();
    let family = model.families(file).next().unwrap();
    assert_eq!((family.chip.name.as_str(), family.register.name.as_str()), ("mc6850", "CR"));
    assert_eq!(family.members[5].selects, Selects::Frame(8, "none", 16));
    assert_eq!(family.frame_of(20 + 2), Some("8N1".to_owned()));
    // Numbers that select nothing, and too few of them.
    for text in ["B300\tequ\t300\nB1200\tequ\t1200\nB2400\tequ\t2400\n", "B300\tequ\t384\nB1200\tequ\t96\n"] {
        let model = crate::model(text, None);
        let file = model.program().files().next().unwrap().id();
        assert_eq!(model.families(file).count(), 0, "{text}");
    }
}
