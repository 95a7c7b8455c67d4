//! The files of a program, as one snapshot.

use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use reveille_source::{Chunk, Dialect, Encoding, File, Line, Splice};
use rustc_hash::{FxHashMap, FxHashSet};

use crate::index::{Indexed, index};
use crate::{Names, Readings, Settings};

/// A file of a program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct FileId(pub(crate) u32);

/// Marks the lines of a macro's expansion, which belong to a unit and not to the program.
const EXPANSION: u32 = 1 << 31;

impl FileId {
    /// No file.
    pub(crate) const NONE: Self = Self(EXPANSION - 1);

    pub(crate) fn index(self) -> usize {
        self.0 as usize
    }

    /// The number that an expansion has in its unit.
    pub(crate) fn of_expansion(number: usize) -> Self {
        Self(number as u32 | EXPANSION)
    }

    /// The place of an expansion among those of its unit; none for a file.
    pub(crate) fn expansion(self) -> Option<usize> {
        (self.0 & EXPANSION != 0).then_some((self.0 & !EXPANSION) as usize)
    }
}

/// One version of a file, and what the program needs of it.
#[derive(Clone, Debug)]
pub struct SourceFile {
    id: FileId,
    path: Arc<Path>,
    source: File,
    encoding: Encoding,
    binary_at: Option<usize>,
    is_beside: bool,
    object: Option<Arc<[u8]>>,
    includes: Arc<[String]>,
    settings: Arc<Settings>,
    pub(crate) indexed: Vec<Arc<Indexed>>,
}

impl SourceFile {
    /// The lines of a macro's expansion, as a file of their own. `path` is that of the macro's file.
    pub(crate) fn of_expansion(
        id: FileId,
        path: Arc<Path>,
        text: &str,
        dialect: Dialect,
        names: &Names,
        settings: &Arc<Settings>,
    ) -> Self {
        let source = File::new(text, Some(dialect));
        let indexed = indexed(&source, names, settings);
        let includes = Arc::from([]);
        let encoding = Encoding::default();
        let settings = settings.clone();
        let object = None;
        Self { id, path, source, encoding, binary_at: None, is_beside: false, object, includes, settings, indexed }
    }

    /// Takes other settings over, and reads the lines again as far as they are read otherwise with them.
    fn read_with(&mut self, settings: &Arc<Settings>, names: &Names) {
        let before = std::mem::replace(&mut self.settings, settings.clone());
        if self.is_beside {
            return;
        }
        let is_same_text = before.dialect == settings.dialect;
        if !is_same_text {
            self.source = File::new(&self.source.text(), settings.dialect);
        }
        if !is_same_text || !before.reads_as(settings) {
            self.indexed = indexed(&self.source, names, settings);
            self.includes = includes(&self.indexed);
        }
    }

    /// What it is read with.
    #[must_use]
    pub fn settings(&self) -> &Arc<Settings> {
        &self.settings
    }

    /// The file's number.
    #[must_use]
    pub fn id(&self) -> FileId {
        self.id
    }

