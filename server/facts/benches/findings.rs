//! From text to findings: cold, after one key, with a thousand tables; and from an image to findings.

use std::path::PathBuf;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use reveille_decoders::formats;
use reveille_decoders::volume::{Arrangement, Moment, NewEntry, OrderKind, RawName, raw_name, write};
use reveille_facts::Model;
use reveille_facts::image::{Question, Table, check};
use reveille_program::{Content, Program};
use reveille_source::{Document, Encoding, File};

fn load(text: &str) -> Model {
    let mut program = Program::new();
    program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))]);
    Model::new(program, &[], None)
}

fn findings(criterion: &mut Criterion) {
    for count in [2_000, 20_000, 100_000] {
        let text = reveille_fixture::firmware_source(count, 1);
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

/// Tables of all families, one behind the other.
const TABLES: &str = "disk_bpb\tdc.b\t0,2,2,1,0,2,112,0,$A0,5,$F9,3,0,9,0,2,0,0,0\n\teven\n\
word_bpb\tdc.w\t512,2,1024,7,5,6,18,711,0\n\
disk_dpb\tdc.w\t26,$0307,0,242,63,$C000,16,2\n\
skewtab\tdc.b\t1,7,13,19,25,5,11,17,23,3,9,15,21,2,8,14,20,26,6,12,18,24,4,10,16,22\n\teven\n\
drives\tdc.w\t80,2,9,512\n";

fn tables(criterion: &mut Criterion) {
    let mut text = String::new();
    for at in 0..200 {
        for line in TABLES.lines() {
            let number = if line.starts_with('\t') { String::new() } else { format!("n{at}_") };
            text.push_str(&number);
            text.push_str(line);
            text.push('\n');
        }
    }
    criterion.bench_function("1,000 tables of five kinds to findings", |bench| {
        bench.iter(|| {
            let mut program = Program::new();
            program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(&text, None), Encoding::Utf8))]);
            Model::new(program, &[], None).findings().len()
        });
    });
}

/// Set-ups of a console, as many as a large firmware never has: routines, tables, constants, vectors.
fn lines(criterion: &mut Criterion) {
    let mut text =
        "DUART\tequ\t$F00001\t\tMC68681, 3.6864 MHz\nCRA\tequ\t4\nCSRA\tequ\t2\nACR\tequ\t8\n\torg\t$1000\n".to_owned();
    for at in 0..500 {
        text += &format!(
            "init{at}\tlea\tDUART,a0\n\tmove.b\t#$10,CRA(a0)\n\tmove.b\t#$13,(a0)\n\tmove.b\t#$07,(a0)\n\tmove.b\t#$BB,CSRA(a0)\n\tmove.b\t#$80,ACR(a0)\n\trts\n"
        );
        text += &format!("sccinit{at}\tdc.b\t9,$C0,4,$44,3,$C1,5,$EA,11,$50,12,6,13,0,14,3\n");
    }
    criterion.bench_function("1,000 set-ups of serial lines to findings", |bench| {
        bench.iter(|| {
            let mut program = Program::new();
            program.set_files(vec![(PathBuf::from("a.s"), Content::Text(File::new(&text, None), Encoding::Utf8))]);
            let model = Model::new(program, &[], None);
            (model.lines().count(), model.findings().len())
        });
    });
}

fn images(criterion: &mut Criterion) {
    let table = formats().iter().find(|it| it.name == "1440k").and_then(|it| Table::of_format(it).ok());
    let (Some(table), Ok(moment)) = (table, Moment::new([1986, 3, 3], [12, 0, 0])) else { return };
    let content = vec![0x4e; 500_000];
    let names: Vec<RawName> = ["FIRST.SYS", "SECOND.SYS"].iter().filter_map(|it| raw_name(it).ok()).collect();
    let files: Vec<NewEntry<'_>> = names.iter().map(|name| NewEntry { path: vec![*name], bytes: &content }).collect();
    let make = || write(&table.geometry, &files, None, moment).map_or_else(|_| Vec::new(), |it| it.bytes);
    criterion.bench_function("a volume of 1.44 MB with two files", |bench| bench.iter(make));
    let image = make();
    let Ok(arrangement) = Arrangement::new(OrderKind::ByCylinder, &table.geometry) else { return };
    criterion.bench_function("check of an image of 1.44 MB", |bench| {
        bench.iter(|| check(&Question { bytes: &image, arrangement, table: &table, boot: None }).findings.len());
    });
}

/// The way from power-on through a monitor with many commands and texts, each behind a condition of its own.
fn way(criterion: &mut Criterion) {
    const ROUTINES: usize = 2_000;
    let mut text = String::from("\torg\t0\n\tdc.l\t$80000,start\nstart\tmove.b\t$F30001,d0\n");
    for at in 0..ROUTINES {
        text.push_str(&format!("\tbsr.w\tr{at}\n"));
    }
    text.push_str("\trts\nputs\tmove.b\t(a0)+,d0\n\tbne.s\tputs\n\trts\n");
    for at in 0..ROUTINES {
        text.push_str(&format!(
            "r{at}\tcmp.b\t#{},d0\n\tbeq.s\tq{at}\n\tlea\tm{at}(pc),a0\n\tbsr.w\tputs\nq{at}\trts\n",
            at % 128
        ));
        text.push_str(&format!("m{at}\tdc.b\t'E{at} no such thing',0\n\teven\n"));
    }
    criterion.bench_function(&format!("the way from power-on through {ROUTINES} routines and texts"), |bench| {
        bench.iter_batched(|| load(&text), |model| model.boot().len(), BatchSize::LargeInput);
    });
}

criterion_group!(benches, way, findings, tables, lines, images);
criterion_main!(benches);
