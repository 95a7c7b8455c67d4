//! Any text as a session of a small machine: read, parsed, checked, put in columns, rehearsed, and played against a peer that says any bytes. And any text
//! as a machine's vocabulary. Nothing may panic or hang, and the log has what crossed.
#![no_main]

use std::cell::RefCell;
use std::io;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;

use libfuzzer_sys::fuzz_target;
use reveille_facts::{MACHINE_FILE, Model};
use reveille_player::{
    Answer, Fault, FaultKind, Files, Line, Log, Options, Player, Received, Rehearsal, StepReport, Watch, events,
};
use reveille_program::{Content, Program};
use reveille_session::verbs::Changes;
use reveille_source::{Encoding, File};

const FIRMWARE: &str = "\torg\t$400\nbegin\tlea\tm_hi(pc),a0\nwait\tbra.s\twait\nboot_bpb\tdc.b\t0,2,2,1,0,2,112,0,$A0,5,$F9,3,0,9,0,2,0,0,0\nm_hi\tdc.b\t'E1 READY',0\n\teven\n";

const MACHINE: &str = "[machine.a]\n[[machine.a.memory]]\nname = \"rom\"\nfrom = 0\nsize = \"64k\"\nkind = \"rom\"\n\
    [[machine.a.memory]]\nname = \"ram\"\nfrom = \"$80000\"\nsize = \"64k\"\nkind = \"ram\"\n[machine.a.monitor]\nprompt = '> $'\n\
    error = '^E\\d'\ncancel = \"\\u0018\"\n[machine.a.monitor.dump]\nsend = \"d {from:x} {bytes}\"\n\
    reply = '^(?<address>[0-9A-F]{6}) (?<bytes>(?:[0-9A-F]{2} ?)+)'\nmost = 256\n[machine.a.monitor.poke]\nsend = \"p {at:x} {value}\"\n\
    [machine.a.monitor.read-sector]\nsend = \"r {sector} {into:x}\"\n[machine.a.monitor.write-sector]\nsend = \"w {sector} {from:x}\"\n\
    [machine.a.monitor.registers]\nsend = \"x\"\nreply = '(?<name>[AD]\\d|PC)=(?<value>[0-9A-F]+)'\n[machine.a.monitor.start]\nsend = \"g {at:x}\"\n";

struct Quiet;

impl Watch for Quiet {
    fn stage(&mut self, _: &str) {}
    fn step(&mut self, _: usize, _: &str, _: Duration) {}
    fn done(&mut self, _: &StepReport) {}
    fn note(&mut self, _: &str) {}
    fn came(&mut self, _: &[u8]) {}
    fn confirm(&mut self, _: &str) -> Answer {
        Answer::Yes
    }
    fn is_stopped(&self) -> bool {
        false
    }
}

struct Nothing;

impl Files for Nothing {
    fn keep(&mut self, _: &str, _: &[u8]) -> Result<(), String> {
        Ok(())
    }
    fn read(&mut self, _: &str) -> Result<Vec<u8>, String> {
        Err("nothing".into())
    }
}

/// Bytes as a peer: each piece's first byte is its length, and how long it takes.
struct Bytes<'a> {
    bytes: &'a [u8],
    now: Duration,
}

impl Line for Bytes<'_> {
    fn now(&self) -> Duration {
        self.now
    }
    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.now += Duration::from_millis(1);
        Ok(bytes.len())
    }
    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        let [first, rest @ ..] = self.bytes else {
            self.now = self.now.max(until);
            return Ok(Received::Nothing);
        };
        let (piece, rest) = rest.split_at(usize::from(first & 31).min(rest.len()));
        self.bytes = rest;
        self.now = (self.now + Duration::from_millis(u64::from(*first))).min(until.max(self.now));
        Ok(if piece.is_empty() { Received::Nothing } else { Received::Bytes(piece.to_vec()) })
    }
}

/// A line, and how much crossed it.
struct Tapped<L> {
    line: L,
    crossed: Rc<RefCell<(u64, u64)>>,
}

impl<L: Line> Line for Tapped<L> {
    fn now(&self) -> Duration {
        self.line.now()
    }
    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.line.send(bytes)?;
        self.crossed.borrow_mut().0 += count as u64;
        Ok(count)
    }
    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        let received = self.line.receive(until)?;
        if let Received::Bytes(bytes) = &received {
            self.crossed.borrow_mut().1 += bytes.len() as u64;
        }
        Ok(received)
    }
}

fn model(script: &str, machine: &str) -> Model {
    let mut program = Program::new();
    let beside = |text: &str| Content::Beside(File::new(text, None));
    program.set_files(vec![
        (PathBuf::from("a.s"), Content::Text(File::new(FIRMWARE, None), Encoding::Utf8)),
        (PathBuf::from(MACHINE_FILE), beside(machine)),
        (PathBuf::from("a.session"), beside(script)),
    ]);
    Model::new(program, &[], None)
}

fuzz_target!(|data: &[u8]| {
    let [how, count, rest @ ..] = data else { return };
    let (peer, text) = rest.split_at(usize::from(*count).min(rest.len()));
    let Ok(text) = std::str::from_utf8(text) else { return };
    let model = if *how == 255 { model("dump $400 +: 40 as a\nawait prompt\nregisters as r\n", text) } else { model(text, MACHINE) };
    for finding in model.findings() {
        let file = model.program().file(finding.at.place.file).expect("a finding has a file");
        let (_, line, _) = file.at(finding.at.place.chunk, finding.at.place.line);
        assert!(finding.at.span.start <= finding.at.span.end && finding.at.span.end <= line.len);
    }
    let Some(session) = model.sessions().first().cloned() else { return };
    let kinds = FaultKind::NAMES;
    let fault = Fault { kind: kinds[usize::from(*how) % kinds.len()].2, at: u64::from(*count) };
    let faults = if how & 64 == 0 { Vec::new() } else { vec![fault] };
    let texts = vec![text.to_owned(); session.files.len()];
    let allowed = [Changes::Memory, Changes::Disk];
    // A `repeat` may be long by its own will.
    let is_long = text.contains("repeat") || text.contains("fill") || text.contains("min");
    for is_peer in [false, true] {
        if is_long {
            return;
        }
        let options = Options { allowed: allowed.to_vec(), again: 1, texts: texts.clone(), ..Options::default() };
        let (mut watch, mut files) = (Quiet, Nothing);
        let crossed = Rc::new(RefCell::new((0, 0)));
        let mut paper = Vec::new();
        let log = Log::new(&mut paper).expect("memory takes everything");
        let report = if is_peer {
            let line = Tapped { line: Bytes { bytes: peer, now: Duration::ZERO }, crossed: crossed.clone() };
            Player::new(&session.world, line, log, &mut watch, &mut files, options).play(&session.statements)
        } else {
            let line = Rehearsal::new(session.world.clone(), None, session.texts(), &faults);
            let line = Tapped { line, crossed: crossed.clone() };
            Player::new(&session.world, line, log, &mut watch, &mut files, options).play(&session.statements)
        };
        let logged = events(std::str::from_utf8(&paper).expect("a log is text")).expect("a log can be read");
        let of = |is_sent: bool| logged.iter().filter(|it| it.is_sent == is_sent).map(|it| it.bytes.len() as u64).sum::<u64>();
        assert_eq!((of(true), of(false)), *crossed.borrow());
        assert_eq!((report.sent, report.came), *crossed.borrow());
        if let Some(step) = report.broken() {
            let _ = session.causes(&step.message);
        }
    }
});
