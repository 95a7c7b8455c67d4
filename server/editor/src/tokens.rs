//! What each word of a file is: what colours cannot be told from a line alone.

use std::ops::Range;

use reveille_facts::Model;
use reveille_program::{DefinitionKind, FileId, Place};
use reveille_source::{LineKind, Operation, TokenKind};

use crate::c::is_c_text;
use crate::session::{self, View};

/// What a word is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum SemanticKind {
    /// An instruction.
    Instruction,
    /// A directive.
    Directive,
    /// A macro's name.
    Macro,
    /// A size suffix.
    Size,
    /// A register, or its name.
    Register,
    /// A label.
    Label,
    /// A constant.
    Constant,
    /// Another name.
    Name,
    /// A number.
    Number,
    /// A text.
    Text,
    /// A comment.
    Comment,
    /// A macro's parameter.
    Parameter,
    /// A field of a block.
    Property,
    /// An operator.
    Operator,
}

/// A word and what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SemanticToken {
    /// The line, from 0.
    pub line: u32,
    /// The first byte in the line.
    pub start: u16,
    /// The byte after the last.
    pub end: u16,
    /// What it is.
    pub kind: SemanticKind,
    /// Whether the name is defined here.
    pub is_definition: bool,
    /// Whether no unit reads the line: a conditional is off, or END stands above.
    pub is_inactive: bool,
}

/// The words of the lines of a range, in order.
#[must_use]
pub fn semantic_tokens(model: &Model, file: FileId, lines: Range<usize>) -> Vec<SemanticToken> {
    if let Some(view) = View::of(model, file) {
        return session::semantic_tokens(&view, lines);
    }
    let Some(source) = model.program().file(file).filter(|_| !is_c_text(model, file)) else { return Vec::new() };
    let unit = model.analysis().unit_of(file);
    let text_of = source.source();
    let mut found = Vec::new();
    let end = lines.end.min(text_of.line_count());
    let mut number = lines.start;
    while number < end {
        let Some((chunk_at, first)) = text_of.chunk_of_line(number) else { break };
        let chunk = &text_of.chunks()[chunk_at];
        let dialect = chunk.dialect();
        for (at, line) in chunk.lines().iter().enumerate().skip(first).take(end - number) {
            let text = chunk.line_text(line);
            let number = (text_of.first_line(chunk_at) + at) as u32;
            let place = Place { file, chunk: chunk_at as u32, line: at as u16 };
            let is_inactive = unit.is_some() && model.analysis().units_of(file).all(|it| it.is_off(place));
            let mut push = |range: Range<usize>, kind, is_definition| {
                if !range.is_empty() {
                    found.push(SemanticToken {
                        line: number,
                        start: range.start as u16,
                        end: range.end as u16,
                        kind,
                        is_definition,
                        is_inactive,
                    });
                }
            };
            if line.kind != LineKind::Statement {
                push(line.comment.range(), SemanticKind::Comment, false);
                continue;
            }
            let kind_of = |kind: DefinitionKind| match kind {
                DefinitionKind::Label => SemanticKind::Label,
                DefinitionKind::Equate | DefinitionKind::Set => SemanticKind::Constant,
                DefinitionKind::RegisterName => SemanticKind::Register,
                DefinitionKind::Macro | DefinitionKind::Text => SemanticKind::Macro,
                DefinitionKind::External => SemanticKind::Name,
            };
            if !line.label.is_empty() {
                use reveille_source::Meaning as M;
                let kind = match line.op.get() {
                    Operation::Assignment => SemanticKind::Constant,
                    Operation::Directive(it) => match it.meaning {
                        M::Equate | M::Set | M::StructureField => SemanticKind::Constant,
                        M::RegisterName => SemanticKind::Register,
                        M::Macro => SemanticKind::Macro,
                        _ => SemanticKind::Label,
                    },
                    _ => SemanticKind::Label,
                };
                push(line.label.range(), kind, true);
            }
            let kind = match line.op.get() {
                Operation::Instruction(_) => SemanticKind::Instruction,
                Operation::MacroCall => SemanticKind::Macro,
                _ => SemanticKind::Directive,
            };
            push(line.operation.range(), kind, false);
            push(line.size_span().range(), SemanticKind::Size, false);
            let field = line.operands.range();
            reveille_source::tokens(&text[field.clone()], dialect, |kind, range| {
                let range = field.start + range.start..field.start + range.end;
                let kind = match kind {
                    TokenKind::Number => SemanticKind::Number,
                    TokenKind::Text => SemanticKind::Text,
                    TokenKind::Register => SemanticKind::Register,
                    TokenKind::Size => SemanticKind::Size,
                    TokenKind::Parameter => SemanticKind::Parameter,
                    TokenKind::Name => {
                        let name = &text[range.clone()];
                        let definition = unit.and_then(|unit| {
                            if reveille_program::is_local_label(name, dialect) {
                                unit.resolve(model.program(), place, name)
                            } else {
                                unit.find(model.program(), name)
                            }
                        });
                        definition.map_or(SemanticKind::Name, |it| kind_of(it.kind))
                    }
                };
                push(range, kind, false);
            });
            push(line.comment.range(), SemanticKind::Comment, false);
        }
        number = text_of.first_line(chunk_at) + chunk.lines().len();
    }
    found
}
