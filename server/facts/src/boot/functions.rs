//! Functions of C on the way: which are come to, with what, and what their expressions are in the words of the source.

use std::sync::Arc;

use reveille_c::{Expr, ExprKind, Function, Init, Statement, StatementKind};
use rustc_hash::FxHashMap;

use super::said::{Holds, Said};
use crate::c::{CUnit, Convention};

/// How often the parameters of a function may become others before they are given up.
const MOST_VISITS: u16 = 12;
/// The most bytes of an expression that is quoted.
const LONGEST: usize = 70;

/// What is known of a function that is come to.
#[derive(Clone, Debug, Default)]
struct Reached {
    parameters: Vec<Holds>,
    visits: u16,
}

/// The functions of a machine's C.
pub(crate) struct Functions<'a> {
    pub(crate) units: Vec<&'a CUnit>,
    pub(crate) convention: Convention,
    /// Each by its unit and its place there.
    all: Vec<(usize, usize)>,
    by_name: FxHashMap<Arc<str>, usize>,
    /// Functions that only their own file can call.
    own: FxHashMap<(usize, Arc<str>), usize>,
    reached: Vec<Option<Reached>>,
    open: Vec<usize>,
}

impl<'a> Functions<'a> {
    pub(crate) fn new(units: Vec<&'a CUnit>, convention: Convention) -> Self {
        let (mut all, mut by_name, mut own) = (Vec::new(), FxHashMap::default(), FxHashMap::default());
        for (at, unit) in units.iter().enumerate() {
            for (number, function) in unit.unit.functions().iter().enumerate() {
                own.entry((at, function.name.clone())).or_insert(all.len());
                if !function.is_static {
                    by_name.entry(function.name.clone()).or_insert(all.len());
                }
                all.push((at, number));
            }
        }
        let reached = vec![None; all.len()];
        Self { units, convention, all, by_name, own, reached, open: Vec::new() }
    }

    pub(crate) fn get(&self, at: usize) -> (&'a CUnit, &'a Function) {
        let (unit, number) = self.all[at];
        let unit = self.units[unit];
        (unit, &unit.unit.functions()[number])
    }

    /// The function that a name means in a unit of C.
    pub(crate) fn named_in(&self, from: usize, name: &str) -> Option<usize> {
        let unit = self.all[from].0;
        self.own.get(&(unit, name.into())).or_else(|| self.by_name.get(name)).copied()
    }

    /// The function that a name in assembly means.
    pub(crate) fn of_assembly(&self, name: &str) -> Option<usize> {
        let own = self.convention.c(name).and_then(|it| self.by_name.get(it));
        own.or_else(|| self.by_name.get(name)).copied()
    }

    /// The function that a name means in any of the files.
    pub(crate) fn named(&self, name: &str) -> Option<usize> {
        self.by_name.get(name).copied().or_else(|| self.own.iter().find(|it| &*it.0.1 == name).map(|it| *it.1))
    }

    /// Whether a name in a function is one of an object: a pointer to a function, where it is called.
    pub(crate) fn is_object(&self, at: usize, name: &str) -> bool {
        let (unit, function) = self.get(at);
        function.parameters.iter().any(|it| &*it.name == name)
            || locals(function).iter().any(|it| &**it == name)
            || unit.unit.objects().iter().any(|it| &*it.name == name)
    }

    /// Comes to a function with arguments. Gives whether that is the first time.
    pub(crate) fn enter(&mut self, at: usize, arguments: &[Holds]) -> bool {
        let count = self.get(at).1.parameters.len();
        let given = (0..count).map(|it| arguments.get(it).cloned().unwrap_or_default());
        match &mut self.reached[at] {
            Some(own) => {
                let met: Vec<Holds> = own.parameters.iter().zip(given).map(|(old, new)| old.meet(&new)).collect();
                if met != own.parameters && own.visits < MOST_VISITS {
                    own.parameters = met;
                    own.visits += 1;
                    self.open.push(at);
                }
                false
            }
            none => {
                *none = Some(Reached { parameters: given.collect(), visits: 0 });
                self.open.push(at);
                true
            }
        }
    }

    /// The next function whose calls have to be looked at.
    pub(crate) fn next(&mut self) -> Option<usize> {
        self.open.pop()
    }

    /// What is known inside of a function.
    pub(crate) fn inside(&self, at: usize) -> Inside<'a> {
        let (unit, function) = self.get(at);
        let parameters = self.reached[at].as_ref().map_or(&[][..], |it| it.parameters.as_slice());
        Inside::new(unit, function, parameters)
    }
}

/// What is known of the names in a function: parameters that are never changed, and locals that are given a value once.
pub(crate) struct Inside<'a> {
    pub(crate) unit: &'a CUnit,
    values: FxHashMap<Arc<str>, Holds>,
}

