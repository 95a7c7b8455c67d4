//! Every statement of the language: its form, what it means, and what the machine's vocabulary has to spell for it.
//!
//! The reader follows the forms, its messages quote them, and completion, hover and the reference come from the same entries.

/// What a step changes on the machine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Changes {
    /// Nothing that lasts.
    #[default]
    Nothing,
    /// RAM at an address that the script names.
    Memory,
    /// Memory that a battery keeps.
    Nvram,
    /// A disk.
    Disk,
    /// A ROM that can be written.
    Rom,
}

impl Changes {
    /// Each with its word, as the machine file and `--allow` have it.
    pub const NAMES: [(&'static str, Self); 5] = [
        ("nothing", Self::Nothing),
        ("memory", Self::Memory),
        ("nvram", Self::Nvram),
        ("disk", Self::Disk),
        ("rom", Self::Rom),
    ];

    /// By its word.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::NAMES.iter().find(|it| it.0 == name).map(|it| it.1)
    }

    /// Its word.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::NAMES.iter().find(|it| it.1 == self).map_or("nothing", |it| it.0)
    }

    /// Whether a person has to confirm it.
    #[must_use]
    pub fn needs_confirm(self) -> bool {
        self > Self::Memory
    }
}

/// What stands at a place of a statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slot {
    /// A value.
    Expression,
    /// `a .. b` or `a +: n`.
    Range,
    /// A name that is bound, or one of a bound block.
    Name,
    /// A name that may have hyphens: of a machine, a layout, a verb of the machine's own.
    Label,
    /// A text between double quotes.
    Text,
    /// A time.
    Time,
    /// A key of a keyboard.
    Key,
    /// Data bits, parity and stop bits, such as `8n1`.
    Frame,
    /// One of few words.
    Choice(&'static [&'static str]),
    /// Names with values, between commas.
    Arguments,
}

