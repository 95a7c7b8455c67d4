//! Sessions against the rehearsal's machine: verdicts, faults, time, the log, and what is never sent.

use std::cell::RefCell;
use std::collections::HashMap;
use std::io::{self, Write};
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;

use proptest::prelude::*;
use reveille_player::{
    Answer, Disk, Event, Fault, FaultKind, Files, Line, Log, Options, Player, Received, Rehearsal, Replay, Report,
    StepReport, Verdict, Watch, events,
};
use reveille_session::verbs::Changes;
use reveille_session::{Block, Geometry, Monitor, Region, RegionKind, Script, Settings, Source, Value, World};

/// A firmware of 4 KiB whose bytes follow from their addresses.
#[derive(Debug)]
struct Firmware;

impl Source for Firmware {
    fn name(&self, name: &str) -> Option<i64> {
        [("TABLE", 0x400), ("BUFFER", 0x8000)].iter().find(|it| it.0 == name).map(|it| it.1)
    }

    fn byte(&self, address: i64) -> Option<u8> {
        (0..0x1000).contains(&address).then_some((address * 7 + 3) as u8)
    }

    fn boot_file(&self) -> Option<String> {
        Some("TIDE.SYS".into())
    }

    fn field(&self, _: &Block, field: &str) -> Result<Value, String> {
        Err(format!("no `{field}`"))
    }
}

const VOCABULARY: &str = r#"
[machine.bench.monitor]
prompt  = 'ok> $'
error   = '^fault \d+'
cancel  = "\u0018"
newline = "\r"

[machine.bench.monitor.dump]
send  = "show {from:06X} {to:06X}"
reply = '^(?<address>[0-9a-f]{6}) \| (?<bytes>(?:[0-9a-f]{4} ?){1,8})'
most  = 64

[machine.bench.monitor.fill]
send = "wipe {from:x},{bytes},{value}"

[machine.bench.monitor.poke]
send = "keep {at:x}={value:x}"

[machine.bench.monitor.read-sector]
send = "fetch {sector} {into:x}"

[machine.bench.monitor.write-sector]
send = "place {sector} {from:x}"

[machine.bench.monitor.load-boot-file]
send  = "bring {name}"
reply = '^brought (?<count>\d+)'

[machine.bench.monitor.registers]
send  = "regs"
reply = '(?<name>[DA][0-7]|PC|SR):(?<value>[0-9A-F]{8})'

[machine.bench.monitor.start]
send = "run {at:x}"

[machine.bench.monitor.pen]
send = "pen {position}"
"#;

fn world(vocabulary: &str) -> Arc<World> {
    let reading = reveille_machine::read(vocabulary);
    assert_eq!(reading.problems, []);
    let (monitor, problems) = Monitor::new(vocabulary, reading.file.machines[0].monitor.as_ref().expect("a monitor"));
    assert_eq!(problems, []);
    let region = |name: &str, kind, range| Region { name: name.into(), kind, range, has_effects: false };
    Arc::new(World {
        machine: Some("bench".into()),
        monitor: monitor.map(Arc::new),
        regions: vec![
            region("rom", RegionKind::Rom, 0..0x1000),
            region("ram", RegionKind::Ram, 0x8000..0x1_0000),
            region("clock", RegionKind::Nvram, 0x1_0000..0x1_0100),
        ],
        geometry: Some(Geometry { cylinders: 4, sides: 1, sectors_per_track: 8, sector_bytes: 128 }),
        drives: Some(1),
        line: Some(Settings::USUAL),
        address_bits: 24,
        source: Arc::new(Firmware),
    })
}

fn disk() -> Disk {
    let bytes = (0..4096_u32).map(|it| (it / 128) as u8).collect();
    let find = |_: &[u8], name: &str| (name == "TIDE.SYS").then(|| vec![1, 2, 3]);
    Disk { bytes, find: Box::new(find) }
}