    /// Where the file is, as it was named when it was handed in.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn shared_path(&self) -> &Arc<Path> {
        &self.path
    }

    /// The text and its lines.
    #[must_use]
    pub fn source(&self) -> &File {
        &self.source
    }

    /// How the file's bytes stood for characters.
    #[must_use]
    pub fn encoding(&self) -> Encoding {
        self.encoding
    }

    /// The offset of a byte that shows that the file is no text; its lines are not read then.
    #[must_use]
    pub fn binary_at(&self) -> Option<usize> {
        self.binary_at
    }

    /// Whether it is no source but lies beside them, such as the machine file or a program file: findings have places in it, and it is not
    /// assembled.
    #[must_use]
    pub fn is_beside(&self) -> bool {
        self.is_beside
    }

    /// The bytes of a program file, or of an image with some in it. Its text is empty.
    #[must_use]
    pub fn object(&self) -> Option<&Arc<[u8]>> {
        self.object.as_ref()
    }

    /// The place and the part of its line of a range of bytes of the file; a range of several lines ends with the first.
    #[must_use]
    pub fn span(&self, range: std::ops::Range<usize>) -> Option<(crate::Place, reveille_source::Span)> {
        let line = self.source.line_of(range.start);
        let (start, (_, text)) = (self.source.line_start(line), self.source.line(line)?);
        let column = |byte: usize| u16::try_from(byte.saturating_sub(start).min(text.len())).unwrap_or(u16::MAX);
        Some((self.place(line)?, reveille_source::Span { start: column(range.start), end: column(range.end) }))
    }

    /// The place of a line, counted from 0 in the file; none past the last line.
    #[must_use]
    pub fn place(&self, line: usize) -> Option<crate::Place> {
        let (chunk, at) = self.source.chunk_of_line(line)?;
        Some(crate::Place { file: self.id, chunk: chunk as u32, line: at as u16 })
    }

    /// The line of a place, counted from 0 in the file.
    #[must_use]
    pub fn line_number(&self, place: crate::Place) -> usize {
        if self.source.chunks().is_empty() {
            return 0;
        }
        self.source.first_line(place.chunk as usize) + usize::from(place.line)
    }

    /// Whether it is a header of C, of which an assembler reads the preprocessor's lines only: its name says so, and little in it is assembly.
    #[must_use]
    pub fn is_c_header(&self) -> bool {
        let is_named = self.path.extension().is_some_and(|it| it.eq_ignore_ascii_case("h"));
        let evidence = self.source.evidence();
        let signs = evidence.motorola + evidence.dotted + evidence.mit + evidence.sgs;
        is_named && (signs as usize) < self.source.line_count().div_ceil(10)
    }

    /// The names of the files it includes.
    #[must_use]
    pub fn includes(&self) -> &Arc<[String]> {
        &self.includes
    }

    /// The chunk, the line and its text of a place.
    #[must_use]
    pub fn at(&self, chunk: u32, line: u16) -> (&Chunk, &Line, &str) {
        let chunk = &self.source.chunks()[chunk as usize];
        let line = &chunk.lines()[usize::from(line)];
        (chunk, line, chunk.line_text(line))
    }
}

/// The files and names of a program: a snapshot, cheap to clone. Reads never wait for edits.
#[derive(Clone, Debug, Default)]
pub struct Program {
    names: Arc<Names>,
    files: Arc<Vec<Option<Arc<SourceFile>>>>,
    by_path: Arc<FxHashMap<PathBuf, FileId>>,
    by_folded_path: Arc<FxHashMap<String, FileId>>,
    by_name: Arc<FxHashMap<String, Vec<FileId>>>,
    readings: Arc<Readings>,
    absent: Arc<FxHashSet<PathBuf>>,
}

/// What is handed in for a file.
#[derive(Clone, Debug)]
pub enum Content {
    /// Its text.
    Text(File, Encoding),
    /// It is no text: the offset of a byte that shows it.
    Binary(usize),
    /// It is a text beside the sources, which is not assembled.
    Beside(File),
    /// It is a program file beside the sources, or an image with some in it: its bytes.
    Object(Arc<[u8]>),
}

/// A file that was read for a program and is not in it yet.
#[derive(Debug)]
pub struct Prepared {
    path: PathBuf,
    source: File,
    encoding: Encoding,
    binary_at: Option<usize>,
    is_beside: bool,
    object: Option<Arc<[u8]>>,
    settings: Arc<Settings>,
    indexed: Vec<Arc<Indexed>>,
}

impl Prepared {
    /// Where the file is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

impl Program {
    /// A program without files.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// A program whose files are read with settings.
    #[must_use]
    pub fn with_settings(settings: Settings) -> Self {
        Self { readings: Arc::new(Readings::new(settings, Vec::new())), ..Self::default() }
    }

    /// What a file is read with; the settings for all if it is gone. Of a line that a macro made the file of the call is to be asked.
    #[must_use]
    pub fn settings_of(&self, file: FileId) -> &Arc<Settings> {
        self.file(file).map_or_else(|| self.readings.of(Path::new("")), |it| &it.settings)
    }

    /// What each file is read with.
    #[must_use]
    pub fn readings(&self) -> &Arc<Readings> {
        &self.readings
    }

    /// Changes what all files are read with.
    pub fn set_settings(&mut self, settings: Settings) {
        self.set_readings(Readings::new(settings, Vec::new()));
    }

