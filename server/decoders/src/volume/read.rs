//! A FAT volume read as it is: every file with its clusters, and every trouble with its place.
//!
//! Each cluster belongs to whoever reaches it first, and nobody follows a chain into what another has. So the time is that of one pass
//! over the volume, whatever its bytes are.

use std::collections::HashSet;

use super::fat::{Fat, Link};
use super::geometry::Geometry;
use super::name::{RawName, is_legal, shown};
use super::{Moment, first_byte};

/// Bits of an entry's attributes. *FAT: General Overview of On-Disk Format* 1.03, FAT Directory Structure.
pub mod attribute {
    /// Nobody may write it.
    pub const READ_ONLY: u8 = 0x01;
    /// Not listed.
    pub const HIDDEN: u8 = 0x02;
    /// Part of the system.
    pub const SYSTEM: u8 = 0x04;
    /// The volume's label.
    pub const LABEL: u8 = 0x08;
    /// A directory.
    pub const DIRECTORY: u8 = 0x10;
    /// Changed since it was last saved elsewhere.
    pub const ARCHIVE: u8 = 0x20;
    /// All that a piece of a long name has, and nothing else.
    pub const LONG_NAME: u8 = 0x0f;
}

/// The most entries that are read.
const MOST_ENTRIES: usize = 65_536;

/// The most troubles that are kept; the rest is counted.
const MOST_PROBLEMS: usize = 1000;

/// Directories inside each other. DOS paths have 64 characters, so 32 at most; from memory.
const MOST_DEPTH: usize = 32;

/// Clusters in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// The first.
    pub first: u32,
    /// How many.
    pub count: u32,
}

/// A file or directory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its path from the root, parts by `/`.
    pub path: String,
    /// Its name as it stands.
    pub name: RawName,
    /// Its attributes: see [`attribute`].
    pub attributes: u8,
    /// When it was last written.
    pub moment: Moment,
    /// Its first cluster, 0 for an empty file.
    pub first_cluster: u32,
    /// Its length in bytes, as the entry says.
    pub bytes: u32,
    /// Where its entry lies, in bytes of the volume.
    pub offset: u64,
    /// Its clusters, as far as the chain is sound.
    pub runs: Vec<Run>,
    /// Whether its chain is sound and as long as it should be.
    pub is_sound: bool,
}

impl Entry {
    /// Whether it is a directory.
    #[must_use]
    pub fn is_directory(&self) -> bool {
        self.attributes & attribute::DIRECTORY != 0
    }

    /// How many clusters it has.
    #[must_use]
    pub fn clusters(&self) -> u32 {
        self.runs.iter().map(|it| it.count).sum()
    }

    /// Whether its clusters follow each other.
    #[must_use]
    pub fn is_contiguous(&self) -> bool {
        self.runs.len() <= 1
    }
}

/// What is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// The chain comes back to a cluster of its own.
    Loop {
        /// The cluster whose entry leads back.
        from: u32,
        /// Where it leads.
        to: u32,
    },
    /// The chain runs into one of another entry.
    CrossLink {
        /// The first cluster that both have.
        cluster: u32,
        /// The path of the other.
        other: String,
    },
    /// The chain leads to a cluster that the volume does not have.
    Outside {
        /// The cluster whose entry leads there; 0 for the directory entry.
        from: u32,
        /// Where it leads.
        to: u32,
    },
    /// The chain runs into an entry that ends no chain.
    Broken {
        /// The cluster.
        cluster: u32,
        /// What its entry says.
        link: Link,
    },
    /// Clusters of the chain lie behind the end of the bytes.
    Cut {
        /// The first of them.
        cluster: u32,
    },
    /// The chain has fewer clusters than the length takes.
    Short {
        /// What it has.
        clusters: u32,
        /// What the length takes.
        wanted: u32,
    },
    /// The chain has more clusters than the length takes.
    Long {
        /// What it has.
        clusters: u32,
        /// What the length takes.
        wanted: u32,
    },
    /// A length and no cluster.
    NoCluster,
    /// A cluster and no length.
    NoLength,
    /// A name that no system opens.
    IllegalName,
    /// Another entry of the directory has the name.
    DuplicateName,
    /// A date or time that no calendar has.
    ImpossibleDate,
    /// Attributes that contradict each other or the rest of the entry: why.
    Attributes(&'static str),
    /// The first two entries of a directory are not itself and its parent: what was found.
    DotEntries(String),
    /// Entries stand behind the mark that ends the directory: how many.
    BehindTheEnd(u32),
    /// Directories lie deeper in each other than any system has them.
    TooDeep,
}

