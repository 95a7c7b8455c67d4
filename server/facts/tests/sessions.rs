//! Sessions of a state that follows another are those of the state read afresh, whatever was edited in between.

use std::path::PathBuf;

use reveille_facts::Model;
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

const SOURCE: &str = "\torg\t$400\nbegin\tnop\nwait\tbra.s\twait\ntable\tdc.b\t1,2,3,4\ntable_end\n";
const MACHINE: &str = "[machine.a]\n[[machine.a.memory]]\nname = \"rom\"\nfrom = 0\nsize = \"64k\"\nkind = \"rom\"\n\
    [[machine.a.memory]]\nname = \"ram\"\nfrom = \"$80000\"\nsize = \"64k\"\nkind = \"ram\"\n\
    [machine.a.monitor]\nprompt = '> $'\n[machine.a.monitor.dump]\nsend = \"d {from:x} {bytes}\"\n\
    reply = '^(?<address>[0-9A-F]+) (?<bytes>(?:[0-9A-F]{2} ?)+)'\n";
const SCRIPT: &str =
    "console 9600 8n1\ndump table .. table_end as t\ncheck t[0] == 1\ncheck t[3] == 5\ndump $7fff0 +: 4\n";

/// What is told of the sessions of a model, and what their steps type.
fn told(model: &Model) -> Vec<String> {
    let steps = model.sessions().iter().flat_map(|it| &it.steps).flat_map(|it| it.typed.clone());
    let findings = model.findings().into_iter().map(|it| format!("{} {:?} {}", it.code, it.at, it.message));
    findings.chain(steps).collect()
}

#[test]
fn sessions_behind_an_edit_are_those_of_a_fresh_reading() {
    let mut program = Program::new();
    let mut previous: Option<Model> = None;
    let text = |it: &str| Content::Text(File::new(it, None), Encoding::Utf8);
    let beside = |it: &str| Content::Beside(File::new(it, None));
    let longer = SOURCE.replace("begin\tnop\n", "begin\tnop\n\tnop\n");
    let edits: Vec<(&str, Content)> = vec![
        ("a.s", text(SOURCE)),
        ("reveille.toml", beside(MACHINE)),
        ("a.session", beside(SCRIPT)),
        ("b.session", beside("dump table +: 2 as t\ncheck t[1] == 9\ncheck t matches source\n")),
        ("a.session", beside(&SCRIPT.replace("== 5", "== 4"))),
        ("a.s", text(&longer)),
        ("a.session", beside(&SCRIPT.replace("table_end", "table_ned"))),
        ("reveille.toml", beside(&MACHINE.replace("$80000", "$70000"))),
        ("a.session", beside(SCRIPT)),
        ("a.s", text(&longer.replace("1,2,3,4", "9,9,9,9"))),
        ("b.session", beside("include \"a.session\"\n")),
        ("a.session", beside("include \"b.session\"\n")),
    ];
    let mut seen = Vec::new();
    for (at, (path, content)) in edits.into_iter().enumerate() {
        program.set_files(vec![(PathBuf::from(path), content)]);
        let model = Model::new(program.clone(), &[], previous.as_ref());
        let fresh = told(&Model::new(program.clone(), &[], None));
        assert_eq!(told(&model), fresh, "edit {at}");
        seen.push(fresh);
        previous = Some(model);
    }
    // Each edit has said something new: the comparison was one of different things.
    seen.dedup();
    assert!(seen.len() >= 10, "{seen:#?}");
}

#[test]
fn a_prompt_that_nobody_describes_is_told_before_it_is_waited_for() {
    let mut program = Program::new();
    let beside = |it: &str| Content::Beside(File::new(it, None));
    program.set_files(vec![
        (PathBuf::from("reveille.toml"), beside("[machine.a]\n")),
        (PathBuf::from("a.session"), beside("press return\nawait prompt within 3s\n")),
    ]);
    let found = told(&Model::new(program, &[], None));
    assert!(found.len() == 1 && found[0].starts_with("session-003"), "{found:?}");
    assert!(found[0].contains("write `[machine.a.monitor]` with `prompt`"), "{found:?}");
}
