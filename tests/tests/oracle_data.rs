//! The bytes of data lines against GNU as: random programs of constants, blocks, gaps and expressions.
//!
//! Outside judge: GNU as 2.40 for the 68000, in its `--mri` mode for Motorola syntax and in its own for the dotted style. What
//! the two modes read differently from the assemblers of the time (ORG is refused, `$1F` is a name in the dotted style) is not
//! in the programs.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use reveille_fixture::Numbers;
use reveille_program::{Analysis, Content, Program, Value, data_runs};
use reveille_source::{Dialect, Encoding, File};

fn tool(name: &str, arguments: &[&str], folder: &Path) -> (bool, String, String) {
    let output = Command::new(format!("m68k-linux-gnu-{name}")).args(arguments).current_dir(folder).output();
    let Ok(output) = output else { panic!("m68k-linux-gnu-{name} is missing: run tests/install-tools.sh system") };
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    (output.status.success(), text(output.stdout), text(output.stderr))
}

/// What a program is to a judge: its bytes and the places of its labels.
#[derive(Debug, PartialEq, Eq)]
struct Image {
    /// Bytes by address; none where the value is not known. A gap that nobody fills is left out.
    bytes: BTreeMap<usize, Option<u8>>,
    labels: BTreeMap<String, i64>,
}

/// The image that GNU as makes, or what it said.
fn judged(source: &str, dialect: Dialect) -> Result<Image, String> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("a.s"), source).expect("the folder can be written to");
    let mode: &[&str] = if dialect == Dialect::Motorola { &["--mri"] } else { &[] };
    let arguments = [mode, &["--register-prefix-optional", "-m68000", "-K", "a.s", "-o", "a.o"]].concat();
    let (is_taken, _, said) = tool("as", &arguments, folder.path());
    // -K tells of a word with a distance that does not fit: for those the judge puts a jump into the program.
    if !is_taken || said.contains("didn't fit") {
        return Err(said);
    }
    let (_, undefined, _) = tool("nm", &["-u", "a.o"], folder.path());
    assert_eq!(undefined, "", "the judge takes a number for a name in\n{source}");
    let (_, names, _) = tool("nm", &["a.o"], folder.path());
    let mut labels = BTreeMap::new();
    for line in names.lines() {
        let [address, kind, name] = line.split_whitespace().collect::<Vec<_>>()[..] else { continue };
        if kind.eq_ignore_ascii_case("t") {
            labels.insert(name.to_owned(), i64::from_str_radix(address, 16).expect("nm prints addresses in hex"));
        }
    }
    let (is_taken, _, said) = tool("objcopy", &["-O", "binary", "-j", ".text", "a.o", "a.bin"], folder.path());
    assert!(is_taken, "{said}");
    let bytes = std::fs::read(folder.path().join("a.bin")).expect("objcopy writes the bytes");
    Ok(Image { bytes: bytes.into_iter().map(Some).enumerate().collect(), labels })
}

fn number(value: Value) -> Option<i64> {
    match value {
        Value::Number(number) | Value::Address(_, number) => Some(number),
        Value::Unknown => None,
    }
}

/// The image that our library makes.
fn ours(source: &str, dialect: Dialect) -> Image {
    let mut program = Program::new();
    let file = File::new(source, Some(dialect));
    program.set_files(vec![(PathBuf::from("a.s"), Content::Text(file, Encoding::Utf8))]);
    let analysis = Analysis::new(&program, &[], None);
    let unit = analysis.units().next().expect("one file is one unit");
    let mut bytes = BTreeMap::new();
    for run in data_runs(&program, unit, &|_| true) {
        let mut at = number(run.address).expect("the address of a table is known");
        for item in &run.items {
            for byte in &item.bytes {
                bytes.insert(at as usize, *byte);
                at += 1;
            }
        }
    }
    let mut labels = BTreeMap::new();
    for definition in unit.definitions() {
        if definition.kind == reveille_program::DefinitionKind::Label {
            let name = program.names().text(definition.symbol).to_string();
            labels.insert(name, number(definition.value).expect("the address of a label is known"));
        }
    }
    Image { bytes, labels }
}

/// Whether the judge refuses a program for nothing but distances that do not fit.
fn is_too_large(said: &str) -> bool {
    let is_distance = |line: &str| line.contains("out of range") || line.contains("too large for field");
    let mut errors = said.lines().filter(|line| line.contains("Error:"));
    errors.all(is_distance)
}

