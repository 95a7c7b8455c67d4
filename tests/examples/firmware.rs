//! Writes a generated firmware source to standard output: `cargo run -p reveille-tests --example firmware -- LINES [SEED]`.

use std::io::Write;

fn main() -> std::io::Result<()> {
    let mut arguments = std::env::args().skip(1).map(|it| it.parse().unwrap_or(1));
    let (lines, seed) = (arguments.next().unwrap_or(20_000), arguments.next().unwrap_or(1));
    std::io::stdout().write_all(reveille_fixture::firmware_source(lines as usize, seed).as_bytes())
}
