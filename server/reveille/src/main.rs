//! Reveille: reads the firmware source of a 68000 machine as a program, and says what a restorer needs to know.

mod cli;
mod front;
mod load;
mod lsp;
mod report;

fn main() -> std::process::ExitCode {
    cli::run()
}
