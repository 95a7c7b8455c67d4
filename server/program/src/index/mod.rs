//! What a chunk of lines gives the program: definitions, uses, sizes, data tables. Made once when the chunk is read.

mod data;
mod instructions;
mod items;
mod stores;

use std::sync::Arc;

use reveille_source::{Chunk, Dialect, Line, LineKind, Meaning, Operation, Span};

use crate::instruction::{Expr, Instruction};
use crate::preprocessor::{Directive, directive};
use crate::settings::Settings;
use crate::unit::ProblemKind;
use crate::{Names, Symbol};

pub(crate) use instructions::{Addressed, AddressedValue, addresses};
use items::static_bytes;
pub(crate) use items::{
    MARKS, fits, has_mark, include_name, is_float_size, is_text, item_bytes, marked, names, value_in_operands,
};
pub use items::{Subjects, is_local_label, subjects};
pub use stores::low_stores;

/// A chunk with its index.
#[derive(Debug)]
pub(crate) struct Indexed {
    pub(crate) chunk: Arc<Chunk>,
    pub(crate) events: Box<[Event]>,
    /// Names of ordinary symbols where they are used, in the order of the lines.
    pub(crate) uses: Box<[Use]>,
    /// Names of local labels where they are used.
    pub(crate) local_uses: Box<[Use]>,
    pub(crate) runs: Box<[Run]>,
    /// The names of the files that the lines include.
    pub(crate) includes: Box<[String]>,
    /// Problems of literal values, which no other line can change.
    pub(crate) problems: Box<[(u16, Span, ProblemKind)]>,
    /// Data lines whose values need names.
    pub(crate) symbolic: Box<[u16]>,
    /// Instructions that need names or the location, in the order of the lines.
    pub(crate) instructions: Box<[Instruction]>,
    /// Lines that write the status register.
    pub(crate) status_writes: Box<[u16]>,
    /// Operands of instructions that give an address by a number or a name, in the order of the lines.
    pub(crate) addressed: Box<[Addressed]>,
    /// Lines that may store a long word below $400, and where the destination starts.
    pub(crate) low_stores: Box<[(u16, u16)]>,
    /// For each line, the bytes of its instruction if it is part of a [`EventKind::Code`]; empty if there is none.
    pub(crate) sizes: Box<[u8]>,
    /// How the runs of data lie at the chunk's borders.
    pub(crate) border: Border,
}

/// How runs of data lie at a chunk's borders.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Border {
    /// The first run is the rest of one that the chunk before left open, if it did.
    pub(crate) starts_open: bool,
    /// The last run may go on in the next chunk.
    pub(crate) ends_open: bool,
    /// Nothing in the chunk is data or ends a run.
    pub(crate) is_clear: bool,
}

/// Something of a line that matters to the program's layout, names or structure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Event {
    pub(crate) line: u16,
    pub(crate) kind: EventKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum EventKind {
    /// A label for the location.
    Label(Symbol),
    /// A name for a value: EQU and its like.
    Equate(Symbol),
    /// A name for a value that may change.
    Set(Symbol),
    /// A name for a register or a list of registers.
    RegisterName(Symbol),
    /// Instructions of known length, one or more lines, and their bytes.
    Code(u32),
    /// An instruction whose length is open, by its place among [`Indexed::instructions`].
    Instruction(u16),
    /// Bytes of a known count; aligned to an even address first if `aligned`.
    Data { bytes: u32, aligned: bool },
    /// A directive that the layout has to read: the line tells.
    Directive,
    /// A call of a macro, if there is one of that name.
    Call(Symbol),
    /// A name that is a macro's.
    Macro(Symbol),
    /// A line of the C preprocessor.
    Preprocessor,
}

/// A name in an operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Use {
    pub(crate) symbol: Symbol,
    pub(crate) line: u16,
    pub(crate) start: u16,
    pub(crate) len: u16,
    /// Whether the name must be defined: not so for exports, tests of being defined, and the arguments of macros.
    pub(crate) must_exist: bool,
}

/// Lines of data in a row, from one label to the next.
#[derive(Clone, Debug)]
pub(crate) struct Run {
    pub(crate) first: u16,
    /// The line after the last.
    pub(crate) end: u16,
    pub(crate) label: Option<Symbol>,
    /// The first bytes, as far as they are literal, and how many.
    pub(crate) head: [u8; HEAD],
    pub(crate) head_len: u8,
    /// Whether a byte of the head needs the program to be known.
    pub(crate) is_symbolic: bool,
    /// Whether an operand of it is a text.
    pub(crate) has_text: bool,
    /// What the words of the label and the comments speak of.
    pub(crate) subjects: Subjects,
    /// Whether its first line lays down long words.
    pub(crate) is_longs: bool,
    /// How many operands its lines have.
    pub(crate) operands: u16,
    /// How many of them may be addresses of something, or distances to it, by their form alone.
    pub(crate) addresses: u16,
    /// Nothing but data since an ORG, or since the chunk's start.
    pub(crate) is_at_origin: bool,
    /// A comment says what the table is, by a mark of our own.
    pub(crate) is_marked: bool,
}

