//! The house rules that a compiler does not hold: who may know whom, which licences, what is not in the repository.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use reveille_tests::tests_folder;
use serde_json::Value;

fn root() -> PathBuf {
    tests_folder().parent().expect("the tests are in the repository").to_path_buf()
}

/// What cargo says of the workspace; an error is its message.
fn asked(arguments: &[&str]) -> Result<Value, String> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let mut command = Command::new(cargo);
    command.args(["metadata", "--format-version", "1"]).args(arguments).current_dir(root());
    let output = command.output().expect("cargo starts");
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    Ok(serde_json::from_slice(&output.stdout).expect("cargo metadata is JSON"))
}

fn metadata(arguments: &[&str]) -> Value {
    asked(arguments).unwrap_or_else(|error| panic!("{error}"))
}

/// The packages of the workspace and what each depends on, without what only its tests need.
fn dependencies() -> BTreeMap<String, BTreeSet<String>> {
    let metadata = metadata(&["--no-deps"]);
    let packages = metadata["packages"].as_array().expect("there are packages");
    let text = |it: &Value| it.as_str().unwrap_or_default().to_owned();
    packages
        .iter()
        .map(|package| {
            let all = package["dependencies"].as_array().expect("a list").iter();
            let own = all.filter(|it| it["kind"] != "dev").map(|it| text(&it["name"]));
            (text(&package["name"]), own.collect())
        })
        .collect()
}

#[test]
fn each_part_knows_only_what_lies_below_it() {
    let may_know: BTreeMap<&str, &[&str]> = BTreeMap::from([
        ("reveille-cpu", &[][..]),
        ("reveille-c", &[]),
        ("reveille-decoders", &[]),
        ("reveille-machine", &[]),
        ("reveille-session", &["reveille-machine"]),
        ("reveille-player", &["reveille-session"]),
        ("reveille-grammar", &[]),
        ("reveille-source", &["reveille-cpu", "reveille-grammar"]),
        ("reveille-program", &["reveille-cpu", "reveille-source"]),
        (
            "reveille-facts",
            &[
                "reveille-c",
                "reveille-cpu",
                "reveille-decoders",
                "reveille-machine",
                "reveille-program",
                "reveille-session",
                "reveille-source",
            ],
        ),
        (
            "reveille-editor",
            &[
                "reveille-c",
                "reveille-cpu",
                "reveille-decoders",
                "reveille-facts",
                "reveille-machine",
                "reveille-program",
                "reveille-session",
                "reveille-source",
            ],
        ),
        (
            "reveille",
            &[
                "reveille-cpu",
                "reveille-decoders",
                "reveille-editor",
                "reveille-facts",
                "reveille-player",
                "reveille-program",
                "reveille-session",
                "reveille-source",
            ],
        ),
        ("reveille-fixture", &[]),
        ("reveille-tests", &["reveille-fixture"]),
        // Writes the tables of the documents.
        ("xtask", &["reveille-decoders", "reveille-facts", "reveille-machine", "reveille-session"]),
    ]);
    for (package, own) in dependencies() {
        let allowed = may_know.get(package.as_str());
        let allowed = allowed.unwrap_or_else(|| panic!("say here what the new package {package} may know"));
        let ours: Vec<&String> =
            own.iter().filter(|it| may_know.contains_key(it.as_str()) && !allowed.contains(&it.as_str())).collect();
        assert!(ours.is_empty(), "{package} must not know {ours:?}");
    }
}

#[test]
fn only_the_program_itself_knows_the_protocol_the_runtime_and_the_command_line() {
    for (package, own) in dependencies() {
        for foreign in
            ["tokio", "tower", "tower-lsp-server", "clap", "anyhow", "tracing", "annotate-snippets", "ignore"]
        {
            // The tool of the developers has a command line too.
            let is_tool = package == "xtask" && matches!(foreign, "clap" | "anyhow");
            assert!(package == "reveille" || is_tool || !own.contains(foreign), "{package} must not know {foreign}");
        }
        // A type that leaves the program has a twin there: only what reads a file of ours, or writes to others, has serde.
        let may_read =
            ["reveille", "reveille-decoders", "reveille-facts", "reveille-machine", "reveille-tests", "xtask"];
        let knows_serde = own.contains("serde") || own.contains("serde_json") || own.contains("toml");
        assert!(may_read.contains(&package.as_str()) || !knows_serde, "{package} must not know serde");
    }
}

