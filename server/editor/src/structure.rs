//! What the lines of a file belong to: macros, conditionals, routines, tables, runs of comments. Told from the lines alone, so that
//! broken and unfinished source has a structure too.

use std::ops::Range;

use reveille_source::{Dialect, File, Line, LineKind, Meaning, OpId, Operation};

/// What a block of lines is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum BlockKind {
    /// From MACRO to its ENDM.
    Macro,
    /// From REPT, IRP or IRPC to its end.
    Repeat,
    /// One case of a conditional, from its test or ELSE on; the last with its ENDC.
    Case,
    /// A conditional that has several cases, with all of them.
    Conditional,
    /// One case of a C preprocessor's conditional; the last with its `#endif`.
    Preprocessor,
    /// Comment lines in a row, three or more.
    Comment,
    /// Labels with the code behind them.
    Routine,
    /// Data lines in a row, four or more, with their label.
    Table,
    /// The lines of a section.
    Section,
}

/// Lines that belong together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Block {
    /// What they are.
    pub kind: BlockKind,
    /// The lines, from 0.
    pub lines: Range<usize>,
}

/// So many comment lines make a block.
const LEAST_COMMENTS: usize = 3;

/// So many data lines make a block.
const LEAST_DATA: usize = 4;

/// The blocks of a file, by their first line, the outer one first. Of any two either one holds the other, or they share no line.
#[must_use]
pub(crate) fn blocks(source: &File) -> Vec<Block> {
    let mut walk = Walk::new();
    let mut number = 0;
    for chunk in source.chunks() {
        for line in chunk.lines() {
            walk.line(number, line, chunk.line_text(line), chunk.dialect());
            number += 1;
        }
    }
    walk.end(number)
}

/// What opens and closes by words of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Opener {
    /// The file itself.
    File,
    Macro,
    Repeat,
    If,
    Preprocessor,
}

/// Something that was opened, and what is going on inside.
#[derive(Debug)]
struct Frame {
    opener: Opener,
    first: usize,
    /// Where the present case starts.
    case: usize,
    cases: usize,
    section: Option<usize>,
    routine: Option<Routine>,
    /// How many frames of each kind that can be closed are open here, inside the same macro.
    open: [usize; 4],
}

/// Labels, and whether code was met behind them.
#[derive(Clone, Copy, Debug)]
struct Routine {
    first: usize,
    /// The line after its last code or data: constants that follow are no part of it.
    end: usize,
    has_code: bool,
}

/// Lines of one kind in a row.
#[derive(Clone, Copy, Debug, Default)]
struct Run {
    first: usize,
    /// The line after the last.
    end: usize,
    count: usize,
}

struct Walk {
    frames: Vec<Frame>,
    found: Vec<Block>,
    comments: Run,
    data: Run,
    /// The label of data that is still to come.
    waiting: Option<usize>,
    /// The line after the last that what is closed next reaches to.
    end: usize,
}

impl Walk {
    fn new() -> Self {
        let file =
            Frame { opener: Opener::File, first: 0, case: 0, cases: 1, section: None, routine: None, open: [0; 4] };
        Self {
            frames: vec![file],
            found: Vec::new(),
            comments: Run::default(),
            data: Run::default(),
            waiting: None,
            end: 0,
        }
    }

    fn line(&mut self, number: usize, line: &Line, text: &str, dialect: Dialect) {
        if line.kind == LineKind::Comment {
            if self.comments.count == 0 {
                self.comments.first = number;
            }
            self.comments = Run { end: number + 1, count: self.comments.count + 1, ..self.comments };
            return;
        }
        self.end_comments();
        match line.kind {
            LineKind::Preprocessor => self.preprocessor(number, line.comment.of(text)),
            LineKind::Statement => self.statement(number, line, text, dialect),
            LineKind::Blank | LineKind::Comment | LineKind::TooLong => (),
        }
    }

    fn statement(&mut self, number: usize, line: &Line, text: &str, dialect: Dialect) {
        let meaning = line.op.directive().map(|it| it.meaning);
        let in_macro = self.frame().open[slot(Opener::Macro)] > 0;
        match meaning {
            Some(Meaning::Macro) => self.open(Opener::Macro, number),
            Some(Meaning::EndMacro) => {
                // ENDM ends repetitions too, in the assemblers that have no ENDR.
                let opener = if in_macro { Opener::Macro } else { Opener::Repeat };
                self.close(opener, number);
            }
            Some(Meaning::Repeat) => self.open(Opener::Repeat, number),
            Some(Meaning::EndRepeat) => self.close(Opener::Repeat, number),
            Some(Meaning::If(_)) => self.open(Opener::If, number),
            Some(Meaning::Else | Meaning::ElseIf) => self.turn(Opener::If, number),
            Some(Meaning::EndIf) => self.close(Opener::If, number),
            _ if in_macro => (),
            _ => self.content(number, line, text, dialect, meaning),
        }
        self.end = number + 1;
    }

