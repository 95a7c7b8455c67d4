//! A program without a dialect as text: in a dialect, and as one of many people would lay it out.

use reveille_source::Dialect;

use super::author::{Abstract, Code, Item, MACRO, Operand, Radix, Register};

/// How a text is laid out.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Style {
    pub(crate) name: &'static str,
    pub(crate) dialect: Dialect,
    /// Registers with a `%` before them, in the dotted style.
    pub(crate) percent: bool,
    /// Blanks before the operation.
    pub(crate) indent: &'static str,
    /// Blanks before the operands.
    pub(crate) gap: &'static str,
    /// Upper case wherever the dialect takes both.
    pub(crate) upper: bool,
    /// Labels with a colon in Motorola syntax.
    pub(crate) colons: bool,
    /// Labels on lines of their own.
    pub(crate) alone: bool,
    /// The mark of comments behind operands; none for a comment without a mark.
    pub(crate) mark: Option<&'static str>,
    /// What begins a line that is a comment.
    pub(crate) line_mark: &'static str,
    pub(crate) line_end: &'static str,
    /// A form feed after every so many lines, if not 0.
    pub(crate) page: usize,
    /// What stands behind the last line end.
    pub(crate) tail: &'static str,
    /// The last line has no end.
    pub(crate) cut: bool,
    /// Columns of a listing stand before the source.
    pub(crate) listing: bool,
}

const MOTOROLA: Style = Style {
    name: "motorola",
    dialect: Dialect::Motorola,
    percent: false,
    indent: "\t",
    gap: "\t",
    upper: false,
    colons: false,
    alone: false,
    mark: Some(";"),
    line_mark: "* ",
    line_end: "\n",
    page: 0,
    tail: "",
    cut: false,
    listing: false,
};
const DOTTED: Style =
    Style { name: "dotted", dialect: Dialect::Dotted, colons: true, mark: Some("| "), line_mark: "| ", ..MOTOROLA };
const PERCENT: Style = Style { name: "dotted with %", percent: true, line_mark: "# ", ..DOTTED };
const MIT: Style = Style { name: "mit", dialect: Dialect::Mit, ..DOTTED };
const SGS: Style =
    Style { name: "sgs", dialect: Dialect::Sgs, percent: true, mark: Some("# "), line_mark: "# ", ..DOTTED };

/// Those that GNU as is asked about: one of each kind.
pub(crate) const JUDGED: [Style; 5] = [MOTOROLA, DOTTED, PERCENT, MIT, SGS];

/// All others.
pub(crate) const OTHERS: &[Style] = &[
    Style { name: "upper case, blanks, no marks", upper: true, indent: "         ", gap: "  ", mark: None, ..MOTOROLA },
    Style { name: "one blank, colons, CRLF", indent: " ", gap: " ", colons: true, line_end: "\r\n", ..MOTOROLA },
    Style { name: "labels alone, CR, stars", alone: true, line_end: "\r", mark: Some("* "), ..MOTOROLA },
    Style { name: "pages and an end mark", page: 50, tail: "\x1a", upper: true, ..MOTOROLA },
    Style { name: "filled up, no last end", tail: "\x1a\x1a\x1a", cut: true, mark: None, ..MOTOROLA },
    Style { name: "a listing", listing: true, ..MOTOROLA },
    Style { name: "a listing of upper case, no marks", listing: true, upper: true, mark: None, page: 58, ..MOTOROLA },
    Style { name: "a listing with CRLF and blanks", listing: true, indent: "        ", line_end: "\r\n", ..MOTOROLA },
    Style { name: "dotted, column one", indent: "", gap: " ", alone: true, ..DOTTED },
    Style { name: "dotted, CRLF, stars", line_end: "\r\n", mark: Some("* "), line_mark: "* ", cut: true, ..DOTTED },
    Style { name: "dotted, C comments", mark: Some("// "), line_mark: "// ", indent: "    ", ..DOTTED },
    Style { name: "dotted, semicolons", mark: Some("; "), line_mark: "; ", page: 40, ..DOTTED },
    Style { name: "dotted, a listing", listing: true, ..DOTTED },
    Style { name: "dotted with %, blanks, CR", line_end: "\r", indent: "        ", gap: " ", ..PERCENT },
    Style { name: "mit, column one, end mark", indent: "", gap: " ", alone: true, tail: "\x1a", ..MIT },
    Style { name: "mit, CRLF, no last end", line_end: "\r\n", cut: true, mark: Some("|"), ..MIT },
    Style { name: "mit, a listing", listing: true, line_mark: "# ", ..MIT },
    Style { name: "sgs, blanks, CRLF", line_end: "\r\n", indent: "    ", gap: " ", mark: Some("#"), ..SGS },
    Style { name: "sgs, labels alone, pages", alone: true, page: 60, cut: true, ..SGS },
];

/// What stands behind the operands of some lines.
const REMARKS: [&str; 4] = ["keep it", "of the day, not the hour", "see `tide`", "(once)"];

struct Renderer {
    style: Style,
    lines: Vec<String>,
    /// A label that waits for its line.
    label: Option<String>,
    /// The values of constants, for the dialect that has no conditionals.
    constants: Vec<(String, i64)>,
    body: Vec<Code>,
}

