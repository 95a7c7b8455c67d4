//! Monitor sessions: the language of the scripts, and the vocabulary by which a machine is asked. No I/O, no program, no protocol.
//!
//! [`verbs`] is the one table of what may stand in a script: the reader follows it, and messages, completion, hover and reference come from it.
//! [`Script`] is a text that was read, [`Expression`] a value in it, which the checker and the player work out alike: where something is known only
//! on the machine, a number has limits ([`Interval`]) instead of a value. [`Monitor`] is the vocabulary of `reveille.toml`, compiled.
//!
//! ```
//! let script = reveille_session::Script::read("dump $400 +: 16 as first\ncheck first[0] = 1\n");
//! assert_eq!(script.statements[0].verb.name, "dump");
//! assert_eq!(script.problems[0].message, "`=` means nothing here");
//! ```

mod evaluate;
mod expression;
mod monitor;
mod next;
mod reply;
mod request;
mod script;
mod template;
mod token;
mod value;
pub mod verbs;
mod world;

pub use evaluate::{Bounds, Fault, FaultKind, MOST_BYTES, Names};
pub use expression::{Binary, Expression, Node, OPERATORS, Span, Unary};
pub use monitor::{Flow, Monitor, Spelling, VocabularyProblem};
pub use next::{Next, next};
pub use reply::{Made, Pattern, Shown, hex_bytes};
pub use request::{Command, Request, Unasked, groups, request, width};
pub use script::{Filled, Problem, Script, Spanned, Statement};
pub use template::{Put, Template, TemplateError};
pub use token::{Kind as TokenKind, Line as TokenLine, Token, lines as token_lines};
pub use value::{Block, Interval, Value};
pub use world::{Geometry, Known, Region, RegionKind, Settings, Source, World};

/// A text as the bytes that go over the line: one a character; none where a character is none of the 256.
#[must_use]
pub fn text_bytes(text: &str) -> Option<Vec<u8>> {
    text.chars().map(|it| u8::try_from(u32::from(it)).ok()).collect()
}
