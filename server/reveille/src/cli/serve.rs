//! `reveille serve`: the language server on standard input and output.

use std::num::NonZero;

use anyhow::{Context, Result};
use clap::Args;

use super::{CLEAN, ERRORS};

#[derive(Debug, Args)]
pub(super) struct Serve {
    /// Accepted because some editors pass it; standard input and output are all there is.
    #[arg(long)]
    stdio: bool,
}

impl Serve {
    pub(super) fn run(&self) -> Result<u8> {
        // The front needs a thread of its own; the rest may work.
        let workers = std::thread::available_parallelism().map_or(2, NonZero::get).clamp(2, 8);
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(workers).enable_time().build();
        let runtime = runtime.context("the server's threads cannot be started")?;
        let is_clean = runtime.block_on(crate::front::serve(tokio::io::stdin(), tokio::io::stdout()));
        // Standard input may still be open; nobody waits for its reader.
        runtime.shutdown_background();
        Ok(if is_clean { CLEAN } else { ERRORS })
    }
}
