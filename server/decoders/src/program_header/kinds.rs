//! The headers that are known: one row each, with every field.
//!
//! $601A and $601B: the header reader `getchd.c`, `size68.c` and the loader of CP/M-68K's tools, published since. 0407 and 0410:
//! `a.out.h` of Research UNIX and `a.out(5)` of SunOS 4.1.3; 0413 from memory. What is from memory besides says so.

/// What the reader takes a field for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FieldRole {
    /// The number that tells the kind.
    Magic,
    /// Bytes of the text.
    Text,
    /// Bytes of the data.
    Data,
    /// Bytes of the bss, which is not in the file.
    Bss,
    /// Bytes of the symbols.
    Symbols,
    /// Bytes of the text's relocation.
    TextRelocation,
    /// Bytes of the data's relocation.
    DataRelocation,
    /// The address of the text, where the program is entered too.
    Start,
    /// The address where the program is entered.
    Entry,
    /// The address of the data.
    DataStart,
    /// The address of the bss.
    BssStart,
    /// 0 if relocation follows.
    IsAbsolute,
    /// Nothing that the reader needs.
    Other,
}

/// A field of a header.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HeaderField {
    /// Its name.
    pub name: &'static str,
    /// Its first byte, from 0.
    pub offset: usize,
    /// Its length: 1, 2 or 4 bytes, the highest first.
    pub bytes: usize,
    /// What it means.
    pub meaning: &'static str,
    /// What the reader takes it for.
    pub role: FieldRole,
}

/// A kind of header.
#[derive(Debug, PartialEq, Eq)]
pub struct HeaderKind {
    /// Its name in machine-readable outputs.
    pub name: &'static str,
    /// What it is called.
    pub title: &'static str,
    /// The word that tells it.
    pub magic: u16,
    /// Its fields, in order.
    pub fields: &'static [HeaderField],
    /// What the header says of itself that no field does.
    pub note: &'static str,
    /// Where it is described.
    pub source: &'static str,
    /// Bytes that a symbol may have; several where systems differ.
    pub(super) symbol_bytes: &'static [u64],
    /// Whether the parts are filled up to whole pages in the file, of a size that systems differ in.
    pub(super) is_paged: bool,
}

impl HeaderKind {
    /// Bytes of the header.
    #[must_use]
    pub fn header_bytes(&self) -> usize {
        self.fields.last().map_or(0, |it| it.offset + it.bytes)
    }

    /// The byte at which the magic number stands.
    #[must_use]
    pub fn magic_at(&self) -> usize {
        self.fields.iter().find(|it| it.role == FieldRole::Magic).map_or(0, |it| it.offset)
    }

    /// The field of a role.
    pub(super) fn field(&self, role: FieldRole) -> Option<&'static HeaderField> {
        self.fields.iter().find(|it| it.role == role)
    }
}

const fn field(offset: usize, bytes: usize, name: &'static str, role: FieldRole, meaning: &'static str) -> HeaderField {
    HeaderField { name, offset, bytes, meaning, role }
}

const CONTIGUOUS: &[HeaderField] = &[
    field(0x00, 2, "magic", FieldRole::Magic, "data follows text, bss follows data"),
    field(0x02, 4, "text", FieldRole::Text, "bytes of the text"),
    field(0x06, 4, "data", FieldRole::Data, "bytes of the data"),
    field(0x0a, 4, "bss", FieldRole::Bss, "bytes of the bss, not in the file"),
    field(0x0e, 4, "symbols", FieldRole::Symbols, "bytes of the symbols, 14 each"),
    field(0x12, 4, "reserved", FieldRole::Other, "0"),
    field(0x16, 4, "text_start", FieldRole::Start, "address of the text, where it is entered"),
    field(0x1a, 2, "absolute", FieldRole::IsAbsolute, "0: relocation words follow; else none"),
];

