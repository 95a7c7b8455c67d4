//! Layouts of parameter blocks, and the values that bytes have in one.

mod file;

use serde::Deserialize;

use crate::{Formula, Names, Scalar};

pub use file::{Example, FieldText, LayoutError, LayoutText, ValuesText, layout, layouts};

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
    /// A number whose bits each say something.
    Bits,
    /// Characters.
    Text,
}

/// One field of a layout.
#[derive(Clone, Debug)]
pub struct Field {
    /// Its name in formulas, facts and sessions.
    pub name: String,
    /// Its length in bytes.
    pub bytes: usize,
    /// What it says, in a few words.
    pub meaning: String,
    /// What its bytes are.
    pub kind: FieldKind,
    /// What it counts.
    pub unit: Option<String>,
    /// The lowest plausible value: tells a block from other bytes.
    pub min: Option<i64>,
    /// The highest plausible value.
    pub max: Option<i64>,
    /// The plausible values, where they are few.
    pub values: Option<Vec<i64>>,
    /// What some values mean.
    pub words: Vec<(i64, String)>,
    /// The plausible values are powers of two.
    pub power_of_two: bool,
    /// The only value it should have.
    pub must: Option<i64>,
    /// Whether a block of this layout can be told by this field: it is part of the test by shape.
    pub core: bool,
    /// Where it starts in the block.
    pub offset: usize,
    /// The field that repeats, where this is one of its rows: all rows together are a list of that name.
    pub list: Option<String>,
}

impl Field {
    /// Whether some values are plausible and others are not.
    #[must_use]
    pub fn is_bounded(&self) -> bool {
        self.min.is_some() || self.max.is_some() || self.values.is_some() || self.power_of_two || self.must.is_some()
    }

    /// A value as people read it: a code in hex, bits in binary, a number with its meaning if it has one.
    #[must_use]
    pub fn shown(&self, value: &Scalar) -> String {
        match value {
            Scalar::Text(text) => format!("'{text}'"),
            Scalar::List(list) => list.iter().map(i64::to_string).collect::<Vec<_>>().join(" "),
            Scalar::Number(number) => match self.kind {
                FieldKind::Code => format!("${number:0width$X}", width = 2 * self.bytes.min(4)),
                FieldKind::Bits => format!("%{number:0width$b}", width = 8 * self.bytes.min(4)),
                FieldKind::Number | FieldKind::Text => match self.words.iter().find(|it| it.0 == *number) {
                    Some((_, word)) => format!("{number} ({word})"),
                    None => number.to_string(),
                },
            },
        }
    }

    /// What would be plausible, for people: `1 to 63`, `0, 1 or 3`.
    #[must_use]
    pub fn expected(&self) -> String {
        if let Some(must) = self.must {
            return must.to_string();
        }
        if let Some(values) = &self.values {
            let shown = values.iter().map(|it| match self.words.iter().find(|word| word.0 == *it) {
                Some((_, word)) => format!("{it} ({word})"),
                None if self.kind == FieldKind::Code => format!("${it:02X}"),
                None => it.to_string(),
            });
            let mut shown: Vec<String> = shown.collect();
            let last = shown.pop().unwrap_or_default();
            return if shown.is_empty() { last } else { format!("{} or {last}", shown.join(", ")) };
        }
        let range = match (self.min, self.max) {
            (Some(min), Some(max)) => format!("{min} to {max}"),
            (Some(min), None) => format!("{min} or more"),
            (None, Some(max)) => format!("{max} at most"),
            (None, None) => String::new(),
        };
        match (self.power_of_two, range.is_empty()) {
            (true, true) => "a power of two".to_owned(),
            (true, false) => format!("a power of two, {range}"),
            _ => range,
        }
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

/// How often the fields of a layout stand behind each other, where it is a list of rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rows {
    /// The fewest rows.
    pub least: usize,
    /// The most rows.
    pub most: usize,
}

/// The layout of a parameter block.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Its name, as `@block` and sessions use it.
    pub name: String,
    /// Other names it answers to.
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
    /// What holds between the fields of every such block, besides that each is plausible.
    pub shape: Option<Formula>,
    /// What holds even where such a block has a slip: where it does not, words are not enough to make it one.
    pub near: Option<Formula>,
    /// Words of labels and comments that speak of just this layout.
    pub words: Vec<String>,
    /// Whether shape alone is too little to tell such a block: its words have to be there.
    pub needs_words: bool,
    /// Its fields in order; those of the layout it extends first. Of a list of rows, those of one row.
    pub fields: Vec<Field>,
    /// How often the fields stand behind each other; none for a block of fixed length.
    pub rows: Option<Rows>,
    /// Labels that carry it: of blocks that a user describes.
    pub labels: Vec<String>,
    /// How many such blocks stand in a row, where that is known.
    pub entries: Option<usize>,
    /// What has to hold: of blocks that a user describes.
    pub rules: Vec<Formula>,
    /// Worked examples, which the tests hold it to.
    pub examples: Vec<Example>,
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

