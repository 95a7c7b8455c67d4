//! What the client tells. The ingress calls these in the order of the messages; none waits for anything.

use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use tower_lsp::gen_lsp_types as proto;

use super::options::ClientOptions;
use crate::front::Shared;
use crate::load;

pub(crate) fn did_open(shared: &Shared, params: proto::DidOpenTextDocumentParams) {
    let document = params.text_document;
    shared.change(|workspace| workspace.open(document.uri, document.version, &document.text));
}

pub(crate) fn did_change(shared: &Shared, params: proto::DidChangeTextDocumentParams) {
    let uri = params.text_document.text_document_identifier.uri;
    let version = params.text_document.version;
    if let Err(reason) = shared.change(|workspace| workspace.edit(&uri, version, params.content_changes)) {
        tracing::error!(%uri, reason, "a document is dropped until its whole text comes");
    }
}

pub(crate) fn did_close(shared: &Arc<Shared>, params: proto::DidCloseTextDocumentParams) {
    let uri = params.text_document.uri;
    let path = uri.to_file_path().unwrap_or_else(|()| uri.as_str().into());
    shared.change(|workspace| workspace.close(&path));
    reload(shared, vec![path]);
}

pub(crate) fn did_change_watched_files(shared: &Arc<Shared>, params: proto::DidChangeWatchedFilesParams) {
    let paths = params.changes.into_iter().filter_map(|change| change.uri.to_file_path().ok());
    let (paths, others): (Vec<PathBuf>, Vec<PathBuf>) =
        paths.partition(|path| load::is_source(path) || load::is_beside(path));
    // A file that was looked for in vain may be there now.
    shared.looked_for.clear();
    shared.is_there.clear();
    if !paths.is_empty() {
        reload(shared, paths);
    }
    if !others.is_empty() {
        reload_objects(shared, others);
    }
}

/// Takes settings over. Reading all files again is a worker's work.
pub(crate) fn did_change_configuration(shared: &Arc<Shared>, params: &proto::DidChangeConfigurationParams) {
    let Ok(settings) = serde_json::to_value(&params.settings) else { return };
    if settings.is_null() {
        return;
    }
    let options = ClientOptions::read(&settings);
    for problem in &options.problems {
        tracing::warn!(problem, "a setting is left out");
    }
    let shared = shared.clone();
    tokio::task::spawn_blocking(move || {
        shared.change(|workspace| workspace.set_options(options));
    });
}

/// Looks again at files that may be program files, on a worker. Most changes are none of those, and change nothing here.
fn reload_objects(shared: &Arc<Shared>, paths: Vec<PathBuf>) {
    let shared = shared.clone();
    tokio::task::spawn_blocking(move || {
        let mut files = Vec::new();
        let folders = shared.change(|workspace| workspace.folders.clone());
        for path in paths.into_iter().filter(|it| !is_hidden(it, &folders)) {
            let was_one = shared.snapshot().has_object(&path);
            match load::object(&path) {
                Some(content) => files.push((path, content)),
                None if was_one => shared.change(|workspace| workspace.remove(&path)),
                None => (),
            }
        }
        if !files.is_empty() {
            shared.load(files);
        }
    });
}

/// Whether a file is hidden, or a folder above it in its workspace; where the workspace lies is no matter.
fn is_hidden(path: &Path, folders: &[PathBuf]) -> bool {
    let within = folders.iter().find_map(|it| path.strip_prefix(it).ok());
    within
        .unwrap_or(path.file_name().map_or(path, Path::new))
        .components()
        .any(|it| matches!(it, Component::Normal(name) if name.to_string_lossy().starts_with('.')))
}

/// Reads files from disk again, on a worker; those that are gone go from the program too.
fn reload(shared: &Arc<Shared>, paths: Vec<PathBuf>) {
    let shared = shared.clone();
    tokio::task::spawn_blocking(move || {
        let mut files = Vec::new();
        for path in paths {
            match load::content(&path, None) {
                Ok(Some(content)) => files.push((path, content)),
                Ok(None) => (),
                Err(_) => shared.change(|workspace| workspace.remove(&path)),
            }
        }
        shared.load(files);
    });
}
