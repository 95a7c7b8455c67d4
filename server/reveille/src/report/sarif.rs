//! SARIF 2.1.0, as much of it as findings need. The names of the properties are the standard's.

use std::collections::BTreeSet;
use std::io::Write;

use reveille_decoders::Severity;
use reveille_facts::{Edit, Evidence, Finding, Model, catalog_entry};
use serde_json::{Value, json};

use super::shown;

/// Writes findings as one SARIF log.
pub(crate) fn sarif(model: &Model, findings: &[&Finding], out: &mut dyn Write) -> anyhow::Result<()> {
    let codes: BTreeSet<_> = findings.iter().map(|it| it.code).collect();
    let rules: Vec<Value> = codes
        .iter()
        .filter_map(|code| catalog_entry(code))
        .map(|entry| {
            json!({
                "id": entry.code,
                "shortDescription": { "text": entry.title },
                "fullDescription": { "text": entry.why },
                "help": { "text": format!("{}\nSource: {}", entry.why, entry.source), "markdown": entry.page() },
                "defaultConfiguration": { "level": level(entry.severity) },
            })
        })
        .collect();
    let results: Vec<Value> = findings.iter().map(|it| result(model, it, &codes)).collect();
    let log = json!({
        "$schema": "https://json.schemastore.org/sarif-2.1.0.json",
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": { "name": "reveille", "version": env!("CARGO_PKG_VERSION"), "rules": rules } },
            "columnKind": "utf16CodeUnits",
            "results": results,
        }],
    });
    serde_json::to_writer_pretty(&mut *out, &log)?;
    writeln!(out)?;
    Ok(())
}

fn level(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Note | Severity::Hint => "note",
    }
}

fn location(model: &Model, at: Evidence, message: Option<&str>) -> Value {
    let shown = shown(model, at);
    let mut location = json!({
        "physicalLocation": {
            "artifactLocation": { "uri": uri(&shown.path) },
            "region": {
                "startLine": shown.start.line + 1,
                "startColumn": shown.start.column + 1,
                "endLine": shown.end.line + 1,
                "endColumn": shown.end.column + 1,
            },
        },
    });
    if let Some(message) = message {
        location["message"] = json!({ "text": message });
    }
    location
}

/// A path as a relative reference of RFC 3986: what may not stand in one is written with %.
fn uri(path: &str) -> String {
    let mut uri = String::new();
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            uri.push(char::from(byte));
        } else {
            uri.push_str(&format!("%{byte:02X}"));
        }
    }
    uri
}

fn result(model: &Model, finding: &Finding, codes: &BTreeSet<&str>) -> Value {
    let mut result = json!({
        "ruleId": finding.code,
        "ruleIndex": codes.iter().position(|code| *code == finding.code),
        "level": level(finding.severity),
        "message": { "text": finding.message },
        "locations": [location(model, finding.at, None)],
    });
    if !finding.related.is_empty() {
        let related = finding.related.iter().map(|(at, message)| location(model, *at, Some(message)));
        result["relatedLocations"] = related.collect();
    }
    if !finding.fixes.is_empty() {
        let fixes = finding.fixes.iter().map(|fix| {
            let mut files: Vec<(String, Vec<Value>)> = Vec::new();
            for edit in &fix.edits {
                let (path, replacement) = replacement(model, edit);
                match files.iter_mut().find(|it| it.0 == path) {
                    Some(file) => file.1.push(replacement),
                    None => files.push((path, vec![replacement])),
                }
            }
            let changes = files.into_iter().map(|(path, replacements)| {
                json!({ "artifactLocation": { "uri": uri(&path) }, "replacements": replacements })
            });
            json!({ "description": { "text": fix.title }, "artifactChanges": changes.collect::<Vec<_>>() })
        });
        result["fixes"] = fixes.collect();
    }
    result
}

fn replacement(model: &Model, edit: &Edit) -> (String, Value) {
    let at = Evidence { place: edit.place, span: edit.span };
    let shown = shown(model, at);
    let region = location(model, at, None)["physicalLocation"]["region"].take();
    (shown.path, json!({ "deletedRegion": region, "insertedContent": { "text": edit.text } }))
}
