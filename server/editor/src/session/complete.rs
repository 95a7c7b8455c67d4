//! What can be written at a place of a script.

use std::collections::BTreeSet;
use std::ops::Range;

use reveille_facts::is_session;
use reveille_program::{Definition, DefinitionKind};
use reveille_session::verbs::{Group, KEYS, Slot, VERBS, Verb, VerbKind, spelled_as};
use reveille_session::{Expression, Known, Next, Token, TokenKind, Value, next, token_lines};

use super::{View, verb_of};
use crate::completion::{Completion, CompletionKind, MOST};

/// A line up to the word that is being typed.
struct Place<'v> {
    view: &'v View<'v>,
    /// The script before the word, with a mark in its place.
    text: String,
    /// The line's tokens before the word.
    tokens: Vec<Token>,
    /// The word as far as it is typed, in small letters.
    typed: String,
    /// Its bytes.
    range: Range<usize>,
    /// Where the line begins.
    start: usize,
    found: Vec<Completion>,
    is_more: bool,
}

/// Stands for the word that is being typed.
const MARK: &str = "x";

/// What can be written at a byte of a script; and whether there is more than is offered.
pub(crate) fn completions(view: &View<'_>, byte: usize) -> (Vec<Completion>, bool) {
    let Some(before) = view.text.get(..byte) else { return (Vec::new(), false) };
    // A name with hyphens is one word in some places, a subtraction in others.
    for hyphens in [true, false] {
        let Some(mut place) = Place::new(view, before, hyphens) else { continue };
        let (verb, all) = next(&place.text, &place.tokens);
        let is_value = |it: &Next| matches!(it, Next::Value(_) | Next::Slot(_, Slot::Expression | Slot::Range));
        let has_hyphen = place.typed.contains('-');
        if hyphens && has_hyphen && (all.is_empty() || all.iter().any(is_value)) {
            continue;
        }
        for it in all {
            place.offer(verb, it);
        }
        return (place.found, place.is_more);
    }
    files_in_quotes(view, before)
}

/// Where the last word before a byte begins.
fn word_start(before: &str, hyphens: bool) -> usize {
    let is_part = |it: char| it.is_ascii_alphanumeric() || matches!(it, '_' | '$') || hyphens && it == '-';
    before.trim_end_matches(is_part).len()
}

/// Behind a quote that is open: the scripts that `include` can take.
fn files_in_quotes(view: &View<'_>, before: &str) -> (Vec<Completion>, bool) {
    let Some(line) = token_lines(before).pop() else { return (Vec::new(), false) };
    let Some((open, tokens)) = line.tokens.split_last() else { return (Vec::new(), false) };
    let is_open = matches!(open.kind, TokenKind::Bad(_)) && open.span.end == before.len();
    if !is_open || !before[open.span.clone()].starts_with('"') {
        return (Vec::new(), false);
    }
    let (verb, all) = next(before, tokens);
    let takes_file = all.iter().any(|it| matches!(it, Next::Slot(_, Slot::Text)));
    if !takes_file || verb.is_none_or(|it| it.kind != VerbKind::Include) {
        return (Vec::new(), false);
    }
    let range = open.span.start + 1..before.len();
    let offer = |path| Completion::plain(path, CompletionKind::File, String::new(), range.clone());
    (view.scripts().map(offer).collect(), false)
}

impl View<'_> {
    /// The other scripts, by their paths from this one's folder.
    fn scripts(&self) -> impl Iterator<Item = String> {
        let folder = self.file.path().parent();
        let others = self.model.program().beside().filter(|it| is_session(it) && it.id() != self.file.id());
        others.filter_map(move |it| {
            let path = it.path().strip_prefix(folder?).ok()?;
            Some(path.to_string_lossy().replace('\\', "/"))
        })
    }
}

