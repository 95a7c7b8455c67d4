//! The steps of functions in C, in the words of the source.

use std::sync::Arc;

use reveille_c::{Arm, Expr, ExprKind, Function, Span, Statement, StatementKind, Type};
use reveille_decoders::volume::{is_padded_name, shown};

use super::functions::{Functions, Inside};
use super::tell::{magic, step};
use super::{Needs, PathStep, StepKind};
use crate::c::CUnit;
use crate::file_names::written_name;
use crate::finding::Evidence;

/// How deep statements are followed.
const DEEPEST: u8 = 24;
/// The most conditions that are kept of what leads to a place.
const MOST_CONDITIONS: usize = 6;

/// A condition on which a place of a function is come to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Guard {
    pub(super) words: String,
    pub(super) at: Span,
}

/// A text or a constant in a function, and the conditions on which it is come to.
#[derive(Clone, Debug)]
pub(super) struct Used {
    pub(super) what: What,
    pub(super) at: Span,
    /// The statement or the call that uses it, as it is written.
    pub(super) quoted: String,
    pub(super) guards: Vec<Guard>,
}

/// What a function uses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// A text.
    Text(Vec<u8>),
    /// A constant by its name, given back or handed on.
    Constant(Arc<str>, i64),
    /// The same without a name.
    Number(i64),
    /// A name of an object: a table, perhaps.
    Object(Arc<str>),
}

/// What a function is seen to do.
#[derive(Default)]
pub(super) struct Told {
    pub(super) steps: Vec<PathStep>,
    pub(super) used: Vec<Used>,
}

/// The steps of a function; `place_of` gives what a called name is: what it is called in the way's routines, and which of them.
pub(super) fn told(
    functions: &Functions<'_>,
    at: usize,
    device: &dyn Fn(i64) -> Option<String>,
    place_of: &dyn Fn(&str) -> Place,
) -> Told {
    let (unit, function) = functions.get(at);
    let Some(base) = unit.evidence(function.name_span) else { return Told::default() };
    let mut own = Telling {
        unit,
        function,
        base,
        inside: functions.inside(at),
        device,
        place_of,
        guards: Vec::new(),
        depth: 0,
        steps: Vec::new(),
        used: Vec::new(),
    };
    own.statements(&function.body);
    Told { steps: own.steps, used: own.used }
}

/// Where a name of a function leads.
#[derive(Clone, Debug)]
pub(super) enum Place {
    /// To a routine of the way, by its place there.
    Routine(usize),
    /// To nothing whose source is here.
    Elsewhere,
    /// It is no function: a pointer to one.
    Pointer,
}

struct Telling<'a, 'b> {
    unit: &'a CUnit,
    function: &'a Function,
    /// Where the function's name stands.
    base: Evidence,
    inside: Inside<'a>,
    device: &'b dyn Fn(i64) -> Option<String>,
    place_of: &'b dyn Fn(&str) -> Place,
    guards: Vec<Guard>,
    depth: u8,
    steps: Vec<PathStep>,
    used: Vec<Used>,
}

impl Telling<'_, '_> {
    fn statements(&mut self, list: &[Statement]) {
        let held = self.guards.len();
        for statement in list {
            self.statement(statement);
            // Behind a loop at the same level: it has come to its end.
            let is_loop = matches!(statement.kind, StatementKind::While { .. } | StatementKind::For { .. });
            if is_loop {
                let words = format!("`{}` has come to its end", self.head(statement));
                self.guards.push(Guard { words, at: statement.span });
            }
        }
        self.guards.truncate(held);
    }

