//! Published examples and every legal setting of each chip, by named registers and by address. The facts' tests do the same through sources.

use reveille_fixture::serial_settings;
use serde::Deserialize;

use super::{Chip, Line, Outside, Port, Session, chip, chips, nearest_standard};
use crate::Formula;

#[derive(Deserialize)]
struct Examples {
    example: Vec<Example>,
}

#[derive(Deserialize)]
#[allow(dead_code, reason = "people read the sources")]
struct Example {
    chip: String,
    source: String,
    variant: Option<String>,
    clock: u32,
    channel: String,
    writes: Vec<(String, u32)>,
    data: i64,
    parity: String,
    stop: f64,
    rx: f64,
    tx: f64,
    nominal: Option<f64>,
    error: Option<f64>,
    flow: Option<String>,
    rts: Option<String>,
    dtr: Option<String>,
    irq: Option<String>,
}

fn examples() -> Vec<Example> {
    toml::from_str::<Examples>(include_str!("../../tests/data/serial.toml")).unwrap().example
}

/// The line after writes to named registers.
fn by_name(chip: &'static Chip, channel: usize, writes: &[(&str, u32)], outside: &Outside<'_>) -> Line {
    let mut session = Session::new(chip);
    for (at, (register, value)) in writes.iter().enumerate() {
        session.write_named(chip.register(register).unwrap(), Some(channel), Some(*value), at);
    }
    session.line(channel, outside)
}

/// The line after writes to the addresses of the registers, with whatever chooses between those of one address.
fn by_address(chip: &'static Chip, channel: usize, writes: &[(&str, u32)], outside: &Outside<'_>) -> Line {
    let mut session = Session::new(chip);
    for (at, (register, value)) in writes.iter().enumerate() {
        let register = chip.register(register).unwrap();
        let own = |it: &&(Option<usize>, u32)| it.0.is_none() || it.0 == Some(channel);
        let (_, offset) = *register.places.iter().find(own).unwrap();
        let port = Port { offset, channel: chip.own_bases.then_some(channel) };
        if let Some(index) = register.index {
            session.write(port, Some(index), 100 + at).unwrap();
        }
        let touched = session.write(port, Some(*value), at).unwrap();
        assert_eq!(touched.register.name, register.name, "{}: {writes:?}", chip.name);
    }
    session.line(channel, outside)
}

#[test]
fn published_examples_are_decoded() {
    let examples = examples();
    assert_eq!(examples.len(), 29);
    for it in &examples {
        let chip = chip(&it.chip).unwrap();
        let channel = chip.channel(&it.channel).unwrap();
        let outside = Outside { clock: it.clock, variant: it.variant.as_deref(), timer: None };
        let writes: Vec<(&str, u32)> = it.writes.iter().map(|it| (it.0.as_str(), it.1)).collect();
        for line in [by_name(chip, channel, &writes, &outside), by_address(chip, channel, &writes, &outside)] {
            let what = format!("{} {:?}", it.chip, it.writes);
            assert_eq!(line.data.as_ref().unwrap().value, it.data, "{what}");
            assert_eq!(line.parity.as_ref().unwrap().value, it.parity, "{what}");
            assert_eq!(line.stop().unwrap(), it.stop, "{what}");
            for (rate, expected) in [(&line.rx, it.rx), (&line.tx, it.tx)] {
                let rate = rate.as_ref().unwrap_or_else(|| panic!("{what}"));
                assert!((rate.exact.unwrap() / expected - 1.0).abs() < 1e-5, "{what}: {rate:?}");
                if let Some(error) = it.error.filter(|_| it.nominal.is_some()) {
                    assert_eq!(rate.nominal, it.nominal, "{what}");
                    assert!((rate.error().unwrap() - error).abs() < 0.001, "{what}: {rate:?}");
                }
            }
            if let Some(flow) = &it.flow {
                assert!(line.flow.iter().any(|own| own.value == *flow), "{what}: {:?}", line.flow);
            }
            for (own, expected) in [(&line.rts, &it.rts), (&line.dtr, &it.dtr), (&line.irq, &it.irq)] {
                if expected.is_some() {
                    assert_eq!(own.as_ref().map(|it| &it.value), expected.as_ref(), "{what}");
                }
            }
        }
    }
}

