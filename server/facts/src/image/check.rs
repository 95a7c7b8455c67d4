//! An image, checked by a block.

use reveille_decoders::boot::{BLOCK_START, BootSector};
use reveille_decoders::program_header::program_header;
use reveille_decoders::volume::{Arrangement, Entry, Fat, Geometry, NoVolume, Run, Volume, first_byte, read};
use reveille_decoders::{Values, family};

use super::boot_name::BootName;
use super::place::{ImageFinding, ImagePlace, Related};
use super::table::{Table, own_layout, values};

/// Clusters, chains and the like that a message names.
const MOST_NAMED: usize = 6;

/// An image, and what it is checked by.
#[derive(Debug)]
pub struct Question<'a> {
    /// Its bytes in the order of the volume.
    pub bytes: &'a [u8],
    /// How its file has them.
    pub arrangement: Arrangement,
    /// The block that its volume is read by.
    pub table: &'a Table,
    /// The file that the loader looks for.
    pub boot: Option<&'a BootName>,
}

/// What a check found.
#[derive(Debug)]
pub struct Checked {
    /// What does not fit: the boot sector first, then FATs, files, and the boot file.
    pub findings: Vec<ImageFinding>,
    /// What the volume holds.
    pub volume: Volume,
}

/// Checks an image.
#[must_use]
pub fn check(question: &Question<'_>) -> Checked {
    let volume = read(question.bytes, &question.table.geometry);
    let mut findings = question.sector();
    findings.extend(question.fats());
    findings.extend(question.troubles(&volume));
    findings.extend(question.clusters(&volume));
    findings.extend(question.boot_file(&volume));
    Checked { findings, volume }
}

/// The finding about bytes that no block makes a volume of: why not.
#[must_use]
pub fn unreadable(bytes: &[u8], why: &NoVolume) -> ImageFinding {
    let sector = ImagePlace { offset: BLOCK_START.min(bytes.len()) as u64, sector: 0, cluster: None, path: None };
    let message = format!(
        "the boot sector's block makes no volume: {why}; name the firmware's table with --table, or a standard format"
    );
    ImageFinding::new("image-003", sector, message)
}

