//! Hovers over serial chips: registers, values, lines, families of constants.
//!
//! Registers: SCN2681 product specification; divisors: ES-100D User's Manual, figure 22; rates of the demo's console from both.

use crate::hovered;

const CONSOLE: &str = "DUART\tequ\t$F00001\t\tMC68681, 3.6864 MHz\nCRA\tequ\t4\nCSRA\tequ\t2\nACR\tequ\t8\nconinit\tlea\tDUART,a0\n\tmove.b\t#$10,CRA(a0)\n\tmove.b\t#$93,(a0)\n\tmove.b\t#$07,(a0)\n\tmove.b\t#$BB,CSRA(a0)\n\tmove.b\t#$80,ACR(a0)\n\tmove.b\t6(a0),d0\n\trts\n";

fn at(mark: &str) -> String {
    let plain = mark.replace("<|>", "");
    assert!(CONSOLE.contains(&plain), "{mark}");
    hovered(&[("a.s", &CONSOLE.replacen(&plain, mark, 1))])
}

#[test]
fn a_write_is_read_aloud() {
    let shown = at("#$9<|>3,(a0)");
    assert!(shown.contains("**MR1** of `mc68681 channel A` (mc68681), mode 1: $93"), "{shown}");
    for field in
        ["- bits 7, RTS follows the receive FIFO: yes", "- bits 4-3, parity mode: none", "- bits 1-0, data bits: 8"]
    {
        assert!(shown.contains(field), "{shown}");
    }
    assert!(shown.contains("A write moves the pointer on to MR2."), "{shown}");
    let setting = "`mc68681 channel A` is set to **9600 8N1** by `coninit`; sends and receives at 9600.0 bit/s, +0.00 % (code 11 of rate set 2); clock 3686400 Hz (by a comment)";
    assert!(shown.contains(setting), "{shown}");
    // The instruction's name tells the same, and the second write to one address meets the other register.
    assert!(at("mo<|>ve.b\t#$07,(a0)").contains("**MR2** of `mc68681 channel A` (mc68681), mode 2: $07"));
}

#[test]
fn a_read_tells_what_it_takes_away() {
    let shown = at("6(a<|>0),d0");
    assert!(shown.contains("**RHR** of `mc68681 channel A` (mc68681), received character"), "{shown}");
    assert!(shown.contains("A read takes a character out of the receive FIFO."), "{shown}");
}

#[test]
fn an_address_tells_the_chip_and_its_lines() {
    let shown = at("DUA<|>RT\tequ");
    let chip = "mc68681: dual asynchronous receiver/transmitter (DUART) at $F00001, a register every 2 bytes";
    assert!(shown.contains(chip) && shown.contains("is set to **9600 8N1**"), "{shown}");
}

#[test]
fn constants_tell_what_they_select_alone_and_together() {
    const RATES: &str = "B300\tequ\t384\nB1200\tequ\t96\nB9600\tequ\t12\nBITS7\tequ\t2\nBITS8\tequ\t3\nPAREVEN\tequ\t$18\nPARODD\tequ\t8\nSTOP2\tequ\t4\n\tmove.b\t#BITS7+PAREVEN+STOP2,d0\n\tmove.w\t#B9600,d1\n";
    let at = |mark: &str| hovered(&[("a.s", &RATES.replacen(&mark.replace("<|>", ""), mark, 1))]);
    let shown = at("#B96<|>00,d1");
    let selects = "selects **9600 bit/s** in DLL of the ns16450 (divisor): 9600.0 bit/s of 1843200 Hz, +0.00 %";
    assert!(shown.contains(selects), "{shown}");
    assert!(shown.contains("The family has also `B300` 300 bit/s, `B1200` 1200 bit/s"), "{shown}");
    assert!(shown.contains("Used once, first in a.s:10"), "{shown}");
    let shown = at("#BI<|>TS7+PAREVEN");
    assert!(shown.contains("selects **7 data bits** in LCR of the ns16450"), "{shown}");
    assert!(shown.contains("Together $1E: 7E2"), "{shown}");
}