/// A trouble and its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// What.
    pub trouble: Trouble,
    /// The path it is about; empty for the root directory.
    pub path: String,
    /// Where to look, in bytes of the volume.
    pub offset: u64,
}

/// What a volume holds.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Volume {
    /// Files and directories, a directory before what is in it.
    pub entries: Vec<Entry>,
    /// What is wrong.
    pub problems: Vec<Problem>,
    /// How many troubles more there are.
    pub more_problems: usize,
    /// Whether there are more entries than are read.
    pub has_more_entries: bool,
    /// The label.
    pub label: Option<RawName>,
    /// Chains that no entry reaches, each from its first cluster, with its number of clusters.
    pub lost: Vec<Run>,
    /// Clusters that are marked bad.
    pub bad: Vec<u32>,
    /// Clusters that nothing uses.
    pub free: u32,
}

impl Volume {
    /// The entry of a path, without regard to case.
    #[must_use]
    pub fn entry(&self, path: &str) -> Option<&Entry> {
        self.entries.iter().find(|it| it.path.eq_ignore_ascii_case(path))
    }

    /// The bytes of a file, as far as its chain is sound and the volume's bytes reach.
    #[must_use]
    pub fn content(&self, bytes: &[u8], geometry: &Geometry, entry: &Entry) -> Vec<u8> {
        let mut content = Vec::with_capacity(entry.bytes.min(bytes.len() as u32) as usize);
        for run in &entry.runs {
            let start = geometry.cluster_offset(run.first);
            let end = start + u64::from(run.count) * u64::from(geometry.cluster_bytes());
            content.extend_from_slice(part(bytes, start, end));
        }
        if !entry.is_directory() {
            content.truncate(entry.bytes as usize);
        }
        content
    }
}

fn part(bytes: &[u8], start: u64, end: u64) -> &[u8] {
    let end = end.min(bytes.len() as u64);
    if start >= end { &[] } else { &bytes[start as usize..end as usize] }
}

/// Reads a volume. The bytes may be fewer or more than it has.
#[must_use]
pub fn read(bytes: &[u8], geometry: &Geometry) -> Volume {
    let size = u64::from(geometry.sector_bytes);
    let start = geometry.fat_start(0) * size;
    let table = part(bytes, start, start + geometry.fat_bytes());
    let mut reader = Reader {
        bytes,
        geometry,
        fat: Fat::new(table, geometry.bits(), geometry.clusters()),
        owners: vec![0; geometry.clusters() as usize + 2],
        volume: Volume::default(),
    };
    let root = geometry.root_start() * size;
    let root = vec![(root, root + u64::from(geometry.root_entries) * 32)];
    let mut waiting = vec![Directory { path: String::new(), depth: 0, ranges: root, own: 0, parent: 0 }];
    let mut at = 0;
    while at < waiting.len() {
        let directory = std::mem::take(&mut waiting[at]);
        reader.directory(&directory, &mut waiting);
        at += 1;
    }
    reader.rest();
    reader.volume
}

#[derive(Default)]
struct Directory {
    path: String,
    depth: usize,
    ranges: Vec<(u64, u64)>,
    own: u32,
    parent: u32,
}

struct Reader<'a> {
    bytes: &'a [u8],
    geometry: &'a Geometry,
    fat: Fat<'a>,
    /// The entry that has a cluster, counted from 1; 0 for none.
    owners: Vec<u32>,
    volume: Volume,
}

