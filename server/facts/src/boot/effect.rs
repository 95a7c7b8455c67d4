//! What an instruction does to what is known, in the words of the source.

use reveille_cpu::{Kind, Size, written};
use reveille_program::CodeLine;

use super::said::{Holds, Said, State};
use crate::routes::Routes;

/// The bytes that the source lays down: one at an address.
pub(crate) type Bytes<'a> = &'a mut dyn FnMut(i64) -> Option<u8>;

const STACK: usize = 15;

/// What things of a size are called.
pub(crate) fn thing(bytes: u32) -> &'static str {
    match bytes {
        1 => "byte",
        2 => "word",
        _ => "long",
    }
}

/// An operand's text without the marks of its mode, a size and brackets of an absolute address.
fn bare(text: &str) -> String {
    let text = text.trim().trim_start_matches(['#', '&']).trim();
    let text = ["(pc)", "(PC)"].iter().find_map(|it| text.strip_suffix(it)).unwrap_or(text);
    let text =
        [".l", ".L", ".w", ".W", ":l", ":L", ":w", ":W"].iter().find_map(|it| text.strip_suffix(it)).unwrap_or(text);
    let inner = text.strip_prefix('(').and_then(|it| it.strip_suffix(')')).filter(|it| !it.contains(['(', ')']));
    inner.unwrap_or(text).trim().to_owned()
}

/// The displacement of an operand as it is written: before its bracket, or behind it in the dialects that have it there.
fn displacement(text: &str) -> Option<String> {
    let own = match text.split_once("@(") {
        Some((_, inner)) => inner.split([',', ')']).next()?,
        None => text.split('(').next().map(str::trim).filter(|it| !it.is_empty()).or_else(|| {
            let inner = text.trim().strip_prefix('(')?;
            inner.split(',').next()
        })?,
    };
    Some(own.trim().to_owned())
}

fn register(kind: Kind, number: u8) -> Option<usize> {
    match kind {
        Kind::Data => Some(usize::from(number)),
        Kind::Address => Some(8 + usize::from(number)),
        _ => None,
    }
}

/// The address that an operand stands for; nothing for one that is no memory or lies on the stack.
pub(crate) fn address(routes: &Routes<'_>, line: &CodeLine, at: usize, state: &State) -> Holds {
    let operand = line.code.operands[at];
    let text = || routes.operand_text(line, at);
    let base = || state.get(8 + usize::from(operand.register));
    let known = line.code.is_known[at];
    let own = |words: &str| match known {
        true => Holds::one(Said::number(words, operand.value)),
        false => Holds::one(Said::open(words.to_owned())),
    };
    let index = || {
        let number = usize::from(operand.index.number) + if operand.index.is_address { 8 } else { 0 };
        let name = format!("{}{}", if operand.index.is_address { 'A' } else { 'D' }, operand.index.number);
        let holds = state.get(number);
        if holds.only().is_some() { holds } else { Holds::one(Said::open(name)) }
    };
    match operand.kind {
        Kind::AbsoluteShort | Kind::AbsoluteLong | Kind::Target | Kind::PcDisplacement => own(&bare(&text())),
        Kind::PcIndex => own(&displacement(&text()).unwrap_or_default()).with("+", &index(), |a, b| a + b),
        Kind::Indirect | Kind::PostIncrement => base(),
        Kind::Displacement | Kind::Index if known && operand.value == 0 && operand.kind == Kind::Displacement => base(),
        Kind::Displacement => base().with("+", &own(&displacement(&text()).unwrap_or_default()), |a, b| a + b),
        Kind::Index if known && operand.value == 0 => base().with("+", &index(), |a, b| a + b),
        Kind::Index => {
            let from = base().with("+", &own(&displacement(&text()).unwrap_or_default()), |a, b| a + b);
            from.with("+", &index(), |a, b| a + b)
        }
        _ => Holds::default(),
    }
}

/// What stands at an address.
pub(crate) fn read(address: &Holds, bytes: u32, peek: Bytes<'_>) -> Holds {
    let found: Vec<(Said, Option<i64>)> = address
        .values()
        .iter()
        .map(|it| {
            let value = it.value.and_then(|at| {
                (0..i64::from(bytes)).try_fold(0_i64, |sum, own| Some(sum << 8 | i64::from(peek(at + own)?)))
            });
            (it.clone(), value)
        })
        .collect();
    address.map(|it| {
        let value = found.iter().find(|own| own.0 == *it).and_then(|own| own.1);
        let words = format!("the {} at {}", thing(bytes), it.words);
        Some(Said { words: words.into(), value, read_from: it.value, base: value, of_base: it.base })
    })
}

/// What an operand is worth before the instruction.
pub(crate) fn value(routes: &Routes<'_>, line: &CodeLine, at: usize, state: &State, peek: Bytes<'_>) -> Holds {
    let operand = line.code.operands[at];
    let bytes = line.code.choice.size.bytes().max(1);
    match operand.kind {
        Kind::Immediate => {
            let words = bare(&routes.operand_text(line, at));
            match line.code.is_known[at] {
                true => Holds::one(Said::number(&words, operand.value)),
                false => Holds::one(Said::open(words)),
            }
        }
        Kind::Data => state.get(usize::from(operand.register)),
        Kind::Address => state.get(8 + usize::from(operand.register)),
        Kind::Indirect | Kind::PostIncrement if operand.register == 7 => state.on_stack(0),
        Kind::Displacement if operand.register == 7 => state.on_stack(operand.value),
        Kind::Displacement => {
            let framed = state.in_frame(operand.register, operand.value);
            if framed.values().is_empty() { read(&address(routes, line, at, state), bytes, peek) } else { framed }
        }
        _ => read(&address(routes, line, at, state), bytes, peek),
    }
}

