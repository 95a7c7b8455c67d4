//! What the file says, in the words of the program.

use std::ops::Range;

use crate::check;
use crate::keys::{DEFAULT_ENCODING, DEFAULT_ENDIAN, FILE};
use crate::place::{Problem, Spanned};
use crate::tree::{Table, parse};

/// A file that was read.
#[derive(Clone, Debug)]
pub struct Reading {
    /// What it says. What is wrong is left out.
    pub file: MachineFile,
    /// What is wrong, in the order of the text.
    pub problems: Vec<Problem>,
    /// The same as tables with their keys and places.
    pub tree: Table,
}

/// Reads the text of a `reveille.toml`.
#[must_use]
pub fn read(text: &str) -> Reading {
    let (tree, mut problems) = parse(text, &FILE);
    let file = MachineFile::new(&tree);
    // Where the text itself is broken, what follows from it is no news.
    if problems.iter().all(|it| it.kind != crate::place::ProblemKind::Syntax) {
        check::check(text, &file, &mut problems);
    }
    problems.sort_by_key(|it| it.span.start);
    Reading { file, problems, tree }
}

/// What a file says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MachineFile {
    /// How the source is read.
    pub firmware: Firmware,
    /// The machines in the order of the text.
    pub machines: Vec<Machine>,
    /// Parameter blocks of the machine's own.
    pub blocks: Vec<BlockText>,
}

/// How the source is read; see [`crate::keys::FIRMWARE`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Firmware {
    /// Files that are assembled; none for every file that no other includes.
    pub roots: Vec<Spanned<String>>,
    /// Folders in which included files are looked for.
    pub include: Vec<Spanned<String>>,
    /// A dialect's name, or `auto`.
    pub dialect: Option<Spanned<&'static str>>,
    /// Names with values.
    pub defines: Vec<(Spanned<String>, Spanned<i64>)>,
    /// The address of each root that sets none itself.
    pub origin: Option<Spanned<u32>>,
    /// Bits of an `int` in C: `16` or `32`.
    pub c_int: Option<Spanned<&'static str>>,
}

/// A machine; see [`crate::keys::MACHINE`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Machine {
    /// Its name in the file.
    pub name: Spanned<String>,
    /// What it is called.
    pub title: Option<Spanned<String>>,
    /// Its processor's number; the 68000 if there is none.
    pub cpu: Option<Spanned<&'static str>>,
    /// The processor's clock in Hz.
    pub clock: Option<Spanned<u32>>,
    /// Ranges of its addresses.
    pub memory: Vec<Memory>,
    /// Serial ports.
    pub serial: Vec<Serial>,
    /// Diskette drives.
    pub drives: Vec<Drive>,
    /// How its ROM monitor is talked to.
    pub monitor: Option<Monitor>,
}

/// A ROM monitor; see [`crate::keys::MONITOR`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Monitor {
    /// Where it is written.
    pub span: Range<usize>,
    /// A regular expression for what stands in the last line when it waits.
    pub prompt: Option<Spanned<String>>,
    /// What ends a typed line.
    pub newline: Option<Spanned<String>>,
    /// Whether what is typed comes back.
    pub echo: Option<Spanned<bool>>,
    /// A regular expression for a line that tells of an error.
    pub error: Option<Spanned<String>>,
    /// What throws away a half-typed line.
    pub cancel: Option<Spanned<String>>,
    /// `none`, `xon-xoff` or `rts-cts`.
    pub flow: Option<Spanned<&'static str>>,
    /// What is waited behind every character, in ms.
    pub character_delay: Option<Spanned<u32>>,
    /// What is waited behind every line, in ms.
    pub line_delay: Option<Spanned<u32>>,
    /// What is typed for each verb.
    pub spellings: Vec<(Spanned<String>, Spelling)>,
}

/// What is typed for a verb; see [`crate::keys::SPELLING`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spelling {
    /// Where it is written.
    pub span: Range<usize>,
    /// What is typed.
    pub send: Spanned<String>,
    /// A regular expression for lines of the reply.
    pub reply: Option<Spanned<String>>,
    /// A regular expression for what ends the reply.
    pub until: Option<Spanned<String>>,
    /// `nothing`, `memory`, `nvram`, `disk` or `rom`.
    pub changes: Option<Spanned<&'static str>>,
    /// How many bytes one command can be asked for.
    pub most: Option<Spanned<u32>>,
    /// How many seconds it takes at most, beside the transfer.
    pub within: Option<Spanned<u32>>,
}

/// A range of addresses; see [`crate::keys::MEMORY`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Memory {
    /// Where it is written.
    pub span: Range<usize>,
    /// What addresses in it are called by.
    pub name: Spanned<String>,
    /// Its first address.
    pub from: Spanned<u32>,
    /// Its length in bytes, 1 to 2^32.
    pub size: Spanned<u64>,
    /// `rom`, `ram`, `nvram` or `device`.
    pub kind: Spanned<&'static str>,
    /// `have side effects` or `are harmless`.
    pub reads: Option<Spanned<&'static str>>,
}

