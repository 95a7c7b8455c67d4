//! Data and address lines that are stuck or exchanged: what a dump looks like through them.

use super::align::Fit;
use super::cause::{Cause, CauseKind, Chip, Fault, Sureness};
use super::diff::{Diff, Lane};
use super::dump::Reading;
use super::source::{SourceImage, UNKNOWN};

/// As many bytes must differ before lines are blamed.
const LEAST: usize = 8;

/// Data lines: by what all differing bytes have in common.
pub(super) fn data_lines(diff: &Diff) -> Vec<Cause> {
    let faults = diff.lanes.map(|it| data_fault(&it));
    let cause = |chip, fault| Cause::new(Sureness::Likely, CauseKind::DataLines { chip, fault });
    match faults {
        [Some(even), Some(odd)] if even == odd => vec![cause(None, even)],
        [even, odd] => {
            let chips = [(Chip::Even, even), (Chip::Odd, odd)];
            chips.into_iter().filter_map(|(chip, fault)| Some(cause(Some(chip), fault?))).collect()
        }
    }
}

fn data_fault(lane: &Lane) -> Option<Fault> {
    if lane.differ < LEAST {
        return None;
    }
    let is_two = lane.any.count_ones() == 2 && lane.any == lane.all;
    if lane.set_somewhere & lane.any == 0 || lane.set_everywhere & lane.any == lane.any {
        // All bits at once: the dump is blank.
        let is_high = lane.set_everywhere & lane.any == lane.any;
        return (lane.any != 0xff).then_some(Fault::Stuck { lines: lane.any.into(), is_high });
    }
    is_two.then(|| Fault::Exchanged { low: lane.any.trailing_zeros(), high: 7 - lane.any.leading_zeros() })
}

/// So many places are looked at before a fault of address lines is tried on all.
const SAMPLES: usize = 512;

/// Address lines: whether each byte is the one that the source has at the address that the chip then sees.
pub(super) fn address_lines(source: &SourceImage, reading: &Reading, fit: &Fit, diff: &Diff) -> Vec<Cause> {
    let compared: usize = diff.lanes.iter().map(|it| it.compared).sum();
    let differ: usize = diff.lanes.iter().map(|it| it.differ).sum();
    if fit.segments.len() > 1 || differ * 20 < compared || differ < LEAST {
        return Vec::new();
    }
    let view = View { source, reading, base: fit.base() };
    let of = |chip: Option<Chip>| {
        let fault = view.fault(chip)?;
        Some(Cause::new(Sureness::Likely, CauseKind::AddressLines { chip, fault }))
    };
    if let Some(both) = of(None) {
        return vec![both];
    }
    let lane = |chip: Chip, at: usize| (diff.lanes[at].differ >= LEAST).then(|| of(Some(chip))).flatten();
    [lane(Chip::Even, 0), lane(Chip::Odd, 1)].into_iter().flatten().collect()
}

struct View<'a> {
    source: &'a SourceImage,
    reading: &'a Reading,
    base: i64,
}

impl View<'_> {
    fn fault(&self, chip: Option<Chip>) -> Option<Fault> {
        let bits = usize::BITS - self.reading.cells.len().saturating_sub(1).leading_zeros();
        // In a chip of a pair line 0 is bit 1 of the address.
        let lowest = u32::from(chip.is_some());
        let stuck =
            (lowest..bits).flat_map(|line| [false, true].map(|is_high| Fault::Stuck { lines: 1 << line, is_high }));
        let exchanged = (lowest..bits).flat_map(|low| (low + 1..bits).map(move |high| Fault::Exchanged { low, high }));
        let found = stuck
            .chain(exchanged)
            .find(|fault| self.explains(chip, *fault, SAMPLES) && self.explains(chip, *fault, usize::MAX))?;
        // As the chip counts its lines.
        Some(match found {
            Fault::Stuck { lines, is_high } => Fault::Stuck { lines: lines >> lowest, is_high },
            Fault::Exchanged { low, high } => Fault::Exchanged { low: low - lowest, high: high - lowest },
        })
    }

    /// Whether a fault explains nearly all bytes of a chip at up to `most` places, many of which differ without it.
    fn explains(&self, chip: Option<Chip>, fault: Fault, most: usize) -> bool {
        let len = self.reading.cells.len();
        let step = (len / most.min(len).max(1)).max(1);
        // An odd step meets both chips.
        let step = if step > 1 { step | 1 } else { 1 };
        let (mut looked_at, mut explained, mut changed) = (0_usize, 0_usize, 0_usize);
        for at in (0..len).step_by(step) {
            if chip.is_some_and(|it| it != Chip::of(at as i64)) {
                continue;
            }
            let seen = through(fault, at);
            let own = self.source.cell(self.base + seen as i64);
            let plain = self.source.cell(self.base + at as i64);
            let dumped = self.reading.cells[at];
            if own >= UNKNOWN || plain >= UNKNOWN || dumped >= UNKNOWN {
                continue;
            }
            looked_at += 1;
            explained += usize::from(own == dumped);
            changed += usize::from(plain != dumped);
        }
        looked_at >= 32 && changed >= 4 && explained * 200 >= looked_at * 199
    }
}

/// The address that a chip sees.
fn through(fault: Fault, address: usize) -> usize {
    match fault {
        Fault::Stuck { lines, is_high: true } => address | lines as usize,
        Fault::Stuck { lines, is_high: false } => address & !(lines as usize),
        Fault::Exchanged { low, high } => {
            let is_other = (address >> low ^ address >> high) & 1 == 1;
            if is_other { address ^ (1 << low | 1 << high) } else { address }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Fault, through};

    #[test]
    fn a_chip_sees_another_address_through_lines_at_fault() {
        assert_eq!(through(Fault::Stuck { lines: 4, is_high: true }, 0b0011), 0b0111);
        assert_eq!(through(Fault::Stuck { lines: 1, is_high: false }, 0b0011), 0b0010);
        assert_eq!(through(Fault::Exchanged { low: 0, high: 3 }, 0b0011), 0b1010);
        assert_eq!(through(Fault::Exchanged { low: 0, high: 3 }, 0b1001), 0b1001);
    }
}
