//! What serial lines are set to, decoded through sources: published examples and every setting of every chip, as code, tables and constants.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod findings;
mod recognition;

use std::path::PathBuf;

use reveille_decoders::serial::{Chip, chip};
use reveille_facts::{LineFact, Model};
use reveille_fixture::{SerialSetting, some_serial_settings};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};
use serde::Deserialize;

/// The model of a source, with a machine file beside it if there is one.
pub(crate) fn model(text: &str, machine: Option<&str>) -> Model {
    let mut program = Program::new();
    let mut files = vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))];
    files.extend(machine.map(|it| (PathBuf::from("reveille.toml"), Content::Beside(File::new(it, None)))));
    program.set_files(files);
    Model::new(program, &[], None)
}

/// Lines as `name: words (form)`.
pub(crate) fn lines(text: &str, machine: Option<&str>) -> Vec<String> {
    model(text, machine).lines().map(|it| format!("{}: {} ({})", it.name, it.words(), it.form.name())).collect()
}

pub(crate) fn codes(text: &str, machine: Option<&str>) -> Vec<String> {
    model(text, machine).findings().iter().map(|it| it.code.to_owned()).collect()
}

/// The base address that the sources of these tests have.
const BASE: i64 = 0x00f0_0001;

/// What is to be set, and what it is then.
struct Case {
    chip: &'static Chip,
    clock: u32,
    variant: Option<String>,
    channel: usize,
    writes: Vec<(String, u32)>,
}

impl Case {
    /// Where a register is, and what has to be written to the same address before.
    fn place(&self, register: &str) -> (i64, Option<u32>) {
        let register = self.chip.register(register).unwrap();
        let own = |it: &&(Option<usize>, u32)| it.0.is_none() || it.0 == Some(self.channel);
        let (_, offset) = register.places.iter().find(own).unwrap();
        (self.stride() * i64::from(*offset), register.index)
    }

    fn stride(&self) -> i64 {
        if self.chip.register_bytes == 2 { 1 } else { 2 }
    }

    fn base(&self) -> i64 {
        if self.chip.register_bytes == 2 { BASE - 1 } else { BASE }
    }

    fn letter(&self) -> &str {
        &self.chip.channels[self.channel]
    }

    /// Addresses and values in order, with those that only point.
    fn steps(&self) -> Vec<(i64, u32)> {
        let mut steps = Vec::new();
        for (register, value) in &self.writes {
            let (place, index) = self.place(register);
            steps.extend(index.map(|it| (place, it)));
            steps.push((place, *value));
        }
        steps
    }

    fn machine(&self) -> String {
        let variant = self.variant.as_ref().map_or_else(String::new, |it| format!("variant = \"{it}\"\n"));
        format!(
            "[[machine.m.serial]]\nname = \"console\"\nchip = \"{}\"\nat = {}\nstride = {}\nchannel = \"{}\"\nclock = {}\n{variant}",
            self.chip.name,
            self.base(),
            self.stride(),
            self.letter(),
            self.clock
        )
    }

    fn size(&self) -> &'static str {
        if self.chip.register_bytes == 2 { "w" } else { "b" }
    }

    /// `move.b #value,address` by numbers.
    fn by_numbers(&self) -> String {
        let size = self.size();
        let one = |(place, value): (i64, u32)| format!("\tmove.{size}\t#${value:X},${:X}\n", self.base() + place);
        format!("init\n{}\trts\n", self.steps().into_iter().map(one).collect::<String>())
    }

    /// A register that has the address, and distances from it; values come by way of a data register now and then.
    fn by_distances(&self) -> String {
        let size = self.size();
        let mut text = format!("init\tlea\t${:X},a2\n", self.base());
        for (at, (place, value)) in self.steps().into_iter().enumerate() {
            let there = if place == 0 { "(a2)".to_owned() } else { format!("{place}(a2)") };
            text += &match at % 3 {
                1 if size == "b" => format!("\tmove.w\t#${value:X},d1\n\tmove.b\td1,{there}\n"),
                2 if value < 0x80 => format!("\tmoveq\t#{value},d0\n\tmove.{size}\td0,{there}\n"),
                _ => format!("\tmove.{size}\t#${value:X},{there}\n"),
            };
            if at == 1 {
                text += "wait\tbtst\t#0,$80000\n\tbeq.s\twait\n";
            }
        }
        text + "\trts\n"
    }

    /// Pairs of register number and value, with our mark.
    fn as_pairs(&self) -> String {
        let one = |(register, value): &(String, u32)| {
            let register = self.chip.register(register).unwrap();
            let (place, index) = self.place(&register.name);
            format!("\tdc.{}\t{},${value:X}\n", self.size(), index.map_or(place, i64::from))
        };
        let pairs: String = self.writes.iter().map(one).collect();
        format!("settab\t\t\t\t* @chip {}.{}\n{pairs}\teven\n", self.chip.name, self.letter())
    }

    /// Pairs of address and value.
    fn as_addresses(&self) -> String {
        let one = |(place, value): (i64, u32)| format!("\tdc.l\t${:X},${value:X}\n", self.base() + place);
        format!("serial_init\n{}\tdc.l\t-1\n", self.steps().into_iter().map(one).collect::<String>())
    }

    /// Names of the registers, as the chip's data sheet has them, with the chip's word and the channel's letter.
    fn name(&self, register: &str) -> String {
        let register = self.chip.register(register).unwrap();
        let letter = if self.chip.channels.len() > 1 && !register.is_shared { self.letter() } else { "" };
        format!("{}_{}{}", self.chip.words[0], register.name, letter).to_uppercase()
    }

    /// `move.b #value,NAME`, with no machine file.
    fn by_names(&self) -> String {
        let mut text = String::new();
        let part = self.variant.as_ref().map_or_else(|| self.chip.also[0].clone(), |it| format!("2661{it}"));
        let note = format!("{part}, {} Hz", self.clock);
        let mut names: Vec<(String, i64)> =
            self.writes.iter().map(|it| (self.name(&it.0), self.place(&it.0).0)).collect();
        names.push((self.name(&self.chip.registers.iter().find(|it| it.can_read).unwrap().name), {
            let register = self.chip.registers.iter().find(|it| it.can_read).unwrap();
            self.place(&register.name).0
        }));
        names.sort();
        names.dedup();
        for (name, place) in &names {
            text += &format!("{name}\tequ\t${:X}\t\t{note}\n", self.base() + place);
        }
        text += "init\n";
        for (register, value) in &self.writes {
            text += &format!("\tmove.{}\t#${value:X},{}\n", self.size(), self.name(register));
        }
        text + "\trts\n"
    }

    /// `NAME_INIT equ value`: of each register the last value.
    fn as_constants(&self) -> String {
        let mut last: Vec<(String, u32)> = Vec::new();
        for (register, value) in &self.writes {
            let name = format!("{}_INIT", self.name(register));
            last.retain(|it| it.0 != name);
            last.push((name, *value));
        }
        last.iter().map(|(name, value)| format!("{name}\tequ\t${value:X}\n")).collect()
    }

    /// Each form with what stands beside it, as name, source and machine file.
    fn forms(&self) -> Vec<(&'static str, String, Option<String>)> {
        let machine = || Some(self.machine());
        let mut all = vec![
            ("numbers", self.by_numbers(), machine()),
            ("distances", self.by_distances(), machine()),
            ("pairs", self.as_pairs(), machine()),
            ("addresses", self.as_addresses(), machine()),
            ("constants", self.as_constants(), machine()),
        ];
        if !self.chip.own_bases {
            all.push(("names", self.by_names(), None));
        }
        all
    }
}

