use std::path::PathBuf;
use std::sync::Arc;

use reveille_decoders::boot::{Branch, NewBoot};
use reveille_decoders::formats;
use reveille_decoders::volume::{Moment, NewEntry, raw_name, write};
use reveille_program::{Content, Program};
use reveille_source::{Encoding, File};

use super::{is_object, may_be_object};
use crate::image::Table;
use crate::model::Model;

/// ROM at 0 and RAM at $80000, of a machine of our own.
const MAP: &str = "[[machine.gauge.memory]]\nname = \"rom\"\nfrom = 0\nsize = \"64k\"\nkind = \"rom\"\n\n[[machine.gauge.memory]]\nname = \"ram\"\nfrom = \"$080000\"\nsize = \"64k\"\nkind = \"ram\"\n\n[[machine.gauge.memory]]\nname = \"clock\"\nfrom = \"$F00000\"\nsize = 16\nkind = \"device\"\n";

/// A monitor with its stack at $088000 that writes two words of RAM.
const MONITOR: &str = "LEVEL\tEQU\t$080010\n\tORG\t0\n\tDC.L\t$88000,begin\nbegin\tMOVE.W\tD0,LEVEL\n\tCLR.B\t$080020\n\tTST.B\t$080030\n\tBRA.S\tbegin\n\tEND\n";

/// An absolute $601A program: its sizes, and where it is loaded.
fn program(text: u32, data: u32, bss: u32, start: u32) -> Vec<u8> {
    let mut file = vec![0x60, 0x1a];
    for number in [text, data, bss, 0, 0, start] {
        file.extend(number.to_be_bytes());
    }
    file.extend([0, 1]);
    file.resize(28 + (text + data) as usize, 0x4e);
    file
}

fn model(files: &[(&str, &[u8])]) -> Model {
    let mut all = vec![];
    for (path, bytes) in files {
        let text = || File::new(std::str::from_utf8(bytes).unwrap(), None);
        let content = match path.rsplit('.').next() {
            Some("s") => Content::Text(text(), Encoding::Utf8),
            Some("toml") => Content::Beside(text()),
            _ => Content::Object((*bytes).into()),
        };
        all.push((PathBuf::from(path), content));
    }
    let mut program = Program::new();
    program.set_files(all);
    Model::new(program, &[], None)
}

/// What is found about a file on the machine with its monitor.
fn told(file: &[u8]) -> Vec<String> {
    let model = model(&[("a.s", MONITOR.as_bytes()), ("reveille.toml", MAP.as_bytes()), ("x.sys", file)]);
    let findings = model.objects().iter().flat_map(|it| &it.findings);
    findings.map(|it| format!("{} {}", it.code, it.message)).collect()
}

fn codes(file: &[u8]) -> Vec<String> {
    told(file).iter().map(|it| it[..10].to_owned()).collect()
}

#[test]
fn a_program_in_free_ram_has_nothing_wrong() {
    assert_eq!(told(&program(0x100, 0x10, 0x40, 0x81000)), Vec::<String>::new());
    // The end of the RAM belongs to it, and what is read is not written.
    assert_eq!(told(&program(0x100, 0, 0, 0x8ff00)), Vec::<String>::new());
    assert_eq!(told(&program(0x10, 0, 0, 0x80030)), Vec::<String>::new());
    // 1 KiB below the stack is free, and what lies above it is not reached.
    assert_eq!(told(&program(0x100, 0, 0, 0x88000 - 0x500)), Vec::<String>::new());
    assert_eq!(told(&program(0x100, 0, 0, 0x88000)), Vec::<String>::new());
}

