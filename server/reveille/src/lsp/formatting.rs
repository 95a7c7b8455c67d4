//! The layout of lines, in the protocol's types.

use std::ops::Range;

use reveille_editor::{Edit, FormatOptions, Style};
use reveille_program::FileId;
use tower_lsp::gen_lsp_types as proto;

use crate::front::Snapshot;

/// The edits for lines of a file. A text whose lines do not read as source gets none.
pub(super) fn lines(
    snapshot: &Snapshot,
    uri: &proto::Uri,
    lines: Range<usize>,
    options: &proto::FormattingOptions,
) -> Option<Vec<proto::TextEdit>> {
    let file = snapshot.source_or_session(uri)?;
    let source = snapshot.source(file)?;
    if snapshot.is_session(file) {
        let mut found = reveille_editor::format_session(&source.text());
        found.retain(|it| lines.contains(&source.line_of(it.0.start)));
        return Some(edits(snapshot, file, found));
    }
    if !reveille_editor::reads_as_source(source) || reveille_editor::is_c_text(snapshot.model(), file) {
        return Some(Vec::new());
    }
    let style = Style::of(source, &wanted(options));
    Some(edits(snapshot, file, reveille_editor::format(source, &style, lines)))
}

/// The edits for the line before a position, at which its end was just typed.
pub(super) fn typed(
    snapshot: &Snapshot,
    uri: &proto::Uri,
    position: proto::Position,
    options: &proto::FormattingOptions,
) -> Option<Vec<proto::TextEdit>> {
    let Some(line) = position.line.checked_sub(1) else { return Some(Vec::new()) };
    let file = snapshot.source_or_session(uri)?;
    if snapshot.is_session(file) {
        return lines(snapshot, uri, line as usize..line as usize + 1, options);
    }
    let source = snapshot.source(file)?;
    let found = reveille_editor::format_typed(source, line as usize, &wanted(options));
    Some(edits(snapshot, file, found))
}

/// The lines of a range. One that the range only ends before is none of them.
pub(super) fn touched(range: proto::Range) -> Range<usize> {
    let (start, end) = (range.start.line as usize, range.end.line as usize);
    start..if range.end.character == 0 && end > start { end } else { end + 1 }
}

fn wanted(options: &proto::FormattingOptions) -> FormatOptions {
    FormatOptions { columns: None, tabs: Some(!options.insert_spaces), tab_width: options.tab_size as usize }
}

fn edits(snapshot: &Snapshot, file: FileId, edits: Vec<Edit>) -> Vec<proto::TextEdit> {
    let edit = |(range, new_text)| proto::TextEdit { range: snapshot.range(file, &range), new_text };
    edits.into_iter().map(edit).collect()
}
