//! The machine's vocabulary, compiled: what is typed for each verb, and how its reply is read.

use std::ops::Range;
use std::time::Duration;

use reveille_machine as machine;
use reveille_machine::{Spanned, span_inside};

use crate::reply::Pattern;
use crate::template::Template;
use crate::verbs::{Changes, spelled_as};

/// How a monitor is talked to.
#[derive(Clone, Debug)]
pub struct Monitor {
    /// What stands in the last line when it waits for a command.
    pub prompt: Pattern,
    /// What ends a typed line.
    pub newline: Vec<u8>,
    /// Whether what is typed comes back.
    pub echo: bool,
    /// A line of a reply that tells of an error.
    pub error: Option<Pattern>,
    /// What throws away a half-typed line.
    pub cancel: Option<Vec<u8>>,
    /// What is waited behind every character, and behind every line.
    pub pace: (Duration, Duration),
    /// How the machine says that it cannot keep up, where somebody says so.
    pub flow: Option<Flow>,
    /// What is typed for each verb.
    pub spellings: Vec<Spelling>,
    /// Where the file has it.
    pub span: Range<usize>,
}

/// How a machine says that it cannot keep up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// It does not say it.
    Nothing,
    /// By the characters DC3 and DC1.
    Characters,
    /// By the lines of a modem.
    Lines,
}

impl Flow {
    /// By its word in scripts and the machine file.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "none" => Some(Self::Nothing),
            "xon-xoff" => Some(Self::Characters),
            "rts-cts" => Some(Self::Lines),
            _ => None,
        }
    }
}

/// What is typed for a verb, and what comes back.
#[derive(Clone, Debug)]
pub struct Spelling {
    /// The table's name.
    pub key: String,
    /// What is typed, without the line's end.
    pub send: Template,
    /// What lines of the reply are held against.
    pub reply: Option<Pattern>,
    /// What ends the reply; the prompt if there is none.
    pub until: Option<Pattern>,
    /// What it changes on the machine.
    pub changes: Changes,
    /// How many bytes one command can be asked for.
    pub most: Option<u32>,
    /// How long it takes at most, beside the transfer.
    pub within: Option<Duration>,
    /// Where the file has it.
    pub span: Range<usize>,
}

/// Something in the vocabulary that cannot be used: bytes of the machine file, and what to do.
pub type VocabularyProblem = (Range<usize>, String);

impl Monitor {
    /// Compiles the vocabulary of a machine; `text` is the machine file's. What cannot be used is told, and left out.
    #[must_use]
    pub fn new(text: &str, written: &machine::Monitor) -> (Option<Self>, Vec<VocabularyProblem>) {
        let mut problems = Vec::new();
        let mut pattern = |it: &Spanned<String>, key: &str| match Pattern::new(&it.value) {
            Ok(it) => Some(it),
            Err(why) => {
                let message =
                    format!("`{key}` is no regular expression: {why}; a sign that means itself has a `\\` before it");
                problems.push((it.span.clone(), message));
                None
            }
        };
        let error = written.error.as_ref().and_then(|it| pattern(it, "error"));
        let prompt = written.prompt.as_ref().and_then(|it| pattern(it, "prompt"));
        let mut spellings = Vec::new();
        for (key, table) in &written.spellings {
            let reply = table.reply.as_ref().and_then(|it| pattern(it, "reply"));
            let until = table.until.as_ref().filter(|it| it.value != "prompt").and_then(|it| pattern(it, "until"));
            spellings.push((key, table, reply, until));
        }
        let spellings = spellings.into_iter().filter_map(|(key, table, reply, until)| {
            let known = spelled_as(&key.value);
            let send = match Template::new(&table.send.value) {
                Ok(it) => it,
                Err(error) => {
                    problems.push((span_inside(text, &table.send, error.span), error.message));
                    return None;
                }
            };
            if let Some(known) = known {
                let unknown = send.names().find(|it| !known.names.contains(it)).map(str::to_owned);
                if let Some(name) = unknown {
                    let names: Vec<String> = known.names.iter().map(|it| format!("`{{{it}}}`")).collect();
                    let expected = if names.is_empty() { "no names at all".to_owned() } else { names.join(", ") };
                    let message = format!("`{}` has no `{{{name}}}`; expected {expected}", known.key);
                    problems.push((table.send.span.clone(), message));
                    return None;
                }
                let missing = known.groups.iter().find(|it| reply.as_ref().is_none_or(|reply| !reply.has_group(it)));
                if let Some(group) = missing {
                    let at = table.reply.as_ref().map_or(table.span.clone(), |it| it.span.clone());
                    // An expression that is none has been told.
                    if table.reply.is_none() || reply.is_some() {
                        let message = format!(
                            "`reply` of `{}` has no group `{group}`; add one, as in `(?<{group}>[0-9A-F]+)`",
                            known.key
                        );
                        problems.push((at, message));
                    }
                }
            }
            Some(Spelling {
                key: key.value.clone(),
                send,
                reply,
                until,
                changes: table
                    .changes
                    .as_ref()
                    .and_then(|it| Changes::from_name(it.value))
                    .or_else(|| known.map(|it| it.changes))
                    .unwrap_or_default(),
                most: table.most.as_ref().map(|it| it.value),
                within: table.within.as_ref().map(|it| Duration::from_secs(it.value.into())),
                span: table.span.clone(),
            })
        });
        let spellings: Vec<Spelling> = spellings.collect();
        let bytes = |it: &Option<Spanned<String>>| it.as_ref().and_then(|it| crate::text_bytes(&it.value));
        let ms = |it: &Option<Spanned<u32>>| Duration::from_millis(it.as_ref().map_or(0, |it| it.value.into()));
        let monitor = prompt.map(|prompt| Self {
            prompt,
            newline: bytes(&written.newline).unwrap_or_else(|| b"\r".to_vec()),
            echo: written.echo.as_ref().is_none_or(|it| it.value),
            error,
            cancel: bytes(&written.cancel),
            pace: (ms(&written.character_delay), ms(&written.line_delay)),
            flow: written.flow.as_ref().and_then(|it| Flow::from_name(it.value)),
            spellings,
            span: written.span.clone(),
        });
        problems.sort_by_key(|it| it.0.start);
        (monitor, problems)
    }

    /// What is typed for a verb.
    #[must_use]
    pub fn spelling(&self, key: &str) -> Option<&Spelling> {
        self.spellings.iter().find(|it| it.key == key)
    }

    /// What a typed line would change, if it is one of the commands that change something: whatever stands behind the command's first word.
    #[must_use]
    pub fn changes_by(&self, line: &str) -> Changes {
        let line = line.trim_start().to_ascii_lowercase();
        let is_one = |it: &&Spelling| {
            let command = it.send.command().to_ascii_lowercase();
            it.changes != Changes::Nothing && !line.is_empty() && line.starts_with(&command)
        };
        self.spellings.iter().filter(is_one).map(|it| it.changes).max().unwrap_or_default()
    }
}