    /// A statement that opens and closes nothing by itself.
    fn content(&mut self, number: usize, line: &Line, text: &str, dialect: Dialect, meaning: Option<Meaning>) {
        let is_label = is_address(line);
        let is_ordinary = is_label && !reveille_program::is_local_label(line.label.of(text), dialect);
        let is_data = meaning.is_some_and(is_data);
        if is_ordinary || !(is_data || (line.op == OpId::NONE && self.data.count == 0)) {
            self.end_data();
        }
        if matches!(meaning, Some(Meaning::Section | Meaning::NamedSection)) {
            self.end_flat(true);
            self.frame_mut().section = Some(number);
            return;
        }
        if is_ordinary {
            let is_group = self.frame().routine.is_some_and(|it| !it.has_code);
            if !is_group {
                self.end_routine();
                self.frame_mut().routine = Some(Routine { first: number, end: number + 1, has_code: false });
            }
            self.waiting = Some(number);
        }
        if is_data {
            if self.data.count == 0 {
                self.data.first = self.waiting.unwrap_or(number);
            }
            self.data = Run { end: number + 1, count: self.data.count + 1, ..self.data };
            // What has a label of its own and is no code behind a label is no part of a routine.
            if self.frame().routine.is_some_and(|it| !it.has_code) {
                self.frame_mut().routine = None;
            }
        }
        let is_code = line.op.is_instruction() || matches!(line.op.get(), Operation::MacroCall);
        if let Some(routine) = self.frame_mut().routine.as_mut().filter(|_| is_code || is_data || is_label) {
            routine.has_code |= is_code;
            routine.end = number + 1;
        }
        if line.op != OpId::NONE {
            self.waiting = None;
        }
    }

    /// A line of the C preprocessor.
    fn preprocessor(&mut self, number: usize, text: &str) {
        // With a blank behind the sign it is prose more often than not.
        let rest = text.trim_start_matches('#');
        let word = rest.split(|it: char| !it.is_ascii_alphabetic()).next().unwrap_or_default();
        match word {
            "if" | "ifdef" | "ifndef" => self.open(Opener::Preprocessor, number),
            "else" | "elif" => self.turn(Opener::Preprocessor, number),
            "endif" => self.close(Opener::Preprocessor, number),
            _ => return,
        }
        self.end = number + 1;
    }

    fn frame(&self) -> &Frame {
        &self.frames[self.frames.len() - 1]
    }

    fn frame_mut(&mut self) -> &mut Frame {
        let last = self.frames.len() - 1;
        &mut self.frames[last]
    }

    fn push(&mut self, kind: BlockKind, lines: Range<usize>) {
        if lines.len() > 1 {
            self.found.push(Block { kind, lines });
        }
    }

    fn open(&mut self, opener: Opener, number: usize) {
        self.end_data();
        let mut open = self.frame().open;
        open[slot(opener)] += 1;
        if opener == Opener::Macro {
            // What was opened outside is not closed inside.
            open = [0; 4];
            open[slot(Opener::Macro)] = 1;
        }
        let case = number;
        self.frames.push(Frame { opener, first: number, case, cases: 1, section: None, routine: None, open });
    }

    /// Goes on to the next case.
    fn turn(&mut self, opener: Opener, number: usize) {
        if self.frame().open[slot(opener)] == 0 {
            return;
        }
        self.unwind(opener, number);
        self.end_flat(true);
        let case = self.frame().case;
        self.push(case_kind(opener), case..number);
        let frame = self.frame_mut();
        frame.case = number;
        frame.cases += 1;
    }

    fn close(&mut self, opener: Opener, number: usize) {
        if self.frame().open[slot(opener)] == 0 {
            return;
        }
        self.unwind(opener, number);
        self.end_frame(number + 1);
    }

