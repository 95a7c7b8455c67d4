//! What can be written at a place.

use std::ops::Range;

use reveille_cpu::{Kind, Kinds, MNEMONICS, Mnemonic, Register, Size};
use reveille_facts::Model;
use reveille_program::{DefinitionKind, FileId, Value};
use reveille_source::{DIRECTIVES, Dialect, LineKind, Meaning, Operation};

use crate::c;
use crate::lookup::Spot;
use crate::machine_file::{self, machine_file};
use crate::session::{self, View};

/// What is offered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CompletionKind {
    /// An instruction.
    Instruction,
    /// A directive.
    Directive,
    /// A macro.
    Macro,
    /// An addressing mode.
    Mode,
    /// A size suffix.
    Size,
    /// A register.
    Register,
    /// A label.
    Label,
    /// A constant.
    Constant,
    /// A file to include.
    File,
    /// A block layout.
    Layout,
    /// A heading of the machine file.
    Heading,
    /// A key of the machine file.
    Key,
    /// A value of such a key.
    Value,
    /// A word of a session's statements.
    Word,
    /// A name that a step of a session has bound.
    Bound,
    /// A field of a block.
    Field,
}

/// Something that can be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Completion {
    /// The text.
    pub label: String,
    /// What it is.
    pub kind: CompletionKind,
    /// More about it, in one line.
    pub detail: String,
    /// All about it, in Markdown; may be empty.
    pub documentation: String,
    /// What is written, if it is another text.
    pub insert: Option<String>,
    /// What it takes the place of.
    pub range: Range<usize>,
}

impl Completion {
    /// One that is written as it is shown.
    pub(crate) fn plain(label: String, kind: CompletionKind, detail: String, range: Range<usize>) -> Self {
        Self { label, kind, detail, documentation: String::new(), insert: None, range }
    }
}

/// How many names are offered at most.
pub(crate) const MOST: usize = 400;

/// What can be written at a byte of a file; and whether there is more than is offered.
#[must_use]
pub fn completions(model: &Model, file: FileId, byte: usize) -> (Vec<Completion>, bool) {
    if let Some(view) = View::of(model, file) {
        return session::completions(&view, byte);
    }
    if let Some(view) = c::View::of(model, file) {
        return c::completions(&view, byte);
    }
    if let Some(file) = machine_file(model, file) {
        return machine_file::completions(model, file, byte);
    }
    let Some(spot) = Spot::new(model, file, byte) else { return operations_of_empty_line(model, file, byte) };
    let before = &spot.text[..spot.at];
    let is_word = |it: char| it.is_ascii_alphanumeric() || matches!(it, '_' | '.' | '$' | '@' | '?') || !it.is_ascii();
    let word_start = before
        .rfind(|it: char| !is_word(it))
        .map_or(0, |at| at + before[at..].chars().next().map_or(1, char::len_utf8));
    let dialect = spot.file.source().dialect();
    let range = |start: usize| spot.in_file(&(start..spot.at));
    let comment = spot.line.comment.range();
    if !comment.is_empty() && spot.at > comment.start {
        return (layout_names(model, file, before, &range), false);
    }
    let operation = spot.line.operation.range();
    let is_in_operands = !operation.is_empty() && spot.at > usize::from(spot.line.size_span().end);
    if is_in_operands && spot.line.kind == LineKind::Statement {
        return operands(&spot, word_start, &range);
    }
    // In column one a label begins: nothing can be known of it.
    if word_start == 0 && spot.line.kind != LineKind::Blank && !dialect.is_unix() {
        return (Vec::new(), false);
    }
    let typed = &before[word_start..];
    if let Some(dot) = typed.rfind('.').filter(|at| *at > 0) {
        let start = word_start + dot + 1;
        return (sizes(&typed[..dot], &range(start)), false);
    }
    (operations(model, file, &range(word_start), typed, dialect), false)
}

fn operations_of_empty_line(model: &Model, file: FileId, byte: usize) -> (Vec<Completion>, bool) {
    // Behind the last line end there is no line yet.
    let Some(source) = model.program().file(file) else { return (Vec::new(), false) };
    (operations(model, file, &(byte..byte), "", source.source().dialect()), false)
}

/// Upper case if what is typed, or the file's first operation, is.
fn in_case(text: &str, upper: bool) -> String {
    if upper { text.to_ascii_uppercase() } else { text.to_owned() }
}

fn writes_upper(model: &Model, file: FileId, typed: &str) -> bool {
    if let Some(letter) = typed.bytes().find(u8::is_ascii_alphabetic) {
        return letter.is_ascii_uppercase();
    }
    let Some(source) = model.program().file(file) else { return false };
    let Some(chunk) = source.source().chunks().first() else { return false };
    let mut operations = chunk
        .lines()
        .iter()
        .filter(|line| line.op.is_instruction())
        .map(|line| line.operation.of(chunk.line_text(line)));
    operations.next().is_some_and(|it| it.bytes().all(|byte| byte.is_ascii_uppercase()))
}

