//! JSON: findings one a line, the sheet as one object. These forms are a contract with other programs.

use std::io::Write;

use reveille_decoders::{FieldKind, Scalar, family};
use reveille_facts::{BlockFact, ConstantsFact, DiskPart, Evidence, Fact, Finding, Model, VectorsFact, reads};
use reveille_program::Value;
use serde::Serialize;
use serde_json::{Map, json};

use super::boot_json::boot_facts;
use super::sheet_object::{object_name, object_value};
use super::{Shown, serial_json, shown};

#[derive(Serialize)]
struct Position {
    line: u32,
    character: u32,
}

#[derive(Serialize)]
struct Range {
    start: Position,
    end: Position,
}

impl Range {
    fn of(shown: &Shown) -> Self {
        let position = |it: reveille_source::Position| Position { line: it.line, character: it.column };
        Self { start: position(shown.start), end: position(shown.end) }
    }
}

#[derive(Serialize)]
struct Related {
    file: String,
    range: Range,
    message: String,
}

#[derive(Serialize)]
struct FindingJson {
    finding: &'static str,
    severity: &'static str,
    file: String,
    range: Range,
    message: String,
    related: Vec<Related>,
}

#[derive(Serialize)]
struct EvidenceJson {
    file: String,
    range: Range,
    text: String,
}

#[derive(Serialize)]
struct FactJson {
    kind: &'static str,
    subject: String,
    value: serde_json::Value,
    evidence: Vec<EvidenceJson>,
}

#[derive(Serialize)]
struct SheetJson {
    facts: Vec<FactJson>,
    findings: Vec<FindingJson>,
}

fn finding_json(model: &Model, finding: &Finding) -> FindingJson {
    let at = shown(model, finding.at);
    let related = finding.related.iter().map(|(at, message)| {
        let at = shown(model, *at);
        Related { range: Range::of(&at), file: at.path, message: message.clone() }
    });
    FindingJson {
        finding: finding.code,
        severity: finding.severity.name(),
        related: related.collect(),
        range: Range::of(&at),
        file: at.path,
        message: finding.message.clone(),
    }
}

/// Findings, one object a line.
pub(crate) fn json_lines(model: &Model, findings: &[&Finding], out: &mut dyn Write) -> anyhow::Result<()> {
    for finding in findings {
        serde_json::to_writer(&mut *out, &finding_json(model, finding))?;
        writeln!(out)?;
    }
    Ok(())
}

/// The sheet as one object.
pub(crate) fn sheet_json(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let sheet = SheetJson {
        facts: fact_list(model),
        findings: model.findings().into_iter().map(|it| finding_json(model, it)).collect(),
    };
    serde_json::to_writer_pretty(&mut *out, &sheet)?;
    writeln!(out)?;
    Ok(())
}

/// All facts: the kind, what each is about, and its value.
pub(super) fn facts(model: &Model) -> impl Iterator<Item = (String, String, serde_json::Value)> {
    fact_list(model).into_iter().map(|it| (it.kind.to_owned(), it.subject, it.value))
}

fn fact_list(model: &Model) -> Vec<FactJson> {
    let evidence = |all: Vec<Evidence>| {
        let shown = all.into_iter().map(|at| shown(model, at));
        shown.map(|it| EvidenceJson { range: Range::of(&it), file: it.path, text: it.text }).collect()
    };
    let facts = model.facts().map(|fact| match fact {
        Fact::Block(block) => FactJson {
            kind: "parameter-block",
            subject: block.subject.clone(),
            value: block_value(model, block),
            evidence: evidence(block.parts.iter().map(|part| part.at).collect()),
        },
        Fact::Constants(constants) => FactJson {
            kind: "geometry-constants",
            subject: constants.values.iter().map(|it| it.1.as_str()).collect::<Vec<_>>().join(", "),
            value: constants_value(constants),
            evidence: evidence(constants.values.iter().map(|it| it.3).collect()),
        },
        Fact::Line(line) => FactJson {
            kind: "line-setting",
            subject: line.name.clone(),
            value: serial_json::line_value(line),
            evidence: evidence(line.evidence(&line.line.tags())),
        },
        Fact::Family(family) => FactJson {
            kind: "line-constants",
            subject: family.members.iter().map(|it| it.name.as_str()).collect::<Vec<_>>().join(", "),
            value: serial_json::family_value(family),
            evidence: evidence(family.members.iter().map(|it| it.at).collect()),
        },
        Fact::Memory(region) => FactJson {
            kind: "memory-region",
            subject: region.subject(),
            value: json!({
                "name": region.name,
                "kind": region.kind,
                "from": region.from,
                "size": region.end - region.from,
                "reads_have_side_effects": region.reads.map(|it| it == "have side effects"),
                "reads": region.uses.reads,
                "writes": region.uses.writes,
            }),
            evidence: evidence(region.at.into_iter().chain(region.uses.first).collect()),
        },
        Fact::Object(fact) => FactJson {
            kind: "object-file",
            subject: object_name(model, fact),
            value: object_value(fact),
            evidence: evidence(vec![fact.at]),
        },
        Fact::Vectors(vectors) => FactJson {
            kind: "vectors",
            subject: vectors.subject.clone(),
            value: vectors_value(model, vectors),
            evidence: {
                let mut places: Vec<Evidence> = vectors.entries.iter().map(|it| it.at).collect();
                places.dedup();
                evidence(places)
            },
        },
    });
    let boot = boot_facts(model).into_iter().map(|it| FactJson {
        kind: it.kind,
        subject: it.subject,
        value: it.value,
        evidence: evidence(it.evidence),
    });
    facts.chain(boot).collect()
}

