//! Answers in the protocol's types.

use std::collections::HashMap;

use reveille_decoders::Severity;
use reveille_editor::{
    Action, Block, BlockKind, Call, Completion, CompletionKind, Highlight, Lens, Link, Location, OutlineKind,
    OutlineSymbol, Routine, SemanticKind, SemanticToken, TextEdit,
};
use reveille_facts::{Finding, Model};
use reveille_program::FileId;
use tower_lsp::gen_lsp_types as proto;

use crate::front::Snapshot;

/// The legend of semantic tokens; the order is that of [`SemanticKind`]. Own types carry our prefix.
pub(crate) const TOKEN_TYPES: [&str; 14] = [
    "keyword",
    "reveilleDirective",
    "macro",
    "reveilleSize",
    "reveilleRegister",
    "function",
    "enumMember",
    "variable",
    "number",
    "string",
    "comment",
    "parameter",
    "property",
    "operator",
];

/// The legend's modifiers, a bit each: the name is defined here; no unit reads the line. The second is our own.
pub(crate) const TOKEN_MODIFIERS: [&str; 2] = ["definition", "inactive"];

/// The client's command that rehearses the session whose address is its argument.
const REHEARSE: &str = "reveille.rehearse";

pub(crate) fn location(snapshot: &Snapshot, at: &Location) -> Option<proto::Location> {
    Some(proto::Location { uri: snapshot.uri(at.file)?, range: snapshot.range(at.file, &at.range) })
}

pub(crate) fn diagnostic(snapshot: &Snapshot, model: &Model, finding: &Finding) -> proto::Diagnostic {
    let at = reveille_editor::location(model, finding.at);
    let related = finding.related.iter().filter_map(|(at, message)| {
        let location = location(snapshot, &reveille_editor::location(model, *at))?;
        Some(proto::DiagnosticRelatedInformation { location, message: message.clone() })
    });
    proto::Diagnostic {
        range: snapshot.range(at.file, &at.range),
        severity: Some(match finding.severity {
            Severity::Error => proto::DiagnosticSeverity::Error,
            Severity::Warning => proto::DiagnosticSeverity::Warning,
            Severity::Note => proto::DiagnosticSeverity::Information,
            Severity::Hint => proto::DiagnosticSeverity::Hint,
        }),
        code: Some(finding.code.to_owned().into()),
        source: Some("reveille".to_owned()),
        message: finding.message.clone().into(),
        related_information: snapshot.traits.related_information.then(|| related.collect()),
        ..Default::default()
    }
}

/// Edits of one or more files, as the client takes them.
pub(crate) fn workspace_edit(snapshot: &Snapshot, edits: &[TextEdit]) -> proto::WorkspaceEdit {
    let mut by_file: HashMap<FileId, Vec<proto::TextEdit>> = HashMap::new();
    for edit in edits {
        let range = snapshot.range(edit.at.file, &edit.at.range);
        by_file.entry(edit.at.file).or_default().push(proto::TextEdit { range, new_text: edit.text.clone() });
    }
    let mut change = proto::WorkspaceEdit::default();
    if snapshot.traits.versioned_edits {
        let documents = by_file.into_iter().filter_map(|(file, edits)| {
            let text_document = proto::OptionalVersionedTextDocumentIdentifier {
                version: snapshot.version(file),
                text_document_identifier: proto::TextDocumentIdentifier { uri: snapshot.uri(file)? },
            };
            let edits = edits.into_iter().map(Into::into).collect();
            Some(proto::TextDocumentEdit { text_document, edits }.into())
        });
        change.document_changes = Some(documents.collect());
    } else {
        change.changes =
            Some(by_file.into_iter().filter_map(|(file, edits)| Some((snapshot.uri(file)?, edits))).collect());
    }
    change
}

