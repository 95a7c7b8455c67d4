//! What an editor asks, once the findings are there.

use std::path::PathBuf;

use criterion::{Criterion, criterion_group, criterion_main};
use reveille_facts::Model;
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

fn editor(criterion: &mut Criterion) {
    for count in [2_000, 20_000] {
        let text = reveille_fixture::firmware_source(count, 1);
        let mut program = Program::new();
        program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(&text, None), Encoding::Utf8))]);
        let model = Model::new(program, &[], None);
        let Some(file) = model.program().files().next().map(|file| file.id()) else { return };
        let middle = text.len() / 2;
        let name = text[middle..].find("rout").map_or(0, |at| middle + at + 1);
        let mut bench = |what: &str, run: &dyn Fn()| {
            criterion.bench_function(&format!("{what}, {count} lines"), |bench| bench.iter(run));
        };
        bench("hover on a name", &|| drop(reveille_editor::hover(&model, file, name)));
        bench("definition", &|| drop(reveille_editor::definition(&model, file, name)));
        bench("references", &|| drop(reveille_editor::references(&model, file, name, true)));
        bench("outline", &|| drop(reveille_editor::outline(&model, file)));
        bench("semantic tokens", &|| drop(reveille_editor::semantic_tokens(&model, file, 0..usize::MAX)));
        bench("semantic tokens of 60 lines", &|| drop(reveille_editor::semantic_tokens(&model, file, 500..560)));
        bench("completion", &|| drop(reveille_editor::completions(&model, file, name)));
        bench("search", &|| drop(reveille_editor::search(&model, "rout12")));
    }
    session(criterion);
}

/// A script of some hundred steps beside a firmware.
fn session(criterion: &mut Criterion) {
    const MACHINE: &str = "[machine.m.monitor]\nprompt = '> $'\n[machine.m.monitor.dump]\nsend = \"list {from:x} {bytes:x}\"\nreply = '^(?<bytes>[0-9A-F ]+)'\nmost = 256\n";
    let source = format!("BUF\tEQU\t$90000\n{}", reveille_fixture::firmware_source(2_000, 1));
    let steps = (0..200).map(|it| format!("  dump BUF + {it} * 512 +: 512 as d{it}\n  check d{it}[510] == $55\n"));
    let script = format!("console 9600 8n1\nstage \"All\"\n{}", steps.collect::<String>());
    let text = |text: &str| File::new(text, None);
    let mut program = Program::new();
    program.set_files(vec![
        (PathBuf::from("a.s"), Content::Text(text(&source), Encoding::Utf8)),
        (PathBuf::from("reveille.toml"), Content::Beside(text(MACHINE))),
        (PathBuf::from("x.session"), Content::Beside(text(&script))),
    ]);
    let model = Model::new(program.clone(), &[], None);
    let Some(file) = model.program().file_at("x.session".as_ref()).map(|it| it.id()) else { return };
    let middle = script.len() / 2;
    let name = script[middle..].find("BUF").map_or(0, |at| middle + at + 1);
    let mut bench = |what: &str, run: &dyn Fn()| {
        criterion.bench_function(&format!("{what}, session of 400 steps"), |bench| bench.iter(run));
    };
    // The sources have not changed: what is measured is the session's own check.
    bench("check", &|| {
        let again = Model::new(program.clone(), &[], Some(&model));
        drop(again.findings_in(file));
    });
    bench("hover on a name", &|| drop(reveille_editor::hover(&model, file, name)));
    bench("completion", &|| drop(reveille_editor::completions(&model, file, name)));
    bench("semantic tokens", &|| drop(reveille_editor::semantic_tokens(&model, file, 0..usize::MAX)));
    bench("layout", &|| drop(reveille_editor::format_session(&script)));
}

criterion_group!(benches, editor);
criterion_main!(benches);