#[test]
fn each_place_that_is_taken_is_told_with_who_has_it() {
    assert_eq!(codes(&program(0x102, 0, 0, 0x8ff00)), ["object-001"]);
    let device = told(&program(2, 0, 0, 0xf0_0004));
    assert_eq!(
        device,
        [
            "object-001 this $601A program: its text, $F00004 to $F00005, lies outside RAM from $F00004 on: $F00004 is in `clock`, a device: its start + $4; is it for a machine with other memory, or does the machine file lack some?"
        ]
    );
    assert_eq!(codes(&program(0x100, 0, 0, 0x200)), ["object-003"], "vectors in ROM are ROM");
    // Half in the ROM, half behind it.
    assert_eq!(codes(&program(0x100, 0, 0, 0xff80)), ["object-003", "object-001"]);
    let over = told(&program(0x100, 0, 0, 0x80000));
    assert_eq!(over.len(), 1);
    assert!(
        over[0].starts_with("object-004") && over[0].contains("`LEVEL` ($080010), `$080020` ($080020);"),
        "{over:?}"
    );
    assert_eq!(codes(&program(0x100, 0, 0x8000, 0x81000)), ["object-007"]);
    assert_eq!(codes(&program(0x100, 0, 2, 0x88000 - 0x500)), ["object-007"], "two bytes of bss in the last KiB");
    assert_eq!(codes(&program(0x100, 0, 0, 0x81001)), ["object-005"]);
    assert_eq!(codes(&program(0, 0x100, 0, 0x81000)), ["object-008"]);
    assert_eq!(codes(&program(0x100, 0, 0, 0x81000)[..0x60]), ["object-006"]);
}

#[test]
fn what_is_relocated_has_no_address_to_judge() {
    let mut file = program(0x10, 0, 0, 0x200);
    file[27] = 0;
    file.extend([0; 0x10]);
    assert_eq!(told(&file), Vec::<String>::new());
    // A later system has flags where the start is (from memory).
    assert_eq!(told(&program(0x10, 0, 0, 7)), Vec::<String>::new());
}

#[test]
fn without_a_machine_file_only_the_file_itself_tells() {
    let alone = |file: &[u8]| {
        let model = model(&[("a.s", MONITOR.as_bytes()), ("x.sys", file)]);
        model.findings().iter().map(|it| it.code).filter(|it| it.starts_with("object")).collect::<Vec<_>>()
    };
    assert_eq!(alone(&program(0x100, 0, 0, 0x80000)), Vec::<&str>::new());
    assert_eq!(alone(&program(0x100, 0, 0x100_0000 - 2, 0xf0_0000)), Vec::<&str>::new());
    assert_eq!(alone(&program(0x100, 0, 0, 0x200)), ["object-002"]);
    assert_eq!(alone(&program(0x100, 0, 0, 0x2001)), ["object-005"]);
}

#[test]
fn the_source_of_a_program_may_write_its_own_data() {
    let own = "\tORG\t$80000\nmain\tMOVE.W\tD0,level\n\tRTS\nlevel\tDC.W\t0\n\tEND\n";
    let files: [(&str, &[u8]); 3] =
        [("a.s", own.as_bytes()), ("reveille.toml", MAP.as_bytes()), ("x.sys", &program(0x100, 0, 0, 0x80000))];
    assert_eq!(model(&files).objects()[0].findings.len(), 0);
}

/// `srec_motorola(5)`; the records' checksums are worked out by the writer of this house.
#[test]
fn records_are_held_against_the_machine_unless_they_are_its_rom() {
    let records = |address: u32, entry: u32, bytes: usize| {
        let mut text = String::new();
        let mut line = |kind: char, address: u32, data: &[u8]| {
            let mut all = vec![(data.len() + 5) as u8];
            all.extend(address.to_be_bytes());
            all.extend(data);
            all.push(!all.iter().fold(0_u8, |sum, it| sum.wrapping_add(*it)));
            let digits: String = all.iter().map(|it| format!("{it:02X}")).collect();
            text.push_str(&format!("S{kind}{digits}\n"));
        };
        for at in (0..bytes).step_by(16) {
            line('3', address + at as u32, &[0x4e; 16]);
        }
        line('7', entry, &[]);
        text.into_bytes()
    };
    assert_eq!(codes(&records(0x81000, 0x81000, 64)), Vec::<String>::new());
    assert_eq!(codes(&records(0, 0x400, 0x800)), Vec::<String>::new(), "an image of the ROM");
    assert_eq!(codes(&records(0x90000, 0x90000, 64)), ["object-001"]);
    assert_eq!(codes(&records(0x81000, 0x81100, 64)), ["object-008"]);
    assert_eq!(codes(&records(0x81000, 0, 64)), Vec::<String>::new(), "an entry of 0 is none");
    let mut damaged = records(0x81000, 0x81000, 64);
    damaged[20] = b'9';
    assert!(told(&damaged)[0].starts_with("object-006 these S-records: line 1: "), "{:?}", told(&damaged));
}

