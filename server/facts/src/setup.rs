//! What sources are read with: what is given from outside, and else what the machine file of their folder says.

use std::path::{Path, PathBuf};

use reveille_cpu::Cpu;
use reveille_machine::{Machine, MachineFile, Spanned};
use reveille_program::{Program, Readings, Settings, Sizing, SourceFile, normal};
use reveille_source::Dialect;

use crate::finding::{Evidence, Finding};
use crate::machine::{evidence, folder_of, machine_files};

/// What is given from outside, by the command line or a client: it holds whatever a machine file says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Given {
    /// The processor; the 68000 if nobody names one.
    pub cpu: Option<Cpu>,
    /// The processor's clock in Hz.
    pub clock: Option<u32>,
    /// Where code without ORG is taken to lie; 0 if nobody says.
    pub origin: Option<i64>,
    /// The dialect of every file that does not name its own.
    pub dialect: Option<Dialect>,
    /// Folders of included files, before those of a machine file.
    pub include: Vec<PathBuf>,
    /// How lengths are chosen; a machine file says nothing of it.
    pub sizing: Sizing,
}

impl Given {
    /// The settings of the sources in the folder of a machine file and below.
    fn settings(&self, folder: &Path, file: &MachineFile) -> Settings {
        let firmware = &file.firmware;
        let paths =
            |list: &[Spanned<String>]| -> Vec<PathBuf> { list.iter().map(|it| path_in(folder, &it.value)).collect() };
        let told_cpu = || of_all(file, |it| Cpu::from_name(it.cpu.as_ref()?.value));
        let told_dialect = || Dialect::from_name(firmware.dialect.as_ref()?.value);
        Settings {
            cpu: self.cpu.or_else(told_cpu).unwrap_or_default(),
            sizing: self.sizing,
            origin: self.origin.or(firmware.origin.as_ref().map(|it| it.value.into())).unwrap_or(0),
            clock: self.clock.or_else(|| of_all(file, |it| it.clock.as_ref().map(|it| it.value))),
            defines: firmware.defines.iter().map(|(name, value)| (name.value.clone(), value.value)).collect(),
            include: self.include.iter().cloned().chain(paths(&firmware.include)).collect(),
            // `auto` is none of the dialects: the text tells.
            dialect: self.dialect.or_else(told_dialect),
            int_bytes: firmware.c_int.as_ref().and_then(|it| it.value.parse::<u32>().ok()).map(|bits| bits / 8),
            roots: paths(&firmware.roots),
        }
    }
}

/// What all machines of a file agree on, as far as they say it: a source that runs on two has no clock of its own.
fn of_all<T: PartialEq>(file: &MachineFile, value: impl Fn(&Machine) -> Option<T>) -> Option<T> {
    let mut values = file.machines.iter().filter_map(value);
    let first = values.next()?;
    values.all(|it| it == first).then_some(first)
}

/// The path that a machine file in a folder means: as a program has it.
fn path_in(folder: &Path, name: &str) -> PathBuf {
    normal(&folder.join(name.replace('\\', "/")))
}

/// Has the sources of a program read as its machine files say. Gives whether any is read otherwise than before.
pub fn read_as_told(program: &mut Program, given: &Given) -> bool {
    let told = machine_files(program).map(|file| {
        let folder = folder_of(file).to_owned();
        let reading = reveille_machine::read(&file.source().text());
        let settings = given.settings(&folder, &reading.file);
        (folder, settings)
    });
    let told = told.collect();
    program.set_readings(Readings::new(given.settings(Path::new(""), &MachineFile::default()), told))
}

/// A file or folder that a machine file names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// Where it should be.
    pub path: PathBuf,
    /// Whether it should be a folder.
    pub is_folder: bool,
    /// Where it is named.
    pub(crate) at: Evidence,
    /// How it is written.
    pub(crate) text: String,
}

/// What a machine file names.
pub(crate) fn named(file: &SourceFile, read: &MachineFile) -> Vec<Named> {
    let folder = folder_of(file);
    let of = |list: &[Spanned<String>], is_folder| -> Vec<Named> {
        let named = list.iter().filter_map(|it| {
            let (path, at) = (path_in(folder, &it.value), evidence(file, it.span.clone())?);
            Some(Named { path, is_folder, at, text: it.value.clone() })
        });
        named.collect()
    };
    let mut all = of(&read.firmware.roots, false);
    all.extend(of(&read.firmware.include, true));
    all
}

impl Named {
    /// That it is not there.
    pub(crate) fn finding(&self) -> Finding {
        let kind = if self.is_folder { "folder" } else { "file" };
        let message =
            format!("there is no {kind} `{}`; write its path as it is from the machine file's folder", self.text);
        Finding::new("machine-008", self.at, message)
    }
}

#[cfg(test)]
mod tests {
    use reveille_cpu::Cpu;
    use reveille_machine::keys::{Kind, find};
    use reveille_source::{Dialect, SYNTAXES};

    fn words(path: &[&str]) -> Vec<&'static str> {
        match find(path).map(|it| &it.kind) {
            Some(Kind::Choice(words)) => words.iter().map(|it| it.word).collect(),
            _ => Vec::new(),
        }
    }

    #[test]
    fn the_machine_file_knows_the_dialects_and_processors_that_there_are() {
        let dialects = words(&["firmware", "dialect"]);
        assert_eq!(dialects[0], "auto");
        assert_eq!(dialects[1..], SYNTAXES.iter().map(|it| it.name).collect::<Vec<_>>());
        assert!(
            dialects[1..].iter().all(|it| Dialect::from_name(it).is_some()) && Dialect::from_name("auto").is_none()
        );
        let cpus = words(&["machine", "skerry", "cpu"]);
        assert_eq!(cpus, Cpu::NAMES.map(|it| it.0));
    }
}