#[test]
fn every_part_takes_versions_and_lints_from_the_workspace() {
    let metadata = metadata(&["--no-deps"]);
    for package in metadata["packages"].as_array().expect("there are packages") {
        let name = package["name"].as_str().unwrap_or_default();
        assert_eq!(package["license"], "MIT OR Apache-2.0", "{name}");
        assert_eq!(package["publish"], serde_json::json!([]), "{name} is not published");
        let manifest = std::fs::read_to_string(package["manifest_path"].as_str().unwrap_or_default());
        let manifest = manifest.expect("a manifest can be read");
        assert!(manifest.contains("[lints]") || manifest.contains("[lints.rust]"), "{name} has no lints");
        let mut is_dependency = false;
        for line in manifest.lines().map(str::trim) {
            if line.starts_with('[') {
                is_dependency = line.ends_with("dependencies]");
            } else if is_dependency && line.contains('=') && !line.starts_with('#') {
                assert!(line.contains("workspace = true"), "{name}: `{line}` has a version of its own");
            }
        }
    }
}

/// The files of the repository: those that git knows, or all of a copy without git.
fn tracked() -> Vec<PathBuf> {
    let output = Command::new("git").args(["ls-files", "-z"]).current_dir(root()).output();
    let is_own = root().join(".git").exists();
    if let Some(output) = output.ok().filter(|it| it.status.success() && is_own) {
        let text = String::from_utf8(output.stdout).expect("our paths are text");
        let files = text.split('\0').filter(|it| !it.is_empty()).map(PathBuf::from);
        return files.filter(|path| root().join(path).is_file()).collect();
    }
    let mut found = Vec::new();
    let mut folders = vec![PathBuf::new()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(root().join(&folder)).expect("a folder can be read").filter_map(Result::ok) {
            let path = folder.join(entry.file_name());
            let name = entry.file_name().to_string_lossy().into_owned();
            match entry.file_type() {
                Ok(kind) if kind.is_dir() && !["target", "node_modules", "dist", ".git"].contains(&name.as_str()) => {
                    folders.push(path);
                }
                Ok(kind) if kind.is_file() => found.push(path),
                _ => (),
            }
        }
    }
    found
}

fn rust_files() -> Vec<(PathBuf, String)> {
    let is_rust = |it: &PathBuf| it.extension().is_some_and(|it| it == "rs");
    let read = |path: PathBuf| {
        let text = std::fs::read_to_string(root().join(&path)).expect("a source of ours is text");
        (path, text)
    };
    tracked().into_iter().filter(is_rust).map(read).collect()
}

/// The text of a source without its comments and texts, so that words in them do not count.
fn code(text: &str) -> String {
    let without_comment = |line: &str| line.split("//").next().unwrap_or("").to_owned();
    text.lines().map(without_comment).filter(|line| !line.contains('"')).collect::<Vec<_>>().join("\n")
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|it: char| !it.is_alphanumeric() && it != '_')
}

#[test]
fn only_the_grammar_s_border_to_c_is_unsafe() {
    let files = rust_files();
    assert!(files.len() > 50);
    for (path, text) in files {
        let is_border = path == Path::new("grammar/lib.rs");
        let is_unsafe = words(&code(&text)).any(|it| it == "unsafe");
        assert_eq!(is_unsafe, is_border, "{}", path.display());
    }
}

#[test]
fn no_source_is_longer_than_650_lines() {
    let long: Vec<String> = rust_files()
        .into_iter()
        .map(|(path, text)| (text.lines().count(), path))
        .filter(|it| it.0 > 650)
        .map(|(lines, path)| format!("{}: {lines}", path.display()))
        .collect();
    assert!(long.is_empty(), "{long:?}");
}

#[test]
fn no_test_is_switched_off_and_nothing_is_left_to_do() {
    // Put together here, so that this file does not find itself.
    let marks = [["TO", "DO"].concat(), ["FIX", "ME"].concat(), ["X", "XX"].concat()];
    for (path, text) in rust_files() {
        for mark in &marks {
            assert!(!words(&text).any(|it| it == mark), "{}: {mark}", path.display());
        }
        let ignored = text.lines().any(|line| line.trim().starts_with(&["#[", "ignore"].concat()));
        assert!(!ignored, "{}: a test is switched off", path.display());
    }
}