impl<'a> Inside<'a> {
    fn new(unit: &'a CUnit, function: &Function, parameters: &[Holds]) -> Self {
        let mut given: FxHashMap<Arc<str>, u32> = FxHashMap::default();
        let mut lent: FxHashMap<Arc<str>, String> = FxHashMap::default();
        function.expressions(&mut |it| match &it.kind {
            ExprKind::Assign(_, to, _) => {
                if let ExprKind::Name(name) = &to.kind {
                    *given.entry(name.clone()).or_default() += 1;
                }
            }
            ExprKind::Unary("++" | "--" | "x++" | "x--", of) => {
                if let ExprKind::Name(name) = &of.kind {
                    *given.entry(name.clone()).or_default() += 2;
                }
            }
            ExprKind::Call { function, arguments } => {
                for own in arguments {
                    if let (ExprKind::Unary("&", of), ExprKind::Name(by)) = (&own.kind, &function.kind)
                        && let ExprKind::Name(name) = &of.kind
                    {
                        *given.entry(name.clone()).or_default() += 2;
                        lent.entry(name.clone()).or_insert_with(|| format!("`{name}`, which `{by}` sets"));
                    }
                }
            }
            _ => (),
        });
        let count = |name: &str| given.get(name).copied().unwrap_or(0);
        let mut own = Self { unit, values: FxHashMap::default() };
        for (parameter, holds) in function.parameters.iter().zip(parameters) {
            if count(&parameter.name) == 0 && !holds.values().is_empty() {
                own.values.insert(parameter.name.clone(), holds.clone());
            }
        }
        for (name, words) in lent {
            own.values.insert(name, Holds::one(Said::open(words)));
        }
        // In the order of the text: what is given later may need what was given before.
        let mut once: Vec<(Arc<str>, Expr)> = Vec::new();
        function.visit(&mut |statement| {
            if let StatementKind::Declaration(objects) = &statement.kind {
                for object in objects {
                    if let Some(Init::Value(value)) = object.init.as_ref().filter(|_| count(&object.name) == 0) {
                        once.push((object.name.clone(), value.clone()));
                    }
                }
            }
            statement.expressions(&mut |it| {
                it.visit(&mut |it| {
                    if let ExprKind::Assign("=", to, from) = &it.kind
                        && let ExprKind::Name(name) = &to.kind
                        && count(name) == 1
                    {
                        once.push((name.clone(), Expr::clone(from)));
                    }
                });
            });
        });
        let is_local = locals(function);
        for (name, value) in once {
            if count(&name) <= 1 && is_local.contains(&name) {
                let holds = own.holds(&value);
                own.values.insert(name, holds);
            }
        }
        own
    }

    /// What an expression is worth, in the words of the source.
    pub(crate) fn holds(&self, expression: &Expr) -> Holds {
        self.holds_at(expression, 0)
    }

    fn holds_at(&self, expression: &Expr, depth: usize) -> Holds {
        const DEEPEST: usize = 40;
        let words = self.quoted(expression);
        if let Some(number) = self.unit.unit.value(expression) {
            return Holds::one(Said::number(&words, number.value));
        }
        if depth > DEEPEST {
            return Holds::default();
        }
        let open = |words: String| Holds::one(Said::open(words));
        match &expression.kind {
            ExprKind::Name(name) => self.values.get(name).cloned().unwrap_or_else(|| open(words)),
            ExprKind::Cast(_, of) => self.holds_at(of, depth + 1),
            ExprKind::Assign("=", _, from) => self.holds_at(from, depth + 1),
            ExprKind::Binary(operator @ ("&" | "|" | "+" | "-"), left, right) => {
                let (left, right) = (self.holds_at(left, depth + 1), self.holds_at(right, depth + 1));
                left.with(operator, &right, |left, right| match *operator {
                    "&" => left & right,
                    "|" => left | right,
                    "+" => left.wrapping_add(right),
                    _ => left.wrapping_sub(right),
                })
            }
            _ => match self.unit.unit.address(expression) {
                Some(address) => Holds::one(Said { read_from: Some(address.into()), ..Said::open(words) }),
                None => open(words),
            },
        }
    }

    /// An expression as it is written, with single blanks.
    pub(crate) fn quoted(&self, expression: &Expr) -> String {
        let text = self.unit.unit.text(expression.span);
        let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if words.len() <= LONGEST {
            return words;
        }
        let cut = words.char_indices().map(|it| it.0).take_while(|it| *it <= LONGEST).last().unwrap_or(0);
        format!("{} ...", &words[..cut])
    }
}

/// The names of a function's own objects.
fn locals(function: &Function) -> Vec<Arc<str>> {
    let mut found = Vec::new();
    function.visit(&mut |statement: &Statement| {
        if let StatementKind::Declaration(objects) = &statement.kind {
            found.extend(objects.iter().filter(|it| !it.is_extern).map(|it| it.name.clone()));
        }
    });
    found
}