pub(crate) fn code_action(snapshot: &Snapshot, model: &Model, action: &Action<'_>) -> Option<proto::CodeAction> {
    Some(proto::CodeAction {
        title: action.title.clone(),
        kind: Some(match action.finding {
            Some(_) => proto::CodeActionKind::QuickFix,
            None => proto::CodeActionKind::RefactorRewrite,
        }),
        diagnostics: action.finding.map(|it| vec![diagnostic(snapshot, model, it)]),
        is_preferred: Some(action.is_preferred),
        edit: Some(workspace_edit(snapshot, &action.edits)),
        ..Default::default()
    })
}

fn symbol_kind(kind: OutlineKind) -> proto::SymbolKind {
    match kind {
        OutlineKind::Routine => proto::SymbolKind::Function,
        OutlineKind::Data => proto::SymbolKind::Variable,
        OutlineKind::Block => proto::SymbolKind::Struct,
        OutlineKind::Constant => proto::SymbolKind::Constant,
        OutlineKind::Variable => proto::SymbolKind::Variable,
        OutlineKind::Macro => proto::SymbolKind::Operator,
        OutlineKind::Section | OutlineKind::Stage => proto::SymbolKind::Namespace,
        OutlineKind::Step => proto::SymbolKind::Event,
    }
}

#[allow(deprecated, reason = "the field is part of the protocol's type")]
pub(crate) fn document_symbol(snapshot: &Snapshot, file: FileId, symbol: OutlineSymbol) -> proto::DocumentSymbol {
    let children = symbol.children.into_iter().map(|it| document_symbol(snapshot, file, it)).collect::<Vec<_>>();
    proto::DocumentSymbol {
        name: symbol.name,
        detail: (!symbol.detail.is_empty()).then_some(symbol.detail),
        kind: symbol_kind(symbol.kind),
        range: snapshot.range(file, &symbol.range),
        selection_range: snapshot.range(file, &symbol.name_range),
        children: (!children.is_empty()).then_some(children),
        tags: None,
        deprecated: None,
    }
}

#[allow(deprecated, reason = "the field is part of the protocol's type")]
/// The outline without its tree, for clients that know no trees.
pub(crate) fn symbol_information(
    snapshot: &Snapshot,
    file: FileId,
    symbol: &OutlineSymbol,
    into: &mut Vec<proto::SymbolInformation>,
) {
    let at = Location { file, range: symbol.name_range.clone() };
    if let Some(location) = location(snapshot, &at) {
        into.push(proto::SymbolInformation {
            location,
            deprecated: None,
            base_symbol_information: proto::BaseSymbolInformation {
                name: symbol.name.clone(),
                kind: symbol_kind(symbol.kind),
                tags: None,
                container_name: None,
            },
        });
    }
    for child in &symbol.children {
        symbol_information(snapshot, file, child, into);
    }
}

pub(crate) fn workspace_symbol(snapshot: &Snapshot, found: reveille_editor::Found) -> Option<proto::WorkspaceSymbol> {
    Some(proto::WorkspaceSymbol {
        location: location(snapshot, &found.at)?.into(),
        data: None,
        base_symbol_information: proto::BaseSymbolInformation {
            name: found.name,
            kind: symbol_kind(found.kind),
            tags: None,
            container_name: Some(found.container),
        },
    })
}

