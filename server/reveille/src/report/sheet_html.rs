//! The bring-up sheet as one HTML page that needs nothing from outside: the Markdown sheet, with drawn pictures.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::io::Write;
use std::path::Path;

use pulldown_cmark::{CodeBlockKind, CowStr, Event, HeadingLevel, Options, Parser, Tag, TagEnd, html};
use reveille_editor::{disk_svg, memory_svg, way_svg};
use reveille_facts::Model;
use reveille_program::FileId;

use super::display_path;
use super::sheet::{Picture, sheet_markdown};

/// The word behind the fence of a block that a picture takes the place of; its number follows.
const PICTURE: &str = "picture-";

/// Readable on a phone, light and dark, and on A4.
const STYLE: &str = "\
:root{color-scheme:light dark;--line:#c9c4b8;--soft:#f2efe8;--mark:#e9e2d2}\
@media(prefers-color-scheme:dark){:root{--line:#4d4a43;--soft:#2a2823;--mark:#3a362d}}\
body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:0 auto;padding:1rem}\
table{border-collapse:collapse;display:block;overflow-x:auto;font-size:.9rem}\
th,td{border:1px solid var(--line);padding:.2rem .5rem;text-align:left;vertical-align:top}\
th{background:var(--soft)}\
td:last-child{white-space:nowrap}\
code,pre{font-family:ui-monospace,monospace;font-size:.9em}\
pre{background:var(--soft);padding:.6rem;overflow-x:auto}\
svg{max-width:100%;height:auto}\
a{color:#1f5a7a}@media(prefers-color-scheme:dark){a{color:#8fc6e6}}\
nav ul{columns:14rem;padding-left:1.2rem}\
.lines span{display:block;background:var(--mark)}.lines span:target{outline:2px solid #b3541e}.lines em{font-style:normal;font-weight:bold}.lines i{font-style:normal;opacity:.7}\
figure{margin:1rem 0;overflow-x:auto}\
@page{size:A4;margin:15mm}\
@media print{body{max-width:none;padding:0;font-size:10pt}table{display:table;font-size:8pt}h2,h3{break-after:avoid}figure,tr{break-inside:avoid}nav{display:none}a{color:inherit;text-decoration:none}td,th,code,li{overflow-wrap:anywhere}td,th{padding:.1rem .25rem}table:not(:has(th:nth-child(9))) :is(td,th){min-width:4.6em}td:last-child{white-space:normal}svg{min-width:0!important}pre{white-space:pre-wrap}}";

