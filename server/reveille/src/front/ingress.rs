//! The first to see a message. One task calls it, in the order in which messages come.

use std::sync::Arc;
use std::task::{Context, Poll};

use futures_util::FutureExt;
use futures_util::future::BoxFuture;
use serde::de::DeserializeOwned;
use tower::Service;
use tower_lsp::jsonrpc::{Request, Response};

use super::{SNAPSHOT, Shared};
use crate::lsp::notifications;

/// Applies document notifications, gives requests their snapshot, and cancels at once.
pub(super) struct Ingress<S> {
    inner: S,
    shared: Arc<Shared>,
}

impl<S> Ingress<S> {
    pub(super) fn new(inner: S, shared: Arc<Shared>) -> Self {
        Self { inner, shared }
    }
}

fn params<T: DeserializeOwned>(request: &Request) -> Option<T> {
    let params = request.params().cloned().unwrap_or_default();
    match serde_json::from_value(params) {
        Ok(params) => Some(params),
        Err(error) => {
            tracing::warn!(method = request.method(), %error, "a notification cannot be read and is left out");
            None
        }
    }
}

/// Whether each change has a range that can be read, or none: one that cannot would pass for a change of the whole text.
fn has_readable_ranges(request: &Request) -> bool {
    let changes = request.params().and_then(|it| it.get("contentChanges")?.as_array());
    let is_readable = changes.into_iter().flatten().filter_map(|change| change.get("range")).all(|range| {
        range.is_null() || serde_json::from_value::<tower_lsp::gen_lsp_types::Range>(range.clone()).is_ok()
    });
    if !is_readable {
        tracing::warn!(method = request.method(), "a range cannot be read, and the notification is left out");
    }
    is_readable
}

impl<S> Service<Request> for Ingress<S>
where
    S: Service<Request, Response = Option<Response>>,
    S::Future: Send + 'static,
    S::Error: Send + 'static,
{
    type Response = Option<Response>;
    type Error = S::Error;
    type Future = BoxFuture<'static, Result<Option<Response>, S::Error>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, request: Request) -> Self::Future {
        let shared = &self.shared;
        let done = || std::future::ready(Ok(None)).boxed();
        match request.method() {
            "textDocument/didOpen" => params(&request).map(|it| notifications::did_open(shared, it)),
            "textDocument/didChange" => params(&request)
                .filter(|_| has_readable_ranges(&request))
                .map(|it| notifications::did_change(shared, it)),
            "textDocument/didClose" => params(&request).map(|it| notifications::did_close(shared, it)),
            "workspace/didChangeWatchedFiles" => {
                params(&request).map(|it| notifications::did_change_watched_files(shared, it))
            }
            "workspace/didChangeConfiguration" => {
                params(&request).map(|it| notifications::did_change_configuration(shared, &it))
            }
            "textDocument/didSave" => None,
            "$/cancelRequest" => {
                // Polled on the spot: its answer must not wait for a free place behind the requests it cancels.
                let cancel = self.inner.call(request);
                let _ = cancel.now_or_never();
                return done();
            }
            _ => {
                let snapshot = shared.snapshot();
                return SNAPSHOT.scope(snapshot, self.inner.call(request)).boxed();
            }
        };
        done()
    }
}
