//! What a person sees of a session while it is played.

use std::io::{BufRead, IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use reveille_player::{Answer, StepReport, Verdict, Watch};

/// Prints what goes on, and asks.
pub(super) struct Watcher<'a> {
    out: &'a mut dyn Write,
    /// Whether nothing but the end is shown.
    is_quiet: bool,
    /// Whether this is a rehearsal, where every question is answered by yes.
    is_rehearsal: bool,
    stopped: Arc<AtomicBool>,
    /// The line of the machine's that is being shown.
    line: Vec<u8>,
}

/// A line that is longer is shown in pieces.
const LONGEST: usize = 200;

impl<'a> Watcher<'a> {
    pub(super) fn new(out: &'a mut dyn Write, is_quiet: bool, is_rehearsal: bool, stopped: Arc<AtomicBool>) -> Self {
        Self { out, is_quiet, is_rehearsal, stopped, line: Vec::new() }
    }

    /// Prints a line. That nobody reads it any more ends no session.
    fn print(&mut self, text: &str) {
        if !self.is_quiet {
            let _ = writeln!(self.out, "{text}");
            let _ = self.out.flush();
        }
    }

    fn end_line(&mut self) {
        let line = std::mem::take(&mut self.line);
        let text: String = String::from_utf8_lossy(&line).chars().filter(|it| !it.is_control()).collect();
        if !text.trim().is_empty() {
            self.print(&format!("      | {}", text.trim_end()));
        }
    }
}

/// A time, as people say it.
pub(super) fn time(it: Duration) -> String {
    let seconds = it.as_secs_f64();
    match seconds {
        _ if seconds < 99.95 => format!("{seconds:.1} s"),
        _ if seconds < 6000.0 => format!("{} min {} s", it.as_secs() / 60, it.as_secs() % 60),
        _ => format!("{} h {} min", it.as_secs() / 3600, it.as_secs() % 3600 / 60),
    }
}

impl Watch for Watcher<'_> {
    fn stage(&mut self, title: &str) {
        self.end_line();
        self.print(&format!("stage \"{title}\""));
    }

    fn step(&mut self, line: usize, text: &str, left: Duration) {
        self.end_line();
        let left = if left >= Duration::from_secs(1) { format!("   ({} left)", time(left)) } else { String::new() };
        self.print(&format!("  line {}: {text}{left}", line + 1));
    }

    fn done(&mut self, step: &StepReport) {
        self.end_line();
        let said = if step.message.is_empty() { String::new() } else { format!(": {}", step.message) };
        let again = if step.again > 0 { format!(", asked {} times", step.again + 1) } else { String::new() };
        let is_worth = step.verdict != Verdict::Held || !said.is_empty() || step.took >= Duration::from_millis(100);
        if is_worth {
            self.print(&format!("    {} ({}{again}){said}", step.verdict.name(), time(step.took)));
        }
    }

    fn note(&mut self, text: &str) {
        self.end_line();
        self.print(&format!("    note: {text}"));
    }

    fn came(&mut self, bytes: &[u8]) {
        for byte in bytes {
            if matches!(byte, b'\r' | b'\n') {
                self.end_line();
            } else {
                self.line.push(*byte);
                if self.line.len() >= LONGEST {
                    self.end_line();
                }
            }
        }
    }

    fn confirm(&mut self, question: &str) -> Answer {
        self.end_line();
        if self.is_rehearsal {
            self.print(&format!("    {question} - yes, since this is a rehearsal"));
            return Answer::Yes;
        }
        let stdin = std::io::stdin();
        if !stdin.is_terminal() {
            return Answer::Nobody;
        }
        // Whoever is asked sees the question whatever else is shown.
        eprint!("{question} [yes/no] ");
        let _ = std::io::stderr().flush();
        let mut answer = String::new();
        match stdin.lock().read_line(&mut answer) {
            Ok(count) if count > 0 && matches!(answer.trim().to_ascii_lowercase().as_str(), "y" | "yes") => Answer::Yes,
            _ => Answer::No,
        }
    }

    fn is_stopped(&self) -> bool {
        self.stopped.load(Ordering::SeqCst)
    }
}