    /// The first words of a statement.
    fn head(&self, statement: &Statement) -> String {
        let text = self.unit.unit.text(statement.span);
        let end = text.find(['{', '\n', '\r']).unwrap_or(text.len());
        text[..end].split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn statement(&mut self, statement: &Statement) {
        if self.depth >= DEEPEST {
            return;
        }
        match &statement.kind {
            StatementKind::Expression(it) => self.expression(it, statement.span),
            StatementKind::If { condition, then, otherwise } => self.decide(condition, then, otherwise),
            StatementKind::While { condition, body } => {
                self.expression(condition, condition.span);
                self.round(condition, body);
            }
            StatementKind::DoWhile { body, condition } => {
                self.statements(body);
                self.expression(condition, condition.span);
            }
            StatementKind::For { start, condition, step, body } => {
                [start, condition].into_iter().flatten().for_each(|it| self.expression(it, it.span));
                match condition {
                    Some(it) => self.round(it, body),
                    None => self.statements(body),
                }
                step.iter().for_each(|it| self.expression(it, it.span));
            }
            StatementKind::Switch { value, arms } => {
                self.expression(value, value.span);
                arms.iter().for_each(|arm| self.arm(value, arm));
            }
            StatementKind::Return(value) => self.back(value.as_ref(), statement.span),
            StatementKind::Block(list) => self.statements(list),
            StatementKind::Declaration(objects) => {
                for own in objects.iter().filter_map(|it| it.init.as_ref()) {
                    own.expressions(&mut |it| self.expression(it, it.span));
                }
            }
            _ => (),
        }
    }

    fn guarded(&mut self, words: String, at: Span, body: &[Statement]) {
        self.guards.push(Guard { words, at });
        self.depth += 1;
        self.statements(body);
        self.depth -= 1;
        self.guards.pop();
    }

    fn round(&mut self, condition: &Expr, body: &[Statement]) {
        let words = format!("`{}` holds", self.inside.quoted(condition));
        self.guarded(words, condition.span, body);
    }

    fn decide(&mut self, condition: &Expr, then: &[Statement], otherwise: &[Statement]) {
        self.expression(condition, condition.span);
        let known = self.unit.unit.value(condition).map(|it| it.value != 0);
        let quoted = self.inside.quoted(condition);
        let (yes, no) = match &condition.kind {
            // What is given or called is asked whether it is something.
            ExprKind::Assign("=", _, from) => {
                let from = self.inside.quoted(from);
                (format!("`{from}` is not 0"), format!("`{from}` is 0"))
            }
            ExprKind::Call { .. } | ExprKind::Name(_) | ExprKind::Member { .. } | ExprKind::Unary("*", _) => {
                (format!("`{quoted}` is not 0"), format!("`{quoted}` is 0"))
            }
            ExprKind::Unary("!", of) => {
                let of = self.inside.quoted(of);
                (format!("`{of}` is 0"), format!("`{of}` is not 0"))
            }
            _ => (format!("`{quoted}`"), format!("not `{quoted}`")),
        };
        if known != Some(false) {
            let before = self.steps.len();
            self.decision(condition, yes.clone());
            let own = self.steps.len();
            self.guarded(yes, condition.span, then);
            self.drop_empty(before, own);
        }
        if known != Some(true) && !otherwise.is_empty() {
            let before = self.steps.len();
            self.decision(condition, no.clone());
            if let Some(own) = self.steps.get_mut(before) {
                own.is_equal = false;
            }
            let own = self.steps.len();
            self.guarded(no, condition.span, otherwise);
            self.drop_empty(before, own);
        }
    }

    /// A decision after which nothing happens that is told is not told either, but where it asks a device.
    fn drop_empty(&mut self, decision: usize, behind: usize) {
        let asks = self.steps.get(decision).is_some_and(|it| it.device.is_some());
        if self.steps.len() == behind && !asks {
            self.steps.truncate(decision);
        }
    }

    fn decision(&mut self, condition: &Expr, words: String) {
        let mut own = self.step(StepKind::Decision, words, condition.span);
        own.device = self.asked(condition);
        if let ExprKind::Binary(operator, left, right) = &condition.kind
            && matches!(*operator, "==" | "!=")
        {
            let value = self.unit.unit.value(right).or_else(|| self.unit.unit.value(left));
            own.value = value.map(|it| it.value);
            own.is_equal = *operator == "==";
        }
        self.steps.push(own);
    }

    /// The device that an expression reads, or from which a name in it was read.
    fn asked(&self, expression: &Expr) -> Option<String> {
        let mut found = None;
        expression.visit(&mut |it| {
            if found.is_none() {
                let from = self.inside.holds(it).values().iter().find_map(|it| it.read_from);
                found = from.and_then(|it| (self.device)(it));
            }
        });
        found
    }

    fn arm(&mut self, value: &Expr, arm: &Arm) {
        let quoted = self.inside.quoted(value);
        let device = self.asked(value);
        let labels: Vec<String> = arm
            .labels
            .iter()
            .map(|it| it.as_ref().map_or_else(|| "anything else".to_owned(), |it| self.inside.quoted(it)))
            .collect();
        let words = format!("`{quoted}` is {}", labels.join(" or "));
        let before = self.steps.len();
        for own in &arm.labels {
            let number = own.as_ref().and_then(|it| self.unit.unit.value(it)).map(|it| it.value);
            let label = own.as_ref().map_or_else(|| "anything else".to_owned(), |it| self.inside.quoted(it));
            let own = self.step(StepKind::Decision, format!("`{quoted}` is {label}"), arm.span);
            self.steps.push(PathStep { device: device.clone(), value: number, is_equal: number.is_some(), ..own });
        }
        let own = self.steps.len();
        self.guarded(words, arm.span, &arm.body);
        // The first routine that is called is what the value is for.
        let to = self.steps[own.min(self.steps.len())..].iter().find(|it| it.kind == StepKind::Call && it.to.is_some());
        let to = to.and_then(|it| it.to.clone());
        for step in &mut self.steps[before..own] {
            step.to = to.clone();
        }
        if self.steps.len() == own && device.is_none() {
            self.steps.truncate(before);
        }
    }

    fn back(&mut self, value: Option<&Expr>, span: Span) {
        let Some(value) = value else { return };
        self.expression(value, span);
        let number = self.unit.unit.value(value).map(|it| it.value);
        if number.is_some() {
            let words = format!("comes back with {}", self.inside.quoted(value));
            let own = self.step(StepKind::Back, words, span);
            let to = if let ExprKind::Name(name) = &value.kind { Some(name.to_string()) } else { None };
            self.steps.push(PathStep { value: number, to, ..own });
        }
    }

    /// What an expression does: calls, texts that it hands on, devices that it writes, magic numbers that it asks for.
    fn expression(&mut self, expression: &Expr, statement: Span) {
        let mut parts: Vec<Expr> = Vec::new();
        expression.visit(&mut |it| {
            let tells = matches!(
                it.kind,
                ExprKind::Call { .. }
                    | ExprKind::Assign(..)
                    | ExprKind::Binary("==" | "!=", ..)
                    | ExprKind::Text(_)
                    | ExprKind::Name(_)
                    | ExprKind::Number(_)
            );
            if tells {
                parts.push(it.clone());
            }
        });
        // What is inside is done first.
        for own in parts.iter().rev() {
            match &own.kind {
                ExprKind::Call { function, .. } => self.call(own, function),
                ExprKind::Assign(_, to, from) => self.assign(own, to, from),
                ExprKind::Binary(_, left, right) => self.compare(own, left, right),
                ExprKind::Text(bytes) => self.used(What::Text(bytes.clone()), own.span, statement),
                ExprKind::Name(name) => {
                    let number = self.unit.unit.constant(name).map(|it| it.value);
                    let text = self.macro_text(name);
                    match (number, text) {
                        (_, Some(text)) => self.used(What::Text(text), own.span, statement),
                        (Some(number), _) => self.used(What::Constant(name.clone(), number), own.span, statement),
                        _ => self.used(What::Object(name.clone()), own.span, statement),
                    }
                }
                ExprKind::Number(number) => self.used(What::Number(number.value), own.span, statement),
                _ => (),
            }
        }
    }

    /// The text that a macro stands for.
    fn macro_text(&self, name: &str) -> Option<Vec<u8>> {
        match self.unit.unit.macro_expression(name)?.1.kind {
            ExprKind::Text(text) => Some(text),
            _ => None,
        }
    }

    fn used(&mut self, what: What, at: Span, statement: Span) {
        if let What::Text(bytes) = &what
            && let Some(name) = file_name(bytes)
        {
            let own = self.step(StepKind::File, format!("the file `{name}`"), at);
            self.steps.push(PathStep { to: Some(name), ..own });
        }
        let text = self.unit.unit.text(statement);
        let quoted = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let quoted = quoted.trim_end_matches(';').to_owned();
        let from = self.guards.len().saturating_sub(MOST_CONDITIONS);
        self.used.push(Used { what, at, quoted, guards: self.guards[from..].to_vec() });
    }

    fn call(&mut self, call: &Expr, function: &Expr) {
        if let ExprKind::Name(name) = &function.kind {
            // A macro with arguments is no call.
            if self.unit.is_macro(name) {
                return;
            }
            match (self.place_of)(name) {
                Place::Routine(at) => {
                    let own = self.step(StepKind::Call, format!("calls `{}`", self.inside.quoted(call)), call.span);
                    self.steps.push(PathStep { to: Some(name.to_string()), routine: Some(at), ..own });
                    return;
                }
                Place::Elsewhere => {
                    let words = format!("calls `{}`, of which no source is here", self.inside.quoted(call));
                    let own = self.step(StepKind::Call, words, call.span);
                    self.steps.push(PathStep { to: Some(name.to_string()), needs: Some(Needs::Source), ..own });
                    return;
                }
                Place::Pointer => (),
            }
        }
        let mut target = function;
        while let ExprKind::Unary("*", of) | ExprKind::Cast(_, of) = &target.kind {
            target = of;
        }
        let holds = self.inside.holds(target);
        let number = holds.number();
        let words = match number {
            Some(number) => format!(
                "jumps to {} (${number:X}) by `{}`: what is loaded there decides",
                self.inside.quoted(target),
                self.inside.quoted(call)
            ),
            None => format!("calls what `{}` points to", self.inside.quoted(target)),
        };
        let own = self.step(StepKind::Jump, words, call.span);
        let needs = number.is_some().then_some(Needs::File);
        self.steps.push(PathStep { value: number, needs, ..own });
    }

    fn assign(&mut self, assign: &Expr, to: &Expr, from: &Expr) {
        if let Some(address) = self.unit.unit.address(to)
            && let Some(device) = (self.device)(address.into())
        {
            let words = format!("writes {} to {} (`{device}`)", self.inside.quoted(from), self.inside.quoted(to));
            let own = self.step(StepKind::Device, words, assign.span);
            self.steps.push(PathStep { value: Some(address.into()), ..own });
        }
        // What a function hands back through a pointer.
        if let ExprKind::Unary("*", of) = &to.kind
            && let ExprKind::Name(name) = &of.kind
            && self.function.parameters.iter().any(|it| it.name == *name)
            && matches!(from.kind, ExprKind::Member { .. } | ExprKind::Name(_))
        {
            let words = format!("hands back {}", self.field(from));
            let own = self.step(StepKind::Load, words, assign.span);
            self.steps.push(own);
        }
    }

    /// A field in words, with its place in its record.
    fn field(&self, expression: &Expr) -> String {
        let quoted = self.inside.quoted(expression);
        let offset = match &expression.kind {
            ExprKind::Member { of, name, .. } => self.unit.unit.type_of(of).and_then(|ty| self.offset(&ty, name)),
            _ => None,
        };
        offset.map_or_else(|| format!("`{quoted}`"), |it| format!("`{quoted}`, byte {it} of its record"))
    }

    fn offset(&self, ty: &Type, field: &str) -> Option<u32> {
        let types = self.unit.unit.types();
        let ty = match types.resolved(ty)? {
            Type::Pointer(of) => types.resolved(of)?,
            other => other,
        };
        let Type::Record(tag) = ty else { return None };
        types.record(tag)?.fields.iter().find(|it| &*it.name == field)?.offset
    }

    fn compare(&mut self, whole: &Expr, left: &Expr, right: &Expr) {
        let (asked, number) = match (self.unit.unit.value(left), self.unit.unit.value(right)) {
            (None, Some(number)) => (left, number),
            (Some(number), None) => (right, number),
            _ => return,
        };
        let bytes = self.unit.unit.type_of(asked).and_then(|it| self.unit.unit.size(&it)).unwrap_or(number.ty.bytes);
        let Some(title) = magic(number.value, bytes.min(4)) else { return };
        let words = format!(
            "checks {} for {}: {title}",
            self.field(asked),
            self.inside.quoted(if std::ptr::eq(asked, left) { right } else { left })
        );
        let own = self.step(StepKind::Check, words, whole.span);
        self.steps.push(PathStep { value: Some(number.value), ..own });
    }

    fn step(&self, kind: StepKind, words: String, at: Span) -> PathStep {
        let at = self.unit.evidence(at).unwrap_or(self.base);
        PathStep { depth: self.depth, ..step(kind, words, at) }
    }
}

/// The name of a file that a text is.
pub(super) fn file_name(bytes: &[u8]) -> Option<String> {
    if is_padded_name(bytes) {
        return bytes.try_into().ok().map(|it| shown(&it));
    }
    let text = std::str::from_utf8(bytes).ok()?;
    written_name(text).map(|it| shown(&it))
}
