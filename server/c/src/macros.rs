//! What `#define` says, and what is put in the place of a use.

use std::sync::{Arc, OnceLock};

use rustc_hash::{FxHashMap, FxHashSet};

use crate::parse;
use crate::text::Span;
use crate::tokens::{Kind, Token};

/// A `#define`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Define {
    /// The macro's name.
    pub name: Arc<str>,
    /// Where the name stands.
    pub name_span: Span,
    /// Names of its parameters; None for a macro without brackets.
    pub parameters: Option<Vec<String>>,
    /// What it stands for, without comments and joins of lines, tokens one blank apart where the text has blanks.
    pub body: String,
    /// Where that stands; empty behind the name for an empty macro.
    pub body_span: Span,
    /// An `#undef` took it back.
    pub undefined: bool,
}

/// A macro and what is known of it.
#[derive(Debug, Clone)]
pub(crate) struct Macro {
    pub(crate) define: Define,
    /// Where each parameter stands.
    pub(crate) parameter_spans: Vec<Span>,
    pub(crate) body: Vec<Token>,
    /// The `#undef` that took it back.
    pub(crate) undefined_at: Option<Span>,
    /// It comes from the settings and stands in no text.
    pub(crate) is_setting: bool,
    /// Whether its body is an expression, once somebody asked.
    is_expression: OnceLock<bool>,
}

impl Macro {
    pub(crate) fn new(define: Define, parameter_spans: Vec<Span>, body: Vec<Token>, is_setting: bool) -> Macro {
        let is_expression = OnceLock::new();
        Macro { define, parameter_spans, body, undefined_at: None, is_setting, is_expression }
    }
}

/// Which definition of a name holds.
#[derive(Debug, Clone, Copy)]
pub(crate) enum When {
    /// The last one so far.
    Now,
    /// The last one above a place of its file; else the last of all.
    At(Span),
}

/// All macros, in order.
#[derive(Debug, Clone, Default)]
pub(crate) struct Macros {
    pub(crate) all: Vec<Macro>,
    by_name: FxHashMap<Arc<str>, Vec<usize>>,
}

/// Tokens in a macro's arguments: more, and the use stays as it is.
const MOST_ARGUMENT_TOKENS: usize = 4096;
/// Definitions of one name that are looked through for the one above a place.
const MOST_DEFINITIONS: usize = 256;
/// Macros in macros.
const DEEPEST: usize = 64;

/// How a substitution goes on.
struct Work<'b> {
    when: When,
    /// The macros whose bodies are being read.
    active: Vec<usize>,
    /// Put in expressions too, not only what stands for syntax.
    all: bool,
    /// Tokens that may still be laid down.
    budget: &'b mut usize,
}

impl Macros {
    pub(crate) fn add(&mut self, it: Macro) {
        self.by_name.entry(it.define.name.clone()).or_default().push(self.all.len());
        self.all.push(it);
    }

    pub(crate) fn undefine(&mut self, name: &str, at: Span) -> Option<Span> {
        let index = self.find(name, When::Now)?;
        self.all[index].define.undefined = true;
        self.all[index].undefined_at = Some(at);
        Some(self.all[index].define.name_span)
    }

    /// The macro of a name that holds.
    pub(crate) fn find(&self, name: &str, when: When) -> Option<usize> {
        let of_name = self.by_name.get(name)?;
        if let When::At(place) = when {
            let here = of_name.iter().rev().take(MOST_DEFINITIONS).find(|it| {
                let define = &self.all[**it].define;
                define.name_span.file == place.file && define.name_span.start < place.start
            });
            if let Some(here) = here.copied() {
                let undefined = self.all[here].undefined_at;
                let is_gone = undefined.is_some_and(|it| it.file == place.file && it.start < place.start);
                return (!is_gone).then_some(here);
            }
        }
        of_name.last().copied().filter(|it| !self.all[*it].define.undefined)
    }

    /// Puts in what stands for syntax (`BEGIN`, `FOREVER`), and leaves names of expressions. False where it became too much.
    pub(crate) fn syntax(&self, tokens: &[Token], budget: &mut usize, out: &mut Vec<Token>) -> bool {
        self.put_in(tokens, &mut Work { when: When::Now, active: Vec::new(), all: false, budget }, out)
    }

