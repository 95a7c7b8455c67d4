//! What a step asks of the machine: the lines that are typed for it. The checker shows them, the player types them.

use std::ops::Range;

use crate::evaluate::{Fault, FaultKind};
use crate::monitor::Spelling;
use crate::reply::Shown;
use crate::script::Statement;
use crate::template::Put;
use crate::verbs::{Changes, VerbKind};
use crate::world::{Known, World};

/// A line that is typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Command {
    /// What is typed, without the line's end.
    pub typed: String,
    /// The addresses that it is about.
    pub range: Option<Range<i64>>,
    /// How many characters come back, echo and prompt excluded; an estimate.
    pub reply: usize,
}

/// What a step asks of the machine.
#[derive(Clone, Debug)]
pub struct Request<'w> {
    /// How the machine's vocabulary has it.
    pub spelling: &'w Spelling,
    /// The lines that are typed, one after the other.
    pub commands: Vec<Command>,
    /// All addresses that it is about.
    pub range: Option<Range<i64>>,
    /// What it changes.
    pub changes: Changes,
}

/// Why there is nothing to type.
#[derive(Clone, Debug)]
pub enum Unasked {
    /// The machine has no vocabulary.
    NoMonitor,
    /// Its vocabulary has no table of this name.
    NoSpelling(String),
    /// Something in the step cannot be worked out.
    Fault(Fault),
    /// Something in the step is known only while the session runs.
    NotYet,
    /// The template has no value for a name: what to do.
    Template(String),
}

impl From<Fault> for Unasked {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

/// The most lines that are typed for one step.
const MOST_COMMANDS: i64 = 100_000;

/// What a line's end counts in a reply, and what stands before a prompt.
const LINE_END: usize = 2;

/// What a step asks of the machine.
///
/// # Errors
/// See [`Unasked`].
pub fn request<'w>(statement: &Statement, known: &Known<'w>) -> Result<Request<'w>, Unasked> {
    let world = known.world;
    let key = statement.vocabulary().unwrap_or_default();
    let monitor = world.monitor.as_deref().ok_or(Unasked::NoMonitor)?;
    let spelling = monitor.spelling(&key).ok_or(Unasked::NoSpelling(key))?;
    let mut values = values(statement, known)?;
    let range = match statement.range("range") {
        Some(it) => Some(it.bounds(known)?.known().ok_or(Unasked::NotYet)?),
        None => None,
    };
    let mut commands = Vec::new();
    match &range {
        None => {
            let typed = spelling.send.text(&|name| put(&values, name)).map_err(Unasked::Template)?;
            commands.push(Command { typed, range: None, reply: reply_length(spelling) });
        }
        Some(range) => {
            let step = spelling.most.map_or(range.end.saturating_sub(range.start).max(1), i64::from);
            if (range.end.saturating_sub(range.start)) / step > MOST_COMMANDS {
                let message = format!("more than {MOST_COMMANDS} commands would be typed for this range");
                let span = statement.range("range").map_or(statement.span.clone(), crate::expression::Span::span);
                return Err(Unasked::Fault(Fault { span, kind: FaultKind::Value, message }));
            }
            let mut from = range.start;
            while from < range.end {
                let to = from.saturating_add(step).min(range.end);
                values.truncate(values.iter().position(|it| it.0 == "from").unwrap_or(values.len()));
                let own = [("from", from), ("to", to), ("last", to - 1), ("bytes", to - from)];
                values.extend(own.map(|it| (it.0.to_owned(), Put::Number(it.1))));
                let typed = spelling.send.text(&|name| put(&values, name)).map_err(Unasked::Template)?;
                let reply = match statement.verb.kind {
                    VerbKind::Dump => dump_length(spelling, from, to - from),
                    _ => reply_length(spelling),
                };
                commands.push(Command { typed, range: Some(from..to), reply });
                from = to;
            }
        }
    }
    let changes = changes(statement, spelling, world, range.as_ref(), &values);
    Ok(Request { spelling, commands, range, changes })
}

fn put(values: &[(String, Put)], name: &str) -> Option<Put> {
    values.iter().find(|it| it.0 == name).map(|it| it.1.clone())
}