/// Watches nothing; answers every question alike.
struct Silent {
    answer: Answer,
    stop_after: Option<usize>,
    came: usize,
}

impl Watch for Silent {
    fn stage(&mut self, _: &str) {}
    fn step(&mut self, _: usize, _: &str, _: Duration) {}
    fn done(&mut self, _: &StepReport) {}
    fn note(&mut self, _: &str) {}
    fn came(&mut self, bytes: &[u8]) {
        self.came += bytes.len();
    }
    fn confirm(&mut self, _: &str) -> Answer {
        self.answer
    }
    fn is_stopped(&self) -> bool {
        self.stop_after.is_some_and(|it| self.came >= it)
    }
}

#[derive(Default)]
struct Kept(HashMap<String, Vec<u8>>);

impl Files for Kept {
    fn keep(&mut self, path: &str, bytes: &[u8]) -> Result<(), String> {
        self.0.insert(path.into(), bytes.to_vec());
        Ok(())
    }
    fn read(&mut self, path: &str) -> Result<Vec<u8>, String> {
        self.0.get(path).cloned().ok_or_else(|| format!("there is no `{path}`"))
    }
}

/// A log that can be read afterwards.
#[derive(Clone, Default)]
struct Paper(Rc<RefCell<Vec<u8>>>);

impl Write for Paper {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Notes what crosses a line.
struct Tapped<L> {
    line: L,
    crossed: Rc<RefCell<Vec<(bool, u8)>>>,
}

impl<L: Line> Line for Tapped<L> {
    fn now(&self) -> Duration {
        self.line.now()
    }
    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.line.send(bytes)?;
        self.crossed.borrow_mut().extend(bytes[..count].iter().map(|it| (true, *it)));
        Ok(count)
    }
    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        let received = self.line.receive(until)?;
        if let Received::Bytes(bytes) = &received {
            self.crossed.borrow_mut().extend(bytes.iter().map(|it| (false, *it)));
        }
        Ok(received)
    }
    fn awaits(&mut self, text: &[u8]) -> Option<String> {
        self.line.awaits(text)
    }
}

struct Played {
    report: Report,
    kept: HashMap<String, Vec<u8>>,
    log: Vec<Event>,
    crossed: Vec<(bool, u8)>,
}

struct Case<'a> {
    vocabulary: &'a str,
    script: &'a str,
    faults: &'a [Fault],
    allowed: &'a [Changes],
    answer: Answer,
    from: Option<&'a str>,
    stop_after: Option<usize>,
}

impl<'a> Case<'a> {
    fn new(script: &'a str) -> Self {
        Self {
            vocabulary: VOCABULARY,
            script,
            faults: &[],
            allowed: &[],
            answer: Answer::Yes,
            from: None,
            stop_after: None,
        }
    }

    fn on(&self, line: impl Line) -> Played {
        let world = world(self.vocabulary);
        let script = Script::read(self.script);
        assert_eq!(script.problems, [], "{}", self.script);
        let paper = Paper::default();
        let crossed = Rc::new(RefCell::new(Vec::new()));
        let line = Tapped { line, crossed: crossed.clone() };
        let mut watch = Silent { answer: self.answer, stop_after: self.stop_after, came: 0 };
        let mut kept = Kept::default();
        let options = Options {
            allowed: self.allowed.to_vec(),
            from: self.from.map(str::to_owned),
            again: 2,
            texts: vec![self.script.to_owned()],
            ..Options::default()
        };
        let log = Log::new(paper.clone()).expect("paper takes everything");
        let player = Player::new(&world, line, log, &mut watch, &mut kept, options);
        let report = player.play(&script.statements);
        let text = String::from_utf8(paper.0.borrow().clone()).expect("a log is text");
        let log = events(&text).unwrap_or_else(|error| panic!("{error:?} in\n{text}"));
        let crossed = crossed.borrow().clone();
        Played { report, kept: kept.0, log, crossed }
    }

