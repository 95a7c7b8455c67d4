//! How fast the grammars parse: a whole source or session of 20,000 lines, and one character in a chunk of 256 lines.

use std::{fmt::Write as _, hint::black_box};

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use tree_sitter::{InputEdit, Language, Parser, Point};

/// A source with the usual share of labels, comments, data and macro calls.
fn source(lines: usize, dotted: bool) -> String {
    let mut text = String::new();
    let (mark, hex, dot, colon) = if dotted { ("| ", "0x", ".", ":") } else { ("", "$", "", "") };
    for line in 0..lines {
        let number = line * 7919 % 4096;
        let _ = match line % 16 {
            0 => writeln!(text, "routine_{line}{colon}"),
            1 => writeln!(text, "\tmovem.l\td0-d3/a0-a2,-(sp)\t{mark}keep what is changed"),
            2 => writeln!(text, "\tmove.w\t#{hex}{number:X},d0"),
            3 => writeln!(text, "\tlea\ttable_{number}(pc),a0\t\t{mark}the table"),
            4 => writeln!(text, "loop_{line}{colon}\tmove.b\t(a0)+,{number}(a1)"),
            5 => writeln!(text, "\tadd.l\td0,8(a2,d1.w)"),
            6 => writeln!(text, "\tbeq.s\tloop_{}\t{mark}again", line - 2),
            7 => writeln!(text, "* {number} is the next one to be looked at here"),
            8 => writeln!(text, "\tbsr\troutine_{}", line - 8),
            9 => writeln!(text, "\t{dot}dc.w\t{number},{hex}{number:X},{number}+1,name_{number}-name"),
            10 => writeln!(text, "\t{dot}dc.b\t\"text {number}\",13,10,0"),
            11 => writeln!(text, "\tcmpi.l\t#(name_{number}+4)*2,({hex}{number:X}).w"),
            12 => writeln!(text, "\tstore\td{},{number},a0", number % 8),
            13 => writeln!(text, "\tmovem.l\t(sp)+,d0-d3/a0-a2"),
            14 => writeln!(text, "\trts\t\t\t{mark}back to the caller"),
            _ => writeln!(text),
        };
    }
    text
}

/// A session with the usual share of stages, blocks, dumps and checks.
fn session(lines: usize) -> String {
    let mut text = String::new();
    for line in 0..lines {
        let number = line * 7919 % 4096;
        let _ = match line % 16 {
            0 => writeln!(text, "stage \"Part {line}\""),
            1 => writeln!(text, "  dump routine_{} .. routine_{line} as block_{number} within 10s", line - 1),
            2 => writeln!(text, "  check block_{number} matches source or stop \"another ROM: {number}\""),
            3 => writeln!(text, "  check block_{number}[38 +: 19].sectors_per_track == {} # of it", number % 32),
            4 => writeln!(text, "  repeat {} times", number % 8 + 1),
            5 => writeln!(text, "    press return"),
            6 => writeln!(text, "    await pattern \"^E[0-9]+ {number}\" within 500ms or stop \"no answer\""),
            7 => writeln!(text, "    if block_{number}[510] == $55 and (block_{number}.length >> 1) % 2 != 0"),
            8 => writeln!(text, "      poke long routine_{line} + ${number:x} with 'SK12' & ~{number}"),
            9 => writeln!(text, "    else"),
            10 => writeln!(text, "      ask pen position {number}, speed {number} * 2 as pen_{number}"),
            11 => writeln!(text, "    end"),
            12 => writeln!(text, "  end"),
            13 => writeln!(text, "  read sector {} of track {number} of drive 0 into ${number:x}", number % 9),
            14 => writeln!(text, "  # {number} is the next one to be looked at here"),
            _ => writeln!(text),
        };
    }
    text
}

fn parser(language: &Language) -> Parser {
    let mut parser = Parser::new();
    parser.set_language(language).expect("the library reads this format");
    parser
}

fn benches(criterion: &mut Criterion) {
    let motorola: fn(usize) -> String = |lines| source(lines, false);
    let dotted: fn(usize) -> String = |lines| source(lines, true);
    for (name, language, written) in [
        ("m68k", reveille_grammar::LANGUAGE_M68K, motorola),
        ("m68k_dotted", reveille_grammar::LANGUAGE_M68K_DOTTED, dotted),
        ("m68k_mit", reveille_grammar::LANGUAGE_M68K_MIT, dotted),
        ("m68k_sgs", reveille_grammar::LANGUAGE_M68K_SGS, dotted),
        ("session", reveille_grammar::LANGUAGE_SESSION, session),
    ] {
        let language = Language::from(language);
        let mut parser = parser(&language);

        let text = written(20_000);
        let tree = parser.parse(&text, None).expect("nothing stops the parser");
        assert!(!tree.root_node().has_error());
        let mut group = criterion.benchmark_group(name);
        group.sample_size(20).throughput(Throughput::Bytes(text.len() as u64));
        group.bench_function("full parse of 20000 lines", |bencher| {
            bencher.iter(|| parser.parse(black_box(&text), None));
        });

        let chunk = written(256);
        let at = chunk.find("routine_128").expect("a line of that name") + "routine_1".len();
        let changed = format!("{}9{}", &chunk[..at], &chunk[at..]);
        let row = chunk[..at].matches('\n').count();
        let column = at - chunk[..at].rfind('\n').map_or(0, |it| it + 1);
        let edit = InputEdit {
            start_byte: at,
            old_end_byte: at,
            new_end_byte: at + 1,
            start_position: Point { row, column },
            old_end_position: Point { row, column },
            new_end_position: Point { row, column: column + 1 },
        };
        let old = parser.parse(&chunk, None).expect("nothing stops the parser");
        group.throughput(Throughput::Bytes(chunk.len() as u64));
        group.bench_function("full parse of 256 lines", |bencher| {
            bencher.iter(|| parser.parse(black_box(&chunk), None));
        });
        group.bench_function("one character in 256 lines", |bencher| {
            bencher.iter_batched(
                || {
                    let mut tree = old.clone();
                    tree.edit(&edit);
                    tree
                },
                |tree| parser.parse(black_box(&changed), Some(&tree)),
                criterion::BatchSize::SmallInput,
            );
        });
        group.finish();
    }
}

criterion_group!(parse, benches);
criterion_main!(parse);
