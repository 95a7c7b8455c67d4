//! Layouts of parameter blocks, and the values that bytes have in one.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use crate::Scalar;

/// The order of the bytes of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Endian {
    /// Least significant byte first.
    Little,
    /// Most significant byte first.
    Big,
}

/// What the bytes of a field are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FieldKind {
    /// A number without sign.
    #[default]
    Number,
    /// A number that is better read in hex: an identifier, a signature.
    Code,
    /// Characters.
    Text,
}

/// One field of a layout.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// Its name in formulas, facts and sessions.
    pub name: String,
    /// Its length in bytes.
    pub bytes: usize,
    /// What it says, in a few words.
    pub meaning: String,
    /// What its bytes are.
    #[serde(default)]
    pub kind: FieldKind,
    /// What it counts.
    pub unit: Option<String>,
    /// The lowest plausible value: tells a block from other bytes.
    pub min: Option<i64>,
    /// The highest plausible value.
    pub max: Option<i64>,
    /// The plausible values, where they are few.
    pub values: Option<Vec<i64>>,
    /// The plausible values are powers of two.
    #[serde(default)]
    pub power_of_two: bool,
    /// The only value it should have.
    pub must: Option<i64>,
    /// Whether a block of this layout can be told by this field: it is part of the test by shape.
    #[serde(default)]
    pub core: bool,
    /// Where it starts in the block.
    #[serde(skip)]
    pub offset: usize,
}

impl Field {
    /// Whether some values are plausible and others are not.
    #[must_use]
    pub fn is_bounded(&self) -> bool {
        self.min.is_some() || self.max.is_some() || self.values.is_some() || self.power_of_two || self.must.is_some()
    }

    /// Whether a value is one that such a field has in a block.
    #[must_use]
    pub fn is_plausible(&self, value: i64) -> bool {
        self.min.is_none_or(|min| value >= min)
            && self.max.is_none_or(|max| value <= max)
            && self.values.as_ref().is_none_or(|values| values.contains(&value))
            && self.must.is_none_or(|must| value == must)
            && (!self.power_of_two || u64::try_from(value).is_ok_and(u64::is_power_of_two))
    }
}

/// The layout of a parameter block.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Layout {
    /// Its name, as `@block` and sessions use it.
    pub name: String,
    /// Other names it answers to.
    #[serde(default)]
    pub also: Vec<String>,
    /// What it is, in a few words.
    pub title: String,
    /// The family whose rules it follows.
    pub family: String,
    /// The order of the bytes of its fields.
    pub endian: Endian,
    /// The address must be a multiple of this.
    pub alignment: u32,
    /// The published source.
    pub source: String,
    /// The layout whose fields it starts with.
    extends: Option<String>,
    /// Its fields in order; those of the layout it extends first.
    #[serde(rename = "field")]
    pub fields: Vec<Field>,
    /// Worked examples, which the tests hold it to.
    #[serde(default, rename = "example")]
    pub examples: Vec<Example>,
}

/// A worked example of a layout.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Example {
    /// The bytes in hex.
    pub bytes: String,
    /// Values of fields.
    pub values: BTreeMap<String, i64>,
    /// Where it is from.
    pub source: String,
}

/// Bytes read in a layout. Fields that the bytes do not reach are not there.
#[derive(Clone, Copy, Debug)]
pub struct Block<'a> {
    layout: &'a Layout,
    bytes: &'a [u8],
    /// Places of bytes that are not known.
    holes: &'a [usize],
}

impl Layout {
    /// Its length in bytes.
    #[must_use]
    pub fn len(&self) -> usize {
        self.fields.last().map_or(0, |field| field.offset + field.bytes)
    }

