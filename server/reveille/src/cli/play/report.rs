//! What became of a session, for people and as JSON.

use std::io::Write;
use std::path::Path;

use anyhow::Result;
use reveille_facts::{Model, SessionCause, SessionFact};
use reveille_player::{Report, Verdict};
use serde_json::{Value, json};

use super::watcher::time;
use crate::report::place_of;

/// The end of a session.
pub(super) fn end(model: &Model, report: &Report, causes: &[SessionCause], out: &mut dyn Write) -> Result<()> {
    if let Some(step) = report.broken() {
        writeln!(out, "{}: line {}: {}", step.verdict.name(), step.line + 1, step.text.replace('\n', " "))?;
        writeln!(out, "  {}", step.message)?;
        if let Some(advice) = &step.advice {
            writeln!(out, "  {advice}")?;
        }
        for cause in causes {
            let indent = "  ".repeat(cause.depth + 1);
            match cause.at {
                Some(at) => writeln!(out, "{indent}{}: {}", place_of(model, at), cause.message)?,
                None => writeln!(out, "{indent}{}", cause.message)?,
            }
        }
    }
    let steps = report.stages.iter().flat_map(|it| &it.steps);
    let held = steps.filter(|it| it.verdict == Verdict::Held).count();
    let plural = if held == 1 { "step" } else { "steps" };
    writeln!(
        out,
        "{}: {held} {plural} held, {} on the line, {} bytes sent, {} came",
        report.verdict.name(),
        time(report.took),
        report.sent,
        report.came
    )?;
    Ok(())
}

/// The same for programs.
pub(super) fn json(
    model: &Model,
    session: &SessionFact,
    script: &Path,
    kind: &str,
    report: &Report,
    causes: &[SessionCause],
) -> Value {
    let path = |file: usize| {
        let file = session.files.get(file).and_then(|it| model.program().file(*it));
        file.map_or_else(String::new, |it| it.path().display().to_string())
    };
    let stages: Vec<Value> = report
        .stages
        .iter()
        .map(|stage| {
            let steps: Vec<Value> = stage
                .steps
                .iter()
                .map(|it| {
                    json!({
                        "file": path(it.file),
                        "line": it.line + 1,
                        "text": it.text,
                        "verdict": it.verdict.name(),
                        "seconds": it.took.as_secs_f64(),
                        "typed": it.typed,
                        "message": it.message,
                        "advice": it.advice,
                        "refusal": it.refusal,
                        "came": it.came,
                        "retries": it.again,
                    })
                })
                .collect();
            json!({ "title": stage.title, "verdict": stage.verdict.name(), "steps": steps })
        })
        .collect();
    let place = |it: &SessionCause| it.at.map(|at| place_of(model, at));
    let causes = causes.iter().map(|it| json!({ "place": place(it), "message": it.message, "depth": it.depth }));
    let causes: Vec<Value> = causes.collect();
    json!({
        "script": script.display().to_string(),
        "kind": kind,
        "machine": session.world.machine,
        "line": session.world.line.map(|it| it.words()),
        "verdict": report.verdict.name(),
        "seconds": report.took.as_secs_f64(),
        "sent": report.sent,
        "came": report.came,
        "stages": stages,
        "causes": causes,
        "notes": report.notes,
    })
}
