//! What the firmware's source says to a session: names, bytes at addresses, fields of blocks.

use std::sync::OnceLock;

use reveille_decoders::{Block as Decoded, Layout, Names as _, Scalar, Values, family};
use reveille_program::{Definition, DefinitionKind, Unit};
use reveille_session::{Block, Interval, Source, Value};

use super::diagnose::FirmwareText;
use crate::image::{BootName, boot_names_of};
use crate::model::Model;
use crate::rom::SourceImage;

/// Names that a message lists at most.
pub(super) const MOST_NAMES: usize = 8;

/// The units of a script's machine.
#[derive(Debug)]
pub(crate) struct Firmware {
    pub(super) model: Model,
    /// The units, by their places in the analysis.
    pub(super) units: Vec<usize>,
    /// What they lay down: made when a byte is asked for.
    images: OnceLock<Vec<SourceImage>>,
    /// The texts that they have: made when one is asked for.
    pub(super) texts: OnceLock<Vec<FirmwareText>>,
    /// The machine file, for the layouts that it has.
    pub(super) machine: std::sync::Arc<crate::Machine>,
}

impl Firmware {
    pub(crate) fn new(model: &Model, units: Vec<usize>, machine: std::sync::Arc<crate::Machine>) -> Self {
        Self { model: model.without_sessions(), units, images: OnceLock::new(), texts: OnceLock::new(), machine }
    }

    pub(super) fn units(&self) -> impl Iterator<Item = &Unit> {
        let all = self.model.analysis().units().enumerate();
        all.filter(|it| self.units.contains(&it.0)).map(|it| it.1)
    }

    /// What the units lay down, with the unit of each.
    pub(super) fn images(&self) -> impl Iterator<Item = (&Unit, &SourceImage)> {
        let make = || self.units().map(|unit| SourceImage::new(self.model.program(), unit)).collect();
        self.units().zip(self.images.get_or_init(make))
    }

    /// What defines a name: a label or a constant with a value.
    pub(super) fn definition(&self, name: &str) -> Option<(&Unit, &Definition, i64)> {
        self.units().find_map(|unit| {
            let found = unit.find(self.model.program(), name)?;
            if matches!(found.kind, DefinitionKind::Macro | DefinitionKind::Text | DefinitionKind::RegisterName) {
                return None;
            }
            Some((unit, found, unit.absolute(found.value)?))
        })
    }

    /// The layout of a block: the one that it names, or that of the block that the source has at its address.
    pub(super) fn layout(&self, block: &Block) -> Result<std::sync::Arc<Layout>, String> {
        if let Some(name) = &block.layout {
            let found = self.machine.layouts.iter().find(|it| it.is_called(name));
            return found.cloned().ok_or_else(|| format!("nobody knows the layout `{name}`"));
        }
        let own = block.address.and_then(|address| {
            let is_here = |unit: &Unit, value| unit.absolute(value) == Some(address);
            self.model.blocks().find(|it| self.units().any(|unit| is_here(unit, it.address)))
        });
        own.map(|it| it.layout.clone()).ok_or_else(|| {
            "no layout is known for this block; name one behind `dump` by `using`, as in `using fat-block-19`"
                .to_owned()
        })
    }

    /// The names of the fields that blocks of a layout have.
    pub(super) fn field_names(layout: &Layout) -> Vec<String> {
        Self::field_meanings(layout).into_iter().map(|it| it.0).collect()
    }

    /// The fields that blocks of a layout have, and what each says.
    fn field_meanings(layout: &Layout) -> Vec<(String, String)> {
        let mut all: Vec<_> = layout.fields.iter().map(|it| (it.name.clone(), it.meaning.clone())).collect();
        let derived = family(&layout.family).into_iter().flat_map(|it| &it.derived);
        let derived = derived.filter(|it| !it.name.starts_with("legal_") && !it.name.starts_with("identifier_"));
        all.extend(derived.map(|it| (it.name.clone(), it.meaning.clone().unwrap_or_default())));
        all
    }
}

impl Source for Firmware {
    fn name(&self, name: &str) -> Option<i64> {
        self.definition(name).map(|it| it.2)
    }

    fn byte(&self, address: i64) -> Option<u8> {
        self.images().find_map(|it| it.1.byte(address))
    }

    fn boot_file(&self) -> Option<String> {
        boot_names_of(self.model.program(), self.units()).first().map(BootName::shown)
    }

    fn fields(&self, block: &Block) -> Vec<(String, String)> {
        self.layout(block).map(|it| Self::field_meanings(&it)).unwrap_or_default()
    }

    fn field(&self, block: &Block, name: &str) -> Result<Value, String> {
        let layout = self.layout(block)?;
        let length = layout.len();
        if block.bytes.len() < length {
            return Err(format!("the block has {} bytes; `{}` needs {length}", block.bytes.len(), layout.name));
        }
        let own = &block.bytes[..length];
        let bytes: Vec<u8> = own.iter().map(|it| it.unwrap_or(0)).collect();
        let holes: Vec<usize> = own.iter().enumerate().filter(|it| it.1.is_none()).map(|it| it.0).collect();
        let decoded: Decoded<'_> = layout.decode_with_holes(&bytes, &holes);
        let value = match family(&layout.family) {
            Some(family) => {
                let values = Values::new(family, &decoded, &[]);
                values
                    .value(name)
                    .or_else(|| if name == "cylinders" { values.value("cylinders_of_block") } else { None })
            }
            None => layout.field(name).and_then(|it| decoded.value(it)),
        };
        match value {
            Some(Scalar::Number(it)) => Ok(Value::Number(Interval::exactly(it))),
            Some(Scalar::Text(it)) => Ok(Value::Text(it)),
            Some(_) => Ok(Value::Unknown),
            None => {
                // What is not known yet has its field's limits.
                if let Some(field) = layout.field(name) {
                    let bits = 8 * u32::try_from(field.bytes).unwrap_or(8).min(7);
                    return Ok(Value::Number(Interval { low: 0, high: (1 << bits) - 1 }));
                }
                let names = Self::field_names(&layout);
                if name == "cylinders" || names.iter().any(|it| it == name) {
                    return if holes.is_empty() {
                        Err(format!("`{name}` cannot be worked out from these bytes: some of them are not plausible"))
                    } else {
                        Ok(Value::Unknown)
                    };
                }
                let near = reveille_machine::nearest(name, names.iter().map(String::as_str));
                let hint = near.map_or_else(
                    || {
                        let shown: Vec<String> = names.iter().take(MOST_NAMES).map(|it| format!("`{it}`")).collect();
                        let more = if names.len() > MOST_NAMES { " and more" } else { "" };
                        format!("it has {}{more}", shown.join(", "))
                    },
                    |it| format!("did you mean `{it}`?"),
                );
                Err(format!("`{}` has no `{name}`; {hint}", layout.name))
            }
        }
    }
}