/// A part of a statement's form.
#[derive(Debug)]
pub enum Part {
    /// A word.
    Word(&'static str),
    /// A word that makes a difference: it is kept under its own name.
    Flag(&'static str),
    /// What stands here, and what it is to the statement.
    Slot(&'static str, Slot),
    /// What may be left out: it is there if its first part is.
    Maybe(&'static [Part]),
    /// One of several: the one whose first part is there.
    OneOf(&'static [&'static [Part]]),
}

/// A group of statements.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Group {
    /// At the head of a script, before the first step.
    Head,
    /// What is typed, and what comes back, without the machine's vocabulary.
    Typing,
    /// What the machine's vocabulary spells.
    Asking,
    /// What is made of answers.
    Judging,
    /// In which order, and with whom.
    Order,
}

/// Which statement it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "the table says what each means")]
pub enum VerbKind {
    Machine,
    Console,
    Log,
    Pace,
    Stage,
    Press,
    Send,
    Await,
    Ask,
    Dump,
    Fill,
    Poke,
    Registers,
    ReadSector,
    WriteSector,
    Load,
    Start,
    Check,
    Keep,
    Confirm,
    Pause,
    Repeat,
    If,
    Else,
    End,
    Include,
}

/// A statement of the language.
#[derive(Debug)]
pub struct Verb {
    /// Which it is.
    pub kind: VerbKind,
    /// Its first words.
    pub name: &'static str,
    /// Where it belongs.
    pub group: Group,
    /// What stands behind its first words.
    pub form: &'static [Part],
    /// What it does.
    pub meaning: &'static str,
    /// How it is written.
    pub example: &'static str,
}

/// The parts of a statement that say how long it may take and what to do if it fails.
#[must_use]
pub fn tail(kind: VerbKind) -> &'static [Part] {
    match kind {
        VerbKind::Await
        | VerbKind::Ask
        | VerbKind::Dump
        | VerbKind::Fill
        | VerbKind::Poke
        | VerbKind::Registers
        | VerbKind::ReadSector
        | VerbKind::WriteSector
        | VerbKind::Load
        | VerbKind::Start => WAITS,
        VerbKind::Check => STOPS,
        _ => &[],
    }
}

use Part::{Flag, Maybe, OneOf, Slot as At, Word};

/// What may stand behind every step that waits for an answer.
const WAITS: &[Part] =
    &[Maybe(&[Word("within"), At("within", Slot::Time)]), Maybe(&[Word("or"), Word("stop"), At("stop", Slot::Text)])];
const STOPS: &[Part] = &[Maybe(&[Word("or"), Word("stop"), At("stop", Slot::Text)])];

const BOUND: Part = Maybe(&[Word("as"), At("as", Slot::Name)]);
const TRACK: Part = Maybe(&[Word("of"), Word("track"), At("track", Slot::Expression)]);
const SIDE: Part = Maybe(&[Word("of"), Word("side"), At("side", Slot::Expression)]);
const DRIVE: Part = Maybe(&[Word("of"), Word("drive"), At("drive", Slot::Expression)]);

const fn verb(
    kind: VerbKind,
    name: &'static str,
    group: Group,
    form: &'static [Part],
    meaning: &'static str,
    example: &'static str,
) -> Verb {
    Verb { kind, name, group, form, meaning, example }
}

/// All statements, by groups.
pub static VERBS: &[Verb] = &[
    verb(
        VerbKind::Machine,
        "machine",
        Group::Head,
        &[At("machine", Slot::Label)],
        "names the machine of `reveille.toml`; without it, the only one that the file has",
        "machine skerry",
    ),
    verb(
        VerbKind::Console,
        "console",
        Group::Head,
        &[OneOf(&[
            &[Word("from"), Flag("source")],
            &[
                At("rate", Slot::Expression),
                At("frame", Slot::Frame),
                Maybe(&[Word("flow"), At("flow", Slot::Choice(&["none", "xon-xoff", "rts-cts"]))]),
                Maybe(&[Word("rts"), At("rts", Slot::Choice(&["on", "off"]))]),
                Maybe(&[Word("dtr"), At("dtr", Slot::Choice(&["on", "off"]))]),
            ],
        ])],
        "the line's settings: as the firmware sets them, or rate, data bits, parity (n, e, o) and stop bits, flow control, and what the two lines of a modem are held at",
        "console 9600 8n1 flow xon-xoff",
    ),
    verb(
        VerbKind::Log,
        "log",
        Group::Head,
        &[At("file", Slot::Text)],
        "keeps every byte both ways in a file, with the time; its path is from the script's folder",
        "log \"first-start.log\"",
    ),
    verb(
        VerbKind::Pace,
        "pace",
        Group::Head,
        &[At("pace", Slot::Time), Maybe(&[Word("line"), At("line", Slot::Time)])],
        "waits so long behind every character, and behind every line, for machines that lose what comes too fast",
        "pace 5ms line 200ms",
    ),
    verb(VerbKind::Press, "press", Group::Typing, &[At("key", Slot::Key)], "types one key", "press return"),
    verb(
        VerbKind::Send,
        "send",
        Group::Typing,
        &[At("text", Slot::Text)],
        "types a text as it is; `\\r` ends a line",
        "send \"\\r\"",
    ),
    verb(
        VerbKind::Await,
        "await",
        Group::Typing,
        &[OneOf(&[&[Flag("prompt")], &[Word("pattern"), At("pattern", Slot::Text)], &[At("text", Slot::Text)]])],
        "waits for the prompt, for a text, or for what a regular expression matches",
        "await \"loaded\" within 90s",
    ),
    verb(
        VerbKind::Ask,
        "ask",
        Group::Asking,
        &[At("verb", Slot::Label), Maybe(&[At("arguments", Slot::Arguments)]), BOUND],
        "asks what only this machine can be asked: a verb of its vocabulary, with values for the names in its braces",
        "ask pen position 128",
    ),
    verb(
        VerbKind::Dump,
        "dump",
        Group::Asking,
        &[At("range", Slot::Range), BOUND, Maybe(&[Word("using"), At("using", Slot::Label)])],
        "has memory shown, and binds what comes",
        "dump $90000 +: 512 as boot",
    ),
    verb(
        VerbKind::Fill,
        "fill",
        Group::Asking,
        &[At("range", Slot::Range), Word("with"), At("value", Slot::Expression)],
        "writes one byte over a range of RAM; needs `--allow memory`",
        "fill $90000 +: 512 with 0",
    ),
    verb(
        VerbKind::Poke,
        "poke",
        Group::Asking,
        &[
            Maybe(&[At("width", Slot::Choice(&["byte", "word", "long"]))]),
            At("at", Slot::Expression),
            Word("with"),
            At("value", Slot::Expression),
        ],
        "writes a byte, a word or a long word into RAM; needs `--allow memory`",
        "poke $90000 with $4e",
    ),
    verb(
        VerbKind::Registers,
        "registers",
        Group::Asking,
        &[BOUND],
        "has the processor's registers shown",
        "registers as regs",
    ),
    verb(
        VerbKind::ReadSector,
        "read sector",
        Group::Asking,
        &[At("sector", Slot::Expression), TRACK, SIDE, DRIVE, Word("into"), At("into", Slot::Expression)],
        "has a sector of a disk read into RAM",
        "read sector 0 of drive 0 into $90000",
    ),
    verb(
        VerbKind::WriteSector,
        "write sector",
        Group::Asking,
        &[At("sector", Slot::Expression), TRACK, SIDE, DRIVE, Word("from"), At("from", Slot::Expression)],
        "has a sector written from RAM; needs `confirm` and `--allow disk`",
        "write sector 0 of drive 0 from $90000",
    ),
    verb(
        VerbKind::Load,
        "load",
        Group::Asking,
        &[
            OneOf(&[&[Flag("boot"), Word("file")], &[At("name", Slot::Text)]]),
            Maybe(&[Word("into"), At("into", Slot::Expression)]),
        ],
        "has the boot file, or another, read from the disk into RAM",
        "load boot file",
    ),
    verb(
        VerbKind::Start,
        "start",
        Group::Asking,
        &[Word("at"), At("at", Slot::Expression)],
        "has the machine run what lies at an address",
        "start at system_entry",
    ),
    verb(
        VerbKind::Check,
        "check",
        Group::Judging,
        &[
            At("condition", Slot::Expression),
            Maybe(&[Word("matches"), OneOf(&[&[Flag("source")], &[Word("file"), At("file", Slot::Text)]])]),
        ],
        "fails where a condition does not hold, or where bytes differ from those that the source has at their address, or a file",
        "check boot[510] == $55 and boot[511] == $aa",
    ),
    verb(
        VerbKind::Keep,
        "keep",
        Group::Judging,
        &[At("name", Slot::Name), Word("in"), At("file", Slot::Text)],
        "writes a bound block into a file, by its path from the script's folder; one that is there is not replaced without `--force`",
        "keep boot in \"boot.bin\"",
    ),
    verb(
        VerbKind::Stage,
        "stage",
        Group::Order,
        &[At("title", Slot::Text)],
        "begins a part of the session, which can be resumed there",
        "stage \"Read the boot sector\"",
    ),
    verb(
        VerbKind::Confirm,
        "confirm",
        Group::Order,
        &[At("question", Slot::Text)],
        "asks the person who watches, and stops without a yes",
        "confirm \"Disk write-protected?\"",
    ),
    verb(VerbKind::Pause, "pause", Group::Order, &[At("time", Slot::Time)], "waits, and reads what comes", "pause 2s"),
    verb(
        VerbKind::Repeat,
        "repeat",
        Group::Order,
        &[At("count", Slot::Expression), Word("times")],
        "does the steps up to `end` so many times",
        "repeat 3 times",
    ),
    verb(
        VerbKind::If,
        "if",
        Group::Order,
        &[At("condition", Slot::Expression)],
        "does the steps up to `else` or `end` where a condition holds",
        "if boot[0] == $60",
    ),
    verb(VerbKind::Else, "else", Group::Order, &[], "begins what is done where the condition does not hold", "else"),
    verb(VerbKind::End, "end", Group::Order, &[], "ends `repeat` or `if`", "end"),
    verb(
        VerbKind::Include,
        "include",
        Group::Order,
        &[At("file", Slot::Text)],
        "takes in the steps of another script, by its path from this one's folder",
        "include \"identify.session\"",
    ),
];

/// A table of the machine's vocabulary whose name the language knows.
#[derive(Debug)]
pub struct Spelled {
    /// The table's name.
    pub key: &'static str,
    /// The statement that needs it.
    pub verb: VerbKind,
    /// What the statement changes, where the vocabulary does not say otherwise.
    pub changes: Changes,
    /// The names that `send` may have in braces.
    pub names: &'static [&'static str],
    /// The groups that `reply` has to have.
    pub groups: &'static [&'static str],
    /// An example of `send`.
    pub example: &'static str,
}

