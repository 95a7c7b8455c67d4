//! Publishes findings: after every change, for the documents that changed and for files whose findings did.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::Arc;

use reveille_facts::MACHINE_FILE;
use reveille_program::FileId;
use rustc_hash::FxHashSet;
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
        let (work, for_more) = (snapshot.clone(), shared.clone());
        let loading = tokio::task::spawn_blocking(move || load_more(&for_more, &work)).await;
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

/// Looks on disk for files that the program lacks, each once: included ones, and those that a machine file names or is. Gives whether
/// that changed the program.
fn load_more(shared: &Shared, snapshot: &Snapshot) -> bool {
    let model = snapshot.model();
    let program = model.program();
    let mut paths: Vec<PathBuf> = Vec::new();
    let is_new = |path: &PathBuf| shared.looked_for.insert(path.clone(), ()).is_none();
    for unit in model.analysis().units() {
        let Some(root) = unit.root() else { continue };
        for (file, name) in unit.missing() {
            paths.extend(program.include_paths(*file, root, name).into_iter().filter(is_new));
        }
    }
    for unit in model.c() {
        for (from, name) in unit.missing() {
            paths.extend(program.include_paths(from, unit.root, &name).into_iter().filter(is_new));
        }
    }
    for file in snapshot.open_files().filter_map(|it| program.file(it)).filter(|it| it.path().is_absolute()) {
        // The machine file of a document outside the folders that the client has named.
        let above = file.path().ancestors().skip(1).map(|it| it.join(MACHINE_FILE));
        let unknown = above.take_while(|it| program.file_at(it).is_none());
        paths.extend(unknown.filter(is_new).find(|it| it.is_file()));
    }
    let mut absent = FxHashSet::default();
    for named in model.named() {
        let is_there = *shared.is_there.entry(named.path.clone()).or_insert_with(|| load::is_there(named));
        if !is_there {
            absent.insert(named.path.clone());
        } else if !named.is_folder && load::is_assembly(&named.path) && program.file_at(&named.path).is_none() {
            paths.extend(Some(named.path.clone()).filter(is_new));
        }
    }
    let read = |path: PathBuf| Some((path.clone(), load::content(&path, None).ok()??));
    let files: Vec<_> = paths.into_iter().filter(|path| path.is_file()).filter_map(read).collect();
    let has_found = !files.is_empty();
    if has_found {
        shared.load(files);
    }
    // To say it again would be a change without news.
    let is_news = absent != *program.absent();
    if is_news {
        shared.change(|workspace| workspace.set_absent(absent));
    }
    has_found || is_news
}
