//! Any text as a program: read in every dialect, parsed, laid out, its findings made, its lines listed, laid out in columns, and edited.
//! Nothing may panic, hang or overflow, an edited file is the file read afresh, and laying out twice is laying out once.
#![no_main]

use std::path::PathBuf;

use libfuzzer_sys::fuzz_target;
use reveille_editor::{FormatOptions, Style, edited, format};
use reveille_facts::Model;
use reveille_program::{Content, Listed, Program, list};
use reveille_source::{Dialect, Document, Encoding, File, Trees};

const DIALECTS: [Option<Dialect>; 5] =
    [None, Some(Dialect::Motorola), Some(Dialect::Dotted), Some(Dialect::Mit), Some(Dialect::Sgs)];

fuzz_target!(|data: &[u8]| {
    let [first, rest @ ..] = data else { return };
    let Ok(text) = std::str::from_utf8(rest) else { return };
    let dialect = DIALECTS[usize::from(*first) % DIALECTS.len()];
    let file = File::new(text, dialect);
    if let Some((node, _)) = Trees::new(&file).node_at(text.len() / 2) {
        assert!(!node.is_error());
    }
    let mut program = Program::new();
    program.set_files(vec![(PathBuf::from("a.s"), Content::Text(file.clone(), Encoding::Utf8))]);
    let model = Model::new(program.clone(), &[], None);
    let _ = model.findings();
    for unit in model.analysis().units() {
        let make = |_, lines: Vec<Listed>| lines.len();
        let _ = list::<_, ()>(&program, unit, &make, &mut |_| Ok(()));
    }
    let style = Style::of(&file, &FormatOptions::default());
    let once = edited(text, &format(&file, &style, 0..usize::MAX));
    let again = File::new(&once, Some(file.dialect()));
    assert!(format(&again, &Style::of(&again, &FormatOptions::default()), 0..usize::MAX).is_empty());
    // An edit in the middle, at a character's border.
    let at = (0..=text.len() / 2).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    let mut document = Document::new(text, dialect);
    if document.edit(at..at, "\n\tdc.b 1\n").is_ok() {
        let whole = format!("{}\n\tdc.b 1\n{}", &text[..at], &text[at..]);
        let fresh = File::new(&whole, dialect);
        assert_eq!(document.file().dialect(), fresh.dialect());
        assert_eq!(document.file().line_count(), fresh.line_count());
        for line in 0..fresh.line_count() {
            let (one, two) = (document.file().line(line), fresh.line(line));
            let part = |it: Option<(&reveille_source::Line, &str)>| it.map(|(line, text)| (line.label, line.op, line.operands, text.to_owned()));
            assert_eq!(part(one), part(two));
        }
    }
});