#[test]
fn no_path_of_somebody_s_machine_and_no_registry_s_address_is_in_the_repository() {
    // Put together here, so that this file does not find itself.
    let paths = [["/wo", "rk/"].concat(), ["/ro", "ot/"].concat(), ["/ho", "me/"].concat(), ["/Us", "ers/"].concat()];
    let hosts =
        [["registry", ".npmjs", ".org"].concat(), ["pypi", ".org"].concat(), ["static", ".crates", ".io"].concat()];
    let hosts_of_locks = [["index", ".crates", ".io"].concat(), ["files", ".pythonhosted", ".org"].concat()];
    let mut found = Vec::new();
    for path in tracked() {
        let bytes = std::fs::read(root().join(&path)).expect("a file can be read");
        let text = String::from_utf8_lossy(&bytes);
        for needle in paths.iter().chain(&hosts).chain(&hosts_of_locks) {
            if text.contains(needle.as_str()) {
                found.push(format!("{}: {needle}", path.display()));
            }
        }
    }
    assert!(found.is_empty(), "{found:?}");
}

/// Licences that may be in what we hand out. A choice needs one of them, a sum all.
const LICENCES: &[&str] = &[
    "MIT",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSD-1-Clause",
    "ISC",
    "Unlicense",
    "Zlib",
    "Unicode-3.0",
    "MPL-2.0",
    "CC0-1.0",
    "0BSD",
    "MIT-0",
];

/// Whether a licence expression (SPDX 2.3, annex D) can be met by [`LICENCES`].
fn is_allowed(expression: &str) -> bool {
    let expression = expression.trim();
    // The outermost operator: OR binds less than AND; both outside of brackets.
    for (operator, any) in [(" OR ", true), (" AND ", false)] {
        let mut depth = 0;
        let mut parts = Vec::new();
        let mut start = 0;
        for (at, character) in expression.char_indices() {
            match character {
                '(' => depth += 1,
                ')' => depth -= 1,
                ' ' if depth == 0 && expression[at..].starts_with(operator) => {
                    parts.push(&expression[start..at]);
                    start = at + operator.len();
                }
                _ => (),
            }
        }
        if !parts.is_empty() {
            parts.push(&expression[start..]);
            return if any { parts.iter().any(|it| is_allowed(it)) } else { parts.iter().all(|it| is_allowed(it)) };
        }
    }
    match expression.strip_prefix('(').and_then(|it| it.strip_suffix(')')) {
        Some(inside) => is_allowed(inside),
        None => LICENCES.contains(&expression),
    }
}

#[test]
fn licence_expressions_are_read_as_the_standard_says() {
    for (expression, allowed) in [
        ("MIT", true),
        ("MIT OR Apache-2.0", true),
        ("GPL-3.0-only OR MIT", true),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
        ("MIT AND GPL-3.0-only", false),
        ("GPL-2.0-only", false),
        ("MIT OR GPL-2.0-only AND GPL-3.0-only", true),
        ("(MIT OR ISC) AND GPL-2.0-only", false),
        ("", false),
    ] {
        assert_eq!(is_allowed(expression), allowed, "{expression}");
    }
}

#[test]
fn every_dependency_has_a_licence_that_lets_us_hand_it_out() {
    // Where there is no network, packages of other systems may not be there: then those of this one.
    let version = Command::new("rustc").arg("-vV").output().expect("the compiler starts");
    let version = String::from_utf8_lossy(&version.stdout).into_owned();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).expect("the compiler names its host");
    let here = ["--locked", "--offline", "--filter-platform", host];
    let metadata = asked(&["--locked"]).unwrap_or_else(|_| metadata(&here));
    let packages = metadata["packages"].as_array().expect("there are packages");
    assert!(packages.len() > 50);
    let mut refused = Vec::new();
    for package in packages {
        // An old way to write a choice is a slash.
        let licence = package["license"].as_str().unwrap_or_default().replace('/', " OR ");
        if !is_allowed(&licence) {
            refused.push(format!("{}: `{licence}`", package["name"]));
        }
    }
    assert!(refused.is_empty(), "{refused:?}");
}
