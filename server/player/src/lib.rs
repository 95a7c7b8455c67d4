//! Plays monitor sessions: types what a step asks, reads what comes, judges it, and keeps a log of every byte. It knows lines by a trait
//! ([`Line`]): the port and the connection stand in the program, the rehearsal's machine ([`Rehearsal`]) and a log that is played again
//! ([`Replay`]) here. Time is the line's: in a rehearsal an hour takes no time, and is told as an hour.

mod exchange;
mod line;
mod log;
mod player;
mod rehearsal;
mod report;
mod said;
mod stream;
mod watch;

pub use line::{Line, Received};
pub use log::{Event, Log, LogError, Replay, events};
pub use player::{Options, Player};
pub use rehearsal::{Disk, Fault, FaultKind, Rehearsal};
pub use report::{Report, StageReport, StepReport, Verdict};
pub use watch::{Answer, Files, Watch};
