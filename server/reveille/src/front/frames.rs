//! Frames that can be read, out of whatever a client sends.
//!
//! The framework takes a frame that is no message for the end of its input. So every frame is looked at before it gets there; one that
//! is no message is replaced by a request that answers so.

use std::borrow::Cow;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use serde::Deserialize;
use serde::de::IgnoredAny;
use tokio::io::{AsyncRead, ReadBuf};

/// The request that stands for a frame that is no message. It answers with a parse error, for nobody's request.
pub(super) const UNREADABLE: &str = "reveille/unreadable";

/// The largest frame that is taken: a document of 256 MiB, escaped.
const MOST_BYTES: usize = 1 << 30;

/// Reads frames and gives them on as they are, if they are messages.
pub(super) struct Frames<R> {
    inner: R,
    /// What came and is not looked at yet.
    pending: Vec<u8>,
    /// What can be given on, and how much of it was.
    ready: Vec<u8>,
    given: usize,
}

impl<R> Frames<R> {
    pub(super) fn new(inner: R) -> Self {
        Self { inner, pending: Vec::new(), ready: Vec::new(), given: 0 }
    }

    /// Moves whole frames from `pending` to `ready`.
    fn sort(&mut self) {
        let mut at = 0;
        while let Some((body, end)) = frame(&self.pending[at..]) {
            let frame = &self.pending[at..at + end];
            match body {
                Some(body) if is_message(&frame[body..]) => self.ready.extend_from_slice(frame),
                _ => {
                    tracing::warn!(bytes = end, "a frame is no message and is left out");
                    let text = format!("{{\"jsonrpc\":\"2.0\",\"id\":null,\"method\":\"{UNREADABLE}\"}}");
                    self.ready.extend_from_slice(format!("Content-Length: {}\r\n\r\n{text}", text.len()).as_bytes());
                }
            }
            at += end;
        }
        self.pending.drain(..at);
    }
}

/// The first frame of some bytes: where its body starts, none if its header gives no length; and where it ends. None while it is not whole.
fn frame(bytes: &[u8]) -> Option<(Option<usize>, usize)> {
    let head = bytes.windows(4).take(8 * 1024).position(|it| it == b"\r\n\r\n");
    let Some(head) = head else {
        // So long a header is none; give up what there is and look for the next.
        return (bytes.len() > 8 * 1024).then_some((None, bytes.len()));
    };
    let text = String::from_utf8_lossy(&bytes[..head]);
    let length = text.lines().find_map(|line| {
        let (name, value) = line.split_once(':')?;
        name.trim().eq_ignore_ascii_case("content-length").then(|| value.trim().parse::<usize>().ok())?
    });
    let body = head + 4;
    match length.filter(|it| *it <= MOST_BYTES) {
        None => Some((None, body)),
        Some(length) => (bytes.len() >= body + length).then_some((Some(body), body + length)),
    }
}

#[derive(Deserialize)]
#[serde(untagged)]
#[allow(dead_code, reason = "only whether it can be read counts")]
enum Id {
    Number(i64),
    Text(IgnoredText),
    Null(()),
}

#[derive(Deserialize)]
#[allow(dead_code, reason = "only whether it can be read counts")]
struct IgnoredText(String);

#[derive(Deserialize)]
struct Shape<'a> {
    #[serde(borrow)]
    jsonrpc: Cow<'a, str>,
    #[serde(borrow)]
    method: Option<Cow<'a, str>>,
    #[allow(dead_code, reason = "only whether it can be read counts")]
    id: Option<Id>,
    result: Option<IgnoredAny>,
    error: Option<IgnoredAny>,
}

/// Whether a body is a request, a notification or an answer.
fn is_message(body: &[u8]) -> bool {
    let shape: Result<Shape<'_>, _> = serde_json::from_slice(body);
    shape.is_ok_and(|it| {
        // An answer of nothing has a result of null, which is there and reads as none.
        let is_answer = it.result.is_some() || it.error.is_some() || (it.id.is_some() && it.method.is_none());
        it.jsonrpc == "2.0" && (it.method.is_some() || is_answer)
    })
}

impl<R: AsyncRead + Unpin> AsyncRead for Frames<R> {
    fn poll_read(mut self: Pin<&mut Self>, context: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        loop {
            if self.given < self.ready.len() {
                let count = into.remaining().min(self.ready.len() - self.given);
                into.put_slice(&self.ready[self.given..self.given + count]);
                self.given += count;
                return Poll::Ready(Ok(()));
            }
            self.ready.clear();
            self.given = 0;
            let mut buffer = [0; 64 * 1024];
            let mut read = ReadBuf::new(&mut buffer);
            ready!(Pin::new(&mut self.inner).poll_read(context, &mut read))?;
            if read.filled().is_empty() {
                // The end; half a frame is no message.
                return Poll::Ready(Ok(()));
            }
            self.pending.extend_from_slice(read.filled());
            self.sort();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{frame, is_message};

    #[test]
    fn messages_are_told_from_other_json() {
        for good in [
            r#"{"jsonrpc":"2.0","method":"x"}"#,
            r#"{"jsonrpc":"2.0","id":1,"method":"x","params":{}}"#,
            r#"{"jsonrpc":"2.0","id":"a","result":null}"#,
            r#"{"jsonrpc":"2.0","id":null,"error":{"code":1,"message":""}}"#,
        ] {
            assert!(is_message(good.as_bytes()), "{good}");
        }
        for bad in [
            "",
            "not json",
            "[]",
            "{}",
            r#"{"jsonrpc":"2.0"}"#,
            r#"{"jsonrpc":"2.0","id":{},"method":"x"}"#,
            r#"{"jsonrpc":"2.0","method":5}"#,
        ] {
            assert!(!is_message(bad.as_bytes()), "{bad}");
        }
    }

    #[test]
    fn frames_are_cut_where_their_headers_say() {
        assert_eq!(frame(b"Content-Length: 2\r\n\r\n{}rest"), Some((Some(21), 23)));
        assert_eq!(frame(b"Content-Length: 5\r\n\r\n{}"), None);
        assert_eq!(frame(b"content-length:2\r\nContent-Type: x\r\n\r\n{}"), Some((Some(37), 39)));
        assert_eq!(frame(b"Length: 2\r\n\r\n{}"), Some((None, 13)));
        assert_eq!(frame(b"Content-"), None);
    }
}
