//! Where a name of C is defined, where it is used, and where it is marked.

use std::ops::Range;

use reveille_c::{Expr, ExprKind, NameUse, Role, Span};
use reveille_program::FileId;
use rustc_hash::FxHashSet;

use super::{Shared, View, bytes, place};
use crate::highlight::Highlight;
use crate::links::Link;
use crate::lookup::Location;

/// The places that define what stands at a byte; the bytes that were asked about first.
pub(crate) fn definition(view: &View<'_>, byte: usize) -> Option<(Range<usize>, Vec<Location>)> {
    if let Some(link) = links(view).into_iter().find(|it| it.range.start <= byte && byte <= it.range.end) {
        return Some((link.range, vec![Location { file: link.target, range: 0..0 }]));
    }
    let at = view.name_at(byte)?;
    let mut found = Shared::of_c(view, at).map_or_else(Vec::new, |it| it.definitions());
    if found.is_empty() {
        found = declared(view, at);
    }
    (!found.is_empty()).then(|| (bytes(at.span), found))
}

/// Where a unit explains a name. Of a field that several records have, in each of them.
fn declared(view: &View<'_>, at: &NameUse) -> Vec<Location> {
    if let Some(span) = at.declared_at {
        return place(view.own, span).into_iter().collect();
    }
    if at.role != Role::Member {
        return Vec::new();
    }
    let fields = view.own.unit.types().records.iter().flat_map(|it| &it.fields);
    fields.filter(|it| it.name == at.name).filter_map(|it| place(view.own, it.name_span)).collect()
}

/// The files that a document's includes lead to.
pub(crate) fn links(view: &View<'_>) -> Vec<Link> {
    let files: Vec<FileId> = view.own.files().collect();
    let own = view.own.unit.includes().iter().filter(|it| it.span.file == view.key);
    let link = |it: &reveille_c::Include| {
        let quoted = bytes(it.span);
        // The name without its quotes.
        let range = if quoted.len() >= 2 { quoted.start + 1..quoted.end - 1 } else { quoted };
        Some(Link { range, target: *files.get(it.file.0 as usize)? })
    };
    own.filter_map(link).collect()
}

/// The places of the name at a byte, on both sides, with whether they define it.
fn places(view: &View<'_>, byte: usize) -> Vec<(Location, bool)> {
    let Some(at) = view.name_at(byte) else { return Vec::new() };
    match Shared::of_c(view, at) {
        Some(shared) => shared.c_places().into_iter().chain(shared.assembly_places()).collect(),
        None => own_places(view, at),
    }
}

/// The places of a name that only C has, in every file that reads its explanation.
pub(super) fn own_places(view: &View<'_>, at: &NameUse) -> Vec<(Location, bool)> {
    let meant = declared(view, at);
    let is_label = at.role == Role::Label;
    let function = view.own.unit.function_at(at.span).map(|it| it.span);
    let mut seen = FxHashSet::default();
    let mut found = Vec::new();
    for own in view.model.c() {
        for it in own.unit.names().filter(|it| it.name == at.name) {
            let Some(here) = place(own, it.span) else { continue };
            let is_same = match it.declared_at.and_then(|it| place(own, it)) {
                Some(declared) => meant.contains(&declared),
                // A field whose record nobody tells, or a label that nobody sets.
                None if is_label => function.is_some_and(|around| around.contains(it.span)),
                None => it.role == at.role && it.role == Role::Member,
            };
            if is_same && seen.insert(here.clone()) {
                found.push((here, it.is_definition));
            }
        }
    }
    found
}

/// The places that use what stands at a byte; those that define it first, if asked for.
pub(crate) fn references(view: &View<'_>, byte: usize, with_definitions: bool) -> Vec<Location> {
    let (definitions, uses): (Vec<_>, Vec<_>) = places(view, byte).into_iter().partition(|it| it.1);
    let definitions = definitions.into_iter().filter(|_| with_definitions);
    definitions.chain(uses).map(|it| it.0).collect()
}

/// The places of a document that name the same thing as the byte.
pub(crate) fn highlights(view: &View<'_>, byte: usize) -> Vec<Highlight> {
    let written = written(view);
    let own = places(view, byte).into_iter().filter(|it| it.0.file == view.file.id());
    let mark = |(at, is_definition): (Location, bool)| {
        let is_write = is_definition || written.contains(&(at.range.start as u32));
        Highlight { range: at.range, is_write }
    };
    let mut found: Vec<Highlight> = own.map(mark).collect();
    found.sort_by_key(|it| it.range.start);
    found
}

/// The bytes at which a document's functions write to something: where its name starts.
fn written(view: &View<'_>) -> FxHashSet<u32> {
    let mut found = FxHashSet::default();
    for function in view.own.unit.functions().iter().filter(|it| it.span.file == view.key) {
        function.expressions(&mut |it| {
            let target = match &it.kind {
                ExprKind::Assign(_, target, _) => target,
                ExprKind::Unary("++" | "--" | "x++" | "x--", target) => target,
                _ => return,
            };
            found.extend(named(target).map(|it| it.start));
        });
    }
    found
}

/// The name of what an expression writes to: of `a[i]` and `a.b` that is `a`, and `b`.
fn named(target: &Expr) -> Option<Span> {
    match &target.kind {
        ExprKind::Name(_) => Some(target.span),
        ExprKind::Index(of, _) => named(of),
        ExprKind::Member { name_span, .. } => Some(*name_span),
        _ => None,
    }
}