/// A serial port; see [`crate::keys::SERIAL`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Serial {
    /// Where it is written.
    pub span: Range<usize>,
    /// What sessions call it.
    pub name: Spanned<String>,
    /// The chip that drives it.
    pub chip: Spanned<String>,
    /// The address of its first register.
    pub at: Spanned<u32>,
    /// Bytes from one register to the next; 1 if there is none.
    pub stride: Option<Spanned<u32>>,
    /// Which of the chip's channels.
    pub channel: Option<Spanned<String>>,
    /// The chip's clock in Hz.
    pub clock: Option<Spanned<u32>>,
    /// Which of the chip's variants, where they differ in their rates.
    pub variant: Option<Spanned<String>>,
    /// Which of the chip's timers clocks the line: `c` or `d`.
    pub timer: Option<Spanned<&'static str>>,
    /// The socket at the machine: `DB-25` or `DE-9`.
    pub connector: Option<Spanned<&'static str>>,
    /// Whose pins the socket has: `as DTE` or `as DCE`.
    pub wired: Option<Spanned<&'static str>>,
}

/// A diskette drive; see [`crate::keys::DRIVE`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drive {
    /// Where it is written.
    pub span: Range<usize>,
    /// What sessions call it.
    pub name: Option<Spanned<String>>,
    /// How many cylinders it reaches.
    pub cylinders: Option<Spanned<u32>>,
    /// How many sides it reads.
    pub heads: Option<Spanned<u32>>,
    /// Turns a minute.
    pub rpm: Option<Spanned<u32>>,
    /// Data bits a second.
    pub rate: Option<Spanned<u32>>,
    /// `MFM` or `FM`, where it is written; see [`Drive::encoding`].
    pub encoding: Option<Spanned<&'static str>>,
    /// The size of the disk in inches: `3.5`, `5.25` or `8`.
    pub medium: Option<Spanned<&'static str>>,
    /// The controller chip.
    pub controller: Option<Spanned<String>>,
    /// The controller's clock in Hz.
    pub clock: Option<Spanned<u32>>,
    /// The shortest time from one cylinder to the next that it can do, in ms.
    pub step: Option<Spanned<u32>>,
}

impl Drive {
    /// How bits are recorded: `MFM` or `FM`.
    #[must_use]
    pub fn encoding(&self) -> &'static str {
        self.encoding.as_ref().map_or(DEFAULT_ENCODING, |it| it.value)
    }
}

/// A parameter block; see [`crate::keys::BLOCK`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BlockText {
    /// Where it is written.
    pub span: Range<usize>,
    /// Its name.
    pub name: Spanned<String>,
    /// What it is.
    pub title: Option<Spanned<String>>,
    /// Labels of tables that have it.
    pub at: Vec<Spanned<String>>,
    /// How many follow each other in a table; 1 if there is none.
    pub repeat: Option<Spanned<u32>>,
    /// `big` or `little`, where it is written; see [`BlockText::endian`].
    pub endian: Option<Spanned<&'static str>>,
    /// Its address must be a multiple of this; of 1 if there is none.
    pub alignment: Option<Spanned<u32>>,
    /// Its fields in order, at least one; all that are written, so that none is at a wrong place.
    pub fields: Vec<FieldText>,
    /// Formulas that have to hold.
    pub rules: Vec<Spanned<String>>,
}

impl BlockText {
    /// The order of the bytes of its numbers: `big` or `little`.
    #[must_use]
    pub fn endian(&self) -> &'static str {
        self.endian.as_ref().map_or(DEFAULT_ENDIAN, |it| it.value)
    }
}

/// A field of a block; see [`crate::keys::FIELD`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldText {
    /// Where it is written.
    pub span: Range<usize>,
    /// Its name.
    pub name: Spanned<String>,
    /// Its length in bytes.
    pub bytes: Spanned<u32>,
    /// `number`, `code` or `text`; a number if there is none.
    pub kind: Option<Spanned<&'static str>>,
    /// What it says.
    pub meaning: Option<Spanned<String>>,
    /// What it counts.
    pub unit: Option<Spanned<String>>,
    /// The lowest plausible value.
    pub min: Option<Spanned<i64>>,
    /// The highest plausible value.
    pub max: Option<Spanned<i64>>,
    /// The plausible values; none for any.
    pub values: Vec<ValueText>,
    /// Plausible values are powers of two.
    pub power_of_two: Option<Spanned<bool>>,
    /// The only value it should have.
    pub must: Option<Spanned<i64>>,
}

impl FieldText {
    /// Whether its bytes are characters and not a number.
    #[must_use]
    pub fn is_text(&self) -> bool {
        self.kind.as_ref().is_some_and(|it| it.value == "text")
    }
}

