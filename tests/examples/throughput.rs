//! Measures `reveille listing` and `reveille lint` against GNU as on generated sources:
//! `cargo run --release -p reveille-tests --example throughput`. `cargo build --release -p reveille` first: the built program is measured.
//!
//! Prints a line a command: lines of the source, medians of seven runs (wall, user and system seconds), lines a second, and the ratio
//! of its wall and CPU time to those of GNU as in the same run. The commands take turns, so that what else the machine does meets all
//! of them. At the end: what a line costs at a million lines over what it costs at a hundred thousand. Nothing is asserted.

#![allow(clippy::print_stdout, reason = "the figures are for a person at a terminal")]

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// An odd number, so that there is a run in the middle.
const RUNS: usize = 7;

/// What a run took, in seconds.
#[derive(Clone, Copy, Default)]
struct Cost {
    wall: f64,
    cpu: f64,
}

struct Judged {
    name: &'static str,
    arguments: Vec<&'static str>,
    is_ours: bool,
}

fn commands() -> Vec<Judged> {
    let assembler = ["--mri", "--register-prefix-optional", "-m68000", "a.s", "-o", "a.o"];
    let ours = |name, arguments: &[&'static str]| Judged { name, arguments: arguments.to_vec(), is_ours: true };
    vec![
        Judged { name: "GNU as", arguments: assembler.to_vec(), is_ours: false },
        Judged { name: "GNU as -al", arguments: [&["-al"], &assembler[..]].concat(), is_ours: false },
        ours("lint", &["lint", "a.s"]),
        ours("listing", &["listing", "a.s"]),
        ours("listing json", &["listing", "--format", "json", "a.s"]),
    ]
}

/// User and system seconds of all children that have ended: fields 16 and 17 of /proc/self/stat, in ticks of which there are 100 a second
/// (proc(5)).
fn children_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // The name of the program is in brackets and may hold blanks.
    let rest = stat.rsplit_once(')').map_or("", |it| it.1);
    let ticks = |at: usize| rest.split_whitespace().nth(at).and_then(|it| it.parse::<f64>().ok()).unwrap_or(0.0);
    (ticks(13) + ticks(14)) / 100.0
}

fn run(command: &Judged, folder: &Path) -> Cost {
    let mut process =
        if command.is_ours { Command::new(reveille_tests::program()) } else { Command::new("m68k-linux-gnu-as") };
    process
        .args(&command.arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let (before, begin) = (children_seconds(), Instant::now());
    let status = process.status();
    let wall = begin.elapsed().as_secs_f64();
    match status {
        Ok(status) if status.code() == Some(0) => Cost { wall, cpu: children_seconds() - before },
        other => panic!("{} does not run: {other:?}", command.name),
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn measure(lines: usize) -> Vec<Cost> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = reveille_fixture::firmware_source(lines, 1);
    let lines = source.lines().count();
    std::fs::write(folder.path().join("a.s"), source).expect("the folder can be written to");
    let commands = commands();
    let mut costs = vec![Vec::new(); commands.len()];
    for _ in 0..RUNS {
        for (command, costs) in commands.iter().zip(&mut costs) {
            costs.push(run(command, folder.path()));
        }
    }
    let medians: Vec<Cost> = costs
        .iter()
        .map(|runs| Cost {
            wall: median(runs.iter().map(|it| it.wall).collect()),
            cpu: median(runs.iter().map(|it| it.cpu).collect()),
        })
        .collect();
    for (command, cost) in commands.iter().zip(&medians) {
        // What writes a listing is held against the assembler that writes one.
        let judge = medians[usize::from(command.name != "GNU as" && command.name != "lint")];
        println!(
            "{lines:>8} {:<13} {:>8.3} {:>8.2} {:>12.0} {:>7.2} {:>7.2}",
            command.name,
            cost.wall,
            cost.cpu,
            lines as f64 / cost.wall,
            cost.wall / judge.wall,
            cost.cpu / judge.cpu.max(0.005),
        );
    }
    medians.into_iter().map(|it| Cost { wall: it.wall / lines as f64, cpu: it.cpu / lines as f64 }).collect()
}

fn main() {
    println!(
        "{:>8} {:<13} {:>8} {:>8} {:>12} {:>7} {:>7}",
        "lines", "what", "wall s", "CPU s", "lines/s", "wall x", "CPU x"
    );
    let _ = measure(20_000);
    let small = measure(100_000);
    let large = measure(1_000_000);
    println!("\ncost of a line at 1,000,000 over that at 100,000");
    for ((command, small), large) in commands().iter().zip(small).zip(large) {
        println!("{:<13} wall {:.2}, CPU {:.2}", command.name, large.wall / small.wall, large.cpu / small.cpu);
    }
}