    /// Whether it is a name of it.
    #[must_use]
    pub fn is_called(&self, name: &str) -> bool {
        self.name.eq_ignore_ascii_case(name) || self.also.iter().any(|other| other.eq_ignore_ascii_case(name))
    }

    /// Whether some fields tell it by its shape.
    #[must_use]
    pub fn has_core(&self) -> bool {
        self.fields.iter().any(|it| it.core)
    }

    /// Whether it starts with all fields of another.
    #[must_use]
    pub fn extends(&self, other: &Self) -> bool {
        let starts = |(own, it): (&Field, &Field)| own.name == it.name;
        self.fields.len() > other.fields.len() && self.fields.iter().zip(&other.fields).all(starts)
    }

    /// The field whose rows it lists, if it is a list of rows with a number of them.
    #[must_use]
    pub fn rows_of(&self) -> Option<&str> {
        self.fields.first()?.list.as_deref()
    }

    /// A list of rows as a block of `bytes` bytes: each row's fields with their number behind the name. None where the rows do not fit, or
    /// are fewer or more than such a list has; a layout of fixed length has no rows.
    #[must_use]
    pub fn with_rows(&self, bytes: usize) -> Option<Self> {
        let rows = self.rows?;
        let count = bytes.checked_div(self.len()).filter(|it| it * self.len() == bytes)?;
        if !(rows.least..=rows.most).contains(&count) {
            return None;
        }
        let field = |row: usize, field: &Field| Field {
            name: format!("{}_{row}", field.name),
            meaning: format!("{} {row}", field.meaning),
            offset: field.offset + row * self.len(),
            list: Some(field.name.clone()),
            ..field.clone()
        };
        let fields = (0..count).flat_map(|row| self.fields.iter().map(move |it| field(row, it))).collect();
        Some(Self { fields, rows: None, ..self.clone() })
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
            FieldKind::Number | FieldKind::Code | FieldKind::Bits => {
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

    /// The numbers of a field that repeats, if all are known.
    #[must_use]
    pub fn list(&self, name: &str) -> Option<Vec<i64>> {
        let fields = self.layout.fields.iter().filter(|it| it.list.as_deref() == Some(name));
        let list: Option<Vec<i64>> = fields.map(|it| self.value(it)?.number()).collect();
        list.filter(|it| !it.is_empty())
    }

    /// How many fields can be plausible or not, and how many of them are.
    #[must_use]
    pub fn score(&self) -> (usize, usize) {
        let fields = self.layout.fields.iter().filter(|field| field.is_bounded());
        let values = fields.filter_map(|field| Some((field, self.value(field)?.number()?)));
        values.fold((0, 0), |(all, good), (field, value)| (all + 1, good + usize::from(field.is_plausible(value))))
    }

    /// Whether the fields of the test by shape are all plausible, as far as the bytes reach, and what holds between fields does.
    #[must_use]
    pub fn has_shape(&self) -> bool {
        let core = self.layout.fields.iter().filter(|field| field.core);
        let mut values = core.filter_map(|field| Some((field, self.value(field)?.number()?))).peekable();
        values.peek().is_some()
            && values.all(|(field, value)| field.is_plausible(value))
            && self.layout.shape.as_ref().is_none_or(|it| it.number(self) != Some(0))
    }

    /// Whether it is so far from the layout that words cannot make it one.
    #[must_use]
    pub fn is_far(&self) -> bool {
        self.layout.near.as_ref().is_some_and(|it| !it.holds(self))
    }

    /// Whether every byte is the same filler.
    #[must_use]
    pub fn is_template(&self) -> bool {
        !self.bytes.is_empty()
            && (self.bytes.iter().all(|byte| *byte == 0) || self.bytes.iter().all(|byte| *byte == 0xff))
    }
}

impl Names for Block<'_> {
    fn value(&self, name: &str) -> Option<Scalar> {
        match self.layout.field(name) {
            Some(field) => Block::value(self, field),
            None => self.list(name).map(Scalar::List),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{layout, layouts};

    #[test]
    fn every_layout_reads_its_examples() {
        for own in layouts() {
            assert!(!own.examples.is_empty(), "{} has no example", own.name);
            for example in &own.examples {
                let hex: String = example.bytes.split_whitespace().collect();
                let bytes: Vec<u8> =
                    (0..hex.len() / 2).map(|at| u8::from_str_radix(&hex[at * 2..at * 2 + 2], 16).unwrap()).collect();
                let layout = own.with_rows(bytes.len()).unwrap_or_else(|| own.as_ref().clone());
                assert_eq!(bytes.len(), layout.len(), "{}", layout.name);
                let block = layout.decode(&bytes);
                for (name, value) in &example.values {
                    assert_eq!(block.number(name), Some(*value), "{} {name}, {}", layout.name, example.source);
                }
                let (all, good) = block.score();
                assert!(!layout.has_core() || block.has_shape(), "{}", layout.name);
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
