//! A new FAT volume: empty, and then files one behind the other, so that each is contiguous.

use std::collections::HashMap;

use super::fat::set;
use super::name::{RawName, shown};
use super::read::attribute;
use super::{Geometry, Moment};

/// A file for a new volume.
#[derive(Clone, Debug)]
pub struct NewEntry<'a> {
    /// Its directories from the root, and its name.
    pub path: Vec<RawName>,
    /// Its bytes.
    pub bytes: &'a [u8],
}

/// Where something was put.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Its path from the root.
    pub path: String,
    /// Whether it is a directory.
    pub is_directory: bool,
    /// Its bytes.
    pub bytes: u32,
    /// Its first cluster, 0 for an empty file.
    pub first_cluster: u32,
    /// Its clusters, all in a row.
    pub clusters: u32,
}

/// A volume that was written: all sectors but for the reserved ones, which are zeros.
#[derive(Clone, Debug)]
pub struct Written {
    /// The bytes.
    pub bytes: Vec<u8>,
    /// What lies where, in the order of its clusters.
    pub placed: Vec<Placed>,
    /// Clusters that are left.
    pub free: u32,
}

struct Node<'a> {
    name: RawName,
    parent: usize,
    content: Option<&'a [u8]>,
    children: Vec<usize>,
    first: u32,
    count: u32,
}

/// Writes a new volume.
///
/// # Errors
/// A geometry that holds no volume that can be written, names that stand twice, or what does not fit, with the numbers.
pub fn write(
    geometry: &Geometry,
    files: &[NewEntry<'_>],
    label: Option<RawName>,
    moment: Moment,
) -> Result<Written, String> {
    if geometry.reserved_sectors == 0 {
        return Err("no sector is reserved, so the FAT would lie on the boot sector; expected 1 or more".into());
    }
    if geometry.fat_bytes() < geometry.fat_bytes_needed() {
        let (has, needs) = (geometry.fat_bytes(), geometry.fat_bytes_needed());
        return Err(format!("a FAT has {has} bytes, and {} clusters need {needs}", geometry.clusters()));
    }
    let mut nodes = tree(files)?;
    let room = geometry.root_entries as usize - usize::from(label.is_some());
    if nodes[0].children.len() > room {
        let wanted = nodes[0].children.len();
        return Err(format!(
            "{wanted} entries for a root directory that has room for {room}; put files into a directory: DIR/NAME"
        ));
    }
    let next = place(geometry, &mut nodes)?;

    let size = geometry.sector_bytes as usize;
    let mut bytes = vec![0; usize::try_from(geometry.bytes()).map_err(|_| "the volume is too large")?];
    let bits = geometry.bits();
    let ones = (1_u32 << bits) - 1;
    let start = geometry.fat_start(0) as usize * size;
    let table = &mut bytes[start..start + geometry.fat_bytes() as usize];
    set(table, bits, 0, ones & !0xff | u32::from(geometry.media));
    set(table, bits, 1, ones);
    for node in &nodes[1..] {
        for at in 0..node.count {
            let cluster = node.first + at;
            set(table, bits, cluster, if at + 1 == node.count { ones } else { cluster + 1 });
        }
    }
    for copy in 1..geometry.fat_count {
        let to = geometry.fat_start(copy) as usize * size;
        bytes.copy_within(start..start + geometry.fat_bytes() as usize, to);
    }

    let root = geometry.root_start() as usize * size;
    let label = label.map(|name| slot(&name, attribute::LABEL, moment, 0, 0));
    for (at, node) in nodes.iter().enumerate() {
        let to = if at == 0 { root } else { geometry.cluster_offset(node.first) as usize };
        if let Some(content) = node.content {
            if node.count > 0 {
                bytes[to..to + content.len()].copy_from_slice(content);
            }
            continue;
        }
        let dots = [
            slot(b".          ", attribute::DIRECTORY, moment, node.first, 0),
            slot(b"..         ", attribute::DIRECTORY, moment, nodes[node.parent].first, 0),
        ];
        let first: &[[u8; 32]] = if at == 0 { label.as_slice() } else { &dots };
        let children = node.children.iter().map(|child| {
            let child = &nodes[*child];
            match child.content {
                Some(content) => slot(&child.name, attribute::ARCHIVE, moment, child.first, content.len() as u32),
                None => slot(&child.name, attribute::DIRECTORY, moment, child.first, 0),
            }
        });
        for (number, entry) in first.iter().copied().chain(children).enumerate() {
            bytes[to + number * 32..to + number * 32 + 32].copy_from_slice(&entry);
        }
    }
    let mut placed: Vec<(u32, Placed)> = Vec::new();
    for at in 1..nodes.len() {
        let node = &nodes[at];
        let entry = Placed {
            path: path(&nodes, at),
            is_directory: node.content.is_none(),
            bytes: node.content.map_or(0, |it| it.len() as u32),
            first_cluster: node.first,
            clusters: node.count,
        };
        placed.push((if node.count == 0 { u32::MAX } else { node.first }, entry));
    }
    placed.sort_by_key(|it| it.0);
    let placed = placed.into_iter().map(|it| it.1).collect();
    Ok(Written { bytes, placed, free: geometry.clusters() + 2 - next })
}

/// The directories and files; the root is the first.
fn tree<'a>(files: &[NewEntry<'a>]) -> Result<Vec<Node<'a>>, String> {
    let node = |name, parent, content| Node { name, parent, content, children: Vec::new(), first: 0, count: 0 };
    let mut nodes = vec![node([b' '; 11], 0, None)];
    let mut known: HashMap<(usize, RawName), usize> = HashMap::new();
    for file in files {
        let Some((name, folders)) = file.path.split_last() else { return Err("a file has no name".into()) };
        let mut parent = 0;
        for folder in folders {
            parent = match known.get(&(parent, *folder)) {
                Some(at) if nodes[*at].content.is_some() => {
                    return Err(format!("`{}` is a file and a directory", path(&nodes, *at)));
                }
                Some(at) => *at,
                None => {
                    nodes.push(node(*folder, parent, None));
                    let at = nodes.len() - 1;
                    nodes[parent].children.push(at);
                    known.insert((parent, *folder), at);
                    at
                }
            };
        }
        nodes.push(node(*name, parent, Some(file.bytes)));
        let at = nodes.len() - 1;
        nodes[parent].children.push(at);
        if known.insert((parent, *name), at).is_some() {
            return Err(format!("`{}` is there twice; name one of them otherwise", path(&nodes, at)));
        }
    }
    Ok(nodes)
}

