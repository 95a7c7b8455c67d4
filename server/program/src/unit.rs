//! A root file with all it includes, laid out: where names are defined, what they are worth, what is wrong.

use std::ops::Range;
use std::sync::{Arc, OnceLock};

use reveille_cpu::{Misfit, OperandProblem};
use reveille_source::{Dialect, LineKind, Span, name_in};
use rustc_hash::{FxHashMap, FxHashSet};

use crate::expression::{Context, ExpressionProblem, Value, evaluate};
use crate::index::{Use, value_in_operands};
use crate::instruction::{Site, Sized};
use crate::layout::{Idle, Segment, State, Stop};
use crate::preprocessor::{Directive, directive};
use crate::{FileId, Program, Settings, SourceFile, Symbol};

/// A line of a file: the chunk it is in and its place there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// The file.
    pub file: FileId,
    /// The chunk's place in the file.
    pub chunk: u32,
    /// The line's place in the chunk.
    pub line: u16,
}

/// What a name is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DefinitionKind {
    /// A label: the address of what stands there.
    Label,
    /// A value given once.
    Equate,
    /// A value that may be given again.
    Set,
    /// A register or a list of registers.
    RegisterName,
    /// A macro.
    Macro,
    /// Another module's, or a common block: its address is not known.
    External,
    /// A name for text, by the C preprocessor.
    Text,
}

/// One definition of a name.
#[derive(Clone, Copy, Debug)]
pub struct Definition {
    /// The name.
    pub symbol: Symbol,
    /// What it is.
    pub kind: DefinitionKind,
    /// The line.
    pub place: Place,
    /// Its value.
    pub value: Value,
    /// The ordinary labels before it in the unit: the scope of local labels.
    pub(crate) scope: u32,
    /// The location at the definition.
    pub(crate) location: Value,
    /// Stands where a condition that is not known decides.
    pub(crate) is_uncertain: bool,
}

impl Definition {
    /// The ordinary labels before it in the unit: the scope of a local label.
    #[must_use]
    pub fn scope(&self) -> u32 {
        self.scope
    }
}

/// What is wrong with a program's lines.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum ProblemKind {
    /// A name is defined a second time; the first place.
    Duplicate(Place),
    /// A name is defined nowhere.
    Undefined(Symbol),
    /// A name's value needs the name itself.
    Circular(Symbol),
    /// Something is wrong with an expression.
    Expression(ExpressionProblem),
    /// An included file is not there.
    MissingInclude(String),
    /// A file includes itself, directly or by others.
    IncludeCycle(String),
    /// Includes nest deeper than 64.
    IncludeDepth,
    /// An operation that is no instruction, no directive and no macro of the program.
    UnknownOperation(Symbol),
    /// A directive does not have the size.
    BadSize,
    /// A conditional, macro or repetition ends that never started.
    NothingToEnd,
    /// A conditional, macro or repetition never ends.
    NeverEnds,
    /// A value does not fit into the item it is laid down in.
    DoesNotFit {
        /// The value.
        value: i64,
        /// The item's size in bytes.
        bytes: u32,
    },
    /// Text stands after END.
    AfterEnd,
    /// A count is negative or absurd.
    BadCount(i64),
    /// A directive needs an operand or a label that it lacks.
    Incomplete,
    /// A label in column one has the name of an instruction, and no operation follows.
    LabelIsInstruction,
    /// No form of an instruction takes these operands.
    Misfit(Misfit),
    /// An operand is a mode that only later members of the family have.
    LaterMode,
    /// The value of an instruction's operand cannot be encoded.
    Operand(OperandProblem),
    /// A word or a long at an odd address, or a jump to one.
    OddOperand {
        /// A jump.
        is_jump: bool,
    },
    /// An instruction stands at an odd address.
    OddInstruction,
    /// A privileged instruction in user state.
    Privileged,
    /// Lengths and addresses depend on each other and do not settle.
    Unsettled,
    /// Calls of macros nest too deep, or give too many lines.
    TooManyExpansions,
    /// Something is wrong with the form of a line that was made from others.
    Form(reveille_source::ProblemKind),
    /// The source itself says that something is wrong.
    Stated(String),
}

/// Something wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Problem {
    /// What.
    pub kind: ProblemKind,
    /// The line.
    pub place: Place,
    /// The part of the line.
    pub span: Span,
}