impl<'v> Place<'v> {
    /// None inside of a comment or a text.
    fn new(view: &'v View<'v>, before: &str, hyphens: bool) -> Option<Self> {
        let start = word_start(before, hyphens);
        let text = format!("{}{MARK}", &before[..start]);
        let mut line = token_lines(&text).pop()?;
        let is_mark = |it: &Token| it.span == (start..start + MARK.len());
        line.tokens.pop().filter(is_mark)?;
        let first = line.tokens.first().map_or(start, |it| it.span.start);
        Some(Self {
            view,
            text,
            tokens: line.tokens,
            typed: before[start..].to_ascii_lowercase(),
            range: start..before.len(),
            start: first,
            found: Vec::new(),
            is_more: false,
        })
    }

    fn push(&mut self, label: impl Into<String>, kind: CompletionKind, detail: impl Into<String>) {
        let label = label.into();
        if !self.found.iter().any(|it| it.label == label) {
            self.found.push(Completion::plain(label, kind, detail.into(), self.range.clone()));
        }
    }

    fn offer(&mut self, verb: Option<&'static Verb>, what: Next) {
        match what {
            Next::Verb => self.verbs(),
            Next::Word(word) => {
                // `read` alone is no verb yet; its second word has the verb's meaning.
                let whole = VERBS.iter().find(|it| verb.is_none() && it.name.ends_with(&format!(" {word}")));
                self.push(word, CompletionKind::Word, whole.map_or("", |it| it.meaning));
            }
            Next::Slot(role, Slot::Expression | Slot::Range) | Next::Value(role) => {
                self.limits(verb, role);
                self.values();
            }
            Next::Slot(role, slot) => self.slot(role, slot),
            Next::Operator => {
                if verb.is_some_and(|it| matches!(it.kind, VerbKind::Check | VerbKind::If)) {
                    self.push("and", CompletionKind::Word, "both hold");
                    self.push("or", CompletionKind::Word, "one of both holds");
                }
            }
            Next::RangeSign => {
                self.push("..", CompletionKind::Word, "to an end, which is none of it");
                self.push("+:", CompletionKind::Word, "so many bytes");
            }
            Next::Field => self.fields(),
        }
    }

    /// The statements that can stand in this line.
    fn verbs(&mut self) {
        let (mut has_step, mut heads, mut open) = (false, BTreeSet::new(), Vec::new());
        let before = self.view.lines.iter().filter(|it| it.span.end <= self.range.start);
        for (verb, _) in before.filter_map(|it| verb_of(&self.view.text, it)) {
            match verb.kind {
                VerbKind::If | VerbKind::Repeat => open.push(verb.kind),
                VerbKind::Else => {
                    if let Some(last) = open.last_mut() {
                        *last = VerbKind::Else;
                    }
                }
                VerbKind::End => drop(open.pop()),
                _ => (),
            }
            if verb.group == Group::Head {
                heads.insert(verb.name);
            } else {
                has_step = true;
            }
        }
        for verb in VERBS {
            let is_legal = match verb.kind {
                _ if verb.group == Group::Head => !has_step && !heads.contains(verb.name),
                VerbKind::Else => open.last() == Some(&VerbKind::If),
                VerbKind::End => !open.is_empty(),
                VerbKind::Stage => open.is_empty(),
                _ => self.is_spelled(verb.kind),
            };
            if is_legal {
                self.push(verb.name, CompletionKind::Word, verb.meaning);
                if let Some(own) = self.found.last_mut() {
                    own.documentation =
                        format!("```reveille-session\n{}\n```\nExample: `{}`", verb.syntax(), verb.example);
                }
            }
        }
    }

    /// Whether the machine's vocabulary has what a statement needs, or is not known at all.
    fn is_spelled(&self, verb: VerbKind) -> bool {
        let Some(monitor) = self.view.session.and_then(|it| it.world.monitor.as_ref()) else { return true };
        if verb == VerbKind::Ask {
            return monitor.spellings.iter().any(|it| spelled_as(&it.key).is_none());
        }
        let mut keys = View::keys_of(verb).peekable();
        keys.peek().is_none() || keys.any(|it| monitor.spelling(it).is_some())
    }