    /// Puts in every macro; None where that becomes too much.
    pub(crate) fn expanded(&self, tokens: &[Token], when: When) -> Option<Vec<Token>> {
        let mut budget = 50_000;
        let mut out = Vec::new();
        let mut work = Work { when, active: Vec::new(), all: true, budget: &mut budget };
        self.put_in(tokens, &mut work, &mut out).then_some(out)
    }

    fn put_in(&self, tokens: &[Token], work: &mut Work, out: &mut Vec<Token>) -> bool {
        let mut at = 0;
        while let Some(token) = tokens.get(at) {
            at += 1;
            let found = (token.kind == Kind::Name).then(|| self.find(&token.text, work.when)).flatten();
            let found = found.filter(|it| !work.active.contains(it) && work.active.len() < DEEPEST);
            let Some(index) = found else {
                out.push(token.clone());
                continue;
            };
            let it = &self.all[index];
            // What a macro's body says stands nowhere in the text: nobody asks for names in it.
            let all = work.all || token.is_made;
            let mut arguments = Vec::new();
            let mut behind = at;
            if let Some(parameters) = &it.define.parameters {
                match gathered(tokens, at, parameters.len()) {
                    Some((found, end)) => (arguments, behind) = (found, end),
                    None => {
                        out.push(token.clone());
                        continue;
                    }
                }
            }
            if !all
                && self.is_expression(index, work)
                && arguments.iter().all(|it| it.is_empty() || parse::is_expression(it))
            {
                out.push(token.clone());
                continue;
            }
            let Some(made) = self.body_with(index, token, &arguments, work) else { return false };
            let use_span = tokens[behind - 1].span;
            let use_span = if token.is_made { token.span } else { token.span.to(use_span) };
            let made: Vec<Token> = made.into_iter().map(|it| if it.is_made { it.made(use_span) } else { it }).collect();
            at = behind;
            work.active.push(index);
            let is_done = self.put_in(&made, work, out);
            work.active.pop();
            if !is_done {
                return false;
            }
        }
        true
    }

    /// A macro's body with the arguments in it.
    fn body_with(&self, index: usize, token: &Token, arguments: &[&[Token]], work: &mut Work) -> Option<Vec<Token>> {
        let it = &self.all[index];
        let parameters = it.define.parameters.as_deref().unwrap_or_default();
        let number = |token: &Token| {
            let is_name = token.kind == Kind::Name;
            is_name.then(|| parameters.iter().position(|it| **it == *token.text)).flatten()
        };
        let mut ready: Vec<Option<Vec<Token>>> = vec![None; arguments.len()];
        let mut made: Vec<Token> = Vec::new();
        let mut at = 0;
        while let Some(part) = it.body.get(at) {
            at += 1;
            let before = made.len();
            let is_pasted = at >= 2 && it.body[at - 2].is("##");
            if part.is("#")
                && let Some(argument) = it.body.get(at).and_then(number)
            {
                at += 1;
                made.push(spelled(part, arguments.get(argument).copied().unwrap_or_default()));
            } else if part.is("##") {
                continue;
            } else if let Some(argument) = number(part) {
                let given = arguments.get(argument).copied().unwrap_or_default();
                let is_raw = is_pasted || it.body.get(at).is_some_and(|it| it.is("##"));
                if is_raw {
                    made.extend_from_slice(given);
                } else {
                    if ready[argument].is_none() {
                        let mut full = Vec::new();
                        if !self.put_in(given, work, &mut full) {
                            return None;
                        }
                        ready[argument] = Some(full);
                    }
                    made.extend(ready[argument].iter().flatten().cloned());
                }
            } else {
                made.push(part.made(token.span));
            }
            *work.budget = work.budget.checked_sub(made.len() - before + 1)?;
            if is_pasted && before > 0 && made.len() > before {
                let text = format!("{}{}", made[before - 1].text, made[before].text);
                let kind = made[before - 1].kind;
                made[before - 1] = Token { kind, text: text.into(), ..part.made(token.span) };
                made.remove(before);
            }
        }
        Some(made)
    }

