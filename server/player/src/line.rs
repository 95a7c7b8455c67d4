//! A line to a machine: bytes one way and the other, and its time.

use std::io;
use std::time::Duration;

/// What came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Received {
    /// Bytes, at least one.
    Bytes(Vec<u8>),
    /// Nothing until the moment that was given.
    Nothing,
    /// The other end is gone: nothing will come any more.
    Closed,
}

/// A line to a machine.
pub trait Line {
    /// The time since it was opened.
    fn now(&self) -> Duration;

    /// Sends bytes; gives how many were taken, at least one.
    ///
    /// # Errors
    /// The line is broken.
    fn send(&mut self, bytes: &[u8]) -> io::Result<usize>;

    /// Waits for bytes, up to a moment.
    ///
    /// # Errors
    /// The line is broken.
    fn receive(&mut self, until: Duration) -> io::Result<Received>;

    /// Says that a text is waited for. A line to a machine does nothing with it; a rehearsal has its machine say it, where it could,
    /// and says so.
    fn awaits(&mut self, _text: &[u8]) -> Option<String> {
        None
    }
}

impl Line for Box<dyn Line> {
    fn now(&self) -> Duration {
        self.as_ref().now()
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.as_mut().send(bytes)
    }

    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        self.as_mut().receive(until)
    }

    fn awaits(&mut self, text: &[u8]) -> Option<String> {
        self.as_mut().awaits(text)
    }
}
