//! Random programs: branches without a size around the reach of the short one, so that one that grows lets others grow;
//! references to labels and constants before and behind; data and gaps between.

use std::fmt::Write;

use reveille_fixture::Numbers;
use reveille_source::Dialect;

use crate::judge::{compared, judged, listed};

const CONDITIONS: [&str; 8] = ["ne", "eq", "cc", "cs", "pl", "mi", "ge", "gt"];

/// Makes programs that can be run through an assembler, not on a processor.
struct Author {
    numbers: Numbers,
    dialect: Dialect,
    text: String,
    /// Labels before instructions so far; each stands at an even address.
    code: usize,
    /// Labels of data so far.
    data: usize,
    /// Constants so far.
    constants: usize,
    /// The first label before an instruction that a branch reaches: behind the last large gap.
    zone: usize,
    /// Labels that a line has named and that are still to come.
    promised: usize,
    promised_data: usize,
    promised_constants: usize,
}

impl Author {
    fn new(seed: u64, dialect: Dialect) -> Self {
        Self {
            numbers: Numbers::new(seed),
            dialect,
            text: String::new(),
            code: 0,
            data: 0,
            constants: 0,
            zone: 0,
            promised: 0,
            promised_data: 0,
            promised_constants: 0,
        }
    }

    fn is_motorola(&self) -> bool {
        self.dialect == Dialect::Motorola
    }

    fn one_in(&mut self, count: usize) -> bool {
        self.numbers.below(count) == 0
    }

    fn line(&mut self, text: &str) {
        let _ = writeln!(self.text, "\t{text}");
    }

    /// Puts a label before the next instruction.
    fn code_label(&mut self) {
        let _ = writeln!(self.text, "lab{}:", self.code);
        self.code += 1;
    }

    /// A label that a branch reaches: some before, some behind.
    fn near(&mut self) -> String {
        let from = self.code.saturating_sub(5).max(self.zone);
        let at = from + self.numbers.below(self.code + 5 - from);
        self.promised = self.promised.max(at + 1);
        format!("lab{at}")
    }

    /// Any label of data.
    fn datum(&mut self) -> String {
        let at = self.numbers.below(self.data + 3);
        self.promised_data = self.promised_data.max(at + 1);
        format!("tab{at}")
    }

    /// Any constant; behind its use only where its value does not decide a length.
    fn constant(&mut self, may_be_behind: bool) -> String {
        if self.constants == 0 && !may_be_behind {
            return (2 * self.numbers.below(50)).to_string();
        }
        let more = if may_be_behind { 2 } else { 0 };
        let at = self.numbers.below(self.constants + more);
        self.promised_constants = self.promised_constants.max(at + 1);
        format!("CON{at}")
    }

    fn register(&mut self, letter: char) -> String {
        format!("{letter}{}", self.numbers.below(7))
    }

    /// An operand that any instruction takes as its source.
    fn source(&mut self) -> String {
        match self.numbers.below(12) {
            0 => self.register('d'),
            1 => format!("(a{})", self.numbers.below(7)),
            2 => format!("(a{})+", self.numbers.below(7)),
            3 => format!("-(a{})", self.numbers.below(7)),
            4 => format!("{}(a{})", 2 + 2 * self.numbers.below(60), self.numbers.below(7)),
            5 => format!("{}(a{},d{}.w)", 2 + 2 * self.numbers.below(60), self.numbers.below(7), self.numbers.below(8)),
            6 => self.datum(),
            7 if self.one_in(2) => format!("{}+STEP*{}", self.datum(), self.numbers.below(9)),
            7 => format!("{}+{}", self.datum(), 2 * self.numbers.below(9)),
            8 => format!("{}(pc)", self.near()),
            9 => self.constant(false),
            10 => format!("#{}", self.constant(true)),
            _ => format!("#{}", self.numbers.below(120)),
        }
    }

    fn destination(&mut self) -> String {
        match self.numbers.below(8) {
            0..=3 => self.register('d'),
            4 => format!("(a{})+", self.numbers.below(7)),
            5 => format!("{}(a{})", 2 + 2 * self.numbers.below(60), self.numbers.below(7)),
            6 => self.datum(),
            _ => self.constant(false),
        }
    }

