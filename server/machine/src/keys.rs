//! The table of what may stand in `reveille.toml`: every table, and in it every key with its kind, meaning and an example.

/// A table of the file.
#[derive(Debug)]
pub struct Section {
    /// How its heading is written, `NAME` for any name.
    pub header: &'static str,
    /// What it is, in a few words.
    pub title: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
    /// What tables under any other name are; none if there may be none.
    pub others: Option<&'static Section>,
}

impl Section {
    /// A key by its name.
    #[must_use]
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|it| it.name == name)
    }
}

/// A key of a table.
#[derive(Debug)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// What its values are.
    pub kind: Kind,
    /// Whether it has to be there.
    pub presence: Presence,
    /// What it says, in a few words.
    pub meaning: &'static str,
    /// A value as it is written in the file; empty for tables, whose keys have their own.
    pub example: &'static str,
}

/// Whether a key has to be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Presence {
    /// The table says nothing without it.
    Required,
    /// What needs it is left out without it.
    Optional,
    /// Without it, this holds, as it is written in the file.
    Default(&'static str),
}

/// What the values of a key are.
#[derive(Debug)]
pub enum Kind {
    /// A text of one line that is not empty.
    Text,
    /// Characters as they go over a line, blanks and control characters among them.
    Characters,
    /// `true` or `false`.
    Flag,
    /// A whole number, or a text like `"$F00001"`.
    Number(Limits),
    /// The same, or a text like `"256k"`.
    Size(Limits),
    /// One of few words; those that are numbers may be written so.
    Choice(&'static [Choice]),
    /// A list of texts.
    Texts,
    /// A table of names of the reader's own, each with a number.
    Numbers,
    /// A list of numbers, or a table of numbers, each with the word for it.
    Values,
    /// A table.
    Table(&'static Section),
    /// A list of tables.
    Tables(&'static Section),
    /// A table of tables, each under a name of the reader's own.
    Named(&'static Section),
}

/// The lowest and the highest value of a number, and what it counts.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// The lowest.
    pub min: i64,
    /// The highest.
    pub max: i64,
    /// What it counts; empty for plain numbers.
    pub unit: &'static str,
}

/// A word that a key can have.
#[derive(Debug)]
pub struct Choice {
    /// The word.
    pub word: &'static str,
    /// What it says.
    pub meaning: &'static str,
}

const fn key(name: &'static str, kind: Kind, presence: Presence, meaning: &'static str, example: &'static str) -> Key {
    Key { name, kind, presence, meaning, example }
}

const fn limits(min: i64, max: i64, unit: &'static str) -> Limits {
    Limits { min, max, unit }
}

const fn choice(word: &'static str, meaning: &'static str) -> Choice {
    Choice { word, meaning }
}

use Presence::{Default, Optional, Required};

/// The highest number of 32 bits.
const LONG: i64 = u32::MAX as i64;
const ADDRESS: Limits = limits(0, LONG, "");
const HERTZ: Limits = limits(1, 1_000_000_000, "Hz");
const ANY: Limits = limits(i64::MIN, i64::MAX, "");

/// The encoding of a drive that names none.
pub const DEFAULT_ENCODING: &str = "MFM";
/// The byte order of a block that names none.
pub const DEFAULT_ENDIAN: &str = "big";

/// What compilers for the 68000 took for an `int` (from memory).
const C_INTS: &[Choice] =
    &[choice("16", "as most compilers of single machines had it"), choice("32", "as those of Unix ports had it")];

/// The file itself.
pub static FILE: Section = Section {
    header: "reveille.toml",
    title: "what the source cannot say",
    keys: &[
        key("firmware", Kind::Table(&FIRMWARE), Optional, "how the source is read", ""),
        key("machine", Kind::Named(&MACHINE), Optional, "a machine that the firmware runs on", ""),
        key("block", Kind::Tables(&BLOCK), Optional, "a parameter block of the machine's own", ""),
    ],
    others: None,
};

/// How the source is read.
pub static FIRMWARE: Section = Section {
    header: "[firmware]",
    title: "how the source is read",
    keys: &[
        key(
            "roots",
            Kind::Texts,
            Optional,
            "files that are assembled, each with all it includes; without it, every assembly file that no other includes",
            r#"["bios.s", "monitor.c"]"#,
        ),
        key("include", Kind::Texts, Optional, "folders in which included files are looked for", r#"["include"]"#),
        key("dialect", Kind::Choice(DIALECTS), Default(r#""auto""#), "the dialect of the source", r#""motorola""#),
        key("defines", Kind::Numbers, Optional, "names with values, as an assembler is given them", "{ DEBUG = 0 }"),
        key(
            "origin",
            Kind::Number(ADDRESS),
            Optional,
            "the address of each root that sets none itself",
            r#""$FC0000""#,
        ),
        key("c-int", Kind::Choice(C_INTS), Default("16"), "bits of an `int` in the C beside the assembly", "32"),
    ],
    others: None,
};

const DIALECTS: &[Choice] = &[
    choice("auto", "told by the signs in each file"),
    choice("motorola", "a blank ends the operands, comments start with `*` or `;`"),
    choice("dotted", "directives with a dot"),
    choice("mit", "register names and addressing modes as in Unix assemblers of MIT syntax"),
    choice("sgs", "the assembler of Unix System V for the 68000"),
];

/// A machine.
pub static MACHINE: Section = Section {
    header: "[machine.NAME]",
    title: "a machine that the firmware runs on",
    keys: &[
        key("title", Kind::Text, Optional, "what it is called", r#""Skerry 12 tide recorder""#),
        key("cpu", Kind::Choice(CPUS), Default(r#""68000""#), "its processor", r#""68000""#),
        key("clock", Kind::Number(HERTZ), Optional, "the processor's clock: cycles become microseconds", "8_000_000"),
        key("memory", Kind::Tables(&MEMORY), Optional, "a range of its addresses", ""),
        key("serial", Kind::Tables(&SERIAL), Optional, "a serial port", ""),
        key("drive", Kind::Tables(&DRIVE), Optional, "a diskette drive", ""),
        key("monitor", Kind::Table(&MONITOR), Optional, "how its ROM monitor is talked to", ""),
    ],
    others: None,
};

const CPUS: &[Choice] = &[
    choice("68000", "16-bit bus, 24-bit addresses"),
    choice("68008", "8-bit bus, 20-bit addresses"),
    choice("68010", "as the 68000, with a vector base register"),
];

/// A range of a machine's addresses.
pub static MEMORY: Section = Section {
    header: "[[machine.NAME.memory]]",
    title: "a range of a machine's addresses",
    keys: &[
        key("name", Kind::Text, Required, "what addresses in it are called by", r#""rom""#),
        key("from", Kind::Number(ADDRESS), Required, "its first address", r#""$F00000""#),
        key("size", Kind::Size(limits(1, LONG + 1, "bytes")), Required, "its length in bytes", r#""256k""#),
        key("kind", Kind::Choice(MEMORIES), Required, "what answers there", r#""rom""#),
        key(
            "reads",
            Kind::Choice(READS),
            Default(r#""are harmless""#),
            "whether looking changes something",
            r#""have side effects""#,
        ),
    ],
    others: None,
};

const MEMORIES: &[Choice] = &[
    choice("rom", "can be read only"),
    choice("ram", "can be read and written"),
    choice("nvram", "the same, kept by a battery: a session changes it only when it is confirmed"),
    choice("device", "registers of a chip"),
];

const READS: &[Choice] = &[
    choice("are harmless", "reading changes nothing"),
    choice("have side effects", "reading changes the state of the device: a session does not do it unasked"),
];

/// A serial port of a machine.
pub static SERIAL: Section = Section {
    header: "[[machine.NAME.serial]]",
    title: "a serial port of a machine",
    keys: &[
        key("name", Kind::Text, Required, "what sessions call it", r#""console""#),
        key("chip", Kind::Text, Required, "the chip that drives it", r#""mc68681""#),
        key("at", Kind::Number(ADDRESS), Required, "the address of its first register", r#""$F00001""#),
        key("stride", Kind::Number(limits(1, 65_536, "bytes")), Default("1"), "from one register to the next", "2"),
        key("channel", Kind::Text, Optional, "which of the chip's channels", r#""a""#),
        key(
            "clock",
            Kind::Number(HERTZ),
            Optional,
            "the chip's clock, which the line's speed is made from",
            "3_686_400",
        ),
        key(
            "variant",
            Kind::Text,
            Optional,
            "which of the chip's variants, where they differ in their rates",
            r#""C""#,
        ),
        key(
            "timer",
            Kind::Choice(TIMERS),
            Optional,
            "which of the chip's timers clocks the line, where that is a matter of wiring",
            r#""d""#,
        ),
        key("connector", Kind::Choice(CONNECTORS), Optional, "the socket at the machine", r#""DB-25""#),
        key(
            "wired",
            Kind::Choice(WIRINGS),
            Optional,
            "whose pins the socket has; measure it, no source says it",
            r#""as DTE""#,
        ),
    ],
    others: None,
};

const TIMERS: &[Choice] = &[choice("c", "timer C"), choice("d", "timer D, the usual one")];

const CONNECTORS: &[Choice] = &[choice("DB-25", "25 pins, EIA-232"), choice("DE-9", "9 pins, EIA-574")];

const WIRINGS: &[Choice] = &[
    choice("as DTE", "as a terminal: it transmits on pin 2 of 25"),
    choice("as DCE", "as a modem: it receives there"),
];

/// A diskette drive of a machine.
pub static DRIVE: Section = Section {
    header: "[[machine.NAME.drive]]",
    title: "a diskette drive of a machine",
    keys: &[
        key("name", Kind::Text, Optional, "what sessions call it", r#""left""#),
        key("cylinders", Kind::Number(limits(1, 65_536, "cylinders")), Optional, "how many cylinders it reaches", "80"),
        key("heads", Kind::Number(limits(1, 256, "heads")), Optional, "how many sides it reads", "2"),
        key("rpm", Kind::Number(limits(1, 10_000, "turns a minute")), Optional, "how fast the disk turns", "300"),
        key("rate", Kind::Number(limits(1, 100_000_000, "bit/s")), Optional, "data bits a second", "250_000"),
        key("encoding", Kind::Choice(ENCODINGS), Default(r#""MFM""#), "how bits are recorded", r#""MFM""#),
        key("medium", Kind::Choice(MEDIA), Optional, "the size of the disk in inches", "3.5"),
        key("controller", Kind::Text, Optional, "the controller chip", r#""wd1772""#),
        key("clock", Kind::Number(HERTZ), Optional, "the controller's clock: step times depend on it", "8_000_000"),
        key(
            "step",
            Kind::Number(limits(1, 1000, "ms")),
            Optional,
            "the shortest time from one cylinder to the next that it can do",
            "3",
        ),
    ],
    others: None,
};

const ENCODINGS: &[Choice] = &[choice("MFM", "double density and all above"), choice("FM", "single density")];

const MEDIA: &[Choice] = &[choice("3.5", "90 mm"), choice("5.25", "130 mm"), choice("8", "200 mm")];

/// How a machine's ROM monitor is talked to.
pub static MONITOR: Section = Section {
    header: "[machine.NAME.monitor]",
    title: "how a machine's ROM monitor is talked to, for sessions; its verbs are tables below it",
    keys: &[
        key(
            "prompt",
            Kind::Text,
            Required,
            "a regular expression: what stands in the last line when it waits for a command",
            r"'\* $'",
        ),
        key("newline", Kind::Characters, Default(r#""\r""#), "what ends a typed line", r#""\r\n""#),
        key(
            "echo",
            Kind::Flag,
            Default("true"),
            "whether what is typed comes back: then it is compared before the line is ended",
            "false",
        ),
        key(
            "error",
            Kind::Text,
            Optional,
            "a regular expression: a line of a reply that tells of an error",
            r"'^E\d+ '",
        ),
        key(
            "cancel",
            Kind::Characters,
            Optional,
            "what throws away a half-typed line; without it a mistyped line ends the session",
            r#""\u0018""#,
        ),
        key("flow", Kind::Choice(FLOWS), Optional, "how the machine says that it cannot keep up", r#""xon-xoff""#),
        key(
            "character-delay",
            Kind::Number(limits(0, 10_000, "ms")),
            Default("0"),
            "what is waited behind every character, for machines that lose what comes too fast",
            "5",
        ),
        key(
            "line-delay",
            Kind::Number(limits(0, 60_000, "ms")),
            Default("0"),
            "what is waited behind every line",
            "200",
        ),
    ],
    others: Some(&SPELLING),
};

const FLOWS: &[Choice] = &[
    choice("none", "it does not say it"),
    choice("xon-xoff", "by the characters DC3 and DC1"),
    choice("rts-cts", "by the lines of a modem"),
];

/// What is typed for a verb of sessions.
pub static SPELLING: Section = Section {
    header: "[machine.NAME.monitor.VERB]",
    title: "what is typed for a verb of sessions, and how the reply is read",
    keys: &[
        key(
            "send",
            Kind::Text,
            Required,
            "what is typed; names in braces are values: `{from}` decimal, `{from:08x}` hexadecimal",
            r#""list {from:x} {bytes:x}""#,
        ),
        key(
            "reply",
            Kind::Text,
            Optional,
            "a regular expression that lines of the reply are held against, with named groups",
            r"'^(?<address>[0-9A-F]{8}): (?<bytes>(?:[0-9A-F]{2} ?)+)'",
        ),
        key("until", Kind::Text, Default(r#""prompt""#), "a regular expression that ends the reply", r"'^done'"),
        key("changes", Kind::Choice(CHANGES), Optional, "what it changes on the machine", r#""disk""#),
        key(
            "most",
            Kind::Number(limits(1, 16 << 20, "bytes")),
            Optional,
            "what one command can be asked for; longer ranges are asked for in pieces",
            "256",
        ),
        key(
            "within",
            Kind::Number(limits(1, 86_400, "s")),
            Optional,
            "how long it takes at most, beside the transfer",
            "20",
        ),
    ],
    others: None,
};

const CHANGES: &[Choice] = &[
    choice("nothing", "nothing that lasts"),
    choice("memory", "RAM at an address that the session names"),
    choice("nvram", "memory that a battery keeps"),
    choice("disk", "a disk"),
    choice("rom", "a ROM that can be written"),
];

/// A parameter block of the machine's own.
pub static BLOCK: Section = Section {
    header: "[[block]]",
    title: "a parameter block of the machine's own",
    keys: &[
        key("name", Kind::Text, Required, "its name, as `@block` and sessions use it", r#""chart-setup""#),
        key("title", Kind::Text, Optional, "what it is, in a few words", r#""set-up of the chart recorder""#),
        key("at", Kind::Texts, Optional, "labels of tables that have it", r#"["chart_table"]"#),
        key(
            "repeat",
            Kind::Number(limits(1, 65_536, "blocks")),
            Default("1"),
            "how many follow each other in a table",
            "4",
        ),
        key("endian", Kind::Choice(ENDIANS), Default(r#""big""#), "the order of the bytes of numbers", r#""big""#),
        key(
            "alignment",
            Kind::Number(limits(1, 4096, "bytes")),
            Default("1"),
            "its address must be a multiple of this",
            "2",
        ),
        key("fields", Kind::Tables(&FIELD), Required, "its fields in order", ""),
        key(
            "rules",
            Kind::Texts,
            Optional,
            "formulas over its fields that have to hold",
            r#"["paper-speed * pens <= 1800"]"#,
        ),
    ],
    others: None,
};

const ENDIANS: &[Choice] = &[
    choice("big", "most significant byte first, as the 68000 has it"),
    choice("little", "least significant byte first"),
];

/// A field of a block.
pub static FIELD: Section = Section {
    header: "[[block.fields]]",
    title: "a field of a block",
    keys: &[
        key("name", Kind::Text, Required, "its name in formulas, facts and sessions", r#""paper-speed""#),
        key("bytes", Kind::Number(limits(1, 65_536, "bytes")), Required, "its length; numbers have 8 at most", "2"),
        key("kind", Kind::Choice(FIELD_KINDS), Default(r#""number""#), "what its bytes are", r#""number""#),
        key("meaning", Kind::Text, Optional, "what it says, in a few words", r#""speed of the paper""#),
        key("unit", Kind::Text, Optional, "what it counts", r#""mm/h""#),
        key("min", Kind::Number(ANY), Optional, "the lowest plausible value", "10"),
        key("max", Kind::Number(ANY), Optional, "the highest plausible value", "1200"),
        key(
            "values",
            Kind::Values,
            Optional,
            "the plausible values, where they are few",
            r#"{ 1 = "one", 2 = "two" }"#,
        ),
        key("power_of_two", Kind::Flag, Default("false"), "plausible values are powers of two", "true"),
        key("must", Kind::Number(ANY), Optional, "the only value it should have", "0"),
    ],
    others: None,
};

const FIELD_KINDS: &[Choice] = &[
    choice("number", "a number without sign"),
    choice("code", "a number that is better read in hex"),
    choice("text", "characters"),
];

/// The key at a path of names, as in `machine`, `skerry`, `drive`, `rate`; names of the reader's own count as one.
#[must_use]
pub fn find(path: &[&str]) -> Option<&'static Key> {
    let mut section = &FILE;
    let mut names = path.iter();
    loop {
        let name = names.next()?;
        let rest = names.as_slice();
        let Some(key) = section.key(name) else {
            section = section.others?;
            continue;
        };
        section = match &key.kind {
            _ if rest.is_empty() => return Some(key),
            Kind::Table(inner) | Kind::Tables(inner) => inner,
            Kind::Named(inner) => {
                names.next();
                if names.as_slice().is_empty() {
                    return Some(key);
                }
                inner
            }
            _ => return None,
        };
    }
}

impl Kind {
    /// What a value of this kind is, for messages: with an article.
    #[must_use]
    pub fn words(&self) -> String {
        let counted = |what: &str, limits: &Limits| match limits.unit {
            "" => format!("a {what}"),
            unit => format!("a {what} ({unit})"),
        };
        match self {
            Self::Text => "a text".into(),
            Self::Characters => "characters".into(),
            Self::Flag => "`true` or `false`".into(),
            Self::Number(limits) => counted("whole number", limits),
            Self::Size(limits) => counted("size", limits),
            Self::Choice(words) => listed(words.iter().map(|it| it.word)),
            Self::Texts => "a list of texts".into(),
            Self::Numbers => "a table of names with numbers".into(),
            Self::Values => "a list of numbers, or a table of numbers with words".into(),
            Self::Table(section) => format!("a table, `{}`", section.header),
            Self::Tables(section) => format!("a list of tables, `{}`", section.header),
            Self::Named(section) => format!("tables with names, `{}`", section.header),
        }
    }
}

/// Words in a row: `a`, `b` or `c`.
pub(crate) fn listed<'a>(words: impl Iterator<Item = &'a str>) -> String {
    let mut words: Vec<String> = words.map(|it| format!("`{it}`")).collect();
    let last = words.pop().unwrap_or_default();
    if words.is_empty() { last } else { format!("{} or {last}", words.join(", ")) }
}
