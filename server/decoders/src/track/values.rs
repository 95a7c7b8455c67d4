//! What formulas can ask of a track.

use super::{Budget, Encoding, controller, data_rate, gap3, raw_bytes, sector_bytes, size_code};
use crate::Scalar;

/// What is known of a drive, its controller and a track; nothing has to be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Setup<'a> {
    /// How bits are recorded.
    pub encoding: Option<Encoding>,
    /// Data bits a second.
    pub data_rate: Option<u32>,
    /// Turns a minute.
    pub rpm: Option<u32>,
    /// Sectors a track.
    pub sectors: Option<u32>,
    /// Bytes a sector.
    pub sector_bytes: Option<u32>,
    /// Bytes of gap 3 that the firmware writes.
    pub gap3: Option<u32>,
    /// The size code N that the firmware writes.
    pub size_code: Option<u8>,
    /// The medium as standard formats name it, as in `3.5 in`.
    pub medium: Option<&'a str>,
    /// The controller's name.
    pub controller: Option<&'a str>,
    /// The controller's clock in Hz; without it, the one that goes with the data rate.
    pub clock: Option<u32>,
    /// The step code that the firmware gives the controller.
    pub step_code: Option<u8>,
    /// The shortest time of the drive from one cylinder to the next, in ms.
    pub drive_step: Option<u32>,
}

/// The values for formulas that follow from a setup. A name is there only if all that it needs is known:
///
/// | name | what it is |
/// |---|---|
/// | `encoding` | `FM` or `MFM` |
/// | `data_rate`, `rpm` | data bits a second, turns a minute |
/// | `rate_is_usual` | 1 if some usual drive has this encoding, data rate and speed |
/// | `raw` | bytes of a turn |
/// | `unsafe_min`, `datasheet_min`, `standard` | lengths of the track, see [`Budget`] |
/// | `gap3_left`, `gap3_left_at_least` | the longest gap 3, see [`Budget`] |
/// | `track_verdict` | [`super::Verdict::name`] |
/// | `gap3` | what the firmware writes |
/// | `gap3_least` | the shortest gap 3 of the data sheet |
/// | `gap3_read_write`, `gap3_format` | the table's values for this medium and track |
/// | `size_code`, `size_code_expected` | what the firmware writes, and what its sectors need |
/// | `size_code_bytes` | the bytes that the firmware's size code stands for |
/// | `step_ms`, `drive_step_ms` | the time that the firmware's step code stands for, and the shortest of the drive |
#[must_use]
pub fn values(setup: &Setup<'_>) -> Vec<(String, Scalar)> {
    let mut found = Vec::new();
    let mut number = |name: &str, value: Option<i64>| {
        if let Some(value) = value {
            found.push((name.to_owned(), Scalar::Number(value)));
        }
    };
    let raw = setup.data_rate.zip(setup.rpm).and_then(|(rate, rpm)| raw_bytes(rate, rpm));
    let pair = setup.encoding.zip(setup.data_rate.zip(setup.rpm));
    let usual = pair.map(|(encoding, (rate, rpm))| data_rate(encoding, rate, rpm));
    number("data_rate", setup.data_rate.map(i64::from));
    number("rpm", setup.rpm.map(i64::from));
    number("rate_is_usual", usual.map(|it| i64::from(it.is_some())));
    number("raw", raw.map(i64::from));

    let is_perpendicular = usual.flatten().is_some_and(|it| it.perpendicular);
    let track = setup.encoding.zip(setup.sectors.zip(setup.sector_bytes));
    let budget = track
        .zip(raw)
        .and_then(|((encoding, (sectors, bytes)), raw)| Budget::new(encoding, sectors, bytes, raw, is_perpendicular));
    number("unsafe_min", budget.map(|it| it.unsafe_min));
    number("datasheet_min", budget.map(|it| it.datasheet_min));
    number("standard", budget.and_then(|it| it.standard));
    number("gap3_left", budget.map(|it| it.gap3_left));
    number("gap3_left_at_least", budget.map(|it| it.gap3_left_at_least));
    number("gap3", setup.gap3.map(i64::from));
    number("gap3_least", setup.encoding.map(|it| i64::from(it.layout().least_gap3())));
    let row = track.zip(setup.medium);
    let row = row.and_then(|((encoding, (sectors, bytes)), medium)| gap3(encoding, medium, bytes, sectors));
    number("gap3_read_write", row.map(|it| i64::from(it.read_write)));
    number("gap3_format", row.map(|it| i64::from(it.format)));

    let chip = setup.controller.and_then(controller);
    let code_bytes = |code| match chip {
        Some(chip) => chip.sector_bytes(code, false),
        None => sector_bytes(code),
    };
    number("size_code", setup.size_code.map(i64::from));
    number("size_code_expected", setup.sector_bytes.and_then(size_code).map(i64::from));
    number("size_code_bytes", setup.size_code.and_then(code_bytes).map(i64::from));

    let usual_clock = || chip?.usual_clock(setup.encoding?, setup.data_rate?);
    let clock = setup.clock.or_else(usual_clock);
    let step = chip.zip(setup.step_code).and_then(|(chip, code)| chip.step_time(clock, code));
    number("step_ms", step.map(i64::from));
    number("drive_step_ms", setup.drive_step.map(i64::from));

    let mut text = |name: &str, value: Option<&str>| {
        if let Some(value) = value {
            found.push((name.to_owned(), Scalar::Text(value.to_owned())));
        }
    };
    text("encoding", setup.encoding.map(Encoding::name));
    text("track_verdict", budget.map(|it| it.verdict.name()));
    found
}