    fn play(&self) -> Played {
        let played = self.on(Rehearsal::new(
            world(self.vocabulary),
            Some(disk()),
            vec!["fault 3 no such sector".into()],
            self.faults,
        ));
        let logged: Vec<(bool, u8)> =
            played.log.iter().flat_map(|it| it.bytes.iter().map(|byte| (it.is_sent, *byte))).collect();
        assert_eq!(logged, played.crossed, "the log has what crossed, in its order");
        played
    }
}

fn play(script: &str) -> Played {
    Case::new(script).play()
}

fn broken(played: &Played) -> String {
    played.report.broken().map_or_else(String::new, |it| format!("line {}: {}", it.line + 1, it.message))
}

const READS: &str = "stage \"first\"
  press return
  await prompt within 5s
stage \"second\"
  dump TABLE +: 150 as table
  check table matches source
  check table[1] == 10 and table.length == 150
  keep table in \"table.bin\"
  registers as regs
  check regs.PC == 0
";

#[test]
fn a_session_that_reads_holds_and_keeps_what_it_read() {
    let played = play(READS);
    assert_eq!((played.report.verdict, broken(&played)), (Verdict::Held, String::new()));
    let expected: Vec<u8> = (0x400..0x496_i64).map(|it| (it * 7 + 3) as u8).collect();
    assert_eq!(played.kept["table.bin"], expected);
    let titles: Vec<_> = played.report.stages.iter().map(|it| (it.title.as_str(), it.verdict)).collect();
    assert_eq!(titles, [("first", Verdict::Held), ("second", Verdict::Held)]);
    let typed: Vec<String> = played.report.stages[1].steps[0].typed.clone();
    assert_eq!(typed, ["show 000400 000440", "show 000440 000480", "show 000480 000496"], "64 bytes at one command");
    // A character of 8n1 has 10 bits (a start bit, 8 of data, a stop bit: EIA-404), so it takes 1/960 s at 9600 bit/s.
    let least = (played.report.sent + played.report.came) as f64 / 960.0 / 2.0;
    assert!(played.report.took.as_secs_f64() > least, "{:?}", played.report.took);
}

#[test]
fn each_fault_has_its_verdict() {
    let reads = "press return\nawait prompt within 5s\ndump TABLE +: 40 as table\ncheck table matches source\n";
    // Prompt and echo are 24 bytes; from there on the dump is on its way.
    for (kind, at, verdict, said) in [
        (FaultKind::Drop, 40, Verdict::Held, ""),
        (FaultKind::Double, 40, Verdict::Held, ""),
        (FaultKind::Garble, 40, Verdict::Held, ""),
        (FaultKind::Garble, 12, Verdict::Held, ""),
        (FaultKind::Drop, 12, Verdict::Held, ""),
        (FaultKind::Silence, 40, Verdict::Failed, "it did not come within"),
        (FaultKind::Silence, 0, Verdict::Failed, "nothing came within 5.0 s"),
        (FaultKind::Silence, 12, Verdict::Failed, "was typed and did not come back"),
        (FaultKind::Prompt, 40, Verdict::Held, ""),
        (FaultKind::Reset, 40, Verdict::Held, ""),
    ] {
        let played = Case { faults: &[Fault { kind, at }], ..Case::new(reads) }.play();
        let told = broken(&played);
        assert_eq!(played.report.verdict, verdict, "{kind:?}@{at}: {told}");
        assert!(told.contains(said), "{kind:?}@{at}: {told}");
        let again: u32 = played.report.stages.iter().flat_map(|it| &it.steps).map(|it| it.again).sum();
        assert_eq!(again > 0, verdict == Verdict::Held, "{kind:?}@{at}: what held was asked again");
    }
}