/// The values of a step by the names that templates have for them, ranges excluded.
fn values(statement: &Statement, known: &Known<'_>) -> Result<Vec<(String, Put)>, Unasked> {
    const ROLES: &[&str] = &["value", "at", "sector", "track", "side", "drive", "into", "from"];
    let mut found = Vec::new();
    let number = |it: &crate::Expression| it.number(known)?.known().ok_or(Unasked::NotYet);
    for role in ROLES {
        if let Some(expression) = statement.expression(role) {
            found.push(((*role).to_owned(), Put::Number(number(expression)?)));
        }
    }
    if matches!(statement.verb.kind, VerbKind::ReadSector | VerbKind::WriteSector)
        && statement.expression("drive").is_none()
    {
        found.push(("drive".to_owned(), Put::Number(0)));
    }
    if statement.verb.kind == VerbKind::Load {
        let name = statement.text("name").map(|it| it.value.clone());
        found.extend(name.or_else(|| known.world.source.boot_file()).map(|it| ("name".to_owned(), Put::Text(it))));
    }
    for (name, expression) in statement.arguments("arguments") {
        let put = match expression.value(known)? {
            crate::Value::Text(it) => Put::Text(it),
            _ => Put::Number(number(expression)?),
        };
        found.push((name.value.clone(), put));
    }
    Ok(found)
}

/// What a step changes: by the vocabulary, and where it writes.
fn changes(
    statement: &Statement,
    spelling: &Spelling,
    world: &World,
    range: Option<&Range<i64>>,
    values: &[(String, Put)],
) -> Changes {
    if spelling.changes != Changes::Memory {
        return spelling.changes;
    }
    let written = match statement.verb.kind {
        VerbKind::Fill => range.filter(|it| it.start < it.end).cloned(),
        VerbKind::Poke => match put(values, "at") {
            Some(Put::Number(at)) => Some(at..at + width(statement)),
            _ => None,
        },
        _ => None,
    };
    written.map_or(Changes::Memory, |it| world.changed_by_writing(it))
}

/// How many bytes a `poke` writes.
#[must_use]
pub fn width(statement: &Statement) -> i64 {
    match statement.word("width").map(|it| it.value.as_str()) {
        Some("word") => 2,
        Some("long") => 4,
        _ => 1,
    }
}

fn reply_length(spelling: &Spelling) -> usize {
    spelling.reply.as_ref().and_then(|it| it.line(&[])).map_or(0, |it| it.text.len() + LINE_END)
}

/// How many characters a dump has.
fn dump_length(spelling: &Spelling, from: i64, bytes: i64) -> usize {
    let bytes = usize::try_from(bytes).unwrap_or(0);
    let zero = |_: usize| 0;
    let shown = [("address", Shown::Number(from)), ("bytes", Shown::Bytes(&zero, bytes))];
    match spelling.reply.as_ref().and_then(|it| it.line(&shown)).filter(|it| it.bytes > 0) {
        Some(line) => bytes.div_ceil(line.bytes) * (line.text.len() + LINE_END),
        // Two digits and a blank for each byte.
        None => bytes * 3,
    }
}

impl Request<'_> {
    /// How long its transfer takes, in seconds, at a line's rate: what is typed, what comes back, and the prompt behind it.
    #[must_use]
    pub fn seconds(&self, world: &World) -> f64 {
        let Some(monitor) = &world.monitor else { return 0.0 };
        let character = world.line.unwrap_or(crate::Settings::USUAL).character();
        let prompt = monitor.prompt.line(&[]).map_or(LINE_END, |it| it.text.len() + LINE_END);
        let each = self.commands.iter().map(|it| {
            let typed = it.typed.len() + monitor.newline.len();
            let pace = monitor.pace.0.as_secs_f64() * typed as f64 + monitor.pace.1.as_secs_f64();
            (typed + it.reply + prompt) as f64 * character + pace
        });
        each.sum()
    }
}

/// The named groups of a reply that a statement's spelling has, as names without values: for what is known before the session runs.
#[must_use]
pub fn groups(spelling: &Spelling) -> Vec<(String, Option<String>)> {
    let names = spelling.reply.iter().flat_map(|it| it.regex().capture_names().flatten());
    names.map(|it| (it.to_owned(), None)).collect()
}
