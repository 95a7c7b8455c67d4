//! Which files have programs in them, and what these say.

use reveille_decoders::Severity;
use reveille_decoders::boot::BLOCK_START;
use reveille_decoders::program_header::{ProgramHeader, Segment, plausible_header, program_header};
use reveille_decoders::transfer::{self, TransferFormat};
use reveille_decoders::volume::read;

use super::{Object, ObjectField};
use crate::image::Table;

/// The most bytes of a file that is looked at: above any diskette and any memory of the time.
const MOST_BYTES: u64 = 4 << 20;

/// The most programs that are told of one image.
const MOST_IN_IMAGE: usize = 1000;

/// The most runs of records that are kept.
const MOST_RUNS: usize = 1000;

/// The most lines of records whose damage is told.
const MOST_TROUBLES: usize = 4;

/// Whether a file may have programs in it, by its length and its first 16 KiB: whoever finds so reads the rest.
#[must_use]
pub fn may_be_object(start: &[u8], bytes: u64) -> bool {
    // Sizes are held against the whole file.
    bytes <= MOST_BYTES && (program_header(start).is_some() || is_records(start) || is_boot_sector(start))
}

/// Whether a file has programs in it.
#[must_use]
pub fn is_object(bytes: &[u8]) -> bool {
    bytes.len() as u64 <= MOST_BYTES && !objects(bytes).is_empty()
}

fn is_records(bytes: &[u8]) -> bool {
    transfer::detect(bytes) == TransferFormat::SRecord
}

/// Whether a sector has a parameter block that says what a diskette may have. *FAT: General Overview of On-Disk Format* 1.03: media
/// descriptors are F0h and F8h to FFh; the first byte of the FAT is the same, which the volume is held against later.
fn is_boot_sector(start: &[u8]) -> bool {
    let media = start.get(BLOCK_START + 10).is_some_and(|it| *it >= 0xf0);
    media && Table::of_image(start).is_ok()
}

/// The programs of a file: itself, or those in the image that it is.
pub(super) fn objects(bytes: &[u8]) -> Vec<Object> {
    if let Some(header) = plausible_header(bytes) {
        return vec![of_header(header, bytes.len(), None)];
    }
    if is_records(bytes) {
        return of_records(bytes).into_iter().collect();
    }
    if is_boot_sector(bytes) { in_image(bytes) } else { Vec::new() }
}

fn of_header(header: ProgramHeader, bytes: usize, inside: Option<String>) -> Object {
    let fields = header.kind.fields.iter().zip(&header.values).map(|(field, value)| ObjectField {
        name: field.name,
        meaning: field.meaning,
        value: (*value).into(),
        bytes: field.offset as u64..(field.offset + field.bytes) as u64,
    });
    Object {
        inside,
        kind: header.kind.name,
        title: header.title(),
        bytes: bytes as u64,
        fields: fields.collect(),
        segments: header.segments(),
        entry: header.entry(),
        is_absolute: header.is_absolute(),
        troubles: header.troubles.iter().filter(|it| it.is_of_sizes).map(|it| it.text.clone()).collect(),
        parts: header.parts,
        symbols: header.symbols,
    }
}

/// S-records: their runs stand for the text. An entry of 0 that no record covers is how a file says that it has none.
fn of_records(bytes: &[u8]) -> Option<Object> {
    let reading = transfer::read_as(TransferFormat::SRecord, bytes);
    let runs = reading.image.runs();
    if runs.is_empty() {
        return None;
    }
    let segment = |it: &transfer::Run| {
        let start = u64::from(it.address);
        Segment { name: "data", range: start..start + it.bytes.len() as u64 }
    };
    let segments: Vec<Segment> = runs.iter().take(MOST_RUNS).map(segment).collect();
    let is_covered = |it: u64| segments.iter().any(|segment| segment.range.contains(&it));
    let entry = reading.image.entry.map(u64::from).filter(|it| *it != 0 || is_covered(0));
    let wrong = reading.problems.iter().filter(|it| it.severity() == Severity::Error);
    let troubles = wrong.take(MOST_TROUBLES).map(|it| format!("line {}: {}", it.line + 1, it.kind));
    Some(Object {
        inside: None,
        kind: "s-records",
        title: "S-records",
        bytes: bytes.len() as u64,
        fields: Vec::new(),
        parts: Vec::new(),
        entry,
        symbols: Vec::new(),
        is_absolute: true,
        troubles: troubles.collect(),
        segments,
    })
}

/// The programs of a volume whose FAT begins as its boot sector says.
fn in_image(bytes: &[u8]) -> Vec<Object> {
    let Ok(table) = Table::of_image(bytes) else { return Vec::new() };
    let geometry = &table.geometry;
    let fat = usize::try_from(geometry.fat_start(0) * u64::from(geometry.sector_bytes));
    if fat.ok().and_then(|it| bytes.get(it)) != Some(&geometry.media) {
        return Vec::new();
    }
    let volume = read(bytes, geometry);
    let files = volume.entries.iter().filter(|it| !it.is_directory() && !it.runs.is_empty());
    let program = |entry: &reveille_decoders::volume::Entry| {
        let content = volume.content(bytes, geometry, entry);
        let inside = Some(entry.path.clone());
        match plausible_header(&content) {
            Some(header) => Some(of_header(header, content.len(), inside)),
            None if is_records(&content) => of_records(&content).map(|it| Object { inside, ..it }),
            None => None,
        }
    };
    files.filter_map(program).take(MOST_IN_IMAGE).collect()
}