#[test]
fn what_changes_something_is_never_asked_again() {
    let writes = "confirm \"Copy?\"\nwrite sector 3 from BUFFER within 2s\n";
    let allowed = [Changes::Disk];
    let played =
        Case { allowed: &allowed, faults: &[Fault { kind: FaultKind::Silence, at: 13 }], ..Case::new(writes) }.play();
    assert_eq!(played.report.verdict, Verdict::Failed);
    let typed: Vec<u8> = played.crossed.iter().filter(|it| it.0).map(|it| it.1).collect();
    assert_eq!(typed, b"place 3 8000\r");
}

#[test]
fn an_error_of_the_machine_is_told_in_its_words_and_not_asked_again() {
    let played = play("read sector 99 into BUFFER or stop \"take a larger disk\"\n");
    let step = played.report.broken().expect("it failed");
    assert_eq!(step.message, "the machine says `fault 3 no such sector`");
    assert_eq!(
        (step.refusal.as_deref(), step.advice.as_deref()),
        (Some("fault 3 no such sector"), Some("take a larger disk"))
    );
    assert_eq!((step.again, step.typed.len()), (0, 1));
}

#[test]
fn an_answer_that_is_not_as_the_vocabulary_says_is_none() {
    let played = Case { faults: &[Fault { kind: FaultKind::Reset, at: 18 }], ..Case::new("load boot file\n") }.play();
    assert_eq!(broken(&played), "line 1: no line of the answer is as `reply` says in the machine's vocabulary");
}

#[test]
fn a_sector_is_read_and_written_by_the_machine() {
    let script = "confirm \"Copy?\"
read sector 5 into BUFFER
dump BUFFER +: 128 as five
check five[0] == 5 and five[127] == 5
write sector 6 from BUFFER
read sector 6 into BUFFER + 512
dump BUFFER + 512 +: 128 as six
check six == five
";
    let played = Case { allowed: &[Changes::Disk], ..Case::new(script) }.play();
    assert_eq!(broken(&played), "");
}

#[test]
fn what_was_not_allowed_or_confirmed_is_not_sent() {
    let (disk, memory, nvram) = (Changes::Disk, Changes::Memory, Changes::Nvram);
    for (script, allowed, answer, said) in [
        ("write sector 1 from BUFFER", vec![], Answer::Yes, "only with `--allow disk`"),
        ("write sector 1 from BUFFER", vec![memory], Answer::Yes, "only with `--allow disk`"),
        ("write sector 1 from BUFFER", vec![disk], Answer::Yes, "nobody was asked by `confirm`"),
        ("confirm \"?\"\nwrite sector 1 from BUFFER", vec![disk], Answer::No, "it was not confirmed"),
        ("confirm \"?\"\nwrite sector 1 from BUFFER", vec![disk], Answer::Nobody, "run it in a terminal"),
        ("if 0\nconfirm \"?\"\nend\nwrite sector 1 from BUFFER", vec![disk], Answer::Yes, "nobody was asked"),
        ("poke BUFFER with 1", vec![], Answer::Yes, "only with `--allow memory`"),
        ("poke $10000 with 1", vec![memory], Answer::Yes, "only with `--allow nvram`"),
        ("fill $10000 +: 4 with 1", vec![memory, nvram], Answer::Yes, "nobody was asked"),
        ("send \"PLACE 1 8000\\r\"", vec![], Answer::Yes, "only with `--allow disk`"),
        ("send \"place\"\nsend \" 1 8000\"\npress return", vec![disk], Answer::Yes, "nobody was asked"),
        ("send \"xx\\x08\\x08place 1 8000\\r\"", vec![], Answer::Yes, "only with `--allow disk`"),
    ] {
        let played = Case { allowed: &allowed, answer, ..Case::new(script) }.play();
        assert_eq!(played.report.verdict, Verdict::Refused, "{script}");
        assert!(broken(&played).contains(said), "{script}: {}", broken(&played));
        assert!(!played.crossed.contains(&(true, b'\r')), "{script}: no line was ended");
    }
}

