//! How fast lines are read: a whole file, and one edit of a large one.

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use reveille_source::{Dialect, Document, read_lines};

fn lines(criterion: &mut Criterion) {
    let text = reveille_fixture::firmware_source(20_000, 1);
    let mut group = criterion.benchmark_group("line reader");
    group.throughput(Throughput::Bytes(text.len() as u64));
    group.bench_function("20,000 lines", |bench| bench.iter(|| read_lines(&text, Dialect::Motorola, true)));
    group.bench_function("20,000 lines into a document", |bench| bench.iter(|| Document::new(&text, None)));
    group.finish();
    for count in [2_000, 20_000, 100_000] {
        let text = reveille_fixture::firmware_source(count, 1);
        let document = Document::new(&text, None);
        criterion.bench_function(&format!("one key in {count} lines"), |bench| {
            bench.iter_batched_ref(
                || document.clone(),
                |document| document.edit(text.len() / 2..text.len() / 2, "x"),
                BatchSize::SmallInput,
            );
        });
    }
}

criterion_group!(benches, lines);
criterion_main!(benches);