const RANGE: &[&str] = &["from", "to", "last", "bytes"];

/// Every table of the vocabulary whose name the language knows; all others are for `ask`.
pub static SPELLED: &[Spelled] = &[
    spelled("dump", VerbKind::Dump, Changes::Nothing, RANGE, &["bytes"], "list {from:x} {bytes:x}"),
    spelled(
        "fill",
        VerbKind::Fill,
        Changes::Memory,
        &["from", "to", "last", "bytes", "value"],
        &[],
        "fill {from:x} {bytes:x} {value:x}",
    ),
    spelled("poke", VerbKind::Poke, Changes::Memory, &["at", "value"], &[], "set {at:x} {value:x}"),
    spelled("poke-word", VerbKind::Poke, Changes::Memory, &["at", "value"], &[], "setw {at:x} {value:x}"),
    spelled("poke-long", VerbKind::Poke, Changes::Memory, &["at", "value"], &[], "setl {at:x} {value:x}"),
    spelled("registers", VerbKind::Registers, Changes::Nothing, &[], &["name", "value"], "regs"),
    spelled(
        "read-sector",
        VerbKind::ReadSector,
        Changes::Nothing,
        &["sector", "track", "side", "drive", "into"],
        &[],
        "get {sector} {into:x}",
    ),
    spelled(
        "write-sector",
        VerbKind::WriteSector,
        Changes::Disk,
        &["sector", "track", "side", "drive", "from"],
        &[],
        "put {sector} {from:x}",
    ),
    spelled("load-boot-file", VerbKind::Load, Changes::Nothing, &["name", "into"], &[], "load"),
    spelled("load-file", VerbKind::Load, Changes::Nothing, &["name", "into"], &[], "load {name}"),
    spelled("start", VerbKind::Start, Changes::Nothing, &["at"], &[], "go {at:x}"),
];

