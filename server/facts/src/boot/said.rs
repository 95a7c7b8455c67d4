//! What a register holds on the way from power-on, in the words of the source.

use std::sync::Arc;

/// The most ways that a value is followed by at once: behind that nobody knows it.
const MOST: usize = 4;
/// The longest words of a value.
const LONGEST: usize = 80;

/// One value.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Said {
    /// How the source writes it, or how it came about.
    pub(crate) words: Arc<str>,
    /// The number, where it is known.
    pub(crate) value: Option<i64>,
    /// The address that it was read from, where that is known.
    pub(crate) read_from: Option<i64>,
    /// The address that it is counted from: what is loaded at a place and names its entry from there.
    pub(crate) base: Option<i64>,
    /// The base of the address that it was read from: it belongs to what is loaded there and to nothing else.
    pub(crate) of_base: Option<i64>,
}

impl Said {
    /// A number.
    pub(crate) fn number(words: &str, value: i64) -> Self {
        Self { words: words.into(), value: Some(value), read_from: None, base: Some(value), of_base: None }
    }

    /// Something whose number is not known.
    pub(crate) fn open(words: String) -> Self {
        Self { words: words.into(), value: None, read_from: None, base: None, of_base: None }
    }
}

/// What a place holds: one of some values, or nobody knows what.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Holds(Vec<Said>);

impl Holds {
    /// One value.
    pub(crate) fn one(value: Said) -> Self {
        if value.words.len() > LONGEST { Self::default() } else { Self(vec![value]) }
    }

    /// The values; none where nobody knows.
    pub(crate) fn values(&self) -> &[Said] {
        &self.0
    }

    /// The value, if there is only one.
    pub(crate) fn only(&self) -> Option<&Said> {
        if let [only] = self.0.as_slice() { Some(only) } else { None }
    }

    /// The number, if it is known.
    pub(crate) fn number(&self) -> Option<i64> {
        self.only().and_then(|it| it.value)
    }

    /// What is known where two ways meet.
    pub(crate) fn meet(&self, other: &Self) -> Self {
        if self == other {
            return self.clone();
        }
        if self.0.is_empty() || other.0.is_empty() {
            return Self::default();
        }
        let mut all = self.0.clone();
        all.extend(other.0.iter().filter(|it| !self.0.contains(it)).cloned());
        if all.len() > MOST { Self::default() } else { Self(all) }
    }

    /// Each value made another one.
    pub(crate) fn map(&self, change: impl Fn(&Said) -> Option<Said>) -> Self {
        self.0
            .iter()
            .fold(None, |sum: Option<Self>, it| {
                let own = change(it).map_or_else(Self::default, Self::one);
                Some(sum.map_or_else(|| own.clone(), |sum| sum.meet(&own)))
            })
            .unwrap_or_default()
    }

    /// Two values made one by an operator; `number` works it out.
    pub(crate) fn with(&self, operator: &str, other: &Self, number: impl Fn(i64, i64) -> i64) -> Self {
        let mut sum: Option<Self> = None;
        for left in &self.0 {
            for right in &other.0 {
                // What was read of one program does not go with the address of another.
                let is_others = right.of_base.is_some_and(|it| self.0.iter().any(|own| own.base == Some(it)));
                if is_others && right.of_base != left.base {
                    continue;
                }
                let value = left.value.zip(right.value).map(|(left, right)| number(left, right));
                let words = match (left.words.contains(' '), operator) {
                    (true, "&") => format!("({}) {operator} {}", left.words, right.words),
                    _ => format!("{} {operator} {}", left.words, right.words),
                };
                let base = if operator == "+" { left.base.or(right.base) } else { None };
                let own = Said {
                    words: words.into(),
                    value,
                    read_from: left.read_from.or(right.read_from),
                    base,
                    of_base: left.of_base,
                };
                let own = Self::one(own);
                sum = Some(sum.map_or_else(|| own.clone(), |it| it.meet(&own)));
            }
        }
        sum.unwrap_or_default()
    }
}