    /// Whether a macro stands for an expression, so that its use can be left as a name or a call.
    fn is_expression(&self, index: usize, work: &mut Work) -> bool {
        if let Some(known) = self.all[index].is_expression.get() {
            return *known;
        }
        let mut body = Vec::new();
        work.active.push(index);
        let is_done = self.put_in(&self.all[index].body, work, &mut body);
        work.active.pop();
        let is_expression = is_done && parse::is_expression(&body);
        *self.all[index].is_expression.get_or_init(|| is_expression)
    }

    /// The name that a macro is another word for.
    pub(crate) fn other_word(&self, name: &str, at: Span) -> Option<&Arc<str>> {
        let it = &self.all[self.find(name, When::At(at))?];
        match &it.body[..] {
            [only] if it.define.parameters.is_none() && only.kind == Kind::Name => Some(&only.text),
            _ => None,
        }
    }

    /// The strings that a macro stands for.
    pub(crate) fn strings(&self, name: &str, at: Span) -> Option<&[Token]> {
        let it = &self.all[self.find(name, When::At(at))?];
        let is_text = !it.body.is_empty() && it.body.iter().all(|it| it.kind == Kind::Text);
        (is_text && it.define.parameters.is_none()).then_some(&it.body[..])
    }
}

/// The arguments of a use, and the place behind it. As many as there are parameters, or none for `()` and none.
fn gathered(tokens: &[Token], at: usize, count: usize) -> Option<(Vec<&[Token]>, usize)> {
    if !tokens.get(at)?.is("(") {
        return None;
    }
    let mut arguments = Vec::new();
    let mut depth = 0;
    let mut start = at + 1;
    for (index, token) in tokens.iter().enumerate().skip(at + 1).take(MOST_ARGUMENT_TOKENS) {
        if token.kind != Kind::Mark {
            continue;
        }
        match &*token.text {
            "(" | "[" | "{" => depth += 1,
            ")" if depth == 0 => {
                if index > start || !arguments.is_empty() || count > 0 {
                    arguments.push(&tokens[start..index]);
                }
                return (arguments.len() == count).then_some((arguments, index + 1));
            }
            ")" | "]" | "}" => depth -= 1,
            "," if depth == 0 => {
                arguments.push(&tokens[start..index]);
                start = index + 1;
            }
            _ => (),
        }
    }
    None
}

/// An argument as a string.
fn spelled(sign: &Token, argument: &[Token]) -> Token {
    let mut text = String::from("\"");
    for (index, token) in argument.iter().enumerate() {
        let is_apart = index > 0 && argument[index - 1].span.end < token.span.start;
        text.push_str(if is_apart { " " } else { "" });
        let is_quoted = matches!(token.kind, Kind::Text | Kind::Character);
        text.push_str(&if is_quoted {
            token.text.replace('\\', "\\\\").replace('"', "\\\"")
        } else {
            token.text.to_string()
        });
    }
    text.push('"');
    Token { kind: Kind::Text, text: text.into(), ..sign.made(sign.span) }
}

/// A body as one line.
pub(crate) fn line(body: &[Token]) -> String {
    let mut text = String::new();
    for (index, token) in body.iter().enumerate() {
        let is_apart = index > 0 && body[index - 1].span.end < token.span.start;
        text.push_str(if is_apart { " " } else { "" });
        text.push_str(&token.text);
    }
    text
}

/// The names of a macro's body with their places, without its parameters' names.
pub(crate) fn names_of(it: &Macro) -> (Vec<&Token>, Vec<(&Token, Span)>) {
    let parameters = it.define.parameters.as_deref().unwrap_or_default();
    let mut seen = FxHashSet::default();
    let mut others = Vec::new();
    let mut own = Vec::new();
    for token in it.body.iter().filter(|it| it.kind == Kind::Name && seen.insert(it.span)) {
        match parameters.iter().position(|name| **name == *token.text) {
            Some(index) if index < it.parameter_spans.len() => own.push((token, it.parameter_spans[index])),
            _ => others.push(token),
        }
    }
    (others, own)
}