    /// Whether it has no fields.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.fields.is_empty()
    }

    /// A field by its name.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields.iter().find(|field| field.name == name)
    }

    /// Reads bytes in this layout; they may be fewer than its length.
    #[must_use]
    pub fn decode<'a>(&'a self, bytes: &'a [u8]) -> Block<'a> {
        self.decode_with_holes(bytes, &[])
    }

    /// Reads bytes of which some are not known. A field with such a byte has no value.
    #[must_use]
    pub fn decode_with_holes<'a>(&'a self, bytes: &'a [u8], holes: &'a [usize]) -> Block<'a> {
        Block { layout: self, bytes, holes }
    }

    /// The bytes of a value of a field.
    #[must_use]
    pub fn encode(&self, field: &Field, value: i64) -> Vec<u8> {
        let mut bytes = value.to_le_bytes()[..field.bytes.min(8)].to_vec();
        if self.endian == Endian::Big {
            bytes.reverse();
        }
        bytes
    }

    /// The bytes with every number of more than one byte turned round.
    #[must_use]
    pub fn swapped(&self, bytes: &[u8]) -> Vec<u8> {
        let mut bytes = bytes.to_vec();
        for field in self.fields.iter().filter(|field| field.bytes > 1 && field.kind != FieldKind::Text) {
            if let Some(bytes) = bytes.get_mut(field.offset..field.offset + field.bytes) {
                bytes.reverse();
            }
        }
        bytes
    }
}

impl<'a> Block<'a> {
    /// The layout.
    #[must_use]
    pub fn layout(&self) -> &'a Layout {
        self.layout
    }

    /// The bytes.
    #[must_use]
    pub fn bytes(&self) -> &'a [u8] {
        self.bytes
    }

    /// The value of a field.
    #[must_use]
    pub fn value(&self, field: &Field) -> Option<Scalar> {
        let range = field.offset..field.offset + field.bytes;
        if self.holes.iter().any(|hole| range.contains(hole)) {
            return None;
        }
        let bytes = self.bytes.get(range)?;
        Some(match field.kind {
            FieldKind::Text => Scalar::Text(bytes.iter().map(|byte| char::from(*byte)).collect()),
            FieldKind::Number | FieldKind::Code => {
                let number = |sum: i64, byte: &u8| sum << 8 | i64::from(*byte);
                Scalar::Number(match self.layout.endian {
                    Endian::Little => bytes.iter().rev().fold(0, number),
                    Endian::Big => bytes.iter().fold(0, number),
                })
            }
        })
    }

    /// The number of a field by its name.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<i64> {
        self.value(self.layout.field(name)?)?.number()
    }

    /// How many fields can be plausible or not, and how many of them are.
    #[must_use]
    pub fn score(&self) -> (usize, usize) {
        let fields = self.layout.fields.iter().filter(|field| field.is_bounded());
        let values = fields.filter_map(|field| Some((field, self.value(field)?.number()?)));
        values.fold((0, 0), |(all, good), (field, value)| (all + 1, good + usize::from(field.is_plausible(value))))
    }

    /// Whether the fields of the test by shape are all plausible, as far as the bytes reach.
    #[must_use]
    pub fn has_shape(&self) -> bool {
        let core = self.layout.fields.iter().filter(|field| field.core);
        let mut values = core.filter_map(|field| Some((field, self.value(field)?.number()?))).peekable();
        values.peek().is_some() && values.all(|(field, value)| field.is_plausible(value))
    }

    /// Whether every byte is the same filler.
    #[must_use]
    pub fn is_template(&self) -> bool {
        !self.bytes.is_empty()
            && (self.bytes.iter().all(|byte| *byte == 0) || self.bytes.iter().all(|byte| *byte == 0xff))
    }
}

/// The layouts, shortest of each family first. One file each: adding one is adding its file here, and its examples are its test.
const FILES: &[&str] = &[
    include_str!("../blocks/fat-block-13.toml"),
    include_str!("../blocks/fat-block-19.toml"),
    include_str!("../blocks/fat-block-25.toml"),
    include_str!("../blocks/fat-block-51.toml"),
];