pub(crate) fn completion_item(
    snapshot: &Snapshot,
    file: FileId,
    rank: usize,
    item: Completion,
) -> proto::CompletionItem {
    let kind = match item.kind {
        CompletionKind::Instruction => proto::CompletionItemKind::Keyword,
        CompletionKind::Directive => proto::CompletionItemKind::Event,
        CompletionKind::Macro => proto::CompletionItemKind::Operator,
        CompletionKind::Mode => proto::CompletionItemKind::Snippet,
        CompletionKind::Size => proto::CompletionItemKind::Unit,
        CompletionKind::Register => proto::CompletionItemKind::Variable,
        CompletionKind::Label => proto::CompletionItemKind::Function,
        CompletionKind::Constant => proto::CompletionItemKind::Constant,
        CompletionKind::File => proto::CompletionItemKind::File,
        CompletionKind::Layout => proto::CompletionItemKind::Struct,
        CompletionKind::Heading => proto::CompletionItemKind::Module,
        CompletionKind::Key => proto::CompletionItemKind::Property,
        CompletionKind::Value => proto::CompletionItemKind::Value,
        CompletionKind::Word => proto::CompletionItemKind::Keyword,
        CompletionKind::Bound => proto::CompletionItemKind::Variable,
        CompletionKind::Field => proto::CompletionItemKind::Field,
    };
    let documentation = (!item.documentation.is_empty()).then_some(item.documentation);
    let markup = |value| proto::MarkupContent { kind: proto::MarkupKind::Markdown, value };
    proto::CompletionItem {
        kind: Some(kind),
        documentation: documentation
            .map(|it| if snapshot.traits.completion_markdown { markup(it).into() } else { plain(&it).into() }),
        detail: (!item.detail.is_empty()).then_some(item.detail),
        sort_text: Some(format!("{rank:05}")),
        text_edit: Some(
            proto::TextEdit {
                range: snapshot.range(file, &item.range),
                new_text: item.insert.unwrap_or_else(|| item.label.clone()),
            }
            .into(),
        ),
        label: item.label,
        ..Default::default()
    }
}

/// Tokens as the differences that the protocol sends.
pub(crate) fn semantic_tokens(
    snapshot: &Snapshot,
    file: FileId,
    tokens: &[SemanticToken],
) -> Vec<proto::SemanticToken> {
    let Some(source) = snapshot.model().program().file(file) else { return Vec::new() };
    let unit = snapshot.traits.unit;
    let mut sent = Vec::with_capacity(tokens.len());
    let (mut last_line, mut last_start) = (0, 0);
    let mut line_text = (u32::MAX, "");
    for token in tokens {
        if line_text.0 != token.line {
            line_text = (token.line, source.source().line(token.line as usize).map_or("", |it| it.1));
        }
        let start = unit.column(line_text.1, token.start.into());
        let end = unit.column(line_text.1, token.end.into());
        let delta_line = token.line - last_line;
        sent.push(proto::SemanticToken {
            delta_line,
            delta_start: if delta_line == 0 { start - last_start } else { start },
            length: end - start,
            token_type: token_type(token.kind),
            token_modifiers_bitset: u32::from(token.is_definition) | u32::from(token.is_inactive) << 1,
        });
        (last_line, last_start) = (token.line, start);
    }
    sent
}

fn token_type(kind: SemanticKind) -> u32 {
    kind as u32
}

/// Markdown as plain text: without the marks that stand for looks.
pub(crate) fn plain(markdown: &str) -> String {
    let lines = markdown.lines().filter(|line| !line.starts_with("```") && !line.starts_with("|---"));
    let mut text = String::new();
    for line in lines {
        let line = line.replace("**", "").replace('`', "");
        let line = line.trim_start_matches("| ").trim_end_matches(" |").replace(" | ", "  ");
        text.push_str(if line == "---" { "" } else { &line });
        text.push('\n');
    }
    text
}

/// The ways to write an instruction.
pub(super) fn signature_help(
    found: Vec<reveille_editor::Signature>,
    form: usize,
    operand: usize,
) -> proto::SignatureHelp {
    let signature = |it: reveille_editor::Signature| proto::SignatureInformation {
        // The protocol counts in UTF-16 here; the labels are ASCII.
        parameters: Some(
            it.operands
                .iter()
                .map(|(range, kinds)| proto::ParameterInformation {
                    label: (range.start as u32, range.end as u32).into(),
                    documentation: Some(kinds.clone().into()),
                })
                .collect(),
        ),
        documentation: Some(it.text.into()),
        label: it.label,
        active_parameter: None,
    };
    proto::SignatureHelp {
        signatures: found.into_iter().map(signature).collect(),
        active_signature: Some(form as u32),
        active_parameter: Some((operand as u32).into()),
    }
}

/// Text behind a line.
pub(super) fn inlay_hint(snapshot: &Snapshot, file: FileId, hint: reveille_editor::Hint) -> proto::InlayHint {
    proto::InlayHint {
        position: snapshot.position(file, hint.at),
        label: hint.text.into(),
        padding_left: Some(true),
        kind: None,
        text_edits: None,
        tooltip: None,
        padding_right: None,
        data: None,
    }
}