/// An image of 160 KiB with a program, a text and a program in a directory.
fn image() -> Vec<u8> {
    let table = Table::of_format(formats().iter().find(|it| it.name == "160k").unwrap()).unwrap();
    let path = |text: &str| text.split('/').map(|it| raw_name(it).unwrap()).collect();
    let (first, second) = (program(0x400, 0, 0, 0x81000), program(0x20, 0, 0, 0x80000));
    let files = [
        NewEntry { path: path("TIDE.SYS"), bytes: &first },
        NewEntry { path: path("LOG.TXT"), bytes: b"low water 04:12\r\n" },
        NewEntry { path: path("OLD/TIDE.SYS"), bytes: &second },
    ];
    let moment: Moment = "1986-03-03".parse().unwrap();
    let mut image = write(&table.geometry, &files, None, moment).unwrap().bytes;
    let block = table.block_to_write(None, 0);
    let boot =
        NewBoot { branch: Branch::M68000, block: &block, code: &[], serial: 0, has_signature: true, word_sum: None };
    boot.write(&mut image, &table.geometry).unwrap();
    image
}

#[test]
fn programs_in_an_image_are_told_by_their_paths() {
    let image = image();
    assert!(may_be_object(&image[..16384], image.len() as u64) && is_object(&image));
    let model = model(&[("a.s", MONITOR.as_bytes()), ("reveille.toml", MAP.as_bytes()), ("disk.img", &image)]);
    let found: Vec<_> = model.objects().iter().map(|it| (it.object.inside.as_deref(), it.findings.len())).collect();
    assert_eq!(found, [(Some("TIDE.SYS"), 0), (Some("OLD/TIDE.SYS"), 1)]);
    let finding = &model.objects()[1].findings[0];
    assert!(
        finding.message.starts_with("`OLD/TIDE.SYS` in this image, a $601A program: its text"),
        "{}",
        finding.message
    );
    // A volume without programs is no program file.
    let mut empty = image.clone();
    empty[512 * 7..].fill(0);
    assert!(!is_object(&empty));
}

#[test]
fn texts_and_dumps_are_no_program_files() {
    for bytes in [&b""[..], b"just a note\n", &[0x60, 0x1a], &[0; 4096], &[0xff; 4096], &[0xe5; 8192]] {
        assert!(!is_object(bytes), "{:?}", bytes.get(..8));
    }
}

#[test]
fn a_program_file_is_read_once_and_judged_again_when_the_source_changes() {
    let file: Arc<[u8]> = program(0x100, 0, 0, 0x81000).into();
    let beside = |it: &str| Content::Beside(File::new(it, None));
    let text = |it: &str| Content::Text(File::new(it, None), Encoding::Utf8);
    let mut program = Program::new();
    program.set_files(vec![
        ("a.s".into(), text(MONITOR)),
        ("reveille.toml".into(), beside(MAP)),
        ("x.sys".into(), Content::Object(file)),
    ]);
    let before = Model::new(program.clone(), &[], None);
    assert_eq!(before.objects()[0].findings.len(), 0);
    program.set_files(vec![("a.s".into(), text(&MONITOR.replace("$080010", "$081010")))]);
    let after = Model::new(program, &[], Some(&before));
    assert!(Arc::ptr_eq(&before.objects()[0].object, &after.objects()[0].object));
    assert_eq!(after.objects()[0].findings.iter().map(|it| it.code).collect::<Vec<_>>(), ["object-004"]);
    // No unit reads it, and no include means it.
    assert_eq!(after.analysis().units().count(), 1);
    assert_eq!(after.program().files().count(), 1);
}
