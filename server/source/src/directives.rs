//! The directive table: one row a directive, with what it means and where it may stand.

use std::collections::HashMap;
use std::sync::LazyLock;

/// What a directive means to a program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Meaning {
    /// Gives a name a value, once.
    Equate,
    /// Gives a name a value that may be given again.
    Set,
    /// Names a register or a register list.
    RegisterName,
    /// Lays down constants; the size is the suffix, a word without one.
    Constants,
    /// Lays down constants of a fixed size in bytes.
    ConstantsOf(u8),
    /// Lays down floating-point numbers of a fixed size in bytes.
    Floats(u8),
    /// Lays down the text of its strings and a byte of zero after each if `true`.
    Strings(bool),
    /// Lays down a count of equal items.
    Block,
    /// Lays down a count of equal items; their size in bytes, one without it, stands before the value.
    Fill,
    /// Reserves a count of items; the size is the suffix, a word without one.
    Reserve,
    /// Reserves a count of bytes.
    ReserveBytes,
    /// Lays down the bytes of a file.
    IncludeBytes,
    /// Aligns to an even address.
    Even,
    /// Aligns to a multiple; by bytes or by a power of two, as the assembler has it.
    Align,
    /// Aligns to a power of two.
    AlignPower,
    /// Aligns to an offset from a multiple.
    AlignOffset,
    /// Sets the location.
    Origin,
    /// Starts or continues a section of a name.
    Section,
    /// Starts or continues a section of the directive's own name.
    NamedSection,
    /// From here on only offsets are defined.
    Offsets,
    /// Defines a name as the next offset of a structure and steps on.
    StructureField,
    /// Sets the next offset of a structure.
    StructureStart,
    /// Reads another source file here.
    Include,
    /// Starts a macro's definition.
    Macro,
    /// Ends a macro's definition.
    EndMacro,
    /// Leaves a macro's expansion.
    LeaveMacro,
    /// Starts lines that are repeated.
    Repeat,
    /// Ends lines that are repeated.
    EndRepeat,
    /// Starts conditional lines.
    If(Condition),
    /// Turns to the other case.
    Else,
    /// Turns to the other case under a condition of its own.
    ElseIf,
    /// Ends conditional lines.
    EndIf,
    /// Ends the source.
    End,
    /// Makes names known to other modules.
    Export,
    /// Names are another module's.
    Import,
    /// Reserves a block that modules share by name.
    Common,
    /// Gives names that each expansion of a macro has its own of.
    LocalNames,
    /// Makes a message.
    Message,
    /// Makes an error.
    Error,
    /// Tells the object file something of names; nothing for the program.
    Attribute,
    /// Steers the listing or the object file; nothing for the program.
    Listing,
}

/// The test of a conditional.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Condition {
    /// The value is not zero.
    True,
    /// The value is zero.
    Zero,
    /// The value is not zero, by its name a comparison.
    NotZero,
    /// The value is above zero.
    Positive,
    /// The value is at or above zero.
    NotNegative,
    /// The value is below zero.
    Negative,
    /// The value is at or below zero.
    NotPositive,
    /// Two texts are equal.
    Same,
    /// Two texts differ.
    Different,
    /// A name is defined.
    Defined,
    /// A name is not defined.
    NotDefined,
    /// A text is empty.
    Blank,
    /// A text is not empty.
    NotBlank,
}

/// One directive.
#[derive(Clone, Copy, Debug)]
pub struct Directive {
    /// In lower case, without the dot that the dotted style puts before it.
    pub name: &'static str,
    /// What it means.
    pub meaning: Meaning,
    /// Takes no operands: what follows is comment.
    pub bare: bool,
    /// Is read as the operation when it stands in column one, in Motorola syntax too (it never has a label of its own).
    pub column_one: bool,
    /// Is also what people call their things: without a dot, in column one, it is a label.
    pub soft: bool,
    /// Unix families without dots have it too: without a dot it is no sign of Motorola syntax.
    pub is_unix: bool,
    /// Has its dot always: the word without it is anybody's.
    pub needs_dot: bool,
    /// What it does, in one line of our own.
    pub summary: &'static str,
}