/// What a routine costs or which exceptions it takes, above its label. It does nothing when it is chosen.
pub(super) fn code_lens(
    snapshot: &Snapshot,
    file: FileId,
    range: &std::ops::Range<usize>,
    title: String,
) -> proto::CodeLens {
    let command = proto::Command { title, command: String::new(), ..Default::default() };
    proto::CodeLens { range: snapshot.range(file, range), command: Some(command), data: None }
}

/// The client's command that opens the bring-up sheet of the program that its argument, an address, belongs to.
const SHEET: &str = "reveille.sheet";

/// What leads to the bring-up sheet, above the label at which the machine starts.
pub(super) fn sheet_lens(snapshot: &Snapshot, file: FileId, range: &std::ops::Range<usize>) -> proto::CodeLens {
    let mut found = code_lens(snapshot, file, range, "starts here at power-on: open the bring-up sheet".to_owned());
    if let (Some(command), Some(uri)) = (&mut found.command, snapshot.uri(file)) {
        command.command = SHEET.to_owned();
        command.arguments = Some(vec![uri.as_str().into()]);
    }
    found
}

/// How long a session or a stage of it takes. Choosing the first makes the client rehearse the script: [`REHEARSE`] is a command of its own.
pub(super) fn session_lens(snapshot: &Snapshot, file: FileId, lens: Lens) -> proto::CodeLens {
    let mut found = code_lens(snapshot, file, &lens.range, lens.title);
    if let (true, Some(command), Some(uri)) = (lens.rehearses, &mut found.command, snapshot.uri(file)) {
        command.command = REHEARSE.to_owned();
        command.arguments = Some(vec![uri.as_str().into()]);
    }
    found
}

/// Lines that can be folded away.
pub(super) fn folding_range(block: &Block) -> proto::FoldingRange {
    proto::FoldingRange {
        start_line: block.lines.start as u32,
        start_character: None,
        end_line: block.lines.end.saturating_sub(1) as u32,
        end_character: None,
        kind: match block.kind {
            BlockKind::Comment => Some(proto::FoldingRangeKind::Comment),
            BlockKind::Section => Some(proto::FoldingRangeKind::Region),
            _ => None,
        },
        collapsed_text: None,
    }
}

/// A place where the name or register under the cursor stands again.
pub(super) fn highlight(snapshot: &Snapshot, file: FileId, found: &Highlight) -> proto::DocumentHighlight {
    let kind = if found.is_write { proto::DocumentHighlightKind::Write } else { proto::DocumentHighlightKind::Read };
    proto::DocumentHighlight { range: snapshot.range(file, &found.range), kind: Some(kind) }
}

/// A name that leads to a file.
pub(super) fn document_link(snapshot: &Snapshot, file: FileId, link: &Link) -> Option<proto::DocumentLink> {
    let path = snapshot.model().program().file(link.target)?.path().display().to_string();
    Some(proto::DocumentLink {
        range: snapshot.range(file, &link.range),
        target: Some(snapshot.uri(link.target)?),
        tooltip: Some(path),
        data: None,
    })
}

/// A routine of the call hierarchy.
pub(super) fn call_item(snapshot: &Snapshot, routine: Routine) -> Option<proto::CallHierarchyItem> {
    Some(proto::CallHierarchyItem {
        uri: snapshot.uri(routine.file)?,
        range: snapshot.range(routine.file, &routine.range),
        selection_range: snapshot.range(routine.file, &routine.name_range),
        kind: symbol_kind(OutlineKind::Routine),
        detail: (!routine.detail.is_empty()).then_some(routine.detail),
        name: routine.name,
        tags: None,
        data: None,
    })
}

/// Where calls stand in the file of the routine that calls.
pub(super) fn call_ranges(snapshot: &Snapshot, file: FileId, call: &Call) -> Vec<proto::Range> {
    call.ranges.iter().map(|it| snapshot.range(file, it)).collect()
}
