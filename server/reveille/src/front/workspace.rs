//! The one state of the server: open documents and the program. Only the ingress and loaders change it.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use dashmap::DashMap;
use reveille_editor::HintKinds;
use reveille_facts::{Given, Model, read_as_told};
use reveille_program::{Content, FileId, Prepared, Program};
use reveille_source::{Dialect, Document, Encoding, Position};
use rustc_hash::FxHashSet;
use tower_lsp::gen_lsp_types as proto;

use crate::load;
use crate::lsp::ClientOptions;

use super::snapshot::{ClientTraits, Snapshot, path_of};

/// Version and address of an open document.
#[derive(Clone, Debug)]
pub(crate) struct Versions {
    pub(crate) uri: proto::Uri,
    pub(crate) version: i32,
}

#[derive(Debug)]
struct Open {
    document: Document,
    file: FileId,
}

/// Documents and program.
#[derive(Debug, Default)]
pub(crate) struct Workspace {
    program: Program,
    documents: HashMap<PathBuf, Open>,
    open: Arc<HashMap<FileId, Versions>>,
    pub(crate) traits: Arc<ClientTraits>,
    pub(crate) folders: Vec<PathBuf>,
    /// Which hints the client wants.
    hints: HintKinds,
    /// Names that the client gives values to.
    defines: Arc<[(String, i64)]>,
    /// What else the client says of the sources, before the machine files.
    given: Given,
    last: Arc<Mutex<Option<Model>>>,
    snapshot: Option<Arc<Snapshot>>,
}

/// The state, and who wants to hear of changes.
#[derive(Debug)]
pub(crate) struct Shared {
    workspace: Mutex<Workspace>,
    changed: tokio::sync::watch::Sender<u64>,
    is_loading: AtomicBool,
    pub(crate) has_shut_down: AtomicBool,
    /// Paths of included files that were looked for: workers on several threads add to it.
    pub(crate) looked_for: DashMap<PathBuf, ()>,
    /// Paths that machine files name: whether they are there.
    pub(crate) is_there: DashMap<PathBuf, bool>,
}

impl Shared {
    pub(super) fn new(workspace: Mutex<Workspace>) -> Self {
        let (changed, _) = tokio::sync::watch::channel(0);
        Self {
            workspace,
            changed,
            is_loading: AtomicBool::new(false),
            has_shut_down: AtomicBool::new(false),
            looked_for: DashMap::new(),
            is_there: DashMap::new(),
        }
    }

    fn lock(&self) -> MutexGuard<'_, Workspace> {
        self.workspace.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The state as it is now.
    pub(crate) fn snapshot(&self) -> Arc<Snapshot> {
        self.lock().snapshot()
    }

    /// Tells of every change.
    pub(super) fn changes(&self) -> tokio::sync::watch::Receiver<u64> {
        self.changed.subscribe()
    }

    /// Whether the workspace's folders are being read.
    pub(super) fn is_loading(&self) -> bool {
        self.is_loading.load(Ordering::SeqCst)
    }

    /// Tells that the workspace's folders are being read, or that they are.
    pub(crate) fn set_loading(&self, is_loading: bool) {
        self.is_loading.store(is_loading, Ordering::SeqCst);
        self.changed.send_modify(|count| *count += 1);
    }

    /// Changes the state, and tells of it.
    pub(crate) fn change<R>(&self, change: impl FnOnce(&mut Workspace) -> R) -> R {
        let result = {
            let mut workspace = self.lock();
            let result = change(&mut workspace);
            workspace.snapshot = None;
            result
        };
        self.changed.send_modify(|count| *count += 1);
        result
    }

    /// Reads files and puts them into the program; slow, for workers. Open documents stay what the client says they are.
    pub(crate) fn load(&self, files: Vec<(PathBuf, Content)>) {
        let program = self.lock().program.clone();
        let files = program.prepare(files);
        self.change(|workspace| workspace.insert_from_disk(files));
    }
}

/// What an open document is to the program.
fn content_of(path: &Path, document: &Document) -> Content {
    let text = document.file().clone();
    if load::is_beside(path) { Content::Beside(text) } else { Content::Text(text, Encoding::Utf8) }
}

/// The dialect that a file is read in whatever its text shows, if somebody says so.
fn dialect_of(program: &Program, path: &Path) -> Option<Dialect> {
    program.readings().of(path).dialect
}

impl Workspace {
    fn snapshot(&mut self) -> Arc<Snapshot> {
        let make = || {
            Arc::new(Snapshot {
                program: self.program.clone(),
                traits: self.traits.clone(),
                hints: self.hints,
                defines: self.defines.clone(),
                open: self.open.clone(),
                model: OnceLock::new(),
                last: self.last.clone(),
            })
        };
        self.snapshot.get_or_insert_with(make).clone()
    }