const APART: &[HeaderField] = &[
    field(0x00, 2, "magic", FieldRole::Magic, "text, data and bss lie apart"),
    CONTIGUOUS[1],
    CONTIGUOUS[2],
    CONTIGUOUS[3],
    CONTIGUOUS[4],
    CONTIGUOUS[5],
    CONTIGUOUS[6],
    CONTIGUOUS[7],
    field(0x1c, 4, "data_start", FieldRole::DataStart, "address of the data"),
    field(0x20, 4, "bss_start", FieldRole::BssStart, "address of the bss"),
];

const UNIX_LONGS: &[HeaderField] = &[
    field(0, 1, "version", FieldRole::Other, "dynamic bit and version of the tools; 0 on most ports"),
    field(1, 1, "machine", FieldRole::Other, "type of the machine; 0 on most ports"),
    field(2, 2, "magic", FieldRole::Magic, "kind of the program"),
    field(4, 4, "text", FieldRole::Text, "bytes of the text"),
    field(8, 4, "data", FieldRole::Data, "bytes of the data"),
    field(12, 4, "bss", FieldRole::Bss, "bytes of the bss, not in the file"),
    field(16, 4, "symbols", FieldRole::Symbols, "bytes of the symbols"),
    field(20, 4, "entry", FieldRole::Entry, "address where it is entered"),
    field(24, 4, "text_relocation", FieldRole::TextRelocation, "bytes of the text's relocation"),
    field(28, 4, "data_relocation", FieldRole::DataRelocation, "bytes of the data's relocation"),
];

const UNIX_WORDS: &[HeaderField] = &[
    field(0, 2, "magic", FieldRole::Magic, "kind of the program"),
    field(2, 2, "text", FieldRole::Text, "bytes of the text"),
    field(4, 2, "data", FieldRole::Data, "bytes of the data"),
    field(6, 2, "bss", FieldRole::Bss, "bytes of the bss, not in the file"),
    field(8, 2, "symbols", FieldRole::Symbols, "bytes of the symbols"),
    field(10, 2, "entry", FieldRole::Entry, "address where it is entered"),
    field(12, 2, "unused", FieldRole::Other, "0"),
    field(14, 2, "absolute", FieldRole::IsAbsolute, "0: relocation words follow; else none"),
];

const TOOLS: &str = "header reader and loader of CP/M-68K's tools, 1981-1984, published since";
const UNIX: &str = "`a.out.h` of Research UNIX, `a.out(5)` of SunOS 4.1.3";
const RELOCATED: &str = "$601A is BRA.S over the 28 bytes. A later disk system has flags at $16 and a list of places behind the symbols (from memory).";
const LONGS: &str =
    "The number stands in the second word. Early ports have 16-bit words instead: the number comes first then.";

const fn executable(name: &'static str, title: &'static str, magic: u16, fields: &'static [HeaderField]) -> HeaderKind {
    HeaderKind { name, title, magic, fields, note: RELOCATED, source: TOOLS, symbol_bytes: &[14], is_paged: false }
}

const fn longs(name: &'static str, title: &'static str, magic: u16, is_paged: bool) -> HeaderKind {
    HeaderKind {
        name,
        title,
        magic,
        fields: UNIX_LONGS,
        note: LONGS,
        source: UNIX,
        symbol_bytes: &[14, 16, 12],
        is_paged,
    }
}

const fn words(name: &'static str, title: &'static str, magic: u16) -> HeaderKind {
    HeaderKind {
        name,
        title,
        magic,
        fields: UNIX_WORDS,
        note: "Eight words, as on the first machines of the system.",
        source: UNIX,
        symbol_bytes: &[12],
        is_paged: false,
    }
}

/// All kinds.
pub(super) const KINDS: &[HeaderKind] = &[
    executable("601a", "$601A program", 0x601a, CONTIGUOUS),
    executable("601b", "$601B program", 0x601b, APART),
    longs("0407", "a.out program 0407", 0o407, false),
    longs("0410", "a.out program 0410", 0o410, false),
    longs("0413", "a.out program 0413", 0o413, true),
    words("0407-words", "a.out program 0407 of 16-bit words", 0o407),
    words("0410-words", "a.out program 0410 of 16-bit words", 0o410),
];
