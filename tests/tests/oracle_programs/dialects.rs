//! Long programs in each dialect, which the program has to recognise by itself, through `reveille listing`.
//!
//! Outside judges: GNU as and ld 2.40, and GNU cpp 12 for the source with C preprocessor lines. Where GNU as cannot take a form of
//! a family, it gets the same program with another form for it: a parallel file, or lines that are turned here.

use std::path::Path;
use std::process::Command;

use reveille_source::{Dialect, File};
use reveille_tests::tests_folder;

use crate::health::broken_trees;
use crate::judge::{compared, judged, listed};

/// What the judge gets for a program.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Turned {
    /// The program as it is.
    No,
    /// The file beside it that says the same with the forms that the judge has.
    Parallel(&'static str),
    /// The program behind the C preprocessor.
    Preprocessed,
    /// The program with the comments, directives and order of operands of the judge.
    FromSgs,
}

struct Program {
    name: &'static str,
    dialect: Dialect,
    /// Sections, in the order in which they are met.
    sections: &'static [&'static str],
    turned: Turned,
}

const THREE: &[&str] = &[".text", ".data", ".bss"];

const PROGRAMS: &[Program] = &[
    Program {
        name: "column.s",
        dialect: Dialect::Motorola,
        sections: &["code", "tables"],
        turned: Turned::Parallel("column.by_hand"),
    },
    Program { name: "bare.s", dialect: Dialect::Dotted, sections: THREE, turned: Turned::No },
    Program {
        name: "percent.s",
        dialect: Dialect::Dotted,
        sections: &[".text", ".rodata", ".data", ".bss"],
        turned: Turned::No,
    },
    Program { name: "mit.s", dialect: Dialect::Mit, sections: THREE, turned: Turned::No },
    Program { name: "ampersand.s", dialect: Dialect::Sgs, sections: THREE, turned: Turned::FromSgs },
    Program { name: "cpp.S", dialect: Dialect::Dotted, sections: THREE, turned: Turned::Preprocessed },
];

/// The directives of the style with `&` that the judge knows with a dot alone.
const DOTLESS: &[&str] = &[
    "text", "data", "bss", "global", "set", "byte", "short", "long", "space", "comm", "lcomm", "even", "string",
    "file", "org", "align", "asciz", "ascii",
];

/// A line of the style with `&` as the judge has it: comments behind `|`, directives with a dot, and what is compared comes last.
pub(crate) fn from_sgs(line: &str) -> String {
    let mut quoted = false;
    let mut before = ' ';
    let end = line.find(|it| {
        quoted ^= it == '"' && before != '\'';
        let is_comment = it == '#' && !quoted && before != '\'';
        before = it;
        is_comment
    });
    let line = line[..end.unwrap_or(line.len())].trim_end();
    let (label, rest) = match line.split_once(':') {
        Some((label, rest)) if !label.contains([' ', '\t', '"']) => (format!("{label}:"), rest),
        _ => (String::new(), line),
    };
    let rest = rest.trim();
    let (operation, operands) = rest.split_once([' ', '\t']).unwrap_or((rest, ""));
    let operands = operands.trim();
    let is_compare = ["cmp.b", "cmp.w", "cmp.l", "cmp", "cmpi.b", "cmpi.w", "cmpi.l", "cmpa.w", "cmpa.l", "cmpm.b"];
    let (dot, operands) = if is_compare.contains(&operation) {
        ("", last_first(operands))
    } else {
        (if DOTLESS.contains(&operation) { "." } else { "" }, operands.to_owned())
    };
    plain_names(&format!("{label}\t{dot}{operation}\t{operands}"))
}

/// A line with other letters for the `%` and `~` inside of names.
fn plain_names(line: &str) -> String {
    let mut out = String::new();
    let mut before = ' ';
    for character in line.chars() {
        match character {
            '%' | '~' if before.is_ascii_alphanumeric() => out.push('_'),
            character => out.push(character),
        }
        before = character;
    }
    out
}

/// Two operands in the other order.
fn last_first(operands: &str) -> String {
    let mut depth = 0;
    let comma = operands.find(|it| {
        depth += i32::from(it == '(') - i32::from(it == ')');
        it == ',' && depth == 0
    });
    let (first, last) = operands.split_at(comma.expect("a comparison has two operands"));
    format!("{},{first}", last[1..].trim_start())
}

/// Copies the programs to a folder, and makes the file that the judge gets.
fn prepared(from: &Path, folder: &Path, program: &Program) -> String {
    for entry in std::fs::read_dir(from).expect("the folder is there").flatten() {
        std::fs::copy(entry.path(), folder.join(entry.file_name())).expect("the folder can be written to");
    }
    let text = std::fs::read_to_string(from.join(program.name)).expect("a source is text");
    let write = |text: String| {
        std::fs::write(folder.join("turned.s"), text).expect("the folder can be written to");
        "turned.s".to_owned()
    };
    match program.turned {
        Turned::No => program.name.to_owned(),
        Turned::Parallel(name) => name.to_owned(),
        Turned::FromSgs => write(text.lines().map(|line| from_sgs(line) + "\n").collect()),
        Turned::Preprocessed => {
            let arguments = ["-E", "-x", "assembler-with-cpp", "-P", program.name, "-o", "turned.s"];
            let status = Command::new("gcc").args(arguments).current_dir(folder).status();
            let Ok(status) = status else { panic!("gcc is missing: run tests/install-tools.sh system") };
            assert!(status.success(), "{} is not taken by the preprocessor", program.name);
            "turned.s".to_owned()
        }
    }
}

#[test]
fn long_programs_of_each_dialect_have_the_bytes_and_labels_that_gnu_as_and_ld_give_them() {
    let from = tests_folder().join("tests/oracle_programs/dialects");
    let mut wrong = String::new();
    for program in PROGRAMS {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let source = prepared(&from, folder.path(), program);
        let text = std::fs::read_to_string(from.join(program.name)).expect("a source is text");
        assert!(text.lines().count() > 200, "{} is not long", program.name);
        let file = File::new(&text, None);
        assert_eq!(file.dialect(), program.dialect, "{}", program.name);
        assert_eq!(broken_trees(&file), Vec::<usize>::new(), "{}", program.name);
        // A judge with a parallel file of the dialect is the same judge.
        let mut theirs = judged(folder.path(), &source, program.dialect, 0, program.sections)
            .unwrap_or_else(|said| panic!("the judge does not take {}:\n{said}", program.name));
        // Names that macros make have other numbers there, and blocks of shared memory lie where the linker has them.
        theirs.labels.retain(|name, _| text.lines().any(|line| line.starts_with(name.as_str())));
        let (rows, findings) = listed(&from, program.name, &[]);
        assert!(theirs.bytes.len() > 400, "{} is small", program.name);
        if let Err(text) = compared(&rows, &findings, &theirs) {
            wrong += &format!("{}:\n{text}\n", program.name);
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}
