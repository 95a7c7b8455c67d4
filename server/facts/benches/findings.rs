//! From text to findings: cold, and after one key.

use std::path::PathBuf;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use reveille_facts::Model;
use reveille_program::{Content, Program};
use reveille_source::{Document, Encoding, File};

fn findings(criterion: &mut Criterion) {
    for count in [2_000, 20_000, 100_000] {
        let text = reveille_fixture::firmware_source(count, 1);
        let load = |text: &str| {
            let mut program = Program::new();
            program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))]);
            Model::new(program, &[], None)
        };
        criterion.bench_function(&format!("{count} lines to findings"), |bench| bench.iter(|| load(&text)));
        let model = load(&text);
        let id = model.program().files().next().map(|file| file.id());
        let document = Document::new(&text, None);
        let at = text[text.len() / 2..].find("d0").map_or(0, |found| text.len() / 2 + found);
        criterion.bench_function(&format!("one key in {count} lines to findings"), |bench| {
            bench.iter_batched_ref(
                || (document.clone(), model.program().clone()),
                |(document, program)| {
                    let splice = document.edit(at..at + 2, "d1");
                    if let (Some(id), Ok(splice)) = (id, splice) {
                        program.edit_file(id, document.file().clone(), splice);
                    }
                    let model = Model::new(program.clone(), &[], Some(&model));
                    model.findings().len()
                },
                BatchSize::SmallInput,
            );
        });
    }
}

criterion_group!(benches, findings);
criterion_main!(benches);
