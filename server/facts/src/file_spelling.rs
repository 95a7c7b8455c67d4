//! One file, spelled in several places: names that stand by themselves, for the loader, and such as messages have in them.

use reveille_decoders::volume::{RawName, shown};
use reveille_machine::distance;

use crate::file_names::FileName;
use crate::finding::{Evidence, Finding};

/// The most letters in which two spellings of one name differ.
const NEAR: usize = 2;
/// More names than these are a list of files, and no loader's.
const MOST: usize = 200;

/// What is spelled in several places; `all` are the names of one machine's sources.
pub(crate) fn findings(all: &[&FileName]) -> Vec<Finding> {
    let mut wholes: Vec<&FileName> = Vec::new();
    for own in all.iter().filter(|it| it.is_whole) {
        if wholes.iter().all(|it| it.at != own.at) {
            wholes.push(own);
        }
    }
    let mut found = Vec::new();
    if wholes.is_empty() || wholes.len() > MOST {
        return found;
    }
    let mut told: Vec<RawName> = Vec::new();
    for (at, own) in wholes.iter().enumerate() {
        let name = shown(&own.name);
        if let Some(first) = wholes[..at].iter().find(|it| it.name == own.name).filter(|_| !told.contains(&own.name)) {
            told.push(own.name);
            let message = format!(
                "the file `{name}` is named in more than one place; whoever changes it has to change all of them"
            );
            found.push(Finding::new("file-002", own.at, message).related(first.at, "it is named here, too"));
        }
        let other = wholes[..at].iter().find(|it| is_misspelt(&it.name, &own.name, 1));
        if let Some(other) = other.filter(|_| wholes[..at].iter().all(|it| it.name != own.name)) {
            let message =
                format!("this names `{name}`, and another place `{}`: is it the same file?", shown(&other.name));
            found.push(Finding::new("file-001", own.at, message).related(other.at, "the other spelling"));
        }
    }
    let mut seen: Vec<Evidence> = Vec::new();
    for own in all.iter().filter(|it| !it.is_whole) {
        let is_known = wholes.iter().any(|it| it.name == own.name);
        let near = wholes.iter().find(|it| is_misspelt(&it.name, &own.name, NEAR));
        let Some(near) = near.filter(|_| !is_known && !seen.contains(&own.at)) else { continue };
        seen.push(own.at);
        let message = format!(
            "the text names `{}`, and the file that is looked for is `{}`; write the same name in both",
            shown(&own.name),
            shown(&near.name)
        );
        found.push(Finding::new("file-001", own.at, message).related(near.at, "the name that is looked for"));
    }
    found
}

/// Whether two names are most likely meant to be one: they differ in few letters, or in the type alone. Numbered files are others.
fn is_misspelt(one: &RawName, other: &RawName, most: usize) -> bool {
    let differs = one.iter().zip(other).filter(|it| it.0 != it.1);
    if one == other || differs.clone().all(|it| it.0.is_ascii_digit() && it.1.is_ascii_digit()) {
        return false;
    }
    let (left, right) = (shown(one), shown(other));
    let is_other_type = most > 1 && one[..8] == other[..8];
    // Short names are near each other by chance.
    is_other_type || left.len().min(right.len()) >= 6 && distance(&left, &right) <= most
}

#[cfg(test)]
mod tests {
    use super::is_misspelt;
    use reveille_decoders::volume::raw_name;

    // Common practice, no source.
    #[test]
    fn names_that_are_meant_to_be_one_differ_in_few_letters() {
        let is = |one: &str, other: &str, most| is_misspelt(&raw_name(one).unwrap(), &raw_name(other).unwrap(), most);
        assert!(is("SKERRY.SYS", "SKERY.SYS", 1) && is("SKERRY.SYS", "SKERRY.BIN", 2));
        assert!(!is("SKERRY.SYS", "SKERRY.BIN", 1), "a program and its data share a name");
        assert!(!is("BOOT1.SYS", "BOOT2.SYS", 2), "numbered files");
        assert!(!is("TIDE.ABS", "PUMP.ABS", 2) && !is("A.S", "B.S", 2));
    }
}
