//! The text as it is being written: tables, keys, and what may stand at a byte. It need not be TOML yet; the schema is [`FILE`]'s.

use std::ops::Range;

use crate::keys::{FILE, Key, Kind, Section};

/// A table as it is written.
#[derive(Clone, Debug)]
pub struct WrittenTable {
    /// What it is; none if the file has no such table.
    pub section: Option<&'static Section>,
    /// The names of its heading; empty for the file and for what is written in brackets.
    pub path: Vec<String>,
    /// Its heading, or the bracket it begins with; empty for the file.
    pub heading: Range<usize>,
    /// Where it ends: at the next heading, or behind its bracket.
    pub end: usize,
    /// Its keys, and where each is written.
    pub keys: Vec<(String, Range<usize>)>,
}

impl WrittenTable {
    /// Whether it is written in brackets, and not below a heading.
    #[must_use]
    pub fn is_inline(&self) -> bool {
        self.path.is_empty() && !self.heading.is_empty()
    }
}

/// What may stand at a byte.
#[derive(Clone, Debug)]
pub enum Slot {
    /// A heading; what is written of it.
    Heading(Range<usize>),
    /// A key of a table; what is written of it, and whether a heading may stand there instead.
    Key {
        /// The table's place among all.
        table: usize,
        /// What is written of it.
        range: Range<usize>,
        /// Whether it is the first of its line, outside brackets.
        starts_line: bool,
    },
    /// A value of a key.
    Value {
        /// The table's place among all.
        table: usize,
        /// The key; none if the table has no such key.
        key: Option<&'static Key>,
        /// What is written of it.
        range: Range<usize>,
        /// Whether it stands in a list.
        is_in_list: bool,
    },
}

/// A text as it is written.
#[derive(Clone, Debug)]
pub struct Written {
    /// The file itself, then its tables in the order of the text.
    pub tables: Vec<WrittenTable>,
    /// What may stand at the byte that was asked about; none in comments.
    pub slot: Option<Slot>,
}

/// An open bracket.
struct Frame {
    /// The table that it opened, or that its list is in.
    table: usize,
    /// The key whose value it is.
    key: Option<&'static Key>,
    is_list: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Expected {
    Key,
    Value,
}

struct Scan<'t> {
    text: &'t str,
    byte: usize,
    tables: Vec<WrittenTable>,
    /// The table of the last heading.
    current: usize,
    frames: Vec<Frame>,
    key: Option<&'static Key>,
    expected: Expected,
    starts_line: bool,
    slot: Option<Slot>,
    is_found: bool,
}

/// Reads a text as it is written; `byte` is asked about.
#[must_use]
pub fn written(text: &str, byte: usize) -> Written {
    let file =
        WrittenTable { section: Some(&FILE), path: Vec::new(), heading: 0..0, end: text.len(), keys: Vec::new() };
    let mut scan = Scan {
        text,
        byte,
        tables: vec![file],
        current: 0,
        frames: Vec::new(),
        key: None,
        expected: Expected::Key,
        starts_line: true,
        slot: None,
        is_found: false,
    };
    scan.run();
    Written { tables: scan.tables, slot: scan.slot }
}