fn operations(model: &Model, file: FileId, range: &Range<usize>, typed: &str, dialect: Dialect) -> Vec<Completion> {
    let upper = writes_upper(model, file, typed);
    let mut found: Vec<Completion> = Vec::new();
    let mut push = |label: String, kind, detail: &str| {
        found.push(Completion::plain(label, kind, detail.to_owned(), range.clone()));
    };
    for mnemonic in MNEMONICS.iter() {
        push(in_case(mnemonic.name, upper), CompletionKind::Instruction, mnemonic.summary);
    }
    let dot = if dialect.is_unix() { "." } else { "" };
    for directive in DIRECTIVES {
        push(format!("{dot}{}", in_case(directive.name, upper)), CompletionKind::Directive, directive.summary);
    }
    let program = model.program();
    if let Some(unit) = model.analysis().unit_of(file) {
        for definition in unit.definitions().iter().filter(|it| it.kind == DefinitionKind::Macro) {
            push(program.names().text(definition.symbol).to_string(), CompletionKind::Macro, "macro of this program");
        }
    }
    found
}

/// Addressing modes to start from.
const MODES: &[(Kind, &str, &str)] = &[
    (Kind::Immediate, "#", "a constant"),
    (Kind::Indirect, "(a0)", "memory at an address register"),
    (Kind::PostIncrement, "(a0)+", "memory at an address register, which steps on"),
    (Kind::PreDecrement, "-(a0)", "memory in front of an address register, which steps back"),
    (Kind::Displacement, "0(a0)", "memory at an address register and a distance of 16 bits"),
    (Kind::Index, "0(a0,d0.w)", "memory at an address register, an index register and a distance of 8 bits"),
    (Kind::PcDisplacement, "0(pc)", "memory at a distance from here"),
    (Kind::PcIndex, "0(pc,d0.w)", "memory at a distance and an index register from here"),
    (Kind::List, "d0-d1/a0", "a list of registers"),
];

/// What the operand at a spot may be: of the forms that have the line's size, and take the operand before it.
fn legal_kinds(spot: &Spot<'_>, mnemonic: &'static Mnemonic) -> Kinds {
    let chunk = &spot.file.source().chunks()[spot.place.chunk as usize];
    let before = chunk.operands(spot.line).into_iter().filter(|it| it.end < spot.at).count();
    let size = Size::from_letter(spot.line.size);
    let forms = reveille_cpu::forms_of(mnemonic, spot.settings().cpu).map(|it| it.0);
    let forms = forms.filter(|it| it.operand_count() > before);
    let forms = forms.filter(|it| size.is_none_or(|size| it.sizes.is_empty() || it.sizes.allows(size)));
    let first = (before == 1).then(|| chunk.operands(spot.line).into_iter().next()).flatten();
    let first = first.map(|range| reveille_program::operand_kind(spot.text, range, chunk.dialect()));
    let forms = forms.filter(|it| first.is_none_or(|kind| it.takes[0].takes(kind)));
    let kinds = forms.fold(Kinds::NONE, |sum, it| sum.or(it.takes[before.min(1)]));
    if size == Some(Size::Byte) { kinds.without(Kinds::only(Kind::Address)) } else { kinds }
}

/// Whether a register can stand where the word begins: inside brackets only those that an address is made of.
fn is_legal(spot: &Spot<'_>, word_start: usize, legal: Kinds, register: Register) -> bool {
    let before = spot.text[..word_start].trim_end();
    let field = usize::from(spot.line.operands.start).min(before.len());
    let inside = before[field..].matches('(').count() > before[field..].matches(')').count();
    match register {
        Register::Address(_) if inside => true,
        Register::Pc => inside && (legal.has(Kind::PcDisplacement) || before.ends_with('(')),
        Register::Data(_) if inside => before.ends_with(','),
        _ if inside => false,
        Register::Data(_) => legal.has(Kind::Data),
        Register::Address(_) => legal.has(Kind::Address),
        Register::Sr => legal.has(Kind::Status),
        Register::Ccr => legal.has(Kind::Conditions),
        Register::Usp | Register::Ssp => legal.has(Kind::UserStack),
        Register::Vbr | Register::Sfc | Register::Dfc => legal.has(Kind::Control),
    }
}