    fn instruction(&mut self) {
        let size = ["w", "l"][self.numbers.below(2)];
        let (data, address) = (self.register('d'), self.register('a'));
        let text = match self.numbers.below(19) {
            0 => format!("move.{size}\t{},{}", self.source(), self.destination()),
            1 => format!("move.b\t{},{}", self.datum(), self.destination()),
            2 => format!("add.{size}\t{},{data}", self.source()),
            3 => format!("cmp.{size}\t{},{data}", self.source()),
            4 => format!("lea\t{},{address}", self.datum()),
            5 => format!("lea\t{},{address}", self.near()),
            6 => format!("jsr\t{}", self.near()),
            7 => format!("jmp\t{}", self.near()),
            8 => format!("pea\t{}", self.datum()),
            9 => format!("movem.{size}\t{},d0/d2-d4", self.datum()),
            10 => format!("movem.{size}\td1/a0,{}", self.datum()),
            11 => format!("btst\t#{},{}", self.numbers.below(8), self.datum()),
            12 => format!("clr.{size}\t{}", self.destination()),
            13 => format!("dbra\t{data},{}", self.near()),
            14 => format!("move.l\t#{},{data}", self.datum()),
            15 => format!("cmp.b\t#{},{}", self.numbers.below(100), self.datum()),
            16 => format!("addq.{size}\t#{},{}", 1 + self.numbers.below(8), self.destination()),
            17 => "nop".into(),
            _ => format!("moveq\t#{},{data}", self.numbers.below(128)),
        };
        // Constants are too large for a word.
        self.line(&if text.contains("#CON") { text.replace(".w\t", ".l\t") } else { text });
    }

    fn branch(&mut self) {
        let condition = CONDITIONS[self.numbers.below(8)];
        let target = self.near();
        let text = match (self.is_motorola(), self.numbers.below(6)) {
            (true, 0) => format!("bra\t{target}"),
            (true, 1) => format!("bsr\t{target}"),
            (true, 2) => format!("bra.w\t{target}"),
            (true, _) => format!("b{condition}\t{target}"),
            (_, 0) => format!("jra\t{target}"),
            (_, 1) => format!("jbsr\t{target}"),
            (_, 2) => format!("b{condition}\t{target}"),
            _ => format!("j{condition}\t{target}"),
        };
        self.line(&text);
    }

    /// A loop with a numeric label.
    fn numeric_loop(&mut self) {
        let forward = self.one_in(2);
        self.text += "1:\n";
        if forward {
            self.line("jeq\t1f");
        }
        for _ in 0..self.numbers.below(40) {
            self.instruction();
        }
        self.line("jne\t1b");
        self.text += "1:\n";
        self.instruction();
    }

    /// Data of an odd length, and of distances. Behind EVEN, blocks and words of distances the judge does not count on what grew before
    /// them, so that it takes some branches over them for longer than they are, and never shortens them again: none reaches over them.
    fn odd_data(&mut self) {
        self.border();
        let _ = writeln!(self.text, "tab{}:", self.data);
        self.data += 1;
        let value = self.numbers.below(250);
        let near = self.near();
        let from = self.zone + self.numbers.below(self.code - self.zone);
        let text = match (self.is_motorola(), self.numbers.below(4)) {
            (true, 3) => format!("dcb.w\t{},{value}", self.numbers.below(30)),
            (true, 0) => format!("dc.b\t{value},1,'x'"),
            (true, 1) => format!("ds.b\t{}", self.numbers.below(90)),
            (true, _) => format!("dc.w\t{value},{near}-lab{from}"),
            (_, 0) => format!(".byte\t{value},1,'x'"),
            (_, 1) => format!(".asciz\t\"{value}\""),
            (..) => format!(".word\t{value},{near}-lab{from}"),
        };
        self.line(&text);
        self.line(if self.is_motorola() { "even" } else { ".even" });
        self.border();
    }

    /// From here on branches reach no label before, and none before reaches a label behind.
    fn border(&mut self) {
        self.keep_promises();
        self.zone = self.code;
        self.code_label();
    }