/// What is wrong with our image; nothing if it is that of the judge. None if the judge refuses a distance that does not fit,
/// which it does not cut off as it does numbers: such a program is none.
fn compared(source: &str, dialect: Dialect) -> Option<Result<(), String>> {
    let theirs = match judged(source, dialect) {
        Ok(theirs) => theirs,
        Err(said) if is_too_large(&said) => return None,
        Err(said) => return Some(Err(format!("the judge does not take\n{source}\n{said}"))),
    };
    let ours = ours(source, dialect);
    let mut wrong = String::new();
    if ours.labels != theirs.labels {
        let _ = writeln!(wrong, "labels: ours {:?}, the judge's {:?}", ours.labels, theirs.labels);
    }
    for (at, byte) in &ours.bytes {
        if theirs.bytes.get(at) != Some(byte) {
            let _ = writeln!(wrong, "byte {at}: ours {byte:02x?}, the judge's {:02x?}", theirs.bytes.get(at));
        }
    }
    for (at, byte) in &theirs.bytes {
        if *byte != Some(0) && !ours.bytes.contains_key(at) {
            let _ = writeln!(wrong, "byte {at}: ours none, the judge's {byte:02x?}");
        }
    }
    Some(if wrong.is_empty() { Ok(()) } else { Err(format!("{wrong}in\n{source}")) })
}

/// Makes programs.
struct Author {
    numbers: Numbers,
    dialect: Dialect,
    constants: usize,
    labels: usize,
}

impl Author {
    fn new(seed: u64, dialect: Dialect) -> Self {
        Self { numbers: Numbers::new(seed), dialect, constants: 0, labels: 0 }
    }

    fn literal(&mut self, most: usize) -> String {
        let value = self.numbers.below(most);
        match (self.dialect, self.numbers.below(5)) {
            (Dialect::Motorola, 0) => format!("${value:X}"),
            (Dialect::Motorola, 1) => format!("%{value:b}"),
            (Dialect::Motorola, 2) => format!("@{value:o}"),
            (Dialect::Dotted, 0) => format!("0x{value:x}"),
            (Dialect::Dotted, 1) => format!("0b{value:b}"),
            (Dialect::Dotted, 2) if value > 0 => format!("0{value:o}"),
            _ => value.to_string(),
        }
    }

    /// An expression of literals, constants and distances.
    fn expression(&mut self, depth: usize) -> String {
        if depth == 0 {
            return match self.numbers.below(6) {
                0 if self.constants > 0 => format!("N{}", self.numbers.below(self.constants)),
                1 if self.labels > 1 => {
                    let (one, two) = (self.numbers.below(self.labels), self.numbers.below(self.labels));
                    format!("(L{one}-L{two})")
                }
                2 => self.literal(65_536),
                _ => self.literal(200),
            };
        }
        let left = self.expression(depth - 1);
        let right = self.expression(depth - 1);
        match self.numbers.below(9) {
            0 => format!("{left}+{right}"),
            1 => format!("{left}-{right}"),
            2 => format!("{left}*{}", self.numbers.below(50)),
            // In brackets, so that nothing joins the divisor, which may then be 0.
            3 => format!("({left}/{})", self.numbers.below(20) + 1),
            4 => format!("{left}&{right}"),
            5 if self.dialect == Dialect::Motorola => format!("{left}!{right}"),
            // A bar begins a comment there.
            5 => format!("{left}^{right}"),
            6 => format!("({left})<<{}", self.numbers.below(8)),
            7 => format!("-({left}+{right})"),
            _ => format!("({left}-~{right})"),
        }
    }

    fn operand(&mut self) -> String {
        let depth = self.numbers.below(3);
        self.expression(depth)
    }

    fn text(&mut self) -> String {
        let len = 1 + self.numbers.below(7);
        (0..len).map(|_| self.numbers.pick(&["A", "b", "7", " ", ".", "-", "z"])).collect()
    }

    fn list(&mut self, make: impl Fn(&mut Self) -> String) -> String {
        let count = 1 + self.numbers.below(5);
        (0..count).map(|_| make(self)).collect::<Vec<_>>().join(",")
    }

    fn motorola_line(&mut self) -> String {
        let size = ["b", "w", "l"][self.numbers.below(3)];
        match self.numbers.below(10) {
            0..=3 => {
                let list = self.list(|it| {
                    if it.numbers.below(4) == 0 { format!("'{}'", it.text().replace('-', "''")) } else { it.operand() }
                });
                format!("dc.{size}\t{list}")
            }
            4 => format!("dcb.{size}\t{},{}", self.numbers.below(9), self.operand()),
            5 => format!("ds.{size}\t{}", self.numbers.below(9)),
            6 => "even".to_owned(),
            7 => format!("dc\t{}", self.operand()),
            _ => format!("dc.b\t{}", self.list(Self::operand)),
        }
    }