/// What is known before an instruction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct State {
    /// D0 to D7, A0 to A6; A7 is the stack below.
    registers: [Holds; 15],
    /// What was put on the stack, the last on top, with its bytes; none where nobody knows how high it is.
    stack: Option<Vec<(Holds, u8)>>,
    /// The frame that LINK has made: its register from A0 on, and how many things lay on the stack then.
    frame: Option<(u8, usize)>,
}

/// How high a stack is followed.
const MOST_STACKED: usize = 64;

impl State {
    /// Nothing is known; the stack is empty.
    pub(crate) fn new() -> Self {
        Self { registers: Default::default(), stack: Some(Vec::new()), frame: None }
    }

    /// What a routine finds that is called with these things on the stack, the first argument on top.
    pub(crate) fn called_with(arguments: Vec<(Holds, u8)>) -> Self {
        let mut state = Self::new();
        let mut stack: Vec<_> = arguments.into_iter().rev().take(MOST_STACKED).collect();
        stack.push((Holds::default(), 4));
        state.stack = Some(stack);
        state
    }

    pub(crate) fn get(&self, register: usize) -> Holds {
        self.registers.get(register).cloned().unwrap_or_default()
    }

    pub(crate) fn set(&mut self, register: usize, value: Holds) {
        match self.registers.get_mut(register) {
            Some(own) => *own = value,
            // Somebody has put the stack elsewhere.
            None => (self.stack, self.frame) = (Some(Vec::new()), None),
        }
        if self.frame.is_some_and(|it| usize::from(it.0) + 8 == register) {
            self.frame = None;
        }
    }

    /// Registers that a call has changed, as a set; `words` tell of each what it is now.
    pub(crate) fn forget(&mut self, changed: u16, words: &dyn Fn(usize) -> Option<String>) {
        for (at, own) in self.registers.iter_mut().enumerate().filter(|it| changed >> it.0 & 1 == 1) {
            *own = words(at).map_or_else(Holds::default, |it| Holds::one(Said::open(it)));
        }
    }

    pub(crate) fn push(&mut self, value: Holds, bytes: u8) {
        match self.stack.as_mut().filter(|it| it.len() < MOST_STACKED) {
            Some(stack) => stack.push((value, bytes)),
            None => self.stack = None,
        }
    }

    /// Takes some bytes from the stack: what was there, if it was one thing.
    pub(crate) fn pop(&mut self, bytes: i64) -> Holds {
        let Some(stack) = self.stack.as_mut() else { return Holds::default() };
        let (mut open, mut first) = (bytes, None);
        while open > 0 {
            // Below lies what the caller has, or nobody knows.
            let Some((value, own)) = stack.pop() else { break };
            open -= i64::from(own);
            first = Some(if first.is_none() { value } else { Holds::default() });
        }
        if open < 0 {
            self.stack = None;
        }
        first.unwrap_or_default()
    }

    /// What lies some bytes above the stack's top.
    pub(crate) fn on_stack(&self, offset: i64) -> Holds {
        let stack = self.stack.as_deref().unwrap_or_default();
        below(stack, offset)
    }

    /// What lies some bytes from the register of the frame.
    pub(crate) fn in_frame(&self, register: u8, offset: i64) -> Holds {
        match (self.frame, &self.stack) {
            (Some((own, height)), Some(stack)) if own == register => {
                below(stack.get(..height).unwrap_or_default(), offset)
            }
            _ => Holds::default(),
        }
    }

    /// LINK: the register is put on the stack, and room is made.
    pub(crate) fn link(&mut self, register: u8, room: i64) {
        let old = self.get(8 + usize::from(register));
        self.push(old, 4);
        self.set(8 + usize::from(register), Holds::default());
        self.frame = self.stack.as_ref().map(|it| (register, it.len()));
        if let Ok(room) = u8::try_from(-room)
            && room > 0
        {
            self.push(Holds::default(), room);
        }
    }