#[test]
fn every_setting_of_every_chip_comes_back() {
    let settings = serial_settings();
    assert!(settings.len() > 15_000, "{}", settings.len());
    for it in settings {
        let chip = chip(it.chip).unwrap();
        let outside = Outside { clock: it.clock, variant: it.variant, timer: None };
        for channel in 0..chip.channels.len() {
            for line in [by_name(chip, channel, &it.writes, &outside), by_address(chip, channel, &it.writes, &outside)]
            {
                assert_eq!(line.data.as_ref().map(|it| it.value), Some(it.data), "{it:?}");
                assert_eq!(line.data_rx.as_ref().map_or(it.data, |it| it.value), it.data, "{it:?}");
                assert_eq!(line.parity.as_ref().map(|it| it.value.as_str()), Some(it.parity), "{it:?}");
                assert_eq!(line.stop_16.as_ref().map(|it| it.value), Some(it.stop_16), "{it:?}");
                for rate in [&line.rx, &line.tx] {
                    let exact = rate.as_ref().and_then(|it| it.exact).unwrap_or_else(|| panic!("{it:?}"));
                    assert!((exact / it.rate - 1.0).abs() < 1e-5, "{it:?}: {exact}");
                }
            }
        }
    }
}

#[test]
fn every_part_names_the_writes_that_decided_it() {
    let chip = chip("mc68681").unwrap();
    let writes = [("CR", 0x10), ("MR1", 0x93), ("MR2", 0x17), ("CSR", 0xbb), ("ACR", 0x80), ("CR", 5)];
    let line = by_name(chip, 0, &writes, &Outside { clock: 3_686_400, variant: None, timer: None });
    assert_eq!(line.data.as_ref().unwrap().tags, [1]);
    assert_eq!(line.parity.as_ref().unwrap().tags, [1]);
    // Seven sixteenths mean half a bit more with five data bits, so the mode has its part in the stop bits.
    assert_eq!(line.stop_16.as_ref().unwrap().tags, [1, 2]);
    assert_eq!(line.rx.as_ref().unwrap().tags, [3, 4]);
    assert_eq!(line.receiver.as_ref().unwrap().tags, [5]);
    let flow: Vec<_> = line.flow.iter().map(|it| (it.value.as_str(), it.tags.as_slice())).collect();
    assert_eq!(flow, [("receiver RTS", [1].as_slice()), ("CTS", [2].as_slice())]);
    assert_eq!(line.words().unwrap(), "9600 8N1");
}

/// The mode pointer: SCN2681 product specification (from memory). A write without the command before is not sure to meet MR1.
#[test]
fn a_pointer_that_was_not_set_is_told_of() {
    let chip = chip("mc68681").unwrap();
    let mut session = Session::new(chip);
    let mode = Port { offset: 0, channel: None };
    let first = session.write(mode, Some(0x13), 0).unwrap();
    assert_eq!((first.register.name.as_str(), first.unsure), ("MR1", Some("command $10 to CR")));
    session.write(Port { offset: 2, channel: None }, Some(0x10), 1).unwrap();
    for (at, name) in ["MR1", "MR2", "MR2"].into_iter().enumerate() {
        let touched = session.write(mode, Some(0x13), 2).unwrap();
        assert_eq!((touched.register.name.as_str(), touched.unsure, touched.since), (name, None, at as u32 + 1));
    }
    // Reading the command register sets that of a 2661 back.
    let mut session = Session::new(super::chip("2661").unwrap());
    session.write(Port { offset: 2, channel: None }, Some(0x4e), 0).unwrap();
    session.read(Port { offset: 3, channel: None }).unwrap();
    let touched = session.write(Port { offset: 2, channel: None }, Some(0x4e), 1).unwrap();
    assert_eq!((touched.register.name.as_str(), touched.unsure), ("MR1", None));
}

/// The blind reset of an 8251 from an unknown state: a posting of 1987.
#[test]
fn zeros_and_a_reset_command_lead_to_the_mode() {
    let chip = chip("8251").unwrap();
    let mut session = Session::new(chip);
    for (at, value) in [0, 0, 0, 0x40, 0x4e, 0x37].into_iter().enumerate() {
        session.write(Port { offset: 1, channel: None }, Some(value), at).unwrap();
    }
    let line = session.line(0, &Outside { clock: 153_600, variant: None, timer: None });
    assert_eq!(line.words().unwrap(), "9600 8N1");
    assert_eq!(line.data.unwrap().tags, [4]);
}

