//! Cold load of a program, and one key in it.

use std::path::PathBuf;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use reveille_program::{Analysis, Content, Program};
use reveille_source::{Document, Encoding, File};

fn programs(criterion: &mut Criterion) {
    for count in [2_000, 20_000, 100_000] {
        let text = reveille_fixture::firmware_source(count, 1);
        let load = |text: &str| {
            let mut program = Program::new();
            program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))]);
            let analysis = Analysis::new(&program, &[], None);
            (program, analysis)
        };
        criterion.bench_function(&format!("cold load of {count} lines"), |bench| bench.iter(|| load(&text)));
        let (program, analysis) = load(&text);
        let id = program.files().next().map(|file| file.id());
        let document = Document::new(&text, None);
        let at = text[text.len() / 2..].find("d0").map_or(0, |found| text.len() / 2 + found);
        criterion.bench_function(&format!("one key in {count} lines, to the analysis"), |bench| {
            bench.iter_batched_ref(
                || (document.clone(), program.clone()),
                |(document, program)| {
                    let splice = document.edit(at..at + 2, "d1");
                    if let (Some(id), Ok(splice)) = (id, splice) {
                        program.edit_file(id, document.file().clone(), splice);
                    }
                    Analysis::new(program, &[], Some(&analysis))
                },
                BatchSize::SmallInput,
            );
        });
    }
}

criterion_group!(benches, programs);
criterion_main!(benches);