/// Writes the sheet of a program as an HTML page.
pub(crate) fn sheet_html(model: &Model, root: &Path, out: &mut dyn Write) -> anyhow::Result<()> {
    let drawn: RefCell<Vec<String>> = RefCell::default();
    let picture = |picture: &Picture<'_>, title: &str| {
        let mut drawn = drawn.borrow_mut();
        drawn.push(match picture {
            Picture::Disk(map) => disk_svg(map, title),
            Picture::Memory(map) => memory_svg(map, title),
            Picture::Way(path) => way_svg(path, title),
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
    let links = Links::new(model);
    let mut headings = Headings::default();
    let drawn = drawn.borrow();
    let events: Vec<Event<'_>> = with_pictures(&markdown, &drawn).collect();
    contents(&events, out)?;
    let events = events.into_iter().flat_map(|it| links.linked(it)).map(|it| headings.named(it));
    html::write_html_io(&mut *out, events)?;
    links.lines(model, out)?;
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

/// Gives each heading of the second level its anchor.
#[derive(Default)]
struct Headings(usize);

impl Headings {
    fn named<'a>(&mut self, event: Event<'a>) -> Event<'a> {
        match event {
            Event::Start(Tag::Heading { level: HeadingLevel::H2, classes, attrs, .. }) => {
                self.0 += 1;
                let id = Some(CowStr::from(format!("part-{}", self.0)));
                Event::Start(Tag::Heading { level: HeadingLevel::H2, id, classes, attrs })
            }
            event => event,
        }
    }
}

/// The parts of the page, each with a link to it.
fn contents(events: &[Event<'_>], out: &mut dyn Write) -> anyhow::Result<()> {
    let mut titles: Vec<String> = Vec::new();
    let mut is_heading = false;
    for event in events {
        match event {
            Event::Start(Tag::Heading { level: HeadingLevel::H2, .. }) => {
                is_heading = true;
                titles.push(String::new());
            }
            Event::End(TagEnd::Heading(HeadingLevel::H2)) => is_heading = false,
            Event::Text(text) | Event::Code(text) if is_heading => {
                if let Some(own) = titles.last_mut() {
                    own.push_str(text);
                }
            }
            _ => (),
        }
    }
    writeln!(out, "<nav aria-label=\"Parts\"><ul>")?;
    for (number, title) in titles.iter().enumerate() {
        writeln!(out, "<li><a href=\"#part-{}\">{}</a></li>", number + 1, escaped(title))?;
    }
    writeln!(out, "<li><a href=\"#lines\">Lines of the source</a></li></ul></nav>")?;
    Ok(())
}

/// How many lines stand before and behind one that is linked to.
const AROUND: usize = 2;

/// Places of the source in the page: each is a link to its line at the page's end.
struct Links {
    /// Files by the path that the sheet gives them, with their number in anchors.
    files: HashMap<String, (usize, FileId)>,
    /// The lines that are linked to, from 0.
    used: RefCell<BTreeMap<usize, BTreeSet<usize>>>,
}

impl Links {
    fn new(model: &Model) -> Self {
        let program = model.program();
        let all = program.files().chain(program.beside());
        let files = all.enumerate().map(|(at, file)| (display_path(model, file.id()), (at, file.id())));
        Self { files: files.collect(), used: RefCell::default() }
    }

    /// An event, with places in its text made links.
    fn linked<'a>(&self, event: Event<'a>) -> Vec<Event<'a>> {
        let Event::Text(text) = &event else { return vec![event] };
        let mut found: Vec<Event<'a>> = Vec::new();
        let (mut rest, mut plain) = (text.as_ref(), String::new());
        while let Some(colon) = rest.find(':') {
            let digits = rest[colon + 1..].bytes().take_while(u8::is_ascii_digit).count();
            let start = rest[..colon].rfind([' ', '(', ',', '|', '\u{a0}']).map_or(0, |it| it + 1);
            let line = rest[colon + 1..colon + 1 + digits].parse::<usize>().ok().and_then(|it| it.checked_sub(1));
            let file = self.files.get(&rest[start..colon]);
            let (Some(line), Some((number, _))) = (line, file) else {
                plain.push_str(&rest[..=colon]);
                rest = &rest[colon + 1..];
                continue;
            };
            self.used.borrow_mut().entry(*number).or_default().insert(line);
            plain.push_str(&rest[..start]);
            found.push(Event::Text(CowStr::from(std::mem::take(&mut plain))));
            let end = colon + 1 + digits;
            let link = format!("<a href=\"#l{number}-{}\">{}</a>", line + 1, escaped(&rest[start..end]));
            found.push(Event::InlineHtml(CowStr::from(link)));
            rest = &rest[end..];
        }
        if found.is_empty() {
            return vec![event];
        }
        plain.push_str(rest);
        found.push(Event::Text(CowStr::from(plain)));
        found
    }

    /// Writes the lines that are linked to, with some around each.
    fn lines(&self, model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
        writeln!(out, "<h2 id=\"lines\">Lines of the source</h2>")?;
        let mut files: Vec<(&String, &(usize, FileId))> = self.files.iter().collect();
        files.sort_by_key(|it| it.1.0);
        for (path, (number, file)) in files {
            let used = self.used.borrow();
            let Some(lines) = used.get(number) else { continue };
            let Some(source) = model.program().file(*file).map(|it| it.source()) else { continue };
            writeln!(out, "<h3>{}</h3>\n<pre class=\"lines\">", escaped(path))?;
            let mut last = None;
            for line in lines {
                let from = line.saturating_sub(AROUND).max(last.map_or(0, |it| it + 1));
                if last.is_some_and(|it| it + 1 < from) {
                    writeln!(out, "<i>&#8942;</i>")?;
                }
                for own in from..=line + AROUND {
                    let Some((_, text)) = source.line(own) else { break };
                    let text = escaped(text.trim_end());
                    if lines.contains(&own) {
                        writeln!(out, "<span id=\"l{number}-{}\"><em>{:>5}</em> {text}</span>", own + 1, own + 1)?;
                    } else {
                        writeln!(out, "<i>{:>5}</i> {text}", own + 1)?;
                    }
                    last = Some(own);
                }
            }
            writeln!(out, "</pre>")?;
        }
        Ok(())
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
