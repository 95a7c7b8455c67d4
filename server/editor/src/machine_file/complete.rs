//! What can be written in a machine file.

use std::collections::BTreeSet;
use std::ops::Range;
use std::path::Path;

use reveille_facts::Model;
use reveille_machine::keys::{Choice, FIELD, FILE, Key, Kind, Presence, Section};
use reveille_machine::{Slot, Written, WrittenTable, written};
use reveille_program::{DefinitionKind, SourceFile, speaks_for};

use super::{about, capital};
use crate::{Completion, CompletionKind};

/// How many labels are offered at most.
const MOST: usize = 400;

/// What can be written at a byte of a machine file; and whether there is more than is offered.
pub(crate) fn completions(model: &Model, file: &SourceFile, byte: usize) -> (Vec<Completion>, bool) {
    let text = file.source().text();
    let found = written(&text, byte);
    match &found.slot {
        Some(Slot::Heading(range)) => (headings(file, &found, range), false),
        Some(Slot::Key { table, range, starts_line }) => {
            let mut offered = keys(&found.tables[*table], range);
            if *starts_line {
                offered.extend(headings(file, &found, range));
            }
            (offered, false)
        }
        Some(Slot::Value { key: Some(key), range, is_in_list, .. }) => {
            values(model, file, &text, key, range, *is_in_list)
        }
        Some(Slot::Value { key: None, .. }) | None => (Vec::new(), false),
    }
}

/// Keys of a table that are not there yet; the one that is being written is.
fn keys(table: &WrittenTable, range: &Range<usize>) -> Vec<Completion> {
    let Some(section) = table.section else { return Vec::new() };
    let is_there = |key: &Key| table.keys.iter().any(|it| it.0 == key.name && it.1 != *range);
    // Tables have headings.
    let is_plain = |key: &&Key| !matches!(key.kind, Kind::Table(_) | Kind::Tables(_) | Kind::Named(_));
    let all = section.keys.iter().filter(is_plain).filter(|it| !is_there(it));
    // What has to be there comes first.
    let (required, others): (Vec<&Key>, Vec<&Key>) = all.partition(|it| it.presence == Presence::Required);
    let offer = |key: &Key| Completion {
        label: key.name.to_owned(),
        kind: CompletionKind::Key,
        detail: key.meaning.to_owned(),
        documentation: about(section, key),
        insert: Some(format!("{} = ", key.name)),
        range: range.clone(),
    };
    required.into_iter().chain(others).map(offer).collect()
}

/// Headings of tables that may come: with the names of the machines that are in the file.
fn headings(file: &SourceFile, found: &Written, range: &Range<usize>) -> Vec<Completion> {
    let others = || found.tables.iter().filter(|it| it.heading != *range);
    let has = |path: &[&str]| others().any(|it| it.path == path);
    let mut machines: Vec<&str> = Vec::new();
    for table in others() {
        if let [first, name, ..] = &table.path[..]
            && first == "machine"
            && !machines.contains(&name.as_str())
        {
            machines.push(name);
        }
    }
    let folder_name = machine_name(file.path());
    if machines.is_empty() {
        machines.push(&folder_name);
    }
    let mut offered = Vec::new();
    let mut offer = |label: String, section: &Section| {
        offered.push(Completion {
            label,
            kind: CompletionKind::Heading,
            detail: section.title.to_owned(),
            documentation: told(section),
            insert: None,
            range: range.clone(),
        });
    };
    for key in FILE.keys {
        match key.kind {
            Kind::Table(section) if !has(&[key.name]) => offer(section.header.to_owned(), section),
            Kind::Tables(section) => offer(section.header.to_owned(), section),
            Kind::Named(section) => {
                for name in &machines {
                    let named = |section: &Section| section.header.replace("NAME", &bare_or_quoted(name));
                    if !has(&[key.name, name]) {
                        offer(named(section), section);
                    }
                    for key in section.keys {
                        if let Kind::Tables(inner) = key.kind {
                            offer(named(inner), inner);
                        }
                    }
                }
            }
            _ => (),
        }
    }
    if has(&["block"]) {
        offer(FIELD.header.to_owned(), &FIELD);
    }
    offered
}

/// A name for the first machine of a file: that of its folder.
fn machine_name(path: &Path) -> String {
    let folder = path.parent().and_then(|it| it.file_name()).map(|it| it.to_string_lossy().to_ascii_lowercase());
    let name: String = folder.unwrap_or_default().chars().filter(|it| is_bare(*it)).collect();
    if name.is_empty() { "board".to_owned() } else { name }
}

fn is_bare(character: char) -> bool {
    character.is_ascii_alphanumeric() || matches!(character, '-' | '_')
}

/// A name as it stands in a heading.
fn bare_or_quoted(name: &str) -> String {
    if name.chars().all(is_bare) { name.to_owned() } else { format!("\"{name}\"") }
}

/// What a table is, and its keys.
pub(super) fn told(section: &Section) -> String {
    let mut text = format!("{}\n\n", capital(section.title));
    for key in section.keys {
        let mark = if key.presence == Presence::Required { " (has to be there)" } else { "" };
        text.push_str(&format!("- `{}`{mark}: {}\n", key.name, key.meaning));
    }
    text.trim_end().to_owned()
}

