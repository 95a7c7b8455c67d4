//! What stands under the cursor in a script, in Markdown.

use std::fmt::Write;
use std::ops::Range;

use reveille_facts::{NamedMonitor, StepFact};
use reveille_program::FileId;
use reveille_session::verbs::{Changes, SPELLED, Verb, VerbKind};
use reveille_session::{Expression, Node, Settings, Spelling, Value};

use super::{Part, Thing, View, name_in, time};
use crate::hover::{Hover, bases};
use crate::lookup::{Location, location};

/// What stands at a byte of a script.
pub(crate) fn hover(view: &View<'_>, byte: usize) -> Option<Hover> {
    let (range, markdown) = match view.thing(byte)? {
        Thing::Verb(verb, range) => (range, of_verb(view, verb, byte)),
        Thing::Part(role, part) => of_part(view, role, &part, byte)?,
        Thing::Slot(role, text, range) => (range.clone(), of_slot(view, role, text, range, byte)?),
        Thing::Argument(name, range) => {
            let spelling = own_spelling(view, byte)?;
            (range.clone(), format!("`{name}`: put in for `{{{name}}}` of `{}`", spelling.key))
        }
        Thing::Word(range) => {
            let text = of_name(view, &view.text[range.clone()], &range, byte)?;
            (range, text)
        }
    };
    Some(Hover { range, markdown })
}

/// What a statement means, how it is written, and what it asks of this machine.
fn of_verb(view: &View<'_>, verb: &'static Verb, byte: usize) -> String {
    let mut text = format!("```reveille-session\n{}\n```\n---\n{}", verb.syntax(), verb.meaning);
    let statement = view.statement_at(byte);
    let step = statement.and_then(|it| view.step_of(it));
    if let Some(step) = step {
        let _ = write!(text, "{}", of_step(view, step));
    }
    if verb.kind == VerbKind::Stage
        && let Some(statement) = statement
    {
        let _ = write!(text, "\n\nits transfers take {}", time(view.seconds_of_stage(statement.span.start)));
    }
    if verb.kind == VerbKind::Console {
        let _ = write!(text, "\n\n{}", of_line(view));
    }
    let key = statement.and_then(reveille_session::Statement::vocabulary);
    if let (Some(key), Some(machine)) = (key, view.session.and_then(|it| it.world.machine.as_deref())) {
        let _ = write!(text, "\n\nspelled by `[machine.{machine}.monitor.{key}]`");
    } else if step.is_none() || statement.is_none() {
        let _ = write!(text, "\n\nExample: `{}`", verb.example);
    }
    text
}

/// What a step types, changes, and how long it takes.
fn of_step(view: &View<'_>, step: &StepFact) -> String {
    let mut text = String::new();
    if !step.typed.is_empty() {
        let _ = write!(text, "\n\nTyped on this machine:\n```text\n{}\n```", step.typed.join("\n"));
    }
    if let Some((range, region)) = &step.range {
        let region = region.as_ref().map(|it| format!(" in `{it}`")).unwrap_or_default();
        let _ = write!(text, "\n\n{}{region}", extent(range));
    }
    if step.changes != Changes::Nothing {
        let asks = if step.changes.needs_confirm() { "`confirm` and " } else { "" };
        let word = step.changes.name();
        let _ = write!(text, "\n\nchanges {}: needs {asks}`--allow {word}`", changed(step.changes));
    }
    if step.seconds > 0.0 {
        let line = view.session.and_then(|it| it.world.line);
        let rate = line.unwrap_or(Settings::USUAL).rate;
        let taken = if line.is_none() { ", which is taken since no rate is known" } else { "" };
        let _ = write!(text, "\n\nthe transfer takes {} at {rate} bit/s{taken}", time(step.seconds));
    }
    text
}

fn changed(changes: Changes) -> &'static str {
    match changes {
        Changes::Nothing => "nothing",
        Changes::Memory => "RAM",
        Changes::Nvram => "memory that a battery keeps",
        Changes::Disk => "a disk",
        Changes::Rom => "a ROM",
    }
}

fn extent(range: &Range<i64>) -> String {
    format!(
        "${:06X} to ${:06X}, {} bytes",
        range.start,
        range.end.saturating_sub(1),
        range.end.saturating_sub(range.start)
    )
}

/// The line's settings, and where they come from.
fn of_line(view: &View<'_>) -> String {
    let Some(session) = view.session else { return "nothing is known of the line".to_owned() };
    let mut text = match session.world.line {
        Some(line) => format!("`{}`: a character takes {:.2} ms", line.words(), line.character() * 1000.0),
        None => "the source does not say all of the line's settings".to_owned(),
    };
    if let Some((_, words, at)) = &session.source_line {
        let _ = write!(text, "\n\nthe firmware sets it to {words}: {}", shown(view, &location(view.model, *at)));
    }
    text
}

/// A line of a file as a person names it.
fn shown(view: &View<'_>, at: &Location) -> String {
    let Some(file) = view.model.program().file(at.file) else { return String::new() };
    let name = file.path().file_name().unwrap_or(file.path().as_os_str());
    format!("{}:{}", name.to_string_lossy(), file.source().line_of(at.range.start) + 1)
}