    /// Ends what was opened inside of the innermost frame of a kind and is not closed.
    fn unwind(&mut self, opener: Opener, number: usize) {
        self.end_data();
        while self.frame().opener != opener {
            self.end_frame(number);
        }
    }

    /// Ends the innermost frame, before the line `end`.
    fn end_frame(&mut self, end: usize) {
        self.end_flat(true);
        let Some(frame) = self.frames.pop() else { return };
        match frame.opener {
            Opener::File => (),
            Opener::Macro => self.push(BlockKind::Macro, frame.first..end),
            Opener::Repeat => self.push(BlockKind::Repeat, frame.first..end),
            Opener::If | Opener::Preprocessor => {
                self.push(case_kind(frame.opener), frame.case..end);
                if frame.cases > 1 {
                    self.push(BlockKind::Conditional, frame.first..end);
                }
            }
        }
        self.end = end;
        if let Some(routine) = self.frame_mut().routine.as_mut().filter(|_| frame.opener != Opener::Macro) {
            routine.end = end;
        }
    }

    /// Ends what no word ends: the routine, and the section too.
    fn end_flat(&mut self, and_section: bool) {
        self.end_data();
        self.end_routine();
        if and_section && let Some(first) = self.frame_mut().section.take() {
            self.push(BlockKind::Section, first..self.end);
        }
    }

    fn end_routine(&mut self) {
        if let Some(routine) = self.frame_mut().routine.take().filter(|it| it.has_code) {
            self.push(BlockKind::Routine, routine.first..routine.end);
        }
    }

    fn end_data(&mut self) {
        let data = std::mem::take(&mut self.data);
        if data.count >= LEAST_DATA {
            self.push(BlockKind::Table, data.first..data.end);
        }
    }

    fn end_comments(&mut self) {
        let comments = std::mem::take(&mut self.comments);
        if comments.count >= LEAST_COMMENTS {
            self.push(BlockKind::Comment, comments.first..comments.end);
        }
    }

    fn end(mut self, count: usize) -> Vec<Block> {
        self.end_comments();
        while self.frames.len() > 1 {
            self.end_frame(count);
        }
        self.end_flat(true);
        self.found.sort_by_key(|it| (it.lines.start, std::cmp::Reverse(it.lines.end)));
        self.found
    }
}

fn slot(opener: Opener) -> usize {
    match opener {
        Opener::Macro | Opener::File => 0,
        Opener::Repeat => 1,
        Opener::If => 2,
        Opener::Preprocessor => 3,
    }
}

fn case_kind(opener: Opener) -> BlockKind {
    if opener == Opener::Preprocessor { BlockKind::Preprocessor } else { BlockKind::Case }
}

/// Whether a line has a label that stands for its address.
pub(crate) fn is_address(line: &Line) -> bool {
    use Meaning as M;
    let names_value = match line.op.get() {
        Operation::Assignment => true,
        Operation::Directive(it) => {
            matches!(it.meaning, M::Equate | M::Set | M::RegisterName | M::Macro | M::StructureField)
        }
        _ => false,
    };
    line.kind == LineKind::Statement && !line.label.is_empty() && !names_value
}

/// Whether a directive lays down data, or reserves memory for it.
pub(crate) fn is_data(meaning: Meaning) -> bool {
    use Meaning as M;
    matches!(
        meaning,
        M::Constants
            | M::ConstantsOf(_)
            | M::Strings(_)
            | M::Block
            | M::Fill
            | M::Reserve
            | M::ReserveBytes
            | M::IncludeBytes
    )
}

/// Whether each line of a file stands in the body of a macro, between MACRO and its ENDM.
pub(crate) fn macro_bodies(source: &File) -> Bodies {
    let macros = blocks(source).into_iter().filter(|it| it.kind == BlockKind::Macro).map(|it| it.lines);
    let mut outer: Vec<Range<usize>> = Vec::new();
    for lines in macros {
        // By their first lines: one that starts in another lies in it.
        if outer.last().is_none_or(|last| last.end <= lines.start) {
            outer.push(lines);
        }
    }
    Bodies(outer)
}

/// The macros of a file that no other macro holds.
pub(crate) struct Bodies(Vec<Range<usize>>);

impl Bodies {
    /// The lines of the macro in whose body a line stands, that of MACRO the first.
    pub(crate) fn around(&self, line: usize) -> Option<&Range<usize>> {
        let at = self.0.partition_point(|it| it.start < line).checked_sub(1)?;
        self.0.get(at).filter(|it| line < it.end)
    }
}