fn values(
    model: &Model,
    file: &SourceFile,
    text: &str,
    key: &Key,
    range: &Range<usize>,
    is_in_list: bool,
) -> (Vec<Completion>, bool) {
    let mut is_more = false;
    let offer = |label: String, kind, detail: &str| Completion {
        label,
        kind,
        detail: detail.to_owned(),
        documentation: String::new(),
        insert: None,
        range: range.clone(),
    };
    let value = |label: String, detail: &str| offer(label, CompletionKind::Value, detail);
    // A list begins with its bracket.
    let item = |label: &str| if is_in_list { format!("\"{label}\"") } else { format!("[\"{label}\"]") };
    let found = match &key.kind {
        Kind::Choice(words) => words.iter().map(|it| value(choice(key, it), it.meaning)).collect(),
        Kind::Flag => vec![value("true".into(), ""), value("false".into(), "")],
        Kind::Texts => {
            let typed = text[range.clone()].trim_matches(['"', '\'']).to_ascii_lowercase();
            match key.name {
                "at" => {
                    let labels;
                    (labels, is_more) = labels_of(model, file, &typed);
                    let labels = labels.iter().map(|(it, told)| offer(item(it), CompletionKind::Label, told));
                    labels.collect()
                }
                "roots" => {
                    paths(model, file, false).iter().map(|it| offer(item(it), CompletionKind::File, "")).collect()
                }
                "include" => {
                    paths(model, file, true).iter().map(|it| offer(item(it), CompletionKind::File, "")).collect()
                }
                _ => Vec::new(),
            }
        }
        Kind::Text => known_names(key).map(|(name, told)| value(format!("\"{name}\""), &told)).collect(),
        Kind::Number(_) | Kind::Size(_) if !is_in_list => {
            let default = match key.presence {
                Presence::Default(value) if value != key.example => Some((value, "what holds without the key")),
                _ => None,
            };
            let all = [Some((key.example, "for example")), default];
            all.into_iter().flatten().map(|(label, told)| value(label.to_owned(), told)).collect()
        }
        _ => Vec::new(),
    };
    (found, is_more)
}

/// A word as it stands in the file: in quotes, unless the key's words are numbers there.
fn choice(key: &Key, word: &Choice) -> String {
    if key.example.starts_with('"') { format!("\"{}\"", word.word) } else { word.word.to_owned() }
}

/// Names that a text may be, with what they are: of the chips that are known.
fn known_names(key: &Key) -> impl Iterator<Item = (&'static str, String)> {
    let controllers = if key.name == "controller" { reveille_decoders::track::controllers() } else { &[] };
    let controllers = controllers
        .iter()
        .flat_map(|it| it.names.iter().map(|name| (name.as_str(), format!("after the {}", it.source))));
    let chips = if key.name == "chip" { reveille_decoders::serial::chips() } else { &[] };
    controllers.chain(chips.iter().map(|it| (it.name.as_str(), it.title.clone())))
}

/// Labels of the sources that the file speaks for.
fn labels_of(model: &Model, file: &SourceFile, typed: &str) -> (Vec<(String, String)>, bool) {
    let program = model.program();
    let folder = file.path().parent().unwrap_or(Path::new(""));
    let mut found = BTreeSet::new();
    for unit in model.analysis().units() {
        for definition in unit.definitions() {
            let is_label = definition.kind == DefinitionKind::Label && !definition.symbol.is_local();
            if !is_label || program.file(definition.place.file).is_none_or(|it| !speaks_for(folder, it.path())) {
                continue;
            }
            let name = program.names().text(definition.symbol).to_string();
            if name.to_ascii_lowercase().contains(typed) {
                let address = definition.value.number();
                let told = address.map_or_else(|| "label".to_owned(), |it| format!("label at ${it:X}"));
                if found.len() == MOST {
                    return (found.into_iter().collect(), true);
                }
                found.insert((name, told));
            }
        }
    }
    (found.into_iter().collect(), false)
}

/// The sources in a machine file's folder and below, as paths from there; or the folders that they are in.
fn paths(model: &Model, file: &SourceFile, folders: bool) -> Vec<String> {
    let own = file.path().parent().unwrap_or(Path::new(""));
    let sources = model.program().files().filter_map(|it| it.path().strip_prefix(own).ok());
    let paths = sources.filter_map(|it| if folders { it.parent() } else { Some(it) });
    let texts = paths.map(|it| it.to_string_lossy().replace('\\', "/")).filter(|it| !it.is_empty());
    texts.collect::<BTreeSet<_>>().into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::{Kind, bare_or_quoted, machine_name};
    use reveille_machine::keys::{BLOCK, MACHINE};
    use std::path::Path;

    #[test]
    fn a_machine_is_named_after_its_folder() {
        assert_eq!(machine_name(Path::new("/bench/Skerry 12/reveille.toml")), "skerry12");
        assert_eq!(machine_name(Path::new("reveille.toml")), "board");
        assert_eq!([bare_or_quoted("skerry-12"), bare_or_quoted("a.b")], ["skerry-12", "\"a.b\""]);
    }

    #[test]
    fn what_completion_takes_for_headings_has_none_in_it_that_only_lists_have() {
        // Fields of blocks are the only tables in tables of a list.
        let inner = |it: &&reveille_machine::keys::Key| matches!(it.kind, Kind::Tables(_));
        assert_eq!(BLOCK.keys.iter().filter(inner).map(|it| it.name).collect::<Vec<_>>(), ["fields"]);
        assert_eq!(
            MACHINE.keys.iter().filter(inner).map(|it| it.name).collect::<Vec<_>>(),
            ["memory", "serial", "drive"]
        );
    }
}