static LAYOUTS: LazyLock<Vec<Layout>> = LazyLock::new(|| {
    let mut layouts: Vec<Layout> = Vec::new();
    for text in FILES {
        // The files are part of the program; the test below reads each.
        let mut layout: Layout = toml::from_str(text).unwrap_or_else(|error| panic!("{error}"));
        if let Some(base) = layout.extends.as_ref().and_then(|name| layouts.iter().find(|it| it.name == *name)) {
            layout.fields.splice(0..0, base.fields.iter().cloned());
        }
        let mut offset = 0;
        for field in &mut layout.fields {
            field.offset = offset;
            offset += field.bytes;
        }
        layouts.push(layout);
    }
    layouts
});

/// All layouts.
#[must_use]
pub fn layouts() -> &'static [Layout] {
    &LAYOUTS
}

/// A layout by its name.
#[must_use]
pub fn layout(name: &str) -> Option<&'static Layout> {
    let is_it = |it: &&Layout| {
        it.name.eq_ignore_ascii_case(name) || it.also.iter().any(|other| other.eq_ignore_ascii_case(name))
    };
    LAYOUTS.iter().find(is_it)
}

#[cfg(test)]
mod tests {
    use super::{layout, layouts};

    #[test]
    fn every_layout_reads_its_examples() {
        for layout in layouts() {
            assert!(!layout.examples.is_empty(), "{} has no example", layout.name);
            for example in &layout.examples {
                let hex: String = example.bytes.split_whitespace().collect();
                let bytes: Vec<u8> =
                    (0..hex.len() / 2).map(|at| u8::from_str_radix(&hex[at * 2..at * 2 + 2], 16).unwrap()).collect();
                assert_eq!(bytes.len(), layout.len(), "{}", layout.name);
                let block = layout.decode(&bytes);
                for (name, value) in &example.values {
                    assert_eq!(block.number(name), Some(*value), "{} {name}, {}", layout.name, example.source);
                }
                let (all, good) = block.score();
                assert!(block.has_shape());
                assert_eq!(all, good, "{}: the example is not told by its shape", layout.name);
            }
        }
    }

    /// Offsets in the boot sector: *FAT: General Overview of On-Disk Format* 1.03, table Boot Sector and BPB, minus 11.
    #[test]
    fn fields_lie_where_the_specification_puts_them() {
        let offset = |name: &str, field: &str| layout(name).unwrap().field(field).unwrap().offset;
        for name in ["fat-block-13", "fat-block-19", "bpb25", "fat-block-51"] {
            assert_eq!(offset(name, "total_sectors"), 19 - 11);
            assert_eq!(offset(name, "sectors_per_fat"), 22 - 11);
        }
        assert_eq!(offset("fat-block-19", "hidden_sectors"), 28 - 11);
        assert_eq!(offset("fat-block-25", "total_sectors_32"), 32 - 11);
        assert_eq!(offset("fat-block-51", "volume_id"), 39 - 11);
        assert_eq!(offset("fat-block-51", "file_system_type"), 54 - 11);
        for (name, len) in [("fat-block-13", 13), ("fat-block-19", 19), ("fat-block-25", 25), ("fat-block-51", 51)] {
            assert_eq!(layout(name).unwrap().len(), len);
        }
    }

    proptest::proptest! {
        #[test]
        fn any_bytes_are_read_without_a_panic(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..60)) {
            for layout in layouts() {
                let block = layout.decode(&bytes);
                let _ = (block.score(), block.is_template(), layout.swapped(&bytes));
                for field in &layout.fields {
                    let value = block.value(field);
                    assert_eq!(value.is_some(), field.offset + field.bytes <= bytes.len());
                    if let Some(number) = value.and_then(|it| it.number()) {
                        assert_eq!(layout.encode(field, number), bytes[field.offset..field.offset + field.bytes]);
                    }
                }
            }
        }
    }
}
