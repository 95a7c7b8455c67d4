//! The sheet's part on the way from power-on to the prompt.

use std::io::Write;

use reveille_facts::{BootPath, Model, PathRoutine, PathStep, StepKind};

use super::sheet::place;

/// Writes the way of each machine.
pub(super) fn boot(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    for path in model.boot() {
        writeln!(out, "## From power-on to the prompt\n")?;
        for start in &path.starts {
            writeln!(out, "Starts at `{}`, {}.\n", start.name, place(model, start.at))?;
        }
        if !path.choices.is_empty() {
            writeln!(out, "| key or switch | leads to | where |\n|---|---|---|")?;
            for choice in &path.choices {
                let to = choice.to.as_ref().map_or_else(String::new, |it| format!("`{it}`"));
                writeln!(out, "| {} (`{}`) | {to} | {} |", choice.words, choice.device, place(model, choice.at))?;
            }
            writeln!(out)?;
        }
        for command in &path.commands {
            writeln!(
                out,
                "- `{}` -> `{}` {:?} {:?} {}",
                command.name,
                command.routine,
                command.numbers,
                command.help,
                place(model, command.at)
            )?;
        }
        for routine in path.routines.iter().filter(|it| it.is_telling) {
            routine_steps(model, path, routine, out)?;
        }
        let quiet: Vec<String> =
            path.routines.iter().filter(|it| !it.is_telling).map(|it| format!("`{}`", it.name)).collect();
        if !quiet.is_empty() {
            writeln!(out, "Called as well, and of no consequence here: {}.\n", quiet.join(", "))?;
        }
        texts(model, path, out)?;
    }
    Ok(())
}

fn routine_steps(model: &Model, path: &BootPath, routine: &PathRoutine, out: &mut dyn Write) -> anyhow::Result<()> {
    let address = routine.address.map_or_else(String::new, |it| format!(", ${it:06X}"));
    writeln!(out, "### `{}`\n\n{}{address}\n", routine.name, place(model, routine.at))?;
    for step in &routine.steps {
        let at = place(model, step.at);
        let indent = "  ".repeat(usize::from(step.depth));
        match step.kind {
            StepKind::Label => writeln!(out, "\n`{}`\n", step.words)?,
            StepKind::Decision => writeln!(out, "{indent}- if {}: {} ({at})", step.words, goes_to(step))?,
            _ => writeln!(out, "{indent}- {}{} ({at})", step.words, detail(path, step))?,
        }
    }
    writeln!(out)?;
    Ok(())
}

fn goes_to(step: &PathStep) -> String {
    step.to.as_ref().map_or_else(|| "elsewhere".to_owned(), |it| format!("to `{it}`"))
}

fn detail(path: &BootPath, step: &PathStep) -> &'static str {
    let is_quiet = step.routine.and_then(|it| path.routines.get(it)).is_some_and(|it| !it.is_telling);
    if is_quiet && step.kind == StepKind::Call { ", which comes back" } else { "" }
}

fn texts(model: &Model, path: &BootPath, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "## What it can print\n")?;
    for text in &path.texts {
        writeln!(out, "### `{}`\n\n{}\n", text.text.replace('`', "'"), place(model, text.at))?;
        for cause in text.causes.iter().skip(1) {
            let indent = "  ".repeat(cause.depth.saturating_sub(1));
            let at = cause.at.map_or_else(String::new, |it| format!(" ({})", place(model, it)));
            writeln!(out, "{indent}- {}{at}", cause.message)?;
        }
        for advice in &text.advice {
            writeln!(out, "- look at: {advice}")?;
        }
        writeln!(out)?;
    }
    Ok(())
}
