//! Images of diskettes: findings, lists of files, and what was written where.

use std::io::Write;
use std::path::Path;

use anyhow::Result;
use reveille_decoders::Severity;
use reveille_decoders::volume::{Entry, ORDERS, OrderKind, Volume, Written, attribute, shown_label};
use reveille_facts::Model;
use reveille_facts::image::{ImageFinding, ImagePlace, Related, Table};
use serde::Serialize;
use serde_json::{Value, json};

use super::{display_path, line_number, shown};

#[derive(Serialize)]
struct FindingJson<'a> {
    finding: &'static str,
    severity: &'static str,
    image: &'a str,
    offset: u64,
    sector: u64,
    cluster: Option<u32>,
    path: Option<&'a str>,
    message: &'a str,
    related: Vec<Value>,
}

#[derive(Serialize)]
struct EntryJson<'a> {
    path: &'a str,
    kind: &'static str,
    bytes: u32,
    date: Option<String>,
    attributes: Vec<&'static str>,
    first_cluster: u32,
    clusters: u32,
    contiguous: bool,
    sound: bool,
}

/// A block, and the program that it is from.
pub(crate) struct NamedTable<'a> {
    pub(crate) table: &'a Table,
    pub(crate) model: &'a Model,
}

impl NamedTable<'_> {
    /// The block, its geometry, and where it stands.
    pub(crate) fn named(&self) -> String {
        let geometry = &self.table.geometry;
        let place = self.table.evidence("sector_size").map_or_else(String::new, |at| {
            format!(" ({}:{})", display_path(self.model, at.place.file), line_number(self.model, at.place) + 1)
        });
        let sectors = match (geometry.sides, geometry.track_sectors) {
            (Some(sides), Some(track)) if geometry.total_sectors.is_multiple_of(sides * track) => {
                format!("{} x {sides} x {track} x {}", geometry.total_sectors / (sides * track), geometry.sector_bytes)
            }
            _ => format!("{} sectors of {}", geometry.total_sectors, geometry.sector_bytes),
        };
        format!("{}{place}: {sectors}, FAT{}", self.table.subject, geometry.bits())
    }
}

/// A place as a person looks for it.
fn place(at: &ImagePlace) -> String {
    let mut text = format!("byte {} (${:X}), sector {}", at.offset, at.offset, at.sector);
    if let Some(cluster) = at.cluster {
        text.push_str(&format!(", cluster {cluster}"));
    }
    if let Some(path) = &at.path {
        text.push_str(&format!(", {path}"));
    }
    text
}

/// Findings for people, and a line that counts them.
pub(crate) fn image_findings_text(
    model: &Model,
    path: &Path,
    findings: &[ImageFinding],
    out: &mut dyn Write,
) -> Result<()> {
    for finding in findings {
        writeln!(out, "{}[{}]: {}", finding.severity.name(), finding.code, finding.message)?;
        writeln!(out, "    at {}", place(&finding.at))?;
        for (at, message) in &finding.related {
            match at {
                Related::Image(at) => writeln!(out, "    {message}: {}", place(at))?,
                Related::Source(at) => {
                    let at = shown(model, *at);
                    writeln!(out, "    {message}: {}:{}", at.path, at.start.line + 1)?;
                }
            }
        }
        writeln!(out)?;
    }
    let count = |severity| findings.iter().filter(|it| it.severity == severity).count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    let counted = [(errors, "error"), (warnings, "warning"), (findings.len() - errors - warnings, "note")];
    let counted = counted.map(|(count, word)| format!("{count} {word}{}", if count == 1 { "" } else { "s" }));
    writeln!(out, "{}: {}", path.display(), counted.join(", "))?;
    Ok(())
}

/// Findings, one object a line. This form is a contract with other programs.
pub(crate) fn image_findings_json(
    model: &Model,
    path: &Path,
    findings: &[ImageFinding],
    out: &mut dyn Write,
) -> Result<()> {
    let image = path.to_string_lossy().replace('\\', "/");
    for finding in findings {
        let related: Vec<Value> = finding.related.iter().map(|(at, message)| match at {
            Related::Image(at) => json!({"image": image, "offset": at.offset, "sector": at.sector, "message": message}),
            Related::Source(at) => {
                let at = shown(model, *at);
                let position = |it: reveille_source::Position| json!({"line": it.line, "character": it.column});
                json!({"file": at.path, "range": {"start": position(at.start), "end": position(at.end)}, "message": message})
            }
        }).collect();
        let value = FindingJson {
            finding: finding.code,
            severity: finding.severity.name(),
            image: &image,
            offset: finding.at.offset,
            sector: finding.at.sector,
            cluster: finding.at.cluster,
            path: finding.at.path.as_deref(),
            message: &finding.message,
            related,
        };
        serde_json::to_writer(&mut *out, &value)?;
        writeln!(out)?;
    }
    Ok(())
}

/// The words of attributes.
const ATTRIBUTES: &[(u8, &str)] = &[
    (attribute::READ_ONLY, "read-only"),
    (attribute::HIDDEN, "hidden"),
    (attribute::SYSTEM, "system"),
    (attribute::DIRECTORY, "directory"),
    (attribute::ARCHIVE, "archive"),
];

fn attributes(entry: &Entry) -> Vec<&'static str> {
    ATTRIBUTES.iter().filter(|it| entry.attributes & it.0 != 0).map(|it| it.1).collect()
}