/// `flags`: `b` bare, `1` column one, `s` soft, `u` of Unix families too, `d` with a dot only.
const fn row(name: &'static str, meaning: Meaning, flags: &str, summary: &'static str) -> Directive {
    let (bytes, mut at) = (flags.as_bytes(), 0);
    let (mut bare, mut column_one, mut soft, mut is_unix, mut needs_dot) = (false, false, false, false, false);
    while at < bytes.len() {
        match bytes[at] {
            b'b' => bare = true,
            b'1' => column_one = true,
            b'u' => is_unix = true,
            b'd' => needs_dot = true,
            _ => soft = true,
        }
        at += 1;
    }
    Directive { name, meaning, bare, column_one, soft, is_unix, needs_dot, summary }
}

use Condition as C;
use Meaning as M;

/// Every directive. Sources: `*` the CPU maker's resident assembler conventions (from memory), else *Using as* 2.40 chapter 7
/// and 9.22.5, else common practice, no source.
#[rustfmt::skip]
pub static DIRECTIVES: &[Directive] = &[
    row("equ", M::Equate, "s", "gives a name a value, once"),
    row("set", M::Set, "s", "gives a name a value that may change later"),
    row("reg", M::RegisterName, "s", "names a register list for MOVEM"),
    row("equr", M::RegisterName, "s", "names a register"),
    row("dc", M::Constants, "", "lays down constants of the suffix's size"),
    row("byte", M::ConstantsOf(1), "su", "lays down bytes"),
    row("word", M::ConstantsOf(2), "su", "lays down words of 16 bits"),
    row("short", M::ConstantsOf(2), "su", "lays down words of 16 bits"),
    row("hword", M::ConstantsOf(2), "s", "lays down words of 16 bits"),
    row("long", M::ConstantsOf(4), "su", "lays down long words of 32 bits"),
    row("int", M::ConstantsOf(4), "su", "lays down long words of 32 bits"),
    row("quad", M::ConstantsOf(8), "s", "lays down items of 64 bits"),
    row("ascii", M::Strings(false), "su", "lays down text"),
    row("asciz", M::Strings(true), "su", "lays down text and a zero byte"),
    row("string", M::Strings(true), "su", "lays down text and a zero byte"),
    row("dcb", M::Block, "", "lays down a count of equal constants"),
    row("blk", M::Block, "", "lays down a count of equal constants"),
    row("fill", M::Fill, "s", "lays down a count of equal items"),
    row("ds", M::Reserve, "", "reserves a count of items"),
    row("space", M::ReserveBytes, "su", "reserves bytes"),
    row("skip", M::ReserveBytes, "su", "reserves bytes"),
    row("zero", M::ReserveBytes, "su", "lays down bytes of zero"),
    row("incbin", M::IncludeBytes, "1", "lays down the bytes of a file"),
    row("even", M::Even, "b1u", "aligns to an even address"),
    row("align", M::Align, "su", "aligns to a multiple"),
    row("balign", M::Align, "s", "aligns to a multiple of bytes"),
    row("cnop", M::AlignOffset, "1", "aligns to an offset from a multiple"),
    row("org", M::Origin, "1", "sets the location"),
    row("rorg", M::Origin, "1", "sets the location of position-independent code"),
    row("section", M::Section, "1", "starts or continues a section"),
    row("psect", M::Section, "", "starts or continues a section"),
    row("text", M::NamedSection, "bsu", "continues the section of code"),
    row("data", M::NamedSection, "bsu", "continues the section of data"),
    row("bss", M::NamedSection, "bsu", "continues the section of reserved memory"),
    row("code", M::NamedSection, "bs", "continues the section of code"),
    row("offset", M::Offsets, "s", "from here on DS lines only define offsets"),
    row("rs", M::StructureField, "s", "defines the next offset of a structure"),
    row("so", M::StructureField, "s", "defines the next offset of a structure"),
    row("rsset", M::StructureStart, "s", "sets the next offset of a structure"),
    row("rsreset", M::StructureStart, "bs", "sets the next offset of a structure to zero"),
    row("include", M::Include, "1", "reads another source file here"),
    row("macro", M::Macro, "s", "starts the definition of a macro"),
    row("endm", M::EndMacro, "b1", "ends the definition of a macro"),
    row("mexit", M::LeaveMacro, "b1", "leaves the expansion of a macro"),
    row("exitm", M::LeaveMacro, "b1", "leaves the expansion of a macro"),
    row("rept", M::Repeat, "1", "repeats the lines to ENDR"),
    row("irp", M::Repeat, "1", "repeats the lines to ENDR for each of a list"),
    row("irpc", M::Repeat, "1", "repeats the lines to ENDR for each character"),
    row("endr", M::EndRepeat, "b1", "ends repeated lines"),
    row("if", M::If(C::True), "1", "reads the lines to ENDC if the value is not zero"),
    row("ifeq", M::If(C::Zero), "1", "reads the lines to ENDC if the value is zero"),
    row("ifne", M::If(C::NotZero), "1", "reads the lines to ENDC if the value is not zero"),
    row("ifgt", M::If(C::Positive), "1", "reads the lines to ENDC if the value is above zero"),
    row("ifge", M::If(C::NotNegative), "1", "reads the lines to ENDC if the value is at or above zero"),
    row("iflt", M::If(C::Negative), "1", "reads the lines to ENDC if the value is below zero"),
    row("ifle", M::If(C::NotPositive), "1", "reads the lines to ENDC if the value is at or below zero"),
    row("ifc", M::If(C::Same), "1", "reads the lines to ENDC if two texts are equal"),
    row("ifnc", M::If(C::Different), "1", "reads the lines to ENDC if two texts differ"),
    row("ifd", M::If(C::Defined), "1", "reads the lines to ENDC if a name is defined"),
    row("ifnd", M::If(C::NotDefined), "1", "reads the lines to ENDC if a name is not defined"),
    row("ifdef", M::If(C::Defined), "1", "reads the lines to ENDC if a name is defined"),
    row("ifndef", M::If(C::NotDefined), "1", "reads the lines to ENDC if a name is not defined"),
    row("ifb", M::If(C::Blank), "1", "reads the lines to ENDC if a text is empty"),
    row("ifnb", M::If(C::NotBlank), "1", "reads the lines to ENDC if a text is not empty"),
    row("else", M::Else, "b1", "turns to the other case"),
    row("elsec", M::Else, "b1", "turns to the other case"),
    row("elseif", M::ElseIf, "1", "turns to the other case, under a condition"),
    row("elif", M::ElseIf, "1", "turns to the other case, under a condition"),
    row("endc", M::EndIf, "b1", "ends conditional lines"),
    row("endif", M::EndIf, "b1", "ends conditional lines"),
    row("end", M::End, "1", "ends the source; what follows is not read"),
    row("xdef", M::Export, "1", "makes names known to other modules"),
    row("global", M::Export, "su", "makes names known to other modules"),
    row("globl", M::Export, "su", "makes names known to other modules"),
    row("public", M::Export, "s", "makes names known to other modules"),
    row("weak", M::Export, "s", "makes names known to other modules, second to another definition"),
    row("xref", M::Import, "1", "names that another module defines"),
    row("extern", M::Import, "su", "names that another module defines"),
    row("comm", M::Common, "su", "reserves a block that modules share by name"),
    row("lcomm", M::Common, "su", "reserves a block"),
    row("fail", M::Error, "s", "makes an error"),
    row("error", M::Error, "s", "makes an error"),
    row("warning", M::Message, "s", "makes a warning"),
    row("print", M::Message, "s", "makes a message"),
    row("message", M::Message, "s", "makes a message"),
    row("idnt", M::Listing, "s", "names the module"),
    row("ident", M::Listing, "su", "names the module"),
    row("nam", M::Listing, "s", "names the module"),
    row("opt", M::Listing, "s", "sets options of the assembler"),
    row("list", M::Listing, "bs", "turns the listing on"),
    row("nolist", M::Listing, "bs", "turns the listing off"),
    row("nol", M::Listing, "bs", "turns the listing off"),
    row("nlist", M::Listing, "bs", "turns the listing off"),
    row("page", M::Listing, "bs", "starts a page of the listing"),
    row("eject", M::Listing, "bs", "starts a page of the listing"),
    row("spc", M::Listing, "s", "leaves blank lines in the listing"),
    row("ttl", M::Listing, "s", "sets the listing's title"),
    row("title", M::Listing, "s", "sets the listing's title"),
    row("sbttl", M::Listing, "s", "sets the listing's subtitle"),
    row("llen", M::Listing, "s", "sets the listing's width"),
    row("plen", M::Listing, "s", "sets the listing's page length"),
    row("format", M::Listing, "s", "lays out the listing's columns"),
    row("noformat", M::Listing, "bs", "leaves the listing's columns as they are"),
    row("noobj", M::Listing, "bs", "makes no object file"),
    row("mask2", M::Listing, "bs", "an option of the resident assembler"),
    row("comline", M::Listing, "s", "reserves bytes for a command line"),
    row("cpu", M::Listing, "s", "names the processor"),
    row("mc68000", M::Listing, "bs", "names the processor"),
    row("mc68010", M::Listing, "bs", "names the processor"),
    row("file", M::Listing, "sud", "names the source for the symbol table"),
    row("line", M::Listing, "sud", "gives a line number to the symbol table"),
    row("type", M::Attribute, "sud", "says what a symbol is"),
    row("size", M::Attribute, "sud", "says how long a symbol is"),
    row("hidden", M::Attribute, "sud", "keeps a symbol inside its module"),
    row("float", M::Floats(4), "su", "lays down floating-point numbers of 32 bits"),
    row("single", M::Floats(4), "su", "lays down floating-point numbers of 32 bits"),
    row("double", M::Floats(8), "su", "lays down floating-point numbers of 64 bits"),
    row("extend", M::Floats(12), "su", "lays down floating-point numbers of 96 bits"),
    row("packed", M::Floats(12), "su", "lays down packed decimal numbers of 96 bits"),
    row("p2align", M::AlignPower, "sud", "aligns to a power of two"),
    row("use", M::Include, "s", "reads another source file here"),
    row("vsect", M::NamedSection, "bs", "continues the section of variables"),
    row("ends", M::Listing, "bs", "ends a section or a structure"),
    row("previous", M::Listing, "bsud", "goes back to the section before"),
    row("pag", M::Listing, "bs", "starts a page of the listing"),
    row("psize", M::Listing, "sud", "sets the size of the listing's pages"),
    row("incdir", M::Listing, "s", "names a folder of included files"),
    row("inform", M::Message, "s", "makes a message"),
    row("chip", M::Listing, "sud", "names the processor"),
    row("arch", M::Listing, "sud", "names the processor"),
    row("cfi", M::Listing, "sud", "tells a debugger of the stack"),
    row("loc", M::Listing, "sud", "gives a line number to a debugger"),
    row("stabs", M::Listing, "sud", "tells a debugger of a symbol"),
    row("stabn", M::Listing, "sud", "tells a debugger of a symbol"),
    row("stabd", M::Listing, "sud", "tells a debugger of a symbol"),
    row("def", M::Listing, "sud", "begins what a debugger is told of a symbol"),
    row("val", M::Listing, "sud", "tells a debugger of a symbol"),
    row("scl", M::Listing, "sud", "tells a debugger of a symbol"),
    row("tag", M::Listing, "sud", "tells a debugger of a symbol"),
    row("dim", M::Listing, "sud", "tells a debugger of a symbol"),
    row("endef", M::Listing, "bsud", "ends what a debugger is told of a symbol"),
    row("ln", M::Listing, "sud", "gives a line number to a debugger"),
    row("version", M::Listing, "sud", "notes a version in the object file"),
    row("protected", M::Attribute, "sud", "keeps a symbol inside its module"),
    row("internal", M::Attribute, "sud", "keeps a symbol inside its module"),
    row("altmacro", M::Listing, "bsud", "reads macros in another way"),
    row("noaltmacro", M::Listing, "bsud", "reads macros in the usual way"),
    row("swbeg", M::Listing, "su", "tells a debugger of a jump table"),
    row("local", M::LocalNames, "s", "names that each expansion of a macro has its own of"),
];

static INDEX: LazyLock<HashMap<&'static str, usize>> =
    LazyLock::new(|| DIRECTIVES.iter().enumerate().map(|(at, it)| (it.name, at)).collect());

/// The place in [`DIRECTIVES`] of a name, in either case, with or without its dot.
#[must_use]
pub fn directive_index(name: &str) -> Option<usize> {
    let name = name.strip_prefix('.').unwrap_or(name);
    INDEX.get(name.to_ascii_lowercase().as_str()).copied()
}

#[cfg(test)]
mod tests {
    use super::{DIRECTIVES, INDEX};

    #[test]
    fn no_directive_stands_twice_in_the_table() {
        assert_eq!(INDEX.len(), DIRECTIVES.len());
    }
}