fn scalar(value: Scalar) -> serde_json::Value {
    match value {
        Scalar::Number(number) => number.into(),
        Scalar::Text(text) => text.into(),
        Scalar::List(list) => list.into(),
    }
}

fn block_value(model: &Model, block: &BlockFact) -> serde_json::Value {
    let mut fields = Map::new();
    for field in &block.layout.fields {
        if let Some(value) = block.block().value(field) {
            let is_number = field.kind != FieldKind::Text;
            debug_assert!(is_number == value.number().is_some());
            fields.insert(field.name.clone(), scalar(value));
        }
    }
    let mut derived = Map::new();
    if block.is_readable() {
        for it in family(&block.layout.family)
            .into_iter()
            .flat_map(|family| &family.derived)
            .filter(|it| it.meaning.is_some())
        {
            if let Some(number) = block.number(&it.name) {
                derived.insert(it.name.clone(), number.into());
            }
        }
    }
    let geometry = block.geometry().map(|[cylinders, heads, sectors, size]| {
        json!({"cylinders": cylinders, "heads": heads, "sectors_per_track": sectors, "sector_size": size})
    });
    let parts = block.map().map(|map| {
        let part = |it: &DiskPart| json!({"title": it.title, "from": it.from, "to": it.to});
        json!({"unit": map.unit, "per_track": map.per_track, "tracks": map.tracks, "parts": map.parts.iter().map(part).collect::<Vec<_>>()})
    });
    let drives = model.machine_of(block.at.place.file).drives.iter().filter_map(|(drive, _)| {
        let found = reads(drive, block)?;
        Some(json!({
            "name": drive.name.as_ref().map(|it| it.value.as_str()),
            "reads": found.obstacles.is_empty(),
            "obstacles": found.obstacles,
            "cautions": found.cautions,
            "track_bytes": found.budget.map(|it| it.raw),
            "gap3": found.budget.map(|it| it.gap3_left),
        }))
    });
    let drives: Vec<serde_json::Value> = drives.collect();
    json!({
        "disk": parts,
        "drives": drives,
        "layout": block.layout.name,
        "entry": block.entry.0,
        "entries": block.entry.1,
        "offset": block.offset,
        "address": match block.address { Value::Number(number) => Some(number), _ => None },
        "bytes": block.bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>(),
        "fields": fields,
        "derived": derived,
        "geometry": geometry,
        "format": block.format.map(|it| it.name.clone()),
        "confidence": block.confidence.level.name(),
        "reasons": block.confidence.reasons,
    })
}

fn constants_value(constants: &ConstantsFact) -> serde_json::Value {
    constants
        .values
        .iter()
        .map(|(role, _, value, _)| (role.name().to_owned(), serde_json::Value::from(*value)))
        .collect::<Map<_, _>>()
        .into()
}

fn vectors_value(model: &Model, vectors: &VectorsFact) -> serde_json::Value {
    let cpu = model.program().settings_of(vectors.at.place.file).cpu;
    let entries = vectors.entries.iter().map(|it| {
        json!({
            "number": it.vector.number,
            "address": it.vector.address(),
            "name": it.vector.words(cpu),
            "value": it.address,
            "handler": it.handler.map(|it| model.program().names().text(it.symbol).to_string()),
        })
    });
    json!({
        "origin": vectors.origin.name(),
        "address": vectors.address,
        "first": vectors.entries.first().map(|it| it.vector.number),
        "entries": entries.collect::<Vec<_>>(),
        "confidence": vectors.confidence.level.name(),
        "reasons": vectors.confidence.reasons,
    })
}
