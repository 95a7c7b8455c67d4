//! What the firmware's source says of an answer. The firmware of the demo and all others here are made up.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::path::PathBuf;

use reveille_facts::{Model, SessionCause};
use reveille_fixture::{Numbers, firmware_source};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

const MACHINE: &str = "[machine.m]\n[machine.m.monitor]\nprompt = '\\* $'\n";

fn model_of(files: &[(&str, &str)]) -> Model {
    let mut program = Program::default();
    let content = |name: &str, text: &str| match name.ends_with(".s") || name.ends_with(".i") {
        true => Content::Text(File::new(text, None), Encoding::Utf8),
        false => Content::Beside(File::new(text, None)),
    };
    program.set_files(files.iter().map(|it| (PathBuf::from(it.0), content(it.0, it.1))).collect());
    Model::new(program, &[], None)
}

fn model(source: &str) -> Model {
    model_of(&[("a.s", source), ("reveille.toml", MACHINE), ("a.session", "machine m\npress return\n")])
}

fn demo() -> Model {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/demo/skerry/");
    let names = ["boot.s", "disk.s", "load.s", "monitor.s", "skerry.i", "reveille.toml", "first-start.session"];
    let texts: Vec<(&str, String)> =
        names.iter().map(|it| (*it, std::fs::read_to_string(format!("{folder}{it}")).unwrap())).collect();
    let files: Vec<(&str, &str)> = texts.iter().map(|it| (it.0, it.1.as_str())).collect();
    model_of(&files)
}

fn causes(model: &Model, said: &str) -> Vec<SessionCause> {
    model.sessions().first().unwrap().causes(said)
}

/// Each cause: its depth, the text of its line with single blanks, what it says.
fn told(model: &Model, said: &str) -> Vec<(usize, String, String)> {
    let line = |it: &SessionCause| {
        it.at.map_or_else(String::new, |at| {
            let file = model.program().file(at.place.file).unwrap();
            let text = file.at(at.place.chunk, at.place.line).2;
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        })
    };
    let own = causes(model, said);
    own.iter().map(|it| (it.depth, line(it), it.message.clone())).collect()
}

#[test]
fn show() {
    let model = demo();
    let said = std::env::var("SAID").unwrap_or_default();
    for it in told(&model, &said) {
        println!("{}{:40} | {}", "  ".repeat(it.0), it.1, it.2);
    }
    let _ = (Numbers::new(1), firmware_source(10, 1), self::model("\tnop\n"));
}
