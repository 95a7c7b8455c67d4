//! The way from power-on to the prompt as JSON.

use reveille_facts::{
    BootFile, BootPath, Choice, Command, Evidence, Model, PathRoutine, PathStep, Printed, Question, StepKind,
};
use serde_json::{Value, json};

use super::place_of;

/// A fact of the sheet: its kind, what it is about, its value and where it was read from.
pub(super) struct BootJson {
    pub(super) kind: &'static str,
    pub(super) subject: String,
    pub(super) value: Value,
    pub(super) evidence: Vec<Evidence>,
}

/// All facts of the way of each machine.
pub(super) fn boot_facts(model: &Model) -> Vec<BootJson> {
    let mut found = Vec::new();
    for path in model.boot() {
        found.push(way(model, path));
        found.extend(path.choices.iter().map(choice));
        found.extend(path.files.iter().map(|it| file(model, it)));
        found.extend(path.commands.iter().map(command));
        found.extend(path.texts.iter().map(|it| text(model, it)));
        found.extend(path.questions.iter().map(question));
    }
    found
}

fn step(model: &Model, it: &PathStep) -> Value {
    // Where a label of the source lies is told with its routine.
    let value = it.value.filter(|_| it.kind != StepKind::GoesOn && it.kind != StepKind::Label);
    json!({
        "kind": it.kind.name(),
        "words": it.words,
        "depth": it.depth,
        "to": it.to,
        "value": value,
        "device": it.device,
        "at": place_of(model, it.at),
    })
}

fn routine(model: &Model, it: &PathRoutine) -> Value {
    json!({
        "name": it.name,
        "language": it.language,
        "address": it.address,
        "at": place_of(model, it.at),
        "steps": it.steps.iter().map(|it| step(model, it)).collect::<Vec<_>>(),
    })
}

fn way(model: &Model, path: &BootPath) -> BootJson {
    let starts = path.starts.iter().map(|it| {
        let routine = it.routine.and_then(|it| path.routines.get(it)).map(|it| it.name.as_str());
        json!({"kind": it.kind, "name": it.name, "routine": routine, "at": place_of(model, it.at)})
    });
    BootJson {
        kind: "boot-path",
        subject: path.starts.first().map_or_else(|| "not known".to_owned(), |it| it.name.clone()),
        value: json!({
            "starts": starts.collect::<Vec<_>>(),
            "routines": path.routines.iter().map(|it| routine(model, it)).collect::<Vec<_>>(),
        }),
        evidence: path.starts.iter().map(|it| it.at).collect(),
    }
}

fn choice(it: &Choice) -> BootJson {
    BootJson {
        kind: "boot-choice",
        subject: it.words.clone(),
        value: json!({"device": it.device, "value": it.value, "leads_to": it.to}),
        evidence: vec![it.at],
    }
}

fn file(model: &Model, it: &BootFile) -> BootJson {
    let steps = |list: &[PathStep]| list.iter().map(|it| step(model, it)).collect::<Vec<_>>();
    let addresses: Vec<i64> = it.loads.iter().chain(&it.enters).filter_map(|it| it.value).collect();
    BootJson {
        kind: "boot-file",
        subject: it.name.clone(),
        value: json!({
            "routine": it.routine,
            "load_address": addresses.first(),
            "loads": steps(&it.loads),
            "checks": steps(&it.checks),
            "enters": steps(&it.enters),
            "messages": it.fails.iter().map(|it| &it.0).collect::<Vec<_>>(),
        }),
        evidence: it
            .named
            .iter()
            .copied()
            .chain(it.loads.iter().chain(&it.checks).chain(&it.enters).map(|it| it.at))
            .collect(),
    }
}

fn command(it: &Command) -> BootJson {
    BootJson {
        kind: "monitor-command",
        subject: it.name.clone(),
        value: json!({"routine": it.routine, "numbers": it.numbers, "help": it.help, "table": it.table}),
        evidence: std::iter::once(it.at).chain(it.routine_at).collect(),
    }
}

fn text(model: &Model, it: &Printed) -> BootJson {
    let causes = it
        .causes
        .iter()
        .map(|it| json!({"words": it.message, "depth": it.depth, "at": it.at.map(|it| place_of(model, it))}));
    BootJson {
        kind: "printed-text",
        subject: it.text.clone(),
        value: json!({"causes": causes.collect::<Vec<_>>(), "look_at": it.advice}),
        evidence: std::iter::once(it.at).chain(it.causes.iter().filter_map(|it| it.at)).collect(),
    }
}

fn question(it: &Question) -> BootJson {
    BootJson {
        kind: "open-question",
        subject: it.words.clone(),
        value: json!({"decides": it.decides}),
        evidence: vec![it.at],
    }
}