    fn dotted_line(&mut self) -> String {
        match self.numbers.below(10) {
            0..=4 => {
                let operation = [".byte", ".word", ".short", ".long"][self.numbers.below(4)];
                format!("{operation}\t{}", self.list(Self::operand))
            }
            5 => format!(".ascii\t\"{}\"", self.text()),
            6 => format!(".asciz\t\"{}\",\"{}\"", self.text(), self.text()),
            7 => format!(".space\t{}", self.numbers.below(9)),
            8 => ".even".to_owned(),
            _ => format!(".byte\t{}", self.list(Self::operand)),
        }
    }

    fn program(&mut self) -> String {
        let mut source = String::new();
        let is_motorola = self.dialect == Dialect::Motorola;
        for _ in 0..8 + self.numbers.below(25) {
            match self.numbers.below(6) {
                0 => {
                    let (name, value) = (self.constants, self.operand());
                    let _ = if is_motorola {
                        writeln!(source, "N{name}\tEQU\t{value}")
                    } else {
                        writeln!(source, "\t.equ\tN{name}, {value}")
                    };
                    self.constants += 1;
                }
                1 => {
                    let _ = writeln!(source, "L{}:", self.labels);
                    self.labels += 1;
                }
                _ => {
                    let line = if is_motorola { self.motorola_line() } else { self.dotted_line() };
                    let _ = writeln!(source, "\t{line}");
                }
            }
        }
        let _ = writeln!(source, "Lend:");
        source
    }
}

fn all_equal(dialect: Dialect) {
    let (mut wrong, mut taken) = (Vec::new(), 0);
    for seed in 0..80 {
        let source = Author::new(seed, dialect).program();
        let result = compared(&source, dialect);
        taken += usize::from(result.is_some());
        wrong.extend(result.and_then(Result::err));
    }
    assert!(taken >= 50, "the judge takes {taken} programs only");
    assert!(wrong.is_empty(), "{} programs differ; the shortest:\n{}", wrong.len(), {
        wrong.sort_by_key(String::len);
        wrong[..wrong.len().min(3)].join("\n")
    });
}

#[test]
fn data_in_motorola_syntax_has_the_bytes_that_gnu_as_gives_it() {
    all_equal(Dialect::Motorola);
}

#[test]
fn data_in_the_dotted_style_has_the_bytes_that_gnu_as_gives_it() {
    all_equal(Dialect::Dotted);
}

#[test]
fn chosen_lines_have_the_bytes_that_gnu_as_gives_them() {
    for source in [
        "\tdc.b\t1\n\tdc.w\t2\nLend:\n",
        "\tdc.b\t1\nL0:\tdc.l\t2\nLend:\n",
        "\tdc.b\t1\n\tdcb.w\t2,3\nLend:\n",
        "\tdc.b\t1\n\tds.w\t0\nLend:\n",
        "\tdc.b\t1\n\teven\n\teven\nLend:\n",
        "\tdc.b\t300,-200,-1\nLend:\n",
        "\tdc.w\t70000,-1\nLend:\n",
        "\tdc.l\t'abcde','a','abcd'\nLend:\n",
        "\tdc.w\t'a','abc','ab'\nLend:\n",
        "\tdc.b\t'it''s',0\nLend:\n",
        "\tdc.b\t5!2,7&3,2+3*4,(2+3)*4,-1/2,-7/2,1<<4,256>>4\nLend:\n",
        "A\tEQU\tB+1\nB\tEQU\t5\n\tdc.b\tA,B\nLend:\n",
        "L0:\tdc.b\t1,2,3\nL1:\tdc.b\tL1-L0,(L1-L0)*2\nLend:\n",
        "\tdc.b\t1\tremark\n\tdc.b\t2 remark, with a comma\nLend:\n",
        "\tIFEQ\t1-1\n\tdc.b\t1\n\tELSEC\n\tdc.b\t2\n\tENDC\n\tIFNE\t0\n\tdc.b\t3\n\tENDC\nLend:\n",
        "\tIFGT\t2\n\tIFLT\t2\n\tdc.b\t1\n\tENDC\n\tdc.b\t2\n\tENDC\nLend:\n",
    ] {
        assert_eq!(compared(source, Dialect::Motorola), Some(Ok(())));
    }
}

#[test]
fn a_name_that_set_gives_again_has_its_value_of_the_moment_in_data() {
    let wrong = compared("N\tSET\t1\n\tdc.b\tN\nN\tSET\tN+1\n\tdc.b\tN\nLend:\n", Dialect::Motorola);
    assert_eq!(wrong, Some(Ok(())));
}

#[test]
fn lines_that_lay_down_nothing_put_nothing_into_a_table() {
    let wrong = compared("L0:\tdc.b\t1\nA\tEQU\t5\nB\tSET\t6\n\tdc.b\t2,3\nLend:\n", Dialect::Motorola);
    assert_eq!(wrong, Some(Ok(())));
}
