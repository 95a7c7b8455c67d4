//! Troubles of files and directories as findings.

use reveille_decoders::volume::{Link, Problem, Trouble, Volume, shown_label};

use super::check::Question;
use super::place::{ImageFinding, ImagePlace};

impl Question<'_> {
    /// What is wrong with files and directories.
    pub(super) fn troubles(&self, volume: &Volume) -> Vec<ImageFinding> {
        let mut found: Vec<ImageFinding> = volume.problems.iter().map(|it| self.trouble(volume, it)).collect();
        let root = || self.place(self.geometry().root_start() * u64::from(self.geometry().sector_bytes), None, "");
        if volume.more_problems > 0 {
            let message = format!(
                "{} more troubles are not listed; is this a volume of {}?",
                volume.more_problems, self.table.subject
            );
            found.push(ImageFinding::new("image-026", root(), message));
        }
        if volume.has_more_entries {
            let message =
                format!("only the first {} directory entries were read; expected far fewer", volume.entries.len());
            found.push(ImageFinding::new("image-026", root(), message));
        }
        found
    }

    fn trouble(&self, volume: &Volume, problem: &Problem) -> ImageFinding {
        let Problem { trouble, path, offset } = problem;
        let at = |cluster: Option<u32>| -> ImagePlace { ImagePlace { cluster, ..self.place(*offset, None, path) } };
        let chain = |cluster: u32| at(Some(cluster).filter(|it| *it != 0));
        let bytes = volume.entry(path).map_or(0, |it| it.bytes);
        let last = self.geometry().clusters() + 1;
        let name = if path.is_empty() { "the root directory".to_owned() } else { format!("`{path}`") };
        let (code, place, message) = match trouble {
            Trouble::Loop { from, to } => (
                "image-005",
                chain(*from),
                format!(
                    "the chain of {name} turns in a circle: cluster {from} leads back to {to}; a loader that follows it never ends"
                ),
            ),
            Trouble::CrossLink { cluster, other } => (
                "image-006",
                chain(*cluster),
                format!(
                    "{name} and `{other}` share clusters from {cluster} on; expected each cluster in one chain: one of the two has wrong content"
                ),
            ),
            Trouble::Outside { from: 0, to } => {
                ("image-007", chain(0), format!("{name} starts in cluster {to}; expected 2 to {last}"))
            }
            Trouble::Outside { from, to } => (
                "image-007",
                chain(*from),
                format!(
                    "the chain of {name} leads from cluster {from} to {to}, which the volume does not have; expected 2 to {last}"
                ),
            ),
            Trouble::Broken { cluster, link } => {
                let what = match link {
                    Link::Free => "is marked free".to_owned(),
                    Link::Bad => "is marked bad".to_owned(),
                    Link::Reserved(value) => format!("has the value ${value:03X}, which means nothing"),
                    _ => "lies behind the end of the FAT".to_owned(),
                };
                (
                    "image-008",
                    chain(*cluster),
                    format!(
                        "the chain of {name} breaks off: the entry of cluster {cluster} {what}; expected a next cluster or an end mark"
                    ),
                )
            }
            Trouble::Short { clusters, wanted } => (
                "image-009",
                at(None),
                format!(
                    "{name} has {clusters} clusters, and its {bytes} bytes take {wanted}: the end of the file is missing"
                ),
            ),
            Trouble::Long { clusters, wanted } => (
                "image-010",
                at(None),
                format!(
                    "{name} has {clusters} clusters, and its {bytes} bytes take {wanted}: its length is wrong, or clusters are wasted"
                ),
            ),
            Trouble::NoCluster if bytes == 0 => {
                ("image-012", at(None), format!("the directory {name} has no cluster; expected one at least"))
            }
            Trouble::NoCluster => {
                ("image-012", at(None), format!("{name} has {bytes} bytes and no cluster; expected its first cluster"))
            }
            Trouble::NoLength => (
                "image-013",
                at(None),
                format!("{name} has clusters and a length of 0; expected its length, or cluster 0"),
            ),
            Trouble::IllegalName => (
                "image-014",
                at(None),
                format!(
                    "{name} is a name that no system opens; expected capitals, digits and few signs, padded with blanks"
                ),
            ),
            Trouble::DuplicateName => {
                ("image-015", at(None), format!("{name} is there twice in its directory; systems open the first alone"))
            }
            Trouble::BehindTheEnd(count) => {
                let entries = if *count == 1 { "1 entry stands".to_owned() } else { format!("{count} entries stand") };
                (
                    "image-016",
                    at(None),
                    format!("{entries} behind the mark that ends {name}; systems that stop there do not see them"),
                )
            }
            Trouble::ImpossibleDate => {
                let moment = volume.entries.iter().find(|it| it.offset == *offset).map(|it| it.moment);
                let shown = moment.map_or_else(String::new, |it| format!(" {it}"));
                (
                    "image-017",
                    at(None),
                    format!("the date{shown} of {name} is in no calendar; expected 1980-01-01 to 2107-12-31"),
                )
            }
            Trouble::Attributes(text) => {
                let label = volume.label.as_ref().map(shown_label).filter(|_| text.starts_with("the volume has"));
                let label = label.map_or_else(String::new, |it| format!(": `{it}`"));
                ("image-018", at(None), format!("the entry {name} contradicts itself: {text}{label}"))
            }
            Trouble::DotEntries(text) => {
                ("image-019", at(None), format!("the directory {name} is not tied to its parent: {text}"))
            }
            Trouble::Cut { cluster } => (
                "image-025",
                chain(*cluster),
                format!(
                    "{name} goes on behind the end of the image, from cluster {cluster} on: that part of it is not there"
                ),
            ),
            Trouble::TooDeep => (
                "image-026",
                at(None),
                format!("{name} lies too deep in other directories; what is in it was not read"),
            ),
        };
        ImageFinding::new(code, place, message)
    }
}