impl Question<'_> {
    pub(super) fn geometry(&self) -> &Geometry {
        &self.table.geometry
    }

    /// A byte of the volume as a place of the file.
    pub(super) fn place(&self, offset: u64, cluster: Option<u32>, path: &str) -> ImagePlace {
        ImagePlace {
            offset: self.arrangement.offset(offset),
            sector: offset / u64::from(self.geometry().sector_bytes),
            cluster: cluster.or_else(|| self.geometry().cluster_at(offset)),
            path: Some(path.to_owned()).filter(|it| !it.is_empty()),
        }
    }

    /// The boot sector: its block against the table's, its own values, and what lies around the block.
    fn sector(&self) -> Vec<ImageFinding> {
        let mut found = Vec::new();
        let block = self.bytes.get(BLOCK_START..).unwrap_or(&[]);
        let table = self.table;
        let mut block_bytes = table.layout.len();
        let is_blank = block.len() >= 13 && block[..13].iter().all(|it| *it == block[0]);
        if is_blank && !table.is_own {
            let message = format!(
                "the boot sector has no parameter block: bytes 11 to 23 are all ${:02X}; expected that of {}",
                block[0], table.subject
            );
            found.push(ImageFinding::new("image-002", self.place(BLOCK_START as u64, None, ""), message));
        } else if let Ok(layout) = own_layout(block) {
            let own = &block[..layout.len().min(block.len())];
            if layout.field("extended_boot_signature").is_some() {
                block_bytes = block_bytes.max(layout.len());
            }
            if !table.is_own {
                found.extend(self.fields(block));
            }
            if let Ok(values) = values(&layout, own) {
                found.extend(self.block_rules(&values, &layout));
            }
        }
        let sector = BootSector::new(self.bytes, self.bytes.len() as u64, &table.values, block_bytes);
        for rule in sector.broken_rules() {
            let field = rule.fields.first().map_or("", String::as_str);
            let in_block = table.layout.field(field).map_or(0, |it| BLOCK_START + it.offset) as u64;
            let offset = sector.offset(field).unwrap_or(in_block);
            let mut finding = ImageFinding::new(&rule.code, self.place(offset, None, ""), rule.message.text(&sector));
            if let Some(at) = table.evidence("format_identifier").filter(|_| rule.code == "boot-006") {
                finding = finding.related(Related::Source(at), "the media descriptor of the source");
            }
            found.push(finding);
        }
        found
    }

    /// The block in the sector against the table's, field by field.
    fn fields(&self, block: &[u8]) -> Vec<ImageFinding> {
        let table = self.table;
        let own = table.layout.decode(block);
        let mut found = Vec::new();
        let total = |values: &Values| values.number("total");
        for field in &table.layout.fields {
            // What follows a geometry may differ from disk to disk.
            let is_geometry = table.geometry_field(&field.name);
            let (Some(wanted), Some(has)) = (table.values.number(&field.name), own.number(&field.name)) else {
                continue;
            };
            // A total may stand in either field.
            let same_total = field.name.starts_with("total_sectors")
                && values(&table.layout, &block[..table.layout.len().min(block.len())])
                    .is_ok_and(|it| total(&it) == total(&table.values));
            if !is_geometry || wanted == has || same_total {
                continue;
            }
            let at = self.place((BLOCK_START + field.offset) as u64, None, "");
            let (name, subject) = (&field.name, &table.subject);
            let message = if name == "format_identifier" {
                format!("`{name}` is ${has:02X} in the boot sector; expected ${wanted:02X} as in {subject}")
            } else {
                format!("`{name}` is {has} in the boot sector; expected {wanted} as in {subject}")
            };
            let mut finding = ImageFinding::new("image-001", at, message);
            if let Some(at) = table.evidence(name) {
                finding = finding.related(Related::Source(at), format!("`{name}` of {subject}"));
            }
            found.push(finding);
        }
        found
    }

    /// The rules over the block in the sector. Where a table is given its values are judged in the source, and here only what goes beyond.
    fn block_rules(&self, values: &Values, layout: &reveille_decoders::Layout) -> Vec<ImageFinding> {
        let rules = family(&layout.family).into_iter().flat_map(|it| &it.rules);
        // The sector's own rules tell more of it than those two over any block.
        let wanted = rules.filter(|it| self.table.is_own && it.code != "fat-005" || it.code.starts_with("boot-"));
        let broken = wanted.filter(|it| it.when.holds(values));
        let finding = |rule: &reveille_decoders::Rule| {
            let field = rule.fields.iter().find_map(|it| layout.field(it));
            let offset = BLOCK_START + field.map_or(0, |it| it.offset);
            ImageFinding::new(&rule.code, self.place(offset as u64, None, ""), rule.message.text(values))
        };
        broken.map(finding).collect()
    }

    /// Each copy of the FAT against the first.
    fn fats(&self) -> Vec<ImageFinding> {
        let geometry = self.geometry();
        let size = u64::from(geometry.sector_bytes);
        let copy = |number: u32| {
            let start = (geometry.fat_start(number) * size).min(self.bytes.len() as u64);
            let end = (start + geometry.fat_bytes()).min(self.bytes.len() as u64);
            (start, &self.bytes[start as usize..end as usize])
        };
        let (first_start, first) = copy(0);
        let mut found = Vec::new();
        for number in 1..geometry.fat_count {
            let (start, other) = copy(number);
            let differing: Vec<usize> =
                first.iter().zip(other).enumerate().filter(|(_, it)| it.0 != it.1).map(|it| it.0).collect();
            let Some(at) = differing.first().copied() else { continue };
            let entries = self.entries_of(first, other);
            let said = match entries.first() {
                Some(entry) => {
                    let raw = |bytes: &[u8]| {
                        let fat = Fat::new(bytes, geometry.bits(), geometry.clusters());
                        fat.raw(*entry).map_or_else(|| "?".to_owned(), |it| format!("${it:03X}"))
                    };
                    format!("; entry {entry} is {} in the first and {} here", raw(first), raw(other))
                }
                None => ", behind the last entry".to_owned(),
            };
            let message = format!(
                "FAT {} differs from FAT 1 in {} of {} bytes{said}; expected equal copies: find out which of them the directory agrees with before anything is written",
                number + 1,
                differing.len(),
                first.len()
            );
            let cluster = entries.first().copied().filter(|it| *it >= 2);
            let place = |start: u64| ImagePlace { cluster, ..self.place(start + at as u64, None, "") };
            let finding = ImageFinding::new("image-004", place(start), message);
            found.push(finding.related(Related::Image(place(first_start)), "the same byte of FAT 1"));
        }
        found
    }

    /// The first entries that two tables have otherwise.
    fn entries_of(&self, first: &[u8], other: &[u8]) -> Vec<u32> {
        let geometry = self.geometry();
        let (one, two) = (
            Fat::new(first, geometry.bits(), geometry.clusters()),
            Fat::new(other, geometry.bits(), geometry.clusters()),
        );
        (0..geometry.clusters() + 2).filter(|it| one.raw(*it) != two.raw(*it)).take(MOST_NAMED).collect()
    }

    /// Clusters that no file has, and that none can have.
    fn clusters(&self, volume: &Volume) -> Vec<ImageFinding> {
        let start = self.geometry().fat_start(0) * u64::from(self.geometry().sector_bytes);
        let entry =
            |cluster: u32| self.place(start + first_byte(cluster, self.geometry().bits()) as u64, Some(cluster), "");
        let mut found = Vec::new();
        if let Some(first) = volume.lost.first() {
            let count: u32 = volume.lost.iter().map(|it| it.count).sum();
            let clusters = if count == 1 { "1 cluster is".to_owned() } else { format!("{count} clusters are") };
            let message = format!(
                "{clusters} taken, and no directory entry leads there: chains from {}; look what is in them before they are freed",
                listed(&volume.lost)
            );
            found.push(ImageFinding::new("image-011", entry(first.first), message));
        }
        if let Some(first) = volume.bad.first() {
            let runs: Vec<Run> = volume.bad.iter().map(|it| Run { first: *it, count: 1 }).collect();
            let message = format!(
                "{} marked bad: {}; the disk that this was read from has damaged places",
                if runs.len() == 1 { "1 cluster is".to_owned() } else { format!("{} clusters are", runs.len()) },
                listed(&runs)
            );
            found.push(ImageFinding::new("image-024", entry(*first), message));
        }
        found
    }

    /// The file that the loader looks for: there, in a row, and whole.
    fn boot_file(&self, volume: &Volume) -> Vec<ImageFinding> {
        let Some(boot) = self.boot else { return Vec::new() };
        let name = boot.shown();
        let named = |finding: ImageFinding| match boot.at {
            Some(at) => finding.related(Related::Source(at), "the name that the loader looks for"),
            None => finding,
        };
        let is_it = |it: &&Entry| it.name == boot.name && !it.path.contains('/') && !it.is_directory();
        let Some(entry) = volume.entries.iter().find(is_it) else {
            let root = self.geometry().root_start() * u64::from(self.geometry().sector_bytes);
            let near = volume.entries.iter().find(|it| it.path.rsplit('/').next() == Some(name.as_str()));
            let hint = near.map_or_else(String::new, |it| format!("; `{}` is not where a loader looks", it.path));
            let message = format!("the boot file `{name}` is not in the root directory{hint}; expected it there");
            return vec![named(ImageFinding::new("image-020", self.place(root, None, ""), message))];
        };
        let mut found = Vec::new();
        if !entry.is_contiguous() {
            let parts = listed(&entry.runs);
            let message = format!(
                "the boot file `{name}` lies in {} pieces: {parts}; expected its clusters in a row where the loader does not follow the FAT",
                entry.runs.len()
            );
            found.push(ImageFinding::new(
                "image-021",
                self.place(entry.offset, Some(entry.first_cluster), &entry.path),
                message,
            ));
        }
        let content = volume.content(self.bytes, self.geometry(), entry);
        let at = || match entry.runs.first() {
            Some(run) => self.place(self.geometry().cluster_offset(run.first), None, &entry.path),
            None => self.place(entry.offset, None, &entry.path),
        };
        match program_header(&content) {
            Some(header) => {
                for trouble in &header.troubles {
                    let message = format!("the boot file `{name}` starts as a {}, but {trouble}", header.title());
                    found.push(ImageFinding::new("image-022", at(), message));
                }
            }
            None if content.is_empty() => {
                found.push(ImageFinding::new(
                    "image-022",
                    at(),
                    format!("the boot file `{name}` is empty; expected a program"),
                ));
            }
            None => {
                let first: Vec<String> = content.iter().take(8).map(|it| format!("{it:02X}")).collect();
                let text: String =
                    content.iter().take(8).take_while(|it| it.is_ascii_graphic()).map(|it| char::from(*it)).collect();
                let text = if text.len() >= 4 { format!(" (`{text}`)") } else { String::new() };
                let message = format!(
                    "the boot file `{name}` has no known program header: first bytes {}{text}; hold them against what the loader asks for",
                    first.join(" ")
                );
                found.push(ImageFinding::new("image-023", at(), message));
            }
        }
        found.into_iter().map(named).collect()
    }
}

/// Runs of clusters as a message names them.
pub(super) fn listed(runs: &[Run]) -> String {
    let one =
        |it: &Run| if it.count == 1 { it.first.to_string() } else { format!("{} ({} clusters)", it.first, it.count) };
    let named: Vec<String> = runs.iter().take(MOST_NAMED).map(one).collect();
    let more = runs.len().saturating_sub(MOST_NAMED);
    let more = if more == 0 { String::new() } else { format!(" and {more} more") };
    named.join(", ") + &more
}