#[test]
fn unknown_values_leave_their_settings_unknown() {
    let chip = chip("mc68681").unwrap();
    let mut session = Session::new(chip);
    session.write_named(chip.register("MR1").unwrap(), Some(0), Some(0x13), 0);
    session.write_named(chip.register("MR1").unwrap(), Some(0), None, 1);
    session.write_named(chip.register("MR2").unwrap(), Some(0), Some(7), 2);
    let line = session.line(0, &Outside { clock: 3_686_400, variant: None, timer: None });
    assert!(line.data.is_none() && line.parity.is_none() && line.words().is_none());
    assert_eq!(line.stop(), Some(1.0));
}

#[test]
fn names_of_sources_mean_registers() {
    let named = |part: &str, name: &str| {
        let found = chip(part).unwrap().register_named(name);
        found.map(|it| (it.0.name.clone(), it.1))
    };
    let is = |name: &str, channel: Option<usize>| Some((name.to_owned(), channel));
    assert_eq!(named("mc68681", "MR1A"), is("MR1", Some(0)));
    assert_eq!(named("mc68681", "duart_csr_b"), is("CSR", Some(1)));
    assert_eq!(named("mc68681", "DUACR"), is("ACR", None));
    assert_eq!(named("mc68681", "ACR"), is("ACR", None));
    assert_eq!(named("mc68681", "CRA"), is("CR", Some(0)));
    assert_eq!(named("mc68681", "SCRATCH"), None);
    assert_eq!(named("mc6850", "ACIACR"), is("CR", None));
    assert_eq!(named("mc6850", "ACIA_STATUS"), is("SR", None));
    assert_eq!(named("z8530", "SCCWR4A"), is("WR4", Some(0)));
    assert_eq!(named("mc68901", "MFP_UCR"), is("UCR", None));
    assert_eq!(named("scn2661", "PCIMODE"), is("MR1", None));
    assert_eq!(named("i8251", "USART_CMD"), is("COMMAND", None));
    assert!(chip("SCN2681AC1N28").is_some() && chip("8253").is_none());
    assert_eq!(chip("2661").unwrap().variant("2661C").map(|it| it.name.as_str()), Some("C"));
}

/// Standard rates and their nearness: common practice, no source.
#[test]
fn a_rate_is_near_a_standard_one_or_none() {
    assert_eq!(nearest_standard(9615.4), Some(9600.0));
    assert_eq!(nearest_standard(3840.0), Some(3600.0));
    assert_eq!(nearest_standard(7812.5), None);
    assert_eq!(nearest_standard(109.92), Some(110.0));
}

/// Every formula of every chip asks for names that are there, and every word of a field belongs to a value that it can have.
#[test]
fn the_files_agree_with_themselves() {
    for chip in chips() {
        let fields: Vec<&str> = chip.registers.iter().flat_map(|it| &it.fields).map(|it| it.key.as_str()).collect();
        let is_known = |name: &str| {
            fields.contains(&name)
                || chip.lists.iter().any(|it| it.0 == name)
                || chip.derived.iter().any(|it| it.0 == name)
                || chip.states.iter().any(|it| it.name == name)
                || chip.sides.iter().all(|side| side.iter().any(|it| it.0 == name))
                || matches!(name, "value" | "variant" | "timer")
        };
        let formulas = chip.line.iter().chain(&chip.derived).chain(chip.sides.iter().flatten()).map(|it| &it.1);
        let rates = chip
            .rates
            .iter()
            .flat_map(|it| [Some(&it.when), it.divide.as_ref(), it.nominal.as_ref(), it.wrong.as_ref()]);
        let notes = chip.flow.iter().chain(&chip.notes).chain(&chip.wrong).map(|it| &it.when);
        let registers = chip
            .registers
            .iter()
            .flat_map(|it| it.when.iter().chain(it.after.iter().chain(&it.after_read).map(|it| &it.1)));
        let constants = chip.rate_constants.iter().map(|it| &it.divide);
        let all: Vec<&Formula> =
            formulas.chain(constants).chain(rates.flatten()).chain(notes).chain(registers).collect();
        for formula in all {
            for name in formula.names() {
                assert!(is_known(name), "{}: `{name}` in `{}`", chip.name, formula.text());
            }
        }
        for line in &chip.line {
            let known = ["data", "data_rx", "parity", "stop", "rts", "dtr", "irq", "receiver", "transmitter"];
            assert!(known.contains(&line.0.as_str()), "{}: `{}` of the line", chip.name, line.0);
        }
        for register in &chip.registers {
            assert!(register.can_read || register.can_write, "{} {}", chip.name, register.name);
            for field in &register.fields {
                let most = 1_usize << field.width;
                assert!(field.values.is_empty() || field.values.len() == most, "{} {}", chip.name, field.key);
            }
        }
    }
}