/// The lines of a program.
pub(crate) fn lines(program: &Abstract, style: Style) -> Vec<String> {
    let mut it = Renderer { style, lines: Vec::new(), label: None, constants: Vec::new(), body: program.body.clone() };
    if it.is_unix() {
        it.directive("text", "");
    }
    it.definition();
    it.items(&program.items);
    it.lines
}

impl Renderer {
    fn is_unix(&self) -> bool {
        self.style.dialect.is_unix()
    }

    /// Macros, conditionals and repetitions are left to others.
    fn is_plain(&self) -> bool {
        self.style.dialect == Dialect::Sgs
    }

    fn cased(&self, word: &str) -> String {
        if self.style.upper { word.to_uppercase() } else { word.to_owned() }
    }

    fn line(&mut self, operation: &str, operands: &str) {
        let style = self.style;
        let label = match self.label.take() {
            Some(label) if style.alone => {
                self.lines.push(label);
                String::new()
            }
            label => label.unwrap_or_default(),
        };
        let gap = if operands.is_empty() { "" } else { style.gap };
        let indent = if label.is_empty() || !style.indent.is_empty() { style.indent } else { " " };
        let mut text = format!("{label}{indent}{operation}{gap}{operands}");
        let count = self.lines.len();
        if count % 5 == 2 && !operands.is_empty() {
            let remark = REMARKS[count / 5 % REMARKS.len()];
            text +=
                &format!("{}{}{remark}", if count.is_multiple_of(2) { "\t" } else { "  " }, style.mark.unwrap_or(""));
        }
        self.lines.push(text);
    }

    fn directive(&mut self, name: &str, operands: &str) {
        let dot = if self.is_unix() && !self.is_plain() { "." } else { "" };
        let operation = format!("{dot}{}", self.cased(name));
        self.line(&operation, operands);
    }

    fn definition(&mut self) {
        let body: Vec<Code> = self.body.clone();
        // The name of a macro and of a constant stands on the directive's line.
        let alone = std::mem::take(&mut self.style.alone);
        match self.style.dialect {
            Dialect::Sgs => {}
            Dialect::Motorola => {
                self.label = Some(MACRO.to_owned());
                self.line(&self.cased("macro"), "");
            }
            _ => self.directive("macro", &format!("{MACRO} from, to")),
        }
        if !self.is_plain() {
            for code in &body {
                self.code(code, &[]);
            }
            self.directive("endm", "");
        }
        self.style.alone = alone;
    }

    fn items(&mut self, items: &[Item]) {
        for item in items {
            self.item(item);
        }
    }

    fn item(&mut self, item: &Item) {
        let is_unix = self.is_unix();
        match item {
            Item::Label(name) => self.label = Some(format!("{name}{}", if self.style.colons { ":" } else { "" })),
            Item::Code(code) => self.code(code, &[]),
            Item::Data(size, data) => {
                let values: Vec<String> = data.iter().map(|it| self.number(it.0, it.1)).collect();
                let name = match (is_unix, size) {
                    (true, 1) => "byte",
                    (true, 2) if self.is_plain() => "short",
                    (true, 2) => "word",
                    (true, _) => "long",
                    (false, 1) => "dc.b",
                    (false, 2) => "dc.w",
                    (false, _) => "dc.l",
                };
                self.directive(name, &values.join(if is_unix && *size == 2 { ", " } else { "," }));
            }
            Item::Places(names) => self.directive(if is_unix { "long" } else { "dc.l" }, &names.join(",")),
            Item::Text(text) if !is_unix => self.directive("dc.b", &format!("'{text}',0")),
            Item::Text(text) => {
                self.directive(if self.is_plain() { "string" } else { "asciz" }, &format!("\"{text}\""));
            }
            Item::Space(count) => self.directive(if is_unix { "space" } else { "ds.b" }, &count.to_string()),
            Item::Even => self.directive("even", ""),
            Item::Equate(name, value, radix) => {
                self.constants.push((name.clone(), *value));
                let value = self.number(*value, *radix);
                match self.style.dialect {
                    Dialect::Motorola => {
                        self.label = Some(name.clone());
                        let alone = std::mem::take(&mut self.style.alone);
                        self.line(&self.cased("equ"), &value);
                        self.style.alone = alone;
                    }
                    Dialect::Sgs => self.directive("set", &format!("{name},{value}")),
                    _ => self.directive("equ", &format!("{name}, {value}")),
                }
            }
            Item::Remark(text) => self.lines.push(format!("{}{text}", self.style.line_mark)),
            Item::Blank => self.lines.push(String::new()),
            Item::If(name, value, yes, no) => self.conditional(name, *value, yes, no),
            Item::Call(from, to) if self.is_plain() => {
                for code in self.body.clone() {
                    self.code(&code, &[from, to]);
                }
            }
            Item::Call(from, to) => {
                let operands = format!("{},{}", self.operand(from, &[]), self.operand(to, &[]));
                // A macro's name is a name: its case matters.
                self.line(MACRO, &operands);
            }
            Item::Repeat(count, items) if self.is_plain() => (0..*count).for_each(|_| self.items(items)),
            Item::Repeat(count, items) => {
                self.directive("rept", &count.to_string());
                self.items(items);
                self.directive("endr", "");
            }
        }
    }

