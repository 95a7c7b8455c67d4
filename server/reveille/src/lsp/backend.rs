//! The requests: each is turned into plain data, worked out on another thread, and turned back.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use reveille_editor::Refusal;
use reveille_program::Content;
use tower_lsp::gen_lsp_types as proto;
use tower_lsp::jsonrpc::{Error, ErrorCode, Result};
use tower_lsp::{Client, LanguageServer};

use super::capabilities::{MACHINE_FILE_TRIGGERS, client_traits, server_capabilities};
use super::options::ClientOptions;
use super::{formatting, to_proto};
use crate::front::{SNAPSHOT, Shared, Snapshot};
use crate::{load, report};

/// Answers requests.
pub(crate) struct Backend {
    client: Client,
    shared: Arc<Shared>,
}

/// Our own request: the dialect of a file, with `name`, `title` and `reason`.
pub(crate) const DIALECT: &str = "reveille/dialect";

/// A request of our own: the bring-up sheet.
pub(crate) const SHEET: &str = "reveille/sheet";

/// What [`SHEET`] asks for.
#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(crate) struct SheetParams {
    text_document: proto::TextDocumentIdentifier,
    #[serde(default)]
    format: SheetFormat,
}

/// The form of a sheet.
#[derive(Clone, Copy, Debug, Default, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
enum SheetFormat {
    /// One page with drawn pictures.
    #[default]
    Html,
    /// For a plain window.
    Markdown,
}

/// What [`DIALECT`] asks about.
#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(crate) struct DialectParams {
    text_document: proto::TextDocumentIdentifier,
}

/// How many files of the workspace's folders are read at the start.
const MOST_FILES: usize = 10_000;

impl Backend {
    pub(crate) fn new(client: Client, shared: Arc<Shared>) -> Self {
        Self { client, shared }
    }

    /// Answers a frame that is no message.
    pub(crate) async fn unreadable(&self) -> Result<()> {
        Err(Error::parse_error())
    }

    /// The dialect of a file, and why: for an editor's status line.
    pub(crate) async fn dialect(&self, params: DialectParams) -> Result<Option<serde_json::Value>> {
        work(DIALECT, move |snapshot| {
            let file = snapshot.file(&params.text_document.uri)?;
            let told = reveille_editor::dialect(snapshot.model(), file)?;
            Some(serde_json::json!({ "name": told.name, "title": told.title, "reason": told.reason }))
        })
        .await
    }

    /// The bring-up sheet of the whole program, as a page or as Markdown: for an editor's own window.
    pub(crate) async fn sheet(&self, params: SheetParams) -> Result<Option<serde_json::Value>> {
        work(SHEET, move |snapshot| {
            let file = snapshot.text(&params.text_document.uri)?;
            let model = snapshot.model();
            let path = model.program().file(file)?.path();
            let root = path.parent().unwrap_or(path).to_owned();
            let mut text = Vec::new();
            let written = match params.format {
                SheetFormat::Html => report::sheet_html(model, &root, &mut text),
                SheetFormat::Markdown => report::sheet_markdown(model, &root, &report::picture_in_text, &mut text),
            };
            written.ok()?;
            Some(serde_json::json!({ "text": String::from_utf8(text).ok()? }))
        })
        .await
    }

    pub(crate) fn client(&self) -> &Client {
        &self.client
    }
}

/// Works an answer out on another thread, from the snapshot that the request came with. A panic there fails this request alone.
async fn work<R: Send + 'static>(
    method: &'static str,
    work: impl FnOnce(&Snapshot) -> R + Send + 'static,
) -> Result<R> {
    let snapshot = SNAPSHOT.try_with(Arc::clone).map_err(|_| Error::internal_error())?;
    let span = tracing::debug_span!("request", method);
    let work = move || span.in_scope(|| work(&snapshot));
    tokio::task::spawn_blocking(work).await.map_err(|error| {
        tracing::error!(method, %error, "a request failed");
        Error { message: format!("{method} failed inside the server").into(), ..Error::internal_error() }
    })
}