/// The lines that a call of a macro stands for.
#[derive(Clone, Debug)]
pub(crate) struct Expansion {
    /// The lines.
    pub(crate) file: Arc<SourceFile>,
    /// The call in the source; of a call inside an expansion the one that it came from.
    pub(crate) call: Place,
    /// The line that the lines stand for, which may be one of another expansion.
    pub(crate) from: Place,
    /// How many lines of the source they are made of, over and over; 0 where they are made of the line itself.
    pub(crate) body_lines: u32,
    /// Where the macro is defined.
    pub(crate) definition: Place,
}

/// A root file with all it includes, laid out.
#[derive(Debug, Default)]
pub struct Unit {
    pub(crate) root: Option<FileId>,
    pub(crate) files: Vec<FileId>,
    pub(crate) definitions: Vec<Definition>,
    /// For each name, the place in `definitions` of the one that counts, and 1; 0 for none.
    pub(crate) by_symbol: Vec<u32>,
    /// Names in lower case; made when a spelling is not found, which is rare.
    pub(crate) by_folded: OnceLock<FxHashMap<Symbol, u32>>,
    /// The definitions that name registers and lists of them.
    pub(crate) registers: Vec<u32>,
    /// The definitions of macros.
    pub(crate) macros: Vec<u32>,
    /// The macros' expansions, in the order of the program.
    pub(crate) expansions: Vec<Expansion>,
    pub(crate) locals: FxHashMap<(u32, Symbol), u32>,
    /// Numeric labels of the dotted style: all definitions of a digit, in order.
    pub(crate) numeric: FxHashMap<Symbol, Vec<u32>>,
    pub(crate) segments: Vec<Segment>,
    pub(crate) bases: Vec<BaseInfo>,
    /// What became of the instructions whose length was open, in the order of the program.
    pub(crate) sized: Vec<Sized>,
    /// Where each directive has left the location, in the order of the program.
    pub(crate) stops: Vec<Stop>,
    /// What each condition was decided to be, in the order of the program; none where nobody knows.
    pub(crate) decisions: Vec<Option<bool>>,
    /// Lines that others stand for, by names of the preprocessor.
    pub(crate) replaced: FxHashSet<Place>,
    /// Names that are given a value again and again.
    pub(crate) set_again: FxHashSet<Symbol>,
    /// The lines of each chunk that are not read.
    pub(crate) idle: FxHashMap<(FileId, u32), Idle>,
    pub(crate) problems: Vec<Problem>,
    pub(crate) missing: Vec<(FileId, String)>,
    /// Names that are made known to other modules, and where.
    pub(crate) exports: Vec<(Symbol, Place, Span)>,
    pub(crate) may_define_more: bool,
    /// A digest of all values of names: what was worked out with one digest holds for as long as it stays.
    pub(crate) values_digest: u64,
    /// Problems of data lines that need names, chunk by chunk.
    pub(crate) checked: Vec<crate::check::Checked>,
}

/// What is known of a base.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct BaseInfo {
    /// Whether its address is odd; none if not known.
    pub(crate) is_odd: Option<bool>,
    /// Whether it is the start of a section, which is even and is placed by whoever links or loads it.
    pub(crate) is_section: bool,
    /// What the address of a section is a multiple of.
    pub(crate) alignment: i64,
    /// Where it is taken to lie, if nobody says otherwise: sections follow each other from the origin on.
    pub(crate) address: Option<i64>,
}

impl Unit {
    /// The file that is included by no other.
    #[must_use]
    pub fn root(&self) -> Option<FileId> {
        self.root
    }

    /// A file of the program, or the lines of an expansion of this unit.
    #[must_use]
    pub fn file<'a>(&'a self, program: &'a Program, id: FileId) -> Option<&'a Arc<SourceFile>> {
        match id.expansion() {
            Some(at) => self.expansions.get(at).map(|it| &it.file),
            None => program.file(id),
        }
    }