/// Carries an instruction out, as far as the words go. What a call or a trap changes is not in it.
pub(crate) fn step(routes: &Routes<'_>, line: &CodeLine, state: &mut State, peek: Bytes<'_>) {
    let code = &line.code;
    let [first, second] = code.operands;
    let name = code.choice.instruction.name;
    let size = code.choice.size;
    let count = code.choice.form.operand_count();
    match name {
        "link" => return state.link(first.register, second.value),
        "unlk" => return state.unlink(first.register),
        "movem" => return several(line, state),
        "bsr" | "jsr" => return,
        "pea" => {
            let pushed = address(routes, line, 0, state);
            return state.push(pushed, 4);
        }
        _ => (),
    }
    let source = if count > 0 { value(routes, line, 0, state, peek) } else { Holds::default() };
    let target = register(second.kind, second.register);
    let old = if count > 1 { value(routes, line, 1, state, peek) } else { Holds::default() };
    // The stack's own register.
    if target == Some(STACK) {
        let moved = match name {
            "lea" if first.kind == Kind::Displacement && first.register == 7 => Some(first.value),
            "addq" | "adda" | "addi" | "add" => source.number(),
            "subq" | "suba" | "subi" | "sub" => source.number().map(|it| -it),
            "cmpa" | "cmp" | "cmpi" => return,
            _ => None,
        };
        match moved {
            Some(bytes) if bytes >= 0 => drop(state.pop(bytes)),
            Some(bytes) => match u8::try_from(-bytes) {
                Ok(bytes) => state.push(Holds::default(), bytes),
                Err(_) => state.set(STACK, Holds::default()),
            },
            None => state.set(STACK, Holds::default()),
        }
        return;
    }
    let result = match name {
        "move" | "movea" | "moveq" => Some(source),
        "lea" => Some(address(routes, line, 0, state)),
        "clr" => Some(Holds::one(Said::number("0", 0))),
        "add" | "adda" | "addi" | "addq" => Some(old.with("+", &source, |a, b| a.wrapping_add(b))),
        "sub" | "suba" | "subi" | "subq" => Some(old.with("-", &source, |a, b| a.wrapping_sub(b))),
        "and" | "andi" => Some(old.with("&", &source, |a, b| a & b)),
        "or" | "ori" => Some(old.with("|", &source, |a, b| a | b)),
        // The value stays: only its form becomes another.
        "ext" => None,
        _ if written(code.choice.instruction, code.choice.form, &code.operands) & 0x7fff == 0 => None,
        _ => Some(Holds::default()),
    };
    // Whatever else is written is not known any more.
    let changed = written(code.choice.instruction, code.choice.form, &code.operands);
    if name == "exg" {
        let (one, other) = (register(first.kind, first.register), target);
        if let (Some(one), Some(other)) = (one, other) {
            let (first, second) = (state.get(one), state.get(other));
            state.set(one, second);
            state.set(other, first);
        }
        return;
    }
    if name != "ext" {
        state.forget(changed & 0x7fff & !target.map_or(0, |it| 1 << it), &|_| None);
    }
    on_the_stack(name, &first, &second, size, &result, state);
    if let (Some(target), Some(result)) = (target.filter(|it| changed >> it & 1 == 1), result) {
        state.set(target, result);
    } else if count == 1
        && let Some(own) = register(first.kind, first.register).filter(|it| changed >> it & 1 == 1)
        && name != "ext"
    {
        state.set(own, if name == "clr" { Holds::one(Said::number("0", 0)) } else { Holds::default() });
    }
}

/// What a move puts on the stack or takes from it.
fn on_the_stack(
    name: &str,
    first: &reveille_cpu::Operand,
    second: &reveille_cpu::Operand,
    size: Size,
    result: &Option<Holds>,
    state: &mut State,
) {
    // The stack stays even: a byte takes two.
    let bytes = size.bytes().max(2) as u8;
    let is_stack = |it: &reveille_cpu::Operand, kind| it.kind == kind && it.register == 7;
    if is_stack(first, Kind::PostIncrement) || is_stack(second, Kind::PostIncrement) {
        state.pop(i64::from(bytes));
    }
    if is_stack(second, Kind::PreDecrement) {
        let value = if name == "move" { result.clone().unwrap_or_default() } else { Holds::default() };
        state.push(value, bytes);
    } else if is_stack(first, Kind::PreDecrement) {
        let value = if name == "clr" { Holds::one(Said::number("0", 0)) } else { Holds::default() };
        state.push(value, bytes);
    }
}

/// MOVEM: what it saves comes back.
fn several(line: &CodeLine, state: &mut State) {
    let [first, second] = line.code.operands;
    let bytes = line.code.choice.size.bytes() as u8;
    let listed = |list: i64| (0..16).filter(move |it| list >> it & 1 == 1);
    if first.kind == Kind::List || register(first.kind, first.register).is_some() {
        if second.kind == Kind::PreDecrement && second.register == 7 {
            let list = if first.kind == Kind::List {
                first.value
            } else {
                1 << register(first.kind, first.register).unwrap_or(0)
            };
            for own in listed(list).rev() {
                let value = state.get(own);
                state.push(value, bytes);
            }
        }
        return;
    }
    let list =
        if second.kind == Kind::List { second.value } else { 1 << register(second.kind, second.register).unwrap_or(0) };
    let is_pop = first.kind == Kind::PostIncrement && first.register == 7;
    for own in listed(list) {
        let value = if is_pop { state.pop(i64::from(bytes)) } else { Holds::default() };
        if own != STACK {
            state.set(own, value);
        }
    }
}