    fn slot(&mut self, role: &'static str, slot: Slot) {
        let session = self.view.session;
        let machine = self.view.model.machine_of(self.view.file.id());
        match (role, slot) {
            ("machine", _) => {
                for it in &machine.monitors {
                    self.push(&it.name, CompletionKind::Heading, "a machine of the machine file");
                }
            }
            ("using", _) => {
                for layout in &machine.layouts {
                    let detail = format!("{}, {} bytes", layout.title, layout.len());
                    self.push(&layout.name, CompletionKind::Layout, detail);
                }
            }
            ("verb", _) => {
                let monitor = session.and_then(|it| it.world.monitor.as_ref());
                for spelling in monitor.iter().flat_map(|it| &it.spellings) {
                    if spelled_as(&spelling.key).is_none() {
                        let names: Vec<&str> = spelling.send.names().collect();
                        self.push(&spelling.key, CompletionKind::Word, names.join(", "));
                    }
                }
            }
            ("name", Slot::Name) => self.bound(|it| matches!(it, Value::Block(_) | Value::Unknown)),
            (_, Slot::Choice(words)) => words.iter().for_each(|it| self.push(*it, CompletionKind::Word, "")),
            (_, Slot::Key) => {
                for (key, byte) in KEYS {
                    self.push(*key, CompletionKind::Value, format!("${byte:02X}"));
                }
                self.push("control-c", CompletionKind::Value, "$03; any letter can stand there");
            }
            (_, Slot::Frame) => {
                let line = session.and_then(|it| it.source_line.as_ref()?.0);
                if let Some(line) = line {
                    let frame = format!("{}{}{}", line.data, line.parity, line.stop);
                    self.push(frame, CompletionKind::Value, "as the firmware sets it");
                }
                self.push("8n1", CompletionKind::Value, "8 data bits, no parity, 1 stop bit");
                self.push("7e1", CompletionKind::Value, "7 data bits, even parity, 1 stop bit");
            }
            (_, Slot::Arguments) => self.arguments(),
            ("file", Slot::Text) if self.is_of(VerbKind::Include) => {
                let scripts: Vec<String> = self.view.scripts().collect();
                for path in scripts {
                    self.push(format!("\"{path}\""), CompletionKind::File, "");
                }
            }
            _ => (),
        }
    }

    fn is_of(&self, kind: VerbKind) -> bool {
        let first = self.tokens.first().map(|it| &self.text[it.span.clone()]);
        first == Some(Verb::of(kind).name)
    }

    /// The names that the own verb of an `ask` has values for, those that it has already excluded.
    fn arguments(&mut self) {
        let Some(second) = self.tokens.get(1) else { return };
        let key = self.text[second.span.start..].split(char::is_whitespace).next().unwrap_or_default();
        let detail = format!("of `{key}`");
        let spelling = self.view.session.and_then(|it| it.world.monitor.as_ref()?.spelling(key));
        let given: Vec<&str> = self.tokens[2..].iter().map(|it| &self.text[it.span.clone()]).collect();
        let names: Vec<String> = spelling.iter().flat_map(|it| it.send.names()).map(str::to_owned).collect();
        let missing: Vec<String> = names.into_iter().filter(|it| !given.contains(&it.as_str())).collect();
        for name in missing {
            self.push(name, CompletionKind::Key, detail.clone());
        }
    }

    /// Numbers of drives, sides, tracks and sectors, with their limits; and the source's own rate.
    fn limits(&mut self, verb: Option<&'static Verb>, role: &str) {
        let Some(session) = self.view.session else { return };
        if role == "rate" {
            if let Some(line) = session.source_line.as_ref().and_then(|it| it.0) {
                self.push(line.rate.to_string(), CompletionKind::Value, "as the firmware sets it");
            }
            return;
        }
        let is_disk = verb.is_some_and(|it| matches!(it.kind, VerbKind::ReadSector | VerbKind::WriteSector));
        let has = |word: &str| self.tokens.iter().any(|it| self.text[it.span.clone()] == *word);
        let Some((least, most)) = session.world.limits(role, has("track"), has("side")).filter(|_| is_disk) else {
            return;
        };
        /// So many are offered one by one.
        const FEW: i64 = 4;
        let machine = self.view.model.machine_of(self.view.file.id());
        let last = if most - least < FEW { most } else { least };
        for number in least..=last {
            let drive = usize::try_from(number).ok().and_then(|it| machine.drives.get(it)).filter(|_| role == "drive");
            let name =
                drive.and_then(|it| it.0.name.as_ref()).map(|it| format!("`{}`, ", it.value)).unwrap_or_default();
            self.push(number.to_string(), CompletionKind::Value, format!("{name}{role}s are {least} to {most}"));
        }
    }