/// The roles whose values are addresses.
fn is_address(role: &str) -> bool {
    matches!(role, "range" | "at" | "into" | "from")
}

fn of_part(view: &View<'_>, role: &str, part: &Part<'_>, byte: usize) -> Option<(Range<usize>, String)> {
    let (range, mut text) = match &part.leaf.node {
        Node::Name(name) => {
            let range = name_in(&view.text, &part.leaf.span, name);
            let text = of_name(view, name, &range, byte)?;
            (range, text)
        }
        Node::Number(number) => (part.leaf.span.clone(), bases(*number, 0)),
        Node::Text(text) => (part.leaf.span.clone(), format!("text of {} characters", text.chars().count())),
        Node::Field(block, field, span) => (span.clone(), of_field(view, block, field, part.leaf, byte)?),
        _ => return None,
    };
    let is_alone = part.leaf.span == part.whole.span;
    let known = view.known_at(byte)?;
    let is_bound = matches!(&part.leaf.node, Node::Name(name) if known.bound.contains_key(name));
    // Of a name that stands alone the firmware's own hover has told.
    let is_name = matches!(part.leaf.node, Node::Name(_));
    if (!is_alone || is_address(role) && !is_name)
        && !is_bound
        && let Ok(Value::Number(value)) = part.whole.value(&known)
        && let Some(number) = value.known()
    {
        let own = &view.text[part.whole.span.clone()];
        let is_end = part.range.is_some_and(|it| std::ptr::eq(&it.to, part.whole));
        let is_length = part.range.is_some_and(|it| is_end && it.is_length);
        if is_address(role) && !is_length {
            // The end of a range is the address behind its last byte.
            let inside = number - i64::from(is_end);
            let _ = write!(text, "\n\n`{own}` is ${number:06X}{}", in_region(view, inside));
        } else if role == "condition" && (0..=1).contains(&number) {
            let holds = if number == 1 { "holds" } else { "does not hold" };
            let _ = write!(text, "\n\n`{own}` {holds}, by the source");
        } else if !is_alone {
            let _ = write!(text, "\n\n`{own}` is {}", Value::Number(value).shown());
        }
    }
    if let Some(span) = part.range
        && let Some(range) = span.bounds(&known).ok().and_then(reveille_session::Bounds::known)
    {
        let _ = write!(text, "\n\nthe range: {}{}", extent(&range), in_region(view, range.start));
    }
    Some((range, text))
}

/// The region of an address, with a blank before it.
fn in_region(view: &View<'_>, address: i64) -> String {
    let Some(session) = view.session else { return String::new() };
    match session.world.region_at(address) {
        Some(region) => format!(", in `{}` ({})", region.name, region.kind.title()),
        None if session.world.regions.is_empty() => String::new(),
        None => ", where the memory map has nothing".to_owned(),
    }
}

/// A name of the firmware, or one that a step has bound.
fn of_name(view: &View<'_>, name: &str, range: &Range<usize>, byte: usize) -> Option<String> {
    let mentions = view.mentions();
    if let Some(binding) = View::binding(&mentions, name, &view.here(range)) {
        return Some(of_binding(view, name, &binding.at, byte));
    }
    let (unit, definition, value) = view.defined(name)?;
    let at = crate::expansion::written(view.model.program(), unit, definition.place).into_iter().next()?;
    let at = location(view.model, at);
    // What the source itself tells of the name, at the place that defines it.
    let own = crate::hover::hover(view.model, at.file, at.range.start).map(|it| it.markdown);
    Some(own.unwrap_or_else(|| format!("`{name}`: {}", bases(value, 0))))
}

/// What `as` has bound a name to.
fn of_binding(view: &View<'_>, name: &str, at: &Location, byte: usize) -> String {
    let steps = view.session.map_or(&[][..], |it| &it.steps[..]);
    let is_own = |it: &&StepFact| it.binds.as_ref().is_some_and(|it| location(view.model, it.1) == *at);
    let Some(step) = steps.iter().rev().find(is_own) else {
        return format!("`{name}`: bound at {}", shown(view, at));
    };
    let mut text = format!("`{name}`: bound by `{}` at {}", step.verb.name, shown(view, at));
    if let Some((_, _, value)) = &step.binds {
        match value {
            Value::Block(block) if !block.groups.is_empty() => {
                let names: Vec<String> = block.groups.iter().map(|it| format!("`{}`", it.0)).collect();
                let _ = write!(text, "\n\nits fields are what the reply has: {}", names.join(", "));
            }
            Value::Block(block) => {
                let from =
                    block.address.map(|it| format!(" from ${it:06X}{}", in_region(view, it))).unwrap_or_default();
                let _ = write!(text, "\n\n{} bytes{from}", block.bytes.len());
                if let Some(layout) = &block.layout {
                    let _ = write!(text, "\n\nread as `{layout}`");
                }
                if block.bytes.iter().any(Option::is_some) {
                    let _ = write!(text, "\n\nthe source has there: `{}`", value.shown());
                }
            }
            _ => text.push_str("\n\nwhat comes is known only while the session runs"),
        }
    }
    let is_here = view.file.id() == at.file && super::touches(&at.range, byte);
    if !is_here && !step.typed.is_empty() {
        let _ = write!(text, "\n\nfor `{}`", step.typed.join("`, `"));
    }
    text
}

