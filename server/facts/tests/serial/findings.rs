//! What is found about serial ports, and what is not.

use crate::{codes, model};

/// A machine file with one port.
fn machine(chip: &str, clock: u32, more: &str) -> String {
    format!(
        "[[machine.m.serial]]\nname = \"console\"\nchip = \"{chip}\"\nat = \"$F00001\"\nstride = 2\nchannel = \"a\"\nclock = {clock}\n{more}"
    )
}

/// Codes of a routine's lines; `$F00001` is the chip's first register.
fn told(chip: &str, clock: u32, lines: &[&str]) -> Vec<String> {
    let text: String = lines.iter().map(|it| format!("\t{it}\n")).collect();
    codes(&format!("init\n{text}\trts\n"), Some(&machine(chip, clock, "")))
}

const NOTHING: [&str; 0] = [];

#[test]
fn a_sound_set_up_is_not_spoken_of() {
    let duart = [
        "move.b #$10,$F00005",
        "move.b #$13,$F00001",
        "move.b #7,$F00001",
        "move.b #$BB,$F00003",
        "move.b #$80,$F00009",
        "move.b #5,$F00005",
    ];
    assert_eq!(told("mc68681", 3_686_400, &duart), NOTHING);
    assert_eq!(told("mc6850", 153_600, &["move.b #3,$F00001", "move.b #$91,$F00001"]), NOTHING);
}

#[test]
fn rates_are_held_against_what_a_receiver_bears() {
    // MK68901 data sheet: timer D every 4, data 5 is 3840 bit/s, 6.7 % from 3600; 2 is 9600.
    let mfp = |data: &str| {
        let lines =
            ["move.b #1,$F0001D".to_owned(), format!("move.b #{data},$F00025"), "move.b #$88,$F00029".to_owned()];
        told("mc68901", 2_457_600, &lines.iter().map(String::as_str).collect::<Vec<_>>())
    };
    assert_eq!(mfp("5"), ["serial-001"]);
    assert_eq!(mfp("2"), NOTHING);
    // 1800 by data 11 is 1745.5: 3.0 % off; ES-100D User's Manual: divisor 58 for 2000 is 0.69 % off.
    assert_eq!(mfp("11"), ["serial-001"]);
    let ace = |low: &str| {
        let low = format!("move.b #{low},$F00001");
        told("ns16450", 1_843_200, &["move.b #$80,$F00007", &low, "move.b #0,$F00003", "move.b #3,$F00007"])
    };
    assert_eq!(ace("58"), NOTHING);
    // 47 for 2400 is 2.1 % off, 32 for 3600 exact; 1.5 % is the limit of longer frames (common practice).
    assert_eq!(ace("47"), ["serial-002"]);
    assert_eq!(ace("63"), ["serial-003"]);
    // SCN2661 product specification, p. 6: 19200 of version C is 19800, 3.1 % off.
    let text = "init\tmove.b\t#$4E,$F00005\n\tmove.b\t#$3F,$F00005\n\tmove.b\t#$27,$F00007\n\trts\n";
    let found = codes(text, Some(&machine("scn2661", 5_068_800, "variant = \"C\"\n")));
    assert_eq!(found, ["serial-005", "serial-001"]);
}

#[test]
fn a_divisor_for_another_clock_is_told_once() {
    let lines = ["move.b #$80,$F00007", "move.b #12,$F00001", "move.b #0,$F00003", "move.b #3,$F00007"];
    // 12 makes 9600 of 1.8432 MHz and 12800 of 2.4576 MHz.
    assert_eq!(told("ns16450", 2_457_600, &lines), ["serial-008"]);
    let model = model(
        "init\tmove.b\t#$80,$F00007\n\tmove.b\t#12,$F00001\n\tmove.b\t#0,$F00003\n\tmove.b\t#3,$F00007\n\trts\n",
        Some(&machine("ns16450", 2_457_600, "")),
    );
    let message = model.findings()[0].message.clone();
    assert!(message.contains("makes 12800.0 bit/s of 2457600 Hz and 9600 of 1843200 Hz"), "{message}");
}

#[test]
fn two_directions_that_differ_are_noted() {
    let lines =
        ["move.b #$10,$F00005", "move.b #2,$F00001", "move.b #7,$F00001", "move.b #$60,$F00003", "move.b #$80,$F00009"];
    assert_eq!(told("mc68681", 3_686_400, &lines), ["serial-004"]);
}

