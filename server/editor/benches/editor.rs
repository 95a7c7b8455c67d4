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
}

criterion_group!(benches, editor);
criterion_main!(benches);