/// A field of a block: what the layout says of it, and its value if it is known.
fn of_field(view: &View<'_>, block: &Expression, field: &str, whole: &Expression, byte: usize) -> Option<String> {
    let known = view.known_at(byte)?;
    let meaning = match block.value(&known) {
        _ if field == "length" => "how many bytes the block has".to_owned(),
        _ if field == "address" => "where the block's first byte lies".to_owned(),
        Ok(Value::Block(block)) => match known.world.source.fields(&block).into_iter().find(|it| it.0 == field) {
            Some((_, meaning)) => meaning,
            None if block.groups.iter().any(|it| it.0.eq_ignore_ascii_case(field)) => {
                "what this group of the reply matches".to_owned()
            }
            None => return None,
        },
        _ => "a part of the reply, known only while the session runs".to_owned(),
    };
    let mut text = format!("`{field}`: {meaning}");
    if let Ok(value @ (Value::Number(_) | Value::Text(_))) = whole.value(&known) {
        let is_known = value.known().is_some() || matches!(value, Value::Text(_));
        let words = if is_known { "by the source" } else { "possible" };
        let _ = write!(text, "\n\n{words}: {}", value.shown());
    }
    Some(text)
}

fn of_slot(view: &View<'_>, role: &str, text: &str, range: &Range<usize>, byte: usize) -> Option<String> {
    let statement = view.statement_at(byte)?;
    match (role, statement.verb.kind) {
        ("as", _) | ("name", VerbKind::Keep) => of_name(view, text, range, byte),
        ("using", _) => of_layout(view, text),
        ("machine", _) => of_machine(view, text),
        ("verb", _) => Some(of_own_verb(view, text, byte)),
        ("source", VerbKind::Console) => Some(of_line(view)),
        ("boot", _) => {
            let name = view.session?.world.source.boot_file()?;
            Some(format!("the boot file that the firmware looks for is `{name}`"))
        }
        _ => None,
    }
}

/// A layout, with its fields.
fn of_layout(view: &View<'_>, name: &str) -> Option<String> {
    let machine = view.model.machine_of(view.file.id());
    let layout = machine.layouts.iter().find(|it| it.is_called(name))?;
    let mut text = format!("**{}** (`{}`): {} bytes\n", layout.title, layout.name, layout.len());
    for field in &layout.fields {
        let _ = write!(text, "\n- `{}`: {}", field.name, field.meaning);
    }
    Some(text)
}

/// The machine file's own title of a machine, and what its vocabulary spells.
fn of_machine(view: &View<'_>, name: &str) -> Option<String> {
    let machine = view.named_machine(name)?;
    let file = view.session?.machine_file?;
    let at = Location { file, range: machine.span.clone() };
    let mut text = format!("**{name}**: {}", shown(view, &at));
    if let Some(monitor) = &machine.monitor {
        let verbs: Vec<String> = monitor.spellings.iter().map(|it| format!("`{}`", it.key)).collect();
        let _ = write!(text, "\n\nits monitor is asked by: {}", verbs.join(", "));
    } else {
        text.push_str("\n\nnobody says how its monitor is talked to");
    }
    Some(text)
}

/// A verb of the machine's own.
fn of_own_verb(view: &View<'_>, name: &str, byte: usize) -> String {
    let mut text = format!("`{name}`: a verb of this machine's own");
    if let Some(spelling) = own_spelling(view, byte) {
        let names: Vec<String> = spelling.send.names().map(|it| format!("`{it}`")).collect();
        if !names.is_empty() {
            let _ = write!(text, ", with values for {}", names.join(", "));
        }
    }
    if let Some(step) = view.statement_at(byte).and_then(|it| view.step_of(it)) {
        let _ = write!(text, "{}", of_step(view, step));
    }
    text
}

/// How the machine spells the statement at a byte.
fn own_spelling<'v>(view: &'v View<'_>, byte: usize) -> Option<&'v Spelling> {
    let key = view.statement_at(byte)?.vocabulary()?;
    view.session?.world.monitor.as_ref()?.spelling(&key)
}

impl View<'_> {
    /// A machine of the machine file.
    pub(super) fn named_machine(&self, name: &str) -> Option<&NamedMonitor> {
        self.model.machine_of(self.file.id()).monitors.iter().find(|it| it.name == name)
    }

    /// The machine file that speaks for the script.
    pub(super) fn machine_file(&self) -> Option<FileId> {
        self.session?.machine_file
    }

    /// What the machine's vocabulary has to spell for a statement; several where words in it make a difference.
    pub(super) fn keys_of(verb: VerbKind) -> impl Iterator<Item = &'static str> {
        SPELLED.iter().filter(move |it| it.verb == verb).map(|it| it.key)
    }
}