    /// Bound names, then those of the firmware.
    fn values(&mut self) {
        self.bound(|_| true);
        let program = self.view.model.program();
        let mut seen = self.found.len();
        let units: Vec<_> = self.view.units().collect();
        for unit in units {
            for definition in unit.definitions().iter().filter(|it| !it.symbol.is_local()) {
                let name = program.names().text(definition.symbol).to_string();
                let Some(value) = unit.absolute(definition.value) else { continue };
                let Some((kind, detail)) = told(definition, value) else { continue };
                if !name.to_ascii_lowercase().contains(&self.typed) {
                    continue;
                }
                seen += 1;
                if seen > MOST {
                    self.is_more = true;
                    return;
                }
                self.push(name, kind, detail);
            }
        }
    }

    fn known(&self) -> Option<Known<'v>> {
        self.view.known_at(self.start)
    }

    fn bound(&mut self, is_wanted: impl Fn(&Value) -> bool) {
        let Some(known) = self.known() else { return };
        let mut all: Vec<_> = known.bound.into_iter().filter(|it| is_wanted(&it.1)).collect();
        all.sort_by(|a, b| a.0.cmp(&b.0));
        for (name, value) in all {
            let detail = match value {
                Value::Block(it) if !it.groups.is_empty() => "a reply".to_owned(),
                Value::Block(it) => format!("{} bytes", it.bytes.len()),
                other => other.shown(),
            };
            self.push(name, CompletionKind::Bound, detail);
        }
    }

    /// The fields of the block before the point.
    fn fields(&mut self) {
        let Some(block) = self.before_point() else { return };
        let Some(known) = self.known() else { return };
        let Ok(Value::Block(block)) = block.value(&known) else { return };
        for (name, _) in &block.groups {
            self.push(name, CompletionKind::Field, "a group of the reply");
        }
        if block.groups.is_empty() {
            for (name, meaning) in known.world.source.fields(&block) {
                self.push(name, CompletionKind::Field, meaning);
            }
            self.push("length", CompletionKind::Field, "how many bytes");
            self.push("address", CompletionKind::Field, "where the first byte lies");
        }
    }

    /// The value that a point stands behind: a name, with what is taken of it in brackets.
    fn before_point(&self) -> Option<Expression> {
        let sign = |at: usize| match self.tokens.get(at)?.kind {
            TokenKind::Sign(it) => Some(it),
            _ => None,
        };
        let point = self.tokens.len().checked_sub(1)?;
        let mut at = point.checked_sub(1)?;
        while let Some(closing @ (")" | "]")) = sign(at) {
            let mut depth = 0;
            loop {
                depth += match sign(at) {
                    Some(")" | "]") => 1,
                    Some("(" | "[") => -1,
                    _ => 0,
                };
                if depth == 0 {
                    break;
                }
                at = at.checked_sub(1)?;
            }
            if closing == ")" {
                break;
            }
            at = at.checked_sub(1)?;
        }
        Expression::read(&self.text[self.tokens[at].span.start..self.tokens[point].span.start])
    }
}

/// How a name of the firmware is offered; none for what has no value.
fn told(definition: &Definition, value: i64) -> Option<(CompletionKind, String)> {
    Some(match definition.kind {
        DefinitionKind::Label => (CompletionKind::Label, format!("label at ${value:X}")),
        DefinitionKind::Equate | DefinitionKind::Set => (CompletionKind::Constant, format!("{value} = ${value:X}")),
        _ => return None,
    })
}