#[test]
fn a_session_goes_on_from_a_stage_and_says_what_it_lacks() {
    let played = Case { from: Some("second"), ..Case::new(READS) }.play();
    assert_eq!(played.report.verdict, Verdict::Held);
    assert_eq!(played.report.stages[0].verdict, Verdict::LeftOut);
    let script = "stage \"a\"\ndump 0 +: 4 as first\nstage \"b\"\ncheck first[0] == 3\n";
    let played = Case { from: Some("b"), ..Case::new(script) }.play();
    assert_eq!(broken(&played), "line 4: `first` is bound in a stage that was left out; begin with that stage");
}

#[test]
fn stages_behind_a_failure_are_left_out() {
    let played = play("stage \"a\"\ncheck 1 == 2\nstage \"b\"\npress return\n");
    let verdicts: Vec<_> = played.report.stages.iter().map(|it| (it.title.as_str(), it.verdict)).collect();
    assert_eq!(verdicts, [("a", Verdict::Failed), ("b", Verdict::LeftOut)]);
    assert_eq!(played.report.sent, 0);
}

#[test]
fn blocks_of_steps_are_done_as_they_say() {
    let script = "dump 0 +: 4 as a
if a[0] == 3
  repeat 3 times
    press space
  end
else
  press tab
end
";
    let played = play(script);
    let sent: Vec<u8> = played.crossed.iter().filter(|it| it.0).map(|it| it.1).collect();
    assert!(sent.ends_with(b"\r   "), "{sent:?}");
}

/// A machine that holds the line up for a time, and lets it go on or not.
struct Holding {
    now: Duration,
    says: Vec<(Duration, u8)>,
    sent: Rc<RefCell<Vec<Duration>>>,
}

impl Line for Holding {
    fn now(&self) -> Duration {
        self.now
    }
    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.sent.borrow_mut().extend(bytes.iter().map(|_| self.now));
        self.now += Duration::from_millis(1);
        Ok(bytes.len())
    }
    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        match self.says.first().copied().filter(|it| it.0 <= until) {
            Some((at, byte)) => {
                self.says.remove(0);
                self.now = self.now.max(at);
                Ok(Received::Bytes(vec![byte]))
            }
            None => {
                self.now = self.now.max(until);
                Ok(Received::Nothing)
            }
        }
    }
}

/// DC3 stops a line and DC1 lets it go on: ISO/IEC 646 has the characters, their use is from memory.
#[test]
fn a_machine_that_holds_the_line_up_is_waited_for() {
    let at = |ms| Duration::from_millis(ms);
    let vocabulary = VOCABULARY.replacen("newline", "flow = \"xon-xoff\"\nnewline", 1);
    let (dc1, dc3) = (0x11, 0x13);
    for (says, verdict) in [(vec![(at(3), dc3), (at(9000), dc1)], Verdict::Held), (vec![(at(3), dc3)], Verdict::Failed)]
    {
        let sent = Rc::new(RefCell::new(Vec::new()));
        let line = Holding { now: Duration::ZERO, says, sent: sent.clone() };
        let played = Case { vocabulary: &vocabulary, ..Case::new("send \"abcdef\"") }.on(line);
        assert_eq!(played.report.verdict, verdict, "{}", broken(&played));
        let early = sent.borrow().iter().filter(|it| **it < at(9000)).count();
        assert!((1..6).contains(&early), "{early} of 6 before the machine let it go on");
        assert_eq!(sent.borrow().len() == 6, verdict == Verdict::Held);
        // What says so is no part of an answer, and stands in the log all the same.
        assert!(played.log.iter().any(|it| it.bytes == [dc3]));
    }
}