/// The files of an image for people.
pub(crate) fn image_list_text(path: &Path, table: &Table, volume: &Volume, out: &mut dyn Write) -> Result<()> {
    let label = volume.label.as_ref().map_or_else(|| "no label".to_owned(), |it| format!("label {}", shown_label(it)));
    writeln!(out, "{}: FAT{}, {label}, read by {}", path.display(), table.geometry.bits(), table.subject)?;
    let wide = volume.entries.iter().map(|it| it.path.len()).max().unwrap_or(0).max(4);
    if !volume.entries.is_empty() {
        writeln!(
            out,
            "{:<wide$}  {:>9}  {:<19}  {:>7}  {:<12}  attributes",
            "file", "bytes", "written", "cluster", "clusters"
        )?;
    }
    for entry in &volume.entries {
        let pieces = match (entry.clusters(), entry.runs.len()) {
            (0, _) => "-".to_owned(),
            (count, 1) => format!("{count} in a row"),
            (count, runs) => format!("{count} in {runs} pieces"),
        };
        let pieces = if entry.is_sound { pieces } else { format!("{pieces}!") };
        let moment = if entry.moment.is_empty() { "-".to_owned() } else { entry.moment.to_string() };
        let (bytes, cluster) = (entry.bytes, entry.first_cluster);
        let attributes = attributes(entry).join(" ");
        writeln!(out, "{:<wide$}  {bytes:>9}  {moment:<19}  {cluster:>7}  {pieces:<12}  {attributes}", entry.path)?;
    }
    let free = u64::from(volume.free) * u64::from(table.geometry.cluster_bytes());
    writeln!(out, "free: {} of {} clusters, {free} bytes", volume.free, table.geometry.clusters())?;
    if !volume.problems.is_empty() || !volume.lost.is_empty() {
        writeln!(out, "not all of it is sound: `reveille image check` tells what is wrong")?;
    }
    Ok(())
}

/// The files of an image, one object a line. This form is a contract with other programs.
pub(crate) fn image_list_json(volume: &Volume, out: &mut dyn Write) -> Result<()> {
    for entry in &volume.entries {
        let moment = Some(entry.moment.to_string().replace(' ', "T")).filter(|_| entry.moment.is_possible());
        let value = EntryJson {
            path: &entry.path,
            kind: if entry.is_directory() { "directory" } else { "file" },
            bytes: entry.bytes,
            date: moment,
            attributes: attributes(entry),
            first_cluster: entry.first_cluster,
            clusters: entry.clusters(),
            contiguous: entry.is_contiguous(),
            sound: entry.is_sound,
        };
        serde_json::to_writer(&mut *out, &value)?;
        writeln!(out)?;
    }
    Ok(())
}

/// What was written where.
pub(crate) fn recipe(
    it: &NamedTable<'_>,
    path: &Path,
    written: &Written,
    sector: &str,
    order: OrderKind,
    out: &mut dyn Write,
) -> Result<()> {
    let geometry = &it.table.geometry;
    writeln!(out, "{}: {} bytes, written by {}", path.display(), geometry.bytes(), it.named())?;
    let mut rows = Vec::new();
    let range =
        |first: u64, count: u64| if count == 1 { first.to_string() } else { format!("{first}-{}", first + count - 1) };
    rows.push(("boot sector".to_owned(), range(0, geometry.reserved_sectors.into()), sector.to_owned()));
    for copy in 0..geometry.fat_count {
        let sectors = range(geometry.fat_start(copy), geometry.fat_sectors.into());
        rows.push((format!("FAT {}", copy + 1), sectors, format!("media descriptor ${:02X}", geometry.media)));
    }
    let entries = format!("{} entries", geometry.root_entries);
    rows.push(("root directory".to_owned(), range(geometry.root_start(), geometry.root_sectors()), entries));
    for placed in &written.placed {
        let count = u64::from(placed.clusters) * u64::from(geometry.cluster_sectors);
        let (sectors, clusters) = match placed.clusters {
            0 => ("-".to_owned(), "no cluster".to_owned()),
            1 => (
                range(geometry.cluster_sector(placed.first_cluster), count),
                format!("cluster {}", placed.first_cluster),
            ),
            many => (
                range(geometry.cluster_sector(placed.first_cluster), count),
                format!("clusters {}-{}", placed.first_cluster, placed.first_cluster + many - 1),
            ),
        };
        let what = if placed.is_directory { "directory".to_owned() } else { format!("{} bytes", placed.bytes) };
        rows.push((placed.path.clone(), sectors, format!("{clusters}, {what}")));
    }
    let free = u64::from(written.free) * u64::from(geometry.cluster_bytes());
    rows.push(("free".to_owned(), "-".to_owned(), format!("{} clusters, {free} bytes", written.free)));
    let wide =
        [0, 1].map(|at| rows.iter().map(|it| if at == 0 { it.0.len() } else { it.1.len() }).max().unwrap_or(0).max(7));
    writeln!(out, "{:<first$}  {:<second$}  what", "part", "sectors", first = wide[0], second = wide[1])?;
    for (part, sectors, what) in rows {
        writeln!(out, "{part:<first$}  {sectors:<second$}  {what}", first = wide[0], second = wide[1])?;
    }
    if let Some(order) = ORDERS.iter().find(|it| it.kind == order && order != OrderKind::ByCylinder) {
        writeln!(out, "tracks in the file: {}", order.title)?;
    }
    Ok(())
}
