//! Tasks of the house that are not part of the product.
//!
//! `cargo run -p xtask -- grammar` makes the parsers from their `grammar.js`; with `--check` it writes nothing and fails
//! where a committed file is not what the grammar generates. Nothing but this program is needed: the generator has its own
//! JavaScript engine. `docs` makes the documents that come from the program's tables; `check` compares all of it.

mod docs;
mod schema;

use std::{
    fs,
    path::{Path, PathBuf},
};

use anyhow::{Context, Result, bail};
use clap::{Parser, Subcommand};
use tree_sitter_generate::{OptLevel, generate_parser_in_directory};

/// The grammars, by folder: one for each dialect of assembly source, and that of monitor sessions.
const GRAMMARS: [&str; 5] = ["m68k", "m68k_dotted", "m68k_mit", "m68k_sgs", "session"];

/// What the generator writes into a grammar's `src`.
const GENERATED: [&str; 6] = [
    "grammar.json",
    "node-types.json",
    "parser.c",
    "tree_sitter/alloc.h",
    "tree_sitter/array.h",
    "tree_sitter/parser.h",
];

/// The newest parser format that all the editors load.
const ABI: usize = 14;

#[derive(Parser)]
#[command(about = "Tasks of the house")]
struct Arguments {
    #[command(subcommand)]
    task: Task,
}

#[derive(Subcommand)]
enum Task {
    /// Generate the parsers from their grammars.
    Grammar {
        /// Compare with the committed files, and write nothing.
        #[arg(long)]
        check: bool,
    },
    /// Make the documents that come from tables.
    Docs {
        /// Compare with the committed files, and write nothing.
        #[arg(long)]
        check: bool,
    },
    /// Compare every generated file with what it comes from.
    Check,
}

fn main() -> Result<()> {
    match Arguments::parse().task {
        Task::Grammar { check } => grammar(check),
        Task::Docs { check } => docs::docs(check),
        Task::Check => grammar(true).and_then(|()| docs::docs(true)),
    }
}

fn grammar(check: bool) -> Result<()> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../grammar");
    let mut stale = Vec::new();
    for name in GRAMMARS {
        let folder = root.join(name);
        let kept = folder.join("src");
        let fresh = tempfile::tempdir().context("cannot make a temporary folder")?;
        generate_parser_in_directory(
            folder.clone(),
            Some(fresh.path()),
            None::<PathBuf>,
            ABI,
            None,
            Some("native"),
            true,
            OptLevel::default(),
            &mut Vec::new(),
        )
        .with_context(|| format!("cannot generate `{name}`"))?;
        for file in GENERATED {
            let made = fs::read(fresh.path().join(file))
                .with_context(|| format!("`{file}` was not generated for `{name}`"))?;
            let target = kept.join(file);
            if fs::read(&target).is_ok_and(|old| old == made) {
                continue;
            }
            if check {
                stale.push(format!("{name}/src/{file}"));
            } else {
                if let Some(parent) = target.parent() {
                    fs::create_dir_all(parent)?;
                }
                fs::write(&target, made)?;
            }
        }
    }
    if !stale.is_empty() {
        bail!("not what the grammar generates: {}; run `cargo run -p xtask -- grammar`", stale.join(", "));
    }
    Ok(())
}