    /// What it is read with: the settings of its root.
    #[must_use]
    pub fn settings<'a>(&self, program: &'a Program) -> &'a Arc<Settings> {
        program.settings_of(self.root.unwrap_or(FileId::NONE))
    }

    pub(crate) fn dialect(&self, program: &Program, id: FileId) -> Dialect {
        self.file(program, id).map_or(Dialect::Motorola, |file| file.source().dialect())
    }

    /// Of a line in an expansion the call in the source, and the source's own line that it was made from; none for a line of the source.
    #[must_use]
    pub fn expanded_from(&self, program: &Program, place: Place) -> Option<(Place, Option<Place>)> {
        let expansion = self.expansions.get(place.file.expansion()?)?;
        Some((expansion.call, self.own_line(program, place)))
    }

    /// The line of the source that a line was made from: itself, if it is one of the source.
    #[must_use]
    pub fn own_line(&self, program: &Program, place: Place) -> Option<Place> {
        let mut place = place;
        while let Some(at) = place.file.expansion() {
            let expansion = self.expansions.get(at)?;
            if expansion.body_lines == 0 {
                place = expansion.from;
                continue;
            }
            let file = self.file(program, expansion.definition.file)?;
            let line = expansion.file.line_number(place) % expansion.body_lines as usize;
            place = file.place(file.line_number(expansion.definition) + 1 + line)?;
        }
        Some(place)
    }

    /// Whether other lines stand for a line, by names of the preprocessor.
    #[must_use]
    pub fn is_replaced(&self, place: Place) -> bool {
        !self.replaced.is_empty() && self.replaced.contains(&place)
    }

    /// The first line of an expansion that was made from a line of a macro's body or a repetition.
    #[must_use]
    pub fn first_made_from(&self, program: &Program, place: Place) -> Option<Place> {
        let file = program.file(place.file)?;
        let line = file.line_number(place);
        self.expansions.iter().find_map(|it| {
            let start =
                (it.definition.file == place.file && it.body_lines > 0).then(|| file.line_number(it.definition) + 1)?;
            let at = line.checked_sub(start).filter(|at| *at < it.body_lines as usize)?;
            it.file.place(at)
        })
    }

    /// The lines that calls of macros stand for, in the order of the program, each with its call in the source.
    pub fn expansions(&self) -> impl ExactSizeIterator<Item = (&SourceFile, Place)> {
        self.expansions.iter().map(|it| (it.file.as_ref(), it.call))
    }

    /// The files it reads, the root first.
    #[must_use]
    pub fn files(&self) -> &[FileId] {
        &self.files
    }

    /// All definitions, in the order of the program.
    #[must_use]
    pub fn definitions(&self) -> &[Definition] {
        &self.definitions
    }

    /// What is wrong.
    #[must_use]
    pub fn problems(&self) -> &[Problem] {
        &self.problems
    }

    /// Included files that are not there: the including file and the name.
    #[must_use]
    pub fn missing(&self) -> &[(FileId, String)] {
        &self.missing
    }

    /// Names that are made known to other modules, and where.
    #[must_use]
    pub fn exports(&self) -> &[(Symbol, Place, Span)] {
        &self.exports
    }

    /// Whether names may be defined that stand nowhere in the source read: by macros that build them from their parameters, in
    /// included files that are missing, or by operations that nobody knows.
    #[must_use]
    pub fn may_define_more(&self) -> bool {
        self.may_define_more || !self.missing.is_empty()
    }

    /// The definition of an ordinary name. A name that differs only in case counts where no other is there.
    #[must_use]
    pub fn find(&self, program: &Program, name: &str) -> Option<&Definition> {
        let symbol = program.names().find(name);
        let exact = symbol.map_or(0, |symbol| self.by_symbol.get(symbol.index()).copied().unwrap_or(0));
        if exact != 0 {
            return self.definitions.get(exact as usize - 1);
        }
        let folded = match symbol {
            Some(symbol) => program.names().folded(symbol),
            None => program.names().find(&name.to_ascii_lowercase())?,
        };
        self.definitions.get(self.find_folded(program, folded)?)
    }

    /// The place in `definitions` of what counts for the first name that is this one in lower case.
    pub(crate) fn find_folded(&self, program: &Program, folded: Symbol) -> Option<usize> {
        let make = || {
            let mut map = FxHashMap::default();
            let ordinary = self.definitions.iter().enumerate().filter(|it| !it.1.symbol.is_local());
            for (at, definition) in ordinary {
                // Of one name the definition that counts: an import that is defined here after all does not.
                let counts = self.by_symbol.get(definition.symbol.index()).and_then(|it| it.checked_sub(1));
                map.entry(program.names().folded(definition.symbol)).or_insert(counts.unwrap_or(at as u32));
            }
            map
        };
        self.by_folded.get_or_init(make).get(&folded).map(|at| *at as usize)
    }

    /// The definition of an ordinary name by its number.
    #[must_use]
    pub fn get(&self, symbol: Symbol) -> Option<&Definition> {
        let at = self.by_symbol.get(symbol.index()).copied().unwrap_or(0);
        self.definitions.get((at as usize).checked_sub(1)?)
    }

    /// The definition that a name in an operand at a place means: ordinary, local to the scope there, or numeric.
    #[must_use]
    pub fn resolve(&self, program: &Program, place: Place, name: &str) -> Option<&Definition> {
        let dialect = self.dialect(program, place.file);
        if !crate::index::is_local_label(name, dialect) {
            return self.find(program, name).map(|found| self.at_that_time(found, place));
        }
        if let Some((digits, forward)) = numeric_reference(name) {
            let list = self.numeric.get(&program.names().find(digits)?)?;
            let order = self.order(place);
            let after = list.partition_point(|at| self.order(self.definitions[*at as usize].place) <= order);
            let at = if forward { list.get(after) } else { after.checked_sub(1).and_then(|at| list.get(at)) };
            return self.definitions.get(*at? as usize);
        }
        let symbol = program.names().find(name)?.local();
        let scope = self.state_at(program, place)?.scope;
        self.definitions.get(*self.locals.get(&(scope, symbol))? as usize)
    }

    /// The definition of an ordinary name by its number; of one that differs only in case where no other is there.
    pub(crate) fn get_or_folded(&self, program: &Program, symbol: Symbol) -> Option<&Definition> {
        self.get(symbol).or_else(|| {
            let folded = program.names().folded(symbol);
            self.definitions.get(self.find_folded(program, folded)?)
        })
    }

    /// Of a name that is given again and again, the definition that counts at a place: the last before it, else the last of all.
    pub(crate) fn at_that_time<'a>(&'a self, found: &'a Definition, place: Place) -> &'a Definition {
        if found.kind != DefinitionKind::Set || !self.set_again.contains(&found.symbol) {
            return found;
        }
        let order = self.order(place);
        let same = self.definitions.iter().rev().filter(|it| it.symbol == found.symbol);
        let mut before = same.filter(|it| self.order(it.place) < order);
        before.next().unwrap_or(found)
    }

    /// A number that grows along the program.
    fn order(&self, place: Place) -> (usize, u16) {
        (self.segment_of(place).unwrap_or(0), place.line)
    }

    fn segment_of(&self, place: Place) -> Option<usize> {
        self.segments.iter().rposition(|segment| {
            segment.file == place.file && segment.chunk == place.chunk && segment.first_line <= place.line
        })
    }

    /// The state of the layout before a line.
    pub(crate) fn state_at(&self, program: &Program, place: Place) -> Option<State> {
        let segment = &self.segments[self.segment_of(place)?];
        Some(crate::layout::replay(program, self, segment, place.line))
    }

    /// Where a line is, and what became of its instruction if its length was open.
    pub(crate) fn site(&self, program: &Program, place: Place) -> Option<(Site, Option<Sized>)> {
        let state = self.state_at(program, place)?;
        let site = Site { place, location: state.location(), scope: state.scope };
        let file = self.file(program, place.file)?;
        let indexed = file.indexed.get(place.chunk as usize)?;
        let at = indexed.instructions.partition_point(|it| it.line < place.line);
        let is_open = indexed.instructions.get(at).is_some_and(|it| it.line == place.line && it.is_open);
        let sized = is_open.then(|| self.sized.get(state.instructions as usize).copied()).flatten();
        Some((site, sized))
    }

    /// The scope of local labels at a line.
    #[must_use]
    pub fn scope_at(&self, program: &Program, place: Place) -> Option<u32> {
        self.state_at(program, place).map(|state| state.scope)
    }

    /// Whether a local label can be used in a scope.
    #[must_use]
    pub fn is_in_scope(&self, definition: &Definition, scope: Option<u32>) -> bool {
        scope == Some(definition.scope)
    }

    /// The location of a line, after the alignment that its own data asks for.
    #[must_use]
    pub fn location(&self, program: &Program, place: Place) -> Value {
        self.state_at(program, place).map_or(Value::Unknown, |state| state.location())
    }

    /// Whether a value, as an address, is odd; none if that is not known.
    #[must_use]
    pub fn is_odd(&self, value: Value) -> Option<bool> {
        match value {
            Value::Number(number) => Some(number & 1 == 1),
            Value::Address(base, offset) => Some(self.bases.get(base.0 as usize)?.is_odd? ^ (offset & 1 == 1)),
            Value::Unknown => None,
        }
    }

    /// A value as a number: addresses in sections as if the sections followed each other from the origin on.
    #[must_use]
    pub fn absolute(&self, value: Value) -> Option<i64> {
        match value {
            Value::Number(number) => Some(number),
            Value::Address(base, offset) => Some(self.bases.get(base.0 as usize)?.address? + offset),
            Value::Unknown => None,
        }
    }

    /// How many bytes from the start of its section an address is, if that is known.
    #[must_use]
    pub fn section_offset(&self, value: Value) -> Option<i64> {
        match value {
            Value::Address(base, offset) => self.bases.get(base.0 as usize).filter(|it| it.is_section).map(|_| offset),
            _ => None,
        }
    }

    /// Whether a line is read: not in a conditional that is off, a macro's body or after END.
    #[must_use]
    pub fn is_active(&self, place: Place) -> bool {
        let found = self.idle.get(&(place.file, place.chunk));
        !found.is_some_and(|it| it.idle.iter().any(|range| range.contains(&place.line)))
    }

    /// Whether a line is switched off: in a conditional that is off, or after END. The body of a macro is not, since it is read where
    /// the macro is called.
    #[must_use]
    pub fn is_off(&self, place: Place) -> bool {
        let found = self.idle.get(&(place.file, place.chunk));
        found.is_some_and(|it| it.off.iter().any(|range| range.contains(&place.line)))
    }

    /// Whether a line is read as it stands, so that something may be wrong with it.
    #[must_use]
    pub fn is_judged(&self, place: Place) -> bool {
        self.is_active(place) && !self.is_replaced(place)
    }

    /// Whether the unit reads the chunk at all.
    #[must_use]
    pub fn reads(&self, file: FileId, chunk: u32) -> bool {
        self.segments.iter().any(|segment| segment.file == file && segment.chunk == chunk)
    }

    /// Whether another version of the unit has the same lengths, locations and decisions of conditions.
    #[must_use]
    pub fn is_laid_out_like(&self, other: &Self) -> bool {
        self.sized == other.sized && self.stops == other.stops && self.decisions == other.decisions
    }

    /// Evaluates part of a line at its place.
    #[must_use]
    pub fn value(&self, program: &Program, place: Place, range: Range<usize>) -> Value {
        let mut found = Vec::new();
        self.value_with_problems(program, place, range, &mut found)
    }

    pub(crate) fn value_with_problems(
        &self,
        program: &Program,
        place: Place,
        range: Range<usize>,
        found: &mut Vec<(ExpressionProblem, Range<usize>)>,
    ) -> Value {
        let Some(file) = self.file(program, place.file) else { return Value::Unknown };
        let (chunk, _, text) = file.at(place.chunk, place.line);
        let mut context = AtPlace { unit: self, program, place, found };
        evaluate(text, range, chunk.dialect(), &mut context)
    }
}

