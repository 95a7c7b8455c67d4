//! Programs without a dialect, made at random.

use reveille_fixture::Numbers;

/// How a number is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Radix {
    Ten,
    Sixteen,
    Two,
    Eight,
}

/// A register: its letter and number.
pub(crate) type Register = (char, usize);

#[derive(Clone, Debug)]
pub(crate) enum Operand {
    Register(Register),
    /// `(An)`
    At(usize),
    /// `(An)+`
    After(usize),
    /// `-(An)`
    Before(usize),
    /// `d(An)`
    Offset(i64, usize),
    /// `d(An,Xn.s)`
    Index(i64, usize, Register, char),
    /// A label or a constant as an address.
    Name(String),
    /// A label behind `(pc)`.
    Relative(String),
    Number(i64, Radix),
    /// A constant as an immediate.
    Constant(String),
    Character(char),
    /// Registers of MOVEM, from and to.
    List(Vec<(Register, Register)>),
    Special(&'static str),
    /// A parameter of the program's macro.
    Parameter(usize),
}

#[derive(Clone, Debug)]
pub(crate) struct Code {
    pub(crate) name: &'static str,
    pub(crate) size: Option<char>,
    pub(crate) operands: Vec<Operand>,
}

#[derive(Clone, Debug)]
pub(crate) enum Item {
    Label(String),
    Code(Code),
    /// Items of so many bytes.
    Data(usize, Vec<(i64, Radix)>),
    /// Addresses.
    Places(Vec<String>),
    Text(String),
    Space(usize),
    Even,
    Equate(String, i64, Radix),
    Remark(String),
    Blank,
    /// Whether a constant has a value; the lines for both cases.
    If(String, i64, Vec<Item>, Vec<Item>),
    /// A call of the program's macro: a register and an address.
    Call(Operand, Operand),
    Repeat(usize, Vec<Item>),
}

/// A program: items, and the body of its one macro.
pub(crate) struct Abstract {
    pub(crate) items: Vec<Item>,
    pub(crate) body: Vec<Code>,
}

/// The name of the program's one macro.
pub(crate) const MACRO: &str = "KEEP";

const WORDS: [&str; 10] =
    ["the tide", "is high", "level, old", "pen up", "drum", "once a day", "(no)", "a-b", "x = 1", "so on"];
const LABELS: [&str; 5] = ["next_", "Low", "_x", "far.away", "tab"];
const CONDITIONS: [&str; 8] = ["bra", "bne", "beq", "bcc", "bcs", "bpl", "bge", "bsr"];

struct Author {
    numbers: Numbers,
    labels: Vec<String>,
    constants: Vec<(String, i64)>,
}

impl Author {
    fn number(&mut self, bound: usize) -> (i64, Radix) {
        let value = self.numbers.below(bound) as i64;
        (value, [Radix::Ten, Radix::Sixteen, Radix::Two, Radix::Eight][self.numbers.below(4)])
    }

    fn a(&mut self) -> usize {
        self.numbers.below(6)
    }

    fn register(&mut self) -> Register {
        (['d', 'a'][self.numbers.below(2)], self.numbers.below(7))
    }

    fn data_register(&mut self) -> Operand {
        Operand::Register(('d', self.numbers.below(8)))
    }

    fn label(&mut self) -> String {
        self.labels[self.numbers.below(self.labels.len())].clone()
    }

    fn destination(&mut self) -> Operand {
        match self.numbers.below(8) {
            0 => Operand::At(self.a()),
            1 => Operand::After(self.a()),
            2 => Operand::Before(self.a()),
            3 => Operand::Offset(2 + 2 * self.numbers.below(500) as i64, self.a()),
            4 => Operand::Index(-2 * self.numbers.below(60) as i64 - 2, self.a(), self.register(), 'w'),
            5 => Operand::Index(2 + 2 * self.numbers.below(60) as i64, self.a(), self.register(), 'l'),
            6 => Operand::Name(self.label()),
            _ => self.data_register(),
        }
    }

    fn source(&mut self, bound: usize) -> Operand {
        match self.numbers.below(10) {
            0 | 1 => {
                let (value, radix) = self.number(bound);
                Operand::Number(value, radix)
            }
            2 => Operand::Character(['a', 'Z', '0', ' ', ';', '*', '|', '#'][self.numbers.below(8)]),
            3 => Operand::Constant(self.constants[self.numbers.below(self.constants.len())].0.clone()),
            4 => Operand::Relative(self.label()),
            _ => self.destination(),
        }
    }

    fn list(&mut self) -> Operand {
        let (from, to) = (self.numbers.below(3), 3 + self.numbers.below(5));
        let address = self.a();
        let mut found = vec![(('d', from), ('d', to))];
        if self.numbers.below(2) == 0 {
            found.push((('a', address), ('a', address)));
        }
        Operand::List(found)
    }