/// How many of a run's first bytes are looked at to tell whether it may be a parameter block.
pub(crate) const HEAD: usize = 13;

struct Builder<'a> {
    chunk: &'a Chunk,
    dialect: Dialect,
    /// Texts to intern, and where each goes.
    texts: Vec<&'a str>,
    labels: Vec<(usize, u16)>,
    events: Vec<Event>,
    uses: Vec<(usize, Use)>,
    runs: Vec<Run>,
    run_labels: Vec<Option<usize>>,
    problems: Vec<(u16, Span, ProblemKind)>,
    symbolic: Vec<u16>,
    instructions: Vec<Instruction>,
    sizes: Vec<u8>,
    status_writes: Vec<u16>,
    addressed: Vec<Addressed>,
    low_stores: Vec<(u16, u16)>,
    /// Nothing but data since an ORG, or since the chunk's start.
    is_at_origin: bool,
    /// Problems of the instruction that is being read.
    read_problems: Vec<(Span, ProblemKind)>,
    settings: &'a Settings,
    includes: Vec<String>,
    /// The run that the last statement belongs to.
    open: bool,
    /// Something ended a run, or would have.
    was_closed: bool,
    /// The last line of code that stands in an event of its own.
    apart: Option<u16>,
    starts_open: bool,
    /// Text above a table: comment lines since the last statement.
    comment_subjects: Subjects,
    comment_marks: bool,
    /// A label on a line of its own, waiting for its data.
    waiting: Option<(usize, Subjects)>,
}

/// Stands for a name that is interned a moment later.
const UNSET: Symbol = Symbol::EMPTY;

/// Reads what the program needs of a chunk.
pub(crate) fn index(chunk: Arc<Chunk>, names: &Names, settings: &Settings) -> Indexed {
    let mut builder = Builder {
        chunk: &chunk,
        dialect: chunk.dialect(),
        texts: Vec::new(),
        labels: Vec::new(),
        events: Vec::new(),
        uses: Vec::new(),
        runs: Vec::new(),
        run_labels: Vec::new(),
        problems: Vec::new(),
        symbolic: Vec::new(),
        instructions: Vec::new(),
        sizes: Vec::new(),
        status_writes: Vec::new(),
        addressed: Vec::new(),
        low_stores: Vec::new(),
        is_at_origin: true,
        read_problems: Vec::new(),
        settings,
        includes: Vec::new(),
        open: false,
        was_closed: false,
        apart: None,
        starts_open: false,
        comment_subjects: Subjects::default(),
        comment_marks: false,
        waiting: None,
    };
    for (at, line) in chunk.lines().iter().enumerate() {
        builder.line(at as u16, line);
    }
    let dialect = builder.dialect;
    let symbols = names.intern_all(builder.texts.iter().copied());
    let is_local = |text: usize| is_local_label(builder.texts[text], dialect);
    let symbol = |text: usize| if is_local(text) { symbols[text].local() } else { symbols[text] };
    for (text, event) in &builder.labels {
        let event = &mut builder.events[usize::from(*event)];
        match &mut event.kind {
            EventKind::Label(name) | EventKind::Equate(name) | EventKind::Set(name) | EventKind::RegisterName(name) => {
                *name = symbol(*text)
            }
            EventKind::Call(name) | EventKind::Macro(name) => *name = symbols[*text],
            _ => (),
        }
    }
    for (run, text) in builder.runs.iter_mut().zip(&builder.run_labels) {
        run.label = text.map(symbol);
    }
    let (mut uses, mut local_uses) = (Vec::with_capacity(builder.uses.len()), Vec::new());
    for (text, mut found) in builder.uses.iter().copied() {
        found.symbol = symbol(text);
        if found.symbol.is_local() { local_uses.push(found) } else { uses.push(found) }
    }
    let mut instructions = std::mem::take(&mut builder.instructions);
    for term in instructions.iter_mut().flat_map(|it| &mut it.operands) {
        // The reader left the place of the name among the texts.
        if let Expr::Name(name, ..) = &mut term.value {
            *name = symbol(name.index());
        }
    }
    let border = Border {
        starts_open: builder.starts_open,
        ends_open: builder.open,
        is_clear: builder.runs.is_empty() && !builder.was_closed,
    };
    let Builder { events, runs, problems, symbolic, sizes, status_writes, addressed, low_stores, includes, .. } =
        builder;
    Indexed {
        events: events.into(),
        uses: uses.into(),
        local_uses: local_uses.into(),
        runs: runs.into(),
        problems: problems.into(),
        symbolic: symbolic.into(),
        instructions: instructions.into(),
        sizes: sizes.into(),
        status_writes: status_writes.into(),
        addressed: addressed.into(),
        low_stores: low_stores.into(),
        includes: includes.into(),
        border,
        chunk,
    }
}