const fn spelled(
    key: &'static str,
    verb: VerbKind,
    changes: Changes,
    names: &'static [&'static str],
    groups: &'static [&'static str],
    example: &'static str,
) -> Spelled {
    Spelled { key, verb, changes, names, groups, example }
}

/// What the vocabulary's table of a name is for; none for a verb of the machine's own.
#[must_use]
pub fn spelled_as(key: &str) -> Option<&'static Spelled> {
    SPELLED.iter().find(|it| it.key == key)
}

/// The keys that `press` knows by a word, and what they send.
pub static KEYS: &[(&str, u8)] =
    &[("return", 13), ("escape", 27), ("space", 32), ("tab", 9), ("backspace", 8), ("delete", 127)];

impl Verb {
    /// The statement of a kind.
    #[must_use]
    pub fn of(kind: VerbKind) -> &'static Self {
        VERBS.iter().find(|it| it.kind == kind).unwrap_or(&VERBS[0])
    }

    /// Its form in one line, as in `dump RANGE [as NAME]`.
    #[must_use]
    pub fn syntax(&self) -> String {
        let mut text = self.name.to_owned();
        for part in self.form.iter().chain(tail(self.kind)) {
            text.push(' ');
            text.push_str(&part.syntax());
        }
        text
    }
}

impl Slot {
    /// How it stands in forms and messages.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Expression => "VALUE".into(),
            Self::Range => "FROM .. TO".into(),
            Self::Name => "NAME".into(),
            Self::Label => "NAME".into(),
            Self::Text => "\"TEXT\"".into(),
            Self::Time => "TIME".into(),
            Self::Key => "KEY".into(),
            Self::Frame => "8n1".into(),
            Self::Choice(words) => words.join("|"),
            Self::Arguments => "NAME VALUE, ...".into(),
        }
    }

    /// What is expected where it has to stand.
    #[must_use]
    pub fn expected(self) -> String {
        match self {
            Self::Expression => "a value: a number, a text, a name, or a bracket".into(),
            Self::Range => "a range, as in `$400 .. $800` or `$400 +: 512`".into(),
            Self::Name | Self::Label => "a name".into(),
            Self::Text => "a text between double quotes".into(),
            Self::Time => "a time, as in `200ms`, `10s` or `5min`".into(),
            Self::Key => {
                let words: Vec<&str> = KEYS.iter().map(|it| it.0).collect();
                format!("a key: {}, control-c or the like, or a character such as 'B'", words.join(", "))
            }
            Self::Frame => "data bits, parity and stop bits, as in `8n1`".into(),
            Self::Choice(words) => format!("`{}`", words.join("` or `")),
            Self::Arguments => "names with values, between commas".into(),
        }
    }
}

impl Part {
    fn syntax(&self) -> String {
        let all = |parts: &[Self]| parts.iter().map(Self::syntax).collect::<Vec<_>>().join(" ");
        match self {
            Self::Word(word) | Self::Flag(word) => (*word).to_owned(),
            Self::Slot(_, slot) => slot.name(),
            Self::Maybe(parts) => format!("[{}]", all(parts)),
            Self::OneOf(choices) => format!("({})", choices.iter().map(|it| all(it)).collect::<Vec<_>>().join(" | ")),
        }
    }

    /// What is expected where it has to stand.
    pub(crate) fn expected(&self) -> String {
        match self {
            Self::Word(word) | Self::Flag(word) => format!("`{word}`"),
            Self::Slot(_, slot) => slot.expected(),
            Self::Maybe(parts) => parts.first().map_or_else(String::new, Self::expected),
            Self::OneOf(choices) => {
                let first: Vec<String> = choices.iter().filter_map(|it| Some(it.first()?.expected())).collect();
                first.join(" or ")
            }
        }
    }
}
