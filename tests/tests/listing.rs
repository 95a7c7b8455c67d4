//! `reveille listing`: what each option changes, and the forms of the output.
//!
//! Words of instructions are those of the *M68000 Family Programmer's Reference Manual*, times those of the *M68000 User's Manual*, section 8,
//! both from memory; `oracle_cpu` and `oracle_programs` hold them against outside judges.

use std::collections::BTreeSet;
use std::path::Path;

use reveille_tests::{Output, run};
use serde_json::Value;

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

/// The objects that `listing --format json` prints for `a.s`.
fn objects(folder: &Path, more: &[&str]) -> Vec<Value> {
    let output = run(folder, &[&["listing", "--format", "json", "a.s"], more].concat());
    assert!(output.code < 2 && output.err.is_empty(), "{}", output.err);
    output.out.lines().map(|line| serde_json::from_str(line).expect("each line is an object")).collect()
}

/// The bytes of all lines of a source, each with a blank behind, and the codes of its findings.
fn assembled(text: &str, more: &[&str]) -> String {
    let folder = folder(&[("a.s", text)]);
    let all = objects(folder.path(), more);
    let parts = all.iter().map(|it| match it.get("finding") {
        Some(code) => code.as_str().expect("a code is text").to_owned(),
        None => it["bytes"].as_str().expect("bytes are text").to_owned(),
    });
    parts.filter(|it| !it.is_empty()).collect::<Vec<_>>().join(" ")
}

/// The same with one rule of lengths.
fn sized(text: &str, rule: &str) -> String {
    assembled(text, &["--sizing", rule])
}

#[test]
fn branches_without_a_size_are_as_long_as_the_rule_says() {
    let near = "here\tbra\there\n";
    assert_eq!(assembled(near, &[]), "60fe");
    assert_eq!(sized(near, "branches=by-dialect"), "60fe");
    assert_eq!(sized(near, "branches=nearest"), "60fe");
    assert_eq!(sized(near, "branches=jumping"), "60fe");
    assert_eq!(sized(near, "branches=word"), "6000fffe");
    assert_eq!(sized(near, "branches=short"), "60fe");
    assert_eq!(sized("here:\tbra\there\n\t.even\n", "branches=by-dialect"), "6000fffe", "a word in the dotted style");
    assert_eq!(sized("here:\tbra\there\n\t.even\n", "branches=nearest"), "60fe");
    let far = "\tbeq\tfar\n\tds.b\t200\nfar\tdc.w\t1\n";
    assert_eq!(sized(far, "branches=nearest"), "670000ca 0001");
    assert_eq!(sized(far, "branches=word"), "670000ca 0001");
    assert_eq!(sized(far, "branches=short"), "67c8 0001 code-006", "it does not reach and says so");
    // A jump with the opposite condition before it: *Using as* 2.40, 9.22.6.1.
    let farthest = "\tbeq\tfar\n\tbsr\tfar\n\tds.b\t40000\nfar\tdc.w\t1\n";
    assert_eq!(sized(farthest, "branches=jumping"), "66064ef900009c4e 4eb900009c4e 0001");
    assert_eq!(sized(farthest, "branches=nearest").matches("code-006").count(), 2);
}

#[test]
fn references_are_relative_or_absolute_as_the_rule_says() {
    let unplaced = "\tlea\ttable,a0\n\tjsr\ttable\n\tmove.w\td0,table\ntable\tdc.w\t1\n";
    assert_eq!(assembled(unplaced, &[]), "41fa000c 4eba0008 33c00000000e 0001", "what cannot be relative is a long");
    assert_eq!(sized(unplaced, "references=unplaced"), assembled(unplaced, &[]));
    let placed = format!("\torg\t$1000\n{unplaced}");
    assert_eq!(assembled(&placed, &[]), "41f900001012 4eb900001012 33c000001012 0001");
    assert_eq!(sized(&placed, "references=relative"), "41fa000c 4eba0008 33c00000100e 0001");
    assert_eq!(sized(unplaced, "references=long"), "41f900000012 4eb900000012 33c000000012 0001");
    // Backwards the address is known, forwards it is not: common practice, no source.
    let both = "\torg\t$1000\nback\tdc.w\t1\n\tlea\tback,a0\n\tlea\tforth,a0\nforth\tdc.w\t2\n";
    assert_eq!(sized(both, "references=shortest"), "0001 41f81000 41f90000100c 0002");
}

