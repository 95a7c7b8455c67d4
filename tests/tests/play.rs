//! `reveille play` from outside: rehearsals of the demo, and sessions with another machine's monitor, a separate process on a pseudo-terminal.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use reveille_tests::{Output, file, folder, names, run, tests_folder};
use serde_json::Value;

/// The bench machine's vocabulary, which has nothing of the demo's.
const MACHINE: &str = r#"
[machine.bench]
title = "a machine on the bench"

[[machine.bench.memory]]
name = "ram"
from = "$0"
size = "64k"
kind = "ram"

[machine.bench.monitor]
prompt = 'READY>$'
error  = '^\?\? '
cancel = "\u0015"

[machine.bench.monitor.dump]
send  = "mem {from:x} {bytes:x}"
reply = '^(?<address>[0-9a-f]{4})> (?<bytes>(?:[0-9a-f]{4} ?){1,8})'

[machine.bench.monitor.poke]
send = "set {at:x} {value:x}"

[machine.bench.monitor.write-sector]
send = "save {sector:x}"
"#;

/// What byte the bench machine has at an address.
fn expected(range: std::ops::Range<u32>) -> Vec<u8> {
    range.map(|it| (it * 5 + 1) as u8).collect()
}

/// The bench machine as a process; it ends with this value.
struct Bench {
    child: Child,
    terminal: String,
}

