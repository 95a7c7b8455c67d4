//! The sheet's parts on the way from power-on to the prompt: the figure, the steps, the files, the commands, the texts, what is open.

use std::io::Write;

use reveille_facts::{BootFile, BootPath, Model, PathRoutine, PathStep, StepKind};

use super::sheet::{Picture, Pictures, place};

/// Text in a cell of a table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

/// Text between backquotes.
fn code(text: &str) -> String {
    format!("`{}`", text.replace('`', "'"))
}

/// Writes the way of each machine.
pub(super) fn way(model: &Model, pictures: Pictures<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    for path in model.boot() {
        writeln!(out, "## From power-on to the prompt\n")?;
        for start in path.starts.iter().filter(|it| it.kind != "command") {
            let why = if start.kind == "reset" { "vector 1" } else { "by its name alone" };
            writeln!(out, "It starts at {}: {why}, {}.\n", code(&start.name), place(model, start.at))?;
        }
        writeln!(out, "{}", pictures(&Picture::Way(path), "From power-on to the prompt"))?;
        if !path.choices.is_empty() {
            writeln!(out, "Keys and switches that it depends on:\n")?;
            writeln!(out, "| asked | device | leads to | where |\n|---|---|---|---|")?;
            for choice in &path.choices {
                let to = choice.to.as_deref().map_or_else(|| "goes on".to_owned(), code);
                writeln!(
                    out,
                    "| {} | {} | {to} | {} |",
                    cell(&choice.words),
                    code(&choice.device),
                    place(model, choice.at)
                )?;
            }
            writeln!(out)?;
        }
        for routine in path.routines.iter().filter(|it| it.is_telling) {
            steps(model, path, routine, out)?;
        }
        let quiet: Vec<String> = path.routines.iter().filter(|it| !it.is_telling).map(|it| code(&it.name)).collect();
        if !quiet.is_empty() {
            writeln!(
                out,
                "Come to as well, without a text, a file, a check or a jump of their own: {}.\n",
                quiet.join(", ")
            )?;
        }
    }
    Ok(())
}

fn steps(model: &Model, path: &BootPath, routine: &PathRoutine, out: &mut dyn Write) -> anyhow::Result<()> {
    let address = routine.address.map_or_else(String::new, |it| format!(", ${it:06X}"));
    let language = if routine.language == "c" { ", C" } else { "" };
    writeln!(out, "### {}\n\n{}{address}{language}\n", code(&routine.name), place(model, routine.at))?;
    let mut was_label = true;
    for (number, step) in routine.steps.iter().enumerate() {
        let is_empty = routine.steps.get(number + 1).is_none_or(|it| it.kind == StepKind::Label);
        if step.kind == StepKind::Label && is_empty {
            continue;
        }
        let at = place(model, step.at);
        let indent = "  ".repeat(usize::from(step.depth));
        match step.kind {
            StepKind::Label => {
                let before = if was_label { "" } else { "\n" };
                writeln!(out, "{before}{}\n", code(&step.words))?;
            }
            StepKind::Decision => writeln!(out, "{indent}- if {}{} ({at})", step.words, goes_to(step))?,
            _ => writeln!(out, "{indent}- {}{} ({at})", step.words, detail(path, step))?,
        }
        was_label = step.kind == StepKind::Label;
    }
    writeln!(out)?;
    Ok(())
}

fn goes_to(step: &PathStep) -> String {
    step.to.as_deref().map_or_else(String::new, |it| format!(": to {}", code(it)))
}

fn detail(path: &BootPath, step: &PathStep) -> &'static str {
    let is_quiet = step.routine.and_then(|it| path.routines.get(it)).is_some_and(|it| !it.is_telling);
    if is_quiet && step.kind == StepKind::Call { ", which comes back" } else { "" }
}

/// Writes the files that are loaded.
pub(super) fn files(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let all: Vec<&BootFile> = model.boot().iter().flat_map(|it| &it.files).collect();
    if all.is_empty() {
        return Ok(());
    }
    writeln!(out, "## Files that are loaded\n")?;
    for file in all {
        let named: Vec<String> = file.named.iter().map(|it| place(model, *it)).collect();
        writeln!(out, "### {}\n", code(&file.name))?;
        writeln!(out, "- looked for by {} ({})", code(&file.routine), named.join(", "))?;
        let lists = [("place", &file.loads), ("checked", &file.checks), ("entered", &file.enters)];
        for (title, list) in lists {
            for step in list {
                writeln!(out, "- {title}: {} ({})", step.words, place(model, step.at))?;
            }
        }
        for (text, at) in &file.fails {
            writeln!(out, "- what can go wrong: {} ({})", code(text), place(model, *at))?;
        }
        writeln!(out)?;
    }
    Ok(())
}

/// Writes what the monitor can be asked.
pub(super) fn commands(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let mut is_first = true;
    for command in model.boot().iter().flat_map(|it| &it.commands) {
        if std::mem::take(&mut is_first) {
            writeln!(out, "## What the monitor can be asked\n")?;
            writeln!(out, "| word | routine | numbers of its row | says | where |\n|---|---|---|---|---|")?;
        }
        let numbers: Vec<String> = command.numbers.iter().map(ToString::to_string).collect();
        let routine = command.routine_at.map_or_else(String::new, |it| format!(", {}", place(model, it)));
        let table = command.table.as_deref().map_or_else(|| "compared".to_owned(), code);
        writeln!(
            out,
            "| {} | {}{routine} | {} | {} | {table}, {} |",
            cell(&code(&command.name)),
            code(&command.routine),
            numbers.join(", "),
            cell(command.help.as_deref().unwrap_or("")),
            place(model, command.at)
        )?;
    }
    if !is_first {
        writeln!(out)?;
    }
    Ok(())
}

/// Writes the texts that can be printed.
pub(super) fn texts(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let mut is_first = true;
    for text in model.boot().iter().flat_map(|it| &it.texts) {
        if std::mem::take(&mut is_first) {
            writeln!(out, "## What it can print\n")?;
        }
        writeln!(out, "### {}\n\n{}\n", code(&text.text), place(model, text.at))?;
        for cause in text.causes.iter().skip(1) {
            let indent = "  ".repeat(cause.depth.saturating_sub(1));
            let at = cause.at.map_or_else(String::new, |it| format!(" ({})", place(model, it)));
            writeln!(out, "{indent}- {}{at}", cause.message)?;
        }
        for advice in &text.advice {
            writeln!(out, "- look at: {advice} *(common practice)*")?;
        }
        writeln!(out)?;
    }
    Ok(())
}

/// Writes what the source leaves open.
pub(super) fn questions(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let all: Vec<_> = model.boot().iter().flat_map(|it| &it.questions).collect();
    if all.is_empty() {
        return Ok(());
    }
    writeln!(out, "## What is left open\n")?;
    for (number, question) in all.iter().enumerate() {
        let at = place(model, question.at);
        writeln!(out, "{}. {} ({at}). What would decide it: {}.", number + 1, question.words, question.decides)?;
    }
    writeln!(out)?;
    Ok(())
}
