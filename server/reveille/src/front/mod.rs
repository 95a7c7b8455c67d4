//! The language server's front: messages in their order, snapshots, work on other threads.
//!
//! The framework polls handlers in no order; so [`ingress`] takes every message first: it applies edits and hands each request
//! the snapshot of that moment. Nothing here computes anything that grows with a file.

mod frames;
mod ingress;
mod publish;
mod snapshot;
mod workspace;

use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};

use tower_lsp::{LspService, Server};

use crate::lsp::{Backend, DIALECT, SHEET};

pub(crate) use snapshot::{ClientTraits, Snapshot};
pub(crate) use workspace::{Shared, Workspace};

tokio::task_local! {
    /// What a request sees: the state at the moment it came.
    pub(crate) static SNAPSHOT: Arc<Snapshot>;
}

/// How many requests may wait for an answer before the reader waits too.
const SLOTS: usize = 256;

/// Serves one client; gives whether it said goodbye as the protocol asks.
pub(crate) async fn serve<I, O>(input: I, output: O) -> bool
where
    I: tokio::io::AsyncRead + Unpin,
    O: tokio::io::AsyncWrite,
{
    let shared = Arc::new(Shared::new(Mutex::new(Workspace::default())));
    let backend_shared = shared.clone();
    let (service, socket) = LspService::build(move |client| Backend::new(client, backend_shared))
        .custom_method(frames::UNREADABLE, Backend::unreadable)
        .custom_method(DIALECT, Backend::dialect)
        .custom_method(SHEET, Backend::sheet)
        .finish();
    let publisher = tokio::spawn(publish::run(shared.clone(), service.inner().client().clone()));
    let service = ingress::Ingress::new(service, shared.clone());
    Server::new(frames::Frames::new(input), output, socket).concurrency_level(SLOTS).serve(service).await;
    publisher.abort();
    shared.has_shut_down.load(Ordering::SeqCst)
}
