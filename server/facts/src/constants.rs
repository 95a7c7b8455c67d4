//! Constants that give a disk's geometry: CYLS EQU 80 and their like.

use reveille_program::{DefinitionKind, Program, Unit, Value};

use crate::finding::Evidence;

/// What a constant counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// Cylinders, or tracks of one side.
    Cylinders,
    /// Heads.
    Sides,
    /// Sectors per track.
    SectorsPerTrack,
    /// Bytes per sector.
    SectorSize,
    /// The size code of the controller: a sector has 128 x 2^N bytes.
    SizeCode,
    /// Gap 3 while formatting, in bytes.
    Gap3,
    /// How many places on the track the next sector is behind one.
    Interleave,
    /// The code by which the controller chooses how fast it steps.
    StepCode,
}

impl Role {
    /// The name of the block's field or value that it is the same as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Cylinders => "cylinders",
            Self::Sides => "sides",
            Self::SectorsPerTrack => "sectors_per_track",
            Self::SectorSize => "sector_size",
            Self::SizeCode => "size_code",
            Self::Gap3 => "gap3",
            Self::Interleave => "interleave",
            Self::StepCode => "step_code",
        }
    }
}

/// Constants of one disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConstantsFact {
    /// What their names share, besides the words for what they count.
    pub group: String,
    /// What each counts, its name, its value and where it is defined.
    pub values: Vec<(Role, String, i64, Evidence)>,
}

impl ConstantsFact {
    /// The value of a role.
    #[must_use]
    pub fn value(&self, role: Role) -> Option<i64> {
        self.values.iter().find(|it| it.0 == role).map(|it| it.2)
    }
}

/// Spellings without separators, in lower case. Common practice, no source. Longer ones before those that they contain.
const SPELLINGS: &[(&str, Role)] = &[
    ("sectorspertrack", Role::SectorsPerTrack),
    ("sectorstrack", Role::SectorsPerTrack),
    ("secspertrack", Role::SectorsPerTrack),
    ("secpertrack", Role::SectorsPerTrack),
    ("sectpertrk", Role::SectorsPerTrack),
    ("secpertrk", Role::SectorsPerTrack),
    ("secptrk", Role::SectorsPerTrack),
    ("sectrk", Role::SectorsPerTrack),
    ("spt", Role::SectorsPerTrack),
    ("bytespersector", Role::SectorSize),
    ("sectorbytes", Role::SectorSize),
    ("sectorsize", Role::SectorSize),
    ("secbytes", Role::SectorSize),
    ("sectsize", Role::SectorSize),
    ("secsize", Role::SectorSize),
    ("sectsiz", Role::SectorSize),
    ("secsiz", Role::SectorSize),
    ("seclen", Role::SectorSize),
    ("secsz", Role::SectorSize),
    ("sizecode", Role::SizeCode),
    ("sizcode", Role::SizeCode),
    ("seccode", Role::SizeCode),
    ("gap3", Role::Gap3),
    ("gpl", Role::Gap3),
    ("interleave", Role::Interleave),
    ("interlv", Role::Interleave),
    ("ileave", Role::Interleave),
    ("steprate", Role::StepCode),
    ("stprate", Role::StepCode),
    ("stepcode", Role::StepCode),
    ("steprt", Role::StepCode),
    ("cylinders", Role::Cylinders),
    ("cyls", Role::Cylinders),
    ("tracks", Role::Cylinders),
    ("heads", Role::Sides),
    ("sides", Role::Sides),
];

/// What a name counts, and the rest of the name.
fn role(name: &str) -> Option<(Role, String)> {
    let plain: String = name.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_lowercase();
    if matches!(plain.as_str(), "cyl" | "ncyl" | "cylinder") {
        return Some((Role::Cylinders, String::new()));
    }
    SPELLINGS.iter().find_map(|(spelling, role)| {
        let rest = plain.strip_prefix(spelling).or_else(|| plain.strip_suffix(spelling))?;
        // NCYLS and NUMCYLS are CYLS.
        let rest = if matches!(rest, "n" | "num" | "no") { "" } else { rest };
        (rest.len() <= 8).then(|| (*role, rest.to_owned()))
    })
}

/// The groups of constants of a unit that say enough to be a disk's.
pub(crate) fn constants(program: &Program, unit: &Unit) -> Vec<ConstantsFact> {
    let mut groups: Vec<ConstantsFact> = Vec::new();
    for definition in unit.definitions() {
        if !matches!(definition.kind, DefinitionKind::Equate | DefinitionKind::Set) {
            continue;
        }
        let Value::Number(value @ 0..=65_536) = definition.value else { continue };
        let name = program.names().text(definition.symbol);
        let Some((role, group)) = role(&name) else { continue };
        // Codes count from 0; nothing else of these can be 0.
        if value == 0 && !matches!(role, Role::SizeCode | Role::StepCode) {
            continue;
        }
        let Some(file) = program.file(definition.place.file) else { continue };
        let (_, line, _) = file.at(definition.place.chunk, definition.place.line);
        let at = Evidence { place: definition.place, span: line.label };
        let own = match groups.iter_mut().find(|it| it.group == group) {
            Some(own) => own,
            None => {
                groups.push(ConstantsFact { group, values: Vec::new() });
                let last = groups.len() - 1;
                &mut groups[last]
            }
        };
        if own.value(role).is_none() {
            own.values.push((role, name.to_string(), value, at));
        }
    }
    let has = |it: &ConstantsFact, role| it.value(role).is_some();
    groups.retain(|it| has(it, Role::Cylinders) || it.values.len() >= 2 && has(it, Role::SectorsPerTrack));
    groups
}

#[cfg(test)]
mod tests {
    use super::{Role, role};

    #[test]
    fn names_tell_what_they_count() {
        assert_eq!(role("CYLS"), Some((Role::Cylinders, String::new())));
        assert_eq!(role("NCYLS"), Some((Role::Cylinders, String::new())));
        assert_eq!(role("WORNCYLS"), Some((Role::Cylinders, "worn".into())));
        assert_eq!(role("FD_HEADS"), Some((Role::Sides, "fd".into())));
        assert_eq!(role("SEC_PER_TRK"), Some((Role::SectorsPerTrack, String::new())));
        assert_eq!(role("SecSize"), Some((Role::SectorSize, String::new())));
        assert_eq!(role("besides"), Some((Role::Sides, "be".into())));
        assert_eq!(role("COUNT"), None);
    }
}
