//! What a program is to GNU as and ld, and what it is to `reveille listing`.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;
use std::process::Command;

use reveille_source::Dialect;
use reveille_tests::run;
use serde_json::Value;

/// A program in memory: its bytes, and where its labels are.
pub(crate) struct Image {
    pub(crate) bytes: BTreeMap<i64, u8>,
    pub(crate) labels: BTreeMap<String, i64>,
}

fn tool(folder: &Path, name: &str, arguments: &[&str]) -> (bool, String, String) {
    let output = Command::new(format!("m68k-linux-gnu-{name}")).args(arguments).current_dir(folder).output();
    let Ok(output) = output else { panic!("m68k-linux-gnu-{name} is missing: run tests/install-tools.sh system") };
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    (output.status.success(), text(output.stdout), text(output.stderr))
}

/// The image that GNU as and ld make of a file in a folder, placed at an address; or what they said. Sections follow each other
/// in the order of the list, each at an even address. Sections with names of their own are none that objcopy would load.
pub(crate) fn judged(
    folder: &Path,
    file: &str,
    dialect: Dialect,
    origin: i64,
    sections: &[&str],
) -> Result<Image, String> {
    let mode: &[&str] = if dialect == Dialect::Motorola { &["--mri"] } else { &[] };
    // -K tells of a word with a distance that does not fit: for those the judge puts a jump into the program.
    let always = ["--register-prefix-optional", "-m68000", "-K", file, "-o", "judged.o"];
    let (is_taken, _, said) = tool(folder, "as", &[mode, &always].concat());
    if !is_taken || said.contains("didn't fit") {
        return Err(said);
    }
    let (_, undefined, _) = tool(folder, "nm", &["-u", "judged.o"]);
    assert_eq!(undefined, "", "{file} has names that nobody defines");
    let list: String = sections.iter().map(|it| format!(" *({it})")).collect();
    // The linker's own order of sections puts them onto pages.
    let script = format!("SECTIONS {{ .text {origin} : SUBALIGN(2) {{{list} }} /DISCARD/ : {{ *(*) }} }}\n");
    std::fs::write(folder.join("judged.ld"), script).expect("the folder can be written to");
    let (is_linked, _, said) = tool(folder, "ld", &["-T", "judged.ld", "-e", "0", "judged.o", "-o", "judged.elf"]);
    if !is_linked {
        return Err(said);
    }
    let (_, names, _) = tool(folder, "nm", &["judged.elf"]);
    let mut labels = BTreeMap::new();
    for line in names.lines() {
        let [address, kind, name] = line.split_whitespace().collect::<Vec<_>>()[..] else { continue };
        // All but constants.
        if !kind.eq_ignore_ascii_case("a") {
            labels.insert(name.to_owned(), i64::from_str_radix(address, 16).expect("nm prints addresses in hex"));
        }
    }
    let (is_copied, _, said) = tool(
        folder,
        "objcopy",
        &["-O", "binary", "-j", ".text", "--set-section-flags", ".text=alloc,load,code", "judged.elf", "judged.bin"],
    );
    assert!(is_copied, "{said}");
    let bytes = std::fs::read(folder.join("judged.bin")).expect("objcopy writes the bytes");
    Ok(Image { bytes: (origin..).zip(bytes).collect(), labels })
}

/// A row of `reveille listing --format json`.
#[derive(Debug)]
pub(crate) struct Row {
    pub(crate) line: usize,
    pub(crate) address: Option<i64>,
    pub(crate) bytes: String,
    pub(crate) source: String,
}

/// The rows and the findings of `reveille listing --format json`.
pub(crate) fn listed(folder: &Path, file: &str, more: &[&str]) -> (Vec<Row>, Vec<Value>) {
    let output = run(folder, &[&["listing", "--format", "json", file], more].concat());
    assert!(output.code < 2, "{}", output.err);
    let (mut rows, mut findings) = (Vec::new(), Vec::new());
    for line in output.out.lines() {
        let it: Value = serde_json::from_str(line).expect("each line is an object");
        if it.get("finding").is_some() {
            findings.push(it);
            continue;
        }
        assert!(findings.is_empty(), "findings come last");
        let text = |name: &str| it[name].as_str().expect("a row has its texts").to_owned();
        let number = |name: &str| it[name].as_u64().expect("a row has its numbers");
        rows.push(Row {
            line: number("line") as usize,
            address: it["address"].as_i64(),
            bytes: text("bytes"),
            source: text("source"),
        });
    }
    (rows, findings)
}

/// The bytes of a row's text.
pub(crate) fn bytes(text: &str) -> Vec<u8> {
    let byte = |at: usize| u8::from_str_radix(&text[at..at + 2], 16);
    (0..text.len()).step_by(2).map(|at| byte(at).unwrap_or_else(|_| panic!("not known: {text}"))).collect()
}

/// What is different between the rows of a listing and the judge's image.
pub(crate) fn compared(rows: &[Row], findings: &[Value], theirs: &Image) -> Result<(), String> {
    let mut wrong = String::new();
    for finding in findings.iter().filter(|it| it["severity"] == "error") {
        let _ = writeln!(wrong, "line {}: {}", finding["range"]["start"]["line"], finding["message"]);
    }
    let mut ours: BTreeMap<i64, u8> = BTreeMap::new();
    for row in rows.iter().filter(|it| !it.bytes.is_empty()) {
        let Some(address) = row.address else {
            let _ = writeln!(wrong, "line {}: its address is not known: {}", row.line, row.source);
            continue;
        };
        let own = bytes(&row.bytes);
        let same: Vec<u8> =
            (address..).take(own.len()).map(|it| theirs.bytes.get(&it).copied().unwrap_or(0xEE)).collect();
        if own != same {
            let _ = writeln!(
                wrong,
                "line {} at {address:X}: ours {own:02X?}, the judge's {same:02X?}: {}",
                row.line,
                row.source.trim()
            );
        }
        for (at, byte) in (address..).zip(own) {
            if ours.insert(at, byte).is_some() {
                let _ = writeln!(wrong, "line {} lies over another one at {at:X}", row.line);
            }
        }
    }
    let gap = theirs.bytes.iter().find(|(at, byte)| **byte != 0 && !ours.contains_key(at));
    if let Some((at, byte)) = gap {
        let _ = writeln!(wrong, "at {at:X}: ours nothing, the judge's {byte:02X}");
    }
    for (name, address) in &theirs.labels {
        let is_label = |row: &&Row| {
            let rest = row.source.trim_start().strip_prefix(name.as_str());
            rest.is_some_and(|it| !it.starts_with(|it: char| it.is_ascii_alphanumeric() || it == '_'))
        };
        // A name from an expansion has another number there.
        let is_made = name.ends_with(|it: char| it.is_ascii_digit());
        match rows.iter().find(is_label) {
            Some(row) if row.address == Some(*address) => (),
            None if is_made => (),
            found => {
                let found = found.map(|it| it.address);
                let _ = writeln!(wrong, "{name}: ours {found:X?}, the judge's {address:X}");
            }
        }
    }
    if wrong.is_empty() { Ok(()) } else { Err(wrong) }
}