impl Bench {
    fn start(folder: &Path, options: &[&str]) -> Self {
        let mut command = Command::new("python3");
        command.arg(tests_folder().join("peers/bench.py")).arg(folder.join("crossed")).args(options);
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the machine starts");
        let mut terminal = String::new();
        let output = child.stdout.take().expect("standard output is a pipe");
        BufReader::new(output).read_line(&mut terminal).expect("the machine names its terminal");
        Self { child, terminal: terminal.trim_end().to_owned() }
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn bytes_of(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2).map(|at| u8::from_str_radix(&hex[2 * at..2 * at + 2], 16).expect("hex")).collect()
}

/// What crossed at the machine's end: what it took, and what it gave.
fn crossed(folder: &Path) -> (Vec<u8>, Vec<u8>) {
    let text = String::from_utf8(file(folder, "crossed")).expect("text");
    let of =
        |word: &str| text.lines().filter_map(|it| it.strip_prefix(word)).flat_map(|it| bytes_of(it.trim())).collect();
    (of("in "), of("out "))
}

/// What a log says: what was sent, and what came.
fn logged(folder: &Path, name: &str) -> (Vec<u8>, Vec<u8>) {
    let text = String::from_utf8(file(folder, name)).expect("text");
    let mut found = (Vec::new(), Vec::new());
    let mut last = 0.0;
    for line in text.lines().filter(|it| !it.starts_with('#')) {
        let (time, rest) = line.trim().split_once(' ').expect("a time");
        let time: f64 = time.parse().expect("a time");
        assert!(time >= last, "times rise: {line}");
        last = time;
        let (word, quoted) = rest.split_once(' ').expect("bytes");
        let mut bytes = Vec::new();
        let mut chars = quoted[1..quoted.len() - 1].bytes();
        while let Some(byte) = chars.next() {
            bytes.push(match byte {
                b'\\' => match chars.next().expect("an escape") {
                    b'r' => b'\r',
                    b'n' => b'\n',
                    b'x' => {
                        let digits = [chars.next().expect("a digit"), chars.next().expect("a digit")];
                        u8::from_str_radix(std::str::from_utf8(&digits).expect("digits"), 16).expect("hex")
                    }
                    other => other,
                },
                other => other,
            });
        }
        if word == "sent" { found.0.extend(bytes) } else { found.1.extend(bytes) }
    }
    found
}

const SCRIPT: &str = r#"machine bench
console 9600 8n1
log "bench.log"
stage "There?"
  press return
  await prompt within 3s
stage "Look"
  dump $400 +: 64 as a within 4s
  check a[0] == 1 and a[1] == 6
  keep a in "a.bin"
"#;

/// Plays a script with the bench machine; the report with it.
fn play(folder: &Path, peer: &[&str], arguments: &[&str]) -> (Output, Value) {
    let bench = Bench::start(folder, peer);
    let terminal = bench.terminal.clone();
    let mut all = vec!["play", "s.session", "--port", &terminal, "--report", "report.json", "--force"];
    all.extend(arguments);
    let output = run(folder, &all);
    drop(bench);
    let report = std::fs::read(folder.join("report.json")).unwrap_or_default();
    (output, serde_json::from_slice(&report).unwrap_or_default())
}

fn bench_folder(script: &str) -> tempfile::TempDir {
    folder(&[("reveille.toml", MACHINE.as_bytes()), ("s.session", script.as_bytes())])
}

fn text(output: &Output) -> String {
    format!("{}{}", output.out, output.err)
}

#[test]
fn a_session_with_a_machine_of_another_vocabulary_holds() {
    let it = bench_folder(SCRIPT);
    let (output, report) = play(it.path(), &[], &[]);
    assert_eq!(output.code, 0, "{}", text(&output));
    assert_eq!(file(it.path(), "a.bin"), expected(0x400..0x440));
    assert_eq!(report["verdict"], "held");
    assert_eq!(report["kind"], "session");
    let (taken, given) = crossed(it.path());
    assert_eq!(logged(it.path(), "bench.log"), (taken.clone(), given), "the log has what crossed");
    assert_eq!(taken, b"\rmem 400 40\r");
    // 9600 bit/s with 10 bits a character (EIA-404): what came cannot have taken less.
    let least = report["came"].as_f64().expect("a number") / 960.0;
    assert!(report["seconds"].as_f64().expect("a number") > least * 0.9, "{report}");
}

#[test]
fn each_fault_of_the_line_has_its_verdict_and_a_whole_log() {
    // Bytes 0 to 17 answer the first return; the dump's echo, and then its lines, follow.
    for (mode, at, code, said) in [
        ("drop", 61, 0, ""),
        ("double", 61, 0, ""),
        ("garble", 61, 0, ""),
        ("drop", 22, 0, ""),
        ("garble", 22, 0, ""),
        ("prompt", 60, 0, ""),
        ("reset", 60, 0, ""),
        ("silence", 60, 1, "it did not come within 4.0 s"),
        ("silence", 0, 1, "nothing came within 3.0 s"),
        ("silence", 22, 1, "was typed and did not come back"),
        ("unplug", 60, 1, "the line was closed at the other end"),
        // What never ends is ended by the cancel key, and asked for again.
        ("endless", 60, 0, ""),
        ("junk", 60, 1, "bytes came without what was waited for"),
    ] {
        let name = format!("{mode} at {at}");
        // Ten million bytes may take longer than is waited for them.
        let retries = if mode == "junk" { "0" } else { "1" };
        let it = bench_folder(SCRIPT);
        let start = Instant::now();
        let (output, report) = play(it.path(), &["--mode", mode, "--at", &at.to_string()], &["--retries", retries]);
        // No measure of speed: a hang would never end.
        assert!(start.elapsed() < Duration::from_secs(100), "{name}");
        let told = text(&output);
        assert_eq!(output.code, code, "{name}: {told}");
        assert!(told.contains(said), "{name}: {told}");
        if code == 0 {
            assert_eq!(file(it.path(), "a.bin"), expected(0x400..0x440), "{name}");
            let steps = report["stages"][1]["steps"].as_array().expect("steps");
            assert_eq!(steps[0]["retries"], 1, "{name}: {told}");
        }
        let ((sent, came), (taken, given)) = (logged(it.path(), "bench.log"), crossed(it.path()));
        assert!(given.starts_with(&came), "{name}: what came is in the log, and nothing else");
        assert!(sent.starts_with(&taken), "{name}: what was sent is in the log");
        if code == 0 {
            assert_eq!((sent, came), (taken, given), "{name}");
        }
    }
}

#[test]
fn a_reply_without_end_ends_with_its_time() {
    let it = bench_folder(SCRIPT);
    let (output, report) = play(it.path(), &["--mode", "endless", "--at", "60"], &["--retries", "0"]);
    assert_eq!(output.code, 1, "{}", text(&output));
    let step = &report["stages"][1]["steps"][0];
    assert_eq!(step["verdict"], "failed");
    assert!(step["message"].as_str().is_some_and(|it| it.contains("within 4.0 s")), "{step}");
}

#[test]
fn a_machine_without_echo_is_talked_to_as_the_file_says() {
    let machine = MACHINE.replace("cancel =", "echo   = false\ncancel =");
    let it = folder(&[("reveille.toml", machine.as_bytes()), ("s.session", SCRIPT.as_bytes())]);
    let (output, _) = play(it.path(), &["--echo", "no"], &[]);
    assert_eq!(output.code, 0, "{}", text(&output));
    // And one that should have one, and has none, is noticed at the first character.
    let it = bench_folder(SCRIPT);
    let (output, _) = play(it.path(), &["--echo", "no"], &[]);
    assert_eq!(output.code, 1);
    assert!(text(&output).contains("`m` was typed and did not come back"), "{}", text(&output));
}

#[test]
fn a_step_that_changes_something_needs_its_leave_and_a_person() {
    let writes = "machine bench\nconsole 9600 8n1\nstage \"w\"\n  confirm \"A copy?\"\n  write sector 3 from $400\n";
    let it = bench_folder(writes);
    let (output, _) = play(it.path(), &[], &[]);
    assert_eq!(output.code, 2, "{}", text(&output));
    assert!(text(&output).contains("line 5 changes disk: it is done only with `--allow disk`"), "{}", text(&output));
    assert_eq!(crossed(it.path()).0, b"", "nothing was sent");
    // Here no person can be asked.
    let (output, _) = play(it.path(), &[], &["--allow", "disk"]);
    assert_eq!(output.code, 2, "{}", text(&output));
    assert!(text(&output).contains("nobody can be asked here"), "{}", text(&output));
    assert_eq!(crossed(it.path()).0, b"", "nothing was sent");
    // A rehearsal answers by itself, and needs the same leave.
    assert_eq!(run(it.path(), &["play", "s.session"]).code, 2);
    let output = run(it.path(), &["play", "s.session", "--allow", "disk"]);
    assert!(text(&output).contains("yes, since this is a rehearsal"), "{}", text(&output));
}

/// Plays with a terminal in front: `script` (bsdutils) gives one, and types an answer into it.
fn play_in_a_terminal(folder: &Path, arguments: &str, answer: &str) -> (Option<i32>, String) {
    let command = format!("{} play s.session --allow disk {arguments}", reveille_tests::program().display());
    let mut script = Command::new("script");
    script.args(["-qec", &command, "/dev/null"]).current_dir(folder).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = script.spawn().expect("script starts");
    let mut typing = child.stdin.take().expect("standard input is a pipe");
    typing.write_all(answer.as_bytes()).expect("it takes an answer");
    let output = child.wait_with_output().expect("it ends");
    drop(typing);
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
}

#[test]
fn a_person_at_a_terminal_is_asked_and_decides() {
    let writes = "machine bench\nconsole 9600 8n1\nconfirm \"A copy?\"\nwrite sector 3 from $400\n";
    for (answer, code, typed) in [("yes\n", 0, &b"save 3\r"[..]), ("no\n", 2, b""), ("\n", 2, b"")] {
        let it = bench_folder(writes);
        let bench = Bench::start(it.path(), &[]);
        let (found, told) = play_in_a_terminal(it.path(), &format!("--port {}", bench.terminal), answer);
        drop(bench);
        assert_eq!(found, Some(code), "{answer:?}: {told}");
        assert!(told.contains("A copy? [yes/no]"), "{told}");
        assert_eq!(crossed(it.path()).0, typed, "{answer:?}");
    }
}

#[test]
fn files_that_are_there_are_not_replaced() {
    let it = bench_folder(SCRIPT);
    std::fs::write(it.path().join("a.bin"), "mine").expect("a file");
    let bench = Bench::start(it.path(), &[]);
    let output = run(it.path(), &["play", "s.session", "--port", &bench.terminal]);
    assert_eq!(output.code, 2, "{}", text(&output));
    assert!(text(&output).contains("`a.bin` is there already"), "{}", text(&output));
    drop(bench);
    assert_eq!(crossed(it.path()).0, b"", "nothing was sent");
    std::fs::remove_file(it.path().join("a.bin")).expect("it is gone");
    // A log is never replaced, but that of a rehearsal.
    for expected in [vec!["bench.log"], vec!["bench.log"], vec!["bench-2.log", "bench.log"]] {
        if expected.len() == 2 {
            std::fs::write(it.path().join("bench.log"), "# reveille session log, form 1\n# session of mine\n")
                .expect("a file");
        }
        assert_eq!(run(it.path(), &["play", "s.session"]).code, 1, "a rehearsal has other bytes");
        let logs: Vec<String> = names(it.path()).into_iter().filter(|it| it.ends_with(".log")).collect();
        assert_eq!(logs, expected);
    }
}

#[test]
fn a_log_is_played_again_without_the_machine() {
    let it = bench_folder(SCRIPT);
    let (output, _) = play(it.path(), &[], &[]);
    assert_eq!(output.code, 0, "{}", text(&output));
    let output = run(it.path(), &["play", "s.session", "--replay", "bench.log", "--log-to", "again.log"]);
    assert_eq!(output.code, 0, "{}", text(&output));
    assert_eq!(logged(it.path(), "again.log"), logged(it.path(), "bench.log"));
    // A script that sends something else is told where.
    std::fs::write(it.path().join("s.session"), SCRIPT.replace("$400", "$480")).expect("a file");
    let output = run(it.path(), &["play", "s.session", "--replay", "bench.log", "--log-to", "other.log"]);
    assert_eq!(output.code, 2, "{}", text(&output));
    assert!(text(&output).contains("where the log has"), "{}", text(&output));
}

#[test]
fn interrupted_anywhere_it_ends_with_a_whole_log() {
    for wait in [300, 900, 1500] {
        let it = bench_folder(&SCRIPT.replace("+: 64 as a within 4s", "+: $1000 as a"));
        let bench = Bench::start(it.path(), &[]);
        let mut command = Command::new(reveille_tests::program());
        command.args(["play", "s.session", "--port", &bench.terminal, "--quiet"]).current_dir(it.path());
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).spawn().expect("it starts");
        std::thread::sleep(Duration::from_millis(wait));
        let killed = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill starts");
        assert!(killed.success());
        let status = child.wait().expect("it ends");
        assert_eq!(status.code(), Some(2), "after {wait} ms");
        std::thread::sleep(Duration::from_millis(300));
        drop(bench);
        let ((sent, came), (taken, given)) = (logged(it.path(), "bench.log"), crossed(it.path()));
        // The machine may have been busy with its answer, and not have looked any more.
        assert!(sent.starts_with(&taken) && sent.len() <= taken.len() + 1, "after {wait} ms: {sent:?} {taken:?}");
        assert!(given.starts_with(&came));
        assert_eq!(sent.last(), Some(&0x15), "after {wait} ms: a half-typed line is thrown away");
    }
}