#[test]
fn small_constants_have_quick_forms_unless_the_rule_forbids_it() {
    let text = "FIVE\tEQU\t5\n\tmove.l\t#1,d0\n\tadd.w\t#2,d1\n\tsub.l\t#FIVE,a0\n\tadd.w\t#9,d1\n";
    assert_eq!(sized(text, "quick=yes"), "7001 5441 5b88 06410009");
    assert_eq!(sized(text, "quick=no"), "203c00000001 06410002 91fc00000005 06410009");
    assert_eq!(assembled("\tmove.l\t#LATER,d0\nLATER\tEQU\t5\n", &[]), "203c00000005", "not known in its line");
    assert_eq!(assembled("\tmove.l\t#1,a0\n\tmove.w\t#1,d0\n", &[]), "207c00000001 303c0001", "MOVEQ is long, to Dn");
}

#[test]
fn a_displacement_of_zero_is_kept_unless_the_rule_drops_it() {
    let text = "\tmove.w\t0(a0),d0\n\tmove.w\t0(a0,d1.w),d0\n";
    assert_eq!(sized(text, "zero-displacement=keep"), "30280000 30301000");
    assert_eq!(sized(text, "zero-displacement=drop"), "3010 30301000");
}

#[test]
fn a_long_branch_is_refused_unless_the_rule_takes_it_as_a_word() {
    let text = "here\tbra.l\there\n";
    assert_eq!(assembled(text, &[]).split(' ').next_back(), Some("code-002"));
    assert_eq!(sized(text, "long-branches=refuse"), assembled(text, &[]));
    assert_eq!(sized(text, "long-branches=word"), "6000fffe");
}

#[test]
fn several_rules_hold_together_and_the_last_of_one_counts() {
    let text = "here\tbra\there\n\tmove.l\t#1,d0\n";
    assert_eq!(assembled(text, &["--sizing", "branches=word", "--sizing", "quick=no"]), "6000fffe 203c00000001");
    assert_eq!(assembled(text, &["--sizing", "branches=word", "--sizing", "branches=short"]), "60fe 7001");
}

fn cycles(text: &str, cpu: &str) -> Vec<Value> {
    let folder = folder(&[("a.s", text)]);
    let all = objects(folder.path(), &["--cpu", cpu]);
    all.into_iter().filter(|it| it.get("finding").is_none()).map(|it| it["cycles"].clone()).collect()
}

#[test]
fn the_processor_decides_what_is_legal_and_how_long_it_takes() {
    let newer = "\tmovec\td0,vbr\n\trtd\t#4\n";
    let refused = "???? ???????? code-004 code-004";
    assert_eq!(
        assembled(newer, &["--cpu", "68000"]),
        refused,
        "as long as it would be, so that what follows keeps its place"
    );
    assert_eq!(assembled(newer, &["--cpu", "68008"]), refused);
    assert_eq!(assembled(newer, &["--cpu", "68010"]), "4e7b0801 4e740004");
    // Tables 8-2 to 8-4 of the 68000, 7-2 to 7-4 of the 68008, whose bus is a byte wide.
    let text = "\tmove.w\td0,d1\n\tmove.l\t(a0),d0\nhere\tbne\there\n\tdc.w\t1\n";
    assert_eq!(cycles(text, "68000"), [json(4, 4), json(12, 12), json(8, 10), Value::Null]);
    assert_eq!(cycles(text, "68008"), [json(8, 8), json(24, 24), json(12, 18), Value::Null]);
    assert_eq!(cycles(text, "68010")[0], json(4, 4));
}

fn json(least: u32, most: u32) -> Value {
    Value::from(vec![least, most])
}

#[test]
fn an_origin_places_code_that_has_none() {
    let folder = folder(&[("a.s", "start\tdc.l\tstart\n\torg\t$2000\n\tdc.l\tstart\n")]);
    for (origin, from, word) in [("0", 0, "00000000"), ("$400", 0x400, "00000400"), ("0x400", 0x400, "00000400")] {
        let all = objects(folder.path(), &["--origin", origin]);
        assert_eq!((&all[0]["address"], &all[0]["bytes"]), (&Value::from(from), &Value::from(word)), "{origin}");
        assert_eq!((&all[2]["address"], &all[2]["bytes"]), (&Value::from(0x2000), &Value::from(word)), "{origin}");
    }
    assert_eq!(objects(folder.path(), &["--origin", "1024"])[0]["address"], 1024);
}

#[test]
fn a_define_is_a_value_and_decides_conditionals() {
    let text = "\tIFEQ\tSERIES-2\n\tdc.w\tSERIES\n\tELSE\n\tdc.w\t-1\n\tENDC\n";
    assert_eq!(assembled(text, &["--define", "SERIES=2"]), "0002");
    assert_eq!(assembled(text, &["--define", "SERIES=$3"]), "ffff");
}

