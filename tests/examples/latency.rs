//! Measures the built server from outside, over pipes: `cargo run --release -p reveille-tests --example latency`.
//!
//! Prints a line a measurement: what, lines of the document, p50, p99 and worst in milliseconds; then memory.

#![allow(clippy::print_stdout, reason = "the figures are for a person at a terminal")]

use std::time::{Duration, Instant};

use reveille_tests::{Client, capabilities};
use serde_json::json;

fn main() {
    println!("{:<28} {:>7} {:>9} {:>9} {:>9}", "what", "lines", "p50 ms", "p99 ms", "worst ms");
    for lines in [2_000, 20_000, 100_000] {
        measure(lines);
    }
}

fn report(what: &str, lines: usize, mut times: Vec<Duration>) {
    times.sort();
    let ms = |at: f64| times[((times.len() - 1) as f64 * at) as usize].as_secs_f64() * 1e3;
    println!("{what:<28} {lines:>7} {:>9.3} {:>9.3} {:>9.3}", ms(0.5), ms(0.99), ms(1.0));
}

fn memory(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    line.and_then(|it| it.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

fn measure(lines: usize) {
    let text = reveille_fixture::firmware_source(lines, 1);
    let all: Vec<&str> = text.lines().collect();
    let uri = "file:///firmware/generated.s";
    let begin = Instant::now();
    let mut client = Client::start(None, &capabilities("utf-16"));
    report("initialize", 0, vec![begin.elapsed()]);
    let before = memory(client.process());

    let begin = Instant::now();
    client.open(uri, &text);
    let (at, _) = client.findings(uri, 1);
    report("open to findings", lines, vec![at - begin]);
    let opened = memory(client.process());

    // Keys in the middle of the document, each waited for.
    let code = (all.len() / 2..all.len()).find(|at| all[*at].starts_with("\tmove.w\t#")).unwrap_or(0);
    let end = all[code].len();
    let mut version = 1;
    let mut times = Vec::new();
    let mut hovers = Vec::new();
    for key in 0..400 {
        version += 1;
        let (range, text) = if key % 2 == 0 {
            (json!({ "start": { "line": code, "character": end }, "end": { "line": code, "character": end } }), "x")
        } else {
            (json!({ "start": { "line": code, "character": end }, "end": { "line": code, "character": end + 1 } }), "")
        };
        let begin = Instant::now();
        client.change(uri, version, range, text);
        let (at, _) = client.findings(uri, version);
        times.push(at - begin);
        if key % 4 == 0 {
            let column = all[code].find('#').unwrap_or(0) + 2;
            let (time, answer) = client.timed(
                "textDocument/hover",
                json!({ "textDocument": { "uri": uri }, "position": { "line": code, "character": column } }),
            );
            assert!(answer["result"].is_object(), "{answer}");
            hovers.push(time);
        }
    }
    report("key to findings", lines, times);
    report("hover, findings ready", lines, hovers);

    let mut times = Vec::new();
    for key in 0..200 {
        version += 1;
        let (range, text) = if key % 2 == 0 {
            (json!({ "start": { "line": code, "character": end }, "end": { "line": code, "character": end } }), "x")
        } else {
            (json!({ "start": { "line": code, "character": end }, "end": { "line": code, "character": end + 1 } }), "")
        };
        let begin = Instant::now();
        client.change(uri, version, range, text);
        let column = all[code].find('#').unwrap_or(0) + 2;
        let _ = client.request(
            "textDocument/hover",
            json!({ "textDocument": { "uri": uri }, "position": { "line": code, "character": column } }),
        );
        times.push(begin.elapsed());
        let _ = client.findings(uri, version);
    }
    report("hover right after a key", lines, times);

    let mut burst = Vec::new();
    for _ in 0..20 {
        let begin = Instant::now();
        for _ in 0..29 {
            version += 1;
            let range =
                json!({ "start": { "line": code, "character": end }, "end": { "line": code, "character": end } });
            client.change(uri, version, range, "x");
        }
        let (at, _) = client.findings(uri, version);
        burst.push(at - begin);
    }
    report("29 keys to last findings", lines, burst);

    let keyed = memory(client.process());
    for (what, method, params) in [
        (
            "definition",
            "textDocument/definition",
            json!({ "textDocument": { "uri": uri }, "position": { "line": code, "character": all[code].find('#').unwrap_or(0) + 2 } }),
        ),
        ("document symbols", "textDocument/documentSymbol", json!({ "textDocument": { "uri": uri } })),
        ("workspace symbols", "workspace/symbol", json!({ "query": "rout12" })),
        ("semantic tokens, whole", "textDocument/semanticTokens/full", json!({ "textDocument": { "uri": uri } })),
        (
            "selection",
            "textDocument/selectionRange",
            json!({ "textDocument": { "uri": uri }, "positions": [{ "line": code, "character": 3 }] }),
        ),
    ] {
        let mut times = Vec::new();
        for _ in 0..20 {
            let (time, answer) = client.timed(method, params.clone());
            assert!(answer.get("error").is_none(), "{answer}");
            times.push(time);
        }
        report(what, lines, times);
    }
    let after = memory(client.process());
    println!(
        "memory: {before} KiB at start; {:.1} bytes a source byte open, {:.1} after 1180 keys, {:.1} after all requests",
        (opened - before) as f64 * 1024.0 / text.len() as f64,
        (keyed - before) as f64 * 1024.0 / text.len() as f64,
        (after - before) as f64 * 1024.0 / text.len() as f64
    );
    client.stop();
}
