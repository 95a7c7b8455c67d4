//! Why a step ends the session, and what it has got: in words.

use reveille_session::verbs::VerbKind;
use reveille_session::{Block, Monitor, Statement, Unasked};

use crate::exchange::{Trouble, lines};
use crate::report::Verdict;
use crate::stream::Broken;

/// Why a step ends the session.
pub(crate) struct Failure {
    pub(crate) verdict: Verdict,
    pub(crate) message: String,
    pub(crate) refusal: Option<String>,
}

impl Failure {
    pub(crate) fn failed(message: impl Into<String>) -> Self {
        Self { verdict: Verdict::Failed, message: message.into(), refusal: None }
    }

    pub(crate) fn refused(message: impl Into<String>) -> Self {
        Self { verdict: Verdict::Refused, message: message.into(), refusal: None }
    }
}

impl From<Broken> for Failure {
    fn from(broken: Broken) -> Self {
        match broken {
            Broken::Stopped => {
                Self { verdict: Verdict::Stopped, message: "stopped by whoever watches".into(), refusal: None }
            }
            Broken::Line(error) => Self::refused(format!("the line is broken: {error}")),
            Broken::Log(error) => Self::refused(format!("the log cannot be written, so nothing more is sent: {error}")),
            Broken::Closed => Self::failed("the line was closed at the other end; look at cable and power"),
            Broken::Late => Self::failed("nothing of what was waited for came in time"),
            Broken::Flood(bytes) => Self::failed(format!(
                "{bytes} bytes came without what was waited for; look at the rate, then the cable"
            )),
            Broken::HeldUp => Self::failed("the machine stopped the line by XOFF, and did not let it go on"),
        }
    }
}

impl From<Trouble> for Failure {
    fn from(trouble: Trouble) -> Self {
        match trouble {
            Trouble::Broken(broken) => broken.into(),
            Trouble::Echo { typed, came: None } => {
                Self::failed(format!("`{typed}` was typed and did not come back; the line was not ended"))
            }
            Trouble::Echo { typed, came: Some(came) } => Self::failed(format!(
                "`{typed}` was typed and `{}` came back; the line was not ended",
                char::from(came).escape_default()
            )),
            Trouble::Refused(text) => {
                Self { verdict: Verdict::Failed, message: format!("the machine says `{text}`"), refusal: Some(text) }
            }
            Trouble::Reply(message) => Self::failed(message),
        }
    }
}

pub(crate) fn unknown(name: &str, left_out: &[String]) -> String {
    if left_out.iter().any(|it| it == name) {
        format!("`{name}` is bound in a stage that was left out; begin with that stage")
    } else {
        format!("nobody knows `{name}`")
    }
}

pub(crate) fn fault(fault: &reveille_session::Fault, left_out: &[String]) -> Failure {
    let name = left_out.iter().find(|it| fault.message.contains(&format!("`{it}`")));
    Failure::refused(name.map_or_else(|| fault.message.clone(), |it| unknown(it, left_out)))
}

pub(crate) fn unasked(why: &Unasked, left_out: &[String]) -> Failure {
    match why {
        Unasked::NoMonitor => Failure::refused("the machine file has no `monitor`: nobody says how it is talked to"),
        Unasked::NoSpelling(key) => Failure::refused(format!("the machine's vocabulary has no `{key}`")),
        Unasked::Fault(it) => fault(it, left_out),
        Unasked::NotYet => Failure::failed("a value in it is not known"),
        Unasked::Template(why) => Failure::refused(why.clone()),
    }
}

/// Bytes held against others: what to say if they are the same, or where they differ first.
pub(crate) fn compared(block: &Block, expected: &[Option<u8>], what: &str) -> Result<String, String> {
    if block.bytes.len() != expected.len() {
        return Err(format!("the block has {} bytes, {what} {}", block.bytes.len(), expected.len()));
    }
    let missing = expected.iter().filter(|it| it.is_none()).count();
    if missing == expected.len() {
        return Err(format!("{what} says nothing of these {missing} bytes"));
    }
    let differs = |it: &(usize, (&Option<u8>, &Option<u8>))| matches!(it.1, (Some(a), Some(b)) if a != b);
    let mut different = block.bytes.iter().zip(expected).enumerate().filter(differs);
    let Some((at, (Some(own), Some(other)))) = different.next() else {
        let but = if missing == 0 { String::new() } else { format!("; {what} does not say {missing} others") };
        return Ok(format!("{} bytes are those of {what}{but}", expected.len() - missing));
    };
    let place = match block.address {
        Some(address) => format!("${:06X}", address + i64::try_from(at).unwrap_or(0)),
        None => format!("byte {at}"),
    };
    let count = 1 + different.count();
    Err(format!(
        "{count} of {} bytes differ from {what}; the first, at {place}, is {own:02X}, there {other:02X}",
        expected.len()
    ))
}

/// What a step has got, in a few words.
pub(crate) fn summary(statement: &Statement, bytes: usize, reply: &[u8], monitor: &Monitor) -> String {
    if statement.verb.kind == VerbKind::Dump {
        return format!("{bytes} bytes");
    }
    let is_prompt = |it: &&[u8]| monitor.prompt.regex().is_match(it);
    let said = lines(reply).filter(|it| !is_prompt(it)).map(|it| String::from_utf8_lossy(it).trim().to_owned());
    said.filter(|it| !it.is_empty()).last().unwrap_or_default()
}

pub(crate) fn last_line(bytes: &[u8]) -> String {
    const MOST: usize = 80;
    let last = lines(bytes).map(|it| String::from_utf8_lossy(it).trim().to_owned()).filter(|it| !it.is_empty()).last();
    let last: String = last.unwrap_or_default().chars().map(|it| if it.is_control() { '.' } else { it }).collect();
    match last.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}...", &last[..end]),
        None => last,
    }
}