#[test]
fn the_demo_is_rehearsed() {
    let it = tempfile::tempdir().expect("a folder");
    let demo = tests_folder().join("demo/skerry");
    let log = it.path().join("a.log");
    let play = |script: &str, more: &[&str]| {
        let script = demo.join(script);
        let mut all = vec!["play", script.to_str().expect("a path"), "--log-to", log.to_str().expect("a path")];
        all.extend(more);
        let output = run(it.path(), &all);
        let _ = std::fs::remove_file(demo.join("boot.bin"));
        (output.code, text(&output))
    };
    let (code, told) = play("first-start.session", &[]);
    assert_eq!(code, 0, "{told}");
    let (code, told) = play("boot-sector.session", &[]);
    assert_eq!(code, 0, "{told}");
    assert!(told.contains("`block.sectors_per_track` is 9"), "{told}");
    // The third stops on purpose, and the firmware says why.
    let (code, told) = play("wrong-disk.session", &[]);
    assert_eq!(code, 1, "{told}");
    assert!(told.contains("E6 no SKERRY.SYS on disk") && told.contains("boot.s:"), "{told}");
    let (code, told) = play("wrong-disk.session", &["--no-disk"]);
    assert!(code == 1 && told.contains("E1 drive not ready"), "{told}");
    let (code, told) = play("first-start.session", &["--from", "Nowhere"]);
    assert_eq!(code, 2, "{told}");
    assert!(told.contains("the session has no stage \"Nowhere\""), "{told}");
    let (code, told) = play("first-start.session", &["--fault", "flood"]);
    assert!(code == 2 && told.contains("`flood` is no fault"), "{told}");
}