#[test]
fn a_row_in_json_has_the_fields_of_the_contract_and_findings_come_last() {
    let text = "* a remark\nstart\tmove.w\td0,d1\n\tdc.b\t300\n\tds.w\t2\n";
    let folder = folder(&[("a.s", text)]);
    let all = objects(folder.path(), &[]);
    let fields = ["address", "bytes", "cycles", "expansion", "file", "line", "source"];
    for (at, row) in all[..4].iter().enumerate() {
        let names: BTreeSet<&str> = row.as_object().expect("an object").keys().map(String::as_str).collect();
        assert_eq!(names, BTreeSet::from(fields), "{row}");
        assert_eq!((&row["file"], &row["line"]), (&Value::from("a.s"), &Value::from(at + 1)));
        assert_eq!(row["source"], text.lines().nth(at).expect("the line is there"));
        assert_eq!(row["expansion"], 0);
    }
    assert_eq!((&all[0]["bytes"], &all[0]["cycles"]), (&Value::from(""), &Value::Null));
    assert_eq!((&all[1]["bytes"], &all[1]["cycles"]), (&Value::from("3200"), &json(4, 4)));
    assert_eq!((&all[3]["address"], &all[3]["bytes"]), (&Value::from(4), &Value::from("")), "DS lays down nothing");
    assert_eq!(all.len(), 5, "one finding, behind the rows");
    let finding = &all[4];
    assert_eq!(finding["finding"], "value-007");
    let lint = run(folder.path(), &["lint", "--format", "json", "a.s"]);
    let lint: Value = serde_json::from_str(&lint.out).expect("one finding");
    assert_eq!(finding, &lint, "as lint prints it");
}

/// Lines, numbers of expansion, and sources of all rows.
fn rows(folder: &Path) -> Vec<(u64, u64, String)> {
    let all = objects(folder, &[]);
    let number = |it: &Value, name: &str| it[name].as_u64().expect("a number");
    let source = |it: &Value| it["source"].as_str().expect("text").trim().replace('\t', " ");
    all.iter().map(|it| (number(it, "line"), number(it, "expansion"), source(it))).collect()
}

#[test]
fn lines_of_macros_follow_their_call_and_count_from_1_through_inner_calls() {
    let text = "IN\tMACRO\n\tdc.b\t\\1\n\tENDM\nOUT\tMACRO\n\tIN\t1\n\tIN\t2\n\tnop\n\tENDM\n\tOUT\n\trts\n";
    let folder = folder(&[("a.s", text)]);
    let rows = rows(folder.path());
    let shown: Vec<_> = rows.iter().filter(|it| it.0 >= 9).map(|it| (it.0, it.1, it.2.as_str())).collect();
    assert_eq!(shown.first(), Some(&(9, 0, "OUT")));
    assert_eq!(shown.last(), Some(&(10, 0, "rts")));
    let inner: Vec<u64> = shown[1..shown.len() - 1].iter().map(|it| it.1).collect();
    assert_eq!(inner, (1..=inner.len() as u64).collect::<Vec<_>>(), "{shown:?}");
    let sources: Vec<_> = shown[1..].iter().map(|it| it.2).collect();
    assert_eq!(sources, ["IN 1", "dc.b 1", "IN 2", "dc.b 2", "nop", "rts"]);
    assert!(!rows.iter().any(|it| it.2.contains('\\')), "the definition lays down nothing: {rows:?}");
}

#[test]
fn lines_that_are_not_read_are_left_out() {
    let text = "\tIFEQ\t1\n\tdc.b\t1\n\tELSE\n\tdc.b\t2\n\tENDC\n\tend\n\tdc.b\t3\n";
    let folder = folder(&[("a.s", text)]);
    let all = objects(folder.path(), &[]);
    let rows = all.iter().filter(|it| it.get("finding").is_none());
    let sources: Vec<_> = rows.map(|it| it["source"].as_str().expect("text").trim()).collect();
    assert!(!sources.contains(&"dc.b\t1") && !sources.contains(&"dc.b\t3"), "{sources:?}");
    assert!(sources.contains(&"dc.b\t2"), "{sources:?}");
}

