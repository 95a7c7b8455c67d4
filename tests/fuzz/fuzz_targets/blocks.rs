//! Any bytes as any block: decoded by themselves, and written as a table of a source with a mark, with words, or with nothing that tells it; and any
//! text as a machine file. Nothing may panic, and what is offered for a block can be applied.
#![no_main]

use std::fmt::Write;
use std::path::PathBuf;

use libfuzzer_sys::fuzz_target;
use reveille_decoders::track::Recipe;
use reveille_decoders::{Values, family, layouts};
use reveille_editor::{bytes_text, disk_svg, disk_text, formulas, table_of_blocks};
use reveille_facts::{MACHINE_FILE, Model, additions, conversions, reads};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

const LABELS: [&str; 6] = ["boot_bpb", "dpb", "drives", "skewtab", "fmttrk", "x"];

fuzz_target!(|data: &[u8]| {
    let [which, how, rest @ ..] = data else { return };
    if *which == 255 {
        let Ok(text) = std::str::from_utf8(rest) else { return };
        let table = "chart\tdc.b\t0,60,1,0,4,5,6,7,8,9,10\n\teven\nboot_bpb\tdc.b\t0,2,2,1,0,2,112,0,$A0,5,$F9,3,0,9,0,2,0,0,0\n";
        shown(table, Some(text));
        return;
    }
    let rest = &rest[..rest.len().min(600)];
    let own = &layouts()[usize::from(*which) % layouts().len()];
    let layout = own.with_rows(rest.len()).unwrap_or_else(|| own.as_ref().clone());
    let block = layout.decode(rest);
    let _ = (block.score(), block.has_shape(), block.is_far(), block.is_template(), layout.swapped(rest));
    if let Some(family) = family(&layout.family) {
        let values = Values::new(family, &block, &[]);
        for rule in family.rules.iter().filter(|it| it.when.holds(&values)) {
            let _ = rule.message.text(&values);
        }
    }
    let _ = Recipe::read(rest);
    let bytes: Vec<String> = rest.iter().map(|it| format!("${it:02X}")).collect();
    let mut text = String::from("CYLS\tEQU\t80\nHEADS\tEQU\t2\nSPT\tEQU\t9\nSECSIZE\tEQU\t512\n");
    let label = LABELS[usize::from(*how) % LABELS.len()];
    let mark = if *how & 0x80 == 0 { String::new() } else { format!("\t@block {}", own.name) };
    for (at, row) in bytes.chunks(16).enumerate() {
        let _ = writeln!(text, "{}\tdc.b\t{}{}", if at == 0 { label } else { "" }, row.join(","), if at == 0 { &mark } else { "" });
    }
    text.push_str("\teven\n\tlea\t");
    let _ = writeln!(text, "{label}(pc),a0\n\tmove.w\t3(a0),d0\n\trts");
    shown(&text, None);
});

/// All that is shown of a source's blocks.
fn shown(text: &str, machine: Option<&str>) {
    let mut program = Program::new();
    let mut files = vec![(PathBuf::from("a.s"), Content::Text(File::new(text, None), Encoding::Utf8))];
    files.extend(machine.map(|it| (PathBuf::from(MACHINE_FILE), Content::Beside(File::new(it, None)))));
    program.set_files(files);
    let model = Model::new(program.clone(), &[], None);
    for finding in model.findings() {
        let file = program.file(finding.at.place.file).expect("a finding has a file");
        let (_, line, _) = file.at(finding.at.place.chunk, finding.at.place.line);
        assert!(finding.at.span.start <= finding.at.span.end && finding.at.span.end <= line.len);
    }
    for block in model.blocks() {
        let _ = (bytes_text(block, None), formulas(block), block.in_words());
        let table = model.table_of(block);
        let _ = table_of_blocks(&table);
        if let Some(map) = block.map() {
            let _ = (disk_text(&map), disk_svg(&map, "a disk"));
        }
        for (drive, _) in &model.machine_of(block.at.place.file).drives {
            let _ = reads(drive, block);
        }
        let _ = (conversions(&program, block), additions(&program, block, &table));
    }
}