#[test]
fn bad_scripts_and_arguments_are_told_and_nothing_is_opened() {
    let it = bench_folder("machine bench\nconsole 9600 8n1\ndmup $400 +: 4\n");
    let output = run(it.path(), &["play", "s.session", "--port", "/dev/nowhere"]);
    assert_eq!(output.code, 2);
    assert!(
        text(&output).contains("did you mean `dump`?") && text(&output).contains("not played"),
        "{}",
        text(&output)
    );
    let it = bench_folder(SCRIPT);
    for (arguments, said) in [
        (vec!["play", "s.session", "--port", "/dev/nowhere"], "cannot be opened as a serial port at 9600 8n1"),
        (vec!["play", "s.session", "--connect", "localhost:1"], "cannot be reached"),
        (vec!["play", "s.session", "--connect", "nonsense"], "expected HOST:PORT"),
        (vec!["play", "nothing.session"], "cannot be opened"),
        (vec!["play", "reveille.toml"], "is no session"),
        (vec!["play", "s.session", "--replay", "reveille.toml"], "this is no log of a session"),
        (vec!["play", "s.session", "--allow", "everything"], "expected memory, nvram, disk, rom"),
        (vec!["play", "s.session", "--image", "nothing.img"], "cannot be opened"),
    ] {
        let output = run(it.path(), &arguments);
        assert_eq!(output.code, 2, "{arguments:?}");
        assert!(text(&output).contains(said), "{arguments:?}: {}", text(&output));
        assert!(!names(it.path()).contains(&"bench.log".to_owned()), "{arguments:?}: no log was begun");
    }
}