/// Gives each its clusters, in the order in which they were named. The result is the first free cluster.
fn place(geometry: &Geometry, nodes: &mut [Node<'_>]) -> Result<u32, String> {
    let bytes = u64::from(geometry.cluster_bytes());
    let mut next: u64 = 2;
    let end = u64::from(geometry.clusters()) + 2;
    for node in &mut nodes[1..] {
        let length = match node.content {
            Some(content) => content.len() as u64,
            // Itself and its parent are entries too.
            None => (node.children.len() as u64 + 2) * 32,
        };
        let count = length.div_ceil(bytes);
        if count > 0 && next + count <= end {
            (node.first, node.count) = (next as u32, count as u32);
        }
        next += count;
    }
    if next > end {
        let (wanted, there) = (next - 2, end - 2);
        return Err(format!("the files take {wanted} clusters of {bytes} bytes, and the volume has {there}"));
    }
    Ok(next as u32)
}

fn path(nodes: &[Node<'_>], mut at: usize) -> String {
    let mut parts = Vec::new();
    while at != 0 {
        parts.push(shown(&nodes[at].name));
        at = nodes[at].parent;
    }
    parts.reverse();
    parts.join("/")
}

/// An entry of a directory.
fn slot(name: &RawName, attributes: u8, moment: Moment, cluster: u32, bytes: u32) -> [u8; 32] {
    let mut slot = [0; 32];
    slot[..11].copy_from_slice(name);
    slot[11] = attributes;
    slot[22..24].copy_from_slice(&moment.time.to_le_bytes());
    slot[24..26].copy_from_slice(&moment.date.to_le_bytes());
    slot[26..28].copy_from_slice(&(cluster as u16).to_le_bytes());
    slot[28..32].copy_from_slice(&bytes.to_le_bytes());
    slot
}
