//! The bring-up sheet as one HTML page that needs nothing from outside: the Markdown sheet, with drawn pictures.

use std::cell::RefCell;
use std::io::Write;
use std::path::Path;

use pulldown_cmark::{CodeBlockKind, CowStr, Event, Options, Parser, Tag, TagEnd, html};
use reveille_editor::{disk_svg, memory_svg};
use reveille_facts::Model;

use super::sheet::{Picture, sheet_markdown};

/// The word behind the fence of a block that a picture takes the place of; its number follows.
const PICTURE: &str = "picture-";

/// Readable on a phone, light and dark, and on A4.
const STYLE: &str = "\
:root{color-scheme:light dark;--line:#c9c4b8;--soft:#f2efe8}\
@media(prefers-color-scheme:dark){:root{--line:#4d4a43;--soft:#2a2823}}\
body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:0 auto;padding:1rem}\
table{border-collapse:collapse;display:block;overflow-x:auto;font-size:.9rem}\
th,td{border:1px solid var(--line);padding:.2rem .5rem;text-align:left;vertical-align:top}\
th{background:var(--soft)}\
td:last-child{white-space:nowrap}\
code,pre{font-family:ui-monospace,monospace;font-size:.9em}\
pre{background:var(--soft);padding:.6rem;overflow-x:auto}\
svg{max-width:100%;height:auto}\
figure{margin:1rem 0}\
@page{size:A4;margin:15mm}\
@media print{body{max-width:none;padding:0;font-size:10pt}table{display:table;font-size:8pt}h2,h3{break-after:avoid}figure,tr{break-inside:avoid}}";

/// Writes the sheet of a program as an HTML page.
pub(crate) fn sheet_html(model: &Model, root: &Path, out: &mut dyn Write) -> anyhow::Result<()> {
    let drawn: RefCell<Vec<String>> = RefCell::default();
    let picture = |picture: &Picture<'_>, title: &str| {
        let mut drawn = drawn.borrow_mut();
        drawn.push(match picture {
            Picture::Disk(map) => disk_svg(map, title),
            Picture::Memory(map) => memory_svg(map, title),
        });
        format!("```{PICTURE}{}\n```\n", drawn.len() - 1)
    };
    let mut markdown = Vec::new();
    sheet_markdown(model, root, &picture, &mut markdown)?;
    let markdown = String::from_utf8(markdown)?;
    let title = markdown.lines().next().unwrap_or("").trim_start_matches("# ");
    write!(
        out,
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><title>{}</title><style>{STYLE}</style></head><body><main>\n",
        escaped(title)
    )?;
    html::write_html_io(&mut *out, with_pictures(&markdown, &drawn.borrow()))?;
    writeln!(out, "</main></body></html>")?;
    Ok(())
}

/// The events of the page: pictures in their places, and nothing of a source taken for HTML.
fn with_pictures<'a>(markdown: &'a str, drawn: &'a [String]) -> impl Iterator<Item = Event<'a>> {
    let mut is_picture = false;
    Parser::new_ext(markdown, Options::ENABLE_TABLES).filter_map(move |event| match event {
        Event::Start(Tag::CodeBlock(CodeBlockKind::Fenced(info))) if info.starts_with(PICTURE) => {
            is_picture = true;
            let svg = info[PICTURE.len()..].parse::<usize>().ok().and_then(|it| drawn.get(it))?;
            Some(Event::Html(CowStr::from(format!("<figure>{svg}</figure>"))))
        }
        Event::End(TagEnd::CodeBlock) if is_picture => {
            is_picture = false;
            None
        }
        Event::Html(text) | Event::InlineHtml(text) => Some(Event::Text(text)),
        event => Some(event),
    })
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
