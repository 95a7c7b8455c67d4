//! The command line: exit codes, the forms of the output, and that each finding has a specimen.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use reveille_tests::{Output, run, tests_folder};
use serde_json::Value;

fn demo(name: &str) -> PathBuf {
    tests_folder().join("demo").join(name)
}

/// A folder with files.
fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, text) in files {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a file is in a folder")).expect("the folder can be made");
        std::fs::write(path, text).expect("the folder can be written to");
    }
    folder
}

/// The findings that `lint --format json` prints.
fn findings(output: &Output) -> Vec<Value> {
    output.out.lines().map(|line| serde_json::from_str(line).expect("each finding is a line of JSON")).collect()
}

fn codes(output: &Output) -> Vec<String> {
    findings(output).iter().map(|it| it["finding"].as_str().expect("a finding has its code").to_owned()).collect()
}

fn catalog() -> Vec<(String, String)> {
    let output = run(&demo("skerry"), &["lint", "--explain", "all"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    let words = |line: &str| {
        let mut words = line.split_whitespace().map(str::to_owned);
        (words.next().expect("a code"), words.next().expect("a severity"))
    };
    output.out.lines().map(words).collect()
}

#[test]
fn the_exit_code_is_0_without_errors_1_with_one_and_2_where_nothing_could_run() {
    let folder = folder(&[
        ("sound.s", "start\trts\n"),
        ("warning.s", "start\tfrobnicate\n"),
        ("error.s", "A\tEQU\t1/0\n"),
        ("empty/readme.txt", "no source\n"),
    ]);
    for (arguments, code) in [
        (&["lint", "sound.s"][..], 0),
        (&["lint", "warning.s"], 0),
        (&["lint", "error.s"], 1),
        (&["lint", "sound.s", "error.s"], 1),
        (&["lint", "."], 1),
        (&["lint", "--format", "json", "error.s"], 1),
        (&["lint", "--format", "sarif", "error.s"], 1),
        (&["lint", "missing.s"], 2),
        (&["lint", "sound.s", "missing.s"], 2),
        (&["lint", "empty"], 2),
        (&["lint"], 2),
        (&["lint", "--format", "yaml", "sound.s"], 2),
        (&["lint", "--explain", "fat-999"], 2),
        (&["lint", "--explain", "fat-017"], 0),
        (&["lint", "--define", "A=x", "sound.s"], 2),
        (&["lint", "--dialect", "sideways", "sound.s"], 2),
        (&["sheet", "error.s"], 0),
        (&["sheet", "missing"], 2),
        (&["sheet", "empty"], 2),
        (&["polish"], 2),
        (&["--version"], 0),
        (&["--help"], 0),
        (&["lint", "--help"], 0),
        (&["sheet", "--help"], 0),
        (&["serve", "--help"], 0),
    ] {
        let output = run(folder.path(), arguments);
        assert_eq!(output.code, code, "{arguments:?}: {}{}", output.out, output.err);
        // What failed is told on standard error, which is silent otherwise.
        assert_eq!(output.err.is_empty(), code != 2, "{arguments:?}: {}", output.err);
    }
}

#[test]
fn what_cannot_be_opened_is_named() {
    let folder = folder(&[("empty/readme.txt", "no source\n")]);
    let output = run(folder.path(), &["lint", "missing.s"]);
    assert!(output.err.contains("`missing.s` cannot be opened"), "{}", output.err);
    assert_eq!(output.out, "");
    let output = run(folder.path(), &["lint", "empty"]);
    assert!(output.err.contains("no source in `empty`"), "{}", output.err);
}

#[test]
fn the_sound_demo_has_no_finding() {
    let output = run(&demo("skerry"), &["lint", "."]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    assert_eq!(output.out, "7 files: 0 errors, 0 warnings, 0 notes\n");
    let output = run(&demo("skerry"), &["lint", "--format", "json", "."]);
    assert_eq!((output.code, output.out.as_str()), (0, ""));
}

#[test]
fn the_text_shows_the_lines_of_the_damaged_disk_driver() {
    let output = run(&demo("skerry-damaged"), &["lint", "boot.s"]);
    assert_eq!(output.code, 1);
    // A finding begins with its severity and code, and has its first place in the next line.
    let mut shown = String::new();
    let mut is_shown = false;
    let lines: Vec<&str> = output.out.lines().collect();
    for (at, line) in lines.iter().enumerate() {
        if !line.starts_with(' ') && line.contains("]: ") {
            is_shown = lines.get(at + 1).is_some_and(|next| next.contains("--> disk.s:"));
        }
        if line.starts_with(|it: char| it.is_ascii_digit()) && line.contains(" files: ") {
            is_shown = true;
        }
        if is_shown {
            shown.push_str(line.trim_end());
            shown.push('\n');
        }
    }
    insta::assert_snapshot!("damaged_disk_driver", shown);
}

#[test]
fn a_finding_in_json_has_the_fields_of_the_contract() {
    let output = run(&demo("skerry-damaged"), &["lint", "--format", "json", "."]);
    assert_eq!(output.code, 1);
    let all = findings(&output);
    assert!(all.len() > 50);
    let is_range = |range: &Value| {
        let number = |place: &str, name: &str| range[place][name].as_u64();
        let (start, end) = (
            (number("start", "line"), number("start", "character")),
            (number("end", "line"), number("end", "character")),
        );
        assert!(start.0.is_some() && start.1.is_some() && start <= end, "{range}");
    };
    let mut places = Vec::new();
    for finding in &all {
        let names: BTreeSet<&str> = finding.as_object().expect("an object").keys().map(String::as_str).collect();
        assert_eq!(names, BTreeSet::from(["file", "finding", "message", "range", "related", "severity"]), "{finding}");
        let severity = finding["severity"].as_str().expect("a severity is text");
        assert!(["error", "warning", "note", "hint"].contains(&severity), "{finding}");
        let file = finding["file"].as_str().expect("a file is text");
        assert!(demo("skerry-damaged").join(file).is_file(), "{finding}");
        assert!(!finding["message"].as_str().expect("a message is text").is_empty());
        is_range(&finding["range"]);
        for related in finding["related"].as_array().expect("related places are a list") {
            let names: BTreeSet<&str> = related.as_object().expect("an object").keys().map(String::as_str).collect();
            assert_eq!(names, BTreeSet::from(["file", "message", "range"]), "{finding}");
            is_range(&related["range"]);
        }
        places.push((file.to_owned(), finding["range"]["start"]["line"].as_u64()));
    }
    assert!(places.is_sorted(), "findings come by file and line");
    // The severity is the catalog's, but where a missing include may be the reason.
    let severities: BTreeMap<String, String> = catalog().into_iter().collect();
    for finding in &all {
        let code = finding["finding"].as_str().expect("a code");
        if code != "name-001" {
            assert_eq!(finding["severity"].as_str(), severities.get(code).map(String::as_str), "{finding}");
        }
    }
}

#[test]
fn a_column_in_json_counts_utf_16() {
    let folder = folder(&[("a.s", "\tdc.b\t'\u{1F4BE}\u{E9}',300\n")]);
    let output = run(folder.path(), &["lint", "--format", "json", "a.s"]);
    let all = findings(&output);
    assert_eq!(all.len(), 1, "{}", output.out);
    assert_eq!(all[0]["range"]["start"]["character"], 12);
    assert_eq!(all[0]["range"]["end"]["character"], 15);
}

#[test]
fn sarif_is_read_back_by_another_reader_and_says_the_same_as_json() {
    let output = run(&demo("skerry-damaged"), &["lint", "--format", "sarif", "."]);
    assert_eq!(output.code, 1);
    let log: serde_sarif::sarif::Sarif = serde_json::from_str(&output.out).expect("SARIF 2.1.0");
    let [one] = &log.runs[..] else { panic!("one run") };
    assert_eq!(one.tool.driver.name, "reveille");
    let rules = one.tool.driver.rules.as_ref().expect("the rules are listed");
    let results = one.results.as_ref().expect("there are results");
    let json = findings(&run(&demo("skerry-damaged"), &["lint", "--format", "json", "."]));
    assert_eq!(results.len(), json.len());
    for (result, finding) in results.iter().zip(&json) {
        assert_eq!(result.rule_id.as_deref(), finding["finding"].as_str());
        let rule = &rules[result.rule_index.expect("a result names its rule") as usize];
        assert_eq!(Some(rule.id.as_str()), finding["finding"].as_str());
        assert_eq!(result.message.text.as_deref(), finding["message"].as_str());
        let location = &result.locations.as_ref().expect("a result has a place")[0];
        let place = location.physical_location.as_ref().expect("the place is in a file");
        let artifact = place.artifact_location.as_ref().expect("the file is named");
        assert_eq!(artifact.uri.as_deref(), finding["file"].as_str());
        let region = place.region.as_ref().expect("the place is a region");
        // Lines and columns count from 1 there: SARIF 2.1.0, 3.30.5 and 3.30.6.
        assert_eq!(region.start_line.map(|it| it - 1), finding["range"]["start"]["line"].as_i64());
        assert_eq!(region.start_column.map(|it| it - 1), finding["range"]["start"]["character"].as_i64());
        assert_eq!(region.end_line.map(|it| it - 1), finding["range"]["end"]["line"].as_i64());
        assert_eq!(region.end_column.map(|it| it - 1), finding["range"]["end"]["character"].as_i64());
        let related = result.related_locations.as_ref().map_or(0, Vec::len);
        assert_eq!(related, finding["related"].as_array().map_or(0, Vec::len));
    }
    assert!(results.iter().any(|it| it.fixes.as_ref().is_some_and(|fixes| !fixes.is_empty())), "fixes are carried");
    let empty = run(&demo("skerry"), &["lint", "--format", "sarif", "."]);
    let log: serde_sarif::sarif::Sarif = serde_json::from_str(&empty.out).expect("SARIF 2.1.0");
    assert_eq!((empty.code, log.runs[0].results.as_ref().map(Vec::len)), (0, Some(0)));
}

#[test]
fn each_code_is_explained_with_its_source() {
    let catalog = catalog();
    assert!(catalog.len() > 60);
    assert_eq!(catalog.iter().map(|it| &it.0).collect::<BTreeSet<_>>().len(), catalog.len(), "no code stands twice");
    for (code, severity) in &catalog {
        assert!(["error", "warning", "note", "hint"].contains(&severity.as_str()), "{code}");
        let output = run(&demo("skerry"), &["lint", "--explain", code]);
        assert_eq!((output.code, output.err.as_str()), (0, ""), "{code}");
        assert!(output.out.contains(code.as_str()), "{}", output.out);
        assert!(output.out.to_ascii_lowercase().contains("source"), "{}", output.out);
    }
    let output = run(&demo("skerry"), &["lint", "--explain", "fat-999"]);
    assert!(output.err.contains("--explain all"), "an unknown code tells how to list them: {}", output.err);
}

/// A code without a specimen in the damaged demo.
struct Generated {
    code: &'static str,
    /// Sources that have it, each with its name.
    files: Vec<(String, String)>,
    /// Why the demo has none.
    reason: &'static str,
}

fn generated() -> Vec<Generated> {
    let chain = (0..70).map(|at| {
        let next = if at == 69 { "\trts\n".to_owned() } else { format!("\tinclude\tn{}.s\n", at + 1) };
        (format!("n{at}.s"), next)
    });
    let long = format!("\tdc.b\t{}1\n", "0,".repeat(35_000));
    // Each branch that grows makes the next gap too long for a short one: every walk over the lines finds one of them.
    let growing = (0..12).map(|at: usize| {
        let gap = at.checked_sub(1).map_or("130".to_owned(), |before| format!("120+(to{before}-from{before})*2"));
        format!("from{at}\tbra\tbehind{at}\nto{at}\tds.b\t{gap}\nbehind{at}\trts\n")
    });
    vec![
        Generated { code: "include-003", files: chain.collect(), reason: "nobody wants to read a chain of 70 files" },
        Generated {
            code: "source-005",
            files: vec![("a.s".to_owned(), long)],
            reason: "nobody wants to read a line of 70,000 bytes",
        },
        Generated {
            code: "name-007",
            files: vec![
                ("a.s".to_owned(), "\txref\tfar\n\tjsr\tfar\n\trts\n".to_owned()),
                ("b.s".to_owned(), "\txdef\tnear\nnear\trts\n".to_owned()),
            ],
            reason: "where sources are missing nobody can tell what they export",
        },
        Generated {
            code: "layout-007",
            files: vec![("a.s".to_owned(), format!("\torg\t$1000\n{}", growing.collect::<String>()))],
            reason: "nobody writes a dozen counts of lengths of branches",
        },
    ]
}

#[test]
fn each_code_has_a_specimen() {
    let output = run(&demo("skerry-damaged"), &["lint", "--format", "json", "."]);
    let mut found: BTreeSet<String> = codes(&output).into_iter().collect();
    for Generated { code, files, reason } in generated() {
        assert!(!found.contains(code), "{code} has a specimen in the demo, so `{reason}` no longer holds");
        let files: Vec<(&str, &str)> = files.iter().map(|it| (it.0.as_str(), it.1.as_str())).collect();
        let folder = folder(&files);
        let own: BTreeSet<String> =
            codes(&run(folder.path(), &["lint", "--format", "json", "."])).into_iter().collect();
        assert!(own.contains(code), "{code}: {own:?}");
        found.insert(code.to_owned());
    }
    // What is told of an image and not of a source has its specimens in server/facts/src/image/tests.rs, which counts them too.
    let is_of_images = |code: &str| {
        let boot = code.strip_prefix("boot-").and_then(|it| it.parse().ok());
        code.starts_with("image-") || boot.is_some_and(|it: u32| !(8..=10).contains(&it))
    };
    let catalog = catalog().into_iter().map(|it| it.0).filter(|code| !is_of_images(code));
    let without: Vec<String> = catalog.filter(|code| !found.contains(code)).collect();
    assert_eq!(without, Vec::<String>::new(), "codes that nothing raises");
}

#[test]
fn the_page_of_specimens_names_each_code_that_the_damaged_demo_has() {
    let page = std::fs::read_to_string(demo("skerry-damaged").join("SPECIMENS.md")).expect("the page is there");
    // The page's own short forms of the rules: what follows the bar.
    let names = |code: &str| {
        let (family, number) = code.split_once('-').expect("a code has a number");
        let number = number.trim_start_matches('0');
        let letter = match family {
            "fat" => "F",
            "block" => "L",
            "boot" => "B",
            "cross" => "X",
            "word" => "W",
            "cpm" => "C",
            _ => "",
        };
        [code.to_owned(), format!("{letter}{number:0>2}")]
    };
    for code in codes(&run(&demo("skerry-damaged"), &["lint", "--format", "json", "."])) {
        assert!(names(&code).iter().any(|it| page.contains(it.as_str())), "{code} is not on the page");
    }
}

#[test]
fn a_define_gives_a_name_its_value() {
    let text = "\tIFEQ\tSERIES-3\n\tdc.b\t300\n\tENDC\n";
    let folder = folder(&[("a.s", text)]);
    let lint = |more: &[&str]| codes(&run(folder.path(), &[&["lint", "--format", "json"], more, &["a.s"]].concat()));
    assert_eq!(lint(&["--define", "SERIES=3"]), ["value-007"]);
    assert_eq!(lint(&["--define", "SERIES=$3"]), ["value-007"]);
    assert_eq!(lint(&["--define", "SERIES=0x3"]), ["value-007"]);
    assert_eq!(lint(&["--define", "SERIES=4"]), Vec::<String>::new());
    assert!(lint(&[]).contains(&"name-001".to_owned()));
}

#[test]
fn an_include_folder_is_looked_through_for_included_files() {
    let folder = folder(&[("src/a.s", "\tinclude\tparts.i\n\tdc.b\tPART\n"), ("lib/parts.i", "PART\tEQU\t300\n")]);
    let without = run(folder.path(), &["lint", "--format", "json", "src/a.s"]);
    assert!(codes(&without).contains(&"include-001".to_owned()), "{}", without.out);
    let with = run(folder.path(), &["lint", "--format", "json", "--include", "lib", "src/a.s"]);
    assert_eq!(codes(&with), ["value-007"], "{}", with.out);
}

#[test]
fn a_dialect_given_holds_for_every_file() {
    // In Motorola syntax a blank ends the operands; in the dotted style it does not.
    let folder = folder(&[("a.s", "\tdc.b\t1, 2\n\teven\n"), ("b.s", "\t.byte\t1, 2\n\t.even\n")]);
    let lint = |dialect: &[&str]| {
        let output = run(folder.path(), &[&["lint", "--format", "json"], dialect, &["a.s", "b.s"]].concat());
        findings(&output).iter().map(|it| format!("{} {}", it["file"], it["finding"])).collect::<Vec<_>>()
    };
    assert_eq!(lint(&[]), [r#""a.s" "source-003""#]);
    assert_eq!(lint(&["--dialect", "dotted"]), Vec::<String>::new());
    assert_eq!(lint(&["--dialect", "motorola"]), [r#""a.s" "source-003""#, r#""b.s" "source-003""#]);
}

#[test]
fn the_sheet_of_the_demo_shows_its_disk_formats_and_where_they_stand() {
    let output = run(&tests_folder().join("demo"), &["sheet", "skerry"]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    insta::assert_snapshot!("sheet_of_skerry", output.out);
}

fn sheet(folder: &Path, path: &str) -> Value {
    let output = run(folder, &["sheet", "--format", "json", path]);
    assert_eq!((output.code, output.err.as_str()), (0, ""));
    serde_json::from_str(&output.out).expect("the sheet is one object")
}

#[test]
fn the_sheet_in_json_has_the_fields_of_the_contract() {
    for name in ["skerry", "skerry-damaged"] {
        let sheet = sheet(&demo(name), ".");
        let names: BTreeSet<&str> = sheet.as_object().expect("an object").keys().map(String::as_str).collect();
        assert_eq!(names, BTreeSet::from(["facts", "findings"]));
        let facts = sheet["facts"].as_array().expect("facts are a list");
        assert!(facts.len() >= 6);
        for fact in facts {
            let names: BTreeSet<&str> = fact.as_object().expect("an object").keys().map(String::as_str).collect();
            assert_eq!(names, BTreeSet::from(["evidence", "kind", "subject", "value"]));
            let evidence = fact["evidence"].as_array().expect("evidence is a list");
            assert!(!evidence.is_empty(), "each fact has its evidence: {fact}");
            for at in evidence {
                let path = demo(name).join(at["file"].as_str().expect("a file is text"));
                let source = std::fs::read(path).expect("evidence is in a file that is there");
                let source = String::from_utf8_lossy(&source).into_owned();
                let line = at["range"]["start"]["line"].as_u64().expect("a line") as usize;
                let line = source.lines().nth(line).expect("the line is there");
                let column = |end: &str| at["range"][end]["character"].as_u64().expect("a column") as usize;
                assert_eq!(line.get(column("start")..column("end")), at["text"].as_str(), "{fact}");
            }
        }
        let lint = findings(&run(&demo(name), &["lint", "--format", "json", "."]));
        assert_eq!(sheet["findings"], Value::Array(lint), "the sheet has the findings of lint");
    }
}

#[test]
fn the_sheet_decodes_the_demo_s_third_format_by_value() {
    let sheet = sheet(&demo("skerry"), ".");
    let facts = sheet["facts"].as_array().expect("facts are a list");
    let fact = facts.iter().find(|it| it["subject"] == "boot_formats[2]").expect("the third entry is a fact");
    // 720 KiB: Microsoft Knowledge Base Q75131.
    for (field, value) in [
        ("sector_size", 512),
        ("sectors_per_cluster", 2),
        ("reserved_sectors", 1),
        ("fat_count", 2),
        ("root_directory_entries", 112),
        ("total_sectors", 1440),
        ("format_identifier", 0xF9),
        ("sectors_per_fat", 3),
        ("sectors_per_track", 9),
        ("sides", 2),
        ("hidden_sectors", 0),
    ] {
        assert_eq!(fact["value"]["fields"][field], value, "{field}");
    }
    assert_eq!(fact["value"]["geometry"]["cylinders"], 80);
    assert_eq!(fact["value"]["derived"]["clusters"], 713);
    assert_eq!(fact["value"]["offset"], 38);
    assert_eq!(fact["value"]["bytes"], "0002020100027000a005f90300090002000000");
}
