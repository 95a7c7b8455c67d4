//! Accesses to a chip in their order, and what they leave in its registers.

use std::cell::RefCell;
use std::collections::BTreeMap;

use super::{Chip, Register};
use crate::{Formula, Names, Scalar};

/// Where an access goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Port {
    /// The register's number on the chip's address lines.
    pub offset: u32,
    /// The channel, where the address alone does not say it.
    pub channel: Option<usize>,
}

/// What is known of a chip apart from its registers.
#[derive(Clone, Copy, Debug)]
pub struct Outside<'a> {
    /// Its clock in Hz.
    pub clock: u32,
    /// The variant's letter.
    pub variant: Option<&'a str>,
    /// The timer that clocks the line: `c` or `d`.
    pub timer: Option<&'a str>,
}

/// What an access has met.
#[derive(Clone, Copy, Debug)]
pub struct Touched<'c> {
    /// The register.
    pub register: &'c Register,
    /// Its channel; none for what all share.
    pub channel: Option<usize>,
    /// What should have been done before, where that was not: the register may be another one.
    pub unsure: Option<&'c str>,
    /// How many accesses have come through the same pointer since it was set.
    pub since: u32,
}

#[derive(Clone, Copy, Debug)]
struct Pointer {
    value: Option<i64>,
    /// It was set, and not only as the chip's reset leaves it.
    is_set: bool,
    /// Accesses that it has chosen the register of since.
    since: u32,
}

/// Where a field is: its channel, none for shared registers, and its key.
type FieldAt<'c> = (Option<usize>, &'c str);

/// A chip and what was done to it.
#[derive(Clone, Debug)]
pub struct Session<'c> {
    pub(super) chip: &'c Chip,
    /// Values of fields with the tag of the access they came by.
    fields: BTreeMap<FieldAt<'c>, (Option<i64>, usize)>,
    pointers: BTreeMap<(usize, &'c str), Pointer>,
}

impl<'c> Session<'c> {
    /// A chip of which nothing is known but that it has been reset.
    #[must_use]
    pub fn new(chip: &'c Chip) -> Self {
        Self { chip, fields: BTreeMap::new(), pointers: BTreeMap::new() }
    }

