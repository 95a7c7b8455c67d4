//! The protocol: what messages mean, and answers in its types. The only place that knows them.

mod backend;
mod capabilities;
mod formatting;
pub(crate) mod notifications;
mod options;
pub(crate) mod to_proto;

pub(crate) use backend::{Backend, DIALECT, SHEET};
pub(crate) use options::ClientOptions;
