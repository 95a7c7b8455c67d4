//! Texts that are reached through a table: which entry it is, and who loads its number.

use reveille_cpu::Kind;
use reveille_program::{CodeAt, DataItem, Definition, DefinitionKind, Symbol, Value, data_run_at};

use super::Role;
use super::chain::Chain;
use crate::finding::Evidence;
use crate::routes::Routes;
use crate::routes::reasons::{keeping, reasons};

/// The fewest constants that number the entries of a table.
const LEAST_NAMED: usize = 3;
/// So near to what takes a table's address the number is counted down.
const NEAR: usize = 8;

/// The number by which an entry is chosen.
struct Number {
    /// The numbers that may be meant: the entry's, and that times the entries' size.
    values: [i64; 2],
    /// The constants that number the entries, if some do: the one of this entry.
    name: Option<(Symbol, i64)>,
}

impl Chain<'_> {
    /// The table that a label of a text stands in.
    pub(super) fn table(&mut self, at: usize, definition: &Definition, used: Evidence) {
        let routes = &mut self.routes[at].1;
        let Some(run) = data_run_at(routes.program, routes.unit, used.place) else { return };
        let is_own =
            |it: &DataItem| it.place == used.place && it.span.start <= used.span.start && used.span.end <= it.span.end;
        let Some(own) = run.items.iter().position(is_own) else { return };
        let text = routes.name(definition.symbol);
        let table =
            run.label.map_or_else(|| "a table without a label".to_owned(), |it| format!("`{}`", routes.name(it)));
        let base = routes.unit.absolute(run.address);
        let size = i64::from(run.items[own].item_bytes);
        if run.items.len() == 1 {
            self.say(1, Some(used), format!("{table} holds the address of `{text}`"));
            return self.readers(at, base, run.label);
        }
        let is_entry = |it: &&DataItem| i64::from(it.item_bytes) == size && it.bytes.len() as i64 == size;
        let entries = run.items.iter().filter(is_entry).filter(|it| self.is_address(at, it)).count();
        if run.items.iter().any(|it| !is_entry(&it)) || entries * 4 < run.items.len() * 3 {
            self.say(1, Some(used), format!("`{text}` stands in {table}"));
            self.readers(at, base, run.label);
            return self.say(
                2,
                Some(used),
                "which number chooses it is not known: not all entries are addresses of one size",
            );
        }
        let index = own as i64;
        self.say(1, Some(used), format!("`{text}` is entry {index} of {table}, counted from 0"));
        self.readers(at, base, run.label);
        let counted_down = base.and_then(|it| self.counted_down(at, it, run.label));
        if let Some(code) = counted_down {
            self.instruction(2, at, code, Role::Other, "counts the number down first: entry 0 is number 1");
        }
        let number = index + i64::from(counted_down.is_some());
        let numbers = run.items.len() as i64 + 1;
        let name = named(&self.routes[at].1, number, size, numbers, run.items.len());
        self.loads(at, used, &Number { values: [number, number * size], name });
    }

    fn is_address(&self, at: usize, item: &DataItem) -> bool {
        let routes = &self.routes[at].1;
        let Some(file) = routes.program.file(item.place.file) else { return false };
        let text = item.span.of(file.at(item.place.chunk, item.place.line).2);
        routes.has_label(item.place, text)
    }

    /// Who takes a table's address.
    fn readers(&mut self, at: usize, base: Option<i64>, label: Option<Symbol>) {
        let taken = base.map(|it| self.routes[at].1.taking(it, it, label)).unwrap_or_default();
        let taken: Vec<_> = taken.into_iter().map(|it| (at, it)).collect();
        self.instructions(2, &taken, Role::Reader, "takes the table's address", false);
    }

    /// An instruction near one that takes a table's address, which counts the number down: its entries are numbered from 1.
    fn counted_down(&mut self, at: usize, base: i64, label: Option<Symbol>) -> Option<CodeAt> {
        let routes = &mut self.routes[at].1;
        for taken in routes.taking(base, base, label) {
            let mut around = Vec::new();
            let (mut before, mut behind) = (taken.at, taken.at);
            for _ in 0..NEAR {
                if let Some(it) = routes.falls_from(before) {
                    before = it;
                    around.push(it);
                }
                if let Some(it) = routes.code.next(behind) {
                    behind = it;
                    around.push(it);
                }
            }
            for own in around {
                let Some(line) = routes.line(own) else { continue };
                let [source, destination] = line.code.operands;
                let is_one = source.kind == Kind::Immediate && source.value == 1 && destination.kind == Kind::Data;
                if is_one && matches!(line.code.choice.instruction.name, "subq" | "subi" | "sub") {
                    return Some(own);
                }
            }
        }
        None
    }

    /// Who loads the number of an entry.
    fn loads(&mut self, at: usize, used: Evidence, number: &Number) {
        let mut found = Vec::new();
        let mut data = Vec::new();
        for own in 0..self.routes.len() {
            let routes = &mut self.routes[own].1;
            match number.name {
                Some((name, value)) => {
                    found.extend(constants(routes, name, value).into_iter().map(|it| (own, it)));
                    let definition = routes.unit.get(name).copied();
                    data.extend(definition.iter().flat_map(|it| routes.data_uses(it)).map(|it| (own, it)));
                }
                None => found.extend(numbers(routes, &number.values).into_iter().map(|it| (own, it))),
            }
        }
        let number = match number.name {
            Some((name, value)) => format!("its number, `{}` = {value}", self.routes[at].1.name(name)),
            None => "a number that may be the entry's".to_owned(),
        };
        let what = format!("loads {number}");
        if found.is_empty() && data.is_empty() {
            return self.say(2, Some(used), "the table's entry is chosen by a number that is not a constant here");
        }
        self.many(2, found.len(), &what);
        for (own, code) in found.into_iter().take(super::chain::MOST) {
            self.instruction(2, own, code, Role::Number, &what);
            let routes = &mut self.routes[own].1;
            let register = routes.line(code).map(|it| it.code.operands[1]).filter(|it| it.kind == Kind::Data);
            let kept = register.map(|it| keeping(routes, code, it.register)).unwrap_or_default();
            let all = if kept.is_empty() { reasons(routes, code) } else { kept };
            self.conditions(3, own, &all);
        }
        for (own, used) in data.into_iter().take(super::chain::MOST) {
            self.data(own, used, &format!("has {number}"));
        }
    }

    /// A table that has the number: what reads that loads it.
    fn data(&mut self, at: usize, used: Evidence, what: &str) {
        let routes = &mut self.routes[at].1;
        let Some(run) = data_run_at(routes.program, routes.unit, used.place) else { return };
        let file = routes.program.file(used.place.file);
        let row = file.map_or_else(String::new, |file| {
            let (_, line, text) = file.at(used.place.chunk, used.place.line);
            line.operands.of(text).trim().to_owned()
        });
        let table = run.label.map_or_else(String::new, |it| format!(" of `{}`", routes.name(it)));
        let taken = routes.unit.absolute(run.address).map(|it| routes.taking(it, it, run.label)).unwrap_or_default();
        let taken: Vec<_> = taken.into_iter().map(|it| (at, it)).collect();
        self.say(2, Some(used), format!("the row `{row}`{table} {what}"));
        self.instructions(3, &taken, Role::Number, "reads that table", true);
    }
}

