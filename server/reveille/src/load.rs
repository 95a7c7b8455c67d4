//! Loads files from disk into a program. The only place that reads sources.

use std::collections::HashSet;
use std::io::Read;
use std::path::{Component, Path, PathBuf};

use anyhow::{Context, Result, bail};
use reveille_facts::{Given, MACHINE_FILE, Model, Named, SESSION_ENDING, is_object, may_be_object, read_as_told};
use reveille_program::{Content, Program, Readings, normal};
use reveille_source::{Decoded, Dialect, File, decode};

/// Endings of files that are sources; compared without regard to case.
pub(crate) const SOURCE_ENDINGS: &[&str] =
    &["s", "asm", "a68", "x68", "68k", "inc", "i", "sa", "src", "has", "mac", "equ", "a", "h"];

/// Of these endings a file that is no text is told of; with the others it is another kind of file.
const SURE_ENDINGS: &[&str] = &["s", "asm", "a68", "x68", "68k"];

/// The most bytes of a source file.
pub(crate) const MOST_BYTES: u64 = 256 << 20;

/// The most files that includes may bring in.
const MOST_FILES: usize = 20_000;

/// As much of the start of a file tells whether it may be a program file, in bytes.
const LOOK_AT: u64 = 16 * 1024;

/// What is told of a program from outside its sources.
#[derive(Clone, Debug, Default)]
pub(crate) struct Options {
    /// Names with values.
    pub(crate) defines: Vec<(String, i64)>,
    /// All else, which holds before what a machine file says.
    pub(crate) given: Given,
}

/// Loads files and folders, and what they include, and makes the model.
pub(crate) fn model(paths: &[PathBuf], options: &Options) -> Result<Model> {
    if let Some(folder) = options.given.include.iter().find(|it| !it.is_dir()) {
        bail!("`{}` is no folder to look for included files in", folder.display());
    }
    let (mut sources, mut told, mut scripts, mut c) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    told.extend(paths.iter().filter_map(|it| machine_file_above(it)));
    let (mut named, mut objects, mut has_folder) = (Vec::new(), Vec::new(), false);
    for path in paths {
        let kind = std::fs::metadata(path).with_context(|| format!("`{}` cannot be opened", path.display()))?;
        if kind.is_dir() {
            has_folder = true;
            sources.extend(some_sources_in(path)?);
            told.extend(files_in(path, is_machine_file));
            scripts.extend(files_in(path, is_session));
            c.extend(files_in(path, is_c));
            objects.extend(objects_in(path));
        } else if is_machine_file(path) {
            told.push(path.clone());
        } else if is_session(path) {
            // A session is held against the firmware that its machine file speaks for, or that lies beside it.
            let file = machine_file_above(path);
            let folder = file.as_deref().unwrap_or(path).parent().filter(|it| !it.as_os_str().is_empty());
            sources.extend(sources_in(folder.unwrap_or(Path::new("."))));
            scripts.push(path.clone());
        } else if is_c(path) {
            c.push(path.clone());
        } else {
            named.push(path.clone());
        }
    }
    sources.sort();
    sources.dedup();
    let mut program = Program::new();
    for path in told {
        let content = content(&path, None)?;
        program.set_files(content.map(|content| (path, content)).into_iter().collect());
    }
    read_as_told(&mut program, &options.given);
    let mut readings = Readings::clone(program.readings());
    adapt_roots(&mut readings, &sources, &named);
    program.set_readings(readings);

    let dialect = |path: &Path| program.readings().of(&normal(path)).dialect;
    let mut files = Vec::new();
    for path in named {
        let content = content(&path, dialect(&path))?;
        files.extend(content.map(|content| (path, content)));
    }
    let read = |path: PathBuf| Some((path.clone(), content(&path, dialect(&path)).ok()??));
    files.extend(sources.into_iter().chain(c).filter_map(read));
    if has_folder {
        // A root may have a name that no other source has, or lie elsewhere.
        let roots = program.readings().folders().iter().flat_map(|it| &it.1.roots);
        let known: HashSet<PathBuf> = files.iter().map(|it| normal(&it.0)).collect();
        let more = roots.filter(|it| !known.contains(*it) && is_assembly(it)).cloned().filter_map(read);
        files.extend(more.collect::<Vec<_>>());
    }
    files.extend(with_included_scripts(scripts)?);
    files.extend(objects);
    program.set_files(files);
    let model = with_includes(program, options);
    let absent = model.named().filter(|it| !is_there(it)).map(|it| it.path.clone()).collect();
    let mut program = model.program().clone();
    let is_news = program.set_absent(absent);
    Ok(if is_news { Model::new(program, &options.defines, Some(&model)) } else { model })
}

