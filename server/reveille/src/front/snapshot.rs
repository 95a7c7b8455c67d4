//! What a request sees.

use std::collections::HashMap;
use std::ops::Range;
use std::path::Path;
use std::sync::{Arc, Mutex, OnceLock};

use reveille_editor::HintKinds;
use reveille_facts::Model;
use reveille_program::{FileId, Program};
use reveille_source::{ColumnUnit, File, Position};
use tower_lsp::gen_lsp_types as proto;

use super::workspace::Versions;

/// What the client can do, as far as answers depend on it.
#[derive(Clone, Debug, Default)]
pub(crate) struct ClientTraits {
    pub(crate) unit: ColumnUnit,
    pub(crate) hover_markdown: bool,
    pub(crate) completion_markdown: bool,
    pub(crate) related_information: bool,
    pub(crate) hierarchical_symbols: bool,
    pub(crate) definition_links: bool,
    pub(crate) versioned_edits: bool,
    pub(crate) prepares_rename: bool,
    pub(crate) watches_files: bool,
}

/// The state at one moment. The model is worked out by whoever needs it first, on a worker.
#[derive(Debug)]
pub(crate) struct Snapshot {
    pub(super) program: Program,
    pub(crate) traits: Arc<ClientTraits>,
    /// Which hints the client wants.
    pub(crate) hints: HintKinds,
    /// Names that the client gives values to.
    pub(super) defines: Arc<[(String, i64)]>,
    /// Versions and addresses of the open documents.
    pub(super) open: Arc<HashMap<FileId, Versions>>,
    pub(super) model: OnceLock<Model>,
    /// The model that was worked out last, of this or another moment: most of it holds again.
    pub(super) last: Arc<Mutex<Option<Model>>>,
}

impl Snapshot {
    /// The facts and findings.
    pub(crate) fn model(&self) -> &Model {
        self.model.get_or_init(|| {
            let take = || self.last.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            let previous = take().clone();
            let span = tracing::debug_span!("model");
            let model = span.in_scope(|| Model::new(self.program.clone(), &self.defines, previous.as_ref()));
            *take() = Some(model.clone());
            model
        })
    }

    /// The source of an address; none for a text beside the sources.
    pub(crate) fn file(&self, uri: &proto::Uri) -> Option<FileId> {
        self.text(uri).filter(|it| !self.is_beside(*it))
    }

    /// The text of an address: a source, or one beside the sources, such as the machine file.
    pub(crate) fn text(&self, uri: &proto::Uri) -> Option<FileId> {
        Some(self.program.file_at(&path_of(uri))?.id())
    }

    /// The source, the session or the C of an address; none for the machine file.
    pub(crate) fn source_session_or_c(&self, uri: &proto::Uri) -> Option<FileId> {
        let is_c = |it: FileId| self.program.file(it).is_some_and(|it| reveille_facts::is_c(it));
        self.text(uri).filter(|it| !self.is_beside(*it) || self.is_session(*it) || is_c(*it))
    }

    /// The source or the session of an address; none for the machine file.
    pub(crate) fn source_or_session(&self, uri: &proto::Uri) -> Option<FileId> {
        self.text(uri).filter(|it| !self.is_beside(*it) || self.is_session(*it))
    }

    /// Whether a path is that of a program file, or of an image with some in it.
    pub(crate) fn has_object(&self, path: &Path) -> bool {
        self.program.file_at(path).is_some_and(|it| it.object().is_some())
    }

    /// Whether a file is a monitor session.
    pub(crate) fn is_session(&self, file: FileId) -> bool {
        self.program.file(file).is_some_and(|it| it.is_beside() && reveille_facts::is_session(it))
    }

    /// Whether a file is no source but lies beside them.
    pub(crate) fn is_beside(&self, file: FileId) -> bool {
        self.program.file(file).is_some_and(|it| it.is_beside())
    }

    /// The lines of a file. They need no model.
    pub(crate) fn source(&self, file: FileId) -> Option<&File> {
        self.program.file(file).map(|it| it.source())
    }

    /// The address of a file: as the client wrote it, if it is open.
    pub(crate) fn uri(&self, file: FileId) -> Option<proto::Uri> {
        if let Some(open) = self.open.get(&file) {
            return Some(open.uri.clone());
        }
        uri_of(self.program.file(file)?.path())
    }

    /// The documents that the client has open.
    pub(crate) fn open_files(&self) -> impl Iterator<Item = FileId> {
        self.open.keys().copied()
    }

    /// The version of an open document.
    pub(crate) fn version(&self, file: FileId) -> Option<i32> {
        self.open.get(&file).map(|it| it.version)
    }

    /// The byte at a position of a file.
    pub(crate) fn byte(&self, file: FileId, position: proto::Position) -> usize {
        let Some(file) = self.program.file(file) else { return 0 };
        let source = file.source();
        let line = position.line as usize;
        source.line_start(line)
            + source.line(line).map_or(0, |(_, text)| self.traits.unit.byte(text, position.character))
    }

    /// The position of a byte of a file.
    pub(crate) fn position(&self, file: FileId, byte: usize) -> proto::Position {
        let Some(file) = self.program.file(file) else { return proto::Position::default() };
        let source = file.source();
        let line = source.line_of(byte);
        let column =
            source.line(line).map_or(0, |(_, text)| self.traits.unit.column(text, byte - source.line_start(line)));
        let Position { line, column } = Position { line: line as u32, column };
        proto::Position { line, character: column }
    }

    /// The range of bytes of a file.
    pub(crate) fn range(&self, file: FileId, range: &Range<usize>) -> proto::Range {
        proto::Range { start: self.position(file, range.start), end: self.position(file, range.end) }
    }
}

/// The path that stands for an address. What is no file, such as an unsaved document, is kept under its address.
pub(crate) fn path_of(uri: &proto::Uri) -> std::path::PathBuf {
    uri.to_file_path().unwrap_or_else(|()| uri.as_str().into())
}

fn uri_of(path: &Path) -> Option<proto::Uri> {
    proto::Uri::from_file_path(path).ok().or_else(|| proto::Uri::parse(path.to_str()?).ok())
}