fn only_line(name: &str, text: &str, machine: Option<&str>, channel: usize) -> LineFact {
    let model = model(text, machine);
    let found: Vec<&LineFact> = model.lines().filter(|it| it.channel == channel).collect();
    assert_eq!(
        found.len(),
        1,
        "{name}: {:?}\n{text}\n{machine:?}",
        found.iter().map(|it| it.words()).collect::<Vec<_>>()
    );
    let line = found[0].clone();
    // Every part names a line that it was read from.
    for at in line.evidence(&line.line.tags()) {
        assert!(model.program().file(at.place.file).is_some() && !at.span.is_empty(), "{name}");
    }
    line
}

#[derive(Deserialize)]
struct Examples {
    example: Vec<Example>,
}

/// An example; who published it stands in the file.
#[derive(Deserialize)]
struct Example {
    chip: String,
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
}

#[test]
fn published_examples_are_decoded_from_sources() {
    let examples: Examples = toml::from_str(include_str!("../../../decoders/tests/data/serial.toml")).unwrap();
    assert_eq!(examples.example.len(), 29);
    for it in examples.example {
        let chip = chip(&it.chip).unwrap();
        let channel = chip.channel(&it.channel).unwrap();
        let case = Case { chip, clock: it.clock, variant: it.variant.clone(), channel, writes: it.writes.clone() };
        for (name, text, machine) in case.forms() {
            let found = only_line(name, &text, machine.as_deref(), channel);
            let line = &found.line;
            assert_eq!(line.data.as_ref().unwrap().value, it.data, "{name}\n{text}");
            assert_eq!(line.parity.as_ref().unwrap().value, it.parity, "{name}\n{text}");
            assert_eq!(line.stop().unwrap(), it.stop, "{name}\n{text}");
            for (rate, expected) in [(&line.rx, it.rx), (&line.tx, it.tx)] {
                let rate = rate.as_ref().unwrap();
                assert!((rate.exact.unwrap() / expected - 1.0).abs() < 1e-5, "{name}: {rate:?}\n{text}");
                if let (Some(nominal), Some(error)) = (it.nominal, it.error) {
                    assert_eq!(rate.nominal, Some(nominal), "{name}\n{text}");
                    assert!((rate.error().unwrap() - error).abs() < 0.001, "{name}\n{text}");
                }
            }
        }
    }
}

#[test]
fn every_framing_and_rate_comes_back_from_sources() {
    let settings = some_serial_settings();
    assert!(settings.len() > 700, "{}", settings.len());
    for (at, it) in settings.iter().enumerate() {
        let SerialSetting { data, parity, stop_16, rate, .. } = it;
        let chip = chip(it.chip).unwrap();
        let channel = at % chip.channels.len();
        let writes = it.writes.iter().map(|it| (it.0.to_owned(), it.1)).collect();
        let case = Case { chip, clock: it.clock, variant: it.variant.map(str::to_owned), channel, writes };
        for (name, text, machine) in case.forms() {
            let found = only_line(name, &text, machine.as_deref(), channel);
            let line = &found.line;
            assert_eq!(line.data.as_ref().map(|it| it.value), Some(*data), "{name}\n{text}");
            assert_eq!(line.parity.as_ref().map(|it| it.value.as_str()), Some(*parity), "{name}\n{text}");
            assert_eq!(line.stop_16.as_ref().map(|it| it.value), Some(*stop_16), "{name}\n{text}");
            for own in [&line.rx, &line.tx] {
                let exact = own.as_ref().and_then(|it| it.exact).unwrap_or_else(|| panic!("{name}\n{text}"));
                assert!((exact / rate - 1.0).abs() < 1e-5, "{name}: {exact}\n{text}");
            }
        }
    }
}