impl Reader<'_> {
    fn problem(&mut self, path: &str, offset: u64, trouble: Trouble) {
        if self.volume.problems.len() < MOST_PROBLEMS {
            self.volume.problems.push(Problem { trouble, path: path.to_owned(), offset });
        } else {
            self.volume.more_problems += 1;
        }
    }

    /// The byte of the first FAT that has a cluster's entry.
    fn link_offset(&self, cluster: u32) -> u64 {
        let start = self.geometry.fat_start(0) * u64::from(self.geometry.sector_bytes);
        start + first_byte(cluster, self.geometry.bits()) as u64
    }

    fn directory(&mut self, directory: &Directory, waiting: &mut Vec<Directory>) {
        let bytes = self.bytes;
        let slots = directory.ranges.iter().flat_map(|(start, end)| {
            part(bytes, *start, *end).chunks_exact(32).zip(0_u64..).map(move |(slot, at)| (start + at * 32, slot))
        });
        let mut names = HashSet::new();
        let mut has_ended = None;
        let mut behind = 0;
        let mut dots = 0;
        for (number, (offset, slot)) in slots.enumerate() {
            let name: RawName = std::array::from_fn(|at| slot[at]);
            if has_ended.is_some() {
                behind += u32::from(name[0] != 0 && name[0] != 0xe5 && is_legal(&name));
                continue;
            }
            match name[0] {
                0 => has_ended = Some(offset),
                0xe5 => (),
                _ if slot[11] & 0x3f == attribute::LONG_NAME => (),
                _ if directory.own != 0 && number < 2 && name[0] == b'.' => {
                    dots += self.dot(directory, number, offset, slot)
                }
                _ => {
                    if self.volume.entries.len() >= MOST_ENTRIES {
                        self.volume.has_more_entries = true;
                        break;
                    }
                    self.entry(directory, offset, slot, name, &mut names, waiting);
                }
            }
        }
        if let Some(offset) = has_ended.filter(|_| behind > 0) {
            self.problem(&directory.path, offset, Trouble::BehindTheEnd(behind));
        }
        if directory.own != 0 && dots < 2 {
            let offset = directory.ranges.first().map_or(0, |it| it.0);
            let text = "the entries `.` and `..` are not the first two".to_owned();
            self.problem(&directory.path, offset, Trouble::DotEntries(text));
        }
    }

    /// One of the first two entries of a directory: itself, its parent.
    fn dot(&mut self, directory: &Directory, number: usize, offset: u64, slot: &[u8]) -> u32 {
        let (name, wanted): (&[u8], u32) =
            if number == 0 { (b".          ", directory.own) } else { (b"..         ", directory.parent) };
        if slot[..11] != *name {
            return 0;
        }
        let found = u32::from(word(slot, 26));
        if found != wanted || slot[11] & attribute::DIRECTORY == 0 {
            let text = format!("`{}` leads to cluster {found}, expected {wanted}", shown_dots(number));
            self.problem(&directory.path, offset, Trouble::DotEntries(text));
        }
        1
    }

    fn entry(
        &mut self,
        directory: &Directory,
        offset: u64,
        slot: &[u8],
        name: RawName,
        names: &mut HashSet<RawName>,
        waiting: &mut Vec<Directory>,
    ) {
        let attributes = slot[11];
        let path = match directory.path.as_str() {
            "" => shown(&name),
            above => format!("{above}/{}", shown(&name)),
        };
        let mut entry = Entry {
            path,
            name,
            attributes,
            moment: Moment { time: word(slot, 22), date: word(slot, 24) },
            first_cluster: word(slot, 26).into(),
            bytes: u32::from(word(slot, 28)) | u32::from(word(slot, 30)) << 16,
            offset,
            runs: Vec::new(),
            is_sound: false,
        };
        if attributes & 0xc0 != 0 {
            self.problem(&entry.path, offset, Trouble::Attributes("bits that mean nothing are set"));
        }
        if !entry.moment.is_empty() && !entry.moment.is_possible() {
            self.problem(&entry.path, offset, Trouble::ImpossibleDate);
        }
        if attributes & attribute::LABEL != 0 {
            let trouble = if directory.own != 0 {
                Some("a volume label stands in a directory below the root")
            } else if attributes & attribute::DIRECTORY != 0 {
                Some("it is a volume label and a directory at once")
            } else if self.volume.label.is_some() {
                Some("the volume has a label already")
            } else {
                self.volume.label = Some(name);
                (entry.first_cluster != 0 || entry.bytes != 0).then_some("a volume label has a cluster or a length")
            };
            if let Some(text) = trouble {
                self.problem(&entry.path, offset, Trouble::Attributes(text));
            }
            return;
        }
        if !is_legal(&name) {
            self.problem(&entry.path, offset, Trouble::IllegalName);
        }
        if !names.insert(name) {
            self.problem(&entry.path, offset, Trouble::DuplicateName);
        }
        let is_directory = entry.is_directory();
        if is_directory && entry.bytes != 0 {
            self.problem(&entry.path, offset, Trouble::Attributes("a directory has a length; expected 0"));
        }
        self.chain(&mut entry);
        if is_directory && !entry.runs.is_empty() {
            let bytes = u64::from(self.geometry.cluster_bytes());
            let ranges = entry.runs.iter().map(|run| {
                let start = self.geometry.cluster_offset(run.first);
                (start, start + u64::from(run.count) * bytes)
            });
            let ranges = ranges.collect();
            let (own, depth) = (entry.first_cluster, directory.depth + 1);
            if depth < MOST_DEPTH {
                waiting.push(Directory { path: entry.path.clone(), depth, ranges, own, parent: directory.own });
            } else {
                self.problem(&entry.path, offset, Trouble::TooDeep);
            }
        }
        self.volume.entries.push(entry);
    }

    /// Follows an entry's chain, and says what is wrong with it: the first trouble that ends it, or its length.
    fn chain(&mut self, entry: &mut Entry) {
        let number = self.volume.entries.len() as u32 + 1;
        let wanted = entry.bytes.div_ceil(self.geometry.cluster_bytes());
        if entry.first_cluster == 0 {
            if entry.bytes != 0 || entry.is_directory() {
                self.problem(&entry.path, entry.offset, Trouble::NoCluster);
            }
            entry.is_sound = entry.bytes == 0 && !entry.is_directory();
            return;
        }
        let (mut from, mut cluster) = (0, entry.first_cluster);
        let mut cut = None;
        let end = loop {
            let at = if from == 0 { entry.offset } else { self.link_offset(from) };
            if cluster < 2 || cluster >= self.geometry.clusters() + 2 {
                break Some((at, Trouble::Outside { from, to: cluster }));
            }
            match self.owners[cluster as usize] {
                0 => self.owners[cluster as usize] = number,
                own if own == number => break Some((at, Trouble::Loop { from, to: cluster })),
                other => {
                    let other = self.volume.entries.get(other as usize - 1).map(|it| it.path.clone());
                    break Some((at, Trouble::CrossLink { cluster, other: other.unwrap_or_default() }));
                }
            }
            let link = self.fat.link(cluster);
            if matches!(link, Link::Free | Link::Bad | Link::Reserved(_) | Link::Missing) {
                break Some((self.link_offset(cluster), Trouble::Broken { cluster, link }));
            }
            let place = self.geometry.cluster_offset(cluster);
            if place + u64::from(self.geometry.cluster_bytes()) > self.bytes.len() as u64 && cut.is_none() {
                cut = Some((place, Trouble::Cut { cluster }));
            }
            match entry.runs.last_mut() {
                Some(run) if run.first + run.count == cluster => run.count += 1,
                _ => entry.runs.push(Run { first: cluster, count: 1 }),
            }
            match link {
                Link::Next(next) | Link::Outside(next) => (from, cluster) = (cluster, next),
                _ => break None,
            }
        };
        let clusters = entry.clusters();
        let trouble = end.or(cut).or_else(|| {
            let trouble = match clusters.cmp(&wanted) {
                _ if entry.is_directory() => return None,
                std::cmp::Ordering::Less => Trouble::Short { clusters, wanted },
                std::cmp::Ordering::Equal => return None,
                std::cmp::Ordering::Greater if wanted == 0 => Trouble::NoLength,
                std::cmp::Ordering::Greater => Trouble::Long { clusters, wanted },
            };
            Some((entry.offset, trouble))
        });
        entry.is_sound = matches!(trouble, None | Some((_, Trouble::Long { .. })));
        if let Some((offset, trouble)) = trouble {
            self.problem(&entry.path, offset, trouble);
        }
    }

    /// What no entry reaches: free and bad clusters, and lost chains.
    fn rest(&mut self) {
        let last = self.geometry.clusters() + 2;
        let mut is_led_to = vec![false; last as usize];
        let mut lost = Vec::new();
        for cluster in 2..last {
            if self.owners[cluster as usize] != 0 {
                continue;
            }
            match self.fat.link(cluster) {
                Link::Free => self.volume.free += 1,
                Link::Bad => self.volume.bad.push(cluster),
                Link::Missing => (),
                link => {
                    lost.push(cluster);
                    if let Link::Next(next) = link {
                        is_led_to[next as usize] = true;
                    }
                }
            }
        }
        // First from where nothing leads to, then what is left: circles.
        let heads = lost.iter().filter(|it| !is_led_to[**it as usize]).chain(&lost);
        for head in heads {
            let (mut cluster, mut count) = (*head, 0);
            while self.owners[cluster as usize] == 0 {
                let link = self.fat.link(cluster);
                if matches!(link, Link::Free | Link::Bad | Link::Missing) {
                    break;
                }
                self.owners[cluster as usize] = u32::MAX;
                count += 1;
                let Link::Next(next) = link else { break };
                cluster = next;
            }
            if count > 0 {
                self.volume.lost.push(Run { first: *head, count });
            }
        }
        self.volume.lost.sort_by_key(|it| it.first);
    }
}

fn word(slot: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([slot[at], slot[at + 1]])
}

fn shown_dots(number: usize) -> &'static str {
    if number == 0 { "." } else { ".." }
}