    fn conditional(&mut self, name: &str, value: i64, yes: &[Item], no: &[Item]) {
        if self.is_plain() {
            let is_so = self.constants.iter().any(|it| it.0 == name && it.1 == value);
            return self.items(if is_so { yes } else { no });
        }
        if self.is_unix() {
            self.directive("if", &format!("{name} == {value}"));
        } else {
            self.directive("ifeq", &format!("{name}-{value}"));
        }
        self.items(yes);
        self.directive("else", "");
        self.items(no);
        self.directive(if self.is_unix() { "endif" } else { "endc" }, "");
    }

    fn code(&mut self, code: &Code, arguments: &[&Operand]) {
        let name = match (self.style.dialect, code.name) {
            (Dialect::Sgs, "move") => "mov",
            (Dialect::Sgs, "movem") => "movm",
            (Dialect::Sgs, "moveq") => "movq",
            (_, name) => name,
        };
        let size = code.size.map_or(String::new(), |size| match self.style.dialect {
            Dialect::Mit => size.to_string(),
            _ => format!(".{size}"),
        });
        let mut operands: Vec<String> = code.operands.iter().map(|it| self.operand(it, arguments)).collect();
        if code.name == "cmp" && self.style.dialect.syntax().compare_is_reversed {
            operands.reverse();
        }
        let operation = self.cased(&format!("{name}{size}"));
        let comma = if self.is_unix() && self.lines.len().is_multiple_of(3) { ", " } else { "," };
        self.line(&operation, &operands.join(comma));
    }

    fn register(&self, register: Register) -> String {
        let percent = if self.style.percent { "%" } else { "" };
        self.cased(&format!("{percent}{}{}", register.0, register.1))
    }

    fn number(&self, value: i64, radix: Radix) -> String {
        let digits = match radix {
            Radix::Ten => value.to_string(),
            Radix::Sixteen => format!("{value:x}"),
            Radix::Two => format!("{value:b}"),
            Radix::Eight => format!("{value:o}"),
        };
        let prefix = match (radix, self.is_unix()) {
            (Radix::Ten, _) => "",
            (Radix::Sixteen, true) => "0x",
            (Radix::Two, true) => "0b",
            (Radix::Eight, true) => "0",
            (Radix::Sixteen, false) => "$",
            (Radix::Two, false) => "%",
            (Radix::Eight, false) => "@",
        };
        format!("{prefix}{}", if self.is_unix() { digits } else { self.cased(&digits) })
    }

    fn operand(&self, operand: &Operand, arguments: &[&Operand]) -> String {
        let a = |number: usize| self.register(('a', number));
        let is_mit = self.style.dialect == Dialect::Mit;
        let pc = self.cased(if self.style.percent { "%pc" } else { "pc" });
        let immediate = if self.style.dialect == Dialect::Sgs { "&" } else { "#" };
        match operand {
            Operand::Register(register) => self.register(*register),
            Operand::At(number) if is_mit => format!("{}@", a(*number)),
            Operand::After(number) if is_mit => format!("{}@+", a(*number)),
            Operand::Before(number) if is_mit => format!("{}@-", a(*number)),
            Operand::Offset(value, number) if is_mit => format!("{}@({value})", a(*number)),
            Operand::Index(value, number, index, size) if is_mit => {
                format!("{}@({value},{}:{size})", a(*number), self.register(*index))
            }
            Operand::Relative(name) if is_mit => format!("{pc}@({name})"),
            Operand::At(number) => format!("({})", a(*number)),
            Operand::After(number) => format!("({})+", a(*number)),
            Operand::Before(number) => format!("-({})", a(*number)),
            Operand::Offset(value, number) => format!("{value}({})", a(*number)),
            Operand::Index(value, number, index, size) => {
                format!("{value}({},{}.{})", a(*number), self.register(*index), self.cased(&size.to_string()))
            }
            Operand::Name(name) => name.clone(),
            Operand::Relative(name) => format!("{name}({pc})"),
            Operand::Number(value, radix) => format!("{immediate}{}", self.number(*value, *radix)),
            Operand::Constant(name) => format!("{immediate}{name}"),
            Operand::Character(character) => format!("{immediate}'{character}'"),
            Operand::List(parts) => {
                let part = |(from, to): &(Register, Register)| {
                    let (from, to) = (self.register(*from), self.register(*to));
                    if from == to { from } else { format!("{from}-{to}") }
                };
                parts.iter().map(part).collect::<Vec<_>>().join("/")
            }
            Operand::Special(name) => self.cased(&format!("{}{name}", if self.style.percent { "%" } else { "" })),
            Operand::Parameter(at) => match (arguments.get(*at), self.is_unix()) {
                (Some(argument), _) => self.operand(argument, &[]),
                (None, true) => ["\\from", "\\to"][*at].to_owned(),
                (None, false) => ["\\1", "\\2"][*at].to_owned(),
            },
        }
    }
}
