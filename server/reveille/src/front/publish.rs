//! Publishes findings: after every change, for the documents that changed and for files whose findings did.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::Arc;

use reveille_program::FileId;
use tower_lsp::Client;
use tower_lsp::gen_lsp_types as proto;

use super::{Shared, Snapshot};
use crate::load;
use crate::lsp::to_proto;

type Published = HashMap<proto::Uri, (Option<i32>, Vec<proto::Diagnostic>)>;

/// Runs until the server ends. Changes that come while findings are worked out are taken together.
pub(super) async fn run(shared: Arc<Shared>, client: Client) {
    let mut changes = shared.changes();
    // The first messages may have come before this task had its first turn.
    changes.mark_changed();
    let mut published = Published::new();
    while changes.changed().await.is_ok() {
        changes.mark_unchanged();
        if shared.is_loading() {
            // Findings about names that the next moment brings would only flash; the end of loading is a change too.
            continue;
        }
        let snapshot = shared.snapshot();
        let (work, for_includes) = (snapshot.clone(), shared.clone());
        let loading = tokio::task::spawn_blocking(move || load_includes(&for_includes, &work)).await;
        if loading.unwrap_or(false) {
            continue;
        }
        let work = snapshot;
        let found = tokio::task::spawn_blocking(move || diagnostics(&work)).await;
        let Ok(found) = found else {
            tracing::error!("the findings could not be worked out; the next change tries again");
            continue;
        };
        for (uri, (version, diagnostics)) in &found {
            let is_same = published.get(uri).is_some_and(|it| it.0 == *version && it.1 == *diagnostics);
            if !is_same {
                client.publish_diagnostics(uri.clone(), diagnostics.clone(), *version).await;
            }
        }
        // A file that is gone has no findings any more; that is told once.
        for uri in published.keys().filter(|uri| !found.contains_key(uri)) {
            client.publish_diagnostics(uri.clone(), Vec::new(), None).await;
        }
        published = found;
    }
}

/// The findings of the open documents and of all files that have some, as the protocol has them.
fn diagnostics(snapshot: &Snapshot) -> Published {
    let model = snapshot.model();
    let mut by_file: HashMap<FileId, Vec<proto::Diagnostic>> =
        snapshot.open_files().map(|file| (file, Vec::new())).collect();
    for finding in model.findings() {
        let own = by_file.entry(finding.at.place.file).or_default();
        own.push(to_proto::diagnostic(snapshot, model, finding));
    }
    let found = by_file.into_iter();
    found.filter_map(|(file, findings)| Some((snapshot.uri(file)?, (snapshot.version(file), findings)))).collect()
}

/// Looks on disk for included files that the program lacks, each once; gives whether some were found and loaded.
fn load_includes(shared: &Shared, snapshot: &Snapshot) -> bool {
    let model = snapshot.model();
    let mut paths: Vec<PathBuf> = Vec::new();
    for unit in model.analysis().units() {
        let Some(root) = unit.root() else { continue };
        for (file, name) in unit.missing() {
            let candidates = model.program().include_paths(*file, root, name).into_iter();
            paths.extend(candidates.filter(|path| shared.looked_for.insert(path.clone(), ()).is_none()));
        }
    }
    let read = |path: PathBuf| Some((path.clone(), load::content(&path, None).ok()??));
    let files: Vec<_> = paths.into_iter().filter(|path| path.is_file()).filter_map(read).collect();
    let has_found = !files.is_empty();
    if has_found {
        shared.load(files);
    }
    has_found
}
