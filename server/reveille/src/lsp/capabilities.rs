//! What the server offers, and what it reads from the client's offers.

use reveille_source::ColumnUnit;
use tower_lsp::gen_lsp_types as proto;

use super::to_proto::{TOKEN_MODIFIERS, TOKEN_TYPES};
use crate::front::ClientTraits;

/// Characters behind which a client asks what can be written: in a source, and in the machine file.
const SOURCE_TRIGGERS: &[&str] = &[".", "#", ",", "("];
pub(super) const MACHINE_FILE_TRIGGERS: &[&str] = &["[", "=", "\""];

/// What the client can do.
pub(super) fn client_traits(client: &proto::ClientCapabilities) -> ClientTraits {
    let text = client.text_document.as_ref();
    let workspace = client.workspace.as_ref();
    let offered = client.general.as_ref().and_then(|it| it.position_encodings.as_ref());
    let offers = |kind: &proto::PositionEncodingKind| offered.is_some_and(|it| it.contains(kind));
    let unit = if offers(&proto::PositionEncodingKind::UTF8) {
        ColumnUnit::Utf8
    } else if offers(&proto::PositionEncodingKind::UTF32) {
        ColumnUnit::Utf32
    } else {
        ColumnUnit::Utf16
    };
    let formats = text.and_then(|it| it.hover.as_ref()).and_then(|it| it.content_format.as_ref());
    ClientTraits {
        unit,
        hover_markdown: formats.is_none_or(|it| it.contains(&proto::MarkupKind::Markdown)),
        completion_markdown: text
            .and_then(|it| it.completion.as_ref())
            .and_then(|it| it.completion_item.as_ref())
            .and_then(|it| it.documentation_format.as_ref())
            .is_some_and(|it| it.contains(&proto::MarkupKind::Markdown)),
        related_information: text
            .and_then(|it| it.publish_diagnostics.as_ref())
            .and_then(|it| it.diagnostics_capabilities.related_information)
            .unwrap_or(false),
        hierarchical_symbols: text
            .and_then(|it| it.document_symbol.as_ref())
            .and_then(|it| it.hierarchical_document_symbol_support)
            .unwrap_or(false),
        definition_links: text.and_then(|it| it.definition.as_ref()).and_then(|it| it.link_support).unwrap_or(false),
        versioned_edits: workspace
            .and_then(|it| it.workspace_edit.as_ref())
            .and_then(|it| it.document_changes)
            .unwrap_or(false),
        prepares_rename: text.and_then(|it| it.rename.as_ref()).and_then(|it| it.prepare_support).unwrap_or(false),
        watches_files: workspace
            .and_then(|it| it.did_change_watched_files.as_ref())
            .and_then(|it| it.dynamic_registration)
            .unwrap_or(false),
    }
}

/// What the server offers.
pub(super) fn server_capabilities(traits: &ClientTraits) -> proto::ServerCapabilities {
    let ClientTraits { unit, prepares_rename, .. } = *traits;
    proto::ServerCapabilities {
        position_encoding: Some(match unit {
            ColumnUnit::Utf8 => proto::PositionEncodingKind::UTF8,
            ColumnUnit::Utf16 => proto::PositionEncodingKind::UTF16,
            ColumnUnit::Utf32 => proto::PositionEncodingKind::UTF32,
        }),
        text_document_sync: Some(
            proto::TextDocumentSyncOptions {
                open_close: Some(true),
                change: Some(proto::TextDocumentSyncKind::Incremental),
                ..Default::default()
            }
            .into(),
        ),
        hover_provider: Some(true.into()),
        definition_provider: Some(true.into()),
        references_provider: Some(true.into()),
        document_highlight_provider: Some(true.into()),
        document_link_provider: Some(proto::DocumentLinkOptions::default()),
        rename_provider: Some(if prepares_rename {
            proto::RenameOptions { prepare_provider: Some(true), ..Default::default() }.into()
        } else {
            true.into()
        }),
        document_symbol_provider: Some(true.into()),
        workspace_symbol_provider: Some(true.into()),
        folding_range_provider: Some(true.into()),
        selection_range_provider: Some(true.into()),
        call_hierarchy_provider: Some(true.into()),
        completion_provider: Some(proto::CompletionOptions {
            trigger_characters: Some(
                SOURCE_TRIGGERS.iter().chain(MACHINE_FILE_TRIGGERS).map(|it| (*it).to_owned()).collect(),
            ),
            ..Default::default()
        }),
        signature_help_provider: Some(proto::SignatureHelpOptions {
            trigger_characters: Some([" ", "\t", ",", "#", "("].map(str::to_owned).into()),
            ..Default::default()
        }),
        inlay_hint_provider: Some(true.into()),
        code_lens_provider: Some(proto::CodeLensOptions::default()),
        code_action_provider: Some(
            proto::CodeActionOptions {
                code_action_kinds: Some(vec![proto::CodeActionKind::QuickFix, proto::CodeActionKind::RefactorRewrite]),
                ..Default::default()
            }
            .into(),
        ),
        document_formatting_provider: Some(true.into()),
        document_range_formatting_provider: Some(true.into()),
        document_on_type_formatting_provider: Some(proto::DocumentOnTypeFormattingOptions {
            first_trigger_character: "\n".to_owned(),
            more_trigger_character: None,
        }),
        semantic_tokens_provider: Some(
            proto::SemanticTokensOptions {
                legend: proto::SemanticTokensLegend {
                    token_types: TOKEN_TYPES.iter().map(|it| (*it).to_owned()).collect(),
                    token_modifiers: TOKEN_MODIFIERS.iter().map(|it| (*it).to_owned()).collect(),
                },
                range: Some(true.into()),
                full: Some(true.into()),
                ..Default::default()
            }
            .into(),
        ),
        ..Default::default()
    }
}