#[test]
fn a_mode_pointer_must_be_set() {
    let rest = ["move.b #$BB,$F00003", "move.b #$80,$F00009"];
    let with = |modes: &[&'static str]| told("mc68681", 3_686_400, &[modes, &rest].concat());
    assert_eq!(with(&["move.b #$13,$F00001", "move.b #7,$F00001"]), ["serial-005"]);
    assert_eq!(with(&["move.b #$10,$F00005", "move.b #$13,$F00001"]), ["serial-006"]);
    let third = ["move.b #$10,$F00005", "move.b #$13,$F00001", "move.b #7,$F00001", "move.b #$13,$F00001"];
    assert_eq!(with(&third), ["serial-005"]);
}

#[test]
fn two_frames_of_one_line_contradict_each_other() {
    let set = |name: &str, mode: &str| {
        format!(
            "{name}\tmove.b\t#$10,$F00005\n\tmove.b\t#{mode},$F00001\n\tmove.b\t#7,$F00001\n\tmove.b\t#$BB,$F00003\n\tmove.b\t#$80,$F00009\n\trts\n"
        )
    };
    let port = machine("mc68681", 3_686_400, "");
    assert_eq!(codes(&(set("cold", "$13") + &set("warm", "$02")), Some(&port)), ["serial-007"]);
    assert_eq!(codes(&(set("cold", "$13") + &set("warm", "$13")), Some(&port)), NOTHING);
}

#[test]
fn accesses_that_a_register_does_not_take_are_told() {
    let duart = |line: &str| told("mc68681", 3_686_400, &[line]);
    // Reading the command register toggles the generator's test mode: SCN2681 product specification, note to table 5.
    assert_eq!(duart("clr.b $F00005"), ["serial-013"]);
    assert_eq!(duart("bset #0,$F00003"), ["serial-013"]);
    assert_eq!(duart("tas $F00001"), ["serial-013"]);
    assert_eq!(duart("st $F0001D"), ["serial-013"]);
    assert_eq!(duart("btst #0,$F00003"), NOTHING);
    assert_eq!(duart("move.b d0,$F00007"), NOTHING);
    // The interrupt vector register is read as it was written.
    assert_eq!(duart("clr.b $F00019"), NOTHING);
    // The even half of the bus, and a word whose low byte reaches the chip.
    assert_eq!(duart("move.b #$20,$F00004"), ["serial-012"]);
    assert_eq!(duart("move.w #$0020,$F00004"), NOTHING);
    let even =
        "[[machine.m.serial]]\nname = \"tty\"\nchip = \"mc6850\"\nat = \"$F00000\"\nstride = 2\nclock = 153_600\n";
    assert_eq!(codes("init\tmove.w\t#$15,$F00000\n\trts\n", Some(even)), ["serial-012"]);
    // What the source calls it counts.
    let names = "SRA\tequ\t$F00003\nCSRA\tequ\t$F00003\n";
    let port = machine("mc68681", 3_686_400, "");
    assert_eq!(codes(&format!("{names}init\tmove.b\t#$BB,SRA\n\trts\n"), Some(&port)), ["serial-009"]);
    assert_eq!(codes(&format!("{names}init\tmove.b\tCSRA,d0\n\trts\n"), Some(&port)), ["serial-009"]);
    assert_eq!(codes(&format!("{names}init\tmove.b\t#$BB,CSRA\n\tmove.b\tSRA,d0\n\trts\n"), Some(&port)), NOTHING);
}

#[test]
fn values_that_a_chip_does_not_allow_are_told() {
    assert_eq!(told("mc6850", 153_600, &["move.b #3,$F00001"]), ["serial-010"]);
    assert_eq!(told("i8251", 153_600, &["move.b #$0E,$F00003", "move.b #$37,$F00003"]), ["serial-010"]);
    // A timer that is stopped: MK68901 data sheet.
    let mfp = ["move.b #0,$F0001D", "move.b #2,$F00025", "move.b #$88,$F00029"];
    assert_eq!(told("mc68901", 2_457_600, &mfp), ["serial-011"]);
}

#[test]
fn the_machine_file_names_chips_that_are_there() {
    let found = |chip: &str, channel: &str| {
        let text =
            format!("[[machine.m.serial]]\nname = \"tty\"\nchip = \"{chip}\"\nat = 1\nchannel = \"{channel}\"\n");
        let model = model("\tnop\n", Some(&text));
        model.findings().iter().map(|it| it.message.clone()).collect::<Vec<_>>()
    };
    assert_eq!(found("mc68681", "a"), NOTHING);
    assert_eq!(found("SCN2681", "B"), NOTHING);
    assert_eq!(found("mc68682", "a"), ["`mc68682` is no serial chip that is known; did you mean `mc68681`?"]);
    assert_eq!(found("mc68681", "c"), ["the mc68681 has no channel `c`; it has a and b"]);
}

#[test]
fn a_constant_of_a_family_that_is_wrong_is_told() {
    // ES-100D User's Manual, figure 22; 69 for 1200 is a slip of the pen for 96.
    let text = "B300\tequ\t384\nB1200\tequ\t69\nB2400\tequ\t48\nB9600\tequ\t12\nB19200\tequ\t6\n";
    assert_eq!(codes(text, None), ["serial-014"]);
}