fn sizes(name: &str, range: &Range<usize>) -> Vec<Completion> {
    let size = |letter: char, detail: &str| {
        Completion::plain(letter.to_string(), CompletionKind::Size, detail.to_owned(), range.clone())
    };
    if let Some(mnemonic) = reveille_cpu::mnemonic(name) {
        let is_branch = mnemonic.sizes.allows(Size::Short);
        return mnemonic
            .sizes
            .iter()
            .map(|it| {
                size(
                    it.letter(),
                    if is_branch { "length of the branch" } else { ["byte", "word", "long word", ""][it as usize] },
                )
            })
            .collect();
    }
    let takes_size = reveille_source::directive_index(name).is_some_and(|at| {
        matches!(
            DIRECTIVES[at].meaning,
            Meaning::Constants | Meaning::Block | Meaning::Reserve | Meaning::StructureField
        )
    });
    if takes_size { vec![size('b', "byte"), size('w', "word"), size('l', "long word")] } else { Vec::new() }
}

/// Behind `@block ` in a comment: the layouts that there are.
fn layout_names(model: &Model, file: FileId, before: &str, range: &dyn Fn(usize) -> Range<usize>) -> Vec<Completion> {
    let Some(mark) = before.rfind("@block ") else { return Vec::new() };
    let start = mark + "@block ".len();
    if before[start..].contains(' ') {
        return Vec::new();
    }
    let offer = |it: &std::sync::Arc<reveille_decoders::Layout>| {
        Completion::plain(it.name.clone(), CompletionKind::Layout, it.title.clone(), range(start))
    };
    model.machine_of(file).layouts.iter().map(offer).collect()
}

fn operands(spot: &Spot<'_>, word_start: usize, range: &dyn Fn(usize) -> Range<usize>) -> (Vec<Completion>, bool) {
    let (model, program) = (spot.model, spot.model.program());
    let typed = spot.text[word_start..spot.at].to_ascii_lowercase();
    let mut found = Vec::new();
    let mut push = |label: String, kind, detail: String, start: usize| {
        found.push(Completion::plain(label, kind, detail, range(start)));
    };
    if let Operation::Directive(directive) = spot.line.op.get()
        && directive.meaning == Meaning::Include
    {
        let start = spot.text[..spot.at].rfind(['"', '\'', '<', ' ', '\t']).map_or(word_start, |at| at + 1);
        let folder = spot.file.path().parent();
        for file in program.files().filter(|it| it.id() != spot.place.file) {
            let path = folder.and_then(|folder| file.path().strip_prefix(folder).ok());
            if let Some(path) = path {
                push(path.to_string_lossy().replace('\\', "/"), CompletionKind::File, String::new(), start);
            }
        }
        return (found, false);
    }
    if let Operation::Instruction(mnemonic) = spot.line.op.get() {
        let upper = writes_upper(model, spot.place.file, &typed);
        let legal = legal_kinds(spot, mnemonic);
        if typed.is_empty() {
            for (kind, text, detail) in MODES {
                if legal.has(*kind) {
                    push(in_case(text, upper), CompletionKind::Mode, (*detail).to_owned(), word_start);
                }
            }
        }
        for name in [
            "d0", "d1", "d2", "d3", "d4", "d5", "d6", "d7", "a0", "a1", "a2", "a3", "a4", "a5", "a6", "a7", "sp", "pc",
            "sr", "ccr", "usp",
        ] {
            if let Some(register) = reveille_cpu::register(name)
                && name.contains(&typed)
                && is_legal(spot, word_start, legal, register)
            {
                push(in_case(name, upper), CompletionKind::Register, register.describe(), word_start);
            }
        }
    }
    let Some(unit) = spot.unit() else { return (found, false) };
    let mut is_more = false;
    let mut seen = rustc_hash::FxHashSet::default();
    let scope = unit.scope_at(program, spot.place);
    // Names near the place first: what is typed here most often belongs here.
    for definition in unit.definitions().iter().rev() {
        let name = program.names().text(definition.symbol);
        if definition.symbol.is_local() && !unit.is_in_scope(definition, scope) {
            continue;
        }
        if definition.kind == DefinitionKind::Macro
            || !name.to_ascii_lowercase().contains(&typed)
            || !seen.insert(definition.symbol)
        {
            continue;
        }
        if seen.len() > MOST {
            is_more = true;
            break;
        }
        let (kind, detail) = match (definition.kind, definition.value) {
            (DefinitionKind::Label, Value::Number(address)) => {
                (CompletionKind::Label, format!("label at ${address:X}"))
            }
            (DefinitionKind::Label, _) => (CompletionKind::Label, "label".to_owned()),
            (DefinitionKind::RegisterName, _) => (CompletionKind::Register, "register name".to_owned()),
            (_, Value::Number(value)) => (CompletionKind::Constant, format!("{value} = ${value:X}")),
            _ => (CompletionKind::Constant, String::new()),
        };
        push(name.to_string(), kind, detail, word_start);
    }
    (found, is_more)
}