/// A value that a field can have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ValueText {
    /// The value.
    pub number: Spanned<i64>,
    /// The word for it.
    pub word: Option<Spanned<String>>,
}

impl MachineFile {
    fn new(file: &Table) -> Self {
        Self {
            firmware: file.table("firmware").map(Firmware::new).unwrap_or_default(),
            machines: file.named("machine").iter().map(|(name, table)| Machine::new(name, table)).collect(),
            blocks: file.tables("block").iter().filter_map(BlockText::new).collect(),
        }
    }
}

impl Firmware {
    fn new(table: &Table) -> Self {
        Self {
            roots: table.texts("roots").to_vec(),
            include: table.texts("include").to_vec(),
            dialect: table.choice("dialect"),
            defines: table.numbers("defines").to_vec(),
            origin: table.number32("origin"),
            c_int: table.choice("c-int"),
        }
    }
}

impl Machine {
    fn new(name: &Spanned<String>, table: &Table) -> Self {
        Self {
            name: name.clone(),
            title: table.text("title"),
            cpu: table.choice("cpu"),
            clock: table.number32("clock"),
            memory: table.tables("memory").iter().filter_map(Memory::new).collect(),
            serial: table.tables("serial").iter().filter_map(Serial::new).collect(),
            drives: table.tables("drive").iter().map(Drive::new).collect(),
            monitor: table.table("monitor").map(Monitor::new),
        }
    }
}

impl Memory {
    fn new(table: &Table) -> Option<Self> {
        let size = table.number("size")?;
        Some(Self {
            span: table.span.clone(),
            name: table.text("name")?,
            from: table.number32("from")?,
            size: size.with(u64::try_from(size.value).ok()?),
            kind: table.choice("kind")?,
            reads: table.choice("reads"),
        })
    }
}

impl Serial {
    fn new(table: &Table) -> Option<Self> {
        Some(Self {
            span: table.span.clone(),
            name: table.text("name")?,
            chip: table.text("chip")?,
            at: table.number32("at")?,
            stride: table.number32("stride"),
            channel: table.text("channel"),
            clock: table.number32("clock"),
            variant: table.text("variant"),
            timer: table.choice("timer"),
            connector: table.choice("connector"),
            wired: table.choice("wired"),
        })
    }
}

impl Drive {
    fn new(table: &Table) -> Self {
        Self {
            span: table.span.clone(),
            name: table.text("name"),
            cylinders: table.number32("cylinders"),
            heads: table.number32("heads"),
            rpm: table.number32("rpm"),
            rate: table.number32("rate"),
            encoding: table.choice("encoding"),
            medium: table.choice("medium"),
            controller: table.text("controller"),
            clock: table.number32("clock"),
            step: table.number32("step"),
        }
    }
}

impl Monitor {
    fn new(table: &Table) -> Self {
        let spellings = table.others.iter().filter_map(|(name, table)| Some((name.clone(), Spelling::new(table)?)));
        Self {
            span: table.span.clone(),
            prompt: table.text("prompt"),
            newline: table.text("newline"),
            echo: table.flag("echo"),
            error: table.text("error"),
            cancel: table.text("cancel"),
            flow: table.choice("flow"),
            character_delay: table.number32("character-delay"),
            line_delay: table.number32("line-delay"),
            spellings: spellings.collect(),
        }
    }
}

impl Spelling {
    fn new(table: &Table) -> Option<Self> {
        Some(Self {
            span: table.span.clone(),
            send: table.text("send")?,
            reply: table.text("reply"),
            until: table.text("until"),
            changes: table.choice("changes"),
            most: table.number32("most"),
            within: table.number32("within"),
        })
    }
}

impl BlockText {
    /// None without a name, or where a field cannot be read: those behind it would be at a wrong place.
    fn new(table: &Table) -> Option<Self> {
        let fields: Option<Vec<_>> = table.tables("fields").iter().map(FieldText::new).collect();
        Some(Self {
            span: table.span.clone(),
            name: table.text("name")?,
            title: table.text("title"),
            at: table.texts("at").to_vec(),
            repeat: table.number32("repeat"),
            endian: table.choice("endian"),
            alignment: table.number32("alignment"),
            fields: fields.filter(|it| !it.is_empty())?,
            rules: table.texts("rules").to_vec(),
        })
    }
}

impl FieldText {
    fn new(table: &Table) -> Option<Self> {
        Some(Self {
            span: table.span.clone(),
            name: table.text("name")?,
            bytes: table.number32("bytes")?,
            kind: table.choice("kind"),
            meaning: table.text("meaning"),
            unit: table.text("unit"),
            min: table.number("min"),
            max: table.number("max"),
            values: table.values("values").to_vec(),
            power_of_two: table.flag("power_of_two"),
            must: table.number("must"),
        })
    }
}