    /// UNLK: the stack is as it was before LINK.
    pub(crate) fn unlink(&mut self, register: u8) {
        match (self.frame.take(), self.stack.as_mut()) {
            (Some((own, height)), Some(stack)) if own == register => {
                stack.truncate(height);
                let old = self.pop(4);
                self.set(8 + usize::from(register), old);
            }
            _ => {
                self.stack = None;
                self.set(8 + usize::from(register), Holds::default());
            }
        }
    }

    /// What a called routine finds: all as it is, and the address to come back to on the stack.
    pub(crate) fn inside(&self) -> Self {
        let mut inner = self.clone();
        inner.push(Holds::default(), 4);
        inner.frame = None;
        inner
    }

    /// The things on the stack from the top on, as a C function takes them: at most as many as it has parameters.
    pub(crate) fn arguments(&self, count: usize) -> Vec<Holds> {
        let stack = self.stack.as_deref().unwrap_or_default();
        stack.iter().rev().take(count).map(|it| it.0.clone()).collect()
    }

    pub(crate) fn meet(&self, other: &Self) -> Self {
        if self == other {
            return self.clone();
        }
        let mut met = self.clone();
        for (own, other) in met.registers.iter_mut().zip(&other.registers) {
            *own = own.meet(other);
        }
        met.stack = match (&self.stack, &other.stack) {
            (Some(own), Some(other)) if own.iter().map(|it| it.1).eq(other.iter().map(|it| it.1)) => {
                Some(own.iter().zip(other).map(|(own, other)| (own.0.meet(&other.0), own.1)).collect())
            }
            // A routine that is called with stacks of different heights: what is on top counts.
            (Some(own), Some(other)) => {
                let same = own.iter().rev().zip(other.iter().rev()).take_while(|it| it.0.1 == it.1.1);
                let mut top: Vec<_> = same.map(|(own, other)| (own.0.meet(&other.0), own.1)).collect();
                top.reverse();
                Some(top)
            }
            _ => None,
        };
        met.frame =
            self.frame.filter(|it| Some(*it) == other.frame && met.stack.as_ref().is_some_and(|own| own.len() >= it.1));
        met
    }
}

fn below(stack: &[(Holds, u8)], offset: i64) -> Holds {
    let mut at = 0;
    for (value, bytes) in stack.iter().rev() {
        if at == offset {
            return value.clone();
        }
        // The low word of a long that was pushed.
        if at + 2 == offset && *bytes == 4 {
            return value.map(|it| it.value.map(|number| Said::number(&it.words, number & 0xffff)));
        }
        at += i64::from(*bytes);
        if at > offset {
            break;
        }
    }
    Holds::default()
}

#[cfg(test)]
mod tests {
    use super::{Holds, Said, State};

    fn number(words: &str, value: i64) -> Holds {
        Holds::one(Said::number(words, value))
    }

    #[test]
    fn values_are_followed_on_a_few_ways_and_then_not_any_more() {
        let two = number("LOADAD", 0x84000).meet(&number("ROMPROG", 0x20000));
        assert_eq!(two.values().len(), 2);
        let entry = two.with("+", &Holds::one(Said::open("the long at 4(a0)".into())), |a, b| a + b);
        let bases: Vec<_> = entry.values().iter().map(|it| it.base).collect();
        assert_eq!(bases, [Some(0x84000), Some(0x20000)]);
        let many = (0..5).map(|it| number(&it.to_string(), it)).reduce(|a, b| a.meet(&b));
        assert_eq!(many, Some(Holds::default()));
    }

    #[test]
    fn arguments_are_found_above_the_address_to_come_back_to() {
        let mut state = State::new();
        state.push(number("name", 0x100), 4);
        state.push(number("3", 3), 2);
        let mut inner = state.inside();
        assert_eq!(inner.on_stack(4).number(), Some(3));
        assert_eq!(inner.on_stack(6).number(), Some(0x100));
        inner.link(6, -8);
        assert_eq!(inner.in_frame(6, 8).number(), Some(3));
        assert_eq!(inner.in_frame(6, 10).number(), Some(0x100));
        inner.unlink(6);
        assert_eq!(inner.on_stack(4).number(), Some(3));
        state.pop(6);
        assert_eq!(state, State::new());
    }
}