    /// Takes settings over; if they change how lines are read, the files that they change are read again.
    pub(crate) fn set_options(&mut self, options: ClientOptions) {
        self.hints = options.hints;
        self.defines = options.defines.into();
        self.given = options.given;
        self.read_as_told();
    }

    /// Has the sources read as client and machine files say, open documents among them.
    fn read_as_told(&mut self) {
        if !read_as_told(&mut self.program, &self.given) {
            return;
        }
        let mut changed = Vec::new();
        for (path, open) in &mut self.documents {
            let dialect = dialect_of(&self.program, path);
            if !load::is_beside(path) && open.document.file().forced() != dialect {
                open.document = Document::new(&open.document.file().text(), dialect);
                changed.push((path.clone(), content_of(path, &open.document)));
            }
        }
        self.program.set_files(changed);
    }

    /// The same, after a file has changed that may be one that tells.
    fn read_as_told_by(&mut self, path: &Path) {
        if load::is_machine_file(path) {
            self.read_as_told();
        }
    }

    /// Says which paths are not there that machine files name; gives whether that is news.
    pub(super) fn set_absent(&mut self, paths: FxHashSet<PathBuf>) -> bool {
        self.program.set_absent(paths)
    }

    pub(crate) fn open(&mut self, uri: proto::Uri, version: i32, text: &str) {
        let path = path_of(&uri);
        let document = Document::new(text, dialect_of(&self.program, &path));
        let files = self.program.prepare(vec![(path.clone(), content_of(&path, &document))]);
        let Some(file) = self.program.insert(files).into_iter().next() else { return };
        self.documents.insert(path.clone(), Open { document, file });
        self.read_as_told_by(&path);
        Arc::make_mut(&mut self.open).insert(file, Versions { uri, version });
    }

    /// Applies the changes of one notification in their order. An error tells why the document was dropped.
    pub(crate) fn edit(
        &mut self,
        uri: &proto::Uri,
        version: i32,
        changes: Vec<proto::TextDocumentContentChangeEvent>,
    ) -> Result<(), String> {
        let path = path_of(uri);
        let unit = self.traits.unit;
        let Some(open) = self.documents.get_mut(&path) else {
            let [proto::TextDocumentContentChangeEvent::TextDocumentContentChangeWholeDocument(whole)] =
                changes.as_slice()
            else {
                return Err("it is not open".into());
            };
            self.open(uri.clone(), version, &whole.text);
            return Ok(());
        };
        for change in changes {
            match change {
                proto::TextDocumentContentChangeEvent::TextDocumentContentChangePartial(part) => {
                    let position = |it: proto::Position| Position { line: it.line, column: it.character };
                    let byte = |it| open.document.byte(position(it), unit);
                    let range = byte(part.range.start)..byte(part.range.end);
                    match open.document.edit(range.clone(), &part.text) {
                        Ok(splice) => self.program.edit_file(open.file, open.document.file().clone(), splice),
                        Err(len) => {
                            self.close(&path);
                            return Err(format!(
                                "an edit of bytes {} to {} is not inside its {len} bytes",
                                range.start, range.end
                            ));
                        }
                    }
                }
                proto::TextDocumentContentChangeEvent::TextDocumentContentChangeWholeDocument(whole) => {
                    open.document = Document::new(&whole.text, dialect_of(&self.program, &path));
                    let content = content_of(&path, &open.document);
                    let files = self.program.prepare(vec![(path.clone(), content)]);
                    self.program.insert(files);
                }
            }
        }
        if let Some(own) = Arc::make_mut(&mut self.open).get_mut(&open.file) {
            own.version = version;
        }
        self.read_as_told_by(&path);
        Ok(())
    }

    /// Forgets the client's text of a document. What the disk has is read by a worker afterwards.
    pub(crate) fn close(&mut self, path: &Path) {
        if let Some(open) = self.documents.remove(path) {
            Arc::make_mut(&mut self.open).remove(&open.file);
            self.program.remove_file(path);
        }
    }

    /// Takes a file out that is gone from the disk.
    pub(crate) fn remove(&mut self, path: &Path) {
        if !self.documents.contains_key(path) {
            self.program.remove_file(path);
            self.read_as_told_by(path);
        }
    }

    fn insert_from_disk(&mut self, files: Vec<Prepared>) {
        let files: Vec<_> = files.into_iter().filter(|it| !self.documents.contains_key(it.path())).collect();
        let may_tell = files.iter().any(|it| load::is_machine_file(it.path()));
        self.program.insert(files);
        if may_tell {
            self.read_as_told();
        }
    }
}
