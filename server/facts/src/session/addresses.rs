//! What is told of addresses and places on a disk: the memory map, the borders in it, what is started, and the disk's geometry.

use std::ops::Range;

use reveille_program::Place;
use reveille_session::verbs::VerbKind;
use reveille_session::{Interval, Region, RegionKind, Statement, Value};

use super::told::{Told, hex};
use super::world::Around;
use crate::finding::{Edit, Evidence, Fix};

impl Told<'_> {
    /// Where the machine file has a region.
    fn region_at(&self, around: &Around, name: &str) -> Option<Evidence> {
        around.machine.memory.iter().find(|it| it.0.name.value == name).map(|it| it.1)
    }

    pub(super) fn outside(&mut self, around: &Around, statement: &Statement, span: &Range<usize>, address: i64) {
        if around.world.regions.is_empty() {
            return;
        }
        let bus = around.world.on_bus(address);
        let gap = |it: &&Region| if it.range.end <= bus { bus - it.range.end } else { it.range.start - bus };
        let near = around.world.regions.iter().min_by_key(gap);
        let hint = near.map_or_else(String::new, |it| {
            format!("; `{}`, {} to {}, is the nearest part of it", it.name, hex(it.range.start), hex(it.range.end - 1))
        });
        let related = near.and_then(|it| self.region_at(around, &it.name));
        let message = format!("{} is outside of the memory map{hint}", hex(address));
        if let Some(finding) = self.tell("session-005", statement, span, message) {
            finding.related.extend(related.map(|it| (it, "it is here".to_owned())));
        }
    }

    /// A range of addresses that is read or written; whether it has a first and a last.
    pub(super) fn range(
        &mut self,
        around: &Around,
        statement: &Statement,
        span: &Range<usize>,
        bounds: &Range<i64>,
        writes: bool,
    ) -> bool {
        if bounds.start >= bounds.end {
            let message = if bounds.start == bounds.end {
                format!("the range is empty: it starts and ends at {}", hex(bounds.start))
            } else {
                format!(
                    "the range ends at {}, before its start at {}; exchange them",
                    hex(bounds.end),
                    hex(bounds.start)
                )
            };
            self.tell("session-010", statement, span, message);
            return false;
        }
        if around.world.regions.is_empty() {
            return true;
        }
        let last = bounds.end - 1;
        let highest = 1_i64 << around.world.address_bits;
        let (Some(first), Some(end)) = (around.world.region_at(bounds.start), around.world.region_at(last)) else {
            let missing = if around.world.region_at(bounds.start).is_none() { bounds.start } else { last };
            self.outside(around, statement, span, missing);
            return true;
        };
        if bounds.end - bounds.start > highest {
            self.outside(around, statement, span, highest);
            return true;
        }
        if first.name != end.name || self.gap(around, bounds).is_some() {
            self.crosses(around, statement, span, bounds, first, end);
        }
        for region in [first, end].into_iter().take(1 + usize::from(first.name != end.name)) {
            if writes && region.kind == RegionKind::Rom {
                self.rom(around, statement, span, region);
            }
            if !writes && region.kind == RegionKind::Device && region.has_effects {
                let related = self.region_at(around, &region.name);
                let message = format!(
                    "reading `{}` changes its state, and this reads {} to {}; leave it out",
                    region.name,
                    hex(bounds.start),
                    hex(last)
                );
                if let Some(finding) = self.tell("session-007", statement, span, message) {
                    finding.related.extend(related.map(|it| (it, "the machine file says so".to_owned())));
                }
            }
        }
        true
    }

    /// The first region that begins inside of a range and is not that of its start.
    fn gap<'r>(&self, around: &'r Around, bounds: &Range<i64>) -> Option<&'r Region> {
        let first = around.world.region_at(bounds.start)?;
        around
            .world
            .regions
            .iter()
            .find(|it| it.name != first.name && it.range.start > bounds.start && it.range.start < bounds.end)
    }

    fn crosses(
        &mut self,
        around: &Around,
        statement: &Statement,
        span: &Range<usize>,
        bounds: &Range<i64>,
        first: &Region,
        end: &Region,
    ) {
        let border = if around.world.on_bus(bounds.start) < first.range.end && first.range.end < bounds.end {
            first.range.end
        } else {
            self.gap(around, bounds).map_or(bounds.end, |it| it.range.start)
        };
        let message = format!(
            "this crosses from `{}` into `{}` at {}; ask for each by itself",
            first.name,
            if end.name == first.name { "another region" } else { &end.name },
            hex(border)
        );
        let fix = self.split(around, statement, span, bounds, border);
        let related = [&first.name, &end.name].map(|it| self.region_at(around, it));
        if let Some(finding) = self.tell("session-006", statement, span, message) {
            finding.related.extend(related.into_iter().flatten().map(|it| (it, "a region is written here".to_owned())));
            finding.related.dedup();
            finding.fixes.extend(fix);
        }
    }

    /// The statement twice, with the parts of the range on either side of a border.
    fn split(
        &self,
        around: &Around,
        statement: &Statement,
        span: &Range<usize>,
        bounds: &Range<i64>,
        border: i64,
    ) -> Option<Fix> {
        let next = around.world.region_at(border)?;
        if statement.range("range").is_none() || next.range.start != border {
            return None;
        }
        let file = self.model.program().file(*self.files.get(statement.file)?)?;
        let text = file.source().text();
        let (before, behind) = (text.get(statement.span.start..span.start)?, text.get(span.end..statement.span.end)?);
        // A name that the range binds can be bound once; the second part is left without.
        let start = file.source().line_start(statement.line);
        let indent = " ".repeat(statement.span.start.saturating_sub(start));
        let second = match statement.word("as") {
            Some(name) => behind.replacen(&format!("as {}", name.value), &format!("as {}2", name.value), 1),
            None => behind.to_owned(),
        };
        let parts = [(bounds.start, border, behind), (border, bounds.end, &second)];
        let lines: Vec<String> = parts.iter().map(|it| format!("{before}${:X} .. ${:X}{}", it.0, it.1, it.2)).collect();
        let at = self.at_whole(statement, &statement.span)?;
        let edits = vec![Edit { place: at.place, span: at.span, text: lines.join(&format!("\n{indent}")) }];
        Some(Fix { title: format!("Split the range at {}", hex(border)), edits })
    }

    fn rom(&mut self, around: &Around, statement: &Statement, span: &Range<usize>, region: &Region) {
        let related = self.region_at(around, &region.name);
        let message = format!("`{}` is ROM: what is written there is lost; take an address in RAM", region.name);
        if let Some(finding) = self.tell("session-008", statement, span, message) {
            finding.related.extend(related.map(|it| (it, "the machine file says so".to_owned())));
        }
    }

    pub(super) fn even(&mut self, statement: &Statement, at: i64, span: &Range<usize>, width: i64) {
        if width > 1 && at % 2 != 0 {
            let what =
                if statement.verb.kind == VerbKind::Start { "instructions lie" } else { "words and long words lie" };
            let message = format!("{} is odd; {what} at even addresses alone, so this is an address error", hex(at));
            self.tell("session-009", statement, span, message);
        }
    }

    pub(super) fn place(
        &mut self,
        around: &Around,
        statement: &Statement,
        role: &str,
        by_track: bool,
        value: Interval,
        span: &Range<usize>,
    ) {
        let limits = around.world.limits(role, by_track, statement.expression("side").is_some());
        let Some((least, most)) = limits else { return };
        if value.high < least || value.low > most {
            let from = if role == "drive" { "the machine file" } else { "the firmware's own block" };
            let message = format!(
                "the disk has no {role} {}; {from} gives {least} to {most}",
                value.known().map_or_else(|| Value::Number(value).shown(), |it| it.to_string())
            );
            let related = if role == "drive" { around.machine.drives.first().map(|it| it.1) } else { around.disk };
            if let Some(finding) = self.tell("session-012", statement, span, message) {
                finding.related.extend(related.map(|it| (it, "it is written here".to_owned())));
            }
        }
    }

    pub(super) fn nothing_loaded(&mut self, statement: &Statement, at: i64, span: &Range<usize>) {
        let message = format!("nothing was loaded before this starts at {} in RAM; load it first", hex(at));
        self.tell("session-013", statement, span, message);
    }

    pub(super) fn not_loaded(&mut self, statement: &Statement, at: i64, span: &Range<usize>) {
        let message = format!("{} is not where something was loaded; start inside of that", hex(at));
        self.tell("session-014", statement, span, message);
    }

    pub(super) fn start_at_data(&mut self, statement: &Statement, at: i64, span: &Range<usize>, place: Place) {
        let message = format!("{} is data in the source, not an instruction; take a label of code", hex(at));
        let related = Evidence { place, span: reveille_program::definition_span(self.model.program(), place) };
        if let Some(finding) = self.tell("session-015", statement, span, message) {
            finding.related.push((related, "it is laid down here".to_owned()));
        }
    }

    pub(super) fn start_in_device(&mut self, statement: &Statement, span: &Range<usize>, name: &str) {
        let message = format!("`{name}` is a device, where no program lies; take an address in ROM or RAM");
        self.tell("session-015", statement, span, message);
    }
}