impl Scan<'_> {
    fn run(&mut self) {
        let bytes = self.text.as_bytes();
        let mut at = 0;
        while let Some(first) = bytes.get(at) {
            let end = match first {
                b' ' | b'\t' | b'\r' => {
                    let end = self.end_of(at, |it| !matches!(it, b' ' | b'\t' | b'\r'));
                    if self.byte < end {
                        self.found(at, self.byte..self.byte);
                    }
                    end
                }
                b'\n' => {
                    self.found(at, at..at);
                    self.line_end();
                    at + 1
                }
                b'#' => {
                    self.found(at, at..at);
                    let end = self.end_of(at, |it| it == b'\n');
                    self.is_found |= self.byte > at && self.byte <= end;
                    end
                }
                // No value of the file is a list in a list: a bracket that begins a line begins a heading, whatever is open above.
                b'[' if self.starts_line && self.is_heading(at) => self.heading(at),
                b'[' | b'{' | b']' | b'}' | b',' | b'=' => {
                    self.found(at, at..at);
                    self.mark(*first, at);
                    at + 1
                }
                quote @ (b'"' | b'\'') => {
                    let end = self.string_end(at, *quote);
                    self.word(at..end);
                    end
                }
                _ => {
                    let ends = |it| {
                        matches!(it, b' ' | b'\t' | b'\r' | b'\n' | b'#' | b'=' | b',' | b'[' | b']' | b'{' | b'}')
                    };
                    let end = self.end_of(at + 1, ends);
                    self.word(at..end);
                    end
                }
            };
            if !matches!(first, b' ' | b'\t' | b'\r' | b'\n') {
                self.starts_line = false;
            }
            at = end;
        }
        self.found(at, at..at);
        let last = self.current;
        self.tables[last].end = self.text.len();
    }

    fn end_of(&self, from: usize, is_end: impl Fn(u8) -> bool) -> usize {
        self.text.as_bytes()[from..].iter().position(|it| is_end(*it)).map_or(self.text.len(), |it| from + it)
    }

    /// The end of a string, or of its line where it has none.
    fn string_end(&self, start: usize, quote: u8) -> usize {
        let bytes = self.text.as_bytes();
        let long = [quote; 3];
        if bytes[start..].starts_with(&long) {
            let inside = start + 3;
            let end = bytes[inside..].windows(3).position(|it| it == long);
            return end.map_or(bytes.len(), |it| inside + it + 3);
        }
        let mut at = start + 1;
        while let Some(byte) = bytes.get(at) {
            match byte {
                b'\n' => return at,
                b'\\' if quote == b'"' && bytes.get(at + 1) != Some(&b'\n') => at += 1,
                byte if *byte == quote => return at + 1,
                _ => (),
            }
            at += 1;
        }
        bytes.len()
    }

    /// Whether a bracket at the start of a line begins a heading. In a list it does only before a name.
    fn is_heading(&self, at: usize) -> bool {
        let rest = self.text[at..].trim_start_matches('[');
        self.frames.is_empty() || rest.starts_with(|it: char| it.is_ascii_alphabetic())
    }

    fn heading(&mut self, start: usize) -> usize {
        let end = self.end_of(start, |it| matches!(it, b'\n' | b'#'));
        let end = start + self.text[start..end].trim_end().len();
        let last = self.current;
        self.tables[last].end = start;
        self.frames.clear();
        let written = self.text[start..end].trim_matches(['[', ']']);
        let path: Vec<String> = names(written);
        self.current = self.tables.len();
        let section = section(&path);
        self.tables.push(WrittenTable { section, path, heading: start..end, end: self.text.len(), keys: Vec::new() });
        if !self.is_found && (start..=end).contains(&self.byte) {
            self.is_found = true;
            self.slot = Some(Slot::Heading(start..end));
        }
        // What stands behind a heading is neither key nor value.
        (self.expected, self.key) = (Expected::Value, None);
        end
    }

    fn line_end(&mut self) {
        self.starts_line = true;
        if self.frames.is_empty() {
            (self.expected, self.key) = (Expected::Key, None);
        }
    }

    /// The table that keys belong to.
    fn table(&self) -> usize {
        self.frames.last().map_or(self.current, |it| it.table)
    }

    fn mark(&mut self, mark: u8, at: usize) {
        match mark {
            b'=' => self.expected = Expected::Value,
            b',' => match self.frames.last() {
                Some(frame) if frame.is_list => self.key = frame.key,
                Some(_) => (self.expected, self.key) = (Expected::Key, None),
                None => (),
            },
            b'[' => self.frames.push(Frame { table: self.table(), key: self.key, is_list: true }),
            b'{' => {
                let section = self.key.and_then(|it| match it.kind {
                    Kind::Tables(section) | Kind::Table(section) => Some(section),
                    _ => None,
                });
                let table = self.tables.len();
                let (heading, end) = (at..at + 1, self.text.len());
                self.tables.push(WrittenTable { section, path: Vec::new(), heading, end, keys: Vec::new() });
                self.frames.push(Frame { table, key: self.key, is_list: false });
                (self.expected, self.key) = (Expected::Key, None);
            }
            _ => {
                if let Some(frame) = self.frames.pop() {
                    if !frame.is_list {
                        self.tables[frame.table].end = at + 1;
                    }
                    (self.expected, self.key) = (Expected::Value, frame.key);
                }
            }
        }
    }

    fn word(&mut self, range: Range<usize>) {
        self.found(range.start, range.clone());
        if self.expected == Expected::Key {
            let names = names(&self.text[range.clone()]);
            let Some(name) = names.into_iter().next() else { return };
            let table = self.table();
            self.key = self.tables[table].section.and_then(|it| it.key(&name));
            self.tables[table].keys.push((name, range));
        }
    }

    /// Notes what may stand here, if this is where it was asked; `range` is what is written there.
    fn found(&mut self, start: usize, range: Range<usize>) {
        if self.is_found || !(start..=range.end).contains(&self.byte) {
            return;
        }
        self.is_found = true;
        let table = self.table();
        self.slot = match self.expected {
            Expected::Key => Some(Slot::Key { table, range, starts_line: self.starts_line && self.frames.is_empty() }),
            Expected::Value => {
                let is_in_list = self.frames.last().is_some_and(|it| it.is_list);
                Some(Slot::Value { table, key: self.key, range, is_in_list })
            }
        };
    }
}