    /// Changes what each file is read with. What another reading changes is read again, all else stays the same version. Gives whether
    /// anything is read otherwise.
    pub fn set_readings(&mut self, readings: Readings) -> bool {
        if *self.readings == readings {
            return false;
        }
        self.readings = Arc::new(readings);
        for file in Arc::make_mut(&mut self.files).iter_mut().flatten() {
            let settings = self.readings.of(&file.path);
            if file.settings != *settings && !file.is_beside {
                Arc::make_mut(file).read_with(settings, &self.names);
            }
        }
        true
    }

    /// Paths that were looked for and are not there.
    #[must_use]
    pub fn absent(&self) -> &FxHashSet<PathBuf> {
        &self.absent
    }

    /// Says which paths were looked for and are not there; gives whether that is news.
    pub fn set_absent(&mut self, paths: FxHashSet<PathBuf>) -> bool {
        let is_news = *self.absent != paths;
        if is_news {
            self.absent = Arc::new(paths);
        }
        is_news
    }

    /// The names of all files.
    #[must_use]
    pub fn names(&self) -> &Names {
        &self.names
    }

    /// The sources, in the order they came.
    pub fn files(&self) -> impl Iterator<Item = &Arc<SourceFile>> {
        self.files.iter().flatten().filter(|it| !it.is_beside)
    }

    /// What lies beside the sources, in the order it came.
    pub fn beside(&self) -> impl Iterator<Item = &Arc<SourceFile>> {
        self.files.iter().flatten().filter(|it| it.is_beside)
    }

    /// A file of the program; none if it was removed.
    #[must_use]
    pub fn file(&self, id: FileId) -> Option<&Arc<SourceFile>> {
        self.files.get(id.index())?.as_ref()
    }

    /// The file at a path.
    #[must_use]
    pub fn file_at(&self, path: &Path) -> Option<&Arc<SourceFile>> {
        self.file(*self.by_path.get(&normal(path))?)
    }

    /// Adds files or replaces them, reading them on all processors of the current pool.
    pub fn set_files(&mut self, files: Vec<(PathBuf, Content)>) {
        let files = self.prepare(files);
        self.insert(files);
    }

    /// Reads files for [`Program::insert`], without changing the program.
    #[must_use]
    pub fn prepare(&self, files: Vec<(PathBuf, Content)>) -> Vec<Prepared> {
        use rayon::prelude::*;
        let read = |(path, content): (PathBuf, Content)| {
            let mut object = None;
            let (source, encoding, binary_at, is_beside) = match content {
                Content::Text(source, encoding) => (source, encoding, None, false),
                Content::Binary(at) => (File::new("", None), Encoding::default(), Some(at), false),
                Content::Beside(source) => (source, Encoding::default(), None, true),
                Content::Object(bytes) => {
                    object = Some(bytes);
                    (File::new("", None), Encoding::default(), None, true)
                }
            };
            let path = normal(&path);
            let settings = self.readings.of(&path).clone();
            let source = match settings.dialect {
                Some(dialect) if !is_beside && source.forced() != Some(dialect) => {
                    File::new(&source.text(), Some(dialect))
                }
                _ => source,
            };
            let indexed = if is_beside { Vec::new() } else { indexed(&source, &self.names, &settings) };
            Prepared { path, source, encoding, binary_at, is_beside, object, settings, indexed }
        };
        if files.len() == 1 { files.into_iter().map(read).collect() } else { files.into_par_iter().map(read).collect() }
    }

    /// Adds files or replaces them; gives their numbers.
    pub fn insert(&mut self, files: Vec<Prepared>) -> Vec<FileId> {
        let mut ids = Vec::with_capacity(files.len());
        for Prepared { path, source, encoding, binary_at, is_beside, object, settings, indexed } in files {
            let files = Arc::make_mut(&mut self.files);
            let id = match self.by_path.get(&path) {
                Some(id) => *id,
                None => {
                    let id = FileId(files.len() as u32);
                    files.push(None);
                    Arc::make_mut(&mut self.by_path).insert(path.clone(), id);
                    Arc::make_mut(&mut self.by_folded_path).insert(folded(&path), id);
                    if let Some(name) = path.file_name() {
                        let name = folded(Path::new(name));
                        Arc::make_mut(&mut self.by_name).entry(name).or_default().push(id);
                    }
                    id
                }
            };
            let includes = includes(&indexed);
            let path: Arc<Path> = path.into();
            let mut file =
                SourceFile { id, path, source, encoding, binary_at, is_beside, object, includes, settings, indexed };
            // It may have been prepared before the settings changed.
            let now = self.readings.of(&file.path);
            if file.settings != *now {
                file.read_with(now, &self.names);
            }
            files[id.index()] = Some(Arc::new(file));
            ids.push(id);
        }
        ids
    }