/// `1b`, `2f`: the digits, and whether the next definition is meant; `@b` and `@f` mean labels of the name `@@` so.
pub(crate) fn numeric_reference(name: &str) -> Option<(&str, bool)> {
    match name {
        "@f" | "@F" => return Some(("@@", true)),
        "@b" | "@B" => return Some(("@@", false)),
        _ => (),
    }
    let (digits, is_forward) = match name.strip_suffix(['f', 'F']) {
        Some(digits) => (digits, true),
        None => (name.strip_suffix(['b', 'B'])?, false),
    };
    (!digits.is_empty() && digits.bytes().all(|it| it.is_ascii_digit())).then_some((digits, is_forward))
}

struct AtPlace<'a> {
    unit: &'a Unit,
    program: &'a Program,
    place: Place,
    found: &'a mut Vec<(ExpressionProblem, Range<usize>)>,
}

impl Context for AtPlace<'_> {
    fn name(&mut self, text: &str, _: Range<usize>) -> Value {
        let Some(name) = name_in(text, self.unit.dialect(self.program, self.place.file)) else { return Value::Unknown };
        self.unit.resolve(self.program, self.place, name).map_or(Value::Unknown, |it| it.value)
    }

    fn location(&mut self) -> Value {
        self.unit.location(self.program, self.place)
    }

    fn problem(&mut self, problem: ExpressionProblem, range: Range<usize>) {
        self.found.push((problem, range));
    }
}

/// Where the value of an equate stands in its line.
pub(crate) fn equate_span(program: &Program, unit: &Unit, place: Place) -> Option<Span> {
    let file = unit.file(program, place.file)?;
    let (chunk, line, text) = file.at(place.chunk, place.line);
    if line.kind == LineKind::Preprocessor {
        let Some(Directive::Define { body, .. }) = directive(text) else { return None };
        return Some(Span { start: body.start as u16, end: body.end as u16 });
    }
    if line.label.is_empty() {
        return value_in_operands(chunk, line, text).map(|(_, span)| span);
    }
    let first = chunk.operands(line).into_iter().next()?;
    Some(Span { start: first.start as u16, end: first.end as u16 })
}

/// Uses of names in one chunk, with their places.
pub(crate) fn place_of(file: FileId, chunk: u32, found: &Use) -> (Place, Span) {
    let place = Place { file, chunk, line: found.line };
    (place, Span { start: found.start, end: found.start + found.len })
}