/// The names of a heading or a key.
fn names(written: &str) -> Vec<String> {
    let names = written.split('.').map(|it| it.trim().trim_matches(['"', '\'']).to_owned());
    names.filter(|it| !it.is_empty()).collect()
}

/// The table that a heading with these names is of.
fn section(path: &[String]) -> Option<&'static Section> {
    let mut section = &FILE;
    let mut names = path.iter();
    while let Some(name) = names.next() {
        let Some(key) = section.key(name) else {
            section = section.others?;
            continue;
        };
        section = match key.kind {
            Kind::Table(inner) | Kind::Tables(inner) => inner,
            Kind::Named(inner) => {
                names.next()?;
                inner
            }
            _ => return None,
        };
    }
    Some(section)
}

#[cfg(test)]
mod tests {
    use super::{Slot, written};

    /// What may stand at the mark `|` in a text.
    fn slot(marked: &str) -> String {
        let byte = marked.find('|').expect("a mark");
        let text = marked.replacen('|', "", 1);
        let found = written(&text, byte);
        let header = |table: usize| found.tables[table].section.map_or("?", |it| it.header);
        match found.slot {
            None => "nothing".into(),
            Some(Slot::Heading(range)) => format!("heading {}", &text[range]),
            Some(Slot::Key { table, range, starts_line }) => {
                format!("key of {} {}{}", header(table), &text[range], if starts_line { " or heading" } else { "" })
            }
            Some(Slot::Value { table, key, range, is_in_list }) => {
                let (key, list) = (key.map_or("?", |it| it.name), if is_in_list { " in a list" } else { "" });
                format!("value of {} {key} {}{list}", header(table), &text[range])
            }
        }
    }

    #[test]
    fn a_text_that_is_being_written_says_what_may_stand_at_a_byte() {
        for (text, expected) in [
            ("|", "key of reveille.toml  or heading"),
            ("fir|", "key of reveille.toml fir or heading"),
            ("[|", "heading ["),
            ("[[machine.s|]]\nname = 1", "heading [[machine.s]]"),
            ("[machine.skerry]\nclo|", "key of [machine.NAME] clo or heading"),
            ("[machine.skerry]\n|\nclock = 1", "key of [machine.NAME]  or heading"),
            ("[machine.skerry]\ncpu = |", "value of [machine.NAME] cpu "),
            ("[machine.skerry]\ncpu = \"68|\"\nclock = 1", "value of [machine.NAME] cpu \"68\""),
            ("[machine.skerry]\ncpu = \"68|\nclock = 1", "value of [machine.NAME] cpu \"68"),
            ("[firmware]\nroots = [\"a.s\", |]", "value of [firmware] roots  in a list"),
            ("[firmware]\nroots = [\n\t\"a.s\",\n\t\"b|\"\n]", "value of [firmware] roots \"b\" in a list"),
            ("[firmware]\nroots = [\"a.s\"\n[machine.x]\n|", "key of [machine.NAME]  or heading"),
            ("[firmware]\ndefines = { A = 1, | }", "key of ? "),
            ("[[block]]\nfields = [\n { name = \"a\", by| },\n]", "key of [[block.fields]] by"),
            ("[[block]]\nfields = [\n { name = \"a\" },\n { kind = | }\n]", "value of [[block.fields]] kind "),
            ("[[block]]\nfields = [\n { name = \"a\" },\n]\nru|", "key of [[block]] ru or heading"),
            ("[[block.fields]]\n|", "key of [[block.fields]]  or heading"),
            ("[nothing]\n|", "key of ?  or heading"),
            ("cpu = 1 # a |", "nothing"),
            ("[firmware] |", "value of [firmware] ? "),
        ] {
            assert_eq!(slot(text), expected, "{text}");
        }
    }

    #[test]
    fn tables_know_their_keys_and_where_they_end() {
        let text = "[a]\nx = 1\n[[block]]\nname = \"b\"\nfields = [ { name = \"c\", bytes = 1 } ]\nat = []\n";
        let found = written(text, 0);
        let told = found.tables.iter().map(|it| {
            let keys: Vec<&str> = it.keys.iter().map(|it| it.0.as_str()).collect();
            format!("{} {} {}", &text[it.heading.clone()], keys.join(","), &text[..it.end].len())
        });
        assert_eq!(
            told.collect::<Vec<_>>(),
            [
                "  0".to_owned(),
                "[a] x 10".to_owned(),
                format!("[[block]] name,fields,at {}", text.len()),
                format!("{{ name,bytes {}", text.find(" ]").expect("the end of the list")),
            ]
        );
    }
}