/// A request that was understood and is not done: RequestFailed of LSP 3.17.
fn refused(why: Refusal) -> Error {
    Error { code: ErrorCode::ServerError(-32803), message: why.0.into(), data: None }
}

impl LanguageServer for Backend {
    async fn initialize(&self, params: proto::InitializeParams) -> Result<proto::InitializeResult> {
        let traits = client_traits(&params.capabilities);
        let capabilities = server_capabilities(&traits);
        let folders = params.workspace_folders_initialize_params.workspace_folders;
        let folders = folders
            .and_then(|it| serde_json::to_value(it).ok())
            .and_then(|it| it.as_array().cloned())
            .unwrap_or_default();
        let folders = folders.iter().filter_map(|it| proto::Uri::parse(it.get("uri")?.as_str()?).ok());
        let mut paths: Vec<PathBuf> = folders.filter_map(|uri| uri.to_file_path().ok()).collect();
        if paths.is_empty() {
            #[allow(deprecated, reason = "older clients name their folder so")]
            paths.extend(params.root_uri.and_then(|uri| uri.to_file_path().ok()));
        }
        let options = params.initialization_options.and_then(|it| serde_json::to_value(it).ok());
        let mut options = options.map_or_else(ClientOptions::default, |it| ClientOptions::read(&it));
        let problems = std::mem::take(&mut options.problems);
        self.shared.change(|workspace| {
            workspace.traits = Arc::new(traits);
            workspace.folders = paths;
            workspace.set_options(options);
        });
        for problem in problems {
            self.client.show_message(proto::MessageType::Warning, format!("Reveille: {problem}")).await;
        }
        self.shared.set_loading(true);
        let shared = self.shared.clone();
        tokio::task::spawn_blocking(move || {
            // However reading ends, findings are published afterwards.
            let _ = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| load_folders(&shared)));
            shared.set_loading(false);
        });
        let version = Some(env!("CARGO_PKG_VERSION").to_owned());
        Ok(proto::InitializeResult {
            capabilities,
            server_info: Some(proto::ServerInfo { name: "reveille".into(), version }),
        })
    }

    async fn initialized(&self, _: proto::InitializedParams) {
        if self.shared.snapshot().traits.watches_files {
            // Program files and images have any ending.
            let options = serde_json::json!({ "watchers": [{ "globPattern": "**/*" }] });
            let registration = proto::Registration {
                id: "reveille-watch".into(),
                method: "workspace/didChangeWatchedFiles".into(),
                register_options: Some(options),
            };
            if let Err(error) = self.client.register_capability(vec![registration]).await {
                tracing::warn!(%error, "the client does not watch files");
            }
        }
    }

    async fn shutdown(&self) -> Result<()> {
        self.shared.has_shut_down.store(true, Ordering::SeqCst);
        Ok(())
    }

    async fn hover(&self, params: proto::HoverParams) -> Result<Option<proto::Hover>> {
        let at = params.text_document_position_params;
        work("textDocument/hover", move |snapshot| {
            let file = snapshot.text(&at.text_document.uri)?;
            let found = reveille_editor::hover(snapshot.model(), file, snapshot.byte(file, at.position))?;
            let content = if snapshot.traits.hover_markdown {
                proto::MarkupContent { kind: proto::MarkupKind::Markdown, value: found.markdown }
            } else {
                proto::MarkupContent { kind: proto::MarkupKind::PlainText, value: to_proto::plain(&found.markdown) }
            };
            Some(proto::Hover { contents: content.into(), range: Some(snapshot.range(file, &found.range)) })
        })
        .await
    }

    async fn signature_help(&self, params: proto::SignatureHelpParams) -> Result<Option<proto::SignatureHelp>> {
        let at = params.text_document_position_params;
        work("textDocument/signatureHelp", move |snapshot| {
            let file = snapshot.file(&at.text_document.uri)?;
            let (found, form, operand) =
                reveille_editor::signatures(snapshot.model(), file, snapshot.byte(file, at.position))?;
            Some(to_proto::signature_help(found, form, operand))
        })
        .await
    }

    async fn inlay_hint(&self, params: proto::InlayHintParams) -> Result<Option<Vec<proto::InlayHint>>> {
        work("textDocument/inlayHint", move |snapshot| {
            let file = snapshot.source_or_session(&params.text_document.uri)?;
            let lines = params.range.start.line as usize..params.range.end.line as usize + 1;
            let found = reveille_editor::hints(snapshot.model(), file, lines, snapshot.hints);
            Some(found.into_iter().map(|it| to_proto::inlay_hint(snapshot, file, it)).collect())
        })
        .await
    }

    async fn code_lens(&self, params: proto::CodeLensParams) -> Result<Option<Vec<proto::CodeLens>>> {
        work("textDocument/codeLens", move |snapshot| {
            let file = snapshot.source_or_session(&params.text_document.uri)?;
            let model = snapshot.model();
            let clock = model.program().settings_of(file).clock;
            let costs = reveille_editor::routines(model, file).into_iter().map(|it| (it.0, it.1.text(clock)));
            let all = costs.chain(reveille_editor::handlers(model, file));
            let own = all.map(|(range, title)| to_proto::code_lens(snapshot, file, &range, title));
            let of_session = reveille_editor::lenses(model, file);
            let of_session = of_session.into_iter().map(|it| to_proto::session_lens(snapshot, file, it));
            let of_start = reveille_editor::power_on(model, file);
            let of_start = of_start.into_iter().map(|it| to_proto::sheet_lens(snapshot, file, &it));
            Some(own.chain(of_session).chain(of_start).collect())
        })
        .await
    }

    async fn goto_definition(&self, params: proto::DefinitionParams) -> Result<Option<proto::DefinitionResponse>> {
        let at = params.text_document_position_params;
        work("textDocument/definition", move |snapshot| {
            let file = snapshot.source_session_or_c(&at.text_document.uri)?;
            let (origin, found) =
                reveille_editor::definition(snapshot.model(), file, snapshot.byte(file, at.position))?;
            if snapshot.traits.definition_links {
                let links = found.iter().filter_map(|it| {
                    let target = to_proto::location(snapshot, it)?;
                    Some(proto::DefinitionLink {
                        origin_selection_range: Some(snapshot.range(file, &origin)),
                        target_uri: target.uri,
                        target_range: target.range,
                        target_selection_range: target.range,
                    })
                });
                return Some(links.collect::<Vec<_>>().into());
            }
            let locations: Vec<_> = found.iter().filter_map(|it| to_proto::location(snapshot, it)).collect();
            Some(proto::Definition::from(locations).into())
        })
        .await
    }

    async fn references(&self, params: proto::ReferenceParams) -> Result<Option<Vec<proto::Location>>> {
        let at = params.text_document_position_params;
        let with_definitions = params.context.include_declaration;
        work("textDocument/references", move |snapshot| {
            let file = snapshot.source_session_or_c(&at.text_document.uri)?;
            let byte = snapshot.byte(file, at.position);
            let found = reveille_editor::references(snapshot.model(), file, byte, with_definitions);
            Some(found.iter().filter_map(|it| to_proto::location(snapshot, it)).collect())
        })
        .await
    }

    async fn document_highlight(
        &self,
        params: proto::DocumentHighlightParams,
    ) -> Result<Option<Vec<proto::DocumentHighlight>>> {
        let at = params.text_document_position_params;
        work("textDocument/documentHighlight", move |snapshot| {
            let file = snapshot.source_session_or_c(&at.text_document.uri)?;
            let found = reveille_editor::highlights(snapshot.model(), file, snapshot.byte(file, at.position));
            Some(found.iter().map(|it| to_proto::highlight(snapshot, file, it)).collect())
        })
        .await
    }

    async fn document_link(&self, params: proto::DocumentLinkParams) -> Result<Option<Vec<proto::DocumentLink>>> {
        work("textDocument/documentLink", move |snapshot| {
            let file = snapshot.source_session_or_c(&params.text_document.uri)?;
            let found = reveille_editor::links(snapshot.model(), file);
            Some(found.iter().filter_map(|it| to_proto::document_link(snapshot, file, it)).collect())
        })
        .await
    }

    async fn folding_range(&self, params: proto::FoldingRangeParams) -> Result<Option<Vec<proto::FoldingRange>>> {
        work("textDocument/foldingRange", move |snapshot| {
            let file = snapshot.text(&params.text_document.uri)?;
            let found = reveille_editor::folds(snapshot.model(), file);
            Some(found.iter().map(to_proto::folding_range).collect())
        })
        .await
    }

    async fn prepare_call_hierarchy(
        &self,
        params: proto::CallHierarchyPrepareParams,
    ) -> Result<Option<Vec<proto::CallHierarchyItem>>> {
        let at = params.text_document_position_params;
        work("textDocument/prepareCallHierarchy", move |snapshot| {
            let file = snapshot.source_session_or_c(&at.text_document.uri)?;
            let found = reveille_editor::routine_at(snapshot.model(), file, snapshot.byte(file, at.position))?;
            Some(vec![to_proto::call_item(snapshot, found)?])
        })
        .await
    }

    async fn incoming_calls(
        &self,
        params: proto::CallHierarchyIncomingCallsParams,
    ) -> Result<Option<Vec<proto::CallHierarchyIncomingCall>>> {
        let item = params.item;
        work("callHierarchy/incomingCalls", move |snapshot| {
            let file = snapshot.source_session_or_c(&item.uri)?;
            let byte = snapshot.byte(file, item.selection_range.start);
            let found = reveille_editor::incoming_calls(snapshot.model(), file, byte).into_iter();
            let calls = found.filter_map(|it| {
                let from_ranges = to_proto::call_ranges(snapshot, it.routine.file, &it);
                Some(proto::CallHierarchyIncomingCall { from: to_proto::call_item(snapshot, it.routine)?, from_ranges })
            });
            Some(calls.collect())
        })
        .await
    }

    async fn outgoing_calls(
        &self,
        params: proto::CallHierarchyOutgoingCallsParams,
    ) -> Result<Option<Vec<proto::CallHierarchyOutgoingCall>>> {
        let item = params.item;
        work("callHierarchy/outgoingCalls", move |snapshot| {
            let file = snapshot.source_session_or_c(&item.uri)?;
            let byte = snapshot.byte(file, item.selection_range.start);
            let found = reveille_editor::outgoing_calls(snapshot.model(), file, byte).into_iter();
            let calls = found.filter_map(|it| {
                let from_ranges = to_proto::call_ranges(snapshot, file, &it);
                Some(proto::CallHierarchyOutgoingCall { to: to_proto::call_item(snapshot, it.routine)?, from_ranges })
            });
            Some(calls.collect())
        })
        .await
    }

    async fn prepare_rename(
        &self,
        at: proto::TextDocumentPositionParams,
    ) -> Result<Option<proto::PrepareRenameResult>> {
        let found = work("textDocument/prepareRename", move |snapshot| {
            let file = snapshot.source_session_or_c(&at.text_document.uri)?;
            let found = reveille_editor::prepare_rename(snapshot.model(), file, snapshot.byte(file, at.position));
            let placed = |(range, placeholder)| proto::PrepareRenamePlaceholder {
                range: snapshot.range(file, &range),
                placeholder,
            };
            Some(found.map(|it| placed(it).into()))
        });
        found.await?.transpose().map_err(refused)
    }

    async fn rename(&self, params: proto::RenameParams) -> Result<Option<proto::WorkspaceEdit>> {
        let at = params.text_document_position_params;
        let found = work("textDocument/rename", move |snapshot| {
            let file = snapshot.source_session_or_c(&at.text_document.uri)?;
            let byte = snapshot.byte(file, at.position);
            let edits = reveille_editor::rename(snapshot.model(), file, byte, &params.new_name);
            Some(edits.map(|it| to_proto::workspace_edit(snapshot, &it)))
        });
        found.await?.transpose().map_err(refused)
    }

    async fn document_symbol(
        &self,
        params: proto::DocumentSymbolParams,
    ) -> Result<Option<proto::DocumentSymbolResponse>> {
        work("textDocument/documentSymbol", move |snapshot| {
            let file = snapshot.text(&params.text_document.uri)?;
            let outline = reveille_editor::outline(snapshot.model(), file);
            if snapshot.traits.hierarchical_symbols {
                let symbols = outline.into_iter().map(|it| to_proto::document_symbol(snapshot, file, it));
                return Some(symbols.collect::<Vec<_>>().into());
            }
            let mut flat = Vec::new();
            for symbol in &outline {
                to_proto::symbol_information(snapshot, file, symbol, &mut flat);
            }
            Some(flat.into())
        })
        .await
    }

    async fn symbol(&self, params: proto::WorkspaceSymbolParams) -> Result<Option<proto::WorkspaceSymbolResponse>> {
        work("workspace/symbol", move |snapshot| {
            let found = reveille_editor::search(snapshot.model(), &params.query);
            let symbols = found.into_iter().filter_map(|it| to_proto::workspace_symbol(snapshot, it));
            Some(symbols.collect::<Vec<_>>().into())
        })
        .await
    }

    async fn selection_range(&self, params: proto::SelectionRangeParams) -> Result<Option<Vec<proto::SelectionRange>>> {
        work("textDocument/selectionRange", move |snapshot| {
            let file = snapshot.source_session_or_c(&params.text_document.uri)?;
            let ranges = params.positions.into_iter().map(|position| {
                let found = reveille_editor::selection(snapshot.model(), file, snapshot.byte(file, position));
                let outer_first = found.into_iter().rev();
                let nested = outer_first.fold(None, |parent: Option<proto::SelectionRange>, range| {
                    Some(proto::SelectionRange { range: snapshot.range(file, &range), parent: parent.map(Box::new) })
                });
                nested.unwrap_or(proto::SelectionRange {
                    range: proto::Range { start: position, end: position },
                    parent: None,
                })
            });
            Some(ranges.collect())
        })
        .await
    }

    async fn completion(&self, params: proto::CompletionParams) -> Result<Option<proto::CompletionResponse>> {
        let at = params.text_document_position_params;
        let trigger = params.context.and_then(|it| it.trigger_character);
        work("textDocument/completion", move |snapshot| {
            let file = snapshot.text(&at.text_document.uri)?;
            // A client asks behind the same characters in every file.
            if trigger.is_some_and(|it| MACHINE_FILE_TRIGGERS.contains(&it.as_str())) && !snapshot.is_beside(file) {
                return None;
            }
            let byte = snapshot.byte(file, at.position);
            let (found, is_more) = reveille_editor::completions(snapshot.model(), file, byte);
            let items =
                found.into_iter().enumerate().map(|(rank, it)| to_proto::completion_item(snapshot, file, rank, it));
            Some(proto::CompletionList { is_incomplete: is_more, items: items.collect(), ..Default::default() }.into())
        })
        .await
    }

    async fn code_action(&self, params: proto::CodeActionParams) -> Result<Option<Vec<proto::CodeActionResponse>>> {
        work("textDocument/codeAction", move |snapshot| {
            let only = params.context.only.as_ref();
            // A kind stands for all that begin with it and a dot.
            let wants = |own: &str| {
                only.is_none_or(|kinds| {
                    kinds.iter().any(|kind| {
                        let kind = kind.as_str();
                        kind.is_empty() || own.strip_prefix(kind).is_some_and(|it| it.is_empty() || it.starts_with('.'))
                    })
                })
            };
            let file = snapshot.source_session_or_c(&params.text_document.uri)?;
            let range = snapshot.byte(file, params.range.start)..snapshot.byte(file, params.range.end);
            let model = snapshot.model();
            let mut found = Vec::new();
            if wants(proto::CodeActionKind::QuickFix.as_str()) {
                found.extend(reveille_editor::actions(model, file, range.clone()));
            }
            if wants(proto::CodeActionKind::RefactorRewrite.as_str()) {
                found.extend(reveille_editor::rewrites(model, file, range.start));
            }
            Some(found.iter().filter_map(|it| to_proto::code_action(snapshot, model, it)).map(Into::into).collect())
        })
        .await
    }

    async fn formatting(&self, params: proto::DocumentFormattingParams) -> Result<Option<Vec<proto::TextEdit>>> {
        work("textDocument/formatting", move |snapshot| {
            formatting::lines(snapshot, &params.text_document.uri, 0..usize::MAX, &params.options)
        })
        .await
    }

    async fn range_formatting(
        &self,
        params: proto::DocumentRangeFormattingParams,
    ) -> Result<Option<Vec<proto::TextEdit>>> {
        work("textDocument/rangeFormatting", move |snapshot| {
            formatting::lines(snapshot, &params.text_document.uri, formatting::touched(params.range), &params.options)
        })
        .await
    }

    async fn on_type_formatting(
        &self,
        params: proto::DocumentOnTypeFormattingParams,
    ) -> Result<Option<Vec<proto::TextEdit>>> {
        work("textDocument/onTypeFormatting", move |snapshot| {
            formatting::typed(snapshot, &params.text_document.uri, params.position, &params.options)
        })
        .await
    }

    async fn semantic_tokens_full(&self, params: proto::SemanticTokensParams) -> Result<Option<proto::SemanticTokens>> {
        work("textDocument/semanticTokens/full", move |snapshot| {
            let file = snapshot.source_or_session(&params.text_document.uri)?;
            let tokens = reveille_editor::semantic_tokens(snapshot.model(), file, 0..usize::MAX);
            Some(proto::SemanticTokens { result_id: None, data: to_proto::semantic_tokens(snapshot, file, &tokens) })
        })
        .await
    }

    async fn semantic_tokens_range(
        &self,
        params: proto::SemanticTokensRangeParams,
    ) -> Result<Option<proto::SemanticTokens>> {
        work("textDocument/semanticTokens/range", move |snapshot| {
            let file = snapshot.source_or_session(&params.text_document.uri)?;
            let lines = params.range.start.line as usize..params.range.end.line as usize + 1;
            let tokens = reveille_editor::semantic_tokens(snapshot.model(), file, lines);
            Some(proto::SemanticTokens { result_id: None, data: to_proto::semantic_tokens(snapshot, file, &tokens) })
        })
        .await
    }
}

/// What files have, as far as they can be read. In which dialect they are read the program says when it takes them.
fn contents(paths: Vec<PathBuf>) -> Vec<(PathBuf, Content)> {
    paths.into_iter().filter_map(|path| Some((path.clone(), load::content(&path, None).ok()??))).collect()
}

/// Reads the sources of the workspace's folders.
fn load_folders(shared: &Shared) {
    let folders = shared.change(|workspace| workspace.folders.clone());
    for folder in folders {
        let mut paths = load::sources_in(&folder);
        // They tell how the sources are read.
        shared.load(contents(load::beside_files_in(&folder)));
        if paths.len() > MOST_FILES {
            tracing::warn!(folder = %folder.display(), files = paths.len(), most = MOST_FILES, "the folder has too many sources; the rest is read when included");
            paths.truncate(MOST_FILES);
        }
        let mut files = contents(paths);
        files.extend(load::objects_in(&folder));
        tracing::info!(folder = %folder.display(), files = files.len(), "read");
        shared.load(files);
    }
}