    fn data(&mut self) {
        let _ = writeln!(self.text, "tab{}:", self.data);
        self.data += 1;
        let value = self.numbers.below(250);
        let (datum, near) = (self.datum(), self.near());
        let constant = self.numbers.below(self.constants.max(1));
        self.promised_constants = self.promised_constants.max(constant + 1);
        // The judge counts a gap as nothing at first, and makes a branch a word for good that has nothing but a gap before its target:
        // as if it went to the next instruction. An instruction behind each gap keeps it from that.
        let text = match (self.is_motorola(), self.numbers.below(7)) {
            (true, 0 | 1) => format!("dc.b\t{value},1,'xyz',0"),
            (true, 2) => format!("dc.l\t{datum},{near}+{value}"),
            (true, 3) => format!("ds.b\t{}\n\tnop", 2 * self.numbers.below(45)),
            (true, 4) => format!("ds.w\t{}\n\tnop", self.numbers.below(50)),
            (true, 5) => format!("dc.w\t{value},-{value}"),
            (true, _) => format!("dc.l\t{value},CON{constant}"),
            (_, 0 | 1) => format!(".byte\t{value},1,'x', 0"),
            (_, 2) => format!(".long\t{datum},{near}+{value}"),
            (_, 3) => format!(".space\t{}\n\tnop", 2 * self.numbers.below(45)),
            (_, 4) => ".ascii\t\"text\"".to_owned(),
            (..) => format!(".long\t{value},CON{constant}"),
        };
        self.line(&text);
    }

    fn define_constant(&mut self) {
        // At the ends of what an absolute short address reaches, and small ones.
        let values = [4, 100, 0x4000, 0x7ffe, 0x8000, 0x12344, 0xffff_8000, 0xffff_fffe];
        let value = if self.one_in(2) { values[self.numbers.below(8)] } else { self.numbers.below(60) * 2 };
        let name = self.constants;
        let _ = if self.is_motorola() {
            writeln!(self.text, "CON{name}\tEQU\t{value}")
        } else {
            writeln!(self.text, "\t.equ\tCON{name}, {value}")
        };
        self.constants += 1;
    }

    fn gap(&mut self) {
        let bytes = 32_000 + 2 * self.numbers.below(800);
        self.line(&format!("{}\t{bytes}\n\tnop", if self.is_motorola() { "ds.b" } else { ".space" }));
    }

    fn program(&mut self) -> String {
        let has_gap = self.one_in(4);
        let items = 30 + self.numbers.below(150);
        let _ = if self.is_motorola() {
            writeln!(self.text, "STEP\tEQU\t2")
        } else {
            writeln!(self.text, "\t.equ\tSTEP, 2")
        };
        self.code_label();
        for item in 0..items {
            match self.numbers.below(24) {
                0 => self.define_constant(),
                1 => self.data(),
                2 => self.odd_data(),
                3..=10 => self.branch(),
                11..=13 => self.code_label(),
                14 if !self.is_motorola() => self.numeric_loop(),
                _ => self.instruction(),
            }
            if has_gap && item == items / 2 {
                self.border();
                self.gap();
                self.border();
            }
        }
        self.keep_promises();
        while self.data < self.promised_data {
            self.data();
        }
        self.keep_promises();
        while self.constants < self.promised_constants {
            self.define_constant();
        }
        while self.data < self.promised_data {
            let _ = writeln!(self.text, "tab{}:", self.data);
            self.data += 1;
        }
        std::mem::take(&mut self.text)
    }

    fn keep_promises(&mut self) {
        while self.code < self.promised {
            self.code_label();
            self.line("rts");
        }
    }
}

fn all_equal(dialect: Dialect, seeds: std::ops::Range<u64>) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (mut wrong, mut taken) = (Vec::new(), 0);
    for seed in seeds {
        let source = Author::new(seed, dialect).program();
        std::fs::write(folder.path().join("a.s"), &source).expect("the folder can be written to");
        let theirs = match judged(folder.path(), "a.s", dialect, 0, &[".text"]) {
            Ok(theirs) => theirs,
            Err(said) => {
                wrong.push(format!("seed {seed}: the judge does not take it: {said}"));
                continue;
            }
        };
        taken += 1;
        let (rows, findings) = listed(folder.path(), "a.s", &["--dialect", dialect.name()]);
        if let Err(text) = compared(&rows, &findings, &theirs) {
            let lines: Vec<_> = text.lines().take(6).collect();
            wrong.push(format!("seed {seed}: {} lines\n{}", source.lines().count(), lines.join("\n")));
        }
    }
    wrong.sort_by_key(String::len);
    assert!(wrong.is_empty(), "{} programs differ, {taken} are taken\n{}", wrong.len(), wrong.join("\n\n"));
}

#[test]
fn random_programs_in_motorola_syntax_have_the_bytes_that_gnu_as_gives_them() {
    all_equal(Dialect::Motorola, 0..110);
}

#[test]
fn random_programs_in_the_dotted_style_have_the_bytes_that_gnu_as_gives_them() {
    all_equal(Dialect::Dotted, 0..110);
}
