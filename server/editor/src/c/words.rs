//! C in words: types, heads of functions, the comment above something.

use reveille_c::{Function, Object, Span, Type, Unit};
use reveille_facts::CUnit;
use reveille_program::SourceFile;
use reveille_source::LineKind;

use super::bytes;

/// A type is told in so many steps at most.
const MOST_STEPS: usize = 16;
/// A head or a comment has so many lines at most.
const MOST_LINES: usize = 12;

/// A type, outermost part first: `array of 4 addresses of char`.
pub(super) fn type_words(unit: &Unit, ty: &Type) -> String {
    let mut text = String::new();
    let mut next = ty;
    for _ in 0..MOST_STEPS {
        next = match next {
            Type::Pointer(of) => {
                text.push_str("address of ");
                of
            }
            Type::Array(of, Some(count)) => {
                text.push_str(&format!("array of {count}: "));
                of
            }
            Type::Array(of, None) => {
                text.push_str("array of unknown length: ");
                of
            }
            Type::Function(result) => {
                text.push_str("function that returns ");
                result
            }
            Type::Void => return text + "void",
            Type::Integer(it) => {
                let sign = if it.is_signed { "" } else { "unsigned " };
                let name = match it.bytes {
                    1 => "char",
                    it if it == unit.int_bytes() => "int",
                    2 => "short",
                    _ => "long",
                };
                return format!("{text}{sign}{name}");
            }
            Type::Float(bytes) => return text + if *bytes == 4 { "float" } else { "double" },
            Type::Record(tag) => {
                let is_union = unit.types().record(tag).is_some_and(|it| it.is_union);
                let word = if is_union { "union" } else { "struct" };
                return tagged(&text, word, tag);
            }
            Type::Enum(tag) => return tagged(&text, "enum", tag),
            Type::Named(name) => return format!("{text}{name}"),
        };
    }
    text + "and so on"
}

/// A tag that nobody gave begins with a sign that no name has.
fn tagged(text: &str, word: &str, tag: &str) -> String {
    if tag.starts_with('<') { format!("{text}{word}") } else { format!("{text}{word} {tag}") }
}

/// The type of something and its bytes.
pub(super) fn sized(unit: &Unit, ty: &Type) -> String {
    let words = type_words(unit, ty);
    match unit.size(ty) {
        Some(1) => format!("{words}, 1 byte"),
        Some(bytes) => format!("{words}, {bytes} bytes"),
        None => words,
    }
}

/// A function as it is written, up to its body.
pub(super) fn head(own: &CUnit, function: &Function) -> String {
    let text = own.unit.text(function.span);
    lines(&text[..text.find('{').unwrap_or(text.len())])
}

/// An object as it is written, up to what it starts with.
pub(super) fn object(own: &CUnit, it: &Object) -> String {
    let text = own.unit.text(it.span);
    lines(text[..text.find('=').unwrap_or(text.len())].trim_end())
}

fn lines(text: &str) -> String {
    text.trim().lines().map(str::trim_end).take(MOST_LINES).collect::<Vec<_>>().join("\n")
}

/// The comment that stands directly above something, without its marks.
pub(super) fn comment_above(file: &SourceFile, span: Span) -> Option<String> {
    let text = file.source().text();
    let above = text.get(..bytes(span).start)?;
    // Words such as `static` and the type may stand between.
    let line = above.rfind('\n').map_or(0, |it| it + 1);
    let above = above[..line].trim_end();
    let inner = above.strip_suffix("*/")?;
    let inner = &inner[inner.rfind("/*")? + 2..];
    said(inner.lines())
}

/// The comment lines directly above a line of assembly; an empty line may stand between.
pub(super) fn comment_above_label(file: &SourceFile, line: usize) -> Option<String> {
    let source = file.source();
    let kind = |number: usize| source.line(number).map(|it| (it.0.kind, it.1));
    let mut first = line;
    let is_blank = |number: usize| kind(number).is_some_and(|it| it.0 == LineKind::Blank);
    let end = if first > 0 && is_blank(first - 1) { first - 1 } else { first };
    first = end;
    while first > 0 && end - first < MOST_LINES && kind(first - 1).is_some_and(|it| it.0 == LineKind::Comment) {
        first -= 1;
    }
    said((first..end).filter_map(|it| Some(kind(it)?.1)))
}

fn said<'a>(lines: impl Iterator<Item = &'a str>) -> Option<String> {
    let bare = |line: &'a str| line.trim().trim_matches(['*', ';', '|', '/', '#']).trim().replace('\t', " ");
    let all: Vec<String> = lines.map(bare).filter(|it| !it.is_empty()).take(MOST_LINES).collect();
    (!all.is_empty()).then(|| all.join("\n"))
}