#[test]
fn included_lines_stand_where_they_are_assembled_under_their_own_file() {
    let parts = "part\tdc.w\t2\n";
    let folder = folder(&[("a.s", "\tdc.w\t1\n\tinclude\tparts.i\n\tdc.w\t3\n"), ("lib/parts.i", parts)]);
    let all = objects(folder.path(), &["--include", "lib"]);
    let shown: Vec<_> = all.iter().filter(|it| it["bytes"] != "").collect();
    let shown: Vec<_> = shown.iter().map(|it| (it["file"].as_str(), it["address"].as_i64(), &it["bytes"])).collect();
    let [one, two, three] = [0, 2, 4].map(Some);
    let file = Path::new("lib").join("parts.i").to_string_lossy().into_owned();
    assert_eq!(
        shown,
        [
            (Some("a.s"), one, &Value::from("0001")),
            (Some(file.as_str()), two, &Value::from("0002")),
            (Some("a.s"), three, &Value::from("0003"))
        ]
    );
}

#[test]
fn an_address_behind_bytes_that_nobody_read_is_not_known() {
    let folder = folder(&[("a.s", "\tdc.w\t1\n\tincbin\tpicture\nback\tdc.w\t2\n\tlea\tback,a0\n\tbra\tback\n")]);
    let all = objects(folder.path(), &[]);
    assert_eq!((&all[0]["address"], &all[2]["address"]), (&Value::from(0), &Value::Null));
    assert_eq!(all[2]["bytes"], "0002", "the bytes are known all the same");
    assert_eq!(all[4]["bytes"], "60f8", "and distances, if nothing comes between");
    let text = run(folder.path(), &["listing", "a.s"]).out;
    assert!(text.contains("??????  0002"), "{text}");
}

#[test]
fn the_text_has_addresses_bytes_cycles_and_a_summary() {
    let text = "* Lamps\nLAMPS\tEQU\t$F50001\n\torg\t$400\nFLASH\tMACRO\n\tbchg\t#\\1,LAMPS\n\tENDM\n\
        start\tmoveq\t#3,d0\n\tFLASH\t0\n\tdbra\td0,start\n\tmovem.l\td0-d7/a0-a6,-(sp)\n\
        text\tdc.b\t'LAMP TEST OF THE PANEL, ALL ON',0\n\teven\ncount\tds.w\t3\n\tmove.b\td0,d1,d2\n\tend\n";
    let folder = folder(&[("a.s", text)]);
    let output = run(folder.path(), &["listing", "a.s", "--clock", "8000000"]);
    assert_eq!((output.code, output.err.as_str()), (1, ""));
    let rows = output.out.lines().take_while(|line| !line.contains("error["));
    assert!(rows.into_iter().all(|line| line.chars().count() <= 100), "{}", output.out);
    insta::assert_snapshot!("listing_of_lamps", output.out);
}

#[test]
fn the_exit_code_is_0_without_errors_1_with_one_and_2_where_nothing_could_run() {
    let folder = folder(&[("sound.s", "\trts\n"), ("warning.s", "\tdc.b\t300\n"), ("error.s", "\tclr.l\ta0\n")]);
    let code = |arguments: &[&str]| run(folder.path(), &[&["listing"], arguments].concat()).code;
    assert_eq!(code(&["sound.s"]), 0);
    assert_eq!(code(&["warning.s"]), 0);
    assert_eq!(code(&["error.s"]), 1);
    assert_eq!(code(&["--format", "json", "error.s"]), 1);
    assert_eq!(code(&["absent.s"]), 2);
    assert_eq!(code(&[]), 2);
}

#[test]
fn a_bad_value_of_an_option_is_told_with_what_there_is() {
    let folder = folder(&[("a.s", "\trts\n")]);
    let refused = |arguments: &[&str]| -> String {
        let Output { code, out, err } = run(folder.path(), &[&["listing", "a.s"], arguments].concat());
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}");
        err
    };
    assert!(refused(&["--sizing", "branches=long"]).contains("nearest, jumping, word, short"));
    assert!(refused(&["--sizing", "branch=word"]).contains("branches, references, quick"));
    assert!(refused(&["--sizing", "quick"]).contains("yes, no"));
    assert!(refused(&["--cpu", "68020"]).contains("68000, 68008 and 68010"));
    assert!(refused(&["--origin", "here"]).contains("$C"));
    assert!(refused(&["--define", "=1"]).contains("name"));
    assert!(refused(&["--define", "A=x"]).contains("number"));
    assert!(refused(&["--format", "xml"]).contains("json"));
    assert!(refused(&["--clock", "fast"]).contains("fast"));
    assert!(refused(&["--dialect", "mixed"]).contains("motorola, dotted, mit, sgs"));
}
