//! What the source leaves open: the processor, how an assembler of the time chose lengths, and what was told it from outside.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use reveille_cpu::Cpu;
use reveille_source::Dialect;

/// How long a branch without a size is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum BranchSizing {
    /// Short where it reaches, else a word.
    Nearest,
    /// Short where it reaches, else a word, else a jump, with the opposite condition before it (*Using as* 2.40, 9.22.6.1).
    Jumping,
    /// A word.
    Word,
    /// Short.
    Short,
}

/// How an address of the program is written into an operand that leaves it open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum References {
    /// Relative to the program counter where nobody has placed the code (no ORG), the operand allows it and it reaches; else as an absolute
    /// long: what *Using as* 2.40 calls branch improvement, 9.22.6.1.
    Unplaced,
    /// Relative to the program counter wherever the operand allows it and it reaches.
    Relative,
    /// An absolute long, as it is written.
    Long,
    /// An absolute short if the address is known when the line is met, and fits; else a long. Common practice, no source.
    Shortest,
}

/// How an assembler chose lengths that the source leaves open. The defaults agree with GNU as wherever it can take the source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Sizing {
    /// Branches without a size; by default nearest in Motorola syntax, and a word in the dotted style.
    pub branches: Option<BranchSizing>,
    /// Addresses of the program.
    pub references: References,
    /// Whether MOVE.L, ADD and SUB with a small constant, known when the line is met, become MOVEQ, ADDQ and SUBQ.
    pub quick: bool,
    /// Whether `0(An)` becomes `(An)`.
    pub drops_zero_displacement: bool,
    /// Whether a branch with the size .L has a distance of one word, as before there was a longer one; else it is refused.
    pub takes_long_branches: bool,
}

impl Default for Sizing {
    fn default() -> Self {
        Self {
            branches: None,
            references: References::Unplaced,
            quick: true,
            drops_zero_displacement: false,
            takes_long_branches: false,
        }
    }
}

impl Sizing {
    /// The rules by name, each with its values, the default one first: what settings and the command line take.
    pub const RULES: [(&'static str, &'static [&'static str]); 5] = [
        ("branches", &["by-dialect", "nearest", "jumping", "word", "short"]),
        ("references", &["unplaced", "relative", "long", "shortest"]),
        ("quick", &["yes", "no"]),
        ("zero-displacement", &["keep", "drop"]),
        ("long-branches", &["refuse", "word"]),
    ];

    /// Sets a rule by name.
    ///
    /// # Errors
    /// Says which names or values there are, if this is none of them.
    pub fn set(&mut self, rule: &str, value: &str) -> Result<(), String> {
        match (rule, value) {
            ("branches", "by-dialect") => self.branches = None,
            ("branches", "nearest") => self.branches = Some(BranchSizing::Nearest),
            ("branches", "jumping") => self.branches = Some(BranchSizing::Jumping),
            ("branches", "word") => self.branches = Some(BranchSizing::Word),
            ("branches", "short") => self.branches = Some(BranchSizing::Short),
            ("references", "unplaced") => self.references = References::Unplaced,
            ("references", "relative") => self.references = References::Relative,
            ("references", "long") => self.references = References::Long,
            ("references", "shortest") => self.references = References::Shortest,
            ("quick", "yes") => self.quick = true,
            ("quick", "no") => self.quick = false,
            ("zero-displacement", "keep") => self.drops_zero_displacement = false,
            ("zero-displacement", "drop") => self.drops_zero_displacement = true,
            ("long-branches", "refuse") => self.takes_long_branches = false,
            ("long-branches", "word") => self.takes_long_branches = true,
            _ => {
                let known = Self::RULES.iter().find(|it| it.0 == rule);
                return Err(match known {
                    Some((_, values)) => format!("`{rule}` is one of {}, not `{value}`", values.join(", ")),
                    None => {
                        let names: Vec<_> = Self::RULES.iter().map(|it| it.0).collect();
                        format!("there is no sizing rule `{rule}`; the rules are {}", names.join(", "))
                    }
                });
            }
        }
        Ok(())
    }

    pub(crate) fn branches(&self, dialect: Dialect) -> BranchSizing {
        self.branches.unwrap_or(match dialect {
            Dialect::Motorola => BranchSizing::Nearest,
            Dialect::Dotted | Dialect::Mit | Dialect::Sgs => BranchSizing::Word,
        })
    }
}

/// What sources are read with.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Settings {
    /// The processor.
    pub cpu: Cpu,
    /// How lengths are chosen.
    pub sizing: Sizing,
    /// Where the first section without ORG is taken to lie.
    pub origin: i64,
    /// The processor's clock in Hz, if it is known: cycles become microseconds.
    pub clock: Option<u32>,
    /// Names with values, as if the source had them; each name once.
    pub defines: Vec<(String, i64)>,
    /// Folders in which included files are looked for, after those of the including file and of the root.
    pub include: Vec<PathBuf>,
    /// The dialect of each file that does not name its own; without it the text tells.
    pub dialect: Option<Dialect>,
    /// Bytes of an `int` of the C beside the assembly: 2 or 4; none where nobody says.
    pub int_bytes: Option<u32>,
    /// The files that are assembled; none for every file that no other includes.
    pub roots: Vec<PathBuf>,
}

impl Settings {
    /// Whether lines are read into the same index with both.
    pub(crate) fn reads_as(&self, other: &Self) -> bool {
        self.cpu == other.cpu && self.sizing == other.sizing
    }
}

/// What each source is read with: settings for all, and those of folders for what is in them and below.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Readings {
    general: Arc<Settings>,
    /// The deepest folder first.
    folders: Vec<(PathBuf, Arc<Settings>)>,
}

impl Readings {
    /// Settings for all sources but those of the folders, which have their own.
    #[must_use]
    pub fn new(general: Settings, mut folders: Vec<(PathBuf, Settings)>) -> Self {
        folders.sort_by_key(|it| std::cmp::Reverse(it.0.components().count()));
        let folders = folders.into_iter().map(|(folder, settings)| (folder, Arc::new(settings))).collect();
        Self { general: Arc::new(general), folders }
    }

    /// What a source is read with.
    #[must_use]
    pub fn of(&self, path: &Path) -> &Arc<Settings> {
        self.folders.iter().find(|it| speaks_for(&it.0, path)).map_or(&self.general, |it| &it.1)
    }

    /// The folders with settings of their own, the deepest first.
    #[must_use]
    pub fn folders(&self) -> &[(PathBuf, Arc<Settings>)] {
        &self.folders
    }

    /// Changes the settings of each folder.
    pub fn change_folders(&mut self, mut change: impl FnMut(&Path, &mut Settings)) {
        for (folder, settings) in &mut self.folders {
            change(folder, Arc::make_mut(settings));
        }
    }
}

/// Whether what stands in a folder holds for a source: it is in the folder or below. A folder above the one that a relative path starts
/// from is named from the root of the file system.
#[must_use]
pub fn speaks_for(folder: &Path, path: &Path) -> bool {
    path.starts_with(folder) || path.is_relative() && folder.is_absolute()
}
