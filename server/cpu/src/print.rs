//! An instruction as text, in Motorola syntax.

use std::fmt::{self, Display, Formatter};

use crate::decode::Decoded;
use crate::table::{CONDITIONS, Family, Slot};
use crate::{CONTROL_REGISTERS, Kind, Operand, Size};

impl Decoded {
    /// The instruction's name with its condition, without its size.
    #[must_use]
    pub fn name(&self) -> String {
        match self.instruction.family {
            Family::Single => self.instruction.name.to_owned(),
            Family::Conditions(_) => {
                let stem = self.instruction.name.trim_end_matches("cc");
                format!("{stem}{}", CONDITIONS[usize::from(self.condition & 15)].name)
            }
        }
    }

    /// The operands as text, without the name.
    #[must_use]
    pub fn operands_text(&self) -> String {
        let texts = self.operands.iter().zip(&self.form.slots).filter(|(_, slot)| **slot != Slot::None);
        let texts: Vec<_> = texts.map(|(operand, slot)| operand_text(operand, *slot, self.size)).collect();
        texts.join(",")
    }
}

impl Display for Decoded {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name())?;
        if !self.form.sizes.is_empty() {
            write!(f, ".{}", self.size.letter())?;
        }
        let operands = self.operands_text();
        if operands.is_empty() { Ok(()) } else { write!(f, " {operands}") }
    }
}

/// `$1F`, `-$4`, and small numbers in decimal.
fn number(value: i64) -> String {
    match value {
        -9..=9 => value.to_string(),
        value if value < 0 => format!("-${:X}", -value),
        value => format!("${value:X}"),
    }
}

fn register(prefix: char, number: u8) -> String {
    match (prefix, number) {
        ('a', 7) => "sp".into(),
        _ => format!("{prefix}{number}"),
    }
}

fn operand_text(operand: &Operand, slot: Slot, size: Size) -> String {
    let address = register('a', operand.register);
    let index = || {
        let prefix = if operand.index.is_address { 'a' } else { 'd' };
        let size = if operand.index.is_long { 'l' } else { 'w' };
        format!("{}.{size}", register(prefix, operand.index.number))
    };
    let value = operand.value;
    match operand.kind {
        Kind::Data | Kind::Address if matches!(slot, Slot::List | Slot::ListBackwards) => {
            register(if operand.kind == Kind::Data { 'd' } else { 'a' }, operand.register)
        }
        Kind::Data => register('d', operand.register),
        Kind::Address => address,
        Kind::Indirect => format!("({address})"),
        Kind::PostIncrement => format!("({address})+"),
        Kind::PreDecrement => format!("-({address})"),
        Kind::Displacement => format!("{}({address})", number(value)),
        Kind::Index => format!("{}({address},{})", number(value), index()),
        Kind::AbsoluteShort => format!("${value:X}.w"),
        Kind::AbsoluteLong => format!("${value:X}.l"),
        Kind::PcDisplacement => format!("${:X}(pc)", value & 0xffff_ffff),
        Kind::PcIndex => format!("${:X}(pc,{})", value & 0xffff_ffff, index()),
        Kind::Immediate => match slot {
            Slot::Constant | Slot::Ea(_) => {
                let digits = 2 * size.bytes() as usize;
                if value <= 9 { format!("#{}", number(value)) } else { format!("#${value:0digits$X}") }
            }
            _ => format!("#{}", number(value)),
        },
        Kind::Target => format!("${:X}", value & 0xffff_ffff),
        Kind::List => list_text(value as u16),
        Kind::Status => "sr".into(),
        Kind::Conditions => "ccr".into(),
        Kind::UserStack => "usp".into(),
        Kind::Control => CONTROL_REGISTERS.get(usize::from(operand.register)).map_or("", |it| it.0).into(),
    }
}

/// `d0-d3/a0`; a list of nothing is `#0`.
fn list_text(list: u16) -> String {
    let mut parts = Vec::new();
    for (prefix, byte) in [('d', list as u8), ('a', (list >> 8) as u8)] {
        let mut at = 0;
        while at < 8 {
            if byte >> at & 1 == 0 {
                at += 1;
                continue;
            }
            let first = at;
            while at < 7 && byte >> (at + 1) & 1 == 1 {
                at += 1;
            }
            let names = (format!("{prefix}{first}"), format!("{prefix}{at}"));
            parts.push(if first == at { names.0 } else { format!("{}-{}", names.0, names.1) });
            at += 1;
        }
    }
    if parts.is_empty() { "#0".into() } else { parts.join("/") }
}