#[test]
fn twenty_minutes_are_rehearsed_at_once_and_told_as_such() {
    let start = std::time::Instant::now();
    let played = play("repeat 20 times\npause 1min\nend\ndump 0 +: $1000 as all\ncheck all matches source\n");
    assert_eq!(broken(&played), "");
    assert!(played.report.took >= Duration::from_secs(1200));
    // No measure of speed: it would be 1,200 s if it waited.
    assert!(start.elapsed() < Duration::from_secs(600));
}

#[test]
fn whoever_watches_can_stop_it_at_any_byte() {
    for stop_after in (1..400).step_by(13) {
        let played = Case { stop_after: Some(stop_after), ..Case::new(READS) }.play();
        assert_eq!(played.report.verdict, Verdict::Stopped, "{stop_after}");
        // A half-typed line is thrown away, and nothing is sent behind that.
        assert_eq!(played.crossed.iter().rev().find(|it| it.0), Some(&(true, 0x18)), "{stop_after}");
    }
}

#[test]
fn what_a_program_would_say_is_taken_for_granted_and_noted() {
    let played = play("load boot file\nstart at BUFFER\nawait \"tide 1.80 m\" within 9s\n");
    assert_eq!(broken(&played), "");
    assert_eq!(played.report.notes, ["the rehearsal takes it that the machine says `tide 1.80 m`: it runs no program"]);
}

#[test]
fn every_line_of_a_log_is_read_and_what_is_none_is_told() {
    let first = "# reveille session log, form 1\n";
    let good = format!("{first}# a note\n   0.500000 sent \"a\\r\\\\\\\"\\x00\\xff\"\n 1.5 came \"ok> \"\n");
    let found = events(&good).expect("a log");
    assert_eq!(found[0], Event { at: Duration::from_millis(500), is_sent: true, bytes: b"a\r\\\"\0\xff".to_vec() });
    assert_eq!(found[1].bytes, b"ok> ");
    for (text, line) in [
        ("hello\n".to_owned(), 1),
        (format!("{first}x sent \"a\"\n"), 2),
        (format!("{first}1.0 gave \"a\"\n"), 2),
        (format!("{first}1.0 sent a\n"), 2),
        (format!("{first}1.0 sent \"\\q\"\n"), 2),
        (format!("{first}-1.0 sent \"a\"\n"), 2),
        (format!("{first}1.0 sent\n"), 2),
    ] {
        assert_eq!(events(&text).map_err(|it| it.line), Err(line), "{text}");
    }
}

/// Steps of which scripts are made.
fn step() -> impl Strategy<Value = String> {
    let steps = [
        "press return\nawait prompt within 3s",
        "dump TABLE +: 20 as a\ncheck a matches source",
        "dump BUFFER +: 9 as b\ncheck b[0] < 256",
        "read sector 2 into BUFFER",
        "write sector 2 from BUFFER",
        "write sector 99 from BUFFER",
        "poke BUFFER with 7",
        "poke $10000 with 7",
        "fill BUFFER +: 3 with 1",
        "confirm \"Sure?\"",
        "send \"place 1 8000\\r\"",
        "send \"pl\"",
        "send \"ace 1 8000\\r\"",
        "press return",
        "registers as r",
        "ask pen position 3",
        "pause 1s",
        "stage \"next\"",
        "if 0\nconfirm \"Never?\"\nend",
        "repeat 2 times\nread sector 1 into BUFFER\nend",
        "check 1 == 2",
    ];
    proptest::sample::select(steps.to_vec()).prop_map(str::to_owned)
}

fn fault() -> impl Strategy<Value = Fault> {
    let kinds: Vec<FaultKind> = FaultKind::NAMES.iter().map(|it| it.2).collect();
    (proptest::sample::select(kinds), 0_u64..300).prop_map(|(kind, at)| Fault { kind, at })
}

/// A peer that says anything at any time.
struct Chance {
    now: Duration,
    says: Vec<(u16, Vec<u8>)>,
}