    /// Replaces a file by its next version; `splice` tells which chunks are new. Reads only those.
    pub fn edit_file(&mut self, id: FileId, source: File, splice: Splice) {
        let names = self.names.clone();
        let Some(Some(file)) = Arc::make_mut(&mut self.files).get_mut(id.index()) else { return };
        let file = Arc::make_mut(file);
        let settings = file.settings.clone();
        if file.is_beside {
            file.source = source;
            return;
        }
        let new = source.chunks()[splice.at..splice.at + splice.inserted].iter();
        let new: Vec<_> = new.map(|chunk| Arc::new(index(chunk.clone(), &names, &settings))).collect();
        file.indexed.splice(splice.at..splice.at + splice.removed, new);
        file.source = source;
        let now = includes(&file.indexed);
        if now != file.includes {
            file.includes = now;
        }
    }

    /// Takes a file out.
    pub fn remove_file(&mut self, path: &Path) {
        if let Some(id) = self.by_path.get(&normal(path)) {
            Arc::make_mut(&mut self.files)[id.index()] = None;
        }
    }

    /// The dialect that a file is read in; Motorola syntax if the file is gone.
    #[must_use]
    pub fn dialect(&self, id: FileId) -> Dialect {
        self.file(id).map_or(Dialect::Motorola, |file| file.source().dialect())
    }

    /// The paths at which an included file is looked for, in order.
    #[must_use]
    pub fn include_paths(&self, from: FileId, root: FileId, name: &str) -> Vec<PathBuf> {
        let name = name.replace('\\', "/");
        let folder = |id| self.file(id).and_then(|file| file.path().parent()).unwrap_or(Path::new(""));
        let include = &self.settings_of(root).include;
        let folders = [folder(from), folder(root)].into_iter().chain(include.iter().map(PathBuf::as_path));
        let mut paths: Vec<PathBuf> = Vec::new();
        for folder in folders {
            let path = normal(&folder.join(&name));
            if !paths.contains(&path) {
                paths.push(path);
            }
        }
        paths
    }

    /// The file that an include means. Sources of systems that do not tell cases apart spell names in any case, and folders were
    /// often given to the assembler and not in the source: so the only file of that name counts, wherever it is.
    #[must_use]
    pub fn resolve_include(&self, from: FileId, root: FileId, name: &str) -> Option<FileId> {
        let paths = self.include_paths(from, root, name);
        let present = |id: &&FileId| self.file(**id).is_some_and(|it| it.object.is_none());
        let exact = paths.iter().find_map(|path| self.by_path.get(path).filter(present));
        let any_case = || paths.iter().find_map(|path| self.by_folded_path.get(&folded(path)).filter(present));
        let found = exact.or_else(any_case).copied();
        found.or_else(|| {
            let name = name.replace('\\', "/").to_ascii_lowercase();
            let last = name.rsplit('/').next()?;
            let mut same = self.by_name.get(last)?.iter().filter(present);
            let only = same.next().filter(|_| same.next().is_none())?;
            Some(*only)
        })
    }
}

fn indexed(source: &File, names: &Names, settings: &Settings) -> Vec<Arc<Indexed>> {
    source.chunks().iter().map(|chunk| Arc::new(index(chunk.clone(), names, settings))).collect()
}

fn includes(indexed: &[Arc<Indexed>]) -> Arc<[String]> {
    indexed.iter().flat_map(|it| it.includes.iter().cloned()).collect()
}

/// A path without `.` and `..` where that can be told from the path alone: the form that all paths of a program have.
#[must_use]
pub fn normal(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => (),
            Component::ParentDir if matches!(out.components().next_back(), Some(Component::Normal(_))) => {
                out.pop();
            }
            part => out.push(part),
        }
    }
    out
}

fn folded(path: &Path) -> String {
    path.to_string_lossy().to_ascii_lowercase()
}