/// The constant of a number, where constants number the entries of a table: those that stand beside each other and count by one, or by the
/// entries' size. The longest such row is taken.
fn named(routes: &Routes<'_>, number: i64, size: i64, numbers: i64, entries: usize) -> Option<(Symbol, i64)> {
    let is_constant = |it: &&Definition| matches!(it.kind, DefinitionKind::Equate | DefinitionKind::Set);
    let constants: Vec<(Symbol, i64)> = routes
        .unit
        .definitions()
        .iter()
        .filter(is_constant)
        .filter_map(|it| if let Value::Number(value) = it.value { Some((it.symbol, value)) } else { None })
        .collect();
    let mut best: Option<(usize, (Symbol, i64))> = None;
    for step in [1, size] {
        for (at, own) in constants.iter().enumerate().filter(|it| it.1.1 == number * step) {
            let follows = |pair: &&[(Symbol, i64)]| pair[1].1 - pair[0].1 == step;
            let below = constants[..=at].windows(2).rev().take_while(follows).count();
            let above = constants[at..].windows(2).take_while(follows).count();
            let last = own.1 + step * above as i64;
            let length = below + above + 1;
            let fits = length >= LEAST_NAMED.min(entries) && last <= numbers * step && own.1 >= step * below as i64;
            if fits && best.is_none_or(|it| it.0 < length) {
                best = Some((length, *own));
            }
        }
    }
    best.map(|it| it.1)
}

/// Moves of a constant, by its name.
fn constants(routes: &mut Routes<'_>, name: Symbol, value: i64) -> Vec<CodeAt> {
    let name = routes.name(name);
    let is_own = |text: &str| text.trim_start_matches(['#', '&']).trim().eq_ignore_ascii_case(&name);
    moves(routes, &|_, own| own == value, &is_own)
}

/// Moves of a number into a data register or on the stack: those of constants with names, else those of plain numbers.
fn numbers(routes: &mut Routes<'_>, values: &[i64]) -> Vec<CodeAt> {
    let is_data = |kind, own| matches!(kind, Kind::Data | Kind::PreDecrement) && values.contains(&own);
    let is_named =
        |text: &str| text.trim_start_matches(['#', '&']).starts_with(|it: char| it.is_alphabetic() || it == '_');
    let named = moves(routes, &is_data, &is_named);
    if named.is_empty() { moves(routes, &is_data, &|_| true) } else { named }
}

fn moves(routes: &mut Routes<'_>, fits: &dyn Fn(Kind, i64) -> bool, is_text: &dyn Fn(&str) -> bool) -> Vec<CodeAt> {
    let mut found = Vec::new();
    for at in 0..routes.all.len() {
        let at = routes.all[at];
        let Some(line) = routes.line(at) else { continue };
        let [source, destination] = line.code.operands;
        let is_move = matches!(line.code.choice.instruction.name, "move" | "moveq" | "pea");
        let is_value = matches!(source.kind, Kind::Immediate | Kind::AbsoluteShort) && line.code.is_known[0];
        if is_move && is_value && fits(destination.kind, source.value) && is_text(&routes.operand_text(&line, 0)) {
            found.push(at);
        }
    }
    found
}