/// Scripts with those that they include, however deep.
fn with_included_scripts(mut paths: Vec<PathBuf>) -> Result<Vec<(PathBuf, Content)>> {
    let named = paths.len();
    let mut found: Vec<(PathBuf, Content)> = Vec::new();
    let mut seen: HashSet<PathBuf> = HashSet::new();
    let mut at = 0;
    while let Some(path) = paths.get(at).cloned() {
        at += 1;
        if !seen.insert(normal(&path)) || found.len() >= MOST_FILES {
            continue;
        }
        // One that is included and not there is told of in its line.
        let content = match content(&path, None) {
            Ok(it) => it,
            Err(error) if at <= named => return Err(error),
            Err(_) => continue,
        };
        if let Some(Content::Beside(text)) = &content {
            let folder = path.parent().unwrap_or(Path::new(""));
            paths.extend(included_scripts(&text.text()).iter().map(|it| folder.join(it)));
        }
        found.extend(content.map(|it| (path, it)));
    }
    Ok(found)
}

/// The scripts that a script includes, as it writes their paths.
fn included_scripts(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    reveille_session::Script::read(text).visit(&mut |it| {
        if it.verb.kind == reveille_session::verbs::VerbKind::Include {
            found.extend(it.text("file").map(|it| it.value.replace('\\', "/")));
        }
    });
    found
}

/// Whether a file or folder that a machine file names is there.
pub(crate) fn is_there(named: &Named) -> bool {
    if named.is_folder { named.path.is_dir() } else { named.path.is_file() }
}

/// Whether a root may be loaded as assembly: what has C's ending is read otherwise.
pub(crate) fn is_assembly(path: &Path) -> bool {
    !is_c(path) && !has_ending(path, &["h"])
}

/// Has the roots of machine files named as the sources are, which may be named from the working folder; files that a person names
/// themself are roots, too.
fn adapt_roots(readings: &mut Readings, sources: &[PathBuf], named: &[PathBuf]) {
    let same_file = |root: &Path| {
        let canonical = std::fs::canonicalize(root).ok()?;
        let mut all = sources.iter().chain(named).filter(|it| it.file_name() == root.file_name());
        all.find(|it| std::fs::canonicalize(it).is_ok_and(|it| it == canonical)).map(|it| normal(it))
    };
    let is_relative = sources.iter().chain(named).all(|it| it.is_relative());
    let here = std::env::current_dir().ok().filter(|_| is_relative);
    let from_here = |root: &Path| Some(root.strip_prefix(here.as_ref()?).ok()?.to_owned());
    readings.change_folders(|_, settings| {
        if !settings.roots.is_empty() {
            for root in &mut settings.roots {
                *root = same_file(root).or_else(|| from_here(root)).unwrap_or_else(|| std::mem::take(root));
            }
            settings.roots.extend(named.iter().map(|it| normal(it)));
        }
    });
}

/// Makes the model, loading included files until none is found any more.
pub(crate) fn with_includes(mut program: Program, options: &Options) -> Model {
    let mut tried = HashSet::new();
    let mut model = Model::new(program.clone(), &options.defines, None);
    loop {
        let wanted = wanted(&model, &mut tried);
        let dialect = |path: &Path| program.readings().of(path).dialect;
        let read = |path: PathBuf| Some((path.clone(), content(&path, dialect(&path)).ok()??));
        let found: Vec<_> = wanted.into_iter().filter_map(read).collect();
        if found.is_empty() || program.files().count() > MOST_FILES {
            return model;
        }
        program.set_files(found);
        model = Model::new(program.clone(), &options.defines, Some(&model));
    }
}

/// Paths of included files that are not loaded and were not tried before.
pub(crate) fn wanted(model: &Model, tried: &mut HashSet<PathBuf>) -> Vec<PathBuf> {
    let mut paths = Vec::new();
    for unit in model.c() {
        for (from, name) in unit.missing() {
            let found = model.program().include_paths(from, unit.root, &name);
            paths.extend(found.into_iter().filter(|it| tried.insert(it.clone())).find(|it| it.is_file()));
        }
    }
    for unit in model.analysis().units() {
        let Some(root) = unit.root() else { continue };
        for (file, name) in unit.missing() {
            for path in model.program().include_paths(*file, root, name) {
                if tried.insert(path.clone()) && path.is_file() {
                    paths.push(path);
                    break;
                }
            }
        }
    }
    paths
}

/// The sources in a folder and the folders in it, in the order of their paths. Hidden ones and links are left out.
pub(crate) fn sources_in(folder: &Path) -> Vec<PathBuf> {
    files_in(folder, is_source)
}

fn files_in(folder: &Path, wants: impl Fn(&Path) -> bool) -> Vec<PathBuf> {
    let walk = ignore::WalkBuilder::new(folder).standard_filters(false).hidden(true).follow_links(false).build();
    let mut found: Vec<PathBuf> = walk
        .filter_map(Result::ok)
        .filter(|entry| entry.file_type().is_some_and(|kind| kind.is_file()) && wants(entry.path()))
        .map(ignore::DirEntry::into_path)
        .collect();
    found.sort();
    found
}

/// The texts in a folder and the folders in it that are no sources and say something of them: machine files and sessions.
pub(crate) fn beside_files_in(folder: &Path) -> Vec<PathBuf> {
    files_in(folder, is_beside)
}

/// The program files in a folder and the folders in it, and the images with some in them. Sources and texts beside them are none, and so many
/// files are looked at as there may be sources.
pub(crate) fn objects_in(folder: &Path) -> Vec<(PathBuf, Content)> {
    let others = files_in(folder, |it| !is_source(it) && !is_beside(it));
    others.into_iter().take(MOST_FILES).filter_map(|path| Some((path.clone(), object(&path)?))).collect()
}

