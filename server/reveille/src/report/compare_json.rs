//! A source held against a dump, as one object: a contract with other programs, told in `reveille rom compare --help`.

use std::io::Write;

use reveille_decoders::checksum::{Part, Reading};
use reveille_decoders::transfer::TransferFormat;
use reveille_facts::rom::{Cause, Difference, Edit, Extent, Labelled, Run, Shown};
use reveille_program::Place;
use serde_json::{Value, json};

use super::compare::Compared;
use super::{display_path, line_number};

/// Writes a comparison as one object.
pub(crate) fn compare_json(it: &Compared<'_>, out: &mut dyn Write) -> anyhow::Result<()> {
    let (source, comparison) = (it.source, it.comparison);
    let counts = comparison.counts;
    let verdict = comparison.verdict(source);
    let (runs, left_out) = it.runs();
    let areas: Vec<Value> =
        source.areas().iter().map(|area| json!({"from": area.from, "bytes": area.span()})).collect();
    let overlaps: Vec<Value> = source
        .overlaps()
        .iter()
        .map(|overlap| {
            json!({
                "address": overlap.address,
                "bytes": overlap.bytes,
                "differ": overlap.differ,
                "earlier": it.place(Some(overlap.earlier)),
                "later": it.place(Some(overlap.later)),
            })
        })
        .collect();
    let unplaced = source.unplaced().map(|(place, bytes)| it.with_place(json!({"bytes": bytes}), Some(place)));
    let file = |file: &super::compare::DumpFile| json!({"file": shown(&file.path), "form": form(file.form), "bytes": file.bytes});
    let whole = json!({
        "verdict": verdict.name(),
        "equal": verdict.is_equal(),
        "source": {
            "file": shown(it.path),
            "bytes": source.laid(),
            "areas": areas,
            "errors": it.errors,
            "overlaps": overlaps,
            "unplaced": unplaced,
        },
        "dump": {
            "files": it.files.iter().map(file).collect::<Vec<_>>(),
            "bytes": comparison.dumped,
            "asked": comparison.asked.name(),
            "order": comparison.order.name(),
            "base": comparison.base,
            "placing": comparison.placing.name(),
            "told": comparison.told,
        },
        "counts": {
            "equal": counts.equal,
            "differ": counts.differ,
            "unknown": counts.unknown,
            "uncovered": counts.uncovered,
            "reserved": counts.reserved,
            "fill": counts.fill,
            "content": counts.content,
        },
        "causes": comparison.causes.iter().map(|cause| it.cause(cause)).collect::<Vec<_>>(),
        "edits": comparison.edits.iter().map(|edit| it.edit(edit)).collect::<Vec<_>>(),
        "runs": runs.iter().map(|run| it.run(run)).collect::<Vec<_>>(),
        "runs_left_out": left_out,
        "outside": comparison.outside.iter().map(|part| {
            json!({"from": part.address, "bytes": part.bytes, "fill": part.fill})
        }).collect::<Vec<_>>(),
        "checksums": {
            "readings": it.sums.readings.iter().map(reading).collect::<Vec<_>>(),
            "labels": it.sums.labelled.iter().map(|label| it.label(label)).collect::<Vec<_>>(),
        },
    });
    serde_json::to_writer(&mut *out, &whole)?;
    writeln!(out)?;
    Ok(())
}

fn shown(path: &std::path::Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

fn form(form: TransferFormat) -> &'static str {
    match form {
        TransferFormat::Raw => "raw",
        TransferFormat::SRecord => "srecord",
        TransferFormat::IntelHex => "ihex",
    }
}

fn bytes(bytes: &[Option<u8>]) -> String {
    bytes.iter().map(|it| it.map_or("??".into(), |it| format!("{it:02x}"))).collect()
}

fn side(shown: &Shown) -> Value {
    json!({"address": shown.address, "bytes": bytes(&shown.bytes), "text": shown.text})
}

fn reading((extent, reading): &(Extent, Reading)) -> Value {
    let part = match reading.part {
        Part::Image => "image",
        Part::Even => "even",
        Part::Odd => "odd",
    };
    json!({
        "kind": reading.kind.name,
        "of": extent.name(),
        "part": part,
        "left_out": reading.left_out,
        "value": reading.value,
        "strength": reading.strength.name(),
        "message": reading.to_string(),
    })
}

impl Compared<'_> {
    fn place(&self, place: Option<Place>) -> Value {
        self.with_place(json!({}), place)
    }

    /// An object with `file` and `line` of a place.
    fn with_place(&self, mut object: Value, place: Option<Place>) -> Value {
        object["file"] = place.map(|it| display_path(self.model, it.file)).into();
        object["line"] = place.map(|it| line_number(self.model, it) + 1).into();
        object
    }

    fn cause(&self, cause: &Cause) -> Value {
        let object = json!({
            "cause": cause.kind.name(),
            "sure": cause.sureness.name(),
            "message": self.message(cause),
        });
        self.with_place(object, cause.place)
    }

    fn edit(&self, edit: &Edit) -> Value {
        let line = self.source.line_at(edit.address.into()).map(|it| self.source.lines()[it].place);
        let kind = if edit.is_missing { "missing" } else { "inserted" };
        self.with_place(json!({"kind": kind, "address": edit.address, "bytes": edit.bytes}), line)
    }

    fn run(&self, run: &Run) -> Value {
        let lines = self.comparison.differences[run.lines.clone()].iter().map(|it| self.line(it));
        json!({
            "from": run.from,
            "to": run.to,
            "bytes": run.bytes,
            "moved": run.is_moved,
            "lines": lines.collect::<Vec<_>>(),
        })
    }

    fn line(&self, difference: &Difference) -> Value {
        let line = self.source.lines()[difference.line];
        let (own, dumped) = self.comparison.shown(self.source, difference);
        let object = json!({
            "address": line.address,
            "change": difference.change.name(),
            "differ": difference.differ,
            "uncovered": difference.uncovered,
            "text": self.source_text(line.place),
            "source": side(&own),
            "dump": side(&dumped),
        });
        self.with_place(object, Some(line.place))
    }

    fn label(&self, label: &Labelled) -> Value {
        let matches = label.matches.iter().map(|it| {
            json!({"kind": it.kind.name, "of": it.extent.name(), "over": it.over.name(), "message": it.to_string()})
        });
        let object = json!({
            "name": label.name,
            "address": label.address,
            "bytes": label.bytes,
            "source": label.source,
            "dump": label.dump,
            "matches": matches.collect::<Vec<_>>(),
        });
        self.with_place(object, Some(label.place))
    }
}
