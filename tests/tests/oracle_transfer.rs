//! S-records and Intel hex against GNU objcopy, in both directions.
//!
//! Outside judge: GNU objcopy of binutils 2.40 for the 68000.

use std::path::Path;
use std::process::Command;

use reveille_decoders::transfer::{Image, TransferFormat, intel_hex, read, srecord};

/// Runs the judge in a folder.
fn judge(folder: &Path, arguments: &[&str]) {
    let output = Command::new("m68k-linux-gnu-objcopy").args(arguments).current_dir(folder).output();
    let Ok(output) = output else {
        panic!("m68k-linux-gnu-objcopy is missing: run tests/install-tools.sh system");
    };
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// Bytes without a pattern.
fn noise(seed: u32, count: usize) -> Vec<u8> {
    let mut state = seed;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    (0..count).map(|_| next()).collect()
}

/// Address and size of images: each width of an address, across the ends of 64 KiB and of the 24-bit addresses.
const IMAGES: &[(u32, usize)] = &[
    (0, 1),
    (0, 16),
    (0, 4097),
    (0xfff8, 8),
    (0xfff0, 33),
    (0xf8_0000, 0x8000),
    (0xff_fff0, 64),
    (0x1234_5678, 1000),
    (0xffff_ff00, 0x100),
];

#[test]
fn what_the_judge_writes_is_read() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    for (at, (address, size)) in IMAGES.iter().enumerate() {
        let bytes = noise(at as u32, *size);
        std::fs::write(path("a.bin"), &bytes).expect("the folder can be written to");
        let moved = format!("{address:#x}");
        let moved = ["--change-addresses", moved.as_str()];
        for (format, target, others) in [
            (TransferFormat::SRecord, "srec", &[][..]),
            (TransferFormat::SRecord, "srec", &["--srec-len=32"]),
            (TransferFormat::SRecord, "srec", &["--srec-forceS3"]),
            (TransferFormat::IntelHex, "ihex", &[]),
        ] {
            let arguments = [&["-I", "binary", "-O", target], &moved[..], others, &["a.bin", "a.txt"]].concat();
            judge(folder.path(), &arguments);
            let reading = read(&std::fs::read(path("a.txt")).expect("the judge has written"));
            assert_eq!(reading.format, format, "{arguments:?}");
            assert_eq!(reading.problems, [], "{arguments:?}");
            let runs = reading.image.runs();
            assert_eq!(runs.len(), 1, "{arguments:?}");
            assert!(runs[0].address == *address && runs[0].bytes == bytes, "{arguments:?}");
        }
    }
}

#[test]
fn the_judge_s_entry_address_is_read() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("a.bin"), noise(1, 64)).expect("the folder can be written to");
    for target in ["srec", "ihex"] {
        for entry in [0x400, 0xf_0410] {
            let start = format!("{entry:#x}");
            // S1 records leave no room for a longer address; the judge cuts it.
            let wide = ["--srec-forceS3"];
            judge(
                folder.path(),
                &[&["-I", "binary", "-O", target, "--set-start", &start], &wide[..], &["a.bin", "a.txt"]].concat(),
            );
            let reading = read(&std::fs::read(folder.path().join("a.txt")).expect("the judge has written"));
            assert_eq!((reading.problems.as_slice(), reading.image.entry), (&[][..], Some(entry)), "{target}");
        }
    }
}

#[test]
fn the_judge_reads_what_is_written() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    for (at, (address, size)) in IMAGES.iter().enumerate() {
        let bytes = noise(100 + at as u32, *size);
        let image = Image::raw(*address, &bytes);
        for data_bytes in [1, 16, 250] {
            let s_records = srecord::write(&image, &srecord::Form { data_bytes, ..srecord::Form::default() });
            let intel = intel_hex::write(&image, &intel_hex::Form { data_bytes });
            for (target, text) in [("srec", s_records), ("ihex", intel)] {
                std::fs::write(path("a.txt"), text.expect("it can be written")).expect("the folder can be written to");
                judge(folder.path(), &["-I", target, "-O", "binary", "a.txt", "a.bin"]);
                let judged = std::fs::read(path("a.bin")).expect("the judge has written");
                assert!(judged == bytes, "{target} {address:#x} {size} {data_bytes}: {} bytes", judged.len());
            }
        }
    }
}

#[test]
fn the_judge_fills_the_same_holes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut image = Image::default();
    for (address, size) in [(0x2_0100, 40), (0x2_0000, 20), (0x1_fff1, 9)] {
        image.push(address, &noise(address, size), 0);
    }
    let flat = image.flat(None, 0xff, 1 << 20).expect("it is small");
    let s_records = srecord::write(&image, &srecord::Form::default()).expect("it can be written");
    std::fs::write(folder.path().join("a.txt"), s_records).expect("the folder can be written to");
    judge(folder.path(), &["-I", "srec", "-O", "binary", "--gap-fill", "0xff", "a.txt", "a.bin"]);
    assert_eq!(std::fs::read(folder.path().join("a.bin")).expect("the judge has written"), flat.bytes);
    assert_eq!(flat.filled, 6 + 0x100 - 20);
}