impl<'a> Builder<'a> {
    fn text(&mut self, text: &'a str) -> usize {
        self.texts.push(text);
        self.texts.len() - 1
    }

    fn event(&mut self, line: u16, kind: EventKind, name: Option<usize>) {
        if let Some(name) = name {
            self.labels.push((name, self.events.len() as u16));
        }
        self.events.push(Event { line, kind });
    }

    fn line(&mut self, at: u16, line: &Line) {
        let chunk = self.chunk;
        let text = chunk.line_text(line);
        match line.kind {
            LineKind::Blank | LineKind::TooLong => return,
            LineKind::Preprocessor => return self.preprocessor(at, text),
            LineKind::Comment => {
                let comment = line.comment.of(text);
                self.comment_subjects |= subjects(comment);
                self.comment_marks |= has_mark(comment);
                return;
            }
            LineKind::Statement => (),
        }
        let label = (!line.label.is_empty()).then(|| line.label.of(text));
        let operation = line.op.get();
        let names_value = match operation {
            Operation::Assignment => true,
            Operation::Directive(directive) => matches!(
                directive.meaning,
                Meaning::Equate | Meaning::Set | Meaning::RegisterName | Meaning::Macro | Meaning::StructureField
            ),
            _ => false,
        };
        let mut own = None;
        if let Some(label) = label {
            let id = self.text(label);
            own = Some(id);
            let is_alone = matches!(operation, Operation::None | Operation::MacroCall);
            if is_alone && line.is_bare_label() && reveille_cpu::mnemonic(label).is_some() {
                self.problems.push((at, line.label, ProblemKind::LabelIsInstruction));
            }
            if !names_value {
                self.event(at, EventKind::Label(UNSET), own);
            }
        }
        match operation {
            Operation::None => {
                let words =
                    label.map(subjects).unwrap_or_default() | self.comment_subjects | subjects(line.comment.of(text));
                self.comment_marks |= has_mark(line.comment.of(text));
                self.waiting = own.map(|id| (id, words));
                self.open = false;
                self.was_closed = true;
                self.comment_subjects = Subjects::default();
            }
            Operation::Instruction(mnemonic) => {
                self.instruction(at, line, text, mnemonic);
                self.is_at_origin = false;
                self.close();
            }
            Operation::Assignment => {
                // `=` gives a value once in Motorola syntax, and again and again in the dotted style (Using as 2.40, 5.2).
                let is_once = line.operation.of(text) == "=" && !self.dialect.is_unix();
                let kind = if is_once { EventKind::Equate } else { EventKind::Set };
                self.event(at, kind(UNSET), own);
                self.uses(at, text, line.operands, true);
                self.comment_subjects = Subjects::default();
            }
            Operation::MacroCall => {
                if !line.operation.is_empty() {
                    let name = self.text(line.operation.of(text));
                    self.event(at, EventKind::Call(UNSET), Some(name));
                }
                self.uses(at, text, line.operands, false);
                self.is_at_origin = false;
                self.close();
            }
            Operation::Directive(directive) => self.directive(at, line, text, directive, own),
        }
    }

    fn preprocessor(&mut self, at: u16, text: &'a str) {
        match directive(text) {
            None => return,
            Some(Directive::Include { name, .. }) => self.includes.push(text[name].to_owned()),
            Some(Directive::Define { parameters: None, body, .. }) => {
                self.uses(at, text, Span { start: body.start as u16, end: body.end as u16 }, false);
            }
            Some(_) => (),
        }
        self.event(at, EventKind::Preprocessor, None);
        self.close();
    }

