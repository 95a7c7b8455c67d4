//! What an expression can be: exactly known while a session runs, with limits while it is only checked.

/// A number, or what is known of it: it is none below `low` and none above `high`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Interval {
    /// The lowest that it can be.
    pub low: i64,
    /// The highest that it can be.
    pub high: i64,
}

impl Interval {
    /// Nothing is known.
    pub const ANY: Self = Self { low: i64::MIN, high: i64::MAX };
    /// A byte that is not known.
    pub const BYTE: Self = Self { low: 0, high: 255 };
    /// A comparison that is not decided.
    pub const TRUTH: Self = Self { low: 0, high: 1 };

    /// A number that is known.
    #[must_use]
    pub fn exactly(value: i64) -> Self {
        Self { low: value, high: value }
    }

    /// The number, if it is known.
    #[must_use]
    pub fn known(self) -> Option<i64> {
        (self.low == self.high).then_some(self.low)
    }
}

/// Bytes of the machine's memory, or a reply.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Block {
    /// Where the first byte lies, if that is known and means something.
    pub address: Option<i64>,
    /// The bytes; those that are not known are none.
    pub bytes: Vec<Option<u8>>,
    /// The layout that was named for it.
    pub layout: Option<String>,
    /// What a reply was read as: names of groups with what they matched; none while a session is only checked.
    pub groups: Vec<(String, Option<String>)>,
}

impl Block {
    /// All bytes, if all are known.
    #[must_use]
    pub fn known(&self) -> Option<Vec<u8>> {
        self.bytes.iter().copied().collect()
    }

    /// A part of it; none if it is not inside.
    #[must_use]
    pub fn slice(&self, from: i64, length: i64) -> Option<Self> {
        let start = usize::try_from(from).ok()?;
        let end = start.checked_add(usize::try_from(length).ok()?)?;
        let bytes = self.bytes.get(start..end)?.to_vec();
        Some(Self { address: self.address.map(|it| it + from), bytes, layout: self.layout.clone(), groups: Vec::new() })
    }
}

/// The value of an expression.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// A number.
    Number(Interval),
    /// A text.
    Text(String),
    /// Bytes.
    Block(Block),
    /// Something that is known only while the session runs.
    Unknown,
}

impl Value {
    /// What it is, for messages.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Number(_) => "a number",
            Self::Text(_) => "a text",
            Self::Block(_) => "a block",
            Self::Unknown => "not known yet",
        }
    }

    /// The number, if it is one and known.
    #[must_use]
    pub fn known(&self) -> Option<i64> {
        if let Self::Number(it) = self { it.known() } else { None }
    }

    /// How it is shown: numbers in both notations, the start of what is long.
    #[must_use]
    pub fn shown(&self) -> String {
        match self {
            Self::Number(it) => match it.known() {
                Some(it) if (0..10).contains(&it) => it.to_string(),
                Some(it) if it < 0 => it.to_string(),
                Some(it) => format!("{it} (${it:X})"),
                None if *it == Interval::ANY => "any number".to_owned(),
                None => format!("{} to {}", it.low, it.high),
            },
            Self::Text(it) => format!("{it:?}"),
            Self::Block(it) => {
                const MOST: usize = 16;
                let mut text: Vec<String> = it
                    .bytes
                    .iter()
                    .take(MOST)
                    .map(|it| it.map_or_else(|| "??".to_owned(), |it| format!("{it:02X}")))
                    .collect();
                if it.bytes.len() > MOST {
                    text.push(format!("... ({} bytes)", it.bytes.len()));
                }
                text.join(" ")
            }
            Self::Unknown => "not known".to_owned(),
        }
    }
}