impl Line for Chance {
    fn now(&self) -> Duration {
        self.now
    }
    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.now += Duration::from_millis(1);
        Ok(bytes.len().min(3))
    }
    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        match self.says.pop() {
            Some((wait, bytes)) if !bytes.is_empty() => {
                self.now = (self.now + Duration::from_millis(wait.into())).min(until.max(self.now));
                Ok(Received::Bytes(bytes))
            }
            Some((wait, _)) if wait % 7 == 0 => Ok(Received::Closed),
            _ => {
                self.now = self.now.max(until);
                Ok(Received::Nothing)
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_log_is_played_again_to_the_same_verdict(
        steps in proptest::collection::vec(step(), 1..8),
        faults in proptest::collection::vec(fault(), 0..3),
    ) {
        let script = steps.join("\n");
        let allowed = [Changes::Disk, Changes::Memory, Changes::Nvram];
        let case = Case { allowed: &allowed, faults: &faults, ..Case::new(&script) };
        let first = case.play();
        let again = case.on(Replay::new(first.log.clone()));
        prop_assert_eq!(first.report.verdict, again.report.verdict, "{}\n{} / {}", script, broken(&first), broken(&again));
        prop_assert_eq!(broken(&first), broken(&again), "{}", script);
        prop_assert_eq!(first.crossed, again.crossed);
    }

    #[test]
    fn nothing_is_changed_that_was_not_allowed_and_confirmed(
        steps in proptest::collection::vec(step(), 1..10),
        faults in proptest::collection::vec(fault(), 0..2),
        disk in any::<bool>(), memory in any::<bool>(), nvram in any::<bool>(), yes in any::<bool>(),
    ) {
        let script = steps.join("\n");
        let allowed: Vec<Changes> = [(disk, Changes::Disk), (memory, Changes::Memory), (nvram, Changes::Nvram)]
            .iter().filter(|it| it.0).map(|it| it.1).collect();
        let answer = if yes { Answer::Yes } else { Answer::No };
        let played = Case { allowed: &allowed, faults: &faults, answer, ..Case::new(&script) }.play();
        let sent: Vec<u8> = played.crossed.iter().filter(|it| it.0).map(|it| it.1).collect();
        let text = String::from_utf8_lossy(&sent).into_owned();
        // Ended lines alone are commands; what stood before a cancel was thrown away.
        for line in text.split_inclusive('\r').filter(|it| it.ends_with('\r')) {
            let line = line.rsplit('\x18').next().unwrap_or(line).trim_end();
            let was_asked = yes && steps.iter().any(|it| it.starts_with("confirm"));
            if line.starts_with("place") {
                prop_assert!(disk && was_asked, "{script}\n{line}");
            }
            if line.starts_with("wipe") || line.starts_with("keep 8000") {
                prop_assert!(memory, "{script}\n{line}");
            }
            if line.starts_with("keep 10000") {
                prop_assert!(nvram && was_asked, "{script}\n{line}");
            }
        }
    }

    #[test]
    fn a_player_comes_to_an_end_against_any_peer(
        steps in proptest::collection::vec(step(), 1..5),
        says in proptest::collection::vec((any::<u16>(), prop_oneof![
            proptest::collection::vec(any::<u8>(), 0..40),
            Just(b"ok> ".to_vec()),
            Just(b"\r\n000400 | 030a 1118\r\nok> ".to_vec()),
            Just(b"\x13".to_vec()),
            Just(b"show 000400 000414".to_vec()),
        ]), 0..60),
    ) {
        let script = steps.join("\n");
        let allowed = [Changes::Disk, Changes::Memory, Changes::Nvram];
        let played = Case { allowed: &allowed, ..Case::new(&script) }.on(Chance { now: Duration::ZERO, says });
        let logged: Vec<(bool, u8)> =
            played.log.iter().flat_map(|it| it.bytes.iter().map(|byte| (it.is_sent, *byte))).collect();
        prop_assert_eq!(logged, played.crossed);
    }
}