    fn directive(
        &mut self,
        at: u16,
        line: &Line,
        text: &'a str,
        directive: &reveille_source::Directive,
        own: Option<usize>,
    ) {
        match directive.meaning {
            Meaning::Equate | Meaning::Set | Meaning::RegisterName => {
                let kind: fn(Symbol) -> EventKind = match directive.meaning {
                    // `.equ` is `.set` there (Using as 2.40, 7.28).
                    Meaning::Equate if !line.is_dotted() => EventKind::Equate,
                    Meaning::Equate | Meaning::Set => EventKind::Set,
                    _ => EventKind::RegisterName,
                };
                let must_exist = directive.meaning != Meaning::RegisterName;
                if own.is_some() {
                    self.event(at, kind(UNSET), own);
                    self.uses(at, text, line.operands, must_exist);
                } else if let Some((name, value)) = value_in_operands(self.chunk, line, text) {
                    // The Unix order: `.equ name,value`.
                    let name = self.text(&text[name]);
                    self.event(at, kind(UNSET), Some(name));
                    self.uses(at, text, value, must_exist);
                }
                self.comment_subjects = Subjects::default();
            }
            Meaning::Macro => {
                let name = own.or_else(|| {
                    let first = self.chunk.operands(line).into_iter().next()?;
                    let word = text[first].split_whitespace().next()?;
                    Some(self.text(word))
                });
                self.event(at, EventKind::Macro(UNSET), name);
                self.close();
            }
            Meaning::StructureField => {
                self.event(at, EventKind::Directive, None);
                self.uses(at, text, line.operands, true);
            }
            Meaning::Constants
            | Meaning::ConstantsOf(_)
            | Meaning::Floats(_)
            | Meaning::Strings(_)
            | Meaning::Block
            | Meaning::Fill => {
                match static_bytes(text, line, directive, self.dialect) {
                    Some((bytes, aligned)) => self.event(at, EventKind::Data { bytes, aligned }, None),
                    None => self.event(at, EventKind::Directive, None),
                }
                self.data(at, line, text, directive, own);
                self.uses(at, text, line.operands, true);
            }
            Meaning::Reserve
            | Meaning::ReserveBytes
            | Meaning::Align
            | Meaning::AlignPower
            | Meaning::AlignOffset
            | Meaning::Origin
            | Meaning::Offsets
            | Meaning::StructureStart
            | Meaning::Repeat => {
                self.event(at, EventKind::Directive, None);
                self.is_at_origin |= directive.meaning == Meaning::Origin;
                // What a name of a list stands for is read where it stands.
                let is_list = matches!(directive.name, "irp" | "irpc");
                self.uses(at, text, line.operands, !is_list);
                if !is_list {
                    self.long_numbers(at, line, text);
                }
                self.close();
            }
            Meaning::If(condition) => {
                use reveille_source::Condition as C;
                self.event(at, EventKind::Directive, None);
                if !matches!(condition, C::Same | C::Different | C::Blank | C::NotBlank) {
                    let is_test = matches!(condition, C::Defined | C::NotDefined);
                    self.uses(at, text, line.operands, !is_test);
                }
            }
            Meaning::ElseIf => {
                self.event(at, EventKind::Directive, None);
                self.uses(at, text, line.operands, true);
            }
            Meaning::Export | Meaning::Import | Meaning::Common => {
                self.event(at, EventKind::Directive, None);
                self.uses(at, text, line.operands, false);
            }
            Meaning::Attribute => self.uses(at, text, line.operands, false),
            // A macro may have the name.
            Meaning::Listing | Meaning::Message | Meaning::LocalNames if directive.soft && !directive.needs_dot => {
                self.event(at, EventKind::Directive, None);
            }
            Meaning::Listing | Meaning::Message | Meaning::LocalNames => (),
            Meaning::Error => self.event(at, EventKind::Directive, None),
            Meaning::End => {
                self.event(at, EventKind::Directive, None);
                self.uses(at, text, line.operands, true);
                self.close();
            }
            Meaning::Include => {
                if let Some(range) = self.chunk.operands(line).into_iter().next() {
                    self.includes.push(include_name(&text[range]).to_owned());
                }
                self.event(at, EventKind::Directive, None);
                self.close();
            }
            Meaning::IncludeBytes
            | Meaning::Even
            | Meaning::Section
            | Meaning::NamedSection
            | Meaning::EndMacro
            | Meaning::LeaveMacro
            | Meaning::EndRepeat
            | Meaning::Else
            | Meaning::EndIf => {
                self.event(at, EventKind::Directive, None);
                self.close();
                if matches!(directive.meaning, Meaning::Section | Meaning::NamedSection) {
                    self.comment_subjects = subjects(line.operands.of(text)).vectors();
                }
            }
        }
    }

    /// Ends the run of data lines.
    fn close(&mut self) {
        self.open = false;
        self.was_closed = true;
        self.waiting = None;
        self.comment_subjects = Subjects::default();
        self.comment_marks = false;
    }

    fn uses(&mut self, at: u16, text: &'a str, span: Span, must_exist: bool) {
        if span.is_empty() {
            return;
        }
        let (texts, uses) = (&mut self.texts, &mut self.uses);
        names(span.of(text), self.dialect, |name, start| {
            // Borrow the name from the chunk, not from the closure's argument.
            let start = usize::from(span.start) + start;
            texts.push(&text[start..start + name.len()]);
            let found = Use { symbol: UNSET, line: at, start: start as u16, len: name.len() as u16, must_exist };
            uses.push((texts.len() - 1, found));
        });
    }
}
