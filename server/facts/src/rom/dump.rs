//! The bytes of dumps, and the orders in which they can be read.

use super::source::HOLE;

/// The files of dumps as bytes, with holes where a file of records has none.
#[derive(Clone, Debug, Default)]
pub struct Dump {
    pub(super) cells: Vec<u16>,
    /// The address of the first byte, if the file says it.
    pub(super) address: Option<u32>,
}

impl Dump {
    /// Bytes of a file that has no addresses.
    #[must_use]
    pub fn raw(bytes: &[u8]) -> Self {
        Self { cells: bytes.iter().map(|it| u16::from(*it)).collect(), address: None }
    }

    /// Bytes with addresses from a file of records: all from the lowest to the highest address.
    #[must_use]
    pub fn placed<'a>(address: u32, bytes: usize, runs: impl IntoIterator<Item = (u32, &'a [u8])>) -> Self {
        let mut cells = vec![HOLE; bytes];
        for (from, run) in runs {
            let start = from.saturating_sub(address) as usize;
            for (cell, byte) in cells.iter_mut().skip(start).zip(run) {
                *cell = u16::from(*byte);
            }
        }
        Self { cells, address: Some(address) }
    }

    /// How many bytes it spans.
    #[must_use]
    pub fn span(&self) -> usize {
        self.cells.len()
    }
}

/// How dumps are put together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Order {
    /// One file, as it is.
    AsIs,
    /// One file, the bytes of each word exchanged.
    Exchanged,
    /// One file: the chip with the even addresses.
    EvenAlone,
    /// One file: the chip with the odd addresses.
    OddAlone,
    /// Two files: the first is the chip with the even addresses.
    FirstEven,
    /// Two files: the first is the chip with the odd addresses.
    FirstOdd,
    /// Two files: the second lies behind the first.
    FirstThenSecond,
    /// Two files: the first lies behind the second.
    SecondThenFirst,
}

impl Order {
    /// Its name in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::AsIs => "as-is",
            Self::Exchanged => "bytes-exchanged",
            Self::EvenAlone => "even-chip",
            Self::OddAlone => "odd-chip",
            Self::FirstEven => "even-odd",
            Self::FirstOdd => "odd-even",
            Self::FirstThenSecond => "first-second",
            Self::SecondThenFirst => "second-first",
        }
    }

    /// Whether it is one chip of a pair.
    #[must_use]
    pub fn is_alone(self) -> bool {
        matches!(self, Self::EvenAlone | Self::OddAlone)
    }

    /// The same bytes with those of each word exchanged.
    #[must_use]
    pub fn exchanged(self) -> Option<Self> {
        Some(match self {
            Self::AsIs => Self::Exchanged,
            Self::Exchanged => Self::AsIs,
            Self::FirstEven => Self::FirstOdd,
            Self::FirstOdd => Self::FirstEven,
            _ => return None,
        })
    }

    /// The orders to try for one file or two, the one that was asked for first.
    #[must_use]
    pub fn all(is_pair: bool, is_exchanged: bool) -> Vec<Self> {
        let mut orders = if is_pair {
            vec![Self::FirstEven, Self::FirstOdd, Self::FirstThenSecond, Self::SecondThenFirst]
        } else {
            vec![Self::AsIs, Self::Exchanged, Self::EvenAlone, Self::OddAlone]
        };
        if is_exchanged {
            orders.swap(0, 1);
        }
        orders
    }
}

/// Dumps put together in an order.
#[derive(Clone, Debug)]
pub(super) struct Reading {
    pub(super) order: Order,
    pub(super) cells: Vec<u16>,
    pub(super) address: Option<u32>,
}

impl Reading {
    pub(super) fn new(order: Order, dumps: &[Dump]) -> Self {
        let one = |at: usize| dumps.get(at).map_or(&[][..], |it| &it.cells);
        let (first, second) = (one(0), one(1));
        let cells = match order {
            Order::AsIs => first.to_vec(),
            Order::Exchanged => exchanged(first),
            Order::EvenAlone => interleaved(first, &[]),
            Order::OddAlone => interleaved(&[], first),
            Order::FirstEven => interleaved(first, second),
            Order::FirstOdd => interleaved(second, first),
            Order::FirstThenSecond => [first, second].concat(),
            Order::SecondThenFirst => [second, first].concat(),
        };
        // The addresses of a chip's file are those of the chip, not those of the machine.
        let has_address = matches!(order, Order::AsIs | Order::Exchanged);
        let address = dumps.first().and_then(|it| it.address).filter(|_| has_address);
        Self { order, cells, address }
    }

    pub(super) fn cell(&self, at: i64) -> u16 {
        usize::try_from(at).ok().and_then(|at| self.cells.get(at)).copied().unwrap_or(HOLE)
    }
}

fn exchanged(cells: &[u16]) -> Vec<u16> {
    let mut cells = cells.to_vec();
    for word in cells.chunks_exact_mut(2) {
        word.swap(0, 1);
    }
    cells
}

fn interleaved(even: &[u16], odd: &[u16]) -> Vec<u16> {
    let cell = |chip: &[u16], at: usize| chip.get(at).copied().unwrap_or(HOLE);
    (0..even.len().max(odd.len())).flat_map(|at| [cell(even, at), cell(odd, at)]).collect()
}

#[cfg(test)]
mod tests {
    use super::{Dump, HOLE, Order, Reading};

    fn cells(order: Order, dumps: &[&[u8]]) -> Vec<u16> {
        let dumps: Vec<Dump> = dumps.iter().map(|it| Dump::raw(it)).collect();
        Reading::new(order, &dumps).cells
    }

    /// The even chip has the high byte of each word: M68000 user's manual, data organization in memory.
    #[test]
    fn files_are_put_together_in_each_order() {
        assert_eq!(cells(Order::AsIs, &[&[1, 2, 3]]), [1, 2, 3]);
        assert_eq!(cells(Order::Exchanged, &[&[1, 2, 3]]), [2, 1, 3]);
        assert_eq!(cells(Order::EvenAlone, &[&[1, 2]]), [1, HOLE, 2, HOLE]);
        assert_eq!(cells(Order::OddAlone, &[&[1, 2]]), [HOLE, 1, HOLE, 2]);
        assert_eq!(cells(Order::FirstEven, &[&[1, 3], &[2]]), [1, 2, 3, HOLE]);
        assert_eq!(cells(Order::FirstOdd, &[&[1, 3], &[2, 4]]), [2, 1, 4, 3]);
        assert_eq!(cells(Order::SecondThenFirst, &[&[1, 2], &[3]]), [3, 1, 2]);
    }

    #[test]
    fn what_was_asked_for_comes_first() {
        assert_eq!(Order::all(false, true)[0], Order::Exchanged);
        assert_eq!(Order::all(true, true)[0], Order::FirstOdd);
        for order in Order::all(true, false).into_iter().chain(Order::all(false, false)) {
            assert!(order.exchanged().is_none_or(|it| it.exchanged() == Some(order)), "{}", order.name());
        }
    }

    #[test]
    fn records_keep_their_holes() {
        let dump = Dump::placed(0x100, 4, [(0x100, &[1_u8][..]), (0x103, &[2])]);
        assert_eq!((dump.span(), dump.cells, dump.address), (4, vec![1, HOLE, HOLE, 2], Some(0x100)));
    }
}