    fn code(&mut self) -> Code {
        let size = ['b', 'w', 'l'][self.numbers.below(3)];
        let wide = ['w', 'l'][self.numbers.below(2)];
        let small = 1 + self.numbers.below(8) as i64;
        let code = |name, size: char, operands| Code { name, size: Some(size), operands };
        let plain = |name, operands| Code { name, size: None, operands };
        match self.numbers.below(22) {
            0..=4 => code("move", size, vec![self.source(100), self.destination()]),
            5 => code(["add", "sub"][self.numbers.below(2)], size, vec![self.source(100), self.data_register()]),
            6 => code(["and", "or"][self.numbers.below(2)], size, vec![self.source(100), self.data_register()]),
            7 => code("cmp", size, vec![self.source(100), self.data_register()]),
            8 => code(
                ["addq", "subq"][small as usize % 2],
                wide,
                vec![Operand::Number(small, Radix::Ten), self.destination()],
            ),
            9 => {
                let (value, radix) = self.number(128);
                plain("moveq", vec![Operand::Number(value, radix), self.data_register()])
            }
            10 => plain("lea", vec![Operand::Name(self.label()), Operand::Register(('a', self.numbers.below(7)))]),
            11 => {
                let from = Operand::Offset(2 * small, self.a());
                plain("lea", vec![from, Operand::Register(('a', self.numbers.below(7)))])
            }
            12 => code(["clr", "neg", "not", "tst"][self.numbers.below(4)], size, vec![self.destination()]),
            13 => plain(
                ["btst", "bset", "bclr"][self.numbers.below(3)],
                vec![Operand::Number(small % 8, Radix::Ten), self.destination()],
            ),
            14 => {
                let shift = ["lsl", "asr", "rol", "roxr"][self.numbers.below(4)];
                code(shift, size, vec![Operand::Number(small, Radix::Ten), self.data_register()])
            }
            15 => plain("swap", vec![self.data_register()]),
            16 => code("movem", wide, vec![self.list(), Operand::Before(7)]),
            17 => code("movem", wide, vec![Operand::After(7), self.list()]),
            18 => code(["mulu", "divs"][self.numbers.below(2)], 'w', vec![self.source(100), self.data_register()]),
            19 => plain("dbra", vec![self.data_register(), Operand::Name(self.label())]),
            20 => code("move", 'w', vec![Operand::Number(0x2000, Radix::Sixteen), Operand::Special("sr")]),
            _ => code(CONDITIONS[self.numbers.below(8)], 'w', vec![Operand::Name(self.label())]),
        }
    }

    fn words(&mut self) -> String {
        let count = 1 + self.numbers.below(3);
        (0..count).map(|_| WORDS[self.numbers.below(WORDS.len())]).collect::<Vec<_>>().join(" ")
    }

    fn item(&mut self, depth: usize) -> Vec<Item> {
        match self.numbers.below(if depth > 1 { 22 } else { 27 }) {
            0 => {
                let size = [1, 2, 4][self.numbers.below(3)];
                let count = 1 + self.numbers.below(5);
                let data = Item::Data(size, (0..count).map(|_| self.number(250)).collect());
                vec![data, Item::Even]
            }
            1 => vec![Item::Places(vec![self.label(), self.label()])],
            2 => {
                let marks = ["", "; no", " * 2", "| x", " # 3"][self.numbers.below(5)];
                vec![Item::Text(self.words() + marks), Item::Even]
            }
            3 => vec![
                Item::Space(2 * self.numbers.below(20)),
                Item::Code(Code { name: "nop", size: None, operands: Vec::new() }),
            ],
            4 => vec![Item::Remark(self.words())],
            5 => vec![Item::Blank],
            6 => {
                vec![Item::Call(self.data_register(), Operand::Offset(2 + self.numbers.below(99) as i64 * 2, self.a()))]
            }
            22 | 23 => {
                let (name, value) = self.constants[self.numbers.below(self.constants.len())].clone();
                let is_so = self.numbers.below(2) == 0;
                vec![Item::If(
                    name,
                    if is_so { value } else { value + 1 },
                    self.items(3, depth + 1),
                    self.items(2, depth + 1),
                )]
            }
            24 => vec![Item::Repeat(1 + self.numbers.below(4), self.items(2, depth + 1))],
            _ => vec![Item::Code(self.code())],
        }
    }

    fn items(&mut self, count: usize, depth: usize) -> Vec<Item> {
        (0..count).flat_map(|_| self.item(depth)).collect()
    }
}

/// The program of a seed.
pub(crate) fn program(seed: u64) -> Abstract {
    let mut numbers = Numbers::new(seed + 1000);
    let labels = (0..6 + numbers.below(10)).map(|at| format!("{}{at}", LABELS[at % LABELS.len()])).collect();
    let constants = (0..4).map(|at| (format!("CON{at}"), numbers.below(100) as i64)).collect();
    let mut author = Author { numbers, labels, constants };
    let mut items: Vec<Item> = author
        .constants
        .clone()
        .into_iter()
        .map(|(name, value)| Item::Equate(name, value, author.number(1).1))
        .collect();
    for label in author.labels.clone() {
        items.push(Item::Label(label));
        // A label before code: what a branch reaches is even.
        items.push(Item::Code(author.code()));
        let count = 3 + author.numbers.below(8);
        items.extend(author.items(count, 0));
    }
    let code = |name, size, operands| Code { name, size, operands };
    let body = vec![
        code("move", Some('w'), vec![Operand::Parameter(0), Operand::Parameter(1)]),
        code("nop", None, Vec::new()),
        code("addq", Some('l'), vec![Operand::Number(1, Radix::Ten), Operand::Parameter(0)]),
    ];
    Abstract { items, body }
}