/// A file as a program file, or as an image with some in it; none for any other. Of most files the start is read alone.
pub(crate) fn object(path: &Path) -> Option<Content> {
    let file = std::fs::File::open(path).ok()?;
    let there = file.metadata().ok().filter(std::fs::Metadata::is_file)?;
    let mut bytes = Vec::new();
    (&file).take(LOOK_AT).read_to_end(&mut bytes).ok()?;
    if !may_be_object(&bytes, there.len()) {
        return None;
    }
    // It may grow while it is read.
    (&file).take(there.len().saturating_sub(bytes.len() as u64)).read_to_end(&mut bytes).ok()?;
    is_object(&bytes).then(|| Content::Object(bytes.into()))
}

/// The machine file that speaks for a file or folder, in its folder or the next one above.
fn machine_file_above(path: &Path) -> Option<PathBuf> {
    let skipped = usize::from(!path.is_dir());
    if path.components().any(|it| it == Component::ParentDir) {
        // What is above such a path is not told from its text.
        let path = std::fs::canonicalize(path).ok()?;
        return path.ancestors().skip(skipped).map(|it| it.join(MACHINE_FILE)).find(|it| it.is_file());
    }
    let named = path.ancestors().skip(skipped).map(Path::to_owned);
    // A relative path goes on above the folder that it is relative to.
    let here = if path.is_relative() { std::env::current_dir().unwrap_or_default() } else { PathBuf::new() };
    let above = here.ancestors().skip(1).map(Path::to_owned);
    named.chain(above).map(|folder| folder.join(MACHINE_FILE)).find(|it| it.is_file())
}

/// Whether a path is that of a session.
pub(crate) fn is_session(path: &Path) -> bool {
    has_ending(path, &[SESSION_ENDING])
}

/// Whether a path is that of a text beside the sources: it is read, and not assembled.
pub(crate) fn is_beside(path: &Path) -> bool {
    is_machine_file(path) || is_session(path) || is_c(path)
}

/// Whether a path is that of a C file. Its headers are sources, which assembly includes too.
pub(crate) fn is_c(path: &Path) -> bool {
    has_ending(path, &["c"])
}

/// Whether a path is that of a machine file.
pub(crate) fn is_machine_file(path: &Path) -> bool {
    path.file_name().is_some_and(|it| it == MACHINE_FILE)
}

/// The sources and the sessions in a folder, of which there must be one.
pub(crate) fn some_sources_and_sessions_in(folder: &Path) -> Result<Vec<PathBuf>> {
    // What C includes is not laid out as assembly.
    let found = files_in(folder, |it| is_source(it) && is_assembly(it) || is_session(it));
    if found.is_empty() { some_sources_in(folder) } else { Ok(found) }
}

/// The sources in a folder, of which there must be one.
pub(crate) fn some_sources_in(folder: &Path) -> Result<Vec<PathBuf>> {
    let found = sources_in(folder);
    if found.is_empty() && files_in(folder, is_c).is_empty() {
        bail!("no source in `{}`: looked for files ending in .{}", folder.display(), SOURCE_ENDINGS.join(" ."));
    }
    Ok(found)
}

/// Whether a path has a source's ending.
pub(crate) fn is_source(path: &Path) -> bool {
    has_ending(path, SOURCE_ENDINGS)
}

/// Whether a path has an ending that nothing else has.
pub(crate) fn is_surely_source(path: &Path) -> bool {
    has_ending(path, SURE_ENDINGS)
}

fn has_ending(path: &Path, endings: &[&str]) -> bool {
    let ending = path.extension().and_then(|it| it.to_str()).unwrap_or("");
    endings.iter().any(|it| it.eq_ignore_ascii_case(ending))
}

/// Reads a file: a source, a text beside the sources, or a program file. None for a file that is none of these and has an ending that others
/// use too.
pub(crate) fn content(path: &Path, dialect: Option<Dialect>) -> Result<Option<Content>> {
    let cannot = || format!("`{}` cannot be read", path.display());
    let size = std::fs::metadata(path).with_context(cannot)?.len();
    if size > MOST_BYTES {
        bail!("`{}` has {size} bytes; a source has {MOST_BYTES} at most", path.display());
    }
    let bytes = std::fs::read(path).with_context(cannot)?;
    if is_beside(path) {
        // What is no text is no TOML and no script either, and is told as that.
        return Ok(Some(Content::Beside(File::new(&String::from_utf8_lossy(&bytes), dialect))));
    }
    if !is_source(path) && may_be_object(&bytes[..bytes.len().min(LOOK_AT as usize)], size) && is_object(&bytes) {
        return Ok(Some(Content::Object(bytes.into())));
    }
    Ok(match decode(bytes) {
        Decoded::Text(text, encoding) => Some(Content::Text(File::new(&text, dialect), encoding)),
        Decoded::Binary(at) if is_surely_source(path) => Some(Content::Binary(at)),
        Decoded::Binary(_) => None,
    })
}