    /// A write of a value, or of one that is not known; `tag` names the access. None if nothing can be written there.
    pub fn write(&mut self, port: Port, value: Option<u32>, tag: usize) -> Option<Touched<'c>> {
        let found = self.touched(port, |it| it.can_write);
        let Some(touched) = found else {
            self.lose(port);
            return None;
        };
        self.store(touched.register, touched.channel, value, tag);
        self.step(touched.register, &touched.register.after, touched.channel.or(port.channel), value);
        Some(touched)
    }

    /// A read. None if nothing can be read there.
    pub fn read(&mut self, port: Port) -> Option<Touched<'c>> {
        let touched = self.touched(port, |it| it.can_read)?;
        let register = touched.register;
        let is_pointed = register.when.as_ref().is_some_and(|it| self.is_about_pointer(it));
        // A read of a register with a pointer moves it as a write does, unless its effect depends on the value.
        let after = if is_pointed && register.after_read.is_empty() { &register.after } else { &register.after_read };
        let after = if register.can_write { after } else { &register.after };
        self.step(register, after, touched.channel.or(port.channel), None);
        Some(touched)
    }

    /// A write to a register that is named, whatever its address and state.
    pub fn write_named(&mut self, register: &'c Register, channel: Option<usize>, value: Option<u32>, tag: usize) {
        let channel = if register.is_shared { None } else { channel.or(Some(0)) };
        self.store(register, channel, value, tag);
        self.step(register, &register.after, channel, value);
    }

    fn touched(&mut self, port: Port, can: fn(&Register) -> bool) -> Option<Touched<'c>> {
        let chip = self.chip;
        let holds = |it: &(&'c Register, Option<usize>)| {
            let channel = it.1.or(port.channel);
            it.0.when.as_ref().is_none_or(|when| when.holds(&|name: &str| self.pointer(channel, name)))
        };
        let found = chip.at(port.offset, port.channel).filter(|it| can(it.0)).find(holds)?;
        let channel = found.1.or(port.channel);
        let (mut unsure, mut since) = (None, 0);
        for state in &chip.states {
            let is_chosen = found.0.when.as_ref().is_some_and(|it| it.names().contains(&state.name.as_str()));
            if is_chosen && let Some(reset) = &state.reset {
                let pointer = self.pointer_mut(channel, &state.name, state.start);
                pointer.since += 1;
                since = pointer.since;
                if !pointer.is_set {
                    unsure = Some(reset.as_str());
                }
            }
        }
        Some(Touched { register: found.0, channel: if found.0.is_shared { None } else { channel }, unsure, since })
    }

    fn is_about_pointer(&self, formula: &Formula) -> bool {
        formula.names().iter().any(|name| self.chip.states.iter().any(|it| it.name == *name && it.reset.is_some()))
    }

    fn pointer_mut(&mut self, channel: Option<usize>, name: &'c str, start: i64) -> &mut Pointer {
        let new = Pointer { value: Some(start), is_set: false, since: 0 };
        self.pointers.entry((channel.unwrap_or(0), name)).or_insert(new)
    }

    fn pointer(&self, channel: Option<usize>, name: &str) -> Option<Scalar> {
        let state = self.chip.states.iter().find(|it| it.name == name)?;
        let value = match self.pointers.get(&(channel.unwrap_or(0), name)) {
            Some(pointer) => pointer.value?,
            None => state.start,
        };
        Some(Scalar::Number(value))
    }

    /// Nobody knows which register an access met.
    fn lose(&mut self, port: Port) {
        let chip = self.chip;
        let mut channels: Vec<Option<usize>> = chip.at(port.offset, port.channel).map(|it| it.1).collect();
        channels.dedup();
        for channel in channels {
            for state in &chip.states {
                self.pointer_mut(channel, &state.name, state.start).value = state.lost;
            }
        }
    }

    fn store(&mut self, register: &'c Register, channel: Option<usize>, value: Option<u32>, tag: usize) {
        for field in &register.fields {
            let own = value.map(|it| field.of(it));
            if own.is_none() || own != field.keeps {
                self.fields.insert((channel, field.key.as_str()), (own, tag));
            }
        }
    }

    /// What an access does to the pointers.
    fn step(
        &mut self,
        register: &'c Register,
        after: &'c [(String, Formula)],
        channel: Option<usize>,
        value: Option<u32>,
    ) {
        for (name, formula) in after {
            let Some(state) = self.chip.states.iter().find(|it| it.name == *name) else { continue };
            let uses_itself = RefCell::new(false);
            let names = |asked: &str| {
                if asked == "value" {
                    return Some(Scalar::Number(value?.into()));
                }
                if asked == name.as_str() {
                    *uses_itself.borrow_mut() = true;
                }
                if let Some(found) = self.pointer(channel, asked) {
                    return Some(found);
                }
                let field = register.fields.iter().find(|it| it.key == asked)?;
                Some(Scalar::Number(field.of(value?)))
            };
            let found = formula.number(&names);
            let uses_itself = *uses_itself.borrow();
            let is_own = register.when.as_ref().is_some_and(|it| it.names().contains(&name.as_str()));
            let pointer = self.pointer_mut(channel, &state.name, state.start);
            pointer.value = found.or(state.lost);
            if !uses_itself && !is_own && found.is_some() {
                pointer.is_set = true;
                pointer.since = 0;
            }
        }
    }

    /// The value of a name in the formulas of a line, with the tags of the accesses it depends on put into `used`.
    pub(super) fn names<'a>(
        &'a self,
        channel: usize,
        side: Option<usize>,
        outside: &'a Outside<'a>,
        used: &'a RefCell<Vec<usize>>,
    ) -> Scope<'a, 'c> {
        Scope { session: self, channel, side, outside, used }
    }

    /// Whether anything that a line's settings depend on was written in a channel.
    #[must_use]
    pub fn has_fields(&self, channel: usize) -> bool {
        self.fields.keys().any(|it| it.0 == Some(channel))
    }
}

/// Names of a line's formulas.
pub(super) struct Scope<'a, 'c> {
    session: &'a Session<'c>,
    channel: usize,
    side: Option<usize>,
    outside: &'a Outside<'a>,
    used: &'a RefCell<Vec<usize>>,
}

impl Names for Scope<'_, '_> {
    fn value(&self, name: &str) -> Option<Scalar> {
        let chip = self.session.chip;
        match name {
            "variant" => return self.outside.variant.map(|it| Scalar::Text(it.to_owned())),
            "timer" => return self.outside.timer.map(|it| Scalar::Text(it.to_owned())),
            _ => (),
        }
        if let Some(list) = chip.lists.iter().find(|it| it.0 == name) {
            return Some(Scalar::List(list.1.clone()));
        }
        let formulas = self.side.into_iter().flat_map(|side| &chip.sides[side]).chain(&chip.derived);
        if let Some((_, formula)) = formulas.into_iter().find(|it| it.0 == name) {
            // A formula of a side may have the name of a field that it is made of.
            return formula.value(self);
        }
        let fields = &self.session.fields;
        let (value, tag) = fields.get(&(Some(self.channel), name)).or_else(|| fields.get(&(None, name)))?;
        let value = (*value)?;
        let mut used = self.used.borrow_mut();
        if !used.contains(tag) {
            used.push(*tag);
        }
        Some(Scalar::Number(value))
    }
}
